#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <vector>

#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "peak_break.hpp"
#include "rail_level.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kPeaks = 16, kLowerPeaks = 48;  // of each side
constexpr double kHighest = 0.9;               // of the side's highest: what is cut lies near it
constexpr double kLowFrom = 0.35, kLowTo = 0.7;  // of the side's highest
constexpr double kLeastBase = 3.0;              // strength of what noise alone makes
// multiples of the base that are asked of the clearest peak, the second, the third (tests/bench/clipping_in_music.py)
constexpr std::array kAsked = {3.15, 1.57, 1.35};
constexpr double kCut = 1.35;                   // from which a peak counts as cut where the take clips
constexpr double kAlone = 0.95;                 // of its side's highest: what is cut lower is seldom cut alone
constexpr double kUnequal_db = 0.15;            // rails nearer than that count as one
constexpr double kLeak_hz = 0.3;               // of the running integral that undoes the coupling
constexpr std::array kCorners_hz = {0.0, 1.0, 2.0, 3.0, 4.5, 6.0, 8.0, 11.0, 15.0, 20.0};  // for the share
constexpr double kCounted = 0.25;              // of the largest magnitude: heights from there on are counted
constexpr double kAtRail = 0.985;              // of its level: a sample stands at the rail
constexpr double kLeastSeconds = 0.5;

/// A peak with the sound round it.
struct Peak {
    double height = 0, integral = 0;
    std::vector<double> around;
};

/// Counts of magnitudes in steps of 0.02 dB below full scale times two.
class Heights {
public:
    void add(double magnitude) {
        const double below_db = -decibels_from_amplitude(std::max(magnitude, 1e-9) / kTop);
        ++count_[std::min(count_.size() - 1, static_cast<std::size_t>(std::max(0.0, below_db) / kStep_db))];
    }
    std::uint64_t above(double magnitude) const {
        const double below_db = std::max(0.0, -decibels_from_amplitude(magnitude / kTop));
        const auto last = std::min(count_.size(), static_cast<std::size_t>(below_db / kStep_db));
        std::uint64_t sum = 0;
        for (std::size_t i = 0; i < last; ++i) sum += count_[i];
        return sum;
    }

private:
    static constexpr double kTop = 2.0, kStep_db = 0.02;
    std::array<std::uint64_t, 4096> count_{};
};

}  // namespace

struct ProgrammeClippingFinder::State {
    explicit State(double sample_rate_hz)
        : rate(sample_rate_hz), frame(frame_for(sample_rate_hz)), apart(frame.apart), sound(2 * frame.reach + 1),
          integral(2 * frame.reach + 1), keep(std::exp(-2.0 * std::numbers::pi * kLeak_hz / sample_rate_hz)) {}

    double rate;
    BreakFrame frame;
    std::size_t apart;
    std::vector<double> sound, integral;  // rings
    double keep, running = 0, largest = 0, least = 0, most = 0;
    std::uint64_t count = 0, random = 0x9E3779B97F4A7C15U;
    std::array<std::uint64_t, 2> low_seen{};
    std::array<std::vector<Peak>, 2> high, low;  // of the upper and the lower side
    std::vector<Heights> heights{2 * kCorners_hz.size()};  // by corner, of the upper and the lower side

    double at(std::uint64_t n) const { return sound[n % sound.size()]; }

    /// Whether sample n is the highest on its side within reach.
    bool is_peak(std::uint64_t n, double sign) const {
        const double here = sign * at(n);
        for (std::uint64_t d = 1; d <= apart; ++d)
            if (sign * at(n - d) >= here || sign * at(n + d) > here) return false;
        return true;
    }

    Peak peak_at(std::uint64_t n, double sign) const {
        Peak peak{sign * at(n), sign * integral[n % integral.size()], std::vector<double>(sound.size())};
        for (std::size_t i = 0; i < sound.size(); ++i) peak.around[i] = sign * at(n - frame.reach + i);
        return peak;
    }

    void look_at(std::uint64_t n) {
        const double x = at(n), sign = x >= 0 ? 1.0 : -1.0, height = std::abs(x);
        const std::size_t side = sign > 0 ? 0 : 1;
        const double highest = sign > 0 ? most : -least;
        const bool among_highest = high[side].size() < kPeaks || height > high[side].back().height;
        const bool lower = height > kLowFrom * highest && height < kLowTo * highest;
        if (height < kLowFrom * highest || (!among_highest && !lower) || !is_peak(n, sign)) return;
        if (among_highest) keep_highest(high[side], peak_at(n, sign));
        if (lower) keep_some(low[side], low_seen[side], n, sign);
    }

