#include "hushtrace/signal/tone_file.hpp"

#include <cmath>
#include <fstream>
#include <numbers>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <sndfile.h>

#include "hushtrace/signal/error.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

namespace {

std::vector<double> sine(double amplitude, double frequency_hz, double rate_hz, std::size_t frames) {
    std::vector<double> out(frames);
    for (std::size_t i = 0; i < frames; ++i)
        out[i] = amplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * static_cast<double>(i) / rate_hz);
    return out;
}

struct ReadBack {
    SF_INFO info{};
    std::vector<double> left, right;   // in steps of the format
};
/// By libsndfile, not by the project's own reader.
ReadBack read_back(const std::filesystem::path& file, int bits) {
    ReadBack back;
    SNDFILE* const sound = sf_open(file.string().c_str(), SFM_READ, &back.info);
    REQUIRE(sound != nullptr);
    std::vector<int> frames(static_cast<std::size_t>(back.info.frames) * 2);
    REQUIRE(sf_readf_int(sound, frames.data(), back.info.frames) == back.info.frames);
    sf_close(sound);
    for (std::size_t i = 0; i < frames.size(); i += 2) {
        back.left.push_back(std::ldexp(frames[i], bits - 32));
        back.right.push_back(std::ldexp(frames[i + 1], bits - 32));
    }
    return back;
}

double rms(const std::vector<double>& x) {
    double sum = 0;
    for (const double v : x) sum += v * v;
    return std::sqrt(sum / static_cast<double>(x.size()));
}

std::size_t files_in(const std::filesystem::path& folder) {
    return static_cast<std::size_t>(std::distance(std::filesystem::directory_iterator(folder), {}));
}

}  // namespace

TEST_CASE("a tone file holds the tone two steps under full scale, and the error is dither's alone", "[tone_file]") {
    const TemporaryFolder folder;
    const auto tone = sine(1.0, 997.0, 44100.0, 44100);
    for (const int bits : {16, 24})
        for (const char* name : {"tone.wav", "tone.FLAC"}) {
            CAPTURE(bits, name);
            ToneFileForm form;
            form.bits = bits;
            form.right = false;
            form.overwrite = true;
            write_tone_file(folder / name, tone, form);
            const ReadBack back = read_back(folder / name, bits);
            CHECK(back.info.samplerate == 44100);
            CHECK(back.info.channels == 2);
            CHECK((back.info.format & SF_FORMAT_SUBMASK) == (bits == 24 ? SF_FORMAT_PCM_24 : SF_FORMAT_PCM_16));
            CHECK((back.info.format & SF_FORMAT_TYPEMASK) == (std::string(name).ends_with("wav") ? SF_FORMAT_WAV : SF_FORMAT_FLAC));
            REQUIRE(back.left.size() == tone.size());
            const double top = std::ldexp(1.0, bits - 1) - 2.0;
            std::vector<double> error = back.left;
            for (std::size_t i = 0; i < error.size(); ++i) error[i] -= top * tone[i];
            // Lipshitz, Wannamaker, Vanderkooy, "Quantization and dither", JAES 40(5), 1992: with triangular dither of two steps
            // the error's power is a quarter of a step squared, whatever the signal: half a step rms. 44100 samples: within 1 %.
            CHECK(rms(error) == Approx(0.5).margin(0.01));
            CHECK(rms(back.right) == Approx(0.5).margin(0.01));   // never digital silence
        }
}

TEST_CASE("a tone file is written whole or not at all, and replaces nothing unasked", "[tone_file]") {
    const TemporaryFolder folder;
    const auto tone = sine(0.5, 1000.0, 44100.0, 100);
    const auto kind_of = [&](const std::filesystem::path& file, const ToneFileForm& form) {
        try {
            write_tone_file(file, tone, form);
        } catch (const Error& error) {
            return error.kind();
        }
        return ErrorKind::disk_failed;   // nothing was thrown
    };
    CHECK(kind_of(folder / "tone.mp3", {}) == ErrorKind::invalid_request);
    CHECK(kind_of(folder / "tone", {}) == ErrorKind::invalid_request);
    CHECK(kind_of(folder / "tone.wav", {.bits = 20}) == ErrorKind::invalid_request);
    for (const double rate_hz : {7999.0, 192001.0, 44100.5, std::nan("")}) {
        CAPTURE(rate_hz);
        CHECK(kind_of(folder / "tone.wav", {.sample_rate_hz = rate_hz}) == ErrorKind::invalid_request);
    }
    CHECK(kind_of(folder / "nowhere" / "tone.wav", {}) == ErrorKind::file_unwritable);
    std::filesystem::create_directory(folder / "folder.wav");
    CHECK(kind_of(folder / "folder.wav", {.overwrite = true}) == ErrorKind::file_unwritable);
    CHECK(files_in(folder.path()) == 1);   // nothing is left behind
    std::ofstream(folder / "mine.wav") << "mine";
    CHECK(kind_of(folder / "mine.wav", {}) == ErrorKind::file_unwritable);
    CHECK(std::filesystem::file_size(folder / "mine.wav") == 4);
    write_tone_file(folder / "mine.wav", tone, {.sample_rate_hz = 8000, .overwrite = true});
    CHECK(read_back(folder / "mine.wav", 16).info.samplerate == 8000);
    write_tone_file(folder / "new.wav", tone, {.sample_rate_hz = 192000});
    CHECK(read_back(folder / "new.wav", 16).info.samplerate == 192000);
    CHECK(files_in(folder.path()) == 3);
}

TEST_CASE("what is louder than full scale is cut there, not turned over", "[tone_file]") {
    const TemporaryFolder folder;
    write_tone_file(folder / "loud.wav", std::vector<double>{2.0, -2.0, 2.0, -2.0}, {});
    const ReadBack back = read_back(folder / "loud.wav", 16);
    for (std::size_t i = 0; i < back.left.size(); ++i) CHECK(back.left[i] == Approx(i % 2 == 0 ? 32766.0 : -32766.0).margin(1.01));
}
