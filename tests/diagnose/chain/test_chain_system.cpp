// What several takes of a chain tell together: links over three channels, contradictions, volume, level, limits.
#include <catch2/catch.hpp>
#include <cmath>
#include <map>

#include "diagnose/stepped_job.hpp"
#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/sweep_maker.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 48000;

struct Path {
    double gain = 1, delay_s = 0;
    std::vector<sweep_maker::Section> filters = {};
};

/// Takes in memory, each channel a gain, a delay and filters, noise 60 dB below the tone.
struct SystemJob {
    OpenedJob opened;
    std::map<std::string, Block> sound;
    std::uint64_t seed = 1;

    Take& add(const std::string& file, const std::vector<std::pair<Channel, Path>>& channels, std::optional<double> volume = {},
              double level_dbfs = -20) {
        sweep_maker::Capture c;
        c.duration_s = 2;
        c.level_dbfs = level_dbfs;
        Take take;
        take.file = file;
        take.conditions.volume = volume;
        take.tone = PlayedTone{Sweep{c.from_hz, c.to_hz, c.duration_s, c.level_dbfs}, ToneVia::stick};
        Block block(channels.size(), c.samples().size());
        for (std::size_t i = 0; i < channels.size(); ++i) {
            take.channels.push_back(channels[i].first);
            const Path& path = channels[i].second;
            std::vector<double> samples = c.samples(path.delay_s);
            for (double& x : samples) x *= path.gain;
            sweep_maker::filter(samples, path.filters);
            sweep_maker::add_noise(samples, 7e-5, seed++);
            std::copy(samples.begin(), samples.end(), block.channel(i).begin());
        }
        sound[file] = std::move(block);
        opened.job.takes.push_back(take);
        return opened.job.takes.back();
    }
    ChainAnalysis analyse() const {
        return analyse_chain(opened, [this](const Take& take) { return std::make_unique<MemoryReader>(sound.at(take.file), kRate); });
    }
};

const ChainChannel& channel(const ChainAnalysis& chain, Channel wanted) {
    for (const ChainChannel& one : chain.channels)
        if (one.channel == wanted) return one;
    FAIL("channel not there");
    return chain.channels.front();
}
bool warned(const ChainAnalysis& analysis, const std::string& code) {
    return std::any_of(analysis.warnings.begin(), analysis.warnings.end(), [&](const Warning& w) { return w.code == code; });
}
const LimitLine& line(const ChainAnalysis& chain, const std::string& what, std::optional<Channel> of = {}) {
    for (const LimitLine& one : chain.limits)
        if (one.what == what && (!of || one.channel == of)) return one;
    FAIL("no line " << what);
    return chain.limits.front();
}
/// A second-order Butterworth high-pass, bilinear, prewarped: the mirror image of sweep_maker::low_pass.
sweep_maker::Section high_pass(double corner_hz) {
    const double k = std::tan(sweep_maker::pi * corner_hz / kRate), norm = 1 / (1 + std::numbers::sqrt2 * k + k * k);
    return {{norm, -2 * norm, norm}, {1, 2 * (k * k - 1) * norm, (1 - std::numbers::sqrt2 * k + k * k) * norm}};
}
double decibels(double ratio) { return 20 * std::log10(ratio); }

}  // namespace

TEST_CASE("four channels over three takes are held against the first, through a channel in common", "[chain]") {
    SystemJob job;
    job.add("takes/front.wav", {{Channel::left, {1.0, 0.0}}, {Channel::right, {0.5, 0.001}}});
    job.add("takes/bridge.wav", {{Channel::right, {0.5, 0.004}}, {Channel::rear_right, {-0.25, 0.007}}});
    job.add("takes/sub.wav", {{Channel::sub, {0.8, 0.002}}, {Channel::left, {1.0, 0.0005}}});
    const ChainAnalysis chain = job.analyse();
    REQUIRE(chain.channels.size() == 4);
    CHECK(chain.channels.front().channel == Channel::left);
    CHECK(channel(chain, Channel::right).delay_ms->value == Approx(1.0).margin(0.01));
    CHECK(channel(chain, Channel::rear_right).delay_ms->value == Approx(4.0).margin(0.02));
    CHECK(channel(chain, Channel::sub).delay_ms->value == Approx(1.5).margin(0.02));
    CHECK(channel(chain, Channel::sub).balance_db->value == Approx(decibels(0.8)).margin(0.03));
    CHECK(channel(chain, Channel::rear_right).balance_db->value == Approx(decibels(0.25)).margin(0.03));
    CHECK(channel(chain, Channel::rear_right).polarity == "inverted");
    CHECK(line(chain, "same_polarity").verdict == "fail");
}

