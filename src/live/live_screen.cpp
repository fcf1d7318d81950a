#include "hushtrace/live/live_screen.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>
#include <vector>

#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/live/large_letters.hpp"
#include "live_screen_content.hpp"

namespace hushtrace {
namespace {

constexpr int margin = 1;

/// How many rows each part gets.
struct Rows {
    int title = 0, label = 0, figure = 1, detail = 0, word = 1, word_margin = 0, headline = 0, next = 1, channels = 0, steps = 0,
        status = 0, keys = 1;
};

int figure_width(const LargeFigure& one, int rows) {
    return std::max(large_width(one.figure.value, rows), large_width(one.widest, rows));
}

/// Columns of the second figure, made as large as the first; 0 where it does not fit beside it.
int second_width(const ScreenContent& content, int rows, int columns) {
    if (!content.second || !has_large_letters(content.second->figure.value)) return 0;
    const int width = figure_width(*content.second, rows);
    return 2 * margin + figure_width(content.first, rows) + 4 + width <= columns ? width : 0;
}

/// Gives out the rows that there are, the most needed first.
class Sharing {
public:
    Sharing(const ScreenContent& content, int rows, int columns, int next_rows)
        : content_(content), columns_(columns), left_(rows - 3 - next_rows) {
        given_.next = next_rows;
    }

    Rows share() {
        grow_figure(5);
        take(given_.title, 1);
        if (!content_.headline.empty()) take(given_.headline, 1);
        take(given_.detail, 1);
        grow_word(5);
        take(given_.label, 1);
        grow_figure(7);
        take(given_.status, 1);
        if (!content_.steps.empty()) take(given_.steps, 1);
        if (!content_.channels.empty()) take(given_.channels, static_cast<int>(content_.channels.size()));
        if (given_.word > 1 && left_ >= 2) left_ -= 2, given_.word_margin = 1;
        more_steps(4);
        grow_figure(10), grow_word(7);
        more_steps(8);
        grow_figure(15), grow_word(10);
        more_steps(40);
        return given_;
    }

private:
    void take(int& rows, int count) {
        if (left_ < count) return;
        left_ -= count;
        rows += count;
    }
    void grow_figure(int rows) {
        const int more = rows - given_.figure;
        if (more > left_ || !has_large_letters(content_.first.figure.value)) return;
        if (figure_width(content_.first, rows) > columns_ - 2 * margin) return;
        if (second_fits(given_.figure) && !second_fits(rows)) return;
        left_ -= more;
        given_.figure = rows;
    }
    bool second_fits(int rows) const { return rows >= least_letter_rows && second_width(content_, rows, columns_) > 0; }
    void grow_word(int rows) {
        const int more = rows - given_.word;
        const int width = std::max(large_width(content_.word.text, rows), large_width(content_.widest_word, rows));
        if (more > left_ || width > columns_ - 2 * margin) return;
        left_ -= more;
        given_.word = rows;
    }
    void more_steps(int most) {
        const int more = std::min({most, static_cast<int>(content_.steps.size()), given_.steps + left_}) - given_.steps;
        if (given_.steps > 0 && more > 0) take(given_.steps, more);
    }

    const ScreenContent& content_;
    int columns_, left_;
    Rows given_;
};

class Painter {
public:
    Painter(const ScreenContent& content, ScreenGrid& grid) : content_(content), grid_(grid) {}

    void paint(const Rows& rows, const std::vector<std::string>& next, const std::string& keys) {
        if (rows.title > 0) paint_title();
        row_ += rows.title;
        paint_figures(rows);
        if (rows.detail > 0) paint_details();
        paint_word(rows);
        if (rows.headline > 0) grid_.put(row_++, margin, content_.headline, Tint::strong);
        for (const std::string& line : next) {
            grid_.fill(row_, 0, 1, grid_.columns(), Tint::bar);
            grid_.put(row_++, margin, line, Tint::bar);
        }
        paint_lines(content_.channels, rows.channels);
        if (rows.steps == 1)
            grid_.put(row_++, margin, content_.short_steps);
        else
            paint_lines(content_.steps, rows.steps);
        if (rows.status > 0) grid_.put(grid_.rows() - 2, margin, content_.status.text, content_.status.tint);
        grid_.put(grid_.rows() - 1, margin, keys);
    }

private:
    int right_edge() const { return grid_.columns() - margin; }

