#include "../../../src/diagnose/takes/order_reading.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/spectrum/averaged_spectrum.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 24000.0;

/// Idle, up to twice that, back: dwells at both ends.
double speed(double t) { return 1.0 + std::clamp(std::min((t - 2.0) / 3.0, (10.0 - t) / 3.0), 0.0, 1.0); }

struct Sweep {
    std::vector<double> samples;
    Track track;
};
Sweep sweep_of(double leading_hz) {
    Sweep out;
    std::mt19937_64 engine(5);
    std::normal_distribution<double> noise(0.0, 1e-4);
    double turns = 0;
    const auto sine = [](double phase) { return std::sin(2 * std::numbers::pi * phase); };
    for (std::size_t n = 0; n < static_cast<std::size_t>(12 * kRate); ++n) {
        const double t = static_cast<double>(n) / kRate;
        out.samples.push_back(noise(engine) + 0.02 * sine(turns) + 0.005 * sine(2 * turns) + 0.003 * sine(turns / 6) +
                              0.01 * sine(997.0 * t) + 0.02 * sine(50.0 * t));
        turns = turns + leading_hz * speed(t + 0.5 / kRate) / kRate;
    }
    for (double t = 0; t <= 12.0; t += 0.02) {
        out.track.time_s.push_back(t);
        out.track.frequency_hz.push_back(leading_hz * speed(t));
    }
    return out;
}

}  // namespace

TEST_CASE("in a sweep the lines that turn are told from those that hold still, with their levels", "[orders]") {
    const Sweep sweep = sweep_of(900.0);
    SpectrumAccumulator accumulator(kRate, 24000);
    accumulator.add(sweep.samples);
    const PowerSpectrum spectrum = accumulator.result();
    const auto floor = noise_under_lines(spectrum);
    const OrderView view = view_orders(sweep.samples, kRate, sweep.track, spectrum, floor,
                                       find_lines(spectrum, floor, 15.0, 10000.0));
    const double mean_hz = sweep.track.mean_hz();
    struct Truth {
        double ratio, amplitude;
        bool follows;
    };
    std::vector<Truth> truth = {{1.0, 0.02, true}, {2.0, 0.005, true}, {1.0 / 6, 0.003, true},
                                {997.0 / mean_hz, 0.01, false}, {50.0 / mean_hz, 0.02, false}};
    for (const Truth& one : truth) {
        INFO("ratio " << one.ratio);
        bool told = false;
        for (const ReadOrder& line : view.lines)
            if (std::abs(line.ratio - one.ratio) < 0.002 * std::max(1.0, one.ratio)) {
                told = true;
                CHECK(line.follows == one.follows);
                CHECK((line.sharpening_db > 0) == one.follows);
                CHECK(line.mean_square == Approx(one.amplitude * one.amplitude / 2).epsilon(0.12));  // 0.5 dB
            }
        CHECK(told);
    }
    for (const ReadOrder& line : view.lines) {
        INFO("told: ratio " << line.ratio << ", " << 10 * std::log10(2 * line.mean_square) << " dBFS");
        CHECK(std::any_of(truth.begin(), truth.end(), [&](const Truth& one) {
            return std::abs(line.ratio - one.ratio) < 0.004 * std::max(1.0, one.ratio);
        }));
    }
    CHECK(!view.map.empty());
}

TEST_CASE("a family that hardly moves gives no verdict", "[orders]") {
    Sweep sweep = sweep_of(900.0);
    for (double& f : sweep.track.frequency_hz) f = 997.0;
    SpectrumAccumulator accumulator(kRate, 24000);
    accumulator.add(sweep.samples);
    const PowerSpectrum spectrum = accumulator.result();
    const auto floor = noise_under_lines(spectrum);
    for (const ReadOrder& line : view_orders(sweep.samples, kRate, sweep.track, spectrum, floor,
                                             find_lines(spectrum, floor, 15.0, 10000.0)).lines)
        CHECK(!line.follows.has_value());
}

