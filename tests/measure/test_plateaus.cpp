#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "hushtrace/measure/plateaus.hpp"
#include "measure/stepped_source.hpp"

using namespace hushtrace;
using namespace stepped_source;

namespace {

std::vector<Plateau> plateaus_of(const Source& source) {
    const Block block = render(source);
    std::vector<ToneTrack> tracks;
    for (std::size_t c = 0; c < block.channels(); ++c) {
        ToneTracker tracker(source.rate, source.tone_hz);
        const auto samples = std::span<const double>(block.channel(c));
        tracker.add(samples.first(1234));
        tracker.add(samples.subspan(1234));
        tracks.push_back(tracker.track());
    }
    return find_plateaus(tracks);
}

/// When each stop begins and ends, clear of the knob's ramp.
std::vector<std::pair<double, double>> times_of(const Source& source) {
    std::vector<std::pair<double, double>> times;
    double t = source.lead_in_s;
    for (const Stop& stop : source.stops) {
        t += stop.silence_before_s + source.turn_s;
        times.emplace_back(t, t + stop.duration_s);
        t += stop.duration_s;
    }
    return times;
}

void check_each_stop_found(const Source& source) {
    const auto found = plateaus_of(source);
    const auto times = times_of(source);
    REQUIRE(found.size() == times.size());
    for (std::size_t i = 0; i < found.size(); ++i) {
        CAPTURE(i, found[i].start_s, found[i].end_s, times[i].first, times[i].second);
        const double margin = std::max(0.1, 8.0 / source.tone_hz);
        CHECK(found[i].start_s == Approx(times[i].first).margin(margin));
        CHECK(found[i].end_s == Approx(times[i].second).margin(margin));
        for (const auto& [from, to] : found[i].parts_s) {
            CHECK(from >= times[i].first - 0.002);
            CHECK(to <= times[i].second + 0.002);
        }
    }
}

/// A plateau as if it had been found: at a level in natural units, so many seconds long, in parts at clicks.
Plateau stop(double level_ln, double seconds = 1.0, double harmonic_share = 0.0, std::size_t parts = 1) {
    Plateau p;
    p.end_s = seconds;
    const double part_s = seconds / static_cast<double>(parts);
    for (std::size_t i = 0; i < parts; ++i) p.parts_s.emplace_back(part_s * static_cast<double>(i), part_s * static_cast<double>(i + 1));
    p.level_ln = {level_ln, level_ln - 1.0};
    p.harmonic_share = harmonic_share;
    return p;
}
std::vector<double> volumes_of(const MatchedSteps& matched) {
    std::vector<double> out;
    for (const auto& one : matched.volumes) out.push_back(one.value_or(-1.0));
    return out;
}

}  // namespace

TEST_CASE("uneven steps of 0.5 to 6 dB are found, clean ones and clipped ones", "[plateaus]") {
    for (const double step : {0.5, 1.0, 2.0, 6.0}) {
        Source source;
        source.stops = staircase(-6.0 - 6 * step, step, 12);
        CAPTURE(step);
        check_each_stop_found(source);
    }
}

TEST_CASE("steps deep in clipping, where the level hardly moves, are found by their harmonics",
          "[plateaus]") {
    Source source;
    source.channels = {hard(0.1)};
    source.channel_gain = {1.0};
    source.stops = staircase(-6.0, 1.0, 8);  // 14 to 21 dB over the rail: 0.05 dB of level a step
    check_each_stop_found(source);
}

TEST_CASE("clicks, silence between steps, a low tone and noise leave the count right", "[plateaus]") {
    Source source;
    source.stops = staircase(-24.0, 2.0, 9);
    SECTION("a click at each step") {
        for (Stop& stop : source.stops) stop.click_before = true;
    }
    SECTION("a click within each plateau") {
        for (Stop& stop : source.stops) stop.clicks_within_s = 0.3;
    }
    SECTION("the source mutes while it is turned") {
        for (Stop& stop : source.stops) stop.silence_before_s = 0.15;
    }
    SECTION("40 Hz") {
        source.tone_hz = 40;
        for (Stop& stop : source.stops) stop.duration_s += 0.6;
    }
    SECTION("noise 20 dB below the tone at the lowest step") {
        source.noise_rms = 0.0045;
    }
    SECTION("a clock 200 ppm off") {
        source.clock_ppm = 200;
    }
    SECTION("44.1 kHz") {
        source.rate = 44100;
    }
    check_each_stop_found(source);
}

