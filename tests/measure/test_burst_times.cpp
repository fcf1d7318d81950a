// Bursts in noise with their time, energy and width, and the rate that even ones keep, by times that are written down.
#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/measure/bursts.hpp"
#include "hushtrace/spectrum/transform.hpp"

using namespace hushtrace;

namespace {

std::vector<Burst> bursts_at(std::vector<double> times) {
    std::sort(times.begin(), times.end());
    std::vector<Burst> out;
    for (const double t : times) out.push_back({t, 40.0, 1e-9, 1.0, 0.0});
    return out;
}
std::vector<double> every(double from_s, double apart_s, std::size_t count) {
    std::vector<double> out;
    for (std::size_t i = 0; i < count; ++i) out.push_back(from_s + apart_s * static_cast<double>(i));
    return out;
}
std::optional<EvenBursts> rate_in(const std::vector<double>& times) { return even_bursts(bursts_at(times)); }
std::size_t on(const EvenBursts& even) { return static_cast<std::size_t>(std::count(even.on_beat.begin(), even.on_beat.end(), true)); }

constexpr double kRate = 32000;
std::vector<double> white(double seconds, double rms, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, rms);
    std::vector<double> out(static_cast<std::size_t>(seconds * kRate));
    for (double& x : out) x = normal(random);
    return out;
}
void add_burst(std::vector<double>& into, double from_s, double length_s, double rms, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, rms);
    for (auto n = static_cast<std::size_t>(from_s * kRate); n < static_cast<std::size_t>((from_s + length_s) * kRate); ++n) into[n] += normal(random);
}

}  // namespace

TEST_CASE("a burst has its time, length, energy and the share of bands in which it stands", "[bursts]") {
    auto sound = white(2, 0.01, 1);
    add_burst(sound, 0.50, 0.004, 0.2, 2);
    add_burst(sound, 1.00, 0.030, 0.1, 3);
    const Bursts found = find_bursts(sound, kRate);
    CHECK(found.duration_s == Approx(2.0));
    CHECK(found.expected_by_chance == 0.18);
    CHECK(found.left_out.empty());
    // 500 Hz to 0.47 of the rate hold that share of the noise's power
    const double share = (15040.0 - 500) / 16000;
    CHECK(found.usual_mean_square == Approx(1e-4 * share).epsilon(0.04));
    REQUIRE(found.events.size() == 2);
    // frames of 2.7 ms, half overlapped: the first that the burst lifts begins before it
    CHECK(found.events[0].time_s == Approx(0.5005).margin(0.0014));
    CHECK(found.events[0].length_s == Approx(0.0053).margin(0.0014));   // half a frame at either end shows it as well
    CHECK(found.events[0].energy == Approx(0.04 * 0.004 * share).epsilon(0.15));
    CHECK(found.events[0].bands_share == 1.0);
    CHECK(found.events[0].surprise > 100);
    CHECK(found.events[1].time_s == Approx(1.0).margin(0.0014));
    CHECK(found.events[1].length_s == Approx(0.030).margin(0.0014));
    CHECK(found.events[1].energy == Approx(0.01 * 0.030 * share).epsilon(0.1));
    // a line in the noise, and a band of its own
    auto with_line = sound;
    for (std::size_t n = 0; n < with_line.size(); ++n) with_line[n] += 0.1 * std::sin(0.7 * static_cast<double>(n));
    CHECK(find_bursts(with_line, kRate).events.size() == 2);
    BurstSearch high;
    high.from_hz = 4000;
    high.to_hz = 8000;
    high.expected_by_chance = 0.5;
    const Bursts part = find_bursts(sound, kRate, high);
    CHECK(part.usual_mean_square == Approx(1e-4 * 4000 / 16000).epsilon(0.12));
    CHECK(part.expected_by_chance == 0.5);
}

