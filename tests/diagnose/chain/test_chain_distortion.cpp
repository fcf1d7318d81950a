// Shapes, distortion and noise of a chain, of paths and sounds that are known on paper.
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <memory>

#include "../../../src/diagnose/takes/clear_part.hpp"
#include "diagnose/chain_maker.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/tone_programme.hpp"
#include "measure/sweep_maker.hpp"

using namespace hushtrace;
using namespace chain_maker;

TEST_CASE("a channel's shape, its band, and the polarity that an all-pass hides", "[chain]") {
    // second order at 300 Hz: a whole turn more, and the path's own polarity turned
    const auto with_all_pass = [](bool inverted) {
        Transfer out = path(-3, 0.002, inverted);
        for (TransferPoint& point : out) {
            const double x = point.frequency_hz / 300;
            point.gain *= std::polar(1.0, -2 * std::atan2(x / 0.7, 1 - x * x));
        }
        return out;
    };
    ReadTakes the;
    the.add("take", {{Channel::left, with_all_pass(true), 0.002},
                     {Channel::right, path(0, 0.001), 0.001},
                     {Channel::sub, with_all_pass(false), 0.002},
                     {Channel::center, path(0, 0, false, [](double hz) { return -10 * std::log10(1 + std::pow(60 / hz, 8)); })}});
    the.channel(Channel::left, "take");
    the.channel(Channel::right, "take").polarity = "unknown";
    the.channel(Channel::sub, "take").silent = true;
    the.channel(Channel::center, "take");
    see_shapes(the.chain, the.read);
    const ChainChannel &left = the.chain.channels[0], &right = the.chain.channels[1], &sub = the.chain.channels[2];
    REQUIRE(left.shape);
    REQUIRE(left.band);
    REQUIRE(left.phase);
    CHECK_FALSE(left.band->low_hz);
    // 24 dB an octave below 60 Hz: 6 dB down where (60 / f)^8 is 10^0.6 - 1
    CHECK(*the.chain.channels[3].band->low_hz == Approx(60 / std::pow(std::pow(10, 0.6) - 1, 0.125)).epsilon(0.04));
    CHECK(left.phase->delay_s.value == Approx(0.002).margin(1e-4));
    REQUIRE(left.phase->all_passes.size() == 1);
    CHECK(left.phase->all_passes[0].frequency_hz.value == Approx(300).epsilon(0.05));
    if (left.phase->sure) CHECK(left.polarity == (left.phase->inverted ? "inverted" : "normal"));
    CHECK(right.phase->delay_s.value == Approx(0.001).margin(1e-5));
    CHECK(right.phase->all_passes.empty());
    CHECK(right.polarity == "unknown");   // that is left to the delay's fit
    CHECK_FALSE(sub.shape);
    CHECK_FALSE(sub.phase);
    ChainAnalysis alone;   // a response whose take isn't at hand is looked at about no delay
    alone.channels.push_back(right);
    see_shapes(alone, {});
    CHECK(alone.channels[0].phase->delay_s.value == Approx(0.001).margin(1e-5));
    CHECK(channel_of(the.chain, Channel::right) == &right);
    CHECK(channel_of(the.chain, Channel::rear_left) == nullptr);
}

TEST_CASE("THD is that of sweeps within 3 dB of -20 dBFS, the latest, where the channel passes", "[chain]") {
    ReadTakes the;
    the.add("soft", {{Channel::left, path()}}, 20.0, -20);
    the.add("later", {{Channel::left, path()}}, 22.0, -17.1);
    the.add("loud", {{Channel::left, path()}}, 20.0, -16.9);
    the.add("softer", {{Channel::left, path()}}, 20.0, -23.1);
    for (std::size_t i = 0; i < 4; ++i) the.read[i].of.paths[0].sweep = with_thd(path(), 0.1 * static_cast<double>(i + 1));
    the.channel(Channel::left, "soft");
    add_distortion({}, the.chain, the.read, {}, nullptr);
    const ChainDistortion& found = the.chain.channels[0].minus_20;
    REQUIRE(found.thd_percent);
    CHECK(found.thd_percent->value == Approx(0.2));
    CHECK(found.tone_hz == 1000);
    CHECK(found.played_dbfs == -17.1);
    CHECK(found.volume == 22.0);
    CHECK(found.take == "later");
    CHECK_FALSE(the.chain.channels[0].at_ceiling.thd_percent);
    // a subwoofer's is read where it passes, else at 1 kHz
    the.chain.channels[0].gain_hz = 60;
    add_distortion({}, the.chain, the.read, {}, nullptr);
    CHECK(found.tone_hz == 60);
    the.read[1].of.paths[0].sweep = with_thd(path(0, 0, false, {}, 300, 2000), 0.7);
    add_distortion({}, the.chain, the.read, {}, nullptr);
    CHECK(found.tone_hz == 1000);
    CHECK(found.thd_percent->value == Approx(0.7));
    the.takes[1].tone->waveform = Pink{-20};
    the.read[0].of.paths[0].sweep.reset();
    the.chain.channels[0].minus_20 = {};
    add_distortion({}, the.chain, the.read, {}, nullptr);
    CHECK_FALSE(found.thd_percent);
}

