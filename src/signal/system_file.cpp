#include "system_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <string>

namespace hushtrace::system_file {
namespace {

namespace fs = std::filesystem;

std::string_view unfit(const struct stat& status) {
    if (S_ISDIR(status.st_mode)) return "is a folder, not a sound file";
    if (S_ISFIFO(status.st_mode)) return "is a pipe, not a sound file";
    if (!S_ISREG(status.st_mode)) return "is a device or a socket, not a sound file";
    if (status.st_size == 0) return "is empty";
    return {};
}

}  // namespace

std::string_view unfit_to_read(const fs::path& file, bool& exists) {
    struct stat status {};
    exists = ::stat(file.c_str(), &status) == 0;
    return exists ? unfit(status) : std::string_view();
}

std::string_view unfit_to_read(const FileDescriptor& file, bool& known, std::int64_t& length) {
    struct stat status {};
    known = ::fstat(file.get(), &status) == 0;
    length = status.st_size;
    return known ? unfit(status) : std::string_view();
}

FileDescriptor open_to_read(const fs::path& file) { return FileDescriptor(::open(file.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC)); }

FileDescriptor make_new(const fs::path& file) {
    return FileDescriptor(::open(file.c_str(), O_RDWR | O_CREAT | O_EXCL | O_NONBLOCK | O_CLOEXEC, 0644));
}

FileDescriptor make_draft(const fs::path& target, fs::path& name) {
    const fs::path folder = target.has_parent_path() ? target.parent_path() : fs::path(".");
    std::string pattern = (folder / ("." + target.filename().string() + ".XXXXXX")).string();
    FileDescriptor file(::mkstemp(pattern.data()));
    if (!file) return file;
    name = pattern;
    (void)::fchmod(file.get(), 0644);
    return file;
}

std::int64_t read_some(const FileDescriptor& file, void* into, std::size_t size) { return ::read(file.get(), into, size); }

std::int64_t write_some(const FileDescriptor& file, const void* from, std::size_t size) { return ::write(file.get(), from, size); }

std::int64_t read_some_at(const FileDescriptor& file, void* into, std::size_t size, std::uint64_t place) {
    return ::pread(file.get(), into, size, static_cast<off_t>(place));
}

std::int64_t write_some_at(const FileDescriptor& file, const void* from, std::size_t size, std::uint64_t place) {
    return ::pwrite(file.get(), from, size, static_cast<off_t>(place));
}

std::int64_t seek(const FileDescriptor& file, std::int64_t offset, int whence) { return ::lseek(file.get(), offset, whence); }

std::int64_t length(const FileDescriptor& file) {
    struct stat status {};
    return ::fstat(file.get(), &status) == 0 ? status.st_size : -1;
}

void cut(const FileDescriptor& file, std::uint64_t length) {
    while (::ftruncate(file.get(), static_cast<off_t>(length)) != 0 && errno == EINTR) {
    }
}

bool push(const FileDescriptor& file) { return ::fdatasync(file.get()) == 0; }

bool push_all(const FileDescriptor& file) { return ::fsync(file.get()) == 0; }

void push_names(const fs::path& folder) {
    const FileDescriptor opened(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (opened) (void)::fsync(opened.get());
}

void remove(const fs::path& file) { ::unlink(file.c_str()); }

bool add_name(const fs::path& file, const fs::path& name) { return ::link(file.c_str(), name.c_str()) == 0; }

bool rename_over(const fs::path& file, const fs::path& name) { return ::rename(file.c_str(), name.c_str()) == 0; }

bool is_full(int reason) { return reason == ENOSPC || reason == EDQUOT; }

}  // namespace hushtrace::system_file
