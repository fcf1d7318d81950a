#include <array>
#include <bit>
#include <cerrno>
#include <cstring>
#include <limits>
#include <string_view>
#include <vector>

#include "system_file.hpp"
#include "take_encoder.hpp"

namespace hushtrace {

void put_all(const FileDescriptor& file, std::span<const std::byte> bytes) {
    while (!bytes.empty()) {
        const auto done = system_file::write_some(file, bytes.data(), bytes.size());
        if (done < 0 && errno == EINTR) continue;
        if (done < 0) throw DiskFailure{errno};
        if (done == 0) throw DiskFailure{ENOSPC};
        bytes = bytes.subspan(static_cast<std::size_t>(done));
    }
}

void put_all_at(const FileDescriptor& file, std::span<const std::byte> bytes, std::uint64_t place) {
    while (!bytes.empty()) {
        const auto done = system_file::write_some_at(file, bytes.data(), bytes.size(), place);
        if (done < 0 && errno == EINTR) continue;
        if (done < 0) throw DiskFailure{errno};
        if (done == 0) throw DiskFailure{ENOSPC};
        bytes = bytes.subspan(static_cast<std::size_t>(done));
        place += static_cast<std::uint64_t>(done);
    }
}

void push_to_disk(const FileDescriptor& file) {
    if (!system_file::push(file) && errno != EINVAL) throw DiskFailure{errno};
}

namespace {

static_assert(std::endian::native == std::endian::little,
              "WAV is little-endian; samples are copied as they are");

constexpr std::size_t sample_bytes = 4;   // 32-bit float
constexpr std::size_t header_bytes = 94;  // RIFF 12, JUNK or ds64 36, fmt 26, fact 12, data 8
constexpr std::uint64_t most_riff_bytes = std::numeric_limits<std::uint32_t>::max();

// RIFF/WAVE with a float format and a spare chunk that turns into ds64 when the file outgrows 32 bits (EBU
// Tech 3306).
class Header {
public:
    Header(int sample_rate_hz, int channels, std::uint64_t data_bytes) {
        const auto frame_bytes =
            static_cast<std::uint32_t>(channels) * static_cast<std::uint32_t>(sample_bytes);
        const std::uint64_t frames = data_bytes / frame_bytes;
        const std::uint64_t riff_bytes = header_bytes - 8 + data_bytes;
        const bool large = riff_bytes > most_riff_bytes;
        const auto narrow = [large](std::uint64_t value) {
            return large ? std::numeric_limits<std::uint32_t>::max() : static_cast<std::uint32_t>(value);
        };
        word(large ? "RF64" : "RIFF"), number(narrow(riff_bytes)), word("WAVE");
        word(large ? "ds64" : "JUNK"), number(std::uint32_t{28});
        number(large ? riff_bytes : 0), number(large ? data_bytes : 0), number(large ? frames : 0),
            number(std::uint32_t{0});
        word("fmt "), number(std::uint32_t{18});
        number(std::uint16_t{3});  // WAVE_FORMAT_IEEE_FLOAT
        number(static_cast<std::uint16_t>(channels)), number(static_cast<std::uint32_t>(sample_rate_hz));
        number(static_cast<std::uint32_t>(sample_rate_hz) * frame_bytes),
            number(static_cast<std::uint16_t>(frame_bytes));
        number(std::uint16_t{8 * sample_bytes}), number(std::uint16_t{0});
        word("fact"), number(std::uint32_t{4}), number(narrow(frames));
        word("data"), number(narrow(data_bytes));
    }
    std::span<const std::byte> bytes() const { return {bytes_.data(), used_}; }

private:
    void word(std::string_view text) { put(text.data(), text.size()); }
    template <class Number>
    void number(Number value) {
        put(&value, sizeof value);
    }
    void put(const void* from, std::size_t count) {
        std::memcpy(bytes_.data() + used_, from, count);
        used_ += count;
    }
    std::array<std::byte, header_bytes> bytes_{};
    std::size_t used_ = 0;
};

class WavEncoder final : public TakeEncoder {
public:
    WavEncoder(FileDescriptor file, int sample_rate_hz, int channels)
        : file_(std::move(file)), rate_(sample_rate_hz), channels_(channels) {
        put_all(file_, Header(rate_, channels_, 0).bytes());
    }

    void write(const Block& block) override {
        const std::size_t count = block.channels();
        samples_.resize(count * block.frames());
        for (std::size_t c = 0; c < count; ++c) {
            const auto channel = block.channel(c);
            for (std::size_t i = 0; i < channel.size(); ++i)
                samples_[i * count + c] = static_cast<float>(channel[i]);
        }
        put_all(file_, std::as_bytes(std::span<const float>(samples_)));
        data_bytes_ += samples_.size() * sample_bytes;
        frames_since_header_ += block.frames();
        if (frames_since_header_ * 2 >= static_cast<std::uint64_t>(rate_))
            write_header();  // every half second
    }
    void push() override {
        write_header();
        push_to_disk(file_);
    }
    void finish() override { write_header(); }

    std::uint64_t salvage() noexcept override {
        try {
            // What reached the disk of a block that only went in by half counts, down to its last whole
            // frame.
            const auto frame_bytes = static_cast<std::uint64_t>(channels_) * sample_bytes;
            const auto length = system_file::length(file_);
            if (length > static_cast<std::int64_t>(header_bytes))
                data_bytes_ = (static_cast<std::uint64_t>(length) - header_bytes) / frame_bytes * frame_bytes;
            system_file::cut(file_, header_bytes + data_bytes_);
            write_header();
            push_to_disk(file_);
        } catch (const DiskFailure&) {  // the header on the disk is then the one of half a second ago
        }
        file_.close();
        return data_bytes_ / (static_cast<std::uint64_t>(channels_) * sample_bytes);
    }

private:
    void write_header() {
        put_all_at(file_, Header(rate_, channels_, data_bytes_).bytes(), 0);
        frames_since_header_ = 0;
    }
    FileDescriptor file_;
    int rate_, channels_;
    std::uint64_t data_bytes_ = 0, frames_since_header_ = 0;
    std::vector<float> samples_;
};

}  // namespace

std::unique_ptr<TakeEncoder> make_wav_encoder(FileDescriptor file, int sample_rate_hz, int channels) {
    return std::make_unique<WavEncoder>(std::move(file), sample_rate_hz, channels);
}

}  // namespace hushtrace