TEST_CASE("a slow ramp up and down is no plateau, and no tone gives none", "[plateaus]") {
    Source source;
    source.stops = staircase(-24.0, 3.0, 4);
    source.turn_s = 1.5;
    check_each_stop_found(source);

    Source silent;
    silent.lead_in_s = 3;
    CHECK(plateaus_of(silent).empty());
    Source steady;
    steady.stops = {Stop{-20, 3.0, 0, false, 0}};
    CHECK(plateaus_of(steady).size() == 1);
}

TEST_CASE(
    "volumes are matched one to one, by level after a step back, and not at all when the count is wrong",
    "[plateaus]") {
    Source source;
    source.stops = staircase(-20.0, 1.0, 4);
    const std::vector<double> volumes = {20, 21, 22, 23};
    const MatchedSteps plain = match_steps(plateaus_of(source), volumes);
    CHECK(plain.how == StepMatch::one_to_one);
    CHECK(plain.volumes.at(2) == 22.0);
    CHECK_FALSE(plain.in_contradiction);

    // 20 21 22 (back) 21 22 23
    source.stops = {{-20, 1, 0, false, 0}, {-19, 1, 0, false, 0}, {-18, 1, 0, false, 0},
                    {-19, 1, 0, false, 0}, {-18, 1, 0, false, 0}, {-17, 1, 0, false, 0}};
    const MatchedSteps back = match_steps(plateaus_of(source), volumes);
    CHECK(back.how == StepMatch::by_level);
    REQUIRE(back.volumes.size() == 6);
    CHECK(back.volumes[3] == 21.0);
    CHECK(back.volumes[5] == 23.0);

    const MatchedSteps missing =
        match_steps(plateaus_of(source), std::vector<double>{20, 21, 22, 23, 24, 25, 26});
    CHECK(missing.how == StepMatch::none);
    CHECK_FALSE(missing.volumes.at(0).has_value());
}

TEST_CASE("a short overshoot of the knob is left out, and a limiter's hidden steps are found at their clicks",
          "[plateaus]") {
    Source source;
    source.stops = {
        {-20, 1.5, 0, false, 0}, {-17, 0.4, 0, false, 0}, {-18, 1.4, 0, false, 0}, {-16, 1.2, 0, false, 0}};
    const MatchedSteps overshot = match_steps(plateaus_of(source), std::vector<double>{20, 21, 22});
    CHECK(overshot.how == StepMatch::short_ones_left);
    REQUIRE(overshot.volumes.size() == 3);
    CHECK(overshot.plateaus[1].start_s > 2.5);

    source.stops = {{-20, 1, 0, false, 0}, {-18, 1, 0, true, 0}, {-18, 1, 0, true, 0}};
    const MatchedSteps limited = match_steps(plateaus_of(source), std::vector<double>{20, 21, 22});
    CHECK(limited.how == StepMatch::at_clicks);
    CHECK(limited.volumes.size() == 3);
}

TEST_CASE("a knob that is turned down at the end moves no volume", "[plateaus]") {
    Source source;
    source.stops = {{-20, 1, 0, false, 0}, {-19, 1, 0, false, 0}, {-18, 1, 0, false, 0}};
    const std::vector<double> volumes = {20, 21, 22};
    SECTION("below where it began") {
        source.stops.push_back({-23, 0.9, 0, false, 0});
    }
    SECTION("in two stops") {
        source.stops.push_back({-18.6, 0.9, 0, false, 0});
        source.stops.push_back({-23, 0.9, 0, false, 0});
    }
    const MatchedSteps matched = match_steps(plateaus_of(source), volumes);
    CHECK(matched.how == StepMatch::turned_down_left);
    REQUIRE(matched.volumes.size() == 3);
    CHECK(matched.volumes[0] == 20.0);
    CHECK(matched.volumes[2] == 22.0);
}

