#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "../takes/line_level.hpp"
#include "../takes/motor_turns.hpp"
#include "converter_noise.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/engine_orders.hpp"
#include "noise_parts.hpp"

namespace hushtrace {
namespace {

double power_of(const OrderLine& line) {
    double sum = 0;
    for (const double p : line.mean_square) sum += p;
    return sum;
}

/// The line nearest to a ratio, within what wander and reading leave open; none if there is none.
const OrderLine* line_at(const MovingFamily& family, double ratio) {
    const OrderLine* best = nullptr;
    for (const OrderLine& line : family.lines) {
        const double reach = std::max(0.0006 * ratio, 2.0 / family.mean_hz);
        if (std::abs(line.ratio - ratio) > reach) continue;
        if (!best || power_of(line) > power_of(*best)) best = &line;
    }
    return best;
}

/// The rate of a swing, against the followed line, where side lines about so far apart are those of one: a phase that swings by b radians at one rate leaves a carrier J0(b)
/// and side lines J1(b), J2(b) alike on either side (Carson 1922, Proc. IRE 10(1)); up to b = 1.3 J2 J0 / J1^2 lies between 0.43 and
/// 0.50. A comb's teeth fall off otherwise.
std::optional<double> swing_of(const MovingFamily& family, const OrderLine& line, double spacing) {
    constexpr double least = 0.08, most = 0.42, alike = 2.5, near_by = 0.06;   // of (J2 J0 / J1^2)^2, read with some noise; in power
    const auto strongest_at = [&](double ratio) -> const OrderLine* {
        const OrderLine* best = nullptr;
        for (const OrderLine& other : family.lines)
            if (std::abs(other.ratio - ratio) < near_by * spacing && (!best || power_of(other) > power_of(*best))) best = &other;
        return best;
    };
    std::array<double, 2> both{};   // powers of the first and the second side lines, geometric means
    for (std::size_t n = 0; n < both.size(); ++n) {
        const double away = static_cast<double>(n + 1) * spacing;
        const OrderLine *below = strongest_at(line.ratio - away), *above = strongest_at(line.ratio + away);
        const bool one_will_do = n > 0;   // a pump's family may have claimed the other
        if (one_will_do && (below || above) && !(below && above)) {
            both[n] = power_of(below ? *below : *above);
            continue;
        }
        if (!below || !above || power_of(*below) > alike * power_of(*above) || power_of(*above) > alike * power_of(*below)) return std::nullopt;
        both[n] = std::sqrt(power_of(*below) * power_of(*above));
        spacing = 0.5 * (above->ratio - below->ratio) / static_cast<double>(n + 1);   // the clicks' rate is read more coarsely
    }
    const double falls = both[1] * power_of(line) / (both[0] * both[0]);
    if (both[0] > power_of(line) || falls < least || falls > most) return std::nullopt;
    return spacing;
}

/// The lines beside one whose phase the firings swing: what it holds besides its carrier.
std::vector<const OrderLine*> side_lines(const MovingFamily& family, const OrderLine& line) {
    constexpr double farthest_hz = 250.0, most = 4.0, near_by = 0.06;   // firings a second; of their rate
    const OrderLine* next = nullptr;
    for (const OrderLine& other : family.lines)
        if (&other != &line && std::abs(other.ratio - line.ratio) * family.mean_hz < farthest_hz && (!next || power_of(other) > power_of(*next)))
            next = &other;
    std::vector<const OrderLine*> found;
    const auto spacing = next ? swing_of(family, line, std::abs(next->ratio - line.ratio)) : std::nullopt;
    if (!spacing) return found;
    for (const OrderLine& other : family.lines) {
        const double away = std::abs(other.ratio - line.ratio) / *spacing, whole = std::round(away);
        if (whole > 0.0 && whole <= most && std::abs(away - whole) < near_by) found.push_back(&other);
    }
    return found;
}

/// Whether a line is one tooth of the clicks' comb: nearly as strong a line a click's rate above it, or one
/// below.
bool is_comb_tooth(const MovingFamily& family, const OrderLine& line, double click_rate_hz) {
    const double spacing = click_rate_hz / family.mean_hz;
    bool above = false, below = false;
    for (const OrderLine& other : family.lines) {
        if (power_of(other) < 0.12 * power_of(line)) continue;
        if (std::abs(other.ratio - line.ratio - spacing) < 0.06 * spacing) above = true;
        if (std::abs(line.ratio - other.ratio - spacing) < 0.06 * spacing) below = true;
    }
    // at the comb's end, and where two combs run together, one neighbour is all there is
    return (above || below) && !swing_of(family, line, spacing);
}

enum class Fit { impossible, possible, usual };

/// Whether a line may be six pulses of the alternator: by its hertz per rpm where the speed is stated (within
/// 6 %), else by what an idling or raised engine can do.
Fit fits_alternator(double frequency_hz, const Conditions& conditions) {
    using W = WhineConstants;
    if (conditions.rpm && *conditions.rpm > 0.0) {
        const double k = frequency_hz / *conditions.rpm;
        if (k < 0.94 * W::possible_low || k > 2.0 * 1.06 * W::possible_high) return Fit::impossible;
        return k > 0.94 * W::usual_low && k < 1.06 * W::usual_high ? Fit::usual : Fit::possible;
    }
    const bool idling = conditions.engine == Engine::idle;
    const double low = IdleSpeed::low, high = idling ? IdleSpeed::high : 4500.0;
    if (frequency_hz < W::possible_low * low || frequency_hz > 2.0 * W::possible_high * high)
        return Fit::impossible;
    const double warm_low = idling ? 600.0 : 1200.0, warm_high = idling ? 1000.0 : 3500.0;
    return frequency_hz > W::usual_low * warm_low && frequency_hz < W::usual_high * warm_high ? Fit::usual
                                                                                              : Fit::possible;
}

/// Sub-lines of a six-pulse line: the stator's own frequency and its multiples below six.
constexpr std::array<double, 5> kFractions = {1.0 / 6, 2.0 / 6, 3.0 / 6, 4.0 / 6, 5.0 / 6};

/// The strongest line of a family that is neither a click's tooth nor rumble.
double power_of_leader(const MovingFamily& family, std::optional<double> click_rate_hz) {
    constexpr double rumble_to_hz = 250.0;
    double most = 0;
    for (const OrderLine& line : family.lines)
        if (line.ratio * family.mean_hz > rumble_to_hz && !(click_rate_hz && is_comb_tooth(family, line, *click_rate_hz)))
            most = std::max(most, power_of(line));
    return most;
}

double six_pulse_merit(const MovingFamily& family, const OrderLine& candidate, Fit fit, std::optional<double> click_rate_hz) {
    const double power = power_of(candidate);
    double explained = power;
    std::size_t relatives = 0;
    for (const double m : {2.0, 3.0, 4.0}) {
        const OrderLine* multiple = line_at(family, m * candidate.ratio);
        if (!multiple) continue;
        if (power_of(*multiple) > 3.0 * power) return -1e9;  // then that one would lead
        explained += power_of(*multiple);
        ++relatives;
    }
    for (const double part : kFractions) {
        const OrderLine* below = line_at(family, part * candidate.ratio);
        if (!below) continue;
        explained += power_of(*below);
        ++relatives;
    }
    // a line that leads it an octave down, without the other lines of a faulty stator: it is that one's multiple. One that leads
    // it, and none of its relatives: it is that one's side line
    const OrderLine* octave_down = line_at(family, 0.5 * candidate.ratio);
    const bool faulty = line_at(family, candidate.ratio / 6.0) || line_at(family, candidate.ratio / 3.0) || line_at(family, candidate.ratio / 1.5);
    if (octave_down && !faulty && power_of(*octave_down) > 3.0 * power) return -1e9;
    if (power_of_leader(family, click_rate_hz) > 4.0 * explained) return -1e9;
    if (power < 0.002 * explained) return -1e9;
    const double prior_db = fit == Fit::usual ? 0.0 : -7.0;
    return decibels_from_power(explained) + 0.5 * decibels_from_power(power / explained) + prior_db +
           2.0 * static_cast<double>(std::min<std::size_t>(relatives, 3));
}

}  // namespace

std::optional<double> click_rate_of(const TakeSurvey& survey) {
    const ImpulseTrain* strongest = nullptr;
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.clicks && (!strongest || channel.clicks->significance > strongest->significance))
            strongest = &*channel.clicks;
    if (!strongest) return std::nullopt;
    return strongest->rate.mean_hz();
}

