#include "phase_blocks.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {
namespace {

constexpr double search_s = 0.4;
constexpr double block_s = 0.005,
                 cycles_in_block = 3;  // a window of two blocks: the tone's image stays outside its lobe
constexpr double least_share = 0.05;   // of the tone in a block's power, for it to count as present
constexpr std::size_t most_absent = 4, lost_after = 200;  // blocks
constexpr std::size_t most_sections = 10000;
constexpr double lowest_hz = 15;

}  // namespace

PhaseBlocks::PhaseBlocks(double sample_rate_hz, std::optional<double> expected_hz)
    : rate_(sample_rate_hz),
      expected_hz_(expected_hz),
      search_length_(fast_length(static_cast<std::size_t>(search_s * sample_rate_hz))) {}

bool PhaseBlocks::find_tone(std::span<const double> samples) {
    RealTransform transform(samples.size());
    const auto hann = window_samples(WindowKind::hann, samples.size());
    std::vector<double> windowed(samples.size());
    for (std::size_t i = 0; i < samples.size(); ++i) windowed[i] = samples[i] * hann[i];
    std::vector<std::complex<double>> bins(transform.bins());
    transform.forward(windowed, bins);
    const double bin_hz = rate_ / static_cast<double>(samples.size());
    const double from_hz = std::max(lowest_hz, expected_hz_ ? 0.98 * *expected_hz_ : 0.0);
    const double to_hz = std::min(0.49 * rate_, expected_hz_ ? 1.02 * *expected_hz_ : rate_);
    const auto first = static_cast<std::size_t>(std::floor(from_hz / bin_hz));
    const auto last = std::min(bins.size() - 2, static_cast<std::size_t>(std::ceil(to_hz / bin_hz)));
    if (first < 4 || first >= last) return false;
    std::size_t top = first;
    for (std::size_t k = first; k <= last; ++k) {
        if (std::norm(bins[k]) > std::norm(bins[top])) top = k;
    }
    double line = 0, beside = 0, all = 0;
    std::size_t beside_count = 0;
    for (std::size_t k = 1; k < bins.size(); ++k) {
        const std::size_t away = k > top ? k - top : top - k;
        all += std::norm(bins[k]);
        if (away <= 3) {
            line += std::norm(bins[k]);
        } else if (away >= 6 && away <= 40) {
            beside += std::norm(bins[k]);
            ++beside_count;
        }
    }
    if (!(all > 0) || beside_count == 0) return false;
    const double prominence =
        std::norm(bins[top]) * static_cast<double>(beside_count) / std::max(beside, 1e-300);
    if (prominence < 100 || line < (expected_hz_ ? least_share : 0.5) * all) return false;
    // Between two bins of a Hann window: the larger neighbour's ratio r gives (2r - 1)/(r + 1) bins.
    const double left = std::abs(bins[top - 1]), right = std::abs(bins[top + 1]),
                 centre = std::abs(bins[top]);
    const double ratio = std::max(left, right) / centre;
    const double offset = (2 * ratio - 1) / (ratio + 1);
    carrier_hz_ = (static_cast<double>(top) + (right > left ? offset : -offset)) * bin_hz;
    hop_ = static_cast<std::size_t>(std::max(block_s, cycles_in_block / carrier_hz_) * rate_);
    window_ = window_samples(WindowKind::hann, 2 * hop_);
    return hop_ >= 8 && 2 * hop_ < samples.size();
}

PhaseBlock PhaseBlocks::demodulate() const {
    const auto cycles_at = [this](double frame) {
        const double cycles = carrier_hz_ / rate_ * frame;
        return 2 * std::numbers::pi * (cycles - std::floor(cycles));
    };
    std::complex<double> spin = std::polar(1.0, -cycles_at(static_cast<double>(position_)));
    const std::complex<double> turn = std::polar(1.0, -2 * std::numbers::pi * carrier_hz_ / rate_);
    std::complex<double> sum = 0;
    double power = 0, weight = 0;
    for (std::size_t i = 0; i < window_.size(); ++i) {
        const double sample = pending_[taken_ + i];
        sum += sample * window_[i] * spin;
        power += sample * sample * window_[i];
        weight += window_[i];
        spin *= turn;
    }
    PhaseBlock block;
    block.time_s = (static_cast<double>(position_) + static_cast<double>(hop_)) / rate_;
    block.amplitude = 2.0 * sum / weight;
    block.mean_square = power / weight;
    return block;
}

void PhaseBlocks::consume(std::size_t count) {
    if (!in_section_ && !sections_.empty()) {
        const auto chunk = std::max<std::size_t>(1, static_cast<std::size_t>(block_s * rate_));
        for (std::size_t from = 0; from < count; from += chunk) {
            const std::size_t length = std::min(chunk, count - from);
            double power = 0;
            for (std::size_t i = 0; i < length; ++i)
                power += pending_[taken_ + from + i] * pending_[taken_ + from + i];
            // The first blocks after the end still hold the tone's own last part.
            const double since_s = (static_cast<double>(position_ + from)) / rate_ - sections_.back().end_s;
            if (since_s > 0.05) {
                sections_.back().loudest_after =
                    std::max(sections_.back().loudest_after, power / static_cast<double>(length));
            }
        }
    }
    taken_ += count;
    position_ += count;
    if (taken_ > 1U << 16U) {
        pending_.erase(pending_.begin(), pending_.begin() + static_cast<std::ptrdiff_t>(taken_));
        taken_ = 0;
    }
}

PhaseBlocks::Next PhaseBlocks::next(PhaseBlock& block, bool no_more) {
    for (;;) {
        const std::size_t there = pending_.size() - taken_;
        if (!following_) {
            const std::size_t length =
                no_more ? std::min(search_length_, there & ~std::size_t{1}) : search_length_;
            if (there < length || length < search_length_ / 4) return Next::more_needed;
            if (find_tone(std::span(pending_).subspan(taken_, length))) {
                following_ = true;
                absent_ = 0;
            } else {
                consume(length / 2);
            }
            continue;
        }
        if (there < window_.size()) {
            if (!no_more || !in_section_) return Next::more_needed;
            in_section_ = false;
            return Next::section_end;
        }
        const PhaseBlock now = demodulate();
        const double tone_power = 0.5 * std::norm(now.amplitude);
        const bool present = tone_power > least_share * now.mean_square && tone_power > 1e-14;
        consume(hop_);
        if (present) {
            absent_ = 0;
            if (!in_section_ && sections_.size() < most_sections) {
                sections_.emplace_back();
                sections_.back().start_s = now.time_s;
                sections_.back().frequency_hz = carrier_hz_;
            }
            in_section_ = true;
            ToneSection& section = sections_.back();
            if (section.tone_energy > 0) {
                section.turn += now.amplitude * std::conj(last_amplitude_);
                section.frequency_hz = carrier_hz_ + std::arg(section.turn) / (2 * std::numbers::pi) * rate_ /
                                                         static_cast<double>(hop_);
            }
            last_amplitude_ = now.amplitude;
            section.end_s = now.time_s;
            section.amplitude = std::abs(now.amplitude);
            section.tone_energy += tone_power;
            section.all_energy += now.mean_square;
            section.loudest_after = 0;
            block = now;
            return Next::block;
        }
        if (++absent_ >= lost_after) following_ = false;
        if (in_section_ && absent_ > most_absent) {
            in_section_ = false;
            return Next::section_end;
        }
        if (in_section_) {  // a short gap: the block is handed on, its weight is its amplitude
            block = now;
            return Next::block;
        }
    }
}

}  // namespace hushtrace
