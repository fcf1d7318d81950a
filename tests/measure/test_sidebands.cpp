#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "hushtrace/measure/sidebands.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;

namespace {

Track track_of(double hz, double share, double seconds) {
    Track track;
    for (double t = 0; t < seconds; t += 0.02) {
        track.time_s.push_back(t);
        track.frequency_hz.push_back(hz * wandering::speed(t, share));
    }
    return track;
}
/// A wandering line of amplitude a, modulated at `pwm_hz` by `depth`.
std::vector<double> modulated(double hz, double share, double seconds, double pwm_hz, double depth, unsigned seed) {
    std::vector<double> line(static_cast<std::size_t>(seconds * wandering::kRate));
    wandering::add_tone(line, hz, 1e-3, share);
    std::vector<double> sound = wandering::noise(seconds, 1e-4, seed);
    for (std::size_t n = 0; n < sound.size(); ++n)
        sound[n] +=
            line[n] *
            (1.0 + depth * std::cos(2.0 * std::numbers::pi * pwm_hz * static_cast<double>(n) / wandering::kRate));
    return sound;
}

}  // namespace

TEST_CASE("a modulation at a fixed rate shows beside a wandering line, with its rate and level", "[sidebands]") {
    const auto found =
        find_sidebands(modulated(1300, 0.012, 8, 397.3, 0.1, 1), wandering::kRate, track_of(1300, 0.012, 8));
    REQUIRE(found.size() == 1);
    CHECK(found[0].spacing_hz == Approx(397.3).margin(0.15));
    CHECK(found[0].level_db == Approx(-23.0).margin(0.7));  // two sidebands of depth / 2: depth^2 / 2
}

TEST_CASE("what turns with the line, and what stands still beside it, is no sideband", "[sidebands]") {
    std::vector<double> sound = modulated(1300, 0.012, 8, 100, 0, 2);
    wandering::add_tone(sound, 1300.0 * 5 / 6, 3e-4, 0.012);
    wandering::add_tone(sound, 1300.0 * 7 / 6, 3e-4, 0.012);
    wandering::add_tone(sound, 1000.0, 3e-4, 0.0);
    wandering::add_tone(sound, 1600.0, 3e-4, 0.0);
    CHECK(find_sidebands(sound, wandering::kRate, track_of(1300, 0.012, 8)).empty());
}

TEST_CASE("noise alone shows no sidebands", "[sidebands]") {
    std::size_t made_up = 0;
    for (unsigned seed = 0; seed < 12; ++seed)
        made_up +=
            find_sidebands(modulated(1500, 0.01, 6, 100, 0, 100 + seed), wandering::kRate, track_of(1500, 0.01, 6))
                .size();
    CHECK(made_up == 0);
    CHECK(find_sidebands(std::vector<double>(200000, 0.0), wandering::kRate, track_of(1500, 0.01, 4)).empty());
    CHECK_THROWS(find_sidebands(std::vector<double>(20000, 0.0), wandering::kRate, track_of(1500, 0.01, 0.4)));
}

TEST_CASE("pairs read their place, level and height over the noise as worked out on paper, strongest first", "[sidebands]") {
    // a line of amplitude A at 700 Hz, held still; each side of a modulation by d is d A / 2, both together d^2 / 2 of it
    constexpr double rate = 4410, amplitude = 0.1, noise_rms = 0.002, seconds = 8;
    const std::vector<std::pair<double, double>> parts = {{80, 0.05}, {140, 0.2}, {210.3, 0.1}, {333, 0.08}, {420, 0.04}};
    std::vector<double> sound = wandering::noise(seconds * rate / wandering::kRate, noise_rms, 7);
    REQUIRE(sound.size() == static_cast<std::size_t>(seconds * rate));
    const auto turn = [](double hz, std::size_t n) { return 2.0 * std::numbers::pi * hz * static_cast<double>(n) / rate; };
    for (std::size_t n = 0; n < sound.size(); ++n) {
        double gain = 1.0;
        for (const auto& [hz, depth] : parts) gain += depth * std::cos(turn(hz, n));
        sound[n] += amplitude * gain * std::sin(turn(700, n));
    }
    const Track line{{0.0, seconds}, {350.0, 350.0}};   // the line is twice what was followed
    const auto found = find_sidebands(sound, rate, line, 2.0);
    REQUIRE(found.size() == 4);   // the strongest four of five
    const std::vector<std::size_t> order = {1, 2, 3, 0};
    for (std::size_t i = 0; i < 4; ++i) {
        const auto [hz, depth] = parts[order[i]];
        CAPTURE(hz);
        CHECK(found[i].spacing_hz == Approx(hz).margin(0.03));
        CHECK(found[i].level_db == Approx(10 * std::log10(0.5 * depth * depth)).margin(0.3));
        // one side's mean square through a Hann window of a second against the noise's in its 1.5 Hz (less between two bins)
        const double side = 0.5 * std::pow(0.5 * depth * amplitude, 2), noise = noise_rms * noise_rms / (rate / 2) * 1.5;
        CHECK(found[i].prominence_db == Approx(10 * std::log10(side / noise)).margin(hz == 210.3 ? 2.0 : 1.2));
        // bins of 2205 / 2250 Hz; 14 half overlapped segments (the low-pass takes the ends), worth 0.9 of that
        CHECK(found[i].spacing_sd_hz == Approx(0.98 / std::sqrt(2 * 12.6 * std::pow(10, found[i].prominence_db / 10))).epsilon(1e-6));
    }
    const auto spacings = [&](double from_hz, double to_hz) {
        std::vector<double> out;
        for (const SidebandPair& pair : find_sidebands(sound, rate, line, 2.0, from_hz, to_hz)) out.push_back(std::round(pair.spacing_hz));
        return out;
    };
    CHECK(spacings(100, 300) == std::vector<double>{140, 210});
    CHECK(spacings(400, 425) == std::vector<double>{420});
    CHECK(spacings(421, 700).empty());
    CHECK(spacings(60, 79).empty());
    // beyond 0.9 of the line's own frequency nothing is looked for
    CHECK(find_sidebands(sound, rate, Track{{0.0, seconds}, {700.0, 700.0}}, 1.0, 400, 700).size() == 1);
    std::vector<double> low = wandering::noise(seconds * rate / wandering::kRate, noise_rms, 8);
    for (std::size_t n = 0; n < low.size(); ++n)
        low[n] += amplitude * (1 + 0.2 * std::cos(turn(180, n)) + 0.2 * std::cos(turn(170, n))) * std::sin(turn(195, n));
    const auto kept = find_sidebands(low, rate, Track{{0.0, seconds}, {195.0, 195.0}});
    REQUIRE(kept.size() == 1);
    CHECK(kept[0].spacing_hz == Approx(170).margin(0.1));
    CHECK(find_sidebands(sound, rate, Track{}).empty());
    const auto first = [&sound](double some_s) { return std::span(sound).first(static_cast<std::size_t>(some_s * rate)); };
    CHECK_THROWS_AS(find_sidebands(first(2.0), rate, line, 2.0), Error);   // two of its segments of 1.02 s
    CHECK_NOTHROW(find_sidebands(first(2.1), rate, line, 2.0));
}
