#include "unit/case/case_tables.h"

#define MPH 0.44704 /* m/s, NIST SP 811 B.8 */

/* ---- helpers ---- */

static void check_vehicles(const char *rows, const char *messages)
{
    put_good_tables();
    check_table("c/vehicles.csv", "vehicle,role,title", rows, messages);
}

static void check_inputs(const char *rows, const char *messages)
{
    put_good_tables();
    check_table("c/inputs.csv",
                "vehicle,quantity,unit,shape,best,low,high,cover,sd,dof,file,source", rows,
                messages);
}

static void check_trips(const char *rows, const char *messages)
{
    put_good_tables();
    check_table("c/trips.csv", "trip,quantity,unit,shape,best,low,high,cover,sd,source", rows,
                messages);
}

static void check_claims(const char *rows, const char *messages)
{
    put_good_tables();
    put("c/trips.csv", "trip,quantity,best\nwinter,cycle,udds\n");
    check_table("c/claims.csv", "claim,vehicle,quantity,unit,sense,value,tolerance,source", rows,
                messages);
}

static void check_settings(const char *rows, const char *messages)
{
    put_good_tables();
    check_table("c/settings.csv", "setting,value", rows, messages);
}

/* ---- what is right ---- */

static const struct input *find_input(const struct case_data *c, size_t vehicle, size_t trip,
                                      enum quantity_id quantity)
{
    for (size_t i = 0; i < c->input_count; i++)
        if (c->inputs[i].vehicle == vehicle && c->inputs[i].trip == trip &&
            c->inputs[i].quantity == quantity)
            return &c->inputs[i];
    fail_msg("no input for %s", quantities[quantity].name);
    return NULL;
}

/* Median in SI. */
static double median(const struct input *in)
{
    double u = 0.5;
    assert_non_null(in->shape);
    shape_quantiles(in->shape, 1, &u, &u);
    return in->to_si.scale * u + in->to_si.offset;
}

static void every_table_is_taken_in(void **state)
{
    (void)state;
    struct case_data c;
    read_good(TEST_DATA "/cases/everything/", &c);
    assert_string_equal(c.folder, TEST_DATA "/cases/everything");
    assert_string_equal(c.name, "everything");
    assert_string_equal(c.inputs_file, TEST_DATA "/cases/everything/inputs.csv");
    assert_string_equal(c.trips_file, TEST_DATA "/cases/everything/trips.csv");
    assert_string_equal(c.claims_file, TEST_DATA "/cases/everything/claims.csv");

    assert_int_equal(c.vehicle_count, 2);
    assert_int_equal(c.subject, 0);
    assert_string_equal(c.vehicles[0].name, "van-2");
    assert_string_equal(c.vehicles[0].title, "Teal, the \"new\" one");
    assert_true(c.vehicles[0].is_subject);
    assert_int_equal(c.vehicles[0].line, 4);
    assert_string_equal(c.vehicles[1].name, "old_van");
    assert_string_equal(c.vehicles[1].title, "");
    assert_false(c.vehicles[1].is_subject);

    assert_int_equal(c.settings.samples, 200000);
    assert_int_equal(c.settings.seed, 7);
    assert_true(c.settings.us_units);
    case_data_free(&c);
}

static void inputs_keep_their_row_and_convert_to_si(void **state)
{
    (void)state;
    struct case_data c;
    read_good(TEST_DATA "/cases/everything", &c);
    assert_int_equal(c.input_count, 16 + 3);
    bool seen[SHAPE_COUNT] = {false};
    for (size_t i = 0; i < c.input_count; i++) {
        const struct input *in = &c.inputs[i];
        seen[in->given.kind] = true;
        assert_null(in->given.values);
        assert_null(in->given.weights);
        assert_string_equal(in->source, "invented");
        assert_ptr_equal(in->file, in->trip == TRIP_NONE ? c.inputs_file : c.trips_file);
    }
    for (size_t kind = 0; kind < SHAPE_COUNT; kind++)
        assert_true(seen[kind]);

    const struct input *in = find_input(&c, 0, TRIP_NONE, Q_cell_voltage);
    assert_string_equal(in->unit, "mV");
    assert_int_equal(in->line, 5);
    assert_close(in->given.field[SHAPE_LOW], 3200, 0, 0);
    assert_true(isnan(in->given.field[SHAPE_SD]));
    assert_close(median(in), 3.215, 1e-12, 0);

    in = find_input(&c, 0, TRIP_NONE, Q_overhead_fraction);
    assert_string_equal(in->unit, "1");
    assert_close(median(in), 0.385, 1e-4, 0);
    /* The reading of weight 3 among 1, 3 and 0; g. */
    assert_close(median(find_input(&c, 0, TRIP_NONE, Q_cell_mass)), 2.72, 1e-12, 0);
    assert_close(median(find_input(&c, 0, TRIP_NONE, Q_usable_fraction)), 0.943, 1e-9, 0);
    assert_close(median(find_input(&c, 0, TRIP_NONE, Q_stated_recharge_energy)), 102.8 * 3.6e6,
                 1e-9, 0);
    assert_close(median(find_input(&c, 1, TRIP_NONE, Q_usable_energy_by_count)), 252e6, 1e-12, 0);
    assert_close(median(find_input(&c, 0, TRIP_NONE, Q_regen_efficiency)), 0.65, 1e-12, 0);
    assert_close(median(find_input(&c, VEHICLE_ALL, TRIP_NONE, Q_regen_efficiency)), 0.7, 1e-12, 0);
    case_data_free(&c);
}

