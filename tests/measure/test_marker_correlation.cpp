#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../src/measure/marker_correlation.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 4000;
constexpr std::size_t kLength = 10000;   // 2.5 s
constexpr auto kOpening = Marker::End::opening, kClosing = Marker::End::closing;

void add(std::vector<double>& frame, Marker::End end, std::size_t place, double gain) {
    const auto shape = marker_samples(end, kRate);
    for (std::size_t i = 0; i < shape.size() && place + i < frame.size(); ++i) frame[place + i] += gain * shape[i];
}
void add_noise(std::vector<double>& frame, double rms, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    for (double& one : frame) one += normal(engine);
}

}  // namespace

TEST_CASE("a rate has the bands that it holds", "[marker]") {
    MarkerCorrelation correlation(kRate, kLength);
    const auto kinds = [](double rate) {
        MarkerCorrelation one(rate, static_cast<std::size_t>(rate * 2.5));
        std::vector<std::size_t> out;
        for (std::size_t b = 0; b < one.bands(); ++b) out.push_back(one.band_kind(b));
        return out;
    };
    using Kinds = std::vector<std::size_t>;
    CHECK(kinds(20000) == Kinds{0, 1, 2});
    CHECK(kinds(2400) == Kinds{0, 1, 2});   // 0.43 of it are 1032 Hz, more than 0.97 of 1 kHz
    CHECK(kinds(2200) == Kinds{0, 2});      // 946 Hz
    CHECK(kinds(1000) == Kinds{0, 2});
    CHECK(correlation.length() == kLength);
}

TEST_CASE("a marker alone is found to a fraction of a sample in every band, upright and turned over", "[marker]") {
    MarkerCorrelation correlation(kRate, kLength);
    for (const auto end : {kOpening, kClosing})
        for (const std::size_t place : {1400U, 3801U, 6200U})
            for (const double gain : {0.5, -1e-4}) {
                std::vector<double> frame(kLength, 0.0);
                add(frame, end, place, gain);
                REQUIRE(correlation.load(frame));
                for (std::size_t band = 0; band < correlation.bands(); ++band) {
                    CAPTURE(place, gain, band);
                    const auto peak = correlation.peak(end, band);
                    CHECK(peak.end == end);
                    CHECK(peak.band == band);
                    // on a grid as coarse as the band allows
                    CHECK(peak.start_s * kRate == Approx(static_cast<double>(place)).margin(band == 2 ? 40 : 8));
                    CHECK(peak.strength > (band == 2 ? 12 : 30));
                    const auto other = correlation.peak(end == kOpening ? kClosing : kOpening, band);
                    CHECK(other.strength < 0.5 * peak.strength);
                    double likeness = 0;
                    const FoundMarker found = correlation.refine(frame, peak, likeness);
                    CHECK(found.time_s * kRate == Approx(static_cast<double>(place)).margin(band == 2 ? 0.1 : 0.01));
                    CHECK(likeness == Approx(1.0).margin(0.02));
                    CHECK(found.end == end);
                    CHECK(found.inverted == (gain < 0));
                    CHECK(found.strength == peak.strength);
                    const double tops[] = {std::round(0.43 * kRate / 0.97), 1000.0, 160.0};
                    CHECK(found.band_to_hz == tops[band]);
                    CHECK(found.time_sd_s * kRate < (band == 2 ? 1.0 : 0.1));
                }
            }
    std::vector<double> silent(kLength, 0.0);
    CHECK_FALSE(correlation.load(silent));
    silent[7000] = 1e-9;
    CHECK(correlation.load(silent));
}

TEST_CASE("a frame's markers are those whose middle lies in its middle half", "[marker]") {
    MarkerCorrelation correlation(kRate, kLength);
    // 2.5 s: middles from 0.6 to 1.9 s are looked at, a little beyond either quarter
    const auto strength = [&](double middle_s) {
        std::vector<double> frame(kLength, 0.0);
        add(frame, kOpening, static_cast<std::size_t>((middle_s - 0.3) * kRate), 0.5);
        correlation.load(frame);
        return correlation.peak(kOpening, 0).start_s - (middle_s - 0.3);
    };
    CHECK(std::abs(strength(0.61)) < 0.003);
    CHECK(std::abs(strength(0.58)) > 0.01);
    CHECK(std::abs(strength(1.89)) < 0.003);
    CHECK(std::abs(strength(1.92)) > 0.01);
}

