#include "unit/case/case_tables.h"

#define NUMBER "; write a finite decimal number such as 3.25\n"
#define WEIGHT_RULE "; a prior weight is above 0; any sum will do\n"

static const char header[] =
    "candidate,weight,vehicle,quantity,unit,shape,best,low,high,cover,sd,dof,source";

static void check_candidates(const char *rows, const char *messages)
{
    put_good_tables();
    check_table("c/candidates.csv", header, rows, messages);
}

/* ---- what is right ---- */

static void candidates_collect_their_inputs(void **state)
{
    (void)state;
    put_good_tables();
    put_rows("c/candidates.csv", header,
             "ten,1,all,cell_charge,Ah,normal,5,,,,0.1,,guess\n"
             "two,,van,cell_count,,fixed,200,,,,,,guess\n"
             "as-is,0.5,,,,,,,,,,,\n"
             "two,2,van,cell_voltage,mV,uniform,,3600,3700,,,,guess\n"
             "ten,1.0,van,cell_count,1,fixed,210,,,,,,guess\n");
    struct case_data c;
    read_good("c", &c);
    assert_string_equal(c.candidates_file, "c/candidates.csv");
    assert_int_equal(c.candidate_count, 3);
    static const struct {
        const char *name;
        double weight;
        size_t inputs;
        long line;
    } rows[] = {{"as-is", 0.5, 0, 4}, {"ten", 1.0, 2, 2}, {"two", 2.0, 2, 3}};
    for (size_t i = 0; i < 3; i++) {
        assert_string_equal(c.candidates[i].name, rows[i].name);
        assert_close(c.candidates[i].weight, rows[i].weight, 0, 0);
        assert_int_equal(c.candidates[i].input_count, rows[i].inputs);
        assert_int_equal(c.candidates[i].line, rows[i].line);
    }
    const struct input *charge = &c.candidates[1].inputs[0];
    assert_int_equal(charge->vehicle, VEHICLE_ALL);
    assert_int_equal(charge->trip, TRIP_NONE);
    assert_int_equal(charge->quantity, Q_cell_charge);
    assert_int_equal(charge->line, 2);
    assert_ptr_equal(charge->file, c.candidates_file);
    assert_string_equal(charge->source, "guess");
    assert_close(charge->to_si.scale, 3600, 1e-12, 0);
    const struct input *voltage = &c.candidates[2].inputs[1];
    double u = 0.5;
    shape_quantiles(voltage->shape, 1, &u, &u);
    assert_close(u * voltage->to_si.scale, 3.65, 1e-12, 0);
    assert_int_equal(c.input_count, 1); /* the case's own */
    case_data_free(&c);
}

/* ---- what is wrong ---- */

static void every_candidate_has_one_weight(void **state)
{
    (void)state;
    check_candidates(
        "a,1,van,cell_count,1,fixed,200,,,,,,s\na,2,van,cell_voltage,V,fixed,3.6,,,,,,s\n"
        "b,,van,cell_count,1,fixed,210,,,,,,s\nc,0,,,,,,,,,,,\nd,-1,,,,,,,,,,,\n"
        "e,much,,,,,,,,,,,\ne,3,,,,,,,,,,,\nd,3,,,,,,,,,,,\nb,,van,cell_voltage,V,fixed,3.7,,,,,,"
        "s\n",
        "c/candidates.csv:3: column 'weight': is another weight than before: '2'; candidate 'a' "
        "has weight 1\n"
        "c/candidates.csv:4: column 'weight': candidate has no weight: 'b'; write its prior weight "
        "on one of its rows\n"
        "c/candidates.csv:5: column 'weight': is not above 0: '0'" WEIGHT_RULE
        "c/candidates.csv:6: column 'weight': is not above 0: '-1'" WEIGHT_RULE
        "c/candidates.csv:7: column 'weight': is not a number: 'much'" NUMBER);
}

static void names_are_simple(void **state)
{
    (void)state;
    check_candidates("mixture,1,,,,,,,,,,,\nall,1,,,,,,,,,,,\n\"two words\",1,,,,,,,,,,,\n"
                     ",1,van,cell_count,1,fixed,200,,,,,,s\n",
                     "c/candidates.csv:2: column 'candidate': is a reserved word: 'mixture'; it "
                     "stands for all candidates together: choose another name\n"
                     "c/candidates.csv:3: column 'candidate': is a reserved word: 'all'; it stands "
                     "for every vehicle: choose another name\n"
                     "c/candidates.csv:4: column 'candidate': is not a name: 'two words'; a name "
                     "is made of letters, digits, '_' and '-'\n"
                     "c/candidates.csv:5: column 'candidate': is empty; every row needs it\n");
}

