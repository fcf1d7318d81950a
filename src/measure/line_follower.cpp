#include "hushtrace/measure/line_follower.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <string>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "band_sums.hpp"
#include "line_odds.hpp"
#include "peaks_nearby.hpp"
#include "place_filter.hpp"
#include "running_floor.hpp"
#include "standing_lines.hpp"

namespace hushtrace {
namespace {

constexpr double found_above = 0.9, lost_below = 0.5;
constexpr std::size_t side_bands = 8;   // of the noise, four on either side of a line
constexpr double side_width = 2.0;      // bins
constexpr double score_width = 3.0;     // bins that a place is judged by
constexpr double small_share = 0.05;    // of other lines in a band, that may be taken off in power
constexpr double line_model = 0.0012;   // 0.15 dB: lines that are left out, what firing throws out of the band

struct LinePower {
    double band = 0, width = 0, standing = 0;   // width in bins; standing: of other lines within the band
    std::array<double, side_bands> beside{};    // density
    bool clouded = false;                       // another line lies on it
};
struct Look {
    bool found = false;
    std::vector<std::vector<LinePower>> lines;   // [channels][ratios]
};
struct LineSum {
    double power = 0, variance = 0, noise = 0, standing = 0;   // noise: density beside it; standing: taken off for other lines
};

void check(double rate, std::size_t channels, const LineFamily& family) {
    const auto refuse = [](const std::string& why) { throw Error(ErrorKind::invalid_request, why); };
    if (!(rate > 0.0) || channels == 0) refuse("nothing to follow a line in");
    if (!(family.frequency_hz > 0.0) || !(family.low_hz > 0.0 && family.low_hz <= family.high_hz) || !(family.most_slope > 0.0))
        refuse("a line to follow needs frequencies and a slope above 0");
    if (family.frequency_hz > 0.45 * rate)
        refuse(fmt::format("{:.0f} Hz can't be followed at a sample rate of {:.0f} Hz", family.frequency_hz, rate));
    if (std::none_of(family.ratios.begin(), family.ratios.end(), [](double r) { return r == 1.0; }) ||
        std::any_of(family.ratios.begin(), family.ratios.end(), [](double r) { return !(r > 0.0); }))
        refuse("a family of lines holds its leading one, and ratios above 0");
}

}  // namespace

struct LineFollower::State {
    State(double rate, std::size_t channel_count, const LineFamily& wanted)
        : family(wanted), window_s(wanted.moves ? 0.085 : 0.34), length(fast_length(static_cast<std::size_t>(window_s * rate))),
          hop(length / (wanted.moves ? 4 : 8)), bin_hz(rate / static_cast<double>(length)), hop_s(static_cast<double>(hop) / rate),
          looks(static_cast<std::size_t>((wanted.moves ? 0.5 : 0.33) / hop_s)), sample_rate_hz(rate),
          places(std::max(wanted.low_hz, 4.0 * bin_hz), std::min(std::max(wanted.high_hz, 4.0 * bin_hz), 0.45 * rate),
                 wanted.frequency_hz, grid_step(),
                 wanted.moves ? static_cast<std::size_t>(std::ceil(wanted.most_slope * hop_s / grid_step())) : 0,
                 (0.5 * score_width + 2.0) * bin_hz) {   // a Hann window's lobe reaches two bins either way
        family.high_hz = std::min(family.high_hz, 0.45 * rate);
        double top = 1.0;
        for (const double ratio : family.ratios) top = std::max(top, ratio);
        bins = std::min(length / 2 + 1, static_cast<std::size_t>(std::max(top * family.high_hz, 600.0) * 1.1 / bin_hz) + 60);
        columns.resize(channel_count);
        for (std::size_t c = 0; c < channel_count; ++c) {
            floors.emplace_back(bins, window_s, hop_s);
            streams.emplace_back(rate, length, hop, WindowKind::hann, [this, c](double, std::span<const double> density) {
                columns[c].emplace_back(density.begin(), density.begin() + static_cast<std::ptrdiff_t>(bins));
            });
        }
        sums.resize(channel_count);
        score_sums.resize(channel_count);
        for (auto* one : {&standing_sums, &clear_sums, &clear_widths}) one->resize(channel_count);
        odds.resize(places.places());
        touched.resize(bins);
        counts.assign(family.ratios.size(), 1);
        slow_shares.assign(family.ratios.size(), 0.0);
    }