static void trips_and_their_cycles_are_tied_together(void **state)
{
    (void)state;
    struct case_data c;
    read_good(TEST_DATA "/cases/everything", &c);
    static const struct {
        const char *trip, *cycle, *source;
        long line;
    } rows[] = {{"winter", "rounds", "the loop", 2},
                {"highway", NULL, "cruise control", 4},
                {"world", "wltc3b", "invented", 7},
                {"town", "udds", "invented", 8}};
    assert_int_equal(c.trip_count, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_string_equal(c.trips[i].name, rows[i].trip);
        assert_string_equal(c.trips[i].source, rows[i].source);
        assert_int_equal(c.trips[i].line, rows[i].line);
        assert_int_equal(c.trips[i].steady, rows[i].cycle == NULL);
        if (rows[i].cycle)
            assert_string_equal(c.cycles[c.trips[i].cycle].name, rows[i].cycle);
        else
            assert_int_equal(c.trips[i].cycle, SIZE_MAX);
    }
    /* The spare one is checked, but no trip names it. */
    assert_int_equal(c.cycle_count, 4);
    assert_string_equal(c.cycles[0].name, "udds");
    assert_string_equal(c.cycles[1].name, "hwfet");
    assert_null(c.cycles[0].file);
    assert_null(c.cycles[c.trips[2].cycle].file);
    const struct cycle *rounds = &c.cycles[c.trips[0].cycle];
    assert_string_equal(rounds->file, TEST_DATA "/cases/everything/cycle_rounds.csv");
    assert_int_equal(rounds->points, 3);
    assert_close(rounds->time[1], 2.5, 0, 0);
    assert_close(rounds->speed[1], 10, 1e-15, 0);

    assert_close(median(find_input(&c, VEHICLE_ALL, 0, Q_air_temperature)), 269.15, 1e-12, 0);
    assert_close(median(find_input(&c, VEHICLE_ALL, 0, Q_accessory_power)), 3500, 1e-12, 0);
    assert_close(median(find_input(&c, VEHICLE_ALL, 1, Q_speed)), 30, 1e-12, 0);
    case_data_free(&c);
}

static void claims_keep_their_unit(void **state)
{
    (void)state;
    struct case_data c;
    read_good(TEST_DATA "/cases/everything", &c);
    static const struct {
        const char *name, *unit;
        size_t vehicle, trip;
        enum quantity_id quantity;
        enum claim_sense sense;
        double value, tolerance, value_si;
    } rows[] = {
        {"sticker", "mi", 0, TRIP_NONE, Q_label_range, CLAIM_IS, 191, 0.5, 191 * 1609.344},
        {"usable", "kWh", 1, TRIP_NONE, Q_usable_energy, CLAIM_AT_LEAST, 70, 0, 252e6},
        {"winter range", "km", 0, 0, Q_trip_range, CLAIM_AT_LEAST, 250, 0, 250e3},
        {"town consumption", "kWh/100km", 0, 3, Q_trip_consumption, CLAIM_AT_MOST, 31, 1, 1116},
    };
    assert_int_equal(c.claim_count, 4);
    for (size_t i = 0; i < 4; i++) {
        const struct claim *claim = &c.claims[i];
        assert_string_equal(claim->name, rows[i].name);
        assert_string_equal(claim->unit, rows[i].unit);
        assert_string_equal(claim->source, "invented");
        assert_int_equal(claim->vehicle, rows[i].vehicle);
        assert_int_equal(claim->trip, rows[i].trip);
        assert_int_equal(claim->quantity, rows[i].quantity);
        assert_int_equal(claim->sense, rows[i].sense);
        assert_int_equal(claim->line, i + 2);
        assert_close(claim->value, rows[i].value, 0, 0);
        assert_close(claim->tolerance, rows[i].tolerance, 0, 0);
        assert_close(claim->to_si.scale * claim->value, rows[i].value_si, 1e-12, 0);
        assert_close(claim->to_si.offset, 0, 0, 0);
    }
    case_data_free(&c);
}

static void semicolons_and_tabs_bring_decimal_commas(void **state)
{
    (void)state;
    struct case_data c;
    read_good(TEST_DATA "/cases/semicolons", &c);
    assert_string_equal(c.vehicles[0].title, "with a ; in it");
    assert_int_equal(c.input_count, 2);
    assert_close(median(&c.inputs[0]), 3.215, 1e-15, 0);
    assert_int_equal(c.inputs[0].line, 4);
    assert_close(median(&c.inputs[1]), 82 * 3.6e6, 1e-12, 0);
    assert_close(c.claims[0].value, 82.1, 0, 0);
    assert_close(c.claims[0].tolerance, 0.05, 0, 0);
    assert_close(c.cycles[c.trips[0].cycle].time[1], 1.5, 0, 0);
    assert_close(c.cycles[c.trips[0].cycle].speed[1], 10.5 * MPH, 1e-15, 0);
    case_data_free(&c);

    read_good(TEST_DATA "/cases/tabs", &c);
    assert_close(median(&c.inputs[0]), 82.5 * 3.6e6, 1e-12, 0);
    assert_close(c.inputs[0].given.field[SHAPE_SD], 1.5, 0, 0);
    assert_int_equal(c.trip_count, 0);
    assert_int_equal(c.claim_count, 0);
    assert_int_equal(c.cycle_count, 2);
    case_data_free(&c);
}

static void the_case_has_the_name_of_its_folder(void **state)
{
    put_good_tables();
    assert_int_equal(mkdir("c/sub", 0700), 0);
    static const struct {
        const char *enter, *folder, *shown;
    } rows[] = {{".", "c", "c"},  {".", "./c/", "./c"},  {".", "c///", "c"},       {"c", ".", "."},
                {"c", "./", "."}, {"c/sub", "..", ".."}, {"c", "sub/..", "sub/.."}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct case_data c;
        assert_int_equal(chdir(rows[i].enter), 0);
        read_good(rows[i].folder, &c);
        assert_string_equal(c.name, "c");
        assert_string_equal(c.folder, rows[i].shown);
        case_data_free(&c);
        assert_int_equal(chdir(*state), 0);
    }
}

/* ---- the folder ---- */

static void check_folder(const char *folder, packspan_status status, const char *messages)
{
    struct case_data c;
    assert_int_equal(case_data_read(folder, &c), status);
    assert_problems(&c.problems, messages);
    case_data_free(&c);
}

static void a_case_is_a_folder(void **state)
{
    (void)state;
    check_folder("nowhere/", PACKSPAN_MISSING,
                 "nowhere: no such folder; a case is a folder with the tables vehicles.csv and "
                 "inputs.csv\n");
    put("file", "x");
    check_folder("file", PACKSPAN_BAD_CASE,
                 "file: is not a folder; a case is a folder with the tables vehicles.csv and "
                 "inputs.csv\n");
    if (geteuid() == 0)
        return; /* root may read any folder */
    assert_int_equal(mkdir("locked", 0), 0);
    check_folder("locked", PACKSPAN_IO, "locked: cannot be read: 'Permission denied'\n");
}

