#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/signal/conditions.hpp"

/// What several takes of a chain tell together: how channels add up, what the volume and the level change, how all of it
/// stands against the job's limits.
namespace hushtrace {

/// THD of one channel under one of the two conditions that are asked for.
struct ChainDistortion {
    std::optional<Reading> thd_percent;
    double tone_hz = 0;
    std::optional<double> played_dbfs, volume;
    std::string take;
};

/// Noise of one channel at the amplifier's input, 20 Hz to 20 kHz.
struct ChainNoise {
    std::string take;
    std::optional<Engine> engine;
    std::optional<Reading> dbfs_a;  ///< A-weighted; as captured
    std::optional<Reading> dbv_a;   ///< the same in volts where calibrated, the interface's own taken off
};

/// Two channels of one take added up, as an amplifier fed with both does, and the air before the speakers.
struct ChainSum {
    std::string take;
    Channel one = Channel::left, other = Channel::right;
    double deepest_hz = 0, deepest_db = 0;  ///< 0: in phase
    double from_hz = 0, to_hz = 0;          ///< 6 dB down or more; both 0 where it nowhere is
    std::string cause;                      ///< "polarity", "all_pass", "delay", "unknown"; empty where nothing cancels
};

/// Two channels that share the band.
struct ChainCrossing {
    Channel lower = Channel::sub, upper = Channel::left;
    double frequency_hz = 0, below_db = 0;
    std::optional<double> added_db;  ///< both against the louder one there: 6 in phase; unset: never in one take
    std::string take;                ///< in which they were added
};

/// What the source's volume does to the balance of bass, middle and treble.
struct VolumePoint {
    double volume = 0;
    std::string take;               ///< of the bass; of tones that of the low one
    std::optional<Reading> bass_db, treble_db;  ///< against 1 kHz
};
struct VolumeDependence {
    Channel channel = Channel::left, against = Channel::left;
    double bass_hz = 50, treble_hz = 10000;
    std::vector<VolumePoint> points;            ///< rising volumes, two or more
    std::optional<Reading> bass_change_db, treble_change_db;  ///< from the lowest volume to the highest
    bool bass_varies = false, treble_varies = false;          ///< by 1 dB and more, and more than chance
    bool from_tones = false;        ///< else from sweeps or pink noise
};

/// The same at one volume played softer and louder.
struct LevelDependence {
    Channel channel = Channel::left;
    std::string soft_take, loud_take;
    double soft_dbfs = 0, loud_dbfs = 0;  ///< as played
    std::optional<double> volume;
    Reading gain_change_db;               ///< round 1 kHz (or the channel's loudest octave), from soft to loud
    std::optional<Reading> bass_change_db;  ///< the bass' against that
    std::optional<double> loud_thd_percent;
    std::string kind;  ///< "straight", "limiter", "clips", "bass_limiter"
};

/// One line of the acceptance table.
struct LimitLine {
    std::string what;               ///< job.json's field, or "same_polarity", "response"
    std::optional<Channel> channel, against;
    std::optional<Reading> found;   ///< in `unit`; unset: not measured, or told by text alone
    std::string found_text;         ///< where a figure alone doesn't tell it: "inverted on right", "at 63 Hz"
    double limit = 0;
    std::string unit;
    bool at_most = true;
    bool written = false;           ///< in job.json; else a proposal
    std::string origin;             ///< "job.json" or where the proposal comes from
    std::string verdict;            ///< "pass", "fail", "undecided", "not_measured"
};

}  // namespace hushtrace
