#pragma once
#include <vector>

#include "steady_parts.hpp"

/// What of a take's spectrum is explained already, while its still lines are looked for one after the other.
namespace hushtrace {

/// The strongest bin within reach of a frequency, over the channels: density.
double power_at(const TakeSurvey& survey, double frequency_hz, double reach_hz);

/// Lines that are explained, and combs whose every multiple is.
struct Taken {
    struct Comb {
        double spacing_hz, spacing_sd_hz, most_mean_square;
    };
    std::vector<double> lines_hz;
    std::vector<Comb> combs;

    bool holds(const TakeSurvey& survey, double frequency_hz) const;
};

/// The search of a take; it refers to all three.
SteadySearch search_of(const TakeSurvey& survey, const SpokenFor& spoken, const Taken& taken);

/// A comb's teeth; its further multiples too, up to its own strength, though too weak or too high to have been looked for.
void take_in(const LineComb& comb, Taken& taken);

}  // namespace hushtrace
