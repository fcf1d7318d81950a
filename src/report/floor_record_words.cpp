#include "floor_record_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

std::string number(double value, double sd) {
    return fmt::format("{:.1f}{}", value, 2.0 * sd >= 0.05 ? fmt::format(" ±{:.1f}", 2.0 * sd) : "");
}
const char* length_mark(LimitedBy limit) { return limit == LimitedBy::length ? "~" : ""; }

std::string level_cell(const FloorFigure& figure) {
    const auto& told = figure.dbv ? figure.dbv : figure.dbfs;
    if (!told || !std::isfinite(told->value)) return "-";
    const char* bound = told->limited_by == LimitedBy::interface ? "≤ " : "";
    return fmt::format("{}{}{}", bound, length_mark(told->limited_by), number(told->value, told->sd));
}
/// Distances are this at least where they are bounds, levels this at most.
std::string ratio_cell(const std::optional<FloorRatio>& ratio, bool distance) {
    if (!ratio || !std::isfinite(ratio->db.value)) return "-";
    const char* bound = !ratio->bound ? "" : distance ? "≥ " : "≤ ";
    return fmt::format("{}{}{}", bound, length_mark(ratio->db.limited_by), number(ratio->db.value, ratio->db.sd));
}

using Figure = std::function<std::string(const ChannelFloor&)>;
void add_row(std::vector<FloorRow>& rows, const ConditionFloor& condition, const std::string& name, const Figure& figure) {
    FloorRow row{name, {}};
    for (const ChannelFloor& channel : condition.channels) row.cells.push_back(figure(channel));
    if (std::any_of(row.cells.begin(), row.cells.end(), [](const std::string& one) { return one != "-"; })) rows.push_back(std::move(row));
}

void add_levels(std::vector<FloorRow>& rows, const ConditionFloor& condition) {
    bool volts = false, uncalibrated = false;
    for (const ChannelFloor& one : condition.channels) {
        volts = volts || one.floor.unweighted.dbv;
        uncalibrated = uncalibrated || (one.floor.unweighted.dbfs && !one.floor.unweighted.dbv);
    }
    const std::string unit = volts && uncalibrated ? ", dBV or dBFS" : volts ? ", dBV" : ", dBFS";
    const auto of = [](const FloorFigure FloorReading::*figure) {
        return [figure](const ChannelFloor& one) { return level_cell(one.floor.*figure); };
    };
    add_row(rows, condition, "unweighted" + unit, of(&FloorReading::unweighted));
    add_row(rows, condition, "A-weighted" + unit, of(&FloorReading::a_weighted));
    add_row(rows, condition, "  without its lines", of(&FloorReading::broadband_a_weighted));
    add_row(rows, condition, "BS.468, rms", of(&FloorReading::itu468));
    add_row(rows, condition, "BS.468, quasi-peak", of(&FloorReading::itu468_quasi_peak));
}

void add_amplifier_rows(std::vector<FloorRow>& rows, const ConditionFloor& condition, const std::string& name) {
    const auto of = [&name](const std::optional<FloorRatio> AmplifierFloor::*figure, bool distance) {
        return [name, figure, distance](const ChannelFloor& channel) -> std::string {
            for (const AmplifierFloor& one : channel.amplifiers)
                if (one.amplifier == name) return ratio_cell(one.*figure, distance);
            return "-";
        };
    };
    const std::string at = name.empty() ? "" : clean_text(name) + ": ";
    add_row(rows, condition, at + "S/N re 1 W, dB", of(&AmplifierFloor::signal_to_noise_1w_db, true));
    add_row(rows, condition, at + "S/N re 1 W, dB(A)", of(&AmplifierFloor::signal_to_noise_1w_a_db, true));
    add_row(rows, condition, at + "hiss re full power, dB(A)", of(&AmplifierFloor::hiss_re_full_power_db, false));
    add_row(rows, condition, at + "line re full power, dB", of(&AmplifierFloor::line_re_full_power_db, false));
    add_row(rows, condition, at + "hiss at the ear, dB(A) SPL", of(&AmplifierFloor::hiss_at_ear_db_spl, false));
    add_row(rows, condition, at + "line at the ear, dB SPL", of(&AmplifierFloor::line_at_ear_db_spl, false));
}

std::string limit_words(const std::string& what) {
    if (what == "line_below_full_power_db") return "lines against full power";
    if (what == "hiss_below_full_power_db") return "hiss against full power, A-weighted";
    if (what == "at_ear_off_db_spl") return "lines at the ear, engine off";
    return "lines at the ear, engine running";
}

/// The worse, the higher.
int badness(const FloorVerdict& one) {
    if (one.verdict == "fail") return 4;
    if (one.verdict == "judge") return 3;
    if (one.verdict == "undecided") return 2;
    return one.verdict == "not_measured" ? 1 : 0;
}
bool worse(const FloorVerdict& one, const FloorVerdict& other) {
    if (badness(one) != badness(other)) return badness(one) > badness(other);
    return one.found && (!other.found || one.found->db.value > other.found->db.value);
}

std::string found_words(const FloorVerdict& one) {
    std::string text;
    if (one.found) {
        const std::string sd = number(one.found->db.value, one.found->db.sd);
        text = fmt::format("{}{} {}", one.found->bound ? "at most " : "", sd, one.unit);
    }
    if (one.channel && one.verdict != "not_measured") text += (text.empty() ? "" : ", ") + spaced(to_word(*one.channel));
    if (!one.found_text.empty()) text += (text.empty() ? "" : ": ") + clean_text(one.found_text);
    return text;
}
std::string asked_words(const FloorVerdict& one) {
    return fmt::format("{:g} {} at most{}{}", one.limit, one.unit, one.judge_to ? fmt::format(", to {:g} the ear judges", *one.judge_to) : "",
                       one.written ? "" : " (proposal)");
}

}  // namespace

