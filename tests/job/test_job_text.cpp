#include <catch2/catch.hpp>

#include <nlohmann/json.hpp>
#include <random>
#include <string>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/signal/error.hpp"
#include "job/whole_job.hpp"

using namespace hushtrace;
using Catch::Contains;

namespace {

Job parse(const std::string& text) {
    std::vector<Warning> warnings;
    return parse_job(text, warnings);
}

std::string refusal(const std::string& text) {
    try {
        parse(text);
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_input);
        return error.what();
    }
    return "accepted";
}

std::string with(const std::string& fields) {
    return R"({"schema":"hushtrace.job/1","title":"t",)" + fields + "}";
}
std::string take_with(const std::string& fields) {
    return with(R"("takes":[{"file":"takes/a.flac","channels":["left"],"engine":"off",)" + fields + "}]");
}
std::string seen_with(const std::string& fields) {
    return with(R"("observations":[{"engine":"off",)" + fields + "}]");
}

}  // namespace

TEST_CASE("a job with every field is read into the types", "[job_text]") {
    std::vector<Warning> warnings;
    const Job job = parse_job(whole_job_text(), warnings);
    CHECK(warnings.empty());
    CHECK(job.title == "van");
    CHECK(job.vehicle.drive == Drive::diesel);
    CHECK(job.vehicle.cylinders == 4);
    CHECK(job.vehicle.alternator.pulley_ratio == 2.7);
    CHECK(job.source.volume_top == 40.0);
    CHECK(job.source.output == OutputKind::line);
    REQUIRE(job.amplifiers.size() == 1);
    CHECK(job.amplifiers[0].sensitivity_v == std::array{0.2, 6.0});
    CHECK(job.speakers.at(0).sensitivity_db_2v83_1m == 86.0);
    CHECK_FALSE(job.cables.crossing_deg);
    CHECK(job.supply.conductor == Conductor::copper);
    CHECK(job.supply.branches.at(0).current_a == 20.0);
    CHECK(job.interface.volts_full_scale == std::vector<std::optional<double>>{7.0, std::nullopt});
    CHECK(job.limits.ceiling_thd_percent == 1.0);
    REQUIRE(job.takes.size() == 2);
    const Take& idle = job.takes[0];
    CHECK(idle.conditions.engine == Engine::idle);
    CHECK(idle.conditions.rpm == 760.0);
    CHECK(idle.conditions.hookup == std::vector{Hookup::isolator, Hookup::antenna_unplugged});
    CHECK(idle.conditions.attached == std::vector<AttachedDevice>{{"phone", PoweredFrom::vehicle}});
    CHECK(idle.attenuation_db == std::vector{0.0, 10.0});
    CHECK(idle.marks.at(0).text == "bump");
    CHECK(idle.faults == std::vector{TakeFault::dropout});
    CHECK(job.takes[1].conditions.hookup == std::vector{Hookup::normal});  // a bare word
    CHECK(std::get<Sine>(job.takes[1].tone->waveform).level_dbfs == 0.0);
    CHECK(job.takes[1].tone->via == ToneVia::stick);
    REQUIRE(job.observations.size() == 3);
    CHECK(job.observations[0].value == 0.08);
    CHECK(job.observations[0].unit == "V");
    CHECK(job.observations[1].heard == "gone");
    CHECK(job.observations[1].conditions.hookup == std::vector{Hookup::shorted_at_amp});
    CHECK(job.observations[2].declined);
    CHECK(job.observations[2].reason == "no meter at hand");
}

TEST_CASE("a job written and read again is the same job", "[job_text]") {
    const std::string once = job_text(parse(whole_job_text()));
    CHECK(job_text(parse(once)) == once);
    CHECK(parse(once).takes.size() == 2);
}