TEST_CASE("bursts within 20 ms of each other are one, those longer than 60 ms or in less than half of the bands are none", "[bursts]") {
    const auto count = [](double gap_s, double length_s) {
        auto sound = white(1.5, 0.01, 4);
        add_burst(sound, 0.5, length_s, 0.2, 5);
        if (gap_s > 0) add_burst(sound, 0.5 + length_s + gap_s, length_s, 0.2, 6);
        return find_bursts(sound, kRate).events.size();
    };
    CHECK(count(0.015, 0.004) == 1);
    CHECK(count(0.026, 0.004) == 2);
    CHECK(count(0, 0.054) == 1);
    CHECK(count(0, 0.066) == 0);
    auto line = white(1.5, 0.01, 7);   // 8 ms of a line at 3 kHz, faded in and out
    for (std::size_t n = 0; n < 256; ++n)
        line[16000 + n] += 0.2 * std::pow(std::sin(std::numbers::pi * static_cast<double>(n) / 256), 2) * std::sin(0.589 * static_cast<double>(n));
    CHECK(find_bursts(line, kRate).events.empty());
    // swelling noise makes none: each frame is held against the half second round it
    auto swelling = white(2, 0.01, 8);
    for (std::size_t n = 0; n < swelling.size(); ++n) swelling[n] *= std::pow(4.0, std::sin(std::numbers::pi * static_cast<double>(n) / kRate));
    add_burst(swelling, 1.5, 0.004, 0.04, 9);   // where the noise is lowest
    const auto found = find_bursts(swelling, kRate).events;
    REQUIRE(found.size() == 1);
    CHECK(found[0].time_s == Approx(1.5).margin(0.002));
    // a hundred frames at least: 86 samples or what transforms well, half overlapped
    const std::size_t frame = fast_length(86), hop = frame / 2;
    const auto brief = white(1, 0.01, 1);
    CHECK(find_bursts(std::span(brief).first(frame + 99 * hop), kRate).usual_mean_square > 0);
    CHECK(find_bursts(std::span(brief).first(frame + 99 * hop - 1), kRate).usual_mean_square == 0);
    CHECK(find_bursts(white(0.1, 0.01, 1), kRate).events.empty());
    CHECK(find_bursts(white(0.1, 0.01, 1), kRate).usual_mean_square == 0);
    CHECK(find_bursts(std::vector<double>(64000, 0.0), kRate).events.empty());
    CHECK(find_bursts(white(2, 0.01, 1), 1200).events.empty());   // eight bands need more than 600 Hz
}

TEST_CASE("a burst stands in the bands that it fills, half of eight at least", "[bursts]") {
    // 500 Hz to 15.04 kHz are eight bands of 1817 Hz; lines 40 Hz apart fill some of them for 8 ms
    struct Row {
        std::size_t from, bands;
    };
    for (const auto& [from, bands] : {Row{0, 2}, Row{0, 5}, Row{0, 7}, Row{3, 5}}) {
        auto sound = white(1.5, 0.01, 60);
        const double top = 500 + 1817.5 * static_cast<double>(from + bands) - 250;
        for (double hz = 750 + 1817.5 * static_cast<double>(from); hz < top; hz += 40)
            for (std::size_t n = 0; n < 256; ++n)
                sound[24000 + n] += 0.01 * std::pow(std::sin(std::numbers::pi * static_cast<double>(n) / 256), 2)
                                    * std::sin(2 * std::numbers::pi * hz / kRate * static_cast<double>(n) + hz * hz);
        const auto found = find_bursts(sound, kRate).events;
        CAPTURE(from, bands);
        REQUIRE(found.size() == (bands < 4 ? 0U : 1U));
        if (!found.empty()) CHECK(found[0].bands_share == Approx((static_cast<double>(bands) + 0.5) / 8).margin(0.07));   // noise may lift one more
    }
}

TEST_CASE("what is left out holds a burst only if it stands 9 dB over what is usual there", "[bursts]") {
    auto sound = white(2, 0.01, 10);
    BurstSearch search;
    for (unsigned i = 0; i < 20; ++i) {
        const double t = 0.05 + 0.1 * i;
        add_burst(sound, t, 0.004, 0.1, 20 + i);
        search.left_out.push_back({t - 0.001, t + 0.006});
    }
    CHECK(find_bursts(sound, kRate).events.size() == 20);
    const Bursts none = find_bursts(sound, kRate, search);
    CHECK(none.events.empty());
    CHECK(none.left_out.size() == 20);
    CHECK(none.usual_mean_square == Approx(1e-4 * 14540 / 16000).epsilon(0.05));
    auto louder = sound;
    add_burst(louder, 0.55, 0.004, 0.6, 50);
    add_burst(louder, 0.95, 0.004, 0.15, 51);
    add_burst(louder, 1.30, 0.004, 0.1, 52);   // beside them
    const Bursts two = find_bursts(louder, kRate, search);
    REQUIRE(two.events.size() == 2);
    CHECK(two.events[0].time_s == Approx(0.55).margin(0.002));
    CHECK(two.events[1].time_s == Approx(1.30).margin(0.002));
    search.left_out = {{0, 1.9}};
    CHECK(find_bursts(louder, kRate, search).events.empty());   // nine tenths and more: nothing is read
    CHECK(find_bursts(louder, kRate, search).left_out.empty());
}

