#include "unit/case/case_tables.h"

#define NUMBER "; write a finite decimal number such as 3.25\n"
#define FORMS "; give value and sd (a reading), or low and high (a rounded figure)\n"
#define SD_RULE "; sd is the standard deviation of the reading\n"

static const char header[] = "vehicle,quantity,unit,value,sd,low,high,source";

static void check_evidence(const char *rows, const char *messages)
{
    put_good_tables();
    put("c/trips.csv", "trip,quantity,best\nwinter,cycle,udds\n");
    check_table("c/evidence.csv", header, rows, messages);
}

/* ---- what is right ---- */

static void readings_and_intervals_keep_their_unit(void **state)
{
    (void)state;
    put_good_tables();
    put("c/trips.csv", "trip,quantity,best\nwinter,cycle,udds\n");
    put_rows("c/evidence.csv", header,
             "van,usable_fraction,%,94,0.5,,,a gauge\n"
             "old_van,curb_mass,lb,,,5000,5001,\"a scale, rounded\"\n"
             "van,trip_range.winter,mi,170,4,,,a drive\n"
             "van,cell_count,,224,1,,,a count\n");
    struct case_data c;
    read_good("c", &c);
    assert_string_equal(c.evidence_file, "c/evidence.csv");
    assert_int_equal(c.observation_count, 4);
    /* by vehicle's name, then in the order of the quantities */
    const struct observation *mass = &c.observations[0], *count = &c.observations[1];
    const struct observation *fraction = &c.observations[2], *range = &c.observations[3];

    assert_int_equal(mass->vehicle, 1);
    assert_int_equal(mass->quantity, Q_curb_mass);
    assert_int_equal(mass->trip, TRIP_NONE);
    assert_int_equal(mass->line, 3);
    assert_true(mass->is_interval);
    assert_string_equal(mass->unit, "lb");
    assert_string_equal(mass->source, "a scale, rounded");
    assert_true(isnan(mass->value) && isnan(mass->sd));
    assert_close(mass->low, 5000, 0, 0);
    assert_close(mass->high, 5001, 0, 0);
    assert_close(mass->to_si.scale, 0.45359237, 1e-12, 0); /* NIST SP 811 B.8 */

    assert_int_equal(count->quantity, Q_cell_count);
    assert_string_equal(count->unit, "1");

    assert_int_equal(fraction->quantity, Q_usable_fraction);
    assert_false(fraction->is_interval);
    assert_true(isnan(fraction->low) && isnan(fraction->high));
    assert_close(fraction->value, 94, 0, 0);
    assert_close(fraction->sd, 0.5, 0, 0);
    assert_close(fraction->to_si.scale, 0.01, 1e-12, 0);

    assert_int_equal(range->quantity, Q_trip_range);
    assert_int_equal(range->trip, 0);
    case_data_free(&c);
}

static void the_order_of_rows_is_not_kept(void **state)
{
    (void)state;
    static const char *const rows[] = {
        "van,curb_mass,kg,2000,5,,,a\n", "van,curb_mass,kg,2000,4,,,b\n",
        "van,curb_mass,lb,2000,5,,,c\n", "van,curb_mass,kg,,,1990,2010,d\n",
        "van,curb_mass,kg,2000,5,,,e\n", "van,curb_mass,kg,,,1990,2020,f\n"};
    enum { ROWS = sizeof rows / sizeof rows[0] };
    char first[ROWS + 1] = "", got[ROWS + 1] = "";
    for (size_t turn = 0; turn < ROWS; turn++) {
        char text[512] = "";
        for (size_t i = 0; i < ROWS; i++)
            strcat(text, rows[(turn + i) % ROWS]);
        put_good_tables();
        put_rows("c/evidence.csv", header, text);
        struct case_data c;
        assert_int_equal(case_data_read("c", &c), PACKSPAN_OK); /* the pounds are warned about */
        for (size_t i = 0; i < ROWS; i++)
            got[i] = c.observations[i].source[0];
        case_data_free(&c);
        if (turn == 0)
            strcpy(first, got);
        assert_string_equal(got, first);
    }
}

static void a_table_without_rows_is_no_evidence(void **state)
{
    (void)state;
    put_good_tables();
    put_rows("c/evidence.csv", header, "");
    struct case_data c;
    read_good("c", &c);
    assert_int_equal(c.observation_count, 0);
    case_data_free(&c);
}

/* 10 kg apart with standard deviations of 3 and 4: two combined ones of 5, as in 5^2 = 3^2 + 4^2;
 * 20 kg apart: four. An interval counts as a uniform distribution, sd = width/sqrt(12) (JCGM
 * 101:2008 6.4.2.4): 1990 to 2010 and 2070 to 2090 kg are 80/sqrt(2 * 400/12) = 9.798 apart. */