    static void keep_highest(std::vector<Peak>& top, Peak peak) {
        if (top.size() == kPeaks) top.pop_back();
        const auto place = std::find_if(top.begin(), top.end(), [&](const Peak& p) { return p.height < peak.height; });
        top.insert(place, std::move(peak));
    }

    /// Every one as likely as another to be kept.
    void keep_some(std::vector<Peak>& some, std::uint64_t& seen, std::uint64_t n, double sign) {
        ++seen;
        random = random * 6364136223846793005U + 1442695040888963407U;
        if (some.size() < kLowerPeaks) {
            some.push_back(peak_at(n, sign));
        } else if (const std::uint64_t place = (random >> 33U) % seen; place < kLowerPeaks) {
            some[place] = peak_at(n, sign);
        }
    }

    void step(double x) {
        running = keep * running + x / rate;
        sound[count % sound.size()] = x;
        integral[count % integral.size()] = running;
        largest = std::max(largest, std::abs(x));
        least = count == 0 ? x : std::min(least, x);
        most = count == 0 ? x : std::max(most, x);
        for (std::size_t i = 0; i < kCorners_hz.size(); ++i) {
            const double z = x + 2.0 * std::numbers::pi * kCorners_hz[i] * running;
            if (std::abs(z) > kCounted * largest) heights[2 * i + (z >= 0 ? 0 : 1)].add(std::abs(z));
        }
        ++count;
        if (count >= sound.size()) look_at(count - 1 - frame.reach);
    }
};

namespace {

/// Highest value of the wave between the samples next to the middle one.
double highest_between(const std::vector<double>& around) {
    constexpr int kSteps = 8, kTaps = 12;
    const long middle = static_cast<long>(around.size() / 2);
    double highest = around[around.size() / 2];
    for (int step = -kSteps + 1; step < kSteps; ++step) {
        if (step == 0) continue;
        double sum = 0;
        for (long n = -kTaps; n <= kTaps; ++n) {
            const double t = static_cast<double>(step) / kSteps - static_cast<double>(n), x = std::numbers::pi * t;
            const double window = std::cos(0.5 * std::numbers::pi * std::clamp(t / (kTaps + 1.0), -1.0, 1.0));
            sum += around[static_cast<std::size_t>(middle + n)] * std::sin(x) / x * window * window;
        }
        highest = std::max(highest, sum);
    }
    return highest;
}

/// The flat top's middle, for the level.
CutPeak cut_of(const Peak& peak, const PeakBreak& seen, double rate) {
    const long middle = static_cast<long>(peak.around.size() / 2), place = std::lround(seen.centre);
    const auto at = [&](long n) { return peak.around[static_cast<std::size_t>(middle + n)]; };
    CutPeak cut{0.0, peak.integral, seen.width};
    const long reach = static_cast<long>(0.6 * seen.width);
    for (long n = place - reach; n <= place + reach; ++n) cut.height += at(n) / static_cast<double>(2 * reach + 1);
    if (seen.width < 2.0) cut.height = highest_between(peak.around);  // short ones are no flat tops in the samples
    for (long n = 1; n <= place; ++n) cut.integral += at(n) / rate;
    for (long n = 0; n > place; --n) cut.integral -= at(n) / rate;
    return cut;
}

/// What one side's highest peaks show.
struct Side {
    std::vector<CutPeak> cuts;  ///< none where the side isn't cut
    std::size_t seen = 0;
    double evidence = 0;
};

Side look_at_side(const std::vector<Peak>& high, double base, double rate, BreakReader& reader) {
    Side side;
    std::vector<double> strengths;
    double alone = 0;
    for (const Peak& peak : high) {
        if (peak.height < kHighest * high.front().height) continue;
        const PeakBreak seen = reader.read(peak.around);
        strengths.push_back(seen.strength() / base);
        if (peak.height >= kAlone * high.front().height) alone = std::max(alone, strengths.back());
        if (strengths.back() > kCut) side.cuts.push_back(cut_of(peak, seen, rate));
    }
    side.seen = strengths.size();
    std::sort(strengths.rbegin(), strengths.rend());
    side.evidence = alone / kAsked[0];
    for (std::size_t i = 1; i < std::min(strengths.size(), kAsked.size()); ++i)
        side.evidence = std::max(side.evidence, strengths[i] / kAsked[i]);
    if (side.evidence <= 1.0) side.cuts.clear();
    return side;
}

/// Samples that stand at a rail.
std::uint64_t count_at(const RailLevel& rail, const std::vector<Heights>& heights, std::size_t side) {
    const auto far = [&](double corner_hz) { return std::abs(corner_hz - rail.corner_hz); };
    const auto nearest = std::min_element(kCorners_hz.begin(), kCorners_hz.end(),
                                          [&](double a, double b) { return far(a) < far(b); });
    const auto place = static_cast<std::size_t>(nearest - kCorners_hz.begin());
    return heights[2 * place + side].above(kAtRail * amplitude_from_decibels(rail.level_dbfs.value));
}

/// Levels of both rails, as one where they agree; share of the samples that stand there.
void say_levels(ProgrammeClipping& out, const std::array<Side, 2>& sides, const std::vector<Heights>& heights,
                std::uint64_t count) {
    std::array<std::optional<RailLevel>, 2> rails;
    std::vector<CutPeak> all;
    for (std::size_t i = 0; i < 2; ++i) {
        if (!sides[i].cuts.empty()) rails[i] = rail_level(sides[i].cuts);
        all.insert(all.end(), sides[i].cuts.begin(), sides[i].cuts.end());
    }
    const RailLevel common = rail_level(all);
    out.clip_level_dbfs = common.level_dbfs;
    out.sides = !rails[1] ? ClippedSides::upper : !rails[0] ? ClippedSides::lower : ClippedSides::both;
    if (out.sides == ClippedSides::both) {
        const Reading &upper = rails[0]->level_dbfs, &lower = rails[1]->level_dbfs;
        const double apart_db = std::abs(upper.value - lower.value);
        if (apart_db >= kUnequal_db && apart_db >= 4.0 * std::hypot(upper.sd, lower.sd)) {
            out.sides = ClippedSides::unequal;
            out.clip_level_dbfs = upper.value < lower.value ? upper : lower;
            out.other_level_dbfs = upper.value < lower.value ? lower : upper;
        } else {
            rails = {common, common};
        }
    }
    std::uint64_t cut = 0;
    for (std::size_t i = 0; i < 2; ++i)
        if (rails[i]) cut += count_at(*rails[i], heights, i);
    out.clipped_share = static_cast<double>(std::max<std::uint64_t>(cut, out.peaks_cut)) / static_cast<double>(count);
}

}  // namespace

