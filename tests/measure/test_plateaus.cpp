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

/// So many frames at an amplitude, with a second harmonic; 0 for no tone.
struct Frames {
    std::size_t count;
    double amplitude, harmonic;
};
/// A track written down: frames of 50 ms, half overlapping.
ToneTrack written(const std::vector<Frames>& frames, double tone_hz = 1000.0) {
    ToneTrack track;
    track.sample_rate_hz = 48000;
    track.tone_hz = tone_hz;
    track.frame_s = 0.05;
    track.hop_s = 0.025;
    for (const Frames& some : frames)
        for (std::size_t i = 0; i < some.count; ++i) {
            ToneFrame one;
            one.amplitude = static_cast<float>(some.amplitude);
            one.harmonics[0] = static_cast<float>(some.harmonic);
            one.present = some.amplitude > 0.0;
            track.frames.push_back(one);
        }
    return track;
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

TEST_CASE("a plateau's longest part and length", "[plateaus]") {
    Plateau p;
    p.start_s = 0.5;
    p.end_s = 3.0;
    p.parts_s = {{0.5, 0.9}, {1.0, 2.5}, {2.6, 3.0}};
    CHECK(p.longest_part_s() == std::pair<double, double>{1.0, 2.5});
    CHECK(p.duration_s() == 2.5);
}

TEST_CASE("a plateau's figures follow from its frames", "[plateaus]") {
    // 40 frames of 50 ms, 25 ms apart: their middles lie from 25 ms to 1 s
    ToneTrack track = written({{40, 0.5, 0.03}});
    for (ToneFrame& one : track.frames) one.harmonics[4] = 0.02F;
    const auto found = find_plateaus(std::vector{track});
    REQUIRE(found.size() == 1);
    CHECK(found[0].start_s == Approx(0.025 - 0.0125));
    CHECK(found[0].end_s == Approx(1.0 + 0.0125));
    REQUIRE(found[0].parts_s.size() == 1);
    CHECK(found[0].parts_s[0].first == Approx(0.025 + 0.01));   // four tenths of a hop off either end
    CHECK(found[0].parts_s[0].second == Approx(1.0 - 0.01));
    REQUIRE(found[0].level_ln.size() == 1);
    CHECK(found[0].level_ln[0] == Approx(std::log(0.5)).epsilon(1e-6));
    CHECK(found[0].harmonic_share == Approx(std::hypot(0.03, 0.02) / 0.5).epsilon(1e-5));
    CHECK(find_plateaus({}).empty());
    CHECK(find_plateaus(std::vector{written({{40, 0.0, 0.0}})}).empty());
}

TEST_CASE("how long a plateau, a click and a step must be", "[plateaus]") {
    const auto count = [](const std::vector<Frames>& frames, double tone_hz = 1000.0) {
        return find_plateaus(std::vector{written(frames, tone_hz)}).size();
    };
    // 0.3 s are 11 frames' middles 25 ms apart and a hop; of a tone of 20 Hz ten cycles, 0.5 s
    CHECK(count({{11, 0.5, 0.0}}) == 1);
    CHECK(count({{10, 0.5, 0.0}}) == 0);
    CHECK(count({{19, 0.5, 0.0}}, 20.0) == 1);
    CHECK(count({{18, 0.5, 0.0}}, 20.0) == 0);
    // 0.4 % and more from frame to frame is an edge, 0.12 % is found by the means beside it; a harmonic does as well
    CHECK(count({{30, 0.5, 0.0}, {30, 0.5 * 1.01, 0.0}}) == 2);
    CHECK(count({{30, 0.5, 0.0}, {30, 0.5 * 1.0013, 0.0}}) == 2);
    CHECK(count({{30, 0.5, 0.0}, {30, 0.5 * 1.0011, 0.0}}) == 1);
    CHECK(count({{30, 0.5, 0.01}, {30, 0.5, 0.01 + 0.5 * 0.0013}}) == 2);
    CHECK(count({{30, 0.5, 0.01}, {30, 0.5, 0.01 + 0.5 * 0.0011}}) == 1);
    CHECK(count({{30, 0.5, 0.0}, {30, 0.5 * 1.0013, 0.0}, {30, 0.5 * 1.0026, 0.0}, {30, 0.5, 0.0}}) == 4);
    CHECK(count({{13, 0.5, 0.0}, {13, 0.5 * 1.0013, 0.0}}) == 2);
    // a click splits a plateau into parts: up to a quarter of a second; beyond that these are two
    for (const std::size_t click : {1U, 8U, 9U}) {   // with a frame of the edge either side
        std::vector<Frames> frames = {{20, 0.5, 0.0}};
        for (std::size_t i = 0; i < click; ++i) frames.push_back({1, 0.8 * std::pow(1.1, i), 0.0});
        frames.push_back({15, 0.5, 0.0});
        const auto found = find_plateaus(std::vector{written(frames)});
        CAPTURE(click);
        REQUIRE(found.size() == (click < 9 ? 1 : 2));
        if (found.size() != 1) continue;
        REQUIRE(found[0].parts_s.size() == 2);
        CHECK(found[0].longest_part_s() == found[0].parts_s[0]);
        CHECK(found[0].parts_s[0].second == Approx(0.025 * 19 - 0.01));           // frame 18's middle
        CHECK(found[0].parts_s[1].first == Approx(0.025 * (21.0 + 1.0 + static_cast<double>(click)) + 0.01));
        CHECK(found[0].end_s == Approx(0.025 * (35.0 + static_cast<double>(click)) + 0.0125));
    }
    CHECK(count({{7, 0.5, 0.0}, {2, 0.8, 0.0}, {7, 0.5, 0.0}}) == 1);     // the parts count together
    CHECK(count({{6, 0.5, 0.0}, {2, 0.8, 0.0}, {6, 0.5, 0.0}}) == 0);
    CHECK(count({{20, 0.5, 0.0}, {2, 0.0, 0.0}, {20, 0.5, 0.0}}) == 2);   // the tone was gone between: no click
}

TEST_CASE("a drift is no plateau, noise makes no steps, and what hides in it none either", "[plateaus]") {
    const auto drifting = [](double per_s) {
        ToneTrack track = written({{60, 0.5, 0.0}});
        for (std::size_t t = 0; t < 60; ++t) track.frames[t].amplitude = static_cast<float>(0.5 * std::exp(per_s * 0.025 * static_cast<double>(t)));
        return find_plateaus(std::vector{track}).size();
    };
    CHECK(drifting(0.022) == 1);    // 0.2 dB/s are 0.023 natural units
    CHECK(drifting(0.024) == 0);
    CHECK(drifting(-0.024) == 0);
    CHECK(drifting(0.07) == 0);
    // Unrest of e up, up, down, down: frames two apart always differ by 2 e, so the spread is 2 e / (0.6745 sqrt 2) = 2.1 e. Means of
    // 33 frames, which overlap, are then sure to 2.1 e sqrt(2.6 / 33) = 0.59 e; six of that are 3.5 e.
    const auto unrest = [](double e, double step) {
        ToneTrack track = written({{120, 0.5, 0.0}});
        for (std::size_t t = 0; t < 120; ++t)
            track.frames[t].amplitude = static_cast<float>(0.5 * std::exp((t % 4 < 2 ? e : -e) + (t < 60 ? 0.0 : step)));
        return find_plateaus(std::vector{track}).size();
    };
    CHECK(unrest(0.001, 0.0) == 1);
    CHECK(unrest(0.001, 0.0030) == 1);
    CHECK(unrest(0.001, 0.0042) == 2);
    CHECK(unrest(0.004, 0.0) == 1);    // 8 e / 2 across a frame is no edge where 4 e / sqrt 3 is usual
    CHECK(unrest(0.004, 0.0080) == 1);
    CHECK(unrest(0.004, 0.0180) == 2);
}

TEST_CASE("mutes between steps are left out, as are channels without the tone", "[plateaus]") {
    const auto levels = [](const std::vector<Frames>& frames) {
        std::vector<double> out;
        for (const Plateau& p : find_plateaus(std::vector{written(frames)})) out.push_back(std::exp(p.level_ln[0]));
        return out;
    };
    const double depth = std::exp(-2.3);   // 20 dB
    CHECK(levels({{20, 0.5, 0.0}, {20, 0.49 * depth, 0.0}, {20, 0.6, 0.0}}).size() == 2);
    CHECK(levels({{20, 0.5, 0.0}, {20, 0.51 * depth, 0.0}, {20, 0.6, 0.0}}).size() == 3);
    CHECK(levels({{20, 0.6, 0.0}, {20, 0.51 * depth, 0.0}, {20, 0.5, 0.0}}).size() == 3);
    CHECK(levels({{20, 0.49 * depth, 0.0}, {20, 0.5, 0.0}}).size() == 2);   // a mute lies between two
    CHECK(levels({{20, 0.5, 0.0}, {20, 0.49 * depth, 0.0}}).size() == 2);
    // two channels: a step that only one shows parts the plateau; one that has the tone for less than 3/10 as long is ignored
    const auto both = [](const std::vector<Frames>& a, const std::vector<Frames>& b) { return find_plateaus(std::vector{written(a), written(b)}); };
    const auto hidden = both({{40, 0.5, 0.02}}, {{20, 0.2, 0.0}, {20, 0.3, 0.0}});
    REQUIRE(hidden.size() == 2);
    CHECK(std::exp(hidden[0].level_ln[0]) == Approx(0.5));
    CHECK(std::exp(hidden[0].level_ln[1]) == Approx(0.2));
    CHECK(std::exp(hidden[1].level_ln[1]) == Approx(0.3));
    CHECK(hidden[1].harmonic_share == Approx(0.04));   // the larger of the channels'
    const auto brief = both({{40, 0.5, 0.0}}, {{11, 0.2, 0.0}, {29, 0.0, 0.0}});
    REQUIRE(brief.size() == 1);
    CHECK(std::isnan(brief[0].level_ln[1]));
    const auto enough = both({{40, 0.5, 0.0}}, {{12, 0.2, 0.0}, {28, 0.0, 0.0}});
    REQUIRE(enough.size() == 1);
    CHECK(std::exp(enough[0].level_ln[1]) == Approx(0.2));
    const auto shorter = both({{40, 0.5, 0.0}}, {{30, 0.2, 0.0}});   // as long as the shorter
    REQUIRE(shorter.size() == 1);
    CHECK(shorter[0].end_s == Approx(0.025 * 30 + 0.0125));
}

TEST_CASE("parts of a plateau join where they agree as well as their unrest lets tell", "[plateaus]") {
    // unrest of e up, up, down, down about a level, as above; a click of a frame after the first so many
    struct Part {
        std::size_t count;
        double level_ln, e;
    };
    const auto found = [](const std::vector<Part>& parts, double click_ln) {
        ToneTrack track;
        track.tone_hz = 1000.0;
        track.frame_s = 0.05;
        track.hop_s = 0.025;
        for (std::size_t i = 0; i < parts.size(); ++i) {
            if (i > 0) {
                ToneFrame click;
                click.amplitude = static_cast<float>(0.5 * std::exp(parts[i - 1].level_ln + click_ln));
                click.present = true;
                track.frames.push_back(click);
            }
            for (std::size_t t = 0; t < parts[i].count; ++t) {
                ToneFrame one;
                one.amplitude = static_cast<float>(0.5 * std::exp(parts[i].level_ln + (t % 4 < 2 ? parts[i].e : -parts[i].e)));
                one.present = true;
                track.frames.push_back(one);
            }
        }
        return find_plateaus(std::vector{track});
    };
    // across a frame the level must change by four times what is usual there, 4 e / sqrt 3: 9.2 e
    const auto parts_at = [&](double click_ln) { return found({{41, 0.0, 0.001}, {41, 0.0, 0.001}}, click_ln).at(0).parts_s.size(); };
    CHECK(parts_at(0.020) == 2);
    CHECK(parts_at(0.006) == 1);
    // of 40 frames each, which overlap, a mean is known to 2.1 e sqrt(1.3 / 40) = 0.38 e, two apart to 0.53 e; five of that are 2.7 e
    const auto plateaus_of_two = [&](double apart_ln, double first_e, double second_e) {
        return found({{41, 0.0, first_e}, {41, apart_ln, second_e}}, 0.3).size();
    };
    CHECK(plateaus_of_two(0.0022, 0.001, 0.001) == 1);
    CHECK(plateaus_of_two(0.0034, 0.001, 0.001) == 2);
    CHECK(plateaus_of_two(-0.0034, 0.001, 0.001) == 2);
    CHECK(plateaus_of_two(0.0022, 0.001, 0.0) == 1);   // the livelier one counts
    CHECK(plateaus_of_two(0.0022, 0.0, 0.001) == 1);
    CHECK(plateaus_of_two(0.0011, 0.0, 0.0) == 1);     // 0.12 % at least
    CHECK(plateaus_of_two(0.0013, 0.0, 0.0) == 2);
    // three frames are a part, two are not; an edge takes one of either side
    CHECK(found({{20, 0.0, 0.0}, {5, 0.0, 0.0}, {20, 0.0, 0.0}}, 0.3).at(0).parts_s.size() == 3);
    CHECK(found({{20, 0.0, 0.0}, {4, 0.0, 0.0}, {20, 0.0, 0.0}}, 0.3).at(0).parts_s.size() == 2);
    // the level is the longest part's
    CHECK(found({{20, 0.0, 0.0}, {30, 0.001, 0.0}}, 0.3).at(0).level_ln[0] == Approx(std::log(0.5) + 0.001).margin(1e-6));
}
