#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/takes/floor_reading.hpp"
#include "diagnose/floor_job.hpp"

using namespace hushtrace;
using namespace floor_job;

namespace {

constexpr double kDensity = 1e-13;

/// Flat noise, bins of 1 Hz up to 4 kHz, read over 25 s.
ChannelSurvey flat_noise(Channel channel = Channel::left) {
    ChannelSurvey out;
    out.channel = channel;
    out.spectrum.sample_rate_hz = 8000;
    out.spectrum.length = 8000;
    out.spectrum.noise_bandwidth_hz = 1.5;
    out.spectrum.segments = 1000000;
    out.spectrum.effective_averages = 1e6;
    out.spectrum.effective_duration_s = 25;
    out.spectrum.density.assign(4001, kDensity);
    out.floor_density = out.spectrum.density;
    out.floor.upper_hz = 4000;
    return out;
}

TakeSurvey survey_of(const Take& take, ChannelSurvey channel) {
    TakeSurvey out;
    out.take = &take;
    out.sample_rate_hz = 8000;
    out.channels.push_back(std::move(channel));
    return out;
}

double decibels(double power) {
    return 10.0 * std::log10(power);
}

SpectralLine line_from(double low_hz, double high_hz, double mean_square) {
    SpectralLine out;
    out.frequency_hz = 0.5 * (low_hz + high_hz);
    out.mean_square = mean_square;
    out.low_hz = low_hz;
    out.high_hz = high_hz;
    return out;
}

/// Swept from 200 to 220 Hz, its mean 210.
MovingFamily swept_family(const std::vector<std::pair<double, double>>& lines) {
    MovingFamily out;
    out.ridge.track.time_s = {0, 1, 2};
    out.ridge.track.frequency_hz = {210, 220, 200};
    out.mean_hz = 210;
    out.wander = 0.04;
    for (const auto& [ratio, mean_square] : lines) {
        OrderLine one;
        one.ratio = ratio;
        one.mean_square = {mean_square};
        out.lines.push_back(one);
    }
    return out;
}

}  // namespace

