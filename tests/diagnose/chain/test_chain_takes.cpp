// Takes of a chain to its channels: which one carries what was played, which take tells most, and what is wrong with one.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/quick_chain.hpp"

using namespace hushtrace;
using quick_chain::channel;
using quick_chain::warning;
using L = Channel;

namespace {

double dbv(double dbfs, double volts_full_scale) { return dbfs + 20 * std::log10(volts_full_scale / std::sqrt(2.0)); }

}  // namespace

TEST_CASE("one output alone: what comes in on its own side, on the other, on both, or on none", "[chain]") {
    struct Row {
        std::vector<quick_chain::Path> paths;
        L only;
        const char *code, *words;
    };
    const Row rows[] = {
        {{{L::left, 1.0}, {L::right, 0.01}}, L::left, "", ""},
        {{{L::left, 0.01}, {L::right, 1.0}}, L::right, "", ""},
        {{{L::rear_left, 1.0}, {L::rear_right, 0.01}}, L::left, "", ""},
        {{{L::left, 0.01}, {L::right, 1.0}}, L::left, "channels_swapped",
         "the left output alone was played, but the tone came in on the right channel: the leads, or the inputs, are swapped"},
        {{{L::rear_left, 1.0}, {L::rear_right, 0.01}}, L::right, "channels_swapped",
         "the right output alone was played, but the tone came in on the rear left channel"},
        {{{L::left, 1.0}, {L::right, 0.9}}, L::left, "channels_joined",
         "the left output alone was played, and the other side has it too: the source is set to mono, the balance isn't kept, or the leads touch"},
        {{{L::left, 1.0}, {L::sub, 1.0}}, L::left, "", ""},       // what lies in the middle has both
        {{{L::left, 0.01}, {L::sub, 1.0}}, L::left, "", ""},      // and can't have been swapped
        {{{L::right, 1.0}, {L::sub, 1.0}}, L::left, "", ""},      // nobody knows where the left one would be
        {{{L::left, 1.0}, {L::rear_left, 1.0}, {L::right, 0.01}}, L::left, "", ""},
        {{{L::left, 0.01}, {L::rear_left, 1.0}, {L::right, 0.9}}, L::left, "channels_joined", "the left output alone was played"},
    };
    for (const Row& row : rows) {
        quick_chain::Job job;
        job.add("take.wav", row.paths, row.only);
        const ChainAnalysis chain = job.analyse();
        CAPTURE(row.code, row.words);
        for (const char* code : {"channels_swapped", "channels_joined"}) {
            const Warning* found = warning(chain, code);
            REQUIRE((found != nullptr) == (std::string(code) == row.code));
            if (found) CHECK(found->text.find(row.words) == 0);
            if (found) CHECK(found->take == "take.wav");
        }
        CHECK_FALSE(warning(chain, "channel_quiet"));
        for (std::size_t i = 0; i < row.paths.size(); ++i) {
            const bool carries = row.paths[i].gain > 0.5;
            CHECK(channel(chain, row.paths[i].channel).hears == (carries ? std::vector<L>{row.only} : std::vector<L>{}));
            const bool quiet = !carries && std::any_of(row.paths.begin(), row.paths.end(), [](const auto& one) { return one.gain > 0.5; });
            REQUIRE(channel(chain, row.paths[i].channel).crosstalk_db.has_value() == quiet);
            if (quiet) CHECK(channel(chain, row.paths[i].channel).crosstalk_db->value == Approx(-40).margin(0.5));
            CHECK(channel(chain, row.paths[i].channel).crosstalk.empty() == !quiet);
        }
    }
}

