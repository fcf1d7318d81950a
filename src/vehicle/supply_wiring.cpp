#include "hushtrace/vehicle/supply_wiring.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <vector>

namespace hushtrace {
namespace {

double positive(double value, const char* what) {
    if (!std::isfinite(value) || value <= 0.0) throw std::invalid_argument(std::string("supply wiring: ") + what + " must be above 0");
    return value;
}

struct Material {
    double resistivity_ohm_m, per_kelvin;
};
Material material_of(Conductor conductor) {
    if (conductor == Conductor::copper) return {1.7241e-8, 0.00393};  // [60028]
    return {2.743e-8, 0.00405};                                      // [B566]
}

struct FuseRow {
    int awg;
    double fuse_a;
};
constexpr std::array<FuseRow, 6> kLargestFuses = {{{kThinnestRated_awg, 30}, {8, 55}, {6, 80}, {4, 135}, {2, 215}, {0, 345}}};
/// Heat goes with the square of the current: aluminium with copper round it has 63 % of copper's conductance.
double carries(Conductor conductor) {
    return conductor == Conductor::copper ? 1.0 : std::sqrt(0.63);
}
constexpr double kRounded = 0.015;  // what rounding may take off an area: 8.37 for 8.366, 21 for 21.15

std::vector<CableSize> make_sizes() {
    std::vector<CableSize> sizes;
    for (const int awg : {kThinnestRated_awg, 8, 6, 4, 2, 0, -1, -2, -3}) sizes.push_back({gauge_area_mm2(awg), awg});
    for (const double area : {6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0}) sizes.push_back({area, {}});
    std::sort(sizes.begin(), sizes.end(), [](const CableSize& a, const CableSize& b) { return a.area_mm2 < b.area_mm2; });
    return sizes;
}

constexpr std::array<double, 32> kFuses = {1,  2,   3,   4,   5,   7.5, 10,  15,  20,  25,  30,  35,  40,  50,  60,  70, 80,
                                           100, 120, 125, 140, 150, 175, 200, 225, 250, 275, 300, 350, 400, 450, 500};

}  // namespace

double gauge_area_mm2(int awg) {
    const double diameter_mm = 0.127 * std::pow(92.0, (36.0 - awg) / 39.0);
    return 0.25 * std::numbers::pi * diameter_mm * diameter_mm;
}

std::optional<int> nearest_gauge(double area_mm2) {
    positive(area_mm2, "area");
    const double exact = 36.0 - 39.0 * std::log(std::sqrt(4.0 * area_mm2 / std::numbers::pi) / 0.127) / std::log(92.0);
    if (!(exact > -4.0 && exact < 41.0)) return std::nullopt;
    const int awg = std::max(-3, static_cast<int>(std::lround(exact)));
    const double ratio = area_mm2 / gauge_area_mm2(awg);
    return ratio > 0.88 && ratio < 1.12 ? std::optional(awg) : std::nullopt;
}

std::string gauge_name(int awg) {
    return awg > 0 ? fmt::format("{} AWG", awg) : fmt::format("{}/0 AWG", 1 - awg);
}

std::string CableSize::name() const {
    return awg ? fmt::format("{} ({:.3g} mm2)", gauge_name(*awg), area_mm2) : fmt::format("{:g} mm2", area_mm2);
}

std::span<const CableSize> cable_sizes() {
    static const std::vector<CableSize> sizes = make_sizes();
    return sizes;
}

double resistivity_ohm_m(Conductor conductor, double temperature_c) {
    if (!std::isfinite(temperature_c) || temperature_c < kLeastCable_c || temperature_c > kMostCable_c)
        throw std::invalid_argument("supply wiring: a cable's temperature lies between -60 and 200 C");
    const Material material = material_of(conductor);
    return material.resistivity_ohm_m * (1.0 + material.per_kelvin * (temperature_c - 20.0));
}

double cable_ohm_per_m(double area_mm2, Conductor conductor, double temperature_c) {
    return resistivity_ohm_m(conductor, temperature_c) / (1e-6 * positive(area_mm2, "area"));
}

double area_for_drop_mm2(double length_m, double current_a, double drop_v, Conductor conductor, double temperature_c) {
    return 1e6 * resistivity_ohm_m(conductor, temperature_c) * positive(length_m, "length") * positive(current_a, "current") /
           positive(drop_v, "drop");
}

std::optional<CableRating> largest_fuse(double area_mm2, Conductor conductor) {
    positive(area_mm2, "area");
    std::optional<CableRating> found;
    for (const FuseRow& row : kLargestFuses) {
        const double row_mm2 = gauge_area_mm2(row.awg);
        if (area_mm2 < (1.0 - kRounded) * row_mm2) break;
        found = CableRating{row.fuse_a * carries(conductor), area_mm2 > (1.0 + kRounded) * row_mm2, row_mm2};
    }
    return found;
}

std::optional<double> area_for_fuse_mm2(double fuse_a, Conductor conductor) {
    positive(fuse_a, "fuse");
    for (const FuseRow& row : kLargestFuses)
        if (fuse_a <= row.fuse_a * carries(conductor)) return gauge_area_mm2(row.awg);
    return std::nullopt;
}

std::span<const double> fuse_ratings_a() {
    return kFuses;
}

std::optional<double> fuse_for(double current_a) {
    positive(current_a, "current");
    for (const double rating : fuse_ratings_a())
        if (rating >= current_a) return rating;
    return std::nullopt;
}

double charging_v(double supply_v) {
    return positive(supply_v, "supply voltage") / 12.0 * 14.0;
}

double draw_of_power_a(double power_w, double supply_v) {
    return 2.0 * positive(power_w, "power") / charging_v(supply_v);
}

}  // namespace hushtrace
