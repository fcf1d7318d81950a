#include "entry_model.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <span>

namespace hushtrace {
namespace {

constexpr double kTwoWays = 0.2;            // of vehicles have two (common practice, no source)
constexpr double kWentWrong = 0.03;         // of tests show what nothing in the tables explains
constexpr double kWrongOver = 60.0;         // dB over which such outcomes are spread; of meters a tenth of that
constexpr double kReadTo_db = 2.5;          // what a test not made yet is taken to be read to
constexpr double kReadTo_log = 0.15;        // of a meter: log10
constexpr std::array<double, kShares> kShare_db = {-8.0, -4.0, 0.0, 4.0, 8.0};   // the first way's power over the second's
constexpr double kSetUpApart = 0.1;         // odds of a set-up that has no way to the vehicle but the probe
constexpr double kUnseen = 0.02;            // odds of a way that ends at the input beside one behind it, where the input showed nothing
constexpr double kBothPlaces = 1.0;         // odds of one way before the input and one behind it, against two in one place
/// Odds of the source's own works for noise that turns with the engine: its supply brings that (common practice, no source).
constexpr double kOwnWorks = 0.3;
constexpr double kWrongPlace = 1e-4;        // prior odds of a way that should not show where the noise was found

using Laws = std::vector<ChangeLaw>;

double normal_below(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }
double normal_density(double x, double sd) { return std::exp(-0.5 * x * x / (sd * sd)) / (sd * std::sqrt(2.0 * std::numbers::pi)); }

double share_of(std::size_t i) {
    const double power = std::pow(10.0, kShare_db[i] / 10.0);
    return power / (1.0 + power);
}

Laws laws_of(EntryTest test, EntryWay way, bool follows_engine) {
    const auto laws = expected_change(test, way, follows_engine);
    return {laws.begin(), laws.end()};
}

/// Tests made together: what each takes away is gone, and a fall to the floor is as deep as it gets.
Laws in_turn(const Laws& one, const Laws& other) {
    if (one.empty() || other.empty()) return one.empty() ? other : one;
    Laws out;
    for (const ChangeLaw& a : one)
        for (const ChangeLaw& b : other) {
            const bool floor = a.mean <= kToFloor_db || b.mean <= kToFloor_db;
            const ChangeLaw& deeper = a.mean < b.mean ? a : b;
            out.push_back({a.share * b.share, floor ? deeper.mean : a.mean + b.mean, floor ? deeper.sd : std::hypot(a.sd, b.sd)});
        }
    return out;
}

/// The change of two ways' power together: each law's spread carried over by its share of what remains.
Laws together(const Laws& one, const Laws& other, double share) {
    Laws out;
    for (const ChangeLaw& a : one)
        for (const ChangeLaw& b : other) {
            const double pa = share * std::pow(10.0, a.mean / 10.0), pb = (1.0 - share) * std::pow(10.0, b.mean / 10.0), sum = pa + pb;
            out.push_back({a.share * b.share, 10.0 * std::log10(sum), std::hypot(pa / sum * a.sd, pb / sum * b.sd)});
        }
    return out;
}

bool is_level(EntryTest test) {
    const ReadBy by = facts_of(test).read_by;
    return by == ReadBy::take || by == ReadBy::ear;
}

/// What a set does under a test, and others made with it, with this share of the first way.
Laws laws_of(EntryTest test, const std::vector<EntryTest>& also, bool at_output, const EntrySet& set, double share, const EntryQuestion& question) {
    const auto of = [&](EntryWay way) {
        Laws laws = laws_of(test, way, question.follows_engine);
        for (const EntryTest one : also) laws = in_turn(laws, laws_of(one, way, question.follows_engine));
        return laws;
    };
    Laws first = of(set.first);
    if (!set.second) return first;
    Laws second = of(*set.second);
    // what lies behind the input isn't seen at it
    if (facts_of(test).read_by != ReadBy::ear && question.at_the_input && question.place_known && !at_output) {
        if (is_behind_the_input(set.first)) return second;
        if (is_behind_the_input(*set.second)) return first;
    }
    if (test == EntryTest::level_wanders) {   // of two, what strays is a share of what is heard
        Laws both;
        for (const ChangeLaw& a : first)
            for (const ChangeLaw& b : second)
                both.push_back({a.share * b.share, share * a.mean + (1.0 - share) * b.mean, std::hypot(share * a.sd, (1.0 - share) * b.sd)});
        return both;
    }
    if (is_level(test) && !first.empty() && !second.empty()) return together(first, second, share);
    if (facts_of(test).read_by == ReadBy::meter && !first.empty() && !second.empty()) {   // the fault is what is read
        const auto mean_of = [](const Laws& laws) {
            double sum = 0;
            for (const ChangeLaw& law : laws) sum += law.share * law.mean;
            return sum;
        };
        return mean_of(first) > mean_of(second) ? first : second;
    }
    for (ChangeLaw& law : first) law.share *= share;
    for (ChangeLaw& law : second) law.share *= 1.0 - share;
    first.insert(first.end(), second.begin(), second.end());
    return first;
}

/// What the ear tells of a change [dB].
struct Word {
    const char* word;
    double from_db, to_db;
};
constexpr double kAny = 1e3, kEar_db = 1.5;   // common practice, no source
constexpr std::array<Word, 4> kWords = {{{"gone", -kAny, -15.0}, {"quieter", -15.0, -3.0}, {"same", -3.0, 3.0}, {"louder", 3.0, kAny}}};

double chance_between(const Laws& laws, double from, double to, double sd) {
    double chance = 0;
    for (const ChangeLaw& law : laws) {
        const double spread = std::hypot(law.sd, sd);
        chance += law.share * (normal_below((to - law.mean) / spread) - normal_below((from - law.mean) / spread));
    }
    return chance;
}

double likelihood(const EntryOutcome& outcome, const Laws& laws) {
    if (laws.empty()) return 1.0;
    if (outcome.heard) {
        for (const Word& word : kWords)
            if (*outcome.heard == word.word)
                return (1.0 - kWentWrong) * chance_between(laws, word.from_db, word.to_db, kEar_db) + kWentWrong / kWords.size();
        return 1.0;
    }
    if (outcome.at_most) {
        const double gone = outcome.missed + (1.0 - outcome.missed) * chance_between(laws, -kAny, outcome.change, outcome.sd);
        return (1.0 - kWentWrong) * gone + kWentWrong * 0.5;
    }
    double density = 0;
    for (const ChangeLaw& law : laws) {
        // what fell to the floor fell by that much or more
        density += law.share * normal_density(outcome.change - law.mean, std::hypot(law.sd, outcome.sd));
    }
    const double over = facts_of(outcome.test).read_by == ReadBy::meter ? 0.1 * kWrongOver : kWrongOver;
    return (1.0 - kWentWrong) * density + kWentWrong / over;
}

/// Sets of one and of two, with their chance before any test: paths alike, mechanisms of one path share its chance.
std::vector<EntrySet> all_sets(const EntryQuestion& question) {
    constexpr double paths = 10.0, mechanisms = 3.0;
    const auto weight = [&](EntryWay way) {
        const double apart = way == EntryWay::measuring_setup && question.set_up_apart ? kSetUpApart : 1.0;
        const double works = way == EntryWay::source_internal && question.follows_engine ? kOwnWorks : 1.0;
        return apart * works * (mechanism_of(way) ? 1.0 / mechanisms : 1.0) / paths;
    };
    const auto fits = [&](EntryWay way) { return !question.place_known || is_behind_the_input(way) != question.at_the_input; };
    const double both_places = question.at_the_input ? kBothPlaces : kUnseen;
    std::vector<EntrySet> sets;
    double pairs = 0;
    for (std::size_t a = 0; a < kEntryWays; ++a) {
        const auto first = static_cast<EntryWay>(a);
        sets.push_back({first, std::nullopt, (1.0 - kTwoWays) * weight(first) * (fits(first) ? 1.0 : kWrongPlace)});
        for (std::size_t b = a + 1; b < kEntryWays; ++b) {
            const auto second = static_cast<EntryWay>(b);
            if (path_of(first) == path_of(second)) continue;
            // beside what is found where it should be, the other place is for the ear to tell
            const double one = weight(first) * weight(second);
            sets.push_back({first, second, one * (fits(first) && fits(second) ? 1.0 : fits(first) || fits(second) ? both_places : kWrongPlace)});
            pairs += one;   // of all places: what doesn't fit leaves no more chance to the others
        }
    }
    for (EntrySet& set : sets)
        if (set.second) set.probability *= kTwoWays / pairs;
    double sum = 0;
    for (const EntrySet& set : sets) sum += set.probability;
    for (EntrySet& set : sets) set.probability /= sum;
    return sets;
}

struct Bin {
    double from, to;
    std::string words;
};
std::vector<Bin> bins_of(EntryTest test) {
    switch (facts_of(test).read_by) {
        case ReadBy::ear: {
            std::vector<Bin> bins;
            bins.reserve(kWords.size());
            for (const Word& word : kWords) bins.push_back({word.from_db, word.to_db, word.word});
            return bins;
        }
        case ReadBy::meter:
            if (test == EntryTest::shell_to_case)
                return {{-kAny, -0.5, "near 0 ohm"}, {-0.5, 1.0, "some ohms"}, {1.0, kAny, "open"}};
            return {{-kAny, -1.15, "below 0.07 V"}, {-1.15, -0.7, "0.07 to 0.2 V"}, {-0.7, kAny, "above 0.2 V"}};
        default:
            return {{-kAny, -18.0, "gone"}, {-18.0, -9.0, "9 to 18 dB quieter"}, {-9.0, -4.0, "4 to 9 dB quieter"}, {-4.0, 4.0, "the same"},
                    {4.0, 9.0, "4 to 9 dB louder"}, {9.0, 20.0, "9 to 20 dB louder"}, {20.0, kAny, "20 dB louder and more"}};
    }
}

double read_to(EntryTest test) {
    const ReadBy by = facts_of(test).read_by;
    return by == ReadBy::meter ? kReadTo_log : by == ReadBy::ear ? kEar_db : kReadTo_db;
}

std::size_t shares_of(const EntrySet& set) { return set.second ? kShares : 1; }

}  // namespace

double first_share(std::size_t x) { return share_of(x); }

EntryPosterior entry_posterior(const EntryQuestion& question, const std::vector<EntryOutcome>& outcomes) {
    EntryPosterior posterior;
    posterior.sets = all_sets(question);
    std::vector<std::vector<double>> log_of(posterior.sets.size());
    double most = -1e300;
    for (std::size_t s = 0; s < posterior.sets.size(); ++s) {
        const EntrySet& set = posterior.sets[s];
        for (std::size_t x = 0; x < shares_of(set); ++x) {
            double sum = std::log(set.probability / static_cast<double>(shares_of(set)));
            for (const EntryOutcome& outcome : outcomes)
                sum += std::log(
                    std::max(1e-300, likelihood(outcome, laws_of(outcome.test, outcome.also, outcome.at_output, set, share_of(x), question))));
            log_of[s].push_back(sum);
            most = std::max(most, sum);
        }
    }
    double sum = 0;
    for (auto& logs : log_of)
        for (double& one : logs) sum += one = std::exp(one - most);
    std::vector<std::size_t> order(posterior.sets.size());
    for (std::size_t s = 0; s < order.size(); ++s) {
        order[s] = s;
        posterior.sets[s].probability = 0;
        for (double& one : log_of[s]) posterior.sets[s].probability += one /= sum;
    }
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return posterior.sets[a].probability > posterior.sets[b].probability; });
    EntryPosterior sorted;
    for (const std::size_t s : order) {
        sorted.sets.push_back(posterior.sets[s]);
        sorted.by_share.push_back(std::move(log_of[s]));
    }
    return sorted;
}

