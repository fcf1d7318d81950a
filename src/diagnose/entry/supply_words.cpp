#include "supply_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

namespace hushtrace {
namespace {

constexpr double kBends_db = 6.0;  // a decade: what a shield's own inductance, or the feed near its corner, bends a law by

bool fits(const Reading& slope, double law) {
    return slope.low() - kBends_db < law && slope.high() + kBends_db > law;
}

std::string joined(const std::vector<std::string>& parts) {
    std::string out;
    for (std::size_t i = 0; i < parts.size(); ++i) out += (i == 0 ? "" : i + 1 == parts.size() ? " or " : ", ") + parts[i];
    return out;
}

std::string ways_that_fit(const Reading& slope, const SlopeLaws& laws) {
    std::vector<std::string> fit;
    const auto add = [&](const char* name, double law) {
        if (fits(slope, law)) fit.push_back(fmt::format("{} ({:+.0f})", name, law));
    };
    add("a resistance that supply and signal share", laws.resistance);
    add("magnetic pick-up, or a shared inductance", laws.magnetic);
    add("capacitive pick-up, or ripple through a source whose supply rejection falls with frequency", laws.capacitive);
    return fit.empty() ? "No single way goes so: several together, or a part of the lines comes another way." : "That fits " + joined(fit) + ".";
}

double slope_through(const std::vector<std::pair<double, double>>& points) {
    double u = 0, v = 0, uu = 0, uv = 0;
    for (const auto& [x, y] : points) {
        u += x / static_cast<double>(points.size());
        v += y / static_cast<double>(points.size());
    }
    for (const auto& [x, y] : points) {
        uu += (x - u) * (x - u);
        uv += (x - u) * (y - v);
    }
    return uu > 0.0 ? uv / uu : 0.0;
}

std::string hertz(double f) {
    return f < 1000.0 ? fmt::format("{:.0f} Hz", f) : fmt::format("{:.1f} kHz", 1e-3 * f);
}

}  // namespace

bool is_flat(const Reading& slope) {
    return std::abs(slope.value) < 10.0 && fits(slope, 0.0) && slope.sd < 5.0;
}

SlopeLaws laws_of(const SupplyTransfer& one, const FeedImpedance* feed) {
    double of_z = 20.0;
    if (feed) {
        std::vector<std::pair<double, double>> z_db;
        for (const SupplyTransfer::Point& point : one.points) {
            const double omega = 2.0 * std::numbers::pi * point.frequency_hz;
            const double reactance = omega * feed->inductance_h.value - (feed->capacitance_f ? 1.0 / (omega * feed->capacitance_f->value) : 0.0);
            z_db.emplace_back(std::log10(point.frequency_hz), 20.0 * std::log10(std::hypot(feed->resistance_ohm.value, reactance)));
        }
        of_z = slope_through(z_db);
    }
    const bool current = one.against == Channel::supply_current;
    return {current ? 0.0 : -of_z, current ? 20.0 : 20.0 - of_z, current ? 20.0 + of_z : 20.0, feed != nullptr};
}

std::string words_of(const SupplyTransfer& one, const FeedImpedance* feed) {
    const bool current = one.against == Channel::supply_current;
    const char* what = current ? "current" : "voltage";
    std::string out;
    if (!one.slope_db_per_decade) {
        double most = 0;
        for (const SupplyTransfer::Point& point : one.points) most = std::max(most, point.coherence);
        out =
            fmt::format("Its lines go with the supply's {} (coherence {:.2f}), but lie too close together, or are too few, for a slope.", what, most);
    } else {
        const Reading& slope = *one.slope_db_per_decade;
        out = fmt::format("Over the supply's {} it goes by {:+.1f} dB a decade ({:+.1f} to {:+.1f} with 95 %), read from {} to {}.", what,
                          slope.value, slope.low(), slope.high(), hertz(one.points.front().frequency_hz), hertz(one.points.back().frequency_hz));
        out += " " + ways_that_fit(slope, laws_of(one, feed));
        if (one.decades < kFewDecades) out += " The lines span less than half a decade: rev the engine slowly through its range for more.";
        if (!feed) out += " The feed's impedance isn't known; it is taken for an inductance at these lines.";
        out += " A slope does not tell a ground loop from pick-up: tests do.";
    }
    if (one.shared_mohm)
        out += fmt::format(" Signal over current is {:.3g} milliohm (to {:.2g}) at {}: the impedance that the two share.", one.shared_mohm->value,
                           2.0 * one.shared_mohm->sd, hertz(one.shared_at_hz.value_or(0.0)));
    if (!one.calibrated) out += " Not calibrated: the ratio is that of sample values, its slope holds.";
    if (one.spoilt) out += " Not used: the probe itself changed the noise.";
    return out;
}

std::string words_of(const FeedImpedance& feed) {
    std::string out = fmt::format("Voltage over current is {:.3g} milliohm (to {:.2g}) and {:.3g} microhenry (to {:.2g}), alike at {}",
                                  1e3 * feed.resistance_ohm.value, 2e3 * feed.resistance_ohm.sd, 1e6 * feed.inductance_h.value,
                                  2e6 * feed.inductance_h.sd, hertz(feed.corner_hz.value));
    if (feed.capacitance_f)
        out += fmt::format(", behind them {:.2g} millifarad (to {:.1g}), the capacitors at the feed's end", 1e3 * feed.capacitance_f->value,
                           2e3 * feed.capacitance_f->sd);
    return out + fmt::format(
                     "; read from {} to {}. It is that of all that lies between the probe and the point to which the current returns: cable, fuses, "
                     "capacitors, ground.",
                     hertz(feed.from_hz), hertz(feed.to_hz));
}

}  // namespace hushtrace
