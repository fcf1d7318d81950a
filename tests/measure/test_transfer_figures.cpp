// Levels, sums, bands and crosstalk of paths whose transfer is written down point by point.
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/measure/channel_comparison.hpp"
#include "hushtrace/measure/channel_sum.hpp"
#include "measure/written_transfer.hpp"

using namespace hushtrace;
using namespace written_transfer;
using std::numbers::pi;

namespace {

/// Of amplitude 1, turned so that its sum with 1 lies so far below what both reach in phase: |1 + e^ip|^2 / 4 = cos^2(p/2).
std::complex<double> turned_to(double below_db) { return std::polar(1.0, 2 * std::acos(std::pow(10.0, below_db / 20))); }

}  // namespace

TEST_CASE("a sum's deepest place and the band in which it lies 6 dB below are read over a sixth of an octave", "[channel_sum]") {
    // 9 dB below over points -6 to 6, 20 dB below over -2 to 2. Five points averaged in power: three of five at -9 dB make
    // -3.2 dB, four -5.2 dB, five -9 dB, so that it lies 6 dB below from point -4 to 4; five at -20 dB at point 0 alone.
    const auto first = path(-100, 100, level(0));
    const auto second = path(-100, 100, [](int k) { return std::abs(k) <= 2 ? turned_to(-20) : std::abs(k) <= 6 ? turned_to(-9) : 1.0; });
    const auto sum = sum_of_channels(first, second);
    REQUIRE(sum);
    CHECK(sum->cancels());
    CHECK(sum->deepest_hz == Approx(1000));
    CHECK(sum->deepest_db == Approx(-20.0).margin(1e-9));
    CHECK(sum->from_hz == Approx(hz_of(-4.5)));
    CHECK(sum->to_hz == Approx(hz_of(4.5)));

    const auto all = sum_of_channels(first, path(-100, 100, [](int) { return turned_to(-6.1); }));
    REQUIRE(all);
    CHECK(all->from_hz == Approx(hz_of(-100.5)));
    CHECK(all->to_hz == Approx(hz_of(100.5)));
    const auto hardly = sum_of_channels(first, path(-100, 100, [](int) { return turned_to(-5.9); }));
    REQUIRE(hardly);
    CHECK(hardly->deepest_db == Approx(-5.9));
    CHECK_FALSE(hardly->cancels());
    CHECK(hardly->from_hz == 0);
    CHECK(hardly->to_hz == 0);
    // at an end there are three points and four: -20 dB twice and 0 dB once, 10 log10(0.34)
    const auto at_end = sum_of_channels(first, path(-100, 100, [](int k) { return k <= -99 ? turned_to(-20) : 1.0; }));
    REQUIRE(at_end);
    CHECK(at_end->deepest_hz == Approx(hz_of(-100)));
    CHECK(at_end->deepest_db == Approx(10 * std::log10(0.34)));
    // opposite, and one 3.9 times the other: (2.9 / 4.9)^2
    for (const double gain : {3.9, 1 / 3.9}) {
        const auto unequal = sum_of_channels(first, path(-100, 100, [gain](int) { return -gain; }));
        REQUIRE(unequal);
        CHECK(unequal->deepest_db == Approx(20 * std::log10(2.9 / 4.9)));
    }
}

TEST_CASE("channels are added up where both are heard and within 12 dB of each other, a third of an octave at least", "[channel_sum]") {
    const auto first = path(-100, 100, level(0));
    const auto alike = [&](int count, double apart_db) {
        return sum_of_channels(first, path(-100, 100, band(1, count, 0, apart_db))).has_value();
    };
    CHECK(alike(8, 12.1));    // 4 times: 12.04 dB
    CHECK_FALSE(alike(7, 12.1));
    CHECK(alike(7, 11.9));
    CHECK_FALSE(alike(7, -12.1));
    CHECK(alike(7, -11.9));
    // a wave must have more than ten times the noise's power, in both
    for (const double noise : {0.099, 0.101}) {
        const auto heard = path(-100, 100, level(0), noise);
        CHECK(sum_of_channels(first, heard).has_value() == (noise < 0.1));
        CHECK(sum_of_channels(heard, first).has_value() == (noise < 0.1));
    }
    // the frequencies that both were measured at: points 93 to 100 are eight, 94 to 100 seven
    CHECK(sum_of_channels(first, path(93, 150, level(0))));
    CHECK_FALSE(sum_of_channels(first, path(94, 150, level(0))));
    CHECK(sum_of_channels(first, path(-150, -93, level(0))));
    CHECK_FALSE(sum_of_channels(first, path(-150, -94, level(0))));
    CHECK_FALSE(sum_of_channels({}, first));
    CHECK_FALSE(sum_of_channels(first, {}));
}

