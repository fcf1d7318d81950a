#pragma once
#include <cstdio>

namespace hushtrace {

/// A process's numbers of open files, by the system's own calls. What fails returns -1, or nullptr. No child inherits one (on Windows a copy).
int copy_of_descriptor(int descriptor);
int descriptor_to_nowhere();                               ///< what is written to it is gone
std::FILE* file_of_descriptor(int descriptor);             ///< for writing; owns it
void lead_descriptor(int descriptor, int to);              ///< what `descriptor` led to before is closed
void close_descriptor(int descriptor);

}  // namespace hushtrace
