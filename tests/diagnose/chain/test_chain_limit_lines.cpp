// The lines of the acceptance table, of channels set by hand: their figures, units and words, and both sides of each limit.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/chain_maker.hpp"
#include "hushtrace/signal/decibel.hpp"

using namespace hushtrace;
using namespace chain_maker;

TEST_CASE("each figure of a channel has its line, its unit and its proposal", "[chain]") {
    // docs/chain.md, Limits
    struct Row {
        const char* what;
        double proposed;
        const char *unit, *origin;
        std::optional<double> Limits::*written;
        void (*put)(ChainChannel&, const Reading&);
    };
    const char *ours = "proposal, no source", *practice = "common practice, no source";
    const Row rows[] = {
        {"crosstalk_1khz_db", -60, "dB", ours, &Limits::crosstalk_1khz_db, [](ChainChannel& c, const Reading& r) { c.crosstalk_db = r; }},
        {"crosstalk_10khz_db", -45, "dB", ours, &Limits::crosstalk_10khz_db, [](ChainChannel& c, const Reading& r) { c.crosstalk_10khz_db = r; }},
        {"minus_20_thd_percent", 0.3, "%", ours, &Limits::minus_20_thd_percent,
         [](ChainChannel& c, const Reading& r) { c.minus_20.thd_percent = r; }},
        {"ceiling_thd_percent", 1.0, "%", practice, &Limits::ceiling_thd_percent,
         [](ChainChannel& c, const Reading& r) { c.at_ceiling.thd_percent = r; }},
        {"noise_dbv_a", -80, "dBV", ours, &Limits::noise_dbv_a, [](ChainChannel& c, const Reading& r) { c.noise = ChainNoise{"", {}, {}, r}; }},
    };
    for (const Row& row : rows) {
        CAPTURE(row.what);
        const auto found = [&](const Reading& reading, std::optional<double> written = {}) {
            Job job = job_of({Channel::left});
            job.limits.*row.written = written;
            ChainChannel left = read_channel(Channel::left, flat(23, 19000));
            row.put(left, reading);
            return judged(job, {left});
        };
        // two standard uncertainties to either side are what the figure may be
        const ChainAnalysis within = found({row.proposed - 0.021, 0.01});
        CHECK(verdict(within, row.what) == "pass");
        CHECK(verdict(found({row.proposed - 0.019, 0.01}), row.what) == "undecided");
        CHECK(verdict(found({row.proposed + 0.019, 0.01}), row.what) == "undecided");
        CHECK(verdict(found({row.proposed + 0.021, 0.01}), row.what) == "fail");
        CHECK(verdict(found({row.proposed - 0.021, 0.01, LimitedBy::noise}), row.what) == "pass");
        CHECK(verdict(found({row.proposed + 0.021, 0.01, LimitedBy::noise}), row.what) == "undecided");
        CHECK(verdict(found({row.proposed + 0.021, 0.01, LimitedBy::interface}), row.what) == "undecided");
        CHECK(verdict(found({row.proposed + 0.021, 0.01, LimitedBy::length}), row.what) == "fail");
        CHECK(verdict(found({std::nan(""), 0.01}, row.proposed), row.what) == "not_measured");
        CHECK(verdict(found({std::nan(""), 0.01}), row.what) == "no line");
        const LimitLine proposed = *line(within, row.what);
        CHECK(proposed.limit == row.proposed);
        CHECK(proposed.unit == row.unit);
        CHECK(proposed.origin == row.origin);
        CHECK_FALSE(proposed.written);
        CHECK(proposed.channel == Channel::left);
        CHECK_FALSE(proposed.against);
        CHECK(proposed.found->value == row.proposed - 0.021);
        CHECK(proposed.found_text.empty());
        const ChainAnalysis asked = found({row.proposed + 0.021, 0.01}, row.proposed + 0.1);
        CHECK(verdict(asked, row.what) == "pass");
        CHECK(line(asked, row.what)->limit == row.proposed + 0.1);
        CHECK(line(asked, row.what)->origin == "job.json");
        CHECK(line(asked, row.what)->written);
    }
    // what lies in the middle has no other side
    ChainChannel middle = read_channel(Channel::center, flat(23, 19000));
    middle.crosstalk_db = middle.crosstalk_10khz_db = Reading{-20, 0.1};
    CHECK(verdict(judged(job_of({Channel::center}), {middle}), "crosstalk_1khz_db") == "no line");
    middle.channel = Channel::sub;
    CHECK(verdict(judged(job_of({Channel::sub}), {middle}), "crosstalk_10khz_db") == "no line");
}

