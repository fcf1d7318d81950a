// What an amplifier's gain costs in noise, of noise takes whose power is known and curves set by hand.
#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/gain/gain_noise.hpp"
#include "diagnose/amplifier_maker.hpp"
#include "holds.hpp"

using namespace hushtrace;
using namespace amplifier_maker;

namespace {

double power(double db) { return std::pow(10.0, db / 10); }
double decibels(double ratio) { return 10 * std::log10(ratio); }

/// A gain of 20 dB at volume 23, the noise at the amplifier's input being -80 dBV there.
struct Noisy : Bench {
    Noisy() { add_noise("n23", -80, 23); }
    const AmplifierSetting& parts() {
        set();
        setting.channels = {Channel::left};
        set_noise(made(), open(), setting);
        return setting;
    }
    const AmplifierSetting& splits(const std::vector<OutputReading>& readings = {}) {
        parts();
        setting.output_readings = readings;
        set_splits(made(), open(), setting);
        return setting;
    }
    const GainSplit& split(const std::string& way, std::size_t which = 0) const {
        for (const GainSplit& one : setting.splits)
            if (one.way == way && which-- == 0) return one;
        FAIL("no split " + way);
        throw 0;
    }
    /// Standard uncertainty of a take's power [V^2], a tenth of a decibel between takes beside the reading's own.
    double sd_v2(std::size_t take) const {
        const InputNoise read = *read_noise(job, job.job.takes[take], open(), {Channel::left});
        return power(read.dbv) * (power(std::hypot(read.sd_db, 0.1)) - 1);
    }
    double v2(std::size_t take) const { return power(read_noise(job, job.job.takes[take], open(), {Channel::left})->dbv); }
};
OutputReading read_gain(double gain_db, std::optional<Channel> channel) {
    OutputReading out;
    out.gain_now_db = gain_db;
    out.channel = channel;
    return out;
}
bool notes(const NoiseParts& parts, const std::string& words) { return stepped_job::says(parts.notes, words); }
}  // namespace

TEST_CASE("one noise take leaves open what its noise is made of", "[amplifier]") {
    Noisy bench;
    bench.job.job.takes[0].conditions.engine = Engine::idle;
    const NoiseParts one = *bench.parts().noise_parts;
    CHECK(one.volume == 23.0);
    CHECK(one.engine == Engine::idle);
    CHECK(one.total_dbv == Approx(-80).margin(0.01));
    CHECK(one.takes == std::vector<std::string>{"n23"});
    const auto all_is_open = [](const NoiseParts& parts) {
        for (const Range_db* part : {&parts.before_volume, &parts.after_volume, &parts.lead}) {
            CHECK(std::isinf(part->low));
            CHECK(part->high == Approx(parts.total_dbv));
        }
    };
    all_is_open(one);
    CHECK(one.notes.size() == 2);
    CHECK(notes(one, "one more noise take at another volume"));
    CHECK(notes(one, "a noise take with --source off"));
    bench.job.job.takes[0].conditions.volume.reset();
    CHECK(notes(*bench.parts().noise_parts, "the take doesn't say at which volume it was made"));
    bench.job.job.takes[0].conditions.volume = 30;
    CHECK(notes(*bench.parts().noise_parts, "no stepped take tells the source's level at the volumes of the noise takes"));
    bench.job.job.takes[0].conditions.volume = 23;
    bench.add_noise("n30", -80, 30).conditions.engine = Engine::idle;
    CHECK(notes(*bench.parts().noise_parts, "no stepped take tells the source's level at the volumes of the noise takes"));
    bench.setting.gain_db.reset(), bench.setting.noise_parts.reset();
    set_noise(bench.made(), bench.open(), bench.setting);
    CHECK_FALSE(bench.setting.noise_parts);
    set_splits(bench.made(), bench.open(), bench.setting);
    CHECK(bench.setting.splits.empty());
    // the interface's own noise is all there is
    Noisy bound;
    bound.job.job.interface.own_noise_dbv = {-80.0};
    bound.add_noise("n21", -84, 21);
    const NoiseParts hidden = *bound.parts().noise_parts;
    CHECK(hidden.limited_by == LimitedBy::interface);
    CHECK(hidden.takes.size() == 1);
    all_is_open(hidden);
    REQUIRE(hidden.notes.size() == 1);
    CHECK(notes(hidden, "the interface's own noise is all that was seen"));
    CHECK(bound.splits().noise_limited_by == LimitedBy::interface);
    CHECK(bound.noted("the interface's own noise is all that was seen, so it is lower than this"));
}

