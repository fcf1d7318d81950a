#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "chain_parts.hpp"
#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

constexpr double kContradiction_db = 1.0;
constexpr double kSameTone_db = 0.1;

struct Link {
    std::optional<Reading> delay_s;
    std::optional<BandLevel> balance;
    int rank = -1;
};

/// What `take` says of one channel against another.
std::optional<Link> link_in(const ReadTake& take, Channel channel, Channel against) {
    const TakePath *one = take.path(channel), *other = take.path(against);
    if (!one || !other) return std::nullopt;
    const ChannelDifference difference = compare({one->transfer, one->around_s}, {other->transfer, other->around_s});
    Link out{std::nullopt, difference.balance, take.rank};
    const auto apart = difference_at_probe(one->probe, other->probe);
    if (!apart) out.balance.reset();
    if (out.balance) out.balance->level_db = *plus(out.balance->level_db, *apart);
    if (difference.delay) out.delay_s = difference.delay->delay_s;
    return out;
}

/// From the take that tells most, the latest of those.
std::optional<Link> direct_link(const std::vector<ReadTake>& takes, Channel channel, Channel against) {
    std::optional<Link> best;
    for (const ReadTake& take : takes)
        if (auto here = link_in(take, channel, against); here && (!best || here->rank >= best->rank)) best = here;
    return best;
}

/// The take that a channel's figures stem from.
const ReadTake* take_of(const std::vector<ReadTake>& takes, const ChainChannel& one) {
    for (const ReadTake& take : takes)
        if (take.of.take->file == one.take && take.path(one.channel)) return &take;
    return nullptr;
}

// Channels that were never played together are compared by their levels, as long as the volume stood still. Not by their
// delays: a take's markers come through the same path, and so does their delay.
void balance_by_level(ChainAnalysis& out, ChainChannel& one, const ChainChannel& first, const std::vector<ReadTake>& takes) {
    if (!one.gain_db || !first.gain_db || one.gain_hz != first.gain_hz) return;
    const ReadTake *here = take_of(takes, one), *there = take_of(takes, first);
    if (!here || !there || here->of.take->conditions.volume != there->of.take->conditions.volume) return;
    const TakePath &path = *here->path(one.channel), &against = *there->path(first.channel);
    const auto apart = difference_at_probe(path.probe, against.probe);
    if (!apart) return warn_of_scales(out, path, against);
    one.balance_db = plus(Reading{one.gain_db->value - first.gain_db->value, std::hypot(one.gain_db->sd, first.gain_db->sd)}, *apart);
    one.balance_hz = one.gain_hz;
}

// An all-pass looks like a delay to a line through the phase; the fit that knows of it tells the delay without.
std::optional<Reading> delay_beside_all_passes(const ChainChannel& one, const ChainChannel& first) {
    const auto turns = [](const ChainChannel& channel) { return channel.phase && !channel.phase->all_passes.empty(); };
    if (one.take != first.take || !one.phase || !first.phase || !(turns(one) || turns(first))) return std::nullopt;
    const Reading &here = one.phase->delay_s, &there = first.phase->delay_s;
    return Reading{here.value - there.value, std::hypot(here.sd, there.sd)};
}

std::string played_words(const ReadTake& take) {
    return take.of.take->conditions.volume ? fmt::format("at volume {:g}", *take.of.take->conditions.volume)
                                           : std::string("(job.json states no volume)");
}

bool same_conditions(const Take& a, const Take& b) {
    const auto level_a = played_level_dbfs(a.tone->waveform), level_b = played_level_dbfs(b.tone->waveform);
    return alike_but_level(a, b) && level_a.has_value() == level_b.has_value() &&
           (!level_a || std::abs(*level_a - *level_b) < kSameTone_db);
}

}  // namespace

