#pragma once
#include <algorithm>
#include <cstdint>
#include <cstdlib>

/// How many takes the tests of stated intervals draw, and from which seed: few and fixed every day, more and fresh on request.
///     HUSHTRACE_COVERAGE_TAKES=2000 HUSHTRACE_COVERAGE_SEED=7 build/bin/test_measure "[coverage]"
namespace coverage_runs {

inline bool asked() {
    return std::getenv("HUSHTRACE_COVERAGE_TAKES") != nullptr;
}
inline int takes_or(int everyday) {
    const char* takes = std::getenv("HUSHTRACE_COVERAGE_TAKES");
    return takes ? std::max(50, std::atoi(takes)) : everyday;
}
/// The seed of every day, moved by what was asked for.
inline std::uint64_t seed_or(std::uint64_t everyday) {
    const char* seed = std::getenv("HUSHTRACE_COVERAGE_SEED");
    return seed ? everyday + 1'000'003 * static_cast<std::uint64_t>(std::atoll(seed)) : everyday;
}

}  // namespace coverage_runs
