#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/job/temporary_items.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

std::string input_words(const InterfaceData& data) {
    if (!data.input) return "not stated";
    switch (*data.input) {
        case InterfaceInput::grounded: return "grounded: its shells are joined to the interface's ground";
        case InterfaceInput::floating: return "floating: its shells are joined to nothing";
        case InterfaceInput::differential: return "differential: it reads between two conductors";
    }
    return "not stated";
}

template <class List>
std::optional<double> at(const List& list, std::size_t i) {
    return i < list.size() && list[i] && std::isfinite(*list[i]) ? std::optional<double>(*list[i]) : std::nullopt;
}

std::string inputs_table(const InterfaceData& data) {
    const std::size_t count = std::max({data.volts_full_scale.size(), data.own_noise_dbv.size(), data.volts_full_scale_sd_db.size()});
    std::string rows;
    for (std::size_t i = 0; i < count; ++i) {
        const auto volts = at(data.volts_full_scale, i), sd = at(data.volts_full_scale_sd_db, i);
        const auto own = at(data.own_noise_dbv, i), own_a = at(data.own_noise_a_dbv, i);
        std::string scale = volts ? fmt::format("{:.4g} V at full scale", *volts) : "not calibrated";
        if (volts)
            scale += sd ? fmt::format(" ±{:.2f} dB ({:.1f} %)", 2 * *sd, 100 * (std::pow(10.0, 2 * *sd / 20) - 1)) : ", its uncertainty not stated";
        std::string noise = own ? fmt::format("{:.1f} dBV", *own) : "not measured";
        if (own_a) noise += fmt::format(", {:.1f} dBV A-weighted", *own_a);
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}</tr>\n", i + 1, cell(scale, "calibration"), cell(noise, "own noise"));
    }
    return rows.empty()
               ? ""
               : table({"input", "calibration", "own noise"}, rows, "The interface's inputs; own noise 20 Hz to 20 kHz with the inputs shorted");
}

std::string sound_file(const OpenedJob& opened, const Take& take) {
    try {
        const TakeReader reader(take_path(opened, take));
        std::string text = fmt::format("{:g} kHz", reader.sample_rate_hz() / 1000);
        if (const auto frames = reader.promised_frames()) text += fmt::format(", {:.0f} s", static_cast<double>(*frames) / reader.sample_rate_hz());
        return text;
    } catch (const Error&) {
        return "not readable";
    }
}

std::string takes_table(const OpenedJob& opened) {
    std::string rows;
    for (const Take& take : opened.job.takes) {
        std::string bare, pads;
        for (std::size_t i = 0; i < take.channels.size(); ++i)
            if (!opened.job.volts_full_scale(take, i)) bare += (bare.empty() ? "" : ", ") + spaced(to_word(take.channels[i]));
        for (const double db : take.attenuation_db) pads += (pads.empty() ? "" : ", ") + fmt::format("{:g} dB", db);
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}{}</tr>\n", isolated(take.file), cell(sound_file(opened, take), "sound"),
                            cell(channels_text(take.channels), "channels"), cell(spaced(to_word(take.conditions.point)), "measured at"),
                            cell(pads.empty() ? "none" : pads, "pads"), cell(bare.empty() ? "yes" : "not calibrated: " + bare, "in volts"));
    }
    return rows.empty() ? "" : table({"take", "sound", "channels", "measured at", "pads", "in volts"}, rows, "How each take was made");
}

struct Step {
    const char *name, *text;
};

}  // namespace

std::string instruments(const OpenedJob& opened) {
    const std::string takes = takes_table(opened), inputs = inputs_table(opened.job.interface);
    if (takes.empty() && inputs.empty()) return "";
    std::string out =
        fmt::format("<section>\n<h2>Instruments and calibration</h2>\n<p>Interface input: {}. A calibration holds until an input knob moves.</p>\n",
                    input_words(opened.job.interface));
    if (inputs.empty())
        out += "<p>No input is calibrated: levels are those of the sound files (dBFS), good for comparing takes of one set-up alone.</p>\n";
    return out + inputs + takes + "</section>\n";
}

