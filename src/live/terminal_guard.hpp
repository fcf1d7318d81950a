#pragma once
#include <string>

namespace hushtrace {

/// Keeps a terminal's way back to what it was: while one of these lives, a signal that ends the program restores it first. One at a
/// time.
///
/// Signals may arrive on any thread. Those that ask for an end or a pause only leave a note here, for the view's own thread to
/// act on.
class TerminalGuard {
public:
    /// Notes the terminal's modes. `restoring`, to be set once they are known: what must be written to leave the screen.
    explicit TerminalGuard(int terminal);
    ~TerminalGuard();
    TerminalGuard(const TerminalGuard&) = delete;
    TerminalGuard& operator=(const TerminalGuard&) = delete;

    /// From here on signals are handled. To be called once the drawing library has set up its own.
    void watch(const std::string& restoring);
    /// An end was asked for, once.
    bool end_asked() const;
    /// Ctrl-Z was pressed since the last call.
    bool pause_asked();
    /// The program was stopped by whatever signal and runs again, since the last call.
    bool continued();
    /// Stops the program as Ctrl-Z does, and returns when it runs again. The screen must have been left.
    void pause();
    /// The terminal's modes as they were.
    void restore_modes() const;

private:
    int terminal_;
    bool watching_ = false;
};

}  // namespace hushtrace
