#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "../../../src/diagnose/gain/gain_noise.hpp"
#include "../../../src/diagnose/takes/take_kind.hpp"
#include "diagnose/stepped_job.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 8000;

/// A take that holds a sine of 1 kHz of these amplitudes in its channels; a sine of 0.1 on a scale of 10 V is 0.7071 V, -3.01 dBV.
struct Sounds {
    OpenedJob opened;
    std::map<std::string, Block> sound;

    Sounds() { opened.job.interface.volts_full_scale = {10.0, 10.0}; }
    Take& add(const std::string& file, const std::vector<double>& amplitudes, double seconds = 1.0,
              std::vector<Channel> channels = {Channel::left, Channel::right}) {
        Take take;
        take.file = file;
        take.channels = std::move(channels);
        Block block;
        block.reset(amplitudes.size(), static_cast<std::size_t>(kRate * seconds));
        for (std::size_t c = 0; c < amplitudes.size(); ++c)
            for (std::size_t n = 0; n < block.frames(); ++n)
                block.channel(c)[n] = amplitudes[c] * std::sin(2 * std::numbers::pi * 1000 * static_cast<double>(n) / kRate);
        sound[file] = std::move(block);
        opened.job.takes.push_back(take);
        return opened.job.takes.back();
    }
    OpenTake open() const {
        return [this](const Take& take) -> std::unique_ptr<BlockReader> {
            const auto found = sound.find(take.file);
            if (found == sound.end()) throw Error(ErrorKind::file_unreadable, take.file);
            return std::make_unique<MemoryReader>(found->second, kRate);
        };
    }
    std::optional<InputNoise> read(const std::vector<Channel>& channels = {Channel::left, Channel::right}) const {
        return read_noise(opened, opened.job.takes[0], open(), channels);
    }
    std::string found(const std::string& amplifier = "") const {
        const auto one = noise_at_input(opened, open(), {Channel::left, Channel::right}, amplifier);
        return one ? one->take : "";
    }
};

constexpr double kTenth_dbv = -3.0103;

}  // namespace

TEST_CASE("the noise at the input is that of the noisiest channel asked for, in volts", "[gain][input_noise]") {
    Sounds sounds;
    sounds.add("takes/off.flac", {0.01, 0.1}).conditions.engine = Engine::accessory;
    auto one = sounds.read();
    REQUIRE(one);
    CHECK(one->take == "takes/off.flac");
    CHECK(one->source == &sounds.opened.job.takes[0]);
    CHECK(one->channel == Channel::right);
    CHECK(one->engine == Engine::accessory);
    CHECK(one->dbv == Approx(kTenth_dbv).margin(0.02));
    CHECK(one->sd_db >= 0);
    CHECK(one->sd_db < 4);
    one = sounds.read({Channel::left});
    REQUIRE(one);
    CHECK(one->channel == Channel::left);
    CHECK(one->dbv == Approx(kTenth_dbv - 20).margin(0.02));
    sounds.opened.job.takes[0].tone = PlayedTone{NearSilence{}, std::nullopt};
    REQUIRE(sounds.read());
    CHECK(sounds.read()->dbv == Approx(kTenth_dbv).margin(0.02));
    sounds.opened.job.takes[0].tone.reset();
    CHECK_FALSE(sounds.read({Channel::sub}));
    std::swap(sounds.opened.job.takes[0].channels[0], sounds.opened.job.takes[0].channels[1]);
    CHECK(sounds.read()->channel == Channel::left);
    sounds.opened.job.takes[0].attenuation_db = {0, 6};
    CHECK(sounds.read()->dbv == Approx(kTenth_dbv + 6).margin(0.02));
    // an input that isn't calibrated doesn't count, nor does silence or a file that can't be read
    sounds.opened.job.interface.volts_full_scale = {10.0, std::nullopt};
    CHECK(sounds.read()->channel == Channel::right);
    sounds.opened.job.interface.volts_full_scale = {};
    CHECK_FALSE(sounds.read());
    sounds.opened.job.interface.volts_full_scale = {10.0, 10.0};
    sounds.sound["takes/off.flac"].reset(2, 8000);
    CHECK_FALSE(sounds.read());
    sounds.sound["takes/off.flac"].reset(2, 1000);  // half a segment
    CHECK_FALSE(sounds.read());
    sounds.sound.clear();
    CHECK_FALSE(sounds.read());
}

TEST_CASE("how unsure the noise is: by its band and the time that it was read for", "[gain][input_noise]") {
    Sounds sounds;
    sounds.add("takes/off.flac", {0.1, 0.1}, 4.0);
    CHECK(sounds.read()->channel == Channel::left);  // of two alike the first
    std::mt19937 bits(7);
    std::normal_distribution<double> normal(0, 0.05);
    for (double& sample : sounds.sound["takes/off.flac"].channel(1)) sample = normal(bits);
    const auto one = sounds.read({Channel::right});
    // 0.05 of 10 V rms, of which 20 to 4000 Hz hold 0.995; sd of a mean square 1 / sqrt(3980 Hz times 4 s)
    CHECK(one->dbv == Approx(20 * std::log10(0.5) + 10 * std::log10(0.995)).margin(0.12));
    CHECK(one->sd_db == Approx(10 * std::log10(1 + 1 / std::sqrt(3980 * 4.0))).epsilon(0.15));
    CHECK(one->limited_by == LimitedBy::nothing);
}

