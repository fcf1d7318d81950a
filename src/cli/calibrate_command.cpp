#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command.hpp"
#include "hushtrace/job/calibration.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/job/percent_text.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "job_summary.hpp"
#include "json_document.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;

constexpr double kSameScale_db = 0.5;  // a scale that moved by more belongs to another setting of the knob
constexpr double kPoorReading_percent = 10; // 95 %: every level is then 1 dB unsure
constexpr const char* kKnobCaution =
    "This holds until an input knob, a gain switch or the interface changes.";

struct CalibrateOptions {
    std::string folder;
    std::optional<std::string> take, volts, meter_accuracy, channel, frequency, meter_good_to, floor;
    std::vector<std::string> volts_full_scale;
    bool json = false;
};

/// What was done, as text and as JSON.
struct Outcome {
    OpenedJob opened;
    std::string text;
    Json input = Json::object(), results = Json::object();
    std::vector<Warning> warnings;
};

/// The job's take of that name; "idle.flac" is found as "takes/idle.flac" too.
Take take_named(const OpenedJob& opened, const std::string& name) {
    const auto normal = std::filesystem::path(name).lexically_normal();
    for (const auto& wanted : {normal, "takes" / normal})
        for (const Take& take : opened.job.takes)
            if (std::filesystem::path(take.file).lexically_normal() == wanted) return take;
    refuse(fmt::format("{}: is no take of this job; capture it, or bring it in with hushtrace job --add",
                       in_quotes(name)));
}

void note_oddity(const TakeReader& sound, const Take& take, std::vector<Warning>& warnings) {
    if (!sound.oddity().empty())
        warnings.push_back({"take_cut_short", fmt::format("{}: {}", take.file, sound.oddity()), take.file});
}

/// "1.5", "1.5%", "1.2%+3": percent of the reading, counts of the last digit.
MeterAccuracy accuracy_from(std::string text) {
    MeterAccuracy accuracy;
    accuracy.counts = 0;
    if (const auto plus = text.find('+'); plus != std::string::npos) {
        accuracy.counts = number_from("--meter-accuracy", std::string_view(text).substr(plus + 1));
        text.resize(plus);
    }
    while (!text.empty() && (text.back() == '%' || text.back() == ' ')) text.pop_back();
    accuracy.percent = number_from("--meter-accuracy", std::string_view(text));
    if (accuracy.percent < 0 || accuracy.percent > 50 || accuracy.counts < 0 || accuracy.counts > 1000)
        refuse("--meter-accuracy: percent of the reading, from 0 to 50, and counts of the last digit: 1.2%+3");
    return accuracy;
}

/// What the last digit of a typed number is worth: 0.001 of "1.234".
double last_digit(const std::string& typed) {
    const auto point = typed.find('.');
    if (point == std::string::npos) return 1;
    std::size_t digits = 0;
    while (point + 1 + digits < typed.size() && std::isdigit(static_cast<unsigned char>(typed[point + 1 + digits])))
        ++digits;
    return std::pow(10.0, -static_cast<double>(digits));
}

/// The meter's accuracy: as given, as answered, or a plain meter's with a warning.
MeterAccuracy meter_accuracy(const CalibrateOptions& options, std::vector<Warning>& warnings) {
    if (options.meter_accuracy) return accuracy_from(*options.meter_accuracy);
    if (::isatty(STDIN_FILENO) != 0 && ::isatty(STDERR_FILENO) != 0 && !options.json) {
        fmt::print(stderr, "The meter's accuracy on its ac range, from its data sheet (such as 1.2%+3; Enter if not known): ");
        std::string answer;
        if (std::getline(std::cin, answer) && !answer.empty()) return accuracy_from(answer);
    }
    const MeterAccuracy plain;
    warnings.push_back({"meter_accuracy_assumed",
                        fmt::format("the meter's accuracy was not given: {:g} % and {:g} counts are assumed, as plain "
                                    "meters have (--meter-accuracy)",
                                    plain.percent, plain.counts),
                        std::nullopt});
    return plain;
}

