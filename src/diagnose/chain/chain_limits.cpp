#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "chain_parts.hpp"
#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

constexpr const char* kProposal = "proposal, no source";
constexpr const char* kPractice = "common practice, no source";
constexpr double kDead_db = -30;         // against the others: no longer the tone, but what leaks over
constexpr double kNearEnd = 1.0 / 6;     // octaves
constexpr std::size_t kHole = transfer_points_per_octave / 6;
constexpr double kDeepest_db = 200;      // digital silence has no figure

/// What is asked where job.json writes nothing. All but the polarity are proposals: no published figure for vehicles is
/// known to us.
struct Asked {
    double value;
    bool written;
    std::string origin;
};
Asked asked(const std::optional<double>& written, double proposed, const char* origin = kProposal) {
    return written ? Asked{*written, true, "job.json"} : Asked{proposed, false, origin};
}

std::string verdict_of(const std::optional<Reading>& found, double limit) {
    if (!found || std::isnan(found->value)) return "not_measured";
    if (found->high() <= limit) return "pass";
    if (found->limited_by == LimitedBy::noise || found->limited_by == LimitedBy::interface) return "undecided";  // it may lie below
    return found->low() > limit ? "fail" : "undecided";
}

const char* unit_of(std::string_view what) {
    if (what == "noise_dbv_a") return "dBV";
    return what.ends_with("_percent") ? "%" : what.ends_with("_ms") ? "ms" : "dB";
}

std::string name_of(Channel channel) { return std::string(spaced(to_word(channel))); }

bool dead(const ChainChannel& one) { return one.silent || (one.quiet_db && one.quiet_db->high() < kDead_db); }
/// Why a channel has no figures; empty where it has.
std::string why_none(const ChainChannel& one) {
    if (one.silent) return "silent";
    return one.quiet_db ? fmt::format("{:.0f} dB below {}", -one.quiet_db->value, name_of(one.quiet_against)) : "";
}

struct Judge {
    ChainAnalysis& out;
    std::vector<ChainChannel> missing;           ///< named in the takes, and nothing known of them
    std::vector<const ChainChannel*> channels;   ///< every one that the takes name

    Judge(const Job& job, ChainAnalysis& analysis) : out(analysis) {
        std::set<Channel> named;
        for (const Take& take : job.takes)
            for (const Channel channel : take.channels)
                if (carries_signal(channel)) named.insert(channel);
        for (const ChainChannel& one : out.channels) {
            named.erase(one.channel);
            channels.push_back(&one);
        }
        for (const Channel channel : named) {
            missing.emplace_back();
            missing.back().channel = channel;
        }
        for (const ChainChannel& one : missing) channels.push_back(&one);
    }

    LimitLine& add(const std::string& what, std::optional<Channel> channel, std::optional<Channel> against,
                   const std::optional<Reading>& found, const Asked& limit, std::string text = "") {
        LimitLine line;
        line.what = what;
        line.channel = channel;
        line.against = against;
        line.found = found;
        line.found_text = std::move(text);
        line.limit = limit.value;
        line.unit = unit_of(what);
        line.written = limit.written;
        line.origin = limit.origin;
        line.verdict = verdict_of(found, limit.value);
        out.limits.push_back(std::move(line));
        return out.limits.back();
    }
    /// A channel that should carry the tone and doesn't has no figure, and fails what is asked of it.
    LimitLine& add_dead(const std::string& what, std::optional<Channel> channel, std::optional<Channel> against, const Asked& limit,
                        const std::string& why) {
        LimitLine& line = add(what, channel, against, std::nullopt, limit, why);
        if (limit.written) line.verdict = "fail";
        return line;
    }
    LimitLine& add_of(const ChainChannel& one, const std::string& what, const std::optional<Reading>& found, const Asked& limit,
                      const std::string& text = "") {
        if (dead(one)) return add_dead(what, one.channel, std::nullopt, limit, why_none(one));
        return add(what, one.channel, std::nullopt, found, limit, text.empty() && !found ? why_none(one) : text);
    }
    const ChainChannel* channel(Channel wanted) const {
        for (const ChainChannel* one : channels)
            if (one->channel == wanted) return one;
        return nullptr;
    }
};

std::optional<Reading> magnitude(const std::optional<Reading>& a, const std::optional<Reading>& b) {
    if (!a || !b) return std::nullopt;
    return Reading{std::abs(a->value - b->value), std::hypot(a->sd, b->sd)};
}

std::optional<Reading> balance_of(const ChainChannel& one, const ChainChannel& other) {
    for (const auto& [quiet, loud] : {std::pair{&one, &other}, std::pair{&other, &one}})
        if (quiet->quiet_db && quiet->quiet_against == loud->channel) return Reading{std::abs(quiet->quiet_db->value), quiet->quiet_db->sd};
    return magnitude(one.balance_db, other.balance_db);
}

