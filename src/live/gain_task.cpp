#include "hushtrace/live/gain_task.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "gain_words.hpp"
#include "hushtrace/live/knob_count.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "sound_memory.hpp"
#include "step_finder.hpp"
#include "step_reader.hpp"
#include "tone_watch.hpp"

namespace hushtrace {
namespace {

constexpr double kMemory = 6.0, kMostRead = 1.5;  // [s]

int badness(ToneState state) {
    switch (state) {
        case ToneState::overloaded: return 3;
        case ToneState::distorted: return 2;
        case ToneState::unsure: return 1;
        default: return 0;
    }
}

}  // namespace

struct GainTask::State {
    explicit State(GainWatch of)
        : watch(std::move(of)),
          knob(watch.volume_start, watch.volume_step, watch.volume_top),
          tones(watch.sample_rate_hz, watch.tone_hz, watch.limit_thd_percent),
          memory(watch.channels.size(), static_cast<std::size_t>(kMemory * watch.sample_rate_hz)),
          reader(watch.sample_rate_hz, watch.tone_hz) {
        if (3.0 * watch.tone_hz > std::min(20000.0, 0.475 * watch.sample_rate_hz))
            throw Error(ErrorKind::invalid_request,
                        fmt::format("the third harmonic of a {:g} Hz tone lies too high, so clipping can't be seen; use 997 Hz",
                                    watch.tone_hz));
        for (std::size_t c = 0; c < watch.channels.size(); ++c)
            if (carries_signal(watch.channels[c])) {
                tones.watch(watch.channels[c], c);
                signal_channels.push_back(c);
            }
    }

    double now_s() const { return static_cast<double>(frames) / watch.sample_rate_hz; }
    void add(const Block& block);
    void follow_steps();
    void ask_reading(std::size_t rest);
    void take_readings();
    void step_read(std::size_t rest, const StepResult& result);
    void tell_ceiling();
    const std::vector<LiveStep>& shown_steps();
    void show_steps();
    std::optional<LiveCeiling> ceiling_of(const std::vector<LiveStep>& all) const;
    std::optional<LiveStep> as_read(std::size_t rest, std::size_t channel) const;
    GainMoment moment();

