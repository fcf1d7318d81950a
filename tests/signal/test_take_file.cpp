// Takes on the disk: what can be read and what is refused.
#include <sndfile.h>
#include <sys/stat.h>

#include <cmath>
#include <fstream>
#include <limits>
#include <numbers>

#include <fmt/format.h>
#include <catch2/catch.hpp>

#include "signal/written_takes.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
namespace fs = std::filesystem;

TEST_CASE("what is written is read back, at any rate and channel count", "[take_file]") {
    TemporaryFolder folder;
    const double flac_step = 0x1p-23, float_step = 0x1p-25;
    struct Case {
        double rate_hz;
        std::size_t channels;
        const char* suffix;
        double margin;
    };
    const auto c = GENERATE_COPY(values<Case>({{8000, 1, ".flac", flac_step},
                                               {44100, 2, ".flac", flac_step},
                                               {96000, 8, ".flac", flac_step},
                                               {192000, 2, ".flac", flac_step},
                                               {8000, 1, ".wav", float_step},
                                               {48000, 2, ".wav", float_step},
                                               {192000, 8, ".wav", float_step},
                                               {44100, 13, ".wav", float_step}}));
    CAPTURE(c.rate_hz, c.channels, c.suffix);
    const fs::path file = folder / fmt::format("take{}", c.suffix);
    std::size_t frames = 0;
    TakeWriter writer(file, c.rate_hz, c.channels);
    for (const std::size_t count : {1U, 4095U, 777U, 20000U}) {
        writer.write(sine_block(c.channels, count, frames, c.rate_hz));
        frames += count;
    }
    writer.close();
    CHECK(writer.frames_written() == frames);
    const ReadBack got = read_back(file);
    CHECK(got.rate_hz == c.rate_hz);
    CHECK(got.channels == c.channels);
    CHECK(got.frames == frames);
    CHECK(got.largest_error <= c.margin);
    CHECK(got.oddity.empty());
    if (c.rate_hz == 44100 || c.channels == 8) CHECK(judges_accept(file));
}

TEST_CASE("a take of no frames and one of 0.05 s are valid files", "[take_file]") {
    TemporaryFolder folder;
    const std::string suffix = GENERATE(".flac", ".wav");
    const std::size_t frames = GENERATE(0U, 2400U);
    const fs::path file = folder / ("short" + suffix);
    TakeWriter writer(file, 48000, 2);
    writer.write(sine_block(2, frames, 0, 48000));
    writer.close();
    CHECK(read_back(file).frames == frames);
}

TEST_CASE("samples beyond full scale are kept in WAV and clipped in FLAC", "[take_file]") {
    TemporaryFolder folder;
    Block loud(1, 100);
    for (double& sample : loud.channel(0)) sample = -1.5;
    for (const char* name : {"loud.wav", "loud.flac"}) {
        TakeWriter writer(folder / name, 48000, 1);
        writer.write(loud);
        writer.close();
        Block back;
        TakeReader(folder / name).read(back, 100);
        CHECK(back.channel(0)[50] == (std::string(name) == "loud.wav" ? -1.5 : -1.0));
    }
}

TEST_CASE("whatever libsndfile writes is read", "[take_file]") {
    TemporaryFolder folder;
    struct Case {
        int format;
        double margin;
    };
    // Half a step of each format; vorbis is lossy, and only its presence is checked.
    const auto c = GENERATE(values<Case>({{SF_FORMAT_WAV | SF_FORMAT_PCM_16, 0x1p-15},
                                          {SF_FORMAT_WAV | SF_FORMAT_PCM_24, 0x1p-23},
                                          {SF_FORMAT_WAV | SF_FORMAT_PCM_32, 0x1p-30},
                                          {SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0x1p-25},
                                          {SF_FORMAT_WAV | SF_FORMAT_DOUBLE, 1e-15},
                                          {SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 0x1p-15},
                                          {SF_FORMAT_AIFF | SF_FORMAT_PCM_24, 0x1p-23},
                                          {SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 0x1p-15},
                                          {SF_FORMAT_W64 | SF_FORMAT_PCM_24, 0x1p-23},
                                          {SF_FORMAT_OGG | SF_FORMAT_VORBIS, 0.05}}));
    CAPTURE(c.format);
    const fs::path file = folder / "named.flac";  // wrongly, most of them: the content counts
    SF_INFO info{};
    info.samplerate = 44100;
    info.channels = 2;
    info.format = c.format;
    SNDFILE* const out = sf_open(file.string().c_str(), SFM_WRITE, &info);
    REQUIRE(out != nullptr);
    const Block block = sine_block(2, 30000, 0, 44100);
    std::vector<double> interleaved(60000);
    for (std::size_t i = 0; i < 30000; ++i) {
        interleaved[2 * i] = block.channel(0)[i];
        interleaved[2 * i + 1] = block.channel(1)[i];
    }
    REQUIRE(sf_writef_double(out, interleaved.data(), 30000) == 30000);
    sf_close(out);
    const ReadBack got = read_back(file);
    CHECK(got.frames == 30000);
    CHECK(got.channels == 2);
    CHECK(got.largest_error <= c.margin);
}