TEST_CASE("each figure of a floor is told in volts less the interface's own of the same weighting", "[floor_reading]") {
    OpenedJob opened = job_of();
    // the supply's probe lies first in the file: the channel's own floors are the second ones
    Take& take = add_take(opened, "takes/idle.flac", Engine::idle, {Channel::supply, Channel::right});
    const std::vector<double> own_dbv{-90, -91, -92, -93, -94};
    for (std::size_t i = 0; i < own_dbv.size(); ++i) opened.job.interface.*kOwnNoiseFields[i].values = {-10.0, own_dbv[i]};
    ChannelSurvey c = flat_noise(Channel::right);
    c.file_channel = 1;
    c.volts_full_scale = 4.0;
    c.volts_full_scale_sd_db = 0.2;
    c.floor.from_hz = 30;
    c.floor.all = {{2.0e-10, 2.0e-12, {}}, {2.1e-10, 2.1e-12, {}}, {2.2e-10, 2.2e-12, {}}, {2.3e-10, 2.3e-12, {}}};
    c.floor.broadband = {{1.8e-10, 1.8e-12, {}}, {1.9e-10, 1.9e-12, {}}, {}, {}};
    c.quasi_peak = Reading{2e-5, 1e-7, {}};
    for (int i = 0; i < 9; ++i) c.tones.push_back({100.0 + i, 0.5, {1e-11 / (1 + i), 1e-13, {}}, i == 1});
    const FloorReading told = floor_of(survey_of(take, c), 0, opened.job);
    CHECK(told.take == "takes/idle.flac");
    CHECK(told.channel == Channel::right);
    CHECK(told.from_hz == 30);
    CHECK(told.to_hz == 4000);
    CHECK_FALSE(told.quasi_peak_wants_length);
    CHECK(told.bands_interface == InterfaceKnown::whole);
    CHECK_FALSE(told.limited_by_interface);
    struct Row {
        const FloorFigure& figure;
        double mean_square, sd, own_dbv;
    };
    for (const Row& row : {Row{told.unweighted, 2.0e-10, 2.0e-12, -90},
                           {told.a_weighted, 2.1e-10, 2.1e-12, -91},
                           {told.c_weighted, 2.2e-10, 2.2e-12, -92},
                           {told.itu468, 2.3e-10, 2.3e-12, -93},
                           {told.broadband, 1.8e-10, 1.8e-12, -90},
                           {told.broadband_a_weighted, 1.9e-10, 1.9e-12, -91},
                           {told.itu468_quasi_peak, 4e-10, 4e-12, -94}}) {  // of an rms value: squared, twice as unsure
        INFO(row.mean_square);
        CHECK(row.figure.dbfs->value == Approx(decibels(2.0 * row.mean_square)).margin(1e-9));  // a full-scale sine has 1/2
        CHECK(row.figure.dbfs->sd == Approx(decibels(1.01)).margin(1e-9));
        // 4 V at sample value 1: 16 V²; the interface's floor repeats to 0.3 dB
        const double own = std::pow(10.0, row.own_dbv / 10), left = 16 * row.mean_square - own;
        const double sd = std::hypot(16 * row.sd, own * (std::pow(10.0, 0.03) - 1));
        CHECK(row.figure.dbv->value == Approx(decibels(left)).margin(1e-9));
        CHECK(row.figure.dbv->sd == Approx(std::hypot(decibels(1 + sd / left), 0.2)).margin(1e-9));
        CHECK(row.figure.interface_taken_off);
        CHECK(row.figure.dbv->limited_by == LimitedBy::nothing);
    }
    REQUIRE(told.tones.size() == 8);
    CHECK(told.tones[1].frequency_hz == 101);
    CHECK(told.tones[1].wanders);
    CHECK_FALSE(told.tones[0].wanders);
    CHECK(told.tones[1].frequency_sd_hz == 0.5);
    CHECK(told.tones[0].dbfs.value == Approx(decibels(2e-11)).margin(1e-9));
    CHECK(told.tones[0].dbv->value == Approx(decibels(16e-11)).margin(1e-9));
    CHECK(told.tones[0].dbv->sd == Approx(std::hypot(decibels(1.01), 0.2)).margin(1e-9));
    CHECK(told.third_octaves.size() == 23);
}

TEST_CASE("what lies less than 3 dB over the interface's own is limited by it, and longer takes are asked for by what is left", "[floor_reading]") {
    OpenedJob opened = job_of();
    Take& take = add_take(opened, "takes/idle.flac", Engine::idle);
    ChannelSurvey c = flat_noise();
    c.volts_full_scale = 1.0;
    const auto told = [&](double over_own_db, double relative_sd) {
        c.floor.all.unweighted = {1e-10, relative_sd * 1e-10, {}};  // -100 dBV
        opened.job.interface.own_noise_dbv = {-100 - over_own_db};
        return floor_of(survey_of(take, c), 0, opened.job);
    };
    FloorReading one = told(2.9, 0.1);
    CHECK(one.limited_by_interface);
    CHECK(one.unweighted.dbfs->limited_by == LimitedBy::interface);
    CHECK(one.unweighted.dbv->limited_by == LimitedBy::interface);
    CHECK(one.unweighted.dbv->value == Approx(-100).margin(1e-9));
    CHECK(one.unweighted.dbv->sd == Approx(decibels(1.1)).margin(1e-9));
    CHECK_FALSE(one.unweighted.interface_taken_off);
    // at 3.1 dB half is left, of which 0.1 of the whole is a fifth; at 20 dB it is a tenth, less than 0.5 dB
    one = told(3.1, 0.1);
    CHECK_FALSE(one.limited_by_interface);
    CHECK(one.unweighted.dbv->limited_by == LimitedBy::length);
    CHECK(one.unweighted.dbfs->limited_by == LimitedBy::nothing);
    CHECK(told(20, 0.1).unweighted.dbv->limited_by == LimitedBy::nothing);
    // a take of the interface's own noise is told as it is, and is all interface
    take.conditions.hookup = {Hookup::inputs_shorted};
    one = told(0.1, 0.1);
    CHECK(one.unweighted.dbv->value == Approx(-100).margin(1e-9));
    CHECK(one.unweighted.dbv->limited_by == LimitedBy::nothing);
    CHECK_FALSE(one.unweighted.interface_taken_off);
    CHECK(one.limited_by_interface);
    CHECK(one.bands_interface == InterfaceKnown::whole);
    // nothing is told of figures that weren't read, in volts of what isn't calibrated, or of silence
    CHECK_FALSE(one.a_weighted.dbfs);
    CHECK(one.quasi_peak_wants_length);
    c.volts_full_scale.reset();
    c.tones.push_back({100, 0, {1e-11, 1e-13, {}}, false});
    one = told(10, 0.1);
    CHECK(one.unweighted.dbfs);
    CHECK_FALSE(one.unweighted.dbv);
    CHECK_FALSE(one.tones.at(0).dbv);
    CHECK_FALSE(one.limited_by_interface);
    c.silent = true;
    one = told(10, 0.1);
    CHECK(one.take == "takes/idle.flac");
    CHECK_FALSE(one.unweighted.dbfs);
    CHECK(one.third_octaves.empty());
    CHECK(one.bands_interface == InterfaceKnown::nothing);
}

