#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "hushtrace/vehicle/whine_constant.hpp"

using namespace hushtrace;

namespace {

/// A speed as somebody typed it: half of them well, half of them within a few percent (docs/engine-speed.md).
std::vector<SpeedGuess> typed(double rpm) {
    return {{rpm, 0.015, 0.4}, {rpm, 0.05, 0.6}};
}
WhineTake take(std::vector<SpeedGuess> speeds, std::vector<std::pair<double, double>> lines) {
    WhineTake made;
    made.speeds = std::move(speeds);
    for (const auto& [hz, log_weight] : lines) made.lines.push_back({hz, 0.001, log_weight, std::nullopt});
    return made;
}

}  // namespace

TEST_CASE("the line that keeps its hertz per rpm over two speeds is the whine, though another is louder", "[whine]") {
    // k = 1.62; a pump near 1500 Hz stands out more in each take, but does not follow
    const std::vector<WhineTake> takes = {take(typed(760), {{1500, 0}, {1.62 * 760, -1.5}}),
                                          take(typed(2000), {{1530, 0}, {1.62 * 2000, -1.5}, {3.24 * 2000, -1}})};
    const auto found = joint_whine_constant(takes, {}, 0.025);
    REQUIRE(found);
    CHECK(found->hz_per_rpm == Approx(1.62).epsilon(0.005));
    CHECK(found->line == std::vector<std::optional<std::size_t>>{1, 1});
    CHECK(found->probability > 0.8);
    CHECK(found->sd / found->hz_per_rpm > 0.02);  // two dials that agree may both read high
    CHECK(found->sd / found->hz_per_rpm < 0.04);
}

TEST_CASE("a line that is the twelve-pulse one in one take is told by the other take", "[whine]") {
    // in the second take the louder line is twice the whine
    const std::vector<WhineTake> takes = {take(typed(800), {{1.9 * 800, 0}}),
                                          take(typed(1900), {{2 * 1.9 * 1900, 0}, {1.9 * 1900, -3}})};
    const auto found = joint_whine_constant(takes, {}, 0.025);
    REQUIRE(found);
    CHECK(found->hz_per_rpm == Approx(1.9).epsilon(0.005));
    CHECK(found->line[1] == 1U);
}

TEST_CASE("a measured speed outweighs typed ones that are five percent wrong", "[whine]") {
    const double k = 2.08;
    const std::vector<WhineTake> takes = {take({{750, 0.002, 0.97}}, {{k * 750, 0}}),
                                          take(typed(1.05 * 2000), {{k * 2000, 0}})};
    const auto found = joint_whine_constant(takes, {}, 0.001);
    REQUIRE(found);
    CHECK(found->hz_per_rpm == Approx(k).epsilon(0.003));
    CHECK(found->sd / k < 0.01);
}

TEST_CASE("without a line or a speed, or with nothing that an alternator can do, there is no constant", "[whine]") {
    CHECK_FALSE(joint_whine_constant({}, {}, 0.02));
    const std::vector<WhineTake> no_speed = {take({}, {{1200, 0}})}, no_line = {take(typed(750), {})};
    CHECK_FALSE(joint_whine_constant(no_speed, {}, 0.02));
    CHECK_FALSE(joint_whine_constant(no_line, {}, 0.02));
    const std::vector<WhineTake> slow = {take({{750, 0.002, 1}}, {{60, 0}})};
    CHECK_FALSE(joint_whine_constant(slow, {}, 0.02));
}

TEST_CASE("an alternator that was told decides between its whine and a stranger, unless the takes speak against it",
          "[whine]") {
    const ToldAlternator told{6.0, 2.7};
    const std::vector<WhineTake> takes = {take(typed(760), {{1.62 * 760, -1.0}, {2.1 * 760, 0}})};
    REQUIRE(joint_whine_constant(takes, told, 0.025));
    CHECK(joint_whine_constant(takes, told, 0.025)->hz_per_rpm == Approx(1.62).epsilon(0.02));
    const std::vector<WhineTake> against = {take({{760, 0.002, 0.97}}, {{2.1 * 760, 0}}),
                                            take({{2000, 0.002, 0.97}}, {{2.1 * 2000, 0}})};
    REQUIRE(joint_whine_constant(against, told, 0.001));
    CHECK(joint_whine_constant(against, told, 0.001)->hz_per_rpm == Approx(2.1).epsilon(0.01));
}

TEST_CASE("the constant's uncertainty holds over many vehicles", "[whine]") {
    // Dials wrong by 2.5 % alike and by 3 % each, belts that slip by 0.5 %, a strange line in each take.
    std::mt19937_64 engine(11);
    std::normal_distribution<double> normal(0.0, 1.0);
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    int right = 0, within_two = 0, count = 0;
    double sum_z2 = 0;
    for (int vehicle = 0; vehicle < 300; ++vehicle) {
        const double k = 1.25 + 1.1 * uniform(engine), dial = 1.0 + 0.025 * normal(engine);
        std::vector<WhineTake> takes;
        for (const double rpm : {650.0 + 300.0 * uniform(engine), 1600.0 + 700.0 * uniform(engine)}) {
            const double hz = k * rpm * (1.0 + 0.005 * normal(engine));
            takes.push_back(take(typed(rpm * dial * (1.0 + 0.03 * normal(engine))),
                                 {{hz, 0}, {600 + 3000 * uniform(engine), 0.5 * normal(engine)}}));
        }
        const auto found = joint_whine_constant(takes, {}, 0.025);
        REQUIRE(found);
        ++count;
        const double z = (found->hz_per_rpm - k) / found->sd;
        if (std::abs(found->hz_per_rpm / k - 1.0) < 0.1) ++right;
        if (std::abs(z) < 2.0) ++within_two;
        sum_z2 += std::min(z * z, 9.0);
    }
    INFO("right " << right << ", within two sd " << within_two << " of " << count << ", mean z^2 " << sum_z2 / count);
    CHECK(right >= 285);
    CHECK(within_two >= 275);
    CHECK(sum_z2 / count > 0.5);  // nor is it far too wide
    CHECK(sum_z2 / count < 1.5);
}
