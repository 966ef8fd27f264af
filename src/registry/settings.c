#include "registry/settings.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

const struct setting_info setting_infos[SETTING_COUNT] = {
    [SETTING_SAMPLES] = {"run check study", "samples", "N", "100 to 1e12, a whole number",
                         "how many joint samples are drawn"},
    [SETTING_EFFECTIVE] = {"run check", "effective", "N", "0 to 1e9, a whole number",
                           "stop as soon as that many effective samples are there; 0 draws all"},
    [SETTING_STABLE] =
        {"run check", "stable", "DIGITS", "0 to 4, a whole number",
         "stop as soon as results are stable to so many digits of their sd; 0 draws all"},
    [SETTING_PILOT] =
        {"run check", "pilot", "N", "0 to 1e12, a whole number",
         "with evidence, how many first samples at least set the scale of the weights"},
    [SETTING_SEQUENCE] = {"run check study", "sequence", "NAME", "pcg or sobol",
                          "pseudo-random numbers or scrambled Sobol' points"},
    [SETTING_SEED] = {"run check study", "seed", "N", "0 to 18446744073709551615, a whole number",
                      "start of the random numbers; the same seed gives the same results"},
    [SETTING_THREADS] = {"run check study merge", "threads", "N", "0 to 1024, a whole number",
                         "threads that share the work; 0 takes one for each processor"},
    [SETTING_KEEP] = {"run check", "keep", "N", "0 to 1e7, a whole number",
                      "how many joint samples are written to samples.csv"},
    [SETTING_PART] = {"run check study", "part", "K/N",
                      "all, or K/N, whole numbers with 1 <= K <= N <= 1e6",
                      "only share K of N, into a file for packspan merge"},
    [SETTING_UNITS] = {"run check merge", "units", "NAME", "metric or us", "units on the screen"},
    [SETTING_QUIET] = {"run check study merge", "quiet", NULL, "yes or no",
                       "print nothing but problems"},
    [SETTING_OUT] = {"run check study", "out", "FOLDER",
                     "the path of a folder, shorter than 4096 bytes",
                     "where the result tables go; results/NAME-OF-CASE when empty"},
    [SETTING_DESIGN] = {"study", "design", "NAME", "grid or sobol",
                        "every combination of the axes' values, or points spread over the axes"},
    [SETTING_POINTS] = {"study", "points", "N", "0 to 1e9, a whole number",
                        "how many points the design sobol takes"},
    [SETTING_QUANTITIES] = {"study", "quantities", "NAMES", "names with commas between them",
                            "the quantities, or quantity.TRIP, that the tables hold; all when "
                            "empty"},
    [SETTING_HOURS] = {"study", "hours", "H", "0 to 1e6, such as 7.5",
                       "stop before so much time has passed, to go on later; 0 sets no limit"},
};

/* Where a setting lives in struct settings and what it may be. */
enum kind { KIND_WHOLE, KIND_DECIMAL, KIND_CHOICE, KIND_PART, KIND_PATH, KIND_NAMES };

struct place {
    enum kind kind;
    size_t offset, size;
    uint64_t low, high;   /* of a number: both included */
    const char *words[2]; /* KIND_CHOICE: for false and true */
};

#define FIELD(name) offsetof(struct settings, name), sizeof((struct settings){0}.name)

static const struct place places[SETTING_COUNT] = {
    [SETTING_SAMPLES] = {KIND_WHOLE, FIELD(samples), 100, 1000000000000, {0}},
    [SETTING_EFFECTIVE] = {KIND_WHOLE, FIELD(effective), 0, 1000000000, {0}},
    [SETTING_STABLE] = {KIND_WHOLE, FIELD(stable), 0, 4, {0}},
    [SETTING_PILOT] = {KIND_WHOLE, FIELD(pilot), 0, 1000000000000, {0}},
    [SETTING_SEQUENCE] = {KIND_CHOICE, FIELD(sobol), 0, 0, {"pcg", "sobol"}},
    [SETTING_SEED] = {KIND_WHOLE, FIELD(seed), 0, UINT64_MAX, {0}},
    [SETTING_THREADS] = {KIND_WHOLE, FIELD(threads), 0, 1024, {0}},
    [SETTING_KEEP] = {KIND_WHOLE, FIELD(keep), 0, 10000000, {0}},
    [SETTING_PART] = {KIND_PART, FIELD(part), 1, 1000000, {0}},
    [SETTING_UNITS] = {KIND_CHOICE, FIELD(us_units), 0, 0, {"metric", "us"}},
    [SETTING_QUIET] = {KIND_CHOICE, FIELD(quiet), 0, 0, {"no", "yes"}},
    [SETTING_OUT] = {KIND_PATH, FIELD(out), 0, 0, {0}},
    [SETTING_DESIGN] = {KIND_CHOICE, FIELD(sobol_design), 0, 0, {"grid", "sobol"}},
    [SETTING_POINTS] = {KIND_WHOLE, FIELD(points), 0, 1000000000, {0}},
    [SETTING_QUANTITIES] = {KIND_NAMES, FIELD(quantities), 0, 0, {0}},
    [SETTING_HOURS] = {KIND_DECIMAL, FIELD(hours), 0, 1000000, {0}},
};

void settings_init(struct settings *s)
{
    *s = (struct settings){.samples = 1000000, .seed = 1};
}

uint64_t settings_samples(const struct settings *s)
{
    enum { STABLE_SAMPLES = 1000000000, SOBOL_SAMPLES = 1 << 20 };
    if (s->samples_given)
        return s->samples;
    if (s->stable > 0)
        return STABLE_SAMPLES;
    return s->sobol ? SOBOL_SAMPLES : s->samples;
}

