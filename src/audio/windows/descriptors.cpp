#include "../descriptors.hpp"

#include <fcntl.h>
#include <io.h>

namespace hushtrace {

int copy_of_descriptor(int descriptor) {
    return _dup(descriptor);
}

int descriptor_to_nowhere() {
    return _open("NUL", _O_WRONLY | _O_BINARY | _O_NOINHERIT);
}

std::FILE* file_of_descriptor(int descriptor) {
    return _fdopen(descriptor, "wb");
}

void lead_descriptor(int descriptor, int to) {
    _dup2(to, descriptor);
}

void close_descriptor(int descriptor) {
    _close(descriptor);
}

}  // namespace hushtrace
