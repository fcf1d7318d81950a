// What a capture's faults say of themselves, field by field, and both sides of every limit: at low rates, where a second is short.
#include <cmath>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

#include "holds.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/found_faults.hpp"

using namespace hushtrace;
using std::numbers::pi;

namespace {

/// Odd samples on a grid of 1/512, none of them 0: sound in which nothing repeats.
std::vector<double> rattle(std::size_t count, unsigned seed = 1, double height = 0.5) {
    std::mt19937 random(seed);
    std::vector<double> out(count);
    for (std::size_t i = 0; i < count; ++i) {
        do out[i] = height * (static_cast<double>(random() % 512U) / 256 - 1 + 1.0 / 512);
        while (i > 0 && out[i] == out[i - 1]);
    }
    return out;
}
void put(std::vector<double>& into, std::size_t at, std::size_t count, double value) {
    std::fill_n(into.begin() + static_cast<std::ptrdiff_t>(at), count, value);
}
CaptureFaultOptions no_tone() {
    CaptureFaultOptions options;
    options.look_for_tone = false;
    return options;
}
CaptureFaults of_channels(const std::vector<std::vector<double>>& channels, double rate_hz, CaptureFaultOptions options = no_tone()) {
    Block block(channels.size(), channels[0].size());
    for (std::size_t c = 0; c < channels.size(); ++c) std::copy(channels[c].begin(), channels[c].end(), block.channel(c).begin());
    MemoryReader reader(block, rate_hz);
    return find_capture_faults(reader, options);
}

/// A tone at 8 kHz in noise 100 dB below it.
LossyTone slow_tone(double duration_s) {
    LossyTone tone;
    tone.rate_hz = 8000;
    tone.duration_s = duration_s;
    tone.snr_db = 100;
    return tone;
}
void pause(std::vector<double>& into, double rate_hz, double from_s, double to_s, double amplitude) {
    for (auto i = static_cast<std::size_t>(from_s * rate_hz); i < std::min(into.size(), static_cast<std::size_t>(to_s * rate_hz)); ++i)
        into[i] = amplitude * (i % 2 == 0 ? 1.0 : -1.0) + 1e-9 * static_cast<double>(i % 7919);
}

}  // namespace

TEST_CASE("runs of overload nearer than 50 ms are one event, across a hole as well", "[capture_faults]") {
    auto samples = rattle(16000);
    put(samples, 800, 3, 1.0);
    put(samples, 1195, 4, -1.0);    // 49 ms after the end
    put(samples, 2400, 2, 1.0);     // two at the very end of the scale are one run; 150 ms later
    put(samples, 2810, 3, 0.9995);  // 51 ms after the end
    put(samples, 4000, 2, 0.9995);  // too short
    put(samples, 5600, 3, 1.0);
    put(samples, 5606, 40, 0.0);
    put(samples, 5995, 3, 1.0);     // 49 ms after the end
    const auto faults = faults_in(samples, 8000, no_tone());
    CHECK(faults.overload_count == 6);
    CHECK(faults.dropout_count == 1);
    CHECK(faults.take_faults() == std::vector{TakeFault::dropout, TakeFault::overload});
    REQUIRE(faults.events.size() == 5);
    const double first[] = {800, 2400, 2810, 5600, 5606}, frames[] = {399, 2, 3, 398, 40};
    for (std::size_t i = 0; i < 5; ++i) {
        CHECK(faults.events[i].time_s == Approx(first[i] / 8000));
        CHECK(faults.events[i].duration_s == Approx(frames[i] / 8000));
        CHECK(faults.events[i].what == (i < 4 ? CaptureFaultKind::overload : CaptureFaultKind::zero_gap));
        CHECK(holds(faults.events[i].text, i < 4 ? "the input was overloaded" : "40 samples of digital zero"));
    }
}

