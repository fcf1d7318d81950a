#pragma once

/// Before a hot loop's function: compiled for processors with 256-bit vectors beside the plain one, and chosen when the
/// program starts. No fused products: the results are the same to the bit.
#if defined(__x86_64__) && defined(__linux__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define HUSHTRACE_WIDE_VECTORS __attribute__((target_clones("avx2", "default")))
#else
#define HUSHTRACE_WIDE_VECTORS
#endif

/// Before a loop: its arrays don't overlap.
#if defined(__GNUC__) && !defined(__clang__)
#define HUSHTRACE_APART _Pragma("GCC ivdep")
#else
#define HUSHTRACE_APART
#endif
