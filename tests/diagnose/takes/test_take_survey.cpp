#include "../../../src/diagnose/takes/take_survey.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <numbers>
#include <random>

#include "../../../src/diagnose/sources/programme.hpp"
#include "../../../src/diagnose/takes/steady_survey.hpp"
#include "diagnose/made_survey.hpp"
#include "holds.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "hushtrace/signal/tone_programme.hpp"
#include "measure/clipped_tone.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

namespace {

struct OnDisk {
    TemporaryFolder folder;
    OpenedJob opened;
    OnDisk() { opened.folder = folder.path(); }
    Take write(const std::vector<std::vector<double>>& sound, double rate, std::vector<Channel> channels, const std::string& format = ".wav") {
        Block block(sound.size(), sound[0].size());
        for (std::size_t c = 0; c < sound.size(); ++c) std::copy(sound[c].begin(), sound[c].end(), block.channel(c).begin());
        const std::string name(1, next++);
        TakeWriter writer(folder / (name + format), rate, sound.size());
        writer.write(block);
        writer.close();
        return made_take(name + format, Engine::off, std::move(channels));
    }
    char next = 'a';   // names of the takes
};

std::vector<double> noise_and_tone(double sd, double amplitude, double frequency_hz, double rate, double seconds, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0.0, 1.0);
    std::vector<double> out(static_cast<std::size_t>(rate * seconds));
    for (std::size_t n = 0; n < out.size(); ++n)
        out[n] = sd * noise(random) + amplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * static_cast<double>(n) / rate);
    return out;
}

ErrorKind kind_of(const OpenedJob& job, const Take& take) {
    try {
        survey_take(job, take);
    } catch (const Error& error) {
        return error.kind();
    }
    return ErrorKind::disk_failed;   // none
}

}  // namespace

TEST_CASE("a take's survey holds each signal channel's noise and lines, with its scale", "[survey]") {
    constexpr double rate = 6000.0, sd = 1e-3;
    OnDisk disk;
    disk.opened.job.interface.volts_full_scale = {8.0, 2.0, 4.0};
    disk.opened.job.interface.volts_full_scale_sd_db = {0.1, 0.2, 0.3};
    const Take take =
        disk.write({noise_and_tone(sd, 0.0, 1.0, rate, 4.0, 1), noise_and_tone(sd, 0.02, 1008.0, rate, 4.0, 2), std::vector<double>(24000, 0.1)},
                   rate, {Channel::supply, Channel::right, Channel::left});
    const TakeSurvey survey = survey_take(disk.opened, take, 2.5);
    CHECK(survey.take == &take);
    CHECK(survey.sample_rate_hz == rate);
    CHECK(survey.duration_s == Approx(4.0));
    CHECK(survey.from_s == 0.0);
    REQUIRE(survey.channels.size() == 2);   // what a probe reads on the supply is no noise in it
    const ChannelSurvey& right = survey.channels[0];
    CHECK(right.channel == Channel::right);
    CHECK(right.file_channel == 1);
    CHECK(right.volts_full_scale == 2.0);
    CHECK(right.volts_full_scale_sd_db == 0.2);
    CHECK_FALSE(right.silent);
    // white noise of variance 1e-6 over 3 kHz
    CHECK(right.floor_density.at(2000) == Approx(sd * sd / (0.5 * rate)).epsilon(0.25));
    CHECK(right.hiss.all.unweighted.value == Approx(sd * sd).epsilon(0.1));
    CHECK(right.floor.all.unweighted.value == Approx(sd * sd + 0.5 * 0.02 * 0.02).epsilon(0.05));
    REQUIRE(right.lines.size() == 1);
    CHECK(right.lines[0].frequency_hz == Approx(1008.0).margin(0.2));
    CHECK(right.lines[0].mean_square == Approx(0.5 * 0.02 * 0.02).epsilon(0.05));
    CHECK(right.still.lines.size() == 1);
    CHECK(right.quasi_peak);
    // the picture: a tone's own level in its bin, twelve bins a second of the rate
    REQUIRE_FALSE(right.spectrogram_dbfs.empty());
    CHECK(right.spectrogram_bin_hz == Approx(12.0));
    CHECK(right.column_s > 0.02);
    CHECK(right.column_s * static_cast<double>(right.spectrogram_dbfs.size()) == Approx(4.0).margin(0.2));
    const auto& column = right.spectrogram_dbfs[right.spectrogram_dbfs.size() / 2];
    const auto at = static_cast<std::size_t>(std::lround(1008.0 / right.spectrogram_bin_hz));
    CHECK(column[at] == Approx(20.0 * std::log10(0.02)).margin(0.3));   // in the middle of a bin
    const ChannelSurvey& left = survey.channels[1];
    CHECK(left.channel == Channel::left);
    CHECK(left.silent);   // dc says no more than nothing
    CHECK(left.lines.empty());
    REQUIRE(survey.warnings.size() == 1);   // 2.5 s of 4
    CHECK(survey.warnings[0].code == "long_take");
    CHECK(holds(survey.warnings[0].text, "followed through the first 2 s; levels and floor are of all 4 s"));
}

