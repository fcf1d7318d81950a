#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/png.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "level_key.hpp"
#include "svg.hpp"
#include "tracks.hpp"

namespace hushtrace {
namespace {

constexpr double kFrom_hz = 20.0;
constexpr std::size_t kRows = 300, kMostColumns = 600;

double top_hz(const TakePicture& picture) {
    std::size_t bins = 0;
    for (const auto& column : picture.spectrogram_dbfs) bins = std::max(bins, column.size());
    return std::clamp(static_cast<double>(bins - 1) * picture.spectrogram_bin_hz, 100.0, 20000.0);
}

double duration_s(const TakePicture& picture) {
    return picture.column_s * static_cast<double>(picture.spectrogram_dbfs.size());
}

/// The level that stands in a row of a column: the strongest bin of the row's band, or between two bins the
/// mix.
double row_level(const std::vector<float>& column, double from_bin, double to_bin) {
    const double last = static_cast<double>(column.size() - 1);
    const auto first = static_cast<std::size_t>(std::ceil(std::min(from_bin, last)));
    const auto stop = static_cast<std::size_t>(std::floor(std::min(to_bin, last)));
    if (first <= stop)
        return static_cast<double>(*std::max_element(column.begin() + static_cast<long>(first),
                                                     column.begin() + static_cast<long>(stop) + 1));
    const auto left = static_cast<std::size_t>(std::floor(std::min(from_bin, last)));
    const std::size_t right = std::min(left + 1, column.size() - 1);
    const double share = std::min(from_bin, last) - static_cast<double>(left);
    return static_cast<double>(column[left]) * (1 - share) + static_cast<double>(column[right]) * share;
}

IndexedImage pixels_of(const TakePicture& picture) {
    const auto& columns = picture.spectrogram_dbfs;
    IndexedImage image;
    image.width = std::min(columns.size(), kMostColumns);
    image.height = kRows;
    image.palette = level_palette();
    image.pixels.assign(image.width * image.height, 0);
    const auto [low, high] = level_span_dbfs(picture.spectrogram_dbfs);
    const double ratio = top_hz(picture) / kFrom_hz;
    const auto edge_bin = [&](std::size_t row_from_top) {
        return kFrom_hz * std::pow(ratio, 1.0 - static_cast<double>(row_from_top) / kRows) /
               picture.spectrogram_bin_hz;
    };
    for (std::size_t i = 0; i < image.width; ++i) {
        const std::size_t first = i * columns.size() / image.width;
        const std::size_t stop = std::max(first + 1, (i + 1) * columns.size() / image.width);
        for (std::size_t row = 0; row < kRows; ++row) {
            double level = -200.0;
            for (std::size_t c = first; c < stop; ++c)
                if (!columns[c].empty())
                    level = std::max(level, row_level(columns[c], edge_bin(row + 1), edge_bin(row)));
            const double share =
                std::isfinite(level) ? std::clamp((level - low) / (high - low), 0.0, 1.0) : 0.0;
            image.pixels[row * image.width + i] = static_cast<std::uint8_t>(std::lround(share * 255.0));
        }
    }
    return image;
}

}  // namespace

bool has_spectrogram(const TakePicture& picture) {
    if (picture.spectrogram_dbfs.size() < 2 || picture.column_s <= 0 || picture.spectrogram_bin_hz <= 0)
        return false;
    return std::any_of(
        picture.spectrogram_dbfs.begin(), picture.spectrogram_dbfs.end(), [](const auto& column) {
            return column.size() >= 2 &&
                   std::any_of(column.begin(), column.end(), [](float level) { return is_sound(level); });
        });
}

std::string spectrogram_image(const TakePicture& picture, const std::string& image_id) {
    return fmt::format(
        "<image id=\"{}\" width=\"1\" height=\"1\" preserveAspectRatio=\"none\" "
        "href=\"data:image/png;base64,{}\"/>\n",
        image_id, base64(encode_png(pixels_of(picture))));
}

std::string spectrogram_svg(const TakePicture& picture, const std::vector<Mark>& marks, PictureSize size,
                            const std::string& id, const std::string& image_id, const std::string& title) {
    const bool wide = size == PictureSize::wide;
    const double font = wide ? 13 : 12;
    const Scale x{0, duration_s(picture), wide ? 62.0 : 50.0, wide ? 826.0 : 312.0, false};
    std::vector<LabelRequest> requests;
    requests.reserve(marks.size());
    for (const Mark& one : marks)
        requests.push_back({x.at(one.time_s), text_width_px(display_width(clean_text(one.text)), font) + 5});
    const std::vector<LabelPlace> places = place_labels(requests, x.px_from, x.px_to, 3, 3);
    double lanes = 26;  // the unit of the levels stands there
    for (const LabelPlace& one : places)
        lanes = std::max(lanes, 10 + 18.0 * static_cast<double>(one.row + 1));
    const svg::Frame frame = wide
                                 ? svg::Frame{900, 320 + lanes, x.px_from, x.px_to, lanes, 274 + lanes, font}
                                 : svg::Frame{372, 260 + lanes, x.px_from, x.px_to, lanes, 214 + lanes, font};
    const double length_s = duration_s(picture);
    const Scale y{kFrom_hz, top_hz(picture), frame.bottom, frame.top, true};
    std::string out = svg::open(
        frame, id, title,
        fmt::format("Frequency against time over {} s; lighter is louder.{}", figures_text(length_s, 3),
                    tracks_words(picture)));
    out += fmt::format("<use href=\"#{}\" transform=\"translate({:.1f} {:.1f}) scale({:.1f} {:.1f})\"/>\n",
                       image_id, frame.left, frame.top, frame.right - frame.left, frame.bottom - frame.top);
    out += svg::x_axis(
        {frame.width, frame.height, frame.left, frame.right, frame.bottom, frame.bottom, frame.font}, x,
        even_ticks(0, length_s, wide ? 11 : 6), "time, s");
    out += svg::y_axis(
        {frame.width, frame.height, frame.left, frame.left, frame.top, frame.bottom, frame.font}, y,
        thinned(frequency_ticks(kFrom_hz, top_hz(picture)), y, 1.5 * frame.font), "frequency, Hz");
    out += level_key(frame, picture.spectrogram_dbfs, picture.volts_full_scale);

    out += tracks_svg(picture, frame, x, y);
    for (const Mark& one : marks)
        out += svg::line(x.at(one.time_s), frame.top, x.at(one.time_s), frame.bottom, "moment");
    for (const LabelPlace& place : places) {
        const double anchor = requests[place.request].anchor_px;
        const double base = frame.top - 6 - 18.0 * static_cast<double>(place.row);
        out += svg::line(anchor, base - 11, anchor, frame.top, "leader");
        out += svg::text(place.reads_right ? anchor + 4 : anchor - 4, base,
                         place.reads_right ? "start" : "end", marks[place.request].text, "label");
    }
    return out + "\n" + svg::close();
}

}  // namespace hushtrace
