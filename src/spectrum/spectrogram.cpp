#include "hushtrace/spectrum/spectrogram.hpp"

#include <complex>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "segmenter.hpp"

namespace hushtrace {

struct SpectrogramStream::State {
    State(double rate, std::size_t length, std::size_t hop_frames, WindowKind window_kind, Column each_column)
        : sample_rate_hz(rate),
          hop(hop_frames),
          transform(length),
          cutter(length, hop_frames),
          window(window_samples(window_kind, length)),
          weighted(length),
          bins(length / 2 + 1),
          density(length / 2 + 1),
          column(std::move(each_column)) {
        double squares = 0;
        for (const double w : window) squares += w * w;
        scale = 2.0 / (rate * squares);
    }
    double sample_rate_hz, scale = 0;
    std::size_t hop, count = 0;
    RealTransform transform;
    Segmenter cutter;
    std::vector<double> window, weighted;
    std::vector<std::complex<double>> bins;
    std::vector<double> density;
    Column column;
};

SpectrogramStream::SpectrogramStream(double sample_rate_hz, std::size_t length, std::size_t hop,
                                     WindowKind window, Column column) {
    if (!(sample_rate_hz > 0.0) || hop == 0)
        throw Error(ErrorKind::invalid_request, "a spectrogram needs a sample rate and a hop above 0");
    state_ = std::make_unique<State>(sample_rate_hz, length, hop, window, std::move(column));
}
SpectrogramStream::~SpectrogramStream() = default;
SpectrogramStream::SpectrogramStream(SpectrogramStream&&) noexcept = default;
SpectrogramStream& SpectrogramStream::operator=(SpectrogramStream&&) noexcept = default;

void SpectrogramStream::add(std::span<const double> samples) {
    State& s = *state_;
    s.cutter.add(samples, [&s](std::span<const double> segment) {
        for (std::size_t i = 0; i < segment.size(); ++i) s.weighted[i] = segment[i] * s.window[i];
        s.transform.forward(s.weighted, s.bins);
        for (std::size_t k = 0; k < s.bins.size(); ++k) s.density[k] = s.scale * std::norm(s.bins[k]);
        s.density.front() *= 0.5;  // dc and half the rate have no mirror image
        s.density.back() *= 0.5;
        const double centre =
            static_cast<double>(s.count * s.hop) + 0.5 * static_cast<double>(segment.size());
        ++s.count;
        s.column(centre / s.sample_rate_hz, s.density);
    });
}

struct SpectrogramAccumulator::State {
    State(double rate, std::size_t length, std::size_t most)
        : most_columns(most),
          stream(rate, length, length / 2, WindowKind::hann,
                 [this](double, std::span<const double> density) { take(density); }) {
        picture.bin_hz = rate / static_cast<double>(length);
        picture.bins = length / 2 + 1;
        sum.resize(picture.bins);
        const std::size_t hop = length / 2;
        column_s = static_cast<double>(hop) / rate;
    }
    void take(std::span<const double> density) {
        for (std::size_t k = 0; k < sum.size(); ++k) sum[k] += density[k];
        if (++summed < merged) return;
        store();
        if (picture.columns.size() < most_columns) return;
        auto& columns = picture.columns;  // full: merge in pairs, so that the picture stays bounded
        for (std::size_t i = 0; i + 1 < columns.size(); i += 2)
            for (std::size_t k = 0; k < sum.size(); ++k)
                columns[i / 2][k] = 0.5F * (columns[i][k] + columns[i + 1][k]);
        columns.resize(columns.size() / 2);
        merged *= 2;
    }
    void store() {
        auto& column = picture.columns.emplace_back(sum.size());
        for (std::size_t k = 0; k < sum.size(); ++k) {
            column[k] = static_cast<float>(sum[k] / static_cast<double>(summed));
            sum[k] = 0;
        }
        summed = 0;
    }
    std::size_t most_columns, merged = 1, summed = 0;
    double column_s = 0;
    Spectrogram picture;
    std::vector<double> sum;
    SpectrogramStream stream;
};

SpectrogramAccumulator::SpectrogramAccumulator(double sample_rate_hz, std::size_t length,
                                               std::size_t most_columns) {
    if (most_columns < 2 || most_columns % 2 != 0)
        throw Error(ErrorKind::invalid_request, "a spectrogram's column count must be even");
    state_ = std::make_unique<State>(sample_rate_hz, length, most_columns);
}
SpectrogramAccumulator::~SpectrogramAccumulator() = default;
SpectrogramAccumulator::SpectrogramAccumulator(SpectrogramAccumulator&&) noexcept = default;
SpectrogramAccumulator& SpectrogramAccumulator::operator=(SpectrogramAccumulator&&) noexcept = default;
void SpectrogramAccumulator::add(std::span<const double> samples) {
    state_->stream.add(samples);
}
Spectrogram SpectrogramAccumulator::result() const {
    Spectrogram out = state_->picture;
    out.column_s = state_->column_s * static_cast<double>(state_->merged);
    return out;
}

}  // namespace hushtrace
