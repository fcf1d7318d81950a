#pragma once
#include <optional>
#include <string_view>
#include <vector>

#include "terminal_guard.hpp"

namespace hushtrace {

/// Reads keys from stdin without waiting, where no screen is drawn: single keys of a terminal in whose foreground this program stands,
/// or the letters that come from a pipe.
class TypedKeys {
public:
    enum class From { terminal, pipe };
    explicit TypedKeys(From from);
    ~TypedKeys();
    TypedKeys(const TypedKeys&) = delete;
    TypedKeys& operator=(const TypedKeys&) = delete;

    /// The keys pressed since the last call, arrows among them; line ends are none. Pauses the program here when Ctrl-Z was pressed.
    std::vector<int> take();
    /// Ctrl-C, or a signal to end, has come.
    bool end_asked() const { return guard_ && guard_->end_asked(); }

private:
    void set_modes() const;

    bool reads_ = false;
    std::optional<TerminalGuard> guard_;
};

/// Keys from what a terminal sends for them: "\x1b[A" and "\x1bOA" are the arrow up. Other keys that send more than a letter give nothing.
std::vector<int> keys_from_bytes(std::string_view bytes);

}  // namespace hushtrace
