#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../../src/diagnose/sources/noise_sources.hpp"
#include "../../../src/diagnose/takes/floor_reading.hpp"
#include "../../../src/diagnose/takes/survey_takes.hpp"
#include "diagnose/even_survey.hpp"
#include "diagnose/job_on_disk.hpp"

using namespace hushtrace;
using namespace even_survey;

namespace {

double dbfs(double mean_square) { return 10 * std::log10(2 * mean_square); }
double dbv_of_square(double volts_squared) { return 10 * std::log10(volts_squared); }

/// A take whose channels hold hiss of 1e-8 of full scale squared, read to 10 %; sample value 1.0 is 2 V, so it is 4e-8 V squared.
struct Hissing : MadeTake {
    Job job;
    explicit Hissing(std::size_t channels = 1) : MadeTake("takes/it.wav", Engine::off, channels) {
        for (ChannelSurvey& channel : survey.channels) {
            channel.hiss.all.unweighted = {1e-8, 1e-9, LimitedBy::nothing};
            channel.hiss.upper_hz = 12000;
            channel.volts_full_scale = 2.0;
        }
    }
    std::list<NoiseSource> told(const ClicksInTake* clicks = nullptr) const {
        std::list<NoiseSource> sources;
        add_hiss(sources, survey, clicks, job);
        return sources;
    }
};

}  // namespace

TEST_CASE("hiss of which nobody knows how much the set-up makes is told with little confidence", "[hiss]") {
    Hissing it(2);
    it.survey.channels[0].silent = true;
    it.survey.channels[1].hiss.all.unweighted = {4e-8, 1.6e-8, LimitedBy::length};
    const std::list<NoiseSource> sources = it.told();
    REQUIRE(sources.size() == 1);
    const NoiseSource& hiss = sources.front();
    CHECK(hiss.kind == NoiseKind::hiss);
    CHECK(hiss.band_hz == std::pair{20.0, 12000.0});
    CHECK(hiss.confidence == 0.4);
    REQUIRE(hiss.levels.size() == 1);   // a silent channel has none
    CHECK(hiss.levels[0].channel == Channel::right);
    CHECK(*hiss.levels[0].level_dbfs == Approx(dbfs(4e-8)));
    CHECK(*hiss.levels[0].level_dbv == Approx(dbv_of_square(1.6e-7)));
    CHECK(hiss.levels[0].limited_by == LimitedBy::length);
    REQUIRE(hiss.evidence.size() == 1);
    CHECK(hiss.evidence[0].text.find("how much of it the interface makes is not known") != std::string::npos);
    CHECK(hiss.evidence[0].takes == std::vector<std::string>{"takes/it.wav"});
    CHECK(hiss.evidence[0].value == 0);
    // the reading's own spread, 10 % of the first channel, is the level's
    CHECK(Hissing().told().front().levels[0].sd_db == Approx(10 * std::log10(1.1)));
    // each channel has its own
    Hissing unlike(2);
    unlike.survey.channels[1].hiss.all.unweighted.sd = 3e-9;
    unlike.survey.channels[1].volts_full_scale_sd_db = 0.5;
    const auto both = unlike.told();
    CHECK(both.front().levels[0].sd_db == Approx(10 * std::log10(1.1)));
    CHECK(both.front().levels[1].sd_db == Approx(10 * std::log10(1.3)));
    CHECK(*both.front().levels[1].dbv_sd_db == Approx(std::hypot(10 * std::log10(1.3), 0.5)));
    // which knows how short the take was: a line's spread would be 0.3 of an average
    Hissing brief;
    brief.survey.channels[0].spectrum.effective_averages = 1;
    CHECK(brief.told().front().levels[0].sd_db == Approx(10 * std::log10(1.1)));
    // known, but nothing to hold it against
    Hissing uncalibrated;
    uncalibrated.job.interface.own_noise_dbv = {-80.0};
    uncalibrated.survey.channels[0].volts_full_scale.reset();
    CHECK(uncalibrated.told().front().confidence == 0.4);
}

