#include "noise_pictures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

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

/// Where a source's line lies in a take, and how far it may stray.
struct LinePlace {
    double frequency_hz = 0, reach_hz = 0;
    bool leading = false;
};
/// By its track in this very take (the engine turns at another speed in each); else at the frequency of its loudest take.
std::vector<LinePlace> places_of(const NoiseSource& source, const std::string& take, const NoiseAnalysis& analysis) {
    const auto reach = [](double frequency_hz) { return std::max(2.0, 0.002 * frequency_hz); };
    const auto is_leading = [](double ratio) { return std::abs(ratio - 1.0) < 1e-3; };
    std::vector<LinePlace> places;
    for (const SourceTrace& trace : analysis.traces) {
        if (trace.source_id != source.id || trace.take != take || trace.track.empty() || !places.empty()) continue;
        const auto& hz = trace.track.frequency_hz;
        const double mean_hz = std::accumulate(hz.begin(), hz.end(), 0.0) / static_cast<double>(hz.size());
        const auto [least, most] = std::minmax_element(hz.begin(), hz.end());
        const double stray = std::max(*most - mean_hz, mean_hz - *least) / mean_hz;
        std::vector<double> ratios = trace.ratios;
        if (std::none_of(ratios.begin(), ratios.end(), is_leading)) ratios.push_back(1.0);
        std::sort(ratios.begin(), ratios.end(), [](double a, double b) { return std::abs(std::log(a)) < std::abs(std::log(b)); });
        if (ratios.size() > kMostDrawn) ratios.resize(kMostDrawn);
        for (const double ratio : ratios)
            places.push_back({ratio * mean_hz, std::max(reach(ratio * mean_hz), stray * ratio * mean_hz), is_leading(ratio)});
    }
    if (places.empty()) places.push_back({*source.frequency_hz, reach(*source.frequency_hz), true});
    return places;
}

constexpr double kStandsOut_db = 10.0;
struct Seen {
    double level_dbfs = -200, over_floor_db = 0;
};
/// The strongest bin within reach, also against the median of what lies 10 % either way.
Seen loudest_near(const PowerSpectrum& spectrum, const std::vector<float>& line_dbfs, const LinePlace& place) {
    const auto highest = [&](double from_hz, double to_hz) {
        float best = -200;
        for (std::size_t k = spectrum.bin_of(from_hz); k <= std::min(spectrum.bin_of(to_hz), line_dbfs.size() - 1); ++k)
            best = std::max(best, line_dbfs[k]);
        return static_cast<double>(best);
    };
    Seen seen;
    seen.level_dbfs = highest(place.frequency_hz - place.reach_hz, place.frequency_hz + place.reach_hz);
    const std::size_t low = spectrum.bin_of(0.9 * place.frequency_hz),
                      high = std::min(spectrum.bin_of(1.1 * place.frequency_hz), line_dbfs.size() - 1);
    if (low >= high) return seen;
    std::vector<float> round(line_dbfs.begin() + static_cast<std::ptrdiff_t>(low), line_dbfs.begin() + static_cast<std::ptrdiff_t>(high) + 1);
    std::nth_element(round.begin(), round.begin() + static_cast<std::ptrdiff_t>(round.size() / 2), round.end());
    seen.over_floor_db = seen.level_dbfs - static_cast<double>(round[round.size() / 2]);
    return seen;
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
    for (const NoiseSource& source : sources) {
        const bool here =
            std::any_of(source.levels.begin(), source.levels.end(), [&](const LevelInTake& level) {
                return level.take == picture.take && level.channel == picture.channel;
            });
        // clicks and hiss are no lines of a spectrum
        if (!here || !source.frequency_hz || source.kind == NoiseKind::hiss ||
            source.kind == NoiseKind::ignition_tick || source.kind == NoiseKind::periodic_tick)
            continue;
        const std::vector<LinePlace> places = places_of(source, picture.take, analysis);
        for (const LinePlace& place : places) {
            const Seen seen = loudest_near(from.spectrum, picture.line_dbfs, place);
            if (!place.leading && seen.over_floor_db < kStandsOut_db) continue;
            picture.lines.push_back({place.frequency_hz, seen.level_dbfs, source.id,
                                     fmt::format("{}, {:.0f} Hz", plain_name(source.kind), place.frequency_hz)});
        }
    }
    return picture;
}

}  // namespace hushtrace
