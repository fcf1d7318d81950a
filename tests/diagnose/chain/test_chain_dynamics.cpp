// What volume and level change, of paths that are known on paper.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/chain_maker.hpp"

using namespace hushtrace;
using namespace chain_maker;

namespace {

/// So many dB below 200 Hz, and above 5 kHz.
Transfer tilted(double bass_db, double treble_db = 0, double level_db = 0, double from_hz = 20, double to_hz = 20000) {
    return path(level_db, 0, false, [=](double hz) { return hz < 200 ? bass_db : hz > 5000 ? treble_db : 0.0; }, from_hz, to_hz);
}
/// A subwoofer's: loudest round 60 Hz, 12 dB an octave to either side; noise 50 dB down, under which it is lost from some 800 Hz on.
Transfer low_end(double level_db) {
    Transfer out = path(level_db, 0, false, [](double hz) { return -12 * std::abs(std::log2(hz / 60)); });
    for (TransferPoint& point : out) point.noise_power = std::pow(10.0, (level_db - 50) / 10);
    return out;
}

}  // namespace

TEST_CASE("bass and treble against 1 kHz at rising volumes, by sweeps", "[chain]") {
    ReadTakes the;
    the.add("v30", {{Channel::left, tilted(-4, -2.5, -1)}}, 30.0);
    the.add("v10", {{Channel::left, tilted(2, -0.5, -21)}}, 10.0);
    the.add("v20", {{Channel::left, tilted(-1, -0.7, -11)}}, 20.0);
    the.channel(Channel::left, "v30");
    add_volume_dependence({}, the.chain, the.read, nullptr);
    REQUIRE(the.chain.volume_dependence.size() == 1);
    const VolumeDependence& one = the.chain.volume_dependence[0];
    CHECK(one.channel == Channel::left);
    CHECK(one.against == Channel::left);
    CHECK(one.bass_hz == 50);
    CHECK(one.treble_hz == 10000);
    CHECK_FALSE(one.from_tones);
    REQUIRE(one.points.size() == 3);
    const double bass[] = {2, -1, -4}, treble[] = {-0.5, -0.7, -2.5};
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(one.points[i].volume == 10.0 * static_cast<double>(i + 1));
        CHECK(one.points[i].take == "v" + std::to_string(10 * (i + 1)));
        CHECK(one.points[i].bass_db->value == Approx(bass[i]).margin(0.001));
        CHECK(one.points[i].treble_db->value == Approx(treble[i]).margin(0.001));
    }
    const auto sd = [&](double hz) { return octave_level(the.read[0].of.paths[0].transfer, hz)->level_db.sd; };
    CHECK(one.points[2].bass_db->sd == Approx(std::hypot(sd(50), sd(1000))));
    CHECK(one.bass_change_db->value == Approx(-6).margin(0.001));
    CHECK(one.bass_change_db->sd == Approx(std::hypot(sd(50), sd(1000), std::hypot(sd(50), sd(1000)))).epsilon(0.01));
    CHECK(one.treble_change_db->value == Approx(-2).margin(0.001));
    CHECK(one.bass_varies);
    CHECK(one.treble_varies);
}

TEST_CASE("a dependence of the volume is 1 dB and more, and more than chance", "[chain]") {
    const auto varies = [](double bass_db, double treble_db) {
        ReadTakes the;
        the.add("v10", {{Channel::left, tilted(0)}}, 10.0);
        the.add("v20", {{Channel::left, tilted(bass_db, treble_db)}}, 20.0);
        the.channel(Channel::left, "v10");
        add_volume_dependence({}, the.chain, the.read, nullptr);
        REQUIRE(the.chain.volume_dependence.size() == 1);
        return std::pair(the.chain.volume_dependence[0].bass_varies, the.chain.volume_dependence[0].treble_varies);
    };
    // four times the sd of four octaves of some 0.005 dB: 0.05 dB beside the 1
    CHECK(varies(0.99, -0.99) == std::pair(false, false));
    CHECK(varies(1.1, 0) == std::pair(true, false));
    CHECK(varies(-1.1, 0) == std::pair(true, false));
    CHECK(varies(0, 1.1) == std::pair(false, true));
    CHECK(varies(0, -1.1) == std::pair(false, true));
}

