#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <set>
#include <string>

#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/live/large_letters.hpp"
#include "hushtrace/live/live_figures.hpp"
#include "hushtrace/live/live_screen.hpp"

using namespace hushtrace;

namespace {

LiveLevel level(Channel channel, double level_dbfs, ToneState tone) {
    LiveLevel one;
    one.channel = channel;
    one.level_dbfs = level_dbfs;
    one.peak_dbfs = level_dbfs;
    one.thd_percent = 0.012;
    one.tone = tone;
    return one;
}

LiveStep step(double volume, ToneState tone = ToneState::clean) {
    LiveStep one;
    one.volume = volume;
    one.level_v = 1.846;
    one.thd_percent = 0.012;
    one.tone = tone;
    return one;
}

LiveSnapshot gain() {
    LiveSnapshot snapshot;
    snapshot.state = LiveState::running;
    snapshot.title = "Estate";
    snapshot.tone_hz = 997;
    snapshot.levels = {level(Channel::left, -12.34, ToneState::clean), level(Channel::right, -12.31, ToneState::clean)};
    snapshot.levels[0].level_v = 1.846, snapshot.levels[0].level_dbv = 5.324;
    snapshot.steps = {step(30), step(31)};
    snapshot.ceiling = LiveCeiling{step(31), false};
    snapshot.headline = "volume 31 is clean";
    snapshot.next = "Turn it up one.";
    return snapshot;
}

LiveSnapshot follow(double change_db) {
    LiveSnapshot snapshot;
    snapshot.task = LiveTask::follow;
    snapshot.state = LiveState::running;
    snapshot.follow = LiveFollow{.name = "alternator whine", .calibrated = true, .frequency_hz = 1187.4, .level_db = -48.2, .lowest_db = -52.0,
                                 .start_db = -48.2 - change_db, .change_db = change_db, .sd_db = 0.2};
    return snapshot;
}

std::string text_of(const ScreenGrid& grid) {
    std::string text;
    for (int row = 0; row < grid.rows(); ++row) text += grid.line(row) + "\n";
    return text;
}

std::string shown(const LiveSnapshot& snapshot, int rows = 24, int columns = 80) {
    return text_of(live_screen(snapshot, {.rows = rows, .columns = columns}));
}

bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

/// Large text as rows, to be looked for on a screen.
std::vector<std::string> large(const std::string& text, int rows) {
    ScreenGrid grid(rows, large_width(text, rows));
    put_large(grid, 0, 0, text, rows, Tint::plain);
    std::vector<std::string> lines;
    for (int row = 0; row < rows; ++row) lines.push_back(grid.line(row));
    return lines;
}

/// Whether the rows of a large text stand under each other somewhere.
bool stands_large(const LiveSnapshot& snapshot, const std::string& text, int rows, int screen_rows = 24, int columns = 80) {
    const ScreenGrid grid = live_screen(snapshot, {.rows = screen_rows, .columns = columns});
    ScreenGrid wanted(rows, large_width(text, rows));
    put_large(wanted, 0, 0, text, rows, Tint::plain);
    for (int top = 0; top + rows <= grid.rows(); ++top)
        for (int left = 0; left + wanted.columns() <= grid.columns(); ++left) {
            bool same = true;
            for (int y = 0; y < rows && same; ++y)
                for (int x = 0; x < wanted.columns() && same; ++x) same = grid.at(top + y, left + x).symbol == wanted.at(y, x).symbol;
            if (same) return true;
        }
    return false;
}

/// The same in whatever size.
bool stands_large(const LiveSnapshot& snapshot, const std::string& text) {
    for (const int rows : {5, 7, 10, 15})
        if (stands_large(snapshot, text, rows)) return true;
    return false;
}

}  // namespace

