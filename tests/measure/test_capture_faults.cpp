// Sound that a capture lost, and what looks like it: from the data alone.
#include <algorithm>
#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"
#include "measure/found_faults.hpp"

using namespace hushtrace;
using std::numbers::pi;

TEST_CASE("a loss is found with its count, whatever the tone", "[capture_faults]") {
    struct Case {
        double rate_hz, frequency_hz;
        std::int64_t lost;
    };
    const auto c = GENERATE(values<Case>({{48000, 997, 1},
                                          {48000, 997, 2},
                                          {48000, 997, 64},
                                          {48000, 997, 337},
                                          {48000, 997, 674},
                                          {48000, 997, 1024},
                                          {48000, 997, 2000},
                                          {48000, 997, -1},
                                          {48000, 997, -512},
                                          {44100, 997, 100},
                                          {96000, 997, 5},
                                          {8000, 997, 3},
                                          {48000, 50, 40},
                                          {48000, 200, 7},
                                          {48000, 12345, 11},
                                          {192000, 997, 480}}));
    CAPTURE(c.rate_hz, c.frequency_hz, c.lost);
    LossyTone tone;
    tone.rate_hz = c.rate_hz;
    tone.frequency_hz = c.frequency_hz;
    tone.lost_frames = c.lost;
    tone.clock_ppm = 47;
    const auto faults = faults_in(tone.samples(), c.rate_hz);
    require_one_dropout_at(faults, 2.0);
    const CaptureFault& event = faults.events.front();
    CHECK(event.what == CaptureFaultKind::phase_jump);
    REQUIRE(event.lost_frames.has_value());
    if (event.lost_frames_certain) CHECK(*event.lost_frames == c.lost);
    if (c.frequency_hz == 997 && c.rate_hz == 48000 && std::abs(c.lost) < 100)
        CHECK(*event.lost_frames == c.lost);
    CHECK(*faults.tone_frequency_hz == Approx(c.frequency_hz).epsilon(1e-3));
}

TEST_CASE("at 42 dB over the noise every loss of 1 to 2000 frames is found, and nothing else",
          "[capture_faults]") {
    // 337 frames turn 997 Hz at 48 kHz by 0.083 degrees, the least of all 2000 counts; the sizes drawn stand
    // for the rest.
    std::mt19937_64 draw(20260131);
    std::uniform_int_distribution<std::int64_t> any(1, 2000);
    for (int trial = 0; trial < 12; ++trial) {
        LossyTone tone;
        tone.snr_db = 42;
        tone.seed = draw();
        tone.lost_frames = trial % 2 == 0 ? (trial % 4 == 0 ? 337 : -337) : any(draw);
        CAPTURE(trial, tone.lost_frames, tone.seed);
        require_one_dropout_at(faults_in(tone.samples()), 2.0, 0.1);
    }
}

TEST_CASE("a steady tone without a loss raises no alarm", "[capture_faults]") {
    LossyTone tone;
    tone.duration_s = 20;
    SECTION("in noise") {
        tone.snr_db = GENERATE(0.0, 10.0, 30.0, 60.0, 140.0);
    }
    SECTION("with the player's clock 200 ppm off") {
        tone.clock_ppm = -200;
    }
    SECTION("clipped by its source") {
        tone.clip_at = GENERATE(0.95, 0.5);
    }
    SECTION("of other frequencies") {
        tone.frequency_hz = GENERATE(40.0, 200.0, 9973.0);
    }
    auto samples = tone.samples();
    SECTION("under the whine of a wandering engine") {
        add_to(samples, wandering_whine);
    }
    SECTION("crossed by a line that sweeps through it") {
        add_to(samples, [](double t) { return 0.02 * std::sin(2 * pi * (900 * t + 5 * t * t)); });
    }
    SECTION("beside a line 3 Hz away") {
        add_to(samples, [](double t) { return 0.02 * std::sin(2 * pi * 1000 * t); });
    }
    SECTION("with clicks of an ignition") {
        add_to(samples, [](double t) {
            const double since = std::fmod(t, 0.0375);
            return 0.2 * std::exp(-since / 2e-4) * std::sin(2 * pi * 6000 * since);
        });
    }
    SECTION("with hum and a slow drift of the clock") {
        for (std::size_t i = 0; i < samples.size(); ++i) {
            const double t = static_cast<double>(i) / 48000;
            const double drift_cycles = 997 * 1e-6 * 0.05 * t * t;  // 0.1 ppm a second
            samples[i] = 0.5 * std::sin(2 * pi * (997 * t + drift_cycles)) +
                         0.01 * std::sin(2 * pi * 50 * t) + 1e-5 * samples[i];
        }
    }
    require_no_dropout(faults_in(samples));
}

TEST_CASE("losses are found under whine, clicks and clipping", "[capture_faults]") {
    LossyTone tone;
    tone.duration_s = 8;
    tone.loss_at_s = 5;
    tone.lost_frames = 256;
    SECTION("clipped") {
        tone.clip_at = 0.6;
    }
    auto samples = tone.samples();
    SECTION("whine") {
        add_to(samples, wandering_whine);
    }
    SECTION("clicks") {
        add_to(samples, [](double t) { return std::fmod(t, 0.0375) < 1e-4 ? 0.3 : 0.0; });
    }
    require_one_dropout_at(faults_in(samples), 5.0);
}

