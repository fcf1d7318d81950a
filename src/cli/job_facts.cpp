#include "job_facts.hpp"

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/job/job_text.hpp"
#include "help_section.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;

void require_utf8(const std::string& option, const std::string& text) {
    if (!is_utf8(text)) refuse(fmt::format("{}: {} is not UTF-8 text", option, in_quotes(text)));
}

std::vector<std::string> split(const std::string& text, char separator) {
    std::vector<std::string> parts(1);
    for (const char c : text) {
        if (c == separator)
            parts.emplace_back();
        else
            parts.back() += c;
    }
    return parts;
}

bool starts_like_a_number(const std::string& text) {
    return !text.empty() &&
           (text.find_first_not_of("+-.0123456789") > 0 || text.find_first_of("0123456789") < 3);
}

/// "yes" and "no" become booleans, "0.2:6" a list, numbers numbers, and the rest stays text.
Json value_of(const std::string& option, const std::string& text) {
    if (text == "yes" || text == "true") return true;
    if (text == "no" || text == "false") return false;
    if (text == "unknown") return nullptr;
    if (!starts_like_a_number(text)) return text;
    if (text.find(':') == std::string::npos) return number_from(option, std::string_view(text));
    Json list = Json::array();
    for (const std::string& part : split(text, ':'))
        list.push_back(number_from(option, std::string_view(part)));
    return list;
}

/// "sub,power_w=500": a name, where `name_field` is given, then fields.
Json object_of(const std::string& option, const std::string& text, const char* name_field) {
    require_utf8(option, text);
    Json object = Json::object();
    for (const std::string& part : split(text, ',')) {
        const auto equals = part.find('=');
        if (equals == std::string::npos && name_field && object.empty() && !part.empty()) {
            object[name_field] = part;
            continue;
        }
        if (equals == std::string::npos || equals == 0 || equals + 1 == part.size())
            refuse(fmt::format("{}: {} is not written FIELD=VALUE", option, in_quotes(part)));
        const std::string field = part.substr(0, equals);
        if (object.contains(field)) refuse(fmt::format("{}: {} is given twice", option, in_quotes(field)));
        const std::string where = fmt::format("{}: {}", option, field);
        const std::string value = part.substr(equals + 1);
        if (name_field && field == name_field)
            object[field] = value;
        else if (field == "channels" && value != "unknown")
            object[field] = split(value, ':');
        else
            object[field] = value_of(where, value);
    }
    return object;
}

/// Adds each entry's fields to those of the one that the job has by that name, or puts it behind the others.
void merge_list(Json& job, const char* list, const char* name_field, const Json& entries) {
    if (entries.empty()) return;
    Json& present = job[list];
    if (!present.is_array()) present = Json::array();
    std::vector<bool> merged(present.size(), false);
    for (const Json& entry : entries) {
        std::size_t place = 0;
        while (place < merged.size() && (merged[place] || !entry.contains(name_field) ||
                                         present[place].value(name_field, "") != entry[name_field]))
            ++place;
        if (place < merged.size()) {
            present[place].merge_patch(entry);
            merged[place] = true;
        } else {
            present.push_back(entry);
        }
    }
}

/// "sub,step_down=8" as what it adds to the amplifier of that name. A ratio takes the place of a loss in dB.
Json converter_of(const std::string& text) {
    Json fields = object_of("--converter", text, "name");
    if (!fields.contains("name")) refuse("--converter: name the amplifier first: --converter sub,loss_db=12,max_input_v=20");
    Json amplifier = {{"name", fields["name"]}};
    fields.erase("name");
    if (fields.contains("step_down") && !fields.contains("loss_db")) fields["loss_db"] = nullptr;
    amplifier["converter"] = std::move(fields);
    return amplifier;
}

/// Reads a text in job.json's schema; what a description can't say is refused, since nobody would miss it
/// otherwise.
void require_known(const std::vector<Warning>& warnings) {
    for (const Warning& warning : warnings)
        if (warning.code == "unknown_field") {
            std::string text = warning.text;
            const std::string kept = "; it is kept";
            if (const auto at = text.find(kept); at != std::string::npos) text.erase(at, kept.size());
            refuse(text);
        }
}

