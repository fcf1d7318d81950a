// The chain's analysis of captures that are known on paper: sweeps drawn from the closed form, two tones.
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/sweep_maker.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 48000;

sweep_maker::Capture capture() {
    sweep_maker::Capture c;
    c.duration_s = 3;
    c.ppm = 120;
    return c;
}

struct ChainJob {
    OpenedJob opened;
    std::map<std::string, Block> sound;

    Take& add(const std::string& file, const Waveform& waveform, const std::vector<std::vector<double>>& channels) {
        Take take;
        take.file = file;
        take.channels = {Channel::left, Channel::right};
        take.channels.resize(channels.size());
        take.tone = PlayedTone{waveform, ToneVia::stick};
        Block block(channels.size(), channels.front().size());
        for (std::size_t c = 0; c < channels.size(); ++c)
            std::copy(channels[c].begin(), channels[c].end(), block.channel(c).begin());
        sound[file] = std::move(block);
        opened.job.takes.push_back(take);
        return opened.job.takes.back();
    }
    /// Each channel a gain and a delay.
    Take& add_sweep(const std::string& file, const std::vector<std::array<double, 2>>& paths, std::uint64_t seed = 1) {
        const sweep_maker::Capture c = capture();
        std::vector<std::vector<double>> channels;
        for (const auto& [gain, delay_s] : paths) {
            channels.push_back(c.samples(delay_s));
            for (double& x : channels.back()) x *= gain;
            sweep_maker::add_noise(channels.back(), 1e-4, seed++);
        }
        return add(file, Sweep{c.from_hz, c.to_hz, c.duration_s, c.level_dbfs}, channels);
    }
    ChainAnalysis analyse() const {
        return analyse_chain(opened, [this](const Take& take) {
            return std::make_unique<MemoryReader>(sound.at(take.file), kRate);
        });
    }
};

std::vector<double> two_tones(double low_hz, double high_hz, double low, double high, double square, double cube) {
    std::vector<double> out(static_cast<std::size_t>(4 * kRate));
    for (std::size_t n = 0; n < out.size(); ++n) {
        const double t = static_cast<double>(n) / kRate, turn = 2 * sweep_maker::pi;
        const double x = low * std::sin(turn * low_hz * t) + high * std::sin(turn * high_hz * t);
        out[n] = x + square * x * x + cube * x * x * x;
    }
    sweep_maker::add_noise(out, 1e-6, 3);
    return out;
}

bool warned(const ChainAnalysis& analysis, const std::string& code) {
    return std::any_of(analysis.warnings.begin(), analysis.warnings.end(), [&](const Warning& w) { return w.code == code; });
}

}  // namespace

TEST_CASE("level, balance, delay and polarity of two channels, in volts where calibrated", "[chain]") {
    ChainJob job;
    job.add_sweep("takes/sweep.wav", {{1.0, 0.0}, {-0.5, 0.003}});
    job.opened.job.interface.volts_full_scale = {7.0, std::nullopt};
    job.opened.job.interface.volts_full_scale_sd_db = {0.1, std::nullopt};
    const ChainAnalysis chain = job.analyse();
    REQUIRE(chain.channels.size() == 2);
    const ChainChannel &left = chain.channels[0], &right = chain.channels[1];
    CHECK(left.gain_db->value == Approx(0).margin(0.02));
    CHECK(left.level_dbfs->value == Approx(-20).margin(0.02));
    REQUIRE(left.level_dbv);
    CHECK(left.level_dbv->value == Approx(-20 + 20 * std::log10(7.0 / std::sqrt(2.0))).margin(0.02));
    CHECK(left.level_dbv->sd == Approx(0.1).margin(0.01));
    CHECK_FALSE(right.level_dbv);
    CHECK(right.level_dbfs->value == Approx(-26.02).margin(0.02));
    CHECK_FALSE(right.balance_db);  // volts against nothing known
    CHECK(warned(chain, "calibrated_unlike"));
    CHECK(right.delay_ms->value == Approx(3.0).margin(0.005));
    CHECK(left.polarity == "normal");
    CHECK(right.polarity == "inverted");
    CHECK(warned(chain, "polarity_differs"));
    REQUIRE(chain.placed.size() == 1);
    CHECK(chain.placed[0].placed_by == "sweep");
    CHECK(chain.placed[0].place.clock_ppm == Approx(120).margin(3));
}

TEST_CASE("a pad before the interface is added back in the chain's volts", "[chain]") {
    ChainJob job;
    job.add_sweep("takes/sweep.wav", {{1.0, 0.0}}).attenuation_db = {10.0};
    job.opened.job.interface.volts_full_scale = {7.0};
    const ChainAnalysis chain = job.analyse();
    REQUIRE(chain.channels[0].level_dbv);
    CHECK(chain.channels[0].level_dbv->value == Approx(-10 + 20 * std::log10(7.0 / std::sqrt(2.0))).margin(0.02));
}

