#include "../../../src/diagnose/entry/entry_levels.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/entry_job.hpp"

using namespace hushtrace;
using namespace hushtrace::entry_job;

namespace {

/// Where a source that isn't found lies below, with another finding in the take.
std::optional<LevelHere> beside(EntryJob& one, const NoiseSource& other) {
    return level_in(one.source, one.surveys.back(), Channel::left, {&one.source, &other});
}
NoiseSource other_at(double hz, double level_dbfs, NoiseKind kind = NoiseKind::mains_hum) {
    NoiseSource other;
    other.kind = kind;
    other.frequency_hz = hz;
    LevelInTake level;
    level.take = "b";
    level.level_dbfs = level_dbfs;
    other.levels = {level};
    return other;
}

/// A take of so many columns of 0.1 s, bins of 10 Hz with noise of -100 dB, and a trace over it that begins `late_s` later.
struct Traced {
    Take take;
    TakeSurvey survey;
    SourceTrace trace;
    explicit Traced(std::size_t columns = 40, std::size_t channels = 2) {
        survey.take = &take;
        survey.channels.resize(channels);
        for (std::size_t c = 0; c < channels; ++c) {
            ChannelSurvey& one = survey.channels[c];
            one.channel = c == 0 ? Channel::left : Channel::right;
            one.column_s = 0.1;
            one.spectrogram_bin_hz = 10;
            one.spectrogram_dbfs.assign(columns, std::vector<float>(400, -100.0F));
        }
        trace.ratios = {1.0};
        trace.track.time_s = {0, 100};
        trace.track.frequency_hz = {1000, 1000};
    }
    Traced(const Traced&) = delete;
    /// A line whose level goes up and down by 1 dB, half a second each.
    Traced& line(std::size_t channel, std::size_t bin, double mean_db, double swing_db) {
        auto& columns = survey.channels[channel].spectrogram_dbfs;
        for (std::size_t c = 0; c < columns.size(); ++c) columns[c][bin] = static_cast<float>(mean_db + (c / 5 % 2 == 0 ? swing_db : -swing_db));
        return *this;
    }
    std::optional<Wander> wander() const { return wander_in(trace, survey); }
};

}  // namespace

TEST_CASE("a source's level in a take is what was read there, in volts where those are known", "[entry]") {
    EntryJob one;
    one.add("a", idling(), -40.0);
    auto here = level_in(one.source, one.surveys.front(), Channel::left);
    REQUIRE(here);
    CHECK(here->survey == &one.surveys.front());
    CHECK(here->level_db == -40);
    CHECK(here->sd_db == 1);
    CHECK_FALSE(here->at_most);
    one.source.levels[0].level_dbv = -33;
    CHECK(level_in(one.source, one.surveys.front(), Channel::left)->level_db == -33);
    CHECK_FALSE(level_in(one.source, one.surveys.front(), Channel::right));   // not in the take
    one.level("a", Channel::right, -38);
    CHECK(level_in(one.source, one.surveys.front(), Channel::right)->level_db == -38);
    CHECK(loudest_channel(one.source) == Channel::right);
    one.source.levels[1].level_dbfs = -41;
    CHECK(loudest_channel(one.source) == Channel::left);
    CHECK(loudest_channel(NoiseSource{}) == Channel::left);
}

TEST_CASE("a source that isn't found lies below what is found nine times in ten, 3 dB added", "[entry]") {
    // docs/noise-kinds.md: levels over the hiss from which each kind is found
    for (const auto& [kind, over_hiss_db] :
         {std::pair{NoiseKind::alternator_whine, -22.0}, {NoiseKind::ignition_tick, -12.0}, {NoiseKind::periodic_tick, -9.0},
          {NoiseKind::converter_hash, -15.0}, {NoiseKind::crackle, -20.0}, {NoiseKind::motor_whine, -17.0}, {NoiseKind::bus_tone, -28.0},
          {NoiseKind::mains_hum, -28.0}, {NoiseKind::unexplained_tone, -24.0}}) {
        INFO(to_word(kind));
        EntryJob one(kind);
        one.add("a", idling(), -40.0);
        one.add("b", idling(), std::nullopt);
        const auto here = level_in(one.source, one.surveys.back(), Channel::left);
        REQUIRE(here);
        CHECK(here->at_most);
        CHECK(here->sd_db == 2);
        CHECK(here->survey == &one.surveys.back());
        CHECK(here->level_db == Approx(-60 + over_hiss_db));
    }
    EntryJob one;
    ChannelSurvey& channel = one.add("b", idling(), std::nullopt).channels[0];
    channel.volts_full_scale = 2;   // a full-scale sine has 1.414 V
    CHECK(level_in(one.source, one.surveys.back(), Channel::left)->level_db == Approx(-82 + 3.0103));
    CHECK_FALSE(level_in(one.source, one.surveys.back(), Channel::right));
    channel.silent = true;
    CHECK_FALSE(level_in(one.source, one.surveys.back(), Channel::left));
    channel.silent = false;
    channel.hiss.all.unweighted.value = 0;
    CHECK_FALSE(level_in(one.source, one.surveys.back(), Channel::left));
}

