#include "../../../src/diagnose/sources/steady_taken.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "diagnose/made_survey.hpp"

using namespace hushtrace;

namespace {

/// A take's search with what is spoken for beside it; 2 kHz of bins of 1 Hz.
struct Search {
    Take take;
    TakeSurvey survey;
    SpokenFor spoken;
    Taken taken;
    explicit Search(std::vector<Channel> channels = {Channel::left}) : take(made_take("takes/off.flac", Engine::off, std::move(channels))) {
        survey = quiet_survey(take, 1.0, 4000.0);
    }
    StillSpectrum& still(std::size_t c = 0) { return survey.channels[c].still; }
    bool spoken_for(double hz) const { return search_of(survey, spoken, taken).places.spoken_for(hz); }
    bool doubtful(double hz) const { return search_of(survey, spoken, taken).places.doubtful(hz); }
    /// Brings bins to so many times the noise.
    void lift(double hz, double times, std::size_t c = 0) { still(c).density[still(c).bin_of(hz)] = times * kMadeNoise; }
};

}  // namespace

TEST_CASE("the strongest bin within reach is read over all channels", "[steady_taken]") {
    Search s({Channel::left, Channel::sub, Channel::right});
    s.lift(502, 7.0, 0);
    s.lift(498, 9.0, 2);
    s.still(1).density.clear();
    CHECK(power_at(s.survey, 500, 1.0) == Approx(kMadeNoise));
    CHECK(power_at(s.survey, 500, 2.0) == Approx(9.0 * kMadeNoise));
    CHECK(power_at(s.survey, 501, 1.0) == Approx(7.0 * kMadeNoise));
    CHECK(power_at(s.survey, 501, 2.0) == Approx(7.0 * kMadeNoise));
}

TEST_CASE("what was taken covers its line, and each multiple of a comb", "[steady_taken]") {
    Search s;
    s.taken.lines_hz = {300.0, 700.0};
    for (const double in : {297.6, 302.4, 702.4}) CHECK(s.taken.holds(s.survey, in));
    for (const double out : {297.4, 302.6, 500.0}) CHECK_FALSE(s.taken.holds(s.survey, out));
    s.taken.lines_hz.clear();
    // 1 Hz, and of the 8th multiple 8 times 0.01 Hz, an oscillator's 1e-4 of 100 Hz
    s.taken.combs = {{100.0, 0.0, 1e-9}};
    CHECK(s.taken.holds(s.survey, 801.07));
    CHECK_FALSE(s.taken.holds(s.survey, 801.09));
    CHECK_FALSE(s.taken.holds(s.survey, 798.91));
    CHECK_FALSE(s.taken.holds(s.survey, 0.5));   // no multiple
    CHECK(s.taken.holds(s.survey, 100.9));
    s.taken.combs = {{100.0, 0.1, 1e-9}};        // twice the spacing's sd
    CHECK(s.taken.holds(s.survey, 802.5));
    CHECK_FALSE(s.taken.holds(s.survey, 802.7));
    s.taken.combs = {{100.0, 2.0, 1e-9}};        // never more than a tenth of the spacing
    CHECK(s.taken.holds(s.survey, 809.9));
    CHECK_FALSE(s.taken.holds(s.survey, 810.1));
    s.taken.combs = {{100.0, 0.0, 100.0 * kMadeNoise}};   // nothing that is stronger than its own lines
    s.lift(800, 99.0);
    CHECK(s.taken.holds(s.survey, 800));
    s.lift(802, 200.0);   // something else beside it
    CHECK(s.taken.holds(s.survey, 800));
    s.lift(800, 101.0);
    CHECK_FALSE(s.taken.holds(s.survey, 800));
}