TEST_CASE("a converter that ends below the rail is told with its level, a held value with its length", "[capture_faults]") {
    auto samples = rattle(16000);
    for (const std::size_t at : {1600U, 3200U, 4800U}) put(samples, at, 3, -0.93);
    put(samples, 8000, 70, 0.25);
    const auto faults = faults_in(samples, 8000, no_tone());
    CHECK(faults.overload_count == 3);
    REQUIRE(faults.events.size() == 4);
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(faults.events[i].what == CaptureFaultKind::overload);
        CHECK(faults.events[i].time_s == Approx(0.2 * static_cast<double>(i + 1)));
        CHECK(holds(faults.events[i].text, "clips at 0.93 of full scale"));
    }
    CHECK(faults.events[3].what == CaptureFaultKind::zero_gap);
    CHECK(faults.events[3].duration_s == Approx(70 / 8000.0));
    CHECK(holds(faults.events[3].text, "one value held for 70 samples"));
}

TEST_CASE("losses within 100 ms of the last are one, whichever channel shows them, and what is played twice counts", "[capture_faults]") {
    auto first = rattle(24000), second = rattle(24000, 2);
    put(first, 4000, 40, 0.0);
    put(second, 4760, 40, 0.0);    // 95 ms later
    put(first, 5520, 40, 0.0);     // one with the others: each within 100 ms of the last
    put(second, 6400, 40, 0.0);    // 110 ms later
    std::copy_n(first.begin() + 12000, 80, first.begin() + 12080);
    std::copy_n(second.begin() + 12000, 80, second.begin() + 12080);
    const auto faults = of_channels({first, second}, 8000);
    REQUIRE(faults.events.size() == 5);
    CHECK(faults.dropout_count == 3);
    const std::size_t channels[] = {0, 1, 0, 1};
    for (std::size_t i = 0; i < 4; ++i) CHECK(faults.events[i].channel == channels[i]);
    CHECK(faults.events[4].what == CaptureFaultKind::replay);
    CHECK(faults.events[4].time_s == Approx(1.51));
    CHECK(faults.events[4].duration_s == Approx(0.01));
    CHECK(holds(faults.events[4].text, "80 frames are a copy of those 80 frames before"));

    // while it is captured: the channel with most, and what came twice
    CaptureFaultFinder finder(8000, 2, no_tone());
    Block block(2, first.size());
    std::copy(first.begin(), first.end(), block.channel(0).begin());
    std::copy(second.begin(), second.end(), block.channel(1).begin());
    block.channel(1)[16000] = block.channel(1)[16001] = block.channel(0)[20000] = block.channel(0)[20001] = 1.0;
    finder.add(block);
    finder.add(Block(2, 0));
    CHECK(finder.dropouts_so_far() == 3);
    CHECK(finder.overloads_so_far() == 2);
    CHECK(finder.result().duration_s == Approx(3.0));
}

TEST_CASE("of one kind and channel the first 200 events are kept, all are counted", "[capture_faults]") {
    auto loud = rattle(120000), other = rattle(120000, 2);
    for (std::size_t i = 0; i < 210; ++i) put(loud, 800 + 480 * i, 3, 1.0);
    for (std::size_t i = 0; i < 3; ++i) put(other, 112000 + 480 * i, 3, 1.0);
    put(loud, 116000, 40, 0.0);
    const auto faults = of_channels({loud, other}, 8000);
    CHECK(faults.overload_count == 213);
    REQUIRE(faults.events.size() == 204);
    CHECK(faults.events[199].time_s == Approx(0.1 + 0.06 * 199));
    CHECK(faults.events[200].channel == 1U);
    CHECK(faults.events[203].what == CaptureFaultKind::zero_gap);
}

TEST_CASE("each kind has its word", "[capture_faults]") {
    const std::string_view words[] = {"overload", "phase_jump", "zero_gap", "replay", "source_muted"};
    for (std::size_t i = 0; i < 5; ++i) CHECK(to_word(static_cast<CaptureFaultKind>(i)) == words[i]);
}

