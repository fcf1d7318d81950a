#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../../src/diagnose/entry/entry_model.hpp"
#include "diagnose/entry_outcomes.hpp"

using namespace hushtrace;
using namespace hushtrace::entry_outcomes;

namespace {

using W = EntryWay;
using T = EntryTest;

double below(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }
double bell(double x, double sd) { return std::exp(-0.5 * x * x / (sd * sd)) / (sd * std::sqrt(2 * std::numbers::pi)); }
double power(double db) { return std::pow(10, db / 10); }

double chance(const EntryPosterior& posterior, W first, std::optional<W> second = std::nullopt) {
    for (const EntrySet& set : posterior.sets)
        if (set.first == first && set.second == second) return set.probability;
    return 0;
}
/// Nothing is known of where: no way is out of place, and the source's own works are as likely as the rest.
EntryQuestion open_question() {
    EntryQuestion question;
    question.follows_engine = false;
    question.place_known = false;
    return question;
}
/// By how much an outcome moves the odds of one set against another.
using Ways = std::pair<W, std::optional<W>>;
double moved(const EntryOutcome& outcome, Ways one, Ways other, const EntryQuestion& question = open_question()) {
    const EntryPosterior before = entry_posterior(question, {}), after = entry_posterior(question, {outcome});
    return chance(after, one.first, one.second) / chance(after, other.first, other.second) /
           (chance(before, one.first, one.second) / chance(before, other.first, other.second));
}
double alone(const EntryOutcome& outcome, W one, W other, const EntryQuestion& question = open_question()) {
    return moved(outcome, {one, std::nullopt}, {other, std::nullopt}, question);
}
/// 3 % of tests show what nothing in the tables explains, anywhere over 60 dB (of meters a tenth of that).
double density(double change, double mean, double sd, double over = 60) { return 0.97 * bell(change - mean, sd) + 0.03 / over; }
const std::vector<double> kOver_db = {-8, -4, 0, 4, 8};   // the first way's power over the second's
double share_at(double over_db) { return power(over_db) / (1 + power(over_db)); }

}  // namespace

TEST_CASE("before any test each path has a tenth of what one way has, and pairs have a fifth in all", "[entry]") {
    const EntryPosterior prior = entry_posterior(open_question(), {});
    CHECK(chance(prior, W::ground_loop) == Approx(0.08));
    CHECK(chance(prior, W::speaker_side) == Approx(0.08));
    for (const W pickup : {W::pickup_loop, W::pickup_lead, W::pickup_capacitive}) CHECK(chance(prior, pickup) == Approx(0.08 / 3));
    // ten paths make 45 pairs of a hundredth each
    CHECK(chance(prior, W::ground_loop, W::antenna_lead) == Approx(0.2 / 45));
    CHECK(chance(prior, W::ground_loop, W::pickup_lead) == Approx(0.2 / 135));
    CHECK(chance(prior, W::pickup_loop, W::pickup_lead) == 0);   // one path
    CHECK(prior.sets.size() == 12 + 66 - 3);
    CHECK(std::is_sorted(prior.sets.begin(), prior.sets.end(), [](const auto& a, const auto& b) { return a.probability > b.probability; }));
    REQUIRE(prior.by_share.size() == prior.sets.size());
    for (std::size_t s = 0; s < prior.sets.size(); ++s) {
        CHECK(prior.by_share[s].size() == (prior.sets[s].second ? 5U : 1U));
        for (const double one : prior.by_share[s]) CHECK(one == Approx(prior.sets[s].probability / static_cast<double>(prior.by_share[s].size())));
    }
    for (std::size_t x = 0; x < kShares; ++x) CHECK(first_share(x) == Approx(share_at(kOver_db[x])));
}

