// Harmonics of clipped waves against integrals over the wave itself, and the model's fit to harmonics that are known exactly.
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>

#include "../../src/measure/clip_model.hpp"
#include "../../src/measure/clip_wave.hpp"

using namespace hushtrace;
using std::numbers::pi;
using Place = ClipModel::Place;

namespace {

double ratio(double db) { return std::pow(10.0, db / 20); }
ClipModel model(ClipShape shape, double drive_db = 0, double edge = 0, double other_db = 0) {
    ClipModel m;
    m.shape = shape;
    m.value[Place::drive_db] = drive_db;
    m.value[Place::other_drive_db] = other_db;
    m.value[Place::edge] = edge;
    return m;
}
/// Harmonics 1 to 9 of what a stage makes of a cosine: 1/pi times the integral over a period of it times cos kx.
std::vector<double> harmonics_through(const std::function<double(double)>& stage) {
    constexpr int points = 8000;
    std::vector<double> out(9, 0.0);
    for (int i = 0; i < points; ++i) {
        const double x = 2 * pi * (i + 0.5) / points, wave = stage(std::cos(x));
        for (std::size_t k = 1; k <= out.size(); ++k) out[k - 1] += 2 * wave * std::cos(static_cast<double>(k) * x) / points;
    }
    return out;
}
/// Rapp 1991: a rail of height 1 with a corner rounded by 1/p.
double rapp(double x, double edge) { return x / std::pow(1 + std::pow(std::abs(x), 1 / edge), edge); }
ToneHarmonics heard_of(const ClipModel& m, double tone_hz = 1000, std::size_t count = 19, double sd = 1e-6) {
    return {tone_hz, m.harmonics(tone_hz, count), std::vector<double>(count, sd)};
}
double thd(const ClipModel& m) {
    const auto h = m.harmonics(1000, 12);
    double sum = 0;
    for (std::size_t k = 1; k < h.size(); ++k) sum += std::norm(h[k]);
    return std::sqrt(sum / std::norm(h[0]));
}

}  // namespace

TEST_CASE("a clipped wave's harmonics are those of its integral, whatever the rails", "[clip_model]") {
    struct Row {
        ClipModel model;
        std::function<double(double)> stage;   // of a cosine, in units of the first rail
    };
    const double up = ratio(6), down = ratio(2);
    const auto cut = [](double x, double low, double high) { return std::clamp(x, low, high); };
    const Row rows[] = {
        {model(ClipShape::equal_rails, 6), [=](double u) { return cut(up * u, -1, 1); }},
        {model(ClipShape::upper_rail, 6), [=](double u) { return cut(up * u, -1e9, 1); }},
        {model(ClipShape::lower_rail, 6), [=](double u) { return cut(up * u, -1, 1e9); }},
        {model(ClipShape::unequal_rails, 6, 0, 2), [=](double u) { return cut(up * u, -up / down, 1); }},   // 4 dB higher
        {model(ClipShape::equal_rails, -3), [=](double u) { return ratio(-3) * u; }},
        {model(ClipShape::equal_rails, 6, 0.35), [=](double u) { return rapp(up * u, 0.35); }},
        {model(ClipShape::equal_rails, 6, 0.02), [=](double u) { return rapp(up * u, 0.02); }},
        {model(ClipShape::upper_rail, 6, 0.35), [=](double u) { return u > 0 ? rapp(up * u, 0.35) : up * u; }},
        {model(ClipShape::unequal_rails, 6, 0.35, 2),
         [=](double u) { return u > 0 ? rapp(up * u, 0.35) : up / down * rapp(down * u, 0.35); }},
    };
    for (std::size_t i = 0; i < std::size(rows); ++i) {
        CAPTURE(i);
        const auto out = rows[i].model.harmonics(1000, 9);
        const auto expected = harmonics_through(rows[i].stage);
        REQUIRE(out.size() == 9);
        for (std::size_t k = 0; k < 9; ++k) {
            CAPTURE(k);
            CHECK(out[k].real() == Approx(expected[k]).margin(2e-5));
            CHECK(out[k].imag() == Approx(0.0).margin(1e-12));
        }
    }
}

