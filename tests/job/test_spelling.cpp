#include <catch2/catch.hpp>

#include <array>
#include <string>

#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/conditions.hpp"

using namespace hushtrace;
using namespace std::string_view_literals;

TEST_CASE("a slip of a letter or two is recognised, in words that are long enough for it", "[spelling]") {
    CHECK(nearest_word("idel", words_of<Engine>()) == "idle"sv);  // neighbours swapped
    CHECK(nearest_word("rasied", words_of<Engine>()) == "raised"sv);
    CHECK(nearest_word("Key-On", words_of<Engine>()) == "key_on"sv);
    CHECK(nearest_word("inputs_short", words_of<Hookup>()) == "inputs_shorted"sv);
    CHECK(nearest_word("battery", words_of<PoweredFrom>()) == "own_battery"sv);
    CHECK_FALSE(nearest_word("xy", words_of<Engine>()));
    CHECK_FALSE(nearest_word("", words_of<Engine>()));
    CHECK_FALSE(nearest_word("termination_2k", std::array{"termination_1k"sv, "termination_3k"sv}));  // a tie
    CHECK_FALSE(nearest_word(std::string(100000, 'a'), words_of<Engine>()));
}

TEST_CASE("a refusal lists what would have been right", "[spelling]") {
    CHECK(none_of("batery", words_of<LaptopPower>()) ==
          "'batery' is none of battery, mains, vehicle (did you mean 'battery'?)");
    CHECK(none_of("x", words_of<LaptopPower>()) == "'x' is none of battery, mains, vehicle");
}

TEST_CASE("what is quoted stays on one line and is short", "[spelling]") {
    CHECK(in_quotes("a\nb\tc\x1b[31m\x7f") == "'a?b?c?[31m?'");
    CHECK(in_quotes("K\xC3\xBChler \xF0\x9F\x9A\x97") == "'K\xC3\xBChler \xF0\x9F\x9A\x97'");
    CHECK(in_quotes("\xC3(\xA9\xFF") == "'?(\?\?'");             // RFC 3629: broken sequences
    CHECK(in_quotes("\xC0\xAF\xED\xA0\x80") == "'\?\?\?\?\?'");  // overlong slash, a surrogate
    CHECK(in_quotes("\xC2\x85\xE2\x80\xA8") == "'\?\?'");        // next line, line separator
    CHECK(in_quotes(std::string("a\0b", 3)) == "'a?b'");
    CHECK(in_quotes(std::string(41, 'x')) == "'" + std::string(40, 'x') + "...'");
    CHECK(in_quotes(std::string(40, 'x')) == "'" + std::string(40, 'x') + "'");
}