TEST_CASE("what is known of a noise makes ways less likely before any test", "[entry]") {
    EntryQuestion question = open_question();
    const auto over_loop = [&question](W way, std::optional<W> second = std::nullopt) {
        const EntryPosterior prior = entry_posterior(question, {});
        return chance(prior, way, second) / chance(prior, W::ground_loop);
    };
    question.follows_engine = true;
    CHECK(over_loop(W::source_internal) == Approx(0.3));
    question.set_up_apart = true;
    CHECK(over_loop(W::measuring_setup) == Approx(0.1));
    question = open_question();
    question.place_known = true;   // there at the input: nothing behind it by itself, but one there beside one before it
    CHECK(over_loop(W::amplifier_internal) == Approx(1e-4));
    CHECK(over_loop(W::ground_loop, W::amplifier_internal) == Approx(over_loop(W::ground_loop, W::antenna_lead)));
    CHECK(over_loop(W::amplifier_internal, W::speaker_side) == Approx(1e-4 * over_loop(W::ground_loop, W::antenna_lead)));
    question.at_the_input = false;   // not there: what comes before it hides beside what comes behind
    CHECK(1 / over_loop(W::amplifier_internal) == Approx(1e-4));
    const EntryPosterior behind = entry_posterior(question, {});
    const double both = chance(behind, W::amplifier_internal, W::speaker_side);
    CHECK(chance(behind, W::ground_loop, W::amplifier_internal) == Approx(0.02 * both));
    CHECK(chance(behind, W::ground_loop, W::antenna_lead) == Approx(1e-4 * both));
}

TEST_CASE("a change that was read moves the odds by the normal laws of the tables", "[entry]") {
    // docs/entry-paths.md: the strap lowers a ground loop by 8 dB (sd 4), noise of the antenna by 6 (4), of a lead not at all (1.5)
    const EntryOutcome strap = read(T::temporary_ground, -9, 3);
    CHECK(alone(strap, W::ground_loop, W::antenna_lead) == Approx(density(-9, -8, 5) / density(-9, -6, 5)));
    CHECK(alone(strap, W::ground_loop, W::pickup_lead) == Approx(density(-9, -8, 5) / density(-9, 0, std::hypot(1.5, 3.0))));
    // two laws of which either may hold: the amplifier's own battery takes what comes through its supply to the floor, or leaves it
    const double floor = 0.5 * bell(-20 + 31, std::hypot(6.0, 2.0)), same = 0.5 * bell(-20, 2.5);
    CHECK(alone(read(T::amp_on_own_battery, -20), W::amplifier_internal, W::source_internal) ==
          Approx((0.97 * (floor + same) + 0.03 / 60) / density(-20, 0, 2.5)));
    // meters: log10 of volts, over 6 of which a wrong one may lie
    const EntryOutcome drop = read(T::ground_drop, -0.7, 0.1);
    const double sd = std::hypot(0.5, 0.1);
    CHECK(alone(drop, W::ground_loop, W::pickup_lead) == Approx(density(-0.7, -1.2, sd, 6) / density(-0.7, -1.7, sd, 6)));
    // of what a test says nothing of, the chances stay
    const EntryPosterior before = entry_posterior(open_question(), {}), after = entry_posterior(open_question(), {read(T::device_unplugged, -20)});
    for (std::size_t s = 0; s < before.sets.size(); ++s) CHECK(after.sets[s].probability == Approx(before.sets[s].probability));
}

TEST_CASE("what isn't found any more, and what the ear says, move the odds by the chance of that", "[entry]") {
    const auto gone = [](double mean, double sd, double missed) { return 0.97 * (missed + (1 - missed) * below((-20 - mean) / sd)) + 0.015; };
    for (const double missed : {0.0, 0.25})
        CHECK(alone(bounded(T::temporary_ground, -20, 3, missed), W::ground_loop, W::pickup_lead) ==
              Approx(gone(-8, 5, missed) / gone(0, std::hypot(1.5, 3.0), missed)));
    // gone from 15 dB on, quieter from 3, louder from 3; the ear is good to 1.5 dB
    const auto word = [](double from, double to, double mean, double sd) {
        return 0.97 * (below((to - mean) / std::hypot(sd, 1.5)) - below((from - mean) / std::hypot(sd, 1.5))) + 0.0075;
    };
    struct Word {
        const char* word;
        double from, to;
    };
    for (const Word& one : {Word{"gone", -1e3, -15}, Word{"quieter", -15, -3}, Word{"same", -3, 3}, Word{"louder", 3, 1e3}}) {
        INFO(one.word);
        CHECK(alone(heard(T::temporary_ground, one.word), W::ground_loop, W::pickup_lead) ==
              Approx(word(one.from, one.to, -8, 4) / word(one.from, one.to, 0, 1.5)));
    }
    CHECK(alone(heard(T::temporary_ground, "odd"), W::ground_loop, W::pickup_lead) == Approx(1));
}