/// Puts a scale into the job. A floor that was read at another scale no longer holds.
void store_scale(Job& job, std::size_t index, double volts, std::optional<double> sd_db,
                 std::vector<Warning>& warnings) {
    auto& scale = job.interface.volts_full_scale;
    auto& sd = job.interface.volts_full_scale_sd_db;
    if (sd.size() <= index && sd_db) sd.resize(index + 1);
    if (index < sd.size()) sd[index] = sd_db;
    if (scale.size() <= index) scale.resize(index + 1);
    const bool moved =
        scale[index] && std::abs(decibels_from_amplitude(volts / *scale[index])) > kSameScale_db;
    scale[index] = volts;
    bool forgotten = false;
    for (const OwnNoiseField& field : kOwnNoiseFields) {
        auto& floor = job.interface.*field.values;
        if (!moved || index >= floor.size() || !floor[index]) continue;
        floor[index].reset();
        forgotten = true;
    }
    if (!forgotten) return;
    warnings.push_back(
        {"floor_void",
         fmt::format("input {} had another scale before: its own noise was forgotten, read the floor again",
                     index + 1),
         std::nullopt});
}

Json numbers_or_nulls(const std::vector<std::optional<double>>& values) {
    Json list = Json::array();
    for (const auto& value : values) list.push_back(value ? Json(*value) : Json());
    return list;
}

std::string zero_dbfs_in_words(double volts_full_scale) {
    const double volts_rms = volts_full_scale / std::sqrt(2.0);
    return fmt::format("{:.4g} V at full scale; a sine of 0 dBFS is {:.4g} V ({:+.2f} dBV)", volts_full_scale,
                       volts_rms, decibels_from_amplitude(volts_rms));
}

/// Seven figures carry more than any meter, and read well.
double rounded(double value) {
    return std::stod(fmt::format("{:.7g}", value));
}

void put_limits(Json& to, const std::string& name, double sd, LimitedBy limit) {
    to[name + "_sd"] = sd;
    to[name + "_limited_by"] = std::string(to_word(limit));
}

Outcome by_meter(const CalibrateOptions& options) {
    Outcome outcome;
    if (!options.volts) refuse("--volts: what did the meter read? Such as --volts 1.234");
    CalibrationRequest request;
    request.volts = number_from("--volts", std::string_view(*options.volts));
    if (options.frequency)
        request.frequency_hz = number_from("--frequency", std::string_view(*options.frequency));
    if (options.meter_good_to)
        request.meter_good_to_hz = number_from("--meter-good-to", std::string_view(*options.meter_good_to));
    request.channel = word_from<Channel>("--channel", options.channel);
    if (!(request.volts > 0)) refuse(fmt::format("--volts: {} V is no meter reading", request.volts));
    request.meter_sd_percent =
        meter_sd_percent(meter_accuracy(options, outcome.warnings), request.volts, last_digit(*options.volts));

    if (2 * request.meter_sd_percent > kPoorReading_percent)
        outcome.warnings.push_back(
            {"meter_coarse",
             fmt::format("{} V is read to {} only: type every digit that the meter shows; if that was all, take its lower range, "
                         "or play the tone louder, and read again",
                         *options.volts, percent_text(2 * request.meter_sd_percent)),
             std::nullopt});

    outcome.opened = open_job(options.folder);
    const Take take = take_named(outcome.opened, *options.take);
    TakeReader sound(take_path(outcome.opened, take));
    const Calibration calibration = calibrate(sound, take, request);
    outcome.warnings.insert(outcome.warnings.end(), calibration.warnings.begin(), calibration.warnings.end());
    note_oddity(sound, take, outcome.warnings);
    outcome.opened = change_job(options.folder, [&](Job& job) {
        for (const ChannelCalibration& one : calibration.channels)
            store_scale(job, one.index, rounded(one.volts_full_scale), rounded(one.volts_full_scale_sd_db),
                        outcome.warnings);
    });

    outcome.input = {{"take", take.file}, {"volts", request.volts}, {"frequency_hz", request.frequency_hz}};
    outcome.results["channels"] = Json::array();
    for (const ChannelCalibration& one : calibration.channels) {
        outcome.text += fmt::format("input {} ({}): {}\n", one.index + 1, to_word(one.channel),
                                    zero_dbfs_in_words(one.volts_full_scale));
        outcome.text += fmt::format("  good to {} (95 %), {:.2g} dB: the meter's share is {}\n",
                                    percent_text(200 * (amplitude_from_decibels(one.volts_full_scale_sd_db) - 1)),
                                    2 * one.volts_full_scale_sd_db, percent_text(2 * request.meter_sd_percent));
        outcome.text +=
            fmt::format("  from {:.4g} V at {:.1f} Hz, {:.2f} dBFS, steady from {:.1f} to {:.1f} s\n",
                        request.volts, one.frequency_hz, one.level_dbfs, one.from_s, one.to_s);
        outcome.results["channels"].push_back({{"input", one.index + 1},
                                               {"channel", to_word(one.channel)},
                                               {"volts_full_scale", rounded(one.volts_full_scale)},
                                               {"volts_full_scale_sd_db", rounded(one.volts_full_scale_sd_db)},
                                               {"level_dbfs", one.level_dbfs},
                                               {"level_sd_db", one.level_sd_db},
                                               {"frequency_hz", one.frequency_hz},
                                               {"noise_and_distortion_db", one.other_db},
                                               {"from_s", one.from_s},
                                               {"to_s", one.to_s}});
        Json& told = outcome.results["channels"].back();
        put_limits(told, "volts_full_scale",
                   rounded(one.volts_full_scale * (amplitude_from_decibels(one.volts_full_scale_sd_db) - 1)),
                   LimitedBy::nothing);
        put_limits(told, "level_dbfs", one.level_sd_db, LimitedBy::nothing);
        put_limits(told, "frequency_hz", one.frequency_sd_hz, LimitedBy::nothing);
    }
    return outcome;
}

