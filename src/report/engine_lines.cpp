#include "engine_lines.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

/// Digits after the point with which an uncertainty shows one or two figures.
int places_of(double spread) {
    if (!(spread > 0.0)) return 2;
    return std::clamp(static_cast<int>(std::ceil(-std::log10(spread / 0.95))), 0, 4);
}
std::string with_spread(double value, double spread) {
    const int places = places_of(spread);
    return fmt::format("{:.{}f} ±{:.{}f}", value, places, spread, places);
}

std::string speed_from_text(const std::string& from) {
    if (from == "log") return "by its log";
    if (from == "firing") return "by the ignition's rate";
    if (from == "typed") return "as stated, with what the other takes say";
    if (from == "told") return "by its whine and the alternator as told";
    return "by its whine";
}
std::string constant_from_text(const std::string& from) {
    if (from == "log") return "by the engine speed log";
    if (from == "firing") return "by the ignition's rate";
    if (from == "typed") return "by the stated speeds";
    return "as the alternator was told";
}

}  // namespace

std::string order_text(const NoiseSource& source) {
    const double order = source.engine_order.value_or(0.0);
    if (!source.engine_order_sd) return fmt::format("{:.4g} lines per crankshaft turn", order);
    return with_spread(order, 2.0 * *source.engine_order_sd) + " lines per crankshaft turn";
}

void tell_engine(Lines& lines, const EngineFindings& engine) {
    const auto told = [](const EngineInTake& one) { return one.rpm.has_value(); };
    if (std::none_of(engine.takes.begin(), engine.takes.end(), told)) return;
    lines.title("Engine");
    for (const EngineInTake& one : engine.takes) {
        if (!told(one)) continue;
        std::string text = fmt::format("{}: {} rpm, {}", one.take,
                                       with_spread(*one.rpm, std::max(1.0, 2.0 * one.rpm_sd.value_or(0.0))),
                                       speed_from_text(one.rpm_from));
        if (one.typed_rpm && one.rpm_from != "typed") text += fmt::format("; {:.0f} were stated", *one.typed_rpm);
        if (one.log_lag_s && std::abs(*one.log_lag_s) >= 0.1)
            text += fmt::format("; the log's clock is {:.1f} s {}", std::abs(*one.log_lag_s),
                                *one.log_lag_s > 0 ? "late" : "early");
        lines.add(text, 0, "- ");
    }
    if (!engine.hz_per_rpm) return;
    lines.add(fmt::format("The alternator whines at {} Hz per rpm, {}. {}",
                          with_spread(*engine.hz_per_rpm, 2.0 * *engine.hz_per_rpm_sd),
                          constant_from_text(engine.from), engine.fits_text));
}

}  // namespace hushtrace
