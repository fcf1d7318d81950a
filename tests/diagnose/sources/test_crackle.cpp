// Bursts and trains of clicks, of surveys set by hand: what keeps a train's time, what comes evenly, what is crackle.
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../../src/diagnose/sources/crackle.hpp"
#include "../../../src/diagnose/sources/noise_parts.hpp"
#include "../../../src/diagnose/takes/click_trains.hpp"
#include "diagnose/survey_maker.hpp"

using namespace hushtrace;
using namespace survey_maker;

namespace {

const JudgeClicks kNoEngine = [](const ImpulseTrain& train) {
    ClicksInTake out;
    out.train = train;
    out.rate_hz = train.rate.mean_hz();
    return out;
};
std::vector<Burst> at(const std::vector<double>& times_s, double energy = 1e-8, double surprise = 40) {
    std::vector<Burst> out;
    for (const double time_s : times_s) out.push_back(burst(time_s, energy, surprise));
    return out;
}
/// Times that keep to no rate.
const std::vector<double> kOdd = {0.31, 1.07, 2.9, 3.33, 5.21, 7.76};
std::vector<double> times_of(const std::vector<Burst>& events) {
    std::vector<double> out;
    for (const Burst& one : events) out.push_back(one.time_s);
    return out;
}
/// A train whose profile is loudest in this one of ten phases.
ImpulseTrain train_at(double rate_hz, std::size_t phase, double mean_square) {
    ImpulseTrain out = train(rate_hz, mean_square, 30, 0);
    out.profile.assign(10, 1.0);
    out.profile[phase] = 9.0;
    return out;
}
ClicksInTake known(const ImpulseTrain& train) { return kNoEngine(train); }

struct Added {
    std::list<NoiseSource> sources;
    std::vector<ClicksInTake> clicks;
    OddBursts odd;
};
Added bursts_in(const TakeSurvey& survey, std::vector<ClicksInTake> clicks = {}, const JudgeClicks& judge = kNoEngine) {
    Added out;
    out.clicks = std::move(clicks);
    out.odd = add_bursts(out.sources, survey, out.clicks, judge);
    return out;
}

}  // namespace

TEST_CASE("bursts at odd times are given back, those of the channel that has most", "[crackle]") {
    Made made(2);
    made.channel(0).bursts.events = at({1.0, 2.5});
    made.channel(1).bursts.events = at(kOdd);
    const Added found = bursts_in(made.survey);
    CHECK(found.odd.survey == &made.survey);
    CHECK(times_of(found.odd.events) == kOdd);
    CHECK(found.sources.empty());
    CHECK(found.clicks.empty());
    // what doesn't lie clear of noise may be a faint train's
    for (Burst& one : made.channel(1).bursts.events) one.surprise = one.time_s < 2 ? 23.9 : 24.1;
    CHECK(times_of(bursts_in(made.survey).odd.events) == std::vector<double>{2.9, 3.33, 5.21, 7.76});
    // more than 25 a second are no single bursts
    Made dense(1, Engine::off, "takes/a.wav", 0.2);
    dense.channel().bursts.events = at({0.01, 0.05, 0.08, 0.13, 0.19});
    CHECK(bursts_in(dense.survey).odd.survey == &dense.survey);
    dense.channel().bursts.events.push_back(burst(0.195));
    CHECK(bursts_in(dense.survey).odd.survey == nullptr);
    CHECK(bursts_in(TakeSurvey{}).odd.survey == nullptr);
}