TEST_CASE("channels are held against each other by their volts, or by their pads where nothing is calibrated", "[chain]") {
    // each figure: as captured -6.02 dB on the right; 14 V to its full scale against 7, or a pad of 10 dB before it
    ChainJob job;
    SECTION("balance") {
        Take& take = job.add_sweep("takes/sweep.wav", {{1.0, 0.0}, {0.5, 0.0}});
        CHECK(job.analyse().channels[1].balance_db->value == Approx(-6.02).margin(0.03));
        take.attenuation_db = {0.0, 10.0};
        CHECK(job.analyse().channels[1].balance_db->value == Approx(10 - 6.02).margin(0.03));
        take.attenuation_db = {};
        job.opened.job.interface.volts_full_scale = {7.0, 14.0};
        job.opened.job.interface.volts_full_scale_sd_db = {0.3, 0.4};
        const ChainChannel right = job.analyse().channels[1];
        CHECK(right.balance_db->value == Approx(0).margin(0.03));
        CHECK(right.balance_db->sd == Approx(0.5).margin(0.01));
        CHECK(right.level_dbv->value == Approx(job.analyse().channels[0].level_dbv->value).margin(0.03));
        CHECK(right.gain_db->value == Approx(-6.02).margin(0.03));
    }
    SECTION("calibrated inputs that are unlike don't pass a balance of 1 dB") {
        job.add_sweep("takes/sweep.wav", {{1.0, 0.0}, {1.0, 0.0}});
        job.opened.job.interface.volts_full_scale = {7.0, 14.0};
        job.opened.job.limits.balance_db = 1.0;
        CHECK(fails_limit(job.analyse()));
    }
    SECTION("balance over two takes") {
        job.add_sweep("takes/left.wav", {{1.0, 0.0}});
        Take& take = job.add_sweep("takes/right.wav", {{0.5, 0.0}}, 5);
        take.channels = {Channel::right};
        take.attenuation_db = {10.0};
        CHECK(job.analyse().channels[1].balance_db->value == Approx(10 - 6.02).margin(0.03));
    }
    SECTION("crosstalk") {
        Take& take = job.add_sweep("takes/left.wav", {{1.0, 0.0}, {0.01, 0.0}});
        take.tone->only = Channel::left;
        take.attenuation_db = {10.0, 0.0};
        CHECK(job.analyse().channels[1].crosstalk_db->value == Approx(-50).margin(0.3));
        CHECK(job.analyse().channels[1].crosstalk_10khz_db->value == Approx(-50).margin(0.5));
    }
    SECTION("a pad makes no channel quiet, and its lack none loud") {
        Take& take = job.add_sweep("takes/both.wav", {{1.0, 0.0}, {0.1, 0.0}});
        CHECK(warned(job.analyse(), "channel_quiet"));
        CHECK(job.analyse().channels[1].quiet_db->value == Approx(-20).margin(0.1));
        take.attenuation_db = {0.0, 20.0};
        const ChainAnalysis chain = job.analyse();
        CHECK_FALSE(warned(chain, "channel_quiet"));
        CHECK_FALSE(chain.channels[1].quiet_db);
        CHECK(chain.channels[1].balance_db->value == Approx(0).margin(0.03));
    }
}

TEST_CASE("a muted channel fails the limits that are written", "[chain]") {
    ChainJob job;
    job.add_sweep("takes/both.wav", {{1.0, 0.0}, {0.0, 0.0}});
    CHECK_FALSE(fails_limit(job.analyse()));
    job.opened.job.limits.balance_db = 1.0;
    const ChainAnalysis chain = job.analyse();
    REQUIRE(chain.limits.size() >= 1);
    CHECK(chain.limits[0].what == "balance_db");
    CHECK(chain.limits[0].verdict == "fail");
    CHECK(chain.limits[0].found_text == "right silent");
    CHECK(fails_limit(chain));
}

TEST_CASE("one output alone tells crosstalk, swapped leads and joined outputs", "[chain]") {
    ChainJob job;
    SECTION("crosstalk") {
        job.add_sweep("takes/left.wav", {{1.0, 0.0}, {0.01, 0.0}}).tone->only = Channel::left;
        const ChainAnalysis chain = job.analyse();
        REQUIRE(chain.channels.size() == 2);
        REQUIRE(chain.channels[1].crosstalk_db);
        CHECK(chain.channels[1].crosstalk_db->value == Approx(-40).margin(0.3));
        CHECK(chain.channels[1].crosstalk_db->limited_by == LimitedBy::nothing);
        CHECK(chain.warnings.empty());
    }
    SECTION("swapped") {
        job.add_sweep("takes/left.wav", {{0.01, 0.0}, {1.0, 0.0}}).tone->only = Channel::left;
        CHECK(warned(job.analyse(), "channels_swapped"));
    }
    SECTION("joined") {
        job.add_sweep("takes/left.wav", {{1.0, 0.0}, {1.0, 0.0}}).tone->only = Channel::left;
        CHECK(warned(job.analyse(), "channels_joined"));
    }
    SECTION("a lead off") {
        job.add_sweep("takes/both.wav", {{1.0, 0.0}, {0.0, 0.0}});
        const ChainAnalysis chain = job.analyse();
        CHECK(warned(chain, "channel_silent"));
        CHECK(chain.channels[1].silent);
    }
}

