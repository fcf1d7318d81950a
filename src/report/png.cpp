#include "hushtrace/report/png.hpp"

#include <png.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {

std::vector<std::uint8_t> encode_png(const IndexedImage& image) {
    const bool sized =
        image.width > 0 && image.height > 0 && image.pixels.size() == image.width * image.height;
    const bool coloured = !image.palette.empty() && image.palette.size() <= 256 &&
                          std::all_of(image.pixels.begin(), image.pixels.end(),
                                      [&](std::uint8_t index) { return index < image.palette.size(); });
    if (!sized || !coloured || image.width > 16384 || image.height > 16384)
        throw Error(ErrorKind::invalid_input, "picture: its pixels don't match its size or its colours");

    png_image head = {};
    head.version = PNG_IMAGE_VERSION;
    head.width = static_cast<png_uint_32>(image.width);
    head.height = static_cast<png_uint_32>(image.height);
    head.format = PNG_FORMAT_RGB_COLORMAP;
    head.colormap_entries = static_cast<png_uint_32>(image.palette.size());
    png_alloc_size_t size = 0;
    std::vector<std::uint8_t> bytes;
    // first pass asks for the size, second writes
    bool written =
        png_image_write_to_memory(&head, nullptr, &size, 0, image.pixels.data(), 0, image.palette.data());
    if (written) {
        bytes.resize(size);
        written = png_image_write_to_memory(&head, bytes.data(), &size, 0, image.pixels.data(), 0,
                                            image.palette.data());
        bytes.resize(size);
    }
    const std::string reason = head.message;
    png_image_free(&head);
    if (!written) throw Error(ErrorKind::invalid_input, "picture: can't be encoded: " + reason);
    return bytes;
}

std::string base64(const std::vector<std::uint8_t>& bytes) {
    static constexpr char kLetters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text;
    text.reserve((bytes.size() + 2) / 3 * 4);
    for (std::size_t at = 0; at < bytes.size(); at += 3) {
        const std::size_t count = std::min<std::size_t>(3, bytes.size() - at);
        std::uint32_t group = 0;
        for (std::size_t i = 0; i < 3; ++i) group = (group << 8) | (i < count ? bytes[at + i] : 0U);
        for (std::size_t i = 0; i < 4; ++i)
            text += i <= count ? kLetters[(group >> (18 - 6 * i)) & 63U] : '=';
    }
    return text;
}

const std::vector<std::array<std::uint8_t, 3>>& level_palette() {
    static const auto palette = [] {
        // ink, petrol, sea, straw, paper: the page's own colours
        constexpr std::array<std::array<double, 3>, 5> stops = {
            {{17, 23, 33}, {27, 66, 92}, {57, 124, 120}, {201, 172, 98}, {254, 246, 221}}};
        std::vector<std::array<std::uint8_t, 3>> colours(256);
        for (std::size_t i = 0; i < colours.size(); ++i) {
            const double place = static_cast<double>(i) / 255.0 * (stops.size() - 1);
            const std::size_t stop = std::min(static_cast<std::size_t>(place), stops.size() - 2);
            const double share = place - static_cast<double>(stop);
            for (std::size_t c = 0; c < 3; ++c)
                colours[i][c] = static_cast<std::uint8_t>(
                    std::lround(stops[stop][c] + share * (stops[stop + 1][c] - stops[stop][c])));
        }
        return colours;
    }();
    return palette;
}

}  // namespace hushtrace
