#pragma once
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace hushtrace {

/// ln of how much likelier a line makes this power than noise alone does (u: over the noise's mean). The line's strength
/// is not known: 3, 9, 15 and 21 dB over the noise in these bins, each as likely. Powers of adjoining Hann bins go together,
/// so that three of them have 1.87 degrees of freedom (in pairs).
class LineOdds {
public:
    explicit LineOdds(double share_without) {
        constexpr double freedom = 1.87;
        for (std::size_t i = 0; i < table_.size(); ++i) {
            const double u = static_cast<double>(i) / steps_a_unit;
            double sum = 0;
            for (const double over : {2.0, 8.0, 32.0, 128.0})
                sum += 0.25 * std::exp(std::min(80.0, freedom * (u * over / (1.0 + over) - std::log1p(over))));
            table_[i] = std::clamp(std::log(share_without + (1.0 - share_without) * sum), -3.0, 10.0);
        }
    }
    double of(double u) const { return table_[std::min(table_.size() - 1, static_cast<std::size_t>(std::max(0.0, u) * steps_a_unit))]; }

private:
    static constexpr double steps_a_unit = 16.0;
    std::array<double, 512> table_{};
};

}  // namespace hushtrace
