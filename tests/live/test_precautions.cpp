#include <catch2/catch.hpp>

#include <algorithm>

#include "hushtrace/live/precautions.hpp"

using namespace hushtrace;

namespace {

Observation reading(std::string_view what, std::optional<double> volts) {
    Observation seen;
    seen.what = std::string(what);
    seen.unit = "V";
    seen.value = volts;
    seen.declined = !volts;
    return seen;
}

Conditions with_hookup(Hookup hookup) {
    Conditions conditions;
    conditions.hookup = {hookup};
    return conditions;
}

bool speaks_of(const std::vector<Warning>& warnings, std::string_view code) {
    return std::any_of(warnings.begin(), warnings.end(),
                       [&](const Warning& one) { return one.code == code; });
}

}  // namespace

TEST_CASE("a ground is settled by the last reading, and only by one of its own kind", "[precautions]") {
    Job job;
    CHECK(ground_state(job, drop_reading) == GroundState::missing);
    job.observations.push_back(reading(shell_reading, 0.01));
    CHECK(ground_state(job, drop_reading) == GroundState::missing);
    job.observations.push_back(reading(drop_reading, 0.35));
    CHECK(ground_state(job, drop_reading) == GroundState::bad);
    CHECK(ground_state(job, shell_reading) == GroundState::settled);
    job.observations.push_back(reading(drop_reading, 0.08));  // mended and read again
    CHECK(ground_state(job, drop_reading) == GroundState::settled);
}

TEST_CASE("0.2 V is the last good reading, whichever way round the meter's leads are", "[precautions]") {
    // Ground drop under load above 0.2 V is a fault (common practice, no source).
    for (const double volts : {0.2, -0.2, 0.0, 0.1}) {
        Job job;
        job.observations.push_back(reading(shell_reading, volts));
        CHECK(ground_state(job, shell_reading) == GroundState::settled);
    }
    for (const double volts : {0.201, -0.201, 12.0}) {
        Job job;
        job.observations.push_back(reading(shell_reading, volts));
        CHECK(ground_state(job, shell_reading) == GroundState::bad);
    }
}

TEST_CASE("the check may be declined, but a bad reading is not talked away", "[precautions]") {
    Job job;
    job.observations.push_back(reading(shell_reading, std::nullopt));
    CHECK(ground_state(job, shell_reading) == GroundState::settled);
    job.observations.push_back(reading(shell_reading, 0.5));
    job.observations.push_back(reading(shell_reading, std::nullopt));
    CHECK(ground_state(job, shell_reading) == GroundState::bad);
}

TEST_CASE("the ground check goes before every take but the set-up's own floor", "[precautions]") {
    CHECK(ground_check_matters(with_hookup(Hookup::normal)));
    CHECK(ground_check_matters(with_hookup(Hookup::dummy_floating)));
    CHECK_FALSE(ground_check_matters(with_hookup(Hookup::inputs_shorted)));
}

TEST_CASE("bridged amplifier outputs never meet a grounded input", "[precautions]") {
    struct Case {
        Point point;
        std::optional<bool> bridged;
        std::optional<InterfaceInput> input;
        bool refused;
    };
    const Case cases[] = {
        {Point::amp_output, true, InterfaceInput::grounded, true},
        {Point::amp_output, true, std::nullopt, true},  // not known counts as grounded
        {Point::amp_output, true, InterfaceInput::floating, false},
        {Point::amp_output, true, InterfaceInput::differential, false},
        {Point::amp_output, false, InterfaceInput::grounded, false},
        {Point::amp_input, true, InterfaceInput::grounded, false},
    };
    for (const Case& one : cases) {
        Job job;
        AmplifierData plain, amplifier;
        plain.name = "front";
        plain.bridged_output = false;
        amplifier.name = "sub";
        amplifier.bridged_output = one.bridged;
        job.amplifiers = {plain, amplifier};
        job.interface.input = one.input;
        Conditions conditions;
        conditions.point = one.point;
        const auto why = refusal(job, conditions);
        CHECK(why.has_value() == one.refused);
        if (why) CHECK(why->find("'sub'") != std::string::npos);
    }
}

TEST_CASE("a source's speaker outputs never meet a grounded input", "[precautions]") {
    Job job;
    job.source.output = OutputKind::speaker;
    for (const Point point : {Point::amp_input, Point::source_output}) {
        Conditions conditions;
        conditions.point = point;
        job.interface.input.reset();
        CHECK(refusal(job, conditions));
        job.interface.input = InterfaceInput::differential;
        CHECK_FALSE(refusal(job, conditions));
    }
    job.interface.input = InterfaceInput::grounded;
    CHECK_FALSE(refusal(job, with_hookup(Hookup::inputs_shorted)));  // nothing touches the vehicle
    job.source.output = OutputKind::line;
    CHECK_FALSE(refusal(job, Conditions{}));
}

