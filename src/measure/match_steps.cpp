#include <algorithm>
#include <cmath>
#include <numeric>

#include "hushtrace/measure/plateaus.hpp"

namespace hushtrace {
namespace {

constexpr double kSameLevel = 0.003, kQuieter = 0.0115;  // natural units: 0.026 dB, 0.1 dB
constexpr double kSameHarmonics = 0.0015;

/// Loudness for ordering: the mean of the channels that hold the tone.
double level_of(const Plateau& p) {
    double sum = 0;
    int count = 0;
    for (const double one : p.level_ln)
        if (!std::isnan(one)) {
            sum += one;
            ++count;
        }
    return count == 0 ? 0.0 : sum / count;
}

bool same_setting(const Plateau& a, const Plateau& b) {
    for (std::size_t c = 0; c < a.level_ln.size(); ++c)
        if (std::abs(a.level_ln[c] - b.level_ln[c]) > kSameLevel) return false;
    return std::abs(a.harmonic_share - b.harmonic_share) < kSameHarmonics;
}

bool contradicts(const std::vector<Plateau>& plateaus, std::span<const double> volumes) {
    for (std::size_t i = 0; i < plateaus.size(); ++i)
        for (std::size_t j = 0; j < plateaus.size(); ++j)
            if (volumes[i] < volumes[j] && level_of(plateaus[i]) > level_of(plateaus[j]) + kQuieter)
                return true;
    return false;
}

MatchedSteps in_order(std::vector<Plateau> plateaus, std::span<const double> volumes, StepMatch how) {
    MatchedSteps out;
    out.how = how;
    out.in_contradiction = contradicts(plateaus, volumes);
    out.plateaus = std::move(plateaus);
    out.volumes.assign(volumes.begin(), volumes.end());
    return out;
}

/// Equal plateaus are one setting; settings in order of level take the volumes in order, if there are as
/// many.
std::optional<MatchedSteps> by_level(const std::vector<Plateau>& plateaus, std::span<const double> steps) {
    std::vector<double> volumes(steps.begin(), steps.end());
    std::sort(volumes.begin(), volumes.end());
    volumes.erase(std::unique(volumes.begin(), volumes.end()), volumes.end());
    const std::vector<std::size_t> settings = settings_by_level(plateaus);
    if (*std::max_element(settings.begin(), settings.end()) + 1 != volumes.size()) return std::nullopt;
    MatchedSteps out;
    out.how = StepMatch::by_level;
    out.plateaus = plateaus;
    out.volumes.resize(plateaus.size());
    for (std::size_t i = 0; i < plateaus.size(); ++i) out.volumes[i] = volumes[settings[i]];
    // A setting that isn't in the list would shift all others; where it all began is known.
    if (out.volumes.front() != steps.front()) return std::nullopt;
    return out;
}

std::vector<Plateau> split_at_clicks(const std::vector<Plateau>& plateaus) {
    std::vector<Plateau> out;
    for (const Plateau& p : plateaus)
        for (const auto& part : p.parts_s) {
            Plateau one = p;
            one.parts_s = {part};
            one.start_s = part.first;
            one.end_s = part.second;
            out.push_back(one);
        }
    return out;
}

/// The longest `count` plateaus, where the others last less than half as long as the shortest of these.
std::optional<std::vector<Plateau>> without_short_ones(const std::vector<Plateau>& plateaus,
                                                       std::size_t count) {
    std::vector<double> durations;
    durations.reserve(plateaus.size());
    for (const Plateau& p : plateaus) durations.push_back(p.duration_s());
    std::sort(durations.rbegin(), durations.rend());
    if (durations[count] > 0.5 * durations[count - 1]) return std::nullopt;
    std::vector<Plateau> kept;
    for (const Plateau& p : plateaus)
        if (p.duration_s() >= durations[count - 1]) kept.push_back(p);
    if (kept.size() != count) return std::nullopt;
    return kept;
}

std::optional<MatchedSteps> matched(const std::vector<Plateau>& plateaus, std::span<const double> volume_steps) {
    if (plateaus.empty() || volume_steps.empty()) return std::nullopt;
    if (plateaus.size() == volume_steps.size()) {
        MatchedSteps direct = in_order(plateaus, volume_steps, StepMatch::one_to_one);
        if (!direct.in_contradiction) return direct;
    } else if (plateaus.size() > volume_steps.size()) {
        if (auto kept = without_short_ones(plateaus, volume_steps.size())) {
            MatchedSteps thinned = in_order(std::move(*kept), volume_steps, StepMatch::short_ones_left);
            if (!thinned.in_contradiction) return thinned;
        }
    } else {
        std::vector<Plateau> split = split_at_clicks(plateaus);
        if (split.size() == volume_steps.size()) {
            MatchedSteps at_clicks = in_order(std::move(split), volume_steps, StepMatch::at_clicks);
            if (!at_clicks.in_contradiction) return at_clicks;
        }
    }
    return by_level(plateaus, volume_steps);
}

}  // namespace

std::vector<std::size_t> settings_by_level(std::span<const Plateau> plateaus) {
    std::vector<std::size_t> first_of, setting_of;  // a plateau of each setting
    for (std::size_t i = 0; i < plateaus.size(); ++i) {
        const auto known =
            std::find_if(first_of.begin(), first_of.end(), [&](std::size_t f) { return same_setting(plateaus[f], plateaus[i]); });
        setting_of.push_back(static_cast<std::size_t>(known - first_of.begin()));
        if (known == first_of.end()) first_of.push_back(i);
    }
    std::vector<std::size_t> order(first_of.size()), rank(first_of.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(),
              [&](std::size_t a, std::size_t b) { return level_of(plateaus[first_of[a]]) < level_of(plateaus[first_of[b]]); });
    for (std::size_t r = 0; r < order.size(); ++r) rank[order[r]] = r;
    for (std::size_t& one : setting_of) one = rank[one];
    return setting_of;
}

MatchedSteps match_steps(std::vector<Plateau> plateaus, std::span<const double> volume_steps) {
    if (auto found = matched(plateaus, volume_steps)) return *found;
    // At the end the knob is turned down: those stops are in no list.
    std::vector<Plateau> kept = plateaus;
    while (kept.size() > 1 && level_of(kept.back()) < level_of(kept[kept.size() - 2]) - kQuieter) {
        kept.pop_back();
        if (auto found = matched(kept, volume_steps)) {
            if (found->how == StepMatch::one_to_one) found->how = StepMatch::turned_down_left;
            return *found;
        }
    }
    if (!plateaus.empty() && plateaus.size() == volume_steps.size())
        return in_order(std::move(plateaus), volume_steps, StepMatch::one_to_one);
    MatchedSteps out;
    out.volumes.resize(plateaus.size());
    out.plateaus = std::move(plateaus);
    return out;
}

}  // namespace hushtrace
