#include <catch2/catch.hpp>
#include <cmath>
#include <random>
#include <string>

#include "diagnose/stepped_job.hpp"
#include "reference/table.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

constexpr double ceiling_v = 2.7706;  // sample value 1.0 is 8 V: -6.2 dBFS is 8 / sqrt(2) * 10^(-6.2 / 20)

/// Both channels of white noise with this rms between 20 Hz and 20 kHz at the interface [dBV].
Take& add_noise(JobInMemory& job, const std::string& file, double dbv, double volume, unsigned seed) {
    Block noise(2, 480000);
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, std::pow(10.0, dbv / 20) / 8.0 * std::sqrt(24000.0 / 19980));
    for (std::size_t c = 0; c < 2; ++c)
        for (double& x : noise.channel(c)) x = normal(engine);
    Take take;
    take.file = file;
    take.channels = {Channel::left, Channel::right};
    take.conditions.volume = volume;
    job.sound[file] = {noise, 48000.0};
    job.opened.job.takes.push_back(take);
    return job.opened.job.takes.back();
}

double power(double db) { return std::pow(10.0, db / 10); }
double decibels(double ratio) { return 10 * std::log10(ratio); }

const GainSplit& split(const AmplifierSetting& setting, const std::string& way) {
    for (const GainSplit& one : setting.splits)
        if (one.way == way) return one;
    FAIL("no split " + way);
    throw 0;
}

/// A take at the amplifier's output behind a pad of 20 dB.
void add_output(JobInMemory& job, double volts, double volume, double rail = 2.0) {
    Source source;
    const double dbfs = 20 * std::log10(volts / 10 * std::sqrt(2.0) / 8);
    source.stops = {Stop{dbfs, 2.0}};
    source.channels = {hard(rail), hard(rail)};
    source.channel_gain = {1.0, 1.0};
    Take& take = job.add("out.flac", source, {});
    take.conditions.point = Point::amp_output;
    take.conditions.volume = volume;
    take.attenuation_db = {20, 20};
}

}  // namespace

TEST_CASE("a weaker speaker sets the target, the dial still goes by the amplifier's rating", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    SpeakerData speaker;
    speaker.amplifier = "front";
    speaker.power_w = 50;
    job.opened.job.speakers = {speaker};
    const AmplifierSetting front = job.analyse().amplifiers.at(0);
    CHECK(*front.target_output_v == Approx(std::sqrt(200.0)));  // 50 W into 4 ohm, Ohm's law: 14.14 V
    CHECK(*front.rated_output_v == Approx(20.0));
    CHECK(front.target_limited_by == "speaker");
    CHECK(*front.gain_db == Approx(20 * std::log10(std::sqrt(200.0) / ceiling_v)).margin(0.01));
    CHECK(*front.dial_sensitivity_v == Approx(ceiling_v * 20 / std::sqrt(200.0)).epsilon(0.001));
    CHECK(says(front.notes, "50 W"));

    // two of 8 ohm in parallel make the 4 ohm: each stands sqrt(50 * 8) = 20 V, the amplifier's own
    job.opened.job.speakers[0].impedance_ohm = 8;
    CHECK(job.analyse().amplifiers[0].target_limited_by == "amplifier");
}

TEST_CASE("the dial's place follows its law, and is a first guess", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    job.opened.job.amplifiers[0].dial_marks = {0, 10};
    const DialPlace assumed = *job.analyse().amplifiers.at(0).dial;
    CHECK(assumed.law_assumed);
    CHECK(assumed.travel == Approx(std::log(6.0 / ceiling_v) / std::log(30.0)).margin(0.001));
    CHECK(*assumed.mark == Approx(10 * assumed.travel));
    job.opened.job.amplifiers[0].dial_law = DialLaw::linear_volts;
    const DialPlace stated = *job.analyse().amplifiers.at(0).dial;
    CHECK_FALSE(stated.law_assumed);
    CHECK(stated.travel == Approx((6.0 - ceiling_v) / 5.8).margin(0.001));
}

