#include "hushtrace/diagnose/gain_analysis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gain_parts.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

void warn_of_faults(const Take& take, std::vector<Warning>& warnings) {
    if (take.has(TakeFault::dropout))
        warnings.push_back({"take_dropout",
                            "samples were lost in this take: steps with a loss in them may read too much "
                            "distortion. Capture it again if the ceiling matters",
                            take.file});
}

void warn_of_dead_channels(std::vector<GainCurve>& of_take, std::vector<Warning>& warnings) {
    const bool any =
        std::any_of(of_take.begin(), of_take.end(), [](auto& c) { return !c.curve.steps.empty(); });
    for (const GainCurve& one : of_take)
        if (any && one.curve.steps.empty())
            warnings.push_back(
                {"channel_silent",
                 fmt::format(
                     "the {} channel holds no {:g} Hz tone: check its lead, the balance and the fader",
                     to_word(one.curve.channel), one.curve.tone_hz),
                 one.curve.take});
}

}  // namespace

GainAnalysis analyse_gain(const OpenedJob& job, const OpenTake& open, const GainRequest& request) {
    GainAnalysis out;
    out.limit_thd_percent = job.job.ceiling_thd_percent();
    std::vector<const Take*> takes;
    for (const Take& take : job.job.takes)
        if (is_gain_take(take)) takes.push_back(&take);
    if (takes.empty())
        throw Error(
            ErrorKind::invalid_input,
            "job.json: no take with a steady tone: capture one while the volume is turned up step by step");
    // Takes in which something was stepped speak for the ceiling; a calibration tone at one volume doesn't,
    // unless there is nothing else.
    const auto stepped = [](const Take* take) {
        return !take->volume_steps.empty() || std::holds_alternative<Stepped>(take->tone->waveform);
    };
    if (std::any_of(takes.begin(), takes.end(), stepped))
        takes.erase(std::remove_if(takes.begin(), takes.end(), [&](const Take* t) { return !stepped(t); }),
                    takes.end());

    std::vector<GainCurve> curves;
    for (const Take* take : takes) {
        try {
            std::vector<GainCurve> of_take = read_curves(job, *take, open, out.warnings);
            warn_of_faults(*take, out.warnings);
            warn_of_dead_channels(of_take, out.warnings);
            for (GainCurve& one : of_take) {
                decide_ceiling(one, out.limit_thd_percent, out.warnings);
                curves.push_back(std::move(one));
            }
            out.takes.push_back(take->file);
        } catch (const Error& error) {
            out.warnings.push_back({"take_unreadable", named_as_in_job(job, *take, error.what()), take->file});
        }
    }
    if (out.takes.empty())
        throw Error(ErrorKind::invalid_input,
                    takes.size() == 1 ? out.warnings.back().text
                                      : fmt::format("none of the {} takes with a steady tone can be read: {}",
                                                    takes.size(), out.warnings.back().text));

    const std::vector<GainCurve> aside = set_aside_overloaded(curves, out.warnings);
    compare_curves(curves, out.limit_thd_percent, out.warnings);
    read_volume_law(curves, out);
    const GainCurve* decided_by = choose_ceiling(curves, out);
    out.ceiling_text = ceiling_words(job, out, curves, decided_by);
    set_amplifiers(job, open, curves, request, out);
    for (const GainCurve& one : curves) out.curves.push_back(one.curve);
    for (const GainCurve& one : aside) out.curves.push_back(one.curve);
    return out;
}

}  // namespace hushtrace
