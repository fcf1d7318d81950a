#pragma once
#include <cstdint>
#include <limits>

#include "hushtrace/signal/block.hpp"

/// A tone file's markers are no noise of the vehicle: takes that were made with one are read between them.
namespace hushtrace {

/// A stretch of a take, in frames.
struct Part {
    std::uint64_t from = 0, to = std::numeric_limits<std::uint64_t>::max();
};

/// The longest stretch without a marker; all of it where none is found. Reads `sound` to its end. (A marker is a chirp
/// far above the near-silence that a noise take is made with.)
Part between_markers(BlockReader& sound);

/// A take read from one frame to another.
class PartReader final : public BlockReader {
public:
    PartReader(BlockReader& sound, const Part& part) : sound_(sound), part_(part) {}
    double sample_rate_hz() const override { return sound_.sample_rate_hz(); }
    std::size_t channels() const override { return sound_.channels(); }
    std::size_t read(Block& into, std::size_t most) override;

private:
    BlockReader& sound_;
    Part part_;
    std::uint64_t at_ = 0;
};

}  // namespace hushtrace
