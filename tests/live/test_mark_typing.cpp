#include <catch2/catch.hpp>

#include <string_view>

#include "hushtrace/live/mark_typing.hpp"

using hushtrace::MarkTyping;

namespace {
void type(MarkTyping& typing, std::string_view keys, double from_s, double between_s = 0.1) {
    for (std::size_t i = 0; i < keys.size(); ++i)
        typing.key(keys[i], from_s + between_s * static_cast<double>(i));
}
}  // namespace

TEST_CASE("a typed word marks the moment of its first letter", "[marks]") {
    MarkTyping typing;
    type(typing, "bump\n", 4.2);
    type(typing, " lights on \r", 9.0);
    const auto marks = typing.take();
    REQUIRE(marks.size() == 2);
    CHECK(marks[0].text == "bump");
    CHECK(marks[0].time_s == Approx(4.2));
    CHECK(marks[1].text == "lights on");
    CHECK(marks[1].time_s == Approx(9.0));
    CHECK(typing.take().empty());
}

TEST_CASE("Enter alone marks its own moment", "[marks]") {
    MarkTyping typing;
    typing.key('\n', 1.5);
    const auto marks = typing.take();
    REQUIRE(marks.size() == 1);
    CHECK(marks[0].text == "mark");
    CHECK(marks[0].time_s == Approx(1.5));
}

TEST_CASE("a letter is erased whole, control keys are no text, long text is cut", "[marks]") {
    MarkTyping typing;
    type(typing, "b\xC3\xBC\x7Fump\x01\x1B\n", 0);  // b, u with two dots in two bytes, erased, ump
    type(typing, std::string(500, 'x') + "\n", 1);
    const auto marks = typing.take();
    REQUIRE(marks.size() == 2);
    CHECK(marks[0].text == "bump");
    CHECK(marks[1].text.size() == MarkTyping::longest_text);
}

TEST_CASE("what is typed when the capture ends becomes a mark, nothing does not", "[marks]") {
    MarkTyping typing;
    typing.finish();
    CHECK(typing.take().empty());
    type(typing, "horn", 2.0);
    typing.finish();
    const auto marks = typing.take();
    REQUIRE(marks.size() == 1);
    CHECK(marks[0].text == "horn");
    CHECK(marks[0].time_s == Approx(2.0));
}
