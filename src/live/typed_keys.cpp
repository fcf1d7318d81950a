#include "typed_keys.hpp"

#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <array>

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
        std::array<char, 256> bytes{};
        const ssize_t count = read(STDIN_FILENO, bytes.data(), bytes.size());
        if (count <= 0) {
            reads_ = false;
            break;
        }
        for (const int key : keys_from_bytes({bytes.data(), static_cast<std::size_t>(count)})) keys.push_back(key);
    }
    return keys;
}

}  // namespace hushtrace
