#include "path_sum.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

/// exp(-s) I0(2 sqrt(s r)), tabulated over r.
class SteadyLineRatio {
public:
    explicit SteadyLineRatio(double snr) : table_(kSize + 2) {
        for (std::size_t i = 0; i < table_.size(); ++i) {
            const double r = kTop * static_cast<double>(i) / kSize;
            table_[i] = static_cast<float>(
                std::min(std::exp(-snr) * std::cyl_bessel_i(0.0, 2.0 * std::sqrt(snr * r)), std::exp(kMostInFavour)));
        }
    }
    float operator()(float r) const {
        if (r < 0.0F) return 1.0F;
        const float place = std::min(r, static_cast<float>(kTop)) * (kSize / static_cast<float>(kTop));
        const auto i = static_cast<std::size_t>(place);
        return table_[i] + (place - static_cast<float>(i)) * (table_[i + 1] - table_[i]);
    }

private:
    static constexpr std::size_t kSize = 600;
    static constexpr double kTop = 60;
    /// One column, however loud, doesn't draw a path over from another line.
    static constexpr double kMostInFavour = 8;
    std::vector<float> table_;
};

float sum_of(const float* values, std::size_t count) {
    float lanes[8] = {};
    std::size_t i = 0;
    for (; i + 8 <= count; i += 8)
        for (std::size_t j = 0; j < 8; ++j) lanes[j] += values[i + j];
    for (; i < count; ++i) lanes[0] += values[i];
    return ((lanes[0] + lanes[1]) + (lanes[2] + lanes[3])) + ((lanes[4] + lanes[5]) + (lanes[6] + lanes[7]));
}

constexpr double kFinest_hz = 6000.0;  // above it, cells may be wider than bins
constexpr double kOffThePath = 0.7;  // bins by which a line strays from the paths that are told apart (measured)
constexpr double kUnits = 1.5;  // the slope's rms, in units of the slopes that are told apart

}  // namespace

double LogGrid::hz(double cell) const { return from_hz * std::exp(step * cell); }

PathSum::PathSum(const NoiseRatioMap& map, double from_hz, double to_hz, const PathLaw& law) : map_(map) {
    const double a_column = law.slope_per_s / kUnits * map.hop_s;
    grid_.from_hz = from_hz;
    grid_.step = std::max(a_column, map.bin_hz / kFinest_hz);
    cells_a_unit_ = a_column / grid_.step;
    if (to_hz > from_hz) grid_.cells = static_cast<std::size_t>(std::log(to_hz / from_hz) / grid_.step) + 1;
    for (std::size_t c = 0; c < grid_.cells; ++c) {
        const double middle = grid_.hz(static_cast<double>(c)) / map_.bin_hz, half = 0.5 * grid_.step * middle;
        const auto near_by = static_cast<std::size_t>(middle + 0.5);
        first_.push_back(std::min({near_by, static_cast<std::size_t>(middle - half + 0.5), map_.bins - 1}));
        last_.push_back(std::min(std::max(near_by, static_cast<std::size_t>(middle + half + 0.5)) + 1, map_.bins));
    }
    const double keeps = std::exp(-map.hop_s / law.memory_s), fresh = (1.0 - keeps * keeps) * kUnits * kUnits;
    for (int from = -kSteepest; from <= kSteepest; ++from) {
        double sum = 0;
        std::vector<double> row;
        for (int to = -kSteepest; to <= kSteepest; ++to) {
            const double away = to - keeps * from;
            row.push_back(std::exp(-0.5 * away * away / (fresh + 0.15)));  // 0.15: a slope is one of few, not any
            sum += row.back();
        }
        for (const double one : row) turn_.push_back(static_cast<float>(one / sum));
    }
    double all = 0;
    for (int k = -kSteepest; k <= kSteepest; ++k) all += std::exp(-0.5 * k * k / (kUnits * kUnits));
    for (int k = -kSteepest; k <= kSteepest; ++k)
        slope_share_.push_back(static_cast<float>(std::exp(-0.5 * k * k / (kUnits * kUnits)) / all));
    if (grid_.cells > 0) set_likelihood(law.snr);
}

