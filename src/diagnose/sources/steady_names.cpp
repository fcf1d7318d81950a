#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../takes/duty_fit.hpp"
#include "../takes/line_level.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"
#include "steady_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kClear = 40.0;   // surprise of a line by itself: near the limit the multiples that would tell more are hidden
constexpr int kLongestGap = 4, kMostFitted = 40;
constexpr double kStrays_hz = 0.12, kStrays = 3e-4;   // common practice, no source
constexpr double kSolid = 5.0;   // surprise of a tooth that is hardly chance
constexpr std::size_t kLinesOfMains = 4;
constexpr double kLeads_db = 6.0, kFitsPulse_db = 5.0, kFitsBadly_db = 8.0;

std::size_t loudest_of(const std::vector<double>& mean_square) {
    return static_cast<std::size_t>(std::max_element(mean_square.begin(), mean_square.end()) - mean_square.begin());
}

/// Of a comb's teeth, the channel (of the search) that holds most.
std::size_t loudest_channel(const LineComb& comb, std::size_t channels) {
    std::vector<double> sum(channels, 0.0);
    for (const CombTooth& tooth : comb.teeth)
        for (std::size_t c = 0; c < channels; ++c) sum[c] += tooth.mean_square[c];
    return loudest_of(sum);
}

Evidence said(std::string text, double value, const char* unit, std::optional<double> sd = std::nullopt) {
    return {std::move(text), value, unit, sd, {}, {}};
}

/// What a line would have needed to be told, at each place of a comb.
std::vector<double> least_at_places(const SteadySearch& search, const LineComb& comb, std::size_t channel, int places) {
    std::vector<double> least;
    const StillSpectrum& s = *search.spectra[channel];
    for (int n = 1; n <= places; ++n) {
        const double hz = n * comb.spacing_hz;
        if (hz > 0.45 * s.sample_rate_hz) break;
        const bool hidden = search.places.spoken_for && search.places.spoken_for(hz);
        // 5 standard deviations of the noise in a line's bins
        least.push_back(hidden ? 0.0 : s.noise[s.bin_of(hz)] * s.bin_hz * 5.0 / std::sqrt(s.averages));
    }
    return least;
}

/// Up to which number the comb is unbroken, but for gaps of a few: further up slow edges hide it, and chance adds to it.
int highest_in_a_row(const LineComb& comb) {
    int highest = 0;
    for (const CombTooth& tooth : comb.teeth) {
        if (tooth.number > highest + kLongestGap || tooth.number > kMostFitted) break;
        highest = tooth.number;
    }
    return std::max(highest, 1);
}

/// Power of the teeth with odd numbers against those with even ones [dB].
double odd_over_even_db(const LineComb& comb) {
    double odd = 1e-30, even = 1e-30;
    for (const CombTooth& tooth : comb.teeth) (tooth.number % 2 == 1 ? odd : even) += tooth.total();
    return decibels_from_power(odd / even);
}

}  // namespace

SteadyComb as_steady_comb(const SteadySearch& search, const LineComb& comb, NoiseKind kind) {
    SteadyComb out;
    out.kind = kind;
    out.frequency_hz = comb.spacing_hz;
    out.frequency_sd_hz = comb.spacing_sd_hz;
    out.mean_square.assign(search.survey->channels.size(), 0.0);
    for (const CombTooth& tooth : comb.teeth) {
        for (std::size_t c = 0; c < search.spectra.size(); ++c) out.mean_square[search.channel_of[c]] += tooth.mean_square[c];
        const std::size_t loudest = loudest_of(tooth.mean_square);
        if (tooth.mean_square[loudest] > 0.0)
            out.harmonics.push_back(harmonic_of(search.survey->channels[search.channel_of[loudest]], tooth.number,
                                                tooth.frequency_hz, tooth.mean_square[loudest]));
    }
    out.surprise = comb.surprise;
    return out;
}