TEST_CASE("a bend makes second and third harmonics, the path scales and turns each in a known way", "[clip_model]") {
    // u + b2 u^2 + b3 u^3 of a cosine: 1 + 3 b3 / 4, b2 / 2, b3 / 4
    ClipModel m = model(ClipShape::straight);
    m.value[Place::bend_2] = 0.02;
    m.value[Place::bend_3] = -0.03;
    auto out = m.harmonics(1000, 5);
    CHECK(out[0].real() == Approx(1 - 0.0225));
    CHECK(out[1].real() == Approx(0.01));
    CHECK(out[2].real() == Approx(-0.0075));
    CHECK(std::abs(out[3]) < 1e-12);
    // before the rail: what the bend makes of the wave meets it
    ClipModel railed = model(ClipShape::equal_rails, 3);
    railed.value[Place::bend_2] = 0.1;
    railed.value[Place::bend_3] = 0.05;
    const auto stage = [](double u) { return std::clamp(ratio(3) * u * (1 + 0.1 * u + 0.05 * u * u), -1.0, 1.0); };
    const auto expected = harmonics_through(stage);
    for (std::size_t k = 0; k < 6; ++k) CHECK(railed.harmonics(1000, 6)[k].real() == Approx(expected[k]).margin(2e-5));
    // a high-pass of 100 Hz and a low-pass of 5 kHz, both of first order; a crest turned by 0.3 rad; half as high
    m.value[Place::coupling_hz] = 100;
    m.value[Place::lag] = 0.2;
    m.value[Place::phase] = 0.3;
    m.value[Place::scale_ln] = std::log(0.5);
    const auto turned = m.harmonics(1000, 5);
    for (std::size_t i = 0; i < 3; ++i) {
        const double k = static_cast<double>(i + 1);
        const std::complex<double> s(0, k * 1000);
        const auto heard = 0.5 * out[i] * (s / (s + 100.0)) * (5000.0 / (5000.0 + s)) * std::polar(1.0, 0.3 * k);
        CHECK(turned[i].real() == Approx(heard.real()).margin(1e-12));
        CHECK(turned[i].imag() == Approx(heard.imag()).margin(1e-12));
    }
    // scaled by the rail's height: the amplitude is the drive above it
    ClipModel high = model(ClipShape::equal_rails, -6);
    high.value[Place::scale_ln] = std::log(0.3);
    CHECK(high.harmonics(1000, 1)[0].real() == Approx(0.3 * ratio(-6)));
    CHECK(high.amplitude_db() == Approx(20 * std::log10(0.3) - 6));
    CHECK(m.amplitude_db() == Approx(20 * std::log10(0.5)));
}

TEST_CASE("a stage that is too slow turns a cosine into a triangle", "[clip_model]") {
    // far too slow: a triangle of slope 1 a radian, pi / 2 high, its harmonics 4 / (pi k^2), a quarter turn late
    const auto far = model(ClipShape::slope, 40).harmonics(1000, 5);
    CHECK(std::abs(far[0]) == Approx(4 / pi).epsilon(0.001));
    CHECK(std::abs(far[2]) == Approx(4 / (9 * pi)).epsilon(0.003));
    CHECK(std::abs(far[1]) < 1e-3);
    CHECK(std::arg(far[0]) == Approx(-pi / 2).margin(0.03));
    CHECK(model(ClipShape::slope, 40).clipped_share() == Approx(1.0).margin(0.02));
    const auto just = model(ClipShape::slope, 0).harmonics(1000, 3);
    CHECK(std::abs(just[0]) == Approx(1.0).epsilon(1e-3));
    CHECK(std::abs(just[2]) < 1e-3);
    CHECK(model(ClipShape::slope, 0).clipped_share() < 0.002);
    // it follows until the cosine is steeper than m, then falls by m until it meets the cosine again
    for (const double drive_db : {1.0, 3.0}) {
        const double m = ratio(-drive_db), from = std::asin(m);
        double low = pi / 2, high = 2 * pi;
        while (high - low > 1e-9) {
            const double x = 0.5 * (low + high);
            (std::cos(from) - m * (x - from) > std::cos(x) ? low : high) = x;
        }
        CHECK(model(ClipShape::slope, drive_db).clipped_share() == Approx((low - from) / pi).margin(0.003));
    }
}