TEST_CASE("as many plateaus as volumes, but the last one turned down: that is said to contradict the list", "[plateaus]") {
    Source source;
    source.stops = {{-20, 1, 0, false, 0}, {-19, 1, 0, false, 0}, {-18, 1, 0, false, 0}, {-23, 1, 0, false, 0}};
    CHECK(match_steps(plateaus_of(source), std::vector<double>{20, 21, 22, 23}).in_contradiction);
}

TEST_CASE("plateaus are one setting where level and harmonics are alike, and settings rank by level", "[plateaus]") {
    using Ranks = std::vector<std::size_t>;
    const auto ranks = [](std::vector<Plateau> plateaus) { return settings_by_level(plateaus); };
    CHECK(ranks({}).empty());
    CHECK(ranks({stop(-1.0), stop(-3.0), stop(-2.0), stop(-3.0)}) == Ranks{2, 0, 1, 0});
    // 0.026 dB of level, 0.15 % of harmonics
    CHECK(ranks({stop(-1.0), stop(-1.0029)}) == Ranks{0, 0});
    CHECK(ranks({stop(-1.0), stop(-1.0031)}) == Ranks{1, 0});
    CHECK(ranks({stop(-1.0, 1.0, 0.0100), stop(-1.0, 1.0, 0.0114)}) == Ranks{0, 0});
    CHECK(ranks({stop(-1.001, 1.0, 0.0100), stop(-1.0, 1.0, 0.0116)}) == Ranks{0, 1});
    // one channel alone tells; one without the tone says nothing, and the others' mean is the level
    std::vector<Plateau> two = {stop(-1.0), stop(-1.0)};
    two[1].level_ln[1] += 0.0031;
    CHECK(ranks(two) == Ranks{0, 1});
    two[0].level_ln = {-2.0, std::nan("")};
    two[1].level_ln = {-1.5, std::nan("")};
    CHECK(ranks(two) == Ranks{0, 1});
    two[0].level_ln = {-1.0, -3.0};    // -2 on the mean
    two[1].level_ln = {-1.6, -2.2};    // -1.9
    CHECK(ranks(two) == Ranks{0, 1});
    two[0].level_ln = {std::nan(""), std::nan("")};   // no tone at all stands at 0
    CHECK(ranks(two) == Ranks{0, 0});
}