SteadyComb named_mains(const SteadySearch& search, const LineComb& comb, double nominal_hz) {
    SteadyComb out = as_steady_comb(search, comb, NoiseKind::mains_hum);
    const double stray = comb.spacing_hz / nominal_hz - 1.0;
    const bool usual = std::abs(stray) < Mains::usual_stray;
    const bool twice_alone = comb.common_divisor() % 2 == 0;
    out.rests_on = comb.teeth.size() < 2 ? "mains: one line"
                   : twice_alone         ? "mains: even ones alone"
                   : usual               ? "mains: several lines, usual frequency"
                                         : "mains: several lines, unusual frequency";
    out.why = fmt::format("{} line{} at multiples of {:.2f} Hz, the mains ({:.0f} Hz here, {:+.2f} % off)", comb.teeth.size(),
                          comb.teeth.size() == 1 ? "" : "s", comb.spacing_hz, nominal_hz, 100.0 * stray);
    const double odd_db = odd_over_even_db(comb);
    if (twice_alone)
        out.evidence.push_back(said(fmt::format("Only even multiples, from {:.0f} Hz up: a full-wave rectifier makes those, in an "
                                                "adapter or a battery charger.",
                                                2.0 * comb.spacing_hz),
                                    2.0 * comb.spacing_hz, "Hz"));
    else if (odd_db > 6.0)
        out.evidence.push_back(said(fmt::format("The odd multiples stand {:.0f} dB over the even ones: mains leakage or a loop "
                                                "through the mains earth, rather than a rectifier.",
                                                std::min(odd_db, 99.0)),
                                    std::min(odd_db, 99.0), "dB"));
    else if (odd_db < -3.0)
        out.evidence.push_back(said(fmt::format("The even multiples stand {:.0f} dB over the odd ones: a rectifier charges at twice "
                                                "the mains' frequency.",
                                                std::min(-odd_db, 99.0)),
                                    std::min(-odd_db, 99.0), "dB"));
    else
        out.evidence.push_back(said(fmt::format("Odd and even multiples are within {:.0f} dB of each other: both leakage and a "
                                                "rectifier are possible.",
                                                std::ceil(std::abs(odd_db))),
                                    odd_db, "dB"));
    return out;
}

SteadyComb named_phone(const SteadySearch& search, const CombStretch& frames) {
    const LineComb& comb = frames.comb;
    SteadyComb out = as_steady_comb(search, comb, NoiseKind::phone_burst);
    out.surprise = frames.surprise;
    out.rests_on = comb.teeth.size() > 3 ? "phone: more than three lines" : "phone: two or three lines";
    out.why = fmt::format("{} lines at multiples of {:.2f} Hz: the frames of a phone that transmits (4.615 ms)", comb.teeth.size(),
                          comb.spacing_hz);
    if (!frames.throughout)
        out.evidence.push_back(said(fmt::format("They sound from {:.1f} to {:.1f} s alone.", frames.from_s, frames.to_s),
                                    frames.to_s - frames.from_s, "s"));
    // a burst that fills an eighth of its frame has no 8th multiple
    double beside = 0, eighth = 0;
    for (const CombTooth& tooth : comb.teeth) {
        if (tooth.number == 8) eighth = tooth.total();
        if (tooth.number == 6 || tooth.number == 7 || tooth.number == 9 || tooth.number == 10) beside = std::max(beside, tooth.total());
    }
    if (beside > 0.0 && eighth < 0.25 * beside)
        out.evidence.push_back(said(eighth > 0.0 ? fmt::format("The 8th multiple stands {:.0f} dB below its neighbours: each burst fills "
                                                               "an eighth of its frame.",
                                                               decibels_from_power(beside / eighth))
                                                 : "The 8th multiple is missing: each burst fills an eighth of its frame.",
                                    8, ""));
    return out;
}

SteadyComb named_bus(const SteadySearch& search, const LineComb& comb, std::string_view what) {
    SteadyComb out = as_steady_comb(search, comb, NoiseKind::bus_tone);
    out.rests_on = comb.teeth.size() > 1 ? "bus: several lines" : "bus: one line";
    out.why = fmt::format("{} line{} at multiples of {:.2f} Hz: {}", comb.teeth.size(), comb.teeth.size() == 1 ? "" : "s",
                          comb.spacing_hz, what);
    return out;
}

