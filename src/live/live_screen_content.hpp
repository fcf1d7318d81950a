#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/live/live_figures.hpp"
#include "hushtrace/live/live_screen.hpp"

namespace hushtrace {

struct LargeFigure {
    std::string label;
    LiveFigure figure;
    std::string widest;    ///< room is always made for this text too, so that the screen keeps its shape
    std::string short_label;
    std::string in_words;  ///< label and figure, where there is no room for it to be large
};
struct TintedText {
    std::string text;
    Tint tint = Tint::plain;
};

/// What a screen has to say, before it is known where.
struct ScreenContent {
    std::string title, right_title;
    LargeFigure first;
    std::optional<LargeFigure> second;
    std::vector<std::string> details;  ///< the most needed first
    TintedText word;         ///< the verdict, in capitals
    LiveMove move = LiveMove::none;
    std::string widest_word;
    std::string headline, next;
    std::vector<TintedText> channels;
    std::vector<TintedText> steps;  ///< newest first
    std::string short_steps;        ///< the same in one line, oldest first: "23 to 31 clean, 32 distorted"
    TintedText status;
};

ScreenContent gain_content(const LiveSnapshot& snapshot, const LiveScreenWish& wish);
ScreenContent follow_content(const LiveSnapshot& snapshot, const LiveScreenWish& wish);

}  // namespace hushtrace
