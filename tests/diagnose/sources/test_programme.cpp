#include <catch2/catch.hpp>

#include "diagnose/job_on_disk.hpp"
#include "hushtrace/diagnose/noise_analysis.hpp"
#include "measure/clipped_tone.hpp"
#include "measure/music_maker.hpp"

using namespace hushtrace;

namespace {

const NoiseSource* clipping_in(const NoiseAnalysis& noise) {
    for (const NoiseSource& source : noise.noise_sources)
        if (source.kind == NoiseKind::clipping) return &source;
    return nullptr;
}
bool warned(const NoiseAnalysis& noise, const std::string& code) {
    return std::any_of(noise.warnings.begin(), noise.warnings.end(), [&](const Warning& w) { return w.code == code; });
}
std::vector<double> hiss(double rms) {
    clipped_tone::Setup s;
    s.amplitude = 0;
    s.noise_rms = rms;
    s.seconds = 3;
    return clipped_tone::render(s);
}

}  // namespace

TEST_CASE("music in a take is set aside from the noise; where it is cut that is found, with level and share", "[noise]") {
    const std::vector<double> sound = music_maker::music(3.0, 8);
    for (const bool cut : {false, true}) {
        JobOnDisk job;
        job.add("takes/quiet.wav", 48000, {Channel::left}, {hiss(1e-4)});
        music_maker::Way way;
        way.gain = 0.8;
        if (cut) way.upper = way.lower = 0.7;
        job.add("takes/music.wav", 48000, {Channel::left}, {music_maker::captured(sound, way)});
        const NoiseAnalysis noise = analyse_noise(job.opened);
        CAPTURE(cut);
        CHECK(warned(noise, "programme_material"));
        CHECK(noise.floor.size() == 1);
        for (const NoiseSource& source : noise.noise_sources)
            if (source.kind != NoiseKind::clipping) CHECK(source.takes == std::vector<std::string>{"takes/quiet.wav"});
        const NoiseSource* found = clipping_in(noise);
        REQUIRE((found != nullptr) == cut);
        if (!cut) continue;
        CHECK(*found->clip_level_dbfs == Approx(20 * std::log10(0.8 * 0.7)).margin(0.1));
        const auto beyond = std::count_if(sound.begin(), sound.end(), [](double x) { return std::abs(x) > 0.7; });
        CHECK(*found->clipped_share == Approx(static_cast<double>(beyond) / static_cast<double>(sound.size())).epsilon(0.3));
        CHECK(found->takes == std::vector<std::string>{"takes/music.wav"});
    }
}

TEST_CASE("which sides are cut is said in words", "[noise]") {
    const auto words = [](double upper, double lower) {
        JobOnDisk job;
        job.add("takes/quiet.wav", 48000, {Channel::left}, {hiss(1e-4)});
        clipped_tone::Setup s;
        s.law = clipped_tone::hard(upper, lower);
        s.amplitude = 0.4;
        s.seconds = 3;
        s.noise_rms = 1e-4;
        job.add("takes/tone.wav", 48000, {Channel::left}, {clipped_tone::render(s)}).tone = PlayedTone{Sine{997, 0}, std::nullopt};
        const NoiseAnalysis noise = analyse_noise(job.opened);
        const NoiseSource* found = clipping_in(noise);
        REQUIRE(found);
        std::string all;
        for (const Evidence& one : found->evidence) all += one.text + "\n";
        return all;
    };
    const std::string equal = words(0.3, 0.3), one = words(0.3, 1.0), unequal = words(0.3, 0.25);
    CAPTURE(equal, one, unequal);
    CHECK(one.find("on one side alone") != std::string::npos);
    CHECK(unequal.find("at another level on either side") != std::string::npos);
    CHECK(equal.find("side") == std::string::npos);
}

TEST_CASE("a tone held at one volume is reported where it clips", "[noise]") {
    for (const double rail : {0.25, 1.0}) {
        JobOnDisk job;
        job.add("takes/quiet.wav", 48000, {Channel::left}, {hiss(1e-4)});
        clipped_tone::Setup s;
        s.law = clipped_tone::hard(rail);
        s.amplitude = 0.4;
        s.seconds = 3;
        s.noise_rms = 1e-4;
        job.add("takes/tone.wav", 48000, {Channel::left}, {clipped_tone::render(s)}).tone = PlayedTone{Sine{997, 0}, std::nullopt};
        const NoiseAnalysis noise = analyse_noise(job.opened);
        const NoiseSource* found = clipping_in(noise);
        CAPTURE(rail);
        REQUIRE((found != nullptr) == (rail < 0.4));
        if (!found) continue;
        CHECK(*found->clip_level_dbfs == Approx(20 * std::log10(rail)).margin(0.02));
        CHECK(*found->clipped_share == Approx(2 * std::acos(rail / 0.4) / clipped_tone::kPi).margin(0.01));
        CHECK(noise.floor.size() == 1);
    }
}
