#include "hushtrace/measure/lines.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

namespace {

PowerSpectrum spectrum_of(const std::vector<double>& x) {
    SpectrumAccumulator spectrum(kRate, 48000);
    spectrum.add(x);
    return spectrum.result();
}

/// A spectrum written down bin by bin: `bins` of them, flat, with averages enough that the bin of a line is no chance.
PowerSpectrum flat(std::size_t bins, double density, double bin_hz, double averages = 50.0) {
    PowerSpectrum s;
    s.length = 2 * (bins - 1);
    s.sample_rate_hz = bin_hz * static_cast<double>(s.length);
    s.noise_bandwidth_hz = 1.5 * bin_hz;
    s.effective_averages = averages;
    s.effective_duration_s = 25.0;
    s.density.assign(bins, density);
    return s;
}
std::vector<SpectralLine> lines_over(const PowerSpectrum& s, double floor, double from_hz = 0.0, double to_hz = 1e9) {
    return find_lines(s, std::vector<double>(s.density.size(), floor), from_hz, to_hz);
}
/// The ratio to its mean that an average of so many exponentials passes with z standard deviations (Wilson, Hilferty 1931).
double passed(double averages, double z) {
    const double variance = 1.0 / (9.0 * averages);
    return std::pow(1.0 - variance + z * std::sqrt(variance), 3);
}
double db(double ratio) { return 10.0 * std::log10(ratio); }

}  // namespace

TEST_CASE("tones between bins read their frequency within a tenth of a bin and their level within 0.3 dB",
          "[lines]") {
    auto x = noise(10.0, 0.001, 2);
    const std::vector<double> frequencies = {50.02, 99.5, 150.31, 997.25, 5000.5, 15999.9};
    for (const double f : frequencies) add_tone(x, f, 0.001, 0.0);
    const auto spectrum = spectrum_of(x);
    const auto lines = find_lines(spectrum, noise_under_lines(spectrum), 15.0, 20000.0);
    REQUIRE(lines.size() == frequencies.size());
    for (std::size_t i = 0; i < lines.size(); ++i) {
        CHECK(lines[i].frequency_hz == Approx(frequencies[i]).margin(0.1));
        CHECK(10 * std::log10(lines[i].mean_square / 0.5e-6) == Approx(0.0).margin(0.3));
        CHECK(std::abs(lines[i].frequency_hz - frequencies[i]) < 5 * lines[i].frequency_sd_hz);
    }
}

TEST_CASE("noise alone has no lines, and its floor reads its density", "[lines]") {
    std::size_t false_alarms = 0;
    for (unsigned seed = 50; seed < 58; ++seed) {
        const auto spectrum = spectrum_of(noise(6.0, 0.1, seed));
        const auto floor = noise_under_lines(spectrum);
        false_alarms += find_lines(spectrum, floor, 15.0, 20000.0).size();
        double mean = 0;
        for (std::size_t k = 100; k < 20000; ++k) mean += floor[k] / 19900.0;
        CHECK(mean == Approx(0.01 * 2.0 / kRate).epsilon(0.03));
    }
    CHECK(false_alarms <= 1);
}

TEST_CASE("a strong tone's own skirt is not taken for lines", "[lines]") {
    auto x = noise(10.0, 1e-6, 2);
    add_tone(x, 1000.37, 0.5, 0.0);
    const auto spectrum = spectrum_of(x);
    std::size_t near = 0;
    for (const auto& line : find_lines(spectrum, noise_under_lines(spectrum), 15.0, 20000.0))
        if (std::abs(line.frequency_hz - 1000.37) < 30) ++near;
    CHECK(near == 1);
}