void PathSum::set_likelihood(double snr) {
    const SteadyLineRatio ratio(snr);
    std::vector<float> of_bins(map_.bins);
    likelihood_.resize(map_.columns * grid_.cells);
    for (std::size_t t = 0; t < map_.columns; ++t) {
        for (std::size_t b = 0; b < map_.bins; ++b) of_bins[b] = ratio(map_.at(t, b));
        for (std::size_t c = 0; c < grid_.cells; ++c) {
            float sum = of_bins[first_[c]];
            for (std::size_t b = first_[c] + 1; b < last_[c]; ++b) sum += of_bins[b];
            likelihood_[t * grid_.cells + c] = sum / static_cast<float>(last_[c] - first_[c]);
        }
    }
}

PathSum::State PathSum::start() const {
    State state;
    for (const float share : slope_share_) state.insert(state.end(), grid_.cells, share / static_cast<float>(grid_.cells));
    return state;
}

/// Moves up by so many cells, or down; what lies beyond the ends is as at the ends.
void PathSum::shift(const float* from, float* to, double cells) const {
    const auto whole = static_cast<std::ptrdiff_t>(std::floor(cells));
    const auto part = static_cast<float>(cells - std::floor(cells));
    const auto count = static_cast<std::ptrdiff_t>(grid_.cells);
    const auto at = [&](std::ptrdiff_t c) { return from[std::clamp<std::ptrdiff_t>(c, 0, count - 1)]; };
    const std::ptrdiff_t inner = std::clamp<std::ptrdiff_t>(whole + 1, 0, count), outer = std::clamp<std::ptrdiff_t>(count + whole, inner, count);
    for (std::ptrdiff_t c = 0; c < inner; ++c) to[c] = (1.0F - part) * at(c - whole) + part * at(c - whole - 1);
    const float* near_by = from - whole;
    for (std::ptrdiff_t c = inner; c < outer; ++c) to[c] = (1.0F - part) * near_by[c] + part * near_by[c - 1];
    for (std::ptrdiff_t c = outer; c < count; ++c) to[c] = (1.0F - part) * at(c - whole) + part * at(c - whole - 1);
}

void PathSum::move_on(State& state) {
    const std::size_t cells = grid_.cells;
    moved_.assign(state.size(), 0.0F);
    for (std::size_t i = 0; i < kSlopes; ++i)
        for (std::size_t j = 0; j < kSlopes; ++j) {
            const float share = turn_[i * kSlopes + j];
            if (share < 1e-4F) continue;
            const float* from = state.data() + i * cells;
            float* to = moved_.data() + j * cells;
            for (std::size_t c = 0; c < cells; ++c) to[c] += share * from[c];
        }
    for (std::size_t j = 0; j < kSlopes; ++j)
        shift(moved_.data() + j * cells, state.data() + j * cells, (static_cast<double>(j) - kSteepest) * cells_a_unit_);
}

void PathSum::move_back(State& state) {
    const std::size_t cells = grid_.cells;
    moved_.resize(state.size());
    for (std::size_t j = 0; j < kSlopes; ++j)
        shift(state.data() + j * cells, moved_.data() + j * cells, (kSteepest - static_cast<double>(j)) * cells_a_unit_);
    std::fill(state.begin(), state.end(), 0.0F);
    for (std::size_t i = 0; i < kSlopes; ++i)
        for (std::size_t j = 0; j < kSlopes; ++j) {
            const float share = turn_[i * kSlopes + j];
            if (share < 1e-4F) continue;
            const float* from = moved_.data() + j * cells;
            float* to = state.data() + i * cells;
            for (std::size_t c = 0; c < cells; ++c) to[c] += share * from[c];
        }
}

double PathSum::weigh(State& state, std::size_t column) const {
    const float* with = likelihood_.data() + column * grid_.cells;
    double sum = 0;
    for (std::size_t i = 0; i < kSlopes; ++i) {
        float* one = state.data() + i * grid_.cells;
        for (std::size_t c = 0; c < grid_.cells; ++c) one[c] *= with[c];
        sum += static_cast<double>(sum_of(one, grid_.cells));
    }
    const auto scale = static_cast<float>(1.0 / sum);
    for (float& s : state) s = std::max(s * scale, 1e-30F);  // no state dies for good, and none underflows
    return std::log(sum);
}

