#pragma once
#include <CLI/CLI.hpp>

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/conditions.hpp"

/// What may stand behind an option, said where the option is defined. --help shows the type; the manual pages and the
/// shells' completion, which the build writes from these definitions (pages/), offer the words.
namespace hushtrace::cli {

inline constexpr const char* file_type = "FILE";
inline constexpr const char* folder_type = "FOLDER";
inline constexpr const char* take_type = "TAKE";        ///< a take of the job, as job.json names it: takes/idle.flac
inline constexpr const char* vehicle_type = "VEHICLE";  ///< a simulated vehicle: a file, or a name from signals/

/// Words that the option takes, or some of what it takes. They check nothing: the command refuses a wrong word by itself.
CLI::Option* offer(CLI::Option* option, const std::vector<std::string>& words);
/// For what comes as text from elsewhere; each word with this ending.
std::vector<std::string> as_offer(std::span<const std::string_view> words, const std::string& ending = "");
template <class Word>
CLI::Option* offer(CLI::Option* option) {
    return offer(option, as_offer(words_of<Word>()));
}

/// What was offered; empty where nothing was.
std::vector<std::string> offered(CLI::Option& option);

}  // namespace hushtrace::cli
