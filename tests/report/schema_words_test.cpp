#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/measure/intermodulation.hpp"
#include "hushtrace/measure/response_shape.hpp"
#include "hushtrace/signal/tone.hpp"
#include "hushtrace/vehicle/entry_tables.hpp"

// The schemas' words are those of the sources' tables: a word added there and not here, or the other way round, is found.

using namespace hushtrace;
using Json = nlohmann::json;
using Words = std::set<std::string>;

namespace {

Json schema(const std::string& name) {
    std::ifstream file(std::string(HUSHTRACE_SOURCE_DIR) + "/docs/schemas/hushtrace." + name + "-1.schema.json");
    return Json::parse(file);
}

Words words_at(const std::string& name, const std::string& pointer) {
    Words words;
    const Json list = schema(name).at(Json::json_pointer(pointer));
    for (const Json& one : list)
        if (one.is_string()) words.insert(one.get<std::string>());
    return words;
}

template <class Word>
Words spelled() {
    Words words;
    for (const std::string_view one : words_of<Word>()) words.emplace(one);
    return words;
}

/// All words of an enumeration up to its last.
template <class Word>
Words up_to(Word last) {
    Words words;
    for (int i = 0; i <= static_cast<int>(last); ++i) words.emplace(to_word(static_cast<Word>(i)));
    return words;
}

}  // namespace

TEST_CASE("the schemas' words of the conditions are the program's", "[schema]") {
    const auto common = [](const std::string& name) { return words_at("common", "/$defs/" + name + "/enum"); };
    CHECK(common("drive") == spelled<Drive>());
    CHECK(common("engine") == spelled<Engine>());
    CHECK(common("source_state") == spelled<SourceState>());
    CHECK(common("source_input") == spelled<SourceInput>());
    CHECK(common("point") == spelled<Point>());
    CHECK(common("laptop") == spelled<LaptopPower>());
    CHECK(common("powered_from") == spelled<PoweredFrom>());
    CHECK(common("channel") == spelled<Channel>());
    CHECK(common("output_kind") == spelled<OutputKind>());
    CHECK(common("interface_input") == spelled<InterfaceInput>());
    CHECK(common("conductor") == spelled<Conductor>());
    CHECK(common("amplifier_state") == spelled<AmplifierState>());
    CHECK(common("dial_law") == spelled<DialLaw>());
    CHECK(common("speaker_kind") == spelled<SpeakerKind>());
    CHECK(common("tone_via") == spelled<ToneVia>());
    CHECK(common("take_fault") == spelled<TakeFault>());
    CHECK(common("hookup") == spelled<Hookup>());
    Words music;
    for (const Channel one : {Channel::left, Channel::right, Channel::rear_left, Channel::rear_right, Channel::center, Channel::sub, Channel::supply})
        if (carries_signal(one)) music.emplace(to_word(one));
    CHECK(words_at("job", "/$defs/music_channel/enum") == music);
}

TEST_CASE("the schemas' words of the results are the program's", "[schema]") {
    CHECK(words_at("common", "/$defs/noise_kind/enum") == up_to(NoiseKind::heard_only));
    CHECK(words_at("common", "/$defs/limited_by/enum") == up_to(LimitedBy::noise));
    CHECK(words_at("common", "/$defs/limited_by_or_null/enum") == up_to(LimitedBy::noise));
    CHECK(words_at("power", "/$defs/cable/properties/verdict/enum") == up_to(CableVerdict::beyond_tables));
    CHECK(words_at("chain", "/$defs/shape/properties/parts/items/properties/kind/enum") == up_to(ShapeKind::low_pass));
    CHECK(words_at("chain", "/$defs/results/properties/intermodulation/items/properties/method/enum") == up_to(TwoToneMethod::modulation));
    CHECK(words_at("gain", "/$defs/ceiling/properties/knee_sides/enum") == up_to(ClippedSides::lower));
    Words paths, mechanisms, tests = {std::string(kReachSource_word)};
    for (std::size_t i = 0; i < kEntryWays; ++i) {
        paths.emplace(path_of(static_cast<EntryWay>(i)));
        if (const auto word = mechanism_of(static_cast<EntryWay>(i))) mechanisms.emplace(*word);
    }
    for (const EntryTest one : all_entry_tests()) tests.emplace(word_of(one));
    CHECK(words_at("common", "/$defs/path/enum") == paths);
    CHECK(words_at("common", "/$defs/mechanism/enum") == mechanisms);
    Words labour;
    const Json minutes = schema("job").at(Json::json_pointer("/properties/labour_min/properties"));
    for (const auto& item : minutes.items()) labour.insert(item.key());
    CHECK(labour == tests);
}

TEST_CASE("the schema of job.json has the program's words and limits", "[schema]") {
    Words tones, seen;
    for (const std::string_view one : tone_kind_words()) tones.emplace(one);
    for (const std::string_view one : observation_words()) seen.emplace(one);
    CHECK(words_at("job", "/$defs/tone_kind/enum") == tones);
    CHECK(words_at("job", "/$defs/observation_what/enum") == seen);
    const Json limits = schema("job").at(Json::json_pointer("/properties/limits/properties"));
    for (const LimitField& field : kLimitFields) {
        INFO(field.name);
        const Json& one = limits.at(std::string(field.name));
        CHECK(one.at(field.lowest_itself ? "minimum" : "exclusiveMinimum") == field.lowest);
        CHECK(one.at("maximum") == field.highest);
    }
    CHECK(limits.size() == kLimitFields.size() + 1);   // same_polarity is no number
    const Json interface = schema("job").at(Json::json_pointer("/properties/interface/properties"));
    for (const OwnNoiseField& field : kOwnNoiseFields) CHECK(interface.contains(std::string(field.name)));
}