TEST_CASE("a passed band ends where it lies 6 dB below, if it falls by 12 dB beyond", "[channel_sum]") {
    // five points averaged: 2 of 5 in the band and 3 at -20 dB make -3.9 dB, 1 and 4 make -6.8 dB
    const auto narrow = band_of(path(-120, 104, band(-60, 48, 3, -17)));
    REQUIRE(narrow);
    CHECK(narrow->measured_from_hz == Approx(hz_of(-120)));
    CHECK(narrow->measured_to_hz == Approx(hz_of(104)));
    REQUIRE(narrow->low_hz);
    REQUIRE(narrow->high_hz);
    CHECK(*narrow->low_hz == Approx(hz_of(-62)));
    CHECK(*narrow->high_hz == Approx(hz_of(50)));
    const auto wide = band_of(path(-120, 104, level(-7)));
    REQUIRE(wide);
    CHECK_FALSE(wide->low_hz);
    CHECK_FALSE(wide->high_hz);
    for (const double beyond_db : {-11.9, -12.1}) {
        const bool ends = beyond_db < -12;
        const auto step = band_of(path(-120, 104, band(-60, 48, 0, beyond_db)));
        REQUIRE(step);
        CHECK(step->low_hz.has_value() == ends);
        CHECK(step->high_hz.has_value() == ends);
    }
    // it comes back beyond: the edge is the one next to the band
    const auto twice = band_of(path(-120, 104, [](int k) { return std::abs(k) <= 40 || std::abs(k) >= 80 ? 1.0 : 0.1; }));
    REQUIRE(twice);
    CHECK(*twice->low_hz == Approx(hz_of(-42)));
    CHECK(*twice->high_hz == Approx(hz_of(42)));
    // three points at each end at -20 dB: one point from the end four lie 5.9 dB below, the last three 20 dB
    const auto at_ends = band_of(path(-120, 104, band(-117, 101, 0, -20)));
    REQUIRE(at_ends);
    REQUIRE(at_ends->low_hz);
    REQUIRE(at_ends->high_hz);
    CHECK(*at_ends->low_hz == Approx(hz_of(-120)));
    CHECK(*at_ends->high_hz == Approx(hz_of(104)));
    // the noise's power is taken off: 0.0676 - 0.0064 is -12.1 dB; what isn't heard counts for nothing
    for (const double noise : {0.0, 0.0064, 0.007}) {
        Transfer noisy = path(-120, 104, band(-60, 48, 0, -11.7));
        for (TransferPoint& p : noisy)
            if (std::abs(p.gain) < 1) p.noise_power = noise;
        const auto read = band_of(noisy);
        REQUIRE(read);
        CHECK(read->low_hz.has_value() == (noise > 0));
    }
    CHECK_FALSE(band_of(path(-120, 104, level(0), 1.0)));
    CHECK_FALSE(band_of({}));
}

