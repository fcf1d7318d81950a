#include "marker_correlation.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {
namespace {

constexpr std::array band_tops_hz = {8000.0, 1000.0, 160.0};
constexpr double band_bottom_hz = 45.0;          // the marker's own soft edge lies below
constexpr double lobe_widths = 3;                // half the peak's foot, in widths of one over the bandwidth
constexpr double margin_s = 0.1, edge_s = 0.03;  // of the stretch around a marker, for its exact time

std::size_t index_of(Marker::End end) {
    return end == Marker::End::opening ? 0 : 1;
}

std::complex<double> direction(std::complex<double> value) {
    const double size = std::abs(value);
    return size > 0 ? value / size : 0.0;
}

}  // namespace

MarkerCorrelation::MarkerCorrelation(double sample_rate_hz, std::size_t length)
    : rate_(sample_rate_hz),
      transform_(length),
      window_(window_samples(WindowKind::hann, length)),
      windowed_(length),
      spectrum_(transform_.bins()),
      phases_(transform_.bins()) {
    for (const Marker::End end : {Marker::End::opening, Marker::End::closing}) {
        std::vector<double> padded = marker_samples(end, rate_);
        padded.resize(length, 0.0);
        transform_.forward(padded, spectrum_);
        auto& phases = marker_phases_[index_of(end)];
        for (const Complex& bin : spectrum_) phases.push_back(std::conj(direction(bin)));
        markers_[index_of(end)] = spectrum_;
    }
    const double bin_hz = rate_ / static_cast<double>(length);
    for (std::size_t kind = 0; kind < band_tops_hz.size(); ++kind) {
        const double top_hz = band_tops_hz[kind];
        const double to_hz = std::min(top_hz * 0.97, 0.43 * rate_);  // clear of the marker's upper soft edge
        if (!bands_.empty() && to_hz >= bands_.back().to_hz) continue;
        const auto from = static_cast<std::size_t>(std::ceil(band_bottom_hz / bin_hz));
        const auto to = static_cast<std::size_t>(to_hz / bin_hz);
        const double crossing_s =
            Marker::duration_s * std::log(to_hz / band_bottom_hz) / std::log(Marker::to_hz / Marker::from_hz);
        bands_.push_back({from, to, kind, to_hz, crossing_s, RealTransform(fast_length(2 * (to + 1))), {}});
    }
    // Where in the marker its time hangs: shown by a marker from a clock that is off by a known share.
    constexpr double off = 2e-4;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        for (const Marker::End end : {Marker::End::opening, Marker::End::closing}) {
            const auto stretched = marker_samples(end, rate_ * (1 + off));
            std::vector<double> frame(length, 0.0);
            const std::size_t place = length / 4;
            for (std::size_t i = 0; i < stretched.size() && place + i < length; ++i)
                frame[place + i] = stretched[i];
            Peak peak;
            double likeness = 0;
            peak.end = end;
            peak.band = b;
            peak.start_s = static_cast<double>(place) / rate_;
            bands_[b].reference_s[index_of(end)] =
                (refine(frame, peak, likeness).time_s - peak.start_s) / off;
        }
    }
    for (Band& band : bands_) band.to_hz = std::round(band.to_hz / 0.97);
}

bool MarkerCorrelation::load(std::span<const double> frame) {
    bool silent = true;
    for (std::size_t i = 0; i < frame.size(); ++i) {
        windowed_[i] = frame[i] * window_[i];
        silent = silent && frame[i] == 0;
    }
    if (silent) return false;
    transform_.forward(windowed_, spectrum_);
    for (std::size_t k = bands_.front().from; k < bands_.front().to; ++k)
        phases_[k] = direction(spectrum_[k]);
    return true;
}

