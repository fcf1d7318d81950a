#include "hushtrace/job/shown_text.hpp"

#include <cstdio>
#include <string>
#include <string_view>
#include <vector>

#include <catch2/catch.hpp>

#include "hushtrace/job/shell_word.hpp"

using namespace hushtrace;

TEST_CASE("code points at both ends of each length of UTF-8 are read, with their bytes", "[text]") {
    // RFC 3629, section 3: the ranges of one to four octets
    struct Row {
        std::string_view bytes;
        char32_t value;
    };
    for (const Row& row : {Row{"\x7F", 0x7F}, Row{"\xC2\x80", 0x80}, Row{"\xDF\xBF", 0x7FF}, Row{"\xE0\xA0\x80", 0x800},
                           Row{"\xEF\xBF\xBF", 0xFFFF}, Row{"\xED\x9F\xBF", 0xD7FF}, Row{"\xEE\x80\x80", 0xE000},
                           Row{"\xF0\x90\x80\x80", 0x10000}, Row{"\xF4\x8F\xBF\xBF", 0x10FFFF}}) {
        const std::string text = "a" + std::string(row.bytes);
        const CodePoint point = code_point_at(text, 1);
        CAPTURE(static_cast<unsigned>(row.value));
        CHECK(point.valid);
        CHECK(point.value == row.value);
        CHECK(point.bytes == row.bytes.size());
    }
}

TEST_CASE("what RFC 3629 forbids is handed back byte by byte, and shown as a replacement", "[text]") {
    // section 4: overlong forms, surrogates, beyond U+10FFFF, FE and FF; section 3: a lone or missing continuation
    for (const std::string_view bytes : {"\xC0\xAF", "\xC1\xBF", "\xE0\x9F\xBF", "\xF0\x8F\xBF\xBF", "\xED\xA0\x80", "\xED\xBF\xBF",
                                         "\xF4\x90\x80\x80",
                                         "\xF8\x88\x80\x80\x80", "\xFE", "\xFF", "\x80", "\xBF", "\xC2", "\xE2\x82", "\xF0\x9F\x98",
                                         "\xC2\x41", "\xE2\x28\xA1"}) {
        const CodePoint point = code_point_at(bytes, 0);
        CHECK_FALSE(point.valid);
        CHECK(point.bytes == 1);
        CHECK(clean_text(bytes).starts_with("\xEF\xBF\xBD"));
    }
    CHECK(clean_text("\xC2\x41") == "\xEF\xBF\xBD" "A");   // the letter behind a broken start is not swallowed
}

TEST_CASE("nothing that moves a terminal's cursor or turns the reading direction is left in foreign text", "[text]") {
    CHECK(clean_text("a\x1B[2Jb") == "a [2Jb");
    CHECK(clean_text("one\ttwo\r\nthree\x7F") == "one two  three ");
    CHECK(clean_text("\xC2\x9B") == " ");               // U+009B, the control sequence introducer in one code point (ECMA-48, 8.3.16)
    CHECK(clean_text("\xC2\xA0") == "\xC2\xA0");        // U+00A0 is a letter's width of nothing, and stays
    CHECK(clean_text("\xE2\x80\xAE" "exe") == " exe");  // U+202E, right-to-left override (Unicode annex 9)
    CHECK(clean_text("\xE2\x80\xAA|\xE2\x81\xA6|\xE2\x81\xA9|") == " | | |");
    CHECK(clean_text("\xE2\x80\xAF\xE2\x81\xA5\xE2\x81\xAA") == "\xE2\x80\xAF\xE2\x81\xA5\xE2\x81\xAA");   // their neighbours
    CHECK(clean_text("Gru\xCC\x88n ~ \xE6\xBC\xA2") == "Gru\xCC\x88n ~ \xE6\xBC\xA2");
}

TEST_CASE("a terminal gives wide letters two columns and marks none", "[text]") {
    // Unicode, EastAsianWidth.txt: U+6F22 and U+FF21 are W and F, U+AC00 W, U+00FC and U+FF61 (halfwidth) not; U+0308 combines
    CHECK(display_width(U'\u6F22') == 2);
    CHECK(display_width(U'\uAC00') == 2);
    CHECK(display_width(U'\uFF21') == 2);
    CHECK(display_width(U'\uFF61') == 1);
    CHECK(display_width(U'\u00FC') == 1);
    CHECK(display_width(U'\u0308') == 0);
    CHECK(display_width("Gru\xCC\x88n") == 4);
    CHECK(display_width("\xE6\xBC\xA2\xE5\xAD\x97!") == 5);
    CHECK(display_width("\xFF\xFF") == 2);
}

TEST_CASE("text is broken between words, long words inside, by columns and not by bytes", "[text]") {
    using Lines = std::vector<std::string>;
    CHECK(wrap_text("one two three", 7) == Lines{"one two", "three"});
    CHECK(wrap_text("one two three", 6) == Lines{"one", "two", "three"});
    CHECK(wrap_text("  one \n two  ", 20) == Lines{"one two"});
    CHECK(wrap_text("abcdefgh ij", 3) == Lines{"abc", "def", "gh", "ij"});
    CHECK(wrap_text("x abcdef", 3) == Lines{"x", "abc", "def"});   // a word that must be broken begins a line
    CHECK(wrap_text("\xE6\xBC\xA2\xE5\xAD\x97\xE6\xBC\xA2", 4) == Lines{"\xE6\xBC\xA2\xE5\xAD\x97", "\xE6\xBC\xA2"});
    CHECK(wrap_text("u\xCC\x88u\xCC\x88 u", 4) == Lines{"u\xCC\x88u\xCC\x88 u"});
    CHECK(wrap_text(" \n ", 10).empty());
    CHECK(spaced("shorted_at_amp") == "shorted at amp");
}

#ifndef _WIN32   // there: tests/job/windows/test_shell_word.cpp
TEST_CASE("a shell reads the word that was written for it", "[text]") {
    // the judge is the shell
    for (const std::string text : {"takes/idle.flac", "a b", "it's", "$HOME `id` \"x\" \\", "", "*", "a;b", "--job=x", "~",
                                    "f\xC3\xBCr", "a\nb", "#1", "50%"}) {
        const std::string command = "printf '%s' " + shell_word(text);
        std::FILE* const shell = ::popen(command.c_str(), "r");
        REQUIRE(shell != nullptr);
        std::string read(200, '\0');
        read.resize(std::fread(read.data(), 1, read.size(), shell));
        CHECK(::pclose(shell) == 0);
        CHECK(read == text);
    }
    CHECK(shell_word("takes/idle-2.flac") == "takes/idle-2.flac");   // nothing is quoted without need
}
#endif