bool is_comb_of_clicks(const TakeSurvey& survey, const MovingFamily& family) {
    const auto rate = click_rate_of(survey);
    if (!rate) return false;
    const OrderLine* own = line_at(family, 1.0);
    return own && is_comb_tooth(family, *own, *rate);
}

std::vector<WhineCandidate> whine_candidates(const TakeSurvey& survey) {
    std::vector<WhineCandidate> found;
    const Conditions& conditions = survey.take->conditions;
    if (!engine_turns(conditions.engine) && conditions.engine != Engine::ready) return found;
    const auto clicks = click_rate_of(survey);
    for (std::size_t i = 0; i < survey.families.size(); ++i) {
        const MovingFamily& family = survey.families[i];
        if (has_turns_of_no_alternator(family, clicks)) continue;
        for (const OrderLine& line : family.lines) {
            WhineCandidate candidate;
            candidate.family = i;
            candidate.ratio = line.ratio;
            candidate.frequency_hz = line.ratio * family.mean_hz;
            const Fit fit = fits_alternator(candidate.frequency_hz, conditions);
            if (fit == Fit::impossible || is_of_pulses(survey, candidate.frequency_hz) || (clicks && is_comb_tooth(family, line, *clicks))) continue;
            candidate.usual_constant = fit == Fit::usual;
            candidate.frequency_sd_hz =
                std::max(line.ratio_sd * family.mean_hz, family.wander * candidate.frequency_hz /
                                                             std::sqrt(std::max(1.0, survey.duration_s / 0.5)));
            candidate.merit_db = six_pulse_merit(family, line, fit, clicks);
            if (candidate.merit_db > -1e8) found.push_back(candidate);
        }
    }
    return found;
}