Outcome by_hand(const CalibrateOptions& options) {
    Outcome outcome;
    const auto volts = numbers_from("--volts-full-scale", options.volts_full_scale);
    for (const double one : volts)
        if (!(one > 0)) refuse(fmt::format("--volts-full-scale: {} is not above 0", one));
    std::optional<MeterAccuracy> accuracy;
    if (options.meter_accuracy) accuracy = accuracy_from(*options.meter_accuracy);
    outcome.opened = change_job(options.folder, [&](Job& job) {
        for (std::size_t i = 0; i < volts.size(); ++i)
            store_scale(job, i, volts[i],
                        accuracy ? std::optional(decibels_from_amplitude(1 + accuracy->percent / 100 / std::sqrt(3.0)))
                                 : std::nullopt,
                        outcome.warnings);
    });
    outcome.input["volts_full_scale"] = volts;
    for (std::size_t i = 0; i < volts.size(); ++i)
        outcome.text += fmt::format("input {}: {}\n", i + 1, zero_dbfs_in_words(volts[i]));
    return outcome;
}

Outcome floor_of(const CalibrateOptions& options) {
    Outcome outcome;
    outcome.opened = open_job(options.folder);
    const Take take = take_named(outcome.opened, *options.floor);
    TakeReader sound(take_path(outcome.opened, take));
    const OwnNoise floor = read_own_noise(sound, take, outcome.opened.job);
    outcome.warnings = floor.warnings;
    note_oddity(sound, take, outcome.warnings);
    outcome.opened = change_job(options.folder, [&](Job& job) {
        for (const OwnNoiseField& field : kOwnNoiseFields) {
            auto& stored = job.interface.*field.values;
            const auto& read = floor.floors.*field.values;
            if (stored.size() < read.size()) stored.resize(read.size());
            for (std::size_t c = 0; c < read.size(); ++c)
                if (floor.floors.own_noise_dbv[c])  // a figure of an earlier take must not stay beside this one's
                    stored[c] = read[c] ? std::optional(std::round(*read[c] * 100) / 100) : std::nullopt;
        }
    });
    outcome.input["take"] = take.file;
    outcome.results["floor"] = Json::array();
    for (std::size_t c = 0; c < floor.level_dbfs.size(); ++c) {
        const auto& dbv = floor.floors.own_noise_dbv[c];
        outcome.text += fmt::format(
            "input {} ({}): own noise {}, 20 Hz to 20 kHz unweighted\n", c + 1, to_word(take.channels[c]),
            dbv ? fmt::format("{:.1f} dBV ±{:.1f}", *dbv, 2 * floor.level_dbfs[c].sd)
                : fmt::format("{:.1f} dBFS (not calibrated, not stored)", floor.level_dbfs[c].value));
        outcome.results["floor"].push_back({{"input", c + 1},
                                            {"channel", to_word(take.channels[c])},
                                            {"own_noise_dbv", dbv ? Json(*dbv) : Json()},
                                            {"level_dbfs", floor.level_dbfs[c].value},
                                            {"sd_db", floor.level_dbfs[c].sd}});
        Json& told = outcome.results["floor"].back();
        const Reading& level = floor.level_dbfs[c];
        put_limits(told, "level_dbfs", level.sd, level.limited_by);
        const double scale_sd_db = outcome.opened.job.volts_full_scale_sd_db(c).value_or(0.0);
        if (dbv) put_limits(told, "own_noise_dbv", std::hypot(level.sd, scale_sd_db), level.limited_by);
    }
    return outcome;
}

