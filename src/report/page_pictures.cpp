#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"
#include "tracks.hpp"

namespace hushtrace::page {
namespace {

constexpr std::size_t kMostSpectra = 8, kMostSpectrograms = 3, kMostOrderMaps = 2;

const Take* take_of(const Job& job, const std::string& file) {
    for (const Take& one : job.takes)
        if (one.file == file) return &one;
    return nullptr;
}

std::string engine_of(const Job& job, const std::string& file) {
    const Take* take = take_of(job, file);
    return take ? "engine " + spaced(to_word(take->conditions.engine)) : "";
}

std::string named(const Job& job, const TakePicture& picture) {
    const std::string engine = engine_of(job, picture.take);
    return fmt::format("{}{}{}, {}", picture.take, engine.empty() ? "" : ", ", engine,
                       spaced(to_word(picture.channel)));
}

bool has_further_lines(const TakePicture& picture) {
    std::set<std::string> seen;
    return std::any_of(picture.lines.begin(), picture.lines.end(),
                       [&](const MarkedLine& one) { return !seen.insert(one.source_id).second; });
}

std::string spectrum_figure(const Job& job, const NoiseAnalysis& analysis, const SpectrumFigure& one,
                            std::size_t number) {
    const std::string title = "Spectrum of " + named(job, *one.picture);
    std::string caption = fmt::format("<b>{}.</b>", isolated(title));
    if (one.under)
        caption += fmt::format(" <span class=\"key trace\"></span>{}; <span class=\"key under\"></span>{}.",
                               isolated(named(job, *one.picture)), isolated(named(job, *one.under)));
    if (!one.picture->lines.empty()) caption += " Numbers are those of the findings.";
    if (has_further_lines(*one.picture))
        caption += " Hollow marks of the same shape: further lines of the same.";
    const std::string id = fmt::format("sp{}", number);
    return figure(spectrum_svg(analysis, *one.picture, one.under, PictureSize::wide, id + "w", title),
                  spectrum_svg(analysis, *one.picture, one.under, PictureSize::narrow, id + "n", title),
                  caption);
}

std::string spectrogram_figure(const Job& job, const TakePicture& picture, std::size_t number) {
    const Take* take = take_of(job, picture.take);
    const std::vector<Mark> marks = take ? take->marks : std::vector<Mark>{};
    const std::string title = "Spectrogram of " + named(job, picture);
    const std::string id = fmt::format("sg{}", number), image = id + "i";
    std::string caption = fmt::format("<b>{}.</b> Lighter is louder.", isolated(title));
    caption += isolated(tracks_words(picture));
    return "<svg width=\"0\" height=\"0\" aria-hidden=\"true\" class=\"pixels\"><defs>" +
           spectrogram_image(picture, image) + "</defs></svg>\n" +
           figure(spectrogram_svg(picture, marks, PictureSize::wide, id + "w", image, title),
                  spectrogram_svg(picture, marks, PictureSize::narrow, id + "n", image, title), caption);
}

std::string order_figure(const Job& job, const TakePicture& picture, std::size_t number) {
    const std::string title = "Orders of " + named(job, picture);
    const std::string id = fmt::format("om{}", number), image = id + "i";
    const std::string caption =
        fmt::format("<b>{}.</b> Lighter is louder. {}", isolated(title), isolated(order_map_words(picture)));
    return "<svg width=\"0\" height=\"0\" aria-hidden=\"true\" class=\"pixels\"><defs>" +
           order_map_image(picture, image) + "</defs></svg>\n" +
           figure(order_map_svg(picture, PictureSize::wide, id + "w", image, title),
                  order_map_svg(picture, PictureSize::narrow, id + "n", image, title), caption);
}

/// The takes in which the engine moved most come first: there the lines part.
std::string order_figures(const OpenedJob& opened, const NoiseAnalysis& analysis) {
    std::vector<const TakePicture*> maps;
    for (const TakePicture& one : analysis.pictures)
        if (has_order_map(one)) maps.push_back(&one);
    std::stable_sort(maps.begin(), maps.end(),
                     [](const TakePicture* a, const TakePicture* b) { return a->orders->wander > b->orders->wander; });
    std::string out;
    for (std::size_t i = 0; i < std::min(kMostOrderMaps, maps.size()); ++i) out += order_figure(opened.job, *maps[i], i + 1);
    return out;
}

}  // namespace

std::string noise_pictures(const OpenedJob& opened, const NoiseAnalysis& analysis) {
    const auto figures = choose_spectra(opened.job, analysis, kMostSpectra);
    std::string out;
    for (std::size_t i = 0; i < figures.size(); ++i)
        out += spectrum_figure(opened.job, analysis, figures[i], i + 1);
    // one spectrogram a take: of the channel whose spectrum comes first; takes with the engine running first
    std::vector<const TakePicture*> flowing;
    for (const SpectrumFigure& one : figures) {
        const bool there = std::any_of(flowing.begin(), flowing.end(), [&](const TakePicture* other) {
            return other->take == one.picture->take;
        });
        if (!there && has_spectrogram(*one.picture)) flowing.push_back(one.picture);
    }
    std::stable_partition(flowing.begin(), flowing.end(), [&](const TakePicture* one) {
        const Take* take = take_of(opened.job, one->take);
        return !one->track.empty() || (take && engine_turns(take->conditions.engine));
    });
    for (std::size_t i = 0; i < std::min(kMostSpectrograms, flowing.size()); ++i)
        out += spectrogram_figure(opened.job, *flowing[i], i + 1);
    out += order_figures(opened, analysis);
    if (out.empty()) return "";
    return "<section>\n<h2>Pictures</h2>\n<p class=\"soft\">Each spectrum shows the strongest line of every "
           "strip, each line "
           "read as a tone.</p>\n" +
           out + "</section>\n";
}

namespace {

std::string floor_text(const FloorFigure& figure) {
    const auto& level = figure.dbv ? figure.dbv : figure.dbfs;
    if (!level || !std::isfinite(level->value)) return "-";
    return fmt::format("{}{:.1f} {}{}", level->limited_by == LimitedBy::length ? "~" : "", level->value,
                       figure.dbv ? "dBV" : "dBFS",
                       level->limited_by == LimitedBy::interface ? " *" : "");
}

}  // namespace

std::string noise_floor(const NoiseAnalysis& analysis) {
    if (analysis.floor.empty()) return "";
    std::string rows;
    bool limited = false, wants_length = false;
    double to_hz = 20000;
    for (const FloorReading& one : analysis.floor) {
        to_hz = std::min(to_hz, one.to_hz);
        limited = limited || one.limited_by_interface;
        for (const FloorFigure* figure : {&one.unweighted, &one.broadband, &one.a_weighted, &one.c_weighted, &one.itu468,
                                          &one.itu468_quasi_peak})
            wants_length = wants_length || floor_text(*figure).front() == '~';
        const auto& sd = one.unweighted.dbv ? one.unweighted.dbv : one.unweighted.dbfs;
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}{}{}{}{}</tr>\n", escaped(one.take),
                            cell(spaced(to_word(one.channel)), "channel"),
                            cell(sd ? floor_text(one.unweighted) : "digital silence", "unweighted"),
                            cell(floor_text(one.broadband), "without tones"),
                            cell(floor_text(one.a_weighted), "A-weighted"),
                            cell(floor_text(one.c_weighted), "C-weighted"), cell(floor_text(one.itu468), "ITU-468"),
                            cell(floor_text(one.itu468_quasi_peak), "468 quasi-peak"),
                            cell(sd ? fmt::format("±{:.2f} dB", sd->sd) : "-", "one sd"));
    }
    std::string out =
        "<section>\n<h2>Noise floor</h2>\n" +
        table({"take", "channel", "unweighted", "without tones", "A-weighted", "C-weighted", "ITU-468",
               "468 quasi-peak", "one sd"},
              rows,
              fmt::format("20 Hz to {:g} kHz; ITU-468 reads 0 dB at 1 kHz, rms unless quasi-peak is said; the sd is "
                          "of the unweighted figure",
                          to_hz / 1000));
    if (wants_length)
        out += "<p class=\"soft\">~ limited by the take's length: more than ±1 dB.</p>\n";
    if (limited)
        out += "<p class=\"soft\">* limited by the interface's own noise: the vehicle may be quieter.</p>\n";
    return out + "</section>\n";
}

}  // namespace hushtrace::page
