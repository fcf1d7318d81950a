// What is read from spectra over time that are written down bin by bin: humps, combs that sound for a while, a column's level.
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <numbers>

#include "hushtrace/measure/comb_stretch.hpp"
#include "hushtrace/measure/humps.hpp"
#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"

using namespace hushtrace;
using std::numbers::pi;

namespace {

/// Columns of 2049 bins, of 1 Hz where nothing is said, half a second apart, all of them at their usual level.
ColumnMap map_of(std::size_t columns, const std::function<double(std::size_t t, std::size_t k)>& density, double bin_hz = 1) {
    ColumnMap map;
    map.sample_rate_hz = 4096 * bin_hz, map.bin_hz = bin_hz, map.hop_s = 0.5, map.column_s = 1, map.averages = static_cast<double>(columns);
    map.mean.assign(2049, 0.0);
    map.band_of.assign(2049, 0);
    for (std::size_t t = 0; t < columns; ++t) {
        map.time_s.push_back(0.5 + 0.5 * static_cast<double>(t));
        map.level.push_back({1.0});
        auto& column = map.density.emplace_back(2049);
        for (std::size_t k = 0; k < column.size(); ++k) {
            column[k] = static_cast<float>(density(t, k));
            map.mean[k] += density(t, k) / static_cast<double>(columns);
        }
    }
    return map;
}
StillSpectrum still_of(const ColumnMap& map, double noise = 1) {
    StillSpectrum still;
    still.sample_rate_hz = map.sample_rate_hz, still.bin_hz = map.bin_hz, still.averages = map.averages;
    still.density = map.mean;
    still.noise.assign(map.bins(), noise);
    return still;
}
HumpSearch at(double hz, double least_ratio = 3) {
    HumpSearch search;
    search.from_hz = hz;
    search.to_hz = hz + 0.5;
    search.shapes = {{0.03, 0.09, 0.16, least_ratio}};
    return search;
}
bool within(std::size_t k, std::size_t from, std::size_t to) { return k >= from && k <= to; }

}  // namespace

TEST_CASE("a hump is read against the higher of the medians beside it", "[humps]") {
    // middle 970 to 1030 Hz, sides 840 to 910 and 1090 to 1160; nothing of the hump reaches them
    const auto hump = [](std::size_t, std::size_t k) { return within(k, 950, 1050) ? 10.0 : k < 1000 ? 0.5 : 1.0; };
    const ColumnMap map = map_of(20, hump);
    const auto found = find_humps(map, still_of(map), at(1000));
    REQUIRE(found.size() == 1);
    CHECK(found[0].frequency_hz == Approx(1000));
    CHECK(found[0].above_db == Approx(10.0));
    CHECK(found[0].low_hz == Approx(940));     // half way between the middle and the sides
    CHECK(found[0].high_hz == Approx(1060));
    CHECK(found[0].mean_square == Approx(101 * 9 - 10 * 0.5).epsilon(0.001));
    // 61 bins against 70, of which a median is worth 0.55 and a Hann window leaves one in 1.94 independent; 20 columns
    const double worth = 20 * 0.55 / 1.94;
    CHECK(found[0].surprise == Approx(surprise_of_ratio(10.0 / 3, 61 * worth, 70 * worth)).epsilon(1e-6));
    REQUIRE(found[0].evenness);
    CHECK(*found[0].evenness == Approx(2.0));   // each column fills all its bins: twice what exponentials do

    // the same bins, of 2 Hz: twice the frequency and the power
    const ColumnMap doubled = map_of(20, hump, 2);
    const auto higher = find_humps(doubled, still_of(doubled), at(2000));
    REQUIRE(higher.size() == 1);
    CHECK(higher[0].low_hz == Approx(1880));
    CHECK(higher[0].mean_square == Approx(2 * found[0].mean_square));
    CHECK(higher[0].surprise == Approx(found[0].surprise));
    // medians: 31 of the 61 bins in the middle, 35 of the 70 below; one fewer, or one more, and they are others'
    for (const std::size_t more : {0U, 1U}) {
        const ColumnMap just = map_of(20, [=](std::size_t, std::size_t k) { return within(k, 1000 + more, 1030) ? 10.0 : 1.0; });
        CHECK(find_humps(just, still_of(just), at(1000)).size() == 1 - more);
        const auto high = [](std::size_t k, std::size_t from, std::size_t to) { return within(k, 960, 1040) || within(k, from, to) ? 10.0 : 1.0; };
        const ColumnMap beside = map_of(20, [=](std::size_t, std::size_t k) { return high(k, 840, 873 + more); });
        CHECK(find_humps(beside, still_of(beside), at(1000)).size() == 1 - more);
        const ColumnMap above = map_of(20, [=](std::size_t, std::size_t k) { return high(k, 1126 - more, 1159); });
        CHECK(find_humps(above, still_of(above), at(1000)).size() == 1 - more);
    }

    for (const double height : {2.9, 3.4}) {   // three times the sides are asked for, and more by chance
        const ColumnMap low = map_of(400, [=](std::size_t, std::size_t k) { return within(k, 950, 1050) ? height : 1.0; });
        CHECK(find_humps(low, still_of(low), at(1000)).size() == (height > 3 ? 1U : 0U));
    }
    // a side that stands as high, the upper or the lower: a step of the noise
    for (const bool upper : {true, false}) {
        const ColumnMap step = map_of(20, [=](std::size_t, std::size_t k) { return (upper ? k > 960 : k < 1040) ? 10.0 : 1.0; });
        CHECK(find_humps(step, still_of(step), at(1000)).empty());
    }
    const ColumnMap flat = map_of(20, [](std::size_t, std::size_t) { return 0.0; });
    CHECK(find_humps(flat, still_of(flat), at(1000)).empty());
}

