#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace hushtrace {

/// A picture of up to 256 colours.
struct IndexedImage {
    std::size_t width = 0, height = 0;
    std::vector<std::array<std::uint8_t, 3>> palette;  ///< [1..256] red, green, blue
    std::vector<std::uint8_t> pixels;                  ///< [height * width], rows from the top
};

/// The picture as a PNG file's bytes (libpng).
///   throws Error invalid_input: no pixels, a size that isn't width * height, an index beyond the palette
std::vector<std::uint8_t> encode_png(const IndexedImage& image);

/// RFC 4648 section 4.
std::string base64(const std::vector<std::uint8_t>& bytes);

/// 256 colours from dark to light for levels from low to high. Lightness rises all the way, so the order is
/// kept for colour-blind eyes and in a grey print.
const std::vector<std::array<std::uint8_t, 3>>& level_palette();

}  // namespace hushtrace
