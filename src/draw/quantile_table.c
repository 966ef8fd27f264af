#include "draw/quantile_table.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/hot_loop.h"

/* Either side of `split` is told by w, a multiple of the tail's probability, from 2^-OCTAVES to 1.
 * Its octaves are cut into equal segments, so that exponent and leading digits of w are the number
 * of the segment, and the other digits the place t in it, 0 <= t < 1. */
enum { OCTAVES = 14, SEGMENT_BITS = 4, DEGREE = 5, NODES = DEGREE + 1, BLOCK = 256 };
enum { SEGMENTS = OCTAVES << SEGMENT_BITS, FRACTION_BITS = 52 - SEGMENT_BITS };
enum { FIRST_KEY = (1023 - OCTAVES) << SEGMENT_BITS };

struct segment {
    double c[NODES]; /* by rising power of t */
};

struct quantile_table {
    double split, scale_low, scale_high; /* w = scale_low u or scale_high (1 - u) */
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

/* The factor, 1 to 2, or 1/2 to 1 near the middle, by which a kink at the probability p falls on a
 * border between segments. */
static double align(double p)
{
    int exponent;
    double digits = ldexp(frexp(p, &exponent), SEGMENT_BITS + 1);
    return ceil(digits) / digits;
}

/* True when the kinks can be met. */
static bool choose_sides(struct quantile_table *t, size_t count, const double *kinks)
{
    t->split = count == 1 ? kinks[0] : 0.5;
    t->scale_low = count == 1 ? 0.5 / kinks[0] : 1.0;
    t->scale_high = count == 1 ? 0.5 / (1.0 - kinks[0]) : 1.0;
    if (count < 2)
        return true;
    t->scale_low = align(kinks[0]);
    t->scale_high = align(1.0 - kinks[1]);
    return kinks[0] < 0.5 && kinks[1] > 0.5;
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
    double u[NODES + 2], x[NODES + 2];
    for (int j = 0; j < NODES + 2; j++) {
        double place = j < NODES ? m->node[j] : j == NODES ? 0.2 : 0.8;
        double tail = (segment_start(number) + place * segment_width(number)) / scale;
        u[j] = high ? 1.0 - tail : tail;
    }
    m->exact(m->of, NODES + 2, u, x);
    interpolate(m->node, x, s);
    double tolerance = QUANTILE_TABLE_ACCURACY * fmax(m->range, fabs(x[NODES] - m->median));
    return fabs(polynomial(s->c, 0.2) - x[NODES]) <= tolerance &&
           fabs(polynomial(s->c, 0.8) - x[NODES + 1]) <= tolerance;
}

/* Segments past the split, where no draw goes but for rounding, hold the end of the last one. */
static bool make_segments(const struct maker *m, struct quantile_table *t)
{
    for (int high = 0; high <= 1; high++) {
        double scale = high ? t->scale_high : t->scale_low;
        double most = scale * (high ? 1.0 - t->split : t->split);
        struct segment *side = t->segments + high * SEGMENTS;
        for (size_t i = 0; i < SEGMENTS; i++) {
            if (segment_start(i) >= most * (1.0 - 1e-12)) {
                double end = 0.0;
                for (int j = 0; j < NODES && i > 0; j++)
                    end += side[i - 1].c[j];
                side[i] = (struct segment){.c = {end}};
            } else if (!make_segment(m, t, high, i, &side[i])) {
                return false;
            }
        }
    }
    return true;
}

bool quantile_table_make(exact_quantiles *exact, const void *of, size_t kink_count,
                         const double *kinks, struct quantile_table **out)
{
    struct quantile_table *t = malloc(sizeof *t);
    if (!t)
        return false;
    double quartiles[3] = {0.25, 0.5, 0.75}, x[3];
    exact(of, 3, quartiles, x);
    struct maker m = {.exact = exact, .of = of, .median = x[1], .range = x[2] - x[0]};
    place_nodes(m.node);
    bool good = choose_sides(t, kink_count, kinks) && make_segments(&m, t);
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
                                const double *restrict u, double *restrict t,
                                uint32_t *restrict segment)
{
    double split = table->split, scale_low = table->scale_low, scale_high = table->scale_high;
    uint64_t far = 0;
    for (size_t i = 0; i < n; i++) {
        bool low = u[i] < split;
        double below = u[i] * scale_low, above = (1.0 - u[i]) * scale_high;
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
                     size_t n, const double *u, double *x)
{
    for (size_t i = 0; i < n; i++) {
        double w = u[i] < table->split ? u[i] * table->scale_low : (1.0 - u[i]) * table->scale_high;
        if (w < ldexp(1.0, -OCTAVES))
            exact(of, 1, &u[i], &x[i]);
    }
}

void quantile_table_draw(const struct quantile_table *t, exact_quantiles *exact, const void *of,
                         size_t n, const double *u, double *x)
{
    double place[BLOCK] = {0}, given[BLOCK];
    uint32_t segment[BLOCK] = {0};
    for (size_t done = 0; done < n; done += BLOCK) {
        size_t m = n - done < BLOCK ? n - done : BLOCK;
        uint64_t far = locate(t, m, u + done, place, segment);
        if (far)
            memcpy(given, u + done, m * sizeof *given);
        for (size_t i = 0; i < m; i++)
            x[done + i] = polynomial(t->segments[segment[i]].c, place[i]);
        if (far)
            draw_far(t, exact, of, m, given, x + done);
    }
}
