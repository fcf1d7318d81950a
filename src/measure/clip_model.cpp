#include "clip_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "clip_wave.hpp"
#include "hushtrace/signal/decibel.hpp"

// Least squares after Levenberg and Marquardt.
namespace hushtrace {
namespace {

using Complex = std::complex<double>;
using Place = ClipModel::Place;

/// What is known of a place beforehand: a mean and how far from it one would expect it. Coupling corners in vehicles
/// lie at a few hertz, bands end above 20 kHz, clean stages bend by less than a percent (common practice, no source).
struct Expected {
    double mean, sd;
};
std::optional<Expected> expected(std::size_t place, double tone_hz) {
    switch (place) {
        case Place::coupling_hz: return Expected{3.0, 15.0};
        case Place::lag: return Expected{0.0, tone_hz / 25000.0};
        case Place::bend_2:
        case Place::bend_3: return Expected{0.0, 0.003};
        case Place::drive_db:
        case Place::other_drive_db: return Expected{3.0, 30.0};
        default: return std::nullopt;
    }
}

/// Least change that the derivative is taken over.
double step_of(std::size_t place) {
    switch (place) {
        case Place::coupling_hz: return 1e-2;
        case Place::drive_db:
        case Place::other_drive_db: return 2e-3;
        case Place::edge: return 1e-3;
        default: return 1e-6;
    }
}

void keep_in_range(ClipModel& m) {
    m.value[Place::coupling_hz] = std::clamp(m.value[Place::coupling_hz], 0.0, 300.0);
    m.value[Place::drive_db] = std::clamp(m.value[Place::drive_db], m.shape == ClipShape::slope ? 0.0 : -6.0, 60.0);
    m.value[Place::other_drive_db] = std::clamp(m.value[Place::other_drive_db], -6.0, 60.0);
    m.value[Place::edge] = std::clamp(m.value[Place::edge], 0.0, 0.8);
}

class Fit {
public:
    explicit Fit(const ToneHarmonics& heard) : heard_(heard) { weigh(1.0); }

    /// Against the fundamental, path and corner are the model's to within `floor` thousandths of a harmonic, and of a
    /// third of its neighbours: one that passes through zero mustn't rule the others.
    void weigh(double floor) {
        const auto size = [this](std::size_t k) { return std::abs(heard_.value[k]); };
        const std::size_t count = heard_.value.size();
        weight_.clear();
        for (std::size_t k = 0; k < count; ++k) {
            double granted = (k == 0 ? 1e-5 : 2e-6) * size(0);
            for (std::size_t j = k > 2 ? k - 2 : 1; k > 0 && j < std::min(count, k + 3); ++j)
                granted = std::max(granted, (j == k ? 1.0 : 0.3) * 1e-3 * size(j));
            weight_.push_back(1.0 / std::hypot(heard_.sd[k], floor * granted));
        }
    }

    /// Differences between what was heard and the model, weighted; then those from what was expected.
    std::vector<double> residuals(const ClipModel& m) const {
        const auto out = m.harmonics(heard_.tone_hz, used_);
        std::vector<double> r;
        for (std::size_t k = 0; k < out.size(); ++k) {
            r.push_back((out[k].real() - heard_.value[k].real()) * weight_[k]);
            r.push_back((out[k].imag() - heard_.value[k].imag()) * weight_[k]);
        }
        for (const std::size_t place : m.free())
            if (const auto e = expected(place, heard_.tone_hz)) r.push_back((m.value[place] - e->mean) / e->sd);
        return r;
    }

    /// A model of these properties whose fundamental is the one heard.
    ClipModel start(ClipShape shape, double drive_db, double edge) const {
        ClipModel m;
        m.shape = shape;
        m.value[Place::drive_db] = m.value[Place::other_drive_db] = drive_db;
        m.value[Place::edge] = edge;
        m.value[Place::coupling_hz] = 3.0;
        m.value[Place::lag] = heard_.tone_hz / 40000.0;  // at 0 its sign, and so its slope, would be open
        const Complex own = m.harmonics(heard_.tone_hz, 1)[0];
        m.value[Place::scale_ln] = std::log(std::abs(heard_.value[0]) / std::abs(own));
        m.value[Place::phase] = std::arg(heard_.value[0] / own);
        return m;
    }

