#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "hushtrace/measure/sidebands.hpp"
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
