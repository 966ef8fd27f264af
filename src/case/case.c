#include "case/case.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

static char *without_last_slashes(const char *folder)
{
    size_t length = strlen(folder);
    while (length > 1 && folder[length - 1] == '/')
        length--;
    return strndup(folder, length);
}

static const char *last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* `.` and `..` are named by where they lead to. */
static char *case_name(const char *folder)
{
    const char *last = last_part(folder);
    if (*last && strcmp(last, ".") != 0 && strcmp(last, "..") != 0)
        return text_copy(last);
    char *real = realpath(folder, NULL);
    char *name = text_copy(real && *last_part(real) ? last_part(real) : "case");
    free(real);
    return name;
}

static bool name_files(struct reading *r, const char *folder)
{
    struct case_data *c = r->c;
    c->folder = without_last_slashes(folder);
    if (!c->folder)
        return false;
    c->name = case_name(c->folder);
    c->inputs_file = path_in_case(r, "inputs.csv");
    c->trips_file = path_in_case(r, "trips.csv");
    c->claims_file = path_in_case(r, "claims.csv");
    c->evidence_file = path_in_case(r, "evidence.csv");
    c->candidates_file = path_in_case(r, "candidates.csv");
    c->links_file = path_in_case(r, "links.csv");
    c->study_file = path_in_case(r, "study.csv");
    c->points_file = path_in_case(r, "points.csv");
    return c->name && c->inputs_file && c->trips_file && c->claims_file && c->evidence_file &&
           c->candidates_file && c->links_file && c->study_file && c->points_file;
}

static bool open_units(struct reading *r)
{
    packspan_status status = unit_system_open(&r->c->units);
    if (status == PACKSPAN_OK)
        return true;
    if (status == PACKSPAN_NO_MEMORY)
        r->no_memory = true;
    else
        problems_add(&r->c->problems, SEVERITY_ERROR, "udunits2.xml", 0, NULL,
                     "the table of units cannot be read", NULL,
                     "install UDUNITS-2, or correct UDUNITS2_XML_PATH if it is set");
    r->missing = r->missing || status == PACKSPAN_MISSING;
    return false;
}

static void read_tables(struct reading *r)
{
    if (!list_folder(r) || !open_units(r))
        return;
    take_cycle(r, "udds");
    take_cycle(r, "hwfet");
    read_own_cycles(r);
    if (r->no_memory)
        return;
    read_vehicles(r);
    read_inputs(r);
    read_trips(r);
    read_claims(r);
    read_evidence(r);
    read_candidates(r);
    read_links(r);
    read_study(r);
    read_points(r);
    read_settings(r);
    check_other_files(r);
}

static void free_reading(struct reading *r)
{
    for (size_t i = 0; i < r->file_count; i++)
        free(r->files[i]);
    for (size_t i = 0; i < r->own_cycle_count; i++)
        cycle_free(&r->own_cycles[i]);
    for (size_t i = 0; i < r->reading_count; i++)
        free(r->readings[i]);
    name_index_free(&r->trip_names);
    name_index_free(&r->claim_names);
    free(r->files);
    free(r->own_cycles);
    free(r->readings);
}

static packspan_status outcome(const struct reading *r)
{
    if (r->no_memory || r->c->problems.out_of_memory)
        return PACKSPAN_NO_MEMORY;
    if (r->missing)
        return PACKSPAN_MISSING;
    if (r->unreadable)
        return PACKSPAN_IO;
    return r->c->problems.errors ? PACKSPAN_BAD_CASE : PACKSPAN_OK;
}

packspan_status case_data_read(const char *folder, struct case_data *out)
{
    *out = (struct case_data){.subject = SIZE_MAX};
    settings_init(&out->settings);
    struct reading r = {.c = out};
    if (name_files(&r, folder))
        read_tables(&r);
    else
        r.no_memory = true;
    problems_sort(&out->problems);
    case_files_sort(&out->files);
    free_reading(&r);
    return outcome(&r);
}

static void free_claim(struct claim *claim)
{
    free(claim->name);
    free(claim->unit);
    free(claim->source);
}

static void free_candidate(struct candidate *candidate)
{
    for (size_t i = 0; i < candidate->input_count; i++)
        free_input(&candidate->inputs[i]);
    free(candidate->inputs);
    free(candidate->name);
}

void case_data_free(struct case_data *c)
{
    for (size_t i = 0; i < c->vehicle_count; i++) {
        free(c->vehicles[i].name);
        free(c->vehicles[i].title);
    }
    for (size_t i = 0; i < c->input_count; i++)
        free_input(&c->inputs[i]);
    for (size_t i = 0; i < c->trip_count; i++) {
        free(c->trips[i].name);
        free(c->trips[i].source);
    }
    for (size_t i = 0; i < c->claim_count; i++)
        free_claim(&c->claims[i]);
    for (size_t i = 0; i < c->observation_count; i++) {
        free(c->observations[i].unit);
        free(c->observations[i].source);
    }
    for (size_t i = 0; i < c->candidate_count; i++)
        free_candidate(&c->candidates[i]);
    for (size_t i = 0; i < c->link_count; i++)
        free(c->links[i].source);
    copula_close(&c->copula);
    study_table_free(&c->study);
    case_files_free(&c->files);
    for (size_t i = 0; i < c->cycle_count; i++)
        cycle_free(&c->cycles[i]);
    free(c->vehicles);
    free(c->inputs);
    free(c->trips);
    free(c->claims);
    free(c->observations);
    free(c->candidates);
    free(c->links);
    free(c->cycles);
    unit_system_free(c->units);
    problems_clear(&c->problems);
    free(c->inputs_file);
    free(c->trips_file);
    free(c->claims_file);
    free(c->evidence_file);
    free(c->candidates_file);
    free(c->links_file);
    free(c->study_file);
    free(c->points_file);
    free(c->folder);
    free(c->name);
    *c = (struct case_data){.subject = SIZE_MAX};
}

/* A points.csv may also be a table of readings, which is then no design. */
static bool is_design(const struct case_data *c, const char *file, const char *study,
                      const char *points)
{
    return strcmp(file, study) == 0 || (c->study.is_points && strcmp(file, points) == 0);
}

bool case_file_is_design(const struct case_data *c, const char *name)
{
    return is_design(c, name, "study.csv", "points.csv");
}

bool case_problem_is_of_design(const struct case_data *c, const struct problem *p)
{
    return is_design(c, p->file, c->study_file, c->points_file);
}