TEST_CASE("thirds of octaves of flat noise: the density by each band's width, in volts too", "[floor_reading]") {
    ChannelSurvey c = flat_noise();
    std::vector<FloorBand> bands = bands_of(c);
    REQUIRE(bands.size() == 23);  // the one of 4 kHz reaches to 4467 Hz
    CHECK(bands[17].nominal_hz == 1000);
    CHECK(bands[1].mid_hz == Approx(25.1189).margin(1e-4));
    const double width_hz = 1000 * (std::pow(10.0, 0.05) - std::pow(10.0, -0.05));  // IEC 61260-1
    CHECK(bands[17].level.dbfs->value == Approx(decibels(2 * kDensity * width_hz)).margin(1e-6));
    CHECK(bands[17].level.dbfs->sd == Approx(decibels(1 + 1 / std::sqrt(25 * width_hz))).margin(1e-5));
    CHECK_FALSE(bands[17].level.dbv);
    CHECK_FALSE(bands[0].few_bins);  // 4.6 Hz
    c.volts_full_scale = 4.0;
    CHECK(bands_of(c)[17].level.dbv->sd == Approx(bands[17].level.dbfs->sd).margin(1e-9));
    c.volts_full_scale_sd_db = 0.2;
    c.spectrum.effective_duration_s = 1;
    bands = bands_of(c);
    CHECK(bands[17].level.dbv->value == Approx(decibels(16 * kDensity * width_hz)).margin(1e-6));
    CHECK(bands[17].level.dbv->sd == Approx(std::hypot(bands[17].level.dbfs->sd, 0.2)).margin(1e-9));
    CHECK(bands[17].level.dbv->limited_by == LimitedBy::nothing);
    CHECK(bands[0].level.dbv->limited_by == LimitedBy::length);  // 1 / sqrt(4.6)
    for (std::size_t k = 0; k < 30; ++k) c.spectrum.density[k] = 0;
    CHECK_FALSE(bands_of(c)[0].level.dbfs);
    CHECK(bands_of(c)[5].level.dbfs);
    c.silent = true;
    CHECK(bands_of(c).empty());
}

