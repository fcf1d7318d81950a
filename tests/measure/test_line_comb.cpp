#include "hushtrace/measure/line_comb.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <tuple>

#include "hushtrace/measure/noise_statistics.hpp"

using namespace hushtrace;

namespace {

/// Looking in the two bins that half a bin's reach either way touches allows noise this much.
const double kTwoBins = std::log(2.0 / 1.4);

/// A spectrum written down: bins of 1 Hz up to 4 kHz, noise of 1.
StillSpectrum blank() {
    StillSpectrum s;
    s.sample_rate_hz = 8000;
    s.bin_hz = 1.0;
    s.averages = 10;
    s.density.assign(4001, 1.0);
    s.noise.assign(4001, 1.0);
    s.surprise.assign(4001, 0.0F);
    return s;
}
/// So surprising a line in the middle of a bin, of so much power.
void put(StillSpectrum& s, std::size_t bin, double surprise, double mean_square = 50.0) {
    s.surprise[bin] = static_cast<float>(surprise);
    s.density[bin] += mean_square;
}
StillSpectrum teeth_at(const std::vector<std::size_t>& bins, double surprise) {
    StillSpectrum s = blank();
    for (const std::size_t bin : bins) put(s, bin, surprise);
    return s;
}
CombPlaces up_to(int number, double to_hz = 20000.0) { return {.most_number = number, .to_hz = to_hz, .spoken_for = {}, .doubtful = {}}; }
std::vector<int> numbers(const LineComb& comb) {
    std::vector<int> out;
    for (const CombTooth& one : comb.teeth) out.push_back(one.number);
    return out;
}
using Numbers = std::vector<int>;

}  // namespace

TEST_CASE("what a comb's teeth have in common", "[line_comb]") {
    LineComb comb;
    CHECK(comb.strongest() == nullptr);
    CHECK(comb.common_divisor() == 0);
    CHECK(comb.solid_divisor() == 0);
    comb.teeth = {{4, 400, 0.1, 5.1, {1.0, 2.0}}, {6, 600, 0.1, 4.9, {9.0, 0.5}}, {8, 800, 0.1, 9.0, {0.0, 1.0}}};
    CHECK(comb.teeth[1].total() == 9.5);
    CHECK(comb.tooth(6) == &comb.teeth[1]);
    CHECK(comb.tooth(5) == nullptr);
    CHECK(comb.strongest() == &comb.teeth[1]);
    CHECK(comb.common_divisor() == 2);
    CHECK(comb.solid_divisor() == 4);   // a surprise of more than 5
}

TEST_CASE("a comb's places speak together, each by what it says above 1.5", "[line_comb]") {
    const StillSpectrum s = teeth_at({100, 200, 300}, 10.0);
    const LineComb comb = read_comb({&s}, 100.0, 0.0, up_to(5));
    CHECK(comb.places == 5);
    CHECK(numbers(comb) == Numbers{1, 2, 3});
    CHECK(comb.spacing_hz == Approx(100.0));
    CHECK(comb.spacing_sd_hz == 0.0);
    const double each = 10.0 - kTwoBins;
    for (const CombTooth& one : comb.teeth) {
        CHECK(one.frequency_hz == Approx(100.0 * one.number));
        CHECK(one.surprise == Approx(each).epsilon(1e-6));
        REQUIRE(one.mean_square.size() == 1);
        CHECK(one.mean_square[0] == Approx(50.0));
        CHECK(one.frequency_sd_hz > 0.0);
    }
    CHECK(comb.surprise == Approx(surprise_of_sum(3.0 * (each - 1.5), 5, 1.5)).epsilon(1e-6));
    CHECK(comb.surprise_of_rest == Approx(surprise_of_sum(2.0 * (each - 1.5), 4, 1.5)).epsilon(1e-6));
    CHECK(comb.surprise_beyond_two == Approx(surprise_of_sum(each - 1.5, 3, 1.5)).epsilon(1e-6));
    // the strongest two are left out wherever they stand, and one counts for 40 at most
    StillSpectrum uneven = blank();
    put(uneven, 100, 8.0);
    put(uneven, 200, 100.0);
    put(uneven, 300, 6.0);
    put(uneven, 400, 9.0);
    const LineComb mixed = read_comb({&uneven}, 100.0, 0.0, up_to(4));
    const auto counts = [](double surprise) { return surprise - kTwoBins - 1.5; };
    CHECK(mixed.surprise == Approx(surprise_of_sum(38.5 + counts(8) + counts(6) + counts(9), 4, 1.5)).epsilon(1e-6));
    CHECK(mixed.surprise_of_rest == Approx(surprise_of_sum(counts(8) + counts(6) + counts(9), 3, 1.5)).epsilon(1e-6));
    CHECK(mixed.surprise_beyond_two == Approx(surprise_of_sum(counts(8) + counts(6), 2, 1.5)).epsilon(1e-6));
    // of one or two places nothing is left beside them
    CHECK(read_comb({&s}, 100.0, 0.0, up_to(2)).surprise_beyond_two == 0.0);
    CHECK(read_comb({&s}, 100.0, 0.0, up_to(2)).surprise_of_rest > 0.0);
    CHECK(read_comb({&s}, 100.0, 0.0, up_to(1)).surprise_of_rest == 0.0);
    CHECK(read_comb({}, 100.0, 0.0, up_to(5)).places == 0);
    CHECK(read_comb({&s}, 0.0, 0.0, up_to(5)).places == 0);
}

