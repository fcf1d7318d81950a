#include "job_edit.hpp"

#include <algorithm>
#include <charconv>

#include "help_section.hpp"
#include "hushtrace/job/shell_word.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "job_summary.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

namespace fs = std::filesystem;

/// "#2" as an index of a list.
std::optional<std::size_t> index_of(const std::string& text) {
    std::size_t number = 0;
    const char* const first = text.data() + (text.rfind('#', 0) == 0 ? 1 : 0);
    const auto [end, fault] = std::from_chars(first, text.data() + text.size(), number);
    if (fault != std::errc() || end != text.data() + text.size() || number == 0) return std::nullopt;
    return number - 1;
}

/// The entry of a list that is meant by its name, or by "#2".
template <class List, class NameOf>
std::size_t entry_meant(const std::string& option, const char* kind, const List& list, const std::string& typed, NameOf name_of) {
    std::vector<std::size_t> fits;
    for (std::size_t i = 0; i < list.size(); ++i)
        if (name_of(list[i]) == typed) fits.push_back(i);
    if (fits.size() == 1) return fits.front();
    if (fits.size() > 1) {
        std::vector<std::string> ways;
        ways.reserve(fits.size());
        for (const std::size_t one : fits) ways.push_back(fmt::format("{}:#{}", kind, one + 1));
        refuse(fmt::format("{}: the job has {} entries {}:{}; say which: {}", option, fits.size(), kind, in_quotes(typed), fmt::join(ways, ", ")));
    }
    if (typed.rfind('#', 0) == 0)
        if (const auto index = index_of(typed); index && *index < list.size()) return *index;
    std::vector<std::string> names;
    for (std::size_t i = 0; i < list.size(); ++i)
        names.push_back(name_of(list[i]).empty() ? fmt::format("#{}", i + 1) : in_quotes(name_of(list[i])));
    refuse(fmt::format("{}: the job has no {} {}{}", option, kind, in_quotes(typed),
                       names.empty() ? std::string() : fmt::format("; it has {}", fmt::join(names, ", "))));
}

const auto amplifier_name = [](const AmplifierData& one) { return one.name; };
const auto branch_name = [](const SupplyBranch& one) { return one.name; };
const auto speaker_name = [](const SpeakerData& one) { return one.amplifier; };

struct Part {
    std::string kind, name;
};
constexpr std::array<std::string_view, 7> kParts = {"amplifier", "speaker", "branch", "converter", "calibration", "own_noise", "limits"};

/// "amplifier:sub"
Part part_of(const std::string& option, const std::string& text) {
    const auto colon = text.find(':');
    Part part{text.substr(0, colon), colon == std::string::npos ? std::string() : text.substr(colon + 1)};
    if (std::find(kParts.begin(), kParts.end(), part.kind) == kParts.end()) refuse(fmt::format("{}: {}", option, none_of(part.kind, kParts)));
    const bool named = part.kind != "calibration" && part.kind != "own_noise" && part.kind != "limits";
    if (named && part.name.empty()) refuse(fmt::format("{}: say which {}: {}:NAME", option, part.kind, part.kind));
    if (!named && colon != std::string::npos) refuse(fmt::format("{}: {} has no name; write {}", option, part.kind, part.kind));
    return part;
}

template <class List>
void erase_at(List& list, std::size_t index) {
    list.erase(list.begin() + static_cast<std::ptrdiff_t>(index));
}

bool forget_own_noise(InterfaceData& interface) {
    bool any = false;
    for (const OwnNoiseField& field : kOwnNoiseFields) {
        any = any || !(interface.*field.values).empty();
        (interface.*field.values).clear();
    }
    return any;
}

/// What came out again after a take that is taken back was in fact out after the take before it.
void move_removals(Job& job, std::size_t index) {
    if (index == 0) return;  // nothing comes before: it says nothing of takes any more
    for (Observation& seen : job.observations)
        if (seen.after_take == job.takes[index].file) seen.after_take = job.takes[index - 1].file;
}

}  // namespace