TEST_CASE("a take that can't be surveyed says why", "[survey]") {
    OnDisk disk;
    const std::vector<double> second = noise_and_tone(1e-3, 0.0, 1.0, 4000.0, 0.49, 1);
    CHECK(kind_of(disk.opened, disk.write({second}, 4000.0, {Channel::left})) == ErrorKind::too_short);
    CHECK(kind_of(disk.opened, disk.write({second, second}, 4000.0, {Channel::left})) == ErrorKind::invalid_input);
    CHECK(kind_of(disk.opened, disk.write({second, second}, 4000.0, {Channel::supply, Channel::supply_current})) == ErrorKind::invalid_input);
    const std::vector<double> slow = noise_and_tone(1e-3, 0.0, 1.0, 3999.0, 1.0, 1);
    CHECK(kind_of(disk.opened, disk.write({slow}, 3999.0, {Channel::left})) == ErrorKind::invalid_input);
    // shorter than a second its spectrum is coarse
    const Take brief = disk.write({noise_and_tone(1e-3, 0.0, 1.0, 4000.0, 0.51, 1)}, 4000.0, {Channel::left});
    const TakeSurvey survey = survey_take(disk.opened, brief);
    CHECK(survey.duration_s == Approx(0.51));
    CHECK(survey.channels.at(0).spectrum.bin_hz() == Approx(8.0).margin(0.1));
    CHECK(survey.warnings.empty());
}

TEST_CASE("a take made with a tone file is read as any other where no marker sounds", "[survey]") {
    OnDisk disk;
    Take take = disk.write({noise_and_tone(1e-3, 0.02, 1008.0, 4000.0, 2.2, 1)}, 4000.0, {Channel::left}, ".flac");
    const TakeSurvey plain = survey_take(disk.opened, take);
    CHECK(plain.warnings.empty());
    take.tone = PlayedTone{NearSilence{}, ToneVia::stick};
    const TakeSurvey from_stick = survey_take(disk.opened, take);
    CHECK(from_stick.from_s == 0.0);
    CHECK(from_stick.duration_s == plain.duration_s);
    const PowerSpectrum &a = plain.channels.at(0).spectrum, &b = from_stick.channels.at(0).spectrum;
    REQUIRE(a.density.size() == b.density.size());
    CHECK(a.bin_hz() == Approx(1.0).margin(0.01));
    CHECK(a.segments == b.segments);
    for (const std::size_t k : {100U, 700U, 1008U, 1500U}) CHECK(a.density[k] == Approx(b.density[k]).epsilon(1e-6));
    CHECK(from_stick.channels[0].lines.size() == plain.channels[0].lines.size());
    // a file that ends too early is told
    const auto size = std::filesystem::file_size(disk.folder / take.file);
    std::filesystem::resize_file(disk.folder / take.file, size / 2);
    for (const bool played : {false, true}) {
        CAPTURE(played);
        if (!played) take.tone.reset();
        if (played) take.tone = PlayedTone{NearSilence{}, ToneVia::stick};
        const TakeSurvey cut = survey_take(disk.opened, take);
        REQUIRE(cut.warnings.size() == 1);
        CHECK(cut.warnings[0].code == "take_cut_short");
        CHECK(holds(cut.warnings[0].text, "a.flac: cut short"));
        CHECK(cut.warnings[0].take == std::optional<std::string>("a.flac"));
        CHECK(cut.duration_s < plain.duration_s);
    }
}