    double grid_step() const { return family.moves ? 0.003 : 0.0008; }
    double window_hz() const { return static_cast<double>(bins) * bin_hz; }
    double half_width_hz(double line_hz) const {
        if (!family.moves) return 2.2 * bin_hz + 0.0005 * line_hz;
        const double slope = std::abs(places.slope_places()) * grid_step() / hop_s;
        return 2.2 * bin_hz + line_hz * (0.012 + 0.5 * slope * window_s);
    }
    bool in_band(double line_hz) const { return line_hz + half_width_hz(line_hz) + 10.0 * bin_hz < std::min(window_hz(), 0.49 * sample_rate_hz); }

    FollowedPower take_column(std::size_t column) {
        for (std::size_t c = 0; c < floors.size(); ++c) {
            const auto& density = columns[c][column];
            floors[c].add(density);
            sums[c].set(bins, [&](std::size_t k) { return density[k]; });
            const auto noise = floors[c].noise();
            const auto usual = floors[c].usual();
            const bool mind_others = family.moves;
            under.resize(bins);
            for (std::size_t k = 0; k < bins; ++k) under[k] = mind_others && floors[c].stands(k) ? 1.5 * usual[k] : floors[c].lift() * noise[k];
            // the skirts of a loud line are no line: what lies 20 dB below the loudest near it says nothing
            raise_to_peaks(under, density, 0.01, [&](std::size_t k) { return mind_others && floors[c].stands(k); });
            score_sums[c].set(bins, [&](std::size_t k) { return density[k] / under[k]; });
            if (!mind_others) continue;
            standing_sums[c].set(bins, [&](std::size_t k) { return floors[c].stands(k) ? usual[k] - noise[k] : 0.0; });
            clear_sums[c].set(bins, [&](std::size_t k) { return floors[c].stands(k) ? 0.0 : density[k]; });
            clear_widths[c].set(bins, [&](std::size_t k) { return floors[c].stands(k) ? 0.0 : 1.0; });
        }
        weigh_places();
        places.update(odds);
        const double chance = places.present();
        found = chance > (found ? lost_below : found_above);
        if (found) places.was_found(places.likeliest_hz());
        look(column);
        return reading();
    }

    void weigh_places() {
        const double share = std::min(1.0, 1.9 * hop_s / window_s);   // overlapping windows say the same again
        for (std::size_t i = 0; i < odds.size(); ++i) {
            double best = -1e9;
            for (std::size_t c = 0; c < floors.size(); ++c) {
                const double hz = places.place_hz(i);
                const double leading = leader_odds.of(score_sums[c].over(hz / bin_hz, score_width) / score_width);
                double sum = leading;
                // another line's multiple must not make a family: the leading line leads
                for (const double ratio : family.ratios)
                    if (ratio != 1.0 && in_band(ratio * hz))
                        sum += std::min(follower_odds.of(score_sums[c].over(ratio * hz / bin_hz, score_width) / score_width),
                                        std::max(0.0, leading) + 0.5);
                best = std::max(best, sum);
            }
            odds[i] = share * best;
        }
    }

    void look(std::size_t column) {
        Look now;
        now.found = found;
        const double leader_hz = places.likeliest_hz();
        for (std::size_t c = 0; c < floors.size(); ++c) {
            now.lines.emplace_back();
            for (const double ratio : family.ratios) now.lines.back().push_back(line_power(c, ratio * leader_hz));
        }
        kept.push_back(std::move(now));
        if (kept.size() > looks) kept.pop_front();
        if (!family.moves) return;
        std::fill(touched.begin(), touched.end(), 0);
        for (const double ratio : family.ratios) {
            // once it is lost it may be anywhere near: nothing is learnt there
            const double hz = ratio * leader_hz, reach = half_width_hz(hz) + 40.0 + (found ? 0.01 : 0.08) * hz;
            const auto from = static_cast<std::size_t>(std::clamp((hz - reach) / bin_hz, 0.0, static_cast<double>(bins)));
            const auto to = static_cast<std::size_t>(std::clamp((hz + reach) / bin_hz, 0.0, static_cast<double>(bins)));
            std::fill(touched.begin() + static_cast<std::ptrdiff_t>(from), touched.begin() + static_cast<std::ptrdiff_t>(to), 1);
        }
        for (std::size_t c = 0; c < floors.size(); ++c) floors[c].learn(columns[c][column], touched);
    }

