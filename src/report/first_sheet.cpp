#include "hushtrace/report/first_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/job/temporary_items.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

// What a sheet holds at most, so that it stays one page.
constexpr std::size_t kFailed = 3, kFound = 4, kDone = 3, kFigures = 3, kRemains = 4, kTemporary = 4;
constexpr std::size_t kLineColumns = 130, kNameColumns = 60;

std::string number_text(std::optional<double> value) { return fmt::format("{:g}", value.value_or(0)); }

std::string how_sure(double confidence) {
    return confidence >= 0.9 ? "very likely" : confidence >= 0.7 ? "likely" : confidence >= 0.4 ? "possibly" : "a guess";
}

std::string plain_sound(NoiseKind kind) {
    switch (kind) {
        case NoiseKind::alternator_whine: return "A whine from the alternator; its pitch follows the engine";
        case NoiseKind::ignition_tick: return "A ticking from the engine's ignition; it follows the engine";
        case NoiseKind::mains_hum: return "A hum from something that is plugged into a wall socket";
        case NoiseKind::switched_load: return "A buzz from something electric that is switched fast, such as a dimmer, a lamp or a fan";
        case NoiseKind::motor_whine: return "A whine from an electric motor, such as a pump or a fan";
        case NoiseKind::phone_burst: return "The buzz that a mobile phone makes";
        case NoiseKind::bus_tone: return "A tone from the vehicle's own electronics";
        case NoiseKind::converter_hash: return "A singing or rushing from a charger or a voltage converter";
        case NoiseKind::periodic_tick: return "An even ticking; what makes it isn't known yet";
        case NoiseKind::crackle: return "Crackling, as a loose contact makes it";
        case NoiseKind::hiss: return "A hiss";
        case NoiseKind::clipping: return "The music is distorted: its loudest moments are cut off";
        case NoiseKind::unexplained_tone: return "A steady tone; what makes it isn't known yet";
        case NoiseKind::heard_only: return "A noise that was heard, but does not come in with the music";
    }
    return "A noise";
}

std::string place_sentence(const std::string& path) {
    if (path == "ground_loop") return "It gets in because radio and amplifier are connected to the vehicle's body at different places";
    if (path == "cable_pickup") return "It gets in along the signal cable";
    if (path == "source_supply") return "It gets in by the radio's power wiring";
    if (path == "source_internal") return "It is made inside the radio or player";
    if (path == "source_shield_open") return "It gets in by a burnt connection inside the radio or player";
    if (path == "contact") return "It gets in at a bad contact in a plug or a joint";
    if (path == "antenna_lead") return "It gets in by the antenna lead";
    if (path == "amplifier_internal") return "It gets in at the amplifier or its power wiring";
    if (path == "speaker_side") return "It gets in on the way from the amplifier to the speakers";
    return "";
}

const EntryPath* likeliest(const NoiseAnalysis& analysis, const std::string& source_id) {
    const EntryPath* best = nullptr;
    for (const EntryPath& one : analysis.entry_paths)
        if (one.source_id == source_id && (!best || one.probability > best->probability)) best = &one;
    return best;
}

bool from_measuring(const NoiseAnalysis& analysis, const std::string& source_id) {
    const EntryPath* best = likeliest(analysis, source_id);
    return best && best->probability >= 0.5 && best->paths == std::vector<std::string>{"measuring_setup"};
}

const ChangeMade* last_change(const NoiseAnalysis& analysis, const std::string& source_id) {
    const ChangeMade* last = nullptr;
    for (const ChangeMade& one : analysis.changes)
        if (one.source_id == source_id) last = &one;
    return last;
}
bool is_gone(const NoiseAnalysis& analysis, const std::string& source_id) {
    const ChangeMade* last = last_change(analysis, source_id);
    return last && last->at_most && last->measured_db.value < 0;  // else other noise may hide it
}

std::string heard_sentence(const NoiseSource& source) {
    if (!source.loudness) return "";
    if (source.loudness->audible == "inaudible") return " By what is known of the speakers it is too quiet to be heard.";
    if (source.loudness->audible == "audible_parked") return " It can be heard in the parked vehicle.";
    if (source.loudness->audible == "audible_driving") return " It can be heard while driving too.";
    return "";
}

