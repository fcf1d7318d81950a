// Takes of two tones, and tone files lined up by their markers: which method, which stretch, which place, and what is refused.
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "diagnose/quick_chain.hpp"
#include "hushtrace/signal/tone_programme.hpp"

using namespace hushtrace;
using quick_chain::channel;
using quick_chain::warning;
using L = Channel;

namespace {

constexpr double kRate = 8000;

struct Stretch {
    double seconds, gain = 1, square = 0;
};
/// Tones of these amplitudes, y = g (x + a x^2), a little noise beside them.
std::vector<double> tones(double low_hz, double high_hz, double low, double high, const std::vector<Stretch>& stretches) {
    std::vector<double> out;
    for (const Stretch& one : stretches) {
        const auto to = out.size() + static_cast<std::size_t>(one.seconds * kRate);
        while (out.size() < to) {
            const double t = static_cast<double>(out.size()) / kRate, turn = 2 * sweep_maker::pi;
            const double x = low * std::sin(turn * low_hz * t) + high * std::sin(turn * high_hz * t);
            out.push_back(one.gain * (x + one.square * x * x));
        }
    }
    sweep_maker::add_noise(out, 1e-6, 3);
    return out;
}
ChainAnalysis analysed(const TwoTone& tone, const std::vector<std::vector<double>>& samples) {
    quick_chain::Job job{.rate_hz = kRate, .opened = {}, .sound = {}};
    std::vector<L> channels = {L::left, L::right};
    channels.resize(samples.size());
    job.put("two.wav", tone, channels, samples, ToneVia::stick);
    return job.analyse();
}

}  // namespace

TEST_CASE("a pair of tones belongs to the method that its levels and its distance say", "[chain]") {
    struct Row {
        double low_hz, high_hz, low_over_high_db;
        std::optional<TwoToneMethod> method;
    };
    const auto difference = TwoToneMethod::difference_frequency, modulation = TwoToneMethod::modulation;
    const Row rows[] = {
        {1000, 1230, 0, difference},       {1000, 1230, 2.9, difference},  {1000, 1230, -2.9, difference}, {1000, 1230, 3.1, {}},
        {1000, 1230, -3.1, {}},            {1000, 1990, 0, difference},    {1000, 2010, 0, {}},            {300, 1210, 12.04, modulation},
        {300, 1210, 9.1, modulation},      {300, 1210, 8.9, {}},           {300, 1210, 15.0, modulation},  {300, 1210, 15.1, {}},
        {300, 1190, 12.04, {}},
    };
    for (const Row& row : rows) {
        for (const bool low_first : {true, false}) {
            const double high = 0.1, low = high * std::pow(10.0, row.low_over_high_db / 20), level_dbfs = -20;
            TwoTone tone{{row.low_hz, row.high_hz}, {level_dbfs + row.low_over_high_db, level_dbfs}};
            if (!low_first) std::swap(tone.frequencies_hz[0], tone.frequencies_hz[1]), std::swap(tone.levels_dbfs[0], tone.levels_dbfs[1]);
            CAPTURE(row.low_hz, row.high_hz, row.low_over_high_db);
            if (!row.method) {
                CHECK_THROWS_WITH(analysed(tone, {{0.0}}), Catch::Contains("two.wav: ") && Catch::Contains("are no pair that a standard"));
                continue;
            }
            if (!low_first && row.low_over_high_db == 0) continue;
            const ChainAnalysis chain = analysed(tone, {tones(row.low_hz, row.high_hz, low, high, {{1.2}})});
            REQUIRE(chain.intermodulation.size() == 1);
            CHECK(chain.intermodulation[0].method == *row.method);
            CHECK(chain.intermodulation[0].reading.low.frequency_hz == Approx(row.low_hz).epsilon(0.001));
            CHECK(chain.intermodulation[0].reading.high.frequency_hz == Approx(row.high_hz).epsilon(0.001));
        }
    }
    CHECK_THROWS_WITH(analysed({{300, 1210}, {-10, -20}}, {{0.0}}), !Catch::Contains("no pair"));
    CHECK_THROWS_WITH(analysed({{300, 2000}, {-12, -17}}, {{0.0}}), Catch::Contains("300 and 2000 Hz, the lower 5.0 dB above the higher"));
}

