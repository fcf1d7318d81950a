#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/gain/gain_parts.hpp"
#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;
using Catch::Matchers::Contains;

namespace {

constexpr double kRate = 8000, kTone_hz = 210;

/// Steps of 2 dB from -20 dBFS, clean throughout.
Source quick(std::size_t steps = 4) {
    Source out;
    out.rate = kRate;
    out.tone_hz = kTone_hz;
    out.stops = staircase(-20.0, 2.0, steps);
    for (Stop& stop : out.stops) stop.duration_s = 0.7;
    out.channels = {hard(0.9), hard(0.9)};
    out.channel_gain = {1.0, 0.5};
    out.lead_in_s = out.lead_out_s = 0.3;
    return out;
}

struct Curves {
    std::vector<GainCurve> curves;
    std::vector<Warning> warnings;

    bool warned(const char* code, const char* words = "") const {
        return std::any_of(warnings.begin(), warnings.end(),
                           [&](const Warning& one) { return one.code == code && one.take == "a.flac" && one.text.find(words) != std::string::npos; });
    }
};
/// Of the job's first take.
Curves read(const JobInMemory& job) {
    Curves out;
    const Take& take = job.opened.job.takes[0];
    out.curves = read_curves(
        job.opened, take,
        [&](const Take& one) { return std::make_unique<MemoryReader>(job.sound.at(one.file).first, job.sound.at(one.file).second); }, out.warnings);
    return out;
}
Curves read(const Source& source, const std::vector<double>& volumes) {
    JobInMemory job;
    job.add("a.flac", source, volumes);
    return read(job);
}
std::string error_of(double rate, double tone_hz, std::size_t channels = 2) {
    JobInMemory job;
    Source source = quick(1);
    source.rate = rate;
    source.stops[0].duration_s = 0.1;
    Take& take = job.add("a.flac", source, {});
    take.tone->waveform = Sine{tone_hz, 0};
    take.channels.resize(channels);
    try {
        read(job);
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_input);
        return error.what();
    }
    return {};
}

}  // namespace

TEST_CASE("each plateau is read with its place, its level in volts and its distortion", "[gain][reading]") {
    JobInMemory job;
    Take& take = job.add("a.flac", quick(), volumes_from(20, 4), -3.0);
    job.opened.job.interface.volts_full_scale = {8.0, 4.0};
    job.opened.job.interface.volts_full_scale_sd_db = {0.1, std::nullopt};
    take.attenuation_db = {0, 6};
    const Curves told = read(job);
    CHECK(told.warnings.empty());
    REQUIRE(told.curves.size() == 2);
    const double pad = std::pow(10.0, 0.3);
    for (std::size_t c = 0; c < 2; ++c) {
        const GainCurve& one = told.curves[c];
        CHECK(one.take == &job.opened.job.takes[0]);
        CHECK(one.curve.take == "a.flac");
        CHECK(one.curve.channel == (c == 0 ? Channel::left : Channel::right));
        CHECK(one.curve.tone_hz == kTone_hz);
        CHECK(one.tone_level_dbfs == -3);
        CHECK_FALSE(one.tone_is_stepped);
        CHECK_FALSE(one.other_tone_hz);
        CHECK_FALSE(one.drowned);
        CHECK(one.setting_of_step.empty());
        CHECK(one.referred.calibrated);
        const double full_scale_v = c == 0 ? 8.0 : 4.0 * pad;
        CHECK(one.referred.offset_db == Approx(20 * std::log10(full_scale_v / std::sqrt(2.0))).margin(1e-9));
        CHECK(one.tone_there_s == Approx(4 * 0.71).margin(0.2));
        CHECK_FALSE(one.curve.knee);
        CHECK_FALSE(one.folding);
        REQUIRE(one.curve.steps.size() == 4);
        for (std::size_t i = 0; i < 4; ++i) {
            const VolumeStep& step = one.curve.steps[i];
            CHECK(step.number == i + 1);
            CHECK(step.volume == 20.0 + static_cast<double>(i));
            const double from_s = 0.3 + 0.71 * static_cast<double>(i) + 0.01;
            CHECK(step.start_s == Approx(from_s).margin(0.06));
            CHECK(step.end_s == Approx(from_s + 0.7).margin(0.06));
            const double level_dbfs = -20.0 + 2.0 * static_cast<double>(i) + (c == 0 ? 0.0 : 20 * std::log10(0.5));
            CHECK(step.level_dbfs == Approx(level_dbfs).margin(0.002));
            CHECK(*step.level_v == Approx(full_scale_v / std::sqrt(2.0) * std::pow(10.0, level_dbfs / 20)).epsilon(0.001));
            CHECK(step.level_v_sd.has_value() == (c == 0));
            if (c == 0) CHECK(*step.level_v_sd == Approx(*step.level_v * (std::pow(10.0, std::hypot(0.1, step.level_sd_db) / 20) - 1)).epsilon(1e-6));
            CHECK(step.level_sd_db > 0);
            CHECK(step.level_sd_db < 0.01);
            CHECK(step.thd_percent < 0.1);
            CHECK(step.thd_sd_percent > 0);
            // noise of 1e-5 rms against the tone
            const double noise_percent = 100 * 1e-5 * std::sqrt(2.0) / std::pow(10.0, level_dbfs / 20);
            CHECK(step.thd_noise_percent == Approx(noise_percent).epsilon(0.2));
            CHECK(step.thd_noise_sd_percent > 0);
            CHECK(step.thd_noise_sd_percent < step.thd_noise_percent);
            CHECK(step.harmonics_counted == 17);  // 420 to 3780 Hz
            CHECK(step.harmonics_missing == 77);  // to 19950 Hz
            CHECK_FALSE(step.input_overload);
            CHECK(step.thd_limited_by == LimitedBy::noise);
            CHECK(step.frequency_hz == Approx(kTone_hz).margin(0.01));
            CHECK(step.frequency_sd_hz > 0);
            CHECK(step.frequency_sd_hz < 0.01);
        }
    }
}

