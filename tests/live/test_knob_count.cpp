#include <catch2/catch.hpp>

#include <string>
#include <vector>

#include "hushtrace/live/knob_count.hpp"

using namespace hushtrace;

namespace {

using Volumes = std::vector<std::optional<double>>;

/// An evening at the knob: 'r' a rest began (louder), 'q' (quieter), 'u' "up one", 'd' "down one", one a second; '.' a
/// second passes, '-' a fifth of one.
KnobCount played(const std::string& script, std::optional<double> start = 20, std::optional<double> top = std::nullopt) {
    KnobCount knob(start, 1, top);
    double now_s = 0;
    for (const char c : script) {
        now_s += c == '-' ? 0.2 : c == '.' ? 1.0 : 0.1;
        if (c == 'r' || c == 'q') knob.rested(now_s, c == 'r');
        if (c == 'u') knob.said_up(now_s);
        if (c == 'd') knob.said_down(now_s);
        knob.at(now_s);
    }
    return knob;
}

}  // namespace

TEST_CASE("what was said labels the rest that it was said in, or the next", "[knob]") {
    struct Row {
        const char *what, *script;
        Volumes volumes;
    };
    for (const Row& row : {
             Row{"said after turning", "r..r.u..r.u..", {20, 21, 22}},
             Row{"said before turning", "r..u.r..u.r..", {20, 21, 22}},
             Row{"both ways mixed", "r..r.u..u.r..r.u", {20, 21, 22, 23}},
             Row{"two steps in one movement, said after", "r..r.u-u..r.u..", {20, 22, 23}},
             Row{"two steps in one movement, said before", "r..u-u.r..r.u..", {20, 22, 23}},
             Row{"one back", "r..r.u..q.d..", {20, 21, 20}},
             Row{"not said yet", "r..r.", {20, std::nullopt}},
         }) {
        INFO(row.what);
        CHECK(played(row.script).volumes() == row.volumes);
        CHECK_FALSE(played(row.script).doubtful());
    }
}

TEST_CASE("a step that nobody spoke for makes the count doubtful until it is spoken for", "[knob]") {
    CHECK(played("r..r..r.u.").doubtful());
    CHECK(played("r..r..r.u.").volumes() == Volumes{20, std::nullopt, 21});
    const KnobCount late = played("r..r..r.u..u....");  // the second word finds no turn of its own
    CHECK_FALSE(late.doubtful());
    CHECK(late.volumes() == Volumes{20, std::nullopt, 22});
    // overshoot and back: one step was meant, one was said
    CHECK_FALSE(played("r..r.q..u.").doubtful());
}

TEST_CASE("a step that changed nothing in the sound is one all the same", "[knob]") {
    CHECK(played("r..r.u..u....").volumes() == Volumes{20, 21, 22});
    KnobCount turned(20, 1, std::nullopt);
    turned.turned_to(20, 0);
    turned.rested(0.1, true);
    turned.turned_to(21, 3.0);
    CHECK_FALSE(turned.at(4.0));
    CHECK(turned.at(4.6));
    CHECK_FALSE(turned.at(5.0));
    CHECK(turned.volumes() == Volumes{20, 21});
}

TEST_CASE("words from before the beginning say where the knob stands, and wait for nothing", "[knob]") {
    KnobCount knob(20, 1, std::nullopt);
    knob.said_up(7.0);
    knob.said_up(9.5);
    knob.begun();  // time starts anew
    CHECK_FALSE(knob.waits());
    CHECK(knob.place() == 22);
    knob.rested(0.2, true);
    knob.at(0.3);
    knob.said_up(1.0);  // before the turn, and no second word of one movement
    knob.at(1.1);
    knob.rested(1.5, true);
    knob.at(9.0);
    CHECK(knob.volumes() == Volumes{22, 23});
    CHECK_FALSE(knob.doubtful());
}

TEST_CASE("a link's turns label rests by their time", "[knob]") {
    KnobCount knob(20, 1, std::nullopt);
    knob.turned_to(22, 1.0);
    knob.turned_to(23, 2.5);
    knob.rested(1.02, true);
    knob.rested(2.48, true);  // found a frame early
    CHECK(knob.volumes() == Volumes{22, 23});
    CHECK(knob.place() == 23);
}

TEST_CASE("a knob stays on its scale, and without a start nothing is counted", "[knob]") {
    CHECK(played("r..u..u.u..u", 38, 40).place() == 40);
    CHECK(played("r..d..d.d..d", 1).place() == 0);
    const KnobCount none = played("r..u.r.u", std::nullopt);
    CHECK_FALSE(none.counts());
    CHECK(none.volumes() == Volumes{std::nullopt, std::nullopt});
    KnobCount(20, 1, std::nullopt).merged();  // nothing to join: nothing happens
}
