#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "../../../src/diagnose/takes/survey_takes.hpp"
#include "diagnose/job_on_disk.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

TEST_CASE("takes that are read at once come back in their order, each as if alone, a broken one with its error", "[survey_takes]") {
    JobOnDisk disk;
    constexpr double rate = 16000;
    constexpr int many = 9;   // more than are read at once
    std::mt19937_64 generator(6);
    std::normal_distribution<double> hiss(0, 1e-4);
    for (int i = 0; i < many; ++i) {
        std::vector<double> sine(static_cast<std::size_t>(rate) * 2);
        for (std::size_t k = 0; k < sine.size(); ++k)
            sine[k] = 0.01 * (i + 1) * std::sin(2 * std::numbers::pi * (300.0 + 100 * i) * static_cast<double>(k) / rate) + hiss(generator);
        disk.add("takes/" + std::to_string(i) + ".wav", rate, {Channel::left}, {sine});
    }
    constexpr int broken = 4;
    std::filesystem::resize_file(disk.folder.path() / "takes" / (std::to_string(broken) + ".wav"), 20);
    std::vector<const Take*> asked;
    for (int i = many; i-- > 0;) asked.push_back(&disk.opened.job.takes[static_cast<std::size_t>(i)]);
    auto surveys = survey_takes(disk.opened, asked);
    REQUIRE(surveys.size() == many);
    for (std::size_t k = 0; k < surveys.size(); ++k) {
        const int i = many - 1 - static_cast<int>(k);
        CAPTURE(i);
        if (i == broken) {
            CHECK_THROWS_AS(surveys[k].get(), Error);
            continue;
        }
        const TakeSurvey at_once = surveys[k].get(), alone = survey_take(disk.opened, *asked[k]);
        CHECK(at_once.take == asked[k]);
        REQUIRE(at_once.channels.size() == 1);
        REQUIRE(!at_once.channels[0].lines.empty());
        CHECK(at_once.channels[0].lines[0].frequency_hz == Approx(300.0 + 100 * i).margin(0.1));
        CHECK(at_once.channels[0].spectrum.density == alone.channels[0].spectrum.density);
        CHECK(at_once.channels[0].still.density == alone.channels[0].still.density);
        CHECK(at_once.channels[0].hiss.all.unweighted.value == alone.channels[0].hiss.all.unweighted.value);
    }
    CHECK(survey_takes(disk.opened, {}).empty());
}
