#include "noise_pictures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

namespace {

constexpr std::size_t kMostPoints = 400, kMostDrawn = 8;

std::string plain_name_of(const NoiseAnalysis& analysis, const std::string& id) {
    for (const NoiseSource& source : analysis.noise_sources)
        if (source.id == id) return std::string(plain_name(source.kind));
    return id;
}

void add_tracks(TakePicture& picture, const NoiseAnalysis& analysis) {
    for (const SourceTrace& trace : analysis.traces) {
        if (trace.take != picture.take || trace.steady || trace.track.empty()) continue;
        PictureTrack drawn;
        drawn.source_id = trace.source_id;
        drawn.label = plain_name_of(analysis, trace.source_id);
        drawn.clicks = !trace.click_profile.empty();
        const std::size_t stride = trace.track.time_s.size() / kMostPoints + 1;
        for (std::size_t i = 0; i < trace.track.time_s.size(); i += stride)
            drawn.points.emplace_back(trace.track.time_s[i], trace.track.frequency_hz[i]);
        drawn.ratios = trace.ratios;
        if (drawn.ratios.empty()) drawn.ratios = {1.0};
        if (drawn.ratios.size() > kMostDrawn) {  // the line itself and what lies next to it
            std::sort(drawn.ratios.begin(), drawn.ratios.end(),
                      [](double a, double b) { return std::abs(std::log(a)) < std::abs(std::log(b)); });
            drawn.ratios.resize(kMostDrawn);
            std::sort(drawn.ratios.begin(), drawn.ratios.end());
        }
        picture.tracks.push_back(std::move(drawn));
    }
}

/// The map over the cycles of the alternator, or else of what was found loudest.
void add_orders(TakePicture& picture, const TakeSurvey& survey, std::size_t channel, const NoiseAnalysis& analysis) {
    const SourceTrace* best = nullptr;
    bool engine = false;
    for (const SourceTrace& trace : analysis.traces) {
        if (trace.take != picture.take || !trace.family || *trace.family >= survey.orders.size() ||
            survey.orders[*trace.family].channel != channel || survey.orders[*trace.family].map.empty())
            continue;
        const bool whine = trace.source_id.starts_with(to_word(NoiseKind::alternator_whine));
        if (best && (engine || !whine)) continue;
        best = &trace;
        engine = whine;
    }
    if (!best) return;
    PictureOrders orders;
    orders.source_id = best->source_id;
    orders.label = plain_name_of(analysis, best->source_id);
    orders.reference_ratio = best->family_ratio;
    for (const NoiseSource& source : analysis.noise_sources)
        if (source.id == best->source_id) orders.reference_order = source.engine_order;
    orders.wander = survey.families[*best->family].wander;
    orders.map = survey.orders[*best->family].map;
    picture.orders = std::move(orders);
}

}  // namespace

TakePicture picture_of(const TakeSurvey& survey, std::size_t channel, const NoiseAnalysis& analysis) {
    const std::vector<NoiseSource>& sources = analysis.noise_sources;
    const ChannelSurvey& from = survey.channels[channel];
    TakePicture picture;
    picture.take = survey.take->file;
    picture.channel = from.channel;
    picture.volts_full_scale = from.volts_full_scale;
    picture.bin_hz = from.spectrum.bin_hz();
    picture.line_dbfs.resize(from.spectrum.density.size());
    for (std::size_t k = 0; k < picture.line_dbfs.size(); ++k)
        picture.line_dbfs[k] =
            static_cast<float>(dbfs_from_mean_square(std::max(from.spectrum.tone_mean_square(k), 1e-20)));
    picture.column_s = from.column_s;
    picture.spectrogram_bin_hz = from.spectrogram_bin_hz;
    picture.spectrogram_dbfs = from.spectrogram_dbfs;
    if (!survey.families.empty()) {
        const Track& track = survey.families.front().ridge.track;
        for (std::size_t i = 0; i < track.time_s.size(); ++i)
            picture.track.emplace_back(track.time_s[i], track.frequency_hz[i]);
    }
    add_tracks(picture, analysis);
    add_orders(picture, survey, channel, analysis);
    const auto loudest_near = [&](double frequency_hz, double reach_hz) {
        float best = -200;
        const std::size_t low = from.spectrum.bin_of(frequency_hz - reach_hz),
                          high = from.spectrum.bin_of(frequency_hz + reach_hz);
        for (std::size_t k = low; k <= high; ++k) best = std::max(best, picture.line_dbfs[k]);
        return static_cast<double>(best);
    };
    for (const NoiseSource& source : sources) {
        const bool here =
            std::any_of(source.levels.begin(), source.levels.end(), [&](const LevelInTake& level) {
                return level.take == picture.take && level.channel == picture.channel;
            });
        // clicks and hiss are no lines of a spectrum
        if (!here || !source.frequency_hz || source.kind == NoiseKind::hiss ||
            source.kind == NoiseKind::ignition_tick || source.kind == NoiseKind::periodic_tick)
            continue;
        double frequency_hz = *source.frequency_hz, reach_hz = std::max(2.0, 0.002 * frequency_hz);
        if (source.kind == NoiseKind::alternator_whine && !survey.families.empty()) {
            // the engine turned at another speed in this take: the nearest of its moving lines
            double nearest = 1e9;
            for (const OrderLine& line : survey.families.front().lines) {
                const double f = line.ratio * survey.families.front().mean_hz;
                double power = 0;
                for (const double p : line.mean_square) power += p;
                if (power > 0 && std::abs(std::log(f / *source.frequency_hz)) < nearest) {
                    nearest = std::abs(std::log(f / *source.frequency_hz));
                    frequency_hz = f;
                }
            }
            reach_hz = std::max(5.0, 2.5 * survey.families.front().wander * frequency_hz);
        } else if (source.kind == NoiseKind::mains_hum && !source.harmonics.empty()) {
            double best = -999;
            for (const Harmonic& harmonic : source.harmonics)
                if (harmonic.level_dbfs > best) {
                    best = harmonic.level_dbfs;
                    frequency_hz = harmonic.frequency_hz;
                }
        }
        picture.lines.push_back({frequency_hz, loudest_near(frequency_hz, reach_hz), source.id,
                                 fmt::format("{}, {:.0f} Hz", plain_name(source.kind), frequency_hz)});
    }
    return picture;
}

}  // namespace hushtrace
