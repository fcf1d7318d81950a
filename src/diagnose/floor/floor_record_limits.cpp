#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../gain/at_ear.hpp"
#include "floor_record_parts.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

/// What is asked where job.json writes nothing: proposals of ours, without a source.
struct Asked {
    const char* what = nullptr;
    std::optional<double> Limits::*written = nullptr;
    double proposed = 0;
    std::optional<double> judge_to;  ///< between the two the ear judges
    const char* unit = nullptr;
};
constexpr Asked kLine{"line_below_full_power_db", &Limits::line_below_full_power_db, -90, -75, "dB"};
constexpr Asked kHiss{"hiss_below_full_power_db", &Limits::hiss_below_full_power_db, -85, -75, "dB"};
constexpr Asked kEarOff{"at_ear_off_db_spl", &Limits::at_ear_off_db_spl, 15, std::nullopt, "dB SPL"};
constexpr Asked kEarRunning{"at_ear_running_db_spl", &Limits::at_ear_running_db_spl, 25, std::nullopt, "dB SPL"};

const Asked& ear_limit(Engine engine) { return engine_turns(engine) || engine == Engine::ready ? kEarRunning : kEarOff; }

FloorVerdict asked(const Limits& limits, const Asked& limit) {
    FloorVerdict out;
    const auto& written = limits.*limit.written;
    out.what = limit.what;
    out.limit = written.value_or(limit.proposed);
    if (!written) out.judge_to = limit.judge_to;
    out.unit = limit.unit;
    out.written = written.has_value();
    out.origin = written ? "job.json" : "proposal, no source";
    out.verdict = "not_measured";
    return out;
}

/// What holds with its uncertainty; where the interface's own noise is all that was seen, nothing above the limit can be told.
std::string verdict_of(const FloorRatio& found, const FloorVerdict& against) {
    if (!std::isfinite(found.db.value)) return "not_measured";
    if (found.db.high() <= against.limit) return "pass";
    if (found.bound || found.db.low() <= against.limit) return "undecided";
    if (!against.judge_to) return "fail";
    if (found.db.high() <= *against.judge_to) return "judge";
    return found.db.low() > *against.judge_to ? "fail" : "undecided";
}

std::string line_words(const FloorLine& line) {
    const std::string at = line.frequency_hz < 1000 ? fmt::format("{:.1f} Hz", line.frequency_hz) : fmt::format("{:.0f} Hz", line.frequency_hz);
    return line.name == "not named" ? "a line without a name at " + at : fmt::format("{}, {}{}", line.name, line.wanders ? "about " : "at ", at);
}

/// Why a figure is missing, in the order in which one would mend it.
std::string why_none(const ChannelFloor& channel, const AmplifierFloor& amplifier, bool at_ear) {
    if (channel.floor.third_octaves.empty()) return "digital silence: no sound came in";
    if (!channel.floor.unweighted.dbv) return "not calibrated";
    if (!amplifier.gain_db) return "the amplifier's gain isn't known";
    if (at_ear) return "no speaker of it with a sensitivity";
    return "its power and load aren't known";
}

/// Nothing stood out of the noise: no line is louder than all the floor together.
///   re_dbv  what brings a level [dBV] to the limit's terms; unset: not known
void judge_no_line(const ChannelFloor& channel, std::optional<double> re_dbv, FloorVerdict& out) {
    out.found_text = "no line stands out of the noise";
    out.verdict = "pass";
    const auto& all = channel.floor.unweighted.dbv;
    if (channel.floor.limited_by_interface && all && re_dbv && all->high() + *re_dbv > out.limit) {
        out.verdict = "undecided";
        out.found_text += "; the interface's own may hide one";
    }
}

/// Lines of the set-up's own may hide one of the vehicle's at the same place.
void heed_the_set_up(const ChannelFloor& channel, const AmplifierFloor& amplifier, FloorVerdict& out) {
    if (out.verdict != "pass" || !amplifier.full_power_v) return;
    for (const FloorLine& line : channel.lines)
        if (line.dbv && line.dbv->limited_by == LimitedBy::interface && !(amplifier.bass_only && line.frequency_hz > kBassTop_hz) &&
            line.dbv->high() - decibels_from_amplitude(*amplifier.full_power_v) > out.limit) {
            out.verdict = "undecided";
            out.found_text += fmt::format("; the set-up's own line at {:.0f} Hz is louder than the limit", line.frequency_hz);
            return;
        }
}

FloorVerdict place(FloorVerdict one, const ConditionFloor& condition, const ChannelFloor& channel, const AmplifierFloor& amplifier) {
    one.condition = condition.name;
    one.take = condition.take;
    one.channel = channel.channel;
    one.amplifier = amplifier.amplifier;
    return one;
}

