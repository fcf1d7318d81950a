#include "hushtrace/diagnose/hear.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <functional>
#include <numbers>

#include "diagnose/job_on_disk.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/tone_programme.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 4000;

std::vector<double> sine(double amplitude, double frequency_hz, double seconds, double rate = kRate) {
    std::vector<double> out;
    for (std::size_t n = 0; n < static_cast<std::size_t>(std::round(seconds * rate)); ++n)
        out.push_back(amplitude * std::sin(2 * std::numbers::pi * frequency_hz * static_cast<double>(n) / rate));
    return out;
}
double peak_of(std::span<const double> samples) {
    double peak = 0;
    for (const double one : samples) peak = std::max(peak, std::abs(one));
    return peak;
}

NoiseSource& add_source(NoiseAnalysis& analysis, const std::string& id, NoiseKind kind, const std::string& take, Channel channel = Channel::left) {
    NoiseSource& source = analysis.noise_sources.emplace_back();
    source.id = id;
    source.kind = kind;
    LevelInTake level;
    level.take = take;
    level.channel = channel;
    level.level_dbfs = -20;
    source.levels = {level};
    return source;
}
/// A line that holds still.
void add_tone(NoiseAnalysis& analysis, const std::string& id, double frequency_hz, const std::string& take, Channel channel = Channel::left) {
    add_source(analysis, id, NoiseKind::unexplained_tone, take, channel);
    SourceTrace trace;
    trace.source_id = id;
    trace.take = take;
    trace.steady = true;
    trace.track.time_s = {0, 1};
    trace.track.frequency_hz = {frequency_hz, frequency_hz};
    trace.ratios = {1.0};
    analysis.traces.push_back(trace);
}

Block read_all(const std::filesystem::path& file) {
    TakeReader reader(file);
    std::vector<std::vector<double>> channels(reader.channels());
    Block block;
    while (reader.read(block, 1 << 16) > 0)
        for (std::size_t c = 0; c < channels.size(); ++c) channels[c].insert(channels[c].end(), block.channel(c).begin(), block.channel(c).end());
    Block all(channels.size(), channels[0].size());
    for (std::size_t c = 0; c < channels.size(); ++c) std::copy(channels[c].begin(), channels[c].end(), all.channel(c).begin());
    return all;
}
std::string warned(const NoiseAnalysis& analysis, const std::string& code) {
    for (const Warning& one : analysis.warnings)
        if (one.code == code) return one.text;
    return "";
}
std::optional<ErrorKind> error_of(const std::function<void()>& work) {
    try {
        work();
    } catch (const Error& error) {
        return error.kind();
    }
    return std::nullopt;
}

}  // namespace

TEST_CASE("sounds go to a folder that is new or empty", "[hear]") {
    const TemporaryFolder folder;
    CHECK(!error_of([&] { check_hear_folder(folder / "new"); }));
    CHECK(!error_of([&] { check_hear_folder(folder.path()); }));
    std::ofstream(folder / "file") << "x";
    CHECK(error_of([&] { check_hear_folder(folder.path()); }) == ErrorKind::invalid_request);
    CHECK(error_of([&] { check_hear_folder(folder / "file"); }) == ErrorKind::invalid_request);
    NoiseAnalysis analysis;
    CHECK(error_of([&] { write_heard({}, folder / "file", {}, analysis); }) == ErrorKind::invalid_request);
    CHECK(error_of([&] { write_heard({}, folder / "file" / "inside", {}, analysis); }) == ErrorKind::file_unwritable);
    CHECK(!error_of([&] { write_heard({}, folder / "new", {}, analysis); }));
    CHECK(std::filesystem::is_directory(folder / "new" / "exact"));
    CHECK(analysis.heard_folder == (folder / "new").string());
    CHECK(analysis.heard.empty());
    CHECK(analysis.warnings.empty());
}