static void both_needed_tables_are_missed_at_once(void **state)
{
    (void)state;
    check_case(PACKSPAN_MISSING, "c/inputs.csv: no such file; a case says here what is known: "
                                 "vehicle,quantity,unit,shape,...\n"
                                 "c/vehicles.csv: no such file; a case names its vehicles here: "
                                 "vehicle,role,title\n");
}

static void tables_that_cannot_be_read_are_told(void **state)
{
    (void)state;
    put("c/vehicles.csv", "");
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best\nvan,cell_count,1,fixed,\x01\n");
    assert_int_equal(mkdir("c/claims.csv", 0700), 0);
    check_case(PACKSPAN_IO, "c/claims.csv: is a folder; a CSV table is needed here\n"
                            "c/inputs.csv:2: not a text file: byte 0x01 at byte offset 56; save "
                            "the table as CSV text in UTF-8\n"
                            "c/vehicles.csv: the file is empty; the first row names the columns: "
                            "vehicle,role,title\n");
}

static void a_missing_table_of_units_is_told(void **state)
{
    (void)state;
    put_good_tables();
    assert_int_equal(setenv("UDUNITS2_XML_PATH", "/nowhere/udunits2.xml", 1), 0);
    struct case_data c;
    packspan_status got = case_data_read("c", &c);
    unsetenv("UDUNITS2_XML_PATH");
    assert_int_equal(got, PACKSPAN_MISSING);
    assert_problems(&c.problems, "udunits2.xml: the table of units cannot be read; install "
                                 "UDUNITS-2, or correct UDUNITS2_XML_PATH if it is set\n");
    case_data_free(&c);
}

static void axes_and_points_exclude_each_other(void **state)
{
    (void)state;
    put_good_tables();
    put("c/study.csv", "axis,vehicle,quantity,field,unit,values\n"
                       "cells,van,cell_count,value,1,208;224\n");
    check_case(PACKSPAN_OK, "");
    put("c/points.csv", "van.cell_count\n208\n");
    check_case(PACKSPAN_BAD_CASE, "c/points.csv: stands beside study.csv; a case has either axes "
                                  "or points: keep one of the two tables\n");
}

static void other_tables_are_doubted(void **state)
{
    (void)state;
    put_good_tables();
    put("c/trip.csv", "x\n");
    put("c/Claims.CSV", "x\n");
    put("c/measurements.csv", "x\n");
    put("c/.hidden.csv", "x\n");
    put("c/notes.txt", "x\n");
    check_case(PACKSPAN_OK,
               "c/Claims.CSV: warning: is not a table of a case; did you mean 'claims.csv'?\n"
               "c/measurements.csv: warning: is not a table of a case; packspan reads "
               "vehicles.csv, inputs.csv, trips.csv, claims.csv, evidence.csv, candidates.csv, "
               "links.csv, study.csv, points.csv, settings.csv and cycle_NAME.csv\n"
               "c/trip.csv: warning: is not a table of a case; did you mean 'trips.csv'?\n");
}

static void one_pass_tells_of_every_table(void **state)
{
    (void)state;
    put("c/vehicles.csv", "vehicle,role\nvan,subjct\n");
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best,source\n"
                        "vna,cell_cont,1,fxed,many,x\n");
    put("c/trips.csv", "trip,quantity,unit,shape,best\nwinter,cycle,,,udsd\n");
    put("c/claims.csv", "claim,vehicle,quantity,unit,sense,value\na,vann,label_rnge,mi,iss,x\n");
    put("c/settings.csv", "setting,value\nsample,1\n");
    put("c/cycle_loop.csv", "time_s,speed_mph\n0,1\n0,x\n");
    put("c/points.csv", "x\n");
    check_case(PACKSPAN_BAD_CASE,
               "c/claims.csv:2: column 'vehicle': unknown vehicle: 'vann'; did you mean 'van'?\n"
               "c/claims.csv:2: column 'quantity': unknown quantity: 'label_rnge'; did you mean "
               "'label_range'?\n"
               "c/claims.csv:2: column 'sense': unknown sense: 'iss'; did you mean 'is'?\n"
               "c/claims.csv:2: column 'value': is not a number: 'x'; write a finite decimal "
               "number such as 3.25\n"
               "c/cycle_loop.csv:3: column 'time_s': is not after the row before (0 s): '0'; "
               "times rise from row to row\n"
               "c/cycle_loop.csv:3: column 'speed_mph': is not a number: 'x'; write a finite "
               "decimal number such as 3.25\n"
               "c/inputs.csv:2: column 'vehicle': unknown vehicle: 'vna'; did you mean 'van'?\n"
               "c/inputs.csv:2: column 'quantity': unknown quantity: 'cell_cont'; did you mean "
               "'cell_count'?\n"
               "c/inputs.csv:2: column 'shape': unknown shape: 'fxed'; did you mean 'fixed'?\n"
               "c/inputs.csv:2: column 'best': is not a number: 'many'; write a finite decimal "
               "number such as 3.25\n"
               "c/points.csv: no points; write one row for each point\n"
               "c/points.csv:1: column 'x': is no column of points.csv; a column is named "
               "VEHICLE.QUANTITY (UNIT), or point\n"
               "c/settings.csv:2: column 'setting': unknown setting: 'sample'; did you mean "
               "'samples'?\n"
               "c/trips.csv:2: column 'best': unknown cycle: 'udsd'; did you mean 'udds'?\n"
               "c/vehicles.csv:2: column 'role': unknown role: 'subjct'; did you mean "
               "'subject'?\n");
}

/* A header that is wrong is told once, not again for every row. */
static void lost_columns_are_told_once(void **state)
{
    (void)state;
    put("c/vehicles.csv", "vehicel,role\nvan,subject\n");
    put("c/inputs.csv", "vehicle,quantity,units,shape,best,sorce\nvan,cell_count,1,fixed,x,x\n");
    put("c/trips.csv", "trip,what,best\nwinter,cycle,udds\n");
    put("c/claims.csv", "claim,vehicle,quantity,unit,sense\na,van,label_range,mi,is\n");
    put("c/settings.csv", "setting,valu\nsamples,1000\n");
    check_case(PACKSPAN_BAD_CASE,
               "c/claims.csv:1: column 'value': missing from the header; the table needs this "
               "column\n"
               "c/inputs.csv:1: unknown column: 'units'; did you mean 'unit'?\n"
               "c/inputs.csv:1: unknown column: 'sorce'; did you mean 'source'?\n"
               "c/inputs.csv:1: column 'unit': missing from the header; the table needs this "
               "column\n"
               "c/inputs.csv:2: column 'best': is not a number: 'x'; write a finite decimal number "
               "such as 3.25\n"
               "c/settings.csv:1: unknown column: 'valu'; did you mean 'value'?\n"
               "c/settings.csv:1: column 'value': missing from the header; the table needs this "
               "column\n"
               "c/trips.csv:1: unknown column: 'what'; known columns: "
               "trip,quantity,unit,shape,best,low,high,cover,sd,source\n"
               "c/trips.csv:1: column 'quantity': missing from the header; the table needs this "
               "column\n"
               "c/vehicles.csv:1: unknown column: 'vehicel'; did you mean 'vehicle'?\n"
               "c/vehicles.csv:1: column 'vehicle': missing from the header; the table needs this "
               "column\n");
}

