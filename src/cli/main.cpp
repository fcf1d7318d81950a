#include <csignal>
#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "command.hpp"

int main(int argc, char** argv) {
    std::signal(SIGXFSZ, SIG_IGN);  // a file that may not grow any more is a fault to report, not a death
#ifdef __GLIBC__
    // An analysis takes and gives back arrays of some ten megabytes by the hundred: kept at hand, they cost a tenth less time than
    // fresh pages from the kernel each time.
    constexpr int kept_bytes = 1 << 30;
    mallopt(M_MMAP_THRESHOLD, kept_bytes);
    mallopt(M_TRIM_THRESHOLD, kept_bytes);
#endif
    return hushtrace::cli::run_program(argc, argv);
}
