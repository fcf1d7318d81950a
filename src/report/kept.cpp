#include "hushtrace/report/kept.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <ctime>
#include <fstream>
#include <iterator>
#include <system_error>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "read_record.hpp"
#include "sha256.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

fs::path kept_folder(const fs::path& job_folder) { return job_folder / "records" / "kept"; }

std::string now_utc() {
    const std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
    return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(now));
}

/// Frames are counted by reading on: what a header promises isn't believed.
void measure_length(const fs::path& file, TakePrint& print) {
    try {
        TakeReader sound(file);
        Block block;
        std::uint64_t frames = 0;
        for (std::size_t got = sound.read(block, 1 << 16); got > 0; got = sound.read(block, 1 << 16)) frames += got;
        print.sample_rate_hz = sound.sample_rate_hz();
        print.seconds = static_cast<double>(frames) / sound.sample_rate_hz();
    } catch (const Error&) {   // said elsewhere, as a warning of the analysis
    }
}

TakePrint print_of(const OpenedJob& opened, const Take& take) {
    TakePrint print;
    print.file = take.file;
    const fs::path file = take_path(opened, take);
    if (const auto digest = sha256_of(file)) {
        print.sha256 = *digest;
        std::error_code fault;
        const auto bytes = fs::file_size(file, fault);
        if (!fault) print.bytes = bytes;
        measure_length(file, print);
    }
    return print;
}

}  // namespace

std::optional<std::string> sha256_of(const fs::path& file) {
    std::error_code fault;
    if (!fs::is_regular_file(file, fault)) return std::nullopt;
    std::ifstream in(file, std::ios::binary);
    if (!in) return std::nullopt;
    Sha256 sum;
    std::vector<char> buffer(1 << 16);
    while (in) {
        in.read(buffer.data(), static_cast<std::streamsize>(buffer.size()));
        sum.add(buffer.data(), static_cast<std::size_t>(in.gcount()));
    }
    if (!in.eof()) return std::nullopt;
    return sum.end();
}

Made made_now(const OpenedJob& opened, std::string_view version, std::vector<std::pair<std::string, std::string>> options) {
    Made made{now_utc(), std::string(version), std::move(options), {}};
    for (const Take& take : opened.job.takes) made.takes.push_back(print_of(opened, take));
    return made;
}

fs::path kept_place(const OpenedJob& opened) {
    fs::path folder = kept_folder(opened.folder);
    std::error_code fault;
    fs::create_directories(folder, fault);
    if (fault || !fs::is_directory(folder))
        throw Error(ErrorKind::file_unwritable, fmt::format("{}: the folder for kept results can't be made ({}); --no-keep leaves them out",
                                                            folder.string(), fault ? fault.message() : "a file is in its place"));
    return folder;
}

fs::path keep_results(const OpenedJob& opened, const Made& made, std::string_view document) {
    const fs::path folder = kept_place(opened);
    std::error_code fault;
    std::string stem;   // 2026-01-31T10:12:00Z without what some file systems refuse
    std::copy_if(made.at.begin(), made.at.end(), std::back_inserter(stem), [](char c) { return c != '-' && c != ':'; });
    stem += "-" + made.version;
    const FolderLock lock(folder);   // between the look and the writing nobody else takes the name
    for (int number = 1;; ++number) {
        fs::path file = folder / (stem + (number == 1 ? "" : fmt::format("-{}", number)) + ".json");
        if (fs::symlink_status(file, fault).type() != fs::file_type::not_found) continue;
        write_whole(file, document);
        return file;
    }
}

KeptList kept_results(const fs::path& job_folder) {
    KeptList found;
    for (const fs::path& file : kept_files(job_folder)) {
        std::string why;
        const auto record = read_record(file, why);
        const std::string at = record ? text_at(*record, {"results", "made", "at"}) : "";
        if (record && at.empty()) why = "doesn't say when it was made";
        if (why.empty()) found.results.push_back({at, text_at(*record, {"results", "made", "version"}), file});
        else found.warnings.push_back({"kept_unreadable", passed_over(file, why), std::nullopt});
    }
    return found;
}

}  // namespace hushtrace
