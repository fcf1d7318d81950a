#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <random>

#include "../../src/diagnose/floor_reading.hpp"
#include "../../src/diagnose/heard_only.hpp"
#include "../../src/diagnose/line_level.hpp"
#include "../../src/diagnose/noise_sources.hpp"
#include "../../src/diagnose/survey_takes.hpp"
#include "even_survey.hpp"
#include "job_on_disk.hpp"

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

TEST_CASE("noise that is heard where the input holds none comes from behind it", "[heard]") {
    struct Scene {
        MadeTake it{"takes/normal.wav", Engine::idle, 2};
        Job job;
        std::list<NoiseSource> sources;
        Observation heard;
        Scene() {
            heard.what = "noise_heard";
            heard.heard = "same";
            heard.conditions.engine = Engine::idle;
        }
    };
    struct Case {
        const char* what;
        std::function<void(Scene&)> change;
        double confidence;   // 0: not told
    };
    const auto source = [](NoiseKind kind, const char* take) {
        NoiseSource out;
        out.kind = kind;
        out.takes = {take};
        return out;
    };
    const Case cases[] = {
        {"as it is", [](Scene&) {}, 0.88},
        {"other words", [](Scene& s) { s.heard.heard = "louder"; }, 0.88},
        {"gone", [](Scene& s) { s.heard.heard = "gone"; }, 0},
        {"nothing said", [](Scene& s) { s.heard.heard.reset(); }, 0},
        {"no ear", [](Scene& s) { s.heard.what = "amplifier_wakes"; }, 0},
        {"shorted", [](Scene& s) { s.heard.conditions.hookup = {Hookup::shorted_at_amp}; }, 0.95},
        {"on a dummy", [](Scene& s) { s.heard.conditions.hookup = {Hookup::lead_on_dummy_at_amp}; }, 0.95},
        {"through an isolator", [](Scene& s) { s.heard.conditions.hookup = {Hookup::isolator}; }, 0},
        {"normal, and an isolator", [](Scene& s) { s.heard.conditions.hookup = {Hookup::normal, Hookup::isolator}; }, 0},
        {"engine off", [](Scene& s) { s.heard.conditions.engine = Engine::off; }, 0},
        {"loads in another order",
         [](Scene& s) {
             s.heard.conditions.loads = {"lights", "fan", "pump"};
             s.it.take.conditions.loads = {"pump", "lights", "fan"};
         },
         0.88},
        {"another load", [](Scene& s) { s.heard.conditions.loads = {"fan"}; }, 0},
        {"a volume, not stated with the take", [](Scene& s) { s.heard.conditions.volume = 20; }, 0.88},
        {"the same volume", [](Scene& s) { s.heard.conditions.volume = s.it.take.conditions.volume = 20; }, 0.88},
        {"another volume",
         [](Scene& s) {
             s.heard.conditions.volume = 20;
             s.it.take.conditions.volume = 21;
         },
         0},
        {"another input",
         [](Scene& s) {
             s.heard.conditions.input = SourceInput::aux;
             s.it.take.conditions.input = SourceInput::usb;
         },
         0},
        {"the source off",
         [](Scene& s) {
             s.heard.conditions.source = SourceState::off;
             s.it.take.conditions.source = SourceState::on;
         },
         0},
        {"after a change", [](Scene& s) { s.heard.after_change = "new ground"; }, 0},
        {"a take of the output", [](Scene& s) { s.it.take.conditions.point = Point::amp_output; }, 0},
        {"one silent channel", [](Scene& s) { s.it.survey.channels[0].silent = true; }, 0.88},
        {"silence", [](Scene& s) { s.it.survey.channels[0].silent = s.it.survey.channels[1].silent = true; }, 0},
        {"a take of another hookup", [](Scene& s) { s.it.take.conditions.hookup = {Hookup::shorted_at_amp}; }, 0},
        {"a take of two", [](Scene& s) { s.it.take.conditions.hookup = {Hookup::normal, Hookup::isolator}; }, 0},
        {"the take holds a motor", [&](Scene& s) { s.sources = {source(NoiseKind::motor_whine, "takes/normal.wav")}; }, 0},
        {"another take holds it", [&](Scene& s) { s.sources = {source(NoiseKind::motor_whine, "takes/other.wav")}; }, 0.88},
        {"the take holds hiss", [&](Scene& s) { s.sources = {source(NoiseKind::hiss, "takes/normal.wav")}; }, 0.88},
        {"a brief take", [](Scene& s) { s.it.survey.duration_s = 2.9; }, 0.7},
        {"not so brief", [](Scene& s) { s.it.survey.duration_s = 3.0; }, 0.88},
        {"brief, but shorted",
         [](Scene& s) {
             s.it.survey.duration_s = 2.9;
             s.heard.conditions.hookup = {Hookup::shorted_at_amp};
         },
         0.95},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        Scene scene;
        one.change(scene);
        scene.job.observations = {scene.heard};
        const std::size_t before = scene.sources.size();
        add_heard_only(scene.sources, {scene.it.survey}, scene.job);
        REQUIRE(scene.sources.size() == before + (one.confidence > 0));
        if (one.confidence == 0) continue;
        const NoiseSource& told = scene.sources.back();
        CHECK(told.kind == NoiseKind::heard_only);
        CHECK(told.confidence == one.confidence);
        CHECK(told.evidence.size() == 3);
    }
}

