#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"
#include "converter_noise.hpp"
#include "line_level.hpp"
#include "noise_sources.hpp"
#include "steady_parts.hpp"

namespace hushtrace {
namespace {

// False alarms a take: 1 in 2000 for a comb that is looked for by name, beside those of single lines (still_spectrum).
constexpr double kNamedComb = 7.6;       // surprise
constexpr double kRestOfNamed = 6.9;     // of its other teeth, so that one chance line makes no comb
constexpr double kRestOfAny = 6.9;       // one lone tone in a thousand gets teeth by chance
constexpr int kMostCombs = 12;
constexpr double kHighestMotor_hz = 3500.0;   // common practice, no source
constexpr double kHasSkirts = 200.0;           // surprise of a tooth whose skirts stand over the noise
constexpr double kOscillatorStrays = 1e-4;    // of a switching rate within a take: common practice, no source
constexpr double kFinerExplains = 4.6;         // surprise: a hundred times as likely by chance

/// Whether what was followed as a moving line is one that holds still, jittered by the noise.
bool holds_still(const TakeSurvey& survey, const MovingFamily& family) {
    for (const ChannelSurvey& channel : survey.channels)
        for (const StillLine& line : channel.still.lines)
            if (line.steady && line.present_share > 0.75 &&
                std::abs(line.frequency_hz - family.mean_hz) < std::max(2.0, 1.5 * family.wander * family.mean_hz))
                return true;
    return false;
}

/// Whether a frequency belongs to a family that moves: the whine's, or one that strays by more than a still line's width.
bool of_a_family(const TakeSurvey& survey, const SpokenFor& spoken, double frequency_hz) {
    for (std::size_t i = 0; i < survey.families.size(); ++i) {
        const MovingFamily& family = survey.families[i];
        const bool whine = spoken.whine_family == i;
        if (!whine && (family.significance < kSureFamily || holds_still(survey, family))) continue;
        for (const OrderLine& line : family.lines) {
            const double centre = line.ratio * family.mean_hz, strays = family.wander * centre;
            if (!whine && strays < 1.0) continue;
            if (std::abs(frequency_hz - centre) < 2.0 + 2.5 * strays) return true;
        }
    }
    return false;
}

/// The strongest bin within reach of a frequency, over the channels.
double power_at(const TakeSurvey& survey, double frequency_hz, double reach_hz) {
    double most = 0;
    for (const ChannelSurvey& channel : survey.channels) {
        const StillSpectrum& s = channel.still;
        if (s.density.empty()) continue;
        for (std::size_t k = s.bin_of(frequency_hz - reach_hz); k <= s.bin_of(frequency_hz + reach_hz); ++k)
            most = std::max(most, s.density[k]);
    }
    return most;
}

/// The clicks' own lines; none is theirs that stands over their next ones on both sides by more than their own differ.
bool sharp_click_line(const TakeSurvey& survey, const SpokenFor::Clicks& clicks, double frequency_hz) {
    const double rate = clicks.rate_hz, away = std::abs(std::remainder(frequency_hz, rate));
    const double smear = 2.0 * clicks.wander * frequency_hz;
    constexpr double resolved_hz = 6.0;     // slower clicks' lines run together in bins of 1 Hz
    if (smear > 0.5 * rate || rate < resolved_hz) return false;
    const double reach = std::min(1.5 + smear, std::max(1.5, 0.25 * rate));
    if (frequency_hz < 0.8 * rate || away >= reach) return false;
    double next = 0;
    for (const double steps : {-1.0, 1.0}) next = std::max(next, power_at(survey, frequency_hz + steps * rate, reach));
    return power_at(survey, frequency_hz, 1.0) < 10.0 * next;
}

/// Where clicks whose rate strays smear their lines: the bins there are spiky, not as noise is.
bool smeared_by_clicks(const SpokenFor& spoken, double frequency_hz) {
    return std::any_of(spoken.clicks.begin(), spoken.clicks.end(), [frequency_hz](const SpokenFor::Clicks& clicks) {
        if (frequency_hz < 0.8 * clicks.rate_hz) return false;
        return std::abs(std::remainder(frequency_hz, clicks.rate_hz)) < 2.0 + 3.0 * clicks.wander * frequency_hz;
    });
}

/// Lines that are explained, and combs whose every multiple is.
struct Taken {
    struct Comb {
        double spacing_hz, spacing_sd_hz, most_mean_square;
    };
    std::vector<double> lines_hz;
    std::vector<Comb> combs;

