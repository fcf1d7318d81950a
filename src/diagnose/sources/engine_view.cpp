#include "engine_view.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../takes/click_trains.hpp"
#include "../takes/line_level.hpp"
#include "../takes/take_kind.hpp"
#include "noise_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kNatsPerDecibel = 0.15;  // of merit: 10 dB count as much as a ratio 2.5 standard deviations off
constexpr double kHeldPenalty = 3.0;      // a line that wanders as an engine does goes before one that holds still
constexpr double kAgainst = 3.0;          // what speaks against a line being the whine
constexpr double kDialsAlike = 0.025;     // all typed speeds come from one dial (common practice, no source)
constexpr double kMeasuredAlike = 0.001;
constexpr double kSamePlace = 0.004;      // of a frequency: how far a line may lie off in the take at rest
constexpr double kSlip = 0.007;
constexpr double kKnownWithin = 0.08;      // a constant vaguer than that is none
constexpr double kMeasuredWithin = 0.025;  // likewise where a speed was measured: many lines fit, none well

struct Seen {
    const TakeSurvey* survey = nullptr;
    TakeSpeed speed;
    std::vector<WhineCandidate> followed;
    std::vector<HeldLine> held;
    WhineTake model;                    ///< followed lines first, then held ones
    std::optional<std::size_t> chosen;  ///< of the model's lines
    const WhineInTake* whine = nullptr;

    bool measured() const { return speed.from == "log" || speed.from == "firing"; }
};

/// The clicks' rate as a log of the engine's speed.
RpmLog clicks_as_log(const ImpulseTrain& clicks, double order) {
    RpmLog log;
    log.time_s = clicks.rate.time_s;
    for (const double rate : clicks.rate.frequency_hz) log.rpm.push_back(60.0 * rate / order);
    return log;
}

/// What the speed beside it says of a family: for its lines' weights, and of the speed while it was followed.
struct FamilySpeed {
    double log_weight = 0;
    std::optional<SpeedGuess> speed;
    bool no_engines = false;  ///< it surely does not follow
};
FamilySpeed speed_along(const Seen& seen, const MovingFamily& family) {
    FamilySpeed out;
    const Track& track = family.ridge.track;
    std::optional<TrackAgainstSpeed> held;
    if (seen.speed.from == "log") {
        RpmLog log = *seen.survey->rpm_log;   // a lag was found by one family: it holds for all
        for (double& time : log.time_s) time -= seen.speed.lag_s.value_or(0.0);
        held = hold_against(track, log, seen.speed.lag_s ? 0.0 : 6.0);
    } else if (seen.speed.from == "firing") {
        held = hold_against(track, clicks_as_log(*strongest_clicks(*seen.survey), *seen.speed.firing_order), 0.0);
    }
    if (!held) return out;
    if (held->follows()) out.log_weight = 3.0;
    if (held->strays()) {
        // a log says so for good; the clicks' rate is read more coarsely, and may be a stranger's
        out.log_weight = -1.5;
        out.no_engines = seen.speed.from == "log";
    }
    if (held->residual_share > 0.03) return out;  // it tells nothing of the speed while it was followed
    const double own_sd = seen.speed.from == "log" ? 0.0025 : 0.0015;
    out.speed = SpeedGuess{family.mean_hz / held->hz_per_rpm, std::hypot(held->sd_share, own_sd), 0.97};
    return out;
}

/// Whether a line is but the first multiple of one that is stronger: then that one would be the whine. A diode or a
/// phase that is open makes strong lines below, but at a sixth or a third as well.
bool has_stronger_half(const MovingFamily& family, double ratio) {
    const auto power_at = [&](double wanted) {
        double most = 0;
        for (const OrderLine& line : family.lines) {
            if (std::abs(line.ratio - wanted) > std::max(0.0006 * wanted, 2.0 / family.mean_hz)) continue;
            double sum = 0;
            for (const double one : line.mean_square) sum += one;
            most = std::max(most, sum);
        }
        return most;
    };
    return power_at(0.5 * ratio) > power_at(ratio) && power_at(ratio / 3.0) == 0.0 && power_at(ratio / 6.0) == 0.0;
}
bool has_stronger_half(const std::vector<HeldLine>& lines, const HeldLine& line) {
    return std::any_of(lines.begin(), lines.end(), [&](const HeldLine& other) {
        return std::abs(2.0 * other.frequency_hz - line.frequency_hz) < std::max(2.0, 0.001 * line.frequency_hz) &&
               other.mean_square > line.mean_square;
    });
}

