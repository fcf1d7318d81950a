#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <map>
#include <numbers>
#include <vector>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/weighting.hpp"
#include "reference/table.hpp"

using namespace hushtrace;

TEST_CASE("the A and C curves are those of IEC 61672-1", "[weighting]") {
    // table 3 and annex E; tolerances of tests/reference/README.md section 1: formula 0.001 dB, table 0.05 dB
    for (const auto& row : reference::table("weighting_iec61672.csv")) {
        const double f = row.number("exact_frequency_hz");
        CHECK(decibels_from_power(a_weighting_power(f)) ==
              Approx(row.number("a_formula_at_exact_db")).margin(0.001));
        CHECK(decibels_from_power(a_weighting_power(f)) == Approx(row.number("a_table_db")).margin(0.05));
        CHECK(decibels_from_power(c_weighting_power(f)) ==
              Approx(row.number("c_formula_at_exact_db")).margin(0.001));
        CHECK(decibels_from_power(c_weighting_power(f)) == Approx(row.number("c_table_db")).margin(0.05));
    }
}

TEST_CASE("the 468 curve is that of ITU-R BS.468-4", "[weighting]") {
    for (const auto& row : reference::table("weighting_bs468.csv")) {
        const double f = row.number("frequency_hz");
        CHECK(decibels_from_power(itu468_weighting_power(f)) ==
              Approx(row.number("response_formula_db")).margin(0.001));
        CHECK(decibels_from_power(itu468_weighting_power(f)) ==
              Approx(row.number("response_table_db")).margin(0.06));
    }
}

TEST_CASE("the curves have the poles and zeros of the published networks", "[weighting]") {
    // tests/reference/weighting_poles.csv: computed from IEC 61672-1 annex E and from the network of BS.468-4
    using Curve = double (*)(double);
    const std::map<std::string, Curve> curves = {
        {"A", a_weighting_power}, {"C", c_weighting_power}, {"BS468", itu468_weighting_power}};
    const std::map<std::string, int> zeros_at_dc = {{"A", 4}, {"C", 2}, {"BS468", 1}};
    for (const auto& [name, curve] : curves) {
        const auto product = [&name = name, &zeros_at_dc](double f) {
            std::complex<double> h = std::pow(std::complex<double>(0, f), zeros_at_dc.at(name));
            std::size_t poles = 0;
            for (const auto& row : reference::table("weighting_poles.csv")) {
                const std::string whose = row.text("weighting"), kind = row.text("kind");
                if (kind.rfind("pole", 0) != 0 || (whose != name && !(whose == "A_and_C" && name != "BS468")))
                    continue;
                const std::complex<double> pole(-row.number("real_part_hz_or_value"),
                                                row.number("imaginary_part_hz"));
                for (int n = 0; n < (kind == "pole_double" ? 2 : 1); ++n, ++poles)
                    h /= std::complex<double>(0, f) - pole;
            }
            REQUIRE(poles == (name == "C" ? 4U : 6U));
            return std::norm(h);
        };
        for (const double f : {31.5, 100.0, 500.0, 2000.0, 6300.0, 12500.0, 20000.0})
            CHECK(decibels_from_power(curve(f)) ==
                  Approx(decibels_from_power(product(f) / product(1000.0))).margin(0.001));
    }
}

namespace {

/// Gain of the filter for a tone [dB], its rms after the start has died away.
double filter_gain_db(double rate_hz, double frequency_hz) {
    Itu468Filter filter(rate_hz);
    const auto count = static_cast<std::size_t>(0.2 * rate_hz);
    std::vector<double> tone(count), out;
    for (std::size_t n = 0; n < count; ++n)
        tone[n] = std::sin(2 * std::numbers::pi * frequency_hz / rate_hz * static_cast<double>(n));
    filter.filter(tone, out);
    REQUIRE(out.size() == count * filter.oversampling());
    const auto dense_hz = rate_hz * static_cast<double>(filter.oversampling());
    const auto from = static_cast<std::size_t>(0.04 * dense_hz);
    const auto cycles = std::floor(0.15 * frequency_hz);
    const auto to = from + static_cast<std::size_t>(std::llround(cycles / frequency_hz * dense_hz));
    double squares = 0;
    for (std::size_t n = from; n < to; ++n) squares += out[n] * out[n];
    return decibels_from_power(2 * squares / static_cast<double>(to - from));
}

}  // namespace

TEST_CASE("the 468 filter keeps to the standard's limits at every frequency that the rate carries", "[weighting]") {
    // ITU-R BS.468-4 table 1; the tolerance of 0 at 6.3 kHz is read as 0.1 dB. 31.5 kHz has no lower limit.
    const double rate_hz = GENERATE(8000.0, 11025.0, 16000.0, 22050.0, 32000.0, 44100.0, 48000.0, 64000.0, 88200.0,
                                    96000.0, 176400.0, 192000.0, 384000.0);
    CAPTURE(rate_hz);
    std::size_t checked = 0;
    double worst = 0;
    for (const auto& row : reference::table("weighting_bs468.csv")) {
        const double f = row.number("frequency_hz");
        if (f > std::max(20000.0, 0.45 * rate_hz) || f > 0.4536 * rate_hz) continue;
        CAPTURE(f);
        const double gain = filter_gain_db(rate_hz, f), off = gain - row.number("response_table_db");
        CHECK(off <= std::max(row.number("tolerance_upper_db"), 0.1));
        CHECK(off >= std::min(row.number("tolerance_lower_db"), -0.1));
        if (f <= 20000) worst = std::max(worst, std::abs(gain - row.number("response_formula_db")));
        ++checked;
    }
    CHECK(checked >= 9);
    CHECK(worst < 0.15);  // against the network's formula
}

TEST_CASE("the filter gives the same in pieces as in one", "[weighting]") {
    const double rate_hz = GENERATE(44100.0, 192000.0);
    std::vector<double> sound(5000);
    for (std::size_t n = 0; n < sound.size(); ++n) sound[n] = std::sin(0.001 * static_cast<double>(n * n));
    Itu468Filter whole(rate_hz), parts(rate_hz);
    std::vector<double> once, piece, joined;
    whole.filter(sound, once);
    std::size_t at = 0;
    for (const std::size_t size : {1UL, 255UL, 256UL, 257UL, 1000UL, 3231UL}) {
        parts.filter(std::span(sound).subspan(at, size), piece);
        joined.insert(joined.end(), piece.begin(), piece.end());
        at += size;
    }
    REQUIRE(at == sound.size());
    REQUIRE(joined.size() == once.size());
    double worst = 0;
    for (std::size_t n = 0; n < once.size(); ++n) worst = std::max(worst, std::abs(joined[n] - once[n]));
    CHECK(worst < 1e-12);
}

TEST_CASE("a filter needs a rate", "[weighting]") {
    CHECK_THROWS_AS(Itu468Filter(0), Error);
    CHECK_THROWS_AS(Itu468Filter(-48000), Error);
}
