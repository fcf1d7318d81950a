#include "../typed_keys.hpp"

#include <conio.h>
#include <windows.h>

#include <array>

#include "hushtrace/live/live_screen.hpp"

namespace hushtrace {
namespace {

HANDLE input() { return GetStdHandle(STD_INPUT_HANDLE); }

bool is_console() {
    DWORD modes = 0;
    return GetConsoleMode(input(), &modes) != 0;
}

/// A key of the console; arrows and function keys come in two.
void take_key(std::vector<int>& keys) {
    const int key = _getch();
    if (key == 0 || key == 0xE0) {
        const int second = _getch();
        if (second == 'H') keys.push_back(key_up);
        if (second == 'P') keys.push_back(key_down);
    } else if (key >= ' ' && key <= '~') {
        keys.push_back(key);
    }
}

}  // namespace

TypedKeys::TypedKeys(From from) {
    reads_ = from == From::pipe || is_console();
    if (from == From::pipe || !reads_) return;
    guard_.emplace(0);
    guard_->watch("");
}

TypedKeys::~TypedKeys() = default;

void TypedKeys::set_modes() const {}  // single keys are read beside the console's line mode

std::vector<int> TypedKeys::take() {
    std::vector<int> keys;
    if (reads_ && is_console()) {
        while (_kbhit() != 0) take_key(keys);
        return keys;
    }
    while (reads_) {
        std::array<char, 256> bytes;
        const bool pipe = GetFileType(input()) == FILE_TYPE_PIPE;
        DWORD waiting = 0, count = 0;
        const bool alive = !pipe || PeekNamedPipe(input(), nullptr, 0, nullptr, &waiting, nullptr) != 0;
        if (alive && pipe && waiting == 0) break;
        if (!alive || ReadFile(input(), bytes.data(), static_cast<DWORD>(bytes.size()), &count, nullptr) == 0 || count == 0) {
            reads_ = false;
            break;
        }
        for (const int key : keys_from_bytes({bytes.data(), static_cast<std::size_t>(count)})) keys.push_back(key);
    }
    return keys;
}

}  // namespace hushtrace