TEST_CASE("two volumes tell what goes with the volume, to twice its uncertainty", "[amplifier]") {
    // n^2 = a g^2 + c: from volume 23 to 21 g falls by 4 dB, so a = (n23^2 - n21^2) / (1 - 10^-0.4)
    const auto check = [](double ahead_dbv, double behind_dbv) {
        Noisy bench;
        bench.add_noise("n23", decibels(power(ahead_dbv) + power(behind_dbv)), 23);
        bench.job.job.takes.erase(bench.job.job.takes.begin());
        bench.add_noise("n21", decibels(power(ahead_dbv - 4) + power(behind_dbv)), 21);
        const NoiseParts parts = *bench.parts().noise_parts;
        CHECK(parts.takes == std::vector<std::string>{"n23", "n21"});
        const double total = bench.v2(0), a = (total - bench.v2(1)) / (1 - power(-4));
        CHECK(decibels(a) == Approx(ahead_dbv).margin(0.05));
        const double sd = std::hypot(bench.sd_v2(0), bench.sd_v2(1)) / (1 - power(-4));
        const double low = std::max(0.0, a - 2 * sd), high = std::min(total, a + 2 * sd);
        CHECK(power(parts.before_volume.low) == Approx(low).margin(1e-6 * total));
        CHECK(power(parts.before_volume.high) == Approx(high).margin(1e-6 * total));
        CHECK(power(parts.lead.high) == Approx(total - low).margin(1e-6 * total));
        CHECK(power(parts.after_volume.high) == Approx(total - low).margin(1e-6 * total));
        CHECK(std::isinf(parts.after_volume.low));
        CHECK(parts.notes.size() == 1);
        CHECK(notes(parts, "a noise take with --source off"));
    };
    for (const auto& [ahead_dbv, behind_dbv] : {std::pair{-80.0, -95.0}, {-95.0, -80.0}, {-83.0, -83.0}}) check(ahead_dbv, behind_dbv);
    Noisy alike;   // two at one volume tell nothing of it
    alike.add_noise("again", -80.2, 23);
    CHECK(std::isinf(alike.parts().noise_parts->before_volume.low));
    CHECK(alike.setting.noise_parts->before_volume.high == Approx(-80).margin(0.01));
}

TEST_CASE("the lead's share is told by the take that leaves most of the lead in place", "[amplifier]") {
    const auto with = [](const std::function<void(Noisy&)>& change) {
        Noisy bench;
        change(bench);
        return *bench.parts().noise_parts;
    };
    const auto off = [](Noisy& b) { b.add_noise("off", -86, 23).conditions.source = SourceState::off; };
    const auto at_source = [](Noisy& b) { b.add_noise("source", -90, 23).conditions.hookup = {Hookup::shorted_at_source}; };
    const auto floating = [](Noisy& b) { b.add_noise("floating", -93, 23).conditions.hookup = {Hookup::dummy_floating}; };
    Noisy plain;
    off(plain);
    const double at = plain.v2(1), sd = plain.sd_v2(1), total = plain.v2(0);
    const NoiseParts whole = with(off);
    CHECK(power(whole.lead.low) == Approx(std::max(0.0, at - 2 * sd)).margin(1e-6 * total));
    CHECK(power(whole.lead.high) == Approx(at + 2 * sd).epsilon(1e-6));
    CHECK(power(whole.before_volume.high) == Approx(total - std::max(0.0, at - 2 * sd)).epsilon(1e-6));
    CHECK(power(whole.after_volume.high) == Approx(total - std::max(0.0, at - 2 * sd)).epsilon(1e-6));
    CHECK(whole.takes == std::vector<std::string>{"n23", "off"});
    CHECK_FALSE(notes(whole, "--source off"));
    CHECK_FALSE(notes(whole, "it may be more"));
    const NoiseParts in_part = with(at_source);
    CHECK(power(in_part.lead.high) == Approx(total).epsilon(1e-6));   // it may be all
    CHECK(in_part.takes.back() == "source");
    CHECK(notes(in_part, "without the source's own shell contact: it may be more"));
    const NoiseParts less = with(floating);
    CHECK(power(less.lead.high) == Approx(total).epsilon(1e-6));
    CHECK(notes(less, "without a ground loop's current: it may be more"));
    for (const bool best_first : {true, false}) {
        const NoiseParts best = with([&](Noisy& b) {
            if (best_first) off(b);
            floating(b);
            at_source(b);
            if (!best_first) off(b);
        });
        CHECK(best.takes.back() == "off");
        CHECK(best.takes.size() == 2);
        CHECK(power(best.lead.high) == Approx(at + 2 * sd).epsilon(1e-6));
    }
    CHECK(with([&](Noisy& b) { floating(b), at_source(b); }).takes.back() == "source");
    CHECK(with([&](Noisy& b) { at_source(b), floating(b); }).takes.back() == "source");
    // two things at once, or a lead that isn't this one, tell nothing
    for (const auto& hookup : {std::vector{Hookup::shorted_at_source, Hookup::temporary_lead}, std::vector{Hookup::temporary_lead}})
        CHECK(with([&](Noisy& b) { b.add_noise("other", -90, 23).conditions.hookup = hookup; }).takes.size() == 1);
    // so low that the interface's own noise is all of it: at most that
    const NoiseParts bound = with([&](Noisy& b) {
        off(b);
        b.job.job.interface.own_noise_dbv = {-86.0};
    });
    CHECK(std::isinf(bound.lead.low));
    CHECK(bound.lead.high < -80);
}

