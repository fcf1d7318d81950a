#include <csignal>

#include "command.hpp"

int main(int argc, char** argv) {
    std::signal(SIGXFSZ, SIG_IGN);  // a file that may not grow any more is a fault to report, not a death
    return hushtrace::cli::run_program(argc, argv);
}
