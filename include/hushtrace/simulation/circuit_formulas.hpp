#pragma once
#include <array>

/// The formulas by which the simulated vehicle couples its currents into the signal. SI units throughout.
///
///   [Paul]   Paul 2006, Introduction to Electromagnetic Compatibility, ch. 4
///   [Ott]    Ott 2009, Electromagnetic Compatibility Engineering, ch. 2 and 3
///   [Bridge] theory of the ideal three-phase bridge (any text on power electronics)
namespace hushtrace::simulated {

/// Mutual inductance per metre of two wires over a return plane, [Paul], image method: mu0/(4 pi) ln(1 + 4 h1
/// h2 / D^2), D the straight distance between the wires. [m, m, m] to [H/m]
double mutual_inductance_over_plane(double height_1_m, double height_2_m, double distance_m);

/// Mutual inductance per metre of a long wire and a coplanar loop between the distances a and b from it,
/// [Ott]: mu0/(2 pi) ln(b/a). [m, m] to [H/m]
double mutual_inductance_wire_to_loop(double near_m, double far_m);

/// External inductance per metre of a round wire over a return plane, [Paul]: mu0/(2 pi) acosh(h/r). A wire
/// that touches the plane counts as lying its own insulation's 10 % of a radius above it. [m, m] to [H/m]
double inductance_over_plane(double height_m, double radius_m);

/// Resistance of a copper or clad-aluminium conductor [ohm]: rho l / A with rho = 1.7241e-8 ohm m at 20 C
/// (IACS) and 0.00393 per kelvin; clad aluminium conducts 62.9 % of that (ASTM B566, class of 10 % copper).
double wire_resistance_ohm(double length_m, double area_mm2, double temperature_c, bool clad_aluminium);

/// Peak of the line at order 6 n of a bridge's output over its mean, [Bridge]: 2 / ((6 n)^2 - 1), 5.714 % for
/// n = 1.
double bridge_line_over_mean(int n);

/// Peak of an alternator's order-6 ripple current [A] at an output current [A] and phase frequency [Hz]. In
/// proportion to the output by [Bridge] when the diodes conduct without a gap; below about a third of the
/// output the ripple stays at what the phase inductance lets through, 300 A Hz over the phase frequency
/// (fitted to simulated bridges with 60 uH and 20 mohm a phase: 1.6 A at 180 Hz, 0.6 A at 500 Hz).
double alternator_ripple_a(double output_a, double phase_frequency_hz);

/// Peaks of the orders 1, 2, 3, 4, 6, 12 of a faulty three-phase alternator's output current over its mean,
/// from the same simulated bridges, and the share of its rated output that is left.
struct FaultOrders {
    std::array<int, 6> orders;
    std::array<double, 6> over_mean;
    double output_share;
};
FaultOrders diode_open_orders();
FaultOrders phase_open_orders();

/// Order 2 of an alternator with one phase weak: -23 dB re the mean output for 10 %, in proportion below.
/// [percent]
double unbalance_over_mean(double weak_percent);

}  // namespace hushtrace::simulated
