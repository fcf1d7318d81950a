#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <string>

#include "diagnose/stepped_job.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

/// A job folder of its own, gone at the end.
struct Folder : TemporaryFolder {
    Folder() { std::filesystem::create_directories(path() / "takes"); }
};

}  // namespace

TEST_CASE("takes are read from the job's folder, and one that is no sound is named", "[gain]") {
    const Folder folder;
    Source source;
    source.stops = staircase(-12.2, 2.0, 6);
    JobInMemory job;
    job.add("takes/good.flac", source, volumes_from(20, 6));
    job.add("takes/noise.flac", source, volumes_from(20, 6));
    job.opened.folder = folder.path();
    {
        TakeWriter writer(folder.path() / "takes/good.flac", 48000, 2);
        writer.write(job.sound["takes/good.flac"].first);
        writer.close();
        std::ofstream(folder.path() / "takes/noise.flac") << "this is no sound file";
    }
    const GainAnalysis gain = analyse_gain(job.opened);
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 23.0);
    CHECK(gain.ceiling->level_dbfs == Approx(-6.2).margin(0.01));
    REQUIRE(warned(gain, "take_unreadable"));
    CHECK(gain.warnings[0].take == "takes/noise.flac");
    CHECK(gain.warnings[0].text.find("noise.flac") != std::string::npos);

    std::filesystem::remove(folder.path() / "takes/good.flac");
    try {
        analyse_gain(job.opened);
        FAIL("nothing readable was analysed");
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_input);
    }
}
