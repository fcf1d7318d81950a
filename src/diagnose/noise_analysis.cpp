#include "hushtrace/diagnose/noise_analysis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <list>

#include "entry/entry_paths.hpp"
#include "entry/supply_probe.hpp"
#include "hushtrace/diagnose/loudness.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/vehicle/engine_orders.hpp"
#include "sources/converter_noise.hpp"
#include "sources/crackle.hpp"
#include "sources/engine_view.hpp"
#include "sources/heard_only.hpp"
#include "sources/noise_pictures.hpp"
#include "sources/noise_sources.hpp"
#include "sources/programme.hpp"
#include "sources/regulator.hpp"
#include "sources/source_loudness.hpp"
#include "sources/source_traces.hpp"
#include "sources/steady_relations.hpp"
#include "takes/click_trains.hpp"
#include "takes/floor_reading.hpp"
#include "takes/survey_takes.hpp"
#include "takes/take_kind.hpp"

namespace hushtrace {
namespace {

constexpr double kToldFrom = 0.55;     // confidence from which a finding is told as a source: clearly more often right than not
constexpr double kTicksStray = 0.001;   // share of the rate: what a minute's mean leaves open of it

bool same_signals(const TakeSurvey& a, const TakeSurvey& b) {
    return std::equal(a.channels.begin(), a.channels.end(), b.channels.begin(), b.channels.end(),
                      [](const ChannelSurvey& one, const ChannelSurvey& other) { return one.channel == other.channel; });
}

/// The take with the engine at rest that is most like this one: same hookup first, then volume, input,
/// source.
const TakeSurvey* quiet_twin(const TakeSurvey& running, const std::list<TakeSurvey>& surveys) {
    const TakeSurvey* best = nullptr;
    int best_likeness = -1;
    for (const TakeSurvey& other : surveys) {
        if (engine_active(*other.take) || is_floor_take(*other.take) ||
            !same_signals(other, running))
            continue;
        const Conditions &a = running.take->conditions, &b = other.take->conditions;
        if (a.point != b.point) continue;
        const int likeness = (a.hookup == b.hookup ? 8 : 0) + (a.volume == b.volume ? 4 : 0) +
                             (a.attached == b.attached ? 3 : 0) + (a.laptop == b.laptop ? 2 : 0) +
                             (a.source == b.source ? 2 : 0) + (a.input == b.input ? 1 : 0);
        if (likeness <= best_likeness) continue;
        best = &other;
        best_likeness = likeness;
    }
    return best;
}

/// A take that was read as one of noise, but in which music or the like plays: looked through for clipping alone.
void set_aside(const OpenedJob& job, const Take& take, std::list<NoiseSource>& clipping, NoiseAnalysis& out) {
    out.warnings.push_back({"programme_material",
                            take.file + ": music or speech plays; left out of the search for noise. Capture noise with "
                                        "the source paused, or with the near_silence tone.",
                            take.file});
    add_clipping(clipping, job, take);
    out.takes.push_back(take.file);
}

/// Tones that were held at one volume are no noise takes, but should not clip.
void look_at_held_tones(const OpenedJob& job, std::list<NoiseSource>& clipping, NoiseAnalysis& out) {
    for (const Take& take : job.job.takes) {
        if (!is_held_tone(take) || take.has(TakeFault::overload)) continue;
        try {
            const std::size_t before = clipping.size();
            add_clipping(clipping, job, take);
            if (clipping.size() > before) out.takes.push_back(take.file);
        } catch (const Error& error) {
            out.warnings.push_back({"take_unreadable", named_as_in_job(job, take, error.what()), take.file});
        }
    }
}

/// Why a noise take is not even read.
std::optional<Warning> left_out(const Take& take) {
    if (take.has(TakeFault::overload))
        return Warning{"take_overloaded",
                       take.file + ": the interface's input was overloaded; left out. Lower its gain or use a pad, and capture again.", take.file};
    if (take.has(TakeFault::source_muted))
        return Warning{"take_muted", take.file + ": the source muted its output; left out. Play the near_silence tone while capturing.", take.file};
    return std::nullopt;
}

/// What is to be known of a take whose sound was read.
void warn_of_take(const TakeSurvey& survey, NoiseAnalysis& out) {
    const Take& take = *survey.take;
    for (const Warning& warning : survey.warnings) out.warnings.push_back(warning);
    if (take.has(TakeFault::dropout))
        out.warnings.push_back(
            {"take_dropout", take.file + ": samples were lost during this take; levels hold, but lines may read weak.", take.file});
    warn_of_band(survey, out);
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.silent)
            out.warnings.push_back({"digital_silence",
                                    fmt::format("{}: the {} channel is digital silence; is it connected?", take.file, to_word(channel.channel)),
                                    take.file});
    for (const AttachedDevice& device : take.conditions.attached)
        if (device.device == "interface_output")
            out.warnings.push_back({"loop_through_interface",
                                    take.file +
                                        ": the interface's output lead was in the source: it closes a ground loop of its own, and noise may come by "
                                        "it. Prefer a tone played from a stick, with that lead out.",
                                    take.file});
}

/// Reads every noise take; those that can't be used are left out with a warning that names them.
std::list<TakeSurvey> survey_all(const OpenedJob& job, std::list<NoiseSource>& clipping, NoiseAnalysis& out) {
    std::list<TakeSurvey> surveys;
    std::size_t asked = 0, aside = 0;
    std::string last_fault;
    const auto leave_out = [&](Warning why) {
        last_fault = why.text;
        out.warnings.push_back(std::move(why));
    };
    std::vector<const Take*> sound;
    for (const Take& take : job.job.takes) {
        if (!plays_nothing(take)) continue;
        ++asked;
        if (std::none_of(take.channels.begin(), take.channels.end(), carries_signal))
            ++aside;  // it tells of the supply alone
        else
            sound.push_back(&take);
    }
    std::vector<const Take*> usable;
    std::copy_if(sound.begin(), sound.end(), std::back_inserter(usable), [](const Take* take) { return !left_out(*take); });
    auto read = survey_takes(job, usable);
    auto next = read.begin();
    for (const Take* one : sound) {
        const Take& take = *one;
        if (auto why = left_out(take)) {
            leave_out(std::move(*why));
            continue;
        }
        try {
            surveys.push_back((next++)->get());
            if (!take.tone && holds_programme(surveys.back())) {
                surveys.pop_back();
                ++aside;
                set_aside(job, take, clipping, out);
                continue;
            }
        } catch (const Error& error) {
            leave_out({"take_unreadable", named_as_in_job(job, take, error.what()), take.file});
            continue;
        }
        out.takes.push_back(take.file);
        warn_of_take(surveys.back(), out);
    }
    if (surveys.empty() && aside == 0)
        throw Error(ErrorKind::invalid_input,
                    asked == 0 ? "job.json: takes: no noise take yet; capture one with the engine off and "
                                 "one at idle, no tone playing"
                               : "job.json: takes: none of the noise takes can be used: " + last_fault);
    return surveys;
}

/// Takes that the analysis would need and does not have.
void warn_of_missing_takes(const std::list<TakeSurvey>& surveys, const VehicleData& vehicle, NoiseAnalysis& out) {
    bool any_off = false, any_running = false;
    for (const TakeSurvey& survey : surveys) {
        if (is_floor_take(*survey.take)) continue;
        (engine_active(*survey.take) ? any_running : any_off) = true;
    }
    if (any_running && !any_off)
        out.warnings.push_back({"no_engine_off_take",
                                "No take with the engine off: what the engine causes can't be held against what is always there. Capture one.",
                                std::nullopt});
    if (any_off && !any_running && vehicle.drive != Drive::electric)
        out.warnings.push_back({"no_running_take",
                                "No take with the engine running: nothing can be said of whine and ignition. Capture one at idle.", std::nullopt});
}

/// What ticks and crackles in all takes.
struct Ticks {
    std::vector<OddBursts> odd;
    std::vector<double> rates_hz;   // of trains that are no ignition
};

/// The clicks of a take, told by their kind; the first train is the clearest. They and the bursts beside them become sources.
std::vector<ClicksInTake> add_clicks_of(std::list<NoiseSource>& sources, const TakeSurvey& survey, const TakeSurvey* off, const WhineInTake* whine,
                                        const VehicleData& vehicle, const EngineFindings& engine, Ticks& ticks) {
    const auto speed =
        std::find_if(engine.takes.begin(), engine.takes.end(), [&](const EngineInTake& one) { return one.take == survey.take->file; });
    const EngineInTake* known = speed == engine.takes.end() ? nullptr : &*speed;
    const auto judge = [&](const ImpulseTrain& train) { return judged_clicks(train, survey, off, whine, vehicle, known); };
    std::vector<ClicksInTake> clicks;
    if (auto first = clicks_in(survey, off, whine, vehicle, known)) clicks.push_back(std::move(*first));
    if (!clicks.empty())
        if (const ImpulseTrain* other = other_clicks(survey, clicks.front().train.rate.mean_hz())) clicks.push_back(judge(*other));
    for (const ClicksInTake& one : clicks) add_clicks(sources, one);
    ticks.odd.push_back(add_bursts(sources, survey, clicks, judge));
    for (const ClicksInTake& one : clicks)
        if (!one.ignition) ticks.rates_hz.push_back(one.rate_hz);
    return clicks;
}

/// What of a take's steady lines is spoken for by its whine, its clicks, or takes of the floor.
SpokenFor spoken_for(const TakeSurvey& survey, const std::list<TakeSurvey>& surveys, const WhineInTake* whine,
                     const std::vector<ClicksInTake>& clicks) {
    SpokenFor spoken;
    if (whine) {
        spoken.whine_family = whine->family;
        for (const Harmonic& harmonic : whine->harmonics) spoken.known_hz.push_back(harmonic.frequency_hz);
        for (const double frequency_hz : held_sidebands(*whine)) spoken.known_hz.push_back(frequency_hz);
    }
    for (const ClicksInTake& one : clicks)
        // what no engine turns keeps its time: the track strays by its reading's jitter alone
        spoken.clicks.push_back({one.train.rate.mean_hz(), one.ignition ? one.train.rate.wander() : std::min(kTicksStray, one.train.rate.wander())});
    if (!is_floor_take(*survey.take))
        for (const TakeSurvey& other : surveys)
            if (is_floor_take(*other.take)) spoken.floor_takes.push_back(&other);
    return spoken;
}

/// The sources that one take shows.
void add_sources_of(std::list<NoiseSource>& sources, const TakeSurvey& survey, const std::list<TakeSurvey>& surveys,
                    const std::list<WhineInTake>& whines, const Job& job, const EngineFindings& engine, Ticks& ticks) {
    const TakeSurvey* off = engine_active(*survey.take) ? quiet_twin(survey, surveys) : nullptr;
    const WhineInTake* whine = nullptr;
    for (const WhineInTake& one : whines)
        if (one.survey == &survey) whine = &one;
    const bool floor = is_floor_take(*survey.take);
    if (whine) add_whine(sources, *whine, off);
    std::vector<ClicksInTake> clicks;
    if (!floor) clicks = add_clicks_of(sources, survey, off, whine, job.vehicle, engine, ticks);
    const ClicksInTake* first = clicks.empty() ? nullptr : &clicks.front();
    if (!floor) add_hiss(sources, survey, first, job);
    const auto combs = steady_combs_in(survey, job, spoken_for(survey, surveys, whine, clicks));
    for (const SteadyComb& comb : combs) add_comb(sources, comb, survey);
    if (floor) return;
    add_moving(sources, survey, whine, first, combs);
    add_converter_hash(sources, survey, combs);
    add_beats(sources, survey);
}

/// What all takes together tell of each source.
void relate_sources(std::list<NoiseSource>& sources, const std::list<TakeSurvey>& surveys, const Job& job, const EngineFindings& engine) {
    for (NoiseSource& source : sources)
        if (source.kind != NoiseKind::alternator_whine && source.kind != NoiseKind::ignition_tick &&
            source.kind != NoiseKind::hiss && source.kind != NoiseKind::clipping) {
            say_where(source, surveys);
            relate_to_conditions(source, surveys);
            say_sample_rates(source, surveys);
        }
    weigh_tones(sources);
    add_heard_only(sources, surveys, job);
    for (NoiseSource& source : sources)
        if (source.kind == NoiseKind::alternator_whine || source.kind == NoiseKind::ignition_tick)
            set_engine_order(source, engine);
}

/// What to do about what is loud enough to be heard; no action twice.
void advise(NoiseAnalysis& out, const Job& job) {
    for (NoiseSource& source : out.noise_sources) {   // what is too quiet is told in it
        if (quiet_enough(source, job)) continue;
        for (Action& action : advice_for(source, job))
            if (std::none_of(out.actions.begin(), out.actions.end(), [&action](const Action& one) { return one.action == action.action; }))
                out.actions.push_back(std::move(action));
    }
}

void name_and_sort(std::list<NoiseSource>& sources, NoiseAnalysis& out) {
    sources.remove_if([](const NoiseSource& s) { return s.levels.empty() && s.kind != NoiseKind::heard_only; });
    sources.sort([](const NoiseSource& a, const NoiseSource& b) {
        return a.level_dbfs.value_or(-999) > b.level_dbfs.value_or(-999);
    });
    std::vector<std::size_t> count(16, 0);
    for (const bool told : {true, false})
        for (NoiseSource& source : sources) {
            // by the counts: of what is rarely right, most is a part of something louder, or chance
            if (told != (source.confidence >= kToldFrom || source.rests_on.empty())) continue;
            const auto k = static_cast<std::size_t>(source.kind);
            source.id = fmt::format("{}-{}", to_word(source.kind), ++count[k]);
            (told ? out.noise_sources : out.unsure).push_back(source);
        }
}

}  // namespace

