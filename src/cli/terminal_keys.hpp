#pragma once
#include <memory>
#include <string>
#include <vector>

#include "hushtrace/live/mark_typing.hpp"

namespace hushtrace::cli {

/// Reads what is typed while a capture runs, without waiting: single keys from a terminal, whose line mode is
/// restored at the end, or lines from a pipe.
class TerminalKeys {
public:
    enum class From { terminal, pipe };
    /// From a terminal only where stdin is one and this program stands in its foreground; else nothing is
    /// ever read.
    explicit TerminalKeys(From from);
    ~TerminalKeys();
    TerminalKeys(const TerminalKeys&) = delete;
    TerminalKeys& operator=(const TerminalKeys&) = delete;

    bool reads() const { return reads_; }
    /// The marks finished since the last call; `now_s` is the moment of what was typed since then.
    std::vector<Mark> marks(double now_s);
    const std::string& unfinished() const { return typing_.unfinished(); }

private:
    bool reads_ = false;
    struct Modes;  // the terminal's, as they were
    std::unique_ptr<Modes> before_;
    MarkTyping typing_;
};

/// Ctrl-C, a plain kill and a closed terminal ask for an end while one of these lives; the second Ctrl-C ends
/// at once.
class StopSignal {
public:
    StopSignal();
    ~StopSignal();
    StopSignal(const StopSignal&) = delete;
    StopSignal& operator=(const StopSignal&) = delete;
    static bool asked();
};

}  // namespace hushtrace::cli
