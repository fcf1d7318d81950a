#include <catch2/catch.hpp>

#include "../../../src/diagnose/floor/floor_record_parts.hpp"
#include "diagnose/floor_job.hpp"

using namespace hushtrace;
using namespace floor_job;
using Catch::Matchers::Contains;

namespace {

using Words = std::vector<std::string>;

/// The record of a job of which the analysis read each take's first channel.
FloorRecord record_of_all(const OpenedJob& opened) {
    NoiseAnalysis noise;
    for (const Take& take : opened.job.takes) noise.floor.push_back(reading_of(take.file, {}, take.channels.at(0)));
    return floor_record(opened, noise, nullptr);
}
Words names_of(const FloorRecord& record) {
    Words out;
    for (const ConditionFloor& one : record.conditions) out.push_back(one.name);
    return out;
}

}  // namespace

TEST_CASE("conditions stand in the order in which one would make them, fewer loads first, and are named in words", "[floor_record]") {
    OpenedJob opened = job_of();
    for (const Engine engine :
         {Engine::cranking, Engine::sweep, Engine::raised, Engine::idle, Engine::ready, Engine::key_on, Engine::accessory, Engine::off})
        add_take(opened, "takes/" + std::string(to_word(engine)) + ".flac", engine);
    add_take(opened, "takes/two.flac", Engine::off).conditions.loads = {"rear_defogger", "blower"};
    add_take(opened, "takes/wipers.flac", Engine::off).conditions.loads = {"wipers"};
    add_take(opened, "takes/lights.flac", Engine::off).conditions.loads = {"headlights"};
    add_take(opened, "takes/at.flac", Engine::off).conditions.at_amplifier = "front";
    Take& idle = opened.job.takes[3];
    idle.conditions.rpm = 760;
    idle.conditions.volume = 12;
    const FloorRecord record = record_of_all(opened);
    CHECK(names_of(record) == Words{"engine off", "engine off (at front)", "engine off, headlights", "engine off, wipers",
                                    "engine off, blower, rear defogger", "accessory", "key on, engine off", "ready", "idle", "raised", "sweep",
                                    "cranking"});
    CHECK(record.conditions[1].at_amplifier == "front");
    CHECK_FALSE(record.conditions[0].at_amplifier);
    CHECK(record.conditions[4].loads == Words{"blower", "rear_defogger"});
    CHECK(record.conditions[8].engine == Engine::idle);
    CHECK(record.conditions[8].take == "takes/idle.flac");
    CHECK(record.conditions[8].rpm == 760.0);
    CHECK(record.conditions[8].volume == 12.0);
    CHECK_FALSE(record.conditions[0].rpm);
    CHECK(record.conditions[8].other_takes.empty());
    CHECK(record.conditions[8].notes.empty());
}

TEST_CASE("the engine's state goes before the loads", "[floor_record]") {
    OpenedJob opened = job_of();
    const std::vector<Engine> order{Engine::off,  Engine::accessory, Engine::key_on, Engine::ready,
                                    Engine::idle, Engine::raised,    Engine::sweep,  Engine::cranking};
    for (std::size_t i = 0; i < order.size(); ++i)  // each has more on than the next
        add_take(opened, "takes/one.flac", order[i]).conditions.loads = Words(order.size() - i, "fan");
    const FloorRecord record = record_of_all(opened);
    REQUIRE(record.conditions.size() == order.size());
    for (std::size_t i = 0; i < order.size(); ++i) CHECK(record.conditions[i].engine == order[i]);
}

TEST_CASE("a take is no floor of the system where something plays, is changed, muted, overloaded or not heard", "[floor_record]") {
    using Change = void (*)(Take&);
    const auto counts = [](Change change) {
        OpenedJob opened = job_of();
        change(add_take(opened, "takes/one.flac", Engine::idle));
        return !record_of_all(opened).conditions.empty();
    };
    for (const Change change : std::vector<Change>{[](Take&) {},
                                                   [](Take& t) {
                                                       t.tone = PlayedTone{NearSilence{}, std::nullopt};
                                                   },
                                                   [](Take& t) { t.conditions.source = SourceState::on; },
                                                   [](Take& t) {
                                                       t.channels = {Channel::supply, Channel::left};
                                                   }})
        CHECK(counts(change));
    for (const Change change :
         std::vector<Change>{[](Take& t) {
                                 t.tone = PlayedTone{Sine{1000, 0}, std::nullopt};
                             },
                             [](Take& t) {
                                 t.volume_steps = {20, 21};
                             },
                             [](Take& t) { t.conditions.point = Point::source_output; }, [](Take& t) { t.conditions.point = Point::amp_output; },
                             [](Take& t) { t.conditions.hookup = {Hookup::isolator}; }, [](Take& t) { t.conditions.source = SourceState::paused; },
                             [](Take& t) { t.conditions.source = SourceState::off; }, [](Take& t) { t.faults = {TakeFault::source_muted}; },
                             [](Take& t) { t.faults = {TakeFault::overload}; },
                             [](Take& t) {
                                 t.channels = {Channel::supply, Channel::supply_current};
                             }})
        CHECK_FALSE(counts(change));
    // and one that the analysis didn't read
    OpenedJob opened = job_of();
    add_take(opened, "takes/one.flac", Engine::idle);
    NoiseAnalysis noise;
    CHECK(floor_record(opened, noise, nullptr).conditions.empty());
}