TEST_CASE("takes count together where all but the volume is alike", "[amplifier]") {
    const auto counted = [](void (*change)(Take&)) {
        Noisy bench;
        change(bench.add_noise("n21", -84, 21));
        return bench.parts().noise_parts->takes.size() == 2;
    };
    CHECK(counted([](Take&) {}));
    void (*const changes[])(Take&) = {
        [](Take& t) { t.conditions.engine = Engine::idle; },
        [](Take& t) { t.conditions.rpm = 800; },
        [](Take& t) { t.conditions.loads = {"headlights"}; },
        [](Take& t) { t.conditions.attached = {{"phone", PoweredFrom::vehicle}}; },
        [](Take& t) { t.conditions.laptop = LaptopPower::mains; },
        [](Take& t) { t.conditions.point = Point::source_output; },
        [](Take& t) { t.conditions.at_amplifier = "front"; },
        [](Take& t) { t.conditions.input = SourceInput::aux; },
        [](Take& t) { t.after_change = "ground remade"; },
        [](Take& t) { t.faults = {TakeFault::source_muted}; },
        [](Take& t) { t.faults = {TakeFault::overload}; },
        [](Take& t) { t.tone = PlayedTone{Sine{}, ToneVia::stick}; },
        [](Take& t) { t.volume_steps = {20, 21}; },
        [](Take& t) { t.conditions.volume.reset(); },
        [](Take& t) { t.channels = {Channel::right}; },
        [](Take& t) { t.file = "missing"; },
        [](Take& t) { t.conditions.hookup = {Hookup::isolator}; },
    };
    for (const auto change : changes) CHECK_FALSE(counted(change));
    // one that the interface's own noise covers tells no share
    Noisy covered;
    covered.add_noise("n21", -96, 21);
    covered.job.job.interface.own_noise_dbv = {-96.0};
    CHECK(covered.parts().noise_parts->takes.size() == 1);
    // a dozen beside the first
    Noisy many;
    for (int i = 0; i < 14; ++i) many.add_noise("m" + std::to_string(i), -84, 20 + 0.2 * i);
    CHECK(many.parts().noise_parts->takes.size() == 13);
}