/* ---- vehicles.csv ---- */

static void a_case_has_exactly_one_subject(void **state)
{
    (void)state;
    check_vehicles("", "c/vehicles.csv: no vehicles; write one row for the vehicle in question, "
                       "with the role subject\n");
    check_vehicles("van,reference,\n",
                   "c/vehicles.csv: column 'role': no vehicle is the subject; give the vehicle in "
                   "question the role subject\n");
    check_vehicles("van,subject,\nold,reference,\nnew,subject,\n",
                   "c/vehicles.csv:4: column 'role': a second subject: 'subject'; line 2 has it "
                   "already ('van'): a case has exactly one, the other vehicles are references\n");
}

static void roles_are_known_words(void **state)
{
    (void)state;
    check_vehicles("van,subject,\nold,sibling,\nolder,refrence,\noldest,,\n",
                   "c/vehicles.csv:3: column 'role': unknown role: 'sibling'; known: subject, "
                   "reference\n"
                   "c/vehicles.csv:4: column 'role': unknown role: 'refrence'; did you mean "
                   "'reference'?\n"
                   "c/vehicles.csv:5: column 'role': is empty; every row needs it\n");
}

static void vehicle_names_are_simple_and_unique(void **state)
{
    (void)state;
    check_vehicles(
        "van,subject,\nall,reference,\nold van,reference,\n\"b\xc3\xbcs\",reference,\n"
        "van,reference,\n,reference,\na.b,reference,\n",
        "c/vehicles.csv:3: column 'vehicle': is a reserved word: 'all'; it stands for every "
        "vehicle: choose another name\n"
        "c/vehicles.csv:4: column 'vehicle': is not a name: 'old van'; a name is made of letters, "
        "digits, '_' and '-'\n"
        "c/vehicles.csv:5: column 'vehicle': is not a name: 'b\xc3\xbcs'; a name is made of "
        "letters, digits, '_' and '-'\n"
        "c/vehicles.csv:6: column 'vehicle': is given twice: 'van'; it stands on line 2 already: "
        "keep one of the two\n"
        "c/vehicles.csv:7: column 'vehicle': is empty; every row needs it\n"
        "c/vehicles.csv:8: column 'vehicle': is not a name: 'a.b'; a name is made of letters, "
        "digits, '_' and '-'\n");
}

/* ---- inputs.csv ---- */

static void an_input_belongs_to_a_vehicle(void **state)
{
    (void)state;
    check_inputs("vann,cell_count,1,fixed,1,,,,,,,s\ntruck,cell_count,1,fixed,1,,,,,,,s\n"
                 ",cell_count,1,fixed,1,,,,,,,s\nall,cell_count,1,fixed,1,,,,,,,s\n",
                 "c/inputs.csv:2: column 'vehicle': unknown vehicle: 'vann'; did you mean 'van'?\n"
                 "c/inputs.csv:3: column 'vehicle': unknown vehicle: 'truck'; known: van, "
                 "old_van, all\n"
                 "c/inputs.csv:4: column 'vehicle': is empty; every row needs it\n");
}

static void an_input_is_a_quantity_of_a_vehicle(void **state)
{
    (void)state;
    check_inputs(
        "van,cell_counts,1,fixed,1,,,,,,,s\nvan,colour,1,fixed,1,,,,,,,s\n"
        "van,payload_mass,kg,fixed,1,,,,,,,s\nvan,cycle,,,udds,,,,,,,s\n"
        "van,trip_range,km,fixed,1,,,,,,,s\nvan,,km,fixed,1,,,,,,,s\n"
        "van,usable_energy_by_mass,kWh,fixed,1,,,,,,,s\n",
        "c/inputs.csv:2: column 'quantity': unknown quantity: 'cell_counts'; did you mean "
        "'cell_count'?\n"
        "c/inputs.csv:3: column 'quantity': unknown quantity: 'colour'; packspan quantities lists "
        "the names\n"
        "c/inputs.csv:4: column 'quantity': is a condition of a trip: 'payload_mass'; write it in "
        "trips.csv\n"
        "c/inputs.csv:5: column 'quantity': is a condition of a trip: 'cycle'; write it in "
        "trips.csv\n"
        "c/inputs.csv:6: column 'quantity': is worked out for every trip and cannot be given: "
        "'trip_range'; a published figure of it goes into claims.csv\n"
        "c/inputs.csv:7: column 'quantity': is empty; every row needs it\n");
}

static void an_input_is_given_once_to_each(void **state)
{
    (void)state;
    check_inputs("van,cell_count,1,fixed,1,,,,,,,s\nall,cell_count,1,fixed,2,,,,,,,s\n"
                 "van,cell_count,1,wrong,3,,,,,,,s\nall,cell_count,1,fixed,4,,,,,,,s\n",
                 "c/inputs.csv:4: column 'shape': unknown shape: 'wrong'; known: fixed, normal, "
                 "split_normal, lognormal, uniform, vague_uniform, trapezoid, triangular, pert, "
                 "arcsine, student, observed\n"
                 "c/inputs.csv:4: column 'quantity': is given twice: 'cell_count'; it stands on "
                 "line 2 already: keep one of the two\n"
                 "c/inputs.csv:5: column 'quantity': is given twice: 'cell_count'; it stands on "
                 "line 3 already: keep one of the two\n");
}

