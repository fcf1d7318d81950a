#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/measure/all_pass.hpp"
#include "measure/written_transfer.hpp"

using namespace hushtrace;
using namespace written_transfer;
using std::numbers::pi;

namespace {

struct PassedBy {
    std::vector<AllPass> all;
    double turned;
};
AllPass second_order(double hz, double q) { return {2, {hz}, q}; }
void check_all_passes(const std::vector<PassedBy>& rows) {
    for (const PassedBy& row : rows) {
        const auto gain = [&](int k) {
            std::complex<double> out = row.turned * std::polar(0.7, -2 * pi * hz_of(k) * 0.0021);
            for (const AllPass& one : row.all) {
                const std::complex<double> s(0, hz_of(k) / one.frequency_hz.value);
                out *= one.order == 1 ? (1.0 - s) / (1.0 + s) : (s * s - s / one.q + 1.0) / (s * s + s / one.q + 1.0);
            }
            return out;
        };
        const auto fit = find_all_passes(path(-130, 101, gain, 1e-8), 0.0018);
        CAPTURE(row.all.size(), row.turned);
        REQUIRE(fit);
        CHECK(fit->inverted == (row.turned < 0));
        CHECK(fit->sure);
        CHECK(fit->delay_s.value == Approx(0.0021).margin(3e-6));
        CHECK(fit->delay_s.sd > 0);
        CHECK(fit->delay_s.sd < 2e-5);
        CHECK(fit->left_over_rad < 0.02);
        CHECK((fit->without_rad > 0.12) == !row.all.empty());
        REQUIRE(fit->all_passes.size() == row.all.size());
        for (std::size_t i = 0; i < row.all.size(); ++i) {
            const AllPass &found = fit->all_passes[i], &truth = row.all[i];
            CAPTURE(truth.frequency_hz.value);
            CHECK(found.order == truth.order);
            CHECK(found.frequency_hz.value == Approx(truth.frequency_hz.value).epsilon(0.01));
            CHECK(found.frequency_hz.sd == Approx(0.005 * found.frequency_hz.value).epsilon(0.5));
            CHECK(found.q == Approx(truth.q).epsilon(0.03));
        }
    }
}

}  // namespace

TEST_CASE("one all-pass of first or second order is told with frequency, Q, delay and polarity", "[all_pass]") {
    check_all_passes({{{}, 1},
                      {{}, -1},
                      {{{1, {300}, 0}}, 1},
                      {{{1, {2500}, 0}}, -1},
                      {{second_order(150, 0.5)}, 1},
                      {{second_order(900, 3.0)}, -1}});
}

TEST_CASE("two all-passes are told, in ascending order", "[all_pass]") {
    check_all_passes({{{second_order(120, 0.7), second_order(1800, 0.6)}, 1}, {{second_order(200, 1.0), second_order(450, 1.4)}, -1}});
}

TEST_CASE("an all-pass is as unsure of its frequency as the phase left over is large", "[all_pass]") {
    // a phase that strays by 0.05 rad from point to point: three tenths of that, of the frequency
    const auto fit = find_all_passes(path(-130, 101, [](int k) {
        const std::complex<double> s(0, hz_of(k) / 300);
        return (s * s - s / 0.8 + 1.0) / (s * s + s / 0.8 + 1.0) * std::polar(1.0, k % 2 == 0 ? 0.05 : -0.05);
    }, 1e-8), 0);
    REQUIRE(fit);
    REQUIRE(fit->all_passes.size() == 1);
    CHECK(fit->left_over_rad == Approx(0.05).epsilon(0.1));
    CHECK(fit->all_passes[0].frequency_hz.value == Approx(300).epsilon(0.02));
    CHECK(fit->all_passes[0].frequency_hz.sd == Approx(fit->all_passes[0].frequency_hz.value * 0.3 * fit->left_over_rad));
    CHECK_FALSE(fit->inverted);
}

TEST_CASE("a phase that no all-pass explains is left, and two octaves at least are asked for", "[all_pass]") {
    // turned by half a radian from point to point
    const auto rough = find_all_passes(path(-130, 101, [](int k) { return std::polar(1.0, k % 2 == 0 ? 0.5 : -0.5); }, 1e-8), 0);
    REQUIRE(rough);
    CHECK(rough->all_passes.empty());
    CHECK_FALSE(rough->sure);
    CHECK(rough->left_over_rad == Approx(0.5).epsilon(0.02));
    CHECK(rough->without_rad == rough->left_over_rad);
    double all_squares = 0;   // points up to 0.8 of the highest; what scatters by half a radian makes the delay as unsure
    for (int k = -130; k <= 93; ++k) all_squares += hz_of(k) * hz_of(k);
    CHECK(rough->delay_s.sd == Approx(0.5 * std::sqrt(3.4 / all_squares) / (2 * pi)).epsilon(0.05));
    // what is known to 0.02 rad has that over the root of the weighted squares of frequency; 3.4 points are worth one
    double squares = 0;
    const auto enough = path(-56, 0, level(0), 1e-12);
    std::size_t count = 0;
    for (const TransferPoint& p : enough)
        if (p.frequency_hz <= 800) squares += p.frequency_hz * p.frequency_hz, ++count;
    REQUIRE(count == 49);
    const auto fit = find_all_passes(enough, 0.001);
    REQUIRE(fit);
    CHECK(fit->delay_s.value == Approx(0.0).margin(1e-9));
    CHECK(fit->delay_s.sd == Approx(0.02 * std::sqrt(3.4 / squares) / (2 * pi)).epsilon(0.01));
    // noise of 0.005 of the power: half of it turns the phase
    const auto noisy = find_all_passes(path(-56, 0, level(0), 0.005), 0);
    CHECK(noisy->delay_s.sd == Approx(std::sqrt((0.0025 + 0.0004) * 3.4 / squares) / (2 * pi)).epsilon(0.01));
    CHECK_FALSE(find_all_passes(path(-54, 0, level(0), 1e-12), 0));   // 47 points
    CHECK(find_all_passes(path(-130, 101, level(0), 0.0099), 0));     // 20 dB over the noise
    CHECK_FALSE(find_all_passes(path(-130, 101, level(0), 0.0101), 0));
    CHECK_FALSE(find_all_passes({}, 0));
}
