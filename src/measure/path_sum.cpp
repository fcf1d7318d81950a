#include "path_sum.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "hushtrace/signal/wide_vectors.hpp"
#include "steady_line_ratio.hpp"

namespace hushtrace {
namespace {

HUSHTRACE_WIDE_VECTORS
float sum_of(const float* values, std::size_t count) {
    float lanes[8] = {};
    std::size_t i = 0;
    for (; i + 8 <= count; i += 8)
        for (std::size_t j = 0; j < 8; ++j) lanes[j] += values[i + j];
    for (; i < count; ++i) lanes[0] += values[i];
    return ((lanes[0] + lanes[1]) + (lanes[2] + lanes[3])) + ((lanes[4] + lanes[5]) + (lanes[6] + lanes[7]));
}

/// How a column's states come from the column before: moved by a part of a cell, the slope kept or drawn anew.
struct Mix {
    float kept_near, kept_far, drawn_near, drawn_far;
};
constexpr float kLeast = 1e-30F;  // no state dies for good, and none underflows

HUSHTRACE_WIDE_VECTORS
void pick(const float* __restrict from, const std::uint32_t* __restrict which, float* __restrict out, std::size_t count) {
    for (std::size_t c = 0; c < count; ++c) out[c] = from[which[c]];
}

HUSHTRACE_WIDE_VECTORS
void add_to(float* sum, const float* more, std::size_t count) {
    for (std::size_t c = 0; c < count; ++c) sum[c] += more[c];
}

/// `one` and `all` begin where the first cell comes from at the farther side; the nearer is the next one.
HUSHTRACE_WIDE_VECTORS
void mix_and_weigh(const float* one, const float* all, const float* with, float* __restrict out, std::size_t count, const Mix& by) {
    const Mix mix = by;
    for (std::size_t c = 0; c < count; ++c) {
        const float near_by = mix.kept_near * one[c + 1] + mix.drawn_near * all[c + 1];
        const float far = mix.kept_far * one[c] + mix.drawn_far * all[c];
        out[c] = std::max((near_by + far) * with[c], kLeast);
    }
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
        first_.push_back(static_cast<std::uint32_t>(std::min({near_by, static_cast<std::size_t>(middle - half + 0.5), map_.bins - 1})));
        last_.push_back(static_cast<std::uint32_t>(std::min(std::max(near_by, static_cast<std::size_t>(middle + half + 0.5)) + 1, map_.bins)));
    }
    keeps_ = static_cast<float>(std::exp(-map.hop_s / law.memory_s));
    double all = 0;
    for (int k = -kSteepest; k <= kSteepest; ++k) all += std::exp(-0.5 * k * k / (kUnits * kUnits));
    for (int k = -kSteepest; k <= kSteepest; ++k)
        slope_share_.push_back(static_cast<float>(std::exp(-0.5 * k * k / (kUnits * kUnits)) / all));
    all_slopes_.resize(grid_.cells);
    if (grid_.cells > 0) set_likelihood(law.snr);
}

void PathSum::set_likelihood(double snr) {
    const SteadyLineRatio ratio(snr);
    std::vector<float> of_bins(map_.bins);
    likelihood_.resize(map_.columns * grid_.cells);
    std::vector<float> share(grid_.cells);
    std::size_t narrow = 0;  // the first so many cells are of one bin each
    for (std::size_t c = 0; c < grid_.cells; ++c) {
        share[c] = 1.0F / static_cast<float>(last_[c] - first_[c]);
        if (narrow == c && last_[c] == first_[c] + 1) ++narrow;
    }
    for (std::size_t t = 0; t < map_.columns; ++t) {
        ratio.of(map_.ratio.data() + t * map_.bins, of_bins.data(), map_.bins);
        float* row = likelihood_.data() + t * grid_.cells;
        pick(of_bins.data(), first_.data(), row, narrow);
        for (std::size_t c = narrow; c < grid_.cells; ++c) {
            float sum = 0;
            for (std::size_t b = first_[c]; b < last_[c]; ++b) sum += of_bins[b];
            row[c] = sum * share[c];
        }
    }
}

PathSum::State PathSum::start() const {
    State state;
    for (const float share : slope_share_) state.insert(state.end(), grid_.cells, share / static_cast<float>(grid_.cells));
    return state;
}

double PathSum::begin(State& state) const {
    state = start();
    const float* with = likelihood_.data();
    double sum = 0;
    for (std::size_t j = 0; j < kSlopes; ++j) {
        float* one = state.data() + j * grid_.cells;
        for (std::size_t c = 0; c < grid_.cells; ++c) one[c] *= with[c];
        sum += static_cast<double>(sum_of(one, grid_.cells));
    }
    return sum;
}

void PathSum::sum_slopes(const float* from) {
    const std::size_t cells = grid_.cells;
    std::copy(from, from + cells, all_slopes_.begin());
    for (std::size_t j = 1; j < kSlopes; ++j) add_to(all_slopes_.data(), from + j * cells, cells);
}

double PathSum::advance(const State& from, State& to, double sum_before, std::size_t column) {
    const std::size_t cells = grid_.cells;
    sum_slopes(from.data());
    const auto scale = static_cast<float>(1.0 / sum_before);
    const float* with = likelihood_.data() + column * cells;
    double sum = 0;
    for (std::size_t j = 0; j < kSlopes; ++j) {
        const double shift = (static_cast<double>(j) - kSteepest) * cells_a_unit_;
        const auto whole = static_cast<std::ptrdiff_t>(std::floor(shift));
        const auto part = static_cast<float>(shift - std::floor(shift));
        const float kept = scale * keeps_, drawn = scale * (1.0F - keeps_) * slope_share_[j];
        const float* one = from.data() + j * cells;
        float* out = to.data() + j * cells;
        const auto count = static_cast<std::ptrdiff_t>(cells);
        const auto edge = [&](std::ptrdiff_t c) {  // what lies beyond the ends is as at the ends
            const auto a = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(c - whole, 0, count - 1));
            const auto b = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(c - whole - 1, 0, count - 1));
            const float moved = (1.0F - part) * (kept * one[a] + drawn * all_slopes_[a]) + part * (kept * one[b] + drawn * all_slopes_[b]);
            out[c] = std::max(moved * with[c], kLeast);
        };
        const std::ptrdiff_t inner = std::clamp<std::ptrdiff_t>(whole + 1, 0, count), outer = std::clamp<std::ptrdiff_t>(count + whole, inner, count);
        for (std::ptrdiff_t c = 0; c < inner; ++c) edge(c);
        const Mix mix{(1.0F - part) * kept, part * kept, (1.0F - part) * drawn, part * drawn};
        if (outer > inner) {
            const std::ptrdiff_t far = inner - whole - 1;
            mix_and_weigh(one + far, all_slopes_.data() + far, with + inner, out + inner, static_cast<std::size_t>(outer - inner), mix);
        }
        for (std::ptrdiff_t c = outer; c < count; ++c) edge(c);
        sum += static_cast<double>(sum_of(out, cells));
    }
    return sum;
}
double PathSum::log_evidence() {
    if (grid_.cells == 0 || map_.columns == 0) return 0;
    State state, next(kSlopes * grid_.cells);
    double last = begin(state), log_sum = std::log(last);
    for (std::size_t t = 1; t < map_.columns; ++t) {
        last = advance(state, next, last, t);
        log_sum += std::log(last);
        state.swap(next);
    }
    return log_sum;
}

