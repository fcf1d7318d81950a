#pragma once
#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace hushtrace {

/// A tone's complex amplitude under one Hann window.
struct PhaseBlock {
    double time_s = 0;               ///< of the window's middle
    std::complex<double> amplitude;  ///< against a carrier of carrier_hz that began with the capture
    double mean_square = 0;          ///< of all sound under the window
    double phase_rad = 0;            ///< of the amplitude, unwrapped by whoever follows it
};
/// A stretch in which the tone was there.
struct ToneSection {
    double start_s = 0, end_s = 0;
    double amplitude = 0;      ///< at its end
    double loudest_after = 0;  ///< highest mean square of 5 ms between its end and the next section's start
    double frequency_hz = 0;
    std::complex<double> turn;  ///< from block to block against the carrier, summed
    double tone_energy = 0, all_energy = 0;
};

/// Looks for a steady tone and yields its complex amplitude, block after block, in sections without a break.
class PhaseBlocks {
public:
    PhaseBlocks(double sample_rate_hz, std::optional<double> expected_hz);
    void add(std::span<const double> samples) {
        pending_.insert(pending_.end(), samples.begin(), samples.end());
    }

    enum class Next { block, section_end, more_needed };
    /// What comes next; `block` is filled for Next::block. `no_more`: the capture has ended.
    Next next(PhaseBlock& block, bool no_more);

    double carrier_hz() const { return carrier_hz_; }
    double rate_hz() const { return rate_; }
    std::size_t hop() const { return hop_; }
    const std::vector<ToneSection>& sections() const { return sections_; }

private:
    bool find_tone(std::span<const double> samples);
    PhaseBlock demodulate() const;
    void consume(std::size_t count);

    double rate_;
    std::optional<double> expected_hz_;
    std::vector<double> pending_;
    std::size_t taken_ = 0;       // of pending_, already done with
    std::uint64_t position_ = 0;  // of pending_[taken_], in the capture
    std::size_t search_length_;
    double carrier_hz_ = 0;
    std::size_t hop_ = 0, absent_ = 0;
    bool following_ = false, in_section_ = false;
    std::vector<double> window_;
    std::complex<double> last_amplitude_;
    std::vector<ToneSection> sections_;
};

}  // namespace hushtrace
