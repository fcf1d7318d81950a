#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/sources/engine_view.hpp"

using namespace hushtrace;

namespace {

WhineInTake whine_with(const Take& take, TakeSurvey& survey, WhineOrders orders) {
    survey.take = &take;
    WhineInTake whine;
    whine.survey = &survey;
    whine.family = 0;
    orders.lead_prominence_db = 25;
    whine.orders = orders;
    return whine;
}

}  // namespace

TEST_CASE("orders in the alternator's current tell an open diode, an open phase and an unbalanced one", "[health]") {
    // The model's levels of the output current (one diode open: orders 1, 2, 3, 6, 12 at -3, -10, -20, -26, -46 dB of
    // dc; one phase open: 2, 4, 6, 12 at +2, -14, -19, -33; a phase 10 % weak: 2, 6, 12 at -23, -25, -39), through a
    // resistance and through an inductance (6 dB an octave more for higher orders).
    const auto through = [](std::optional<double> dc_db, double six_db, double order,
                            double slope) -> std::optional<double> {
        if (!dc_db) return std::nullopt;
        return *dc_db - six_db + slope * std::log2(order / 6.0);
    };
    struct Case {
        const char* fault;
        std::optional<double> first, second, third, fourth;
        double six, twelve;
    };
    const Case cases[] = {{"diode_open", -3, -10, -20, -28, -26, -46},
                          {"phase_open", {}, 2, {}, -14, -19, -33},
                          {"phases_unbalanced", {}, -23, {}, -39, -25, -39},
                          {"", {}, {}, {}, {}, -25, -37},
                          {"", {}, {}, -33, {}, -13, -30}};
    Take take;
    take.file = "takes/idle.wav";
    for (const Case& one : cases)
        for (const double slope : {0.0, 3.0, 6.0}) {
            INFO(one.fault << " slope " << slope);
            WhineOrders orders;
            orders.sixth = through(one.first, one.six, 1, slope);
            orders.third = through(one.second, one.six, 2, slope);
            orders.half = through(one.third, one.six, 3, slope);
            orders.two_thirds = through(one.fourth, one.six, 4, slope);
            orders.twice = through(one.twelve, one.six, 12, slope);
            TakeSurvey survey;
            const auto health = alternator_health({whine_with(take, survey, orders)}, 1);
            if (*one.fault == '\0') {
                CHECK(health.empty());
            } else {
                REQUIRE(health.size() == 1);
                CHECK(health[0].fault == one.fault);
                CHECK(health[0].confidence > 0.7);
                CHECK(health[0].confidence < 1.0);
            }
        }
    // two sets of windings: what is left of order 6 lies at half the leader and is no fault
    WhineOrders left_over;
    left_over.half = -12;
    left_over.twice = -8;
    TakeSurvey survey;
    CHECK(alternator_health({whine_with(take, survey, left_over)}, 2).empty());
    CHECK(alternator_health({whine_with(take, survey, left_over)}, std::nullopt).empty());
    CHECK(alternator_health({}, 1).empty());
    // the same orders below a line that no alternator gives at this speed: three times the whine, or another machine's
    WhineOrders low;
    low.third = 25;
    WhineInTake whine = whine_with(take, survey, low);
    REQUIRE(alternator_health({whine}, 1).size() == 1);
    whine.hz_per_rpm = 5.2;
    whine.usual_constant = false;
    CHECK(alternator_health({whine}, 1).empty());
    whine.usual_constant = true;
    CHECK(alternator_health({whine}, 1).size() == 1);
}

