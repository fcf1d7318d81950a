#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <vector>

#include <fmt/format.h>
#include <sndfile.h>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "system_file.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t most_channels = 64;
constexpr int least_rate_hz = 1000, most_rate_hz = 1000000;
constexpr std::size_t most_frames_at_once = 1U
                                            << 16;  // whatever is asked for or promised: memory stays bounded
// No converter gives more, whatever the file's own scale (whole numbers of 32 bits written as floats reach 2e9); the squares
// of what lies beyond need not be finite.
constexpr double most_magnitude = 1e10;
// The most frames that a byte of file can stand for: a FLAC frame of 65535 equal samples takes 14 bytes.
constexpr std::uint64_t most_frames_per_byte = 8192;

struct Medium {
    FileDescriptor file;
    std::int64_t length = 0;
    int failed_errno = 0;  // the medium's own failure, as opposed to a damaged content
};

sf_count_t medium_length(void* user) {
    return static_cast<Medium*>(user)->length;
}

sf_count_t medium_seek(sf_count_t offset, int whence, void* user) {
    auto& medium = *static_cast<Medium*>(user);
    return system_file::seek(medium.file, offset, whence);
}

sf_count_t medium_read(void* into, sf_count_t count, void* user) {
    auto& medium = *static_cast<Medium*>(user);
    sf_count_t done = 0;
    while (done < count) {
        const auto got = system_file::read_some(medium.file, static_cast<char*>(into) + done, static_cast<std::size_t>(count - done));
        if (got < 0 && errno == EINTR) continue;
        if (got < 0) medium.failed_errno = errno;
        if (got <= 0) break;
        done += got;
    }
    return done;
}

sf_count_t medium_write(const void*, sf_count_t, void*) {
    return 0;
}

sf_count_t medium_tell(void* user) {
    return system_file::seek(static_cast<Medium*>(user)->file, 0, SEEK_CUR);
}

[[noreturn]] void refuse(const std::string& name, std::string_view why) {
    throw Error(ErrorKind::file_unreadable, fmt::format("{}: {}", name, why));
}

}  // namespace

struct TakeReader::State {
    std::string name;
    Medium medium;
    SNDFILE* sound = nullptr;
    SF_INFO info{};
    std::vector<double> interleaved;
    std::uint64_t position = 0;
    bool ended = false;
    std::string oddity;

    ~State() {
        if (sound != nullptr) sf_close(sound);
    }
    void note_end(std::optional<std::uint64_t> promised);
    [[noreturn]] void refuse_first_odd_sample(const Block& block) const;
};

TakeReader::TakeReader(const std::filesystem::path& file) : state_(std::make_unique<State>()) {
    State& s = *state_;
    s.name = file.string();
    // Looked at before it is opened, since opening a pipe would wait for its other end.
    bool known = false;
    const auto before = system_file::unfit_to_read(file, known);
    if (!known) refuse(s.name, std::strerror(errno));
    if (!before.empty()) refuse(s.name, before);
    s.medium.file = system_file::open_to_read(file);
    if (!s.medium.file) refuse(s.name, std::strerror(errno));
    const auto now = system_file::unfit_to_read(s.medium.file, known, s.medium.length);
    if (!known) refuse(s.name, std::strerror(errno));
    if (!now.empty()) refuse(s.name, now);

    // libsndfile reads MIDI's sample dumps, and prints on stdout what it dislikes about them.
    std::array<unsigned char, 2> head{};
    const bool dump = medium_read(head.data(), 2, &s.medium) == 2 && head[0] == 0xF0 && head[1] == 0x7E;
    if (dump) refuse(s.name, "is a MIDI sample dump, which is not read; make a WAV file of it");
    medium_seek(0, SEEK_SET, &s.medium);
    SF_VIRTUAL_IO access{medium_length, medium_seek, medium_read, medium_write, medium_tell};
    s.sound = sf_open_virtual(&access, SFM_READ, &s.info, &s.medium);
    if (s.sound == nullptr) {
        if (s.medium.failed_errno != 0) refuse(s.name, std::strerror(s.medium.failed_errno));
        std::string why = sf_strerror(nullptr);
        while (!why.empty() && (why.back() == '.' || why.back() == '\n')) why.pop_back();
        refuse(s.name, fmt::format("is not a sound file that can be read ({})", why));
    }
    if (s.info.samplerate < least_rate_hz || s.info.samplerate > most_rate_hz) {
        refuse(s.name, fmt::format("its header says {} samples a second; 1000 to 1000000 are believed",
                                   s.info.samplerate));
    }
    if (s.info.channels < 1 || s.info.channels > static_cast<int>(most_channels)) {
        refuse(s.name, fmt::format("its header says {} channels; 1 to {} are believed", s.info.channels,
                                   most_channels));
    }
}

