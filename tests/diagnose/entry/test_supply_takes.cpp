#include <algorithm>
#include <catch2/catch.hpp>
#include <numbers>
#include <random>

#include "../../../src/diagnose/entry/probe_twin.hpp"
#include "../../../src/diagnose/entry/supply_probe.hpp"
#include "diagnose/made_survey.hpp"
#include "holds.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 8000.0, kSeconds = 3.0, kBase_hz = 150.0;
const std::vector<double> kRatios = {1, 2, 4, 8};

std::vector<double> lines(double amplitude, double base_hz = kBase_hz, unsigned seed = 1, double top_times = 1.0) {
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0.0, 1e-6);
    std::vector<double> out(static_cast<std::size_t>(kRate * kSeconds));
    for (std::size_t n = 0; n < out.size(); ++n) {
        out[n] = noise(random);
        for (const double ratio : kRatios)
            out[n] += (ratio > 7.0 ? top_times : 1.0) * amplitude *
                      std::sin(2.0 * std::numbers::pi * ratio * base_hz * static_cast<double>(n) / kRate + ratio);
    }
    return out;
}

/// A source of four lines that is followed in the first take; a probe beside it.
struct Probed {
    TemporaryFolder folder;
    OpenedJob opened;
    std::list<TakeSurvey> surveys;
    NoiseAnalysis analysis;
    Probed() {
        opened.folder = folder.path();
        opened.job.interface.volts_full_scale = {2.0, 8.0};
        opened.job.takes.reserve(4);   // the surveys refer to them
        NoiseSource source;
        source.id = "load-1";
        source.kind = NoiseKind::switched_load;
        source.frequency_hz = kBase_hz;
        analysis.noise_sources = {source};
        trace("a.wav");
    }
    void trace(const std::string& take) {
        SourceTrace one;
        one.source_id = "load-1";
        one.take = take;
        one.steady = true;
        one.track = {{0.0, 1.0}, {kBase_hz, kBase_hz}};
        one.ratios = kRatios;
        analysis.traces.push_back(one);
    }
    Take& add(const std::string& file, const std::vector<Channel>& channels, const std::vector<std::vector<double>>& sound) {
        Block block(sound.size(), sound[0].size());
        for (std::size_t c = 0; c < sound.size(); ++c) std::copy(sound[c].begin(), sound[c].end(), block.channel(c).begin());
        TakeWriter writer(folder / file, kRate, sound.size());
        writer.write(block);
        writer.close();
        opened.job.takes.push_back(made_take(file, Engine::idle, channels));
        const Take& take = opened.job.takes.back();
        if (std::none_of(channels.begin(), channels.end(), carries_signal)) return opened.job.takes.back();
        surveys.push_back(quiet_survey(take, 1.0, kRate));
        TakeSurvey& survey = surveys.back();
        survey.duration_s = kSeconds;
        for (std::size_t c = channels.size(); c-- > 0;) {
            survey.channels[c].file_channel = c;
            if (!carries_signal(channels[c])) survey.channels.erase(survey.channels.begin() + static_cast<std::ptrdiff_t>(c));
        }
        return opened.job.takes.back();
    }
    Take& add_usual(double signal = 0.001, double supply = 0.01, Channel probe = Channel::supply) {
        return add("a.wav", {Channel::left, probe}, {lines(signal), lines(supply, kBase_hz, 2)});
    }
    void read() {
        analysis.warnings.clear();
        analysis.supply_transfers.clear();
        analysis.feed_impedances.clear();
        read_supply_probes(analysis, surveys, opened);
    }
    std::vector<std::string> codes() {
        read();
        std::vector<std::string> out;
        for (const Warning& one : analysis.warnings) out.push_back(one.code);
        return out;
    }
    std::string said(const std::string& code) const {
        for (const Warning& one : analysis.warnings)
            if (one.code == code) return one.text;
        return {};
    }
};

using Codes = std::vector<std::string>;

}  // namespace