TEST_CASE("every kind of tone goes to text and back", "[job_text]") {
    const std::vector<PlayedTone> tones = {{Sine{440.5, -3}, ToneVia::interface_output},
                                           {Stepped{997, {-20, -10, 0}, 2.5}, ToneVia::stick},
                                           {TwoTone{{60, 7000}, {-12, -24}}, ToneVia::disc},
                                           {Sweep{20, 20000, 5, -20}, ToneVia::phone},
                                           {Pink{-20, 7}, std::nullopt},
                                           {NearSilence{3}, ToneVia::stick},
                                           {PolarityPulse{-12, 0.5, 0.001}, std::nullopt}};
    for (const PlayedTone& tone : tones) {
        const std::string text = tone_text(tone);
        const PlayedTone back = parse_tone(text);
        CHECK(back.waveform.index() == tone.waveform.index());
        CHECK(back.via == tone.via);
        CHECK(tone_text(back) == text);
    }
    CHECK(tone_text(tones[0]) ==
          R"({ "kind": "sine", "frequency_hz": 440.5, "level_dbfs": -3, "via": "interface" })");
    CHECK(std::get<Stepped>(parse_tone(tone_text(tones[1])).waveform).step_s == 2.5);
}

TEST_CASE("null reads like a field that is not there", "[job_text]") {
    const Job job = parse(
        with(R"("date":null,"complaint":null,"vehicle":null,"source":{"preout_v":null},"amplifiers":null,
        "interface":{"volts_full_scale":null},"takes":null,"observations":null,"limits":{"ceiling_thd_percent":null})"));
    CHECK_FALSE(job.date);
    CHECK_FALSE(job.limits.ceiling_thd_percent);
    CHECK(job.takes.empty());
    const Take take =
        parse(take_with(R"("hookup":null,"rpm":null,"rpm_log":null,"attached":null,"tone":null,"marks":null,
        "faults":null,"after_change":null,"attenuation_db":null,"volume_steps":null,"loads":null)"))
            .takes.at(0);
    CHECK(take.conditions.hookup == std::vector{Hookup::normal});
    CHECK_FALSE(take.tone);
}

TEST_CASE("a wrong field is refused by its name and with what was found", "[job_text]") {
    struct Row {
        std::string text, field, reason;
    };
    const std::vector<Row> rows = {
        {take_with(R"("engine2":1,"source":"onn")"), "takes[0].source",
         "'onn' is none of on, muted, paused, off"},
        {with(R"("vehicle":{"drive":"deisel"})"), "vehicle.drive", "did you mean 'diesel'?"},
        {with(R"("vehicle":{"cylinders":"4"})"), "vehicle.cylinders", "a number is wanted, not the text '4'"},
        {with(R"("vehicle":{"cylinders":4.5})"), "vehicle.cylinders", "no whole number"},
        {with(R"("vehicle":{"cylinders":99999999999999999999})"), "vehicle.cylinders", "above 64"},
        {with(R"("vehicle":{"cylinders":-9223372036854775808})"), "vehicle.cylinders", "negative"},
        {with(R"("vehicle":{"strokes":3})"), "vehicle.strokes", "2 or 4"},
        {with(R"("vehicle":[])"), "vehicle", "an object is wanted, not a list"},
        {with(R"("vehicle":{"supply_v":-12})"), "vehicle.supply_v", "not above 0"},
        {with(R"("source":{"factory":"yes"})"), "source.factory", "true or false is wanted"},
        {with(R"("source":{"preout_v":1e300})"), "source.preout_v", "above"},
        {with(R"("amplifiers":{})"), "amplifiers", "a list is wanted, not an object"},
        {with(R"("amplifiers":[{"load_ohm":0}])"), "amplifiers[0].load_ohm", "not above 0"},
        {with(R"("amplifiers":[{"sensitivity_v":[6,0.2]}])"), "amplifiers[0].sensitivity_v",
         "lowest comes first"},
        {with(R"("amplifiers":[{"sensitivity_v":[1]}])"), "amplifiers[0].sensitivity_v", "two numbers"},
        {with(R"("amplifiers":[1])"), "amplifiers[0]", "an object is wanted, not a number"},
        {with(R"("cables":{"signal_m":-1})"), "cables.signal_m", "-1 is negative"},
        {with(R"("supply":{"branches":[{"area_mm2":true}]})"), "supply.branches[0].area_mm2",
         "not true or false"},
        {with(R"("supply":{"temperature_c":500})"), "supply.temperature_c", "500 is above 200"},
        {with(R"("supply":{"temperature_c":-61})"), "supply.temperature_c", "-61 is below -60"},
        {with(R"("supply":{"branches":[{"name":"lamp"},{"name":"lamp","current_a":60}]})"), "supply.branches[1].name",
         "belongs to an earlier branch"},
        {with(R"("interface":{"volts_full_scale":7})"), "interface.volts_full_scale", "a list is wanted"},
        {with(R"("interface":{"volts_full_scale":[7,-1]})"), "interface.volts_full_scale[1]", "not above 0"},
        {with(R"("limits":{"ceiling_thd_percent":101})"), "limits.ceiling_thd_percent", "above 100"},
        {with(R"("title":7)"), "title", "given twice"},
        {with(R"("takes":[{"channels":["left"]}])"), "takes[0].file", "missing"},
        {with(R"("takes":[{"file":"takes/a.flac"}])"), "takes[0].channels", "missing"},
        {with(R"("takes":[{"file":"../a.flac","channels":["left"]}])"), "takes[0].file",
         "leaves the job folder"},
        {with(R"("takes":[{"file":"takes/../../a","channels":["left"]}])"), "takes[0].file",
         "leaves the job folder"},
        {with(R"("takes":[{"file":"/etc/passwd","channels":["left"]}])"), "takes[0].file",
         "leaves the job folder"},
        {with(R"("takes":[{"file":"takes/","channels":["left"]}])"), "takes[0].file", "names a folder"},
        {with(R"("takes":[{"file":"","channels":["left"]}])"), "takes[0].file", "is empty"},
        {with(R"("takes":[{"file":"takes/a\u0000.flac","channels":["left"]}])"), "takes[0].file", "NUL"},
        {with(R"("takes":[{"file":"takes/a\n.flac","channels":["left"]}])"), "takes[0].file",
         "control characters"},
        {with(R"("takes":[{"file":"a","channels":["left"]},{"file":"./a","channels":["left"]}])"),
         "takes[1].file", "belongs to an earlier take"},
        {take_with(R"("rpm_log":"../log.csv")"), "takes[0].rpm_log", "leaves the job folder"},
        {take_with(R"("rpm":-1)"), "takes[0].rpm", "negative"},
        {take_with(R"("volume":"12")"), "takes[0].volume", "a number is wanted"},
        {take_with(R"("hookup":["normal","shorted"])"), "takes[0].hookup[1]", "'shorted' is none of"},
        {take_with(R"("attached":[{"device":"x","powered_from":"solar"}])"),
         "takes[0].attached[0].powered_from", "solar"},
        {take_with(R"("attached":["phone"])"), "takes[0].attached[0]", "an object is wanted"},
        {take_with(R"("attenuation_db":[0,0])"), "takes[0].attenuation_db", "2 values for 1 channels"},
        {take_with(R"("attenuation_db":[-10])"), "takes[0].attenuation_db[0]", "negative"},
        {take_with(R"("marks":[{"time_s":-0.1,"text":"x"}])"), "takes[0].marks[0].time_s", "negative"},
        {take_with(R"("faults":["broken"])"), "takes[0].faults[0]", "'broken' is none of"},
        {take_with(R"("volume_steps":[1,null])"), "takes[0].volume_steps[1]", "a number is wanted, not null"},
        {take_with(R"("tone":"sine")"), "takes[0].tone", "an object is wanted, not the text 'sine'"},
        {take_with(R"("tone":{"kind":"sin"})"), "takes[0].tone.kind", "did you mean 'sine'?"},
        {take_with(R"("tone":{"kind":"sine","frequency_hz":0,"level_dbfs":0})"), "takes[0].tone.frequency_hz",
         "not above 0"},
        {take_with(R"("tone":{"kind":"sine","frequency_hz":997,"level_dbfs":3})"), "takes[0].tone.level_dbfs",
         "above 0"},
        {take_with(R"("tone":{"kind":"sweep","from_hz":20,"to_hz":20000,"duration_s":-5,"level_dbfs":0})"),
         "takes[0].tone.duration_s", "not above 0"},
        {take_with(R"("tone":{"kind":"two_tone","frequencies_hz":[60],"levels_dbfs":[0,0]})"),
         "takes[0].tone.frequencies_hz", "two numbers are wanted, not 1"},
        {seen_with(R"("what":"ground_dorp","value":1)"), "observations[0].what",
         "did you mean 'ground_drop'?"},
        {seen_with(R"("what":"ground_drop","value":-0.08)"), "observations[0].value", "negative"},
        {seen_with(R"("what":"ground_drop","value":"0.08")"), "observations[0].value", "a number is wanted"},
        {seen_with(R"("what":"ground_drop","value":80,"unit":"mV")"), "observations[0].unit",
         "in V, not in 'mV'"},
        {seen_with(R"("what":"noise_heard","value":"went")"), "observations[0].value",
         "none of same, quieter"},
        {seen_with(R"("what":"noise_heard","value":1)"), "observations[0].value",
         "a text is wanted, not a number"},
        {seen_with(R"("what":"ripple","value":1,"declined":true)"), "observations[0].declined",
         "all the same"},
    };
    for (const Row& row : rows) {
        INFO(row.text);
        CHECK_THAT(refusal(row.text),
                   Catch::StartsWith("job.json: " + row.field + ": ") && Contains(row.reason));
    }
}

TEST_CASE("what is no job at all is refused with its place", "[job_text]") {
    CHECK_THAT(refusal(""), Contains("is empty"));
    CHECK_THAT(refusal("[]"), Contains("an object is wanted, not a list"));
    CHECK_THAT(refusal("{}"), Contains("schema: is missing"));
    CHECK_THAT(refusal(R"({"schema":"hushtrace.job/2"})"),
               Contains("schema: 'hushtrace.job/2' was written by a newer program"));
    CHECK_THAT(refusal("{\n  \"schema\": \n}"), Contains("line 3, column 1: not JSON"));
    CHECK_THAT(refusal(R"({"schema":"hushtrace.job/1")"), Contains("ends too early"));
    CHECK_THAT(refusal(with(R"("vehicle":{"supply_v":NaN})")), Contains("no NaN"));
    CHECK_THAT(refusal(with(R"("vehicle":{"supply_v":-Infinity})")), Contains("no Infinity"));
    CHECK_THAT(refusal(with(R"("vehicle":{"supply_v":1e999})")), Contains("too large to hold"));
    CHECK_THAT(refusal(with(R"("x":{"supply_v":1,"supply_v":2})")), Contains("x.supply_v: is given twice"));
    CHECK_THAT(refusal(with("\"complaint\":\"\xFF\"")), Contains("line 1: is not UTF-8"));
    CHECK_THAT(refusal("{\n\n\"a\":\"\xC3\"}"), Contains("line 3: is not UTF-8"));
    CHECK_THAT(refusal(with(std::string("\"complaint\":\"a") + '\0' + "\"")), Contains("NUL"));
    CHECK_THAT(refusal(with(R"("complaint":"\ud800")")), Contains("not JSON"));
    CHECK_THAT(refusal(with("\"x\":" + std::string(1000000, '['))), Contains("nested more than 32 levels"));
    CHECK_THAT(refusal(std::string((std::size_t{16} << 20) + 1, ' ')), Contains("larger than 16 MiB"));
    std::string many = "\"x\":{\"0\":0";
    for (int i = 1; i <= 1000; ++i) many += ",\"" + std::to_string(i) + "\":0";
    CHECK_THAT(refusal(with(many + "}")), Contains("more than 1000 fields"));
    CHECK(refusal(with("\"x\":" + std::string(30, '[') + std::string(30, ']'))) == "accepted");
}

TEST_CASE("unknown fields are warned about by name, and not without end", "[job_text]") {
    std::vector<Warning> warnings;
    parse_job(take_with(R"("volum":3,"zzz\n":{"a":1})"), warnings);
    REQUIRE(warnings.size() == 2);
    CHECK(warnings[0].code == "unknown_field");
    CHECK(warnings[0].text ==
          "job.json: takes[0].volum: no field that we know; it is kept (did you mean 'volume'?)");
    CHECK_THAT(warnings[1].text, Contains("takes[0].zzz?:"));

    std::string many;
    for (int i = 0; i < 900; ++i) many += "\"f" + std::to_string(i) + "\":0,";
    warnings.clear();
    parse_job(with(many + "\"date\":null"), warnings);
    REQUIRE(warnings.size() == 51);
    CHECK_THAT(warnings.back().text, Contains("850 more fields"));
}

TEST_CASE("what had to be assumed is said", "[job_text]") {
    std::vector<Warning> warnings;
    const Job job = parse_job(with(R"("takes":[{"file":"a","channels":["left"],"tone":{"kind":"sine"},
        "hookup":["normal","isolator"],"attenuation_db":[null]}])"),
                              warnings);
    std::vector<std::string> codes;
    for (const Warning& warning : warnings) codes.push_back(warning.code);
    CHECK(codes == std::vector<std::string>{"hookup_unclear", "engine_unstated", "pad_unknown",
                                            "tone_unstated", "tone_unstated"});
    CHECK(job.takes[0].conditions.hookup == std::vector{Hookup::isolator});
    CHECK(std::get<Sine>(job.takes[0].tone->waveform).frequency_hz == 997.0);
}