TEST_CASE("a source too weak for the dial leaves the output that it reaches", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    job.opened.job.amplifiers[0].sensitivity_v = {4.0, 8.0};
    const AmplifierSetting weak = job.analyse().amplifiers.at(0);
    CHECK_FALSE(weak.dial);
    CHECK(*weak.reached_output_v == Approx(20.0 * ceiling_v / 4.0).epsilon(0.001));
    CHECK(*weak.reached_power_w == Approx(std::pow(20.0 * ceiling_v / 4.0, 2) / 4).epsilon(0.002));
    CHECK(*weak.gain_reached_db == Approx(20 * std::log10(20.0 / 4.0)));
    CHECK(says(weak.notes, "line driver"));

    // too strong: 2.77 V at the ceiling, the dial ends at 1 V, 8.9 dB lower: below the lowest step (-6 dB)
    job.opened.job.amplifiers[0].sensitivity_v = {0.1, 1.0};
    const AmplifierSetting strong = job.analyse().amplifiers.at(0);
    CHECK(*strong.reached_output_v == Approx(20.0));
    CHECK(says(strong.notes, "stay 8.9 dB below the ceiling"));
    job.opened.job.amplifiers[0].sensitivity_v = {0.1, 2.0};  // 2.8 dB: volume 21 lies 4 dB down, 22 only 2
    CHECK(says(job.analyse().amplifiers.at(0).notes, "volume 21 at most"));
}

TEST_CASE("an allowance raises the gain and is paid for at full scale", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    const double without_db = *job.analyse().amplifiers.at(0).gain_db;
    int rows = 0;
    for (const reference::Row& row : reference::table("clipped_sine.csv")) {
        // the published series of a sine cut off at both sides, by how far it is driven over
        if (row.text("case") != "by_drive" || row.number("drive_over_ceiling_db") > kMostAllowance_db) continue;
        job.opened.job.amplifiers[0].allowance_db = row.number("drive_over_ceiling_db");
        const AmplifierSetting front = job.analyse().amplifiers.at(0);
        CAPTURE(*front.confirm_tone_dbfs);
        CHECK(*front.gain_db == Approx(without_db + front.allowance_db).margin(1e-9));
        CHECK(front.allowance_from == "job");
        CHECK(*front.confirm_tone_dbfs == -front.allowance_db);
        REQUIRE(front.full_scale);
        CHECK(front.full_scale->over_rails_db == Approx(front.allowance_db));
        CHECK(front.full_scale->thd_percent == Approx(row.number("thd_all_percent")).epsilon(0.0005));
        CHECK(front.full_scale->power_asked_w == Approx(100 * power(front.allowance_db)));
        CHECK(front.full_scale->power_out_w == Approx(200 * std::pow(row.number("rms_re_ceiling"), 2)).epsilon(0.0001));
        ++rows;
    }
    CHECK(rows >= 7);
    CHECK_FALSE(job_with_amplifier().analyse().amplifiers[0].full_scale);
    // a tone of -5 dBFS is an allowance of 5 dB by itself; stated once more it is not added
    const AmplifierSetting by_tone = job_with_amplifier(-5.0).analyse().amplifiers.at(0);
    CHECK(by_tone.allowance_from == "tone");
    CHECK(by_tone.allowance_db == Approx(5.0));
    JobInMemory both = job_with_amplifier(-5.0);
    both.opened.job.amplifiers[0].allowance_db = 5.0;
    CHECK(*both.analyse().amplifiers[0].gain_db == Approx(*by_tone.gain_db).margin(1e-9));
}

TEST_CASE("a line converter is reckoned with from either of its sides, and where it clips", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    auto& amplifier = job.opened.job.amplifiers[0];
    amplifier.converter = ConverterData{.loss_db = 12.0, .max_input_v = 8.0, .max_output_v = std::nullopt, .isolating = std::nullopt};
    const AmplifierSetting behind = job.analyse().amplifiers.at(0);
    CHECK(*behind.sensitivity_v == Approx(ceiling_v).epsilon(0.001));
    CHECK(*behind.converter_input_v == Approx(ceiling_v * std::pow(10.0, 0.6)).epsilon(0.001));  // 11.03 V
    CHECK(says(behind.notes, "2.8 dB more than the 8 V"));
    CHECK(says(behind.notes, "volume 21 at most"));
    job.opened.job.takes[0].conditions.point = Point::source_output;
    const AmplifierSetting ahead = job.analyse().amplifiers.at(0);
    CHECK(*ahead.sensitivity_v == Approx(ceiling_v / std::pow(10.0, 0.6)).epsilon(0.001));
    CHECK(*ahead.gain_db == Approx(*behind.gain_db + 12.0).margin(0.001));
    CHECK(*ahead.converter_input_v == Approx(ceiling_v).epsilon(0.001));
    amplifier.converter->loss_db.reset();
    CHECK(job.analyse().amplifiers[0].refused);
}