    LinePower line_power(std::size_t channel, double line_hz) const {
        LinePower out;
        if (!in_band(line_hz)) return out;
        const double centre = line_hz / bin_hz, half = half_width_hz(line_hz) / bin_hz;
        out.width = 2.0 * half;
        out.band = sums[channel].over(centre, out.width) * bin_hz;
        for (std::size_t i = 0; i < side_bands; ++i) {
            const std::size_t further = i / 2;
            const double away = half + 1.0 + side_width * (0.5 + static_cast<double>(further));
            const double at = centre + (i % 2 == 0 ? -away : away);
            const double width = family.moves ? clear_widths[channel].over(at, side_width) : side_width;
            const double nearest = std::clamp(std::round(at), 0.0, static_cast<double>(bins - 1));
            out.beside[i] = width < 0.5 * side_width ? floors[channel].noise()[static_cast<std::size_t>(nearest)]
                                                     : (family.moves ? clear_sums : sums)[channel].over(at, side_width) / width;
        }
        if (!family.moves) return out;
        out.standing = standing_sums[channel].over(centre, out.width) * bin_hz;
        if (out.standing > small_share * out.band) leave_out_others(out, channel, centre, half);
        return out;
    }

    /// Bins in which another line stands are no part of the band; where they reach into the line itself, it is clouded.
    void leave_out_others(LinePower& line, std::size_t channel, double centre, double half) const {
        const RunningFloor& floor = floors[channel];
        LinePower rest = line;
        rest.standing = 0;
        for (auto k = static_cast<std::size_t>(std::max(0.0, std::ceil(centre - half - 0.5))); k < bins; ++k) {
            const double place = static_cast<double>(k);
            if (place >= centre + half + 0.5) break;
            if (!floor.stands(k)) continue;
            const double covered = std::min(place + 0.5, centre + half) - std::max(place - 0.5, centre - half);
            if (covered <= 0.0) continue;
            rest.band -= columns[channel].front()[k] * covered * bin_hz;
            rest.width -= covered;
            if (std::abs(place - centre) < 2.0) line.clouded = true;
        }
        if (!line.clouded) line = rest;
    }

    /// Over the newest looks of one state (found or not).
    LineSum line_sum(std::size_t channel, std::size_t ratio) const {
        LineSum out;
        std::array<double, side_bands> beside{};
        double band = 0, width = 0, standing = 0, count = 0, looks_at_it = 0, clear = 0;
        const auto each_look = [&](const auto& take) {
            for (auto one = kept.rbegin(); one != kept.rend() && one->found == found; ++one)
                if (one->lines[channel][ratio].width > 0.0) take(one->lines[channel][ratio]);
        };
        each_look([&](const LinePower& line) {
            ++looks_at_it;
            clear += line.clouded ? 0 : 1;
        });
        const bool clear_alone = clear > 0.25 * looks_at_it;
        each_look([&](const LinePower& line) {
            if (clear_alone && line.clouded) return;
            band += line.band;
            width += line.width * bin_hz;
            standing += line.standing;
            for (std::size_t i = 0; i < side_bands; ++i) beside[i] += line.beside[i];
            ++count;
        });
        if (count == 0) return out;
        band /= count;
        width /= count;
        standing /= count;
        for (double& density : beside) density /= count;
        // another line beside it must not pass for noise: the middle ones count
        std::sort(beside.begin(), beside.end());
        const double time_s = (count - 1.0) * hop_s + 0.5 * window_s;
        const double freedom = std::max(1.0, side_width * bin_hz * time_s);
        out.noise = 0.25 * (beside[2] + beside[3] + beside[4] + beside[5]) / std::pow(1.0 - 1.0 / (9.0 * freedom), 3);
        out.power = band - out.noise * width - standing;
        out.standing = standing;
        const double line = std::max(0.0, out.power);
        out.variance = (2.0 * line * out.noise + out.noise * out.noise * width) / time_s +
                       std::pow(out.noise * width, 2) / (freedom * static_cast<double>(side_bands) * 0.7) +
                       0.06 * standing * standing + line_model * line * line + 2.0 * line * standing * std::min(1.0, 0.5 * window_s / time_s);
        return out;
    }

