#pragma once
#include <unistd.h>

#include <cmath>
#include <complex>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>
#include <span>
#include <sstream>
#include <string>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/simulation/simulated_vehicle.hpp"

/// Scenario files altered for a test, and slow, obvious readings of what they render.
namespace simulation_test {

using nlohmann::json;

inline std::filesystem::path signals_folder() {
    return std::filesystem::path(HUSHTRACE_SOURCE_DIR) / "signals";
}

/// A file that goes away with the object.
class TemporaryFile {
public:
    explicit TemporaryFile(const std::string& suffix) {
        static int count = 0;
        path_ = std::filesystem::temp_directory_path() /
                ("hushtrace_simulation_" + std::to_string(getpid()) + "_" + std::to_string(count++) + suffix);
    }
    TemporaryFile(const TemporaryFile&) = delete;
    TemporaryFile& operator=(const TemporaryFile&) = delete;
    ~TemporaryFile() {
        std::error_code ignored;
        std::filesystem::remove(path_, ignored);
    }
    void write(const std::string& content) const { std::ofstream(path_, std::ios::binary) << content; }
    const std::filesystem::path& path() const { return path_; }

private:
    std::filesystem::path path_;
};

inline json read_json(const std::string& name) {
    std::ifstream stream(signals_folder() / name);
    return json::parse(stream);
}

/// The vehicle of a file in signals/ after `edit`.
inline hushtrace::SimulatedVehicle altered(const std::string& name, const std::function<void(json&)>& edit) {
    json scenario = read_json(name);
    edit(scenario);
    TemporaryFile file(".json");
    file.write(scenario.dump());
    return hushtrace::SimulatedVehicle(file.path());
}

/// Everything that is random or wanders, off: what is left can be worked out on paper.
inline void make_steady(json& scenario) {
    auto& vehicle = scenario["vehicle"];
    vehicle["engine"]["idle_wander_percent"] = 0;
    vehicle["engine"]["held_wander_percent"] = 0;
    vehicle["engine"]["firing_ripple_percent"] = 0;
    vehicle.erase("ignition");
    scenario["loads"] = json::array();
    scenario["source"]["noise_dbv"] = -190;
    scenario["source"]["input_noise_dbfs"] = -190;
    scenario["source"]["supply_rejection_db"] = 200;
    scenario["interface"]["own_noise_dbv"] = -170;
    scenario["interface"]["clock_ppm"] = 0;
    scenario["interface"]["volts_full_scale"] = {0.1, 0.1};
}

inline hushtrace::Block rendered(hushtrace::SimulatedVehicle& vehicle, double duration_s) {
    const std::vector<double> silence(static_cast<std::size_t>(duration_s * vehicle.sample_rate_hz()), 0.0);
    hushtrace::Block block;
    vehicle.render(silence, block);
    return block;
}

/// Four-term Blackman-Harris window, side lobes below -92 dB; kept for the next call of the same length.
inline const std::vector<double>& window_of(std::size_t count) {
    static std::map<std::size_t, std::vector<double>> kept;
    std::vector<double>& window = kept[count];
    for (std::size_t i = window.size(); i < count; ++i) {
        const double place = 2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(count);
        window.push_back(0.35875 - 0.48829 * std::cos(place) + 0.14128 * std::cos(2 * place) -
                         0.01168 * std::cos(3 * place));
    }
    return window;
}

/// Peak and phase of the sine at this frequency, a plain windowed sum of products: right for a steady line
/// whose neighbours lie four bins away or more.
inline std::complex<double> phasor_at(std::span<const double> samples, double frequency_hz, double rate_hz) {
    const std::vector<double>& window = window_of(samples.size());
    const std::complex<double> step = std::polar(1.0, -2.0 * std::numbers::pi * frequency_hz / rate_hz);
    const double c = step.real(), s = step.imag();
    double turn_re = 1, turn_im = 0, sum_re = 0, sum_im = 0, weight = 0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double sample = window[i] * samples[i];
        sum_re += sample * turn_re;
        sum_im += sample * turn_im;
        weight += window[i];
        const double next_re = turn_re * c - turn_im * s;
        turn_im = turn_re * s + turn_im * c;
        turn_re = next_re;
    }
    return 2.0 * std::complex<double>(sum_re, sum_im) / weight;
}
inline double peak_at(std::span<const double> samples, double frequency_hz, double rate_hz) {
    return std::abs(phasor_at(samples, frequency_hz, rate_hz));
}

inline double rms(std::span<const double> samples) {
    double sum = 0;
    for (const double sample : samples) sum += sample * sample;
    return std::sqrt(sum / static_cast<double>(samples.size()));
}
inline double decibels(double ratio) {
    return 20.0 * std::log10(ratio);
}

inline std::vector<double> sine(double frequency_hz, double peak, std::size_t frames, double rate_hz) {
    std::vector<double> samples(frames);
    for (std::size_t i = 0; i < frames; ++i)
        samples[i] = peak * std::sin(2.0 * std::numbers::pi *
                                     std::fmod(frequency_hz / rate_hz * static_cast<double>(i), 1.0));
    return samples;
}

/// Rows of a reference table: one map of column name to cell each.
inline std::vector<std::map<std::string, std::string>> reference_rows(const std::string& file) {
    std::ifstream stream(std::filesystem::path(HUSHTRACE_REFERENCE_DIR) / file);
    const auto cells = [](const std::string& line) {
        std::vector<std::string> found;
        std::istringstream parts(line);
        for (std::string cell; std::getline(parts, cell, ',');) found.push_back(cell);
        return found;
    };
    std::string line;
    std::getline(stream, line);
    const auto names = cells(line);
    std::vector<std::map<std::string, std::string>> rows;
    while (std::getline(stream, line)) {
        const auto values = cells(line);
        std::map<std::string, std::string> row;
        for (std::size_t i = 0; i < names.size() && i < values.size(); ++i) row[names[i]] = values[i];
        rows.push_back(row);
    }
    return rows;
}

/// A mono sound file of 32-bit floats, written byte by byte.
inline void write_float_wav(const std::filesystem::path& path, std::span<const double> samples,
                            std::uint32_t rate_hz) {
    std::ofstream file(path, std::ios::binary);
    const auto put = [&file](auto value) { file.write(reinterpret_cast<const char*>(&value), sizeof value); };
    const auto bytes = static_cast<std::uint32_t>(4 * samples.size());
    file << "RIFF";
    put(std::uint32_t{36} + bytes);
    file << "WAVEfmt ";
    put(std::uint32_t{16});
    put(std::uint16_t{3});
    put(std::uint16_t{1});
    put(rate_hz);
    put(std::uint32_t{4} * rate_hz);
    put(std::uint16_t{4});
    put(std::uint16_t{32});
    file << "data";
    put(bytes);
    for (const double sample : samples) put(static_cast<float>(sample));
}

}  // namespace simulation_test