/// What the columns from this one on say of the states before it moved them on, from what those after it say of its own.
void PathSum::step_back(State& after, State& to, std::size_t column) {
    const std::size_t cells = grid_.cells;
    const auto count = static_cast<std::ptrdiff_t>(cells);
    const float* with = likelihood_.data() + column * cells;
    std::fill(all_slopes_.begin(), all_slopes_.end(), 0.0F);
    double sum = 0;
    for (std::size_t j = 0; j < kSlopes; ++j) {
        float* one = after.data() + j * cells;
        for (std::size_t c = 0; c < cells; ++c) one[c] *= with[c];
        sum += static_cast<double>(sum_of(one, cells));
        const double shift = (kSteepest - static_cast<double>(j)) * cells_a_unit_;
        const auto whole = static_cast<std::ptrdiff_t>(std::floor(shift));
        const auto part = static_cast<float>(shift - std::floor(shift));
        float* moved = to.data() + j * cells;
        const auto edge = [&](std::ptrdiff_t c) {
            moved[c] = (1.0F - part) * one[std::clamp<std::ptrdiff_t>(c - whole, 0, count - 1)] +
                       part * one[std::clamp<std::ptrdiff_t>(c - whole - 1, 0, count - 1)];
        };
        const std::ptrdiff_t inner = std::clamp<std::ptrdiff_t>(whole + 1, 0, count), outer = std::clamp<std::ptrdiff_t>(count + whole, inner, count);
        for (std::ptrdiff_t c = 0; c < inner; ++c) edge(c);
        const float* near_by = one - whole;
        for (std::ptrdiff_t c = inner; c < outer; ++c) moved[c] = (1.0F - part) * near_by[c] + part * near_by[c - 1];
        for (std::ptrdiff_t c = outer; c < count; ++c) edge(c);
        const float share = slope_share_[j];
        for (std::size_t c = 0; c < cells; ++c) all_slopes_[c] += share * moved[c];
    }
    const auto scale = static_cast<float>(1.0 / sum);
    const float kept = scale * keeps_, drawn = scale * (1.0F - keeps_);
    for (std::size_t j = 0; j < kSlopes; ++j) {
        float* moved = to.data() + j * cells;
        for (std::size_t c = 0; c < cells; ++c) moved[c] = std::max(kept * moved[c] + drawn * all_slopes_[c], kLeast);
    }
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
    struct Kept {
        State state;
        double sum = 1;
    };
    std::vector<Kept> kept(1);
    State state, next_state(kSlopes * grid_.cells);
    double sum = begin(state);
    kept[0] = {state, sum};
    for (std::size_t t = 1; t < map_.columns; ++t) {
        sum = advance(state, next_state, sum, t);
        state.swap(next_state);
        if (t % block == 0) kept.push_back({state, sum});
    }
    State after(state.size(), 1.0F);  // what the columns after t say of each state at t
    std::vector<State> forward(block, State(state.size()));
    std::size_t next = grid_.cells;  // none yet
    for (std::size_t k = kept.size(); k-- > 0;) {
        const std::size_t first = k * block, count = std::min(block, map_.columns - first);
        forward[0].swap(kept[k].state);
        sum = kept[k].sum;
        for (std::size_t i = 1; i < count; ++i) sum = advance(forward[i - 1], forward[i], sum, first + i);
        for (std::size_t i = count; i-- > 0;) {
            next = place_in(first + i, next, forward[i].data(), after, out);
            step_back(after, state, first + i);
            after.swap(state);
        }
    }
    return out;
}

}  // namespace hushtrace
