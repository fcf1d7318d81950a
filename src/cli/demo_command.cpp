#include <fmt/format.h>

#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "capture_options.hpp"
#include "command.hpp"
#include "diverted.hpp"
#include "hushtrace/job/shell_word.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/simulation/simulated_vehicle.hpp"
#include "offers.hpp"

namespace hushtrace::cli {
namespace {

namespace fs = std::filesystem;

std::string text_of(const fs::path& file) {
    std::ifstream in(file);
    return {std::istreambuf_iterator<char>(in), {}};
}

/// The demo: the very commands a user would type, one after the other, with what each is for.
class Demo {
public:
    Demo(fs::path folder, std::string scenario)
        : folder_(std::move(folder)), job_(folder_ / "job"), scenario_(std::move(scenario)) {}

    void run() {
        const auto started = std::chrono::steady_clock::now();
        prepare();
        say("the source's own player gets its tones: they are written to a stick");
        command({"tones", "near_silence", "--out", stick("near_silence"), "--duration", "20"});
        command({"tones", "sine", "--frequency", "200", "--level", "-10", "--duration", "8", "--out",
                 stick("tone_200")});
        command({"tones", "sine", "--frequency", "997", "--level", "0", "--duration",
                 fmt::format("{}", 2 * volumes_.size() + 6), "--out", stick("tone_997")});
        say("a job is opened from what the labels and a tape measure say");
        command({"job", "--job", job_.string(), "--new", "--from", description().string()});
        say("nothing connected yet: two meter readings say whether it is safe; then the set-up's own noise");
        capture({"--name", "floor", "--hookup", "inputs_shorted", "--engine", "off", "--seconds", "4",
                 "--laptop", "battery", "--meter"});
        say("a meter on the lead reads the 200 Hz tone: from here on levels are in volts");
        capture({"--name",      "calibration",
                 "--engine",    "off",
                 "--source",    "on",
                 "--volume",    fmt::format("{}", kListeningVolume),
                 "--tone",      "sine",
                 "--frequency", "200",
                 "--level",     "-10",
                 "--via",       "stick",
                 "--played",    stick("tone_200"),
                 "--seconds",   "6"});
        command({"calibrate", "--job", job_.string(), "--take", "takes/calibration.flac", "--volts",
                 fmt::format("{:.4f}", meter_volts()), "--meter-accuracy", "1.0%+3"});
        command({"calibrate", "--job", job_.string(), "--floor", "takes/floor.flac"});
        say("noise: engine off, at idle with the headlights on, held at 2000 rpm, and with the laptop's "
            "adapter in");
        noise_take("engine-off", {"--engine", "off", "--seconds", "8"});
        noise_take("idle", {"--engine", "idle", "--loads", "headlights", "--seconds", "12"});
        noise_take("raised",
                   {"--engine", "raised", "--rpm", "2000", "--loads", "headlights", "--seconds", "8"});
        noise_take("laptop-on-mains", {"--engine", "off", "--seconds", "7"}, "mains");
        say("gain: the volume is turned up step by step while the full-scale tone plays");
        std::string steps;
        for (const int volume : volumes_) steps += fmt::format("{}{}", steps.empty() ? "" : ",", volume);
        capture({"--name",         "steps", "--engine",       "off",
                 "--source",       "on",    "--tone",         "sine",
                 "--frequency",    "997",   "--level",        "0",
                 "--via",          "stick", "--played",       stick("tone_997"),
                 "--volume-steps", steps,   "--step-seconds", "2"});
        say("what it all says");
        show({"noise", "--job", job_.string()});
        show({"gain", "--job", job_.string()});
        command({"report", "--job", job_.string(), "--out", page().string()});
        const double seconds =
            std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
        fmt::print("\nDone in {:.0f} s. The page, to open in any browser:\n  {}\n\n", seconds,
                   fs::absolute(page()).string());
        fmt::print(
            "Try next:\n"
            "  another signal lead, and what it changes:\n"
            "  hushtrace capture --job {0} --simulate {1} --name other-lead --hookup temporary_lead \\\n"
            "      --engine idle --loads headlights --source on --input usb --volume {2} --laptop battery \\\n"
            "      --tone near_silence --via stick --played {3} --seconds 12\n"
            "  hushtrace noise --job {0}\n"
            "  hushtrace demo --vehicle healthy        the same job where nothing is wrong\n"
            "  hushtrace devices                       your own interface, for a real vehicle\n",
            shell_word(job_.string()), scenario_, kListeningVolume, shell_word(stick("near_silence")));
    }

private:
    static constexpr int kListeningVolume = 20;
    const std::vector<int> volumes_ = {20, 24, 28, 30, 32, 33, 34, 35, 36, 37, 38, 40};

