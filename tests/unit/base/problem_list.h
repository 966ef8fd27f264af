/* The messages of a list of problems as one text. */
#ifndef PACKSPAN_TESTS_PROBLEM_LIST_H
#define PACKSPAN_TESTS_PROBLEM_LIST_H

#include <stdlib.h>

#include "base/problems.h"
#include "base/text.h"

/* One line each; malloc'd, NULL when out of memory. */
static inline char *problem_list_text(const struct problems *list)
{
    char *all = text_copy("");
    for (size_t i = 0; all && i < list->count; i++) {
        char *one = problem_text(&list->items[i]);
        char *longer = one ? text_format("%s%s\n", all, one) : NULL;
        free(one);
        free(all);
        all = longer;
    }
    return all;
}

#define assert_problems(list, expected)                                                            \
    do {                                                                                           \
        char *got_ = problem_list_text(list);                                                      \
        assert_non_null(got_);                                                                     \
        assert_string_equal(got_, (expected));                                                     \
        free(got_);                                                                                \
    } while (0)

#endif
