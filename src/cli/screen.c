/* The main results on a terminal: one aligned table, claims in words, where the files are. */
#include <math.h>
#include <string.h>

#include "cli.h"

enum { BARS = 24, NAME_WIDTH_MIN = 22, NUMBER_WIDTH = 9 };

int display_width(const char *text)
{
    int width = 0;
    for (; *text; text++)
        width += ((unsigned char)*text & 0xC0) != 0x80;
    return width;
}

void print_padded(FILE *f, const char *text, int width)
{
    fputs(text, f);
    for (int have = display_width(text); have < width; have++)
        fputc(' ', f);
}

/* 1234567 as "1 234 567" (ISO 80000-1). */
static void print_grouped(FILE *f, uint64_t value)
{
    char digits[32];
    int n = snprintf(digits, sizeof digits, "%llu", (unsigned long long)value);
    for (int i = 0; i < n; i++) {
        if (i > 0 && (n - i) % 3 == 0)
            fputc(' ', f);
        fputc(digits[i], f);
    }
}

struct axis {
    double low, high; /* table unit */
};

static struct axis axis_of(const packspan_results *r, size_t i)
{
    return (struct axis){packspan_results_value(r, i, PACKSPAN_P01),
                         packspan_results_value(r, i, PACKSPAN_P99)};
}

/* Share of the samples in each of BARS slices of the axis; a bin's samples are spread evenly over
 * its width. */
static void slice(const packspan_results *r, size_t i, struct axis axis, double bars[BARS])
{
    packspan_bin bins[PACKSPAN_BINS_MAX];
    size_t n = packspan_results_histogram(r, i, bins);
    double step = (axis.high - axis.low) / BARS;
    memset(bars, 0, BARS * sizeof *bars);
    for (size_t b = 0; b < n; b++) {
        double width = bins[b].high - bins[b].low;
        for (int k = 0; k < BARS; k++) {
            double from = axis.low + k * step, to = from + step;
            double overlap = fmin(to, bins[b].high) - fmax(from, bins[b].low);
            if (width > 0.0 && overlap > 0.0)
                bars[k] += (double)bins[b].count * overlap / width;
            else if (width == 0.0 && bins[b].low >= from && bins[b].low < to)
                bars[k] += (double)bins[b].count;
        }
    }
}

