#include "hushtrace/vehicle/hearing.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "reference/table.hpp"

using namespace hushtrace;

namespace {

double a_weighting_db(double f) {  // IEC 61672-1:2013, formula of annex E
    const double f2 = f * f;
    const double r = 12194.0 * 12194.0 * f2 * f2 /
                     ((f2 + 20.6 * 20.6) * (f2 + 12194.0 * 12194.0) * std::sqrt((f2 + 107.7 * 107.7) * (f2 + 737.9 * 737.9)));
    return 20 * std::log10(r) + 2.0;
}
double a_weighted_level(Cabin cabin) {
    double sum = 0;
    for (int band = -15; band <= 13; ++band) {  // 31.5 Hz to 20 kHz
        const double f = 1000 * std::pow(10.0, band / 10.0);
        sum += std::pow(10.0, (cabin_third_octave_db_spl(cabin, f) + a_weighting_db(f)) / 10);
    }
    return 10 * std::log10(sum);
}

}  // namespace

TEST_CASE("the threshold of hearing is that of the standards at each tabulated frequency", "[hearing]") {
    const auto table = reference::table("hearing.csv");
    std::size_t rows = 0;
    for (const auto& row : table) {
        const double f = row.number("frequency_hz");
        CHECK(hearing_threshold_db_spl(f) == Approx(row.number("iso389_7_2005_threshold_free_field_db_spl")).margin(1e-9));
        ++rows;
    }
    CHECK(rows == 37);
    // between two of them it lies between theirs, half-way in octaves half-way in decibels
    CHECK(hearing_threshold_db_spl(std::sqrt(4000.0 * 5000.0)) == Approx((-5.4 - 1.5) / 2).margin(1e-9));
    CHECK(hearing_threshold_db_spl(5.0) == 78.5);
    CHECK(hearing_threshold_db_spl(30000.0) == 40.2);
}

TEST_CASE("the ear's filter is as wide as published", "[hearing]") {
    // Glasberg and Moore 1990: 132.6 Hz at 1 kHz; 35.5 Hz at 100 Hz and 1104 Hz at 10 kHz by their equation 3
    CHECK(erb_hz(1000) == Approx(132.6).margin(0.05));
    CHECK(erb_hz(100) == Approx(35.5).margin(0.05));
    CHECK(erb_hz(10000) == Approx(1104.1).margin(0.5));
}

TEST_CASE("typical cabins have the A-weighted levels that they are said to have", "[hearing]") {
    // common practice from memory: parked 25 to 35, idling 38 to 50 with 15 to 25 in the bands from 1 to 4 kHz
    CHECK(a_weighted_level(Cabin::engine_off) == Approx(30.0).margin(0.5));
    CHECK(a_weighted_level(Cabin::idling) == Approx(44.0).margin(0.5));
    CHECK(a_weighted_level(Cabin::driving) == Approx(60.0).margin(0.5));
    double mean = 0;
    for (const double f : {1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0})
        mean += cabin_third_octave_db_spl(Cabin::idling, f) / 7;
    CHECK(mean > 15.0);
    CHECK(mean < 25.0);
}

TEST_CASE("what masks a tone is the noise of its filter less 2 to 6 dB, never below the threshold", "[hearing]") {
    for (const double f : {63.0, 250.0, 1000.0, 4000.0, 12000.0})
        for (const Cabin cabin : {Cabin::engine_off, Cabin::idling, Cabin::driving}) {
            const double noise = cabin_third_octave_db_spl(cabin, f) + 10 * std::log10(erb_hz(f) / (0.2307 * f));
            const double least = audible_from_db_spl(cabin, f), quiet = hearing_threshold_db_spl(f);
            INFO(f);
            CHECK(least > quiet);
            CHECK(least <= 10 * std::log10(std::pow(10.0, (noise - 1.99) / 10) + std::pow(10.0, quiet / 10)));
            CHECK(least >= noise - 6.0);
        }
    CHECK(audible_from_db_spl(Cabin::driving, 1240) > audible_from_db_spl(Cabin::idling, 1240) + 10);
    CHECK(audible_from_db_spl(Cabin::idling, 100) > audible_from_db_spl(Cabin::engine_off, 100) + 5);
}