TEST_CASE("what nobody wrote down about an output is asked for, not assumed", "[precautions]") {
    Job job;
    job.amplifiers.emplace_back();
    Conditions conditions;
    conditions.point = Point::amp_output;
    CHECK(speaks_of(cautions(job, conditions), "output_kind_unknown"));
    job.amplifiers.front().bridged_output = false;
    CHECK_FALSE(speaks_of(cautions(job, conditions), "output_kind_unknown"));
    conditions.point = Point::amp_input;
    job.source.factory = true;
    CHECK(speaks_of(cautions(job, conditions), "output_kind_unknown"));
    job.source.output = OutputKind::line;
    CHECK(cautions(job, conditions).empty());
}

TEST_CASE("cautions come once a job, where they matter", "[precautions]") {
    Job job;
    job.interface.input = InterfaceInput::floating;
    Conditions at_rest, running;
    running.engine = Engine::idle;
    CHECK(cautions(job, at_rest).empty());
    CHECK(speaks_of(cautions(job, running), "engine_running"));
    job.vehicle.drive = Drive::electric;
    CHECK(speaks_of(cautions(job, at_rest), "high_voltage"));
    job.takes.emplace_back();
    job.takes.back().conditions = running;
    CHECK(cautions(job, running).empty());
}

TEST_CASE("a noise take with the output lead in is warned about and marked", "[precautions]") {
    const AttachedDevice lead{"interface_output", PoweredFrom::none};
    Conditions silent;
    CHECK(mark_output_lead(silent, true, std::nullopt));
    CHECK(silent.attached == std::vector<AttachedDevice>{lead});
    CHECK(mark_output_lead(silent, true, std::nullopt));  // once is enough
    CHECK(silent.attached.size() == 1);

    Conditions near_silent;
    CHECK(mark_output_lead(near_silent, true, PlayedTone{NearSilence{}, ToneVia::interface_output}));
    CHECK(near_silent.attached.size() == 1);

    Conditions with_tone, lead_out;
    CHECK_FALSE(mark_output_lead(with_tone, true, PlayedTone{Sine{}, ToneVia::interface_output}));
    CHECK_FALSE(mark_output_lead(lead_out, false, std::nullopt));
    CHECK(with_tone.attached.empty());
    CHECK(lead_out.attached.empty());
}

TEST_CASE("a probe behind a converter may be grounded only where that isolates", "[precautions]") {
    Job job;
    job.source.output = OutputKind::speaker;
    job.interface.input = InterfaceInput::grounded;
    AmplifierData front, sub;
    front.name = "front";
    sub.name = "sub";
    job.amplifiers = {front, sub};
    Conditions at_sub;
    at_sub.at_amplifier = "sub";
    CHECK(refusal(job, at_sub));
    job.amplifiers[1].converter.emplace();  // whether it isolates isn't said
    CHECK(refusal(job, at_sub));
    job.amplifiers[1].converter->isolating = false;
    CHECK(refusal(job, at_sub));
    job.amplifiers[1].converter->isolating = true;
    CHECK_FALSE(refusal(job, at_sub));
    CHECK(refusal(job, Conditions{}));  // it may be the other one's input
    at_sub.point = Point::source_output;
    CHECK(refusal(job, at_sub));  // ahead of the converter
    at_sub.point = Point::amp_input;
    at_sub.at_amplifier = "nobody";
    CHECK(refusal(job, at_sub));
}

TEST_CASE("a tone sounds in an amplifier that is on, or whose output is read", "[precautions]") {
    Take take;
    CHECK_FALSE(sounds_in_amplifier(take));
    take.tone = PlayedTone{Sine{997, -6}, ToneVia::interface_output};
    CHECK_FALSE(sounds_in_amplifier(take));  // its state isn't said, and the probe is at its input
    take.conditions.amplifier = AmplifierState::on;
    CHECK(sounds_in_amplifier(take));
    take.tone->waveform = NearSilence{};
    CHECK_FALSE(sounds_in_amplifier(take));
    take.tone->waveform = Sine{997, -6};
    take.conditions.amplifier.reset();
    take.conditions.point = Point::amp_output;
    CHECK(sounds_in_amplifier(take));
    take.conditions.amplifier = AmplifierState::off;
    CHECK_FALSE(sounds_in_amplifier(take));
}

TEST_CASE("a tone at an output wants a stated pad, and a pad that is large enough", "[precautions]") {
    Job job;
    job.interface.volts_full_scale = {7.0, 7.0};
    AmplifierData front;
    front.power_w = 100;
    front.load_ohm = 4;  // peaks at sqrt(2 * 400) = 28.3 V
    job.amplifiers = {front};
    Take take;
    take.channels = {Channel::left, Channel::right};
    take.tone = PlayedTone{Sine{50, 0}, ToneVia::stick};
    CHECK_FALSE(output_pad_refusal(take));
    take.conditions.point = Point::amp_output;
    CHECK(output_pad_refusal(take));
    take.attenuation_db = {10, 10};  // 22.1 V fit
    CHECK_FALSE(output_pad_refusal(take));
    CHECK(speaks_of(tone_cautions(job, take), "pad_small"));
    take.attenuation_db = {13, 13};  // 31.3 V
    CHECK_FALSE(speaks_of(tone_cautions(job, take), "pad_small"));
    take.tone.reset();
    take.attenuation_db.clear();
    CHECK_FALSE(output_pad_refusal(take));  // noise alone
}

