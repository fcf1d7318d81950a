#include "hushtrace/spectrum/pair_spectrum.hpp"

#include <algorithm>

#include "complex_transform.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/wide_vectors.hpp"
#include "segmenter.hpp"
#include "spectrum_maker.hpp"

namespace hushtrace {
namespace {

HUSHTRACE_WIDE_VECTORS void add_powers(const double* real, const double* imag, std::size_t n, double* xx, double* yy) {
    HUSHTRACE_APART
    for (std::size_t k = 1; k <= n / 2; ++k) {
        const double a = real[k], b = imag[k], c = real[n - k], d = imag[n - k];
        xx[k] += 0.25 * ((a + c) * (a + c) + (b - d) * (b - d));
        yy[k] += 0.25 * ((a - c) * (a - c) + (b + d) * (b + d));
    }
}

}  // namespace

// Two real channels are one complex one, z = x + i y. By the symmetries of real samples' transforms the two come apart
// again: X[k] = (Z[k] + Z*[N-k]) / 2, Y[k] = (Z[k] - Z*[N-k]) / 2i.
struct PairSpectrumAccumulator::State {
    State(double rate_hz, std::size_t length, WindowKind kind, double overlap)
        : scale(rate_hz, length, kind, overlap),
          cut_x(length, scale.hop),
          cut_y(length, scale.hop),
          transform(length),
          xx(length / 2 + 1),
          yy(length / 2 + 1) {}

    void put_x(std::span<const double> segment) {
        for (std::size_t i = 0; i < segment.size(); ++i) transform.real()[i] = segment[i] * scale.window[i];
    }
    void put_y(std::span<const double> segment) {
        for (std::size_t i = 0; i < segment.size(); ++i) transform.imag()[i] = segment[i] * scale.window[i];
        transform.forward();
        const std::size_t n = transform.length();
        const double *real = transform.real(), *imag = transform.imag();
        xx[0] += real[0] * real[0];
        yy[0] += imag[0] * imag[0];
        add_powers(real, imag, n, xx.data(), yy.data());
        ++segments;
    }

    SpectrumScale scale;
    Segmenter cut_x, cut_y;
    ComplexTransform transform;
    std::vector<double> xx, yy;
    std::size_t segments = 0;
};

PairSpectrumAccumulator::PairSpectrumAccumulator(double sample_rate_hz, std::size_t length, WindowKind window,
                                                 double overlap) {
    if (length < 2 || length % 2 != 0)
        throw Error(ErrorKind::invalid_request, "a spectrum needs segments of an even length of 2 or more");
    state_ = std::make_unique<State>(sample_rate_hz, length, window, overlap);
}
PairSpectrumAccumulator::~PairSpectrumAccumulator() = default;
PairSpectrumAccumulator::PairSpectrumAccumulator(PairSpectrumAccumulator&&) noexcept = default;
PairSpectrumAccumulator& PairSpectrumAccumulator::operator=(PairSpectrumAccumulator&&) noexcept = default;

void PairSpectrumAccumulator::add(std::span<const double> x, std::span<const double> y) {
    if (x.size() != y.size())
        throw Error(ErrorKind::invalid_request, "a pair of spectra: channels of unequal length");
    State& s = *state_;
    const std::size_t step = s.scale.hop;  // so that each step completes at most one segment on either side
    for (std::size_t at = 0; at < x.size(); at += step) {
        const std::size_t count = std::min(step, x.size() - at);
        s.cut_x.add(x.subspan(at, count), [&s](std::span<const double> segment) { s.put_x(segment); });
        s.cut_y.add(y.subspan(at, count), [&s](std::span<const double> segment) { s.put_y(segment); });
    }
}

void PairSpectrumAccumulator::merge(const PairSpectrumAccumulator& later) {
    State& s = *state_;
    const State& other = *later.state_;
    if (s.scale.rate != other.scale.rate || s.scale.hop != other.scale.hop || s.xx.size() != other.xx.size() ||
        s.scale.window_kind != other.scale.window_kind)
        throw Error(ErrorKind::invalid_request, "spectra made with different settings can't be merged");
    for (std::size_t k = 0; k < s.xx.size(); ++k) {
        s.xx[k] += other.xx[k];
        s.yy[k] += other.yy[k];
    }
    s.segments += other.segments;
}

std::size_t PairSpectrumAccumulator::segments() const {
    return state_->segments;
}
std::size_t PairSpectrumAccumulator::hop() const {
    return state_->scale.hop;
}
std::pair<PowerSpectrum, PowerSpectrum> PairSpectrumAccumulator::result() const {
    const State& s = *state_;
    return {s.scale.finish(s.xx, s.segments), s.scale.finish(s.yy, s.segments)};
}

}  // namespace hushtrace
