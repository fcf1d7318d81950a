#include "hushtrace/live/live_figures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double heard_change_db = 1.0;

/// In what order a state of one channel is told as that of all.
constexpr std::array by_weight = {ToneState::overloaded, ToneState::distorted, ToneState::moving,
                                  ToneState::unsure,     ToneState::clean,     ToneState::absent};

/// Zero without a sign: "-0.0" is no figure.
std::string fixed(double value, int decimals) {
    std::string text = fmt::format("{:.{}f}", value, decimals);
    if (text.find_first_not_of("-0.") == std::string::npos && text.starts_with('-')) text.erase(0, 1);
    return text;
}

}  // namespace

LiveFigure volts_figure(double volts) {
    if (!std::isfinite(volts)) return {"-", "V"};
    const double size = std::abs(volts);
    if (size >= 1e6) return {fmt::format("{:.3g}", volts), "V"};
    if (size >= 100) return {fixed(volts, 1), "V"};
    if (size >= 10) return {fixed(volts, 2), "V"};
    if (size >= 0.1) return {fixed(volts, 3), "V"};
    return size >= 0.001 ? LiveFigure{fixed(volts * 1e3, 1), "mV"} : LiveFigure{fixed(volts * 1e3, 3), "mV"};
}

LiveFigure decibel_figure(std::optional<double> level_db, std::string_view unit, int decimals) {
    if (!level_db || std::isnan(*level_db)) return {"-", std::string(unit)};
    if (std::isinf(*level_db)) return *level_db < 0 ? LiveFigure{"silent", ""} : LiveFigure{"-", std::string(unit)};
    if (std::abs(*level_db) >= 1000) return {fmt::format("{:.3g}", *level_db), std::string(unit)};
    return {fixed(*level_db, decimals), std::string(unit)};
}

LiveFigure level_figure(const LiveLevel& level) {
    return level.level_v ? volts_figure(*level.level_v) : decibel_figure(level.level_dbfs, "dBFS");
}

LiveFigure change_figure(std::optional<double> change_db) {
    LiveFigure figure = decibel_figure(change_db, "dB", 1);
    if (change_db && *change_db > 0 && figure.value != "-" && figure.value != "0.0") figure.value.insert(0, 1, '+');
    return figure;
}

std::string percent_text(std::optional<double> percent) {
    if (!percent || !std::isfinite(*percent)) return "-";
    const double size = std::abs(*percent);
    return fixed(*percent, size >= 10 ? 0 : size >= 1 ? 1 : size >= 0.1 ? 2 : 3) + " %";
}

std::string thd_words(const LiveLevel& level) {
    return level.tone == ToneState::absent ? "-" : percent_text(level.thd_percent);
}

std::string clock_text(double time_s) {
    if (!std::isfinite(time_s) || time_s < 0 || time_s > 1e9) return "-";
    const auto seconds = static_cast<long long>(time_s);
    const long long hours = seconds / 3600, minutes = seconds / 60 % 60;
    if (hours > 0) return fmt::format("{}:{:02}:{:02}", hours, minutes, seconds % 60);
    return fmt::format("{}:{:02}", minutes, seconds % 60);
}

std::string step_name(const LiveStep& step) {
    return step.volume ? fmt::format("volume {:g}", *step.volume) : fmt::format("step {}", step.number);
}

std::string_view tone_word(ToneState state) {
    switch (state) {
        case ToneState::absent: return "no tone";
        case ToneState::moving: return "turning";
        case ToneState::clean: return "clean";
        case ToneState::distorted: return "distorted";
        case ToneState::unsure: return "unsure";
        case ToneState::overloaded: break;
    }
    return "overload";
}

ToneState tone_of_all(const LiveSnapshot& snapshot) {
    for (const ToneState state : by_weight)
        if (std::any_of(snapshot.levels.begin(), snapshot.levels.end(),
                        [state](const LiveLevel& one) { return one.tone == state; }))
            return state;
    return ToneState::absent;
}

const LiveLevel* leading_level(const LiveSnapshot& snapshot) {
    const ToneState state = tone_of_all(snapshot);
    const LiveLevel* leading = nullptr;
    for (const LiveLevel& one : snapshot.levels)
        if (one.tone == state && (leading == nullptr || one.level_dbfs > leading->level_dbfs + 1.0)) leading = &one;
    return leading;
}

Followed followed(const LiveFollow& follow) {
    if (follow.looking || !follow.level_db || std::isnan(*follow.level_db)) return Followed::not_heard;
    if (!follow.change_db || std::isnan(*follow.change_db)) return follow.at_most ? Followed::hidden : Followed::not_started;
    const double least_db = std::max(heard_change_db, 2 * follow.change_sd_db.value_or(follow.sd_db.value_or(0.0)));
    if (*follow.change_db < -least_db) return Followed::quieter;
    if (follow.at_most) return Followed::hidden;
    return *follow.change_db > least_db ? Followed::louder : Followed::same;
}

std::string_view to_word(Followed verdict) {
    switch (verdict) {
        case Followed::not_heard: return "not_heard";
        case Followed::not_started: return "not_started";
        case Followed::hidden: return "hidden";
        case Followed::quieter: return "quieter";
        case Followed::same: return "same";
        case Followed::louder: break;
    }
    return "louder";
}

}  // namespace hushtrace
