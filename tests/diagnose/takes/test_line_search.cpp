#include "../../../src/diagnose/takes/line_search.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <complex>

#include "../../../src/diagnose/takes/click_trains.hpp"
#include "diagnose/even_survey.hpp"
#include "diagnose/swinging_sound.hpp"

using namespace hushtrace;
using namespace even_survey;

namespace {

constexpr double kPi = std::numbers::pi;

std::vector<double> sine(double amplitude, double frequency_hz, double rate, std::size_t frames) {
    std::vector<double> out;
    for (std::size_t n = 0; n < frames; ++n) out.push_back(amplitude * std::sin(2 * kPi * frequency_hz * static_cast<double>(n) / rate));
    return out;
}
double largest(std::span<const double> samples) {
    double most = 0;
    for (const double one : samples) most = std::max(most, std::abs(one));
    return most;
}
double amplitude_at(std::span<const double> samples, double frequency_hz, double rate) {
    std::complex<double> sum = 0;
    for (std::size_t n = 0; n < samples.size(); ++n) sum += samples[n] * std::polar(1.0, -2 * kPi * frequency_hz * static_cast<double>(n) / rate);
    return 2 * std::abs(sum) / static_cast<double>(samples.size());
}
/// What a high-pass of first order at 250 Hz (its pole at exp(-2 pi 250 / rate)), run twice, passes.
double passes(double frequency_hz, double rate) {
    const double pole = std::exp(-2 * kPi * 250 / rate);
    const std::complex<double> back = std::polar(1.0, -2 * kPi * frequency_hz / rate);
    return std::norm(pole * (1.0 - back) / (1.0 - pole * back));
}

SpectralLine line_at(double frequency_hz, double mean_square, double prominence_db = 40, double sharpness_db = 31) {
    SpectralLine line;
    line.frequency_hz = frequency_hz;
    line.mean_square = mean_square;
    line.prominence_db = prominence_db;
    line.sharpness_db = sharpness_db;
    line.floor_density = 1e-12;
    return line;
}

/// Clicks ten times a second, loud in the first of 24 phases.
ImpulseTrain train_of_ten(double duration_s) {
    ImpulseTrain train;
    train.rate.time_s = {0, duration_s};
    train.rate.frequency_hz = {10, 10};
    train.profile.assign(24, 1e-6);
    train.profile[0] = 1;
    return train;
}
std::vector<double> with_clicks(std::vector<double> sound, double rate, double at_turn) {
    for (double t = (at_turn + 0.02) / 10; t * rate < static_cast<double>(sound.size()); t += 0.1) sound[static_cast<std::size_t>(t * rate)] += 1.0;
    return sound;
}

std::vector<FollowedRidge> found_in(SwingingSound& take) {
    take.read();
    return find_wandering_lines(take.survey, take.stretches, take.sounds);
}

}  // namespace

TEST_CASE("cut down, a sound has lost its rumble and its clicks, and tones stay", "[lines]") {
    const double rate = 8000;
    for (const double hz : {50.0, 250.0, 1001.0}) {
        const std::vector<double> cut = cut_down(sine(0.1, hz, rate, 8000), rate);
        CHECK(largest(std::span(cut).subspan(4000)) == Approx(0.1 * passes(hz, rate)).epsilon(0.002));
    }
    CHECK(passes(250, 48000) == Approx(0.5).epsilon(0.04));   // 3 dB twice
    // the usual size of a sine is 0.707 of its peak: 3 times 1.4826 of that is the most
    std::vector<double> clicking = with_clicks(sine(0.01, 1001, rate, 16000), rate, 0.5);
    const std::vector<double> cut = cut_down(clicking, rate);
    CHECK(cut.size() == clicking.size());
    CHECK(largest(cut) == Approx(3 * 1.4826 * std::sqrt(0.5) * 0.01 * passes(1001, rate)).epsilon(0.02));
    CHECK(-*std::min_element(cut.begin(), cut.end()) == Approx(largest(cut)));
    // where most of it is silence nothing is usual, and nothing is cut
    std::vector<double> late(1000, 0.0);
    late[900] = 1.0;
    CHECK(cut_down(late, rate)[900] == Approx(std::pow(std::exp(-2 * kPi * 250 / rate), 2)));
    CHECK(cut_down({}, rate).empty());
}

