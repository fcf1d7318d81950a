#include "phase_jumps.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace hushtrace {
namespace {

constexpr std::array<std::size_t, 4> reaches = {3, 10, 40, 200};  // blocks on each side
constexpr std::size_t longest_reach = reaches.back();
// A sample lies under two windows, so a jump spoils two blocks: an instant is named after the first of them,
// and lines are fitted to the blocks before it and to those after the second.
constexpr std::size_t spoilt = 2;
constexpr double threshold = 6.0;          // standard deviations
constexpr double least_step_rad = 8.7e-5;  // 0.005 degrees: below it the windows' own leakage shows
constexpr double least_step_with_level_change_rad = 20.0 * std::numbers::pi / 180.0;
constexpr double most_level_ratio = 3.0;   // of amplitudes: 10 dB
constexpr double most_scatter_rad = 0.25;  // beyond it this is no steady tone
constexpr double most_misfit = 6.0, least_gain_over_cubic = 8.0;
constexpr double most_unevenness = 0.1;  // of the step
constexpr std::size_t straight_blocks = 40, least_straight_blocks = 12;
constexpr std::size_t least_blocks_a_side = 3, least_noise_count = 12, least_score_count = 50;
constexpr std::size_t score_memory = 600;
constexpr double unknown_spread = 1.2;    // of scores, while too few have been seen
constexpr double outlier = 6.0;           // robust standard deviations from its line
constexpr double normal_median = 0.6745;  // median of |x| for a standard deviation of 1
// |second difference|^2 of white complex noise of variance 1 under half-overlapped Hann windows (neighbours
// correlate by 1/6): 6 - 8/6; the median of an exponential distribution is ln 2 of its mean.
constexpr double roughness_gain = 6.0 - 8.0 / 6.0;
constexpr std::size_t most_jumps = 100000;

}  // namespace

PhaseJumpFinder::PhaseJumpFinder(double sample_rate_hz, std::optional<double> expected_hz)
    : blocks_(sample_rate_hz, expected_hz), roughness_(200, 20) {
    for (const std::size_t reach : reaches)
        scales_.push_back({reach, 0, {}, ScoreHistory(score_memory, std::max<std::size_t>(1, reach / 10))});
}

void PhaseJumpFinder::add(std::span<const double> samples) {
    blocks_.add(samples);
    PhaseBlock block;
    for (;;) {
        const auto next = blocks_.next(block, false);
        if (next == PhaseBlocks::Next::more_needed) return;
        if (next == PhaseBlocks::Next::block) accept(block);
        if (next == PhaseBlocks::Next::section_end) end_section();
    }
}

void PhaseJumpFinder::finish() {
    PhaseBlock block;
    for (;;) {
        const auto next = blocks_.next(block, true);
        if (next == PhaseBlocks::Next::more_needed) break;
        if (next == PhaseBlocks::Next::block) accept(block);
        if (next == PhaseBlocks::Next::section_end) end_section();
    }
    end_section();
}

void PhaseJumpFinder::accept(PhaseBlock block) {
    block.phase_rad = std::arg(block.amplitude);
    if (!section_.empty()) {
        const double before = section_.back().phase_rad;
        block.phase_rad = before + std::remainder(block.phase_rad - before, 2 * std::numbers::pi);
    }
    section_.push_back(block);
    if (section_.size() >= 2) {
        const auto end = section_.rbegin();
        turn_ = 0.9 * turn_ + end[0].amplitude * std::conj(end[1].amplitude);
    }
    if (section_.size() >= 3 && std::abs(turn_) > 0) {
        // With the turn taken out by which the carrier is off, what is left of three blocks is noise.
        const auto end = section_.rbegin();
        const auto turn = turn_ / std::abs(turn_);
        roughness_.add(
            std::norm(end[0].amplitude * std::conj(turn) - 2.0 * end[1].amplitude + end[2].amplitude * turn));
    }
    const double relative_floor = 1e-12 * std::norm(block.amplitude);
    block_noise_ =
        std::max({roughness_.median() / std::numbers::ln2 / roughness_gain, relative_floor, 1e-30});
    judge_all(false);
    while (section_.size() > 2 * longest_reach + 64) {
        section_.pop_front();
        ++dropped_;
        if (!breaks_.empty() && breaks_.front() + spoilt <= dropped_) breaks_.erase(breaks_.begin());
    }
}

void PhaseJumpFinder::judge_all(bool section_ended) {
    if (roughness_.count() < least_noise_count) return;
    const std::size_t end = dropped_ + section_.size();
    for (Scale& scale : scales_) {
        const std::size_t room = spoilt + (section_ended ? least_blocks_a_side : scale.reach);
        for (; scale.next + room <= end; ++scale.next) judge(scale, scale.next);
        if (section_ended && scale.excursion.open) close_excursion(scale);
    }
}