TEST_CASE("large digits can't be taken for one another", "[live][screen]") {
    for (const int rows : {5, 6, 7, 10, 14, 15, 20}) {
        std::set<std::vector<std::string>> seen;
        for (char digit = '0'; digit <= '9'; ++digit) {
            const auto lines = large(std::string(1, digit), rows);
            CHECK(lines.size() == static_cast<std::size_t>(rows));
            CHECK(!lines.front().empty());
            CHECK(!lines.back().empty());  // they use their whole height
            seen.insert(lines);
            CHECK(large_width(std::string(1, digit), rows) == large_width("0", rows));  // figures don't jump about
        }
        CHECK(seen.size() == 10);
    }
}

TEST_CASE("a large letter's strokes keep their thickness when it grows", "[live][screen]") {
    // An 'I' is one stroke: so many columns wide; an 'L' ends in a stroke so many rows tall, half as many as it is wide.
    for (const int rows : {5, 9, 10, 14, 15}) {
        const int thick = rows / 5;
        CHECK(large_width("I", rows) == 2 * thick);
        const auto lines = large("L", rows);
        const auto foot = std::count(lines.begin(), lines.end(), lines.back());
        CHECK(foot == thick);
    }
    CHECK(has_large_letters("-12.34 dB"));
    CHECK_FALSE(has_large_letters("1e+300"));
    CHECK(large_width("", 5) == 0);
}

TEST_CASE("all that a hand at the knob needs stands on 80 by 24", "[live][screen]") {
    const std::string text = shown(gain());
    for (const char* part : {"Estate", "997 Hz", "level now, left", "5.32 dBV", "THD 0.012 %", "volume 31 is clean", "Turn it up one.",
                             "clean so far: volume 31, 1.846 V", "peak -12.3 dBFS", "right", "steps: 30 to 31 clean", "q: end"})
        CHECK(has(text, part));
    CHECK(stands_large(gain(), "1.846", 7));
    CHECK(stands_large(gain(), "V", 7));
    CHECK(stands_large(gain(), "31", 7));
    CHECK(stands_large(gain(), "CLEAN", 5));
    CHECK_FALSE(stands_large(gain(), "DISTORTED", 5));
}

TEST_CASE("the worst channel is the one that is shown", "[live][screen]") {
    LiveSnapshot snapshot = gain();
    snapshot.levels[1].tone = ToneState::distorted;
    snapshot.ceiling->final = true;
    CHECK(has(shown(snapshot), "level now, right"));
    CHECK(has(shown(snapshot), "CEILING: volume 31"));
    CHECK(stands_large(snapshot, "DISTORTED", 5));
    CHECK(stands_large(snapshot, "-12.31", 7));  // not calibrated: dBFS
    snapshot.levels[0].tone = ToneState::overloaded;
    CHECK(stands_large(snapshot, "OVERLOAD", 5));
    CHECK(tone_of_all(snapshot) == ToneState::overloaded);
    snapshot.levels.clear();
    CHECK(stands_large(snapshot, "NO TONE"));
}

TEST_CASE("which way the knob should go is an arrow as large as the word", "[live][screen]") {
    LiveSnapshot snapshot = gain();
    CHECK_FALSE(stands_large(snapshot, "^"));
    snapshot.move = LiveMove::up;
    CHECK(stands_large(snapshot, "^", 5));
    CHECK(has(shown(snapshot, 15, 40), "turn ↑"));
    snapshot.levels[0].tone = ToneState::distorted;  // the longest word leaves room for it
    snapshot.move = LiveMove::back;
    CHECK(stands_large(snapshot, "v", 5));
    CHECK_FALSE(stands_large(snapshot, "^"));
    CHECK(stands_large(snapshot, "DISTORTED", 5));
    snapshot = gain();
    snapshot.move = LiveMove::stay;
    CHECK(stands_large(snapshot, "CEILING", 5));
    snapshot.state = LiveState::ended;
    CHECK_FALSE(stands_large(snapshot, "CEILING"));
}

TEST_CASE("figures that differ by little don't make the screen jump between channels", "[live][screen]") {
    LiveSnapshot snapshot = gain();
    for (const double other_dbfs : {-12.0, -13.0, -11.4}) {
        snapshot.levels[1].level_dbfs = other_dbfs;
        CHECK(leading_level(snapshot)->channel == Channel::left);
    }
    snapshot.levels[1].level_dbfs = -11.2;
    CHECK(leading_level(snapshot)->channel == Channel::right);
}

