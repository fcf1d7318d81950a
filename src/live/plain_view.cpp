#include "hushtrace/live/plain_view.hpp"

#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <optional>
#include <thread>
#include <utility>

#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/live/live_figures.hpp"
#include "hushtrace/live/live_json.hpp"
#include "hushtrace/live/live_screen.hpp"
#include "typed_keys.hpp"

namespace hushtrace {
namespace {

using namespace std::chrono_literals;
constexpr double usual_pause_s = 1.0, least_pause_s = 0.1, told_change_db = 1.0;

std::string when(double time_s) {
    return fmt::format("{:.1f} s  ", time_s);
}

std::string channel_figures(const LiveLevel& one, LiveTask task) {
    std::string text = fmt::format("{} {}", to_word(one.channel), level_figure(one).text());
    if (one.level_v) text += ", " + decibel_figure(one.level_dbv, "dBV").text();
    text += ", peak " + decibel_figure(one.peak_dbfs, "dBFS", 1).text();
    if (task == LiveTask::follow) return text;
    if (const std::string thd = thd_words(one); thd != "-") text += ", THD " + thd;
    return text + fmt::format(", {}", tone_word(one.tone));
}

std::string follow_figures(const LiveFollow& follow) {
    const char* const unit = follow.calibrated ? "dBV" : "dBFS";
    std::string text = clean_text(follow.name);
    const auto add = [&text](const std::string& more) { text += (text.empty() ? "" : ", ") + more; };
    add(fmt::format("{} {}{}", to_word(follow.channel), follow.at_most ? "at most " : "", decibel_figure(follow.level_db, unit, 1).text()));
    if (follow.change_db) add("change " + change_figure(follow.change_db).text());
    if (follow.lowest_db) add((follow.lowest_at_most ? "lowest at most " : "lowest ") + decibel_figure(follow.lowest_db, unit, 1).text());
    if (follow.start_db) add("start " + decibel_figure(follow.start_db, unit, 1).text());
    if (follow.frequency_hz && std::isfinite(*follow.frequency_hz)) add(fmt::format("{:.1f} Hz", *follow.frequency_hz));
    return text;
}

/// Whether the second lies more than the told change beside the first; digital silence lies beside any level.
bool moved(std::optional<double> from_db, std::optional<double> to_db) {
    if (from_db.has_value() != to_db.has_value()) return true;
    if (!from_db || *from_db == *to_db) return false;
    return !(std::abs(*from_db - *to_db) <= told_change_db);
}

}  // namespace

std::string plain_figures(const LiveSnapshot& snapshot) {
    std::string text = when(snapshot.time_s);
    bool first = true;
    const auto part = [&](const std::string& more) {
        text += (first ? "" : "; ") + more;
        first = false;
    };
    if (snapshot.follow) part(follow_figures(*snapshot.follow));
    for (const LiveLevel& one : snapshot.levels) part(channel_figures(one, snapshot.task));
    if (snapshot.volume) part(fmt::format("volume {:g}", *snapshot.volume));
    if (snapshot.ceiling) part(fmt::format("{} {}", snapshot.ceiling->final ? "ceiling" : "clean so far", step_name(snapshot.ceiling->step)));
    if (snapshot.armed) part("armed");
    if (snapshot.kept > 0) part(fmt::format("kept {}", snapshot.kept));
    if (snapshot.overloads > 0) part(fmt::format("overloads {}", snapshot.overloads));
    if (snapshot.dropouts > 0) part(fmt::format("breaks {}", snapshot.dropouts));
    if (first) part("no sound yet");
    return text;
}

std::string plain_event(const LiveEvent& event) {
    return when(event.time_s) + clean_text(event.kind) + ": " + clean_text(event.text);
}

bool PlainPace::changed(const LiveSnapshot& snapshot) const {
    if (snapshot.state != told_.state || snapshot.armed != told_.armed || snapshot.kept != told_.kept ||
        snapshot.levels.size() != told_.levels.size() || snapshot.follow.has_value() != told_.follow.has_value())
        return true;
    for (std::size_t c = 0; c < snapshot.levels.size(); ++c) {
        const LiveLevel &now = snapshot.levels[c], &then = told_.levels[c];
        const bool idle = snapshot.task == LiveTask::gain && now.tone == ToneState::absent;  // noise may wander as it likes
        if (now.tone != then.tone || (!idle && moved(then.level_dbfs, now.level_dbfs))) return true;
    }
    return snapshot.follow && moved(told_.follow->level_db, snapshot.follow->level_db);
}

bool PlainPace::due(const LiveSnapshot& snapshot) {
    if (snapshot.number == 0) return false;
    const double since_s = snapshot.time_s - told_.time_s;
    const bool due = first_ || since_s >= usual_pause_s || (since_s >= least_pause_s && changed(snapshot));
    if (!due) return false;
    first_ = false;
    told_ = snapshot;
    return true;
}

bool show_plainly(LiveBoard& board, std::FILE* to, PlainKeys keys, PlainForm form) {
    std::optional<TypedKeys> typed;
    if (keys != PlainKeys::none) typed.emplace(keys == PlainKeys::pipe ? TypedKeys::From::pipe : TypedKeys::From::terminal);
    std::uint64_t number = 0, told = 0, event_number = 0;
    PlainPace pace;
    std::string next;
    bool end_passed_on = false;
    bool written = true;
    const auto write = [to, &written](std::string line) {
        line += '\n';
        written = written && std::fwrite(line.data(), 1, line.size(), to) == line.size();
    };
    const auto json = [](const char* what, const std::string& document) {
        return fmt::format(R"({{"schema":"hushtrace.live/1","{}":{}}})", what, document);
    };
    for (bool last = false; !last;) {
        last = board.closed();  // what was said before it was closed is told still
        const auto snapshot = board.wait_beyond(number, last ? 0ms : 100ms);
        if (typed) {
            for (const int key : typed->take())
                if (const auto request = request_of_key(key, *snapshot)) board.ask(*request);
            if (typed->end_asked() && !std::exchange(end_passed_on, true)) board.ask(LiveRequest::stop);
        }
        for (const LiveEvent& event : board.events_after(event_number)) {
            event_number = event.number;
            write(form == PlainForm::text ? plain_event(event) : json("event", live_json(event)));
        }
        const bool due = snapshot->number != number && pace.due(*snapshot);
        number = snapshot->number;
        if (due || (last && number != told)) {
            told = number;
            write(form == PlainForm::text ? plain_figures(*snapshot) : json("snapshot", live_json(*snapshot)));
        }
        if (form == PlainForm::text && snapshot->next != next) {
            next = snapshot->next;
            if (!next.empty()) write(when(snapshot->time_s) + "next: " + clean_text(next));
        }
        if (written && std::fflush(to) == 0 && std::ferror(to) == 0) continue;
        while (!board.closed() && !board.ask(LiveRequest::stop)) std::this_thread::sleep_for(20ms);
        return false;
    }
    return true;
}

}  // namespace hushtrace