TEST_CASE("coupling's slope is read from the twelfth order, and orders are held against the model in the current", "[health]") {
    // an open diode from +4 dB at order 1 on (the model: +11 to +23), an open phase from +7 at order 2 (+12 to +21), an unbalanced one down to -7
    struct Case {
        std::optional<double> first, second, twelfth;
        const char* fault;
    };
    // without the twelfth 3 dB an octave: 7.75 dB at order 1, 4.75 dB at order 2. Else by how far it lies over -20 (beside order 1), over -14
    // (beside order 2), 0 to 6 dB an octave: 2.58 octaves down to order 1, 1.58 to order 2
    const Case cases[] = {
        {-4.0, -20, {}, ""},
        {-3.0, -20, {}, "diode_open"},
        {4.0, -20, -20, ""},
        {4.6, -20, -20, "diode_open"},
        {4.6, -20, -30, "diode_open"},
        {-11.0, -20, -14, "diode_open"},
        {-11.8, -20, -14, ""},
        {-11.8, -20, 0, ""},
        {-3.2, -20, -17, "diode_open"},
        {12.0, {}, -20, ""},   // alone, without its multiples, it is seldom the stator's
        {{}, 7.0, -14, ""},
        {{}, 7.5, -14, "phase_open"},
        {{}, 6.4, -14, "phases_unbalanced"},
        {{}, -6.5, -14, "phases_unbalanced"},
        {{}, -7.1, -14, ""},
        {{}, -2.0, -8, "phase_open"},
        {{}, -16.2, -8, "phases_unbalanced"},
        {{}, -17.0, -8, ""},
        {{}, 3.0, {}, "phase_open"},
        {{}, -11.2, {}, "phases_unbalanced"},
        {-3.0, 9.0, -20, "phase_open"},   // odd orders 12 dB below it in the current are none
        {1.0, 9.0, -20, ""},              // 8 dB below: neither
    };
    Take take;
    take.file = "takes/idle.wav";
    for (const Case& one : cases) {
        WhineOrders orders;
        orders.sixth = one.first;
        orders.third = one.second;
        orders.twice = one.twelfth;
        TakeSurvey survey;
        const auto health = alternator_health({whine_with(take, survey, orders)}, 1);
        CAPTURE(one.first.value_or(-99), one.second.value_or(-99), one.twelfth.value_or(-99), one.fault);
        REQUIRE(health.size() == (*one.fault == '\0' ? 0 : 1));
        if (health.empty()) continue;
        CHECK(health[0].fault == one.fault);
        const double shown = health[0].fault == "diode_open" ? *one.first : *one.second;
        CHECK(health[0].why.find("In takes/idle.wav the line at ") == 0);
        CHECK(health[0].why.find(fmt::format("stands {:+.0f} dB against the whine", shown)) != std::string::npos);
    }
}

TEST_CASE("a fault's confidence is the mean over the takes with a clear whine, the clearest is named", "[health]") {
    Take take, clearest;
    take.file = "takes/a.wav";
    clearest.file = "takes/b.wav";
    std::list<TakeSurvey> surveys(3);
    auto survey = surveys.begin();
    WhineOrders open;
    open.sixth = 18;
    open.third = 10;
    const auto health = [&](std::list<WhineInTake> whines, std::optional<int> sets = 1) { return alternator_health(whines, sets); };
    WhineInTake faulty = whine_with(take, *survey++, open), sound = whine_with(clearest, *survey++, {});
    WhineInTake louder = whine_with(clearest, *survey++, open);
    louder.orders.lead_prominence_db = 26;
    louder.orders.sixth = 21;
    const double alone = health({faulty}).at(0).confidence;
    CHECK(alone > 0.9);
    CHECK(alone <= 0.95);   // no model of a fault is surer
    CHECK(health({faulty, louder, sound}).at(0).confidence == Approx((alone + health({louder}).at(0).confidence) / 3));
    CHECK(health({faulty, sound}).empty());   // in one of two
    WhineOrders odd;   // of its multiples the third will do
    odd.sixth = 18;
    surveys.emplace_back();
    CHECK(health({whine_with(take, surveys.back(), odd)}).empty());
    odd.half = 5;
    CHECK(health({whine_with(take, surveys.back(), odd)}).at(0).fault == "diode_open");
    CHECK(health({louder, faulty}).at(0).why.find("In takes/b.wav the line at the stator's own frequency stands +21 dB") == 0);
    CHECK(health({faulty, louder}).at(0).why.find("In takes/b.wav") == 0);
    // a weak whine can't show that its lower orders are missing, but may show them
    sound.orders.lead_prominence_db = 11.9;
    CHECK(health({faulty, sound}).at(0).confidence == Approx(alone));
    sound.orders.lead_prominence_db = 12.1;
    CHECK(health({faulty, sound}).empty());
    faulty.orders.lead_prominence_db = 5;
    CHECK(health({faulty}).size() == 1);
    faulty.family.reset();   // one that held still was not followed
    CHECK(health({faulty}).empty());
    // on two sets the leader is the twelfth: order 1 lies at a twelfth of it, order 2 at a sixth
    WhineOrders two;
    two.twelfth = 18;
    two.sixth = 10;
    surveys.emplace_back();
    CHECK(health({whine_with(take, surveys.back(), two)}, 2).at(0).fault == "diode_open");
    CHECK(health({whine_with(take, surveys.back(), two)}, 2).at(0).why.find("own frequency stands +18 dB") != std::string::npos);
    CHECK(health({whine_with(take, surveys.back(), two)}, 1).empty());
    two.twelfth.reset();
    CHECK(health({whine_with(take, surveys.back(), two)}, 2).at(0).fault == "phase_open");
}