TEST_CASE("crosstalk counts at the probe, and can't be told where one input alone is calibrated", "[chain]") {
    quick_chain::Job job;
    Take& take = job.add("take.wav", {{L::left, 1.0}, {L::right, 0.01}}, L::left);
    take.attenuation_db = {10.0, 4.0};
    const ChainAnalysis padded = job.analyse();
    CHECK(channel(padded, L::right).crosstalk_db->value == Approx(-46).margin(0.5));
    for (const TransferPoint& point : channel(padded, L::right).crosstalk)
        if (std::abs(point.frequency_hz - 1000) < 1) CHECK(20 * std::log10(std::abs(point.gain)) == Approx(-46).margin(1.5));
    CHECK_FALSE(channel(padded, L::right).crosstalk_10khz_db);   // above this capture
    job.opened.job.interface.volts_full_scale = {7.0};
    const ChainAnalysis one = job.analyse();
    CHECK_FALSE(channel(one, L::right).crosstalk_db);
    REQUIRE(warning(one, "calibrated_unlike"));
    CHECK(warning(one, "calibrated_unlike")->text.find("the left channel's input is calibrated and the right channel's isn't") == 0);
    // both outputs in turn: each channel hears its own
    quick_chain::Job both;
    both.add("left.wav", {{L::left, 1.0}, {L::right, 0.01}}, L::left);
    both.add("right.wav", {{L::left, 0.003}, {L::right, 1.0}}, L::right);
    const ChainAnalysis chain = both.analyse();
    CHECK(channel(chain, L::left).hears == std::vector<L>{L::left});
    CHECK(channel(chain, L::left).crosstalk_db->value == Approx(-50.5).margin(1));
    CHECK(channel(chain, L::right).crosstalk_db->value == Approx(-40).margin(0.5));
    CHECK(channel(chain, L::left).take == "left.wav");
    CHECK(channel(chain, L::right).take == "right.wav");
}

TEST_CASE("a channel that lies 12 dB and more below is said to be quiet, against its other side where that carries", "[chain]") {
    quick_chain::Job job;
    job.add("take.wav", {{L::left, 1.0}, {L::right, 0.1}});
    job.opened.job.interface.volts_full_scale_sd_db = {0.3, 0.4};
    const ChainAnalysis chain = job.analyse();
    REQUIRE(warning(chain, "channel_quiet"));
    CHECK(warning(chain, "channel_quiet")->text.find("the right channel lies 20 dB below the left channel: a lead off") == 0);
    CHECK(warning(chain, "channel_quiet")->take == "take.wav");
    CHECK(channel(chain, L::right).quiet_db->value == Approx(-20).margin(0.1));
    CHECK(channel(chain, L::right).quiet_db->sd < 0.1);
    CHECK(channel(chain, L::right).quiet_against == L::left);
    CHECK_FALSE(channel(chain, L::right).silent);
    CHECK_FALSE(channel(chain, L::right).gain_db);
    CHECK_FALSE(channel(chain, L::left).quiet_db);
    job.opened.job.interface.volts_full_scale = {7.0, 7.0};   // then the scales' uncertainty is in it
    CHECK(channel(job.analyse(), L::right).quiet_db->sd == Approx(0.5).margin(0.02));
    job.opened.job.interface.volts_full_scale = {7.0};        // said roughly, and no figure
    const ChainAnalysis roughly = job.analyse();
    CHECK(warning(roughly, "channel_quiet"));
    CHECK_FALSE(channel(roughly, L::right).quiet_db);
    CHECK_FALSE(channel(roughly, L::right).level_dbv);
    quick_chain::Job four;
    four.add("take.wav", {{L::left, 0.5}, {L::rear_left, 1.0}, {L::rear_right, 0.1}, {L::right, 0.05}});
    const ChainAnalysis rear = four.analyse();
    CHECK(channel(rear, L::right).quiet_against == L::left);
    CHECK(channel(rear, L::right).quiet_db->value == Approx(-20).margin(0.2));
    CHECK(channel(rear, L::rear_right).quiet_against == L::rear_left);
    CHECK(channel(rear, L::rear_right).quiet_db->value == Approx(-20).margin(0.2));
    CHECK(rear.channels[1].channel == L::right);   // in the order of the words, not of the take
    CHECK(rear.channels[3].channel == L::rear_right);
    quick_chain::Job sub;   // its other side isn't there: against the loudest
    sub.add("take.wav", {{L::sub, 1.0}, {L::left, 0.05}});
    CHECK(channel(sub.analyse(), L::left).quiet_against == L::sub);
    // a take that tells more of it takes the word back, whichever comes first
    for (const bool first : {true, false}) {
        quick_chain::Job mended;
        if (first) mended.add("mended.wav", {{L::left, 1.0}, {L::right, 0.9}});
        mended.add("quiet.wav", {{L::left, 1.0}, {L::right, 0.1}});
        if (!first) mended.add("mended.wav", {{L::left, 1.0}, {L::right, 0.9}});
        const ChainAnalysis read = mended.analyse();
        CHECK_FALSE(channel(read, L::right).quiet_db);
        CHECK(channel(read, L::right).take == "mended.wav");
    }
}