TEST_CASE("the amplifier's own noise is stated, or read at its output and brought to its input", "[amplifier]") {
    const auto own = [](const std::function<void(Noisy&, Take&)>& change,
                        const std::vector<OutputReading>& readings = {read_gain(20, Channel::left)}) {
        Noisy bench;
        Take& take = bench.add_noise("own", -70, 23);
        take.conditions.point = Point::amp_output;
        take.conditions.hookup = {Hookup::shorted_at_amp};
        change(bench, take);
        return bench.splits(readings).noise_parts->amplifier_dbv;
    };
    const auto as_it_is = [](Noisy&, Take&) {};
    CHECK(*own(as_it_is) == Approx(-90).margin(0.01));
    CHECK(*own([](Noisy& b, Take&) { b.amplifier().input_noise_dbv = -101; }) == -101);
    // the gain that was read last, of its channel before any other
    CHECK(*own(as_it_is, {read_gain(18, Channel::left), read_gain(19, Channel::left), read_gain(25, Channel::right)}) == Approx(-89).margin(0.01));
    CHECK(*own(as_it_is, {read_gain(24, std::nullopt), read_gain(25, Channel::right), OutputReading{}}) == Approx(-95).margin(0.01));
    CHECK_FALSE(own(as_it_is, {}));
    CHECK_FALSE(own([](Noisy&, Take& t) { t.conditions.point = Point::amp_input; }));
    CHECK_FALSE(own([](Noisy&, Take& t) { t.conditions.hookup = {Hookup::normal}; }));
    CHECK_FALSE(own([](Noisy&, Take& t) { t.conditions.hookup.push_back(Hookup::test_speaker); }));
    CHECK_FALSE(own([](Noisy&, Take& t) { t.conditions.engine = Engine::idle; }));
    CHECK_FALSE(own([](Noisy&, Take& t) { t.faults = {TakeFault::overload}; }));
    CHECK_FALSE(own([](Noisy&, Take& t) { t.conditions.at_amplifier = "rear"; }));
    CHECK(own([](Noisy&, Take& t) { t.conditions.at_amplifier = "front"; }));
    const auto with_rear = [](Noisy& b) { b.job.job.amplifiers.push_back(b.amplifier()), b.job.job.amplifiers.back().name = "rear"; };
    CHECK_FALSE(own([&](Noisy& b, Take&) { with_rear(b); }));
    CHECK(own([&](Noisy& b, Take& t) { with_rear(b), t.conditions.at_amplifier = "front"; }));
    CHECK_FALSE(own([](Noisy& b, Take&) { b.job.job.interface.own_noise_dbv = {-70.0}; }));
    CHECK_FALSE(own([](Noisy&, Take& t) { t.file = "missing"; }));
}