TEST_CASE("colour never stands alone: each ground has its own words", "[live][screen]") {
    std::set<std::string> words;
    for (const ToneState state : {ToneState::absent, ToneState::moving, ToneState::clean, ToneState::distorted, ToneState::unsure,
                                  ToneState::overloaded})
        words.insert(std::string(tone_word(state)));
    CHECK(words.size() == 6);
}

TEST_CASE("a followed noise shows its change large, and whether that is more than chance", "[live][screen]") {
    const std::string text = shown(follow(-12.3));
    for (const char* part :
         {"change against the start, dB", "level now, dBV", "lowest -52.0 dBV", "start -35.9 dBV", "at 1187.4 Hz", "alternator whine"})
        CHECK(has(text, part));
    CHECK(stands_large(follow(-12.3), "-12.3"));
    CHECK(stands_large(follow(-12.3), "-48.2"));
    CHECK(stands_large(follow(-12.3), "QUIETER"));
    CHECK(stands_large(follow(3.0), "LOUDER"));
    CHECK(stands_large(follow(3.0), "+3.0"));
    CHECK(stands_large(follow(0.9), "SAME"));
    LiveSnapshot unsure = follow(-2.0);
    unsure.follow->sd_db = 1.5;  // two of them are more than the change
    CHECK(stands_large(unsure, "SAME"));
}

TEST_CASE("what other noise covers is told as at most, and as quieter only where that says so", "[live][screen]") {
    LiveSnapshot covered = follow(-0.5);
    covered.follow->at_most = true;
    CHECK(stands_large(covered, "HIDDEN"));
    CHECK(stands_large(covered, "<-0.5"));
    covered = follow(-20.0);
    covered.follow->at_most = true;
    CHECK(stands_large(covered, "QUIETER"));
    covered = follow(5.0);
    covered.follow->at_most = true;  // at most 5 dB louder says nothing
    CHECK(stands_large(covered, "HIDDEN"));
    LiveSnapshot unheard = follow(0);
    unheard.follow->level_db = unheard.follow->change_db = std::nullopt;
    CHECK(stands_large(unheard, "LISTENING"));
    LiveSnapshot unbegun = follow(0);
    unbegun.follow->change_db = unbegun.follow->start_db = std::nullopt;
    CHECK(stands_large(unbegun, "NO START"));
    CHECK(stands_large(unbegun, "-48.2"));
}

TEST_CASE("what makes a comparison unfair is told", "[live][screen]") {
    LiveSnapshot snapshot = follow(-12.3);
    CHECK(has(shown(snapshot), "settling"));
    snapshot.follow->steady = true;
    CHECK(has(shown(snapshot), "steady"));
    CHECK_FALSE(has(shown(snapshot), "engine"));
    snapshot.follow->speed_change = -0.31;
    CHECK(has(shown(snapshot), "engine -31 %"));
    snapshot.follow->lowest_at_most = true;
    CHECK(has(shown(snapshot), "lowest, at most -52.0 dBV"));
    snapshot.follow->change_sd_db = 8.0;
    CHECK(stands_large(snapshot, "SAME"));
    snapshot.follow->looking = true;
    CHECK(stands_large(snapshot, "LOOKING"));
}

TEST_CASE("a link that delivers nothing and an end for a reason are told before any figure", "[live][screen]") {
    const std::string text = text_of(live_screen(gain(), {.unheard_s = 4.0}));
    CHECK(has(text, "no sound has come for 4 s"));
    CHECK_FALSE(has(text_of(live_screen(gain(), {.unheard_s = 0.3})), "no sound"));
    LiveSnapshot lost = gain();
    lost.state = LiveState::ended;
    lost.failure = "the device is gone";
    CHECK(has(shown(lost), "the device is gone"));
    CHECK(stands_large(lost, "ENDED", 5));
}

