#include "../../../src/diagnose/takes/line_families.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/swinging_sound.hpp"

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

TEST_CASE("a faint line is followed in the channel that holds it", "[families]") {
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

TEST_CASE("lines that another family claims are left to it", "[families]") {
    // a family that was found before wanders by its share: 5 Hz and three times that round each of its lines are its own
    struct Case {
        double line_hz, ratio, wander;   // of the other's line: over its followed one, at that frequency in all
        bool claimed;
    };
    for (const Case& one : {Case{2003, 1, 0, true}, {2008, 1, 0, false}, {2062, 2, 0.01, true}, {2072, 2, 0.01, false}, {1938, 2, 0.01, true}}) {
        INFO(one.line_hz << " Hz");
        SwingingSound take(2, 1);
        take.add(1000, 0.02, {0.05}, 1.0);
        take.add(2000, 0.02, {0.03}, 1.0);
        MovingFamily before;
        before.mean_hz = one.line_hz / one.ratio;
        before.wander = one.wander;
        before.lines.resize(1);
        before.lines[0].ratio = one.ratio;
        before.lines[0].mean_square = {1e-9};
        take.survey.families = {before};
        const auto& families = followed(take);
        REQUIRE(families.size() == 2);
        CHECK((line_at(families[1], 2.0) == nullptr) == one.claimed);
        CHECK(line_at(families[1], 1.0));
    }
}

TEST_CASE("a path about a line of a family found before is that line's, unless it holds twice as much", "[families]") {
    struct Case {
        double line_hz, ratio, wander, mean_square;
        bool own;
    };
    const double power = 0.05 * 0.05 / 2;
    for (const Case& one : {Case{1000, 1, 0.02, 0.56 * power, false}, {1000, 1, 0.02, 0.44 * power, true}, {1017, 3, 0.02, power, false},
                            {1028, 3, 0.02, power, true}, {983, 1, 0.02, power, false}}) {
        INFO(one.line_hz << " Hz, " << one.mean_square / power);
        SwingingSound take(2, 1);
        take.add(1000, 0.02, {0.05}, 1.0);
        MovingFamily before;
        before.mean_hz = one.line_hz / one.ratio;
        before.wander = one.wander;
        before.lines.resize(1);
        before.lines[0].ratio = one.ratio;
        before.lines[0].mean_square = {one.mean_square};
        take.survey.families = {before};
        CHECK(followed(take).size() == (one.own ? 2u : 1u));
    }
}

TEST_CASE("a path where a line holds still, or that hardly strays, is none", "[families]") {
    struct Case {
        double at_hz, sharpness_db;
        bool found;
    };
    for (const Case& one : {Case{1000.6, 20, false}, {1002.2, 20, true}, {999.2, 20, false}, {1000, 10.1, false}, {1000, 9.9, true}}) {
        SwingingSound take(2, 1);
        take.add(1000, 0.02, {0.05}, 1.0);
        take.read();
        SpectralLine still;
        still.frequency_hz = one.at_hz;
        still.sharpness_db = one.sharpness_db;
        take.survey.channels[0].lines = {still};
        follow_lines(take.survey, take.stretches, take.sounds);
        INFO(one.at_hz << " Hz, " << one.sharpness_db << " dB");
        CHECK(take.survey.families.size() == (one.found ? 1u : 0u));
    }
    // 2.1 Hz, or 0.06 % of its frequency; of a swing's rms a mean over 0.31 s leaves 0.924
    for (const auto& [hz, strays_hz, told] : {std::tuple{1000.0, 1.85, false}, {1000.0, 2.4, true}, {4500.0, 2.4, false}}) {
        SwingingSound take(3, 1);
        take.add(hz, strays_hz / hz * std::sqrt(2.0) / 0.924, {0.05});
        INFO(hz << " Hz, " << strays_hz << " Hz");
        CHECK(followed(take).size() == (told ? 1u : 0u));
    }
}

TEST_CASE("what keeps a steady step from a followed line beats with it", "[families]") {
    for (const auto& [hz, aside_hz] : {std::pair{1000.0, 410.0}, {1000.0, -410.0}, {3000.0, 960.0}}) {
        SwingingSound take(3, 1);
        take.add(hz, 0.015, {0.05});
        take.add(hz, 0.015, {0.04}, 0.7, aside_hz);
        INFO(hz << " Hz, " << aside_hz << " Hz aside");
        CHECK(followed(take).size() == 1);
        CHECK(take.survey.ridges.size() == 2);
    }
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

TEST_CASE("a line that swings less with each firing than its multiple is found first, and the multiple leads", "[families]") {
    // twelve firings a second swing a line of 300 Hz by 1.8 Hz and its sixth multiple by 11; that is 17 dB stronger
    SwingingSound take(4, 1);
    double turns = 0;
    for (std::size_t n = 0; n < take.channels[0].size(); ++n) {
        take.channels[0][n] += 0.02 * std::sin(2 * std::numbers::pi * turns) + 0.15 * std::sin(12 * std::numbers::pi * turns);
        const double t = (static_cast<double>(n) + 0.5) / SwingingSound::kRate;
        turns += 300 * (SwingingSound::speed(t, 0.02) + SwingingSound::speed(t, 0.006, 12.0) - 1) / SwingingSound::kRate;
    }
    const auto& families = followed(take);
    REQUIRE(families.size() == 1);
    const MovingFamily& family = families[0];
    INFO(ratios_of(family));
    CHECK(take.survey.ridges[0].track.mean_hz() == Approx(300).epsilon(0.01));
    CHECK(family.mean_hz == Approx(1800).epsilon(0.003));
    CHECK(family.ridge.track.mean_hz() == family.mean_hz);
    for (double t = 0.5; t < 3.5; t += 0.5) CHECK(family.ridge.track.at(t) == Approx(1800 * SwingingSound::speed(t, 0.02)).epsilon(0.007));
    CHECK(family.wander == Approx(0.0131).epsilon(0.03));
    CHECK(family.significance > 20);
    const OrderLine *own = line_at(family, 1.0), *sixth = line_at(family, 1.0 / 6);
    REQUIRE(own);
    REQUIRE(sixth);
    CHECK(sixth->mean_square[0] == Approx(0.02 * 0.02 / 2).epsilon(0.12));
    // of the lead some goes into side lines, 12 Hz off: a swing of 11 Hz, 0.9 of theirs, leaves it 65 % (Bessel's J0 squared), and
    // what of the swing the track follows gives it back
    CHECK(own->mean_square[0] > 0.6 * 0.15 * 0.15 / 2);
    CHECK(own->mean_square[0] < 1.05 * 0.15 * 0.15 / 2);
}
