#include <catch2/catch.hpp>

#include "hushtrace/job/percent_text.hpp"

using namespace hushtrace;

TEST_CASE("percent has two figures, and never an exponent", "[percent]") {
    CHECK(percent_text(1.26) == "1.3 %");
    CHECK(percent_text(12.4) == "12 %");
    CHECK(percent_text(99.4) == "99 %");
    CHECK(percent_text(99.6) == "100 %");
    CHECK(percent_text(173.0) == "173 %");
    CHECK(percent_text(12345.0) == "12345 %");
    CHECK(percent_text(0.00012) == "0.00012 %");
    CHECK(percent_text(0.00002) == "under 0.0001 %");
    CHECK(percent_text(0.0) == "0 %");
}
