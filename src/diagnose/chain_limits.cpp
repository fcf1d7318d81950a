#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "chain_parts.hpp"

namespace hushtrace {
namespace {

constexpr const char* kProposal = "proposal, no source";
constexpr const char* kPractice = "common practice, no source";

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

struct Judge {
    ChainAnalysis& out;

    void add(const std::string& what, std::optional<Channel> channel, std::optional<Channel> against,
             const std::optional<Reading>& found, const Asked& limit, const char* unit, std::string text = "") {
        LimitLine line;
        line.what = what;
        line.channel = channel;
        line.against = against;
        line.found = found;
        line.found_text = std::move(text);
        line.limit = limit.value;
        line.unit = unit;
        line.written = limit.written;
        line.origin = limit.origin;
        line.verdict = verdict_of(found, limit.value);
        out.limits.push_back(std::move(line));
    }
    const ChainChannel* channel(Channel wanted) const {
        for (const ChainChannel& one : out.channels)
            if (one.channel == wanted && !one.silent) return &one;
        return nullptr;
    }
};

std::optional<Reading> magnitude(const std::optional<Reading>& a, const std::optional<Reading>& b) {
    if (!a || !b) return std::nullopt;
    return Reading{std::abs(a->value - b->value), std::hypot(a->sd, b->sd)};
}

void judge_pairs(Judge& judge, const Limits& limits) {
    const Asked balance = asked(limits.balance_db, 1.0), delay = asked(limits.delay_difference_ms, 0.1);
    for (const auto& [first, second] : {std::pair{Channel::left, Channel::right}, std::pair{Channel::rear_left, Channel::rear_right}}) {
        const ChainChannel *a = judge.channel(first), *b = judge.channel(second);
        if (!a || !b) continue;
        judge.add("balance_db", second, first, magnitude(b->balance_db, a->balance_db), balance, "dB");
        judge.add("delay_difference_ms", second, first, magnitude(b->delay_ms, a->delay_ms), delay, "ms");
    }
}

void judge_polarity(Judge& judge, const Limits& limits) {
    if (limits.same_polarity && !*limits.same_polarity) return;
    std::string turned;
    std::size_t known = 0, inverted = 0;
    for (const ChainChannel& one : judge.out.channels) {
        if (one.polarity == "unknown") continue;
        ++known;
        if (one.polarity != "inverted") continue;
        ++inverted;
        turned += (turned.empty() ? "" : ", ") + name_of(one.channel);
    }
    LimitLine line;
    line.what = "same_polarity";
    line.written = limits.same_polarity.has_value();
    line.origin = line.written ? "job.json" : kPractice;
    line.limit = 1;
    if (known < 2) {
        line.verdict = "not_measured";
    } else {
        line.verdict = inverted == 0 || inverted == known ? "pass" : "fail";
        line.found_text = line.verdict == "pass" ? "alike" : "turned on " + turned;
    }
    judge.out.limits.push_back(line);
}

/// The furthest from the level round 1 kHz within the band, a sixth of an octave averaged.
struct Furthest {
    Reading away_db;
    double at_hz = 0;
};
std::optional<Furthest> furthest(const ChainChannel& one, double from_hz, double to_hz) {
    std::optional<Furthest> out;
    for (std::size_t k = 2; k + 2 < one.response.size(); ++k) {
        const double hz = one.response[k].frequency_hz;
        if (hz < from_hz || hz > to_hz) continue;
        double sum = 0, variance = 0;
        bool seen = true;
        for (std::size_t j = k - 2; j <= k + 2; ++j) {
            const Reading level = one.response[j].magnitude_db();
            seen = seen && one.response[j].seen();
            sum += level.value / 5;
            variance += level.sd * level.sd / 10;
        }
        if (!seen) continue;
        const double away = sum - one.gain_db->value;
        if (!out || std::abs(away) > std::abs(out->away_db.value))
            out = Furthest{{away, std::hypot(std::sqrt(variance), one.gain_db->sd)}, hz};
    }
    return out;
}

void judge_response(Judge& judge, const ChainChannel& one, const Limits& limits) {
    if (!one.gain_db || one.gain_hz != 1000.0 || one.response.empty()) return;  // a subwoofer's has no such band
    double from_hz = limits.response_from_hz.value_or(40), to_hz = limits.response_to_hz.value_or(16000);
    // where another channel takes a part of the band over, that part isn't asked of this one
    for (const ChainCrossing& crossing : judge.out.crossings) {
        if (crossing.upper == one.channel) from_hz = std::max(from_hz, 2 * crossing.frequency_hz);
        if (crossing.lower == one.channel) to_hz = std::min(to_hz, crossing.frequency_hz / 2);
    }
    const auto found = furthest(one, from_hz, to_hz);
    std::optional<Reading> away;
    std::string text;
    if (found) {
        away = Reading{std::abs(found->away_db.value), found->away_db.sd};
        text = fmt::format("{:+.1f} dB at {:.0f} Hz, {:.0f} to {:.0f} Hz asked", found->away_db.value, found->at_hz, from_hz, to_hz);
    }
    judge.add("response_tolerance_db", one.channel, std::nullopt, away, asked(limits.response_tolerance_db, 3.0), "dB", text);
}

void judge_channel(Judge& judge, const ChainChannel& one, const Limits& limits) {
    if (one.silent) return;
    judge_response(judge, one, limits);
    const bool sided = one.channel != Channel::sub && one.channel != Channel::center;
    if (sided) {
        judge.add("crosstalk_1khz_db", one.channel, std::nullopt, one.crosstalk_db, asked(limits.crosstalk_1khz_db, -60), "dB");
        judge.add("crosstalk_10khz_db", one.channel, std::nullopt, one.crosstalk_10khz_db, asked(limits.crosstalk_10khz_db, -45), "dB");
    }
    judge.add("minus_20_thd_percent", one.channel, std::nullopt, one.minus_20.thd_percent, asked(limits.minus_20_thd_percent, 0.3), "%");
    judge.add("ceiling_thd_percent", one.channel, std::nullopt, one.at_ceiling.thd_percent,
              asked(limits.ceiling_thd_percent, 1.0, kPractice), "%");
    judge.add("noise_dbv_a", one.channel, std::nullopt, one.noise ? one.noise->dbv_a : std::nullopt, asked(limits.noise_dbv_a, -80), "dBV");
}

}  // namespace

void judge_limits(const Job& job, ChainAnalysis& out) {
    if (out.channels.empty()) return;
    Judge judge{out};
    judge_pairs(judge, job.limits);
    judge_polarity(judge, job.limits);
    for (const ChainChannel& one : out.channels) judge_channel(judge, one, job.limits);
    // what nobody asked for and nothing told is no line
    std::erase_if(out.limits, [](const LimitLine& line) { return line.verdict == "not_measured" && !line.written; });
}

bool fails_limit(const ChainAnalysis& analysis) {
    return std::any_of(analysis.limits.begin(), analysis.limits.end(),
                       [](const LimitLine& line) { return line.written && line.verdict == "fail"; });
}

}  // namespace hushtrace
