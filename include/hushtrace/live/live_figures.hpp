#pragma once
#include <optional>
#include <string>
#include <string_view>

#include "hushtrace/live/live_snapshot.hpp"

/// The moving view's figures and words, spelled alike on the terminal and in the plain lines. A figure keeps its number of
/// decimals while it moves, so that it does not jump about. What is unknown or no number is "-".
namespace hushtrace {

struct LiveFigure {
    std::string value, unit;
    std::string text() const { return unit.empty() ? value : value + " " + unit; }
};

/// Volts rms: "12.35 V", "1.846 V", "84.6 mV".
LiveFigure volts_figure(double volts);
/// Decibels with so many decimals; digital silence is "silent".
LiveFigure decibel_figure(std::optional<double> level_db, std::string_view unit, int decimals = 2);
/// Volts where the channel is calibrated, else dBFS.
LiveFigure level_figure(const LiveLevel& level);
/// A change: always with its sign, one decimal.
LiveFigure change_figure(std::optional<double> change_db);
/// "0.012 %", "3.4 %", "12 %".
std::string percent_text(std::optional<double> percent);
/// A channel's THD; "-" where no tone is that could be distorted.
std::string thd_words(const LiveLevel& level);
/// "0:42", "1:02:03".
std::string clock_text(double time_s);
/// How a step is called: "volume 31", or "step 5" where nobody said the volume.
std::string step_name(const LiveStep& step);

/// Words for a hand at the knob: "clean", "distorted", "no tone", "turning", "unsure", "overload".
std::string_view tone_word(ToneState state);
/// Which of several channels' states is told as that of all: the worst; "clean" before "absent", since a channel may carry nothing.
ToneState tone_of_all(const LiveSnapshot& snapshot);
/// The channel that is shown large: of those with the state of all the first, unless another is louder by more than 1 dB.
/// Nothing where there are none.
const LiveLevel* leading_level(const LiveSnapshot& snapshot);

/// What became of the noise that is followed: against the start, changes within 1 dB or two standard deviations count as none (the
/// decibel is a choice of this program: less is not heard in a car, common practice, no source).
/// Covered by other noise, what may be there at most still tells that it became quieter. The screen's word, the headline and the
/// phone (as `verdict`) all take it from here.
enum class Followed { not_heard, not_started, hidden, quieter, same, louder };
Followed followed(const LiveFollow& follow);
std::string_view to_word(Followed verdict);

}  // namespace hushtrace