TEST_CASE("takes that tell nothing of the volume are left out", "[chain]") {
    const auto dependences = [](void (*change)(ReadTakes&)) {
        ReadTakes the;
        the.add("v10", {{Channel::left, tilted(0)}}, 10.0);
        the.add("v20", {{Channel::left, tilted(-3)}}, 20.0);
        the.channel(Channel::left, "v10");
        change(the);
        add_volume_dependence({}, the.chain, the.read, nullptr);
        return the.chain.volume_dependence;
    };
    CHECK(dependences([](ReadTakes&) {}).size() == 1);
    CHECK(dependences([](ReadTakes& t) { t.takes[1].conditions.volume.reset(); }).empty());
    CHECK(dependences([](ReadTakes& t) { t.takes[1].conditions.volume = 10.0; }).empty());
    CHECK(dependences([](ReadTakes& t) { t.takes[1].tone->only = Channel::left; }).empty());
    CHECK(dependences([](ReadTakes& t) { t.takes[1].tone->waveform = PolarityPulse{}; }).empty());
    CHECK(dependences([](ReadTakes& t) { t.takes[1].tone->waveform = Sweep{20, 20000, 5, -10}; }).empty());
    // of takes played alike: the level of which there are most volumes
    const auto most = dependences([](ReadTakes& t) {
        t.add("loud10", {{Channel::left, tilted(0)}}, 10.0, -6);
        t.add("loud20", {{Channel::left, tilted(-5)}}, 20.0, -6);
        t.add("v30", {{Channel::left, tilted(-4)}}, 30.0);
    });
    REQUIRE(most.size() == 1);
    CHECK(most[0].points.size() == 3);
    CHECK(most[0].bass_change_db->value == Approx(-4).margin(0.001));
    // nothing below 150 Hz and nothing at 10 kHz: no point
    CHECK(dependences([](ReadTakes& t) {
              t.read[0].of.paths[0].transfer = path(0, 0, false, {}, 400, 5000);
              t.read[1].of.paths[0].transfer = path(0, 0, false, {}, 400, 5000);
          }).empty());
    // the lowest octave that is there, up to 150 Hz: from 60 Hz on that lies round 60 * 2^(1/2) at the lowest
    const auto higher = dependences([](ReadTakes& t) {
        t.read[0].of.paths[0].transfer = tilted(0, 0, 0, 60, 20000);
        t.read[1].of.paths[0].transfer = tilted(-3, 0, 0, 60, 20000);
    });
    REQUIRE(higher.size() == 1);
    CHECK(higher[0].bass_hz > 60);
    CHECK(higher[0].bass_hz < 60 * 1.5);
    CHECK(higher[0].bass_change_db->value == Approx(-3).margin(0.001));
}

TEST_CASE("a subwoofer is held against a channel of the take that passes 1 kHz", "[chain]") {
    ReadTakes the;
    AtProbe padded;
    padded.referred.offset_db = padded.pad_db = 6;
    const Transfer off = path(-90);   // a lead that came off carries nothing
    the.add("v10", {{Channel::left, off}, {Channel::sub, low_end(-3), 0, padded}, {Channel::right, tilted(0, 0, -10)}}, 10.0);
    the.add("v20", {{Channel::left, off}, {Channel::sub, low_end(-7), 0, padded}, {Channel::right, tilted(0, 0, -5)}}, 20.0);
    the.channel(Channel::sub, "v10");
    add_volume_dependence({}, the.chain, the.read, nullptr);
    REQUIRE(the.chain.volume_dependence.size() == 1);
    const VolumeDependence& one = the.chain.volume_dependence[0];
    CHECK(one.channel == Channel::sub);
    CHECK(one.against == Channel::right);
    // -3 and a pad of 6, against -10; then -7 against -5; less what its slopes take of the octave round 50 Hz
    const double slopes_db = octave_level(low_end(0), 50)->level_db.value;
    CHECK(one.points[0].bass_db->value == Approx(13 + slopes_db).margin(0.001));
    CHECK(one.points[1].bass_db->value == Approx(4 + slopes_db).margin(0.001));
    CHECK(one.bass_change_db->value == Approx(-9).margin(0.001));
    CHECK_FALSE(one.points[0].treble_db);
    CHECK_FALSE(one.treble_varies);
    // alone it has nothing to be held against
    ReadTakes alone;
    alone.add("v10", {{Channel::sub, low_end(-3)}}, 10.0);
    alone.add("v20", {{Channel::sub, low_end(-7)}}, 20.0);
    alone.channel(Channel::sub, "v10");
    add_volume_dependence({}, alone.chain, alone.read, nullptr);
    CHECK(alone.chain.volume_dependence.empty());
}

