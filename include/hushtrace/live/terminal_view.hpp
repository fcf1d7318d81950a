#pragma once
#include <string>

#include "hushtrace/live/live_board.hpp"

namespace hushtrace {

/// Whether the moving view can be shown: there is a terminal that this program stands in the foreground of (/dev/tty), and it can
/// place its cursor. Not for TERM=dumb, nor where TERM is not set or not known.
bool terminal_can_show();

/// Shows the board on the terminal until it is closed, on the calling thread, at most 30 times a second; frames for which the
/// terminal is too slow are left out. Keys become requests (live_screen.hpp). Colours unless NO_COLOR is set to something; blocks where
/// the locale's letters are UTF-8, else ASCII.
///
/// The terminal is as it was before on every way out: the end, an exception, Ctrl-C, a kill, a crash. While this runs, the first of
/// SIGINT, SIGTERM, SIGHUP asks the session to end, and calls whoever handled it before; the second ends the program at once.
/// Ctrl-Z gives the terminal back and stops the program as usual; what comes in meanwhile is lost. A terminal that takes nothing any
/// more is given up two seconds after the board was closed. One at a time.
///   page_address  where the phone page is, if there is one: the key p shows it with its code to scan, and p again the figures
///   throws        Error invalid_request where terminal_can_show() is false
void show_on_terminal(LiveBoard& board, const std::string& page_address = "");

}  // namespace hushtrace
