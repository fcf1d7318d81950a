#include <catch2/catch.hpp>
#include <limits>

#include "clipped_tone.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/error.hpp"
#include "reference/table.hpp"

using namespace hushtrace;
using namespace clipped_tone;

namespace {

ToneClipping read(const Setup& s) {
    return read_tone_clipping(render(s), s.rate);
}
double db(double ratio) {
    return 20.0 * std::log10(ratio);
}
double rail_for(double amplitude, double drive_db) {
    return amplitude * std::pow(10.0, -drive_db / 20.0);
}

/// Sine amplitude that a law bends to 1 % THD, by its harmonics on a dense period.
double amplitude_at_one_percent(const Law& law) {
    double low = 1e-3, high = 10;
    while (high / low > 1 + 1e-6) {
        const double a = std::sqrt(low * high);
        Setup s;
        s.law = law;
        s.amplitude = a;
        const std::vector<double> wave = period(s, 4096);
        std::vector<double> power;
        for (std::size_t k = 1; k < 30; ++k) {
            std::complex<double> c = 0;
            for (std::size_t n = 0; n < wave.size(); ++n)
                c += wave[n] * std::polar(1.0, -2 * kPi * static_cast<double>(k * n % 4096) / 4096);
            power.push_back(std::norm(c));
        }
        double sum = 0;
        for (std::size_t k = 1; k < power.size(); ++k) sum += power[k];
        (std::sqrt(sum / power[0]) > 0.01 ? high : low) = a;
    }
    return low;
}

ErrorKind refusal(const std::vector<double>& samples, double rate) {
    try {
        read_tone_clipping(samples, rate);
    } catch (const Error& error) {
        return error.kind();
    }
    FAIL("no refusal");
    return ErrorKind::device_failed;
}

}  // namespace

TEST_CASE("a tone clipped by a known drive reads that drive and its rail", "[clipping]") {
    // Fourier series of tests/reference/clipped_sine.csv: the fundamental there is what stands in the capture. 1 % THD is
    // 0.25 dB past the onset, 10 % is 2.17 dB.
    for (const auto& row : reference::table("clipped_sine.csv")) {
        if (row.text("drive_over_ceiling_db") == "inf" || row.number("drive_over_ceiling_db") > 21) continue;
        const double drive = row.number("drive_over_ceiling_db");
        CAPTURE(drive);
        Setup s;
        s.law = hard(rail_for(s.amplitude, drive));
        const ToneClipping clip = read(s);
        CHECK(clip.kind == ClippingKind::hard);
        CHECK(clip.sides == ClippedSides::both);
        REQUIRE(clip.drive_db);
        CHECK(clip.drive_db->value == Approx(drive).margin(0.002 + 0.002 * drive));
        CHECK(clip.knee_dbfs->value == Approx(db(s.amplitude) - drive).margin(0.003));
        CHECK(clip.tone.amplitude ==
              Approx(row.number("fundamental_peak_re_ceiling") * rail_for(s.amplitude, drive)).epsilon(1e-4));
        CHECK(100 * clip.clipped_share == Approx(100 - row.number("unclipped_time_percent")).margin(0.3));
    }
}

TEST_CASE("one-sided clipping names its side", "[clipping]") {
    for (const auto& row : reference::table("clipped_sine_onesided.csv")) {
        if (row.text("drive_over_ceiling_db") == "inf" || row.number("drive_over_ceiling_db") > 21) continue;
        const double drive = row.number("drive_over_ceiling_db"), rail = rail_for(0.5, drive);
        CAPTURE(drive);
        Setup s;
        s.coupling_hz = 5;
        for (const bool upper : {true, false}) {
            s.law = upper ? hard(rail, 10) : hard(10, rail);
            const ToneClipping clip = read(s);
            CHECK(clip.kind == ClippingKind::hard);
            CHECK(clip.sides == (upper ? ClippedSides::upper : ClippedSides::lower));
            REQUIRE(clip.drive_db);
            CHECK(clip.drive_db->value == Approx(drive).margin(0.005));
            CHECK(clip.knee_dbfs->value == Approx(db(rail)).margin(0.005));
        }
    }
}

TEST_CASE("behind an analogue path the flat top isn't flat, and reads the same", "[clipping]") {
    for (const double tone_hz : {40.0, 200.0, 997.0, 2500.0})
        for (const double drive : {0.25, 2.2, 9.0}) {
            Setup s;
            s.tone_hz = tone_hz;
            s.law = hard(rail_for(s.amplitude, drive));
            s.gain = 0.31;
            s.coupling_hz = 8;
            s.low_pass_hz = 45000;
            s.noise_rms = 1e-4;
            CAPTURE(tone_hz, drive);
            const ToneClipping clip = read(s);
            CHECK(clip.kind == ClippingKind::hard);
            CHECK(clip.sides == ClippedSides::both);
            REQUIRE(clip.knee_dbfs);
            CHECK(clip.knee_dbfs->value == Approx(db(0.31 * rail_for(s.amplitude, drive))).margin(0.03));
            CHECK(clip.drive_db->value == Approx(drive).margin(0.03));
        }
}