    /// The low harmonics first, whose valleys are wide; then all.
    ClipFit run(ClipModel m) {
        for (const std::size_t most : {std::size_t{9}, std::size_t{18}})
            if (most < heard_.value.size()) {
                used_ = most;
                m = descend(m, 12).model;
            }
        used_ = heard_.value.size();
        return descend(m, 40);
    }

    void use_low_harmonics() { used_ = std::min<std::size_t>(9, heard_.value.size()); }

private:
    ClipFit descend(ClipModel m, int most_rounds) const {
        std::vector<double> r = residuals(m);
        double misfit = squares(r), damping = 1e-3;
        const std::vector<std::size_t> free = m.free();
        for (int round = 0; round < most_rounds; ++round) {
            const auto [normal, right] = normal_equations(m, r, free);
            bool better = false;
            double gain = 0;
            for (int attempt = 0; attempt < 7 && !better; ++attempt, damping *= 8) {
                Matrix damped = normal;
                for (std::size_t i = 0; i < free.size(); ++i) damped.at(i, i) *= 1.0 + damping;
                if (!factor(damped, 1e-14)) continue;
                const std::vector<double> step = solve(damped, right);
                ClipModel next = m;
                for (std::size_t i = 0; i < free.size(); ++i) next.value[free[i]] -= step[i];
                keep_in_range(next);
                std::vector<double> next_r = residuals(next);
                const double next_misfit = squares(next_r);
                if (!(next_misfit < misfit)) continue;
                better = true;
                gain = misfit - next_misfit;
                m = next;
                r = std::move(next_r);
                misfit = next_misfit;
            }
            damping = std::max(damping / 40.0, 1e-9);
            if (!better || gain < 1e-5 * misfit + 1e-7) break;
        }
        return judged(m, r, misfit, free);
    }

    static double squares(const std::vector<double>& r) {
        double sum = 0;
        for (const double x : r) sum += x * x;
        return sum;
    }

    std::pair<Matrix, std::vector<double>> normal_equations(const ClipModel& m, const std::vector<double>& r,
                                                            const std::vector<std::size_t>& free) const {
        std::vector<std::vector<double>> slopes;
        for (const std::size_t place : free) {
            ClipModel moved = m;
            double step = step_of(place);
            moved.value[place] += step;
            keep_in_range(moved);
            if (moved.value[place] == m.value[place]) {  // at its upper end: look the other way
                moved.value[place] -= step;
                step = -step;
            }
            std::vector<double> s = residuals(moved);
            for (std::size_t i = 0; i < s.size(); ++i) s[i] = (s[i] - r[i]) / step;
            slopes.push_back(std::move(s));
        }
        Matrix normal(free.size());
        std::vector<double> right(free.size());
        for (std::size_t i = 0; i < free.size(); ++i) {
            for (std::size_t j = 0; j <= i; ++j) {
                double sum = 0;
                for (std::size_t n = 0; n < r.size(); ++n) sum += slopes[i][n] * slopes[j][n];
                normal.at(i, j) = normal.at(j, i) = sum;
            }
            normal.at(i, i) += 1e-12;
            for (std::size_t n = 0; n < r.size(); ++n) right[i] += slopes[i][n] * r[n];
        }
        return {normal, right};
    }

