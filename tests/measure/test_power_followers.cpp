#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

#include "../../src/measure/place_filter.hpp"
#include "hushtrace/measure/band_follower.hpp"
#include "hushtrace/measure/click_follower.hpp"
#include "hushtrace/measure/line_follower.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/weighting.hpp"
#include "measure/followed_trial.hpp"
#include "measure/noise_maker.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;

namespace {

Block one_channel(const std::vector<double>& samples) {
    Block block(1, samples.size());
    std::copy(samples.begin(), samples.end(), block.channel(0).begin());
    return block;
}
LineFamily family(double hz, std::vector<double> ratios, bool moves = true) {
    LineFamily out;
    out.frequency_hz = hz;
    out.ratios = std::move(ratios);
    out.low_hz = moves ? 0.5 * hz : 0.994 * hz;
    out.high_hz = moves ? 4.0 * hz : 1.006 * hz;
    out.moves = moves;
    return out;
}
std::vector<double> white(double seconds, double rms, unsigned seed) { return wandering::noise(seconds, rms, seed); }

}  // namespace

TEST_CASE("a wandering whine in noise reads its three lines' power, and its sd covers the error", "[follower]") {
    // closed form: sines of amplitude a have mean square a^2 / 2
    auto sound = white(8, 1e-3, 3);
    wandering::add_tone(sound, 1240, 4e-3, 0.015);
    wandering::add_tone(sound, 2480, 1.5e-3, 0.015);
    wandering::add_tone(sound, 3720, 1e-3, 0.015);
    const double truth = 0.5 * (16e-6 + 2.25e-6 + 1e-6);
    LineFollower follower(48000, 1, family(1240, {1, 2, 3}));
    double square = 0, count = 0, worst = 0;
    for (const FollowedPower& one : follower.add(one_channel(sound))) {
        if (one.time_s < 1.0) continue;
        REQUIRE(one.frequency_hz);
        REQUIRE_FALSE(one.at_most[0]);
        const double error = one.mean_square[0].value - truth;
        square += std::pow(error / one.mean_square[0].sd, 2);
        worst = std::max(worst, std::abs(decibels_from_power(one.mean_square[0].value / truth)));
        ++count;
        const double true_hz = 1240 * wandering::speed(one.time_s - 0.043, 0.015);
        CHECK(*one.frequency_hz == Approx(true_hz).epsilon(0.02));
    }
    CHECK(count > 300);
    CHECK(worst < 0.8);
    CHECK(std::sqrt(square / count) < 1.6);
}

TEST_CASE("a whine among clicks and steady lines: steps, its going and its return are seen", "[follower]") {
    FollowedLaw law;   // 15 dB over the noise in 100 Hz; see followed_sound.hpp
    law.neighbours = 2;
    int right = 0, read = 0;
    double found_gone = 0, gone = 0, late = 0, elsewhere = 0;
    for (const std::uint64_t seed : {1U, 2U, 3U, 4U}) {
        const FollowedTrial trial = followed_trial(law, seed);
        INFO("seed " << seed);
        read += trial.change_error_db ? 1 : 0;
        right += trial.change_error_db && std::abs(*trial.change_error_db) < 1.0 ? 1 : 0;
        found_gone += trial.found_while_gone * trial.gone_hops;
        gone += trial.gone_hops;
        late = std::max(late, trial.back_after_s);
        elsewhere = std::max(elsewhere, trial.wrong_place);
        CHECK(trial.at_most_held >= (trial.hidden_hops > 0 ? 0.95 : 0.0));
    }
    CHECK(read == 4);
    CHECK(right >= 3);
    CHECK(found_gone < 0.01 * gone);
    CHECK(gone > 800);
    CHECK(late < 1.0);
    CHECK(elsewhere < 0.01);
}

