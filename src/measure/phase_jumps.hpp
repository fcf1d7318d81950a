#pragma once
#include <array>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

#include "phase_blocks.hpp"
#include "robust_spread.hpp"

namespace hushtrace {

/// One step in a steady tone's phase.
struct PhaseJump {
    double time_s = 0;
    double step_rad = 0, step_sd_rad = 0;
    double frequency_hz = 0;
};

/// Finds steps in the phase of a steady tone: each block of some 5 ms is demodulated; at every instant,
/// straight lines of one common slope are laid through the phases before and after it, over four lengths of
/// time up to a second each, and their distance is compared with its own scatter over the last seconds.
///
/// A step counts when it stands six of its standard deviations out (below one false alarm in a hundred hours
/// of Gaussian noise), when it explains the phases better than a smooth cubic does (a slow drift or a passing
/// whine is no step), and when the amplitude stays the same, or else the step exceeds 20 degrees (a turned
/// volume is no loss).
///   source  Kay 1993, Estimation Theory, example 3.4 and section 7.10 (phase and amplitude of a tone in
///   noise); the test
///           is the likelihood ratio of a linear model (the same, section 4), worked out here
class PhaseJumpFinder {
public:
    PhaseJumpFinder(double sample_rate_hz, std::optional<double> expected_hz);
    void add(std::span<const double> samples);
    void finish();

    const std::vector<PhaseJump>& jumps() const { return jumps_; }
    const PhaseBlocks& blocks() const { return blocks_; }
    /// The smallest step that would have been found in the best second [rad].
    std::optional<double> least_visible_rad() const { return least_visible_rad_; }

private:
    struct Excursion {
        bool open = false;
        std::size_t begin = 0, last = 0, best = 0;
        double best_score = 0;
    };
    struct Scale {
        std::size_t reach = 0;  // blocks on each side
        std::size_t next = 0;   // the next instant to be judged, counted in blocks of the section
        Excursion excursion;
        ScoreHistory scores;  // of the step over its standard deviation
    };
    struct Side {
        std::size_t from = 0, to = 0;  // blocks of the section, `to` not included
    };
    struct Line {
        double time_s = 0, phase_rad = 0;  // its blocks' centre of gravity
    };
    struct Fit {
        std::array<Line, 2> lines;  // before and after
        double step_rad = 0, step_sd_rad = 0, slope_rad_per_s = 0;
        double misfit = 0;       // weighted mean square of the residuals: about 1 where the rest is noise
        double scatter_rad = 0;  // their plain rms
        double turns_rad = 0;    // whole turns that were taken out between the sides
        std::size_t count = 0;
        double departure_rad(std::size_t side, const PhaseBlock& block) const {
            return block.phase_rad - lines[side].phase_rad -
                   slope_rad_per_s * (block.time_s - lines[side].time_s);
        }
    };
    using Blocks = std::vector<const PhaseBlock*>;
    void accept(PhaseBlock block);
    void judge_all(bool section_ended);
    void judge(Scale& scale, std::size_t instant);
    void close_excursion(Scale& scale);
    double spread_at(const Scale& scale, std::size_t instant) const;
    bool verified(const Scale& scale, std::size_t instant, PhaseJump& jump) const;
    bool sides(std::size_t instant, std::size_t reach, Side& left, Side& right) const;
    std::optional<Fit> lay_lines(const std::array<Blocks, 2>& sides_kept) const;
    std::optional<Fit> fit(std::size_t instant, std::size_t reach, bool trimmed) const;
    double cubic_misfit(const Side& left, const Side& right, double turns_rad) const;
    double unevenness_rad(const Side& side) const;
    bool level_changed(const Side& left, const Side& right) const;
    bool level_moved(const Side& left, const Side& right) const;
    void end_section();
    const PhaseBlock& at(std::size_t index) const { return section_[index - dropped_]; }
    double weight(const PhaseBlock& block) const { return 2.0 * std::norm(block.amplitude) / block_noise_; }

    PhaseBlocks blocks_;
    std::deque<PhaseBlock> section_;   // the last blocks of the present section
    std::size_t dropped_ = 0;          // blocks of the section before those
    std::size_t earlier_ = 0;          // blocks of all sections before this one
    std::vector<std::size_t> breaks_;  // jumps found in this section: no line is laid across them
    std::complex<double> turn_;        // from block to block, smoothed
    RobustSpread roughness_;           // second differences of the complex amplitude
    double block_noise_ = 0;           // variance of a block's complex amplitude
    std::vector<Scale> scales_;
    std::vector<PhaseJump> jumps_;
    std::optional<double> least_visible_rad_;
};

}  // namespace hushtrace
