// Rails from cut peaks whose heights are known, and runs of samples that no sound would make.
#include "../../src/measure/rail_level.hpp"

#include <catch2/catch.hpp>
#include <array>
#include <cmath>
#include <numbers>
#include <random>

#include "../../src/measure/sample_faults.hpp"

using namespace hushtrace;

namespace {

double db(double ratio) { return 20.0 * std::log10(ratio); }
/// Of a flat top ten samples to either side: 0.3 % and a fiftieth of a sample's share.
const double kSpread = std::hypot(0.003, 0.002);

std::vector<double> sound(std::size_t frames, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    std::vector<double> x(frames);
    for (double& one : x) one = std::round(normal(engine) * 32768) / 32768;
    return x;
}
std::vector<SampleRun> runs_in(const std::vector<double>& x, double rate = 48000) {
    SampleRunFinder finder(rate, 0.999);
    finder.add(x);
    finder.finish();
    return finder.runs();
}
std::vector<Replay> replays_in(const std::vector<double>& x) {
    ReplayFinder finder(1);
    for (const double one : x) finder.add(std::span(&one, 1));
    finder.finish();
    return finder.replays();
}

}  // namespace

TEST_CASE("peaks cut at one height tell the rail, and nothing of a coupling", "[rail_level]") {
    const RailLevel rail = rail_level(std::vector<CutPeak>(4, {0.5, 0.0, 10.0}));
    CHECK(rail.level_dbfs.value == Approx(db(0.5)));
    CHECK(rail.level_dbfs.sd == Approx(db(1 + kSpread / 2)).epsilon(1e-6));   // the mean of four
    CHECK(rail.level_dbfs.limited_by == LimitedBy::length);
    // every corner from 0 to 25 Hz in quarters is as good, the low ones likelier by 1 / (1 + corner)
    double sum = 0, moment = 0;
    for (int i = 0; i <= 100; ++i) {
        sum += 1 / (1 + 0.25 * i);
        moment += 0.25 * i / (1 + 0.25 * i);
    }
    CHECK(rail.corner_hz == Approx(moment / sum));
    // narrow tops are less sure
    const RailLevel narrow = rail_level(std::vector<CutPeak>(4, {0.5, 0.0, 1.0}));
    CHECK(narrow.level_dbfs.sd == Approx(db(1 + std::hypot(0.003, 0.02) / 2)).epsilon(1e-6));
    const RailLevel narrower = rail_level(std::vector<CutPeak>(4, {0.5, 0.0, 0.1}));
    CHECK(narrower.level_dbfs.sd == Approx(db(1 + std::hypot(0.003, 0.04) / 2)).epsilon(1e-6));
    const RailLevel alone = rail_level(std::vector<CutPeak>{{0.5, 0.0, 10.0}});
    CHECK(alone.level_dbfs.sd == Approx(db(1 + kSpread)).epsilon(1e-6));
}

TEST_CASE("peaks that scatter widen a rail's uncertainty, and one that is another doesn't count", "[rail_level]") {
    // 0.4 % to either side of the mean, two and two: 1.11 of their sd each
    std::vector<CutPeak> cuts = {{0.502, 0, 10}, {0.498, 0, 10}, {0.502, 0, 10}, {0.498, 0, 10}};
    double misfit = 0;
    for (const CutPeak& cut : cuts) misfit += std::pow((cut.height - 0.5) / (kSpread * cut.height), 2);
    double weight = 0, sum = 0;
    for (const CutPeak& cut : cuts) {
        weight += 1 / std::pow(kSpread * cut.height, 2);
        sum += cut.height / std::pow(kSpread * cut.height, 2);
    }
    const RailLevel rail = rail_level(cuts);
    CHECK(rail.level_dbfs.value == Approx(db(sum / weight)).margin(1e-6));
    CHECK(rail.level_dbfs.sd == Approx(db(1 + std::sqrt(misfit / 3 / weight) / 0.5)).epsilon(1e-3));
    cuts = std::vector<CutPeak>(4, {0.5, 0.0, 10.0});
    cuts.push_back({0.52, 0.0, 10.0});   // eleven sd off
    CHECK(rail_level(cuts).level_dbfs.value == Approx(db(0.5)));
    CHECK(rail_level(cuts).level_dbfs.sd == Approx(db(1 + kSpread / 2)).epsilon(1e-6));
    cuts.back().height = 0.505;          // 2.8: the mean of all five
    CHECK(rail_level(cuts).level_dbfs.value > db(0.5009));
}