TEST_CASE("a signal over the supply's voltage is read at a source's lines, in volts", "[supply_takes]") {
    Probed job;
    job.add_usual();
    job.read();
    REQUIRE(job.analysis.supply_transfers.size() == 1);
    const SupplyTransfer& out = job.analysis.supply_transfers[0];
    CHECK(out.source_id == "load-1");
    CHECK(out.take == "a.wav");
    CHECK(out.channel == Channel::left);
    CHECK(out.against == Channel::supply);
    CHECK(out.calibrated);
    REQUIRE(out.points.size() == 4);
    for (std::size_t i = 0; i < 4; ++i) {
        CHECK(out.points[i].frequency_hz == Approx(kRatios[i] * kBase_hz));
        CHECK(out.points[i].ratio_db.value == Approx(-20.0 + 20.0 * std::log10(2.0 / 8.0)).margin(0.05));   // a tenth, 2 V over 8 V
        CHECK(out.points[i].coherence > 0.99);
    }
    CHECK(out.decades == Approx(std::log10(8.0)).margin(0.01));
    REQUIRE(out.slope_db_per_decade);
    CHECK(out.slope_db_per_decade->value == Approx(0.0).margin(0.1));
    CHECK_FALSE(out.shared_mohm);   // of a voltage it is no resistance
    CHECK_FALSE(out.spoilt);
    CHECK_FALSE(out.twin);
    CHECK(holds(out.text, "Over the supply's voltage it goes by"));
    CHECK(holds(out.text, "read from 150 Hz to 1.2 kHz"));
    CHECK(job.codes() == Codes{"no_probe_twin"});
    CHECK(holds(job.said("no_probe_twin"), "a.wav: no take like it without the probe"));
    job.opened.job.interface.volts_full_scale = {std::nullopt, 8.0};
    job.read();
    CHECK_FALSE(job.analysis.supply_transfers.at(0).calibrated);
    CHECK(job.analysis.supply_transfers[0].points.at(0).ratio_db.value == Approx(-20.0).margin(0.05));
}

TEST_CASE("a signal over the supply's current that does not go with frequency is a resistance", "[supply_takes]") {
    Probed job;
    job.add_usual(0.001, 0.01, Channel::supply_current).channels[0] = Channel::right;
    job.surveys.front().channels[0].channel = Channel::right;
    CHECK(job.codes() == Codes{"clamp_scale_unknown"});
    CHECK(holds(job.said("clamp_scale_unknown"), "the supply's current has no scale"));
    job.opened.job.interface.amps_per_volt = 10.0;
    job.opened.job.interface.volts_full_scale_sd_db = {0.3, 0.4};
    CHECK(job.codes() == Codes{"no_probe_twin"});
    REQUIRE(job.analysis.supply_transfers.size() == 1);
    const SupplyTransfer& out = job.analysis.supply_transfers[0];
    CHECK(out.channel == Channel::right);
    CHECK(out.against == Channel::supply_current);
    REQUIRE(out.shared_mohm);
    CHECK(out.shared_mohm->value == Approx(1e3 * 0.1 * 2.0 / 80.0).epsilon(0.005));   // 8 V are 80 A
    CHECK(out.shared_mohm->sd == Approx(out.shared_mohm->value * std::log(10.0) / 20.0 * 0.5).epsilon(0.05));   // 0.3 and 0.4 dB
    CHECK(out.shared_at_hz.value_or(0) > 250.0);
    CHECK(out.shared_at_hz.value_or(0) < 700.0);
    job.opened.job.interface.volts_full_scale = {std::nullopt, 8.0};
    job.read();
    CHECK_FALSE(job.analysis.supply_transfers.at(0).shared_mohm);
}

TEST_CASE("what keeps a probe's take from being read is said", "[supply_takes]") {
    Probed job;
    Take& take = job.add_usual();
    const auto with = [&](auto change) {
        const Take before = take;
        change(take);
        const Codes codes = job.codes();
        take = before;
        return codes;
    };
    CHECK(with([](Take& t) { t.conditions.engine = Engine::off; }) == Codes{"supply_engine_off"});
    CHECK(with([](Take& t) { t.conditions.hookup = {Hookup::inputs_shorted}; }).empty());
    CHECK(with([](Take& t) { t.tone = PlayedTone{Sine{1000, 0}, std::nullopt}; }).empty());
    CHECK(with([](Take& t) { t.faults = {TakeFault::overload}; }).empty());   // said where the noise is read
    CHECK(with([](Take& t) { t.channels = {Channel::left}; }).empty());
    CHECK(with([](Take& t) { t.channels = {Channel::left, Channel::supply, Channel::right}; }) == Codes{"supply_unreadable"});
    CHECK(holds(job.said("supply_unreadable"), "a.wav: the file's channels aren't those"));
    CHECK(with([](Take& t) { t.channels = {Channel::supply_current, Channel::supply}; }).at(0) == "clamp_scale_unknown");
    Probed alone;
    Take& lone = alone.add("a.wav", {Channel::supply}, {lines(0.01)});
    CHECK(alone.codes() == Codes{"supply_alone"});
    lone.faults = {TakeFault::overload};
    CHECK(alone.codes() == Codes{"supply_overloaded"});
    // no take with a probe: nothing to say
    Probed none;
    none.add("a.wav", {Channel::left}, {lines(0.01)}).conditions.engine = Engine::off;
    CHECK(none.codes().empty());
    // a take that was left out already
    job.surveys.clear();
    CHECK(job.codes().empty());
}

