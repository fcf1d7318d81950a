#include <algorithm>
#include <catch2/catch.hpp>

#include "../../../src/diagnose/sources/noise_sources.hpp"
#include "diagnose/made_survey.hpp"
#include "holds.hpp"

using namespace hushtrace;

namespace {

using K = NoiseKind;

/// A take with the engine off whose lines are put in by hand, left and right.
struct Made {
    Take take;
    TakeSurvey survey;
    Job job;
    SpokenFor spoken;
    explicit Made(double bin_hz = 1.0, double rate_hz = 16000.0, Engine engine = Engine::off) : take(made_take("takes/a.flac", engine)) {
        survey = quiet_survey(take, bin_hz, rate_hz);
    }
    StillSpectrum& still(std::size_t c = 0) { return survey.channels[c].still; }
    StillSpectrum& brief(std::size_t c = 0) { return survey.channels[c].brief; }
    Made& lines(const std::vector<double>& lines_hz, double surprise = 50.0) {
        for (const double hz : lines_hz) stand(still(), hz, 1e-8, surprise);
        return *this;
    }
    std::vector<SteadyComb> found() const { return steady_combs_in(survey, job, spoken); }
};

std::vector<double> multiples(double rate_hz, const std::vector<int>& numbers) {
    std::vector<double> out;
    for (const int n : numbers) out.push_back(n * rate_hz);
    return out;
}

}  // namespace

TEST_CASE("levels of all channels join a source, the loudest stands for it", "[steady_noise]") {
    Take take = made_take("takes/a.flac", Engine::off, {Channel::left, Channel::right, Channel::sub});
    TakeSurvey survey = quiet_survey(take);
    survey.channels[0].volts_full_scale = 2.0;
    NoiseSource source;
    add_levels(source, survey, {1e-6, 0.0, 4e-6}, 0.1);
    REQUIRE(source.levels.size() == 2);   // nothing of the right channel's
    CHECK(source.levels[0].take == "takes/a.flac");
    CHECK(source.levels[0].channel == Channel::left);
    CHECK(source.levels[0].level_dbfs.value_or(0) == Approx(10.0 * std::log10(2e-6)));
    CHECK(source.levels[0].level_dbv.value_or(0) == Approx(10.0 * std::log10(4e-6)));   // 2 V at sample value 1
    CHECK_FALSE(source.levels[0].dbv_sd_db);
    CHECK(source.levels[0].limited_by == LimitedBy::nothing);
    CHECK_FALSE(source.levels[1].level_dbv);
    // 20 averages: 0.3 / sqrt(20) of the power
    CHECK(source.levels[1].sd_db == Approx(10.0 * std::log10(1.0 + 0.3 / std::sqrt(20.0))));
    CHECK(source.channels == std::vector<Channel>{Channel::left, Channel::sub});
    CHECK(source.takes == std::vector<std::string>{"takes/a.flac"});
    CHECK(source.level_dbfs == source.levels[1].level_dbfs);
    CHECK_FALSE(source.level_dbv);

    survey.channels[0].volts_full_scale_sd_db = 0.4;
    survey.channels[0].spectrum.effective_averages = 0.2;   // counts for one
    add_levels(source, survey, {9e-6, 0.0, 0.0}, 0.1);
    REQUIRE(source.levels.size() == 3);
    CHECK(source.takes.size() == 1);
    CHECK(source.channels.size() == 2);
    CHECK(source.level_dbfs == source.levels[2].level_dbfs);
    CHECK(source.level_dbv == source.levels[2].level_dbv);
    CHECK(source.levels[2].sd_db == Approx(10.0 * std::log10(1.3)));
    CHECK(source.levels[2].dbv_sd_db.value_or(0) == Approx(std::hypot(10.0 * std::log10(1.3), 0.4)));
    add_levels(source, survey, {1e-6, 0.0, 0.0}, 2.0);
    CHECK(source.levels[3].sd_db == 2.0);
    CHECK(source.level_dbfs == source.levels[2].level_dbfs);   // no louder

    // the noise under the lines: variance (4 * 1 Hz * N^2 + 2 P N) / 20 s of each (Bendat and Piersol 8.2)
    NoiseSource noisy;
    survey.channels[2].floor_density.assign(survey.channels[2].floor_density.size(), 1e-8);
    add_levels(noisy, survey, {0.0, 0.0, 1e-6}, 0.5, {400.0});
    const double relative = std::sqrt((4.0 * 1e-16 + 2.0 * 1e-6 * 1e-8) / 20.0) / 1e-6;
    CHECK(noisy.levels.at(0).sd_db == Approx(std::hypot(0.5, 10.0 / std::log(10.0) * relative)).epsilon(0.01));
    CHECK(noisy.levels[0].limited_by == LimitedBy::nothing);
    survey.channels[2].floor_density.assign(survey.channels[2].floor_density.size(), 1e-6);
    add_levels(noisy, survey, {0.0, 0.0, 1e-6}, 0.5, {400.0});
    CHECK(noisy.levels.at(1).limited_by == LimitedBy::noise);
}