    ClipFit judged(const ClipModel& m, const std::vector<double>& r, double misfit,
                   const std::vector<std::size_t>& free) const {
        ClipFit fit;
        fit.model = m;
        fit.misfit = misfit;
        fit.freedom = std::max(1.0, static_cast<double>(r.size() - free.size()));
        Matrix normal = normal_equations(m, r, free).first;
        const double spread = std::max(1.0, (misfit + 2.0) / (fit.freedom + 2.0));
        if (factor(normal, 1e-14))
            for (std::size_t i = 0; i < free.size(); ++i) {
                std::vector<double> unit(free.size(), 0.0);
                unit[i] = 1.0;
                const std::vector<double> column = solve(normal, unit);
                for (std::size_t j = 0; j < free.size(); ++j)
                    fit.covariance.at(free[i], free[j]) = spread * column[j];
            }
        double left = 0, all = 0;
        for (std::size_t n = 2; n < 2 * used_; ++n) {
            const double w = weight_[n / 2], noise = heard_.sd[n / 2];
            left += std::max(0.0, r[n] * r[n] / (w * w) - noise * noise);
        }
        for (std::size_t k = 1; k < heard_.value.size(); ++k)
            all += std::max(0.0, std::norm(heard_.value[k]) - 2.0 * heard_.sd[k] * heard_.sd[k]);
        fit.unexplained_share = all > 0 ? std::min(1.0, std::sqrt(left / all)) : 0.0;
        return fit;
    }

