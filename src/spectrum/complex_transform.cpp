#include "complex_transform.hpp"

#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

#include "hushtrace/signal/wide_vectors.hpp"

namespace hushtrace {
namespace {

/// What one pass reads, writes and turns by.
struct Arrays {
    const double *real, *imag;
    double *to_real, *to_imag;
    const double *turn_real, *turn_imag;
};

template <std::size_t R> struct Points {
    double re[R], im[R];
};

[[gnu::always_inline]] inline void butterfly(Points<2>& p) {
    const double re = p.re[1], im = p.im[1];
    p.re[1] = p.re[0] - re, p.im[1] = p.im[0] - im;
    p.re[0] += re, p.im[0] += im;
}

[[gnu::always_inline]] inline void butterfly(Points<3>& p) {
    constexpr double half_root = 0.86602540378443864676;  // sin(2 pi / 3)
    const double sum_re = p.re[1] + p.re[2], sum_im = p.im[1] + p.im[2];
    const double off_re = half_root * (p.im[1] - p.im[2]), off_im = half_root * (p.re[2] - p.re[1]);
    const double mid_re = p.re[0] - 0.5 * sum_re, mid_im = p.im[0] - 0.5 * sum_im;
    p.re[0] += sum_re, p.im[0] += sum_im;
    p.re[1] = mid_re + off_re, p.im[1] = mid_im + off_im;
    p.re[2] = mid_re - off_re, p.im[2] = mid_im - off_im;
}

[[gnu::always_inline]] inline void butterfly(Points<4>& p) {
    const double a_re = p.re[0] + p.re[2], a_im = p.im[0] + p.im[2], b_re = p.re[0] - p.re[2], b_im = p.im[0] - p.im[2];
    const double c_re = p.re[1] + p.re[3], c_im = p.im[1] + p.im[3], d_re = p.im[1] - p.im[3], d_im = p.re[3] - p.re[1];
    p.re[0] = a_re + c_re, p.im[0] = a_im + c_im;
    p.re[1] = b_re + d_re, p.im[1] = b_im + d_im;
    p.re[2] = a_re - c_re, p.im[2] = a_im - c_im;
    p.re[3] = b_re - d_re, p.im[3] = b_im - d_im;
}

[[gnu::always_inline]] inline void butterfly(Points<5>& p) {
    constexpr double c1 = 0.30901699437494742410, c2 = -0.80901699437494742410;  // cos(2 pi / 5), cos(4 pi / 5)
    constexpr double s1 = 0.95105651629515357212, s2 = 0.58778525229247312917;   // sin(2 pi / 5), sin(4 pi / 5)
    const double a_re = p.re[1] + p.re[4], a_im = p.im[1] + p.im[4], b_re = p.re[1] - p.re[4], b_im = p.im[1] - p.im[4];
    const double c_re = p.re[2] + p.re[3], c_im = p.im[2] + p.im[3], d_re = p.re[2] - p.re[3], d_im = p.im[2] - p.im[3];
    const double e_re = p.re[0] + c1 * a_re + c2 * c_re, e_im = p.im[0] + c1 * a_im + c2 * c_im;
    const double f_re = p.re[0] + c2 * a_re + c1 * c_re, f_im = p.im[0] + c2 * a_im + c1 * c_im;
    const double g_re = s1 * b_im + s2 * d_im, g_im = -s1 * b_re - s2 * d_re;
    const double h_re = s2 * b_im - s1 * d_im, h_im = s1 * d_re - s2 * b_re;
    p.re[0] += a_re + c_re, p.im[0] += a_im + c_im;
    p.re[1] = e_re + g_re, p.im[1] = e_im + g_im;
    p.re[2] = f_re + h_re, p.im[2] = f_im + h_im;
    p.re[3] = f_re - h_re, p.im[3] = f_im - h_im;
    p.re[4] = e_re - g_re, p.im[4] = e_im - g_im;
}

/// One point of each of the parts, transformed and turned; the next pass finds them side by side.
template <std::size_t R>
[[gnu::always_inline]] inline void one(const Arrays& a, std::size_t rest, std::size_t stride, std::size_t i, std::size_t k) {
    Points<R> p;
    for (std::size_t r = 0; r < R; ++r) {
        p.re[r] = a.real[k + stride * (i + rest * r)];
        p.im[r] = a.imag[k + stride * (i + rest * r)];
    }
    butterfly(p);
    a.to_real[k + stride * R * i] = p.re[0];
    a.to_imag[k + stride * R * i] = p.im[0];
    for (std::size_t r = 1; r < R; ++r) {
        const double c = a.turn_real[(r - 1) * rest + i], s = a.turn_imag[(r - 1) * rest + i];
        a.to_real[k + stride * (R * i + r)] = p.re[r] * c - p.im[r] * s;
        a.to_imag[k + stride * (R * i + r)] = p.re[r] * s + p.im[r] * c;
    }
}

/// The inner loop, which becomes vector code, runs over whatever lies side by side: the places first, later the repeats.
template <std::size_t R>
[[gnu::always_inline]] inline void pass_of(const Arrays& a, std::size_t rest, std::size_t stride) {
    if (stride == 1) {
        HUSHTRACE_APART
        for (std::size_t i = 0; i < rest; ++i) one<R>(a, rest, 1, i, 0);
        return;
    }
    if (stride == 4) {  // short rows of a known length need no loop
        for (std::size_t i = 0; i < rest; ++i) {
            HUSHTRACE_APART
            for (std::size_t k = 0; k < 4; ++k) one<R>(a, rest, 4, i, k);
        }
        return;
    }
    for (std::size_t i = 0; i < rest; ++i) {
        HUSHTRACE_APART
        for (std::size_t k = 0; k < stride; ++k) one<R>(a, rest, stride, i, k);
    }
}

HUSHTRACE_WIDE_VECTORS void pass2(const Arrays a, std::size_t rest, std::size_t stride) { pass_of<2>(a, rest, stride); }
HUSHTRACE_WIDE_VECTORS void pass3(const Arrays a, std::size_t rest, std::size_t stride) { pass_of<3>(a, rest, stride); }
HUSHTRACE_WIDE_VECTORS void pass4(const Arrays a, std::size_t rest, std::size_t stride) { pass_of<4>(a, rest, stride); }
HUSHTRACE_WIDE_VECTORS void pass5(const Arrays a, std::size_t rest, std::size_t stride) { pass_of<5>(a, rest, stride); }

/// Fours first, so that the passes after the first find long rows. Empty where another factor is left.
std::vector<std::size_t> radices_of(std::size_t length) {
    std::vector<std::size_t> radices;
    for (const std::size_t radix : std::array<std::size_t, 4>{4, 2, 3, 5})
        for (; length % radix == 0; length /= radix) radices.push_back(radix);
    if (length != 1) radices.clear();
    return radices;
}

}  // namespace

ComplexTransform::ComplexTransform(std::size_t length) : real_(length), imag_(length) {
    const std::vector<std::size_t> radices = radices_of(length);
    if (radices.empty() && length > 1) {
        other_.emplace(length, false);
        packed_.resize(length);
        turned_.resize(length);
        return;
    }
    next_real_.resize(length);
    next_imag_.resize(length);
    std::size_t stride = 1;
    for (const std::size_t radix : radices) {
        Pass pass{radix, length / (stride * radix), stride, {}, {}};
        for (std::size_t r = 1; r < radix; ++r)
            for (std::size_t i = 0; i < pass.rest; ++i) {
                const double angle = 2.0 * std::numbers::pi * static_cast<double>(r * i) / static_cast<double>(radix * pass.rest);
                pass.turn_real.push_back(std::cos(angle));
                pass.turn_imag.push_back(-std::sin(angle));
            }
        passes_.push_back(std::move(pass));
        stride *= radix;
    }
}

void ComplexTransform::run(const Pass& pass) {
    const Arrays arrays{real_.data(), imag_.data(), next_real_.data(), next_imag_.data(), pass.turn_real.data(), pass.turn_imag.data()};
    switch (pass.radix) {
        case 2: pass2(arrays, pass.rest, pass.stride); break;
        case 3: pass3(arrays, pass.rest, pass.stride); break;
        case 4: pass4(arrays, pass.rest, pass.stride); break;
        default: pass5(arrays, pass.rest, pass.stride);
    }
    real_.swap(next_real_);
    imag_.swap(next_imag_);
}

void ComplexTransform::forward() {
    if (!other_) {
        for (const Pass& pass : passes_) run(pass);
        return;
    }
    for (std::size_t i = 0; i < packed_.size(); ++i) packed_[i] = {real_[i], imag_[i]};
    other_->transform(packed_.data(), turned_.data());
    for (std::size_t i = 0; i < packed_.size(); ++i) {
        real_[i] = turned_[i].real();
        imag_[i] = turned_[i].imag();
    }
}

}  // namespace hushtrace