    FollowedPower reading() {
        FollowedPower out;
        out.time_s = static_cast<double>(count_looked++ * hop + length) / sample_rate_hz;
        if (found) out.frequency_hz = places.likeliest_hz();
        double loudest = -1;
        for (std::size_t c = 0; c < floors.size(); ++c) {
            double power = 0, variance = 0, hidden = 0, standing = 0;
            std::vector<double> each;
            for (std::size_t r = 0; r < family.ratios.size(); ++r) {
                const LineSum line = line_sum(c, r);
                each.push_back(std::max(0.0, line.power));
                if (!counts[r]) continue;
                power += line.power;
                variance += line.variance;
                standing += line.standing;
                if (family.ratios[r] == 1.0) hidden = 2.0 * line.noise * score_width * bin_hz;
            }
            const double sd = std::sqrt(variance);
            const bool drowned = !found || power < 3.0 * sd;
            out.at_most.push_back(drowned);
            if (!drowned) out.mean_square.push_back({power, sd, sd > 0.25 * power ? LimitedBy::noise : LimitedBy::nothing});
            else out.mean_square.push_back({std::max(power + standing, 0.0) + 2.0 * sd + (found ? 0.0 : hidden), 0.0, LimitedBy::noise});
            if (power <= loudest) continue;
            loudest = power;
            newest_shares = each;
            for (double& share : newest_shares) share /= std::max(power, 1e-30);
        }
        if (found) weigh_lines();
        return out;
    }

    /// A line with less than 3 % of the power brings more noise than it adds (0.13 dB).
    void weigh_lines() {
        ++found_hops;
        for (std::size_t r = 0; r < counts.size(); ++r) {
            slow_shares[r] += std::max(hop_s / 2.0, 1.0 / static_cast<double>(found_hops)) * (newest_shares[r] - slow_shares[r]);
            if (static_cast<double>(found_hops) * hop_s > 1.0) counts[r] = family.ratios[r] == 1.0 || slow_shares[r] > (counts[r] ? 0.02 : 0.04);
        }
    }

    LineFamily family;
    double window_s;
    std::size_t length, hop;
    double bin_hz, hop_s;
    std::size_t looks;
    double sample_rate_hz;
    PlaceFilter places;
    std::size_t bins = 0, count_looked = 0;
    std::vector<SpectrogramStream> streams;
    std::vector<std::deque<std::vector<double>>> columns;
    std::vector<RunningFloor> floors;
    std::vector<BandSums> sums, score_sums, standing_sums, clear_sums, clear_widths;   // [channels] of the newest spectrum
    LineOdds leader_odds{0.0}, follower_odds{0.5};
    std::vector<double> odds, newest_shares, under;
    std::vector<char> touched, counts;   // counts [ratios]: lines that the level holds
    std::vector<double> slow_shares;
    std::size_t found_hops = 0;
    std::deque<Look> kept;
    bool found = false;
};

LineFollower::LineFollower(double sample_rate_hz, std::size_t channels, const LineFamily& family) {
    check(sample_rate_hz, channels, family);
    state_ = std::make_unique<State>(sample_rate_hz, channels, family);
}
LineFollower::~LineFollower() = default;
LineFollower::LineFollower(LineFollower&&) noexcept = default;
LineFollower& LineFollower::operator=(LineFollower&&) noexcept = default;

void LineFollower::learn_others(const Block& stretch) {
    State& s = *state_;
    if (!s.family.moves || stretch.channels() != s.floors.size() || static_cast<double>(stretch.frames()) < 1.5 * s.sample_rate_hz) return;
    for (std::size_t c = 0; c < stretch.channels(); ++c)
        for (const StandingLine& line : standing_lines(stretch.channel(c), s.sample_rate_hz, s.window_hz())) {
            const bool own = std::any_of(s.family.ratios.begin(), s.family.ratios.end(), [&](double ratio) {
                const double hz = ratio * s.family.frequency_hz;
                return std::abs(line.frequency_hz - hz) < std::max(6.0, 0.012 * hz);
            });
            if (!own) s.floors[c].expect(line.frequency_hz, line.mean_square, s.bin_hz);
        }
}

double LineFollower::hop_s() const { return state_->hop_s; }

std::vector<FollowedPower> LineFollower::add(const Block& block) {
    State& s = *state_;
    require_followable(block, s.streams.size());
    for (std::size_t c = 0; c < block.channels(); ++c) s.streams[c].add(block.channel(c));
    std::vector<FollowedPower> out;
    for (; !s.columns.front().empty();) {
        out.push_back(s.take_column(0));
        for (auto& column : s.columns) column.pop_front();
    }
    return out;
}

}  // namespace hushtrace