void model_of(Seen& seen, bool has_off) {
    double best_merit = -1e300, best_prominence = 0;
    for (const WhineCandidate& one : seen.followed) best_merit = std::max(best_merit, one.merit_db);
    for (const HeldLine& one : seen.held) best_prominence = std::max(best_prominence, one.prominence_db);
    std::vector<FamilySpeed> families;
    for (const MovingFamily& family : seen.survey->families) families.push_back(speed_along(seen, family));
    // a speed that was swept moves its lines more than an idle does
    const bool swept = seen.survey->take->conditions.engine == Engine::sweep;
    std::erase_if(seen.followed, [&](const WhineCandidate& one) {
        return families[one.family].no_engines || (swept && seen.survey->families[one.family].wander < 0.03);
    });
    for (const WhineCandidate& one : seen.followed) {
        WhineLine line;
        line.frequency_hz = one.frequency_hz;
        // of the mean over the take; who stated a speed did so at some moment of it
        const double wander = std::min(0.1, seen.survey->families[one.family].wander);
        line.sd_share = seen.measured() ? 0.001 : std::hypot(0.001, 0.5 * wander);
        line.log_weight =
            std::max(-6.0, kNatsPerDecibel * (one.merit_db - best_merit)) + families[one.family].log_weight;
        const MovingFamily& family = seen.survey->families[one.family];
        if (has_stronger_half(family, one.ratio)) line.log_weight -= kAgainst;
        line.measured = families[one.family].speed;
        seen.model.lines.push_back(line);
    }
    for (const HeldLine& one : seen.held) {
        WhineLine line;
        line.frequency_hz = one.frequency_hz;
        line.sd_share = one.frequency_sd_hz / one.frequency_hz;
        line.log_weight = std::max(-4.0, 0.5 * kNatsPerDecibel * (one.prominence_db - best_prominence)) +
                          (one.usual_constant ? 0.0 : -1.0) - (has_off ? 0.0 : 1.5) -
                          (seen.followed.empty() ? 0.0 : kHeldPenalty);
        if (has_stronger_half(seen.held, one)) line.log_weight -= kAgainst;
        seen.model.lines.push_back(line);
    }
    seen.model.speeds = seen.speed.guesses;
}

std::string from_of(const std::vector<Seen>& takes) {
    for (const char* from : {"log", "firing", "typed"})
        for (const Seen& seen : takes)
            if (seen.chosen && seen.speed.from == from) return from;
    return {};
}

class View {
public:
    View(const VehicleData& vehicle, const std::list<TakeSurvey>& surveys,
         const std::function<const TakeSurvey*(const TakeSurvey&)>& twin, std::vector<Warning>& warnings)
        : vehicle_(vehicle), twin_(twin) {
        told_ = {vehicle.alternator.pole_pairs, vehicle.alternator.pulley_ratio};
        for (const TakeSurvey& survey : surveys) {
            if (is_floor_take(*survey.take) || !engine_active(*survey.take)) continue;
            Seen& seen = seen_.emplace_back();
            seen.survey = &survey;
            seen.speed = speed_of(survey, vehicle, warnings);
            // hybrids and electric cars charge by a converter (common practice, no source): awake, they have no
            // alternator
            const bool alternator =
                vehicle.drive != Drive::electric && survey.take->conditions.engine != Engine::ready;
            if (alternator) seen.followed = whine_candidates(survey);
        }
        for (Seen& seen : seen_) {
            std::vector<const TakeSurvey*> others;
            const TakeSurvey* off = twin_(*seen.survey);
            if (off) others.push_back(off);
            for (const Seen& other : seen_)
                if (differ(seen, other)) others.push_back(other.survey);
            if (seen.survey->take->conditions.engine != Engine::sweep) seen.held = held_lines(*seen.survey, others);
            model_of(seen, off != nullptr);
        }
        for (Seen& seen : seen_)
            for (std::size_t i = 0; i < seen.followed.size(); ++i)
                if (stands_elsewhere(seen, seen.survey->families[seen.followed[i].family].mean_hz) || stands_at_rest(seen, seen.followed[i]))
                    seen.model.lines[i].log_weight -= kAgainst;
    }

    EngineView run() {
        estimate();
        choose();
        describe();
        return std::move(out_);
    }

private:
    /// Whether two takes were surely made at different speeds.
    static bool differ(const Seen& a, const Seen& b) {
        if (&a == &b || a.speed.from.empty() || b.speed.from.empty()) return false;
        const SpeedGuess &x = a.speed.guesses.front(), &y = b.speed.guesses.front();
        return std::abs(std::log(x.rpm / y.rpm)) > 0.02 + 2.5 * std::hypot(x.sd_share, y.sd_share);
    }

    /// Whether a path was followed at the same frequency in a take at another speed: then it follows no engine.
    bool stands_elsewhere(const Seen& seen, double frequency_hz) const {
        return std::any_of(seen_.begin(), seen_.end(), [&](const Seen& other) {
            const Engine here = seen.survey->take->conditions.engine, there = other.survey->take->conditions.engine;
            if (!differ(seen, other) && (here == there || (here != Engine::idle && there != Engine::idle)))
                return false;
            const auto& families = other.survey->families;
            return std::any_of(families.begin(), families.end(), [&](const MovingFamily& one) {
                return std::abs(one.mean_hz / frequency_hz - 1.0) < 0.01;
            });
        });
    }

