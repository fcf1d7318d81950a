#include "hushtrace/report/axis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

namespace hushtrace {
namespace {

bool between(double value, double from, double to) {
    const double slack = 1e-9 * std::max(std::fabs(from), std::fabs(to));
    return value >= from - slack && value <= to + slack;
}

}  // namespace

double Scale::at(double value) const {
    const double held = std::clamp(value, std::min(from, to), std::max(from, to));
    const double share =
        logarithmic ? std::log(held / from) / std::log(to / from) : (held - from) / (to - from);
    return px_from + share * (px_to - px_from);
}

std::vector<Tick> frequency_ticks(double from_hz, double to_hz) {
    std::vector<Tick> ticks;
    for (double decade = std::pow(10.0, std::floor(std::log10(from_hz))); decade <= to_hz; decade *= 10.0)
        for (const double step : {1.0, 2.0, 5.0}) {
            const double value = decade * step;
            if (!between(value, from_hz, to_hz)) continue;
            ticks.push_back(
                {value, value < 1000.0 ? fmt::format("{:g}", value) : fmt::format("{:g}k", value / 1000.0)});
        }
    return ticks;
}

std::vector<Tick> decade_ticks(double from, double to) {
    std::vector<Tick> ticks;
    for (double power = std::floor(std::log10(from)); power <= std::ceil(std::log10(to)); power += 1.0) {
        const double value = std::pow(10.0, power);
        if (between(value, from, to)) ticks.push_back({value, fmt::format("{:g}", value)});
    }
    return ticks;
}

std::vector<Tick> even_ticks(double from, double to, std::size_t most) {
    const double room = static_cast<double>(std::max<std::size_t>(most, 2) - 1);
    const double coarse = std::pow(10.0, std::floor(std::log10((to - from) / room)));
    double step = 10.0 * coarse;
    for (const double factor : {1.0, 2.0, 5.0})
        if ((to - from) / (factor * coarse) <= room) {
            step = factor * coarse;
            break;
        }
    std::vector<Tick> ticks;
    for (double number = std::ceil(from / step - 1e-9); number * step <= to + 1e-9 * step; number += 1.0)
        ticks.push_back({number * step, fmt::format("{:.10g}", number * step + 0.0)});
    return ticks;
}

std::vector<Tick> thinned(std::vector<Tick> ticks, const Scale& scale, double least_px) {
    std::optional<double> last_px;
    for (Tick& tick : ticks) {
        const double px = scale.at(tick.value);
        if (last_px && std::fabs(px - *last_px) < least_px)
            tick.label.clear();
        else
            last_px = px;
    }
    return ticks;
}

}  // namespace hushtrace
