#include "../../../src/diagnose/sources/noise_pictures.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/even_survey.hpp"

using namespace hushtrace;
using namespace even_survey;

namespace {

constexpr double kNoise = 1e-14;   // full scale squared per hertz

/// What a bin of 1 Hz reads, taken for a tone: its density times the window's 1.5 Hz, against a full-scale sine's 1/2.
double reads_dbfs(double density) { return 10 * std::log10(2 * 1.5 * density); }

NoiseSource source_in(const std::string& take, NoiseKind kind, double frequency_hz) {
    NoiseSource source;
    source.id = std::string(to_word(kind)) + "-1";
    source.kind = kind;
    source.frequency_hz = frequency_hz;
    source.levels.emplace_back().take = take;
    return source;
}

SourceTrace trace_of(const std::string& id, const std::vector<double>& track_hz, const std::vector<double>& ratios = {1.0}) {
    SourceTrace trace;
    trace.source_id = id;
    trace.take = "takes/it.wav";
    for (std::size_t i = 0; i < track_hz.size(); ++i) trace.track.time_s.push_back(0.1 * static_cast<double>(i));
    trace.track.frequency_hz = track_hz;
    trace.ratios = ratios;
    return trace;
}

struct Pictured : MadeTake {
    NoiseAnalysis analysis;
    Pictured() : MadeTake("takes/it.wav", Engine::idle, 2, kNoise) {}
    PowerSpectrum& spectrum() { return survey.channels[0].spectrum; }
    TakePicture picture(std::size_t channel = 0) const { return picture_of(survey, channel, analysis); }
};

}  // namespace

TEST_CASE("a take's picture holds its channel's spectrum, map and the engine's leading line", "[pictures]") {
    Pictured it;
    ChannelSurvey& right = it.survey.channels[1];
    right.volts_full_scale = 8.0;
    right.column_s = 0.25;
    right.spectrogram_bin_hz = 12.5;
    right.spectrogram_dbfs = {{-80.0f, -70.0f}, {-60.0f, -50.0f}};
    right.spectrum.density[700] = 1e-8;
    right.spectrum.density[701] = 0;
    for (const double hz : {1200.0, 600.0}) it.survey.families.push_back(family_of(hz, 0.01, {{1, 1e-6}}));
    const TakePicture picture = it.picture(1);
    CHECK(picture.take == "takes/it.wav");
    CHECK(picture.channel == Channel::right);
    CHECK(picture.volts_full_scale == 8.0);
    CHECK(picture.bin_hz == 1.0);
    REQUIRE(picture.line_dbfs.size() == 12001);
    CHECK(picture.line_dbfs[0] == Approx(reads_dbfs(kNoise)));
    CHECK(picture.line_dbfs[699] == Approx(reads_dbfs(kNoise)));
    CHECK(picture.line_dbfs[700] == Approx(reads_dbfs(1e-8)));
    CHECK(picture.line_dbfs[701] == Approx(10 * std::log10(2e-20)));   // silence has a number
    CHECK(picture.column_s == 0.25);
    CHECK(picture.spectrogram_bin_hz == 12.5);
    CHECK(picture.spectrogram_dbfs == right.spectrogram_dbfs);
    const Track& leading = it.survey.families[0].ridge.track;
    REQUIRE(picture.track.size() == leading.time_s.size());
    CHECK(picture.track[7] == std::pair{leading.time_s[7], leading.frequency_hz[7]});
    CHECK(picture.lines.empty());
    CHECK(picture.tracks.empty());
    CHECK(!picture.orders);
    Pictured still;
    CHECK(still.picture().track.empty());
}

TEST_CASE("findings that move are drawn over time, by no more points and lines than can be seen", "[pictures]") {
    Pictured it;
    it.analysis.noise_sources = {source_in("takes/it.wav", NoiseKind::motor_whine, 800)};
    it.analysis.traces = {trace_of("motor_whine-1", {800, 810, 790}, {}), trace_of("gone-7", {500, 510}, {1, 2}),
                          trace_of("motor_whine-1", {}, {}), trace_of("motor_whine-1", {800, 800}), trace_of("motor_whine-1", {800, 810})};
    it.analysis.traces[1].click_profile = {1.0, 0.0};
    it.analysis.traces[3].steady = true;
    it.analysis.traces[4].take = "takes/other.wav";
    const TakePicture picture = it.picture();
    REQUIRE(picture.tracks.size() == 2);
    CHECK(picture.tracks[0].source_id == "motor_whine-1");
    CHECK(picture.tracks[0].label == "electric motor whine");
    CHECK_FALSE(picture.tracks[0].clicks);
    CHECK(picture.tracks[0].ratios == std::vector{1.0});
    const std::vector<std::pair<double, double>> points = {{0.0, 800}, {0.1, 810}, {0.2, 790}};
    CHECK(picture.tracks[0].points == points);
    CHECK(picture.tracks[1].label == "gone-7");
    CHECK(picture.tracks[1].clicks);
    CHECK(picture.tracks[1].ratios == std::vector{1.0, 2.0});
    // 400 points at most: every second of 400 to 799
    for (const auto& [points_of_track, drawn] : {std::pair{399u, 399u}, {400u, 200u}, {799u, 400u}, {800u, 267u}}) {
        it.analysis.traces = {trace_of("motor_whine-1", std::vector<double>(points_of_track, 800.0))};
        CHECK(it.picture().tracks[0].points.size() == drawn);
    }
    // eight lines at most, those nearest to the line itself on a scale of octaves
    it.analysis.traces = {trace_of("motor_whine-1", {800, 810}, {0.1, 0.5, 0.6, 1, 2, 3, 4, 5, 6, 7})};
    CHECK(it.picture().tracks[0].ratios == std::vector{0.5, 0.6, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0});
    it.analysis.traces = {trace_of("motor_whine-1", {800, 810}, {8, 1, 2, 3, 4, 5, 6, 7})};
    CHECK(it.picture().tracks[0].ratios == std::vector{8.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0});
}