TEST_CASE("speaker level into a line input is refused with the way out", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    job.opened.job.source.output = OutputKind::speaker;
    job.opened.job.amplifiers[0].input = OutputKind::line;
    const AmplifierSetting front = job.analyse().amplifiers.at(0);
    REQUIRE(front.refused);
    CHECK(front.refused->find("--converter") != std::string::npos);
    CHECK_FALSE(front.gain_db);
    job.opened.job.amplifiers[0].input = OutputKind::speaker;
    CHECK(job.analyse().amplifiers[0].gain_db);
}

TEST_CASE("of several amplifiers each goes by its own channels, at the one volume", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    Source low;
    low.tone_hz = 40;
    low.channels = {hard(0.5)};
    low.channel_gain = {1.0};
    low.stops = staircase(-18.2, 2.0, 9);
    job.add("low.flac", low, volumes_from(20, 9)).channels = {Channel::sub};
    AmplifierData bass = job.opened.job.amplifiers[0];
    bass.name = "bass";
    bass.channels = {Channel::sub};
    job.opened.job.amplifiers.push_back(bass);
    const GainAnalysis gain = job.analyse();
    CHECK(*gain.amplifiers[1].sensitivity_v == Approx(ceiling_v / std::pow(10.0, 0.3)).epsilon(0.001));
    CHECK(*gain.amplifiers[1].own_ceiling_volume == 26);
    CHECK(says(gain.amplifiers[1].notes, "6.0 dB of its source are left unused"));
    CHECK_FALSE(says(gain.amplifiers[0].notes, "left unused"));

    // a volume that wasn't played on the sub channel lies between two that were
    job.opened.job.takes[1].volume_steps = {16, 18, 20, 22, 24, 26, 28, 30, 32};
    const AmplifierSetting between = job.analyse().amplifiers.at(1);
    CHECK(*between.sensitivity_v == Approx(8 / std::sqrt(2.0) * std::pow(10.0, -11.2 / 20)).epsilon(0.001));
    CHECK(says(between.notes, "wasn't played"));
    job.opened.job.takes[1].volume_steps = volumes_from(30, 9);  // never below 30: nothing to tell
    CHECK_FALSE(job.analyse().amplifiers[1].sensitivity_v);
    CHECK(says(job.analyse().amplifiers[1].notes, "weren't played at volume 23"));
}

TEST_CASE("a reading at the output says by how much the gain must be turned", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    add_output(job, 20.0 / std::pow(10.0, 0.15), 23);  // 3 dB below the 20 V that are wanted
    const OutputReading low = job.analyse().amplifiers.at(0).output_readings.at(0);
    CHECK(*low.measured_v == Approx(20.0 / std::pow(10.0, 0.15)).epsilon(0.001));
    CHECK(low.verdict == "turn_up");
    CHECK(*low.turn_db == Approx(3.0).margin(0.02));
    CHECK(*low.expected_v == Approx(20.0).epsilon(0.002));

    JobInMemory lower = job_with_amplifier();
    add_output(lower, 20.0 / std::pow(10.0, 0.2), 21);  // at volume 21 the source gives 4 dB less: right as it is
    CHECK(lower.analyse().amplifiers.at(0).output_readings.at(0).verdict == "at_target");

    JobInMemory clipped = job_with_amplifier();
    add_output(clipped, 19.0, 23, 15.0 * std::sqrt(2.0) / 10 / 8);  // rails at 15 V rms
    const OutputReading bent = clipped.analyse().amplifiers.at(0).output_readings.at(0);
    CHECK(bent.verdict == "clips_below_target");
    CHECK_FALSE(bent.turn_db);
    CHECK(bent.text.find("clips from") != std::string::npos);
}

TEST_CASE("a meter at the output counts up to where it reads right", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    Observation seen;
    seen.what = "amplifier_output";
    seen.unit = "V";
    seen.value = 25.18;  // 2 dB over 20 V
    seen.conditions.volume = 23;
    seen.tone = PlayedTone{Sine{50, 0}, ToneVia::stick};
    job.opened.job.observations = {seen};
    const OutputReading high = job.analyse().amplifiers.at(0).output_readings.at(0);
    CHECK(high.verdict == "turn_down");
    CHECK(*high.turn_db == Approx(-2.0).margin(0.01));
    CHECK(high.text.find("997 Hz") != std::string::npos);

    job.opened.job.observations[0].tone = PlayedTone{Sine{997, 0}, ToneVia::stick};
    CHECK(job.analyse().amplifiers.at(0).output_readings.at(0).verdict == "unknown");
    job.opened.job.observations[0].meter_good_to_hz = 2000;
    CHECK(job.analyse().amplifiers.at(0).output_readings.at(0).verdict == "turn_down");
    job.opened.job.observations[0].tone = PlayedTone{Sine{997, -2.0}, ToneVia::stick};  // a tone 2 dB lower wants 2 dB less
    CHECK(*job.analyse().amplifiers.at(0).output_readings.at(0).turn_db == Approx(-4.0).margin(0.01));
    job.opened.job.observations[0].value = 0.0;
    CHECK(job.analyse().amplifiers.at(0).output_readings.at(0).verdict == "unknown");
}