namespace {

constexpr double kLow = 8000.0;   // rate of what follows
constexpr double kNoise = 1e-3;   // rms: a density of 1e-6 / 4000 Hz

struct Turning {
    double ratio, amplitude;
};
/// Noise, and lines at ratios to a speed [Hz] that is given over time.
struct Along {
    std::vector<double> samples;
    Track track;
    PowerSpectrum spectrum;
    std::vector<double> floor;
    template <class Speed>
    Along(double seconds, Speed speed_hz, const std::vector<Turning>& lines, double rate = kLow) : rate_(rate) {
        std::mt19937_64 engine(11);
        std::normal_distribution<double> noise(0.0, kNoise);
        double turns = 0;
        for (std::size_t n = 0; n < static_cast<std::size_t>(seconds * rate); ++n) {
            double sum = noise(engine);
            for (const Turning& line : lines) sum += line.amplitude * std::sin(2 * std::numbers::pi * line.ratio * turns);
            samples.push_back(sum);
            turns += speed_hz((static_cast<double>(n) + 0.5) / rate) / rate;
        }
        for (double t = 0; t <= seconds; t += 0.02) {
            track.time_s.push_back(t);
            track.frequency_hz.push_back(speed_hz(t));
        }
        SpectrumAccumulator accumulator(rate, static_cast<std::size_t>(rate));
        accumulator.add(samples);
        spectrum = accumulator.result();
        floor = noise_under_lines(spectrum);
    }
    std::vector<ReadOrder> read(const std::vector<SpectralLine>& over_time = {}) const {
        return view_orders(samples, rate_, track, spectrum, floor, over_time).lines;
    }

private:
    double rate_;
};
const ReadOrder* read_at(const std::vector<ReadOrder>& lines, double ratio) {
    for (const ReadOrder& line : lines)
        if (std::abs(line.ratio - ratio) < 0.003) return &line;
    return nullptr;
}
SpectralLine still_line(double frequency_hz, double mean_square, double sharpness_db = 31, double prominence_db = 40) {
    SpectralLine line;
    line.frequency_hz = frequency_hz;
    line.mean_square = mean_square;
    line.sharpness_db = sharpness_db;
    line.prominence_db = prominence_db;
    return line;
}

}  // namespace

TEST_CASE("of many lines the sixty strongest are read, in order", "[orders]") {
    std::vector<Turning> lines;
    for (int n = 1; n <= 70; ++n) lines.push_back({static_cast<double>(n), 0.02 * std::pow(0.97, (n * 37) % 70)});
    const Along sound(3, [](double) { return 100.0; }, lines, 20000);
    std::vector<double> amplitudes;
    for (const Turning& line : lines) amplitudes.push_back(line.amplitude);
    std::sort(amplitudes.rbegin(), amplitudes.rend());
    const auto read = sound.read();
    REQUIRE(read.size() == 60);
    for (std::size_t i = 0; i < read.size(); ++i) {
        if (i > 0) CHECK(read[i].ratio > read[i - 1].ratio);
        const double amplitude = lines[static_cast<std::size_t>(std::lround(read[i].ratio)) - 1].amplitude;
        CHECK(amplitude > 0.99 * amplitudes[59]);
        CHECK(read[i].mean_square == Approx(amplitude * amplitude / 2).epsilon(0.03));
        CHECK(!read[i].follows);
    }
}

TEST_CASE("a line over cycles is as much sharper as its track strayed over bins", "[orders]") {
    // 900 to 1100 Hz at an even pace spread a line's power P evenly over 200 r Hz; followed, its peak bin holds P / 1.5 Hz. Noise: S.
    const auto sweep = [](double t) { return 900 + 25 * t; };
    const double density = kNoise * kNoise / 4000;
    Along sound(8, sweep, {{1.0, 0.05}, {0.5, 0.01}, {2.0, 4e-4}});
    sound.floor.assign(sound.floor.size(), density);   // a median near by would take the spread line itself for the noise
    const auto read = sound.read();
    for (const auto& [ratio, amplitude] : {std::pair{1.0, 0.05}, {0.5, 0.01}, {2.0, 4e-4}}) {
        INFO(ratio);
        const ReadOrder* line = read_at(read, ratio);
        REQUIRE(line);
        const double power = amplitude * amplitude / 2;
        CHECK(line->follows == true);
        CHECK(line->mean_square == Approx(power).epsilon(0.12));
        CHECK(line->sharpening_db == Approx(10 * std::log10((power / 1.5 + density) / (power / (200 * ratio) + density))).margin(1.5));
    }
    // under three bins of 1.5 Hz nothing can be said; of the track its most extreme fiftieths don't count
    for (const auto& [strays_hz, told] : {std::pair{5.3, true}, {4.3, false}}) {
        const Along little(8, [far = strays_hz](double t) { return 1000 + far * t / 8; }, {{1.0, 0.05}});
        const auto lines = little.read();
        const ReadOrder* line = read_at(lines, 1.0);
        REQUIRE(line);
        CHECK(line->follows.has_value() == told);
    }
    const Along spikes(8, [](double t) { return t < 0.12 ? 1020.0 : t > 7.88 ? 980.0 : 1000.0; }, {{1.0, 0.05}});   // a 66th at either end
    REQUIRE(read_at(spikes.read(), 1.0));
    CHECK(!read_at(spikes.read(), 1.0)->follows);
}