TEST_CASE("where another finding stands in its place a source may lie as high as that", "[entry]") {
    EntryJob one(NoiseKind::unexplained_tone);
    one.source.frequency_hz = 1000;
    one.source.level_dbfs = -50;
    one.add("b", idling(), std::nullopt);
    const double unheard = -84;
    CHECK(beside(one, other_at(1000, -70))->level_db == -70);
    CHECK(beside(one, other_at(1009, -70))->level_db == -70);   // a frequency may stray by 1 %
    CHECK(beside(one, other_at(991, -70))->level_db == -70);
    CHECK(beside(one, other_at(1011, -70))->level_db == Approx(unheard));
    CHECK(beside(one, other_at(1000, -90))->level_db == Approx(unheard));
    NoiseSource elsewhere = other_at(1000, -70);
    elsewhere.levels[0].take = "a";
    CHECK(beside(one, elsewhere)->level_db == Approx(unheard));
    elsewhere = other_at(1000, -70);
    elsewhere.levels[0].channel = Channel::right;
    CHECK(beside(one, elsewhere)->level_db == Approx(unheard));
    elsewhere = other_at(1000, -70);
    elsewhere.levels[0].level_dbv = -66;
    CHECK(beside(one, elsewhere)->level_db == -66);
    elsewhere.frequency_hz.reset();
    CHECK(beside(one, elsewhere)->level_db == Approx(unheard));
    // lines alone stand in the way of lines
    for (const NoiseKind kind : {NoiseKind::alternator_whine, NoiseKind::mains_hum, NoiseKind::switched_load, NoiseKind::motor_whine,
                                 NoiseKind::bus_tone, NoiseKind::unexplained_tone})
        CHECK(beside(one, other_at(1000, -70, kind))->level_db == -70);
    for (const NoiseKind kind : {NoiseKind::ignition_tick, NoiseKind::periodic_tick, NoiseKind::hiss, NoiseKind::crackle, NoiseKind::converter_hash})
        CHECK(beside(one, other_at(1000, -70, kind))->level_db == Approx(unheard));
    // at its harmonics, those within 10 dB of the whole
    one.source.harmonics = {{3.0, 3000, -59.9, std::nullopt}};
    CHECK(beside(one, other_at(3020, -70))->level_db == -70);
    CHECK(beside(one, other_at(3040, -70))->level_db == Approx(unheard));
    one.source.harmonics[0].level_dbfs = -60.1;
    CHECK(beside(one, other_at(3020, -70))->level_db == Approx(unheard));
    // a whine and a motor turn at other speeds from take to take: 8 %
    for (const NoiseKind kind : {NoiseKind::alternator_whine, NoiseKind::motor_whine}) {
        one.source.kind = kind;
        CHECK(beside(one, other_at(1079, -70))->level_db == -70);
        CHECK(beside(one, other_at(1081, -70))->level_db < -76);
    }
    one.source.kind = NoiseKind::ignition_tick;
    CHECK(beside(one, other_at(1000, -70))->level_db == Approx(-72));
}

