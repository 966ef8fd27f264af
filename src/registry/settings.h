/* Settings: defaults, then settings.csv, then the command line; one table of rows that the parser,
 * the help and the checks read. */
#ifndef PACKSPAN_REGISTRY_SETTINGS_H
#define PACKSPAN_REGISTRY_SETTINGS_H

#include <packspan/packspan.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum setting_id {
    SETTING_SAMPLES,
    SETTING_EFFECTIVE,
    SETTING_STABLE,
    SETTING_PILOT,
    SETTING_SEQUENCE,
    SETTING_SEED,
    SETTING_THREADS,
    SETTING_KEEP,
    SETTING_PART,
    SETTING_UNITS,
    SETTING_QUIET,
    SETTING_OUT,
    SETTING_DESIGN,
    SETTING_POINTS,
    SETTING_QUANTITIES,
    SETTING_HOURS,
    SETTING_COUNT
};

/* Share K of N, 1 <= K <= N <= 1e6; N = 0: everything. */
struct part_of {
    uint64_t part, parts;
};

struct settings {
    uint64_t samples;    /* [100, 1e12], default 1e6; see settings_samples() */
    bool samples_given;  /* not the default */
    uint64_t effective;  /* [0, 1e9], default 0: stop when that many effective samples are there */
    unsigned stable;     /* [0, 4], default 0: digits, JCGM 101 7.9 */
    uint64_t pilot;      /* [0, 1e12], default 0: samples of the pilot at least */
    bool sobol;          /* sequence: "pcg" (default) or "sobol" */
    uint64_t seed;       /* [0, 2^64 - 1], default 1 */
    unsigned threads;    /* [0, 1024], 0 (default): one for each processor */
    uint64_t keep;       /* [0, 1e7], default 0: joint samples written to samples.csv */
    struct part_of part; /* default: the whole */
    bool us_units;       /* units: "metric" (default) or "us", for the screen */
    bool quiet;          /* "yes" or "no" (default) */
    char out[4096];      /* folder of the result tables; "" (default): results/NAME-OF-CASE */
    bool sobol_design;   /* design of a study: "grid" (default) or "sobol" */
    uint64_t points;     /* [0, 1e9], default 0: of a Sobol' design */
    char quantities[4096]; /* names with commas between them; "" (default): all */
    double hours;          /* [0, 1e6], default 0: a study takes the time that it needs */
};

struct setting_info {
    const char *commands; /* that take it, with blanks between them */
    const char *name;     /* as in settings.csv and, with "--" before, on the command line */
    const char *argument; /* for the help, e.g. "N"; NULL for a switch */
    const char *range;    /* in words, e.g. "100 to 1e12, a whole number" */
    const char *meaning;
};
extern const struct setting_info setting_infos[SETTING_COUNT];

void settings_init(struct settings *s);
/* How many samples a run draws at most. Unless `samples` was given, a run that stops by itself may
 * take 1e9, and Sobol's points are taken by a power of two. */
uint64_t settings_samples(const struct settings *s);
/* SETTING_COUNT when there is no such setting. */
enum setting_id setting_find(const char *name);
/* Reads the text ("1e6", "1000000" for whole numbers). False, and *s as it was, when the text is
 * not in the setting's range. A switch takes "yes" or "no". */
bool setting_set(struct settings *s, enum setting_id id, const char *text);
/* The present value as setting_set() would read it. */
void setting_text(const struct settings *s, enum setting_id id, char *text, size_t size);

#endif
