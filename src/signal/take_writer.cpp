#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstring>
#include <string>

#include <fmt/format.h>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "system_file.hpp"
#include "take_encoder.hpp"

namespace hushtrace {
namespace {

using Clock = std::chrono::steady_clock;
constexpr auto push_every = std::chrono::seconds(1);

TakeFormat format_of(const std::filesystem::path& file) {
    std::string suffix = file.extension().string();
    std::transform(suffix.begin(), suffix.end(), suffix.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    if (suffix == ".flac") return TakeFormat::flac_24;
    if (suffix == ".wav") return TakeFormat::wav_float;
    throw Error(ErrorKind::invalid_request,
                fmt::format("{}: a take's name ends in .flac or .wav", file.string()));
}

void require_representable(const std::string& name, TakeFormat format, double rate_hz, std::size_t channels) {
    const auto refuse = [&](const std::string& why) {
        throw Error(ErrorKind::invalid_request, fmt::format("{}: {}", name, why));
    };
    if (!(rate_hz >= 1000 && rate_hz <= 1000000) || rate_hz != std::floor(rate_hz)) {
        refuse(fmt::format("a sample rate of {} Hz can't be stored; whole numbers from 1000 to 1000000 can",
                           rate_hz));
    }
    const std::size_t most_channels = format == TakeFormat::flac_24 ? 8 : 64;
    if (channels < 1 || channels > most_channels) {
        refuse(fmt::format("{} channels can't be stored; 1 to {} can{}", channels, most_channels,
                           format == TakeFormat::flac_24 ? ", or choose .wav" : ""));
    }
    // The streamable subset of FLAC (RFC 9639, section 7), which every player reads.
    const auto rate = static_cast<long>(rate_hz);
    if (format == TakeFormat::flac_24 && (rate > 655350 || (rate > 65535 && rate % 10 != 0))) {
        refuse(fmt::format("FLAC can't hold a sample rate of {} Hz; choose .wav", rate));
    }
}

// The folder's entry is pushed too, so that the file's name survives a power cut.
void push_folder_of(const std::filesystem::path& file) {
    const auto folder = file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
    system_file::push_names(folder);
}

}  // namespace

struct TakeWriter::State {
    std::string name;
    std::size_t channels = 0;
    std::unique_ptr<TakeEncoder> encoder;
    Clock::time_point pushed = Clock::now();
    std::uint64_t frames = 0;
    bool closed = false;

    // Ends with what is on the disk already, and says so.
    [[noreturn]] void fail(int reason) {
        closed = true;
        frames = encoder->salvage();
        const char* why = system_file::is_full(reason) ? "the disk is full"
                          : reason == EFBIG            ? "the file may not grow further"
                                                       : std::strerror(reason);
        throw Error(ErrorKind::disk_failed,
                    fmt::format("{}: {}; the take up to there is kept ({} frames)", name, why, frames));
    }
};

TakeWriter::TakeWriter(const std::filesystem::path& file, double sample_rate_hz, std::size_t channels)
    : state_(std::make_unique<State>()) {
    State& s = *state_;
    s.name = file.string();
    s.channels = channels;
    s.closed = true;  // until it is open
    const TakeFormat format = format_of(file);
    require_representable(s.name, format, sample_rate_hz, channels);
    FileDescriptor opened = system_file::make_new(file);
    if (!opened) {
        const int reason = errno;
        throw Error(
            ErrorKind::file_unwritable,
            fmt::format("{}: can't be created ({})", s.name,
                        reason == EEXIST ? "a file of this name exists, and takes are never overwritten"
                                         : std::strerror(reason)));
    }
    const auto rate = static_cast<int>(sample_rate_hz);
    try {
        s.encoder = format == TakeFormat::flac_24
                        ? make_flac_encoder(std::move(opened), rate, static_cast<int>(channels))
                        : make_wav_encoder(std::move(opened), rate, static_cast<int>(channels));
    } catch (const DiskFailure& failure) {
        system_file::remove(file);
        throw Error(ErrorKind::file_unwritable,
                    fmt::format("{}: can't be written ({})", s.name, std::strerror(failure.reason)));
    } catch (...) {
        system_file::remove(file);
        throw;
    }
    push_folder_of(file);
    s.closed = false;
}

TakeWriter::~TakeWriter() {
    if (!state_) return;  // moved from
    try {
        close();
    } catch (...) {  // a destructor has no one to tell; whoever wants to know calls close()
    }
}
TakeWriter::TakeWriter(TakeWriter&&) noexcept = default;
TakeWriter& TakeWriter::operator=(TakeWriter&& other) noexcept {
    if (this != &other) {
        TakeWriter ended(std::move(*this));  // closes ours at the end of this scope
        state_ = std::move(other.state_);
    }
    return *this;
}

void TakeWriter::write(const Block& block) {
    State& s = *state_;
    if (s.closed) throw Error(ErrorKind::disk_failed, fmt::format("{}: is closed already", s.name));
    if (block.empty()) return;
    if (block.channels() != s.channels) {
        throw Error(ErrorKind::invalid_request, fmt::format("{}: {} channels were promised, {} came", s.name,
                                                            s.channels, block.channels()));
    }
    for (std::size_t c = 0; c < block.channels(); ++c) {
        for (const double sample : block.channel(c)) {
            if (!std::isfinite(sample)) {
                throw Error(ErrorKind::not_finite,
                            fmt::format("{}: not a number in channel {}", s.name, c + 1));
            }
        }
    }
    try {
        s.encoder->write(block);
        s.frames += block.frames();
        if (Clock::now() - s.pushed >= push_every) {
            s.encoder->push();
            s.pushed = Clock::now();
        }
    } catch (const DiskFailure& failure) {
        s.fail(failure.reason);
    }
}

void TakeWriter::close() {
    State& s = *state_;
    if (s.closed) return;
    try {
        s.encoder->finish();
        s.encoder->push();
    } catch (const DiskFailure& failure) {
        s.fail(failure.reason);
    }
    s.closed = true;
    s.encoder.reset();
}

std::uint64_t TakeWriter::frames_written() const {
    return state_->frames;
}

}  // namespace hushtrace