namespace {

// The source's volume turned up every 1.2 s by 3 dB with a ramp of 8 ms and a click, as a hand does it.
std::vector<double> stepped_by_hand(bool lossy) {
    LossyTone tone;
    tone.duration_s = 12;
    tone.loss_at_s = 6.6;
    tone.lost_frames = lossy ? 96 : 0;
    tone.amplitude = 0.02;
    auto samples = tone.samples();
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double t = static_cast<double>(i) / 48000, step = std::floor(t / 1.2), since = t - 1.2 * step;
        const double before = std::pow(10, 3 * (step - 1) / 20), after = std::pow(10, 3 * step / 20);
        const double part = std::min(1.0, since / 0.008);
        samples[i] *= step == 0 ? 1.0 : before + (after - before) * part;
        if (step > 0 && since < 0.002) samples[i] += 0.05 * std::exp(-since / 3e-4);
    }
    return samples;
}

}  // namespace

TEST_CASE("volume turned by hand is no dropout, a loss between two turns is one", "[capture_faults]") {
    require_no_dropout(faults_in(stepped_by_hand(false)));
    require_one_dropout_at(faults_in(stepped_by_hand(true)), 6.6);
}

TEST_CASE("ramps, starts and stops are no dropouts", "[capture_faults]") {
    LossyTone tone;
    tone.duration_s = 10;
    auto samples = tone.samples();
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double t = static_cast<double>(i) / 48000;
        samples[i] *= std::clamp(std::min(t / 0.5, (9.5 - t) / 0.5), 0.0, 1.0);
    }
    for (double& sample : samples) sample += 1e-5 * std::sin(sample * 1e5);  // something of a floor
    require_no_dropout(faults_in(samples));
}

TEST_CASE("several losses are counted one by one, and two channels that share one count it once",
          "[capture_faults]") {
    LossyTone tone;
    tone.duration_s = 10;
    auto samples = tone.samples();
    for (const std::ptrdiff_t at : {400000, 300000, 200000, 190000, 100000}) {
        samples.erase(samples.begin() + at, samples.begin() + at + 100);
    }
    Block both(2, samples.size());
    for (std::size_t c = 0; c < 2; ++c) std::copy(samples.begin(), samples.end(), both.channel(c).begin());
    for (std::size_t i = 0; i < samples.size(); ++i) both.channel(1)[i] += 1e-6 * static_cast<double>(i % 7);
    CaptureFaultFinder finder(48000, 2);
    finder.add(both);
    const auto faults = finder.result();
    CHECK(faults.dropout_count == 5);
    CHECK(count_of(faults, CaptureFaultKind::phase_jump) == 10);
    CHECK(faults.take_faults() == std::vector{TakeFault::dropout});
}

TEST_CASE("holes of zeros and held values are found in noise, quiet stretches are not", "[capture_faults]") {
    std::mt19937_64 generator(5);
    std::normal_distribution<double> normal(0, 1e-3);
    std::vector<double> samples(96000);
    for (double& sample : samples) sample = std::round(normal(generator) * 8388608) / 8388608;
    SECTION("nothing") {
        require_no_dropout(faults_in(samples));
    }
    SECTION("zeros") {
        std::fill_n(samples.begin() + 50000, 64, 0.0);
        const auto faults = faults_in(samples);
        require_one_dropout_at(faults, 50000.0 / 48000, 1e-3);
        CHECK(faults.events[0].what == CaptureFaultKind::zero_gap);
        CHECK(faults.events[0].duration_s == Approx(64 / 48000.0));
    }
    SECTION("held") {
        std::fill_n(samples.begin() + 50000, 128, samples[49999]);
        require_one_dropout_at(faults_in(samples), 50000.0 / 48000, 1e-3);
    }
    SECTION("as well at rates at which a quarter of a millisecond is no time") {
        const double rate = GENERATE(1000.0, 2000.0, 4000.0, 8000.0, 16000.0);
        CAPTURE(rate);
        CHECK(faults_in(samples, rate).dropout_count == 0);
        for (const std::size_t hole : {5000u, 30001u, 70003u}) std::fill_n(samples.begin() + static_cast<std::ptrdiff_t>(hole), 48, 0.0);
        CHECK(faults_in(samples, rate).dropout_count == 3);
    }
    SECTION("a fade to digital silence and back") {
        for (std::size_t i = 0; i < samples.size(); ++i) {
            const double gain = std::clamp(std::abs(static_cast<double>(i) - 48000) / 24000 - 0.5, 0.0, 1.0);
            samples[i] = std::round(samples[i] * gain * 8388608) / 8388608;
        }
        require_no_dropout(faults_in(samples));
    }
    SECTION("16-bit near-silence, mostly zeros") {
        for (double& sample : samples) sample = std::round(sample * 300) / 32768;
        require_no_dropout(faults_in(samples));
    }
}