TEST_CASE("a probe that is silent, clips or has nothing in common with the signal is said", "[supply_takes]") {
    Probed silent;
    silent.add("a.wav", {Channel::left, Channel::supply}, {lines(0.001), std::vector<double>(static_cast<std::size_t>(kRate * kSeconds), 0.25)});
    CHECK(silent.codes() == Codes{"supply_silent"});
    CHECK(holds(silent.said("supply_silent"), "the supply's voltage is silent"));
    Probed clipped;
    std::vector<double> loud = lines(0.01);
    loud[100] = loud[101] = 1.0;
    clipped.add("a.wav", {Channel::left, Channel::supply}, {lines(0.001), loud});
    CHECK(clipped.codes() == Codes{"supply_overloaded"});
    Probed other;
    other.add("a.wav", {Channel::left, Channel::supply}, {lines(0.001), lines(0.01, 171.3)});
    CHECK(other.codes() == Codes{"supply_not_common"});
    CHECK(holds(other.said("supply_not_common"), "load-1 has no line in common with the supply's voltage"));
    CHECK(other.analysis.supply_transfers.empty());
    Probed unfollowed;
    unfollowed.add_usual();
    for (const auto change : {0, 1, 2, 3, 4}) {
        CAPTURE(change);
        const NoiseAnalysis before = unfollowed.analysis;
        if (change == 0) unfollowed.analysis.traces.clear();
        if (change == 1) unfollowed.analysis.traces[0].take = "b.wav";
        if (change == 2) unfollowed.analysis.traces[0].ratios.clear();
        if (change == 3) unfollowed.analysis.traces[0].source_id = "load-2";
        if (change == 4) unfollowed.analysis.noise_sources[0].kind = NoiseKind::ignition_tick;
        CHECK(unfollowed.codes() == Codes{"supply_no_lines"});
        unfollowed.analysis = before;
    }
    unfollowed.surveys.front().channels[0].silent = true;
    CHECK(unfollowed.codes().empty());
}

TEST_CASE("a probe that changes the noise spoils its take, held against the same without it", "[supply_takes]") {
    Probed job;
    job.add_usual();
    Take& twin = job.add("b.wav", {Channel::left, Channel::right}, {lines(0.0001), lines(0.001)});
    job.analysis.noise_sources[0].levels = {
        {"a.wav", Channel::left, 10.0 * std::log10(2.0 * 4e-6), std::nullopt, 0.1, std::nullopt, LimitedBy::nothing}};
    const auto put = [&](TakeSurvey& survey, double each) {
        for (const double ratio : kRatios) survey.channels[0].spectrum.density[static_cast<std::size_t>(ratio * kBase_hz)] = each;
    };
    put(job.surveys.front(), 1e-6);   // not followed in the twin: by what lies where its lines pass
    put(job.surveys.back(), 1e-7);
    CHECK(job.codes() == Codes{"probe_spoils"});
    CHECK(holds(job.said("probe_spoils"), "with the probe on the supply load-1 is 10.0 dB louder than in b.wav"));
    REQUIRE(job.analysis.supply_transfers.size() == 1);
    CHECK(job.analysis.supply_transfers[0].spoilt);
    CHECK(job.analysis.supply_transfers[0].twin == std::optional<std::string>("b.wav"));
    CHECK(holds(job.analysis.supply_transfers[0].text, "the probe itself changed the noise"));
    put(job.surveys.back(), 1e-5);
    job.read();
    CHECK(holds(job.said("probe_spoils"), "10.0 dB quieter"));
    for (const double change_db : {3.9, 4.1}) {   // takes at idle repeat to 4 dB
        put(job.surveys.back(), 1e-6 * std::pow(10.0, -0.1 * change_db));
        CHECK(job.codes() == (change_db > 4.0 ? Codes{"probe_spoils"} : Codes{}));
        CHECK(job.analysis.supply_transfers[0].spoilt == (change_db > 4.0));
        CHECK(job.analysis.supply_transfers[0].twin == std::optional<std::string>("b.wav"));
    }
    job.add("c.wav", {Channel::left, Channel::right}, {lines(0.0001), lines(0.001)});
    put(job.surveys.back(), 1e-6);   // the first that differs is told
    CHECK(job.codes() == Codes{"probe_spoils"});
    CHECK(job.analysis.supply_transfers[0].twin == std::optional<std::string>("b.wav"));
    job.opened.job.takes[2].conditions.volume = 3.0;
    twin.conditions.volume = 7.0;   // no longer alike
    CHECK(job.codes() == Codes{"no_probe_twin"});
    twin.conditions.volume.reset();
    job.analysis.noise_sources[0].levels.clear();   // nothing there is known to be its own
    CHECK(job.codes().empty());
    CHECK_FALSE(job.analysis.supply_transfers[0].twin);
}