TEST_CASE("what was heard is evidence by its observation, and by the hiss of the take beside it", "[heard]") {
    MadeTake other("takes/other.wav", Engine::off), it("takes/normal.wav", Engine::idle, 3);
    for (std::size_t c = 0; c < 3; ++c) it.survey.channels[c].floor.all.unweighted.value = std::array{2e-9, 4e-9, 9e-9}[c];
    it.survey.channels[1].volts_full_scale = 2.0;
    it.survey.channels[2].silent = true;
    Job job;
    job.observations.resize(3);
    for (Observation& one : job.observations) {
        one.what = "noise_heard";
        one.heard = "quieter";
        one.conditions.engine = Engine::idle;
    }
    job.observations[1].heard = "gone";
    job.observations[2].conditions.hookup = {Hookup::shorted_at_amp};
    std::list<NoiseSource> sources;
    add_heard_only(sources, {other.survey, it.survey}, job);
    REQUIRE(sources.size() == 1);
    const std::vector<Evidence>& evidence = sources.front().evidence;
    REQUIRE(evidence.size() == 5);
    CHECK(evidence[0].text.find("from behind the amplifier's input") != std::string::npos);
    CHECK(evidence[0].value == 2);
    CHECK(evidence[0].unit == "observations");
    CHECK(evidence[0].observations == std::vector<std::size_t>{0, 2});
    CHECK(evidence[1].text == "Noise is heard (quieter) in the normal hookup.");
    CHECK(evidence[1].value == 1);
    CHECK(evidence[1].unit == "observation");
    CHECK(evidence[1].observations == std::vector<std::size_t>{0});
    CHECK(evidence[3].text == "Noise is heard (quieter) with the amplifier's input shorted.");
    CHECK(evidence[3].observations == std::vector<std::size_t>{2});
    for (const std::size_t hiss : {2u, 4u}) {   // the louder of those that sound, 4e-9 of full scale squared
        CHECK(evidence[hiss].text.find("nothing but hiss, -78.0 dBV") != std::string::npos);
        CHECK(evidence[hiss].value == Approx(dbv_of_square(1.6e-8)));
        CHECK(evidence[hiss].unit == "dBV");
        CHECK(evidence[hiss].takes == std::vector<std::string>{"takes/normal.wav"});
    }
    it.survey.channels[1].volts_full_scale.reset();
    std::list<NoiseSource> uncalibrated;
    add_heard_only(uncalibrated, {it.survey}, job);
    CHECK(uncalibrated.front().evidence[2].value == Approx(dbfs(4e-9)));
    CHECK(uncalibrated.front().evidence[2].unit == "dBFS");
}

