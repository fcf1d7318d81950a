#include "../shared_folder.hpp"

#include <windows.h>

#include <array>

namespace hushtrace::cli {

std::filesystem::path shared_folder() {
    std::array<wchar_t, 32768> name{};
    const DWORD length = GetModuleFileNameW(nullptr, name.data(), static_cast<DWORD>(name.size()));
    const std::filesystem::path program(name.data(), name.data() + length);
    return program.parent_path().parent_path() / "share" / "hushtrace";
}

}  // namespace hushtrace::cli
