#pragma once
#include <cstdint>
#include <filesystem>
#include <string_view>

/// Files that are there whole or not at all: written beside their place under a temporary name, brought to
/// the disk, then renamed. A kill or a power cut leaves the old file or the new one; at worst a temporary is
/// left beside it, named .NAME.new, which the next write replaces.
namespace hushtrace {

/// Writes a text, replacing what was there. Two writers of one file must keep each other out by themselves.
///   throws Error file_unwritable when the folder doesn't take a file; disk_failed when it is full or fails.
///   Both leave what was there before, and no temporary
void write_whole(const std::filesystem::path& file, std::string_view text);

/// Copies a regular file to a name that isn't taken.
///   throws as write_whole, and Error file_unreadable for `from`; file_unwritable when `to` exists
void copy_whole(const std::filesystem::path& from, const std::filesystem::path& to);

/// The content of a regular file of at most `most_bytes`; never waits on a pipe or a device.
///   throws Error file_unreadable: missing, a folder, a pipe, a link when `follow_links` is off, not allowed,
///   too large
std::string read_whole(const std::filesystem::path& file, std::size_t most_bytes, bool follow_links = true);

/// Keeps others from changing a folder as long as it lives (an advisory lock on the folder itself: nothing is
/// left behind, and the system frees it when the process ends in whatever way).
class FolderLock {
public:
    /// Waits up to 15 s. throws Error file_unreadable: no such folder; file_unwritable: not to be had
    explicit FolderLock(const std::filesystem::path& folder);
    ~FolderLock();
    FolderLock(const FolderLock&) = delete;
    FolderLock& operator=(const FolderLock&) = delete;

private:
    std::intptr_t handle_ = -1;  ///< the system's
};

}  // namespace hushtrace