TEST_CASE("any size shows something, and nothing that comes in can do harm", "[live][screen]") {
    LiveSnapshot hostile = gain();
    const double nan = std::numeric_limits<double>::quiet_NaN(), much = std::numeric_limits<double>::infinity();
    hostile.title = "\x1b]0;mine\x07 \x9b" "2J\xC3\x28 車車 e\u0301" + std::string(400, 'w');
    hostile.next = std::string(1000, 'n') + "\n\x1b[2J";
    hostile.headline = "\r\b\x7f";
    hostile.levels[0].level_v = nan, hostile.levels[0].thd_percent = -much;
    hostile.levels[1].level_dbfs = much, hostile.levels[1].peak_dbfs = -much;
    for (int i = 0; i < 40; ++i) hostile.levels.push_back(hostile.levels[0]), hostile.steps.push_back(step(i % 2 ? 1e300 : nan));
    hostile.time_s = nan;
    LiveSnapshot strange = follow(much);
    strange.follow->level_db = 1e300, strange.follow->frequency_hz = nan, strange.follow->name = "\x1b[5m";
    for (const LiveSnapshot& snapshot : {gain(), follow(-3.0), hostile, strange, LiveSnapshot{}})
        for (int rows = 1; rows <= 60; rows += rows < 26 ? 1 : 7)
            for (const int columns : {1, 2, 7, 19, 20, 33, 40, 79, 80, 132, 300})
                for (const bool unicode : {true, false}) {
                    const ScreenGrid grid = live_screen(snapshot, {.rows = rows, .columns = columns, .unicode = unicode});
                    REQUIRE(grid.rows() == rows);
                    REQUIRE(grid.columns() == columns);
                    for (int row = 0; row < rows; ++row) {
                        const std::string line = grid.line(row);
                        REQUIRE(line == clean_text(line));  // no control characters, no broken UTF-8
                        REQUIRE(display_width(line) <= static_cast<std::size_t>(columns));
                        if (!unicode)
                            REQUIRE(std::all_of(line.begin(), line.end(), [](char c) { return c >= ' ' && c <= '~'; }));
                    }
                }
    CHECK(has(shown(gain(), 1, 12), "CLEAN"));
}

TEST_CASE("a small terminal keeps what matters: the level, the word, what to do, the keys", "[live][screen]") {
    const std::string text = shown(gain(), 15, 40);
    for (const char* part : {"CLEAN", "Turn it up one.", "clean so far: volume 31", "THD 0.012 %", "I turned it up one"}) CHECK(has(text, part));
    CHECK(stands_large(gain(), "1.846", 5, 15, 40));
    const std::string tiny = shown(gain(), 4, 30);
    for (const char* part : {"CLEAN 1.846 V", "Turn it up one."}) CHECK(has(tiny, part));
}

TEST_CASE("a large terminal makes the figures larger, and lists the steps", "[live][screen]") {
    CHECK(stands_large(gain(), "1.846", 10, 50, 160));
    CHECK(stands_large(gain(), "CLEAN", 10, 50, 160));
    const std::string text = shown(gain(), 50, 160);
    CHECK(has(text, "volume 31      1.846 V"));
    CHECK(text.find("volume 31      1.846 V") < text.find("volume 30      1.846 V"));  // the newest first
}

TEST_CASE("a long sentence of what to do is told whole where there is room", "[live][screen]") {
    LiveSnapshot snapshot = gain();
    snapshot.next =
        "The interface runs against its end: put the 10 dB pad in, calibrate again, then turn the volume back to where it was before and start.";
    std::string text = shown(snapshot);
    for (char& c : text)
        if (c == '\n') c = ' ';
    for (const char* word : {"interface", "calibrate", "before", "start."}) CHECK(has(text, word));
    CHECK(has(text, "q: end"));
}

TEST_CASE("steps beside each other with the same word are told as one", "[live][screen]") {
    LiveSnapshot snapshot = gain();
    snapshot.steps = {step(28), step(29), step(30), step(31, ToneState::distorted), step(30)};
    CHECK(has(shown(snapshot), "steps: 28 to 30 clean, 31 distorted, 30 clean"));
}