TEST_CASE("each split: source, gain, output and noise at the output and the ear", "[amplifier]") {
    Noisy bench;
    bench.add_noise("n21", decibels(power(-87) + power(-84)), 21);
    bench.add_noise("off", -88, 23).conditions.source = SourceState::off;
    bench.amplifier().input_noise_dbv = -86;
    SpeakerData speaker;
    speaker.amplifier = "front";
    speaker.sensitivity_db_2v83_1m = 90;
    speaker.distance_m = 2.0;
    bench.job.job.speakers = {speaker};
    bench.request.driver_db = 8;
    const AmplifierSetting& set = bench.splits({read_gain(23, Channel::left)});
    const NoiseParts& parts = *set.noise_parts;
    const double total = power(parts.total_dbv), own = power(-86), all = total + own;
    const double before_low = power(parts.before_volume.low), before_high = power(parts.before_volume.high);
    const double lead_low = power(parts.lead.low), lead_high = power(parts.lead.high);
    CHECK(*set.noise_at_output_dbv == Approx(decibels(all) + 20));
    CHECK(*set.noise_sd_db == Approx(std::hypot(parts.sd_db, 0.02)));
    // 90 dB SPL at 2.83 V and 1 m; 6.02 dB less at 2 m
    const double ear_db = 90 - 20 * std::log10(2.83) - 20 * std::log10(2.0);
    CHECK(*set.noise_at_ear_db_spl == Approx(decibels(all) + 20 + ear_db));
    CHECK(bench.noted("output noise is the source's and lead's from n23 (engine off) through this gain, 20 Hz to 20 kHz, with the amplifier's own"));
    std::string ways;
    for (const GainSplit& one : set.splits) ways += one.way + " ";
    CHECK(ways == "as_set as_found lower_volume lower_volume line_driver more_source less_gain ");
    const auto holds_noise = [&](const GainSplit& one, double a, double b, double gain_change_db) {
        const double low = decibels(std::min(a, b)) + 20 + gain_change_db, high = decibels(std::max(a, b)) + 20 + gain_change_db;
        CAPTURE(one.way);
        CHECK(one.noise_at_output_dbv.low == Approx(low));
        CHECK(one.noise_at_output_dbv.high == Approx(high));
        CHECK(one.change_db.low == Approx(low - decibels(all) - 20).margin(1e-9));
        CHECK(one.change_db.high == Approx(high - decibels(all) - 20).margin(1e-9));
        CHECK(one.noise_at_ear_db_spl->low == Approx(low + ear_db));
        CHECK(one.noise_at_ear_db_spl->high == Approx(high + ear_db));
    };
    const GainSplit& as_set = bench.split("as_set");
    holds_noise(as_set, all, all, 0);
    CHECK(as_set.text == "the source at volume 23, as set");
    CHECK(as_set.volume == 23.0);
    CHECK(*as_set.source_v == Approx(2.0));
    CHECK(*as_set.gain_db == Approx(20.0));
    for (const double change_db : {as_set.gain_change_db, as_set.source_change_db, as_set.output_change_db}) CHECK(change_db == 0);
    const GainSplit& found = bench.split("as_found");
    holds_noise(found, all, all, 3);
    CHECK(found.text == "as found: 3.0 dB more gain");
    CHECK(*found.gain_db == Approx(20 + found.gain_change_db));
    CHECK(found.gain_change_db == Approx(3));
    CHECK(found.output_change_db == 0);   // it clips no later
    // volumes that lie nearest to 3, 6 and 12 dB lower, within 35 % of that: 22 and 21 are as near to 3, the lower comes first; 20 is 6
    const GainSplit &first = bench.split("lower_volume", 0), &second = bench.split("lower_volume", 1);
    CHECK(second.volume == 20.0);
    CHECK((first.volume == 21.0 || first.volume == 22.0));
    const double down = first.volume == 21.0 ? 4 : 2;
    CHECK(first.gain_change_db == -first.source_change_db);
    CHECK(*first.gain_db == Approx(20 + down));
    CHECK(*first.source_v == Approx(2.0 * std::pow(10.0, -down / 20)));
    // all but what is ahead of the volume gains with the gain; in the range of what may be ahead
    holds_noise(second, before_high * power(-6) + (total - before_high) + own, before_low * power(-6) + (total - before_low) + own, 6);
    CHECK(second.text == "the source at volume 20, more gain");
    const GainSplit& driver = bench.split("line_driver");
    holds_noise(driver, (total - lead_high) * power(8) + lead_high + own, (total - lead_low) * power(8) + lead_low + own, -8);
    CHECK(driver.text == "a line driver of 8 dB at the source, less gain");
    CHECK(std::pair(driver.source_change_db, driver.gain_change_db) == std::pair(8.0, -8.0));
    CHECK(*driver.gain_db == Approx(12));
    CHECK(*driver.source_v == Approx(2.0 * std::pow(10.0, 0.4)));
    CHECK(driver.volume == 23.0);
    // a better source: at best what lies behind its volume control stays as it is too
    const GainSplit& more = bench.split("more_source");
    const double behind = std::min(before_high * power(8) + total - before_high + own, before_low * power(8) + total - before_low + own);
    CHECK(more.noise_at_output_dbv.high == Approx(driver.noise_at_output_dbv.high));
    CHECK(more.noise_at_output_dbv.low == Approx(std::min(decibels(behind) + 12, driver.noise_at_output_dbv.low)));
    CHECK(more.text == "a source with 8 dB more output, less gain");
    CHECK(*more.gain_db == Approx(12));
    const GainSplit& less = bench.split("less_gain");
    holds_noise(less, all, all, -3);
    CHECK(std::pair(less.gain_change_db, less.output_change_db) == std::pair(-3.0, -3.0));
    CHECK(*less.gain_db == Approx(17));
    CHECK(less.text == "3 dB less gain: half the power");
}

