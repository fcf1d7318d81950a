#include "hushtrace/vehicle/hearing.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace hushtrace {
namespace {

struct Point {
    double frequency_hz, db_spl;
};
constexpr std::array<Point, 36> kThreshold = {{
    {20, 78.5},   {25, 68.7},   {31.5, 59.5}, {40, 51.1},    {50, 44.0},    {63, 37.5},    {80, 31.5},    {100, 26.5},
    {125, 22.1},  {160, 17.9},  {200, 14.4},  {250, 11.4},   {315, 8.6},    {400, 6.2},    {500, 4.4},    {630, 3.0},
    {750, 2.4},   {800, 2.2},   {1000, 2.4},  {1250, 3.5},   {1500, 2.4},   {1600, 1.7},   {2000, -1.3},  {2500, -4.2},
    {3000, -5.8}, {3150, -6.0}, {4000, -5.4}, {5000, -1.5},  {6000, 4.3},   {6300, 6.0},   {8000, 12.6},  {9000, 13.9},
    {10000, 13.9}, {11200, 13.0}, {12500, 12.3}, {14000, 18.4}}};
constexpr Point kLast = {16000, 40.2};

struct CabinLine {
    double at_2khz_db_spl, per_octave_db;
};
CabinLine line_of(Cabin cabin) {
    switch (cabin) {
        case Cabin::engine_off: return {14.9, -4.0};
        case Cabin::idling: return {21.5, -7.0};
        case Cabin::driving: return {40.4, -6.0};
    }
    return {};
}

double power(double level_db) { return std::pow(10.0, level_db / 10.0); }

}  // namespace

double hearing_threshold_db_spl(double frequency_hz) {
    const double f = std::clamp(frequency_hz, kThreshold.front().frequency_hz, kLast.frequency_hz);
    const auto above = std::find_if(kThreshold.begin(), kThreshold.end(), [f](const Point& p) { return p.frequency_hz >= f; });
    if (above == kThreshold.begin()) return above->db_spl;
    const Point& right = above == kThreshold.end() ? kLast : *above;
    const Point& left = *(above - 1);
    const double part = std::log(f / left.frequency_hz) / std::log(right.frequency_hz / left.frequency_hz);
    return left.db_spl + part * (right.db_spl - left.db_spl);
}

double erb_hz(double frequency_hz) { return 24.7 * (4.37 * frequency_hz / 1000.0 + 1.0); }

double cabin_third_octave_db_spl(Cabin cabin, double frequency_hz) {
    const auto level = [frequency_hz](Cabin one) {
        const CabinLine line = line_of(one);
        return line.at_2khz_db_spl + line.per_octave_db * std::log2(frequency_hz / 2000.0);
    };
    // an engine that idles makes no band quieter
    return cabin == Cabin::idling ? std::max(level(cabin), level(Cabin::engine_off)) : level(cabin);
}

double audible_from_db_spl(Cabin cabin, double frequency_hz) {
    const double third_octave_hz = frequency_hz * (std::pow(10.0, 0.05) - std::pow(10.0, -0.05));  // IEC 61260-1, base ten
    const double in_filter_db =
        cabin_third_octave_db_spl(cabin, frequency_hz) + 10.0 * std::log10(erb_hz(frequency_hz) / third_octave_hz);
    const double index_db = -2.0 - std::log10(1.0 + std::pow(frequency_hz / 502.0, 2.5));
    return 10.0 * std::log10(power(in_filter_db + index_db) + power(hearing_threshold_db_spl(frequency_hz)));
}

}  // namespace hushtrace