TEST_CASE("a later take of the same kind replaces an earlier one, a take of one side doesn't", "[chain]") {
    ChainJob job;
    job.add_sweep("takes/first.wav", {{1.0, 0.0}, {1.0, 0.0}});
    job.add_sweep("takes/second.wav", {{0.5, 0.0}, {0.5, 0.0}}, 7);
    job.add_sweep("takes/left.wav", {{0.25, 0.0}, {0.0, 0.0}}, 9).tone->only = Channel::left;
    const ChainAnalysis chain = job.analyse();
    CHECK(chain.channels[0].take == "takes/second.wav");
    CHECK(chain.channels[0].gain_db->value == Approx(-6.02).margin(0.02));
    CHECK(chain.channels[1].crosstalk_db->limited_by == LimitedBy::noise);
}

TEST_CASE("two tones are read by the method that their levels and frequencies belong to", "[chain]") {
    // a2 x^2 + a3 x^3, power reduction formulas: against the sum of both (second: a2 A / 2, third: 3/4 a3 A^2), against
    // the high tone (2 a2 L, 3/2 a3 L^2), each over the gain of the tone itself
    constexpr double a2 = 0.02, a3 = 0.05;
    ChainJob job;
    const double equal = 0.25, low = 0.4, high = 0.1;
    job.add("takes/equal.wav", TwoTone{{13000, 14000}, {-12.04, -12.04}}, {two_tones(13000, 14000, equal, equal, a2, a3)});
    job.add("takes/pair.wav", TwoTone{{7000, 60}, {-20, -7.96}}, {two_tones(60, 7000, low, high, a2, a3)});
    const ChainAnalysis chain = job.analyse();
    REQUIRE(chain.intermodulation.size() == 2);
    CHECK(chain.channels.empty());
    CHECK(chain.limits.empty());
    job.opened.job.limits.noise_dbv_a = -80.0;  // nothing tells it, and that is said
    const ChainAnalysis asked = job.analyse();
    REQUIRE(asked.limits.size() == 1);
    CHECK(asked.limits[0].verdict == "not_measured");
    const ChainIntermodulation &difference = chain.intermodulation[0], &modulation = chain.intermodulation[1];
    CHECK(difference.method == TwoToneMethod::difference_frequency);
    const double first = 1 + 2.25 * a3 * equal * equal;
    CHECK(difference.reading.second_order_ratio.value == Approx(0.5 * a2 * equal / first).epsilon(0.003));
    CHECK(difference.reading.third_order_ratio.value == Approx(0.75 * a3 * equal * equal / first).epsilon(0.003));
    CHECK(modulation.method == TwoToneMethod::modulation);
    const double second = 1 + a3 * (0.75 * high * high + 1.5 * low * low);
    CHECK(modulation.reading.second_order_ratio.value == Approx(2 * a2 * low / second).epsilon(0.003));
    CHECK(modulation.reading.third_order_ratio.value == Approx(1.5 * a3 * low * low / second).epsilon(0.003));
}

TEST_CASE("a chain take that can't be read is named, and none left is an error", "[chain]") {
    ChainJob job;
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("two tones"));
    CHECK_FALSE(has_chain_take(job.opened.job));
    const std::vector<double> silence(96000, 0.0);
    job.add("takes/silent.wav", Sweep{}, {silence, silence});
    job.add("takes/odd.wav", TwoTone{{300, 2000}, {-12, -12}}, {two_tones(300, 2000, 0.2, 0.2, 0, 0)});
    CHECK(has_chain_take(job.opened.job));
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("takes/odd.wav"));
    job.add_sweep("takes/good.wav", {{1.0, 0.0}});
    const ChainAnalysis chain = job.analyse();
    CHECK(chain.takes == std::vector<std::string>{"takes/good.wav"});
    CHECK(std::count_if(chain.warnings.begin(), chain.warnings.end(),
                        [](const Warning& w) { return w.code == "take_unreadable"; }) == 2);
}

TEST_CASE("a capture at the converter's end limits intermodulation by the interface", "[chain]") {
    ChainJob job;
    auto sound = two_tones(1000, 1230, 0.7, 0.7, 0, 0);
    for (double& x : sound) x = std::clamp(x, -1.0, 1.0);
    job.add("takes/loud.wav", TwoTone{{1000, 1230}, {-6, -6}}, {sound});
    const ChainAnalysis chain = job.analyse();
    CHECK(chain.intermodulation[0].reading.total_ratio.limited_by == LimitedBy::interface);
    CHECK(warned(chain, "take_overload"));
}
