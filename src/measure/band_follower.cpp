#include "hushtrace/measure/band_follower.hpp"

#include <algorithm>
#include <cmath>
#include <deque>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/weighting.hpp"
#include "running_floor.hpp"

namespace hushtrace {
namespace {
constexpr double window_s = 0.085, low_hz = 20.0, high_hz = 20000.0;
constexpr double everything_s = 0.5;
}  // namespace

void require_followable(const Block& block, std::size_t channels) {
    if (block.channels() != channels) throw Error(ErrorKind::invalid_request, "the sound changed its number of channels");
    for (std::size_t c = 0; c < channels; ++c)
        for (const double sample : block.channel(c))
            if (!std::isfinite(sample)) throw Error(ErrorKind::not_finite, "the sound holds a value that is no number");
}

struct BandFollower::State {
    State(double rate, std::size_t channels, FollowedBand wanted)
        : band(wanted), length(fast_length(static_cast<std::size_t>(window_s * rate))), hop(length / 4), sample_rate_hz(rate),
          bin_hz(rate / static_cast<double>(length)), hop_s(static_cast<double>(hop) / rate) {
        const std::size_t bins = length / 2 + 1;
        for (std::size_t k = 0; k < bins; ++k) {
            const double hz = static_cast<double>(k) * bin_hz;
            const bool inside = hz >= low_hz && hz <= high_hz;
            weight.push_back(!inside ? 0.0 : band == FollowedBand::hiss_a ? a_weighting_power(hz) : 1.0);
        }
        columns.resize(channels);
        powers.resize(channels);
        for (std::size_t c = 0; c < channels; ++c) {
            floors.emplace_back(bins, window_s, hop_s);
            streams.emplace_back(rate, length, hop, WindowKind::hann,
                                 [this, c](double, std::span<const double> density) { columns[c].emplace_back(density.begin(), density.end()); });
        }
    }

    Reading reading(std::size_t c, const std::vector<double>& column) {
        floors[c].add(column);
        const bool all = band == FollowedBand::everything;
        const std::span<const double> density = all ? std::span<const double>(column) : floors[c].noise();
        double sum = 0, squares = 0;
        for (std::size_t k = 0; k < weight.size(); ++k) {
            const double power = weight[k] * density[k];
            sum += power * bin_hz;
            squares += power * power * bin_hz;
        }
        // averaging an exponential memory of 0.5 s is as good as one over a second; medians cost a half more (pi / 2)
        if (!all) return {sum < 1e-24 ? 0.0 : sum, std::sqrt(squares * 1.57), LimitedBy::nothing};
        powers[c].push_back(sum);
        if (static_cast<double>(powers[c].size()) * hop_s > everything_s) powers[c].pop_front();
        double mean = 0;
        for (const double one : powers[c]) mean += one / static_cast<double>(powers[c].size());
        return {mean, std::sqrt(squares / (everything_s + 0.5 * window_s)), LimitedBy::nothing};
    }

    FollowedBand band;
    std::size_t length, hop, count = 0;
    double sample_rate_hz, bin_hz, hop_s;
    std::vector<double> weight;
    std::vector<SpectrogramStream> streams;
    std::vector<std::deque<std::vector<double>>> columns;
    std::vector<RunningFloor> floors;
    std::vector<std::deque<double>> powers;
};

BandFollower::BandFollower(double sample_rate_hz, std::size_t channels, FollowedBand band) {
    if (!(sample_rate_hz > 0.0) || channels == 0) throw Error(ErrorKind::invalid_request, "nothing to follow a band in");
    state_ = std::make_unique<State>(sample_rate_hz, channels, band);
}
BandFollower::~BandFollower() = default;
double BandFollower::hop_s() const { return state_->hop_s; }

std::vector<FollowedPower> BandFollower::add(const Block& block) {
    State& s = *state_;
    require_followable(block, s.streams.size());
    for (std::size_t c = 0; c < block.channels(); ++c) s.streams[c].add(block.channel(c));
    std::vector<FollowedPower> out;
    while (!s.columns.front().empty()) {
        FollowedPower now;
        now.time_s = static_cast<double>(s.count++ * s.hop + s.length) / s.sample_rate_hz;
        for (std::size_t c = 0; c < s.columns.size(); ++c) {
            now.mean_square.push_back(s.reading(c, s.columns[c].front()));
            now.at_most.push_back(false);
            s.columns[c].pop_front();
        }
        out.push_back(std::move(now));
    }
    return out;
}

}  // namespace hushtrace
