#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../src/measure/path_sum.hpp"

using namespace hushtrace;

namespace {

NoiseRatioMap blank_map(std::size_t columns, std::size_t bins, double bin_hz, double hop_s) {
    NoiseRatioMap map;
    map.window_s = 2 * hop_s;
    map.hop_s = hop_s;
    map.bin_hz = bin_hz;
    map.columns = columns;
    map.bins = bins;
    map.ratio.assign(columns * bins, NoiseRatioMap::nothing_known);
    return map;
}

/// exp(-s) I0(2 sqrt(s r)), 1 where nothing is known.
double likelihood(double r, double s) { return r < 0.0 ? 1.0 : std::exp(-s) * std::cyl_bessel_i(0.0, 2.0 * std::sqrt(s * r)); }

/// The same model written down plainly: seven slopes of 2/3 of the rms, normally distributed, each moving the cell by so
/// much a column; what comes from beyond the ends is as at the ends.
struct SlowPaths {
    static constexpr std::size_t kSlopes = 7;
    using State = std::vector<std::vector<double>>;   // [slopes][cells]

    SlowPaths(const NoiseRatioMap& map, double from_hz, double to_hz, const PathLaw& law) : map_(map), from_hz_(from_hz), law_(law) {
        const double unit = law.slope_per_s / 1.5 * map.hop_s;
        step_ = std::max(unit, map.bin_hz / 6000.0);   // cells no wider than a bin up to 6 kHz
        unit_cells_ = unit / step_;
        cells_ = static_cast<int>(std::log(to_hz / from_hz) / step_) + 1;
        keeps_ = std::exp(-map.hop_s / law.memory_s);
        double all = 0;
        for (std::size_t j = 0; j < kSlopes; ++j) all += share_[j] = std::exp(-0.5 * std::pow((static_cast<double>(j) - 3.0) / 1.5, 2));
        for (double& one : share_) one /= all;
    }
    double hz(double cell) const { return from_hz_ * std::exp(step_ * cell); }
    /// The mean over the bins that a cell touches.
    double at(std::size_t column, int cell) const {
        const double middle = hz(cell) / map_.bin_hz, half = 0.5 * step_ * middle;
        const auto first = static_cast<std::size_t>(std::lround(middle - half)), last = static_cast<std::size_t>(std::lround(middle + half));
        double sum = 0;
        for (std::size_t b = first; b <= last; ++b) sum += likelihood(map_.at(column, b), law_.snr);
        return sum / static_cast<double>(last - first + 1);
    }
    double read(const std::vector<double>& values, double place) const {
        const double below = std::floor(place);
        const auto value = [&](double i) { return values[static_cast<std::size_t>(std::clamp(i, 0.0, cells_ - 1.0))]; };
        return value(below) + (place - below) * (value(below + 1.0) - value(below));
    }
    State blank() const { return State(kSlopes, std::vector<double>(static_cast<std::size_t>(cells_), 0.0)); }
    template <class Each> void each(const Each& act) const {
        for (std::size_t j = 0; j < kSlopes; ++j)
            for (int c = 0; c < cells_; ++c) act(j, static_cast<std::size_t>(c), c);
    }
    void run() {
        State p = blank();
        double sum = 0;
        each([&](std::size_t j, std::size_t c, int cell) { sum += p[j][c] = share_[j] / cells_ * at(0, cell); });
        log_evidence_ = std::log(sum);
        forward_ = {p};
        for (std::size_t t = 1; t < map_.columns; ++t) {
            State next = blank();
            double total = 0;
            each([&](std::size_t j, std::size_t c, int cell) {
                const double from = cell - (static_cast<double>(j) - 3.0) * unit_cells_;
                double all = 0;
                for (const auto& one : p) all += read(one, from);
                next[j][c] = at(t, cell) * (keeps_ * read(p[j], from) + (1.0 - keeps_) * share_[j] * all) / sum;
                total += next[j][c];
            });
            p = next;
            sum = total;
            log_evidence_ += std::log(sum);
            forward_.push_back(p);
        }
        State after(kSlopes, std::vector<double>(static_cast<std::size_t>(cells_), 1.0));
        posterior_.assign(map_.columns, std::vector<double>(static_cast<std::size_t>(cells_), 0.0));
        for (std::size_t t = map_.columns; t-- > 0;) {
            each([&](std::size_t j, std::size_t c, int) { posterior_[t][c] += forward_[t][j][c] * after[j][c]; });
            double total = 0;
            each([&](std::size_t j, std::size_t c, int cell) { total += after[j][c] *= at(t, cell); });
            State moved = blank(), before = blank();
            each([&](std::size_t j, std::size_t c, int cell) {
                moved[j][c] = read(after[j], cell + (static_cast<double>(j) - 3.0) * unit_cells_) / total;
            });
            each([&](std::size_t j, std::size_t c, int) {
                double drawn = 0;
                for (std::size_t i = 0; i < kSlopes; ++i) drawn += share_[i] * moved[i][c];
                before[j][c] = keeps_ * moved[j][c] + (1.0 - keeps_) * drawn;
            });
            after = before;
        }
    }
    double mean_cell(std::size_t t) const {
        double weight = 0, sum = 0;
        for (std::size_t c = 0; c < posterior_[t].size(); ++c) {
            weight += posterior_[t][c];
            sum += posterior_[t][c] * static_cast<double>(c);
        }
        return sum / weight;
    }
    double variance_about(std::size_t t, double cell) const {
        double weight = 0, sum = 0;
        for (std::size_t c = 0; c < posterior_[t].size(); ++c) {
            weight += posterior_[t][c];
            sum += posterior_[t][c] * std::pow(static_cast<double>(c) - cell, 2);
        }
        return sum / weight;
    }

