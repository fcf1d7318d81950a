#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "hushtrace/measure/tone_track.hpp"

namespace hushtrace {

/// A stretch of a stepped take at one setting of the knob.
struct Plateau {
    double start_s = 0, end_s = 0;
    /// Its undisturbed parts: one, or several where clicks lie within the plateau. Each is trimmed by half a
    /// frame either way, so that no sample of a neighbouring step is in it.
    std::vector<std::pair<double, double>> parts_s;
    std::vector<double> level_ln;  ///< [channels] natural logarithm of the tone's amplitude; NaN where absent
    double harmonic_share = 0;     ///< harmonics 2..6 together against the tone, largest of the channels

    std::pair<double, double> longest_part_s() const;
    double duration_s() const { return end_s - start_s; }
};

/// Finds the plateaus in the tracks of a take's channels, in order of time. All channels hang on one knob, so
/// they are searched together: a step that one channel hides (it clips) shows in the other.
///
/// No step length and no step size is assumed. Two stretches are told apart when the tone's amplitude or that
/// of one of its harmonics differs by 0.12 % of the tone (0.01 dB) and by six standard deviations, in a step
/// and not in a drift. Stretches shorter than 0.3 s (or ten cycles) are taken for knob travel; ramps above
/// 0.2 dB/s are none; a click in the middle of a plateau splits it into parts only. Stretches without the
/// tone, and stretches 20 dB below both neighbours (a source that mutes between steps), are left out.
///
///   tracks  [channels] of one take, of equal hop; channels that never hold the tone are ignored
std::vector<Plateau> find_plateaus(std::span<const ToneTrack> tracks);

/// How plateaus were given their volumes.
enum class StepMatch {
    one_to_one,  ///< as many plateaus as steps, in order
    by_level,    ///< some settings came more than once (a step back): equal plateaus share one volume
    at_clicks,   ///< fewer plateaus than steps, but with the clicks within plateaus the number is right: some
                 ///< steps changed nothing (a limiter)
    short_ones_left,  ///< more plateaus than steps; the clearly shorter ones were taken for knob travel
    turned_down_left,  ///< stops at the end, each quieter than the one before it, were left out
    none              ///< numbers don't match; no volume is given
};
struct MatchedSteps {
    StepMatch how = StepMatch::none;
    std::vector<Plateau> plateaus;               ///< possibly split or thinned
    std::vector<std::optional<double>> volumes;  ///< [plateaus]
    bool in_contradiction =
        false;  ///< a higher volume came out quieter by more than 0.1 dB: the list may be wrong
};
/// Gives plateaus the volumes that were stepped through, in order; the first plateau is the first of the list.
MatchedSteps match_steps(std::vector<Plateau> plateaus, std::span<const double> volume_steps);

/// Which setting each plateau shows: equal plateaus are one setting, and settings count from 0 in rising order of level.
std::vector<std::size_t> settings_by_level(std::span<const Plateau> plateaus);

}  // namespace hushtrace