TEST_CASE("a source's change by the probe is read on its lines where they were followed in both", "[supply_takes]") {
    Probed job;
    job.add_usual(0.002);
    job.add("b.wav", {Channel::right, Channel::left}, {lines(0.05), lines(0.001, kBase_hz, 1, 3.0)});   // its highest line is thrice as strong
    job.trace("b.wav");
    const TakeSurvey &with = job.surveys.front(), &without = job.surveys.back();
    const auto change = [&](double scale_b = 0.0) {
        job.opened.job.interface.volts_full_scale = {2.0, scale_b > 0.0 ? std::optional(scale_b) : std::nullopt};
        return change_by_probe(job.analysis.noise_sources[0], job.analysis.traces[0], {&with, nullptr}, {&without, nullptr}, Channel::left,
                               job.analysis, job.opened);
    };
    REQUIRE(change());
    const double twice_db = 10.0 * std::log10(4.0 * 4.0 / (3.0 + 9.0));   // powers of all lines together
    CHECK(change()->value == Approx(twice_db).margin(0.05));   // sample values; the twin isn't calibrated
    CHECK(change()->sd < 0.5);
    CHECK(change(1.0)->value == Approx(twice_db + 20.0 * std::log10(2.0)).margin(0.05));   // 2 V over 1 V
    // sounds that were read already are taken as they are
    const ProbeSound read_a = read_probe_sound(job.opened, *with.take, &with), read_b = read_probe_sound(job.opened, *without.take, &without);
    const auto again = change_by_probe(job.analysis.noise_sources[0], job.analysis.traces[0], {&with, &read_a}, {&without, &read_b}, Channel::left,
                                       job.analysis, job.opened);
    REQUIRE(again);
    CHECK(again->value == Approx(change(1.0)->value));
    CHECK_FALSE(change_by_probe(job.analysis.noise_sources[0], job.analysis.traces[0], {&with, &read_a}, {&without, &read_b}, Channel::right,
                                job.analysis,
                                job.opened));  // not in the probe's take
    // at another speed in the twin: no line is the same, within 3 %
    job.analysis.traces[1].track = {{0.0, 1.0}, {kBase_hz * 1.031, kBase_hz * 1.031}};
    CHECK_FALSE(change());
    // a sweep isn't read line by line
    job.analysis.traces[1] = job.analysis.traces[0];
    job.analysis.traces[1].take = "b.wav";
    CHECK(change());
    job.opened.job.takes[0].conditions.engine = Engine::sweep;
    CHECK_FALSE(change());
}

