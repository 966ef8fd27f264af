/* Positions of names. */
#include "base/name_index.h"
#include "support/support.h"

#include <stdio.h>

enum { NAMES = 5000 };

static void names_are_found_among_thousands(void **state)
{
    (void)state;
    static char names[NAMES][16];
    struct name_index index = {0};
    assert_int_equal(name_index_find(&index, "trip0"), NAME_NOT_FOUND);
    for (size_t i = 0; i < NAMES; i++) {
        snprintf(names[i], sizeof names[i], "trip%zu", i);
        assert_true(name_index_add(&index, names[i], i));
    }
    for (size_t i = 0; i < NAMES; i++)
        assert_int_equal(name_index_find(&index, names[i]), i);
    assert_int_equal(name_index_find(&index, "trip"), NAME_NOT_FOUND);
    assert_int_equal(name_index_find(&index, "trip5000"), NAME_NOT_FOUND);
    assert_int_equal(name_index_find(&index, ""), NAME_NOT_FOUND);
    name_index_free(&index);
}

static void of_equal_names_the_first_counts(void **state)
{
    (void)state;
    struct name_index index = {0};
    assert_true(name_index_add(&index, "winter", 3));
    assert_true(name_index_add(&index, "winter", 4));
    assert_true(name_index_add(&index, "Winter", 5));
    assert_int_equal(name_index_find(&index, "winter"), 3);
    assert_int_equal(name_index_find(&index, "Winter"), 5);
    name_index_free(&index);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_are_found_among_thousands),
        cmocka_unit_test(of_equal_names_the_first_counts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
