#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/job/temporary_items.hpp"
#include "read_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kFastestEngine_rpm = 30000;
constexpr double kLongestTake_s = 1e6;

std::vector<Hookup> read_hookup(Fields& fields) {
    std::vector<Hookup> hookup;
    for (const Hookup one : fields.words<Hookup>("hookup"))
        if (std::find(hookup.begin(), hookup.end(), one) == hookup.end()) hookup.push_back(one);
    if (hookup.size() > 1 && std::find(hookup.begin(), hookup.end(), Hookup::normal) != hookup.end()) {
        hookup.erase(std::remove(hookup.begin(), hookup.end(), Hookup::normal), hookup.end());
        fields.reading().warn("hookup_unclear", fields.path_of("hookup"),
                              "'normal' stands beside another hookup; the other one counts");
    }
    if (hookup.empty()) hookup.push_back(Hookup::normal);
    return hookup;
}

Conditions read_conditions(Fields& fields) {
    Conditions found;
    found.point = fields.word<Point>("point").value_or(Point::amp_input);
    found.engine = fields.word<Engine>("engine").value_or(Engine::off);
    found.rpm = fields.number("rpm", {0, kFastestEngine_rpm, true});
    found.source = fields.word<SourceState>("source");
    found.input = fields.word<SourceInput>("input");
    found.volume = fields.number("volume");
    found.amplifier = fields.word<AmplifierState>("amplifier");
    found.hookup = read_hookup(fields);
    found.loads = fields.texts("loads");
    fields.each("attached", [&](Fields& item, std::size_t) {
        const auto device = item.text("device");
        if (!device) item.refuse("device", "is missing; say what is attached");
        found.attached.push_back(
            {*device, item.word<PoweredFrom>("powered_from").value_or(PoweredFrom::none)});
    });
    found.laptop = fields.word<LaptopPower>("laptop");
    found.at_amplifier = fields.text("at_amplifier");
    return found;
}

/// The pads' losses; a null is a pad of unknown loss.
std::vector<double> read_pads(Fields& fields, std::size_t channels, const std::string& file) {
    const auto stated = fields.numbers_or_nulls("attenuation_db", {0, 200, true});
    if (stated.empty()) return {};
    if (stated.size() != channels)
        fields.refuse("attenuation_db", fmt::format("{} values for {} channels", stated.size(), channels));
    if (std::find(stated.begin(), stated.end(), std::nullopt) != stated.end())
        fields.reading().warn("pad_unknown", fields.path_of("attenuation_db"),
                              "a pad's loss is not known; 0 dB is assumed", file);
    std::vector<double> pads;
    pads.reserve(stated.size());
    for (const auto& pad : stated) pads.push_back(pad.value_or(0.0));
    return pads;
}

struct Measured {
    std::string_view what, unit;  ///< no unit: judged by ear
};
constexpr std::array<Measured, 10> kObservations = {{{"shell_to_case", "ohm"},
                                                      {"shell_to_amplifier_ground", "V"},
                                                      {"ground_drop", "V"},
                                                      {"supply_drop", "V"},
                                                      {"charging_voltage", "V"},
                                                      {"ripple", "V"},
                                                      {"noise_heard", ""},
                                                      {"amplifier_wakes", ""},
                                                      {"amplifier_output", "V"},
                                                      {"removed", ""}}};
constexpr std::array<std::string_view, 4> kHeard = {"same", "quieter", "louder", "gone"};
constexpr std::array<std::string_view, 2> kWakes = {"by_itself", "only_with_lead"};

}  // namespace

std::span<const std::string_view> observation_words() {
    static constexpr auto words = [] {
        std::array<std::string_view, kObservations.size()> out;
        for (std::size_t i = 0; i < out.size(); ++i) out[i] = kObservations[i].what;
        return out;
    }();
    return words;
}

std::span<const std::string_view> heard_words(std::string_view what) {
    if (what == "removed") return temporary_item_words();
    return what == "amplifier_wakes" ? std::span<const std::string_view>(kWakes) : kHeard;
}

