#include "hushtrace/measure/log_gamma.hpp"

#include <cmath>

namespace hushtrace {

double log_gamma(double x) {
#ifdef __GLIBC__
    int sign = 0;
    return ::lgamma_r(x, &sign);
#else
    return std::lgamma(x);
#endif
}

double log_choose(double n, double k) {
    return log_gamma(n + 1.0) - log_gamma(k + 1.0) - log_gamma(n - k + 1.0);
}

}  // namespace hushtrace
