#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"
#include "scenario_tools.hpp"

using namespace hushtrace;
using namespace simulation_test;

namespace {

constexpr double rate_hz = 48000;
constexpr double pi = std::numbers::pi;
using Complex = std::complex<double>;

/// A source without noise, bends, cross-talk or rails in reach; `edit` shapes its sound.
SimulatedVehicle shaped(const std::function<void(json&)>& edit) {
    return altered("healthy.json", [&](json& scenario) {
        make_steady(scenario);
        json& source = scenario["source"];
        for (const char* side : {"left", "right"}) source[side] = {{"positive_rail_v", 50}, {"negative_rail_v", -50}};
        source["second_harmonic_percent"] = 0;
        source["third_harmonic_percent"] = 0;
        source["crosstalk_db"] = -200;
        source["full_scale_v"] = 4.0;
        source["line_full_scale_v"] = 2.0;
        scenario["interface"]["output_full_scale_v"] = 2.0;
        scenario["interface"]["volts_full_scale"] = {20, 20};
        edit(scenario);
    });
}

Block played(SimulatedVehicle& vehicle, double frequency_hz, double peak, double volume,
             std::vector<Channel> channels = {Channel::left, Channel::right}) {
    SimulatedConditions set;
    set.interface_feeds_source = true;
    set.conditions.volume = volume;
    set.channels = std::move(channels);
    vehicle.set_conditions(set);
    Block block;
    vehicle.render(sine(frequency_hz, peak, 96000, rate_hz), block);
    return block;
}
Complex phasor(const Block& block, std::size_t channel, double frequency_hz) {
    return phasor_at(block.channel(channel).subspan(48000), frequency_hz, rate_hz);
}

/// Numerator over denominator of a biquad at a frequency.
Complex biquad(std::array<double, 3> b, std::array<double, 3> a, double frequency_hz) {
    const Complex back = std::polar(1.0, -2 * pi * frequency_hz / rate_hz);
    return (b[0] + back * (b[1] + back * b[2])) / (a[0] + back * (a[1] + back * a[2]));
}
/// R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients" (the widely copied text; a W3C note
/// since 2021), digital coefficients as printed there.
Complex cookbook(const std::string& kind, double f0, double gain_db, double q, double frequency_hz) {
    const double w = 2 * pi * f0 / rate_hz, c = std::cos(w), alpha = std::sin(w) / (2 * q);
    const double A = std::pow(10.0, gain_db / 40), root = 2 * std::sqrt(A) * alpha;
    if (kind == "peak")
        return biquad({1 + alpha * A, -2 * c, 1 - alpha * A}, {1 + alpha / A, -2 * c, 1 - alpha / A}, frequency_hz);
    if (kind == "low_shelf")
        return biquad({A * ((A + 1) - (A - 1) * c + root), 2 * A * ((A - 1) - (A + 1) * c), A * ((A + 1) - (A - 1) * c - root)},
                      {(A + 1) + (A - 1) * c + root, -2 * ((A - 1) + (A + 1) * c), (A + 1) + (A - 1) * c - root}, frequency_hz);
    if (kind == "high_shelf")
        return biquad({A * ((A + 1) + (A - 1) * c + root), -2 * A * ((A - 1) + (A + 1) * c), A * ((A + 1) + (A - 1) * c - root)},
                      {(A + 1) - (A - 1) * c + root, 2 * ((A - 1) - (A + 1) * c), (A + 1) - (A - 1) * c - root}, frequency_hz);
    return biquad({1 - alpha, -2 * c, 1 + alpha}, {1 + alpha, -2 * c, 1 - alpha}, frequency_hz);  // all_pass
}
double turn_between(Complex a, Complex b) { return std::remainder(std::arg(a / b), 2 * pi); }

}  // namespace