TEST_CASE("what stands beside a stronger line that turns is that one's own skirt", "[orders]") {
    for (const auto& [beside_hz, told] : {std::pair{7.0, false}, {9.0, true}, {-7.0, false}, {-9.0, true}}) {
        const double ratio = 1 + beside_hz / 1000;
        const Along sound(8, [](double t) { return 900 + 25 * t; }, {{1.0, 0.05}, {ratio, 0.02}});
        CHECK((read_at(sound.read(), ratio) != nullptr) == told);
    }
}

TEST_CASE("what holds still leaves so much over cycles, and what turns over time, as the track dwells there", "[orders]") {
    // three of ten seconds at 800 Hz, then up to 1000
    const auto dwell = [](double t) { return t < 3 ? 800.0 : 800 + 200 * (t - 3) / 7; };
    const Along sound(10, dwell, {{1.0, 0.05}, {1.5, 0.02}});
    const double mean_hz = sound.track.mean_hz(), power = 0.02 * 0.02 / 2, leading = 0.05 * 0.05 / 2;
    CHECK(mean_hz == Approx(870).epsilon(0.001));
    // at 1200 Hz a still line stands at a ratio of 1.5 for 2400 of 8700 cycles, and while the track climbs by 4 bins more
    const double share = (2400 + 0.14 * 800) / 8700;
    for (const auto& [times, told] : {std::pair{0.88, true}, {1.14, false}}) {
        const auto read = sound.read({still_line(1200, times * power / (2 * share))});
        CHECK((read_at(read, 1.5) != nullptr) == told);
        CHECK(read_at(read, 1.0));
    }
    // the other way round the line at 1.0 leaves 0.314 of its power at 800 Hz: 3 s, and 0.14 s of the climb
    for (const auto& [times, told] : {std::pair{0.88, false}, {1.14, true}}) {
        const auto read = sound.read({still_line(800, times * 2 * 0.314 * leading)});
        const ReadOrder* line = read_at(read, 800 / mean_hz);
        REQUIRE((line != nullptr) == told);
        if (told) CHECK(line->follows == false);
        CHECK(read_at(read, 1.0));
    }
}

TEST_CASE("a line that holds still is read by the spectrum over time, where it is sharp and the track strays enough", "[orders]") {
    // 900 to 1000 Hz: within their fiftieths 96 Hz, of a ratio r 64 r bins of 1.5 Hz
    const Along sound(8, [](double t) { return 900 + 12.5 * t; }, {{1.0, 0.05}});
    struct Case {
        double frequency_hz, sharpness_db;
        bool told;
    };
    for (const Case& one : {Case{2000, 31, true}, {2000, 10.1, true}, {2000, 9.9, false}, {50, 31, true}, {40, 31, false}, {3190, 31, true},
                            {3210, 31, false}}) {
        INFO(one.frequency_hz << " Hz, " << one.sharpness_db << " dB");
        const auto read = sound.read({still_line(one.frequency_hz, 1e-5, one.sharpness_db)});
        const ReadOrder* line = read_at(read, one.frequency_hz / 950);
        REQUIRE((line != nullptr) == one.told);
        CHECK(read.size() == (one.told ? 2u : 1u));
        CHECK(std::is_sorted(read.begin(), read.end(), [](const ReadOrder& a, const ReadOrder& b) { return a.ratio < b.ratio; }));
        if (!line) continue;
        CHECK(line->follows == false);
        CHECK(line->mean_square == 1e-5);
        CHECK(line->ratio == Approx(one.frequency_hz / 950).epsilon(1e-4));
        CHECK(line->sharpening_db == Approx(-40).margin(2.0));   // over cycles there is but noise
    }
    // fainter than the noise over cycles, it is none
    CHECK(sound.read({still_line(2000, 1e-5, 31, -3)}).size() == 1);
}