TEST_CASE("a wide letter is never cut in half", "[live][screen]") {
    ScreenGrid grid(1, 5);
    CHECK(grid.put(0, 0, "ab車c") == 5);
    CHECK(grid.line(0) == "ab車c");
    grid.put_symbol(0, 3, U'x', Tint::plain);  // onto its right half
    CHECK(grid.line(0) == "ab xc");
    ScreenGrid narrow(1, 3);
    narrow.put(0, 0, "ab車");
    CHECK(display_width(narrow.line(0)) <= 3);
}

TEST_CASE("figures keep their decimals while they move, and have no sign at zero", "[live][screen]") {
    CHECK(volts_figure(1.8461).text() == "1.846 V");
    CHECK(volts_figure(12.345).text() == "12.35 V");
    CHECK(volts_figure(0.0846).text() == "84.6 mV");
    CHECK(volts_figure(0.00012).text() == "0.120 mV");
    CHECK(volts_figure(std::nan("")).text() == "- V");
    CHECK(decibel_figure(-std::numeric_limits<double>::infinity(), "dBFS").text() == "silent");
    CHECK(decibel_figure(-0.001, "dB").text() == "0.00 dB");
    CHECK(change_figure(0.04).text() == "0.0 dB");
    CHECK(change_figure(3.25).value.front() == '+');
    CHECK(percent_text(0.0123) == "0.012 %");
    CHECK(percent_text(12.3) == "12 %");
    CHECK(clock_text(3723.9) == "1:02:03");
    CHECK(clock_text(std::nan("")) == "-");
}

TEST_CASE("keys ask for what the line at the foot says", "[live][screen]") {
    const LiveSnapshot turning = gain(), following = follow(-3.0);
    LiveSnapshot waiting = gain();
    waiting.state = LiveState::waiting;
    CHECK(request_of_key(key_up, turning) == LiveRequest::stepped_up);
    CHECK(request_of_key('+', turning) == LiveRequest::stepped_up);
    CHECK(request_of_key(key_down, turning) == LiveRequest::stepped_down);
    CHECK(request_of_key('-', turning) == LiveRequest::stepped_down);
    CHECK(request_of_key(' ', waiting) == LiveRequest::start);
    CHECK(request_of_key(' ', following) == LiveRequest::reference);
    CHECK(request_of_key('k', following) == LiveRequest::keep);
    CHECK(request_of_key('a', following) == LiveRequest::arm);
    CHECK(request_of_key('m', following) == LiveRequest::mark);
    CHECK(request_of_key('q', following) == LiveRequest::stop);
    CHECK_FALSE(request_of_key(key_up, following));
    CHECK_FALSE(request_of_key('a', turning));
    CHECK_FALSE(request_of_key('x', turning));
    CHECK(request_of_key('k', turning) == LiveRequest::keep);  // the session tells why it keeps nothing
    CHECK(has(keys_text(following, 80), "k: keep"));
    CHECK_FALSE(has(keys_text(turning, 80), "keep"));
    CHECK(has(keys_text(turning, 80), "m: mark"));
    CHECK(has(keys_text(waiting, 80), "space: start"));
    CHECK_FALSE(has(keys_text(waiting, 80), "turn"));  // where the knob stands is not known
    waiting.volume = 20;
    CHECK(has(keys_text(waiting, 80), "I turned it up one"));
    CHECK_FALSE(has(keys_text(waiting, 80), "turn the knob"));
    waiting.turns_volume = true;
    CHECK(has(keys_text(waiting, 80), "turn the knob"));
    CHECK(has(keys_text(waiting, 80, true), "p: phone"));
    LiveSnapshot simulated = turning;
    simulated.turns_volume = true;
    CHECK(has(keys_text(simulated, 80), "turn the knob"));
    CHECK(has(keys_text(simulated, 80, true), "p: phone"));
    CHECK(has(keys_text(following, 80), "space: new start"));
    CHECK(keys_text(turning, 10).empty());
    CHECK_FALSE(has(keys_text(turning, 80), "p: phone"));
    CHECK(has(keys_text(turning, 80, true), "p: phone"));
}
