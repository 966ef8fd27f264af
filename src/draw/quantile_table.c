#include "draw/quantile_table.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/hot_loop.h"

/* Either side of `join` is told by w, a multiple of the tail's probability, from 2^-OCTAVES to 1/2.
 * Its octaves are cut into equal segments, so that exponent and leading digits of w are the number
 * of the segment, and the other digits the place t in it, 0 <= t < 1. */
enum { OCTAVES = 14, SEGMENT_BITS = 4, DEGREE = 5, NODES = DEGREE + 1, BLOCK = 256 };
enum { SEGMENTS = OCTAVES << SEGMENT_BITS, FRACTION_BITS = 52 - SEGMENT_BITS };
enum { FIRST_KEY = (1023 - OCTAVES) << SEGMENT_BITS };

struct segment {
    double c[NODES]; /* by rising power of t */
};

struct quantile_table {
    double join, scale_low, scale_high; /* w = scale_low lower or scale_high upper */
    struct segment segments[2 * SEGMENTS];
};

/* ---- making ---- */

static double segment_start(size_t segment)
{
    double octave = ldexp(1.0, (int)(segment >> SEGMENT_BITS) - OCTAVES);
    return octave * (1.0 + ldexp((double)(segment & ((1 << SEGMENT_BITS) - 1)), -SEGMENT_BITS));
}

static double segment_width(size_t segment)
{
    return ldexp(1.0, (int)(segment >> SEGMENT_BITS) - OCTAVES - SEGMENT_BITS);
}

/* Chebyshev-Lobatto points on [0, 1]: with both ends among them, segments join. */
static void place_nodes(double node[NODES])
{
    for (int j = 0; j < NODES; j++)
        node[j] = 0.5 - 0.5 * cos(M_PI * j / DEGREE);
}

/* Newton's divided differences, multiplied out. */
static void interpolate(const double node[NODES], const double x[NODES], struct segment *s)
{
    double difference[NODES];
    for (int j = 0; j < NODES; j++)
        difference[j] = x[j] - x[0];
    for (int k = 1; k < NODES; k++)
        for (int j = DEGREE; j >= k; j--)
            difference[j] = (difference[j] - difference[j - 1]) / (node[j] - node[j - k]);
    memset(s->c, 0, sizeof s->c);
    for (int k = DEGREE; k >= 0; k--) {
        for (int j = DEGREE; j > 0; j--)
            s->c[j] = s->c[j - 1] - node[k] * s->c[j];
        s->c[0] = difference[k] - node[k] * s->c[0];
    }
    s->c[0] = x[0];
}

static inline double polynomial(const double c[NODES], double t)
{
    return ((((c[5] * t + c[4]) * t + c[3]) * t + c[2]) * t + c[1]) * t + c[0];
}

struct maker {
    exact_quantiles *exact;
    const void *of;
    double median, range;
    double node[NODES];
};

static bool make_segment(const struct maker *m, const struct quantile_table *t, bool high,
                         size_t number, struct segment *s)
{
    double scale = high ? t->scale_high : t->scale_low;
    double near[NODES + 2], far[NODES + 2], x[NODES + 2];
    for (int j = 0; j < NODES + 2; j++) {
        double place = j < NODES ? m->node[j] : j == NODES ? 0.2 : 0.8;
        near[j] = (segment_start(number) + place * segment_width(number)) / scale;
        far[j] = 1.0 - near[j];
    }
    m->exact(m->of, NODES + 2, high ? far : near, high ? near : far, x);
    interpolate(m->node, x, s);
    double tolerance = QUANTILE_TABLE_ACCURACY * fmax(m->range, fabs(x[NODES] - m->median));
    return fabs(polynomial(s->c, 0.2) - x[NODES]) <= tolerance &&
           fabs(polynomial(s->c, 0.8) - x[NODES + 1]) <= tolerance;
}