ProgrammeClippingFinder::ProgrammeClippingFinder(double sample_rate_hz)
    : state_(std::make_unique<State>(sample_rate_hz)) {}
ProgrammeClippingFinder::~ProgrammeClippingFinder() = default;
ProgrammeClippingFinder::ProgrammeClippingFinder(ProgrammeClippingFinder&&) noexcept = default;
ProgrammeClippingFinder& ProgrammeClippingFinder::operator=(ProgrammeClippingFinder&&) noexcept = default;

void ProgrammeClippingFinder::add(std::span<const double> samples) {
    for (const double x : samples)
        if (!std::isfinite(x)) throw Error(ErrorKind::not_finite, "clipping: a sample is not a finite number");
    for (const double x : samples) state_->step(x);
}

ProgrammeClipping ProgrammeClippingFinder::result() const {
    const State& s = *state_;
    if (s.count == 0) throw Error(ErrorKind::empty_input, "clipping: no samples");
    if (static_cast<double>(s.count) < kLeastSeconds * s.rate)
        throw Error(ErrorKind::too_short, fmt::format("clipping: {:.2f} s of music are too short, {:g} s needed",
                                                      static_cast<double>(s.count) / s.rate, kLeastSeconds));
    if (!(s.most - s.least > 2e-6)) throw Error(ErrorKind::invalid_input, "clipping: digital silence or dc");
    if (s.high[0].empty() && s.high[1].empty()) throw Error(ErrorKind::invalid_input, "clipping: no peak stands out");

    ProgrammeClipping out;
    out.largest = s.largest;
    BreakReader reader(s.frame);
    double base = kLeastBase;
    for (std::size_t i = 0; i < 2; ++i) {
        const double highest = i == 0 ? s.most : -s.least;
        for (const Peak& peak : s.low[i])
            if (peak.height > kLowFrom * highest && peak.height < kLowTo * highest)
                base = std::max(base, reader.read(peak.around).strength());
    }
    std::array<Side, 2> sides;
    for (std::size_t i = 0; i < 2; ++i) {
        if (s.high[i].empty()) continue;
        sides[i] = look_at_side(s.high[i], base, s.rate, reader);
        out.peaks_seen += sides[i].seen;
        out.peaks_cut += sides[i].cuts.size();
        out.evidence = std::max(out.evidence, sides[i].evidence);
    }
    out.clips = out.peaks_cut > 0;
    if (!out.clips) return out;
    say_levels(out, sides, s.heights, s.count);
    return out;
}

}  // namespace hushtrace