TEST_CASE("what is no sound file is refused by name and reason, without waiting", "[take_file]") {
    TemporaryFolder folder;
    std::string text;
    const auto refused = [&](const fs::path& file) {
        const ErrorKind kind = kind_of_error([&] { TakeReader reader(file); }, &text);
        CHECK(kind == ErrorKind::file_unreadable);
        CHECK_THAT(text, Catch::StartsWith(file.string()));
        CHECK(text.find('\n') == std::string::npos);
    };
    refused(folder / "missing.wav");
    fs::create_directory(folder / "folder.flac");
    refused(folder / "folder.flac");
    CHECK_THAT(text, Catch::Contains("folder"));
#ifndef _WIN32
    REQUIRE(::mkfifo((folder / "pipe.wav").c_str(), 0600) == 0);
    refused(folder / "pipe.wav");
    CHECK_THAT(text, Catch::Contains("pipe"));
    refused("/dev/null");
#endif
    std::ofstream(folder / "empty.wav").flush();
    refused(folder / "empty.wav");
    std::ofstream(folder / "text.wav") << std::string(5000, 'a');
    refused(folder / "text.wav");
    std::ofstream(folder / "stub.wav") << "RIFF";
    refused(folder / "stub.wav");
    fs::create_symlink(folder / "loop.wav", folder / "loop.wav");
    refused(folder / "loop.wav");
}

namespace {

// A WAV file whose header says what it is told to, with `data` behind it.
void write_wav(const fs::path& file, std::uint32_t rate, std::uint16_t channels, std::uint16_t bits,
               std::uint16_t tag, std::uint32_t promised_bytes, const std::string& data) {
    std::ofstream out(file, std::ios::binary);
    const auto number = [&out](auto value) {
        out.write(reinterpret_cast<const char*>(&value), sizeof value);
    };
    const auto frame = static_cast<std::uint16_t>(channels * bits / 8);
    out << "RIFF", number(std::uint32_t{promised_bytes + 36}), out << "WAVEfmt ", number(std::uint32_t{16}),
        number(tag);
    number(channels), number(rate), number(rate * frame), number(frame), number(bits);
    out << "data", number(promised_bytes), out << data;
}

}  // namespace

TEST_CASE("a header's promises are not believed", "[take_file]") {
    TemporaryFolder folder;
    const fs::path file = folder / "liar.wav";
    SECTION("4 GB promised, as a recorder to a pipe or a killed one leaves it, 400 bytes there") {
        write_wav(file, 48000, 2, 16, 1, 0xFFFFFFF0U, std::string(400, 'x'));
        TakeReader reader(file);
        Block block;
        CHECK(reader.read(block, std::numeric_limits<std::size_t>::max()) == 100);
        CHECK(reader.read(block, 100) == 0);
    }
    SECTION("absurd rates and channel counts") {
        const auto rate = GENERATE(0U, 1U, 999U, 1000001U, 0xFFFFFFFFU);
        write_wav(file, rate, 1, 16, 1, 400, std::string(400, 'x'));
        CHECK(kind_of_error([&] { TakeReader reader(file); }) == ErrorKind::file_unreadable);
    }
    SECTION("65 channels and more") {
        const auto channels =
            GENERATE(std::uint16_t{0}, std::uint16_t{65}, std::uint16_t{1000}, std::uint16_t{65535});
        write_wav(file, 48000, channels, 16, 1, 400, std::string(400, 'x'));
        CHECK(kind_of_error([&] { TakeReader reader(file); }) == ErrorKind::file_unreadable);
    }
}

