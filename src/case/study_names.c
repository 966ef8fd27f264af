/* The names by which a study addresses an input. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/study_reading.h"

static bool fault(struct study_fault *f, bool of_vehicle, const char *what, char *remedy)
{
    *f = (struct study_fault){of_vehicle, what, remedy};
    return false;
}

bool study_fault_follows(const struct reading *r, const struct study_fault *f)
{
    return (f->of_vehicle && r->c->vehicle_count == 0) ||
           (strcmp(f->what, "unknown trip") == 0 && r->trips_unknown);
}

static bool find_owner(const struct reading *r, const char *name, struct study_address *out,
                       struct study_fault *f)
{
    const struct case_data *c = r->c;
    const char **names = calloc(c->vehicle_count + 1, sizeof *names);
    if (!names)
        return fault(f, true, "unknown vehicle", NULL);
    for (size_t i = 0; i < c->vehicle_count; i++)
        names[i] = c->vehicles[i].name;
    names[c->vehicle_count] = "all";
    size_t v = 0;
    while (v <= c->vehicle_count && strcmp(names[v], name) != 0)
        v++;
    bool found = v <= c->vehicle_count;
    if (found)
        out->vehicle = v == c->vehicle_count ? VEHICLE_ALL : v;
    else if (find_trip_named(r, name) != TRIP_NONE)
        fault(f, true, "is a trip, not a vehicle",
              text_format("write all, and quantity.%s as the quantity", name));
    else
        fault(f, true, *name ? "unknown vehicle" : "is empty",
              advice(name, names, c->vehicle_count + 1, NULL));
    free(names);
    return found;
}

static bool is_result_of_trips(enum quantity_id id)
{
    return id < QUANTITY_COUNT && quantities[id].role == QUANTITY_TRIP_RESULT;
}

/* A vehicle's quantity. */
static bool find_quantity(const char *name, struct study_address *out, struct study_fault *f)
{
    out->trip = TRIP_NONE;
    out->quantity = quantity_find(name);
    if (out->quantity == QUANTITY_COUNT)
        return fault(f, false, *name ? "unknown quantity" : "is empty", quantity_advice(name));
    if (quantities[out->quantity].role == QUANTITY_CONDITION)
        return fault(f, false, "names no trip",
                     text_format("write %s.TRIP with a trip of trips.csv", name));
    if (is_result_of_trips(out->quantity))
        return fault(f, false, "is worked out for every trip and cannot be set",
                     text_copy("set inputs that it is worked out from"));
    return true;
}

/* quantity.TRIP. */
static bool find_condition(const struct reading *r, const char *quantity, const char *trip,
                           struct study_address *out, struct study_fault *f)
{
    const struct case_data *c = r->c;
    out->quantity = quantity_find(quantity);
    if (out->quantity == QUANTITY_COUNT)
        return fault(f, false, "unknown quantity", condition_advice(quantity));
    if (is_result_of_trips(out->quantity))
        return fault(f, false, "is worked out for every trip and cannot be set",
                     text_copy("set inputs that it is worked out from"));
    if (!is_condition(out->quantity))
        return fault(f, false, "is a vehicle's quantity, not a trip's",
                     text_copy("write it without a trip"));
    out->trip = find_trip_named(r, trip);
    if (out->trip == TRIP_NONE)
        return fault(f, false, "unknown trip",
                     c->trip_count ? advice_of(trip, c->trips, c->trip_count, sizeof *c->trips)
                                   : text_copy("trips.csv defines no trip"));
    if (out->vehicle != VEHICLE_ALL)
        return fault(f, true, "a trip's condition is no vehicle's own",
                     text_copy("write all: every vehicle meets it"));
    if (out->quantity == Q_speed && !c->trips[out->trip].steady)
        return fault(f, false, "is set by the trip's cycle",
                     text_copy("only a steady trip has a speed of its own"));
    return true;
}

bool study_address_find(const struct reading *r, const char *vehicle, const char *quantity,
                        struct study_address *out, struct study_fault *f)
{
    struct study_address found = {0};
    if (!find_owner(r, vehicle, &found, f))
        return false;
    const char *point = strchr(quantity, '.');
    bool known;
    if (point) {
        char *name = strndup(quantity, (size_t)(point - quantity));
        if (!name)
            return fault(f, false, "unknown quantity", NULL);
        known = find_condition(r, name, point + 1, &found, f);
        free(name);
    } else {
        known = find_quantity(quantity, &found, f);
    }
    if (known)
        *out = found;
    return known;
}