TEST_CASE("what stands over the noise in its place bounds a source as well", "[entry]") {
    const auto with = [](NoiseKind kind, double line_hz, double density, double share_db = 0) {
        EntryJob one(kind);
        one.source.harmonics = {{1.0, 1000, -43, std::nullopt}, {2.0, 2000, -60, std::nullopt}};
        one.source.level_dbfs = -43 + share_db;
        ChannelSurvey& channel = one.add("b", idling(), std::nullopt).channels[0];
        channel.spectrum.sample_rate_hz = 8000;
        channel.spectrum.length = 4000;   // bins of 2 Hz
        channel.spectrum.density.assign(2001, 1e-12);
        channel.floor_density.assign(2001, 1e-12);
        channel.spectrum.density[static_cast<std::size_t>(line_hz / 2)] = density;
        return level_in(one.source, one.surveys.back(), Channel::left)->level_db;
    };
    using K = NoiseKind;
    // 1e-8 in 2 Hz is a mean square of 2e-8, that of a sine of -74 dBFS; the source's other lines as much more as they were elsewhere
    CHECK(with(K::unexplained_tone, 1000, 1e-8 + 1e-12) == Approx(10 * std::log10(4e-8)));
    CHECK(with(K::unexplained_tone, 1000, 1e-8 + 1e-12, 3.0) == Approx(10 * std::log10(4e-8) + 3));
    CHECK(with(K::unexplained_tone, 1000, 1e-8 + 1e-12, -3.0) == Approx(10 * std::log10(4e-8)));
    const double found_from = -60 - 24;
    CHECK(with(K::unexplained_tone, 1000, 3.9e-12, 40) == Approx(found_from));   // four times the noise stands out
    CHECK(with(K::unexplained_tone, 1000, 4.1e-12, 40) == Approx(10 * std::log10(2 * 2 * 3.1e-12) + 40));
    // half of what it may stray either way: 0.5 %, of a whine 4 %; of a motor all of its 8 %
    CHECK(with(K::unexplained_tone, 1004, 1e-8) > -75);
    CHECK(with(K::unexplained_tone, 1008, 1e-8) == Approx(found_from));
    CHECK(with(K::unexplained_tone, 996, 1e-8) > -75);
    CHECK(with(K::unexplained_tone, 992, 1e-8) == Approx(found_from));
    CHECK(with(K::alternator_whine, 1038, 1e-8) > -75);
    CHECK(with(K::alternator_whine, 1044, 1e-8) == Approx(-82));
    CHECK(with(K::motor_whine, 1078, 1e-8) > -75);
    CHECK(with(K::motor_whine, 1084, 1e-8) == Approx(-77));
    CHECK(with(K::crackle, 1000, 1e-8) == Approx(-80));   // that has no lines
    // without harmonics its own frequency; without a spectrum nothing
    EntryJob one(K::unexplained_tone);
    one.source.level_dbfs = -43;
    ChannelSurvey& channel = one.add("b", idling(), std::nullopt).channels[0];
    channel.spectrum.sample_rate_hz = 8000;
    channel.spectrum.length = 4000;
    channel.spectrum.density.assign(2001, 1e-12);
    channel.spectrum.density[500] = 1e-8 + 1e-12;
    const auto level = [&] { return level_in(one.source, one.surveys.back(), Channel::left)->level_db; };
    CHECK(level() == Approx(found_from));   // the noise under the lines isn't known
    channel.floor_density.assign(2001, 1e-12);
    CHECK(level() == Approx(10 * std::log10(4e-8)));
    one.source.level_dbfs.reset();
    CHECK(level() == Approx(found_from));
    one.source.level_dbfs = -43;
    one.source.frequency_hz.reset();
    CHECK(level() == Approx(found_from));
}

