#include "line_families.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "hushtrace/measure/order_spectrum.hpp"
#include "hushtrace/measure/tracked_power.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

/// Less is no line. It proves none either: a track strung together from the noise's own peaks stands out by as much in a
/// minute; the search's evidence decides.
constexpr double kStandsOut = 6.0;

/// Power at a frequency in the spectrum over time, against the noise round it [dB]: the best bin within
/// reach.
double prominence_in_time(const ChannelSurvey& survey, double frequency_hz, double reach_hz) {
    const std::size_t low = survey.spectrum.bin_of(frequency_hz - reach_hz),
                      high = survey.spectrum.bin_of(frequency_hz + reach_hz);
    double best = 1e-9;
    for (std::size_t k = low; k <= high; ++k)
        if (survey.floor_density[k] > 0.0)
            best = std::max(best, survey.spectrum.density[k] / survey.floor_density[k]);
    return decibels_from_power(best);
}

double power_of(const OrderLine& line) { return *std::max_element(line.mean_square.begin(), line.mean_square.end()); }

bool is_own(const OrderLine& line) { return std::abs(line.ratio - 1.0) < 0.002; }

/// Followed, a line that moves stands out more than unfollowed; one that holds still, less [dB].
constexpr double kLeastSharpening_db = 0.5;

/// The lines over a track's cycles, in each channel; nothing but the line itself where it proves in the channel it was followed in
/// to hold still.
std::vector<OrderLine> lines_over_cycles(const Track& track, std::size_t followed_in, const std::vector<ThinnedSound>& sounds,
                                            const TakeSurvey& survey, double wander) {
    const double mean_hz = track.mean_hz();
    std::vector<OrderLine> found;
    std::vector<PowerSpectrum> spectra(sounds.size());
    std::vector<std::vector<double>> floors(sounds.size());
    std::vector<std::size_t> order = {followed_in};
    for (std::size_t c = 0; c < sounds.size(); ++c)
        if (c != followed_in) order.push_back(c);
    for (const std::size_t c : order) {
        const auto own = std::find_if(found.begin(), found.end(), is_own);
        if (own != found.end() && own->sharpening_db < kLeastSharpening_db) return {*own};
        spectra[c] = order_spectrum(resample_by_cycles(sounds[c].samples, sounds[c].rate_hz, track), mean_hz);
        floors[c] = noise_under_lines(spectra[c], 40.0 / mean_hz, 0.08);
        const double top = std::min(kHighestOrder_hz, 0.4 * survey.sample_rate_hz) / mean_hz;
        for (const SpectralLine& line : find_lines(spectra[c], floors[c], 30.0 / mean_hz, top)) {
            const double frequency_hz = line.frequency_hz * mean_hz;
            const double spread_hz = std::max(2.0, 2.0 * wander * frequency_hz);
            OrderLine turning;
            turning.ratio = line.frequency_hz;
            turning.ratio_sd = line.frequency_sd_hz;
            turning.prominence_db = line.prominence_db;
            turning.sharpening_db =
                line.prominence_db - prominence_in_time(survey.channels[c], frequency_hz, spread_hz);
            const auto same = std::find_if(found.begin(), found.end(), [&](const OrderLine& other) {
                return std::abs(other.ratio - line.frequency_hz) < 3.0 * spectra[c].bin_hz();
            });
            if (same == found.end())
                found.push_back(turning);
            else if (same->prominence_db < turning.prominence_db)
                *same = turning;
        }
    }
    std::sort(found.begin(), found.end(),
              [](const OrderLine& a, const OrderLine& b) { return a.ratio < b.ratio; });
    for (OrderLine& line : found)
        for (std::size_t c = 0; c < spectra.size(); ++c) {
            const std::size_t k = spectra[c].bin_of(line.ratio);
            double sum = 0;
            for (std::size_t j = k > 3 ? k - 3 : 0; j <= std::min(k + 3, spectra[c].density.size() - 1); ++j)
                sum += (spectra[c].density[j] - floors[c][j]) * spectra[c].bin_hz();
            line.mean_square.push_back(std::max(sum, 0.0));
        }
    return found;
}