static bool is_at(const struct input *in, const struct study_address *a)
{
    return in->vehicle == a->vehicle && in->trip == a->trip && in->quantity == a->quantity;
}

size_t study_input_find(const struct case_data *c, const struct study_address *a)
{
    for (size_t i = 0; i < c->input_count; i++)
        if (is_at(&c->inputs[i], a))
            return i;
    for (size_t i = 0; i < c->study.added_count; i++)
        if (is_at(&c->study.added[i], a))
            return c->input_count + i;
    return STUDY_INPUT_NONE;
}

const struct input *study_input(const struct case_data *c, size_t input)
{
    return input < c->input_count ? &c->inputs[input] : &c->study.added[input - c->input_count];
}

bool study_is_linked(const struct case_data *c, size_t input)
{
    for (size_t i = 0; i < c->link_count; i++)
        if (c->links[i].a == input || c->links[i].b == input)
            return true;
    return false;
}

static bool replaces(const struct candidate *candidate, const struct study_address *a)
{
    for (size_t i = 0; i < candidate->input_count; i++)
        if (is_at(&candidate->inputs[i], a))
            return true;
    return false;
}

static void warn(struct reading *r, const struct study_place *p, const char *what,
                 const char *remedy)
{
    problems_add(&r->c->problems, SEVERITY_WARNING, p->file, p->line, p->column, what, p->text,
                 remedy);
}

void study_warn_if_replaced(struct reading *r, const struct study_place *p,
                            const struct study_address *a)
{
    const struct case_data *c = r->c;
    char *names = text_copy("");
    for (size_t k = 0; names && k < c->candidate_count; k++) {
        if (!replaces(&c->candidates[k], a))
            continue;
        char *longer = text_format("%s%s'%s'", names, *names ? ", " : "", c->candidates[k].name);
        free(names);
        names = longer;
    }
    if (!names || *names) {
        char *what = names ? text_format("is replaced under candidate %s, where the study does "
                                         "not move it",
                                         names)
                           : NULL;
        warn(r, p, what, NULL);
        free(what);
    }
    free(names);
}

bool study_leaves_out_spread(const struct case_data *c, const struct study_knob *k)
{
    const struct input *in = study_input(c, k->input);
    return k->field == STUDY_VALUE && !k->adds && in->shape && in->given.kind != SHAPE_FIXED;
}

void study_warn_of_spread(struct reading *r, const struct study_place *p,
                          const struct study_knob *k, const char *remedy)
{
    const struct input *in = study_input(r->c, k->input);
    char *what = text_format("makes the input exactly known, without the spread that shape '%s' "
                             "of %s:%ld gives it",
                             shape_infos[in->given.kind].name, in->file, in->line);
    warn(r, p, what, remedy);
    free(what);
}

char *study_nearest_owner(const struct case_data *c, const struct study_address *a)
{
    for (size_t i = 0; i < c->input_count; i++) {
        const struct input *in = &c->inputs[i];
        bool shared = in->vehicle == VEHICLE_ALL;
        if (in->quantity == a->quantity && in->trip == TRIP_NONE && a->trip == TRIP_NONE &&
            (shared || a->vehicle == VEHICLE_ALL))
            return text_format("inputs.csv gives it for '%s' on line %ld: name that vehicle",
                               shared ? "all" : c->vehicles[in->vehicle].name, in->line);
    }
    return text_format("give it in %s.csv, or write value to set it here",
                       a->trip == TRIP_NONE ? "inputs" : "trips");
}

size_t study_input_add(struct reading *r, const struct study_address *a, const char *file,
                       long line)
{
    struct study_table *d = &r->c->study;
    struct input *added = reallocarray(d->added, d->added_count + 1, sizeof *added);
    if (!added) {
        r->no_memory = true;
        return STUDY_INPUT_NONE;
    }
    d->added = added;
    added[d->added_count] = (struct input){.vehicle = a->vehicle,
                                           .trip = a->trip,
                                           .quantity = a->quantity,
                                           .given = {.kind = SHAPE_FIXED},
                                           .to_si = {1.0, 0.0},
                                           .file = file,
                                           .line = line};
    return r->c->input_count + d->added_count++;
}
