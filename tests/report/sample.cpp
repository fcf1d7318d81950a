#include "sample.hpp"

#include <random>

#include "hushtrace/signal/decibel.hpp"

namespace sample {
using namespace hushtrace;

namespace {

constexpr double kVoltsFullScale = 7.0;

Take take(const std::string& file, Engine engine, std::optional<double> rpm) {
    Take made;
    made.file = file;
    made.channels = {Channel::left, Channel::right};
    made.conditions.engine = engine;
    made.conditions.rpm = rpm;
    made.conditions.volume = 12;
    made.conditions.source = SourceState::on;
    made.conditions.loads = {"headlights"};
    made.conditions.laptop = LaptopPower::battery;
    return made;
}

Evidence fact(const std::string& text, double value, const std::string& unit, std::optional<double> sd) {
    Evidence made;
    made.text = text;
    made.value = value;
    made.unit = unit;
    made.sd = sd;
    made.takes = {"takes/idle.flac"};
    return made;
}

NoiseSource source(const std::string& id, NoiseKind kind, double frequency_hz, double level_dbfs,
                   double confidence) {
    NoiseSource made;
    made.id = id;
    made.kind = kind;
    made.frequency_hz = frequency_hz;
    made.frequency_sd_hz = 0.4;
    made.level_dbfs = level_dbfs;
    made.level_dbv = dbv_from_dbfs(level_dbfs, kVoltsFullScale);
    made.confidence = confidence;
    made.channels = {Channel::left, Channel::right};
    made.takes = {"takes/idle.flac"};
    made.levels = {{"takes/idle.flac", Channel::left, made.level_dbfs, made.level_dbv, 0.3, {}},
                   {"takes/idle.flac", Channel::right, level_dbfs - 0.7, *made.level_dbv - 0.7, 0.3, {}}};
    for (int n = 1; n <= 3; ++n)
        made.harmonics.push_back(
            {double(n), n * frequency_hz, level_dbfs - 8.0 * (n - 1), *made.level_dbv - 8.0 * (n - 1)});
    return made;
}

}  // namespace

OpenedJob job() {
    OpenedJob opened;
    opened.folder = "estate";
    opened.job.title = "Estate car, whine in both front speakers";
    opened.job.date = "2026-01-31";
    opened.job.complaint = "Whistles with the engine, louder with the lights on";
    opened.job.vehicle.description = "estate car, four cylinders";
    opened.job.vehicle.cylinders = 4;
    opened.job.source.description = "head unit with line outputs";
    opened.job.interface.volts_full_scale = {kVoltsFullScale, kVoltsFullScale};
    opened.job.takes = {take("takes/off.flac", Engine::off, std::nullopt),
                        take("takes/idle.flac", Engine::idle, 760.0),
                        take("takes/steps.flac", Engine::off, std::nullopt)};
    opened.job.takes[2].tone = PlayedTone{Sine{997.0, 0.0}, ToneVia::stick};
    opened.job.takes[2].volume_steps = {28, 29, 30, 31, 32, 33};
    opened.job.takes[1].marks = {{4.2, "lights on"}};
    Observation drop;
    drop.what = "ground_drop";
    drop.value = 0.08;
    drop.unit = "V";
    drop.conditions.engine = Engine::raised;
    opened.job.observations = {drop};
    opened.warnings = {
        {"unknown_field", "job.json: 'colour' is not a field that is known; kept as it is", std::nullopt}};
    return opened;
}

TakePicture picture(const std::string& take, Channel channel, bool engine_runs) {
    TakePicture made;
    made.take = take;
    made.channel = channel;
    made.volts_full_scale = kVoltsFullScale;
    made.bin_hz = 48000.0 / 32768.0;
    std::mt19937 random(7);
    std::exponential_distribution<double> power(1.0);
    for (std::size_t bin = 0; bin <= 16384; ++bin)
        made.line_dbfs.push_back(float(-118.0 + 10.0 * std::log10(0.05 + power(random)) +
                                       20.0 * std::exp(-double(bin) * made.bin_hz / 150.0)));
    const auto tone = [&](double hz, double dbfs, const std::string& id, const std::string& label) {
        const auto bin = std::size_t(std::lround(hz / made.bin_hz));
        made.line_dbfs[bin] = float(dbfs);
        made.line_dbfs[bin + 1] = made.line_dbfs[bin - 1] = float(dbfs - 6.0);
        made.lines.push_back({hz, dbfs, id, label});
    };
    for (int n = 1; n <= 7; n += 2) tone(50.0 * n, -82.0 - 3.0 * n, "hum-1", "mains hum");
    if (engine_runs)
        for (int n = 1; n <= 4; ++n) tone(1231.2 * n, -62.0 - 8.0 * (n - 1), "whine-1", "alternator whine");
    made.column_s = 0.1;
    made.spectrogram_bin_hz = 48000.0 / 2048.0;
    for (int column = 0; column < 300; ++column) {
        std::vector<float> bins;
        for (int bin = 0; bin <= 1024; ++bin)
            bins.push_back(float(-112.0 + 10.0 * std::log10(0.1 + power(random))));
        const double wander = 1231.2 * (1.0 + 0.03 * std::sin(column / 25.0));
        if (engine_runs) {
            for (int n = 1; n <= 4; ++n)
                bins[std::size_t(std::lround(n * wander / made.spectrogram_bin_hz))] =
                    float(-62.0 - 8.0 * (n - 1));
            made.track.emplace_back(column * made.column_s, wander);
        }
        made.spectrogram_dbfs.push_back(std::move(bins));
    }
    return made;
}

NoiseAnalysis noise() {
    NoiseAnalysis made;
    made.noise_sources = {source("whine-1", NoiseKind::alternator_whine, 1231.2, -61.5, 0.96),
                          source("hum-1", NoiseKind::mains_hum, 50.0, -85.0, 0.72)};
    made.noise_sources[0].engine_order = 97.2;
    made.noise_sources[0].evidence = {
        fact("The line is there with the engine at idle and gone with it off", 51.0, "dB", 1.0),
        fact("It follows the engine's speed.", 0.998, "correlation", std::nullopt)};
    made.entry_paths = {
        {"whine-1",
         {"ground_loop"},
         std::nullopt,
         0.82,
         {fact("Both channels are alike", 0.7, "dB", 0.3)},
         {}},
        {"whine-1", {"cable_pickup"}, "loop", 0.18, {}, {fact("The lead is short", 1.0, "m", std::nullopt)}},
        {"hum-1", {"measuring_setup"}, std::nullopt, 1.0, {}, {}}};
    made.health = {{"diode_open", "The lines below the whine are strong.", 0.55}};
    made.actions = {{"Move the source's ground to the amplifier's ground point.",
                     "The two grounds differ by the loop's voltage.", "whine-1", -25.0, 5.0},
                    {"Run the laptop on its battery.", "The hum comes with the mains adapter.", "hum-1",
                     std::nullopt, std::nullopt}};
    for (const char* file : {"takes/off.flac", "takes/idle.flac"})
        for (const Channel channel : {Channel::left, Channel::right}) {
            FloorReading floor;
            floor.take = file;
            floor.channel = channel;
            const auto figure = [](double dbfs) {
                FloorFigure made_up;
                made_up.dbfs = Reading{dbfs, 0.05, LimitedBy::nothing};
                made_up.dbv = Reading{dbv_from_dbfs(dbfs, kVoltsFullScale), 0.05, LimitedBy::nothing};
                return made_up;
            };
            floor.unweighted = figure(-98.0);
            floor.broadband = figure(-99.0);
            floor.a_weighted = figure(-101.0);
            floor.c_weighted = figure(-98.5);
            floor.itu468 = figure(-95.0);
            if (std::string(file) == "takes/off.flac") floor.unweighted.dbv->limited_by = LimitedBy::interface;
            floor.tones = {{50.0, {-100.0, 0.1, LimitedBy::nothing}, {}, false}};
            floor.limited_by_interface = std::string(file) == "takes/off.flac";
            made.floor.push_back(floor);
            made.pictures.push_back(picture(file, channel, std::string(file) == "takes/idle.flac"));
        }
    made.takes = {"takes/off.flac", "takes/idle.flac"};
    made.warnings = {
        {"take_unreadable", "takes/bad.flac: cut short after 0.1 s; left out", "takes/bad.flac"}};
    return made;
}

GainAnalysis gain() {
    GainAnalysis made;
    made.ceiling_text = "Stay at volume 31 or below: one step further the source clips.";
    for (const Channel channel : {Channel::left, Channel::right}) {
        StepCurve curve;
        curve.take = "takes/steps.flac";
        curve.channel = channel;
        curve.tone_hz = 997.0;
        for (std::size_t i = 0; i < 6; ++i) {
            VolumeStep step;
            step.number = i + 1;
            step.volume = 28.0 + double(i);
            step.start_s = 3.0 * double(i), step.end_s = step.start_s + 2.5;
            step.level_dbfs = -9.0 + 1.5 * double(i);
            step.level_v = volts_from_dbv(dbv_from_dbfs(step.level_dbfs, kVoltsFullScale));
            step.thd_percent = i < 4 ? 0.02 + 0.01 * double(i)
                                     : (i == 4 ? 3.4 : 11.0) + (channel == Channel::right ? 0.6 : 0.0);
            step.thd_noise_percent = step.thd_percent + 0.01;
            step.thd_sd_percent = 0.002;
            step.harmonics_counted = channel == Channel::left ? 19 : 6;
            step.harmonics_missing = channel == Channel::left ? 0 : 13;
            curve.steps.push_back(step);
        }
        const VolumeStep& top = curve.steps[3];
        curve.ceiling = Ceiling{top.volume, top.number, top.level_v, top.level_dbfs, top.thd_percent,
                                3.4,        channel,    997.0,       curve.take, {}};
        made.curves.push_back(curve);
    }
    made.ceiling = made.curves[0].ceiling;
    made.amplifiers = {{"sub", 31.62, 2.36, 2.36, 22.5, -68.0, 21.0, {}, {}},
                       {"front",
                        20.0,
                        2.36,
                        7.1,
                        std::nullopt,
                        std::nullopt,
                        std::nullopt,
                        {"outside the amplifier's range 0.2 to 6 V"}, {}}};
    made.takes = {"takes/steps.flac"};
    return made;
}

NoiseAnalysis uncalibrated(NoiseAnalysis analysis) {
    for (NoiseSource& one : analysis.noise_sources) {
        one.level_dbv.reset();
        for (LevelInTake& level : one.levels) level.level_dbv.reset();
        for (Harmonic& harmonic : one.harmonics) harmonic.level_dbv.reset();
    }
    for (FloorReading& one : analysis.floor)
        for (FloorFigure* figure : {&one.unweighted, &one.broadband, &one.a_weighted, &one.c_weighted, &one.itu468})
            figure->dbv.reset();
    for (TakePicture& one : analysis.pictures) one.volts_full_scale.reset();
    return analysis;
}

}  // namespace sample
