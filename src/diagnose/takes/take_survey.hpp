#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/job/rpm_log.hpp"
#include "hushtrace/measure/bursts.hpp"
#include "hushtrace/measure/comb_stretch.hpp"
#include "hushtrace/measure/humps.hpp"
#include "hushtrace/measure/hunting_pulses.hpp"
#include "hushtrace/measure/impulse_train.hpp"
#include "hushtrace/measure/lines.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/measure/quasi_peak.hpp"
#include "hushtrace/measure/ridge.hpp"
#include "hushtrace/measure/still_lines.hpp"
#include "order_reading.hpp"

/// What one take holds, before anybody asks what it means: spectra, lines, tracks, clicks, of each channel.
namespace hushtrace {

/// A line that turns with a followed line, in each channel.
struct OrderLine {
    double ratio = 1;  ///< to the followed line
    double ratio_sd = 0;
    std::vector<double> mean_square;  ///< [channels]
    double prominence_db = 0;         ///< in the spectrum over cycles, best channel
    double sharpening_db = 0;         ///< that prominence less the one in the spectrum over time
};

/// One followed line and all that turns with it.
struct MovingFamily {
    Ridge ridge;
    std::size_t channel = 0;  ///< where it was followed
    double significance = 0;  ///< standard deviations by which it stands out of the noise beside its track
    double mean_hz = 0;
    double wander = 0;             ///< of the track, beyond the reading's own jitter
    std::vector<OrderLine> lines;  ///< ascending ratio; contains the followed line itself
};

/// A tone beside the broadband floor, still or wandering.
struct SpotTone {
    double frequency_hz = 0;  ///< mean, where it wanders
    double frequency_sd_hz = 0;  ///< of one that wanders: how far it strays
    Reading mean_square;      ///< full scale squared
    bool wanders = false;     ///< read along its track
};

struct ChannelSurvey {
    Channel channel = Channel::left;
    std::size_t file_channel = 0;       ///< its place in the take's file
    std::optional<double> volts_full_scale, volts_full_scale_sd_db;
    PowerSpectrum spectrum;             ///< over the whole take, bins of about 1 Hz
    std::vector<double> floor_density;  ///< noise under the lines
    std::vector<SpectralLine> lines;
    NoiseFloor floor;  ///< with everything in it, and without the lines, still or moving
    std::optional<Reading> quasi_peak;  ///< mean indication [rms of a 1 kHz sine, full scale]; needs 3 s
    std::vector<SpotTone> tones;        ///< strongest first
    NoiseFloor hiss;   ///< of the noise under the lines alone
    std::optional<ImpulseTrain> clicks;        ///< one train in all channels: where the engine turns, that which fits it best
    std::optional<ImpulseTrain> other_clicks;  ///< another one beside it
    std::optional<ImpulseTrain> faint_clicks;  ///< what may be one, if bursts keep its time
    StillSpectrum still;                ///< of the first stretch_s: lines that hold still, against the noise beside them
    StillSpectrum brief;                ///< the same, a quarter of a second at a time: lines that stray a little
    std::optional<CombStretch> phone;   ///< the stretch of it through which a phone's frames sound
    Bursts bursts;
    std::vector<Hump> humps;            ///< of the noise, narrower than a filter's
    std::optional<HuntingPulses> pulses;
    std::vector<std::vector<float>> spectrogram_dbfs;
    double column_s = 0, spectrogram_bin_hz = 0;
    bool silent = false;  ///< digital silence
};

/// A high line that sweeps by several per cent within seconds.
struct Beat {
    Ridge ridge;
    std::size_t channel = 0;          ///< where it was followed
    double mean_hz = 0, wander = 0;
    std::vector<double> mean_square;  ///< [channels] along its track
};

struct TakeSurvey {
    const Take* take = nullptr;
    double duration_s = 0, sample_rate_hz = 0;
    double from_s = 0;  ///< where in the take the part begins that was read (after a tone file's markers)
    std::vector<ChannelSurvey> channels;  ///< those that carry signal: what a probe reads on the supply is no noise in it
    std::vector<Ridge> ridges;           ///< of all channels, that which stands out most first
    std::vector<MovingFamily> families;  ///< of those that move
    std::vector<Beat> beats;             ///< high lines that sweep faster than anything that turns
    std::vector<OrderView> orders;       ///< [families] over the cycles of each, in its channel
    std::optional<RpmLog> rpm_log;       ///< of the take's engine, where one could be used
    std::vector<Warning> warnings;
};

/// Fills in a channel's floor and tones, once its lines and the moving families are known.
void read_floor(TakeSurvey& survey, std::size_t channel);

/// Reads and surveys one take, streaming. Moving lines and clicks are followed through the first `stretch_s`
/// seconds, so that memory stays bounded; what is left out is said in a warning.
///   throws Error as TakeReader does; too_short under half a second; invalid_input when channels don't match, or none carries signal
TakeSurvey survey_take(const OpenedJob& job, const Take& take, double stretch_s = 60.0);

}  // namespace hushtrace
