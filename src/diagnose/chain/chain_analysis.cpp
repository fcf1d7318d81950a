#include "hushtrace/diagnose/chain_analysis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../gain/gain_parts.hpp"
#include "../takes/channel_sides.hpp"
#include "chain_parts.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

Reading in_ms(const Reading& seconds) { return {1e3 * seconds.value, 1e3 * seconds.sd, seconds.limited_by}; }

bool belongs_to(Channel channel, Channel output) {
    if (output == Channel::left) return channel == Channel::left || channel == Channel::rear_left;
    return channel == Channel::right || channel == Channel::rear_right;
}
bool has_a_side(Channel channel) { return belongs_to(channel, Channel::left) || belongs_to(channel, Channel::right); }

struct Gathering {
    ChainAnalysis& out;
    std::vector<int> rank;  ///< of each channel's figures: a later take of the same rank replaces an earlier one

    ChainChannel& channel(Channel wanted) {
        for (ChainChannel& one : out.channels)
            if (one.channel == wanted) return one;
        out.channels.push_back({});
        out.channels.back().channel = wanted;
        rank.push_back(-1);
        return out.channels.back();
    }
    int& rank_of(const ChainChannel& one) { return rank[static_cast<std::size_t>(&one - out.channels.data())]; }
    void warn(const std::string& code, const std::string& text, const Take& take) {
        out.warnings.push_back({code, text, take.file});
    }
};

std::vector<ChannelPath> channel_paths(const PathsOfTake& of) {
    std::vector<ChannelPath> out;
    for (const TakePath& path : of.paths) out.push_back({path.transfer, path.around_s});
    return out;
}

// By the levels at the probe: a pad makes no channel quiet.
ChannelRoles roles_at_probe(const PathsOfTake& of) {
    std::vector<Transfer> transfers;
    std::vector<ChannelPath> paths;
    for (const TakePath& path : of.paths)
        transfers.push_back(louder_by(path.transfer, rough_difference_at_probe_db(path.probe, of.paths.front().probe)));
    for (std::size_t i = 0; i < transfers.size(); ++i) paths.push_back({transfers[i], of.paths[i].around_s});
    return roles_of(paths);
}

// Whether the output that was played alone came in where its name says.
void check_identity(Gathering& to, const PathsOfTake& of, const ChannelRoles& roles) {
    const auto only = of.take->tone->only;
    if (!only || !roles.loudest) return;
    const Channel loudest = of.paths[*roles.loudest].channel;
    bool wanted_carries = false, wanted_there = false, other_carries = false;
    for (std::size_t i = 0; i < of.paths.size(); ++i) {
        if (!has_a_side(of.paths[i].channel)) continue;
        const bool wanted = belongs_to(of.paths[i].channel, *only);
        wanted_there = wanted_there || wanted;
        wanted_carries = wanted_carries || (wanted && roles.carries[i]);
        other_carries = other_carries || (!wanted && roles.carries[i]);
    }
    if (wanted_there && !wanted_carries && other_carries)
        to.warn("channels_swapped",
                fmt::format("the {} output alone was played, but the tone came in on the {} channel: the leads, or the "
                            "inputs, are swapped",
                            spaced(to_word(*only)), spaced(to_word(loudest))),
                *of.take);
    else if (wanted_carries && other_carries)
        to.warn("channels_joined",
                fmt::format("the {} output alone was played, and the other side has it too: the source is set to mono, "
                            "the balance isn't kept, or the leads touch",
                            spaced(to_word(*only))),
                *of.take);
}