TEST_CASE("a coupling's corner is found by what it moved the peaks by", "[rail_level]") {
    // each top stands lower by 2 pi corner times the sound's integral up to there
    for (const double corner_hz : {2.0, 8.0}) {
        std::vector<CutPeak> cuts;
        for (int i = -6; i <= 6; ++i) {
            const double integral = 2e-4 * i + 1e-4;
            cuts.push_back({0.5 - 2 * std::numbers::pi * corner_hz * integral, integral, 12.0});
        }
        const RailLevel rail = rail_level(cuts);
        CAPTURE(corner_hz);
        CHECK(rail.corner_hz == Approx(corner_hz).margin(0.4));
        CHECK(rail.level_dbfs.value == Approx(db(0.5)).margin(0.02));
        CHECK(rail.level_dbfs.sd > 0.005);
        CHECK(rail.level_dbfs.sd < 0.06);
        cuts.push_back({0.57, 2e-3, 12.0});   // another thing's peak has no say in the corner
        CHECK(rail_level(cuts).corner_hz == Approx(corner_hz).margin(0.4));
    }
    // no corner moves a top by more than a quarter: 0.16 s of 0.5 allow 1.25 Hz at most, the share of what it moved is roughly known
    const RailLevel far = rail_level(std::vector<CutPeak>(3, {0.5, 0.1 / (2 * std::numbers::pi), 10.0}));
    double sum = 0, corner = 0, level = 0;
    for (const double hz : {0.0, 0.25, 0.5, 0.75, 1.0, 1.25}) {
        sum += 1 / (1 + hz);
        corner += hz / (1 + hz);
        level += (0.5 + 0.1 * hz) / (1 + hz);
    }
    CHECK(far.corner_hz == Approx(corner / sum));
    CHECK(far.level_dbfs.value == Approx(db(level / sum)));
    double variance = 0;
    for (const double hz : {0.0, 0.25, 0.5, 0.75, 1.0, 1.25}) {
        const double of_fit = std::pow(kSpread * 0.5, 2) / 3;   // all tops are as high and as wide
        variance += (of_fit + std::pow(0.5 + 0.1 * hz - level / sum, 2)) / (1 + hz) / sum;
    }
    CHECK(far.level_dbfs.sd == Approx(db(1 + std::hypot(std::sqrt(variance), 0.15 * (level / sum - 0.5)) / (level / sum))).epsilon(1e-6));
}

TEST_CASE("three samples at the rail, or two at its very end, are an overload", "[sample_faults]") {
    const auto with = [](std::initializer_list<double> at) {
        auto x = sound(400, 0.1, 1);
        std::copy(at.begin(), at.end(), x.begin() + 200);
        return x;
    };
    const auto runs = runs_in(with({0.9991, 0.9995, 0.9992, 0.1}));
    REQUIRE(runs.size() == 1);
    CHECK(runs[0].what == SampleRun::What::overload);
    CHECK(runs[0].start == 200);
    CHECK(runs[0].length == 3);
    CHECK(runs[0].value == 0.9995);
    CHECK(runs_in(with({0.9991, 0.9995, 0.1})).empty());
    CHECK(runs_in(with({0.9991, -0.99999, 0.1})).size() == 1);
    CHECK(runs_in(with({-1.0, -1.0, 0.1}))[0].value == 1.0);
    CHECK(runs_in(with({0.9991, 0.99998, 0.1})).empty());
    CHECK(runs_in(with({1.0, 0.1})).empty());
    CHECK(runs_in(with({0.9989, 0.9989, 0.9990, 0.9989, 0.1})).empty());
    CHECK(runs_in(with({1.0, 1.0, 0.1, 0.9991, 0.9991, 0.1})).size() == 1);   // the second run has a height of its own
    auto to_the_end = sound(400, 0.1, 1);
    for (std::size_t i = 396; i < 400; ++i) to_the_end[i] = 1.0;
    CHECK(runs_in(to_the_end)[0].length == 4);
    CHECK(runs_in(to_the_end)[0].start == 396);
    SampleRunFinder many(48000, 0.999);
    for (int i = 0; i < 2100; ++i) many.add(std::array{1.0, 1.0, 0.0});
    many.finish();
    CHECK(many.overload_count() == 2100);
    CHECK(many.gap_count() == 0);
    CHECK(many.runs().size() == 2000);
}

