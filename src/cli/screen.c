/* The main results on a terminal: one aligned table, claims in words, where the files are. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli.h"

enum { BARS = 24, NAME_WIDTH_MIN = 22, NUMBER_WIDTH = 9, PERCENT_WIDTH = 13, ODDS_WIDTH = 14 };

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

void print_grouped(FILE *f, uint64_t value)
{
    char digits[32];
    int n = snprintf(digits, sizeof digits, "%llu", (unsigned long long)value);
    for (int i = 0; i < n; i++) {
        if (i > 0 && (n - i) % 3 == 0)
            fputc(' ', f);
        fputc(digits[i], f);
    }
}

void print_points(FILE *f, uint64_t points)
{
    print_grouped(f, points);
    fputs(points == 1 ? " point" : " points", f);
}

void print_study_tables(const char *folder)
{
    printf("\n\nTables: %s/study.csv, study_claims.csv, study_points.csv, study_run.csv\n", folder);
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
static void fill_bars(const packspan_results *r, size_t i, struct axis axis, double bars[BARS])
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
                bars[k] += bins[b].count * overlap / width;
            else if (width == 0.0 && bins[b].low >= from && (bins[b].low < to || k == BARS - 1) &&
                     bins[b].low <= axis.high)
                bars[k] += bins[b].count;
        }
    }
}

static void print_bars(FILE *f, const packspan_results *r, size_t i, struct axis axis)
{
    static const char *const blocks[] = {"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
    double bars[BARS], peak = 0.0;
    fill_bars(r, i, axis, bars);
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

/* Rows of single candidates are in the tables. */
static bool is_overall(const char *candidate)
{
    return *candidate == '\0' || strcmp(candidate, "mixture") == 0;
}

enum section { SECTION_ENERGY, SECTION_WORKED_OUT, SECTION_TRIPS, SECTION_COUNT, SECTION_NONE };

static enum section section_of(const packspan_results *r, size_t i, const char *subject)
{
    const char *kind = packspan_results_text(r, i, PACKSPAN_ROW_KIND);
    const char *quantity = packspan_results_text(r, i, PACKSPAN_ROW_QUANTITY);
    if (!is_overall(packspan_results_text(r, i, PACKSPAN_ROW_CANDIDATE)) ||
        strcmp(packspan_results_text(r, i, PACKSPAN_ROW_VEHICLE), subject) != 0 ||
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

/* The consensus of the vehicle's routes; packspan_consensus_count() when it has none. */
static size_t find_consensus(const packspan_results *r, const char *vehicle)
{
    size_t i = 0;
    while (i < packspan_consensus_count(r) &&
           (!is_overall(packspan_consensus_candidate(r, i)) ||
            strcmp(packspan_consensus_vehicle(r, i), vehicle) != 0))
        i++;
    return i;
}

static void print_test(FILE *f, const packspan_results *r, size_t i)
{
    double chi_squared = packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_CHI_SQUARED);
    double degrees = packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_DEGREES_OF_FREEDOM);
    if (isnan(chi_squared))
        fprintf(f, " (one that depends on the others differs from them).");
    else if (isinf(chi_squared))
        fprintf(f, " (some are exactly known, and differ).");
    else
        fprintf(f, " (chi-squared %.3g with %.0f degree%s of freedom,\n  probability %.3g).",
                chi_squared, degrees, degrees == 1.0 ? "" : "s",
                packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_PROBABILITY));
}

/* How far a route lies from the consensus. Its normalised deviation is per two standard
 * uncertainties. */
static void print_apart(FILE *f, const packspan_results *r, size_t i, size_t k)
{
    double deviation =
        2.0 * packspan_consensus_route_number(r, i, k, PACKSPAN_ROUTE_NORMALISED_DEVIATION);
    const char *side = deviation > 0.0 ? "above" : "below";
    fprintf(f, "\n  %s stands apart: ", packspan_consensus_route(r, i, k));
    if (isinf(deviation))
        fprintf(f, "it is %s that, with nothing that could explain it.", side);
    else
        fprintf(f, "it is %.1f standard deviations of the difference %s that.", fabs(deviation),
                side);
}

