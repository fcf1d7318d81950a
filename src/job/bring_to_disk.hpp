#pragma once
#include <filesystem>

namespace hushtrace {

/// Brings a folder's names to the disk, so that a power cut doesn't take back what was made, renamed or taken away in it.
void bring_to_disk(const std::filesystem::path& folder);

}  // namespace hushtrace
