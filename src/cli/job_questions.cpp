#include "job_questions.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>
#include <optional>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/vehicle/supply_wiring.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;

enum class Form { text, number, range, word, yes_or_no, area };

struct Question {
    const char* path;   ///< where the answer goes, in job.json's words
    const char* asks;
    Form form;
    const char* unit;   ///< of a number; may be typed along
    const char* right;  ///< what an answer looks like
};
constexpr Question kComplaint{"/complaint", "What does the customer say, in their own words?", Form::text, "", ""};
constexpr Question kVehicle[] = {{"/vehicle/description", "The vehicle, in words?", Form::text, "", ""},
                                 {"/vehicle/supply_v", "Its supply: 12 or 24 V?", Form::number, "V", "12 or 24"}};
constexpr Question kDrive{"/vehicle/drive", "What drives it: combustion (petrol, gas), diesel, hybrid or electric?", Form::word, "",
                          "combustion, diesel, hybrid or electric"};
constexpr Question kEngine[] = {
    {"/vehicle/cylinders", "How many cylinders?", Form::number, "", "a whole number such as 4"},
    {"/vehicle/alternator/rated_a", "Alternator: rated current in A, from its plate?", Form::number, "A", "a number such as 120"},
    {"/vehicle/alternator/pole_pairs", "Alternator: pole pairs, where known (most have 6)?", Form::number, "", "a number such as 6"},
    {"/vehicle/alternator/pulley_ratio", "Alternator: turns for one of the crankshaft, where known?", Form::number, "", "a number such as 2.7"}};
constexpr Question kSource[] = {
    {"/vehicle/mains_hz", "The region's mains: 50 or 60 Hz?", Form::number, "Hz", "50 or 60"},
    {"/source/description", "The source (head unit), in words?", Form::text, "", ""},
    {"/source/factory", "Did it come with the vehicle, yes or no?", Form::yes_or_no, "", "yes or no"},
    {"/source/output", "What leads from it to the amplifier, line or speaker level?", Form::word, "", "line or speaker"},
    {"/source/preout_v", "Its rated line output in V?", Form::number, "V", "a number such as 4"},
    {"/source/volume_top", "The highest volume on its scale?", Form::number, "", "a number such as 40"}};
constexpr Question kAmplifier[] = {
    {"/power_w", "rated power of one channel in W?", Form::number, "W", "a number such as 75"},
    {"/load_ohm", "load on that channel in ohm?", Form::number, "ohm", "a number such as 4"},
    {"/sensitivity_v", "range of its gain control in V, lowest and highest?", Form::range, "V", "two numbers, the lowest first, such as 0.2 to 6"},
    {"/max_current_a", "most current that it draws in A?", Form::number, "A", "a number such as 50"},
    {"/bridged_output", "is its output bridged (both speaker wires live), yes or no?", Form::yes_or_no, "", "yes or no"}};
constexpr Question kSpeaker[] = {
    {"/kind", "kind of speaker: full_range, tweeter, midrange, woofer or subwoofer?", Form::word, "",
     "full_range, tweeter, midrange, woofer or subwoofer"},
    {"/power_w", "power that the speaker bears in W?", Form::number, "W", "a number such as 100"},
    {"/impedance_ohm", "the speaker's impedance in ohm?", Form::number, "ohm", "a number such as 4"},
    {"/sensitivity_db_2v83_1m", "its sensitivity in dB at 2.83 V, 1 m?", Form::number, "dB", "a number such as 90"},
    {"/distance_m", "from the speaker to the ear in m?", Form::number, "m", "a number such as 1.2"}};
constexpr Question kInterface{"/interface/input", "Your interface's input: grounded or floating?", Form::word, "",
                              "grounded or floating"};
constexpr Question kCables[] = {
    {"/cables/signal_m", "Signal lead: length in m?", Form::number, "m", "a number such as 5"},
    {"/cables/parallel_m", "Signal lead: metres that run beside the power cable?", Form::number, "m", "a number such as 4"},
    {"/cables/separation_m", "Signal lead: distance from the power cable there, in m?", Form::number, "m", "a number such as 0.02 for 2 cm"},
    {"/supply/length_m", "Power cable, battery to amplifier: length in m, one way?", Form::number, "m", "a number such as 5.5"},
    {"/supply/area_mm2", "Power cable: copper area in mm2 (or its gauge, such as 4 AWG)?", Form::area, "mm2", "a number such as 21.2, or 4 AWG"},
    {"/supply/conductor", "Power cable: copper or copper_clad_aluminium?", Form::word, "", "copper or copper_clad_aluminium"}};

/// The end of the answers: what was said so far is kept.
struct NoMore {};

