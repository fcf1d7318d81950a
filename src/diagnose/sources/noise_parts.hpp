#pragma once
#include <optional>
#include <string>
#include <vector>

#include "../takes/take_survey.hpp"
#include "hushtrace/diagnose/findings.hpp"

/// Parts of the noise analysis: what one take's survey means. noise_analysis.cpp joins them over the takes.
namespace hushtrace {

/// What turns in a vehicle, a motor's brushes counted, stays below this.
inline constexpr double kHighestMotor_hz = 3500.0;  // common practice, no source
/// How far a beat of two converters may move from take to take: the difference of two rates that each drift.
inline constexpr double kBeatDrifts = 0.25;

/// Lines below and above a followed whine [dB against it], where they were found.
struct WhineOrders {
    std::optional<double> twelfth, sixth, third, half, two_thirds, twice;
    double lead_prominence_db = 0;
};

/// The alternator's lines in one take.
struct WhineInTake {
    const TakeSurvey* survey = nullptr;
    std::optional<std::size_t> family;  ///< index into survey->families; unset when the line held still
    double frequency_hz = 0,
           frequency_sd_hz = 0;  ///< of the six-pulse line (twelve-pulse on two sets), mean over the take
    double wander = 0;
    std::optional<double> hz_per_rpm;  ///< where a speed was stated
    std::vector<Harmonic> harmonics;   ///< in the channel where they are strongest; level_dbv too
    std::vector<double> mean_square;   ///< [channels] the family's lines together
    std::size_t multiples = 0;         ///< whole multiples found beyond the line itself
    WhineOrders orders;                              ///< of a followed one
    double significance = 0;
    bool usual_constant = false;  ///< hz_per_rpm, or what idling allows, lies in the usual range
};
/// Rate of the strongest train of clicks in any channel, and whether a family is but a tooth of their comb.
std::optional<double> click_rate_of(const TakeSurvey& survey);
bool is_comb_of_clicks(const TakeSurvey& survey, const MovingFamily& family);

/// A line of a followed family that may be the whine.
struct WhineCandidate {
    std::size_t family = 0;  ///< index into survey.families
    double ratio = 1;        ///< of the line to the followed one
    double frequency_hz = 0, frequency_sd_hz = 0;
    double merit_db = 0;     ///< how well it leads its family, by power and relatives
    bool usual_constant = false;
};
std::vector<WhineCandidate> whine_candidates(const TakeSurvey& survey);
/// The whine that a candidate leads; nothing when its family has no such line.
std::optional<WhineInTake> whine_at(const TakeSurvey& survey, const WhineCandidate& candidate);

/// A line of a running take that holds still and may yet be the whine of a steadily held engine.
struct HeldLine {
    double frequency_hz = 0, frequency_sd_hz = 0, prominence_db = 0, mean_square = 0;
    bool usual_constant = false;
};
/// Those that stand in none of the `others` (takes at rest, or at another speed), strongest first, at most thirty.
std::vector<HeldLine> held_lines(const TakeSurvey& survey, const std::vector<const TakeSurvey*>& others);
WhineInTake held_whine_at(const TakeSurvey& survey, const HeldLine& line);

/// Gives `clicks` of all channels to one rate, `other_clicks` to the other: where the engine turns, `clicks` to that which
/// is likelier its ignition; else to the stronger one. `off` is the take with the engine at rest, or null.
void settle_clicks(TakeSurvey& survey, const TakeSurvey* off, const VehicleData& vehicle);

/// Clicks of one take, judged as ignition or as clicks of their own.
struct ClicksInTake {
    const TakeSurvey* survey = nullptr;
    ImpulseTrain train;
    double rate_hz = 0;                      ///< where they are there; the train's mean unless the engine stopped
    bool ignition = false;
    std::optional<double> rpm;               ///< that the rate gives, where the cylinders are known
    std::optional<double> moves_with_whine;  ///< correlation of the two tracks
    double probability = 0;                  ///< that the engine makes them, where it turns
    std::string why;
};
/// `speed` is what is known of the engine in that take by other means than these clicks, or null.
std::optional<ClicksInTake> clicks_in(const TakeSurvey& survey, const TakeSurvey* off, const WhineInTake* whine,
                                      const VehicleData& vehicle, const EngineInTake* speed);
/// Of a train that is given.
ClicksInTake judged_clicks(const ImpulseTrain& train, const TakeSurvey& survey, const TakeSurvey* off, const WhineInTake* whine,
                           const VehicleData& vehicle, const EngineInTake* speed);

/// A set of steady lines that belong together.
struct SteadyComb {
    NoiseKind kind = NoiseKind::unexplained_tone;
    double frequency_hz = 0, frequency_sd_hz = 0;  ///< the comb's spacing, or the line itself
    std::vector<double> mean_square;               ///< [channels]
    std::vector<Harmonic> harmonics;
    double surprise = 0;                           ///< -ln of the probability that noise alone does this
    std::string_view rests_on;                     ///< row of confidence.hpp
    std::string why;
    std::vector<Evidence> evidence;                ///< beside `why`; takes are added when it joins a source
};
/// What is explained already, or can't be told from it.
struct SpokenFor {
    std::vector<double> known_hz;              ///< lines of a steadily held whine
    std::optional<std::size_t> whine_family;   ///< index into the survey's families
    struct Clicks {
        double rate_hz = 0, wander = 0;
    };
    std::vector<Clicks> clicks;                ///< trains of them make lines at their multiples
    std::vector<const TakeSurvey*> floor_takes;   ///< inputs shorted: the set-up's own lines
};
/// Mains, phone, bus and switched loads' combs, fixed motors, and what is left over as tones of their own; lines of
/// followed families and what is spoken for are left out.
std::vector<SteadyComb> steady_combs_in(const TakeSurvey& survey, const Job& job, const SpokenFor& spoken);
/// Standard deviations above noise from which a family that moves is told as a source of its own.
inline constexpr double kSureFamily = 8.0;

/// Levels of all channels: appends to source.levels, with dBV where calibrated. `lines_hz` are the lines that make it
/// up, for what the noise under them leaves open; `least_sd_db` is what else does (a source that wanders, say).
void add_levels(NoiseSource& source, const TakeSurvey& survey, const std::vector<double>& mean_square,
                double least_sd_db, const std::vector<double>& lines_hz = {});

/// Actions and safety notes for what was found.
std::vector<Action> advice_for(const NoiseSource& source, const Job& job);

double correlation_of(const Track& a, const Track& b);

}  // namespace hushtrace
