// How faint a wandering whine is found, against a detector that is told its track.
//
// Takes of 20 s with one line whose frequency wanders (Gaussian, below 1 Hz, evenly spread or falling with frequency);
// levels are whine-to-noise: the line's power over the noise's from 20 Hz to 20 kHz. The reference sums the power at the
// true frequency over short windows, half overlapping, the best of several lengths, not de-chirped; told, too, is the noise.
// Both thresholds let 1 in 100 takes of noise alone pass. Printed is the share found at each level.
// Arguments: takes of noise (default 300), takes a point (default 100), seed (1), noise: white, pink or bumpy (white), one
// wander alone (as a share, 0.01; all), its spectrum: flat or falling (both).
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <numbers>
#include <string>
#include <thread>
#include <vector>

#include "hushtrace/measure/ridge.hpp"
#include "measure/wander_population.hpp"

using namespace hushtrace;

namespace {

struct Outcome {
    std::vector<double> reference;  // [windows]
    double found = 0, with_log = 0;
};
constexpr double kWindows[] = {0.05, 0.1, 0.2, 0.4, 1.0};

Outcome look_at(const WanderTake& take) {
    Outcome out;
    for (const double window : kWindows) out.reference.push_back(power_along_true_track(take, window));
    out.found = line_log_evidence(take.samples, take.rate_hz);
    out.with_log = evidence_with_log(take);
    return out;
}

std::vector<Outcome> many(WanderLaw law, int takes, std::uint64_t seed) {
    std::vector<Outcome> out(static_cast<std::size_t>(takes));
    std::vector<std::jthread> workers;
    const unsigned count = std::max(1U, std::thread::hardware_concurrency());
    for (unsigned w = 0; w < count; ++w)
        workers.emplace_back([&, w] {
            for (std::size_t i = w; i < out.size(); i += count) out[i] = look_at(wander_take(law, seed + i));
        });
    workers.clear();
    return out;
}

double quantile_99(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(0.99 * static_cast<double>(values.size()))];
}

}  // namespace

int main(int argc, char** argv) {
    const int noise_takes = argc > 1 ? std::atoi(argv[1]) : 300, takes = argc > 2 ? std::atoi(argv[2]) : 100;
    const auto seed = static_cast<std::uint64_t>(argc > 3 ? std::atoll(argv[3]) : 1);
    const std::string colour = argc > 4 ? argv[4] : "white";
    const double only_wander = argc > 5 ? std::atof(argv[5]) : 0;
    const std::string only_spectrum = argc > 6 ? argv[6] : "";
    WanderLaw law;
    law.colour = colour == "pink" ? NoiseColour::pink : colour == "bumpy" ? NoiseColour::bumpy : NoiseColour::white;
    fmt::print("{} takes of {} noise, {} a point, seed {}; share found at 1 % false alarms\n", noise_takes, colour, takes, seed);
    for (const bool red : {false, true})
        for (const double wander : {0.005, 0.01, 0.03}) {
            if (only_wander > 0 && std::abs(wander - only_wander) > 1e-6) continue;
            if (!only_spectrum.empty() && (only_spectrum == "falling") != red) continue;
            law.wander = wander;
            law.red = red;
            law.whine_to_noise_db = -300;
            const auto noise = many(law, noise_takes, seed);
            std::vector<double> thresholds, found, with_log;
            for (const auto& one : noise) { found.push_back(one.found); with_log.push_back(one.with_log); }
            for (std::size_t w = 0; w < std::size(kWindows); ++w) {
                std::vector<double> values;
                for (const auto& one : noise) values.push_back(one.reference[w]);
                thresholds.push_back(quantile_99(values));
            }
            const double threshold = quantile_99(found), log_threshold = quantile_99(with_log);
            fmt::print("\nwander {:.1f} % rms, {} spectrum below 1 Hz; threshold {:.2f} nats, with log {:.2f}\n", 100 * wander,
                       red ? "falling" : "flat", threshold, log_threshold);
            fmt::print("whine_to_noise_db  reference_best  window_s  nothing_known  rpm_log\n");
            for (double level = -42; level <= -28; level += 1) {
                law.whine_to_noise_db = level;
                const auto with = many(law, takes, seed + 1000000);
                std::size_t best = 0, most = 0, ours = 0, logged = 0;
                for (std::size_t w = 0; w < std::size(kWindows); ++w) {
                    std::size_t count = 0;
                    for (const auto& one : with) count += one.reference[w] > thresholds[w] ? 1U : 0U;
                    if (count > most) { most = count; best = w; }
                }
                for (const auto& one : with) { ours += one.found > threshold ? 1U : 0U; logged += one.with_log > log_threshold ? 1U : 0U; }
                const auto share = [&](std::size_t n) { return static_cast<double>(n) / takes; };
                fmt::print("{:17.0f}  {:14.2f}  {:8.2f}  {:13.2f}  {:7.2f}\n", level, share(most), kWindows[best], share(ours), share(logged));
                std::fflush(stdout);
                if (ours == with.size() && logged == with.size()) break;
            }
        }
}
