#include "at_ear.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

bool above_zero(const std::optional<double>& value) { return value && std::isfinite(*value) && *value > 0; }

}  // namespace

std::optional<double> at_ear_db_spl(const Job& job, const AmplifierData& amplifier, double output_dbv) {
    std::optional<double> loudest;
    for (const SpeakerData& speaker : job.speakers) {
        if (speaker.amplifier != amplifier.name || !speaker.sensitivity_db_2v83_1m) continue;
        const double distance_m = above_zero(speaker.distance_m) ? *speaker.distance_m : 1.0;
        const double spl = *speaker.sensitivity_db_2v83_1m + output_dbv - decibels_from_amplitude(2.83) -
                           decibels_from_amplitude(distance_m);
        loudest = std::max(spl, loudest.value_or(spl));
    }
    return loudest;
}

std::optional<double> full_output_v(const AmplifierData& amplifier) {
    if (!above_zero(amplifier.power_w) || !above_zero(amplifier.load_ohm)) return std::nullopt;
    return std::sqrt(*amplifier.power_w * *amplifier.load_ohm);
}

}  // namespace hushtrace