TEST_CASE("bursts and a phone's frames are found in a take", "[survey]") {
    constexpr double rate = 8000.0, frames_hz = 650.0 / 3.0;
    std::vector<double> bursts = noise_and_tone(1e-4, 0.0, 1.0, rate, 4.0, 1), phone = noise_and_tone(1e-4, 0.0, 1.0, rate, 4.0, 2);
    const std::vector<double> loud = noise_and_tone(0.1, 0.0, 1.0, rate, 0.005, 3);
    for (const double at_s : {0.61, 1.53, 3.1}) {
        const auto at = static_cast<std::size_t>(at_s * rate);
        for (std::size_t n = 0; n < loud.size(); ++n) bursts[at + n] += loud[n];
    }
    for (std::size_t n = 8000; n < 24000; ++n)   // from 1 to 3 s, an eighth of each frame
        if (std::fmod(static_cast<double>(n) * frames_hz / rate, 1.0) < 0.125) phone[n] += 0.01;
    OnDisk disk;
    const Take a = disk.write({bursts}, rate, {Channel::left}), b = disk.write({phone}, rate, {Channel::left});
    const TakeSurvey with_bursts = survey_take(disk.opened, a), with_phone = survey_take(disk.opened, b);
    const auto& events = with_bursts.channels.at(0).bursts.events;
    REQUIRE(events.size() == 3);
    CHECK(events[0].time_s == Approx(0.6125).margin(0.01));
    CHECK(events[2].time_s == Approx(3.1025).margin(0.01));
    CHECK_FALSE(with_bursts.channels[0].phone);
    const auto& found = with_phone.channels.at(0).phone;
    REQUIRE(found);
    CHECK(found->comb.spacing_hz == Approx(frames_hz).epsilon(0.0003));
    CHECK(found->from_s == Approx(1.0).margin(0.6));
    CHECK(found->to_s == Approx(3.0).margin(0.6));
}

TEST_CASE("of a take made with a tone file what lies between the markers is read", "[survey]") {
    constexpr double rate = 16000.0;
    std::vector<double> sound = noise_and_tone(1e-4, 0.0, 1.0, rate, 3.6, 1);   // markers of 0.6 s at 0.2 and at 2.8 s
    for (const auto& [end, at_s] : {std::pair{Marker::End::opening, 0.2}, std::pair{Marker::End::closing, 2.8}}) {
        const std::vector<double> marker = marker_samples(end, rate);
        for (std::size_t n = 0; n < marker.size(); ++n) sound[static_cast<std::size_t>(at_s * rate) + n] += 0.1 * marker[n];
    }
    OnDisk disk;
    Take take = disk.write({sound}, rate, {Channel::left});
    take.tone = PlayedTone{NearSilence{}, ToneVia::stick};
    const TakeSurvey survey = survey_take(disk.opened, take);
    CHECK(survey.from_s == Approx(0.2 + 0.6 + 0.1).margin(0.02));   // a tenth of a second is kept clear
    CHECK(survey.duration_s == Approx(1.8).margin(0.03));
    CHECK(survey.channels.at(0).floor.all.unweighted.value == Approx(1e-8).epsilon(0.05));   // the noise alone
    take.tone->via = ToneVia::interface_output;                     // that plays no markers: all of it
    CHECK(survey_take(disk.opened, take).duration_s == Approx(3.6));
}