static void a_unit_fits_its_quantity(void **state)
{
    (void)state;
    check_inputs(
        "van,usable_energy,kwhh,fixed,1,,,,,,,s\nvan,cell_energy,kg,fixed,1,,,,,,,s\n"
        "van,nominal_energy,,fixed,1,,,,,,,s\nvan,city_consumption,mi/kWh,fixed,1,,,,,,,s\n"
        "van,pack_mass,-1 kg,fixed,1,,,,,,,s\n",
        "c/inputs.csv:2: column 'unit': unknown unit: 'kwhh'; units of usable_energy: "
        "kWh, Wh, MJ\n"
        "c/inputs.csv:3: column 'unit': is a unit of another kind: 'kg'; units of "
        "cell_energy: kWh, Wh, MJ\n"
        "c/inputs.csv:4: column 'unit': is empty; units of nominal_energy: kWh, Wh, MJ\n"
        "c/inputs.csv:5: column 'unit': is a unit of another kind: 'mi/kWh'; units of "
        "city_consumption: Wh/km, Wh/mi, kWh/100km, kWh/100mi\n"
        "c/inputs.csv:6: column 'unit': unknown unit: '-1 kg'; units of pack_mass: kg, "
        "lb\n");
}

static void numbers_are_numbers(void **state)
{
    (void)state;
    check_inputs("van,cell_count,1,normal,1e,nan,0x10,1 2,\"1,5\",inf,,s\n",
#define NUMBER "; write a finite decimal number such as 3.25\n"
                 "c/inputs.csv:2: column 'best': is not a number: '1e'" NUMBER
                 "c/inputs.csv:2: column 'low': is not a number: 'nan'" NUMBER
                 "c/inputs.csv:2: column 'high': is not a number: '0x10'" NUMBER
                 "c/inputs.csv:2: column 'cover': is not a number: '1 2'" NUMBER
                 "c/inputs.csv:2: column 'sd': is not a number: '1,5'; write a decimal "
                 "point as in 3.25: a decimal comma needs ';' or a tab between the fields\n"
                 "c/inputs.csv:2: column 'dof': is not a number: 'inf'" NUMBER);
}

static void what_a_shape_refuses_names_its_column(void **state)
{
    (void)state;
    check_inputs(
        "van,pack_mass,kg,uniform,,3,2,,,,,s\nvan,cell_count,1,fixed,9,,,,1,,,s\n"
        "van,cells_mass,kg,fixed,,,,,,,,s\nvan,cell_mass,g,fixed,9,,,,,,a.csv,s\n"
        "van,curb_mass,kg,,9,,,,,,,s\n",
        "c/inputs.csv:2: column 'low': is not below high (2): '3'; correct one of the two; a known "
        "value has shape fixed\n"
        "c/inputs.csv:3: column 'sd': is not used by shape 'fixed': '1'; it uses best\n"
        "c/inputs.csv:4: column 'best': is empty; shape 'fixed' needs a number here\n"
        "c/inputs.csv:5: column 'file': is not used by shape 'fixed': 'a.csv'; it uses best\n"
        "c/inputs.csv:6: column 'shape': is empty; known: fixed, normal, split_normal, lognormal, "
        "uniform, vague_uniform, trapezoid, triangular, pert, arcsine, student, observed\n");
}

/* The domain is that of the registry, in the row's own unit. */
static void a_shape_stays_in_the_physical_domain(void **state)
{
    (void)state;
    check_inputs(
        "van,usable_fraction,%,fixed,100,,,,,,,s\nvan,drive_efficiency,%,fixed,100.1,,,,,,,"
        "s\nvan,cell_voltage,mV,uniform,,9000,11000,,,,,s\n",
        "c/inputs.csv:3: column 'best': is outside the physical domain: '100.1'; the "
        "domain is (0, 100] %\n"
        "c/inputs.csv:4: column 'high': puts 50 % of the distribution outside the physical "
        "domain: '11000'; the domain is (0, 10000] mV\n");
    put_good_tables();
    check_trips("t,cycle,,,udds,,,,,s\nt,air_temperature,degC,fixed,-100,,,,,s\n",
                "c/trips.csv:3: column 'best': is outside the physical domain: '-100'; the domain "
                "is [-93.15, 66.85] degC\n"); /* 180 K and 340 K */
}

static void a_row_without_a_source_is_doubted(void **state)
{
    (void)state;
    check_inputs("van,cell_count,1,fixed,1,,,,,,,\nold_van,cell_count,1,fixed,1,,,,,,, \n",
                 "c/inputs.csv:2: warning: has no source; write in source what document, how it "
                 "was read and how sure it is\n"
                 "c/inputs.csv:3: warning: has no source; write in source what document, how it "
                 "was read and how sure it is\n");
}

/* ---- readings ---- */

static void a_file_of_readings_lies_in_the_folder(void **state)
{
    (void)state;
    put("outside.csv", "value\n1\n");
    check_inputs(
        "van,cell_mass,g,observed,,,,,,,,s\nvan,pack_mass,kg,observed,,,,,,,lost.csv,s\n"
        "van,cells_mass,kg,observed,,,,,,,../outside.csv,s\n"
        "van,curb_mass,kg,observed,,,,,,,/etc/passwd,s\n"
        "van,test_mass,kg,observed,,,,,,,sub/../../outside.csv,s\n",
#define OUTSIDE "; put the file into the folder and give its path from there\n"
        "c/inputs.csv:2: column 'file': is empty; name the CSV table of the readings\n"
        "c/inputs.csv:3: column 'file': no such file: 'lost.csv'; its path starts in the case's "
        "folder\n"
        "c/inputs.csv:4: column 'file': is outside the case's folder: '../outside.csv'" OUTSIDE
        "c/inputs.csv:5: column 'file': is outside the case's folder: '/etc/passwd'" OUTSIDE
        "c/inputs.csv:6: column 'file': is outside the case's folder: "
        "'sub/../../outside.csv'" OUTSIDE);
}