TEST_CASE("THD at the ceiling is that of the tone nearest to 1 kHz, at the ceiling's volume", "[chain]") {
    ChainAnalysis chain;
    chain.channels.resize(2);
    chain.channels[1].channel = Channel::right;
    GainAnalysis gain;
    gain.curves = {curve("far", Channel::left, 50, {{10, -20}, {12, -18}}), curve("near", Channel::left, 800, {{10, -20}, {12, -18}, {14, -16}}),
                   curve("further", Channel::left, 2000, {{12, -20}})};
    gain.curves[1].steps[1].thd_percent = 0.4;
    gain.curves[1].steps[1].thd_sd_percent = 0.02;
    gain.curves[1].steps[1].thd_limited_by = LimitedBy::noise;
    const auto again = [&] {
        chain.channels[0].at_ceiling = {};
        add_distortion({}, chain, {}, {}, &gain);
    };
    again();   // no ceiling, and no reason that would tell one
    CHECK_FALSE(chain.ceiling_volume);
    CHECK_FALSE(chain.never_clips);
    CHECK_FALSE(chain.channels[0].at_ceiling.thd_percent);
    gain.ceiling = Ceiling{};
    gain.ceiling->volume = 12;
    again();
    CHECK(chain.ceiling_volume == 12.0);
    CHECK_FALSE(chain.never_clips);
    const ChainDistortion& found = chain.channels[0].at_ceiling;
    REQUIRE(found.thd_percent);
    CHECK(found.thd_percent->value == 0.4);
    CHECK(found.thd_percent->sd == 0.02);
    CHECK(found.thd_percent->limited_by == LimitedBy::noise);
    CHECK(found.tone_hz == 800);
    CHECK_FALSE(found.played_dbfs);
    CHECK(found.volume == 12.0);
    CHECK(found.take == "near");
    CHECK_FALSE(chain.channels[1].at_ceiling.thd_percent);
    gain.curves[1].steps[1].input_overload = true;
    again();
    CHECK_FALSE(found.thd_percent);
    // never clipped: the highest volume that was played, on any channel
    gain.ceiling.reset();
    gain.ceiling_reason = "never_clips";
    chain.ceiling_volume.reset();
    again();
    CHECK(chain.never_clips);
    CHECK(chain.ceiling_volume == 14.0);
    CHECK(found.volume == 14.0);
}

namespace {

/// Takes of one channel in memory, at 8 kHz.
struct Sounds {
    OpenedJob opened;
    std::map<std::string, Block> sound;

    Take& add(const std::string& file, const std::vector<double>& samples, std::optional<Waveform> tone = {}) {
        Take take;
        take.file = file;
        take.channels = {Channel::left};
        take.conditions.volume = 20;
        if (tone) take.tone = PlayedTone{*tone, ToneVia::stick};
        Block block(1, samples.size());
        std::copy(samples.begin(), samples.end(), block.channel(0).begin());
        sound[file] = block;
        opened.job.takes.push_back(take);
        return opened.job.takes.back();
    }
    /// A tone of 500 Hz, each level 1.2 s; y = x + 0.2 x^2, whose second harmonic is a tenth of the amplitude.
    Take& add_bent(const std::string& file, const std::vector<double>& levels_dbfs, const Waveform& tone) {
        std::vector<double> samples(4000, 0.0);
        for (const double level_dbfs : levels_dbfs)
            for (int n = 0; n < 9600; ++n) {
                const double x = std::pow(10.0, level_dbfs / 20) * std::sin(std::numbers::pi * n / 8);
                samples.push_back(x + 0.2 * x * x);
            }
        samples.resize(samples.size() + 4000, 0.0);
        return add(file, samples, tone);
    }
    /// Noise as a sine at 1 kHz, where the A-weighting is 0 dB.
    Take& add_noise(const std::string& file, double dbfs) {
        std::vector<double> samples(8000);
        for (std::size_t n = 0; n < samples.size(); ++n)
            samples[n] = std::pow(10.0, dbfs / 20) * std::sin(std::numbers::pi * static_cast<double>(n) / 4);
        return add(file, samples);
    }
    OpenChainTake open() const {
        return [this](const Take& take) -> std::unique_ptr<BlockReader> {
            if (!sound.contains(take.file)) throw Error(ErrorKind::file_unreadable, take.file + ": no such file");
            return std::make_unique<MemoryReader>(sound.at(take.file), 8000.0);
        };
    }
};

}  // namespace

