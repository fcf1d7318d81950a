#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

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

TEST_CASE("a steady family's level and its uncertainty follow from its lines' powers", "[follower]") {
    // At 8 kHz windows of 2880 samples, 0.36 s, one each eighth of that. Lines of 0.02 and 0.01 at 400 and 800 Hz, a third of 1 % of
    // the power, in one channel; a quarter of the amplitudes in the other. Noise of 1e-4 rms: 2.5e-12 in a hertz.
    const double turn = 2.0 * std::numbers::pi / 8000.0, powers[] = {2e-4, 5e-5, 2.5e-6};
    Block block(2, 24000);
    const auto noise = white(1.0, 1e-4, 4);
    for (std::size_t n = 0; n < 24000; ++n) {
        const double t = turn * static_cast<double>(n);
        const double lines = 0.02 * std::cos(400.0 * t) + 0.01 * std::cos(800.0 * t) + std::sqrt(5e-6) * std::cos(1200.0 * t);
        block.channel(0)[n] = lines + noise[n];
        block.channel(1)[n] = 0.25 * lines + noise[n + 24000];
    }
    LineFollower follower(8000, 2, family(400.0, {1, 2, 3}, false));
    CHECK(follower.hop_s() == Approx(0.045));
    const auto readings = follower.add(block);
    REQUIRE(readings.size() == 1 + (24000 - 2880) / 360);
    for (std::size_t i = 0; i < readings.size(); ++i) CHECK(readings[i].time_s == Approx(0.36 + 0.045 * static_cast<double>(i)));
    const FollowedPower& last = readings.back();
    REQUIRE(last.frequency_hz);
    CHECK(*last.frequency_hz == Approx(400.0).epsilon(5e-4));
    REQUIRE(last.mean_square.size() == 2);
    const double all = powers[0] + powers[1];   // the third is left out after a second
    for (std::size_t c = 0; c < 2; ++c) {
        const double expected = all * (c == 0 ? 1.0 : 1.0 / 16), seconds = 0.045 * 6 + 0.18;   // seven looks, half a window more
        CHECK_FALSE(last.at_most[c]);
        CHECK(last.mean_square[c].value == Approx(expected).epsilon(0.01));
        // each line's 2 p S / T, and 0.15 dB of it for what its model leaves
        double variance = 0;
        for (const double whole : {powers[0], powers[1]}) {
            const double p = c == 0 ? whole : whole / 16;
            variance += 2.0 * p * 2.5e-12 / seconds + 0.0012 * p * p;
        }
        CHECK(last.mean_square[c].sd == Approx(std::sqrt(variance)).epsilon(0.03));
        CHECK(last.mean_square[c].limited_by == LimitedBy::nothing);
    }
    CHECK(readings[3].mean_square[0].value == Approx(all + powers[2]).epsilon(0.01));
}

TEST_CASE("a faint family is limited by the noise, and where there is none it may be so much at most", "[follower]") {
    // noise of 0.01 rms at 8 kHz: 2.5e-8 in a hertz, and in a band of 2 (2.2 bins of 2.78 Hz + 0.2 Hz) = 12.6 Hz 3.2e-7
    const auto last = [](double amplitude, unsigned seed, bool moves) {
        std::vector<double> sound = white(0.5, 0.01, seed);   // 24000 samples
        for (std::size_t n = 0; n < sound.size(); ++n) sound[n] += amplitude * std::cos(2.0 * std::numbers::pi * 0.05 * static_cast<double>(n));
        LineFollower follower(8000, 1, family(400.0, {1}, moves));
        return follower.add(one_channel(sound)).back();
    };
    double faint = 0, faint_sd = 0, none = 0;
    int covered = 0;
    for (unsigned seed = 1; seed <= 5; ++seed) {
        const FollowedPower one = last(4e-3, seed, false);   // 8e-6: 14 dB over the noise in its band
        REQUIRE(one.frequency_hz);
        REQUIRE_FALSE(one.at_most[0]);
        CHECK(one.mean_square[0].limited_by == LimitedBy::nothing);
        faint += one.mean_square[0].value / 5;
        faint_sd += one.mean_square[0].sd / 5;
        // three standard deviations at least, noise-limited up to four
        const FollowedPower fainter = last(2.2e-3, seed, false);
        if (!fainter.at_most[0]) {
            const Reading& reading = fainter.mean_square[0];
            CHECK(reading.value >= 3.0 * reading.sd);
            CHECK((reading.limited_by == LimitedBy::noise) == (reading.sd > 0.25 * reading.value));
        }
        covered += fainter.mean_square[0].value + 2.0 * fainter.mean_square[0].sd > 2.42e-6;
        const FollowedPower gone = last(0.0, seed, false);
        CHECK(gone.at_most[0]);
        CHECK(gone.mean_square[0].sd == 0.0);
        CHECK(gone.mean_square[0].limited_by == LimitedBy::noise);
        none += gone.mean_square[0].value / 5;
    }
    CHECK(covered >= 4);
    const double density = 2.5e-8, seconds = 0.45, width_hz = 2.0 * (2.2 * 8000.0 / 2880 + 0.2), side_hz = 2.0 * 8000.0 / 2880;
    const auto sd = [&](double power) {
        // 2 p S + S^2 W over the time, the noise's own from eight bands beside it, of which 0.7 count, and 0.15 dB of the line
        const double freedom = std::max(1.0, side_hz * seconds);
        return std::sqrt((2.0 * power * density + density * density * width_hz) / seconds + std::pow(density * width_hz, 2) / (freedom * 8 * 0.7) +
                         0.0012 * power * power);
    };
    CHECK(faint == Approx(8e-6).margin(3.0 * sd(8e-6) / std::sqrt(5.0)));
    CHECK(faint_sd == Approx(sd(8e-6)).epsilon(0.15));
    // twice the uncertainty of nothing, twice the noise of three bins, and what the noise happens to be over its mean
    CHECK(none == Approx(2.0 * sd(0.0) + 2.0 * density * 3.0 * 8000.0 / 2880).epsilon(0.3));
    // one that may move is looked for in shorter windows: 720 samples, a quarter of that from one to the next
    LineFollower moving(8000, 1, family(400.0, {1}));
    CHECK(moving.hop_s() == Approx(0.0225));
    CHECK(moving.add(Block(1, 720 + 180)).size() == 2);
    const FollowedPower moved = last(0.1, 3, true);   // low and loud: its lobe covers a fifth of its frequency
    REQUIRE(moved.frequency_hz);
    CHECK(*moved.frequency_hz == Approx(400.0).epsilon(0.01));
    CHECK(moved.mean_square[0].value == Approx(5e-3).epsilon(0.03));
}

