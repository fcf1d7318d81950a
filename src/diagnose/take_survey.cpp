#include "take_survey.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <future>
#include <limits>
#include <numbers>
#include <thread>
#include <utility>

#include "clear_part.hpp"
#include "hushtrace/measure/guided_ridges.hpp"
#include "hushtrace/measure/order_spectrum.hpp"
#include "hushtrace/measure/thinned_sound.hpp"
#include "hushtrace/measure/tracked_power.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/spectrum/file_spectra.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "steady_survey.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kBlock = 1 << 16;
constexpr double kLeastSeconds = 0.5;
constexpr double kHighestOrder_hz = 10000.0;  // of lines that turn with a followed one

bool carries_signal(Channel channel) {
    return channel != Channel::supply && channel != Channel::supply_current;
}

std::size_t fine_length(double rate) {
    return fast_length(static_cast<std::size_t>(rate));  // bins of 1 Hz
}

/// What is gathered of a channel while the take streams by.
struct Gathered {
    Gathered(double rate, std::size_t picture_length) : picture(rate, picture_length), meter(rate) {}
    std::optional<SpectrumAccumulator> fine;  // where a part of the take alone counts; else it is read beside this
    SpectrogramAccumulator picture;
    QuasiPeakMeter meter;
    std::vector<double> stretch;
    double lowest = std::numeric_limits<double>::infinity(), highest = -lowest;
};

/// Bins of 8 Hz, for takes shorter than a second.
PowerSpectrum coarse_spectrum(std::span<const double> samples, double rate) {
    SpectrumAccumulator coarse(rate, fast_length(static_cast<std::size_t>(rate / 8)));
    coarse.add(samples);
    return coarse.result();
}

void finish_channel(ChannelSurvey& survey, const Gathered& gathered, double rate, std::optional<PowerSpectrum> fine) {
    // dc says no more than nothing: what moves by less than a 32-bit converter's last step is digital silence
    survey.silent = !(gathered.highest - gathered.lowest > 0x1p-31);
    survey.quasi_peak = gathered.meter.mean();
    survey.spectrum = fine ? std::move(*fine) : coarse_spectrum(gathered.stretch, rate);
    survey.floor_density = noise_under_lines(survey.spectrum);
    // hiss is smooth: a wider stretch than for the lines keeps the broad foot of a wandering whine out of it
    const std::vector<double> smooth = noise_under_lines(survey.spectrum, 120.0, 0.3);
    PowerSpectrum hiss = survey.spectrum;
    for (std::size_t k = 0; k < hiss.density.size(); ++k)
        hiss.density[k] = std::min({hiss.density[k] * 4.0, survey.floor_density[k], smooth[k]});
    survey.hiss = noise_floor(hiss, survey.floor_density, {});
    if (!survey.silent)
        survey.lines = find_lines(survey.spectrum, survey.floor_density, 15.0,
                                  std::min(20000.0, 0.47 * survey.spectrum.sample_rate_hz));
    const Spectrogram picture = gathered.picture.result();
    survey.column_s = picture.column_s;
    survey.spectrogram_bin_hz = picture.bin_hz;
    for (const auto& column : picture.columns) {
        auto& out = survey.spectrogram_dbfs.emplace_back(column.size());
        for (std::size_t k = 0; k < column.size(); ++k)
            out[k] = static_cast<float>(dbfs_from_mean_square(
                std::max(1.5 * picture.bin_hz * static_cast<double>(column[k]), 1e-20)));
    }
}

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

bool is_own(const OrderLine& line) { return std::abs(line.ratio - 1.0) < 0.002; }

/// Followed, a line that moves stands out more than unfollowed; one that holds still, less [dB].
constexpr double kLeastSharpening_db = 0.5;