TEST_CASE("a hump stands in the middle column too, and is filled evenly or by a line that strays", "[humps]") {
    for (const std::size_t columns : {9U, 12U}) {   // of 20, ten times as strong as all together
        const ColumnMap map = map_of(20, [=](std::size_t t, std::size_t k) { return within(k, 950, 1050) && t < columns ? 10.0 : 1.0; });
        CHECK(find_humps(map, still_of(map), at(1000)).size() == (columns > 10 ? 1U : 0U));
    }
    // in the middle column it stands by the root of what is asked for
    for (const double usual : {1.6, 1.9}) {
        const ColumnMap map = map_of(21, [=](std::size_t t, std::size_t k) { return !within(k, 950, 1050) ? 1.0 : t < 6 ? 20.0 : usual; });
        CHECK(find_humps(map, still_of(map), at(1000)).size() == (usual > std::sqrt(3.0) ? 1U : 0U));
    }
    // a third of the bins in each column, another one in the next: (sum)^2 / sum of squares is a third of the width
    const ColumnMap straying = map_of(21, [](std::size_t t, std::size_t k) { return !within(k, 940, 1060) ? 1e-3 : k % 3 == t % 3 ? 30.0 : 0.0; });
    StillSpectrum still = still_of(straying);
    HumpSearch search = at(1000);
    const ColumnMap even = map_of(21, [](std::size_t, std::size_t k) { return within(k, 940, 1060) ? 10.0 : 1e-3; });
    CHECK(*find_humps(even, still_of(even), search).at(0).evenness == Approx(2.0).epsilon(0.01));
    ColumnMap both = even;   // filled as the one shows it, while it stands in the middle column of the other
    for (std::size_t t = 0; t < 21; ++t)
        for (std::size_t k = 940; k <= 1060; ++k) both.density[t][k] = t % 2 == 0 ? (k % 3 != t % 3 ? 10.0F : 0.1F) : 10.0F;
    const double two_thirds = *find_humps(both, still_of(both), search).at(0).evenness;
    CHECK(two_thirds == Approx(2.0 * 0.68).epsilon(0.02));   // eleven of 21 columns hold two thirds of the bins, and a trace in the last
    const ColumnMap few = map_of(3, [](std::size_t, std::size_t k) { return within(k, 940, 1060) ? 10.0 : 1e-3; });
    CHECK_FALSE(find_humps(few, still_of(few), search).at(0).evenness);
    // less than twelve bins wide it can't be told
    search.shapes = {{0.005, 0.009, 0.03, 3}};
    for (const std::size_t half : {5U, 7U}) {
        const ColumnMap narrow = map_of(21, [=](std::size_t, std::size_t k) { return within(k, 1000 - half, 1000 + half) ? 10.0 : 1e-3; });
        const auto found = find_humps(narrow, still_of(narrow), search);
        REQUIRE(found.size() == 1);
        CHECK(found[0].evenness.has_value() == (half > 5));
    }
}

