#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <system_error>

#include "hushtrace/report/page.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

/// A file that takes its place only when it is whole; dropped without a trace unless put_in_place() was
/// called.
class PendingFile {
public:
    explicit PendingFile(const fs::path& target) : target_(target) {
        // plain open() rather than mkstemp(): the user's umask says who may read a record
        for (int attempt = 0; handle_ < 0 && attempt < 100; ++attempt) {
            name_ = fmt::format("{}.new-{}-{}", target.string(), ::getpid(), attempt);
            handle_ = ::open(name_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
            if (handle_ < 0 && errno != EEXIST) break;
        }
        if (handle_ >= 0) return;
        name_.clear();
        throw Error(ErrorKind::file_unwritable, target_.string() + ": " + std::strerror(errno));
    }
    ~PendingFile() {
        if (handle_ >= 0) ::close(handle_);
        if (!name_.empty()) ::unlink(name_.c_str());
    }
    PendingFile(const PendingFile&) = delete;
    PendingFile& operator=(const PendingFile&) = delete;

    void write(const std::string& text) {
        for (std::size_t at = 0; at < text.size();) {
            const ssize_t count = ::write(handle_, text.data() + at, text.size() - at);
            if (count < 0 && errno == EINTR) continue;
            if (count <= 0) fail();
            at += static_cast<std::size_t>(count);
        }
        if (::fsync(handle_) != 0) fail();
    }
    void put_in_place() {
        if (::rename(name_.c_str(), target_.c_str()) != 0) fail();
        name_.clear();
    }

private:
    [[noreturn]] void fail() const {
        throw Error(ErrorKind::disk_failed, target_.string() + ": " + std::strerror(errno));
    }
    fs::path target_;
    std::string name_;
    int handle_ = -1;
};

}  // namespace

RecordFiles write_record(const OpenedJob& opened, const Analyses& analyses, std::string_view version,
                         const fs::path& page) {
    if (page.extension() != ".html")
        throw Error(ErrorKind::invalid_request, page.string() + ": a record's page must end in .html");
    RecordFiles files{page, fs::path(page).replace_extension(".json")};
    if (files.data.filename() == "job.json")
        throw Error(ErrorKind::invalid_request,
                    page.string() + ": its data would be written over job.json; choose another name");
    std::error_code wrong;
    for (const fs::path& one : {files.page, files.data})
        if (fs::exists(one, wrong) && !fs::is_regular_file(one, wrong))
            throw Error(ErrorKind::invalid_request, one.string() + ": is there already and isn't a file");
    const fs::path folder = page.has_parent_path() ? page.parent_path() : fs::path(".");
    fs::create_directories(folder, wrong);
    if (wrong) throw Error(ErrorKind::file_unwritable, folder.string() + ": " + wrong.message());

    PendingFile new_page(files.page), new_data(files.data);
    new_page.write(record_page(opened, analyses, version));
    new_data.write(report_document(opened, analyses, version, files.page.string(), files.data.string()));
    new_data.put_in_place();
    new_page.put_in_place();
    return files;
}

}  // namespace hushtrace
