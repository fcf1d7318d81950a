#pragma once
#include <cstddef>
#include <span>
#include <vector>

namespace hushtrace {

/// The noise under the lines of one channel, from its newest second of short-time spectra, and the lines that stand while
/// the followed family is elsewhere.
class RunningFloor {
public:
    /// window_s  of the spectra; hop_s between them
    RunningFloor(std::size_t bins, double window_s, double hop_s);

    /// density [bins] of one spectrum
    void add(std::span<const double> density);
    /// [bins] density of the noise; lines taken off by medians over neighbouring bins
    std::span<const double> noise() const { return noise_; }
    /// How much the newest spectrum stands above it as a whole: a click. 1 and more.
    double lift() const { return lift_; }
    /// [bins] usual density, lines included, of the spectra in which the followed family did not touch the bin
    std::span<const double> usual() const { return usual_; }
    /// Adds the newest spectrum to `usual` but where `touched` [bins].
    void learn(std::span<const double> density, std::span<const char> touched);
    /// Lines known beforehand: a steady one of this mean square [full scale squared], in bins `bin_hz` wide.
    void expect(double frequency_hz, double mean_square, double bin_hz);
    /// Whether a line stands in this bin that is not the family's.
    bool stands(std::size_t bin) const { return seen_[bin] >= least_seen && usual_[bin] > 3.0 * noise_[bin]; }

private:
    static constexpr std::size_t least_seen = 20;   ///< spectra
    struct Stretch { std::size_t centre, from, to; };
    double share_, usual_share_, looks_a_spectrum_;
    std::size_t count_ = 0, lifted_ = 0;
    std::vector<Stretch> stretches_;
    std::vector<std::size_t> seen_;   // [bins] spectra that `usual` holds
    std::vector<double> smooth_, noise_, usual_, at_stretch_, ratios_, sorted_;
    double lift_ = 1;
};

}  // namespace hushtrace
