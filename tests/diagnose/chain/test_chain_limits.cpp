// What a chain is held against, of channels set by hand: each written limit has its verdict, and none passes over what wasn't measured.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/chain_maker.hpp"

using namespace hushtrace;
using namespace chain_maker;

TEST_CASE("a response passes only where both ends of the band were measured", "[chain]") {
    Job job = job_of({Channel::left});
    job.limits.response_tolerance_db = 3.0;
    CHECK(verdict(judged(job, {read_channel(Channel::left, flat(23, 19000))}), "response_tolerance_db") == "pass");
    const ChainAnalysis part = judged(job, {read_channel(Channel::left, flat(345, 2850))});
    CHECK(verdict(part, "response_tolerance_db") == "undecided");
    CHECK(tells(line(part, "response_tolerance_db"), "only 3"));
    CHECK(tells(line(part, "response_tolerance_db"), "Hz measured"));
    CHECK_FALSE(fails_limit(part));
    job.limits.response_from_hz = 360;  // within a sixth of an octave of what was measured
    job.limits.response_to_hz = 3000;
    CHECK(verdict(judged(job, {read_channel(Channel::left, flat(345, 2850))}), "response_tolerance_db") == "pass");
    Transfer high_end_only = flat(345, 2850);
    for (TransferPoint& point : high_end_only)
        if (point.frequency_hz > 2000) point.gain = 0.5;
    CHECK(verdict(judged(job, {read_channel(Channel::left, high_end_only)}), "response_tolerance_db") == "fail");
}

TEST_CASE("what noise hides of a response is told, and fails only where the noise itself lies low enough", "[chain]") {
    Job job = job_of({Channel::left});
    job.limits.response_tolerance_db = 3.0;
    const ChainAnalysis hidden = judged(job, {read_channel(Channel::left, flat(23, 19000, 45, 75))});
    CHECK(verdict(hidden, "response_tolerance_db") == "undecided");
    CHECK(tells(line(hidden, "response_tolerance_db"), "noise hides it"));
    // nothing at all comes through there, and the noise lies 60 dB down: that is no level within 3 dB
    Transfer gone = flat(23, 19000);
    for (TransferPoint& point : gone)
        if (point.frequency_hz > 45 && point.frequency_hz < 75) point.gain = 0;
    const ChainAnalysis sunk = judged(job, {read_channel(Channel::left, gone)});
    CHECK(verdict(sunk, "response_tolerance_db") == "fail");
    CHECK(fails_limit(sunk));
    // a single line of hum is no hole
    CHECK(verdict(judged(job, {read_channel(Channel::left, flat(23, 19000, 49.5, 50.5))}), "response_tolerance_db") == "pass");
}

TEST_CASE("a channel that passes no 1 kHz keeps a line for its written response", "[chain]") {
    Job job = job_of({Channel::sub});
    ChainChannel sub = read_channel(Channel::sub, flat(23, 200));
    sub.gain_hz = 60;
    CHECK(verdict(judged(job, {sub}), "response_tolerance_db") == "no line");
    job.limits.response_tolerance_db = 3.0;
    const ChainAnalysis chain = judged(job, {sub});
    CHECK(verdict(chain, "response_tolerance_db", Channel::sub) == "not_measured");
    CHECK(tells(line(chain, "response_tolerance_db"), "1 kHz"));
}

TEST_CASE("each written limit has a line, whatever was read", "[chain]") {
    Job job = job_of({Channel::left, Channel::right, Channel::supply});
    for (const LimitField& field : kLimitFields) job.limits.*field.value = field.lowest_itself ? field.lowest : field.highest;
    job.limits.same_polarity = true;
    for (const bool sub_alone : {false, true}) {
        if (sub_alone) job.takes.back().channels = {Channel::sub};
        const ChainAnalysis chain = judged(job, {});
        for (const LimitField& field : kLimitFields) {
            const std::string what(field.name);
            if (what == "response_from_hz" || what == "response_to_hz") continue;
            INFO(what);
            if (field.of_floor) {
                CHECK(verdict(chain, what) == "no line");
                continue;
            }
            CHECK(verdict(chain, what) == "not_measured");
            CHECK(line(chain, what)->written);
        }
        CHECK(verdict(chain, "same_polarity") == "not_measured");
        CHECK_FALSE(line(chain, "noise_dbv_a", Channel::supply));
        CHECK_FALSE(fails_limit(chain));
    }
    CHECK(judged(job_of({Channel::left}), {}).limits.empty());
}

TEST_CASE("a silent channel fails what is written for it, one that leaks through too", "[chain]") {
    Job job = job_of({Channel::left, Channel::right});
    ChainChannel right;
    right.channel = Channel::right;
    SECTION("silent") { right.silent = true; }
    SECTION("what leaks over") {
        right.quiet_db = Reading{-54, 0.1};
        right.quiet_against = Channel::left;
    }
    const std::vector<ChainChannel> channels = {read_channel(Channel::left, flat(23, 19000)), right};
    CHECK_FALSE(fails_limit(judged(job, channels)));
    CHECK(verdict(judged(job, channels), "noise_dbv_a") == "no line");
    job.limits.balance_db = 1.0;
    job.limits.delay_difference_ms = 0.1;
    job.limits.response_tolerance_db = 3.0;
    job.limits.noise_dbv_a = -80.0;
    job.limits.same_polarity = true;
    const ChainAnalysis chain = judged(job, channels);
    for (const char* what : {"balance_db", "delay_difference_ms", "response_tolerance_db", "noise_dbv_a"}) {
        INFO(what);
        CHECK(verdict(chain, what, Channel::right) == "fail");
    }
    CHECK(verdict(chain, "same_polarity") == "fail");
    CHECK(verdict(chain, "response_tolerance_db", Channel::left) == "pass");
    CHECK(verdict(chain, "noise_dbv_a", Channel::left) == "not_measured");
    CHECK(tells(line(chain, "noise_dbv_a", Channel::right), right.silent ? "silent" : "54 dB below left"));
    CHECK(fails_limit(chain));
}

TEST_CASE("a channel that is only quieter fails its balance, and is not measured beyond that", "[chain]") {
    Job job = job_of({Channel::left, Channel::right});
    ChainChannel right;
    right.channel = Channel::right;
    right.quiet_db = Reading{-20, 0.1};
    job.limits.balance_db = 1.0;
    job.limits.noise_dbv_a = -80.0;
    const std::vector<ChainChannel> channels = {read_channel(Channel::left, flat(23, 19000)), right};
    CHECK(verdict(judged(job, channels), "balance_db") == "fail");
    CHECK(verdict(judged(job, channels), "noise_dbv_a", Channel::right) == "not_measured");
    job.limits.balance_db = 25.0;
    CHECK(verdict(judged(job, channels), "balance_db") == "pass");
}

TEST_CASE("one polarity isn't passed over a channel whose polarity nothing tells", "[chain]") {
    Job job = job_of({Channel::left, Channel::right, Channel::sub});
    std::vector<ChainChannel> channels = {read_channel(Channel::left, flat(23, 19000)), read_channel(Channel::right, flat(23, 19000))};
    job.limits.same_polarity = true;
    const ChainAnalysis chain = judged(job, channels);
    CHECK(verdict(chain, "same_polarity") == "undecided");
    CHECK(tells(line(chain, "same_polarity"), "sub"));
    channels.push_back(read_channel(Channel::sub, flat(23, 200)));
    CHECK(verdict(judged(job, channels), "same_polarity") == "pass");
}