TEST_CASE("before clicks are blanked the strong lines that hold still are taken out, second by second", "[lines]") {
    // 4003 and 4001 samples a second, cut into whole cycles: what is fitted is the line itself
    for (const double rate : {4003.0, 4001.0, 4002.0}) {
        const std::size_t frames = 2 * static_cast<std::size_t>(rate);
        std::vector<double> sound = sine(0.1, 1000, rate, frames);
        const std::vector<double> cosine = sine(0.2, 700, rate, frames + 1);
        for (std::size_t n = 0; n < frames; ++n) sound[n] += cosine[n + 1];
        ChannelSurvey channel;
        channel.lines = {line_at(1000, 5e-3), line_at(700, 2e-2)};
        channel.clicks = train_of_ten(2.0);
        channel.clicks->profile.assign(24, 1.0);   // nothing to blank
        CHECK(largest(without_clicks(sound, rate, channel)) < 1e-9);
        const std::vector<double> other = sine(0.01, 1300, rate, frames);
        for (std::size_t n = 0; n < frames; ++n) sound[n] += other[n];
        const std::vector<double> left = without_clicks(sound, rate, channel);
        CHECK(amplitude_at(left, 1300, rate) == Approx(0.01 * passes(1300, rate)).epsilon(0.005));
        // without clicks all stays
        channel.clicks.reset();
        CHECK(amplitude_at(without_clicks(sound, rate, channel), 1000, rate) == Approx(0.1 * passes(1000, rate)).epsilon(0.01));
    }
    // the amplitude of each second is its own; weak and blunt lines stay, and all but the forty strongest
    const double rate = 4000;
    std::vector<double> sound = sine(0.1, 1000, rate, 4000), second = sine(0.03, 1000, rate, 4000), rest = sine(0.05, 1000, rate, 1000);
    sound.insert(sound.end(), second.begin(), second.end());
    sound.insert(sound.end(), rest.begin(), rest.end());
    ChannelSurvey channel;
    channel.clicks = train_of_ten(2.25);
    channel.clicks->profile.assign(24, 1.0);
    channel.lines = {line_at(1000, 1e-3)};
    CHECK(largest(without_clicks(sound, rate, channel)) < 1e-9);
    struct Case {
        double prominence_db, sharpness_db;
        int stronger;
        bool taken;
    };
    const std::vector<double> even = sine(0.1, 1000, rate, 4000);
    for (const Case& one : {Case{15.1, 31, 0, true}, {14.9, 31, 0, false}, {40, 10.1, 0, true}, {40, 9.9, 0, false}, {40, 31, 39, true},
                            {40, 31, 40, false}}) {
        channel.lines = {line_at(1000, 1e-3, one.prominence_db, one.sharpness_db)};
        for (int i = 0; i < one.stronger; ++i) channel.lines.push_back(line_at(300 + i, 1e-2));
        for (int i = 0; i < 5; ++i) channel.lines.push_back(line_at(1500 + i, 1e-4));
        INFO(one.prominence_db << " dB, " << one.sharpness_db << " dB, " << one.stronger << " stronger");
        CHECK((amplitude_at(without_clicks(even, rate, channel), 1000, rate) < 1e-6) == one.taken);
    }
}

TEST_CASE("clicks of one train and another are blanked where they sound", "[lines]") {
    const double rate = 8000;
    const std::vector<double> tone = sine(0.01, 1001, rate, 16000);
    const double passed = 0.01 * passes(1001, rate);
    ChannelSurvey one, other, neither;
    one.clicks = other.other_clicks = train_of_ten(2.0);
    const std::vector<double> clicking = with_clicks(tone, rate, 0.0);
    CHECK(largest(without_clicks(clicking, rate, neither)) > 3 * passed);
    CHECK(largest(without_clicks(clicking, rate, one)) < 1.6 * passed);
    CHECK(largest(without_clicks(clicking, rate, other)) < 1.6 * passed);
    const std::vector<double> between = with_clicks(tone, rate, 0.5);   // where neither train clicks
    CHECK(largest(without_clicks(between, rate, one)) > 2.5 * passed);
}