    bool holds(const TakeSurvey& survey, double frequency_hz) const {
        if (std::any_of(lines_hz.begin(), lines_hz.end(), [&](double one) { return std::abs(frequency_hz - one) < 2.5; })) return true;
        return std::any_of(combs.begin(), combs.end(), [&](const Comb& comb) {
            const double n = std::round(frequency_hz / comb.spacing_hz);
            const double reach = std::min(1.0 + n * std::max(2.0 * comb.spacing_sd_hz, kOscillatorStrays * comb.spacing_hz), 0.1 * comb.spacing_hz);
            return n >= 1.0 && std::abs(frequency_hz - n * comb.spacing_hz) < reach &&
                   power_at(survey, frequency_hz, 1.0) * survey.channels.front().still.bin_hz < comb.most_mean_square;
        });
    }
};

/// Whether the set-up itself has a line there, as strong with its inputs shorted: to 3 dB.
bool of_the_set_up(const SpokenFor& spoken, const TakeSurvey& survey, double frequency_hz) {
    for (const TakeSurvey* floor : spoken.floor_takes)
        for (std::size_t c = 0; c < std::min(floor->channels.size(), survey.channels.size()); ++c) {
            const StillSpectrum &there = floor->channels[c].still, &here = survey.channels[c].still;
            if (there.density.empty() || here.density.empty()) continue;
            const auto own = there.peak_near(frequency_hz, there.bin_hz);
            if (own.surprise > 9.0 && own.mean_square > 0.5 * here.peak_near(frequency_hz, here.bin_hz).mean_square) return true;
        }
    return false;
}

SteadySearch search_of(const TakeSurvey& survey, const SpokenFor& spoken, const Taken& taken) {
    SteadySearch search;
    search.survey = &survey;
    for (std::size_t c = 0; c < survey.channels.size(); ++c) {
        const ChannelSurvey& channel = survey.channels[c];
        if (channel.silent || channel.still.density.empty()) continue;
        search.spectra.push_back(&channel.still);
        search.channel_of.push_back(c);
    }
    search.places.spoken_for = [&survey, &spoken, &taken](double f) {
        if (std::any_of(spoken.known_hz.begin(), spoken.known_hz.end(),
                        [f](double known) { return std::abs(f - known) < std::max(3.0, 0.002 * known); }))
            return true;
        if (taken.holds(survey, f) || is_of_pulses(survey, f)) return true;
        if (std::any_of(spoken.clicks.begin(), spoken.clicks.end(), [&](const auto& clicks) { return sharp_click_line(survey, clicks, f); }))
            return true;
        return of_a_family(survey, spoken, f) || of_the_set_up(spoken, survey, f);
    };
    search.places.doubtful = [&spoken](double f) { return smeared_by_clicks(spoken, f); };
    return search;
}

/// A comb's teeth; its further multiples too, up to its own strength, though too weak or too high to have been looked for.
void take_in(const LineComb& comb, Taken& taken) {
    for (const CombTooth& tooth : comb.teeth)
        for (const double skirt_hz : {-4.0, 0.0, 4.0})
            if (skirt_hz == 0.0 || tooth.surprise > kHasSkirts) taken.lines_hz.push_back(tooth.frequency_hz + skirt_hz);
    if (comb.teeth.size() < 3) return;
    double most = 0;
    for (const CombTooth& tooth : comb.teeth) most = std::max(most, tooth.total());
    taken.combs.push_back({comb.spacing_hz * std::max(1, comb.common_divisor()), comb.spacing_sd_hz, most});
}

void look_for_mains(const SteadySearch& search, const Job& job, Taken& taken, std::vector<SteadyComb>& found) {
    std::vector<double> nominals(Mains::nominal_hz.begin(), Mains::nominal_hz.end());
    if (job.vehicle.mains_hz) nominals = {*job.vehicle.mains_hz};
    LineComb best;
    double best_nominal = 0;
    CombPlaces places = search.places;
    places.most_number = Mains::most_number;
    for (const double nominal : nominals) {
        LineComb comb = find_comb(search.spectra, nominal, Mains::tolerance, places);
        if (comb.surprise <= best.surprise) continue;
        best = std::move(comb);
        best_nominal = nominal;
    }
    if (best.surprise < kNamedComb || best.teeth.empty()) return;
    const int divisor = std::max(best.common_divisor(), best.solid_divisor());
    const bool low = best.teeth.front().number <= 3, exact = std::abs(best.spacing_hz / best_nominal - 1.0) < Mains::usual_stray;
    const bool comb = best.surprise_of_rest > kRestOfNamed && best.teeth.size() > 1;
    // multiples of 2 alone are a full-wave rectifier's, or pulses at 100 or 120 Hz: only the mains keep that so exactly
    if (divisor > 2 || !low || (divisor == 2 && !exact)) return;
    if (!comb && (!exact || best.strongest()->number > 2)) return;
    found.push_back(named_mains(search, best, best_nominal));
    take_in(best, taken);
}

/// The mains whose rate a comb keeps so well that it is theirs though too faint to be found by name: pulses or clicks at just
/// that rate are rare.
std::optional<double> mains_rate_of(const LineComb& comb, const Job& job) {
    for (const double nominal : Mains::nominal_hz) {
        if (job.vehicle.mains_hz && *job.vehicle.mains_hz != nominal) continue;
        if (std::abs(comb.spacing_hz / nominal - 1.0) < Mains::usual_stray && comb.teeth.front().number <= 3) return nominal;
    }
    return std::nullopt;
}

/// A burst of an eighth of its frame has its first lobe in multiples 1 to 7: some of them are there whatever couples it.
/// And a phone sends for a second and more.
bool looks_like_frames(const CombStretch& phone) {
    const auto low = std::count_if(phone.comb.teeth.begin(), phone.comb.teeth.end(),
                                   [](const CombTooth& tooth) { return tooth.number < 8 && tooth.surprise > 5.0; });
    return low >= 2 && phone.to_s - phone.from_s > 0.9;
}

/// The channel whose frames stand out most speaks for the times; the others' powers are read at the same teeth.
void look_for_phone(const SteadySearch& search, Taken& taken, std::vector<SteadyComb>& found) {
    const CombStretch* best = nullptr;
    for (const std::size_t c : search.channel_of) {
        const auto& phone = search.survey->channels[c].phone;
        if (phone && looks_like_frames(*phone) && (!best || phone->surprise > best->surprise)) best = &*phone;
    }
    if (!best || best->comb.surprise_of_rest < kRestOfNamed || best->comb.common_divisor() != 1) return;
    CombStretch whole = *best;
    std::erase_if(whole.comb.teeth, [&](const CombTooth& tooth) { return search.places.spoken_for(tooth.frequency_hz); });
    if (whole.comb.teeth.size() < 2) return;
    for (CombTooth& tooth : whole.comb.teeth) {
        tooth.mean_square.clear();
        for (const std::size_t c : search.channel_of) {
            const auto& phone = search.survey->channels[c].phone;
            const CombTooth* same = phone ? phone->comb.tooth(tooth.number) : nullptr;
            tooth.mean_square.push_back(same ? same->mean_square.front() : 0.0);
        }
    }
    found.push_back(named_phone(search, whole));
    for (int n = 1; n * whole.comb.spacing_hz < 20000.0; ++n)   // what comes and goes has skirts
        for (const double away_hz : {-2.0, 0.0, 2.0}) taken.lines_hz.push_back(n * whole.comb.spacing_hz + away_hz);
}

/// Whether a comb's lines are but some of those of a slower rate, which explains many more.
bool part_of_finer_comb(const SteadySearch& search, const LineComb& comb) {
    const CombTooth* top = comb.strongest();
    CombPlaces places = search.places;
    places.most_number = 60;
    const LineComb finer = comb_through(search.spectra, top->frequency_hz, top->frequency_sd_hz, PulseWidth::least_hz, places);
    if (finer.teeth.size() < 2) return false;
    const double parts = std::round(comb.spacing_hz / finer.spacing_hz);
    return parts >= 2.0 && std::abs(comb.spacing_hz - parts * finer.spacing_hz) < 2.0 + parts * finer.spacing_sd_hz &&
           finer.surprise_of_rest > comb.surprise_of_rest + kFinerExplains;
}

/// Whether a bus's lines are those of a faster one, and chance.
bool of_a_faster_bus(const SteadySearch& search, const BusFrames& bus, const LineComb& comb, const CombPlaces& places) {
    return std::any_of(kBusFrames.begin(), kBusFrames.end(), [&](const BusFrames& faster) {
        const double times = faster.rate_hz / bus.rate_hz;
        return times > 1.5 && std::abs(times - std::round(times)) < 1e-9 &&
               surprise_beside(search.spectra, comb, static_cast<int>(times + 0.5), places) < kRestOfNamed;
    });
}

LineComb comb_of_bus(const SteadySearch& search, const BusFrames& bus) {
    CombPlaces places = search.places;
    places.most_number = 25;
    LineComb comb = find_comb(search.spectra, bus.rate_hz, BusFrames::tolerance, places);
    if (comb.surprise < kNamedComb || comb.teeth.empty() || part_of_finer_comb(search, comb)) return {};
    const bool several = comb.teeth.size() > 1 && comb.surprise_of_rest > kRestOfNamed;
    if (several && of_a_faster_bus(search, bus, comb, places)) return {};
    // one line alone: only where it is the frames' own
    if (!several && (comb.strongest()->number != 1 || comb.strongest()->surprise < 16.0)) return {};
    return comb;
}

/// The clearest first: what is left of its lines for another is little.
void look_for_buses(const SteadySearch& search, Taken& taken, std::vector<SteadyComb>& found) {
    for (std::size_t rounds = 0; rounds < kBusFrames.size(); ++rounds) {
        const BusFrames* clearest = nullptr;
        LineComb best;
        for (const BusFrames& bus : kBusFrames)
            if (LineComb comb = comb_of_bus(search, bus); comb.surprise > best.surprise) {
                clearest = &bus;
                best = std::move(comb);
            }
        if (!clearest) return;
        found.push_back(named_bus(search, best, clearest->what));
        take_in(best, taken);
    }
}

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
        const LineComb comb = best_comb_of(search, joint_lines(search));
        if (comb.teeth.empty()) break;
        const auto mains_hz = mains_rate_of(comb, job);
        found.push_back(mains_hz ? named_mains(search, comb, *mains_hz) : named_by_shape(search, comb));
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
        found.push_back(named_alone(line.line, line.mean_square));
        taken.lines_hz.push_back(line.line.frequency_hz);
    }
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
