#include <catch2/catch.hpp>
#include <sndfile.h>

#include <string>
#include <vector>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

// libsndfile, which writes the dump here, prints on stdout while it reads a damaged one: between the lines of a JSON document, say.
TEST_CASE("a MIDI sample dump is refused before it is read") {
    const TemporaryFolder folder;
    const auto file = folder.path() / "dump.sds";
    SF_INFO info{};
    info.samplerate = 44100;
    info.channels = 1;
    info.format = SF_FORMAT_SDS | SF_FORMAT_PCM_16;
    SNDFILE* const dump = sf_open(file.string().c_str(), SFM_WRITE, &info);
    REQUIRE(dump != nullptr);
    const std::vector<double> samples(1000, 0.25);
    REQUIRE(sf_write_double(dump, samples.data(), 1000) == 1000);
    REQUIRE(sf_close(dump) == 0);
    try {
        const TakeReader reader(file);
        FAIL("it was opened");
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::file_unreadable);
        CHECK(std::string(error.what()).find("MIDI sample dump") != std::string::npos);
    }
}
