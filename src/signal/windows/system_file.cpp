#include "../system_file.hpp"

#include <fcntl.h>
#include <io.h>
#include <sys/stat.h>
#include <windows.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <random>
#include <string>
#include <thread>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/file_name.hpp"

namespace hushtrace::system_file {
namespace {

namespace fs = std::filesystem;

HANDLE handle_of(const FileDescriptor& file) { return reinterpret_cast<HANDLE>(::_get_osfhandle(file.get())); }

int errno_of(DWORD fault) {
    switch (fault) {
        case ERROR_FILE_NOT_FOUND:
        case ERROR_PATH_NOT_FOUND:
        case ERROR_BAD_NETPATH:
        case ERROR_INVALID_DRIVE: return ENOENT;
        case ERROR_INVALID_NAME: return EINVAL;
        case ERROR_FILE_EXISTS:
        case ERROR_ALREADY_EXISTS: return EEXIST;
        case ERROR_DISK_FULL:
        case ERROR_HANDLE_DISK_FULL: return ENOSPC;
        case ERROR_WRITE_PROTECT: return EROFS;
        case ERROR_FILE_TOO_LARGE: return EFBIG;
        case ERROR_ACCESS_DENIED:
        case ERROR_SHARING_VIOLATION:
        case ERROR_LOCK_VIOLATION: return EACCES;
        case ERROR_FILENAME_EXCED_RANGE: return ENAMETOOLONG;
        case ERROR_INVALID_FUNCTION:
        case ERROR_NOT_SUPPORTED: return ENOSYS;
        default: return EIO;
    }
}

bool told(bool done) {
    if (!done) errno = errno_of(::GetLastError());
    return done;
}

/// What Windows would write elsewhere, or make under another name, is refused before.
void require_fit(const fs::path& file) {
    const std::string why = unfit_on_windows(file.filename().string());
    if (!why.empty()) throw Error(ErrorKind::file_unwritable, file.string() + ": can't be created: " + why);
}

/// Opened so that others may still rename it, as a virus scanner's reading must not keep us from it either.
FileDescriptor opened(const fs::path& file, DWORD access, DWORD creation, DWORD share) {
    const HANDLE handle = ::CreateFileW(file.c_str(), access, share, nullptr, creation, FILE_ATTRIBUTE_NORMAL, nullptr);
    if (handle == INVALID_HANDLE_VALUE) {
        errno = errno_of(::GetLastError());
        return FileDescriptor();
    }
    const int number = ::_open_osfhandle(reinterpret_cast<std::intptr_t>(handle), _O_BINARY | _O_NOINHERIT);
    if (number < 0) ::CloseHandle(handle);
    return FileDescriptor(number);
}

std::string_view unfit(bool folder, bool device, std::int64_t length) {
    if (folder) return "is a folder, not a sound file";
    if (device) return "is a device or a socket, not a sound file";
    if (length == 0) return "is empty";
    return {};
}

constexpr DWORD most_at_once = 1U << 24U;

OVERLAPPED at_place(std::uint64_t place) {
    OVERLAPPED where{};
    where.Offset = static_cast<DWORD>(place & 0xFFFFFFFFU);
    where.OffsetHigh = static_cast<DWORD>(place >> 32U);
    return where;
}

/// What moves the file's position on Windows, although it is given a place of its own, is put back.
class KeptPosition {
public:
    explicit KeptPosition(const FileDescriptor& file) : file_(file), position_(::_lseeki64(file.get(), 0, SEEK_CUR)) {}
    ~KeptPosition() {
        if (position_ >= 0) ::_lseeki64(file_.get(), position_, SEEK_SET);
    }
    KeptPosition(const KeptPosition&) = delete;
    KeptPosition& operator=(const KeptPosition&) = delete;

private:
    const FileDescriptor& file_;
    std::int64_t position_;
};

}  // namespace

std::string_view unfit_to_read(const fs::path& file, bool& exists) {
    WIN32_FILE_ATTRIBUTE_DATA facts{};
    exists = told(::GetFileAttributesExW(file.c_str(), GetFileExInfoStandard, &facts) != 0);
    if (!exists) return {};
    const auto length = static_cast<std::int64_t>(static_cast<std::uint64_t>(facts.nFileSizeHigh) << 32U | facts.nFileSizeLow);
    const bool link = (facts.dwFileAttributes & FILE_ATTRIBUTE_REPARSE_POINT) != 0;   // its length is not the file's
    return unfit((facts.dwFileAttributes & FILE_ATTRIBUTE_DIRECTORY) != 0, (facts.dwFileAttributes & FILE_ATTRIBUTE_DEVICE) != 0,
                 link ? 1 : length);
}

std::string_view unfit_to_read(const FileDescriptor& file, bool& known, std::int64_t& length) {
    LARGE_INTEGER size{};
    const bool disk = ::GetFileType(handle_of(file)) == FILE_TYPE_DISK;
    known = !disk || told(::GetFileSizeEx(handle_of(file), &size) != 0);
    length = size.QuadPart;
    return known ? unfit(false, !disk, length) : std::string_view();
}

FileDescriptor open_to_read(const fs::path& file) {
    return opened(file, GENERIC_READ, OPEN_EXISTING, FILE_SHARE_READ | FILE_SHARE_WRITE | FILE_SHARE_DELETE);
}

FileDescriptor make_new(const fs::path& file) {
    require_fit(file);
    return opened(file, GENERIC_READ | GENERIC_WRITE | DELETE, CREATE_NEW, FILE_SHARE_READ | FILE_SHARE_DELETE);
}

FileDescriptor make_draft(const fs::path& target, fs::path& name) {
    require_fit(target);
    const fs::path folder = target.has_parent_path() ? target.parent_path() : fs::path(".");
    std::random_device random;
    for (int tries = 0; tries < 100; ++tries) {
        fs::path tried = folder / ("." + target.filename().string() + "." + std::to_string(random()));
        FileDescriptor file = make_new(tried);
        if (file) {
            name = std::move(tried);
            return file;
        }
        if (errno != EEXIST) return file;
    }
    return FileDescriptor();
}

std::int64_t read_some(const FileDescriptor& file, void* into, std::size_t size) {
    return ::_read(file.get(), into, static_cast<unsigned>(std::min<std::size_t>(size, most_at_once)));
}

std::int64_t write_some(const FileDescriptor& file, const void* from, std::size_t size) {
    return ::_write(file.get(), from, static_cast<unsigned>(std::min<std::size_t>(size, most_at_once)));
}

std::int64_t read_some_at(const FileDescriptor& file, void* into, std::size_t size, std::uint64_t place) {
    const KeptPosition kept(file);
    OVERLAPPED where = at_place(place);
    DWORD done = 0;
    const DWORD most = static_cast<DWORD>(std::min<std::size_t>(size, most_at_once));
    if (::ReadFile(handle_of(file), into, most, &done, &where) == 0 && ::GetLastError() != ERROR_HANDLE_EOF) {
        told(false);
        return -1;
    }
    return done;
}

std::int64_t write_some_at(const FileDescriptor& file, const void* from, std::size_t size, std::uint64_t place) {
    const KeptPosition kept(file);
    OVERLAPPED where = at_place(place);
    DWORD done = 0;
    const DWORD most = static_cast<DWORD>(std::min<std::size_t>(size, most_at_once));
    return told(::WriteFile(handle_of(file), from, most, &done, &where) != 0) ? static_cast<std::int64_t>(done) : -1;
}

std::int64_t seek(const FileDescriptor& file, std::int64_t offset, int whence) { return ::_lseeki64(file.get(), offset, whence); }

std::int64_t length(const FileDescriptor& file) { return ::_filelengthi64(file.get()); }

void cut(const FileDescriptor& file, std::uint64_t length) { (void)::_chsize_s(file.get(), static_cast<std::int64_t>(length)); }

bool push(const FileDescriptor& file) { return told(::FlushFileBuffers(handle_of(file)) != 0); }

bool push_all(const FileDescriptor& file) { return push(file); }

void push_names(const fs::path&) {}  // NTFS keeps names in its journal; there is no call for it

void remove(const fs::path& file) { ::DeleteFileW(file.c_str()); }

bool add_name(const fs::path& file, const fs::path& name) { return told(::CreateHardLinkW(name.c_str(), file.c_str(), nullptr) != 0); }

bool rename_over(const fs::path& file, const fs::path& name) {
    // Whoever looks at a new file, a virus scanner for one, holds its name for a moment.
    for (int tries = 0;; ++tries) {
        if (::MoveFileExW(file.c_str(), name.c_str(), MOVEFILE_REPLACE_EXISTING | MOVEFILE_WRITE_THROUGH) != 0) return true;
        const DWORD fault = ::GetLastError();
        if (tries == 50 || (fault != ERROR_ACCESS_DENIED && fault != ERROR_SHARING_VIOLATION)) {
            errno = errno_of(fault);
            return false;
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
    }
}

bool is_full(int reason) { return reason == ENOSPC; }

}  // namespace hushtrace::system_file
