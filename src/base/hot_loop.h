/* Loops that the compiler shall vectorise for the machine at hand. */
#ifndef PACKSPAN_BASE_HOT_LOOP_H
#define PACKSPAN_BASE_HOT_LOOP_H

/* Hot loops are compiled for several instruction sets and chosen at run time. Contraction is off,
 * so every set gives the same bytes. Sanitizers cannot instrument the choice. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(PACKSPAN_SANITIZE)
#define HOT_LOOP __attribute__((target_clones("default", "arch=x86-64-v3", "arch=x86-64-v4")))
#else
#define HOT_LOOP
#endif

#endif
