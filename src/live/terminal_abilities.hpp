#pragma once
#include <string>

// Apart from the rest, since <term.h> takes the names `columns`, `lines`, `tab` and several hundred others for itself.
namespace hushtrace {

/// Whether TERM names a known terminal that can place its cursor.
bool terminal_places_cursor(int terminal);
/// What to write for an ability of the terminal that is set up, by its name in terminfo(5); empty where it has none.
std::string terminal_text(const char* ability);

}  // namespace hushtrace