TEST_CASE("channels of different volumes are not balanced by their levels", "[chain]") {
    SystemJob job;
    job.add("takes/left.wav", {{Channel::left, {}}}, 20.0);
    job.add("takes/right.wav", {{Channel::right, {0.5, 0.0}}}, 25.0);
    CHECK_FALSE(channel(job.analyse(), Channel::right).balance_db);
    job.opened.job.takes.back().conditions.volume = 20.0;
    CHECK(channel(job.analyse(), Channel::right).balance_db->value == Approx(-6.02).margin(0.03));
}

TEST_CASE("takes that can't both be true are pointed out, takes at two volumes not", "[chain]") {
    SystemJob job;
    job.add("takes/one.wav", {{Channel::left, {}}}, 20.0);
    job.add("takes/two.wav", {{Channel::left, {0.7, 0.0}}}, 20.0);
    CHECK(warned(job.analyse(), "takes_contradict"));
    job.opened.job.takes.back().conditions.volume = 18.0;
    CHECK_FALSE(warned(job.analyse(), "takes_contradict"));
}

TEST_CASE("takes contradict each other by what stands before their pads", "[chain]") {
    SystemJob job;
    job.add("takes/bare.wav", {{Channel::left, {}}}, 20.0);
    Take& padded = job.add("takes/padded.wav", {{Channel::left, {std::pow(10.0, -0.5), 0.0}}}, 20.0);
    CHECK(warned(job.analyse(), "takes_contradict"));
    padded.attenuation_db = {10.0};
    CHECK_FALSE(warned(job.analyse(), "takes_contradict"));
    job.opened.job.interface.volts_full_scale = {7.0};
    CHECK_FALSE(warned(job.analyse(), "takes_contradict"));
}

TEST_CASE("bass that falls as the volume rises is told from bass that keeps up", "[chain]") {
    SystemJob job;
    const auto at = [&](double volume, double gain, double corner_hz) {
        Path path{gain, 0.0, {}};
        if (corner_hz > 0) path.filters = {sweep_maker::high_pass_rc(corner_hz, kRate)};
        job.add("takes/" + std::to_string(static_cast<int>(volume)) + ".wav", {{Channel::left, path}}, volume);
    };
    SECTION("a corner that moves up") {
        at(10, 0.1, 10);
        at(20, 0.3, 60);
        at(30, 0.9, 150);
        const ChainAnalysis chain = job.analyse();
        REQUIRE(chain.volume_dependence.size() == 1);
        const VolumeDependence& one = chain.volume_dependence[0];
        CHECK(one.bass_varies);
        CHECK_FALSE(one.treble_varies);
        CHECK(one.points.size() == 3);
        // |H|^2 = 1/(1 + (fc/f)^2), its mean over the octave round 50 Hz, from 150 and from 10 Hz
        double high = 0, low = 0, middle_high = 0, middle_low = 0;
        for (int k = -12; k <= 12; ++k) {
            const double f = 50 * std::exp2(k / 24.0), m = 1000 * std::exp2(k / 24.0);
            high += 1 / (1 + std::pow(150 / f, 2));
            low += 1 / (1 + std::pow(10 / f, 2));
            middle_high += 1 / (1 + std::pow(150 / m, 2));
            middle_low += 1 / (1 + std::pow(10 / m, 2));
        }
        CHECK(one.bass_change_db->value == Approx(10 * std::log10(high / low * middle_low / middle_high)).margin(0.1));
    }
    SECTION("the same corner") {
        at(10, 0.1, 30);
        at(30, 0.9, 30);
        const ChainAnalysis chain = job.analyse();
        REQUIRE(chain.volume_dependence.size() == 1);
        CHECK_FALSE(chain.volume_dependence[0].bass_varies);
    }
}