TEST_CASE("a wandering tone is read by its band within 0.3 dB, by one bin far too low", "[lines]") {
    const auto [frequency_hz, share] = GENERATE(table<double, double>(
        {{400.0, 0.01}, {400.0, 0.03}, {1240.0, 0.02}, {3700.0, 0.01}, {3700.0, 0.03}, {8000.0, 0.03}}));
    CAPTURE(frequency_hz, share);
    const double amplitude = 0.002, truth = amplitude * amplitude / 2;
    auto x = noise(10.0, 0.001, 12);
    add_tone(x, frequency_hz, amplitude, share);
    add_tone(x, 50.0, 0.01, 0.0);  // a still one elsewhere doesn't count
    const auto spectrum = spectrum_of(x);
    const double reach = 2.6 * share * frequency_hz + 3.0;  // the speed is three sines: their peaks add up to 2.45 rms
    const auto line = line_in_band(spectrum, noise_under_lines(spectrum, 120.0, 0.3), frequency_hz - reach,
                                   frequency_hz + reach);
    CHECK(std::abs(10 * std::log10(line.mean_square / truth)) < 0.3);
    CHECK(line.mean_square_sd < 0.05 * truth);
    CHECK(std::abs(line.mean_square - truth) < 4 * line.mean_square_sd + 0.01 * truth);
    CHECK(line.frequency_hz == Approx(frequency_hz).epsilon(0.01));
    double best_bin = 0;
    for (std::size_t k = spectrum.bin_of(line.low_hz); k <= spectrum.bin_of(line.high_hz); ++k)
        best_bin = std::max(best_bin, spectrum.tone_mean_square(k));
    CHECK(10 * std::log10(best_bin / truth) < -6);
}

TEST_CASE("the floor of a flat spectrum is its mean, of a slope the slope", "[lines]") {
    for (const double averages : {1.0, 50.0}) {
        // the median is passed with no standard deviation
        const auto under = noise_under_lines(flat(301, 3.0, 2.0, averages));
        REQUIRE(under.size() == 301);
        for (const double one : under) CHECK(one == Approx(3.0 / passed(averages, 0.0)).epsilon(1e-12));
    }
    PowerSpectrum slope = flat(1001, 0.0, 1.0);
    for (std::size_t k = 0; k < slope.density.size(); ++k) slope.density[k] = static_cast<double>(k);
    const auto under = noise_under_lines(slope);
    for (std::size_t k = 9; k <= 990; ++k) CHECK(under[k] * passed(50.0, 0.0) == Approx(static_cast<double>(k)).epsilon(1e-9));
    // the first bin's median is that of bins 1 to 9, and holds down to 0 Hz
    CHECK(under[1] * passed(50.0, 0.0) == Approx(5.0));
    CHECK(under[0] == under[1]);
    CHECK(under[1000] == under[999]);
    CHECK(noise_under_lines(flat(2, 1.0, 1.0)) == std::vector<double>{0.0, 0.0});
    CHECK(noise_under_lines(flat(3, 1.0, 1.0)).front() == Approx(1.0 / passed(50.0, 0.0)));
}

TEST_CASE("what is less than half of a stretch leaves the floor alone, more than half lifts it", "[lines]") {
    const auto highest = [](double bin_hz, double least_hz, double share, std::size_t from, std::size_t wide) {
        PowerSpectrum s = flat(2001, 1.0, bin_hz);
        for (std::size_t k = from; k < from + wide; ++k) s.density[k] = 100.0;
        const auto under = noise_under_lines(s, least_hz, share);
        return *std::max_element(under.begin(), under.end()) * passed(50.0, 0.0);
    };
    // 40 Hz either way in bins of 2 Hz: 41 bins
    CHECK(highest(2.0, 40.0, 0.0, 990, 20) == Approx(1.0));
    CHECK(highest(2.0, 40.0, 0.0, 990, 21) == Approx(100.0));
    // never fewer than 8 bins either way: 17
    CHECK(highest(2.0, 1.0, 0.0, 990, 8) == Approx(1.0));
    CHECK(highest(2.0, 1.0, 0.0, 990, 9) == Approx(100.0));
    // a tenth of the frequency at bin 1000: 201 bins, a few more and fewer beside it
    CHECK(highest(1.0, 5.0, 0.1, 956, 88) == Approx(1.0));
    CHECK(highest(1.0, 5.0, 0.1, 944, 112) == Approx(100.0));
}

