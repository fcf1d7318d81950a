#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "hushtrace/measure/plateaus.hpp"

using namespace hushtrace;

namespace {

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