TEST_CASE("one height held for three samples on three occasions is a converter's end below the rail", "[sample_faults]") {
    const auto with = [](std::initializer_list<std::pair<std::size_t, double>> tops, std::size_t length = 3) {
        auto x = sound(1000, 0.1, 2);
        for (const auto& [at, height] : tops) std::fill_n(x.begin() + static_cast<std::ptrdiff_t>(at), length, height);
        return runs_in(x);
    };
    const auto runs = with({{100, 0.95}, {300, -0.95}, {500, 0.95}});
    REQUIRE(runs.size() == 3);
    CHECK(runs[0].what == SampleRun::What::flat_top);
    CHECK(runs[0].start == 100);
    CHECK(runs[0].length == 3);
    CHECK(runs[0].value == 0.95);
    CHECK(runs[1].start == 300);
    CHECK(runs[1].value == -0.95);
    CHECK(runs[2].start == 500);
    CHECK(with({{100, 0.95}, {300, 0.95}}).empty());
    CHECK(with({{100, 0.95}, {300, 0.95}, {500, 0.95}}, 2).empty());
    CHECK(with({{100, 0.89}, {300, 0.89}, {500, 0.89}}).empty());
    CHECK(with({{100, 0.95}, {300, 0.96}, {500, 0.95}, {700, 0.95}}).empty());   // there is a higher one
    CHECK(with({{100, 0.95}, {200, 0.96}, {300, 0.96}, {500, 0.96}}).size() == 3);
    CHECK(with({{100, 0.95}, {200, 0.95}, {300, 0.96}, {500, 0.96}}).empty());   // two of each
    CHECK(with({{100, 0.95}, {200, 0.95}, {300, 0.95}, {500, 0.95}}).size() == 4);
}

TEST_CASE("32 zeros or 64 equal samples inside sound are a gap", "[sample_faults]") {
    const auto with = [](std::size_t at, std::size_t length, double value, double rms = 0.1, double rate = 48000) {
        auto x = sound(at + length + 300, rms, 3);
        std::fill_n(x.begin() + static_cast<std::ptrdiff_t>(at), length, value);
        if (at > 0) x[at - 1] = 0.05;
        x[at + length] = rms;
        return runs_in(x, rate);
    };
    const auto zeros = with(200, 32, 0.0);
    REQUIRE(zeros.size() == 1);
    CHECK(zeros[0].what == SampleRun::What::zeros);
    CHECK(zeros[0].start == 200);
    CHECK(zeros[0].length == 32);
    CHECK(zeros[0].value == 0.0);
    CHECK(with(200, 31, 0.0).empty());
    const auto held = with(200, 64, 0.25);
    REQUIRE(held.size() == 1);
    CHECK(held[0].what == SampleRun::What::held);
    CHECK(held[0].length == 64);
    CHECK(held[0].value == 0.25);
    CHECK(with(200, 63, 0.25).empty());
    CHECK(with(200, 64, 0.92).empty());                 // so high it is a top
    CHECK(with(0, 64, 0.0).empty());                    // nothing before it
    CHECK(with(200, 15990, 0.0, 0.1, 8000).size() == 1);
    CHECK(with(200, 16010, 0.0, 0.1, 8000).empty());     // longer than two seconds is a pause
    SampleRunFinder counted(48000, 0.999);
    auto twice = sound(700, 0.1, 4);
    std::fill_n(twice.begin() + 200, 40, 0.0);
    std::fill_n(twice.begin() + 400, 40, 0.0);
    counted.add(twice);
    CHECK(counted.gap_count() == 2);
    CHECK(counted.overload_count() == 0);
    SampleRunFinder still(48000, 0.999);
    std::fill_n(twice.begin() + 200, 70, 0.25);
    still.add(twice);
    CHECK(still.gap_count() == 2);   // one held, one of zeros
    CHECK(still.overload_count() == 0);
    // sound of some steps of its grid may hold: 8 steps rms for zeros, 64 for another value, by an average in which two samples of
    // the run itself have a sixth
    const auto faint = [](double steps, double value, std::size_t length) {
        std::vector<double> x;
        for (std::size_t i = 0; i < 2000; ++i) x.push_back((i % 2 == 0 ? 1.0 : -1.0) * steps / 32768 + (i % 4 < 2 ? 0.0 : 1.0 / 32768));
        x.insert(x.end(), length, value / 32768);
        for (std::size_t i = 0; i < 100; ++i) x.push_back((i % 2 == 0 ? 1.0 : -1.0) * steps / 32768);
        // one step between two neighbours tells the grid
        x[10] = x[9] + 1.0 / 32768;
        return runs_in(x).size();
    };
    CHECK(faint(9, 0, 40) == 1);
    CHECK(faint(7, 0, 40) == 0);
    CHECK(faint(72, 3, 70) == 1);
    CHECK(faint(68, 3, 70) == 0);
}

