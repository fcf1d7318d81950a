// Shapes whose decibels are known from the filters' transfer functions, as complex numbers of s.
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "../../src/measure/shape_model.hpp"
#include "hushtrace/measure/response_shape.hpp"

using namespace hushtrace;

namespace {

using Complex = std::complex<double>;

double db(Complex gain) { return 20.0 * std::log10(std::abs(gain)); }

/// Analogue prototypes of R. Bristow-Johnson's cookbook at x = f / f0.
double peak_db(double x, double gain_db, double q) {
    const Complex s(0, x);
    const double a = std::pow(10.0, gain_db / 40.0);
    return db((s * s + s * (a / q) + 1.0) / (s * s + s / (a * q) + 1.0));
}
double low_shelf_db(double x, double gain_db, double q) {
    const Complex s(0, x);
    const double a = std::pow(10.0, gain_db / 40.0), root = std::sqrt(a) / q;
    return db(a * (s * s + root * s + a) / (a * s * s + root * s + 1.0));
}
double high_shelf_db(double x, double gain_db, double q) {
    const Complex s(0, x);
    const double a = std::pow(10.0, gain_db / 40.0), root = std::sqrt(a) / q;
    return db(a * (a * s * s + root * s + 1.0) / (s * s + root * s + a));
}
/// Butterworth: |H|^2 = 1 / (1 + x^2n); Linkwitz-Riley: |H| = 1 / (1 + x^n). A high-pass has 1 / x.
double pass_db(double x, int order, bool linkwitz_riley) {
    return linkwitz_riley ? -20.0 * std::log10(1.0 + std::pow(x, order)) : -10.0 * std::log10(1.0 + std::pow(x, 2 * order));
}

template <class Db>
std::vector<TransferPoint> path(double from_hz, double to_hz, Db&& level_db) {
    std::vector<TransferPoint> out;
    for (const double hz : transfer_frequencies(from_hz, to_hz)) {
        const double gain = std::pow(10.0, level_db(hz) / 20.0);
        out.push_back({hz, {gain, 0.0}, 1e-9 * gain * gain, true});
    }
    return out;
}
template <class Db>
std::vector<ShapePoint> points(double from_hz, double to_hz, double sd_db, Db&& level_db) {
    std::vector<ShapePoint> out;
    for (const double hz : transfer_frequencies(from_hz, to_hz)) out.push_back({std::log(hz), level_db(hz), sd_db});
    return out;
}
ModelPart part(ShapeKind kind, double hz, double gain_db, double q) { return {kind, std::log(hz), gain_db, std::log(q)}; }

}  // namespace

TEST_CASE("a part's decibels are those of its prototype", "[response_shape]") {
    for (const double hz : {60.0, 400.0, 990.0, 1000.0, 1300.0, 7000.0})
        for (const double gain : {-9.0, 5.0}) {
            const double x = hz / 1000.0, at = std::log(hz);
            CAPTURE(hz, gain);
            CHECK(part(ShapeKind::peak, 1000, gain, 1.7).db_at(at) == Approx(peak_db(x, gain, 1.7)).margin(1e-9));
            CHECK(part(ShapeKind::low_shelf, 1000, gain, 0.6).db_at(at) == Approx(low_shelf_db(x, gain, 0.6)).margin(1e-9));
            CHECK(part(ShapeKind::high_shelf, 1000, gain, 0.6).db_at(at) == Approx(high_shelf_db(x, gain, 0.6)).margin(1e-9));
        }
    for (const int order : {1, 2, 3, 4, 6, 8})
        for (const bool lr : {false, true})
            for (const double x : {0.01, 0.8, 1.0, 1.5, 20.0}) {
                const ModelPart high{ShapeKind::high_pass, std::log(200.0), 0, 0, order, lr};
                const ModelPart low{ShapeKind::low_pass, std::log(200.0), 0, 0, order, lr};
                CHECK(low.db_at(std::log(200.0 * x)) == Approx(pass_db(x, order, lr)).margin(1e-9));
                CHECK(high.db_at(std::log(200.0 * x)) == Approx(pass_db(1.0 / x, order, lr)).margin(1e-9));
            }
    // a model is its level and its parts in cascade; unknowns: the level, three of a peak, one of a low-pass
    const ShapeModel model{-3.0, {part(ShapeKind::peak, 500, 6, 2), {ShapeKind::low_pass, std::log(1000.0), 0, 0, 2, false}}};
    CHECK(model.free() == 5);
    CHECK(model.db_at(std::log(500.0)) == Approx(-3.0 + 6.0 + pass_db(0.5, 2, false)).margin(1e-9));
}