TEST_CASE("two ways leave their powers' sum, whatever share each has", "[entry]") {
    // the antenna pulled: its part falls to the floor (-31 dB, sd 6), the loop's stays (sd 1.5); either share is as likely as another
    const Ways pair{W::ground_loop, W::antenna_lead}, loop{W::ground_loop, std::nullopt};
    double likely = 0;
    for (const double over_db : kOver_db) {
        const double a = share_at(over_db), b = (1 - share_at(over_db)) * power(-31), sum = a + b;
        likely += 0.2 * density(-5, 10 * std::log10(sum), std::hypot(std::hypot(a / sum * 1.5, b / sum * 6), 2.0));
    }
    CHECK(moved(read(T::antenna_unplugged, -5), pair, loop) == Approx(likely / density(-5, 0, 2.5)));
    const EntryPosterior after = entry_posterior(open_question(), {read(T::antenna_unplugged, -5)});
    for (std::size_t s = 0; s < after.sets.size(); ++s)
        if (after.sets[s].first == W::ground_loop && after.sets[s].second == W::antenna_lead)
            CHECK(std::max_element(after.by_share[s].begin(), after.by_share[s].end()) == after.by_share[s].begin() + 1);   // 0.28 are left, -5.5 dB
    // both parts fall by the strap, one by 8 dB and the other by 6 (sd 4 each)
    double strapped = 0;
    for (const double over_db : kOver_db) {
        const double a = share_at(over_db) * power(-8), b = (1 - share_at(over_db)) * power(-6), sum = a + b;
        strapped += 0.2 * density(-9, 10 * std::log10(sum), std::hypot(std::hypot(a / sum * 4, b / sum * 4), 1.0));
    }
    CHECK(moved(read(T::temporary_ground, -9, 1), pair, loop) == Approx(strapped / density(-9, -8, std::hypot(4.0, 1.0))));
    // the meter reads the greater fault: of a loop (-1.2) beside the antenna (-1.6) the loop's
    CHECK(moved(read(T::ground_drop, -0.9, 0.1), pair, loop) == Approx(1));
    CHECK(moved(read(T::ground_drop, -0.9, 0.1), {W::source_supply, W::antenna_lead}, {W::antenna_lead, std::nullopt}) == Approx(1));
    // a level strays by its share of each part's straying: a contact by 3 dB (sd 2), others by 0.4 (0.4)
    double strays = 0;
    for (const double over_db : kOver_db) {
        const double a = share_at(over_db), b = 1 - a;
        strays += 0.2 * density(1.5, a * 0.4 + b * 3, std::hypot(std::hypot(a * 0.4, b * 2.0), 0.3));
    }
    CHECK(moved(read(T::level_wanders, 1.5, 0.3), {W::ground_loop, W::contact}, loop) == Approx(strays / density(1.5, 0.4, 0.5)));
    // sides: each way's law by its share; all alike here: loop 1.5, source's works 4 dB
    double sides = 0;
    for (const double over_db : kOver_db) {
        const double a = share_at(over_db);
        sides += 0.2 * (0.97 * (a * bell(5, std::hypot(1.5, 2.0)) + (1 - a) * bell(5, std::hypot(4.0, 2.0))) + 0.03 / 60);
    }
    CHECK(moved(read(T::left_against_right, 5), {W::ground_loop, W::source_internal}, loop) == Approx(sides / density(5, 0, 2.5)));
}