    /// Whether a line stands at the same frequency with the engine off, followed or still.
    bool stands_at_rest(const Seen& seen, const WhineCandidate& candidate) const {
        const TakeSurvey* off = twin_(*seen.survey);
        if (!off) return false;
        const MovingFamily& here = seen.survey->families[candidate.family];
        const auto at = [&](double hz, double wander) {
            const double reach = kSamePlace + 1.5 * std::hypot(wander, here.wander);
            return std::abs(hz / here.mean_hz - 1.0) < reach || std::abs(hz / candidate.frequency_hz - 1.0) < reach;
        };
        if (std::any_of(off->families.begin(), off->families.end(), [&](const MovingFamily& one) { return at(one.mean_hz, one.wander); }))
            return true;
        double most = 0;
        for (const OrderLine& line : here.lines)
            if (std::abs(line.ratio - 1.0) < 0.002)
                for (const double power : line.mean_square) most = std::max(most, power);
        return std::any_of(off->channels.begin(), off->channels.end(), [&](const ChannelSurvey& channel) {
            const auto stands = [&](const auto& line) { return at(line.frequency_hz, 0.0) && line.mean_square > 0.1 * most; };
            const auto covers = [&](const Hump& hump) { return candidate.frequency_hz > hump.low_hz && candidate.frequency_hz < hump.high_hz; };
            if (std::any_of(channel.humps.begin(), channel.humps.end(), covers)) return true;
            if (bulges_alike(*seen.survey, *off, candidate.frequency_hz, here.wander)) return true;
            return std::any_of(channel.lines.begin(), channel.lines.end(), stands) ||
                   std::any_of(channel.brief.lines.begin(), channel.brief.lines.end(), stands);
        });
    }

    void estimate() {
        std::vector<WhineTake> models;
        for (const Seen& seen : seen_) models.push_back(seen.model);
        constant_ = joint_whine_constant(models, told_, 0.0);
        if (!constant_) return;
        for (std::size_t i = 0; i < seen_.size(); ++i) seen_[i].chosen = constant_->line[i];
    }

    /// How many takes with a speed of their own agree on the constant.
    std::size_t agreeing() const {
        return static_cast<std::size_t>(std::count_if(
            seen_.begin(), seen_.end(), [](const Seen& seen) { return seen.chosen && !seen.speed.from.empty(); }));
    }
    bool alternator_told() const { return told_.pole_pairs && told_.pulley_ratio; }

    bool held_is_whine(const Seen& seen, const HeldLine& line) const {
        if (!constant_ || seen.speed.from.empty()) return false;
        const bool off = twin_(*seen.survey) != nullptr;
        if (agreeing() >= 2) return true;
        if (alternator_told() && off) return true;
        // no engine idles so evenly
        return off && line.usual_constant && seen.survey->take->conditions.engine != Engine::idle;
    }

    void choose() {
        for (Seen& seen : seen_) {
            std::optional<WhineInTake> whine;
            if (seen.chosen && *seen.chosen < seen.followed.size() && !stands_at_rest(seen, seen.followed[*seen.chosen])) {
                whine = whine_at(*seen.survey, seen.followed[*seen.chosen]);
            } else if (seen.chosen && *seen.chosen >= seen.followed.size()) {
                const HeldLine& line = seen.held[*seen.chosen - seen.followed.size()];
                if (held_is_whine(seen, line)) whine = held_whine_at(*seen.survey, line);
            }
            if (!whine) {
                seen.chosen.reset();
                const WhineCandidate* best = nullptr;
                for (const WhineCandidate& one : seen.followed)
                    if (one.usual_constant && !stands_at_rest(seen, one) && (!best || one.merit_db > best->merit_db)) best = &one;
                if (best) whine = whine_at(*seen.survey, *best);
            }
            if (!whine) continue;
            out_.whines.push_back(std::move(*whine));
            seen.whine = &out_.whines.back();
        }
    }

