#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "../../src/measure/peak_break.hpp"

using namespace hushtrace;

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;
const BreakFrame kFrame{1200, 300, 100, 24, 16, 24};

/// A sine of 600 samples whose top lies `off` samples beside the middle; cut where half of the cap is so wide, 0 for not at all.
/// What the way behind it adds: noise.
std::vector<double> wave(double half_width, double off, double noise_rms, unsigned seed = 1) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, noise_rms);
    const double rail = half_width > 0.0 ? std::cos(kTurn * half_width / 600.0) : 2.0;
    std::vector<double> out;
    for (int n = -1200; n <= 1200; ++n) out.push_back(std::min(rail, std::cos(kTurn * (n - off) / 600.0)) + normal(engine));
    return out;
}

}  // namespace

TEST_CASE("stretches round a peak grow with the rate, within bounds", "[peak_break]") {
    const BreakFrame usual = frame_for(48000.0);
    CHECK(usual.reach == 4096);
    CHECK(usual.near == 600);
    CHECK(usual.beside == 120);
    CHECK(usual.gap == 24);
    CHECK(usual.inside == 16);
    CHECK(usual.apart == 24);
    const BreakFrame twice = frame_for(96000.0);
    CHECK(twice.reach == 8192);
    CHECK(twice.near == 1200);
    CHECK(twice.beside == 240);
    CHECK(twice.gap == 48);
    CHECK(twice.inside == 32);
    CHECK(twice.apart == 48);
    const BreakFrame low = frame_for(8000.0);
    CHECK(low.reach == 1024);
    CHECK(low.near == 200);
    CHECK(low.beside == 60);
    CHECK(low.gap == 12);
    CHECK(low.inside == 8);
    CHECK(low.apart == 8);
    CHECK(frame_for(384000.0).reach == 16384);
}

TEST_CASE("strength is the geometric mean of a break and a missing cap", "[peak_break]") {
    CHECK(PeakBreak{9.0, 4.0, 1.0, 0.0}.strength() == Approx(6.0));
    CHECK(PeakBreak{9.0, 0.0, 1.0, 0.0}.strength() == 0.0);
}

TEST_CASE("a cap that is missing is found with its width and place, a whole peak lacks none", "[peak_break]") {
    BreakReader reader(kFrame);
    // caps of half widths that are tried, tops beside the middle by less than that
    for (const auto& [half_width, off] : {std::pair{3.3, 0.0}, {7.5, 0.0}, {7.5, 3.75}, {11.0, -5.5}, {16.0, 8.0}}) {
        CAPTURE(half_width, off);
        const PeakBreak cut = reader.read(wave(half_width, off, 3e-5));
        CHECK(cut.sharpness > 5.0);
        CHECK(cut.missing > 15.0);
        CHECK(cut.width >= half_width / 1.51);   // the next narrower or wider one at most
        CHECK(cut.width <= half_width * 1.51);
        CHECK(cut.centre == Approx(off).margin(0.51 * half_width));
        CHECK(cut.strength() == Approx(std::sqrt(cut.sharpness * cut.missing)));
        CHECK(reader.read(wave(half_width, off, 3e-4)).missing < 0.6 * cut.missing);
    }
    double most = 0, sharpest = 0;
    for (unsigned seed = 1; seed <= 8; ++seed) {
        const PeakBreak whole = reader.read(wave(0.0, 0.0, 3e-5, seed));
        most = std::max(most, whole.strength());
        sharpest = std::max(sharpest, whole.sharpness);
    }
    CHECK(sharpest < 4.5);   // the largest of 33 normal deviates
    CHECK(most < 6.0);   // what noise makes of some hundred places
}

TEST_CASE("in white noise a break is its height in standard deviations, and a cap's match that over all of its samples", "[peak_break]") {
    // A pulse of height h in the middle of noise: prediction changes nothing, so it stands h / s out. It bends up, so no cap is missing
    // where it is; the other way round one is, but not under a peak.
    BreakReader reader(kFrame);
    std::mt19937_64 engine(4);
    std::normal_distribution<double> normal(0.0, 1e-3);
    std::vector<double> around(2401);
    for (double& one : around) one = normal(engine);
    const double own = around[1200];
    around[1200] = 0.05;
    const PeakBreak up = reader.read(around);
    CHECK(up.sharpness == Approx(50.0).epsilon(0.15));
    around[1200] = own;
    // a break counts within 16 samples of the middle, the noise it is held against from 24 on
    for (const auto& [away, counts] : {std::pair{16, true}, {-16, true}, {17, false}, {-17, false}}) {
        CAPTURE(away);
        auto other = around;
        other[static_cast<std::size_t>(1200 + away)] = -0.05;
        other[1200] = 0.01;
        CHECK((reader.read(other).sharpness > 30.0) == counts);
    }
}

TEST_CASE("a cap that white noise lacks is matched by its height over all of its samples", "[peak_break]") {
    // On dc, which its own prediction takes away, a parabola of depth 5 s and half width w is missing from noise of s. Its squares'
    // sum is 25 s^2 16 w / 15, so a filter of its shape stands out by the root of that.
    BreakReader reader({4096, 300, 100, 24, 16, 24});
    for (const auto& [half_width, centre] : {std::pair{5.0, 0.0}, {5.0, 2.5}, {11.0, -5.5}}) {
        CAPTURE(half_width, centre);
        double missing = 0, width = 0, place = 0;
        constexpr int runs = 6;
        for (unsigned seed = 1; seed <= runs; ++seed) {
            std::mt19937_64 engine(seed);
            std::normal_distribution<double> normal(0.0, 1e-3);
            std::vector<double> around;
            for (int n = -4096; n <= 4096; ++n) {
                const double x = (n - centre) / half_width;
                around.push_back(1.0 - (std::abs(x) < 1.0 ? 5e-3 * (1.0 - x * x) : 0.0) + normal(engine));
            }
            const PeakBreak seen = reader.read(around);
            missing += seen.missing / runs;
            width += seen.width / runs;
            place += seen.centre / runs;
        }
        CHECK(missing < 1.05 * 5.0 * std::sqrt(16.0 * half_width / 15.0));
        CHECK(missing > 0.7 * 5.0 * std::sqrt(16.0 * half_width / 15.0));   // the prediction of 32 samples takes away what is broad in it
        CHECK(width == Approx(half_width).epsilon(0.3));
        CHECK(place == Approx(centre).margin(0.2 * half_width));
    }
}
