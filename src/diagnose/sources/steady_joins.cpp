#include <algorithm>
#include <cmath>

#include "hushtrace/vehicle/steady_signatures.hpp"
#include "noise_sources.hpp"

namespace hushtrace {
namespace {

constexpr double kMotorDrifts = 0.02;      // between takes: its supply's voltage moves (common practice, no source)
constexpr double kMotorStrays = 0.003;     // within a take
constexpr double kMotorMultiple = 0.006;   // how far a multiple may lie off that is read at another moment
constexpr double kHoldsStill = 3e-4;
constexpr double kTurnsBelow_db = 6.0, kTurnsKeep = 0.008, kStepKeeps = 0.0025;

bool share_a_take(const NoiseSource& a, const NoiseSource& b) {
    return std::any_of(a.takes.begin(), a.takes.end(), [&b](const std::string& take) {
        return std::find(b.takes.begin(), b.takes.end(), take) != b.takes.end();
    });
}

/// Whether a tone is one of a source's lines. In another take, what is too faint there to show the others: a motor may have
/// drifted until then. In the same take, what was read apart.
bool is_line_of(const NoiseSource& source, const NoiseSource& tone) {
    if (!source.frequency_hz || (source.harmonics.size() < 2 && source.kind != NoiseKind::mains_hum)) return false;
    const double drifts = share_a_take(source, tone) ? kMotorStrays : kMotorDrifts;
    const double share = source.kind == NoiseKind::motor_whine ? drifts : kHoldsStill;
    return std::any_of(source.harmonics.begin(), source.harmonics.end(), [&](const Harmonic& one) {
        return std::abs(one.frequency_hz - *tone.frequency_hz) < std::max(1.0, share * one.frequency_hz);
    });
}

bool is_comb(NoiseKind kind) {
    return kind == NoiseKind::mains_hum || kind == NoiseKind::phone_burst || kind == NoiseKind::bus_tone || kind == NoiseKind::switched_load ||
           kind == NoiseKind::motor_whine;
}

/// Whether a tone is a motor's turns: weaker by far, and the bars times it are the motor's line.
bool is_turn_of(const NoiseSource& motor, const NoiseSource& tone) {
    const bool lone = tone.kind == NoiseKind::unexplained_tone || (tone.kind == NoiseKind::motor_whine && tone.harmonics.empty());
    if (motor.kind != NoiseKind::motor_whine || !lone || !motor.frequency_hz || !tone.frequency_hz) return false;
    if (!motor.level_dbfs || !tone.level_dbfs || *tone.level_dbfs > *motor.level_dbfs - kTurnsBelow_db) return false;
    const double turns_hz = *tone.frequency_hz, bars = std::round(*motor.frequency_hz / turns_hz);
    if (turns_hz > BrushedMotor::least_shaft_hz && turns_hz < BrushedMotor::most_shaft_hz && bars >= BrushedMotor::least_bars &&
        bars <= BrushedMotor::most_bars && std::abs(*motor.frequency_hz / (bars * turns_hz) - 1.0) < kTurnsKeep)
        return true;
    // one turn or two more or less than the bars: uneven bars make lines there
    for (const double turns : {1.0, 2.0}) {
        const double step_hz = std::abs(*tone.frequency_hz - *motor.frequency_hz) / turns, of = std::round(*motor.frequency_hz / step_hz);
        if (of >= BrushedMotor::least_bars && of <= BrushedMotor::most_bars && step_hz > BrushedMotor::least_shaft_hz &&
            step_hz < BrushedMotor::most_shaft_hz && std::abs(of * step_hz / *motor.frequency_hz - 1.0) < of * kStepKeeps / turns)
            return true;
    }
    return false;
}

/// Whether a motor of which the turns alone were found is another, of which the bars were.
bool has_turns_of(const NoiseSource& motor, const NoiseSource& turns) {
    if (turns.rests_on != "motor: by its turns" || turns.harmonics.empty()) return false;
    const double bars = *motor.frequency_hz / turns.harmonics.front().frequency_hz;
    return bars > BrushedMotor::least_bars - 0.5 && bars < BrushedMotor::most_bars + 0.5 && std::abs(bars - std::round(bars)) < kMotorDrifts * bars;
}

/// Whether a tone is a far multiple of a comb that is known well: beyond those that were looked for.
bool is_far_multiple_of(const NoiseSource& comb, const NoiseSource& tone) {
    constexpr std::size_t well_known = 4;
    constexpr double read_to_hz = 0.3, strays = 2e-5, by_chance = 0.02;   // an oscillator's; of the spacing
    const bool exact = comb.kind == NoiseKind::bus_tone || comb.rests_on == "load: by its edges";
    if (!is_comb(comb.kind) || comb.kind == NoiseKind::motor_whine || (comb.harmonics.size() < well_known && !exact)) return false;
    const double number = std::round(*tone.frequency_hz / *comb.frequency_hz);
    const double reach_hz = read_to_hz + 3.0 * number * comb.frequency_sd_hz.value_or(0.0) + strays * *tone.frequency_hz;
    return std::abs(*tone.frequency_hz - number * *comb.frequency_hz) < std::min(reach_hz, by_chance * *comb.frequency_hz);
}

/// Whether a tone of the same take is one of a source's lines, or a multiple of another tone: a line that was read apart from it.
bool is_part_of(const NoiseSource& source, const NoiseSource& tone) {
    const bool lone_bus = tone.kind == NoiseKind::bus_tone && tone.harmonics.size() <= 1;
    if ((tone.kind != NoiseKind::unexplained_tone && !lone_bus) || &source == &tone || !tone.frequency_hz || !source.frequency_hz) return false;
    if (!tone.level_dbfs || !source.level_dbfs || *tone.level_dbfs > *source.level_dbfs) return false;
    if (is_far_multiple_of(source, tone)) return true;
    if (lone_bus) return false;
    if (is_line_of(source, tone)) return true;
    if (source.kind != NoiseKind::unexplained_tone) return false;
    const double times = std::round(*tone.frequency_hz / *source.frequency_hz);
    return times >= 2.0 && times <= 3.0 &&
           std::abs(*tone.frequency_hz - times * *source.frequency_hz) < std::max(0.5, 1e-4 * *tone.frequency_hz);
}

bool same_motor(const NoiseSource& a, const NoiseSource& b) {
    return a.kind == NoiseKind::motor_whine && b.kind == NoiseKind::motor_whine && a.frequency_hz && b.frequency_hz &&
           std::abs(*a.frequency_hz / *b.frequency_hz - 1.0) < kMotorDrifts;
}

void join(NoiseSource& source, const NoiseSource& other) {
    source.levels.insert(source.levels.end(), other.levels.begin(), other.levels.end());
    source.takes.insert(source.takes.end(), other.takes.begin(), other.takes.end());
    for (const Channel channel : other.channels)
        if (std::find(source.channels.begin(), source.channels.end(), channel) == source.channels.end()) source.channels.push_back(channel);
    if (other.level_dbfs && source.level_dbfs && *other.level_dbfs > *source.level_dbfs) {
        source.level_dbfs = other.level_dbfs;
        source.level_dbv = other.level_dbv;
    }
    if (other.confidence > source.confidence && other.kind == source.kind) {
        source.confidence = other.confidence;
        source.rests_on = other.rests_on;
    }
    source.evidence.push_back({"In the other takes one line of it stands out.", *other.frequency_hz, "Hz", other.frequency_sd_hz, other.takes, {}});
}

/// Whether a motor's line that strays is a load's of few lines, or a multiple of it: then that one is the motor's own.
bool is_multiple_of(const NoiseSource& load, const NoiseSource& motor) {
    const bool few = load.rests_on == "load: few low lines" || load.rests_on == "load: one multiple";
    if (!few || load.kind != NoiseKind::switched_load || motor.kind != NoiseKind::motor_whine || !motor.harmonics.empty()) return false;
    const double times = *motor.frequency_hz / *load.frequency_hz, number = std::round(times);
    return number >= 1.0 && number <= 3.0 && std::abs(times / number - 1.0) < kMotorMultiple;
}

/// Whether a motor's line that strays is a multiple of another motor's, weaker than that.
bool is_multiple_of_motor(const NoiseSource& motor, const NoiseSource& other) {
    if (motor.kind != NoiseKind::motor_whine || other.kind != NoiseKind::motor_whine || !motor.frequency_hz || !other.frequency_hz) return false;
    if (!other.harmonics.empty() || !motor.level_dbfs || !other.level_dbfs || *other.level_dbfs > *motor.level_dbfs) return false;
    const double times = *other.frequency_hz / *motor.frequency_hz, number = std::round(times);
    return number >= 2.0 && number <= 3.0 && std::abs(times / number - 1.0) < kMotorMultiple;
}

void become_motors(std::list<NoiseSource>& sources) {
    for (NoiseSource& load : sources)
        for (auto other = sources.begin(); other != sources.end();) {
            if (!other->frequency_hz || !load.frequency_hz || !is_multiple_of(load, *other)) {
                ++other;
                continue;
            }
            load.kind = NoiseKind::motor_whine;
            load.rests_on = other->rests_on;
            load.confidence = other->confidence;
            load.evidence.insert(load.evidence.end(), other->evidence.begin(), other->evidence.end());
            other = sources.erase(other);
        }
}

}  // namespace

void join_over_takes(std::list<NoiseSource>& sources) {
    become_motors(sources);
    for (NoiseSource& source : sources) {
        if (!is_comb(source.kind) && source.kind != NoiseKind::unexplained_tone) continue;
        for (auto other = sources.begin(); other != sources.end();) {
            if (&*other == &source) {
                ++other;
                continue;
            }
            const bool tonal = (other->kind == NoiseKind::unexplained_tone || other->kind == NoiseKind::motor_whine) && other->frequency_hz;
            const bool loads = source.kind == NoiseKind::switched_load && other->kind == NoiseKind::switched_load && other->frequency_hz &&
                               source.frequency_hz && *other->frequency_hz > 1.5 * *source.frequency_hz;   // of which every second line is left
            const bool elsewhere = is_comb(source.kind) && !share_a_take(source, *other) &&
                                   ((tonal && other->harmonics.size() <= source.harmonics.size() && is_line_of(source, *other)) ||
                                    (loads && is_line_of(source, *other)) ||
                                    (other->harmonics.size() <= source.harmonics.size() && same_motor(source, *other)));
            const bool again = same_motor(source, *other) && other->harmonics.empty();   // the same line, followed and read as a comb
            const bool part = again || (tonal && is_comb(source.kind) && source.frequency_hz && has_turns_of(source, *other)) ||
                              is_turn_of(source, *other) || is_multiple_of_motor(source, *other) || is_part_of(source, *other);
            if (elsewhere) join(source, *other);
            other = elsewhere || part ? sources.erase(other) : std::next(other);
        }
    }
}

void weigh_tones(std::list<NoiseSource>& sources) {
    constexpr double louder_db = 10.0;
    for (NoiseSource& tone : sources) {
        if (tone.kind != NoiseKind::unexplained_tone || !tone.level_dbfs) continue;
        if (tone.rests_on != "tone: faint" && tone.rests_on != "tone: clear") continue;
        const bool beside = std::any_of(sources.begin(), sources.end(), [&](const NoiseSource& other) {
            return other.kind != NoiseKind::hiss && other.level_dbfs && *other.level_dbfs > *tone.level_dbfs + louder_db && share_a_take(tone, other);
        });
        if (!beside) continue;
        tone.rests_on += ", beside louder ones";
        tone.confidence = confidence_of(tone.rests_on);
    }
}

}  // namespace hushtrace
