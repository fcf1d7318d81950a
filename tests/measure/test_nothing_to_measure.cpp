// Every measurement on takes that hold nothing of its kind, or worse: an Error with a reason, or figures that are true.
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>

#include "hushtrace/measure/channel_comparison.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/measure/distortion.hpp"
#include "hushtrace/measure/impulse_train.hpp"
#include "hushtrace/measure/intermodulation.hpp"
#include "hushtrace/measure/level.hpp"
#include "hushtrace/measure/marker_finder.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/measure/noise_response.hpp"
#include "hushtrace/measure/plateaus.hpp"
#include "hushtrace/measure/quasi_peak.hpp"
#include "hushtrace/measure/ridge.hpp"
#include "hushtrace/measure/sweep_response.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

using Samples = std::vector<double>;
using Figures = std::vector<double>;

struct Measurement {
    std::string name;
    std::function<Figures(const Samples&, double)> read;
    bool refuses_nothing = false;  ///< silence and dc must be refused, since there is nothing that it could read
};

void put(Figures& to, const Reading& reading) { to.insert(to.end(), {reading.value, reading.sd}); }

std::vector<Measurement> measurements() {
    const TonePlace place{0.1, 1e-6, 0, 1};
    const auto seen = [](const Transfer& transfer) {
        Figures out;
        for (const TransferPoint& p : transfer)
            if (p.seen()) put(out, p.magnitude_db());
        return out;
    };
    return {
        {"tone", [](const Samples& s, double rate) {
             const ToneReading t = read_tone(s, rate);
             return Figures{t.frequency_hz, t.frequency_sd_hz, t.level_dbfs, t.level_sd_db, t.phase_rad, t.mean};
         }, true},
        {"distortion", [](const Samples& s, double rate) {
             const Distortion d = measure_distortion(s, rate);
             return Figures{d.thd_ratio, d.thd_sd_ratio, d.thd_noise_ratio, d.sinad_db};
         }, true},
        {"intermodulation", [](const Samples& s, double rate) {
             const Intermodulation d = measure_intermodulation(s, rate, {TwoToneMethod::difference_frequency, 1000, 1230});
             return Figures{d.total_ratio.value, d.total_ratio.sd};
         }, true},
        {"clipping", [](const Samples& s, double rate) {
             const ToneClipping c = read_tone_clipping(s, rate);
             Figures out{c.clipped_share, c.unexplained_share, c.pinned_share};
             if (c.knee_dbfs) put(out, *c.knee_dbfs);
             return out;
         }, true},
        {"sweep", [=](const Samples& s, double rate) {
             return seen(measure_sweep_response(s, rate, {Sweep{20, 3500, 0.8, -20}, 0.01}, place).transfer);
         }},
        {"sweep finder", [](const Samples& s, double rate) {
             SweepFinder finder(rate, {Sweep{20, 3500, 0.8, -20}, 0.01});
             finder.add(s);
             CHECK_FALSE(finder.result());
             return Figures{};
         }},
        {"noise response", [=](const Samples& s, double rate) { return seen(measure_noise_response(s, rate, Pink{}, place, 0.8).transfer); }},
        {"pulses", [=](const Samples& s, double rate) {
             return seen(measure_pulse_response(s, rate, PolarityPulse{}, place, 0.8));
         }},
        {"markers", [](const Samples& s, double rate) {
             MarkerFinder finder(rate);
             finder.add(s);
             CHECK(finder.result().empty());
             return Figures{};
         }},
        {"plateaus", [](const Samples& s, double rate) {
             ToneTracker tracker(rate, 997);
             tracker.add(s);
             const std::vector<ToneTrack> tracks = {tracker.track()};
             // a square's fifth partial lies near enough to 997 Hz to be held for it: its frequency is read later
             for (const Plateau& one : find_plateaus(tracks))
                 CHECK((std::isnan(one.level_ln[0]) || one.level_ln[0] < std::log(1e-9) || one.level_ln[0] > std::log(0.1)));
             return Figures{};
         }},
        {"ridges", [](const Samples& s, double rate) {
             Figures out;
             for (const Ridge& one : find_ridges(s, rate)) out.insert(out.end(), {one.log_evidence, one.snr_db, one.track.mean_hz()});
             return out;
         }},
        {"clicks", [](const Samples& s, double rate) {
             const auto train = find_impulse_train(s, rate);
             return train ? Figures{train->mean_square, train->significance, train->contrast_db} : Figures{};
         }},
    };
}

