#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/measure/sweep_response.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "sweep_deconvolution.hpp"

namespace hushtrace {
namespace {

constexpr double beside_s = 1.0;      // room in a frame besides the sweep
constexpr double believed = 6.0;      // times the rms of its octave; the largest of 10^6 values of noise reaches 3.7
constexpr double same_time_s = 0.03;  // octaves of one sweep agree to that, a path's own delay included
constexpr double most_ppm = 500.0;    // by which clocks may differ
constexpr std::size_t fewest_octaves = 5;
constexpr double unknown_ppm = 120.0;  // sd of a clock that nothing tells: anything from -200 to 200

struct Arrival {
    double frequency_hz = 0, time_s = 0, strength = 0;
};

// One octave of the deconvolved frame as its envelope, at the lowest rate that holds it.
struct Octave {
    std::size_t first_bin, bins;
    double centre_hz;
    RealTransform transform;
    Octave(std::size_t first, std::size_t count, double hz)
        : first_bin(first), bins(count), centre_hz(hz), transform(fast_length(2 * count + 4)) {}

    // The octave's bins moved down to 0 Hz are a signal whose turned twin makes up the envelope with it.
    std::vector<double> envelope(std::span<const std::complex<double>> spectrum) {
        std::vector<std::complex<double>> low(transform.bins(), 0.0);
        std::vector<double> part(transform.length()), turned(transform.length());
        for (std::size_t k = 0; k < bins; ++k) {
            const double shape = std::sin(std::numbers::pi * (static_cast<double>(k) + 0.5) / static_cast<double>(bins));
            low[k + 1] = shape * shape * spectrum[first_bin + k];
        }
        transform.inverse(low, part);
        for (auto& value : low) value *= std::complex<double>(0, -1);
        transform.inverse(low, turned);
        for (std::size_t i = 0; i < part.size(); ++i) part[i] = std::hypot(part[i], turned[i]);
        return part;
    }
};

}  // namespace

struct SweepFinder::State {
    State(double rate, const PlayedSweep& what, bool one_clock)
        : rate_hz(rate), played(what), sweep(held_sweep(what, rate)), same_clock(one_clock) {
        const auto length = static_cast<std::size_t>((2 * (sweep.duration_s() + beside_s)) * rate_hz);
        transform = std::make_unique<RealTransform>(fast_length(length));
        frame = transform->length();
        inverse.resize(transform->bins());
        std::vector<double> samples = sweep_samples(sweep, rate_hz, 0);
        samples.resize(frame, 0.0);
        transform->forward(samples, inverse);
        const double bin_hz = rate_hz / static_cast<double>(frame);
        for (auto& bin : inverse) bin = std::conj(bin) / (std::norm(bin) + 1e-300);
        const double top_hz = 0.95 * sweep.played.sweep.to_hz;
        for (double from_hz = 1.05 * sweep.played.sweep.from_hz; 1.9 * from_hz < top_hz; from_hz *= 2) {
            const double to_hz = std::min(2 * from_hz, top_hz);
            const auto first = static_cast<std::size_t>(from_hz / bin_hz);
            octaves.emplace_back(first, static_cast<std::size_t>(to_hz / bin_hz) - first,
                                 std::sqrt(from_hz * to_hz));
        }
    }
    void take_frames() {
        while (pending.size() >= frame) {
            examine();
            pending.erase(pending.begin(), pending.begin() + static_cast<std::ptrdiff_t>(frame / 2));
            frame_start += frame / 2;
        }
    }
    void examine();
    std::optional<TonePlace> sharpen(TonePlace place) const;