TEST_CASE("a limiter is seen by playing softer and louder at one volume", "[chain]") {
    SystemJob job;
    job.add("takes/soft.wav", {{Channel::left, {1.0, 0.0}}}, 20.0, -20);
    SECTION("held back") {
        job.add("takes/loud.wav", {{Channel::left, {0.5, 0.0}}}, 20.0, -8);
        const ChainAnalysis chain = job.analyse();
        REQUIRE(chain.level_dependence.size() == 1);
        CHECK(chain.level_dependence[0].kind == "limiter");
        CHECK(chain.level_dependence[0].gain_change_db.value == Approx(-6.02).margin(0.05));
    }
    SECTION("straight") {
        job.add("takes/loud.wav", {{Channel::left, {1.0, 0.0}}}, 20.0, -8);
        const ChainAnalysis chain = job.analyse();
        REQUIRE(chain.level_dependence.size() == 1);
        CHECK(chain.level_dependence[0].kind == "straight");
    }
    SECTION("not at two volumes") {
        job.add("takes/loud.wav", {{Channel::left, {0.5, 0.0}}}, 21.0, -8);
        CHECK(job.analyse().level_dependence.empty());
    }
    SECTION("a pad before the louder take is no limiter") {
        job.add("takes/loud.wav", {{Channel::left, {std::pow(10.0, -0.5), 0.0}}}, 20.0, -8).attenuation_db = {10.0};
        const ChainAnalysis chain = job.analyse();
        REQUIRE(chain.level_dependence.size() == 1);
        CHECK(chain.level_dependence[0].kind == "straight");
        CHECK(chain.level_dependence[0].gain_change_db.value == Approx(0).margin(0.05));
    }
    SECTION("not of takes that differ in more than the level") {
        Take& loud = job.add("takes/loud.wav", {{Channel::left, {0.5, 0.0}}}, 20.0, -8);
        loud.after_change = "another lead";
        CHECK(job.analyse().level_dependence.empty());
        loud.after_change.reset();
        loud.conditions.point = Point::source_output;
        CHECK(job.analyse().level_dependence.empty());
    }
}

TEST_CASE("two halves of a crossover share the band and add up; turned they cancel", "[chain]") {
    // Linkwitz, Riley 1976: of fourth order, twice a Butterworth of second; both 6 dB down at the corner and in phase.
    const auto low = sweep_maker::low_pass(300, kRate), high = high_pass(300);
    for (const double sign : {1.0, -1.0}) {
        SystemJob job;
        job.add("takes/pair.wav", {{Channel::left, {1.0, 0.0, {high, high}}}, {Channel::sub, {sign, 0.0, {low, low}}}});
        const ChainAnalysis chain = job.analyse();
        REQUIRE(chain.crossings.size() == 1);
        CHECK(chain.crossings[0].lower == Channel::sub);
        CHECK(chain.crossings[0].frequency_hz == Approx(300).epsilon(0.03));
        CHECK(chain.crossings[0].below_db == Approx(-6.02).margin(0.4));
        if (sign > 0)
            CHECK(*chain.crossings[0].added_db > 5);
        else
            CHECK(*chain.crossings[0].added_db < -6);
        REQUIRE(channel(chain, Channel::left).shape);
        const auto& parts = channel(chain, Channel::left).shape->parts;
        REQUIRE(parts.size() == 1);
        CHECK(parts[0].slope_db_per_octave == 24);
        CHECK(parts[0].linkwitz_riley);
        CHECK(parts[0].frequency_hz.value == Approx(300).epsilon(0.02));
    }
}

TEST_CASE("only a limit that is written can fail the job", "[chain]") {
    SystemJob job;
    job.add("takes/pair.wav", {{Channel::left, {1.0, 0.0}}, {Channel::right, {0.8, 0.0}}});
    ChainAnalysis chain = job.analyse();
    CHECK(line(chain, "balance_db").verdict == "fail");  // 1.94 dB against the proposal of 1
    CHECK_FALSE(line(chain, "balance_db").written);
    CHECK_FALSE(fails_limit(chain));
    job.opened.job.limits.balance_db = 1.5;
    chain = job.analyse();
    CHECK(line(chain, "balance_db").written);
    CHECK(fails_limit(chain));
    job.opened.job.limits.balance_db = 2.5;
    chain = job.analyse();
    CHECK(line(chain, "balance_db").verdict == "pass");
    CHECK_FALSE(fails_limit(chain));
    job.opened.job.limits.crosstalk_1khz_db = -60.0;  // asked for, and no take of one output alone
    chain = job.analyse();
    CHECK(line(chain, "crosstalk_1khz_db", Channel::left).verdict == "not_measured");
    CHECK_FALSE(fails_limit(chain));
}

TEST_CASE("what noise hides is undecided, not failed", "[chain]") {
    SystemJob job;
    job.add("takes/left.wav", {{Channel::left, {0.003, 0.0}}, {Channel::right, {0.0, 0.0}}}).tone->only = Channel::left;
    job.opened.job.limits.crosstalk_1khz_db = -80.0;
    const ChainAnalysis chain = job.analyse();
    CHECK(channel(chain, Channel::right).crosstalk_db->limited_by == LimitedBy::noise);
    CHECK(line(chain, "crosstalk_1khz_db", Channel::right).verdict == "undecided");
    CHECK(channel(chain, Channel::left).hears == std::vector<Channel>{Channel::left});
    CHECK(channel(chain, Channel::right).hears.empty());
}
