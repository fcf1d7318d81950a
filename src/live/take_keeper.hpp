#pragma once
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "hushtrace/job/job.hpp"
#include "hushtrace/live/capture_session.hpp"
#include "take_recorder.hpp"

namespace hushtrace {

/// One take while it is being made: its file under a free name, its entry in job.json. The entry says `stopped` until
/// finish(), so that a take whose recording was killed is known.
class TakeKeeper {
public:
    /// Opens the file under a name that neither the job nor another capture has taken meanwhile; enters nothing.
    ///   throws Error as open_job and TakeWriter
    TakeKeeper(const CaptureOrder& order, double sample_rate_hz, std::size_t channels);

    Take& take() { return take_; }
    const Take& take() const { return take_; }
    /// Its first frame came so many seconds ago; unless said, when this was made.
    void began(double ago_s);
    /// Makes the entry, marked `stopped`.
    void enter_as_stopped();
    void add(Block block) { recorder_->add(std::move(block)); }
    bool failed() const { return recorder_->failed(); }
    std::uint64_t overloads_so_far() const { return recorder_->overloads_so_far(); }
    std::uint64_t dropouts_so_far() const { return recorder_->dropouts_so_far(); }

    /// Closes the file and completes the entry: fills in take, frames and faults of `out`, whose failure and flags say
    /// how the capture ended. A disk that failed becomes its failure. Once.
    void finish(CaptureOutcome& out);
    /// Leaves neither file nor entry.
    void discard();

private:
    std::filesystem::path folder_, file_;
    Take take_;
    double rate_;
    std::optional<TakeRecorder> recorder_;
    bool entered_ = false;
};

}  // namespace hushtrace