std::string method(const Analyses& analyses) {
    std::vector<Step> steps = {
        {"Levels",
         "A level is the effective value (rms) of the sound over the take. 0 dBFS is the rms of a sine that just reaches full scale (AES17); volts "
         "follow from a meter's reading of a steady tone at the probe. What is given with ± holds the truth in about 95 of 100 cases: twice the "
         "standard uncertainty (JCGM 100, the GUM)."}};
    if (analyses.noise) {
        steps.push_back({"Noise floor",
                         "Averaged spectra (Welch 1967), summed from 20 Hz to 20 kHz; A-weighting after IEC 61672-1, the other weighting after ITU-R "
                         "BS.468-4. The interface's own noise is taken off in power where it is known and lies lower; where it doesn't, the reading "
                         "says that the interface limits it."});
        steps.push_back(
            {"Noise sources",
             "Lines, combs of lines, clicks and bands that stand out of the floor are followed through each take and held against what is known of "
             "alternators, ignition, mains, motors and converters. How sure a finding is: the share of right findings among like "
             "ones where that can be counted, else a judgement."});
        steps.push_back({"Entry paths",
                         "Each way in predicts what a test does to the noise: a shorted plug, another lead, the laptop on its battery, another "
                         "volume. Bayes' rule "
                         "turns what the tests showed into chances; a test that wasn't made leaves its ways open."});
        steps.push_back(
            {"Before and after",
             "The same line or band is read in a take before the change and in one after it, made alike. A change is claimed only where it "
             "exceeds twice its standard uncertainty."});
    }
    if (analyses.gain)
        steps.push_back({"Ceiling and gain",
                         "A full-scale tone plays while the volume is stepped. All harmonics up to 20 kHz against the fundamental give THD at each "
                         "step; the ceiling is "
                         "the last volume within the limit before one that exceeds it. The amplifier's gain follows from the volts there and from V "
                         "= sqrt(P R)."});
    if (analyses.chain)
        steps.push_back({"Path",
                         "Played and captured sweeps or noise are compared (Farina 2000 for sweeps): response, delay, polarity, crosstalk. Two tones "
                         "give intermodulation."});
    if (analyses.power)
        steps.push_back({"Power supply",
                         "Draws are summed, the fuse is the smallest standard one that carries them, and no fuse exceeds what its cable may stand "
                         "behind; voltage "
                         "drops follow from the conductor's resistance at its temperature. Where a figure is assumed, the section says so."});
    std::string out = "<section>\n<h2>Method</h2>\n<dl class=\"method\">\n";
    for (const Step& one : steps) out += fmt::format("<dt>{}</dt><dd>{}</dd>\n", one.name, escaped(one.text));
    return out +
           "</dl>\n<p>All is read from the captured sound files and from what the job says; the program has no link to the vehicle, and no figure is "
           "typed "
           "in by hand but those that the job lists as a meter's or the ear's.</p>\n</section>\n";
}

std::string temporary_items(const Job& job) {
    const std::vector<TemporaryItem> all = hushtrace::temporary_items(job), still_in = items_still_in(job);
    if (all.empty()) return "";
    std::string out = "<section>\n<h2>Temporary things to undo</h2>\n";
    if (still_in.empty())
        out += "<p>What was in place for measuring is out again, as the job says.</p>\n";
    else
        out += "<p>In place while measuring, and not said to be out again: check each one off.</p>\n<ul class=\"check\">\n";
    for (const TemporaryItem& one : still_in) {
        std::string takes;
        for (std::size_t i = 0; i < std::min<std::size_t>(4, one.takes.size()); ++i) takes += (i > 0 ? ", " : "") + one.takes[i];
        if (one.takes.size() > 4) takes += fmt::format(" and {} more", one.takes.size() - 4);
        out += fmt::format("<li>{}: {}{}</li>\n", escaped(one.name), escaped(one.undo),
                           takes.empty() ? "" : " <span class=\"soft\">(" + isolated(takes) + ")</span>");
    }
    if (!still_in.empty()) out += "</ul>\n";
    std::string done;
    for (const TemporaryItem& one : all)
        if (one.out) done += (done.empty() ? "" : "; ") + std::string(one.name);
    if (!done.empty() && !still_in.empty()) out += fmt::format("<p class=\"soft\">Out again: {}.</p>\n", escaped(done));
    return out + "</section>\n";
}

}  // namespace hushtrace::page
