#pragma once
#include <optional>
#include <span>
#include <string>

#include "hushtrace/signal/conditions.hpp"

/// Cables and fuses of the supply: sizes, resistance, what they carry. Copper unless said otherwise; lengths in m, areas in mm^2, 20 C where
/// no temperature is asked for.
///
///   [B258]  ASTM B258: diameter of a gauge number
///   [60028] IEC 60028, IEC 60287-1-1 table 1: resistivity 1.7241e-8 ohm m at 20 C, 0.00393 per kelvin
///   [B566]  ASTM B566: copper-clad aluminium, class 10A (from memory)
///   [8820]  ISO 8820-3, -4, -5: sizes of fuses
///
/// Functions of lengths, areas and currents throw std::invalid_argument for what isn't finite and above 0.
namespace hushtrace {

/// Copper's area of a gauge number [mm^2]: d = 0.127 * 92^((36 - n)/39) mm. 0 is 1/0, -3 is 4/0. [B258]
double gauge_area_mm2(int awg);
/// The gauge whose copper comes nearest to an area, if it does so within 12 % (cables sold by gauge often have that much less), and its
/// name: "4 AWG", "1/0 AWG".
std::optional<int> nearest_gauge(double area_mm2);
std::string gauge_name(int awg);

/// A conductor that can be bought.
struct CableSize {
    double area_mm2 = 0;
    std::optional<int> awg;   ///< unset for a metric one
    std::string name() const; ///< "4 AWG (21.2 mm2)", "25 mm2"
};
/// Gauges 10 to 4/0 (even ones, and 1/0 to 4/0) and the metric sizes of ISO 6722-1 from 6 to 120 mm^2, ascending. What is thinner than the
/// table of largest fuses isn't among them.
std::span<const CableSize> cable_sizes();

/// Between these a cable's temperature may lie [C].
inline constexpr double kLeastCable_c = -60, kMostCable_c = 200;

/// [ohm m]; linear in temperature; throws std::invalid_argument beyond those two. [60028] [B566]
double resistivity_ohm_m(Conductor conductor, double temperature_c);
/// Of one conductor. Strands run longer than the cable (about 2 %) and many cables hold less metal than their print: this is the nominal value.
double cable_ohm_per_m(double area_mm2, Conductor conductor, double temperature_c);
/// Smallest area that keeps a drop over a length [mm^2]: rho l I / U.
double area_for_drop_mm2(double length_m, double current_a, double drop_v, Conductor conductor, double temperature_c);

/// The thinnest row of the table of largest fuses.
inline constexpr int kThinnestRated_awg = 10;
/// The largest fuse that a cable of this area may stand behind [A].
struct CableRating {
    double fuse_a = 0;
    bool between_rows = false;   ///< the table has no row for this size (within 1.5 %): the next thinner row holds
    double row_area_mm2 = 0;     ///< the row that was used
};
/// A shop table of largest fuses for copper cables from 10 AWG to 1/0 AWG (common practice, no source); copper-clad aluminium carries sqrt(0.63)
/// of it for the same heat. A row holds for areas that are 1.5 % less too: figures are rounded, 8.37 for 8.366. Nothing for a cable thinner
/// than its first row (5.26 mm^2); beyond its last (53.5 mm^2) the last row holds.
std::optional<CableRating> largest_fuse(double area_mm2, Conductor conductor);
/// The thinnest row of that table whose cable may stand behind such a fuse [mm^2]; nothing beyond its end.
std::optional<double> area_for_fuse_mm2(double fuse_a, Conductor conductor);

/// Ratings that fuses for supply cables and their branches are made in [A], ascending, every one of [8820] and of the bolt-down kinds sold for
/// amplifiers (common practice, no source).
std::span<const double> fuse_ratings_a();
/// The smallest rating not below a current; nothing beyond the largest (500 A).
std::optional<double> fuse_for(double current_a);

/// Charging voltage of a 12 V or 24 V supply [V]: 14 or 28 (common practice, no source).
double charging_v(double supply_v);
/// What an amplifier may draw at most [A], where its power alone is known: twice that over the charging voltage (half becomes sound: common
/// practice, no source).
double draw_of_power_a(double power_w, double supply_v);

}  // namespace hushtrace
