#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "line_level.hpp"
#include "noise_parts.hpp"

namespace hushtrace {
namespace {

/// A steady line as all channels see it.
struct JointLine {
    double frequency_hz = 0, frequency_sd_hz = 0, prominence_db = 0;
    std::vector<double> mean_square;
    bool taken = false;
    double total() const {
        double sum = 0;
        for (const double p : mean_square) sum += p;
        return sum;
    }
};

/// Whether a frequency lies where a followed family's line was smeared over.
bool smeared_over(const TakeSurvey& survey, double frequency_hz) {
    for (const MovingFamily& family : survey.families)
        for (const OrderLine& line : family.lines) {
            const double centre = line.ratio * family.mean_hz;
            if (std::abs(frequency_hz - centre) < 4.0 + 3.5 * family.wander * centre) return true;
        }
    return false;
}

bool near_one_of(const std::vector<double>& frequencies_hz, double frequency_hz) {
    return std::any_of(frequencies_hz.begin(), frequencies_hz.end(), [frequency_hz](double f) {
        return std::abs(frequency_hz - f) < std::max(3.0, 0.002 * f);
    });
}

std::vector<JointLine> joint_lines(const TakeSurvey& survey, const std::vector<double>& known) {
    std::vector<JointLine> joint;
    for (std::size_t c = 0; c < survey.channels.size(); ++c)
        for (const SpectralLine& line : survey.channels[c].lines) {
            const double bin_hz = survey.channels[c].spectrum.bin_hz();
            // three bins off, a steady tone is gone; one that wanders is not
            if (line.sharpness_db < std::min(12.0, 0.6 * line.prominence_db)) continue;
            if (smeared_over(survey, line.frequency_hz)) continue;
            if (near_one_of(known, line.frequency_hz)) continue;
            const auto same = std::find_if(joint.begin(), joint.end(), [&](const JointLine& j) {
                return std::abs(j.frequency_hz - line.frequency_hz) < 1.5 * bin_hz;
            });
            JointLine& into = same == joint.end() ? joint.emplace_back() : *same;
            if (into.mean_square.empty()) into.mean_square.assign(survey.channels.size(), 0.0);
            into.mean_square[c] += line.mean_square;
            if (line.prominence_db > into.prominence_db) {
                into.prominence_db = line.prominence_db;
                into.frequency_hz = line.frequency_hz;
                into.frequency_sd_hz = line.frequency_sd_hz;
            }
        }
    return joint;
}

struct CombRule {
    NoiseKind kind;
    double nominal_hz;
    double drift;  ///< relative, that the spacing may be off
    std::size_t most_harmonics;
    std::size_t least_lines;
    const char* what;
};

/// Collects the comb of a rule from the lines not yet taken; nothing unless enough of them are there.
std::optional<SteadyComb> collect(std::vector<JointLine>& lines, const CombRule& rule,
                                  const TakeSurvey& survey) {
    // the strongest line that can be a harmonic fixes the spacing; mains drifts, and all its harmonics
    // together
    double spacing = 0;
    double spacing_sd = 0;
    std::size_t best_count = 0;
    double best_power = 0;
    const auto order_of = [](double frequency_hz, double f0) {
        return std::max(1.0, std::round(frequency_hz / f0));
    };
    for (const JointLine& anchor : lines) {
        if (anchor.taken) continue;
        const double n = order_of(anchor.frequency_hz, rule.nominal_hz);
        if (n > static_cast<double>(rule.most_harmonics)) continue;
        const double f0 = anchor.frequency_hz / n;
        if (std::abs(f0 / rule.nominal_hz - 1.0) > rule.drift) continue;
        std::size_t count = 0;
        double power = 0;
        for (const JointLine& line : lines) {
            if (line.taken) continue;
            const double m = order_of(line.frequency_hz, f0);
            if (m > static_cast<double>(rule.most_harmonics)) continue;
            const double reach =
                0.12 + 2.0 * std::hypot(line.frequency_sd_hz, anchor.frequency_sd_hz * m / n);
            if (std::abs(line.frequency_hz - m * f0) > reach) continue;
            ++count;
            power += line.total();
        }
        if (count > best_count || (count == best_count && power > best_power)) {
            best_count = count;
            best_power = power;
            spacing = f0;
            spacing_sd = anchor.frequency_sd_hz / n;
        }
    }
    if (best_count < rule.least_lines || spacing == 0.0) return std::nullopt;
    SteadyComb comb;
    comb.kind = rule.kind;
    comb.mean_square.assign(survey.channels.size(), 0.0);
    double weight = 0, weighted = 0;
    for (JointLine& line : lines) {
        if (line.taken) continue;
        const double m = order_of(line.frequency_hz, spacing);
        if (m > static_cast<double>(rule.most_harmonics)) continue;
        const double reach = 0.12 + 2.0 * (line.frequency_sd_hz + spacing_sd * m);
        if (std::abs(line.frequency_hz - m * spacing) > reach) continue;
        line.taken = true;
        for (std::size_t c = 0; c < line.mean_square.size(); ++c) comb.mean_square[c] += line.mean_square[c];
        std::size_t loudest = 0;
        for (std::size_t c = 0; c < line.mean_square.size(); ++c)
            if (line.mean_square[c] > line.mean_square[loudest]) loudest = c;
        comb.harmonics.push_back(
            harmonic_of(survey.channels[loudest], m, line.frequency_hz, line.mean_square[loudest]));
        comb.prominence_db = std::max(comb.prominence_db, line.prominence_db);
        const double w = m * m / (line.frequency_sd_hz * line.frequency_sd_hz);
        weight += w;
        weighted += w * line.frequency_hz / m;
    }
    std::sort(comb.harmonics.begin(), comb.harmonics.end(),
              [](const Harmonic& a, const Harmonic& b) { return a.number < b.number; });
    comb.frequency_hz = weighted / weight;
    comb.frequency_sd_hz = 1.0 / std::sqrt(weight);
    comb.why =
        fmt::format("{} at multiples of {:.2f} Hz: {}",
                    comb.harmonics.size() == 1 ? "a line" : fmt::format("{} lines", comb.harmonics.size()),
                    comb.frequency_hz, rule.what);
    return comb;
}

SteadyComb lone_tone(const JointLine& line) {
    SteadyComb tone;
    tone.frequency_hz = line.frequency_hz;
    tone.frequency_sd_hz = line.frequency_sd_hz;
    tone.mean_square = line.mean_square;
    tone.prominence_db = line.prominence_db;
    tone.confidence = std::clamp(0.4 + line.prominence_db / 50.0, 0.4, 0.9);
    return tone;
}

}  // namespace

std::vector<SteadyComb> steady_combs_in(const TakeSurvey& survey, const Job& job,
                                        const std::vector<double>& known_by_other,
                                        const std::vector<double>& click_comb) {
    std::vector<JointLine> lines = joint_lines(survey, known_by_other);
    std::vector<SteadyComb> combs;
    std::vector<double> mains = {50.0, 60.0};
    if (job.vehicle.mains_hz) mains = {*job.vehicle.mains_hz};
    std::optional<SteadyComb> best_mains;
    std::vector<JointLine> left_over;
    for (const double f : mains) {
        std::vector<JointLine> trial = lines;
        // EN 50160 lets the mains drift by 1 % for 99.5 % of a year
        auto comb = collect(trial, {NoiseKind::mains_hum, f, 0.01, 40, 2, "the mains"}, survey);
        if (!comb) continue;
        const bool low = std::any_of(comb->harmonics.begin(), comb->harmonics.end(),
                                     [](const Harmonic& h) { return h.number <= 3.0; });
        if (!low) continue;
        if (best_mains && comb->harmonics.size() <= best_mains->harmonics.size()) continue;
        best_mains = std::move(comb);
        left_over = std::move(trial);
    }
    if (best_mains) {
        best_mains->confidence =
            std::min(0.97, 0.6 + 0.1 * static_cast<double>(best_mains->harmonics.size()));
        combs.push_back(*best_mains);
        lines = std::move(left_over);
        for (JointLine& line : lines)  // a weak harmonic, read less well than its error says
            if (std::abs(std::remainder(line.frequency_hz, best_mains->frequency_hz)) < 0.5 &&
                line.frequency_hz < 1000.0)
                line.taken = true;
    }
    // 3GPP TS 45.002: frames of 120/26 ms. USB frames come every millisecond, microframes every eighth.
    for (const CombRule& rule :
         {CombRule{NoiseKind::phone_burst, 650.0 / 3.0, 0.0003, 30, 3, "frames of a phone that transmits"},
          CombRule{NoiseKind::bus_tone, 1000.0, 0.0002, 20, 2, "frames of a data bus (USB)"}})
        if (auto comb = collect(lines, rule, survey)) {
            comb->confidence = std::min(0.95, 0.5 + 0.1 * static_cast<double>(comb->harmonics.size()));
            combs.push_back(std::move(*comb));
        }
    // what is left: tones of their own, harmonics joined to the lowest line that explains them
    std::sort(lines.begin(), lines.end(),
              [](const JointLine& a, const JointLine& b) { return a.frequency_hz < b.frequency_hz; });
    for (JointLine& line : lines) {
        if (line.taken || line.prominence_db < 9.0 || near_one_of(click_comb, line.frequency_hz)) continue;
        line.taken = true;
        SteadyComb tone = lone_tone(line);
        std::size_t joined = 1;
        for (JointLine& other : lines) {
            if (other.taken) continue;
            const double m = std::round(other.frequency_hz / line.frequency_hz);
            const double reach = 0.1 + 2.0 * (other.frequency_sd_hz + m * line.frequency_sd_hz);
            if (m < 2.0 || m > 12.0 || std::abs(other.frequency_hz - m * line.frequency_hz) > reach) continue;
            other.taken = true;
            ++joined;
            for (std::size_t c = 0; c < tone.mean_square.size(); ++c)
                tone.mean_square[c] += other.mean_square[c];
            const auto at = std::max_element(other.mean_square.begin(), other.mean_square.end());
            const auto loudest = static_cast<std::size_t>(at - other.mean_square.begin());
            tone.harmonics.push_back(harmonic_of(survey.channels[loudest], m, other.frequency_hz, *at));
            tone.prominence_db = std::max(tone.prominence_db, other.prominence_db);
        }
        tone.why = joined > 1 ? fmt::format("steady, with {} harmonics; nothing that is known of fits it",
                                            joined - 1)
                              : "steady; nothing that is known of fits it";
        combs.push_back(std::move(tone));
    }
    return combs;
}

void add_levels(NoiseSource& source, const TakeSurvey& survey, const std::vector<double>& mean_square,
                double least_sd_db, const std::vector<double>& lines_hz) {
    for (std::size_t c = 0; c < survey.channels.size(); ++c) {
        if (!(mean_square[c] > 0.0)) continue;
        LevelInTake level;
        level.take = survey.take->file;
        level.channel = survey.channels[c].channel;
        level.level_dbfs = dbfs_from_mean_square(mean_square[c]);
        if (survey.channels[c].volts_full_scale)
            level.level_dbv = dbv_from_dbfs(*level.level_dbfs, *survey.channels[c].volts_full_scale);
        const double averages = std::max(1.0, survey.channels[c].spectrum.effective_averages);
        level.sd_db = std::max(least_sd_db, decibels_from_power(1.0 + 0.3 / std::sqrt(averages)));
        if (!lines_hz.empty()) {
            const Reading in_noise = level_of_lines(survey.channels[c], mean_square[c], lines_hz);
            level.sd_db = std::hypot(level.sd_db, in_noise.sd);
            level.limited_by = in_noise.limited_by;
        }
        if (level.level_dbv && survey.channels[c].volts_full_scale_sd_db)
            level.dbv_sd_db = std::hypot(level.sd_db, *survey.channels[c].volts_full_scale_sd_db);
        source.levels.push_back(level);
        if (std::find(source.channels.begin(), source.channels.end(), level.channel) == source.channels.end())
            source.channels.push_back(level.channel);
        if (!source.level_dbfs || *level.level_dbfs > *source.level_dbfs) {
            source.level_dbfs = level.level_dbfs;
            source.level_dbv = level.level_dbv;
        }
    }
    if (std::find(source.takes.begin(), source.takes.end(), survey.take->file) == source.takes.end())
        source.takes.push_back(survey.take->file);
}

}  // namespace hushtrace
