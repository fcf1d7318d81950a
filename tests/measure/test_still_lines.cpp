#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/measure/bursts.hpp"
#include "hushtrace/measure/comb_stretch.hpp"
#include "hushtrace/measure/humps.hpp"
#include "hushtrace/measure/line_comb.hpp"
#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/measure/still_lines.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 16000.0;

std::vector<double> white(double seconds, double rms, unsigned seed) {
    std::mt19937 generator(seed);
    std::normal_distribution<double> normal(0.0, rms);
    std::vector<double> out(static_cast<std::size_t>(seconds * kRate));
    for (double& sample : out) sample = normal(generator);
    return out;
}

void add_tone(std::vector<double>& to, double frequency_hz, double amplitude, double from_s = 0, double to_s = 1e9) {
    for (std::size_t n = 0; n < to.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        if (t >= from_s && t < to_s) to[n] += amplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * t);
    }
}

}  // namespace

TEST_CASE("surprises are the logarithms of the tails that SciPy gives", "[noise_statistics]") {
    // scipy.stats (1.10): -f.logsf(3, 20, 200), -f.logsf(20, 2, 60), -f.logsf(0.8, 10, 100), -f.logsf(40, 20, 140)
    CHECK(surprise_of_ratio(3.0, 10, 100) == Approx(10.0185622).epsilon(1e-6));
    CHECK(surprise_of_ratio(20.0, 1, 30) == Approx(15.3247687).epsilon(1e-6));
    CHECK(surprise_of_ratio(0.8, 5, 50) == Approx(0.463729951).epsilon(1e-6));
    CHECK(surprise_of_ratio(40.0, 10, 70) == Approx(108.675439).epsilon(1e-6));
    // -gamma.logsf(10, 5), -gamma.logsf(360, 300), -gamma.logsf(1.5, 3)
    CHECK(surprise_of_gamma(2.0, 5) == Approx(3.53178381).epsilon(1e-6));
    CHECK(surprise_of_gamma(1.2, 300) == Approx(7.54863603).epsilon(1e-6));
    CHECK(surprise_of_gamma(0.5, 3) == Approx(0.212145712).epsilon(1e-6));
    // -log(sum over j of binom.pmf(j, n, exp(-1.5)) gamma.sf(sum, j))
    CHECK(surprise_of_sum(10.0, 40, 1.5) == Approx(1.03588321).epsilon(1e-6));
    CHECK(surprise_of_sum(30.0, 90, 1.5) == Approx(2.82652032).epsilon(1e-6));
    CHECK(surprise_of_sum(0.5, 3, 1.5) == Approx(1.01734935).epsilon(1e-6));
}

TEST_CASE("noise alone makes no lines, humps, bursts or combs", "[still_lines]") {
    for (unsigned seed = 1; seed <= 12; ++seed) {
        INFO("seed " << seed);
        std::vector<double> x = white(8.0, 0.01, seed);
        if (seed % 2 == 0)   // swelling and fading by 12 dB
            for (std::size_t n = 0; n < x.size(); ++n) x[n] *= std::pow(2.0, std::sin(2e-4 * static_cast<double>(n)));
        const ColumnMap map = column_map(x, kRate);
        const StillSpectrum still = still_spectrum(map);
        CHECK(still.lines.empty());
        CHECK(find_humps(map, still).empty());
        CHECK(find_bursts(x, kRate).events.size() < 3);
        CHECK(find_comb({&still}, 50.0, 0.01, {}).surprise < 7.6);
        CHECK_FALSE(find_comb_stretch(map, still, 650.0 / 3.0, 2e-4, {.most_number = 92, .spoken_for = {}, .doubtful = {}}, 8.3));
    }
}