void judge_pairs(Judge& judge, const Limits& limits) {
    const Asked balance = asked(limits.balance_db, 1.0), delay = asked(limits.delay_difference_ms, 0.1);
    for (const auto& [first, second] : {std::pair{Channel::left, Channel::right}, std::pair{Channel::rear_left, Channel::rear_right}}) {
        const ChainChannel *a = judge.channel(first), *b = judge.channel(second);
        if (!a && !b) continue;
        std::optional<Reading> level, time;
        std::string why;
        for (const ChainChannel* one : {a, b})
            if (one && dead(*one)) why += (why.empty() ? "" : ", ") + name_of(one->channel) + " " + why_none(*one);
        if (a && b) {
            level = balance_of(*b, *a);
            time = magnitude(b->delay_ms, a->delay_ms);
        }
        if (level || why.empty())
            judge.add("balance_db", second, first, level, balance);
        else
            judge.add_dead("balance_db", second, first, balance, why);
        if (why.empty())
            judge.add("delay_difference_ms", second, first, time, delay);
        else
            judge.add_dead("delay_difference_ms", second, first, delay, why);
    }
}

void judge_polarity(Judge& judge, const Limits& limits) {
    if (limits.same_polarity && !*limits.same_polarity) return;
    const auto list = [](std::string& to, Channel channel) { to += (to.empty() ? "" : ", ") + name_of(channel); };
    std::string turned, unknown, none;
    std::size_t known = 0, inverted = 0;
    for (const ChainChannel* one : judge.channels) {
        if (dead(*one)) list(none, one->channel);
        else if (one->polarity == "unknown") list(unknown, one->channel);
        if (one->polarity == "unknown") continue;
        ++known;
        if (one->polarity != "inverted") continue;
        ++inverted;
        list(turned, one->channel);
    }
    LimitLine line;
    line.what = "same_polarity";
    line.written = limits.same_polarity.has_value();
    line.origin = line.written ? "job.json" : kPractice;
    line.limit = 1;
    if (known >= 2 && inverted != 0 && inverted != known) {
        line.verdict = "fail";
        line.found_text = "turned on " + turned;
    } else if (line.written && !none.empty()) {
        line.verdict = "fail";
        line.found_text = "nothing of the tone on " + none;
    } else if (known < 2) {
        line.verdict = "not_measured";
    } else {
        line.verdict = line.written && !unknown.empty() ? "undecided" : "pass";
        line.found_text = line.verdict == "pass" ? "alike" : "alike, but not known on " + unknown;
    }
    judge.out.limits.push_back(line);
}

/// What is known of a channel within the band asked, a sixth of an octave averaged.
struct ReadBand {
    std::optional<Reading> away_db;               ///< the furthest from the level round 1 kHz
    double at_hz = 0;
    std::optional<double> at_most_db;             ///< where noise hides the channel: how high it may lie there, the lowest of that
    double at_most_hz = 0;
    double from_hz = 0, to_hz = 0;                ///< of the band, what any take covers
    double hidden_from_hz = 0, hidden_to_hz = 0;  ///< within that, where noise hides a sixth of an octave or more; else 0
    bool whole = false;                           ///< covered to within a sixth of an octave of both ends
};

ReadBand read_band(const ChainChannel& one, double from_hz, double to_hz) {
    ReadBand out;
    const Transfer& all = one.response;
    out.from_hz = std::max(from_hz, all.front().frequency_hz);
    out.to_hz = std::min(to_hz, all.back().frequency_hz);
    out.whole = std::log2(out.from_hz / from_hz) < kNearEnd && std::log2(to_hz / out.to_hz) < kNearEnd;
    std::size_t unseen_run = 0;
    for (std::size_t k = 0; k < all.size(); ++k) {
        const double hz = all[k].frequency_hz;
        if (hz < from_hz || hz > to_hz) continue;
        unseen_run = all[k].seen() ? 0 : unseen_run + 1;
        if (unseen_run >= kHole) {
            if (out.hidden_to_hz <= 0) out.hidden_from_hz = all[k + 1 - unseen_run].frequency_hz;
            out.hidden_to_hz = hz;
        }
        if (k < 2 || k + 2 >= all.size()) continue;
        double sum = 0, variance = 0, most = 0;
        bool seen = true;
        for (std::size_t j = k - 2; j <= k + 2; ++j) {
            const Reading level = all[j].magnitude_db();
            seen = seen && all[j].seen();
            sum += level.value / 5;
            variance += level.sd * level.sd / 10;
            most += level.high() / 5;
        }
        const double away = sum - one.gain_db->value, at_most = most - one.gain_db->low();
        if (!seen && (!out.at_most_db || at_most < *out.at_most_db)) {
            out.at_most_db = at_most;
            out.at_most_hz = hz;
        }
        if (!seen || (out.away_db && std::abs(away) <= std::abs(out.away_db->value))) continue;
        out.away_db = Reading{away, std::hypot(std::sqrt(variance), one.gain_db->sd)};
        out.at_hz = hz;
    }
    return out;
}

