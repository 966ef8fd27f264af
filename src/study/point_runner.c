#include "study/point_runner.h"

#include <stdlib.h>
#include <string.h>

static bool copy_inputs(struct point_runner *r)
{
    const struct case_data *c = r->design->source;
    const struct study_table *t = r->design->table;
    size_t count = c->input_count + t->added_count;
    r->data.inputs = calloc(count + 1, sizeof *r->data.inputs);
    r->made = calloc(count + 1, sizeof(struct shape *));
    r->present = calloc(count + 1, sizeof *r->present);
    r->values = calloc(t->knob_count + 1, sizeof *r->values);
    if (!r->data.inputs || !r->made || !r->present || !r->values)
        return false;
    memcpy(r->data.inputs, c->inputs, c->input_count * sizeof *c->inputs);
    if (t->added_count > 0)
        memcpy(r->data.inputs + c->input_count, t->added, t->added_count * sizeof *t->added);
    r->data.input_count = count;
    for (size_t i = 0; i < r->design->input_count; i++)
        r->data.inputs[r->design->inputs[i]].studied = true;
    return true;
}

static bool is_same(const struct input *a, const struct input *b)
{
    return a->given.kind == b->given.kind &&
           memcmp(a->given.field, b->given.field, sizeof a->given.field) == 0 &&
           memcmp(&a->to_si, &b->to_si, sizeof a->to_si) == 0;
}

/* The input as the point has it. */
static packspan_status turn_input(struct point_runner *r, size_t i)
{
    const struct case_data *c = r->design->source;
    struct input in = design_input(r->design, i, r->values);
    if (r->made[i] && is_same(&in, &r->present[i]))
        return PACKSPAN_OK;
    struct shape *made = NULL;
    if (i >= c->input_count || !is_same(&in, &c->inputs[i])) {
        struct shape_domain domain = input_domain(&in);
        struct shape_fault fault;
        packspan_status status = shape_make(&in.given, &domain, &made, &fault);
        if (status != PACKSPAN_OK)
            return status;
    }
    shape_free(r->made[i]);
    r->made[i] = made;
    r->present[i] = in;
    r->data.inputs[i] = in;
    r->data.inputs[i].studied = true;
    r->data.inputs[i].shape = made ? made : c->inputs[i].shape;
    return PACKSPAN_OK;
}

static packspan_status turn_to(struct point_runner *r, uint64_t point)
{
    packspan_status status = PACKSPAN_OK;
    design_values(r->design, point, r->values);
    for (size_t i = 0; i < r->design->input_count && status == PACKSPAN_OK; i++)
        status = turn_input(r, r->design->inputs[i]);
    return status;
}

/* All that results are converted by, so that several threads can do it. */
static packspan_status remember_units(struct unit_system *units)
{
    enum unit_verdict verdict = UNIT_FITS;
    for (int id = 0; id < QUANTITY_COUNT && verdict == UNIT_FITS; id++) {
        const struct measure *m = quantities[id].measure;
        const char *const shown[] = {m->table, m->metric, m->us};
        for (size_t i = 0; i < sizeof shown / sizeof shown[0] && verdict == UNIT_FITS; i++)
            verdict = unit_remember(units, shown[i], m->si);
    }
    return verdict == UNIT_FITS ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

packspan_status point_runner_open(const struct design *d, struct point_runner *out)
{
    *out = (struct point_runner){.design = d, .data = *d->source};
    out->data.problems = (struct problems){0}; /* the case tells them */
    out->data.settings.threads = 1;
    out->data.settings.stable = 0;
    out->data.settings.effective = 0;
    out->data.settings.keep = 0;
    packspan_status status = unit_system_open(&out->units);
    if (status == PACKSPAN_OK)
        status = remember_units(out->units);
    out->data.units = out->units;
    if (status == PACKSPAN_OK && !copy_inputs(out))
        status = PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = turn_to(out, 0);
    return status == PACKSPAN_OK ? plan_set_make(&out->data, &out->set) : status;
}

void point_runner_close(struct point_runner *r)
{
    if (!r->design)
        return;
    plan_set_free(&r->set);
    for (size_t i = 0; r->made && i < r->data.input_count; i++)
        shape_free(r->made[i]);
    unit_system_free(r->units);
    free(r->data.inputs);
    free(r->made);
    free(r->present);
    free(r->values);
    *r = (struct point_runner){0};
}

static bool cuts_inputs(const struct plan_set *set)
{
    bool cuts = false;
    for (size_t c = 0; c < set->count && !cuts; c++)
        cuts = plan_cuts_studied(&set->plans[c]);
    return cuts;
}

static uint64_t most_invalid(const struct run_outcome *o)
{
    uint64_t most = 0;
    for (size_t c = 0; c < o->set->count; c++)
        if (o->candidates[c].invalid > most)
            most = o->candidates[c].invalid;
    return most;
}

static packspan_status take_results(struct run_outcome *outcome, const struct record_layout *l,
                                    struct record *out)
{
    struct packspan_results *results = NULL;
    packspan_status status = results_make(outcome, ROW_BRIEF, &results);
    if (status != PACKSPAN_OK)
        return status;
    out->fate = POINT_DONE;
    out->invalid = packspan_results_invalid(results);
    out->cautions |= results->cautions;
    record_fill(l, results, out->numbers);
    packspan_results_free(results);
    return PACKSPAN_OK;
}

static void refuse(const struct record_layout *l, enum point_fate fate, uint64_t invalid,
                   struct record *out)
{
    out->fate = fate;
    out->invalid = invalid;
    record_fill(l, NULL, out->numbers);
}

packspan_status point_runner_run(struct point_runner *r, const struct record_layout *l,
                                 uint64_t point, uint64_t samples, run_progress *progress,
                                 void *user, struct record *out)
{
    packspan_status status = turn_to(r, point);
    out->point = point;
    out->cautions = 0;
    if (status == PACKSPAN_BAD_CASE) { /* which design_check() could not foresee */
        refuse(l, POINT_SHAPELESS, 0, out);
        return PACKSPAN_OK;
    }
    if (status != PACKSPAN_OK)
        return status;
    plan_set_refresh(&r->set);
    r->data.settings.samples = samples;
    r->data.settings.samples_given = true;
    struct run_outcome outcome;
    status = run_plans(&r->set, progress, user, &outcome);
    if (cuts_inputs(&r->set))
        out->cautions = 1U << CAUTION_TRUNCATED;
    if (status == PACKSPAN_OK && !outcome.interrupted)
        return take_results(&outcome, l, out);
    if (status == PACKSPAN_BAD_CASE) { /* a result too: the values do not go together */
        refuse(l, run_has_too_many_invalid(&outcome) ? POINT_INVALID : POINT_UNFIT,
               most_invalid(&outcome), out);
        status = PACKSPAN_OK;
    } else if (status == PACKSPAN_OK) {
        status = PACKSPAN_INTERRUPTED;
    }
    run_free(&outcome);
    return status;
}
