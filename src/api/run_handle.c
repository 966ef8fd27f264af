#include <stdlib.h>

#include "api/case_handle.h"
#include "base/text.h"
#include "engine/run.h"
#include "results/results.h"

/* The table that a quantity rests on, and the line where its trip begins. */
static char *place_of(const packspan_case *c, size_t trip)
{
    if (trip == TRIP_NONE)
        return text_copy(c->data.inputs_file);
    return text_format("%s:%ld", c->data.trips_file, c->data.trips[trip].line);
}

/* Says which quantities spoiled the samples of a refused run. */
static packspan_status refuse(packspan_case *c, const struct run_outcome *outcome)
{
    const struct plan *p = &c->plan;
    for (size_t k = 0; k < p->node_count; k++) {
        uint64_t invalid = outcome->invalid_by_node[k];
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
                              (unsigned long long)(outcome->samples + outcome->invalid),
                              p->nodes[k].trip == TRIP_NONE ? "inputs" : "trip and the inputs")
                : NULL;
        free(label);
        free(place);
        if (!case_add_problem(c, SEVERITY_ERROR, text))
            return PACKSPAN_NO_MEMORY;
    }
    return PACKSPAN_BAD_CASE;
}

packspan_status packspan_run(packspan_case *c, packspan_progress *progress, void *user,
                             packspan_results **out)
{
    struct run_outcome outcome;
    packspan_status status = run_plan(&c->plan, progress, user, &outcome);
    if (status == PACKSPAN_BAD_CASE)
        status = refuse(c, &outcome);
    if (status != PACKSPAN_OK) {
        run_free(&outcome);
        return status;
    }
    bool interrupted = outcome.interrupted;
    status = results_make(&outcome, out);
    return status == PACKSPAN_OK && interrupted ? PACKSPAN_INTERRUPTED : status;
}
