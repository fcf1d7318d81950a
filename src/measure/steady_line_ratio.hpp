#pragma once
#include <cstddef>
#include <vector>

namespace hushtrace {

/// How much better a steady line explains a bin's power r (over the noise's) than noise alone does: exp(-s) I0(2 sqrt(s r))
/// for a line of power s; its mean is 1 where there is noise alone. Tabulated over r.
class SteadyLineRatio {
public:
    explicit SteadyLineRatio(double snr);
    /// 1 for a bin of which nothing is known (r below 0)
    void of(const float* r, float* out, std::size_t count) const;

private:
    std::vector<float> table_;
};

}  // namespace hushtrace
