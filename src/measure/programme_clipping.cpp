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

namespace hushtrace {
namespace {

constexpr std::size_t kPeaks = 16, kLowerPeaks = 32;
constexpr double kHighest = 0.9;               // of the side's highest: a rail that cuts lower ones would cut that one too
constexpr double kLowFrom = 0.4, kLowTo = 0.8;  // of the largest magnitude
constexpr double kLeastBase = 4.0;              // breaks that noise alone makes
constexpr double kCutAlone = 4.0, kCutInCompany = 2.0;  // multiples of the base for one peak, for two (tests/bench)
constexpr double kLeak_hz = 0.3;               // of the running integral that undoes the coupling
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
    double keep, running = 0, mean = 0, sum = 0, largest = 0, least = 0, most = 0;
    std::uint64_t count = 0, low_seen = 0, random = 0x9E3779B97F4A7C15U;
    std::array<std::vector<Peak>, 2> high;  // of the upper and the lower side
    std::vector<Peak> low;
    Heights heights;

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
        std::vector<Peak>& top = high[sign > 0 ? 0 : 1];
        const bool among_highest = top.size() < kPeaks || height > top.back().height;
        const bool lower = height > kLowFrom * largest && height < kLowTo * largest;
        if (height < kLowFrom * largest || (!among_highest && !lower) || !is_peak(n, sign)) return;
        if (among_highest) {
            if (top.size() == kPeaks) top.pop_back();
            Peak peak = peak_at(n, sign);
            const auto place = std::find_if(top.begin(), top.end(), [&](const Peak& p) { return p.height < height; });
            top.insert(place, std::move(peak));
        }
        if (!lower) return;
        ++low_seen;  // every one as likely as another to be kept
        random = random * 6364136223846793005U + 1442695040888963407U;
        if (low.size() < kLowerPeaks) {
            low.push_back(peak_at(n, sign));
        } else if (const std::uint64_t place = (random >> 33U) % low_seen; place < kLowerPeaks) {
            low[place] = peak_at(n, sign);
        }
    }

    void step(double x) {
        running = keep * running + x / rate;
        sound[count % sound.size()] = x;
        integral[count % integral.size()] = running;
        largest = std::max(largest, std::abs(x));
        least = count == 0 ? x : std::min(least, x);
        most = count == 0 ? x : std::max(most, x);
        heights.add(std::abs(x));
        ++count;
        if (count >= sound.size()) look_at(count - 1 - frame.reach);
    }
};

namespace {

struct Cut {
    double height, integral;
};

/// Level at which cut peaks are equally high, over the corners that the coupling may have.
Reading level_of(const std::vector<Cut>& cuts) {
    double best_level = 0, best_spread = 1e300;
    for (double corner_hz = 0; corner_hz <= 25.0; corner_hz += 0.25) {
        std::vector<double> z;
        for (const Cut& cut : cuts) z.push_back(cut.height + 2.0 * std::numbers::pi * corner_hz * cut.integral);
        std::sort(z.begin(), z.end());
        const double middle = z[z.size() / 2];
        double spread = 0;
        for (const double one : z) spread += std::min(std::abs(one / middle - 1.0), 0.05);
        spread /= static_cast<double>(z.size());
        // with few peaks a corner is believed only where it clearly helps
        if (spread * (1.0 + 0.01 * corner_hz) < best_spread) {
            best_spread = spread * (1.0 + 0.01 * corner_hz);
            best_level = middle;
        }
        if (cuts.size() < 3) break;
    }
    const double count = static_cast<double>(cuts.size());
    // short cuts ring over by up to a few percent once the band is limited
    const double relative = std::hypot(1.25 * best_spread / std::sqrt(count), cuts.size() < 3 ? 0.03 : 0.006);
    return {decibels_from_amplitude(best_level), decibels_from_amplitude(1.0 + relative), LimitedBy::length};
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
    for (const Peak& peak : s.low)
        if (peak.height > kLowFrom * s.largest && peak.height < kLowTo * s.largest)
            base = std::max(base, reader.read(peak.around));
    std::array<std::size_t, 2> cut_on{};
    std::vector<Cut> cuts;
    for (std::size_t side = 0; side < 2; ++side) {
        if (s.high[side].empty()) continue;
        std::vector<Cut> here;
        std::vector<double> breaks;
        for (const Peak& peak : s.high[side]) {
            if (peak.height < kHighest * s.high[side].front().height) continue;
            ++out.peaks_seen;
            breaks.push_back(reader.read(peak.around) / base);
            if (breaks.back() > kCutInCompany) here.push_back({peak.height, peak.integral});
        }
        std::sort(breaks.rbegin(), breaks.rend());
        const double second = breaks.size() > 1 ? breaks[1] : 0.0;
        out.evidence = std::max({out.evidence, breaks.front() / kCutAlone, second / kCutInCompany});
        if (breaks.front() <= kCutAlone && second <= kCutInCompany) continue;
        cut_on[side] = here.size();
        cuts.insert(cuts.end(), here.begin(), here.end());
    }
    out.peaks_cut = cuts.size();
    out.clips = !cuts.empty();
    if (!out.clips) return out;
    out.sides = cut_on[0] > 0 && cut_on[1] > 0 ? ClippedSides::both
                : cut_on[0] > 0                ? ClippedSides::upper
                                               : ClippedSides::lower;
    out.clip_level_dbfs = level_of(cuts);
    const double rail = amplitude_from_decibels(out.clip_level_dbfs->value);
    out.clipped_share = static_cast<double>(s.heights.above(0.99 * rail)) / static_cast<double>(s.count);
    return out;
}

}  // namespace hushtrace