TEST_CASE("noise is told apart by volume and by the lead alone, and each split follows from the parts", "[amplifier]") {
    // On paper: before the volume -80 dBV at volume 22 (so -84 at 20, the staircase's 2 dB a step), behind it -86, lead -83.
    const auto at_volume = [](double before_dbv) { return decibels(power(before_dbv) + power(-86) + power(-83)); };
    JobInMemory job = job_with_amplifier();
    add_noise(job, "n22.flac", at_volume(-80), 22, 1);
    const AmplifierSetting one_take = job.analyse().amplifiers.at(0);
    REQUIRE(one_take.noise_parts);
    CHECK_FALSE(std::isfinite(one_take.noise_parts->lead.low));
    // nothing is known of its parts: a driver wins between nothing and all of it
    CHECK(split(one_take, "line_driver").change_db.low == Approx(-6.0).margin(0.01));
    CHECK(split(one_take, "line_driver").change_db.high == Approx(0.0).margin(0.01));

    add_noise(job, "n20.flac", at_volume(-84), 20, 2);
    Take& lead = add_noise(job, "lead.flac", -83, 22, 3);
    lead.conditions.source = SourceState::off;
    job.opened.job.amplifiers[0].input_noise_dbv = -90;
    const AmplifierSetting front = job.analyse().amplifiers.at(0);
    const NoiseParts& parts = *front.noise_parts;
    CHECK(parts.takes.size() == 3);
    CHECK(parts.total_dbv == Approx(at_volume(-80)).margin(0.1));
    CHECK((parts.before_volume.low < -80 && parts.before_volume.high > -80));
    CHECK(parts.before_volume.high - parts.before_volume.low < 5);
    CHECK((parts.lead.low < -83 && parts.lead.high > -83));
    CHECK(parts.lead.high - parts.lead.low < 1);

    const double all = power(-80) + power(-86) + power(-83) + power(-90);
    const auto holds = [&](const std::string& way, double input_power, double gain_change_db) {
        const GainSplit& got = split(front, way);
        const double change_db = decibels(input_power / all) + gain_change_db;
        CAPTURE(way, change_db, got.change_db.low, got.change_db.high);
        CHECK(got.change_db.low <= change_db + 0.1);
        CHECK(got.change_db.high >= change_db - 0.1);
        CHECK(got.change_db.high - got.change_db.low < 3.0);
    };
    holds("as_set", all, 0);
    holds("less_gain", all, -3);
    // a driver lifts source and its noise by 6 dB, the gain falls by 6: lead and amplifier lose 6 dB against them
    holds("line_driver", (power(-80) + power(-86)) * power(6) + power(-83) + power(-90), -6);
    // 2 dB a step below the ceiling the gain rises, and what lies ahead of the volume falls by as much
    const GainSplit& lower = split(front, "lower_volume");
    const double less_db = 2.0 * (23.0 - *lower.volume);
    CHECK(less_db > 1.0);
    CHECK(lower.gain_change_db == Approx(less_db).margin(0.01));
    holds("lower_volume", power(-80) * power(-less_db) + power(-86) + power(-83) + power(-90), less_db);
}

TEST_CASE("where all noise lies ahead of the volume no split wins", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    add_noise(job, "n23.flac", -70, 23, 1);
    add_noise(job, "n20.flac", -76, 20, 2);  // it falls with the volume, decibel for decibel
    add_noise(job, "lead.flac", -110, 23, 3).conditions.source = SourceState::off;
    const AmplifierSetting front = job.analyse().amplifiers.at(0);
    CHECK(split(front, "line_driver").change_db.low > -0.1);
    CHECK(split(front, "lower_volume").change_db.high < 0.5);
    CHECK(front.best_split.find("ahead of its volume control") != std::string::npos);
}

