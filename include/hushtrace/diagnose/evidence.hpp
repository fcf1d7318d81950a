#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace hushtrace {

/// One measured fact that speaks for or against something.
struct Evidence {
    std::string text;                  ///< one sentence in plain words
    double value = 0;
    std::string unit;                  ///< "dB", "Hz", ...
    std::optional<double> sd;
    std::vector<std::string> takes;    ///< a take is its `file`
    std::vector<std::size_t> observations;
};

}  // namespace hushtrace