TEST_CASE("lines that go together are one comb, each with what it is", "[steady_noise]") {
    struct Row {
        std::vector<double> lines_hz;
        K kind;
        double frequency_hz;
        const char* rests_on;
    };
    for (const Row& row : {Row{multiples(130, {1, 2, 3, 4, 5, 6, 7, 8}), K::switched_load, 130, "load: fits pulses"},
                           Row{{300, 600}, K::switched_load, 300, "load: one multiple"},
                           Row{multiples(50, {1, 2, 3}), K::mains_hum, 50, "mains: several lines, usual frequency"},
                           Row{multiples(1000, {1, 2, 3}), K::bus_tone, 1000, "bus: several lines"}, Row{{2000}, K::bus_tone, 1000, "bus: one line"},
                           Row{{2400}, K::bus_tone, 800, "bus: one line"}, Row{{437}, K::unexplained_tone, 437, "tone: clear"}}) {
        CAPTURE(row.lines_hz);
        const auto found = Made().lines(row.lines_hz).found();
        REQUIRE(found.size() == 1);
        CHECK(found[0].kind == row.kind);
        CHECK(found[0].frequency_hz == Approx(row.frequency_hz).margin(0.05));
        CHECK(found[0].rests_on == row.rests_on);
        CHECK(found[0].mean_square.at(0) == Approx(1e-8 * static_cast<double>(row.lines_hz.size())).epsilon(0.01));
        CHECK(found[0].mean_square.at(1) == 0.0);
    }
    const auto bus = Made().lines({2000}).found().at(0);
    CHECK(bus.harmonics.at(0).number == 2.0);
    CHECK(bus.frequency_sd_hz == Approx(0.015));   // half of the line's
    // two high lines lie on some comb by chance
    const auto two = Made().lines({1330, 1710}).found();
    REQUIRE(two.size() == 2);
    CHECK(two[0].kind == K::unexplained_tone);
    // nor are four on multiples of few hertz clicks: some rate fits always
    const auto four = Made().lines({1511, 1709, 1907, 2111}).found();
    CHECK(four.size() == 4);
    CHECK(Made().lines({1511, 1513.4}).found().size() == 1);   // the skirt of the other
    CHECK(Made().found().empty());
    Made silent;
    silent.lines({437});
    silent.survey.channels[0].silent = silent.survey.channels[1].silent = true;
    CHECK(silent.found().empty());
}

TEST_CASE("lines too faint to be found by name are named by their very rate", "[steady_noise]") {
    // a surprise of 12 is no comb of the mains among the rates that are tried, but a line that stands
    const auto mains = Made().lines({50}, 11.0).found();
    REQUIRE(mains.size() == 1);
    CHECK(mains[0].kind == K::mains_hum);
    CHECK(mains[0].rests_on == "mains: one line");
    CHECK(mains[0].surprise == Approx(11.0));
    CHECK(mains[0].harmonics.at(0).number == 1.0);
    const auto tone = Made().lines({52}, 11.0).found();
    CHECK(tone.at(0).kind == K::unexplained_tone);
    CHECK(tone.at(0).rests_on == "tone: faint");
    Made phone(1.0 / 3.0, 8000.0);
    const auto frames = phone.lines({650.0 / 3.0}, 15.0).found();
    REQUIRE(frames.size() == 1);
    CHECK(frames[0].kind == K::phone_burst);
    CHECK(frames[0].rests_on == "phone: by its rate");
    const auto beside = Made(1.0 / 3.0, 8000.0).lines({217.0}, 15.0).found();
    CHECK(beside.at(0).kind == K::unexplained_tone);
    Made heard;   // and by its frames
    heard.survey.channels[0].phone = CombStretch{made_comb(650.0 / 3.0, alike({1, 2, 3})), 1.0, 3.0, 40.0, false};
    REQUIRE(heard.found().size() == 1);
    CHECK(heard.found()[0].rests_on == "phone: two or three lines");
    // a bus's line doesn't stray
    Made turning;
    stand(turning.still(), 2000.0, 1e-8).wander_hz = 0.7;
    CHECK(turning.found().at(0).kind == K::motor_whine);
}