TEST_CASE("rails of unequal height both read", "[clipping]") {
    Setup s;
    s.coupling_hz = 5;
    s.noise_rms = 3e-5;
    s.law = hard(0.40, 0.36);
    const ToneClipping clip = read(s);
    CHECK(clip.kind == ClippingKind::hard);
    CHECK(clip.sides == ClippedSides::unequal);
    REQUIRE(clip.knee_dbfs);
    REQUIRE(clip.other_knee_dbfs);
    CHECK(clip.knee_dbfs->value == Approx(db(0.36)).margin(0.01));
    CHECK(clip.other_knee_dbfs->value == Approx(db(0.40)).margin(0.01));
    CHECK(clip.drive_db->value == Approx(db(0.5 / 0.36)).margin(0.01));
}

TEST_CASE("a soft stage is called soft, and starts where it bends a tone to 1 % THD", "[clipping]") {
    for (const double drive : {0.0, 4.0}) {
        Setup s;
        s.noise_rms = 3e-5;
        s.coupling_hz = 4;
        s.law = soft(rail_for(s.amplitude, drive));
        CAPTURE(drive);
        const ToneClipping clip = read(s);
        CHECK(clip.kind == ClippingKind::soft);
        CHECK(clip.sides == ClippedSides::both);
        REQUIRE(clip.knee_dbfs);
        CHECK(clip.knee_dbfs->value == Approx(db(amplitude_at_one_percent(s.law))).margin(0.5));
        CHECK(std::abs(clip.knee_dbfs->value - db(amplitude_at_one_percent(s.law))) < 5 * clip.knee_dbfs->sd);
    }
    Setup sharp;
    sharp.law = rounded(0.4, 0.03);
    const ToneClipping clip = read(sharp);
    CHECK(clip.kind == ClippingKind::hard);
    CHECK(clip.knee_dbfs->value == Approx(db(0.4)).margin(0.02));
}

TEST_CASE("slew limiting shows one slope whatever the tone", "[clipping]") {
    // A stage that can't rise faster than S follows a sine of amplitude S / (2 pi f) and no larger: the distortion grows
    // with frequency times level, and the slope stays. A full triangle's harmonics fall as 1/k^2.
    const double slope = 1500;
    for (const auto& [tone_hz, amplitude] : std::vector<std::pair<double, double>>{
             {997, 0.3}, {997, 0.6}, {2000, 0.15}, {2000, 0.5}, {2800, 0.12}}) {
        Setup s;
        s.tone_hz = tone_hz;
        s.amplitude = amplitude;
        s.slew_per_s = slope;
        s.noise_rms = 3e-5;
        s.coupling_hz = 3;
        CAPTURE(tone_hz, amplitude);
        const ToneClipping clip = read(s);
        CHECK(clip.kind == ClippingKind::slew);
        REQUIRE(clip.slew_per_s);
        CHECK(clip.slew_per_s->value == Approx(slope).epsilon(0.01));
        CHECK(clip.knee_dbfs->value == Approx(db(slope / (2 * kPi * tone_hz))).margin(0.1));
    }
}

TEST_CASE("a tone that nothing bends but slightly isn't clipped", "[clipping]") {
    Setup s;
    s.noise_rms = 1e-4;
    for (const double bend : {0.0, 0.001, 0.004}) {
        s.law = [bend](double x) { return x + bend * x * x - bend * x * x * x; };
        CAPTURE(bend);
        const ToneClipping clip = read(s);
        CHECK(clip.kind == ClippingKind::none);
        CHECK_FALSE(clip.knee_dbfs);
    }
    s.law = hard(0.5001);
    CHECK(read(s).kind == ClippingKind::none);
}

TEST_CASE("crossover distortion is no clipping", "[clipping]") {
    Setup s;
    s.noise_rms = 3e-5;
    s.law = [](double x) { return std::copysign(std::max(0.0, std::abs(x) - 0.03), x); };
    const ToneClipping clip = read(s);
    CHECK(clip.kind == ClippingKind::other);
    CHECK_FALSE(clip.clips());
    CHECK_FALSE(clip.knee_dbfs);
}