/* What the subject's routes agree on, in sentences. */
static void print_consensus(FILE *f, const packspan_results *r, const char *subject)
{
    size_t i = find_consensus(r, subject);
    if (i == packspan_consensus_count(r))
        return;
    const char *verdict = packspan_consensus_verdict(r, i);
    if (packspan_consensus_route_count(r, i) == 1) {
        fprintf(f, "  One route: there is nothing to compare it with.\n");
        return;
    }
    if (strcmp(verdict, "not tested") == 0) {
        fprintf(f, "  Whether they agree could not be tested: their covariance is not usable.\n");
        return;
    }
    double sd = packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_SD);
    double wider = packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_RANDOM_EFFECTS_SD);
    fprintf(f, "  Together they give %.2f kWh with sd %.2f and are %s",
            packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_MEAN), sd, verdict);
    if (strcmp(verdict, "one route") == 0)
        fprintf(f, ": the others depend on it.");
    else
        print_test(f, r, i);
    for (size_t k = 0; k < packspan_consensus_route_count(r, i); k++)
        if (packspan_consensus_route_disagrees(r, i, k))
            print_apart(f, r, i, k);
    if (!packspan_consensus_holds(r, i) && wider > sd)
        fprintf(f, "\n  Allowing for differences between routes: %.2f kWh with sd %.2f.",
                packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_RANDOM_EFFECTS_MEAN), wider);
    fprintf(f, "\n");
}

/* A probability that rounds to none or all: the bound is two standard errors away or more. */
static void print_extreme_percent(FILE *f, bool is_low, double step)
{
    int decimals = step <= 0.005 ? 2 : step <= 0.05 ? 1 : 0;
    double bound = pow(10.0, -decimals);
    fprintf(f, "%s %.*f %%", is_low ? "under" : "over", decimals, is_low ? bound : 100.0 - bound);
}

/* A probability in percent with the digits that the number of samples supports. That all samples
 * are on one side makes it certain only of a quantity that has no spread. */
static void print_percent(FILE *f, double probability, double error, bool has_spread)
{
    double percent = 100.0 * probability, step = 100.0 * error;
    int decimals = step > 0.5 ? 0 : step > 0.05 ? 1 : 2;
    if (probability > 0.01 && probability < 0.99)
        decimals = decimals > 1 ? 1 : decimals;
    double rounding = 0.5 * pow(10.0, -decimals);
    if (!has_spread)
        fprintf(f, "%.0f %%", percent);
    else if (percent < rounding || percent > 100.0 - rounding)
        print_extreme_percent(f, percent < rounding, step);
    else
        fprintf(f, "%.*f %%", decimals, percent);
}

/* Significant digits that show differences of about a hundredth of the distribution's width. */
static void print_figure(FILE *f, double value, double width)
{
    if (!(width > 0.0)) {
        fprintf(f, "%.6g", value);
        return;
    }
    int decimals = 2 - (int)ceil(log10(width));
    fprintf(f, "%.*f", decimals < 0 ? 0 : decimals > 9 ? 9 : decimals, value);
}

/* What the samples give, and which figures would be judged otherwise: the verdict turns where the
 * claimed value passes p10 or p90, the tolerance taken into account. */
static void print_what_would_change_it(FILE *f, const packspan_results *r, size_t i,
                                       const char *sense, const char *unit)
{
    double value = packspan_claim_number(r, i, PACKSPAN_CLAIM_VALUE);
    double tolerance = packspan_claim_number(r, i, PACKSPAN_CLAIM_TOLERANCE);
    double p10 = value + packspan_claim_number(r, i, PACKSPAN_CLAIM_GAP_P10);
    double p90 = value + packspan_claim_number(r, i, PACKSPAN_CLAIM_GAP_P90);
    double width = p90 - p10;
    if (strcmp(sense, "is") == 0) {
        fprintf(f, "    Not contradicted would be ");
        print_figure(f, p10 - tolerance, width);
        fprintf(f, " to ");
        print_figure(f, p90 + tolerance, width);
    } else if (strcmp(sense, "at_least") == 0) {
        fprintf(f, "    It would hold up to ");
        print_figure(f, p10 + tolerance, width);
        fprintf(f, " and fail from ");
        print_figure(f, p90 + tolerance, width);
    } else {
        fprintf(f, "    It would hold from ");
        print_figure(f, p90 - tolerance, width);
        fprintf(f, " and fail up to ");
        print_figure(f, p10 - tolerance, width);
    }
    fprintf(f, "%s%s.\n", *unit ? " " : "", unit);
}