    const NoiseRatioMap& map_;
    double from_hz_, step_ = 0, unit_cells_ = 0, keeps_ = 0;
    PathLaw law_;
    int cells_ = 0;
    std::array<double, kSlopes> share_{};
    double log_evidence_ = 0;
    std::vector<State> forward_;
    std::vector<std::vector<double>> posterior_;   // [columns][cells]
};

/// Noise in steps of a tenth, which the table of likelihoods holds exactly, and a line that moves by so much a second.
NoiseRatioMap noise_with_line(std::size_t columns, double line_hz, double slope_per_s, double line_ratio, unsigned seed) {
    NoiseRatioMap map = blank_map(columns, 80, 10.0, 0.02);
    std::mt19937 engine(seed);
    std::exponential_distribution<double> exponential;
    for (float& one : map.ratio) one = static_cast<float>(std::round(10.0 * std::min(exponential(engine), 9.0)) / 10.0);
    for (std::size_t t = 0; t < columns; ++t) {
        const double f = line_hz * std::exp(slope_per_s * static_cast<double>(t) * map.hop_s);
        map.ratio[t * map.bins + static_cast<std::size_t>(std::lround(f / map.bin_hz))] = static_cast<float>(line_ratio);
    }
    return map;
}

}  // namespace

TEST_CASE("what nothing is known of speaks neither for a line nor against it, and what is alike everywhere counts in each column", "[path_sum]") {
    NoiseRatioMap map = blank_map(25, 60, 10.0, 0.02);
    CHECK(PathSum(map, 300.0, 500.0, {}).log_evidence() == Approx(0.0).margin(1e-4));
    for (const float r : {0.0F, 3.0F}) {
        std::fill(map.ratio.begin(), map.ratio.end(), r);
        CHECK(PathSum(map, 300.0, 500.0, {0.3, 0.3, 1.5}).log_evidence() == Approx(25 * std::log(likelihood(r, 1.5))).epsilon(1e-5));
        CHECK(PathSum(map, 300.0, 500.0, {0.03, 0.1, 0.7}).log_evidence() == Approx(25 * std::log(likelihood(r, 0.7))).epsilon(1e-5));
    }
    CHECK(PathSum(map, 500.0, 500.0, {}).log_evidence() == 0.0);   // no band, no sound: nothing to say
    CHECK(PathSum(map, 500.0, 500.0, {}).place().frequency_hz.empty());
    const NoiseRatioMap empty = blank_map(0, 60, 10.0, 0.02);
    CHECK(PathSum(empty, 300.0, 500.0, {}).log_evidence() == 0.0);
    CHECK(PathSum(empty, 300.0, 500.0, {}).place().sd_hz.empty());
}

TEST_CASE("a cell is as likely as the mean of the bins that it touches", "[path_sum]") {
    // ten cells a hundredth wide from 1000 Hz on, in bins of 1 Hz: the cell at 1051.27 Hz reaches from 1046.01 to 1056.53 and
    // touches bins 1046 to 1057, the one before it, from 1035.6 to 1046.02, bins 1036 to 1046
    NoiseRatioMap map = blank_map(1, 1200, 1.0, 0.02);
    const PathLaw law{0.75, 0.3, 1.5};
    const double gain = likelihood(9.0, 1.5) - 1.0;
    const auto evidence_of = [&](std::size_t bin) {
        map.ratio.assign(map.bins, NoiseRatioMap::nothing_known);
        map.ratio[bin] = 9.0F;
        return PathSum(map, 1000.0, 1100.0, law).log_evidence();
    };
    CHECK(evidence_of(1050) == Approx(std::log1p(gain / 12.0 / 10.0)).epsilon(1e-4));
    CHECK(evidence_of(1046) == Approx(std::log1p(gain * (1.0 / 12.0 + 1.0 / 11.0) / 10.0)).epsilon(1e-4));
    CHECK(evidence_of(980) == Approx(0.0).margin(1e-5));
    CHECK(LogGrid{100.0, 0.01, 5}.hz(3.0) == Approx(100.0 * std::exp(0.03)));
}