TEST_CASE("at the input what comes from behind it isn't seen; at the output it is", "[entry]") {
    EntryQuestion question = open_question();
    question.place_known = true;
    const Ways both{W::ground_loop, W::amplifier_internal}, loop{W::ground_loop, std::nullopt};
    EntryOutcome fell = read(T::temporary_ground, -9, 3);
    CHECK(moved(fell, both, loop, question) == Approx(1));
    CHECK(moved(fell, {W::amplifier_internal, W::speaker_side}, {W::speaker_side, std::nullopt}, question) == Approx(1));
    fell.at_output = true;
    CHECK(moved(fell, both, loop, question) < 0.9);
    fell.at_output = false;
    CHECK(moved(fell, both, loop) < 0.9);   // nobody looked
    EntryOutcome ear = heard(T::temporary_ground, "quieter");
    CHECK(moved(ear, both, loop, question) == Approx(1));
    CHECK(moved(heard(T::shorted_at_amp, "gone"), both, loop, question) < 0.9);   // the ear hears both
}

TEST_CASE("of tests made together each takes its part away, and the floor is the floor", "[entry]") {
    EntryOutcome both = read(T::temporary_ground, -12, 3);
    both.also = {T::source_shell_link};
    // a loop falls by 8 and 0 dB, the antenna by 6 and 0
    const double sd = std::hypot(std::hypot(4.0, 1.5), 3.0);
    CHECK(alone(both, W::ground_loop, W::antenna_lead) == Approx(density(-12, -8, sd) / density(-12, -6, sd)));
    both.also = {T::antenna_unplugged};   // the antenna to the floor, and no deeper for the strap
    CHECK(alone(both, W::ground_loop, W::antenna_lead) == Approx(density(-12, -8, sd) / density(-12, -31, std::hypot(6.0, 3.0))));
    EntryOutcome other = read(T::antenna_unplugged, -12, 3);   // in whichever order
    other.also = {T::temporary_ground};
    CHECK(alone(other, W::ground_loop, W::antenna_lead) == Approx(alone(both, W::ground_loop, W::antenna_lead)));
    EntryOutcome nothing = read(T::temporary_ground, -12, 3);
    nothing.also = {T::device_unplugged};   // which says nothing of noise that turns with no engine
    CHECK(alone(nothing, W::ground_loop, W::antenna_lead) == Approx(density(-12, -8, 5) / density(-12, -6, 5)));
    EntryOutcome turned = read(T::device_unplugged, -12, 3);
    turned.also = {T::temporary_ground};
    CHECK(alone(turned, W::ground_loop, W::antenna_lead) == Approx(density(-12, -8, 5) / density(-12, -6, 5)));
}

TEST_CASE("what an outcome weighs is by how much it moves a set's odds", "[entry]") {
    const auto odds = [](double p) { return p / (1 - p); };
    for (const EntryOutcome& outcome : {read(T::temporary_ground, -9, 3), bounded(T::isolator, -25), heard(T::antenna_unplugged, "gone")}) {
        const EntryPosterior before = entry_posterior(open_question(), {}), after = entry_posterior(open_question(), {outcome});
        for (const auto& [first, second] : {Ways{W::ground_loop, std::nullopt}, {W::antenna_lead, std::nullopt},
                                            {W::ground_loop, W::antenna_lead}}) {
            EntrySet set{first, second, 0};
            const double wanted = std::log(odds(chance(after, first, second)) / odds(chance(before, first, second)));
            CHECK(weight_of(open_question(), set, outcome) == Approx(wanted));
        }
    }
    CHECK(weight_of(open_question(), {W::ground_loop, std::nullopt, 0}, read(T::device_unplugged, -20)) == Approx(0).margin(1e-12));
}

