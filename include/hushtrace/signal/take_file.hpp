#pragma once
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// Reads whatever libsndfile reads, of any rate and channel count, block by block.
///
/// The header's frame count is never trusted: reading goes on until no more frames come.
///   throws Error file_unreadable: missing, a folder, a pipe, a device, empty, not a sound file, a header with
///   a rate or channel count outside 1 kHz..1 MHz and 1..64; not_finite from read() at the first NaN or infinity,
///   invalid_input at the first sample beyond 1e10 times full scale
class TakeReader final : public BlockReader {
public:
    explicit TakeReader(const std::filesystem::path& file);
    ~TakeReader() override;
    double sample_rate_hz() const override;
    std::size_t channels() const override;
    std::size_t read(Block& into, std::size_t most) override;
    /// Goes on reading from this frame, for a second reader of the same file. False where the format or the file does
    /// not allow it; then nothing more should be read from this reader.
    bool seek(std::uint64_t frame);
    /// Frames the header promises, where that is believable; the file may hold fewer or more.
    std::optional<std::uint64_t> promised_frames() const;
    /// After the end was reached: empty, or what was odd about the file in a few words ("cut short: 4.2 s of 10.0 s").
    std::string oddity() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

enum class TakeFormat { flac_24, wav_float };   ///< by suffix: .flac, .wav

/// Writes a take such that a kill in the middle loses at most the last second (of FLAC one encoded frame where that is longer, below 4.1 kHz),
/// and a full disk leaves a valid file with all that was written before.
///
/// FLAC: each encoded frame (4096 samples) reaches the file in one piece; WAV: the header is brought up to date every
/// half second, and becomes RF64 (EBU Tech 3306) beyond 4 GiB. Both are pushed to the disk about once a second.
/// Not for the audio callback: write() encodes and touches the disk. FLAC samples beyond ±1.0 are clipped there.
///   throws Error from the constructor, nothing left behind: file_unwritable (a take that exists is never overwritten),
///   invalid_request for another suffix, a rate or channel count the format can't hold;
///   from write(): not_finite (nothing of the block is written), invalid_request for another channel count;
///   disk_failed from write() and close(): the file is then already closed, valid, and holds `frames_written()` frames
class TakeWriter {
public:
    TakeWriter(const std::filesystem::path& file, double sample_rate_hz, std::size_t channels);
    ~TakeWriter();
    TakeWriter(TakeWriter&&) noexcept;
    TakeWriter& operator=(TakeWriter&&) noexcept;
    void write(const Block& block);
    void close();
    std::uint64_t frames_written() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
