#pragma once
#include <cmath>
#include <cstddef>
#include <vector>

namespace hushtrace {

/// Symmetric positive matrix, row by row.
struct Matrix {
    explicit Matrix(std::size_t size) : n(size), cell(size * size) {}
    double& at(std::size_t r, std::size_t c) { return cell[r * n + c]; }
    double at(std::size_t r, std::size_t c) const { return cell[r * n + c]; }
    std::size_t n;
    std::vector<double> cell;
};

/// Lower Cholesky factor in place; false where the matrix is singular to within `least` of its diagonal.
inline bool factor(Matrix& m, double least) {
    for (std::size_t c = 0; c < m.n; ++c) {
        for (std::size_t r = c; r < m.n; ++r) {
            double sum = m.at(r, c);
            for (std::size_t k = 0; k < c; ++k) sum -= m.at(r, k) * m.at(c, k);
            if (r == c) {
                if (!(sum > least * m.at(c, c))) return false;
                m.at(c, c) = std::sqrt(sum);
            } else {
                m.at(r, c) = sum / m.at(c, c);
            }
        }
    }
    return true;
}

/// Solves L L' x = right for the lower factor L.
inline std::vector<double> solve(const Matrix& lower, std::vector<double> x) {
    for (std::size_t r = 0; r < lower.n; ++r) {
        for (std::size_t k = 0; k < r; ++k) x[r] -= lower.at(r, k) * x[k];
        x[r] /= lower.at(r, r);
    }
    for (std::size_t r = lower.n; r-- > 0;) {
        for (std::size_t k = r + 1; k < lower.n; ++k) x[r] -= lower.at(k, r) * x[k];
        x[r] /= lower.at(r, r);
    }
    return x;
}

}  // namespace hushtrace