TEST_CASE("a line's level is as sure as the noise in its bins, and its beating with them, leave it", "[levels]") {
    CHECK(limited_by_noise({1.0, 0.123, LimitedBy::length}).limited_by == LimitedBy::noise);   // 0.5 dB are 12.2 % of a power
    CHECK(limited_by_noise({1.0, 0.121, LimitedBy::length}).limited_by == LimitedBy::nothing);
    CHECK(limited_by_noise({0.0, 0.5, {}}).limited_by == LimitedBy::nothing);
    MadeTake take("takes/it.wav");
    ChannelSurvey& channel = take.survey.channels[0];
    channel.floor_density[500] = 1e-9;
    channel.floor_density[700] = 3e-9;
    // variance: four bins of 1 Hz of each line's density squared, and twice the power by the densest of them, over 10 s
    const double power = 1e-7, variance = (4 * (1e-18 + 9e-18) + 2 * power * 3e-9) / 10;
    const Reading level = level_of_lines(channel, power, {500, 700});
    CHECK(level.value == Approx(dbfs(power)));
    CHECK(level.sd == Approx(10 * std::log10(1 + std::sqrt(variance) / power)));
    CHECK(level.limited_by == LimitedBy::nothing);
    CHECK(level_of_lines(channel, 1e-8, {500, 700}).limited_by == LimitedBy::noise);
    CHECK(level_of_lines(channel, 0.0, {500}).value == Approx(dbfs(1e-20)));
    const Harmonic plain = harmonic_of(channel, 3, 700, power);
    CHECK(plain.number == 3);
    CHECK(plain.frequency_hz == 700);
    CHECK(plain.level_dbfs == Approx(dbfs(power)));
    const double sd_db = 10 * std::log10(1 + std::sqrt((4 * 9e-18 + 2 * power * 3e-9) / 10) / power);
    CHECK(*plain.sd_db == Approx(sd_db));
    CHECK(!plain.level_dbv);
    CHECK(!plain.dbv_sd_db);
    channel.volts_full_scale = 2.0;
    CHECK(*harmonic_of(channel, 3, 700, power).level_dbv == Approx(dbv_of_square(4 * power)));
    CHECK(*harmonic_of(channel, 3, 700, power).dbv_sd_db == Approx(sd_db));
    channel.volts_full_scale_sd_db = 0.4;
    CHECK(*harmonic_of(channel, 3, 700, power).dbv_sd_db == Approx(std::hypot(sd_db, 0.4)));
    CHECK(harmonic_of(channel, 3, 700, 1e-9).limited_by == LimitedBy::noise);
    channel.spectrum.effective_duration_s = 0;   // one segment: half a bin's inverse
    CHECK(level_of_lines(channel, power, {700}).sd == Approx(10 * std::log10(1 + std::sqrt((4 * 9e-18 + 2 * power * 3e-9) / 0.5) / power)));
    channel.spectrum.effective_duration_s = 10;
    channel.spectrum.length = 12000;   // bins of 2 Hz
    channel.floor_density[350] = 3e-8;
    CHECK(level_of_lines(channel, power, {700}).sd == Approx(10 * std::log10(1 + std::sqrt((8 * 9e-16 + 2 * power * 3e-8) / 10) / power)));
    channel.floor_density.clear();
    CHECK(level_of_lines(channel, power, {700}).sd == 0);
}

TEST_CASE("noise that bulges at rest as much as a line that moves is told from it", "[levels]") {
    // eleven bins of noise of 1e-12, averaged a hundred times: sqrt(2 * 11 / 100) of 1e-12 are one standard deviation, 4.69e-13
    const auto alike = [](double here, double there, double at_hz = 1000, double wander = 0.0) {
        MadeTake run("takes/run.wav", Engine::idle, 1, 1e-12), off("takes/off.wav", Engine::off, 1, 1e-12);
        run.survey.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] += here;
        off.survey.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] += there;
        return bulges_alike(run.survey, off.survey, 1000, wander);
    };
    CHECK(alike(1e-12, 1.90e-12));
    CHECK_FALSE(alike(1e-12, 1.85e-12));   // under four of them
    CHECK(alike(3.7e-12, 1.9e-12));
    CHECK_FALSE(alike(3.9e-12, 1.9e-12));  // under half as much
    CHECK(alike(0, 1e-10, 1005));
    CHECK(alike(0, 1e-10, 995));
    CHECK_FALSE(alike(0, 1e-10, 1006));
    CHECK_FALSE(alike(0, 1e-10, 994));
    CHECK(alike(0, 1e-10, 1020, 0.01));    // twice the wander
    CHECK_FALSE(alike(0, 1e-10, 1021, 0.01));
    MadeTake run("takes/run.wav", Engine::idle, 2, 1e-12), off("takes/off.wav", Engine::off, 2, 1e-12);
    off.survey.channels[1].spectrum.density[1000] = 1e-10;
    CHECK(bulges_alike(run.survey, off.survey, 1000, 0));
    run.survey.channels.pop_back();
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));   // no such channel to hold it against
    off.survey.channels[0].spectrum.density[1000] = 1e-10;
    CHECK(bulges_alike(run.survey, off.survey, 1000, 0));
    off.survey.channels[0].silent = true;
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));
    run.survey.channels[0].spectrum.density[1000] = 0;   // less than the noise round it
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));
    off.survey.channels[0].silent = false;
    off.survey.channels[0].floor_density.clear();
    CHECK_FALSE(bulges_alike(run.survey, off.survey, 1000, 0));
}