TEST_CASE("no text, however broken, does worse than a refusal on one line", "[job_text]") {
    const std::uint32_t seed = 20260131;
    INFO("seed " << seed);
    std::mt19937 random(seed);
    const std::string whole = whole_job_text();
    const std::string bytes = "{}[]\",:0-9eE.+\\ntf\0\xFF\xC3 /*";
    int accepted = 0;
    for (int round = 0; round < 3000; ++round) {
        std::string text = whole;
        for (int edits = 1 + static_cast<int>(random() % 4); edits > 0; --edits) {
            const std::size_t at = random() % text.size();
            const std::size_t length = 1 + random() % 12;
            switch (random() % 4) {
                case 0:
                    text[at] = bytes[random() % bytes.size()];
                    break;
                case 1:
                    text.erase(at, length);
                    break;
                case 2:
                    text.insert(at, whole.substr(random() % whole.size(), length));
                    break;
                default:
                    text[at] = static_cast<char>(random() % 256);
            }
            if (text.empty()) text = "{";
        }
        try {
            const Job job = parse(text);
            ++accepted;
            const std::string once = job_text(job);  // what was accepted can be written, and read again
            CHECK(job_text(parse(once)) == once);
        } catch (const Error& error) {
            const std::string line = error.what();
            CHECK(line.find('\n') == std::string::npos);
            CHECK(line.rfind("job.json: ", 0) == 0);
        }
    }
    CHECK(accepted > 50);  // else the edits are too coarse to reach the fields
    CHECK(accepted < 2950);
}

