#include "steady_relations.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "../takes/take_kind.hpp"
#include "confidence.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"

namespace hushtrace {
namespace {

constexpr double kGone_db = 6.0;
constexpr std::string_view kMayBeRegulator = "load: may be the field regulator";

/// A take's conditions as name and value: takes that differ in one name alone tell what that one does.
std::map<std::string, std::string> facts_of(const Take& take) {
    const Conditions& c = take.conditions;
    std::map<std::string, std::string> facts;
    for (const std::string& load : c.loads) facts["load " + load] = "on";
    for (const AttachedDevice& one : c.attached) facts["device " + one.device] = std::string(to_word(one.powered_from));
    facts["engine"] = engine_active(take) ? "running" : "at rest";
    if (c.source) facts["source"] = std::string(to_word(*c.source));
    if (c.input) facts["input"] = std::string(to_word(*c.input));
    if (c.volume) facts["volume"] = fmt::format("{:g}", *c.volume);
    if (c.laptop) facts["laptop"] = std::string(to_word(*c.laptop));
    for (const Hookup one : c.hookup) facts[fmt::format("hookup {}", to_word(one))] = "so";
    facts["point"] = std::string(to_word(c.point));
    if (take.after_change) facts["change"] = *take.after_change;
    return facts;
}

/// Names whose values differ.
std::vector<std::string> differences(const Take& a, const Take& b) {
    const auto facts_a = facts_of(a), facts_b = facts_of(b);
    std::set<std::string> names;
    for (const auto& [name, value] : facts_a)
        if (!facts_b.contains(name) || facts_b.at(name) != value) names.insert(name);
    for (const auto& [name, value] : facts_b)
        if (!facts_a.contains(name)) names.insert(name);
    return {names.begin(), names.end()};
}

/// What of the source another take's spectrum holds at its lines, at most: louder channel, full scale squared.
double power_at_lines(const NoiseSource& source, const TakeSurvey& survey) {
    std::vector<double> lines_hz;
    for (const Harmonic& one : source.harmonics) lines_hz.push_back(one.frequency_hz);
    if (lines_hz.empty() && source.frequency_hz) lines_hz.push_back(*source.frequency_hz);
    double most = 0;
    for (const ChannelSurvey& channel : survey.channels) {
        if (channel.still.density.empty()) continue;
        double sum = 0;
        for (const double hz : lines_hz) {
            const auto peak = channel.still.peak_near(hz, 0.002 * hz);
            sum += peak.surprise > 3.0 ? peak.mean_square : 2.0 * channel.still.noise[channel.still.bin_of(hz)] * channel.still.bin_hz;
        }
        most = std::max(most, sum);
    }
    return most;
}

/// How much louder the source is in one take than in another [dB]; nothing where the other can't tell.
std::optional<double> louder_by(const NoiseSource& source, const TakeSurvey& with, const TakeSurvey& without) {
    double here = -1e9, there = -1e9;
    for (const LevelInTake& level : source.levels) {
        if (!level.level_dbfs) continue;
        if (level.take == with.take->file) here = std::max(here, *level.level_dbfs);
        if (level.take == without.take->file) there = std::max(there, *level.level_dbfs);
    }
    if (here < -1e8) return std::nullopt;
    const bool bursts = source.kind == NoiseKind::crackle || source.kind == NoiseKind::periodic_tick;
    if (there < -1e8) {
        if (bursts || source.band_hz) return 10.0;   // not found there
        there = dbfs_from_mean_square(std::max(power_at_lines(source, without), 1e-30));
    }
    return here - there;
}

struct Relation {
    std::string name;         ///< of the fact
    std::string with, without;   ///< its values
    double db = 0;
    const TakeSurvey *there = nullptr, *gone = nullptr;
};

std::string value_of(const Take& take, const std::string& name) {
    const auto facts = facts_of(take);
    const auto at = facts.find(name);
    return at == facts.end() ? "" : at->second;
}

/// The strongest change between two takes that differ in one fact alone; several facts, if as many matter.
std::vector<Relation> relations_of(const NoiseSource& source, const std::list<TakeSurvey>& surveys) {
    std::vector<Relation> found;
    for (const TakeSurvey& with : surveys)
        for (const TakeSurvey& without : surveys) {
            if (&with == &without || is_floor_take(*with.take) || is_floor_take(*without.take)) continue;
            const auto names = differences(*with.take, *without.take);
            if (names.size() != 1) continue;
            const auto db = louder_by(source, with, without);
            if (!db || *db < kGone_db) continue;
            const auto same = std::find_if(found.begin(), found.end(), [&](const Relation& one) { return one.name == names[0]; });
            Relation relation{names[0], value_of(*with.take, names[0]), value_of(*without.take, names[0]), *db, &with, &without};
            if (same == found.end())
                found.push_back(relation);
            else if (*db > same->db)
                *same = relation;
        }
    return found;
}

std::string after(const std::string& text, const char* start) {
    return text.rfind(start, 0) == 0 ? text.substr(std::string(start).size()) : std::string();
}

void say(NoiseSource& source, const Relation& one, const std::string& what) {
    source.evidence.push_back({fmt::format("{}: {:.0f} dB louder than without, all else alike.", what, one.db), one.db, "dB",
                               std::nullopt, {one.there->take->file, one.gone->take->file}, {}});
}

bool a_tone(const NoiseSource& source) {
    return source.kind == NoiseKind::unexplained_tone;
}

void use(NoiseSource& source, const Relation& one) {
    const std::string load = after(one.name, "load "), device = after(one.name, "device ");
    if (!load.empty() && !one.with.empty()) {
        say(source, one, fmt::format("It comes with the load '{}' switched on", load));
        if (a_tone(source)) source.kind = NoiseKind::switched_load;
        if (source.kind == NoiseKind::switched_load) rest_on(source, "load: comes with a load switched on");
    } else if (!load.empty()) {
        say(source, one, fmt::format("It is there with the load '{}' switched off", load));
    } else if (!device.empty() && !one.with.empty()) {
        const bool fed = one.with == "vehicle";
        say(source, one, fmt::format("It comes with the {}{}", device, fed ? " on the vehicle's supply" : ""));
        if (a_tone(source) && fed) source.kind = NoiseKind::converter_hash;
        if (source.kind == NoiseKind::converter_hash) rest_on(source, "hash: comes with a device on the vehicle's supply");
    } else if (one.name == "source") {
        say(source, one, fmt::format("It is there with the source {} and not with it {}: the source's own activity", one.with,
                                     one.without.empty() ? "otherwise" : one.without));
    } else if (one.name == "input") {
        say(source, one, fmt::format("It changes with the source's input ({} against {}): the source's own activity", one.with, one.without));
    } else if (one.name == "laptop") {
        say(source, one, fmt::format("It comes with the laptop on {}, not on {}: the measuring set-up", one.with, one.without));
    } else if (one.name == "volume") {
        say(source, one, fmt::format("It changes with the source's volume ({} against {}): from before the volume control", one.with, one.without));
    }
}

/// A load that all takes with the source have in common and none without it: less than a pair that differs in it alone.
void use_common_load(NoiseSource& source, const std::list<TakeSurvey>& surveys) {
    std::set<std::string> loads;
    for (const TakeSurvey& survey : surveys)
        for (const std::string& load : survey.take->conditions.loads) loads.insert(load);
    for (const std::string& load : loads) {
        std::vector<std::string> with, without;
        bool contrary = false;
        for (const TakeSurvey& survey : surveys) {
            if (is_floor_take(*survey.take)) continue;
            const auto& on = survey.take->conditions.loads;
            const bool is_on = std::find(on.begin(), on.end(), load) != on.end();
            const bool here = std::find(source.takes.begin(), source.takes.end(), survey.take->file) != source.takes.end();
            contrary = contrary || is_on != here;
            (is_on ? with : without).push_back(survey.take->file);
        }
        if (contrary || with.empty() || without.empty()) continue;
        std::vector<std::string> takes = with;
        takes.insert(takes.end(), without.begin(), without.end());
        source.evidence.push_back({fmt::format("It is there in the {} take{} with the load '{}' on, and in none of the {} without; other "
                                               "things differ as well.",
                                               with.size(), with.size() == 1 ? "" : "s", load, without.size()),
                                   static_cast<double>(with.size()), "takes", std::nullopt, takes, {}});
        if (a_tone(source) && with.size() > 1) source.kind = NoiseKind::switched_load;
        return;
    }
}

void say_regulator(NoiseSource& source, const std::list<TakeSurvey>& surveys) {
    if (source.kind != NoiseKind::switched_load && source.kind != NoiseKind::unexplained_tone) return;
    if (!source.frequency_hz || *source.frequency_hz < 0.95 * PulseWidth::regulator_low_hz ||
        *source.frequency_hz > 1.05 * PulseWidth::regulator_high_hz)
        return;
    bool off = false, any_off = false, running = false;
    for (const TakeSurvey& survey : surveys) {
        const bool here = std::find(source.takes.begin(), source.takes.end(), survey.take->file) != source.takes.end();
        if (is_floor_take(*survey.take)) continue;
        (engine_turns(survey.take->conditions.engine) ? running : off) |= here;
        any_off = any_off || !engine_active(*survey.take);
    }
    if (!running || off || !any_off) return;
    source.kind = NoiseKind::switched_load;
    if (source.confidence > confidence_of(kMayBeRegulator)) {
        source.confidence = confidence_of(kMayBeRegulator);
        source.rests_on = kMayBeRegulator;
    }
    source.evidence.push_back({fmt::format("It is there only while the engine runs and does not follow its speed: {:.0f} Hz is in the range "
                                           "of an alternator's field regulator (100 to 400 Hz).",
                                           *source.frequency_hz),
                               *source.frequency_hz, "Hz", std::nullopt, source.takes, {}});
}

}  // namespace

void relate_to_conditions(NoiseSource& source, const std::list<TakeSurvey>& surveys) {
    const auto relations = relations_of(source, surveys);
    bool by_load = false;
    for (const Relation& one : relations) {
        use(source, one);
        by_load = by_load || one.name.rfind("load ", 0) == 0;
    }
    if (!by_load) use_common_load(source, surveys);
    say_regulator(source, surveys);
}

}  // namespace hushtrace
