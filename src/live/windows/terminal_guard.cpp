#include "../terminal_guard.hpp"

#include <windows.h>

#include <atomic>

namespace hushtrace {
namespace {

std::atomic<int> ends_asked = 0;

/// The first is a request, passed on to whoever listened before; the second ends the program as usual.
BOOL WINAPI on_end(DWORD) { return ends_asked.fetch_add(1) > 0 ? FALSE : TRUE; }

}  // namespace

TerminalGuard::TerminalGuard(int terminal) : terminal_(terminal) { ends_asked = 0; }

void TerminalGuard::watch(const std::string&) {
    watching_ = true;
    SetConsoleCtrlHandler(&on_end, TRUE);
}

TerminalGuard::~TerminalGuard() {
    if (watching_) SetConsoleCtrlHandler(&on_end, FALSE);
}

bool TerminalGuard::end_asked() const { return ends_asked > 0; }

// A console has no pause of that kind.
bool TerminalGuard::pause_asked() { return false; }
bool TerminalGuard::continued() { return false; }
void TerminalGuard::pause() {}
void TerminalGuard::restore_modes() const {}

}  // namespace hushtrace
