#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "hushtrace/report/entry_picture.hpp"
#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

using Dot = SupplyTransfer::Point;

/// How the ratio goes with frequency if the noise comes in so. Against the voltage of a feed that is inductive (from a few hundred Hz
/// up: the current falls 20 dB a decade at constant voltage), or against the current itself. What a capacitance carries follows the
/// voltage: against the current it has no law of its own.
struct Law {
    const char* name = nullptr;
    const char* letter = nullptr;
    std::optional<double> against_voltage, against_current;  ///< dB a decade
};
constexpr std::array<Law, 3> kLaws = {
    {{"shared resistance", "R", -20.0, 0.0}, {"magnetic", "M", 0.0, 20.0}, {"capacitive", "C", 20.0, std::nullopt}}};
constexpr std::array<const char*, 3> kStyles = {"guide r", "guide m", "guide c"};

bool by_current(const SupplyTransfer& transfer) { return transfer.against == Channel::supply_current; }

std::vector<Dot> drawn_points(const SupplyTransfer& transfer) {
    std::vector<Dot> out;
    for (const Dot& one : transfer.points)
        if (std::isfinite(one.frequency_hz) && one.frequency_hz > 0.0 && std::isfinite(one.ratio_db.value)) out.push_back(one);
    std::stable_sort(out.begin(), out.end(), [](const Dot& a, const Dot& b) { return a.frequency_hz < b.frequency_hz; });
    return out;
}

double spread_of(const Dot& one) { return std::isfinite(one.ratio_db.sd) && one.ratio_db.sd > 0.0 ? one.ratio_db.sd : 0.0; }

/// The points' middle, each weighed by its uncertainty: lines are drawn through it.
std::pair<double, double> middle_of(const std::vector<Dot>& points) {
    double weights = 0, log_hz = 0, level = 0;
    for (const Dot& one : points) {
        const double weight = 1.0 / (0.25 + spread_of(one) * spread_of(one));
        weights += weight;
        log_hz += weight * std::log10(one.frequency_hz);
        level += weight * one.ratio_db.value;
    }
    return {log_hz / weights, level / weights};
}

bool has_slope(const SupplyTransfer& transfer) { return transfer.slope_db_per_decade && std::isfinite(transfer.slope_db_per_decade->value); }

std::string slope_words(const SupplyTransfer& transfer) {
    const Reading& slope = *transfer.slope_db_per_decade;
    return std::isfinite(slope.sd) && slope.sd > 0.0 ? fmt::format("slope {:+.0f} ±{:.0f} dB a decade", slope.value, 2.0 * slope.sd)
                                                     : fmt::format("slope {:+.0f} dB a decade", slope.value);
}

std::string law_words(const Law& law, bool current) {
    const auto& slope = current ? law.against_current : law.against_voltage;
    if (!slope) return fmt::format("{}: follows the voltage", law.name);
    return *slope == 0.0 ? fmt::format("{}: flat", law.name) : fmt::format("{}: {:+.0f} dB a decade", law.name, *slope);
}

/// Moves places apart until they stand `least` from each other, in their order.
void spread_apart(std::vector<std::pair<double, std::size_t>>& places, double least, double top, double bottom) {
    std::sort(places.begin(), places.end());
    for (std::size_t i = 1; i < places.size(); ++i) places[i].first = std::max(places[i].first, places[i - 1].first + least);
    if (!places.empty()) places.back().first = std::min(places.back().first, bottom);
    for (std::size_t i = places.size(); i-- > 1;) places[i - 1].first = std::min(places[i - 1].first, places[i].first - least);
    for (auto& one : places) one.first = std::max(one.first, top);
}

}  // namespace

bool has_transfer(const SupplyTransfer& transfer) { return !drawn_points(transfer).empty(); }