TEST_CASE("channels that are silent, dead, offset or alike are remarked on with their number and figure", "[capture_faults]") {
    const auto sine = [](double dbfs, double offset = 0) {   // 0 dBFS: amplitude 1
        std::vector<double> out(4000);
        for (std::size_t i = 0; i < out.size(); ++i)
            out[i] = offset + std::pow(10.0, dbfs / 20) * std::sin(2 * pi * 0.0925 * static_cast<double>(i));   // 370 cycles
        return out;
    };
    const auto remarks = [&](const std::vector<std::vector<double>>& channels) { return of_channels(channels, 4000).remarks; };
    for (const double dead_dbfs : {-89.9, -90.1}) {
        const auto found = remarks({sine(-20), sine(dead_dbfs)});
        REQUIRE(found.size() == (dead_dbfs < -90 ? 1U : 0U));
        if (found.empty()) continue;
        CHECK(found[0].code == "dead_channel");
        CHECK(found[0].channel == 1U);
        CHECK(holds(found[0].text, "channel 2 is 70 dB quieter"));
    }
    CHECK(remarks({sine(-91), sine(-31.1)}).empty());      // 59.9 dB
    CHECK(remarks({sine(-91), sine(-30.9)}).size() == 1);
    for (const double offset : {0.0099, -0.0101, 0.023}) {
        const auto found = remarks({sine(-20, offset)});
        REQUIRE(found.size() == (std::abs(offset) < 0.01 ? 0U : 1U));
        if (found.empty()) continue;
        CHECK(found[0].code == "dc_offset");
        CHECK(found[0].channel == 0U);
        CHECK(holds(found[0].text, offset < 0 ? "channel 1 has a DC offset of -1.0 %" : "channel 1 has a DC offset of 2.3 %"));
    }
    auto late = sine(-20);
    late.back() += 1e-9;
    const auto found = remarks({sine(-20), late, sine(-20), std::vector<double>(4000, 0.0)});
    REQUIRE(found.size() == 2);
    CHECK(found[0].code == "same_as_channel");
    CHECK(found[0].channel == 2U);
    CHECK(holds(found[0].text, "channel 3 equals channel 1"));
    CHECK(found[1].code == "digital_silence");
    CHECK(found[1].channel == 3U);
    CHECK(holds(found[1].text, "channel 4 holds nothing but digital silence"));
    CHECK(CaptureFaultFinder(4000, 2).result().remarks.empty());
}

TEST_CASE("a take is too short below the length asked for, and what can't be examined is refused", "[capture_faults]") {
    CHECK(faults_in(rattle(999), 1000, no_tone()).take_faults() == std::vector{TakeFault::too_short});
    CHECK(faults_in(rattle(1000), 1000, no_tone()).take_faults().empty());
    CHECK_THROWS_AS(CaptureFaultFinder(999, 1), Error);
    CHECK_NOTHROW(CaptureFaultFinder(1000, 1));
    CHECK_NOTHROW(CaptureFaultFinder(1000000, 1));
    CHECK_THROWS_AS(CaptureFaultFinder(1000001, 1), Error);
    CHECK_THROWS_AS(CaptureFaultFinder(8000, 0), Error);
    CaptureFaultFinder finder(8000, 2);
    CHECK_THROWS_WITH(finder.add(Block(3, 10)), Catch::Contains("2 channels") && Catch::Contains("3 came"));
    Block broken(2, 10);
    broken.channel(1)[9] = std::numeric_limits<double>::infinity();
    CHECK_THROWS_WITH(finder.add(broken), Catch::Contains("channel 2"));
}

