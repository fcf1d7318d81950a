#pragma once
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string_view>

#include "file_descriptor.hpp"

/// What the layer asks of the system's files. windows/system_file.cpp has the same for Windows. Nothing throws, but on
/// Windows a new file's name that it would not take as it stands: file_unwritable. Else -1, an empty FileDescriptor or false with
/// errno set. A call that a signal broke off comes back with EINTR, except cut().
namespace hushtrace::system_file {

/// Why this is no file to read sound from; empty for a regular file with something in it. Sets `exists` to false with errno where
/// nothing can be learnt of it. Never opens anything.
std::string_view unfit_to_read(const std::filesystem::path& file, bool& exists);
/// The same of what was opened; `length` [bytes] is its length.
std::string_view unfit_to_read(const FileDescriptor& file, bool& known, std::int64_t& length);

/// Never waits for the other end of a pipe.
FileDescriptor open_to_read(const std::filesystem::path& file);
/// Makes a new file to write and read; EEXIST where the name is taken.
FileDescriptor make_new(const std::filesystem::path& file);
/// Makes a hidden file beside `target` under a name that nothing has, and says its name.
FileDescriptor make_draft(const std::filesystem::path& target, std::filesystem::path& name);

/// `size` at most; 0 at the file's end.
std::int64_t read_some(const FileDescriptor& file, void* into, std::size_t size);
std::int64_t write_some(const FileDescriptor& file, const void* from, std::size_t size);
/// The same at a place of its own; the file's position stays.
std::int64_t read_some_at(const FileDescriptor& file, void* into, std::size_t size, std::uint64_t place);
std::int64_t write_some_at(const FileDescriptor& file, const void* from, std::size_t size, std::uint64_t place);
/// `whence` as with fseek(); returns the new position.
std::int64_t seek(const FileDescriptor& file, std::int64_t offset, int whence);
/// In bytes.
std::int64_t length(const FileDescriptor& file);
/// Makes the file end at `length`.
void cut(const FileDescriptor& file, std::uint64_t length);

/// The content reaches the disk.
bool push(const FileDescriptor& file);
/// The content and all that the system knows of the file reach the disk.
bool push_all(const FileDescriptor& file);
/// The names in a folder reach the disk, where the file system can.
void push_names(const std::filesystem::path& folder);

void remove(const std::filesystem::path& file);
/// A second name for a file; EEXIST where it is taken, another errno where the file system has no second names.
bool add_name(const std::filesystem::path& file, const std::filesystem::path& name);
/// Takes the place of what has the name.
bool rename_over(const std::filesystem::path& file, const std::filesystem::path& name);

/// The disk, or what one may use of it, is full.
bool is_full(int reason);

}  // namespace hushtrace::system_file