TEST_CASE("two channels cross where both lie as far below their own levels", "[channel_sum]") {
    // Butterworth of order 4: |H|^2 = 1 / (1 + (f/fc)^8), the other's mirror image; levels of their own, grids of their own
    const auto power = [](double k, double corner) { return 1 / (1 + std::exp2((k - corner) / 3)); };
    const auto low = [&](double corner) { return path(-135, 20, [=](int k) { return 0.5 * std::sqrt(power(k, corner)); }); };
    const auto high = [&](double corner) { return path(-110, 104, [=](int k) { return -3 * std::sqrt(power(-k, -corner)); }); };
    const auto crossing = crossing_of(low(-72), high(-72));
    REQUIRE(crossing);
    CHECK(crossing->frequency_hz == Approx(125));
    CHECK(crossing->below_db == Approx(10 * std::log10(0.5)).margin(0.02));
    // an octave apart: five points about the middle between the corners, averaged in power
    const auto apart = crossing_of(low(-84), high(-60));
    REQUIRE(apart);
    double mean = 0;
    for (int k = -2; k <= 2; ++k) mean += 0.2 * power(-72 + k, -84);
    CHECK(apart->frequency_hz == Approx(125));
    CHECK(apart->below_db == Approx(10 * std::log10(mean)).margin(0.02));
    CHECK(crossing_of(low(-54), high(-90)));       // the edges 2.5 octaves apart, less a quarter of an octave for 6 dB
    CHECK_FALSE(crossing_of(low(-36), high(-90)));
    CHECK(crossing_of(low(-90), high(-66)));
    CHECK_FALSE(crossing_of(low(-100), high(-40)));
    // one falls by 6 dB an octave from 62.5 Hz, the other steeply below 250 Hz: they cross near the upper edge
    const auto gentle = path(-135, 20, [](int k) { return 1 / std::hypot(1.0, std::exp2((k + 96) / 24.0)); });
    const auto steep = path(-110, 104, [&](int k) { const double p = power(-k, 48); return std::sqrt(p) * p; });
    const auto late = crossing_of(gentle, steep);
    REQUIRE(late);
    double nearest = 1e9, crossing_hz = 0;
    for (int k = -110; k < 20; ++k) {
        const double between_db = std::abs(20 * std::log10(std::abs(point_at(gentle, hz_of(k))->gain) / std::abs(point_at(steep, hz_of(k))->gain)));
        if (between_db < nearest) nearest = between_db, crossing_hz = hz_of(k);
    }
    CHECK(late->frequency_hz == Approx(crossing_hz).epsilon(0.031));   // to a point
    CHECK_FALSE(crossing_of(high(-72), low(-72)));
    CHECK_FALSE(crossing_of(low(-72), path(-110, 104, level(0))));
    CHECK_FALSE(crossing_of(path(-135, 104, level(0)), high(-72)));
    CHECK_FALSE(crossing_of(low(-72), {}));
    CHECK_FALSE(crossing_of({}, high(-72)));
}

TEST_CASE("two channels add up by their phase, both brought to one level, in the third of an octave round a frequency", "[channel_sum]") {
    const auto first = path(-120, 104, level(-14));
    const auto added = [&](const Gain& second, double k = 30.5) { return added_db(first, path(-120, 104, second), hz_of(k)); };
    const auto turned = [](double degrees) { return [=](int) { return std::polar(5.0, degrees * pi / 180); }; };
    CHECK(added(turned(0)).value() == Approx(20 * std::log10(2.0)));
    CHECK(added(turned(90)).value() == Approx(10 * std::log10(2.0)));
    CHECK(added(turned(-120)).value() == Approx(0.0).margin(1e-9));
    CHECK(added(turned(180)).value() == Approx(-120));   // nothing is left: a floor stands for it
    // half as high there as at its level: 1.5^2 and 0.5^2 of the louder one, whichever that is
    for (const int sign : {1, -1}) {
        const Gain lower = [sign](int k) { return k > 15 && k < 45 ? 2.5 * sign : 5.0; };
        CHECK(added(lower).value() == Approx(20 * std::log10(1 + 0.5 * sign)));
        CHECK(added_db(path(-120, 104, lower), first, hz_of(30.5)).value() == Approx(20 * std::log10(1 + 0.5 * sign)));
    }
    // eight points lie there, 3.5 steps either way: two a quarter turn apart, six in phase; those beyond opposed
    CHECK(added([](int k) { return k < 27 || k > 34 ? std::polar(5.0, std::abs(k - 30) > 20 ? 0.0 : pi)
                                 : k == 27 || k == 34 ? std::polar(5.0, pi / 2) : std::polar(5.0, 0.0); }).value()
          == Approx(10 * std::log10((6 * 4 + 2 * 2) / 8.0)));
    CHECK(added(turned(0), 104.5));         // four points
    CHECK_FALSE(added(turned(0), 105.5));   // three
    // points at which one of them isn't heard don't count: three are left
    for (const bool in_first : {true, false}) {
        Transfer a = first, b = first;
        for (TransferPoint& p : in_first ? a : b)
            if (p.frequency_hz > hz_of(29.5)) p.noise_power = 1;
        CHECK_FALSE(added_db(a, b, hz_of(30.5)));
        CHECK(added_db(a, b, hz_of(29.5)));
    }
    CHECK_FALSE(added_db(first, path(-120, 104, level(0), 2.0), 1000));
    CHECK_FALSE(added_db(path(-120, 104, level(0), 2.0), first, 1000));
}

