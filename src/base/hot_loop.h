/* Loops that the compiler shall vectorise for the machine at hand. */
#ifndef PACKSPAN_BASE_HOT_LOOP_H
#define PACKSPAN_BASE_HOT_LOOP_H

/* Hot loops are compiled for several instruction sets and chosen at run time. Contraction is off,
 * so every set gives the same bytes. Sanitizers cannot instrument the choice. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(PACKSPAN_ONE_SET)
#define HOT_LOOP __attribute__((target_clones("default", "arch=x86-64-v3", "arch=x86-64-v4")))
#else
#define HOT_LOOP
#endif

/* For loops that gain from vectors of 64-bit products only, beside a plain twin: compiled for
 * x86-64-v4, to be called where has_wide_products() says so. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(PACKSPAN_ONE_SET)
#define WIDE_LOOP __attribute__((target("avx512f,avx512dq,avx512vl,avx512bw,avx512cd")))
static inline int has_wide_products(void)
{
    return __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512dq") &&
           __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512bw") &&
           __builtin_cpu_supports("avx512cd");
}
#else
#define WIDE_LOOP
static inline int has_wide_products(void)
{
    return 0;
}
#endif

#endif
