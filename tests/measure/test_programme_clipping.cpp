#include <array>
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
    const auto beyond = std::count_if(music.begin(), music.end(), [rail](double x) { return std::abs(x) > rail; });
    return static_cast<double>(beyond) / static_cast<double>(music.size());
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

/// The ways of a dozen captures: level, coupling and noise differ.
Way way_of(unsigned seed) {
    std::mt19937_64 engine(100 + seed);
    const auto between = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(engine);
    };
    Way way;
    way.seed = seed;
    way.gain = std::pow(10.0, between(-40, -0.1) / 20);
    way.coupling_hz = between(0.5, 16);
    way.noise = std::pow(10.0, between(-100, -75) / 20);
    return way;
}
constexpr double kThreeDown = 0.7079;  // 3 dB below the peak
/// Seeds of sound of which 0.08 to 0.5 % of the samples lie above -3 dB.
constexpr std::array kDense = {2U, 4U, 6U, 7U, 8U, 10U, 11U, 13U, 16U, 17U, 18U, 20U};

}  // namespace

TEST_CASE("sound rich in treble with hard onsets: uncut it isn't said to clip, cut by 3 dB it is, with level and share",
          "[clipping]") {
    unsigned flagged = 0, found = 0, covered = 0, counted = 0;
    for (const unsigned seed : kDense) {
        const std::vector<double> sound = music(3.0, seed);
        Way way = way_of(seed);
        flagged += look(captured(sound, way)).clips;
        way.upper = way.lower = kThreeDown;
        const ProgrammeClipping clip = look(captured(sound, way));
        if (!clip.clips) continue;
        ++found;
        const double level = db(way.gain * way.upper), share = share_beyond(sound, way.upper);
        REQUIRE(share > 7e-4);
        CAPTURE(seed, level, clip.clip_level_dbfs->value, clip.clip_level_dbfs->sd, share, clip.clipped_share);
        covered += std::abs(clip.clip_level_dbfs->value - level) <= 2 * clip.clip_level_dbfs->sd;
        counted += clip.clipped_share > 0.25 * share && clip.clipped_share < 1.6 * share;
        CHECK(clip.clip_level_dbfs->value == Approx(level).margin(std::max(0.3, 3 * clip.clip_level_dbfs->sd)));
    }
    CAPTURE(flagged, found, covered, counted);
    CHECK(flagged == 0);
    CHECK(found >= 11);
    CHECK(covered >= 9);  // of twelve; tests/bench/clipping_in_music.py has the figure
    CHECK(counted >= 10);
}

TEST_CASE("a rail on one side, and rails at two levels, are told", "[clipping]") {
    unsigned found = 0, right = 0;
    for (std::size_t i = 0; i < 4; ++i) {
        const std::vector<double> sound = music(3.0, kDense[i]);
        const double highest = *std::max_element(sound.begin(), sound.end());
        const double lowest = -*std::min_element(sound.begin(), sound.end());
        Way way = way_of(kDense[i]);
        const bool above = i % 2 == 0;
        (above ? way.upper : way.lower) = 0.6 * (above ? highest : lowest);
        const ProgrammeClipping one = look(captured(sound, way));
        CAPTURE(i, one.evidence);
        if (one.clips) {
            ++found;
            right += one.sides == (above ? ClippedSides::upper : ClippedSides::lower);
            CHECK(one.clip_level_dbfs->value == Approx(db(way.gain * std::min(way.upper, way.lower))).margin(0.3));
        }
        way.upper = 0.65 * highest;
        way.lower = 0.45 * lowest;
        const ProgrammeClipping two = look(captured(sound, way));
        if (two.clips) {
            ++found;
            const bool unequal = std::abs(db(way.upper / way.lower)) > 0.3;
            right += two.sides == (unequal ? ClippedSides::unequal : ClippedSides::both);
        }
    }
    CAPTURE(found, right);
    CHECK(found >= 7);  // of eight
    CHECK(right >= 6);
}