TEST_CASE("bursts that come evenly are clicks of their own, or the engine's", "[crackle]") {
    Made made(2);
    for (int n = 0; n < 14; ++n) made.channel(0).bursts.events.push_back(burst(0.4 + n / 1.5, 3e-8));
    made.channel(0).bursts.events.push_back(burst(5.0, 5e-7));   // one between
    made.channel(1).bursts.events = at({0.4, 1.7333}, 1e-8);
    const Added found = bursts_in(made.survey);
    REQUIRE(found.sources.size() == 1);
    const NoiseSource& one = found.sources.front();
    CHECK(one.kind == NoiseKind::periodic_tick);
    CHECK(*one.frequency_hz == Approx(1.5).epsilon(0.002));
    CHECK(*one.frequency_sd_hz >= 0.00149);   // a thousandth at least
    CHECK(one.rests_on == "bursts: even, five and more");
    // their energy over the take's ten seconds, in each channel by its own readings at those times
    REQUIRE(one.levels.size() == 2);
    CHECK(one.levels[0].sd_db == Approx(1.0));
    CHECK(*one.levels[0].level_dbfs == Approx(10 * std::log10(2 * 14 * 3e-9)).margin(1e-6));
    CHECK(*one.levels[1].level_dbfs == Approx(10 * std::log10(2 * 2 * 1e-9)).margin(1e-6));
    REQUIRE(one.evidence.size() == 1);
    CHECK(evidence(one, "14 short clicks, one every 0.667 s (1.50 a second); 100 % of the turns"));
    CHECK(one.evidence[0].value == Approx(1.5).epsilon(0.002));
    CHECK(one.evidence[0].unit == "Hz");
    CHECK(one.evidence[0].takes == std::vector<std::string>{"takes/a.wav"});
    REQUIRE(found.clicks.size() == 1);
    CHECK(found.clicks[0].train.mean_square == Approx(14 * 3e-9));
    CHECK(found.clicks[0].rate_hz == Approx(1.5).epsilon(0.002));
    CHECK(times_of(found.odd.events) == std::vector<double>{5.0});
    // judged as the engine's
    const JudgeClicks engine = [](const ImpulseTrain& t) {
        ClicksInTake out = kNoEngine(t);
        out.ignition = true;
        return out;
    };
    const Added ignition = bursts_in(made.survey, {}, engine);
    REQUIRE(ignition.sources.size() == 1);
    CHECK(ignition.sources.front().kind == NoiseKind::ignition_tick);
    // another take of the same rate to 5 % joins it, and leaves its frequency
    std::list<NoiseSource> sources = found.sources;
    std::vector<ClicksInTake> clicks;
    for (const auto& [rate, count] : {std::pair{1.56, 1U}, {1.6, 2U}}) {
        Made more(1, Engine::off, "takes/b.wav");
        for (int n = 0; n < 14; ++n) more.channel().bursts.events.push_back(burst(0.4 + n / rate, 3e-7));
        sources = found.sources;
        clicks.clear();
        add_bursts(sources, more.survey, clicks, kNoEngine);
        CAPTURE(rate);
        CHECK(sources.size() == count);
        CHECK(*sources.front().frequency_hz == Approx(1.5).epsilon(0.002));
    }
    // a multiple of a train that is known is that train's, and no clicks of its own; it isn't odd either
    const Added left_over = bursts_in(made.survey, {known(train_at(30, 5, 1e-12))});
    CHECK(left_over.sources.empty());
    CHECK(left_over.clicks.size() == 1);
}