TEST_CASE("how far a comb reaches, and which of its places count", "[line_comb]") {
    const StillSpectrum s = teeth_at({100, 200, 300}, 10.0);
    CHECK(read_comb({&s}, 100.0, 0.0, up_to(40, 500.0)).places == 5);
    CHECK(read_comb({&s}, 100.0, 0.0, up_to(40, 499.0)).places == 4);
    CHECK(read_comb({&s}, 100.0, 0.0, up_to(40)).places == 36);   // 0.45 of 8 kHz
    CombPlaces places = up_to(3);
    places.spoken_for = [](double hz) { return std::abs(hz - 200.0) < 1.0; };
    CHECK(read_comb({&s}, 100.0, 0.0, places).places == 2);
    CHECK(numbers(read_comb({&s}, 100.0, 0.0, places)) == Numbers{1, 3});
    // where it is doubtful a steady line must stand in most columns
    places = up_to(3);
    places.doubtful = [](double hz) { return hz > 150.0; };
    CHECK(numbers(read_comb({&s}, 100.0, 0.0, places)) == Numbers{1});
    const std::vector<std::tuple<bool, double, double, bool>> beside_it = {
        {true, 0.71, 0.9, true}, {true, 0.69, 0.0, false}, {false, 0.9, 0.0, false}, {true, 0.9, 1.1, false}};
    for (const auto& [steady, share, off_hz, found] : beside_it) {
        StillSpectrum with = s;
        with.lines.push_back({});
        with.lines[0].frequency_hz = 200.0 + off_hz;
        with.lines[0].steady = steady;
        with.lines[0].present_share = share;
        CHECK((numbers(read_comb({&with}, 100.0, 0.0, places)) == Numbers{1, 2}) == found);
    }
    // a tooth says more than 3, what says less than 1.5 shows no power
    StillSpectrum faint = blank();
    put(faint, 100, 3.1 + kTwoBins);
    put(faint, 200, 2.9 + kTwoBins);
    CHECK(numbers(read_comb({&faint}, 100.0, 0.0, up_to(3))) == Numbers{1});
    StillSpectrum loud = blank(), quiet = blank();
    for (const std::size_t bin : {100U, 200U}) {
        put(loud, bin, 9.0, 50.0);
        put(quiet, bin, bin == 100 ? 1.6 + kTwoBins : 1.4 + kTwoBins, 20.0);
    }
    const LineComb both = read_comb({&quiet, &loud}, 100.0, 0.0, up_to(2));
    REQUIRE(both.teeth.size() == 2);
    CHECK(both.teeth[0].mean_square == std::vector<double>{20.0, 50.0});
    CHECK(both.teeth[1].mean_square == std::vector<double>{0.0, 50.0});
    CHECK(both.teeth[0].surprise == Approx(9.0 - kTwoBins - std::log(2.0)));   // the better of two channels
    // a clear line in the bin beside a place is something else's: it is no tooth and says nothing; a faint one counts, but is none
    StillSpectrum beside = teeth_at({100, 201, 300}, 12.0);
    LineComb comb = read_comb({&beside}, 100.0, 0.0, up_to(3));
    CHECK(numbers(comb) == Numbers{1, 3});
    CHECK(comb.places == 3);
    CHECK(comb.surprise == Approx(surprise_of_sum(2.0 * (12.0 - kTwoBins - 1.5), 3, 1.5)));
    beside.surprise[201] = 7.0F;
    comb = read_comb({&beside}, 100.0, 0.0, up_to(3));
    CHECK(numbers(comb) == Numbers{1, 3});
    CHECK(comb.surprise == Approx(surprise_of_sum(2.0 * (12.0 - kTwoBins - 1.5) + 7.0 - kTwoBins - 1.5, 3, 1.5)));
}

