#include "shared_folder.hpp"

#include <system_error>

namespace hushtrace::cli {

std::filesystem::path shared_folder() {
    std::error_code fault;
    const std::filesystem::path program = std::filesystem::read_symlink("/proc/self/exe", fault);
    return program.parent_path().parent_path() / "share" / "hushtrace";
}

}  // namespace hushtrace::cli
