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
    std::string widest;  ///< of this or a wider text's size it is always made, so that the screen keeps its shape
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
    std::string detail;
    TintedText word;         ///< the verdict, in capitals
    std::string widest_word;
    std::string headline, next;
    std::vector<TintedText> channels;
    std::vector<TintedText> steps;  ///< newest first
    std::string short_steps;        ///< the same in one line, oldest first
    TintedText status;
};

ScreenContent gain_content(const LiveSnapshot& snapshot, const LiveScreenWish& wish);
ScreenContent follow_content(const LiveSnapshot& snapshot, const LiveScreenWish& wish);

}  // namespace hushtrace