TEST_CASE("a NaN or an infinity is named with its channel and time", "[take_file]") {
    TemporaryFolder folder;
    const float bad =
        GENERATE(std::numeric_limits<float>::quiet_NaN(), std::numeric_limits<float>::infinity());
    std::vector<float> samples(2000, 0.1F);
    samples[2 * 480 + 1] = bad;  // second channel at 10 ms
    write_wav(folder / "nan.wav", 48000, 2, 32, 3, 8000,
              std::string(reinterpret_cast<const char*>(samples.data()), samples.size() * sizeof(float)));
    TakeReader reader(folder / "nan.wav");
    Block block;
    std::string text;
    CHECK(kind_of_error([&] { reader.read(block, 1000); }, &text) == ErrorKind::not_finite);
    CHECK_THAT(text,
               Catch::Contains("nan.wav") && Catch::Contains("channel 2") && Catch::Contains("0.010000 s"));

    Block unwritable(1, 10);
    unwritable.channel(0)[3] = static_cast<double>(bad);
    TakeWriter writer(folder / "out.flac", 48000, 1);
    CHECK(kind_of_error([&] { writer.write(unwritable); }) == ErrorKind::not_finite);
    CHECK(writer.frames_written() == 0);
}

TEST_CASE("a sample that no converter gives is refused before its square overflows", "[take_file]") {
    TemporaryFolder folder;
    std::vector<double> samples(2000, 0.1);
    samples[2 * 480] = -1e300;
    const auto written = [&] { return std::string(reinterpret_cast<const char*>(samples.data()), samples.size() * sizeof(double)); };
    write_wav(folder / "huge.wav", 48000, 2, 64, 3, 16000, written());
    TakeReader reader(folder / "huge.wav");
    Block block;
    std::string text;
    CHECK(kind_of_error([&] { reader.read(block, 1000); }, &text) == ErrorKind::invalid_input);
    CHECK_THAT(text, Catch::Contains("-1e+300 times full scale in channel 1 at 0.010000 s"));
    samples[2 * 480] = 2147483648.0;   // whole numbers of 32 bits that somebody wrote as floats
    write_wav(folder / "whole.wav", 48000, 2, 64, 3, 16000, written());
    TakeReader whole(folder / "whole.wav");
    CHECK(whole.read(block, 1000) == 1000);
}

TEST_CASE("a FLAC cut short is read up to the cut", "[take_file]") {
    TemporaryFolder folder;
    const fs::path file = folder / "cut.flac";
    {
        TakeWriter writer(file, 48000, 2);
        writer.write(sine_block(2, 480000, 0, 48000));
    }
    fs::resize_file(file, fs::file_size(file) / 2);
    const ReadBack got = read_back(file);
    CHECK(got.frames > 200000);
    CHECK(got.frames < 260000);
    CHECK(got.largest_error <= 0x1p-23);
    CHECK_THAT(got.oddity, Catch::StartsWith("cut short"));
}

TEST_CASE("a format that can't hold the take is refused before a file exists", "[take_file]") {
    TemporaryFolder folder;
    struct Case {
        const char* name;
        double rate_hz;
        std::size_t channels;
    };
    const auto c = GENERATE(values<Case>({{"a.flac", 48000, 9},
                                          {"a.flac", 700000, 1},
                                          {"a.flac", 96001, 1},
                                          {"a.flac", 44100.5, 1},
                                          {"a.flac", 48000, 0},
                                          {"a.wav", 48000, 65},
                                          {"a.wav", 0, 2},
                                          {"a.wav", -1, 2},
                                          {"a.wav", std::numeric_limits<double>::quiet_NaN(), 2},
                                          {"a.ogg", 48000, 2},
                                          {"a", 48000, 2}}));
    CAPTURE(c.name, c.rate_hz, c.channels);
    CHECK(kind_of_error([&] { TakeWriter writer(folder / c.name, c.rate_hz, c.channels); }) ==
          ErrorKind::invalid_request);
    CHECK_FALSE(fs::exists(folder / c.name));
}

TEST_CASE("a take is never overwritten, and a missing folder is not made", "[take_file]") {
    TemporaryFolder folder;
    std::ofstream(folder / "kept.wav") << "kept";
    CHECK(kind_of_error([&] { TakeWriter writer(folder / "kept.wav", 48000, 2); }) ==
          ErrorKind::file_unwritable);
    CHECK(fs::file_size(folder / "kept.wav") == 4);
    CHECK(kind_of_error([&] { TakeWriter writer(folder / "none" / "a.wav", 48000, 2); }) ==
          ErrorKind::file_unwritable);
}

TEST_CASE("memory does not follow what is asked for", "[take_file]") {
    TemporaryFolder folder;
    {
        TakeWriter writer(folder / "long.wav", 192000, 2);
        const Block second = sine_block(2, 192000, 0, 192000);
        for (int i = 0; i < 5; ++i) writer.write(second);
    }
    TakeReader reader(folder / "long.wav");
    CHECK(reader.promised_frames() == 5U * 192000U);
    Block block;
    CHECK(reader.read(block, std::numeric_limits<std::size_t>::max()) <= 65536);
}
