#pragma once
#include <filesystem>

namespace hushtrace::cli {

/// Where the files that go with the program lie: share/hushtrace beside the bin/ that it was started from. An installed program
/// and a built one have the same two folders, so either may be moved as a whole.
std::filesystem::path shared_folder();

}  // namespace hushtrace::cli
