#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/evidence.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/signal/conditions.hpp"

/// What the analysis says of where noise gets in, and what would change it, as plain data.
namespace hushtrace {

struct EntryPath {
    std::string source_id;
    std::vector<std::string> paths;
    std::optional<std::string> mechanism;
    double probability = 0;
    std::vector<Evidence> evidence_for, evidence_against;
};
/// The test that tells most of where a noise source gets in, for its labour.
struct NextTest {
    struct Branch {
        double chance = 0;                         ///< of this outcome, as things stand
        std::string text;                          ///< "gone (45 %): then a ground loop leads, 62 %"
    };
    std::string source_id, name, hands, why;       ///< hands: what to do
    std::string field, value;                      ///< the condition that makes the test, as in job.json: "hookup", "dummy_floating"
    bool observation = false;                      ///< read with a meter or the ear: `value` is what to observe
    Engine engine = Engine::idle;                  ///< in which it is made
    std::optional<double> rpm;
    std::vector<Branch> outcomes;                  ///< likeliest first
    double bits = 0, minutes = 0;
};
/// A test that was made of one noise source, and what it did to the probabilities: the tests stand in the order in which they were made.
struct TestMade {
    struct Way {
        std::string name;                          ///< for people: "a ground loop"
        double before = 0, after = 0;              ///< probability of the sets that hold this way
    };
    std::string source_id, name;                   ///< name: "an isolating transformer in the lead"
    Evidence outcome;
    std::vector<Way> ways;                         ///< those that mattered before or after, likeliest first
    std::vector<std::string> ruled_out;            ///< names of ways that fell below 2 % by it
};
/// The four-step dummy test, as a guided procedure.
struct DummyTest {
    struct Step {
        std::size_t number = 1;
        std::string name, hands;                   ///< hands: what to do
        std::string state;                         ///< "made" "next" "later" "not_needed"
        std::string showed, means;                 ///< of one that was made
    };
    std::string source_id;
    std::vector<Step> steps;
    std::string verdict;                           ///< empty while a step is open
    bool begun = false;                            ///< one of its steps was made
    bool asked = false;                            ///< to be told though it wasn't begun
};
/// What the supply's ripple tells of a noise source's way in: signal over supply at the source's lines.
struct SupplyTransfer {
    struct Point {
        double frequency_hz = 0;
        Reading ratio_db;                          ///< dB re 1 V/V against the voltage, re 1 V/A against the current; sd without the scales'
        double coherence = 0;                      ///< 0..1
    };
    std::string source_id, take;
    Channel channel = Channel::left;               ///< of the signal
    Channel against = Channel::supply;             ///< or supply_current
    bool calibrated = true;                        ///< else the ratios are those of sample values: their slope holds
    std::vector<Point> points;                     ///< ascending
    std::optional<Reading> slope_db_per_decade;    ///< sd such that 2 sd hold 95 %, for the few points that there are
    double decades = 0;                            ///< from the first to the last point
    std::optional<Reading> shared_mohm;            ///< |V/I| where the current is known and the slope is flat
    std::optional<double> shared_at_hz;            ///< in the middle of which frequencies
    std::optional<std::string> twin;               ///< the take without the probe that it was held against; unset: none was made, or the source can't be read in it
    bool spoilt = false;                           ///< the probe itself changes the picture, as its twin take shows
    std::string text;                              ///< one or two sentences
};
/// The feed's impedance, from its voltage and current together.
struct FeedImpedance {
    std::string take;
    Reading resistance_ohm, inductance_h, corner_hz;   ///< corner: where the two are alike
    std::optional<Reading> capacitance_f;          ///< of the capacitors at the feed's end, in series, where the lines show it
    double from_hz = 0, to_hz = 0;                 ///< the lines that it was read at
    std::string text;
};
/// What people ask before they buy: would this cure it?
struct Cure {
    std::string source_id, what, name;             ///< what: "isolator" "supply_filter" "ferrite" "another_cable" ...; name: for people
    double expected_change_db = 0, sd_db = 0;      ///< over the ways that are still open
    std::string text;                              ///< what it does for this noise's lines, and what it costs
};
/// A take made after a change, against the one before.
struct ChangeMade {
    std::string change;                            ///< as `after_change` says
    std::string source_id, before, after;          ///< takes
    Channel channel = Channel::left;
    Reading measured_db;
    bool at_most = false;                          ///< it isn't found any more: it fell by this much at least
    std::optional<Reading> promised_db;
    std::string verdict;                           ///< "kept" "failed" "better" "not_promised"
    std::string text;
};

}  // namespace hushtrace