double PathSum::log_evidence() {
    if (grid_.cells == 0 || map_.columns == 0) return 0;
    State state = start();
    double sum = 0;
    for (std::size_t t = 0; t < map_.columns; ++t) {
        if (t > 0) move_on(state);
        sum += weigh(state, t);
    }
    return sum;
}

std::size_t PathSum::bins_in_cells(std::size_t cell, double bins) const {
    return static_cast<std::size_t>(bins * map_.bin_hz / (grid_.hz(static_cast<double>(cell)) * grid_.step)) + 3;
}

/// The cells round the likeliest: mean and spread.
std::size_t PathSum::place_in(std::size_t column, std::size_t next, const float* forward, const State& backward, Place& out) const {
    const std::size_t cells = grid_.cells;
    std::vector<double> both(cells, 0.0);  // what is 1e-30 either way underflows a float
    for (std::size_t i = 0; i < kSlopes; ++i)
        for (std::size_t c = 0; c < cells; ++c)
            both[c] += static_cast<double>(forward[i * cells + c]) * static_cast<double>(backward[i * cells + c]);
    // a path doesn't leap from line to line, however loud both are
    std::size_t low = 0, high = cells;
    if (next < cells) {
        const std::size_t leap = bins_in_cells(next, 2.0) + static_cast<std::size_t>(kSteepest * cells_a_unit_);
        low = next > leap ? next - leap : 0;
        high = std::min(cells, next + leap + 1);
    }
    const auto from = both.begin() + static_cast<std::ptrdiff_t>(low), to = both.begin() + static_cast<std::ptrdiff_t>(high);
    const auto best = static_cast<std::size_t>(std::max_element(from, to) - both.begin());
    const std::size_t reach = bins_in_cells(best, 3.0);
    double weight = 0, mean = 0;
    for (std::size_t c = best > reach ? best - reach : 0; c <= std::min(cells - 1, best + reach); ++c) {
        weight += both[c];
        mean += both[c] * static_cast<double>(c);
    }
    mean /= std::max(weight, 1e-300);
    // what speaks for other places far away counts in the spread: the path may be lost for a while
    double all = 0, square = 0;
    for (std::size_t c = 0; c < cells; ++c) {
        const double away = static_cast<double>(c) - mean;
        all += both[c];
        square += both[c] * away * away;
    }
    out.frequency_hz[column] = grid_.hz(mean);
    const double spread_hz = out.frequency_hz[column] * grid_.step * std::sqrt(std::max(square / std::max(all, 1e-300), 0.08));
    out.sd_hz[column] = std::hypot(spread_hz, kOffThePath * map_.bin_hz);
    return best;
}

PathSum::Place PathSum::place() {
    Place out;
    if (grid_.cells == 0 || map_.columns == 0) return out;
    out.frequency_hz.resize(map_.columns);
    out.sd_hz.resize(map_.columns);
    // the forward states of all columns would fill the memory: those of every so many are kept, the others made again
    const auto block = static_cast<std::size_t>(std::sqrt(static_cast<double>(map_.columns))) + 1;
    std::vector<State> kept;
    State state = start();
    for (std::size_t t = 0; t < map_.columns; ++t) {
        if (t > 0) move_on(state);
        weigh(state, t);
        if (t % block == 0) kept.push_back(state);
    }
    State after(state.size(), 1.0F);  // what the columns after t say of each state at t
    std::vector<State> forward(block);
    std::size_t next = grid_.cells;  // none yet
    for (std::size_t k = kept.size(); k-- > 0;) {
        const std::size_t first = k * block, count = std::min(block, map_.columns - first);
        forward[0] = kept[k];
        for (std::size_t i = 1; i < count; ++i) {
            forward[i] = forward[i - 1];
            move_on(forward[i]);
            weigh(forward[i], first + i);
        }
        for (std::size_t i = count; i-- > 0;) {
            next = place_in(first + i, next, forward[i].data(), after, out);
            weigh(after, first + i);
            move_back(after);
        }
    }
    return out;
}

}  // namespace hushtrace
