/* What the readers of study.csv and points.csv share. Private to src/case. */
#ifndef PACKSPAN_CASE_STUDY_READING_H
#define PACKSPAN_CASE_STUDY_READING_H

#include "case/reading.h"

/* What a vehicle's name with that of a quantity, or with quantity.TRIP, stands for. */
struct study_address {
    size_t vehicle, trip;
    enum quantity_id quantity;
};

/* Why names stand for nothing. `remedy` is malloc'd; NULL means out of memory. */
struct study_fault {
    bool of_vehicle; /* else of the quantity */
    const char *what;
    char *remedy;
};

#define STUDY_INPUT_NONE SIZE_MAX

/* False, and *f filled, when the names stand for nothing that can be given. */
bool study_address_find(const struct reading *r, const char *vehicle, const char *quantity,
                        struct study_address *out, struct study_fault *f);
/* Index of an input as in struct study_knob; STUDY_INPUT_NONE when the case does not give it. */
size_t study_input_find(const struct case_data *c, const struct study_address *a);
/* An input that only the study gives. */
size_t study_input_add(struct reading *r, const struct study_address *a, const char *file,
                       long line);
const struct input *study_input(const struct case_data *c, size_t input);
bool study_is_linked(const struct case_data *c, size_t input);
/* Whether a fault only follows from a table that is too wrong to know what it defines, which is
 * reported there. */
bool study_fault_follows(const struct reading *r, const struct study_fault *f);

/* Where a knob is written. */
struct study_place {
    const char *file, *column, *text; /* text may be NULL */
    long line;
};

/* Candidates whose rows replace the input. */
void study_warn_if_replaced(struct reading *r, const struct study_place *p,
                            const struct study_address *a);
/* The knob sets an input as a whole that the case gives with a spread. */
bool study_leaves_out_spread(const struct case_data *c, const struct study_knob *k);
void study_warn_of_spread(struct reading *r, const struct study_place *p,
                          const struct study_knob *k, const char *remedy);
/* What to write instead of an address that is not given; malloc'd. */
char *study_nearest_owner(const struct case_data *c, const struct study_address *a);

#endif