TEST_CASE("humps are looked for everywhere, at a price, and those that overlap are one", "[humps]") {
    // three shapes, in steps of 0.7 times the middle's half: ln of the number of places comes off the surprise
    const ColumnMap map = map_of(40, [](std::size_t, std::size_t k) { return within(k, 380, 420) ? 30.0 : within(k, 950, 1050) ? 10.0 : 1.0; });
    HumpSearch search;
    search.from_hz = 200;
    search.shapes = {{0.03, 0.09, 0.16, 3.0}};
    const auto found = find_humps(map, still_of(map), search);
    REQUIRE(found.size() == 2);
    CHECK(found[0].frequency_hz == Approx(400).epsilon(0.05));
    CHECK(found[1].frequency_hz == Approx(1000).epsilon(0.05));
    CHECK(found[0].above_db == Approx(10 * std::log10(30.0)));
    int places = 0;
    for (double hz = 200; hz < 0.42 * 4096; hz *= 1.021) ++places;
    const auto alone = find_humps(map, still_of(map), at(found[1].frequency_hz));
    REQUIRE(alone.size() == 1);
    CHECK(alone[0].surprise - found[1].surprise == Approx(std::log(places)));
    // of the places that overlap the one that surprises most
    for (double hz = 200; hz < 0.42 * 4096; hz *= 1.021)
        for (const Hump& one : find_humps(map, still_of(map), at(hz)))
            CHECK(one.surprise <= (hz < 600 ? found[0] : found[1]).surprise + std::log(places) + 1e-9);
    search.least_surprise = found[1].surprise + 0.01;
    const auto one = find_humps(map, still_of(map), search);
    CHECK(one.size() == (found[0].surprise > found[1].surprise ? 1U : 0U));
    search.least_surprise = found[1].surprise - 0.01;
    CHECK(find_humps(map, still_of(map), search).size() >= 1);
    // the search's own ends
    search.least_surprise = 8.3;
    search.from_hz = 600;
    CHECK(find_humps(map, still_of(map), search).size() == 1);
    search.to_hz = 800;
    CHECK(find_humps(map, still_of(map), search).empty());
    const ColumnMap high = map_of(40, [](std::size_t, std::size_t k) { return k > 1790 && k < 1900 ? 10.0 : 1.0; });   // 0.45 of the rate
    CHECK(find_humps(high, still_of(high)).empty());
    StillSpectrum few = still_of(map);
    few.density.resize(199);
    CHECK(find_humps(map, few).empty());
}