TEST_CASE("a stretch that repeats an earlier one bit for bit is a buffer handed over twice", "[sample_faults]") {
    const auto repeated = [](std::size_t at, std::size_t length, std::size_t lag, std::size_t more = 500) {
        auto x = sound(at + length + more, 0.1, 5);
        std::copy_n(x.begin() + static_cast<std::ptrdiff_t>(at - lag), length, x.begin() + static_cast<std::ptrdiff_t>(at));
        return replays_in(x);
    };
    const auto replays = repeated(1000, 256, 256);
    REQUIRE(replays.size() == 1);
    CHECK(replays[0].start == 1000);
    CHECK(replays[0].length == 256);
    CHECK(replays[0].lag == 256);
    CHECK(repeated(1000, 64, 100).size() == 1);
    CHECK(repeated(1000, 64, 100)[0].start == 1000);
    CHECK(repeated(1000, 64, 100)[0].length == 64);
    CHECK(repeated(1000, 63, 100).empty());
    CHECK(repeated(9000, 200, 8192).size() == 1);
    CHECK(repeated(9000, 200, 8193).empty());
    CHECK(repeated(1000, 256, 256, 0).size() == 1);   // up to the capture's end
    CHECK(repeated(1000, 256, 256, 0)[0].length == 256);
    CHECK(repeated(1000, 256, 256, 0)[0].start == 1000);
    // a sound of a period of its own repeats for longer than that
    auto periodic = sound(128, 0.1, 6);
    for (std::size_t i = 128; i < 2000; ++i) periodic.push_back(periodic[i - 128]);
    CHECK(replays_in(periodic).empty());
    CHECK(replays_in(std::vector<double>(2000, 0.25)).empty());
    // two repeats apart are two
    auto x = sound(4000, 0.1, 7);
    std::copy_n(x.begin() + 500, 200, x.begin() + 1500);
    std::copy_n(x.begin() + 2300, 100, x.begin() + 3000);
    const auto two = replays_in(x);
    REQUIRE(two.size() == 2);
    CHECK(two[1].start == 3000);
    CHECK(two[1].length == 100);
    CHECK(two[1].lag == 700);
    // nought is nought, whatever its sign; what mostly holds still repeats by itself
    auto z = sound(2000, 0.1, 9);
    z[550] = 0.0;
    std::copy_n(z.begin() + 500, 200, z.begin() + 1500);
    z[1550] = -0.0;
    REQUIRE(replays_in(z).size() == 1);
    CHECK(replays_in(z)[0].length == 200);
    std::vector<double> held(2000);
    for (std::size_t i = 0; i < held.size(); ++i) held[i] = z[i / 3];   // two samples of three are like the one before
    std::copy_n(held.begin() + 500, 200, held.begin() + 1500);
    CHECK(replays_in(held).empty());
    // all channels must repeat
    ReplayFinder stereo(2), both(2);
    auto y = sound(2000, 0.1, 8);
    for (std::size_t i = 0; i < 2000; ++i) {
        const std::array<double, 2> one{x[i], y[i]}, alike{x[i], i >= 1500 && i < 1700 ? y[i - 1000] : y[i]};
        stereo.add(one);
        both.add(alike);
    }
    stereo.finish();
    both.finish();
    CHECK(stereo.replays().empty());
    CHECK(both.replays().size() == 1);
}
