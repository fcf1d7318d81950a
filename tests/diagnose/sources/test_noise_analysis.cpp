#include "hushtrace/diagnose/noise_analysis.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>

#include "diagnose/job_on_disk.hpp"
#include "diagnose/swinging_sound.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = SwingingSound::kRate;

std::vector<double> hiss(double seconds = 1.0) { return SwingingSound(seconds, 1).channels[0]; }

std::vector<std::string> codes_of(const NoiseAnalysis& analysis) {
    std::vector<std::string> out;
    for (const Warning& one : analysis.warnings)
        if (one.code != "band_cut_short") out.push_back(one.code);   // of the sound's 12 kHz
    return out;
}
const Warning* warned(const NoiseAnalysis& analysis, const std::string& code) {
    for (const Warning& one : analysis.warnings)
        if (one.code == code) return &one;
    return nullptr;
}
const NoiseSource* source_of(const NoiseAnalysis& analysis, NoiseKind kind) {
    for (const NoiseSource& one : analysis.noise_sources)
        if (one.kind == kind) return &one;
    return nullptr;
}
std::string refusal_of(const OpenedJob& job) {
    try {
        analyse_noise(job);
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_input);
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("without a take of noise that can be used nothing is analysed, and the last fault is told", "[analysis]") {
    const auto with = [](const std::function<void(Take&)>& change) {
        JobOnDisk job;
        change(job.add("takes/a.wav", kRate, {Channel::left}, {hiss()}));
        return refusal_of(job.opened);
    };
    JobOnDisk none;
    CHECK(refusal_of(none.opened).find("no noise take yet") != std::string::npos);
    CHECK(with([](Take& take) { take.tone = PlayedTone{Sine{997, 0}, std::nullopt}; }).find("no noise take yet") != std::string::npos);
    const std::string over = with([](Take& take) { take.faults = {TakeFault::overload}; });
    CHECK(over.find("none of the noise takes can be used: takes/a.wav: the interface's input was overloaded") != std::string::npos);
    CHECK(with([](Take& take) { take.faults = {TakeFault::source_muted}; }).find("can be used: takes/a.wav: the source muted its output") !=
          std::string::npos);
    CHECK(with([](Take& take) { take.file = "takes/b.wav"; }).find("can be used: takes/b.wav") != std::string::npos);
    // a probe on the supply alone tells of the supply
    JobOnDisk supply;
    supply.add("takes/a.wav", kRate, {Channel::supply}, {hiss()});
    CHECK(refusal_of(supply.opened).empty());
    const NoiseAnalysis analysis = analyse_noise(supply.opened);
    CHECK(analysis.takes.empty());
    CHECK(analysis.floor.empty());
    CHECK(!warned(analysis, "take_unreadable"));
}

TEST_CASE("takes that can't be used are left out, each with a warning of its own", "[analysis]") {
    JobOnDisk job;
    job.opened.warnings = {{"unknown_field", "of the job", std::nullopt}};
    job.add("takes/over.wav", kRate, {Channel::left}, {hiss()}).faults = {TakeFault::overload};
    job.add("takes/muted.wav", kRate, {Channel::left}, {hiss()}).faults = {TakeFault::source_muted};
    job.add("takes/gone.wav", kRate, {Channel::left}, {hiss()});
    std::filesystem::remove(job.folder / "takes/gone.wav");
    job.add("takes/good.wav", kRate, {Channel::left}, {hiss()});
    job.add("takes/tone.wav", kRate, {Channel::left}, {hiss()}).tone = PlayedTone{Sine{997, 0}, std::nullopt};
    job.add("takes/gone tone.wav", kRate, {Channel::left}, {hiss()}).tone = PlayedTone{Sine{997, 0}, std::nullopt};
    std::filesystem::remove(job.folder / "takes/gone tone.wav");
    Take& over_tone = job.add("takes/over tone.wav", kRate, {Channel::left}, {hiss()});
    over_tone.tone = PlayedTone{Sine{997, 0}, std::nullopt};
    over_tone.faults = {TakeFault::overload};
    std::filesystem::remove(job.folder / "takes/over tone.wav");   // it isn't even looked for
    Take& steps = job.add("takes/steps.wav", kRate, {Channel::left}, {hiss()});
    steps.tone = PlayedTone{Sine{997, 0}, std::nullopt};
    steps.volume_steps = {1, 2};
    std::filesystem::remove(job.folder / "takes/steps.wav");
    const NoiseAnalysis analysis = analyse_noise(job.opened);
    CHECK(analysis.takes == std::vector<std::string>{"takes/good.wav"});
    CHECK(analysis.floor.size() == 1);
    CHECK(analysis.pictures.size() == 1);
    CHECK(analysis.warnings.front().text == "of the job");
    for (const auto& [code, take] : {std::pair{"take_overloaded", "takes/over.wav"}, {"take_muted", "takes/muted.wav"},
                                     {"take_unreadable", "takes/gone.wav"}}) {
        const Warning* warning = warned(analysis, code);
        REQUIRE(warning);
        CHECK(warning->take == take);
        CHECK(warning->text.starts_with(take + std::string(":")));
    }
    const auto codes = codes_of(analysis);
    CHECK(std::count(codes.begin(), codes.end(), "take_unreadable") == 2);   // the tone that was held among them
    CHECK(std::count(codes.begin(), codes.end(), "take_overloaded") == 1);
}

TEST_CASE("what spoils a take a little, or is missing beside it, is said", "[analysis]") {
    struct Case {
        const char* what;
        std::vector<Engine> engines;
        std::function<void(OpenedJob&)> change;
        std::vector<std::string> codes;
    };
    const auto calibrated = [](OpenedJob& job) { job.job.interface.volts_full_scale = {2.0, 2.0}; };
    const Case cases[] = {
        {"off and running", {Engine::off, Engine::idle}, [](OpenedJob&) {}, {"not_calibrated"}},
        {"calibrated, with a phone",
         {Engine::off, Engine::idle},
         [&](OpenedJob& job) {
             calibrated(job);
             job.job.takes[0].conditions.attached = {{"phone", PoweredFrom::vehicle}};
         },
         {}},
        {"off alone", {Engine::off}, calibrated, {"no_running_take"}},
        {"off alone, electric",
         {Engine::off},
         [&](OpenedJob& job) {
             calibrated(job);
             job.job.vehicle.drive = Drive::electric;
         },
         {}},
        {"running alone", {Engine::idle}, calibrated, {"no_engine_off_take"}},
        {"a hybrid awake", {Engine::ready}, calibrated, {"no_engine_off_take"}},
        {"of the set-up alone",
         {Engine::off},
         [&](OpenedJob& job) {
             calibrated(job);
             job.job.takes[0].conditions.hookup = {Hookup::inputs_shorted};
         },
         {}},
        {"lost samples",
         {Engine::off, Engine::idle},
         [&](OpenedJob& job) {
             calibrated(job);
             job.job.takes[1].faults = {TakeFault::dropout};
         },
         {"take_dropout"}},
        {"the interface's lead in the source",
         {Engine::off, Engine::idle},
         [&](OpenedJob& job) {
             calibrated(job);
             job.job.takes[1].conditions.attached = {{"phone", PoweredFrom::vehicle}, {"interface_output", PoweredFrom::none}};
         },
         {"loop_through_interface"}},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        JobOnDisk job;
        for (const Engine engine : one.engines)
            job.add("takes/" + std::string(to_word(engine)) + ".wav", kRate, {Channel::left}, {hiss()}).conditions.engine = engine;
        one.change(job.opened);
        const NoiseAnalysis analysis = analyse_noise(job.opened);
        CHECK(codes_of(analysis) == one.codes);
        CHECK(analysis.takes.size() == one.engines.size());
        CHECK(warned(analysis, "band_cut_short"));
        for (const char* code : {"take_dropout", "loop_through_interface"})
            if (const Warning* warning = warned(analysis, code)) CHECK(warning->take == "takes/idle.wav");
        for (const char* code : {"no_engine_off_take", "no_running_take", "not_calibrated"})
            if (const Warning* warning = warned(analysis, code)) CHECK(!warning->take);
    }
    JobOnDisk job;
    job.add("takes/a.wav", kRate, {Channel::left, Channel::right}, {hiss(), std::vector<double>(12000, 0.0)});
    const NoiseAnalysis analysis = analyse_noise(job.opened);
    const Warning* silent = warned(analysis, "digital_silence");
    REQUIRE(silent);
    CHECK(silent->text == "takes/a.wav: the right channel is digital silence; is it connected?");
    CHECK(silent->take == "takes/a.wav");
    CHECK(analysis.floor.size() == 2);
}

TEST_CASE("a running take is held against that take at rest which is most like it", "[analysis]") {
    // what a condition that is alike counts: hookup 8, volume 4, attached 3, laptop and source 2, input 1
    struct Case {
        Channel channel;
        const char *first, *second;   // the letters of what is alike
        const char* taken;
    };
    const Case cases[] = {{Channel::left, "va", "h", "second"}, {Channel::right, "h", "val", "second"}, {Channel::rear_left, "a", "v", "second"},
                          {Channel::rear_right, "l", "a", "second"}, {Channel::center, "i", "s", "second"}, {Channel::sub, "vi", "as", "first"}};
    JobOnDisk job;
    SwingingSound whine(1.5, 1);
    whine.add(1237, 0.02, {0.05});
    const auto in = [](Take& take, const std::string& alike) {
        Conditions& c = take.conditions;
        const auto has = [&](char one) { return alike.find(one) != std::string::npos; };
        c.hookup = {has('h') ? Hookup::normal : Hookup::isolator};
        c.volume = has('v') ? 20 : 10;
        c.attached = {{has('a') ? "phone" : "charger", PoweredFrom::vehicle}};
        c.laptop = has('l') ? LaptopPower::battery : LaptopPower::mains;
        c.source = has('s') ? SourceState::on : SourceState::paused;
        c.input = has('i') ? SourceInput::usb : SourceInput::aux;
    };
    for (const Case& one : cases) {
        const std::string name = "takes/" + std::string(to_word(one.channel));
        Take& run = job.add(name + "-run.wav", kRate, {one.channel}, whine.channels);
        in(run, "hvalsi");
        run.conditions.engine = Engine::idle;
        run.conditions.rpm = 750;
        in(job.add(name + "-first.wav", kRate, {one.channel}, {hiss()}), one.first);
        in(job.add(name + "-second.wav", kRate, {one.channel}, {hiss()}), one.second);
    }
    // as alike as can be, but none of these can stand for it
    Take& elsewhere = job.add("takes/output.wav", kRate, {Channel::left}, {hiss()});
    in(elsewhere, "hvalsi");
    elsewhere.conditions.point = Point::amp_output;
    in(job.add("takes/other.wav", kRate, {Channel::left, Channel::right}, {hiss(), hiss()}), "hvalsi");
    Take& shorted = job.add("takes/shorted.wav", kRate, {Channel::left}, {hiss()});
    in(shorted, "hvalsi");
    shorted.conditions.hookup = {Hookup::normal, Hookup::inputs_shorted};
    // one that is like it in nothing is better than none
    for (const Engine engine : {Engine::idle, Engine::off}) {
        Take& take = job.add(engine == Engine::idle ? "takes/there-run.wav" : "takes/there-first.wav", kRate, {Channel::right},
                             engine == Engine::idle ? whine.channels : std::vector<std::vector<double>>{hiss()});
        in(take, engine == Engine::idle ? "hvalsi" : "");
        take.conditions.engine = engine;
        take.conditions.point = Point::amp_output;
    }
    const NoiseAnalysis analysis = analyse_noise(job.opened);
    const NoiseSource* source = source_of(analysis, NoiseKind::alternator_whine);
    REQUIRE(source);
    CHECK(std::any_of(source->evidence.begin(), source->evidence.end(), [](const Evidence& one) {
        return one.takes == std::vector<std::string>{"takes/there-run.wav", "takes/there-first.wav"};
    }));
    for (const Case& one : cases) {
        const std::string name = "takes/" + std::string(to_word(one.channel));
        INFO(name);
        std::string against;
        for (const Evidence& evidence : source->evidence)
            if (evidence.takes.size() == 2 && evidence.takes[0] == name + "-run.wav") against = evidence.takes[1];
        CHECK(against == name + "-" + one.taken + ".wav");
    }
    CHECK(*source->frequency_hz == Approx(1237).epsilon(0.01));
    // 750 rpm are 12.5 turns a second
    CHECK(*source->engine_order == Approx(1237 / 12.5).epsilon(0.01));
}

TEST_CASE("sources are named by kind, loudest first, with all that is told of each take", "[analysis]") {
    JobOnDisk job;
    job.opened.job.interface.volts_full_scale = {2.0};
    job.opened.job.vehicle.cylinders = 4;
    SwingingSound off(3, 1), run(3, 1);
    for (SwingingSound* one : {&off, &run}) {
        one->add(1234.5, 0, {0.02});
        one->add(2345.7, 0, {0.05});
    }
    run.add(1803, 0.015, {0.1});
    run.add(3606, 0.015, {0.03});
    job.add("takes/off.wav", kRate, {Channel::left}, off.channels);
    Take& running = job.add("takes/idle.wav", kRate, {Channel::left}, run.channels);
    running.conditions.engine = Engine::idle;
    running.conditions.rpm = 1100;
    Observation heard;
    heard.what = "noise_heard";
    heard.heard = "same";
    job.opened.job.observations = {heard};
    const NoiseAnalysis analysis = analyse_noise(job.opened);
    std::string ids;
    double before = 100;
    for (const NoiseSource& one : analysis.noise_sources) {
        ids += one.id + " ";
        if (one.level_dbfs) CHECK(*one.level_dbfs <= before);
        before = one.level_dbfs.value_or(before);
        CHECK((one.confidence >= 0.55 || one.rests_on.empty()));
        CHECK(one.loudness.has_value() == (one.kind != NoiseKind::heard_only));
        if (one.loudness) CHECK(one.loudness->text.starts_with("at the ear unknown (job.json lacks"));
        CHECK(one.engine_order.has_value() == (one.kind == NoiseKind::alternator_whine));
    }
    CHECK(analysis.noise_sources[2].rests_on == "tone: clear, beside louder ones");
    CHECK(!analysis.entry_paths.empty());
    CHECK(ids == "alternator_whine-1 unexplained_tone-1 unexplained_tone-2 hiss-1 ");
    for (const NoiseSource& one : analysis.unsure) CHECK(one.confidence < 0.55);
    const NoiseSource* whine = source_of(analysis, NoiseKind::alternator_whine);
    REQUIRE(whine);
    CHECK(*whine->level_dbfs == Approx(20 * std::log10(std::hypot(0.1, 0.03))).margin(0.3));
    CHECK(*whine->level_dbv == Approx(20 * std::log10(std::hypot(0.1, 0.03) * std::sqrt(2.0))).margin(0.3));
    CHECK(whine->takes == std::vector<std::string>{"takes/idle.wav"});
    const NoiseSource* tone = source_of(analysis, NoiseKind::unexplained_tone);
    REQUIRE(tone);
    CHECK(*tone->frequency_hz == Approx(2345.7).margin(0.05));
    CHECK(*tone->level_dbfs == Approx(20 * std::log10(0.05)).margin(0.1));
    CHECK(std::any_of(tone->evidence.begin(), tone->evidence.end(),
                      [](const Evidence& one) { return one.text == "It is there with the engine off and with it running."; }));
    CHECK(analysis.takes == std::vector<std::string>{"takes/off.wav", "takes/idle.wav"});
    CHECK(analysis.floor.size() == 2);
    REQUIRE(analysis.pictures.size() == 2);
    CHECK(analysis.pictures[1].take == "takes/idle.wav");
    CHECK(analysis.pictures[1].tracks.size() == 1);
    CHECK(!analysis.order_spectra.empty());
    // an action is told once, of the source that stands first
    for (std::size_t i = 0; i < analysis.actions.size(); ++i)
        for (std::size_t j = 0; j < i; ++j) CHECK(analysis.actions[i].action != analysis.actions[j].action);
    std::string first_of;   // both tones ask for the same
    for (const Action& one : analysis.actions)
        if (one.action.starts_with("Switch off or unplug what is attached")) first_of += one.source_id + " ";
    CHECK(first_of == "unexplained_tone-1 ");
}

TEST_CASE("clicks of the ignition, a motor at rest and what the set-up makes are told apart", "[analysis]") {
    JobOnDisk job;
    job.opened.job.vehicle.cylinders = 4;
    SwingingSound off(3, 1), run(3, 1), shorted(3, 1);
    for (SwingingSound* one : {&off, &run, &shorted})
        for (double& sample : one->channels[0]) sample *= one == &shorted ? 0.001 : 0.01;
    off.add(1009, 0.006, {0.003});
    off.add(2018, 0.006, {0.001});
    for (SwingingSound* one : {&off, &run, &shorted}) one->add(2345.7, 0, {0.0005});
    // 750 turns a minute of four cylinders: 25 firings a second
    for (double t = 0.01; t < 2.95; t += 0.04)
        for (int k = 0; k < 40; ++k)
            run.channels[0][static_cast<std::size_t>(t * kRate) + static_cast<std::size_t>(k)] += 0.02 * std::exp(-k / 5.0) * std::cos(2.0 * k);
    job.add("takes/off.wav", kRate, {Channel::left}, off.channels);
    Take& running = job.add("takes/idle.wav", kRate, {Channel::left}, run.channels);
    running.conditions.engine = Engine::idle;
    running.conditions.rpm = 750;
    job.add("takes/shorted.wav", kRate, {Channel::left}, shorted.channels).conditions.hookup = {Hookup::inputs_shorted};
    const NoiseAnalysis analysis = analyse_noise(job.opened);
    std::string ids;
    for (const auto* list : {&analysis.noise_sources, &analysis.unsure})
        for (const NoiseSource& one : *list) ids += one.id + " at " + std::to_string(one.frequency_hz.value_or(0)) + ", " + one.rests_on + "; ";
    INFO(ids);
    const NoiseSource* ticks = source_of(analysis, NoiseKind::ignition_tick);
    REQUIRE(ticks);
    CHECK(*ticks->frequency_hz == Approx(25).epsilon(0.002));
    CHECK(*ticks->engine_order == Approx(2).epsilon(0.005));
    CHECK(ticks->takes == std::vector<std::string>{"takes/idle.wav"});
    const NoiseSource* motor = source_of(analysis, NoiseKind::motor_whine);
    REQUIRE(motor);
    CHECK(*motor->frequency_hz == Approx(1009).epsilon(0.005));
    const NoiseSource* tone = source_of(analysis, NoiseKind::unexplained_tone);
    REQUIRE(tone);
    CHECK(*tone->frequency_hz == Approx(2345.7).margin(0.1));
    CHECK(std::any_of(tone->evidence.begin(), tone->evidence.end(),
                      [](const Evidence& one) { return one.text.find("the measuring set-up makes it") != std::string::npos; }));
    CHECK(tone->takes == std::vector<std::string>{"takes/shorted.wav"});   // in the others it is known for the set-up's own
    REQUIRE(analysis.floor.size() == 3);
    CHECK(analysis.floor[0].bands_interface == InterfaceKnown::by_band);
    CHECK(analysis.floor[2].bands_interface == InterfaceKnown::nothing);
    REQUIRE(analysis.engine.takes.size() == 1);
    CHECK(analysis.engine.takes[0].rpm_from == "firing");
}

TEST_CASE("what is heard and not captured stands last among the sources", "[analysis]") {
    JobOnDisk job;
    job.add("takes/off.wav", kRate, {Channel::left}, {hiss()});
    Observation heard;
    heard.what = "noise_heard";
    heard.heard = "same";
    job.opened.job.observations = {heard};
    const NoiseAnalysis analysis = analyse_noise(job.opened);
    REQUIRE(analysis.noise_sources.size() == 2);
    CHECK(analysis.noise_sources[0].id == "hiss-1");
    CHECK(analysis.noise_sources[1].id == "heard_only-1");
}
