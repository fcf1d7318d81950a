#include "complex_transform.hpp"

namespace hushtrace {

ComplexTransform::ComplexTransform(std::size_t length)
    : transform_(length, false), real_(length), imag_(length), packed_(length), turned_(length) {}

void ComplexTransform::forward() {
    for (std::size_t i = 0; i < packed_.size(); ++i) packed_[i] = {real_[i], imag_[i]};
    transform_.transform(packed_.data(), turned_.data());
    for (std::size_t i = 0; i < turned_.size(); ++i) {
        real_[i] = turned_[i].real();
        imag_[i] = turned_[i].imag();
    }
}

}  // namespace hushtrace
