#include "temporary_items.hpp"

#include <algorithm>
#include <string_view>

namespace hushtrace {
namespace {

/// Empty for what leaves nothing in the vehicle.
std::string_view undoing(Hookup one) {
    switch (one) {
        case Hookup::normal:
        case Hookup::inputs_shorted: return "";
        case Hookup::shorted_at_amp:
        case Hookup::lead_on_dummy_at_amp: return "dummy plug in the amplifier's input: take it out, plug the signal lead in";
        case Hookup::dummy_floating:
        case Hookup::termination_1k:
        case Hookup::termination_10k: return "dummy plug on the radio's end of the signal lead: take it off, plug the lead in";
        case Hookup::shorted_at_source: return "dummy plug on the radio's socket: take it off, plug the lead in";
        case Hookup::unplugged_at_source: return "signal lead unplugged at the radio: plug it in";
        case Hookup::temporary_lead: return "signal lead laid across the seats: take it out, plug the built-in one in";
        case Hookup::temporary_ground: return "temporary ground strap from radio to amplifier: take it out";
        case Hookup::source_shell_link: return "wire link from the lead's shell to the radio's case: take it out";
        case Hookup::shell_link_at_amp: return "wire link from the lead's shell to ground at the amplifier: take it out";
        case Hookup::isolator: return "isolator in the signal lead: take it out, or say that it is to stay";
        case Hookup::antenna_unplugged: return "antenna lead unplugged: plug it in";
        case Hookup::substitute_source: return "another player in the radio's place: take it out, plug the radio in";
        case Hookup::source_isolated: return "radio out of the dash and fed from the amplifier: put it back on its own wiring";
        case Hookup::source_on_own_battery: return "radio on a battery of its own: put it back on its own wiring";
        case Hookup::amp_on_own_battery: return "amplifier on a battery of its own: put it back on its own cables";
        case Hookup::test_speaker: return "test speaker at the amplifier: take it off, connect the speakers";
    }
    return "";
}

}  // namespace

std::vector<TemporaryItem> temporary_items_used(const Job& job) {
    std::vector<TemporaryItem> items;
    const auto note = [&](const std::vector<Hookup>& hookup, const std::string& where) {
        for (const Hookup one : hookup) {
            const std::string_view name = undoing(one);
            if (name.empty()) continue;
            auto at = std::find_if(items.begin(), items.end(), [&](const TemporaryItem& item) { return item.name == name; });
            if (at == items.end()) at = items.insert(items.end(), {std::string(name), {}});
            if (!where.empty() && (at->takes.empty() || at->takes.back() != where)) at->takes.push_back(where);
        }
    };
    for (const Take& take : job.takes) note(take.conditions.hookup, take.file);
    for (const Observation& one : job.observations) note(one.conditions.hookup, "");
    return items;
}

}  // namespace hushtrace