std::string transfer_svg(const SupplyTransfer& transfer, PictureSize size, const std::string& id, const std::string& title) {
    const bool wide = size == PictureSize::wide, current = by_current(transfer);
    const std::vector<Dot> points = drawn_points(transfer);
    double from_hz = points.front().frequency_hz / 1.25, to_hz = points.back().frequency_hz * 1.25, low = 1e9, high = -1e9;
    to_hz = std::max(to_hz, from_hz + 10.0);
    if (to_hz < 4.0 * from_hz) {  // a decade's third at the least, so that slopes can be told
        const double widen = std::sqrt(4.0 * from_hz / to_hz);
        from_hz /= widen, to_hz *= widen;
    }
    for (const Dot& one : points) {
        const double reach = std::min(2.0 * spread_of(one), 40.0);
        low = std::min(low, one.ratio_db.value - reach - 2.0), high = std::max(high, one.ratio_db.value + reach + 2.0);
    }
    const auto middle_and_level = middle_of(points);
    const double middle = middle_and_level.first, level = middle_and_level.second;
    const double steepest = std::max(20.0, has_slope(transfer) ? std::min(60.0, std::abs(transfer.slope_db_per_decade->value)) : 0.0);
    const double half = std::max(10.0, steepest * std::max(std::log10(to_hz) - middle, middle - std::log10(from_hz)));
    low = 10.0 * std::floor(std::min(low, level - half) / 10.0), high = 10.0 * std::ceil(std::max(high, level + half) / 10.0);

    const double key_row = 19, font = wide ? 13 : 12;
    const double key_px = key_row * (wide ? 2.0 : 4.0) + 10;
    const svg::Frame frame = wide ? svg::Frame{900, 352 + key_px, 62, 862, 10 + key_px, 306 + key_px, font}
                                  : svg::Frame{372, 300 + key_px, 50, 340, 8 + key_px, 256 + key_px, font};
    const Scale x{from_hz, to_hz, frame.left, frame.right, true}, y{low, high, frame.bottom, frame.top, false};
    std::string told = "Signal over supply against frequency.";
    for (const std::string& one : transfer_words(transfer)) told += " " + one;
    std::string out = svg::open(frame, id, title, told);
    out += svg::x_axis(frame, x, thinned(frequency_ticks(from_hz, to_hz), x, 2.6 * font), "frequency, Hz");
    out += svg::y_axis(frame, y, even_ticks(low, high, wide ? 9 : 7), current ? "dB re 1 V/A" : "dB re 1 V/V");

    const auto line_of = [&](double slope, const char* style) {
        const auto at = [&](double hz) { return y.at(level + slope * (std::log10(hz) - middle)); };
        return svg::line(frame.left, at(from_hz), frame.right, at(to_hz), style);
    };
    std::vector<std::pair<double, std::size_t>> letters;
    for (std::size_t i = 0; i < kLaws.size(); ++i) {
        const auto& slope = current ? kLaws[i].against_current : kLaws[i].against_voltage;
        if (!slope) continue;
        out += line_of(*slope, kStyles[i]);
        letters.emplace_back(y.at(level + *slope * (std::log10(to_hz) - middle)), i);
    }
    spread_apart(letters, font + 2, frame.top + font / 2, frame.bottom - font / 2);
    for (const auto& [at, i] : letters) out += svg::text(frame.right + 6, at + 0.35 * font, "start", kLaws[i].letter, "label");
    if (has_slope(transfer)) out += line_of(transfer.slope_db_per_decade->value, "fit");
    out += "\n";
    for (const Dot& one : points) {
        const double px = x.at(one.frequency_hz), reach = 2.0 * spread_of(one);
        if (reach > 0.0) {
            out += svg::line(px, y.at(one.ratio_db.value - reach), px, y.at(one.ratio_db.value + reach), "error");
            for (const double end : {-reach, reach})
                out += svg::line(px - 4, y.at(one.ratio_db.value + end), px + 4, y.at(one.ratio_db.value + end), "error");
        }
        out += svg::shape(0, px, y.at(one.ratio_db.value), 4.5, one.coherence < 0.5 ? "mark hollow" : "mark");
    }
    out += "\n";
    // the key: the fit, then the laws
    const auto key = [&](double left, double row, const char* style, const std::string& words, const char* css) {
        const double base = key_row * row + font + 3;
        out += svg::line(left, base - 4, left + 26, base - 4, style) + svg::text(left + 33, base, "start", words, css);
    };
    key(frame.left, 0, has_slope(transfer) ? "fit" : "grid", has_slope(transfer) ? slope_words(transfer) : "no slope could be fitted", "label");
    double left = frame.left;
    for (std::size_t i = 0; i < kLaws.size(); ++i) {
        const bool drawn = (current ? kLaws[i].against_current : kLaws[i].against_voltage).has_value();
        const std::string words = (drawn ? std::string(kLaws[i].letter) + "  " : "") + law_words(kLaws[i], current);
        key(left, wide ? 1.0 : static_cast<double>(i + 1), drawn ? kStyles[i] : "grid", words, "tick");
        if (wide) left += 33 + text_width_px(display_width(words), font) + 8;
    }
    return out + "\n" + svg::close();
}

std::vector<std::string> transfer_words(const SupplyTransfer& transfer) {
    std::vector<std::string> out;
    if (has_slope(transfer)) out.push_back("The points have a " + slope_words(transfer) + ".");
    std::string laws;
    for (const Law& law : kLaws) laws += (laws.empty() ? "" : "; ") + law_words(law, by_current(transfer));
    out.push_back(fmt::format("Expected against the supply's {}: {}.", by_current(transfer) ? "current" : "voltage, its feed inductive", laws));
    if (transfer.spoilt) out.emplace_back("The probe itself changes the noise: these points are not the vehicle's own.");
    if (!transfer.text.empty()) out.push_back(clean_text(transfer.text));
    for (const Dot& one : drawn_points(transfer))
        out.push_back(fmt::format("{}: {:.1f} ±{:.1f} dB, coherence {:.2f}.", frequency_text(one.frequency_hz), one.ratio_db.value,
                                  2.0 * spread_of(one), std::isfinite(one.coherence) ? one.coherence : 0.0));
    return out;
}

}  // namespace hushtrace