// Held against the other side where that carries the tone.
void add_quiet(Gathering& to, const PathsOfTake& of, const ChannelRoles& roles, const TakePath& path) {
    const TakePath* against = &of.paths[*roles.loudest];
    for (std::size_t i = 0; i < of.paths.size(); ++i)
        if (roles.carries[i] && of.paths[i].channel == other_side(path.channel)) against = &of.paths[i];
    const auto loud = passband_level(against->transfer), quiet = passband_level(path.transfer);
    const double below_db = loud->level_db.value - quiet->level_db.value - rough_difference_at_probe_db(path.probe, against->probe);
    to.warn("channel_quiet",
            fmt::format("the {} channel lies {:.0f} dB below the {} channel: a lead off, the balance or the "
                        "fader; if one output alone was played, say so with --tone-channel",
                        spaced(to_word(path.channel)), below_db, spaced(to_word(against->channel))),
            *of.take);
    ChainChannel& one = to.channel(path.channel);
    const auto apart = difference_at_probe(path.probe, against->probe);
    if (to.rank_of(one) >= 0 || !apart) return;
    one.silent = false;
    one.quiet_db = Reading{-below_db, std::hypot(loud->level_db.sd, quiet->level_db.sd, apart->sd)};
    one.quiet_against = against->channel;
}

void add_crosstalk(Gathering& to, const PathsOfTake& of, const ChannelRoles& roles) {
    if (!roles.loudest) return;
    const TakePath& carrying = of.paths[*roles.loudest];
    for (std::size_t i = 0; i < of.paths.size(); ++i) {
        if (roles.carries[i] || i == *roles.loudest) continue;
        if (!of.take->tone->only) {
            if (!roles.silent[i]) add_quiet(to, of, roles, of.paths[i]);
            continue;
        }
        const auto apart = difference_at_probe(of.paths[i].probe, carrying.probe);
        if (!apart) {
            warn_of_scales(to.out, of.paths[i], carrying);
            continue;
        }
        Crosstalk found = crosstalk_of(of.paths[i].transfer, carrying.transfer);
        ChainChannel& one = to.channel(of.paths[i].channel);
        one.crosstalk_db = plus(found.at_1khz_db, *apart);
        one.crosstalk_10khz_db = plus(found.at_10khz_db, *apart);
        one.crosstalk = louder_by(std::move(found.transfer), apart->value);
    }
}

void read_thd(ChainChannel& one, const SweepResponse& sweep) {
    for (const double hz : {one.gain_hz, 1000.0}) {  // gain_hz is 1000 where the channel passes that
        one.thd_percent = sweep.thd_percent(hz);
        one.thd_hz = hz;
        if (one.thd_percent) return;
    }
}

// The level at which the tone came in: played, and what the path did to it.
void read_level(ChainChannel& one, const OpenedJob& job, const Take& take) {
    one.level_dbfs.reset();
    one.level_dbv.reset();
    const auto played_dbfs = played_level_dbfs(take.tone->waveform);
    if (!one.gain_db || !played_dbfs) return;
    one.level_dbfs = Reading{*played_dbfs + one.gain_db->value, one.gain_db->sd, one.gain_db->limited_by};
    const auto at = std::find(take.channels.begin(), take.channels.end(), one.channel);
    const auto index = static_cast<std::size_t>(at - take.channels.begin());
    const auto volts = job.job.volts_full_scale(take, index);
    if (!volts) return;
    const double sd_db = std::hypot(one.gain_db->sd, job.job.volts_full_scale_sd_db(index).value_or(0.0));
    one.level_dbv = Reading{dbv_from_dbfs(one.level_dbfs->value, *volts), sd_db, one.gain_db->limited_by};
}

int rank_of_take(const PathsOfTake& of) {
    const Waveform& waveform = of.take->tone->waveform;
    const int kind = std::holds_alternative<Sweep>(waveform) ? 4 : std::holds_alternative<Pink>(waveform) ? 2 : 0;
    return kind + (of.take->tone->only ? 0 : 1);
}

