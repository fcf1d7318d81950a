#include "hushtrace/measure/plateaus.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace hushtrace {
namespace {

constexpr double kShortest = 0.3, kShortestCycles = 10.0;  // [s], cycles of the tone
constexpr double kLongestClick = 0.25;  // [s] that may lie between two parts of one plateau
constexpr double kCoarseEdge = 0.004, kEdgeOverUsual = 4.0;
constexpr double kLeastStep = 0.0012, kLeastSigmas = 6.0;  // 0.01 dB
constexpr double kRampPerSecond = 0.023;                   // 0.2 dB/s
constexpr double kMuteDepth = 2.3;                         // 20 dB in natural units
constexpr std::size_t kFewestFrames = 3;
constexpr std::size_t kPerChannel = 1 + ToneFrame::harmonic_count;
constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

/// Features of all frames: for each live channel ln(amplitude), then the harmonics against the amplitude.
/// All are relative changes of the waveform, so one threshold fits them.
struct Features {
    std::size_t frames = 0, width = 0;
    double hop_s = 0, frame_s = 0;
    std::vector<double> cell;
    std::vector<char> present;          // of the leading channel
    std::vector<std::size_t> channels;  // the live ones
    double at(std::size_t t, std::size_t d) const { return cell[t * width + d]; }
    double centre_s(std::size_t t) const { return static_cast<double>(t) * hop_s + 0.5 * frame_s; }
};

Features features_of(std::span<const ToneTrack> tracks) {
    Features f;
    if (tracks.empty()) return f;
    f.hop_s = tracks[0].hop_s;
    f.frame_s = tracks[0].frame_s;
    f.frames = tracks[0].frames.size();
    std::vector<std::ptrdiff_t> counts;
    for (const ToneTrack& track : tracks) {
        f.frames = std::min(f.frames, track.frames.size());
        counts.push_back(
            std::count_if(track.frames.begin(), track.frames.end(), [](auto& one) { return one.present; }));
    }
    const auto lead =
        static_cast<std::size_t>(std::max_element(counts.begin(), counts.end()) - counts.begin());
    if (counts[lead] == 0) return f;
    for (std::size_t c = 0; c < tracks.size(); ++c)
        if (10 * counts[c] >= 3 * counts[lead]) f.channels.push_back(c);
    f.width = f.channels.size() * kPerChannel;
    f.cell.assign(f.frames * f.width, kNaN);
    f.present.resize(f.frames);
    for (std::size_t t = 0; t < f.frames; ++t) {
        f.present[t] = tracks[lead].frames[t].present;
        for (std::size_t i = 0; i < f.channels.size(); ++i) {
            const ToneFrame& frame = tracks[f.channels[i]].frames[t];
            if (!frame.present || !(frame.amplitude > 0)) continue;
            double* const row = &f.cell[t * f.width + i * kPerChannel];
            row[0] = std::log(static_cast<double>(frame.amplitude));
            for (std::size_t h = 0; h < ToneFrame::harmonic_count; ++h)
                row[1 + h] = static_cast<double>(frame.harmonics[h]) / static_cast<double>(frame.amplitude);
        }
    }
    return f;
}

/// Largest change of any feature between two frames; features absent in either don't count.
double change(const Features& f, std::size_t a, std::size_t b) {
    double largest = 0;
    for (std::size_t d = 0; d < f.width; ++d) {
        const double difference = std::abs(f.at(a, d) - f.at(b, d));
        if (difference > largest) largest = difference;  // false for NaN
    }
    return largest;
}

/// Largest second difference of any feature, over frames that don't overlap.
double bend(const Features& f, std::size_t t) {
    double largest = 0;
    for (std::size_t d = 0; d < f.width; ++d) {
        const double second = std::abs(f.at(t - 2, d) - 2.0 * f.at(t, d) + f.at(t + 2, d));
        if (second > largest) largest = second;
    }
    return largest;
}

double median(std::vector<double>& values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Frames at which something changes, by the change across each frame against the unrest that is usual round
/// it. The unrest is taken from second differences, which a ramp leaves at rest.
std::vector<char> edges_of(const Features& f) {
    constexpr std::size_t kRound = 25;
    std::vector<double> across(f.frames, 0.0), unrest(f.frames, kNaN);
    for (std::size_t t = 1; t + 1 < f.frames; ++t)
        if (f.present[t - 1] && f.present[t + 1]) across[t] = change(f, t - 1, t + 1);
    for (std::size_t t = 2; t + 2 < f.frames; ++t)
        if (f.present[t - 2] && f.present[t] && f.present[t + 2]) unrest[t] = bend(f, t);
    std::vector<char> edge(f.frames, 0);
    std::vector<double> nearby;
    for (std::size_t t = 0; t < f.frames; ++t) {
        if (!f.present[t]) continue;
        nearby.clear();
        const std::size_t last = std::min(f.frames, t + kRound + 1);
        for (std::size_t i = t > kRound ? t - kRound : 0; i < last; ++i)
            if (!std::isnan(unrest[i])) nearby.push_back(unrest[i]);
        double usual = 0;
        if (!nearby.empty()) {
            const auto rank = nearby.begin() + static_cast<std::ptrdiff_t>(nearby.size() * 3 / 10);
            std::nth_element(nearby.begin(), rank, nearby.end());
            usual = *rank / std::sqrt(3.0);  // 1 - 2 + 1 has three times the variance of 1 - 1
        }
        edge[t] = across[t] > std::max(kCoarseEdge, kEdgeOverUsual * usual);
    }
    return edge;
}

/// Frames first..last-1.
struct Stretch {
    std::size_t first = 0, last = 0;
    std::size_t size() const { return last - first; }
};

double mean_of(const Features& f, std::size_t d, std::size_t first, std::size_t last) {
    double sum = 0;
    std::size_t count = 0;
    for (std::size_t t = first; t < last; ++t)
        if (!std::isnan(f.at(t, d))) {
            sum += f.at(t, d);
            ++count;
        }
    return count == 0 ? kNaN : sum / static_cast<double>(count);
}

/// Spread of a feature within a stretch, from differences of frames that don't overlap, so that steps don't
/// count.
double spread_of(const Features& f, std::size_t d, Stretch s) {
    std::vector<double> differences;
    for (std::size_t t = s.first; t + 2 < s.last; ++t) {
        const double difference = std::abs(f.at(t + 2, d) - f.at(t, d));
        if (!std::isnan(difference)) differences.push_back(difference);
    }
    return median(differences) / (0.6745 * std::sqrt(2.0));  // median of a normal deviate's magnitude
}

/// Splits a stretch where a small step lies within it.
class Splitter {
public:
    Splitter(const Features& f, std::size_t least) : f_(f), least_(least) {}
    void split(Stretch s, std::vector<Stretch>& into) const {
        const std::size_t at = place_of_step(s);
        if (at == 0) {
            into.push_back(s);
            return;
        }
        // the frame on the step belongs to neither side
        split({s.first, at > s.first ? at : s.first}, into);
        split({at + 1, s.last}, into);
    }

private:
    /// The frame of the most significant step, 0 for none. Means of up to three times the least length on
    /// either side are compared, so that each step of a staircase is seen by itself.
    std::size_t place_of_step(Stretch s) const {
        if (s.size() < 2 * least_ + 1) return 0;
        double best = kLeastSigmas;
        std::size_t at = 0;
        for (std::size_t d = 0; d < f_.width; ++d) {
            const double spread = std::max(spread_of(f_, d, s), 2e-6);
            for (std::size_t t = s.first + least_; t + least_ < s.last; ++t)
                for (std::size_t reach = least_; reach <= 3 * least_; reach += least_) {
                    if (t - s.first < reach || s.last - 1 - t < reach) break;
                    const double before = mean_of(f_, d, t - reach, t);
                    const double after = mean_of(f_, d, t + 1, t + 1 + reach);
                    const double step = std::abs(after - before);
                    // overlapping frames: some 1.3 frames count as one
                    const double sigmas = step / (spread * std::sqrt(2.6 / static_cast<double>(reach)));
                    if (sigmas > best && step > kLeastStep && is_step(d, t, reach, spread)) {
                        best = sigmas;
                        at = t;
                    }
                }
        }
        return at;
    }
    /// Whether two levels describe the surroundings better than a slope, and well.
    bool is_step(std::size_t d, std::size_t t, std::size_t reach, double spread) const {
        const double before = mean_of(f_, d, t - reach, t), after = mean_of(f_, d, t + 1, t + 1 + reach);
        const double middle = 0.5 * (before + after);
        double moment = 0, slope = 0;
        for_each_round(d, t, reach, [&](double x, double value) {
            moment += x * x;
            slope += x * (value - middle);
        });
        slope /= moment;
        double off_step = 0, off_line = 0;
        for_each_round(d, t, reach, [&](double x, double value) {
            const double from_step = value - (x < 0 ? before : after);
            const double from_line = value - middle - slope * x;
            off_step += from_step * from_step;
            off_line += from_line * from_line;
        });
        const double variance = spread * spread, noise = 3.0 * static_cast<double>(reach) * variance;
        return off_step + 4.0 * variance < off_line && off_step - noise < 0.35 * off_line;
    }
    template <class Use>
    void for_each_round(std::size_t d, std::size_t t, std::size_t reach, Use&& use) const {
        for (std::size_t i = t - reach; i <= t + reach; ++i)
            if (i != t && !std::isnan(f_.at(i, d)))
                use(static_cast<double>(i) - static_cast<double>(t), f_.at(i, d));
    }

    const Features& f_;
    std::size_t least_;
};

bool is_ramp(const Features& f, Stretch s) {
    const double n = static_cast<double>(s.size()), middle = 0.5 * (n - 1);
    for (std::size_t d = 0; d < f.width; d += kPerChannel) {
        double sum = 0;
        for (std::size_t t = s.first; t < s.last; ++t)
            sum += (static_cast<double>(t - s.first) - middle) * f.at(t, d);
        const double moment = n * (n * n - 1) / 12.0;
        const double slope = sum / moment;  // per frame
        const double sd = spread_of(f, d, s) * std::sqrt(1.3 / moment);
        if (std::abs(slope) / f.hop_s > kRampPerSecond && std::abs(slope) > 5.0 * sd) return true;
    }
    return false;
}

bool same_setting(const Features& f, Stretch a, Stretch b) {
    for (std::size_t d = 0; d < f.width; ++d) {
        const double difference = std::abs(mean_of(f, d, a.first, a.last) - mean_of(f, d, b.first, b.last));
        const double spread = std::max(spread_of(f, d, a), spread_of(f, d, b));
        const double sd =
            spread * std::sqrt(1.3 / static_cast<double>(a.size()) + 1.3 / static_cast<double>(b.size()));
        if (difference > std::max(kLeastStep, 5.0 * sd)) return false;
    }
    return true;
}

/// What may be read of a stretch: from its first frame's middle to its last one's, less a little, since a
/// neighbouring step may reach into a frame's faded half unnoticed.
std::pair<double, double> part_of(const Features& f, Stretch s) {
    const double trim_s = 0.4 * f.hop_s;
    return {f.centre_s(s.first) + trim_s, f.centre_s(s.last - 1) - trim_s};
}

/// Stretches at one setting of the knob, with clicks between them.
struct Setting {
    std::vector<Stretch> parts;
    std::size_t frames() const {
        std::size_t sum = 0;
        for (const Stretch s : parts) sum += s.size();
        return sum;
    }
    Stretch longest() const {
        return *std::max_element(parts.begin(), parts.end(),
                                 [](Stretch a, Stretch b) { return a.size() < b.size(); });
    }
};

bool joins(const Features& f, const Setting& setting, Stretch s) {
    const std::size_t end = setting.parts.back().last;
    for (std::size_t t = end; t < s.first; ++t)
        if (!f.present[t]) return false;
    const double gap_s = static_cast<double>(s.first - end) * f.hop_s;
    return gap_s <= std::max(kLongestClick, 2 * f.frame_s) && same_setting(f, setting.longest(), s);
}

Plateau plateau_of(const Features& f, const Setting& setting, std::size_t channels) {
    Plateau p;
    for (const Stretch s : setting.parts) p.parts_s.push_back(part_of(f, s));
    p.start_s = f.centre_s(setting.parts.front().first) - 0.5 * f.hop_s;
    p.end_s = f.centre_s(setting.parts.back().last - 1) + 0.5 * f.hop_s;
    p.level_ln.assign(channels, kNaN);
    const Stretch s = setting.longest();
    for (std::size_t i = 0; i < f.channels.size(); ++i) {
        p.level_ln[f.channels[i]] = mean_of(f, i * kPerChannel, s.first, s.last);
        double squares = 0;
        for (std::size_t h = 1; h < kPerChannel; ++h) {
            const double share = mean_of(f, i * kPerChannel + h, s.first, s.last);
            if (!std::isnan(share)) squares += share * share;
        }
        p.harmonic_share = std::max(p.harmonic_share, std::sqrt(squares));
    }
    return p;
}

bool lies_below(const Plateau& p, const Plateau& other) {
    for (std::size_t c = 0; c < p.level_ln.size(); ++c)
        if (p.level_ln[c] > other.level_ln[c] - kMuteDepth) return false;
    return true;
}

}  // namespace

std::pair<double, double> Plateau::longest_part_s() const {
    return *std::max_element(parts_s.begin(), parts_s.end(), [](const auto& a, const auto& b) {
        return a.second - a.first < b.second - b.first;
    });
}

std::vector<Plateau> find_plateaus(std::span<const ToneTrack> tracks) {
    const Features f = features_of(tracks);
    if (f.frames == 0 || f.width == 0) return {};
    const double shortest_s = std::max(kShortest, kShortestCycles / tracks[0].tone_hz);
    const auto least =
        std::max<std::size_t>(3, static_cast<std::size_t>(std::lround(shortest_s / f.hop_s)) - 1);

    const std::vector<char> edge = edges_of(f);
    const Splitter splitter(f, least);
    std::vector<Stretch> stretches;
    for (std::size_t t = 0; t < f.frames;) {
        if (!f.present[t] || edge[t]) {
            ++t;
            continue;
        }
        Stretch s{t, t};
        while (s.last < f.frames && f.present[s.last] && !edge[s.last]) ++s.last;
        t = s.last;
        splitter.split(s, stretches);
    }
    std::vector<Setting> settings;
    for (const Stretch s : stretches) {
        if (s.size() < kFewestFrames || is_ramp(f, s)) continue;
        if (!settings.empty() && joins(f, settings.back(), s))
            settings.back().parts.push_back(s);
        else
            settings.push_back({{s}});
    }
    std::vector<Plateau> plateaus;
    for (const Setting& one : settings)
        if (one.frames() >= least) plateaus.push_back(plateau_of(f, one, tracks.size()));
    std::vector<Plateau> kept;
    for (std::size_t i = 0; i < plateaus.size(); ++i) {
        const bool mute = i > 0 && i + 1 < plateaus.size() && lies_below(plateaus[i], plateaus[i - 1]) &&
                          lies_below(plateaus[i], plateaus[i + 1]);
        if (!mute) kept.push_back(plateaus[i]);
    }
    return kept;
}

}  // namespace hushtrace