TEST_CASE("a phase jump is told in degrees and frames, as sure as the tone allows", "[capture_faults]") {
    struct Row {
        double hz;
        std::int64_t lost;
        double snr_db, degrees;   // lost frames times 360 times hz over 8000, within half a turn
        const char* words;
        bool certain;
    };
    // 997 Hz comes back to one phase after 8000 frames, 1000 Hz after 8
    for (const Row& row : {Row{997, 2, 70, 89.73, ": 2 frames lost", true}, Row{997, -1, 70, -44.865, ": 1 frame repeated", true},
                           Row{1000, 1, 60, 45.0, ": probably 1 frame lost", false}}) {
        LossyTone tone = slow_tone(4);
        tone.frequency_hz = row.hz;
        tone.lost_frames = row.lost;
        tone.snr_db = row.snr_db;
        const auto faults = faults_in(tone.samples(), 8000);
        require_one_dropout_at(faults, 2.0, 0.01);
        const CaptureFault& event = faults.events.front();
        CHECK(event.what == CaptureFaultKind::phase_jump);
        REQUIRE(event.phase_step_deg);
        CHECK(*event.phase_step_deg == Approx(row.degrees).margin(0.03));
        CHECK(event.lost_frames == row.lost);
        CHECK(event.lost_frames_certain == row.certain);
        CHECK(holds(event.text, row.words));
    }
    std::vector<double> samples(32000);
    std::mt19937 random(5);
    std::normal_distribution<double> noise(0, 3.5e-6);
    for (std::size_t i = 0; i < samples.size(); ++i)
        samples[i] = 0.5 * std::sin(2 * pi * (0.125 * static_cast<double>(i % 8) + (i < 16000 ? 0.0 : 20.0 / 360))) + noise(random);
    const auto odd = faults_in(samples, 8000);
    require_one_dropout_at(odd, 2.0, 0.01);
    CHECK_FALSE(odd.events.front().lost_frames);
    CHECK(holds(odd.events.front().text, "20.00 degrees: some frames were lost or repeated"));
}

TEST_CASE("a jump names its channel, and is found up to the take's end", "[capture_faults]") {
    LossyTone whole = slow_tone(3), lossy = whole;
    lossy.lost_frames = 2;
    lossy.loss_at_s = 2.5;
    const auto faults = of_channels({whole.samples(), lossy.samples()}, 8000, {});
    REQUIRE(faults.events.size() == 1);
    CHECK(faults.events[0].what == CaptureFaultKind::phase_jump);
    CHECK(faults.events[0].channel == 1U);
    CHECK(faults.events[0].time_s == Approx(2.5).margin(0.01));
    // at one time the first channel comes first
    auto samples = rattle(8000);
    put(samples, 4000, 40, 0.0);
    const auto both = of_channels({samples, samples}, 8000);
    REQUIRE(both.events.size() == 2);
    CHECK(both.events[0].channel == 0U);
    CHECK(both.events[1].channel == 1U);
}

TEST_CASE("the followed tone is that of the channel where it stands best over the noise", "[capture_faults]") {
    LossyTone clear = slow_tone(3), noisy = slow_tone(3);
    clear.snr_db = 40, clear.frequency_hz = 1234, clear.amplitude = 0.05;
    noisy.snr_db = 20, noisy.seed = 2;
    const auto alone = faults_in(clear.samples(), 8000), other = faults_in(noisy.samples(), 8000);
    CaptureFaultOptions any;
    REQUIRE(alone.seen_phase_step_deg);
    REQUIRE(other.seen_phase_step_deg);
    // 40 dB over the noise of 4 kHz, phase over a second strays by 0.006 degrees: some six times that, of two sides and their slope
    CHECK(*alone.seen_phase_step_deg > 0.03);
    CHECK(*alone.seen_phase_step_deg < 0.5);
    CHECK(*alone.seen_phase_step_deg < *other.seen_phase_step_deg);
    for (const bool first : {true, false}) {
        const auto both = first ? of_channels({clear.samples(), noisy.samples()}, 8000, any)
                                : of_channels({noisy.samples(), clear.samples()}, 8000, any);
        REQUIRE(both.tone_frequency_hz);
        CHECK(*both.tone_frequency_hz == Approx(1234).margin(0.01));
        CHECK(*both.tone_snr_db == Approx(40).margin(0.5));
        CHECK(*both.seen_phase_step_deg == *alone.seen_phase_step_deg);
    }
    clear.snr_db = -3;   // below the noise, where it is known
    CaptureFaultOptions known;
    known.tone_frequency_hz = 1234;
    CHECK(faults_in(clear.samples(), 8000, known).tone_snr_db.value() == Approx(-3).margin(0.7));
    CaptureFaultOptions sweep;
    sweep.look_for_tone = false;
    CHECK_FALSE(faults_in(clear.samples(), 8000, sweep).tone_frequency_hz);
    CHECK_FALSE(faults_in(rattle(8000), 8000).tone_frequency_hz);
}