TEST_CASE("a comb that is taken in leaves its teeth, skirts of the loud ones, and its multiples", "[steady_taken]") {
    Taken taken;
    LineComb comb = made_comb(100.0, {{1, {1e-9, 3e-9}}, {2, {2e-9, 1e-9}}});
    comb.teeth[1].surprise = 201.0;
    take_in(comb, taken);
    CHECK(taken.lines_hz == std::vector<double>{100.0, 196.0, 200.0, 204.0});
    CHECK(taken.combs.empty());   // two lines are none
    comb = made_comb(100.0, {{1, {1e-9, 3e-9}}, {2, {2e-9, 4e-9}}, {3, {1e-9, 1e-9}}}, 199.0);
    take_in(comb, taken);
    CHECK(taken.lines_hz.size() == 7);
    REQUIRE(taken.combs.size() == 1);
    CHECK(taken.combs[0].spacing_hz == 100.0);
    CHECK(taken.combs[0].spacing_sd_hz == 0.001);
    CHECK(taken.combs[0].most_mean_square == Approx(6e-9));   // of its strongest tooth, both channels
    take_in(made_comb(100.0, {{2, {1e-9}}, {4, {1e-9}}, {6, {1e-9}}}), taken);
    CHECK(taken.combs.at(1).spacing_hz == 200.0);             // every second one alone
}

TEST_CASE("a search leaves silent channels out", "[steady_taken]") {
    Search s({Channel::left, Channel::right, Channel::sub, Channel::center});
    s.survey.channels[0].silent = true;
    s.still(2).density.clear();
    const SteadySearch search = search_of(s.survey, s.spoken, s.taken);
    CHECK(search.survey == &s.survey);
    CHECK(search.channel_of == std::vector<std::size_t>{1, 3});
    REQUIRE(search.spectra.size() == 2);
    CHECK(search.spectra[0] == &s.survey.channels[1].still);
    CHECK(search.spectra[1] == &s.survey.channels[3].still);
}

TEST_CASE("a whine's known lines and hunting pulses speak for what lies at them", "[steady_taken]") {
    Search s;
    s.spoken.known_hz = {600.0, 1800.0};
    for (const double in : {602.9, 597.1, 1803.5, 1796.5}) CHECK(s.spoken_for(in));   // 3 Hz, 0.2 %
    for (const double out : {603.1, 596.9, 1803.7, 1796.3}) CHECK_FALSE(s.spoken_for(out));
    s.spoken.known_hz.clear();
    CHECK_FALSE(s.spoken_for(600.0));
    HuntingPulses pulses;
    pulses.rate_hz = 600.0;
    pulses.width_hz = 10.0;
    s.survey.channels[0].pulses = pulses;
    CHECK(s.spoken_for(600.0));
    CHECK_FALSE(s.spoken_for(900.0));
    s.survey.channels[0].pulses.reset();
    s.taken.lines_hz = {600.0};
    CHECK(s.spoken_for(600.0));
}

TEST_CASE("clicks speak for their own lines, less for what stands over those", "[steady_taken]") {
    Search s;
    s.spoken.clicks = {{100.0, 0.0}};
    CHECK(s.spoken_for(1000.0));
    CHECK(s.spoken_for(1001.9));      // a Hann window's main lobe, two bins
    CHECK(s.spoken_for(998.1));
    CHECK_FALSE(s.spoken_for(1002.1));
    CHECK_FALSE(s.spoken_for(1050.0));
    CHECK(s.spoken_for(100.0));
    CHECK_FALSE(s.spoken_for(1.0));   // below the rate there are none
    // over the lines next to it on both sides by 10 dB it is none of theirs
    s.lift(1000, 101.0);
    s.lift(1100, 10.0);
    CHECK_FALSE(s.spoken_for(1000.0));
    s.lift(1100, 10.2);
    CHECK(s.spoken_for(1000.0));
    s.lift(1100, 1.0);
    s.lift(901, 10.2);   // near enough
    CHECK(s.spoken_for(1000.0));
    s.lift(901, 1.0);
    s.lift(903, 10.2);
    CHECK_FALSE(s.spoken_for(1000.0));
}

