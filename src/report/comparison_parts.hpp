#pragma once
#include <algorithm>
#include <cmath>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "comparison_alike.hpp"
#include "comparison_rules.hpp"
#include "hushtrace/report/comparison.hpp"

/// The comparison's parts: each adds its items to `out`.
namespace hushtrace::comparison {

struct Workbench {
    const RecordedSystem& before;
    const RecordedSystem& after;
    const Alike& alike;
    const RepeatabilityRules& rules;
    RecordState before_state;
    Comparison& out;

    void note(const std::string& text) {
        if (std::find(out.notes.begin(), out.notes.end(), text) == out.notes.end()) out.notes.push_back(text);
    }
};

/// How levels of one channel of a pair can be held against each other.
struct Basis {
    bool volts = false;
    double scale_sd_before = 0, scale_sd_after = 0, common_sd = 0;
    double pad_before = 0, pad_after = 0;  ///< to be added to what is in dBFS
    std::string refused;                   ///< why not at all
    const char* unit() const { return volts ? "dBV" : "dBFS"; }
};
Basis basis_of(Workbench& bench, const GroupPair& pair, Channel channel);
/// Channels that both takes have, signal ones first as in the later take.
std::vector<Channel> common_channels(const GroupPair& pair);

struct GroupLevel {
    ComparedFigure figure;
    std::vector<double> each;
};
using LevelOf = std::function<const RecordedLevel*(const std::string& take)>;
/// Mean over a group's takes; nothing where no take has it. The sd is without the scale's.
std::optional<GroupLevel> group_level(const TakeGroup& group, const LevelOf& level, const Basis& basis, bool earlier);

/// Puts a judged trial into an item; `nouns` are the words for less and more ("lower", "higher").
struct Words {
    const char* less = "lower";
    const char* more = "higher";
};
void settle(ComparedItem& item, const Trial& trial, const Judged& judged, Words words = {});
/// "left, engine idle at 760 rpm".
std::string where_of(Channel channel, const GroupPair& pair);
ComparedItem item_of(const char* area, std::string what, const GroupPair& pair, Channel channel);
/// An item that can't be compared, with its reason as a sentence's second half.
ComparedItem refused_item(const char* area, std::string what, std::string where, const std::string& why);
std::string signed_text(double value, const std::string& unit);

void compare_noise(Workbench& bench);
void compare_floors(Workbench& bench);
void compare_gain(Workbench& bench);
void compare_paths(Workbench& bench);
void compare_system(Workbench& bench);
std::vector<std::string> in_short(const Comparison& comparison);

}  // namespace hushtrace::comparison
