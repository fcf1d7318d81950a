#include "floor_reading.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostTones = 8;

Reading in_volts(const Reading& dbfs, double volts_full_scale) {
    return {dbv_from_dbfs(dbfs.value, volts_full_scale), dbfs.sd, dbfs.limited_by};
}

/// A figure from its mean square, and the interface's own of the same weighting [dBV] where that is known. What lies less
/// than 3 dB above that is limited by the interface, be it told in volts or not.
FloorFigure figure_of(const Reading& mean_square, std::optional<double> volts_full_scale,
                      std::optional<double> own_dbv) {
    FloorFigure figure;
    if (!(mean_square.value > 0.0)) return figure;
    figure.dbfs = as_level_dbfs(mean_square);
    if (!volts_full_scale) return figure;
    figure.dbv = in_volts(*figure.dbfs, *volts_full_scale);
    if (!own_dbv) return figure;
    const double volts_squared = *volts_full_scale * *volts_full_scale;
    const Reading take{mean_square.value * volts_squared, mean_square.sd * volts_squared, mean_square.limited_by};
    const double own = power_from_decibels(*own_dbv);
    const Reading left = less_interface(take, {own, own * (power_from_decibels(kOwnNoiseSd_db) - 1.0), {}});
    figure.dbv = Reading{decibels_from_power(left.value), decibels_from_power(1.0 + left.sd / left.value),
                         left.limited_by};
    figure.interface_taken_off = left.limited_by != LimitedBy::interface;
    if (left.limited_by == LimitedBy::interface)
        figure.dbfs->limited_by = LimitedBy::interface;
    else if (figure.dbv->limited_by == LimitedBy::nothing)
        figure.dbv->limited_by = limit_of_averaging(left.sd / left.value);
    return figure;
}

}  // namespace

FloorReading floor_of(const TakeSurvey& survey, std::size_t channel, const Job& job) {
    const ChannelSurvey& c = survey.channels[channel];
    FloorReading reading;
    reading.take = survey.take->file;
    reading.channel = c.channel;
    reading.from_hz = c.floor.from_hz;
    reading.to_hz = c.floor.upper_hz;
    if (c.silent) return reading;
    // a take of the interface's own noise is not told less its own noise
    const auto own = [&](std::size_t field) {
        return survey.take->conditions.has(Hookup::inputs_shorted)
                   ? std::nullopt
                   : job.own_noise_at_probe_dbv(kOwnNoiseFields[field], *survey.take, c.file_channel);
    };
    const auto volts = c.volts_full_scale;
    const double scale_sd_db = c.volts_full_scale_sd_db.value_or(0.0);
    const auto with_the_scales = [scale_sd_db](std::optional<Reading>& dbv) {
        if (dbv) dbv->sd = std::hypot(dbv->sd, scale_sd_db);  // common to all of the channel's figures in volts
    };
    reading.unweighted = figure_of(c.floor.all.unweighted, volts, own(0));
    reading.a_weighted = figure_of(c.floor.all.a_weighted, volts, own(1));
    reading.c_weighted = figure_of(c.floor.all.c_weighted, volts, own(2));
    reading.itu468 = figure_of(c.floor.all.itu468, volts, own(3));
    reading.quasi_peak_wants_length = !c.quasi_peak;
    if (c.quasi_peak)
        reading.itu468_quasi_peak =
            figure_of({c.quasi_peak->value * c.quasi_peak->value, 2.0 * c.quasi_peak->value * c.quasi_peak->sd,
                       c.quasi_peak->limited_by},
                      volts, own(4));
    reading.broadband = figure_of(c.floor.broadband.unweighted, volts, own(0));
    reading.broadband_a_weighted = figure_of(c.floor.broadband.a_weighted, volts, own(1));
    for (const SpotTone& tone : c.tones) {
        if (reading.tones.size() == kMostTones) break;
        FloorTone told{tone.frequency_hz, as_level_dbfs(tone.mean_square), std::nullopt, tone.wanders, tone.frequency_sd_hz};
        if (volts) told.dbv = in_volts(told.dbfs, *volts);
        with_the_scales(told.dbv);
        reading.tones.push_back(told);
    }
    for (FloorFigure* figure : {&reading.unweighted, &reading.a_weighted, &reading.c_weighted, &reading.itu468,
                                &reading.itu468_quasi_peak, &reading.broadband, &reading.broadband_a_weighted})
        with_the_scales(figure->dbv);
    reading.third_octaves = bands_of(c);
    const auto unweighted_own = job.own_noise_at_probe_dbv(kOwnNoiseFields.front(), *survey.take, c.file_channel);
    if (unweighted_own) reading.bands_interface = InterfaceKnown::whole;
    if (reading.unweighted.dbv && unweighted_own)
        reading.limited_by_interface = figure_of(c.floor.all.unweighted, volts, unweighted_own).dbv->limited_by ==
                                       LimitedBy::interface;
    return reading;
}

void warn_of_band(const TakeSurvey& survey, NoiseAnalysis& out) {
    if (survey.channels.empty() || survey.channels.front().floor.upper_hz >= 20000.0) return;
    out.warnings.push_back(
        {"band_cut_short",
         fmt::format("{}: {:.0f} samples a second carry nothing above {:.0f} Hz; the noise floor, weighted too, leaves "
                     "out what lies there",
                     survey.take->file, survey.sample_rate_hz, survey.channels.front().floor.upper_hz),
         survey.take->file});
}

}  // namespace hushtrace
