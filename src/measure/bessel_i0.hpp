#pragma once

namespace hushtrace {

/// I0(x), the modified Bessel function of order 0, to 1e-14 of it; x from 0. std::cyl_bessel_i goes by std::lgamma, which leaves a sign in a place
/// that all threads share. Abramowitz and Stegun, Handbook of Mathematical Functions, 9.6.12 and 9.7.1.
double bessel_i0(double x);

}  // namespace hushtrace