TEST_CASE("the amplifier's own noise, read at its output, is in all that is told of it", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    add_noise(job, "n23.flac", -80, 23, 1);
    add_output(job, 20.0, 23);
    SpeakerData speaker;
    speaker.amplifier = "front";
    speaker.sensitivity_db_2v83_1m = 90;
    job.opened.job.speakers = {speaker};
    const AmplifierSetting without = job.analyse().amplifiers.at(0);
    CHECK_FALSE(without.noise_parts->amplifier_dbv);
    CHECK(*without.noise_at_output_dbv == Approx(-80 + *without.gain_db).margin(0.15));
    CHECK(says(without.notes, "without the amplifier's own"));

    // at its output with the input shorted, as loud as -80 dBV at the input would be
    const double gain_now_db = 20 * std::log10(20.0 / ceiling_v);
    Take& own = add_noise(job, "own.flac", -80 + gain_now_db, 23, 2);
    own.conditions.point = Point::amp_output;
    own.conditions.hookup = {Hookup::shorted_at_amp};
    const AmplifierSetting front = job.analyse().amplifiers.at(0);
    REQUIRE(front.noise_parts->amplifier_dbv);
    CHECK(*front.noise_parts->amplifier_dbv == Approx(-80).margin(0.2));
    CHECK(*front.noise_at_output_dbv == Approx(-80 + 3.01 + *front.gain_db).margin(0.2));
    CHECK(*front.noise_at_output_dbv == Approx(split(front, "as_set").noise_at_output_dbv.low).margin(1e-9));
    CHECK(*front.noise_at_ear_db_spl == Approx(split(front, "as_set").noise_at_ear_db_spl->low).margin(1e-9));
    CHECK(says(front.notes, "with the amplifier's own"));
    CHECK_FALSE(says(front.notes, "without the amplifier's own"));
}

TEST_CASE("a passage at full scale is held against the speaker at its own impedance", "[amplifier]") {
    JobInMemory job = job_with_amplifier();  // 100 W into 4 ohm
    job.opened.job.amplifiers[0].allowance_db = 1.0;
    SpeakerData speaker;
    speaker.amplifier = "front";
    speaker.power_w = 30;
    speaker.impedance_ohm = 8;
    job.opened.job.speakers = {speaker};
    // sqrt(30 * 8) V and 1 dB more, into 8 ohm: 37.8 W
    const AmplifierSetting weak = job.analyse().amplifiers.at(0);
    CHECK(weak.target_limited_by == "speaker");
    CHECK(says(weak.notes, "up to 38 W into 8 ohm, more than the 30 W"));
    // 1 dB over its rails the amplifier gives 1.16 times its power (clipped_sine.csv), half of it into twice the ohms: 58 W of 60
    job.opened.job.speakers[0].power_w = 60;
    CHECK_FALSE(says(job.analyse().amplifiers.at(0).notes, "a passage at full scale"));
    // 3 dB: 1.36 times, 68 W
    job.opened.job.amplifiers[0].allowance_db = 3.0;
    const AmplifierSetting over = job.analyse().amplifiers.at(0);
    CHECK(over.target_limited_by == "amplifier");
    CHECK(says(over.notes, "up to 68 W into 8 ohm, more than the 60 W"));
}

TEST_CASE("noise at another engine speed doesn't tell what goes with the volume", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    add_noise(job, "n22.flac", -80, 22, 1);
    add_noise(job, "n20.flac", -84, 20, 2);
    for (const double rpm : {820.0, 3000.0}) {
        for (std::size_t i : {1U, 2U}) {
            job.opened.job.takes[i].conditions.engine = Engine::raised;
            job.opened.job.takes[i].conditions.rpm = i == 1 ? 800.0 : rpm;
        }
        CAPTURE(rpm);
        CHECK(job.analyse().amplifiers.at(0).noise_parts->takes.size() == (rpm == 3000.0 ? 1 : 2));
    }
}

TEST_CASE("a meter's reading says which accuracy was assumed, and where its input's volume isn't known", "[amplifier]") {
    JobInMemory job = job_with_amplifier();
    Observation seen;
    seen.what = "amplifier_output";
    seen.unit = "V";
    seen.value = 20.0;
    seen.conditions.volume = 21;
    seen.tone = PlayedTone{Sine{50, 0}, ToneVia::stick};
    job.opened.job.observations = {seen};
    const std::string known = job.analyse().amplifiers.at(0).output_readings.at(0).text;
    CHECK(known.find("1.5 % and 3 counts of 0.01 V are assumed") != std::string::npos);
    CHECK(known.find("aren't known") == std::string::npos);
    job.opened.job.takes[0].volume_steps = volumes_from(20, 12);  // 5 plateaus don't match
    const std::string unknown = job.analyse().amplifiers.at(0).output_readings.at(0).text;
    CHECK(unknown.find("The volumes of a.flac aren't known") != std::string::npos);
}
