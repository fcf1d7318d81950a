#include "source_traces.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/line_extraction.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

bool has_no_place(NoiseKind kind) {
    return kind == NoiseKind::hiss || kind == NoiseKind::clipping || kind == NoiseKind::crackle ||
           kind == NoiseKind::heard_only;
}

const LevelInTake* loudest_here(const NoiseSource& source, const std::string& take) {
    const LevelInTake* best = nullptr;
    for (const LevelInTake& level : source.levels)
        if (level.take == take && (!best || level.level_dbfs.value_or(-999) > best->level_dbfs.value_or(-999)))
            best = &level;
    return best;
}

Track scaled(Track track, double ratio) {
    for (double& f : track.frequency_hz) f *= ratio;
    return track;
}

void set_ratios(SourceTrace& trace, std::vector<double> ratios) {
    std::sort(ratios.begin(), ratios.end());
    ratios.erase(std::unique(ratios.begin(), ratios.end(), [](double a, double b) { return b - a < 1e-4 * a; }),
                 ratios.end());
    trace.ratios = std::move(ratios);
}

bool trace_clicks(SourceTrace& trace, const TakeSurvey& survey) {
    const ImpulseTrain* strongest = nullptr;
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.clicks && (!strongest || channel.clicks->significance > strongest->significance))
            strongest = &*channel.clicks;
    if (!strongest) return false;
    trace.track = strongest->rate;
    trace.click_profile = strongest->profile;
    return true;
}

/// A family with a line that is the source's leading one.
bool trace_family(SourceTrace& trace, const TakeSurvey& survey, std::size_t index, double leading_ratio,
                  const std::vector<double>& numbers) {
    const MovingFamily& family = survey.families[index];
    trace.family = index;
    trace.family_ratio = leading_ratio;
    trace.track = scaled(family.ridge.track, leading_ratio);
    std::vector<double> ratios = {1.0};
    if (numbers.empty())
        for (const OrderLine& line : family.lines) ratios.push_back(line.ratio / leading_ratio);
    ratios.insert(ratios.end(), numbers.begin(), numbers.end());
    set_ratios(trace, std::move(ratios));
    return true;
}

/// The whine has its own reading in each take. Its lines are those of the harmonics, by what they measure.
bool trace_whine(SourceTrace& trace, const WhineInTake& whine) {
    std::vector<double> ratios;
    for (const Harmonic& one : whine.harmonics) ratios.push_back(one.frequency_hz / whine.frequency_hz);
    if (whine.family) {
        const MovingFamily& family = whine.survey->families[*whine.family];
        return trace_family(trace, *whine.survey, *whine.family, whine.frequency_hz / family.mean_hz, ratios);
    }
    trace.track = steady_track(whine.frequency_hz);
    trace.steady = true;
    ratios.push_back(1.0);
    set_ratios(trace, std::move(ratios));
    return true;
}

/// A moving family whose track, or one of whose lines, passes where the source's line does.
bool trace_moving(SourceTrace& trace, const NoiseSource& source, const TakeSurvey& survey, double reach) {
    std::optional<std::size_t> best;
    double nearest = reach;
    for (std::size_t i = 0; i < survey.families.size(); ++i) {
        const double away = std::abs(std::log(survey.families[i].mean_hz / *source.frequency_hz));
        if (away >= nearest) continue;
        nearest = away;
        best = i;
    }
    return best && trace_family(trace, survey, *best, 1.0, {});
}

/// Lines that hold still: those of the loudest take, each put where this take has a line close by.
bool trace_steady(SourceTrace& trace, const NoiseSource& source, const TakeSurvey& survey, bool loudest) {
    std::vector<double> wanted_hz = {*source.frequency_hz};
    if (!source.harmonics.empty()) wanted_hz.clear();
    for (const Harmonic& one : source.harmonics) wanted_hz.push_back(one.frequency_hz);
    // a tone's harmonics are told beside it, a comb's first tooth may be missing
    const bool lone = std::any_of(source.harmonics.begin(), source.harmonics.end(),
                                  [](const Harmonic& one) { return one.number < 1.5; });
    if (!lone && source.kind == NoiseKind::unexplained_tone) wanted_hz.push_back(*source.frequency_hz);
    std::vector<double> ratios;
    for (const double wanted : wanted_hz) {
        const double reach_hz = std::max(1.5, 0.002 * wanted);
        double best_hz = loudest ? wanted : 0.0, nearest_hz = reach_hz;
        if (!loudest)
            for (const ChannelSurvey& channel : survey.channels)
                for (const SpectralLine& line : channel.lines)
                    if (std::abs(line.frequency_hz - wanted) < nearest_hz) {
                        nearest_hz = std::abs(line.frequency_hz - wanted);
                        best_hz = line.frequency_hz;
                    }
        if (best_hz > 0.0) ratios.push_back(best_hz / *source.frequency_hz);
    }
    if (ratios.empty()) return false;
    trace.steady = true;
    trace.track = steady_track(*source.frequency_hz);
    set_ratios(trace, std::move(ratios));
    return true;
}