namespace {

/// What the family's lines say of the machine, against the leader.
WhineOrders orders_of(const MovingFamily& family, double ratio) {
    WhineOrders orders;
    const double lead = std::max(power_of(*line_at(family, ratio)), 1e-30);
    const auto against_db = [&](double number) -> std::optional<double> {
        const OrderLine* line = line_at(family, number * ratio);
        if (!line) return std::nullopt;
        return decibels_from_power(std::max(power_of(*line) / lead, 1e-30));
    };
    orders.twelfth = against_db(1.0 / 12);
    orders.sixth = against_db(1.0 / 6);
    orders.third = against_db(1.0 / 3);
    orders.half = against_db(0.5);
    orders.two_thirds = against_db(2.0 / 3);
    orders.twice = against_db(2.0);
    orders.lead_prominence_db = line_at(family, ratio)->prominence_db;
    return orders;
}

}  // namespace

std::optional<WhineInTake> whine_at(const TakeSurvey& survey, const WhineCandidate& candidate) {
    const Conditions& conditions = survey.take->conditions;
    const auto clicks = click_rate_of(survey);
    const MovingFamily& family = survey.families[candidate.family];
    const double ratio = candidate.ratio;
    const OrderLine* leader = line_at(family, ratio);
    if (!leader) return std::nullopt;
    std::optional<WhineInTake> best = WhineInTake{};
    best->survey = &survey;
    best->family = candidate.family;
    best->frequency_hz = candidate.frequency_hz;
    best->frequency_sd_hz = candidate.frequency_sd_hz;
    best->wander = family.wander;
    best->significance = family.significance;
    best->usual_constant = candidate.usual_constant;
    if (conditions.rpm && *conditions.rpm > 0.0) best->hz_per_rpm = candidate.frequency_hz / *conditions.rpm;
    std::size_t loudest = 0;
    for (std::size_t c = 0; c < leader->mean_square.size(); ++c)
        if (leader->mean_square[c] > leader->mean_square[loudest]) loudest = c;
    best->mean_square.assign(survey.channels.size(), 0.0);
    const auto take_in = [&](double number) {
        const OrderLine* line = line_at(family, number * ratio);
        if (!line || (number != 1.0 && clicks && is_comb_tooth(family, *line, *clicks))) return false;
        for (std::size_t c = 0; c < survey.channels.size(); ++c) best->mean_square[c] += line->mean_square[c];
        best->harmonics.push_back(harmonic_of(survey.channels[loudest], number, line->ratio * family.mean_hz,
                                              line->mean_square[loudest]));
        return true;
    };
    for (const double part : kFractions) take_in(part);
    for (const double m : {1.0, 2.0, 3.0, 4.0, 5.0, 6.0})
        if (take_in(m) && m > 1.0) ++best->multiples;
    for (const OrderLine* side : side_lines(family, *leader))
        for (std::size_t c = 0; c < survey.channels.size(); ++c) best->mean_square[c] += side->mean_square[c];
    best->orders = orders_of(family, ratio);
    return best;
}

