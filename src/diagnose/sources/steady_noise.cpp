#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../takes/line_level.hpp"
#include "../takes/take_kind.hpp"
#include "converter_noise.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"
#include "noise_parts.hpp"
#include "steady_by_name.hpp"

namespace hushtrace {
namespace {

constexpr double kRestOfAny = 6.9;       // surprise: one lone tone in a thousand gets teeth by chance
constexpr int kMostCombs = 12;

/// A steady line as all channels see it.
struct JointLine {
    StillLine line;
    std::vector<double> mean_square;   ///< [survey channels]
};

std::vector<JointLine> joint_lines(const SteadySearch& search) {
    std::vector<JointLine> joint;
    for (std::size_t s = 0; s < search.spectra.size(); ++s)
        for (const StillLine& line : search.spectra[s]->lines) {
            if (!line.steady || (search.places.spoken_for && search.places.spoken_for(line.frequency_hz))) continue;
            auto same = std::find_if(joint.begin(), joint.end(), [&](const JointLine& j) {
                return std::abs(j.line.frequency_hz - line.frequency_hz) < 1.5 * search.spectra[s]->bin_hz;
            });
            if (same == joint.end()) {
                joint.push_back({line, std::vector<double>(search.survey->channels.size(), 0.0)});
                same = joint.end() - 1;
            } else if (line.surprise > same->line.surprise) {
                same->line = line;
            }
        }
    for (JointLine& one : joint)
        for (std::size_t s = 0; s < search.spectra.size(); ++s) {
            const auto peak = search.spectra[s]->peak_at(one.line.frequency_hz);
            if (peak.surprise > 3.0) one.mean_square[search.channel_of[s]] = peak.mean_square;
        }
    std::sort(joint.begin(), joint.end(),
              [](const JointLine& a, const JointLine& b) { return a.line.surprise > b.line.surprise; });
    return joint;
}

/// Whether lines are more than one and chance, or two: those make a comb only by the plainest ratios.
bool is_comb(const LineComb& comb) {
    if (comb.teeth.size() < 2 || comb.surprise_of_rest < kRestOfAny) return false;
    if (comb.teeth.size() > 2 && comb.surprise_beyond_two > kRestOfAny) return true;
    std::vector<CombTooth> strongest = comb.teeth;
    std::sort(strongest.begin(), strongest.end(), [](const CombTooth& a, const CombTooth& b) { return a.surprise > b.surprise; });
    const auto [low, high] = std::minmax(strongest[0].number, strongest[1].number);
    return low == 1 || high <= 3;
}

/// The comb that explains most, of those that hold one of the clearest or of the lowest lines: a comb's clearest line may be
/// one of its highest, where there is least noise.
LineComb best_comb_of(const SteadySearch& search, std::vector<JointLine> lines) {
    constexpr std::size_t clearest = 12, lowest = 6;
    std::vector<JointLine> some(lines.begin(), lines.begin() + static_cast<std::ptrdiff_t>(std::min(clearest, lines.size())));
    std::sort(lines.begin(), lines.end(), [](const JointLine& a, const JointLine& b) { return a.line.frequency_hz < b.line.frequency_hz; });
    some.insert(some.end(), lines.begin(), lines.begin() + static_cast<std::ptrdiff_t>(std::min(lowest, lines.size())));
    LineComb best;
    for (const JointLine& one : some) {
        LineComb comb = comb_through(search.spectra, one.line.frequency_hz, one.line.frequency_sd_hz, BrushedMotor::least_shaft_hz, search.places);
        if (!is_comb(comb)) continue;
        if (comb.surprise_of_rest > best.surprise_of_rest) best = std::move(comb);
    }
    return best;
}

/// The rate of which all lines are multiples, where that is no chance: each lies within `reach_hz` of one.
std::optional<double> common_rate(const std::vector<double>& lines_hz, double reach_hz) {
    constexpr double slowest_hz = 4.0, fastest_hz = 60.0, surely = 7.0;
    const double highest = *std::max_element(lines_hz.begin(), lines_hz.end()), n = static_cast<double>(lines_hz.size());
    double best = 0, best_hz = 0, tries = 0;
    for (double f = slowest_hz; f < fastest_hz; f *= 1.0 + 0.5 * reach_hz / highest) {
        tries += 1.0;
        const auto off = [&](double hz) { return std::abs(std::remainder(hz, f)) > reach_hz; };
        if (std::any_of(lines_hz.begin(), lines_hz.end(), off)) continue;
        const double surprise = -n * std::log(2.0 * reach_hz / f);
        if (surprise < best) continue;
        best = surprise;
        best_hz = f;
    }
    if (best < std::log(tries) + surely) return std::nullopt;
    return best_hz;
}

/// Lines that are left over, and all multiples of a few hertz: clicks that nothing else shows, such as slower ones beside the
/// engine's.
void look_for_ticks(const SteadySearch& search, Taken& taken, std::vector<SteadyComb>& found) {
    std::vector<double> lines_hz;
    for (const JointLine& line : joint_lines(search)) lines_hz.push_back(line.line.frequency_hz);
    if (lines_hz.size() < 4) return;
    const auto rate_hz = common_rate(lines_hz, 0.4 * search.spectra.front()->bin_hz);
    if (!rate_hz) return;
    found.push_back(named_ticks(search, lines_hz, *rate_hz));
    taken.lines_hz.insert(taken.lines_hz.end(), lines_hz.begin(), lines_hz.end());
}

/// Lines that stray by a few hertz, with the engine at rest: seen where a quarter of a second is read at a time, not
/// where a second is. A motor's, as steady oscillators don't do that.
void look_for_drifting(const SteadySearch& search, const Taken& taken, std::vector<SteadyComb>& found) {
    std::vector<const StillSpectrum*> spectra;
    for (const std::size_t c : search.channel_of) spectra.push_back(&search.survey->channels[c].brief);
    CombPlaces places = search.places;
    places.most_number = 30;
    std::vector<double> told = taken.lines_hz;
    const auto known = [&](double hz, double reach_hz) {
        if (taken.holds(*search.survey, hz) || is_of_pulses(*search.survey, hz)) return true;
        if (std::any_of(told.begin(), told.end(), [&](double one) { return std::abs(one - hz) < reach_hz; })) return true;
        for (const StillSpectrum* fine : search.spectra)
            for (const StillLine& line : fine->lines)
                if (line.steady && std::abs(line.frequency_hz - hz) < reach_hz) return true;
        return std::any_of(search.survey->families.begin(), search.survey->families.end(), [&](const MovingFamily& family) {
            return family.significance >= kSureFamily && std::any_of(family.lines.begin(), family.lines.end(), [&](const OrderLine& line) {
                       const double centre = line.ratio * family.mean_hz;
                       return std::abs(centre - hz) < reach_hz + 2.0 * family.wander * centre;
                   });
        });
    };
    for (const StillSpectrum* spectrum : spectra)
        for (const StillLine& line : spectrum->lines) {
            const double reach_hz = 3.0 * spectrum->bin_hz;
            if (!line.steady || line.frequency_hz > kHighestMotor_hz || known(line.frequency_hz, reach_hz)) continue;
            const LineComb comb = comb_through(spectra, line.frequency_hz, line.frequency_sd_hz, BrushedMotor::least_shaft_hz, places);
            const bool turns = comb.surprise_of_rest > kRestOfAny && comb.teeth.size() > 1;
            found.push_back(named_drifting(search, spectra, line, turns ? comb : LineComb{}));
            told.push_back(line.frequency_hz);
            for (const CombTooth& tooth : comb.teeth)
                if (turns) told.push_back(tooth.frequency_hz);
        }
}

/// Whether all of a bus's few lines lie on the multiples of a comb of many, which are further apart than the reading leaves open.
bool met_by(const SteadyComb& bus, const SteadyComb& comb) {
    constexpr std::size_t few = 3, many = 5;
    constexpr double strays = 2e-5, apart = 0.1;   // an oscillator's; of the spacing
    if (comb.kind == NoiseKind::bus_tone || bus.harmonics.size() > few || comb.harmonics.size() < many) return false;
    return std::all_of(bus.harmonics.begin(), bus.harmonics.end(), [&](const Harmonic& line) {
        const double number = std::round(line.frequency_hz / comb.frequency_hz);
        const double reach_hz = std::min(0.5 + number * 2.0 * comb.frequency_sd_hz + strays * line.frequency_hz, apart * comb.frequency_hz);
        return std::abs(line.frequency_hz - number * comb.frequency_hz) < reach_hz;
    });
}

/// Two or three lines at multiples of 100 or 120 Hz, to two in a thousand: a rectifier's, of which the louder ones stand. (Of a
/// clear comb of pulses there stand more.)
bool is_rectified_mains(const LineComb& comb, const Job& job) {
    LineComb half;
    half.spacing_hz = 0.5 * comb.spacing_hz;
    half.teeth = comb.teeth;
    return comb.teeth.size() <= 3 && mains_rate_of(half, job).has_value();
}

LineComb twice_numbered(LineComb comb) {
    comb.spacing_hz *= 0.5;
    comb.spacing_sd_hz *= 0.5;
    for (CombTooth& tooth : comb.teeth) tooth.number *= 2;
    return comb;
}

LineComb comb_of_one(const SteadySearch& search, const JointLine& line, int number) {
    CombTooth tooth;
    tooth.number = number;
    tooth.frequency_hz = line.line.frequency_hz;
    tooth.frequency_sd_hz = line.line.frequency_sd_hz;
    tooth.surprise = line.line.surprise;
    for (const std::size_t c : search.channel_of) tooth.mean_square.push_back(line.mean_square[c]);
    LineComb comb;
    comb.spacing_hz = tooth.frequency_hz / number;
    comb.spacing_sd_hz = tooth.frequency_sd_hz / number;
    comb.surprise = tooth.surprise;
    comb.teeth = {tooth};
    return comb;
}

}  // namespace

std::vector<SteadyComb> steady_combs_in(const TakeSurvey& survey, const Job& job, const SpokenFor& spoken) {
    Taken taken;
    std::vector<SteadyComb> found;
    SteadySearch search = search_of(survey, spoken, taken);
    if (search.spectra.empty()) return found;
    look_for_mains(search, job, taken, found);
    look_for_phone(search, taken, found);
    look_for_buses(search, taken, found);
    search.places.most_number = 60;
    while (found.size() < kMostCombs) {
        LineComb comb = best_comb_of(search, joint_lines(search));
        if (comb.teeth.empty()) break;
        if (is_rectified_mains(comb, job)) comb = twice_numbered(std::move(comb));
        const auto mains_hz = mains_rate_of(comb, job);
        const auto bus = bus_of_line(comb.spacing_hz);
        found.push_back(mains_hz                      ? named_mains(search, comb, *mains_hz)
                        : bus && bus->number == 1     ? named_bus(search, comb, bus->bus->what)
                                                      : named_by_shape(search, comb));
        take_in(comb, taken);
        for (const CombTooth& tooth : comb.teeth) taken.lines_hz.push_back(tooth.number * comb.spacing_hz);
    }
    // once more, with louder combs out of the way
    const auto is_mains = [](const SteadyComb& one) { return one.kind == NoiseKind::mains_hum; };
    if (std::none_of(found.begin(), found.end(), is_mains)) look_for_mains(search, job, taken, found);
    look_for_ticks(search, taken, found);
    for (const JointLine& line : joint_lines(search)) {
        if (found.size() >= kMostCombs) break;
        if (search.places.spoken_for(line.line.frequency_hz)) continue;   // beside one of those before
        const auto mains_hz = mains_rate_of(comb_of_one(search, line, 1), job);
        const bool turns = strays(line.line.frequency_hz, line.line.wander_hz);
        const auto bus = turns ? std::nullopt : bus_of_line(line.line.frequency_hz);
        const bool phone = std::abs(line.line.frequency_hz - PhoneFrames::rate_hz) <
                           PhoneFrames::tolerance * PhoneFrames::rate_hz + 2.0 * line.line.frequency_sd_hz;
        found.push_back(mains_hz ? named_mains(search, comb_of_one(search, line, 1), *mains_hz)
                        : bus    ? named_bus(search, comb_of_one(search, line, bus->number), bus->bus->what)
                        : phone  ? named_phone_line(search, comb_of_one(search, line, 1))
                                 : named_alone(line.line, line.mean_square));
        taken.lines_hz.push_back(line.line.frequency_hz);
    }
    const std::vector<SteadyComb> combs = found;
    std::erase_if(found, [&](const SteadyComb& one) {
        return one.kind == NoiseKind::bus_tone &&
               std::any_of(combs.begin(), combs.end(), [&](const SteadyComb& other) { return met_by(one, other); });
    });
    if (!engine_active(*survey.take) && spoken.clicks.empty()) look_for_drifting(search, taken, found);
    return found;
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