double weight_of(const EntryQuestion& question, const EntrySet& of, const EntryOutcome& outcome) {
    double here = 0, elsewhere = 0, left = 0;
    for (const EntrySet& set : all_sets(question)) {
        double likely = 0;
        for (std::size_t x = 0; x < shares_of(set); ++x)
            likely += likelihood(outcome, laws_of(outcome.test, outcome.also, outcome.at_output, set, share_of(x), question)) /
                      static_cast<double>(shares_of(set));
        if (set.first == of.first && set.second == of.second) {
            here = likely;
        } else {
            elsewhere += set.probability * likely;
            left += set.probability;
        }
    }
    return here > 0.0 && elsewhere > 0.0 ? std::log(here / (elsewhere / left)) : 0.0;
}

double Labour::of(EntryTest test) const {
    const auto own = own_min.find(std::string(word_of(test)));
    return own != own_min.end() ? own->second : facts_of(test).minutes;
}
double Labour::reach_source() const {
    const auto own = own_min.find(std::string(kReachSource_word));
    return own != own_min.end() ? own->second : kReachSource_min;
}

std::vector<TestWorth> worth_of_tests(const EntryQuestion& question, const EntryPosterior& posterior, const std::vector<EntryTest>& possible,
                                      bool source_reached, const Labour& labour) {
    constexpr double pays_for_others = 0.4;   // the way to the source's back is gone once: this test bears so much of it
    constexpr double handling_min = 5.0;      // plug, capture, read: a test costs that beside its labour (common practice, no source)
    constexpr double counts = 1e-4;           // less probable sets change nothing
    std::vector<TestWorth> worth;
    for (const EntryTest test : possible) {
        const std::vector<Bin> bins = bins_of(test);
        std::vector<double> chance(bins.size(), 0.0);
        std::vector<std::vector<double>> joint(posterior.sets.size());   // [sets][bins]
        for (std::size_t s = 0; s < posterior.sets.size(); ++s) {
            if (posterior.sets[s].probability < counts) continue;
            joint[s].assign(bins.size(), 0.0);
            for (std::size_t x = 0; x < posterior.by_share[s].size(); ++x) {
                const Laws laws = laws_of(test, {}, false, posterior.sets[s], share_of(x), question);
                for (std::size_t b = 0; b < bins.size(); ++b) {
                    const double likely = laws.empty() ? 1.0 / static_cast<double>(bins.size())
                                                       : (1.0 - kWentWrong) * chance_between(laws, bins[b].from, bins[b].to, read_to(test)) +
                                                             kWentWrong / static_cast<double>(bins.size());
                    joint[s][b] += posterior.by_share[s][x] * likely;
                }
            }
            for (std::size_t b = 0; b < bins.size(); ++b) chance[b] += joint[s][b];
        }
        TestWorth one;
        one.test = test;
        one.minutes = labour.of(test) + (facts_of(test).behind_the_source && !source_reached ? labour.reach_source() : 0.0);
        for (std::size_t s = 0; s < joint.size(); ++s)
            for (std::size_t b = 0; b < joint[s].size(); ++b)
                if (joint[s][b] > 0.0) one.bits += joint[s][b] * std::log2(joint[s][b] / (posterior.sets[s].probability * chance[b]));
        for (std::size_t b = 0; b < bins.size(); ++b) {
            std::size_t lead = 0;
            for (std::size_t s = 0; s < joint.size(); ++s)
                if (!joint[s].empty() && (joint[lead].empty() || joint[s][b] > joint[lead][b])) lead = s;
            EntrySet leads = posterior.sets[lead];
            leads.probability = chance[b] > 0.0 ? joint[lead][b] / chance[b] : 0.0;
            one.branches.push_back({chance[b], bins[b].words, leads});
        }
        worth.push_back(std::move(one));
    }
    const auto a_minute = [&](const TestWorth& one) {
        const bool behind = facts_of(one.test).behind_the_source && !source_reached;
        // the measuring set-up is excluded first: nothing else can be believed before
        if ((one.test == EntryTest::laptop_on_battery || one.test == EntryTest::tone_lead_off) && one.bits > kLeastBits) return 1.0 + one.bits;
        return one.bits / (handling_min + labour.of(one.test) + (behind ? pays_for_others * labour.reach_source() : 0.0));
    };
    std::stable_sort(worth.begin(), worth.end(), [&](const TestWorth& a, const TestWorth& b) { return a_minute(a) > a_minute(b); });
    return worth;
}

}  // namespace hushtrace
