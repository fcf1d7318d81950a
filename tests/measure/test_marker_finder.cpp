// Markers found in captures of tone files.
#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

#include "hushtrace/measure/marker_finder.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;
using std::numbers::pi;

namespace {

// A capture of a tone file: played from `start_s` on by a clock that is `ppm` off, at `gain`, in white noise.
// The file is drawn at the capture's own rate as the player's clock makes it appear, so no resampler has a
// part in the result.
struct Capture {
    double rate_hz = 48000, tone_s = 4, start_s = 1.2345678, ppm = 0, gain = 0.5, noise_rms = 1e-5,
           clip_at = 10;
    std::uint64_t seed = 1;

    std::vector<double> samples() const {
        const auto file = render_programme(Sine{997, -12}, tone_s, rate_hz * (1 + 1e-6 * ppm));
        const auto first = static_cast<std::size_t>(std::floor(start_s * rate_hz));
        const double part = start_s * rate_hz - static_cast<double>(first);
        std::vector<double> result(first + file.size() + static_cast<std::size_t>(rate_hz));
        std::mt19937_64 generator(seed);
        std::normal_distribution<double> noise(0, noise_rms);
        // Shifted by part of a sample with a windowed sinc of 64 taps: exact to some 1e-4 sample below 8 kHz.
        const int half = 32;
        std::vector<double> taps;
        for (int k = -half; k <= half; ++k) {
            const double x = k - part;
            const double sinc = x == 0 ? 1 : std::sin(pi * x) / (pi * x);
            taps.push_back(sinc * (0.5 + 0.5 * std::cos(pi * x / (half + 1))));
        }
        for (std::size_t i = 0; i < result.size(); ++i) {
            double sum = 0;
            for (int k = -half; k <= half; ++k) {
                const auto from = static_cast<std::ptrdiff_t>(i) - static_cast<std::ptrdiff_t>(first) - k;
                if (from >= 0 && from < static_cast<std::ptrdiff_t>(file.size())) {
                    sum += file[static_cast<std::size_t>(from)] * taps[static_cast<std::size_t>(k + half)];
                }
            }
            result[i] = std::clamp(gain * sum, -clip_at, clip_at) + noise(generator);
        }
        return result;
    }
    double opening_s() const { return start_s + programme_times(tone_s).opening_marker_s * (1 + 1e-6 * ppm); }
};

std::vector<FoundMarker> markers_in(const std::vector<double>& samples, double rate_hz = 48000) {
    MarkerFinder finder(rate_hz);
    for (std::size_t from = 0; from < samples.size(); from += 5000) {
        finder.add(std::span(samples).subspan(from, std::min<std::size_t>(5000, samples.size() - from)));
    }
    return finder.result();
}
LinedUp lined_up(const std::vector<double>& samples, double tone_s = 4, double rate_hz = 48000) {
    const auto found = markers_in(samples, rate_hz);
    for (const auto& m : found) {
        UNSCOPED_INFO((m.end == Marker::End::opening ? "opening" : "closing")
                      << " at " << m.time_s << " s, strength " << m.strength << ", up to " << m.band_to_hz
                      << " Hz");
    }
    const auto pair = line_up(found, programme_times(tone_s));
    REQUIRE(pair.has_value());
    return *pair;
}
// Second-order low-pass sections, bilinear: as a subwoofer's crossover has them (Butterworth, Q 0.707).
void low_pass(std::vector<double>& samples, double corner_hz, int sections, double rate_hz = 48000) {
    const double k = std::tan(pi * corner_hz / rate_hz), q = 1 / std::sqrt(2.0),
                 norm = 1 / (1 + k / q + k * k);
    for (int section = 0; section < sections; ++section) {
        double x1 = 0, x2 = 0, y1 = 0, y2 = 0;
        for (double& sample : samples) {
            const double x = sample;
            const double y =
                norm * (k * k * (x + 2 * x1 + x2) - 2 * (k * k - 1) * y1 - (1 - k / q + k * k) * y2);
            x2 = x1, x1 = x, y2 = y1, y1 = y;
            sample = y;
        }
    }
}

}  // namespace

