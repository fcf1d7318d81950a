#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/job.hpp"

/// What was put into the vehicle, or taken apart, for the measuring alone, and must be undone before it is handed back.
namespace hushtrace {

struct TemporaryItem {
    std::string_view word;  ///< as `--observe removed=isolator` and job.json have it
    std::string_view name;  ///< "isolator in the signal lead"
    std::string_view undo;  ///< what to do, as an order: "take it out, plug the lead in straight"
    std::vector<std::string> takes;        ///< that used it, in the job's order
    std::vector<std::size_t> observations; ///< likewise, as indices into the job's
    std::optional<std::string> last_take;  ///< the last of `takes`; unset where observations alone used it
    bool out = false;  ///< an observation `removed` says so, and nothing that came later used it
};

/// Everything that the takes (by hookup, and by a supply channel the probe on the supply) and the observations used, in a fixed
/// order. The Y lead's inputs shorted at the probe are no item: that plug sits on the interface's lead, not in the vehicle.
///
/// An observation `removed` speaks of the takes up to the one that its `after_take` names (without: of all), and of the
/// observations before it. One whose `after_take` the job no longer has counts for nothing: rather one item too many.
std::vector<TemporaryItem> temporary_items(const Job& job);

/// Those that nobody said are out again. Empty: the vehicle may be handed back.
std::vector<TemporaryItem> items_still_in(const Job& job);

/// "isolator in the signal lead (last used in takes/iso.flac): take it out, plug the lead in straight"
std::string item_in_words(const TemporaryItem& item);

/// All words that `removed` takes, and the item's word for one that a person may type: its own, or that of a hookup that uses
/// it (`shorted_at_amp` is the item `dummy_at_amp`).
std::span<const std::string_view> temporary_item_words();
std::optional<std::string_view> temporary_item_word(std::string_view typed);

}  // namespace hushtrace
