#include <catch2/catch.hpp>

#include "diagnose/made_curves.hpp"

using namespace hushtrace;
using namespace made_curves;
using Catch::Matchers::Contains;

namespace {

constexpr double kLimit = 1.0;

const Take& take_a() {
    static const Take take = [] {
        Take out;
        out.file = "takes/a.flac";
        return out;
    }();
    return take;
}

GainCurve left(const std::vector<Made>& steps, double tone_hz = 997) {
    return curve_of(take_a(), Channel::left, tone_hz, steps);
}
/// A step the interface overloaded in.
Made overloaded(double volume, double level_dbfs) {
    return {volume, level_dbfs, 5, 0.001, true};
}

struct Decided {
    GainCurve curve;
    std::vector<Warning> warnings;
};
Decided decided(GainCurve curve) {
    Decided out{std::move(curve), {}};
    decide_ceiling(out.curve, kLimit, out.warnings);
    return out;
}
std::string reason(GainCurve curve) {
    return decided(std::move(curve)).curve.curve.ceiling_reason;
}

}  // namespace

TEST_CASE("settings stand by rising volume, and the worst of the steps at one speaks", "[gain][decisions]") {
    GainCurve curve = left(
        {{22.0, -10, 0.5}, {20.0, -14, 0.1}, {21.0, -12, 0.3}, {21.0, -12, 0.2}, {22.0, -10, 1.5}, {20.0, -14, 0.05, 0.001, true}, {20.0, -14, 0.3}});
    std::vector<Rung> rungs = rungs_of(curve, kLimit);
    REQUIRE(rungs.size() == 3);
    CHECK(rungs[0].volume == 20.0);
    CHECK(rungs[0].worst == 5);  // an overload is worse than any distortion
    CHECK(rungs[0].verdict == StepVerdict::overloaded);
    CHECK(rungs[1].volume == 21.0);
    CHECK(rungs[1].worst == 2);
    CHECK(rungs[1].verdict == StepVerdict::clean);
    CHECK(rungs[2].worst == 4);
    CHECK(rungs[2].verdict == StepVerdict::exceeds);
    // one volume that isn't known: by the settings that the levels tell, by number
    curve = left({{20.0, -14, 0.1}, {21.0, -12, 0.2}, {std::nullopt, -14, 0.3}});
    curve.setting_of_step = {1, 0, 1};
    rungs = rungs_of(curve, kLimit);
    REQUIRE(rungs.size() == 2);
    CHECK_FALSE(rungs[0].volume);
    CHECK(rungs[0].worst == 1);
    CHECK(rungs[1].worst == 2);
    // else by level
    curve.setting_of_step.clear();
    rungs = rungs_of(curve, kLimit);
    REQUIRE(rungs.size() == 2);
    CHECK(rungs[0].worst == 2);
    CHECK(rungs[1].worst == 1);
    CHECK(rungs_of(left({}), kLimit).empty());
    CHECK(at_volume(22.5, 3) == "volume 22.5");
    CHECK(at_volume(std::nullopt, 3) == "step 3");
}

TEST_CASE("the ceiling is the last clean step, with its figures and the next one's", "[gain][decisions]") {
    GainCurve curve = left(with_thd({0.02, 0.03, 0.05, 8.0, 20.0}), 440);
    VolumeStep &at = curve.curve.steps[2], &next = curve.curve.steps[3];
    at.level_v = 1.5;
    at.level_v_sd = 0.02;
    at.level_sd_db = 0.03;
    at.thd_limited_by = LimitedBy::noise;
    next.thd_sd_percent = 0.2;
    next.thd_limited_by = LimitedBy::interface;
    curve.curve.knee = Knee{};
    curve.curve.knee->kind = "hard";
    const Decided one = decided(curve);
    CHECK(one.curve.curve.ceiling_reason.empty());
    CHECK(one.curve.clean_step == 2U);
    CHECK(one.curve.clean_volume == 22.0);
    CHECK(one.warnings.empty());
    REQUIRE(one.curve.curve.ceiling);
    const Ceiling& ceiling = *one.curve.curve.ceiling;
    CHECK(ceiling.volume == 22.0);
    CHECK(ceiling.step == 3);
    CHECK(ceiling.level_v == 1.5);
    CHECK(ceiling.level_v_sd == 0.02);
    CHECK(ceiling.level_dbfs == -16);
    CHECK(ceiling.level_sd_db == 0.03);
    CHECK(ceiling.thd_percent == 0.05);
    CHECK(ceiling.thd_sd_percent == 0.001);
    CHECK(ceiling.thd_limited_by == LimitedBy::noise);
    CHECK(ceiling.next_volume_thd_percent == 8.0);
    CHECK(ceiling.next_volume_thd_sd_percent == 0.2);
    CHECK(ceiling.next_volume_thd_limited_by == LimitedBy::interface);
    CHECK(ceiling.knee->kind == "hard");
    CHECK(ceiling.channel == Channel::left);
    CHECK(ceiling.tone_hz == 440);
    CHECK(ceiling.take == "takes/a.flac");
    // distortion at the lowest steps alone is none of the ceiling's; falling again further up is warned of, once
    const Decided twice = decided(left(with_thd({5, 0.02, 0.03, 4, 0.05, 6, 0.04})));
    CHECK(twice.curve.curve.ceiling->volume == 22.0);
    REQUIRE(twice.warnings.size() == 1);
    CHECK(twice.warnings[0].code == "thd_not_monotone");
    CHECK(twice.warnings[0].take == "takes/a.flac");
    CHECK_THAT(twice.warnings[0].text, Contains("left: distortion rises above the limit at volume 23"));
    CHECK(decided(left(with_thd({5, 0.02, 0.03, 4, 5}))).warnings.empty());
}

