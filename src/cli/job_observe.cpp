#include "job_observe.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/job/ground_reading.hpp"
#include "hushtrace/job/temporary_items.hpp"
#include "hushtrace/signal/tone.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {


/// "80mV" in the unit that job.json uses for this observation.
double reading_from(const std::string& what, std::string_view unit, const std::string& text) {
    const Quantity quantity = quantity_from("--observe " + what, text);
    struct Prefix {
        std::string_view sign;
        double factor;
    };
    for (const Prefix& prefix : {Prefix{"", 1}, {"m", 1e-3}, {"u", 1e-6}, {"k", 1e3}})
        if (quantity.unit == std::string(prefix.sign) + std::string(unit) ||
            (quantity.unit.empty() && prefix.sign.empty()))
            return quantity.value * prefix.factor;
    refuse(fmt::format("--observe {}: {} is no unit for it; write it in {}", what, in_quotes(quantity.unit),
                       unit));
}

/// "ground_drop=0.08V", "noise_heard=gone", "shell_to_case=declined"
Observation observation_from(const std::string& text, const ObserveOptions& options, const ConditionsOptions& conditions, const ToneOptions& tone) {
    Observation seen;
    const auto equals = text.find('=');
    seen.what = text.substr(0, equals);
    const auto unit = observation_unit(seen.what);
    if (!unit) refuse("--observe: " + none_of(seen.what, observation_words()));
    if (equals == std::string::npos || equals + 1 == text.size())
        refuse(fmt::format("--observe: {} has no value; write {}={}", in_quotes(text), seen.what,
                           unit->empty() ? std::string(heard_words(seen.what).back()) : "0.08" + std::string(*unit)));
    const std::string value = text.substr(equals + 1);
    seen.unit = std::string(*unit);
    seen.conditions = conditions.conditions();
    seen.after_change = options.after_change;
    if (seen.what == "amplifier_output") {
        seen.tone = tone.tone();
        if (seen.tone) ToneGenerator(seen.tone->waveform, 192000);  // refuses what no tone is
        seen.meter_good_to_hz = number_from("--meter-good-to", options.meter_good_to);
        if (seen.meter_good_to_hz && !(*seen.meter_good_to_hz > 0)) refuse("--meter-good-to: must be above 0 Hz");
    }
    if (value == "declined") {
        seen.declined = true;
        seen.reason = options.reason;
    } else if (unit->empty()) {
        seen.heard = value;
        const auto words = heard_words(seen.what);
        if (std::find(words.begin(), words.end(), value) == words.end())
            refuse(fmt::format("--observe {}: {}", seen.what, none_of(value, words)));
    } else {
        seen.value = reading_from(seen.what, *unit, value);
        if (*seen.value < 0)
            refuse(fmt::format("--observe {}: {} is negative; write it without its sign", seen.what,
                               in_quotes(value)));
    }
    return seen;
}

Observation removal_of(std::string_view item, const Job& job) {
    Observation seen;
    seen.what = "removed";
    seen.heard = std::string(item);
    if (!job.takes.empty()) seen.after_take = job.takes.back().file;
    return seen;
}

/// "removed=isolator", "removed=all": what came out must have been in.
std::vector<Observation> removals_from(const std::string& typed, const Job& job) {
    std::vector<Observation> out;
    const std::vector<TemporaryItem> items = temporary_items(job);
    if (typed == "all") {
        for (const TemporaryItem& one : items)
            if (!one.out) out.push_back(removal_of(one.word, job));
        if (out.empty()) refuse("--observe removed=all: nothing temporary is in place");
        return out;
    }
    const auto word = temporary_item_word(typed);
    if (!word) refuse("--observe removed: " + none_of(typed, temporary_item_words()));
    const auto item = std::find_if(items.begin(), items.end(), [&](const TemporaryItem& one) { return one.word == *word; });
    if (item == items.end()) refuse(fmt::format("--observe removed={}: no take and no observation of this job used it", typed));
    if (item->out) refuse(fmt::format("--observe removed={}: the job says already that it is out", typed));
    return {removal_of(*word, job)};
}

}  // namespace

std::vector<Observation> observations_from(const std::string& text, const ObserveOptions& options, const ConditionsOptions& conditions,
                                           const ToneOptions& tone, const Job& job) {
    const std::string removed = "removed=";
    if (text.rfind(removed, 0) == 0 && text.size() > removed.size()) return removals_from(text.substr(removed.size()), job);
    return {observation_from(text, options, conditions, tone)};
}

std::optional<Warning> stop_warning(const Observation& seen) {
    const auto why = stop_reason(seen);
    if (!why) return std::nullopt;
    return Warning{"stop", fmt::format("STOP: {}.", *why), std::nullopt};
}

}  // namespace hushtrace::cli
