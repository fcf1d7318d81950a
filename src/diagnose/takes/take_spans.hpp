#pragma once
#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "hushtrace/signal/block.hpp"

namespace hushtrace {

inline constexpr std::size_t kReadFrames = 1 << 16;

struct Span {
    double from_s = 0, to_s = 0;
};

/// Reads through a take and hands on each span as one block, in order; spans ascend and don't overlap. One
/// span is held at a time. A span that the take doesn't reach is left out; one that it ends within comes cut
/// short.
void read_spans(BlockReader& reader, const std::vector<Span>& spans,
                const std::function<void(std::size_t index, const Block& block)>& use);

}  // namespace hushtrace
