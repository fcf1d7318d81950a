#include "regulator.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/sidebands.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {
namespace {

constexpr double kLongest_s = 60.0;
constexpr double kLeast_hz = 60.0, kMost_hz = 600.0;  // of the switching; 100 to 400 Hz usual
constexpr double kSmeared_hz = 1.2;                   // a distance that the wandering engine would have moved so far

std::vector<double> channel_of(const OpenedJob& job, const Take& take, std::size_t channel) {
    TakeReader reader(take_path(job, take));
    const auto most = static_cast<std::size_t>(kLongest_s * reader.sample_rate_hz());
    std::vector<double> samples;
    Block block;
    while (samples.size() < most && reader.read(block, 1 << 16) > 0) {
        const auto part = block.channel(channel);
        const std::size_t room = std::min(part.size(), most - samples.size());
        samples.insert(samples.end(), part.begin(), part.begin() + static_cast<std::ptrdiff_t>(room));
    }
    return samples;
}

/// Whether a distance is one of the engine's own: a part of the whine, or a multiple of the clicks' rate.
bool is_engines(double spacing_hz, const WhineInTake& whine) {
    const auto near_multiple = [spacing_hz](double of_hz, double most) {
        const double number = std::round(spacing_hz / of_hz);
        return number >= 1.0 && number <= most &&
               std::abs(spacing_hz - number * of_hz) < std::max(1.5, 0.004 * spacing_hz);
    };
    if (near_multiple(whine.frequency_hz / 12.0, 11.0)) return true;
    const auto clicks = click_rate_of(*whine.survey);
    return clicks && near_multiple(*clicks, 12.0);
}

struct Seen {
    const WhineInTake* whine;
    SidebandPair pair;
    bool smeared_otherwise;
};

std::vector<Seen> pairs_of(const OpenedJob& job, const WhineInTake& whine) {
    std::vector<Seen> seen;
    const TakeSurvey& survey = *whine.survey;
    if (!whine.family || survey.take->tone) return seen;  // of a take with a tone only a part was followed
    const MovingFamily& family = survey.families[*whine.family];
    try {
        const auto samples = channel_of(job, *survey.take, survey.channels[family.channel].file_channel);
        for (const SidebandPair& pair : find_sidebands(samples, survey.sample_rate_hz, family.ridge.track,
                                                       whine.frequency_hz / family.mean_hz, kLeast_hz, kMost_hz)) {
            const bool smeared = family.wander * pair.spacing_hz > kSmeared_hz;
            if (smeared || !is_engines(pair.spacing_hz, whine)) seen.push_back({&whine, pair, smeared});
        }
    } catch (const Error&) {
        return {};  // too short, or gone since it was surveyed
    }
    return seen;
}

}  // namespace

std::optional<Regulator> find_regulator(const OpenedJob& job, const std::list<WhineInTake>& whines) {
    std::vector<Seen> all;
    for (const WhineInTake& whine : whines)
        for (const Seen& one : pairs_of(job, whine)) all.push_back(one);
    std::optional<Regulator> best;
    double best_db = 0;
    for (const Seen& one : all) {
        const auto agrees = [&](const Seen& other) {
            return std::abs(other.pair.spacing_hz - one.pair.spacing_hz) < 1.0 + 0.01 * one.pair.spacing_hz;
        };
        const bool twice = std::any_of(all.begin(), all.end(), [&](const Seen& other) {
            return agrees(other) && std::abs(other.whine->frequency_hz / one.whine->frequency_hz - 1.0) > 0.1;
        });
        if ((!one.smeared_otherwise && !twice) || one.pair.prominence_db <= best_db) continue;
        best_db = one.pair.prominence_db;
        best = Regulator{one.pair.spacing_hz, one.pair.spacing_sd_hz, one.pair.level_db, {}};
        for (const Seen& other : all)
            if (agrees(other)) best->takes.push_back(other.whine->survey->take->file);
    }
    if (best) best->takes.erase(std::unique(best->takes.begin(), best->takes.end()), best->takes.end());
    return best;
}

std::vector<double> held_sidebands(const WhineInTake& whine) {
    std::vector<double> found;
    if (whine.family) return found;
    for (const ChannelSurvey& channel : whine.survey->channels) {
        const auto own = std::find_if(channel.lines.begin(), channel.lines.end(), [&](const SpectralLine& line) {
            return std::abs(line.frequency_hz - whine.frequency_hz) < std::max(2.0, 0.001 * whine.frequency_hz);
        });
        if (own == channel.lines.end()) continue;
        for (const SpectralLine& upper : channel.lines) {
            const double spacing = upper.frequency_hz - own->frequency_hz;
            if (spacing < kLeast_hz || spacing > kMost_hz || upper.mean_square > own->mean_square) continue;
            for (const SpectralLine& lower : channel.lines)
                if (std::abs(own->frequency_hz - lower.frequency_hz - spacing) < 0.7 &&
                    lower.mean_square < own->mean_square &&
                    std::abs(std::log(lower.mean_square / upper.mean_square)) < 1.4) {  // 6 dB
                    for (const double multiple : {1.0, 2.0, 3.0}) {  // the whine's multiples are modulated alike
                        found.push_back(multiple * own->frequency_hz + spacing);
                        found.push_back(multiple * own->frequency_hz - spacing);
                    }
                }
        }
    }
    return found;
}

void add_regulator(NoiseSource& whine, const Regulator& regulator) {
    whine.evidence.push_back(
        {fmt::format("Lines {:.1f} Hz above and below it keep that distance while the engine wanders, {:.0f} dB "
                     "against it: the alternator's field regulator switches at that rate.",
                     regulator.switching_hz, regulator.level_db),
         regulator.switching_hz,
         "Hz",
         std::max(0.01, regulator.sd_hz),
         regulator.takes,
         {}});
}

}  // namespace hushtrace