TEST_CASE("two tones are read in the longest stretch at one level", "[chain]") {
    const TwoTone tone{{1000, 1230}, {-12, -12}};
    // second order against the sum of both: a A / 2, power reduction formulas
    const auto second = [&](const std::vector<Stretch>& stretches) {
        return analysed(tone, {tones(1000, 1230, 0.25, 0.25, stretches)}).intermodulation.at(0).reading.second_order_ratio.value;
    };
    const double clean = 0.1 * 0.25 / 2, bent = 0.4 * 0.25 / 2;
    CHECK(second({{0.5, 0}, {1.2, 1, 0.1}, {0.9, 0.9, 0.4}, {0.4, 0}}) == Approx(clean).epsilon(0.01));
    CHECK(second({{0.9, 1, 0.4}, {1.2, 1.1, 0.1}}) == Approx(clean).epsilon(0.01));
    CHECK(second({{0.9, 1, 0.1}, {1.2, 0.8, 0.4}}) == Approx(bent).epsilon(0.01));
    CHECK(second({{0.9, 0.9, 0.4}, {0.5, 0}, {1.2, 1, 0.1}, {0.5, 0}}) == Approx(clean).epsilon(0.01));
    CHECK(second({{1.5, 0.01, 0.4}, {1.2, 1, 0.1}}) == Approx(clean).epsilon(0.01));   // 40 dB below is no tone
    // half a second, and 0.15 s at either end left out: frames of 0.05 s
    const auto told = [&](double seconds) {
        try {
            return analysed(tone, {tones(1000, 1230, 0.25, 0.25, {{0.2, 0}, {seconds}, {0.2, 0}})}).warnings.empty();
        } catch (const Error& error) {
            CHECK(std::string(error.what()).find("two.wav: no stretch of 0.8 s or more at one level") != std::string::npos);
            return false;
        }
    };
    CHECK(told(0.95));
    CHECK_FALSE(told(0.75));
    CHECK_THROWS_WITH(analysed(tone, {std::vector<double>(8000, 0.0)}), Catch::Contains("no stretch of 0.8 s"));
    // by the loudest channel, whichever that is
    const auto quiet = tones(1000, 1230, 0.0025, 0.0025, {{0.4, 1}, {0.6, 2}, {0.4, 1}}), loud = tones(1000, 1230, 0.25, 0.25, {{1.4, 1}});
    CHECK(analysed(tone, {quiet, loud}).intermodulation.size() == 2);
    CHECK(analysed(tone, {loud, quiet}).intermodulation.size() == 2);
}

TEST_CASE("each channel of two tones stands by itself, with its volts", "[chain]") {
    const TwoTone tone{{1000, 1230}, {-12, -12}};
    quick_chain::Job job{.rate_hz = kRate, .opened = {}, .sound = {}};
    const auto sound = tones(1000, 1230, 0.25, 0.25, {{1.2, 1, 0.1}});
    Take& take = job.put("two.wav", tone, {L::left, L::supply, L::right}, {sound, sound, std::vector<double>(sound.size(), 0.0)}, ToneVia::stick);
    job.opened.job.interface.volts_full_scale = {7.0, 1.0, 5.0};
    job.opened.job.interface.volts_full_scale_sd_db = {0.2};
    const ChainAnalysis chain = job.analyse();
    REQUIRE(chain.intermodulation.size() == 1);
    const ChainIntermodulation& one = chain.intermodulation[0];
    CHECK(one.take == "two.wav");
    CHECK(one.channel == L::left);
    CHECK(one.volts_full_scale == 7.0);
    CHECK(one.scale_sd_db == 0.2);
    CHECK(one.reading.total_ratio.limited_by != LimitedBy::interface);
    CHECK(chain.takes == std::vector<std::string>{"two.wav"});
    CHECK(chain.channels.empty());
    REQUIRE(warning(chain, "channel_without_tones"));
    CHECK(warning(chain, "channel_without_tones")->text.find("two.wav, right: ") == 0);
    CHECK(warning(chain, "channel_without_tones")->take == "two.wav");
    take.faults = {TakeFault::dropout};
    CHECK(warning(job.analyse(), "take_dropout")->text == "samples were lost in this take: the longest stretch without a change was read");
    take.faults.clear();
    take.channels = {L::supply, L::supply_current, L::supply};
    CHECK_FALSE(has_chain_take(job.opened.job));
    take.channels = {L::left, L::right, L::sub, L::center};
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("two.wav: job.json names 4 channels, the file has 3"));
    // a later take of the same channel and method replaces an earlier one
    quick_chain::Job more{.rate_hz = kRate, .opened = {}, .sound = {}};
    more.put("a.wav", tone, {L::left}, {sound}, ToneVia::stick);
    more.put("b.wav", TwoTone{{1000, 1250}, {-12, -12}}, {L::left}, {tones(1000, 1250, 0.25, 0.25, {{1.2}})}, ToneVia::stick);
    more.put("c.wav", TwoTone{{300, 2010}, {-8, -20}}, {L::left}, {tones(300, 2010, 0.4, 0.1, {{1.2}})}, ToneVia::stick);
    more.put("d.wav", tone, {L::right}, {sound}, ToneVia::stick);
    const ChainAnalysis all = more.analyse();
    REQUIRE(all.intermodulation.size() == 3);
    CHECK(all.intermodulation[0].take == "b.wav");
    CHECK(all.intermodulation[1].take == "c.wav");
    CHECK(all.intermodulation[2].take == "d.wav");
    CHECK(all.takes.size() == 4);
    CHECK(all.placed.empty());
}