TEST_CASE("every figure of a steady tone's line follows from its three bins", "[lines]") {
    // a Hann window shows a tone of mean square p in bins of p / (1.5 bin) times 1, 1/4, 1/4
    const double floor = 1e-12, p = 1e-8, bin_hz = 2.0, peak = p / (1.5 * bin_hz);
    PowerSpectrum s = flat(1001, floor, bin_hz);
    s.density[100] += peak;
    s.density[99] += peak / 4;
    s.density[101] += peak / 4;
    s.density[103] = 5 * floor / 4;   // the higher of those three bins off
    const auto found = lines_over(s, floor);
    REQUIRE(found.size() == 1);
    const SpectralLine& line = found.front();
    const double ratio = peak / floor + 1.0, noise = 5 * floor * bin_hz;  // five bins of the window's lobe
    CHECK(line.frequency_hz == Approx(200.0));
    CHECK(line.frequency_sd_hz == Approx(bin_hz * std::hypot(1.0 / std::sqrt(50.0 * ratio), 0.03)));
    CHECK(line.mean_square == Approx(p));
    CHECK(line.mean_square_sd == Approx(std::sqrt((noise * noise + 2 * noise * p) / 50.0)));
    CHECK(line.floor_density == floor);
    CHECK(line.prominence_db == Approx(db(ratio)));
    CHECK(line.sharpness_db == Approx(db(ratio / 1.25)));
    CHECK(line.low_hz == 196.0);
    CHECK(line.high_hz == 204.0);
    CHECK(line.width_hz == 10.0);
    // a weak one's frequency is as unsure as its noise is
    PowerSpectrum weak = flat(1001, floor, bin_hz, 4.0);
    weak.density[100] = 20 * floor;
    REQUIRE(lines_over(weak, floor).size() == 1);
    CHECK(lines_over(weak, floor)[0].frequency_sd_hz == Approx(bin_hz * std::hypot(1.0 / std::sqrt(4.0 * 20.0), 0.03)));
}

TEST_CASE("a line between two bins lies at the top of the parabola through their logarithms", "[lines]") {
    for (const double off : {-0.4, 0.0, 0.3}) {
        PowerSpectrum s = flat(1001, 1e-12, 2.0);
        for (int k = -3; k <= 3; ++k) s.density[static_cast<std::size_t>(100 + k)] += std::exp(-1.3 * (k - off) * (k - off));
        const auto found = lines_over(s, 1e-12);
        REQUIRE(found.size() == 1);
        CHECK(found[0].frequency_hz == Approx(2.0 * (100 + off)).margin(1e-6));
    }
    PowerSpectrum s = flat(1001, 1e-12, 2.0);
    s.density[100] = s.density[101] = 1e-6;   // two alike: halfway
    REQUIRE(lines_over(s, 1e-12).size() == 1);
    CHECK(lines_over(s, 1e-12)[0].frequency_hz == Approx(201.0));
}

TEST_CASE("a line is a bin that five standard deviations of noise do not reach, and the highest of its neighbours", "[lines]") {
    const auto count = [](auto&& change, double averages = 50.0, double floor = 1.0) {
        PowerSpectrum s = flat(1001, 1.0, 2.0, averages);
        change(s.density);
        return lines_over(s, floor).size();
    };
    for (const double averages : {10.0, 50.0}) {
        CHECK(count([&](auto& d) { d[100] = passed(averages, 5.0) * 0.999; }, averages) == 0);
        CHECK(count([&](auto& d) { d[100] = passed(averages, 5.0) * 1.001; }, averages) == 1);
    }
    // fewer than one average counts as one
    CHECK(count([&](auto& d) { d[100] = passed(1.0, 5.0) * 0.999; }, 0.2) == 0);
    CHECK(count([&](auto& d) { d[100] = passed(1.0, 5.0) * 1.001; }, 0.2) == 1);
    CHECK(count([](auto& d) { d[100] = 1e4; }, 50.0, 0.0) == 0);        // no floor, no line
    for (const std::size_t higher : {98U, 99U, 101U, 102U}) {           // one line, there
        PowerSpectrum s = flat(1001, 1.0, 2.0);
        s.density[100] = 1e4;
        s.density[higher] = 1.1e4;
        const auto found = lines_over(s, 1.0);
        REQUIRE(found.size() == 1);
        CHECK(found[0].frequency_hz == Approx(2.0 * static_cast<double>(higher)).margin(1.01));
        CHECK(found[0].prominence_db == Approx(db(1.1e4)));
    }
    // what lies under the floor beside it takes more off than the peak adds: no line
    CHECK(count([](auto& d) {
              d[98] = d[99] = d[101] = d[102] = 0.0;
              d[100] = 4.9;
          }) == 0);
    CHECK(count([](auto& d) {
              d[98] = d[102] = 0.0;
              d[99] = d[101] = 0.01;
              d[100] = 5.0;
          }) == 1);
}