TEST_CASE("a channel is silent where it should carry the tone, in every take", "[chain]") {
    const auto silent = [](std::optional<L> only, bool later_there, L dead = L::right) {
        quick_chain::Job job;
        job.add("first.wav", {{L::left, dead == L::left ? 0.0 : 1.0}, {L::right, dead == L::right ? 0.0 : 1.0}}, only);
        if (later_there) job.add("second.wav", {{L::left, 1.0}, {L::right, 1.0}});
        const ChainAnalysis chain = job.analyse();
        if (const Warning* said = warning(chain, "channel_silent")) {
            CHECK(said->take == "first.wav");
            CHECK(said->text == "nothing of the tone came in on the " + std::string(to_word(dead)) +
                                    " channel: check its lead, the balance and the fader");
            if (!later_there) CHECK(channel(chain, dead).take == "first.wav");
        }
        return std::pair(channel(chain, dead).silent, warning(chain, "channel_silent") != nullptr);
    };
    CHECK(silent({}, false) == std::pair(true, true));
    CHECK(silent({}, true) == std::pair(false, true));
    CHECK(silent(L::left, false) == std::pair(false, false));   // it should not have it
    CHECK(silent(L::left, false, L::left) == std::pair(true, true));
    // what comes in faintly later is quiet, no longer silent
    quick_chain::Job faint;
    faint.add("off.wav", {{L::left, 1.0}, {L::right, 0.0}});
    faint.add("faint.wav", {{L::left, 1.0}, {L::right, 0.1}});
    const ChainAnalysis quiet = faint.analyse();
    CHECK_FALSE(channel(quiet, L::right).silent);
    CHECK(channel(quiet, L::right).quiet_db);
    // one that was read before is not silent for a lead that came off later
    quick_chain::Job job;
    job.add("good.wav", {{L::left, 1.0}, {L::right, 1.0}});
    job.add("off.wav", {{L::left, 1.0}, {L::right, 0.0}});
    const ChainAnalysis off = job.analyse();
    CHECK_FALSE(channel(off, L::right).silent);
    CHECK(channel(off, L::right).take == "good.wav");
}