static void print_bars(FILE *f, const packspan_results *r, size_t i, struct axis axis)
{
    static const char *const blocks[] = {"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
    double bars[BARS], peak = 0.0;
    slice(r, i, axis, bars);
    for (int k = 0; k < BARS; k++)
        peak = fmax(peak, bars[k]);
    int last = BARS - 1;
    while (last > 0 && bars[last] <= 0.002 * peak)
        last--;
    for (int k = 0; k <= last; k++) {
        int level = peak > 0.0 ? (int)(bars[k] / peak * 7.999) : 0;
        fputs(bars[k] <= 0.002 * peak ? " " : blocks[level], f);
    }
}

static double on_screen(const packspan_results *r, size_t i, packspan_statistic statistic)
{
    return packspan_results_screen(r, i, packspan_results_value(r, i, statistic));
}

/* Decimals that show the distribution's width with about two digits. */
static int decimals_for(const packspan_results *r, size_t i)
{
    double width = fabs(on_screen(r, i, PACKSPAN_P95) - on_screen(r, i, PACKSPAN_P05));
    if (!(width > 0.0))
        width = fabs(on_screen(r, i, PACKSPAN_P50)) * 0.1;
    if (!(width > 0.0))
        return 0;
    int decimals = 1 - (int)floor(log10(width));
    return decimals < 0 ? 0 : decimals > 6 ? 6 : decimals;
}

/* "" for a pure number. */
static const char *unit_of(const packspan_results *r, size_t i)
{
    const char *unit = packspan_results_text(r, i, PACKSPAN_ROW_SCREEN_UNIT);
    return strcmp(unit, "1") == 0 ? "" : unit;
}

/* Widths of the columns, in characters; 0 when there are no rows. */
struct layout {
    int name, unit;
};

static void print_row(FILE *f, const packspan_results *r, size_t i, struct layout layout,
                      struct axis axis)
{
    static const packspan_statistic shown[] = {PACKSPAN_P05, PACKSPAN_P50, PACKSPAN_P95};
    int decimals = decimals_for(r, i);
    fprintf(f, "  ");
    print_padded(f, packspan_results_text(r, i, PACKSPAN_ROW_QUANTITY), layout.name);
    for (size_t k = 0; k < sizeof shown / sizeof shown[0]; k++)
        fprintf(f, " %*.*f", NUMBER_WIDTH, decimals, on_screen(r, i, shown[k]));
    fprintf(f, "  ");
    if (axis.high > axis.low) {
        print_padded(f, unit_of(r, i), layout.unit);
        fprintf(f, "  ");
        print_bars(f, r, i, axis);
    } else {
        fputs(unit_of(r, i), f);
    }
    fprintf(f, "\n");
}

enum section { SECTION_ENERGY, SECTION_WORKED_OUT, SECTION_TRIPS, SECTION_COUNT, SECTION_NONE };

static enum section section_of(const packspan_results *r, size_t i, const char *subject)
{
    const char *kind = packspan_results_text(r, i, PACKSPAN_ROW_KIND);
    const char *quantity = packspan_results_text(r, i, PACKSPAN_ROW_QUANTITY);
    if (strcmp(packspan_results_text(r, i, PACKSPAN_ROW_VEHICLE), subject) != 0 ||
        packspan_results_is_step(r, i))
        return SECTION_NONE;
    if (strcmp(kind, "route") == 0 || strcmp(quantity, "usable_energy") == 0)
        return SECTION_ENERGY;
    if (strcmp(kind, "worked_out") == 0)
        return SECTION_WORKED_OUT;
    return strcmp(kind, "trip") == 0 ? SECTION_TRIPS : SECTION_NONE;
}

static void print_section(FILE *f, const packspan_results *r, const char *subject,
                          enum section section, const char *title, struct layout layout)
{
    bool any = false;
    size_t last = 0;
    struct axis shared = {INFINITY, -INFINITY};
    for (size_t i = 0; i < packspan_results_count(r); i++) {
        if (section_of(r, i, subject) != section)
            continue;
        any = true;
        last = i;
        struct axis own = axis_of(r, i);
        shared.low = fmin(shared.low, own.low);
        shared.high = fmax(shared.high, own.high);
    }
    if (!any)
        return;
    fprintf(f, "\n");
    print_padded(f, title, layout.name + 2);
    fprintf(f, " %*s %*s %*s  %*s  ", NUMBER_WIDTH, "p05", NUMBER_WIDTH, "p50", NUMBER_WIDTH, "p95",
            layout.unit, "");
    if (section == SECTION_ENERGY)
        fprintf(f, "%.4g to %.4g %s\n", packspan_results_screen(r, last, shared.low),
                packspan_results_screen(r, last, shared.high), unit_of(r, last));
    else
        fprintf(f, "p01 to p99\n");
    for (size_t i = 0; i < packspan_results_count(r); i++)
        if (section_of(r, i, subject) == section)
            print_row(f, r, i, layout, section == SECTION_ENERGY ? shared : axis_of(r, i));
}

/* A probability in percent with the digits that the number of samples supports. */
static void print_percent(FILE *f, double probability, double error)
{
    double percent = 100.0 * probability, step = 100.0 * error;
    int decimals = step > 0.5 ? 0 : step > 0.05 ? 1 : 2;
    if (probability > 0.01 && probability < 0.99)
        decimals = decimals > 1 ? 1 : decimals;
    fprintf(f, "%.*f %%", decimals, percent);
}

static void print_claim(FILE *f, const packspan_results *r, size_t i)
{
    const char *sense = packspan_claim_text(r, i, PACKSPAN_CLAIM_SENSE);
    const char *unit = packspan_claim_text(r, i, PACKSPAN_CLAIM_UNIT);
    double tolerance = packspan_claim_number(r, i, PACKSPAN_CLAIM_TOLERANCE);
    double error = packspan_claim_number(r, i, PACKSPAN_CLAIM_PROBABILITY_ERROR);
    bool is = strcmp(sense, "is") == 0;
    const char *verb = is ? "is" : strcmp(sense, "at_least") == 0 ? "is at least" : "is at most";
    if (strcmp(unit, "1") == 0)
        unit = "";
    fprintf(f, "  %s: %s of %s %s %g", packspan_claim_text(r, i, PACKSPAN_CLAIM_NAME),
            packspan_claim_text(r, i, PACKSPAN_CLAIM_QUANTITY),
            packspan_claim_text(r, i, PACKSPAN_CLAIM_VEHICLE), verb,
            packspan_claim_number(r, i, PACKSPAN_CLAIM_VALUE));
    if (tolerance > 0.0)
        fprintf(f, " ± %g", tolerance);
    fprintf(f, "%s%s\n    %s: probability ", *unit ? " " : "", unit,
            packspan_claim_text(r, i, PACKSPAN_CLAIM_VERDICT));
    print_percent(f, packspan_claim_number(r, i, PACKSPAN_CLAIM_PROBABILITY), error);
    fprintf(f, ", %s", packspan_claim_text(r, i, PACKSPAN_CLAIM_LIKELIHOOD));
    if (is) {
        fprintf(f, "; the figure is too low with ");
        print_percent(f, packspan_claim_number(r, i, PACKSPAN_CLAIM_ABOVE), error);
        fprintf(f, ", too high with ");
        print_percent(f, packspan_claim_number(r, i, PACKSPAN_CLAIM_BELOW), error);
    }
    double median = packspan_claim_number(r, i, PACKSPAN_CLAIM_MEDIAN_GAP);
    fprintf(f, "\n    the median is %.3g %s%s%s it\n", fabs(median), unit, *unit ? " " : "",
            median >= 0.0 ? "above" : "below");
}

static struct layout layout_of(const packspan_results *r, const char *subject)
{
    struct layout layout = {0, 0};
    for (size_t i = 0; i < packspan_results_count(r); i++) {
        if (section_of(r, i, subject) == SECTION_NONE)
            continue;
        int name = display_width(packspan_results_text(r, i, PACKSPAN_ROW_QUANTITY));
        int unit = display_width(unit_of(r, i));
        name = name > NAME_WIDTH_MIN ? name : NAME_WIDTH_MIN;
        layout.name = name > layout.name ? name : layout.name;
        layout.unit = unit > layout.unit ? unit : layout.unit;
    }
    return layout;
}

void print_results(FILE *f, packspan_case *c, const packspan_results *r, const char *folder)
{
    static const char *const titles[SECTION_COUNT] = {"Usable energy by route", "Worked out",
                                                      "Trips"};
    const char *subject = packspan_case_subject(c), *title = packspan_case_subject_title(c);
    uint64_t samples = packspan_results_samples(r);
    double seconds = packspan_results_seconds(r);
    fprintf(f, "%s: ", packspan_case_name(c));
    print_grouped(f, samples);
    fprintf(f, " samples in %.2f s (%.2f million a second), seed %s\n", seconds,
            1e-6 * (double)samples / seconds, packspan_case_setting(c, "seed"));
    fprintf(f, "subject %s%s%s\n", subject, *title ? ": " : "", title);
    struct layout layout = layout_of(r, subject);
    if (layout.name == 0)
        fprintf(f, "\nNothing can be worked out; packspan check tells what is missing.\n");
    for (int s = 0; s < SECTION_COUNT; s++)
        print_section(f, r, subject, (enum section)s, titles[s], layout);
    if (packspan_claim_count(r) > 0)
        fprintf(f, "\nClaims\n");
    for (size_t i = 0; i < packspan_claim_count(r); i++)
        print_claim(f, r, i);
    size_t warnings = packspan_results_warning_count(r);
    if (warnings > 0)
        fprintf(f, "\nTo be aware of\n");
    for (size_t i = 0; i < warnings; i++)
        fprintf(f, "  %s\n", packspan_results_warning(r, i));
    fprintf(f,
            "\nEstimates, not measurements: no basis for work on a high-voltage pack or for a trip "
            "without\nreserve; a low probability is no proof of anyone's intent.\n"
            "\nTables: %s/summary.csv, histogram.csv, claims.csv, routes.csv, run.csv%s\n",
            folder, strcmp(packspan_case_setting(c, "keep"), "0") == 0 ? "" : ", samples.csv");
}
