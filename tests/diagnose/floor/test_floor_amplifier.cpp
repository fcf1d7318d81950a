#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/floor/floor_record_parts.hpp"
#include "diagnose/floor_job.hpp"
#include "hushtrace/diagnose/loudness.hpp"
#include "hushtrace/vehicle/hearing.hpp"

using namespace hushtrace;
using namespace floor_job;
using Catch::Matchers::Contains;

namespace {

double decibels(double ratio) {
    return 20.0 * std::log10(ratio);
}

/// One take's channel against a job's amplifiers; the take is the first of the job.
struct Bench {
    OpenedJob opened = job_of();
    GainAnalysis gain;
    NoiseAnalysis noise;
    ChannelFloor channel;
    bool with_gain = true;

    Bench() {
        add_take(opened, "takes/idle.flac", Engine::idle, {Channel::left, Channel::right});
        gain = gain_of(opened);
        channel.floor = reading_of("takes/idle.flac");
    }
    AmplifierData& amplifier() { return opened.job.amplifiers[0]; }
    AmplifierSetting& setting() { return gain.amplifiers[0]; }
    /// A curve of the channel played 2 V at the volume of the setting, with the reading's sd of 0.01 dB.
    void with_ceiling() {
        channel.ceiling = FloorCeiling{};
        channel.ceiling->level_sd_db = 0.01;
    }
    std::vector<AmplifierFloor> all() const {
        ChannelFloor out = channel;
        hold_to_amplifiers({opened.job, noise, with_gain ? &gain : nullptr, opened.job.takes[0], 0}, out);
        return out.amplifiers;
    }
    AmplifierFloor held() const {
        const std::vector<AmplifierFloor> out = all();
        REQUIRE(out.size() == 1);
        return out[0];
    }
    bool notes(const char* words) const {
        for (const std::string& one : held().notes)
            if (one.find(words) != std::string::npos) return true;
        return false;
    }
    void add_line(double hz, double level_dbv, LimitedBy limit = LimitedBy::nothing) {
        FloorLine line;
        line.frequency_hz = hz;
        line.dbfs = Reading{0, 0.05, limit};
        line.dbv = dbv(level_dbv, 0.05, limit);
        channel.lines.push_back(line);
    }
};

OutputReading output(std::optional<double> gain_db, std::optional<Channel> channel, double gain_sd_db = 0.2, double measured_sd_db = 0.15) {
    OutputReading out;
    out.gain_now_db = gain_db;
    out.channel = channel;
    out.gain_sd_db = gain_sd_db;
    out.measured_sd_db = measured_sd_db;
    return out;
}

}  // namespace