TEST_CASE("a probe's sound is the stretch that was surveyed", "[supply_takes]") {
    Probed job;
    std::vector<double> ramp(100000);   // more than is read at once
    for (std::size_t n = 0; n < ramp.size(); ++n) ramp[n] = static_cast<double>(n) / 131072.0;
    const Take& take = job.add("a.wav", {Channel::left, Channel::supply}, {ramp, ramp});
    const ProbeSound whole = read_probe_sound(job.opened, take, nullptr);
    CHECK(whole.rate == kRate);
    REQUIRE(whole.channels.size() == 2);
    CHECK(whole.channels[0].size() == ramp.size());
    job.surveys.front().from_s = 1.5;
    job.surveys.front().duration_s = 10.0;
    const ProbeSound part = read_probe_sound(job.opened, take, &job.surveys.front());
    REQUIRE(part.channels[0].size() == 80000);
    CHECK(part.channels[1].size() == 80000);
    CHECK(part.channels[0].front() == Approx(12000.0 / 131072.0).margin(1e-6));
    CHECK(part.channels[0].back() == Approx(91999.0 / 131072.0).margin(1e-6));
}

TEST_CASE("a supply without a line says nothing of its feed", "[supply_takes]") {
    std::mt19937 random(9);
    std::normal_distribution<double> noise(0.0, 1e-3);
    std::vector<double> hiss(16000);
    for (double& sample : hiss) sample = noise(random);
    Probed job;
    job.add("a.wav", {Channel::supply, Channel::supply_current}, {hiss, hiss});
    job.opened.job.interface.amps_per_volt = 10.0;
    job.opened.job.interface.volts_full_scale = {1.0, 1.0};
    CHECK(job.codes() == Codes{"supply_no_lines"});
    CHECK(job.analysis.feed_impedances.empty());
}

TEST_CASE("voltage over current at lines that sweep gives the feed's resistance, inductance and capacitors", "[supply_takes]") {
    // v = R i + L di/dt + the integral of i over C, at a whine from 220 to 560 Hz and its multiples: 10 mohm, 3 uH, 20 mF
    constexpr double ohm = 0.010, henry = 3e-6, farad = 0.020, seconds = 4.0;
    std::mt19937 random(5);
    std::normal_distribution<double> noise(0.0, 1e-5);
    std::vector<double> volts, amps;
    double phase = 0;
    for (std::size_t n = 0; n < static_cast<std::size_t>(kRate * seconds); ++n) {
        const double hz = 220.0 * std::pow(560.0 / 220.0, static_cast<double>(n) / (kRate * seconds));
        phase += 2.0 * std::numbers::pi * hz / kRate;
        const double omega = 2.0 * std::numbers::pi * hz;
        double v = 0, i = 0;
        for (const double k : {1.0, 2.0, 3.0}) {
            i += std::sin(k * phase) / k;
            v += ohm * std::sin(k * phase) / k + (omega * henry - 1.0 / (k * k * omega * farad)) * std::cos(k * phase);
        }
        volts.push_back(v + noise(random));
        amps.push_back(0.1 * i + noise(random));
    }
    Probed job;
    job.add("a.wav", {Channel::supply, Channel::supply_current}, {volts, amps}).conditions.engine = Engine::sweep;
    job.opened.job.interface.amps_per_volt = 10.0;
    job.opened.job.interface.volts_full_scale = {1.0, std::nullopt};
    CHECK(job.codes() == Codes{"feed_not_calibrated"});
    job.opened.job.interface.volts_full_scale = {1.0, 1.0};
    job.opened.job.interface.volts_full_scale_sd_db = {0.6, 0.8};
    CHECK(job.codes().empty());
    REQUIRE(job.analysis.feed_impedances.size() == 1);
    const FeedImpedance read = job.analysis.feed_impedances[0];
    CHECK(read.take == "a.wav");
    CHECK(read.resistance_ohm.value == Approx(ohm).epsilon(0.05));
    CHECK(read.inductance_h.value == Approx(henry).epsilon(0.05));
    CHECK(read.corner_hz.value == Approx(ohm / (2.0 * std::numbers::pi * henry)).epsilon(0.08));
    REQUIRE(read.capacitance_f);
    CHECK(read.capacitance_f->value == Approx(farad).epsilon(0.05));
    CHECK(read.capacitance_f->sd == Approx(0.115 * farad).epsilon(0.15));
    CHECK(read.from_hz > 100.0);
    CHECK(read.from_hz < 300.0);
    CHECK(read.to_hz > 1200.0);
    CHECK(holds(read.text, "milliohm"));
    // the scales' 1 dB together is 11.5 %
    CHECK(read.resistance_ohm.sd == Approx(0.115 * read.resistance_ohm.value).epsilon(0.1));
    CHECK(read.inductance_h.sd == Approx(0.115 * read.inductance_h.value).epsilon(0.1));
}