TEST_CASE("a place reaches twice its spacing's uncertainty either way, four bins at most", "[line_comb]") {
    const auto says = [](std::size_t bin, double sd_hz) {
        const StillSpectrum s = teeth_at({bin}, 6.0);
        return read_comb({&s}, 100.0, sd_hz, up_to(1)).surprise;
    };
    const auto of_one = [](double surprise) { return surprise_of_sum(surprise - 1.5, 1, 1.5); };
    CHECK(says(101, 0.5) == Approx(of_one(6.0 - std::log(3.0 / 1.4))));   // 99 to 101 Hz: three bins
    CHECK(says(99, 0.5) > 0.0);
    CHECK(says(102, 0.5) == 0.0);
    CHECK(says(98, 0.5) == 0.0);
    CHECK(says(104, 9.0) == Approx(of_one(6.0 - std::log(9.0 / 1.4))));
    CHECK(says(105, 9.0) == 0.0);
    CHECK(says(95, 9.0) == 0.0);
}

TEST_CASE("a steady line suggests the spacing of which it is a multiple", "[line_comb]") {
    // faint teeth up to 36 times 101 Hz, where a grid of a 60th of the tolerance's width looks in some bins either way
    std::vector<std::size_t> bins;
    for (std::size_t n = 1; n <= 35; ++n) bins.push_back(101 * n);
    StillSpectrum s = teeth_at(bins, 6.0);
    const double alone = find_comb({&s}, 100.0, 0.05, up_to(36)).surprise;
    const auto with_line = [&](double hz, bool steady) {
        StillSpectrum other = s;
        other.lines.push_back({});
        other.lines[0].frequency_hz = hz;
        other.lines[0].frequency_sd_hz = 0.02;
        other.lines[0].steady = steady;
        return find_comb({&other}, 100.0, 0.05, up_to(36)).surprise;
    };
    CHECK(with_line(1010.0, true) > 1.2 * alone);
    CHECK(with_line(1010.0, false) == alone);
    CHECK(with_line(40.4, true) == alone);     // less than half of the spacing
    CHECK(with_line(1060.0, true) == alone);   // 6 % off
}

TEST_CASE("a spacing is sharpened by its teeth, the upper ones most", "[line_comb]") {
    const StillSpectrum s = teeth_at({100, 200, 300, 400, 500, 600, 700, 800, 900, 1000}, 30.0);
    const LineComb comb = read_comb({&s}, 100.04, 0.05, up_to(10));
    CHECK(comb.teeth.size() == 10);
    CHECK(comb.spacing_hz == Approx(100.0).margin(1e-6));
    // each frequency is known to s, n of the spacing: s / n; together 1 over the root of the sum of squares, half as much again
    double weight = 0;
    for (const CombTooth& one : comb.teeth) weight += std::pow(one.number / one.frequency_sd_hz, 2);
    CHECK(comb.spacing_sd_hz == Approx(1.5 / std::sqrt(weight)));
    double weighted = 0;
    for (const CombTooth& one : comb.teeth) weighted += one.number * one.frequency_hz / std::pow(one.frequency_sd_hz, 2);
    CHECK(comb.spacing_hz == Approx(weighted / weight));
    // faint teeth sharpen nothing
    StillSpectrum faint = s;
    for (float& one : faint.surprise) one = std::min(one, 7.0F);
    CHECK(read_comb({&faint}, 100.04, 0.05, up_to(10)).spacing_hz == 100.04);
    CHECK(read_comb({&faint}, 100.04, 0.05, up_to(10)).spacing_sd_hz == 0.05);
}

