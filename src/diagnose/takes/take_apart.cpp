#include "take_apart.hpp"

#include <algorithm>

#include "hushtrace/measure/burst_extraction.hpp"
#include "hushtrace/measure/line_extraction.hpp"

namespace hushtrace {
namespace {

const SourceTrace* trace_in(const NoiseAnalysis& analysis, const std::string& id, const std::string& take) {
    for (const SourceTrace& trace : analysis.traces)
        if (trace.source_id == id && trace.take == take) return &trace;
    return nullptr;
}

bool has_level_in(const NoiseSource& source, const std::string& take) {
    return std::any_of(source.levels.begin(), source.levels.end(),
                       [&](const LevelInTake& level) { return level.take == take && level.level_dbfs; });
}

/// The bands of a source's lines, not reaching into each other.
std::vector<LineBand> bands_of(const SourceTrace& trace) {
    const double mean_hz = trace.track.mean_hz();
    std::vector<LineBand> bands;
    for (const double ratio : trace.ratios) {
        const double frequency_hz = ratio * mean_hz;
        bands.push_back({ratio, trace.steady ? steady_half_width_hz(frequency_hz) : followed_half_width_hz(frequency_hz)});
    }
    const auto& f = trace.track.frequency_hz;
    keep_apart(bands, *std::min_element(f.begin(), f.end()));  // where they stand closest
    return bands;
}

/// The order in which sources are taken out: 0 lines, 1 crackle and clicks, 2 hiss.
int turn_of(const NoiseSource& source, const SourceTrace* trace) {
    if (source.kind == NoiseKind::hiss) return 2;
    return source.kind == NoiseKind::crackle || (trace && !trace->click_profile.empty()) ? 1 : 0;
}

void take_one(const NoiseSource& source, const SourceTrace* trace, double rate, Block& left, Block& alone) {
    const std::size_t channels = left.channels();
    if (source.kind == NoiseKind::hiss) {
        std::swap(left, alone);
        return;
    }
    if (source.kind != NoiseKind::crackle && trace->click_profile.empty()) {
        const std::vector<LineBand> bands = bands_of(*trace);
        const Track track = trace->steady ? trace->track : smoothed(trace->track);
        for (std::size_t c = 0; c < channels; ++c) take_out_lines(left.channel(c), alone.channel(c), rate, track, bands);
        return;
    }
    // both channels at the same times, found in the louder one
    std::size_t louder = 0;
    double most = -1;
    for (std::size_t c = 0; c < channels; ++c) {
        double power = 0;
        for (const double sample : left.channel(c)) power += sample * sample;
        if (power > most) louder = c;
        most = std::max(most, power);
    }
    std::vector<SoundSpan> bursts;
    if (source.kind == NoiseKind::crackle) {
        bursts = bursts_in(left.channel(louder), rate);
    } else {
        ImpulseTrain train;
        train.rate = trace->track;
        train.profile = trace->click_profile;
        bursts = clicks_of_train(left.channel(louder), rate, train);
    }
    for (std::size_t c = 0; c < channels; ++c) take_out_bursts(left.channel(c), alone.channel(c), rate, bursts);
}

}  // namespace

bool can_be_taken_out(const NoiseSource& source, const NoiseAnalysis& analysis, const std::string& take) {
    if (!has_level_in(source, take) || source.kind == NoiseKind::clipping) return false;
    return source.kind == NoiseKind::hiss || source.kind == NoiseKind::crackle ||
           trace_in(analysis, source.id, take) != nullptr;
}

void take_apart(const Block& sound, double sample_rate_hz, const std::string& take, const NoiseAnalysis& analysis,
                const std::vector<const NoiseSource*>& wanted,
                const std::function<void(const NoiseSource& source, Block& alone)>& use) {
    struct Part {
        const NoiseSource* source;
        const SourceTrace* trace;
    };
    std::vector<Part> parts;
    for (const NoiseSource& source : analysis.noise_sources)  // loudest first
        if (can_be_taken_out(source, analysis, take)) parts.push_back({&source, trace_in(analysis, source.id, take)});
    std::stable_sort(parts.begin(), parts.end(),
                     [](const Part& a, const Part& b) { return turn_of(*a.source, a.trace) < turn_of(*b.source, b.trace); });
    Block left = sound, alone;
    for (const Part& part : parts) {
        alone.reset(sound.channels(), sound.frames());
        take_one(*part.source, part.trace, sample_rate_hz, left, alone);
        if (std::find(wanted.begin(), wanted.end(), part.source) != wanted.end()) use(*part.source, alone);
    }
}

}  // namespace hushtrace