    const ToneHarmonics& heard_;
    std::vector<double> weight_;
    std::size_t used_ = heard_.value.size();
};

}  // namespace

std::vector<std::size_t> ClipModel::free() const {
    std::vector<std::size_t> list = {scale_ln, phase, coupling_hz, lag};
    if (shape == ClipShape::slope) {
        list.push_back(drive_db);
        return list;
    }
    list.insert(list.end(), {bend_2, bend_3});
    if (shape == ClipShape::straight) return list;
    list.insert(list.end(), {drive_db, edge});
    if (shape == ClipShape::unequal_rails) list.push_back(other_drive_db);
    return list;
}

std::vector<Complex> ClipModel::harmonics(double tone_hz, std::size_t count) const {
    std::vector<Complex> out =
        shape == ClipShape::slope ? spectrum_of(slewed_wave(steepness(*this)), count)
                                  : spectrum_of_half(railed_half(*this), count);
    // of height 1 is the first rail, the amplitude or the slope
    const double height = shape == ClipShape::straight ? 1.0 : amplitude_from_decibels(value[drive_db]);
    const double scale = height * std::exp(value[scale_ln]);
    for (std::size_t i = 0; i < count; ++i) {
        const double k = static_cast<double>(i + 1);
        const Complex coupling = 1.0 / Complex(1.0, -value[coupling_hz] / (k * tone_hz));
        const Complex band = 1.0 / Complex(1.0, k * value[lag]);
        out[i] *= scale * coupling * band * std::polar(1.0, k * value[phase]);
    }
    return out;
}

double ClipModel::clipped_share() const {
    if (shape == ClipShape::straight) return 0.0;
    if (shape == ClipShape::slope) {
        double share = 0;
        slewed_wave(steepness(*this), &share);
        return share;
    }
    const auto beyond = [](double drive) {
        return drive > 0 ? std::acos(amplitude_from_decibels(-drive)) / std::numbers::pi : 0.0;
    };
    const Rails rails = rails_of(*this);
    double share = 0;
    const double soft = value[edge] > kHardEdge ? amplitude_db() - amplitude_db_at_one_percent() : 0.0;
    for (const auto& drive : {rails.upper_db, rails.lower_db})
        if (drive) share += beyond(value[edge] > kHardEdge ? soft : *drive);
    return share;
}

double ClipModel::amplitude_db() const {
    return decibels_from_amplitude(std::exp(value[scale_ln])) + (shape == ClipShape::straight ? 0.0 : value[drive_db]);
}

double ClipModel::amplitude_db_at_one_percent() const {
    const auto thd = [this](double change_db) {
        ClipModel m = *this;
        m.value[drive_db] += change_db;
        m.value[other_drive_db] += change_db;
        m.value[bend_2] *= amplitude_from_decibels(change_db);
        m.value[bend_3] *= power_from_decibels(change_db);
        const std::vector<Complex> h = spectrum_of_half(railed_half(m), 12);
        double sum = 0;
        for (std::size_t k = 1; k < h.size(); ++k) sum += std::norm(h[k]);
        return std::sqrt(sum / std::norm(h[0]));
    };
    double low = -60, high = 20;
    while (high - low > 1e-5) {
        const double middle = 0.5 * (low + high);
        (thd(middle) > 0.01 ? high : low) = middle;
    }
    return amplitude_db() + 0.5 * (low + high);
}

std::optional<ClipFit> fit_clip_model(ClipShape shape, const ToneHarmonics& heard, const ClipFit* like) {
    Fit fit(heard);
    std::optional<ClipFit> best;
    // The best of each group of starts is followed: corners sharp, slightly rounded and wide are valleys of their own.
    const auto follow_best = [&](const std::vector<ClipModel>& starts, std::size_t most) {
        std::vector<std::pair<double, std::size_t>> order;
        fit.use_low_harmonics();
        for (std::size_t i = 0; i < starts.size(); ++i) {
            double sum = 0;
            for (const double x : fit.residuals(starts[i])) sum += x * x;
            order.emplace_back(sum, i);
        }
        std::sort(order.begin(), order.end());
        for (std::size_t i = 0; i < std::min(most, order.size()); ++i) {
            ClipFit one = fit.run(starts[order[i].second]);
            if (std::isfinite(one.misfit) && (!best || one.misfit < best->misfit)) best = std::move(one);
            if (best && best->fits()) return;
        }
    };
    const auto group = [&](const std::vector<double>& drives, double edge, std::size_t most) {
        std::vector<ClipModel> starts;
        starts.reserve(drives.size());
        for (const double drive : drives) starts.push_back(fit.start(shape, drive, edge));
        follow_best(starts, most);
    };
    const auto apart_from = [&](const ClipModel& from, double edge) {
        std::vector<ClipModel> starts;
        for (const double apart : {-4.0, -2.0, -1.0, -0.5, -0.25, -0.1, -0.03, 0.03, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0}) {
            ClipModel m = from;
            m.shape = shape;
            m.value[Place::edge] = edge;
            m.value[Place::drive_db] += 0.5 * apart;
            m.value[Place::other_drive_db] = m.value[Place::drive_db] - apart;
            m.value[Place::scale_ln] -= 0.5 * apart * std::numbers::ln10 / 20.0;
            starts.push_back(m);
        }
        follow_best(starts, 3);
    };
    if (shape == ClipShape::straight) {
        group({0}, 0, 1);
    } else if (shape == ClipShape::slope) {
        group({0.05, 0.3, 1.0, 2.5, 4.5, 8.0}, 0, 1);
    } else if (like) {
        apart_from(like->model, like->model.value[Place::edge]);
        if (like->model.value[Place::edge] > kSharp) apart_from(like->model, 0);
    } else {
        // Harmonic k turns with k times the angle at which the wave meets the rail: even steps of that angle.
        std::vector<double> drives;
        for (double angle = 0.02; angle < 1.56; angle += 0.06)
            drives.push_back(-decibels_from_amplitude(std::sin(angle)));
        group(drives, 0, 3);
        if (best && best->fits()) return best;
        if (best) {
            ClipModel rounded = best->model;
            rounded.value[Place::edge] = 0.02;
            follow_best({rounded}, 1);
        }
        group({-4.0, -1.0, 2.0, 8.0}, 0.4, 1);
    }
    return best;
}

ClipFit sharpened(const ClipFit& found, const ToneHarmonics& heard) {
    Fit fit(heard);
    fit.weigh(std::clamp(std::sqrt((found.misfit + 2.0) / (found.freedom + 2.0)), 0.02, 1.0));
    return fit.run(found.model);
}

}  // namespace hushtrace