TEST_CASE("of a long take no more than a minute or so is read", "[gain][input_noise]") {
    Sounds sounds;
    sounds.add("takes/off.flac", {0.1}, 80.0, {Channel::left});
    const auto sound = sounds.sound["takes/off.flac"].channel(0);
    for (std::size_t n = static_cast<std::size_t>(70 * kRate); n < sound.size(); ++n) sound[n] *= 10;
    CHECK(sounds.read()->dbv == Approx(kTenth_dbv).margin(0.02));
    for (std::size_t n = static_cast<std::size_t>(55 * kRate); n < sound.size(); ++n) sound[n] *= 10;
    CHECK(sounds.read()->dbv > kTenth_dbv + 10);
}

TEST_CASE("the interface's own goes off the noise at the input, or is all that was seen", "[gain][input_noise]") {
    Sounds sounds;
    sounds.add("takes/off.flac", {0.1}, 1.0, {Channel::left});
    auto one = sounds.read();
    CHECK(one->limited_by != LimitedBy::interface);
    // half the power: 3.01 dB less
    sounds.opened.job.interface.own_noise_dbv = {kTenth_dbv - 3.1};
    one = sounds.read();
    CHECK(one->dbv == Approx(kTenth_dbv + 10 * std::log10(1 - std::pow(10.0, -0.31))).margin(0.05));
    CHECK(one->limited_by != LimitedBy::interface);
    CHECK(one->sd_db == Approx(10 * std::log10(1 + (std::pow(10.0, 0.03) - 1) / (std::pow(10.0, 0.31) - 1))).epsilon(0.1));
    sounds.opened.job.interface.own_noise_dbv = {kTenth_dbv - 2.9};
    one = sounds.read();
    CHECK(one->dbv == Approx(kTenth_dbv).margin(0.02));
    CHECK(one->limited_by == LimitedBy::interface);
}

TEST_CASE("of the takes that hold nothing but noise one with the engine off comes first", "[gain][input_noise]") {
    Sounds sounds;
    sounds.add("takes/idle.flac", {0.1, 0.1}).conditions.engine = Engine::idle;
    CHECK(sounds.found() == "takes/idle.flac");
    sounds.add("takes/off.flac", {0.1, 0.1});
    sounds.add("takes/key.flac", {0.1, 0.1}).conditions.engine = Engine::key_on;
    CHECK(sounds.found() == "takes/off.flac");
    sounds.sound.erase("takes/off.flac");
    CHECK(sounds.found() == "takes/key.flac");
    // of those that name an amplifier another one's are passed by
    sounds.opened.job.takes[2].conditions.at_amplifier = "rear";
    CHECK(sounds.found("rear") == "takes/key.flac");
    CHECK(sounds.found("front") == "takes/idle.flac");
    CHECK(sounds.found() == "takes/key.flac");
    sounds.opened.job.takes[0].conditions.at_amplifier = "rear";
    CHECK(sounds.found("front").empty());
    CHECK(Sounds().found().empty());
}

TEST_CASE("what a take must be for its noise to be the input's", "[gain][input_noise]") {
    using Change = void (*)(Take&);
    const auto is_noise = [](Change change) {
        Take take;
        change(take);
        return is_noise_at_input(take);
    };
    for (const Change change :
         std::vector<Change>{[](Take&) {},
                             [](Take& t) {
                                 t.tone = PlayedTone{NearSilence{}, std::nullopt};
                             },
                             [](Take& t) { t.conditions.source = SourceState::paused; }, [](Take& t) { t.faults = {TakeFault::dropout}; }})
        CHECK(is_noise(change));
    for (const Change change :
         std::vector<Change>{[](Take& t) {
                                 t.tone = PlayedTone{Sine{1000, 0}, std::nullopt};
                             },
                             [](Take& t) { t.conditions.hookup = {}; }, [](Take& t) { t.conditions.hookup = {Hookup::isolator}; },
                             [](Take& t) {
                                 t.conditions.hookup = {Hookup::normal, Hookup::isolator};
                             },
                             [](Take& t) { t.conditions.point = Point::amp_output; }, [](Take& t) { t.conditions.source = SourceState::off; },
                             [](Take& t) { t.faults = {TakeFault::source_muted}; }, [](Take& t) { t.faults = {TakeFault::overload}; }})
        CHECK_FALSE(is_noise(change));
    Take take;
    CHECK(plays_nothing(take));
    take.tone = PlayedTone{Pink{}, std::nullopt};
    CHECK_FALSE(plays_nothing(take));
}
