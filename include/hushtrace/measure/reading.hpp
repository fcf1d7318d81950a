#pragma once
#include <string_view>

namespace hushtrace {

/// What keeps a reading from being better than it is.
enum class LimitedBy {
    nothing,    ///< of what the set-up could change
    interface,  ///< the measuring interface's own noise or distortion hides what is below
    length,     ///< a longer take would narrow it
    noise       ///< noise in the path covers what is below
};
constexpr std::string_view to_word(LimitedBy limit) {
    return limit == LimitedBy::interface ? "interface" : limit == LimitedBy::length ? "length" :
           limit == LimitedBy::noise ? "noise" : "nothing";
}

/// A noise's level that averaging alone leaves unsure by more than 0.5 dB asks for a longer take.
///   relative_sd  of a power
constexpr LimitedBy limit_of_averaging(double relative_sd) {
    return relative_sd > 0.122018 ? LimitedBy::length : LimitedBy::nothing;  // 10^0.05 - 1
}

/// One figure of a measurement, in the unit that the name of the variable carries.
///   source  JCGM 100:2008 (GUM): standard uncertainty, coverage factor 2 for about 95 %
struct Reading {
    double value = 0;
    double sd = 0;  ///< standard uncertainty, same unit (a relative one of a power is stated in dB with a level)
    LimitedBy limited_by = LimitedBy::nothing;

    double low() const { return value - 2 * sd; }   ///< end of the 95 % interval
    double high() const { return value + 2 * sd; }
};

}  // namespace hushtrace
