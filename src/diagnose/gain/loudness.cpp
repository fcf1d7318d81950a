#include "hushtrace/diagnose/loudness.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <limits>

#include "at_ear.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/hearing.hpp"

namespace hushtrace {
namespace {

constexpr double kLowest_hz = 100.0, kHighest_hz = 12500.0;  // of what is spread over a band
constexpr double kClicksTop_hz = 8000.0;  // clicks have a nearly flat envelope to many kHz; common practice, no source
constexpr double kSubTop_hz = 250.0;      // what a subwoofer still plays; common practice, no source
constexpr double kMatchedSd_db = 3.0;     // of a gain that was set by the source's stated voltage; ours, no source

/// A gain from an amplifier's input to its output, as far as it is known.
struct GainRange {
    double low_db = 0, high_db = 0, sd_db = 0;
    std::string why;
};

bool is_sub(const AmplifierData& amplifier) {
    std::string name = amplifier.name;
    std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return name.find("sub") != std::string::npos;
}

std::optional<GainRange> gain_of(const Job& job, const AmplifierData& amplifier, const GainAnalysis* gain) {
    if (gain)
        for (const AmplifierSetting& setting : gain->amplifiers)
            if (setting.name == amplifier.name && setting.gain_db)
                return GainRange{*setting.gain_db, *setting.gain_db, 1.0, "with the gain as it must be set"};
    const auto full_v = full_output_v(amplifier);
    if (!full_v) return std::nullopt;
    const auto gain_from = [&](double input_v) { return decibels_from_amplitude(*full_v / input_v); };
    std::optional<GainRange> range;
    if (amplifier.sensitivity_v && (*amplifier.sensitivity_v)[0] > 0.0 && (*amplifier.sensitivity_v)[1] > 0.0) {
        const auto [low_v, high_v] = std::minmax((*amplifier.sensitivity_v)[0], (*amplifier.sensitivity_v)[1]);
        range = GainRange{gain_from(high_v), gain_from(low_v), 0.0,
                          fmt::format("over the amplifier's range of {:g} to {:g} V", low_v, high_v)};
        if (high_v < 1.05 * low_v) range->sd_db = 1.0, range->why = "with the amplifier's stated sensitivity";
    }
    if (job.source.preout_v && *job.source.preout_v > 0.0) {
        double matched = gain_from(*job.source.preout_v);
        if (range) matched = std::clamp(matched, range->low_db, range->high_db);
        return GainRange{matched, matched, kMatchedSd_db,
                         fmt::format("with the gain set for the source's {:g} V", *job.source.preout_v)};
    }
    return range;
}

/// How far the loudest part of a source stands over what can be heard [dB], at 0 dB of the whole.
struct Margins {
    double quiet = -std::numeric_limits<double>::infinity(), parked = quiet, driving = quiet;
    void take(double against_db, double frequency_hz, Cabin parked_cabin) {
        quiet = std::max(quiet, against_db - hearing_threshold_db_spl(frequency_hz));
        parked = std::max(parked, against_db - audible_from_db_spl(parked_cabin, frequency_hz));
        driving = std::max(driving, against_db - audible_from_db_spl(Cabin::driving, frequency_hz));
    }
};

Margins margins_of(const NoiseSource& source, const Loudness& loudness, bool sub) {
    const Cabin parked = engine_turns(loudness.engine) ? Cabin::idling : Cabin::engine_off;
    Margins margins;
    for (const auto& [frequency_hz, against_db] : loudness.lines)
        if (!sub || frequency_hz < kSubTop_hz) margins.take(against_db, frequency_hz, parked);
    if (!loudness.lines.empty()) return margins;
    // hiss and clicks: so much of the whole as falls into the ear's filter at each place
    const auto band = source.band_hz.value_or(std::pair{kLowest_hz, kClicksTop_hz});
    const double top_hz = std::min({band.second, kHighest_hz, sub ? kSubTop_hz : kHighest_hz});
    double f = std::max(band.first, kLowest_hz);
    while (f <= top_hz) {
        margins.take(decibels_from_power(erb_hz(f) / (band.second - band.first)), f, parked);
        f += erb_hz(f);
    }
    return margins;
}

const char* verdict(const Margins& margins, double ear_db) {
    if (margins.driving + ear_db > 0.0) return "audible_driving";
    return margins.parked + ear_db > 0.0 ? "audible_parked" : "inaudible";
}
const char* words(std::string_view verdict) {
    if (verdict == "audible_driving") return "audible, in town traffic too";
    return verdict == "audible_parked" ? "audible parked, masked when driving" : "inaudible, even parked";
}

std::string floor_words(const Loudness& loudness) {
    if (!loudness.over_floor_db) return "";
    return fmt::format("{:.0f} dB {} the noise round it", std::abs(*loudness.over_floor_db),
                       *loudness.over_floor_db < 0 ? "below" : "over");
}

/// What keeps a source's way to the ear unknown.
std::string missing(const Job& job, const Loudness& loudness) {
    if (!loudness.level_dbv) return "not calibrated";
    std::string out;
    const auto add = [&](bool there, const char* what) {
        if (!there) out += std::string(out.empty() ? "" : ", ") + what;
    };
    const auto any = [](const auto& list, const auto& has) { return std::any_of(list.begin(), list.end(), has); };
    add(any(job.amplifiers, [](const AmplifierData& a) { return full_output_v(a).has_value(); }), "amplifiers: power_w, load_ohm");
    add(job.source.preout_v || any(job.amplifiers, [](const AmplifierData& a) { return a.sensitivity_v.has_value(); }),
        "source: preout_v");
    add(any(job.speakers, [](const SpeakerData& s) { return s.sensitivity_db_2v83_1m.has_value(); }),
        "speakers: sensitivity_db_2v83_1m, distance_m");
    return "job.json lacks " + (out.empty() ? "a speaker that belongs to an amplifier of known gain" : out);
}

/// One amplifier's share, where its gain and a speaker are known.
struct AtEar {
    Margins margins;
    double low_db = 0, high_db = 0, sd_db = 0;  ///< dB SPL of the whole source
    std::string why;
};

std::optional<AtEar> loudest_at_ear(const Job& job, const NoiseSource& source, const Loudness& loudness,
                                    const GainAnalysis* gain) {
    std::optional<AtEar> best;
    for (const AmplifierData& amplifier : job.amplifiers) {
        const auto range = gain_of(job, amplifier, gain);
        if (!range) continue;
        const auto low = at_ear_db_spl(job, amplifier, *loudness.level_dbv + range->low_db);
        const auto high = at_ear_db_spl(job, amplifier, *loudness.level_dbv + range->high_db);
        if (!low || !high) continue;
        AtEar here{margins_of(source, loudness, is_sub(amplifier)), *low, *high,
                   std::hypot(std::hypot(range->sd_db, kSpeakerSd_db), loudness.sd_db), range->why};
        if (!std::isfinite(here.margins.quiet)) continue;
        if (!best || here.high_db + here.margins.parked > best->high_db + best->margins.parked) best = std::move(here);
    }
    return best;
}

void judge(const Job& job, const NoiseSource& source, const GainAnalysis* gain, Loudness& loudness) {
    loudness.ear_db_spl = loudness.ear_sd_db = loudness.over_threshold_db = std::nullopt;
    loudness.audible = "unknown";
    const std::string over = floor_words(loudness);
    const auto begin = [&over](const std::string& text) { return over.empty() ? text : text + "; " + over; };
    if (source.kind == NoiseKind::crackle) {
        loudness.text = "at the ear not judged: crackle is heard by its peaks";
        return;
    }
    const auto at_ear = loudness.level_dbv ? loudest_at_ear(job, source, loudness, gain) : std::nullopt;
    if (!at_ear) {
        loudness.text = begin("at the ear unknown (" + missing(job, loudness) + ")");
        return;
    }
    const std::string_view low = verdict(at_ear->margins, at_ear->low_db), high = verdict(at_ear->margins, at_ear->high_db);
    if (low == high) loudness.audible = high;
    if (at_ear->high_db - at_ear->low_db > 0.5) {
        loudness.text = begin(fmt::format("{:.0f} to {:.0f} dB SPL at the ear {}: {}", at_ear->low_db, at_ear->high_db, at_ear->why,
                                          low == high ? std::string(words(high))
                                                      : fmt::format("from '{}' to '{}'", words(low), words(high))));
        return;
    }
    loudness.ear_db_spl = at_ear->high_db;
    loudness.ear_sd_db = at_ear->sd_db;
    loudness.over_threshold_db = at_ear->margins.quiet + at_ear->high_db;
    // the ear's and the cabin's own spread decide with the reading's whether the verdict is near its limit
    const double spread_db = std::hypot(at_ear->sd_db, std::hypot(kHearingSd_db, kCabinSd_db));
    const double nearest = std::min(std::abs(at_ear->margins.parked + at_ear->high_db),
                                    std::abs(at_ear->margins.driving + at_ear->high_db));
    const bool unsure = nearest < 0.5 * spread_db;
    loudness.text = begin(fmt::format("{}{}: {:.0f} dB SPL at the ear (±{:.0f}), {}", words(high), unsure ? " (a close call)" : "",
                                      at_ear->high_db, 2.0 * at_ear->sd_db, at_ear->why));
}

}  // namespace

void judge_loudness(const Job& job, NoiseAnalysis& analysis, const GainAnalysis* gain) {
    for (NoiseSource& source : analysis.noise_sources)
        if (source.loudness) judge(job, source, gain, *source.loudness);
}

}  // namespace hushtrace