    fs::path page() const { return job_ / "records" / "record.html"; }
    fs::path description() const { return folder_ / "description.json"; }
    std::string stick(const std::string& name) const {
        return (folder_ / "stick" / (name + ".wav")).string();
    }

    void prepare() {
        std::error_code wrong;
        if (fs::exists(folder_, wrong))
            throw Error(ErrorKind::file_unwritable,
                        fmt::format("{}: already there; name another folder with --out", folder_.string()));
        if (!fs::create_directories(folder_ / "stick", wrong))
            throw Error(ErrorKind::file_unwritable,
                        fmt::format("{}: can't be made: {}", folder_.string(), wrong.message()));
        const SimulatedVehicle vehicle(scenario_path(scenario_));
        std::ofstream(description()) << vehicle.job_description_json();
        fmt::print("A simulated vehicle: {}.\nWhat is done to it, command by command:\n", vehicle.title());
    }

    /// A true-rms meter on the lead while the calibration tone plays.
    double meter_volts() const {
        SimulatedVehicle vehicle(scenario_path(scenario_));
        SimulatedConditions conditions;
        conditions.conditions.volume = kListeningVolume;
        conditions.conditions.source = SourceState::on;
        conditions.played_file = stick("tone_200");
        vehicle.set_conditions(conditions);
        return vehicle.meter_source_output_v(200.0, -10.0);
    }

    void say(const std::string& what) {
        fmt::print("\n# {}\n", what);
        std::fflush(stdout);
    }

    void capture(std::vector<std::string> more) {
        std::vector<std::string> words = {"capture", "--job", job_.string(), "--simulate", scenario_};
        words.insert(words.end(), more.begin(), more.end());
        command(words);
    }
    void noise_take(const std::string& name, std::vector<std::string> more,
                    const std::string& laptop = "battery") {
        std::vector<std::string> words = {
            "--name",   name,    "--source", "on",
            "--input",  "usb",   "--volume", fmt::format("{}", kListeningVolume),
            "--laptop", laptop,  "--tone",   "near_silence",
            "--via",    "stick", "--played", stick("near_silence")};
        words.insert(words.end(), more.begin(), more.end());
        capture(words);
    }

    /// Shows a command's words and runs it; its output is shown only when it fails.
    void command(const std::vector<std::string>& words) {
        show_words(words);
        const fs::path log = folder_ / "command.log";
        int code = 0;
        {
            const Diverted out(stdout, log), err(stderr, folder_ / "command.err");
            code = run_program_with(words);
        }
        if (code != 0)
            throw Error(ErrorKind::invalid_request,
                        fmt::format("the demo's '{}' ended with {}: {}", words.front(), code,
                                    text_of(folder_ / "command.err")));
        fs::remove(log);
        fs::remove(folder_ / "command.err");
    }
    /// Shows a command's words, runs it and lets its output through.
    void show(const std::vector<std::string>& words) {
        const int code = run_program_with(words);
        if (code > 1)
            throw Error(ErrorKind::invalid_request,
                        fmt::format("the demo's '{}' ended with {}", words.front(), code));
    }
    static void show_words(const std::vector<std::string>& words) {
        std::string line = "  $ hushtrace";
        for (const std::string& word : words)
            line += " " + (word.find(' ') == std::string::npos ? word : "'" + word + "'");
        fmt::print("{}\n", line);
        std::fflush(stdout);
    }
    static int run_program_with(const std::vector<std::string>& words) {
        std::vector<const char*> argv = {"hushtrace"};
        for (const std::string& word : words) argv.push_back(word.c_str());
        return run_program(static_cast<int>(argv.size()), argv.data());
    }

    fs::path folder_, job_;
    std::string scenario_;
};

}  // namespace

void add_demo_command(CLI::App& app, Context&) {
    struct Options {
        std::string out = "out-demo", vehicle = "three_faults";
    };
    auto options = std::make_shared<Options>();
    CLI::App* demo =
        app.add_subcommand("demo", "the whole job on a simulated vehicle with faults, no device needed");
    demo->add_option("--out", options->out, "folder to make for the job, its takes and its page")
        ->type_name(folder_type)
        ->capture_default_str();
    demo->add_option("--vehicle", options->vehicle, "a simulated vehicle: a file, or a name from signals/")
        ->type_name(vehicle_type)
        ->capture_default_str();
    demo->callback([options] { Demo(options->out, options->vehicle).run(); });
}

}  // namespace hushtrace::cli