void PhaseJumpFinder::end_section() {
    judge_all(true);
    earlier_ += dropped_ + section_.size();
    section_.clear();
    dropped_ = 0;
    breaks_.clear();
    turn_ = 0;
    for (Scale& scale : scales_) {
        scale.next = 0;
        scale.excursion = {};
    }
}

bool PhaseJumpFinder::sides(std::size_t instant, std::size_t reach, Side& left, Side& right) const {
    const std::size_t end = dropped_ + section_.size();
    left = {std::max(dropped_, instant > reach ? instant - reach : 0), instant};
    right = {instant + spoilt, std::min(end, instant + spoilt + reach)};
    for (const std::size_t jump : breaks_) {
        if (jump + spoilt > left.from && jump < instant) left.from = jump + spoilt;
        if (jump >= instant && jump < right.to) right.to = jump;
    }
    return left.from + least_blocks_a_side <= left.to && right.from + least_blocks_a_side <= right.to;
}

// Weighted least squares of two lines with one slope.
std::optional<PhaseJumpFinder::Fit> PhaseJumpFinder::lay_lines(
    const std::array<Blocks, 2>& sides_kept) const {
    Fit result;
    const double origin_s = sides_kept[1].empty() ? 0 : sides_kept[1].front()->time_s;
    std::array<double, 2> sum_w{};
    double top = 0, bottom = 0;
    for (std::size_t k = 0; k < 2; ++k) {
        Line& line = result.lines[k];
        for (const PhaseBlock* block : sides_kept[k]) {
            sum_w[k] += weight(*block);
            line.time_s += weight(*block) * (block->time_s - origin_s);
            line.phase_rad += weight(*block) * block->phase_rad;
        }
        if (sides_kept[k].size() < 2 || !(sum_w[k] > 0)) return std::nullopt;
        line.time_s = line.time_s / sum_w[k] + origin_s;
        line.phase_rad /= sum_w[k];
        for (const PhaseBlock* block : sides_kept[k]) {
            const double t = block->time_s - line.time_s;
            top += weight(*block) * t * (block->phase_rad - line.phase_rad);
            bottom += weight(*block) * t * t;
        }
    }
    result.count = sides_kept[0].size() + sides_kept[1].size();
    if (!(bottom > 0) || result.count < 2 * least_blocks_a_side) return std::nullopt;
    result.slope_rad_per_s = top / bottom;
    const double apart_s = result.lines[1].time_s - result.lines[0].time_s;
    const double raw =
        result.lines[1].phase_rad - result.lines[0].phase_rad - result.slope_rad_per_s * apart_s;
    result.step_rad = std::remainder(raw, 2 * std::numbers::pi);
    result.turns_rad = raw - result.step_rad;
    result.step_sd_rad = std::sqrt(1 / sum_w[0] + 1 / sum_w[1] + apart_s * apart_s / bottom);
    double weighted = 0, plain = 0;
    for (std::size_t k = 0; k < 2; ++k) {
        for (const PhaseBlock* block : sides_kept[k]) {
            const double off = result.departure_rad(k, *block);
            weighted += off * off * weight(*block);
            plain += off * off;
        }
    }
    result.misfit = weighted / static_cast<double>(result.count - 3);
    result.scatter_rad = std::sqrt(plain / static_cast<double>(result.count));
    return result;
}

std::optional<PhaseJumpFinder::Fit> PhaseJumpFinder::fit(std::size_t instant, std::size_t reach,
                                                         bool trimmed) const {
    std::array<Side, 2> side;
    if (!sides(instant, reach, side[0], side[1])) return std::nullopt;
    std::array<Blocks, 2> kept;
    for (std::size_t k = 0; k < 2; ++k) {
        for (std::size_t i = side[k].from; i < side[k].to; ++i) kept[k].push_back(&at(i));
    }
    const auto first = lay_lines(kept);
    if (!trimmed || !first) return first;
    // Once more without the blocks that lie far off, such as those that a click spoilt.
    const auto deviation = [&](std::size_t k, const PhaseBlock* block) {
        return std::abs(first->departure_rad(k, *block)) * std::sqrt(weight(*block));
    };
    std::vector<double> sizes;
    for (std::size_t k = 0; k < 2; ++k) {
        for (const PhaseBlock* block : kept[k]) sizes.push_back(deviation(k, block));
    }
    const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
    std::nth_element(sizes.begin(), middle, sizes.end());
    const double limit = outlier * std::max(*middle / normal_median, 1e-9);
    for (std::size_t k = 0; k < 2; ++k) {
        const auto far = [&](const PhaseBlock* block) { return deviation(k, block) > limit; };
        kept[k].erase(std::remove_if(kept[k].begin(), kept[k].end(), far), kept[k].end());
    }
    return lay_lines(kept);
}