TEST_CASE("a line that held still beforehand is taken off a whine's band, and what of it beats with the whine is unsure", "[follower]") {
    // at 8 kHz a whine at 1 kHz, 1.25e-3, and another line of 4.5e-4; its band reaches 36 Hz either way
    const auto last = [](double other_hz, double known_s) {
        Block block(1, 24000);
        const auto noise = white(0.5, 1e-3, 3);
        for (std::size_t n = 0; n < 24000; ++n) {
            const double turn = 2.0 * std::numbers::pi * static_cast<double>(n) / 8000.0;
            block.channel(0)[n] = noise[n] + 0.05 * std::cos(1000.0 * turn) + 0.03 * std::cos(other_hz * turn + 1.0);
        }
        LineFollower follower(8000, 1, family(1000.0, {1}));
        Block first(1, static_cast<std::size_t>(known_s * 8000.0));
        std::copy_n(block.channel(0).begin(), first.frames(), first.channel(0).begin());
        follower.learn_others(first);
        return follower.add(block).back().mean_square[0];
    };
    const double whine = 1.25e-3, other = 4.5e-4;
    for (const double hz : {1022.0, 982.0}) {
        CAPTURE(hz);
        const Reading known = last(hz, 3.0);
        CHECK(known.value == Approx(whine).epsilon(0.03));
        // a quarter of the other, and twice both over the windows in half a second, 22 looks 22.5 ms apart; 0.15 dB of the whine
        const double seconds = 21 * 0.0225 + 0.045;
        const double variance = 0.06 * other * other + 2.0 * whine * other * 0.045 / seconds + 0.0012 * whine * whine;
        CHECK(known.sd == Approx(std::sqrt(variance)).epsilon(0.08));
        CHECK(last(hz, 1.49).value == Approx(whine + other).epsilon(0.03));   // too short to know it by
    }
    CHECK(last(1010.0, 3.0).value == Approx(whine + other).epsilon(0.03));   // within 1.2 % it may be the whine itself
    const Reading beyond = last(1060.0, 3.0);                                // its band
    CHECK(beyond.value == Approx(whine).epsilon(0.03));
    CHECK(beyond.sd == Approx(std::sqrt(0.0012) * whine).epsilon(0.05));
}

TEST_CASE("what no family of lines can be is refused", "[follower]") {
    const auto refused = [](double rate, std::size_t channels, LineFamily wanted) {
        try {
            LineFollower follower(rate, channels, wanted);
        } catch (const Error& error) {
            return error.kind() == ErrorKind::invalid_request;
        }
        return false;
    };
    CHECK_FALSE(refused(8000, 1, family(400, {1})));
    CHECK(refused(0, 1, family(400, {1})));
    CHECK(refused(8000, 0, family(400, {1})));
    CHECK(refused(8000, 1, family(400, {})));
    CHECK(refused(8000, 1, family(400, {1, 0})));
    CHECK(refused(8000, 1, family(3601, {1})));
    CHECK_FALSE(refused(8000, 1, family(3600, {1})));   // 0.45 of the rate
    LineFamily odd = family(400, {1});
    odd.most_slope = 0.0;
    CHECK(refused(8000, 1, odd));
    odd = family(400, {1});
    odd.high_hz = 0.9 * odd.low_hz;
    CHECK(refused(8000, 1, odd));
    odd.high_hz = odd.low_hz;
    CHECK_FALSE(refused(8000, 1, odd));
    odd.low_hz = 0.0;
    CHECK(refused(8000, 1, odd));
    odd = family(400, {1});
    odd.frequency_hz = 0.0;
    CHECK(refused(8000, 1, odd));
}