namespace {

/// Whether a take has a still line there, not much weaker.
bool has_line(const TakeSurvey& survey, double frequency_hz, double least_mean_square) {
    for (const ChannelSurvey& channel : survey.channels)
        for (const SpectralLine& line : channel.lines)
            if (std::abs(line.frequency_hz - frequency_hz) < std::max(2.0, 0.001 * frequency_hz) &&
                line.mean_square > least_mean_square)
                return true;
    return false;
}

/// Whether a still line is one tooth of the clicks' comb: nearly as strong a line a click's rate above it, or below.
bool is_tooth(const ChannelSurvey& channel, const SpectralLine& line, double click_rate_hz) {
    return std::any_of(channel.lines.begin(), channel.lines.end(), [&](const SpectralLine& other) {
        const double away_hz = std::abs(other.frequency_hz - line.frequency_hz);
        return std::abs(away_hz - click_rate_hz) < std::max(1.5, 0.02 * click_rate_hz) &&
               other.mean_square > 0.12 * line.mean_square;
    });
}

/// Whether a line lies on a multiple of a phone's frames that sound in the take.
bool is_phones(const ChannelSurvey& channel, double frequency_hz) {
    constexpr double skirt_hz = 2.5;
    return channel.phone && channel.phone->comb.teeth.size() > 2 &&
           std::abs(std::remainder(frequency_hz, channel.phone->comb.spacing_hz)) < skirt_hz;
}

}  // namespace

namespace {

/// Whether the engine's clicks, where they are beyond doubt, make a line there: one of theirs, as far as their rate strays, or any
/// where that is so far that none of the engine's lines can hold still.
bool smeared_by_the_engine(const ChannelSurvey& channel, double frequency_hz) {
    constexpr double beyond_doubt = 60.0, farthest = 0.02;  // significance: a held tone itself passes for clicks at 33; a chance train strays farther
    constexpr double read_to = 0.0015, held_hz = 6.0, read_to_hz = 1.5, some = 0.25;   // of the rate: the reading's own jitter; a held line's width
    if (!channel.clicks || channel.clicks->significance < beyond_doubt || channel.clicks->rate.wander() > farthest) return false;
    const double wander = channel.clicks->rate.wander(), rate_hz = channel.clicks->rate.mean_hz();
    if (wander > read_to && wander * frequency_hz > held_hz) return true;
    return std::abs(std::remainder(frequency_hz, rate_hz)) < std::min(read_to_hz + 3.0 * wander * frequency_hz, some * rate_hz);
}

}  // namespace

