#pragma once
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace hushtrace {

/// A frequency that may wander, followed through time.
struct Track {
    std::vector<double> time_s;        ///< evenly spaced, ascending
    std::vector<double> frequency_hz;  ///< of the line at those times

    bool empty() const { return time_s.empty(); }
    double mean_hz() const;
    /// rms of frequency over its mean, less 1
    double wander() const;
    /// At any time; held beyond the ends.
    double at(double time_s) const;
};

/// A track found in the noise.
struct Ridge {
    Track track;
    std::vector<double> frequency_sd_hz;  ///< of each point of the track
    double log_evidence = 0;  ///< ln of how much better "a line somewhere" explains the sound than noise alone does
    double snr_db = 0;        ///< mean along the track: the line's power over the noise's in 1 Hz; up to 4 dB low where it moves fast
};

/// A line that holds still.
struct PassedLine {
    double frequency_hz = 0;
    double snr_db = 0;  ///< its power over the noise's in 1 Hz
};

/// How ridges are looked for.
struct RidgeSearch {
    double from_hz = 120.0, to_hz = 9000.0;
    double least_log_evidence = 1.5;       ///< noise shows as much in one stretch of 100 (10 to 20 s) to 10 (60 s)
    std::size_t most_ridges = 6;
    bool steady = false;                   ///< the sound is resampled by what the lines follow: they hardly move
    bool nimble = false;                   ///< lines that sweep by several per cent a second: shorter windows, steeper slopes
    std::vector<double> clicks_s;          ///< moments that say nothing of lines
    std::vector<Ridge> known;              ///< followed already, in another channel: the search passes them by
    std::vector<PassedLine> still;          ///< lines that hold still, known already: the search passes them by
};

/// Follows the lines of a stretch of sound, strongest first, that no spectrum shows because they wander.
///
/// Short-time power over the noise (windows of 0.06 to 0.2 s) is summed over all paths of a line that wanders (a hidden
/// Markov model of frequency and slope on a logarithmic grid), since the single best path (Viterbi) finds weak lines later.
/// Where that sum tells of a line, forward and backward recursion give its place; it is left out, and the search repeated.
/// The noise's spectrum is not known beforehand: it is read from the sound, over as wide a stretch of it as is smooth.
///
/// The stretch is held in memory as a spectrogram: cut long takes into stretches of a minute or less.
///   returns  nothing for sound shorter than a second, or a rate that leaves no band
///   throws   Error not_finite for a NaN or an infinity
std::vector<Ridge> find_ridges(std::span<const double> samples, double sample_rate_hz,
                               const RidgeSearch& search = {});

/// ln of the evidence for any line, as find_ridges weighs it first.
double line_log_evidence(std::span<const double> samples, double sample_rate_hz, const RidgeSearch& search = {});

/// The path of highest summed score through score[column][cell], moving at most `reach` cells a column at a
/// cost of slope_penalty times the square of the move.
struct GridPath {
    std::vector<std::size_t> cells;  ///< [columns]
    double mean_score = 0;
};
GridPath best_path(const std::vector<std::vector<float>>& score, std::size_t reach, double slope_penalty);

}  // namespace hushtrace
