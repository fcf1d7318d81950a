// Reads raw doubles from a file and prints what this layer reads in them, a name and a figure a line, for NumPy and
// SciPy to judge. Arguments: file, rate, then `tone`, or `difference` or `modulation` with both tones' frequencies.
#include <cstdlib>
#include <fstream>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "hushtrace/measure/distortion.hpp"
#include "hushtrace/measure/intermodulation.hpp"

using namespace hushtrace;

namespace {

void put(const std::string& name, double value) {
    fmt::print("{} {:.17g}\n", name, value);
}

void read_one_tone(const std::vector<double>& samples, double rate_hz) {
    const Distortion reading = measure_distortion(samples, rate_hz);
    put("frequency_hz", reading.tone.frequency_hz);
    put("amplitude", reading.tone.amplitude);
    put("thd_ratio", reading.thd_ratio);
    put("thd_noise_ratio", reading.thd_noise_ratio);
    put("sinad_db", reading.sinad_db);
    for (const ToneHarmonic& one : reading.harmonics) put(fmt::format("harmonic_{}", one.number), one.ratio);
}

void read_two_tones(const std::vector<double>& samples, double rate_hz, const IntermodulationRequest& request) {
    const Intermodulation reading = measure_intermodulation(samples, rate_hz, request);
    put("low_amplitude", reading.low.amplitude);
    put("high_amplitude", reading.high.amplitude);
    for (const IntermodulationProduct& one : reading.products)
        put(fmt::format("product_{}_{}", one.of_low, one.of_high), one.ratio.value);
    put("second_order_ratio", reading.second_order_ratio.value);
    put("third_order_ratio", reading.third_order_ratio.value);
    put("total_ratio", reading.total_ratio.value);
}

}  // namespace

int main(int argc, char** argv) {
    if (argc < 4) return 2;
    std::ifstream in(argv[1], std::ios::binary);
    std::vector<double> samples;
    for (double x = 0; in.read(reinterpret_cast<char*>(&x), sizeof x);) samples.push_back(x);
    const double rate_hz = std::atof(argv[2]);
    const std::string what = argv[3];
    if (what == "tone") {
        read_one_tone(samples, rate_hz);
        return 0;
    }
    if (argc != 6) return 2;
    IntermodulationRequest request;
    request.method = what == "difference" ? TwoToneMethod::difference_frequency : TwoToneMethod::modulation;
    request.low_hz = std::atof(argv[4]);
    request.high_hz = std::atof(argv[5]);
    read_two_tones(samples, rate_hz, request);
    return 0;
}
