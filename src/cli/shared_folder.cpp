#include "shared_folder.hpp"

#include <system_error>

#ifdef _WIN32
#include <windows.h>

#include <array>
#endif

namespace hushtrace::cli {
namespace {

namespace fs = std::filesystem;

/// Empty where the system does not tell.
fs::path program_file() {
#ifdef _WIN32
    std::array<wchar_t, 32768> name{};
    return {name.data(), name.data() + GetModuleFileNameW(nullptr, name.data(), static_cast<DWORD>(name.size()))};
#else
    std::error_code fault;
    return fs::read_symlink("/proc/self/exe", fault);
#endif
}

}  // namespace

fs::path shared_folder() {
    return program_file().parent_path().parent_path() / "share" / "hushtrace";
}

}  // namespace hushtrace::cli
