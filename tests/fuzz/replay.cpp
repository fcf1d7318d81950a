// Runs files through a target, without libFuzzer: fuzz_replay TARGET FILE_OR_FOLDER... Exit 1 names what broke.
#include <algorithm>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "target.hpp"

namespace fs = std::filesystem;
using namespace hushtrace::fuzz;

namespace {

std::vector<fs::path> files_of(int argc, char** argv) {
    std::vector<fs::path> files;
    for (int i = 2; i < argc; ++i) {
        if (!fs::is_directory(argv[i])) files.emplace_back(argv[i]);
        else
            for (const auto& one : fs::directory_iterator(argv[i])) files.push_back(one.path());
    }
    std::sort(files.begin(), files.end());
    return files;
}

std::vector<std::uint8_t> content_of(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    if (!in) throw std::runtime_error("can't be read");
    return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

}  // namespace

int main(int argc, char** argv) {
    const auto target = std::find_if(targets.begin(), targets.end(), [&](const Target& one) { return argc > 2 && one.name == argv[1]; });
    if (target == targets.end()) {
        std::fputs("usage: fuzz_replay job|sound|rpm_log|phone|record|vehicle FILE_OR_FOLDER...\n", stderr);
        return 2;
    }
    const std::vector<fs::path> files = files_of(argc, argv);
    int broken = 0;
    for (const fs::path& file : files) {
        try {
            target->run(content_of(file));
        } catch (const std::exception& what) {
            std::fprintf(stderr, "%s: %s\n", file.c_str(), what.what());
            ++broken;
        }
    }
    std::printf("%zu files, %d broken\n", files.size(), broken);
    return files.empty() || broken > 0 ? 1 : 0;
}
