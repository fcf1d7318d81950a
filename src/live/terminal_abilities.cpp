#include "terminal_abilities.hpp"

#include <curses.h>
#include <term.h>

#include <cstdlib>

namespace hushtrace {

bool terminal_places_cursor(int terminal) {
    const char* const kind = std::getenv("TERM");
    if (kind == nullptr || *kind == '\0') return false;
    int error = 0;
    if (setupterm(kind, terminal, &error) != OK) return false;
    const bool places = !terminal_text("cup").empty();
    del_curterm(cur_term);
    return places;
}

std::string terminal_text(const char* ability) {
    const char* const text = tigetstr(ability);
    // NOLINTNEXTLINE(performance-no-int-to-ptr): terminfo's sign for "no such ability"
    return text == nullptr || text == reinterpret_cast<const char*>(-1) ? "" : text;
}

}  // namespace hushtrace
