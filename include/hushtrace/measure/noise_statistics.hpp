#pragma once
#include <cstddef>

/// How far noise alone goes: tails from which thresholds with a stated rate of false alarms follow. A surprise is
/// -ln(probability that noise alone reaches this); under noise alone it is distributed as exp(-x).
namespace hushtrace {

/// Surprise of a mean of `averages` exponentials that reads `ratio` times its noise, the noise itself being estimated
/// from a mean of `floor_averages` others: the F law with 2 averages and 2 floor_averages degrees of freedom.
///   ratio  0 and more; both counts above 0, not necessarily whole
///   source  Abramowitz and Stegun 26.6.2; the incomplete beta function by its continued fraction, 26.5.8
double surprise_of_ratio(double ratio, double averages, double floor_averages);

/// Surprise of a gamma variable of this shape and mean 1 that reads `ratio`.
///   source  Abramowitz and Stegun 6.5.31 (continued fraction) and 6.5.29 (series)
double surprise_of_gamma(double ratio, double shape);

/// Surprise of a sum of `count` surprises, of which each counts only by what it is above `least`: under noise alone
/// the sum is 0 or a binomially mixed gamma variable. Few high ones and many middling ones both stand out in it.
double surprise_of_sum(double sum, std::size_t count, double least);

/// Quantile of a mean of `averages` exponentials, by Wilson and Hilferty 1931: z standard deviations of a normal law.
double gamma_mean_quantile(double averages, double z);

}  // namespace hushtrace
