#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../entry/entry_conditions.hpp"
#include "../takes/take_kind.hpp"
#include "amplifier_parts.hpp"
#include "at_ear.hpp"
#include "gain_noise.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostTakes = 12;     // beyond the first, for the parts
constexpr double kLeastSd_db = 0.1;        // what counts between two takes of one set-up at least: ours, no source

/// Powers at the amplifier's input [V^2].
struct Span_v2 {
    double low = 0, high = 0;
};
Range_db in_db(const Span_v2& span) { return {decibels_from_power(span.low), decibels_from_power(span.high)}; }

bool alike(const Take& one, const Take& other) {
    const Conditions &a = one.conditions, &b = other.conditions;
    return same_speed(a, b) && a.rpm.has_value() == b.rpm.has_value() && a.loads == b.loads && a.attached == b.attached && a.laptop == b.laptop &&
           a.point == b.point && a.at_amplifier == b.at_amplifier && a.input == b.input && one.after_change == other.after_change;
}
bool usable(const Take& take) {
    return plays_nothing(take) && !take.has(TakeFault::source_muted) && !take.has(TakeFault::overload) && take.volume_steps.empty();
}
SourceState state_of(const Take& take) { return take.conditions.source.value_or(SourceState::on); }
bool normal(const Take& take) { return take.conditions.hookup.size() == 1 && take.conditions.has(Hookup::normal); }

/// How well a take without the source's signal stands for the lead alone: 3 whole, its shell still on the source; 2 and 1 in
/// part, the source's own shell contact or a ground loop's current not in it; 0 not at all.
int lead_alone(const Take& take) {
    const auto& hookup = take.conditions.hookup;
    if (hookup.size() != 1) return 0;
    if (normal(take) && state_of(take) == SourceState::off) return 3;
    if (take.conditions.has(Hookup::shorted_at_source)) return 2;
    return take.conditions.has(Hookup::dummy_floating) ? 1 : 0;
}

struct Point_v2 {
    double relative_power = 1;  ///< of the volume, against the reference take's
    double v2 = 0, sd_v2 = 0;
};

/// What goes with the volume, from n^2 = a g^2 + c over takes at several volumes, by weighted least squares.
std::optional<Span_v2> fit_before_volume(const std::vector<Point_v2>& points, double total_v2) {
    double s = 0, sg = 0, sgg = 0, sn = 0, sgn = 0;
    for (const Point_v2& one : points) {
        const double w = 1.0 / (one.sd_v2 * one.sd_v2);
        s += w;
        sg += w * one.relative_power;
        sgg += w * one.relative_power * one.relative_power;
        sn += w * one.v2;
        sgn += w * one.relative_power * one.v2;
    }
    const double determinant = s * sgg - sg * sg;
    if (points.size() < 2 || !(determinant > 1e-9 * s * sgg)) return std::nullopt;
    const double a = (s * sgn - sg * sn) / determinant, sd = std::sqrt(s / determinant);
    return Span_v2{std::clamp(a - 2.0 * sd, 0.0, total_v2), std::clamp(a + 2.0 * sd, 0.0, total_v2)};
}

Point_v2 as_point(const InputNoise& noise, double relative_power) {
    const double v2 = power_from_decibels(noise.dbv);
    return {relative_power, v2, v2 * (power_from_decibels(std::hypot(noise.sd_db, kLeastSd_db)) - 1.0)};
}