    double rate_hz;
    PlayedSweep played;
    HeldSweep sweep;
    bool same_clock;
    std::unique_ptr<RealTransform> transform;
    std::size_t frame = 0;
    std::uint64_t frame_start = 0, received = 0;
    std::vector<std::complex<double>> inverse;
    std::vector<Octave> octaves;
    std::vector<double> pending;
    std::optional<Found> best;
};

void SweepFinder::State::examine() {
    std::vector<std::complex<double>> spectrum(transform->bins());
    transform->forward(std::span<const double>(pending).first(frame), spectrum);
    for (std::size_t k = 0; k < spectrum.size(); ++k) spectrum[k] *= inverse[k];
    std::vector<Arrival> arrivals;
    for (Octave& octave : octaves) {
        const std::vector<double> envelope = octave.envelope(spectrum);
        const double step_s = static_cast<double>(frame) / rate_hz / static_cast<double>(envelope.size());
        // a start beyond the frame's middle is wholly in the next frame
        const std::size_t within = envelope.size() / 2;
        double sum = 0;
        for (const double height : envelope) sum += height * height;
        const auto peak = std::max_element(envelope.begin(), envelope.begin() + static_cast<std::ptrdiff_t>(within));
        const double rms = std::sqrt(sum / static_cast<double>(envelope.size()));
        if (rms > 0 && *peak > believed * rms)
            arrivals.push_back({octave.centre_hz, static_cast<double>(peak - envelope.begin()) * step_s, *peak / rms});
    }
    // neighbouring octaves must agree on the time, but for what the clocks do to it
    std::optional<Arrival> strongest;
    for (std::size_t i = 0; i + 1 < arrivals.size(); ++i) {
        const Arrival &a = arrivals[i], &b = arrivals[i + 1];
        const double drift_s = 1e-6 * most_ppm * std::abs(sweep.reached_at_s(b.frequency_hz) - sweep.reached_at_s(a.frequency_hz));
        if (b.frequency_hz > 2.5 * a.frequency_hz || std::abs(a.time_s - b.time_s) > same_time_s + drift_s) continue;
        const Arrival& stronger = a.strength > b.strength ? a : b;
        if (!strongest || stronger.strength > strongest->strength) strongest = stronger;
    }
    if (!strongest || (best && best->strength >= strongest->strength)) return;
    // a line through the arrivals near the strongest one: start and clocks' difference, roughly
    double s0 = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
    for (const Arrival& one : arrivals) {
        const double reached_s = sweep.reached_at_s(one.frequency_hz);
        const double apart_s = std::abs(one.time_s - strongest->time_s);
        if (apart_s > same_time_s + 1e-6 * most_ppm * sweep.duration_s()) continue;
        const double weight = one.frequency_hz * one.frequency_hz;  // an octave's peak is as sharp as it is wide
        s0 += weight;
        sx += weight * reached_s;
        sy += weight * one.time_s;
        sxx += weight * reached_s * reached_s;
        sxy += weight * reached_s * one.time_s;
    }
    const double spread = s0 * sxx - sx * sx;
    // a filter's own delay moves the octaves it cuts: with few of them it would pass for a clock
    double slope = arrivals.size() >= fewest_octaves && spread > 1e-9 * s0 * sxx ? (s0 * sxy - sx * sy) / spread : 0;
    slope = std::clamp(slope, -1e-6 * most_ppm, 1e-6 * most_ppm);
    TonePlace rough;
    rough.clock_ppm = 1e6 * slope;
    rough.start_s = (sy - slope * sx) / s0;
    const auto sharp = sharpen(rough);
    if (!sharp) return;
    best = Found{*sharp, strongest->strength};
    best->place.start_s += static_cast<double>(frame_start) / rate_hz;
}

// The response's phase tells start and clock to a small part of a sample; three rounds, since each moves the windows.
std::optional<TonePlace> SweepFinder::State::sharpen(TonePlace place) const {
    bool with_clock = !same_clock;
    if (same_clock) place.clock_ppm = 0;
    for (int round = 0; round < 3; ++round) {
        place.start_s = std::max(place.start_s, 0.0);
        const SweepResponse response =
            measure_sweep_response(std::span<const double>(pending).first(frame), rate_hz, played, place, 1);
        DelayFitRequest request;
        request.around_s = response.coarse_delay_s;
        request.highest_hz = 0.8 * response.transfer.back().frequency_hz;
        request.sweep_from_hz = sweep.played.sweep.from_hz;
        request.sweep_constant_s = sweep.rate_constant_s;
        auto fit = fit_delay(response.transfer, request);
        if (!fit) return std::nullopt;
        if (with_clock && (!fit->clock_ppm || fit->clock_ppm->sd > unknown_ppm ||
                           std::abs(place.clock_ppm + fit->clock_ppm->value) > most_ppm + 3 * fit->clock_ppm->sd)) {
            with_clock = false;
            place.clock_ppm = 0;
        }
        if (!with_clock) {
            request.sweep_from_hz.reset();
            fit = fit_delay(response.transfer, request);
            if (!fit) return std::nullopt;
            place.clock_ppm_sd = same_clock ? 0 : unknown_ppm;
            const double reached_s = sweep.reached_at_s(std::sqrt(fit->from_hz * fit->to_hz));
            place.start_sd_s = std::hypot(fit->delay_s.sd, 1e-6 * place.clock_ppm_sd * reached_s);
        } else {
            place.clock_ppm += fit->clock_ppm->value;
            place.clock_ppm_sd = fit->clock_ppm->sd;
            place.start_sd_s = fit->delay_s.sd;
        }
        place.start_s += fit->delay_s.value;
    }
    return place;
}

SweepFinder::SweepFinder(double sample_rate_hz, const PlayedSweep& played, bool same_clock)
    : state_(std::make_unique<State>(sample_rate_hz, played, same_clock)) {}
SweepFinder::~SweepFinder() = default;
SweepFinder::SweepFinder(SweepFinder&&) noexcept = default;
SweepFinder& SweepFinder::operator=(SweepFinder&&) noexcept = default;

void SweepFinder::add(std::span<const double> samples) {
    State& s = *state_;
    s.received += samples.size();
    for (std::size_t from = 0; from < samples.size(); from += s.frame) {
        const auto part = samples.subspan(from, std::min(s.frame, samples.size() - from));
        s.pending.insert(s.pending.end(), part.begin(), part.end());
        s.take_frames();
    }
}

std::optional<SweepFinder::Found> SweepFinder::result() {
    State& s = *state_;
    while (s.frame_start < s.received) {
        s.pending.resize(std::max(s.pending.size(), s.frame), 0.0);
        s.take_frames();
    }
    return s.best;
}

}  // namespace hushtrace
