#include <fmt/format.h>
#include <unistd.h>

#include <filesystem>
#include <memory>
#include <string>
#include <utility>

#include "capture_options.hpp"
#include "capture_output.hpp"
#include "capture_setup.hpp"
#include "command.hpp"
#include "hushtrace/report/wording.hpp"
#include "terminal_keys.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Way = CaptureOptions::Way;

/// One run of the command, in the order in which things are settled: options, job, precautions, link,
/// capture.
class CaptureRun {
public:
    explicit CaptureRun(const CaptureOptions& options) : options_(options), setup_(options) {}

    int run() {
        setup_.prepare();
        if (setup_.way != Way::file) setup_.take_precautions();
        setup_.open_link();
        tell_before();
        const CaptureOutcome outcome = capture();
        const auto found = capture_warnings(outcome);
        std::vector<Warning> warnings = setup_.warnings;
        warnings.insert(warnings.end(), found.begin(), found.end());
        if (options_.json) warnings.insert(warnings.begin(), setup_.told.begin(), setup_.told.end());
        const auto tone_file = find_tone_file(std::filesystem::path(options_.job) / outcome.take.file, outcome.take);
        fmt::print("{}", options_.json ? capture_json(options_.job, setup_.link->name(), outcome, tone_file, warnings)
                                       : capture_text(outcome, tone_file, warnings));
        if (!outcome.failure) return 0;
        fmt::print(voice(), "hushtrace: {}\n", clean_text(outcome.failure->what()));
        return 3;
    }

private:
    static std::FILE* voice() { return CaptureSetup::voice(); }

    /// What a hand has to do before the capture begins.
    void tell_before() {
        if (setup_.way != Way::device) return;
        if (!setup_.order.take.volume_steps.empty())
            CaptureSetup::wait_for_enter(fmt::format("Turn the volume to {:g}", setup_.order.take.volume_steps.front()));
        if (setup_.order.take.tone && !setup_.order.plays_tone)
            CaptureSetup::wait_for_enter(fmt::format("Start {} on the source ({})",
                                       options_.played.value_or("the tone file"),
                                       to_word(*setup_.order.take.tone->via)));
    }

    CaptureOutcome capture() const {
        const bool terminal = isatty(fileno(voice())) != 0;
        TerminalKeys keys(options_.marks_from_stdin ? TerminalKeys::From::pipe
                                                    : TerminalKeys::From::terminal);
        const StopSignal stop_signal;
        ProgressLine line(voice(), terminal, setup_.order.take.channels);
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
        CaptureOutcome outcome = run_capture(*setup_.link, setup_.order, hooks);
        line.end();
        return outcome;
    }

    const CaptureOptions& options_;
    CaptureSetup setup_;
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