TEST_CASE("a loud click line's lobes reach as far as they stand over the noise", "[steady_taken]") {
    Search s;
    s.spoken.clicks = {{100.0, 0.0}};
    // amplitude 1 / (pi d^3), d bins off (Harris 1978): 80 dB over the noise are reached at d = (10^4 / pi)^(1/3) = 14.7
    s.lift(1000, 1e8);
    CHECK(s.spoken_for(1014.0));
    CHECK(s.spoken_for(986.0));
    CHECK_FALSE(s.spoken_for(1015.0));
    s.lift(1000, 1e12);   // 68 bins, but no more than three tenths of the rate
    CHECK(s.spoken_for(1029.0));
    CHECK_FALSE(s.spoken_for(1031.0));
    s.lift(1000, 1.0);
    Search two({Channel::left, Channel::right});   // in any channel
    two.spoken.clicks = {{100.0, 0.0}};
    two.lift(1000, 1e8, 1);
    CHECK(two.spoken_for(1014.0));
    two.still(1).noise.assign(two.still(1).noise.size(), 0.0);   // nothing to hold it against
    CHECK_FALSE(two.spoken_for(1014.0));
    two.still(1).density.clear();
    CHECK_FALSE(two.spoken_for(1014.0));
}

TEST_CASE("clicks whose rate wanders smear their lines the further up the wider", "[steady_taken]") {
    Search s;
    s.spoken.clicks = {{100.0, 0.001}};
    CHECK(s.spoken_for(1003.4));   // 1.5 Hz and 2 * 0.1 % of 1 kHz
    CHECK_FALSE(s.spoken_for(1003.6));
    CHECK(s.spoken_for(502.4));
    CHECK_FALSE(s.spoken_for(502.6));
    CHECK(s.doubtful(1004.9));     // 2 Hz and 3 * 0.1 % of 1 kHz
    CHECK_FALSE(s.doubtful(1005.1));
    CHECK_FALSE(s.doubtful(2.0));
    CHECK_FALSE(s.doubtful(79.0));
    s.spoken.clicks = {{10.0, 0.0}};
    CHECK(s.doubtful(8.1));
    CHECK_FALSE(s.doubtful(7.9));   // below four fifths of the rate
    CHECK_FALSE(Search().doubtful(1000.0));
}

TEST_CASE("where clicks' lines run together, a line of theirs stands no more than 10 dB over its surroundings", "[steady_taken]") {
    // slower than 6 a second in bins of 1 Hz, or smeared by more than half their rate
    for (const SpokenFor::Clicks& clicks : {SpokenFor::Clicks{4.0, 0.0}, SpokenFor::Clicks{6.5, 0.004}}) {
        CAPTURE(clicks.rate_hz);
        Search s({Channel::left, Channel::right});
        s.spoken.clicks = {clicks};
        CHECK_FALSE(s.spoken_for(1000.0));   // the clicks don't reach so far up
        s.lift(989, 100.0);                  // further off than half of their distance beyond it, and nearer than half
        s.lift(998, 100.0);
        CHECK_FALSE(s.spoken_for(1000.0));
        s.lift(989, 1.0);
        s.lift(998, 1.0);
        s.lift(994, 5.9, 1);
        CHECK_FALSE(s.spoken_for(1000.0));
        s.lift(994, 6.1, 1);
        CHECK(s.spoken_for(1000.0));
        s.lift(1000, 60.0, 1);
        CHECK(s.spoken_for(1000.0));
        s.lift(1000, 62.0, 1);
        CHECK_FALSE(s.spoken_for(1000.0));
        s.lift(1006, 6.3, 0);                // the other side's speaks too
        CHECK(s.spoken_for(1000.0));
    }
}

