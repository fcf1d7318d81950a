#include "live_options.hpp"

#include <fmt/format.h>

#include <fstream>
#include <sstream>

#include "help_section.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

constexpr double highest_volume = 1000.0;

[[noreturn]] void refuse(const std::string& why) {
    throw Error(ErrorKind::invalid_request, why);
}

}  // namespace

void LiveOptions::add_to(CLI::App& app) {
    {
        const HelpSection section(app, "Live");
        app.add_option("--volume-start", volume_start, "the source's volume when the session begins; then each step up or down is counted");
        app.add_option("--volume-step", volume_step, "what one step of the volume is, 1 unless told otherwise");
        app.add_option("--knob-script", knob_script,
                       "with --simulate: a file that turns the knob, each line a time [s] and a volume");
        app.add_flag("--plain", plain, "plain lines in place of the moving view");
        app.add_flag("--keys-from-stdin", keys_from_stdin, "with --plain: each letter that comes in on stdin is a key (+ - k m q ...)");
        app.add_flag("--no-take", no_take, "store nothing");
        app.add_flag("--unpaced", unpaced, "with --simulate or --from: as fast as it can be computed");
    }
    sound.add_sound_to(app);
}

LiveOrder LiveOptions::order(LiveTask task, const CaptureOrder& capture, const Job& job) const {
    LiveOrder order;
    order.task = task;
    order.capture = capture;
    order.job = job;
    order.stores_take = !no_take && task == LiveTask::gain;
    order.unpaced = unpaced;
    if (!sound.seconds) order.capture.duration_s.reset();
    order.volume_start = number_from("--volume-start", volume_start);
    if (!order.volume_start && sound.simulate) order.volume_start = capture.take.conditions.volume;
    order.volume_step = number_from("--volume-step", volume_step).value_or(1.0);
    order.volume_top = job.source.volume_top;
    if (order.volume_start && !(*order.volume_start >= 0 && *order.volume_start <= highest_volume))
        refuse(fmt::format("--volume-start: {:g} is no volume", *order.volume_start));
    if (!(order.volume_step > 0 && order.volume_step <= highest_volume))
        refuse(fmt::format("--volume-step: {:g} is not above 0", order.volume_step));
    if (volume_step && !volume_start) refuse("--volume-step: goes with --volume-start");
    if (order.volume_start && order.volume_top && *order.volume_start > *order.volume_top)
        refuse(fmt::format("--volume-start: {:g} lies above the scale's end, {:g} (source.volume_top in job.json)",
                           *order.volume_start, *order.volume_top));
    if (knob_script) {
        if (!sound.simulate) refuse("--knob-script: goes with --simulate; a real knob is turned by hand");
        order.knob_script = read_knob_script(*knob_script);
    }
    return order;
}

std::vector<KnobTurn> read_knob_script(const std::string& file) {
    std::ifstream in(file);
    if (!in) throw Error(ErrorKind::file_unreadable, fmt::format("--knob-script: {} can't be read", in_quotes(file)));
    std::vector<KnobTurn> turns;
    std::string line;
    for (int number = 1; std::getline(in, line); ++number) {
        line = line.substr(0, line.find('#'));
        std::istringstream words(line);
        std::string time, volume, more;
        if (!(words >> time)) continue;
        const std::string place = fmt::format("--knob-script: line {}", number);
        if (!(words >> volume) || words >> more) refuse(place + ": a time [s] and a volume are wanted");
        const KnobTurn turn{number_from(place, std::string_view(time)), number_from(place, std::string_view(volume))};
        if (turn.time_s < 0 || (!turns.empty() && turn.time_s < turns.back().time_s))
            refuse(place + ": times must go forward from 0");
        if (turn.volume < 0 || turn.volume > highest_volume) refuse(fmt::format("{}: {:g} is no volume", place, turn.volume));
        turns.push_back(turn);
    }
    if (turns.empty()) refuse("--knob-script: no turn in it");
    return turns;
}

}  // namespace hushtrace::cli