void EditOptions::add_to(CLI::App& app) {
    const HelpSection section(app, "Changing what is there");
    app.add_option("--remove", remove,
                   "take out amplifier:NAME, speaker:AMPLIFIER (or speaker:#2, the second), branch:NAME, converter:AMPLIFIER, calibration, own_noise "
                   "or limits; may be given again")
        ->allow_extra_args(false);
    app.add_option("--rename", rename, "amplifier:OLD=NEW or branch:OLD=NEW, with all that names it")->allow_extra_args(false);
    app.add_option("--withdraw", withdraw,
                   "take a take (takes/idle.flac) or an observation (observation:2) back out of the job; sound files stay on the disk")
        ->type_name(take_type)
        ->allow_extra_args(false);
}

void remove_part(Job& job, const std::string& what) {
    const std::string option = "--remove";
    const Part part = part_of(option, what);
    if (part.kind == "amplifier") {
        erase_at(job.amplifiers, entry_meant(option, "amplifier", job.amplifiers, part.name, amplifier_name));
    } else if (part.kind == "speaker") {
        erase_at(job.speakers, entry_meant(option, "speaker", job.speakers, part.name, speaker_name));
    } else if (part.kind == "branch") {
        erase_at(job.supply.branches, entry_meant(option, "branch", job.supply.branches, part.name, branch_name));
    } else if (part.kind == "converter") {
        AmplifierData& amplifier = job.amplifiers[entry_meant(option, "amplifier", job.amplifiers, part.name, amplifier_name)];
        if (!amplifier.converter) refuse(fmt::format("--remove: no converter lies before the amplifier {}", in_quotes(amplifier.name)));
        amplifier.converter.reset();
    } else if (part.kind == "limits") {
        job.limits = Limits{};
    } else {
        const bool noise = forget_own_noise(job.interface);
        const bool scale = part.kind == "calibration" && !job.interface.volts_full_scale.empty();
        if (!noise && !scale) refuse(fmt::format("--remove: the job has no {}", part.kind));
        if (part.kind == "calibration") {
            job.interface.volts_full_scale.clear();
            job.interface.volts_full_scale_sd_db.clear();
        }
    }
}

void rename_part(Job& job, const std::string& what) {
    const auto equals = what.find('=');
    if (equals == std::string::npos || equals + 1 == what.size())
        refuse(fmt::format("--rename: {} is not written amplifier:OLD=NEW", in_quotes(what)));
    const Part part = part_of("--rename", what.substr(0, equals));
    const std::string name = what.substr(equals + 1);
    if (!is_utf8(name)) refuse(fmt::format("--rename: {} is not UTF-8 text", in_quotes(name)));
    if (name.find_first_of(",=") != std::string::npos) refuse(fmt::format("--rename: {}: a name holds neither ',' nor '='", in_quotes(name)));
    if (part.kind != "amplifier" && part.kind != "branch") refuse(fmt::format("--rename: a {} has no name of its own", part.kind));
    const auto taken = [&](const auto& list) { return std::any_of(list.begin(), list.end(), [&](const auto& one) { return one.name == name; }); };
    if (part.kind == "branch" ? taken(job.supply.branches) : taken(job.amplifiers))
        refuse(fmt::format("--rename: there is a {} {} already", part.kind, in_quotes(name)));
    if (part.kind == "branch") {
        job.supply.branches[entry_meant("--rename", "branch", job.supply.branches, part.name, branch_name)].name = name;
        return;
    }
    AmplifierData& amplifier = job.amplifiers[entry_meant("--rename", "amplifier", job.amplifiers, part.name, amplifier_name)];
    const std::string old = amplifier.name;
    amplifier.name = name;
    if (old.empty()) return;
    for (SpeakerData& one : job.speakers)
        if (one.amplifier == old) one.amplifier = name;
    if (!taken(job.supply.branches))
        for (SupplyBranch& one : job.supply.branches)
            if (one.name == old) one.name = name;
    for (Take& one : job.takes)
        if (one.conditions.at_amplifier == old) one.conditions.at_amplifier = name;
    for (Observation& one : job.observations)
        if (one.conditions.at_amplifier == old) one.conditions.at_amplifier = name;
}

