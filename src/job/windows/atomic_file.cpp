#include "hushtrace/job/atomic_file.hpp"

#include <fmt/format.h>
#include <windows.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <string>
#include <system_error>
#include <thread>
#include <utility>

#include "../bring_to_disk.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/file_name.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

constexpr DWORD quota_exceeded = 1295;  // ERROR_DISK_QUOTA_EXCEEDED, which not every mingw-w64 has

[[noreturn]] void fail(ErrorKind kind, const fs::path& file, const std::string& why) {
    throw Error(kind, fmt::format("{}: {}", file.string(), why));
}

std::string words(DWORD fault) { return std::system_category().message(static_cast<int>(fault)); }

[[noreturn]] void fail_writing(const fs::path& file, DWORD fault) {
    if (fault == ERROR_DISK_FULL || fault == ERROR_HANDLE_DISK_FULL || fault == quota_exceeded)
        fail(ErrorKind::disk_failed, file, "the disk is full; nothing was changed");
    if (fault == ERROR_FILE_TOO_LARGE) fail(ErrorKind::disk_failed, file, "no file may grow so large here; nothing was changed");
    if (fault == ERROR_IO_DEVICE || fault == ERROR_CRC || fault == ERROR_WRITE_FAULT)
        fail(ErrorKind::disk_failed, file, "the disk fails; nothing was changed");
    if (fault == ERROR_ALREADY_EXISTS || fault == ERROR_FILE_EXISTS) fail(ErrorKind::file_unwritable, file, "exists already");
    fail(ErrorKind::file_unwritable, file, fmt::format("can't be written ({})", words(fault)));
}

class Handle {
public:
    explicit Handle(HANDLE handle = INVALID_HANDLE_VALUE) : handle_(handle) {}
    ~Handle() { close(); }
    Handle(const Handle&) = delete;
    Handle& operator=(const Handle&) = delete;
    HANDLE get() const { return handle_; }
    bool ok() const { return handle_ != INVALID_HANDLE_VALUE; }
    void close() {
        if (ok()) ::CloseHandle(handle_);
        handle_ = INVALID_HANDLE_VALUE;
    }

private:
    HANDLE handle_;
};

/// A regular file, open for reading. Others may write, rename and delete it meanwhile, as elsewhere.
HANDLE open_regular(const fs::path& file, bool follow_links) {
    const DWORD attributes = ::GetFileAttributesW(file.c_str());
    if (attributes == INVALID_FILE_ATTRIBUTES) {
        const DWORD fault = ::GetLastError();
        const bool missing = fault == ERROR_FILE_NOT_FOUND || fault == ERROR_PATH_NOT_FOUND || fault == ERROR_DIRECTORY;
        fail(ErrorKind::file_unreadable, file, missing ? "there is no such file" : fmt::format("can't be read ({})", words(fault)));
    }
    if ((attributes & FILE_ATTRIBUTE_DIRECTORY) != 0) fail(ErrorKind::file_unreadable, file, "is a folder, not a file");
    if (!follow_links && fs::is_symlink(fs::symlink_status(file)))
        fail(ErrorKind::file_unreadable, file, "is a link; the file itself must lie here");
    const HANDLE handle = ::CreateFileW(file.c_str(), GENERIC_READ, FILE_SHARE_READ | FILE_SHARE_WRITE | FILE_SHARE_DELETE, nullptr,
                                        OPEN_EXISTING, FILE_FLAG_SEQUENTIAL_SCAN, nullptr);
    if (handle == INVALID_HANDLE_VALUE) fail(ErrorKind::file_unreadable, file, fmt::format("can't be read ({})", words(::GetLastError())));
    if (::GetFileType(handle) == FILE_TYPE_DISK) return handle;
    ::CloseHandle(handle);
    fail(ErrorKind::file_unreadable, file, "is no regular file");
}

/// The next bytes of a file; 0 at its end.
std::size_t read_some(const Handle& source, const fs::path& file, std::array<char, 1 << 16>& buffer) {
    DWORD got = 0;
    if (::ReadFile(source.get(), buffer.data(), static_cast<DWORD>(buffer.size()), &got, nullptr) == 0)
        fail(ErrorKind::file_unreadable, file, fmt::format("can't be read ({})", words(::GetLastError())));
    return got;
}

/// The temporary beside a file; gone when it was not finished.
class Temporary {
public:
    explicit Temporary(const fs::path& file)
        : file_(file), name_(file.parent_path() / ("." + file.filename().string() + ".new")) {
        const std::string why = unfit_on_windows(file.filename().string());
        if (!why.empty()) fail(ErrorKind::file_unwritable, file, "can't be created: " + why);
        ::DeleteFileW(name_.c_str());  // left over from a kill
        handle_ = ::CreateFileW(name_.c_str(), GENERIC_WRITE, FILE_SHARE_READ, nullptr, CREATE_NEW, FILE_ATTRIBUTE_NORMAL, nullptr);
        if (handle_ == INVALID_HANDLE_VALUE) fail_writing(file_, ::GetLastError());
    }
    ~Temporary() {
        if (handle_ != INVALID_HANDLE_VALUE) ::CloseHandle(handle_);
        if (!finished_) ::DeleteFileW(name_.c_str());
    }
    Temporary(const Temporary&) = delete;
    Temporary& operator=(const Temporary&) = delete;