TEST_CASE("a foot on the pedal takes the whine to almost four times its frequency: it is followed", "[follower]") {
    FollowedLaw law;
    law.neighbours = 0;
    law.sweep_to = 3.75;   // 800 to 3000 rpm and back in 5 s
    law.duration_s = 9, law.step_s = law.gone_s = law.back_s = 100;
    const FollowedTrial trial = followed_trial(law, 5);
    CHECK(trial.present_found > 0.99);
    CHECK(trial.wrong_place < 0.01);
    CHECK(trial.hidden_hops < 0.02 * trial.present_hops);
}

TEST_CASE("a whine that drowns is told as at most so much, and that is true", "[follower]") {
    FollowedLaw law;
    law.neighbours = 0;
    law.over_noise_db = -3;
    law.duration_s = 8, law.step_s = law.gone_s = law.back_s = 100;
    const FollowedTrial trial = followed_trial(law, 6);
    CHECK(trial.hidden_hops > 0.9 * trial.present_hops);
    CHECK(trial.at_most_held > 0.95);
    CHECK(trial.at_most_margin_db < 12.0);
}

TEST_CASE("mains hum reads the power of its harmonics, and a louder tone 12 Hz beside one doesn't count", "[follower]") {
    auto sound = white(4, 3e-4, 8);
    const double turn = 2.0 * std::numbers::pi;
    double truth = 0;
    for (std::size_t n = 0; n < sound.size(); ++n) {
        const double t = static_cast<double>(n) / 48000.0;
        sound[n] += 2e-3 * std::sin(turn * 100.04 * t) + 1e-3 * std::sin(turn * 50.02 * t) + 5e-4 * std::sin(turn * 150.06 * t + 1.0);
        sound[n] += 3e-3 * std::sin(turn * 112.5 * t);
    }
    truth = 0.5 * (4e-6 + 1e-6 + 0.25e-6);
    LineFollower follower(48000, 1, family(100.04, {1, 0.5, 1.5}, false));
    const auto readings = follower.add(one_channel(sound));
    REQUIRE(readings.size() > 60);
    const FollowedPower& last = readings.back();
    REQUIRE(last.frequency_hz);
    CHECK(dbfs_from_mean_square(last.mean_square[0].value) == Approx(dbfs_from_mean_square(truth)).margin(0.4));
}

TEST_CASE("a louder line that held still from the beginning is not taken for the whine, which is not there", "[follower]") {
    auto sound = white(6, 1e-3, 14);
    wandering::add_tone(sound, 1310, 8e-3, 0.0);
    LineFollower follower(48000, 1, family(1240, {1, 2}));
    const Block whole = one_channel(sound);
    follower.learn_others(whole);
    for (const FollowedPower& one : follower.add(whole)) {
        CHECK_FALSE(one.frequency_hz);
        // at most: far below the line's 3.2e-5
        if (one.time_s > 1.0) CHECK(one.mean_square[0].value < 1e-6);
    }
}

TEST_CASE("a whine that comes out of digital silence is found, and the noise beneath it learnt", "[follower]") {
    auto sound = white(6, 1e-3, 12);
    wandering::add_tone(sound, 1240, 4e-3, 0.015);
    std::fill(sound.begin(), sound.begin() + 2 * 48000, 0.0);
    LineFollower follower(48000, 1, family(1240, {1}));
    for (const FollowedPower& one : follower.add(one_channel(sound))) {
        if (one.time_s < 1.9) CHECK_FALSE(one.frequency_hz);
        if (one.time_s > 3.5) CHECK(dbfs_from_mean_square(one.mean_square[0].value) == Approx(-47.96).margin(0.7));
        if (one.time_s > 3.5) CHECK_FALSE(one.at_most[0]);
    }
}