TEST_CASE("an amplifier's gain counts as found, then at its dial's end, then as required, then as stated", "[floor_amplifier]") {
    Bench bench;
    bench.with_ceiling();
    AmplifierFloor out = bench.held();
    CHECK(out.amplifier == "front");
    CHECK(out.gain_from == "required");
    CHECK(out.gain_db->value == 20);
    CHECK(out.gain_db->sd == 0.12);
    CHECK(bench.notes("with its gain as it must be set"));
    // 2 V of the left channel set it, so the scale cancels and the step's own sd is left
    CHECK(out.hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, 0.01)).margin(1e-9));
    for (const double off : {0.9989, 1.0011}) {  // by another channel's: the gain's sd and the scale's
        bench.setting().input_v_at_ceiling = 2.0 * off;
        CHECK(bench.held().hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, std::hypot(0.12, kScaleSd_db))).margin(1e-9));
    }
    bench.setting().input_v_at_ceiling = 2.0 * 1.0009;
    CHECK(bench.held().hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, 0.01)).margin(1e-9));
    // a tone of -6 dBFS that read 2 V stands for 4 V at full scale
    bench.setting().tone_dbfs = decibels(0.5);
    bench.setting().input_v_at_ceiling = 4.0;
    CHECK(bench.held().hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, 0.01)).margin(1e-9));
    bench.setting().volume = 30;
    CHECK(bench.held().hiss_re_full_power_db->db.sd > 0.1);
    bench.setting().volume = 34;
    bench.gain.curves[0].channel = Channel::right;
    CHECK(bench.held().hiss_re_full_power_db->db.sd > 0.1);
    bench.setting().input_v_at_ceiling.reset();
    CHECK(bench.held().hiss_re_full_power_db->db.sd > 0.1);

    bench.setting().gain_reached_db = 18.0;
    out = bench.held();
    CHECK(out.gain_from == "dial_end");
    CHECK(out.gain_db->value == 18);
    CHECK(out.gain_db->sd == 0);
    CHECK(bench.notes("with its dial at its end"));
    CHECK(out.hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, kScaleSd_db)).margin(1e-9));

    bench.setting().output_readings = {output(std::nullopt, Channel::left), output(23, std::nullopt)};
    out = bench.held();
    CHECK(out.gain_from == "found");
    CHECK(out.gain_db->value == 23);
    CHECK(out.gain_db->sd == 0.2);
    CHECK(bench.notes("as it was read at its output"));
    // read in another channel: its sd and the scale's
    CHECK(out.hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, std::hypot(0.2, kScaleSd_db))).margin(1e-9));
    bench.setting().output_readings.push_back(output(24, Channel::right));
    CHECK(bench.held().gain_db->value == 24);  // the latest
    bench.setting().output_readings.push_back(output(25, Channel::left));
    bench.setting().output_readings.push_back(output(26, Channel::right));
    out = bench.held();
    CHECK(out.gain_db->value == 25);  // but the channel's own before all
    CHECK(out.hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, std::hypot(0.15, 0.01))).margin(1e-9));
    bench.setting().output_readings.push_back(output(27, Channel::left));
    CHECK(bench.held().gain_db->value == 27);

    // nobody said how sure
    bench.setting().output_readings = {output(27, Channel::left)};
    bench.setting().output_readings[0].measured_sd_db.reset();
    CHECK(bench.held().hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, 0.01)).margin(1e-9));
    bench.setting().output_readings[0].channel = Channel::right;
    bench.setting().output_readings[0].gain_sd_db.reset();
    CHECK(bench.held().hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, kScaleSd_db)).margin(1e-9));
    CHECK(bench.held().gain_db->sd == 0);
    bench.setting().output_readings.clear();
    bench.setting().gain_reached_db.reset();
    bench.setting().gain_sd_db.reset();
    CHECK(bench.held().gain_db->sd == 0);

    bench.setting().name = "another";
    CHECK(bench.held().gain_from == "unknown");
    CHECK(bench.notes("its gain isn't known"));
    CHECK_FALSE(bench.held().gain_db);
    bench.opened.job.source.preout_v = 4.0;
    out = bench.held();
    CHECK(out.gain_from == "stated");
    CHECK(out.gain_db->value == Approx(decibels(20.0 / 4.0)));
    CHECK(out.gain_db->sd == 3);
    CHECK(bench.notes("set for the source's stated voltage"));
    CHECK(out.hiss_re_full_power_db->db.sd == Approx(std::hypot(0.05, std::hypot(3.0, kScaleSd_db))).margin(1e-9));
    // the dial goes no further than its ends, whichever stands first
    for (const auto& [ends, input_v] : {std::pair{std::array{0.2, 2.0}, 2.0},
                                        {std::array{2.0, 0.2}, 2.0},
                                        {std::array{5.0, 8.0}, 5.0},
                                        {std::array{0.2, 6.0}, 4.0},
                                        {std::array{0.0, 2.0}, 4.0},
                                        {std::array{2.0, 0.0}, 4.0}}) {
        bench.amplifier().sensitivity_v = ends;
        CHECK(bench.held().gain_db->value == Approx(decibels(20.0 / input_v)));
    }
    bench.opened.job.source.preout_v = 0.9;
    CHECK(bench.held().gain_db->value == Approx(decibels(20.0 / 0.9)));
    bench.with_gain = false;
    CHECK(bench.held().gain_from == "stated");
    bench.opened.job.source.preout_v = 0.0;
    CHECK(bench.held().gain_from == "unknown");
    bench.opened.job.source.preout_v = 4.0;
    bench.amplifier().power_w.reset();
    CHECK(bench.held().gain_from == "unknown");
    CHECK_FALSE(bench.notes("its gain isn't known"));
    CHECK(bench.notes("power_w and load_ohm, both above 0"));
}

