#include <algorithm>
#include <vector>

#include "hushtrace/diagnose/step_verdict.hpp"
#include "hushtrace/live/gain_task.hpp"

namespace hushtrace {

ToneState judge_tone(double thd_percent, double thd_sd_percent, double limit_percent) {
    VolumeStep step;
    step.thd_percent = thd_percent;
    step.thd_sd_percent = thd_sd_percent;
    switch (judge_step(step, limit_percent)) {
        case StepVerdict::clean: return ToneState::clean;
        case StepVerdict::exceeds: return ToneState::distorted;
        case StepVerdict::unsure: break;
        case StepVerdict::overloaded: return ToneState::overloaded;
    }
    return ToneState::unsure;
}

std::optional<LiveCeiling> live_ceiling(const std::vector<LiveStep>& steps) {
    std::vector<const LiveStep*> order;
    order.reserve(steps.size());
    for (const LiveStep& one : steps) order.push_back(&one);
    const bool volumes_known = std::all_of(steps.begin(), steps.end(), [](const LiveStep& one) { return one.volume.has_value(); });
    std::stable_sort(order.begin(), order.end(), [&](const LiveStep* a, const LiveStep* b) {
        return volumes_known ? *a->volume < *b->volume : a->level_dbfs < b->level_dbfs;
    });
    const auto clean = [](const LiveStep* one) { return one->tone == ToneState::clean; };
    const auto first = std::find_if(order.begin(), order.end(), clean);
    if (first == order.end()) return std::nullopt;
    const auto bad = std::find_if_not(first, order.end(), clean);
    LiveCeiling ceiling{**(bad - 1), false};
    if (bad == order.end() || (*bad)->tone == ToneState::overloaded) return ceiling;
    // an unsure step is taken for too much where one above it surely is, as `gain` does
    ceiling.final = std::any_of(bad, order.end(), [](const LiveStep* one) { return one->tone == ToneState::distorted; });
    return ceiling;
}

}  // namespace hushtrace
