#pragma once
#include <cstddef>
#include <optional>
#include <vector>

#include "hushtrace/report/comparison.hpp"

/// When a difference counts.
namespace hushtrace::comparison {

/// Two-sided quantile of the normal distribution: 1.95996 for 0.05 outside.
double normal_limit(double outside);
/// The same of Student's t with so many degrees of freedom (1 or more): 4.303 for 0.05 and 2.
///   source  Abramowitz, Stegun 26.7.3 and 26.7.4, solved by bisection
double student_limit(double outside, std::size_t freedom);

/// The scatter of repeats about their groups' means, pooled.
struct Scatter {
    double sd = 0;
    std::size_t freedom = 0;
};
Scatter pooled(const std::vector<std::vector<double>>& groups);

enum class Better { lower, higher, neither };

/// A pair of means to be judged; sd is that of a mean, without what cancels between the sides.
struct Trial {
    ComparedFigure before, after;
    std::size_t before_takes = 1, after_takes = 1;
    double common_sd = 0;            ///< of scales that were set separately
    double repeatability = 0;        ///< two standard uncertainties of a difference
    double outside = 0.05;           ///< chance of a false change; less where many are looked at once
    double extra = 0;                ///< what else may have moved it, added as it is
    std::optional<Scatter> scatter;  ///< of repeats; from two degrees of freedom on it takes the repeatability's place
    Better better = Better::lower;
};
struct Judged {
    ChangeVerdict verdict = ChangeVerdict::unchanged;
    double difference = 0, limit = 0, sd = 0;
    bool at_least = false, from_takes = false, hidden = false;  ///< hidden: bounds leave it open
};
Judged judge(const Trial& trial);

}  // namespace hushtrace::comparison
