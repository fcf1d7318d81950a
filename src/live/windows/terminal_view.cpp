#include "hushtrace/live/terminal_view.hpp"

#include "hushtrace/signal/error.hpp"

namespace hushtrace {

// ncurses is not compiled for Windows: the plain view serves.
bool terminal_can_show() { return false; }

void show_on_terminal(LiveBoard&, const std::string&) {
    throw Error(ErrorKind::invalid_request, "there is no terminal to show the moving view on: use --plain");
}

}  // namespace hushtrace