TEST_CASE("the set-up's own noise is taken off a hiss in power, and widens its spread", "[hiss]") {
    Hissing it;
    it.job.interface.own_noise_dbv = {dbv_of_square(1e-8)};   // a quarter of it
    it.survey.channels[0].volts_full_scale_sd_db = 0.5;
    const std::list<NoiseSource> sources = it.told();
    REQUIRE(sources.size() == 1);
    const NoiseSource& hiss = sources.front();
    CHECK(hiss.confidence == 0.85);
    CHECK(hiss.evidence[0].text.find("above what the set-up makes by itself") != std::string::npos);
    const LevelInTake& level = hiss.levels[0];
    CHECK(*level.level_dbfs == Approx(dbfs(0.75e-8)));
    CHECK(*level.level_dbv == Approx(dbv_of_square(3e-8)));
    const double sd_db = 10 * std::log10(1 + std::hypot(1e-9, 0.25e-8 * (std::pow(10, kOwnNoiseSd_db / 10) - 1)) / 0.75e-8);
    CHECK(level.sd_db == Approx(sd_db));
    CHECK(*level.dbv_sd_db == Approx(std::hypot(sd_db, 0.5)));
    CHECK(level.limited_by == LimitedBy::nothing);
    it.survey.channels[0].volts_full_scale_sd_db.reset();
    CHECK(!it.told().front().levels[0].dbv_sd_db);
    // 2 dB over the set-up's own it is told; less than twice that, the interface limits it
    for (const auto& [times, told, limit] : {std::tuple{1.59, false, LimitedBy::nothing}, {1.61, true, LimitedBy::interface},
                                             {1.99, true, LimitedBy::interface}, {2.01, true, LimitedBy::nothing}}) {
        INFO(times << " times the set-up's own");
        it.job.interface.own_noise_dbv = {dbv_of_square(4e-8 / times)};
        const auto some = it.told();
        REQUIRE(some.size() == (told ? 1u : 0u));
        if (told) CHECK(some.front().levels[0].limited_by == limit);
    }
    // one channel that stands over it is enough; the other one, all of it the set-up's, has no level
    Hissing two(2);
    two.job.interface.own_noise_dbv = {dbv_of_square(5e-8), dbv_of_square(1e-8)};
    REQUIRE(two.told().size() == 1);
    REQUIRE(two.told().front().levels.size() == 1);
    CHECK(two.told().front().levels[0].channel == Channel::right);
    CHECK(two.told().front().levels[0].sd_db == Approx(sd_db));
    // of a silent channel, and of one that isn't calibrated, nothing is known
    two.survey.channels[1].silent = true;
    CHECK(two.told().empty());
    two.survey.channels[0].volts_full_scale.reset();
    CHECK(two.told().front().confidence == 0.4);
}

TEST_CASE("takes of one noise stray by what their hiss is said to be unsure by", "[hiss]") {
    JobOnDisk disk;
    constexpr double rate = 16000;
    constexpr std::size_t many = 16;
    std::mt19937_64 generator(3);
    std::normal_distribution<double> noise(0, 1e-3);
    for (std::size_t i = 0; i < many; ++i) {
        std::vector<double> sound(static_cast<std::size_t>(rate) * 3);
        for (double& one : sound) one = noise(generator);
        disk.add("takes/" + std::to_string(i) + ".wav", rate, {Channel::left}, {sound});
    }
    std::vector<const Take*> takes;
    for (const Take& take : disk.opened.job.takes) takes.push_back(&take);
    std::vector<double> levels;
    double stated = 0;
    for (auto& one : survey_takes(disk.opened, takes)) {
        std::list<NoiseSource> sources;
        const TakeSurvey survey = one.get();
        add_hiss(sources, survey, nullptr, disk.opened.job);
        REQUIRE(sources.size() == 1);
        levels.push_back(*sources.front().levels.front().level_dbfs);
        stated += sources.front().levels.front().sd_db / many;
    }
    double mean = 0, variance = 0;
    for (const double one : levels) mean += one / many;
    for (const double one : levels) variance += (one - mean) * (one - mean) / (many - 1);
    // of 16 draws, chi-squared of 15: 0.55 to 1.48 of the true spread in 99 of 100
    CHECK(std::sqrt(variance) > 0.55 * stated);
    CHECK(std::sqrt(variance) < 1.48 * stated);
    // white, of full scale's sine: 10 lg(2 (1e-3)^2), of which the band from 20 Hz up to its upper end
    CHECK(mean == Approx(10 * std::log10(2e-6 * (survey_takes(disk.opened, {takes[0]})[0].get().channels[0].hiss.upper_hz - 20) / 8000)).margin(0.1));
}

