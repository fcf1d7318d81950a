#pragma once

/// How noise couples, and what cures take away, as the analysis reckons it. SI units; ratios are of amplitudes, below 1 where it is quieter.
///
///   [Ott]   Ott 2009, Electromagnetic Compatibility Engineering: ch. 2 (cabling), ch. 3 (grounding), ch. 4 (balancing and filtering)
///   [Paul]  Paul 2006, Introduction to Electromagnetic Compatibility, ch. 4 (wires, image method)
///
/// All throw std::invalid_argument for lengths, ohms or frequencies that aren't finite and above 0 (where 0 is allowed, it says so).
namespace hushtrace {

/// Mutual inductance of two parallel wires over a conducting plane [H/m], heights and straight distance in m:
/// mu0/(4 pi) ln(1 + 4 h1 h2 / d^2). The wires' radii are taken to be small against the distance. [Paul]
double mutual_over_plane_h_per_m(double height_1_m, double height_2_m, double distance_m);
/// Mutual inductance of a long wire and a narrow loop in its plane, from `near` to `far` of it [H/m]: mu0/(2 pi) ln(far/near),
/// about 1/distance for a loop much narrower than that. far >= near. [Ott]
double mutual_to_narrow_loop_h_per_m(double near_m, double far_m);

/// Inductance of a wire or a shield over a conducting plane [H/m]: mu0/(2 pi) acosh(h/r), h > r. [Paul]
double inductance_over_plane_h_per_m(double height_m, double radius_m);

/// A coil and a capacitor in a supply lead, as bought: second order, with what damps it.
struct SupplyFilter {
    double coil_h = 1e-3, coil_ohm = 0.1;            ///< 1 mH: what shops sell for sources up to some 5 A (common practice, no source)
    double capacitor_f = 2200e-6, capacitor_ohm = 0.05;
    double load_ohm = 8;                             ///< of what it feeds: 12 V over 1.5 A
    double corner_hz() const;                        ///< 1 / (2 pi sqrt(L C))
};
/// Ripple behind the filter over that before it, from a stiff supply; above 1 near the corner. [Ott] ch. 4, circuit theory
double supply_filter_ratio(const SupplyFilter& filter, double frequency_hz);

/// Current in a branch of R, L and C in series after a coil was put into it, over that before: above 1 where the coil tunes it. L may be 0.
double added_coil_ratio(double branch_ohm, double branch_h, double branch_f, double coil_h, double frequency_hz);
/// Current in a loop of R and L after an impedance of `added_h` was put round its lead (a clip-on core has about 1 uH a turn at audio
/// frequencies, 6 milliohm at 1 kHz: common practice, no source), over that before. loop_h may be 0.
double ferrite_ratio(double loop_ohm, double loop_h, double added_h, double frequency_hz);

/// What crosses a transformer's winding capacitance when it opens a shield: the ground difference drives j w C into what ends the core, where
/// before a share `shield_share` (0..1) of it stood in series with the signal. The ratio of the two.
double isolator_ratio(double winding_f, double core_ohm, double shield_share, double frequency_hz);
/// A transformer's loss at a low frequency [dB, 0 or negative]: a high-pass at R/(2 pi L), with R of source and windings beside the load.
double transformer_bass_db(double frequency_hz, double source_ohm, double load_ohm, double primary_h);

/// What a differential input lets through of a ground difference: the unbalance of the source's two legs over the input's impedance to ground
/// (0 unbalance: 0). [Ott] ch. 4
double differential_residue(double unbalance_ohm, double common_mode_ohm);

/// Share of a loop's voltage that stands on the shield, in series with the signal: R_shield / |R_loop + j w L|. shield_ohm <= loop_ohm. [Ott] ch. 3
double shield_share(double shield_ohm, double loop_ohm, double loop_h, double frequency_hz);

}  // namespace hushtrace