/// All that turns with a track, in each channel, from the spectra over its cycles; nothing but the line itself where it proves
/// in the channel it was followed in to hold still.
std::vector<OrderLine> lines_that_turn_with(const Track& track, std::size_t followed_in, const std::vector<ThinnedSound>& sounds,
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
    // followed, a line that turns with the track is sharper than unfollowed, one that holds still is smeared
    const auto turns_with = [&](const OrderLine& line) {
        if (is_own(line)) return true;
        const double smear_bins =
            2.0 * wander * line.ratio * mean_hz / 1.5;  // steady in time, it would be smeared so far here
        if (smear_bins < 3.0)
            return std::abs(line.ratio - std::round(line.ratio)) < 0.004 && line.ratio > 1.5;
        return line.sharpening_db > 0.0;
    };
    std::erase_if(found, [&](const OrderLine& line) { return !turns_with(line); });
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

/// Takes the strong still lines out, second by second: blanking clicks would give them sidebands that turn
/// with the engine.
std::vector<double> without_still_lines(std::span<const double> samples, double rate,
                                        std::vector<SpectralLine> lines) {
    std::vector<double> out(samples.begin(), samples.end());
    std::erase_if(lines, [](const SpectralLine& line) {
        return line.prominence_db < 15.0 || line.sharpness_db < 10.0;
    });
    std::sort(lines.begin(), lines.end(),
              [](const SpectralLine& a, const SpectralLine& b) { return a.mean_square > b.mean_square; });
    if (lines.size() > 40) lines.resize(40);
    const auto stretch = static_cast<std::size_t>(rate);
    for (std::size_t from = 0; from < out.size(); from += stretch) {
        const std::size_t count = std::min(stretch, out.size() - from);
        for (const SpectralLine& line : lines) {
            const std::complex<double> step =
                std::polar(1.0, 2.0 * std::numbers::pi * line.frequency_hz / rate);
            std::complex<double> turn = 1.0, sum = 0.0;
            for (std::size_t n = 0; n < count; ++n, turn *= step) sum += out[from + n] * std::conj(turn);
            const std::complex<double> amplitude = 2.0 * sum / static_cast<double>(count);
            turn = 1.0;
            for (std::size_t n = 0; n < count; ++n, turn *= step) out[from + n] -= (amplitude * turn).real();
        }
    }
    return out;
}

/// The sound without its rumble and with its clicks cut down: for looking for lines, not for reading levels.
/// Clicks make combs of lines by the dozen, which hide a whine; cut at a few times the usual size they all
/// but vanish, tones stay.
std::vector<double> without_clicks(std::span<const double> samples, double rate,
                                   const std::optional<ImpulseTrain>& clicks,
                                   const std::vector<SpectralLine>& lines) {
    std::vector<double> out = clicks ? blank_clicks(without_still_lines(samples, rate, lines), rate, *clicks)
                                     : std::vector<double>(samples.begin(), samples.end());
    const double keep =
        std::exp(-2.0 * std::numbers::pi * 250.0 / rate);  // high-pass at 250 Hz, first order, twice
    for (int pass = 0; pass < 2; ++pass) {
        double before = 0, result = 0;
        for (double& sample : out) {
            result = keep * (result + sample - before);
            before = sample;
            sample = result;
        }
    }
    std::vector<double> sizes;
    for (std::size_t i = 0; i < out.size(); i += 7) sizes.push_back(std::abs(out[i]));
    if (sizes.empty()) return out;
    const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
    std::nth_element(sizes.begin(), middle, sizes.end());
    const double most = 3.0 * 1.4826 * *middle;
    if (most > 0.0)
        for (double& sample : out) sample = std::clamp(sample, -most, most);
    return out;
}

/// A track strung together from the noise's own peaks stands out of the noise beside it by 4 or so.
constexpr double kStandsOut = 6.0;
/// So much better must a line explain the sound than noise [ln]: noise alone reaches it in one stretch of 400 at most
/// (Markov's inequality, where the noise's law holds). A vehicle has some four to six stretches: takes times channels.
constexpr double kLeastEvidence = 6.0;
constexpr double kMostLogLag_s = 3.0;  // tried where lines are searched along a log

/// How far a followed line stands out of what lies beside its track [standard deviations].
double significance_of(const Track& track, const ThinnedSound& sound, double window_s) {
    try {
        return power_along(sound.samples, sound.rate_hz, track, 1.0, window_s).over_noise_sd;
    } catch (const Error&) {
        return 0.0;  // above the band, or too short
    }
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

/// Whether a followed line is but one tooth of the clicks' comb: a click's rate above it and below it, a line stands as well.
bool is_click_tooth(const Track& track, std::span<const double> samples, double rate, double click_hz) {
    constexpr double nearly_as_strong = 0.3;
    const double step = click_hz / track.mean_hz();
    try {
        const double least = nearly_as_strong * power_along(samples, rate, track).over_noise_sd;
        return power_along(samples, rate, track, 1.0 - step).over_noise_sd > least &&
               power_along(samples, rate, track, 1.0 + step).over_noise_sd > least;
    } catch (const Error&) {
        return false;  // at the band's end
    }
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

struct FollowedRidge {
    Ridge ridge;
    std::size_t channel = 0;
    double window_s = 0;  ///< through which its track may be read
    double significance = 0;
};
constexpr double kFollowedWindow_s = 0.08, kLoggedWindow_s = 0.3;

/// The engine's speed by its log, where that covers the take and the speed moves: what to search along.
std::optional<Track> logged_speed(const TakeSurvey& survey) {
    constexpr double least_share = 0.8, least_rpm = 100.0, apart_s = 0.05, least_wander = 0.001;
    if (!survey.rpm_log || survey.rpm_log->known_s(0.0, survey.duration_s) < least_share * survey.duration_s) return std::nullopt;
    Track speed;
    const double from_s = survey.rpm_log->time_s.front(), to_s = survey.rpm_log->time_s.back();
    double last = 0;
    for (double t = from_s; t <= to_s; t += apart_s) {
        last = survey.rpm_log->at(t).value_or(last);  // over a gap as it was before
        if (last < least_rpm) return std::nullopt;
        speed.time_s.push_back(t - from_s);
        speed.frequency_hz.push_back(last);
    }
    if (speed.time_s.size() < 5 || speed.wander() < least_wander) return std::nullopt;
    for (double& t : speed.time_s) t += from_s;
    return speed;
}

/// The lines that wander, of all channels, that which stands out most first: what is found of it fixes where the others are
/// looked for.
std::vector<FollowedRidge> ridges_of(const TakeSurvey& survey, const std::vector<Gathered>& gathered,
                                     const std::vector<ThinnedSound>& sounds) {
    std::vector<std::size_t> order;  // the loudest channel first; what is followed there is passed by in the others
    for (std::size_t c = 0; c < gathered.size(); ++c)
        if (!survey.channels[c].silent && carries_signal(survey.channels[c].channel)) order.push_back(c);
    std::stable_sort(order.begin(), order.end(), [&survey](std::size_t a, std::size_t b) {
        return survey.channels[a].spectrum.band_mean_square(300.0, 6000.0) >
               survey.channels[b].spectrum.band_mean_square(300.0, 6000.0);
    });
    std::vector<FollowedRidge> found;
    std::optional<Track> speed = logged_speed(survey);
    double most_lag_s = kMostLogLag_s;
    for (const std::size_t c : order) {
        RidgeSearch search;
        search.least_log_evidence = kLeastEvidence;
        for (const FollowedRidge& one : found) search.known.push_back(one.ridge);
        for (const SpectralLine& line : survey.channels[c].lines)
            if (line.sharpness_db > 10.0 && line.prominence_db > 15.0)
                search.still.push_back({line.frequency_hz, decibels_from_power(line.mean_square / line.floor_density)});
        const std::vector<double> cleared = without_clicks(gathered[c].stretch, survey.sample_rate_hz, survey.channels[c].clicks,
                                                           survey.channels[c].lines);
        for (Ridge& ridge : find_ridges(cleared, survey.sample_rate_hz, search)) {
            search.known.push_back(ridge);
            found.push_back({std::move(ridge), c, kFollowedWindow_s, 0.0});
        }
        if (!speed) continue;
        // what follows the log and is too faint, or moves too fast, to be found without it
        GuidedRidges guided = find_ridges_along(cleared, survey.sample_rate_hz, *speed, search, most_lag_s);
        if (!guided.ridges.empty()) {  // the other channels have the same clock
            for (double& t : speed->time_s) t -= guided.lag_s;
            most_lag_s = 0.0;
        }
        for (Ridge& ridge : guided.ridges) found.push_back({std::move(ridge), c, kLoggedWindow_s, 0.0});
    }
    for (FollowedRidge& one : found) one.significance = significance_of(one.ridge.track, sounds[one.channel], one.window_s);
    std::stable_sort(found.begin(), found.end(), [](const FollowedRidge& a, const FollowedRidge& b) {
        return a.significance > b.significance;
    });
    return found;
}

void follow(TakeSurvey& survey, const std::vector<Gathered>& gathered, const std::vector<ThinnedSound>& sounds) {
    const std::vector<FollowedRidge> found = ridges_of(survey, gathered, sounds);
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
        const auto& still = survey.channels[best].lines;
        if (std::any_of(still.begin(), still.end(), [mean_hz](const SpectralLine& line) {
                return line.sharpness_db > 10.0 && std::abs(line.frequency_hz - mean_hz) < 1.5;
            }))
            continue;  // a still line, jittered by the noise
        const auto& clicks = survey.channels[best].clicks;
        if (clicks && is_click_tooth(track, gathered[best].stretch, survey.sample_rate_hz, clicks->rate.mean_hz())) continue;
        MovingFamily family;
        family.ridge = ridge;
        family.ridge.track = track;
        family.channel = best;
        family.mean_hz = mean_hz;
        family.wander = wander;
        try {
            family.lines = lines_that_turn_with(track, best, sounds, survey, wander);
        } catch (const Error&) {
            continue;  // too few cycles for a spectrum over them
        }
        family.significance = found[i].significance;
        std::erase_if(family.lines, [&](const OrderLine& line) {
            return std::abs(line.ratio - 1.0) > 0.002 && claimed(survey.families, line.ratio * mean_hz);
        });
        // followed, a line that moves stands out more than unfollowed; one that holds still, less
        const auto own = std::find_if(family.lines.begin(), family.lines.end(), is_own);
        if (own == family.lines.end()) {
            if (clicks) continue;  // what stands out so little beside clicks is one of their many teeth
            family.lines = faint_lines_of(track, sounds, found[i].window_s);
        } else if (own->sharpening_db < kLeastSharpening_db) {
            continue;
        }
        if (family.lines.empty()) continue;
        const double click_hz = clicks ? clicks->rate.mean_hz() : 0.0;
        for (std::size_t j = i; j < survey.ridges.size(); ++j)
            taken[j] = taken[j] || belongs_to(family, survey.ridges[j].track, click_hz, bin_hz);
        survey.families.push_back(std::move(family));
        if (survey.families.size() == 3) break;
    }
}

/// Where the lines of a family together are strongest.
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

}  // namespace

TakeSurvey survey_take(const OpenedJob& job, const Take& take, double stretch_s) {
    TakeReader reader(take_path(job, take));
    TakeSurvey survey;
    survey.take = &take;
    survey.sample_rate_hz = reader.sample_rate_hz();
    if (reader.channels() != take.channels.size())
        throw Error(ErrorKind::invalid_input,
                    fmt::format("{}: {} channels in the file, {} named in job.json", take.file,
                                reader.channels(), take.channels.size()));
    if (survey.sample_rate_hz < 4000.0)
        throw Error(
            ErrorKind::invalid_input,
            fmt::format(
                "{}: a sample rate of {:.0f} Hz is too low for noise work; capture at 44100 Hz or more",
                take.file, survey.sample_rate_hz));
    std::vector<Gathered> gathered;
    for (std::size_t c = 0; c < reader.channels(); ++c)
        gathered.emplace_back(survey.sample_rate_hz,
                              fast_length(static_cast<std::size_t>(survey.sample_rate_hz / 12)));
    const auto most = static_cast<std::size_t>(stretch_s * survey.sample_rate_hz);
    std::size_t frames = 0;
    Block block;
    const bool from_a_file = take.tone && take.tone->via != ToneVia::interface_output;
    Part clear;
    if (from_a_file) {
        TakeReader first(take_path(job, take));
        clear = between_markers(first);
    }
    std::future<std::vector<PowerSpectrum>> fine;
    if (from_a_file)
        for (Gathered& g : gathered)
            g.fine.emplace(survey.sample_rate_hz, fine_length(survey.sample_rate_hz));
    else  // the other cores read the fine spectra, which take longest, through readers of their own
        fine = std::async(std::launch::async, [file = take_path(job, take)] {
            return spectra_of_file(file, fine_length, std::max(1U, std::thread::hardware_concurrency() / 2));
        });
    survey.from_s = static_cast<double>(clear.from) / survey.sample_rate_hz;
    PartReader part(reader, clear);
    while (part.read(block, kBlock) > 0) {
        frames += block.frames();
        for (std::size_t c = 0; c < gathered.size(); ++c) {
            const auto samples = block.channel(c);
            Gathered& g = gathered[c];
            if (g.fine) g.fine->add(samples);
            g.picture.add(samples);
            g.meter.add(samples);
            for (const double s : samples) {
                g.lowest = std::min(g.lowest, s);
                g.highest = std::max(g.highest, s);
            }
            const std::size_t room = most - std::min(most, g.stretch.size());
            g.stretch.insert(g.stretch.end(), samples.begin(),
                             samples.begin() + static_cast<std::ptrdiff_t>(std::min(room, samples.size())));
        }
    }
    survey.duration_s = static_cast<double>(frames) / survey.sample_rate_hz;
    if (survey.duration_s < kLeastSeconds)
        throw Error(ErrorKind::too_short,
                    fmt::format("{}: {:.2f} s is too short; noise takes need {} s or more, ten are good",
                                take.file, survey.duration_s, kLeastSeconds));
    if (!reader.oddity().empty())
        survey.warnings.push_back({"take_cut_short", fmt::format("{}: {}", take.file, reader.oddity()), take.file});
    if (survey.duration_s > stretch_s + 1.0)
        survey.warnings.push_back({"long_take",
                                   fmt::format("{}: wandering lines were followed through the first {:.0f} "
                                               "s; levels and floor are of all {:.0f} s",
                                               take.file, stretch_s, survey.duration_s),
                                   take.file});
    std::vector<PowerSpectrum> spectra;
    if (fine.valid()) spectra = fine.get();
    for (const Gathered& g : gathered)
        if (g.fine && g.fine->segments() > 0) spectra.push_back(g.fine->result());
    for (std::size_t c = 0; c < gathered.size(); ++c) {
        ChannelSurvey channel;
        channel.channel = take.channels[c];
        channel.volts_full_scale = job.job.volts_full_scale(take, c);
        channel.volts_full_scale_sd_db = job.job.volts_full_scale_sd_db(c);
        finish_channel(channel, gathered[c], survey.sample_rate_hz,
                       c < spectra.size() ? std::optional(std::move(spectra[c])) : std::nullopt);
        survey.channels.push_back(std::move(channel));
    }
    for (std::size_t c = 0; c < gathered.size(); ++c)
        if (!survey.channels[c].silent && carries_signal(survey.channels[c].channel))
            survey.channels[c].clicks = find_impulse_train(gathered[c].stretch, survey.sample_rate_hz);
    survey.rpm_log = rpm_log_of(job, take, survey.warnings, survey.duration_s);
    for (std::size_t c = 0; c < gathered.size(); ++c)
        if (!survey.channels[c].silent && carries_signal(survey.channels[c].channel))
            survey_steady(survey.channels[c], gathered[c].stretch, survey.sample_rate_hz);
    std::vector<ThinnedSound> sounds;
    for (const Gathered& channel : gathered) sounds.push_back(thinned(channel.stretch, survey.sample_rate_hz, kHighestOrder_hz));
    follow(survey, gathered, sounds);
    for (const MovingFamily& family : survey.families) {
        const std::size_t c = loudest_channel(family);
        const ChannelSurvey& channel = survey.channels[c];
        survey.orders.push_back(view_orders(sounds[c].samples, sounds[c].rate_hz, family.ridge.track,
                                            channel.spectrum, channel.floor_density, channel.lines));
        survey.orders.back().channel = c;
    }
    for (std::size_t c = 0; c < survey.channels.size(); ++c) read_floor(survey, c);
    return survey;
}

}  // namespace hushtrace
