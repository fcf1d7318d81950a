#include "capture_setup.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <cmath>
#include <iostream>

#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/live/precautions.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/signal/tone_programme.hpp"

namespace hushtrace::cli {
namespace {

using Way = CaptureOptions::Way;

}  // namespace

CaptureSetup::CaptureSetup(const CaptureOptions& options) : way(options.way()), options_(options) {
    if (way == Way::device) silence_.emplace();
}

bool CaptureSetup::on_terminal() {
    return isatty(STDIN_FILENO) != 0 && isatty(fileno(voice())) != 0;  // stderr itself may be held back
}

void CaptureSetup::wait_for_enter(const std::string& what) {
    if (!on_terminal()) {
        fmt::print(voice(), "{}\n", what);
        return;
    }
    fmt::print(voice(), "{}, then press Enter. ", what);
    std::string line;
    std::getline(std::cin, line);
}

void CaptureSetup::prepare() {
    const OpenedJob opened = open_job(options_.job);
    job = opened.job;
    warnings = opened.warnings;
    if (way == Way::file) {
        link = open_file_link(*options_.from, options_.paced);
        order = options_.order(link->input_channels(), link->sample_rate_hz());
    } else if (way == Way::simulation) {
        vehicle.emplace(scenario_path(*options_.simulate));
        if (options_.rate && options_.device_rate_hz() != vehicle->sample_rate_hz())
            throw Error(
                ErrorKind::invalid_request,
                fmt::format("--rate: the simulated vehicle runs at {:g} Hz", vehicle->sample_rate_hz()));
        order = options_.order(options_.input_channels(), vehicle->sample_rate_hz());
    } else {
        order = options_.order(options_.input_channels(), options_.device_rate_hz());
        wish_ = options_.device_wish(order);
    }
    if (way == Way::file) return;
    if (const auto why = refusal(job, order.take.conditions))
        throw Error(ErrorKind::invalid_request, *why);
    if (const auto why = output_pad_refusal(order.take)) throw Error(ErrorKind::invalid_request, *why);
    if (asks_for_amplifier() && !on_terminal())
        throw Error(ErrorKind::invalid_request, live_amplifier_text(order.take) + ". Where all that is so, say --amplifier-live-ok");
    // What the simulated vehicle can't do it refuses here, before anything is written.
    if (vehicle) vehicle->set_conditions(simulated(order.take.conditions));
}

SimulatedConditions CaptureSetup::simulated(const Conditions& conditions) const {
    SimulatedConditions set;
    set.conditions = conditions;
    if (!order.take.volume_steps.empty()) set.conditions.volume = order.take.volume_steps.front();
    if (!order.knob_script.empty()) set.conditions.volume = order.knob_script.front().volume;
    set.channels = order.take.channels;
    set.interface_feeds_source = options_.output_lead_in(order);
    if (options_.played) set.played_file = *options_.played;
    set.seed = job.takes.size() + 1;  // each take of a job is another moment
    return set;
}

double CaptureSetup::read_meter(std::string_view reading) {
    SimulatedConditions set = simulated(order.take.conditions);
    set.played_file.reset();
    const bool under_load = reading == drop_reading;
    set.conditions.amplifier = under_load ? AmplifierState::on : AmplifierState::off;
    vehicle->set_conditions(set);
    const double volts =
        under_load ? vehicle->meter_ground_drop_v() : vehicle->meter_shell_to_amplifier_ground_v();
    return std::round(volts * 1000) / 1000;  // as a meter's display shows it
}

void CaptureSetup::take_precautions() {
    Conditions& conditions = order.take.conditions;
    for (const Warning& caution : cautions(job, conditions)) tell(caution);
    for (const Warning& caution : tone_cautions(job, order.take)) tell(caution);
    if (asks_for_amplifier()) ask_for_amplifier();
    const auto meter = [this](std::string_view reading) { return read_meter(reading); };
    settle_ground_check(options_.job, conditions, options_.ground, vehicle ? Meter(meter) : Meter(),
                        on_terminal() ? voice() : nullptr);
    if (const auto wired =
            mark_output_lead(conditions, options_.output_lead_in(order), order.take.tone))
        tell(*wired);
}

/// The simulated vehicle answers by itself: nothing in it burns. What the source plays itself is started by a hand.
bool CaptureSetup::asks_for_amplifier() const {
    return way == Way::device && order.plays_tone && may_sound_in_amplifier(order.take) && !options_.amplifier_live_ok;
}

void CaptureSetup::ask_for_amplifier() const {
    const std::string text = live_amplifier_text(order.take);
    for (const std::string& line : wrap_text("Before the tone: " + text + ".", 80)) fmt::print(voice(), "{}\n", line);
    fmt::print(voice(), "Is all that so? Type yes to play: ");
    std::fflush(voice());
    std::string line;
    std::getline(std::cin, line);
    if (line != "yes") throw Error(ErrorKind::invalid_request, "nothing was played: " + text);
}

void CaptureSetup::tell(const Warning& warning) {
    for (const std::string& line : wrap_text("! " + warning.text, 80)) fmt::print(voice(), "{}\n", line);
    told.push_back(warning);
}

double CaptureSetup::sample_rate_hz() const {
    if (vehicle) return vehicle->sample_rate_hz();
    return link ? link->sample_rate_hz() : wish_.sample_rate_hz;
}

void CaptureSetup::open_link() {
    if (way == Way::device) link = open_device_link(wish_);
    if (way != Way::simulation) return;
    if (options_.played) {
        const TakeReader played(*options_.played);
        order.steps_begin_s = programme_times(1.0).tone_start_s + 0.2;
        const auto frames = played.promised_frames();
        if (!options_.seconds && order.take.volume_steps.empty() && order.knob_script.empty() && frames)
            order.duration_s = static_cast<double>(*frames) / played.sample_rate_hz();
    }
    link = open_simulated_link(*vehicle, simulated(order.take.conditions), options_.paced);
}

}  // namespace hushtrace::cli
