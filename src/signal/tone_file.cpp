#include "hushtrace/signal/tone_file.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <sndfile.h>

#include "hushtrace/signal/error.hpp"
#include "random.hpp"
#include "system_file.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

// A file under another name in the same folder, removed unless it was put in its place.
class Draft {
public:
    explicit Draft(const fs::path& target) : target_(target) {
        file_ = system_file::make_draft(target, path_);
        if (!file_)
            throw Error(ErrorKind::file_unwritable,
                        fmt::format("{}: can't be created ({})", target.string(), std::strerror(errno)));
    }
    ~Draft() {
        if (!path_.empty()) system_file::remove(path_);
    }
    Draft(const Draft&) = delete;
    Draft& operator=(const Draft&) = delete;

    int descriptor() const { return file_.get(); }
    void put_in_place(bool overwrite) {
        if (!system_file::push_all(file_) || file_.close() != 0) fail(errno);
        if (!overwrite) {
            // A second name never replaces; file systems without links (those of sticks) take the second way.
            if (system_file::add_name(path_, target_)) return;  // the draft's own name goes with it
            if (errno == EEXIST) refuse_existing(target_);
            if (fs::exists(fs::symlink_status(target_))) refuse_existing(target_);
        }
        if (!system_file::rename_over(path_, target_)) fail(errno);
        path_.clear();
    }
    [[noreturn]] void fail(int reason) const {
        throw Error(ErrorKind::disk_failed,
                    fmt::format("{}: could not be written ({}); nothing was left there", target_.string(),
                                std::strerror(reason != 0 ? reason : EIO)));
    }
    [[noreturn]] static void refuse_existing(const fs::path& target) {
        throw Error(ErrorKind::file_unwritable,
                    fmt::format("{}: exists already; choose another name, or --force", target.string()));
    }

private:
    fs::path target_, path_;
    FileDescriptor file_;
};

int container_of(const fs::path& file) {
    std::string suffix = file.extension().string();
    std::transform(suffix.begin(), suffix.end(), suffix.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    if (suffix == ".wav") return SF_FORMAT_WAV;
    if (suffix == ".flac") return SF_FORMAT_FLAC;
    throw Error(ErrorKind::invalid_request,
                fmt::format("{}: a tone file's name ends in .wav or .flac", file.string()));
}

}  // namespace

void write_tone_file(const fs::path& file, std::span<const double> samples, const ToneFileForm& form) {
    SF_INFO info{};
    info.format = container_of(file) | (form.bits == 24 ? SF_FORMAT_PCM_24 : SF_FORMAT_PCM_16);
    info.channels = 2;
    if (form.bits != 16 && form.bits != 24) {
        throw Error(ErrorKind::invalid_request, fmt::format("{} bits: 16 or 24 can be written", form.bits));
    }
    const double rate = form.sample_rate_hz;
    if (!(rate >= 8000 && rate <= 192000) || rate != std::floor(rate)) {
        throw Error(
            ErrorKind::invalid_request,
            fmt::format("a sample rate of {} Hz: whole numbers from 8000 to 192000 can be written", rate));
    }
    info.samplerate = static_cast<int>(rate);
    if (fs::is_directory(file))
        throw Error(ErrorKind::file_unwritable, fmt::format("{}: is a folder", file.string()));
    if (!form.overwrite && fs::exists(fs::symlink_status(file))) Draft::refuse_existing(file);
    if (sf_format_check(&info) == 0) {
        throw Error(ErrorKind::invalid_request, fmt::format("{}: this format can't hold {} Hz at {} bit",
                                                            file.string(), rate, form.bits));
    }

    Draft draft(file);
    SNDFILE* const sound = sf_open_fd(draft.descriptor(), SFM_WRITE, &info, SF_FALSE);
    if (sound == nullptr) draft.fail(errno);
    const double full_scale = std::ldexp(1.0, form.bits - 1) - 2;
    const int to_32_bit = 1 << (32 - form.bits);  // libsndfile's int is left-justified
    const std::array carries = {form.left, form.right};
    Random random(0x5EED);
    std::vector<int> frames;
    std::size_t done = 0;
    bool failed = false;
    while (done < samples.size() && !failed) {
        const std::size_t count = std::min<std::size_t>(8192, samples.size() - done);
        frames.resize(2 * count);
        for (std::size_t i = 0; i < count; ++i) {
            for (std::size_t c = 0; c < 2; ++c) {
                const double value = carries[c] ? std::clamp(samples[done + i], -1.0, 1.0) * full_scale : 0.0;
                frames[2 * i + c] = static_cast<int>(std::nearbyint(value + random.triangular())) * to_32_bit;
            }
        }
        errno = 0;
        failed = sf_writef_int(sound, frames.data(), static_cast<sf_count_t>(count)) !=
                 static_cast<sf_count_t>(count);
        done += count;
    }
    const int reason = errno;
    const bool closed = sf_close(sound) == 0;
    if (failed || !closed) draft.fail(reason);
    draft.put_in_place(form.overwrite);
}

}  // namespace hushtrace
