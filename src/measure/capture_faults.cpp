#include "hushtrace/measure/capture_faults.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "hiss_watch.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "loss_count.hpp"
#include "phase_jumps.hpp"
#include "sample_faults.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t most_events = 200;   // of one kind and channel
constexpr double overload_merge_s = 0.05;  // runs closer than this are one event
constexpr double same_instant_s = 0.1;     // a loss that several channels or several signs show is one loss
constexpr double least_mute_s = 0.15, longest_mute_s = 60.0, gone_for_good_s = 3.0, mute_depth_db = 20.0;
constexpr double gone_share = 0.3, least_tone_s = 0.3;
constexpr double least_dc = 0.01, dead_below_dbfs = -90.0, dead_against_db = 60.0;

struct ChannelState {
    ChannelState(double rate_hz, const CaptureFaultOptions& options)
        : runs(rate_hz, options.rail), jumps(rate_hz, options.tone_frequency_hz), hiss(rate_hz) {}
    SampleRunFinder runs;
    PhaseJumpFinder jumps;
    HissWatch hiss;
    double sum = 0, sum_squares = 0;
};

bool is_dropout(CaptureFaultKind kind) {
    return kind != CaptureFaultKind::overload && kind != CaptureFaultKind::source_muted;
}

}  // namespace

std::string_view to_word(CaptureFaultKind kind) {
    constexpr std::array<std::string_view, 5> words = {"overload", "phase_jump", "zero_gap", "replay",
                                                       "source_muted"};
    return words.at(static_cast<std::size_t>(kind));
}

bool CaptureFaults::has_source_muted() const {
    return std::any_of(events.begin(), events.end(),
                       [](const CaptureFault& f) { return f.what == CaptureFaultKind::source_muted; });
}

std::vector<TakeFault> CaptureFaults::take_faults() const {
    std::vector<TakeFault> found;
    if (has_dropout()) found.push_back(TakeFault::dropout);
    if (has_overload()) found.push_back(TakeFault::overload);
    if (too_short) found.push_back(TakeFault::too_short);
    if (has_source_muted()) found.push_back(TakeFault::source_muted);
    return found;
}

struct CaptureFaultFinder::State {
    double rate = 0;
    CaptureFaultOptions options;
    std::vector<ChannelState> channels;
    ReplayFinder replay{0};
    std::vector<char> same_as_first;  // channel c equals channel 0 so far
    std::uint64_t frames = 0;

    double seconds(std::uint64_t frame) const { return static_cast<double>(frame) / rate; }
    void list_runs(std::size_t channel, std::vector<CaptureFault>& events) const;
    void list_jumps(std::size_t channel, std::vector<CaptureFault>& events) const;
    void list_mutes(std::size_t channel, std::vector<CaptureFault>& events) const;
    void list_quiet_mutes(std::size_t channel, std::vector<CaptureFault>& events) const;
    void list_replays(std::vector<CaptureFault>& events) const;
    void describe_tone(CaptureFaults& result) const;
    void describe_channels(CaptureFaults& result) const;
};

CaptureFaultFinder::CaptureFaultFinder(double sample_rate_hz, std::size_t channels,
                                       CaptureFaultOptions options)
    : state_(std::make_unique<State>()) {
    if (!(sample_rate_hz >= 1000 && sample_rate_hz <= 1000000) || channels < 1) {
        throw Error(ErrorKind::invalid_request,
                    fmt::format("{} channels at {} Hz can't be examined", channels, sample_rate_hz));
    }
    state_->rate = sample_rate_hz;
    state_->options = options;
    for (std::size_t c = 0; c < channels; ++c) state_->channels.emplace_back(sample_rate_hz, options);
    state_->same_as_first.assign(channels, 1);
}
CaptureFaultFinder::~CaptureFaultFinder() = default;
CaptureFaultFinder::CaptureFaultFinder(CaptureFaultFinder&&) noexcept = default;
CaptureFaultFinder& CaptureFaultFinder::operator=(CaptureFaultFinder&&) noexcept = default;