TEST_CASE("a test is worth the information between its outcome and the ways", "[entry]") {
    // two ways as likely as each other: an isolator takes one to the floor (-31 dB, sd 6), and leaves the other (sd 1.5); read to 2.5 dB
    EntryPosterior two;
    two.sets = {{W::ground_loop, std::nullopt, 0.5}, {W::pickup_lead, std::nullopt, 0.49995}, {W::contact, std::nullopt, 0.00005}};
    two.by_share = {{0.5}, {0.49995}, {0.00005}};   // the third is too improbable to count
    const std::vector<double> edges = {-1e3, -18, -9, -4, 4, 9, 20, 1e3};
    const auto in_bin = [&](std::size_t b, double mean, double sd) {
        return 0.97 * (below((edges[b + 1] - mean) / std::hypot(sd, 2.5)) - below((edges[b] - mean) / std::hypot(sd, 2.5))) + 0.03 / 7;
    };
    const auto worth = worth_of_tests(open_question(), two, {T::isolator}, false, {});
    REQUIRE(worth.size() == 1);
    CHECK(worth[0].test == T::isolator);
    CHECK(worth[0].minutes == 3);
    double bits = 0;
    const char* words[] = {"gone", "9 to 18 dB quieter", "4 to 9 dB quieter", "the same", "4 to 9 dB louder", "9 to 20 dB louder",
                           "20 dB louder and more"};
    REQUIRE(worth[0].branches.size() == 7);
    for (std::size_t b = 0; b < 7; ++b) {
        const double loop = 0.5 * in_bin(b, -31, 6), lead = 0.49995 * in_bin(b, 0, 1.5), all = loop + lead;
        bits += loop * std::log2(loop / (0.5 * all)) + lead * std::log2(lead / (0.49995 * all));
        CHECK(worth[0].branches[b].chance == Approx(all));
        CHECK(worth[0].branches[b].outcome == words[b]);
        CHECK(worth[0].branches[b].leads.first == (loop > lead ? W::ground_loop : W::pickup_lead));
        CHECK(worth[0].branches[b].leads.probability == Approx(std::max(loop, lead) / all));
    }
    CHECK(worth[0].bits == Approx(bits));
    CHECK(bits > 0.7);
    // a test that says nothing of the noise is worth nothing
    CHECK(worth_of_tests(open_question(), two, {T::device_unplugged}, false, {})[0].bits == Approx(0).margin(1e-4));
    const auto outcomes = [&](T test) {
        std::string all;
        const auto one = worth_of_tests(open_question(), two, {test}, false, {});
        for (const auto& branch : one[0].branches) all += branch.outcome + "; ";
        return all;
    };
    CHECK(outcomes(T::shorted_at_amp) == "gone; quieter; same; louder; ");
    CHECK(outcomes(T::shell_to_case) == "near 0 ohm; some ohms; open; ");
    CHECK(outcomes(T::ground_drop) == "below 0.07 V; 0.07 to 0.2 V; above 0.2 V; ");
    // the meter's edges: 0.07 and 0.2 V as logarithms, read to 0.15
    EntryPosterior loop;
    loop.sets = {{W::ground_loop, std::nullopt, 1}};
    loop.by_share = {{1}};
    const double sd = std::hypot(0.5, 0.15);
    const auto drop = worth_of_tests(open_question(), loop, {T::ground_drop}, false, {})[0].branches;
    CHECK(drop[0].chance == Approx(0.97 * below((-1.15 + 1.2) / sd) + 0.01));
    CHECK(drop[2].chance == Approx(0.97 * below((-1.2 + 0.7) / sd) + 0.01));
    const auto ohms = worth_of_tests(open_question(), loop, {T::shell_to_case}, false, {})[0].branches;
    CHECK(ohms[0].chance == Approx(0.97 * below((-0.5 + 1.5) / sd) + 0.01));
    CHECK(ohms[2].chance == Approx(0.97 * below((-1.5 - 1.0) / sd) + 0.01));
    const auto ear = worth_of_tests(open_question(), loop, {T::test_speaker}, false, {})[0].branches;
    CHECK(ear[2].chance == Approx(0.97 * (2 * below(3 / std::hypot(1.5, 1.5)) - 1) + 0.03 / 4));
}

