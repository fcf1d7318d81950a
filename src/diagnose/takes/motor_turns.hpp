#pragma once
#include <optional>

#include "take_survey.hpp"

/// What lines that turn with a followed one say of a motor's shaft. A brushed motor of n bars has its strongest line at n times
/// the shaft's turns, and, since no two bars are alike, weaker ones at other multiples of the turns.
namespace hushtrace {

/// Whether a followed line has a motor's turns beside it: two or more lines at the turns or one or two of them off the bars.
///   click_hz  the rate of clicks in the take: lines at its multiples are theirs
bool has_turns(const MovingFamily& family, std::optional<double> click_hz);
/// The same of the family's strongest line, so strictly that an alternator's own lines don't pass: bars by sixths only where no low
/// order of a faulty stator stands over the lines beside them, and so few bars that firings, which come far more slowly than
/// whine, can't be the turns.
bool has_turns_of_no_alternator(const MovingFamily& family, std::optional<double> click_hz);
/// A followed side line of a motor: its shaft, where two lines and more beside the followed one lie at whole multiples of a
/// shaft's turns of which the followed one is another. The least such number of turns, or 0 where there is none.
int turns_of_side_line(const MovingFamily& family);
/// The line at the bars, over the followed one: 1 unless that is a multiple of a stronger one, or a side line and a clearly stronger
/// one lies up to three turns off.
double bars_over_followed(const MovingFamily& family);

}  // namespace hushtrace
