#include "job_changes.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <optional>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/shown_text.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;

std::string spelled(const Json& value) {
    if (value.is_null()) return "unknown";
    if (value.is_string()) return "'" + clean_text(value.get<std::string>()) + "'";
    return clean_text(value.dump());
}

/// What a list's entry is called, or its number.
std::string name_of(const Json& entry, std::size_t index) {
    for (const char* const field : {"file", "name", "amplifier", "what"})
        if (const auto found = entry.find(field); found != entry.end() && found->is_string())
            return clean_text(found->get<std::string>());
    return fmt::format("{}", index + 1);
}

/// An entry but for its name; one that is nothing else is like no other.
Json unnamed(Json entry) {
    for (const char* const field : {"file", "name", "amplifier"})
        if (entry.size() > 1 && entry.contains(field)) {
            entry.erase(field);
            return entry;
        }
    return entry;
}

bool holds_objects(const Json& list) {
    return list.is_array() && !list.empty() && list.front().is_object();
}

class Differences {
public:
    void look(const std::string& path, const Json& before, const Json& after) {
        if (before == after) return;
        if (before.is_object() && after.is_object()) {
            fields(path, before, after);
        } else if (holds_objects(before) || holds_objects(after)) {
            lists(path, before.is_array() ? before : Json::array(), after.is_array() ? after : Json::array());
        } else if ((before.is_object() || before.is_null()) && (after.is_object() || after.is_null())) {
            fields(path, before.is_object() ? before : Json::object(), after.is_object() ? after : Json::object());
        } else {
            found.push_back({path, spelled(before), spelled(after)});
        }
    }
    std::vector<FieldChange> found;

private:
    void fields(const std::string& path, const Json& before, const Json& after) {
        const std::string stem = path.empty() ? "" : path + ".";
        for (const auto& one : before.items())
            look(stem + one.key(), one.value(), after.contains(one.key()) ? after[one.key()] : Json());
        for (const auto& one : after.items())
            if (!before.contains(one.key())) look(stem + one.key(), Json(), one.value());
    }
    /// Entries that are alike pair off first, then those of one name; what is left over came or went.
    void lists(const std::string& path, const Json& before, const Json& after) {
        std::vector<std::optional<std::size_t>> partner(after.size());
        std::vector<bool> used(before.size(), false);
        const auto pair_where = [&](auto alike) {
            for (std::size_t i = 0; i < after.size(); ++i)
                for (std::size_t j = 0; j < before.size() && !partner[i]; ++j)
                    if (!used[j] && alike(i, j)) {
                        partner[i] = j;
                        used[j] = true;
                    }
        };
        pair_where([&](std::size_t i, std::size_t j) { return after[i] == before[j]; });
        pair_where([&](std::size_t i, std::size_t j) { return name_of(after[i], i) == name_of(before[j], j); });
        pair_where([&](std::size_t i, std::size_t j) { return unnamed(after[i]) == unnamed(before[j]); });  // it got another name
        for (std::size_t j = 0; j < before.size(); ++j)
            if (!used[j]) found.push_back({place(path, before[j], j), spelled(before[j]), "taken out"});
        for (std::size_t i = 0; i < after.size(); ++i) {
            if (partner[i])
                look(place(path, after[i], i), before[*partner[i]], after[i]);
            else
                found.push_back({place(path, after[i], i), "not there", spelled(after[i])});
        }
    }
    static std::string place(const std::string& path, const Json& entry, std::size_t index) {
        return fmt::format("{}[{}]", path, name_of(entry, index));
    }
};

}  // namespace

std::vector<FieldChange> changes_between(const Job& before, const Job& after) {
    Differences differences;
    differences.look("", Json::parse(job_text(before)), Json::parse(job_text(after)));
    return std::move(differences.found);
}

std::string in_lines(const std::vector<FieldChange>& changes) {
    if (changes.empty()) return "nothing changed: the job says so already\n";
    std::string out;
    for (const FieldChange& one : changes) out += fmt::format("{}: was {}, now {}\n", one.field, one.before, one.after);
    return out;
}

}  // namespace hushtrace::cli
