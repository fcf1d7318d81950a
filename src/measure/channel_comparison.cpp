#include "hushtrace/measure/channel_comparison.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double shared = 1.6;  // neighbouring points overlap: so many have the noise of one (22 cycles of window)
constexpr double method_sd_db = 0.005;
constexpr double usable_share = 0.8;  // of the highest frequency: above it a converter's filter bends the phase

struct Mean {
    double power = 0, variance = 0;
    std::size_t points = 0, seen = 0;
    double level_db() const { return 10 * std::log10(power); }
};
// Mean power (noise taken off) of the points within so many octaves to either side.
Mean mean_around(std::span<const TransferPoint> transfer, double centre_hz, double half_octaves) {
    Mean out;
    const double edge = std::exp2(half_octaves);
    for (const TransferPoint& p : transfer) {
        if (p.frequency_hz < centre_hz / edge || p.frequency_hz > centre_hz * edge) continue;
        ++out.points;
        if (p.seen()) ++out.seen;
        out.power += std::norm(p.gain) - p.noise_power;
        out.variance += 2 * std::max(0.0, std::norm(p.gain) - p.noise_power) * p.noise_power + p.noise_power * p.noise_power;
    }
    if (out.points == 0) return out;
    const double count = static_cast<double>(out.points);
    out.power /= count;
    out.variance *= shared / (count * count);
    return out;
}

Reading reading_of(const Mean& mean, const std::span<const TransferPoint> transfer, double centre_hz, double half_octaves) {
    if (2 * mean.seen >= mean.points && mean.power > 0)
        return {mean.level_db(), std::hypot(method_sd_db, 4.343 * std::sqrt(mean.variance) / mean.power)};
    // what may be there at most: the noise's own power over the band
    const double edge = std::exp2(half_octaves);
    double power = 0, count = 0;
    for (const TransferPoint& p : transfer)
        if (p.frequency_hz >= centre_hz / edge && p.frequency_hz <= centre_hz * edge) {
            power += std::max(p.noise_power, std::norm(p.gain));
            ++count;
        }
    return {10 * std::log10(power / count), 4.343 * std::sqrt(std::min(1.0, shared / count)), LimitedBy::noise};
}

DelayFitRequest request_for(std::span<const TransferPoint> transfer, double around_s) {
    DelayFitRequest request;
    request.around_s = around_s;
    if (!transfer.empty()) request.highest_hz = usable_share * transfer.back().frequency_hz;
    return request;
}

}  // namespace

std::optional<BandLevel> octave_level(std::span<const TransferPoint> transfer, double centre_hz) {
    const Mean mean = mean_around(transfer, centre_hz, 0.5);
    if (mean.points < 12 || 2 * mean.seen < mean.points || !(mean.power > 0)) return std::nullopt;
    return BandLevel{reading_of(mean, transfer, centre_hz, 0.5), centre_hz};
}

std::optional<BandLevel> passband_level(std::span<const TransferPoint> transfer) {
    std::optional<BandLevel> loudest;
    for (const TransferPoint& p : transfer) {
        const auto here = octave_level(transfer, p.frequency_hz);
        if (here && (!loudest || here->level_db.value > loudest->level_db.value)) loudest = here;
    }
    const auto usual = octave_level(transfer, 1000);
    return usual && loudest && usual->level_db.value > loudest->level_db.value - 10 ? usual : loudest;
}

ChannelDifference compare(const ChannelPath& channel, const ChannelPath& reference) {
    ChannelDifference out;
    const Transfer ratio = ratio_of(channel.transfer, reference.transfer);
    out.delay = fit_delay(ratio, request_for(ratio, channel.around_s - reference.around_s));
    // the octave in which the quieter of the two is loudest
    double best_db = -1e9;
    for (const TransferPoint& p : ratio) {
        const auto a = octave_level(channel.transfer, p.frequency_hz), b = octave_level(reference.transfer, p.frequency_hz);
        if (!a || !b) continue;
        double lower_db = std::min(a->level_db.value, b->level_db.value);
        lower_db -= 1e-3 * std::abs(std::log2(p.frequency_hz / 1000));  // of equal ones that nearest to 1 kHz
        if (lower_db <= best_db + 0.1 && out.balance) continue;
        const auto here = octave_level(ratio, p.frequency_hz);
        if (!here) continue;
        best_db = lower_db;
        out.balance = here;
    }
    const auto usual = octave_level(ratio, 1000);
    const auto a = octave_level(channel.transfer, 1000), b = octave_level(reference.transfer, 1000);
    if (usual && a && b && std::min(a->level_db.value, b->level_db.value) > best_db - 10) out.balance = usual;
    return out;
}

std::optional<DelayFit> delay_after_tone(const ChannelPath& channel, const TonePlace& place) {
    auto fit = fit_delay(channel.transfer, request_for(channel.transfer, channel.around_s));
    if (fit) fit->delay_s.sd = std::hypot(fit->delay_s.sd, place.start_sd_s);
    return fit;
}

ChannelRoles roles_of(std::span<const ChannelPath> channels) {
    constexpr double carries_db = 12;
    ChannelRoles out;
    std::vector<std::optional<BandLevel>> levels;
    for (const ChannelPath& one : channels) levels.push_back(passband_level(one.transfer));
    for (std::size_t c = 0; c < levels.size(); ++c)
        if (levels[c] && (!out.loudest || levels[c]->level_db.value > levels[*out.loudest]->level_db.value)) out.loudest = c;
    for (const auto& level : levels) {
        out.silent.push_back(!level);
        out.carries.push_back(level && level->level_db.value > levels[*out.loudest]->level_db.value - carries_db);
    }
    return out;
}

Crosstalk crosstalk_of(std::span<const TransferPoint> quiet, std::span<const TransferPoint> carrying) {
    Crosstalk out{ratio_of(quiet, carrying), {}, {}};
    const auto at = [&](double frequency_hz) -> std::optional<Reading> {
        const Mean carried = mean_around(carrying, frequency_hz, 1.0 / 6), heard = mean_around(out.transfer, frequency_hz, 1.0 / 6);
        if (heard.points < 4 || 2 * carried.seen < carried.points) return std::nullopt;
        return reading_of(heard, out.transfer, frequency_hz, 1.0 / 6);
    };
    out.at_1khz_db = at(1000);
    out.at_10khz_db = at(10000);
    return out;
}

}  // namespace hushtrace
