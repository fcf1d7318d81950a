#pragma once
#include <cstddef>
#include <functional>
#include <optional>
#include <vector>

#include "hushtrace/audio/link.hpp"
#include "hushtrace/job/job.hpp"
#include "hushtrace/live/capture_session.hpp"
#include "hushtrace/live/live_board.hpp"
#include "hushtrace/live/live_snapshot.hpp"

namespace hushtrace {

/// Something that a script does; called on the session's thread once so much has been captured.
struct TimedMove {
    double time_s = 0;
    std::function<void()> make;
};

/// What a live session is to do.
struct LiveOrder {
    LiveTask task = LiveTask::gain;
    /// Job folder, take (channels, conditions, pads, tone), name and what is played, as for run_capture(). Of the take's
    /// tone a sine is needed for LiveTask::gain. duration_s: the longest that it may last; unset: until it is ended.
    CaptureOrder capture;
    Job job;  ///< as it stands: title, calibration, limit
    bool stores_take = true;
    std::optional<double> volume_start;  ///< where the knob stands; unset: steps are numbered only
    double volume_step = 1;              ///< what "one" is when it is said to have been turned up one
    std::optional<double> volume_top;    ///< the end of its scale
    std::vector<KnobTurn> knob_script;   ///< ascending times; for links that turn the volume
    std::string follow;                  ///< LiveTask::follow: what (follow_task.hpp); empty: the loudest
    bool unpaced = false;                ///< the link runs ahead of real time: readings are waited for
    bool armed = false;                  ///< LiveTask::follow: a jump stores the last minute, from the beginning on
    std::vector<TimedMove> moves;        ///< ascending times: what is changed on a simulated vehicle meanwhile
    std::function<bool()> stop;          ///< whether the user wants to end; asked at every transfer
};

struct LiveOutcome {
    CaptureOutcome capture;  ///< take, faults and failure; of a session that stores nothing the take has no file
    bool stored = false;
    std::vector<LiveStep> steps;
    std::optional<LiveCeiling> ceiling;
    std::size_t kept = 0;
};

/// Whether what is followed is a source's id, for which the job's takes are analysed: that may last.
bool looks_through_takes(const LiveOrder& order);
/// Refuses what run_live() would, before any link is open, at the rate that it will have. Of what is followed it reads the aim: see
/// looks_through_takes().
///   throws Error as run_live()
void check_live(const LiveOrder& order, double sample_rate_hz);

/// Plays, captures, measures and shows on `board` until it is asked to end, the time is over or the link breaks off.
/// Closes the board at its end, however it ends.
///
/// Nothing that reads the board can hold it up. A snapshot is published with every transfer, at most 50 a second. The
/// gain task waits until the stated tone is heard, or LiveRequest::start; from there on sound is kept as one take
/// (stores_take), entered in job.json as run_capture() does. Its volume_steps are what was counted.
///   throws Error, nothing kept, as run_capture(); invalid_request also for a gain task without a sine, or behind an
///   amplifier, where gain reads no ceiling; empty_input when the tone never came
LiveOutcome run_live(Link& link, const LiveOrder& order, LiveBoard& board);

}  // namespace hushtrace