/// The takes of the same state as the reference one, and what they tell apart.
NoiseParts tell_parts(const AmplifierCase& the, const OpenTake& open, const InputNoise& reference) {
    NoiseParts parts;
    const Take& own = *reference.source;
    parts.volume = own.conditions.volume;
    parts.engine = own.conditions.engine;
    parts.total_dbv = reference.dbv;
    parts.sd_db = reference.sd_db;
    parts.limited_by = reference.limited_by;
    parts.takes = {own.file};
    const bool bound = reference.limited_by == LimitedBy::interface;
    const double total = power_from_decibels(reference.dbv);
    Span_v2 before{0, total}, lead{0, total};

    std::vector<Point_v2> points = {as_point(reference, 1.0)};
    std::optional<InputNoise> alone;
    int alone_rank = 0;
    std::size_t read = 0, outside = 0;
    const auto reference_dbfs = parts.volume ? level_dbfs_at(*the.loudest, *parts.volume) : std::nullopt;
    for (const Take& take : the.job.job.takes) {
        if (&take == &own || !usable(take) || !alike(take, own) || read >= kMostTakes || bound) continue;
        const int rank = lead_alone(take);
        const bool whole = rank == 0 && normal(take) && state_of(take) != SourceState::off && take.conditions.volume && reference_dbfs;
        if (rank <= alone_rank && !whole) continue;
        const auto level = whole ? level_dbfs_at(*the.loudest, *take.conditions.volume) : std::nullopt;
        if (whole && !level) {
            ++outside;
            continue;
        }
        ++read;
        const auto noise = read_noise(the.job, take, open, {reference.channel});
        if (!noise) continue;
        if (!whole) {
            alone = noise;
            alone_rank = rank;
        } else if (noise->limited_by != LimitedBy::interface) {
            points.push_back(as_point(*noise, power_from_decibels(*level - *reference_dbfs)));
            parts.takes.push_back(take.file);
        }
    }
    if (alone) {
        const Point_v2 at = as_point(*alone, 0.0);
        const bool only_bound = alone->limited_by == LimitedBy::interface;
        lead = {only_bound ? 0.0 : std::clamp(at.v2 - 2.0 * at.sd_v2, 0.0, total),
                alone_rank == 3 ? std::clamp(at.v2 + 2.0 * at.sd_v2, 0.0, total) : total};
        parts.takes.push_back(alone->take);
    }
    if (const auto fitted = fit_before_volume(points, total)) before = *fitted;
    before.high = std::min(before.high, total - lead.low);
    lead.high = std::min(lead.high, total - before.low);
    before.low = std::min(before.low, before.high);
    lead.low = std::min(lead.low, lead.high);
    if (bound) before.low = lead.low = 0;
    const Span_v2 after{std::max(0.0, total - before.high - lead.high), std::max(0.0, total - before.low - lead.low)};
    parts.before_volume = in_db(before);
    parts.after_volume = in_db(bound ? Span_v2{0, total} : after);
    parts.lead = in_db(lead);

    if (bound) {
        parts.notes.emplace_back("the interface's own noise is all that was seen: it can't be told apart, and all of it is lower than stated");
        return parts;
    }
    if (points.size() < 2)
        parts.notes.emplace_back(!parts.volume ? "the take doesn't say at which volume it was made, so what goes with the volume can't be told"
                                 : !reference_dbfs || outside
                                     ? "no stepped take tells the source's level at the volumes of the noise takes"
                                     : "one more noise take at another volume, all else alike, would tell what goes with the volume");
    if (!alone)
        parts.notes.emplace_back("a noise take with --source off (its remote line held on), all else alike, would tell what the lead picks up");
    else if (alone_rank == 2)
        parts.notes.emplace_back("the lead's share is from a take without the source's own shell contact: it may be more");
    else if (alone_rank == 1)
        parts.notes.emplace_back("the lead's share is from a take without a ground loop's current: it may be more");
    return parts;
}

/// The gain that was read last at its output: of that channel where it was read, else of any.
std::optional<double> gain_read_db(const AmplifierSetting& setting, Channel channel) {
    std::optional<double> last, last_of_channel;
    for (const auto& one : setting.output_readings) {
        if (!one.gain_now_db) continue;
        last = one.gain_now_db;
        if (one.channel == channel) last_of_channel = one.gain_now_db;
    }
    return last_of_channel ? last_of_channel : last;
}

/// The amplifier's own noise, as if at its input: stated, or read at its output with its input shorted.
std::optional<double> own_noise_dbv(const AmplifierCase& the, const OpenTake& open, const AmplifierSetting& setting) {
    if (the.amplifier.input_noise_dbv) return the.amplifier.input_noise_dbv;
    for (const Take& take : the.job.job.takes) {
        const Conditions& now = take.conditions;
        if (!usable(take) || now.point != Point::amp_output || now.hookup.size() != 1 || !now.has(Hookup::shorted_at_amp) ||
            engine_turns(now.engine))
            continue;
        if (now.at_amplifier ? *now.at_amplifier != the.amplifier.name : the.job.job.amplifiers.size() > 1) continue;
        const auto noise = read_noise(the.job, take, open, {take.channels.begin(), take.channels.end()});
        if (!noise || noise->limited_by == LimitedBy::interface) continue;
        if (const auto gain_db = gain_read_db(setting, noise->channel)) return noise->dbv - *gain_db;
    }
    return std::nullopt;
}

/// Ranges of a split's noise at the output, from powers at the input and factors on them.
class Splits {
public:
    Splits(const AmplifierCase& the, AmplifierSetting& setting, double gain_db) : the_(the), setting_(setting), gain_db_(gain_db) {
        const NoiseParts& parts = *setting.noise_parts;
        total_ = power_from_decibels(parts.total_dbv);
        before_ = {power_from_decibels(parts.before_volume.low), power_from_decibels(parts.before_volume.high)};
        lead_ = {power_from_decibels(parts.lead.low), power_from_decibels(parts.lead.high)};
        own_ = parts.amplifier_dbv ? power_from_decibels(*parts.amplifier_dbv) : 0.0;
    }