/// Those of them that turn with the track: followed, such a line is sharper than unfollowed; one that holds still is smeared.
std::vector<OrderLine> lines_that_turn(std::vector<OrderLine> found, double mean_hz, double wander) {
    const auto turns_with = [&](const OrderLine& line) {
        if (is_own(line)) return true;
        const double smear_bins =
            2.0 * wander * line.ratio * mean_hz / 1.5;  // steady in time, it would be smeared so far here
        if (smear_bins < 3.0 && std::abs(line.ratio - std::round(line.ratio)) < 0.004 && line.ratio > 1.5) return true;
        // low lines (a stator's own frequency) are hardly smeared: by less than a bin it says nothing whether they are sharper
        constexpr double hardly = 0.5, says_something = 1.0;
        if (smear_bins < 3.0) return smear_bins > says_something && line.sharpening_db > hardly;
        return line.sharpening_db > 0.0;
    };
    std::erase_if(found, [&](const OrderLine& line) { return !turns_with(line); });
    return found;
}

/// rms of a track about its mean, smoothed over 0.3 s so that the reading's own jitter counts little.
double smooth_wander(const Track& track) {
    if (track.time_s.size() < 3) return 0.0;
    const double step = track.time_s[1] - track.time_s[0];
    const auto reach = static_cast<std::size_t>(std::max(1.0, 0.15 / step));
    Track smooth;
    for (std::size_t i = reach; i + reach < track.frequency_hz.size(); i += reach) {
        double sum = 0;
        for (std::size_t j = i - reach; j <= i + reach; ++j) sum += track.frequency_hz[j];
        smooth.time_s.push_back(track.time_s[i]);
        smooth.frequency_hz.push_back(sum / static_cast<double>(2 * reach + 1));
    }
    return smooth.wander();
}

/// rms by which a track strays from a multiple of another, so far aside of it [Hz].
double strays_from(const Track& track, const Track& reference, double ratio, double aside_hz) {
    double square = 0;
    for (std::size_t i = 0; i < track.time_s.size(); ++i)
        square += std::pow(track.frequency_hz[i] - ratio * reference.at(track.time_s[i]) - aside_hz, 2);
    return std::sqrt(square / std::max(1.0, static_cast<double>(track.time_s.size())));
}

/// Whether a track keeps to a multiple of another, or so far aside of it: near it for most of the time, and nearer than its
/// own wander would let it be by chance.
bool keeps_to(const Track& track, const Track& reference, double ratio, double aside_hz, double reach_hz) {
    std::size_t near = 0;
    for (std::size_t i = 0; i < track.time_s.size(); ++i)
        if (std::abs(track.frequency_hz[i] - ratio * reference.at(track.time_s[i]) - aside_hz) <
            reach_hz + 0.004 * track.frequency_hz[i])
            ++near;
    constexpr double read_to_hz = 3.0;
    const double mean_hz = track.mean_hz(), own_ratio = (mean_hz - aside_hz) / reference.mean_hz();
    return static_cast<double>(near) > 0.5 * static_cast<double>(track.time_s.size()) &&
           strays_from(track, reference, own_ratio, aside_hz) < 0.7 * track.wander() * mean_hz + read_to_hz;
}

