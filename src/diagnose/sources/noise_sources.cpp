#include "noise_sources.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "../takes/beat_search.hpp"
#include "../takes/motor_turns.hpp"
#include "../takes/take_kind.hpp"
#include "converter_noise.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/engine_orders.hpp"

namespace hushtrace {
namespace {

std::vector<double> frequencies_of(const std::vector<Harmonic>& harmonics) {
    std::vector<double> out;
    out.reserve(harmonics.size());
    for (const Harmonic& one : harmonics) out.push_back(one.frequency_hz);
    return out;
}

constexpr double kClear_sd = 20.0;
constexpr double kFarthest = 0.2;   // wander (common practice, no source)
constexpr double kFaint = 12.0;   // evidence [ln] that coloured hiss has been seen to reach without a line
constexpr double kBeyondDoubt = 100.0;
constexpr double kUnsupported = 30.0;   // the same, where the engine at rest leaves as much there, and no log leads
constexpr std::array<std::string_view, 5> kSpeaksForWhine = {"whine: under 2 for it", "whine: under 2 for it", "whine: 2 and more for it",
                                                             "whine: 2 and more for it", "whine: 2 and more for it"};
constexpr std::size_t kLinesOfAComb = 4;  // so many make it a comb, with teeth in places where none was read
// A tonal line that far below the input voltage of full power is not heard in a parked car (a proposal of ours: 100 W
// into a speaker of 90 dB/W at 1 m make it 20 dB SPL).
constexpr double kInaudible_db = -90.0;
constexpr double kUsualSensitivity_v = 0.2;  // common practice, no source: the most sensitive setting of most amplifiers

NoiseSource& source_of(std::list<NoiseSource>& sources, NoiseKind kind, double frequency_hz,
                       double reach_hz) {
    for (NoiseSource& source : sources)
        if (source.kind == kind && source.frequency_hz &&
            std::abs(*source.frequency_hz - frequency_hz) < reach_hz)
            return source;
    NoiseSource& made = sources.emplace_back();
    made.kind = kind;
    return made;
}

/// Whether a line is a multiple of a converter's: humps of pulses that hunt string together to lines.
bool is_multiple_of_hash(const std::list<NoiseSource>& sources, double frequency_hz) {
    constexpr double hunts = 0.05;
    return std::any_of(sources.begin(), sources.end(), [=](const NoiseSource& one) {
        if (one.kind != NoiseKind::converter_hash || !one.frequency_hz) return false;
        const double times = frequency_hz / *one.frequency_hz, least = one.rests_on == "hash: pulses" ? 1.0 - hunts : 1.5;
        return times > least && times < 4.5 && std::abs(times - std::round(times)) < hunts * times;
    });
}

/// Whether a followed line is a motor's side line: the motor's own, in this take or another, is as whole a multiple of its shaft.
bool is_side_line(const MovingFamily& family, const std::list<NoiseSource>& sources, const std::vector<SteadyComb>& combs) {
    constexpr double same_take = 0.003, drifts = 0.02, most_aside = 3.0;
    const int at = turns_of_side_line(family);
    if (at == 0) return false;
    const double shaft_hz = family.mean_hz / at;
    const auto turns_too = [&](double hz, double off) {
        const double turns = hz / shaft_hz, whole = std::round(turns);
        return whole != at && std::abs(whole - at) <= most_aside && std::abs(turns / whole - 1.0) < off;
    };
    const auto a_motor = [](NoiseKind kind) { return kind == NoiseKind::motor_whine || kind == NoiseKind::unexplained_tone; };
    return std::any_of(combs.begin(), combs.end(),
                       [&](const SteadyComb& one) { return a_motor(one.kind) && turns_too(one.frequency_hz, same_take); }) ||
           std::any_of(sources.begin(), sources.end(), [&](const NoiseSource& one) {
               return one.kind == NoiseKind::motor_whine && one.frequency_hz && turns_too(*one.frequency_hz, drifts);
           });
}

/// Whether a take has a beat that may have drifted there until another.
bool sweeps_there(const TakeSurvey& survey, double frequency_hz) {
    constexpr double drifts = 0.1;
    const auto there = [frequency_hz](double hz) { return std::abs(hz / frequency_hz - 1.0) < drifts; };
    return std::any_of(survey.beats.begin(), survey.beats.end(), [&](const Beat& one) { return there(one.mean_hz); }) ||
           std::any_of(survey.families.begin(), survey.families.end(),
                       [&](const MovingFamily& one) { return is_beat(survey, one) && there(one.mean_hz); });
}

/// Power of the channels in which a whine may still hide in another take [dBFS]: the noise in its band.
double power_near(const TakeSurvey& survey, double frequency_hz, double half_width_hz) {
    double most = 0;
    for (const ChannelSurvey& channel : survey.channels)
        most = std::max(most, channel.spectrum.band_mean_square(frequency_hz - half_width_hz,
                                                                frequency_hz + half_width_hz));
    return most;
}

/// What speaks for a line being the alternator's, said as the source's evidence.
struct SpeaksForWhine {
    int marks = 0;               ///< that each would do for half a proof
    bool no_quieter = false;     ///< its band with the engine off is as loud
};

SpeaksForWhine say_how_it_moves(NoiseSource& source, const WhineInTake& whine) {
    const std::vector<std::string> files = {whine.survey->take->file};
    const auto say = [&](std::string text, double value, const char* unit, std::optional<double> sd = std::nullopt) {
        source.evidence.push_back({std::move(text), value, unit, sd, files, {}});
    };
    SpeaksForWhine speaks;
    if (whine.family) {
        say(fmt::format("The line near {:.0f} Hz wanders by {:.2f} % as an engine does; it was followed through the take.", whine.frequency_hz,
                        100 * whine.wander),
            100 * whine.wander, "%");
        if (whine.significance > kClear_sd) ++speaks.marks;
    } else {
        say(fmt::format("The line at {:.1f} Hz holds still, as a steadily held engine's may.", whine.frequency_hz), whine.frequency_hz, "Hz",
            whine.frequency_sd_hz);
    }
    if (whine.multiples > 0) {
        ++speaks.marks;
        say(fmt::format("{} whole multiple{} move{} with it, as rectified current gives.", whine.multiples, whine.multiples == 1 ? "" : "s",
                        whine.multiples == 1 ? "s" : ""),
            static_cast<double>(whine.multiples), "lines");
    }
    if (whine.hz_per_rpm) {
        if (whine.usual_constant) ++speaks.marks;
        say(fmt::format("{:.3f} Hz of whine per rpm; {:.1f} to {:.1f} are usual.", *whine.hz_per_rpm, WhineConstants::usual_low,
                        WhineConstants::usual_high),
            *whine.hz_per_rpm, "Hz/rpm");
    }
    return speaks;
}

void say_what_the_engine_changes(NoiseSource& source, const WhineInTake& whine, const TakeSurvey& off, SpeaksForWhine& speaks) {
    const double width = std::max(5.0, 2.5 * whine.wander * whine.frequency_hz);
    const double here = power_near(*whine.survey, whine.frequency_hz, width), there = power_near(off, whine.frequency_hz, width);
    const double fall = decibels_from_power(std::max(here, 1e-30) / std::max(there, 1e-30));
    speaks.no_quieter = fall <= 3.0;
    if (!speaks.no_quieter) ++speaks.marks;
    source.evidence.push_back(
        {speaks.no_quieter ? fmt::format("With the engine off its band is only {:.1f} dB quieter: the engine may not be the cause.", fall)
                           : fmt::format("With the engine off its band is {:.1f} dB quieter.", fall),
         fall, "dB", 1.0, {whine.survey->take->file, off.take->file}, {}});
}

/// The row of confidence.hpp on which a whine rests.
std::string_view whine_rests_on(const WhineInTake& whine, const TakeSurvey* off, const SpeaksForWhine& speaks) {
    if (!whine.family) return "whine: held still";
    // alone, where a beat of two converters sweeps with the engine at rest, it is that beat
    if (off && whine.multiples == 0 && sweeps_there(*off, whine.frequency_hz)) return "whine: where a beat sweeps at rest";
    if (speaks.marks < 2) {
        const double log_evidence = whine.survey->families[*whine.family].ridge.log_evidence;
        // one take, no speed typed: what nobody can overhear is told all the same
        if (!off && log_evidence > kBeyondDoubt) return "whine: loud, nothing to hold it against";
        if (log_evidence < (speaks.no_quieter && !whine.survey->rpm_log ? kUnsupported : kFaint)) return "whine: faint";
    }
    return speaks.no_quieter ? "whine: no quieter with the engine off" : kSpeaksForWhine[static_cast<std::size_t>(speaks.marks)];
}

}  // namespace

void add_whine(std::list<NoiseSource>& sources, const WhineInTake& whine, const TakeSurvey* off) {
    const auto found = std::find_if(sources.begin(), sources.end(), [](const NoiseSource& s) {
        return s.kind == NoiseKind::alternator_whine;
    });
    NoiseSource& source = found == sources.end() ? sources.emplace_back() : *found;
    source.kind = NoiseKind::alternator_whine;
    const auto before = source.level_dbfs;
    const bool idles = whine.survey->take->conditions.engine == Engine::idle;
    add_levels(source, *whine.survey, whine.mean_square, idles ? 1.0 : 0.5, frequencies_of(whine.harmonics));
    SpeaksForWhine speaks = say_how_it_moves(source, whine);
    if (off) say_what_the_engine_changes(source, whine, *off, speaks);
    rest_on(source, whine_rests_on(whine, off, speaks));
    if (before && *before >= *source.level_dbfs) return;  // the loudest take speaks for the frequency
    source.frequency_hz = whine.frequency_hz;
    source.frequency_sd_hz = whine.frequency_sd_hz;
    source.harmonics = whine.harmonics;
}

void add_comb(std::list<NoiseSource>& sources, const SteadyComb& comb, const TakeSurvey& survey) {
    const double reach = comb.kind == NoiseKind::mains_hum ? 1.2 : std::max(1.0, 0.0015 * comb.frequency_hz);
    NoiseSource& source = source_of(sources, comb.kind, comb.frequency_hz, reach);
    const auto before = source.level_dbfs;
    std::vector<double> lines_hz = frequencies_of(comb.harmonics);
    if (lines_hz.empty()) lines_hz = {comb.frequency_hz};
    add_levels(source, survey, comb.mean_square, 0.2, lines_hz);
    if (!before || *source.level_dbfs > *before) {
        source.frequency_hz = comb.frequency_hz;
        source.frequency_sd_hz = comb.frequency_sd_hz;
        // a line that is known to a tenth of the spectrum's step wants no longer take
        const bool known = comb.frequency_sd_hz < 0.1 * survey.channels.front().spectrum.bin_hz();
        source.frequency_limited_by = known ? LimitedBy::nothing : LimitedBy::length;
        source.harmonics = comb.harmonics;
    }
    rest_on(source, comb.rests_on);
    if (before && *before >= *source.level_dbfs) {  // the louder take's words stand for both
        for (Evidence& one : source.evidence) one.takes.push_back(survey.take->file);
        return;
    }
    const auto takes = source.takes;
    source.evidence = {{comb.why + ".", comb.frequency_hz, "Hz", comb.frequency_sd_hz, takes, {}}};
    for (const Evidence& one : comb.evidence) {
        source.evidence.push_back(one);
        source.evidence.back().takes = takes;
    }
}

void add_moving(std::list<NoiseSource>& sources, const TakeSurvey& survey, const WhineInTake* whine,
                const ClicksInTake* clicks, const std::vector<SteadyComb>& combs) {
    const auto about_a_comb = [&combs](const MovingFamily& family) {
        return std::any_of(combs.begin(), combs.end(), [&family](const SteadyComb& comb) {
            const auto at = [&family](double hz) {
                return std::abs(family.mean_hz - hz) < std::max(1.5, family.wander * family.mean_hz);
            };
            if (at(comb.frequency_hz)) return true;
            if (std::any_of(comb.harmonics.begin(), comb.harmonics.end(), [&](const Harmonic& h) { return at(h.frequency_hz); }))
                return true;
            const double nearest = comb.frequency_hz * std::round(family.mean_hz / comb.frequency_hz);
            return comb.harmonics.size() >= kLinesOfAComb && nearest > 0.0 && at(nearest);
        });
    };
    for (std::size_t i = 0; i < survey.families.size(); ++i) {
        const MovingFamily& family = survey.families[i];
        if (whine && whine->family == i) continue;
        if (about_a_comb(family) || is_noise_of_a_hump(survey, family) || is_side_line(family, sources, combs)) continue;
        double likeness = 0;  // of its wander to the engine's
        if (whine && whine->family) {
            const MovingFamily& engine = survey.families[*whine->family];
            likeness = correlation_of(family.ridge.track, engine.ridge.track);
            if (likeness > 0.8)
                continue;  // turns with the engine: a member that the spectrum over cycles missed
            // a path that strays about one of the whine's own lines
            const double ratio = family.mean_hz / whine->frequency_hz;
            if (ratio > 0.9 && std::abs(ratio / std::round(ratio) - 1.0) < 0.03) continue;
        }
        if (clicks && is_comb_of_clicks(survey, family)) continue;
        const bool resting = !engine_active(*survey.take);
        if (family.significance < kSureFamily) continue;  // weak evidence under stronger lines
        // a path that hops about in what a loud whine leaves of itself: no motor that is left alone changes its speed so far
        if (whine && family.wander > kFarthest && survey.take->conditions.engine != Engine::sweep) continue;
        const bool turns = has_turns(family, click_rate_of(survey));
        const bool own_way = resting || turns || (whine && whine->family && std::abs(likeness) < 0.6);
        const bool converter = is_beat(survey, family);
        if (converter && is_multiple_of_hash(sources, family.mean_hz)) continue;
        const NoiseKind kind = converter && (resting || std::abs(likeness) < 0.6) ? NoiseKind::converter_hash
                               : own_way                                          ? NoiseKind::motor_whine
                                                                                  : NoiseKind::unexplained_tone;
        const double lead_hz = (kind == NoiseKind::motor_whine ? bars_over_followed(family) : 1.0) * family.mean_hz;
        // the same line may have been told less surely in another take
        const auto same = std::find_if(sources.begin(), sources.end(), [&](const NoiseSource& other) {
            const double drifts = kind == NoiseKind::converter_hash && other.kind == kind ? kBeatDrifts : 0.03;
            return (other.kind == kind || other.kind == NoiseKind::motor_whine || other.kind == NoiseKind::unexplained_tone) &&
                   other.frequency_hz && std::abs(*other.frequency_hz / lead_hz - 1.0) < drifts;
        });
        NoiseSource& source = same == sources.end() ? sources.emplace_back() : *same;
        if (same == sources.end() || kind != NoiseKind::unexplained_tone) source.kind = kind;
        std::vector<double> power(survey.channels.size(), 0.0), lines_hz;
        for (const OrderLine& line : family.lines) lines_hz.push_back(line.ratio * family.mean_hz);
        for (const OrderLine& line : family.lines)
            for (std::size_t c = 0; c < power.size(); ++c) power[c] += line.mean_square[c];
        const auto before = source.level_dbfs;
        add_levels(source, survey, power, 1.0, lines_hz);
        if (!before || *source.level_dbfs > *before) {
            source.frequency_hz = lead_hz;
            source.frequency_sd_hz = family.wander * lead_hz;
        }
        const bool faint = family.ridge.log_evidence < (kind == NoiseKind::converter_hash ? least_evidence_of_beat(survey) : kFaint);
        rest_on(source, faint                                    ? "line that wanders: faint"
                        : kind == NoiseKind::converter_hash      ? "hash: a beat"
                        : kind == NoiseKind::unexplained_tone    ? "tone: wanders"
                        : turns                                  ? "motor: wanders, with its turns"
                        : family.lines.size() > 1                ? "motor: wanders, with other lines"
                                                                 : "motor: wanders");
        source.evidence.push_back(
            {fmt::format("The line near {:.0f} Hz wanders by {:.2f} %{}.", lead_hz,
                         100 * family.wander,
                         kind == NoiseKind::converter_hash ? ", higher or farther than a motor: the beat of two converters may"
                         : turns     ? ", with lines beside it as the turns of a motor make them"
                         : resting   ? " with the engine at rest, as a motor's does"
                         : own_way ? ", and not as the engine does: a motor, such as the fuel pump's"
                                   : ", and does not fit an alternator at this speed"),
             100 * family.wander,
             "%",
             std::nullopt,
             {survey.take->file},
             {}});
    }
}

bool quiet_enough(NoiseSource& source, const Job& job) {
    const bool tonal = source.kind == NoiseKind::unexplained_tone || source.kind == NoiseKind::motor_whine ||
                       source.kind == NoiseKind::bus_tone;
    if (!tonal || !source.level_dbv) return false;
    double sensitivity_v = kUsualSensitivity_v;
    for (const AmplifierData& amplifier : job.amplifiers)
        if (amplifier.sensitivity_v) sensitivity_v = std::min(sensitivity_v, (*amplifier.sensitivity_v)[0]);
    const double below_db = *source.level_dbv - decibels_from_amplitude(sensitivity_v);
    if (below_db > kInaudible_db) return false;
    const std::string why = fmt::format(
        "It lies {:.0f} dB below the {:.2g} V that drive a sensitive amplifier to full power: nobody will hear it.",
        -below_db, sensitivity_v);
    source.evidence.insert(source.evidence.begin(), {why, below_db, "dB", std::nullopt, source.takes, {}});
    return true;
}

void say_where(NoiseSource& source, const std::list<TakeSurvey>& surveys) {
    bool off = false, running = false, floor = false, any_off = false, any_running = false;
    for (const TakeSurvey& survey : surveys) {
        const bool here =
            std::find(source.takes.begin(), source.takes.end(), survey.take->file) != source.takes.end();
        if (is_floor_take(*survey.take)) {
            floor = floor || here;
        } else if (engine_active(*survey.take)) {
            any_running = true;
            running = running || here;
        } else {
            any_off = true;
            off = off || here;
        }
    }
    if (floor) {
        source.evidence.push_back(
            {"It is there with the inputs shorted as well: the measuring set-up makes it.",
             0,
             "",
             std::nullopt,
             source.takes,
             {}});
    } else if (any_off && any_running && off && running) {
        source.evidence.push_back(
            {"It is there with the engine off and with it running.", 0, "", std::nullopt, source.takes, {}});
    } else if (any_off && any_running && running) {
        source.evidence.push_back(
            {"It is there only while the engine runs.", 0, "", std::nullopt, source.takes, {}});
    }
}

}  // namespace hushtrace
