#include "support/support.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "case/case.h"
#include "unit/base/problem_list.h"
#include "unit/base/scratch.h"

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static const char good_inputs[] = "vehicle,quantity,unit,shape,best,low,high,source\n"
                                  "van,cell_count,1,fixed,224,,,invented\n"
                                  "van,cell_mass,kg,uniform,,1,2,invented\n"
                                  "van,cell_energy,kWh,uniform,,0.3,0.4,invented\n"
                                  "old_van,cell_mass,kg,uniform,,1,2,invented\n"
                                  "all,regen_efficiency,1,uniform,,0.5,0.8,invented\n"
                                  "van,pack_mass,kg,uniform,,900,950,invented\n";

static int enter_scratch(void **state)
{
    if (scratch_enter(state) || mkdir("c", 0700))
        return 1;
    put("c/vehicles.csv", "vehicle,role\nvan,subject\nold_van,reference\n");
    put("c/inputs.csv", good_inputs);
    put("c/trips.csv", "trip,quantity,unit,shape,best,low,high\n"
                       "winter,cycle,,,udds,,\n"
                       "winter,air_temperature,degC,uniform,,-10,0\n"
                       "winter,accessory_power,kW,uniform,,2,4\n");
    return 0;
}

static packspan_status read_links(const char *rows, struct case_data *c)
{
    char *text =
        text_format("vehicle_a,quantity_a,vehicle_b,quantity_b,rank_correlation,source\n%s", rows);
    assert_non_null(text);
    put("c/links.csv", text);
    free(text);
    return case_data_read("c", c);
}

static void check_links(const char *rows, const char *messages)
{
    struct case_data c;
    packspan_status got = read_links(rows, &c);
    assert_problems(&c.problems, messages);
    assert_int_equal(got, c.problems.errors ? PACKSPAN_BAD_CASE : PACKSPAN_OK);
    case_data_free(&c);
}

static void links_join_inputs(void **state)
{
    (void)state;
    struct case_data c;
    assert_int_equal(read_links("van,cell_mass,van,cell_energy,0.6,same can\n"
                                "all,regen_efficiency,all,air_temperature.winter,0.3,cold cells\n"
                                "all,accessory_power.winter,all,air_temperature.winter,-.8,heat\n"
                                "old_van,cell_mass,van,cell_mass,0.25,same scale\n",
                                &c),
                     PACKSPAN_OK);
    assert_problems(&c.problems, "");
    assert_int_equal(c.link_count, 4);
    const struct link *link = &c.links[2];
    assert_int_equal(c.inputs[link->a].quantity, Q_accessory_power);
    assert_int_equal(c.inputs[link->a].trip, 0);
    assert_int_equal(c.inputs[link->b].quantity, Q_air_temperature);
    assert_true(link->rank_correlation == -0.8);
    assert_string_equal(link->source, "heat");
    assert_int_equal(link->line, 4);
    assert_int_equal(c.inputs[c.links[3].a].vehicle, 1);
    assert_string_equal(c.links_file, "c/links.csv");

    /* Trips before vehicles, then by the owner's and the quantity's name. */
    static const enum quantity_id first[] = {Q_accessory_power, Q_air_temperature,
                                             Q_regen_efficiency},
                                  second[] = {Q_cell_mass, Q_cell_energy, Q_cell_mass};
    assert_int_equal(c.copula.group_count, 2);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(c.inputs[c.copula.groups[0].members[i]].quantity, first[i]);
        assert_int_equal(c.inputs[c.copula.groups[1].members[i]].quantity, second[i]);
    }
    case_data_free(&c);
}