TEST_CASE("an output's peaks, shelves and all-passes are the cookbook's", "[simulation]") {
    struct Case {
        const char* kind;
        double f0, gain_db, q;
    };
    for (const Case& one : {Case{"peak", 60, 6, 1}, Case{"peak", 3000, -8, 4}, Case{"low_shelf", 100, 9, 0.7},
                            Case{"high_shelf", 6000, -5, 0.7}, Case{"all_pass", 400, 0, 0.9}}) {
        INFO(one.kind << " at " << one.f0);
        auto vehicle = shaped([&](json& scenario) {
            json filter = {{"kind", one.kind}, {"frequency_hz", one.f0}, {"q", one.q}};
            if (std::string(one.kind) != "all_pass") filter["gain_db"] = one.gain_db;
            scenario["source"]["right"]["filters"] = json::array({filter});
        });
        for (const double factor : {0.5, 0.9, 1.0, 1.3, 2.5}) {
            const double hz = one.f0 * factor;
            const Block block = played(vehicle, hz, 0.1, 40);
            const Complex through = phasor(block, 1, hz) / phasor(block, 0, hz);
            const Complex wanted = cookbook(one.kind, one.f0, one.gain_db, one.q, hz);
            CHECK(decibels(std::abs(through) / std::abs(wanted)) == Approx(0).margin(0.01));
            CHECK(turn_between(through, wanted) == Approx(0).margin(0.002));
        }
    }
}

TEST_CASE("crossovers fall as Butterworth and Linkwitz-Riley filters do", "[simulation]") {
    // Butterworth 1930: |H|^2 = 1/(1 + x^2n), x the frequency over the corner (for high-pass the reverse), both warped by
    // the bilinear transform. Linkwitz, Riley 1976: the square of a Butterworth of half the order, -6.02 dB at the corner.
    for (const char* kind : {"high_pass", "low_pass"})
        for (const int order : {1, 2, 3, 4, 8})
            for (const bool linkwitz_riley : {false, true}) {
                if (linkwitz_riley && order % 2 == 1) continue;
                INFO(kind << " of order " << order << (linkwitz_riley ? ", Linkwitz-Riley" : ""));
                auto vehicle = shaped([&](json& scenario) {
                    scenario["source"]["right"]["filters"] = {
                        {{"kind", kind}, {"frequency_hz", 1000}, {"order", order}, {"linkwitz_riley", linkwitz_riley}}};
                });
                for (const double hz : {400.0, 1000.0, 2200.0}) {
                    const Block block = played(vehicle, hz, 0.3, 40);
                    double x = std::tan(pi * hz / rate_hz) / std::tan(pi * 1000 / rate_hz);
                    if (std::string(kind) == "high_pass") x = 1 / x;
                    const double wanted = linkwitz_riley ? 1 / (1 + std::pow(x, order)) : 1 / std::sqrt(1 + std::pow(x, 2 * order));
                    CHECK(decibels(std::abs(phasor(block, 1, hz) / phasor(block, 0, hz)) / wanted) == Approx(0).margin(0.01));
                }
            }
}

TEST_CASE("a fourth-order Linkwitz-Riley pair adds up to an all-pass", "[simulation]") {
    auto vehicle = shaped([](json& scenario) {
        scenario["source"]["left"]["filters"] = {
            {{"kind", "low_pass"}, {"frequency_hz", 2000}, {"order", 4}, {"linkwitz_riley", true}}};
        scenario["source"]["right"]["filters"] = {
            {{"kind", "high_pass"}, {"frequency_hz", 2000}, {"order", 4}, {"linkwitz_riley", true}}};
    });
    auto plain = shaped([](json&) {});
    for (const double hz : {300.0, 2000.0, 2500.0, 9000.0}) {
        const Block block = played(vehicle, hz, 0.1, 40), straight = played(plain, hz, 0.1, 40);
        const Complex sum = phasor(block, 0, hz) + phasor(block, 1, hz);
        CHECK(decibels(std::abs(sum) / std::abs(phasor(straight, 0, hz))) == Approx(0).margin(0.01));
    }
}

