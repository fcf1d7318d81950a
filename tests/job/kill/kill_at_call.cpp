// Preloaded into the program under test. Every call that changes something below a folder is counted, can be written to a log with
// its content, and at the one that is named the process is killed as kill -9 does.
//
//   CRASH_FOLDER  the folder, absolute; calls on other paths pass by uncounted
//   CRASH_AT      number of the call, from 1, before which to kill; 0 or unset: never
//   CRASH_TORN    when set, and the call writes: the first half of its bytes is written first
//   CRASH_LOG     a file that takes a record of each call: one line of text, then its bytes
//
// Killing after a call leaves the disk as killing before the next one does, so "before" is enough.
#include <dlfcn.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <climits>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <mutex>
#include <string>

namespace {

template <class Function>
Function real(const char* name) {
    return reinterpret_cast<Function>(::dlsym(RTLD_NEXT, name));
}

const std::string& folder() {
    static const std::string name = [] {
        const char* const told = std::getenv("CRASH_FOLDER");
        return std::string(told ? told : "");
    }();
    return name;
}

std::recursive_mutex& guard() {
    static std::recursive_mutex one;
    return one;
}

/// The path as an absolute one, if it lies in the folder.
std::string inside(int at, const char* path) {
    if (!path || folder().empty()) return {};
    std::string whole = path;
    if (whole.empty() || whole.front() != '/') {
        std::array<char, PATH_MAX> base{};
        if (at == AT_FDCWD) {
            if (!::getcwd(base.data(), base.size())) return {};
        } else if (::readlink(("/proc/self/fd/" + std::to_string(at)).c_str(), base.data(), base.size() - 1) < 0) {
            return {};
        }
        whole = std::string(base.data()) + "/" + whole;
    }
    for (std::size_t at_slash; (at_slash = whole.find("//")) != std::string::npos;) whole.erase(at_slash, 1);
    while (whole.size() > 1 && whole.back() == '/') whole.pop_back();
    return whole.rfind(folder() + "/", 0) == 0 || whole == folder() ? whole : std::string();
}

constexpr int kMostFiles = 1024;
/// Paths of the open files that count; a directory's too, since its entries are brought to the disk through it.
std::array<std::string, kMostFiles>& files() {
    static std::array<std::string, kMostFiles> names;
    return names;
}
const std::string& name_of(int number) {
    static const std::string none;
    return number >= 0 && number < kMostFiles ? files()[static_cast<std::size_t>(number)] : none;
}
unsigned long inode_of(int number) {
    struct stat facts {};
    return ::fstat(number, &facts) == 0 ? facts.st_ino : 0;
}

long called = 0;

bool kills_here() {
    static const long at = [] {
        const char* const told = std::getenv("CRASH_AT");
        return told ? std::atol(told) : 0;
    }();
    return ++called == at;
}
[[noreturn]] void die() {
    ::kill(::getpid(), SIGKILL);
    for (;;) ::pause();
}

void log(const std::string& line, const void* bytes = nullptr, std::size_t count = 0) {
    static const auto opens = real<int (*)(const char*, int, ...)>("open");
    static const auto writes = real<ssize_t (*)(int, const void*, size_t)>("write");
    static const int to = [] {
        const char* const told = std::getenv("CRASH_LOG");
        return told ? opens(told, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0666) : -1;
    }();
    if (to < 0) return;
    const std::string head = line + "\t" + std::to_string(count) + "\n";
    if (writes(to, head.data(), head.size()) < 0) std::abort();
    if (count > 0 && writes(to, bytes, count) < 0) std::abort();
}

bool writing(int flags) {
    return (flags & O_ACCMODE) != O_RDONLY || (flags & (O_CREAT | O_TRUNC)) != 0 || (flags & O_DIRECTORY) != 0;
}

template <class Open>
int opened(const std::string& name, int flags, Open open) {
    if (name.empty() || !writing(flags)) return open();
    const std::lock_guard lock(guard());
    if (kills_here()) die();
    const int number = open();
    if (number >= 0 && number < kMostFiles) {
        files()[static_cast<std::size_t>(number)] = name;
        if ((flags & O_DIRECTORY) == 0)
            log("open\t" + name + "\t" + std::to_string(inode_of(number)) + "\t" + std::to_string((flags & O_TRUNC) != 0));
    }
    return number;
}

template <class Call>
auto on_file(int number, const char* what, const std::string& more, Call call) {
    if (name_of(number).empty()) return call();
    const std::lock_guard lock(guard());
    if (kills_here()) die();
    const auto result = call();
    if (result == 0) log(std::string(what) + "\t" + name_of(number) + "\t" + std::to_string(inode_of(number)) + more);
    return result;
}

template <class Call>
int on_names(const char* what, const std::string& from, const std::string& to, Call call) {
    if (from.empty() && to.empty()) return call();
    const std::lock_guard lock(guard());
    if (kills_here()) die();
    const int result = call();
    const int fault = errno;
    if (result == 0) log(std::string(what) + "\t" + from + "\t" + to);
    errno = fault;
    return result;
}

template <class Call>
ssize_t written(int number, const void* bytes, size_t count, off_t place, Call call) {
    const std::lock_guard lock(guard());
    if (kills_here()) {
        static const auto put = real<ssize_t (*)(int, const void*, size_t, off_t)>("pwrite");
        if (std::getenv("CRASH_TORN") && put(number, bytes, count / 2, place) < 0) std::abort();
        die();
    }
    const ssize_t done = call();
    if (done > 0)
        log("write\t" + name_of(number) + "\t" + std::to_string(inode_of(number)) + "\t" + std::to_string(place), bytes,
            static_cast<std::size_t>(done));
    return done;
}

mode_t mode_in(int flags, std::va_list& more) {
    return (flags & O_CREAT) != 0 ? static_cast<mode_t>(va_arg(more, int)) : 0;
}

}  // namespace