    void put_right(int row, std::string_view text, Tint tint, int least_column) {
        const int width = static_cast<int>(display_width(text));
        grid_.put(row, std::max(right_edge() - width, least_column), text, tint);
    }

    void paint_title() {
        grid_.fill(row_, 0, 1, grid_.columns(), Tint::bar);
        const int right = right_edge() - static_cast<int>(content_.right_title.size());
        grid_.put(row_, margin, content_.title, Tint::bar, right - 2);
        grid_.put(row_, std::max(right, 0), content_.right_title, Tint::bar);
    }

    /// The first figure at the left, its unit as large where there is room, the second at the right where there is.
    void paint_figures(const Rows& rows) {
        const LargeFigure& first = content_.first;
        const bool large = rows.figure >= least_letter_rows;
        const int first_end = margin + (large ? figure_width(first, rows.figure) : 0);
        const int second = large ? second_width(content_, rows.figure, grid_.columns()) : 0;
        if (rows.label > 0) paint_labels(second > 0);
        if (!large) {
            const std::string words = rows.label == 0 && content_.second ? "   " + content_.second->in_words : "";
            grid_.put(row_++, margin, first.figure.text() + words, Tint::strong);
            return;
        }
        const int value_end = put_large(grid_, row_, margin, first.figure.value, rows.figure, Tint::strong);
        const int room = right_edge() - second - 4 - (first_end + 2);
        const std::string& unit = first.figure.unit;
        if (unit == "V" || unit == "mV") {
            if (large_width(unit, rows.figure) <= room)
                put_large(grid_, row_, first_end + 2, unit, rows.figure, Tint::strong);
            else
                grid_.put(row_ + rows.figure - 1, value_end + 1, unit, Tint::strong);
        } else {
            grid_.put(row_ + rows.figure - 1, value_end + 1, unit, Tint::strong);
        }
        if (second > 0)
            put_large(grid_, row_, right_edge() - large_width(content_.second->figure.value, rows.figure), content_.second->figure.value,
                      rows.figure, Tint::strong);
        row_ += rows.figure;
    }

    void paint_labels(bool second_large) {
        const std::string words = !content_.second ? "" : second_large ? content_.second->label : content_.second->in_words;
        const int room = right_edge() - margin - static_cast<int>(display_width(words)) - 2;
        const bool whole = static_cast<int>(display_width(content_.first.label)) <= room;
        const int behind = grid_.put(row_, margin, whole ? content_.first.label : content_.first.short_label);
        put_right(row_++, words, second_large ? Tint::plain : Tint::strong, behind + 2);
    }

    /// As many as there is room for.
    void paint_details() {
        std::string text;
        for (const std::string& one : content_.details) {
            const std::string more = (text.empty() ? "" : "   ") + one;
            if (static_cast<int>(display_width(text) + display_width(more)) > right_edge() - margin) break;
            text += more;
        }
        grid_.put(row_++, margin, text);
    }

    void paint_word(const Rows& rows) {
        const int height = rows.word + 2 * rows.word_margin;
        grid_.fill(row_, 0, height, grid_.columns(), content_.word.tint);
        if (rows.word >= least_letter_rows)
            put_large(grid_, row_ + rows.word_margin, 2 * margin, content_.word.text, rows.word, content_.word.tint);
        else
            grid_.put(row_, margin, content_.word.text, content_.word.tint);
        if (content_.move == LiveMove::up || content_.move == LiveMove::back) paint_arrow(rows);
        row_ += height;
    }

    /// Which way to turn the knob, at the right end of the word's ground.
    void paint_arrow(const Rows& rows) {
        const bool up = content_.move == LiveMove::up;
        if (rows.word < least_letter_rows) {
            put_right(row_, up ? "turn ↑" : "turn ↓", content_.word.tint, margin);
            return;
        }
        const char* const arrow = up ? "^" : "v";
        const int column = right_edge() - margin - large_width(arrow, rows.word);
        if (column > 2 * margin + large_width(content_.word.text, rows.word) + 2)
            put_large(grid_, row_ + rows.word_margin, column, arrow, rows.word, content_.word.tint);
    }

    void paint_lines(const std::vector<TintedText>& lines, int count) {
        for (int i = 0; i < count; ++i)
            grid_.put(row_++, margin, lines[static_cast<std::size_t>(i)].text, lines[static_cast<std::size_t>(i)].tint);
    }