TEST_CASE("lines of a family that moves are its own, of one that holds still nobody's", "[steady_taken]") {
    Search s;
    MovingFamily family;
    family.mean_hz = 500.0;
    family.wander = 0.004;   // 2 Hz
    family.significance = 8.1;
    family.lines.resize(2);
    family.lines[0].mean_square = {1e-8};
    family.lines[1].ratio = 2.0;
    family.lines[1].mean_square = {1e-8};
    s.survey.families = {family};
    MovingFamily& one = s.survey.families[0];
    CHECK(s.spoken_for(506.9));   // 2 Hz and 2.5 times 2 Hz
    CHECK(s.spoken_for(493.1));
    CHECK_FALSE(s.spoken_for(507.1));
    CHECK(s.spoken_for(1011.9));
    CHECK_FALSE(s.spoken_for(1012.1));
    one.significance = 7.9;       // may be none
    CHECK_FALSE(s.spoken_for(500.0));
    s.spoken.whine_family = 0;    // but the whine is
    CHECK(s.spoken_for(500.0));
    s.spoken.whine_family = 1;
    CHECK_FALSE(s.spoken_for(500.0));
    s.spoken.whine_family.reset();
    one.significance = 8.1;
    one.wander = 0.0019;          // less than 1 Hz: a still line's width
    CHECK_FALSE(s.spoken_for(500.0));
    CHECK(s.spoken_for(1000.0));
    s.spoken.whine_family = 0;
    CHECK(s.spoken_for(500.0));
    s.spoken.whine_family.reset();
    // what was followed is a line that holds still: within 2 Hz, or one and a half times what the track strays by
    one.wander = 0.004;
    const auto held = [&](double frequency_hz, bool steady, double present) {
        StillLine line;
        line.frequency_hz = frequency_hz;
        line.steady = steady;
        line.present_share = present;
        s.still().lines = {line};
        return !s.spoken_for(500.0);
    };
    CHECK(held(502.9, true, 0.76));
    CHECK_FALSE(held(503.1, true, 0.76));
    CHECK_FALSE(held(500.0, false, 0.76));
    CHECK_FALSE(held(500.0, true, 0.74));
    one.wander = 0.0022;
    CHECK(held(501.9, true, 0.76));
    CHECK_FALSE(held(502.1, true, 0.76));
    s.spoken.whine_family = 0;
    CHECK_FALSE(held(500.0, true, 1.0));
}

TEST_CASE("a line that holds half of a smeared one's power in one bin is not that one", "[steady_taken]") {
    Search s;
    MovingFamily family;
    family.mean_hz = 500.0;
    family.wander = 0.0081;   // more than 4 Hz
    family.significance = 20.0;
    family.lines.resize(1);
    family.lines[0].mean_square = {50.0 * kMadeNoise, 100.0 * kMadeNoise};
    s.survey.families = {family};
    // 1.5 bins of 1 Hz hold a line: 0.5 * 100 / 1.5 = 33.3 times the noise
    s.lift(505, 33.0);
    CHECK(s.spoken_for(505.0));
    s.lift(505, 34.0);
    CHECK_FALSE(s.spoken_for(505.0));
    CHECK_FALSE(s.spoken_for(506.0));
    CHECK(s.spoken_for(507.0));
    s.survey.families[0].wander = 0.0079;   // not smeared so far
    CHECK(s.spoken_for(505.0));
}

TEST_CASE("a line that the set-up has with its inputs shorted is the set-up's, to 3 dB", "[steady_taken]") {
    Search s({Channel::left, Channel::right}), floor({Channel::left, Channel::right});
    s.spoken.floor_takes = {&floor.survey};
    const auto own = [&](double here, double there, double surprise) {
        for (std::size_t c = 0; c < 2; ++c) s.still(c) = floor.still(c) = quiet_still(1.0, 4000.0);
        stand(s.still(1), 700.0, here);
        stand(floor.still(1), 700.0, there, surprise);
        return s.spoken_for(700.0);
    };
    CHECK(own(1e-9, 1e-9, 50.0));
    CHECK(own(1e-9, 0.51e-9, 50.0));
    CHECK_FALSE(own(1e-9, 0.49e-9, 50.0));
    CHECK(own(1e-9, 1e-9, 9.9));          // surprise 9, and 0.76 for having looked in three bins
    CHECK_FALSE(own(1e-9, 1e-9, 9.6));
    CHECK(own(1e-9, 1e-9, 50.0));
    CHECK_FALSE(s.spoken_for(710.0));
    std::swap(s.still(0), s.still(1));    // in the first channel as in the second
    std::swap(floor.still(0), floor.still(1));
    CHECK(s.spoken_for(700.0));
    CHECK(own(1e-9, 1e-9, 50.0));
    floor.still(1).density.clear();
    CHECK_FALSE(s.spoken_for(700.0));
    CHECK(own(1e-9, 1e-9, 50.0));
    s.still(1).density.clear();
    CHECK_FALSE(s.spoken_for(700.0));
    CHECK(own(1e-9, 1e-9, 50.0));
    floor.survey.channels.resize(1);      // the floor has no such channel
    CHECK_FALSE(s.spoken_for(700.0));
}
