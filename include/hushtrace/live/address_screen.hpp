#pragma once
#include <string>

#include "hushtrace/live/screen_grid.hpp"

namespace hushtrace {

/// A screen with the phone page's address and its code to scan, dark on light, as large as there is room for; where there is none
/// for the code, the address alone. `unicode` false: letters in place of half blocks, which need twice the room.
ScreenGrid address_screen(const std::string& address, int rows, int columns, bool unicode);

}  // namespace hushtrace