TEST_CASE("a search passes by what holds still, and a phone's lines while it sounds", "[lines]") {
    MadeTake take("takes/it.wav");
    ChannelSurvey& channel = take.survey.channels[0];
    channel.lines = {line_at(500, 1e-9), line_at(600, 1e-9, 15.1, 10.1), line_at(700, 1e-9, 14.9, 31), line_at(800, 1e-9, 40, 9.9)};
    std::vector<PassedLine> passed = passed_lines(take.survey, channel);
    REQUIRE(passed.size() == 2);
    CHECK(passed[0].frequency_hz == 500);
    CHECK(passed[0].snr_db == Approx(30));
    CHECK(passed[1].frequency_hz == 600);
    // a quarter of the take: while it sounds, its lines are four times as strong
    channel.lines.clear();
    channel.still.bin_hz = 10;
    channel.still.sample_rate_hz = 24000;
    channel.still.noise.assign(1201, 1e-12);
    channel.still.density.assign(1201, 1e-12);
    channel.phone.emplace();
    channel.phone->from_s = 2;
    channel.phone->to_s = 4.5;
    const auto phone_of = [&](const std::vector<double>& teeth) {
        channel.phone->comb.teeth.clear();
        for (const double mean_square : teeth) {
            CombTooth& tooth = channel.phone->comb.teeth.emplace_back();
            tooth.frequency_hz = 217.0 * static_cast<double>(channel.phone->comb.teeth.size());
            tooth.mean_square = {mean_square};
        }
        return passed_lines(take.survey, channel);
    };
    CHECK(phone_of({1e-9, 1e-9}).empty());   // may be chance
    passed = phone_of({1e-9, 0.0, 1e-8});
    REQUIRE(passed.size() == 2);
    CHECK(passed[0].frequency_hz == 217);
    CHECK(passed[0].snr_db == Approx(30 + 10 * std::log10(4.0)));
    CHECK(passed[1].frequency_hz == 651);
    CHECK(passed[1].snr_db == Approx(40 + 10 * std::log10(4.0)));
    channel.phone->to_s = 2;
    CHECK(phone_of({1e-9, 1e-9, 1e-9}).empty());
    channel.phone->to_s = 4.5;
    channel.still.noise[22] = 0;   // bins of 10 Hz
    CHECK(phone_of({1e-9, 1e-9, 1e-9}).size() == 2);
}

TEST_CASE("channels are searched by what they hold from 300 Hz to 6 kHz, loudest first", "[lines]") {
    MadeTake take("takes/it.wav", Engine::off, 6);
    const double densities[] = {1e-12, 3e-12, 9e-12, 3e-12, 2e-12, 1e-12};
    for (std::size_t c = 0; c < 6; ++c) take.survey.channels[c].spectrum = even_spectrum(densities[c]);
    take.survey.channels[2].silent = true;
    take.survey.channels[4].channel = Channel::supply;
    CHECK(loudest_first(take.survey) == std::vector<std::size_t>{1, 3, 0, 5});
    for (const std::size_t outside : {290u, 6010u}) take.survey.channels[5].spectrum.density[outside] = 1;
    CHECK(loudest_first(take.survey).back() == 5);
    for (const std::size_t outside : {290u, 6010u}) {
        take.survey.channels[0].spectrum = even_spectrum(1e-12);
        take.survey.channels[0].spectrum.density[outside] = 1;
        CHECK(loudest_first(take.survey).front() == 1);
    }
    take.survey.channels[0].spectrum = even_spectrum(1e-12);
    for (const std::size_t inside : {310u, 5990u}) {
        take.survey.channels[5].spectrum = even_spectrum(1e-12);
        take.survey.channels[5].spectrum.density[inside] = 1;
        CHECK(loudest_first(take.survey).front() == 5);
    }
}