/// A ridge that keeps to one of the family's lines belongs to it. So does one that keeps a click's rate from it, since what
/// the clicks hide of a line shows as sidebands, or any steady step: what chops the current (a regulator) beats with it.
bool belongs_to(const MovingFamily& family, const Track& ridge, double click_hz, double bin_hz) {
    constexpr double highest_beat_hz = 1000.0;
    const Track& leader = family.ridge.track;
    for (const OrderLine& line : family.lines) {
        for (const double aside_hz : {0.0, click_hz, -click_hz, 2.0 * click_hz, -2.0 * click_hz})
            if (keeps_to(ridge, leader, line.ratio, aside_hz, 5.0 * bin_hz)) return true;
        const double step_hz = ridge.mean_hz() - line.ratio * leader.mean_hz();
        if (std::abs(step_hz) < std::min(highest_beat_hz, 0.45 * line.ratio * leader.mean_hz()) &&
            strays_from(ridge, leader, line.ratio, step_hz) < 0.5 * ridge.wander() * ridge.mean_hz() + 1.0)
            return true;
    }
    return false;
}

/// Lines of a family too faint for a spectrum over cycles: the followed line and its multiples, read along the track.
std::vector<OrderLine> faint_lines_of(const Track& track, const std::vector<ThinnedSound>& sounds, double window_s) {
    std::vector<OrderLine> found;
    for (const double ratio : {1.0, 2.0, 3.0}) {
        OrderLine line;
        line.ratio = ratio;
        line.ratio_sd = 0.001 * ratio;
        double best_sd = 0;
        for (const ThinnedSound& sound : sounds) {
            try {
                const TrackedPower power = power_along(sound.samples, sound.rate_hz, track, ratio, window_s);
                line.mean_square.push_back(power.mean_square.value);
                if (power.over_noise_sd <= best_sd) continue;
                best_sd = power.over_noise_sd;
                line.prominence_db = decibels_from_power(power.mean_square.value / power.floor_density);
            } catch (const Error&) {
                line.mean_square.push_back(0.0);
            }
        }
        if (best_sd > kStandsOut) found.push_back(line);
        else if (ratio == 1.0) break;
    }
    return found;
}

/// A track's own phase sharpens it where the line stands out of the noise within so short a time; else it stays as found.
Track sharpened(const ThinnedSound& sound, const Ridge& ridge) {
    const double averaging_s = std::max(0.06, 4.0 / power_from_decibels(ridge.snr_db));
    Track track = ridge.track;
    if (averaging_s > 0.2) return track;
    for (int pass = 0; pass < 2; ++pass) track = refine_track(sound.samples, sound.rate_hz, track, averaging_s);
    return track;
}

/// Whether a followed line is but one tooth of the clicks' comb: so many clicks' rates above it and below it that the window tells
/// them apart, a line stands as well.
bool is_click_tooth(const Track& track, const ThinnedSound& sound, double click_hz) {
    constexpr double nearly_as_strong = 0.3, told_apart_hz = 30.0;
    if (!(click_hz > 0.0)) return false;
    const double step = click_hz * std::ceil(told_apart_hz / click_hz) / track.mean_hz();
    try {
        const double least = nearly_as_strong * power_along(sound.samples, sound.rate_hz, track).over_noise_sd;
        return power_along(sound.samples, sound.rate_hz, track, 1.0 - step).over_noise_sd > least &&
               power_along(sound.samples, sound.rate_hz, track, 1.0 + step).over_noise_sd > least;
    } catch (const Error&) {
        return false;  // at the band's end
    }
}

/// Whether a path strays about a line of a family found before, and holds no more than that does.
bool is_line_of_another(const std::vector<MovingFamily>& families, const MovingFamily& one) {
    constexpr double much_stronger = 2.0;
    const auto own = std::find_if(one.lines.begin(), one.lines.end(), is_own);
    if (own == one.lines.end()) return false;
    for (const MovingFamily& family : families)
        for (const OrderLine& line : family.lines) {
            const double centre_hz = line.ratio * family.mean_hz;
            if (std::abs(one.mean_hz - centre_hz) < 2.0 + family.wander * centre_hz && power_of(*own) < much_stronger * power_of(line)) return true;
        }
    return false;
}

