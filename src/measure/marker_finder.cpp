#include "hushtrace/measure/marker_finder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "marker_correlation.hpp"

namespace hushtrace {
namespace {

constexpr double frame_s = 2.5;
constexpr double same_marker_s = 0.05;
constexpr std::size_t most_markers = 10000;
// What a peak must show to be believed, for each band from the widest down: its strength, and the share of
// the band's power that the marker explains. Noise alone stays below a strength of 5 for hours, but a narrow
// band needs more: drums, whose pitch falls like the closing marker's, reach 22 and 0.41 below 160 Hz, where
// a marker behind a subwoofer's low-pass reaches 20 and 0.75. Beyond `beyond_doubt` a marker under much
// louder sound is meant. Chosen by trial, no source.
struct Belief {
    double strength, likeness;
};
constexpr std::array<Belief, 3> beliefs = {{{8.0, 0.04}, {12.0, 0.1}, {8.0, 0.55}}};
constexpr double beyond_doubt = 40.0;

}  // namespace

struct MarkerFinder::State {
    explicit State(double rate_hz)
        : rate(rate_hz), correlation(rate_hz, fast_length(static_cast<std::size_t>(frame_s * rate_hz))) {
        pending.assign(correlation.length() / 2,
                       0.0);  // so that the first frame's middle is the capture's start
    }
    void take_frames();
    void examine(std::span<const double> frame);
    std::optional<FoundMarker> find(std::span<const double> frame, Marker::End end);

