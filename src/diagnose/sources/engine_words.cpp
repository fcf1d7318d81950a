#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "engine_view.hpp"

namespace hushtrace {

void set_engine_order(NoiseSource& source, const EngineFindings& engine) {
    const LevelInTake* level = loudest_level(source);
    if (!level || !source.frequency_hz) return;
    const auto take = std::find_if(engine.takes.begin(), engine.takes.end(),
                                   [&](const EngineInTake& one) { return one.take == level->take; });
    source.engine_order.reset();
    source.engine_order_sd.reset();
    if (take == engine.takes.end() || !take->rpm) return;
    source.engine_order = *source.frequency_hz / (*take->rpm / 60.0);
    // where the speed comes from this very line, the order is the constant's and no surer than it
    const bool own =
        source.kind == NoiseKind::alternator_whine && take->rpm_from != "log" && take->rpm_from != "firing";
    const double share =
        own && engine.hz_per_rpm ? *engine.hz_per_rpm_sd / *engine.hz_per_rpm : *take->rpm_sd / *take->rpm;
    source.engine_order_sd = *source.engine_order * std::hypot(share, 0.0005);
}

void fit_pulleys(EngineFindings& findings, const AlternatorData& told) {
    if (!findings.hz_per_rpm) return;
    const double k = *findings.hz_per_rpm, sd = *findings.hz_per_rpm_sd;
    for (const PulleyGuess& guess : pulleys_for(k, sd, findings.sets.value_or(1)))
        findings.fits.push_back({guess.pole_pairs, guess.pulley_ratio, guess.pulley_ratio_sd, guess.usual});
    if (told.pole_pairs)
        std::stable_partition(findings.fits.begin(), findings.fits.end(),
                              [&](const PulleyFit& fit) { return fit.pole_pairs == *told.pole_pairs; });
    std::string& text = findings.fits_text;
    if (findings.fits.empty()) {
        text =
            "No alternator with 5 to 9 pole pairs and a pulley ratio of 1.8 to 3.6 makes that: the line may be "
            "another "
            "one of its lines, the speed may be wrong, or it is no alternator.";
    } else {
        const char* word = findings.sets == 2 ? " (two sets of windings)" : "";
        std::string list;
        for (std::size_t i = 0; i < std::min<std::size_t>(4, findings.fits.size()); ++i)
            list += fmt::format("{}{} pole pairs with a pulley ratio of {:.2f}", i > 0 ? ", " : "",
                                findings.fits[i].pole_pairs, findings.fits[i].pulley_ratio);
        text = fmt::format("That would be {}{}.", list, word);
    }
    if (!told.pole_pairs || !told.pulley_ratio) return;
    const double one_set = whine_hz_per_rpm(*told.pole_pairs, *told.pulley_ratio), reach = 0.02 + 2.0 * sd / k;
    if (std::abs(k / one_set - 1.0) < reach)
        text += " It agrees with the alternator as told.";
    else if (std::abs(k / (2.0 * one_set) - 1.0) < reach)
        text += " It is twice what the alternator as told gives: two sets of windings.";
    else
        text += fmt::format(
            " The alternator as told ({:g} pole pairs, ratio {:g}) would give {:.3f} Hz per rpm: one of the two is "
            "wrong.",
            *told.pole_pairs, *told.pulley_ratio, one_set);
}

}  // namespace hushtrace