/// Whether a frequency lies where a line of a family found before wanders.
bool claimed(const std::vector<MovingFamily>& families, double frequency_hz) {
    for (const MovingFamily& family : families)
        for (const OrderLine& line : family.lines) {
            const double centre_hz = line.ratio * family.mean_hz;
            if (std::abs(frequency_hz - centre_hz) < 5.0 + 3.0 * family.wander * centre_hz) return true;
        }
    return false;
}

/// Whether a spectrum over time shows a line there that holds still, jittered by the noise at most.
bool holds_still(const ChannelSurvey& channel, double frequency_hz) {
    return std::any_of(channel.lines.begin(), channel.lines.end(), [frequency_hz](const SpectralLine& line) {
        return line.sharpness_db > 10.0 && std::abs(line.frequency_hz - frequency_hz) < 1.5;
    });
}

/// A track's running mean: what it jitters within the window of a phase, that phase does not tell.
Track smoothed(Track track, double over_s) {
    if (track.time_s.size() < 3) return track;
    const auto reach = static_cast<std::size_t>(0.5 * over_s / (track.time_s[1] - track.time_s[0]));
    std::vector<double> sums = {0.0};
    for (const double hz : track.frequency_hz) sums.push_back(sums.back() + hz);
    for (std::size_t i = 0; i < track.frequency_hz.size(); ++i) {
        const std::size_t near_by = std::min({reach, i, track.frequency_hz.size() - 1 - i});
        track.frequency_hz[i] = (sums[i + near_by + 1] - sums[i - near_by]) / static_cast<double>(2 * near_by + 1);
    }
    return track;
}

/// Where a side line or a multiple was followed and a line over its cycles is far stronger, that one is followed in its place, if
/// its own phase makes it the sharper and the first one turns with it: it swings less with each firing than its multiples do, and
/// stands farther out of the noise.
void follow_the_strongest(MovingFamily& family, const std::vector<OrderLine>& over_cycles, const std::vector<ThinnedSound>& sounds,
                          const TakeSurvey& survey) {
    constexpr double far_stronger = 10.0, stands_out_db = 25.0, rumble_to_hz = 250.0, averaging_s = 0.1, as_sharp_db = 3.0;
    const auto own = std::find_if(over_cycles.begin(), over_cycles.end(), is_own);
    if (own == over_cycles.end() || own->sharpening_db < kLeastSharpening_db) return;
    const OrderLine* strongest = &*own;
    for (const OrderLine& line : over_cycles) {
        const double hz = line.ratio * family.mean_hz;
        if (hz < rumble_to_hz || line.prominence_db < stands_out_db || power_of(line) < power_of(*strongest)) continue;
        if (!claimed(survey.families, hz) && !holds_still(survey.channels[family.channel], hz)) strongest = &line;
    }
    if (power_of(*strongest) < far_stronger * power_of(*own)) return;
    for (const MovingFamily& other : survey.families)   // what is weaker may be a side line of that one, smeared
        for (const OrderLine& line : other.lines)
            if (power_of(line) > power_of(*strongest)) return;
    MovingFamily led = family;
    const std::vector<double>& powers = strongest->mean_square;
    led.channel = static_cast<std::size_t>(std::max_element(powers.begin(), powers.end()) - powers.begin());
    const ThinnedSound& sound = sounds[led.channel];
    Track& track = led.ridge.track;
    for (double& hz : track.frequency_hz) hz *= strongest->ratio;
    try {
        for (int pass = 0; pass < 3; ++pass) track = refine_track(sound.samples, sound.rate_hz, smoothed(track, averaging_s), averaging_s);
        led.mean_hz = track.mean_hz();
        led.wander = smooth_wander(track);
        led.lines = lines_that_turn(lines_over_cycles(track, led.channel, sounds, survey, led.wander), led.mean_hz, led.wander);
        led.significance = std::max(family.significance, power_along(sound.samples, sound.rate_hz, track).over_noise_sd);
    } catch (const Error&) {
        return;  // at the band's end
    }
    const auto first = std::find_if(led.lines.begin(), led.lines.end(), [&](const OrderLine& line) {
        return std::abs(line.ratio * strongest->ratio - 1.0) < 0.002 && line.prominence_db > own->prominence_db - as_sharp_db;
    });
    const auto lead = std::find_if(led.lines.begin(), led.lines.end(), is_own);
    if (first == led.lines.end() || lead == led.lines.end() || lead->prominence_db < strongest->prominence_db ||
        lead->sharpening_db < kLeastSharpening_db)
        return;
    std::erase_if(led.lines, [&](const OrderLine& line) { return !is_own(line) && claimed(survey.families, line.ratio * led.mean_hz); });
    family = std::move(led);
}

}  // namespace