TEST_CASE("why a curve has no ceiling", "[gain][decisions]") {
    GainCurve curve = left(with_thd({0.02, 8.0}));
    curve.other_tone_hz = 440;
    CHECK(reason(curve) == "wrong_tone");
    curve = left({});
    CHECK(reason(curve) == "no_plateau");
    curve.drowned = true;
    CHECK(reason(curve) == "too_noisy");
    const Decided clean = decided(left(with_thd({0.02, 0.03, 0.04})));
    CHECK(clean.curve.curve.ceiling_reason == "never_clips");
    CHECK(clean.curve.clean_step == 2U);
    CHECK(clean.curve.clean_volume == 22.0);
    CHECK_FALSE(clean.curve.curve.ceiling);
    // noise: 0.8 ± 0.5 % says nothing of a limit of 1 %
    CHECK(reason(left(with_thd({0.8, 0.9}, 0.5))) == "too_noisy");
    GainCurve mixed = left(with_thd({5, 0.9}));
    mixed.curve.steps[1].thd_sd_percent = 0.5;
    CHECK(reason(mixed) == "too_noisy");
    CHECK(reason(left(with_thd({5, 6}))) == "always_distorted");
    CHECK(reason(left({overloaded(20, 0), {21.0, 1, 5}})) == "always_distorted");
    CHECK(reason(left({overloaded(20, 0), overloaded(21, 0)})) == "input_overloaded");
    // unsure above the clean steps: too noisy, unless it is sure further up
    GainCurve unsure = left(with_thd({0.02, 0.9, 0.9}));
    unsure.curve.steps[1].thd_sd_percent = unsure.curve.steps[2].thd_sd_percent = 0.5;
    const Decided noisy = decided(unsure);
    CHECK(noisy.curve.curve.ceiling_reason == "too_noisy");
    CHECK(noisy.curve.clean_step == 0U);
    unsure.curve.steps[2].thd_percent = 6;
    unsure.curve.steps[2].thd_sd_percent = 0.001;
    CHECK(decided(unsure).curve.curve.ceiling->step == 1);
    CHECK(decided(unsure).curve.curve.ceiling->next_volume_thd_percent == 0.9);
    const Decided over = decided(left({{20.0, -10}, overloaded(21, -8), {22.0, -6, 9}}));
    CHECK(over.curve.curve.ceiling_reason == "input_overloaded");
    CHECK_FALSE(over.curve.curve.ceiling);
    CHECK(over.curve.clean_step == 0U);
    CHECK_FALSE(over.curve.even_distortion);
}

