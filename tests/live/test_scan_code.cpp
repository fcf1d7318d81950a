#include <catch2/catch.hpp>
#include <string>
#include <string_view>

#include "hushtrace/live/address_screen.hpp"
#include "hushtrace/live/scan_code.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

const std::string address = "http://192.168.100.200:54321/ABCDEFGHIJKLMNOPQRSTUVWXYZ";

/// A finder pattern's centre row, from the corner: dark, light, three dark, light, dark (ISO/IEC 18004, 6.3.3).
bool finder_at(const ScanCode& code, std::size_t row, std::size_t column) {
    constexpr bool pattern[7] = {true, false, true, true, true, false, true};
    for (std::size_t i = 0; i < 7; ++i)
        if (code.dark[(row + 3) * code.side + column + i] != pattern[i] || code.dark[(row + i) * code.side + column + 3] != pattern[i]) return false;
    return true;
}

std::size_t columns(std::string_view utf8) {
    std::size_t count = 0;
    for (const char c : utf8) count += (static_cast<unsigned char>(c) & 0xC0U) != 0x80U ? 1 : 0;
    return count;
}

}  // namespace

TEST_CASE("the longest address fits a code that a terminal of 80 by 24 shows", "[live]") {
    const ScanCode code = scan_code(address);
    CHECK(code.side == 29);  // version 3: 44 bytes at level M, two letters of the small set in 11 bits (ISO/IEC 18004, table 7)
    CHECK(code.dark.size() == code.side * code.side);
    CHECK(finder_at(code, 0, 0));
    CHECK(finder_at(code, 0, code.side - 7));
    CHECK(finder_at(code, code.side - 7, 0));
    const auto lines = draw_scan_code(code, CodeStyle::half_blocks);
    CHECK(lines.size() == 19);
    for (const auto& line : lines) CHECK(columns(line) == 37);
    CHECK(lines.size() < 24);
}

TEST_CASE("both drawings show the same fields, with the light border around", "[live]") {
    const ScanCode code = scan_code(address);
    const auto blocks = draw_scan_code(code, CodeStyle::half_blocks), letters = draw_scan_code(code, CodeStyle::ascii);
    REQUIRE(letters.size() == code.side + 8);
    for (std::size_t row = 0; row < letters.size(); ++row) {
        std::string_view rest = blocks[row / 2];
        for (std::size_t column = 0; column < letters.size(); ++column) {
            const std::string_view sign = rest.substr(0, rest.front() == ' ' ? 1 : 3);
            rest.remove_prefix(sign.size());
            const bool dark = sign == "\u2588" || sign == (row % 2 == 0 ? "\u2580" : "\u2584");
            CHECK((letters[row].substr(2 * column, 2) == "##") == dark);
            const bool inside = row >= 4 && column >= 4 && row < code.side + 4 && column < code.side + 4;
            CHECK(dark == (inside && code.dark[(row - 4) * code.side + column - 4]));
        }
        CHECK((row % 2 == 0 || rest.empty()));
    }
}

TEST_CASE("coloured lines set black on white and set it back", "[live]") {
    for (const auto& line : draw_scan_code(scan_code(address), CodeStyle::coloured)) {
        CHECK(line.substr(0, 2) == "\x1b[");
        CHECK(line.substr(line.size() - 4) == "\x1b[0m");
    }
}

TEST_CASE("a screen shows the code where it has room, the address in any case", "[live]") {
    const ScreenGrid grid = address_screen(address, 24, 80, true);
    const auto lines = draw_scan_code(scan_code(address), CodeStyle::half_blocks);
    for (int row = 4; row < 12; ++row) {
        std::string shown = grid.line(row), drawn = lines[static_cast<std::size_t>(row)];
        drawn.erase(drawn.find_last_not_of(' ') + 1);
        CHECK(shown.substr(shown.find_first_not_of(' ')) == drawn.substr(drawn.find_first_not_of(' ')));
    }
    CHECK(grid.at(0, 40).tint == Tint::neutral);  // the light border
    CHECK(grid.line(19) == address);
    CHECK(grid.line(20).find("back") != std::string::npos);
    CHECK(address_screen(address, 18, 80, true).line(0) == address);
    CHECK(address_screen(address, 5, 40, true).line(1) == address.substr(40));
    for (int size = 1; size < 60; ++size) {
        CHECK(address_screen(address, size, 200 / size, size % 2 == 0).rows() == size);
        CHECK(address_screen(address, 200 / size, size, size % 2 == 0).columns() == size);
    }
}

TEST_CASE("nothing, and too much, is refused", "[live]") {
    CHECK_THROWS_AS(scan_code(""), Error);
    CHECK_THROWS_AS(scan_code(std::string("a\0b", 3)), Error);
    CHECK_THROWS_AS(scan_code(std::string(5000, 'A')), Error);
}
