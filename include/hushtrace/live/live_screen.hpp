#pragma once
#include <optional>
#include <string>

#include "hushtrace/live/live_board.hpp"
#include "hushtrace/live/live_snapshot.hpp"
#include "hushtrace/live/screen_grid.hpp"

/// What the terminal shows, as a pure function of the snapshot: nothing here knows a terminal.
namespace hushtrace {

struct LiveScreenWish {
    int rows = 24, columns = 80;
    bool unicode = true;       ///< false: ASCII alone
    std::string news = {};     ///< what happened last, in one sentence; empty once it is old
    bool phone_page = false;   ///< there is one, and a key that shows where
    double unheard_s = 0;      ///< how long no sound has come from the link
};

/// The whole screen. Two figures and a word are made of blocks as large as the size allows: of the tone the level, the ceiling so
/// far and whether it is clean; of a noise the change, the level and whether it is quieter. What there is no room for is left
/// out, the least needed first; 80 by 24 has room for all, and any size from 1 by 1 gives something.
ScreenGrid live_screen(const LiveSnapshot& snapshot, const LiveScreenWish& wish);

/// Keys that are no letters.
inline constexpr int key_up = 0x100, key_down = 0x101;
/// What a key asks for: up and + (turned up one), down and - (turned back one), space (start, or the present level as reference), k
/// (keep; of a gain session too, which tells why it keeps nothing), a (arm), m (mark), q (end). Nothing for any other key, and for
/// those that mean nothing in this task.
std::optional<LiveRequest> request_of_key(int key, const LiveSnapshot& snapshot);
/// The keys that mean something now, in one line of at most so many columns; the last ones are left out where there is no room.
std::string keys_text(const LiveSnapshot& snapshot, int columns, bool phone_page = false);

}  // namespace hushtrace