TEST_CASE("clicks and bursts are left out where they leave half of the time", "[survey]") {
    Bursts bursts;
    bursts.duration_s = 1.0;
    bursts.events.resize(2);
    bursts.events[0].time_s = 0.2;
    bursts.events[1].time_s = 0.6;
    bursts.left_out = {{0.3, 0.5}, {0.7, 0.8}};
    CHECK(moments_of_clicks(bursts, 0.124) == std::vector<double>{0.2, 0.6, 0.4, 0.75});
    CHECK(moments_of_clicks(bursts, 0.126).empty());
    CHECK(moments_of_clicks({}, 0.1).empty());
}

TEST_CASE("a programme is loud and changes from moment to moment in most of its bands", "[survey]") {
    const Take take = made_take("a");
    TakeSurvey survey = quiet_survey(take);
    ChannelSurvey& left = survey.channels[0];
    left.spectrogram_bin_hz = 50.0;
    // every second column louder by so much, in all bands: half of that over 1.28 is the spread
    const auto change = [&](double by_db, std::size_t columns = 40, std::size_t from_bin = 0, std::size_t to_bin = 300) {
        left.spectrogram_dbfs.assign(columns, std::vector<float>(300, -60.0F));
        for (std::size_t t = 0; t < columns; t += 2)
            for (std::size_t k = from_bin; k < to_bin; ++k) left.spectrogram_dbfs[t][k] += static_cast<float>(by_db);
        return holds_programme(survey);
    };
    left.floor.all.unweighted = {0.5e-4 * 1.01, 0.0, {}};   // -40 dBFS
    CHECK(change(9.1));        // 3.5 dB * 2.563 = 8.97
    CHECK_FALSE(change(8.8));
    CHECK(change(9.1, 8));
    CHECK_FALSE(change(9.1, 7));   // too few columns to tell
    // seven bands from 100 Hz: 2, 4, 8 ... bins; the median decides
    CHECK(change(9.1, 40, 0, 32));         // 100 Hz to 1.6 kHz: four of them
    CHECK_FALSE(change(9.1, 40, 0, 16));   // three
    CHECK(change(9.1, 40, 16, 300));       // four upper ones
    CHECK_FALSE(change(9.1, 40, 32, 300));
    CHECK_FALSE(change(20.0, 40, 32, 64));
    for (std::size_t t = 0; t < left.spectrogram_dbfs.size(); t += 2)   // that one and the three lowest: not in a row
        std::fill(left.spectrogram_dbfs[t].begin(), left.spectrogram_dbfs[t].begin() + 16, -40.0F);
    CHECK(holds_programme(survey));
    left.floor.all.unweighted.value = 0.5e-4 * 0.99;
    CHECK_FALSE(change(20.0));
    left.floor.all.unweighted.value = 0.5e-2;
    CHECK(change(20.0));
    left.silent = true;
    CHECK_FALSE(change(20.0));
}

TEST_CASE("a held tone is a sine at one volume", "[survey]") {
    Take take;
    CHECK_FALSE(is_held_tone(take));
    take.tone = PlayedTone{Sine{997, 0}, std::nullopt};
    CHECK(is_held_tone(take));
    take.volume_steps = {1, 2};
    CHECK_FALSE(is_held_tone(take));
    take.volume_steps.clear();
    take.tone->waveform = Pink{};
    CHECK_FALSE(is_held_tone(take));
}

