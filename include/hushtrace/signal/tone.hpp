#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace hushtrace {

/// Test tones. Levels are dBFS after AES17: a sine at 0 dBFS peaks at sample value 1.0.
/// The default tone is 997 Hz (AES17): it doesn't divide the usual rates, so lost samples leave a trace.
struct Sine {
    double frequency_hz = 997.0;
    double level_dbfs = -20.0;
};
struct Stepped {
    double frequency_hz = 997.0;
    std::vector<double> levels_dbfs;
    double step_s = 1.0;          ///< how long each level lasts
};
struct TwoTone {
    std::array<double, 2> frequencies_hz = {60.0, 7000.0};
    std::array<double, 2> levels_dbfs = {-12.0, -24.0};
};
struct Sweep {                    ///< exponential sine sweep, Farina 2000 (AES preprint 5093)
    double from_hz = 20.0;
    double to_hz = 20000.0;
    double duration_s = 5.0;
    double level_dbfs = -20.0;
};
struct Pink {
    double level_dbfs = -20.0;    ///< rms level; peaks are some 12 dB higher
    std::uint64_t seed = 1;
};
struct NearSilence {              ///< dither of about one 16-bit step, so that a source doesn't mute its output
    std::uint64_t seed = 1;
};
struct PolarityPulse {            ///< one-sided raised-cosine pulses, positive, evenly spaced
    double level_dbfs = -12.0;    ///< of the pulse's peak: 0 dBFS peaks at 1.0
    double spacing_s = 0.25;
    double width_s = 0.002;
};

/// What is played; the alternatives' order is that of tone_kind_words().
using Waveform = std::variant<Sine, Stepped, TwoTone, Sweep, Pink, NearSilence, PolarityPulse>;

/// "sine" "stepped" "two_tone" "sweep" "pink" "near_silence" "polarity_pulse"
std::span<const std::string_view> tone_kind_words();
std::string_view tone_kind_word(const Waveform& waveform);

/// How long the waveform lasts by itself [s]: a sweep its duration, steps their sum; 0 for those without an end.
double natural_duration_s(const Waveform& waveform);

/// Highest absolute sample value that the waveform reaches (for Pink the 6-sigma value).
double peak_of(const Waveform& waveform);

/// Renders a waveform sample after sample, without end (a sweep and steps start over), deterministic by its seed.
///   throws Error invalid_request: frequency not above 0 or not below half the rate, level above 0 dBFS, two tones
///   whose peaks add to more than 1.0, an empty step list, any NaN
class ToneGenerator {
public:
    ToneGenerator(const Waveform& waveform, double sample_rate_hz);
    ~ToneGenerator();
    ToneGenerator(ToneGenerator&&) noexcept;
    ToneGenerator& operator=(ToneGenerator&&) noexcept;
    void render(std::span<double> into);

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
