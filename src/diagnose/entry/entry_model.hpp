#pragma once
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/vehicle/entry_tables.hpp"

/// By which ways a noise gets in, as probabilities: Bayes' rule over sets of one or two ways, with the tables of vehicle/entry_tables
/// for what each test should change. Two ways carry shares of the power that nobody knows: the sum over shares is part of it.
namespace hushtrace {

/// What one test showed of one noise source.
struct EntryOutcome {
    EntryTest test = EntryTest::inputs_shorted;
    std::vector<EntryTest> also;            ///< made together with it, in one take
    double change = 0;                      ///< dB against the take without it; of meters log10 of volts or ohms; of channels dB, left over right
    double sd = 2;                          ///< of that change
    bool at_output = false;                 ///< read at the amplifier's output, where all that is heard is
    bool at_most = false;                   ///< it is no longer there: it fell by `change` at least
    double missed = 0;                      ///< of such findings that are there, the share that a search misses: "no longer there" tells so much less
    std::optional<std::string> heard;       ///< of the ear, instead of a change: "gone" "quieter" "same" "louder"
    std::optional<double> plain_db;         ///< level without the test [dBV, or dBFS where not calibrated]
    std::vector<std::string> takes;
    std::vector<std::size_t> observations;
    std::optional<std::string> done;        ///< no test but a remedy that was carried out, as it was noted
};

/// What is known of a noise source before any test.
struct EntryQuestion {
    bool follows_engine = true;
    bool at_the_input = true;               ///< else it comes from behind the input: heard, or read at the output, and not at the input
    bool place_known = true;                ///< false where nobody looked at the input
    bool set_up_apart = false;              ///< the laptop on its battery and no tone lead in the source: the set-up closes no loop
};

struct EntrySet {
    EntryWay first = EntryWay::ground_loop;
    std::optional<EntryWay> second;
    double probability = 0;
    bool has(EntryWay way) const { return first == way || second == way; }
};
inline constexpr std::size_t kShares = 5;   ///< shares of the power that are summed over, of a set of two
/// All sets, most probable first. `by_share` is each set's probability by the first way's share; a set of one has one.
struct EntryPosterior {
    std::vector<EntrySet> sets;
    std::vector<std::vector<double>> by_share;
};

/// The first way's share of the power in `by_share`'s place x.
double first_share(std::size_t x);

EntryPosterior entry_posterior(const EntryQuestion& question, const std::vector<EntryOutcome>& outcomes);

/// ln of how likely an outcome is for a set, less that for all other sets before any test: above 0 it speaks for the set.
double weight_of(const EntryQuestion& question, const EntrySet& of, const EntryOutcome& outcome);

/// Minutes of labour: those of the tables, where a job doesn't state its own.
struct Labour {
    std::map<std::string, double> own_min;   ///< by word_of(test), or kReachSource_word
    double of(EntryTest test) const;
    double reach_source() const;
};

/// What a test that isn't made yet would tell.
struct TestWorth {
    EntryTest test = EntryTest::inputs_shorted;
    double bits = 0;                        ///< expected fall of the uncertainty over sets
    double minutes = 0;                     ///< of labour, reaching the source's back among it where that is needed first
    /// For each outcome: its chance, what it is in words, and the set that leads after it.
    struct Branch {
        double chance = 0;
        std::string outcome;
        EntrySet leads;
    };
    std::vector<Branch> branches;
};
/// The tests of `possible`, most bits a minute first.
std::vector<TestWorth> worth_of_tests(const EntryQuestion& question, const EntryPosterior& posterior, const std::vector<EntryTest>& possible,
                                      bool source_reached, const Labour& labour);

/// When a set is as probable as this, no more tests are asked for.
inline constexpr double kSettled = 0.95;
inline constexpr double kLeastBits = 0.1;    ///< less isn't worth anybody's minute

}  // namespace hushtrace