TEST_CASE("a line that holds still is found with its frequency and power, one that passes is not", "[still_lines]") {
    std::vector<double> x = white(10.0, 0.01, 5);
    add_tone(x, 1234.3, 1.2e-3);
    double phase = 0;   // from 3 to 4 kHz: in each bin for a hundredth of a second
    for (std::size_t n = 0; n < x.size(); ++n) {
        phase += 2.0 * std::numbers::pi * (3000.0 + 100.0 * static_cast<double>(n) / kRate) / kRate;
        x[n] += 0.02 * std::sin(phase);
    }
    const StillSpectrum still = still_spectrum(column_map(x, kRate));
    REQUIRE(still.lines.size() == 1);
    CHECK(still.lines[0].frequency_hz == Approx(1234.3).margin(3.0 * still.lines[0].frequency_sd_hz + 0.02));
    CHECK(10.0 * std::log10(still.lines[0].mean_square / (0.5 * 1.2e-3 * 1.2e-3)) == Approx(0.0).margin(1.5));
    CHECK(still.lines[0].steady);
}

TEST_CASE("a comb is found of which no tooth stands out by itself", "[line_comb]") {
    std::vector<double> x = white(10.0, 0.01, 6);
    for (int n = 1; n <= 15; ++n) add_tone(x, 59.98 * n, 2.4e-4);
    const StillSpectrum still = still_spectrum(column_map(x, kRate));
    CHECK(still.lines.size() < 8);
    const LineComb comb = find_comb({&still}, 60.0, 0.01, {.most_number = 20, .spoken_for = {}, .doubtful = {}});
    CHECK(comb.surprise > 12.0);
    CHECK(comb.spacing_hz == Approx(59.98).margin(0.06));
}

TEST_CASE("a comb that sounds for two seconds of ten is found, with its time", "[comb_stretch]") {
    std::vector<double> x = white(10.0, 0.01, 7);
    for (int n = 1; n <= 30; ++n) add_tone(x, 650.0 / 3.0 * n, 1e-3, 4.0, 6.0);
    const ColumnMap map = column_map(x, kRate);
    const auto stretch = find_comb_stretch(map, still_spectrum(map), 650.0 / 3.0, 2e-4, {.most_number = 60, .spoken_for = {}, .doubtful = {}}, 8.3);
    REQUIRE(stretch);
    CHECK(stretch->from_s == Approx(4.0).margin(0.6));
    CHECK(stretch->to_s == Approx(6.0).margin(0.6));
}

TEST_CASE("even spacing is told from odd times, with an event missing", "[bursts]") {
    const auto at = [](std::initializer_list<double> times) {
        std::vector<Burst> out;
        for (const double t : times) out.push_back({t, 20.0, 1e-9, 1.0, 0.0});
        return out;
    };
    const auto even = even_bursts(at({0.5, 1.1, 1.7, 2.9, 3.5, 4.1}));   // the one at 2.3 s is missing
    REQUIRE(even);
    CHECK(even->rate_hz == Approx(1 / 0.6).epsilon(0.01));
    CHECK(even->filled > 0.8);
    CHECK_FALSE(even_bursts(at({0.5, 0.9, 2.4, 2.6, 4.0, 4.7})));
}

namespace {

/// A map of level noise, its bins one hertz wide: each column has its share of the mean, so that all figures are known on paper.
ColumnMap level_map(std::size_t bins, const std::vector<double>& columns, double averages = 10) {
    ColumnMap map;
    map.sample_rate_hz = 2.0 * static_cast<double>(bins - 1);
    map.bin_hz = 1.0;
    map.hop_s = 0.5;
    map.averages = averages;
    map.band_of.assign(bins, 0);
    map.mean.assign(bins, 0.0);
    for (const double share : columns) {
        map.density.emplace_back(bins, static_cast<float>(share));
        map.level.push_back({1.0});
    }
    return map;
}
/// The mean over time, once all cells are set.
ColumnMap averaged(ColumnMap map) {
    for (std::size_t k = 0; k < map.bins(); ++k) {
        map.mean[k] = 0;
        for (const auto& column : map.density) map.mean[k] += static_cast<double>(column[k]) / static_cast<double>(map.density.size());
    }
    return map;
}
/// A lobe whose logarithm is a parabola of its own, so that three bins tell its place exactly.
void put_lobe(std::vector<float>& column, std::size_t k, double place, double height) {
    for (std::size_t j = k - 2; j <= k + 2; ++j)
        column[j] = static_cast<float>(height * std::exp(-0.8 * std::pow(static_cast<double>(j) - place, 2)));
}
const StillLine* line_at(const StillSpectrum& still, double hz) {
    for (const StillLine& line : still.lines)
        if (std::abs(line.frequency_hz - hz) < 1.5) return &line;
    return nullptr;
}
const std::vector<double> kEven(12, 1.0);
/// The median of a mean of ten exponentials lies below it by that much (Wilson and Hilferty 1931).
const double kNoise = 1.0 / std::pow(1.0 - 1.0 / 90.0, 3);
/// Exponentials that the noise's median rests on: 15 bins on either side, a median worth 0.55 of a mean, 1.94 bins alike.
const double kFloorAverages = 2.0 * 15.0 * 0.55 / 1.94 * 10.0;

}  // namespace

