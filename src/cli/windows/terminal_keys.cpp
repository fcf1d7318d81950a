#include "../terminal_keys.hpp"

#include <conio.h>
#include <io.h>
#include <windows.h>

#include <array>
#include <atomic>
#include <cstdio>
#include <string>

namespace hushtrace::cli {
namespace {

std::atomic<bool> stop_asked = false;

/// The first is a request; the second, and the closing of the window after it, end the program as usual.
BOOL WINAPI ask_to_stop(DWORD) { return stop_asked.exchange(true) ? FALSE : TRUE; }

std::string utf8(wchar_t letter) {
    std::array<char, 4> bytes{};
    const int count = WideCharToMultiByte(CP_UTF8, 0, &letter, 1, bytes.data(), static_cast<int>(bytes.size()), nullptr, nullptr);
    return {bytes.data(), static_cast<std::size_t>(count)};
}

HANDLE input() { return GetStdHandle(STD_INPUT_HANDLE); }

bool is_console() {
    DWORD modes = 0;
    return GetConsoleMode(input(), &modes) != 0;
}

}  // namespace

struct TerminalKeys::Modes {};  // single keys are read beside the console's line mode

TerminalKeys::TerminalKeys(From from) { reads_ = from == From::pipe || is_console(); }

TerminalKeys::~TerminalKeys() = default;

std::vector<Mark> TerminalKeys::marks(double now_s) {
    if (reads_ && is_console()) {
        while (_kbhit() != 0) {
            const wchar_t key = static_cast<wchar_t>(_getwch());
            if (key == 0 || key == 0xE0) {
                _getwch();  // an arrow or a function key comes in two
                continue;
            }
            if (key == 3) ask_to_stop(CTRL_C_EVENT);  // Ctrl-C in the moment of reading
            else if (key == L'\r') typing_.key('\n', now_s);
            else
                for (const char byte : utf8(key)) typing_.key(byte, now_s);
        }
        return typing_.take();
    }
    while (reads_) {
        std::array<char, 256> typed;
        const bool pipe = GetFileType(input()) == FILE_TYPE_PIPE;
        DWORD waiting = 0, count = 0;
        const bool alive = !pipe || PeekNamedPipe(input(), nullptr, 0, nullptr, &waiting, nullptr) != 0;
        if (alive && pipe && waiting == 0) break;
        if (!alive || ReadFile(input(), typed.data(), static_cast<DWORD>(typed.size()), &count, nullptr) == 0 || count == 0) {
            reads_ = false;  // the pipe has ended
            typing_.finish();
            break;
        }
        for (DWORD i = 0; i < count; ++i)
            if (typed[i] != '\r') typing_.key(typed[i], now_s);
    }
    return typing_.take();
}

StopSignal::StopSignal() {
    stop_asked = false;
    SetConsoleCtrlHandler(&ask_to_stop, TRUE);
}

StopSignal::~StopSignal() { SetConsoleCtrlHandler(&ask_to_stop, FALSE); }

bool StopSignal::asked() { return stop_asked; }

}  // namespace hushtrace::cli
