#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>

/// Wording for things that were spelled wrongly, shared by job.json and the command line, so that the same
/// slip gets the same sentence in both.
namespace hushtrace {

/// Whether the bytes are UTF-8 (RFC 3629: nothing overlong, no surrogates).
bool is_utf8(std::string_view text);

/// The text in single quotes, fit for one line of a message: control characters and invalid UTF-8 become '?',
/// and what is longer than 40 characters is cut with "...".
std::string in_quotes(std::string_view text);

/// The word that was most likely meant: one that differs by at most two letters left out, added, changed or
/// swapped (one for words under five letters), or that the text begins or ends with, or the other way round.
/// Nothing when no word, or more than one, is equally near.
std::optional<std::string_view> nearest_word(std::string_view text, std::span<const std::string_view> words);

/// "'idel' is none of off, accessory, key_on, idle (did you mean 'idle'?)"
std::string none_of(std::string_view text, std::span<const std::string_view> words);

/// " (did you mean 'volume'?)", or empty when nothing is near.
std::string did_you_mean(std::string_view text, std::span<const std::string_view> words);

}  // namespace hushtrace