std::string found_sentence(const NoiseAnalysis& analysis, const NoiseSource& source) {
    std::string text = fmt::format("{} ({}).", plain_sound(source.kind), how_sure(source.confidence));
    if (is_gone(analysis, source.id)) return text + " After what was done it is not found any more.";
    if (from_measuring(analysis, source.id)) return text + " It most likely comes from the measuring equipment itself, not from the vehicle.";
    text += heard_sentence(source);
    const EntryPath* path = likeliest(analysis, source.id);
    if (!path) return text;
    std::string place = path->probability >= 0.5 && path->paths.size() == 1 ? place_sentence(path->paths.front()) : "";
    return text + (place.empty() ? " Where it gets in is not settled yet." : fmt::format(" {} ({}).", place, how_sure(path->probability)));
}

std::string ceiling_sentence(const GainAnalysis& gain) {
    if (gain.ceiling && gain.ceiling->volume)
        return fmt::format("The radio or player is clean up to volume {:g}. Louder than that it distorts.", *gain.ceiling->volume);
    if (gain.ceiling) return "The radio or player is clean up to a certain volume, told further below. Louder than that it distorts.";
    if (gain.ceiling_reason == "never_clips") return "The radio or player is clean at every volume that was tried.";
    if (gain.ceiling_reason == "always_distorted") return "The radio or player distorts at every volume that was tried.";
    return "How loud the radio or player may go before it distorts could not be told from what was measured.";
}

void tell_found(const Analyses& analyses, FirstSheet& sheet) {
    if (analyses.noise) {
        const NoiseAnalysis& noise = *analyses.noise;
        for (std::size_t i = 0; i < std::min(kFound, noise.noise_sources.size()); ++i)
            sheet.found.push_back(found_sentence(noise, noise.noise_sources[i]));
        if (const std::size_t count = noise.noise_sources.size(); count > kFound)
            sheet.found.push_back(fmt::format("{} more, told further below.", count - kFound));
        if (noise.noise_sources.empty()) sheet.found.emplace_back("No noise was found above what is always there.");
        for (std::size_t i = 0; i < std::min<std::size_t>(2, noise.health.size()); ++i)
            sheet.found.push_back(fmt::format("In the vehicle itself, {}: {}.", how_sure(noise.health[i].confidence),
                                              shortened(fault_text(noise.health[i].fault), 120)));
    }
    if (analyses.gain) sheet.found.push_back(ceiling_sentence(*analyses.gain));
    if (sheet.found.empty()) sheet.found.emplace_back("Told in the technician's part.");
}

void tell_done(const Job& job, const Analyses& analyses, FirstSheet& sheet) {
    std::vector<std::string> all;
    const auto add = [&](const std::optional<std::string>& text) {
        if (text && !clean_text(*text).empty() && std::find(all.begin(), all.end(), *text) == all.end()) all.push_back(*text);
    };
    for (const Take& take : job.takes) add(take.after_change);
    for (const Observation& one : job.observations) add(one.after_change);
    for (std::size_t i = 0; i < std::min(kDone, all.size()); ++i) sheet.done.push_back(shortened(all[i], kLineColumns));
    if (all.size() > kDone) sheet.done.push_back(fmt::format("{} more changes, told further below.", all.size() - kDone));
    if (all.empty()) sheet.not_done = "Nothing has been changed yet: this sheet tells how the vehicle was found.";
    if (!analyses.gain) return;
    std::size_t set = 0;
    std::string names;
    for (const AmplifierSetting& one : analyses.gain->amplifiers)
        if (std::any_of(one.output_readings.begin(), one.output_readings.end(), [](const OutputReading& r) { return r.verdict == "at_target"; })) {
            ++set;
            names += (names.empty() ? "" : ", ") + one.name;
        }
    if (set == 0) return;
    sheet.not_done.clear();
    sheet.done.push_back(fmt::format("Amplifier set to the radio's clean volume, and checked at its output: {}.", shortened(names, kNameColumns)));
}