TakeReader::~TakeReader() = default;
double TakeReader::sample_rate_hz() const {
    return state_->info.samplerate;
}
std::size_t TakeReader::channels() const {
    return static_cast<std::size_t>(state_->info.channels);
}
std::string TakeReader::oddity() const {
    return state_->oddity;
}

std::optional<std::uint64_t> TakeReader::promised_frames() const {
    const sf_count_t frames = state_->info.frames;
    if (frames <= 0) return std::nullopt;
    const auto promised = static_cast<std::uint64_t>(frames);
    if (promised / most_frames_per_byte > static_cast<std::uint64_t>(state_->medium.length))
        return std::nullopt;
    return promised;
}

std::size_t TakeReader::read(Block& into, std::size_t most) {
    State& s = *state_;
    const std::size_t channel_count = channels();
    const std::size_t wanted = std::min(most, most_frames_at_once);
    if (s.ended || wanted == 0) {
        into.reset(channel_count, 0);
        return 0;
    }
    s.interleaved.resize(wanted * channel_count);
    const sf_count_t got = sf_readf_double(s.sound, s.interleaved.data(), static_cast<sf_count_t>(wanted));
    if (s.medium.failed_errno != 0) {
        refuse(s.name, fmt::format("reading failed after {:.3f} s ({})",
                                   static_cast<double>(s.position) / sample_rate_hz(),
                                   std::strerror(s.medium.failed_errno)));
    }
    const auto count = got > 0 ? static_cast<std::size_t>(got) : 0;
    into.reset(channel_count, count);
    bool fit = true;
    for (std::size_t c = 0; c < channel_count; ++c) {
        const auto channel = into.channel(c);
        const double* from = s.interleaved.data() + c;
        for (std::size_t frame = 0; frame < count; ++frame) {
            channel[frame] = from[frame * channel_count];
            fit = fit && std::abs(channel[frame]) <= most_magnitude;  // no NaN is
        }
    }
    if (!fit) s.refuse_first_odd_sample(into);
    s.position += count;
    if (count == 0) s.note_end(promised_frames());
    return count;
}

bool TakeReader::seek(std::uint64_t frame) {
    State& s = *state_;
    const auto wanted = static_cast<sf_count_t>(frame);
    if (s.info.seekable == 0 || wanted < 0 || sf_seek(s.sound, wanted, SEEK_SET) != wanted) return false;
    s.position = frame;
    s.ended = false;
    return true;
}

void TakeReader::State::refuse_first_odd_sample(const Block& block) const {
    std::size_t frame = 0, channel = 0;
    while (std::abs(block.channel(channel)[frame]) <= most_magnitude)
        if (++channel == block.channels()) {
            channel = 0;
            ++frame;
        }
    const double value = block.channel(channel)[frame], at_s = static_cast<double>(position + frame) / info.samplerate;
    if (std::isfinite(value))
        throw Error(ErrorKind::invalid_input, fmt::format("{}: a sample of {:.1g} times full scale in channel {} at {:.6f} s: this is no sound",
                                                          name, value, channel + 1, at_s));
    throw Error(ErrorKind::not_finite, fmt::format("{}: not a number in channel {} at {:.6f} s", name, channel + 1, at_s));
}

void TakeReader::State::note_end(std::optional<std::uint64_t> promised) {
    ended = true;
    const double rate_hz = info.samplerate;
    if (promised && *promised > position) {
        oddity = fmt::format("cut short: {:.1f} s of {:.1f} s", static_cast<double>(position) / rate_hz,
                             static_cast<double>(*promised) / rate_hz);
    } else if (sf_error(sound) != SF_ERR_NO_ERROR) {
        oddity = fmt::format("damaged: {:.1f} s could be read", static_cast<double>(position) / rate_hz);
    }
}

}  // namespace hushtrace