void run(const CalibrateOptions& options) {
    const bool hand = !options.volts_full_scale.empty();
    if (options.take.has_value() + options.floor.has_value() + hand != 1)
        refuse("calibrate takes one of --take FILE --volts READING, --floor FILE, --volts-full-scale VOLTS");
    if (!options.take && (options.volts || options.channel || options.frequency || options.meter_good_to))
        refuse("--volts, --channel, --frequency and --meter-good-to go with --take");
    Outcome outcome = options.take ? by_meter(options) : hand ? by_hand(options) : floor_of(options);

    std::vector<Warning> warnings = outcome.opened.warnings;
    warnings.insert(warnings.end(), outcome.warnings.begin(), outcome.warnings.end());
    if (options.json) {
        const InterfaceData& interface = outcome.opened.job.interface;
        outcome.input["job"] = options.folder;
        outcome.results["volts_full_scale"] = numbers_or_nulls(interface.volts_full_scale);
        outcome.results["volts_full_scale_sd_db"] = numbers_or_nulls(interface.volts_full_scale_sd_db);
        outcome.results["own_noise_dbv"] = numbers_or_nulls(interface.own_noise_dbv);
        outcome.results["caution"] = kKnobCaution;
        fmt::print(
            "{}", json_document("calibrate", std::move(outcome.input), std::move(outcome.results), warnings));
        return;
    }
    fmt::print("{}stored in {}. {}\n", outcome.text,
               (std::filesystem::path(options.folder) / "job.json").string(), kKnobCaution);
    if (!warnings.empty()) fmt::print("Warnings\n{}", list_of(warnings));
}

}  // namespace

void add_calibrate_command(CLI::App& app, Context&) {
    auto* command =
        app.add_subcommand("calibrate", "turns a meter's reading into volts; keeps the set-up's own noise");
    const auto options = std::make_shared<CalibrateOptions>();
    command->add_option("--job", options->folder, "the job's folder")->required()->type_name(folder_type);
    command->add_option("--take", options->take, "the job's take of a steady tone that the meter was on")->type_name(take_type);
    command->add_option("--volts", options->volts,
                        "what the meter read [V rms], at the probe, before any pad");
    command->add_option("--meter-accuracy", options->meter_accuracy,
                        "from the meter's data sheet, its ac range: percent of the reading and counts, such as 1.2%+3");
    offer<Channel>(command->add_option("--channel", options->channel, "the channel that the meter was on; else all of the take"));
    command->add_option("--frequency", options->frequency, "of the tone [Hz], 200 unless told otherwise");
    command->add_option("--meter-good-to", options->meter_good_to,
                        "up to where the meter reads true [Hz], 400 unless told");
    command->add_option("--floor", options->floor,
                        "the job's take with the inputs shorted: stores the set-up's own noise")
        ->type_name(take_type);
    command
        ->add_option("--volts-full-scale", options->volts_full_scale,
                     "volts at full scale of each input, where known")
        ->delimiter(',')
        ->allow_extra_args(false);
    command->add_flag("--json", options->json, "print one JSON document");
    command->callback([options] { run(*options); });
}

}  // namespace hushtrace::cli
