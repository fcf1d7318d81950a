#include "hushtrace/measure/quasi_peak.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "hushtrace/spectrum/weighting.hpp"

// [ITU] ITU-R BS.468-4 (1986) section 2: the bursts that fix the meter's dynamics.
namespace hushtrace {
namespace {

// A capacitor charged through a diode and a resistor, discharged by another resistor, twice. The standard names no
// constants, only what bursts must read; these were fitted to the middle of its two tables (largest gap 1 % of the
// steady reading).
constexpr double kFastRise_s = 1.534e-3, kFastFall_s = 0.2924, kSlowRise_s = 0.2376, kSlowFall_s = 0.3390;

/// Where the needle comes to rest on a steady 1 kHz sine of rms 1; from 170 to 384 kHz the same within 0.0005 dB.
constexpr double kAtUnitSine = 0.79722;

constexpr double kSettling_s = 1.0;
constexpr double kLeast_s = 3.0;
constexpr double kNote_s = 0.01;  // how often the needle is read
/// Integral of the indication's autocorrelation, either side, in Gaussian noise: time that one independent look takes.
constexpr double kLook_s = 0.36;

/// value += rise * max(0, input - value) - fall * value, with both branches worked out side by side; in this order a NaN stays one
class Follower {
public:
    Follower(double rise_s, double fall_s, double rate_hz)
        : rise_(1.0 / (rise_s * rate_hz)),
          kept_rising_(1.0 - 1.0 / (rise_s * rate_hz) - 1.0 / (fall_s * rate_hz)),
          kept_falling_(1.0 - 1.0 / (fall_s * rate_hz)) {}
    void follow(double input) { value = std::max(kept_rising_ * value + rise_ * input, kept_falling_ * value); }
    double value = 0;

private:
    double rise_, kept_rising_, kept_falling_;  // shares a sample
};

struct Detector {
    explicit Detector(double rate_hz)
        : fast(kFastRise_s, kFastFall_s, rate_hz), slow(kSlowRise_s, kSlowFall_s, rate_hz) {}
    void follow(double weighted) {
        fast.follow(std::abs(weighted));
        slow.follow(fast.value);
    }
    Follower fast, slow;
};

/// Student's t at 95 % over 1.96, about (within 3 % from 2 degrees of freedom on; checked against tables).
double student_widening(double freedom) {
    const double v = std::max(freedom, 1.5);
    return 1.0 + 1.21 / v + 1.40 / (v * v);
}

}  // namespace

struct QuasiPeakMeter::State {
    explicit State(double rate_hz)
        : filter(rate_hz),
          dense_hz(rate_hz * static_cast<double>(filter.oversampling())),
          detector(dense_hz),
          scale(1.0 / kAtUnitSine),
          note_every(static_cast<std::size_t>(std::max(1.0, kNote_s * dense_hz))),
          settling(static_cast<std::uint64_t>(kSettling_s * dense_hz)) {}

    void note() {
        ++notes;  // Welford's sums: the mean moves little, so that squares don't cancel
        const double off = detector.slow.value - mean;
        mean += off / static_cast<double>(notes);
        squares += off * (detector.slow.value - mean);
    }

    Itu468Filter filter;
    double dense_hz;
    Detector detector;
    double scale, highest = 0, mean = 0, squares = 0;
    std::size_t note_every, until_note = 0;
    std::uint64_t settling, seen = 0, notes = 0;
    std::vector<double> weighted;
};

QuasiPeakMeter::QuasiPeakMeter(double sample_rate_hz) : state_(std::make_unique<State>(sample_rate_hz)) {}
QuasiPeakMeter::~QuasiPeakMeter() = default;
QuasiPeakMeter::QuasiPeakMeter(QuasiPeakMeter&&) noexcept = default;
QuasiPeakMeter& QuasiPeakMeter::operator=(QuasiPeakMeter&&) noexcept = default;

void QuasiPeakMeter::add(std::span<const double> samples) {
    State& s = *state_;
    for (std::size_t at = 0; at < samples.size(); at += 4096) {
        s.filter.filter(samples.subspan(at, std::min<std::size_t>(4096, samples.size() - at)), s.weighted);
        Detector detector = s.detector;  // a copy of its own keeps the needle in registers
        double highest = s.highest;
        for (const double sample : s.weighted) {
            detector.follow(sample);
            highest = std::max(highest, detector.slow.value);
            if (++s.until_note < s.note_every) continue;
            s.until_note = 0;
            if (detector.fast.value < 1e-200) detector.fast.value = detector.slow.value = 0;  // denormals are slow
            s.detector = detector;
            s.seen += s.note_every;
            if (s.seen > s.settling) s.note();
        }
        s.detector = detector;
        s.highest = highest;
    }
}

double QuasiPeakMeter::indication() const {
    return state_->scale * state_->detector.slow.value;
}
double QuasiPeakMeter::highest() const {
    return state_->scale * state_->highest;
}

std::optional<Reading> QuasiPeakMeter::mean() const {
    const State& s = *state_;
    const double seen_s = static_cast<double>(s.seen) / s.dense_hz;
    if (seen_s < kLeast_s - 2 * kNote_s || s.notes < 2) return std::nullopt;
    if (!std::isfinite(s.mean)) return std::nullopt;  // a NaN went in
    const double looks = static_cast<double>(s.notes) * kNote_s / kLook_s;
    // squares forget twice as fast as what is squared, so that the spread has twice as many degrees of freedom;
    // about the take's own mean it is too small by what the mean took with it
    const double variance = s.squares / static_cast<double>(s.notes) / std::max(0.25, 1.0 - 1.0 / looks);
    const double sd = std::sqrt(variance / looks) * student_widening(2.0 * looks - 1.0);
    return Reading{s.scale * s.mean, s.scale * sd, limit_of_averaging(s.mean > 0.0 ? 2.0 * sd / s.mean : 0.0)};
}

}  // namespace hushtrace
