#include <catch2/catch.hpp>

#include "scenario_tools.hpp"

using namespace hushtrace;
using namespace simulation_test;

namespace {

constexpr double rate_hz = 48000;

/// A source with hard rails at `positive` and `negative` volts peak, that plays the interface's full-scale
/// tone at `drive_db` over 1 V peak at its top volume; no noise, no bend, straight through to the interface.
SimulatedVehicle driven(double drive_db, double positive, double negative) {
    return altered("healthy.json", [&](json& scenario) {
        make_steady(scenario);
        json& source = scenario["source"];
        for (const char* side : {"left", "right"})
            source[side] = {{"positive_rail_v", positive}, {"negative_rail_v", negative}};
        source["second_harmonic_percent"] = 0;
        source["third_harmonic_percent"] = 0;
        source["crosstalk_db"] = -200;
        source["output_ohm"] = 0;
        source["full_scale_v"] = std::pow(10.0, drive_db / 20) / std::numbers::sqrt2;
        source["line_full_scale_v"] = 2.0;
        scenario["interface"]["output_full_scale_v"] = 2.0;
        scenario["interface"]["volts_full_scale"] = {8, 8};
    });
}

std::vector<double> captured(SimulatedVehicle& vehicle, double frequency_hz, double peak, double volume,
                             std::size_t frames = 48000) {
    SimulatedConditions set;
    set.interface_feeds_source = true;
    set.conditions.volume = volume;
    vehicle.set_conditions(set);
    Block block;
    vehicle.render(sine(frequency_hz, peak, frames + 24000, rate_hz), block);
    const auto part = block.channel(0).subspan(24000);
    return {part.begin(), part.end()};
}

}  // namespace

TEST_CASE("hard rails make the harmonics of a clipped sine", "[simulation]") {
    // clipped_sine.csv, Fourier series: h3, h5, h7 of the fundamental and THD of the 2nd to 9th.
    int seen = 0;
    for (auto& row : reference_rows("clipped_sine.csv")) {
        const double drive_db = std::stod(row["drive_over_ceiling_db"]);
        if (row["case"].starts_with("square") || drive_db < 0.09 || drive_db > 12.1) continue;
        INFO("drive " << drive_db << " dB");
        auto vehicle = driven(drive_db, 1, -1);
        const auto samples = captured(vehicle, 997, 1.0, 40);
        const double first = peak_at(samples, 997, rate_hz);
        double squares = 0;
        for (int n = 2; n <= 9; ++n) squares += std::pow(peak_at(samples, 997.0 * n, rate_hz) / first, 2);
        CHECK(100 * std::sqrt(squares) ==
              Approx(std::stod(row["thd_h2_to_h9_percent"])).epsilon(0.005).margin(0.002));
        CHECK(peak_at(samples, 3 * 997.0, rate_hz) / first ==
              Approx(std::abs(std::stod(row["h3_re_fundamental"]))).epsilon(0.005).margin(2e-5));
        ++seen;
    }
    CHECK(seen >= 8);
}

TEST_CASE("one rail alone makes even harmonics too", "[simulation]") {
    // clipped_sine_onesided.csv: h2 and h3 of the fundamental.
    int seen = 0;
    for (auto& row : reference_rows("clipped_sine_onesided.csv")) {
        const double drive_db = std::stod(row["drive_over_ceiling_db"]);
        if (!(drive_db > 0.4 && drive_db < 7)) continue;
        INFO("drive " << drive_db << " dB");
        auto vehicle = driven(drive_db, 1, -50);
        const auto samples = captured(vehicle, 997, 1.0, 40);
        const double first = peak_at(samples, 997, rate_hz);
        for (const int n : {2, 3}) {
            CHECK(
                peak_at(samples, 997.0 * n, rate_hz) / first ==
                Approx(std::abs(std::stod(row["h" + std::to_string(n) + "_re_fundamental"]))).epsilon(0.005));
        }
        ++seen;
    }
    CHECK(seen >= 4);
}

TEST_CASE("harmonics beyond half the rate don't fold back", "[simulation]") {
    // A tone whose folded harmonics fall between its true ones, driven 6 dB into the rails: all that isn't a
    // harmonic stays 100 dB below the tone (up to 20 kHz).
    for (const double tone_hz : {997.0, 3701.0, 6997.0}) {
        auto vehicle = driven(6, 1, -1);
        const auto samples = captured(vehicle, tone_hz, 1.0, 40);
        const double first = peak_at(samples, tone_hz, rate_hz);
        double worst = 0, worst_hz = 0;
        for (int n = 2; n < 400; ++n) {
            const double folded = std::abs(std::remainder(tone_hz * n, rate_hz));
            const double order = folded / tone_hz;
            if (tone_hz * n < rate_hz / 2 || folded > 20000 || folded < 20 ||
                std::abs(order - std::round(order)) * tone_hz < 8)
                continue;
            const double level = peak_at(samples, folded, rate_hz) / first;
            if (level > worst) worst = level, worst_hz = folded;
        }
        INFO(tone_hz << " Hz: worst at " << worst_hz << " Hz");
        CHECK(decibels(worst) < -100);
    }
}

TEST_CASE("below its rails the source is clean, and each volume step is worth its decibels", "[simulation]") {
    auto vehicle = driven(0, 4, -4);
    const auto loud = captured(vehicle, 997, 0.5, 40);
    const double first = peak_at(loud, 997, rate_hz);
    for (int n = 2; n <= 9; ++n) CHECK(decibels(peak_at(loud, 997.0 * n, rate_hz) / first) < -110);
    for (const double volume : {39.0, 30.0, 12.0}) {
        const auto softer = captured(vehicle, 997, 0.5, volume);
        CHECK(decibels(peak_at(softer, 997, rate_hz) / first) == Approx(-1.25 * (40 - volume)).margin(0.005));
    }
    CHECK(peak_at(captured(vehicle, 997, 0.5, 0), 997, rate_hz) < 1e-6 * first);
}