TEST_CASE("a comb's stretch of time is that whose places surprise most, its teeth read over the whole", "[comb_stretch]") {
    // spacing 50 Hz, eight places up to 400 Hz, four times the noise from column 3 to 8 of 20
    const auto comb = [](std::size_t t, std::size_t k) { return k > 0 && k % 50 == 0 && k <= 400 && within(t, 3, 8) ? 4.0 : 1.0; };
    const ColumnMap map = map_of(20, comb);
    const StillSpectrum still = still_of(map);
    const CombPlaces places{.most_number = 8, .to_hz = 20000.0, .spoken_for = {}, .doubtful = {}};
    const auto found = find_comb_stretch(map, still, 50.0, 1e-4, places, 8.3);
    REQUIRE(found);
    CHECK(found->from_s == Approx(0.5 + 3 * 0.5 - 0.25));
    CHECK(found->to_s == Approx(0.5 + 8 * 0.5 + 0.25));
    CHECK_FALSE(found->throughout);
    // 48 cells, 18/19 of them independent (Welch 1967), less 20 * 21 / 2 stretches and five spacings
    CHECK(found->surprise == Approx(surprise_of_gamma(4.0, 48 * 18 / 19.0) - std::log(210 * 5.0)).epsilon(1e-6));
    CHECK(found->comb.places == 8);
    CHECK(found->comb.spacing_hz == Approx(50.0).epsilon(2e-4));
    CHECK(found->comb.spacing_sd_hz == Approx(1e-4 * 50 / 5).epsilon(0.01));
    REQUIRE(found->comb.teeth.size() == 8);
    const double each = surprise_of_gamma(4.0, 6 * 18 / 19.0);
    for (std::size_t i = 0; i < 8; ++i) {
        const CombTooth& tooth = found->comb.teeth[i];
        CHECK(tooth.number == static_cast<int>(i + 1));
        CHECK(tooth.frequency_hz == Approx(50.0 * static_cast<double>(i + 1)).epsilon(2e-4));
        CHECK(tooth.frequency_sd_hz == Approx(0.3));
        CHECK(tooth.surprise == Approx(each).epsilon(1e-5));
        REQUIRE(tooth.mean_square.size() == 1);
        CHECK(tooth.mean_square[0] == Approx(3.0 * 6 / 20).epsilon(1e-5));   // of the noise it has three times as much, six columns of twenty
    }
    CHECK(found->comb.surprise == Approx(surprise_of_sum(8 * (each - 1.5), 8, 1.5)).epsilon(1e-5));
    CHECK(found->comb.surprise_of_rest == Approx(surprise_of_sum(7 * (each - 1.5), 7, 1.5)).epsilon(1e-5));
    CHECK_FALSE(find_comb_stretch(map, still, 50.0, 1e-4, places, found->surprise + 0.01));
    CHECK(find_comb_stretch(map, still, 50.0, 1e-4, places, found->surprise - 0.01));
    // a tooth's power is that of its bin and two on either side; bins of 2 Hz
    const ColumnMap wide = map_of(20, [](std::size_t t, std::size_t k) {
        const std::size_t off = std::min(k % 50, 50 - k % 50);
        return k < 40 || k > 410 || !within(t, 3, 8) ? 1.0 : off == 0 ? 4.0 : off == 1 ? 2.0 : off == 2 ? 1.5 : off == 3 ? 2.5 : 1.0;
    }, 2);
    const auto skirts = find_comb_stretch(wide, still_of(wide), 100.0, 1e-4, places, 8.3);
    REQUIRE(skirts);
    REQUIRE(skirts->comb.teeth.size() == 8);
    CHECK(skirts->comb.teeth[3].mean_square[0] == Approx(2 * (3 + 2 * 1 + 2 * 0.5) * 6 / 20).epsilon(1e-5));
    CHECK(skirts->comb.teeth[3].frequency_hz == Approx(400).epsilon(2e-4));
    CHECK(skirts->comb.teeth[3].frequency_sd_hz == Approx(0.6));
    // against the noise under it and the level of the moment
    ColumnMap louder = map;
    for (std::size_t t = 0; t < 20; ++t) {
        louder.level[t][0] = 2;
        for (float& one : louder.density[t]) one *= 6;
    }
    const auto same = find_comb_stretch(louder, still_of(louder, 3), 50.0, 1e-4, places, 8.3);
    REQUIRE(same);
    CHECK(same->surprise == Approx(found->surprise).epsilon(1e-5));
    CHECK(same->comb.teeth.at(2).surprise == Approx(each).epsilon(1e-5));
    // of a tooth's surprise 40 count at most
    const ColumnMap loud = map_of(20, [](std::size_t t, std::size_t k) { return k > 0 && k % 50 == 0 && k <= 400 && t < 18 ? 11.0 : 1.0; });
    const auto most = find_comb_stretch(loud, still_of(loud), 50.0, 1e-4, places, 8.3);
    REQUIRE(most);
    REQUIRE(most->comb.teeth.at(0).surprise > 65);
    CHECK(most->comb.surprise == Approx(surprise_of_sum(8 * 38.5, 8, 1.5)).epsilon(1e-6));
    CHECK(most->comb.surprise_of_rest == Approx(surprise_of_sum(7 * 38.5, 7, 1.5)).epsilon(1e-6));
    // a tooth stands from a surprise of 3 on
    for (const double asked : {2.8, 3.2}) {
        double height = 1;
        while (surprise_of_gamma(height, 6 * 18 / 19.0) < asked) height += 0.001;
        const ColumnMap faint = map_of(20, [=](std::size_t t, std::size_t k) { return k == 250 && within(t, 3, 8) ? height : comb(t, k); });
        const auto read = find_comb_stretch(faint, still_of(faint), 50.0, 1e-4, places, 8.3);
        REQUIRE(read);
        CHECK(read->comb.teeth.size() == (asked < 3 ? 7U : 8U));
        CHECK(read->comb.places == 8);
    }
}

