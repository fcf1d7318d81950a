#pragma once
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>

#include "file_descriptor.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// The system refused to take bytes; `reason` is its errno.
struct DiskFailure {
    int reason;
};

/// Puts all bytes into the file at its position. throws DiskFailure; part of the bytes may be there then.
void put_all(const FileDescriptor& file, std::span<const std::byte> bytes);
/// The same at a place of its own; the file's position stays.
void put_all_at(const FileDescriptor& file, std::span<const std::byte> bytes, std::uint64_t place);
/// fdatasync. throws DiskFailure
void push_to_disk(const FileDescriptor& file);

/// How sound becomes a file's bytes. Every call may throw DiskFailure; salvage() is then the only one left to
/// call.
class TakeEncoder {
public:
    virtual ~TakeEncoder() = default;
    virtual void write(const Block& block) = 0;
    /// Brings what can be brought to the disk.
    virtual void push() = 0;
    /// Completes the file.
    virtual void finish() = 0;
    /// Cuts back to the last whole frame, makes the file valid, closes it; returns the frames that it holds.
    virtual std::uint64_t salvage() noexcept = 0;
};
std::unique_ptr<TakeEncoder> make_flac_encoder(FileDescriptor file, int sample_rate_hz, int channels);
std::unique_ptr<TakeEncoder> make_wav_encoder(FileDescriptor file, int sample_rate_hz, int channels);

}  // namespace hushtrace
