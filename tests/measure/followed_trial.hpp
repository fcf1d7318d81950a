#pragma once
#include <optional>
#include <vector>

#include "hushtrace/measure/line_follower.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "measure/followed_sound.hpp"

/// What the follower made of one sound, first channel.
struct FollowedTrial {
    std::optional<double> change_error_db;   ///< shown 0.7 s after the step, against the true step; unset: not found then
    std::vector<double> steady_z;            ///< (level - truth) / sd, every 0.5 s from 3 s to the step
    double found_after_s = 99, back_after_s = 99;
    double gone_hops = 0, found_while_gone = 0;      ///< share, from 0.7 s after it went
    double present_hops = 0, present_found = 0;      ///< share, while it is there
    double wrong_place = 0;                          ///< share of present_hops: found, more than 4 % off
    double hidden_hops = 0, at_most_held = 0;        ///< there, and shown as "at most"; share that was true
    double at_most_margin_db = 0;
};

inline FollowedTrial followed_trial(const FollowedLaw& law, std::uint64_t seed) {
    using namespace hushtrace;
    const FollowedSound made = followed_sound(law, seed);
    LineFamily family;
    double sum_hz = 0;
    for (std::size_t n = 0; n < 300; ++n) sum_hz += made.frequency_hz[n * static_cast<std::size_t>(0.01 * law.rate_hz)];
    family.frequency_hz = sum_hz / 300.0;   // an analysis of these three seconds would give that
    family.low_hz = 0.5 * made.first_hz;
    family.high_hz = 5.0 * made.first_hz;
    family.ratios = {1.0, 2.0, 3.0};
    LineFollower follower(law.rate_hz, 2, family);
    Block first(2, static_cast<std::size_t>(3.0 * law.rate_hz));   // as FollowTask does
    for (std::size_t c = 0; c < 2; ++c) std::copy_n(made.sound.channel(c).begin(), first.frames(), first.channel(c).begin());
    follower.learn_others(first);
    FollowedTrial out;
    std::optional<double> before;
    double next_z = 3.0, found_gone = 0, found_present = 0, wrong = 0, held = 0, margin = 0;
    for (std::size_t at = 0; at < made.sound.frames(); at += 1024) {
        Block block(2, std::min<std::size_t>(1024, made.sound.frames() - at));
        for (std::size_t c = 0; c < 2; ++c)
            std::copy_n(made.sound.channel(c).begin() + static_cast<std::ptrdiff_t>(at), block.frames(), block.channel(c).begin());
        for (const FollowedPower& one : follower.add(block)) {
            const double t = one.time_s, level = dbfs_from_mean_square(one.mean_square[0].value);
            const bool gone = t > law.gone_s && t < law.back_s;
            const double truth = dbfs_from_mean_square(made.mean_square) + (t > law.step_s && t < law.gone_s ? law.step_db : 0.0);
            if (one.frequency_hz && out.found_after_s > 90) out.found_after_s = t;
            if (one.frequency_hz && t > law.back_s && out.back_after_s > 90) out.back_after_s = t - law.back_s;
            if (gone && t > law.gone_s + 0.7) {
                ++out.gone_hops;
                found_gone += one.frequency_hz ? 1 : 0;
            }
            if (!gone && t > 1.5 && (t < law.gone_s || t > law.back_s + 1.0)) {
                ++out.present_hops;
                found_present += one.frequency_hz ? 1 : 0;
                const auto then = static_cast<std::size_t>(std::max(0.0, t - 0.5 * 0.085) * law.rate_hz);
                const double true_hz = made.frequency_hz[std::min(then, made.frequency_hz.size() - 1)];
                if (one.frequency_hz && std::abs(*one.frequency_hz / true_hz - 1.0) > 0.04) ++wrong;
                if (one.at_most[0] && std::abs(t - law.step_s) > 0.7) {
                    ++out.hidden_hops;
                    held += truth <= level ? 1 : 0;
                    margin += level - truth;
                }
            }
            if (!one.at_most[0] && t >= next_z && t < law.step_s && !gone) {
                next_z = t + 0.5;
                const double sd = 4.343 * one.mean_square[0].sd / one.mean_square[0].value;
                out.steady_z.push_back((level - truth) / sd);
            }
            if (one.frequency_hz && t < law.step_s) before = truth;
            if (t > law.step_s + 0.7 && t < law.step_s + 0.73 && !one.at_most[0] && before)
                out.change_error_db = level - *before - law.step_db;
        }
    }
    out.found_while_gone = found_gone / std::max(1.0, out.gone_hops);
    out.present_found = found_present / std::max(1.0, out.present_hops);
    out.wrong_place = wrong / std::max(1.0, out.present_hops);
    out.at_most_held = held / std::max(1.0, out.hidden_hops);
    out.at_most_margin_db = margin / std::max(1.0, out.hidden_hops);
    return out;
}