void judge_response(Judge& judge, const ChainChannel& one, const Limits& limits) {
    constexpr const char* what = "response_tolerance_db";
    const Asked limit = asked(limits.response_tolerance_db, 3.0);
    if (dead(one) || !one.gain_db || one.response.empty()) {
        judge.add_of(one, what, std::nullopt, limit);
        return;
    }
    if (one.gain_hz != 1000.0) {  // a subwoofer's
        judge.add_of(one, what, std::nullopt, limit, "passes no 1 kHz");
        return;
    }
    double from_hz = limits.response_from_hz.value_or(40), to_hz = limits.response_to_hz.value_or(16000);
    // where another channel takes a part of the band over, that part isn't asked of this one
    for (const ChainCrossing& crossing : judge.out.crossings) {
        if (crossing.upper == one.channel) from_hz = std::max(from_hz, 2 * crossing.frequency_hz);
        if (crossing.lower == one.channel) to_hz = std::min(to_hz, crossing.frequency_hz / 2);
    }
    const ReadBand read = read_band(one, from_hz, to_hz);
    std::string text = read.away_db ? fmt::format("{:+.1f} dB at {:.0f} Hz, ", read.away_db->value, read.at_hz) : "";
    const bool sunk = read.at_most_db && *read.at_most_db < -limit.value;
    if (sunk) text += fmt::format("below {:+.1f} dB at {:.0f} Hz (noise), ", std::max(*read.at_most_db, -kDeepest_db), read.at_most_hz);
    text += fmt::format("{:.0f} to {:.0f} Hz asked", from_hz, to_hz);
    if (!read.whole && read.to_hz > read.from_hz) text += fmt::format(", only {:.0f} to {:.0f} Hz measured", read.from_hz, read.to_hz);
    if (read.hidden_to_hz > 0) text += fmt::format(", noise hides it from {:.0f} to {:.0f} Hz", read.hidden_from_hz, read.hidden_to_hz);
    std::optional<Reading> away;
    if (read.away_db) away = Reading{std::abs(read.away_db->value), read.away_db->sd};
    LimitLine& line = judge.add_of(one, what, away, limit, text);
    if (sunk)
        line.verdict = "fail";
    else if (line.verdict == "pass" && (!read.whole || read.hidden_to_hz > 0))
        line.verdict = "undecided";
}

void judge_channel(Judge& judge, const ChainChannel& one, const Limits& limits) {
    judge_response(judge, one, limits);
    const bool sided = one.channel != Channel::sub && one.channel != Channel::center;
    if (sided) {
        judge.add_of(one, "crosstalk_1khz_db", one.crosstalk_db, asked(limits.crosstalk_1khz_db, -60));
        judge.add_of(one, "crosstalk_10khz_db", one.crosstalk_10khz_db, asked(limits.crosstalk_10khz_db, -45));
    }
    judge.add_of(one, "minus_20_thd_percent", one.minus_20.thd_percent, asked(limits.minus_20_thd_percent, 0.3));
    judge.add_of(one, "ceiling_thd_percent", one.at_ceiling.thd_percent, asked(limits.ceiling_thd_percent, 1.0, kPractice));
    judge.add_of(one, "noise_dbv_a", one.noise ? one.noise->dbv_a : std::nullopt, asked(limits.noise_dbv_a, -80));
}

/// A limit that is written has a line, whatever the takes are.
void add_unheard(Judge& judge, const Limits& limits) {
    for (const LimitField& field : kLimitFields) {
        const std::string what(field.name);
        if (field.of_floor || !(limits.*field.value) || what == "response_from_hz" || what == "response_to_hz") continue;
        const bool there = std::any_of(judge.out.limits.begin(), judge.out.limits.end(), [&](const LimitLine& line) { return line.what == what; });
        if (!there) judge.add(what, std::nullopt, std::nullopt, std::nullopt, asked(limits.*field.value, 0));
    }
}

}  // namespace

void judge_limits(const Job& job, ChainAnalysis& out) {
    Judge judge(job, out);
    judge_pairs(judge, job.limits);
    judge_polarity(judge, job.limits);
    for (const ChainChannel* one : judge.channels) judge_channel(judge, *one, job.limits);
    add_unheard(judge, job.limits);
    // what nobody asked for and nothing told is no line
    std::erase_if(out.limits, [](const LimitLine& line) { return line.verdict == "not_measured" && !line.written; });
}

bool fails_limit(const ChainAnalysis& analysis) {
    return std::any_of(analysis.limits.begin(), analysis.limits.end(),
                       [](const LimitLine& line) { return line.written && line.verdict == "fail"; });
}

}  // namespace hushtrace
