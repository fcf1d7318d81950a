#include "take_survey.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <future>
#include <limits>
#include <span>
#include <thread>
#include <utility>

#include "beat_search.hpp"
#include "clear_part.hpp"
#include "click_trains.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/spectrum/file_spectra.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "line_families.hpp"
#include "steady_survey.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kBlock = 1 << 16;
constexpr double kLeastSeconds = 0.5;

std::size_t fine_length(double rate) {
    return fast_length(static_cast<std::size_t>(rate));  // bins of 1 Hz
}

/// What is gathered of a channel while the take streams by.
struct Gathered {
    Gathered(double rate, std::size_t picture_length) : picture(rate, picture_length), meter(rate) {}
    std::optional<SpectrumAccumulator> fine;  // where a part of the take alone counts; else it is read beside this
    SpectrogramAccumulator picture;
    QuasiPeakMeter meter;
    std::vector<double> stretch;
    double lowest = std::numeric_limits<double>::infinity(), highest = -lowest;
};

/// Bins of 8 Hz, for takes shorter than a second.
PowerSpectrum coarse_spectrum(std::span<const double> samples, double rate) {
    SpectrumAccumulator coarse(rate, fast_length(static_cast<std::size_t>(rate / 8)));
    coarse.add(samples);
    return coarse.result();
}

void finish_channel(ChannelSurvey& survey, const Gathered& gathered, double rate, std::optional<PowerSpectrum> fine) {
    // dc says no more than nothing: what moves by less than a 32-bit converter's last step is digital silence
    survey.silent = !(gathered.highest - gathered.lowest > 0x1p-31);
    survey.quasi_peak = gathered.meter.mean();
    survey.spectrum = fine ? std::move(*fine) : coarse_spectrum(gathered.stretch, rate);
    survey.floor_density = noise_under_lines(survey.spectrum);
    // hiss is smooth: a wider stretch than for the lines keeps the broad foot of a wandering whine out of it
    const std::vector<double> smooth = noise_under_lines(survey.spectrum, 120.0, 0.3);
    PowerSpectrum hiss = survey.spectrum;
    for (std::size_t k = 0; k < hiss.density.size(); ++k)
        hiss.density[k] = std::min({hiss.density[k] * 4.0, survey.floor_density[k], smooth[k]});
    survey.hiss = noise_floor(hiss, survey.floor_density, {});
    if (!survey.silent)
        survey.lines = find_lines(survey.spectrum, survey.floor_density, 15.0,
                                  std::min(20000.0, 0.47 * survey.spectrum.sample_rate_hz));
    const Spectrogram picture = gathered.picture.result();
    survey.column_s = picture.column_s;
    survey.spectrogram_bin_hz = picture.bin_hz;
    for (const auto& column : picture.columns) {
        auto& out = survey.spectrogram_dbfs.emplace_back(column.size());
        for (std::size_t k = 0; k < column.size(); ++k)
            out[k] = static_cast<float>(dbfs_from_mean_square(
                std::max(1.5 * picture.bin_hz * static_cast<double>(column[k]), 1e-20)));
    }
}

/// A whine and its multiples beat at its own wandering rate: where a line stands that is sharp once it is followed, no pulses
/// hunt.
void forget_beats_of_lines(TakeSurvey& survey) {
    constexpr double sharp_db = 8.0;
    for (ChannelSurvey& channel : survey.channels) {
        if (!channel.pulses) continue;
        const bool line = std::any_of(survey.families.begin(), survey.families.end(), [&channel](const MovingFamily& family) {
            return std::any_of(family.lines.begin(), family.lines.end(), [&](const OrderLine& one) {
                return one.sharpening_db > sharp_db && std::abs(one.ratio - std::round(one.ratio)) < 0.002 &&
                       channel.pulses->holds(one.ratio * family.mean_hz);
            });
        });
        if (line) channel.pulses.reset();
    }
}

/// Why this sound can't be surveyed for noise.
void refuse_unusable(const TakeReader& reader, const Take& take) {
    if (reader.channels() != take.channels.size())
        throw Error(ErrorKind::invalid_input,
                    fmt::format("{}: {} channels in the file, {} named in job.json", take.file, reader.channels(), take.channels.size()));
    if (std::none_of(take.channels.begin(), take.channels.end(), carries_signal))
        throw Error(ErrorKind::invalid_input, take.file + ": no channel of it carries signal");
    if (reader.sample_rate_hz() < 4000.0)
        throw Error(ErrorKind::invalid_input,
                    fmt::format("{}: a sample rate of {:.0f} Hz is too low for noise work; capture at 44100 Hz or more", take.file,
                                reader.sample_rate_hz()));
}

/// A take's sound, read through once.
struct Heard {
    std::vector<Gathered> channels;         // all of the file's
    std::vector<PowerSpectrum> fine;        // none of a take that is too short for it
    double from_s = 0, duration_s = 0;
    std::string oddity;                     // of the file, for the user
};

void gather(Gathered& g, std::span<const double> samples, std::size_t most) {
    if (g.fine) g.fine->add(samples);
    g.picture.add(samples);
    g.meter.add(samples);
    for (const double s : samples) {
        g.lowest = std::min(g.lowest, s);
        g.highest = std::max(g.highest, s);
    }
    const std::size_t room = most - std::min(most, g.stretch.size());
    g.stretch.insert(g.stretch.end(), samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(std::min(room, samples.size())));
}