TEST_CASE("an order's uncertainty is that of the speed it was read by", "[engine]") {
    EngineFindings engine;
    engine.hz_per_rpm = 1.62;
    engine.hz_per_rpm_sd = 0.06;
    EngineInTake in;
    in.take = "takes/idle.wav";
    in.rpm = 760;
    in.rpm_sd = 2;
    in.rpm_from = "log";
    engine.takes = {in};
    NoiseSource whine;
    whine.kind = NoiseKind::alternator_whine;
    whine.frequency_hz = 1.62 * 760;
    whine.levels = {{"takes/idle.wav", Channel::left, -50.0, std::nullopt, 1.0, std::nullopt, LimitedBy::nothing}};
    set_engine_order(whine, engine);
    CHECK(whine.engine_order == Approx(97.2));
    CHECK(*whine.engine_order_sd == Approx(97.2 * 2 / 760).epsilon(0.03));
    engine.takes[0].rpm_from = "typed";
    set_engine_order(whine, engine);
    CHECK(*whine.engine_order_sd == Approx(60 * 0.06).epsilon(0.03));
    engine.takes.clear();
    set_engine_order(whine, engine);
    CHECK_FALSE(whine.engine_order);
}

TEST_CASE("pulleys that are proposed give the constant; a told alternator that doesn't is said", "[engine]") {
    EngineFindings findings;
    findings.hz_per_rpm = 1.62;
    findings.hz_per_rpm_sd = 0.01;
    fit_pulleys(findings, {6.0, 2.7, std::nullopt});
    REQUIRE_FALSE(findings.fits.empty());
    for (const PulleyFit& fit : findings.fits) CHECK(fit.pole_pairs * fit.pulley_ratio / 10 == Approx(1.62));
    CHECK(findings.fits_text.find("agrees") != std::string::npos);
    findings.fits.clear();
    fit_pulleys(findings, {8.0, 2.7, std::nullopt});
    CHECK(findings.fits.front().pole_pairs == 8);
    CHECK(findings.fits_text.find("one of the two is wrong") != std::string::npos);
    EngineFindings odd;
    odd.hz_per_rpm = 0.82;
    odd.hz_per_rpm_sd = 0.005;
    fit_pulleys(odd, {});
    CHECK(odd.fits.empty());
    CHECK(odd.fits_text.find("No alternator") != std::string::npos);
}

TEST_CASE("an order rests on the speed of its loudest take, and on nothing where that isn't known", "[engine]") {
    EngineFindings engine;
    engine.hz_per_rpm = 1.62;
    engine.hz_per_rpm_sd = 0.0162;
    for (const auto& [take, rpm] : {std::pair{"a", 800.0}, {"b", 1000.0}}) {
        EngineInTake in;
        in.take = take;
        in.rpm = rpm;
        in.rpm_sd = 0.002 * rpm;
        in.rpm_from = "typed";
        engine.takes.push_back(in);
    }
    NoiseSource source;
    source.kind = NoiseKind::ignition_tick;
    source.frequency_hz = 33;
    source.levels = {{"a", Channel::left, -60.0, std::nullopt, 1.0, std::nullopt, LimitedBy::nothing},
                     {"b", Channel::left, -50.0, std::nullopt, 1.0, std::nullopt, LimitedBy::nothing}};
    set_engine_order(source, engine);
    CHECK(*source.engine_order == Approx(1.98));
    CHECK(*source.engine_order_sd == Approx(1.98 * std::hypot(0.002, 0.0005)));   // of a tick the typed speed's own
    source.kind = NoiseKind::alternator_whine;
    set_engine_order(source, engine);
    CHECK(*source.engine_order_sd == Approx(1.98 * std::hypot(0.01, 0.0005)));    // the whine gave that speed itself
    for (const char* from : {"log", "firing"}) {
        engine.takes[1].rpm_from = from;
        set_engine_order(source, engine);
        CHECK(*source.engine_order_sd == Approx(1.98 * std::hypot(0.002, 0.0005)));
    }
    engine.takes[1].rpm_from = "whine";
    engine.hz_per_rpm.reset();
    set_engine_order(source, engine);
    CHECK(*source.engine_order_sd == Approx(1.98 * std::hypot(0.002, 0.0005)));
    engine.takes[1].rpm.reset();
    set_engine_order(source, engine);
    CHECK_FALSE(source.engine_order);
    CHECK_FALSE(source.engine_order_sd);
    NoiseSource kept;
    kept.engine_order = 2;   // without a level or a frequency there is nothing to say
    kept.frequency_hz = 33;
    set_engine_order(kept, engine);
    CHECK(kept.engine_order == 2.0);
    kept.levels = source.levels;
    kept.frequency_hz.reset();
    set_engine_order(kept, engine);
    CHECK(kept.engine_order == 2.0);
}