bool alike_but_level(const Take& a, const Take& b) {
    return a.tone->waveform.index() == b.tone->waveform.index() && a.tone->only == b.tone->only &&
           a.conditions.volume == b.conditions.volume && a.conditions.point == b.conditions.point &&
           a.conditions.hookup == b.conditions.hookup && a.conditions.input == b.conditions.input &&
           a.tone->via == b.tone->via && a.after_change == b.after_change;
}

void warn_of_scales(ChainAnalysis& out, const TakePath& one, const TakePath& other) {
    const bool first = one.probe.referred.calibrated;
    const std::string known(spaced(to_word(first ? one.channel : other.channel))), unknown(spaced(to_word(first ? other.channel : one.channel)));
    const std::string text = fmt::format("the {} channel's input is calibrated and the {} channel's isn't, so their levels can't be held "
                                         "against each other: calibrate both", known, unknown);
    const bool told = std::any_of(out.warnings.begin(), out.warnings.end(), [&](const Warning& warning) { return warning.text == text; });
    if (!told) out.warnings.push_back({"calibrated_unlike", text, std::nullopt});
}

void link_channels(ChainAnalysis& out, const std::vector<ReadTake>& takes) {
    if (out.channels.empty()) return;
    const ChainChannel& first = out.channels.front();
    for (ChainChannel& one : out.channels) {
        one.delay_ms.reset();
        one.balance_db.reset();
        if (&one == &first) {
            if (one.silent || one.take.empty()) continue;
            one.delay_ms = Reading{};
            one.balance_db = Reading{};
            one.balance_hz = one.gain_hz;
            continue;
        }
        std::optional<Link> link = direct_link(takes, one.channel, first.channel);
        if (!link) {
            for (const ChainChannel& between : out.channels) {
                if (&between == &one || &between == &first) continue;
                const auto near = direct_link(takes, one.channel, between.channel), far = direct_link(takes, between.channel, first.channel);
                if (!near || !far || !near->delay_s || !far->delay_s) continue;
                link = Link{Reading{near->delay_s->value + far->delay_s->value, std::hypot(near->delay_s->sd, far->delay_s->sd)}, {}, 0};
                break;
            }
        }
        if (link && link->delay_s) one.delay_ms = Reading{1e3 * link->delay_s->value, 1e3 * link->delay_s->sd};
        if (const auto beside = delay_beside_all_passes(one, first)) one.delay_ms = Reading{1e3 * beside->value, 1e3 * beside->sd};
        if (link && link->balance) {
            one.balance_db = link->balance->level_db;
            one.balance_hz = link->balance->centre_hz;
        } else {
            balance_by_level(out, one, first, takes);
        }
    }
}

void find_contradictions(ChainAnalysis& out, const std::vector<ReadTake>& takes) {
    for (std::size_t later = 0; later < takes.size(); ++later)
        for (std::size_t earlier = 0; earlier < later; ++earlier) {
            const Take &a = *takes[earlier].of.take, &b = *takes[later].of.take;
            if (!same_conditions(a, b)) continue;
            for (const TakePath& path : takes[later].of.paths) {
                const TakePath* before = takes[earlier].path(path.channel);
                if (!before || !takes[later].path(path.channel)) continue;
                const auto was = passband_level(before->transfer), is = passband_level(path.transfer);
                if (!was || !is || was->centre_hz != is->centre_hz) continue;
                const auto scales = difference_at_probe(path.probe, before->probe);
                if (!scales) continue;
                const double apart = is->level_db.value - was->level_db.value + scales->value;
                if (std::abs(apart) < kContradiction_db + 4 * std::hypot(was->level_db.sd, is->level_db.sd, scales->sd)) continue;
                out.warnings.push_back({"takes_contradict",
                                        fmt::format("{} and {} say the same tone {}, but the {} channel lies {:.1f} dB apart: "
                                                    "something else was changed between them. The later one counts; "
                                                    "correct the entries, or capture again",
                                                    a.file, b.file, played_words(takes[later]), spaced(to_word(path.channel)), std::abs(apart)),
                                        b.file});
                break;
            }
        }
}

}  // namespace hushtrace