namespace {

/// A tone that goes away at 1.5 s.
CaptureFaults muted(double gone_s, double below_db, double duration_s = 3, double rate_hz = 4000, double hz = 997) {
    LossyTone tone = slow_tone(duration_s);
    tone.rate_hz = rate_hz;
    tone.frequency_hz = hz;
    auto samples = tone.samples();
    pause(samples, rate_hz, 1.5, 1.5 + gone_s, std::sqrt(0.125) * std::pow(10.0, -below_db / 20));
    return faults_in(samples, rate_hz);
}

}  // namespace

TEST_CASE("a tone that goes for 0.15 s or longer and comes back was muted, if it fell by 20 dB", "[capture_faults]") {
    const auto away = muted(1, 40);
    REQUIRE(away.events.size() == 1);
    CHECK(away.events[0].what == CaptureFaultKind::source_muted);
    CHECK(away.events[0].time_s == Approx(1.5).margin(0.01));
    CHECK(away.events[0].duration_s == Approx(1.0).margin(0.015));
    CHECK((holds(away.events[0].text, "went away for 1.00 s and came back") || holds(away.events[0].text, "went away for 0.99 s and came back")));
    CHECK(away.dropout_count == 0);
    CHECK(away.take_faults() == std::vector{TakeFault::source_muted});
    CHECK(muted(0.5, 30).has_source_muted());
    CHECK_FALSE(muted(0.5, 19.5).has_source_muted());
    CHECK(muted(0.18, 40).has_source_muted());
    CHECK_FALSE(muted(0.14, 40).has_source_muted());
    // for good: 3 s to the take's end
    const auto gone = muted(10, 40, 4.6);
    REQUIRE(gone.has_source_muted());
    CHECK(holds(gone.events[0].text, "did not come back"));
    CHECK(gone.events[0].duration_s == Approx(3.1).margin(0.01));
    CHECK_FALSE(muted(10, 40, 4.4).has_source_muted());
}

TEST_CASE("a tone that comes back after more than a minute was another one", "[capture_faults]") {
    for (const double gone_s : {59.5, 60.5}) CHECK(muted(gone_s, 40, 63, 1000, 97).has_source_muted() == (gone_s < 60));
}

TEST_CASE("what sounds amid a pause, or another tone after it, is no mute", "[capture_faults]") {
    LossyTone tone = slow_tone(5);
    tone.rate_hz = 4000;
    auto samples = tone.samples();
    const auto whole = samples;
    pause(samples, 4000, 1.5, 3.5, 1e-4);
    CaptureFaultOptions bursts;
    bursts.tone_pauses = true;
    CHECK(faults_in(samples, 4000).has_source_muted());
    CHECK_FALSE(faults_in(samples, 4000, bursts).has_source_muted());
    // a fifth of a second of it amid the pause is no tone, but sound; a half is the tone again
    for (const double part_s : {0.2, 0.5}) {
        auto parted = samples;
        const auto from = static_cast<std::size_t>((2.5 - 0.5 * part_s) * 4000), count = static_cast<std::size_t>(part_s * 4000);
        std::copy_n(whole.begin() + static_cast<std::ptrdiff_t>(from), count, parted.begin() + static_cast<std::ptrdiff_t>(from));
        CHECK(count_of(faults_in(parted, 4000), CaptureFaultKind::source_muted) == (part_s > 0.3 ? 2U : 0U));
    }
    // another tone that comes after it
    for (const double hz : {997.6, 999.0}) {
        LossyTone next = slow_tone(5);
        next.rate_hz = 4000;
        next.frequency_hz = hz;
        auto changed = samples;
        const auto late = next.samples();
        std::copy(late.begin() + 14000, late.end(), changed.begin() + 14000);
        CHECK(faults_in(changed, 4000).has_source_muted() == (hz < 998));
    }
}