enum setting_id setting_find(const char *name)
{
    size_t id = 0;
    while (id < SETTING_COUNT && strcmp(setting_infos[id].name, name) != 0)
        id++;
    return (enum setting_id)id;
}

/* *value = *value * 10 + digit; false when that is too large. */
static bool append_digit(uint64_t *value, unsigned digit)
{
    return !__builtin_mul_overflow(*value, 10, value) &&
           !__builtin_add_overflow(*value, digit, value);
}

static bool append_zeros(uint64_t *value, long zeros)
{
    while (zeros-- > 0)
        if (!append_digit(value, 0))
            return false;
    return true;
}

/* Exact to the last digit, also for a number with a point or an exponent. */
static bool read_whole(const char *text, uint64_t *value)
{
    double approximate;
    text += strspn(text, " \t");
    if (*text == '-' || !text_number(text, false, &approximate))
        return false;
    text += *text == '+';

    uint64_t whole = 0;
    long zeros = 0; /* read, but not yet appended to `whole` */
    long decimals = 0;
    bool after_point = false;
    for (; *text == '.' || isdigit((unsigned char)*text); text++) {
        if (*text == '.') {
            after_point = true;
            continue;
        }
        decimals += after_point;
        if (*text == '0') {
            zeros++;
            continue;
        }
        if (!append_zeros(&whole, zeros) || !append_digit(&whole, (unsigned)(*text - '0')))
            return false;
        zeros = 0;
    }
    if (whole) {
        long exponent = *text == 'e' || *text == 'E' ? strtol(text + 1, NULL, 10) : 0;
        if (exponent < -decimals - zeros)
            return false;
        zeros += exponent - decimals;
        if (zeros < 0 || !append_zeros(&whole, zeros))
            return false;
    }
    *value = whole;
    return true;
}

static void store_whole(void *field, size_t size, uint64_t value)
{
    if (size == sizeof(unsigned))
        *(unsigned *)field = (unsigned)value;
    else
        *(uint64_t *)field = value;
}

static uint64_t load_whole(const void *field, size_t size)
{
    return size == sizeof(unsigned) ? *(const unsigned *)field : *(const uint64_t *)field;
}

static bool set_whole(const struct place *place, void *field, const char *text)
{
    uint64_t value;
    if (!read_whole(text, &value) || value < place->low || value > place->high)
        return false;
    store_whole(field, place->size, value);
    return true;
}

static bool set_decimal(const struct place *place, double *field, const char *text)
{
    double value;
    if (!text_number(text, false, &value) || value < (double)place->low ||
        value > (double)place->high)
        return false;
    *field = value;
    return true;
}

static bool set_choice(const struct place *place, bool *field, const char *text)
{
    for (size_t i = 0; i < 2; i++) {
        if (strcmp(text, place->words[i]) == 0) {
            *field = i == 1;
            return true;
        }
    }
    return false;
}

static bool set_part(const struct place *place, struct part_of *field, const char *text)
{
    struct part_of p = {0, 0};
    char part[32];
    size_t length = strcspn(text, "/");
    if (strcmp(text, "all") == 0) {
        *field = p;
        return true;
    }
    if (text[length] == '\0' || length >= sizeof part || !isdigit((unsigned char)text[0]) ||
        !isdigit((unsigned char)text[length + 1]))
        return false;
    snprintf(part, sizeof part, "%.*s", (int)length, text);
    if (!read_whole(part, &p.part) || !read_whole(text + length + 1, &p.parts) ||
        p.part < place->low || p.part > p.parts || p.parts > place->high)
        return false;
    *field = p;
    return true;
}

static bool set_path(const struct place *place, char *field, const char *text)
{
    size_t length = strlen(text);
    if (length >= place->size)
        return false;
    memmove(field, text, length + 1);
    return true;
}

/* Names with commas between them, or nothing at all. */
static bool set_names(const struct place *place, char *field, const char *text)
{
    for (const char *at = text; *text; at++) {
        size_t length = strcspn(at, ",");
        if (strspn(at, " \t") >= length)
            return false;
        at += length;
        if (*at == '\0')
            break;
    }
    return set_path(place, field, text);
}

bool setting_set(struct settings *s, enum setting_id id, const char *text)
{
    const struct place *place = &places[id];
    void *field = (char *)s + place->offset;
    bool set = false;
    switch (place->kind) {
    case KIND_WHOLE:
        set = set_whole(place, field, text);
        break;
    case KIND_DECIMAL:
        set = set_decimal(place, field, text);
        break;
    case KIND_CHOICE:
        set = set_choice(place, field, text);
        break;
    case KIND_PART:
        set = set_part(place, field, text);
        break;
    case KIND_PATH:
        set = set_path(place, field, text);
        break;
    case KIND_NAMES:
        set = set_names(place, field, text);
        break;
    }
    if (set && id == SETTING_SAMPLES)
        s->samples_given = true;
    return set;
}

void setting_text(const struct settings *s, enum setting_id id, char *text, size_t size)
{
    const struct place *place = &places[id];
    const void *field = (const char *)s + place->offset;
    switch (place->kind) {
    case KIND_WHOLE:
        snprintf(text, size, "%" PRIu64, load_whole(field, place->size));
        break;
    case KIND_DECIMAL:
        text_print(text, size, "%.10g", *(const double *)field);
        break;
    case KIND_CHOICE:
        snprintf(text, size, "%s", place->words[*(const bool *)field]);
        break;
    case KIND_PART:
        snprintf(text, size, "all");
        if (((const struct part_of *)field)->parts > 0)
            snprintf(text, size, "%" PRIu64 "/%" PRIu64, ((const struct part_of *)field)->part,
                     ((const struct part_of *)field)->parts);
        break;
    case KIND_PATH:
    case KIND_NAMES:
        snprintf(text, size, "%s", (const char *)field);
        break;
    }
}