TEST_CASE("a source is written alone, and the take without it: the two add up", "[hear]") {
    JobOnDisk job;
    std::vector<double> left = sine(0.02, 500, 1), right = sine(0.01, 500, 1), bed = sine(0.1, 900, 1);
    for (std::size_t n = 0; n < left.size(); ++n) left[n] += bed[n];
    job.add("takes/the idle.wav", kRate, {Channel::left, Channel::right}, {left, right});
    NoiseAnalysis analysis;
    add_tone(analysis, "tone-1", 500, "takes/the idle.wav");
    add_source(analysis, "hiss-1", NoiseKind::hiss, "takes/the idle.wav", Channel::right);
    write_heard(job.opened, job.folder / "heard", {}, analysis);
    struct Row {
        const char *file, *what, *id;
        bool exact;
    };
    const Row rows[] = {{"01-the_idle-as-captured.flac", "take", "", false},
                        {"exact/the_idle-tone-1-alone.wav", "alone", "tone-1", true},
                        {"exact/the_idle-tone-1-without.wav", "without", "tone-1", true},
                        {"02-the_idle-tone-1-alone.flac", "alone", "tone-1", false},
                        {"03-the_idle-tone-1-without.flac", "without", "tone-1", false},
                        {"exact/the_idle-hiss-1-alone.wav", "alone", "hiss-1", true},
                        {"exact/the_idle-hiss-1-without.wav", "without", "hiss-1", true},
                        {"04-the_idle-hiss-1-alone.flac", "alone", "hiss-1", false},
                        {"05-the_idle-hiss-1-without.flac", "without", "hiss-1", false}};
    REQUIRE(analysis.heard.size() == std::size(rows));
    for (std::size_t i = 0; i < std::size(rows); ++i) {
        const HeardFile& file = analysis.heard[i];
        INFO(file.file);
        CHECK(file.file == rows[i].file);
        CHECK(file.what == rows[i].what);
        CHECK(file.source_id == rows[i].id);
        CHECK(file.exact == rows[i].exact);
        CHECK(file.take == "takes/the idle.wav");
        CHECK(file.from_s == 0);
        CHECK(file.duration_s == Approx(1.0));
        if (rows[i].exact) CHECK(file.gain_db == 0);
        const TakeReader reader(job.folder / "heard" / file.file);
        CHECK(reader.channels() == 2);
        CHECK(reader.sample_rate_hz() == kRate);
    }
    const auto read = [&](std::size_t row) { return read_all(job.folder / "heard" / analysis.heard[row].file); };
    const Block take = read_all(job.folder / "takes/the idle.wav"), captured = read(0), alone = read(1), without = read(2), loud = read(3),
        rest = read(4);
    REQUIRE(alone.frames() == take.frames());
    double apart = 0, off = 0;
    for (std::size_t c = 0; c < 2; ++c)
        for (std::size_t n = 0; n < take.frames(); ++n) {
            apart = std::max(apart, std::abs(alone.channel(c)[n] + without.channel(c)[n] - take.channel(c)[n]));
            off = std::max(off, std::abs(captured.channel(c)[n] - std::pow(10, analysis.heard[0].gain_db / 20) * take.channel(c)[n]));
        }
    CHECK(apart < 3.8e-9);  // half the last place of single precision below 0.125, once: 2^-28
    CHECK(off < 2e-7);      // 24 bits
    // the line is all that was taken, in each channel its own
    for (std::size_t c = 0; c < 2; ++c) CHECK(peak_of(alone.channel(c).subspan(1000, 2000)) == Approx(c == 0 ? 0.02 : 0.01).epsilon(0.02));
    CHECK(peak_of(without.channel(1).subspan(1000, 2000)) < 1e-3);
    // peaks end 6 dB below full scale
    const double six_below = std::pow(10, -0.3);
    CHECK(peak_of(captured.channel(0)) == Approx(six_below).epsilon(1e-5));
    CHECK(peak_of(loud.channel(0)) == Approx(six_below).epsilon(1e-5));
    CHECK(analysis.heard[0].gain_db == Approx(-6 - 20 * std::log10(peak_of(take.channel(0)))));
    // what is left is compared with the take: at its gain, though there would be room for more
    CHECK(analysis.heard[4].gain_db == Approx(analysis.heard[0].gain_db));
    CHECK(peak_of(rest.channel(0)) < 0.95 * six_below);
    // hiss is what the line leaves
    const Block hiss = read(5);
    CHECK(peak_of(hiss.channel(0).subspan(1000, 2000)) == Approx(0.1).epsilon(0.02));
}