TEST_CASE("the sides of a pair are held against each other, in front and in the rear", "[chain]") {
    using Pair = std::pair<Channel, Channel>;
    for (const auto& [first, second] : {Pair{Channel::left, Channel::right}, Pair{Channel::rear_left, Channel::rear_right}}) {
        const Job job = job_of({first, second});
        ChainChannel a = read_channel(first, flat(23, 19000)), b = read_channel(second, flat(23, 19000));
        a.balance_db = Reading{-3.0, 0.03};
        b.balance_db = Reading{-4.5, 0.04};
        a.delay_ms = Reading{2.0, 0.003};
        b.delay_ms = Reading{1.75, 0.004};
        const ChainAnalysis chain = judged(job, {a, b});
        const LimitLine *balance = line(chain, "balance_db"), *delay = line(chain, "delay_difference_ms");
        REQUIRE(balance);
        REQUIRE(delay);
        CHECK(balance->channel == second);
        CHECK(balance->against == first);
        CHECK(balance->found->value == Approx(1.5));   // either way, so without sign; sd: 3, 4 and 5 as Pythagoras has it
        CHECK(balance->found->sd == Approx(0.05));
        CHECK(balance->limit == 1.0);
        CHECK(balance->unit == "dB");
        CHECK(balance->verdict == "fail");
        CHECK(delay->channel == second);
        CHECK(delay->against == first);
        CHECK(delay->found->value == Approx(0.25));
        CHECK(delay->found->sd == Approx(0.005));
        CHECK(delay->limit == 0.1);
        CHECK(delay->unit == "ms");
        CHECK(delay->verdict == "fail");
        // one of them alone tells nothing, and nobody asked
        CHECK(verdict(judged(job_of({first}), {a}), "balance_db") == "no line");
        Job asked = job_of({first});
        asked.limits.balance_db = 1.0;
        REQUIRE(line(judged(asked, {a}), "balance_db"));
        CHECK(line(judged(asked, {a}), "balance_db")->channel == second);
        CHECK(line(judged(asked, {a}), "balance_db")->verdict == "not_measured");
        b.delay_ms.reset();
        CHECK(verdict(judged(job, {a, b}), "delay_difference_ms") == "no line");
        // one far below the other, in whichever place it stands
        for (const bool second_is_quiet : {true, false}) {
            ChainChannel quiet;
            quiet.channel = second_is_quiet ? second : first;
            quiet.quiet_db = Reading{-14.0, 0.2};
            quiet.quiet_against = second_is_quiet ? first : second;
            const ChainAnalysis apart = second_is_quiet ? judged(job, {a, quiet}) : judged(job, {quiet, b});
            CHECK(line(apart, "balance_db")->found->value == Approx(14.0));
            CHECK(line(apart, "balance_db")->found->sd == Approx(0.2));
            quiet.quiet_against = Channel::center;   // that says nothing of the other side
            CHECK(verdict(second_is_quiet ? judged(job, {a, quiet}) : judged(job, {quiet, b}), "balance_db") == "no line");
        }
    }
}

TEST_CASE("a channel 30 dB below the others carries the tone no longer, one that may be nearer does", "[chain]") {
    Job job = job_of({Channel::left, Channel::right});
    job.limits.minus_20_thd_percent = 0.3;
    job.limits.delay_difference_ms = 0.1;
    ChainChannel right;
    right.channel = Channel::right;
    right.quiet_against = Channel::left;
    for (const bool gone : {true, false}) {
        right.quiet_db = Reading{gone ? -30.3 : -30.1, 0.1};   // two standard uncertainties nearer: -30.1, -29.9
        const ChainAnalysis chain = judged(job, {read_channel(Channel::left, flat(23, 19000)), right});
        CHECK(verdict(chain, "minus_20_thd_percent", Channel::right) == (gone ? "fail" : "not_measured"));
        CHECK(tells(*line(chain, "minus_20_thd_percent", Channel::right), "30 dB below left"));
        CHECK(verdict(chain, "delay_difference_ms") == (gone ? "fail" : "not_measured"));
        CHECK(line(chain, "delay_difference_ms")->found_text == (gone ? "right 30 dB below left" : ""));
        CHECK(line(chain, "delay_difference_ms")->against == Channel::left);
    }
    // a pair of which neither plays, and a written balance: both are named
    ChainChannel left;
    left.channel = Channel::left;
    left.silent = right.silent = true;
    right.quiet_db.reset();
    job.limits.balance_db = 1.0;
    const ChainAnalysis none = judged(job, {left, right});
    CHECK(verdict(none, "balance_db") == "fail");
    CHECK(line(none, "balance_db")->found_text == "left silent, right silent");
    CHECK(line(none, "balance_db")->channel == Channel::right);
    CHECK(line(none, "balance_db")->against == Channel::left);
}