TEST_CASE("a steady tone within 3 dB of -20 dBFS tells THD before a sweep does", "[chain]") {
    const auto read = [](const Sounds& job) {
        ChainAnalysis chain;
        chain.channels.emplace_back();
        chain.channels[0].minus_20.take = "sweep.wav";
        add_distortion(job.opened, chain, {}, job.open(), nullptr);
        return chain.channels[0].minus_20;
    };
    for (const auto& [level_dbfs, counts] : {std::pair{-17.1, true}, {-16.9, false}, {-22.9, true}, {-23.1, false}}) {
        Sounds job;
        job.add_bent("tone.wav", {level_dbfs}, Sine{500, level_dbfs});
        const ChainDistortion found = read(job);
        CAPTURE(level_dbfs);
        REQUIRE((found.take == "tone.wav") == counts);
        if (!counts) continue;
        CHECK(found.thd_percent->value == Approx(10 * std::pow(10.0, level_dbfs / 20)).epsilon(0.01));
        CHECK(found.tone_hz == 500);
        CHECK(found.played_dbfs == level_dbfs);
        CHECK(found.volume == 20.0);
    }
    // of a stepped tone the step that lies nearest
    Sounds stepped;
    stepped.add_bent("steps.wav", {-30, -21, -12}, Stepped{500, {-30, -21, -12}, 1.2});
    CHECK(read(stepped).played_dbfs == -21.0);
    CHECK(read(stepped).thd_percent->value == Approx(10 * std::pow(10.0, -21.0 / 20)).epsilon(0.01));
    std::get<Stepped>(stepped.opened.job.takes[0].tone->waveform).levels_dbfs = {-30, -21, -12, -6};   // one of them isn't there
    CHECK(read(stepped).take == "sweep.wav");
    std::get<Stepped>(stepped.opened.job.takes[0].tone->waveform).levels_dbfs = {};
    CHECK(read(stepped).take == "sweep.wav");
    // a take in which the volume was stepped has no one level; one that can't be read is the gain command's to tell
    Sounds other;
    other.add_bent("tone.wav", {-20}, Sine{500, -20});
    other.opened.job.takes[0].volume_steps = {20};
    CHECK(read(other).take == "sweep.wav");
    other.opened.job.takes[0].volume_steps.clear();
    CHECK(read(other).take == "tone.wav");
    other.opened.job.takes[0].channels = {Channel::right};   // no channel of the chain
    CHECK(read(other).take == "sweep.wav");
    other.sound.clear();
    CHECK(read(other).take == "sweep.wav");
}

