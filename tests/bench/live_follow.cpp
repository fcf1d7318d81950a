// What the live follower shows.
//   live_follow file FREQUENCY LOW HIGH FILE [EVERY_S]   of a sound file
//   live_follow population [SOUNDS] [OVER_NOISE_DB]      against known truth
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>

#include "hushtrace/measure/line_follower.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "measure/followed_trial.hpp"

using namespace hushtrace;

namespace {

int show_file(int argc, char** argv) {
    LineFamily family;
    family.frequency_hz = std::atof(argv[2]);
    family.low_hz = std::atof(argv[3]);
    family.high_hz = std::atof(argv[4]);
    family.ratios = {1, 2, 3};
    TakeReader take(argv[5]);
    LineFollower follower(take.sample_rate_hz(), take.channels(), family);
    Block block;
    double next = 0, duration_s = 0;
    const double every_s = argc > 6 ? std::atof(argv[6]) : 0.2;
    const std::clock_t begun = std::clock();
    while (take.read(block, 1024) > 0) {
        duration_s += static_cast<double>(block.frames()) / take.sample_rate_hz();
        for (const FollowedPower& one : follower.add(block)) {
            if (one.time_s < next) continue;
            next += every_s;
            const Reading& first = one.mean_square.front();
            fmt::print("{:7.2f} s {:8.1f} Hz {:8.2f} dBFS sd {:.3f} dB\n", one.time_s, one.frequency_hz.value_or(0),
                       dbfs_from_mean_square(first.value), 4.34 * first.sd / first.value);
        }
    }
    fmt::print("{:.2f} % of a core\n", 100.0 * static_cast<double>(std::clock() - begun) / CLOCKS_PER_SEC / duration_s);
    return 0;
}

double quantile(std::vector<double> values, double share) {
    if (values.empty()) return std::nan("");
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1) + 0.5)];
}

void population(std::size_t sounds, double over_noise_db) {
    fmt::print("whine {} dB over the noise in 100 Hz, {} sounds each\n", over_noise_db, sounds);
    struct Case { const char* name; FollowedLaw law; };
    std::vector<Case> cases(6);
    for (Case& one : cases) one.law.over_noise_db = over_noise_db;
    cases[0].name = "idle, white noise alone";
    cases[0].law.neighbours = 0, cases[0].law.clicks = cases[0].law.pink = false;
    cases[1].name = "idle, pink noise and clicks";
    cases[1].law.neighbours = 0;
    cases[2].name = "the same with still lines beside it";
    cases[3].name = "the same, 6 dB louder, step -12 dB";
    cases[3].law.over_noise_db += 6.0, cases[3].law.step_db = -12;
    cases[4].name = "the same, held speed, step +6 dB";
    cases[4].law.wander = 0.003, cases[4].law.step_db = 6;
    cases[5].name = "the same, revved to 3.75 times";
    cases[5].law.sweep_to = 3.75;
    for (const Case& one : cases) {
        std::vector<double> errors, z, back, found, sweep_found;
        double false_hops = 0, gone_hops = 0, wrong = 0, tracked = 0;
        for (std::size_t i = 1; i <= sounds; ++i) {
            const FollowedTrial trial = followed_trial(one.law, i);
            if (trial.change_error_db) errors.push_back(std::abs(*trial.change_error_db));
            z.insert(z.end(), trial.steady_z.begin(), trial.steady_z.end());
            back.push_back(trial.back_after_s);
            found.push_back(trial.found_after_s);
            false_hops += trial.found_while_gone * trial.gone_hops;
            gone_hops += trial.gone_hops;
            wrong += trial.wrong_place * trial.present_hops;
            tracked += trial.present_hops;
            sweep_found.push_back(trial.present_found);
        }
        double square = 0;
        for (const double v : z) square += v * v;
        const auto within = std::count_if(errors.begin(), errors.end(), [](double error) { return error < 1.0; });
        const double all = static_cast<double>(sounds), rms = std::sqrt(square / std::max(1.0, static_cast<double>(z.size())));
        fmt::print("{:36} step read in {:.0f} %, of these within 1 dB {:.0f} %, median {:.2f} dB; z rms {:.2f}; ", one.name,
                   100.0 * static_cast<double>(errors.size()) / all, 100.0 * static_cast<double>(within) / static_cast<double>(errors.size()),
                   quantile(errors, 0.5), rms);
        fmt::print("found after {:.2f} s (95 % {:.2f}), again {:.2f} s (95 % {:.2f}); "
                   "found while gone {:.2f} %; there and found {:.1f} %, elsewhere {:.2f} %\n",
                   quantile(found, 0.5), quantile(found, 0.95), quantile(back, 0.5), quantile(back, 0.95), 100.0 * false_hops / gone_hops,
                   100.0 * quantile(sweep_found, 0.5), 100.0 * wrong / tracked);
        std::fflush(stdout);
    }
    // fainter and fainter: what is said to be the most must be the most
    for (const double faint_db : {10.0, 5.0, 0.0, -5.0, -10.0}) {
        FollowedLaw law;
        law.over_noise_db = faint_db;
        law.neighbours = 0;
        law.gone_s = law.back_s = law.step_s = 100, law.duration_s = 12;
        double held = 0, hidden = 0, hops = 0, margin = 0;
        for (std::size_t i = 1; i <= sounds; ++i) {
            const FollowedTrial trial = followed_trial(law, 1000 + i);
            held += trial.at_most_held * trial.hidden_hops;
            hidden += trial.hidden_hops;
            hops += trial.present_hops;
            margin += trial.at_most_margin_db * trial.hidden_hops;
        }
        fmt::print("{:5.0f} dB over: 'at most' {:.1f} % of the time, true in {:.1f} %, {:.1f} dB above the truth\n", faint_db, 100.0 * hidden / hops,
                   100.0 * held / std::max(1.0, hidden), margin / std::max(1.0, hidden));
    }
}

}  // namespace

int main(int argc, char** argv) {
    const std::string what = argc > 1 ? argv[1] : "";
    if (what == "file" && argc > 5) return show_file(argc, argv);
    if (what != "population") return 2;
    population(argc > 2 ? static_cast<std::size_t>(std::atoi(argv[2])) : 40, argc > 3 ? std::atof(argv[3]) : 15.0);
}
