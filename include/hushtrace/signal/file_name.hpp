#pragma once
#include <string>
#include <string_view>

namespace hushtrace {

/// Why Windows takes no file of this name, or would write elsewhere: a character that it keeps for itself (a colon would name a second
/// stream of another file), a dot or a space at the end, which it drops, or a name of one of its devices, whatever its ending. Empty
/// where the name is fit.
///
///   name     one name, without folders, in UTF-8
///   source   Microsoft, "Naming Files, Paths, and Namespaces", section "Naming Conventions"
std::string unfit_on_windows(std::string_view name);

}  // namespace hushtrace
