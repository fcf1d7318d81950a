#include <fmt/format.h>
#include <unistd.h>

#include <exception>
#include <memory>
#include <optional>
#include <string>
#include <thread>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "capture_output.hpp"
#include "capture_setup.hpp"
#include "command.hpp"
#include "hushtrace/live/live_board.hpp"
#include "hushtrace/live/plain_view.hpp"
#include "hushtrace/live/terminal_view.hpp"
#include "hushtrace/report/wording.hpp"
#include "live_options.hpp"
#include "offers.hpp"
#include "shared_page.hpp"
#include "terminal_keys.hpp"
#include "vehicle_script.hpp"

namespace hushtrace::cli {
namespace {

using Way = CaptureOptions::Way;
constexpr const char* voice_name = "standard error";

/// On the terminal where there is one, else as plain lines. Keys are read in one place alone. Gives what could not be written to.
std::optional<std::string> show(LiveBoard& board, const LiveOptions& options, const std::string& page_address) {
    std::FILE* const voice = CaptureSetup::voice();
    const PlainKeys keys = options.keys_from_stdin ? PlainKeys::pipe : PlainKeys::terminal;
    if (options.json_lines)
        return show_plainly(board, stdout, keys, PlainForm::json_lines) ? std::nullopt : std::optional<std::string>("standard output");
    if (!options.plain && isatty(fileno(voice)) != 0 && terminal_can_show()) {
        try {
            show_on_terminal(board, page_address);
            return std::nullopt;
        } catch (const Error& error) {
            fmt::print(voice, "hushtrace: {}\n", clean_text(error.what()));
        }
    }
    return show_plainly(board, voice, keys) ? std::nullopt : std::optional<std::string>(voice_name);
}

/// Runs the session on a thread of its own; what it throws is thrown here.
class SessionThread {
public:
    SessionThread(Link& link, const LiveOrder& order, LiveBoard& board)
        : thread_([this, &link, &order, &board] {
              try {
                  outcome_ = run_live(link, order, board);
              } catch (...) {
                  fault_ = std::current_exception();
              }
          }) {}
    ~SessionThread() {
        if (thread_.joinable()) thread_.join();
    }
    SessionThread(const SessionThread&) = delete;
    SessionThread& operator=(const SessionThread&) = delete;
    LiveOutcome outcome() {
        thread_.join();
        if (fault_) std::rethrow_exception(fault_);
        return std::move(outcome_);
    }

private:
    LiveOutcome outcome_;
    std::exception_ptr fault_;
    std::thread thread_;  // last: it uses the others
};

/// Its end, which is a failure also where the view's lines could not be written any more.
LiveOutcome outcome_of(SessionThread& session, const std::optional<std::string>& unwritable) {
    if (!unwritable) return session.outcome();
    const std::string why = *unwritable + ": can't be written any more, so the session was ended";
    try {
        LiveOutcome outcome = session.outcome();
        if (!outcome.capture.failure) outcome.capture.failure = Error(ErrorKind::disk_failed, why);
        return outcome;
    } catch (const Error& error) {
        throw Error(ErrorKind::disk_failed, fmt::format("{}; {}", why, error.what()));
    }
}

void tell_capture(const LiveOutcome& outcome, const std::vector<Warning>& warnings) {
    std::FILE* const voice = CaptureSetup::voice();
    if (outcome.stored) fmt::print(voice, "{}", capture_text(outcome.capture, std::nullopt, warnings));
    if (outcome.capture.failure) fmt::print(voice, "hushtrace: {}\n", clean_text(outcome.capture.failure->what()));
}

/// glibc gives threads arenas of their own and keeps in each what was freed there. A session has some thirty threads, hardly any of which
/// is busy: with an arena for each it came to hold 192 MB, with two between all of them 36 MB. What is larger than 128 KiB gets pages of its
/// own, which go back when it is freed: between the small pieces it left holes through which the memory crept up.
void share_memory_between_threads() {
#ifdef __GLIBC__
    ::mallopt(M_ARENA_MAX, 2);
    ::mallopt(M_MMAP_THRESHOLD, 128 << 10);
    ::mallopt(M_TRIM_THRESHOLD, 128 << 10);
#endif
}

}  // namespace

LiveOutcome run_live_session(LiveTask task, LiveOptions options) {
    share_memory_between_threads();
    if (options.unpaced && options.sound.device) throw Error(ErrorKind::invalid_request, "--unpaced: a device keeps its own pace");
    if (options.keys_from_stdin && !options.plain && !options.json_lines)
        throw Error(ErrorKind::invalid_request, "--keys-from-stdin: goes with --plain or --json");
    options.sound.paced = !options.sound.device && !options.unpaced;
    CaptureSetup setup(options.sound);
    setup.prepare();
    LiveOrder order = options.order(task, setup.order, setup.job);
    if (options.vehicle_script) order.moves = vehicle_moves(*options.vehicle_script, setup);
    if (looks_through_takes(order))
        fmt::print(CaptureSetup::voice(), "Looking through the job's takes for {} first.\n", clean_text(order.follow));
    check_live(order, setup.sample_rate_hz());
    LiveBoard board;
    SharedPage page(board, options.share);  // refused before anything is asked or written
    if (setup.way != Way::file) setup.take_precautions();
    order.capture.take.conditions = setup.order.take.conditions;
    if (task == LiveTask::gain && setup.way == Way::device)
        fmt::print(CaptureSetup::voice(),
                   "! Speakers off, or the amplifiers' gain at its lowest: a full tone at high volume burns tweeters and\n"
                   "hurts ears.\n");
    setup.open_link();
    const StopSignal stop_signal;
    page.announce(CaptureSetup::voice());
    order.stop = [] { return StopSignal::asked(); };
    SessionThread session(*setup.link, order, board);
    const auto unwritable = show(board, options, page.address());
    LiveOutcome outcome = outcome_of(session, unwritable);
    if (unwritable == voice_name) return outcome;  // nobody can be told
    auto warnings = setup.warnings;
    const auto found = capture_warnings(outcome.capture);
    warnings.insert(warnings.end(), found.begin(), found.end());
    tell_capture(outcome, warnings);
    return outcome;
}

void add_live_command(CLI::App& app, Context& context) {
    CLI::App* command = app.add_subcommand("live", "shows what arrives at the amplifier's input while hands move cables");
    const auto options = std::make_shared<LiveOptions>();
    command->add_option("--job", options->sound.job, "the job's folder")->required()->type_name(folder_type);
    options->add_follow_to(*command);
    command->add_flag("--json", options->json_lines, "a JSON document a line in place of the view: snapshots and events");
    options->add_to(*command);
    command->get_option("--name")->group("");  // refused with a reason: not offered
    command->callback([options, &context] {
        if (run_live_session(LiveTask::follow, *options).capture.failure) context.exit_code = 3;
    });
}

}  // namespace hushtrace::cli