    double rate;
    MarkerCorrelation correlation;
    std::vector<double> pending;
    double frame_start_s = 0;  // set by take_frames
    std::uint64_t frames_done = 0;
    std::uint64_t received = 0;
    std::vector<FoundMarker> found;
};

MarkerFinder::MarkerFinder(double sample_rate_hz) {
    if (!(sample_rate_hz >= 1000 && sample_rate_hz <= 1000000)) {
        throw Error(ErrorKind::invalid_request,
                    fmt::format("markers can't be looked for at {} Hz", sample_rate_hz));
    }
    state_ = std::make_unique<State>(sample_rate_hz);
}
MarkerFinder::~MarkerFinder() = default;
MarkerFinder::MarkerFinder(MarkerFinder&&) noexcept = default;
MarkerFinder& MarkerFinder::operator=(MarkerFinder&&) noexcept = default;

void MarkerFinder::add(std::span<const double> samples) {
    state_->received += samples.size();
    const std::size_t chunk = state_->correlation.length();
    for (std::size_t from = 0; from < samples.size(); from += chunk) {
        const auto part = samples.subspan(from, std::min(chunk, samples.size() - from));
        state_->pending.insert(state_->pending.end(), part.begin(), part.end());
        state_->take_frames();
    }
}

void MarkerFinder::State::take_frames() {
    const std::size_t length = correlation.length(), hop = length / 2;
    std::size_t from = 0;
    for (; pending.size() - from >= length; from += hop) {
        frame_start_s = (static_cast<double>(frames_done) - 1.0) * static_cast<double>(hop) / rate;
        examine(std::span<const double>(pending).subspan(from, length));
        ++frames_done;
    }
    pending.erase(pending.begin(), pending.begin() + static_cast<std::ptrdiff_t>(from));
}

void MarkerFinder::State::examine(std::span<const double> frame) {
    if (!correlation.load(frame)) return;  // digital silence
    for (const Marker::End end : {Marker::End::opening, Marker::End::closing}) {
        const auto believed = find(frame, end);
        if (!believed || found.size() >= most_markers) continue;
        FoundMarker marker = *believed;
        marker.time_s += frame_start_s;
        if (marker.time_s < -same_marker_s) continue;
        const auto twin = std::find_if(found.begin(), found.end(), [&](const FoundMarker& other) {
            return other.end == marker.end && std::abs(other.time_s - marker.time_s) < same_marker_s;
        });
        if (twin == found.end()) {
            found.push_back(marker);
        } else if (twin->strength < marker.strength) {
            *twin = marker;
        }
    }
}

std::optional<FoundMarker> MarkerFinder::State::find(std::span<const double> frame, Marker::End end) {
    for (std::size_t band = 0; band < correlation.bands(); ++band) {
        const Belief& belief = beliefs.at(correlation.band_kind(band));
        const auto peak = correlation.peak(end, band);
        if (peak.strength < belief.strength) continue;
        double likeness = 0;
        const FoundMarker marker = correlation.refine(frame, peak, likeness);
        if (likeness >= belief.likeness || (band == 0 && peak.strength >= beyond_doubt)) return marker;
    }
    return std::nullopt;
}

std::vector<FoundMarker> MarkerFinder::result() {
    State& s = *state_;
    const double end_s = static_cast<double>(s.received) / s.rate;
    s.pending.insert(s.pending.end(), s.correlation.length(), 0.0);
    s.take_frames();
    auto found = std::move(s.found);
    found.erase(
        std::remove_if(found.begin(), found.end(), [&](const FoundMarker& m) { return m.time_s > end_s; }),
        found.end());
    std::sort(found.begin(), found.end(),
              [](const FoundMarker& a, const FoundMarker& b) { return a.time_s < b.time_s; });
    return found;
}

std::optional<LinedUp> line_up(std::span<const FoundMarker> found, const ProgrammeTimes& played,
                               double most_ppm) {
    const double apart_s = played.closing_marker_s - played.opening_marker_s;
    std::optional<LinedUp> best;
    double best_strength = 0;
    for (const FoundMarker& opening : found) {
        if (opening.end != Marker::End::opening) continue;
        for (const FoundMarker& closing : found) {
            if (closing.end != Marker::End::closing || closing.time_s <= opening.time_s) continue;
            // A marker's time hangs on its reference point, which a clock that is off by a share e moves by
            // reference * e.
            const double span_s = apart_s + closing.reference_s - opening.reference_s;
            const double off = (closing.time_s - opening.time_s - apart_s) / span_s;
            const double sd = std::hypot(opening.time_sd_s, closing.time_sd_s) / span_s;
            if (std::abs(off) > 1e-6 * most_ppm + 3 * sd) continue;
            const double strength = std::min(opening.strength, closing.strength);
            if (strength <= best_strength) continue;
            best_strength = strength;
            LinedUp pair;
            pair.opening = opening;
            pair.closing = closing;
            pair.opening.time_s -= opening.reference_s * off;
            pair.closing.time_s -= closing.reference_s * off;
            pair.clock_ppm = 1e6 * off;
            pair.clock_ppm_sd = 1e6 * sd;
            pair.tone_start_s =
                pair.opening.time_s + (played.tone_start_s - played.opening_marker_s) * (1 + off);
            pair.tone_end_s = pair.opening.time_s + (played.tone_end_s - played.opening_marker_s) * (1 + off);
            best = pair;
        }
    }
    return best;
}

std::vector<FoundMarker> find_markers(BlockReader& sound, std::size_t channel) {
    MarkerFinder finder(sound.sample_rate_hz());
    Block block;
    while (sound.read(block, 1 << 15) > 0) finder.add(block.channel(channel));
    return finder.result();
}

std::optional<LinedUp> line_up(std::span<const FoundMarker> found, const Waveform& played) {
    if (const double natural_s = natural_duration_s(played); natural_s > 0)
        if (const auto pair = line_up(found, programme_times(natural_s))) return pair;
    constexpr double longest_s = 100.0, grid_s = 0.1;
    const ProgrammeTimes none = programme_times(0);
    std::optional<LinedUp> best;
    for (std::size_t i = 1; i < found.size(); ++i) {
        if (found[i - 1].end != Marker::End::opening || found[i].end != Marker::End::closing) continue;
        const double tone_s =
            found[i].time_s - found[i - 1].time_s - (none.closing_marker_s - none.opening_marker_s);
        const double rounded_s = std::round(tone_s / grid_s) * grid_s;
        if (rounded_s <= 0 || rounded_s > longest_s) continue;
        const auto pair = line_up(found.subspan(i - 1, 2), programme_times(rounded_s));
        if (pair && (!best || std::min(pair->opening.strength, pair->closing.strength) >
                                  std::min(best->opening.strength, best->closing.strength)))
            best = pair;
    }
    return best;
}

}  // namespace hushtrace