std::string withdraw_entry(Job& job, const std::string& what, const fs::path& folder) {
    const std::string prefix = "observation:";
    if (what.rfind(prefix, 0) == 0) {
        const std::string typed = what.substr(prefix.size());
        const auto index = typed.find_first_of("#0") == 0 ? std::nullopt : index_of(typed);
        if (!index || *index >= job.observations.size())
            refuse(fmt::format("--withdraw: there is no observation {}; {}", in_quotes(typed),
                               job.observations.empty() ? "the job has none"
                                                        : fmt::format("hushtrace job shows them, 1 to {}", job.observations.size())));
        std::string text = fmt::format("withdrawn: observation {}, {}\n", *index + 1, observation_in_short(job.observations[*index]));
        erase_at(job.observations, *index);
        return text;
    }
    const std::size_t index = take_meant(job, what);
    const Take take = job.takes[index];
    move_removals(job, index);
    erase_at(job.takes, index);
    const std::string job_word = shell_word(folder.string()), file_word = shell_word((folder / take.file).string());
    return fmt::format("withdrawn: {}; {}\nThe sound file stays on the disk. Back into the job with\n    hushtrace job --job {} --add {}{}\n"
                       "or away for good with\n    rm {}\n",
                       clean_text(take.file), conditions_in_short(take.conditions), job_word, file_word, conditions_as_options(take), file_word);
}

std::size_t take_meant(const Job& job, const std::string& typed) {
    std::vector<std::size_t> whole, part;
    for (std::size_t i = 0; i < job.takes.size(); ++i) {
        const fs::path file(job.takes[i].file);
        if (file.lexically_normal() == fs::path(typed).lexically_normal()) whole.push_back(i);
        if (file.filename() == typed || file.stem() == typed) part.push_back(i);
    }
    const auto& fits = whole.empty() ? part : whole;
    if (fits.size() != 1)
        refuse(fmt::format("{} is {} take of this job", in_quotes(typed), fits.empty() ? "no" : "more than one"));
    return fits.front();
}

std::string conditions_as_options(const Take& take) {
    const Conditions& now = take.conditions;
    std::string out = fmt::format(" --engine {}", to_word(now.engine));
    const auto number = [&out](const char* option, const std::optional<double>& value) {
        if (value) out += fmt::format(" {} {}", option, *value);
    };
    const auto list = [&out](const char* option, const std::vector<std::string>& words) {
        if (!words.empty()) out += fmt::format(" {} {}", option, shell_word(fmt::format("{}", fmt::join(words, ","))));
    };
    number("--rpm", now.rpm);
    if (now.source) out += fmt::format(" --source {}", to_word(*now.source));
    if (now.input) out += fmt::format(" --input {}", to_word(*now.input));
    number("--volume", now.volume);
    if (now.amplifier) out += fmt::format(" --amplifier {}", to_word(*now.amplifier));
    std::vector<std::string> words;
    for (const Hookup one : now.hookup)
        if (one != Hookup::normal) words.emplace_back(to_word(one));
    list("--hookup", words);
    list("--loads", now.loads);
    words.clear();
    for (const AttachedDevice& one : now.attached) words.push_back(fmt::format("{}:{}", one.device, to_word(one.powered_from)));
    list("--attached", words);
    if (now.laptop) out += fmt::format(" --laptop {}", to_word(*now.laptop));
    if (now.point != Point::amp_input) out += fmt::format(" --point {}", to_word(now.point));
    if (now.at_amplifier) list("--at-amplifier", {*now.at_amplifier});
    words.clear();
    for (const Channel one : take.channels) words.emplace_back(to_word(one));
    list("--channels", words);
    if (!take.attenuation_db.empty()) out += fmt::format(" --attenuation-db {}", fmt::join(take.attenuation_db, ","));
    if (!take.volume_steps.empty()) out += fmt::format(" --volume-steps {}", fmt::join(take.volume_steps, ","));
    if (const auto* sine = take.tone ? std::get_if<Sine>(&take.tone->waveform) : nullptr) {
        out += fmt::format(" --tone sine --frequency {} --level {}", sine->frequency_hz, sine->level_dbfs);
        if (take.tone->via) out += fmt::format(" --via {}", to_word(*take.tone->via));
    } else if (take.tone) {
        out += fmt::format(" --tone {} ...", tone_kind_word(take.tone->waveform));
    }
    if (take.recorded_at) list("--recorded-at", {*take.recorded_at});
    if (take.after_change) list("--after-change", {*take.after_change});
    return out;
}

}  // namespace hushtrace::cli
