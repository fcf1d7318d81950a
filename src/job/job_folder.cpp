#include "hushtrace/job/job_folder.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <system_error>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/error.hpp"
#include "bring_to_disk.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kLargestJob = std::size_t{16} << 20;

fs::path job_file(const fs::path& folder) {
    return folder / "job.json";
}

std::string read_job_text(const fs::path& folder) {
    std::error_code fault;
    const auto kind = fs::status(folder, fault).type();
    if (kind == fs::file_type::not_found)
        throw Error(ErrorKind::file_unreadable,
                    fmt::format("{}: there is no such job folder", folder.string()));
    if (kind != fs::file_type::directory)
        throw Error(ErrorKind::file_unreadable,
                    fmt::format("{}: is no folder; a job is a folder with a job.json", folder.string()));
    return read_whole(job_file(folder), kLargestJob, false);
}

/// Where a path of the job leads once links are followed, or nothing when that is outside the folder.
bool stays_inside(const fs::path& folder, const std::string& file) {
    std::error_code fault;
    const fs::path base = fs::canonical(folder, fault);
    if (fault) return false;
    const fs::path target = fs::weakly_canonical(base / file, fault);
    if (fault) return false;
    const auto parted = std::mismatch(base.begin(), base.end(), target.begin(), target.end());
    return parted.first == base.end();
}

void refuse_links_out(const fs::path& folder, const Job& job) {
    const auto check = [&](std::size_t take, const char* field, const std::string& file) {
        if (!stays_inside(folder, file))
            throw Error(ErrorKind::invalid_input,
                        fmt::format("job.json: takes[{}].{}: {} leaves the job folder through a link", take,
                                    field, in_quotes(file)));
    };
    for (std::size_t i = 0; i < job.takes.size(); ++i) {
        check(i, "file", job.takes[i].file);
        if (job.takes[i].rpm_log) check(i, "rpm_log", *job.takes[i].rpm_log);
    }
}

OpenedJob opened_from(const fs::path& folder, const std::string& text) {
    OpenedJob opened;
    opened.folder = folder;
    opened.job = parse_job(text, opened.warnings);
    refuse_links_out(folder, opened.job);
    return opened;
}

/// Makes folders, and takes back those that it made unless it is told to keep them.
class NewFolders {
public:
    ~NewFolders() {
        std::error_code ignored;
        if (kept_) return;
        std::reverse(made_.begin(), made_.end());
        for (const fs::path& made : made_) fs::remove(made, ignored);
    }
    void make(const fs::path& folder) {
        std::error_code fault;
        if (fs::is_directory(folder, fault)) return;
        const fs::path parent = folder.parent_path();
        if (!parent.empty() && parent != folder) make(parent);
        if (fs::create_directory(folder, fault)) {
            made_.push_back(folder);
        } else if (!fs::is_directory(folder)) {
            throw Error(ErrorKind::file_unwritable,
                        fmt::format("{}: the folder can't be made ({})", folder.string(),
                                    fault ? fault.message() : "a file is in its place"));
        }
    }
    /// They stay, and their names are brought to the disk: a job is no good in a folder that a power cut takes away.
    void keep() {
        kept_ = true;
        for (const fs::path& one : made_) bring_to_disk(one.has_parent_path() ? one.parent_path() : fs::path("."));
    }

private:
    std::vector<fs::path> made_;
    bool kept_ = false;
};

}  // namespace

OpenedJob open_job(const fs::path& folder) {
    return opened_from(folder, read_job_text(folder));
}

void create_job(const fs::path& folder, const Job& job) {
    const std::string text = job_text(job);
    std::vector<Warning> ignored;
    parse_job(text, ignored);  // what can't be read again is not written
    NewFolders folders;
    const fs::path plain = folder.lexically_normal();
    folders.make(plain.has_filename() ? plain : plain.parent_path());
    const FolderLock lock(folder);
    std::error_code fault;
    if (fs::symlink_status(job_file(folder), fault).type() != fs::file_type::not_found)
        throw Error(ErrorKind::invalid_request, fmt::format("{}: holds a job already", folder.string()));
    folders.make(folder / "takes");
    folders.make(folder / "records");
    write_whole(job_file(folder), text);
    folders.keep();
}

OpenedJob change_job(const fs::path& folder, const std::function<void(Job&)>& change) {
    read_job_text(folder);  // says what is wrong with the folder before a lock is asked of it
    const FolderLock lock(folder);
    const std::string original = read_job_text(folder);
    Job job = opened_from(folder, original).job;
    change(job);
    const std::string text = patched_job_text(original, job);
    OpenedJob written = opened_from(folder, text);  // what can't be read again is not written
    write_whole(job_file(folder), text);
    return written;
}

fs::path take_path(const OpenedJob& opened, const Take& take) {
    const fs::path file(take.file);
    const bool upward = std::find(file.begin(), file.end(), "..") != file.end();
    if (take.file.empty() || file.has_root_path() || upward || !stays_inside(opened.folder, take.file))
        throw Error(ErrorKind::invalid_input, fmt::format("{}: leaves the job folder", in_quotes(take.file)));
    return opened.folder / file;
}

std::string named_as_in_job(const OpenedJob& opened, const Take& take, std::string message) {
    const std::string path = (opened.folder / fs::path(take.file)).string();
    if (const auto at = message.find(path); at != std::string::npos) message.replace(at, path.size(), take.file);
    return message;
}

std::string free_take_name(const OpenedJob& opened, const std::string& stem, const std::string& suffix) {
    std::string plain;
    for (const char c : stem) {
        const bool fine =
            (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-';
        plain += fine ? c : '_';
        if (plain.size() == 80) break;
    }
    if (plain.empty()) plain = "take";
    for (std::size_t number = 1;; ++number) {
        std::string name = fmt::format("takes/{}{}{}", plain, number == 1 ? "" : fmt::format("-{}", number), suffix);
        const auto& takes = opened.job.takes;
        const bool listed =
            std::any_of(takes.begin(), takes.end(), [&](const Take& take) { return take.file == name; });
        std::error_code fault;
        const bool there = fs::symlink_status(opened.folder / name, fault).type() != fs::file_type::not_found;
        if (!listed && !there) return name;
    }
}

}  // namespace hushtrace