TEST_CASE("markers are found to a tenth of a sample, the clocks' ratio to a tenth of a ppm", "[marker]") {
    Capture capture;
    capture.rate_hz = GENERATE(44100.0, 48000.0, 96000.0);
    capture.ppm = GENERATE(-200.0, 37.0, 200.0);
    capture.tone_s = 2;
    capture.start_s = capture.ppm == 37.0 ? 0.0 : 1.2345678;
    CAPTURE(capture.rate_hz, capture.ppm, capture.start_s);
    const LinedUp pair = lined_up(capture.samples(), capture.tone_s, capture.rate_hz);
    CHECK((pair.opening.time_s - capture.opening_s()) * capture.rate_hz == Approx(0).margin(0.1));
    CHECK(pair.clock_ppm == Approx(capture.ppm).margin(0.2));
    CHECK(std::abs(pair.clock_ppm - capture.ppm) < 5 * pair.clock_ppm_sd + 0.1);
    CHECK_FALSE(pair.opening.inverted);
    CHECK(pair.opening.band_to_hz == 8000);
    const ProgrammeTimes times = programme_times(capture.tone_s);
    CHECK(pair.tone_start_s ==
          Approx(capture.start_s + times.tone_start_s * (1 + 1e-6 * capture.ppm)).margin(1e-5));
}

TEST_CASE("markers are found whatever the path does to them", "[marker]") {
    Capture capture;
    capture.ppm = 50;
    double sample_margin = 0.3, ppm_margin = 1;
    std::function<void(std::vector<double>&)> spoil = [](std::vector<double>&) {};
    bool inverted = false;
    SECTION("60 dB down") {
        capture.gain = 5e-4;
        capture.noise_rms = 1e-6;
    }
    SECTION("noise as loud as the marker") {
        capture.noise_rms = capture.gain * 0.25 / std::sqrt(2.0);
        sample_margin = 1;
        ppm_margin = 5;
    }
    SECTION("polarity turned") {
        capture.gain = -0.5;
        inverted = true;
    }
    SECTION("clipped by the source") {
        capture.clip_at = 0.04;
    }
    SECTION("a subwoofer's low-pass at 80 Hz, 24 dB an octave, in noise 40 dB below") {
        capture.noise_rms = 0;
        spoil = [](std::vector<double>& s) {
            low_pass(s, 80, 2);
            std::mt19937_64 generator(3);
            std::normal_distribution<double> noise(0, 4e-4);
            for (double& sample : s) sample += noise(generator);
        };
        sample_margin = 960;  // the filter's own delay: some 10 ms
        ppm_margin = 200;
    }
    SECTION("under a wandering whine as loud") {
        spoil = [](std::vector<double>& s) {
            for (std::size_t i = 0; i < s.size(); ++i) {
                const double t = static_cast<double>(i) / 48000;
                const double cycles = 700 * t + 3 * std::sin(2 * pi * 0.6 * t);
                for (int line = 1; line <= 6; ++line) s[i] += 0.06 * std::sin(2 * pi * line * cycles) / line;
            }
        };
    }
    SECTION("with the tone muted in between") {
        spoil = [](std::vector<double>& s) { std::fill(s.begin() + 200000, s.begin() + 250000, 0.0); };
    }
    auto samples = capture.samples();
    spoil(samples);
    const LinedUp pair = lined_up(samples);
    CHECK((pair.opening.time_s - capture.opening_s()) * capture.rate_hz == Approx(0).margin(sample_margin));
    CHECK(pair.clock_ppm == Approx(capture.ppm).margin(ppm_margin));
    if (sample_margin < 100) CHECK(pair.opening.inverted == inverted);
}

TEST_CASE("low rates find the part of the marker that they hold", "[marker]") {
    Capture capture;
    capture.rate_hz = GENERATE(8000.0, 16000.0, 22050.0);
    const LinedUp pair = lined_up(capture.samples(), capture.tone_s, capture.rate_hz);
    CHECK((pair.opening.time_s - capture.opening_s()) * capture.rate_hz == Approx(0).margin(0.1));
}