TEST_CASE("a line in level noise reads its place, power and surprise as worked out on paper", "[still_lines]") {
    ColumnMap map = level_map(401, kEven);
    for (auto& column : map.density) put_lobe(column, 100, 100.2, 4.0);
    const StillSpectrum still = still_spectrum(averaged(map));
    CHECK(still.sample_rate_hz == 800.0);
    CHECK(still.bin_hz == 1.0);
    CHECK(still.duration_s == Approx(6.5));   // twelve half overlapped columns of a second
    CHECK(still.averages == Approx(10.0));
    CHECK(still.noise[50] == Approx(kNoise));
    CHECK(still.noise[100] == Approx(kNoise));
    REQUIRE(still.lines.size() == 1);
    const StillLine& line = still.lines[0];
    CHECK(line.frequency_hz == Approx(100.2).margin(1e-5));
    const double height = 4.0 * std::exp(-0.8 * 0.04);
    CHECK(line.excess == Approx(height / kNoise - 1.0));
    double sum = 0;
    for (int j = -2; j <= 2; ++j) sum += 4.0 * std::exp(-0.8 * std::pow(j - 0.2, 2)) - kNoise;
    CHECK(line.mean_square == Approx(sum));
    CHECK(line.surprise == Approx(surprise_of_ratio(height / kNoise, 10, kFloorAverages)).epsilon(1e-5));
    CHECK(line.frequency_sd_hz == Approx(std::hypot(0.7 / std::sqrt(10 * line.excess), 0.03)));
    CHECK(line.steady);
    CHECK(line.present_share == 1.0);
    CHECK(line.wander_hz == 0.0);
    // found again near its place; what is looked at in several bins surprises less, 1.4 bins being one look
    const auto near = still.peak_near(110.0, 20.0);
    CHECK(near.frequency_hz == Approx(line.frequency_hz));
    CHECK(near.surprise == Approx(line.surprise - std::log(41.0 / 1.4)).epsilon(1e-5));
    CHECK(near.mean_square == Approx(line.mean_square));
    CHECK(near.excess == Approx(line.excess));
    CHECK(near.frequency_sd_hz == Approx(line.frequency_sd_hz));
    CHECK(still.peak_at(100.2).surprise == Approx(line.surprise - std::log(2.0 / 1.4)).epsilon(1e-5));   // between two bins, half a bin on
    CHECK(still.peak_near(200.0, 20.0).surprise == 0.0);
    CHECK(still.peak_near(120.0, 15.0).surprise < 2.0);
    CHECK(still.peak_near(200.0, 20.0).frequency_sd_hz == Approx(std::hypot(0.7 / std::sqrt(0.5 * 10), 0.03)));   // no line: half at least
    CHECK(still.peak_near(0.0, 0.0).surprise == 0.0);
    CHECK(still.bin_of(100.4) == 100);
    CHECK(still.bin_of(100.6) == 101);
    CHECK(still.bin_of(-5) == 0);
    CHECK(still.bin_of(1e6) == 400);
}