/* False for what is given, or is a default, which has no row. */
static bool claim_has_spread(const packspan_results *r, size_t i)
{
    const char *quantity = packspan_claim_text(r, i, PACKSPAN_CLAIM_QUANTITY);
    const char *vehicle = packspan_claim_text(r, i, PACKSPAN_CLAIM_VEHICLE);
    size_t row;
    return (packspan_results_find(r, vehicle, quantity, &row) ||
            packspan_results_find(r, "all", quantity, &row)) &&
           packspan_results_value(r, row, PACKSPAN_MIN) <
               packspan_results_value(r, row, PACKSPAN_MAX);
}

/* The verdict and the probabilities behind it. Where the tolerance is narrow a figure is seldom
 * right to it, whatever else may be said: that decides nothing, so it comes last. */
static void print_verdict(FILE *f, const packspan_results *r, size_t i, const char *unit)
{
    const char *verdict = packspan_claim_text(r, i, PACKSPAN_CLAIM_VERDICT);
    double probability = packspan_claim_number(r, i, PACKSPAN_CLAIM_PROBABILITY);
    double error = packspan_claim_number(r, i, PACKSPAN_CLAIM_PROBABILITY_ERROR);
    double tolerance = packspan_claim_number(r, i, PACKSPAN_CLAIM_TOLERANCE);
    bool has_spread = claim_has_spread(r, i);
    fprintf(f, "    %s: ", verdict);
    if (strcmp(packspan_claim_text(r, i, PACKSPAN_CLAIM_SENSE), "is") != 0) {
        fprintf(f, "true with ");
        print_percent(f, probability, error, has_spread);
        fprintf(f, " (%s).\n", packspan_claim_text(r, i, PACKSPAN_CLAIM_LIKELIHOOD));
        return;
    }
    fprintf(f, "too low with ");
    print_percent(f, packspan_claim_number(r, i, PACKSPAN_CLAIM_ABOVE), error, has_spread);
    fprintf(f, ", too high with ");
    print_percent(f, packspan_claim_number(r, i, PACKSPAN_CLAIM_BELOW), error, has_spread);
    if (strcmp(verdict, "not contradicted") == 0)
        fprintf(f, " (90 %% would contradict it)");
    if (tolerance > 0.0)
        fprintf(f, ", right to ± %.10g%s%s with ", tolerance, *unit ? " " : "", unit);
    else
        fprintf(f, ", exactly right with ");
    print_percent(f, probability, error, has_spread);
    fprintf(f, ".\n");
}

static void print_claim(FILE *f, const packspan_results *r, size_t i)
{
    const char *sense = packspan_claim_text(r, i, PACKSPAN_CLAIM_SENSE);
    const char *unit = packspan_claim_text(r, i, PACKSPAN_CLAIM_UNIT);
    double value = packspan_claim_number(r, i, PACKSPAN_CLAIM_VALUE);
    double tolerance = packspan_claim_number(r, i, PACKSPAN_CLAIM_TOLERANCE);
    double low = packspan_claim_number(r, i, PACKSPAN_CLAIM_GAP_P05);
    double high = packspan_claim_number(r, i, PACKSPAN_CLAIM_GAP_P95);
    bool is = strcmp(sense, "is") == 0;
    const char *verb = is ? "is" : strcmp(sense, "at_least") == 0 ? "is at least" : "is at most";
    if (strcmp(unit, "1") == 0)
        unit = "";
    fprintf(f, "  %s: %s of %s %s %.10g", packspan_claim_text(r, i, PACKSPAN_CLAIM_NAME),
            packspan_claim_text(r, i, PACKSPAN_CLAIM_QUANTITY),
            packspan_claim_text(r, i, PACKSPAN_CLAIM_VEHICLE), verb, value);
    if (tolerance > 0.0)
        fprintf(f, " ± %.10g", tolerance);
    fprintf(f, "%s%s\n", *unit ? " " : "", unit);
    print_verdict(f, r, i, unit);
    fprintf(f, "    The samples give ");
    print_figure(f, value + packspan_claim_number(r, i, PACKSPAN_CLAIM_MEDIAN_GAP), high - low);
    fprintf(f, ", and with 90 %% ");
    print_figure(f, value + low, high - low);
    fprintf(f, " to ");
    print_figure(f, value + high, high - low);
    fprintf(f, "%s%s.\n", *unit ? " " : "", unit);
    print_what_would_change_it(f, r, i, sense, unit);
}