TEST_CASE("a channel's figures: level, volts, distortion and the take that they stem from", "[chain]") {
    quick_chain::Job job{.rate_hz = 8000, .opened = {}, .sound = {}};   // for the harmonics of 1 kHz
    Take& take = job.add("take.wav", {{L::left, 0.5, 0.0, 0.01}, {L::right, -0.5, 0.002}});
    take.conditions.volume = 17;
    job.opened.job.interface.volts_full_scale = {7.0, 5.0};
    job.opened.job.interface.volts_full_scale_sd_db = {0.3, std::nullopt};
    const ChainAnalysis chain = job.analyse();
    const ChainChannel &left = channel(chain, L::left), &right = channel(chain, L::right);
    CHECK(left.take == "take.wav");
    CHECK(left.volume == 17.0);
    CHECK(left.gain_db->value == Approx(-6.02).margin(0.05));
    CHECK(left.gain_hz == 1000);
    CHECK(left.level_dbfs->value == Approx(-26.02).margin(0.05));
    CHECK(left.level_dbfs->sd == Approx(left.gain_db->sd));
    CHECK(left.level_dbv->value == Approx(dbv(left.level_dbfs->value, 7.0)));
    CHECK(left.level_dbv->sd == Approx(std::hypot(left.gain_db->sd, 0.3)));
    CHECK(right.level_dbv->value == Approx(dbv(right.level_dbfs->value, 5.0)));
    CHECK(right.level_dbv->sd == Approx(right.gain_db->sd));
    CHECK(left.thd_percent->value == Approx(1.0).margin(0.1));
    CHECK(left.thd_hz == 1000);
    CHECK(left.harmonics.size() >= 2);
    CHECK(left.polarity == "normal");
    CHECK(right.polarity == "inverted");
    CHECK(right.delay_ms->value == Approx(2).margin(0.01));
    CHECK_FALSE(left.delay_after_tone_ms);   // no markers
    REQUIRE(warning(chain, "polarity_differs"));
    CHECK(warning(chain, "polarity_differs")->text == "the polarity is turned on right and not on left: bass will cancel");
    CHECK_FALSE(warning(chain, "polarity_differs")->take);
    REQUIRE(chain.placed.size() == 1);
    CHECK(chain.placed[0].file == "take.wav");
    CHECK(chain.placed[0].kind == "sweep");
    CHECK(chain.placed[0].placed_by == "sweep");
    CHECK(chain.placed[0].place.start_s == Approx(0.601).margin(0.0015));   // in the whole capture, by either channel
    CHECK(chain.placed[0].place.clock_ppm == 0);
    CHECK(chain.takes == std::vector<std::string>{"take.wav"});
    // all turned alike is no difference
    quick_chain::Job turned;
    turned.add("take.wav", {{L::left, -1.0}, {L::right, -1.0}});
    CHECK_FALSE(warning(turned.analyse(), "polarity_differs"));
    quick_chain::Job mixed;
    mixed.add("take.wav", {{L::left, -1.0}, {L::right, 1.0}, {L::sub, -1.0}});
    CHECK(warning(mixed.analyse(), "polarity_differs")->text.find("turned on left, sub and not on right") != std::string::npos);
}

TEST_CASE("a take of all channels tells more than one of one output, the latest of the same kind most", "[chain]") {
    const auto source_of = [](const std::vector<std::pair<std::string, bool>>& takes) {
        quick_chain::Job job;
        for (const auto& [file, alone] : takes)
            job.add(file, {{L::left, 1.0}}, alone ? std::optional(L::left) : std::nullopt);
        return channel(job.analyse(), L::left).take;
    };
    CHECK(source_of({{"a", false}, {"b", true}}) == "a");
    CHECK(source_of({{"a", true}, {"b", false}}) == "b");
    CHECK(source_of({{"a", true}, {"b", true}}) == "b");
    CHECK(source_of({{"a", false}, {"b", false}, {"c", true}}) == "b");
    // two of the same that say otherwise contradict each other
    quick_chain::Job two;
    two.add("a", {{L::left, 1.0}});
    two.add("b", {{L::left, 0.5}});
    REQUIRE(warning(two.analyse(), "takes_contradict"));
    CHECK(warning(two.analyse(), "takes_contradict")->take == "b");
}

TEST_CASE("a stepped take of the job tells the volume up to which the chain is clean", "[chain]") {
    quick_chain::Job job;
    job.add("sweep.wav", {{L::left, 1.0}});
    CHECK_FALSE(job.analyse().ceiling_volume);
    std::vector<double> steps(2000, 0.0);
    for (const double amplitude : {0.1, 0.13, 0.16})
        for (int n = 0; n < 4800; ++n) steps.push_back(amplitude * std::sin(sweep_maker::pi * n / 10));   // 200 Hz
    steps.resize(steps.size() + 2000, 0.0);
    sweep_maker::add_noise(steps, 1e-5, 9);
    job.put("steps.wav", Sine{200, 0}, {L::left}, {steps}, ToneVia::stick).volume_steps = {20, 21, 22};
    const ChainAnalysis chain = job.analyse();
    CHECK(chain.never_clips);
    CHECK(chain.ceiling_volume == 22.0);
    CHECK(chain.channels.at(0).at_ceiling.take == "steps.wav");
    GainAnalysis known;   // one that is handed in stands for it
    CHECK_FALSE(job.analyse(&known).ceiling_volume);
}