void PhaseJumpFinder::judge(Scale& scale, std::size_t instant) {
    auto found = fit(instant, scale.reach, false);
    double score = found ? std::abs(found->step_rad) / found->step_sd_rad : 0;
    if (found) {
        scale.scores.add(earlier_ + instant, score);
        const double limit = threshold;  // the scatter of scores is looked at when an excursion ends
        if (scale.reach == longest_reach && found->count == 2 * longest_reach) {
            const double spread = unknown_spread;
            least_visible_rad_ =
                std::min(least_visible_rad_.value_or(10.0), limit * spread * found->step_sd_rad);
        }
        if (score > limit) {  // again without the blocks that a click spoilt
            found = fit(instant, scale.reach, true);
            score = found ? std::abs(found->step_rad) / found->step_sd_rad : 0;
        }
        Excursion& open = scale.excursion;
        if (score > limit) {
            if (!open.open) open = {true, instant, instant, instant, 0};
            open.last = instant;
            if (score > open.best_score) {
                open.best_score = score;
                open.best = instant;
            }
        }
    }
    const Excursion& open = scale.excursion;
    if (open.open && (instant > open.last + spoilt || instant > open.begin + 2 * scale.reach + 8))
        close_excursion(scale);
}

void PhaseJumpFinder::close_excursion(Scale& scale) {
    const std::size_t instant = scale.excursion.best;
    scale.excursion = {};
    PhaseJump jump;
    if (!verified(scale, instant, jump)) return;
    if (jumps_.size() < most_jumps) jumps_.push_back(jump);
    breaks_.insert(std::upper_bound(breaks_.begin(), breaks_.end(), instant), instant);
    // What the other lengths see across this break is the same jump.
    for (Scale& other : scales_) {
        const Excursion& open = other.excursion;
        if (open.open && open.best + other.reach + spoilt >= instant &&
            instant + other.reach + spoilt >= open.best) {
            other.excursion = {};
        }
    }
}

// How far the scores of this length and of the shorter ones scatter where nothing happens: at least 1.
double PhaseJumpFinder::spread_at(const Scale& scale, std::size_t instant) const {
    double spread = 1;
    for (const Scale& one : scales_) {
        if (one.reach > scale.reach) break;
        const auto median =
            one.scores.median_away_from(earlier_ + instant, scale.reach + spoilt, least_score_count);
        spread = std::max(spread, median ? *median / normal_median : unknown_spread);
    }
    return spread;
}

bool PhaseJumpFinder::verified(const Scale& scale, std::size_t instant, PhaseJump& jump) const {
    Side left, right;
    if (!sides(instant, scale.reach, left, right)) return false;
    const auto found = fit(instant, scale.reach, true);
    if (!found) return false;
    const double spread = spread_at(scale, instant);
    const double step = std::abs(found->step_rad);
    if (step < threshold * spread * found->step_sd_rad || step < least_step_rad) return false;
    if (found->scatter_rad > most_scatter_rad || found->misfit > most_misfit * spread * spread) return false;
    const auto plain = fit(instant, scale.reach, false);
    const double cubic = cubic_misfit(left, right, found->turns_rad);
    const double step_misfit = plain->misfit * static_cast<double>(plain->count - 3);
    if (cubic - step_misfit < least_gain_over_cubic * plain->misfit) return false;
    if (step < least_step_with_level_change_rad && level_changed(left, right)) return false;
    // A line that beats with the tone swings the phase to and fro: then the stretch before is not straight.
    Side before, after;
    if (!sides(instant, std::max(scale.reach, straight_blocks), before, after)) return false;
    if (level_moved(before, after)) return false;  // another sound at this frequency: lost frames leave a tone's level
    const bool long_enough = before.to - before.from >= least_straight_blocks;
    if (unevenness_rad(long_enough ? before : after) > most_unevenness * step) return false;
    jump.time_s = 0.5 * (at(instant).time_s + at(instant + 1).time_s);
    jump.step_rad = found->step_rad;
    jump.step_sd_rad = found->step_sd_rad * spread;
    jump.frequency_hz = blocks_.carrier_hz() + found->slope_rad_per_s / (2 * std::numbers::pi);
    return true;
}

