#include "take_spans.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {

void read_spans(BlockReader& reader, const std::vector<Span>& spans,
                const std::function<void(std::size_t index, const Block& block)>& use) {
    const double rate = reader.sample_rate_hz();
    std::size_t position = 0;  // frames read so far
    Block block;
    std::size_t in_block = 0;  // frames of the block that are used up
    const auto refill = [&] {
        in_block = 0;
        return reader.read(block, kReadFrames) > 0;
    };
    for (std::size_t i = 0; i < spans.size(); ++i) {
        const auto first = static_cast<std::size_t>(std::llround(std::max(0.0, spans[i].from_s) * rate));
        const auto last = static_cast<std::size_t>(std::llround(std::max(0.0, spans[i].to_s) * rate));
        if (last <= first) continue;
        std::vector<std::vector<double>> gathered(reader.channels());
        while (position < last) {
            if (in_block == block.frames() && !refill()) break;
            const std::size_t here = std::min(block.frames() - in_block, last - position);
            const std::size_t skipped = position < first ? std::min(here, first - position) : 0;
            for (std::size_t c = 0; c < gathered.size(); ++c) {
                const auto wanted = block.channel(c).subspan(in_block + skipped, here - skipped);
                gathered[c].insert(gathered[c].end(), wanted.begin(), wanted.end());
            }
            position += here;
            in_block += here;
        }
        if (gathered.empty() || gathered[0].empty()) return;
        Block out(gathered.size(), gathered[0].size());
        for (std::size_t c = 0; c < gathered.size(); ++c)
            std::copy(gathered[c].begin(), gathered[c].end(), out.channel(c).begin());
        use(i, out);
    }
}

}  // namespace hushtrace
