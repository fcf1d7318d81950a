#include "comparison_alike.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace::comparison {
namespace {

constexpr const char* kNotStated = "not stated";

template <class Word>
std::string words(const std::optional<Word>& word) {
    return word ? spaced(to_word(*word)) : kNotStated;
}

/// Hookups without "normal", which says nothing beside others.
std::string lead_words(const Conditions& conditions) {
    std::vector<std::string> names;
    for (const Hookup one : conditions.hookup)
        if (one != Hookup::normal) names.push_back(spaced(to_word(one)));
    std::sort(names.begin(), names.end());
    return names.empty() ? "normal" : fmt::format("{}", fmt::join(names, " + "));
}

std::string load_words(std::vector<std::string> loads) {
    std::sort(loads.begin(), loads.end());
    for (std::string& one : loads) one = spaced(clean_text(one));
    return loads.empty() ? "none" : fmt::format("{}", fmt::join(loads, ", "));
}

std::string attached_words(const Conditions& conditions) {
    std::vector<std::string> names;
    for (const AttachedDevice& one : conditions.attached)
        names.push_back(fmt::format("{} fed from {}", clean_text(one.device), spaced(to_word(one.powered_from))));
    std::sort(names.begin(), names.end());
    return names.empty() ? "nothing" : fmt::format("{}", fmt::join(names, ", "));
}

std::string tone_words(const Take& take) {
    if (!take.tone) return "none";
    std::string text;
    for (const char one : tone_text(*take.tone))
        if (std::string_view("{}\"[]").find(one) == std::string_view::npos) text += one == '_' ? ' ' : one;
    const std::size_t from = text.find_first_not_of(' ');
    text = clean_text(text.substr(from == std::string::npos ? 0 : from));
    while (!text.empty() && text.back() == ' ') text.pop_back();
    return text;
}

std::string channel_words(const Take& take) { return channels_text(take.channels); }

bool share_a_channel(const Take& a, const Take& b) {
    return std::any_of(a.channels.begin(), a.channels.end(),
                       [&](Channel one) { return std::find(b.channels.begin(), b.channels.end(), one) != b.channels.end(); });
}

std::string fault_words(const Take& take) {
    std::vector<std::string> names;
    for (const TakeFault one : take.faults) names.push_back(spaced(to_word(one)));
    return fmt::format("{}", fmt::join(names, ", "));
}

std::optional<double> rpm_of(const RecordedSystem& record, const Take& take) {
    const auto at = record.engine_rpm.find(take.file);
    return at != record.engine_rpm.end() ? std::optional(at->second) : take.conditions.rpm;
}

std::vector<Difference> take_differences(const RecordedSystem& before, const Take& a, const RecordedSystem& after, const Take& b,
                                         std::vector<std::string>* remarks) {
    Conditions of_a = a.conditions, of_b = b.conditions;
    if (!a.volume_steps.empty() && !b.volume_steps.empty()) of_a.volume = of_b.volume = 0;  // stepped through, told apart by step
    std::vector<Difference> out = differences(of_a, of_b, speed_ratio(before, a, after, b), remarks);
    if (tone_words(a) != tone_words(b)) out.insert(out.begin(), {"tone", tone_words(a), tone_words(b)});
    if (a.volume_steps.empty() != b.volume_steps.empty())
        out.push_back({"volume steps", a.volume_steps.empty() ? "none" : "stepped", b.volume_steps.empty() ? "none" : "stepped"});
    if (!share_a_channel(a, b)) out.push_back({"channels", channel_words(a), channel_words(b)});
    return out;
}

std::vector<TakeGroup> groups_of(const RecordedSystem& record) {
    std::vector<TakeGroup> out;
    for (const Take& take : record.job->takes) {
        if (take.conditions.has(Hookup::inputs_shorted) || !take.faults.empty()) continue;
        const std::size_t state = state_of(*record.job, take.after_change);
        const auto fits = [&](const TakeGroup& group) {
            return group.state == state && group.first().channels == take.channels && group.first().volume_steps == take.volume_steps &&
                   take_differences(record, group.first(), record, take, nullptr).empty();
        };
        const auto at = std::find_if(out.begin(), out.end(), fits);
        if (at != out.end())
            at->takes.push_back(&take);
        else
            out.push_back({&record, {&take}, state, rpm_of(record, take)});
    }
    return out;
}

/// Of what was measured in several states of the work, the one that speaks.
std::vector<TakeGroup> speaking(const std::vector<TakeGroup>& all, bool last) {
    std::vector<TakeGroup> out;
    for (const TakeGroup& one : all) {
        const auto same = [&](const TakeGroup& other) {
            return take_differences(*one.record, one.first(), *other.record, other.first(), nullptr).empty();
        };
        const auto at = std::find_if(out.begin(), out.end(), same);
        if (at == out.end())
            out.push_back(one);
        else if (last == (one.state > at->state))
            *at = one;
    }
    return out;
}

std::string then_now(const Difference& one) {
    if (one.before.empty()) return fmt::format("{}: {}", one.field, one.after);
    return fmt::format("{}: {} then, {} now", one.field, one.before, one.after);
}

/// Another place or engine state makes another take, another volume the same one once more.
std::size_t apart(const std::vector<Difference>& differ) {
    std::size_t sum = 0;
    for (const Difference& one : differ)
        sum += one.field == "engine" || one.field == "point" || one.field == "tone" || one.field == "channels" ? 4U : 1U;
    return sum;
}

/// Why one has no partner, and how to get one.
TakeLeftOut left_out(const TakeGroup& one, bool earlier, const std::vector<TakeGroup>& others) {
    TakeLeftOut out;
    out.earlier = earlier;
    out.take = one.first().file;
    const std::string name = clean_text(out.take);
    const TakeGroup* nearest = nullptr;
    std::vector<Difference> least;
    std::size_t least_apart = 0;
    for (const TakeGroup& other : others) {
        if (other.first().tone.has_value() != one.first().tone.has_value()) continue;
        const auto differ = earlier ? take_differences(*one.record, one.first(), *other.record, other.first(), nullptr)
                                    : take_differences(*other.record, other.first(), *one.record, one.first(), nullptr);
        const std::size_t distance = apart(differ);
        if (nearest && distance >= least_apart) continue;
        nearest = &other;
        least = differ;
        least_apart = distance;
    }
    const std::string whose = earlier ? "the earlier record" : "this record", other = earlier ? "this record" : "the earlier record";
    const std::string sound = one.first().tone ? "tone " + tone_words(one.first()) : "no tone";
    const std::string how = conditions_text(one.first().conditions);
    if (!nearest) {
        out.differs = {"tone"};
        out.text = fmt::format("{} of {}: {} has no take of that kind ({}, {}). ", name, whose, other, how, sound);
    } else if (least.empty()) {
        out.text = fmt::format("{} of {}: another take of {} is nearer to the one it could be held against. ", name, whose, whose);
    } else {
        std::string list;
        for (const Difference& differ : least) {
            out.differs.push_back(differ.field);
            list += (list.empty() ? "" : "; ") + then_now(differ);
        }
        out.text = fmt::format("{} of {} wasn't measured like {} of {}: {}. ", name, whose, clean_text(nearest->first().file), other, list);
    }
    out.text += earlier   ? fmt::format("To compare, make a take now with {}{}.", how, one.first().tone ? ", " + sound : "")
                : nearest ? fmt::format("To compare, make another take with {}.", conditions_text(nearest->first().conditions))
                          : "It can be compared from the next record on.";
    return out;
}

void add_spoilt(std::vector<TakeLeftOut>& to, const RecordedSystem& record, bool earlier) {
    for (const Take& take : record.job->takes) {
        if (take.faults.empty()) continue;
        to.push_back({earlier,
                      take.file,
                      fmt::format("{} of {} is marked as faulty ({}): nothing is read from it. Make it again without.", clean_text(take.file),
                                  earlier ? "the earlier record" : "this record", fault_words(take)),
                      {"faults"}});
    }
}

void add_late(GroupPair& pair, const TakeGroup& group, const char* whose) {
    const std::size_t last = last_state(*group.record->job);
    if (group.state < last)
        pair.remarks.push_back(fmt::format("{} of {} was made before the last change noted there.", clean_text(group.first().file), whose));
}

/// Engine, loads and lead: mostly all by which takes differ.
std::string brief_words(const Conditions& conditions) {
    std::string text = "engine " + spaced(to_word(conditions.engine));
    if (conditions.rpm && conditions.engine != Engine::idle) text += fmt::format(" at {:.4g} rpm", *conditions.rpm);
    for (const std::string& load : conditions.loads) text += ", " + clean_text(spaced(load)) + " on";
    if (lead_words(conditions) != "normal") text += ", lead " + lead_words(conditions);
    return text;
}

void name_briefly(std::vector<GroupPair>& pairs) {
    for (GroupPair& one : pairs) {
        one.briefly = brief_words(one.after.first().conditions);
        const auto same = [&](const GroupPair& other) {
            return &other != &one && tone_words(other.after.first()) == tone_words(one.after.first()) &&
                   brief_words(other.after.first().conditions) == one.briefly;
        };
        if (std::any_of(pairs.begin(), pairs.end(), same)) one.briefly = one.conditions;
    }
}

bool hunts(Engine engine) { return engine == Engine::idle || engine == Engine::sweep || engine == Engine::cranking; }

}  // namespace

