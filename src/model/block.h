/* Samples are worked on in blocks, one array a quantity (structure of arrays). */
#ifndef PACKSPAN_MODEL_BLOCK_H
#define PACKSPAN_MODEL_BLOCK_H

/* Samples in a block: a column is 4 KiB, so a relation's columns stay in the first-level cache. */
#define BLOCK_SAMPLES 2048

#endif