/// A level for a customer: at the ear where that can be told, else at the amplifier's input.
struct Teller {
    std::optional<double> to_ear_db, ear_sd_db;

    explicit Teller(const NoiseSource& source) {
        if (!source.loudness || !source.loudness->ear_db_spl || !source.loudness->level_dbv) return;
        to_ear_db = *source.loudness->ear_db_spl - *source.loudness->level_dbv;
        ear_sd_db = source.loudness->ear_sd_db;
    }
    std::string operator()(std::optional<double> dbv, std::optional<double> dbfs, double sd_db) const {
        const auto give = [](double sd) { return 2 * sd >= 0.5 ? fmt::format(", give or take {:.0f}", 2 * sd) : std::string(); };
        if (dbv && std::isfinite(*dbv) && to_ear_db) {
            const double ear_db = *dbv + *to_ear_db, ear_sd = ear_sd_db.value_or(sd_db);
            // the threshold of hearing lies nowhere lower than 6 dB below 0 dB SPL (ISO 389-7)
            return fmt::format("{:.0f} dB at the ear{}{}", ear_db, give(ear_sd), ear_db + 2 * ear_sd < -6 ? ": too quiet to hear" : "");
        }
        if (dbv && std::isfinite(*dbv)) return fmt::format("{:.0f} dBV at the amplifier{}", *dbv, give(sd_db));
        if (dbfs && std::isfinite(*dbfs)) return fmt::format("{:.0f} dBFS at the amplifier (not calibrated){}", *dbfs, give(sd_db));
        return "no sound at all";
    }
};

const LevelInTake* level_in(const NoiseSource& source, const std::string& take, Channel channel) {
    for (const LevelInTake& one : source.levels)
        if (one.take == take && one.channel == channel) return &one;
    return nullptr;
}

/// All changes of one source as one: those that follow each other take by take add up, else the last one counts.
struct WholeChange {
    std::string before, after;
    Channel channel = Channel::left;
    double value_db = 0, sd_db = 0;
    bool at_most = false;
};
std::optional<WholeChange> whole_change(const NoiseAnalysis& analysis, const std::string& source_id) {
    std::optional<WholeChange> whole;
    for (const ChangeMade& one : analysis.changes) {
        if (one.source_id != source_id || !std::isfinite(one.measured_db.value)) continue;
        const bool follows = whole && whole->after == one.before && whole->channel == one.channel && !whole->at_most;
        const WholeChange last{one.before, one.after, one.channel, one.measured_db.value, std::isfinite(one.measured_db.sd) ? one.measured_db.sd : 0,
                               one.at_most};
        whole = follows ? WholeChange{whole->before, last.after,  last.channel, whole->value_db + last.value_db, std::hypot(whole->sd_db, last.sd_db),
                                      last.at_most}
                        : last;
    }
    return whole;
}

std::string change_sentence(const WholeChange& one) {
    const double size = std::abs(one.value_db), spread = 2 * one.sd_db;
    if (one.at_most && one.value_db >= 0) return "none that can be told: other noise may hide it";
    if (one.at_most) return fmt::format("{:.0f} dB quieter at least", size);
    if (size <= spread) return fmt::format("no change beyond what the measurement can tell ({:.0f} dB)", std::max(1.0, std::ceil(spread)));
    return fmt::format("{:.0f} dB {}{}", size, one.value_db < 0 ? "quieter" : "louder",
                       spread >= 0.5 ? fmt::format(", give or take {:.0f}", spread) : "");
}

std::optional<BeforeAfterFigure> figure_of(const NoiseAnalysis& analysis, const NoiseSource& source) {
    const auto whole = whole_change(analysis, source.id);
    if (!whole) return std::nullopt;
    const Teller tell(source);
    const LevelInTake *before = level_in(source, whole->before, whole->channel), *after = level_in(source, whole->after, whole->channel);
    if (!before) return std::nullopt;
    const auto told = [&](const LevelInTake& one) { return tell(one.level_dbv, one.level_dbfs, one.dbv_sd_db.value_or(one.sd_db)); };
    return BeforeAfterFigure{customer_name(source.kind), told(*before), whole->at_most ? "not found any more" : after ? told(*after) : "not told",
                             change_sentence(*whole), ear_words(whole->value_db, whole->sd_db, whole->at_most)};
}