static void vehicles_and_quantities_are_known(void **state)
{
    (void)state;
    check_links("vann,cell_mass,van,cell_enrgy,0.6,x\n"
                ",cell_mass,van,,0.6,x\n"
                "van,trip_range,van,trip_range.winter,0.6,x\n"
                "all,air_temperature,all,cell_mass.winter,0.6,x\n"
                "all,air_temp.wintre,van,air_temperature.winter,0.6,x\n",
                "c/links.csv:2: column 'vehicle_a': unknown vehicle: 'vann'; did you mean 'van'?\n"
                "c/links.csv:2: column 'quantity_b': unknown quantity: 'cell_enrgy'; did you mean "
                "'cell_energy'?\n"
                "c/links.csv:3: column 'vehicle_a': is empty; every row needs it\n"
                "c/links.csv:3: column 'quantity_b': is empty; every row needs it\n"
                "c/links.csv:4: column 'quantity_a': is worked out for every trip and cannot be "
                "linked: 'trip_range'; link inputs that it is worked out from\n"
                "c/links.csv:4: column 'quantity_b': is worked out for every trip and cannot be "
                "linked: 'trip_range.winter'; link inputs that it is worked out from\n"
                "c/links.csv:5: column 'quantity_a': names no trip: 'air_temperature'; write "
                "air_temperature.TRIP with a trip of trips.csv\n"
                "c/links.csv:5: column 'quantity_b': is a vehicle's quantity, not a trip's: "
                "'cell_mass.winter'; write it without a trip\n"
                "c/links.csv:6: column 'quantity_a': unknown quantity: 'air_temp.wintre'; known: "
                "accessory_power, speed, payload_mass, air_temperature, elevation, "
                "trip_air_density, headwind, grade, reserve_fraction\n"
                "c/links.csv:6: column 'quantity_a': unknown trip: 'air_temp.wintre'; did you "
                "mean 'winter'?\n"
                "c/links.csv:6: column 'vehicle_b': a trip's condition is no vehicle's own: "
                "'van'; write all: every vehicle meets it\n");
}

static void a_link_needs_two_inputs(void **state)
{
    (void)state;
    check_links(
        "van,pack_specific_energy,van,regen_efficiency,0.6,x\n"
        "all,cell_mass,all,headwind.winter,0.6,x\n"
        "van,cell_mass,van,cell_count,0.6,x\n"
        "van,cell_mass,van,cell_mass,0.6,x\n",
        "c/links.csv:2: column 'quantity_a': is no input of this vehicle: 'pack_specific_energy'; "
        "a link joins two inputs: give it in inputs.csv, or remove this row\n"
        "c/links.csv:2: column 'quantity_b': is no input of this vehicle: 'regen_efficiency'; "
        "inputs.csv gives it for 'all' on line 6: name that vehicle\n"
        "c/links.csv:3: column 'quantity_a': is no input of this vehicle: 'cell_mass'; inputs.csv "
        "gives it for 'van' on line 3: name that vehicle\n"
        "c/links.csv:3: column 'quantity_b': is not given for this trip: 'headwind.winter'; a "
        "link joins two inputs: give it in trips.csv, or remove this row\n"
        "c/links.csv:4: column 'quantity_b': is the same in every sample: 'cell_count'; give it a "
        "shape with a spread (c/inputs.csv:2), or remove this row\n"
        "c/links.csv:5: column 'quantity_b': is linked to itself: 'cell_mass'; a link joins two "
        "inputs\n");
}

static void a_pair_is_linked_once(void **state)
{
    (void)state;
    check_links("van,cell_mass,van,cell_energy,0.6,x\n"
                "van,cell_energy,van,cell_mass,0.6,x\n"
                "van,cell_mass,van,cell_energy,0.6,x\n",
                "c/links.csv:3: column 'quantity_b': the pair is linked twice: 'cell_mass'; line 2 "
                "links it already: keep one of the two\n"
                "c/links.csv:4: column 'quantity_b': the pair is linked twice: 'cell_energy'; line "
                "2 links it already: keep one of the two\n");
}

#define RANGE "a rank correlation (Spearman) lies between -1 and 1, both excluded\n"

static void a_correlation_is_a_number_in_its_range(void **state)
{
    (void)state;
    check_links("van,cell_mass,van,cell_energy,1,x\n"
                "van,cell_mass,old_van,cell_mass,-1.2,x\n"
                "van,cell_mass,van,pack_mass,strong,x\n"
                "van,cell_energy,van,pack_mass,,x\n",
                "c/links.csv:2: column 'rank_correlation': is outside (-1, 1): '1'; " RANGE
                "c/links.csv:3: column 'rank_correlation': is outside (-1, 1): '-1.2'; " RANGE
                "c/links.csv:4: column 'rank_correlation': is not a number: 'strong'; write a "
                "finite decimal number such as 3.25\n"
                "c/links.csv:5: column 'rank_correlation': is empty; every row needs it\n");
}