TEST_CASE("a model's numbers are found from a start beside them", "[response_shape]") {
    const auto truth = [](double hz) {
        return 2.5 + peak_db(hz / 300.0, -7.0, 3.0) + low_shelf_db(hz / 80.0, 5.0, 0.8) + pass_db(hz / 2500.0, 4, true);
    };
    ShapeModel start;
    start.parts = {part(ShapeKind::peak, 340, -3, 1.5), part(ShapeKind::low_shelf, 60, 2, 0.6),
                   {ShapeKind::low_pass, std::log(3000.0), 0, 0, 4, true}};
    const ShapeFit fit = fit_shape(points(20, 5000, 0.1, truth), start, 60);
    CHECK(fit.cost < 1e-3);
    CHECK(fit.model.level_db == Approx(2.5).margin(0.01));
    CHECK(std::exp(fit.model.parts[0].ln_hz) == Approx(300).epsilon(1e-3));
    CHECK(fit.model.parts[0].gain_db == Approx(-7).margin(0.01));
    CHECK(std::exp(fit.model.parts[0].ln_q) == Approx(3).epsilon(0.01));
    CHECK(std::exp(fit.model.parts[1].ln_hz) == Approx(80).epsilon(0.01));
    CHECK(fit.model.parts[1].gain_db == Approx(5).margin(0.03));
    CHECK(std::exp(fit.model.parts[2].ln_hz) == Approx(2500).epsilon(1e-3));
    REQUIRE(fit.sd.size() == 8);
    // the level alone: the mean's own uncertainty, 0.1 dB over the root of the points
    const auto flat = fit_shape(points(100, 1600, 0.1, [](double) { return 4.0; }), ShapeModel{}, 10);
    CHECK(flat.model.level_db == Approx(4.0).margin(1e-4));
    REQUIRE(flat.sd.size() == 1);
    CHECK(flat.sd[0] == Approx(0.1 / std::sqrt(96.0)).epsilon(1e-3));   // four octaves of 24 points
    CHECK(fit_shape(points(100, 1600, 0.1, truth), ShapeModel{}, 0).model.level_db == 0.0);
}

TEST_CASE("what scatters by more than it states widens a model's uncertainty, and a far point counts by its distance", "[response_shape]") {
    // n points alternately 0.15 dB above and below, each said to be good to 0.1 dB: the cost is n 1.5^2, the level's sd 0.15 / sqrt(n - 1)
    int turn = 0;
    const auto rough = points(100, 1600, 0.1, [&turn](double) { return ++turn % 2 == 0 ? 0.15 : -0.15; });
    const ShapeFit fit = fit_shape(rough, ShapeModel{}, 20);
    CHECK(fit.cost == Approx(96 * 2.25).epsilon(1e-4));
    CHECK(fit.model.level_db == Approx(0.0).margin(1e-3));
    CHECK(fit.sd[0] == Approx(0.15 / std::sqrt(95.0)).epsilon(1e-3));
    // Huber 1964: a point 50 dB off pulls like one two sd off, so that the other 95 give way by 2 sd / 95;
    // its cost is 2 (2 * 500 - 2), theirs next to nothing
    auto one_off = points(100, 1600, 0.1, [](double) { return 0.0; });
    one_off[40].level_db = 50.0;
    const ShapeFit pulled = fit_shape(one_off, ShapeModel{}, 60);
    CHECK(pulled.model.level_db == Approx(2.0 * 0.1 / 95.0).epsilon(0.05));
    CHECK(pulled.cost == Approx(2.0 * (2.0 * 500.0 - 2.0)).epsilon(1e-3));
}

