#pragma once
#include <cstdint>
#include <cstdio>
#include <string>

#include "hushtrace/live/live_board.hpp"

namespace hushtrace {

/// The figures of a snapshot as one line without its end: "12.3 s  left 1.846 V, 5.32 dBV, peak -3.1 dBFS, THD 0.012 %, clean; ...".
/// Parts that are not known are left out; the order never changes (docs/live.md).
std::string plain_figures(const LiveSnapshot& snapshot);
/// "12.3 s  step: <its sentence>".
std::string plain_event(const LiveEvent& event);

/// When plain lines are due: at most ten a second, and so far one each second of sound, or at once where something changed by enough:
/// a channel's tone, the state, a level by more than 1 dB.
class PlainPace {
public:
    bool due(const LiveSnapshot& snapshot);

private:
    bool changed(const LiveSnapshot& snapshot) const;

    bool first_ = true;
    LiveSnapshot told_;
};

/// Where the plain view's keys come from (live_screen.hpp says what they mean).
enum class PlainKeys {
    none,
    terminal,  ///< stdin, where it is a terminal that this program stands in the foreground of
    pipe       ///< stdin, each letter of it a key
};

enum class PlainForm {
    text,
    json_lines  ///< one document a line: { "schema": "hushtrace.live/1", "snapshot": {...} } or "event" in its place (live_json.hpp)
};

/// Writes the board as lines until it is closed, on the calling thread: each event at once, the figures as PlainPace says and at the
/// end, what to do next when that changes. No control codes: a script or a screen reader can follow. With keys from a terminal, signals
/// are handled and the terminal restored as show_on_terminal() does.
///   returns false where a line could not be written (nobody takes them any more, a full disk): then the session is asked to stop, and
///   nothing more is shown
bool show_plainly(LiveBoard& board, std::FILE* to, PlainKeys keys = PlainKeys::none, PlainForm form = PlainForm::text);

}  // namespace hushtrace
