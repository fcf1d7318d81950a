#include "hushtrace/job/atomic_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <string>
#include <thread>

#include "bring_to_disk.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void fail(ErrorKind kind, const fs::path& file, const std::string& why) {
    throw Error(kind, fmt::format("{}: {}", file.string(), why));
}

/// A full or failing disk is the disk's fault; all else that keeps a file from being made is the request's.
[[noreturn]] void fail_writing(const fs::path& file, int fault) {
    const bool full = fault == ENOSPC || fault == EDQUOT;
    if (full) fail(ErrorKind::disk_failed, file, "the disk is full; nothing was changed");
    if (fault == EFBIG)
        fail(ErrorKind::disk_failed, file, "no file may grow so large here; nothing was changed");
    if (fault == EIO) fail(ErrorKind::disk_failed, file, "the disk fails; nothing was changed");
    fail(ErrorKind::file_unwritable, file, fmt::format("can't be written ({})", std::strerror(fault)));
}

class Descriptor {
public:
    explicit Descriptor(int number) : number_(number) {}
    ~Descriptor() {
        if (number_ >= 0) ::close(number_);
    }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    int get() const { return number_; }
    bool ok() const { return number_ >= 0; }
    int close() {
        const int result = ::close(number_);
        number_ = -1;
        return result;
    }

private:
    int number_;
};

/// Opens a regular file for reading, without ever waiting for the other end of a pipe.
int open_regular(const fs::path& file, bool follow_links) {
    const int flags = O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY | (follow_links ? 0 : O_NOFOLLOW);
    const int number = ::open(file.c_str(), flags);
    if (number < 0) {
        if (errno == ENOENT || errno == ENOTDIR)
            fail(ErrorKind::file_unreadable, file, "there is no such file");
        if (errno == ELOOP)
            fail(ErrorKind::file_unreadable, file, "is a link; the file itself must lie here");
        if (errno == ENXIO) fail(ErrorKind::file_unreadable, file, "is no regular file");
        fail(ErrorKind::file_unreadable, file, fmt::format("can't be read ({})", std::strerror(errno)));
    }
    struct stat facts {};
    const bool known = ::fstat(number, &facts) == 0;
    if (known && S_ISREG(facts.st_mode)) return number;
    ::close(number);
    fail(ErrorKind::file_unreadable, file,
         known && S_ISDIR(facts.st_mode) ? "is a folder, not a file" : "is no regular file");
}

/// The temporary beside a file; gone when it was not finished.
class Temporary {
public:
    explicit Temporary(const fs::path& file)
        : file_(file), name_(file.parent_path() / ("." + file.filename().string() + ".new")) {
        ::unlink(name_.c_str());  // left over from a kill
        number_ = ::open(name_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
        if (number_ < 0) fail_writing(file_, errno);
    }
    ~Temporary() {
        if (number_ >= 0) ::close(number_);
        if (!finished_) ::unlink(name_.c_str());
    }
    Temporary(const Temporary&) = delete;
    Temporary& operator=(const Temporary&) = delete;

    void write(std::string_view bytes) {
        while (!bytes.empty()) {
            const ssize_t done = ::write(number_, bytes.data(), bytes.size());
            if (done < 0 && errno == EINTR) continue;
            if (done <= 0) fail_writing(file_, done < 0 ? errno : ENOSPC);
            bytes.remove_prefix(static_cast<std::size_t>(done));
        }
    }
    /// Gives the content to the disk, then the name.
    void finish(bool replace) {
        if (::fsync(number_) != 0) fail_writing(file_, errno);
        const int number = number_;
        number_ = -1;
        if (::close(number) != 0) fail_writing(file_, errno);
        const unsigned flags = replace ? 0 : RENAME_NOREPLACE;
        if (::renameat2(AT_FDCWD, name_.c_str(), AT_FDCWD, file_.c_str(), flags) != 0) {
            if (errno == EEXIST) fail(ErrorKind::file_unwritable, file_, "exists already");
            if (errno != EINVAL || replace) fail_writing(file_, errno);
            // a file system without that flag: a second name fails as well where one exists
            if (::link(name_.c_str(), file_.c_str()) != 0) fail_writing(file_, errno);
            ::unlink(name_.c_str());
        }
        finished_ = true;
        const fs::path folder = file_.has_parent_path() ? file_.parent_path() : fs::path(".");
        bring_to_disk(folder);
    }
    int number() const { return number_; }

private:
    fs::path file_, name_;
    int number_ = -1;
    bool finished_ = false;
};

}  // namespace

void bring_to_disk(const fs::path& folder) {
    const Descriptor entry(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (entry.ok()) ::fsync(entry.get());  // some file systems refuse; what was done stands either way
}

void write_whole(const fs::path& file, std::string_view text) {
    struct stat facts {};
    const bool exists = ::lstat(file.c_str(), &facts) == 0;
    if (exists && S_ISDIR(facts.st_mode)) fail(ErrorKind::file_unwritable, file, "is a folder");
    Temporary temporary(file);
    if (exists && S_ISREG(facts.st_mode)) ::fchmod(temporary.number(), facts.st_mode & 07777);
    temporary.write(text);
    temporary.finish(true);
}

void copy_whole(const fs::path& from, const fs::path& to) {
    const Descriptor source(open_regular(from, true));
    struct stat facts {};
    if (::lstat(to.c_str(), &facts) == 0) fail(ErrorKind::file_unwritable, to, "exists already");
    Temporary temporary(to);
    std::array<char, 1 << 16> buffer{};
    for (;;) {
        const ssize_t got = ::read(source.get(), buffer.data(), buffer.size());
        if (got < 0 && errno == EINTR) continue;
        if (got < 0)
            fail(ErrorKind::file_unreadable, from, fmt::format("can't be read ({})", std::strerror(errno)));
        if (got == 0) break;
        temporary.write({buffer.data(), static_cast<std::size_t>(got)});
    }
    temporary.finish(false);
}

std::string read_whole(const fs::path& file, std::size_t most_bytes, bool follow_links) {
    const Descriptor source(open_regular(file, follow_links));
    std::string text;
    std::array<char, 1 << 16> buffer{};
    for (;;) {
        const ssize_t got = ::read(source.get(), buffer.data(), buffer.size());
        if (got < 0 && errno == EINTR) continue;
        if (got < 0)
            fail(ErrorKind::file_unreadable, file, fmt::format("can't be read ({})", std::strerror(errno)));
        if (got == 0) return text;
        text.append(buffer.data(), static_cast<std::size_t>(got));
        if (text.size() > most_bytes)
            fail(ErrorKind::file_unreadable, file, fmt::format("is larger than {} MiB", most_bytes >> 20));
    }
}

FolderLock::FolderLock(const fs::path& folder) {
    const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor < 0)
        fail(ErrorKind::file_unreadable, folder,
             errno == ENOENT ? "there is no such folder"
                             : fmt::format("can't be opened ({})", std::strerror(errno)));
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(15);
    while (::flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
        const int fault = errno;
        if (fault == EINTR) continue;
        const bool busy = fault == EWOULDBLOCK;
        if (busy && std::chrono::steady_clock::now() < end) {
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
            continue;
        }
        ::close(descriptor);
        fail(ErrorKind::file_unwritable, folder,
             busy ? "another program has been changing this job for 15 s"
                  : fmt::format("can't be kept from other programs' changes ({})", std::strerror(fault)));
    }
    handle_ = descriptor;
}

FolderLock::~FolderLock() {
    ::close(static_cast<int>(handle_));
}

}  // namespace hushtrace