TEST_CASE("the tweeter that will sound is named, whatever its amplifier's name is a part of", "[precautions]") {
    Job job;
    for (const char* name : {"front2", "front", "front"}) {
        SpeakerData speaker;
        speaker.amplifier = name;
        speaker.kind = SpeakerKind::tweeter;
        job.speakers.push_back(speaker);
    }
    Take take;
    take.tone = PlayedTone{Sine{997, -6}, ToneVia::interface_output};
    take.conditions.amplifier = AmplifierState::on;
    take.conditions.at_amplifier = "front";
    const auto said = tone_cautions(job, take);
    const auto found = std::find_if(said.begin(), said.end(), [](const Warning& one) { return one.code == "tweeters"; });
    REQUIRE(found != said.end());
    CHECK(found->text.find("tweeters on front, front2: disconnect them") != std::string::npos);  // its own first, each once
}

TEST_CASE("an amplifier of which nothing is said may be on", "[precautions]") {
    Take take;
    take.tone = PlayedTone{Sine{997, -12}, ToneVia::interface_output};
    CHECK(may_sound_in_amplifier(take));
    CHECK_FALSE(sounds_in_amplifier(take));
    CHECK(live_amplifier_text(take).find("--amplifier off") != std::string::npos);
    take.conditions.amplifier = AmplifierState::off;
    CHECK_FALSE(may_sound_in_amplifier(take));
    take.conditions.amplifier = AmplifierState::on;
    CHECK(sounds_in_amplifier(take));
    CHECK(live_amplifier_text(take).find("is on, and") != std::string::npos);
    take.tone->waveform = NearSilence{};
    CHECK_FALSE(may_sound_in_amplifier(take));
}

TEST_CASE("tweeters are warned of by what plays and by what hangs there", "[precautions]") {
    Job job;
    Take take;
    take.conditions.amplifier = AmplifierState::on;
    take.tone = PlayedTone{Sine{997, -12}, ToneVia::stick};
    CHECK(speaks_of(tone_cautions(job, take), "amplifier_live"));
    CHECK(speaks_of(tone_cautions(job, take), "tweeters"));  // nothing is known of the speakers
    take.tone->waveform = Sine{997, -30};
    CHECK_FALSE(speaks_of(tone_cautions(job, take), "tweeters"));
    take.tone->waveform = Sine{45, -6};
    SpeakerData speaker;
    speaker.amplifier = "sub";
    speaker.kind = SpeakerKind::subwoofer;
    job.speakers = {speaker};
    CHECK_FALSE(speaks_of(tone_cautions(job, take), "tweeters"));
    speaker.kind = SpeakerKind::tweeter;
    speaker.amplifier = "front";
    job.speakers.push_back(speaker);
    CHECK(speaks_of(tone_cautions(job, take), "tweeters"));
}

TEST_CASE("a bad reading says which part to mend, and stops whichever way round the meter's leads are", "[precautions]") {
    CHECK_THAT(bad_ground_text(shell_reading, 3), Catch::Contains("3 V is more than 0.2 V") && Catch::Contains("wrong plug"));
    CHECK_THAT(bad_ground_text(shell_reading, 3), !Catch::Contains("ground first"));
    CHECK_THAT(bad_ground_text(drop_reading, 3), Catch::Contains("mend the amplifier's ground first"));
    for (const double volts : {-12.0, 0.25}) CHECK(stop_reason(reading(drop_reading, volts)));
    for (const double volts : {-0.2, 0.1}) CHECK_FALSE(stop_reason(reading(drop_reading, volts)));
    CHECK_FALSE(stop_reason(reading("supply_drop", 3)));
}

TEST_CASE("only the amplifier that is probed decides about its output", "[precautions]") {
    Job job;
    job.interface.input = InterfaceInput::grounded;
    AmplifierData sub, front;
    sub.name = "sub";
    sub.bridged_output = true;
    front.name = "front";
    front.bridged_output = false;
    job.amplifiers = {sub, front};
    Conditions at;
    at.point = Point::amp_output;
    CHECK(refusal(job, at));   // it may be the sub
    at.at_amplifier = "front";
    CHECK_FALSE(refusal(job, at));
    at.at_amplifier = "sub";
    CHECK(refusal(job, at));
    at.at_amplifier = "fornt";   // a slip of the keys opens nothing
    CHECK(refusal(job, at));
    at.at_amplifier = "sub";
    job.amplifiers[0].bridged_output.reset();
    CHECK(speaks_of(cautions(job, at), "output_kind_unknown"));
    at.at_amplifier = "front";
    CHECK_FALSE(speaks_of(cautions(job, at), "output_kind_unknown"));
}
