#pragma once
#include <string>

namespace hushtrace {

/// "1.3 %": two figures, from a hundred on whole percent, never with an exponent.
std::string percent_text(double percent);

}  // namespace hushtrace