TEST_CASE("the pad that is asked for leaves the loudest step 3 dB below the rail", "[gain][decisions]") {
    const auto pad_after = [](const std::vector<double>& clean_dbfs, std::size_t over) {
        std::vector<Made> steps = at_levels(clean_dbfs);
        for (std::size_t i = 0; i < over; ++i) steps.push_back(overloaded(20.0 + static_cast<double>(steps.size()), 0));
        return decided(left(steps)).curve.pad_db.value();
    };
    // the clean steps' rise carried on over the overloaded ones
    CHECK(pad_after({-10, -8}, 2) == 6);
    CHECK(pad_after({-1, 1}, 1) == 6);  // to 3 dB
    CHECK(pad_after({-1, 1.1}, 1) == 10);
    CHECK(pad_after({-1, 1}, 3) == 10);  // to 7 dB
    CHECK(pad_after({-2, 1.2}, 2) == 20);
    CHECK(pad_after({-30, -1, 1}, 8) == 20);  // to 17
    CHECK(pad_after({-30, -1, 1}, 9) == 30);
    CHECK(pad_after({-1, 1}, 13) == 30);  // to 27
    CHECK(pad_after({-1, 1}, 14) == 40);
    CHECK(pad_after({5, 3}, 1) == 6);
    CHECK(pad_after({6, 4}, 1) == 10);  // a level that falls is no rise
    // from one clean step or none nothing is known of the rise: 3 dB each
    CHECK(pad_after({}, 1) == 6);
    CHECK(pad_after({-10}, 1) == 10);
    CHECK(pad_after({}, 3) == 20);
    CHECK(pad_after({}, 9) == 30);
    CHECK(pad_after({}, 10) == 40);
}

TEST_CASE("distortion that stays while the level rises by 2 dB comes from before the volume control", "[gain][decisions]") {
    const auto told = [](const std::vector<Made>& steps) {
        const GainCurve one = decided(left(steps)).curve;
        CHECK(one.curve.ceiling_reason == "always_distorted");
        CHECK(one.even_distortion == one.even_up_to.has_value());
        return one.even_up_to ? static_cast<int>(*one.even_up_to) : -1;
    };
    CHECK(told({{20.0, -20, 5}, {21.0, -18, 5}}) == 1);
    CHECK(told({{20.0, -20, 5}, {21.0, -18.1, 5}}) == -1);
    CHECK(told({{20.0, -20, 5}, {21.0, -18, 5}, {22.0, -16, 5}, {23.0, -14, 9}, {24.0, -12, 5}}) == 2);
    // within a tenth, and twice both uncertainties of 0.01
    CHECK(told({{20.0, -20, 5, 0.01}, {21.0, -18, 5.53, 0.01}}) == 1);
    CHECK(told({{20.0, -20, 5, 0.01}, {21.0, -18, 5.55, 0.01}}) == -1);
    CHECK(told({{20.0, -20, 5, 0.01}, {21.0, -18, 4.47, 0.01}}) == 1);
    CHECK(told({{20.0, -20, 5, 0.01}, {21.0, -18, 4.45, 0.01}}) == -1);
    CHECK(told({{20.0, -20, 5}, overloaded(21, -18), {22.0, -16, 5}}) == -1);
    CHECK(told({{20.0, -20, 5}, {21.0, -19, 5}, {22.0, -18, 5}}) == 2);
}

TEST_CASE("a level that stops rising while the tone stays clean lags from there on", "[gain][decisions]") {
    const auto lags = [](GainCurve curve) { return decided(std::move(curve)).curve.lags_from; };
    GainCurve curve = left(at_levels({-20, -18, -16, -14, -13.6, -13.2}));
    CHECK(lags(curve) == std::pair<std::size_t, std::size_t>{4, 3});  // 0.4 dB after 2: less than a quarter
    curve.curve.steps[4].level_dbfs = -13.4;
    CHECK(lags(curve) == std::pair<std::size_t, std::size_t>{5, 4});
    curve = left(with_thd({0.02, 0.02, 0.02, 0.02, 9}));
    CHECK_FALSE(lags(curve));
    curve.curve.steps[3].level_dbfs = curve.curve.steps[2].level_dbfs;
    CHECK(lags(curve) == std::pair<std::size_t, std::size_t>{3, 2});
    CHECK(decided(curve).curve.curve.ceiling);
    // a rise is counted for one number of the volume
    curve = left({{20.0, -20}, {24.0, -12}, {28.0, -4}, {32.0, -1.9}, {33.0, -1.4}});
    CHECK_FALSE(decided(left({{20.0, -20}, {24.0, -12}, {28.0, -4}, {29.0, -2}})).curve.lags_from);
    CHECK_FALSE(lags(curve));  // 2.1 dB over four numbers after 8
    curve.curve.steps[3].level_dbfs = -2.1;
    CHECK(lags(curve) == std::pair<std::size_t, std::size_t>{3, 2});
    // without volumes each setting counts for one
    for (VolumeStep& step : curve.curve.steps) step.volume.reset();
    curve.curve.steps[3].level_dbfs = -1.9;
    CHECK(lags(curve) == std::pair<std::size_t, std::size_t>{4, 3});
    CHECK(lags(left(at_levels({-20, -18, -17.6, -17.3}))) == std::pair<std::size_t, std::size_t>{3, 2});  // against the first rise of 2 dB
    curve = left({{std::nullopt, -20}, {std::nullopt, -19.5}, {std::nullopt, -19}, {std::nullopt, -18.95}});
    CHECK(lags(curve) == std::pair<std::size_t, std::size_t>{3, 2});  // half a decibel each is more than the 0.3 that count
}

