// libFuzzer's side. The target is the program's name behind "fuzz_": one program under several names.
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <string>

#include "target.hpp"

namespace {

const hushtrace::fuzz::Target* chosen = nullptr;

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char*** arguments) {
    const std::string called = (*arguments)[0];
    for (const auto& target : hushtrace::fuzz::targets)
        if (called.ends_with("fuzz_" + std::string(target.name))) chosen = &target;
    if (chosen) return 0;
    std::fputs("call it by a target's name: fuzz_job, fuzz_sound, ...\n", stderr);
    std::exit(2);
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    chosen->run({data, size});
    return 0;
}