TEST_CASE("of two takes of one state that counts which has less of the set-up in it, else the later", "[floor_record]") {
    using Change = void (*)(Take&);
    const Change clean = [](Take&) {},
                 on_vehicle =
                     [](Take&t) {
                         t.conditions.attached = {{"charger", PoweredFrom::vehicle}};
                     },
                 on_mains =
                     [](Take&t) {
                         t.conditions.attached = {{"charger", PoweredFrom::mains}};
                     },
                 on_battery =
                     [](Take&t) {
                         t.conditions.attached = {{"phone", PoweredFrom::own_battery}};
                     },
                 output =
                     [](Take&t) {
                         t.conditions.attached = {{"interface_output", PoweredFrom::none}};
                     },
                 laptop = [](Take&t) { t.conditions.laptop = LaptopPower::mains; },
                 no_amplifier = [](Take&t) { t.conditions.amplifier = AmplifierState::off; },
                 amplifier_on = [](Take&t) { t.conditions.amplifier = AmplifierState::on; }, lost = [](Take&t) { t.faults = {TakeFault::dropout}; },
                 two = [](Take&t) { t.conditions.laptop = LaptopPower::vehicle, t.conditions.amplifier = AmplifierState::off; }, three = [](Take&t) {
                     t.conditions.laptop = LaptopPower::vehicle, t.conditions.amplifier = AmplifierState::off;
                     t.conditions.attached = {{"charger", PoweredFrom::mains}};
                 };
    const auto counting = [](Change first, Change second) {
        OpenedJob opened = job_of();
        first(add_take(opened, "first", Engine::idle));
        second(add_take(opened, "second", Engine::idle));
        const FloorRecord record = record_of_all(opened);
        REQUIRE(record.conditions.size() == 1);
        REQUIRE(record.conditions[0].other_takes.size() == 1);
        CHECK(record.conditions[0].other_takes[0] != record.conditions[0].take);
        return record.conditions[0].take;
    };
    for (const Change mark : {on_vehicle, on_mains, output, laptop, no_amplifier, lost}) {
        CHECK(counting(clean, mark) == "first");
        CHECK(counting(mark, clean) == "second");
        CHECK(counting(mark, mark) == "second");
    }
    for (const Change none : {on_battery, amplifier_on}) CHECK(counting(clean, none) == "second");
    // lost samples weigh as two
    CHECK(counting(on_mains, lost) == "first");
    CHECK(counting(lost, on_mains) == "second");
    CHECK(counting(two, lost) == "second");
    CHECK(counting(lost, two) == "second");
    CHECK(counting(lost, three) == "first");
}

TEST_CASE("what was mended counts before what was not, wherever it stands in the list", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "remade", Engine::idle).after_change = "ground remade";
    Take& fed = add_take(opened, "fed", Engine::idle);
    fed.after_change = "lead moved";
    fed.faults = {TakeFault::dropout};
    add_take(opened, "remade again", Engine::idle).after_change = "ground remade";
    add_take(opened, "before", Engine::idle);
    const FloorRecord record = record_of_all(opened);
    REQUIRE(record.conditions.size() == 1);
    CHECK(record.conditions[0].take == "fed");
    CHECK(record.conditions[0].after_change == "lead moved");
    CHECK(record.conditions[0].other_takes == Words{"remade", "remade again", "before"});
    opened.job.takes.erase(opened.job.takes.begin() + 1);
    CHECK(record_of_all(opened).conditions[0].take == "remade again");
}