    /// All of the noise by one factor: the gain alone is turned.
    Span_v2 all_by(double factor) const { return {(total_ + own_) * factor, (total_ + own_) * factor}; }
    /// The volume and the gain against each other: all but what is ahead of the volume.
    Span_v2 behind_volume_by(double factor) const {
        const Span_v2 ends{before_.high + (total_ - before_.high + own_) * factor, before_.low + (total_ - before_.low + own_) * factor};
        return {std::min(ends.low, ends.high), std::max(ends.low, ends.high)};
    }
    /// A driver at the source and the gain against each other: what the lead and the amplifier add.
    Span_v2 behind_source_by(double factor) const {
        const Span_v2 ends{total_ - lead_.high + (lead_.high + own_) * factor, total_ - lead_.low + (lead_.low + own_) * factor};
        return {std::min(ends.low, ends.high), std::max(ends.low, ends.high)};
    }

    GainSplit& add(std::string way, std::string text, const Span_v2& input_v2) {
        GainSplit one;
        one.way = std::move(way);
        one.text = std::move(text);
        one.volume = setting_.volume;
        one.gain_db = gain_db_;
        one.source_v = setting_.sensitivity_v;
        const Range_db input = in_db(input_v2);
        one.noise_at_output_dbv = {input.low + gain_db_, input.high + gain_db_};
        const double as_set_dbv = decibels_from_power(total_ + own_) + gain_db_;
        one.change_db = {one.noise_at_output_dbv.low - as_set_dbv, one.noise_at_output_dbv.high - as_set_dbv};
        const auto ear_low = at_ear_db_spl(the_.job.job, the_.amplifier, one.noise_at_output_dbv.low),
                   ear_high = at_ear_db_spl(the_.job.job, the_.amplifier, one.noise_at_output_dbv.high);
        if (ear_low && ear_high) one.noise_at_ear_db_spl = Range_db{*ear_low, *ear_high};
        setting_.splits.push_back(std::move(one));
        return setting_.splits.back();
    }
    /// The same with source and gain against each other.
    GainSplit& shift(GainSplit& one, double source_db) const {
        one.source_change_db = source_db;
        one.gain_change_db = -source_db;
        *one.gain_db -= source_db;
        if (one.source_v) *one.source_v *= amplitude_from_decibels(source_db);
        return one;
    }
    double share_before_volume() const { return before_.low / (total_ + own_); }

private:
    const AmplifierCase& the_;
    AmplifierSetting& setting_;
    double gain_db_, total_ = 0, own_ = 0;
    Span_v2 before_, lead_;
};

/// Of the volumes that were played below the setting's, those nearest to 3, 6 and 12 dB less.
std::vector<std::pair<double, double>> lower_volumes(const AmplifierCase& the, double volume) {
    std::vector<std::pair<double, double>> chosen;
    const auto top = level_dbfs_at(*the.loudest, volume);
    if (!top) return chosen;
    for (const double wanted_db : {-3.0, -6.0, -12.0}) {
        std::optional<std::pair<double, double>> nearest;
        for (const VolumeStep& step : the.loudest->curve.steps) {
            if (!step.volume || !(*step.volume < volume)) continue;
            const double change_db = step.level_dbfs - *top;
            if (std::abs(change_db - wanted_db) > 0.35 * std::abs(wanted_db)) continue;
            if (!nearest || std::abs(change_db - wanted_db) < std::abs(nearest->second - wanted_db)) nearest = {*step.volume, change_db};
        }
        if (nearest && (chosen.empty() || chosen.back() != *nearest)) chosen.push_back(*nearest);
    }
    return chosen;
}

std::string best_of(const AmplifierSetting& setting, const Splits& splits) {
    std::string text =
        setting.volume
            ? fmt::format("The source at volume {:g} and no more gain than its target needs is the best split of what is there", *setting.volume)
            : "The source at its highest clean level and no more gain than the target needs is the best split of what is there";
    const GainSplit *lowest = nullptr, *driver = nullptr;
    for (const GainSplit& one : setting.splits) {
        if (one.way == "lower_volume") lowest = &one;
        if (one.way == "line_driver") driver = &one;
    }
    if (lowest) text += fmt::format("; with the gain set for volume {:g}: {}", *lowest->volume, change_words(lowest->change_db));
    text += ".";
    if (driver) text += fmt::format(" With a line driver of {:g} dB at the source: {}", driver->source_change_db, change_words(driver->change_db));
    if (driver && driver->change_db.high > -0.15 && driver->change_db.low > -0.15) text += ", since none of this noise comes in behind it";
    if (driver) text += ".";
    if (splits.share_before_volume() > 0.8)
        text +=
            " Nearly all of it comes from the source, ahead of its volume control: no split of the gain makes it less; a quieter source would.";
    return text;
}