TEST_CASE("what JSON can't hold is not written", "[job_text]") {
    Job job = parse(whole_job_text());
    job.source.preout_v = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_WITH(job_text(job), Contains("preout_v: is no finite number"));
    job = parse(whole_job_text());
    job.title = "\xFF";
    CHECK_THROWS_WITH(job_text(job), Contains("title: is not UTF-8"));
}

TEST_CASE("limits come back as they were written, and nonsense is refused by name", "[job]") {
    const std::string limits =
        R"("limits":{"ceiling_thd_percent":1,"minus_20_thd_percent":0.3,"balance_db":1,"delay_difference_ms":0.1,)"
        R"("crosstalk_1khz_db":-60,"crosstalk_10khz_db":-45,"response_from_hz":40,"response_to_hz":16000,)"
        R"("response_tolerance_db":3,"noise_dbv_a":-80,"line_below_full_power_db":-90,"hiss_below_full_power_db":-85,)"
        R"("at_ear_off_db_spl":15,"at_ear_running_db_spl":25,"same_polarity":true})";
    const auto before = nlohmann::json::parse(with(limits)).at("limits");
    CHECK(nlohmann::json::parse(job_text(parse(with(limits)))).at("limits") == before);
    CHECK(before.size() == kLimitFields.size() + 1);
    CHECK_FALSE(nlohmann::json::parse(job_text(parse(with(R"("limits":{})")))).contains("limits"));
    CHECK_THAT(refusal(with(R"("limits":{"crosstalk_1khz_db":60})")), Contains("limits.crosstalk_1khz_db"));
    CHECK_THAT(refusal(with(R"("limits":{"line_below_full_power_db":90})")), Contains("limits.line_below_full_power_db"));
    CHECK_THAT(refusal(with(R"("limits":{"at_ear_off_db_spl":"quiet"})")), Contains("limits.at_ear_off_db_spl"));
    CHECK_THAT(refusal(with(R"("limits":{"balance_db":-1})")), Contains("limits.balance_db"));
    CHECK_THAT(refusal(with(R"("limits":{"same_polarity":"yes"})")), Contains("limits.same_polarity"));
    CHECK_THAT(refusal(with(R"("limits":{"response_from_hz":200,"response_to_hz":100})")), Contains("limits.response_to_hz"));
}