TEST_CASE("the share of time beyond a rail, and the amplitude at 1 % THD", "[clip_model]") {
    const auto beyond = [](double drive_db) { return std::acos(ratio(-drive_db)) / pi; };   // of one rail
    CHECK(model(ClipShape::straight, 6).clipped_share() == 0);
    CHECK(model(ClipShape::equal_rails, 6).clipped_share() == Approx(2 * beyond(6)));
    CHECK(model(ClipShape::equal_rails, 0.5).clipped_share() == Approx(2 * beyond(0.5)));
    CHECK(model(ClipShape::equal_rails, -0.5).clipped_share() == 0);
    CHECK(model(ClipShape::upper_rail, 6).clipped_share() == Approx(beyond(6)));
    CHECK(model(ClipShape::lower_rail, 3, 0.11).clipped_share() == Approx(beyond(3)));
    CHECK(model(ClipShape::unequal_rails, 6, 0, 2).clipped_share() == Approx(beyond(6) + beyond(2)));
    CHECK(model(ClipShape::unequal_rails, 6, 0, -2).clipped_share() == Approx(beyond(6)));
    // where this stage makes 1 % THD, bends growing with the amplitude and its square
    for (ClipModel m : {model(ClipShape::equal_rails, 5, 0.3), model(ClipShape::unequal_rails, -3, 0.2, -4), model(ClipShape::upper_rail, 3, 0)}) {
        m.value[Place::scale_ln] = -1;
        m.value[Place::bend_2] = 0.001;
        m.value[Place::bend_3] = -0.002;
        const double change = m.amplitude_db_at_one_percent() - m.amplitude_db();
        ClipModel there = m;
        there.value[Place::drive_db] += change;
        there.value[Place::other_drive_db] += change;
        there.value[Place::bend_2] *= ratio(change);
        there.value[Place::bend_3] *= ratio(2 * change);
        CHECK(thd(there) == Approx(0.01).epsilon(1e-3));
        if (m.value[Place::edge] < 0.12) continue;
        CHECK(m.clipped_share() == Approx(change < 0 ? (m.shape == ClipShape::upper_rail ? 1 : 2) * beyond(-change) : 0.0));
    }
    const std::vector<std::size_t> of_rail = {Place::scale_ln, Place::phase,  Place::coupling_hz, Place::lag,
                                              Place::bend_2,   Place::bend_3, Place::drive_db,    Place::edge};
    CHECK(model(ClipShape::equal_rails).free() == of_rail);
    CHECK(model(ClipShape::lower_rail).free() == of_rail);
    CHECK(model(ClipShape::unequal_rails).free().back() == Place::other_drive_db);
    CHECK(model(ClipShape::straight).free().size() == 6);
    CHECK(model(ClipShape::slope).free() == std::vector<std::size_t>{Place::scale_ln, Place::phase, Place::coupling_hz, Place::lag, Place::drive_db});
}

