#include "noise_pictures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

TakePicture picture_of(const TakeSurvey& survey, std::size_t channel,
                       const std::vector<NoiseSource>& sources) {
    const ChannelSurvey& from = survey.channels[channel];
    TakePicture picture;
    picture.take = survey.take->file;
    picture.channel = from.channel;
    picture.volts_full_scale = from.volts_full_scale;
    picture.bin_hz = from.spectrum.bin_hz();
    picture.line_dbfs.resize(from.spectrum.density.size());
    for (std::size_t k = 0; k < picture.line_dbfs.size(); ++k)
        picture.line_dbfs[k] =
            static_cast<float>(dbfs_from_mean_square(std::max(from.spectrum.tone_mean_square(k), 1e-20)));
    picture.column_s = from.column_s;
    picture.spectrogram_bin_hz = from.spectrogram_bin_hz;
    picture.spectrogram_dbfs = from.spectrogram_dbfs;
    if (!survey.families.empty()) {
        const Track& track = survey.families.front().ridge.track;
        for (std::size_t i = 0; i < track.time_s.size(); ++i)
            picture.track.emplace_back(track.time_s[i], track.frequency_hz[i]);
    }
    const auto loudest_near = [&](double frequency_hz, double reach_hz) {
        float best = -200;
        const std::size_t low = from.spectrum.bin_of(frequency_hz - reach_hz),
                          high = from.spectrum.bin_of(frequency_hz + reach_hz);
        for (std::size_t k = low; k <= high; ++k) best = std::max(best, picture.line_dbfs[k]);
        return static_cast<double>(best);
    };
    for (const NoiseSource& source : sources) {
        const bool here =
            std::any_of(source.levels.begin(), source.levels.end(), [&](const LevelInTake& level) {
                return level.take == picture.take && level.channel == picture.channel;
            });
        // clicks and hiss are no lines of a spectrum
        if (!here || !source.frequency_hz || source.kind == NoiseKind::hiss ||
            source.kind == NoiseKind::ignition_tick || source.kind == NoiseKind::periodic_tick)
            continue;
        double frequency_hz = *source.frequency_hz, reach_hz = std::max(2.0, 0.002 * frequency_hz);
        if (source.kind == NoiseKind::alternator_whine && !survey.families.empty()) {
            // the engine turned at another speed in this take: the nearest of its moving lines
            double nearest = 1e9;
            for (const OrderLine& line : survey.families.front().lines) {
                const double f = line.ratio * survey.families.front().mean_hz;
                double power = 0;
                for (const double p : line.mean_square) power += p;
                if (power > 0 && std::abs(std::log(f / *source.frequency_hz)) < nearest) {
                    nearest = std::abs(std::log(f / *source.frequency_hz));
                    frequency_hz = f;
                }
            }
            reach_hz = std::max(5.0, 2.5 * survey.families.front().wander * frequency_hz);
        } else if (source.kind == NoiseKind::mains_hum && !source.harmonics.empty()) {
            double best = -999;
            for (const Harmonic& harmonic : source.harmonics)
                if (harmonic.level_dbfs > best) {
                    best = harmonic.level_dbfs;
                    frequency_hz = harmonic.frequency_hz;
                }
        }
        picture.lines.push_back({frequency_hz, loudest_near(frequency_hz, reach_hz), source.id,
                                 fmt::format("{}, {:.0f} Hz", plain_name(source.kind), frequency_hz)});
    }
    return picture;
}

}  // namespace hushtrace