TEST_CASE("full power and a watt are told at the amplifier's input, and the floor against them", "[floor_amplifier]") {
    Bench bench;
    AmplifierFloor out = bench.held();
    // 100 W and 1 W into 4 ohm: 20 V and 2 V, behind 20 dB
    CHECK(*out.full_power_v == Approx(2.0));
    CHECK(*out.one_watt_v == Approx(0.2));
    CHECK(out.load_ohm == 4.0);
    CHECK(out.signal_to_noise_1w_db->db.value == Approx(decibels(0.2) + 95));
    CHECK(out.signal_to_noise_1w_a_db->db.value == Approx(decibels(0.2) + 100));
    CHECK(out.hiss_re_full_power_db->db.value == Approx(-104 - decibels(2.0)));
    // 90 dB from 2.83 V at 1 m
    CHECK(out.hiss_at_ear_db_spl->db.value == Approx(90 - 104 + 20 - decibels(2.83)));
    CHECK(out.hiss_at_ear_db_spl->db.sd == Approx(std::hypot(0.05, kSpeakerSd_db)).margin(1e-9));
    CHECK(out.hiss_at_ear_db_spl->db.limited_by == LimitedBy::nothing);
    CHECK(out.notes.size() == 1);
    CHECK_FALSE(out.bass_only);
    for (const auto& [limit, bound] :
         {std::pair{LimitedBy::interface, true}, {LimitedBy::noise, true}, {LimitedBy::length, false}, {LimitedBy::nothing, false}}) {
        bench.channel.floor.a_weighted = figure(-100, limit);
        CHECK(bench.held().signal_to_noise_1w_a_db->bound == bound);
        CHECK(bench.held().signal_to_noise_1w_a_db->db.limited_by == limit);
        CHECK_FALSE(bench.held().signal_to_noise_1w_db->bound);
    }
    bench.amplifier().converter = ConverterData{};
    CHECK(bench.notes("a converter lies before its input"));
    for (const double load_ohm : {0.0, -4.0, HUGE_VAL}) {
        bench.amplifier().load_ohm = load_ohm;
        out = bench.held();
        CHECK_FALSE(out.load_ohm);
        CHECK_FALSE(out.one_watt_v);
        CHECK_FALSE(out.full_power_v);
        CHECK_FALSE(out.signal_to_noise_1w_db);
        CHECK_FALSE(out.hiss_re_full_power_db);
        CHECK(out.hiss_at_ear_db_spl);
    }
    bench.amplifier().load_ohm = 4;
    bench.opened.job.speakers[0].amplifier = "other";
    CHECK(bench.notes("no speaker of it with a sensitivity"));
    CHECK_FALSE(bench.held().hiss_at_ear_db_spl);
    bench.opened.job.speakers[0].amplifier = "front";
    bench.opened.job.speakers[0].sensitivity_db_2v83_1m.reset();
    CHECK(bench.notes("no speaker of it with a sensitivity"));
    CHECK_FALSE(bench.notes("not calibrated"));
    bench.add_line(50, -90);
    bench.channel.floor.unweighted.dbv.reset();
    out = bench.held();
    CHECK(bench.notes("not calibrated, so nothing is told against its power"));
    CHECK(out.full_power_v);
    CHECK_FALSE(out.signal_to_noise_1w_a_db);
    CHECK_FALSE(out.hiss_re_full_power_db);
    CHECK_FALSE(out.line_re_full_power_db);
}

