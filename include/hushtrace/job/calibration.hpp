#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/signal/block.hpp"

/// From a meter's reading to volts at full scale, and the set-up's own noise: pure functions from sound and
/// job to figures. Nothing is stored here.
namespace hushtrace {

struct CalibrationRequest {
    double volts = 0;           ///< rms, as the meter showed it at the probe, before any pad
    double frequency_hz = 200;  ///< of the tone that was playing
    double meter_good_to_hz =
        400;  ///< up to where the meter reads true: plain ones droop above (trade habit)
    double meter_sd_percent = 0;     ///< standard uncertainty of the meter's reading, see meter_sd_percent()
    std::optional<Channel> channel;  ///< the one channel that saw those volts; unset: all signal channels did
};

/// What one channel of the take says.
struct ChannelCalibration {
    std::size_t index = 0;  ///< file channel
    Channel channel = Channel::left;
    double volts_full_scale = 0;  ///< at the interface's input, a pad's loss taken off
    double level_dbfs = 0;        ///< of the tone
    double level_sd_db = 0;
    double volts_full_scale_sd_db = 0;  ///< meter, reading and the tone's impurity together
    double frequency_hz = 0, frequency_sd_hz = 0;
    double other_db = 0;          ///< all else against the tone: noise and harmonics
    double from_s = 0, to_s = 0;  ///< the steady stretch that was used
};
struct Calibration {
    std::vector<ChannelCalibration> channels;
    std::vector<Warning> warnings;  ///< "tone_low", "tone_impure", "scale_unusual"
};

/// A meter's data sheet gives limits: so many percent of the reading and so many counts of its last digit. Within them
/// every value is as likely, so the standard uncertainty is their half width over the square root of 3.
///   source  JCGM 100:2008 (GUM), 4.3.7
struct MeterAccuracy {
    double percent = 1.5;  ///< of the reading. These two are a plain meter's on its ac range: common practice, no source
    double counts = 3;
};
/// [percent of `volts`]; `count_v` is what the last digit shown is worth [V].
double meter_sd_percent(const MeterAccuracy& accuracy, double volts, double count_v);

/// Finds the longest stretch of steady tone (each tenth of a second within 0.1 dB of it) in the first two
/// minutes and reads the tone there by least squares. Ramps, markers and pauses round it don't count.
///
///   take    its channels, pads and faults
///   throws  Error invalid_request: volts not above 0, a frequency above the meter's, a channel that the take
///   hasn't;
///           invalid_input, naming the take: overloaded, no steady tone for a second, another frequency, more
///           than 10 % of noise and distortion, channels that differ by more than 6 dB when none was named
Calibration calibrate(BlockReader& sound, const Take& take, const CalibrationRequest& request);

/// The set-up's own noise in dBV, 20 Hz to 20 kHz unweighted, at the interface's input (a pad's loss is not
/// added), and the same weighted. One value a channel; unset where the channel is not calibrated, the quasi-peak one
/// also in a take under 3 s.
///   throws  Error invalid_input, naming the take: not made with inputs_shorted, overloaded, digital silence,
///   under 2 s;
///           invalid_request when no channel is calibrated
struct OwnNoise {
    InterfaceData floors;            ///< its own_noise fields alone are filled
    std::vector<Reading> level_dbfs;  ///< unweighted
    std::vector<Warning> warnings;  ///< "floor_high": so much noise that the inputs can't have been shorted
};
OwnNoise read_own_noise(BlockReader& sound, const Take& take, const Job& job);

}  // namespace hushtrace