MarkerCorrelation::Peak MarkerCorrelation::peak(Marker::End end, std::size_t which) {
    Band& band = bands_[which];
    const std::size_t places = band.inverse.length();
    // The band's bins alone are turned back, on a grid of places as coarse as they allow; real and imaginary
    // part of the analytic signal in two transforms.
    std::vector<Complex> bins(band.inverse.bins());
    std::vector<double> real(places), imaginary(places);
    const auto& marker = marker_phases_[index_of(end)];
    // Soft ends of the band keep the peak's foot low.
    const double width = static_cast<double>(band.to - band.from);
    for (std::size_t k = band.from; k < band.to; ++k) {
        const double part = (static_cast<double>(k - band.from) + 0.5) / width;
        const double taper = std::min(1.0, 4 * std::min(part, 1 - part));
        bins[k] = phases_[k] * marker[k] * (0.5 - 0.5 * std::cos(std::numbers::pi * taper));
    }
    band.inverse.inverse(bins, real);
    for (Complex& bin : bins) bin *= Complex(0, -1);
    band.inverse.inverse(bins, imaginary);

    const double period_s = static_cast<double>(length()) / rate_;
    const double place_s = period_s / static_cast<double>(places);
    const auto power = [&](std::size_t i) { return real[i] * real[i] + imaginary[i] * imaginary[i]; };
    double sum = 0, top_power = -1;
    std::size_t top = 0;
    for (std::size_t i = 0; i < places; ++i) {
        sum += power(i);
        const double middle_s = static_cast<double>(i) * place_s + 0.5 * Marker::duration_s;
        if (middle_s < 0.24 * period_s || middle_s > 0.76 * period_s) continue;
        if (power(i) > top_power) {
            top_power = power(i);
            top = i;
        }
    }
    // Beside the peak: a single click lights up the whole time in which the marker crosses the band, so that
    // stretch is looked at by itself too.
    const double width_s = period_s / static_cast<double>(band.to - band.from);
    const auto lobe = static_cast<std::size_t>(lobe_widths * width_s / place_s) + 1;
    const auto reach = std::min(static_cast<std::size_t>(band.crossing_s / place_s), places / 2 - 1);
    double lobe_sum = 0, local_sum = 0;
    for (std::size_t away = 0; away <= reach; ++away) {
        const double both =
            away == 0 ? power(top) : power((top + away) % places) + power((top + places - away) % places);
        (away <= lobe ? lobe_sum : local_sum) += both;
    }
    const double whole = std::max(sum - lobe_sum, 0.0) / static_cast<double>(places - 2 * lobe - 1);
    const double local = local_sum / static_cast<double>(2 * std::max<std::size_t>(1, reach - lobe));
    const double beside = std::max(whole, local);
    Peak peak;
    peak.end = end;
    peak.band = which;
    peak.start_s = static_cast<double>(top) * place_s;
    // All bins in phase make a peak that high; what rounding leaves beside it shall not make it infinite.
    peak.strength = top_power > 0 ? std::sqrt(top_power / std::max(beside, 1e-6 * top_power)) : 0;
    return peak;
}

double MarkerCorrelation::phase_product(std::span<const double> stretch, Marker::End end, const Band& band,
                                        std::vector<Complex>& product) {
    transform_.forward(stretch, spectrum_);
    product.assign(band.to - band.from, 0.0);
    const auto& marker = marker_phases_[index_of(end)];
    for (std::size_t k = band.from; k < band.to; ++k)
        product[k - band.from] = direction(spectrum_[k]) * marker[k];
    return static_cast<double>(product.size());
}

std::complex<double> MarkerCorrelation::turned(const std::vector<Complex>& product, const Band& band,
                                               double time_s) const {
    const double step = 2 * std::numbers::pi * time_s * rate_ / static_cast<double>(length());
    Complex spin = std::polar(1.0, step * static_cast<double>(band.from)), sum = 0;
    const Complex turn = std::polar(1.0, step);
    for (const Complex& value : product) {
        sum += value * spin;
        spin *= turn;
    }
    return sum;
}