TEST_CASE("likeness is the share of a band's power that the marker explains, and its time is as sure as the noise lets it be", "[marker]") {
    MarkerCorrelation correlation(kRate, kLength);
    // the other marker at the same place has the same power and hardly anything in common
    std::vector<double> frame(kLength, 0.0);
    add(frame, kOpening, 3800, 0.5);
    add(frame, kClosing, 3800, 0.5);
    correlation.load(frame);
    double likeness = 0;
    const auto found = correlation.refine(frame, {kOpening, 0, 0.95, 20.0}, likeness);
    CHECK(likeness == Approx(0.5).margin(0.05));
    CHECK(found.time_s * kRate == Approx(3800.0).margin(0.5));
    // noise scatters the times by what is stated
    double square = 0, stated = 0;
    constexpr int runs = 20;
    for (unsigned seed = 1; seed <= runs; ++seed) {
        std::vector<double> noisy(kLength, 0.0);
        add(noisy, kOpening, 3800, 0.5);
        add_noise(noisy, 0.02, seed);
        const auto one = correlation.refine(noisy, {kOpening, 0, 0.95, 20.0}, likeness);
        square += std::pow(one.time_s * kRate - 3800.0, 2) / runs;
        stated += std::pow(one.time_sd_s * kRate, 2) / runs;
    }
    CHECK(std::sqrt(square / stated) > 0.6);   // 20 runs tell it to 16 %, the law behind it to some more
    CHECK(std::sqrt(square / stated) < 1.6);
}

TEST_CASE("the point that a marker's time hangs on is mirrored from the opening to the closing one", "[marker]") {
    MarkerCorrelation correlation(kRate, kLength);
    // They are each other's mirror images, 0.6 s long. The chirp passes a frequency f at 0.6 ln(f / 40) / ln 200; drawn out by a share e,
    // it passes it 0.6 (ln(f / 40) + 1) / ln 200 times e later. A straight line laid through the phases of a band takes those in with
    // the weights of a parabola from one end to the other.
    for (std::size_t band = 0; band < correlation.bands(); ++band) {
        double likeness = 0;
        std::vector<double> reference;
        for (const auto end : {kOpening, kClosing}) {
            std::vector<double> frame(kLength, 0.0);
            add(frame, end, 3800, 0.5);
            reference.push_back(correlation.refine(frame, {end, band, 0.95, 20.0}, likeness).reference_s);
        }
        CAPTURE(band, reference[0], reference[1]);
        CHECK(reference[0] + reference[1] == Approx(0.6).margin(0.01));
        const double low_hz = 45.0, top_hz = band == 0 ? 0.43 * kRate : band == 1 ? 970.0 : 155.2;
        double weights = 0, sum = 0;
        for (double hz = low_hz; hz < top_hz; hz += 0.1) {
            const double weight = (hz - low_hz) * (top_hz - hz);
            weights += weight;
            sum += weight * 0.6 * (std::log(hz / 40.0) + 1.0) / std::log(200.0);
        }
        CHECK(reference[0] == Approx(sum / weights).margin(0.005));
    }
}

TEST_CASE("a click lights up a marker's whole crossing, and is no peak", "[marker]") {
    MarkerCorrelation correlation(kRate, kLength);
    std::vector<double> frame(kLength, 0.0);
    frame[5000] = 1.0;
    correlation.load(frame);
    for (std::size_t band = 0; band < 3; ++band) CHECK(correlation.peak(kOpening, band).strength < 6.0);
    std::vector<double> noise(kLength, 0.0);
    add_noise(noise, 0.1, 3);
    correlation.load(noise);
    for (std::size_t band = 0; band < 3; ++band) CHECK(correlation.peak(kOpening, band).strength < 6.0);
}