TEST_CASE("the lowest ceiling is the job's, of two at one volume the one that is bent more above it", "[gain][decisions]") {
    const auto chosen = [](std::vector<GainCurve> curves, const std::string& reason = {}) {
        std::vector<Warning> warnings;
        GainAnalysis out;
        for (GainCurve& one : curves) decide_ceiling(one, kLimit, warnings);
        const GainCurve* by = choose_ceiling(curves, out);
        CHECK(out.ceiling_reason == reason);
        CHECK(out.ceiling.has_value() == (by != nullptr && reason.empty()));
        if (out.ceiling) CHECK(out.ceiling->tone_hz == by->curve.tone_hz);
        return by ? by->curve.tone_hz : 0.0;
    };
    // each told by its tone's frequency
    const GainCurve at22 = left(with_thd({0.02, 0.02, 0.02, 8}), 122), at21 = left(with_thd({0.02, 0.02, 6}), 121),
                    worse21 = left(with_thd({0.02, 0.02, 7}), 131), clean = left(with_thd({0.02, 0.02, 0.02, 0.02}), 124),
                    bent = left(with_thd({5, 6}), 100), over20 = left({{20.0, -10}, overloaded(21, 0)}, 120),
                    over23 = left({{20.0, -10}, {21.0, -10}, {23.0, -10}, overloaded(24, 0)}, 123);
    GainCurve noisy20 = left(with_thd({0.02, 0.9}), 220), none = left({}, 50), other = clean;
    noisy20.curve.steps[1].thd_sd_percent = 0.5;
    other.curve.tone_hz = 60;
    other.other_tone_hz = 440;
    CHECK(chosen({at22, at21}) == 121);
    CHECK(chosen({at21, at22}) == 121);
    CHECK(chosen({at21, worse21}) == 131);
    CHECK(chosen({worse21, at21}) == 131);
    CHECK(chosen({clean, at22}) == 122);
    // distorted throughout leaves nothing to claim, nor does a capture that ends below
    CHECK(chosen({at22, bent}, "always_distorted") == 100);
    CHECK(chosen({at22, over20}, "input_overloaded") == 120);
    CHECK(chosen({at22, over23}) == 122);
    CHECK(chosen({at22, noisy20}, "too_noisy") == 220);
    GainCurve held_back = noisy20;
    held_back.held_back = true;
    CHECK(chosen({at22, held_back}) == 122);
    GainCurve held_over = over20;
    held_over.held_back = true;
    CHECK(chosen({at22, held_over}, "input_overloaded") == 120);
    CHECK(chosen({over20, bent, at22}, "always_distorted") == 100);
    GainCurve held_bent = bent;
    held_bent.held_back = true;
    CHECK(chosen({at22, held_bent}, "always_distorted") == 100);
    CHECK(chosen({at22, left({{22.0, -10}, overloaded(23, 0)}, 222)}) == 122);  // it ends no lower
    CHECK(chosen({left({{1.0, -10}, {2.0, -8, 9}}, 101), left({overloaded(1, 0)}, 119)}, "input_overloaded") == 119);
    // a curve overloaded throughout has no clean volume: it lies below all
    CHECK(chosen({at22, left({overloaded(20, 0)}, 119)}, "input_overloaded") == 119);
    // without any ceiling, in the order in which they weigh
    CHECK(chosen({none, other, clean, noisy20, over20}, "input_overloaded") == 120);
    CHECK(chosen({none, other, clean, noisy20}, "too_noisy") == 220);
    CHECK(chosen({none, other, clean}, "never_clips") == 124);
    CHECK(chosen({none, other}, "wrong_tone") == 60);
    CHECK(chosen({none}, "no_plateau") == 50);
    CHECK(chosen({held_back, clean}, "never_clips") == 124);
    CHECK(chosen({held_back}, "too_noisy") == 220);
    CHECK(chosen({}) == 0);
    // without volumes the settings compare, in rising order of level
    GainCurve first = left({{std::nullopt, -10}, {std::nullopt, -14}, {std::nullopt, -8, 5}}, 301),
              second = left({{std::nullopt, -14}, {std::nullopt, -10, 5}}, 302);
    first.setting_of_step = {1, 0, 2};
    second.setting_of_step = {0, 1};
    CHECK(chosen({first, second}) == 302);
    first.setting_of_step.clear();  // by number: both the first
    first.curve.steps[2].thd_percent = 6;
    CHECK(chosen({first, second}) == 301);
}

