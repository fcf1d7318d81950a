#include "clear_part.hpp"

#include <algorithm>
#include <utility>
#include <vector>

#include "hushtrace/measure/marker_finder.hpp"

namespace hushtrace {
namespace {

constexpr double kMargin_s = 0.1;
constexpr std::size_t kBlock = 1 << 15;

}  // namespace

Part between_markers(BlockReader& sound) {
    const double rate = sound.sample_rate_hz();
    MarkerFinder finder(rate);
    Block block;
    std::uint64_t frames = 0;
    while (sound.read(block, kBlock) > 0) {
        finder.add(block.channel(0));
        frames += block.frames();
    }
    const double end_s = static_cast<double>(frames) / rate;
    std::vector<std::pair<double, double>> free = {{0.0, end_s}};
    for (const FoundMarker& marker : finder.result()) {
        free.back().second = std::max(free.back().first, marker.time_s - kMargin_s);
        free.emplace_back(std::min(end_s, marker.time_s + Marker::duration_s + kMargin_s), end_s);
    }
    const auto longest = std::max_element(free.begin(), free.end(), [](const auto& a, const auto& b) {
        return a.second - a.first < b.second - b.first;
    });
    return {static_cast<std::uint64_t>(longest->first * rate), static_cast<std::uint64_t>(longest->second * rate)};
}

std::size_t PartReader::read(Block& into, std::size_t most) {
    while (at_ < part_.to) {
        const std::uint64_t wanted = at_ < part_.from ? part_.from - at_ : part_.to - at_;
        const std::size_t got = sound_.read(into, static_cast<std::size_t>(std::min<std::uint64_t>(most, wanted)));
        at_ += got;
        if (got == 0 || at_ > part_.from) return got;
    }
    return 0;
}

}  // namespace hushtrace
