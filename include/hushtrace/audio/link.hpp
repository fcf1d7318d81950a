#pragma once
#include <chrono>
#include <cstddef>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/simulation/simulated_vehicle.hpp"

namespace hushtrace {

/// What the link itself noticed since the last transfer. Most devices report losses badly or not at all, so a
/// capture is also examined from its data (live/capture_session.hpp).
struct LinkNotice {
    bool input_overflow = false;    ///< the device or our ring lost captured frames
    bool output_underflow = false;  ///< silence went out in place of the tone
    bool ended = false;             ///< no more will come: end of the file
};

/// Fills the frames to be played (one channel; sent to every output). Called on the thread that calls
/// transfer().
using PlaySupply = std::function<void(std::span<double> into)>;

/// A way to play and capture at once. Three of them: a device, the simulated vehicle, a file.
class Link {
public:
    virtual ~Link() = default;
    virtual std::string name() const = 0;
    virtual double sample_rate_hz() const = 0;
    virtual std::size_t input_channels() const = 0;
    /// Starts the stream. throws Error device_failed
    virtual void start() = 0;
    /// Takes what was captured since the last call (waits for some; resizes `captured`), and asks `supply`
    /// for as many frames as are needed to keep the output fed. A link without an output never calls it.
    ///   throws Error device_failed when the device is gone or delivers nothing for two seconds
    virtual LinkNotice transfer(const PlaySupply& supply, Block& captured) = 0;
    virtual void stop() noexcept = 0;
    /// Turns the source's volume, where the link can (the simulated vehicle); others do nothing: a hand does
    /// it.
    virtual void set_volume(double /*volume*/) {}
    virtual bool turns_volume() const { return false; }
    /// How long what `supply` gave may take until it has left the output [s]: that long to wait before
    /// stop(), so that a ramp down is played to its end.
    virtual double output_delay_s() const { return 0.0; }
    /// How long the link needs to settle [s]: what it captures before is not to be kept (a device's first
    /// buffers may be late or empty).
    virtual double settling_s() const { return 0.0; }
    /// Whether the link has an end of its own (a file), so that a capture need not say how long.
    virtual bool ends_by_itself() const { return false; }
};

struct DeviceWish {
    std::string device;  ///< index, or part of the name; empty for the system's default
    std::optional<std::string>
        output_device;  ///< where another device plays (host APIs that part the two directions)
    double sample_rate_hz = 48000;
    std::size_t input_channels = 2;
    std::size_t output_channels = 2;  ///< at most: all carry the same; 0 plays nothing
    double latency_s = 0.1;
    std::size_t frames_per_callback = 512;
};
/// Full duplex, or capture alone for 0 output channels. The device runs from start() on; it plays silence
/// until the first transfer(). A callback copies between it and two rings and does nothing else.
///   throws Error device_failed, in one sentence: no such device, several of that name (they are listed), too
///   few channels, a rate that it refuses (those that it takes are listed), a sound system that does not
///   answer
std::unique_ptr<Link> open_device_link(const DeviceWish& wish);

/// `paced`: real time, as `live` needs it; else as fast as it can be computed. The vehicle must outlive the
/// link.
std::unique_ptr<Link> open_simulated_link(SimulatedVehicle& vehicle, const SimulatedConditions& conditions,
                                          bool paced);

/// Plays back a take file as if it were being captured.
///   throws Error as TakeReader does
std::unique_ptr<Link> open_file_link(const std::filesystem::path& file, bool paced);

struct DeviceInfo {
    int index = 0;
    std::string name, host_api;
    std::size_t input_channels = 0, output_channels = 0;
    double default_sample_rate_hz = 0;
    std::vector<double> sample_rates_hz;               ///< of the usual ones, those that the device accepts
    double input_latency_s = 0, output_latency_s = 0;  ///< the device's own low-latency figures
    bool default_input = false, default_output = false;
};
/// All devices of all host APIs; none is no error. Asks each for its rates, so it takes a moment.
///   throws Error device_failed when the sound system does not answer within 20 s
std::vector<DeviceInfo> list_devices();

}  // namespace hushtrace