TEST_CASE("a buffer delivered twice is found in noise; a periodic tone is none", "[capture_faults]") {
    std::mt19937_64 generator(6);
    std::normal_distribution<double> normal(0, 1e-2);
    std::vector<double> samples(96000);
    for (double& sample : samples) sample = normal(generator);
    const std::size_t length = GENERATE(64U, 256U, 1024U, 4096U);
    std::copy_n(samples.begin() + 40000, length,
                samples.begin() + 40000 + static_cast<std::ptrdiff_t>(length));
    const auto faults = faults_in(samples);
    require_one_dropout_at(faults, (40000.0 + static_cast<double>(length)) / 48000, 1e-3);
    CHECK(faults.events[0].what == CaptureFaultKind::replay);

    for (std::size_t i = 0; i < samples.size(); ++i)
        samples[i] = std::sin(2 * pi * static_cast<double>(i % 48) / 48) * 0.5;
    require_no_dropout(faults_in(samples));
}

TEST_CASE("noise, whine and silence alone raise no alarm", "[capture_faults]") {
    std::mt19937_64 generator(11);
    std::normal_distribution<double> normal(0, 1e-3);
    std::vector<double> samples(480000);
    for (double& sample : samples) sample = normal(generator);
    SECTION("white") {}
    SECTION("whine") {
        add_to(samples, wandering_whine);
    }
    SECTION("loud whine") {
        add_to(samples, [](double t) { return 20 * wandering_whine(t); });
    }
    const auto faults = faults_in(samples);
    require_no_dropout(faults);
    CHECK_FALSE(faults.has_source_muted());
}

TEST_CASE("a NaN and a changed channel count are refused", "[capture_faults]") {
    CaptureFaultFinder finder(48000, 1);
    Block block(1, 10);
    block.channel(0)[4] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(finder.add(block), Error);
    CHECK_THROWS_AS(finder.add(Block(2, 10)), Error);
    CHECK_THROWS_AS(CaptureFaultFinder(0, 1), Error);
    CHECK(CaptureFaultFinder(48000, 2).result().events.empty());
}

TEST_CASE("a dc with little upon it, and the crest of a slow wave, hold values without a hole", "[capture_faults]") {
    // 16 bits: shorted inputs of an interface whose converter is off by some steps; waves that move less than a step a sample
    std::mt19937_64 generator(3);
    std::normal_distribution<double> noise(0, 0.25);
    const auto rounded = [](double x) { return std::round(x) / 32768.0; };
    for (const double dc : {131.0, -77.0}) {
        std::vector<double> samples(5 * 48000);
        for (double& one : samples) one = rounded(dc + noise(generator));
        CHECK(faults_in(samples).events.empty());
    }
    for (const double hz : {2.0, 20.0}) {
        std::vector<double> samples(5 * 48000);
        for (std::size_t i = 0; i < samples.size(); ++i) samples[i] = rounded(327.68 * std::sin(2 * pi * hz * static_cast<double>(i) / 48000));
        CHECK(count_of(faults_in(samples), CaptureFaultKind::zero_gap) == 0);
    }
}

TEST_CASE("the crowns of a clean bass near full scale are no overload at 16 bits", "[capture_faults]") {
    std::mt19937_64 generator(4);
    std::normal_distribution<double> noise(0, 0.3);
    for (const double hz : {30.0, 40.0, 60.0})
        for (const double amplitude : {0.92, 0.97}) {
            std::vector<double> samples(6 * 48000), cut(samples.size());
            for (std::size_t i = 0; i < samples.size(); ++i) {
                const double wave = 32768.0 * amplitude * std::sin(2 * pi * hz * static_cast<double>(i) / 48000);
                samples[i] = std::round(wave + noise(generator)) / 32768.0;
                cut[i] = std::min(samples[i], amplitude - 0.01);   // a converter that ends 0.1 dB below
            }
            CAPTURE(hz, amplitude);
            CHECK(faults_in(samples).overload_count == 0);
            CHECK(faults_in(cut).overload_count > 100);
        }
}

TEST_CASE("a tone that begins over a hum's multiple at its own frequency lost nothing", "[capture_faults]") {
    // 200 Hz, the fourth of 50 Hz, 50 to 90 dB below the tone that follows and fades again; the take says which tone it holds
    CaptureFaultOptions known;
    known.tone_frequency_hz = 200;
    for (const double hum : {3e-5, 1e-3})
        for (const double phase : {0.0, 1.5, 3.0, 4.5}) {
            std::mt19937_64 generator(5);
            std::normal_distribution<double> noise(0, 1e-6);
            std::vector<double> samples(14 * 48000);
            for (std::size_t i = 0; i < samples.size(); ++i) {
                const double t = static_cast<double>(i) / 48000, shape = std::clamp(std::min(t - 5, 13 - t) / 0.01, 0.0, 1.0);
                samples[i] = 0.316 * shape * std::sin(2 * pi * 200 * t) + noise(generator) +
                             hum * (std::sin(2 * pi * 50 * t + phase) + 0.3 * std::sin(2 * pi * 200 * t + 4 * phase + 1));
            }
            CAPTURE(phase, hum);
            CHECK(faults_in(samples, 48000, known).dropout_count == 0);
        }
}
