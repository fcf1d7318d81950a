#include "hushtrace/spectrum/averaged_spectrum.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/error.hpp"
#include "segmenter.hpp"

// [Welch] Welch 1967, "The use of fast Fourier transform for the estimation of power spectra", IEEE Trans.
// AU-15(2).
namespace hushtrace {
namespace {

std::size_t hop_of(std::size_t length, double overlap) {
    if (!(overlap >= 0.0 && overlap <= 0.95))
        throw Error(ErrorKind::invalid_request, "overlap must lie between 0 and 0.95");
    const long hop = std::lround((1.0 - overlap) * static_cast<double>(length));
    return static_cast<std::size_t>(std::max(1L, hop));
}

/// [Welch]: variance/mean² of an average of K segments = (1/K) [1 + 2 sum_j (1 - j/K) rho_j], where rho_j is
/// the squared correlation of the window with itself moved by j hops. Holds for noise that is flat across a
/// bin.
double effective_averages_of(std::span<const double> window, std::size_t hop, std::size_t segments) {
    double energy = 0;
    for (const double w : window) energy += w * w;
    double spread = 1.0;
    const double k = static_cast<double>(segments);
    for (std::size_t j = 1; j * hop < window.size() && j < segments; ++j) {
        double shared = 0;
        for (std::size_t n = j * hop; n < window.size(); ++n) shared += window[n] * window[n - j * hop];
        const double rho = (shared / energy) * (shared / energy);
        spread += 2.0 * (1.0 - static_cast<double>(j) / k) * rho;
    }
    return k / spread;
}

/// Samples that the segments are worth for a band's mean square: sum(u)² / sum(u²). That mean square is the mean of y²
/// under the weight u, the sum of all segments' squared windows, with y the band's signal (Parseval); for Gaussian y of
/// density S its variance is integral(S²) * sum(u²) / sum(u)².
///   source  Bendat and Piersol, Random Data, section 8.2: of a mean square over T, integral(S²) / T, one-sided
double effective_samples_of(std::span<const double> window, std::size_t hop, std::size_t segments) {
    std::vector<double> squared(window.size());
    double sum = 0, fourth = 0;
    for (std::size_t n = 0; n < window.size(); ++n) {
        squared[n] = window[n] * window[n];
        sum += squared[n];
        fourth += squared[n] * squared[n];
    }
    const double k = static_cast<double>(segments);
    double squares = k * fourth;
    for (std::size_t j = 1; j * hop < window.size() && j < segments; ++j) {
        double shared = 0;
        for (std::size_t n = j * hop; n < window.size(); ++n) shared += squared[n] * squared[n - j * hop];
        squares += 2.0 * (k - static_cast<double>(j)) * shared;
    }
    return k * sum * k * sum / squares;
}

/// What auto and cross spectra share: the window, its scale, one transform.
struct SpectrumMaker {
    SpectrumMaker(double sample_rate_hz, std::size_t length, WindowKind kind, double overlap)
        : rate(sample_rate_hz),
          hop(hop_of(length, overlap)),
          window_kind(kind),
          transform(length),
          window(window_samples(kind, length)),
          weighted(length),
          bins(length / 2 + 1) {
        if (!(sample_rate_hz > 0.0) || !std::isfinite(sample_rate_hz))
            throw Error(ErrorKind::invalid_request, "the sample rate must be above 0");
        double squares = 0;
        for (const double w : window) squares += w * w;
        density_scale = 2.0 / (rate * squares);  // one-sided: each bin stands for its mirror image too
    }

    void turn(std::span<const double> segment) {
        for (std::size_t i = 0; i < segment.size(); ++i) weighted[i] = segment[i] * window[i];
        transform.forward(weighted, bins);
    }

    /// Weight of bin k: dc and half the rate have no mirror image.
    double scale(std::size_t k) const {
        return k == 0 || k + 1 == bins.size() ? 0.5 * density_scale : density_scale;
    }

    PowerSpectrum finish(const std::vector<double>& sums, std::size_t segments) const {
        if (segments == 0)
            throw Error(ErrorKind::too_short, "too short for a spectrum with bins this narrow");
        PowerSpectrum out;
        out.sample_rate_hz = rate;
        out.length = window.size();
        out.noise_bandwidth_hz = noise_bandwidth_bins(window) * rate / static_cast<double>(window.size());
        out.segments = segments;
        out.effective_averages = effective_averages_of(window, hop, segments);
        out.effective_duration_s = effective_samples_of(window, hop, segments) / rate;
        out.window = window_kind;
        out.density.resize(sums.size());
        for (std::size_t k = 0; k < sums.size(); ++k)
            out.density[k] = sums[k] * scale(k) / static_cast<double>(segments);
        return out;
    }