namespace {

void check_given_back(const std::vector<ClipModel>& rows) {
    for (ClipModel m : rows) {
        m.value[Place::scale_ln] = -1.2;
        m.value[Place::phase] = 0.7;
        m.value[Place::coupling_hz] = 5;
        m.value[Place::lag] = 0.03;
        if (m.shape != ClipShape::slope) m.value[Place::bend_2] = 0.001;
        if (m.shape != ClipShape::slope) m.value[Place::bend_3] = -0.0015;
        CAPTURE(static_cast<int>(m.shape), m.value[Place::drive_db], m.value[Place::edge]);
        const ToneHarmonics heard = heard_of(m);
        std::optional<ClipFit> like;
        if (m.shape == ClipShape::unequal_rails) like = fit_clip_model(ClipShape::equal_rails, heard);
        const auto fit = fit_clip_model(m.shape, heard, like ? &*like : nullptr);
        REQUIRE(fit);
        CHECK(fit->model.shape == m.shape);
        CHECK(fit->fits());
        CHECK(fit->unexplained_share < 0.01);
        // 19 harmonics, two numbers each; of the places coupling, lag, two bends and each drive are expected somewhere
        const std::vector<std::size_t> free = m.free();
        double expected = 0;
        for (const std::size_t place : free)
            expected += place == Place::scale_ln || place == Place::phase || place == Place::edge ? 0 : 1;
        CHECK(fit->freedom == Approx(38 + expected - static_cast<double>(free.size())));
        for (const std::size_t place : free) {
            CAPTURE(place);
            // in the order of the places; a wide corner bends as well
            const double bend = m.value[Place::edge] > 0.1 ? 0.002 : 5e-4, margin[] = {0.002, 0.002, 2, 0.002, bend, bend, 0.02, 0.01, 0.02};
            CHECK(fit->model.value[place] == Approx(m.value[place]).margin(margin[place]));
            CHECK(fit->covariance.at(place, place) > 0);
            CHECK(std::abs(fit->model.value[place] - m.value[place]) < 3 * std::sqrt(fit->covariance.at(place, place)) + 1e-4);
        }
        const ClipFit sharp = sharpened(*fit, heard);
        CHECK(sharp.covariance.at(0, 0) < fit->covariance.at(0, 0));
        CHECK(sharp.model.value[Place::scale_ln] == Approx(-1.2).margin(0.002));
    }
}

}  // namespace

TEST_CASE("harmonics that are known exactly give back the rails", "[clip_model]") {
    check_given_back({model(ClipShape::equal_rails, 3), model(ClipShape::equal_rails, 0.4), model(ClipShape::upper_rail, 2),
                      model(ClipShape::lower_rail, 4)});
}

TEST_CASE("harmonics that are known exactly give back a wide corner", "[clip_model]") {
    check_given_back({model(ClipShape::equal_rails, 5, 0.3)});
}

TEST_CASE("harmonics that are known exactly give back a limit on the slope", "[clip_model]") {
    check_given_back({model(ClipShape::slope, 2)});
}

TEST_CASE("harmonics that are known exactly give back rails at two heights", "[clip_model]") {
    check_given_back({model(ClipShape::unequal_rails, 4, 0, 3.2)});
}

namespace {

/// What a model's places cost that were expected elsewhere: their distance in standard deviations, squared (clip_model.cpp).
double cost_of(const ClipModel& m) {
    const auto square = [](double x) { return x * x; };
    double cost = square((m.value[Place::coupling_hz] - 3) / 15) + square(m.value[Place::lag] / 0.04);
    if (m.shape != ClipShape::slope) cost += square(m.value[Place::bend_2] / 0.003) + square(m.value[Place::bend_3] / 0.003);
    cost += square((m.value[Place::drive_db] - 3) / 30);
    if (m.shape == ClipShape::unequal_rails) cost += square((m.value[Place::other_drive_db] - 3) / 30);
    return cost;
}
ClipModel with(ClipModel m, Place place, double value) {
    m.value[Place::coupling_hz] = 3;
    m.value[Place::lag] = 0.004;
    m.value[place] = value;
    return m;
}
/// The least misfit is that of the truth, whose harmonics leave nothing: what it costs.
void check_cost(const std::vector<ClipModel>& rows) {
    for (const ClipModel& m : rows) {
        CAPTURE(static_cast<int>(m.shape), m.value[Place::drive_db], m.value[Place::other_drive_db], m.value[Place::edge], m.value[Place::lag],
                m.value[Place::coupling_hz], m.value[Place::bend_2], m.value[Place::bend_3]);
        const ToneHarmonics heard = heard_of(m);
        std::optional<ClipFit> like;
        if (m.shape == ClipShape::unequal_rails) like = fit_clip_model(ClipShape::equal_rails, heard);
        const auto fit = fit_clip_model(m.shape, heard, like ? &*like : nullptr);
        REQUIRE(fit);
        CHECK(fit->misfit == Approx(cost_of(m)).epsilon(0.03).margin(0.02));
    }
}

}  // namespace

