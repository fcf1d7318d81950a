#include "supply_probe.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "../sources/source_traces.hpp"
#include "../takes/take_kind.hpp"
#include "hushtrace/measure/line_transfer.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "probe_twin.hpp"
#include "supply_words.hpp"

namespace hushtrace {
namespace {

constexpr double kShare_of_db = 0.115129;  // ln 10 / 20
constexpr double kFollowedBlock_s = 0.1, kSteadyBlock_s = 0.3;

constexpr double kVague_db = 5.0;                        // a decade: a slope's sd from which it weighs nothing
constexpr double kLawsApart_db = 6.0;                    // nearer to each other, magnetic and capacitive pick-up can't be told apart
constexpr double kBent_db = 3.0, kBentUnknown_db = 6.0;  // what a law strays by, with the feed's impedance known or not (judged)

/// The unit of a supply channel at sample value 1.0, volts or amperes; nothing where it isn't calibrated.
std::optional<double> supply_scale(const Job& job, const Take& take, std::size_t c) {
    const auto volts = job.volts_full_scale(take, c);
    if (!volts || take.channels[c] == Channel::supply) return volts;
    return *volts * job.interface.amps_per_volt.value_or(1.0);
}

const char* plain(Channel channel) {
    return channel == Channel::supply ? "the supply's voltage" : "the supply's current";
}

const FeedImpedance* feed_of(const NoiseAnalysis& analysis) {
    return analysis.feed_impedances.empty() ? nullptr : &analysis.feed_impedances.back();
}

class Probes {
public:
    Probes(NoiseAnalysis& analysis, const std::list<TakeSurvey>& surveys, const OpenedJob& job) : analysis_(analysis), surveys_(surveys), job_(job) {}

    void read() {
        bool any = false, any_running = false;
        for (const Take& take : job_.job.takes) {
            if (std::none_of(take.channels.begin(), take.channels.end(), is_supply) || !plays_nothing(take) || is_floor_take(take)) continue;
            any = true;
            if (!engine_active(take)) continue;
            any_running = true;
            try {
                read_take(take);
            } catch (const Error& error) {
                warn("supply_unreadable", take, error.what());
            }
        }
        if (any && !any_running)
            analysis_.warnings.push_back(
                {"supply_engine_off",
                 "The takes with a probe on the supply were all made with the engine off: nothing follows there. Capture one "
                 "while the engine is revved slowly through its range.",
                 std::nullopt});
        say();
    }

private:
    void warn(const char* code, const Take& take, const std::string& text) {
        analysis_.warnings.push_back({code, text.starts_with(take.file) ? text : take.file + ": " + text, take.file});
    }

    void read_take(const Take& take) {
        const bool signal = std::any_of(take.channels.begin(), take.channels.end(), carries_signal);
        const auto voltage = place_of(take, Channel::supply), current = place_of(take, Channel::supply_current);
        if (take.has(TakeFault::overload)) {
            if (!signal) warn("supply_overloaded", take, "the interface's input was overloaded; not used. Lower its gain, or use a pad.");
            return;
        }
        if (!signal && !(voltage && current)) {
            warn("supply_alone", take,
                 "the supply alone says nothing of the signal; not used. Give the interface's other input a signal channel, or the supply's "
                 "voltage and current together.");
            return;
        }
        const auto survey = std::find_if(surveys_.begin(), surveys_.end(), [&](const TakeSurvey& one) { return one.take == &take; });
        if (signal && survey == surveys_.end()) return;  // left out already, with its reason
        const ProbeSound sound = read_probe_sound(job_, take, survey == surveys_.end() ? nullptr : &*survey);
        std::vector<std::size_t> usable;
        for (const auto place : {voltage, current})
            if (place && is_usable(take, sound, *place)) usable.push_back(*place);
        if (voltage && current && usable.size() == 2) read_feed(take, sound, *voltage, *current);
        if (signal)
            for (const std::size_t place : usable) read_sources(take, *survey, sound, place);
    }

    bool is_usable(const Take& take, const ProbeSound& sound, std::size_t c) {
        const std::string name = plain(take.channels[c]);
        if (sound.silent(c)) {
            warn("supply_silent", take, name + " is silent; not used. Look at the probe, its fuse and the lead.");
        } else if (sound.clipped(c)) {
            warn("supply_overloaded", take, name + " overloads the interface's input; not used. Use a pad before it, or lower its gain.");
        } else if (take.channels[c] == Channel::supply_current && !job_.job.interface.amps_per_volt) {
            warn("clamp_scale_unknown", take,
                 name + " has no scale; not used. Give the clamp's: hushtrace job --amps-per-volt (10 for 100 mV an ampere).");
        } else {
            return true;
        }
        return false;
    }

    // ---- signal over supply