struct Bad {
    std::string name;
    Samples samples;
};
std::vector<Bad> bad_takes(double rate) {
    const auto count = static_cast<std::size_t>(1.2 * rate);
    Samples square(count), spoilt(count);
    for (std::size_t n = 0; n < count; ++n) {
        const double t = static_cast<double>(n) / rate;
        square[n] = std::fmod(200 * t, 1.0) < 0.5 ? 1.0 : -1.0;
        spoilt[n] = n == count / 2 ? std::numeric_limits<double>::quiet_NaN() : 0.3 * std::sin(2 * std::numbers::pi * 997 * t);
    }
    return {{"empty", {}}, {"one sample", {0.3}}, {"10 ms", Samples(static_cast<std::size_t>(0.01 * rate), 0.1)},
            {"silence", Samples(count, 0.0)}, {"dc", Samples(count, 0.4)}, {"square", square}, {"NaN", spoilt}};
}

}  // namespace

TEST_CASE("nothing to measure: an error with a reason, or figures that are numbers", "[bad input]") {
    const double rate = GENERATE(8000.0, 192000.0);
    for (const Bad& bad : bad_takes(rate))
        for (const Measurement& one : measurements()) {
            CAPTURE(rate, bad.name, one.name);
            try {
                const Figures figures = one.read(bad.samples, rate);
                for (const double figure : figures) CHECK(std::isfinite(figure));
                const bool nothing = bad.name != "square" && bad.name != "NaN";
                if (nothing) CHECK_FALSE(one.refuses_nothing);
                if (nothing) CHECK(figures.empty());
                CHECK((bad.name != "NaN" || figures.empty()));
            } catch (const Error& error) {
                CHECK(std::string(error.what()).size() > 15);
            }
        }
}

TEST_CASE("levels and floors of nothing", "[bad input]") {
    const double rate = GENERATE(8000.0, 48000.0, 384000.0);
    CHECK_THROWS_AS(measure_level(Samples{}), Error);
    CHECK(measure_level(Samples(100, 0.0)).rms_dbfs == -std::numeric_limits<double>::infinity());
    CHECK(measure_level(Samples(100, 1.0)).rms_dbfs == Approx(3.0103).margin(1e-4));
    for (const Bad& bad : bad_takes(rate)) {
        if (static_cast<double>(bad.samples.size()) < rate) continue;
        CAPTURE(rate, bad.name);
        SpectrumAccumulator spectrum(rate, static_cast<std::size_t>(rate / 4));
        QuasiPeakMeter meter(rate);
        if (bad.name == "NaN") {
            spectrum.add(bad.samples);
            CHECK_THROWS_AS(noise_floor(spectrum.result()), Error);
            continue;
        }
        spectrum.add(bad.samples);
        meter.add(bad.samples);
        CHECK_FALSE(meter.mean());  // 1.2 s
        CHECK(std::isfinite(meter.indication()));
        const NoiseFloor floor = noise_floor(spectrum.result());
        if (bad.name != "square") CHECK(floor.all.unweighted.value < 1e-24);
        if (bad.name == "square" && rate > 40000) {
            double partials = 0;  // Fourier series of a square, 20 kHz at the most
            for (int n = 1; n * 200 < 20000; n += 2) partials += 8 / std::pow(std::numbers::pi * n, 2);
            CHECK(floor.all.unweighted.value == Approx(partials).epsilon(0.01));
        }
    }
}
