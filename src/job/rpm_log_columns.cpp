#include "rpm_log_columns.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <numbers>
#include <string_view>

namespace hushtrace {
namespace {

std::string lower(std::string_view text) {
    std::string out;
    for (const char c : text) out += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    return out;
}

/// Words of letters and digits; other characters part them. What is beyond ASCII counts as a letter.
std::vector<std::string> words_of(std::string_view text) {
    std::vector<std::string> words(1);
    for (const char c : lower(text)) {
        const bool letter = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || static_cast<unsigned char>(c) >= 0x80;
        if (letter)
            words.back() += c;
        else if (!words.back().empty())
            words.emplace_back();
    }
    if (words.back().empty()) words.pop_back();
    return words;
}

template <std::size_t N>
bool any_of(const std::vector<std::string>& words, const std::array<std::string_view, N>& wanted) {
    return std::any_of(words.begin(), words.end(), [&](const std::string& word) {
        return std::find(wanted.begin(), wanted.end(), word) != wanted.end();
    });
}
bool holds(const std::string& text, std::string_view part) {
    return text.find(part) != std::string::npos;
}

struct Unit {
    std::string_view word;
    double value;
};
constexpr std::array<Unit, 30> kTimeUnits = {{{"s", 1.0},        {"sec", 1.0},          {"secs", 1.0},
                                              {"second", 1.0},   {"seconds", 1.0},      {"sekunden", 1.0},
                                              {"ms", 1e-3},      {"msec", 1e-3},        {"msecs", 1e-3},
                                              {"millis", 1e-3},  {"millisecond", 1e-3}, {"milliseconds", 1e-3},
                                              {"us", 1e-6},      {"usec", 1e-6},        {"µs", 1e-6},
                                              {"μs", 1e-6},      {"micros", 1e-6},      {"microseconds", 1e-6},
                                              {"ns", 1e-9},      {"nanoseconds", 1e-9}, {"min", 60.0},
                                              {"mins", 60.0},    {"minutes", 60.0},     {"h", 3600.0},
                                              {"hours", 3600.0}, {"timems", 1e-3},      {"times", 1.0},
                                              {"timesec", 1.0},  {"timestampms", 1e-3}, {"uptimems", 1e-3}}};

double time_unit_of(const std::vector<std::string>& words) {
    double unit = 0;  // the last word that is one: "time (s)", "t_ms"
    for (const std::string& word : words)
        for (const Unit& one : kTimeUnits)
            if (word == one.word) unit = one.value;
    return unit;
}

/// rpm in one of the numbers under such a header; 0 when no unit is said.
double speed_unit_of(const std::string& header) {
    const std::string text = lower(header);
    std::string tight;
    for (const char c : text)
        if (c != ' ' && c != '_') tight += c;
    const auto words = words_of(header);
    const auto has = [&](std::string_view part) { return holds(tight, part); };
    const bool per_minute = has("rpm") || has("1/min") || has("/min") || has("min-1") || has("min^-1") ||
                            has("min⁻¹") || has("permin") || has("об/мин");
    const bool thousands = has("x1000") || has("×1000") || has("*1000") || has("1000x") || has("krpm") ||
                           has("1000/min") || has("1000rpm") || has("rpm/1000") || has("k1/min") || has("/1000");
    if (thousands) return 1000.0;
    if (per_minute) return 1.0;
    if (has("rad/s") || any_of<1>(words, {"rads"})) return 30.0 / std::numbers::pi;
    if (has("1/s") || has("rev/s") || has("revs/s") || has("r/s") || has("s-1") || has("s^-1") || has("persec") ||
        any_of<4>(words, {"rps", "hz", "hertz", "revspersecond"}))
        return 60.0;
    return 0;
}

/// How surely a header names the engine's speed; 0: not at all.
int speed_likeness(const std::string& header) {
    const std::string text = lower(header);
    const auto words = words_of(header);
    static constexpr std::array<std::string_view, 39> others = {
        "vehicle",   "wheel",    "turbo",        "turbine", "fan",      "alternator", "target", "desired",
        "requested", "setpoint", "limit",        "max",     "min_idle", "input",      "output", "shaft",
        "gps",       "trans",    "transmission", "km",      "kmh",      "mph",        "gear",   "pump",
        "road",      "ground",   "compressor",   "demand",  "nominal",  "soll",       "blower", "wiper",
        "clutch",    "error",    "deviation",    "average", "avg",      "peak",       "redline"};
    if (any_of(words, others)) return 0;
    const bool engine = holds(text, "engine") || holds(text, "crank") || holds(text, "motordreh") ||
                        holds(text, "nmot") || holds(text, "n_mot") || holds(text, "moteur");
    const bool speed_word = holds(text, "speed") || holds(text, "drehzahl") || holds(text, "régime") ||
                            holds(text, "regime") || holds(text, "rev") || holds(text, "tach") ||
                            holds(text, "freq") || holds(text, "giri") || holds(text, "varvtal") ||
                            holds(text, "обороты");
    const bool rpm = holds(text, "rpm");
    if (rpm) return engine ? 5 : (words.size() == 1 ? 5 : 4);
    if (engine && (speed_word || speed_unit_of(header) > 0)) return 4;
    if (holds(text, "nmot") || holds(text, "drehzahl") || holds(text, "varvtal") || holds(text, "обороты")) return 3;
    if (speed_word && speed_unit_of(header) > 0) return 3;
    if (holds(text, "tach") || any_of<2>(words, {"revs", "rps"})) return 2;
    if (speed_unit_of(header) == 1.0) return 2;
    if (words.size() == 1 && (words[0] == "engine" || words[0] == "speed")) return 1;
    return 0;
}

int time_likeness(const std::string& header) {
    const auto words = words_of(header);
    static constexpr std::array<std::string_view, 14> others = {"injection", "dwell", "pulse",   "timing", "advance",
                                                                "inj",       "run",   "runtime", "since",  "response",
                                                                "zone",      "spark", "fuel",    "idle"};
    if (words.empty() || any_of(words, others)) return 0;
    if (any_of<8>(words, {"elapsed", "time_s", "seconds", "t", "sec", "ms", "millis", "offset"})) return 3;
    if (any_of<6>(words, {"time", "zeit", "temps", "timems", "timesec", "times"})) return 3;
    if (any_of<6>(words, {"timestamp", "clock", "epoch", "datetime", "utc", "s"})) return 2;
    return holds(lower(header), "time") ? 1 : 0;
}

}  // namespace

bool names_engine_speed(const std::string& name) {
    return speed_likeness(name) >= 2;
}

std::optional<LogColumns> columns_named(const std::vector<std::string>& header) {
    LogColumns found;
    int best_time = 0, best_speed = 0;
    std::optional<std::size_t> name, value;
    for (std::size_t i = 0; i < header.size(); ++i) {
        const auto words = words_of(header[i]);
        const int time = time_likeness(header[i]), speed = speed_likeness(header[i]);
        if (speed > 0 && speed == best_speed) found.more_speeds = true;
        if (speed > best_speed) {
            best_speed = speed;
            found.speed = i;
            found.more_speeds = false;
        } else if (speed == 0 && time > best_time) {
            best_time = time;
            found.time = i;
        }
        if (any_of<6>(words, {"pid", "name", "parameter", "signal", "channel", "sensor"})) name = i;
        if (any_of<2>(words, {"value", "reading"})) value = i;
    }
    if (best_time == 0) return std::nullopt;
    found.time_unit_s = time_unit_of(words_of(header[found.time]));
    if (best_speed == 0) {
        if (!name || !value) return std::nullopt;
        found.name = name;
        found.speed = *value;
    }
    found.speed_header = header[found.speed];
    found.speed_unit_rpm = speed_unit_of(found.speed_header);
    return found;
}

bool take_units(const std::vector<std::string>& row, LogColumns& columns) {
    if (columns.time >= row.size() || columns.speed >= row.size()) return false;
    const double time = time_unit_of(words_of(row[columns.time])), speed = speed_unit_of(row[columns.speed]);
    if (time <= 0 && speed <= 0) return false;
    if (time > 0) columns.time_unit_s = time;
    if (speed > 0) columns.speed_unit_rpm = speed;
    return true;
}

std::optional<double> time_of_day_s(const std::string& cell) {
    const std::size_t first = cell.find(':');
    if (first == std::string::npos || first == 0 || cell.size() > 60) return std::nullopt;
    const auto is_digit = [&](std::size_t i) { return i < cell.size() && cell[i] >= '0' && cell[i] <= '9'; };
    std::size_t from = first;
    while (from > 0 && is_digit(from - 1)) --from;
    if (first - from > 3 || from == first) return std::nullopt;
    std::array<double, 3> parts{};
    std::size_t count = 0, at = from;
    while (count < 3 && is_digit(at)) {
        const std::size_t begin = at;
        while (is_digit(at)) ++at;
        std::string digits = cell.substr(begin, at - begin);
        const bool last = !(at < cell.size() && cell[at] == ':' && is_digit(at + 1)) || count == 2;
        if (last && at < cell.size() && (cell[at] == '.' || cell[at] == ',' || (cell[at] == ':' && count == 2)) &&
            is_digit(at + 1)) {  // also 10:12:00:250
            digits += '.';
            for (++at; is_digit(at); ++at) digits += cell[at];
        }
        std::from_chars(digits.data(), digits.data() + digits.size(), parts[count++]);
        if (last) break;
        ++at;
    }
    if (count < 2) return std::nullopt;
    if (count == 2) return parts[0] * 60.0 + parts[1];
    const std::string rest = lower(cell.substr(at));
    double hours = parts[0];
    if (holds(rest, "pm") && hours < 12) hours += 12;
    if (holds(rest, "am") && hours == 12) hours = 0;
    if (parts[1] >= 60 || parts[2] >= 61) return std::nullopt;
    return hours * 3600.0 + parts[1] * 60.0 + parts[2];
}

}  // namespace hushtrace