TEST_CASE("what keeps a known train's beat, or its rate, is left to it", "[crackle]") {
    // strokes at 10 a second, phase 0.15 by the profile: weak ones near it, to 0.11, are the train's; one of more than four clicks' energy is not
    Made made;
    std::vector<double> on, off = {0.2, 0.53, 1.29, 2.95, 3.375, 5.24, 7.795};
    for (const double second : {0.5, 1.3, 2.4, 3.9, 6.1, 8.8}) on.push_back(second + 0.024);
    std::vector<double> all = on;
    all.insert(all.end(), off.begin(), off.end());
    std::sort(all.begin(), all.end());
    const double one_click = 1e-7;   // mean square 1e-6 at ten a second
    made.channel().bursts.events = at(all, 3e-7);
    for (Burst& one : made.channel().bursts.events)
        if (std::abs(one.time_s - 6.124) < 1e-6) one.energy = 5e-7;
    off.insert(off.end() - 1, on[4]);
    const auto weak_left = times_of(bursts_in(made.survey, {known(train_at(10, 1, 10 * one_click))}).odd.events);
    CHECK(weak_left == off);
    // without a profile the phases themselves tell: all on one beat are the train's, whatever their strength
    Made even;
    even.channel().bursts.events = at({0.5, 1.3, 2.4, 3.9, 6.1, 8.8, 9.2}, 1e-5);
    ImpulseTrain plain = train(10, 1e-6, 30, 0);
    CHECK(bursts_in(even.survey, {known(plain)}).odd.events.empty());
    CHECK(bursts_in(even.survey, {known(train(3.7, 1e-6, 30, 0))}).odd.events.size() >= 5);
    // on a beat of 0.3 turns, a fifth of a turn to either side; two lie off it
    for (const double phase : {0.03, 0.08}) {
        std::vector<double> gathered;
        for (const double second : {0.1, 2.7, 5.3, 7.9, 10.5, 13.1, 15.7, 18.3, 20.9, 23.5}) gathered.push_back(second + phase);
        gathered[2] += 0.018;
        gathered[6] -= 0.018;
        Made beat(1, Engine::off, "takes/a.wav", 30);
        std::vector<double> with_odd = gathered;
        with_odd.push_back(26.2 + phase + 0.035);
        with_odd.push_back(29.4 + phase - 0.027);
        beat.channel().bursts.events = at(with_odd, 1e-5);
        CHECK(times_of(bursts_in(beat.survey, {known(train(10, 1e-6, 30, 0))}).odd.events) == std::vector<double>{with_odd[10], with_odd[11]});
    }
    // what a faint train may be keeps the time too
    even.channel().faint_clicks = plain;
    CHECK(bursts_in(even.survey).odd.events.empty());
    // by whole turns from one to the next, where the track has lost its beat: two runs half a turn apart
    Made runs;
    runs.channel().bursts.events = at({0.5, 0.7, 1.0, 1.1, 1.4, 1.6, 5.05, 5.25, 5.45, 5.75, 5.85, 6.15}, 1e-5);
    CHECK(bursts_in(runs.survey, {known(plain)}).odd.events.empty());
}

TEST_CASE("a few weak bursts beside many clicks are misread ones", "[crackle]") {
    // 300 clicks in ten seconds, of which 2 % and two may be misread: eight. No profile; odd phases
    const std::vector<double> eight = {0.52, 1.171, 2.38, 3.527, 4.81, 6.239, 7.5, 8.823},
                              nine = {0.52, 1.171, 2.38, 3.527, 4.81, 6.239, 7.5, 8.823, 9.312};
    const auto left = [&](const std::vector<double>& times, double energy) {
        Made made;
        made.channel().bursts.events = at(times, energy);
        const double one_click = 1e-8;
        std::vector<ClicksInTake> clicks = {known(train(3.0, 3 * one_click, 30, 0))};
        clicks[0].rate_hz = 30;
        clicks[0].train.mean_square = 30 * one_click;
        std::list<NoiseSource> sources;
        std::vector<ClicksInTake> copy = clicks;
        return add_bursts(sources, made.survey, copy, kNoEngine).events.size();
    };
    const std::size_t without_train = left(eight, 1e-6);
    CHECK(left(eight, 2.1e-8) == without_train);          // twice a click's energy
    if (without_train < 8) CHECK(left(eight, 1.9e-8) == 0);
    else CHECK(left(eight, 1.9e-8) == 8);                  // eight are not fewer than eight
    CHECK(left({0.52, 2.38, 6.239, 8.823}, 1.9e-8) == 0);
    CHECK(left(nine, 2.1e-8) >= without_train);
}

TEST_CASE("crackle lies in three half seconds and more, two of them in one take", "[crackle]") {
    const auto found = [](const std::vector<std::vector<double>>& takes, const std::vector<double>& ticks_hz = {}) {
        std::list<Made> made;
        std::vector<OddBursts> odd;
        std::list<NoiseSource> sources;
        for (const auto& times : takes) {
            made.emplace_back(1, Engine::off, "takes/" + std::to_string(made.size()) + ".wav");
            made.back().channel().bursts.events = at(times);
            odd.push_back({&made.back().survey, made.back().channel().bursts.events});
        }
        add_crackle(sources, odd, ticks_hz);
        return sources;
    };
    CHECK(found({{1.0, 2.0, 3.0}}).size() == 1);
    CHECK(found({{1.0, 2.0}}).empty());
    CHECK(found({{1.0, 1.1, 2.0}}).empty());             // a bump of a hand fills one half second
    CHECK(found({{1.0, 2.0}, {5.0}}).size() == 1);
    CHECK(found({{1.0}, {2.0}, {5.0}}).empty());
    CHECK(found({}).empty());
    const auto both = found({{1.0, 2.0, 3.2}, {}, {4.0}});
    REQUIRE(both.size() == 1);
    CHECK(both.front().takes == std::vector<std::string>{"takes/0.wav", "takes/2.wav"});
    // what keeps the time of ticks known from another take is theirs
    const std::vector<double> ticks = {0.5, 1.3, 2.5, 3.3, 5.3, 6.5, 7.9};
    CHECK(found({ticks}).size() == 1);
    CHECK(found({ticks}, {5.0}).empty());
    std::vector<double> later;   // on whichever phase they come
    for (const double time_s : ticks) later.push_back(time_s + 0.05);
    CHECK(found({later}, {5.0}).empty());
}

