/* Samples are worked on in blocks, one array a quantity (structure of arrays). */
#ifndef PACKSPAN_MODEL_BLOCK_H
#define PACKSPAN_MODEL_BLOCK_H

/* Samples in a block: a column is 4 KiB, so a relation's columns stay in the first-level cache. */
#define BLOCK_SAMPLES 512

/* Hot loops are compiled for several instruction sets and chosen at run time. Contraction is off,
 * so every set gives the same bytes. Sanitizers cannot instrument the choice. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(PACKSPAN_SANITIZE)
#define HOT_LOOP __attribute__((target_clones("default", "arch=x86-64-v3", "arch=x86-64-v4")))
#else
#define HOT_LOOP
#endif

#endif
