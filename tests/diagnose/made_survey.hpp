#pragma once
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

#include "../../src/diagnose/sources/steady_parts.hpp"
#include "diagnose/even_survey.hpp"

/// Surveys made by hand: what a take would show, without its sound.
namespace hushtrace {

inline constexpr double kMadeNoise = 1e-12;   // full scale squared per hertz, under all lines

/// Flat noise and nothing else, bins of `bin_hz`.
inline StillSpectrum quiet_still(double bin_hz = 1.0, double rate_hz = 16000.0) {
    StillSpectrum s;
    s.sample_rate_hz = rate_hz;
    s.bin_hz = bin_hz;
    s.duration_s = 20.0;
    s.averages = 25.0;
    const auto bins = static_cast<std::size_t>(std::lround(0.5 * rate_hz / bin_hz)) + 1;
    s.density.assign(bins, kMadeNoise);
    s.noise.assign(bins, kMadeNoise);
    s.surprise.assign(bins, 0.0F);
    return s;
}

/// Puts a line into the one bin where it lies; ascending.
inline StillLine& stand(StillSpectrum& s, double frequency_hz, double mean_square, double surprise = 50.0) {
    const std::size_t k = s.bin_of(frequency_hz);
    s.density[k] += mean_square / s.bin_hz;
    s.surprise[k] = static_cast<float>(surprise);
    StillLine line;
    line.frequency_hz = static_cast<double>(k) * s.bin_hz;
    line.frequency_sd_hz = 0.03 * s.bin_hz;
    line.mean_square = mean_square;
    line.surprise = surprise;
    line.excess = s.density[k] / s.noise[k] - 1.0;
    s.lines.push_back(line);
    return s.lines.back();
}

/// A channel whose spectrum over the take is flat noise in bins of 1 Hz.
inline ChannelSurvey quiet_channel(Channel channel, double bin_hz = 1.0, double rate_hz = 16000.0) {
    ChannelSurvey out;
    out.channel = channel;
    out.spectrum = even_survey::even_spectrum(kMadeNoise, static_cast<std::size_t>(rate_hz), 20, 20);
    out.floor_density = out.spectrum.density;
    out.still = quiet_still(bin_hz, rate_hz);
    out.brief = quiet_still(4.0 * bin_hz, rate_hz);
    return out;
}

/// A take of quiet channels; the survey refers to the take.
inline TakeSurvey quiet_survey(const Take& take, double bin_hz = 1.0, double rate_hz = 16000.0) {
    TakeSurvey out;
    out.take = &take;
    out.duration_s = 20.0;
    out.sample_rate_hz = rate_hz;
    for (const Channel channel : take.channels) out.channels.push_back(quiet_channel(channel, bin_hz, rate_hz));
    return out;
}

inline Take made_take(std::string file, Engine engine = Engine::off, std::vector<Channel> channels = {Channel::left, Channel::right}) {
    Take take;
    take.file = std::move(file);
    take.channels = std::move(channels);
    take.conditions.engine = engine;
    return take;
}

/// (number, power in each channel)
using Powers = std::vector<std::pair<int, std::vector<double>>>;

/// A comb of teeth, each as clear as `surprise`.
inline LineComb made_comb(double spacing_hz, const Powers& teeth, double surprise = 20.0) {
    LineComb comb;
    comb.spacing_hz = spacing_hz;
    comb.spacing_sd_hz = 0.001;
    for (const auto& [number, mean_square] : teeth) {
        CombTooth tooth;
        tooth.number = number;
        tooth.frequency_hz = number * spacing_hz;
        tooth.frequency_sd_hz = 0.002;
        tooth.surprise = surprise;
        tooth.mean_square = mean_square;
        comb.teeth.push_back(tooth);
        comb.surprise += surprise;
    }
    comb.surprise_of_rest = comb.surprise - surprise;
    return comb;
}

/// A take's search over all its channels.
struct Searched {
    Take take = made_take("takes/off.flac");
    TakeSurvey survey;
    SteadySearch search;
    explicit Searched(std::vector<Channel> channels = {Channel::left}) {
        take.channels = std::move(channels);
        survey = quiet_survey(take);
        search.survey = &survey;
        for (std::size_t c = 0; c < survey.channels.size(); ++c) {
            search.spectra.push_back(&survey.channels[c].still);
            search.channel_of.push_back(c);
        }
    }
};

inline Powers alike(const std::vector<int>& numbers, double power = 1e-8) {
    Powers out;
    for (const int n : numbers) out.push_back({n, {power}});
    return out;
}

/// The lines of a square pulse by its Fourier series, (sin(pi n d) / (pi n))^2; `off_db` in turn on top.
inline Powers pulses(double duty, const std::vector<int>& numbers, const std::vector<double>& off_db = {0.0}) {
    Powers out;
    for (std::size_t i = 0; i < numbers.size(); ++i) {
        const double n = numbers[i], line = std::sin(std::numbers::pi * n * duty) / (std::numbers::pi * n);
        out.push_back({numbers[i], {1e-6 * line * line * std::pow(10.0, 0.1 * off_db[i % off_db.size()])}});
    }
    return out;
}

}  // namespace hushtrace