double PhaseJumpFinder::cubic_misfit(const Side& left, const Side& right, double turns_rad) const {
    // Normal equations in a variable that runs from -1 to 1, so that they are well conditioned; solved by
    // elimination.
    const double from_s = at(left.from).time_s, to_s = at(right.to - 1).time_s;
    const auto scaled = [&](const PhaseBlock& b) { return 2 * (b.time_s - from_s) / (to_s - from_s) - 1; };
    std::array<std::array<double, 5>, 4> matrix{};
    const double base = at(left.from).phase_rad;
    const auto each = [&](const auto& act) {
        for (std::size_t i = left.from; i < left.to; ++i) act(at(i), at(i).phase_rad - base);
        for (std::size_t i = right.from; i < right.to; ++i) act(at(i), at(i).phase_rad - base - turns_rad);
    };
    each([&](const PhaseBlock& block, double phase) {
        const double x = scaled(block), w = weight(block);
        const std::array power = {1.0, x, x * x, x * x * x};
        for (std::size_t r = 0; r < 4; ++r) {
            for (std::size_t c = 0; c < 4; ++c) matrix[r][c] += w * power[r] * power[c];
            matrix[r][4] += w * power[r] * phase;
        }
    });
    for (std::size_t p = 0; p < 4; ++p) {
        for (std::size_t r = 0; r < 4; ++r) {
            if (r == p) continue;
            const double factor = matrix[r][p] / matrix[p][p];
            for (std::size_t c = p; c < 5; ++c) matrix[r][c] -= factor * matrix[p][c];
        }
    }
    std::array<double, 4> coefficient{};
    for (std::size_t p = 0; p < 4; ++p) coefficient[p] = matrix[p][4] / matrix[p][p];
    double sum = 0;
    each([&](const PhaseBlock& block, double phase) {
        const double x = scaled(block);
        const double off =
            phase - (coefficient[0] + x * (coefficient[1] + x * (coefficient[2] + x * coefficient[3])));
        sum += off * off * weight(block);
    });
    return sum;
}

// Rms by which the phases of a side depart from a straight line beyond what their noise explains.
double PhaseJumpFinder::unevenness_rad(const Side& side) const {
    double sum_w = 0, mean_t = 0, mean_p = 0, top = 0, bottom = 0, sum = 0;
    const double origin_s = at(side.from).time_s;
    for (std::size_t i = side.from; i < side.to; ++i) {
        sum_w += weight(at(i));
        mean_t += weight(at(i)) * (at(i).time_s - origin_s);
        mean_p += weight(at(i)) * at(i).phase_rad;
    }
    mean_t /= sum_w;
    mean_p /= sum_w;
    for (std::size_t i = side.from; i < side.to; ++i) {
        const double t = at(i).time_s - origin_s - mean_t;
        top += weight(at(i)) * t * (at(i).phase_rad - mean_p);
        bottom += weight(at(i)) * t * t;
    }
    for (std::size_t i = side.from; i < side.to; ++i) {
        const double off = at(i).phase_rad - mean_p - top / bottom * (at(i).time_s - origin_s - mean_t);
        sum += off * off * weight(at(i));
    }
    const auto count = static_cast<double>(side.to - side.from);
    const double noise = 2 * count;  // twice the expected sum: noise alone stays below it
    return std::sqrt(std::max(0.0, sum - noise) / sum_w);
}

bool PhaseJumpFinder::level_changed(const Side& left, const Side& right) const {
    const std::size_t most = 20;
    const auto mean = [this](std::size_t from, std::size_t to) {
        double sum = 0;
        for (std::size_t i = from; i < to; ++i) sum += std::abs(at(i).amplitude);
        return sum / static_cast<double>(to - from);
    };
    const std::size_t left_from = std::max(left.from, left.to > most ? left.to - most : 0);
    const std::size_t right_to = std::min(right.to, right.from + most);
    const double before = mean(left_from, left.to), after = mean(right.from, right_to);
    const auto fewest = static_cast<double>(std::min(left.to - left_from, right_to - right.from));
    const double noise = std::sqrt(block_noise_ / fewest);
    return std::abs(after - before) > 0.05 * std::min(before, after) + 4 * noise;
}

bool PhaseJumpFinder::level_moved(const Side& left, const Side& right) const {
    // By the median of each side, since blocks fade near a tone's ends; and by the third of all, as a click reaches into two.
    const auto amplitudes = [this](const Side& side) {
        std::vector<double> sorted;
        for (std::size_t i = side.from; i < side.to; ++i) sorted.push_back(std::abs(at(i).amplitude));
        std::sort(sorted.begin(), sorted.end());
        return sorted;
    };
    const std::vector<double> before = amplitudes(left), after = amplitudes(right);
    const double median_before = before[before.size() / 2], median_after = after[after.size() / 2];
    const double weaker = std::min(median_before, median_after);
    const auto third = [](const std::vector<double>& sorted) { return sorted[sorted.size() - std::min<std::size_t>(3, sorted.size())]; };
    return std::max({median_before, median_after, third(before), third(after)}) > most_level_ratio * weaker;
}

}  // namespace hushtrace