static void readings_are_checked_in_their_own_file(void **state)
{
    (void)state;
    put("c/a.csv", "value,weight\n1,1\nx,-1\n,\n3,\n");
    put("c/b.csv", "valu\n1\n");
    put("c/d.csv", "value\n");
    put("c/e.csv", "value\n1\n2\n..3\n");
    put("c/f.csv", "value\n-1\n2\n");
    check_inputs("van,cell_mass,g,observed,,,,,,,a.csv,s\nvan,pack_mass,kg,observed,,,,,,,b.csv,s\n"
                 "van,cells_mass,kg,observed,,,,,,,d.csv,s\n"
                 "van,curb_mass,kg,observed,,,,,,,./e.csv,s\n"
                 "old_van,curb_mass,kg,observed,,,,,,,e.csv,s\n"
                 "old_van,cell_mass,kg,observed,,,,,,,f.csv,s\n",
                 "c/a.csv:3: column 'value': is not a number: 'x'" NUMBER
                 "c/a.csv:3: column 'weight': is below 0: '-1'; a weight is 0 or more\n"
                 "c/a.csv:5: column 'weight': is empty; every row needs it\n"
                 "c/b.csv:1: unknown column: 'valu'; did you mean 'value'?\n"
                 "c/b.csv:1: column 'value': missing from the header; the table needs this "
                 "column\n"
                 "c/e.csv:4: column 'value': is not a number: '..3'" NUMBER
                 "c/inputs.csv:4: column 'file': holds no readings: 'd.csv'; it needs one reading "
                 "or more\n"
                 "c/inputs.csv:7: column 'file': puts 50 % of the distribution outside the "
                 "physical domain: 'f.csv'; the domain is (0, inf) kg\n");
}

static void a_file_of_readings_is_no_stray_table(void **state)
{
    (void)state;
    put("c/a.csv", "value\n1\n2\n");
    put("c/points.csv", "value\n1\n2\n");
    check_inputs("van,cell_mass,g,observed,,,,,,,./a.csv,s\n"
                 "old_van,cell_mass,g,observed,,,,,,,points.csv,s\n",
                 "");
}

/* ---- trips.csv ---- */

static void a_trip_is_driven_in_one_way(void **state)
{
    (void)state;
    check_trips(
        "a,grade,%,fixed,1,,,,,s\nb,cycle,,,steady,,,,,s\nd,speed,km/h,fixed,9,,,,,s\n"
        "d,cycle,,,udds,,,,,s\ne,cycle,,,hwfet,,,,,s\ne,cycle,,,us06,,,,,s\nf,cycle,,,,,,,,s\n"
        "g,cycle,,,steady,,,,,s\ng,speed,km/h,fixed,9,,,,,s\ng,speed,km/h,fixed,9,,,,,s\n",
        "c/trips.csv:2: column 'trip': the trip has no cycle: 'a'; add a row with the quantity "
        "cycle and the cycle's name, or steady, in best\n"
        "c/trips.csv:3: column 'best': the trip has no speed: 'steady'; add a row with the "
        "quantity speed\n"
        "c/trips.csv:4: column 'quantity': is set by the trip's cycle: 'speed'; remove this row, "
        "or write steady in best of line 5\n"
        "c/trips.csv:7: column 'quantity': is given twice: 'cycle'; it stands on line 6 already: "
        "keep one of the two\n"
        "c/trips.csv:8: column 'best': is empty; known: udds, hwfet, us06, sc03, wltc3b, steady\n"
        "c/trips.csv:11: column 'quantity': is given twice: 'speed'; it stands on line 10 already: "
        "keep one of the two\n");
}

static void a_trip_has_conditions_only(void **state)
{
    (void)state;
    check_trips(
        "t,cycle,,,udds,,,,,s\nt,cell_count,1,fixed,1,,,,,s\nt,payload,kg,fixed,1,,,,,s\n"
        "t,trip_range,km,fixed,1,,,,,s\nt,gear,1,fixed,1,,,,,s\nt,,1,fixed,1,,,,,s\n"
        "t,headwind,kg,fixed,1,,,,,s\nt,grade,%,student,1,,,,1,s\nt,elevation,m,observed,,,,,,s\n",
        "c/trips.csv:3: column 'quantity': is a vehicle's quantity, not a trip's: 'cell_count'; "
        "write it in inputs.csv\n"
        "c/trips.csv:4: column 'quantity': unknown quantity: 'payload'; known: cycle, "
        "accessory_power, speed, payload_mass, air_temperature, elevation, trip_air_density, "
        "headwind, grade, reserve_fraction\n"
        "c/trips.csv:5: column 'quantity': is worked out for every trip and cannot be given: "
        "'trip_range'; a published figure of it goes into claims.csv\n"
        "c/trips.csv:6: column 'quantity': unknown quantity: 'gear'; known: cycle, "
        "accessory_power, speed, payload_mass, air_temperature, elevation, trip_air_density, "
        "headwind, grade, reserve_fraction\n"
        "c/trips.csv:7: column 'quantity': is empty; every row needs it\n"
        "c/trips.csv:8: column 'unit': is a unit of another kind: 'kg'; units of headwind: km/h, "
        "mph, m/s\n"
        "c/trips.csv:9: column 'shape': cannot be used here: 'student'; it needs the column dof, "
        "which this table does not have\n"
        "c/trips.csv:10: column 'shape': cannot be used here: 'observed'; it needs the column "
        "file, which this table does not have\n");
}

static void trip_names_are_simple(void **state)
{
    (void)state;
    check_trips("all,cycle,,,udds,,,,,s\na b,cycle,,,udds,,,,,s\n,cycle,,,udds,,,,,s\n"
                ",speed,km/h,fixed,9,,,,,s\n",
                "c/trips.csv:2: column 'trip': is a reserved word: 'all'; it stands for every "
                "vehicle: choose another name\n"
                "c/trips.csv:3: column 'trip': is not a name: 'a b'; a name is made of letters, "
                "digits, '_' and '-'\n"
                "c/trips.csv:4: column 'trip': is empty; every row needs it\n"
                "c/trips.csv:5: column 'trip': is empty; every row needs it\n");
}

static void a_cycle_is_named_and_nothing_else(void **state)
{
    (void)state;
    put("c/cycle_rounds.csv", "time_s,speed_kmh\n0,0\n9,9\n");
    check_trips("a,cycle,,,udd,,,,,s\nb,cycle,,,round,,,,,s\nd,cycle,,,standing,,,,,s\n"
                "e,cycle,km,normal,udds,1,2,3,4,s\n",
#define UNUSED "; leave it empty: the cycle's name stands in best\n"
                "c/trips.csv:2: column 'best': unknown cycle: 'udd'; did you mean 'udds'?\n"
                "c/trips.csv:3: column 'best': unknown cycle: 'round'; did you mean 'rounds'?\n"
                "c/trips.csv:4: column 'best': unknown cycle: 'standing'; known: udds, hwfet, "
                "us06, sc03, wltc3b, steady, rounds\n"
                "c/trips.csv:5: column 'unit': is not used by a cycle: 'km'" UNUSED
                "c/trips.csv:5: column 'shape': is not used by a cycle: 'normal'" UNUSED
                "c/trips.csv:5: column 'low': is not used by a cycle: '1'" UNUSED
                "c/trips.csv:5: column 'high': is not used by a cycle: '2'" UNUSED
                "c/trips.csv:5: column 'cover': is not used by a cycle: '3'" UNUSED
                "c/trips.csv:5: column 'sd': is not used by a cycle: '4'" UNUSED);
}