/// Pulses at a phone's own rate, to a few hundredths of a hertz: loads are switched at any rate, so hardly ever at that one.
bool at_phones_rate(const LineComb& comb) {
    constexpr double reach = PhoneFrames::tolerance * PhoneFrames::rate_hz;
    const double off = std::abs(comb.spacing_hz - PhoneFrames::rate_hz);
    return off < reach + 2.0 * comb.spacing_sd_hz && comb.spacing_sd_hz < 2.0 * reach;
}

/// Pulses have lines at their rate's first few multiples, whatever their duty: |sin(pi n d)| / n vanishes at no two of 2, 3, 4
/// unless d is small, and then at none of them. Turns of a motor without: the first, and lines at the bars or beside them.
bool only_turns(const LineComb& comb) {
    if (comb.spacing_hz < BrushedMotor::least_shaft_hz || comb.spacing_hz > BrushedMotor::most_shaft_hz) return false;
    const auto solid = [&comb](int low, int high) {
        return std::any_of(comb.teeth.begin(), comb.teeth.end(), [=](const CombTooth& tooth) {
            return tooth.number >= low && tooth.number <= high && tooth.surprise > kSolid;
        });
    };
    return solid(1, 1) && !solid(2, 4) && solid(BrushedMotor::least_bars, BrushedMotor::most_bars);
}

/// Where a motor's bars sound, of which the turns alone hold still enough to stand: a line that wanders, at a multiple of them;
/// else the strongest of the lines at the bars or beside them.
double bars_of(const SteadySearch& search, const LineComb& comb) {
    for (const MovingFamily& family : search.survey->families) {
        const double bars = std::round(family.mean_hz / comb.spacing_hz);
        if (bars >= BrushedMotor::least_bars && bars <= BrushedMotor::most_bars &&
            std::abs(family.mean_hz - bars * comb.spacing_hz) < 0.1 * comb.spacing_hz + family.wander * family.mean_hz)
            return bars;
    }
    const CombTooth* top = nullptr;
    for (const CombTooth& tooth : comb.teeth)
        if (tooth.number >= BrushedMotor::least_bars && tooth.number <= BrushedMotor::most_bars && (!top || tooth.total() > top->total()))
            top = &tooth;
    return top->number;
}

SteadyComb named_motor_by_turns(const SteadySearch& search, const LineComb& comb) {
    SteadyComb out = as_steady_comb(search, comb, NoiseKind::motor_whine);
    const double bars = bars_of(search, comb);
    out.frequency_hz = bars * comb.spacing_hz;
    out.frequency_sd_hz = comb.spacing_hz;   // the bars may be one more or less
    for (Harmonic& one : out.harmonics) one.number /= bars;
    out.rests_on = "motor: by its turns";
    out.why = fmt::format("A line at {:.2f} Hz, none at its next multiples, and one near {:.0f} Hz: turns and bars of a motor at {:.0f} rpm",
                          comb.spacing_hz, out.frequency_hz, 60.0 * comb.spacing_hz);
    return out;
}

bool strays(double frequency_hz, double wander_hz) {
    return frequency_hz < kHighestMotor_hz && wander_hz > std::max(kStrays_hz, kStrays * frequency_hz);
}
bool strays(const SteadySearch& search, const CombTooth& tooth) {
    for (const StillSpectrum* one : search.spectra)
        for (const StillLine& line : one->lines)
            if (std::abs(line.frequency_hz - tooth.frequency_hz) < one->bin_hz && strays(line.frequency_hz, line.wander_hz)) return true;
    return false;
}

SteadyComb named_phone_line(const SteadySearch& search, const LineComb& comb) {
    SteadyComb phone = named_phone(search, {comb, 0.0, search.survey->duration_s, comb.surprise, true});
    phone.rests_on = "phone: by its rate";
    return phone;
}

