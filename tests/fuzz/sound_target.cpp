#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

#include "hushtrace/measure/capture_faults.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/measure/level.hpp"
#include "hushtrace/measure/tone_reading.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "memory_file.hpp"
#include "target.hpp"

namespace hushtrace::fuzz {
namespace {

constexpr std::size_t most_samples = 1 << 16;   // a few bytes of FLAC can promise hours
constexpr std::size_t block_frames = 1 << 12;

bool is_figure(double value) { return std::isfinite(value); }
bool is_figure(const Reading& reading) { return std::isfinite(reading.value) && std::isfinite(reading.sd) && reading.sd >= 0; }
template <typename Value>
bool is_figure(const std::optional<Value>& value) { return !value || is_figure(*value); }

struct Sound {
    double rate_hz = 0;
    std::vector<std::vector<double>> channels;
    std::vector<Block> blocks;
};

Sound read_some(TakeReader& reader) {
    Sound sound{reader.sample_rate_hz(), std::vector<std::vector<double>>(reader.channels()), {}};
    require(sound.rate_hz >= 1000 && sound.rate_hz <= 1e6 && !sound.channels.empty() && sound.channels.size() <= 64,
            "a header that is beyond belief");
    Block block;
    for (std::size_t samples = 0; samples < most_samples;) {
        const std::size_t got = reader.read(block, block_frames);
        require(got == block.frames() && (got == 0 || block.channels() == sound.channels.size()), "a block of another shape");
        if (got == 0) break;
        for (std::size_t c = 0; c < sound.channels.size(); ++c)
            sound.channels[c].insert(sound.channels[c].end(), block.channel(c).begin(), block.channel(c).end());
        sound.blocks.push_back(block);
        samples += got * block.channels();
    }
    return sound;
}

void look_at_level(const std::vector<double>& samples) {
    const Level level = measure_level(samples);
    const auto is_level = [](double dbfs) { return is_figure(dbfs) || dbfs == -INFINITY; };   // silence
    require(is_level(level.rms_dbfs) && is_level(level.peak_dbfs), "a level is not finite");
    require(is_figure(level.mean), "a mean is not finite");
}

void look_at_faults(const Sound& sound) {
    CaptureFaultFinder finder(sound.rate_hz, sound.channels.size());
    for (const Block& block : sound.blocks) finder.add(block);
    const CaptureFaults faults = finder.result();
    const double duration_s = static_cast<double>(sound.channels.front().size()) / sound.rate_hz;
    require(std::abs(faults.duration_s - duration_s) < 1e-6, "the duration is another");
    for (const CaptureFault& one : faults.events) {
        require(is_figure(one.time_s) && one.time_s >= 0 && one.time_s <= duration_s, "a fault outside the sound");
        require(one.channel < sound.channels.size(), "a fault in no channel");
        require(is_figure(one.phase_step_deg) && std::abs(one.phase_step_deg.value_or(0)) <= 180, "a phase step that can't be");
        require(is_figure(one.duration_s) && one.duration_s >= 0 && one.duration_s <= duration_s + 1e-9, "a fault longer than the sound");
        require_sentence(one.text);
    }
    for (const ChannelRemark& one : faults.remarks) {
        require(one.channel < sound.channels.size() && !one.code.empty(), "a remark on no channel");
        require_sentence(one.text);
    }
    require(is_figure(faults.tone_frequency_hz) && is_figure(faults.tone_snr_db) && is_figure(faults.seen_phase_step_deg), "the tone is not finite");
}

void look_at_clipping(const Sound& sound, const std::vector<double>& samples) {
    done_or_refused([&] {
        ProgrammeClippingFinder finder(sound.rate_hz);
        finder.add(samples);
        const ProgrammeClipping found = finder.result();
        require(is_figure(found.clip_level_dbfs) && is_figure(found.other_level_dbfs) && is_figure(found.evidence) && is_figure(found.largest),
                "clipping in music is not finite");
        require(found.clipped_share >= 0 && found.clipped_share <= 1 && found.peaks_cut <= found.peaks_seen, "clipping in music that can't be");
    });
    const double pinned = share_pinned_to_rail(samples);
    require(pinned >= 0 && pinned <= 1, "a share that can't be");
    done_or_refused([&] {
        const ToneReading tone = read_tone(std::span(samples).first(std::min(samples.size(), block_frames)), sound.rate_hz);
        require(is_figure(tone.frequency_hz) && is_figure(tone.level_dbfs), "a tone is not finite");
    });
}

}  // namespace

void try_sound(Bytes bytes) {
    const MemoryFile file(bytes);
    done_or_refused([&] {
        TakeReader reader(file.path());
        const Sound sound = read_some(reader);
        if (const std::string oddity = reader.oddity(); !oddity.empty()) require_sentence(oddity);
        if (sound.blocks.empty()) return;
        look_at_faults(sound);
        for (const auto& samples : sound.channels) look_at_level(samples);
        look_at_clipping(sound, sound.channels.front());
        if (reader.seek(1)) {
            Block block;
            require(reader.read(block, 16) <= 16, "more was read than asked for");
        }
    });
}

}  // namespace hushtrace::fuzz