TEST_CASE("even bursts have the rate of the line through their times, and how far it is sure", "[bursts]") {
    std::vector<double> times = every(0.3, 0.25, 24);
    const auto exact = rate_in(times);
    REQUIRE(exact);
    CHECK(exact->rate_hz == Approx(4.0).epsilon(1e-6));
    CHECK(exact->rate_sd_hz < 1e-4);
    CHECK(exact->filled == Approx(1.0));
    CHECK(exact->mostly_filled());
    CHECK(on(*exact) == 24);
    // least squares: slope and its standard deviation from what is left, n - 2 of it free
    for (std::size_t i = 0; i < times.size(); ++i) times[i] += 0.002 * std::sin(static_cast<double>(i * i));
    double mean_k = 11.5, mean_t = 0, kk = 0, kt = 0, left = 0;
    for (const double t : times) mean_t += t / 24;
    for (std::size_t i = 0; i < 24; ++i) {
        const double k = static_cast<double>(i) - mean_k;
        kk += k * k;
        kt += k * (times[i] - mean_t);
    }
    const double period = kt / kk;
    for (std::size_t i = 0; i < 24; ++i) left += std::pow(times[i] - mean_t - period * (static_cast<double>(i) - mean_k), 2) / 22;
    const auto strayed = rate_in(times);
    REQUIRE(strayed);
    CHECK(strayed->rate_hz == Approx(1 / period).epsilon(1e-6));
    CHECK(strayed->rate_sd_hz == Approx(std::sqrt(left / kk) / (period * period)).epsilon(1e-3));
    // four at least
    CHECK(rate_in(every(0.3, 0.25, 12)));
    CHECK_FALSE(rate_in(every(0.3, 0.25, 3)));
    CHECK_FALSE(rate_in({}));
    CHECK_FALSE(rate_in({1, 1, 1, 1, 1}));
}

TEST_CASE("turns that hold nothing are counted, and events off the beat are odd", "[bursts]") {
    // every turn of 0.2 s up to 30, those left out whose number ends in 3, 5, 8 or 9
    std::vector<double> times;
    for (int k = 0; k <= 30; ++k)
        if (k % 10 != 3 && k % 10 != 5 && k % 10 != 8 && k % 10 != 9) times.push_back(0.5 + 0.2 * k);
    const auto some = rate_in(times);
    REQUIRE(some);
    CHECK(some->rate_hz == Approx(5.0).epsilon(1e-4));
    CHECK(some->filled == Approx(19 / 31.0));
    // where nothing was looked for a turn counts neither way; one that was seen there counts all the same
    std::vector<SoundSpan> left_out;
    for (int k = 3; k <= 30; k += 10) left_out.push_back({0.5 + 0.2 * k - 0.01, 0.5 + 0.2 * k + 0.01});
    left_out.push_back({0.5 + 0.2 * 20 - 0.01, 0.5 + 0.2 * 20 + 0.01});
    std::sort(left_out.begin(), left_out.end(), [](const SoundSpan& a, const SoundSpan& b) { return a.from_s < b.from_s; });
    const auto watched = even_bursts(bursts_at(times), left_out);
    REQUIRE(watched);
    CHECK(watched->filled == Approx(19 / 28.0));
    // two in five turns: no rate of clicks, though even
    std::vector<double> sparse;
    for (int k = 0; k <= 45; ++k)
        if (k % 5 == 0 || k % 5 == 2) sparse.push_back(0.5 + 0.11 * k);
    const auto faint = rate_in(sparse);
    REQUIRE(faint);
    CHECK(faint->rate_hz == Approx(1 / 0.11).epsilon(1e-3));
    CHECK(faint->filled == Approx(19 / 46.0).epsilon(0.01));
    CHECK_FALSE(faint->mostly_filled());
    // a quarter of the turn beside it
    auto beside = every(0.4, 0.5, 20);
    for (const double t : {1.03, 2.51, 4.55, 6.03}) beside.push_back(t);
    std::sort(beside.begin(), beside.end());
    const auto odd = rate_in(beside);
    REQUIRE(odd);
    CHECK(odd->rate_hz == Approx(2.0).epsilon(0.002));
    for (std::size_t i = 0; i < beside.size(); ++i) CHECK(odd->on_beat[i] == (std::abs(std::remainder(beside[i] - 0.4, 0.5)) < 0.01));
    CHECK(odd->filled == Approx(1.0));
    // slow ones and fast ones
    const auto slow = rate_in(every(1, 1.9, 12));
    REQUIRE(slow);
    CHECK(slow->rate_hz == Approx(1 / 1.9).epsilon(1e-4));
    const auto fast = rate_in(every(1, 1 / 48.3, 30));
    REQUIRE(fast);
    CHECK(fast->rate_hz == Approx(48.3).epsilon(1e-3));
}

