#include "live_options.hpp"

#include <fmt/format.h>

#include "help_section.hpp"
#include "knob_script.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
void LiveOptions::add_to(CLI::App& app) {
    {
        const HelpSection section(app, "Live");
        app.add_option("--knob-script", sound.knob_script,
                       "with --simulate: a file that turns the knob, each line a time [s] and a volume")
            ->type_name(file_type);
        app.add_flag("--plain", plain, "plain lines in place of the moving view");
        app.add_flag("--keys-from-stdin", keys_from_stdin, "with --plain or --json: each letter that comes in on stdin is a key (+ - k m q ...)");
        app.add_option("--share", share,
                       "show it on a phone, too: as a page of this computer, at ADDRESS[:PORT]; without an address for this computer alone")
            ->expected(0, 1)
            ->type_name("[ADDRESS[:PORT]]");
        app.add_flag("--unpaced", unpaced, "with --simulate or --from: as fast as it can be computed");
    }
    sound.add_sound_to(app);
}

void LiveOptions::add_knob_to(CLI::App& app) {
    const HelpSection section(app, "Live");
    app.add_option("--volume-start", volume_start, "the source's volume when the session begins; then each step up or down is counted");
    app.add_option("--volume-step", volume_step, "what one step of the volume is, 1 unless told otherwise");
    app.add_flag("--no-take", no_take, "store nothing");
}

void LiveOptions::add_follow_to(CLI::App& app) {
    const HelpSection section(app, "Following a noise source");
    offer(app.add_option("--follow", follow,
                         "whine, hum, ignition, hiss, motor, pwm, all (sound), a frequency (1187hz), an engine order (order12, with --rpm), or a "
                         "source's id from 'noise'; unless said, the loudest"),
          {"whine", "hum", "ignition", "hiss", "motor", "pwm", "all"});
    app.add_flag("--armed", armed, "store the last minute as a take by itself when the level jumps");
    app.add_option("--vehicle-script", vehicle_script,
                   "with --simulate: a file that changes the vehicle meanwhile, each line a time [s], hookup, engine, rpm or loads, and a word")
        ->type_name(file_type);
}

LiveOrder LiveOptions::order(LiveTask task, const CaptureOrder& capture, const Job& job) const {
    LiveOrder order;
    order.task = task;
    order.capture = capture;
    order.job = job;
    if (task == LiveTask::follow && sound.name) refuse("--name: live names what it keeps itself: kept-1, kept-2, ...");
    order.stores_take = !no_take && task == LiveTask::gain;  // hands change the hookup all the while
    order.unpaced = unpaced;
    order.follow = follow.value_or("");
    if (follow && follow->empty()) refuse("--follow: say what, or leave it out for the loudest noise source");
    order.armed = armed;
    if (vehicle_script && !sound.simulate) refuse("--vehicle-script: goes with --simulate");
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
    order.knob_script = capture.knob_script;
    return order;
}

}  // namespace hushtrace::cli
