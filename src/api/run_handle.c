#include <stdlib.h>

#include "api/case_handle.h"
#include "base/text.h"
#include "engine/run.h"
#include "results/results.h"

/* Says which quantities spoiled the samples of a refused run. */
static packspan_status refuse(packspan_case *c, const struct run_outcome *outcome)
{
    const struct plan *p = &c->plan;
    for (size_t k = 0; k < p->node_count; k++) {
        uint64_t invalid = outcome->invalid_by_node[k];
        if (invalid == 0)
            continue;
        char *label = plan_label(p, p->nodes[k].quantity, p->nodes[k].trip);
        char *text =
            label
                ? text_format("%s: %s of '%s' is not positive or not finite in %llu of %llu "
                              "samples, and more than 0.1 %% invalid samples are refused; narrow "
                              "the inputs that it is worked out from",
                              c->data.inputs_file, label, plan_vehicle_name(p, p->nodes[k].vehicle),
                              (unsigned long long)invalid,
                              (unsigned long long)(outcome->samples + outcome->invalid))
                : NULL;
        free(label);
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
