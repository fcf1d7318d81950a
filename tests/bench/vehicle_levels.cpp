/// How loud a simulated vehicle's noise is under one hookup after another, read without the program's search for noise: each line of
/// stdin is one vehicle, each line of stdout its levels. tests/bench/entry_trials.py asks.
///
///   {"scenario": "vehicle.json", "seconds": 5, "tones_hz": [100], "trials": [{"name": "isolator", "engine": "idle", "hookup": ["isolator"], ...}]}
///
/// Noise that turns with the engine (no tones_hz) is what is coherent with the supply's ripple; a tone is its bins over their neighbours.
#include <algorithm>
#include <cmath>
#include <complex>
#include <iostream>
#include <nlohmann/json.hpp>
#include <string>

#include "hushtrace/simulation/simulated_vehicle.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"

using namespace hushtrace;
using nlohmann::json;

namespace {

constexpr double kFrom_hz = 120, kTo_hz = 12000;

template <class Word> Word word(const json& from, const char* name, Word otherwise) {
    return from.contains(name) ? from_word<Word>(from[name].get<std::string>()).value() : otherwise;
}

SimulatedConditions conditions_of(const json& trial) {
    SimulatedConditions out;
    Conditions& c = out.conditions;
    c.engine = word(trial, "engine", Engine::idle);
    c.source = word(trial, "source", SourceState::on);
    c.input = word(trial, "input", SourceInput::usb);
    c.laptop = word(trial, "laptop", LaptopPower::battery);
    c.point = word(trial, "point", Point::amp_input);
    c.volume = trial.value("volume", 30.0);
    if (trial.contains("rpm")) c.rpm = trial["rpm"].get<double>();
    if (trial.contains("hookup")) {
        c.hookup.clear();
        for (const auto& one : trial["hookup"]) c.hookup.push_back(from_word<Hookup>(one.get<std::string>()).value());
    }
    if (trial.contains("loads"))
        for (const auto& one : trial["loads"]) c.loads.push_back(one.get<std::string>());
    if (trial.contains("attached"))
        for (const auto& one : trial["attached"]) c.attached.push_back({one.get<std::string>(), PoweredFrom::vehicle});
    out.channels = {word(trial, "channel", Channel::left), Channel::supply};
    out.seed = trial.value("seed", std::uint64_t{1});
    return out;
}

/// How the noise's level strays from half second to half second [dB, sd].
template <class Read> double wander_db(const Block& sound, double rate_hz, Read read) {
    const auto each = static_cast<std::size_t>(0.5 * rate_hz);
    std::vector<double> levels;
    for (std::size_t from = 0; from + each <= sound.frames(); from += each) {
        Block part;
        part.reset(sound.channels(), each);
        for (std::size_t c = 0; c < sound.channels(); ++c)
            std::copy_n(sound.channel(c).begin() + static_cast<std::ptrdiff_t>(from), each, part.channel(c).begin());
        levels.push_back(10.0 * std::log10(std::max(1e-20, read(part, rate_hz))));
    }
    double mean = 0, square = 0;
    for (const double one : levels) mean += one / static_cast<double>(levels.size());
    for (const double one : levels) square += (one - mean) * (one - mean) / static_cast<double>(levels.size());
    return std::sqrt(square);
}

double decibels(double power) { return power > 1e-30 ? 10.0 * std::log10(power) : -300.0; }

/// {noise, hiss}: mean squares [full scale²], the hiss from 20 Hz to 20 kHz
std::pair<double, double> coherent_with_supply(const Block& sound, double rate_hz) {
    CrossAccumulator sums(rate_hz, 1024);
    sums.add(sound.channel(1), sound.channel(0));
    const CrossSpectrum spectrum = sums.result();
    double coherent = 0, all = 0;
    for (std::size_t bin = 1; bin < spectrum.xy.size(); ++bin) {
        const double hz = spectrum.x.frequency_hz(bin);
        if (hz > 20000.0) break;
        const double here = spectrum.y.density[bin] * spectrum.y.bin_hz();
        all += here;
        if (hz < kFrom_hz || hz > kTo_hz) continue;
        const double averages = spectrum.x.effective_averages, coherence = spectrum.coherence(bin);
        coherent += here * (coherence - (1.0 - coherence) / averages);   // noise alone is coherent with anything by 1/n
    }
    return {std::max(0.0, coherent), std::max(1e-20, all - coherent)};
}

std::pair<double, double> tones(const Block& sound, double rate_hz, const std::vector<double>& tones_hz, std::size_t length = 48000) {
    SpectrumAccumulator sums(rate_hz, length);
    sums.add(sound.channel(0));
    const PowerSpectrum spectrum = sums.result();
    double all = spectrum.band_mean_square(20, 20000), noise = 0;
    for (const double hz : tones_hz) {
        const std::size_t at = spectrum.bin_of(hz);
        double line = 0, beside = 0;
        for (std::size_t b = at - 3; b <= at + 3; ++b) line += spectrum.density[b] * spectrum.bin_hz();
        for (std::size_t b = at + 5; b < at + 12; ++b) beside += spectrum.density[b] * spectrum.bin_hz();
        noise += std::max(0.0, line - beside);
    }
    return {noise, std::max(1e-20, all - noise)};
}

}  // namespace

int main() {
    std::string line;
    while (std::getline(std::cin, line)) {
        const json asked = json::parse(line);
        SimulatedVehicle vehicle(asked["scenario"].get<std::string>());
        const double rate_hz = vehicle.sample_rate_hz();
        const auto frames = static_cast<std::size_t>(asked.value("seconds", 5.0) * rate_hz);
        const auto tones_hz = asked.value("tones_hz", std::vector<double>{});
        json levels = json::object();
        double wander = 0;
        for (const json& trial : asked["trials"]) {
            try {
                vehicle.set_conditions(conditions_of(trial));
                Block block;
                std::vector<double> nothing(static_cast<std::size_t>(0.5 * rate_hz), 0.0);
                vehicle.render(nothing, block);   // filters settle
                nothing.assign(frames, 0.0);
                vehicle.render(nothing, block);
                const auto [noise, hiss] = tones_hz.empty() ? coherent_with_supply(block, rate_hz) : tones(block, rate_hz, tones_hz);
                levels[trial["name"].get<std::string>()] = {decibels(2.0 * noise), decibels(2.0 * hiss)};
                if (trial["name"] == "plain")
                    wander = wander_db(block, rate_hz, [&](const Block& part, double rate) {
                        return tones_hz.empty() ? coherent_with_supply(part, rate).first : tones(part, rate, tones_hz, 4096).first;
                    });
            } catch (const std::exception& error) {
                levels[trial["name"].get<std::string>()] = error.what();
            }
        }
        std::cout << json{{"levels", levels}, {"wander_db", wander}, {"ground_drop_v", vehicle.meter_ground_drop_v()}} << std::endl;
    }
}