TEST_CASE("a line is told from 15 Hz to 0.47 of the rate, and from the surprise on that its false alarms ask for", "[still_lines]") {
    ColumnMap map = level_map(401, kEven);
    for (auto& column : map.density) {
        put_lobe(column, 13, 13, 6.0);
        put_lobe(column, 17, 17, 6.0);
        put_lobe(column, 374, 374, 6.0);
        put_lobe(column, 379, 379, 6.0);
        put_lobe(column, 200, 200, 2.9);
    }
    map = averaged(map);
    // 362 bins are looked at, 361 / 1.4 looks: one in so many makes one false alarm
    const double surprise = surprise_of_ratio(2.9 / kNoise, 10, kFloorAverages), wanted = 361.0 / 1.4 / std::exp(surprise);
    const auto places = [&map](double false_alarms) {
        std::vector<double> out;
        for (const StillLine& line : still_spectrum(map, false_alarms).lines) out.push_back(std::round(line.frequency_hz));
        return out;
    };
    CHECK(places(1.05 * wanted) == std::vector<double>{17, 200, 374});
    CHECK(places(0.95 * wanted) == std::vector<double>{17, 374});
}

TEST_CASE("noise beside a line is the higher of the medians beside it", "[still_lines]") {
    // A slope of 1 a bin: of 15 bins that end three below a bin, the middle lies ten below it; so on the other side. Near 0 Hz fewer are
    // taken: those that leave three bins of dc. Where the rate ends one side is all there is.
    const auto noise_of = [](double slope) {
        ColumnMap map = level_map(401, kEven);
        for (auto& column : map.density)
            for (std::size_t k = 0; k < column.size(); ++k)
                column[k] = static_cast<float>((slope > 0 ? 0.0 : 1000.0) + slope * static_cast<double>(k));
        std::vector<double> noise = still_spectrum(averaged(map)).noise;
        for (double& one : noise) one /= kNoise;
        return noise;
    };
    const auto rising = noise_of(1), falling = noise_of(-1);
    CHECK(rising[100] == Approx(110));
    CHECK(falling[100] == Approx(1000 - 90));
    CHECK(rising[21] == Approx(31));
    CHECK(falling[21] == Approx(1000 - 11));
    CHECK(rising[18] == Approx(18 + 3 + 6));     // 12 bins, the seventh of them
    CHECK(falling[18] == Approx(1000 - 4 - 5));  // bins 4 to 15
    CHECK(rising[10] == Approx(10 + 3 + 2));     // five at least
    CHECK(falling[10] == Approx(1000 - 3 - 2));
    CHECK(falling[5] == Approx(1000 - 8 - 2));   // nothing to the left
    CHECK(rising[383] == Approx(393));
    CHECK(rising[384] == Approx(374));           // the right side's fifteen would end beyond the last bin
    CHECK(falling[384] == Approx(1000 - 374));
    CHECK(falling[400] == Approx(1000 - 390));
}

TEST_CASE("noise that swells is levelled: a line counts against its moment, its power against the plain mean", "[still_lines]") {
    ColumnMap map = level_map(401, {1, 3, 1, 3, 1, 3, 1, 3});
    for (std::size_t t = 0; t < 8; ++t) {
        map.level[t] = {t % 2 == 0 ? 1.0 : 3.0};
        put_lobe(map.density[t], 100, 100, t % 2 == 0 ? 5.0 : 15.0);
    }
    const StillSpectrum still = still_spectrum(averaged(map));
    REQUIRE(still.lines.size() == 1);
    CHECK(still.noise[50] == Approx(2 * kNoise));   // (1 + 3) / 2 against a level of 1
    CHECK(still.lines[0].excess == Approx(5.0 / kNoise - 1));
    CHECK(still.density[100] == Approx(10.0));
    // no more than four times the levelled noise
    for (std::size_t t = 0; t < 8; ++t) {
        map.level[t] = {t % 2 == 0 ? 1.0 : 11.0};
        std::fill(map.density[t].begin(), map.density[t].end(), static_cast<float>(map.level[t][0]));
    }
    CHECK(still_spectrum(averaged(map)).noise[50] == Approx(4 * kNoise));
}

TEST_CASE("how many exponentials a bin averages is read from the lower half's spread, but no more than there are", "[still_lines]") {
    // every seventh bin as low as the lowest tenth of a mean of four exponentials lies below its median
    const double low = gamma_mean_quantile(4, -1.2816) / gamma_mean_quantile(4, 0);
    const auto averages_of = [low](std::size_t bins, double most) {
        ColumnMap map = level_map(bins, kEven, most);
        for (auto& column : map.density)
            for (std::size_t k = 0; k < bins; k += 7) column[k] = static_cast<float>(low);
        return still_spectrum(averaged(map)).averages;
    };
    CHECK(averages_of(401, 10) == Approx(4.0).epsilon(1e-3));
    CHECK(averages_of(401, 3) == Approx(3.0));
    CHECK(averages_of(110, 10) == Approx(10.0));   // too few bins to say
    CHECK(averages_of(401, 0.2) == Approx(1.0));
}