TEST_CASE("a finding is marked at the strongest bin near its place, in the takes and channels that hold it", "[pictures]") {
    const auto marked_level = [](double frequency_hz, double at_hz) {
        Pictured it;
        it.spectrum().density[it.spectrum().bin_of(at_hz)] = 1e-8;
        it.analysis.noise_sources = {source_in("takes/it.wav", NoiseKind::mains_hum, frequency_hz)};
        const TakePicture picture = it.picture();
        REQUIRE(picture.lines.size() == 1);
        CHECK(picture.lines[0].frequency_hz == frequency_hz);
        CHECK(picture.lines[0].source_id == "mains_hum-1");
        return picture.lines[0].level_dbfs;
    };
    // 0.2 % either way, 2 Hz at least
    for (const auto& [frequency_hz, at_hz, seen] : {std::tuple{500.0, 500.0, true}, {500.0, 502.0, true}, {500.0, 498.0, true}, {500.0, 503.0, false},
                                                    {500.0, 497.0, false}, {5000.0, 5010.0, true}, {5000.0, 4990.0, true}, {5000.0, 5011.0, false},
                                                    {5000.0, 4989.0, false}, {12000.0, 12000.0, true}}) {
        INFO(frequency_hz << " Hz, line at " << at_hz);
        CHECK(marked_level(frequency_hz, at_hz) == Approx(reads_dbfs(seen ? 1e-8 : kNoise)).margin(1e-4));
    }
    Pictured it;
    it.analysis.noise_sources = {source_in("takes/it.wav", NoiseKind::alternator_whine, 1240.4)};
    CHECK(it.picture().lines[0].label == "alternator whine, 1240 Hz");
    CHECK(it.picture(1).lines.empty());
    it.analysis.noise_sources[0].levels[0].channel = Channel::right;
    CHECK(it.picture().lines.empty());
    CHECK(it.picture(1).lines.size() == 1);
    it.analysis.noise_sources[0].levels[0].take = "takes/other.wav";
    CHECK(it.picture(1).lines.empty());
    // no lines of a spectrum
    for (const NoiseKind kind : {NoiseKind::hiss, NoiseKind::ignition_tick, NoiseKind::periodic_tick}) {
        it.analysis.noise_sources = {source_in("takes/it.wav", kind, 100)};
        CHECK(it.picture().lines.empty());
    }
    it.analysis.noise_sources = {source_in("takes/it.wav", NoiseKind::unexplained_tone, 100)};
    CHECK(it.picture().lines.size() == 1);
    it.analysis.noise_sources[0].frequency_hz.reset();
    CHECK(it.picture().lines.empty());
}

