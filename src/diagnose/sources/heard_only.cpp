#include "heard_only.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

template <class T>
bool agree(const std::optional<T>& a, const std::optional<T>& b) {
    return !a || !b || *a == *b;   // what wasn't stated contradicts nothing
}

/// Hookups that change nothing at or behind the amplifier's input: what is heard then is heard in `normal` too.
bool leaves_the_amplifier(const Conditions& heard) {
    return std::all_of(heard.hookup.begin(), heard.hookup.end(), [](Hookup one) {
        return one == Hookup::normal || one == Hookup::shorted_at_amp || one == Hookup::lead_on_dummy_at_amp;
    });
}

bool alike(const Observation& heard, const Take& take) {
    const Conditions &a = heard.conditions, &b = take.conditions;
    auto loads_a = a.loads, loads_b = b.loads;
    std::sort(loads_a.begin(), loads_a.end());
    std::sort(loads_b.begin(), loads_b.end());
    return a.engine == b.engine && loads_a == loads_b && agree(a.volume, b.volume) && agree(a.source, b.source) &&
           agree(a.input, b.input) && heard.after_change == take.after_change;
}

bool is_normal_take(const TakeSurvey& survey) {
    const Take& take = *survey.take;
    const bool sounds = std::any_of(survey.channels.begin(), survey.channels.end(), [](const ChannelSurvey& c) { return !c.silent; });
    return take.conditions.point == Point::amp_input && sounds && take.conditions.hookup.size() == 1 &&
           take.conditions.has(Hookup::normal);
}

bool holds_a_source(const std::list<NoiseSource>& sources, const std::string& file) {
    return std::any_of(sources.begin(), sources.end(), [&file](const NoiseSource& one) {
        return one.kind != NoiseKind::hiss && std::find(one.takes.begin(), one.takes.end(), file) != one.takes.end();
    });
}

Evidence hiss_alone(const TakeSurvey& survey) {
    double most = 1e-30;
    std::optional<double> volts_full_scale;
    for (const ChannelSurvey& c : survey.channels)
        if (!c.silent && c.floor.all.unweighted.value > most) {
            most = c.floor.all.unweighted.value;
            volts_full_scale = c.volts_full_scale;
        }
    const double dbfs = dbfs_from_mean_square(most), level = volts_full_scale ? dbv_from_dbfs(dbfs, *volts_full_scale) : dbfs;
    const char* unit = volts_full_scale ? "dBV" : "dBFS";
    return {fmt::format("In the take made in the same conditions the amplifier's input holds nothing but hiss, {:.1f} {}.", level, unit),
            level, unit, std::nullopt, {survey.take->file}, {}};
}

}  // namespace

void add_heard_only(std::list<NoiseSource>& sources, const std::list<TakeSurvey>& surveys, const Job& job) {
    NoiseSource found;
    found.kind = NoiseKind::heard_only;
    bool shorted = false, brief = false;
    for (std::size_t i = 0; i < job.observations.size(); ++i) {
        const Observation& one = job.observations[i];
        if (one.what != "noise_heard" || !one.heard || *one.heard == "gone" || !leaves_the_amplifier(one.conditions)) continue;
        const auto twin = std::find_if(surveys.begin(), surveys.end(), [&one](const TakeSurvey& survey) {
            return is_normal_take(survey) && alike(one, *survey.take);
        });
        if (twin == surveys.end() || holds_a_source(sources, twin->take->file)) continue;
        const bool here = !one.conditions.has(Hookup::normal);
        shorted = shorted || here;
        brief = brief || twin->duration_s < 3.0;
        found.evidence.push_back({here ? fmt::format("Noise is heard ({}) with the amplifier's input shorted.", *one.heard)
                                       : fmt::format("Noise is heard ({}) in the normal hookup.", *one.heard),
                                  1, "observation", std::nullopt, {}, {i}});
        found.evidence.push_back(hiss_alone(*twin));
    }
    if (found.evidence.empty()) return;
    const std::size_t observations = found.evidence.size() / 2;  // each has what was measured beside it
    found.evidence.insert(found.evidence.begin(),
                          {"It comes from behind the amplifier's input: the amplifier, its supply, or the speakers' leads.",
                           static_cast<double>(observations), "observations", std::nullopt, {}, {}});
    for (const Evidence& one : found.evidence)
        found.evidence.front().observations.insert(found.evidence.front().observations.end(), one.observations.begin(),
                                                   one.observations.end());
    found.confidence = shorted ? 0.95 : (brief ? 0.7 : 0.88);
    sources.push_back(std::move(found));
}

}  // namespace hushtrace