TEST_CASE("splits where the dial ends, the gain was found lower, or no volume is known", "[amplifier]") {
    Noisy bench;
    bench.request.driver_db = 6;
    // 2 V wanted, 6 dB more is 3.99 V; its dial ends at 3.5
    bench.amplifier().sensitivity_v = {3.5, 0.2};
    bench.splits({read_gain(18, Channel::left)});
    CHECK(bench.split("line_driver").text == "a line driver of 6 dB at the source, less gain (its dial would have to reach 4.0 V)");
    CHECK(bench.split("more_source").text == "a source with 6 dB more output, less gain (its dial would have to reach 4.0 V)");
    CHECK(bench.split("as_found").text == "as found: 2.0 dB less gain");
    CHECK(bench.split("as_found").output_change_db == Approx(-2));
    CHECK(bench.split("as_found").change_db.high == Approx(-2));
    bench.amplifier().sensitivity_v = {0.2, 4.1};
    bench.splits();
    CHECK(bench.split("line_driver").text == "a line driver of 6 dB at the source, less gain");
    CHECK(bench.setting.splits[1].way == "lower_volume");
    CHECK_FALSE(bench.split("as_set").noise_at_ear_db_spl);
    for (const double found_db : {20.49, 20.51}) {   // half a decibel off is as set
        bench.splits({read_gain(found_db, Channel::left)});
        CHECK((bench.setting.splits[1].way == "as_found") == (found_db > 20.5));
    }
    // the dial's end counts where it doesn't reach so far: 14 dB at 4 V
    bench.amplifier().sensitivity_v = {4.0, 8.0};
    bench.splits();
    CHECK(*bench.split("as_set").gain_db == Approx(20 * std::log10(5.0)));
    CHECK(*bench.setting.noise_at_output_dbv == Approx(-80 + 20 * std::log10(5.0)).margin(0.01));
    bench.setting.volume.reset();
    bench.splits();
    CHECK(bench.split("as_set").text == "the source at its highest clean level, as set");
    CHECK(bench.setting.splits[1].way == "line_driver");
    CHECK(bench.setting.best_split.find("The source at its highest clean level and no more gain than the target needs") == 0);
    CHECK_FALSE(holds(bench.setting.best_split, "with the gain set for volume"));
}

TEST_CASE("the lower volumes are those nearest to 3, 6 and 12 dB less", "[amplifier]") {
    const auto volumes = [](const std::vector<std::pair<double, double>>& steps) {
        Noisy bench;
        bench.curves.clear();
        bench.stepped.clear();
        bench.add_curve("steps", Channel::left, steps);
        bench.splits();
        std::vector<double> out;
        for (const GainSplit& one : bench.setting.splits)
            if (one.way == "lower_volume") out.push_back(*one.volume);
        return out;
    };
    CHECK(volumes({{10, -12}, {14, -10}, {17, -6.5}, {18, -5}, {20, -3.2}, {21, -2.7}, {22, -1}, {23, 0}}) == std::vector<double>{20, 17, 10});
    // 35 % of 3 dB is 1.05, of 6 dB 2.1, of 12 dB 4.2
    CHECK(volumes({{20, -8.05}, {21, -4.0}, {23, 0}}) == std::vector<double>{21, 20});
    CHECK(volumes({{20, -8.15}, {21, -1.9}, {23, 0}}) == std::vector<double>{20});
    CHECK(volumes({{20, -16.1}, {23, 0}}) == std::vector<double>{20});
    CHECK(volumes({{20, -16.3}, {22, -1.9}, {23, 0}}).empty());
    CHECK(volumes({{21, -4.05}, {23, 0}}) == std::vector<double>{21});   // near 3 and near 6 alike: said once
    CHECK(volumes({{23, 0}, {24, -3}}).empty());                          // higher ones are no lower volumes
}

TEST_CASE("the best split says what the others would bring", "[amplifier]") {
    Noisy bench;   // nothing is known of the parts
    bench.splits();
    CHECK(bench.setting.best_split ==
          "The source at volume 23 and no more gain than its target needs is the best split of what is there; with the gain set for volume 20: 0.0 "
          "to 6.0 dB louder. With a line driver of 6 dB at the source: 0.0 to 6.0 dB quieter.");
    Noisy ahead;   // all of it falls with the volume, decibel for decibel; the lead adds nothing
    ahead.job.job.takes.clear();
    ahead.add_noise("n23", -70, 23);
    ahead.add_noise("n20", -76, 20);
    ahead.add_noise("n21", -74, 21);
    ahead.add_noise("off", -120, 23).conditions.source = SourceState::off;
    ahead.splits();
    const NoiseParts& parts = *ahead.setting.noise_parts;
    const bool sure = power(parts.before_volume.low) / power(parts.total_dbv) > 0.8;
    CHECK(holds(ahead.setting.best_split, "Nearly all of it comes from the source, ahead of its volume control") == sure);
    CHECK(holds(ahead.setting.best_split, "no change, since none of this noise comes in behind it."));
}