TEST_CASE("crackle's figures: times, energy, power in each channel, and the marks near it", "[crackle]") {
    Made made(2);
    made.channel(0).bursts.events = at({1.0, 2.5, 4.0, 6.2});
    made.channel(0).bursts.events[2].energy = 7e-8;
    made.channel(1).bursts.events = at({1.005, 2.507, 8.0}, 4e-8);   // 5 ms off is the same one, 7 ms is not
    made.channel(1).bursts.usual_mean_square = 2e-6;
    made.take.marks = {{3.5, "plug"}, {2.6, "fuse"}, {7.25, "too late"}};
    std::list<NoiseSource> sources;
    add_crackle(sources, {{&made.survey, made.channel(0).bursts.events}}, {});
    REQUIRE(sources.size() == 1);
    const NoiseSource& one = sources.front();
    CHECK(one.kind == NoiseKind::crackle);
    CHECK(*one.levels[0].level_dbfs == Approx(10 * std::log10(2 * 1e-8)).margin(1e-6));
    CHECK(*one.levels[1].level_dbfs == Approx(10 * std::log10(2 * 4e-9)).margin(1e-6));
    REQUIRE(one.evidence.size() == 4);
    CHECK(evidence(one, "4 short bursts over most of the band, at odd times: 1.00, 2.50, 4.00, 6.20 s."));
    CHECK(one.evidence[0].value == 4);
    CHECK(one.evidence[0].unit == "bursts");
    CHECK(evidence(one, "The strongest holds as much energy as 35 ms of the hiss round it."));   // 7e-8 of 2e-6 a second
    CHECK(one.evidence[1].value == Approx(35));
    CHECK(one.evidence[1].unit == "ms");
    CHECK(evidence(one, "One lies 0.50 s after the mark 'plug' at 3.5 s."));
    CHECK(one.evidence[2].value == Approx(0.5));
    CHECK(one.evidence[2].unit == "s");
    CHECK(evidence(one, "One lies 0.10 s before the mark 'fuse' at 2.6 s."));
    CHECK(one.evidence[3].value == Approx(-0.1));
    for (const Evidence& each : one.evidence) CHECK(each.takes == std::vector<std::string>{"takes/a.wav"});
    // noise makes n with a probability of 0.18^n / n!: ln is -10.0 for four, -26.4 for eight
    CHECK(one.rests_on == "crackle: surprise under 25");
    for (const std::size_t count : {7U, 8U, 14U}) {
        Made more;
        for (std::size_t n = 0; n < count; ++n) more.channel().bursts.events.push_back(burst(0.1 + 0.61 * static_cast<double>(n)));
        sources.clear();
        add_crackle(sources, {{&more.survey, more.channel().bursts.events}}, {});
        const double surprise = std::lgamma(static_cast<double>(count) + 1) - static_cast<double>(count) * std::log(0.18);
        CHECK(sources.front().rests_on == (surprise < 25 ? "crackle: surprise under 25" : "crackle: surprise 25 and more"));
        CHECK((evidence(sources.front(), " and 2 more s.") != nullptr) == (count == 14));
    }
}

