#include "study/record.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

const packspan_statistic record_statistics[RECORD_STATISTICS] = {
    PACKSPAN_MEAN, PACKSPAN_SD,  PACKSPAN_P05, PACKSPAN_P10, PACKSPAN_P25,
    PACKSPAN_P50,  PACKSPAN_P75, PACKSPAN_P90, PACKSPAN_P95};

/* ---- which rows ---- */

static bool is_name_of(const char *text, size_t length, const char *name)
{
    return strlen(name) == length && strncmp(text, name, length) == 0;
}

/* A quantity of trips stands for all of its trips too. */
static bool names_row(const char *text, size_t length, const char *label, const char *quantity)
{
    return is_name_of(text, length, label) || is_name_of(text, length, quantity);
}

/* Among the names of the list; all are when it is empty. */
static bool is_wanted(const char *list, const char *label, const char *quantity)
{
    bool wanted = *list == '\0';
    for (const char *at = list; *at && !wanted; at += strspn(at, ", ")) {
        size_t length = strcspn(at, ", ");
        wanted = names_row(at, length, label, quantity);
        at += length;
    }
    return wanted;
}

static char *label_of(const struct plan_set *set, size_t row)
{
    return plan_label(&set->plans[0], set->rows[row].quantity, set->rows[row].trip);
}

/* NULL when out of memory. */
static char *name_wrong(const struct plan_set *set, const char *text, size_t length)
{
    char *word = strndup(text, length), *wrong = NULL;
    const char **names = calloc(2 * set->row_count + 1, sizeof *names);
    char **labels = calloc(set->row_count + 1, sizeof *labels);
    bool made = word && names && labels;
    for (size_t r = 0; made && r < set->row_count; r++) {
        labels[r] = label_of(set, r);
        made = labels[r];
        names[2 * r] = labels[r];
        names[2 * r + 1] = quantities[set->rows[r].quantity].name;
    }
    const char *nearest = made ? text_nearest(word, names, 2 * set->row_count) : NULL;
    if (made)
        wrong =
            nearest
                ? text_format("'%s' is not among the results; did you mean '%s'?", word, nearest)
                : text_format("'%s' is not among the results; packspan check lists them", word);
    for (size_t r = 0; labels && r < set->row_count; r++)
        free(labels[r]);
    free(labels);
    free(names);
    free(word);
    return wrong;
}

static bool names_some_row(const struct plan_set *set, const char *text, size_t length)
{
    for (size_t r = 0; r < set->row_count; r++) {
        char *label = label_of(set, r);
        bool found =
            label && names_row(text, length, label, quantities[set->rows[r].quantity].name);
        free(label);
        if (found)
            return true;
    }
    return false;
}

static packspan_status check_names(const struct plan_set *set, const char *list, char **wrong)
{
    for (const char *at = list + strspn(list, ", "); *at; at += strspn(at, ", ")) {
        size_t length = strcspn(at, ", ");
        if (!names_some_row(set, at, length)) {
            *wrong = name_wrong(set, at, length);
            return *wrong ? PACKSPAN_USAGE : PACKSPAN_NO_MEMORY;
        }
        at += length;
    }
    return PACKSPAN_OK;
}

/* ---- setting up ---- */

static const char *group_name(const struct case_data *c, size_t group)
{
    if (c->candidate_count == 0)
        return "";
    return group == 0 ? "mixture" : c->candidates[group - 1].name;
}

static bool is_known(const struct plan_set *set, size_t row, size_t group)
{
    return group == 0 ? set->rows[row].everywhere : plan_set_node(set, group - 1, row) != NODE_NONE;
}

static bool add_rows(struct record_layout *l, const struct plan_set *set, const char *list,
                     size_t group)
{
    for (size_t r = 0; r < set->row_count; r++) {
        const struct quantity *q = &quantities[set->rows[r].quantity];
        char *label = label_of(set, r);
        if (!label)
            return false;
        if (!is_known(set, r, group) || !is_wanted(list, label, q->name)) {
            free(label);
            continue;
        }
        l->rows[l->row_count++] =
            (struct record_row){.candidate = group_name(set->source, group),
                                .vehicle = plan_vehicle_name(&set->plans[0], set->rows[r].vehicle),
                                .unit = q->measure->table,
                                .quantity = label,
                                .group = group,
                                .set_row = r};
    }
    return true;
}

static bool add_claims(struct record_layout *l, const struct plan_set *set, size_t group)
{
    const struct plan *p = &set->plans[0];
    for (size_t k = 0; k < set->source->claim_count; k++) {
        const struct claim *claim = &set->source->claims[p->claim_order[k]];
        char *label = plan_label(p, claim->quantity, claim->trip);
        if (!label)
            return false;
        l->claims[l->claim_count++] =
            (struct record_claim){.candidate = group_name(set->source, group),
                                  .vehicle = plan_vehicle_name(p, claim->vehicle),
                                  .claim = claim,
                                  .quantity = label,
                                  .group = group};
    }
    return true;
}

