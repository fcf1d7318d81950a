#include "hushtrace/vehicle/coupling.hpp"

#include <cmath>
#include <complex>
#include <numbers>
#include <stdexcept>
#include <string>

namespace hushtrace {
namespace {

constexpr double kMu0 = 4e-7 * std::numbers::pi;  // H/m
constexpr double kTau = 2.0 * std::numbers::pi;
using Complex = std::complex<double>;

double positive(double value, const char* what) {
    if (!std::isfinite(value) || value <= 0.0) throw std::invalid_argument(std::string("coupling: ") + what + " must be above 0");
    return value;
}
double not_negative(double value, const char* what) {
    if (!std::isfinite(value) || value < 0.0) throw std::invalid_argument(std::string("coupling: ") + what + " must not be negative");
    return value;
}

/// ln(1 + 4 h1 h2 / d^2) / 2: what two wires over a plane have in common, in units of mu0/(2 pi).
double in_common(double height_1_m, double height_2_m, double distance_m) {
    positive(height_1_m, "height");
    positive(height_2_m, "height");
    positive(distance_m, "distance");
    return 0.5 * std::log1p(4.0 * height_1_m * height_2_m / (distance_m * distance_m));
}

double own(double height_m, double radius_m) {
    positive(radius_m, "radius");
    if (!(height_m > radius_m)) throw std::invalid_argument("coupling: a wire's height must be above its radius");
    return std::acosh(height_m / radius_m);
}

}  // namespace

double mutual_over_plane_h_per_m(double height_1_m, double height_2_m, double distance_m) {
    return kMu0 / kTau * in_common(height_1_m, height_2_m, distance_m);
}

double mutual_to_narrow_loop_h_per_m(double near_m, double far_m) {
    positive(near_m, "distance");
    if (!std::isfinite(far_m) || far_m < near_m) throw std::invalid_argument("coupling: a loop's far side lies beyond its near side");
    return kMu0 / kTau * std::log1p((far_m - near_m) / near_m);
}

double inductance_over_plane_h_per_m(double height_m, double radius_m) {
    return kMu0 / kTau * own(height_m, radius_m);
}

double SupplyFilter::corner_hz() const {
    return 1.0 / (kTau * std::sqrt(positive(coil_h, "coil") * positive(capacitor_f, "capacitor")));
}

double supply_filter_ratio(const SupplyFilter& filter, double frequency_hz) {
    const double omega = kTau * positive(frequency_hz, "frequency");
    const Complex capacitor(not_negative(filter.capacitor_ohm, "resistance"), -1.0 / (omega * positive(filter.capacitor_f, "capacitor")));
    const Complex coil(not_negative(filter.coil_ohm, "resistance"), omega * positive(filter.coil_h, "coil"));
    const Complex end = 1.0 / (1.0 / capacitor + 1.0 / positive(filter.load_ohm, "load"));
    return std::abs(end / (coil + end));
}

double added_coil_ratio(double branch_ohm, double branch_h, double branch_f, double coil_h, double frequency_hz) {
    const double omega = kTau * positive(frequency_hz, "frequency");
    const double reactance = omega * not_negative(branch_h, "inductance") - 1.0 / (omega * positive(branch_f, "capacitor"));
    return std::hypot(positive(branch_ohm, "resistance"), reactance) / std::hypot(branch_ohm, reactance + omega * not_negative(coil_h, "coil"));
}

double ferrite_ratio(double loop_ohm, double loop_h, double added_h, double frequency_hz) {
    const double omega = kTau * positive(frequency_hz, "frequency");
    return std::hypot(positive(loop_ohm, "resistance"), omega * not_negative(loop_h, "inductance")) /
           std::hypot(loop_ohm, omega * (loop_h + not_negative(added_h, "inductance")));
}

double isolator_ratio(double winding_f, double core_ohm, double shield_share, double frequency_hz) {
    if (!(shield_share > 0.0 && shield_share <= 1.0)) throw std::invalid_argument("coupling: a share lies above 0 and up to 1");
    const double driven = kTau * positive(frequency_hz, "frequency") * positive(winding_f, "capacitance") * positive(core_ohm, "resistance");
    return driven / std::hypot(1.0, driven) / shield_share;
}

double transformer_bass_db(double frequency_hz, double source_ohm, double load_ohm, double primary_h) {
    const double beside = positive(source_ohm, "resistance") * positive(load_ohm, "load") / (source_ohm + load_ohm);
    const double corner_hz = beside / (kTau * positive(primary_h, "inductance"));
    const double below = corner_hz / positive(frequency_hz, "frequency");
    return -10.0 * std::log10(1.0 + below * below);
}

double differential_residue(double unbalance_ohm, double common_mode_ohm) {
    return not_negative(unbalance_ohm, "unbalance") / (positive(common_mode_ohm, "impedance") + unbalance_ohm);
}

double shield_share(double shield_ohm, double loop_ohm, double loop_h, double frequency_hz) {
    if (positive(shield_ohm, "resistance") > positive(loop_ohm, "resistance"))
        throw std::invalid_argument("coupling: the shield is a part of its loop");
    return shield_ohm / std::hypot(loop_ohm, kTau * positive(frequency_hz, "frequency") * not_negative(loop_h, "inductance"));
}

}  // namespace hushtrace