TEST_CASE("a condition notes what hung on the vehicle while it was measured", "[floor_record]") {
    const auto notes = [](void (*change)(Take&)) {
        OpenedJob opened = job_of();
        change(add_take(opened, "takes/one.flac", Engine::idle));
        return record_of_all(opened).conditions.at(0).notes;
    };
    CHECK(notes([](Take& t) { t.conditions.attached = {{"phone", PoweredFrom::own_battery}, {"lamp", PoweredFrom::none}}; }).empty());
    CHECK(notes([](Take& t) { t.conditions.laptop = LaptopPower::battery; }).empty());
    CHECK(notes([](Take& t) { t.conditions.amplifier = AmplifierState::on; }).empty());
    for (const auto& [change, words] : std::vector<std::pair<void (*)(Take&), const char*>>{
             {[](Take& t) {
                  t.conditions.attached = {{"phone", PoweredFrom::own_battery}, {"charger", PoweredFrom::mains}};
              },
              "charger was attached, powered from the mains"},
             {[](Take& t) {
                  t.conditions.attached = {{"charger", PoweredFrom::vehicle}};
              },
              "charger was attached, powered from the vehicle"},
             {[](Take& t) { t.conditions.laptop = LaptopPower::mains; }, "the laptop ran on the mains"},
             {[](Take& t) { t.conditions.laptop = LaptopPower::vehicle; }, "the laptop ran on the vehicle"},
             {[](Take& t) { t.conditions.amplifier = AmplifierState::off; }, "the amplifier was off"},
             {[](Take& t) { t.faults = {TakeFault::dropout}; }, "samples were lost"},
             {[](Take& t) { t.conditions.volume.reset(); }, "doesn't say at which volume"}}) {
        const Words said = notes(change);
        REQUIRE(said.size() == 1);
        CHECK_THAT(said[0], Contains(words));
    }
}

TEST_CASE("a channel has the scale of its place in the file, and one that isn't in the file isn't told", "[floor_record]") {
    OpenedJob opened = job_of();
    opened.job.interface = {};
    add_take(opened, "takes/one.flac", Engine::idle, {Channel::left, Channel::right}).attenuation_db = {0, 10};
    NoiseAnalysis noise;
    for (const Channel channel : {Channel::right, Channel::left, Channel::sub}) noise.floor.push_back(reading_of("takes/one.flac", {}, channel));
    noise.floor.push_back(reading_of("takes/none.flac"));
    const FloorRecord record = floor_record(opened, noise, nullptr);
    REQUIRE(record.conditions.size() == 1);
    REQUIRE(record.conditions[0].channels.size() == 2);
    CHECK(record.conditions[0].channels[0].channel == Channel::right);
    CHECK(record.conditions[0].channels[1].channel == Channel::left);
    CHECK(record.conditions[0].channels[0].floor.channel == Channel::right);
    CHECK(record.conditions[0].channels[0].amplifiers.size() == 1);
    const Take& take = opened.job.takes[0];
    CHECK(file_place_of(take, Channel::left) == 0U);
    CHECK(file_place_of(take, Channel::right) == 1U);
    CHECK_FALSE(file_place_of(take, Channel::sub));
    CHECK(take_of(opened.job, "takes/one.flac") == &take);
    CHECK(take_of(opened.job, "takes/none.flac") == nullptr);
    NoiseAnalysis none;
    const auto level = [&](std::size_t place) {
        return held({opened.job, none, nullptr, take, place}, Reading{-90, 0.5, LimitedBy::noise}, std::nullopt);
    };
    CHECK(level(0)->db == -90);
    CHECK(level(1)->db == -80);
    CHECK(level(1)->sd_db == 0.5);
    CHECK(level(1)->limited_by == LimitedBy::noise);
    CHECK_FALSE(held({opened.job, none, nullptr, take, 0}, std::nullopt, std::nullopt));
}

TEST_CASE("the set-up's own noise is each channel's latest take with the inputs shorted", "[floor_record]") {
    OpenedJob opened = job_of();
    for (const char* file : {"first", "second", "third"})
        add_take(opened, file, Engine::off, {Channel::left, Channel::right}).conditions.hookup = {Hookup::inputs_shorted};
    add_take(opened, "idle", Engine::idle);
    NoiseAnalysis noise;
    noise.floor = {reading_of("first"), reading_of("first", {}, Channel::right), reading_of("second"), reading_of("third"), reading_of("idle"),
                   reading_of("lost")};
    noise.floor[3].third_octaves.clear();  // digital silence
    const FloorRecord record = floor_record(opened, noise, nullptr);
    REQUIRE(record.interface.size() == 2);
    CHECK(record.interface[0].take == "first");
    CHECK(record.interface[0].channel == Channel::right);
    CHECK(record.interface[1].take == "second");
    CHECK(record.conditions.size() == 1);
}
