#include "print.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <string>

#include "hushtrace/signal/error.hpp"

namespace hushtrace::cli {

void print_result(std::string_view text) {
    if (std::fwrite(text.data(), 1, text.size(), stdout) != text.size() || std::fflush(stdout) != 0)
        throw Error(ErrorKind::disk_failed, std::string("standard output: ") + std::strerror(errno));
}

}  // namespace hushtrace::cli
