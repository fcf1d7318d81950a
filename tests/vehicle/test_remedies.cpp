#include "hushtrace/vehicle/remedies.hpp"

#include <catch2/catch.hpp>

using namespace hushtrace;

TEST_CASE("a note names a remedy where it begins with its words, and nowhere else", "[remedies]") {
    for (const RemedyWords& one : remedy_words()) {
        REQUIRE(remedy_named(one.words));
        CHECK(remedy_named(one.words)->remedy.words == one.words);
    }
    CHECK(remedy_named("Ground remade, new ring terminal")->remedy.words == "ground remade");
    CHECK(remedy_named("  lead rerouted")->remedy.like == EntryTest::temporary_lead);
    CHECK_FALSE(remedy_named("ground"));
    CHECK_FALSE(remedy_named("the ground remade"));
    CHECK_FALSE(remedy_named("ground remadeish"));
    CHECK_FALSE(remedy_named(""));
    CHECK_FALSE(remedy_named("   "));
}

TEST_CASE("a rerouted lead's note may say how far it lies away", "[remedies]") {
    CHECK(remedy_named("lead rerouted 0.3 m")->separation_m == Approx(0.3));
    CHECK(remedy_named("lead rerouted: 30 cm, under the sill")->separation_m == Approx(0.3));
    CHECK(remedy_named("lead rerouted 0,25m")->separation_m == Approx(0.25));
    CHECK_FALSE(remedy_named("lead rerouted")->separation_m);
    CHECK_FALSE(remedy_named("lead rerouted 30")->separation_m);
    CHECK_FALSE(remedy_named("lead rerouted 30 mm")->separation_m);
    CHECK_FALSE(remedy_named("lead rerouted 400 m")->separation_m);
    CHECK_FALSE(remedy_named("ground remade 0.3 m")->separation_m);
}