TEST_CASE("a wished gain holds where it leaves the peaks below -6 dBFS, and 100 dB is the most", "[hear]") {
    for (const auto& [amplitude, wish_db, gain_db] :
         {std::tuple{0.1, std::optional(3.0), 3.0}, {0.1, std::optional(30.0), 14.0}, {1e-6, std::optional<double>(), 100.0},
          {0.0, std::optional<double>(), 0.0}}) {
        INFO(amplitude << ", " << wish_db.value_or(-1));
        JobOnDisk job;
        job.add("takes/a.wav", kRate, {Channel::left}, {sine(amplitude, 1000, 0.1)});   // a sample on every peak
        NoiseAnalysis analysis;
        add_source(analysis, "hiss-1", NoiseKind::hiss, "takes/a.wav");
        write_heard(job.opened, job.folder / "heard", {wish_db}, analysis);
        REQUIRE(analysis.heard.size() == 5);
        CHECK(analysis.heard[0].gain_db == Approx(gain_db).margin(1e-5));
        CHECK(analysis.heard[3].gain_db == Approx(gain_db).margin(1e-5));
    }
}

TEST_CASE("a source is heard in the pair of channels that holds its loudest", "[hear]") {
    using C = Channel;
    struct Case {
        std::vector<Channel> channels;
        Channel loudest;
        std::size_t first, second;   // of the file
    };
    const Case cases[] = {{{C::right, C::left}, C::right, 1, 0},   // left plays left
                          {{C::rear_left, C::left, C::rear_right, C::right}, C::rear_right, 0, 2},
                          {{C::rear_left, C::left, C::rear_right, C::right}, C::left, 1, 3},
                          {{C::left, C::rear_right}, C::rear_right, 0, 1},
                          {{C::left, C::sub}, C::left, 0, 1},
                          {{C::sub, C::supply, C::center}, C::sub, 0, 2},
                          {{C::supply, C::left}, C::left, 1, 1}};
    for (const Case& one : cases) {
        INFO(one.channels.size() << " channels, loudest " << to_word(one.loudest));
        JobOnDisk job;
        std::vector<std::vector<double>> sound;
        for (std::size_t c = 0; c < one.channels.size(); ++c) sound.push_back(sine(0.01 * static_cast<double>(c + 1), 1000, 0.1));
        job.add("takes/a.wav", kRate, one.channels, sound);
        NoiseAnalysis analysis;
        add_source(analysis, "hiss-1", NoiseKind::hiss, "takes/a.wav", one.loudest);
        write_heard(job.opened, job.folder / "heard", {}, analysis);
        const Block alone = read_all(job.folder / "heard/exact/a-hiss-1-alone.wav");
        CHECK(peak_of(alone.channel(0)) == Approx(0.01 * static_cast<double>(one.first + 1)).epsilon(1e-5));
        CHECK(peak_of(alone.channel(1)) == Approx(0.01 * static_cast<double>(one.second + 1)).epsilon(1e-5));
    }
}

TEST_CASE("another pair of channels, and takes of one name, have files of their own; what has no sound is said", "[hear]") {
    using C = Channel;
    JobOnDisk job;
    const std::string longest(70, 'x');
    const std::vector<double> sound = sine(0.1, 1000, 0.1);
    job.add("takes/a+.wav", kRate, {C::left, C::right, C::rear_left, C::rear_right}, {sound, sound, sound, sound});
    job.add("takes/b/a!.wav", kRate, {C::left}, {sound});
    job.add("takes/" + longest + ".wav", kRate, {C::left}, {sound});
    const std::string first = "takes/a+.wav";
    NoiseAnalysis analysis;
    add_source(analysis, "hiss-1", NoiseKind::hiss, first, C::left);
    add_tone(analysis, "tone-1", 500, first, C::rear_right);
    add_tone(analysis, "tone-2", 700, first, C::right);
    add_tone(analysis, "tone-3", 700, "takes/b/a!.wav");
    add_tone(analysis, "tone-4", 700, "takes/" + longest + ".wav");
    add_source(analysis, "clipping-1", NoiseKind::clipping, first);
    add_tone(analysis, "tone-5", 700, "takes/not there.wav");
    analysis.noise_sources.emplace_back().id = "heard_only-1";
    write_heard(job.opened, job.folder / "heard", {}, analysis);
    std::vector<std::string> takes;
    for (const HeardFile& file : analysis.heard)
        if (file.what == "take") takes.push_back(file.file);
    CHECK(takes == std::vector<std::string>{"01-a_-as-captured.flac", "06-a_-2-as-captured.flac", "09-a_-3-as-captured.flac",
                                            "12-" + longest.substr(0, 60) + "-as-captured.flac"});
    const auto has = [&](const std::string& file) {
        return std::any_of(analysis.heard.begin(), analysis.heard.end(), [&](const HeardFile& one) { return one.file == file; });
    };
    CHECK(has("exact/a_-tone-2-alone.wav"));      // beside hiss, in the first pair
    CHECK(has("exact/a_-2-tone-1-alone.wav"));
    CHECK(has("exact/a_-3-tone-3-alone.wav"));
    std::string not_heard;
    for (const Warning& one : analysis.warnings) {
        CHECK(one.code == "not_heard");
        CHECK(!one.take);
        not_heard += one.text.substr(0, one.text.find(':')) + " ";
    }
    CHECK(not_heard == "clipping-1 tone-5 heard_only-1 ");
    // letters and figures stay
    JobOnDisk named;
#ifdef _WIN32   // which takes no colon in a name
    const std::string after_nine = ";";
#else
    const std::string after_nine = ":";
#endif
    const std::string odd = "takes/az-AZ_09 `{@[" + after_nine + ".wav";
    named.add(odd, kRate, {C::left}, {sound});
    NoiseAnalysis other;
    add_source(other, "hiss-1", NoiseKind::hiss, odd);
    write_heard(named.opened, named.folder / "heard", {}, other);
    CHECK(other.heard[0].file == "01-az-AZ_09______-as-captured.flac");
}