TEST_CASE("an overloaded take stands aside where another one, made alike, answers each of its channels", "[gain][decisions]") {
    Take high, right;
    high.file = "takes/high.flac";
    right.file = "takes/right.flac";
    const GainCurve overload = curve_of(high, Channel::left, 997, {{20.0, -10}, {21.0, -8}, overloaded(22, 0)});
    std::vector<GainCurve> curves{overload, curve_of(right, Channel::left, 997, with_thd({0.02, 0.02, 0.02, 9}))};
    const auto stands_aside = [&](std::vector<GainCurve> all) {
        std::vector<Warning> warnings, own;
        for (GainCurve& one : all) decide_ceiling(one, kLimit, own);
        const std::size_t before = all.size();
        const std::vector<GainCurve> aside = set_aside_overloaded(all, warnings);
        CHECK(all.size() + aside.size() == before);
        for (const GainCurve& one : aside) CHECK(one.take == &high);
        CHECK(warnings.size() == (aside.empty() ? 0 : 1));
        if (aside.empty()) return false;
        for (const GainCurve& one : all) CHECK(one.take != &high);
        CHECK(warnings[0].code == "overloaded_replaced");
        CHECK(warnings[0].take == "takes/high.flac");
        CHECK_THAT(warnings[0].text, Contains("takes/right.flac holds the same tone") && Contains("hushtrace job --withdraw takes/high.flac"));
        return true;
    };
    CHECK(stands_aside(curves));
    CHECK(stands_aside({curves[1], curves[0]}));
    CHECK_FALSE(stands_aside({curves[0]}));
    CHECK_FALSE(stands_aside({curves[1]}));
    const auto with = [&](auto change) {
        std::vector<GainCurve> all = curves;
        change(all[1]);
        return stands_aside(all);
    };
    CHECK_FALSE(with([](GainCurve& c) { c.curve.channel = Channel::right; }));
    CHECK_FALSE(with([](GainCurve& c) { c.curve.tone_hz = 440; }));
    CHECK_FALSE(with([](GainCurve& c) { c.tone_is_stepped = true; }));
    CHECK(with([](GainCurve& c) { c.tone_level_dbfs = -0.4; }));
    CHECK_FALSE(with([](GainCurve& c) { c.tone_level_dbfs = -0.6; }));
    CHECK(with([](GainCurve& c) { c.curve.steps.pop_back(); }));  // it never clips
    CHECK(with([](GainCurve& c) { c.curve.steps[2].thd_percent = 9; }));
    CHECK_FALSE(with([](GainCurve& c) { c.curve.steps[1].thd_percent = 9; }));  // clean up to 20 alone
    CHECK_FALSE(with([](GainCurve& c) { c.curve.steps[2].input_overload = true; }));
    CHECK_FALSE(with([](GainCurve& c) {
        for (VolumeStep& step : c.curve.steps) step.volume.reset();
    }));
    // each of the take's channels has to be answered, by one take
    std::vector<GainCurve> both = curves;
    both.push_back(curve_of(high, Channel::right, 997, {{20.0, -10}, overloaded(21, 0)}));
    CHECK_FALSE(stands_aside(both));
    both.push_back(curve_of(right, Channel::right, 997, with_thd({0.02, 0.02, 9})));
    CHECK(stands_aside(both));
    for (const auto& change :
         std::vector<void (*)(Conditions&)>{[](Conditions& c) { c.point = Point::source_output; }, [](Conditions& c) { c.at_amplifier = "front"; },
                                            [](Conditions& c) { c.input = SourceInput::usb; }}) {
        const Conditions before = right.conditions;
        change(right.conditions);
        CHECK_FALSE(stands_aside(curves));
        right.conditions = before;
    }
    // of several the first that answers
    Take third = right;
    third.file = "takes/third.flac";
    both = curves;
    both.insert(both.begin() + 1, curve_of(third, Channel::right, 997, with_thd({0.02, 0.02, 0.02, 9})));
    CHECK(stands_aside(both));
}