/// What can be heard comes first; the rest is for the technician, unless there is nothing else.
void tell_figures(const Analyses& analyses, FirstSheet& sheet) {
    if (analyses.noise)
        for (const bool audible : {true, false})
            for (const NoiseSource& source : analyses.noise->noise_sources) {
                const bool is_audible = !source.loudness || source.loudness->audible != "inaudible";
                if (is_audible != audible || sheet.figures.size() >= kFigures || (!audible && !sheet.figures.empty())) continue;
                if (auto figure = figure_of(*analyses.noise, source)) sheet.figures.push_back(std::move(*figure));
            }
    if (!sheet.figures.empty()) return;
    sheet.no_figures = sheet.done.empty() ? "Nothing was changed, so there is nothing to hold against what was found."
                                          : "No measurement was made in the same conditions before and after, so no improvement is claimed.";
}

void tell_failed(const OpenedJob& opened, const Analyses& analyses, FirstSheet& sheet) {
    if (analyses.gain && fails_limit(opened.job, *analyses.gain))
        sheet.failed.push_back(fmt::format("The radio or player distorts by more than the {:g} % that were agreed, at every volume that was tried.",
                                           opened.job.ceiling_thd_percent()));
    std::size_t more = 0;
    const auto add = [&](const std::string& text) {
        if (sheet.failed.size() < kFailed)
            sheet.failed.push_back(text);
        else
            ++more;
    };
    if (analyses.chain)
        for (const LimitLine& one : analyses.chain->limits) {
            if (!one.written || one.verdict != "fail") continue;
            const std::string found = one.found ? fmt::format("{:.3g} {}", one.found->value, one.unit) : shortened(one.found_text, 60);
            add(one.what == "same_polarity"
                    ? "Not all channels push at the same time, as was agreed."
                    : fmt::format("{}{}: {} were agreed, {} found.", spaced(one.what),
                                  one.channel ? fmt::format(" ({})", spaced(to_word(*one.channel))) : "",
                                  fmt::format("{:g} {}", one.limit, one.unit), found));
        }
    if (analyses.floor_record)
        for (const FloorVerdict& one : analyses.floor_record->acceptance) {
            if (!one.written || one.verdict != "fail") continue;
            const std::string found = one.found ? fmt::format("{:.0f} {}", one.found->db.value, one.unit) : "more";
            add(fmt::format("Noise ({}{}{}): at most {:g} {} was agreed, {} found.", one.condition,
                            one.channel ? fmt::format(", {}", spaced(to_word(*one.channel))) : "",
                            one.amplifier.empty() ? "" : ", " + shortened(one.amplifier, kNameColumns), one.limit, one.unit, found));
        }
    if (more > 0) sheet.failed.push_back(fmt::format("{} more limits, told further below.", more));
}

void tell_supply(const PowerAnalysis& power, std::vector<std::string>& to) {
    for (const PowerCable& one : power.cables) {
        if (one.verdict == CableVerdict::too_thin)
            to.push_back(fmt::format("Danger of fire: the power cable ({}) is too thin for its fuse. Have it changed before the system is used.",
                                     shortened(one.part, kNameColumns)));
        if (one.verdict == CableVerdict::drops_too_much)
            to.push_back(fmt::format("The power cable ({}) loses too much voltage; a thicker one helps.", shortened(one.part, kNameColumns)));
    }
    if (power.reserve && power.reserve->reserve_a < 0)
        to.emplace_back("The alternator cannot feed this system for long: the battery drains while it plays loud.");
}