std::optional<std::string_view> observation_unit(std::string_view what) {
    for (const Measured& one : kObservations)
        if (one.what == what) return one.unit;
    return std::nullopt;
}

Take read_take(Fields& fields) {
    Take take;
    const auto file = fields.path("file");
    if (!file) fields.refuse("file", "is missing; a take needs its sound file");
    take.file = *file;
    take.channels = fields.words<Channel>("channels");
    if (take.channels.empty())
        fields.refuse("channels", "is missing; say what each channel carries, such as [\"left\", \"right\"]");
    for (auto one = take.channels.begin(); one != take.channels.end(); ++one)
        if (std::find(take.channels.begin(), one, *one) != one)
            fields.refuse("channels", fmt::format("'{}' comes twice", to_word(*one)));
    take.conditions = read_conditions(fields);
    if (!fields.find("engine"))
        fields.reading().warn("engine_unstated", fields.path_of("engine"), "is not stated; 'off' is assumed",
                              take.file);
    take.rpm_log = fields.path("rpm_log");
    take.attenuation_db = read_pads(fields, take.channels.size(), take.file);
    fields.object("tone", [&](Fields& inner) { take.tone = read_tone(inner); });
    take.volume_steps = fields.numbers("volume_steps");
    fields.each("marks", [&](Fields& item, std::size_t) {
        const auto time = item.number("time_s", {0, kLongestTake_s, true});
        if (!time) item.refuse("time_s", "is missing");
        take.marks.push_back({*time, item.text("text").value_or("")});
    });
    take.recorded_at = fields.text("recorded_at");
    take.after_change = fields.text("after_change");
    take.faults = fields.words<TakeFault>("faults");
    return take;
}

Observation read_observation(Fields& fields) {
    Observation seen;
    seen.what = fields.text("what").value_or("");
    if (seen.what.empty()) fields.refuse("what", "is missing; say what was observed");
    const auto unit = observation_unit(seen.what);
    if (!unit) fields.refuse("what", none_of(seen.what, observation_words()));
    const bool heard = unit->empty();

    seen.unit = fields.text("unit").value_or(std::string(*unit));
    if (!seen.unit.empty() && seen.unit != *unit)
        fields.refuse("unit", heard ? fmt::format("{} has no unit", seen.what)
                                    : fmt::format("{} is given in {}, not in {}", seen.what, *unit,
                                                  in_quotes(seen.unit)));
    seen.unit = std::string(*unit);
    if (heard) {
        seen.heard = fields.text("value");
        const auto words = heard_words(seen.what);
        if (seen.heard && std::find(words.begin(), words.end(), *seen.heard) == words.end()) fields.refuse("value", none_of(*seen.heard, words));
    } else {
        seen.value =
            fields.number("value", kNotNegative);  // a meter's sign only says which way its leads lay
    }
    seen.declined = fields.yes_or_no("declined").value_or(false);
    seen.reason = fields.text("reason");
    if (seen.declined && (seen.value || seen.heard))
        fields.refuse("declined", "a value is given all the same");
    seen.conditions = read_conditions(fields);
    seen.after_change = fields.text("after_change");
    fields.object("tone", [&](Fields& inner) { seen.tone = read_tone(inner); });
    seen.meter_good_to_hz = fields.number("meter_good_to_hz", {0, 1e6, false});
    for (const auto& [name, given] : {std::pair("tone", seen.tone.has_value()), std::pair("meter_good_to_hz", seen.meter_good_to_hz.has_value())})
        if (given && seen.what != "amplifier_output") fields.refuse(name, fmt::format("{} has none; amplifier_output does", seen.what));
    seen.after_take = fields.path("after_take");
    if (seen.after_take && seen.what != "removed") fields.refuse("after_take", fmt::format("{} has none; removed does", seen.what));
    return seen;
}

}  // namespace hushtrace
