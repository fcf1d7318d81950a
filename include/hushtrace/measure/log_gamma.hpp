#pragma once

namespace hushtrace {

/// ln |Gamma(x)| as std::lgamma gives it. That one leaves the sign in a place that all threads share, and analyses run in several.
double log_gamma(double x);

/// ln of the number of ways to choose k of n; n, k and n - k not below 0, whole or not.
double log_choose(double n, double k);

}  // namespace hushtrace
