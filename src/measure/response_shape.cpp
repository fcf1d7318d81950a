#include "hushtrace/measure/response_shape.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "shape_model.hpp"

namespace hushtrace {
namespace {

constexpr double kModelSd_db = 0.06;     // what a real equaliser differs by from the textbook
constexpr std::size_t kMostParts = 7;
constexpr double kLeastBend_db = 0.5;    // a part that bends less isn't told
constexpr double kClearGain = 14.0;      // of the criterion: the odds of a thousand to one
constexpr double kDeepest_db = 45.0;     // below the loudest point: further down windows and leaks speak
constexpr double kCorrelated = 1.6;      // so many neighbouring points have the noise of one (channel_comparison.cpp)
constexpr double kUnsurePlace = 0.15;    // of ln f, one standard uncertainty
constexpr double kUnsureShare = 0.2;     // of a gain
constexpr double kMostTold_db = 24.0;    // no tone control does more
constexpr double kExplained_db = 0.2;
constexpr double kShelvesMeet_hz = 700;  // below it a shelf is told as a low one, above it as a high one
constexpr double kLoudness_db = 1.5;
constexpr int kFirstRounds = 12, kLastRounds = 60;

struct Slope {
    int order;
    bool linkwitz_riley;
};
constexpr std::array kSlopes = {Slope{1, false}, Slope{2, false}, Slope{2, true}, Slope{3, false}, Slope{4, false},
                                Slope{4, true},  Slope{6, false}, Slope{8, false}, Slope{8, true}};

using Points = std::vector<ShapePoint>;

double warped_hz(double frequency_hz, double rate_hz) {
    if (rate_hz <= 0) return frequency_hz;
    return rate_hz / std::numbers::pi * std::tan(std::numbers::pi * std::min(frequency_hz / rate_hz, 0.495));
}
double unwarped_hz(double frequency_hz, double rate_hz) {
    if (rate_hz <= 0) return frequency_hz;
    return rate_hz / std::numbers::pi * std::atan(std::numbers::pi * frequency_hz / rate_hz);
}

Points points_of(std::span<const TransferPoint> transfer, double rate_hz) {
    double loudest_db = -std::numeric_limits<double>::infinity();
    for (const TransferPoint& p : transfer)
        if (p.seen()) loudest_db = std::max(loudest_db, p.magnitude_db().value);
    Points out;
    for (const TransferPoint& p : transfer) {
        if (!p.seen() || (rate_hz > 0 && p.frequency_hz > 0.46 * rate_hz)) continue;
        const Reading level = p.magnitude_db();
        const double below_db = loudest_db - level.value;
        if (below_db > kDeepest_db || !std::isfinite(level.value)) continue;
        // deep in a stop band a textbook's slope holds less well
        const double model_db = kModelSd_db * (1.0 + 0.1 * below_db);
        out.push_back({std::log(warped_hz(p.frequency_hz, rate_hz)), level.value, std::hypot(level.sd, model_db)});
    }
    return out;
}

double criterion(const ShapeFit& fit, std::size_t points) {
    const double count = static_cast<double>(points) / kCorrelated;
    const double mean = std::max(fit.cost / static_cast<double>(points), 0.02);
    return count * std::log(mean) + static_cast<double>(fit.model.free()) * std::log(count);
}

std::vector<double> left_over(const Points& points, const ShapeModel& model) {
    std::vector<double> out;
    for (const ShapePoint& p : points) out.push_back(p.level_db - model.db_at(p.ln_hz));
    return out;
}

double mean_of(std::span<const double> values) {
    double sum = 0;
    for (const double v : values) sum += v;
    return sum / static_cast<double>(std::max<std::size_t>(values.size(), 1));
}

/// The places at which what is left has its strongest humps and dips, a sixth of an octave averaged.
std::vector<std::size_t> humps_of(std::span<const double> left) {
    std::vector<double> smooth;
    for (std::size_t k = 0; k < left.size(); ++k) {
        const std::size_t from = k < 2 ? 0 : k - 2, to = std::min(left.size(), k + 3);
        smooth.push_back(mean_of(left.subspan(from, to - from)));
    }
    std::vector<std::size_t> out;
    for (std::size_t k = 0; k < smooth.size(); ++k) {
        const double here = std::abs(smooth[k]);
        bool highest = here > 0.2;
        for (std::size_t j = k < 6 ? 0 : k - 6; j < std::min(smooth.size(), k + 7); ++j)
            highest = highest && std::abs(smooth[j]) <= here;
        if (highest) out.push_back(k);
    }
    std::sort(out.begin(), out.end(), [&](std::size_t a, std::size_t b) { return std::abs(smooth[a]) > std::abs(smooth[b]); });
    if (out.size() > 3) out.resize(3);
    return out;
}

/// Parts that might explain what is left, roughly placed.
std::vector<ModelPart> candidates(const Points& points, const ShapeModel& model) {
    std::vector<ModelPart> out;
    const std::vector<double> left = left_over(points, model);
    const std::size_t n = points.size(), end = std::max<std::size_t>(3, n / 24);
    for (const std::size_t k : humps_of(left))
        for (const double q : {0.7, 2.0, 6.0}) out.push_back({ShapeKind::peak, points[k].ln_hz, left[k], std::log(q)});
    const auto has = [&](ShapeKind kind) {
        return std::any_of(model.parts.begin(), model.parts.end(), [&](const ModelPart& part) { return part.kind == kind; });
    };
    for (const bool low : {true, false}) {
        const std::span<const double> ends = low ? std::span(left).first(end) : std::span(left).last(end);
        const double at_end = mean_of(ends);
        const double from = points.front().ln_hz, to = points.back().ln_hz;
        for (const double share : {0.12, 0.3, 0.5}) {
            const double ln_hz = low ? from + share * (to - from) : to - share * (to - from);
            const double gain = std::abs(at_end) > 0.3 ? at_end : (at_end < 0 ? -1.0 : 1.0);
            out.push_back({low ? ShapeKind::low_shelf : ShapeKind::high_shelf, ln_hz, gain, std::log(0.7)});
        }
        const ShapeKind kind = low ? ShapeKind::high_pass : ShapeKind::low_pass;
        if (has(kind) || at_end > -0.4) continue;
        // its corner: where what is left has fallen by 3 dB below its highest, seen from the end
        const double top = *std::max_element(left.begin(), left.end());
        std::size_t corner = low ? 0 : n - 1;
        while (left[corner] < top - 3 && corner != (low ? n - 1 : 0)) low ? ++corner : --corner;
        for (const Slope& slope : kSlopes)
            out.push_back({kind, points[corner].ln_hz, 0, 0, slope.order, slope.linkwitz_riley});
    }
    return out;
}

double bend_db(const ModelPart& part, const Points& points) {
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (const ShapePoint& p : points) {
        const double here = part.db_at(p.ln_hz);
        low = std::min(low, here);
        high = std::max(high, here);
    }
    return high - low;
}

/// Whether each part bends the response by so much that it is worth telling, and is known well enough to be told.
bool all_tell(const ShapeFit& fit, const Points& points) {
    if (fit.sd.empty()) return false;
    std::size_t at = 1;
    for (const ModelPart& part : fit.model.parts) {
        if (bend_db(part, points) < kLeastBend_db || fit.sd[at] > kUnsurePlace) return false;
        if (!part.passes() && fit.sd[at + 1] > kUnsureShare * std::abs(part.gain_db)) return false;
        if (std::abs(part.gain_db) > kMostTold_db) return false;
        at += part.free();
    }
    return true;
}

/// Nothing of what is left is worth another part.
bool explained(const Points& points, const ShapeModel& model) {
    const std::vector<double> left = left_over(points, model);
    for (std::size_t k = 0; k + 5 <= left.size(); ++k)
        if (std::abs(mean_of(std::span(left).subspan(k, 5))) > kExplained_db + points[k + 2].sd_db) return false;
    return true;
}

ShapeModel with(const ShapeModel& model, const ModelPart& part) {
    ShapeModel out = model;
    out.parts.push_back(part);
    return out;
}
ShapeModel without(const ShapeModel& model, std::size_t which) {
    ShapeModel out = model;
    out.parts.erase(out.parts.begin() + static_cast<std::ptrdiff_t>(which));
    return out;
}

/// The best way to add one part; the cost alone decides among parts of as many numbers.
std::optional<ShapeFit> best_addition(const Points& points, const ShapeModel& model) {
    std::optional<ShapeFit> best;
    for (const ModelPart& part : candidates(points, model)) {
        ShapeFit fit = fit_shape(points, with(model, part), kFirstRounds);
        if (!all_tell(fit, points)) continue;
        if (!best || criterion(fit, points.size()) < criterion(*best, points.size())) best = std::move(fit);
    }
    return best;
}

/// Takes each part out and puts the best one in again: the first choices were made before the others were known.
ShapeFit reconsidered(const Points& points, ShapeFit fit) {
    for (int round = 0; round < 2; ++round) {
        bool changed = false;
        for (std::size_t i = 0; i < fit.model.parts.size(); ++i) {
            const ShapeFit rest = fit_shape(points, without(fit.model, i), kFirstRounds);
            if (criterion(rest, points.size()) < criterion(fit, points.size()) + 0.5 * kClearGain) {
                fit = rest;
                changed = true;
                break;
            }
            auto again = best_addition(points, rest.model);
            if (!again) continue;
            if (criterion(*again, points.size()) < criterion(fit, points.size()) - 2.0) {
                fit = std::move(*again);
                changed = true;
            }
        }
        if (!changed) break;
    }
    return fit_shape(points, fit.model, kLastRounds);
}

/// Adds parts as long as they are worth it.
ShapeFit grown(const Points& points, ShapeFit fit) {
    while (fit.model.parts.size() < kMostParts && !explained(points, fit.model)) {
        auto next = best_addition(points, fit.model);
        if (!next || criterion(*next, points.size()) > criterion(fit, points.size()) - kClearGain) break;
        fit = std::move(*next);
    }
    return fit;
}

/// Beginnings that adding one part after the other might miss: both ends cut, both ends shelved.
std::vector<ShapeModel> beginnings(const Points& points) {
    ShapeModel level;
    double loudest = points.front().level_db;
    for (const ShapePoint& p : points) {
        level.level_db += p.level_db / static_cast<double>(points.size());
        loudest = std::max(loudest, p.level_db);
    }
    std::vector<ShapeModel> out = {level};
    const double from = points.front().ln_hz, to = points.back().ln_hz;
    const std::size_t end = std::max<std::size_t>(3, points.size() / 24);
    const auto end_db = [&](bool low) {
        double sum = 0;
        for (std::size_t k = 0; k < end; ++k) sum += (low ? points[k] : points[points.size() - 1 - k]).level_db;
        return sum / static_cast<double>(end);
    };
    const double middle_db = points[points.size() / 2].level_db;
    if (std::abs(end_db(true) - middle_db) > 1 && std::abs(end_db(false) - middle_db) > 1) {
        ShapeModel both = level;
        both.level_db = middle_db;
        both.parts = {{ShapeKind::low_shelf, from + 0.2 * (to - from), end_db(true) - middle_db, std::log(0.7)},
                      {ShapeKind::high_shelf, to - 0.2 * (to - from), end_db(false) - middle_db, std::log(0.7)}};
        out.push_back(both);
    }
    std::size_t low = 0, high = points.size() - 1;
    while (low < high && points[low].level_db < loudest - 5) ++low;
    while (high > low && points[high].level_db < loudest - 5) --high;
    if (low > 3 && high + 4 < points.size())
        for (const int low_order : {2, 4})
            for (const int high_order : {2, 4}) {
                ShapeModel band = level;
                band.level_db = loudest - 1;
                band.parts = {{ShapeKind::high_pass, points[low].ln_hz, 0, 0, low_order, low_order == 4},
                              {ShapeKind::low_pass, points[high].ln_hz, 0, 0, high_order, high_order == 4}};
                out.push_back(band);
            }
    return out;
}

ShapeFit best_fit(const Points& points) {
    std::optional<ShapeFit> best;
    for (const ShapeModel& start : beginnings(points)) {
        ShapeFit fit = fit_shape(points, start, 2 * kFirstRounds);
        if (!start.parts.empty() && !all_tell(fit, points)) continue;
        if (!start.parts.empty() && best && explained(points, best->model) &&
            criterion(fit, points.size()) > criterion(*best, points.size()) + 30)
            continue;
        fit = reconsidered(points, grown(points, std::move(fit)));
        if (!best || criterion(fit, points.size()) < criterion(*best, points.size())) best = std::move(fit);
    }
    return *best;
}

/// A low-pass below a high-pass of the same slope makes the band-pass of the two the other way round, at a lower level.
void put_band_straight(ShapeModel& model) {
    for (ModelPart& low : model.parts)
        for (ModelPart& high : model.parts) {
            const bool crossed = low.kind == ShapeKind::low_pass && high.kind == ShapeKind::high_pass && low.ln_hz < high.ln_hz;
            if (!crossed || low.order != high.order || low.linkwitz_riley != high.linkwitz_riley) continue;
            model.level_db += 20.0 * low.order * (low.ln_hz - high.ln_hz) / std::numbers::ln10;
            std::swap(low.kind, high.kind);
        }
}

ShapePart told(const ModelPart& part, std::span<const double> sd, double rate_hz, double& level_db) {
    ShapePart out;
    out.kind = part.kind;
    const double hz = unwarped_hz(std::exp(part.ln_hz), rate_hz);
    // bass raised and treble lowered by one shelf are the same but for the level
    const bool turned = (part.kind == ShapeKind::low_shelf && hz > kShelvesMeet_hz) ||
                        (part.kind == ShapeKind::high_shelf && hz < kShelvesMeet_hz);
    if (turned) {
        out.kind = part.kind == ShapeKind::low_shelf ? ShapeKind::high_shelf : ShapeKind::low_shelf;
        level_db += part.gain_db;
    }
    const auto sd_of = [&](std::size_t i) { return sd.empty() ? 0.0 : sd[i]; };
    out.frequency_hz = {hz, hz * sd_of(0)};
    if (part.passes()) {
        out.slope_db_per_octave = 6 * part.order;
        out.linkwitz_riley = part.linkwitz_riley;
    } else {
        out.gain_db = {turned ? -part.gain_db : part.gain_db, sd_of(1)};
        out.q = std::exp(part.ln_q);
    }
    return out;
}

double flat_within(const Points& points) {
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (std::size_t k = 0; k + 4 < points.size(); ++k) {
        double mean = 0;
        for (std::size_t j = k; j < k + 5; ++j) mean += points[j].level_db / 5;
        low = std::min(low, mean);
        high = std::max(high, mean);
    }
    return 0.5 * (high - low);
}

bool both_ends_up(const std::vector<ShapePart>& parts) {
    bool low = false, high = false;
    for (const ShapePart& part : parts) {
        if (part.slope_db_per_octave != 0 || part.gain_db.value < kLoudness_db) continue;
        low = low || (part.kind != ShapeKind::high_shelf && part.frequency_hz.value < 250);
        high = high || (part.kind != ShapeKind::low_shelf && part.frequency_hz.value > 2500);
    }
    return low && high;
}

}  // namespace

std::string_view to_word(ShapeKind kind) {
    constexpr std::array<std::string_view, 5> words = {"peak", "low_shelf", "high_shelf", "high_pass", "low_pass"};
    return words[static_cast<std::size_t>(kind)];
}

std::optional<ResponseShape> shape_of(std::span<const TransferPoint> transfer) {
    std::optional<ShapeFit> best;
    double best_criterion = 0, best_rate_hz = 0;
    for (const double rate_hz : {0.0, 48000.0, 44100.0, 96000.0}) {
        const Points points = points_of(transfer, rate_hz);
        if (points.size() < std::size_t{2} * transfer_points_per_octave) return std::nullopt;
        ShapeFit fit = best_fit(points);
        const double here = criterion(fit, points.size());
        if (best && here > best_criterion - 2.0) continue;
        best = std::move(fit);
        best_criterion = here;
        best_rate_hz = rate_hz;
        // the transform bends what lies high
        const auto& parts = best->model.parts;
        if (std::all_of(parts.begin(), parts.end(), [](const ModelPart& part) { return part.ln_hz < std::log(1500.0); })) break;
    }
    const Points points = points_of(transfer, best_rate_hz);
    ResponseShape out;
    put_band_straight(best->model);
    out.level_db = best->model.level_db;
    std::size_t at = 1;
    for (const ModelPart& part : best->model.parts) {
        const auto sd = best->sd.empty() ? std::span<const double>() : std::span<const double>(best->sd).subspan(at, part.free());
        out.parts.push_back(told(part, sd, best_rate_hz, out.level_db));
        at += part.free();
    }
    std::sort(out.parts.begin(), out.parts.end(),
              [](const ShapePart& a, const ShapePart& b) { return a.frequency_hz.value < b.frequency_hz.value; });
    double squares = 0;
    for (const double left : left_over(points, best->model)) squares += left * left;
    out.left_over_db = std::sqrt(squares / static_cast<double>(points.size()));
    out.from_hz = unwarped_hz(std::exp(points.front().ln_hz), best_rate_hz);
    out.to_hz = unwarped_hz(std::exp(points.back().ln_hz), best_rate_hz);
    out.flat_within_db = flat_within(points);
    out.loudness = both_ends_up(out.parts);
    return out;
}

}  // namespace hushtrace