TEST_CASE("the supply's channel is passed by, and distortion is the wave's own", "[gain][reading]") {
    JobInMemory job;
    Source source = quick(3);
    // x + 0.02 (4 x³ - 3 x) at full scale: 2 % of a third harmonic at the last stop alone
    source.stops = {Stop{-20, 0.7}, Stop{-10, 0.7}, Stop{0, 0.7}};
    const Stage third = [](double x) { return 0.5 * (x + 0.02 * (4 * x * x * x - 3 * x)); };
    source.channels = {hard(2), third};
    source.channel_gain = {0.0, 1.0};
    Take& take = job.add("a.flac", source, volumes_from(20, 3));
    take.channels = {Channel::supply, Channel::left};
    job.opened.job.interface.volts_full_scale = {100.0, 2.0};
    const Curves told = read(job);
    REQUIRE(told.curves.size() == 1);
    const GainCurve& one = told.curves[0];
    CHECK(one.curve.channel == Channel::left);
    REQUIRE(one.curve.steps.size() == 3);
    CHECK(one.curve.steps[2].thd_percent == Approx(2.0).epsilon(0.01));
    CHECK(one.curve.steps[2].thd_limited_by == LimitedBy::nothing);
    CHECK(*one.curve.steps[2].level_v == Approx(2.0 / std::sqrt(2.0) * 0.5).epsilon(0.001));
    // at a tenth of the power the third harmonic is a tenth of that, the fundamental lower by 6 % of what is missing of it
    const double x = std::pow(10.0, -0.5), first = x + 0.02 * (3 * x * x * x - 3 * x);
    CHECK(one.curve.steps[1].thd_percent == Approx(100 * 0.02 * x * x * x / first).epsilon(0.02));
}

TEST_CASE("an interface at its end is an overload, and no step of the source's", "[gain][reading]") {
    Source source = quick(2);
    source.stops = {Stop{-20, 0.7}, Stop{2, 0.7}};
    source.channels = {hard(5), hard(5)};
    const Curves told = read(source, volumes_from(20, 2));
    REQUIRE(told.curves[0].curve.steps.size() == 2);
    CHECK_FALSE(told.curves[0].curve.steps[0].input_overload);
    CHECK(told.curves[0].curve.steps[1].input_overload);
    CHECK(told.curves[0].curve.steps[1].thd_limited_by == LimitedBy::interface);
    CHECK_FALSE(told.curves[1].curve.steps[1].input_overload);
}

TEST_CASE("a tone that was stepped by itself has its highest level and settings, one volume its own", "[gain][reading]") {
    JobInMemory job;
    Take& take = job.add("a.flac", quick(), volumes_from(20, 4));
    take.tone->waveform = Stepped{kTone_hz, {-6, -2, -4, -8}};
    Curves told = read(job);
    REQUIRE(told.curves.size() == 2);
    CHECK(told.curves[0].tone_is_stepped);
    CHECK(told.curves[0].tone_level_dbfs == -2);
    REQUIRE(told.curves[0].curve.steps.size() == 4);
    for (const VolumeStep& step : told.curves[0].curve.steps) CHECK_FALSE(step.volume);
    CHECK(told.curves[0].setting_of_step == std::vector<std::size_t>{0, 1, 2, 3});
    // a single plateau is at the take's volume
    JobInMemory single;
    single.add("a.flac", quick(1), {}).conditions.volume = 33;
    told = read(single);
    REQUIRE(told.curves[0].curve.steps.size() == 1);
    CHECK(told.curves[0].curve.steps[0].volume == 33.0);
    single.opened.job.takes[0].tone->waveform = Stepped{kTone_hz, {-6}};
    CHECK_FALSE(read(single).curves[0].curve.steps.at(0).volume);
    JobInMemory two;
    two.add("a.flac", quick(2), {}).conditions.volume = 33;
    CHECK_FALSE(read(two).curves[0].curve.steps.at(0).volume);
}

