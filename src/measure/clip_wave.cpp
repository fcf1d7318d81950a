#include "clip_wave.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <mutex>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"
#include "kept.hpp"

// Rapp 1991, "Effects of HPA-nonlinearity on a 4-DPSK/OFDM signal", for the rounded corner.
namespace hushtrace {
namespace {

using Complex = std::complex<double>;
using Place = ClipModel::Place;

constexpr std::size_t kPoints = 2048;  // of a period: what folds back onto harmonic 40 lies 68 dB below it
constexpr std::size_t kSettled = 12;  // periods: a triangle forgets its start by a third or so each half period

/// A rail of height 1, for a magnitude.
double one_rail(double x, double edge) {
    if (edge < kSharp) return std::min(x, 1.0);
    const double p = 1.0 / edge, far = 36.0 * edge;  // beyond exp(far) the corner is below rounding
    if (x < 1.0 - far) return x;
    return x <= 1.0 ? x * std::pow(1.0 + std::pow(x, p), -edge) : std::pow(1.0 + std::pow(x, -p), -edge);
}

double bent(double x, double bend_2, double bend_3) {
    return x * (1.0 + x * (bend_2 + x * bend_3));
}

/// cos(2 pi n / kPoints).
const std::vector<double>& cosines() {
    static const std::vector<double> table = [] {
        std::vector<double> made(kPoints);
        for (std::size_t n = 0; n < kPoints; ++n)
            made[n] = std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / kPoints);
        return made;
    }();
    return table;
}

using Rows = std::vector<std::vector<double>>;

/// Rows of cos(2 pi k n / kPoints), n = 1 .. kPoints / 4 - 1, for k = 1 .. count or more.
std::shared_ptr<const Rows> quarter_rows(std::size_t count) {
    static std::mutex mutex;
    static std::shared_ptr<const Rows> kept = std::make_shared<Rows>();
    const std::lock_guard lock(mutex);
    if (kept->size() >= count) return kept;
    auto more = std::make_shared<Rows>(*kept);   // others may still read the old ones
    while (more->size() < count) {
        const std::size_t k = more->size() + 1;
        std::vector<double>& row = more->emplace_back();
        for (std::size_t n = 1; n < kPoints / 4; ++n) row.push_back(cosines()[k * n % kPoints]);
    }
    return kept = more;
}

double dot(const std::vector<double>& a, const std::vector<double>& b) {
    std::array<double, 4> sum{};  // four at a time, so that no sum waits for the last
    std::size_t n = 0;
    for (; n + 4 <= a.size(); n += 4)
        for (std::size_t i = 0; i < 4; ++i) sum[i] += a[n + i] * b[n + i];
    for (; n < a.size(); ++n) sum[0] += a[n] * b[n];
    return sum[0] + sum[1] + sum[2] + sum[3];
}

}  // namespace

Rails rails_of(const ClipModel& m) {
    const double first = m.value[Place::drive_db], other = m.value[Place::other_drive_db];
    switch (m.shape) {
        case ClipShape::equal_rails: return {first, first};
        case ClipShape::upper_rail: return {first, std::nullopt};
        case ClipShape::lower_rail: return {std::nullopt, first};
        case ClipShape::unequal_rails: return {first, other};
        default: return {};
    }
}

std::vector<double> railed_half(const ClipModel& m) {
    const Rails rails = rails_of(m);
    const double edge = m.value[Place::edge];
    const auto over_of = [](const std::optional<double>& drive) { return drive ? amplitude_from_decibels(*drive) : 0.0; };
    const double over_upper = over_of(rails.upper_db), over_lower = over_of(rails.lower_db);
    const auto side = [edge](double u, double over) { return over > 0.0 ? one_rail(u * over, edge) / over : u; };
    std::vector<double> wave(kPoints / 2 + 1);
    for (std::size_t n = 0; n < wave.size(); ++n) {
        const double u = bent(cosines()[n], m.value[Place::bend_2], m.value[Place::bend_3]);
        wave[n] = u >= 0 ? side(u, over_upper) : -side(-u, over_lower);
    }
    return wave;
}

std::vector<double> slewed_wave(double most, double* share) {
    const double step = 2.0 * std::numbers::pi / kPoints;
    std::vector<double> wave(kPoints);
    double y = 0;
    std::size_t limited = 0;
    for (std::size_t n = 0; n < kSettled * kPoints; ++n) {
        const double wanted = cosines()[n % kPoints] - y;
        const bool at_limit = std::abs(wanted) > most * step;
        y += std::clamp(wanted, -most * step, most * step);
        wave[n % kPoints] = y;
        limited += at_limit && n >= (kSettled - 1) * kPoints;
    }
    if (share) *share = static_cast<double>(limited) / kPoints;
    return wave;
}

double steepness(const ClipModel& m) {
    return amplitude_from_decibels(-m.value[Place::drive_db]);
}

std::vector<Complex> spectrum_of_half(const std::vector<double>& half, std::size_t count) {
    constexpr std::size_t quarter = kPoints / 4, middle = kPoints / 2;
    std::vector<double> even, odd;  // what the even and the odd harmonics see of it
    for (std::size_t n = 1; n < quarter; ++n) {
        even.push_back(half[n] + half[middle - n]);
        odd.push_back(half[n] - half[middle - n]);
    }
    const auto kept = quarter_rows(count);
    const Rows& rows = *kept;
    std::vector<Complex> out(count);
    for (std::size_t k = 1; k <= count; ++k) {
        const bool is_odd = k % 2 == 1;
        const double ends = half[0] + (is_odd ? -half[middle] : half[middle]);
        const double at_quarter = is_odd ? 0.0 : k % 4 == 0 ? half[quarter] : -half[quarter];
        out[k - 1] = (ends + 2.0 * (dot(rows[k - 1], is_odd ? odd : even) + at_quarter)) * (2.0 / kPoints);
    }
    return out;
}

std::vector<Complex> spectrum_of(const std::vector<double>& wave, std::size_t count) {
    KeptTransform fft(kPoints);
    std::vector<Complex> bins(fft->bins()), out(count);
    fft->forward(wave, bins);
    for (std::size_t k = 1; k <= count; ++k) out[k - 1] = bins[k] * (2.0 / kPoints);
    return out;
}

}  // namespace hushtrace
