#include "hushtrace/measure/line_transfer.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>

#include "hushtrace/signal/error.hpp"
#include "turned_back.hpp"

namespace hushtrace {
namespace {

using Complex = std::complex<double>;

constexpr double kTurn = 2.0 * std::numbers::pi;
constexpr double kStepsABlock = 256;
constexpr double kWorth = 0.95;  // of half overlapping Hann windows
constexpr double kByChance = 1e-5;
constexpr double kKnownTo = 0.25;
constexpr double kStandsOut = 10.0;  // times what lies beside the line: less, and a neighbour that sweeps by may pass for it
constexpr double kLeastAverages = 4;
constexpr double kMostDelay_s = 1.5e-3, kDelayStep_s = 1e-5;
/// Nats by which a delay must better the coherences: the best of 300 by chance betters them by less.
constexpr double kDelaySure = 12.0;
constexpr std::array<double, 6> kBeside = {-7.0, -5.0, -3.5, 3.5, 5.0, 7.0};  // bins: clear of the line's lobe

struct LineBlock {
    double frequency_hz = 0;
    Complex x, y;
    double noise = 0;  ///< of |x|^2, by the tracks beside it
};

/// Reads one block at an offset of so many bins.
class BlockReading {
public:
    explicit BlockReading(std::size_t length) : length_(length) {
        for (std::size_t i = 0; i < length; ++i)
            window_.push_back(0.5 - 0.5 * std::cos(kTurn * static_cast<double>(i) / static_cast<double>(length)));
        for (std::size_t k = 0; k < kBeside.size(); ++k)
            for (std::size_t i = 0; i < length; ++i)
                beside_[k].push_back(window_[i] * std::polar(1.0, -kTurn * kBeside[k] * static_cast<double>(i) / static_cast<double>(length)));
    }
    Complex line(const TurnedBack& sound, std::size_t at) const {
        Complex sum = 0.0;
        for (std::size_t i = 0; i < length_; ++i) sum += window_[i] * sound.values[at + i];
        return sum;
    }
    /// Of the six beside it the highest is left out: it may be a line.
    double noise(const TurnedBack& sound, std::size_t at) const {
        double sum = 0, most = 0;
        for (std::size_t k = 0; k < kBeside.size(); ++k) {
            Complex value = 0.0;
            for (std::size_t i = 0; i < length_; ++i) value += beside_[k][i] * sound.values[at + i];
            const double power = std::norm(value) / std::pow(sound.gain(kBeside[k] * sound.rate_hz / static_cast<double>(length_)), 2);
            sum += power;
            most = std::max(most, power);
        }
        // what is left are the five lowest of six exponentials, whose mean is 1 - (1 + 1/2 + ... + 1/6 - 1) / 5 of the whole's
        constexpr double of_the_five = 0.71;
        return (sum - most) / 5.0 / of_the_five;
    }

private:
    std::size_t length_;
    std::vector<double> window_;
    std::array<std::vector<Complex>, kBeside.size()> beside_;
};

using Bins = std::map<int, std::vector<LineBlock>>;

int bin_of(double frequency_hz, int bins_per_octave) {
    return static_cast<int>(std::floor(bins_per_octave * std::log2(frequency_hz / 1000.0)));
}

Bins blocks_of(std::span<const double> x, std::span<const double> y, double rate, const Track& track, double ratio,
               const LineTransferRequest& request) {
    Bins bins;
    const auto step = std::max<std::size_t>(1, static_cast<std::size_t>(request.block_s * rate / kStepsABlock));
    const TurnedBack of_x = turned_back(x, rate, track, ratio, step), of_y = turned_back(y, rate, track, ratio, step);
    const auto hop = static_cast<std::size_t>(0.5 * request.block_s * of_x.rate_hz);
    const std::size_t length = 2 * hop;
    const BlockReading reading(length);
    const double reach_hz = 7.0 / request.block_s;
    for (std::size_t at = 0; at + length <= of_x.values.size(); at += hop) {
        LineBlock block;
        block.frequency_hz = ratio * track.at((static_cast<double>(at + hop) + 1.0) / of_x.rate_hz);
        const double top_hz = std::min(request.most_hz, 0.45 * rate - reach_hz);
        if (!(block.frequency_hz > std::max(reach_hz, request.least_hz)) || block.frequency_hz > top_hz) continue;
        block.x = reading.line(of_x, at);
        block.y = reading.line(of_y, at);
        block.noise = reading.noise(of_x, at);
        bins[bin_of(block.frequency_hz, request.bins_per_octave)].push_back(block);
    }
    return bins;
}

struct Sums {
    double xx = 0, yy = 0, noise = 0, f = 0;
    Complex xy = 0.0;
    double coherence() const { return xx > 0.0 && yy > 0.0 ? std::min(1.0, std::norm(xy) / (xx * yy)) : 0.0; }
};
double mean_hz(const std::vector<LineBlock>& blocks) {
    double xx = 0, f = 0;
    for (const LineBlock& one : blocks) {
        xx += std::norm(one.x);
        f += std::norm(one.x) * one.frequency_hz;
    }
    return xx > 0.0 ? f / xx : blocks.front().frequency_hz;
}
Sums sums_of(const std::vector<LineBlock>& blocks, double delay_s) {
    Sums sums;
    sums.f = mean_hz(blocks);
    for (const LineBlock& one : blocks) {
        sums.xx += std::norm(one.x);
        sums.yy += std::norm(one.y);
        sums.noise += one.noise;
        sums.xy += std::conj(one.x) * one.y * std::polar(1.0, kTurn * (one.frequency_hz - sums.f) * delay_s);
    }
    return sums;
}

/// ln of how much better all bins go together with this delay than not at all.
double together(const std::vector<Bins>& lines, double delay_s) {
    double nats = 0;
    for (const Bins& bins : lines)
        for (const auto& [bin, blocks] : bins) {
            const double n = kWorth * static_cast<double>(blocks.size());
            if (n >= kLeastAverages) nats -= (n - 1.0) * std::log(std::max(1e-9, 1.0 - sums_of(blocks, delay_s).coherence()));
        }
    return nats;
}

double delay_between(const std::vector<Bins>& lines) {
    const double at_none = together(lines, 0.0);
    double best = at_none, delay_s = 0;
    for (double d = -kMostDelay_s; d <= kMostDelay_s; d += kDelayStep_s) {
        const double here = together(lines, d);
        if (here <= best) continue;
        best = here;
        delay_s = d;
    }
    return best > at_none + kDelaySure ? delay_s : 0.0;
}

}  // namespace

Reading LineTransferPoint::magnitude_db() const {
    constexpr double db_of_share = 8.685889638;  // 20 / ln 10
    return {20.0 * std::log10(std::abs(gain)), db_of_share * relative_sd, relative_sd > 0.06 ? LimitedBy::noise : LimitedBy::nothing};
}

LineTransfer line_transfer(std::span<const double> x, std::span<const double> y, double rate, const Track& track,
                           const LineTransferRequest& request) {
    if (x.size() != y.size()) throw Error(ErrorKind::invalid_request, "a transfer between channels of unequal length");
    if (track.empty()) throw Error(ErrorKind::invalid_request, "no track to read a transfer along");
    if (static_cast<double>(x.size()) < 2.5 * request.block_s * rate || request.block_s * rate < 8.0)
        throw Error(ErrorKind::too_short, "too short a take to read a transfer along a track");
    for (const auto& channel : {x, y})
        if (!std::all_of(channel.begin(), channel.end(), [](double one) { return std::isfinite(one); }))
            throw Error(ErrorKind::not_finite, "a transfer from samples that are no numbers");
    std::vector<Bins> lines;
    for (const double ratio : request.ratios) lines.push_back(ratio > 0.0 ? blocks_of(x, y, rate, track, ratio, request) : Bins{});
    LineTransfer out;
    out.delay_s = delay_between(lines);
    for (std::size_t line = 0; line < lines.size(); ++line)
        for (const auto& [bin, blocks] : lines[line]) {
            const double n = kWorth * static_cast<double>(blocks.size());
            if (n < kLeastAverages) continue;
            ++out.bins;
            const Sums sums = sums_of(blocks, out.delay_s);
            const double raw = sums.coherence(), clean = sums.xx - sums.noise;
            if (!(raw > 0.0) || std::pow(1.0 - raw, n - 1.0) > kByChance) continue;
            if (sums.xx < kStandsOut * sums.noise) continue;
            LineTransferPoint point;
            point.ratio = request.ratios[line];
            point.frequency_hz = sums.f;
            point.gain = sums.xy / clean;
            point.coherence = std::max(0.0, raw - (1.0 - raw) * (1.0 - raw) / n);
            point.averages = n;
            // what lies beside the line may be on both channels: then none of it should have been taken off
            const double of_noise = 0.5 * sums.noise / clean;
            point.relative_sd = std::hypot(std::sqrt((1.0 - raw) / (2.0 * n * raw)), of_noise);
            if (point.relative_sd < kKnownTo) out.points.push_back(point);
        }
    std::stable_sort(out.points.begin(), out.points.end(),
                     [](const LineTransferPoint& a, const LineTransferPoint& b) { return a.frequency_hz < b.frequency_hz; });
    return out;
}

std::vector<LineTransferPoint> joined_by_frequency(std::span<const LineTransferPoint> points, int bins_per_octave) {
    std::map<int, std::vector<LineTransferPoint>> bins;
    for (const LineTransferPoint& one : points) bins[bin_of(one.frequency_hz, bins_per_octave)].push_back(one);
    std::vector<LineTransferPoint> out;
    for (const auto& [bin, some] : bins) {
        double weights = 0, log_f = 0, log_gain = 0, coherence = 0, averages = 0;
        Complex gains = 0.0;
        constexpr double least_sd = 1e-3;
        const auto weight_of = [](const LineTransferPoint& one) { return 1.0 / (one.relative_sd * one.relative_sd + least_sd * least_sd); };
        for (const LineTransferPoint& one : some) {
            const double w = weight_of(one);
            weights += w;
            log_f += w * std::log(one.frequency_hz);
            log_gain += w * std::log(std::abs(one.gain));
            coherence += w * one.coherence;
            averages += one.averages;
            gains += w * one.gain / std::abs(one.gain);
        }
        LineTransferPoint joined = some.front();
        joined.frequency_hz = std::exp(log_f / weights);
        joined.gain = std::polar(std::exp(log_gain / weights), std::arg(gains));
        joined.coherence = coherence / weights;
        joined.averages = averages;
        double chi_squared = 0;
        for (const LineTransferPoint& one : some) chi_squared += weight_of(one) * std::pow(std::log(std::abs(one.gain)) - log_gain / weights, 2);
        const double apart = some.size() > 1 ? std::max(1.0, chi_squared / static_cast<double>(some.size() - 1)) : 1.0;
        joined.relative_sd = some.size() > 1 ? std::sqrt(apart / weights) : some.front().relative_sd;
        out.push_back(joined);
    }
    return out;
}

}  // namespace hushtrace