    void read_sources(const Take& take, const TakeSurvey& survey, const ProbeSound& sound, std::size_t supply) {
        bool followed = false;
        for (const SourceTrace& trace : analysis_.traces) {
            if (trace.take != take.file || trace.ratios.empty() || trace.track.empty()) continue;
            const auto source = std::find_if(analysis_.noise_sources.begin(), analysis_.noise_sources.end(),
                                             [&](const NoiseSource& one) { return one.id == trace.source_id; });
            if (source == analysis_.noise_sources.end() || is_of_clicks(source->kind)) continue;
            followed = true;
            for (const ChannelSurvey& channel : survey.channels)
                if (!channel.silent) read_source(take, survey, *source, trace, sound, channel.file_channel, supply);
        }
        if (!followed)
            warn("supply_no_lines", take,
                 "no noise was followed in the signal: there is nothing to hold against " + std::string(plain(take.channels[supply])) + ".");
    }

    void read_source(const Take& take, const TakeSurvey& survey, const NoiseSource& source, const SourceTrace& trace, const ProbeSound& sound,
                     std::size_t signal, std::size_t supply) {
        LineTransferRequest request;
        request.ratios = trace.ratios;
        request.block_s = trace.steady ? kSteadyBlock_s : kFollowedBlock_s;
        const LineTransfer read = line_transfer(sound.channels[supply], sound.channels[signal], sound.rate, trace.track, request);
        const std::vector<LineTransferPoint> points = joined_by_frequency(read.points, request.bins_per_octave);
        if (points.empty()) {
            warn("supply_not_common", take,
                 fmt::format("{} has no line in common with {}: it doesn't come by way of it, or is too faint to tell.", source.id,
                             plain(take.channels[supply])));
            return;
        }
        SupplyTransfer out;
        out.source_id = source.id;
        out.take = take.file;
        out.channel = take.channels[signal];
        out.against = take.channels[supply];
        const auto over = job_.job.volts_full_scale(take, signal), under = supply_scale(job_.job, take, supply);
        out.calibrated = over && under;
        const double scale_db = out.calibrated ? 20.0 * std::log10(*over / *under) : 0.0;
        for (const LineTransferPoint& one : points) {
            Reading ratio = one.magnitude_db();
            ratio.value += scale_db;
            out.points.push_back({one.frequency_hz, ratio, one.coherence});
        }
        if (const auto slope = fit_slope(points)) {
            out.slope_db_per_decade = slope->db_per_decade;
            out.decades = slope->decades;
            if (out.against == Channel::supply_current && out.calibrated && is_flat(slope->db_per_decade)) {
                const double mohm = 1e3 * amplitude_from_decibels(slope->middle_db.value + scale_db);
                const double scales_db =
                    std::hypot(job_.job.volts_full_scale_sd_db(signal).value_or(0.0), job_.job.volts_full_scale_sd_db(supply).value_or(0.0));
                out.shared_mohm = Reading{mohm, mohm * kShare_of_db * std::hypot(slope->middle_db.sd, scales_db), LimitedBy::nothing};
                out.shared_at_hz = slope->middle_hz;
            }
        }
        hold_against_twin(out, take, survey, source, trace, sound);
        analysis_.supply_transfers.push_back(std::move(out));
    }

    /// The probe closes a loop of its own, if it isn't isolated: then the source's level differs from that without it.
    void hold_against_twin(SupplyTransfer& out, const Take& take, const TakeSurvey& survey, const NoiseSource& source,
                           const SourceTrace& trace, const ProbeSound& sound) {
        bool any = false;
        for (const TakeSurvey& other : surveys_) {
            if (!is_twin_of_probe(take, *other.take, out.channel)) continue;
            any = true;
            const auto change = change_by_probe(source, trace, {&survey, &sound}, {&other, nullptr}, out.channel, analysis_, job_);
            if (!change) continue;
            out.twin = other.take->file;
            if (std::abs(change->value) <= std::max(takes_repeat_db(take), 2.0 * change->sd)) continue;
            out.spoilt = true;
            say_once("probe_spoils", take, source.id,
                     fmt::format("with the probe on the supply {} is {:.1f} dB {} than in {}: the probe makes a loop of its own, and both takes "
                                 "are spoilt by the set-up. Use an isolated probe, and no second ground.",
                                 source.id, std::abs(change->value), change->value > 0.0 ? "louder" : "quieter", other.take->file));
            break;
        }
        if (!any)
            say_once("no_probe_twin", take, "",
                     "no take like it without the probe: whether the probe changes the noise isn't known. Capture one with the probe off, all "
                     "else alike.");
    }

    void say_once(const char* code, const Take& take, const std::string& of, const std::string& text) {
        if (said_.insert(std::string(code) + take.file + of).second) warn(code, take, text);
    }

