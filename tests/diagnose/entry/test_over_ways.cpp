#include "../../../src/diagnose/entry/over_ways.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace hushtrace;

namespace {

using W = EntryWay;

EntryPosterior posterior_of(const std::vector<std::pair<EntrySet, std::vector<double>>>& sets) {
    EntryPosterior out;
    for (auto [set, by_share] : sets) {
        set.probability = 0;
        for (const double one : by_share) set.probability += one;
        out.sets.push_back(set);
        out.by_share.push_back(by_share);
    }
    return out;
}

/// Each way's change by itself; what isn't named changes nothing.
WayChange changes(const std::vector<std::pair<EntryWay, Reading>>& named) {
    return [named](EntryWay way) {
        for (const auto& [one, change] : named)
            if (one == way) return change;
        return Reading{0.0, 0.0, {}};
    };
}

}  // namespace

TEST_CASE("the chance of a way is that of all sets that hold it", "[cures]") {
    const EntryPosterior posterior = posterior_of({{{W::ground_loop, std::nullopt}, {0.5}}, {{W::ground_loop, W::contact}, {0.1, 0.2}},
                                                   {{W::contact, std::nullopt}, {0.15}},
                                                   {{W::antenna_lead, std::nullopt}, {0.05}}});
    CHECK(chance_of(posterior, W::ground_loop) == Approx(0.8));
    CHECK(chance_of(posterior, W::contact) == Approx(0.45));
    CHECK(chance_of(posterior, W::antenna_lead) == Approx(0.05));
    CHECK(chance_of(posterior, W::speaker_side) == 0.0);
}

TEST_CASE("one way's change is what a cure brings, and its spread", "[cures]") {
    const EntryPosterior loop = posterior_of({{{W::ground_loop, std::nullopt}, {0.7}}});
    const Reading middle = middle_change(loop, changes({{W::ground_loop, {-12.0, 2.0, {}}}}));
    CHECK(middle.value == Approx(-12));
    CHECK(middle.sd == Approx(2.0).epsilon(1e-3));   // from 16 to 84 % are two of a normal law's standard deviations
    const Reading power = power_change(loop, changes({{W::ground_loop, {-12.0, 2.0, {}}}}));
    CHECK(power.value == Approx(-12));
    CHECK(power.sd == Approx(2.0));
    // no deeper than what the floor lets see; and no surer than a tenth of a decibel
    const Reading deep = middle_change(loop, changes({{W::ground_loop, {-60.0, 0.0, {}}}}));
    CHECK(deep.value == kDeepestFall_db);
    CHECK(deep.sd == Approx(0.1).epsilon(1e-3));
    CHECK(power_change(loop, changes({{W::ground_loop, {-60.0, 0.0, {}}}})).value == Approx(kDeepestFall_db));
}

TEST_CASE("over ways that are open the middle is a median, the power a mean", "[cures]") {
    const EntryPosterior open = posterior_of({{{W::source_internal, std::nullopt}, {0.45}}, {{W::ground_loop, std::nullopt}, {0.3}},
                                              {{W::contact, std::nullopt}, {0.15}}});
    const WayChange change = changes({{W::ground_loop, {-20.0, 1.0, {}}}, {W::contact, {-10.0, 2.0, {}}}, {W::source_internal, {0.0, 0.5, {}}}});
    // of 0.9 in all, half lies at or below -10 dB
    CHECK(middle_change(open, change).value == Approx(-10));
    const double mean_db = 10 * std::log10((0.3 * 0.01 + 0.15 * 0.1 + 0.45) / 0.9);
    const Reading power = power_change(open, change);
    CHECK(power.value == Approx(mean_db));
    const auto apart = [mean_db](double value, double sd) { return (value - mean_db) * (value - mean_db) + sd * sd; };
    CHECK(power.sd == Approx(std::sqrt((0.3 * apart(-20, 1) + 0.15 * apart(-10, 2) + 0.45 * apart(0, 0.5)) / 0.9)));
    // a third lies at -20 dB and half at 0: 16 % are reached within the former (its own 47th of hundred, so 0.06 sd below its
    // middle), 84 % within the latter (0.34 of its 0.5 from below: its 68th, 0.47 sd above)
    const double low = -20 + 1.0 * -0.0602, high = 0.0 + 0.5 * 0.4721;
    CHECK(middle_change(open, change).sd == Approx(0.5 * (high - low)).epsilon(0.002));
    // the other half, once the first is a little less
    const EntryPosterior less = posterior_of({{{W::ground_loop, std::nullopt}, {0.29}}, {{W::contact, std::nullopt}, {0.15}},
                                              {{W::source_internal, std::nullopt}, {0.46}}});
    CHECK(middle_change(less, change).value == Approx(0).margin(1e-12));
}

TEST_CASE("of two ways each share of the power changes by itself", "[cures]") {
    // a set's shares: all of its chance at one of them
    for (std::size_t x = 0; x < kShares; ++x) {
        std::vector<double> by_share(kShares, 0.0);
        by_share[x] = 0.6;
        const EntryPosterior two = posterior_of({{{W::ground_loop, W::contact}, by_share}});
        const WayChange change = changes({{W::ground_loop, {-20.0, 2.0, {}}}, {W::contact, {-3.0, 0.7, {}}}});
        const double share = first_share(x), a = share * 0.01, b = (1 - share) * std::pow(10, -0.3);
        const Reading middle = middle_change(two, change);
        CHECK(middle.value == Approx(10 * std::log10(a + b)));
        CHECK(middle.sd == Approx(std::hypot(2 * a, 0.7 * b) / (a + b)).epsilon(0.002));
        CHECK(power_change(two, change).value == Approx(10 * std::log10(a + b)));
        CHECK(power_change(two, change).sd == Approx(std::hypot(2 * a, 0.7 * b) / (a + b)));
    }
}
