#pragma once
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/diagnose/step_verdict.hpp"
#include "hushtrace/measure/folding.hpp"
#include "hushtrace/measure/tone_reading.hpp"

/// The parts of the gain analysis: takes to curves, curves to ceilings, ceilings to amplifier settings, and
/// the words.
namespace hushtrace {

/// A channel's curve with what the decision and its words need besides.
struct GainCurve {
    StepCurve curve;
    const Take* take = nullptr;
    bool tone_is_stepped = false;           ///< the tone's own level was stepped, the volume stood still
    double tone_level_dbfs = 0;             ///< as played; of a stepped tone its highest level
    Job::Referred referred;                 ///< what brings its levels to the probe: pad, and scale where calibrated
    std::optional<double> other_tone_hz;    ///< the tone that was there in place of the one stated
    std::optional<double> clean_volume;     ///< highest volume known to be clean, ceiling or not
    std::optional<std::size_t> clean_step;  ///< index into curve.steps of the same
    std::optional<double> pad_db;           ///< attenuation that keeps the interface out of overload
    bool even_distortion = false;           ///< always distorted, and by much the same while the level rose
    std::optional<std::size_t> even_up_to;  ///< index of the highest step of which that holds
    double tone_there_s = 0;                ///< how long the stated tone was there, on a plateau or not
    std::vector<std::size_t> setting_of_step;  ///< by number - 1, rising with the level; where volumes aren't known
    bool drowned = false;                   ///< it is there, but noise is far louder
    /// Indices of the step from which the level hardly rises though it stays clean, and of the one before it.
    std::optional<std::pair<std::size_t, std::size_t>> lags_from;
    std::optional<Folding> folding;  ///< what a step over the limit shows of clipping in numbers
    bool held_back = false;  ///< a crossover keeps this tone from this channel

    double level_at_probe_db(const VolumeStep& step) const { return step.level_dbfs + referred.offset_db; }
    /// Whether their levels at the probe can be held against each other; how they rise always can.
    bool compares_with(const GainCurve& other) const { return referred.calibrated == other.referred.calibrated; }
};

/// All steps at one volume; the worst of them speaks.
struct Rung {
    std::optional<double> volume;
    std::size_t worst = 0;  ///< index into the curve's steps
    StepVerdict verdict = StepVerdict::clean;
};
/// A curve's settings by rising volume, or by rising level where volumes aren't known.
std::vector<Rung> rungs_of(const GainCurve& one, double limit_percent);

/// Whether a take bears on the ceiling: a sine or a stepped tone on signal channels, at the source or
/// amplifier input.
bool is_gain_take(const Take& take);

/// Reads one take: plateaus over all its channels, each plateau's level and distortion for each channel.
///   throws Error as the reader; invalid_input when file and job.json differ in channels, or the tone can't
///   be followed
std::vector<GainCurve> read_curves(const OpenedJob& job, const Take& take, const OpenTake& open,
                                   std::vector<Warning>& warnings);

/// Keeps the sound of the two quietest steps that exceed the limit, for reading how the channel clips.
class KneeWatch {
public:
    explicit KneeWatch(double limit_percent) : limit_percent_(limit_percent) {}
    void offer(const VolumeStep& step, std::span<const double> samples);
    /// Nothing where no step exceeds the limit, or none can be read (measure/clipping.hpp says when).
    std::optional<Knee> read(double sample_rate_hz, const ToneSearch& search, std::optional<double> volts_full_scale,
                             std::optional<double> scale_sd_db) const;
    /// Whether one of them was clipped in numbers.
    std::optional<Folding> read_folding(double sample_rate_hz) const;

private:
    struct Kept {
        VolumeStep step;
        std::vector<double> samples;
    };
    double limit_percent_;
    std::vector<Kept> kept_;  ///< ascending level
};

/// Finds one curve's ceiling, or the reason why it has none.
void decide_ceiling(GainCurve& curve, double limit_percent, std::vector<Warning>& warnings);

/// Takes the curves of an overloaded take away where another take of the same tone, no quieter, answers all of them: such a take was made with
/// another setting of the interface's input, so neither ceiling nor volts may rest on it. They are still to be shown.
std::vector<GainCurve> set_aside_overloaded(std::vector<GainCurve>& curves, std::vector<Warning>& warnings);

/// Tells a limiter from bass that the source turns down, and finds crossovers left on, from the curves together: of two
/// tones in one channel, of one tone in several channels.
void compare_curves(std::vector<GainCurve>& curves, double limit_percent, std::vector<Warning>& warnings);

/// What a step of the volume is worth, how far each step lags behind that, and left against right.
void read_volume_law(std::vector<GainCurve>& curves, GainAnalysis& into);

/// Chooses the job's ceiling among the curves': fills ceiling and ceiling_reason. Returns the curve that
/// decided it.
const GainCurve* choose_ceiling(const std::vector<GainCurve>& curves, GainAnalysis& into);

/// One or two sentences for the user.
std::string ceiling_words(const OpenedJob& job, const GainAnalysis& analysis,
                          const std::vector<GainCurve>& curves, const GainCurve* decided_by);

/// Where each amplifier of the job must stand.
void set_amplifiers(const OpenedJob& job, const OpenTake& open, const std::vector<GainCurve>& curves,
                    const GainRequest& request, GainAnalysis& into);

/// "volume 22", or "step 3" where the volume isn't known.
std::string at_volume(std::optional<double> volume, std::size_t step);

}  // namespace hushtrace