FloorVerdict judge_line(const Limits& limits, const ChannelFloor& channel, const AmplifierFloor& amplifier) {
    FloorVerdict out = asked(limits, kLine);
    out.found = amplifier.line_re_full_power_db;
    if (out.found) {
        out.verdict = verdict_of(*out.found, out);
        out.found_text = line_words(channel.lines[*amplifier.loudest_line]);
        heed_the_set_up(channel, amplifier, out);
    } else if (amplifier.full_power_v && channel.floor.unweighted.dbv) {
        judge_no_line(channel, -decibels_from_amplitude(*amplifier.full_power_v), out);
        heed_the_set_up(channel, amplifier, out);
    } else {
        out.found_text = why_none(channel, amplifier, false);
    }
    return out;
}

FloorVerdict judge_hiss(const Limits& limits, const ChannelFloor& channel, const AmplifierFloor& amplifier) {
    FloorVerdict out = asked(limits, kHiss);
    out.found = amplifier.hiss_re_full_power_db;
    if (out.found) {
        out.verdict = verdict_of(*out.found, out);
        if (out.found->db.limited_by == LimitedBy::noise) out.found_text = "something that was not followed is in it";
        else if (out.found->bound) out.found_text = "the interface's own noise is all that was seen";
        else if (amplifier.bass_only) out.found_text = "ahead of its low-pass";
    } else {
        out.found_text = why_none(channel, amplifier, false);
    }
    return out;
}

FloorVerdict judge_ear(const Limits& limits, const ConditionFloor& condition, const ChannelFloor& channel, const AmplifierFloor& amplifier) {
    FloorVerdict out = asked(limits, ear_limit(condition.engine));
    const bool known = channel.floor.unweighted.dbv && amplifier.hiss_at_ear_db_spl;
    if (amplifier.line_at_ear_db_spl && *amplifier.line_over_threshold_db > 0.0) {
        out.found = amplifier.line_at_ear_db_spl;
        out.verdict = verdict_of(*out.found, out);
        out.found_text = line_words(channel.lines[*amplifier.line_at_ear]);
    } else if (amplifier.line_at_ear_db_spl) {
        out.verdict = "pass";
        out.found_text = fmt::format("no line reaches the threshold of hearing; next to it, by {:.0f} dB, is {}", -*amplifier.line_over_threshold_db,
                                     line_words(channel.lines[*amplifier.line_at_ear]));
    } else if (known) {
        const auto& hiss = channel.floor.broadband_a_weighted.dbv;
        judge_no_line(channel, hiss ? std::optional(amplifier.hiss_at_ear_db_spl->db.value - hiss->value) : std::nullopt, out);
    } else {
        out.found_text = why_none(channel, amplifier, true);
    }
    return out;
}

/// A limit that is written has a line, whatever the takes are.
void add_unheard(const Job& job, FloorRecord& record) {
    for (const Asked* limit : {&kLine, &kHiss, &kEarOff, &kEarRunning}) {
        const auto same = [&](const FloorVerdict& one) { return one.what == limit->what; };
        if (!(job.limits.*limit->written) || std::any_of(record.acceptance.begin(), record.acceptance.end(), same)) continue;
        FloorVerdict out = asked(job.limits, *limit);
        const bool running = limit == &kEarRunning, off = limit == &kEarOff;
        out.found_text = record.conditions.empty() ? "no floor was captured at the amplifier's input"
                         : job.amplifiers.empty()  ? "job.json describes no amplifier"
                         : running                 ? "no take with the engine running"
                         : off                     ? "no take with the engine off"
                                                   : "no channel that was captured feeds an amplifier of the job";
        record.acceptance.push_back(std::move(out));
    }
}

}  // namespace

void judge_floor(const Job& job, FloorRecord& record) {
    for (const ConditionFloor& condition : record.conditions)
        for (const ChannelFloor& channel : condition.channels) {
            // silence has no amplifiers of its own: what is written for it is still asked
            std::vector<AmplifierFloor> silent;
            if (channel.floor.third_octaves.empty())
                for (const AmplifierData& amplifier : job.amplifiers) silent.emplace_back().amplifier = amplifier.name;
            for (const AmplifierFloor& amplifier : silent.empty() ? channel.amplifiers : silent)
                for (FloorVerdict one : {judge_line(job.limits, channel, amplifier), judge_hiss(job.limits, channel, amplifier),
                                         judge_ear(job.limits, condition, channel, amplifier)})
                    record.acceptance.push_back(place(std::move(one), condition, channel, amplifier));
        }
    add_unheard(job, record);
    // what nobody asked for and nothing told is no line
    std::erase_if(record.acceptance, [](const FloorVerdict& one) { return one.verdict == "not_measured" && !one.written; });
}

}  // namespace hushtrace
