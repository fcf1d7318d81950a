#include "entry_pairs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <set>
#include <utility>

#include "entry_conditions.hpp"
#include "entry_words.hpp"

namespace hushtrace {
namespace {

constexpr double kRepeats_idle_db = 4.0, kRepeats_held_db = 2.0, kRepeats_fixed_db = 1.0;   // between takes (common practice, no source)
constexpr double kApart_sd = 3.0;              // so far apart, takes of one test contradict each other

/// A probe on the supply may make a loop of its own: such takes are held against each other alone.
bool alike_in_probe(const Take& a, const Take& b) {
    const auto probed = [](const Take& take) { return !std::all_of(take.channels.begin(), take.channels.end(), carries_signal); };
    return probed(a) == probed(b);
}

/// Whether two takes were made in the same conditions, between the same changes.
bool alike_takes(const Take& one, const Take& other) {
    return one.after_change == other.after_change && alike_in_probe(one, other) && alike(one.conditions, other.conditions);
}

/// Takes of the same conditions: what they differ by is how well such takes repeat.
struct Repeats {
    double squares = 0;
    std::size_t count = 0;
    /// The usual figure counts as much as three more takes.
    double sd(double usual) const {
        constexpr double prior = 3.0, least = 0.5;
        return std::max(least, std::sqrt((prior * usual * usual + squares) / (prior + static_cast<double>(count))));
    }
};

/// So far apart, two takes of the same conditions contradict each other.
double contradicts_db(double repeats) { return kApart_sd * std::numbers::sqrt2 * repeats; }

Repeats repeats_of(const std::vector<LevelHere>& levels, bool follows_engine) {
    Repeats repeats;
    for (std::size_t a = 0; a < levels.size(); ++a)
        for (std::size_t b = a + 1; b < levels.size(); ++b) {
            const Take &one = *levels[a].survey->take, &other = *levels[b].survey->take;
            if (levels[a].at_most || levels[b].at_most || !alike_takes(one, other)) continue;
            const double apart = levels[a].level_db - levels[b].level_db;
            if (std::abs(apart) > contradicts_db(repeats_db(one.conditions, follows_engine))) continue;   // that is no repeating
            repeats.squares += apart * apart / 2.0;
            ++repeats.count;
        }
    return repeats;
}

struct ChangeRead {
    double change = 0, sd = 0, plain_db = 0;
    bool at_most = false, at_output = false;
    std::vector<std::string> takes;
};

/// Several readings of one test as one: those that show a change before those that only bound it.
EntryOutcome joined(const std::vector<EntryTest>& tests, std::vector<ChangeRead> readings, double apart_db, std::vector<Warning>& warnings) {
    const bool any_read = std::any_of(readings.begin(), readings.end(), [](const ChangeRead& one) { return !one.at_most; });
    if (any_read) std::erase_if(readings, [](const ChangeRead& one) { return one.at_most; });
    EntryOutcome out;
    out.test = tests.front();
    out.also.assign(tests.begin() + 1, tests.end());
    out.at_most = !any_read;
    out.plain_db = readings.front().plain_db;
    out.at_output = readings.front().at_output;
    double weights = 0, sum = 0, low = 1e9, high = -1e9, widest = 0;
    for (const ChangeRead& one : readings) {
        const double weight = 1.0 / (one.sd * one.sd);
        weights += weight;
        sum += weight * one.change;
        low = std::min(low, one.change);
        high = std::max(high, one.change);
        widest = std::max(widest, one.sd);
        for (const std::string& take : one.takes)
            if (std::find(out.takes.begin(), out.takes.end(), take) == out.takes.end()) out.takes.push_back(take);
    }
    // to the floor is to the floor, however far down that lies
    out.change = out.at_most ? std::max(low, kToFloor_db) : std::max(sum / weights, kDeepestFall_db);
    out.sd = readings.size() > 1 ? std::max(std::sqrt(1.0 / weights), 0.7 * widest) : widest;   // they share the take they are held against
    if (!out.at_most && high - low > apart_db) {
        warnings.push_back({"test_contradicts", fmt::format("Takes with {} contradict each other: {:+.0f} to {:+.0f} dB. Make that test once more.",
                                                            name_of(out), low, high),
                            out.takes.back()});
        out.sd = std::max(out.sd, 0.5 * (high - low));
    }
    return out;
}

/// Turned down, noise from before the volume control follows; how far says nothing of the path, but for that.
double as_if_turned_to_zero(double change_db) {
    constexpr double follows_db = -4.0;
    return change_db < follows_db ? kToFloor_db : change_db;
}

bool hushed(const Take& take) { return take.conditions.has(Hookup::inputs_shorted); }

/// The take that the others are held against: the one that most of them differ from by tests alone.
const LevelHere* reference_of(const std::vector<const LevelHere*>& some, bool follows_engine) {
    const LevelHere* best = nullptr;
    std::size_t most = 0;
    for (const LevelHere* one : some) {
        if (one->at_most || hushed(*one->survey->take)) continue;
        const std::size_t tested = static_cast<std::size_t>(std::count_if(some.begin(), some.end(), [&](const LevelHere* other) {
            return !tests_between(one->survey->take->conditions, other->survey->take->conditions, follows_engine).empty();
        }));
        if (best && (tested < most || (tested == most && one->level_db <= best->level_db))) continue;
        best = one;
        most = tested;
    }
    return best;
}

/// What turns with no engine asks for the same state of it, what does for the same speed.
bool alike_engine(const Conditions& a, const Conditions& b, bool follows_engine) { return follows_engine ? same_speed(a, b) : a.engine == b.engine; }

using TestsMade = std::vector<EntryTest>;
using Readings = std::map<std::pair<bool, TestsMade>, std::vector<ChangeRead>>;   // at the output or not

void add_reading(const LevelHere& plain, const LevelHere& tested, const TestsMade& tests, double apart_db, Readings& readings) {
    const Conditions& b = tested.survey->take->conditions;
    ChangeRead one;
    one.plain_db = plain.level_db;
    one.at_most = tested.at_most;
    one.at_output = b.point == Point::amp_output;
    one.change = tested.level_db - plain.level_db;
    if (tests == TestsMade{EntryTest::volume_zero} && b.volume && *b.volume > 0.0) one.change = as_if_turned_to_zero(one.change);
    // two takes differ by the square root of two times what one strays; what only bounds the level strays less
    one.sd = std::hypot(plain.sd_db, std::hypot(tested.sd_db, one.at_most ? apart_db : std::numbers::sqrt2 * apart_db));
    one.takes = {plain.survey->take->file, tested.survey->take->file};
    readings[{one.at_output, tests}].push_back(std::move(one));
}

/// A test whose take has no like without it, but one in another state of the engine or at another speed: told, since somebody meant it as a test.
void warn_unmatched(const LevelHere& tested, const std::vector<LevelHere>& levels, EntryEvidence& evidence) {
    const Take& take = *tested.survey->take;
    const bool meant =
        !hookups_of(take.conditions).empty() && !hushed(take) && engine_turns(take.conditions.engine) == evidence.question.follows_engine;
    const bool elsewhere = std::any_of(levels.begin(), levels.end(), [&](const LevelHere& one) {
        return !one.at_most && hookups_of(one.survey->take->conditions).empty() && !same_speed(one.survey->take->conditions, take.conditions);
    });
    if (meant && elsewhere)
        evidence.warnings.push_back(
            {"test_unmatched",
             fmt::format("{}: no take in the normal hookup has the engine in the same state and within 15 % of its speed; as a test it is "
                         "held against nothing. Make one, or make the test again.",
                         take.file),
             take.file});
}

}  // namespace

double repeats_db(const Conditions& conditions, bool follows_engine) {
    if (!follows_engine) return kRepeats_fixed_db;
    return conditions.engine == Engine::idle ? kRepeats_idle_db : kRepeats_held_db;
}

bool alike(const Conditions& a, const Conditions& b) {
    return same_speed(a, b) && hookups_of(a) == hookups_of(b) && a.source == b.source && a.input == b.input && a.attached == b.attached &&
           a.laptop == b.laptop && a.volume == b.volume && sorted(a.loads) == sorted(b.loads) && a.point == b.point;
}

void add_pairs(const std::vector<LevelHere>& levels, EntryEvidence& evidence) {
    const bool follows = evidence.question.follows_engine;
    Readings readings;
    const Repeats repeats = repeats_of(levels, follows);
    std::set<const LevelHere*> placed;
    for (const LevelHere& first : levels) {
        if (placed.contains(&first) || hushed(*first.survey->take)) continue;
        // takes at one speed, between the same changes
        std::vector<const LevelHere*> some;
        for (const LevelHere& one : levels) {
            const Take &a = *first.survey->take, &b = *one.survey->take;
            if (a.after_change == b.after_change && alike_in_probe(a, b) && a.conditions.point == b.conditions.point &&
                (alike_engine(a.conditions, b.conditions, follows) || hushed(b)))
                some.push_back(&one);
        }
        for (const LevelHere* one : some)
            if (!hushed(*one->survey->take)) placed.insert(one);
        const LevelHere* reference = reference_of(some, follows);
        if (!reference || (follows && !engine_turns(reference->survey->take->conditions.engine))) {
            for (const LevelHere* one : some) warn_unmatched(*one, levels, evidence);
            continue;
        }
        const Conditions& a = reference->survey->take->conditions;
        for (const LevelHere* plain : some) {
            if (plain->at_most || !alike_takes(*plain->survey->take, *reference->survey->take)) continue;
            for (const LevelHere* tested : some) {
                const TestsMade tests = tests_between(a, tested->survey->take->conditions, follows);
                if (!tests.empty()) add_reading(*plain, *tested, tests, repeats.sd(repeats_db(a, follows)), readings);
            }
        }
    }
    const double usual = !follows ? kRepeats_fixed_db : kRepeats_idle_db;
    for (auto& [made, some] : readings) {
        const TestsMade& tests = made.second;
        evidence.outcomes.push_back(joined(tests, std::move(some), contradicts_db(usual), evidence.warnings));
        if (tests.size() == 1) evidence.made.insert(tests.front());
    }
}

}  // namespace hushtrace