/// The noise at the output and at the ear for this gain, with the amplifier's own where that is known.
void put_output_noise(const AmplifierCase& the, double gain_db, AmplifierSetting& setting) {
    const NoiseParts& parts = *setting.noise_parts;
    const auto& own = parts.amplifier_dbv;
    const double input_dbv = own ? decibels_from_power(power_from_decibels(parts.total_dbv) + power_from_decibels(*own)) : parts.total_dbv;
    setting.noise_at_output_dbv = input_dbv + gain_db;
    setting.noise_sd_db = std::hypot(parts.sd_db, the.feed->sd_db);
    setting.noise_limited_by = parts.limited_by;
    setting.noise_at_ear_db_spl = at_ear_db_spl(the.job.job, the.amplifier, *setting.noise_at_output_dbv);
    setting.notes.push_back(
        fmt::format("output noise is the source's and lead's from {} (engine {}) through this gain, 20 Hz to "
                    "20 kHz, {} the "
                    "amplifier's own{}",
                    parts.takes.front(), to_word(parts.engine), own ? "with" : "without",
                    parts.limited_by == LimitedBy::interface
                        ? "; the interface's own noise is all that was seen, so it is lower than this"
                        : ""));
}

}  // namespace

std::string change_words(const Range_db& change) {
    constexpr double nothing_db = 0.15, one_figure_db = 0.3;  // what a display in tenths can't tell apart
    const bool louder = change.high > nothing_db;
    const double least = std::abs(louder ? change.low : change.high), most = std::abs(louder ? change.high : change.low);
    if (most < nothing_db) return "no change";
    const char* word = louder ? "louder" : "quieter";
    if (most - least < one_figure_db) return fmt::format("{:.1f} dB {}", 0.5 * (most + least), word);
    return fmt::format("{:.1f} to {:.1f} dB {}", least, most, word);
}

void set_noise(const AmplifierCase& the, const OpenTake& open, AmplifierSetting& setting) {
    if (!setting.gain_db) return;
    const auto noise = noise_at_input(the.job, open, setting.channels, the.amplifier.name);
    if (!noise) return;
    setting.noise_parts = tell_parts(the, open, *noise);
}

void set_splits(const AmplifierCase& the, const OpenTake& open, AmplifierSetting& setting) {
    if (!setting.noise_parts) return;
    setting.noise_parts->amplifier_dbv = own_noise_dbv(the, open, setting);
    const double gain_db = setting.gain_reached_db.value_or(*setting.gain_db);
    put_output_noise(the, gain_db, setting);
    Splits splits(the, setting, gain_db);
    const std::string at = setting.volume ? fmt::format("the source at volume {:g}", *setting.volume) : "the source at its highest clean level";
    splits.add("as_set", at + ", as set", splits.all_by(1.0));
    const auto found_db = gain_read_db(setting, the.loudest->curve.channel);
    if (found_db && std::abs(*found_db - gain_db) > kOutputTolerance_db) {
        const double more_db = *found_db - gain_db;
        GainSplit& one = splits.add("as_found", fmt::format("as found: {:.1f} dB {} gain", std::abs(more_db), more_db > 0 ? "more" : "less"),
                                    splits.all_by(power_from_decibels(more_db)));
        one.gain_change_db = more_db;
        *one.gain_db += more_db;
        one.output_change_db = std::min(0.0, more_db);
    }
    if (setting.volume)
        for (const auto& [volume, change_db] : lower_volumes(the, *setting.volume)) {
            GainSplit& one = splits.add("lower_volume", fmt::format("the source at volume {:g}, more gain", volume),
                                        splits.behind_volume_by(power_from_decibels(-change_db)));
            splits.shift(one, change_db).volume = volume;
        }
    const double driver_db = the.request.driver_db, factor = power_from_decibels(-driver_db);
    const auto& ends = the.amplifier.sensitivity_v;
    const double needed_v = setting.dial_sensitivity_v.value_or(0.0) * amplitude_from_decibels(driver_db);
    const std::string beyond =
        ends && needed_v > std::max((*ends)[0], (*ends)[1]) ? fmt::format(" (its dial would have to reach {:.1f} V)", needed_v) : "";
    const Span_v2 driven = splits.behind_source_by(factor);
    splits.shift(splits.add("line_driver", fmt::format("a line driver of {:g} dB at the source, less gain{}", driver_db, beyond), driven), driver_db);
    splits.shift(splits.add("more_source", fmt::format("a source with {:g} dB more output, less gain{}", driver_db, beyond),
                            {std::min(driven.high, splits.behind_volume_by(factor).low), driven.high}),
                 driver_db);
    GainSplit& less = splits.add("less_gain", "3 dB less gain: half the power", splits.all_by(power_from_decibels(-3.0)));
    less.gain_change_db = less.output_change_db = -3.0;
    *less.gain_db -= 3.0;
    setting.best_split = best_of(setting, splits);
}

}  // namespace hushtrace