static void own_cycles_are_all_checked(void **state)
{
    (void)state;
    put_good_tables();
    put("c/cycle_still.csv", "time_s,speed_mph\n0,0\n9,0\n");
    put("c/cycle_bad.csv", "time_s,speed_mph\n0,-1\n9,0\n");
    put("c/cycle_UDDS.csv", "time_s,speed_mph\n0,1\n9,0\n");
    put("c/cycle_steady.csv", "time_s,speed_mph\n0,1\n9,0\n");
    put("c/cycle_a b.csv", "time_s,speed_mph\n0,1\n9,0\n");
    put("c/cycle_.csv", "time_s,speed_mph\n0,1\n9,0\n");
    put("c/trips.csv", "trip,quantity,best\na,cycle,still\nb,cycle,udds\n");
#define NAME_RULE "; name the file cycle_NAME.csv, with letters, digits, '_' and '-' in NAME\n"
    check_case(PACKSPAN_BAD_CASE,
               "c/cycle_.csv: is not a cycle's name: ''" NAME_RULE
               "c/cycle_UDDS.csv: the cycle's name is taken by packspan: 'UDDS'; rename the file, "
               "and the cycle in trips.csv\n"
               "c/cycle_a b.csv: is not a cycle's name: 'a b'" NAME_RULE
               "c/cycle_bad.csv:2: column 'speed_mph': is below 0: '-1'; a speed is 0 or more\n"
               "c/cycle_steady.csv: the cycle's name is taken by packspan: 'steady'; rename the "
               "file, and the cycle in trips.csv\n"
               "c/cycle_still.csv: the vehicle never moves; a cycle needs a speed above 0\n");
}

static void cycles_that_ship_are_needed(void **state)
{
    (void)state;
    put_good_tables();
    assert_int_equal(mkdir("cycles", 0700), 0);
    put("cycles/udds.csv", "time_s,speed_mph\n0,0\n9,0\n");
    assert_int_equal(setenv("PACKSPAN_CYCLES", "cycles", 1), 0);
    struct case_data c;
    packspan_status got = case_data_read("c", &c);
    unsetenv("PACKSPAN_CYCLES");
    assert_int_equal(got, PACKSPAN_MISSING);
    assert_problems(&c.problems,
                    "cycles/hwfet.csv: no such file; PACKSPAN_CYCLES, if set, names the folder of "
                    "the cycles that come with packspan\n"
                    "cycles/udds.csv: the vehicle never moves; a cycle needs a speed above 0\n");
    case_data_free(&c);
}

/* ---- claims.csv ---- */

static void a_claim_is_of_one_vehicle(void **state)
{
    (void)state;
    check_claims("a,all,label_range,mi,is,1,1,s\nb,vann,label_range,mi,is,1,1,s\n"
                 "c,,label_range,mi,is,1,1,s\n",
                 "c/claims.csv:2: column 'vehicle': unknown vehicle: 'all'; known: van, old_van\n"
                 "c/claims.csv:3: column 'vehicle': unknown vehicle: 'vann'; did you mean 'van'?\n"
                 "c/claims.csv:4: column 'vehicle': is empty; every row needs it\n");
}

static void a_claim_is_of_a_quantity(void **state)
{
    (void)state;
    check_claims(
        "a,van,lable_range,mi,is,1,1,s\nb,van,colour,mi,is,1,1,s\nc,van,grade,%,is,1,1,s\n"
        "d,van,trip_range,mi,is,1,1,s\ne,van,trip_range.wintr,mi,is,1,1,s\n"
        "f,van,trip_rnge.winter,mi,is,1,1,s\ng,van,usable_energy.winter,kWh,is,1,1,s\n"
        "h,van,trip_range.,mi,is,1,1,s\ni,van,,mi,is,1,1,s\nj,van,label_range,kg,is,1,1,s\n"
        "k,van,trip_range.winter,kg,is,1,1,s\nl,van,label_range,furlng,is,1,1,s\n",
        "c/claims.csv:2: column 'quantity': unknown quantity: 'lable_range'; did you mean "
        "'label_range'?\n"
        "c/claims.csv:3: column 'quantity': unknown quantity: 'colour'; packspan quantities lists "
        "the names\n"
        "c/claims.csv:4: column 'quantity': is a condition of a trip, not a vehicle's quantity: "
        "'grade'; of a trip there are trip_range.TRIP and trip_consumption.TRIP\n"
        "c/claims.csv:5: column 'quantity': names no trip: 'trip_range'; write trip_range.TRIP "
        "with a trip of trips.csv\n"
        "c/claims.csv:6: column 'quantity': unknown trip: 'trip_range.wintr'; did you mean "
        "'winter'?\n"
        "c/claims.csv:7: column 'quantity': is not worked out for a trip: 'trip_rnge.winter'; did "
        "you mean 'trip_range'?\n"
        "c/claims.csv:8: column 'quantity': is not worked out for a trip: 'usable_energy.winter'; "
        "known: trip_consumption, trip_range\n"
        "c/claims.csv:9: column 'quantity': unknown trip: 'trip_range.'; known: winter\n"
        "c/claims.csv:10: column 'quantity': is empty; every row needs it\n"
        "c/claims.csv:11: column 'unit': is a unit of another kind: 'kg'; units of label_range: "
        "km, mi\n"
        "c/claims.csv:12: column 'unit': is a unit of another kind: 'kg'; units of trip_range: km, "
        "mi\n"
        "c/claims.csv:13: column 'unit': unknown unit: 'furlng'; units of label_range: km, mi\n");
}

