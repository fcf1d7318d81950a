#pragma once
#include <cstddef>
#include <vector>

#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {

/// A transform and a window of this length, kept for the next call of the thread: a curve's plateaus are
/// mostly read over the same length, and setting both up costs more than using them. A few lengths are kept
/// at a time; a reference holds until the next call for another length.
RealTransform& kept_transform(std::size_t length);
const std::vector<double>& kept_window(WindowKind kind, std::size_t length);

}  // namespace hushtrace