TEST_CASE("a level strays within its take by its half seconds, against the other side where that shows it", "[entry]") {
    // 1 dB up and down in turn: the standard deviation of eight such values is sqrt(8 / 7)
    const double sd = std::sqrt(8.0 / 7);
    Traced alone(40, 1);
    alone.line(0, 100, -50, 1);
    REQUIRE(alone.wander());
    CHECK(alone.wander()->sd_db == Approx(sd).epsilon(1e-4));
    CHECK_FALSE(alone.wander()->against_other_side);
    Traced both;
    both.line(0, 100, -50, 1).line(1, 100, -60, 0);
    REQUIRE(both.wander());
    CHECK(both.wander()->sd_db == Approx(sd).epsilon(1e-4));
    CHECK(both.wander()->against_other_side);
    CHECK(both.line(1, 100, -60, 1).wander()->sd_db == Approx(0).margin(1e-4));   // what the engine does to both drops out
    CHECK(both.line(1, 100, -60, -1).wander()->sd_db == Approx(2 * sd).epsilon(1e-4));
    both.trace.channel = Channel::right;
    CHECK(both.wander()->sd_db == Approx(2 * sd).epsilon(1e-4));
    CHECK_FALSE(Traced().line(1, 100, -60, 1).wander());   // not in the louder channel
    both.survey.channels[1].channel = Channel::supply;
    CHECK_FALSE(both.wander());
    both.trace.channel = Channel::left;
    CHECK_FALSE(both.wander()->against_other_side);
    // eight half seconds and more
    CHECK_FALSE(Traced(39, 1).line(0, 100, -50, 1).wander());
    // its lines stand out by ten times the noise in five bins, -83 dB here
    CHECK(Traced(40, 1).line(0, 100, -82, 0.5).wander());
    CHECK_FALSE(Traced(40, 1).line(0, 100, -83.5, 0.5).wander());
    CHECK(Traced(40, 1).line(0, 102, -50, 1).wander());   // two bins off, at most
    CHECK_FALSE(Traced(40, 1).line(0, 103, -50, 1).wander());
    CHECK(Traced(40, 1).line(0, 98, -50, 1).wander());
    CHECK_FALSE(Traced(40, 1).line(0, 97, -50, 1).wander());
    Traced between(40, 1);   // 1006 Hz lies in the bin of 1010
    between.trace.track.frequency_hz = {1006, 1006};
    CHECK(between.line(0, 103, -50, 1).wander());
    Traced none(40, 1);
    none.line(0, 100, -50, 1).trace.ratios.clear();
    CHECK_FALSE(none.wander());
    none.trace.ratios = {1.0};
    none.survey.channels[0].column_s = 0;
    CHECK_FALSE(none.wander());
    none.survey.channels[0].column_s = 0.1;
    none.trace.track = {};
    CHECK_FALSE(none.wander());
    none.trace.track.time_s = {0, 100};
    none.trace.track.frequency_hz = {1000, 1000};
    CHECK(none.wander());
}

TEST_CASE("a source's first four lines make up its level over time, along its track", "[entry]") {
    // two lines of -50 dB, one of which goes up by 3.01 dB and down to nothing in turn: 3 and 1 times the power
    Traced two(40, 1);
    two.trace.ratios = {1.0, 2.0};
    two.line(0, 100, -50, 0).line(0, 200, -73.495, 26.505);   // -46.99 and -100
    const double swing_db = 10 * std::log10(3.0) / 2;
    CHECK(two.wander()->sd_db == Approx(swing_db * std::sqrt(8.0 / 7)).epsilon(1e-3));
    Traced fifth(40, 1);
    fifth.trace.ratios = {1.0, 1.1, 1.2, 1.3, 2.0};
    fifth.line(0, 100, -50, 0).line(0, 200, -40, 5);
    CHECK(fifth.wander()->sd_db == Approx(0).margin(1e-4));
    fifth.trace.ratios = {1.0, 1.2, 1.3, 2.0};
    CHECK(fifth.wander()->sd_db > 3);
    // near the spectrogram's ends there is no noise to hold a line against
    for (const auto& [bin, told] : {std::pair{10, true}, {9, false}, {389, true}, {390, false}}) {
        Traced end(40, 1);
        end.trace.track.frequency_hz = {10.0 * bin, 10.0 * bin};
        CHECK(end.line(0, static_cast<std::size_t>(bin), -50, 1).wander().has_value() == told);
    }
    // the trace begins a second after what was surveyed, and its line moves up two seconds after that
    Traced moving(60, 1);
    moving.survey.from_s = 2;
    moving.trace.from_s = 3;
    moving.trace.track = {};
    for (int i = 0; i < 60; ++i) {
        moving.trace.track.time_s.push_back(0.1 * i + 0.05);
        moving.trace.track.frequency_hz.push_back(i < 20 ? 1000 : 2000);
    }
    auto& columns = moving.survey.channels[0].spectrogram_dbfs;
    for (std::size_t c = 0; c < columns.size(); ++c) columns[c][c < 30 ? 100 : 200] = c / 5 % 2 == 0 ? -49.0F : -51.0F;
    REQUIRE(moving.wander());
    CHECK(moving.wander()->sd_db == Approx(std::sqrt(12.0 / 11)).epsilon(1e-3));   // twelve half seconds, all of them found
}
