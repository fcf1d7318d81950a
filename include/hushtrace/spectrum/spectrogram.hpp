#pragma once
#include <cstddef>
#include <functional>
#include <memory>
#include <span>
#include <vector>

#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {

/// Short-time power spectra of one channel, streamed: each column is handed on as soon as it is complete.
class SpectrogramStream {
public:
    /// column(time_s of the window's centre, density [length/2 + 1] in full scale squared per hertz)
    using Column = std::function<void(double time_s, std::span<const double> density)>;
    SpectrogramStream(double sample_rate_hz, std::size_t length, std::size_t hop, WindowKind window, Column column);
    ~SpectrogramStream();
    SpectrogramStream(SpectrogramStream&&) noexcept;
    SpectrogramStream& operator=(SpectrogramStream&&) noexcept;
    void add(std::span<const double> samples);

private:
    struct State;
    std::unique_ptr<State> state_;
};

/// A picture of bounded size for a take of any length: columns are merged in pairs when there are too many.
struct Spectrogram {
    double column_s = 0;                     ///< time that one column covers
    double bin_hz = 0;
    std::size_t bins = 0;
    std::vector<std::vector<float>> columns; ///< [columns][bins] mean density, full scale squared per hertz
};
class SpectrogramAccumulator {
public:
    SpectrogramAccumulator(double sample_rate_hz, std::size_t length, std::size_t most_columns = 800);
    ~SpectrogramAccumulator();
    SpectrogramAccumulator(SpectrogramAccumulator&&) noexcept;
    SpectrogramAccumulator& operator=(SpectrogramAccumulator&&) noexcept;
    void add(std::span<const double> samples);
    Spectrogram result() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