/// All of it, or of a tone that a file played what lies between its markers.
Heard read_through(const OpenedJob& job, const Take& take, TakeReader& reader, double stretch_s) {
    const double rate = reader.sample_rate_hz();
    Heard heard;
    for (std::size_t c = 0; c < reader.channels(); ++c) heard.channels.emplace_back(rate, fast_length(static_cast<std::size_t>(rate / 12)));
    Part clear;
    std::future<std::vector<PowerSpectrum>> fine;
    if (take.tone && take.tone->via != ToneVia::interface_output) {
        TakeReader first(take_path(job, take));
        clear = between_markers(first);
        heard.oddity = first.oddity();   // it reads to the end, the part may not
        for (Gathered& g : heard.channels) g.fine.emplace(rate, fine_length(rate));
    } else {  // the other cores read the fine spectra, which take longest, through readers of their own
        fine = std::async(std::launch::async, [file = take_path(job, take)] {
            return spectra_of_file(file, fine_length, std::max(1U, std::thread::hardware_concurrency() / 2));
        });
    }
    heard.from_s = static_cast<double>(clear.from) / rate;
    std::size_t frames = 0;
    Block block;
    PartReader part(reader, clear);
    while (part.read(block, kBlock) > 0) {
        frames += block.frames();
        for (std::size_t c = 0; c < heard.channels.size(); ++c)
            gather(heard.channels[c], block.channel(c), static_cast<std::size_t>(stretch_s * rate));
    }
    heard.duration_s = static_cast<double>(frames) / rate;
    if (heard.oddity.empty()) heard.oddity = reader.oddity();
    if (fine.valid()) heard.fine = fine.get();
    for (const Gathered& g : heard.channels)
        if (g.fine && g.fine->segments() > 0) heard.fine.push_back(g.fine->result());
    return heard;
}

/// What moves, ticks or stands in the survey's channels: their first stretch of sound is looked through for each.
void look_through(TakeSurvey& survey, const OpenedJob& job, const std::vector<Gathered>& gathered, double stretch_s) {
    std::vector<std::span<const double>> stretches;
    for (const ChannelSurvey& channel : survey.channels) stretches.emplace_back(gathered[channel.file_channel].stretch);
    for (std::size_t c = 0; c < stretches.size(); ++c)
        if (!survey.channels[c].silent) find_clicks(survey.channels[c], stretches[c], survey.sample_rate_hz);
    const std::vector<SoundSpan> of_trains = spans_of_clicks(survey, stretch_s);
    survey.rpm_log = rpm_log_of(job, *survey.take, survey.warnings, survey.duration_s);
    for (std::size_t c = 0; c < stretches.size(); ++c)
        if (!survey.channels[c].silent) survey_steady(survey.channels[c], stretches[c], survey.sample_rate_hz, of_trains);
    std::vector<ThinnedSound> sounds;
    sounds.reserve(stretches.size());
    for (const auto stretch : stretches) sounds.push_back(thinned(stretch, survey.sample_rate_hz, kHighestOrder_hz));
    survey.beats = find_beats(survey, stretches);
    follow_lines(survey, stretches, sounds);
    forget_beats_of_lines(survey);
    for (const MovingFamily& family : survey.families) {
        const std::size_t c = loudest_channel(family);
        const ChannelSurvey& channel = survey.channels[c];
        survey.orders.push_back(view_orders(sounds[c].samples, sounds[c].rate_hz, family.ridge.track, channel.spectrum, channel.floor_density,
                                            channel.lines));
        survey.orders.back().channel = c;
    }
    for (std::size_t c = 0; c < survey.channels.size(); ++c) read_floor(survey, c);
}

}  // namespace

TakeSurvey survey_take(const OpenedJob& job, const Take& take, double stretch_s) {
    TakeReader reader(take_path(job, take));
    refuse_unusable(reader, take);
    Heard heard = read_through(job, take, reader, stretch_s);
    TakeSurvey survey;
    survey.take = &take;
    survey.sample_rate_hz = reader.sample_rate_hz();
    survey.from_s = heard.from_s;
    survey.duration_s = heard.duration_s;
    if (survey.duration_s < kLeastSeconds)
        throw Error(ErrorKind::too_short, fmt::format("{}: {:.2f} s is too short; noise takes need {} s or more, ten are good", take.file,
                                                      survey.duration_s, kLeastSeconds));
    if (!heard.oddity.empty()) survey.warnings.push_back({"take_cut_short", fmt::format("{}: {}", take.file, heard.oddity), take.file});
    if (survey.duration_s > stretch_s + 1.0)
        survey.warnings.push_back({"long_take",
                                   fmt::format("{}: wandering lines were followed through the first {:.0f} s; levels and floor are of all {:.0f} s",
                                               take.file, stretch_s, survey.duration_s),
                                   take.file});
    for (std::size_t c = 0; c < heard.channels.size(); ++c) {
        if (!carries_signal(take.channels[c])) continue;
        ChannelSurvey channel;
        channel.channel = take.channels[c];
        channel.file_channel = c;
        channel.volts_full_scale = job.job.volts_full_scale(take, c);
        channel.volts_full_scale_sd_db = job.job.volts_full_scale_sd_db(c);
        finish_channel(channel, heard.channels[c], survey.sample_rate_hz,
                       c < heard.fine.size() ? std::optional(std::move(heard.fine[c])) : std::nullopt);
        survey.channels.push_back(std::move(channel));
    }
    look_through(survey, job, heard.channels, stretch_s);
    return survey;
}

}  // namespace hushtrace
