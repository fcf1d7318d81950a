#include "sound_shaping.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace::simulated {
namespace {

constexpr double pi = std::numbers::pi;

double warped(double frequency_hz, double rate_hz) {
    return 2.0 * rate_hz * std::tan(pi * std::min(frequency_hz / rate_hz, 0.49));
}

// The analogue prototypes of Bristow-Johnson's audio biquads, in s over the corner.
SecondOrder section(double c0, double c1, double c2, double d0, double d1, double d2, double corner, double rate_hz) {
    const double one = 1.0 / corner, two = one * one;
    return {c0, c1 * one, c2 * two, d0, d1 * one, d2 * two, rate_hz};
}

SecondOrder low_shelf(double frequency_hz, double gain_db, double q, double rate_hz) {
    const double a = std::pow(10.0, gain_db / 40.0), root = std::sqrt(a) / q;
    return section(a * a, a * root, a, 1.0, root, a, warped(frequency_hz, rate_hz), rate_hz);
}

// A Butterworth's pairs of poles lie at these angles; an odd order has a real pole besides.
void add_butterworth(const FilterPart& part, int order, double rate_hz, std::vector<OnePole>& first,
                     std::vector<SecondOrder>& second) {
    const bool high = part.kind == FilterKind::high_pass;
    const double corner = warped(part.frequency_hz, rate_hz);
    for (int pair = 0; pair < order / 2; ++pair) {
        const double damping = 2.0 * std::sin(pi * (2 * pair + 1) / (2.0 * order));
        second.push_back(high ? section(0, 0, 1, 1, damping, 1, corner, rate_hz) : section(1, 0, 0, 1, damping, 1, corner, rate_hz));
    }
    if (order % 2 == 1)
        first.push_back(high ? OnePole::high_pass(part.frequency_hz, rate_hz) : OnePole::low_pass(part.frequency_hz, rate_hz));
}

}  // namespace

FilterChain::FilterChain(std::span<const FilterPart> parts, double rate_hz) {
    for (const FilterPart& part : parts) {
        const double corner = warped(part.frequency_hz, rate_hz);
        const double a = std::pow(10.0, part.gain_db / 40.0);
        switch (part.kind) {
            case FilterKind::peak:
                sections_.push_back(section(1, a / part.q, 1, 1, 1 / (a * part.q), 1, corner, rate_hz));
                break;
            case FilterKind::low_shelf:
                sections_.push_back(low_shelf(part.frequency_hz, part.gain_db, part.q, rate_hz));
                break;
            case FilterKind::high_shelf: {
                const double root = std::sqrt(a) / part.q;
                sections_.push_back(section(a, a * root, a * a, a, root, 1, corner, rate_hz));
                break;
            }
            case FilterKind::all_pass:
                if (part.order == 1)
                    first_orders_.push_back(OnePole::all_pass(part.frequency_hz, rate_hz));
                else
                    sections_.push_back(section(1, -1 / part.q, 1, 1, 1 / part.q, 1, corner, rate_hz));
                break;
            case FilterKind::high_pass:
            case FilterKind::low_pass:
                if (part.linkwitz_riley) {  // two Butterworths of half the order
                    add_butterworth(part, part.order / 2, rate_hz, first_orders_, sections_);
                    add_butterworth(part, part.order / 2, rate_hz, first_orders_, sections_);
                } else {
                    add_butterworth(part, part.order, rate_hz, first_orders_, sections_);
                }
                break;
        }
    }
}

std::complex<double> FilterChain::response(double frequency_hz, double sample_rate_hz) const {
    std::complex<double> out = 1.0;
    for (const OnePole& one : first_orders_) out *= one.response(frequency_hz, sample_rate_hz);
    for (const SecondOrder& one : sections_) out *= one.response(frequency_hz, sample_rate_hz);
    return out;
}

double volume_bass_db(const VolumeBassPart& part, double volume) {
    const auto& table = part.gain_db;
    if (volume <= table.front().first) return table.front().second;
    for (std::size_t i = 1; i < table.size(); ++i) {
        const auto& [to_volume, to_db] = table[i];
        const auto& [from_volume, from_db] = table[i - 1];
        if (volume <= to_volume) return from_db + (volume - from_volume) / (to_volume - from_volume) * (to_db - from_db);
    }
    return table.back().second;
}

VolumeBass::VolumeBass(const VolumeBassPart& part, std::size_t channels, double sample_rate_hz)
    : part_(part), rate_hz_(sample_rate_hz), shelves_(channels, low_shelf(part.frequency_hz, 0, part.q, sample_rate_hz)) {}

void VolumeBass::set_volume(double volume, bool at_once) {
    wanted_db_ = volume_bass_db(part_, volume);
    if (at_once) gain_db_ = wanted_db_;
}

void VolumeBass::move(double approach) {
    gain_db_ += (wanted_db_ - gain_db_) * approach;
    if (std::abs(gain_db_ - drawn_db_) > 1e-3) redraw();
}

void VolumeBass::redraw() {
    const SecondOrder shelf = low_shelf(part_.frequency_hz, gain_db_, part_.q, rate_hz_);
    for (SecondOrder& one : shelves_) one.become(shelf);
    drawn_db_ = gain_db_;
}

Limiter::Limiter(const LimiterPart& part, double sample_period_s)
    : part_(part),
      attack_(1.0 - std::exp(-sample_period_s / (1e-3 * part.attack_ms))),
      release_(std::exp(-sample_period_s / (1e-3 * part.release_ms))) {}

double Limiter::gain_for(double loudest_v) {
    held_v_ = std::max(loudest_v, held_v_ * release_);
    const double over_db = 20.0 * std::log10(std::max(held_v_, 1e-12) / (part_.threshold_v * std::numbers::sqrt2));
    const double wanted_db = over_db > 0 ? over_db * (1.0 / part_.ratio - 1.0) : 0.0;
    gain_db_ += (wanted_db - gain_db_) * attack_;
    return std::pow(10.0, gain_db_ / 20.0);
}

double Limiter::steady_gain(const LimiterPart& part, double peak_v) {
    const double over = peak_v / (part.threshold_v * std::numbers::sqrt2);
    return over > 1 ? std::pow(over, 1.0 / part.ratio - 1.0) : 1.0;
}

}  // namespace hushtrace::simulated
