#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "hushtrace/job/job.hpp"
#include "hushtrace/measure/marker_finder.hpp"

namespace hushtrace::cli {

/// Where a tone file that the source played lies in a take, and how the two clocks differ.
struct ToneFileFound {
    std::vector<FoundMarker> markers;
    std::optional<LinedUp> lined_up;  ///< when both of its markers are in the take

    std::string text() const;  ///< one sentence, without a full stop
    nlohmann::ordered_json json() const;
};

/// Nothing unless the take's tone came from a file (stick, phone, disc). Looks at the first channel that carries the
/// signal.
///   throws Error as TakeReader
std::optional<ToneFileFound> find_tone_file(const std::filesystem::path& sound, const Take& take);

}  // namespace hushtrace::cli