TEST_CASE("no marker is reported where there is none", "[marker]") {
    std::vector<double> samples(48000 * 20);
    std::mt19937_64 generator(GENERATE(1U, 2U));
    std::normal_distribution<double> normal(0, 0.05);
    std::uniform_real_distribution<double> even(0, 1);
    const auto each = [&](const std::function<double(double)>& sound) {
        for (std::size_t i = 0; i < samples.size(); ++i) samples[i] = sound(static_cast<double>(i) / 48000);
    };
    SECTION("white noise") {
        each([&](double) { return normal(generator); });
    }
    SECTION("rumble") {
        double state = 0;
        each([&](double) { return state += 0.002 * (normal(generator) - state); });
    }
    SECTION("a tone that starts and stops") {
        each([](double t) { return std::fmod(t, 3.0) < 1.5 ? 0.5 * std::sin(2 * pi * 997 * t) : 0.0; });
    }
    SECTION("an engine that revs up and down") {
        each([&](double t) {
            const double cycles = 600 * t - 400 / (2 * pi * 0.25) * std::cos(2 * pi * 0.25 * t);
            double sum = 0;
            for (int line = 1; line <= 10; ++line) sum += 0.1 * std::sin(2 * pi * line * cycles) / line;
            return sum + 0.01 * normal(generator);
        });
    }
    SECTION("a slow sweep as tone files have it") {
        ToneGenerator sweep(Sweep{20, 20000, 5, -12}, 48000);
        sweep.render(samples);
    }
    SECTION("music-like: decaying notes, drums whose pitch falls, hiss") {
        std::vector<double> sound(samples.size());
        for (int note = 0; note < 160; ++note) {
            const double start_s = 0.125 * note,
                         pitch_hz = 110 * std::pow(2, std::floor(36 * even(generator)) / 12);
            const bool drum = note % 4 == 0;
            for (std::size_t i = static_cast<std::size_t>(start_s * 48000); i < sound.size(); ++i) {
                const double t = static_cast<double>(i) / 48000 - start_s;
                if (t > 0.7) break;
                const double cycles = drum ? 50 * t + 6 * (1 - std::exp(-t / 0.05)) : pitch_hz * t;
                sound[i] +=
                    0.2 * std::exp(-t / 0.15) * (std::sin(2 * pi * cycles) + 0.3 * std::sin(4 * pi * cycles));
            }
        }
        std::size_t i = 0;
        each([&](double) { return sound[i++] + 0.01 * normal(generator); });
    }
    SECTION("clicks") {
        each([](double t) { return std::fmod(t, 0.04) < 5e-5 ? 0.8 : 0.0; });
    }
    SECTION("digital silence") {}
    const auto found = markers_in(samples);
    for (const auto& marker : found)
        UNSCOPED_INFO(marker.time_s << " s, strength " << marker.strength << " " << marker.band_to_hz);
    CHECK(found.empty());
}

TEST_CASE("an opening marker without its closing one is reported, and lines nothing up", "[marker]") {
    auto samples = Capture{}.samples();
    samples.resize(48000 * 5);
    const auto found = markers_in(samples);
    REQUIRE(found.size() == 1);
    CHECK(found[0].end == Marker::End::opening);
    CHECK_FALSE(line_up(found, programme_times(4)).has_value());
    CHECK_FALSE(line_up(markers_in(Capture{}.samples()), programme_times(7)).has_value());
    CHECK(markers_in({}).empty());
    CHECK_THROWS_AS(MarkerFinder(0), Error);
}

namespace {

FoundMarker marker(Marker::End end, double time_s, double strength = 20, double reference_s = 0, double sd_s = 1e-6) {
    FoundMarker out;
    out.end = end;
    out.time_s = time_s;
    out.time_sd_s = sd_s;
    out.strength = strength;
    out.reference_s = reference_s;
    return out;
}
constexpr auto kOpening = Marker::End::opening, kClosing = Marker::End::closing;

}  // namespace