    double rate;
    std::size_t hop;
    WindowKind window_kind;
    RealTransform transform;
    std::vector<double> window, weighted;
    std::vector<std::complex<double>> bins;
    double density_scale = 0;
};

}  // namespace

std::size_t PowerSpectrum::bin_of(double frequency_hz) const {
    const double bin = std::round(frequency_hz / bin_hz());
    return static_cast<std::size_t>(std::clamp(bin, 0.0, static_cast<double>(density.size() - 1)));
}

double PowerSpectrum::band_mean_square(double from_hz, double to_hz) const {
    // bin k stands for the frequencies from (k - 1/2) to (k + 1/2) bins; dc and half the rate for half of
    // that
    const double step = bin_hz();
    double sum = 0;
    for (std::size_t k = 0; k < density.size(); ++k) {
        const double low = std::max({(static_cast<double>(k) - 0.5) * step, from_hz, 0.0});
        const double high = std::min({(static_cast<double>(k) + 0.5) * step, to_hz, 0.5 * sample_rate_hz});
        if (high > low) sum += density[k] * (high - low);
    }
    return sum;
}

struct SpectrumAccumulator::State {
    State(double rate, std::size_t length, WindowKind kind, double overlap)
        : maker(rate, length, kind, overlap), cutter(length, maker.hop), sums(length / 2 + 1) {}
    SpectrumMaker maker;
    Segmenter cutter;
    std::vector<double> sums;
    std::size_t segments = 0;
};

SpectrumAccumulator::SpectrumAccumulator(double sample_rate_hz, std::size_t length, WindowKind window,
                                         double overlap)
    : state_(std::make_unique<State>(sample_rate_hz, length, window, overlap)) {}
SpectrumAccumulator::~SpectrumAccumulator() = default;
SpectrumAccumulator::SpectrumAccumulator(SpectrumAccumulator&&) noexcept = default;
SpectrumAccumulator& SpectrumAccumulator::operator=(SpectrumAccumulator&&) noexcept = default;

void SpectrumAccumulator::add(std::span<const double> samples) {
    State& s = *state_;
    s.cutter.add(samples, [&s](std::span<const double> segment) {
        s.maker.turn(segment);
        for (std::size_t k = 0; k < s.sums.size(); ++k) s.sums[k] += std::norm(s.maker.bins[k]);
        ++s.segments;
    });
}
std::size_t SpectrumAccumulator::segments() const {
    return state_->segments;
}
PowerSpectrum SpectrumAccumulator::result() const {
    return state_->maker.finish(state_->sums, state_->segments);
}

double CrossSpectrum::coherence(std::size_t bin) const {
    const double product = x.density[bin] * y.density[bin];
    return product > 0.0 ? std::norm(xy[bin]) / product : 0.0;
}
std::complex<double> CrossSpectrum::transfer(std::size_t bin) const {
    return xy[bin] / x.density[bin];
}

struct CrossAccumulator::State {
    State(double rate, std::size_t length, WindowKind kind, double overlap)
        : x(rate, length, kind, overlap),
          y(rate, length, kind, overlap),
          cut_x(length, x.hop),
          cut_y(length, x.hop),
          xx(length / 2 + 1),
          yy(length / 2 + 1),
          xy(length / 2 + 1) {}
    SpectrumMaker x, y;
    Segmenter cut_x, cut_y;
    std::vector<double> xx, yy;
    std::vector<std::complex<double>> xy;
    std::size_t segments = 0;
};

CrossAccumulator::CrossAccumulator(double sample_rate_hz, std::size_t length, WindowKind window,
                                   double overlap)
    : state_(std::make_unique<State>(sample_rate_hz, length, window, overlap)) {}
CrossAccumulator::~CrossAccumulator() = default;
CrossAccumulator::CrossAccumulator(CrossAccumulator&&) noexcept = default;
CrossAccumulator& CrossAccumulator::operator=(CrossAccumulator&&) noexcept = default;

void CrossAccumulator::add(std::span<const double> x, std::span<const double> y) {
    if (x.size() != y.size())
        throw Error(ErrorKind::invalid_request, "cross spectrum: channels of unequal length");
    State& s = *state_;
    const std::size_t step = s.x.hop;  // so that each step completes at most one segment on either side
    for (std::size_t at = 0; at < x.size(); at += step) {
        const std::size_t count = std::min(step, x.size() - at);
        s.cut_x.add(x.subspan(at, count), [&s](std::span<const double> segment) { s.x.turn(segment); });
        s.cut_y.add(y.subspan(at, count), [&s](std::span<const double> segment) {
            s.y.turn(segment);
            for (std::size_t k = 0; k < s.xy.size(); ++k) {
                s.xx[k] += std::norm(s.x.bins[k]);
                s.yy[k] += std::norm(s.y.bins[k]);
                s.xy[k] += std::conj(s.x.bins[k]) * s.y.bins[k];
            }
            ++s.segments;
        });
    }
}

CrossSpectrum CrossAccumulator::result() const {
    const State& s = *state_;
    CrossSpectrum out{s.x.finish(s.xx, s.segments), s.y.finish(s.yy, s.segments), s.xy};
    for (std::size_t k = 0; k < out.xy.size(); ++k)
        out.xy[k] *= s.x.scale(k) / static_cast<double>(s.segments);
    return out;
}

}  // namespace hushtrace
