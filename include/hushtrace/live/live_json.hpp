#pragma once
#include <optional>
#include <string>
#include <string_view>

#include "hushtrace/live/live_board.hpp"

/// What the phone page reads and writes.
namespace hushtrace {

/// One line of JSON; the keys are the names of the fields in live_snapshot.hpp, enumerations are their words. Unset
/// and not finite is null; text that is no UTF-8 is repaired with U+FFFD. `heard_at` is this computer's own clock and
/// left out. What live_figures.hpp decides goes with it: `tone` and `leading`, of what is followed its `verdict`.
std::string live_json(const LiveSnapshot& snapshot);
std::string live_json(const LiveEvent& event);

/// The word for a request, as a page sends it: "stepped_up".
std::string_view to_word(LiveRequest request);
/// The request of exactly that word; unset for any other text.
std::optional<LiveRequest> live_request(std::string_view word);

}  // namespace hushtrace