TEST_CASE("a peak within two lobes of one 25 dB higher is its skirt", "[lines]") {
    const auto lines = [](std::size_t away, double times, bool below) {
        PowerSpectrum s = flat(1001, 1.0, 2.0);
        s.density[500] = 1e6;
        s.density[below ? 500 - away : 500 + away] = 1e6 / times;
        return lines_over(s, 1.0).size();
    };
    for (const bool below : {false, true}) {
        CHECK(lines(4, 299.0, below) == 2);
        CHECK(lines(4, 301.0, below) == 1);
        CHECK(lines(5, 1e4, below) == 2);
    }
}

TEST_CASE("a line reaches as far as it stands out, and no farther than its neighbour's foot", "[lines]") {
    const auto first = [](auto&& change, double averages = 50.0) {
        PowerSpectrum s = flat(2001, 1.0, 1.0, averages);
        s.density[1000] = 1e4;
        change(s.density);
        const auto found = lines_over(s, 1.0);
        REQUIRE_FALSE(found.empty());
        return found.front();
    };
    const auto shelf = [](std::size_t from, std::size_t to, double height) {
        return [=](std::vector<double>& d) {
            for (std::size_t k = from; k <= to; ++k) d[k] = height;
        };
    };
    // half over the floor is what belongs to it; with few averages what two standard deviations of noise do not reach
    CHECK(first(shelf(1001, 1010, 1.51)).high_hz == 1010.0);
    CHECK(first(shelf(1001, 1010, 1.49)).high_hz == 1002.0);
    CHECK(first(shelf(990, 999, 1.51)).low_hz == 990.0);
    CHECK(first(shelf(990, 999, 1.49)).low_hz == 998.0);
    CHECK(first(shelf(1001, 1010, passed(4.0, 2.0) * 1.01), 4.0).high_hz == 1010.0);
    CHECK(first(shelf(1001, 1010, passed(4.0, 2.0) * 0.99), 4.0).high_hz == 1002.0);
    const SpectralLine gap = first([](std::vector<double>& d) {   // the peak's own neighbours belong to it in any case
        d[998] = d[1002] = 2.0;
        d[997] = d[1003] = 2.0;
    });
    CHECK(gap.low_hz == 997.0);
    CHECK(gap.high_hz == 1003.0);
    CHECK(first(shelf(1001, 1600, 2.0)).high_hz == 1400.0);   // never more than 400 bins
    CHECK(first(shelf(400, 999, 2.0)).low_hz == 600.0);
    const SpectralLine wide = first(shelf(1001, 1010, 2.0));
    CHECK(wide.width_hz == 13.0);                            // 998 to 1010
    CHECK(wide.mean_square == Approx(1e4 - 1.0 + 10.0));     // the shelf stands 1 over the floor
    // a neighbour's territory begins where it rises to more than four times the bin before
    const auto neighbour = [&](double shelf_height, double peak) {
        return [=](std::vector<double>& d) {
            shelf(1001, 1009, shelf_height)(d);
            d[1010] = peak;
        };
    };
    CHECK(first(neighbour(10.0, 5e3)).high_hz == 1009.0);
    CHECK(first(neighbour(10.0, 201.0)).high_hz == 1009.0);
    CHECK(first(neighbour(10.0, 199.0)).high_hz == 1010.0);   // one below 2 % of the line's height is no neighbour
    CHECK(first(neighbour(60.0, 241.0)).high_hz == 1009.0);
    CHECK(first(neighbour(60.0, 239.0)).high_hz == 1010.0);
    PowerSpectrum s = flat(2001, 1.0, 1.0);
    neighbour(10.0, 2e4)(s.density);
    s.density[1000] = 1e4;
    const auto both = lines_over(s, 1.0);
    REQUIRE(both.size() == 2);
    CHECK(both[1].frequency_hz == Approx(1010.0).margin(0.1));   // its left neighbour is the higher
    CHECK(both[1].low_hz == 1001.0);
    CHECK(both[1].high_hz == 1012.0);
    CHECK(both[1].mean_square == Approx(9 * 9.0 + 2e4 - 1.0));
    s.density[1000] = 399.0;   // now below 2 % of the second
    const auto one = lines_over(s, 1.0);
    CHECK(one.back().low_hz == 1000.0);
}