std::optional<double> speed_ratio(const RecordedSystem& before, const Take& a, const RecordedSystem& after, const Take& b) {
    const auto rpm_a = rpm_of(before, a), rpm_b = rpm_of(after, b);
    if (rpm_a && rpm_b && *rpm_a > 0 && *rpm_b > 0) return *rpm_b / *rpm_a;
    const auto whine_a = before.whine_hz.find(a.file), whine_b = after.whine_hz.find(b.file);
    if (whine_a == before.whine_hz.end() || whine_b == after.whine_hz.end()) return std::nullopt;
    return whine_b->second / whine_a->second;
}

std::size_t state_of(const Job& job, const std::optional<std::string>& after_change) {
    if (!after_change) return 0;
    std::vector<std::string> seen;
    for (const Take& one : job.takes)
        if (one.after_change && std::find(seen.begin(), seen.end(), *one.after_change) == seen.end()) seen.push_back(*one.after_change);
    const auto at = std::find(seen.begin(), seen.end(), *after_change);
    return static_cast<std::size_t>(at - seen.begin()) + 1;
}

std::size_t last_state(const Job& job) {
    std::size_t last = 0;
    for (const Take& one : job.takes) last = std::max(last, state_of(job, one.after_change));
    return last;
}

std::vector<Difference> differences(const Conditions& before, const Conditions& after, std::optional<double> speed_ratio,
                                    std::vector<std::string>* remarks) {
    std::vector<Difference> out;
    std::vector<std::string> unstated;
    const auto ask = [&](const char* field, const std::string& a, const std::string& b) {
        if (a != b) out.push_back({field, a, b});
        if (a == b && a == kNotStated) unstated.emplace_back(field);
    };
    ask("point", spaced(to_word(before.point)), spaced(to_word(after.point)));
    ask("engine", spaced(to_word(before.engine)), spaced(to_word(after.engine)));
    if (before.engine == after.engine && (before.engine == Engine::raised || before.engine == Engine::idle)) {
        if (speed_ratio && std::abs(*speed_ratio - 1.0) > kSameSpeed)
            out.push_back(
                {"engine speed", "", fmt::format("{:.0f} % {} now", 100 * std::abs(*speed_ratio - 1), *speed_ratio > 1 ? "higher" : "lower")});
        if (!speed_ratio && before.engine == Engine::raised) out.push_back({"engine speed", "", "not known on both sides (state rpm)"});
    }
    ask("lead", lead_words(before), lead_words(after));
    ask("source", words(before.source), words(after.source));
    ask("input", words(before.input), words(after.input));
    const auto volume = [](const Conditions& one) { return one.volume ? fmt::format("{:g}", *one.volume) : std::string(kNotStated); };
    ask("volume", volume(before), volume(after));
    ask("loads", load_words(before.loads), load_words(after.loads));
    ask("attached", attached_words(before), attached_words(after));
    ask("laptop on", words(before.laptop), words(after.laptop));
    ask("amplifier", words(before.amplifier), words(after.amplifier));
    if (before.at_amplifier != after.at_amplifier)
        ask("at amplifier", clean_text(before.at_amplifier.value_or(kNotStated)), clean_text(after.at_amplifier.value_or(kNotStated)));
    if (remarks && !unstated.empty())
        remarks->push_back(fmt::format("Not stated in either record, and taken to be the same: {}.", fmt::join(unstated, ", ")));
    return out;
}

