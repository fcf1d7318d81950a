#include <algorithm>
#include <cmath>

#include "chain_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kDelayMatters_ms = 0.02;
constexpr double kDelayFits = 0.25;  // octaves between a cancellation and half a wavelength of a delay

double around_of(const std::vector<ReadTake>& takes, const ChainChannel& one) {
    for (const ReadTake& take : takes)
        if (take.of.take->file == one.take)
            if (const TakePath* path = take.path(one.channel)) return path->around_s;
    return 0;
}

bool has_all_pass(const ChainChannel* one) { return one && one->phase && !one->phase->all_passes.empty(); }
bool all_pass_near(const ChainChannel* one, double hz) {
    return has_all_pass(one) && std::any_of(one->phase->all_passes.begin(), one->phase->all_passes.end(), [hz](const AllPass& pass) {
               return std::abs(std::log2(pass.frequency_hz.value / hz)) < 1;
           });
}

std::string cause_of(const ChainAnalysis& out, const ChannelSum& sum, Channel one, Channel other) {
    const ChainChannel *a = channel_of(out, one), *b = channel_of(out, other);
    if (all_pass_near(a, sum.deepest_hz) != all_pass_near(b, sum.deepest_hz)) return "all_pass";
    if (!a || !b) return "unknown";
    const bool known = a->polarity != "unknown" && b->polarity != "unknown";
    if (known && a->polarity != b->polarity) return "polarity";
    if (a->delay_ms && b->delay_ms) {
        const double apart_ms = std::abs(a->delay_ms->value - b->delay_ms->value);
        // half a wavelength, or one and a half: the first dip, the second
        for (const double halves : {1.0, 3.0})
            if (apart_ms > kDelayMatters_ms && std::abs(std::log2(sum.deepest_hz / (halves * 500.0 / apart_ms))) < kDelayFits)
                return "delay";
    }
    return has_all_pass(a) != has_all_pass(b) ? "all_pass" : "unknown";
}

void add_sum(ChainAnalysis& out, const ReadTake& take, const TakePath& one, const TakePath& other) {
    const auto sum = sum_of_channels(louder_by(one.transfer, rough_difference_at_probe_db(one.probe, other.probe)), other.transfer);
    if (!sum) return;
    ChainSum found{take.of.take->file, one.channel, other.channel, sum->deepest_hz, sum->deepest_db, sum->from_hz, sum->to_hz, ""};
    if (sum->cancels()) found.cause = cause_of(out, *sum, one.channel, other.channel);
    const auto same = std::find_if(out.sums.begin(), out.sums.end(), [&](const ChainSum& there) {
        return there.one == found.one && there.other == found.other;
    });
    if (same == out.sums.end())
        out.sums.push_back(found);
    else
        *same = found;
}

void add_crossing(ChainAnalysis& out, const std::vector<ReadTake>& takes, const ChainChannel& lower, const ChainChannel& upper) {
    const auto found = crossing_of(lower.response, upper.response);
    if (!found) return;
    ChainCrossing crossing{lower.channel, upper.channel, found->frequency_hz, found->below_db, std::nullopt, ""};
    for (const ReadTake& take : takes) {
        const TakePath *a = take.path(lower.channel), *b = take.path(upper.channel);
        if (!a || !b) continue;
        if (const auto added = added_db(a->transfer, b->transfer, found->frequency_hz)) {
            crossing.added_db = added;
            crossing.take = take.of.take->file;
        }
    }
    out.crossings.push_back(crossing);
}

}  // namespace

ChainChannel* channel_of(ChainAnalysis& chain, Channel channel) {
    const auto at = std::find_if(chain.channels.begin(), chain.channels.end(), [channel](const ChainChannel& one) { return one.channel == channel; });
    return at == chain.channels.end() ? nullptr : &*at;
}

const ChainChannel* channel_of(const ChainAnalysis& chain, Channel channel) { return channel_of(const_cast<ChainAnalysis&>(chain), channel); }

void see_shapes(ChainAnalysis& out, const std::vector<ReadTake>& takes) {
    for (ChainChannel& one : out.channels) {
        if (one.response.empty() || one.silent) continue;
        one.shape = shape_of(one.response);
        one.band = band_of(one.response);
        one.phase = find_all_passes(one.response, around_of(takes, one));
        if (one.phase && !one.phase->all_passes.empty() && one.phase->sure)
            one.polarity = one.phase->inverted ? "inverted" : "normal";
    }
}

void add_sums(ChainAnalysis& out, const std::vector<ReadTake>& takes) {
    for (const ReadTake& take : takes) {
        if (!take.both()) continue;
        const auto& paths = take.of.paths;
        for (std::size_t i = 0; i < paths.size(); ++i)
            for (std::size_t j = i + 1; j < paths.size(); ++j)
                if (take.roles.carries[i] && take.roles.carries[j]) add_sum(out, take, paths[i], paths[j]);
    }
    for (const ChainChannel& lower : out.channels)
        for (const ChainChannel& upper : out.channels)
            if (&lower != &upper && !lower.response.empty() && !upper.response.empty()) add_crossing(out, takes, lower, upper);
}

}  // namespace hushtrace
