// The spread of a tone's frequency in white noise against the Cramer-Rao bound (Rife and Boorstyn 1974; Kay 1993,
// eq. 3.41): a table. The bound depends on SNR x samples and samples alone, so a few lengths stand for all.
// Arguments: takes a point (default 800), seed (default 1), most samples a take (default 48000).
#include <cstdlib>

#include <fmt/format.h>

#include "measure/tone_population.hpp"

int main(int argc, char** argv) {
    const int takes = argc > 1 ? std::atoi(argv[1]) : 800;
    const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
    const std::size_t longest = argc > 3 ? static_cast<std::size_t>(std::atoll(argv[3])) : 48000;
    fmt::print("{} takes a point, seed {}; any frequency from 10 cycles to 0.45 fs, any phase\n", takes, seed);
    fmt::print("samples  snr_db  snr_x_samples_db  rmse_over_bound  level_rmse_over_bound  outliers  said_so  refused  "
               "frequency_covered_percent  level_covered_percent\n");
    for (const std::size_t samples : {std::size_t{480}, std::size_t{4800}, std::size_t{48000}}) {
        if (samples > longest) continue;
        const double gain_db = 10.0 * std::log10(static_cast<double>(samples));
        std::vector<double> points = {12, 15, 18, 21, 24, 30, 40};
        if (samples > 4800) points = {18, 21, 106.8};  // these take long; the last is 60 dB of SNR
        for (double snr_db = 20; snr_db <= 60 && samples <= 4800; snr_db += 20)
            if (snr_db + gain_db > points.back()) points.push_back(snr_db + gain_db);
        for (const double point_db : points) {
            TonePopulation population;
            population.samples = samples;
            population.snr_db = point_db - gain_db;
            population.takes = takes;
            population.seed = seed;
            const ToneSpread spread = read_population(population);
            fmt::print("{:7d}  {:6.1f}  {:16.1f}  {:15.3f}  {:21.3f}  {:8d}  {:7d}  {:7d}  {:25.1f}  {:21.1f}\n",
                       samples, population.snr_db, point_db, spread.frequency_over_bound, spread.level_over_bound,
                       spread.outliers, spread.outliers_recognised, spread.refused, spread.frequency_covered_percent,
                       spread.level_covered_percent);
        }
    }
}