TEST_CASE("what is wrong with a take is said of it", "[chain]") {
    quick_chain::Job job;
    Take& take = job.add("take.wav", {{L::left, 1.0}});
    CHECK(job.analyse().warnings.empty());
    take.faults = {TakeFault::dropout};
    const ChainAnalysis lost = job.analyse();
    CHECK(warning(lost, "take_dropout")->take == "take.wav");
    CHECK(warning(lost, "take_dropout")->text.find("samples were lost in this take: its response and delays can't be relied on") == 0);
    CHECK_FALSE(warning(lost, "take_overload"));
    take.faults = {TakeFault::overload};
    const ChainAnalysis overloaded = job.analyse();
    CHECK(warning(overloaded, "take_overload")->text.find("the interface was overloaded in this take") == 0);
    CHECK_FALSE(warning(overloaded, "take_dropout"));
    take.faults.clear();
    // it ends within the sweep
    Block& sound = job.sound.at("take.wav");
    Block cut(1, static_cast<std::size_t>(1.2 * job.rate_hz));
    for (std::size_t n = 0; n < cut.frames(); ++n) cut.channel(0)[n] = sound.channel(0)[n];
    sound = cut;
    const ChainAnalysis chain = job.analyse();
    REQUIRE(warning(chain, "sweep_cut_short"));
    CHECK(warning(chain, "sweep_cut_short")->take == "take.wav");
    CHECK(chain.channels[0].response.back().frequency_hz < 1000);
}

TEST_CASE("takes that can't be read are left out by name; none left is an error that says why", "[chain]") {
    quick_chain::Job job;
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("job.json: no take with a sweep, pink noise, polarity pulses or two tones"));
    job.add("silent.wav", {{L::left, 0.0}});
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("silent.wav: the sweep that job.json states is not in it"));
    CHECK_THROWS_WITH(job.analyse(), !Catch::Contains("none of the"));
    job.add("silent too.wav", {{L::left, 0.0}});
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("none of the 2 takes") && Catch::Contains("silent too.wav: the sweep"));
    job.add("narrow.wav", {{L::left, 1.0}}).channels = {L::left, L::right};
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("narrow.wav: job.json names 2 channels, the file has 1"));
    const std::vector<double> silence(static_cast<std::size_t>(2 * job.rate_hz), 0.0);
    job.put("pulses.wav", PolarityPulse{}, {L::left}, {silence}, ToneVia::stick);
    CHECK_THROWS_WITH(job.analyse(), Catch::Contains("pulses.wav: the markers by which its tone is lined up are not in it"));
    job.add("good.wav", {{L::left, 1.0}});
    Take& supply = job.add("supply.wav", {{L::supply, 1.0}});   // no sound for a speaker: no take of the chain
    const ChainAnalysis chain = job.analyse();
    CHECK(chain.takes == std::vector<std::string>{"good.wav"});
    REQUIRE(chain.warnings.size() == 4);
    for (const Warning& one : chain.warnings) CHECK(one.code == "take_unreadable");
    CHECK(chain.warnings[0].take == "silent.wav");
    CHECK(chain.channels.size() == 1);
    // a probe on the supply beside a signal channel is passed over
    supply.channels = {L::supply};
    job.add("both.wav", {{L::supply, 1.0}, {L::left, 0.5}});
    const ChainAnalysis beside = job.analyse();
    CHECK(beside.channels.size() == 1);
    CHECK(beside.channels[0].gain_db->value == Approx(-6.02).margin(0.05));
}