TEST_CASE("a converter at its end, or a sample that is no number, is no reading of the source", "[chain]") {
    const TwoTone tone{{1000, 1230}, {-6, -6}};
    auto loud = tones(1000, 1230, 0.7, 0.7, {{1.2}});
    for (double& x : loud) x = std::clamp(x, -1.0, 1.0);
    const ChainAnalysis chain = analysed(tone, {loud});
    const Intermodulation& reading = chain.intermodulation.at(0).reading;
    for (const Reading* one : {&reading.total_ratio, &reading.second_order_ratio, &reading.third_order_ratio})
        CHECK(one->limited_by == LimitedBy::interface);
    REQUIRE_FALSE(reading.products.empty());
    for (const IntermodulationProduct& one : reading.products) CHECK(one.ratio.limited_by == LimitedBy::interface);
    REQUIRE(warning(chain, "take_overload"));
    CHECK(warning(chain, "take_overload")->text.find("the interface's converter was at its end on the left channel") == 0);
    CHECK(warning(chain, "take_overload")->take == "two.wav");
    loud[5000] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_WITH(analysed(tone, {loud}), Catch::Contains("two.wav: a sample is not a finite number"));
}

namespace {

/// A tone file as captured: a gain and whole samples of silence before it.
std::vector<double> captured(const Waveform& waveform, double seconds, double gain, double silence_s, double rate = kRate) {
    std::vector<double> out(static_cast<std::size_t>(silence_s * rate), 0.0);
    for (const double x : render_programme(waveform, seconds, rate)) out.push_back(gain * x);
    sweep_maker::add_noise(out, 1e-5, 7);
    return out;
}

}  // namespace

TEST_CASE("a tone file is placed by its markers, and its phases count from there", "[chain]") {
    const Sweep sweep{40, 3600, 1, -20};
    quick_chain::Job job{.rate_hz = kRate, .opened = {}, .sound = {}};
    job.put("sweep.wav", sweep, {L::left, L::right}, {captured(sweep, 1, 0.5, 0.25), captured(sweep, 1, -0.25, 0.25)}, ToneVia::stick);
    const ChainAnalysis chain = job.analyse();
    REQUIRE(chain.placed.size() == 1);
    CHECK(chain.placed[0].placed_by == "markers");
    CHECK(chain.placed[0].kind == "sweep");
    CHECK(chain.placed[0].place.start_s == Approx(0.25 + programme_times(1).tone_start_s).margin(0.0002));
    CHECK(channel(chain, L::left).gain_db->value == Approx(-6.02).margin(0.05));
    CHECK(channel(chain, L::right).gain_db->value == Approx(-12.04).margin(0.05));
    CHECK(channel(chain, L::right).polarity == "inverted");
    CHECK(channel(chain, L::left).delay_after_tone_ms->value == Approx(0).margin(0.1));
    CHECK(channel(chain, L::left).delay_after_tone_ms->sd > 0);
    CHECK(channel(chain, L::left).delay_ms->value == 0);
    // without markers the sweep itself tells, but no delay after the file
    Block& sound = job.sound.at("sweep.wav");
    const auto from = static_cast<std::size_t>((0.25 + programme_times(1).tone_start_s - 0.3) * kRate);
    Block bare(2, static_cast<std::size_t>(1.6 * kRate));
    for (std::size_t c = 0; c < 2; ++c)
        for (std::size_t n = 0; n < bare.frames(); ++n) bare.channel(c)[n] = sound.channel(c)[from + n];
    sound = bare;
    const ChainAnalysis by_sweep = job.analyse();
    CHECK(by_sweep.placed.at(0).placed_by == "sweep");
    CHECK(by_sweep.placed[0].place.start_s == Approx(0.3).margin(0.002));
    CHECK_FALSE(channel(by_sweep, L::left).delay_after_tone_ms);
}

TEST_CASE("polarity pulses tell gain and polarity; a sweep tells more than they do", "[chain]") {
    const PolarityPulse pulses{-12, 0.25, 0.002};
    for (const bool sweep_first : {true, false}) {
        quick_chain::Job job{.rate_hz = kRate, .opened = {}, .sound = {}};
        const auto sweep = [&] { job.add("sweep.wav", {{L::left, 1.0}}); };
        if (sweep_first) sweep();
        const auto right_sound = captured(pulses, 3, 0.25, 0.1);   // beside another channel, or alone
        if (sweep_first)
            job.put("pulses.wav", pulses, {L::left, L::right}, {captured(pulses, 3, -0.5, 0.1), right_sound}, ToneVia::stick);
        else
            job.put("pulses.wav", pulses, {L::right}, {right_sound}, ToneVia::stick);
        if (!sweep_first) sweep();
        const ChainAnalysis chain = job.analyse();
        CHECK(channel(chain, L::left).take == "sweep.wav");
        const ChainChannel& right = channel(chain, L::right);
        CHECK(right.take == "pulses.wav");
        CHECK(right.gain_db->value == Approx(-12.04).margin(0.1));
        CHECK_FALSE(right.level_dbfs);   // pulses have no one level
        CHECK_FALSE(right.thd_percent);
        CHECK(right.harmonics.empty());
        CHECK(right.polarity == "normal");
        CHECK(chain.placed[sweep_first ? 1 : 0].kind == "polarity_pulse");
        CHECK(chain.placed[sweep_first ? 1 : 0].placed_by == "markers");
    }
}
