#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "hushtrace/spectrum/window.hpp"
#include "reference/table.hpp"

using namespace hushtrace;

namespace {

const std::vector<std::pair<std::string, WindowKind>> kNamed = {
    {"rectangular", WindowKind::rectangular},
    {"hann", WindowKind::hann},
    {"blackman_harris_4term_min", WindowKind::blackman_harris},
    {"hft70", WindowKind::hft70},
    {"hft90d", WindowKind::hft90d},
    {"hft95", WindowKind::hft95},
    {"hft116d", WindowKind::hft116d},
    {"hft144d", WindowKind::hft144d},
    {"hft248d", WindowKind::hft248d},
};

/// Response to a tone `offset` bins away, against the response on the bin [dB]. A plain sum: slow and
/// obvious.
double response_db(const std::vector<double>& window, double offset) {
    double re = 0, im = 0, sum = 0;
    for (std::size_t n = 0; n < window.size(); ++n) {
        const double angle =
            2.0 * std::numbers::pi * offset * static_cast<double>(n) / static_cast<double>(window.size());
        re += window[n] * std::cos(angle);
        im += window[n] * std::sin(angle);
        sum += window[n];
    }
    return 20.0 * std::log10(std::hypot(re, im) / sum);
}

}  // namespace

// Heinzel, Ruediger, Schilling 2002, table of windows (tests/reference/windows.csv).
TEST_CASE("each window has its published noise bandwidth, flatness and side lobes", "[spectrum]") {
    std::size_t checked = 0;
    for (const auto& row : reference::table("windows.csv")) {
        for (const auto& [name, kind] : kNamed) {
            if (row.text("window") != name) continue;
            ++checked;
            CAPTURE(name);
            const auto window = window_samples(kind, 1024);
            CHECK(noise_bandwidth_bins(window) == Approx(row.number("nenbw_heinzel_bins")).margin(1e-4));
            CHECK(window_facts(kind).noise_bandwidth_bins ==
                  Approx(row.number("nenbw_heinzel_bins")).margin(1e-4));
            double worst = 0;  // amplitude error between two bins: the largest departure within half a bin
            for (int step = 0; step <= 100; ++step)
                worst = std::max(worst, std::abs(response_db(window, 0.005 * step)));
            CHECK(worst == Approx(std::abs(row.number("max_amplitude_error_heinzel_db"))).margin(1.1e-4));
            double lobe = -1000;
            const double first_zero = static_cast<double>(window_facts(kind).main_lobe_bins);
            for (double offset = first_zero; offset < first_zero + 12; offset += 0.02)
                lobe = std::max(lobe, response_db(window, offset));
            CHECK(lobe == Approx(row.number("highest_sidelobe_heinzel_db")).margin(0.1));
            CHECK(window_facts(kind).highest_sidelobe_db == Approx(lobe).margin(0.1));
        }
    }
    CHECK(checked == kNamed.size());
}

TEST_CASE("the coherent gain of Hann is one half", "[spectrum]") {
    CHECK(coherent_gain(window_samples(WindowKind::hann, 4096)) == Approx(0.5).margin(1e-12));
}