TEST_CASE("an octave's level is its mean power, the noise's taken off, and as unsure as the noise makes it", "[channels]") {
    // 24 points, neighbours alike so that 1.6 are worth one: power 4 - 0.04, its variance 2 P N + N^2 over 24 / 1.6
    const auto read = octave_level(path(-100, 100, [](int) { return 2.0; }, 0.04), hz_of(0.5));
    REQUIRE(read);
    CHECK(read->centre_hz == Approx(hz_of(0.5)));
    CHECK(read->level_db.value == Approx(10 * std::log10(3.96)));
    const double relative = std::sqrt((2 * 3.96 * 0.04 + 0.04 * 0.04) * 1.6 / 24) / 3.96;
    CHECK(read->level_db.sd == Approx(std::hypot(0.005, 10 / std::numbers::ln10 * relative)).epsilon(1e-4));
    CHECK(read->level_db.limited_by == LimitedBy::nothing);
    // half an octave either way and no more
    const auto edge = octave_level(path(-100, 100, [](int k) { return k >= -11 && k <= 12 ? (k > 6 ? 2.0 : 1.0) : 1e3; }), hz_of(0.5));
    REQUIRE(edge);
    CHECK(edge->level_db.value == Approx(10 * std::log10((6 * 4 + 18 * 1) / 24.0)));
    // twelve points, and half of them heard
    CHECK(octave_level(path(0, 100, level(0)), hz_of(-0.5)));
    CHECK_FALSE(octave_level(path(0, 100, level(0)), hz_of(-1.5)));
    CHECK(octave_level(path(-100, 0, level(0)), hz_of(0.5)));
    CHECK_FALSE(octave_level(path(-100, 0, level(0)), hz_of(1.5)));
    for (const int heard : {11, 12}) {
        Transfer half = path(-11, 12, level(0));
        for (std::size_t i = static_cast<std::size_t>(heard); i < half.size(); ++i) half[i] = {half[i].frequency_hz, 0.0, 0.01, true};
        CHECK(octave_level(half, hz_of(0.5)).has_value() == (heard == 12));
    }
}

TEST_CASE("a channel's level is that at 1 kHz, within 10 dB of its loudest octave, else the loudest", "[channels]") {
    for (const double quieter_db : {9.9, 10.1}) {
        const auto read = passband_level(path(-130, 100, band(-130, -80, 2, 2 - quieter_db)));
        REQUIRE(read);
        CHECK(read->level_db.value == Approx(quieter_db < 10 ? 2 - quieter_db : 2.0).margin(1e-6));
        CHECK((read->centre_hz == 1000) == (quieter_db < 10));
    }
    const auto low = path(-130, -60, level(-4)), quiet = path(-130, 100, level(-60), 1e-3);
    CHECK(passband_level(low)->level_db.value == Approx(-4.0));
    CHECK_FALSE(passband_level(quiet));
    CHECK_FALSE(passband_level({}));
    // of a tone's channels: within 12 dB of the loudest carries it
    const auto loud = path(-130, 100, level(6)), just = path(-130, 100, level(-5.9)), not_quite = path(-130, 100, level(-6.1));
    const std::vector<ChannelPath> paths = {{just, 0}, {loud, 0}, {not_quite, 0}, {quiet, 0}};
    const ChannelRoles roles = roles_of(paths);
    CHECK(roles.loudest == 1U);
    CHECK(roles.carries == std::vector<bool>{true, true, false, false});
    CHECK(roles.silent == std::vector<bool>{false, false, false, true});
    CHECK_FALSE(roles_of({}).loudest);
}