std::string trimmed(const std::string& text) {
    const auto first = text.find_first_not_of(" \t\r");
    return first == std::string::npos ? std::string() : text.substr(first, text.find_last_not_of(" \t\r") - first + 1);
}

std::string lower(std::string text) {
    std::transform(text.begin(), text.end(), text.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return text;
}

/// Words that people use for the drive and for yes.
std::string usual_word(const std::string& typed) {
    static constexpr std::pair<std::string_view, std::string_view> others[] = {
        {"petrol", "combustion"}, {"gasoline", "combustion"}, {"gas", "combustion"}, {"copper clad aluminium", "copper_clad_aluminium"},
        {"cca", "copper_clad_aluminium"}, {"full range", "full_range"}};
    std::string word = lower(typed);
    for (const auto& [from, to] : others)
        if (word == from) return std::string(to);
    return word;
}

/// A number as people write it: a decimal comma, the unit behind it.
double number_typed(std::string text, const std::string& unit) {
    text = trimmed(text);
    if (!unit.empty() && text.size() > unit.size() && lower(text.substr(text.size() - unit.size())) == lower(unit))
        text = trimmed(text.substr(0, text.size() - unit.size()));
    if (std::count(text.begin(), text.end(), ',') == 1 && text.find('.') == std::string::npos) std::replace(text.begin(), text.end(), ',', '.');
    return number_from("answer", std::string_view(text));
}

Json range_typed(const std::string& text, const std::string& unit) {
    for (const std::string between : {" to ", "...", "..", ":", " - ", "-", " "})
        if (const auto at = text.find(between); at != std::string::npos && at > 0)
            return Json::array({number_typed(text.substr(0, at), unit), number_typed(text.substr(at + between.size()), unit)});
    throw Error(ErrorKind::invalid_request, "answer: one number alone is no range");
}

double area_typed(const std::string& text) {
    const std::string word = lower(text);
    const auto awg = word.find("awg");
    if (awg == std::string::npos) return number_typed(text, "mm2");
    const double gauge = number_typed(word.substr(0, awg) + word.substr(awg + 3), "");
    if (gauge != static_cast<int>(gauge) || gauge < -3 || gauge > 40)
        throw Error(ErrorKind::invalid_request, fmt::format("answer: there is no gauge {}", gauge));
    return static_cast<double>(static_cast<long>(gauge_area_mm2(static_cast<int>(gauge)) * 100 + 0.5)) / 100;
}

Json value_typed(const Question& question, const std::string& text) {
    switch (question.form) {
        case Form::text: return text;
        case Form::number: return number_typed(text, question.unit);
        case Form::range: return range_typed(text, question.unit);
        case Form::area: return area_typed(text);
        case Form::word: return usual_word(text);
        case Form::yes_or_no: break;
    }
    const std::string word = lower(text);
    if (word == "yes" || word == "y") return true;
    if (word == "no" || word == "n") return false;
    throw Error(ErrorKind::invalid_request, fmt::format("answer: {} is neither yes nor no", in_quotes(text)));
}

/// What a message says behind the field's name.
std::string without_path(const std::string& message) {
    const auto at = message.rfind(": ");
    return at == std::string::npos ? message : message.substr(at + 2);
}

class Asking {
public:
    Asking(const Job& job, bool fresh, std::istream& answers, std::FILE* asks)
        : known_(Json::parse(job_text(job))), fresh_(fresh), answers_(answers), asks_(asks) {}

    std::string run(const std::string& usual_title) {
        fmt::print(asks_, "Enter skips a question, Ctrl-D ends them and keeps what was said, Ctrl-C leaves all as it was.\n");
        try {
            all(usual_title);
            fmt::print(asks_, "Limits stay at the proposals; --limits writes this job's own.\n");
        } catch (const NoMore&) {
            fmt::print(asks_, "\n");
        }
        if (said_.empty()) return {};
        said_["schema"] = "hushtrace.job/1";
        return said_.dump();
    }

private:
    void all(const std::string& usual_title) {
        if (fresh_) {
            const std::string title = line(fmt::format("What is the job called? (Enter: {})", in_quotes(usual_title)));
            said_["title"] = title.empty() ? usual_title : title;
        }
        ask(kComplaint);
        for (const Question& one : kVehicle) ask(one);
        if (fresh_) ask(kDrive);
        const std::string drive = said_.value("/vehicle/drive"_json_pointer, known_.value("/vehicle/drive"_json_pointer, std::string()));
        if (drive != "electric")
            for (const Question& one : kEngine) ask(one);
        for (const Question& one : kSource) ask(one);
        amplifiers();
        ask(kInterface);
        for (const Question& one : kCables) ask(one);
    }

    static std::string in_words(const std::string& name) { return name.empty() ? std::string("Amplifier") : "Amplifier " + in_quotes(name); }

    void amplifiers() {
        const Json present = known_.value("amplifiers", Json::array());
        for (const Json& one : present) one_amplifier(one.value("name", ""), one);
        for (;;) {
            const bool first = present.empty() && !said_.contains("amplifiers");
            const std::string name = line(first ? "The first amplifier's name, such as front or sub? (Enter: none)"
                                                : "The next amplifier's name? (Enter: no more)");
            if (name.empty()) return;
            if (name.find_first_of(",=:") != std::string::npos || !is_utf8(name)) {
                fmt::print(asks_, "A name holds none of , = : and is plain text.\n");
                continue;
            }
            const auto is_it = [&](const Json& one) { return one.value("name", "") == name; };
            const Json said = said_.value("amplifiers", Json::array());
            if (std::any_of(present.begin(), present.end(), is_it) || std::any_of(said.begin(), said.end(), is_it)) {
                fmt::print(asks_, "There is an amplifier of that name already; give this one another.\n");
                continue;
            }
            said_["amplifiers"].push_back({{"name", name}});
            one_amplifier(name, Json::object());
        }
    }

    void one_amplifier(const std::string& name, const Json& present) {
        if (name.empty()) return;  // one without a name can't be told from another
        for (const Question& one : kAmplifier) {
            if (present.contains(Json::json_pointer(one.path))) continue;
            entry("amplifiers", "name", name, one, in_words(name) + ": " + one.asks);
        }
        Json speaker;
        for (const Json& one : known_.value("speakers", Json::array()))
            if (one.value("amplifier", "") == name) speaker = one;
        for (const Question& one : kSpeaker)
            if (!speaker.contains(Json::json_pointer(one.path).back())) entry("speakers", "amplifier", name, one, in_words(name) + ": " + one.asks);
    }

    /// Asks for a field of a list's entry that goes by a name.
    void entry(const char* list, const char* name_field, const std::string& name, const Question& question, const std::string& asks) {
        const auto value = answer(question, asks, [&](const Json& typed) {
            return Json{{list, Json::array({Json{{name_field, name}, {question.path + 1, typed}}})}};
        });
        if (!value) return;
        Json& entries = said_[list];
        if (!entries.is_array()) entries = Json::array();
        auto found = std::find_if(entries.begin(), entries.end(), [&](const Json& one) { return one.value(name_field, "") == name; });
        if (found == entries.end()) found = entries.insert(entries.end(), Json{{name_field, name}});
        (*found)[question.path + 1] = *value;
    }

    void ask(const Question& question) {
        const Json::json_pointer place(question.path);
        if (!fresh_ && known_.contains(place)) return;
        const auto value = answer(question, question.asks, [&](const Json& typed) {
            Json given = Json::object();
            given[place] = typed;
            return given;
        });
        if (value) said_[place] = *value;
    }

    /// The answer once it is one; nothing where it was skipped. `put` places it for a trial reading.
    template <class Put>
    std::optional<Json> answer(const Question& question, const std::string& asks, Put put) {
        for (;;) {
            const std::string text = line(asks);
            if (text.empty()) return std::nullopt;
            try {
                if (!is_utf8(text)) throw Error(ErrorKind::invalid_request, "answer: that is no plain text");
                const Json value = value_typed(question, text);
                Json trial = put(value);
                trial["schema"] = "hushtrace.job/1";
                std::vector<Warning> ignored;
                parse_job(trial.dump(), ignored, "answer");
                return value;
            } catch (const Error& error) {
                const std::string wrong = clean_text(without_path(error.what()));
                fmt::print(asks_, "{}{}\n", wrong, *question.right != '\0' ? fmt::format("; write {}, or Enter to skip.", question.right) : ".");
            }
        }
    }

    std::string line(const std::string& asks) {
        fmt::print(asks_, "{} ", clean_text(asks));
        std::fflush(asks_);
        std::string typed;
        if (!std::getline(answers_, typed)) throw NoMore{};
        return trimmed(typed);
    }

    const Json known_;
    const bool fresh_;
    std::istream& answers_;
    std::FILE* asks_;
    Json said_ = Json::object();
};

}  // namespace

bool may_ask() {
    return ::isatty(STDIN_FILENO) != 0 && ::isatty(STDERR_FILENO) != 0;
}

std::string ask_for_description(const Job& job, bool fresh, const std::string& usual_title, std::istream& answers, std::FILE* asks) {
    return Asking(job, fresh, answers, asks).run(usual_title);
}

}  // namespace hushtrace::cli