NoiseAnalysis analyse_noise(const OpenedJob& job) {
    NoiseAnalysis out;
    out.warnings = job.warnings;
    std::list<NoiseSource> sources;
    std::list<TakeSurvey> read = survey_all(job, sources, out);
    for (TakeSurvey& survey : read)
        settle_clicks(survey, engine_active(*survey.take) ? quiet_twin(survey, read) : nullptr, job.job.vehicle);
    const std::list<TakeSurvey>& surveys = read;
    look_at_held_tones(job, sources, out);
    warn_of_missing_takes(surveys, job.job.vehicle, out);
    EngineView engine = view_engine(
        job.job.vehicle, surveys, [&surveys](const TakeSurvey& running) { return quiet_twin(running, surveys); },
        out.warnings);
    std::list<WhineInTake>& whines = engine.whines;
    out.engine = std::move(engine.findings);
    out.health = alternator_health(whines, out.engine.sets);
    Ticks ticks;
    for (const TakeSurvey& survey : surveys) {
        add_sources_of(sources, survey, surveys, whines, job.job, out.engine, ticks);
        for (std::size_t c = 0; c < survey.channels.size(); ++c) out.floor.push_back(floor_of(survey, c, job.job));
    }
    settle_bands(out.floor, job.job);
    std::erase_if(ticks.odd, [](const OddBursts& one) { return !one.survey; });
    add_crackle(sources, std::move(ticks.odd), ticks.rates_hz);
    join_over_takes(sources);
    relate_sources(sources, surveys, job.job, out.engine);
    if (const auto regulator = find_regulator(job, whines))
        for (NoiseSource& source : sources)
            if (source.kind == NoiseKind::alternator_whine) add_regulator(source, *regulator);
    name_and_sort(sources, out);
    out.traces = traces_of(surveys, whines, out.noise_sources);
    out.order_spectra = order_spectra_of(surveys, out);
    measure_loudness(surveys, out);
    judge_loudness(job.job, out);
    add_side_evidence(surveys, out);
    if (!out.floor.empty() &&
        std::none_of(out.floor.begin(), out.floor.end(),
                     [](const FloorReading& f) { return f.unweighted.dbv.has_value(); }))
        out.warnings.push_back({"not_calibrated",
                                "Not calibrated: levels are in dBFS, true against each other only. Run "
                                "calibrate with a known voltage.",
                                std::nullopt});
    advise(out, job.job);
    read_supply_probes(out, surveys, job);   // its slopes are evidence
    find_entry_paths(out, surveys, job.job);
    for (const TakeSurvey& survey : surveys)
        for (std::size_t c = 0; c < survey.channels.size(); ++c)
            out.pictures.push_back(picture_of(survey, c, out));
    return out;
}

}  // namespace hushtrace
