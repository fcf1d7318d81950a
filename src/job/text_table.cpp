#include "text_table.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdint>

#include "hushtrace/job/spelling.hpp"

namespace hushtrace {
namespace {

void put(std::string& out, std::uint32_t code) {
    if (code < 0x80) {
        out += static_cast<char>(code);
    } else if (code < 0x800) {
        out += static_cast<char>(0xC0 | (code >> 6));
        out += static_cast<char>(0x80 | (code & 0x3F));
    } else {  // beyond the basic plane no header word is written
        out += static_cast<char>(0xE0 | (code >> 12));
        out += static_cast<char>(0x80 | ((code >> 6) & 0x3F));
        out += static_cast<char>(0x80 | (code & 0x3F));
    }
}

std::string from_utf16(std::string_view bytes, bool big_end_first) {
    std::string out;
    for (std::size_t i = 0; i + 1 < bytes.size(); i += 2) {
        const auto a = static_cast<unsigned char>(bytes[i]), b = static_cast<unsigned char>(bytes[i + 1]);
        put(out, big_end_first ? 256U * a + b : 256U * b + a);
    }
    return out;
}

std::string_view trimmed(std::string_view text) {
    const auto blank = [](char c) { return c == ' ' || c == '\t' || c == '\v' || c == '\f'; };
    while (!text.empty() && blank(text.front())) text.remove_prefix(1);
    while (!text.empty() && blank(text.back())) text.remove_suffix(1);
    return text;
}

bool is_comment(std::string_view line) {
    return line.front() == '#' || line.front() == '%' || line.substr(0, 2) == "//";
}

std::size_t count_outside_quotes(std::string_view line, char what) {
    std::size_t count = 0;
    bool quoted = false;
    for (const char c : line) {
        if (c == '"') quoted = !quoted;
        if (c == what && !quoted) ++count;
    }
    return count;
}

}  // namespace

std::optional<std::string> as_utf8(std::string_view bytes) {
    const auto starts = [&](std::string_view mark) { return bytes.substr(0, mark.size()) == mark; };
    const std::size_t looked_at = std::min<std::size_t>(bytes.size(), 200);
    std::array<std::size_t, 2> zeros{};
    for (std::size_t i = 0; i < looked_at; ++i)
        if (bytes[i] == '\0') ++zeros[i % 2];
    if (starts("\xFF\xFE") || (5 * zeros[1] > 2 * looked_at && zeros[0] == 0))
        return from_utf16(bytes.substr(starts("\xFF\xFE") ? 2 : 0), false);
    if (starts("\xFE\xFF") || (5 * zeros[0] > 2 * looked_at && zeros[1] == 0))
        return from_utf16(bytes.substr(starts("\xFE\xFF") ? 2 : 0), true);
    if (starts("\xEF\xBB\xBF")) bytes.remove_prefix(3);
    if (bytes.find('\0') != std::string_view::npos) return std::nullopt;
    if (is_utf8(bytes)) return std::string(bytes);
    std::string out;
    for (const char c : bytes) put(out, static_cast<unsigned char>(c));
    return out;
}

TableLines lines_of_table(std::string_view text) {
    TableLines lines;
    while (!text.empty()) {
        const std::size_t end = std::min(text.find_first_of("\r\n"), text.size());
        const std::string_view line = text.substr(0, end);
        text.remove_prefix(std::min(end + 1, text.size()));
        const std::string_view plain = trimmed(line);
        if (plain.empty()) continue;
        if (is_comment(plain))
            lines.comments.push_back(trimmed(plain.substr(std::min(plain.find_first_not_of("#%/"), plain.size()))));
        else
            lines.rows.push_back(line);
    }
    return lines;
}

char delimiter_of(const std::vector<std::string_view>& lines) {
    if (lines.empty()) return 0;
    const std::string_view first = trimmed(lines.front());
    if (first.size() == 5 && (first.substr(0, 4) == "sep=" || first.substr(0, 4) == "SEP=")) return first[4];
    // the last lines of the first two hundred are rows, whatever stands before the header
    const std::size_t to = std::min<std::size_t>(lines.size(), 200), from = to / 2;
    char best = 0;
    double best_share = 0.5;
    for (const char candidate : {'\t', ';', '|', ',', ' '}) {
        std::vector<std::size_t> counts;
        for (std::size_t i = from; i < to; ++i)
            counts.push_back(candidate == ' ' ? cells_of(lines[i], ' ').size() - 1
                                              : count_outside_quotes(lines[i], candidate));
        std::vector<std::size_t> sorted = counts;
        std::sort(sorted.begin(), sorted.end());
        const std::size_t usual = sorted[sorted.size() / 2];
        if (usual == 0) continue;
        const auto even = std::count(counts.begin(), counts.end(), usual);
        const double share = static_cast<double>(even) / static_cast<double>(counts.size());
        if (share <= best_share + 0.05 && best != 0) continue;
        if (share < 0.5) continue;
        best = candidate;
        best_share = share;
    }
    return best;
}

std::vector<std::string> cells_of(std::string_view line, char delimiter) {
    std::vector<std::string> cells;
    std::string cell;
    bool quoted = false;
    const auto finish = [&] {
        const std::string_view plain = trimmed(cell);
        if (delimiter != ' ' || !plain.empty()) cells.emplace_back(plain);  // blanks come in runs
        cell.clear();
    };
    for (std::size_t i = 0; i < line.size(); ++i) {
        const char c = line[i];
        if (c == '"') {
            if (quoted && i + 1 < line.size() && line[i + 1] == '"')
                cell += line[i++];
            else
                quoted = !quoted;
        } else if (c == delimiter && !quoted) {
            finish();
        } else {
            cell += c;
        }
    }
    finish();
    if (cells.empty()) cells.emplace_back();
    return cells;
}

std::optional<double> number_in(std::string_view cell, DecimalMark mark) {
    cell = trimmed(cell);
    if (cell.size() > 40) return std::nullopt;
    const char point = mark == DecimalMark::point ? '.' : ',', other = mark == DecimalMark::point ? ',' : '.';
    std::string plain;
    std::size_t digits_since = 0, marks = 0;  // since the last mark between thousands
    bool whole = true;                        // before the decimal mark
    for (std::size_t i = 0; i < cell.size(); ++i) {
        const char c = cell[i];
        if (c >= '0' && c <= '9') {
            plain += c;
            ++digits_since;
        } else if (c == point && whole) {
            if (marks > 0 && digits_since != 3) return std::nullopt;
            whole = false;
            plain += '.';
        } else if ((c == other || c == '\'' || c == ' ') && whole) {  // between thousands
            const bool first = marks == 0;
            if (digits_since == 0 ||
                (first ? digits_since > 3 || plain.find_first_of("123456789") == std::string::npos
                       : digits_since != 3))
                return std::nullopt;
            ++marks;
            digits_since = 0;
        } else if ((c == '+' || c == '-') && i == 0) {
            if (c == '-') plain += c;
        } else if ((c == 'e' || c == 'E') && marks == 0) {
            std::string_view power = cell.substr(i + 1);
            if (!power.empty() && power.front() == '+') power.remove_prefix(1);
            plain += 'e';
            plain += power;
            whole = false;
            break;
        } else {
            return std::nullopt;
        }
    }
    if (marks > 0 && whole && digits_since != 3) return std::nullopt;
    double value = 0;
    const auto [end, fault] = std::from_chars(plain.data(), plain.data() + plain.size(), value);
    if (fault != std::errc() || end != plain.data() + plain.size() || !std::isfinite(value)) return std::nullopt;
    return value;
}

}  // namespace hushtrace