TEST_CASE("evidence and place agree with all paths summed plainly", "[path_sum]") {
    // a slope of whole cells a column, one of parts of a cell, a short memory and a long one
    const auto [law, slope] = GENERATE(table<PathLaw, double>({{PathLaw{0.3, 0.3, 1.5}, 0.15},
                                                               {PathLaw{0.06, 0.3, 1.5}, -0.04},
                                                               {PathLaw{0.11, 0.02, 0.8}, 0.0},
                                                               {PathLaw{0.5, 5.0, 2.5}, -0.3},
                                                               {PathLaw{3.0, 0.3, 2.5}, 0.0}}));
    CAPTURE(law.slope_per_s, law.memory_s, slope);
    const NoiseRatioMap map = noise_with_line(14, 440.0, slope, 15.0, 3);
    SlowPaths slow(map, 380.0, 500.0, law);
    slow.run();
    PathSum paths(map, 380.0, 500.0, law);
    CHECK(paths.log_evidence() == Approx(slow.log_evidence_).epsilon(1e-4));
    const PathSum::Place place = paths.place();
    REQUIRE(place.frequency_hz.size() == map.columns);
    REQUIRE(place.sd_hz.size() == map.columns);
    for (std::size_t t = 0; t < map.columns; ++t) {
        // the place is the mean of what lies near the likeliest, the spread that of all: what is far away is little here
        const double cell = std::log(place.frequency_hz[t] / 380.0) / slow.step_;
        CHECK(cell == Approx(slow.mean_cell(t)).margin(0.15 / slow.step_ * 0.01));
        const double spread_hz = place.frequency_hz[t] * slow.step_ * std::sqrt(std::max(slow.variance_about(t, cell), 0.08));
        CHECK(place.sd_hz[t] == Approx(std::hypot(spread_hz, 0.7 * map.bin_hz)).epsilon(1e-3));   // 0.7 of a bin for what no path does
    }
}

TEST_CASE("a line is placed on its bin all along, in many columns as in few", "[path_sum]") {
    for (const std::size_t columns : {1U, 2U, 9U, 61U, 400U}) {
        const NoiseRatioMap map = noise_with_line(columns, 440.0, 0.0, 20.0, 5);
        const PathSum::Place place = PathSum(map, 300.0, 700.0, {0.03, 0.3, 3.0}).place();
        REQUIRE(place.frequency_hz.size() == columns);
        for (const double f : place.frequency_hz) CHECK(f == Approx(440.0).margin(columns > 5 ? 3.0 : 8.0));
    }
}

TEST_CASE("a path keeps to the line on which it ends, and what speaks for another widens its spread", "[path_sum]") {
    // two lines an octave apart, alike but for the last columns
    NoiseRatioMap map = blank_map(30, 80, 10.0, 0.02);
    for (std::size_t t = 0; t < map.columns; ++t)
        for (std::size_t b = 0; b < map.bins; ++b) map.ratio[t * map.bins + b] = b == 35 || b == 70 ? 9.0F : 0.5F;
    const auto place = [&](std::size_t bin, float ratio) {
        NoiseRatioMap one = map;
        for (std::size_t t = 25; t < 30; ++t) one.ratio[t * one.bins + bin] = ratio;
        return PathSum(one, 300.0, 750.0, {0.03, 0.3, 3.0}).place();
    };
    for (const std::size_t bin : {35U, 70U}) {
        const PathSum::Place sure = place(bin, 20.0F);
        for (const double f : sure.frequency_hz) CHECK(f == Approx(10.0 * static_cast<double>(bin)).margin(3.0));
        CHECK(sure.sd_hz[10] < 12.0);
    }
    // two alike share the odds: the place is on the lower, which holds more paths, the spread that of both
    const PathSum::Place torn = place(35, 9.0F);
    SlowPaths slow(map, 300.0, 750.0, {0.03, 0.3, 3.0});
    slow.run();
    const double cell = std::log(torn.frequency_hz[10] / 300.0) / slow.step_;
    CHECK(torn.frequency_hz[10] == Approx(350.0).margin(3.0));
    CHECK(torn.sd_hz[10] > 80.0);
    CHECK(torn.sd_hz[10] == Approx(torn.frequency_hz[10] * slow.step_ * std::sqrt(slow.variance_about(10, cell))).epsilon(0.005));
}