TEST_CASE("plateaus and volumes that don't match are warned of, each in its way", "[gain][reading]") {
    Curves told = read(quick(4), volumes_from(20, 6));
    CHECK(told.warned("steps_unmatched", "4 plateaus were found, but volume_steps names 6"));
    CHECK(told.warned("steps_unmatched", "Steps that change nothing"));
    CHECK(told.warnings.size() == 1);
    CHECK(told.curves[0].setting_of_step.size() == 4);
    told = read(quick(4), volumes_from(20, 3));
    CHECK(told.warned("steps_unmatched", "4 plateaus were found, but volume_steps names 3"));
    CHECK_FALSE(told.warned("steps_unmatched", "Steps that change nothing"));
    Source back = quick(4);
    back.stops.insert(back.stops.begin() + 3, back.stops[1]);
    told = read(back, volumes_from(20, 4));
    CHECK(told.warned("steps_by_level", "5 plateaus were found for 4 volumes"));
    CHECK(told.warnings.size() == 1);
    const auto warned = [](const std::vector<Stop>& stops, std::size_t volumes, const char* code) {
        Source source = quick(1);
        source.stops = stops;
        const Curves found = read(source, volumes_from(20, volumes));
        return found.warnings.size() == 1 && found.warned(code);
    };
    CHECK(warned({{-20, 0.7}, {-19, 0.7}, {-18, 0.7}, {-23, 0.7}}, 4, "steps_contradict"));
    CHECK(warned({{-20, 0.7}, {-19, 0.7}, {-18, 0.7}, {-23, 0.7}}, 3, "steps_turned_down"));
    CHECK(warned({{-20, 1.5}, {-17, 0.4}, {-18, 1.4}, {-16, 1.2}}, 3, "steps_short"));
    CHECK(warned({{-20, 1}, {-18, 1, 0, true}, {-18, 1, 0, true}}, 3, "steps_at_clicks"));
    // nothing was asked, or nothing found
    CHECK(read(quick(2), {}).warnings.empty());
    Source silent = quick(1);
    silent.stops.clear();
    silent.lead_in_s = 1;
    CHECK(read(silent, volumes_from(20, 4)).warnings.empty());
}

TEST_CASE("another tone than the stated one is told by its frequency, from 500 ppm on", "[gain][reading]") {
    const auto other = [](double playing_hz, double level_db = -20, double seconds = 0.7) {
        JobInMemory job;
        Source source = quick(1);
        source.tone_hz = playing_hz;
        source.stops = {Stop{level_db, seconds}};
        job.add("a.flac", source, {}).tone->waveform = Sine{kTone_hz, 0};
        return read(job).curves[0].other_tone_hz;
    };
    CHECK_FALSE(other(kTone_hz));
    CHECK_FALSE(other(kTone_hz * 1.00045));
    CHECK_FALSE(other(kTone_hz * 0.99955));
    CHECK(*other(kTone_hz * 1.00055) == Approx(kTone_hz * 1.00055).epsilon(2e-5));
    CHECK(*other(kTone_hz * 0.99945) == Approx(kTone_hz * 0.99945).epsilon(2e-5));
    REQUIRE(other(450));
    CHECK(*other(450) == Approx(450).epsilon(1e-4));
    CHECK_FALSE(other(450, -60));
    CHECK(other(450, -45));
    CHECK_FALSE(other(450, -20, 0.25));  // as long as a marker's chirp
}

TEST_CASE("what can't be judged for its channels, its rate or its frequency is refused or told", "[gain][reading]") {
    CHECK(error_of(kRate, kTone_hz).empty());
    CHECK_THAT(error_of(kRate, kTone_hz, 3), Contains("a.flac: job.json names 3 channels, the file has 2"));
    CHECK(error_of(kRate, kTone_hz, 1).empty());
    // up to 0.475 of the rate: 3800 Hz of 8 kHz
    CHECK(error_of(kRate, 1266).empty());
    CHECK_THAT(error_of(kRate, 1267), Contains("the third harmonic of a 1267 Hz tone lies above 3800 Hz"));
    CHECK(error_of(48000, 6666).empty());
    CHECK_THAT(error_of(48000, 6667), Contains("lies above 20000 Hz"));
    const auto missing = [](double rate, double tone_hz) {
        Source source = quick(1);
        source.rate = rate;
        source.tone_hz = tone_hz;
        source.stops[0].duration_s = 0.1;
        return read(source, {}).warned("harmonics_missing", "harmonics above");
    };
    CHECK_FALSE(missing(kRate, 422));  // nine times that is 3798 Hz
    CHECK(missing(kRate, 423));
    CHECK_FALSE(missing(44100, 2300));
    CHECK(missing(44100, 2340) == false);  // 20947 Hz end it: nothing is missing of what is heard
}