TEST_CASE("digital silence, a rate without the line and values that are no numbers", "[follower]") {
    LineFollower follower(48000, 2, family(1000, {1, 2}));
    for (const FollowedPower& one : follower.add(Block(2, 48000))) {
        CHECK_FALSE(one.frequency_hz);
        CHECK(one.at_most[0]);
        CHECK(one.mean_square[0].value < 1e-20);
    }
    Block broken(2, 100);
    broken.channel(1)[3] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(follower.add(broken), Error);
    CHECK_THROWS_AS(follower.add(Block(1, 100)), Error);
    CHECK_THROWS_AS(LineFollower(8000, 1, family(4000, {1})), Error);
    CHECK_THROWS_AS(LineFollower(48000, 1, family(1000, {2, 3})), Error);
    CHECK_THROWS_AS(LineFollower(48000, 0, family(1000, {1})), Error);
    CHECK_THROWS_AS(ClickFollower(4000, 1), Error);
    CHECK_THROWS_AS(BandFollower(0, 1, FollowedBand::hiss), Error);
}

TEST_CASE("hiss is read under the lines, flat and A-weighted, at any usual rate", "[follower]") {
    // closed form: density d over 20 Hz to 20 kHz (or half the rate); A-weighting integrated over the same band
    for (const double rate : {16000.0, 48000.0, 96000.0}) {
        const double density = 1e-10, top = std::min(20000.0, 0.5 * rate);
        std::mt19937 random(4);
        auto sound = NoiseMaker(rate, static_cast<std::size_t>(4 * rate), [&](double) { return density; }).take(random);
        for (std::size_t n = 0; n < sound.size(); ++n) sound[n] += 0.02 * std::sin(2.0 * std::numbers::pi * 997.0 * static_cast<double>(n) / rate);
        double weighted = 0;
        for (double f = 20.0; f < top; f += 1.0) weighted += density * a_weighting_power(f);
        INFO(rate);
        BandFollower flat(rate, 1, FollowedBand::hiss), a(rate, 1, FollowedBand::hiss_a), all(rate, 1, FollowedBand::everything);
        const auto level = [&](BandFollower& one) { return decibels_from_power(one.add(one_channel(sound)).back().mean_square[0].value); };
        CHECK(level(flat) == Approx(decibels_from_power(density * (top - 20.0))).margin(0.25));
        CHECK(level(a) == Approx(decibels_from_power(weighted)).margin(0.3));
        CHECK(level(all) == Approx(decibels_from_power(density * (top - 20.0) + 2e-4)).margin(0.1));
    }
}

TEST_CASE("clicks read the power that they add above 2 kHz; without them it is at most some of the noise", "[follower]") {
    for (const double amplitude : {0.0, 0.03, 0.1}) {
        auto clicks = std::vector<double>(static_cast<std::size_t>(4 * 48000), 0.0);
        wandering::add_clicks(clicks, 26, amplitude, 0.01, 5);   // ringing at 0.8 rad a sample: 6.1 kHz, all above 2 kHz but 1 %
        double truth = 0;
        for (const double v : clicks) truth += v * v / static_cast<double>(clicks.size());
        auto sound = white(4, 1e-3, 9);
        for (std::size_t n = 0; n < sound.size(); ++n) sound[n] += clicks[n];
        wandering::add_tone(sound, 3100, 5e-3, 0.01);   // a whine's line among them is none of theirs
        ClickFollower follower(48000, 1);
        const FollowedPower last = follower.add(one_channel(sound)).back();
        INFO(amplitude);
        CHECK(last.at_most[0] == (amplitude == 0.0));
        if (amplitude > 0.0) CHECK(decibels_from_power(last.mean_square[0].value / truth) == Approx(0.0).margin(1.0));
        else CHECK(last.mean_square[0].value < 0.2 * (1e-6 * 0.92 + 12.5e-6));
    }
}