// A channel's figures from the take that tells most: sweeps before noise before pulses, all channels played before one
// alone.
void add_figures(Gathering& to, const OpenedJob& job, const PathsOfTake& of, const ChannelRoles& roles) {
    const std::vector<ChannelPath> paths = channel_paths(of);
    const bool both = !of.take->tone->only;
    const bool is_sweep = of.paths.front().sweep.has_value();
    for (std::size_t i = 0; i < paths.size(); ++i) {
        ChainChannel& one = to.channel(of.paths[i].channel);
        const bool expected = both || belongs_to(one.channel, *of.take->tone->only);
        if (!roles.carries[i]) {
            if (expected && roles.silent[i] && to.rank_of(one) < 0) {
                one.silent = true;
                one.quiet_db.reset();
                one.take = of.take->file;
                to.warn("channel_silent",
                        fmt::format("nothing of the tone came in on the {} channel: check its lead, the balance and the fader",
                                    spaced(to_word(one.channel))),
                        *of.take);
            }
            continue;
        }
        const int rank = rank_of_take(of);
        if (rank < to.rank_of(one)) continue;
        to.rank_of(one) = rank;
        one.silent = false;
        one.quiet_db.reset();
        one.take = of.take->file;
        one.volume = of.take->conditions.volume;
        const auto against_tone = delay_after_tone(paths[i], of.placed.place);
        one.polarity = !against_tone || !against_tone->sure ? "unknown" : against_tone->inverted ? "inverted" : "normal";
        one.delay_after_tone_ms.reset();
        if (against_tone && of.placed.placed_by == "markers") one.delay_after_tone_ms = in_ms(against_tone->delay_s);
        if (const auto level = passband_level(paths[i].transfer)) {
            one.gain_db = level->level_db;
            one.gain_hz = level->centre_hz;
        }
        read_level(one, job, *of.take);
        one.response = of.paths[i].transfer;
        if (is_sweep) {
            one.harmonics = of.paths[i].sweep->harmonics;
            read_thd(one, *of.paths[i].sweep);
        }
    }
}

void compare_polarities(ChainAnalysis& out) {
    std::string normal, inverted;
    for (const ChainChannel& one : out.channels) {
        std::string& list = one.polarity == "inverted" ? inverted : normal;
        if (one.polarity != "unknown") list += (list.empty() ? "" : ", ") + spaced(to_word(one.channel));
    }
    if (!normal.empty() && !inverted.empty())
        out.warnings.push_back({"polarity_differs",
                                fmt::format("the polarity is turned on {} and not on {}: bass will cancel", inverted, normal),
                                std::nullopt});
}

void warn_of_take(Gathering& to, const PathsOfTake& of) {
    if (of.cut_short)
        to.warn("sweep_cut_short", "the take ends inside the sweep: what lies above is missing", *of.take);
    if (of.take->has(TakeFault::dropout))
        to.warn("take_dropout", "samples were lost in this take: its response and delays can't be relied on; capture it again",
                *of.take);
    if (of.take->has(TakeFault::overload))
        to.warn("take_overload", "the interface was overloaded in this take: its distortion isn't the source's", *of.take);
}

// A later take of the same pair replaces an earlier one.
void add_intermodulation(Gathering& to, const OpenedJob& job, const Take& take, const OpenChainTake& open) {
    std::vector<ChainIntermodulation> found = read_two_tones(job, take, open, to.out.warnings);
    if (take.has(TakeFault::dropout))
        to.warn("take_dropout", "samples were lost in this take: the longest stretch without a change was read", take);
    for (ChainIntermodulation& one : found) {
        auto& all = to.out.intermodulation;
        const auto same = std::find_if(all.begin(), all.end(), [&one](const ChainIntermodulation& other) {
            return other.channel == one.channel && other.method == one.method;
        });
        if (same == all.end())
            all.push_back(std::move(one));
        else
            *same = std::move(one);
    }
    to.out.takes.push_back(take.file);
}

/// Which outputs arrive on each channel, from takes in which one played alone.
void note_outputs(Gathering& to, const PathsOfTake& of, const ChannelRoles& roles) {
    const auto only = of.take->tone->only;
    if (!only) return;
    for (std::size_t i = 0; i < of.paths.size(); ++i) {
        if (!roles.carries[i]) continue;
        std::vector<Channel>& hears = to.channel(of.paths[i].channel).hears;
        if (std::find(hears.begin(), hears.end(), *only) == hears.end()) hears.push_back(*only);
    }
}