TEST_CASE("a model's numbers stay where they can be told", "[response_shape]") {
    // half an octave (0.35 of ln f) beyond the points, 30 dB, Q 0.35 to 12 of a peak and 0.45 to 1.2 of a shelf
    const auto flat = points(100, 1600, 0.1, [](double) { return 0.0; });
    ShapeModel wild;
    wild.parts = {part(ShapeKind::peak, 10, 80, 100), part(ShapeKind::low_shelf, 90000, -80, 100), part(ShapeKind::high_shelf, 500, 0, 0.01),
                  part(ShapeKind::peak, 500, 0, 0.01)};
    const ShapeFit kept = fit_shape(flat, wild, 0);
    const auto& parts = kept.model.parts;
    CHECK(parts[0].ln_hz == Approx(flat.front().ln_hz - 0.35));
    CHECK(parts[0].gain_db == 30.0);
    CHECK(std::exp(parts[0].ln_q) == Approx(12.0));
    CHECK(parts[1].ln_hz == Approx(flat.back().ln_hz + 0.35));
    CHECK(parts[1].gain_db == -30.0);
    CHECK(std::exp(parts[1].ln_q) == Approx(1.2));
    CHECK(std::exp(parts[2].ln_q) == Approx(0.45));
    CHECK(std::exp(parts[3].ln_q) == Approx(0.35));
}

TEST_CASE("shapes have words", "[response_shape]") {
    CHECK(to_word(ShapeKind::peak) == "peak");
    CHECK(to_word(ShapeKind::low_shelf) == "low_shelf");
    CHECK(to_word(ShapeKind::high_shelf) == "high_shelf");
    CHECK(to_word(ShapeKind::high_pass) == "high_pass");
    CHECK(to_word(ShapeKind::low_pass) == "low_pass");
}

TEST_CASE("a flat path has a level and no parts, and less than two octaves tell no shape", "[response_shape]") {
    const auto shape = shape_of(path(50, 800, [](double) { return -6.0; }));
    REQUIRE(shape);
    CHECK(shape->parts.empty());
    CHECK(shape->level_db == Approx(-6.0).margin(1e-3));
    CHECK(shape->left_over_db < 1e-3);
    CHECK(shape->flat_within_db < 1e-6);
    CHECK_FALSE(shape->loudness);
    const auto steps = transfer_frequencies(50, 800);
    CHECK(shape->from_hz == Approx(steps.front()));
    CHECK(shape->to_hz == Approx(steps.back()));
    // up to the last points: five of 0.8 dB at either end are 0.4 to either side of the middle; and what no part explains is told
    for (const bool low : {false, true}) {
        const double edge_hz = low ? 1.001 * steps[4] : 0.999 * steps[steps.size() - 5];
        const auto ends = shape_of(path(50, 800, [&](double hz) { return (hz < edge_hz) == low ? 0.8 : 0.0; }));
        CHECK(ends->flat_within_db == Approx(0.4).margin(1e-3));
    }
    int turn = 0;
    CHECK(shape_of(path(50, 800, [&turn](double) { return ++turn % 2 == 0 ? 0.1 : -0.1; }))->left_over_db == Approx(0.1).epsilon(1e-3));
    auto two = path(100, 10000, [](double) { return 0.0; });
    two.resize(48);
    CHECK(shape_of(two));
    two.resize(47);
    CHECK_FALSE(shape_of(two));
    // nor do points in the noise count, nor what lies 45 dB below the loudest
    auto drowned = path(50, 800, [](double hz) { return hz < 140 ? -46.0 : 0.0; });
    CHECK(shape_of(drowned)->from_hz > 140);
    CHECK(shape_of(drowned)->parts.empty());
    for (TransferPoint& p : drowned)
        if (p.frequency_hz < 300) p.noise_power = 1.0;
    CHECK_FALSE(shape_of(drowned));
    CHECK_FALSE(shape_of({}));
}

TEST_CASE("a peak, a dip and shelves are told with place, gain and Q", "[response_shape]") {
    struct Row {
        ShapeKind kind;
        double hz, gain_db, q;
    };
    for (const Row& row : {Row{ShapeKind::peak, 200, 6, 2}, Row{ShapeKind::peak, 350, -8, 5}, Row{ShapeKind::low_shelf, 110, 6, 0.7},
                           Row{ShapeKind::low_shelf, 120, -4, 0.9}}) {
        CAPTURE(row.hz, row.gain_db);
        const auto shape = shape_of(path(30, 1500, [&](double hz) {
            const double x = hz / row.hz;
            return -2.0 + (row.kind == ShapeKind::peak ? peak_db(x, row.gain_db, row.q) : low_shelf_db(x, row.gain_db, row.q));
        }));
        REQUIRE(shape);
        REQUIRE(shape->parts.size() == 1);
        const ShapePart& found = shape->parts[0];
        CHECK(found.kind == row.kind);
        CHECK(found.frequency_hz.value == Approx(row.hz).epsilon(0.01));
        CHECK(found.gain_db.value == Approx(row.gain_db).margin(0.05));
        CHECK(found.q == Approx(row.q).epsilon(0.03));
        CHECK(found.slope_db_per_octave == 0);
        CHECK(found.frequency_hz.sd > 0);
        CHECK(found.frequency_hz.sd < 0.05 * row.hz);
        CHECK(found.gain_db.sd > 0);
        CHECK(found.gain_db.sd < 0.3);
        CHECK(shape->level_db == Approx(-2.0).margin(0.05));
        CHECK(shape->left_over_db < 0.02);
        CHECK_FALSE(shape->loudness);
    }
    // half of the range of a sixth of an octave's means: a low-shelf of 6 dB that is nearly reached at both ends
    const auto shelf = shape_of(path(10, 1500, [](double hz) { return low_shelf_db(hz / 120, 6, 0.7); }));
    CHECK(shelf->flat_within_db == Approx(3.0).margin(0.02));
}