TEST_CASE("a line that may be at any of a few places comes and goes by Bayes' rule", "[place_filter]") {
    // Thirteen places round 1000 Hz, all near by: of "there" and "not there" alone, half and half at first, each changing with
    // 0.4 % a hop; a spectrum that says e^x for each place makes odds of e^x.
    PlaceFilter filter(1000.0 * std::exp(-0.006), 1000.0 * std::exp(0.006) * 0.99999, 1000.0, 0.001, 0);
    REQUIRE(filter.places() == 13);
    CHECK(filter.place_hz(0) == Approx(1000.0 * std::exp(-0.006)));
    CHECK(filter.place_hz(12) == Approx(1000.0 * std::exp(0.006)));
    double there = 0.5;
    for (const double says : {1.0, -0.5, 0.0, 2.5, -4.0, -1.0}) {
        filter.update(std::vector<double>(13, says));
        const double before = 0.996 * there + 0.004 * (1.0 - there);
        there = before * std::exp(says) / (before * std::exp(says) + 1.0 - before);
        CHECK(filter.present() == Approx(there).epsilon(1e-9));
        CHECK(filter.likeliest_hz() == Approx(1000.0).epsilon(1e-6));   // even, so in the middle
        CHECK(filter.slope_places() == 0.0);
    }
}