static void a_claim_of_a_trip_needs_trips(void **state)
{
    (void)state;
    static const char claim[] = "claim,vehicle,quantity,unit,sense,value,tolerance\n"
                                "a,van,trip_range.winter,km,is,1,1\n";
    put_good_tables();
    put("c/claims.csv", claim);
    check_case(PACKSPAN_BAD_CASE, "c/claims.csv:2: column 'quantity': unknown trip: "
                                  "'trip_range.winter'; trips.csv defines no trip\n");
    /* Trips that could not be read are not missed again. */
    put("c/trips.csv", "tripp,quantity\n");
    check_case(PACKSPAN_BAD_CASE,
               "c/trips.csv:1: unknown column: 'tripp'; did you mean 'trip'?\n"
               "c/trips.csv:1: column 'trip': missing from the header; the table needs this "
               "column\n");
}

static void a_claim_says_what_is_claimed(void **state)
{
    (void)state;
    check_claims("a,van,label_range,mi,about,1,1,s\na,van,label_range,mi,at_lest,1,1,s\n"
                 ",van,label_range,mi,,x,y,s\nb,van,label_range,mi,at_most,,-1,s\n",
                 "c/claims.csv:2: column 'sense': unknown sense: 'about'; known: is, at_least, "
                 "at_most\n"
                 "c/claims.csv:3: column 'claim': is given twice: 'a'; it stands on line 2 "
                 "already: keep one of the two\n"
                 "c/claims.csv:3: column 'sense': unknown sense: 'at_lest'; did you mean "
                 "'at_least'?\n"
                 "c/claims.csv:4: column 'claim': is empty; every row needs it\n"
                 "c/claims.csv:4: column 'sense': is empty; every row needs it\n"
                 "c/claims.csv:4: column 'value': is not a number: 'x'" NUMBER
                 "c/claims.csv:4: column 'tolerance': is not a number: 'y'" NUMBER
                 "c/claims.csv:5: column 'value': is empty; every row needs it\n"
                 "c/claims.csv:5: column 'tolerance': is below 0: '-1'; a tolerance is 0 or more; "
                 "empty is 0\n");
}

static void an_exact_claim_is_doubted(void **state)
{
    (void)state;
    check_claims("a,van,label_range,mi,is,1,,s\nb,van,label_range,mi,is,1,0.0,s\n"
                 "c,van,label_range,mi,at_least,1,,s\nd,van,label_range,mi,at_most,1,0,s\n",
#define EXACT "warning: an 'is' claim without a tolerance is never exactly true"
#define HALF_DIGIT "; write half of the last published digit, e.g. 0.5 for a whole number\n"
                 "c/claims.csv:2: column 'tolerance': " EXACT HALF_DIGIT
                 "c/claims.csv:3: column 'tolerance': " EXACT ": '0.0'" HALF_DIGIT);
}

/* ---- settings.csv ---- */

static void settings_are_known_and_in_range(void **state)
{
    (void)state;
    check_settings("samples,1000\nsampels,2000\nsamples,3000\nseed,-1\nunits,imperial\ncolour,1\n"
                   "keep,\n,1\n",
                   "c/settings.csv:3: column 'setting': unknown setting: 'sampels'; did you mean "
                   "'samples'?\n"
                   "c/settings.csv:4: column 'setting': is given twice: 'samples'; it stands on "
                   "line 2 already: keep one of the two\n"
                   "c/settings.csv:5: column 'value': is not possible for seed: '-1'; 0 to "
                   "18446744073709551615, a whole number\n"
                   "c/settings.csv:6: column 'value': is not possible for units: 'imperial'; "
                   "metric or us\n"
                   "c/settings.csv:7: column 'setting': unknown setting: 'colour'; known: samples, "
                   "effective, stable, pilot, sequence, seed, threads, keep, part, units, quiet, "
                   "out, design, points, quantities, hours\n"
                   "c/settings.csv:8: column 'value': is not possible for keep; 0 to 1e7, a whole "
                   "number\n"
                   "c/settings.csv:9: column 'setting': is empty; every row needs it\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_table_is_taken_in),
        cmocka_unit_test(inputs_keep_their_row_and_convert_to_si),
        cmocka_unit_test(trips_and_their_cycles_are_tied_together),
        cmocka_unit_test(claims_keep_their_unit),
        cmocka_unit_test(semicolons_and_tabs_bring_decimal_commas),
        IN_SCRATCH(the_case_has_the_name_of_its_folder),
        IN_SCRATCH(a_case_is_a_folder),
        IN_SCRATCH(both_needed_tables_are_missed_at_once),
        IN_SCRATCH(tables_that_cannot_be_read_are_told),
        IN_SCRATCH(a_missing_table_of_units_is_told),
        IN_SCRATCH(axes_and_points_exclude_each_other),
        IN_SCRATCH(other_tables_are_doubted),
        IN_SCRATCH(one_pass_tells_of_every_table),
        IN_SCRATCH(lost_columns_are_told_once),
        IN_SCRATCH(a_case_has_exactly_one_subject),
        IN_SCRATCH(roles_are_known_words),
        IN_SCRATCH(vehicle_names_are_simple_and_unique),
        IN_SCRATCH(an_input_belongs_to_a_vehicle),
        IN_SCRATCH(an_input_is_a_quantity_of_a_vehicle),
        IN_SCRATCH(an_input_is_given_once_to_each),
        IN_SCRATCH(a_unit_fits_its_quantity),
        IN_SCRATCH(numbers_are_numbers),
        IN_SCRATCH(what_a_shape_refuses_names_its_column),
        IN_SCRATCH(a_shape_stays_in_the_physical_domain),
        IN_SCRATCH(a_row_without_a_source_is_doubted),
        IN_SCRATCH(a_file_of_readings_lies_in_the_folder),
        IN_SCRATCH(readings_are_checked_in_their_own_file),
        IN_SCRATCH(a_file_of_readings_is_no_stray_table),
        IN_SCRATCH(a_trip_is_driven_in_one_way),
        IN_SCRATCH(a_trip_has_conditions_only),
        IN_SCRATCH(trip_names_are_simple),
        IN_SCRATCH(a_cycle_is_named_and_nothing_else),
        IN_SCRATCH(own_cycles_are_all_checked),
        IN_SCRATCH(cycles_that_ship_are_needed),
        IN_SCRATCH(a_claim_is_of_one_vehicle),
        IN_SCRATCH(a_claim_is_of_a_quantity),
        IN_SCRATCH(a_claim_of_a_trip_needs_trips),
        IN_SCRATCH(a_claim_says_what_is_claimed),
        IN_SCRATCH(an_exact_claim_is_doubted),
        IN_SCRATCH(settings_are_known_and_in_range),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
