#include "comparison_parts.hpp"

#include <fmt/format.h>

#include "hushtrace/report/wording.hpp"

namespace hushtrace::comparison {
namespace {

struct Scale_v {
    std::optional<double> volts;
    double sd_db = 0, pad_db = 0;
};
Scale_v scale_of(const RecordedSystem& record, const Take& take, Channel channel) {
    Scale_v out;
    const auto at = std::find(take.channels.begin(), take.channels.end(), channel);
    const auto index = static_cast<std::size_t>(at - take.channels.begin());
    if (at == take.channels.end()) return out;
    const InterfaceData& interface = record.job->interface;
    if (index < interface.volts_full_scale.size()) out.volts = interface.volts_full_scale[index];
    if (index < interface.volts_full_scale_sd_db.size()) out.sd_db = interface.volts_full_scale_sd_db[index].value_or(0.0);
    if (index < take.attenuation_db.size()) out.pad_db = take.attenuation_db[index];
    return out;
}

std::string figure_text(const ComparedFigure& figure, const std::string& unit) {
    return fmt::format("{}{}", figure.at_most ? "at most " : "", signed_text(figure.value, unit));
}

}  // namespace

std::string signed_text(double value, const std::string& unit) {
    if (unit == "dBV" || unit == "dBFS" || unit == "dB") return fmt::format("{:.1f} {}", value, unit);
    if (unit == "V") return volts_text(value);
    if (unit == "%") return distortion_text(value);
    if (unit == "ms") return fmt::format("{:.3f} ms", value);
    return figures_text(value, 3) + (unit.empty() ? "" : " " + unit);
}

Basis basis_of(Workbench& bench, const GroupPair& pair, Channel channel) {
    const Scale_v old = scale_of(bench.before, pair.before.first(), channel), now = scale_of(bench.after, pair.after.first(), channel);
    Basis out;
    if (old.volts.has_value() != now.volts.has_value()) {
        out.refused =
            fmt::format("the interface was calibrated {}, so its levels are in volts on one side alone; calibrate (hushtrace calibrate) on both",
                        old.volts ? "then and isn't now" : "now and wasn't then");
        return out;
    }
    out.pad_before = old.pad_db;
    out.pad_after = now.pad_db;
    out.volts = old.volts.has_value();
    if (!out.volts) {
        bench.note(
            "Neither record is calibrated: levels in dBFS are compared as if the interface's input knobs hadn't moved in between. Calibrate, "
            "and that no longer matters.");
        return out;
    }
    out.scale_sd_before = old.sd_db;
    out.scale_sd_after = now.sd_db;
    const bool one_scale = std::abs(*old.volts - *now.volts) < 1e-9 * *old.volts && std::abs(old.sd_db - now.sd_db) < 1e-12;
    if (!one_scale) out.common_sd = std::hypot(old.sd_db, now.sd_db);
    return out;
}

std::vector<Channel> common_channels(const GroupPair& pair) {
    std::vector<Channel> out;
    const auto& old = pair.before.first().channels;
    for (const Channel one : pair.after.first().channels)
        if (std::find(old.begin(), old.end(), one) != old.end()) out.push_back(one);
    return out;
}

std::optional<GroupLevel> group_level(const TakeGroup& group, const LevelOf& level_of, const Basis& basis, bool earlier) {
    GroupLevel out;
    double sum = 0, square = 0;
    for (const Take* take : group.takes) {
        const RecordedLevel* level = level_of(take->file);
        const auto& reading = !level ? std::nullopt : basis.volts ? level->dbv : level->dbfs;
        if (!reading) continue;
        const double scale = basis.volts ? (earlier ? basis.scale_sd_before : basis.scale_sd_after) : 0.0;
        const double value = reading->value + (basis.volts ? 0.0 : earlier ? basis.pad_before : basis.pad_after);
        out.each.push_back(value);
        sum += value;
        square += std::max(0.0, reading->sd * reading->sd - scale * scale);
        out.figure.at_most = out.figure.at_most || reading->limited_by == LimitedBy::interface;
    }
    if (out.each.empty()) return std::nullopt;
    const auto n = static_cast<double>(out.each.size());
    out.figure.value = sum / n;
    out.figure.sd = std::sqrt(square) / n;
    return out;
}

void settle(ComparedItem& item, const Trial& trial, const Judged& judged, Words words) {
    item.before = trial.before;
    item.after = trial.after;
    item.difference = judged.difference;
    item.difference_sd = judged.sd;
    item.limit = judged.limit;
    item.at_least = judged.at_least;
    item.verdict = judged.verdict;
    item.repeatability = judged.from_takes ? "takes" : "proposal";
    if (item.difference_unit.empty()) item.difference_unit = "dB";
    std::string text = fmt::format("{}{}: {} then, {} now", item.what, item.where.empty() ? "" : " (" + item.where + ")",
                                   figure_text(trial.before, item.unit), figure_text(trial.after, item.unit));
    const std::string size = signed_text(std::abs(judged.difference), item.difference_unit), limit = signed_text(judged.limit, item.difference_unit);
    if (judged.hidden)
        text += ". What was there lies below what could be measured: no change can be told.";
    else if (judged.verdict == ChangeVerdict::unchanged)
        text += fmt::format(": unchanged, as far as it repeats (within {}).", limit);
    else
        text += fmt::format(": {}{} {}; up to {} could be chance.", judged.at_least ? "at least " : "", size,
                            judged.difference < 0 ? words.less : words.more, limit);
    item.text = std::move(text);
}

std::string where_of(Channel channel, const GroupPair& pair) { return fmt::format("{}, {}", spaced(to_word(channel)), pair.briefly); }

ComparedItem item_of(const char* area, std::string what, const GroupPair& pair, Channel channel) {
    ComparedItem item;
    item.area = area;
    item.what = std::move(what);
    item.where = where_of(channel, pair);
    item.take_before = pair.before.first().file;
    item.take_after = pair.after.first().file;
    return item;
}

ComparedItem refused_item(const char* area, std::string what, std::string where, const std::string& why) {
    ComparedItem item;
    item.area = area;
    item.what = std::move(what);
    item.where = std::move(where);
    item.text = fmt::format("{}{}: not compared; {}.", item.what, item.where.empty() ? "" : " (" + item.where + ")", why);
    return item;
}

}  // namespace hushtrace::comparison