TEST_CASE("bass against the middle by stepped tones, at the volumes that both have", "[chain]") {
    GainAnalysis gain;
    gain.curves = {curve("low", Channel::right, 50, {{10, -30}, {12, -26.5}, {14, -23}, {16, -19}}),
                   curve("other", Channel::left, 1000, {{10, -10}, {12, -10}, {14, -10}}),
                   curve("middle", Channel::right, 1000, {{8, -32}, {10, -28}, {12, -24}, {14, -20}})};
    const auto dependence = [&](const Job& job = {}) {
        ChainAnalysis chain;
        add_volume_dependence(job, chain, {}, &gain);
        return chain.volume_dependence;
    };
    const auto found = dependence();
    REQUIRE(found.size() == 1);
    const VolumeDependence& one = found[0];
    CHECK(one.from_tones);
    CHECK(one.channel == Channel::right);
    CHECK(one.against == Channel::right);
    CHECK(one.bass_hz == 50);
    REQUIRE(one.points.size() == 3);
    CHECK(one.points[0].volume == 10);
    CHECK(one.points[0].take == "low");
    CHECK(one.points[0].bass_db->value == Approx(-2));
    CHECK(one.points[0].bass_db->sd == Approx(0.03 * std::sqrt(2.0)));
    CHECK_FALSE(one.points[0].treble_db);
    CHECK(one.points[2].bass_db->value == Approx(-3));
    CHECK(one.bass_change_db->value == Approx(-1));
    CHECK(one.bass_change_db->sd == Approx(0.06));
    CHECK_FALSE(one.bass_varies);   // 1 dB, and 4 times 0.06 beside
    gain.curves[0].steps[2].level_dbfs = -23.3;
    CHECK(dependence()[0].bass_varies);
    // a pad before one of them
    Job job;
    job.takes.resize(2);
    job.takes[0].file = "middle";
    job.takes[1].file = "low";
    job.takes[0].channels = job.takes[1].channels = {Channel::right};
    job.takes[1].attenuation_db = {20};
    CHECK(dependence(job)[0].points[0].bass_db->value == Approx(18));
    job.takes[0].attenuation_db = {5};
    CHECK(dependence(job)[0].points[0].bass_db->value == Approx(13));
    // steps that are overloaded, distorted, or without a volume don't count
    gain.curves[0].steps[0].input_overload = true;
    CHECK(dependence()[0].points.size() == 2);
    gain.curves[2].steps[2].thd_percent = 5.0;   // volume 12
    CHECK(dependence().empty());
    gain.curves[2].steps[2].thd_percent = 4.9;
    CHECK(dependence()[0].points.size() == 2);
    gain.curves[2].steps[2].volume.reset();
    CHECK(dependence().empty());
    gain.curves[2].steps[2].volume = 12;
    // the low tone reaches up to 150 Hz, the middle from 400 to 2500
    const double reaches[][3] = {{150, 1000, 1}, {151, 1000, 0}, {50, 400, 1}, {50, 399, 0}, {50, 2500, 1}, {50, 2501, 0}};
    for (const auto& [low_hz, middle_hz, count] : reaches) {
        GainAnalysis two;
        two.curves = {gain.curves[0], gain.curves[2]};
        two.curves[0].tone_hz = low_hz;
        two.curves[1].tone_hz = middle_hz;
        ChainAnalysis chain;
        add_volume_dependence({}, chain, {}, &two);
        CAPTURE(low_hz, middle_hz);
        CHECK(static_cast<double>(chain.volume_dependence.size()) == count);
        if (!chain.volume_dependence.empty()) CHECK(chain.volume_dependence[0].bass_hz == low_hz);
    }
    gain.curves.pop_back();   // the other channel's middle is better than none
    REQUIRE(dependence().size() == 1);
    CHECK(dependence()[0].against == Channel::left);
}

TEST_CASE("two takes are alike where nothing but the level differs", "[chain]") {
    ReadTakes the;
    Take& a = the.add("a", {{Channel::left, path()}});
    Take& b = the.add("b", {{Channel::left, path()}}, 20.0, -3);
    CHECK(alike_but_level(a, b));
    const Take same = b;
    void (*const changes[])(Take&) = {
        [](Take& t) { t.tone->waveform = Pink{}; },
        [](Take& t) { t.tone->only = Channel::left; },
        [](Take& t) { t.conditions.volume = 21; },
        [](Take& t) { t.conditions.point = Point::source_output; },
        [](Take& t) { t.conditions.hookup = {Hookup::isolator}; },
        [](Take& t) { t.conditions.input = SourceInput::aux; },
        [](Take& t) { t.tone->via = ToneVia::disc; },
        [](Take& t) { t.after_change = "another lead"; },
    };
    for (const auto change : changes) {
        b = same;
        change(b);
        CHECK_FALSE(alike_but_level(a, b));
    }
    CHECK(played_level_dbfs(Sweep{20, 20000, 5, -7}) == -7.0);
    CHECK(played_level_dbfs(Pink{-9}) == -9.0);
    CHECK_FALSE(played_level_dbfs(PolarityPulse{}));
}

