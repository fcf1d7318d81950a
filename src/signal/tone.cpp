#include "hushtrace/signal/tone.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include <fmt/format.h>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "oscillator.hpp"
#include "pink_noise.hpp"
#include "random.hpp"

namespace hushtrace {
namespace {

constexpr double sixteen_bit_step = 1.0 / 32768.0;
constexpr double step_ramp_s = 0.005;  // from one level of a stepped tone to the next, without a click
// Pink noise reaches six times its rms once in some 10^9 samples; its rms is level/sqrt 2 (AES17).
constexpr double pink_crest = 6.0 / std::numbers::sqrt2;

[[noreturn]] void refuse(const std::string& why) {
    throw Error(ErrorKind::invalid_request, why);
}

void check_level(double level_dbfs) {
    if (!(level_dbfs <= 0))
        refuse(fmt::format("a level of {} dBFS can't be played: 0 dBFS is the most", level_dbfs));
    if (!std::isfinite(level_dbfs)) refuse("a level must be a number of dBFS; for silence play near_silence");
}
void check_frequency(double frequency_hz, double rate_hz) {
    if (!(frequency_hz > 0 && frequency_hz < 0.5 * rate_hz)) {
        refuse(fmt::format("a frequency of {} Hz can't be played at {} Hz: above 0 and below {} can",
                           frequency_hz, rate_hz, 0.5 * rate_hz));
    }
}
void check_time(const char* what, double time_s) {
    if (!(time_s > 0 && time_s <= 86400))
        refuse(fmt::format("{} of {} s can't be played: above 0 up to 86400 can", what, time_s));
}

// One renderer a kind; each checks what it is asked for when it is made.
struct SineRenderer {
    SineRenderer(const Sine& sine, double rate_hz)
        : oscillator((check_frequency(sine.frequency_hz, rate_hz), sine.frequency_hz), rate_hz) {
        check_level(sine.level_dbfs);
        amplitude = amplitude_from_decibels(sine.level_dbfs);
    }
    double next() { return amplitude * oscillator.next(); }
    Oscillator oscillator;
    double amplitude = 0;
};

struct SteppedRenderer {
    SteppedRenderer(const Stepped& stepped, double rate_hz)
        : oscillator((check_frequency(stepped.frequency_hz, rate_hz), stepped.frequency_hz), rate_hz) {
        if (stepped.levels_dbfs.empty()) refuse("a stepped tone needs at least one level");
        for (const double level : stepped.levels_dbfs) {
            check_level(level);
            amplitudes.push_back(amplitude_from_decibels(level));
        }
        check_time("a step", stepped.step_s);
        step_frames = static_cast<std::uint64_t>(std::llround(stepped.step_s * rate_hz));
        if (step_frames == 0) refuse("a step shorter than one sample can't be played");
        ramp_frames = std::min(step_frames / 2, static_cast<std::uint64_t>(step_ramp_s * rate_hz));
        from = amplitudes.front();
    }
    double next() {
        double amplitude = amplitudes[step];
        if (frame < ramp_frames) {
            const double done = (static_cast<double>(frame) + 0.5) / static_cast<double>(ramp_frames);
            amplitude = from + (amplitude - from) * 0.5 * (1.0 - std::cos(std::numbers::pi * done));
        }
        if (++frame == step_frames) {
            from = amplitudes[step];
            step = (step + 1) % amplitudes.size();
            frame = 0;
        }
        return amplitude * oscillator.next();
    }
    Oscillator oscillator;
    std::vector<double> amplitudes;
    std::uint64_t step_frames = 0, ramp_frames = 0, frame = 0;
    std::size_t step = 0;
    double from = 0;
};

struct TwoToneRenderer {
    TwoToneRenderer(const TwoTone& tones, double rate_hz)
        : first({tones.frequencies_hz[0], tones.levels_dbfs[0]}, rate_hz),
          second({tones.frequencies_hz[1], tones.levels_dbfs[1]}, rate_hz) {
        if (first.amplitude + second.amplitude > 1.0 + 1e-9) {
            refuse(fmt::format("two tones at {} and {} dBFS add up to more than full scale",
                               tones.levels_dbfs[0], tones.levels_dbfs[1]));
        }
    }
    double next() { return first.next() + second.next(); }
    SineRenderer first, second;
};

// Farina 2000: phase = 2 pi f1 L (exp(t/L) - 1), L = T / ln(f2/f1); the frequency at t is f1 exp(t/L).
struct SweepRenderer {
    SweepRenderer(const Sweep& sweep, double rate_hz) : rate(rate_hz) {
        check_frequency(sweep.from_hz, rate_hz);
        check_frequency(sweep.to_hz, rate_hz);
        check_level(sweep.level_dbfs);
        check_time("a sweep", sweep.duration_s);
        if (sweep.from_hz == sweep.to_hz) refuse("a sweep needs two different frequencies");
        from_hz = sweep.from_hz;
        constant_s = sweep.duration_s / std::log(sweep.to_hz / sweep.from_hz);
        amplitude = amplitude_from_decibels(sweep.level_dbfs);
        frames = static_cast<std::uint64_t>(std::llround(sweep.duration_s * rate_hz));
        if (frames == 0) refuse("a sweep shorter than one sample can't be played");
    }
    double next() {
        const double time_s = static_cast<double>(frame) / rate;
        if (++frame == frames) frame = 0;
        const double cycles = from_hz * constant_s * std::expm1(time_s / constant_s);
        return amplitude * std::sin(2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
    }
    double rate, from_hz = 0, constant_s = 0, amplitude = 0;
    std::uint64_t frames = 0, frame = 0;
};

struct PinkRenderer {
    PinkRenderer(const Pink& pink, double rate_hz) : noise(rate_hz, pink.seed) {
        check_level(pink.level_dbfs);
        amplitude = amplitude_from_decibels(pink.level_dbfs) / std::numbers::sqrt2;
        const double most_dbfs = -decibels_from_amplitude(pink_crest);
        if (pink.level_dbfs > most_dbfs) {
            refuse(fmt::format("pink noise at {} dBFS would clip: {:.1f} dBFS is the most", pink.level_dbfs,
                               std::floor(most_dbfs * 10) / 10));
        }
    }
    double next() { return std::clamp(amplitude * noise.next(), -1.0, 1.0); }
    PinkNoise noise;
    double amplitude = 0;
};

struct NearSilenceRenderer {
    NearSilenceRenderer(const NearSilence& silence, double /*rate_hz*/) : random(silence.seed) {}
    double next() { return sixteen_bit_step * random.triangular(); }
    Random random;
};

struct PulseRenderer {
    PulseRenderer(const PolarityPulse& pulse, double rate_hz) {
        check_level(pulse.level_dbfs);
        check_time("a pulse's spacing", pulse.spacing_s);
        check_time("a pulse's width", pulse.width_s);
        amplitude = amplitude_from_decibels(pulse.level_dbfs);
        spacing = pulse.spacing_s * rate_hz;
        width = pulse.width_s * rate_hz;
        if (width > spacing) refuse("a pulse wider than the spacing between pulses can't be played");
        if (width < 4) refuse("a pulse must be at least four samples wide");
    }
    double next() {
        // Pulses stand in the middle of their spacing; `number` keeps the distance exact over any length.
        const double place = static_cast<double>(frame++) - static_cast<double>(number) * spacing;
        if (place + 1.0 >= spacing) ++number;
        const double from_centre = place - 0.5 * spacing;
        if (std::abs(from_centre) >= 0.5 * width) return 0;
        return amplitude * 0.5 * (1.0 + std::cos(2.0 * std::numbers::pi * from_centre / width));
    }
    double amplitude = 0, spacing = 0, width = 0;
    std::uint64_t frame = 0, number = 0;
};

using Renderer = std::variant<SineRenderer, SteppedRenderer, TwoToneRenderer, SweepRenderer, PinkRenderer,
                              NearSilenceRenderer, PulseRenderer>;

struct RendererFor {
    double rate_hz;
    Renderer operator()(const Sine& w) const { return SineRenderer(w, rate_hz); }
    Renderer operator()(const Stepped& w) const { return SteppedRenderer(w, rate_hz); }
    Renderer operator()(const TwoTone& w) const { return TwoToneRenderer(w, rate_hz); }
    Renderer operator()(const Sweep& w) const { return SweepRenderer(w, rate_hz); }
    Renderer operator()(const Pink& w) const { return PinkRenderer(w, rate_hz); }
    Renderer operator()(const NearSilence& w) const { return NearSilenceRenderer(w, rate_hz); }
    Renderer operator()(const PolarityPulse& w) const { return PulseRenderer(w, rate_hz); }
};

double checked_rate(double rate_hz) {
    if (!(rate_hz >= 1000 && rate_hz <= 1000000))
        refuse(fmt::format("a sample rate of {} Hz can't be used: 1000 to 1000000 can", rate_hz));
    return rate_hz;
}

}  // namespace

struct ToneGenerator::State {
    Renderer renderer;
};

double natural_duration_s(const Waveform& waveform) {
    if (const auto* sweep = std::get_if<Sweep>(&waveform)) return sweep->duration_s;
    if (const auto* steps = std::get_if<Stepped>(&waveform))
        return steps->step_s * static_cast<double>(steps->levels_dbfs.size());
    return 0;
}

double peak_of(const Waveform& waveform) {
    struct Peak {
        double operator()(const Sine& w) const { return amplitude_from_decibels(w.level_dbfs); }
        double operator()(const Stepped& w) const {
            if (w.levels_dbfs.empty()) return 0;
            return amplitude_from_decibels(*std::max_element(w.levels_dbfs.begin(), w.levels_dbfs.end()));
        }
        double operator()(const TwoTone& w) const {
            return amplitude_from_decibels(w.levels_dbfs[0]) + amplitude_from_decibels(w.levels_dbfs[1]);
        }
        double operator()(const Sweep& w) const { return amplitude_from_decibels(w.level_dbfs); }
        double operator()(const Pink& w) const {
            return std::min(1.0, amplitude_from_decibels(w.level_dbfs) * pink_crest);
        }
        double operator()(const NearSilence&) const { return sixteen_bit_step; }
        double operator()(const PolarityPulse& w) const { return amplitude_from_decibels(w.level_dbfs); }
    };
    return std::visit(Peak{}, waveform);
}

ToneGenerator::ToneGenerator(const Waveform& waveform, double sample_rate_hz)
    : state_(new State{std::visit(RendererFor{checked_rate(sample_rate_hz)}, waveform)}) {}
ToneGenerator::~ToneGenerator() = default;
ToneGenerator::ToneGenerator(ToneGenerator&&) noexcept = default;
ToneGenerator& ToneGenerator::operator=(ToneGenerator&&) noexcept = default;

void ToneGenerator::render(std::span<double> into) {
    std::visit(
        [into](auto& renderer) {
            for (double& sample : into) sample = renderer.next();
        },
        state_->renderer);
}

}  // namespace hushtrace