TEST_CASE("a line is looked for where it was last, four fifths within 3 % of it, for 200 hops", "[place_filter]") {
    // 81 places of a hundredth; far more than the three per cent
    const double low = 1000.0 * std::exp(-0.4), high = 1000.0 * std::exp(0.4) * 0.99999;
    PlaceFilter filter(low, high, 1000.0, 0.01, 0);
    REQUIRE(filter.places() == 81);
    filter.update(std::vector<double>(81, 0.0));
    // 14 places either way hold four fifths of it there and 29/81 of the rest
    CHECK(filter.present() == Approx(0.5 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(1e-3));
    CHECK(filter.likeliest_hz() == Approx(1000.0).epsilon(1e-6));
    PlaceFilter sloping(low, high, 1000.0, 0.01, 2);   // with slopes as well
    sloping.update(std::vector<double>(81, 0.0));
    CHECK(sloping.present() == Approx(0.5 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(0.01));
    CHECK(sloping.slope_places() == Approx(0.0).margin(1e-9));
    sloping.update(std::vector<double>(81, 2000.0));   // however sure
    CHECK(sloping.present() == Approx(0.8 + 0.2 * 29.0 / 81.0).epsilon(0.01));
    // what comes back comes to where it was found last
    const auto after_loss = [&](std::size_t hops, double found_hz) {
        PlaceFilter one(low, high, 1000.0, 0.01, 0);
        one.was_found(found_hz);
        for (std::size_t i = 0; i < hops; ++i) one.update(std::vector<double>(81, -40.0));   // it is nowhere
        one.update(std::vector<double>(81, 0.0));
        return one;
    };
    // of the 0.4 % that come back in a hop, so much within reach of 1221 Hz
    CHECK(after_loss(10, 1000.0 * std::exp(0.2)).likeliest_hz() == Approx(1000.0 * std::exp(0.2)).epsilon(1e-4));
    CHECK(after_loss(10, 1000.0 * std::exp(0.2)).present() == Approx(0.004 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(2e-3));
    CHECK(after_loss(199, 1000.0).present() == Approx(0.004 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(2e-3));
    CHECK(after_loss(200, 1000.0).present() == Approx(0.004 * (0.4 + 0.6 * 29.0 / 81.0)).epsilon(2e-3));   // then it may be anywhere
}

TEST_CASE("a place strays by one either way, a slope is kept and shifts by one", "[place_filter]") {
    const double low = 1000.0 * std::exp(-0.4), high = 1000.0 * std::exp(0.4) * 0.99999;
    const auto only_at = [](std::size_t place) {
        std::vector<double> odds(81, -60.0);
        odds[place] = 60.0;
        return odds;
    };
    // with no slopes: after one place for sure, three fifths stay and a fifth goes either way
    PlaceFilter still(low, high, 1000.0, 0.01, 0);
    still.update(only_at(40));
    CHECK(still.present() == Approx(1.0));
    std::vector<double> odds(81, -60.0);
    odds[40] = 0.0;
    odds[41] = std::log(4.0);
    still.update(odds);   // 0.6 against 0.2 * 4, the middle 4/7 of a place up
    CHECK(still.likeliest_hz() == Approx(1000.0 * std::exp(0.01 * 4.0 / 7.0)).epsilon(1e-4));
    CHECK(still.present() == Approx(0.996 * 1.4 / (0.996 * 1.4 + 0.004)).epsilon(1e-3));
    odds[41] = -60.0;
    odds[39] = std::log(4.0);
    PlaceFilter down(low, high, 1000.0, 0.01, 0);
    down.update(only_at(40));
    down.update(odds);
    CHECK(down.likeliest_hz() == Approx(1000.0 * std::exp(-0.01 * 4.0 / 7.0)).epsilon(1e-4));
    // what strays beyond an end stays there: 0.8 against 0.2
    PlaceFilter top(low, high, 1490.0, 0.01, 0);
    top.update(only_at(80));
    odds.assign(81, -60.0);
    odds[80] = odds[79] = 0.0;
    top.update(odds);
    CHECK(top.likeliest_hz() == Approx(low * std::exp(0.01 * 79.8)).epsilon(1e-4));
    PlaceFilter bottom(low, high, 671.0, 0.01, 0);
    bottom.update(only_at(0));
    odds.assign(81, -60.0);
    odds[0] = odds[1] = 0.0;
    bottom.update(odds);
    CHECK(bottom.likeliest_hz() == Approx(low * std::exp(0.01 * 0.2)).epsilon(1e-4));
    // a line that moves evenly shows its slope, either way, up to the steepest
    for (const int slope : {-2, -1, 0, 1, 2}) {
        PlaceFilter moving(low, high, 1000.0, 0.01, 2);
        for (int hop = 0; hop < 15; ++hop) moving.update(only_at(static_cast<std::size_t>(40 + slope * (hop - 7))));
        CAPTURE(slope);
        CHECK(moving.present() > 0.999);
        CHECK(moving.likeliest_hz() == Approx(1000.0 * std::exp(0.01 * 7 * slope)).epsilon(1e-6));
        CHECK(moving.slope_places() == Approx(slope).margin(std::abs(slope) == 2 ? 0.35 : 0.2));
    }
    // Two hops tell a step of +1 from a slope of +1, with three slopes of a third each: of the first place 1/3 move by one and stay
    // (0.6), 1/3 move by none and stray (0.2), none come from -1.
    PlaceFilter three(low, high, 1e6, 0.01, 1);   // looked for far away: no place is likelier than another
    three.update(only_at(40));
    three.update(only_at(41));
    CHECK(three.slope_places() == Approx(0.6 / 0.8).epsilon(1e-3));
    // The third hop, another +1: of slope 1 there are 3/4, of 0 a quarter. Slopes are kept with 0.78, taken from either side with 0.1
    // (at the end from the same), and drawn anew with 0.02.
    three.update(only_at(42));
    const double up = 0.78 * 0.75 + 0.1 * (0.25 + 0.75) + 0.02 / 3.0, none = 0.78 * 0.25 + 0.1 * 0.75 + 0.02 / 3.0;
    CHECK(three.slope_places() == Approx(0.6 * up / (0.6 * up + 0.2 * none)).epsilon(1e-3));
    three.update(std::vector<double>(81, -5.5));   // hardly there, but with its slope
    const double was_up = 0.6 * up / (0.6 * up + 0.2 * none), was_none = 1.0 - was_up;
    CHECK(three.present() == Approx(0.996 * std::exp(-5.5) / (0.996 * std::exp(-5.5) + 0.004)).epsilon(1e-3));
    CHECK(three.slope_places() == Approx(0.78 * was_up + 0.1 * (was_up + was_none) - 0.1 * was_none).epsilon(1e-3));
}
