#include "hushtrace/report/png.hpp"

#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

TEST_CASE("base64 gives the answers of RFC 4648, section 10", "[png]") {
    const auto of = [](const std::string& text) { return base64({text.begin(), text.end()}); };
    CHECK(of("") == "");
    CHECK(of("f") == "Zg==");
    CHECK(of("fo") == "Zm8=");
    CHECK(of("foo") == "Zm9v");
    CHECK(of("foob") == "Zm9vYg==");
    CHECK(of("fooba") == "Zm9vYmE=");
    CHECK(of("foobar") == "Zm9vYmFy");
}

TEST_CASE("a picture becomes a PNG of its size", "[png]") {
    IndexedImage image{3, 2, level_palette(), {0, 50, 100, 150, 200, 255}};
    const std::vector<std::uint8_t> bytes = encode_png(image);
    // PNG 1.2 section 5.2: signature, IHDR with width and height as big-endian 32 bits
    const std::vector<std::uint8_t> begin = {0x89, 'P', 'N', 'G', 0x0D, 0x0A, 0x1A, 0x0A, 0, 0, 0, 13,
                                             'I',  'H', 'D', 'R', 0,    0,    0,    3,    0, 0, 0, 2};
    REQUIRE(bytes.size() > begin.size());
    CHECK(std::vector<std::uint8_t>(bytes.begin(), bytes.begin() + 24) == begin);
    CHECK(bytes[25] == 3);  // colour type: palette
}

TEST_CASE("a picture whose pixels don't match is refused", "[png]") {
    CHECK_THROWS_AS(encode_png({3, 2, level_palette(), {0, 1, 2}}), Error);
    CHECK_THROWS_AS(encode_png({1, 1, {{0, 0, 0}}, {1}}), Error);
    CHECK_THROWS_AS(encode_png({0, 0, level_palette(), {}}), Error);
}

TEST_CASE("the palette grows lighter all the way", "[png]") {
    // Rec. 709 luma weights on the stored values: an order is all that is asked of them
    double before = -1;
    for (const auto& colour : level_palette()) {
        const double luma = 0.2126 * colour[0] + 0.7152 * colour[1] + 0.0722 * colour[2];
        CHECK(luma >= before);
        before = luma;
    }
    CHECK(level_palette().size() == 256);
    CHECK(before > 240);
}
