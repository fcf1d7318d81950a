#include "hushtrace/job/temporary_items.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace hushtrace {
namespace {

struct Kind {
    std::string_view word, name, undo;
    std::array<Hookup, 4> hookups;  ///< that use it; what is left over repeats the first
    std::optional<Channel> channel = std::nullopt;
};
constexpr std::array<Hookup, 4> only(Hookup one) { return {one, one, one, one}; }
constexpr auto kNoHookup = only(Hookup::normal);

constexpr std::array<Kind, 16> kKinds = {{
    {"dummy_at_amp", "dummy plug at the amplifier's input", "amplifier off, take it out, plug the signal lead in",
     {Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp, Hookup::lead_on_dummy_at_amp, Hookup::lead_on_dummy_at_amp}},
    {"dummy_at_source", "dummy plug on the signal lead's source end", "amplifier off, take it off, plug the lead into the source",
     {Hookup::dummy_floating, Hookup::termination_1k, Hookup::termination_10k, Hookup::shorted_at_source}},
    {"unplugged_at_source", "signal lead unplugged at the source", "amplifier off, plug it in again", only(Hookup::unplugged_at_source)},
    {"temporary_lead", "temporary signal lead across the seats", "amplifier off, take it out, plug the fitted lead in at both ends",
     only(Hookup::temporary_lead)},
    {"temporary_ground", "temporary ground strap", "take it off at both ends, with its fuse", only(Hookup::temporary_ground)},
    {"source_shell_link", "link from lead shell to the source's case", "take it off", only(Hookup::source_shell_link)},
    {"shell_link_at_amp", "link from lead shell to ground at the amplifier", "take it off", only(Hookup::shell_link_at_amp)},
    {"isolator", "isolator in the signal lead", "amplifier off, take it out, plug the lead in straight", only(Hookup::isolator)},
    {"antenna_unplugged", "antenna lead unplugged", "plug it in again", only(Hookup::antenna_unplugged)},
    {"substitute_source", "substitute source on the signal lead", "amplifier off, take it off, plug the lead into the vehicle's source",
     only(Hookup::substitute_source)},
    {"source_isolated", "source out of the dash, fed from the amplifier's terminals",
     "take the temporary feed off, put the source back on its own", only(Hookup::source_isolated)},
    {"source_on_own_battery", "temporary battery that feeds the source", "take it off, put the source back on its own feed",
     only(Hookup::source_on_own_battery)},
    {"amp_on_own_battery", "temporary battery that feeds the amplifier",
     "vehicle's battery negative off first, take it off, put the amplifier back on its own feed", only(Hookup::amp_on_own_battery)},
    {"test_speaker", "test speaker at the amplifier", "amplifier off, take it off, connect the vehicle's own", only(Hookup::test_speaker)},
    {"supply_probe", "probe on the supply, with its fused lead", "take it off", kNoHookup, Channel::supply},
    {"current_clamp", "current clamp on the feed", "take it off", kNoHookup, Channel::supply_current},
}};

bool uses(const Kind& kind, const Conditions& conditions) {
    return std::any_of(kind.hookups.begin(), kind.hookups.end(),
                       [&](Hookup one) { return one != Hookup::normal && conditions.has(one); });
}
bool uses(const Kind& kind, const Take& take) {
    return uses(kind, take.conditions) ||
           (kind.channel && std::find(take.channels.begin(), take.channels.end(), *kind.channel) != take.channels.end());
}

/// How many of the job's takes an observation `removed` speaks of.
std::size_t takes_before(const Job& job, const Observation& removed) {
    if (!removed.after_take) return job.takes.size();
    const auto last = std::find_if(job.takes.begin(), job.takes.end(), [&](const Take& one) { return one.file == *removed.after_take; });
    return last == job.takes.end() ? 0 : static_cast<std::size_t>(last - job.takes.begin()) + 1;
}

}  // namespace

std::vector<TemporaryItem> temporary_items(const Job& job) {
    std::vector<TemporaryItem> items;
    for (const Kind& kind : kKinds) {
        TemporaryItem item{kind.word, kind.name, kind.undo, {}, {}, std::nullopt, false};
        std::size_t takes_used = 0;  // up to and with the last take that used it
        for (std::size_t i = 0; i < job.takes.size(); ++i) {
            if (!uses(kind, job.takes[i])) continue;
            item.takes.push_back(job.takes[i].file);
            takes_used = i + 1;
        }
        for (std::size_t i = 0; i < job.observations.size(); ++i) {
            const Observation& seen = job.observations[i];
            if (seen.what == "removed") {
                if (seen.heard == kind.word && takes_before(job, seen) >= takes_used) item.out = true;
            } else if (!seen.declined && uses(kind, seen.conditions)) {
                item.observations.push_back(i);
                item.out = false;
            }
        }
        if (item.takes.empty() && item.observations.empty()) continue;
        if (!item.takes.empty()) item.last_take = item.takes.back();
        items.push_back(std::move(item));
    }
    return items;
}

std::vector<TemporaryItem> items_still_in(const Job& job) {
    std::vector<TemporaryItem> items = temporary_items(job);
    std::erase_if(items, [](const TemporaryItem& one) { return one.out; });
    return items;
}

std::string item_in_words(const TemporaryItem& item) {
    const std::string used = item.last_take ? "last used in " + *item.last_take : "used for what the ear or a meter told";
    return fmt::format("{} ({}): {}", item.name, used, item.undo);
}

std::span<const std::string_view> temporary_item_words() {
    static constexpr auto words = [] {
        std::array<std::string_view, kKinds.size()> out;
        for (std::size_t i = 0; i < out.size(); ++i) out[i] = kKinds[i].word;
        return out;
    }();
    return words;
}

std::optional<std::string_view> temporary_item_word(std::string_view typed) {
    const auto hookup = from_word<Hookup>(typed);
    for (const Kind& kind : kKinds) {
        if (kind.word == typed) return kind.word;
        if (hookup && *hookup != Hookup::normal && std::find(kind.hookups.begin(), kind.hookups.end(), *hookup) != kind.hookups.end())
            return kind.word;
    }
    return std::nullopt;
}

}  // namespace hushtrace