TEST_CASE("few lines at multiples of 100 Hz that begin low are a rectifier's, however high the strongest", "[steady_noise]") {
    Made three;
    for (const double hz : {100.0, 200.0}) stand(three.still(), hz, 1e-10);
    stand(three.still(), 1000.0, 1e-8);
    const auto found = three.found();
    REQUIRE(found.size() == 1);
    CHECK(found[0].kind == K::mains_hum);
    CHECK(found[0].frequency_hz == Approx(50.0).margin(0.01));
    CHECK(found[0].rests_on == "mains: even ones alone");
    REQUIRE(found[0].harmonics.size() == 3);
    CHECK(found[0].harmonics[0].number == 2.0);
    CHECK(found[0].harmonics[2].number == 20.0);
    CHECK(found[0].frequency_sd_hz < 0.01);   // read at the 20th: 0.03 Hz and what the fit allows, over 20
    Made four;   // of more there would be more; one so high leads a motor's turns
    for (const double hz : {100.0, 200.0, 300.0}) stand(four.still(), hz, 1e-10);
    stand(four.still(), 1000.0, 1e-8);
    CHECK(four.found().at(0).kind == K::motor_whine);
}

TEST_CASE("a line that both channels hold is one, read where it is clearer", "[steady_noise]") {
    Made s;
    stand(s.still(0), 437, 1e-8, 41.0);
    stand(s.still(1), 437, 3e-8, 60.0);
    const auto one = s.found();
    REQUIRE(one.size() == 1);
    CHECK(one[0].surprise == 60.0);
    CHECK(one[0].mean_square[0] == Approx(1e-8));
    CHECK(one[0].mean_square[1] == Approx(3e-8));
    for (const double surprise : {3.2, 3.6}) {   // 3, and 0.36 for having looked in two bins
        Made faint;
        stand(faint.still(0), 437, 1e-8, 60.0);
        stand(faint.still(1), 437, 3e-8, surprise);
        CHECK(faint.found().at(0).mean_square[1] == Approx(surprise > 3.4 ? 3e-8 : 0.0));
    }
    Made apart;   // a bin and a half
    stand(apart.still(0), 437, 1e-8, 60.0);
    stand(apart.still(1), 436, 3e-8, 41.0);
    REQUIRE(apart.found().size() == 1);
    CHECK(apart.found()[0].frequency_hz == 437.0);
    CHECK(apart.found()[0].mean_square[1] == 0.0);   // at that very place the other shows nothing
    Made two;
    stand(two.still(0), 437, 1e-8, 41.0);
    stand(two.still(1), 445, 3e-8, 60.0);
    const auto both = two.found();
    REQUIRE(both.size() == 2);
    CHECK(both[0].frequency_hz == 445.0);   // the clearer first
    Made unsteady;
    stand(unsteady.still(0), 437, 1e-8).steady = false;
    CHECK(unsteady.found().empty());
    Made known;
    known.lines({437});
    known.spoken.known_hz = {436.0};
    CHECK(known.found().empty());
}

TEST_CASE("what is left over and lies on multiples of a few hertz is clicks", "[steady_noise]") {
    // primes: no few of them make a comb, all are multiples of 11 Hz
    const std::vector<double> lines_hz = multiples(11, {401, 409, 421, 443, 461, 479, 499, 523, 547});
    const auto found = Made().lines(lines_hz).found();
    REQUIRE(found.size() == 1);
    CHECK(found[0].kind == K::periodic_tick);
    CHECK(found[0].frequency_hz == Approx(11.0).margin(0.003));
    CHECK(found[0].mean_square[0] == Approx(9e-8));
    CHECK(holds(found[0].why, "9 lines"));
    // a line says ln(rate / 0.8 Hz); ln of the rates that are tried, and 7, must be surpassed: ln(ln 15 / 5e-5) + 7 = 17.9 up to 4 kHz.
    // Seven lines say 18.3 at 11 Hz, 17.7 at 10 Hz
    const std::vector<int> seven = {241, 263, 283, 307, 331, 347, 359};
    CHECK(Made().lines(multiples(11, seven)).found().size() == 1);
    CHECK(Made().lines(multiples(10, seven)).found().size() == 7);
    std::vector<double> off_hz = lines_hz;
    off_hz[4] += 3.0;   // one lies on none of them
    for (const SteadyComb& one : Made().lines(off_hz).found()) CHECK(one.kind != K::periodic_tick);
}

TEST_CASE("no more than a dozen are told of one take", "[steady_noise]") {
    const auto found = Made().lines({1511, 1709, 1907, 2111, 2309, 2503, 2707, 2903, 3109, 3301, 3511, 3709, 3907, 4111}).found();
    CHECK(found.size() == 12);
}

TEST_CASE("a faint comb low down is found beside a dozen clearer tones", "[steady_noise]") {
    Made s;
    for (const double hz : multiples(130, {1, 2, 3, 4, 5})) stand(s.still(), hz, 1e-9, 14.0);
    s.lines({1511, 1709, 1907, 2111, 2309, 2503, 2707, 2903, 3109, 3301, 3511, 3709, 3907});
    const auto found = s.found();
    REQUIRE(found.size() == 12);
    CHECK(found[0].kind == K::switched_load);
    CHECK(found[0].frequency_hz == Approx(130.0).margin(0.05));
}

