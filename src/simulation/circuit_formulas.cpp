#include "hushtrace/simulation/circuit_formulas.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace::simulated {
namespace {

constexpr double mu0 = 4e-7 * std::numbers::pi;  // [H/m], the classical value
double ratio(double decibels) {
    return std::pow(10.0, decibels / 20.0);
}

}  // namespace

double mutual_inductance_over_plane(double height_1_m, double height_2_m, double distance_m) {
    return mu0 / (4.0 * std::numbers::pi) *
           std::log1p(4.0 * height_1_m * height_2_m / (distance_m * distance_m));
}

double mutual_inductance_wire_to_loop(double near_m, double far_m) {
    return mu0 / (2.0 * std::numbers::pi) * std::log(far_m / near_m);
}

double inductance_over_plane(double height_m, double radius_m) {
    return mu0 / (2.0 * std::numbers::pi) * std::acosh(std::max(height_m / radius_m, 1.1));
}

double wire_resistance_ohm(double length_m, double area_mm2, double temperature_c, bool clad_aluminium) {
    const double copper = 1.7241e-8 * length_m / (area_mm2 * 1e-6) * (1.0 + 0.00393 * (temperature_c - 20.0));
    return clad_aluminium ? copper / 0.629 : copper;
}

double bridge_line_over_mean(int n) {
    const double order = 6.0 * n;
    return 2.0 / (order * order - 1.0);
}

double alternator_ripple_a(double output_a, double phase_frequency_hz) {
    if (output_a <= 0.0 || phase_frequency_hz <= 0.0) return 0.0;
    const double proportional = bridge_line_over_mean(1) * output_a;
    const double gapped = std::min(300.0 / phase_frequency_hz, output_a);
    return std::pow(std::pow(proportional, 6.0) + std::pow(gapped, 6.0), 1.0 / 6.0);
}

FaultOrders diode_open_orders() {
    return {
        {1, 2, 3, 4, 6, 12}, {ratio(-3), ratio(-10), ratio(-20), ratio(-28), ratio(-26), ratio(-46)}, 0.63};
}
FaultOrders phase_open_orders() {
    return {{1, 2, 3, 4, 6, 12}, {0.0, ratio(2), 0.0, ratio(-14), ratio(-19), ratio(-33)}, 0.29};
}

double unbalance_over_mean(double weak_percent) {
    return ratio(-23) * weak_percent / 10.0;
}

}  // namespace hushtrace::simulated