TEST_CASE("the interface's own noise goes off each band by the last take with the inputs shorted behind the same pad", "[floor_reading]") {
    OpenedJob opened = job_of();
    Take& take = add_take(opened, "takes/idle.flac", Engine::idle, {Channel::right, Channel::left});
    take.attenuation_db = {0, 10};
    const auto short_it = [&](const std::string& file, std::vector<double> pads) {
        Take& one = add_take(opened, file, Engine::off);
        one.conditions.hookup = {Hookup::inputs_shorted};
        one.attenuation_db = std::move(pads);
    };
    const auto bands = [](const std::string& file, Channel channel, double first_dbfs, double second_dbfs, double third_dbfs) {
        FloorReading out;
        out.take = file;
        out.channel = channel;
        for (const double level : {first_dbfs, second_dbfs, third_dbfs}) {
            FloorBand band;
            band.level.dbfs = Reading{level, 0.1, {}};
            band.level.dbv = Reading{level + 12, std::hypot(0.1, 0.2), {}};
            out.third_octaves.push_back(band);
        }
        return out;
    };
    short_it("takes/early.flac", {10.2});
    short_it("takes/shorted.flac", {10.4});
    short_it("takes/other_pad.flac", {10.6});
    std::vector<FloorReading> floor{bands("takes/idle.flac", Channel::left, -100, -100, -100),
                                    bands("takes/early.flac", Channel::left, -110, -110, -110),
                                    bands("takes/shorted.flac", Channel::left, -106, -102.9, -103.1),
                                    bands("takes/other_pad.flac", Channel::left, -99, -99, -99),
                                    bands("takes/shorted.flac", Channel::right, -99, -99, -99),
                                    FloorReading{},
                                    bands("takes/lost.flac", Channel::left, 0, 0, 0)};
    floor[5].take = "takes/shorted.flac";  // silent: no bands
    const std::vector<FloorReading> before = floor;
    settle_bands(floor, opened.job);
    CHECK(floor[0].bands_interface == InterfaceKnown::by_band);
    const FloorFigure& first = floor[0].third_octaves[0].level;
    CHECK(first.interface_taken_off);
    const double left = 1 - std::pow(10.0, -0.6);
    CHECK(first.dbfs->value == -100);
    CHECK(first.dbv->value == Approx(-88 + decibels(left)).margin(1e-9));
    // relative: the band's 0.1 dB and of its fourth the 0.1 and 0.3 dB; the scale's 0.2 dB stays
    const double sd = std::hypot(std::pow(10.0, 0.01) - 1, std::pow(10.0, -0.6) * (std::pow(10.0, std::hypot(0.1, 0.3) / 10) - 1)) / left;
    CHECK(first.dbv->sd == Approx(std::hypot(decibels(1 + sd), 0.2)).margin(1e-9));
    CHECK(first.dbv->limited_by == LimitedBy::nothing);
    const FloorFigure& second = floor[0].third_octaves[1].level;
    CHECK_FALSE(second.interface_taken_off);
    CHECK(second.dbv->value == -88);
    CHECK(second.dbv->limited_by == LimitedBy::interface);
    CHECK(second.dbfs->limited_by == LimitedBy::interface);
    CHECK(floor[0].third_octaves[2].level.interface_taken_off);
    // the shorted takes themselves, and what no take of the job bears, stay
    for (std::size_t i = 1; i < floor.size(); ++i) {
        CHECK(floor[i].bands_interface == InterfaceKnown::nothing);
        for (std::size_t k = 0; k < floor[i].third_octaves.size(); ++k) {
            CHECK_FALSE(floor[i].third_octaves[k].level.interface_taken_off);
            CHECK(floor[i].third_octaves[k].level.dbv->value == before[i].third_octaves[k].level.dbv->value);
        }
    }
    // without volts: only what is hidden is told; without a level on either side: nothing
    floor = before;
    for (FloorBand& band : floor[0].third_octaves) band.level.dbv.reset();
    floor[0].third_octaves[2].level.dbfs.reset();
    settle_bands(floor, opened.job);
    CHECK(floor[0].third_octaves[0].level.interface_taken_off);
    CHECK(floor[0].third_octaves[1].level.dbfs->limited_by == LimitedBy::interface);
    CHECK_FALSE(floor[0].third_octaves[2].level.interface_taken_off);
    floor = before;
    floor[2].third_octaves[0].level.dbfs.reset();
    floor[2].third_octaves.resize(2);
    settle_bands(floor, opened.job);
    CHECK_FALSE(floor[0].third_octaves[0].level.interface_taken_off);
    CHECK_FALSE(floor[0].third_octaves[2].level.interface_taken_off);
    // no pad and one of 0 dB are the same
    opened.job.takes[0].attenuation_db = {};
    opened.job.takes[2].attenuation_db = {0.0};
    floor = before;
    settle_bands(floor, opened.job);
    CHECK(floor[0].bands_interface == InterfaceKnown::by_band);
    opened.job.takes[2].attenuation_db = {10.4};
    // a pad that only one of them has
    opened.job.takes[0].attenuation_db = {};
    floor = before;
    settle_bands(floor, opened.job);
    CHECK(floor[0].bands_interface == InterfaceKnown::nothing);
    for (const auto& [known, word] :
         {std::pair{InterfaceKnown::nothing, "nothing"}, {InterfaceKnown::whole, "whole"}, {InterfaceKnown::by_band, "by_band"}})
        CHECK(to_word(known) == word);
}

