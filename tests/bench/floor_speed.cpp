// One step of floor_speed.py a run, so that each has its own peak memory. Prints seconds, then figures.
//   make FILE SECONDS     a stereo 48 kHz 24-bit FLAC take of noise and tones
//   decode FILE           bare libsndfile, samples thrown away
//   floor FILE THREADS    averaged spectra, noise floor, weightings
//   meter FILE            the quasi-peak meter on both channels, alone
#include <fmt/format.h>
#include <sndfile.h>

#include <chrono>
#include <cmath>
#include <cstdlib>
#include <random>
#include <string>
#include <vector>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/measure/quasi_peak.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/spectrum/file_spectra.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate_hz = 48000;

void make(const std::string& file, double seconds) {
    TakeWriter writer(file, kRate_hz, 2);
    std::minstd_rand random(1);
    std::uniform_real_distribution<double> flat(-3e-4, 3e-4);
    double slow = 0;
    for (int s = 0; s < static_cast<int>(seconds); ++s) {
        Block block(2, static_cast<std::size_t>(kRate_hz));
        for (std::size_t n = 0; n < block.frames(); ++n) {
            const double hum = 2e-3 * std::sin(2 * 3.14159265358979 * 50 * static_cast<double>(n) / kRate_hz);
            slow += 0.05 * (flat(random) - slow);
            block.channel(0)[n] = hum + slow + flat(random);
            block.channel(1)[n] = 0.5 * hum + slow + flat(random);
        }
        writer.write(block);
    }
    writer.close();
}

double decode(const std::string& file) {
    SF_INFO info{};
    SNDFILE* sound = sf_open(file.c_str(), SFM_READ, &info);
    if (sound == nullptr) std::exit(2);
    std::vector<int> frames(static_cast<std::size_t>(info.channels) << 13);
    sf_count_t all = 0;
    while (const sf_count_t got = sf_readf_int(sound, frames.data(), 1 << 13)) all += got;
    sf_close(sound);
    return static_cast<double>(all);
}

std::string figures(const std::string& file, std::size_t threads) {
    std::string text;
    for (const PowerSpectrum& s :
         spectra_of_file(file, [](double rate_hz) { return static_cast<std::size_t>(rate_hz); }, threads)) {
        const NoiseFloor floor = noise_floor(s);
        for (const Reading& one :
             {floor.all.unweighted, floor.all.a_weighted, floor.all.c_weighted, floor.all.itu468})
            text += fmt::format(" {:.4f}", as_level_dbfs(one).value);
    }
    return text;
}

std::string meter(const std::string& file) {
    TakeReader reader(file);
    QuasiPeakMeter left(reader.sample_rate_hz()), right(reader.sample_rate_hz());
    Block block;
    while (reader.read(block, 1 << 13) > 0) {
        left.add(block.channel(0));
        right.add(block.channel(1));
    }
    return fmt::format(" {:.5g} {:.5g}", left.mean()->value, right.mean()->value);
}

}  // namespace

int main(int argc, char** argv) {
    const std::string what = argc > 2 ? argv[1] : "", file = argc > 2 ? argv[2] : "";
    const auto start = std::chrono::steady_clock::now();
    std::string text;
    if (what == "make" && argc == 4)
        make(file, std::atof(argv[3]));
    else if (what == "decode")
        text = fmt::format(" {}", decode(file));
    else if (what == "floor" && argc == 4)
        text = figures(file, static_cast<std::size_t>(std::atoi(argv[3])));
    else if (what == "meter")
        text = meter(file);
    else
        return 2;
    fmt::print("{:.4f}{}\n", std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(), text);
}