struct NamedOption {
    const char* option;
    const char* section;  // nullptr: a field of the job itself
    const char* field;
    std::optional<std::string> JobFacts::*text;
    bool is_text;
};
constexpr std::array kOptions = {
    NamedOption{"--title", nullptr, "title", &JobFacts::title, true},
    NamedOption{"--date", nullptr, "date", &JobFacts::date, true},
    NamedOption{"--complaint", nullptr, "complaint", &JobFacts::complaint, true},
    NamedOption{"--vehicle", "vehicle", "description", &JobFacts::vehicle, true},
    NamedOption{"--drive", "vehicle", "drive", &JobFacts::drive, true},
    NamedOption{"--cylinders", "vehicle", "cylinders", &JobFacts::cylinders, false},
    NamedOption{"--strokes", "vehicle", "strokes", &JobFacts::strokes, false},
    NamedOption{"--supply-v", "vehicle", "supply_v", &JobFacts::supply_v, false},
    NamedOption{"--mains-hz", "vehicle", "mains_hz", &JobFacts::mains_hz, false},
    NamedOption{"--source-description", "source", "description", &JobFacts::source_description, true},
    NamedOption{"--preout-v", "source", "preout_v", &JobFacts::preout_v, false},
    NamedOption{"--volume-top", "source", "volume_top", &JobFacts::volume_top, false},
    NamedOption{"--source-factory", "source", "factory", &JobFacts::source_factory, false},
    NamedOption{"--source-output", "source", "output", &JobFacts::source_output, true},
    NamedOption{"--interface-input", "interface", "input", &JobFacts::interface_input, true},
    NamedOption{"--amps-per-volt", "interface", "amps_per_volt", &JobFacts::amps_per_volt, false},
    NamedOption{"--limit-thd", "limits", "ceiling_thd_percent", &JobFacts::limit_thd, false},
};

constexpr const char* kFromHelp = "take the description (not the takes) from this file in job.json's schema";
constexpr const char* kAlternatorHelp = "pole_pairs=6,pulley_ratio=2.7,rated_a=120";

/// Reads what was given by itself first, so that a message speaks of what was typed; then with the job.
Job with_description(Json whole, Json given, const char* label, std::vector<Warning>& warnings) {
    std::vector<Warning> about_given;
    parse_job(given.dump(), about_given, label);
    require_known(about_given);
    for (Warning& warning : about_given) warnings.push_back(std::move(warning));

    const auto taken = [&given](const char* list) {
        Json entries = given.value(list, Json::array());
        given.erase(list);
        return entries;
    };
    const Json amplifiers = taken("amplifiers"), speakers = taken("speakers");
    Json branches = Json::array();
    if (given.contains("supply") && given["supply"].contains("branches")) {
        branches = given["supply"]["branches"];
        given["supply"].erase("branches");
    }
    whole.merge_patch(given);
    merge_list(whole, "amplifiers", "name", amplifiers);
    merge_list(whole, "speakers", "amplifier", speakers);
    if (!branches.empty()) merge_list(whole["supply"], "branches", "name", branches);
    std::vector<Warning> ignored;
    return parse_job(whole.dump(), ignored);
}

}  // namespace

Job described_by(const Job& job, const std::string& given_text, const char* label, std::vector<Warning>& warnings) {
    return with_description(Json::parse(job_text(job)), Json::parse(given_text), label, warnings);
}

void JobFacts::add_supply_to(CLI::App& app) {
    const HelpSection section(app, "Description");
    app.add_option("--from", from, kFromHelp)->type_name(file_type);
    offer<Drive>(app.add_option("--drive", drive, "what drives it: " + choices<Drive>()));
    offer(app.add_option("--supply-v", supply_v, "the vehicle's supply [V]: 12 or 24"), {"12", "24"});
    app.add_option("--alternator", alternator, kAlternatorHelp);
    app.add_option("--cables", cables, "above_metal_m=0.01: how far the feed runs above the body's metal");
    add_supply_and_branches(app);
}

void JobFacts::add_supply_and_branches(CLI::App& app) {
    app.add_option("--supply", supply,
                   "the feed: length_m=5.5,area_mm2=21.2,conductor=copper,temperature_c=60,allowed_drop_v=0.5");
    app.add_option("--branch", branches,
                   "a cable behind the distribution block: NAME,length_m=0.5,area_mm2=10,current_a=20; named like an amplifier it feeds that "
                   "one; may be given again")
        ->allow_extra_args(false);
}