TEST_CASE("a shelf is told from the end that is the ear's: bass below 700 Hz, treble above", "[response_shape]") {
    // a low shelf of +4 dB at 1.2 kHz is a high shelf of -4 dB there, all 4 dB louder; and the other way round at 350 Hz
    const auto treble = shape_of(path(100, 9000, [](double hz) { return low_shelf_db(hz / 1200, 4, 0.7); }));
    REQUIRE(treble);
    REQUIRE(treble->parts.size() == 1);
    CHECK(treble->parts[0].kind == ShapeKind::high_shelf);
    CHECK(treble->parts[0].gain_db.value == Approx(-4).margin(0.05));
    CHECK(treble->parts[0].frequency_hz.value == Approx(1200).epsilon(0.01));
    CHECK(treble->level_db == Approx(4).margin(0.05));
    const auto bass = shape_of(path(40, 1500, [](double hz) { return 1.0 + high_shelf_db(hz / 350, -5, 0.7); }));
    REQUIRE(bass);
    REQUIRE(bass->parts.size() == 1);
    CHECK(bass->parts[0].kind == ShapeKind::low_shelf);
    CHECK(bass->parts[0].gain_db.value == Approx(5).margin(0.05));
    CHECK(bass->level_db == Approx(-4).margin(0.05));
}

TEST_CASE("high- and low-passes are told with corner, slope and kind", "[response_shape]") {
    struct Row {
        int order;
        bool linkwitz_riley, high;
    };
    for (const Row& row : {Row{1, false, true}, Row{2, false, false}, Row{2, true, true}, Row{3, false, false}, Row{4, false, true},
                           Row{4, true, false}, Row{6, false, true}, Row{8, false, false}, Row{8, true, true}}) {
        CAPTURE(row.order, row.linkwitz_riley, row.high);
        const double corner_hz = row.high ? 120 : 400;
        const auto shape = shape_of(path(30, 1500, [&](double hz) {
            return 3.0 + pass_db(row.high ? corner_hz / hz : hz / corner_hz, row.order, row.linkwitz_riley);
        }));
        REQUIRE(shape);
        REQUIRE(shape->parts.size() == 1);
        const ShapePart& found = shape->parts[0];
        CHECK(found.kind == (row.high ? ShapeKind::high_pass : ShapeKind::low_pass));
        CHECK(found.slope_db_per_octave == 6 * row.order);
        CHECK(found.linkwitz_riley == row.linkwitz_riley);
        CHECK(found.frequency_hz.value == Approx(corner_hz).epsilon(0.005));
        CHECK(shape->level_db == Approx(3.0).margin(0.05));
    }
}

TEST_CASE("a band between two filters is told by both, lowest first, and a peak beside them", "[response_shape]") {
    const auto shape = shape_of(path(30, 1490, [](double hz) {
        return -1.0 + pass_db(90.0 / hz, 4, true) + pass_db(hz / 600.0, 2, false) + peak_db(hz / 230.0, 5, 3);
    }));
    REQUIRE(shape);
    REQUIRE(shape->parts.size() == 3);
    CHECK(shape->parts[0].kind == ShapeKind::high_pass);
    CHECK(shape->parts[0].frequency_hz.value == Approx(90).epsilon(0.02));
    CHECK(shape->parts[0].slope_db_per_octave == 24);
    CHECK(shape->parts[0].linkwitz_riley);
    CHECK(shape->parts[1].kind == ShapeKind::peak);
    CHECK(shape->parts[1].frequency_hz.value == Approx(230).epsilon(0.01));
    CHECK(shape->parts[1].gain_db.value == Approx(5).margin(0.15));
    CHECK(shape->parts[2].kind == ShapeKind::low_pass);
    CHECK(shape->parts[2].frequency_hz.value == Approx(600).epsilon(0.02));
    CHECK(shape->parts[2].slope_db_per_octave == 12);
    CHECK(shape->level_db == Approx(-1.0).margin(0.15));
    for (const ShapePart& part : shape->parts) {   // each has an uncertainty of its own
        CHECK(part.frequency_hz.sd > 1e-4 * part.frequency_hz.value);
        CHECK(part.frequency_hz.sd < 0.02 * part.frequency_hz.value);
    }
    CHECK(shape->parts[1].gain_db.sd > 0.005);
    CHECK(shape->parts[1].gain_db.sd < 0.3);
}

