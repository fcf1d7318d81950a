#include "hushtrace/measure/tone_track.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {
namespace {

constexpr double kFrameSeconds = 0.05, kFrameCycles = 6.0;
constexpr double kStandsOut = 10.0;  // tone's peak against the mean of the bins beside it, in power: 10 dB

/// A transform takes as many steps a sample as its length's primes add up to.
std::size_t largest_prime(std::size_t number) {
    std::size_t prime = 2;
    while (prime * prime <= number)
        if (number % prime == 0)
            number /= prime;
        else
            ++prime;
    return number;
}

std::size_t frame_length(double rate, double tone_hz) {
    if (!(rate > 0) || !(tone_hz > 0) || !(tone_hz < 0.45 * rate))
        throw Error(ErrorKind::invalid_request,
                    fmt::format("a tone of {:g} Hz can't be followed at {:g} Hz rate", tone_hz, rate));
    const std::size_t length =
        static_cast<std::size_t>(std::ceil(rate * std::max(kFrameSeconds, kFrameCycles / tone_hz)));
    std::size_t quarters = (length + 3) / 4 * 4;
    while (largest_prime(quarters) > 7) quarters += 4;
    return quarters;
}

}  // namespace

struct ToneTracker::State {
    State(double rate, double tone_hz)
        : length(frame_length(rate, tone_hz)),
          window(window_samples(WindowKind::hann, length)),
          fft(length),
          windowed(length),
          bins(fft.bins()),
          power(fft.bins()) {
        for (const double w : window) energy += w * w;
        track.sample_rate_hz = rate;
        track.tone_hz = tone_hz;
        track.frame_s = static_cast<double>(length) / rate;
        track.hop_s = 0.5 * track.frame_s;
    }

    void take_frame();
    /// Amplitude of a line from the power of its main lobe.
    float lobe_amplitude(double place) const {
        const auto centre = static_cast<std::size_t>(std::lround(place));
        double sum = 0;
        for (std::size_t k = centre > 2 ? centre - 2 : 1; k <= centre + 2 && k < power.size(); ++k)
            sum += power[k];
        return static_cast<float>(2.0 * std::sqrt(sum / (static_cast<double>(length) * energy)));
    }
    bool stands_out(double place) const;

    std::size_t length;
    std::vector<double> window;
    double energy = 0;
    RealTransform fft;
    std::vector<double> pending, windowed;
    std::vector<std::complex<double>> bins;
    std::vector<double> power;
    ToneTrack track;
};

bool ToneTracker::State::stands_out(double place) const {
    const auto centre = static_cast<std::size_t>(std::lround(place));
    double peak = 0, beside = 0;
    for (std::size_t k = centre - 1; k <= centre + 1; ++k) peak = std::max(peak, power[k]);
    for (const std::size_t apart : {3U, 4U}) beside += power[centre - apart] + power[centre + apart];
    return peak > 0 && peak > kStandsOut * beside / 4.0;
}

void ToneTracker::State::take_frame() {
    ToneFrame frame;
    for (std::size_t n = 0; n < length; ++n) {
        windowed[n] = window[n] * pending[n];
        frame.largest = std::max(frame.largest, static_cast<float>(std::abs(pending[n])));
    }
    fft.forward(windowed, bins);
    double whole = 0;
    std::size_t strongest = 0;
    for (std::size_t k = 0; k < bins.size(); ++k) {
        power[k] = std::norm(bins[k]);
        if (k < 3) continue;  // dc and its lobe
        whole += power[k];
        if (strongest == 0 || power[k] > power[strongest]) strongest = k;
    }
    const double place = track.tone_hz * track.frame_s;
    frame.amplitude = lobe_amplitude(place);
    for (std::size_t i = 0; i < ToneFrame::harmonic_count; ++i) {
        const double at = place * static_cast<double>(i + 2);
        if (at < 0.475 * static_cast<double>(length)) frame.harmonics[i] = lobe_amplitude(at);
    }
    frame.present = stands_out(place);
    if (whole > 0 && strongest + 2 < power.size()) {
        // Hann: the neighbours' amplitudes give the place between bins.
        const double a = std::sqrt(power[strongest - 1]), b = std::sqrt(power[strongest]),
                     c = std::sqrt(power[strongest + 1]);
        const double offset = c > a ? (2 * c - b) / (c + b) : -(2 * a - b) / (a + b);
        frame.strongest_hz = static_cast<float>((static_cast<double>(strongest) + offset) / track.frame_s);
        double lobe = 0;
        for (std::size_t k = strongest - 2; k <= strongest + 2; ++k) lobe += power[k];
        frame.strongest_share = static_cast<float>(std::min(1.0, lobe / whole));
    }
    track.frames.push_back(frame);
}

ToneTracker::ToneTracker(double sample_rate_hz, double tone_hz)
    : state_(std::make_unique<State>(sample_rate_hz, tone_hz)) {}
ToneTracker::~ToneTracker() = default;
ToneTracker::ToneTracker(ToneTracker&&) noexcept = default;
ToneTracker& ToneTracker::operator=(ToneTracker&&) noexcept = default;

void ToneTracker::add(std::span<const double> samples) {
    State& s = *state_;
    while (!samples.empty()) {
        const std::size_t count = std::min(samples.size(), s.length - s.pending.size());
        s.pending.insert(s.pending.end(), samples.begin(),
                         samples.begin() + static_cast<std::ptrdiff_t>(count));
        samples = samples.subspan(count);
        if (s.pending.size() < s.length) return;
        s.take_frame();
        s.pending.erase(s.pending.begin(), s.pending.begin() + static_cast<std::ptrdiff_t>(s.length / 2));
    }
}

const ToneTrack& ToneTracker::track() const {
    return state_->track;
}

}  // namespace hushtrace
