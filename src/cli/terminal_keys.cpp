#include "terminal_keys.hpp"

#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <csignal>

namespace hushtrace::cli {
namespace {

std::atomic<bool> stop_asked = false;  // set in a signal handler, read by another thread
static_assert(std::atomic<bool>::is_always_lock_free);
constexpr std::array stop_signals = {SIGINT, SIGTERM, SIGHUP};
std::array<struct sigaction, stop_signals.size()> handled_before;

void ask_to_stop(int) {
    stop_asked = true;
}

bool in_foreground() {
    return isatty(STDIN_FILENO) != 0 && tcgetpgrp(STDIN_FILENO) == getpgrp();
}

}  // namespace

struct TerminalKeys::Modes {
    termios modes;
};

TerminalKeys::TerminalKeys(From from) {
    if (from == From::pipe) {
        reads_ = true;
        return;
    }
    termios now{};
    if (!in_foreground() || tcgetattr(STDIN_FILENO, &now) != 0) return;
    before_ = std::make_unique<Modes>(Modes{now});
    now.c_lflag &= ~static_cast<tcflag_t>(ICANON | ECHO);
    now.c_cc[VMIN] = 0;
    now.c_cc[VTIME] = 0;
    reads_ = tcsetattr(STDIN_FILENO, TCSANOW, &now) == 0;
}

TerminalKeys::~TerminalKeys() {
    if (before_) tcsetattr(STDIN_FILENO, TCSANOW, &before_->modes);
}

std::vector<Mark> TerminalKeys::marks(double now_s) {
    pollfd ready{STDIN_FILENO, POLLIN, 0};
    while (reads_ && poll(&ready, 1, 0) == 1) {
        std::array<char, 256> typed{};
        const ssize_t count = read(STDIN_FILENO, typed.data(), typed.size());
        if (count <= 0) {  // the pipe has ended, or the terminal is gone
            reads_ = false;
            typing_.finish();
            break;
        }
        for (ssize_t i = 0; i < count; ++i) typing_.key(typed[static_cast<std::size_t>(i)], now_s);
    }
    return typing_.take();
}

StopSignal::StopSignal() {
    stop_asked = false;
    struct sigaction action {};
    action.sa_handler = &ask_to_stop;
    sigemptyset(&action.sa_mask);
    action.sa_flags = static_cast<int>(SA_RESETHAND);
    for (std::size_t i = 0; i < stop_signals.size(); ++i)
        sigaction(stop_signals[i], &action, &handled_before[i]);
}

StopSignal::~StopSignal() {
    for (std::size_t i = 0; i < stop_signals.size(); ++i)
        sigaction(stop_signals[i], &handled_before[i], nullptr);
}

bool StopSignal::asked() {
    return stop_asked;
}

}  // namespace hushtrace::cli
