#include "command.hpp"

int main(int argc, char** argv) {
    return hushtrace::cli::run_program(argc, argv);
}
