#include <fmt/format.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <iostream>
#include <memory>
#include <string>
#include <utility>

#include "capture_options.hpp"
#include "capture_output.hpp"
#include "command.hpp"
#include "hushtrace/audio/silence.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/live/precautions.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/signal/tone_programme.hpp"
#include "terminal_keys.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Way = CaptureOptions::Way;

/// One run of the command, in the order in which things are settled: options, job, precautions, link,
/// capture.
class CaptureRun {
public:
    explicit CaptureRun(const CaptureOptions& options) : options_(options), way_(options.way()) {
        if (way_ == Way::device) silence_.emplace();
    }

    int run() {
        prepare();
        if (way_ != Way::file) take_precautions();
        open_link();
        tell_before();
        const CaptureOutcome outcome = capture();
        const auto found = capture_warnings(outcome);
        warnings_.insert(warnings_.end(), found.begin(), found.end());
        if (options_.json) warnings_.insert(warnings_.begin(), told_.begin(), told_.end());
        const auto tone_file = find_tone_file(std::filesystem::path(options_.job) / outcome.take.file, outcome.take);
        fmt::print("{}", options_.json ? capture_json(options_.job, link_->name(), outcome, tone_file, warnings_)
                                       : capture_text(outcome, tone_file, warnings_));
        if (!outcome.failure) return 0;
        fmt::print(voice(), "hushtrace: {}\n", clean_text(outcome.failure->what()));
        return 3;
    }

private:
    static std::FILE* voice() { return StderrSilence::voice(); }
    static bool on_terminal() { return isatty(STDIN_FILENO) != 0 && isatty(STDERR_FILENO) != 0; }

    void prepare() {
        const OpenedJob opened = open_job(options_.job);
        job_ = opened.job;
        warnings_ = opened.warnings;
        if (way_ == Way::file) {
            link_ = open_file_link(*options_.from, options_.paced);
            order_ = options_.order(link_->input_channels(), link_->sample_rate_hz());
        } else if (way_ == Way::simulation) {
            vehicle_.emplace(scenario_path(*options_.simulate));
            if (options_.rate && options_.device_rate_hz() != vehicle_->sample_rate_hz())
                throw Error(
                    ErrorKind::invalid_request,
                    fmt::format("--rate: the simulated vehicle runs at {:g} Hz", vehicle_->sample_rate_hz()));
            order_ = options_.order(options_.input_channels(), vehicle_->sample_rate_hz());
        } else {
            order_ = options_.order(options_.input_channels(), options_.device_rate_hz());
            wish_ = options_.device_wish(order_);
        }
        if (way_ == Way::file) return;
        if (const auto why = refusal(job_, order_.take.conditions))
            throw Error(ErrorKind::invalid_request, *why);
        // What the simulated vehicle can't do it refuses here, before anything is written.
        if (vehicle_) vehicle_->set_conditions(simulated(order_.take.conditions));
    }

    SimulatedConditions simulated(const Conditions& conditions) const {
        SimulatedConditions set;
        set.conditions = conditions;
        if (!order_.take.volume_steps.empty()) set.conditions.volume = order_.take.volume_steps.front();
        set.channels = order_.take.channels;
        set.interface_feeds_source = options_.output_lead_in(order_);
        if (options_.played) set.played_file = *options_.played;
        set.seed = job_.takes.size() + 1;  // each take of a job is another moment
        return set;
    }

    double read_meter(std::string_view reading) {
        SimulatedConditions set = simulated(order_.take.conditions);
        set.played_file.reset();
        const bool under_load = reading == drop_reading;
        set.conditions.amplifier = under_load ? AmplifierState::on : AmplifierState::off;
        vehicle_->set_conditions(set);
        const double volts =
            under_load ? vehicle_->meter_ground_drop_v() : vehicle_->meter_shell_to_amplifier_ground_v();
        return std::round(volts * 1000) / 1000;  // as a meter's display shows it
    }