Alike find_alike(const RecordedSystem& before, const RecordedSystem& after, RecordState before_state) {
    Alike out;
    out.before = groups_of(before);
    out.after = groups_of(after);
    std::vector<TakeGroup> old = speaking(out.before, before_state == RecordState::last), now = speaking(out.after, true);
    if (before_state == RecordState::first) {  // one record: its first state and what came after it
        std::erase_if(old, [](const TakeGroup& one) { return one.state > 0; });
        std::erase_if(now, [](const TakeGroup& one) { return one.state == 0; });
    }
    struct Candidate {
        std::size_t before, after;
        double apart;
    };
    std::vector<Candidate> candidates;
    for (std::size_t a = 0; a < old.size(); ++a)
        for (std::size_t b = 0; b < now.size(); ++b)
            if (take_differences(before, old[a].first(), after, now[b].first(), nullptr).empty())
                candidates.push_back({a, b, std::abs(std::log(speed_ratio(before, old[a].first(), after, now[b].first()).value_or(1.0)))});
    std::stable_sort(candidates.begin(), candidates.end(), [](const Candidate& x, const Candidate& y) { return x.apart < y.apart; });
    std::vector<bool> old_used(old.size()), now_used(now.size());
    for (const Candidate& one : candidates) {
        if (old_used[one.before] || now_used[one.after]) continue;
        old_used[one.before] = now_used[one.after] = true;
        GroupPair pair;
        pair.before = old[one.before];
        pair.after = now[one.after];
        take_differences(before, pair.before.first(), after, pair.after.first(), &pair.remarks);
        pair.speed_ratio = speed_ratio(before, pair.before.first(), after, pair.after.first());
        pair.conditions = conditions_text(pair.after.first().conditions);
        pair.hunts = hunts(pair.after.first().conditions.engine);
        if (before_state == RecordState::last) add_late(pair, pair.before, "the earlier record");
        add_late(pair, pair.after, "this record");
        out.pairs.push_back(std::move(pair));
    }
    std::stable_sort(out.pairs.begin(), out.pairs.end(),
                     [](const GroupPair& x, const GroupPair& y) { return x.after.takes.front() < y.after.takes.front(); });
    name_briefly(out.pairs);
    for (std::size_t a = 0; a < old.size(); ++a)
        if (!old_used[a]) out.left_out.push_back(left_out(old[a], true, now));
    for (std::size_t b = 0; b < now.size(); ++b)
        if (!now_used[b]) out.left_out.push_back(left_out(now[b], false, old));
    if (before_state == RecordState::last) add_spoilt(out.left_out, before, true);
    add_spoilt(out.left_out, after, false);
    return out;
}

}  // namespace hushtrace::comparison
