#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/signal/conditions.hpp"
#include "hushtrace/vehicle/entry_tables.hpp"

/// Which test lies between two takes' conditions.
namespace hushtrace {

/// The tests that lie between two takes' conditions, in order: the second made with all of them, the first with none. Empty where they are alike,
/// where they differ in what is no test, or the other way round.
std::vector<EntryTest> tests_between(const Conditions& plain, const Conditions& tested, bool follows_engine);
/// The hookup that makes a test, and the test that a hookup makes.
std::optional<EntryTest> test_of(Hookup hookup);

/// The test that a list of hookups adds to another; nothing where it adds none or two, or takes one away.
std::optional<EntryTest> hookup_test(const Conditions& plain, const Conditions& tested);
/// Hookups without "normal", which says nothing beside others, in order.
std::vector<Hookup> hookups_of(const Conditions& conditions);
/// The same engine state, and where both speeds are stated, within 15 %.
bool same_speed(const Conditions& a, const Conditions& b);
std::vector<std::string> sorted(std::vector<std::string> words);

}  // namespace hushtrace