TEST_CASE("a take's trains: of one rate, of another, where they sound and what they hold", "[clicks]") {
    Made made(2);
    made.channel(0).clicks = train(25, 3e-8, 30);
    made.channel(0).other_clicks = train(40, 1e-8, 12);
    made.channel(1).clicks = train(25.2, 2e-8, 20);
    made.channel(1).other_clicks = train(50.2, 1e-8, 50);   // twice the first
    CHECK(train_of_rate(made.channel(0), 25.4) == &*made.channel(0).clicks);
    CHECK(train_of_rate(made.channel(0), 40) == &*made.channel(0).other_clicks);
    CHECK(train_of_rate(made.channel(0), 26) == nullptr);
    CHECK(train_of_rate(made.channel(0), 24) == nullptr);
    CHECK(other_clicks(made.survey, 25) == &*made.channel(0).other_clicks);
    CHECK(other_clicks(made.survey, 40)->rate.mean_hz() == Approx(50.2).epsilon(0.001));   // the strongest of what is left
    made.channel(0).other_clicks->contrast_db = 1.4;   // a flutter
    CHECK(other_clicks(made.survey, 25) == nullptr);
    made.channel(0).other_clicks->contrast_db = 1.6;
    CHECK(other_clicks(made.survey, 25) != nullptr);
    CHECK(other_clicks(made.survey, 80) != nullptr);
    made.channel(0).bursts.events = at({1, 2}, 4e-8);
    CHECK(power_of_clicks(made.channel(0)) == Approx(4e-8 + 8e-9));
    CHECK(has_clicks_of(made.survey, 40));
    CHECK_FALSE(has_clicks_of(made.survey, 33));
    // bursts that come evenly are clicks as well
    Made even;
    CHECK_FALSE(has_clicks_of(even.survey, 1.5));
    for (int n = 0; n < 14; ++n) even.channel().bursts.events.push_back(burst(0.4 + n / 1.5));
    CHECK(has_clicks_of(even.survey, 1.5));
    CHECK_FALSE(has_clicks_of(even.survey, 3.0));
    Made sparse;   // on a beat of three a second, of which most turns hold none: no clicks, and not odd either
    for (const int turn : {0, 1, 4, 8, 9, 12, 17, 20, 21, 25, 28}) sparse.channel().bursts.events.push_back(burst(0.4 + turn / 3.0));
    const auto beat = even_bursts(sparse.channel().bursts.events);
    REQUIRE(beat);
    CHECK_FALSE(beat->mostly_filled());
    CHECK_FALSE(has_clicks_of(sparse.survey, beat->rate_hz));
    CHECK(bursts_in(sparse.survey).sources.empty());
    CHECK(bursts_in(sparse.survey).odd.events.empty());
    // where they sound: of all channels, ascending, up to the longest asked for; no flutters
    ImpulseTrain slow = train_at(2, 5, 1e-8);
    Made spans(2);
    spans.channel(0).clicks = slow;
    spans.channel(1).other_clicks = train_at(2, 1, 1e-8);
    const auto sounding = spans_of_clicks(spans.survey, 3.0);
    CHECK(sounding.size() == loud_spans(slow, 3.0).size() + loud_spans(*spans.channel(1).other_clicks, 3.0).size());
    CHECK(std::is_sorted(sounding.begin(), sounding.end(), [](const SoundSpan& a, const SoundSpan& b) { return a.from_s < b.from_s; }));
    CHECK(spans_of_clicks(spans.survey, 60).size() > sounding.size());
    CHECK(spans_of_clicks(spans.survey, 60).back().from_s < 10);
    spans.channel(1).other_clicks->contrast_db = 1.4;
    CHECK(spans_of_clicks(spans.survey, 3.0).size() == loud_spans(slow, 3.0).size());
}