std::vector<FloorRow> floor_rows(const ConditionFloor& condition) {
    std::vector<FloorRow> rows;
    add_levels(rows, condition);
    add_row(rows, condition, "signal-to-noise, dB", [](const ChannelFloor& one) { return ratio_cell(one.signal_to_noise_db, true); });
    add_row(rows, condition, "signal-to-noise, dB(A)", [](const ChannelFloor& one) { return ratio_cell(one.signal_to_noise_a_db, true); });
    add_row(rows, condition, "dynamic range left, dB(A)", [](const ChannelFloor& one) { return ratio_cell(one.dynamic_range_a_db, true); });
    std::vector<std::string> names;
    for (const ChannelFloor& channel : condition.channels)
        for (const AmplifierFloor& one : channel.amplifiers)
            if (std::find(names.begin(), names.end(), one.amplifier) == names.end()) names.push_back(one.amplifier);
    for (const std::string& name : names) add_amplifier_rows(rows, condition, name);
    return rows;
}

std::string condition_facts(const ConditionFloor& condition) {
    std::string text = clean_text(condition.take);
    if (condition.volume) text += fmt::format(", volume {:g}", *condition.volume);
    if (condition.rpm) text += fmt::format(", {:g} rpm", *condition.rpm);
    if (condition.after_change) text += ", after: " + clean_text(*condition.after_change);
    if (!condition.other_takes.empty()) {
        text += "; not counted, of the same condition: ";
        for (const std::string& one : condition.other_takes) text += (&one == &condition.other_takes.front() ? "" : ", ") + clean_text(one);
    }
    return text;
}

std::string line_text(const FloorLine& line) {
    const Reading& level = line.dbv ? *line.dbv : line.dbfs;
    return fmt::format("{}{}: {}{:.1f} {}{}, {}", line.wanders ? "about " : "", frequency_text(line.frequency_hz),
                       level.limited_by == LimitedBy::interface ? "≤ " : "", level.value, line.dbv ? "dBV" : "dBFS", spread_text(level.sd),
                       line.name);
}

std::vector<std::string> floor_notes(const ConditionFloor& condition) {
    std::vector<std::string> out = condition.notes;
    // what is said of all channels is said once
    std::vector<std::string> told;
    std::map<std::string, std::string> by;
    std::map<std::string, std::size_t> count;
    const auto add = [&](const std::string& note, const ChannelFloor& channel) {
        if (++count[note] == 1) told.push_back(note);
        std::string& channels = by[note];
        channels += (channels.empty() ? "" : ", ") + spaced(to_word(channel.channel));
    };
    for (const ChannelFloor& channel : condition.channels) {
        for (const std::string& note : channel.notes) add(note, channel);
        for (const AmplifierFloor& amplifier : channel.amplifiers)
            for (const std::string& note : amplifier.notes) add(clean_text(amplifier.amplifier) + ": " + note, channel);
    }
    for (const std::string& note : told) out.push_back(count[note] == condition.channels.size() ? note : by[note] + ": " + note);
    return out;
}

std::vector<FloorVerdictRow> verdict_rows(const FloorRecord& record) {
    std::vector<const FloorVerdict*> worst;
    for (const FloorVerdict& one : record.acceptance) {
        const auto same = [&](const FloorVerdict* other) {
            return other->what == one.what && other->condition == one.condition && other->amplifier == one.amplifier;
        };
        const auto there = std::find_if(worst.begin(), worst.end(), same);
        if (there == worst.end())
            worst.push_back(&one);
        else if (worse(one, **there))
            *there = &one;
    }
    std::vector<FloorVerdictRow> rows;
    for (const FloorVerdict* one : worst) {
        std::string what = one->condition.empty() ? "" : clean_text(one->condition) + ": ";
        what += limit_words(one->what) + (one->amplifier.empty() ? "" : ", " + clean_text(one->amplifier));
        rows.push_back({what, found_words(*one), asked_words(*one), one->verdict == "judge" ? "judge by ear" : spaced(one->verdict)});
    }
    return rows;
}

std::string verdict_summary(const FloorRecord& record) {
    std::string text;
    for (const auto& [word, words] : {std::pair{"fail", "fail"}, std::pair{"judge", "to be judged by ear"}, std::pair{"undecided", "undecided"},
                                      std::pair{"not_measured", "not measured"}, std::pair{"pass", "pass"}}) {
        std::size_t count = 0;
        for (const FloorVerdict& one : record.acceptance) count += one.verdict == word;
        if (count > 0) text += fmt::format("{}{} {}", text.empty() ? "" : ", ", count, words);
    }
    return text;
}

std::string bands_remark(const FloorRecord& record) {
    bool by_band = false, whole = false;
    for (const ConditionFloor& condition : record.conditions)
        for (const ChannelFloor& channel : condition.channels) {
            by_band = by_band || channel.floor.bands_interface == InterfaceKnown::by_band;
            whole = whole || channel.floor.bands_interface == InterfaceKnown::whole;
        }
    if (by_band) return "The interface's own noise is taken off, band by band, where it lies 3 dB or more below; else the band is marked with ≤.";
    if (whole)
        return "The interface's own noise is known only as a whole: any one band may hold more of it than of the vehicle's. A take with the inputs "
               "shorted in this job tells it band by band.";
    return "The interface's own noise isn't known: any band may be the interface's.";
}

std::string capital(std::string text) {
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
    return text;
}

}  // namespace hushtrace