void tell_remains(const Analyses& analyses, FirstSheet& sheet) {
    std::vector<std::string> all;
    if (analyses.power) tell_supply(*analyses.power, all);
    if (analyses.gain && analyses.gain->ceiling && analyses.gain->ceiling->volume)
        all.push_back(fmt::format("Keep the volume at {} or below.", number_text(analyses.gain->ceiling->volume)));
    if (analyses.noise) {
        const NoiseAnalysis& noise = *analyses.noise;
        std::vector<std::string> told;
        bool unsettled = false;
        for (const Action& one : noise.actions) {
            if (is_gone(noise, one.source_id) || from_measuring(noise, one.source_id)) continue;
            unsettled = unsettled || !one.expected_change_db;
            if (!one.expected_change_db || *one.expected_change_db >= 0 || std::count(told.begin(), told.end(), one.source_id) > 0) continue;
            told.push_back(one.source_id);
            all.push_back("Advised, and not shown to be done yet: " + shortened(one.action, kLineColumns - 30));
        }
        std::string still;
        for (const NoiseSource& source : noise.noise_sources) {
            const ChangeMade* last = last_change(noise, source.id);
            if (last && !is_gone(noise, source.id)) still += (still.empty() ? "" : ", ") + customer_name(source.kind);
        }
        if (!still.empty()) all.push_back("Still found after what was done: " + shortened(still, kLineColumns - 30) + ".");
        if (noise.next_test || unsettled)
            all.emplace_back("Not everything is settled: the technician's part says which test comes next.");
    }
    for (std::size_t i = 0; i < std::min(kRemains, all.size()); ++i) sheet.remains.push_back(all[i]);
    if (all.size() > kRemains) sheet.remains.push_back(fmt::format("{} more, told further below.", all.size() - kRemains));
    if (all.empty()) sheet.remains.emplace_back("Nothing that the measurements show.");
}

}  // namespace

std::string customer_name(NoiseKind kind) {
    switch (kind) {
        case NoiseKind::alternator_whine: return "whine from the alternator";
        case NoiseKind::ignition_tick: return "ticking of the ignition";
        case NoiseKind::mains_hum: return "hum from the wall socket";
        case NoiseKind::motor_whine: return "whine of an electric motor";
        case NoiseKind::switched_load: return "buzz of a dimmer, lamp or fan";
        case NoiseKind::phone_burst: return "buzz of a phone";
        case NoiseKind::bus_tone: return "tone of the electronics";
        case NoiseKind::converter_hash: return "noise of a charger or converter";
        case NoiseKind::periodic_tick: return "even ticking";
        case NoiseKind::clipping: return "distortion";
        case NoiseKind::unexplained_tone: return "steady tone";
        case NoiseKind::crackle: return "crackling";
        case NoiseKind::hiss: return "hiss";
        case NoiseKind::heard_only: return "noise that was heard alone";
    }
    return "noise";
}

std::string ear_words(double change_db, double sd_db, bool at_most) {
    const double sure = std::abs(change_db) - (at_most ? 0.0 : 2.0 * sd_db);
    if (!(sure > 0) || (at_most && change_db >= 0)) return "no difference that can be claimed";
    const bool quieter = change_db < 0;
    if (sure >= 30) return quieter ? "an eighth as loud or less" : "eight times as loud or more";
    if (sure >= 20) return quieter ? "a quarter as loud or less" : "four times as loud or more";
    if (sure >= 10) return quieter ? "half as loud or less" : "twice as loud or more";
    if (sure >= 3) return quieter ? "clearly quieter" : "clearly louder";
    if (sure >= 1) return quieter ? "a little quieter" : "a little louder";
    return "a difference that may be too small to hear";
}

FirstSheet first_sheet(const OpenedJob& opened, const Analyses& analyses) {
    FirstSheet sheet;
    const std::string said = clean_text(opened.job.complaint.value_or(""));
    sheet.said = shortened(said, kComplaintColumns);
    sheet.said_in_part = sheet.said != said;
    tell_found(analyses, sheet);
    tell_done(opened.job, analyses, sheet);
    tell_figures(analyses, sheet);
    tell_failed(opened, analyses, sheet);
    tell_remains(analyses, sheet);
    const std::vector<TemporaryItem> items = items_still_in(opened.job);
    for (std::size_t i = 0; i < std::min(kTemporary, items.size()); ++i)
        sheet.temporary.push_back(fmt::format("{}: {}", items[i].name, items[i].undo));
    if (items.size() > kTemporary) sheet.temporary.push_back(fmt::format("{} more, told further below", items.size() - kTemporary));
    return sheet;
}

}  // namespace hushtrace