TEST_CASE("clicks are given to the rate that is likelier the engine's", "[clicks]") {
    VehicleData vehicle;
    vehicle.cylinders = 4;
    vehicle.strokes = 4;
    // four cylinders at 750 a minute fire 25 times a second; 41 would be 1230
    const auto first_rate = [&](Engine engine, double wander, double other_wander, const TakeSurvey* off = nullptr, double other_hz = 41,
                                std::optional<double> rpm = {}) {
        Made made(2, engine);
        made.take.conditions.rpm = rpm;
        made.channel(0).clicks = train(other_hz, 3e-8, 40, other_wander);
        made.channel(0).other_clicks = train(25, 1e-8, 12, wander);
        made.channel(1).clicks = train(25, 1e-8, 15, wander);
        settle_clicks(made.survey, off, vehicle);
        REQUIRE(made.channel(0).clicks);
        const double rate = made.channel(0).clicks->rate.mean_hz();
        // both channels have the same one
        CHECK(made.channel(1).clicks.has_value() == (rate < 26));
        CHECK(made.channel(1).other_clicks.has_value() == (rate > 26));
        CHECK(made.channel(0).other_clicks.has_value());
        return rate;
    };
    CHECK(first_rate(Engine::off, 0.01, 0.01) == Approx(41).epsilon(0.001));   // the stronger one
    CHECK(first_rate(Engine::idle, 0.01, 0.01, nullptr, 41, 750) == Approx(25).epsilon(0.001));
    CHECK(first_rate(Engine::idle, 0.01, 0.01, nullptr, 41, 1230) == Approx(41).epsilon(0.001));
    // what clicks at rest as well is seldom the engine's
    for (const double at_rest_hz : {25.0, 27.0}) {
        Made rest;
        rest.channel().clicks = train(at_rest_hz);
        CHECK(first_rate(Engine::idle, 0.01, 0.01, &rest.survey, 27) == Approx(at_rest_hz == 25 ? 27 : 25).epsilon(0.001));
    }
    // of two rates that fit alike the one that strays: an engine idles less steadily than a switch
    CHECK(first_rate(Engine::idle, 0.01, 0.001, nullptr, 26.5, 770) == Approx(25).epsilon(0.001));
    CHECK(first_rate(Engine::idle, 0.001, 0.01, nullptr, 26.5, 770) == Approx(26.5).epsilon(0.001));
    // but what is known of the speed counts for more
    CHECK(first_rate(Engine::idle, 0.01, 0.001, nullptr, 41, 1230) == Approx(41).epsilon(0.001));
    CHECK(first_rate(Engine::idle, 0.001, 0.01, nullptr, 41, 750) == Approx(25).epsilon(0.001));
    Made none;
    settle_clicks(none.survey, nullptr, vehicle);
    CHECK_FALSE(none.channel().clicks);
    Made single(1, Engine::idle);
    single.channel().clicks = train(25);
    single.channel().other_clicks = train(50);
    settle_clicks(single.survey, nullptr, vehicle);
    CHECK(single.channel().clicks->rate.mean_hz() == Approx(25).epsilon(0.001));
    CHECK_FALSE(single.channel().other_clicks);   // its multiple is no other train
}

TEST_CASE("trains in a sound: the first, another beside it; slow clicks are left to the bursts", "[clicks]") {
    constexpr double rate = 16000;
    const auto found = [](const std::vector<std::pair<double, double>>& trains) {   // clicks a second, amplitude
        std::vector<double> samples(static_cast<std::size_t>(5 * rate));
        std::mt19937_64 engine(4);
        std::normal_distribution<double> normal(0.0, 1.0);
        for (double& x : samples) x = 1e-3 * normal(engine);
        for (const auto& [clicks_hz, amplitude] : trains)
            for (double at_s = 0.013; at_s < 4.99; at_s += 1 / clicks_hz)
                for (std::size_t n = 0; n < 12; ++n) samples[static_cast<std::size_t>(at_s * rate) + n] += amplitude * normal(engine);
        ChannelSurvey channel;
        find_clicks(channel, samples, rate);
        return channel;
    };
    const ChannelSurvey one = found({{23, 0.05}});
    REQUIRE(one.clicks);
    CHECK(one.clicks->rate.mean_hz() == Approx(23).epsilon(0.01));
    CHECK_FALSE(one.other_clicks);
    const ChannelSurvey two = found({{23, 0.05}, {37.3, 0.03}});
    REQUIRE(two.clicks);
    REQUIRE(two.other_clicks);
    CHECK(std::max(two.clicks->rate.mean_hz(), two.other_clicks->rate.mean_hz()) == Approx(37.3).epsilon(0.01));
    CHECK(std::min(two.clicks->rate.mean_hz(), two.other_clicks->rate.mean_hz()) == Approx(23).epsilon(0.01));
    const ChannelSurvey slow = found({{5.2, 0.2}});
    for (const auto* train : {&slow.clicks, &slow.other_clicks, &slow.faint_clicks})
        if (*train) CHECK((*train)->rate.mean_hz() >= 6);
    CHECK_FALSE(found({}).clicks);
}