TEST_CASE("polarity: who is turned, who is not known, and who is silent is named", "[chain]") {
    const auto channels = [](std::vector<std::string> polarities) {
        std::vector<ChainChannel> out;
        for (const Channel one : {Channel::left, Channel::right, Channel::sub}) {
            if (out.size() == polarities.size()) break;
            const std::string& polarity = polarities[out.size()];
            out.push_back(read_channel(one, flat(23, 19000)));
            out.back().polarity = polarity == "silent" ? "unknown" : polarity;
            out.back().silent = polarity == "silent";
        }
        return out;
    };
    struct Row {
        std::vector<std::string> polarities;
        const char *written, *words, *proposed;   // verdict where the limit is written, what it says, verdict where it isn't
    };
    const Row rows[] = {
        {{"normal", "normal"}, "pass", "alike", "pass"},
        {{"inverted", "inverted", "inverted"}, "pass", "alike", "pass"},
        {{"normal", "inverted"}, "fail", "turned on right", "fail"},
        {{"inverted", "normal", "inverted"}, "fail", "turned on left, sub", "fail"},
        {{"normal", "unknown"}, "not_measured", "", "no line"},
        {{"normal", "normal", "unknown"}, "undecided", "alike, but not known on sub", "pass"},
        {{"unknown", "normal", "normal"}, "undecided", "alike, but not known on left", "pass"},
        {{"silent", "normal", "silent"}, "fail", "nothing of the tone on left, sub", "no line"},
        {{"normal", "normal", "silent"}, "fail", "nothing of the tone on sub", "pass"},
        {{"normal", "inverted", "silent"}, "fail", "turned on right", "fail"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.polarities);
        Job job = job_of({Channel::left});
        const ChainAnalysis proposed = judged(job, channels(row.polarities));
        CHECK(verdict(proposed, "same_polarity") == row.proposed);
        if (const LimitLine* found = line(proposed, "same_polarity")) {
            CHECK(found->origin == "common practice, no source");
            CHECK_FALSE(found->written);
        }
        job.limits.same_polarity = true;
        const ChainAnalysis chain = judged(job, channels(row.polarities));
        REQUIRE(line(chain, "same_polarity"));
        CHECK(verdict(chain, "same_polarity") == row.written);
        CHECK(line(chain, "same_polarity")->found_text == row.words);
        CHECK(line(chain, "same_polarity")->limit == 1);
        CHECK(line(chain, "same_polarity")->written);
        CHECK(line(chain, "same_polarity")->origin == "job.json");
        job.limits.same_polarity = false;
        CHECK(verdict(judged(job, channels(row.polarities)), "same_polarity") == "no line");
    }
}

