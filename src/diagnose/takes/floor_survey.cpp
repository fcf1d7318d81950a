#include <algorithm>
#include <cmath>

#include "line_level.hpp"
#include "take_survey.hpp"

namespace hushtrace {
namespace {

/// Where the lines of a moving family went while they moved, in one channel.
std::vector<SpectralLine> swept_bands(const MovingFamily& family, const PowerSpectrum& spectrum) {
    const auto& track = family.ridge.track.frequency_hz;
    if (track.empty()) return {};
    const auto [slowest, fastest] = std::minmax_element(track.begin(), track.end());
    std::vector<SpectralLine> bands;
    for (const OrderLine& line : family.lines) {
        SpectralLine band;
        band.low_hz = std::max(0.0, *slowest * line.ratio - 3.0 * spectrum.bin_hz());
        band.high_hz = std::min(*fastest * line.ratio + 3.0 * spectrum.bin_hz(), 0.5 * spectrum.sample_rate_hz);
        if (band.low_hz < band.high_hz) bands.push_back(band);
    }
    return bands;
}

bool overlap(const SpectralLine& line, const std::vector<SpectralLine>& bands) {
    return std::any_of(bands.begin(), bands.end(), [&line](const SpectralLine& band) {
        return line.low_hz <= band.high_hz && line.high_hz >= band.low_hz;
    });
}

/// A moving line's level along its track, with what its beating with the noise leaves open.
Reading moving_level(double mean_square, double density, const PowerSpectrum& spectrum) {
    const double bins_hz = 7.0 * spectrum.bin_hz();  // as many as the spectrum over cycles was read in
    const double variance = density * (density * bins_hz + 2.0 * mean_square);
    return limited_by_noise(
        {mean_square, std::sqrt(variance / std::max(spectrum.effective_duration_s, 0.5 / spectrum.bin_hz())), {}});
}

/// What tracking leaves beside a line of the same family, 30 dB and more below it, is no tone.
bool is_skirt(const OrderLine& line, const MovingFamily& family, std::size_t channel) {
    return std::any_of(family.lines.begin(), family.lines.end(), [&](const OrderLine& other) {
        return channel < other.mean_square.size() && std::abs(other.ratio - line.ratio) < 0.03 * line.ratio &&
               other.mean_square[channel] > 1000.0 * line.mean_square[channel];
    });
}

}  // namespace

void read_floor(TakeSurvey& survey, std::size_t channel) {
    ChannelSurvey& c = survey.channels[channel];
    const PowerSpectrum& spectrum = c.spectrum;
    // under a band that a tone swept, the narrow median is half the tone: the noise of a wide stretch stands there
    const std::vector<double> wide = noise_under_lines(spectrum, 120.0, 0.3);
    std::vector<double> under = c.floor_density;
    std::vector<SpectralLine> out_of_the_way = c.lines, bands;
    for (const MovingFamily& family : survey.families)
        for (const SpectralLine& band : swept_bands(family, spectrum)) {
            for (std::size_t k = spectrum.bin_of(band.low_hz); k <= spectrum.bin_of(band.high_hz); ++k)
                under[k] = std::min(under[k], wide[k]);
            bands.push_back(band);
        }
    out_of_the_way.insert(out_of_the_way.end(), bands.begin(), bands.end());
    c.floor = noise_floor(spectrum, under, out_of_the_way);
    if (c.silent) return;
    for (const SpectralLine& line : c.lines)
        if (!overlap(line, bands))
            c.tones.push_back({line.frequency_hz, line.frequency_sd_hz,
                               limited_by_noise({line.mean_square, line.mean_square_sd, {}}), false});
    for (const MovingFamily& family : survey.families)
        for (const OrderLine& line : family.lines) {
            if (channel >= line.mean_square.size() || is_skirt(line, family, channel)) continue;
            const double frequency_hz = line.ratio * family.mean_hz;
            const Reading level =
                moving_level(line.mean_square[channel], under[spectrum.bin_of(frequency_hz)], spectrum);
            if (level.value > 3.0 * level.sd) c.tones.push_back({frequency_hz, family.wander * frequency_hz, level, true});
        }
    std::sort(c.tones.begin(), c.tones.end(),
              [](const SpotTone& a, const SpotTone& b) { return a.mean_square.value > b.mean_square.value; });
}

}  // namespace hushtrace
