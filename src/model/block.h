/* Samples are worked on in blocks, one array a quantity (structure of arrays). */
#ifndef PACKSPAN_MODEL_BLOCK_H
#define PACKSPAN_MODEL_BLOCK_H

/* Samples in a block: a column is 8 KiB, so that a relation's columns stay in the first-level cache
 * and all of them in the second. */
#define BLOCK_SAMPLES 1024

#endif