FoundMarker MarkerCorrelation::refine(std::span<const double> frame, const Peak& peak, double& likeness) {
    Band& band = bands_[peak.band];
    // The stretch around the marker, with soft edges, silence elsewhere: noise further away stays out.
    std::vector<double> stretch(frame.begin(), frame.end());
    const double from_s = peak.start_s - margin_s, to_s = peak.start_s + Marker::duration_s + margin_s;
    for (std::size_t i = 0; i < stretch.size(); ++i) {
        const double inside_s =
            std::min(static_cast<double>(i) / rate_ - from_s, to_s - static_cast<double>(i) / rate_);
        const double part = std::clamp(inside_s / edge_s, 0.0, 1.0);
        stretch[i] *= 0.5 - 0.5 * std::cos(std::numbers::pi * part);
    }
    std::vector<Complex> product;
    const double most = phase_product(stretch, peak.end, band, product);
    const auto height = [&](double time_s) { return std::abs(turned(product, band, time_s)); };

    // The peak is about 1/bandwidth wide: a walk in eighths of that, then sections by the golden ratio.
    const double width_s = static_cast<double>(length()) / rate_ / static_cast<double>(product.size());
    double best_s = peak.start_s, best = height(best_s);
    for (int step = -16; step <= 16; ++step) {
        const double at_s = peak.start_s + 0.125 * step * width_s;
        if (const double here = height(at_s); here > best) {
            best = here;
            best_s = at_s;
        }
    }
    const double golden = 0.5 * (std::sqrt(5.0) - 1);
    double low = best_s - 0.125 * width_s, high = best_s + 0.125 * width_s;
    double left = high - golden * (high - low), right = low + golden * (high - low);
    double left_height = height(left), right_height = height(right);
    while (high - low > 1e-5 / rate_) {
        if (left_height > right_height) {
            high = right, right = left, right_height = left_height;
            left = high - golden * (high - low), left_height = height(left);
        } else {
            low = left, left = right, left_height = right_height;
            right = low + golden * (high - low), right_height = height(right);
        }
    }
    const double time_s = 0.5 * (low + high);
    const Complex sum = turned(product, band, time_s);

    // phase_product left the stretch's spectrum behind.
    const auto& pure = markers_[index_of(peak.end)];
    double power = 0, pure_power = 0;
    Complex common = 0;
    for (std::size_t k = band.from; k < band.to; ++k) {
        const double angle =
            2 * std::numbers::pi * time_s * rate_ / static_cast<double>(length()) * static_cast<double>(k);
        common += spectrum_[k] * std::conj(pure[k]) * std::polar(1.0, angle);
        power += std::norm(spectrum_[k]);
        pure_power += std::norm(pure[k]);
    }
    likeness = power > 0 ? std::norm(common) / (power * pure_power) : 0;

    FoundMarker marker;
    marker.end = peak.end;
    marker.time_s = time_s;
    marker.strength = peak.strength;
    marker.inverted = sum.real() < 0;
    marker.band_to_hz = band.to_hz;
    marker.reference_s = band.reference_s[index_of(peak.end)];
    // Phases that scatter by s about a straight line fix its slope to s / sqrt(sum of squared distances of
    // their frequencies); a wrapped normal distribution of that scatter has the mean length exp(-s^2/2).
    // Silence around the stretch makes neighbouring bins depend on each other: fewer count.
    const double length_of_mean = std::clamp(std::abs(sum) / most, 1e-6, 1 - 1e-9);
    const double scatter = std::sqrt(-2 * std::log(length_of_mean));
    const double independent = most * (to_s - from_s) * rate_ / static_cast<double>(length());
    const double frequency_sd_hz = most * rate_ / static_cast<double>(length()) / std::sqrt(12.0);
    marker.time_sd_s = scatter / (2 * std::numbers::pi * frequency_sd_hz * std::sqrt(independent));
    return marker;
}

}  // namespace hushtrace