TEST_CASE("a tone that clips is a finding with its share, its limit and each channel's words", "[survey]") {
    clipped_tone::Setup s;
    s.amplitude = 0.4;
    s.noise_rms = 1e-4;
    const auto clipped = [&s](double rail, double seconds = 0.4) {
        s.law = clipped_tone::hard(rail);
        s.seconds = seconds;
        return clipped_tone::render(s);
    };
    OnDisk disk;
    disk.opened.job.interface.volts_full_scale = {std::nullopt, 5.0};
    Take take = disk.write({clipped(0.38), clipped(0.3), std::vector<double>(19200, 0.0)}, 48000, {Channel::left, Channel::right, Channel::supply});
    take.tone = PlayedTone{Sine{997, 0}, std::nullopt};
    std::list<NoiseSource> sources;
    add_clipping(sources, disk.opened, take);
    REQUIRE(sources.size() == 1);
    const NoiseSource& found = sources.front();
    CHECK(found.kind == NoiseKind::clipping);
    CHECK(found.takes == std::vector<std::string>{"a.wav"});
    CHECK(found.confidence == 0.95);
    CHECK(found.channels == std::vector<Channel>{Channel::left, Channel::right});
    CHECK(found.frequency_hz.value_or(0) == Approx(997.0).margin(0.1));
    // of a sine of 0.4 what lies over 0.3: 2 acos(0.75) / pi of the time; the worse channel's
    CHECK(found.clipped_share.value_or(0) == Approx(2.0 * std::acos(0.75) / std::numbers::pi).margin(0.01));
    CHECK(found.clip_level_dbfs.value_or(0) == Approx(20.0 * std::log10(0.3)).margin(0.02));
    REQUIRE(found.levels.size() == 2);
    // first Fourier coefficient of the clipped sine: 2 / pi (asin r + r sqrt(1 - r^2))
    const auto left_by = [](double r) { return 2.0 / std::numbers::pi * (std::asin(r) + r * std::sqrt(1.0 - r * r)); };
    CHECK(found.levels[0].level_dbfs.value_or(0) == Approx(20.0 * std::log10(0.4 * left_by(0.95))).margin(0.02));
    CHECK_FALSE(found.levels[0].level_dbv);
    CHECK(found.levels[0].sd_db == 0.1);
    CHECK(found.levels[1].channel == Channel::right);
    CHECK(found.levels[1].level_dbv.value_or(0) == Approx(20.0 * std::log10(5.0 / std::numbers::sqrt2 * 0.4 * left_by(0.75))).margin(0.02));
    CHECK(found.level_dbfs == found.levels[0].level_dbfs);   // the louder one's
    CHECK_FALSE(found.level_dbv);
    REQUIRE(found.evidence.size() == 2);
    CHECK(holds(found.evidence[0].text, "left: The tone runs into a rail, "));
    CHECK(holds(found.evidence[0].text, "A sine would touch the limit at -8.4 dBFS."));
    CHECK(found.evidence[0].unit == "dBFS");
    CHECK(found.evidence[0].value == Approx(20.0 * std::log10(0.38)).margin(0.02));
    CHECK(holds(found.evidence[1].text, "right: The tone runs into a rail, 2.5 dB past where it starts."));   // 20 lg(4 / 3)
    CHECK(holds(found.evidence[1].text, "A sine would touch the limit at 1.06 V."));   // 0.3 * 5 V / sqrt 2
    CHECK(found.evidence[1].unit == "dBV");
    CHECK(found.evidence[1].takes == std::vector<std::string>{"a.wav"});
    // what is clean, or not to be heard, is none
    s.amplitude = 0.2;
    Take clean = disk.write({clipped(0.38)}, 48000, {Channel::left});
    clean.tone = take.tone;
    add_clipping(sources, disk.opened, clean);
    CHECK(sources.size() == 1);
    s.amplitude = 0.004;
    s.noise_rms = 1e-6;
    Take faint = disk.write({clipped(0.0024)}, 48000, {Channel::left});   // 0.004 * 0.715 is below 0.003, -50 dBFS
    faint.tone = take.tone;
    add_clipping(sources, disk.opened, faint);
    CHECK(sources.size() == 1);
    // the middle is looked at: what lies before and after it may be silence
    s.amplitude = 0.4;
    s.noise_rms = 1e-4;
    std::vector<double> framed = clipped(0.3, 1.51);   // a second and a half is read
    framed.insert(framed.begin(), 60000, 0.0);
    framed.resize(framed.size() + 60000, 0.0);
    Take middle = disk.write({framed}, 48000, {Channel::left});
    middle.tone = take.tone;
    add_clipping(sources, disk.opened, middle);
    REQUIRE(sources.size() == 2);
    CHECK(sources.back().clipped_share.value_or(0) == Approx(2.0 * std::acos(0.75) / std::numbers::pi).margin(0.01));
}
