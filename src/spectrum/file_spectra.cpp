#include "hushtrace/spectrum/file_spectra.hpp"

#include <algorithm>
#include <cstdint>
#include <future>
#include <limits>
#include <optional>

#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/spectrum/pair_spectrum.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kBlock = 1 << 13;  // frames at once: small enough to stay in the processor's cache

/// From this frame to before that one.
struct Stretch {
    std::uint64_t from = 0, to = std::numeric_limits<std::uint64_t>::max();
};

/// Channels two by two; the last of an odd number stands beside itself.
using Pairs = std::vector<PairSpectrumAccumulator>;

/// Nothing where the reader can't get to where the stretch starts.
std::optional<Pairs> read_stretch(const std::filesystem::path& file, const Stretch& stretch, Pairs pairs) {
    TakeReader reader(file);
    if (stretch.from > 0 && !reader.seek(stretch.from)) return std::nullopt;
    const std::size_t channels = reader.channels();
    Block block;
    std::uint64_t at = stretch.from;
    while (at < stretch.to) {
        const auto most = static_cast<std::size_t>(std::min<std::uint64_t>(kBlock, stretch.to - at));
        const std::size_t got = reader.read(block, most);
        if (got == 0) break;
        at += got;
        for (std::size_t p = 0; p < pairs.size(); ++p)
            pairs[p].add(block.channel(2 * p), block.channel(std::min(2 * p + 1, channels - 1)));
    }
    return pairs;
}

/// Stretches of whole segments: each starts where the next segment after the one before it would.
std::vector<Stretch> cut(std::optional<std::uint64_t> frames, std::size_t length, std::size_t hop,
                         std::size_t threads) {
    if (!frames || *frames < length) return {Stretch{}};
    const std::uint64_t segments = (*frames - length) / hop + 1;
    const std::uint64_t parts = std::clamp<std::uint64_t>(threads, 1, std::max<std::uint64_t>(1, segments / 4));
    std::vector<Stretch> stretches(parts);
    for (std::uint64_t i = 1; i < parts; ++i) {
        const std::uint64_t first = segments * i / parts;
        stretches[i].from = first * hop;
        stretches[i - 1].to = (first - 1) * hop + length;
    }
    return stretches;
}

}  // namespace

std::vector<PowerSpectrum> spectra_of_file(const std::filesystem::path& file,
                                           const std::function<std::size_t(double rate_hz)>& length,
                                           std::size_t threads, WindowKind window, double overlap) {
    const TakeReader look(file);
    const double rate_hz = look.sample_rate_hz();
    const std::size_t channels = look.channels(), segment = length(rate_hz);
    const auto fresh = [&] {
        Pairs pairs;
        for (std::size_t c = 0; c < channels; c += 2) pairs.emplace_back(rate_hz, segment, window, overlap);
        return pairs;
    };
    Pairs sum = fresh();
    const std::vector<Stretch> stretches = cut(look.promised_frames(), segment, sum.front().hop(), threads);
    std::vector<std::future<std::optional<Pairs>>> others;
    for (std::size_t i = 1; i < stretches.size(); ++i)
        others.push_back(std::async(std::launch::async, [&file, stretch = stretches[i], pairs = fresh()]() mutable {
            return read_stretch(file, stretch, std::move(pairs));
        }));
    sum = *read_stretch(file, stretches.front(), std::move(sum));
    bool whole = true;
    for (auto& other : others) {
        const auto part = other.get();
        whole = whole && part.has_value();
        for (std::size_t p = 0; whole && p < sum.size(); ++p) sum[p].merge((*part)[p]);
    }
    if (!whole) sum = *read_stretch(file, Stretch{}, fresh());

    std::vector<PowerSpectrum> spectra;
    for (std::size_t c = 0; c < channels && sum[c / 2].segments() > 0; ++c) {
        auto both = sum[c / 2].result();
        spectra.push_back(std::move(c % 2 == 0 ? both.first : both.second));
    }
    return spectra;
}

}  // namespace hushtrace
