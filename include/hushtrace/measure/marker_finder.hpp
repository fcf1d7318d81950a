#pragma once
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/signal/tone_programme.hpp"

namespace hushtrace {

/// A tone file's marker as found in a capture.
struct FoundMarker {
    Marker::End end = Marker::End::opening;
    double time_s = 0;     ///< of the marker's first sample, from the capture's first sample
    double time_sd_s = 0;  ///< standard deviation of time_s
    double strength =
        0;  ///< height of the correlation's peak over the rms beside it; noise alone stays below 6
    bool inverted =
        false;  ///< the path turns the polarity (told from the band's middle; unsure behind a steep filter)
    double band_to_hz =
        0;  ///< up to where the marker was seen: 8000, 1000 or (behind a subwoofer's low-pass) 160
    double reference_s =
        0;  ///< the point of the marker that time_s hangs on when the clocks differ: see line_up
};

/// Finds the opening and closing markers in one channel of a capture, streamed: memory does not grow with the
/// take.
///
/// Each stretch of 2.5 s is reduced to its phase spectrum (so that neither level nor steady tones nor the
/// noise's colour count) and correlated with the marker's phase in three bands. A peak that does not stand
/// out from what lies beside it is no marker: nothing is reported then.
///   source  Knapp, Carter 1976, IEEE Trans. ASSP-24(4): generalised correlation, phase transform
class MarkerFinder {
public:
    /// throws Error invalid_request for a rate outside 1 kHz..1 MHz
    explicit MarkerFinder(double sample_rate_hz);
    ~MarkerFinder();
    MarkerFinder(MarkerFinder&&) noexcept;
    MarkerFinder& operator=(MarkerFinder&&) noexcept;
    void add(std::span<const double> samples);
    /// All markers in order of time; call it once, after the last add().
    std::vector<FoundMarker> result();

private:
    struct State;
    std::unique_ptr<State> state_;
};

/// The markers in one channel of a sound, which is read to its end.
std::vector<FoundMarker> find_markers(BlockReader& sound, std::size_t channel);

/// A capture lined up with the tone file that was played.
struct LinedUp {
    FoundMarker opening, closing;
    double tone_start_s = 0, tone_end_s = 0;  ///< in the capture's own time
    double clock_ppm = 0;  ///< capture clock against the player's: positive when the capture has more samples
    double clock_ppm_sd = 0;
};

/// Pairs an opening with the closing marker that fits the tone file's length within `most_ppm`. With a file
/// of several passes the strongest pair wins. Nothing when no pair fits.
std::optional<LinedUp> line_up(std::span<const FoundMarker> found, const ProgrammeTimes& played,
                               double most_ppm = 500.0);

/// The same where nobody wrote down how long the tone was: a sweep and steps have their own duration, else the tone
/// is taken to last a whole number of tenths of a second, and a closing marker to belong to the opening one before it.
/// (Clocks 500 ppm apart blur that from 100 s on: longer tones are left alone.)
std::optional<LinedUp> line_up(std::span<const FoundMarker> found, const Waveform& played);

}  // namespace hushtrace
