#include <fcntl.h>
#include <io.h>
#include <windows.h>

#include <shellapi.h>

#include <array>
#include <cstdio>
#include <iostream>
#include <streambuf>
#include <string>
#include <vector>

#include "../command.hpp"

namespace {

std::string utf8(const wchar_t* text) {
    const int size = WideCharToMultiByte(CP_UTF8, 0, text, -1, nullptr, 0, nullptr, nullptr);
    std::string out(size > 0 ? static_cast<std::size_t>(size) : 1, '\0');
    if (size > 0) WideCharToMultiByte(CP_UTF8, 0, text, -1, out.data(), size, nullptr, nullptr);
    out.resize(out.size() - 1);
    return out;
}

/// The console writes and reads UTF-8 while the program runs.
class Utf8Console {
public:
    Utf8Console() : output_(GetConsoleOutputCP()), input_(GetConsoleCP()) {
        SetConsoleOutputCP(CP_UTF8);
        SetConsoleCP(CP_UTF8);
    }
    ~Utf8Console() {
        if (output_ != 0) SetConsoleOutputCP(output_);
        if (input_ != 0) SetConsoleCP(input_);
    }
    Utf8Console(const Utf8Console&) = delete;
    Utf8Console& operator=(const Utf8Console&) = delete;

private:
    UINT output_, input_;
};

/// What is typed, as UTF-8: Windows' own way from a console to std::cin loses all letters beyond ASCII.
class ConsoleInput : public std::streambuf {
    int_type underflow() override {
        std::array<wchar_t, 1024> typed;
        DWORD count = 0;
        if (ReadConsoleW(GetStdHandle(STD_INPUT_HANDLE), typed.data(), static_cast<DWORD>(typed.size()) - 1, &count, nullptr) == 0 ||
            count == 0 || typed[0] == 26)  // Ctrl-Z: the end
            return traits_type::eof();
        typed[count] = 0;
        line_ = utf8(typed.data());
        std::erase(line_, '\r');
        setg(line_.data(), line_.data(), line_.data() + line_.size());
        return line_.empty() ? underflow() : traits_type::to_int_type(line_.front());
    }
    std::string line_;
};

}  // namespace

int main() {
    SetErrorMode(SEM_FAILCRITICALERRORS | SEM_NOOPENFILEERRORBOX);  // an empty drive is a fault to report, not a window to click away
    // what is printed, and read by others, is the same on all systems
    _setmode(_fileno(stdout), _O_BINARY);
    _setmode(_fileno(stderr), _O_BINARY);
    const Utf8Console console;
    ConsoleInput typed;
    std::streambuf* const before = std::cin.rdbuf();
    DWORD modes = 0;
    if (GetConsoleMode(GetStdHandle(STD_INPUT_HANDLE), &modes) != 0) std::cin.rdbuf(&typed);
    int count = 0;
    wchar_t** const given = CommandLineToArgvW(GetCommandLineW(), &count);
    std::vector<std::string> words;
    for (int i = 0; i < count; ++i) words.push_back(utf8(given[i]));
    if (given != nullptr) LocalFree(given);
    std::vector<const char*> pointers;
    for (const std::string& word : words) pointers.push_back(word.c_str());
    const int code = hushtrace::cli::run_program(static_cast<int>(pointers.size()), pointers.data());
    std::cin.rdbuf(before);
    return code;
}
