#include "live_screen_content.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

constexpr double unheard_limit_s = 1.0;
constexpr double told_speed_change = 0.05;  // an idling engine wanders by less

std::string capitals(std::string_view word) {
    std::string text(word);
    for (char& c : text)
        if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    return text;
}

Tint tint_of(ToneState state) {
    switch (state) {
        case ToneState::clean: return Tint::good;
        case ToneState::distorted:
        case ToneState::overloaded: return Tint::bad;
        default: return Tint::neutral;
    }
}

/// What goes before any reading: the end, a link that delivers nothing, the time before the first sound.
std::optional<TintedText> word_of_the_link(const LiveSnapshot& snapshot, const LiveScreenWish& wish) {
    if (snapshot.state == LiveState::ended) return TintedText{"ENDED", snapshot.failure.empty() ? Tint::neutral : Tint::bad};
    if (wish.unheard_s > unheard_limit_s) return TintedText{"NO SOUND", Tint::bad};
    return std::nullopt;
}

/// What is told at the foot of the screen: the gravest first.
TintedText status_of(const LiveSnapshot& snapshot, const LiveScreenWish& wish) {
    if (!snapshot.failure.empty()) return {snapshot.failure, Tint::bad};
    if (wish.unheard_s > unheard_limit_s && snapshot.state != LiveState::ended)
        return {fmt::format("no sound has come for {:.0f} s: look at the lead and the device", wish.unheard_s), Tint::bad};
    if (!wish.news.empty()) return {wish.news, Tint::strong};
    std::string text = snapshot.armed ? "armed: a jump of the level keeps the last minute" : "";
    const auto add = [&text](const std::string& more) { text += (text.empty() ? "" : "   ") + more; };
    if (snapshot.kept > 0) add(fmt::format("kept {}", snapshot.kept));
    if (snapshot.overloads > 0) add(fmt::format("overloads {}", snapshot.overloads));
    if (snapshot.dropouts > 0) add(fmt::format("breaks {}", snapshot.dropouts));
    return {text, snapshot.overloads + snapshot.dropouts > 0 ? Tint::strong : Tint::plain};
}

TintedText channel_line(const LiveLevel& one) {
    std::string text = fmt::format("{:<11}{:>10}", spaced(to_word(one.channel)), level_figure(one).text());
    if (one.level_v) text += fmt::format("{:>12}", decibel_figure(one.level_dbv, "dBV").text());
    text += fmt::format("  peak {:>10}  THD {:>7}  {}", decibel_figure(one.peak_dbfs, "dBFS", 1).text(),
                        thd_words(one), tone_word(one.tone));
    return {text, tint_of(one.tone) == Tint::bad ? Tint::strong : Tint::plain};
}

LiveFigure step_level(const LiveStep& step) {
    return step.level_v ? volts_figure(*step.level_v) : decibel_figure(step.level_dbfs, "dBFS");
}

TintedText step_line(const LiveStep& step) {
    return {fmt::format("{:<11}{:>11}   THD {:>8}   {}", step_name(step), step_level(step).text(), percent_text(step.thd_percent),
                        tone_word(step.tone)),
            tint_of(step.tone) == Tint::bad ? Tint::strong : Tint::plain};
}

/// Steps beside each other with the same word are told as one.
std::string short_steps(const std::vector<LiveStep>& steps) {
    const auto name = [](const LiveStep& step) { return step.volume ? fmt::format("{:g}", *step.volume) : fmt::format("{}", step.number); };
    const auto belongs = [](const LiveStep& before, const LiveStep& after) {
        return before.tone == after.tone && before.volume.has_value() == after.volume.has_value() &&
               (!after.volume || *after.volume > *before.volume);
    };
    std::string text;
    for (std::size_t first = 0, behind = 0; first < steps.size(); first = behind) {
        for (behind = first + 1; behind < steps.size() && belongs(steps[behind - 1], steps[behind]);) ++behind;
        text += fmt::format("{}{}{} {}", text.empty() ? "steps: " : ", ", name(steps[first]),
                            behind > first + 1 ? " to " + name(steps[behind - 1]) : "", tone_word(steps[first].tone));
    }
    return text;
}

LargeFigure ceiling_figure(const LiveSnapshot& snapshot) {
    if (!snapshot.ceiling) return {"ceiling: not yet", {"-", ""}, "88", "", "ceiling: not yet"};
    const LiveStep& step = snapshot.ceiling->step;
    const std::string words =
        fmt::format("{}: {}, {}", snapshot.ceiling->final ? "CEILING" : "clean so far", step_name(step), step_level(step).text());
    return {words, {step.volume ? fmt::format("{:g}", *step.volume) : fmt::format("{}", step.number), ""}, "88", "", words};
}

std::string level_words(const LiveFollow& follow, std::optional<double> level_db) {
    return decibel_figure(level_db, follow.calibrated ? "dBV" : "dBFS", 1).text();
}

}  // namespace