TEST_CASE("lines are looked for between two frequencies, from the third bin to the last but two", "[lines]") {
    const auto found = [](std::size_t bin, double from_hz, double to_hz) {
        PowerSpectrum s = flat(101, 1.0, 2.0);
        s.density[bin] = 1e4;
        const auto lines = lines_over(s, 1.0, from_hz, to_hz);
        return lines.size() == 1 && lines[0].frequency_hz == Approx(2.0 * static_cast<double>(bin));
    };
    CHECK(found(50, 100.0, 150.0));
    CHECK_FALSE(found(50, 102.0, 150.0));
    CHECK(found(50, 40.0, 100.0));
    CHECK_FALSE(found(50, 40.0, 98.0));
    CHECK(found(3, 0.0, 1e9));
    CHECK_FALSE(found(2, 0.0, 1e9));
    CHECK(found(98, 0.0, 1e9));
    CHECK_FALSE(found(99, 0.0, 1e9));
}

TEST_CASE("a band's line is what stands over its floor, where its middle lies", "[lines]") {
    const double bin_hz = 2.0;
    PowerSpectrum s = flat(1001, 1.0, bin_hz);
    std::vector<double> floor(1001, 1.0);
    s.density[105] = 31.0;    // 60 at 210 Hz and 20 at 220 Hz: together 80 at 212.5
    s.density[110] = 11.0;
    s.density[116] = 1e3;     // outside
    s.density[99] = 1e3;
    const SpectralLine line = line_in_band(s, floor, 200.0, 230.0);
    CHECK(line.mean_square == Approx(80.0));
    CHECK(line.frequency_hz == Approx(212.5));
    // 16 bins of noise and twice the line times the noise, over the time
    const double sd = std::sqrt((16 * bin_hz + 2 * 80.0) / 25.0);
    CHECK(line.mean_square_sd == Approx(sd));
    CHECK(line.width_hz == 30.0);
    CHECK(line.frequency_sd_hz == Approx(30.0 * sd / 80.0 + bin_hz));
    CHECK(line.low_hz == 200.0);
    CHECK(line.high_hz == 230.0);
    CHECK(line.floor_density == Approx(1.0));
    CHECK(line.prominence_db == Approx(db(31.0)));
    // a floor over all of it leaves nothing, in the middle of the band, as unsure as the band is wide
    std::fill(floor.begin(), floor.end(), 40.0);
    floor[100] = 56.0;
    const SpectralLine none = line_in_band(s, floor, 200.0, 230.0);
    CHECK(none.mean_square == 0.0);
    CHECK(none.frequency_hz == 215.0);
    CHECK(none.frequency_sd_hz == 30.0);
    CHECK(none.floor_density == Approx(41.0));
    CHECK(none.prominence_db == Approx(db(31.0 / 40.0)));
    CHECK(none.mean_square_sd == Approx(std::sqrt((15 * 1600.0 + 56.0 * 56.0) * bin_hz / 25.0)));
    // no time known: half a bin's
    PowerSpectrum timeless = s;
    timeless.effective_duration_s = 0.0;
    CHECK(line_in_band(timeless, std::vector<double>(1001, 1.0), 200.0, 230.0).mean_square_sd == Approx(sd * 5.0 / 0.5));
    CHECK(line_in_band(s, std::vector<double>(1001, 0.0), 200.0, 230.0).prominence_db == 0.0);
    // power that lies mostly under the floor: the middle stays in the band, the frequency unsure by no more than its width
    floor.assign(1001, 2.0);
    floor[100] = 20.0;
    const SpectralLine odd = line_in_band(s, floor, 200.0, 230.0);
    CHECK(odd.mean_square == Approx(2.0 * (29.0 + 9.0 - 19.0 - 13.0)));
    CHECK(odd.frequency_hz == 230.0);
    CHECK(odd.frequency_sd_hz == Approx(30.0 * odd.mean_square_sd / odd.mean_square + bin_hz).margin(1e-9));
}