TEST_CASE("a low sample rate is warned of with where it ends", "[floor_reading]") {
    Take take;
    take.file = "takes/low.flac";
    TakeSurvey survey = survey_of(take, flat_noise());
    NoiseAnalysis out;
    survey.channels[0].floor.upper_hz = 20000;
    warn_of_band(survey, out);
    CHECK(out.warnings.empty());
    survey.channels[0].floor.upper_hz = 4000;
    warn_of_band(survey, out);
    REQUIRE(out.warnings.size() == 1);
    CHECK(out.warnings[0].code == "band_cut_short");
    CHECK(out.warnings[0].take == "takes/low.flac");
    CHECK_THAT(out.warnings[0].text,
               Catch::Matchers::Contains("takes/low.flac: 8000 samples a second") && Catch::Matchers::Contains("above 4000 Hz"));
    survey.channels.clear();
    warn_of_band(survey, out);
    CHECK(out.warnings.size() == 1);
}

TEST_CASE("the floor without its lines leaves out still lines and the bands that moving ones swept", "[floor_survey]") {
    Take take;
    TakeSurvey survey = survey_of(take, flat_noise());
    ChannelSurvey& c = survey.channels[0];
    for (const auto& [low, high] : {std::pair{998U, 1002U}, {197U, 223U}, {397U, 443U}, {2997U, 3303U}, {3997U, 4000U}})
        for (std::size_t k = low; k <= high; ++k) {
            c.spectrum.density[k] = 1000 * kDensity;
            if (low != 998) c.floor_density[k] = 500 * kDensity;  // a narrow median sees half the tone
        }
    c.lines = {line_from(998, 1002, 4e-10), line_from(190, 196.9, 5e-10), line_from(190, 197, 6e-10),
               line_from(223, 230, 7e-10),  line_from(223.1, 230, 8e-10), line_from(300, 310, 9e-10)};
    c.lines[0].mean_square_sd = 1e-10;
    c.lines[0].frequency_sd_hz = 0.01;
    // 20 times the track is 4000 Hz and more: half the rate ends it; 25 times lies beyond; a hundredth reaches below 0
    survey.families = {swept_family({{1, 3e-10}, {2, 2e-10}, {15, 1e-20}, {20, 1e-20}, {25, 1e-20}, {0.01, 1e-20}})};
    survey.families[0].lines[4].mean_square.clear();
    read_floor(survey, 0);
    // 20 to 4000 Hz of flat noise; what was swept holds the noise of a wide stretch
    CHECK(c.floor.broadband.unweighted.value == Approx(3980 * kDensity).epsilon(1e-4));
    CHECK(c.floor.all.unweighted.value == Approx((3980 + 999 * (5 + 27 + 47 + 307 + 3.5)) * kDensity).epsilon(1e-4));
    CHECK(c.floor.upper_hz == 4000);
    // strongest first; two still lines touch the first band and are its
    std::vector<double> told;
    for (const SpotTone& one : c.tones) told.push_back(one.mean_square.value);
    CHECK(told == std::vector<double>{9e-10, 8e-10, 5e-10, 4e-10, 3e-10, 2e-10});
    CHECK(c.tones[3].frequency_hz == 1000);
    CHECK(c.tones[3].frequency_sd_hz == 0.01);
    CHECK(c.tones[3].mean_square.sd == 1e-10);
    CHECK(c.tones[3].mean_square.limited_by == LimitedBy::noise);  // by a quarter: 0.97 dB
    CHECK(c.tones[0].mean_square.limited_by == LimitedBy::nothing);
    CHECK_FALSE(c.tones[3].wanders);
    CHECK(c.tones[5].wanders);
    CHECK(c.tones[5].frequency_hz == 420);
    CHECK(c.tones[5].frequency_sd_hz == Approx(0.04 * 420));
    // noise of 7 bins, and its beating with the line, over 25 s
    CHECK(c.tones[5].mean_square.sd == Approx(std::sqrt(kDensity * (7 * kDensity + 4e-10) / 25)).epsilon(1e-4));
}