static void an_input_is_given_once_to_a_candidate(void **state)
{
    (void)state;
    check_candidates(
        "a,1,van,cell_count,1,fixed,200,,,,,,s\na,,all,cell_count,1,fixed,200,,,,,,s\n"
        "b,1,van,cell_count,1,fixed,210,,,,,,s\na,,van,cell_count,1,fixed,220,,,,,,s\n",
        "c/candidates.csv:5: column 'quantity': is given twice: 'cell_count'; it stands on line 2 "
        "already: keep one of the two\n");
}

static void its_rows_are_checked_like_inputs(void **state)
{
    (void)state;
    check_candidates(
        "a,1,vann,cell_count,1,fixed,200,,,,,,s\na,,van,cell_cuont,1,fixed,200,,,,,,s\n"
        "a,,van,grade,%,fixed,1,,,,,,s\na,,van,trip_range,km,fixed,1,,,,,,s\n"
        "a,,van,cell_mass,km,fixed,1,,,,,,s\na,,van,cell_voltage,V,nromal,1,,,,,,s\n"
        "a,,van,cell_charge,Ah,normal,5,,,,,,s\na,,van,usable_fraction,1,uniform,,0.9,0.8,,,,s\n"
        "a,,van,pack_mass,kg,observed,,,,,,,s\na,,van,glider_mass,kg,fixed,heavy,,,,,,s\n"
        "a,,,cell_count,1,fixed,200,,,,,,s\na,,van,,1,fixed,200,,,,,,s\n",
        "c/candidates.csv:2: column 'vehicle': unknown vehicle: 'vann'; did you mean 'van'?\n"
        "c/candidates.csv:3: column 'quantity': unknown quantity: 'cell_cuont'; did you mean "
        "'cell_count'?\n"
        "c/candidates.csv:4: column 'quantity': is a condition of a trip: 'grade'; write it in "
        "trips.csv\n"
        "c/candidates.csv:5: column 'quantity': is worked out for every trip and cannot be given: "
        "'trip_range'; a published figure of it goes into claims.csv\n"
        "c/candidates.csv:6: column 'unit': is a unit of another kind: 'km'; units of cell_mass: "
        "g, kg\n"
        "c/candidates.csv:7: column 'shape': unknown shape: 'nromal'; did you mean 'normal'?\n"
        "c/candidates.csv:8: column 'sd': is empty; give best and sd, or low, high and cover\n"
        "c/candidates.csv:9: column 'low': is not below high (0.8): '0.9'; correct one of the two; "
        "a known value has shape fixed\n"
        "c/candidates.csv:10: column 'shape': cannot be used here: 'observed'; it needs the column "
        "file, which this table does not have\n"
        "c/candidates.csv:11: column 'best': is not a number: 'heavy'" NUMBER
        "c/candidates.csv:12: column 'vehicle': is empty; every row needs it\n"
        "c/candidates.csv:13: column 'quantity': is empty; every row needs it\n");
}

static void a_row_without_a_source_is_doubted(void **state)
{
    (void)state;
    check_candidates("a,1,van,cell_count,1,fixed,200,,,,,,\nb,1,,,,,,,,,,,\n",
                     "c/candidates.csv:2: warning: has no source; write in source what document, "
                     "how it was read and how sure it is\n");
}

static void a_damaged_table_is_told(void **state)
{
    (void)state;
    put_good_tables();
    put("c/candidates.csv", "");
    check_case(PACKSPAN_BAD_CASE,
               "c/candidates.csv: the file is empty; the first row names the columns: "
               "candidate,weight,vehicle,quantity,unit,shape,best,low,high,cover,sd,dof,source\n");
    put("c/candidates.csv", "candidate,weight\na,\002\n");
    check_case(PACKSPAN_BAD_CASE,
               "c/candidates.csv:2: not a text file: byte 0x02 at byte offset 19; save the table "
               "as CSV text in UTF-8\n");
    put("c/candidates.csv", "candidate,wieght,vehicle,quantity\na,1,,\n");
    check_case(PACKSPAN_BAD_CASE,
               "c/candidates.csv:1: unknown column: 'wieght'; did you mean 'weight'?\n"
               "c/candidates.csv:1: column 'weight': missing from the header; the table needs this "
               "column\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(candidates_collect_their_inputs),
        IN_SCRATCH(every_candidate_has_one_weight),
        IN_SCRATCH(names_are_simple),
        IN_SCRATCH(an_input_is_given_once_to_a_candidate),
        IN_SCRATCH(its_rows_are_checked_like_inputs),
        IN_SCRATCH(a_row_without_a_source_is_doubted),
        IN_SCRATCH(a_damaged_table_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