void follow_lines(TakeSurvey& survey, const std::vector<std::span<const double>>& stretches, const std::vector<ThinnedSound>& sounds) {
    const std::vector<FollowedRidge> found = find_wandering_lines(survey, stretches, sounds);
    for (const FollowedRidge& one : found) survey.ridges.push_back(one.ridge);
    constexpr double bin_hz = 6.0;
    std::vector<bool> taken(survey.ridges.size(), false);
    for (std::size_t i = 0; i < survey.ridges.size(); ++i) {
        if (taken[i]) continue;
        const std::size_t best = found[i].channel;
        if (found[i].significance < kStandsOut) break;
        const Ridge& ridge = survey.ridges[i];
        const Track track = sharpened(sounds[best], ridge);
        const double mean_hz = track.mean_hz(), wander = smooth_wander(track);
        if (wander * mean_hz < std::max(0.0006 * mean_hz, 0.35 * bin_hz)) continue;
        if (holds_still(survey.channels[best], mean_hz)) continue;
        const auto& clicks = survey.channels[best].clicks;
        if (clicks && is_click_tooth(track, sounds[best], clicks->rate.mean_hz())) continue;
        MovingFamily family;
        family.ridge = ridge;
        family.ridge.track = track;
        family.channel = best;
        family.mean_hz = mean_hz;
        family.wander = wander;
        std::vector<OrderLine> over_cycles;
        try {
            over_cycles = lines_over_cycles(track, best, sounds, survey, wander);
        } catch (const Error&) {
            continue;  // too few cycles for a spectrum over them
        }
        family.lines = lines_that_turn(over_cycles, mean_hz, wander);
        family.significance = found[i].significance;
        std::erase_if(family.lines, [&](const OrderLine& line) {
            return !is_own(line) && claimed(survey.families, line.ratio * mean_hz);
        });
        follow_the_strongest(family, over_cycles, sounds, survey);
        // followed, a line that moves stands out more than unfollowed; one that holds still, less
        const auto own = std::find_if(family.lines.begin(), family.lines.end(), is_own);
        if (own == family.lines.end()) {
            if (clicks) continue;  // what stands out so little beside clicks is one of their many teeth
            family.lines = faint_lines_of(track, sounds, found[i].window_s);
        } else if (own->sharpening_db < kLeastSharpening_db) {
            continue;
        }
        if (family.lines.empty() || is_line_of_another(survey.families, family)) continue;
        const double click_hz = clicks ? clicks->rate.mean_hz() : 0.0;
        for (std::size_t j = i; j < survey.ridges.size(); ++j)
            taken[j] = taken[j] || belongs_to(family, survey.ridges[j].track, click_hz, bin_hz);
        survey.families.push_back(std::move(family));
        if (survey.families.size() == 3) break;
    }
}

std::size_t loudest_channel(const MovingFamily& family) {
    std::size_t best = family.channel;
    double most = 0;
    for (std::size_t c = 0; !family.lines.empty() && c < family.lines.front().mean_square.size(); ++c) {
        double sum = 0;
        for (const OrderLine& line : family.lines) sum += line.mean_square[c];
        if (sum > most) best = c;
        most = std::max(most, sum);
    }
    return best;
}

}  // namespace hushtrace
