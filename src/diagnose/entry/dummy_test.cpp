#include "dummy_test.hpp"

#include <fmt/format.h>

#include <array>

#include "entry_words.hpp"

namespace hushtrace {
namespace {

enum class Shown { nothing, stays, falls, gone };

constexpr double kStays_db = -6.0, kGone_db = -15.0;   // common practice, no source

Shown shown_by(const EntryOutcome& outcome) {
    if (outcome.heard) return *outcome.heard == "gone" ? Shown::gone : *outcome.heard == "quieter" ? Shown::falls : Shown::stays;
    if (outcome.change <= kGone_db) return Shown::gone;
    return outcome.at_most ? Shown::nothing : outcome.change < kStays_db ? Shown::falls : Shown::stays;   // a bound that is too high tells nothing
}

struct Step {
    EntryTest test;
    const char* stays;
    const char* gone;
};
constexpr std::array<Step, 4> kSteps = {{
    {EntryTest::shorted_at_amp,
     "The amplifier, its supply or the speaker side makes it: the lead and the source are not at fault. A test speaker straight at the amplifier "
     "tells these apart.",
     "Not the amplifier and not the speaker side. The dummy judges only what lies behind it, so nothing of it can be read at the input."},
    {EntryTest::lead_on_dummy_at_amp,
     "Current in the lead's shield gets into the signal inside the amplifier's input: a fault of that input's ground. Repair or change the "
     "amplifier, or break the current.",
     "The amplifier's input lets no shield current in."},
    {EntryTest::dummy_floating, "The lead itself picks it up: 1 kOhm and 10 kOhm in place of the short tell a magnetic field from a capacitive one.",
     "Not a field into the lead. Pulling the plug silences a ground loop too, so this step alone convicts nobody."},
    {EntryTest::shorted_at_source,
     "Current through the lead's shield makes it: a ground loop, a field into that loop, or the antenna's ground. A lead across the seats, a strap "
     "and the antenna tell them apart.",
     "It comes out of the source: its supply, its own works or its burnt shell link. A fused link from the lead's shell to the source's case tells "
     "the link from the rest."},
}};

const EntryOutcome* made(const EntryEvidence& evidence, EntryTest test) {
    for (const EntryOutcome& one : evidence.outcomes)
        if (one.test == test && one.also.empty()) return &one;
    return nullptr;
}

}  // namespace

DummyTest dummy_test_of(const NoiseSource& source, const EntryEvidence& evidence, const Job& job) {
    DummyTest test;
    test.source_id = source.id;
    bool settled = false, next_told = false;
    for (std::size_t i = 0; i < kSteps.size(); ++i) {
        const Step& step = kSteps[i];
        DummyTest::Step out;
        out.number = i + 1;
        out.name = facts_of(step.test).name;
        out.hands = facts_of(step.test).hands;
        const EntryOutcome* outcome = made(evidence, step.test);
        const Shown shown = outcome ? shown_by(*outcome) : Shown::nothing;
        if (shown != Shown::nothing) {
            test.begun = true;
            out.state = "made";
            out.showed = said(*outcome, job).text;
            out.means = shown == Shown::gone ? step.gone : shown == Shown::stays ? step.stays
                        : fmt::format("A part stays: two ways at once. Of what stays: {} Of what went: {}", step.stays, step.gone);
            // what lies at the input as well isn't settled by what stays behind it
            const bool behind = i < 2 && evidence.question.at_the_input;
            if (shown == Shown::stays && !settled && !behind) {
                settled = true;
                test.verdict = step.stays;
            } else if (shown == Shown::gone && i + 1 == kSteps.size() && !settled) {
                test.verdict = step.gone;
            }
        } else if (settled) {
            out.state = "not_needed";
        } else {
            out.state = next_told ? "later" : "next";
            next_told = true;
        }
        test.steps.push_back(std::move(out));
    }
    return test;
}

}  // namespace hushtrace