/* Segments of the last octave, where only rounding leads, hold the end of the one before. */
static bool make_segments(const struct maker *m, struct quantile_table *t)
{
    enum { USED = SEGMENTS - (1 << SEGMENT_BITS) };
    for (int high = 0; high <= 1; high++) {
        struct segment *side = t->segments + high * SEGMENTS;
        for (size_t i = 0; i < USED; i++)
            if (!make_segment(m, t, high, i, &side[i]))
                return false;
        double end = 0.0;
        for (int j = 0; j < NODES; j++)
            end += side[USED - 1].c[j];
        for (size_t i = USED; i < SEGMENTS; i++)
            side[i] = (struct segment){.c = {end}};
    }
    return true;
}

bool quantile_table_make(exact_quantiles *exact, const void *of, double join,
                         struct quantile_table **out)
{
    struct quantile_table *t = malloc(sizeof *t);
    if (!t)
        return false;
    double lower[3] = {0.25, 0.5, 0.75}, upper[3] = {0.75, 0.5, 0.25}, x[3];
    exact(of, 3, lower, upper, x);
    struct maker m = {.exact = exact, .of = of, .median = x[1], .range = x[2] - x[0]};
    place_nodes(m.node);
    t->join = join;
    t->scale_low = 0.5 / join;
    t->scale_high = 0.5 / (1.0 - join);
    bool good = join > 0.0 && join < 1.0 && make_segments(&m, t);
    if (!good)
        free(t);
    *out = good ? t : NULL;
    return true;
}

void quantile_table_free(struct quantile_table *t)
{
    free(t);
}

/* ---- drawing ---- */

/* Returns 0 unless some are farther out than the table. */
HOT_LOOP static uint64_t locate(const struct quantile_table *restrict table, size_t n,
                                const double *restrict lower, const double *restrict upper,
                                double *restrict t, uint32_t *restrict segment)
{
    double join = table->join, scale_low = table->scale_low, scale_high = table->scale_high;
    uint64_t far = 0;
    for (size_t i = 0; i < n; i++) {
        bool low = lower[i] < join;
        double below = lower[i] * scale_low,
               above = (upper ? upper[i] : 1.0 - lower[i]) * scale_high;
        double w = low ? below : above;
        uint64_t bits, side = low ? 0 : SEGMENTS;
        memcpy(&bits, &w, sizeof bits);
        uint64_t key = (bits >> FRACTION_BITS) - FIRST_KEY, is_far = key >> 63;
        far |= is_far;
        segment[i] = (uint32_t)((is_far ? 0 : key) + side);
        bits = (bits << SEGMENT_BITS & 0xfffffffffffff) | 0x3ff0000000000000;
        double shifted;
        memcpy(&shifted, &bits, sizeof shifted);
        t[i] = shifted - 1.0;
    }
    return far;
}

static void draw_far(const struct quantile_table *table, exact_quantiles *exact, const void *of,
                     size_t n, const double *lower, const double *upper, double *x)
{
    for (size_t i = 0; i < n; i++) {
        bool low = lower[i] < table->join;
        double w = low ? lower[i] * table->scale_low : upper[i] * table->scale_high;
        if (w < ldexp(1.0, -OCTAVES))
            exact(of, 1, &lower[i], &upper[i], &x[i]);
    }
}

void quantile_table_draw(const struct quantile_table *t, exact_quantiles *exact, const void *of,
                         size_t n, const double *lower, const double *upper, double *x)
{
    double place[BLOCK] = {0}, given[2][BLOCK];
    uint32_t segment[BLOCK] = {0};
    for (size_t done = 0; done < n; done += BLOCK) {
        size_t m = n - done < BLOCK ? n - done : BLOCK;
        uint64_t far = locate(t, m, lower + done, upper ? upper + done : NULL, place, segment);
        if (far) {
            for (size_t i = 0; i < m; i++) {
                given[0][i] = lower[done + i];
                given[1][i] = upper ? upper[done + i] : 1.0 - lower[done + i];
            }
        }
        for (size_t i = 0; i < m; i++)
            x[done + i] = polynomial(t->segments[segment[i]].c, place[i]);
        if (far)
            draw_far(t, exact, of, m, given[0], given[1], x + done);
    }
}