TEST_CASE("softer and louder at one volume: straight, a limiter, clipping, a bass limiter", "[chain]") {
    struct Row {
        Transfer loud;
        double thd_percent;
        const char* kind;
        double change_db;
        std::optional<double> bass_db;
    };
    const Row rows[] = {
        {tilted(0), 0.1, "straight", 0, 0.0},
        {tilted(0, 0, -0.69), 0.1, "straight", -0.69, 0.0},
        {tilted(0, 0, -0.78), 0.1, "limiter", -0.78, 0.0},
        {tilted(0, 0, -0.78), 2.9, "limiter", -0.78, 0.0},
        {tilted(0, 0, -0.78), 3.1, "clips", -0.78, 0.0},
        {tilted(0, 0, 3), 3.1, "straight", 3, 0.0},
        {tilted(-0.99), 0.1, "straight", 0, -0.99},
        {tilted(-1.1), 3.1, "bass_limiter", 0, -1.1},
        {tilted(3), 0.1, "straight", 0, 3.0},
        {tilted(-1.1, 0, -2), 0.1, "limiter", -2, -1.1},
        {tilted(0, 0, -2, 750, 20000), 0.1, "limiter", -2, std::nullopt},
    };
    for (const Row& row : rows) {
        ReadTakes the;
        the.add("loud", {{Channel::left, row.loud}}, 20.0, -6);
        the.add("soft", {{Channel::left, tilted(0)}}, 20.0, -20);
        the.add("louder in name", {{Channel::left, tilted(0, 0, -9)}}, 20.0, -10);
        the.read[0].of.paths[0].sweep = with_thd(row.loud, row.thd_percent);
        the.channel(Channel::left, "soft");
        add_level_dependence(the.chain, the.read);
        REQUIRE(the.chain.level_dependence.size() == 1);
        const LevelDependence& one = the.chain.level_dependence[0];
        CAPTURE(row.kind, row.change_db, row.thd_percent);
        CHECK(one.kind == row.kind);
        CHECK(one.channel == Channel::left);
        CHECK(one.soft_take == "soft");
        CHECK(one.loud_take == "loud");
        CHECK(one.soft_dbfs == -20);
        CHECK(one.loud_dbfs == -6);
        CHECK(one.volume == 20.0);
        CHECK(one.gain_change_db.value == Approx(row.change_db).margin(0.001));
        CHECK(one.loud_thd_percent.value() == Approx(row.thd_percent).epsilon(1e-4));
        REQUIRE(one.bass_change_db.has_value() == row.bass_db.has_value());
        if (row.bass_db) CHECK(one.bass_change_db->value == Approx(*row.bass_db).margin(0.001));
    }
}

TEST_CASE("two levels speak of a limiter from 3 dB apart, at one known volume, at the probe", "[chain]") {
    const auto found = [](double loud_dbfs, void (*change)(ReadTakes&) = [](ReadTakes&) {}) {
        ReadTakes the;
        the.add("soft", {{Channel::left, tilted(0)}}, 20.0, -20);
        the.add("loud", {{Channel::left, tilted(0, 0, -6)}}, 20.0, loud_dbfs);
        the.channel(Channel::left, "soft");
        change(the);
        add_level_dependence(the.chain, the.read);
        return the.chain.level_dependence;
    };
    CHECK(found(-17.1).empty());
    CHECK(found(-16.9).size() == 1);
    CHECK_FALSE(found(-16.9)[0].loud_thd_percent);
    CHECK(found(-10, [](ReadTakes& t) { t.takes[0].conditions.volume = t.takes[1].conditions.volume = std::nullopt; }).empty());
    CHECK(found(-10, [](ReadTakes& t) { t.takes[1].conditions.volume = 21.0; }).empty());
    CHECK(found(-10, [](ReadTakes& t) { t.read[1].roles.carries[0] = false; }).empty());
    CHECK(found(-10, [](ReadTakes& t) { t.read[1].of.paths[0].probe.referred.calibrated = true; }).empty());
    const auto padded = found(-10, [](ReadTakes& t) { t.read[1].of.paths[0].probe.referred.offset_db = 6; });
    REQUIRE(padded.size() == 1);
    CHECK(padded[0].gain_change_db.value == Approx(0).margin(0.001));
    // a bass octave that is the gain's own says nothing beside it
    const auto sub = found(-10, [](ReadTakes& t) { t.read[0].of.paths[0].transfer = t.read[1].of.paths[0].transfer = low_end(0); });
    REQUIRE(sub.size() == 1);
    CHECK_FALSE(sub[0].bass_change_db);
}