TEST_CASE("a limiter that turns the gain down without bending the wave isn't said to clip", "[clipping]") {
    for (std::size_t i = 0; i < 3; ++i) {
        std::vector<double> sound = music(3.0, kDense[i]);
        // the gain that each peak needs, 1 ms ahead and behind, smoothed over 1 ms
        const double ceiling = 0.5, rate = 48000.0 * kOver;
        const auto ahead = static_cast<std::size_t>(0.001 * rate);
        std::vector<double> gain(sound.size(), 1.0), smooth(sound.size(), 1.0);
        for (std::size_t n = 0; n < sound.size(); ++n) {
            if (std::abs(sound[n]) <= ceiling) continue;
            const double need = ceiling / std::abs(sound[n]);
            for (std::size_t m = n - std::min(n, ahead); m < std::min(sound.size(), n + ahead); ++m)
                gain[m] = std::min(gain[m], need);
        }
        double sum = static_cast<double>(ahead);
        for (std::size_t n = ahead; n < sound.size(); ++n) {
            sum += gain[n] - gain[n - ahead];
            smooth[n - ahead / 2] = sum / static_cast<double>(ahead);
        }
        for (std::size_t n = 0; n < sound.size(); ++n) sound[n] *= smooth[n];
        const ProgrammeClipping limited = look(captured(sound, way_of(kDense[i])));
        CAPTURE(i, limited.evidence);
        CHECK_FALSE(limited.clips);
    }
}

