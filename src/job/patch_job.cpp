#include <array>
#include <cstddef>
#include <optional>
#include <vector>

#include "hushtrace/job/job_text.hpp"
#include "write_parts.hpp"

namespace hushtrace {
namespace {

void patch(Json& node, const Json& before, const Json& after);

/// What tells the entries of a list apart, whatever their place.
std::optional<std::string> identity_of(const Json& entry) {
    for (const char* const name : {"file", "name"})
        if (const auto found = entry.find(name); found != entry.end() && found->is_string())
            return found->get<std::string>();
    return std::nullopt;
}

/// Whether nothing but the name of an amplifier or a branch was changed.
bool is_renamed(Json before, Json after) {
    if (!before.contains("name") || !after.contains("name") || before.size() < 2) return false;
    before.erase("name");
    after.erase("name");
    return before == after;
}

/// For each entry of `after` the entry of `before` that it was, if any. An entry keeps to its identity; those
/// without one are recognised by equal content, and what is left over by its place.
std::vector<std::optional<std::size_t>> partners(const Json& before, const Json& after) {
    std::vector<std::optional<std::size_t>> partner(after.size());
    std::vector<bool> used(before.size(), false);
    const auto pair_where = [&](auto alike) {
        std::size_t from =
            0;  // entries mostly keep their order: look on from the last one found, then from the start
        for (std::size_t i = 0; i < after.size(); ++i) {
            if (partner[i]) continue;
            for (std::size_t tried = 0; tried < before.size(); ++tried) {
                const std::size_t j = (from + tried) % before.size();
                if (used[j] || !alike(i, j)) continue;
                partner[i] = j;
                used[j] = true;
                from = j + 1;
                break;
            }
        }
    };
    std::vector<std::optional<std::string>> old_names, new_names;
    for (const Json& entry : before) old_names.push_back(identity_of(entry));
    for (const Json& entry : after) new_names.push_back(identity_of(entry));
    pair_where([&](std::size_t i, std::size_t j) { return new_names[i] && new_names[i] == old_names[j]; });
    pair_where([&](std::size_t i, std::size_t j) { return after[i] == before[j]; });
    pair_where([&](std::size_t i, std::size_t j) { return i == j && before.size() == after.size() && is_renamed(before[j], after[i]); });
    for (std::size_t i = 0; i < after.size() && i < before.size(); ++i) {
        if (partner[i] || used[i] || (new_names[i] && old_names[i])) continue;
        partner[i] = i;
        used[i] = true;
    }
    return partner;
}

bool holds_objects(const Json& list) {
    return !list.empty() && list.front().is_object();
}

void patch_list(Json& node, const Json& before, const Json& after) {
    if (!node.is_array() || node.size() != before.size() || !holds_objects(before) || !holds_objects(after)) {
        node = after;
        return;
    }
    const auto partner = partners(before, after);
    Json list = Json::array();
    for (std::size_t i = 0; i < after.size(); ++i) {
        if (!partner[i]) {
            list.push_back(after[i]);
            continue;
        }
        list.push_back(std::move(node[*partner[i]]));
        patch(list.back(), before[*partner[i]], after[i]);
    }
    node = std::move(list);
}

/// Changes `node`, as the user wrote it, by what differs between `before` and `after`, both as we would write
/// them.
void patch(Json& node, const Json& before, const Json& after) {
    if (before == after) return;
    if (before.is_array() && after.is_array()) {
        patch_list(node, before, after);
    } else if (before.is_object() && after.is_object() && node.is_object()) {
        for (const auto& item : before.items())
            if (!after.contains(item.key())) node.erase(item.key());
        // a converter's loss said as a ratio, which is read and never written
        if (before.value("loss_db", Json()) != after.value("loss_db", Json())) node.erase("step_down");
        for (const auto& item : after.items()) {
            const auto old = before.find(item.key());
            if (old != before.end() && *old == item.value()) continue;
            if (old != before.end() && node.contains(item.key()))
                patch(node[item.key()], *old, item.value());
            else if (node.contains(item.key()) && node[item.key()].is_object() && item.value().is_object())
                patch(node[item.key()], Json::object(), item.value());  // it held only what we don't know
            else
                node[item.key()] = item.value();
        }
    } else {
        node = after;
    }
}

}  // namespace

std::string patched_job_text(std::string_view original, const Job& changed) {
    std::vector<Warning> ignored;
    const Json before = json_of(parse_job(original, ignored));
    const Json after = json_of(changed);
    Json node = parse_safely(original, "job.json");
    patch(node, before, after);
    return pretty(node);
}

}  // namespace hushtrace
