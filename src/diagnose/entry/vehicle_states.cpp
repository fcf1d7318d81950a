#include "vehicle_states.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/vehicle/remedies.hpp"

namespace hushtrace {
namespace {

constexpr double kWorkmanship_db = 6.0;  // a remedy isn't the test it resembles: it may have been done badly (common practice, no source)

/// Whether a state says where a source gets in: by a test, not by a meter or its two sides alone.
bool tells(const EntryEvidence& evidence) {
    return std::any_of(evidence.outcomes.begin(), evidence.outcomes.end(), [](const EntryOutcome& one) {
        return one.test != EntryTest::inputs_shorted && facts_of(one.test).read_by != ReadBy::meter && facts_of(one.test).read_by != ReadBy::channels;
    });
}

}  // namespace

std::vector<VehicleState> vehicle_states(const std::list<TakeSurvey>& surveys, const Job& job) {
    std::vector<VehicleState> states;
    const auto state_of = [&states](const std::optional<std::string>& change) -> VehicleState& {
        for (VehicleState& one : states)
            if (one.change == change) return one;
        return states.emplace_back(VehicleState{change, {}, {}});
    };
    for (const TakeSurvey& survey : surveys) state_of(survey.take->after_change).takes.insert(survey.take->file);
    for (VehicleState& state : states) {
        state.job = job;
        for (Observation& one : state.job.observations) {
            one.declined = one.declined || one.after_change != state.change;
            one.after_change.reset();
        }
    }
    return states;
}

bool may_be_there(const NoiseSource& source, const VehicleState& state, const std::list<TakeSurvey>& surveys) {
    for (const LevelInTake& level : source.levels)
        if (level.level_dbfs && state.takes.contains(level.take)) return true;
    bool looked = false;
    for (const TakeSurvey& now : surveys) {
        if (!state.takes.contains(now.take->file) || !level_in(source, now, loudest_channel(source))) continue;   // silence tells nothing
        for (const LevelInTake& level : source.levels)
            for (const TakeSurvey& then : surveys)
                looked = looked || (then.take->file == level.take && level.level_dbfs && alike(then.take->conditions, now.take->conditions));
    }
    return !looked;
}

std::optional<LevelsAround> levels_around(const NoiseSource& source, const std::vector<VehicleState>& states, std::size_t after,
                                          const std::list<TakeSurvey>& surveys) {
    const Channel channel = loudest_channel(source);
    struct Mean {
        double sum = 0, squares = 0, count = 0;
        bool at_most = true;
        std::string last;
        void add(const LevelHere& one) {
            if (one.at_most && !at_most) return;
            if (!one.at_most && at_most) *this = Mean{0, 0, 0, false, ""};
            sum += one.level_db;
            squares += one.sd_db * one.sd_db;
            count += 1;
            last = one.survey->take->file;
        }
        double level() const { return sum / count; }
        double variance(double repeats) const { return squares / (count * count) + repeats * repeats / count; }
    };
    // a probe on the supply may make a loop of its own: takes with other channels are no like ones
    const auto mean_of = [&](const VehicleState& state, const Take& like) {
        Mean mean;
        for (const TakeSurvey& survey : surveys)
            if (state.takes.contains(survey.take->file) && alike(survey.take->conditions, like.conditions) && survey.take->channels == like.channels)
                if (const auto level = level_in(source, survey, channel)) mean.add(*level);
        return mean;
    };
    for (std::size_t before = after; before-- > 0;) {
        std::optional<LevelsAround> best;
        double loudest = -1e9;
        for (const TakeSurvey& survey : surveys) {
            if (!states[after].takes.contains(survey.take->file)) continue;
            const Take& like = *survey.take;
            const Mean then = mean_of(states[before], like), now = mean_of(states[after], like);
            if (then.count == 0 || then.at_most || now.count == 0 || then.level() <= loudest) continue;
            loudest = then.level();
            const double repeats = usual_repeats_db(source, like.conditions);
            best = LevelsAround{then.last, now.last, now.level() - then.level(),
                                std::sqrt(then.variance(repeats) + now.variance(now.at_most ? 0.0 : repeats)), now.at_most};
        }
        if (best) return best;
    }
    return std::nullopt;
}

Standing standing_in(std::size_t state, const NoiseSource& source, const std::vector<VehicleState>& states, const NoiseAnalysis& analysis,
                     const std::list<TakeSurvey>& surveys) {
    Standing out;
    for (std::size_t at = state + 1; at-- > 0;) {
        out.evidence = entry_evidence(source, analysis, surveys, states[at].job, &states[at].takes);
        out.rests_on = at;
        if (tells(out.evidence)) break;
    }
    for (std::size_t at = out.rests_on + 1; at <= state; ++at) {
        const auto done = states[at].change ? remedy_named(*states[at].change) : std::nullopt;
        if (!done || !done->remedy.like) continue;
        const auto around = levels_around(source, states, at, surveys);
        if (!around) continue;
        EntryOutcome outcome;
        outcome.test = *done->remedy.like;
        outcome.change = around->change_db;
        outcome.sd = std::hypot(around->sd_db, kWorkmanship_db);
        outcome.at_most = around->at_most;
        outcome.takes = {around->before, around->after};
        outcome.done = *states[at].change;
        out.evidence.outcomes.push_back(std::move(outcome));
    }
    out.posterior = entry_posterior(out.evidence.question, out.evidence.outcomes);
    return out;
}

}  // namespace hushtrace
