#include "../../src/diagnose/line_families.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "swinging_sound.hpp"

using namespace hushtrace;

namespace {

const std::vector<MovingFamily>& followed(SwingingSound& take) {
    take.read();
    follow_lines(take.survey, take.stretches, take.sounds);
    return take.survey.families;
}
const OrderLine* line_at(const MovingFamily& family, double ratio) {
    for (const OrderLine& line : family.lines)
        if (std::abs(line.ratio - ratio) < 0.003) return &line;
    return nullptr;
}
std::string ratios_of(const MovingFamily& family) {
    std::string out;
    for (const OrderLine& line : family.lines) out += std::to_string(line.ratio) + " ";
    return out;
}

}  // namespace

TEST_CASE("a line that wanders is followed, with all that turns with it and nothing that holds still", "[families]") {
    SwingingSound take(6);
    // a sine that swings 2 % either way has an rms of 1.41 %; a mean over 0.31 s leaves sin(x) / x of it, x = pi 0.7 0.31
    take.add(1000, 0.02, {0.03, 0.06});
    take.add(2000, 0.02, {0.01, 0.02});
    take.add(500, 0.02, {0.008, 0.0});
    take.add(1500, 0.0, {0.03, 0.03});
    take.add(333, 0.0, {0.02, 0.02});
    const auto& families = followed(take);
    REQUIRE(families.size() == 1);
    const MovingFamily& family = families[0];
    INFO(ratios_of(family));
    // the middle of a swing that ends after 4.2 periods lies 0.05 % above its mean
    const double leading_hz = family.mean_hz;
    CHECK(leading_hz == Approx(1000).epsilon(0.002));
    CHECK(family.wander == Approx(0.0131).epsilon(0.02));
    CHECK(family.channel == 1);
    CHECK(family.significance > 8);
    CHECK(family.ridge.track.mean_hz() == leading_hz);
    for (double t = 0.5; t < 5.5; t += 0.5) CHECK(family.ridge.track.at(t) == Approx(1000 * SwingingSound::speed(t, 0.02)).epsilon(0.001));
    CHECK(!take.survey.ridges.empty());
    REQUIRE(family.lines.size() == 3);
    CHECK(std::is_sorted(family.lines.begin(), family.lines.end(), [](const OrderLine& a, const OrderLine& b) { return a.ratio < b.ratio; }));
    for (const auto& [ratio, left, right] : {std::tuple{1.0, 0.03, 0.06}, {2.0, 0.01, 0.02}, {0.5, 0.008, 0.0}}) {
        INFO(ratio);
        const OrderLine* line = line_at(family, ratio);
        REQUIRE(line);
        REQUIRE(line->mean_square.size() == 2);
        CHECK(line->mean_square[0] == Approx(left * left / 2).epsilon(0.12));   // 0.5 dB
        if (right > 0) CHECK(line->mean_square[1] == Approx(right * right / 2).epsilon(0.12));
        else CHECK(line->mean_square[1] < 1e-7);   // what noise of 1.7e-8 a hertz leaves in a few bins
        CHECK(line->ratio_sd > 0);
        CHECK(line->ratio_sd < 0.001);
        // over cycles it stands in a bin or two; over time it is spread over the band that it swings through
        CHECK(line->sharpening_db > 5);
        // its peak bin against the noise there, in the channel where it stands out more
        const double most = std::max(left, right);
        CHECK(line->prominence_db == Approx(10 * std::log10(most * most / 2 / (1.5 * 1e-4 / 6000))).margin(3.0));
    }
    CHECK(loudest_channel(family) == 1);
}

