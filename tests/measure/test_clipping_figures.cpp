// What clips a tone, on short takes: each figure, and the words.
#include <catch2/catch.hpp>
#include <cmath>

#include "clipped_tone.hpp"
#include "hushtrace/measure/clipping.hpp"

using namespace hushtrace;
using namespace clipped_tone;

namespace {

ToneClipping read(const Setup& s) { return read_tone_clipping(render(s), s.rate); }
double db(double ratio) { return 20.0 * std::log10(ratio); }

}  // namespace

TEST_CASE("a clipped tone's figures are those of its clipper", "[clipping]") {
    // of a sine of amplitude A over a rail R the share beyond it is 1 - 2 asin(R / A) / pi of the time, on one side half of that
    Setup s;
    s.rate = 16000;
    s.tone_hz = 401;
    s.seconds = 0.2;
    for (const bool one_sided : {false, true}) {
        const double rail = 0.4;
        s.law = one_sided ? hard(rail, 10) : hard(rail);
        const ToneClipping c = read(s);
        CAPTURE(one_sided);
        CHECK(c.kind == ClippingKind::hard);
        CHECK(c.clips());
        CHECK(c.sides == (one_sided ? ClippedSides::upper : ClippedSides::both));
        REQUIRE(c.knee_dbfs);
        REQUIRE(c.drive_db);
        CHECK(c.knee_dbfs->value == Approx(db(rail)).margin(0.05));
        CHECK(c.drive_db->value == Approx(db(0.5 / rail)).margin(0.05));
        CHECK(c.knee_dbfs->sd > 0);
        CHECK(c.knee_dbfs->sd < 0.05);
        CHECK(c.drive_db->sd > 0);
        CHECK(c.clipped_share == Approx((1 - 2 * std::asin(rail / 0.5) / kPi) / (one_sided ? 2 : 1)).margin(0.01));
        CHECK(c.edge_width < 0.03);
        CHECK(c.unexplained_share < 0.02);
        CHECK(c.pinned_share == 0.0);
        CHECK_FALSE(c.slew_per_s);
        CHECK_FALSE(c.other_knee_dbfs);
        CHECK(c.tone.frequency_hz == Approx(401).margin(0.01));
    }
    s.law = [](double x) { return x; };
    const ToneClipping clean = read(s);
    CHECK(clean.kind == ClippingKind::none);
    CHECK_FALSE(clean.clips());
    CHECK(clean.sides == ClippedSides::none);
    CHECK_FALSE(clean.knee_dbfs);
    CHECK_FALSE(clean.drive_db);
    CHECK(clean.clipped_share == 0.0);
    // a limit of the slope: 2 pi f A less 2 dB
    s.slew_per_s = 2 * kPi * 401 * 0.5 * std::pow(10, -2.0 / 20);
    const ToneClipping slew = read(s);
    CHECK(slew.kind == ClippingKind::slew);
    REQUIRE(slew.slew_per_s);
    CHECK(slew.slew_per_s->value == Approx(s.slew_per_s).epsilon(0.02));
    CHECK(slew.slew_per_s->sd > 0);
    CHECK(slew.knee_dbfs->value == Approx(db(0.5) - 2).margin(0.15));
    CHECK(slew.drive_db->value == Approx(2).margin(0.15));
    CHECK(slew.sides == ClippedSides::none);
}

TEST_CASE("clipping has words", "[clipping]") {
    CHECK(to_word(ClippingKind::none) == "none");
    CHECK(to_word(ClippingKind::hard) == "hard");
    CHECK(to_word(ClippingKind::soft) == "soft");
    CHECK(to_word(ClippingKind::slew) == "slew");
    CHECK(to_word(ClippingKind::input_overload) == "input_overload");
    CHECK(to_word(ClippingKind::other) == "other");
    CHECK(to_word(ClippedSides::none) == "none");
    CHECK(to_word(ClippedSides::both) == "both");
    CHECK(to_word(ClippedSides::unequal) == "unequal");
    CHECK(to_word(ClippedSides::upper) == "upper");
    CHECK(to_word(ClippedSides::lower) == "lower");
}