TEST_CASE("what stands in the higher columns alone is no line", "[still_lines]") {
    // columns as exponentials go: of those the lower 60 % have 0.389 of the mean
    std::vector<double> shares;
    for (int t = 0; t < 20; ++t) shares.push_back(-std::log(1.0 - (t + 0.5) / 20));
    const auto lines = [&shares](std::size_t from, std::size_t columns, double height) {
        ColumnMap map = level_map(401, {shares.begin(), shares.begin() + static_cast<std::ptrdiff_t>(columns)});
        for (std::size_t t = from; t < columns; ++t)
            for (std::size_t j = 99; j <= 101; ++j) map.density[t][j] += static_cast<float>(j == 100 ? height : 0.5 * height);
        return still_spectrum(averaged(map)).lines.size();
    };
    CHECK(lines(0, 20, 6.0) == 1);
    CHECK(lines(12, 20, 6.0) == 0);
    CHECK(lines(12, 20, 60.0) == 0);
    CHECK(lines(3, 5, 60.0) == 1);   // fewer than six columns can't tell
    // and of one that stands in most, the lower part's surprise, tripled, holds it back: its mean against 0.389 of the noise
    ColumnMap map = level_map(401, kEven);
    for (std::size_t t = 0; t < 12; ++t)
        for (std::size_t j = 98; j <= 102; ++j) map.density[t][j] = t < 4 ? 0.3F : j == 100 ? 30.0F : 8.0F;
    map = averaged(map);
    const StillSpectrum still = still_spectrum(map);
    const double lower_mean = (4 * 0.3 + 4 * 30.0) / 8;   // eight of twelve, 0.6 of them rounded up
    CHECK(static_cast<double>(still.surprise[100]) ==
          Approx(std::min(surprise_of_ratio(map.mean[100] / kNoise, 10, kFloorAverages),
                          1 + 3 * surprise_of_ratio(lower_mean / (0.3891 * kNoise), 4.5, kFloorAverages))).epsilon(1e-4));
    for (std::size_t t = 0; t < 12; ++t) {
        map.density[t][100] = t < 4 ? 60.0F : t < 5 ? 1.2F : 0.5F;
        map.density[t][150] = t < 4 ? 4.4F : 0.05F;   // little, and that passes
    }
    map = averaged(map);
    const double few = (7 * 0.5 + 1.2) / 8;
    const double expected = 1 + 3 * surprise_of_ratio(few / (0.3891 * kNoise), 4.5, kFloorAverages);
    REQUIRE(expected < surprise_of_ratio(map.mean[100] / kNoise, 10, kFloorAverages));
    const auto surprise = still_spectrum(map).surprise;
    CHECK(static_cast<double>(surprise[100]) == Approx(expected).epsilon(1e-4));
    const double plain = surprise_of_ratio(1.5 / kNoise, 10, kFloorAverages);
    REQUIRE(plain > 1.6);
    REQUIRE(plain < 2.4);
    CHECK(static_cast<double>(surprise[150]) == Approx(1 + 3 * surprise_of_ratio(0.05 / (0.3891 * kNoise), 4.5, kFloorAverages)).epsilon(1e-4));
}