TEST_CASE("tone controls ahead of a digital ceiling clip at every volume alike", "[simulation]") {
    // clipped_sine.csv, Fourier series, 6 dB over: the boost drives the ceiling, the volume control comes after it.
    double wanted = 0;
    for (auto& row : reference_rows("clipped_sine.csv"))
        if (!row["case"].starts_with("square") && std::abs(std::stod(row["drive_over_ceiling_db"]) - 6) < 0.01)
            wanted = std::stod(row["thd_h2_to_h9_percent"]);
    REQUIRE(wanted > 10);
    const auto thd_percent = [](double ceiling_dbfs, double volume, double gain_db) {
        auto vehicle = shaped([&](json& scenario) {
            scenario["source"]["equaliser"] = {{{"kind", "peak"}, {"frequency_hz", 997}, {"gain_db", gain_db}, {"q", 1}}};
            scenario["source"]["digital_ceiling_dbfs"] = ceiling_dbfs;
        });
        const Block block = played(vehicle, 997, std::pow(10.0, -1.0 / 20), volume);
        const double first = std::abs(phasor(block, 0, 997));
        double squares = 0;
        for (int n = 2; n <= 9; ++n) squares += std::norm(phasor(block, 0, 997.0 * n) / first);
        return 100 * std::sqrt(squares);
    };
    CHECK(thd_percent(0, 40, 7) == Approx(wanted).epsilon(0.005));
    CHECK(thd_percent(0, 15, 7) == Approx(wanted).epsilon(0.005));
    CHECK(thd_percent(3, 40, 10) == Approx(wanted).epsilon(0.005));
    CHECK(thd_percent(0, 40, 0) < 0.01);
}

TEST_CASE("a factory source takes bass away as the volume rises", "[simulation]") {
    const std::vector<std::pair<double, double>> table = {{10, 8}, {30, 2}, {40, -6}};
    auto vehicle = shaped([&](json& scenario) {
        scenario["source"]["volume_bass"] = {{"frequency_hz", 100}, {"table_db", json::array({{10, 8}, {30, 2}, {40, -6}})}};
    });
    auto plain = shaped([](json&) {});
    for (const auto& [volume, gain_db] : std::vector<std::pair<double, double>>{{5, 8}, {10, 8}, {20, 5}, {35, -2}, {40, -6}}) {
        INFO("volume " << volume);
        for (const double hz : {25.0, 100.0, 2000.0}) {
            const Block block = played(vehicle, hz, 0.1, volume), straight = played(plain, hz, 0.1, volume);
            const double wanted = std::abs(cookbook("low_shelf", 100, gain_db, std::numbers::sqrt2 / 2, hz));
            CHECK(decibels(std::abs(phasor(block, 0, hz) / phasor(straight, 0, hz)) / wanted) == Approx(0).margin(0.02));
        }
    }
}

TEST_CASE("a limiter holds the level and keeps the tone clean", "[simulation]") {
    auto vehicle = shaped([](json& scenario) {
        scenario["source"]["limiter"] = {{"threshold_v", 2.0}, {"ratio", 10}, {"attack_ms", 5}, {"release_ms", 300}};
        scenario["source"]["output_ohm"] = 0;
    });
    // 4 V at the top volume, 1.25 dB a step: below the threshold straight, above it a tenth of the decibels is left.
    const auto level_db = [&](double volume) {
        const Block block = played(vehicle, 997, 1.0, volume);
        const double first = std::abs(phasor(block, 0, 997));
        for (int n = 2; n <= 5; ++n) CHECK(decibels(std::abs(phasor(block, 0, 997.0 * n)) / first) < -70);
        return decibels(20 * first / std::numbers::sqrt2 / 2.0);  // over the threshold
    };
    CHECK(level_db(30) == Approx(6.0206 - 12.5).margin(0.02));
    CHECK(level_db(40) == Approx(0.60206).margin(0.05));
    CHECK(level_db(38) == Approx(0.352).margin(0.05));
}