TEST_CASE("samples at the converter's end count where they stand next to another one", "[clipping]") {
    const std::vector<double> x = {0.1, 0.9996, 0.9996, 0.99961, 0.1, -1.0, -1.0, 0.9996, 0.9994, 0.9994};
    CHECK(share_pinned_to_rail(x) == Approx(0.3));   // two of the first three, one of the two below
    CHECK(share_pinned_to_rail(std::vector<double>{1.0, 1.0}) == 0.5);
    CHECK(share_pinned_to_rail(std::vector<double>{1.0, 0.99995}) == 0.0);   // more than a 16-bit step apart
    CHECK(share_pinned_to_rail({}) == 0.0);
}

TEST_CASE("a limiter is told by a rise under a quarter of the usual one, from the third step on", "[clipping]") {
    const auto from = [](std::initializer_list<double> rises) {
        std::vector<LevelStep> steps = {{-30.0, true}};
        for (const double rise : rises) steps.push_back({steps.back().level_dbfs + rise, true});
        return limiter_from(steps);
    };
    CHECK(from({2, 2, 0.49}) == 3U);
    CHECK_FALSE(from({2, 2, 0.51}));
    CHECK_FALSE(from({2, 0.1}));          // one rise says nothing of what is usual
    CHECK(from({2, 2, 2, -0.5}) == 4U);
    CHECK_FALSE(from({0.29, 0.29, 0.01}));
    CHECK(from({0.31, 0.31, 0.01}) == 3U);
    CHECK(from({0.1, 2, 3, 0.4}) == 4U);  // the median of the three
    CHECK_FALSE(from({0.1, 0.1, 0.2, 2, 3}));
}

TEST_CASE("soft and unequal rails are told apart on short takes", "[clipping]") {
    Setup s;
    s.rate = 16000;
    s.tone_hz = 401;
    s.seconds = 0.2;
    s.noise_rms = 1e-5;
    // amplitude at which tanh bends a sine to 1 % THD, by its first odd harmonics over 64 points
    double low = 0.1, high = 1.0;
    while (high - low > 1e-6) {
        const double a = 0.5 * (low + high);
        double odd[3] = {};
        for (int n = 0; n < 64; ++n)
            for (int k = 0; k < 3; ++k) odd[k] += std::tanh(a * std::sin(2 * kPi * n / 64)) * std::sin(2 * kPi * n * (2 * k + 1) / 64);
        (std::hypot(odd[1], odd[2]) > 0.01 * std::abs(odd[0]) ? high : low) = a;
    }
    s.law = soft(0.6);
    const ToneClipping bent = read(s);
    CHECK(bent.kind == ClippingKind::soft);
    CHECK(bent.sides == ClippedSides::both);
    CHECK(bent.edge_width == Approx(0.4).margin(0.1));   // Rapp's law close to a tanh
    REQUIRE(bent.knee_dbfs);
    CHECK(bent.knee_dbfs->value == Approx(db(0.6 * low)).margin(0.5));
    CHECK(bent.drive_db->value == Approx(db(0.5 / (0.6 * low))).margin(0.5));
    CHECK(bent.knee_dbfs->sd > 0);
    CHECK(bent.drive_db->sd > 0);
    CHECK_FALSE(bent.other_knee_dbfs);
    CHECK(bent.clipped_share == Approx(1 - 2 * std::asin(0.6 * low / 0.5) / kPi).margin(0.08));
    for (const double rail : {0.5 / (0.8 * low), 2.0}) {   // below 1 % it is no clipping
        s.law = soft(rail);
        const ToneClipping gentle = read(s);
        CAPTURE(rail);
        CHECK(gentle.kind == ClippingKind::none);
        CHECK(gentle.sides == ClippedSides::none);
        CHECK_FALSE(gentle.knee_dbfs);
        CHECK_FALSE(gentle.drive_db);
        CHECK(gentle.clipped_share == 0.0);
    }
    s.law = hard(0.44, 0.36);
    const ToneClipping unequal = read(s);
    CHECK(unequal.kind == ClippingKind::hard);
    CHECK(unequal.sides == ClippedSides::unequal);
    REQUIRE(unequal.knee_dbfs);
    REQUIRE(unequal.other_knee_dbfs);
    CHECK(unequal.knee_dbfs->value == Approx(db(0.36)).margin(0.02));
    CHECK(unequal.other_knee_dbfs->value == Approx(db(0.44)).margin(0.02));
    CHECK(unequal.other_knee_dbfs->sd > 0);
    CHECK(unequal.drive_db->value == Approx(db(0.5 / 0.36)).margin(0.02));
    CHECK(unequal.clipped_share == Approx(1 - (std::asin(0.36 / 0.5) + std::asin(0.44 / 0.5)) / kPi).margin(0.01));
}