ScreenContent gain_content(const LiveSnapshot& snapshot, const LiveScreenWish& wish) {
    ScreenContent content;
    content.title = fmt::format("{}{}tone {:g} Hz, limit {:g} % THD", snapshot.title, snapshot.title.empty() ? "" : "   ", snapshot.tone_hz,
                                snapshot.limit_thd_percent);
    content.right_title = clock_text(snapshot.time_s);
    content.headline = snapshot.headline;
    content.next = snapshot.next;
    content.status = status_of(snapshot, wish);
    content.widest_word = "DISTORTED";
    const ToneState state = tone_of_all(snapshot);
    content.word = word_of_the_link(snapshot, wish).value_or(TintedText{capitals(tone_word(state)), tint_of(state)});
    if (snapshot.state != LiveState::ended && wish.unheard_s <= unheard_limit_s) {
        content.move = snapshot.move;
        if (snapshot.move == LiveMove::stay) content.word = {"CEILING", Tint::good};
    }
    content.second = ceiling_figure(snapshot);
    const LiveLevel* const leading = leading_level(snapshot);
    if (leading == nullptr) {
        content.first = {"level now", {"-", ""}, "-88.88", "", ""};
        return content;
    }
    content.first = {fmt::format("level now, {}", spaced(to_word(leading->channel))), level_figure(*leading), "-88.88",
                     spaced(to_word(leading->channel)), ""};
    content.details = {"THD " + thd_words(*leading)};
    if (leading->level_v) content.details.push_back(decibel_figure(leading->level_dbv, "dBV").text());
    if (snapshot.volume) content.details.push_back(fmt::format("volume now {:g}", *snapshot.volume));
    content.details.push_back("peak " + decibel_figure(leading->peak_dbfs, "dBFS", 1).text());
    if (snapshot.levels.size() > 1)
        for (const LiveLevel& one : snapshot.levels) content.channels.push_back(channel_line(one));
    std::transform(snapshot.steps.rbegin(), snapshot.steps.rend(), std::back_inserter(content.steps), step_line);
    content.short_steps = short_steps(snapshot.steps);
    return content;
}

ScreenContent follow_content(const LiveSnapshot& snapshot, const LiveScreenWish& wish) {
    ScreenContent content;
    const LiveFollow none, &follow = snapshot.follow ? *snapshot.follow : none;
    content.title = fmt::format("{}{}{}{}", snapshot.title, snapshot.title.empty() ? "" : "   ", follow.name,
                                snapshot.follow ? ", " + spaced(to_word(follow.channel)) : "");
    content.right_title = clock_text(snapshot.time_s);
    content.headline = snapshot.headline;
    content.next = snapshot.next;
    content.status = status_of(snapshot, wish);
    content.widest_word = "QUIETER";
    const auto verdict = [&]() -> TintedText {
        if (const auto word = word_of_the_link(snapshot, wish)) return *word;
        switch (followed(follow)) {
            case Followed::not_heard: return {follow.looking ? "LOOKING" : "LISTENING", Tint::neutral};
            case Followed::not_started: return {"NO START", Tint::neutral};
            case Followed::hidden: return {"HIDDEN", Tint::neutral};
            case Followed::quieter: return {"QUIETER", Tint::good};
            case Followed::louder: return {"LOUDER", Tint::bad};
            case Followed::same: break;
        }
        return {"SAME", Tint::neutral};
    };
    content.word = verdict();
    const std::string most = follow.at_most ? "<" : "";
    LiveFigure level = decibel_figure(follow.level_db, follow.calibrated ? "dBV" : "dBFS", 1);
    if (follow.at_most && level.value != "-") level.value = most + level.value;
    const std::string level_label =
        fmt::format("level now, {}{}", follow.calibrated ? "dBV" : "dBFS", follow.at_most ? ", at most" : "");
    if (follow.change_db) {
        LiveFigure change = change_figure(follow.change_db);
        if (change.value != "-") change.value = most + change.value;
        content.first = {"change against the start, dB", change, "-88.8", "change, dB", ""};
        content.second = LargeFigure{level_label, {level.value, ""}, "-88.8", "", level_label + " " + level.value};
    } else {
        content.first = {level_label, level, "-88.8", "level", ""};
    }
    if (follow.lowest_db)
        content.details.push_back((follow.lowest_at_most ? "lowest, at most " : "lowest ") + level_words(follow, follow.lowest_db));
    if (follow.start_db) content.details.push_back("start " + level_words(follow, follow.start_db));
    // Noise of an engine changes with its speed: the comparison then is none of the cable alone.
    if (follow.speed_change && std::abs(*follow.speed_change) >= told_speed_change)
        content.details.push_back(fmt::format("engine {:+.0f} %", 100 * *follow.speed_change));
    if (follow.level_db) content.details.emplace_back(follow.steady ? "steady" : "settling");
    if (follow.frequency_hz && std::isfinite(*follow.frequency_hz)) content.details.push_back(fmt::format("at {:.1f} Hz", *follow.frequency_hz));
    if (follow.sd_db && std::isfinite(*follow.sd_db)) content.details.push_back(fmt::format("±{:.1f} dB", 2 * *follow.sd_db));
    for (const LiveLevel& one : snapshot.levels)
        content.channels.push_back({fmt::format("{:<11}{:>11}   peak {:>10}", spaced(to_word(one.channel)), level_figure(one).text(),
                                                decibel_figure(one.peak_dbfs, "dBFS", 1).text()),
                                    one.tone == ToneState::overloaded ? Tint::strong : Tint::plain});
    return content;
}

}  // namespace hushtrace