TEST_CASE("a comb's places end with the band, and its neighbours must not reach as far", "[comb_stretch]") {
    const auto comb = [](std::size_t most) {
        return [most](std::size_t t, std::size_t k) { return k > 0 && k % 100 == 0 && k <= most && t < 19 ? 6.0 : 1.0; };
    };
    const auto wanted = [](int number, double to_hz) { return CombPlaces{.most_number = number, .to_hz = to_hz, .spoken_for = {}, .doubtful = {}}; };
    const ColumnMap map = map_of(20, comb(2000));
    const auto found = [&](int number, double to_hz) { return find_comb_stretch(map, still_of(map), 100.0, 1e-5, wanted(number, to_hz), 8.3); };
    REQUIRE(found(40, 20000));
    CHECK(found(40, 20000)->comb.places == 18);   // 0.45 of 4096 Hz is 1843
    CHECK(found(40, 1100.5)->comb.places == 11);
    CHECK(found(40, 1099)->comb.places == 10);
    CHECK(found(7, 20000)->comb.places == 7);
    CHECK(found(3, 20000)->comb.places == 3);
    CHECK_FALSE(found(2, 20000));
    CHECK(found(7, 20000)->throughout);   // 19 of 20 columns
    const ColumnMap part = map_of(20, [](std::size_t t, std::size_t k) { return k > 0 && k % 100 == 0 && t < 17 ? 6.0 : 1.0; });
    CHECK_FALSE(find_comb_stretch(part, still_of(part), 100.0, 1e-5, wanted(7, 20000), 8.3)->throughout);
    // a place below bin 5 or without noise is none
    CHECK_FALSE(find_comb_stretch(map, still_of(map, 0), 100.0, 1e-5, wanted(7, 20000), 8.3));
    const ColumnMap dense = map_of(20, [](std::size_t, std::size_t k) { return k > 0 && k % 2 == 0 && k <= 20 ? 6.0 : 1.0; });
    CHECK(find_comb_stretch(dense, still_of(dense), 2.0, 1e-5, wanted(10, 20000), -1e9)->comb.places == 8);
    // a cell counts for twelve times its noise at most
    const auto surprise = [&](double height) {
        const ColumnMap high = map_of(20, [=](std::size_t t, std::size_t k) { return k > 0 && k % 100 == 0 && k <= 700 && t == 4 ? height : 1.0; });
        return find_comb_stretch(high, still_of(high), 100.0, 1e-5, wanted(7, 20000), 8.3)->surprise;
    };
    CHECK(surprise(12) == Approx(surprise_of_gamma(12.0, 7 * 18 / 19.0) - std::log(1050.0)).epsilon(1e-6));
    CHECK(surprise(50) == Approx(surprise(12)));
    CHECK(surprise(11.5) < surprise(12) - 0.1);
    // what stands as high at a spacing near by is no comb: half as much again is asked for
    const auto beside = [&](int step) {
        const double near = 100 * (1 + 0.0067 * step);
        const ColumnMap two = map_of(20, [=](std::size_t, std::size_t k) {
            const double bin = static_cast<double>(k), n = std::max(1.0, std::round(bin / near));
            return k > 0 && (k % 100 == 0 || std::lround(n * near) == std::lround(bin)) ? 4.0 : 1.0;
        });
        return find_comb_stretch(two, still_of(two), 100.0, 1e-5, wanted(15, 20000), 8.3).has_value();
    };
    for (const int step : {-6, -5, -4, -3, -2, 2, 3, 4, 5, 6}) CHECK_FALSE(beside(step));
    CHECK(beside(8));
    // of spacings within the tolerance the best
    const ColumnMap high = map_of(20, [](std::size_t, std::size_t k) {
        const double n = std::round(static_cast<double>(k) / 100.25);
        return n > 0 && static_cast<double>(k) == std::round(n * 100.25) ? 6.0 : 1.0;
    });
    const auto off = find_comb_stretch(high, still_of(high), 100.0, 0.005, wanted(15, 20000), 8.3);
    REQUIRE(off);
    CHECK(off->comb.spacing_hz == Approx(100.25));   // 0, 0.25 and 0.5 % either way are tried
    CHECK(off->comb.spacing_sd_hz == Approx(0.005 * 100.25 / 5));
}