TEST_CASE("the chain's noise is A-weighted, in volts where calibrated, less the interface's own", "[chain]") {
    const auto read = [](const Sounds& job) {
        ChainAnalysis chain;
        chain.channels.emplace_back();
        add_noise(job.opened, chain, job.open());
        return chain.channels[0].noise;
    };
    Sounds job;
    job.add_noise("noise.wav", -70);
    const ChainNoise plain = *read(job);
    CHECK(plain.take == "noise.wav");
    CHECK(plain.engine == Engine::off);
    CHECK(plain.dbfs_a->value == Approx(-70).margin(0.02));
    CHECK_FALSE(plain.dbv_a);
    job.opened.job.interface.volts_full_scale = {8.0};
    job.opened.job.takes[0].attenuation_db = {6.0};
    const double dbv = -70 + 20 * std::log10(8 / std::sqrt(2.0)) + 6;
    const ChainNoise volts = *read(job);
    CHECK(volts.dbv_a->value == Approx(dbv).margin(0.02));
    const double own_dbv = dbv - 6;   // as the interface itself reads it
    CHECK(volts.dbv_a->sd == Approx(volts.dbfs_a->sd).epsilon(0.01));
    job.opened.job.interface.volts_full_scale_sd_db = {3.0};
    CHECK(read(job)->dbv_a->sd == Approx(std::hypot(volts.dbv_a->sd, 3.0)).epsilon(0.001));
    // the interface's own, a quarter of the power, is taken off; from half of it on it hides what is there
    job.opened.job.interface.own_noise_a_dbv = {own_dbv - 6.0206};
    CHECK(read(job)->dbv_a->value == Approx(dbv + 10 * std::log10(0.75)).margin(0.05));
    CHECK(read(job)->dbv_a->limited_by != LimitedBy::interface);
    job.opened.job.interface.own_noise_a_dbv = {own_dbv - 2.9};
    CHECK(read(job)->dbv_a->value == Approx(dbv).margin(0.02));
    CHECK(read(job)->dbv_a->limited_by == LimitedBy::interface);
    // with the engine at rest where there is such a take, whichever comes first; the latest of them
    for (const bool running_first : {true, false}) {
        Sounds two;
        if (running_first) two.add_noise("running.wav", -50).conditions.engine = Engine::idle;
        two.add_noise("rest.wav", -80);
        two.add_noise("latest.wav", -75);
        if (!running_first) two.add_noise("running.wav", -50).conditions.engine = Engine::idle;
        CHECK(read(two)->take == "latest.wav");
        CHECK(read(two)->dbfs_a->value == Approx(-75).margin(0.02));
    }
    Sounds running;
    running.add_noise("running.wav", -50).conditions.engine = Engine::idle;
    CHECK(read(running)->engine == Engine::idle);
    // silence has no level, another channel isn't the chain's, what can't be read or isn't noise is passed over
    running.add("silent.wav", std::vector<double>(8000, 0.0));
    CHECK(read(running)->take == "running.wav");
    running.add("short.wav", std::vector<double>(100, 0.1));
    CHECK(read(running)->take == "running.wav");
    running.add_noise("other.wav", -60).channels = {Channel::right};
    running.add_noise("muted.wav", -60).faults = {TakeFault::source_muted};
    running.add_noise("gone.wav", -60);
    running.sound.erase("gone.wav");
    CHECK(read(running)->take == "running.wav");
    // near-silence that a file played is read between its markers, the interface's own whole
    const auto opening = marker_samples(Marker::End::opening, 8000);
    for (const ToneVia via : {ToneVia::stick, ToneVia::interface_output}) {
        Sounds marked;
        std::vector<double> samples(24000);
        for (std::size_t n = 0; n < samples.size(); ++n) samples[n] = 1e-3 * std::sin(std::numbers::pi * static_cast<double>(n) / 4);
        for (std::size_t n = 0; n < opening.size(); ++n) samples[4000 + n] += opening[n];
        marked.add("marked.wav", samples, NearSilence{}).tone->via = via;
        if (via == ToneVia::stick) CHECK(read(marked)->dbfs_a->value == Approx(-60).margin(0.02));
        if (via == ToneVia::interface_output) CHECK(read(marked)->dbfs_a->value > -40);
    }
}

TEST_CASE("a take's clear part is the longest stretch without a marker, a tenth of a second beside it left out", "[chain]") {
    const auto part = [](double seconds, const std::vector<double>& markers_s) {
        Block block(1, static_cast<std::size_t>(seconds * 8000));
        std::vector<double> samples(block.frames(), 0.0);
        sweep_maker::add_noise(samples, 1e-5, 5);
        const auto marker = marker_samples(Marker::End::opening, 8000);
        for (const double at_s : markers_s)
            for (std::size_t n = 0; n < marker.size() && static_cast<std::size_t>(at_s * 8000) + n < samples.size(); ++n)
                samples[static_cast<std::size_t>(at_s * 8000) + n] += marker[n];
        std::copy(samples.begin(), samples.end(), block.channel(0).begin());
        MemoryReader reader(block, 8000);
        const Part found = between_markers(reader);
        return std::pair(static_cast<double>(found.from) / 8000, static_cast<double>(found.to) / 8000);
    };
    CHECK(part(3, {}) == std::pair(0.0, 3.0));
    const auto after = part(4, {1.0});   // 1.0 s before it, 4 - 1.7 s after it
    CHECK(after.first == Approx(1.7).margin(0.002));
    CHECK(after.second == 4.0);
    const auto before = part(4, {2.8});
    CHECK(before.first == 0.0);
    CHECK(before.second == Approx(2.7).margin(0.002));
    const auto between = part(6, {1.0, 4.6});
    CHECK(between.first == Approx(1.7).margin(0.002));
    CHECK(between.second == Approx(4.5).margin(0.002));
    // read in pieces it gives these frames and no others
    Block count(1, 1000);
    for (std::size_t n = 0; n < 1000; ++n) count.channel(0)[n] = static_cast<double>(n);
    for (const std::size_t most : {7U, 64U, 5000U}) {
        MemoryReader whole(count, 8000);
        PartReader reader(whole, {100, 250});
        CHECK(reader.sample_rate_hz() == 8000);
        CHECK(reader.channels() == 1);
        Block block;
        double next = 100;
        while (reader.read(block, most) > 0)
            for (const double x : block.channel(0)) CHECK(x == next++);
        CHECK(next == 250);
    }
    MemoryReader whole(count, 8000);
    PartReader beyond(whole, {990, 2000});
    Block block;
    CHECK(beyond.read(block, 64) == 10);
    CHECK(beyond.read(block, 64) == 0);
}