TEST_CASE("balance is read at 1 kHz or in the octave that both pass best, delay below 0.8 of the highest frequency", "[channels]") {
    const auto delayed = [](double gain, double delay_s) {
        return path(-130, 104, [=](int k) { return gain * std::polar(1.0, -2 * pi * hz_of(k) * delay_s); });
    };
    const auto late = delayed(-0.5, 0.0331), early = delayed(2, 0.001);
    const ChannelDifference both = compare({late, 0.033}, {early, 0.0012});
    REQUIRE(both.delay);
    CHECK(both.delay->delay_s.value == Approx(0.0321).margin(1e-7));
    CHECK(both.delay->inverted);
    CHECK(both.delay->to_hz == Approx(16000));   // the highest point below 0.8 times 20159 Hz
    REQUIRE(both.balance);
    CHECK(both.balance->centre_hz == 1000);
    CHECK(both.balance->level_db.value == Approx(20 * std::log10(0.25)));
    // one passes low, the other high frequencies: they share best what lies between, 8 dB louder at -60 than at 1 kHz
    for (const double at_1khz_db : {-9.8, -10.2}) {
        const auto low = path(-130, 104, band(-90, -30, 0, at_1khz_db)), wide = path(-130, 104, level(20));
        const ChannelDifference one = compare({low, 0}, {wide, 0}), other = compare({wide, 0}, {low, 0});
        REQUIRE(one.balance);
        REQUIRE(other.balance);
        const bool usual = at_1khz_db > -10;
        CHECK(one.balance->level_db.value == Approx(-20 + (usual ? at_1khz_db : 0)).margin(0.05));
        CHECK(other.balance->level_db.value == Approx(20 - (usual ? at_1khz_db : 0)).margin(0.05));
        CHECK((one.balance->centre_hz == 1000) == usual);
    }
    const auto silent = path(-130, 104, level(-60), 1e-3);
    CHECK_FALSE(compare({silent, 0}, {early, 0}).balance);
    CHECK_FALSE(compare({early, 0}, {silent, 0}).balance);
    // against the tone itself, its place in the capture is as unsure
    const TonePlace sure{0, 0, 0, 0}, unsure{0, 3e-6, 0, 0};
    const auto exact = delay_after_tone({late, 0.033}, sure), loose = delay_after_tone({late, 0.033}, unsure);
    REQUIRE(exact);
    REQUIRE(loose);
    CHECK(loose->delay_s.value == Approx(0.0331).margin(1e-7));
    CHECK(loose->delay_s.sd == Approx(std::hypot(exact->delay_s.sd, 3e-6)));
    CHECK_FALSE(delay_after_tone({}, sure));
}

TEST_CASE("crosstalk is the mean over a third of an octave, or the noise that covers it", "[channels]") {
    const auto carrying = path(-130, 104, level(6));
    // sixth of an octave either way: points -4 to 4, the outermost may count or not
    const auto heard = crosstalk_of(path(-130, 104, [](int k) { return std::abs(k) <= 4 ? 0.02 : std::abs(k - 80) <= 5 ? 0.04 : 1.0; }), carrying);
    REQUIRE(heard.at_1khz_db);
    REQUIRE(heard.at_10khz_db);
    const double carried = std::pow(10.0, 6.0 / 20);
    CHECK(heard.at_1khz_db->value == Approx(20 * std::log10(0.02 / carried)));
    CHECK(heard.at_10khz_db->value == Approx(20 * std::log10(0.04 / carried)));
    CHECK(heard.at_1khz_db->sd == Approx(0.005));
    CHECK(heard.transfer.size() == carrying.size());
    // noise of twice the wave's power: it is what may be there at most
    const auto covered = crosstalk_of(path(-130, 104, [](int) { return 0.01; }, 2e-4), carrying);
    REQUIRE(covered.at_1khz_db);
    CHECK(covered.at_1khz_db->value == Approx(10 * std::log10(2e-4 / (carried * carried))));
    CHECK(covered.at_1khz_db->limited_by == LimitedBy::noise);
    const double points = covered.at_1khz_db->sd > 1.88 ? 8 : 9;   // see above
    CHECK(covered.at_1khz_db->sd == Approx(10 / std::numbers::ln10 * std::sqrt(1.6 / points)).epsilon(1e-3));
    // a reading of the noise that is above what was expected counts as it is
    const auto above = crosstalk_of(path(-130, 104, [](int) { return 0.02; }, 2e-4), carrying);
    CHECK(above.at_1khz_db->value == Approx(10 * std::log10(4e-4 / (carried * carried))));
    CHECK(above.at_1khz_db->limited_by == LimitedBy::noise);
    const auto short_of_it = crosstalk_of(path(-130, 60, level(-40)), carrying);
    CHECK(short_of_it.at_1khz_db);
    CHECK_FALSE(short_of_it.at_10khz_db);
    CHECK_FALSE(crosstalk_of(carrying, path(-130, 104, level(0), 1.0)).at_1khz_db);
    Transfer narrow = carrying;   // the carrying channel is heard about 1 kHz alone
    for (TransferPoint& p : narrow)
        if (std::abs(std::log2(p.frequency_hz / 1000)) > 0.25) p.noise_power = 10;
    CHECK(crosstalk_of(carrying, narrow).at_1khz_db);
    CHECK_FALSE(crosstalk_of(carrying, narrow).at_10khz_db);
}