TEST_CASE("of the lines the loudest counts against power, and at the ear that which stands highest over the threshold", "[floor_amplifier]") {
    Bench bench;
    bench.add_line(50, -80);
    bench.add_line(3000, -85);
    bench.add_line(8000, -60, LimitedBy::interface);
    bench.add_line(200, -90);
    bench.add_line(251, -70);
    bench.channel.lines[4].dbv.reset();
    AmplifierFloor out = bench.held();
    CHECK(out.loudest_line == 0U);
    CHECK(out.line_re_full_power_db->db.value == Approx(-80 - decibels(2.0)));
    CHECK(out.line_re_full_power_db->db.sd == Approx(0.05).margin(1e-9));
    CHECK(out.line_at_ear == 1U);
    const double spl = 90 - 85 + 20 - decibels(2.83);
    CHECK(out.line_at_ear_db_spl->db.value == Approx(spl));
    CHECK(out.line_at_ear_db_spl->db.sd == Approx(std::hypot(0.05, kSpeakerSd_db)).margin(1e-9));
    CHECK(*out.line_over_threshold_db == Approx(spl - hearing_threshold_db_spl(3000)));
    // 50 Hz stands lower over its threshold, though it is louder: which of the two comes first says nothing
    std::swap(bench.channel.lines[0], bench.channel.lines[1]);
    CHECK(bench.held().line_at_ear == 0U);
    CHECK(bench.held().loudest_line == 1U);
    std::swap(bench.channel.lines[0], bench.channel.lines[1]);
    // without a load there is no full power, but the ear
    bench.amplifier().load_ohm.reset();
    CHECK_FALSE(bench.held().loudest_line);
    CHECK(bench.held().line_at_ear == 1U);
    bench.amplifier().load_ohm = 4;
    // a subwoofer plays up to 250 Hz
    bench.opened.job.speakers[0].kind = SpeakerKind::subwoofer;
    bench.channel.lines[3].frequency_hz = 250;
    out = bench.held();
    CHECK(out.bass_only);
    CHECK(bench.notes("it plays bass alone: lines above 250 Hz don't count"));
    CHECK(out.loudest_line == 0U);
    CHECK(out.line_at_ear == 3U);  // 10 dB quieter than that of 50 Hz, whose threshold lies 33 dB higher
    bench.channel.lines[3].frequency_hz = 251;
    CHECK(bench.held().line_at_ear == 0U);
    bench.opened.job.speakers.clear();
    CHECK_FALSE(bench.held().line_at_ear);
}

TEST_CASE("an amplifier plays bass alone by its speakers, else by its name", "[floor_amplifier]") {
    Bench bench;
    std::vector<SpeakerData>& speakers = bench.opened.job.speakers;
    speakers.resize(2, speakers[0]);
    const auto bass_only = [&](std::optional<SpeakerKind> first, std::optional<SpeakerKind> second, const char* name = "front") {
        speakers[0].kind = first;
        speakers[1].kind = second;
        speakers[0].amplifier = speakers[1].amplifier = bench.amplifier().name = name;
        return bench.held().bass_only;
    };
    CHECK(bass_only(SpeakerKind::subwoofer, SpeakerKind::subwoofer));
    CHECK(bass_only(SpeakerKind::subwoofer, std::nullopt));
    CHECK_FALSE(bass_only(SpeakerKind::subwoofer, SpeakerKind::tweeter));
    CHECK_FALSE(bass_only(SpeakerKind::tweeter, SpeakerKind::subwoofer));
    CHECK_FALSE(bass_only(std::nullopt, std::nullopt));
    CHECK(bass_only(std::nullopt, std::nullopt, "sub"));
    CHECK_FALSE(bass_only(SpeakerKind::woofer, std::nullopt, "sub"));
    speakers[0].amplifier = "other";  // whose tweeter is another's
    speakers[0].kind = SpeakerKind::tweeter;
    speakers[1].kind = std::nullopt;
    CHECK(bench.held().bass_only);
}

TEST_CASE("a channel feeds the amplifiers that the job states, that were found, or that are named so", "[floor_amplifier]") {
    Bench bench;
    const auto is_fed = [&](Channel channel) { return feeds(bench.opened.job, bench.with_gain ? &bench.gain : nullptr, bench.amplifier(), channel); };
    CHECK(is_fed(Channel::left));
    CHECK_FALSE(is_fed(Channel::right));
    bench.amplifier().channels = {Channel::right};
    CHECK_FALSE(is_fed(Channel::left));
    CHECK(is_fed(Channel::right));
    bench.amplifier().channels.clear();
    bench.with_gain = false;
    CHECK(is_fed(Channel::left));
    CHECK(is_fed(Channel::sub));
    bench.opened.job.takes[1].channels.push_back(Channel::sub);
    CHECK(is_fed(Channel::left));
    CHECK_FALSE(is_fed(Channel::sub));
    bench.amplifier().name = "sub";
    CHECK_FALSE(is_fed(Channel::left));
    CHECK(is_fed(Channel::sub));
    // silence is held against none, a take at a named amplifier against that one alone
    bench.channel.channel = Channel::sub;
    CHECK(bench.all().size() == 1);
    bench.opened.job.takes[0].conditions.at_amplifier = "front";
    CHECK(bench.all().empty());
    bench.opened.job.takes[0].conditions.at_amplifier = "sub";
    bench.channel.channel = Channel::left;
    CHECK(bench.all().size() == 1);
    bench.channel.floor.third_octaves.clear();
    CHECK(bench.all().empty());
}