static void observations_that_contradict_one_another_are_told(void **state)
{
    (void)state;
#define RIGHT                                                                                      \
    ": 'curb_mass'; each is taken as right: check which of the two is, and whether its sd is "     \
    "too small\n"
    check_evidence("van,curb_mass,kg,2000,3,,,s\nvan,curb_mass,kg,2010,4,,,s\n"
                   "old_van,curb_mass,kg,3000,1,,,s\n",
                   "");
    check_evidence(
        "van,curb_mass,kg,2020,4,,,s\nvan,curb_mass,kg,2000,3,,,s\n",
        "c/evidence.csv:3: column 'quantity': warning: is 4 combined standard deviations "
        "away from the observation on line 2" RIGHT);
    check_evidence("van,curb_mass,kg,,,1990,2010,s\nvan,curb_mass,kg,,,2070,2090,s\n",
                   "c/evidence.csv:3: column 'quantity': warning: is 9.8 combined standard "
                   "deviations away from the observation on line 2" RIGHT);
#undef RIGHT
}

/* ---- what is wrong ---- */

static void an_observation_is_a_reading_or_an_interval(void **state)
{
    (void)state;
    check_evidence("van,curb_mass,kg,2000,5,1990,2010,s\nvan,curb_mass,kg,2000,5,,2010,s\n"
                   "van,curb_mass,kg,2000,,1990,,s\nvan,curb_mass,kg,2000,,,,s\n"
                   "van,curb_mass,kg,,5,,,s\nvan,curb_mass,kg,,,1990,,s\n"
                   "van,curb_mass,kg,,,,2010,s\nvan,curb_mass,kg,,,,,s\n",
                   "c/evidence.csv:2: column 'low': stands beside value or sd: '1990'" FORMS
                   "c/evidence.csv:3: column 'high': stands beside value or sd: '2010'" FORMS
                   "c/evidence.csv:4: column 'low': stands beside value or sd: '1990'" FORMS
                   "c/evidence.csv:5: column 'sd': is empty" FORMS
                   "c/evidence.csv:6: column 'value': is empty" FORMS
                   "c/evidence.csv:7: column 'high': is empty" FORMS
                   "c/evidence.csv:8: column 'low': is empty" FORMS
                   "c/evidence.csv:9: column 'value': is empty" FORMS);
}

static void its_numbers_make_sense(void **state)
{
    (void)state;
    check_evidence("van,curb_mass,kg,2000,0,,,s\nvan,curb_mass,kg,2000,-5,,,s\n"
                   "van,curb_mass,kg,,,2010,1990,s\nvan,curb_mass,kg,,,2000,2000.0,s\n"
                   "van,curb_mass,kg,two,nan,,,s\nvan,curb_mass,kg,,,1e999,x,s\n",
                   "c/evidence.csv:2: column 'sd': is not above 0: '0'" SD_RULE
                   "c/evidence.csv:3: column 'sd': is not above 0: '-5'" SD_RULE
                   "c/evidence.csv:4: column 'low': is not below high: '2010'; correct one of the "
                   "two, or give value and sd\n"
                   "c/evidence.csv:5: column 'low': is not below high: '2000'; correct one of the "
                   "two, or give value and sd\n"
                   "c/evidence.csv:6: column 'value': is not a number: 'two'" NUMBER
                   "c/evidence.csv:6: column 'sd': is not a number: 'nan'" NUMBER
                   "c/evidence.csv:7: column 'low': is not a number: '1e999'" NUMBER
                   "c/evidence.csv:7: column 'high': is not a number: 'x'" NUMBER);
}

static void it_is_of_one_vehicle(void **state)
{
    (void)state;
    check_evidence(
        "all,curb_mass,kg,2000,5,,,s\nvann,curb_mass,kg,2000,5,,,s\n,curb_mass,kg,2000,5,,,s\n",
        "c/evidence.csv:2: column 'vehicle': unknown vehicle: 'all'; known: van, old_van\n"
        "c/evidence.csv:3: column 'vehicle': unknown vehicle: 'vann'; did you mean 'van'?\n"
        "c/evidence.csv:4: column 'vehicle': is empty; every row needs it\n");
}