TEST_CASE("a meter on the lead reads what is captured", "[simulation]") {
    SimulatedVehicle vehicle(signals_folder() / "early_clipping.json");
    const json scenario = read_json("early_clipping.json");
    for (const double volume : {20.0, 35.0, 44.0, 50.0}) {  // the last two into the rails
        INFO("volume " << volume);
        for (const double tone_hz : {200.0, 997.0}) {
            const auto samples = captured(vehicle, tone_hz, 1.0, volume);
            const double volts = rms(samples) * scenario["interface"]["volts_full_scale"][0].get<double>();
            CHECK(decibels(vehicle.meter_source_output_v(tone_hz, 0) / volts) == Approx(0).margin(0.02));
        }
    }
}

TEST_CASE("a file is played by the source's own clock", "[simulation]") {
    for (const std::uint32_t file_rate : {44100u, 48000u, 96000u}) {
        INFO(file_rate << " Hz");
        TemporaryFile tone(".wav");
        write_float_wav(tone.path(), sine(997, 0.5, 6 * file_rate, file_rate), file_rate);
        auto vehicle = altered("healthy.json", [](json& scenario) {
            make_steady(scenario);
            scenario["interface"]["volts_full_scale"] = {8, 8};
            scenario["source"]["clock_ppm"] = 60;
            scenario["interface"]["clock_ppm"] = -20;
        });
        SimulatedConditions set;
        set.played_file = tone.path();
        set.conditions.volume = 40;
        vehicle.set_conditions(set);
        rendered(vehicle, 0.5);
        const Block block = rendered(vehicle, 5.0);
        // 80 ppm apart: the phase against 997 Hz turns by 2 pi 997 * 80e-6 a second.
        const auto early = phasor_at(block.channel(0).first(48000), 997, rate_hz);
        const auto late = phasor_at(block.channel(0).last(48000), 997, rate_hz);
        const double turned =
            std::remainder(std::arg(late / early) - 2 * std::numbers::pi * 997 * 4, 2 * std::numbers::pi);
        const double ppm = 1e6 * turned / (2 * std::numbers::pi * 997 * 4);
        CHECK(ppm == Approx(80.0016).margin(0.1));
        // Interpolation leaves nothing beside the tone but the vehicle's own bend.
        CHECK(decibels(peak_at(block.channel(0), 5000, rate_hz) / std::abs(early)) < -105);
    }
}

TEST_CASE("digital silence mutes a source that does so, near-silence doesn't", "[simulation]") {
    const auto noise_after = [](double dither) {
        std::vector<double> samples(5 * 48000);
        for (std::size_t i = 0; i < samples.size(); ++i) samples[i] = i % 2 ? dither : 0.0;
        TemporaryFile file(".wav");
        write_float_wav(file.path(), samples, 48000);
        auto vehicle = altered("healthy.json", [](json& scenario) {
            make_steady(scenario);
            scenario["source"]["input_noise_dbfs"] = -90;
        });
        SimulatedConditions set;
        set.played_file = file.path();
        set.conditions.volume = 40;
        vehicle.set_conditions(set);
        const double early = rms(rendered(vehicle, 1.0).channel(0));
        rendered(vehicle, 2.0);
        return rms(rendered(vehicle, 1.0).channel(0)) / early;
    };
    CHECK(noise_after(0.0) < 0.05);
    CHECK(noise_after(1.0 / 32768) == Approx(1).margin(0.1));
}

TEST_CASE("a paused, a muted and a switched-off source play nothing", "[simulation]") {
    auto vehicle = driven(0, 4, -4);
    for (const SourceState state : {SourceState::paused, SourceState::muted, SourceState::off}) {
        SimulatedConditions set;
        set.interface_feeds_source = true;
        set.conditions.volume = 40;
        set.conditions.source = state;
        vehicle.set_conditions(set);
        Block block;
        vehicle.render(sine(997, 0.5, 48000, rate_hz), block);
        CHECK(peak_at(block.channel(0).subspan(24000), 997, rate_hz) < 1e-6);
    }
}

TEST_CASE("an inverted, delayed and quieter channel comes out so", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        make_steady(scenario);
        scenario["interface"]["volts_full_scale"] = {8, 8};
        scenario["source"]["right"]["inverted"] = true;
        scenario["source"]["right"]["delay_ms"] = 1;
        scenario["source"]["right"]["gain_db"] = -3;
    });
    SimulatedConditions set;
    set.interface_feeds_source = true;
    set.conditions.volume = 36;
    vehicle.set_conditions(set);
    Block block;
    vehicle.render(sine(200, 0.3, 72000, rate_hz), block);
    const auto left = phasor_at(block.channel(0).subspan(24000), 200, rate_hz);
    const auto right = phasor_at(block.channel(1).subspan(24000), 200, rate_hz);
    CHECK(decibels(std::abs(right / left)) == Approx(-3).margin(0.01));
    // Half a turn for the polarity, 0.2 of one for the millisecond.
    CHECK(std::remainder(std::arg(right / left), 2 * std::numbers::pi) ==
          Approx(std::remainder(std::numbers::pi - 2 * std::numbers::pi * 0.2, 2 * std::numbers::pi))
              .margin(0.005));
}
