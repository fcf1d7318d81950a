#pragma once
#include <cstdio>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "capture_options.hpp"
#include "hushtrace/audio/link.hpp"
#include "hushtrace/audio/silence.hpp"
#include "hushtrace/job/job.hpp"
#include "hushtrace/simulation/simulated_vehicle.hpp"

namespace hushtrace::cli {

/// From the options of whatever captures to an open link, in the order in which things are settled: the job and what is
/// asked of it, the precautions, the link. A sound library's chatter on stderr is held back while it lives.
class CaptureSetup {
public:
    /// The options must outlive it. throws Error invalid_request unless exactly one way is named
    explicit CaptureSetup(const CaptureOptions& options);

    /// Reads the job and settles what the options ask; refuses what can't be, before anything is written.
    void prepare();
    /// The ground check, and what must be told before a lead goes on. Not for a file.
    void take_precautions();
    void open_link();
    /// Of the link, once prepare() is done: the file's, the simulated vehicle's, or what is asked of the device.
    double sample_rate_hz() const;

    static std::FILE* voice() { return StderrSilence::voice(); }
    /// Whether somebody can be asked.
    static bool on_terminal();
    /// Says what a hand has to do; on a terminal waits for Enter.
    static void wait_for_enter(const std::string& what);

    /// What the simulated vehicle is to be put in for these conditions.
    SimulatedConditions simulated(const Conditions& conditions) const;

    CaptureOptions::Way way;

private:
    std::optional<StderrSilence> silence_;  // outlives the link

public:
    Job job;
    CaptureOrder order;
    std::vector<Warning> warnings, told;  ///< the job's; what was said already
    std::optional<SimulatedVehicle> vehicle;
    std::unique_ptr<Link> link;

private:
    double read_meter(std::string_view reading);
    void tell(const Warning& warning);
    bool asks_for_amplifier() const;
    /// throws Error invalid_request unless the answer is yes
    void ask_for_amplifier() const;

    const CaptureOptions& options_;
    DeviceWish wish_;
};

}  // namespace hushtrace::cli
