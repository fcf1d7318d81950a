#pragma once
#include <cstddef>
#include <memory>
#include <vector>

#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {

// Transforms and windows are kept for the next call: a curve's plateaus are mostly read over the same length, and setting both
// up costs more than using them. A few are kept at a time, for all threads together: what a thread kept for itself it would
// have to clear away when it ends, for which mingw-w64 gives up the memory first (https://github.com/msys2/MINGW-packages/issues/2519).

/// A transform of this length, its own as long as it lives.
class KeptTransform {
public:
    explicit KeptTransform(std::size_t length);
    ~KeptTransform();
    KeptTransform(const KeptTransform&) = delete;
    KeptTransform& operator=(const KeptTransform&) = delete;
    RealTransform* operator->() { return transform_.get(); }

private:
    std::unique_ptr<RealTransform> transform_;
};

/// window_samples(kind, length).
std::shared_ptr<const std::vector<double>> kept_window(WindowKind kind, std::size_t length);

}  // namespace hushtrace