TEST_CASE("a take's first minute can be heard, of a tone file what lies between its markers", "[hear]") {
    for (const auto& [seconds, heard_s] : {std::pair{66.0, 60.0}, {60.0, 60.0}, {40.0, 40.0}}) {
        const double rate = 2000;   // 65536 frames are read at a time: a minute wants two
        JobOnDisk job;
        job.add("takes/a.wav", rate, {Channel::left, Channel::right}, {sine(0.1, 7.3, seconds, rate), sine(0.2, 11.1, seconds, rate)});
        NoiseAnalysis analysis;
        add_source(analysis, "hiss-1", NoiseKind::hiss, "takes/a.wav");
        write_heard(job.opened, job.folder / "heard", {0.0}, analysis);
        CHECK(analysis.heard[0].duration_s == Approx(heard_s));
        CHECK(analysis.heard[0].from_s == 0);
        CHECK(warned(analysis, "hear_cut_short") == (seconds > 60 ? "takes/a.wav: the first 60 s can be heard" : ""));
        if (seconds > 60) CHECK(analysis.warnings[0].take == "takes/a.wav");
        const Block take = read_all(job.folder / "takes/a.wav"), written = read_all(job.folder / "heard" / analysis.heard[0].file);
        REQUIRE(written.frames() == static_cast<std::size_t>(heard_s * rate));
        double off = 0;
        for (std::size_t c = 0; c < 2; ++c)
            for (std::size_t n = 0; n < written.frames(); ++n) off = std::max(off, std::abs(written.channel(c)[n] - take.channel(c)[n]));
        CHECK(off < 2e-7);
    }
    // half a second of near-silence, a marker, two seconds, a marker, half a second
    const double rate = 8000;
    std::vector<double> sound = sine(1e-4, 1000, 0.5, rate);
    const auto append = [&sound](const std::vector<double>& more) { sound.insert(sound.end(), more.begin(), more.end()); };
    append(marker_samples(Marker::End::opening, rate));
    append(sine(0.01, 997, 2.0, rate));
    append(marker_samples(Marker::End::closing, rate));
    append(sine(1e-4, 1000, 0.5, rate));
    for (const ToneVia via : {ToneVia::stick, ToneVia::interface_output}) {
        JobOnDisk job;
        job.add("takes/a.wav", rate, {Channel::left}, {sound}).tone = PlayedTone{NearSilence{}, via};
        NoiseAnalysis analysis;
        add_source(analysis, "hiss-1", NoiseKind::hiss, "takes/a.wav");
        write_heard(job.opened, job.folder / "heard", {}, analysis);
        const bool all = via == ToneVia::interface_output;   // such takes begin behind the marker
        CHECK(analysis.heard[0].from_s == Approx(all ? 0.0 : 0.5 + Marker::duration_s + 0.1).margin(0.002));
        CHECK(analysis.heard[0].duration_s == Approx(all ? static_cast<double>(sound.size()) / rate : 1.8).margin(0.004));
    }
}
