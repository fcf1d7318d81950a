#pragma once
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/tone_place.hpp"
#include "hushtrace/measure/transfer.hpp"
#include "hushtrace/signal/tone.hpp"
#include "hushtrace/signal/tone_programme.hpp"

namespace hushtrace {

/// A sweep as it is played: with soft ends.
struct PlayedSweep {
    Sweep sweep;
    double ramp_s = programme_ramp_s;  ///< of the raised cosine at either end
};

/// One harmonic's power against the fundamental's.
struct HarmonicPoint {
    double frequency_hz = 0;  ///< of the fundamental; the harmonic lies at number times that
    Reading ratio_db;         ///< amplitude of the harmonic over the fundamental's, both as captured
    double power_ratio = 0;   ///< the same as a power, noise taken off (below 0 by chance where there is none)
    double power_ratio_sd = 0;
};
struct HarmonicResponse {
    std::size_t number = 2;
    std::vector<HarmonicPoint> points;
};

struct SweepResponse {
    Transfer transfer;                        ///< the linear part, capture over played
    std::vector<HarmonicResponse> harmonics;  ///< 2nd and up, those that a sweep of this length can tell apart
    double coarse_delay_s = 0;                ///< of the strongest arrival after the sweep's start
    bool cut_short = false;                   ///< the capture ends inside the sweep: frequencies above are missing
    double sample_rate_hz = 0;

    /// Harmonics (rms sum) against the fundamental, in percent, over a third of an octave around a frequency.
    std::optional<Reading> thd_percent(double frequency_hz) const;
};

/// Response and harmonic distortion of one channel from an exponential sweep.
///
/// The capture's transform is divided by that of the sweep, drawn at the rate at which the player's clock makes it
/// appear. In the impulse response that follows the n-th harmonic stands T ln n / ln(f2/f1) before the linear part;
/// windows around each separate them. A window is 16 cycles long on either side at the frequency it is read at (4 ms at
/// least), so resolution is some tenth of the frequency. The noise is what the same window finds where nothing of the
/// sweep is left.
///   source  Farina 2000, AES 108th convention, preprint 5093; windows of constant cycles: our own choice
///
///   samples  [frames] one channel, the sweep inside with 0.35 s before and after it where there is that much;
///            what lies further away isn't looked at
///   returns  points from 1.15 times the sweep's first frequency to 0.95 of its last (0.88 below 5 kHz; 0.85
///            where the capture doesn't hold its end), at most 0.46 of the rate
///   throws   Error invalid_request: a sweep that doesn't rise by an octave, or is too long (2^24 samples);
///            too_short: the sweep began before the capture, or less than an octave of it is in it;
///            not_finite
SweepResponse measure_sweep_response(std::span<const double> samples, double sample_rate_hz, const PlayedSweep& played,
                                     const TonePlace& place, std::size_t highest_harmonic = 9);

/// Finds a sweep in one channel of a capture without markers, its start and the clocks' difference, streamed: memory
/// holds twice the sweep.
///
/// Each stretch is deconvolved in octaves; a sweep stands out as a peak at one time in all octaves that the path passes.
/// The start is that of a path without delay: path delay and start can't be told apart. The clocks' difference is told
/// from an arrival that moves with the sweep's own time, what the magnitude explains (minimum phase) taken off.
class SweepFinder {
public:
    /// throws Error as measure_sweep_response
    ///   same_clock  what plays is what captures (an interface's own output): the clocks don't differ
    SweepFinder(double sample_rate_hz, const PlayedSweep& played, bool same_clock = false);
    ~SweepFinder();
    SweepFinder(SweepFinder&&) noexcept;
    SweepFinder& operator=(SweepFinder&&) noexcept;
    void add(std::span<const double> samples);
    struct Found {
        TonePlace place;
        double strength = 0;  ///< height of the strongest octave's peak over its rms; noise alone stays below 5
    };
    /// The strongest sweep; nothing when none stands out. Call it once, after the last add().
    std::optional<Found> result();

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
