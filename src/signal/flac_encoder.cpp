#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <optional>
#include <vector>

#include <fmt/format.h>
#include <sndfile.h>

#include "hushtrace/signal/error.hpp"
#include "system_file.hpp"
#include "take_encoder.hpp"

namespace hushtrace {
namespace {

// STREAMINFO follows the four bytes "fLaC" and a block header of four; in it the sample count has 36 bits
// from bit 108 on, the MD5 sum the last 16 bytes (RFC 9639, section 8.2).
constexpr std::uint64_t sample_count_place = 4 + 4 + 13, md5_place = 4 + 4 + 18;

// How many samples a FLAC frame holds, from its first bytes; nothing for a last, shorter one or for other
// bytes (RFC 9639, sections 9.1 and 9.1.1).
std::optional<std::uint64_t> frame_length(std::span<const unsigned char> bytes) {
    if (bytes.size() < 6 || bytes[0] != 0xFF || (bytes[1] & 0xFC) != 0xF8) return std::nullopt;
    const unsigned code = bytes[2] >> 4U;
    if (code == 1) return 192;
    if (code >= 2 && code <= 5) return 576U << (code - 2U);
    if (code >= 8) return 256U << (code - 8U);
    return std::nullopt;
}

class FlacEncoder final : public TakeEncoder {
public:
    FlacEncoder(FileDescriptor file, int sample_rate_hz, int channels) : file_(std::move(file)) {
        SF_INFO info{};
        info.samplerate = sample_rate_hz;
        info.channels = channels;
        info.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_24;
        SF_VIRTUAL_IO access{length, seek, read, write_bytes, tell};
        sound_ = sf_open_virtual(&access, SFM_WRITE, &info, this);
        // The header goes out now, so that a take without a single frame is a valid file, and a refusal shows here.
        if (sound_ != nullptr) sf_command(sound_, SFC_UPDATE_HEADER_NOW, nullptr, 0);
        if (failed_errno_ != 0) {
            const int reason = failed_errno_;
            end();
            throw DiskFailure{reason};
        }
        if (sound_ == nullptr) {
            throw Error(ErrorKind::invalid_request,
                        fmt::format("FLAC refuses {} channels at {} Hz", channels, sample_rate_hz));
        }
    }
    ~FlacEncoder() override { end(); }

    void write(const Block& block) override {
        const std::size_t count = block.channels();
        samples_.resize(count * block.frames());
        for (std::size_t c = 0; c < count; ++c) {
            const auto channel = block.channel(c);
            for (std::size_t i = 0; i < channel.size(); ++i) samples_[i * count + c] = as_24_bit(channel[i]);
        }
        frames_given_ += block.frames();
        const auto frames = static_cast<sf_count_t>(block.frames());
        const sf_count_t done = sf_writef_int(sound_, samples_.data(), frames);
        if (failed_errno_ != 0) throw DiskFailure{failed_errno_};
        if (done != frames) throw DiskFailure{EIO};
    }
    void push() override { push_to_disk(file_); }
    void finish() override {
        ending_ = true;
        const int result = end();
        if (failed_errno_ != 0) throw DiskFailure{failed_errno_};
        if (result != 0) throw DiskFailure{EIO};
    }
    std::uint64_t salvage() noexcept override {
        if (failed_errno_ == 0)
            failed_errno_ = EIO;  // from here on the encoder's own last words are swallowed
        end();
        system_file::cut(file_, whole_bytes_);
        try {
            state_sample_count();
            push_to_disk(file_);
        } catch (const DiskFailure&) {  // a count of 0 stands for "unknown", and the frames can still be read
        }
        file_.close();
        return whole_frames_;
    }

private:
    static int as_24_bit(double sample) {
        const double scaled = std::clamp(std::nearbyint(sample * 8388608.0), -8388608.0, 8388607.0);
        return static_cast<int>(scaled) * 256;  // libsndfile's int is left-justified in 32 bits
    }
    int end() {
        SNDFILE* const sound = std::exchange(sound_, nullptr);
        return sound != nullptr ? sf_close(sound) : 0;
    }
    // The sum over all samples is not known any more: zeros stand for "not computed".
    void state_sample_count() const {
        std::array<unsigned char, 5> field{};
        const auto got = system_file::read_some_at(file_, field.data(), field.size(), sample_count_place);
        if (got != static_cast<std::int64_t>(field.size())) return;
        field[0] = static_cast<unsigned char>((field[0] & 0xF0U) | (whole_frames_ >> 32U & 0x0FU));
        for (unsigned i = 1; i < 5; ++i)
            field[i] = static_cast<unsigned char>(whole_frames_ >> (8U * (4U - i)) & 0xFFU);
        put_all_at(file_, std::as_bytes(std::span<const unsigned char>(field)), sample_count_place);
        put_all_at(file_, std::array<std::byte, 16>{}, md5_place);
    }

    // libFLAC hands over each encoded frame in one call.
    static sf_count_t write_bytes(const void* from, sf_count_t count, void* user) {
        auto& self = *static_cast<FlacEncoder*>(user);
        if (self.failed_errno_ != 0) return 0;
        const std::span bytes(static_cast<const unsigned char*>(from), static_cast<std::size_t>(count));
        try {
            const std::int64_t place = system_file::seek(self.file_, 0, SEEK_CUR);
            put_all(self.file_, std::as_bytes(bytes));
            if (place >= 0 &&
                static_cast<std::uint64_t>(place) == self.whole_bytes_) {  // appended, not a header renewed
                self.whole_bytes_ += bytes.size();
                if (const auto frames = frame_length(bytes))
                    self.whole_frames_ += *frames;
                else if (self.ending_ && bytes.size() > 2 && bytes[0] == 0xFF)
                    self.whole_frames_ = self.frames_given_;
            }
        } catch (const DiskFailure& failure) {
            self.failed_errno_ = failure.reason;
            return 0;
        }
        return count;
    }
    static sf_count_t length(void* user) {
        return static_cast<sf_count_t>(static_cast<FlacEncoder*>(user)->whole_bytes_);
    }
    static sf_count_t seek(sf_count_t offset, int whence, void* user) {
        return system_file::seek(static_cast<FlacEncoder*>(user)->file_, offset, whence);
    }
    static sf_count_t read(void* into, sf_count_t count, void* user) {
        const auto got = system_file::read_some(static_cast<FlacEncoder*>(user)->file_, into, static_cast<std::size_t>(count));
        return got < 0 ? 0 : got;
    }
    static sf_count_t tell(void* user) {
        return system_file::seek(static_cast<FlacEncoder*>(user)->file_, 0, SEEK_CUR);
    }

    FileDescriptor file_;
    SNDFILE* sound_ = nullptr;
    int failed_errno_ = 0;
    bool ending_ = false;
    std::uint64_t whole_bytes_ = 0, whole_frames_ = 0, frames_given_ = 0;
    std::vector<int> samples_;
};

}  // namespace

std::unique_ptr<TakeEncoder> make_flac_encoder(FileDescriptor file, int sample_rate_hz, int channels) {
    return std::make_unique<FlacEncoder>(std::move(file), sample_rate_hz, channels);
}

}  // namespace hushtrace