    GainWatch watch;
    std::vector<std::size_t> signal_channels;
    KnobCount knob;
    ToneWatch tones;
    SoundMemory memory;
    std::optional<StepFinder> finder;  // once begun
    StepReader reader;
    std::uint64_t frames = 0;
    std::optional<double> off_hz;  // what the last step's tone was, where it was another one
    struct Step {
        double asked_s = 0, read_s = 0;  // length of the sound
        std::vector<std::optional<ReadStep>> channels;  // [signal channels]
        bool told = false;
    };
    std::vector<Step> steps;  // [rests]
    std::vector<LiveStep> shown;
    std::optional<std::size_t> at_last_rest;  // index into shown
    bool stale = true;
    std::optional<LiveCeiling> told_ceiling;
    std::vector<std::pair<std::string, std::string>> events;
};

void GainTask::State::add(const Block& block) {
    memory.add(block);
    tones.add(block);
    frames += block.frames();
    for (std::string& text : tones.take_news()) events.emplace_back("tone", std::move(text));
    if (!finder) return;
    finder->add(block);
    follow_steps();
    take_readings();
}

void GainTask::State::follow_steps() {
    for (auto change = finder->next_change(); change != StepFinder::Change::none; change = finder->next_change()) {
        stale = true;
        if (change == StepFinder::Change::merged) {
            if (!steps.empty()) steps.pop_back();
            knob.merged();
            continue;
        }
        const std::size_t now = std::min(steps.size(), finder->rests().size() - 1);
        steps.emplace_back();
        bool louder = true;
        if (now > 0)
            louder = finder->rests()[now].level_ln[0] >= finder->rests()[now - 1].level_ln[0] ||
                     std::isnan(finder->rests()[now].level_ln[0]);
        knob.rested(finder->rests()[now].start_s, louder);
        if (now > 0) ask_reading(now - 1);  // the last chance to read more of it
        ask_reading(now);
    }
    const bool waited = knob.waits();
    if (!steps.empty() && knob.at(now_s())) {
        finder->repeat_last(now_s());
        steps.push_back(steps.back());
        steps.back().told = false;
        if (steps.back().read_s > 0) step_read(steps.size() - 1, {steps.size() - 1, steps.back().read_s, steps.back().channels});
    }
    if (waited != knob.waits()) stale = true;
    if (!steps.empty()) ask_reading(steps.size() - 1);
}

void GainTask::State::ask_reading(std::size_t rest) {
    Step& step = steps[rest];
    auto [from_s, to_s] = finder->rests()[rest].part_s;
    if (to_s - from_s > kMostRead) {
        const double middle_s = 0.5 * (from_s + to_s);
        from_s = middle_s - 0.5 * kMostRead;
        to_s = middle_s + 0.5 * kMostRead;
    }
    const double length_s = to_s - from_s;
    const bool enough = step.asked_s == 0 || (step.asked_s < kMostRead - 0.05 && length_s >= kMostRead - 1e-6) ||
                        (rest + 1 < steps.size() && length_s > 1.3 * step.asked_s);
    if (!enough) return;
    StepSound sound{rest, length_s, {}};
    for (std::size_t i = 0; i < signal_channels.size(); ++i) {
        sound.channels.emplace_back();
        if (!std::isnan(finder->rests()[rest].level_ln[i]))
            sound.channels.back() = memory.copy(signal_channels[i], static_cast<std::uint64_t>(std::llround(from_s * watch.sample_rate_hz)),
                                                static_cast<std::size_t>(std::llround(length_s * watch.sample_rate_hz)));
    }
    step.asked_s = length_s;
    reader.ask(std::move(sound));
    if (watch.waits_for_readings) reader.wait();
}

void GainTask::State::take_readings() {
    for (const StepResult& result : reader.take())
        if (result.step < steps.size() && result.length_s >= steps[result.step].read_s) step_read(result.step, result);
}

void GainTask::State::step_read(std::size_t rest, const StepResult& result) {
    Step& step = steps[rest];
    step.read_s = result.length_s;
    step.channels = result.channels;
    stale = true;
    shown_steps();
    const auto found = std::find_if(shown.begin(), shown.end(), [rest](const LiveStep& one) { return one.number == rest + 1; });
    const auto& volume = rest < knob.volumes().size() ? knob.volumes()[rest] : std::nullopt;
    const bool again = volume && !knob.doubtful() &&
                       std::find(knob.volumes().begin(), knob.volumes().begin() + static_cast<std::ptrdiff_t>(rest), volume) !=
                           knob.volumes().begin() + static_cast<std::ptrdiff_t>(rest);
    if (!step.told && again) {
        step.told = true;
        events.emplace_back("step", fmt::format("{:g} again", *volume));
    } else if (!step.told && found != shown.end()) {
        step.told = true;
        std::string level = fmt::format("{:.2f} dBFS", found->level_dbfs);
        if (found->level_v) level = fmt::format("{:.3f} V", *found->level_v);
        events.emplace_back("step", fmt::format("{}: {}, THD {:.3f} %, {}", place_of(*found), level, found->thd_percent, to_word(found->tone)));
    }
    const auto off = std::find_if(step.channels.begin(), step.channels.end(), [this](const auto& read) {
        return read && std::abs(read->frequency_hz / watch.tone_hz - 1.0) > tone_tolerance;
    });
    const bool none = found == shown.end() && !again;
    if (none && off != step.channels.end()) {
        if (!off_hz) events.emplace_back("tone", fmt::format("another tone plays: {:.1f} Hz, not {:g} Hz", (*off)->frequency_hz, watch.tone_hz));
        off_hz = (*off)->frequency_hz;
    } else {
        off_hz.reset();
    }
    tell_ceiling();
}

void GainTask::State::tell_ceiling() {
    const auto ceiling = ceiling_of(shown_steps());
    const bool news = ceiling && ceiling->final &&
                      (!told_ceiling || told_ceiling->step.number != ceiling->step.number || told_ceiling->step.volume != ceiling->step.volume);
    if (!news) return;
    told_ceiling = ceiling;
    events.emplace_back("ceiling", fmt::format("the ceiling is {}: the next step is distorted", place_of(ceiling->step)));
}

std::optional<LiveStep> GainTask::State::as_read(std::size_t rest, std::size_t channel) const {
    const auto& read = steps[rest].channels[channel];
    if (!read || std::abs(read->frequency_hz / watch.tone_hz - 1.0) > tone_tolerance) return std::nullopt;
    LiveStep one;
    one.number = rest + 1;
    if (!knob.doubtful() && rest < knob.volumes().size()) one.volume = knob.volumes()[rest];
    one.level_dbfs = read->level_dbfs;
    if (const auto& scale = watch.volts_full_scale[signal_channels[channel]])
        one.level_v = volts_from_dbv(dbv_from_dbfs(read->level_dbfs, *scale));
    one.thd_percent = read->thd_percent;
    one.thd_sd_percent = read->thd_sd_percent;
    one.channel = watch.channels[signal_channels[channel]];
    one.tone = read->overloaded ? ToneState::overloaded : judge_tone(read->thd_percent, read->thd_sd_percent, watch.limit_thd_percent);
    return one;
}

/// The ceiling's figures are those of the channel that is distorted one step on.
std::optional<LiveCeiling> GainTask::State::ceiling_of(const std::vector<LiveStep>& all) const {
    auto ceiling = live_ceiling(all);
    if (!ceiling || !ceiling->final) return ceiling;
    const LiveStep* above = nullptr;
    for (const LiveStep& one : all)
        if (one.tone != ToneState::clean && one.level_dbfs > ceiling->step.level_dbfs && (!above || one.level_dbfs < above->level_dbfs)) above = &one;
    const std::size_t rest = ceiling->step.number - 1;
    for (std::size_t i = 0; above && i < signal_channels.size(); ++i)
        if (watch.channels[signal_channels[i]] == above->channel)
            if (const auto there = as_read(rest, i)) ceiling->step = *there;
    return ceiling;
}

/// Steps as they are shown: the worst channel speaks for each; where volumes are counted a volume comes once, with the
/// worst that it read.
void GainTask::State::show_steps() {
    shown.clear();
    at_last_rest.reset();
    stale = false;
    for (std::size_t rest = 0; rest < steps.size(); ++rest) {
        std::optional<LiveStep> worst;
        for (std::size_t i = 0; i < steps[rest].channels.size(); ++i) {
            const auto one = as_read(rest, i);
            if (!one) continue;
            if (!worst || std::pair(badness(one->tone), one->thd_percent) > std::pair(badness(worst->tone), worst->thd_percent)) worst = one;
        }
        if (!worst) continue;
        const auto same = std::find_if(shown.begin(), shown.end(), [&](const LiveStep& one) { return one.volume && one.volume == worst->volume; });
        if (same == shown.end()) {
            shown.push_back(*worst);
            at_last_rest = shown.size() - 1;
        } else {
            if (std::pair(badness(worst->tone), worst->thd_percent) > std::pair(badness(same->tone), same->thd_percent)) {
                worst->number = same->number;
                *same = *worst;
            }
            at_last_rest = static_cast<std::size_t>(same - shown.begin());
        }
        if (rest + 1 != steps.size()) at_last_rest.reset();
    }
}

const std::vector<LiveStep>& GainTask::State::shown_steps() {
    if (stale) show_steps();
    return shown;
}

GainMoment GainTask::State::moment() {
    GainMoment now;
    now.levels = tones.levels();
    now.steps = shown_steps();
    if (finder && finder->resting(now_s())) now.current = at_last_rest;
    now.ceiling = ceiling_of(now.steps);
    now.begun = finder.has_value();
    now.tone_hz = watch.tone_hz;
    now.other_hz = tones.other_hz() ? tones.other_hz() : off_hz;
    now.source_plays = watch.source_plays;
    now.muted = tones.lost();
    now.counts = knob.counts() && !knob.doubtful();
    now.link_turns_volume = watch.link_turns_volume;
    now.volume = knob.place();
    now.volume_top = watch.volume_top;
    now.volume_step = watch.volume_step;
    return now;
}

GainTask::GainTask(GainWatch watch) : state_(std::make_unique<State>(std::move(watch))) {}
GainTask::~GainTask() = default;

void GainTask::add(const Block& block) {
    state_->add(block);
}
bool GainTask::hears_tone() const {
    return state_->tones.heard();
}
void GainTask::begin() {
    State& s = *state_;
    if (s.finder) return;
    s.finder.emplace(s.watch.sample_rate_hz, s.watch.tone_hz, s.signal_channels);
    s.frames = 0;
    s.memory.restart();
    s.knob.begun();
    s.stale = true;
}
void GainTask::said_up() {
    state_->knob.said_up(state_->now_s());
    state_->stale = true;
}
void GainTask::said_down() {
    state_->knob.said_down(state_->now_s());
    state_->stale = true;
}
void GainTask::turned_to(double volume) {
    state_->knob.turned_to(volume, state_->finder ? state_->now_s() : -1.0);
}

void GainTask::fill(LiveSnapshot& snapshot) const {
    const GainMoment now = state_->moment();
    const std::size_t left_out = now.steps.size() > most_shown_steps ? now.steps.size() - most_shown_steps : 0;
    snapshot.steps.assign(now.steps.begin() + static_cast<std::ptrdiff_t>(left_out), now.steps.end());
    snapshot.ceiling = now.ceiling;
    snapshot.volume = now.volume;
    const GainSaid said = say_gain(now);
    snapshot.headline = said.headline;
    snapshot.next = said.next;
    snapshot.move = said.move;
    for (std::size_t i = 0; i < now.levels.size(); ++i) {
        const std::size_t c = state_->signal_channels[i];
        if (c >= snapshot.levels.size()) continue;
        LiveLevel& level = snapshot.levels[c];
        const LiveLevel& tone = now.levels[i];
        level.tone = tone.tone;
        level.thd_percent = tone.thd_percent;
        level.thd_sd_percent = tone.thd_sd_percent;
        if (!std::isfinite(tone.level_dbfs)) continue;  // without a tone the level stays that of all sound
        level.level_dbfs = tone.level_dbfs;
        level.level_dbv.reset();
        level.level_v.reset();
        if (const auto& scale = state_->watch.volts_full_scale[c]) {
            level.level_dbv = dbv_from_dbfs(tone.level_dbfs, *scale);
            level.level_v = volts_from_dbv(*level.level_dbv);
        }
    }
}

std::vector<std::pair<std::string, std::string>> GainTask::take_events() {
    return std::exchange(state_->events, {});
}

std::vector<double> GainTask::volume_steps() const {
    const State& s = *state_;
    std::vector<double> volumes;
    if (!s.finder || !s.knob.counts() || s.knob.doubtful()) return volumes;
    const auto& rests = s.finder->rests();
    for (const Plateau& plateau : s.finder->plateaus()) {
        const double middle_s = 0.5 * (plateau.start_s + plateau.end_s);
        std::optional<double> volume = s.knob.turned_at(plateau.start_s + KnobCount::frame_s);
        for (std::size_t r = 0; r < rests.size() && !volume; ++r)
            if (rests[r].start_s <= middle_s && middle_s <= rests[r].end_s) volume = s.knob.volumes()[r];
        if (volume) volumes.push_back(*volume);
    }
    return volumes;
}

void GainTask::finish() {
    state_->reader.wait();
    state_->take_readings();
}

}  // namespace hushtrace