packspan_status record_layout_open(const struct plan_set *set, const char *list,
                                   struct record_layout *out, char **wrong)
{
    const struct case_data *c = set->source;
    *out = (struct record_layout){.has_candidates = c->candidate_count > 0,
                                  .group_count = c->candidate_count + 1};
    out->rows = calloc(out->group_count * set->row_count + 1, sizeof *out->rows);
    out->claims = calloc(out->group_count * c->claim_count + 1, sizeof *out->claims);
    if (!out->rows || !out->claims)
        return PACKSPAN_NO_MEMORY;
    packspan_status status = check_names(set, list, wrong);
    for (size_t g = 0; g < out->group_count && status == PACKSPAN_OK; g++)
        if (!add_rows(out, set, list, g) || !add_claims(out, set, g))
            status = PACKSPAN_NO_MEMORY;
    out->numbers = out->group_count + RECORD_STATISTICS * out->row_count +
                   RECORD_CLAIM_NUMBERS * out->claim_count;
    return status;
}

void record_layout_close(struct record_layout *l)
{
    for (size_t i = 0; l->rows && i < l->row_count; i++)
        free(l->rows[i].quantity);
    for (size_t i = 0; l->claims && i < l->claim_count; i++)
        free(l->claims[i].quantity);
    free(l->rows);
    free(l->claims);
    *l = (struct record_layout){0};
}

/* ---- a point ---- */

const char *point_fate_text(uint64_t fate)
{
    static const char *const texts[POINT_FATES] = {
        [POINT_DONE] = "done",
        [POINT_INVALID] = "too many invalid samples",
        [POINT_UNFIT] = "no sample fits the evidence",
        [POINT_SHAPELESS] = "the values make no shape",
    };
    return fate < POINT_FATES ? texts[fate] : "";
}

static void tally(struct point_tally *t, uint64_t point)
{
    if (t->count++ == 0)
        t->first = point;
}

void record_tally(const struct record *record, struct point_tallies *t)
{
    if (record->fate < POINT_FATES)
        tally(&t->fates[record->fate], record->point);
    for (size_t i = 0; i < CAUTIONS; i++)
        if (record->cautions >> i & 1)
            tally(&t->cautions[i], record->point);
}

double record_effective(const double *numbers, size_t group)
{
    return numbers[group];
}

static size_t row_place(const struct record_layout *l, size_t row)
{
    return l->group_count + RECORD_STATISTICS * row;
}

static size_t claim_place(const struct record_layout *l, size_t claim)
{
    return row_place(l, l->row_count) + RECORD_CLAIM_NUMBERS * claim;
}

const double *record_row_numbers(const struct record_layout *l, const double *numbers, size_t row)
{
    return numbers + row_place(l, row);
}

const double *record_claim_numbers(const struct record_layout *l, const double *numbers,
                                   size_t claim)
{
    return numbers + claim_place(l, claim);
}

/* Index of the group in the results; group_count when it has no rows of its own. */
static size_t find_group(const struct packspan_results *r, const char *candidate)
{
    size_t g = 0;
    while (g < r->group_count && strcmp(r->groups[g].candidate, candidate) != 0)
        g++;
    return g;
}

static void fill_row(const struct packspan_results *r, size_t result_group,
                     const struct record_row *row, double *numbers)
{
    const struct result_group *g = &r->groups[result_group];
    size_t k = g->first_row;
    while (r->rows[k].set_row != row->set_row)
        k++;
    for (int i = 0; i < RECORD_STATISTICS; i++)
        numbers[i] = packspan_results_value(r, k, record_statistics[i]);
}

void record_fill(const struct record_layout *l, const struct packspan_results *r, double *numbers)
{
    for (size_t i = 0; i < l->numbers; i++)
        numbers[i] = (double)NAN;
    if (r)
        numbers[0] = r->groups[0].effective; /* whatever rows there are */
    for (size_t i = 0; r && i < l->row_count; i++) {
        size_t g = find_group(r, l->rows[i].candidate);
        if (g == r->group_count)
            continue;
        numbers[l->rows[i].group] = r->groups[g].effective;
        fill_row(r, g, &l->rows[i], numbers + row_place(l, i));
    }
    for (size_t i = 0; r && i < l->claim_count; i++) {
        const struct record_claim *c = &l->claims[i];
        size_t g = find_group(r, c->candidate), of_group = r->claim_count / r->group_count;
        if (g == r->group_count)
            continue;
        size_t k = g * of_group + i % of_group;
        numbers[c->group] = r->groups[g].effective;
        numbers[claim_place(l, i)] = packspan_claim_number(r, k, PACKSPAN_CLAIM_PROBABILITY);
        numbers[claim_place(l, i) + 1] =
            packspan_claim_number(r, k, PACKSPAN_CLAIM_PROBABILITY_ERROR);
    }
}
