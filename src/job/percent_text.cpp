#include "hushtrace/job/percent_text.hpp"

#include <fmt/format.h>

#include <cmath>

namespace hushtrace {

std::string percent_text(double percent) {
    if (!(std::abs(percent) < 99.5)) return fmt::format("{:.0f} %", percent);
    if (percent != 0 && std::abs(percent) < 0.0001) return "under 0.0001 %";
    return fmt::format("{:.2g} %", percent);
}

}  // namespace hushtrace