/// What the job's stepped takes say of the source; nothing where there are none, or none can be read (the gain command
/// tells why).
std::optional<GainAnalysis> gain_of(const OpenedJob& job, const OpenChainTake& open) {
    const bool any = std::any_of(job.job.takes.begin(), job.job.takes.end(), [](const Take& take) {
        return is_gain_take(take) && (!take.volume_steps.empty() || std::holds_alternative<Stepped>(take.tone->waveform));
    });
    if (!any) return std::nullopt;
    try {
        return analyse_gain(job, open);
    } catch (const Error&) {
        return std::nullopt;
    }
}

}  // namespace

std::optional<double> played_level_dbfs(const Waveform& waveform) {
    if (const auto* sweep = std::get_if<Sweep>(&waveform)) return sweep->level_dbfs;
    if (const auto* pink = std::get_if<Pink>(&waveform)) return pink->level_dbfs;
    return std::nullopt;
}

const TakePath* ReadTake::path(Channel channel) const {
    for (std::size_t i = 0; i < of.paths.size(); ++i)
        if (of.paths[i].channel == channel && roles.carries[i]) return &of.paths[i];
    return nullptr;
}

bool has_chain_take(const Job& job) {
    return std::any_of(job.takes.begin(), job.takes.end(),
                       [](const Take& take) { return is_chain_take(take) || is_two_tone_take(take); });
}

ChainAnalysis analyse_chain(const OpenedJob& job, const OpenChainTake& open, const GainAnalysis* gain) {
    ChainAnalysis out;
    std::vector<ReadTake> takes;
    Gathering to{out, {}};
    std::size_t wanted = 0;
    for (const Take& take : job.job.takes) {
        if (!is_chain_take(take) && !is_two_tone_take(take)) continue;
        ++wanted;
        try {
            if (is_two_tone_take(take)) {
                add_intermodulation(to, job, take, open);
                continue;
            }
            PathsOfTake of = read_paths(take, open);
            for (TakePath& path : of.paths) path.probe = at_probe(job.job, take, path.channel);
            const ChannelRoles roles = roles_at_probe(of);
            if (!roles.loudest)
                throw Error(ErrorKind::invalid_input, take.file + ": nothing of its tone stands out of the noise");
            warn_of_take(to, of);
            check_identity(to, of, roles);
            note_outputs(to, of, roles);
            add_figures(to, job, of, roles);
            add_crosstalk(to, of, roles);
            out.takes.push_back(take.file);
            out.placed.push_back(of.placed);
            const int rank = rank_of_take(of);
            takes.push_back({std::move(of), roles, rank});
        } catch (const Error& error) {
            out.warnings.push_back({"take_unreadable", named_as_in_job(job, take, error.what()), take.file});
        }
    }
    if (wanted == 0)
        throw Error(ErrorKind::invalid_input,
                    "job.json: no take with a sweep, pink noise, polarity pulses or two tones: capture one with --tone sweep");
    if (out.takes.empty())
        throw Error(ErrorKind::invalid_input,
                    wanted == 1 ? out.warnings.back().text
                                : fmt::format("none of the {} takes with a sweep, pink noise, polarity pulses or two tones can be read: {}", wanted,
                                              out.warnings.back().text));
    std::stable_sort(out.channels.begin(), out.channels.end(),
                     [](const ChainChannel& a, const ChainChannel& b) { return a.channel < b.channel; });
    const auto own_gain = gain ? std::nullopt : gain_of(job, open);
    if (!gain && own_gain) gain = &*own_gain;
    see_shapes(out, takes);
    link_channels(out, takes);
    compare_polarities(out);
    find_contradictions(out, takes);
    add_sums(out, takes);
    add_volume_dependence(job.job, out, takes, gain);
    add_level_dependence(out, takes);
    add_distortion(job, out, takes, open, gain);
    add_noise(job, out, open);
    judge_limits(job.job, out);
    return out;
}

}  // namespace hushtrace