TEST_CASE("which plateau has which volume follows from count, length, clicks and level", "[plateaus]") {
    using Volumes = std::vector<double>;
    const auto match = [](std::vector<Plateau> plateaus, std::vector<double> steps) { return match_steps(std::move(plateaus), steps); };
    CHECK(match({}, {1.0}).how == StepMatch::none);
    CHECK(match({stop(0.0)}, {}).how == StepMatch::none);
    CHECK(match({stop(0.0)}, {}).volumes.size() == 1);
    SECTION("in order, unless a higher volume is quieter by more than 0.1 dB") {
        MatchedSteps m = match({stop(-2.0), stop(-2.0114), stop(-1.0)}, {4, 5, 6});
        CHECK(m.how == StepMatch::one_to_one);
        CHECK_FALSE(m.in_contradiction);
        CHECK(volumes_of(m) == Volumes{4, 5, 6});
        REQUIRE(m.plateaus.size() == 3);
        CHECK(m.plateaus[2].level_ln[0] == -1.0);
        m = match({stop(-2.0), stop(-2.0116), stop(-1.0)}, {4, 5, 6});
        CHECK(m.in_contradiction);
        CHECK(m.how == StepMatch::one_to_one);   // nothing else fits: the list is taken, and doubted
        CHECK(volumes_of(m) == Volumes{4, 5, 6});
        CHECK_FALSE(match({stop(-1.0), stop(-2.0), stop(-3.0)}, {6, 5, 4}).in_contradiction);
        CHECK_FALSE(match({stop(-1.0), stop(-2.0)}, {5, 5}).in_contradiction);   // the same volume, louder: no contradiction
    }
    SECTION("the shorter ones left out, where they last less than half as long") {
        MatchedSteps m = match({stop(-3.0, 1.2), stop(-2.5, 0.49), stop(-2.0, 1.0)}, {7, 8});
        CHECK(m.how == StepMatch::short_ones_left);
        CHECK(volumes_of(m) == Volumes{7, 8});
        REQUIRE(m.plateaus.size() == 2);
        CHECK(m.plateaus[1].level_ln[0] == -2.0);
        m = match({stop(-3.0, 1.2), stop(-2.5, 0.51), stop(-2.0, 1.0)}, {7, 8});
        CHECK(m.how == StepMatch::none);
        CHECK(m.plateaus.size() == 3);
        CHECK(volumes_of(m) == Volumes{-1, -1, -1});
        // what is left contradicts: not so
        CHECK(match({stop(-2.0, 1.2), stop(-1.5, 0.4), stop(-3.0, 1.0), stop(-2.5, 0.4)}, {7, 8}).how != StepMatch::short_ones_left);
    }
    SECTION("split at clicks, where that makes as many as there are volumes") {
        MatchedSteps m = match({stop(-3.0, 1.0), stop(-2.0, 4.0, 0.0, 2)}, {7, 8, 9});
        CHECK(m.how == StepMatch::at_clicks);
        CHECK(volumes_of(m) == Volumes{7, 8, 9});
        REQUIRE(m.plateaus.size() == 3);
        CHECK(m.plateaus[2].start_s == 2.0);
        CHECK(m.plateaus[2].end_s == 4.0);
        CHECK(m.plateaus[1].end_s == 2.0);
        CHECK(m.plateaus[1].parts_s == std::vector<std::pair<double, double>>{{0.0, 2.0}});
        CHECK(match({stop(-3.0, 1.0), stop(-2.0, 4.0, 0.0, 3)}, {7, 8, 9}).how == StepMatch::none);
        CHECK(match({stop(-2.0, 1.0), stop(-3.0, 4.0, 0.0, 2)}, {7, 8, 9}).how == StepMatch::none);
    }
    SECTION("by level after a step back, where the settings are as many and the first is the list's first") {
        MatchedSteps m = match({stop(-3.0), stop(-2.0), stop(-3.0), stop(-1.0)}, {5, 6, 5, 7});
        CHECK(m.how == StepMatch::one_to_one);
        m = match({stop(-3.0), stop(-2.0), stop(-3.0), stop(-1.0)}, {5, 6, 7});
        CHECK(m.how == StepMatch::by_level);
        CHECK(volumes_of(m) == Volumes{5, 6, 5, 7});
        CHECK(m.plateaus.size() == 4);
        CHECK_FALSE(m.in_contradiction);
        m = match({stop(-2.0), stop(-3.0), stop(-2.0), stop(-1.0)}, {5, 6, 7});   // begins at the second setting
        CHECK(m.how == StepMatch::none);
        CHECK(match({stop(-3.0), stop(-2.0), stop(-3.0), stop(-1.0), stop(-0.5)}, {5, 6, 7}).how == StepMatch::none);
    }
    SECTION("stops that are turned down at the end are left out, each 0.1 dB quieter than the one before") {
        MatchedSteps m = match({stop(-3.0), stop(-2.0), stop(-2.5), stop(-2.7)}, {5, 6});
        CHECK(m.how == StepMatch::turned_down_left);
        CHECK(volumes_of(m) == Volumes{5, 6});
        CHECK(m.plateaus.size() == 2);
        CHECK(match({stop(-3.0), stop(-2.0), stop(-2.0116)}, {5, 6}).how == StepMatch::turned_down_left);
        CHECK(match({stop(-3.0), stop(-2.0), stop(-2.0114)}, {5, 6}).how == StepMatch::none);
        CHECK(match({stop(-3.0), stop(-4.0)}, {5}).how == StepMatch::turned_down_left);
        // what is left may match otherwise than in order, and says how
        CHECK(match({stop(-3.0), stop(-2.0), stop(-3.0), stop(-1.0), stop(-5.0)}, {5, 6, 7}).how == StepMatch::by_level);
    }
}

TEST_CASE("a plateau's longest part and length", "[plateaus]") {
    Plateau p = stop(0.0, 3.0);
    p.start_s = 0.5;
    p.parts_s = {{0.5, 0.9}, {1.0, 2.5}, {2.6, 3.0}};
    CHECK(p.longest_part_s() == std::pair<double, double>{1.0, 2.5});
    CHECK(p.duration_s() == 2.5);
}