TEST_CASE("pulleys that would give the constant are listed, four at most, and held against what was told", "[engine]") {
    const auto fitted = [](double hz_per_rpm, double sd, std::optional<int> sets, std::optional<double> pairs, std::optional<double> ratio) {
        EngineFindings findings;
        findings.hz_per_rpm = hz_per_rpm;
        findings.hz_per_rpm_sd = sd;
        findings.sets = sets;
        AlternatorData told;
        told.pole_pairs = pairs;
        told.pulley_ratio = ratio;
        fit_pulleys(findings, told);
        return findings;
    };
    const auto says = [](const EngineFindings& findings, const char* words) { return findings.fits_text.find(words) != std::string::npos; };
    // 1.62 of p r / 10: 5, 6, 7, 8 and 9 pairs at 3.24, 2.7, 2.31, 2.03 and 1.8; of two sets p r / 5
    const EngineFindings one = fitted(1.62, 0.005, 1, {}, {});
    CHECK(one.fits.size() == 5);
    CHECK(says(one, "6 pole pairs with a pulley ratio of 2.70, "));
    CHECK_FALSE(says(one, "two sets"));
    CHECK_FALSE(says(one, "9 pole pairs"));
    CHECK(one.fits_text.back() == '.');
    CHECK(one.fits_text.find("That would be ") == 0);
    const EngineFindings two = fitted(3.24, 0.005, 2, {}, {});
    CHECK(says(two, "6 pole pairs with a pulley ratio of 2.70"));
    CHECK(says(two, "(two sets of windings)."));
    CHECK(fitted(1.62, 0.005, {}, {}, {}).fits_text == one.fits_text);   // one set, where it can't be told
    for (const PulleyFit& fit : two.fits) CHECK(fit.pole_pairs * fit.pulley_ratio / 5 == Approx(3.24));
    CHECK(fitted(1.62, 0.005, 1, 8, {}).fits.front().pole_pairs == 8);
    CHECK(fitted(1.62, 0.005, 1, 8, {}).fits.size() == 5);
    CHECK_FALSE(says(fitted(1.62, 0.005, 1, 8, {}), "as told"));
    EngineFindings none;
    fit_pulleys(none, {});
    CHECK(none.fits.empty());
    CHECK(none.fits_text.empty());
    // told as 1.62: within 2 % and twice the constant's own uncertainty
    const char *agrees = " It agrees with the alternator as told.", *twice = " It is twice what the alternator as told gives: two sets of windings.";
    CHECK(says(fitted(1.62 * 1.029, 1.62 * 0.005, 1, 6, 2.7), agrees));
    CHECK_FALSE(says(fitted(1.62 * 1.031, 1.62 * 0.005, 1, 6, 2.7), agrees));
    CHECK(says(fitted(1.62 * 0.971, 1.62 * 0.005, 1, 6, 2.7), agrees));
    CHECK(says(fitted(3.24 * 1.029, 3.24 * 0.005, 2, 6, 2.7), twice));
    CHECK(says(fitted(3.24 * 0.971, 3.24 * 0.005, 2, 6, 2.7), twice));
    const EngineFindings neither = fitted(3.24 * 1.031, 3.24 * 0.005, 2, 6, 2.7);
    CHECK_FALSE(says(neither, twice));
    CHECK(says(neither, "The alternator as told (6 pole pairs, ratio 2.7) would give 1.620 Hz per rpm: one of the two is wrong."));
}
