#pragma once
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/signal/conditions.hpp"

namespace hushtrace {

/// What the data itself says went wrong while it was captured. Most devices report losses badly or not at
/// all.
enum class CaptureFaultKind {
    overload,     ///< consecutive samples at the converter's rail, or a flat top repeated at one level just
                  ///< below
    phase_jump,   ///< a steady tone's phase steps: frames were lost or repeated
    zero_gap,     ///< exact zeros, or one value held, inside sound
    replay,       ///< a stretch repeats the one before it, bit for bit: a buffer was delivered twice
    source_muted  ///< the level falls to the floor at once: the source muted its output
};
std::string_view to_word(CaptureFaultKind kind);  ///< "overload", "phase_jump", ...

struct CaptureFault {
    CaptureFaultKind what = CaptureFaultKind::overload;
    double time_s = 0;  ///< from the capture's first sample
    std::size_t channel = 0;
    std::string text;                      ///< one plain sentence, without the time
    std::optional<double> phase_step_deg;  ///< phase_jump: -180..180
    std::optional<std::int64_t>
        lost_frames;                   ///< positive lost, negative repeated; of several that fit the smallest
    bool lost_frames_certain = false;  ///< no other count up to 2000 fits
    double duration_s = 0;             ///< gap, replay, mute, run of overload
};

/// Facts about a channel that are no faults of the capture, but that the user should know.
struct ChannelRemark {
    std::size_t channel = 0;
    std::string code;  ///< "digital_silence" "dead_channel" "dc_offset" "same_as_channel"
    std::string text;
};

struct CaptureFaults {
    std::vector<CaptureFault> events;  ///< in order of time; of one kind and channel at most 200 are kept
    std::uint64_t overload_count = 0;  ///< all runs, also those not kept
    std::uint64_t dropout_count = 0;   ///< phase jumps, gaps, replays; one that all channels share is one
    std::vector<ChannelRemark> remarks;
    double duration_s = 0;
    std::optional<double> tone_frequency_hz;  ///< steady tone that was followed, in the capture's own clock
    std::optional<double> tone_snr_db;  ///< of the followed tone, over the whole band, in its best channel
    std::optional<double> seen_phase_step_deg;  ///< smallest phase step that would have been found
    bool too_short = false;

    bool has_dropout() const { return dropout_count > 0; }
    bool has_overload() const { return overload_count > 0; }
    bool has_source_muted() const;
    /// As a take's `faults` has them: any of dropout, overload, source_muted, too_short.
    std::vector<TakeFault> take_faults() const;
};

struct CaptureFaultOptions {
    std::optional<double>
        tone_frequency_hz;          ///< steady tone that should be there; unset: a strong one is looked for
    bool look_for_tone = true;      ///< false when what is played is no steady tone (sweep, pink, pulses)
    bool tone_pauses = false;                 ///< the tone comes in bursts: its pauses are no mutes of the source
    bool near_silence_played = false;         ///< the source plays near-silence: its hiss is watched for a mute
    double least_duration_s = 1.0;  ///< below this a take is too short; common practice, no source
    double rail = 0.999;            ///< |sample| from which a converter is at its end
};

/// Looks at a capture block by block; memory does not grow with the take. Samples need not be finite checked
/// before:
///   add() throws Error not_finite for a NaN or an infinity, invalid_request when the channel count changes
class CaptureFaultFinder {
public:
    CaptureFaultFinder(double sample_rate_hz, std::size_t channels, CaptureFaultOptions options = {});
    ~CaptureFaultFinder();
    CaptureFaultFinder(CaptureFaultFinder&&) noexcept;
    CaptureFaultFinder& operator=(CaptureFaultFinder&&) noexcept;
    void add(const Block& block);
    /// Ends the search and says what was found; call it once, after the last add().
    CaptureFaults result();
    /// What has been found so far, for a display while capturing (phase jumps come about two seconds late).
    std::uint64_t overloads_so_far() const;
    std::uint64_t dropouts_so_far() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

/// The whole of a take.
CaptureFaults find_capture_faults(BlockReader& take, const CaptureFaultOptions& options = {});

}  // namespace hushtrace
