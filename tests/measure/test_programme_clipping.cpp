#include <catch2/catch.hpp>
#include <limits>

#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/error.hpp"
#include "music_maker.hpp"

using namespace hushtrace;
using namespace music_maker;

namespace {

ProgrammeClipping look(const std::vector<double>& samples, double rate = 48000) {
    ProgrammeClippingFinder finder(rate);
    for (std::size_t n = 0; n < samples.size(); n += 5000)
        finder.add({samples.data() + n, std::min<std::size_t>(5000, samples.size() - n)});
    return finder.result();
}
double db(double ratio) {
    return 20.0 * std::log10(ratio);
}
double share_beyond(const std::vector<double>& music, double rail) {
    return static_cast<double>(std::count_if(music.begin(), music.end(), [rail](double x) { return std::abs(x) > rail; })) /
           static_cast<double>(music.size());
}
ErrorKind refusal(const std::vector<double>& samples) {
    try {
        look(samples);
    } catch (const Error& error) {
        return error.kind();
    }
    FAIL("no refusal");
    return ErrorKind::device_failed;
}

}  // namespace

TEST_CASE("music that nothing cuts isn't said to clip, and 3 dB off its peaks is found, with level and share",
          "[clipping]") {
    std::mt19937_64 engine(7);
    const auto between = [&](double low, double high) { return std::uniform_real_distribution<double>(low, high)(engine); };
    const unsigned takes = 12;
    unsigned flagged = 0, found = 0, covered = 0, counted = 0;
    for (unsigned seed = 1; seed <= takes; ++seed) {
        const std::vector<double> sound = music(3.0, seed);
        Way way;
        way.seed = seed;
        way.gain = between(0.1, 0.7);
        way.coupling_hz = between(0.5, 16);
        way.noise = std::pow(10.0, between(-100, -75) / 20);
        flagged += look(captured(sound, way)).clips;
        way.upper = way.lower = std::pow(10.0, -3.0 / 20);
        const ProgrammeClipping clip = look(captured(sound, way));
        if (!clip.clips) continue;
        ++found;
        const double level = db(way.gain * way.upper), share = share_beyond(sound, way.upper);
        CAPTURE(seed, level, clip.clip_level_dbfs->value, clip.clip_level_dbfs->sd, share, clip.clipped_share);
        covered += std::abs(clip.clip_level_dbfs->value - level) <= 2 * clip.clip_level_dbfs->sd;
        counted += clip.clipped_share > 0.4 * share && clip.clipped_share < 3 * share + 1e-5;
        CHECK(clip.clip_level_dbfs->value == Approx(level).margin(0.5));
    }
    CAPTURE(flagged, found, covered, counted);
    CHECK(flagged == 0);
    CHECK(found >= 3);  // this sound is harder than real music: its own breaks hide most cuts
    CHECK(covered >= 0.80 * found);  // twelve takes; tests/bench/clipping_in_music.py has the figures
    CHECK(counted >= 0.70 * found);
}

TEST_CASE("what breaks by itself isn't clipped: square waves, clicks", "[clipping]") {
    std::vector<double> squares(4 * 48000 * kOver);
    std::mt19937_64 engine(5);
    double size = 0, period = 1000;
    for (std::size_t n = 0; n < squares.size(); ++n) {
        if (n % 40000 == 0) {
            size = std::uniform_real_distribution<double>(0.3, 1.0)(engine);
            period = std::uniform_real_distribution<double>(400, 1800)(engine);
        }
        squares[n] = size * (std::fmod(static_cast<double>(n), period) < period / 2 ? 1 : -1);
    }
    CHECK_FALSE(look(captured(squares, {})).clips);
    const std::vector<double> sound = captured(music(3.0, 4), {});
    std::vector<double> clicked = sound;  // a click anywhere but at a peak
    for (std::size_t n = 20000; n < clicked.size(); n += 20000) clicked[n] += clicked[n] > 0 ? -0.05 : 0.05;
    CHECK_FALSE(look(clicked).clips);
}

TEST_CASE("music that can't be judged is refused with a reason", "[clipping]") {
    CHECK(refusal({}) == ErrorKind::empty_input);
    CHECK(refusal(std::vector<double>(9000, 0.1)) == ErrorKind::too_short);
    CHECK(refusal(std::vector<double>(96000, 0.0)) == ErrorKind::invalid_input);
    CHECK(refusal(std::vector<double>(96000, 0.3)) == ErrorKind::invalid_input);
    std::vector<double> broken(96000, 0.1);
    broken[70000] = std::numeric_limits<double>::infinity();
    CHECK(refusal(broken) == ErrorKind::not_finite);
    std::vector<double> square(96000);
    for (std::size_t n = 0; n < square.size(); ++n) square[n] = n / 24 % 2 == 0 ? 1.0 : -1.0;
    for (const double rate : {8000.0, 48000.0, 384000.0}) {
        ProgrammeClippingFinder finder(rate);
        finder.add(square);
        try {
            const bool clips = finder.result().clips;
            CHECK_FALSE(clips);
        } catch (const Error& error) {
            CHECK((error.kind() == ErrorKind::invalid_input || error.kind() == ErrorKind::too_short));
        }
    }
}
