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

/// A track found in a spectrogram, with how far it stands out.
struct Ridge {
    Track track;
    double mean_score = 0;    ///< mean over time of ln(power / noise in the cell)
    double significance = 0;  ///< standard deviations above what the best path through noise reaches
};

/// How ridges are looked for.
struct RidgeSearch {
    double from_hz = 60.0, to_hz = 9000.0;
    std::size_t length = 8192;  ///< samples in a window (at 48 kHz: 0.17 s)
    std::size_t hop = 2048;
    double step = 0.0025;  ///< of the logarithmic frequency grid
    double least_significance = 8.0;
    std::size_t most_ridges = 10;
};

/// Follows the lines of a stretch of sound, strongest first, steady and wandering ones alike: the path of
/// highest summed log power over the noise, with a penalty on its slope (Viterbi 1967); found, taken out,
/// looked for again.
///
/// The stretch is held in memory as a spectrogram: cut long takes into stretches of a minute or less.
std::vector<Ridge> find_ridges(std::span<const double> samples, double sample_rate_hz,
                               const RidgeSearch& search = {});

/// The path of highest summed score through score[column][cell], moving at most `reach` cells a column at a
/// cost of slope_penalty times the square of the move.
struct GridPath {
    std::vector<std::size_t> cells;  ///< [columns]
    double mean_score = 0;
};
GridPath best_path(const std::vector<std::vector<float>>& score, std::size_t reach, double slope_penalty);

}  // namespace hushtrace
