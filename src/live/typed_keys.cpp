#include "typed_keys.hpp"

#include <poll.h>
#include <unistd.h>

#include <array>
#include <string_view>

#include "hushtrace/live/live_screen.hpp"

namespace hushtrace {

TypedKeys::TypedKeys(From from) {
    if (from == From::pipe) {
        reads_ = true;
        return;
    }
    if (isatty(STDIN_FILENO) == 0 || tcgetpgrp(STDIN_FILENO) != getpgrp()) return;
    guard_.emplace(STDIN_FILENO);
    guard_->watch("");
    set_modes();
    reads_ = true;
}

TypedKeys::~TypedKeys() = default;  // the guard restores the modes

void TypedKeys::set_modes() const {
    termios modes{};
    if (tcgetpgrp(STDIN_FILENO) != getpgrp() || tcgetattr(STDIN_FILENO, &modes) != 0) return;
    modes.c_lflag &= ~static_cast<tcflag_t>(ICANON | ECHO);
    modes.c_cc[VMIN] = 0;
    modes.c_cc[VTIME] = 0;
    tcsetattr(STDIN_FILENO, TCSANOW, &modes);
}

std::vector<int> TypedKeys::take() {
    if (guard_ && guard_->pause_asked()) {
        guard_->restore_modes();
        guard_->pause();
    }
    if (guard_ && guard_->continued()) set_modes();
    if (guard_ && tcgetpgrp(STDIN_FILENO) != getpgrp()) return {};
    std::vector<int> keys;
    pollfd ready{STDIN_FILENO, POLLIN, 0};
    while (reads_ && poll(&ready, 1, 0) == 1) {
        std::array<char, 256> bytes;
        const ssize_t count = read(STDIN_FILENO, bytes.data(), bytes.size());
        if (count <= 0) {
            reads_ = false;
            break;
        }
        for (const int key : keys_from_bytes({bytes.data(), static_cast<std::size_t>(count)})) keys.push_back(key);
    }
    return keys;
}

std::vector<int> keys_from_bytes(std::string_view bytes) {
    std::vector<int> keys;
    for (std::size_t at = 0; at < bytes.size(); ++at) {
        const char byte = bytes[at];
        const bool sequence = byte == '\x1b' && at + 1 < bytes.size() && (bytes[at + 1] == '[' || bytes[at + 1] == 'O');
        if (!sequence) {
            if (byte >= ' ' && byte <= '~') keys.push_back(byte);
            continue;
        }
        at += 2;
        while (at < bytes.size() && (bytes[at] < '@' || bytes[at] > '~')) ++at;  // to the letter that ends it
        if (at < bytes.size() && bytes[at] == 'A') keys.push_back(key_up);
        if (at < bytes.size() && bytes[at] == 'B') keys.push_back(key_down);
    }
    return keys;
}

}  // namespace hushtrace