    void take_precautions() {
        Conditions& conditions = order_.take.conditions;
        for (const Warning& caution : cautions(job_, conditions)) tell(caution);
        const auto meter = [this](std::string_view reading) { return read_meter(reading); };
        settle_ground_check(options_.job, conditions, options_.ground, vehicle_ ? Meter(meter) : Meter(),
                            on_terminal() ? voice() : nullptr);
        if (const auto wired =
                mark_output_lead(conditions, options_.output_lead_in(order_), order_.take.tone))
            tell(*wired);
    }

    /// What must be known before the capture is said at once, and stands in the JSON too.
    void tell(const Warning& warning) {
        for (const std::string& line : wrap_text("! " + warning.text, 80)) fmt::print(voice(), "{}\n", line);
        told_.push_back(warning);
    }

    void open_link() {
        if (way_ == Way::device) link_ = open_device_link(wish_);
        if (way_ != Way::simulation) return;
        if (options_.played) {
            const TakeReader played(*options_.played);
            order_.steps_begin_s = programme_times(1.0).tone_start_s + 0.2;
            const auto frames = played.promised_frames();
            if (!options_.seconds && order_.take.volume_steps.empty() && frames)
                order_.duration_s = static_cast<double>(*frames) / played.sample_rate_hz();
        }
        link_ = open_simulated_link(*vehicle_, simulated(order_.take.conditions), options_.paced);
    }

    void wait_for_enter(const std::string& what) {
        if (!on_terminal()) {
            fmt::print(voice(), "{}\n", what);
            return;
        }
        fmt::print(voice(), "{}, then press Enter. ", what);
        std::string line;
        std::getline(std::cin, line);
    }

    /// What a hand has to do before the capture begins.
    void tell_before() {
        if (way_ != Way::device) return;
        if (!order_.take.volume_steps.empty())
            wait_for_enter(fmt::format("Turn the volume to {:g}", order_.take.volume_steps.front()));
        if (order_.take.tone && !order_.plays_tone)
            wait_for_enter(fmt::format("Start {} on the source ({})",
                                       options_.played.value_or("the tone file"),
                                       to_word(*order_.take.tone->via)));
    }

    CaptureOutcome capture() {
        const bool terminal = isatty(fileno(voice())) != 0;
        TerminalKeys keys(options_.marks_from_stdin ? TerminalKeys::From::pipe
                                                    : TerminalKeys::From::terminal);
        const StopSignal stop_signal;
        ProgressLine line(voice(), terminal, order_.take.channels);
        if (keys.reads() && !options_.marks_from_stdin)
            fmt::print(voice(),
                       "Enter marks a moment, a word and Enter name it (bump, lights on). Ctrl-C ends.\n");
        bool first_step = true;
        CaptureHooks hooks;
        hooks.stop = [] { return StopSignal::asked(); };
        hooks.marks = [&keys](double now_s) { return keys.marks(now_s); };
        hooks.progress = [&](const CaptureProgress& progress) { line.show(progress, keys.unfinished()); };
        hooks.turn_to = [&](double volume) {
            if (!std::exchange(first_step, false)) {  // for the first one was waited
                line.end();
                fmt::print(voice(), "turn to {:g}\n", volume);
            }
        };
        CaptureOutcome outcome = run_capture(*link_, order_, hooks);
        line.end();
        return outcome;
    }

    const CaptureOptions& options_;
    Way way_;
    std::optional<StderrSilence> silence_;  // outlives the link
    Job job_;
    CaptureOrder order_;
    DeviceWish wish_;
    std::vector<Warning> warnings_, told_;
    std::optional<SimulatedVehicle> vehicle_;
    std::unique_ptr<Link> link_;
};

}  // namespace

void add_capture_command(CLI::App& app, Context& context) {
    CLI::App* command =
        app.add_subcommand("capture", "captures a take into a job, playing a tone where told to");
    const auto options = std::make_shared<CaptureOptions>();
    options->add_to(*command);
    command->callback([options, &context] { context.exit_code = CaptureRun(*options).run(); });
}

}  // namespace hushtrace::cli