std::vector<HeldLine> held_lines(const TakeSurvey& survey, const std::vector<const TakeSurvey*>& others) {
    std::vector<HeldLine> found;
    const Conditions& conditions = survey.take->conditions;
    if (!engine_turns(conditions.engine)) return found;
    const auto clicks = click_rate_of(survey);
    for (const ChannelSurvey& channel : survey.channels)
        for (const SpectralLine& line : channel.lines) {
            const Fit fit = fits_alternator(line.frequency_hz, conditions);
            if (fit == Fit::impossible || line.prominence_db < 10.0 || is_of_pulses(survey, line.frequency_hz)) continue;
            if ((clicks && is_tooth(channel, line, *clicks)) || is_phones(channel, line.frequency_hz) ||
                smeared_by_the_engine(channel, line.frequency_hz))
                continue;
            // a line that is there at another speed, or at rest, is none of the engine's
            if (std::any_of(others.begin(), others.end(), [&](const TakeSurvey* other) {
                    return has_line(*other, line.frequency_hz, 0.1 * line.mean_square);
                }))
                continue;
            HeldLine held{line.frequency_hz, std::max(line.frequency_sd_hz, line.width_hz / 6.0), line.prominence_db,
                          line.mean_square, fit == Fit::usual};
            const auto same = std::find_if(found.begin(), found.end(), [&](const HeldLine& one) {
                return std::abs(one.frequency_hz - held.frequency_hz) < std::max(1.0, 5e-4 * held.frequency_hz);
            });
            if (same == found.end()) found.push_back(held);
            else if (same->mean_square < held.mean_square) *same = held;
        }
    std::sort(found.begin(), found.end(), [](const HeldLine& a, const HeldLine& b) { return a.mean_square > b.mean_square; });
    if (found.size() > 30) found.resize(30);
    return found;
}

WhineInTake held_whine_at(const TakeSurvey& survey, const HeldLine& line) {
    WhineInTake whine;
    whine.survey = &survey;
    whine.frequency_hz = line.frequency_hz;
    whine.frequency_sd_hz = line.frequency_sd_hz;
    whine.significance = line.prominence_db;
    whine.usual_constant = line.usual_constant;
    const auto rpm = survey.take->conditions.rpm;
    if (rpm && *rpm > 0.0) whine.hz_per_rpm = line.frequency_hz / *rpm;
    whine.mean_square.assign(survey.channels.size(), 0.0);
    for (std::size_t c = 0; c < survey.channels.size(); ++c)
        for (const double m : {1.0, 2.0, 3.0})
            for (const SpectralLine& one : survey.channels[c].lines)
                if (std::abs(one.frequency_hz - m * whine.frequency_hz) < std::max(2.0, 0.0015 * m * whine.frequency_hz)) {
                    whine.mean_square[c] += one.mean_square;
                    if (c > 0) continue;
                    whine.harmonics.push_back(harmonic_of(survey.channels[c], m, one.frequency_hz, one.mean_square));
                    if (m > 1.0) ++whine.multiples;
                }
    return whine;
}

double correlation_of(const Track& a, const Track& b) {
    if (a.empty() || b.empty()) return 0.0;
    const double from = std::max(a.time_s.front(), b.time_s.front()) + 0.3;
    const double to = std::min(a.time_s.back(), b.time_s.back()) - 0.3;
    double n = 0, sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    for (double t = from; t < to; t += 0.1) {
        double x = 0, y = 0;  // both smoothed over half a second: the click rate is read more coarsely than a line
        for (int j = -2; j <= 2; ++j) {
            x += a.at(t + 0.1 * j) / 5.0;
            y += b.at(t + 0.1 * j) / 5.0;
        }
        n += 1;
        sa += x;
        sb += y;
        saa += x * x;
        sbb += y * y;
        sab += x * y;
    }
    if (n < 10) return 0.0;
    const double spread = std::sqrt(std::max(saa - sa * sa / n, 0.0) * std::max(sbb - sb * sb / n, 0.0));
    return spread > 0.0 ? (sab - sa * sb / n) / spread : 0.0;
}

}  // namespace hushtrace