/* ---- candidates and evidence ---- */

static void print_factor(FILE *f, double factor)
{
    if (factor == 0.0)
        fprintf(f, "against it: no sample fits");
    else
        fprintf(f, "%.3g times %s it", factor < 1.0 ? 1.0 / factor : factor,
                factor < 1.0 ? "against" : "for");
}

/* Of samples alone no candidate is certain, unless there is no other. */
static void print_posterior(FILE *f, double prior, double posterior)
{
    double percent = 100.0 * posterior;
    char text[32];
    if (prior < 1.0 && percent < 0.0005)
        snprintf(text, sizeof text, "under 0.001 %%");
    else if (prior < 1.0 && percent > 99.95)
        snprintf(text, sizeof text, "over 99.9 %%");
    else
        snprintf(text, sizeof text, "%.*f %%", percent < 1.0 ? 3 : 1, percent);
    fprintf(f, " %*s", PERCENT_WIDTH, text);
}

static void print_odds(FILE *f, double odds)
{
    char text[32];
    snprintf(text, sizeof text, "1 : %.4g", 1.0 / odds);
    fprintf(f, " %*s", ODDS_WIDTH, odds >= 1.0 ? "the best" : odds > 0.0 ? text : "ruled out");
}

static void print_candidates(FILE *f, const packspan_results *r)
{
    size_t count = packspan_candidate_count(r), k;
    int width = NAME_WIDTH_MIN;
    if (count == 0)
        return;
    for (size_t c = 0; c < count; c++)
        if (display_width(packspan_candidate_name(r, c)) > width)
            width = display_width(packspan_candidate_name(r, c));
    fprintf(f, "\n");
    print_padded(f, "Candidates", width + 2);
    fprintf(f, " %*s %*s %*s\n", NUMBER_WIDTH, "before", PERCENT_WIDTH, "after", ODDS_WIDTH,
            "to the best");
    for (size_t c = 0; c < count; c++) {
        fprintf(f, "  ");
        print_padded(f, packspan_candidate_name(r, c), width);
        double prior = packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_PRIOR);
        fprintf(f, " %*.1f %%", NUMBER_WIDTH - 2, 100.0 * prior);
        print_posterior(f, prior, packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_POSTERIOR));
        print_odds(f, packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_ODDS));
        if (packspan_candidate_telling(r, c, &k)) {
            fprintf(f, "   %s of %s speaks ", packspan_observation_quantity(r, k),
                    packspan_observation_vehicle(r, k));
            print_factor(f, packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_TELLING_FACTOR));
        }
        fprintf(f, "\n");
    }
}

static void print_shift(FILE *f, const packspan_results *r, const char *subject, size_t k,
                        packspan_observation_value which, const char *quantity, const char *name,
                        const char **joint)
{
    size_t i;
    double shift = packspan_observation_number(r, k, which);
    if (isnan(shift) || !packspan_results_find(r, subject, quantity, &i))
        return;
    double screen = packspan_results_screen(r, i, shift) - packspan_results_screen(r, i, 0.0);
    fprintf(f, "%s %s by %s%.3g %s", *joint, name, screen > 0.0 ? "+" : "", screen,
            packspan_results_text(r, i, PACKSPAN_ROW_SCREEN_UNIT));
    *joint = ",";
}