TEST_CASE("which takes bear on the ceiling", "[gain][reading]") {
    using Change = void (*)(Take&);
    const auto bears = [](Change change) {
        Take take;
        take.channels = {Channel::left};
        take.tone = PlayedTone{Sine{1000, 0}, std::nullopt};
        change(take);
        return is_gain_take(take);
    };
    for (const Change change : std::vector<Change>{[](Take&) {},
                                                   [](Take& t) {
                                                       t.tone->waveform = Stepped{1000, {-6, 0}};
                                                   },
                                                   [](Take& t) { t.conditions.point = Point::source_output; },
                                                   [](Take& t) {
                                                       t.channels = {Channel::supply, Channel::sub};
                                                   }})
        CHECK(bears(change));
    for (const Change change :
         std::vector<Change>{[](Take& t) { t.tone.reset(); },
                             [](Take& t) {
                                 t.tone->waveform = Stepped{1000, {}};
                             },
                             [](Take& t) { t.tone->waveform = Pink{}; }, [](Take& t) { t.conditions.point = Point::amp_output; },
                             [](Take& t) { t.channels = {Channel::supply}; }, [](Take& t) { t.channels = {}; }})
        CHECK_FALSE(bears(change));
}

TEST_CASE("how long the tone was there, on a step or not", "[gain][reading]") {
    Source source = quick(1);
    source.stops = {Stop{-40, 2.0}};
    CHECK_FALSE(read(source, {}).curves[0].drowned);
    CHECK(read(source, {}).curves[0].tone_there_s == Approx(2.0).margin(0.15));
    source.stops.clear();
    source.lead_in_s = 1;
    CHECK(read(source, {}).curves[0].tone_there_s == 0);
}

TEST_CASE("a tone at one volume counts only where nothing was stepped", "[gain][reading]") {
    JobInMemory job;
    job.add("single.flac", quick(1), {}).conditions.volume = 30;
    GainAnalysis told = job.analyse();
    CHECK(told.takes == std::vector<std::string>{"single.flac"});
    CHECK(told.curves.size() == 2);
    CHECK(told.ceiling_reason == "never_clips");
    job.add("steps.flac", quick(4), volumes_from(20, 4)).faults = {TakeFault::dropout};
    job.add("levels.flac", quick(2), {}).tone->waveform = Stepped{kTone_hz, {-6, -2}};
    Take& output = job.add("output.flac", quick(2), volumes_from(20, 2));
    output.conditions.point = Point::amp_output;
    told = job.analyse();
    CHECK(told.takes == std::vector<std::string>{"steps.flac", "levels.flac"});
    CHECK(told.curves.size() == 4);
    REQUIRE(warned(told, "take_dropout"));
    CHECK(told.warnings.front().take == "steps.flac");
    CHECK_THAT(told.warnings.front().text, Contains("samples were lost in this take"));
}

TEST_CASE("a channel without the tone is named beside one that has it", "[gain][reading]") {
    JobInMemory job;
    Source source = quick(2);
    source.channel_gain = {1.0, 0.0};
    job.add("a.flac", source, volumes_from(20, 2));
    const GainAnalysis told = job.analyse();
    REQUIRE(warned(told, "channel_silent"));
    CHECK(told.warnings.front().take == "a.flac");
    CHECK_THAT(told.warnings.front().text, Contains("the right channel holds no 210 Hz tone"));
    CHECK(told.warnings.size() == 1);
    source.channel_gain = {0.0, 0.0};
    JobInMemory dead;
    dead.add("a.flac", source, volumes_from(20, 2));
    CHECK_FALSE(warned(dead.analyse(), "channel_silent"));
}

TEST_CASE("what can't be read is told by its own words, or with how many there are", "[gain][reading]") {
    JobInMemory job;
    const auto words = [&] {
        try {
            job.analyse();
        } catch (const Error& error) {
            CHECK(error.kind() == ErrorKind::invalid_input);
            return std::string(error.what());
        }
        return std::string();
    };
    CHECK_THAT(words(), Contains("no take with a steady tone"));
    job.add("a.flac", quick(1), {});
    CHECK(words().empty());
    job.sound.clear();
    CHECK_THAT(words(), Contains("no such file") && !Contains("none of the"));
    job.add("b.flac", quick(1), {});
    job.sound.clear();
    CHECK_THAT(words(), Contains("none of the 2 takes with a steady tone can be read: ") && Contains("no such file"));
}
