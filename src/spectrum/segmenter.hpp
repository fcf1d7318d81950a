#pragma once
#include <algorithm>
#include <cstddef>
#include <span>
#include <vector>

namespace hushtrace {

/// Cuts a stream into overlapping segments of one length; holds one segment, whatever the stream's length.
class Segmenter {
public:
    Segmenter(std::size_t length, std::size_t hop) : hop_(hop), held_(length) {}

    /// Calls visit(segment) for each segment that the samples complete.
    template <class Visit> void add(std::span<const double> samples, Visit visit) {
        const std::span<const double> all = samples;
        while (!samples.empty()) {
            if (skip_ > 0) {   // a hop longer than the segment
                const std::size_t left_out = std::min(skip_, samples.size());
                skip_ -= left_out;
                samples = samples.subspan(left_out);
                continue;
            }
            while (filled_ == 0 && samples.size() >= held_.size()) {   // a whole segment needs no copy
                visit(samples.first(held_.size()));
                const std::size_t passed = std::min(hop_, samples.size());
                skip_ = hop_ - passed;
                samples = samples.subspan(passed);
            }
            const std::size_t taken = std::min(held_.size() - filled_, samples.size());
            std::copy_n(samples.begin(), taken, held_.begin() + static_cast<std::ptrdiff_t>(filled_));
            filled_ += taken;
            samples = samples.subspan(taken);
            if (filled_ < held_.size()) return;
            visit(std::span<const double>(held_));
            const std::size_t used = all.size() - samples.size();
            if (hop_ < held_.size() && used >= held_.size() - hop_) {   // what overlaps is still at hand
                samples = all.subspan(used - (held_.size() - hop_));
                filled_ = 0;
            } else if (hop_ < held_.size()) {
                std::copy(held_.begin() + static_cast<std::ptrdiff_t>(hop_), held_.end(), held_.begin());
                filled_ = held_.size() - hop_;
            } else {
                filled_ = 0;
                skip_ = hop_ - held_.size();
            }
        }
    }

private:
    std::size_t hop_, filled_ = 0, skip_ = 0;
    std::vector<double> held_;
};

}  // namespace hushtrace
