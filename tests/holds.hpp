#pragma once
#include <string>

/// Whether a text has these words in it.
inline bool holds(const std::string& text, const std::string& words) {
    return text.find(words) != std::string::npos;
}