void JobFacts::add_to(CLI::App& app) {
    const HelpSection section(app, "Description");
    app.add_option("--from", from, kFromHelp)->type_name(file_type);
    app.add_option("--title", title, "what the job is called");
    app.add_option("--date", date, "2026-01-31");
    app.add_option("--complaint", complaint, "what the customer says");
    app.add_option("--vehicle", vehicle, "the vehicle, in words");
    offer<Drive>(app.add_option("--drive", drive, "what drives it: " + choices<Drive>()));
    app.add_option("--cylinders", cylinders, "number of cylinders");
    offer(app.add_option("--strokes", strokes, "strokes a cycle, 2 or 4"), {"2", "4"});
    offer(app.add_option("--supply-v", supply_v, "the vehicle's supply [V]: 12 or 24"), {"12", "24"});
    offer(app.add_option("--mains-hz", mains_hz, "the region's mains frequency [Hz]: 50 or 60"), {"50", "60"});
    app.add_option("--alternator", alternator, kAlternatorHelp);
    app.add_option("--source-description", source_description, "the source, in words");
    app.add_option("--preout-v", preout_v, "the source's rated line output [V]");
    app.add_option("--volume-top", volume_top, "the highest volume on the source's scale");
    offer(app.add_option("--source-factory", source_factory, "the source came with the vehicle: yes or no"), {"yes", "no"});
    offer<OutputKind>(app.add_option("--source-output", source_output, "what the source puts out: " + choices<OutputKind>()));
    app.add_option("--speaker", speakers,
                   "AMPLIFIER,power_w=600,impedance_ohm=4,kind=subwoofer,sensitivity_db_2v83_1m=86,distance_m=1.5; may be given again")
        ->allow_extra_args(false);
    app.add_option("--converter", converters,
                   "a line converter before an amplifier: AMPLIFIER,loss_db=12,max_input_v=20,isolating=yes; or step_down=4 for 4 to 1")
        ->allow_extra_args(false);
    app.add_option("--cables", cables,
                   "signal_m=5,separation_m=0.02,parallel_m=4,crossing_deg=90,above_metal_m=0.01");
    add_supply_and_branches(app);
    offer<InterfaceInput>(app.add_option("--interface-input", interface_input, "the interface's input: " + choices<InterfaceInput>()));
    app.add_option("--amps-per-volt", amps_per_volt, "a current clamp's scale [A/V]");
    app.add_option("--limit-thd", limit_thd, "distortion allowed at the ceiling [percent]");
    app.add_option("--limits", limits,
                   "what the chain and the noise floor must keep: minus_20_thd_percent=0.3,balance_db=1,delay_difference_ms=0.1,"
                   "crosstalk_1khz_db=-60,crosstalk_10khz_db=-45,response_from_hz=40,response_to_hz=16000,"
                   "response_tolerance_db=1.5,noise_dbv_a=-80,same_polarity=yes,line_below_full_power_db=-90,"
                   "hiss_below_full_power_db=-85,at_ear_off_db_spl=15,at_ear_running_db_spl=25");
    app.add_option("--labour-min", labour, "minutes that a test takes in this shop: dummy_floating=20,reach_source=30");
}

bool JobFacts::any() const {
    for (const NamedOption& one : kOptions)
        if (this->*one.text) return true;
    return from || alternator || cables || supply || limits || labour || !amplifiers.empty() || !speakers.empty() || !converters.empty() ||
           !branches.empty();
}

Job JobFacts::described(const Job& job, std::vector<Warning>& warnings) const {
    Json whole = Json::parse(job_text(job));
    if (from) {
        const std::string text = read_whole(*from, std::size_t{16} << 20);
        std::vector<Warning> about_file;
        parse_job(text, about_file, *from);
        require_known(about_file);
        Json description = Json::parse(text);
        for (const char* const own : {"takes", "observations"}) description.erase(own);
        whole.merge_patch(description);
    }

    Json given = {{"schema", "hushtrace.job/1"}};
    for (const NamedOption& one : kOptions) {
        const auto& text = this->*one.text;
        if (!text) continue;
        require_utf8(one.option, *text);
        Json& section = one.section ? given[one.section] : given;
        section[one.field] = one.is_text && *text != "unknown" ? Json(*text) : value_of(one.option, *text);
    }
    if (alternator) given["vehicle"]["alternator"] = object_of("--alternator", *alternator, nullptr);
    if (cables) given["cables"] = object_of("--cables", *cables, nullptr);
    if (supply) given["supply"] = object_of("--supply", *supply, nullptr);
    if (limits) given["limits"].update(object_of("--limits", *limits, nullptr));
    if (labour) given["labour_min"] = object_of("--labour-min", *labour, nullptr);
    Json new_amplifiers = Json::array(), new_speakers = Json::array();
    for (const std::string& one : amplifiers) new_amplifiers.push_back(object_of("--amplifier", one, "name"));
    for (const std::string& one : converters) {
        const Json amplifier = converter_of(one);
        const auto same = std::find_if(new_amplifiers.begin(), new_amplifiers.end(),
                                       [&](const Json& other) { return other.value("name", "") == amplifier["name"]; });
        const auto known = std::any_of(job.amplifiers.begin(), job.amplifiers.end(),
                                       [&](const AmplifierData& other) { return other.name == amplifier["name"]; });
        if (same != new_amplifiers.end())
            same->merge_patch(amplifier);
        else if (known)
            new_amplifiers.push_back(amplifier);
        else
            refuse(fmt::format("--converter: the job has no amplifier {}; name it with --amplifier first",
                               in_quotes(std::string(amplifier["name"]))));
    }
    for (const std::string& one : speakers) new_speakers.push_back(object_of("--speaker", one, "amplifier"));

    Json new_branches = Json::array();
    for (const std::string& one : branches) {
        new_branches.push_back(object_of("--branch", one, "name"));
        if (!new_branches.back().contains("name")) refuse("--branch: name it first: --branch sub,length_m=0.5,area_mm2=10,current_a=20");
    }

    given["amplifiers"] = std::move(new_amplifiers);
    given["speakers"] = std::move(new_speakers);
    if (!new_branches.empty()) given["supply"]["branches"] = std::move(new_branches);
    if (title == "unknown") refuse("--title: a job keeps a title; give another one");
    return with_description(whole, given, "options", warnings);
}

}  // namespace hushtrace::cli