    // ---- voltage over current

    void read_feed(const Take& take, const ProbeSound& sound, std::size_t voltage, std::size_t current) {
        const auto volts = supply_scale(job_.job, take, voltage), amps = supply_scale(job_.job, take, current);
        if (!volts || !amps) {
            warn("feed_not_calibrated", take, "the feed's impedance needs both inputs calibrated. Run hushtrace calibrate with a known voltage.");
            return;
        }
        RidgeSearch search;
        search.most_ridges = 3;
        std::vector<LineTransferPoint> points;
        std::vector<double> seen_hz;
        for (const std::size_t in : {voltage, current})
            for (const Ridge& ridge : find_ridges(sound.channels[in], sound.rate, search)) {
                const double mean_hz = ridge.track.mean_hz();
                const bool known = std::any_of(seen_hz.begin(), seen_hz.end(), [mean_hz](double f) { return std::abs(f / mean_hz - 1.0) < 0.01; });
                if (known) continue;
                seen_hz.push_back(mean_hz);
                LineTransferRequest request;
                request.ratios = {1.0 / 6, 1.0 / 3, 0.5, 2.0 / 3, 1.0, 4.0 / 3, 1.5, 5.0 / 3, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0};
                request.block_s = kFollowedBlock_s;
                for (LineTransferPoint point :
                     line_transfer(sound.channels[current], sound.channels[voltage], sound.rate, ridge.track, request).points) {
                    point.gain *= *volts / *amps;
                    points.push_back(point);
                }
            }
        if (seen_hz.empty()) {
            warn("supply_no_lines", take, "no line was followed in the supply: the feed's impedance can't be read.");
            return;
        }
        const auto fitted = fit_series_impedance(joined_by_frequency(points));
        if (!fitted) {
            warn("feed_not_read", take,
                 "voltage and current of the supply have too few lines in common, or too close ones, for the feed's resistance and inductance. Rev "
                 "the engine "
                 "slowly through its range.");
            return;
        }
        FeedImpedance out;
        out.take = take.file;
        out.resistance_ohm = fitted->resistance_ohm;
        out.inductance_h = fitted->inductance_h;
        out.corner_hz = fitted->corner_hz;
        out.capacitance_f = fitted->capacitance_f;
        out.from_hz = fitted->from_hz;
        out.to_hz = fitted->to_hz;
        const double scales =
            kShare_of_db * std::hypot(job_.job.volts_full_scale_sd_db(voltage).value_or(0.0), job_.job.volts_full_scale_sd_db(current).value_or(0.0));
        for (Reading* one : {&out.resistance_ohm, &out.inductance_h}) one->sd = std::hypot(one->sd, scales * one->value);
        if (out.capacitance_f) out.capacitance_f->sd = std::hypot(out.capacitance_f->sd, scales * out.capacitance_f->value);
        analysis_.feed_impedances.push_back(std::move(out));
    }

    void say() {
        for (FeedImpedance& one : analysis_.feed_impedances) one.text = words_of(one);
        for (SupplyTransfer& one : analysis_.supply_transfers) one.text = words_of(one, feed_of(analysis_));
    }

    NoiseAnalysis& analysis_;
    const std::list<TakeSurvey>& surveys_;
    const OpenedJob& job_;
    std::set<std::string> said_;
};

}  // namespace

void read_supply_probes(NoiseAnalysis& analysis, const std::list<TakeSurvey>& surveys, const OpenedJob& job) {
    Probes(analysis, surveys, job).read();
}

std::optional<SupplySlope> slope_that_weighs(const NoiseAnalysis& analysis, const std::string& source_id) {
    double weights = 0, sum = 0;
    SupplySlope out;
    for (const SupplyTransfer& one : analysis.supply_transfers) {
        if (one.source_id != source_id || one.against != Channel::supply || one.spoilt || !one.slope_db_per_decade) continue;
        const Reading& slope = *one.slope_db_per_decade;
        const SlopeLaws laws = laws_of(one, feed_of(analysis));
        const double apart = laws.capacitive - laws.magnetic;
        if (slope.sd > kVague_db || one.decades < kFewDecades || apart < kLawsApart_db) continue;
        const double stretch = 20.0 / apart, sd = stretch * std::hypot(slope.sd, laws.known ? kBent_db : kBentUnknown_db);
        const double weight = 1.0 / (sd * sd);
        weights += weight;
        sum += weight * stretch * (slope.value - laws.magnetic);
        out.takes.push_back(one.take);
    }
    if (!(weights > 0.0)) return std::nullopt;
    out.db_per_decade = sum / weights;
    // what bends one take's slope bends the next one's, too
    out.sd = std::sqrt(static_cast<double>(out.takes.size()) / weights);
    return out;
}

}  // namespace hushtrace