TEST_CASE("lines that wander are found in the louder channel first, each once", "[lines]") {
    SwingingSound take(3);
    take.add(1000, 0.02, {0.004, 0.02});
    take.add(2300, 0.015, {0.03, 0.0});
    const std::vector<FollowedRidge> found = found_in(take);
    REQUIRE(found.size() == 2);
    // what stands out most first
    CHECK(found[0].ridge.track.mean_hz() == Approx(2300).epsilon(0.005));
    CHECK(found[0].channel == 0);
    CHECK(found[1].ridge.track.mean_hz() == Approx(1000).epsilon(0.005));
    CHECK(found[0].significance > found[1].significance);
    CHECK(found[1].significance > 6);
    for (const FollowedRidge& one : found) {
        CHECK(one.window_s == 0.08);
        CHECK(one.ridge.log_evidence > 6);
    }
    SwingingSound still(2, 1);   // nothing but noise, and a line that holds still
    still.add(1000, 0, {0.05});
    CHECK(found_in(still).empty());
}

TEST_CASE("along a log of the engine's speed a line is found that is too faint without", "[lines]") {
    struct Case {
        const char* what;
        double from_s, to_s, rpm, log_share;
        bool found;
    };
    // the log counts turns a minute, so that a ratio to it says nothing by itself
    for (const Case& one : {Case{"the log covers it", 0, 3, 1500, 0.05, true}, {"four fifths of it", 0, 2.5, 1500, 0.05, true},
                            {"less", 0, 2.3, 1500, 0.05, false}, {"nobody turns so slowly", 0, 3, 95, 0.05, false},
                            {"it holds still", 0, 3, 1500, 0.0, false}}) {
        INFO(one.what);
        SwingingSound take(3, 1);
        take.add(900, 0.05, {0.0014});
        take.log(one.from_s, one.to_s, one.rpm, one.log_share);
        const std::vector<FollowedRidge> found = found_in(take);
        REQUIRE(found.size() == (one.found ? 1u : 0u));
        if (!one.found) continue;
        CHECK(found[0].window_s == 0.3);
        CHECK(found[0].channel == 0);
        CHECK(found[0].ridge.track.mean_hz() == Approx(900).epsilon(0.005));
    }
    SwingingSound unlogged(3, 1);
    unlogged.add(900, 0.05, {0.0014});
    CHECK(found_in(unlogged).empty());
    // what is found without a log is not found twice
    SwingingSound clear(3, 1);
    clear.add(900, 0.05, {0.01});
    clear.log(0, 3, 1500, 0.05);
    const std::vector<FollowedRidge> once = found_in(clear);
    REQUIRE(once.size() == 1);
    CHECK(once[0].window_s == 0.08);
    // a log whose clock is 0.4 s late: found in one channel, the other one has it as well
    SwingingSound late(3, 2);
    late.add(900, 0.05, {0.0015, 0});
    late.add(1300, 0.05, {0, 0.0012});
    late.log(0, 3, 1500, 0.05);
    for (std::size_t i = 0; i < late.survey.rpm_log->rpm.size(); ++i)
        late.survey.rpm_log->rpm[i] = 1500 * SwingingSound::speed(late.survey.rpm_log->time_s[i] - 0.4, 0.05);
    const std::vector<FollowedRidge> both = found_in(late);
    REQUIRE(both.size() == 2);
    for (const FollowedRidge& one : both) {
        CHECK(one.window_s == 0.3);
        CHECK(one.ridge.track.mean_hz() == Approx(one.channel == 0 ? 900 : 1300).epsilon(0.005));
        CHECK(one.ridge.track.at(1.0) == Approx((one.channel == 0 ? 900 : 1300) * SwingingSound::speed(1.0, 0.05)).epsilon(0.003));
    }
}
