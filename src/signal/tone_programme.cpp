#include "hushtrace/signal/tone_programme.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double lead_s = 1.0;  // some players swallow the first half second, or fade it in
constexpr double gap_s = 0.4;
constexpr double low_edge_s = 0.05,
                 high_edge_s = 0.005;  // the marker's soft ends: two cycles at 40 Hz, 40 at 8 kHz
constexpr double longest_s = 900.0;    // the whole file is held in memory

double raised_cosine(double done) {
    return 0.5 * (1.0 - std::cos(std::numbers::pi * std::clamp(done, 0.0, 1.0)));
}

// The rising chirp at a time from its start: phase as in Farina 2000, edges soft; where the rate is too low
// to hold the upper end, it fades out there.
double rising_marker(double time_s, double rate_hz) {
    const double constant_s = Marker::duration_s / std::log(Marker::to_hz / Marker::from_hz);
    const double cycles = Marker::from_hz * constant_s * std::expm1(time_s / constant_s);
    const double top_hz = std::min(Marker::to_hz, 0.45 * rate_hz);
    const double end_s = constant_s * std::log(top_hz / Marker::from_hz);
    const double edge = raised_cosine(time_s / low_edge_s) * raised_cosine((end_s - time_s) / high_edge_s);
    return amplitude_from_decibels(Marker::level_dbfs) * edge * std::sin(2.0 * std::numbers::pi * cycles);
}

std::size_t frames_of(double time_s, double rate_hz) {
    return static_cast<std::size_t>(std::llround(time_s * rate_hz));
}

}  // namespace

std::vector<double> marker_samples(Marker::End end, double sample_rate_hz) {
    std::vector<double> samples(frames_of(Marker::duration_s, sample_rate_hz));
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double time_s = static_cast<double>(i) / sample_rate_hz;
        samples[i] =
            rising_marker(end == Marker::End::opening ? time_s : Marker::duration_s - time_s, sample_rate_hz);
    }
    return samples;
}

ProgrammeTimes programme_times(double tone_duration_s) {
    ProgrammeTimes times;
    times.opening_marker_s = lead_s;
    times.tone_start_s = times.opening_marker_s + Marker::duration_s + gap_s;
    times.tone_end_s = times.tone_start_s + tone_duration_s;
    times.closing_marker_s = times.tone_end_s + gap_s;
    times.total_s = times.closing_marker_s + Marker::duration_s + lead_s;
    return times;
}

std::vector<double> render_programme(const Waveform& waveform, double tone_duration_s,
                                     double sample_rate_hz) {
    ToneGenerator tone(waveform, sample_rate_hz);  // refuses what can't be played before anything else
    const double duration_s = tone_duration_s == 0 ? natural_duration_s(waveform) : tone_duration_s;
    if (!(duration_s > 0 && duration_s <= longest_s)) {
        throw Error(ErrorKind::invalid_request, fmt::format("a {} needs a duration above 0 up to {:.0f} s",
                                                            tone_kind_word(waveform), longest_s));
    }
    const ProgrammeTimes times = programme_times(duration_s);
    std::vector<double> samples(frames_of(times.total_s, sample_rate_hz));
    ToneGenerator(NearSilence{}, sample_rate_hz).render(samples);

    const auto start = frames_of(times.tone_start_s, sample_rate_hz);
    const auto count = frames_of(times.tone_end_s, sample_rate_hz) - start;
    const std::span<double> place = std::span(samples).subspan(start, count);
    tone.render(place);
    const double ramp = std::min(programme_ramp_s * sample_rate_hz, 0.25 * static_cast<double>(count));
    for (std::size_t i = 0; static_cast<double>(i) < ramp; ++i) {
        const double gain = raised_cosine((static_cast<double>(i) + 0.5) / ramp);
        place[i] *= gain;
        place[count - 1 - i] *= gain;
    }
    // Markers are drawn at their exact times, also where these fall between two samples.
    const auto lay = [&](Marker::End end, double time_s) {
        const double length_s = Marker::duration_s;
        const auto from = static_cast<std::size_t>(std::ceil(time_s * sample_rate_hz));
        for (std::size_t i = from; i < samples.size(); ++i) {
            const double since_s = static_cast<double>(i) / sample_rate_hz - time_s;
            if (since_s >= length_s) break;
            samples[i] +=
                rising_marker(end == Marker::End::opening ? since_s : length_s - since_s, sample_rate_hz);
        }
    };
    lay(Marker::End::opening, times.opening_marker_s);
    lay(Marker::End::closing, times.closing_marker_s);
    return samples;
}

}  // namespace hushtrace