TEST_CASE("music clipped as samples, in 16 bits, loud or quiet, is found; blocks' sizes don't matter",
          "[clipping]") {
    for (const double gain : {1.0, 0.01}) {
        const std::vector<double> sound = captured(music(3.0, kDense[1]), {});
        double most = 0;
        for (const double x : sound) most = std::max(most, std::abs(x));
        std::vector<double> clean, cut;
        for (const double x : sound) {
            clean.push_back(std::round(gain * 0.999 * x / most * 32767) / 32768);
            cut.push_back(std::round(gain * std::clamp(x / most, -kThreeDown, kThreeDown) * 32767) / 32768);
        }
        CAPTURE(gain);
        CHECK_FALSE(look(clean).clips);
        const ProgrammeClipping clip = look(cut);
        REQUIRE(clip.clips);
        CHECK(clip.sides == ClippedSides::both);
        CHECK(clip.clip_level_dbfs->value == Approx(db(gain * kThreeDown)).margin(0.1));
        ProgrammeClippingFinder whole(48000);
        whole.add(cut);
        CHECK(whole.result().evidence == clip.evidence);
        CHECK(whole.result().clipped_share == clip.clipped_share);
    }
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

namespace {

/// Thirty sines of 60 to 1200 Hz at 8 kHz, peaking at 1, between two rails; a way that adds a little noise.
std::vector<double> chord(double upper, double lower, double gain = 0.5, unsigned seed = 1, double seconds = 3.0) {
    std::mt19937_64 engine(seed);
    std::uniform_real_distribution<double> even(0.0, 1.0);
    std::normal_distribution<double> normal(0.0, 1e-5);
    std::vector<double> out(static_cast<std::size_t>(seconds * 8000.0), 0.0);
    for (int k = 0; k < 30; ++k) {
        const double turn = 2.0 * kPi * 60.0 * std::pow(20.0, even(engine)) / 8000.0, phase = 2.0 * kPi * even(engine);
        for (std::size_t n = 0; n < out.size(); ++n) out[n] += std::cos(turn * static_cast<double>(n) + phase);
    }
    double most = 0;
    for (const double x : out) most = std::max(most, std::abs(x));
    for (double& x : out) x = gain * (std::clamp(x / most, -lower, upper) + normal(engine));
    return out;
}

}  // namespace

TEST_CASE("which rails cut a sound, at what level and how much of it", "[clipping]") {
    struct Row {
        double upper, lower, gain;
        ClippedSides sides;
    };
    for (const Row& row : {Row{0.6, 0.6, 0.01, ClippedSides::both}, {0.6, 2.0, 0.5, ClippedSides::upper}, {2.0, 0.6, 0.5, ClippedSides::lower},
                           {0.6, 0.5, 0.5, ClippedSides::unequal}}) {
        CAPTURE(row.upper, row.lower, row.gain);
        const auto samples = chord(row.upper, row.lower, row.gain);
        const ProgrammeClipping clip = look(samples, 8000);
        CHECK(clip.clips);
        CHECK(to_word(clip.sides) == to_word(row.sides));
        CHECK(clip.evidence > 1.0);
        const double nearer = std::min(row.upper, row.lower), other = std::max(row.upper, row.lower);
        REQUIRE(clip.clip_level_dbfs);
        CHECK(clip.clip_level_dbfs->value == Approx(db(row.gain * nearer)).margin(0.1));
        CHECK(clip.clip_level_dbfs->sd > 0.0);
        CHECK(clip.clip_level_dbfs->sd < 0.3);
        REQUIRE(clip.other_level_dbfs.has_value() == (row.sides == ClippedSides::unequal));
        if (clip.other_level_dbfs) CHECK(clip.other_level_dbfs->value == Approx(db(row.gain * other)).margin(0.2));
        // what stands within 1.5 % of a rail
        const auto cut = std::count_if(samples.begin(), samples.end(),
                                       [&](double x) { return x > 0.985 * row.gain * row.upper || x < -0.985 * row.gain * row.lower; });
        const double share = static_cast<double>(cut) / static_cast<double>(samples.size());
        CHECK(clip.clipped_share < 1.02 * share);
        CHECK(clip.clipped_share > 0.75 * share);
        CHECK(clip.largest == Approx(row.gain * std::min(other, 1.0)).epsilon(0.25));
        CHECK(clip.peaks_cut > 8);
        CHECK(clip.peaks_cut <= clip.peaks_seen);
        CHECK(clip.peaks_seen <= 32);   // sixteen of either side
    }
    const ProgrammeClipping whole = look(chord(2.0, 2.0), 8000);
    CHECK_FALSE(whole.clips);
    CHECK(whole.evidence <= 1.0);
    CHECK(to_word(whole.sides) == "none");
    CHECK_FALSE(whole.clip_level_dbfs);
    CHECK(whole.clipped_share == 0.0);
    CHECK(whole.peaks_cut == 0);
    CHECK(whole.peaks_seen > 0);
    CHECK(whole.largest == Approx(0.5).epsilon(1e-3));
}

TEST_CASE("half a second of sound is enough to be judged, less, dc and what has no peak are refused", "[clipping]") {
    const auto kind = [](std::vector<double> samples) {
        try {
            look(samples, 8000);
        } catch (const Error& error) {
            return error.kind();
        }
        return ErrorKind::device_failed;
    };
    CHECK(kind(chord(0.6, 0.6, 0.5, 1, 0.5)) == ErrorKind::device_failed);   // none
    CHECK(kind(chord(0.6, 0.6, 0.5, 1, 0.499)) == ErrorKind::too_short);
    CHECK_THROWS_WITH(look(chord(0.6, 0.6, 0.5, 1, 0.25), 8000), Catch::Contains("0.25 s") && Catch::Contains("0.5 s"));
    CHECK(kind({}) == ErrorKind::empty_input);
    CHECK(kind(std::vector<double>(8000, 0.3)) == ErrorKind::invalid_input);
    std::vector<double> barely(8000, 0.3);
    for (std::size_t n = 0; n < barely.size(); ++n) barely[n] += 0.9e-6 * std::cos(0.01 * static_cast<double>(n));
    CHECK(kind(barely) == ErrorKind::invalid_input);
    std::vector<double> rising(8000);
    for (std::size_t n = 0; n < rising.size(); ++n) rising[n] = 1e-4 * static_cast<double>(n);
    CHECK(kind(rising) == ErrorKind::invalid_input);
}