TEST_CASE("of rates that are multiples of each other the slowest is told, its events alone on the beat", "[bursts]") {
    // every second, third, fifth, seventh turn of a faster beat, and a few events on its other turns
    for (const int of : {2, 3, 5, 7}) {
        std::vector<double> times = every(0.2, 0.1 * of, 20);
        for (const int k : {1, 7 * of + 1}) times.push_back(0.2 + 0.1 * k);
        std::sort(times.begin(), times.end());
        const auto even = rate_in(times);
        CAPTURE(of);
        REQUIRE(even);
        CHECK(even->rate_hz == Approx(10.0 / of).epsilon(1e-3));
        CHECK(on(*even) == 20);
        for (std::size_t i = 0; i < times.size(); ++i)
            CHECK(even->on_beat[i] == (std::abs(std::remainder(times[i] - 0.2, 0.1 * of)) < 0.01));
        CHECK(even->filled == Approx(1.0));
        // two of its turns hold nothing, one of which was left out
        std::erase_if(times, [of](double t) { return std::abs(t - 0.2 - 0.5 * of) < 0.01 || std::abs(t - 0.2 - 1.1 * of) < 0.01; });
        const auto watched = even_bursts(bursts_at(times), {{0.19 + 0.5 * of, 0.21 + 0.5 * of}});
        REQUIRE(watched);
        CHECK(watched->rate_hz == Approx(10.0 / of).epsilon(1e-3));
        CHECK(watched->filled == Approx(18 / 19.0));
    }
}

TEST_CASE("a turn that was left out counts neither way, wherever the beat lies and however it drifts", "[bursts]") {
    // turns of 0.2 s, a fifth of which show nothing; an odd event at the end, so that the beat lies anywhere in the turn
    std::vector<double> times;
    for (int k = 0; k <= 24; ++k)
        if (k % 5 != 3) times.push_back(0.4 + 0.2 * k);
    times.push_back(0.4 + 0.2 * 24 + 0.073);
    const auto filled = [&](double before_s, double after_s) {
        std::vector<SoundSpan> left_out;
        for (int k = 3; k <= 24; k += 5) left_out.push_back({0.4 + 0.2 * k + before_s, 0.4 + 0.2 * k + after_s});
        const auto even = even_bursts(bursts_at(times), left_out);
        REQUIRE(even);
        CHECK(even->rate_hz == Approx(5.0).epsilon(1e-3));
        return even->filled;
    };
    // the searched beat lies within some ms of that of the even ones
    CHECK(filled(-0.004, 0.004) == Approx(1.0));
    CHECK(filled(0.012, 0.020) == Approx(20 / 25.0));
    CHECK(filled(-0.020, -0.012) == Approx(20 / 25.0));
    // of spans that overlap the third before it may hold it
    std::vector<SoundSpan> nested;
    for (int k = 3; k <= 24; k += 5) {
        const double t = 0.4 + 0.2 * k;
        nested.insert(nested.end(), {{t - 0.05, t + 0.05}, {t - 0.03, t - 0.02}, {t - 0.015, t - 0.01}});
    }
    CHECK(even_bursts(bursts_at(times), nested)->filled == Approx(1.0));
    std::vector<double> drifting;
    std::vector<SoundSpan> left_out;
    for (int k = 0; k < 35; ++k) {
        const double t = 0.2 + k / 7.0 * (1 + 0.00028 * k);
        if (k % 10 == 2 || k % 10 == 7) left_out.push_back({t - 0.002, t + 0.002});
        else drifting.push_back(t);
    }
    CHECK(even_bursts(bursts_at(drifting), left_out)->filled == Approx(1.0));
}

TEST_CASE("half a rate is told where three quarters of the events keep to it, and half a turn a second is the slowest", "[bursts]") {
    for (const std::size_t odd : {4U, 6U}) {
        std::vector<double> times = every(0.2, 0.2, 20 - odd);
        for (std::size_t i = 0; i < odd; ++i) times.push_back(0.3 + 0.2 * static_cast<double>(2 * i + 1));
        const auto even = rate_in(times);
        REQUIRE(even);
        CHECK(even->rate_hz == Approx(odd < 5 ? 5.0 : 10.0).epsilon(1e-3));
        CHECK(on(*even) == (odd < 5 ? 16U : 20U));
    }
    // 0.4545 a second is read as twice that, every second turn empty
    const auto slow = rate_in(every(0.3, 2.2, 7));
    REQUIRE(slow);
    CHECK(slow->rate_hz == Approx(1 / 1.1).epsilon(1e-3));
    CHECK(slow->filled == Approx(7 / 13.0));
}