void CaptureFaultFinder::add(const Block& block) {
    State& s = *state_;
    if (block.empty()) return;
    if (block.channels() != s.channels.size()) {
        throw Error(ErrorKind::invalid_request, fmt::format("{} channels were examined so far, {} came",
                                                            s.channels.size(), block.channels()));
    }
    for (std::size_t c = 0; c < block.channels(); ++c) {
        ChannelState& channel = s.channels[c];
        const auto samples = block.channel(c);
        for (const double sample : samples) {
            if (!std::isfinite(sample)) {
                throw Error(ErrorKind::not_finite,
                            fmt::format("not a number in channel {} of the capture", c + 1));
            }
            channel.sum += sample;
            channel.sum_squares += sample * sample;
        }
        channel.runs.add(samples);
        if (s.options.look_for_tone && !s.options.near_silence_played) channel.jumps.add(samples);
        if (s.options.near_silence_played) channel.hiss.add(samples);
        if (s.same_as_first[c] != 0 &&
            !std::equal(samples.begin(), samples.end(), block.channel(0).begin())) {
            s.same_as_first[c] = 0;
        }
    }
    std::vector<double> frame(block.channels());
    for (std::size_t i = 0; i < block.frames(); ++i) {
        for (std::size_t c = 0; c < frame.size(); ++c) frame[c] = block.channel(c)[i];
        s.replay.add(frame);
    }
    s.frames += block.frames();
}

void CaptureFaultFinder::State::list_runs(std::size_t channel, std::vector<CaptureFault>& events) const {
    std::vector<CaptureFault> found;
    std::optional<std::size_t> last_overload;
    for (const SampleRun& run : channels[channel].runs.runs()) {
        CaptureFault event;
        event.channel = channel;
        event.time_s = seconds(run.start);
        event.duration_s = seconds(run.length);
        if (run.what == SampleRun::What::overload || run.what == SampleRun::What::flat_top) {
            event.what = CaptureFaultKind::overload;
            event.text =
                run.what == SampleRun::What::overload
                    ? "the input was overloaded: turn the interface's input down or use a pad"
                    : fmt::format(
                          "the input clips at {:.2f} of full scale: turn the interface's input down or "
                          "use a pad",
                          std::abs(run.value));
            if (last_overload) {
                CaptureFault& last = found[*last_overload];
                if (event.time_s < last.time_s + last.duration_s + overload_merge_s) {
                    last.duration_s = event.time_s + event.duration_s - last.time_s;
                    continue;
                }
            }
            last_overload = found.size();
            found.push_back(event);
        } else {
            event.what = CaptureFaultKind::zero_gap;
            event.text =
                run.what == SampleRun::What::zeros
                    ? fmt::format("{} samples of digital zero inside the sound: the capture has a hole",
                                  run.length)
                    : fmt::format("one value held for {} samples inside the sound: the capture has a hole",
                                  run.length);
            found.push_back(event);
        }
    }
    events.insert(events.end(), found.begin(), found.end());
}

void CaptureFaultFinder::State::list_jumps(std::size_t channel, std::vector<CaptureFault>& events) const {
    for (const PhaseJump& jump : channels[channel].jumps.jumps()) {
        CaptureFault event;
        event.what = CaptureFaultKind::phase_jump;
        event.channel = channel;
        event.time_s = jump.time_s;
        event.phase_step_deg = jump.step_rad * 180 / std::numbers::pi;
        const LossCount count = count_lost_frames(jump.step_rad, jump.step_sd_rad, jump.frequency_hz / rate);
        event.lost_frames = count.frames;
        event.lost_frames_certain = count.certain;
        const std::string how_much =
            !count.frames ? "some frames were lost or repeated"
                          : fmt::format("{}{} frame{} {}", count.certain ? "" : "probably ",
                                        std::abs(*count.frames), std::abs(*count.frames) == 1 ? "" : "s",
                                        *count.frames > 0 ? "lost" : "repeated");
        event.text =
            fmt::format("the tone's phase jumps by {:.2f} degrees: {}", *event.phase_step_deg, how_much);
        events.push_back(event);
    }
}