TEST_CASE("both ends up by shelves or peaks are a loudness control", "[response_shape]") {
    const auto both = shape_of(path(60, 6000, [](double hz) { return low_shelf_db(hz / 180, 5, 0.7) + peak_db(hz / 2700, 3, 1.2); }));
    REQUIRE(both);
    REQUIRE(both->parts.size() == 2);
    CHECK(both->parts[0].kind == ShapeKind::low_shelf);
    CHECK(both->parts[0].gain_db.value == Approx(5).margin(0.1));
    CHECK(both->parts[1].kind == ShapeKind::peak);
    CHECK(both->parts[1].gain_db.value == Approx(3).margin(0.1));
    CHECK(both->parts[1].frequency_hz.value == Approx(2700).epsilon(0.02));
    CHECK(both->loudness);
}

TEST_CASE("a digital filter's bend towards half its rate is seen through", "[response_shape]") {
    // bilinear transform: a corner of 9 kHz at 48 kHz, its prototype read at tan(pi f / fs) / tan(pi f0 / fs)
    const double rate = 48000, corner_hz = 9000;
    const auto shape = shape_of(path(300, 20000, [&](double hz) {
        return pass_db(std::tan(std::numbers::pi * hz / rate) / std::tan(std::numbers::pi * corner_hz / rate), 2, false);
    }));
    REQUIRE(shape);
    REQUIRE(shape->parts.size() == 1);
    CHECK(shape->parts[0].kind == ShapeKind::low_pass);
    CHECK(shape->parts[0].slope_db_per_octave == 12);
    CHECK(shape->parts[0].frequency_hz.value == Approx(corner_hz).epsilon(0.005));
    CHECK(shape->to_hz > 15000);
    // of a player at 44.1 kHz what lies above 0.46 of that is left out: near the half the transform bends without an end
    const auto slower = shape_of(path(2000, 21500, [&](double hz) {
        return pass_db(std::tan(std::numbers::pi * hz / 44100) / std::tan(std::numbers::pi * corner_hz / 44100), 2, false);
    }));
    REQUIRE(slower);
    CHECK(slower->parts.at(0).frequency_hz.value == Approx(corner_hz).epsilon(0.005));
    CHECK(slower->to_hz < 0.46 * 44100);
    CHECK(slower->to_hz > 0.44 * 44100);
}

TEST_CASE("less than half a decibel, more than a tone control does and what may be noise are not told as a part", "[response_shape]") {
    const auto with = [](double gain_db, double noise_share) {
        auto some = path(40, 1400, [&](double hz) { return peak_db(hz / 250, gain_db, 1.5); });
        for (TransferPoint& p : some) p.noise_power = noise_share * std::norm(p.gain);
        return shape_of(some)->parts.size();
    };
    CHECK(with(0.45, 1e-9) == 0);
    CHECK(with(0.55, 1e-9) == 1);
    CHECK(with(-0.55, 1e-9) == 1);
    CHECK(with(0.9, 0.09) == 0);   // 1.8 dB of noise a point
    CHECK(with(3.0, 0.01) == 1);
    const auto high = shape_of(path(40, 1400, [](double hz) { return peak_db(hz / 250, 23.0, 1.5); }));
    REQUIRE(high->parts.size() == 1);
    CHECK(high->parts[0].gain_db.value == Approx(23).margin(0.2));
    const auto higher = shape_of(path(40, 1400, [](double hz) { return peak_db(hz / 250, 27.0, 1.5); }));
    for (const ShapePart& part : higher->parts) CHECK(std::abs(part.gain_db.value) <= 24.0);
}