static void a_link_without_a_source_is_doubted(void **state)
{
    (void)state;
    check_links("van,cell_mass,van,cell_energy,0.6,\n",
                "c/links.csv:2: warning: has no source; write in source what document, how it "
                "was read and how sure it is\n");
    put("c/links.csv", "vehicle_a,quantity_a,vehicle_b,quantity_b,source\n"
                       "van,cell_mass,van,cell_energy,judgement\n");
    struct case_data c;
    assert_int_equal(case_data_read("c", &c), PACKSPAN_BAD_CASE);
    assert_problems(&c.problems,
                    "c/links.csv:1: column 'rank_correlation': missing from the header; the table "
                    "needs this column\n");
    case_data_free(&c);
}

/* The offers are those of copula_nearest(), which has its own tests; here they are tried. */
static void an_impossible_set_is_told_row_by_row(void **state)
{
    (void)state;
    check_links("van,cell_mass,van,cell_energy,0.9,x\n"
                "van,cell_energy,van,pack_mass,0.9,x\n"
                "all,regen_efficiency,all,air_temperature.winter,0.9,x\n"
                "van,cell_mass,van,pack_mass,-0.5,x\n",
                "c/links.csv:2: column 'rank_correlation': is not possible together with lines 3 "
                "and 5: '0.9'; the nearest possible set has 0.587 here\n"
                "c/links.csv:3: column 'rank_correlation': is not possible together with lines 2 "
                "and 5: '0.9'; the nearest possible set has 0.587 here\n"
                "c/links.csv:5: column 'rank_correlation': is not possible together with lines 2 "
                "and 3: '-0.5'; the nearest possible set has -0.256 here\n");
    check_links("van,cell_mass,van,cell_energy,0.587,x\n"
                "van,cell_energy,van,pack_mass,0.587,x\n"
                "van,cell_mass,van,pack_mass,-0.256,x\n",
                "");
    check_links("van,cell_mass,van,cell_energy,0.9,x\n"
                "van,cell_energy,van,pack_mass,0.9,x\n",
                "c/links.csv:2: column 'rank_correlation': is not possible together with line 3: "
                "'0.9'; the nearest possible set has 0.689 here, and 0 for each pair without a "
                "row\n"
                "c/links.csv:3: column 'rank_correlation': is not possible together with line 2: "
                "'0.9'; the nearest possible set has 0.689 here, and 0 for each pair without a "
                "row\n");
    check_links("van,cell_mass,van,cell_energy,0.689,x\n"
                "van,cell_energy,van,pack_mass,0.689,x\n",
                "");
}

static void gaps_among_the_links_are_not_held_against_them(void **state)
{
    (void)state;
    check_links(
        "van,cell_mass,van,cell_energy,0.9,x\n"
        "van,cell_energy,van,pack_mass,0.9,x\n"
        "van,cell_mass,van,pack_mass,0,9,x\n",
        "c/links.csv:4: 7 fields, but the header names 6: 'x'; put a field that holds a ',' "
        "between quotes, and write decimals with a point\n");
}

static void an_input_that_could_not_be_read_is_not_missed(void **state)
{
    (void)state;
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best,low,high,source\n"
                        "van,cell_mass,kg,uniform,,1,2,invented\n"
                        "van,cell_enrgy,kWh,uniform,,0.3,0.4,invented\n");
    check_links("van,cell_mass,van,cell_energy,0.6,x\n",
                "c/inputs.csv:3: column 'quantity': unknown quantity: 'cell_enrgy'; did you mean "
                "'cell_energy'?\n");
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best,low,high,source\n"
                        "van,cell_mass,kg,uniform,,1,2,invented\n"
                        "van,cell_energy,kWh,uniform,,0.4,0.3,invented\n");
    check_links("van,cell_mass,van,cell_energy,2,x\n",
                "c/inputs.csv:3: column 'low': is not below high (0.3): '0.4'; correct one of "
                "the two; a known value has shape fixed\n"
                "c/links.csv:2: column 'rank_correlation': is outside (-1, 1): '2'; " RANGE);
}

#define IN_SCRATCH(test) cmocka_unit_test_setup_teardown(test, enter_scratch, scratch_leave)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(links_join_inputs),
        IN_SCRATCH(vehicles_and_quantities_are_known),
        IN_SCRATCH(a_link_needs_two_inputs),
        IN_SCRATCH(a_pair_is_linked_once),
        IN_SCRATCH(a_correlation_is_a_number_in_its_range),
        IN_SCRATCH(a_link_without_a_source_is_doubted),
        IN_SCRATCH(an_impossible_set_is_told_row_by_row),
        IN_SCRATCH(gaps_among_the_links_are_not_held_against_them),
        IN_SCRATCH(an_input_that_could_not_be_read_is_not_missed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