TEST_CASE("a line that strays has a skirt, and a line's share of the time is counted", "[still_lines]") {
    // beside a line of excess e the bins three and four off may stand above the noise by 0.12 e and three of their own sd, 3 / sqrt 40
    for (const double share : {0.93, 1.07})
        for (const int side : {-1, 1}) {
            ColumnMap map = level_map(401, kEven);
            const double excess = 10.0 / kNoise - 1.0, most = 0.12 * excess + 3.0 / std::sqrt(40.0);
            // the mean over the four; two of them are left as they are
            const double lifted = 2.0 * share * most - (1.0 / kNoise - 1.0) + 1.0;
            for (auto& column : map.density) {
                put_lobe(column, 100, 100, 10.0);
                for (const int off : {3, 4}) column[static_cast<std::size_t>(100 + side * off)] = static_cast<float>(lifted * kNoise);
            }
            const StillSpectrum still = still_spectrum(averaged(map));
            const StillLine* line = line_at(still, 100);
            REQUIRE(line);
            CHECK(line->steady == (share < 1));
        }
    // nine of twelve columns: 2.5 times the noise and more, or a quarter of the line's own mean
    ColumnMap map = level_map(401, kEven);
    for (std::size_t t = 0; t < 12; ++t) {
        put_lobe(map.density[t], 100, 100, t < 9 ? 8.0 : 2.4);
        put_lobe(map.density[t], 200, 200, t < 9 ? 80.0 : 15.0);
        put_lobe(map.density[t], 300, t < 9 ? 300.5 : 299.5, 20.0);   // in one bin or the other beside it, always there
    }
    const StillSpectrum still = still_spectrum(averaged(map));
    REQUIRE(line_at(still, 100));
    CHECK(line_at(still, 100)->present_share == Approx(0.75));
    REQUIRE(line_at(still, 200));
    CHECK(line_at(still, 200)->present_share == Approx(0.75));
    REQUIRE(line_at(still, 300));
    CHECK(line_at(still, 300)->present_share == 1.0);
}

TEST_CASE("a line's wander is the rms of its smoothed place, less what noise does to it", "[still_lines]") {
    const auto wander = [](std::size_t columns, double height) {
        ColumnMap map = level_map(401, std::vector<double>(columns, 1.0));
        for (std::size_t t = 0; t < columns; ++t) put_lobe(map.density[t], 100, t < columns / 2 ? 100.3 : 99.7, height);
        const StillSpectrum still = still_spectrum(averaged(map));
        REQUIRE(still.lines.size() == 1);
        return still.lines[0].wander_hz;
    };
    // places of 12 columns, three averaged: four times +0.3, +0.1, -0.1, four times -0.3; noise's part 0.3 / excess / 2
    const double excess = 50.0 * std::exp(-0.8 * 0.09) / kNoise - 1.0;
    CHECK(wander(12, 50.0) == Approx(std::sqrt((8 * 0.09 + 2 * 0.01) / 10 - 0.15 / excess)).epsilon(1e-4));
    CHECK(wander(6, 50.0) > 0.1);
    CHECK(wander(5, 50.0) == 0.0);     // too few columns
    CHECK(wander(12, 10.5) > 0.1);
    CHECK(wander(12, 9.0) == 0.0);     // excess 8 and more
}

TEST_CASE("bins two hertz wide hold twice the power, and their lines lie at twice the place", "[still_lines]") {
    ColumnMap map = level_map(401, kEven);
    map.bin_hz = 2.0;
    map.sample_rate_hz *= 2;
    for (std::size_t t = 0; t < 12; ++t) {
        put_lobe(map.density[t], 100, 100.2, 40.0);
        put_lobe(map.density[t], 200, t < 6 ? 200.3 : 199.7, 40.0);
    }
    const StillSpectrum still = still_spectrum(averaged(map));
    REQUIRE(still.lines.size() == 2);
    CHECK(still.lines[0].frequency_hz == Approx(200.4).margin(1e-5));
    double sum = 0;
    for (int j = -2; j <= 2; ++j) sum += 40.0 * std::exp(-0.8 * std::pow(j - 0.2, 2)) - kNoise;
    CHECK(still.lines[0].mean_square == Approx(2 * sum));
    CHECK(still.lines[0].frequency_sd_hz == Approx(2 * std::hypot(0.7 / std::sqrt(10 * still.lines[0].excess), 0.03)));
    CHECK(still.lines[1].frequency_hz == Approx(400).margin(1e-5));
    CHECK(still.lines[1].wander_hz == Approx(2 * std::sqrt(0.074 - 0.15 / still.lines[1].excess)).epsilon(1e-4));
    CHECK(still.peak_near(420.0, 40.0).frequency_hz == Approx(400).margin(1e-5));
    CHECK(still.bin_of(400.9) == 200);
}
