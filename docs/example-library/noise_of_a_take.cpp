// noise_of_a_take FILE: the noise sources in one sound file, loudest first, without a job's folder.
#include <cstdio>
#include <exception>
#include <filesystem>
#include <string>

#include "hushtrace/diagnose/noise_analysis.hpp"
#include "hushtrace/signal/take_file.hpp"

int main(int argc, char** argv) {
    if (argc != 2) {
        std::fprintf(stderr, "usage: noise_of_a_take FILE\n");
        return 2;
    }
    try {
        const std::filesystem::path file = argv[1];
        const std::size_t channels = hushtrace::TakeReader(file).channels();
        if (channels > 2) {
            std::fprintf(stderr, "%s has %zu channels; one or two are wanted\n", argv[1], channels);
            return 2;
        }

        // What the analysis knows of a take is what its job says. Here: captured at the amplifier's input, engine at idle.
        hushtrace::Take take;
        take.file = file.filename().string();
        take.channels = {hushtrace::Channel::left};
        if (channels == 2) take.channels.push_back(hushtrace::Channel::right);
        take.conditions.engine = hushtrace::Engine::idle;
        hushtrace::OpenedJob opened;
        opened.folder = file.has_parent_path() ? file.parent_path() : ".";
        opened.job.takes.push_back(take);

        const hushtrace::NoiseAnalysis analysis = hushtrace::analyse_noise(opened);
        for (const hushtrace::NoiseSource& source : analysis.noise_sources) {
            std::printf("%s", std::string(hushtrace::plain_name(source.kind)).c_str());
            if (source.frequency_hz) std::printf(" at %.1f Hz", *source.frequency_hz);
            if (source.level_dbfs) std::printf(", %.1f dBFS", *source.level_dbfs);
            std::printf(", confidence %.2f\n", source.confidence);
        }
        if (analysis.noise_sources.empty()) std::printf("no noise source was found\n");
        return 0;
    } catch (const std::exception& fault) {  // hushtrace::Error says in one sentence what is wrong
        std::fprintf(stderr, "%s\n", fault.what());
        return 1;
    }
}