void CaptureFaultFinder::State::list_mutes(std::size_t channel, std::vector<CaptureFault>& events) const {
    if (options.tone_pauses) return;
    // Short stretches are no tone: a marker that sweeps past its frequency makes one. They count as sound in
    // between.
    std::vector<ToneSection> sections;
    for (const ToneSection& section : channels[channel].jumps.blocks().sections()) {
        if (section.end_s - section.start_s >= least_tone_s) {
            sections.push_back(section);
        } else if (!sections.empty()) {
            double& loudest = sections.back().loudest_after;
            loudest = std::max({loudest, 0.5 * section.amplitude * section.amplitude, section.loudest_after});
        }
    }
    for (std::size_t i = 0; i < sections.size(); ++i) {
        const ToneSection& section = sections[i];
        const double tone_power = 0.5 * section.amplitude * section.amplitude;
        if (section.loudest_after > tone_power * power_from_decibels(-mute_depth_db)) continue;
        const bool last = i + 1 == sections.size();
        const double until_s = last ? seconds(frames) : sections[i + 1].start_s;
        const double gone_s = until_s - section.end_s;
        const bool returned = !last && gone_s >= least_mute_s && gone_s <= longest_mute_s &&
                              std::abs(sections[i + 1].frequency_hz / section.frequency_hz - 1) < 1e-3;
        if (!returned && !(last && gone_s >= gone_for_good_s)) continue;
        CaptureFault event;
        event.what = CaptureFaultKind::source_muted;
        event.channel = channel;
        event.time_s = section.end_s;
        event.duration_s = gone_s;
        event.text =
            returned
                ? fmt::format("the tone went away for {:.2f} s and came back: the source muted its output",
                              gone_s)
                : "the tone went away and did not come back: the source muted its output or stopped";
        events.push_back(event);
    }
}

// A hiss that falls and does not come back counts when it is gone for a good part of the take: a player that
// ends with its file, shortly before the capture does, spoils nothing.
void CaptureFaultFinder::State::list_quiet_mutes(std::size_t channel,
                                                 std::vector<CaptureFault>& events) const {
    const auto& changes = channels[channel].hiss.changes();
    for (std::size_t i = 0; i < changes.size(); ++i) {
        if (changes[i].rise_db > 0) continue;
        const bool returned = i + 1 < changes.size() && changes[i + 1].rise_db > 0;
        const double gone_s = (returned ? changes[i + 1].time_s : seconds(frames)) - changes[i].time_s;
        if (!returned && gone_s < gone_share * seconds(frames)) continue;
        CaptureFault event;
        event.what = CaptureFaultKind::source_muted;
        event.channel = channel;
        event.time_s = changes[i].time_s;
        event.duration_s = gone_s;
        event.text =
            fmt::format("the source's own hiss fell by {:.0f} dB at once{}: the source muted its output",
                        -changes[i].rise_db, returned ? " and came back" : "");
        events.push_back(event);
    }
}

void CaptureFaultFinder::State::list_replays(std::vector<CaptureFault>& events) const {
    for (const Replay& replay_found : replay.replays()) {
        CaptureFault event;
        event.what = CaptureFaultKind::replay;
        event.time_s = seconds(replay_found.start);
        event.duration_s = seconds(replay_found.length);
        event.text =
            fmt::format("{} frames are a copy of those {} frames before: a buffer was delivered twice",
                        replay_found.length, replay_found.lag);
        events.push_back(event);
    }
}

void CaptureFaultFinder::State::describe_tone(CaptureFaults& result) const {
    double best = 0;
    for (const ChannelState& channel : channels) {
        double tone = 0, all = 0, longest_s = 0, frequency_hz = 0;
        for (const ToneSection& section : channel.jumps.blocks().sections()) {
            tone += section.tone_energy;
            all += section.all_energy;
            if (section.end_s - section.start_s > longest_s) {
                longest_s = section.end_s - section.start_s;
                frequency_hz = section.frequency_hz;
            }
        }
        if (longest_s < 0.1 || !(tone > 0)) continue;
        const double ratio = tone / std::max(all - tone, 1e-15 * tone);
        if (ratio > best) {
            best = ratio;
            result.tone_frequency_hz = frequency_hz;
            result.tone_snr_db = decibels_from_power(ratio);
        }
        if (const auto visible = channel.jumps.least_visible_rad()) {
            const double degrees = *visible * 180 / std::numbers::pi;
            result.seen_phase_step_deg = std::min(result.seen_phase_step_deg.value_or(360.0), degrees);
        }
    }
}