    const ScreenContent& content_;
    ScreenGrid& grid_;
    int row_ = 0;
};

std::vector<std::string> next_lines(const std::string& next, int rows, int columns) {
    const auto width = static_cast<std::size_t>(std::max(columns - 2 * margin, 1));
    std::vector<std::string> lines = wrap_text(clean_text(next), width);
    const std::size_t most = rows >= 20 ? 3 : rows >= 10 ? 2 : 1;
    if (lines.size() > most) {
        for (std::size_t i = most; i < lines.size(); ++i) lines[most - 1] += " " + lines[i];  // cut off with dots
        lines.resize(most);
    }
    return lines;
}

/// Where nothing fits: the word, the figure, what to do.
void paint_tiny(const ScreenContent& content, const std::string& keys, ScreenGrid& grid) {
    const int behind = grid.put(0, 0, content.word.text, content.word.tint);
    grid.put(0, behind + 1, content.first.figure.text(), Tint::strong);
    grid.put(1, 0, content.next, Tint::strong);
    grid.put(2, 0, content.second ? content.second->in_words : "");
    grid.put(3, 0, keys);
}

struct KeyWord {
    std::string_view key, does;
};

std::vector<KeyWord> key_words(const LiveSnapshot& snapshot) {
    if (snapshot.state == LiveState::ended) return {};
    const KeyWord mark{"m", "mark"}, end{"q", "end"}, turn{"↑ ↓", "turn the knob"}, up{"↑", "I turned it up one"}, back{"↓", "back one"};
    if (snapshot.task == LiveTask::follow)
        return {{"space", snapshot.state == LiveState::waiting ? "start" : "new start"}, end, {"a", snapshot.armed ? "disarm" : "arm"},
                {"k", "keep the last minute"}, mark};
    if (snapshot.state == LiveState::waiting) {
        const KeyWord start{"space", "start"};
        if (!snapshot.volume) return {start, end, mark};  // where the knob stands is not known: a turn changes nothing yet
        return snapshot.turns_volume ? std::vector<KeyWord>{start, end, turn, mark} : std::vector<KeyWord>{start, end, up, back, mark};
    }
    if (snapshot.turns_volume) return {turn, end, mark};
    return {up, back, end, mark};
}

}  // namespace

ScreenGrid live_screen(const LiveSnapshot& snapshot, const LiveScreenWish& wish) {
    ScreenGrid grid(wish.rows, wish.columns);
    const ScreenContent content = snapshot.task == LiveTask::gain ? gain_content(snapshot, wish) : follow_content(snapshot, wish);
    const std::string keys = keys_text(snapshot, grid.columns() - 2 * margin, wish.phone_page);
    if (grid.rows() < 6 || grid.columns() < 20) {
        paint_tiny(content, keys, grid);
    } else {
        const auto next = next_lines(content.next, grid.rows(), grid.columns());
        Painter(content, grid).paint(Sharing(content, grid.rows(), grid.columns(), static_cast<int>(next.size())).share(), next, keys);
    }
    if (!wish.unicode) grid.make_ascii();
    return grid;
}

std::optional<LiveRequest> request_of_key(int key, const LiveSnapshot& snapshot) {
    const bool gain = snapshot.task == LiveTask::gain;
    switch (key) {
        case key_up:
        case '+':
        case '=': return gain ? std::optional(LiveRequest::stepped_up) : std::nullopt;  // '=' is '+' without its shift
        case key_down:
        case '-': return gain ? std::optional(LiveRequest::stepped_down) : std::nullopt;
        case ' ':
            if (snapshot.state == LiveState::waiting) return LiveRequest::start;
            return gain ? std::nullopt : std::optional(LiveRequest::reference);
        case 'k': case 'K': return LiveRequest::keep;  // in gain, too: the session tells why it keeps nothing
        case 'a': case 'A': return gain ? std::nullopt : std::optional(LiveRequest::arm);
        case 'm': case 'M': return LiveRequest::mark;
        case 'q': case 'Q': return LiveRequest::stop;
        default: return std::nullopt;
    }
}

std::string keys_text(const LiveSnapshot& snapshot, int columns, bool phone_page) {
    std::string text;
    std::vector<KeyWord> words = key_words(snapshot);
    if (phone_page && words.size() >= 3) words.insert(words.begin() + 3, {"p", "phone"});
    for (const KeyWord& one : words) {
        const std::string more = fmt::format("{}{}: {}", text.empty() ? "" : "   ", one.key, one.does);
        if (static_cast<int>(display_width(text) + display_width(more)) > columns) break;
        text += more;
    }
    return text;
}

}  // namespace hushtrace