    void write(std::string_view bytes) {
        while (!bytes.empty()) {
            DWORD done = 0;
            const auto most = static_cast<DWORD>(std::min<std::size_t>(bytes.size(), 1U << 24U));
            if (::WriteFile(handle_, bytes.data(), most, &done, nullptr) == 0) fail_writing(file_, ::GetLastError());
            if (done == 0) fail_writing(file_, ERROR_DISK_FULL);
            bytes.remove_prefix(done);
        }
    }
    /// Gives the content to the disk, then the name.
    void finish(bool replace) {
        if (::FlushFileBuffers(handle_) == 0) fail_writing(file_, ::GetLastError());
        ::CloseHandle(std::exchange(handle_, INVALID_HANDLE_VALUE));
        // Whoever looks at a new file, a virus scanner for one, or reads the old one without leave to replace it, holds it for a moment.
        for (int tries = 0;; ++tries) {
            const DWORD flags = MOVEFILE_WRITE_THROUGH | (replace ? MOVEFILE_REPLACE_EXISTING : 0);
            if (::MoveFileExW(name_.c_str(), file_.c_str(), flags) != 0) break;
            const DWORD fault = ::GetLastError();
            if (tries == 50 || (fault != ERROR_ACCESS_DENIED && fault != ERROR_SHARING_VIOLATION)) fail_writing(file_, fault);
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
        }
        finished_ = true;
    }

private:
    fs::path file_, name_;
    HANDLE handle_ = INVALID_HANDLE_VALUE;
    bool finished_ = false;
};

}  // namespace

void bring_to_disk(const fs::path&) {}  // NTFS keeps names in its journal; there is no call for it

void write_whole(const fs::path& file, std::string_view text) {
    const DWORD attributes = ::GetFileAttributesW(file.c_str());
    if (attributes != INVALID_FILE_ATTRIBUTES && (attributes & FILE_ATTRIBUTE_DIRECTORY) != 0)
        fail(ErrorKind::file_unwritable, file, "is a folder");
    Temporary temporary(file);
    temporary.write(text);
    temporary.finish(true);
}

void copy_whole(const fs::path& from, const fs::path& to) {
    const Handle source(open_regular(from, true));
    if (::GetFileAttributesW(to.c_str()) != INVALID_FILE_ATTRIBUTES) fail(ErrorKind::file_unwritable, to, "exists already");
    Temporary temporary(to);
    std::array<char, 1 << 16> buffer{};
    while (const std::size_t got = read_some(source, from, buffer)) temporary.write({buffer.data(), got});
    temporary.finish(false);
}

std::string read_whole(const fs::path& file, std::size_t most_bytes, bool follow_links) {
    const Handle source(open_regular(file, follow_links));
    std::string text;
    std::array<char, 1 << 16> buffer{};
    while (const std::size_t got = read_some(source, file, buffer)) {
        text.append(buffer.data(), got);
        if (text.size() > most_bytes)
            fail(ErrorKind::file_unreadable, file, fmt::format("is larger than {} MiB", most_bytes >> 20U));
    }
    return text;
}

/// A folder can't be locked on Windows. In its place stands a file that only one may have open, and that Windows takes away when
/// its owner ends, however he ends.
FolderLock::FolderLock(const fs::path& folder) {
    const DWORD attributes = ::GetFileAttributesW(folder.c_str());
    if (attributes == INVALID_FILE_ATTRIBUTES || (attributes & FILE_ATTRIBUTE_DIRECTORY) == 0)
        fail(ErrorKind::file_unreadable, folder, "there is no such folder");
    const fs::path file = folder / ".hushtrace-lock";
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(15);
    for (;;) {
        const HANDLE handle = ::CreateFileW(file.c_str(), GENERIC_WRITE, 0, nullptr, OPEN_ALWAYS,
                                            FILE_ATTRIBUTE_HIDDEN | FILE_FLAG_DELETE_ON_CLOSE, nullptr);
        if (handle != INVALID_HANDLE_VALUE) {
            handle_ = reinterpret_cast<std::intptr_t>(handle);
            return;
        }
        const DWORD fault = ::GetLastError();
        // "access denied" is also what a file says that is on its way out
        const bool busy = fault == ERROR_SHARING_VIOLATION || fault == ERROR_ACCESS_DENIED || fault == ERROR_DELETE_PENDING;
        if (busy && std::chrono::steady_clock::now() < end) {
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
            continue;
        }
        fail(ErrorKind::file_unwritable, folder,
             fault == ERROR_SHARING_VIOLATION ? "another program has been changing this job for 15 s"
                                              : fmt::format("can't be kept from other programs' changes ({})", words(fault)));
    }
}

FolderLock::~FolderLock() { ::CloseHandle(reinterpret_cast<HANDLE>(handle_)); }

}  // namespace hushtrace