void CaptureFaultFinder::State::describe_channels(CaptureFaults& result) const {
    if (frames == 0) return;
    const auto count = static_cast<double>(frames);
    double loudest = 0;
    for (const ChannelState& c : channels) loudest = std::max(loudest, c.sum_squares / count);
    for (std::size_t c = 0; c < channels.size(); ++c) {
        const double mean = channels[c].sum / count, power = channels[c].sum_squares / count;
        const auto remark = [&](const char* code, const std::string& text) {
            result.remarks.push_back({c, code, text});
        };
        if (power == 0) {
            remark("digital_silence",
                   fmt::format("channel {} holds nothing but digital silence: is its input chosen and "
                               "connected?",
                               c + 1));
            continue;
        }
        const double level = dbfs_from_mean_square(power);
        if (level < dead_below_dbfs && dbfs_from_mean_square(loudest) - level > dead_against_db) {
            remark("dead_channel",
                   fmt::format("channel {} is {:.0f} dB quieter than the other: check its lead", c + 1,
                               dbfs_from_mean_square(loudest) - level));
        }
        if (std::abs(mean) >= least_dc) {
            remark("dc_offset",
                   fmt::format("channel {} has a DC offset of {:.1f} % of full scale", c + 1, 100 * mean));
        }
        if (c > 0 && same_as_first[c] != 0) {
            remark("same_as_channel",
                   fmt::format("channel {} equals channel 1 to the last bit: a mono lead, or one input "
                               "recorded twice",
                               c + 1));
        }
    }
}

CaptureFaults CaptureFaultFinder::result() {
    State& s = *state_;
    CaptureFaults result;
    result.duration_s = s.seconds(s.frames);
    result.too_short = result.duration_s < s.options.least_duration_s;
    s.replay.finish();
    s.list_replays(result.events);
    for (std::size_t c = 0; c < s.channels.size(); ++c) {
        s.channels[c].runs.finish();
        s.channels[c].jumps.finish();
        s.list_runs(c, result.events);
        s.list_jumps(c, result.events);
        s.list_mutes(c, result.events);
        s.channels[c].hiss.finish();
        s.list_quiet_mutes(c, result.events);
        result.overload_count += s.channels[c].runs.overload_count();
    }
    std::stable_sort(result.events.begin(), result.events.end(),
                     [](const CaptureFault& a, const CaptureFault& b) { return a.time_s < b.time_s; });
    double last_s = -1;
    for (const CaptureFault& event : result.events) {
        if (!is_dropout(event.what)) continue;
        if (last_s < 0 || event.time_s - last_s > same_instant_s) ++result.dropout_count;
        last_s = event.time_s;
    }
    std::vector<std::array<std::size_t, 5>> kept(s.channels.size(), std::array<std::size_t, 5>{});
    const auto beyond = [&](const CaptureFault& e) {
        return ++kept[e.channel][static_cast<std::size_t>(e.what)] > most_events;
    };
    result.events.erase(std::remove_if(result.events.begin(), result.events.end(), beyond),
                        result.events.end());
    s.describe_tone(result);
    s.describe_channels(result);
    return result;
}

std::uint64_t CaptureFaultFinder::overloads_so_far() const {
    std::uint64_t count = 0;
    for (const ChannelState& channel : state_->channels) count += channel.runs.overload_count();
    return count;
}

std::uint64_t CaptureFaultFinder::dropouts_so_far() const {
    std::uint64_t most = 0;
    for (const ChannelState& channel : state_->channels) {
        most = std::max<std::uint64_t>(most, channel.jumps.jumps().size() + channel.runs.gap_count());
    }
    return most + state_->replay.replays().size();
}

CaptureFaults find_capture_faults(BlockReader& take, const CaptureFaultOptions& options) {
    CaptureFaultFinder finder(take.sample_rate_hz(), take.channels(), options);
    Block block;
    while (take.read(block, 1U << 14U) > 0) finder.add(block);
    return finder.result();
}

}  // namespace hushtrace