TEST_CASE("a pair of markers tells where the tone lies and how the clocks differ", "[marker]") {
    const ProgrammeTimes played = programme_times(4.0);
    const double apart_s = played.closing_marker_s - played.opening_marker_s, off = 1e-4;
    // The closing marker hangs on a point 0.4 s into it, the opening one on 0.1 s: a clock that is 100 ppm off moves these.
    const std::vector<FoundMarker> found = {marker(kOpening, 1.0 + 0.1 * off, 20, 0.1, 3e-6),
                                            marker(kClosing, 1.0 + apart_s * (1 + off) + 0.4 * off, 30, 0.4, 4e-6)};
    const auto pair = line_up(found, played);
    REQUIRE(pair);
    CHECK(pair->clock_ppm == Approx(100.0).margin(1e-6));
    CHECK(pair->clock_ppm_sd == Approx(5.0 / (apart_s + 0.3)));
    CHECK(pair->opening.time_s == Approx(1.0).margin(1e-12));
    CHECK(pair->closing.time_s == Approx(1.0 + apart_s * (1 + off)).margin(1e-12));
    CHECK(pair->tone_start_s == Approx(1.0 + (played.tone_start_s - played.opening_marker_s) * (1 + off)).margin(1e-12));
    CHECK(pair->tone_end_s == Approx(1.0 + (played.tone_end_s - played.opening_marker_s) * (1 + off)).margin(1e-12));
    CHECK(pair->closing.strength == 30);
}

TEST_CASE("which markers make a pair", "[marker]") {
    const ProgrammeTimes played = programme_times(4.0);
    const double apart_s = played.closing_marker_s - played.opening_marker_s;
    const auto lines_up = [&](std::vector<FoundMarker> found, double most_ppm = 500.0) { return line_up(found, played, most_ppm); };
    const auto at = [&](double ppm, double sd_s = 0.0) {
        return std::vector{marker(kOpening, 1.0, 20, 0, sd_s), marker(kClosing, 1.0 + apart_s * (1 + 1e-6 * ppm), 20, 0, sd_s)};
    };
    CHECK(lines_up(at(499)));
    CHECK_FALSE(lines_up(at(501)));
    CHECK(lines_up(at(-499)));
    CHECK_FALSE(lines_up(at(-501)));
    CHECK_FALSE(lines_up(at(499), 400.0));
    // three standard deviations more: 3 sqrt 2 of 1e-5 s over some 6 s
    const double more_ppm = 3e6 * std::sqrt(2.0) * 1e-5 / apart_s;
    CHECK(lines_up(at(500 + 0.98 * more_ppm, 1e-5)));
    CHECK_FALSE(lines_up(at(500 + 1.02 * more_ppm, 1e-5)));
    CHECK_FALSE(lines_up({}));
    CHECK_FALSE(lines_up({at(0)[0]}));
    CHECK_FALSE(lines_up({marker(kClosing, 1.0), marker(kClosing, 1.0 + apart_s)}));
    CHECK_FALSE(lines_up({marker(kOpening, 1.0), marker(kOpening, 1.0 + apart_s)}));
    CHECK_FALSE(lines_up({marker(kClosing, 1.0), marker(kOpening, 1.0 + apart_s)}));
    // of several passes the pair whose weaker marker is the strongest
    std::vector<FoundMarker> passes;
    for (const auto& [from_s, opening, closing] : {std::tuple{1.0, 9.0, 50.0}, {21.0, 15.0, 14.0}, {41.0, 13.0, 80.0}}) {
        passes.push_back(marker(kOpening, from_s, opening));
        passes.push_back(marker(kClosing, from_s + apart_s, closing));
    }
    CHECK(lines_up(passes)->opening.time_s == Approx(21.0));
    // nobody wrote the length down: tenths of a second, each closing marker with the opening one before it
    const Waveform sine = Sine{997, -12};
    CHECK(line_up(passes, sine)->opening.time_s == Approx(21.0));
    CHECK(line_up(passes, sine)->tone_end_s - line_up(passes, sine)->tone_start_s == Approx(4.0));
    const auto length = [&](double tone_s) {
        const double so_far_s = programme_times(tone_s).closing_marker_s - programme_times(tone_s).opening_marker_s;
        const auto pair = line_up(std::vector{marker(kOpening, 1.0), marker(kClosing, 1.0 + so_far_s)}, sine);
        return pair ? pair->tone_end_s - pair->tone_start_s : 0.0;
    };
    CHECK(length(7.3) == Approx(7.3));
    CHECK(length(0.1) == Approx(0.1));
    CHECK(length(0.04) == 0.0);
    CHECK(length(7.35) == 0.0);
    CHECK(length(100.0) == Approx(100.0));
    CHECK(length(100.1) == 0.0);
    // a sweep knows its own
    const ProgrammeTimes own = programme_times(natural_duration_s(Sweep{20, 20000, 6, -12}));
    const double own_s = own.closing_marker_s - own.opening_marker_s;
    const std::vector<FoundMarker> swept = {marker(kOpening, 1.0), marker(kOpening, 2.0), marker(kClosing, 1.0 + own_s)};
    CHECK(line_up(swept, Waveform{Sweep{20, 20000, 6, -12}})->opening.time_s == Approx(1.0));
}