TEST_CASE("the response's line tells what lies furthest off, where, and how much of the band was seen", "[chain]") {
    Job job = job_of({Channel::left});
    const auto response = [&](const Transfer& transfer, const std::vector<ChainCrossing>& crossings = {}) {
        ChainAnalysis out;
        out.channels = {read_channel(Channel::left, transfer)};
        out.crossings = crossings;
        judge_limits(job, out);
        REQUIRE(line(out, "response_tolerance_db"));
        return *line(out, "response_tolerance_db");
    };
    const auto lifted = [](Transfer transfer, double from_hz, double to_hz, double db) {
        for (TransferPoint& point : transfer)
            if (point.frequency_hz > from_hz && point.frequency_hz < to_hz) point.gain *= amplitude_from_decibels(db);
        return transfer;
    };
    SECTION("by its sign, an average of five points") {
        const LimitLine up = response(lifted(flat(23, 19000), 185, 213, 1.5));   // five points of 24 an octave, from 187.3 to 210.2 Hz
        CHECK(up.limit == 3.0);
        CHECK(up.unit == "dB");
        CHECK(up.origin == "proposal, no source");
        CHECK(up.verdict == "pass");
        CHECK(up.found->value == Approx(1.5).margin(0.001));
        CHECK(response(lifted(flat(23, 19000), 190, 195, 5.0)).found->value == Approx(1.0).margin(0.001));   // one of five
        CHECK(tells(up, "+1.5 dB at 198 Hz, 40 to 16000 Hz asked"));
        const LimitLine down = response(lifted(flat(23, 19000), 180, 220, -4.0));
        CHECK(down.found->value == Approx(4.0).margin(0.001));
        CHECK(tells(down, "-4.0 dB at "));
        CHECK(down.verdict == "fail");
        // noise 60 dB down: 20 / ln 10 times the root of half of 1e-6, with 0.005 of the method; the mean of five counts as that of two
        const double point_sd = std::hypot(0.005, 20 / std::log(10.0) * std::sqrt(0.5e-6 / std::pow(10.0, -0.4)));
        CHECK(down.found->sd == Approx(std::hypot(point_sd / std::sqrt(2.0), 0.01)).epsilon(0.001));
    }
    SECTION("the gain round 1 kHz is the level that it is held against") {
        ChainAnalysis out;
        out.channels = {read_channel(Channel::left, lifted(flat(23, 19000), 1, 1e5, -10))};
        out.channels[0].gain_db = Reading{-8.0, 0.01};
        judge_limits(job, out);
        CHECK(line(out, "response_tolerance_db")->found->value == Approx(2.0).margin(0.001));
        CHECK(tells(*line(out, "response_tolerance_db"), "-2.0 dB at"));
        out.channels[0].response = lifted(flat(44, 15000), 1, 1e5, -10);   // whose ends lie within the band
        out.limits.clear();
        judge_limits(job, out);
        CHECK(line(out, "response_tolerance_db")->found->value == Approx(2.0).margin(0.001));
    }
    SECTION("an end may be missing by a sixth of an octave") {
        // grid 1000 Hz times 2^(k/24): 44.2 and 45.5 Hz lie 0.144 and 0.185 octaves over 40 Hz; 14672 and 13849 Hz 0.125 and 0.208 below 16000
        CHECK(response(flat(44, 19000)).verdict == "pass");
        CHECK(response(flat(45, 19000)).verdict == "undecided");
        CHECK(response(flat(23, 14700)).verdict == "pass");
        const LimitLine high = response(flat(23, 13900));
        CHECK(high.verdict == "undecided");
        CHECK(tells(high, "40 to 16000 Hz asked, only 40 to 13849 Hz measured"));
        CHECK_FALSE(tells(high, "hides"));
        CHECK_FALSE(tells(response(flat(44, 19000)), "only"));
    }
    SECTION("four points that noise covers are a sixth of an octave, three are not") {
        // 96.4, 99.2, 102.1, 105.1: the points from 96 to 107 Hz
        const LimitLine four = response(flat(23, 19000, 96, 107));
        CHECK(four.verdict == "undecided");
        CHECK(tells(four, "noise hides it from 96 to 105 Hz"));
        CHECK(response(flat(23, 19000, 98, 107)).verdict == "pass");
        CHECK_FALSE(tells(response(flat(23, 19000, 98, 107)), "hides"));
    }
    SECTION("a band that another channel takes over is not asked of this one") {
        const Transfer high = lifted(flat(23, 19000), 1, 120, -20);
        CHECK(response(high).verdict == "fail");
        const LimitLine upper = response(high, {{Channel::sub, Channel::left, 80.0, -6.0, {}, ""}});
        CHECK(upper.verdict == "pass");   // from 160 Hz
        CHECK(tells(upper, "160 to 16000 Hz asked"));
        const LimitLine lower = response(lifted(flat(23, 19000), 1800, 1e5, -20), {{Channel::left, Channel::right, 3000.0, -6.0, {}, ""}});
        CHECK(lower.verdict == "pass");
        CHECK(tells(lower, "40 to 1500 Hz asked"));
        CHECK(response(high, {{Channel::sub, Channel::right, 80.0, -6.0, {}, ""}}).verdict == "fail");
    }
    SECTION("what noise covers fails where even the noise lies below the tolerance") {
        Transfer gone = flat(23, 19000);
        for (TransferPoint& point : gone)
            if (point.frequency_hz > 90 && point.frequency_hz < 130) point.gain = 0;
        // 1e-6 and twice 10 / ln 10 dB: -60 + 8.7 = -51.3 dB at most, less than the gain by two of its sd
        const LimitLine sunk = response(gone);
        CHECK(sunk.verdict == "fail");
        CHECK(tells(sunk, "below -51.3 dB at 96 Hz (noise)"));   // the first of which all five points are gone, 91 to 102 Hz
        for (TransferPoint& point : gone)
            if (point.gain == 0.0) point.noise_power = 0;
        CHECK(tells(response(gone), "below -200.0 dB"));   // digital silence has no figure
    }
}
