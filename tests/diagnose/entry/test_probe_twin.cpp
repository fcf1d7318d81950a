#include "../../../src/diagnose/entry/probe_twin.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/made_survey.hpp"

using namespace hushtrace;

TEST_CASE("a change over all that a source's lines pass through is as sure as what of it is its own", "[probe_twin]") {
    Take a = made_take("a", Engine::sweep, {Channel::left}), b = made_take("b", Engine::sweep, {Channel::left});
    TakeSurvey with = quiet_survey(a, 1.0, 8000.0), without = quiet_survey(b, 1.0, 8000.0);
    SourceTrace trace;
    trace.ratios = {1.0, 1.2, 30.0};   // the second's band overlaps the first's, the third's lies beyond the rate
    trace.track = {{0.0, 1.0}, {200.0, 300.0}};
    NoiseSource source;
    for (TakeSurvey* survey : {&with, &without})
        std::fill(survey->channels[0].spectrum.density.begin(), survey->channels[0].spectrum.density.end(), 0.0);
    // 200 less 3 % to 360 and 3 %: 194 to 370.8 Hz
    const auto change = [&](double at_hz, double share) -> std::optional<Reading> {
        with.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] = 4e-6;
        without.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] = 1e-6;
        source.levels = {{"a", Channel::left, 10.0 * std::log10(2.0 * share * 4e-6), std::nullopt, 0.1, std::nullopt, LimitedBy::nothing}};
        const auto out = change_by_probe(source, trace, {&with, nullptr}, {&without, nullptr}, Channel::left, {}, {});
        with.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] = without.channels[0].spectrum.density[static_cast<std::size_t>(at_hz)] =
            0.0;
        return out;
    };
    for (const double in : {196.0, 250.0, 305.0, 369.0}) {
        CAPTURE(in);
        REQUIRE(change(in, 1.0));
        CHECK(change(in, 1.0)->value == Approx(10.0 * std::log10(4.0)));
        CHECK(change(in, 1.0)->sd == Approx(1.0));
    }
    for (const double out : {190.0, 375.0, 3000.0}) CHECK_FALSE(change(out, 1.0));
    CHECK(change(250.0, 0.5)->sd == Approx(2.0));
    CHECK(change(250.0, 2.0)->sd == Approx(1.0));   // never surer than that
    CHECK(change(250.0, 0.16));
    CHECK_FALSE(change(250.0, 0.14));
    with.channels[0].silent = true;
    CHECK_FALSE(change(250.0, 1.0));
    with.channels[0].silent = false;
    without.channels[0].silent = true;
    CHECK_FALSE(change(250.0, 1.0));
}

TEST_CASE("the twin of a probe's take is the same in all but the probe", "[probe_twin]") {
    const Take probe = made_take("a", Engine::idle, {Channel::left, Channel::supply});
    const auto twin = [&](auto change) {
        Take other = made_take("b", Engine::idle, {Channel::left, Channel::right});
        change(other);
        return is_twin_of_probe(probe, other, Channel::left);
    };
    CHECK(twin([](Take&) {}));
    CHECK_FALSE(twin([](Take& t) { t.channels = {Channel::left, Channel::supply}; }));
    CHECK_FALSE(twin([](Take& t) { t.channels = {Channel::right}; }));
    CHECK_FALSE(twin([](Take& t) { t.after_change = "x"; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.engine = Engine::raised; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.hookup = {Hookup::isolator}; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.source = SourceState::muted; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.input = SourceInput::aux; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.volume = 3.0; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.attached = {{"phone", PoweredFrom::vehicle}}; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.laptop = LaptopPower::mains; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.point = Point::amp_output; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.amplifier = AmplifierState::off; }));
    CHECK_FALSE(twin([](Take& t) { t.conditions.loads = {"fan"}; }));
    CHECK(takes_repeat_db(made_take("a", Engine::idle)) == 4.0);
    CHECK(takes_repeat_db(made_take("a", Engine::raised)) == 2.0);
    CHECK(is_supply(Channel::supply));
    CHECK(is_supply(Channel::supply_current));
    CHECK_FALSE(is_supply(Channel::sub));
    CHECK(place_of(probe, Channel::supply) == std::optional<std::size_t>(1));
    CHECK_FALSE(place_of(probe, Channel::right));
}

TEST_CASE("silence and a converter's end are told from a probe's samples", "[probe_twin]") {
    ProbeSound sound;
    sound.channels = {{}, {0.5, 0.5}, {0.5, 0.5 + 2e-7}, {0.5, 0.5 + 3e-7}, {1.0, 0.0, 1.0}, {0.0, -1.0, 0.9991}, {0.0, -1.0, 0.9989}};
    CHECK(sound.silent(0));
    CHECK(sound.silent(1));
    CHECK(sound.silent(2));   // two steps of 24 bits are 2.4e-7
    CHECK_FALSE(sound.silent(3));
    for (const std::size_t c : {0U, 1U, 4U, 6U}) CHECK_FALSE(sound.clipped(c));
    CHECK(sound.clipped(5));
}