bool trace_lines(SourceTrace& trace, const NoiseSource& source, const TakeSurvey& survey,
                 const std::list<WhineInTake>& whines) {
    if (source.kind == NoiseKind::alternator_whine) {
        for (const WhineInTake& whine : whines)
            if (whine.survey == &survey) return trace_whine(trace, whine);
        return false;
    }
    if (!source.frequency_hz || !(*source.frequency_hz > 0.0)) return false;
    const LevelInTake* loudest = loudest_level(source);
    const bool here = loudest && loudest->take == survey.take->file;
    // a wandering source's frequency is its family's mean; in another take it may have strayed further
    if (source.harmonics.empty() && trace_moving(trace, source, survey, here ? 0.002 : 0.03)) return true;
    return trace_steady(trace, source, survey, here);
}

/// The followed source's view of its take, in the source's own orders.
OrderSpectrumReading orders_seen_from(const SourceTrace& trace, const NoiseSource& source, const TakeSurvey& survey) {
    const MovingFamily& family = survey.families[*trace.family];
    const ChannelSurvey& channel = survey.channels[survey.orders[*trace.family].channel];
    OrderSpectrumReading out;
    out.take = trace.take;
    out.channel = channel.channel;
    out.reference = source.id;
    out.reference_hz = trace.track.mean_hz();
    out.reference_order = source.engine_order;
    for (const ReadOrder& read : survey.orders[*trace.family].lines) {
        OrderSpectrumLine line;
        line.ratio = read.ratio / trace.family_ratio;
        if (source.engine_order) line.order = line.ratio * *source.engine_order;
        line.frequency_hz = read.ratio * family.mean_hz;
        line.level_dbfs = dbfs_from_mean_square(std::max(read.mean_square, 1e-20));
        if (channel.volts_full_scale) line.level_dbv = dbv_from_dbfs(line.level_dbfs, *channel.volts_full_scale);
        line.sharpening_db = read.sharpening_db;
        line.follows = read.follows;
        out.lines.push_back(line);
    }
    return out;
}

}  // namespace

std::vector<OrderSpectrumReading> order_spectra_of(const std::list<TakeSurvey>& surveys, const NoiseAnalysis& analysis) {
    std::vector<OrderSpectrumReading> out;
    for (const SourceTrace& trace : analysis.traces)
        for (const TakeSurvey& survey : surveys) {
            if (survey.take->file != trace.take || !trace.family || *trace.family >= survey.orders.size()) continue;
            for (const NoiseSource& source : analysis.noise_sources)
                if (source.id == trace.source_id) out.push_back(orders_seen_from(trace, source, survey));
        }
    return out;
}

bool is_of_clicks(NoiseKind kind) { return kind == NoiseKind::ignition_tick || kind == NoiseKind::periodic_tick; }

std::vector<SourceTrace> traces_of(const std::list<TakeSurvey>& surveys, const std::list<WhineInTake>& whines,
                                   const std::vector<NoiseSource>& sources) {
    std::vector<SourceTrace> traces;
    for (const NoiseSource& source : sources) {
        if (has_no_place(source.kind)) continue;
        for (const TakeSurvey& survey : surveys) {
            const LevelInTake* level = loudest_here(source, survey.take->file);
            if (!level) continue;
            SourceTrace trace;
            trace.source_id = source.id;
            trace.take = survey.take->file;
            trace.channel = level->channel;
            trace.from_s = survey.from_s;
            if (is_of_clicks(source.kind) ? trace_clicks(trace, survey) : trace_lines(trace, source, survey, whines))
                traces.push_back(std::move(trace));
        }
    }
    return traces;
}

}  // namespace hushtrace
