#include "descriptors.hpp"

#include <fcntl.h>
#include <unistd.h>

namespace hushtrace {

int copy_of_descriptor(int descriptor) {
    return fcntl(descriptor, F_DUPFD_CLOEXEC, 3);
}

int descriptor_to_nowhere() {
    return open("/dev/null", O_WRONLY | O_CLOEXEC);
}

std::FILE* file_of_descriptor(int descriptor) {
    return fdopen(descriptor, "w");
}

void lead_descriptor(int descriptor, int to) {
    dup2(to, descriptor);
}

void close_descriptor(int descriptor) {
    close(descriptor);
}

}  // namespace hushtrace
