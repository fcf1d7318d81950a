#pragma once
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"

namespace hushtrace {

/// Turns key presses into marks. Enter alone marks the moment as "mark"; a word is typed and ended with
/// Enter, and its moment is that of its first letter, since that is when the hand moved.
class MarkTyping {
public:
    void key(char key, double time_s);
    /// The marks finished since the last call.
    std::vector<Mark> take();
    /// What is typed and not yet ended, for the display.
    const std::string& unfinished() const { return text_; }
    /// Ends what is typed, as Enter would; nothing when nothing is.
    void finish();

    static constexpr std::size_t longest_text = 80;  ///< bytes; more is left out

private:
    double begun_s_ = 0;
    std::string text_;
    std::vector<Mark> done_;
};

}  // namespace hushtrace