SteadyComb named_by_shape(const SteadySearch& search, const LineComb& comb) {
    if (at_phones_rate(comb) && comb.teeth.size() > 2) return named_phone_line(search, comb);
    SteadyComb out = as_steady_comb(search, comb, NoiseKind::switched_load);
    const std::size_t channel = loudest_channel(comb, search.spectra.size());
    const DutyFit fit = fit_duty(comb, channel, least_at_places(search, comb, channel, highest_in_a_row(comb) + 1));
    const CombTooth* top = comb.strongest();
    const std::size_t lines = comb.teeth.size();
    // bars times turns stands over all but its own multiples; the turns themselves are weak. Pulses, coupled by a coil even
    // (tilt 1), have other lines about as strong as a high one that leads: |sin(pi n d)| comes back within a few numbers
    double others = 1e-30;
    for (const CombTooth& tooth : comb.teeth)
        if (top && tooth.number % top->number != 0) others = std::max(others, tooth.total());
    const double over_db = top ? decibels_from_power(top->total() / others) : 0.0;
    const bool motor = top && top->number >= BrushedMotor::least_bars && top->number <= BrushedMotor::most_bars &&
                       comb.spacing_hz >= BrushedMotor::least_shaft_hz && comb.spacing_hz <= BrushedMotor::most_shaft_hz &&
                       over_db > kLeads_db;
    if (motor) {
        out.kind = NoiseKind::motor_whine;
        out.frequency_hz = top->frequency_hz;
        out.frequency_sd_hz = top->frequency_sd_hz;
        for (Harmonic& one : out.harmonics) one.number /= top->number;
        out.rests_on = lines > 3 ? "motor: with its turns, four lines and more" : "motor: with its turns";
        out.why = fmt::format("A line at {:.1f} Hz with weaker ones every {:.2f} Hz: a motor of {} bars at {:.0f} rpm",
                              top->frequency_hz, comb.spacing_hz, top->number, 60.0 * comb.spacing_hz);
        out.evidence.push_back(said(fmt::format("The line of the bars stands {:.0f} dB over those of the turns.", over_db), over_db, "dB"));
        return out;
    }
    if (only_turns(comb)) return named_motor_by_turns(search, comb);
    // the mains, whose lowest multiples something else hides
    for (const double nominal : Mains::nominal_hz)
        if (comb.teeth.size() >= kLinesOfMains && std::abs(comb.spacing_hz / nominal - 1.0) < Mains::usual_stray)
            return named_mains(search, comb, nominal);
    if (comb.spacing_hz < PulseWidth::least_hz) {   // nothing is switched so slowly for long: clicks, whose lines these are
        out.kind = NoiseKind::periodic_tick;
        out.rests_on = "ticks: by their lines";
        out.why = fmt::format("{} lines, all multiples of {:.3f} Hz: clicks of that rate, evenly spaced", lines, comb.spacing_hz);
        return out;
    }
    const CombTooth* first = comb.tooth(1);
    if (lines < 4 && first && strays(search, *first)) {
        out.kind = NoiseKind::motor_whine;
        out.rests_on = "motor: strays a little";
        out.why = fmt::format("A line at {:.1f} Hz with {} of its multiples, which strays within seconds as no switched load does: a motor's",
                              comb.spacing_hz, lines - 1);
        return out;
    }
    if (lines < 3) {   // two lines fit much: pulses, a bent sine
        out.rests_on = "load: one multiple";
        out.why = fmt::format("Steady at {:.2f} Hz, with one multiple: something may be switched at that rate", comb.spacing_hz);
        return out;
    }
    const auto solid = std::count_if(comb.teeth.begin(), comb.teeth.end(), [](const CombTooth& tooth) {
        return tooth.number <= kMostFitted && tooth.surprise > kSolid;
    });
    out.rests_on = fit.lines < 3 || solid < 3      ? "load: few low lines"
                   : fit.misfit_db > kFitsBadly_db ? "load: fits no pulses"
                   : fit.misfit_db > kFitsPulse_db ? "load: fits pulses loosely"
                                                   : "load: fits pulses";
    out.why = fmt::format("A line at {:.2f} Hz that holds still, with {} of its multiples: something is switched at that rate",
                          comb.spacing_hz, lines - (comb.tooth(1) ? 1 : 0));
    if (fit.lines >= 3 && fit.misfit_db < kFitsBadly_db)
        out.evidence.push_back(said(fmt::format("Its multiples fit pulses that are on for {:.0f} ± {:.0f} % of the time, or off for as "
                                                "long (to {:.1f} dB).",
                                                100.0 * fit.duty, std::max(1.0, 100.0 * fit.duty_sd), fit.misfit_db),
                                    100.0 * fit.duty, "%", 100.0 * fit.duty_sd));
    return out;
}