TEST_CASE("a map's columns follow each other by half a window, each with the level of its moment", "[column_map]") {
    // noise-like: sines of one height in each bin of 4 Hz, with odd phases; 6 dB up from 2 s on
    const double rate = 4096;
    const auto length = static_cast<double>(fast_length(1024));
    REQUIRE(length == 1024);
    std::vector<double> sound(4 * 4096), swollen;
    for (std::size_t n = 0; n < 1024; ++n)   // they all repeat after a quarter of a second
        for (int k = 1; k < 512; ++k)
            sound[n] += 1e-3 * std::sin(2 * pi * (4.0 * k * static_cast<double>(n) / rate + 0.37 * k * k));
    for (std::size_t n = 1024; n < sound.size(); ++n) sound[n] = sound[n - 1024];
    swollen = sound;
    for (std::size_t n = 8192; n < swollen.size(); ++n) swollen[n] *= 2;
    const ColumnMap map = column_map(swollen, rate, 0.25);
    CHECK(map.bin_hz == Approx(4.0));
    CHECK(map.hop_s == Approx(0.125));
    CHECK(map.column_s == Approx(0.25));
    REQUIRE(map.bins() == 513);
    REQUIRE(map.time_s.size() == 31);
    CHECK(map.time_s[0] == Approx(0.125));
    CHECK(map.time_s[30] == Approx(3.875));
    CHECK(map.averages == Approx(31 * 18 / 19.0));   // Welch 1967
    CHECK(map.bin_of(101) == 25);
    CHECK(map.bin_of(-5) == 0);
    CHECK(map.bin_of(1e6) == 512);
    CHECK(map.frequency_hz(25) == Approx(100));
    // bands: below 100 Hz, 100 to 200, 200 to 400, and so on
    CHECK(map.band_of[24] == 0);
    CHECK(map.band_of[25] == 1);
    CHECK(map.band_of[50] == 2);
    CHECK(map.band_of[49] == 1);
    CHECK(map.band_of[512] == 5);
    // two powers, 1 and 4, as long as each other: 0.4 and 1.6 times their mean
    for (std::size_t b = 1; b < 6; ++b) {
        CHECK(map.level[3][b] == Approx(0.4).epsilon(0.1));
        CHECK(map.level[28][b] == Approx(1.6).epsilon(0.1));
        double mean = 0;
        for (const auto& level : map.level) mean += level[b] / 31;
        CHECK(mean == Approx(1.0));
    }
    double mean = 0;
    for (const auto& column : map.density) mean += static_cast<double>(column[100]) / 31;
    CHECK(map.mean[100] == Approx(mean));
    CHECK(map.levelled(28, 100) == Approx(static_cast<double>(map.density[28][100]) / map.level[28][map.band_of[100]]));
    // density: a sine in each bin, and a Hann window's bin is 1.5 wide: neighbours add to it by their phases, on the whole nothing
    double power = 0;
    for (std::size_t k = 2; k < 511; ++k) power += static_cast<double>(map.density[3][k]) * 4;
    double square = 0;
    for (std::size_t n = 0; n < 8192; ++n) square += sound[n] * sound[n] / 8192;
    CHECK(power == Approx(square).epsilon(0.05));
    // half the stretch where the window is longer; three columns at least, and a tenth of a second
    const ColumnMap brief = column_map(std::span(sound).first(1024), rate, 1.0);
    CHECK(brief.bin_hz == Approx(8.0));
    CHECK(brief.time_s.size() == 3);
    CHECK(column_map(std::span(sound).first(1030), rate, 1.0).time_s.size() >= 3);
    CHECK(column_map(std::span(sound).first(410), rate, 1.0).time_s.size() >= 3);
    CHECK_THROWS_AS(column_map(std::span(sound).first(409), rate, 1.0), Error);
    CHECK_THROWS_AS(column_map({}, rate), Error);
    const ColumnMap silence = column_map(std::vector<double>(4096, 0.0), rate, 0.25);
    for (const auto& level : silence.level) CHECK(level[1] == Approx(1.0));
}