    void describe() {
        EngineFindings& findings = out_.findings;
        const bool any =
            std::any_of(seen_.begin(), seen_.end(), [](const Seen& seen) { return seen.chosen.has_value(); });
        const std::string from = from_of(seen_);
        if (constant_ && any && !from.empty()) {
            const double alike = from == "typed" ? kDialsAlike : kMeasuredAlike;
            const double sd = std::hypot(constant_->sd, alike * constant_->hz_per_rpm);
            const double within = from == "typed" ? kKnownWithin : kMeasuredWithin;
            if (sd < within * constant_->hz_per_rpm && constant_->probability > 0.5) {
                findings.hz_per_rpm = constant_->hz_per_rpm;
                findings.hz_per_rpm_sd = sd;
                findings.from = from;
            }
        }
        if (!findings.hz_per_rpm && any && alternator_told()) take_as_told();
        if (findings.hz_per_rpm) findings.sets = sets();
        for (const Seen& seen : seen_) findings.takes.push_back(in_take(seen));
        for (WhineInTake& whine : out_.whines) set_constant(whine);
        fit_pulleys(findings, vehicle_.alternator);
    }

    /// Hertz per rpm in one take by the best speed known of it, not by what was typed alone.
    void set_constant(WhineInTake& whine) const {
        using W = WhineConstants;
        for (const EngineInTake& take : out_.findings.takes) {
            if (take.take != whine.survey->take->file || !take.rpm) continue;
            const double k = whine.frequency_hz / *take.rpm, reach = 1.0 + 2.0 * *take.rpm_sd / *take.rpm;
            whine.hz_per_rpm = k;
            const double sets_here = out_.findings.sets == 2 ? 2.0 : 1.0;
            whine.usual_constant = k > sets_here * W::usual_low / reach && k < sets_here * W::usual_high * reach;
        }
    }

    /// No take has a speed: the alternator as told gives it.
    void take_as_told() {
        const double one_set = whine_hz_per_rpm(*told_.pole_pairs, *told_.pulley_ratio);
        const double found = constant_ ? constant_->hz_per_rpm : one_set;
        for (const double k : {one_set, 2.0 * one_set}) {
            if (std::abs(std::log(found / k)) > 0.1) continue;
            out_.findings.hz_per_rpm = k;
            out_.findings.hz_per_rpm_sd = 0.015 * k;  // a ratio told to two figures, the belt's slip
            out_.findings.from = "told";
        }
    }

    std::optional<int> sets() const {
        const EngineFindings& findings = out_.findings;
        const double k = *findings.hz_per_rpm, sd = *findings.hz_per_rpm_sd;
        if (alternator_told()) {
            const double one_set = whine_hz_per_rpm(*told_.pole_pairs, *told_.pulley_ratio);
            for (const int count : {1, 2})
                if (std::abs(k / (count * one_set) - 1.0) < 0.06 + 2.0 * sd / k) return count;
        }
        if (k - 2.0 * sd > 1.02 * WhineConstants::possible_high) return 2;
        if (k + 2.0 * sd < WhineConstants::usual_high) return 1;
        return std::nullopt;
    }

    EngineInTake in_take(const Seen& seen) const {
        EngineInTake told;
        const EngineFindings& findings = out_.findings;
        told.take = seen.survey->take->file;
        if (seen.survey->take->conditions.rpm.value_or(0.0) > 0.0) told.typed_rpm = seen.survey->take->conditions.rpm;
        told.firing_hz = seen.speed.firing_hz;
        told.log_lag_s = seen.speed.lag_s;
        if (seen.whine) told.whine_hz = seen.whine->frequency_hz;
        const auto say = [&](double rpm, double sd, const std::string& from) {
            told.rpm = rpm;
            told.rpm_sd = sd;
            told.rpm_from = from;
        };
        if (seen.measured()) {
            SpeedGuess guess = seen.speed.guesses.front();
            if (seen.chosen && seen.model.lines[*seen.chosen].measured)
                guess = *seen.model.lines[*seen.chosen].measured;
            say(guess.rpm, guess.rpm * guess.sd_share, seen.speed.from);
        } else if (seen.chosen && findings.hz_per_rpm) {
            const double share = std::hypot(*findings.hz_per_rpm_sd / *findings.hz_per_rpm, kSlip);
            const double rpm = seen.whine->frequency_hz / *findings.hz_per_rpm;
            say(rpm, share * rpm,
                findings.from == "typed" && !seen.speed.from.empty() ? "typed"
                : findings.from == "told"                            ? "told"
                                                                     : "whine");
        } else if (told.typed_rpm && seen.speed.from == "typed") {
            say(*told.typed_rpm, 0.05 * *told.typed_rpm, "typed");
        }
        return told;
    }

    const VehicleData& vehicle_;
    const std::function<const TakeSurvey*(const TakeSurvey&)>& twin_;
    ToldAlternator told_;
    std::vector<Seen> seen_;
    std::optional<WhineConstant> constant_;
    EngineView out_;
};

}  // namespace

EngineView view_engine(const VehicleData& vehicle, const std::list<TakeSurvey>& surveys,
                       const std::function<const TakeSurvey*(const TakeSurvey&)>& twin,
                       std::vector<Warning>& warnings) {
    return View(vehicle, surveys, twin, warnings).run();
}

}  // namespace hushtrace