static void print_observation(FILE *f, const packspan_results *r, const char *subject, size_t k)
{
    double low = packspan_observation_number(r, k, PACKSPAN_OBSERVATION_LOW);
    const char *unit = packspan_observation_unit(r, k), *joint = "; alone it moves";
    fprintf(f, "  %s of %s ", packspan_observation_quantity(r, k),
            packspan_observation_vehicle(r, k));
    if (isnan(low))
        fprintf(f, "read as %.10g with sd %.10g",
                packspan_observation_number(r, k, PACKSPAN_OBSERVATION_VALUE),
                packspan_observation_number(r, k, PACKSPAN_OBSERVATION_SD));
    else
        fprintf(f, "between %.10g and %.10g", low,
                packspan_observation_number(r, k, PACKSPAN_OBSERVATION_HIGH));
    fprintf(f, "%s%s\n    expected %.4g with sd %.3g: at percentile %.1f, %.2f sd away",
            strcmp(unit, "1") == 0 ? "" : " ", strcmp(unit, "1") == 0 ? "" : unit,
            packspan_observation_number(r, k, PACKSPAN_OBSERVATION_PRIOR_MEAN),
            packspan_observation_number(r, k, PACKSPAN_OBSERVATION_PRIOR_SD),
            packspan_observation_number(r, k, PACKSPAN_OBSERVATION_PERCENTILE),
            packspan_observation_number(r, k, PACKSPAN_OBSERVATION_DISTANCE));
    print_shift(f, r, subject, k, PACKSPAN_OBSERVATION_ENERGY_SHIFT, "usable_energy",
                "usable energy", &joint);
    print_shift(f, r, subject, k, PACKSPAN_OBSERVATION_RANGE_SHIFT, "label_range", "label range",
                &joint);
    fprintf(f, "\n");
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

/* How the run came to its end, when it was to go on until the results are stable. */
static void print_stability(FILE *f, packspan_case *c, const packspan_results *r)
{
    long digits = strtol(packspan_case_setting(c, "stable"), NULL, 10);
    bool is_sobol = strcmp(packspan_case_setting(c, "sequence"), "sobol") == 0;
    if (digits == 0)
        return;
    fprintf(f, "%s to %ld digit%s of each standard deviation by %llu %s (JCGM 101, 7.9)\n",
            packspan_results_stable(r) ? "stable" : "not yet stable", digits,
            digits == 1 ? "" : "s", (unsigned long long)packspan_results_sequences(r),
            is_sobol ? "independent scramblings" : "sequences of trials");
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
    print_stability(f, c, r);
    if (packspan_observation_count(r) > 0)
        fprintf(f, "the evidence leaves %.0f effective samples\n", packspan_results_effective(r));
    fprintf(f, "subject %s%s%s\n", subject, *title ? ": " : "", title);
    struct layout layout = layout_of(r, subject);
    if (layout.name == 0)
        fprintf(f, "\nNothing can be worked out; packspan check tells what is missing.\n");
    for (int s = 0; s < SECTION_COUNT; s++) {
        print_section(f, r, subject, (enum section)s, titles[s], layout);
        if (s == SECTION_ENERGY)
            print_consensus(f, r, subject);
    }
    print_candidates(f, r);
    if (packspan_observation_count(r) > 0)
        fprintf(f, "\nEvidence\n");
    for (size_t k = 0; k < packspan_observation_count(r); k++)
        print_observation(f, r, subject, k);
    if (packspan_claim_count(r) > 0)
        fprintf(f, "\nClaims\n");
    for (size_t i = 0; i < packspan_claim_count(r); i++)
        if (is_overall(packspan_claim_text(r, i, PACKSPAN_CLAIM_CANDIDATE)))
            print_claim(f, r, i);
    size_t warnings = packspan_results_warning_count(r);
    if (warnings > 0)
        fprintf(f, "\nTo be aware of\n");
    for (size_t i = 0; i < warnings; i++)
        fprintf(f, "  %s\n", packspan_results_warning(r, i));
    fprintf(f,
            "\nEstimates, not measurements: no basis for work on a high-voltage pack or for a trip "
            "without\nreserve; a low probability is no proof of anyone's intent.\n"
            "\nTables: %s/summary.csv, histogram.csv, claims.csv, routes.csv%s%s, run.csv%s\n",
            folder, packspan_candidate_count(r) > 0 ? ", candidates.csv" : "",
            packspan_observation_count(r) > 0 ? ", evidence.csv" : "",
            strcmp(packspan_case_setting(c, "keep"), "0") == 0 ? "" : ", samples.csv");
}