TEST_CASE("a hiss that falls by 6 dB at once was muted, for good only if it is gone for three tenths of the take", "[capture_faults]") {
    CaptureFaultOptions options;
    options.near_silence_played = true;
    std::mt19937 random(3);
    std::normal_distribution<double> normal;
    std::vector<double> hiss(64000);   // 8 s
    for (double& x : hiss) x = 1e-3 * normal(random);
    const auto changed = [&](double from_s, double to_s, double by_db) {
        auto samples = hiss;
        for (std::size_t i = 0; i < samples.size(); ++i) {
            const double t = static_cast<double>(i) / 8000;
            if (t >= from_s && t < to_s) samples[i] *= std::pow(10.0, by_db / 20);
        }
        return faults_in(samples, 8000, options);
    };
    const auto away = changed(3, 5, -12);
    REQUIRE(away.events.size() == 1);
    CHECK(away.events[0].what == CaptureFaultKind::source_muted);
    CHECK(away.events[0].time_s == Approx(3.0).margin(0.16));   // a quarter of either half second may lie beyond
    CHECK(away.events[0].duration_s == Approx(2.0).margin(0.3));
    CHECK(holds(away.events[0].text, "fell by 12 dB at once and came back"));
    CHECK(away.dropout_count == 0);
    CHECK_FALSE(away.tone_frequency_hz);
    auto fallen = hiss;
    for (std::size_t n = 24000; n < 40000; ++n) fallen[n] *= 0.25;
    const auto second = of_channels({hiss, fallen}, 8000, options);
    REQUIRE(second.events.size() == 1);
    CHECK(second.events[0].channel == 1U);
    const auto gone = changed(5.4, 9, -12);
    REQUIRE(gone.events.size() == 1);
    CHECK(holds(gone.events[0].text, "fell by 12 dB at once: the source"));
    CHECK(gone.events[0].duration_s == Approx(2.6).margin(0.16));
    CHECK_FALSE(changed(5.8, 9, -12).has_source_muted());
    CHECK_FALSE(changed(3, 5, -5.2).has_source_muted());
    CHECK(changed(3, 5, -6.8).has_source_muted());
    CHECK_FALSE(changed(2, 9, 12).has_source_muted());        // a rise is none
    CHECK_FALSE(changed(0, 0, 0).has_source_muted());
    CHECK_FALSE(changed(0, 1.5, -10).has_source_muted());     // rises first: nothing fell before
    // hum and whine under it may come and go: eight differences take 65 dB off at 500 Hz
    auto hum = hiss;
    for (std::size_t n = 0; n < 32000; ++n) hum[n] += 0.05 * std::sin(2 * pi * 500 / 8000 * static_cast<double>(n));
    CHECK_FALSE(faults_in(hum, 8000, options).has_source_muted());
    // shorter than half a second on either side is not read; nor is a fade of a second
    CHECK_FALSE(changed(3, 3.2, -12).has_source_muted());
    auto fade = hiss;
    for (std::size_t n = 32000; n < fade.size(); ++n) fade[n] *= std::pow(10.0, -1.2 * std::min(1.0, (static_cast<double>(n) - 32000) / 8000));
    CHECK_FALSE(faults_in(fade, 8000, options).has_source_muted());
}