TEST_CASE("a fit's misfit is what its places cost that were expected elsewhere", "[clip_model]") {
    const ClipModel cut = model(ClipShape::equal_rails, 3);
    check_cost({with(cut, Place::coupling_hz, 60), with(cut, Place::lag, 0.12), with(cut, Place::bend_2, -0.009), with(cut, Place::bend_3, 0.009),
                with(cut, Place::drive_db, 25)});
}

TEST_CASE("the best fit is found whatever the drive", "[clip_model]") {
    for (const double drive_db : {0.05, 0.2, 1.0, 8.0, 14.0}) check_cost({with(model(ClipShape::equal_rails), Place::drive_db, drive_db)});
}

TEST_CASE("the best fit is found for a corner that is slightly rounded", "[clip_model]") {
    check_cost({with(model(ClipShape::equal_rails, 4), Place::edge, 0.03)});
}

TEST_CASE("the best fit is found for a corner that is more so", "[clip_model]") {
    check_cost({with(model(ClipShape::equal_rails, 4), Place::edge, 0.15)});
}

TEST_CASE("the best fit is found for wide corners and rails that are hardly reached", "[clip_model]") {
    check_cost({with(model(ClipShape::equal_rails, -2), Place::edge, 0.4), with(model(ClipShape::upper_rail, 3), Place::edge, 0.45)});
}

TEST_CASE("the best fit is found for limits on the slope", "[clip_model]") {
    for (const double drive_db : {0.5}) check_cost({with(model(ClipShape::slope), Place::drive_db, drive_db)});
}

TEST_CASE("the best fit is found for rails at two heights, nearly alike", "[clip_model]") {
    check_cost({with(model(ClipShape::unequal_rails, 6), Place::other_drive_db, 5.95)});
}

TEST_CASE("the best fit is found for rails at two heights, far apart", "[clip_model]") {
    check_cost({with(model(ClipShape::unequal_rails, 6), Place::other_drive_db, 2.5)});
}