TEST_CASE("the comb near a nominal spacing is found, at the price of looking", "[line_comb]") {
    std::vector<std::size_t> bins;
    for (std::size_t n = 1; n <= 20; ++n) bins.push_back(101 * n);
    const StillSpectrum s = teeth_at(bins, 9.0);
    const LineComb comb = find_comb({&s}, 100.5, 0.01, up_to(20));
    CHECK(comb.spacing_hz == Approx(101.0).margin(0.01));
    CHECK(comb.teeth.size() == 20);
    // tried in steps that move the upper teeth by half a bin: 0.05 Hz, 41 of them in 2.01 Hz
    const LineComb known = read_comb({&s}, 101.0, 0.3 * 0.05, up_to(20));
    CHECK(comb.surprise <= known.surprise - std::log(41.0) + 0.01);
    CHECK(comb.surprise == Approx(known.surprise - std::log(41.0)).margin(3.0));
    CHECK(comb.surprise_of_rest == Approx(known.surprise_of_rest - std::log(41.0)).margin(3.0));
    CHECK(find_comb({&s}, 100.5, 0.003, up_to(20)).surprise < 0.6 * comb.surprise);   // out of reach
    CHECK(find_comb({&s}, 103.0, 0.01, up_to(20)).surprise < 0.6 * comb.surprise);
    CHECK(find_comb({}, 100.5, 0.01, up_to(20)).places == 0);
    // a tolerance within one step is tried as it stands
    const LineComb sure = find_comb({&s}, 101.0, 1e-5, up_to(20));
    CHECK(sure.spacing_hz == Approx(101.0).margin(0.001));
    CHECK(sure.surprise == Approx(known.surprise).margin(0.5));
}

TEST_CASE("a line's comb is the widest that explains its teeth", "[line_comb]") {
    const auto through = [](const std::vector<std::size_t>& bins, double line_hz, double least_hz = 20.0) {
        const StillSpectrum s = teeth_at(bins, 12.0);
        return comb_through({&s}, line_hz, 0.02, least_hz, up_to(12));
    };
    const LineComb hundred = through({100, 200, 300, 400, 500, 600, 700}, 300.0);
    CHECK(hundred.spacing_hz == Approx(100.0).margin(0.02));
    CHECK(numbers(hundred) == Numbers{1, 2, 3, 4, 5, 6, 7});
    CHECK(hundred.tooth(3)->frequency_hz == Approx(300.0));
    CHECK(through({300, 600, 900, 1200}, 300.0).spacing_hz == Approx(300.0).margin(0.05));
    CHECK(through({300, 600, 900, 1200}, 600.0).spacing_hz == Approx(300.0).margin(0.05));
    CHECK(through({100, 200, 300, 400, 500, 600, 700}, 300.0, 101.0).teeth.size() < 3);   // no narrower than the least
    // two lines alone lie on some comb by chance, and one more tooth than a wider one explains may be chance as well
    CHECK(through({500, 700}, 700.0).spacing_hz == Approx(700.0).margin(0.02));
    CHECK(numbers(through({500, 700}, 700.0)) == Numbers{1});
    CHECK(numbers(through({350, 700}, 700.0)) == Numbers{1});
    CHECK(numbers(through({350, 700, 1050}, 700.0)) == Numbers{1, 2, 3});
    CHECK(numbers(through({500, 700, 800, 900}, 700.0)) == Numbers{5, 7, 8, 9});   // without its first tooth, but four
    // what looking at so many spacings allows is taken off: 15 from 300 Hz down to 20
    const StillSpectrum s = teeth_at({300, 600, 900, 1200}, 12.0);
    const LineComb plain = read_comb({&s}, 300.0, 0.02, up_to(12));
    const LineComb chosen = comb_through({&s}, 300.0, 0.02, 20.0, up_to(12));
    CHECK(chosen.surprise_of_rest == Approx(plain.surprise_of_rest - std::log(15.0)));
    CHECK(chosen.surprise_beyond_two == Approx(plain.surprise_beyond_two - std::log(15.0)));
    CHECK(chosen.surprise == Approx(plain.surprise));
    CHECK(through({}, 300.0).teeth.empty());
}