TEST_CASE("what holds still is no family, and of those that wander each is one", "[families]") {
    SwingingSound still(4, 1);
    still.add(1000, 0.0, {0.05});
    CHECK(followed(still).empty());
    SwingingSound slow(4, 1);
    slow.add(1000, 0.0003, {0.05});   // by less than can be told
    CHECK(followed(slow).empty());
    SwingingSound take(5, 1);
    const double lines_hz[] = {700, 1130, 1900, 3100};
    for (int i = 0; i < 4; ++i) take.add(lines_hz[i], 0.02, {0.05 - 0.01 * i}, 0.4 + 0.17 * i);
    const auto& families = followed(take);
    REQUIRE(families.size() == 3);   // no more are followed
    for (const MovingFamily& family : families) {
        CHECK(family.lines.size() == 1);
        CHECK(std::any_of(std::begin(lines_hz), std::end(lines_hz), [&](double hz) { return std::abs(family.mean_hz / hz - 1) < 0.005; }));
    }
    CHECK(std::abs(families[0].mean_hz - families[1].mean_hz) > 100);
    CHECK(std::abs(families[1].mean_hz - families[2].mean_hz) > 100);
    CHECK(std::abs(families[0].mean_hz - families[2].mean_hz) > 100);
}

TEST_CASE("a family too faint for a spectrum over its cycles is read along its track", "[families]") {
    SwingingSound take(5);
    take.add(1000, 0.02, {0.0035, 0.0});
    const auto& families = followed(take);
    REQUIRE(families.size() == 1);
    const MovingFamily& family = families[0];
    INFO(ratios_of(family));
    REQUIRE(!family.lines.empty());
    CHECK(family.lines[0].ratio == Approx(1).margin(0.002));
    REQUIRE(family.lines[0].mean_square.size() == 2);
    CHECK(family.lines[0].mean_square[0] == Approx(0.0035 * 0.0035 / 2).epsilon(0.3));
    CHECK(family.lines[0].mean_square[1] < 2e-6);
    CHECK(loudest_channel(family) == 0);
}

TEST_CASE("a family is loudest where its lines together hold most", "[families]") {
    MovingFamily family;
    family.channel = 2;
    CHECK(loudest_channel(family) == 2);   // nothing known
    for (const std::vector<double>& powers : {std::vector<double>{3, 1, 2}, {0, 3, 0}, {0, 1, 0}}) family.lines.emplace_back().mean_square = powers;
    CHECK(loudest_channel(family) == 1);   // 3, 5 and 2
    family.lines.pop_back();
    family.lines.pop_back();
    CHECK(loudest_channel(family) == 0);
    for (OrderLine& line : family.lines) line.mean_square = {0, 0, 0};
    CHECK(loudest_channel(family) == 2);
}

TEST_CASE("one tooth of the clicks' comb is no line of its own", "[families]") {
    // multiples of 100 Hz that move alike: the clicks' own, where those come a hundred times a second
    for (const double click_hz : {100.0, 140.0}) {
        SwingingSound take(3, 1);
        for (double hz = 100; hz < 6000; hz += 100) take.add(hz, 0.02, {0.02});
        ImpulseTrain train;
        for (int i = 0; i <= 60; ++i) {
            train.rate.time_s.push_back(0.05 * i);
            train.rate.frequency_hz.push_back(click_hz * SwingingSound::speed(0.05 * i, 0.02));
        }
        train.profile.assign(24, 1.0);
        take.survey.channels[0].clicks = train;
        CHECK(followed(take).empty() == (click_hz == 100));
    }
}

TEST_CASE("where a side line was followed and a multiple is far stronger, that leads", "[families]") {
    // a line of 300 Hz is hidden where it stands out less than its sixth multiple
    SwingingSound take(6, 1);
    take.add(300, 0.02, {0.02});
    take.add(600, 0.02, {0.01});
    take.add(1800, 0.02, {0.1});
    const auto& families = followed(take);
    REQUIRE(families.size() == 1);
    INFO(families[0].mean_hz << ": " << ratios_of(families[0]));
    CHECK(families[0].mean_hz == Approx(1800).epsilon(0.003));
    CHECK(line_at(families[0], 1.0));
    CHECK(line_at(families[0], 1.0 / 3));
    CHECK(line_at(families[0], 1.0 / 6));
}