TEST_CASE("markers are looked for at rates of 1 kHz to 1 MHz", "[marker]") {
    CHECK_THROWS_AS(MarkerFinder(999), Error);
    CHECK_THROWS_AS(MarkerFinder(1000001), Error);
    CHECK_NOTHROW(MarkerFinder(1000));
    CHECK(MarkerFinder(8000).result().empty());
}

TEST_CASE("a marker at a low rate, upright or turned over, in the middle of a take and at its ends", "[marker]") {
    const double rate = 2000;
    const auto at = [&](Marker::End end, double time_s, double total_s, double gain) {
        std::vector<double> out(static_cast<std::size_t>(total_s * rate), 0.0);
        const auto shape = marker_samples(end, rate);
        const auto first = static_cast<std::size_t>(std::lround(time_s * rate));
        for (std::size_t i = 0; i < shape.size() && first + i < out.size(); ++i) out[first + i] += gain * shape[i];
        std::mt19937_64 generator(5);
        std::normal_distribution<double> noise(0, 1e-5);
        for (double& one : out) one += noise(generator);
        return out;
    };
    for (const auto end : {kOpening, kClosing})
        for (const double time_s : {0.0, 3.05, 7.3})
            for (const double gain : {0.5, -0.5}) {
                const auto found = markers_in(at(end, time_s, 8.0, gain), rate);
                CAPTURE(time_s, gain);
                REQUIRE(found.size() == 1);
                CHECK(found[0].end == end);
                CHECK(found[0].time_s * rate == Approx(time_s * rate).margin(0.02));
                CHECK(found[0].time_sd_s * rate < 0.05);
                CHECK(found[0].inverted == (gain < 0));
                CHECK(found[0].strength > 30);
                CHECK(found[0].band_to_hz == Approx(0.43 * rate / 0.97).margin(1.0));   // as far as the rate holds it
                // an exponential chirp's later half, in its octaves, is its time's middle: the point that a clock hangs on lies there
                CHECK(found[0].reference_s > 0.1);
                CHECK(found[0].reference_s < 0.5);
            }
    CHECK(markers_in(std::vector<double>(16000, 0.0), rate).empty());
}

TEST_CASE("a sound's markers are found in the channel that is asked for, to its last sample", "[marker]") {
    const double rate = 2000;
    Block block(2, 80000);   // more than one reading takes
    const auto shape = marker_samples(kClosing, rate);
    std::copy(shape.begin(), shape.end(), block.channel(1).begin() + 72000);
    MemoryReader first(block, rate), second(block, rate);
    CHECK(find_markers(first, 0).empty());
    const auto found = find_markers(second, 1);
    REQUIRE(found.size() == 1);
    CHECK(found[0].time_s == Approx(36.0).margin(1e-4));
    CHECK(found[0].end == kClosing);
    // the same marker in two frames that overlap is one, and two apart are two
    std::copy(shape.begin(), shape.end(), block.channel(1).begin() + 75000);
    MemoryReader again(block, rate);
    const auto two = find_markers(again, 1);
    REQUIRE(two.size() == 2);
    CHECK(two[0].time_s == Approx(36.0).margin(1e-4));
    CHECK(two[1].time_s == Approx(37.5).margin(1e-4));
}
