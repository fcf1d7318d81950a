#pragma once
#include <cstddef>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/job/job.hpp"
#include "hushtrace/live/jump_watch.hpp"
#include "hushtrace/live/live_snapshot.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// What to follow, and what is known of the sound.
struct FollowWish {
    /// "whine" "hum" "ignition" "hiss" and further kinds, a frequency ("1187", "1187hz"), an engine order ("order12", needs
    /// a speed), or a source's id in the job's own analysis; empty: the loudest that is found in the first seconds
    std::string what;
    Job job;                              ///< description, calibration, takes
    std::filesystem::path job_folder;     ///< for an id: its takes are analysed when the task is made
    Take take;                            ///< channels, pads and conditions of the sound that comes
    double sample_rate_hz = 48000;
    /// Sound comes faster than it was (a file read at once): it is held up while a source is looked for, instead of passing by.
    bool waits = false;
};

/// Follows one noise source: how loud it is now, the lowest so far, how that differs from the start.
///
/// Looks for the source in the first four seconds of sound, on a thread of its own, as `noise` does, and goes on looking
/// every eight seconds while there is none. Levels are those of the channel where it was loudest when it was found.
class FollowTask {
public:
    /// throws Error invalid_request for words that name nothing to follow, an order without a speed, an id that the job's
    /// takes don't show, no channel; whatever analyse_noise throws (id alone)
    explicit FollowTask(const FollowWish& wish);
    ~FollowTask();
    FollowTask(FollowTask&&) noexcept;
    FollowTask& operator=(FollowTask&&) noexcept;

    /// Takes some hundredths of a core. throws Error not_finite; invalid_request for another number of channels
    void add(const Block& block);
    LiveFollow now() const;
    /// What is, in a few words; what to do, in one sentence.
    std::string headline() const;
    std::string next() const;
    /// The present level becomes the start, and the lowest so far: the mean of the newest second, as soon as it holds still.
    void take_reference();
    /// Takes the jump that was found, of the source or of all sound; as JumpWatch.
    std::optional<Jump> jump();
    void watch_from_now();
    /// What is worth an event since the last call, kind and text: a source found ("started"), the start taken ("reference").
    std::vector<std::pair<std::string, std::string>> news();

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
