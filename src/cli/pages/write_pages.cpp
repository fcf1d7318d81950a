#include <fmt/format.h>

#include <cstdio>
#include <exception>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>

#include "completion.hpp"
#include "manual.hpp"

namespace {

namespace fs = std::filesystem;

void write(const fs::path& file, const std::string& text) {
    std::ofstream out(file, std::ios::binary);
    out << text;
    if (!out.flush()) throw std::runtime_error("can't write " + file.string());
}

}  // namespace

/// write_pages FOLDER: FOLDER/man/*.1, FOLDER/hushtrace for bash, FOLDER/_hushtrace for zsh
int main(int argc, char** argv) {
    try {
        if (argc != 2) throw std::runtime_error("usage: write_pages FOLDER");
        const fs::path folder = argv[1];
        fs::create_directories(folder / "man");
        const auto all = hushtrace::cli::described();
        write(folder / "man/hushtrace.1", program_manual(all));
        for (const auto& command : all)
            if (!command.name.empty()) write(folder / ("man/hushtrace-" + command.name + ".1"), command_manual(command));
        write(folder / "hushtrace", bash_completion(all));
        write(folder / "_hushtrace", zsh_completion(all));
        return 0;
    } catch (const std::exception& fault) {
        fmt::print(stderr, "write_pages: {}\n", fault.what());
        return 1;
    }
}
