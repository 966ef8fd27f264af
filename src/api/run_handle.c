#include <math.h>
#include <stdlib.h>

#include "api/case_handle.h"
#include "base/text.h"
#include "engine/run.h"
#include "results/results.h"
#include "results/row.h"

/* The table that a quantity rests on, and the line where its trip begins. */
static char *place_of(const packspan_case *c, size_t trip)
{
    if (trip == TRIP_NONE)
        return text_copy(c->data.inputs_file);
    return text_format("%s:%ld", c->data.trips_file, c->data.trips[trip].line);
}

/* Says which quantities spoiled the samples of a refused run. */
static bool blame_quantities(packspan_case *c, const struct plan *p,
                             const struct candidate_outcome *o)
{
    for (size_t k = 0; k < p->node_count; k++) {
        uint64_t invalid = o->invalid_by_node[k];
        if (invalid == 0)
            continue;
        char *label = plan_label(p, p->nodes[k].quantity, p->nodes[k].trip);
        char *place = place_of(c, p->nodes[k].trip);
        char *text =
            label && place
                ? text_format("%s: %s of '%s' is not positive or not finite in %llu of %llu "
                              "samples, and more than 0.1 %% invalid samples are refused; narrow "
                              "the %s that it is worked out from",
                              place, label, plan_vehicle_name(p, p->nodes[k].vehicle),
                              (unsigned long long)invalid,
                              (unsigned long long)(o->samples + o->invalid),
                              p->nodes[k].trip == TRIP_NONE ? "inputs" : "trip and the inputs")
                : NULL;
        free(label);
        free(place);
        if (!case_add_problem(c, SEVERITY_ERROR, text))
            return false;
    }
    return true;
}

/* An observation that lies among the samples fits none because it is too tight for their number. */
static bool blame_row(packspan_case *c, const struct run_outcome *outcome, size_t k)
{
    const struct observation *o = &c->data.observations[k];
    struct moments all;
    double value, sd;
    moments_init(&all);
    for (size_t i = 0; i < outcome->set->count; i++)
        moments_merge(&all, &outcome->candidates[i].observations[k].values);
    observation_reading(o, &value, &sd);
    bool among = value > all.min && value < all.max;
    char *label = plan_label(&outcome->set->plans[0], o->quantity, o->trip);
    char *text =
        label ? text_format("%s:%ld: no sample comes near this observation%s %s of '%s' lies "
                            "between %.6g and %.6g %s; %s",
                            c->data.evidence_file, o->line, among ? ", although" : ":", label,
                            plan_vehicle_name(&outcome->set->plans[0], o->vehicle),
                            from_si(all.min, o->to_si), from_si(all.max, o->to_si), o->unit,
                            among ? "raise samples, or say that it is less exact"
                                  : "check its value and unit, or widen the inputs that it is "
                                    "worked out from")
              : NULL;
    free(label);
    return case_add_problem(c, SEVERITY_ERROR, text);
}

/* Names the observations that fit no sample; when each fits some, they do not fit together. */
static bool blame_evidence(packspan_case *c, const struct run_outcome *outcome)
{
    bool any = false;
    for (size_t k = 0; k < c->data.observation_count; k++) {
        if (run_nearest(outcome, k) >= -0.5 * NEAREST_MAX * NEAREST_MAX)
            continue;
        any = true;
        if (!blame_row(c, outcome, k))
            return false;
    }
    return any || case_add_problem(c, SEVERITY_ERROR,
                                   text_format("%s: each observation fits some samples, but no "
                                               "sample fits them all; raise samples, or widen the "
                                               "inputs",
                                               c->data.evidence_file));
}

packspan_status refuse_run(packspan_case *c, const struct run_outcome *outcome)
{
    bool told = true;
    if (!run_has_too_many_invalid(outcome))
        told = blame_evidence(c, outcome);
    else
        for (size_t i = 0; told && i < outcome->set->count; i++)
            told = blame_quantities(c, &outcome->set->plans[i], &outcome->candidates[i]);
    return told ? PACKSPAN_BAD_CASE : PACKSPAN_NO_MEMORY;
}

packspan_status packspan_run(packspan_case *c, packspan_progress *progress, void *user,
                             packspan_results **out)
{
    struct run_outcome outcome;
    packspan_status status = run_plans(&c->set, progress, user, &outcome);
    if (status == PACKSPAN_BAD_CASE)
        status = refuse_run(c, &outcome);
    if (status != PACKSPAN_OK) {
        run_free(&outcome);
        return status;
    }
    bool interrupted = outcome.interrupted;
    status = results_make(&outcome, ROW_FULL, out);
    return status == PACKSPAN_OK && interrupted ? PACKSPAN_INTERRUPTED : status;
}