TEST_CASE("a swept band reaches three bins beyond the track at either end", "[floor_survey]") {
    Take take;
    TakeSurvey survey = survey_of(take, flat_noise());
    ChannelSurvey& c = survey.channels[0];
    c.spectrum.length = 4000;  // bins of 2 Hz
    c.spectrum.density.resize(2001);
    c.floor_density.resize(2001);
    c.lines = {line_from(190, 194, 1e-10), line_from(190, 193.9, 2e-10), line_from(226, 230, 3e-10), line_from(226.1, 230, 4e-10)};
    survey.families = {swept_family({{1, 0}})};
    read_floor(survey, 0);
    REQUIRE(c.tones.size() == 2);
    CHECK(c.tones[0].mean_square.value == 4e-10);
    CHECK(c.tones[1].mean_square.value == 2e-10);
}

TEST_CASE("a moving line is told from three standard deviations on, unless it is the skirt of one 30 dB stronger", "[floor_survey]") {
    Take take;
    const auto told = [&](std::vector<std::pair<double, double>> lines, bool silent = false, std::size_t length = 8000) {
        TakeSurvey survey = survey_of(take, flat_noise());
        survey.channels[0].silent = silent;
        survey.channels[0].spectrum.length = length;
        survey.channels[0].spectrum.density.resize(length / 2 + 1);
        survey.channels[0].floor_density.resize(length / 2 + 1);
        survey.families = {swept_family(lines)};
        survey.families[0].ridge.track = {};  // swept nothing that is known
        read_floor(survey, 0);
        CHECK(survey.channels[0].floor.broadband.unweighted.value == Approx(3980 * kDensity).epsilon(1e-9));
        return survey.channels[0].tones.size();
    };
    // m = 3 sqrt(S (7 S + 2 m) / 25 s): with m = x S, x² = 0.36 (7 + 2 x), x = 1.988
    CHECK(told({{1, 1.98 * kDensity}}) == 0);
    CHECK(told({{1, 2.0 * kDensity}}) == 1);
    CHECK(told({{1, 1e-8}, {1.029, 0.99e-11}}) == 1);
    CHECK(told({{1, 1e-8}, {1.029, 1.01e-11}}) == 2);
    CHECK(told({{1, 1e-8}, {1.032, 0.99e-11}}) == 2);
    CHECK(told({{1, 1e-8}, {0.972, 0.99e-11}}) == 1);
    CHECK(told({{1, 1e-8}, {0.96, 0.99e-11}}) == 2);
    CHECK(told({{1, 1e-8}}, true) == 0);
    // three per cent of its own ratio
    CHECK(told({{2, 1e-8}, {2.058, 0.99e-11}}) == 1);
    CHECK(told({{2, 1e-8}, {2.065, 0.99e-11}}) == 2);
    // bins of 2 Hz: x² = 0.36 (14 + 2 x), x = 2.634
    CHECK(told({{1, 2.62 * kDensity}}, false, 4000) == 0);
    CHECK(told({{1, 2.65 * kDensity}}, false, 4000) == 1);
}