TEST_CASE("the set-up's own noise is that of the channel's place in the file", "[hiss]") {
    // a probe on the supply is the file's first channel: what it makes by itself is no noise in the second
    Hissing it;
    it.take.channels = {Channel::supply, Channel::left};
    it.survey.channels[0].file_channel = 1;
    it.job.interface.own_noise_dbv = {dbv_of_square(1e-4), dbv_of_square(1e-8)};
    REQUIRE(it.told().size() == 1);
    CHECK(*it.told().front().levels[0].level_dbv == Approx(dbv_of_square(3e-8)));
    it.survey.channels[0].floor.all.unweighted = {1e-8, 1e-9, LimitedBy::nothing};
    const FloorReading floor = floor_of(it.survey, 0, it.job);
    CHECK(floor.unweighted.dbv->value == Approx(dbv_of_square(3e-8)));
    CHECK_FALSE(floor.limited_by_interface);
}

TEST_CASE("what smears over the whole band is not taken for hiss", "[hiss]") {
    Hissing sweep, wide, narrow, clicking;
    sweep.take.conditions.engine = Engine::sweep;
    CHECK(sweep.told().empty());
    wide.survey.families.push_back(family_of(1000, 0.061, {{1, 1e-6}}));
    CHECK(wide.told().empty());
    narrow.survey.families.push_back(family_of(1000, 0.059, {{1, 1e-6}}));
    CHECK(narrow.told().size() == 1);
    // clicks that hold a fifth of it
    const ClicksInTake clicks;
    for (const auto& [share, told] : {std::pair{0.21, 0u}, {0.19, 1u}}) {
        clicking.survey.channels[0].clicks.emplace().mean_square = share * 1e-8;
        CHECK(clicking.told(&clicks).size() == told);
        CHECK(clicking.told().size() == 1);
    }
    CHECK(Hissing().told(&clicks).size() == 1);
}

TEST_CASE("hiss of several takes is one source, as sure as the surest of them", "[hiss]") {
    Hissing first(2), second(1);
    std::list<NoiseSource> sources;
    sources.emplace_back().kind = NoiseKind::mains_hum;
    add_hiss(sources, first.survey, nullptr, first.job);
    second.take.file = "takes/second.wav";
    second.survey.channels[0].hiss.all.unweighted.limited_by = LimitedBy::length;
    second.job.interface.own_noise_dbv = {-80.0};
    add_hiss(sources, second.survey, nullptr, second.job);
    first.take.file = "takes/third.wav";
    add_hiss(sources, first.survey, nullptr, first.job);
    REQUIRE(sources.size() == 2);
    const NoiseSource& hiss = sources.back();
    CHECK(hiss.confidence == 0.85);
    CHECK(hiss.evidence.size() == 1);
    REQUIRE(hiss.levels.size() == 5);
    CHECK(hiss.levels[1].limited_by == LimitedBy::nothing);
    CHECK(hiss.levels[2].limited_by == LimitedBy::length);
    CHECK(*hiss.levels[2].level_dbfs == Approx(dbfs(0.75e-8)));
    CHECK(hiss.levels[3].limited_by == LimitedBy::nothing);
}