TEST_CASE("further outputs play their side, and a subwoofer's both", "[simulation]") {
    auto vehicle = shaped([](json& scenario) {
        const json output = {{"positive_rail_v", 50}, {"negative_rail_v", -50}};
        json& source = scenario["source"];
        source["rear_left"] = output;
        source["rear_left"]["gain_db"] = -3;
        source["rear_right"] = output;
        source["rear_right"]["inverted"] = true;
        source["sub"] = output;
        source["sub"]["filters"] = {{{"kind", "low_pass"}, {"frequency_hz", 80}, {"order", 4}}};
    });
    const double front = std::abs(phasor(played(vehicle, 40, 0.1, 40), 0, 40));
    const Block rear = played(vehicle, 40, 0.1, 40, {Channel::rear_left, Channel::rear_right});
    CHECK(decibels(std::abs(phasor(rear, 0, 40)) / front) == Approx(-3).margin(0.01));
    CHECK(std::abs(turn_between(phasor(rear, 1, 40), phasor(rear, 0, 40))) == Approx(pi).margin(0.001));
    const Block sub = played(vehicle, 160, 0.1, 40, {Channel::left, Channel::sub});
    CHECK(decibels(std::abs(phasor(sub, 1, 160) / phasor(sub, 0, 160))) == Approx(-10 * std::log10(1 + 256)).margin(0.05));
    CHECK_THROWS_AS(played(vehicle, 40, 0.1, 40, {Channel::center}), Error);
}

TEST_CASE("swapped leads carry the other output", "[simulation]") {
    const auto quieter_right = [](json& scenario) { scenario["source"]["right"]["gain_db"] = -6; };
    auto straight = shaped(quieter_right);
    auto swapped = shaped([&](json& scenario) {
        quieter_right(scenario);
        scenario["lead"]["swapped"] = true;
    });
    const Block a = played(straight, 997, 0.1, 40), b = played(swapped, 997, 0.1, 40);
    CHECK(decibels(std::abs(phasor(a, 1, 997) / phasor(a, 0, 997))) == Approx(-6).margin(0.01));
    CHECK(decibels(std::abs(phasor(b, 1, 997) / phasor(b, 0, 997))) == Approx(6).margin(0.01));
}

TEST_CASE("a meter on the lead reads what a shaped source puts out", "[simulation]") {
    auto vehicle = shaped([](json& scenario) {
        json& source = scenario["source"];
        source["equaliser"] = {{{"kind", "low_shelf"}, {"frequency_hz", 150}, {"gain_db", 9}, {"q", 0.7}}};
        source["digital_ceiling_dbfs"] = 0;
        source["volume_bass"] = {{"frequency_hz", 90}, {"table_db", json::array({{1, 6}, {40, -6}})}};
        source["left"]["filters"] = {{{"kind", "high_pass"}, {"frequency_hz", 60}, {"order", 2}}};
    });
    for (const double hz : {50.0, 200.0, 997.0})
        for (const double level_dbfs : {-20.0, 0.0}) {
            INFO(hz << " Hz at " << level_dbfs << " dBFS");
            const Block block = played(vehicle, hz, std::pow(10.0, level_dbfs / 20), 25);
            const double volts = 20 * rms(block.channel(0).subspan(48000));
            CHECK(decibels(vehicle.meter_source_output_v(hz, level_dbfs) / volts) == Approx(0).margin(0.02));
        }
}

TEST_CASE("sound shaping that makes no sense is refused by the field's name", "[simulation]") {
    const auto refused = [](const std::function<void(json&)>& edit, const std::string& says) {
        try {
            shaped(edit);
        } catch (const Error& error) {
            INFO(error.what());
            CHECK(error.kind() == ErrorKind::invalid_input);
            CHECK(std::string(error.what()).find(says) != std::string::npos);
            return;
        }
        FAIL("not refused: " << says);
    };
    const auto filter = [&](json one, const std::string& says) {
        refused([&](json& scenario) { scenario["source"]["left"]["filters"] = json::array({one}); }, says);
    };
    filter({{"kind", "notch"}, {"frequency_hz", 100}}, "kind");
    filter({{"kind", "peak"}, {"frequency_hz", 100}}, "gain_db");
    filter({{"kind", "low_pass"}, {"frequency_hz", 100}, {"order", 3}, {"linkwitz_riley", true}}, "order");
    filter({{"kind", "low_pass"}, {"frequency_hz", 0}}, "frequency_hz");
    filter({{"kind", "low_pass"}, {"frequency_hz", 100}, {"gain_db", 3}}, "gain_db");
    refused([](json& scenario) { scenario["source"]["volume_bass"] = {{"frequency_hz", 90}, {"table_db", {{5, 1}}}}; }, "table_db");
    refused([](json& scenario) { scenario["source"]["limiter"] = {{"ratio", 2}}; }, "threshold_v");
}