static void it_is_of_a_quantity_with_a_unit(void **state)
{
    (void)state;
    check_evidence(
        "van,crub_mass,kg,2000,5,,,s\nvan,colour,kg,2000,5,,,s\nvan,,kg,2000,5,,,s\n"
        "van,headwind,m/s,2,1,,,s\nvan,trip_range,km,300,5,,,s\n"
        "van,trip_range.sumer,km,300,5,,,s\nvan,trip_rage.winter,km,300,5,,,s\n"
        "van,curb_mass,km,2000,5,,,s\nvan,curb_mass,kgg,2000,5,,,s\nvan,curb_mass,,2000,5,,,s\n",
        "c/evidence.csv:2: column 'quantity': unknown quantity: 'crub_mass'; did you mean "
        "'curb_mass'?\n"
        "c/evidence.csv:3: column 'quantity': unknown quantity: 'colour'; packspan quantities "
        "lists the names\n"
        "c/evidence.csv:4: column 'quantity': is empty; every row needs it\n"
        "c/evidence.csv:5: column 'quantity': is a condition of a trip, not a vehicle's quantity: "
        "'headwind'; of a trip there are trip_range.TRIP and trip_consumption.TRIP\n"
        "c/evidence.csv:6: column 'quantity': names no trip: 'trip_range'; write trip_range.TRIP "
        "with a trip of trips.csv\n"
        "c/evidence.csv:7: column 'quantity': unknown trip: 'trip_range.sumer'; known: winter\n"
        "c/evidence.csv:8: column 'quantity': is not worked out for a trip: 'trip_rage.winter'; "
        "did you mean 'trip_range'?\n"
        "c/evidence.csv:9: column 'unit': is a unit of another kind: 'km'; units of curb_mass: "
        "kg, lb\n"
        "c/evidence.csv:10: column 'unit': unknown unit: 'kgg'; units of curb_mass: kg, lb\n"
        "c/evidence.csv:11: column 'unit': is empty; units of curb_mass: kg, lb\n");
}

static void an_observation_without_a_source_is_doubted(void **state)
{
    (void)state;
    check_evidence("van,cell_count,1,224,1,,,\n",
                   "c/evidence.csv:2: warning: has no source; write in source what document, how "
                   "it was read and how sure it is\n");
}

/* The problems of a case that cannot be opened, as one text. */
static void check_opened(const char *messages)
{
    packspan_case *c = NULL;
    assert_int_equal(packspan_case_open("c", &c), PACKSPAN_BAD_CASE);
    char *all = text_copy("");
    for (size_t i = 0; i < packspan_case_problem_count(c); i++) {
        if (!packspan_case_problem_is_error(c, i))
            continue;
        char *longer = text_format("%s%s\n", all, packspan_case_problem(c, i));
        free(all);
        all = longer;
    }
    assert_string_equal(all, messages);
    free(all);
    packspan_case_free(c);
}

static void what_cannot_be_worked_out_cannot_be_observed(void **state)
{
    (void)state;
    put_good_tables();
    put_rows("c/evidence.csv", header,
             "van,cell_count,1,224,1,,,s\nvan,curb_mass,kg,2000,5,,,s\n"
             "old_van,stated_range,km,300,5,,,s\n");
    check_opened("c/evidence.csv:3: column 'quantity': cannot be worked out for this vehicle: "
                 "'curb_mass'; needs glider_mass, pack_mass\n"
                 "c/evidence.csv:4: column 'quantity': cannot be worked out for this vehicle: "
                 "'stated_range'; give it in inputs.csv\n");
}

static void a_damaged_table_is_told(void **state)
{
    (void)state;
    put_good_tables();
    put("c/evidence.csv", "");
    check_case(PACKSPAN_BAD_CASE, "c/evidence.csv: the file is empty; the first row names the "
                                  "columns: vehicle,quantity,unit,value,sd,low,high,source\n");
    put("c/evidence.csv", "vehicle,quantity,unit\nvan,\001,kg\n");
    check_case(PACKSPAN_BAD_CASE,
               "c/evidence.csv:2: not a text file: byte 0x01 at byte offset 26; save the table as "
               "CSV text in UTF-8\n");
    put("c/evidence.csv", "vehicle,quantity,unit,vlaue,sd,sorce\nvan,curb_mass,kg,2000,5,s\n");
    check_case(PACKSPAN_BAD_CASE, "c/evidence.csv:1: unknown column: 'vlaue'; did you mean "
                                  "'value'?\n"
                                  "c/evidence.csv:1: unknown column: 'sorce'; did you mean "
                                  "'source'?\n");
    assert_int_equal(remove("c/evidence.csv"), 0);
    assert_int_equal(mkdir("c/evidence.csv", 0700), 0);
    check_case(PACKSPAN_IO, "c/evidence.csv: is a folder; a CSV table is needed here\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(readings_and_intervals_keep_their_unit),
        IN_SCRATCH(the_order_of_rows_is_not_kept),
        IN_SCRATCH(a_table_without_rows_is_no_evidence),
        IN_SCRATCH(observations_that_contradict_one_another_are_told),
        IN_SCRATCH(an_observation_is_a_reading_or_an_interval),
        IN_SCRATCH(its_numbers_make_sense),
        IN_SCRATCH(it_is_of_one_vehicle),
        IN_SCRATCH(it_is_of_a_quantity_with_a_unit),
        IN_SCRATCH(an_observation_without_a_source_is_doubted),
        IN_SCRATCH(what_cannot_be_worked_out_cannot_be_observed),
        IN_SCRATCH(a_damaged_table_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
