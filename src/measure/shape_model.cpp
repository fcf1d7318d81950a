#include "shape_model.hpp"

#include <algorithm>
#include <cmath>

#include "cholesky.hpp"

namespace hushtrace {
namespace {

constexpr double kHuber = 2.0;  // sd beyond which a point counts by its distance, not its square
constexpr double kMostGain_db = 30.0;
constexpr double kHalfOctave = 0.35;  // of ln f

double cost_of(double scaled) {
    const double far = std::abs(scaled);
    return far <= kHuber ? far * far : kHuber * (2.0 * far - kHuber);
}

double total_cost(const std::vector<ShapePoint>& points, const ShapeModel& model) {
    double sum = 0;
    for (const ShapePoint& p : points) sum += cost_of((p.level_db - model.db_at(p.ln_hz)) / p.sd_db);
    return sum;
}

void keep_inside(ModelPart& part, double lowest, double highest) {
    part.ln_hz = std::clamp(part.ln_hz, lowest - kHalfOctave, highest + kHalfOctave);
    part.gain_db = std::clamp(part.gain_db, -kMostGain_db, kMostGain_db);
    const bool peak = part.kind == ShapeKind::peak;
    part.ln_q = std::clamp(part.ln_q, std::log(peak ? 0.35 : 0.45), std::log(peak ? 12.0 : 1.2));
}

// Derivatives of the model at a point by small steps of each number: of the parts alone, since the others don't change.
void derivatives(const ShapeModel& model, double at, std::vector<double>& row) {
    row.clear();
    row.push_back(1.0);
    for (ModelPart part : model.parts) {
        const double here = part.db_at(at);
        for (std::size_t i = 0; i < part.free(); ++i) {
            constexpr double step = 1e-5;
            part.number(i) += step;
            row.push_back((part.db_at(at) - here) / step);
            part.number(i) -= step;
        }
    }
}

ShapeModel moved(const ShapeModel& from, const std::vector<double>& by, double lowest, double highest) {
    ShapeModel out = from;
    out.level_db += by[0];
    std::size_t k = 1;
    for (ModelPart& part : out.parts) {
        for (std::size_t i = 0; i < part.free(); ++i, ++k) {
            const double most = i == 1 ? 6.0 : 0.7;
            part.number(i) += std::clamp(by[k], -most, most);
        }
        keep_inside(part, lowest, highest);
    }
    return out;
}

struct Normal {
    Matrix matrix;
    std::vector<double> right;
};
Normal normal_equations(const std::vector<ShapePoint>& points, const ShapeModel& model) {
    const std::size_t n = model.free();
    Normal out{Matrix(n), std::vector<double>(n, 0.0)};
    std::vector<double> row;
    for (const ShapePoint& p : points) {
        const double left = (p.level_db - model.db_at(p.ln_hz)) / p.sd_db;
        const double weight = (std::abs(left) <= kHuber ? 1.0 : kHuber / std::abs(left)) / p.sd_db;
        derivatives(model, p.ln_hz, row);
        for (std::size_t i = 0; i < n; ++i) {
            out.right[i] += weight * row[i] * left;
            for (std::size_t j = 0; j <= i; ++j) out.matrix.at(i, j) += weight / p.sd_db * row[i] * row[j];
        }
    }
    for (std::size_t i = 0; i < n; ++i)
        for (std::size_t j = i + 1; j < n; ++j) out.matrix.at(i, j) = out.matrix.at(j, i);
    return out;
}

std::vector<double> spread(const std::vector<ShapePoint>& points, const ShapeFit& fit) {
    Matrix matrix = normal_equations(points, fit.model).matrix;
    const std::size_t n = matrix.n;
    if (!factor(matrix, 1e-12)) return {};
    const double grown = std::max(1.0, fit.cost / std::max(1.0, static_cast<double>(points.size()) - static_cast<double>(n)));
    std::vector<double> out;
    for (std::size_t i = 0; i < n; ++i) {
        std::vector<double> unit(n, 0.0);
        unit[i] = 1.0;
        out.push_back(std::sqrt(grown * solve(matrix, unit)[i]));
    }
    return out;
}

}  // namespace

double ModelPart::db_at(double at_ln_hz) const {
    const double x = std::exp(at_ln_hz - ln_hz);
    if (passes()) {
        const double towards_stop = kind == ShapeKind::high_pass ? -order * (at_ln_hz - ln_hz) : order * (at_ln_hz - ln_hz);
        if (linkwitz_riley) return -20.0 * std::log10(1.0 + std::exp(std::min(towards_stop, 60.0)));
        return -10.0 * std::log10(1.0 + std::exp(std::min(2.0 * towards_stop, 120.0)));
    }
    const double a = std::pow(10.0, gain_db / 40.0), q = std::exp(ln_q), square = x * x;
    if (kind == ShapeKind::peak) {
        const double real = (1.0 - square) * (1.0 - square);
        return 10.0 * std::log10((real + square * a * a / (q * q)) / (real + square / (a * a * q * q)));
    }
    // A (s^2 + root s + A) / (A s^2 + root s + 1) of a low shelf, root = sqrt(A)/Q; a high shelf is its mirror image
    const double s2 = kind == ShapeKind::low_shelf ? square : 1.0 / square;
    const double middle = a / (q * q) * s2;
    const double over = (a - s2) * (a - s2) + middle, under = (1.0 - a * s2) * (1.0 - a * s2) + middle;
    return gain_db / 2.0 + 10.0 * std::log10(over / under);
}

std::size_t ShapeModel::free() const {
    std::size_t sum = 1;
    for (const ModelPart& part : parts) sum += part.free();
    return sum;
}

double ShapeModel::db_at(double at_ln_hz) const {
    double sum = level_db;
    for (const ModelPart& part : parts) sum += part.db_at(at_ln_hz);
    return sum;
}

ShapeFit fit_shape(const std::vector<ShapePoint>& points, ShapeModel start, int rounds) {
    const double lowest = points.front().ln_hz, highest = points.back().ln_hz;
    for (ModelPart& part : start.parts) keep_inside(part, lowest, highest);
    ShapeFit out{std::move(start), 0, {}};
    out.cost = total_cost(points, out.model);
    double damping = 1e-2;
    for (int round = 0; round < rounds; ++round) {
        const Normal normal = normal_equations(points, out.model);
        bool better = false;
        double gained = 0;
        for (int attempt = 0; attempt < 6 && !better; ++attempt) {
            Matrix damped = normal.matrix;
            for (std::size_t i = 0; i < damped.n; ++i) damped.at(i, i) += damping * damped.at(i, i) + 1e-9;
            if (factor(damped, 1e-14)) {
                ShapeModel next = moved(out.model, solve(damped, normal.right), lowest, highest);
                const double cost = total_cost(points, next);
                if (cost < out.cost) {
                    better = true;
                    gained = out.cost - cost;
                    out.model = std::move(next);
                    out.cost = cost;
                    damping = std::max(1e-7, 0.2 * damping);
                }
            }
            if (!better) damping *= 6.0;
        }
        if (!better || gained < 1e-4 * (1.0 + out.cost)) break;
    }
    out.sd = spread(points, out);
    return out;
}

}  // namespace hushtrace
