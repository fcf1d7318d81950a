#include "terminal_guard.hpp"

#include <signal.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cerrno>
#include <cstddef>
#include <cstring>

namespace hushtrace {
namespace {

constexpr std::array ending = {SIGINT, SIGTERM, SIGHUP};
constexpr std::array fatal = {SIGSEGV, SIGABRT, SIGBUS, SIGFPE, SIGILL, SIGQUIT};
constexpr std::array handled = {SIGINT, SIGTERM, SIGHUP, SIGSEGV, SIGABRT, SIGBUS, SIGFPE, SIGILL, SIGQUIT, SIGTSTP, SIGCONT};

// What a signal's handler may touch: nothing that allocates.
std::atomic<int> guarded_terminal = -1;
std::atomic<int> ends_asked = 0;
std::atomic<bool> pause_wanted = false, was_continued = false;
static_assert(std::atomic<int>::is_always_lock_free && std::atomic<bool>::is_always_lock_free);
termios modes_before;
std::array<char, 256> leaving;
std::size_t leaving_size = 0;
std::array<struct sigaction, handled.size()> before;

/// The index of a signal in `handled`.
std::size_t place(int signal) {
    return static_cast<std::size_t>(std::find(handled.begin(), handled.end(), signal) - handled.begin());
}

void leave_terminal() {
    const int terminal = guarded_terminal.exchange(-1);
    if (terminal < 0) return;
    tcflush(terminal, TCOFLUSH);
    const ssize_t written = write(terminal, leaving.data(), leaving_size);
    static_cast<void>(written);
    tcsetattr(terminal, TCSANOW, &modes_before);
}

/// The terminal first, then the signal as it would have been without us.
void die_of(int signal, const struct sigaction& otherwise) {
    leave_terminal();
    sigaction(signal, &otherwise, nullptr);
    sigset_t one;
    sigemptyset(&one);
    sigaddset(&one, signal);
    pthread_sigmask(SIG_UNBLOCK, &one, nullptr);
    raise(signal);
}

void on_signal(int signal) {
    const int kept_errno = errno;
    if (std::find(fatal.begin(), fatal.end(), signal) != fatal.end()) {
        die_of(signal, before[place(signal)]);
    } else if (std::find(ending.begin(), ending.end(), signal) != ending.end()) {
        if (ends_asked.fetch_add(1) > 0) {
            struct sigaction plain {};
            plain.sa_handler = SIG_DFL;
            sigemptyset(&plain.sa_mask);
            die_of(signal, plain);
        } else {
            const struct sigaction& other = before[place(signal)];
            if (other.sa_handler != SIG_DFL && other.sa_handler != SIG_IGN && (other.sa_flags & SA_SIGINFO) == 0) other.sa_handler(signal);
        }
    } else if (signal == SIGTSTP) {
        pause_wanted = true;
    } else if (signal == SIGCONT) {
        was_continued = true;
    }
    errno = kept_errno;
}

}  // namespace

TerminalGuard::TerminalGuard(int terminal) : terminal_(terminal) {
    tcgetattr(terminal, &modes_before);
    for (std::size_t i = 0; i < handled.size(); ++i) sigaction(handled[i], nullptr, &before[i]);
    ends_asked = 0;
    pause_wanted = was_continued = false;
}

void TerminalGuard::watch(const std::string& restoring) {
    leaving_size = std::min(restoring.size(), leaving.size());
    std::memcpy(leaving.data(), restoring.data(), leaving_size);
    guarded_terminal = terminal_;
    watching_ = true;
    struct sigaction ours {};
    ours.sa_handler = &on_signal;
    ours.sa_flags = SA_RESTART;
    sigemptyset(&ours.sa_mask);
    for (const int signal : handled) sigaction(signal, &ours, nullptr);
}

TerminalGuard::~TerminalGuard() {
    guarded_terminal = -1;
    // One that had been good for once, and was used: a further one ends the program.
    const bool used = ends_asked > 0;
    for (std::size_t i = 0; i < handled.size(); ++i) {
        const bool once = (static_cast<unsigned>(before[i].sa_flags) & static_cast<unsigned>(SA_RESETHAND)) != 0;
        if (used && once) before[i].sa_handler = SIG_DFL;
        sigaction(handled[i], &before[i], nullptr);
    }
    if (watching_) restore_modes();
}

bool TerminalGuard::end_asked() const {
    return ends_asked > 0;
}

bool TerminalGuard::pause_asked() {
    return pause_wanted.exchange(false);
}

bool TerminalGuard::continued() {
    return was_continued.exchange(false);
}

void TerminalGuard::pause() {
    struct sigaction plain {}, ours {};
    plain.sa_handler = SIG_DFL;
    sigemptyset(&plain.sa_mask);
    sigaction(SIGTSTP, &plain, &ours);
    kill(getpid(), SIGTSTP);
    sigaction(SIGTSTP, &ours, nullptr);
}

void TerminalGuard::restore_modes() const {
    if (tcgetpgrp(terminal_) == getpgrp()) tcsetattr(terminal_, TCSANOW, &modes_before);  // from the background it would stop us
}

}  // namespace hushtrace