#define OPENS(NAME)                                                                                        \
    extern "C" int NAME(const char* path, int flags, ...) {                                                \
        std::va_list more;                                                                                 \
        va_start(more, flags);                                                                             \
        const mode_t mode = mode_in(flags, more);                                                          \
        va_end(more);                                                                                      \
        static const auto call = real<int (*)(const char*, int, ...)>(#NAME);                              \
        return opened(inside(AT_FDCWD, path), flags, [&] { return call(path, flags, mode); });             \
    }
#define OPENS_AT(NAME)                                                                                     \
    extern "C" int NAME(int at, const char* path, int flags, ...) {                                        \
        std::va_list more;                                                                                 \
        va_start(more, flags);                                                                             \
        const mode_t mode = mode_in(flags, more);                                                          \
        va_end(more);                                                                                      \
        static const auto call = real<int (*)(int, const char*, int, ...)>(#NAME);                         \
        return opened(inside(at, path), flags, [&] { return call(at, path, flags, mode); });               \
    }
OPENS(open)
OPENS(open64)
OPENS_AT(openat)
OPENS_AT(openat64)

extern "C" ssize_t write(int number, const void* bytes, size_t count) {
    static const auto call = real<ssize_t (*)(int, const void*, size_t)>("write");
    if (name_of(number).empty()) return call(number, bytes, count);
    return written(number, bytes, count, ::lseek(number, 0, SEEK_CUR), [&] { return call(number, bytes, count); });
}
#define PUTS(NAME)                                                                                         \
    extern "C" ssize_t NAME(int number, const void* bytes, size_t count, off_t place) {                    \
        static const auto call = real<ssize_t (*)(int, const void*, size_t, off_t)>(#NAME);                \
        if (name_of(number).empty()) return call(number, bytes, count, place);                             \
        return written(number, bytes, count, place, [&] { return call(number, bytes, count, place); });    \
    }
PUTS(pwrite)
PUTS(pwrite64)
#define CUTS(NAME)                                                                                         \
    extern "C" int NAME(int number, off_t size) noexcept {                                                 \
        static const auto call = real<int (*)(int, off_t)>(#NAME);                                         \
        return on_file(number, "truncate", "\t" + std::to_string(size), [&] { return call(number, size); }); \
    }
CUTS(ftruncate)
CUTS(ftruncate64)

extern "C" int fsync(int number) {
    static const auto call = real<int (*)(int)>("fsync");
    return on_file(number, "sync", "", [&] { return call(number); });
}
extern "C" int fdatasync(int number) {
    static const auto call = real<int (*)(int)>("fdatasync");
    return on_file(number, "sync", "", [&] { return call(number); });
}
extern "C" int close(int number) {
    static const auto call = real<int (*)(int)>("close");
    if (name_of(number).empty()) return call(number);
    const std::lock_guard lock(guard());
    if (kills_here()) die();
    files()[static_cast<std::size_t>(number)].clear();
    return call(number);
}

extern "C" int rename(const char* from, const char* to) noexcept {
    static const auto call = real<int (*)(const char*, const char*)>("rename");
    return on_names("rename", inside(AT_FDCWD, from), inside(AT_FDCWD, to), [&] { return call(from, to); });
}
extern "C" int renameat(int at, const char* from, int at_to, const char* to) noexcept {
    static const auto call = real<int (*)(int, const char*, int, const char*)>("renameat");
    return on_names("rename", inside(at, from), inside(at_to, to), [&] { return call(at, from, at_to, to); });
}
extern "C" int renameat2(int at, const char* from, int at_to, const char* to, unsigned flags) noexcept {
    static const auto call = real<int (*)(int, const char*, int, const char*, unsigned)>("renameat2");
    return on_names("rename", inside(at, from), inside(at_to, to), [&] { return call(at, from, at_to, to, flags); });
}
extern "C" int link(const char* from, const char* to) noexcept {
    static const auto call = real<int (*)(const char*, const char*)>("link");
    return on_names("link", inside(AT_FDCWD, from), inside(AT_FDCWD, to), [&] { return call(from, to); });
}
extern "C" int unlink(const char* path) noexcept {
    static const auto call = real<int (*)(const char*)>("unlink");
    return on_names("unlink", inside(AT_FDCWD, path), "", [&] { return call(path); });
}
extern "C" int remove(const char* path) noexcept {
    static const auto call = real<int (*)(const char*)>("remove");
    return on_names("unlink", inside(AT_FDCWD, path), "", [&] { return call(path); });
}
extern "C" int mkdir(const char* path, mode_t mode) noexcept {
    static const auto call = real<int (*)(const char*, mode_t)>("mkdir");
    return on_names("mkdir", inside(AT_FDCWD, path), "", [&] { return call(path, mode); });
}
extern "C" int rmdir(const char* path) noexcept {
    static const auto call = real<int (*)(const char*)>("rmdir");
    return on_names("rmdir", inside(AT_FDCWD, path), "", [&] { return call(path); });
}