TEST_CASE("a finding that was followed is marked at its own lines in this take, as far as it strayed", "[pictures]") {
    Pictured it;
    NoiseSource source = source_in("takes/it.wav", NoiseKind::alternator_whine, 9000);   // in its loudest take
    it.analysis.noise_sources = {source};
    // a mean of 1250 Hz, 40 Hz above it at most and 20 below: 3.2 % either way
    const std::vector<double> track = {1230, 1230, 1290};
    const auto levels = [&](double line_hz, double density, const std::vector<double>& ratios) {
        it.spectrum() = even_spectrum(kNoise);
        it.spectrum().density[it.spectrum().bin_of(line_hz)] = density;
        it.analysis.traces = {trace_of("other-1", {300, 310}), trace_of(source.id, track, ratios), trace_of(source.id, {700, 710})};
        std::vector<std::pair<double, double>> out;
        for (const MarkedLine& line : it.picture().lines) out.emplace_back(line.frequency_hz, line.level_dbfs);
        return out;
    };
    for (const auto& [line_hz, seen] : {std::pair{1250.0, true}, {1289.0, true}, {1211.0, true}, {1291.0, false}, {1209.0, false}}) {
        const auto marked = levels(line_hz, 1e-8, {1.0, 2.0});
        REQUIRE(marked.size() == 1);   // nothing stands out at twice that
        CHECK(marked[0].first == Approx(1250));
        CHECK(marked[0].second == Approx(reads_dbfs(seen ? 1e-8 : kNoise)).margin(1e-4));
    }
    // beside the leading line, what stands 10 dB over the noise round it
    for (const auto& [ratio, line_hz, over_db, count] : {std::tuple{2.0, 2578.0, 10.2, 2u}, {2.0, 2500.0, 9.8, 1u}, {0.5, 643.0, 10.2, 2u},
                                                         {2.0, 2583.0, 30.0, 1u}}) {
        const auto marked = levels(line_hz, kNoise * std::pow(10, over_db / 10), {1.0, ratio});
        INFO(line_hz << " Hz, " << over_db << " dB");
        REQUIRE(marked.size() == count);
        if (count == 2) CHECK(marked.back().first == Approx(ratio * 1250));
        if (count == 2) CHECK(marked.back().second == Approx(reads_dbfs(kNoise) + over_db).margin(1e-4));
    }
    // the leading line needs not be among those that were told
    CHECK(levels(2500, 1e-8, {2.0}).size() == 2);
    CHECK(it.picture().lines[0].frequency_hz == Approx(1250));
    CHECK(levels(2500, 1e-8, {1.0005, 2.0}).size() == 2);
    CHECK(levels(2500, 1e-8, {1.002, 2.0}).size() == 2);   // 1.002 is none
    // the noise round a line is the middle one of the 501 bins within a tenth of its frequency: 251 raise it, 250 don't
    for (const auto& [from, to, count] : {std::tuple{2375u, 2626u, 1u}, {2375u, 2625u, 2u}, {2250u, 2501u, 1u}, {2500u, 2751u, 1u},
                                          {2500u, 2750u, 2u}}) {
        it.spectrum() = even_spectrum(kNoise);
        for (unsigned k = from; k < to; ++k) it.spectrum().density[k] = 100 * kNoise;
        it.analysis.traces = {trace_of(source.id, track, {1.0, 2.0})};
        CHECK(it.picture().lines.size() == count);
    }
    // eight lines at most
    it.spectrum() = even_spectrum(kNoise);
    std::vector<double> ratios;
    for (int n = 1; n <= 9; ++n) {
        ratios.push_back(n);
        it.spectrum().density[static_cast<std::size_t>(1250 * n)] = 1e-8;
    }
    it.analysis.traces = {trace_of(source.id, track, ratios)};
    REQUIRE(it.picture().lines.size() == 8);
    CHECK(it.picture().lines.back().frequency_hz == Approx(8 * 1250));
    // a place so low that nothing lies round it has no noise to stand out of
    it.analysis.traces = {trace_of(source.id, track, {1.0, 0.0008})};
    CHECK(it.picture().lines.size() == 1);
}

TEST_CASE("the map over cycles is that of the alternator, or else of the loudest", "[pictures]") {
    Pictured it;
    for (const double wander : {0.01, 0.02, 0.03}) {
        it.survey.families.push_back(family_of(1000, wander, {{1, 1e-6}}));
        it.survey.orders.emplace_back().map.level_dbfs = {{static_cast<float>(-100 * wander)}};
    }
    const auto traced = [](const std::string& id, std::size_t family) {
        SourceTrace trace = trace_of(id, {1000, 1010});
        trace.family = family;
        trace.family_ratio = 0.5 + static_cast<double>(family);
        return trace;
    };
    it.analysis.noise_sources = {source_in("takes/it.wav", NoiseKind::alternator_whine, 1000), source_in("takes/it.wav", NoiseKind::motor_whine,
        1000)};
    it.analysis.noise_sources[0].engine_order = 16.2;
    it.analysis.noise_sources[1].engine_order = 3.3;
    const auto told = [&](std::vector<SourceTrace> traces) {
        it.analysis.traces = std::move(traces);
        const auto orders = it.picture().orders;
        return orders ? orders->source_id : std::string();
    };
    CHECK(told({traced("motor_whine-1", 0), traced("alternator_whine-1", 1), traced("motor_whine-1", 2)}) == "alternator_whine-1");
    const PictureOrders orders = *it.picture().orders;
    CHECK(orders.label == "alternator whine");
    CHECK(orders.reference_ratio == 1.5);
    CHECK(orders.reference_order == 16.2);
    CHECK(orders.wander == 0.02);
    CHECK(orders.map.level_dbfs == it.survey.orders[1].map.level_dbfs);
    CHECK(told({traced("motor_whine-1", 0), traced("motor_whine-2", 1)}) == "motor_whine-1");
    CHECK(told({traced("alternator_whine-1", 0), traced("alternator_whine-2", 1)}) == "alternator_whine-1");
    CHECK(told({traced("motor_whine-2", 2)}) == "motor_whine-2");
    CHECK(!it.picture().orders->reference_order);   // no source of that name
    CHECK(!it.picture(1).orders);   // it was followed in the other channel
    CHECK(told({traced("motor_whine-1", 3)}).empty());
    CHECK(told({trace_of("motor_whine-1", {1000, 1010})}).empty());
    SourceTrace elsewhere = traced("motor_whine-1", 0);
    elsewhere.take = "takes/other.wav";
    CHECK(told({elsewhere}).empty());
    it.survey.orders[0].map.level_dbfs.clear();
    CHECK(told({traced("motor_whine-1", 0)}).empty());
}
