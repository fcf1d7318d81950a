#pragma once
#include <array>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace hushtrace {

/// A tone in one short frame of one channel. Amplitudes are peak values, full scale = 1.0.
struct ToneFrame {
    static constexpr std::size_t harmonic_count = 5;
    float amplitude = 0;                            ///< of the tone
    std::array<float, harmonic_count> harmonics{};  ///< amplitudes of harmonics 2..6; 0 above the band
    float strongest_hz = 0;     ///< the frame's strongest line, whatever it is; 0 for digital silence
    float strongest_share = 0;  ///< of the frame's power that this line holds, 0..1
    float largest = 0;          ///< largest sample magnitude in the frame
    bool present = false;       ///< the tone stands out of what lies beside it in frequency
};

/// A tone's level over time, with what tells a change that the level hides (harmonics).
struct ToneTrack {
    double sample_rate_hz = 0, tone_hz = 0;
    double frame_s = 0;  ///< length of a frame
    double hop_s = 0;    ///< from one frame to the next: half a frame
    std::vector<ToneFrame> frames;

    double centre_s(std::size_t frame) const { return static_cast<double>(frame) * hop_s + 0.5 * frame_s; }
};

/// Follows a tone of known frequency (to within a part in a hundred) through one channel as its samples come.
/// Frames are 50 ms or six cycles long, whichever is longer. Memory: 40 byte a frame.
class ToneTracker {
public:
    /// throws Error invalid_request for a tone outside 0..0.45 of the rate
    ToneTracker(double sample_rate_hz, double tone_hz);
    ~ToneTracker();
    ToneTracker(ToneTracker&&) noexcept;
    ToneTracker& operator=(ToneTracker&&) noexcept;
    void add(std::span<const double> samples);
    const ToneTrack& track() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
