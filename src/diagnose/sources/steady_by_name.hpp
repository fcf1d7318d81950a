#pragma once
#include <optional>
#include <vector>

#include "hushtrace/vehicle/steady_signatures.hpp"
#include "steady_taken.hpp"

/// Combs whose rate is known beforehand.
namespace hushtrace {

// False alarms a take: 1 in 2000 for a comb that is looked for by name, beside those of single lines (still_spectrum).
inline constexpr double kNamedComb = 7.6;    // surprise
inline constexpr double kRestOfNamed = 6.9;  // of its other teeth, so that one chance line makes no comb

void look_for_mains(const SteadySearch& search, const Job& job, Taken& taken, std::vector<SteadyComb>& found);

/// The mains whose rate a comb keeps so well that it is theirs though too faint to be found by name: pulses or clicks at just
/// that rate are rare.
std::optional<double> mains_rate_of(const LineComb& comb, const Job& job);

/// The channel whose frames stand out most speaks for the times; the others' powers are read at the same teeth.
void look_for_phone(const SteadySearch& search, Taken& taken, std::vector<SteadyComb>& found);

/// The bus at whose very rate, or twice or three times that, a line stands that nothing joins.
struct BusLine {
    const BusFrames* bus = nullptr;
    int number = 1;
};
std::optional<BusLine> bus_of_line(double frequency_hz);

/// The clearest first: what is left of its lines for another is little.
void look_for_buses(const SteadySearch& search, Taken& taken, std::vector<SteadyComb>& found);

}  // namespace hushtrace