TEST_CASE("the interface's own end is told from the source's", "[clipping]") {
    Setup s;
    s.amplitude = 1.6;
    s.noise_rms = 1e-4;
    std::vector<double> samples = render(s);
    for (double& x : samples) x = std::clamp(x, -1.0, 1.0 - 1.0 / 8388608);
    CHECK(read_tone_clipping(samples, s.rate).kind == ClippingKind::input_overload);
    s.law = hard(0.97);
    CHECK(read(s).kind == ClippingKind::hard);
}

TEST_CASE("a limiter is where the level stops rising and the tone stays clean", "[clipping]") {
    std::vector<LevelStep> steps;
    for (int i = 0; i < 6; ++i) steps.push_back({-20.0 + 1.5 * i, true});
    CHECK_FALSE(limiter_from(steps));
    for (int i = 1; i < 4; ++i) steps.push_back({-12.5 + 0.15 * i, true});
    CHECK(limiter_from(steps) == 6U);
    for (std::size_t i = 6; i < steps.size(); ++i) steps[i].clean = false;  // clipping stops the level as well
    CHECK_FALSE(limiter_from(steps));
    CHECK_FALSE(limiter_from(std::vector<LevelStep>{}));
}

TEST_CASE("what holds no tone to judge is refused with a reason", "[clipping]") {
    const double rate = 48000;
    Setup s;
    s.law = hard(0.4);
    s.seconds = 0.005;
    CHECK(refusal(render(s), rate) == ErrorKind::too_short);
    CHECK(refusal({}, rate) == ErrorKind::empty_input);
    CHECK(refusal(std::vector<double>(48000, 0.0), rate) == ErrorKind::invalid_input);
    CHECK(refusal(std::vector<double>(48000, 0.7), rate) == ErrorKind::invalid_input);
    s.seconds = 1;
    s.tone_hz = 5000;
    CHECK(refusal(render(s), rate) == ErrorKind::invalid_request);
    s.tone_hz = 997;
    std::vector<double> broken = render(s);
    broken[7000] = std::numeric_limits<double>::quiet_NaN();
    CHECK(refusal(broken, rate) == ErrorKind::not_finite);
    std::vector<double> square(48000);
    for (std::size_t n = 0; n < square.size(); ++n) square[n] = n / 24 % 2 == 0 ? 1.0 : -1.0;
    CHECK(read_tone_clipping(square, rate).kind == ClippingKind::input_overload);
}

TEST_CASE("clipping reads alike from 8 to 384 kHz", "[clipping]") {
    for (const double rate : {8000.0, 11025.0, 44100.0, 96000.0, 192000.0, 384000.0}) {
        Setup s;
        s.rate = rate;
        s.tone_hz = 331;
        s.law = hard(0.4);
        s.seconds = 0.4;
        s.noise_rms = 3e-5;
        CAPTURE(rate);
        const ToneClipping clip = read(s);
        CHECK(clip.kind == ClippingKind::hard);
        REQUIRE(clip.knee_dbfs);
        CHECK(clip.knee_dbfs->value == Approx(db(0.4)).margin(0.01));
    }
}

TEST_CASE("knee and drive lie within two standard uncertainties in nineteen of twenty takes", "[clipping]") {
    std::mt19937_64 engine(20260131);
    const auto between = [&](double low, double high) { return std::uniform_real_distribution<double>(low, high)(engine); };
    int knees = 0, drives = 0;
    const int takes = 200;
    for (int i = 0; i < takes; ++i) {
        Setup s;
        s.rate = i % 2 ? 48000 : 44100;
        s.tone_hz = std::exp(between(std::log(60), std::log(2600)));
        s.amplitude = between(0.2, 0.9);
        s.phase = between(-3, 3);
        s.seconds = std::max(0.2, 14.0 / s.tone_hz);
        const double drive = std::exp(between(std::log(0.15), std::log(10)));
        const double rail = rail_for(s.amplitude, drive);
        s.law = i % 4 == 3 ? hard(rail, 3) : hard(rail);
        s.gain = between(0.3, 1.0);
        s.coupling_hz = between(0.5, 15);
        s.low_pass_hz = between(35000, 90000);
        s.noise_rms = s.gain * std::pow(10, between(-90, -50) / 20);
        s.seed = static_cast<unsigned>(i + 1);
        const ToneClipping clip = read(s);
        if (!clip.knee_dbfs) continue;  // counts as missed
        const double knee = db(s.gain * rail);
        knees += knee >= clip.knee_dbfs->low() && knee <= clip.knee_dbfs->high();
        drives += drive >= clip.drive_db->low() && drive <= clip.drive_db->high();
    }
    CAPTURE(knees, drives);
    CHECK(knees >= 0.90 * takes);
    CHECK(knees <= 0.99 * takes);
    CHECK(drives >= 0.90 * takes);
}
