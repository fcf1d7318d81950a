#include "rpm_log_rows.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/job/spelling.hpp"
#include "text_table.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kHeaderWithin = 100;  // lines
constexpr std::size_t kMostRows = 2'000'000;
constexpr double kDay_s = 86400.0;
constexpr double kMostTime = 1e20;  // in whatever unit: an epoch in nanoseconds is 2e18

bool all_numbers(const std::vector<std::string>& cells) {
    return std::all_of(cells.begin(), cells.end(), [](const std::string& cell) {
        return number_in(cell, DecimalMark::point) || number_in(cell, DecimalMark::comma) || time_of_day_s(cell);
    });
}

/// A speed with its unit behind it: "812 rpm".
std::string_view without_unit(std::string_view cell) {
    const std::size_t last = cell.find_last_of("0123456789");
    return last == std::string_view::npos || last + 1 == cell.size() || cell[last + 1] != ' '
               ? cell
               : cell.substr(0, last + 1);
}

class Rows {
public:
    LogRows run(std::string_view bytes) {
        const auto text = as_utf8(bytes);
        if (!text) return refuse("is no text: it holds zero bytes");
        TableLines lines = lines_of_table(*text);
        lines_ = std::move(lines.rows);
        if (lines_.empty()) return refuse("is empty");
        delimiter_ = delimiter_of(lines_);
        if (lines_.front().substr(0, 4) == "sep=" || lines_.front().substr(0, 4) == "SEP=")
            lines_.erase(lines_.begin());
        if (delimiter_ == 0) return refuse("has no columns: no comma, semicolon or tab parts its lines");
        if (!find_columns(lines.comments)) return std::move(rows_);
        const DecimalMark mark = decimal_mark();
        read(mark, lines_.size(), rows_);
        if (rows_.time_s.empty())
            rows_.fault =
                rows_.unread == 0 ? "holds a header alone" : "has no row with a time and a speed that can be read";
        return std::move(rows_);
    }

private:
    LogRows refuse(const char* why) {
        rows_.fault = why;
        return std::move(rows_);
    }

    std::vector<std::string> row(std::size_t line) const { return cells_of(lines_[line], delimiter_); }

    bool find_columns(const std::vector<std::string_view>& comments) {
        for (std::size_t i = 0; i < std::min(kHeaderWithin, lines_.size()); ++i) {
            const auto cells = row(i);
            if (cells.size() < 2 || all_numbers(cells)) continue;
            if (const auto named = columns_named(cells)) {
                rows_.columns = *named;
                first_row_ = i + 1;
                header_cells_ = cells.size();
                if (first_row_ < lines_.size() && !has_time(row(first_row_)) &&
                    take_units(row(first_row_), rows_.columns))
                    ++first_row_;
                return !comma_twice();
            }
        }
        const auto cells = row(0);
        for (const std::string_view comment : comments)  // a header that is marked as a comment
            if (const auto named = columns_named(cells_of(comment, delimiter_))) {
                rows_.columns = *named;
                header_cells_ = cells_of(comment, delimiter_).size();
                return !comma_twice();
            }
        // two columns of numbers without a header: time, then speed
        if (cells.size() == 2 && all_numbers(cells)) {
            rows_.columns.time = 0;
            rows_.columns.speed = 1;
            rows_.columns.speed_header = "no header";
            header_cells_ = 2;
            return true;
        }
        rows_.fault =
            fmt::format("has no header that names a time and an engine speed (time_s,rpm); its first line is {}",
                        in_quotes(lines_.front()));
        return false;
    }

    bool has_time(const std::vector<std::string>& cells) const {
        if (rows_.columns.time >= cells.size()) return false;
        const std::string& cell = cells[rows_.columns.time];
        return number_in(cell, DecimalMark::point) || number_in(cell, DecimalMark::comma) || time_of_day_s(cell);
    }

    /// Decimal commas in a file parted by commas: which comma is which can't be told.
    bool comma_twice() {
        if (delimiter_ != ',' || first_row_ >= lines_.size()) return false;
        if (row(first_row_).size() < 2 * header_cells_ - 1) return false;
        rows_.fault =
            "has more commas in its rows than in its header: decimal commas between commas can't be told apart. "
            "Save it with semicolons or decimal points";
        return true;
    }

    /// The mark by which more of the first rows can be read; where both do, the one that gives a speed of an engine.
    DecimalMark decimal_mark() const {
        LogRows point = rows_, comma = rows_;
        const std::size_t to = std::min(lines_.size(), first_row_ + 300);
        read(DecimalMark::point, to, point);
        read(DecimalMark::comma, to, comma);
        if (point.speed.size() != comma.speed.size())
            return point.speed.size() > comma.speed.size() ? DecimalMark::point : DecimalMark::comma;
        const auto plausible = [](std::vector<double> speeds) {
            if (speeds.empty()) return false;
            std::sort(speeds.begin(), speeds.end());
            const double middle = speeds[speeds.size() / 2];
            return middle >= 200.0 && middle <= 12000.0;
        };
        return !plausible(point.speed) && plausible(comma.speed) ? DecimalMark::comma : DecimalMark::point;
    }

    void read(DecimalMark mark, std::size_t to, LogRows& into) const {
        std::size_t clocks = 0;
        double day = 0, before = 0;
        const std::size_t last = std::min(to, first_row_ + kMostRows);
        for (std::size_t i = first_row_; i < last; ++i) {
            const auto cells = row(i);
            const LogColumns& columns = into.columns;
            if (columns.name && (*columns.name >= cells.size() || !names_engine_speed(cells[*columns.name])))
                continue;
            if (columns.time >= cells.size() || columns.speed >= cells.size()) {
                ++into.unread;
                continue;
            }
            std::optional<double> time = number_in(cells[columns.time], mark);
            if (!time && (time = time_of_day_s(cells[columns.time]))) {
                if (clocks > 0 && *time + day < before - 0.5 * kDay_s) day += kDay_s;  // past midnight
                *time += day;
                before = *time;
                ++clocks;
            }
            const auto speed = number_in(without_unit(cells[columns.speed]), mark);
            if (!time || !(std::abs(*time) < kMostTime) || !speed || *speed < 0) {
                ++into.unread;
                continue;
            }
            into.time_s.push_back(*time);
            into.speed.push_back(*speed);
        }
        into.time_is_clock = clocks > 0;
        if (lines_.size() - first_row_ > kMostRows) into.cut = true;
        if (clocks > 0 && clocks < into.time_s.size()) into.fault = "mixes times of day and seconds in one column";
    }

    LogRows rows_;
    std::vector<std::string_view> lines_;
    char delimiter_ = 0;
    std::size_t first_row_ = 0, header_cells_ = 0;
};

}  // namespace

LogRows rows_of_log(std::string_view text) {
    return Rows().run(text);
}

}  // namespace hushtrace