TEST_CASE("a fit is as unsure as the noise makes it, and tells what it leaves", "[clip_model]") {
    // second harmonic: half the bend times the amplitude; noise 2e-4 of an amplitude of 1, against the 0.003 expected
    ClipModel m = model(ClipShape::straight);
    m.value[Place::bend_2] = 0.004;
    m.value[Place::bend_3] = 0.002;
    for (const double sd : {2e-4, 1e-3}) {
        const auto fit = fit_clip_model(ClipShape::straight, heard_of(m, 1000, 9, sd));
        REQUIRE(fit);
        const auto of_bend = [&](double share) { return 1 / (1 / std::pow(sd / share, 2) + 1 / std::pow(0.003, 2)); };
        CHECK(fit->covariance.at(Place::bend_2, Place::bend_2) == Approx(of_bend(0.5)).epsilon(0.05));
        CHECK(fit->covariance.at(Place::bend_3, Place::bend_3) == Approx(of_bend(0.25)).epsilon(0.05));
        CHECK(fit->covariance.at(Place::bend_2, Place::bend_3) == Approx(fit->covariance.at(Place::bend_3, Place::bend_2)));
        CHECK(std::abs(fit->covariance.at(Place::bend_2, Place::bend_3)) < 0.1 * of_bend(0.5));
    }
    // once more, held to what noise and misfit turned out to be: what is granted shrinks with the root of the misfit
    const ToneHarmonics exact = heard_of(m, 1000, 9, 1e-9);
    const auto granted_all = fit_clip_model(ClipShape::straight, exact);
    REQUIRE(granted_all);
    CHECK(sharpened(*granted_all, exact).covariance.at(Place::bend_2, Place::bend_2)
          == Approx(granted_all->covariance.at(Place::bend_2, Place::bend_2) * (granted_all->misfit + 2) / (granted_all->freedom + 2)).epsilon(0.05));
    // a fifth harmonic that no bend makes, beside a second and a third
    ToneHarmonics odd = heard_of(m, 1000, 9, 1e-6);
    odd.value[4] = {0.0, 0.003};
    const auto fit = fit_clip_model(ClipShape::straight, odd);
    REQUIRE(fit);
    CHECK_FALSE(fit->fits());
    CHECK(fit->unexplained_share == Approx(0.003 / std::sqrt(std::norm(odd.value[1]) + std::norm(odd.value[2]) + 9e-6)).epsilon(0.02));
    CHECK(fit->covariance.at(0, 0) > 100 * fit_clip_model(ClipShape::straight, heard_of(m, 1000, 9, 1e-6))->covariance.at(0, 0));
    // the harmonics' misfit in what is granted the path: 2e-6 of the fundamental
    odd.sd.assign(9, 1e-9);
    odd.value[4] = {0.0, 1e-4};
    CHECK(fit_clip_model(ClipShape::straight, odd)->misfit == Approx(2500).epsilon(0.05));
    // or three tenths of a thousandth of a harmonic within two of it, the larger one
    ToneHarmonics railed = heard_of(model(ClipShape::equal_rails, 3), 1000, 9, 1e-9);
    railed.value[5] += std::complex<double>(0.0, 1e-3);
    const double granted = 0.3e-3 * std::max(std::abs(railed.value[4]), std::abs(railed.value[6]));
    CHECK(fit_clip_model(ClipShape::equal_rails, railed)->misfit == Approx(1e-6 / (granted * granted)).epsilon(0.1));
    // what noise makes of a harmonic is taken off before it counts as unexplained
    ToneHarmonics noisy = heard_of(model(ClipShape::straight), 1000, 9, 1e-3);
    noisy.value[1] = 0.002;
    noisy.value[4] = {0.0, 0.003};
    // 9 - 1 of 4 - 2 and 9 - 2 millionths: the bend leaves less than noise of the second
    CHECK(fit_clip_model(ClipShape::straight, noisy)->unexplained_share == Approx(std::sqrt(8 / 9.0)).epsilon(0.01));
    // no harmonics at all
    ToneHarmonics pure = heard_of(model(ClipShape::straight), 1000, 9, 1e-6);
    for (std::size_t k = 1; k < 9; ++k) pure.value[k] = 0;
    const auto clean = fit_clip_model(ClipShape::straight, pure);
    REQUIRE(clean);
    CHECK(clean->fits());
    CHECK(clean->unexplained_share < 1e-6);
    CHECK(clean->model.value[Place::bend_2] == Approx(0.0).margin(1e-4));
    CHECK(clean->misfit == Approx(0.0).margin(0.1));
    // nothing tells where the coupling's corner is, or the band's end: what is expected stays, 3 and 15 Hz, tone over 25 kHz
    CHECK(clean->model.value[Place::coupling_hz] == Approx(3.0).margin(0.3));
    CHECK(clean->covariance.at(Place::coupling_hz, Place::coupling_hz) == Approx(225).epsilon(0.05));
    CHECK(clean->model.value[Place::lag] == Approx(0.0).margin(0.01));
    CHECK(clean->covariance.at(Place::lag, Place::lag) == Approx(0.0016).epsilon(0.1));
    CHECK(clean->covariance.at(Place::scale_ln, Place::scale_ln) < 0.01);
}

TEST_CASE("no other shape explains a wave that is clipped on both sides", "[clip_model]") {
    const ToneHarmonics clipped = heard_of(model(ClipShape::equal_rails, 3), 1000, 9);
    CHECK_FALSE(fit_clip_model(ClipShape::straight, clipped)->fits());
    CHECK(fit_clip_model(ClipShape::equal_rails, clipped)->fits());
}
