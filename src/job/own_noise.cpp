#include <fmt/format.h>

#include <cmath>

#include "hushtrace/job/calibration.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/measure/quasi_peak.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"

namespace hushtrace {
namespace {

constexpr double kShortest_s = 2;
constexpr double kHighFloor_dbv = -60;  // trade habit: interfaces lie at -90 to -115 dBV with shorted inputs

[[noreturn]] void refuse(const Take& take, const std::string& why) {
    throw Error(ErrorKind::invalid_input, fmt::format("{}: {}", take.file, why));
}

}  // namespace

OwnNoise read_own_noise(BlockReader& sound, const Take& take, const Job& job) {
    if (!take.conditions.has(Hookup::inputs_shorted))
        refuse(take, "is no take with the Y lead's inputs shorted (hookup inputs_shorted)");
    for (const TakeFault fault : {TakeFault::overload, TakeFault::dropout})
        if (take.has(fault)) refuse(take, fmt::format("is marked '{}'; make another take", to_word(fault)));
    const std::size_t channels = sound.channels();
    if (channels != take.channels.size())
        refuse(take,
               fmt::format("the job names {} channels, the file has {}", take.channels.size(), channels));
    const auto& scale = job.interface.volts_full_scale;
    bool calibrated = false;
    for (std::size_t c = 0; c < channels; ++c) calibrated = calibrated || (c < scale.size() && scale[c]);
    if (!calibrated)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("{}: volts come first; calibrate with a tone and a meter, then "
                                "read the floor",
                                take.file));

    const double rate_hz = sound.sample_rate_hz();
    const auto segment =
        static_cast<std::size_t>(std::exp2(std::round(std::log2(rate_hz / 3))));  // bins of some 3 Hz
    std::vector<SpectrumAccumulator> spectra;
    std::vector<QuasiPeakMeter> meters;
    for (std::size_t c = 0; c < channels; ++c) {
        spectra.emplace_back(rate_hz, segment);
        meters.emplace_back(rate_hz);
    }
    Block block;
    std::uint64_t frames = 0;
    std::vector<bool> silent(channels, true);
    while (const std::size_t got = sound.read(block, 1 << 15)) {
        frames += got;
        for (std::size_t c = 0; c < channels; ++c) {
            spectra[c].add(block.channel(c));
            meters[c].add(block.channel(c));
            for (const double sample : block.channel(c)) {
                if (sample != 0) silent[c] = false;
                if (std::abs(sample) >= 0.999)
                    refuse(take, "is overloaded, so the inputs can't have been shorted");
            }
        }
    }
    const double duration_s = static_cast<double>(frames) / rate_hz;
    if (duration_s < kShortest_s)
        refuse(take, fmt::format("{:.1f} s of sound; the floor needs {} s or more", duration_s, kShortest_s));

    OwnNoise found;
    for (std::size_t c = 0; c < channels; ++c) {
        if (silent[c])
            refuse(take, fmt::format("the {} channel is digital silence: nothing came from the interface",
                                     to_word(take.channels[c])));
        const NoiseFloor floor = noise_floor(spectra[c].result());
        found.level_dbfs.push_back(as_level_dbfs(floor.all.unweighted));
        const bool known = c < scale.size() && scale[c];
        const auto in_volts = [&](double mean_square) -> std::optional<double> {
            if (!known || !(mean_square > 0)) return std::nullopt;
            return dbv_from_dbfs(dbfs_from_mean_square(mean_square), *scale[c]);
        };
        const auto needle = meters[c].mean();
        found.floors.own_noise_dbv.push_back(in_volts(floor.all.unweighted.value));
        found.floors.own_noise_a_dbv.push_back(in_volts(floor.all.a_weighted.value));
        found.floors.own_noise_c_dbv.push_back(in_volts(floor.all.c_weighted.value));
        found.floors.own_noise_itu468_dbv.push_back(in_volts(floor.all.itu468.value));
        found.floors.own_noise_itu468_quasi_peak_dbv.push_back(
            needle ? in_volts(needle->value * needle->value) : std::nullopt);
        if (found.floors.own_noise_dbv.back().value_or(kHighFloor_dbv) > kHighFloor_dbv)
            found.warnings.push_back(
                {"floor_high",
                 fmt::format("{:.0f} dBV in the {} channel is much for shorted inputs: check the plug, and "
                             "that no input is open",
                             *found.floors.own_noise_dbv.back(), to_word(take.channels[c])),
                 take.file});
    }
    return found;
}

}  // namespace hushtrace