SteadyComb named_ticks(const SteadySearch& search, const std::vector<double>& lines_hz, double rate_hz) {
    SteadyComb out;
    out.kind = NoiseKind::periodic_tick;
    out.frequency_hz = rate_hz;
    out.frequency_sd_hz = search.spectra.front()->bin_hz / *std::max_element(lines_hz.begin(), lines_hz.end()) * rate_hz;
    out.mean_square.assign(search.survey->channels.size(), 0.0);
    for (std::size_t s = 0; s < search.spectra.size(); ++s)
        for (const double hz : lines_hz) out.mean_square[search.channel_of[s]] += search.spectra[s]->peak_at(hz).mean_square;
    out.rests_on = "ticks: by their lines";
    out.why = fmt::format("{} lines, all multiples of {:.3f} Hz: clicks of that rate, evenly spaced", lines_hz.size(), rate_hz);
    return out;
}

SteadyComb named_alone(const StillLine& line, const std::vector<double>& mean_square) {
    SteadyComb out;
    out.kind = NoiseKind::unexplained_tone;
    out.frequency_hz = line.frequency_hz;
    out.frequency_sd_hz = line.frequency_sd_hz;
    out.mean_square = mean_square;
    out.surprise = line.surprise;
    out.rests_on = line.surprise < kClear ? "tone: faint" : "tone: clear";
    if (strays(line.frequency_hz, line.wander_hz)) {
        out.kind = NoiseKind::motor_whine;
        out.rests_on = "motor: a lone line that strays";
        out.why = fmt::format("A line at {:.1f} Hz that strays by {:.2f} Hz within seconds, as a motor's does", line.frequency_hz, line.wander_hz);
        return out;
    }
    out.why = fmt::format("Steady at {:.2f} Hz, without multiples; nothing that is known of fits it", line.frequency_hz);
    return out;
}

SteadyComb named_drifting(const SteadySearch& search, const std::vector<const StillSpectrum*>& spectra, const StillLine& line,
                          const LineComb& turns) {
    SteadyComb out;
    out.kind = NoiseKind::motor_whine;
    out.frequency_hz = line.frequency_hz;
    out.frequency_sd_hz = spectra.front()->bin_hz;
    out.surprise = line.surprise;
    out.mean_square.assign(search.survey->channels.size(), 0.0);
    const std::vector<double> lone = {line.frequency_hz};
    std::vector<double> lines_hz = lone;
    for (const CombTooth& tooth : turns.teeth)
        if (std::abs(tooth.frequency_hz - line.frequency_hz) > 2.0 * spectra.front()->bin_hz) lines_hz.push_back(tooth.frequency_hz);
    for (std::size_t s = 0; s < spectra.size(); ++s)
        for (const double hz : lines_hz) {
            const auto peak = spectra[s]->peak_near(hz, 0.6 * spectra[s]->bin_hz);
            if (peak.surprise > 3.0) out.mean_square[search.channel_of[s]] += peak.mean_square;
        }
    out.rests_on = lines_hz.size() > 1      ? "motor: strays a little, with its turns"
                   : line.surprise < kClear ? "motor: strays a little, faint"
                                            : "motor: strays a little";
    out.why = fmt::format("The line near {:.0f} Hz strays by some hertz with the engine at rest, as a motor's does", line.frequency_hz);
    if (lines_hz.size() > 1)
        out.evidence.push_back(said(fmt::format("{} more lines lie at multiples of {:.1f} Hz with it: turns of the motor.", lines_hz.size() - 1,
                                                turns.spacing_hz),
                                    turns.spacing_hz, "Hz"));
    return out;
}

}  // namespace hushtrace