TEST_CASE("a test's outcomes are as likely as the tables have them, at the input by what is seen there", "[entry]") {
    // a link at the amplifier leaves capacitive pick-up as it is, or raises it by 12 dB (sd 8); read to 2.5 dB
    EntryPosterior one;
    one.sets = {{W::pickup_capacitive, std::nullopt, 1}};
    one.by_share = {{1}};
    const std::vector<double> edges = {-1e3, -18, -9, -4, 4, 9, 20, 1e3};
    const auto between = [&](std::size_t b, double mean, double sd) { return below((edges[b + 1] - mean) / sd) - below((edges[b] - mean) / sd); };
    const auto link = worth_of_tests(open_question(), one, {T::shell_link_at_amp}, false, {});
    for (std::size_t b = 0; b < 7; ++b) {
        const double wanted = 0.5 * between(b, 0, std::hypot(1.5, 2.5)) + 0.5 * between(b, 12, std::hypot(8.0, 2.5));
        CHECK(link[0].branches[b].chance == Approx(0.97 * wanted + 0.03 / 7));
    }
    CHECK(link[0].bits == Approx(0).margin(1e-9));   // of one way nothing is left to tell
    EntryQuestion question = open_question();
    question.place_known = true;
    one.sets = {{W::ground_loop, W::amplifier_internal, 1}};
    one.by_share = {{0.2, 0.2, 0.2, 0.2, 0.2}};
    const auto strap = worth_of_tests(question, one, {T::temporary_ground}, false, {});
    for (std::size_t b = 0; b < 7; ++b) CHECK(strap[0].branches[b].chance == Approx(0.97 * between(b, -8, std::hypot(4.0, 2.5)) + 0.03 / 7));
    // many outcomes, each of them unlikely, leave chances that sum to 1
    const EntryPosterior many = entry_posterior({}, std::vector<EntryOutcome>(300, read(T::isolator, 40)));
    double sum = 0;
    for (const EntrySet& set : many.sets) sum += set.probability;
    CHECK(sum == Approx(1));
}

TEST_CASE("tests stand by their bits a minute, the measuring set-up first where it may matter", "[entry]") {
    const EntryPosterior prior = entry_posterior({}, {});
    const std::vector<T> possible = {T::isolator,       T::antenna_unplugged, T::source_paused,
                                     T::temporary_lead, T::substitute_source, T::amp_on_own_battery};
    // five minutes of handling each, and 0.4 of the way to the source's back, which is gone once
    for (const bool reached : {false, true}) {
        const auto worth = worth_of_tests({}, prior, possible, reached, {});
        REQUIRE(worth.size() == possible.size());
        const auto a_minute = [reached](const TestWorth& one) {
            const EntryTestFacts& facts = facts_of(one.test);
            return one.bits / (5 + facts.minutes + (facts.behind_the_source && !reached ? 0.4 * 20 : 0.0));
        };
        for (std::size_t i = 1; i < worth.size(); ++i) CHECK(a_minute(worth[i - 1]) >= a_minute(worth[i]));
        for (const TestWorth& one : worth)
            CHECK(one.minutes == facts_of(one.test).minutes + (facts_of(one.test).behind_the_source && !reached ? 20 : 0));
    }
    for (const T first : {T::laptop_on_battery, T::tone_lead_off}) {
        const Labour slow{{{std::string(word_of(first)), 500.0}}};   // however long it takes
        auto worth = worth_of_tests({}, prior, {T::isolator, first}, true, slow);
        CHECK((worth[0].test == first) == ((worth[0].test == first ? worth[0] : worth[1]).bits > kLeastBits));
        EntryQuestion apart;
        apart.set_up_apart = true;
        worth = worth_of_tests(apart, entry_posterior(apart, {}), {T::isolator, first}, true, slow);
        CHECK(worth[0].test == T::isolator);
    }
    CHECK(Labour{}.reach_source() == kReachSource_min);
    CHECK(Labour{{{"reach_source", 3.0}}}.reach_source() == 3);
}
