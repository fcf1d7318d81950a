// From which signal-to-noise ratio every loss of 1 to 2000 frames is found in a 997 Hz tone at 48 kHz: a
// table. The only quantity that matters is the phase that a loss turns, so the smallest of all 2000 decides;
// a sample of the others is drawn along. Arguments: trials a row (default 20), seed (default 1).
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>

#include <fmt/format.h>

#include "hushtrace/measure/capture_faults.hpp"
#include "measure/lossy_tone.hpp"

using namespace hushtrace;

int main(int argc, char** argv) {
    const int trials = argc > 1 ? std::atoi(argv[1]) : 20;
    const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
    std::mt19937_64 draw(seed);
    std::uniform_int_distribution<std::int64_t> any(1, 2000);
    fmt::print(
        "snr_db  337_frames_found  any_found  false_alarms  median_time_error_ms  sees_deg  (of {} each, "
        "seed {})\n",
        trials, seed);
    for (const double snr_db : {20.0, 26.0, 30.0, 32.0, 34.0, 36.0, 38.0, 40.0, 46.0, 60.0}) {
        int hardest = 0, others = 0, false_alarms = 0;
        double sees = 0;
        std::vector<double> errors;
        for (int trial = 0; trial < trials; ++trial) {
            for (const std::int64_t lost : {std::int64_t{337}, any(draw), std::int64_t{0}}) {
                LossyTone tone;
                tone.snr_db = snr_db;
                tone.lost_frames = lost;
                tone.seed = draw();
                CaptureFaultFinder finder(tone.rate_hz, 1, {});
                finder.add(one_channel(tone.samples()));
                const CaptureFaults faults = finder.result();
                sees = faults.seen_phase_step_deg.value_or(0);
                bool found = false;
                for (const CaptureFault& event : faults.events) {
                    const bool there = lost != 0 && std::abs(event.time_s - tone.loss_at_s) < 0.3;
                    found = found || there;
                    if (there) errors.push_back(1e3 * std::abs(event.time_s - tone.loss_at_s));
                    if (!there) ++false_alarms;
                }
                if (lost == 337) hardest += found ? 1 : 0;
                if (lost != 337 && lost != 0) others += found ? 1 : 0;
            }
        }
        std::sort(errors.begin(), errors.end());
        fmt::print("{:6.0f}  {:16d}  {:9d}  {:12d}  {:20.2f}  {:.4f}\n", snr_db, hardest, others,
                   false_alarms, errors.empty() ? 0.0 : errors[errors.size() / 2], sees);
    }
}
