#pragma once
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <string_view>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/measure/tone_reading.hpp"

namespace hushtrace {

// ---- in a steady tone ----

/// What bends a tone.
enum class ClippingKind {
    none,            ///< nothing beyond a gentle bend of second and third order
    hard,            ///< an edge: straight up to the rail, then flat
    soft,            ///< the same with a wide, rounded edge
    slew,            ///< the source can't follow the tone's steepness: it turns triangular
    input_overload,  ///< the interface's converter is at its end, not the source
    other            ///< distorted, but neither by a rail nor by its speed (crossover, rattle, a fast limiter)
};
std::string_view to_word(ClippingKind kind);  ///< "none", "hard", ...

/// Which sides of the wave meet a rail, in the capture's polarity.
enum class ClippedSides { none, both, unequal, upper, lower };
std::string_view to_word(ClippedSides sides);

/// How a steady tone clips. Levels are those of the captured signal.
struct ToneClipping {
    ToneReading tone;
    ClippingKind kind = ClippingKind::none;
    ClippedSides sides = ClippedSides::none;  ///< of kinds hard and soft
    /// [dBFS] where clipping starts. Hard: the clean sine that just touches the lower of the rails. Soft: the one that is
    /// bent to 1 % THD. Slew: the one whose steepness, at this frequency, is just followed. Unset for none and other.
    std::optional<Reading> knee_dbfs;
    std::optional<Reading> drive_db;       ///< how far past that knee the tone, unclipped, would reach
    std::optional<Reading> other_knee_dbfs;  ///< of the higher rail, where both sides clip unequally
    std::optional<Reading> slew_per_s;     ///< kind slew: greatest slope [full scale / s]
    double edge_width = 0;                 ///< 0 for a sharp edge; 1/p of Rapp's law, about 0.4 for a tanh
    double clipped_share = 0;              ///< of the time that the wave spends beyond a rail (or its slope at the end)
    double unexplained_share = 0;          ///< of the harmonics' amplitude (rms) that the model leaves
    double pinned_share = 0;               ///< of the samples that stand at the converter's end

    bool clips() const { return kind != ClippingKind::none && kind != ClippingKind::other; }
};

/// Tells what clips a tone, from its harmonics with their phases.
///
/// What an output stage does to A sin(wt) without memory makes harmonics that are real against the crest of the wave:
/// y = F(A sin wt). F is straight with a slight bend (second, third order) up to a rail on either side, whose corner
/// follows Rapp's law (1991), y = x / (1 + |x/c|^p)^(1/p): p of 50 and more is a hard clipper, 2.5 close to a tanh. The
/// analogue path behind it (gain, delay, a high-pass of first order for its coupling, a low-pass of first order) turns
/// and scales each harmonic in a known way; noise is read between the harmonics. Rails, drive, corner, bend and path are
/// fitted together by least squares, once for each of: no rail, equal rails, one rail (upper, lower), unequal rails, and
/// a limit on the slope; the simplest that explains the harmonics is taken. So the flat top need not be flat in the
/// samples: coupling that tilts it and a band limit that ripples it are part of what is fitted.
///
///   samples  [frames], one channel, ten cycles or more of one steady tone; its seventh harmonic must lie in the band
///            (20 kHz and 0.45 of the rate)
///   throws   Error as read_tone; too_short for fewer than ten cycles; invalid_request where the band holds fewer
///            than seven harmonics
ToneClipping read_tone_clipping(std::span<const double> samples, double sample_rate_hz,
                                const ToneSearch& search = {});

/// Share of the samples that stand at the converter's end, each next to another one. A clean full-scale sine has under
/// 0.005 of them.
double share_pinned_to_rail(std::span<const double> samples);
/// From this share on the converter is overloaded.
inline constexpr double kPinnedOverload = 0.012;

/// One setting of a volume, in rising order.
struct LevelStep {
    double level_dbfs = 0;
    bool clean = true;  ///< the tone's distortion keeps the limit
};
/// The first step from which the level hardly rises while the tone stays clean: a limiter at work. The rise must fall
/// below a quarter of the usual one (median of the steps before, 0.3 dB or more). Common practice, no source.
std::optional<std::size_t> limiter_from(std::span<const LevelStep> steps);

// ---- in music ----

/// Clipping of one channel of music.
struct ProgrammeClipping {
    bool clips = false;
    ClippedSides sides = ClippedSides::none;   ///< on which peaks were found cut; unequal: at levels that differ
    std::optional<Reading> clip_level_dbfs;    ///< where peaks are cut: the sine that just touches it; the lower rail's
    std::optional<Reading> other_level_dbfs;   ///< of the higher rail, where both sides clip unequally
    double clipped_share = 0;                 ///< of the samples that stand at that level
    std::size_t peaks_cut = 0, peaks_seen = 0;  ///< of the highest ones, which alone are looked at
    double evidence = 0;  ///< of what is asked of the highest peaks, held against lower ones; clips above 1
    double largest = 0;   ///< largest magnitude
};

/// Finds clipping in music that came through an analogue path, as the samples come; memory does not grow with the take.
///
/// A rail bends the wave at once where it meets it; music doesn't. Round each of the highest peaks of either side the
/// sound is made white by its own linear prediction (order 32, Levinson), forwards and backwards, which is what a
/// matched filter for a pulse of unknown place needs. Two things are read there, in standard deviations of what lies 1
/// to 12 ms away: the largest break, of either sign; and how clearly a cap is missing, by matched filters for parabolic
/// caps of 0.6 to 48 samples' width where the wave's top is flat. Music's own onsets break but lack no cap, noise bursts
/// seem to lack caps but break little: the geometric mean of both counts. It is held against that in peaks of 35 to 70 %
/// of the side's height, which no rail reaches. The coupling's corner (0 to 25 Hz) that makes the cut peaks equally high
/// is sought for the level.
///
///   add()     throws Error not_finite for a NaN or an infinity
///   result()  throws Error empty_input; too_short under half a second; invalid_input when there is nothing but silence or
///             dc, or no peak to look at
class ProgrammeClippingFinder {
public:
    explicit ProgrammeClippingFinder(double sample_rate_hz);
    ~ProgrammeClippingFinder();
    ProgrammeClippingFinder(ProgrammeClippingFinder&&) noexcept;
    ProgrammeClippingFinder& operator=(ProgrammeClippingFinder&&) noexcept;
    void add(std::span<const double> samples);
    ProgrammeClipping result() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