TEST_CASE("a bus's line on which a slower comb's multiple falls is that comb's", "[steady_noise]") {
    std::vector<int> numbers = {1, 2, 3, 4, 5, 6, 7, 8};
    const auto found = [&](const std::vector<int>& with) {
        auto lines_hz = multiples(40, with);
        lines_hz.push_back(1000);   // the 25th
        return Made().lines(lines_hz).found();
    };
    const auto all = found(numbers);
    CHECK(std::none_of(all.begin(), all.end(), [](const SteadyComb& one) { return one.kind == K::bus_tone; }));
    CHECK(std::any_of(all.begin(), all.end(), [](const SteadyComb& one) { return one.harmonics.size() >= 5; }));
    const auto few = found({1, 2, 3, 4});   // four lines are not so sure
    CHECK(std::any_of(few.begin(), few.end(), [](const SteadyComb& one) { return one.kind == K::bus_tone; }));
}

TEST_CASE("with the engine at rest, lines that drift by hertz are a motor's", "[steady_noise]") {
    const auto drifting = [](Made& s) {
        std::size_t count = 0;
        for (const SteadyComb& one : s.found()) count += one.kind == K::motor_whine ? 1U : 0U;
        return count;
    };
    Made s;   // bins of 4 Hz
    stand(s.brief(), 640, 1e-8);
    const auto found = s.found();
    REQUIRE(found.size() == 1);
    CHECK(found[0].kind == K::motor_whine);
    CHECK(found[0].rests_on == "motor: strays a little");
    CHECK(found[0].frequency_hz == 640.0);
    CHECK(found[0].mean_square[0] == Approx(1e-8));
    stand(s.brief(1), 640, 1e-8);   // in both channels it is one
    CHECK(drifting(s) == 1);
    stand(s.brief(1), 900, 1e-8);   // no multiple of it
    CHECK(drifting(s) == 2);

    const auto one = [&](double frequency_hz, auto change) {
        Made made;
        stand(made.brief(), frequency_hz, 1e-8);
        change(made);
        return drifting(made);
    };
    CHECK(one(3496, [](Made&) {}) == 1);
    CHECK(one(3504, [](Made&) {}) == 0);   // nothing turns so fast
    CHECK(one(640, [](Made& m) { m.brief().lines[0].steady = false; }) == 0);
    CHECK(one(640, [](Made& m) { m.take.conditions.engine = Engine::idle; }) == 0);
    CHECK(one(640, [](Made& m) { m.spoken.clicks = {{100.0, 0.0}}; }) == 0);
    // a line that holds still within three bins is the one
    CHECK(one(640, [](Made& m) { m.lines({651}); }) == 0);
    CHECK(one(640, [](Made& m) { m.lines({653}); }) == 1);
    // a family that is sure, within what it strays by
    const auto family = [](double mean_hz, double wander, double significance) {
        return [=](Made& m) {
            MovingFamily moving;
            moving.mean_hz = mean_hz;
            moving.wander = wander;
            moving.significance = significance;
            moving.lines.resize(2);
            for (OrderLine& line : moving.lines) line.mean_square = {1e-9};
            moving.lines[1].ratio = 2.0;
            m.survey.families = {moving};
        };
    };
    CHECK(one(640, family(629, 0.0, 8.1)) == 0);
    CHECK(one(640, family(627, 0.0, 8.1)) == 1);
    CHECK(one(640, family(629, 0.0, 7.9)) == 1);
    CHECK(one(640, family(622, 0.006, 8.1)) == 0);    // 12 Hz, and twice 3.7 Hz
    CHECK(one(640, family(619, 0.006, 8.1)) == 1);
    CHECK(one(640, family(315, 0.0, 8.1)) == 0);      // its double
    // hunting pulses
    CHECK(one(640, [](Made& m) {
              m.survey.channels[0].pulses.emplace();
              m.survey.channels[0].pulses->rate_hz = 640;
              m.survey.channels[0].pulses->width_hz = 10;
          }) == 0);
}

TEST_CASE("a drifting line's turns belong to it", "[steady_noise]") {
    Made s;
    for (const double hz : {80.0, 160.0, 240.0}) stand(s.brief(), hz, 1e-9);
    stand(s.brief(), 640, 1e-8, 60.0);
    const auto found = s.found();
    REQUIRE(found.size() == 1);
    CHECK(found[0].rests_on == "motor: strays a little, with its turns");
    CHECK(holds(found[0].evidence.at(0).text, "3 more lines lie at multiples of 80.0 Hz"));
}
