#pragma once
#include <string>

#include "hushtrace/diagnose/findings.hpp"

namespace hushtrace::page {

/// A list of players, one a listening file, the caution first. `folder` is put before each name: "" or "hear/".
std::string players(const NoiseAnalysis& analysis, const std::string& folder);
/// A path as it stands in a link: all but letters, digits and -_.~/ as %XX.
std::string url_path(const std::string& path);

}  // namespace hushtrace::page
