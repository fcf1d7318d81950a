#include "hushtrace/spectrum/averaged_spectrum.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/error.hpp"
#include "segmenter.hpp"
#include "spectrum_maker.hpp"

namespace hushtrace {
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