TEST_CASE("a rate may drift evenly by 2 %", "[bursts]") {
    std::vector<double> times;
    for (int k = 0; k < 35; ++k) times.push_back(0.2 + k / 7.0 * (1 + 0.00028 * k));   // a turn is 1.9 % longer at the end
    const auto drifting = rate_in(times);
    REQUIRE(drifting);
    CHECK(on(*drifting) == 35);
    CHECK(drifting->rate_hz == Approx(7.0 / (1 + 0.00028 * 34)).epsilon(0.001));
    CHECK(drifting->filled == Approx(1.0));
}

TEST_CASE("a beat is followed on both sides of the 15 s that are searched, across pauses of less than eight turns", "[bursts]") {
    // thirty, half a second apart, and eight before and after, a thirtieth of a turn off
    for (const double pause : {6.97, 8.97}) {
        std::vector<double> times = every(31, 0.5, 30);
        for (std::size_t i = 0; i < 8; ++i) {
            times.push_back(31 - 0.5 * (pause + static_cast<double>(i)));
            times.push_back(31 + 0.5 * (29 + pause + static_cast<double>(i)));
        }
        const auto even = rate_in(times);
        REQUIRE(even);
        CHECK(even->rate_hz == Approx(2.0).epsilon(1e-3));
        CHECK(on(*even) == (pause < 8 ? 46U : 30U));
    }
    // one that lies off the beat there is odd
    std::vector<double> times = every(31, 0.5, 30);
    for (const double t : {29.5, 29.8, 46.2, 46.5, 47.0}) times.push_back(t);
    const auto even = rate_in(times);
    REQUIRE(even);
    CHECK(on(*even) == 33);
    CHECK(even->on_beat[0]);
    CHECK_FALSE(even->on_beat[1]);
    CHECK_FALSE(even->on_beat[32]);
}

TEST_CASE("a few bursts are even by their spacings alone", "[bursts]") {
    // in units of 1.4 s: four spacings alike of five, one of them over three turns; then five of seven, one turn halved by an odd burst
    struct Row {
        std::vector<double> spacings, turns;
        double missed;
        std::size_t odd;
    };
    for (const Row& row : {Row{{1.0, 1.02, 0.98, 3.03, 1.01}, {1.0, 1.02, 0.98, 1.01, 1.01}, 2, 99},
                           Row{{1.0, 1.01, 0.99, 0.4, 0.6, 1.0, 1.02}, {1.0, 1.01, 0.99, 1.0, 1.02}, 0, 4}}) {
        std::vector<double> times = {0.5};
        for (const double one : row.spacings) times.push_back(times.back() + 1.4 * one);
        double sum = 0, squares = 0;
        for (const double one : row.turns) sum += 1.4 * one, squares += 1.96 * one * one;
        const double n = static_cast<double>(row.turns.size()), mean = sum / n;
        const auto even = rate_in(times);
        REQUIRE(even);
        CHECK(even->rate_hz == Approx(1 / mean).epsilon(1e-6));
        CHECK(even->rate_sd_hz == Approx(std::sqrt((squares / n - mean * mean) / n) / (mean * mean)).epsilon(1e-4));
        CHECK(even->filled == Approx(n / (n + row.missed)));
        REQUIRE(even->on_beat.size() == times.size());
        for (std::size_t i = 0; i < times.size(); ++i) CHECK(even->on_beat[i] == (i != row.odd));
    }
    // surprise of four alike of six: 6.4, of which 7 is asked (binomial tail; width 0.118 s, mean 1.2 s, less ln 6)
    CHECK_FALSE(rate_in({0.5, 1.9, 3.31, 4.7, 6.13, 6.69, 7.53}));
    CHECK_FALSE(rate_in({0.5, 1.9, 3.3, 4.1, 5.9}));            // two of four alike
    CHECK_FALSE(rate_in({0.5, 1.9, 3.3, 4.1, 5.9, 6.6, 8.0}));  // three of six
    CHECK_FALSE(rate_in({0.5, 1.9, 3.4, 5.2, 6.6}));            // 7 % and more apart
}
