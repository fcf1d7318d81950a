#pragma once
#include "../../src/diagnose/entry/entry_model.hpp"

/// What a test of where noise gets in came to, for the tests of what it means.
namespace hushtrace::entry_outcomes {

/// The noise's change [dB; of a meter's reading the logarithm] and its standard uncertainty.
inline EntryOutcome read(EntryTest test, double change, double sd = 2) {
    EntryOutcome out;
    out.test = test;
    out.change = change;
    out.sd = sd;
    return out;
}
/// Nothing is left of it: it fell by so much at the least. `missed`: share of such findings that a search misses.
inline EntryOutcome bounded(EntryTest test, double change, double sd = 2, double missed = 0) {
    EntryOutcome out = read(test, change, sd);
    out.at_most = true;
    out.missed = missed;
    return out;
}
inline EntryOutcome heard(EntryTest test, const char* word) {
    EntryOutcome out = read(test, 0);
    out.heard = word;
    return out;
}

}  // namespace hushtrace::entry_outcomes
