#include "supply_words.hpp"

#include <fmt/format.h>

#include <cmath>

namespace hushtrace {
namespace {

constexpr double kBends_db = 6.0;   // a decade: what a shield's own inductance, or the feed near its corner, bends a law by

bool fits(const Reading& slope, double law) { return slope.low() - kBends_db < law && slope.high() + kBends_db > law; }

std::string joined(const std::vector<std::string>& parts) {
    std::string out;
    for (std::size_t i = 0; i < parts.size(); ++i) out += (i == 0 ? "" : i + 1 == parts.size() ? " or " : ", ") + parts[i];
    return out;
}

std::string laws_against_current(const Reading& slope) {
    std::vector<std::string> fit;
    if (fits(slope, 0.0)) fit.emplace_back("a resistance that supply and signal share (flat)");
    if (fits(slope, 20.0)) fit.emplace_back("magnetic pick-up or a shared inductance (rises by 20)");
    if (fits(slope, 40.0)) fit.emplace_back("capacitive pick-up beside an inductive feed (rises by 40)");
    return fit.empty() ? "No single way has such a slope: several together, or a part of the lines comes another way." : "That fits " + joined(fit) + ".";
}

std::string laws_against_voltage(const Reading& slope, bool below_corner) {
    std::vector<std::string> fit;
    if (fits(slope, -20.0) && !below_corner) fit.emplace_back("a shared resistance behind an inductive feed (falls by 20)");
    if (fits(slope, 0.0)) fit.emplace_back(below_corner ? "a shared resistance (flat below the feed's corner)" : "magnetic pick-up or a shared inductance (flat), or a shared resistance near the feed's corner");
    if (fits(slope, 20.0)) fit.emplace_back(below_corner ? "capacitive pick-up, or magnetic pick-up below the feed's corner (rises by 20)" : "capacitive pick-up (rises by 20)");
    return fit.empty() ? "No single way has such a slope: several together, or a part of the lines comes another way." : "That fits " + joined(fit) + ".";
}

std::string hertz(double f) { return f < 1000.0 ? fmt::format("{:.0f} Hz", f) : fmt::format("{:.1f} kHz", 1e-3 * f); }

}  // namespace

bool is_flat(const Reading& slope) { return std::abs(slope.value) < 10.0 && fits(slope, 0.0) && slope.sd < 5.0; }

std::string words_of(const SupplyTransfer& one, std::optional<double> corner_hz) {
    const bool current = one.against == Channel::supply_current;
    const std::string what = current ? "current" : "voltage";
    std::string out;
    if (!one.slope_db_per_decade) {
        out = fmt::format("Its lines go with the supply's {} ({} of {} in common at best), but lie too close together, or are too few, for a slope.", what,
                          fmt::format("{:.2f}", [&] { double most = 0; for (const auto& p : one.points) most = std::max(most, p.coherence); return most; }()), "1");
    } else {
        const Reading& slope = *one.slope_db_per_decade;
        const double low_hz = one.points.front().frequency_hz, high_hz = one.points.back().frequency_hz;
        out = fmt::format("Over the supply's {} it goes by {:+.0f} dB a decade ({:+.0f} to {:+.0f} with 95 %), read from {} to {}.", what, slope.value, slope.low(),
                          slope.high(), hertz(low_hz), hertz(high_hz));
        const bool below = corner_hz && std::sqrt(low_hz * high_hz) < *corner_hz;
        out += " " + (current ? laws_against_current(slope) : laws_against_voltage(slope, below));
        if (one.decades < kFewDecades) out += " The lines span less than half a decade: rev the engine slowly through its range for more.";
        if (!current && !corner_hz) out += " The feed's corner isn't known; it is taken to lie below these lines.";
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
    std::string out = fmt::format("Voltage over current is {:.3g} milliohm (to {:.2g}) and {:.3g} microhenry (to {:.2g}), alike at {}", 1e3 * feed.resistance_ohm.value,
                                  2e3 * feed.resistance_ohm.sd, 1e6 * feed.inductance_h.value, 2e6 * feed.inductance_h.sd, hertz(feed.corner_hz.value));
    if (feed.capacitance_f)
        out += fmt::format(", behind them {:.2g} millifarad (to {:.1g}), the capacitors at the feed's end", 1e3 * feed.capacitance_f->value, 2e3 * feed.capacitance_f->sd);
    return out + fmt::format("; read from {} to {}. It is that of all that lies between the probe and the point to which the current returns: cable, fuses, "
                             "capacitors, ground.", hertz(feed.from_hz), hertz(feed.to_hz));
}

}  // namespace hushtrace
