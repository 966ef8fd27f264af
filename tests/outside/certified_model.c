/* Certified vehicles (tests/data/certified.csv; US EPA test car list and fuel economy label data)
 * through packspan's own relations: from the unadjusted wall consumption over UDDS and HWFET, the
 * label factors and the recharge energy to label ranges and label consumption. */
#include "support/certified.h"

#include "model/relation.h"

#define KWH 3.6e6
#define MILE_M 1609.344
#define WH_PER_MI (3600.0 / MILE_M)

static double relate(enum quantity_id id, const double *const *in)
{
    double out = NAN;
    struct relation_call call = {.n = 1, .in = in, .out = &out};
    relation_find(id, 0)->work(&call);
    return out;
}

static double relate2(enum quantity_id id, double a, double b)
{
    const double *in[] = {&a, &b};
    return relate(id, in);
}

struct label {
    double range_city, range_highway, range, consumption; /* m, J/m */
    double usable_for_range;                              /* J, from the stated range */
    double usable;
};

/* A charge efficiency is not published; whatever it is, it cancels between the wall-side figures
 * that go in and the label that comes out. */
static struct label label_of(const struct certified *row, double charge_efficiency)
{
    double recharge = row->value[CERTIFIED_RECHARGE] * KWH;
    double usable = relate2(Q_usable_energy_by_recharge, recharge, charge_efficiency);
    double city = row->value[CERTIFIED_CITY_AC] * WH_PER_MI * charge_efficiency;
    double highway = row->value[CERTIFIED_HIGHWAY_AC] * WH_PER_MI * charge_efficiency;
    double city_factor = row->value[CERTIFIED_FACTOR_CITY];
    double highway_factor = row->value[CERTIFIED_FACTOR_HIGHWAY];
    double stated = row->value[CERTIFIED_RANGE] * MILE_M;
    const double *consumption[] = {&city, &highway, &city_factor, &highway_factor,
                                   &charge_efficiency};
    const double *by_range[] = {&stated, &city, &highway, &city_factor, &highway_factor};
    struct label l;
    l.usable = usable;
    l.range_city = relate2(Q_label_range_city, city_factor, relate2(Q_city_range, usable, city));
    l.range_highway =
        relate2(Q_label_range_highway, highway_factor, relate2(Q_highway_range, usable, highway));
    l.range = relate2(Q_label_range, l.range_city, l.range_highway);
    l.consumption = relate(Q_label_consumption, consumption);
    l.usable_for_range = relate(Q_usable_energy_by_road_load, by_range);
    return l;
}

static bool within(double value, double published, double share)
{
    return fabs(value / published - 1.0) <= share;
}

/* The recharge energies were worked out from the labels themselves (the mean of city and highway
 * range times consumption), so the ranges need not close to the last mile; 1.5 % is the spread
 * between a label's city and highway half in these data. */
static void labels_follow_from_consumption_and_recharge(void **state)
{
    (void)state;
    static const enum certified_column needs[] = {CERTIFIED_CITY_AC,        CERTIFIED_HIGHWAY_AC,
                                                  CERTIFIED_RECHARGE,       CERTIFIED_RANGE_CITY,
                                                  CERTIFIED_RANGE_HIGHWAY,  CERTIFIED_RANGE,
                                                  CERTIFIED_CONSUMPTION,    CERTIFIED_FACTOR_CITY,
                                                  CERTIFIED_FACTOR_HIGHWAY, CERTIFIED_VALUES};
    struct certified *rows;
    size_t count = certified_read(TEST_DATA "/certified.csv", &rows);
    int with = 0, halves = 0, range = 0, consumption = 0, energy = 0;
    for (size_t i = 0; i < count; i++) {
        const struct certified *row = &rows[i];
        if (!certified_has(row, needs))
            continue;
        struct label l = label_of(row, 0.87), other = label_of(row, 0.80);
        assert_close(l.range, other.range, 1e-14, 0.0);
        assert_close(l.consumption, other.consumption, 1e-14, 0.0);
        with++;
        halves += within(l.range_city, row->value[CERTIFIED_RANGE_CITY] * MILE_M, 0.015) &&
                  within(l.range_highway, row->value[CERTIFIED_RANGE_HIGHWAY] * MILE_M, 0.015);
        range += within(l.range, row->value[CERTIFIED_RANGE] * MILE_M, 0.015);
        energy += within(l.usable_for_range, l.usable, 0.015);
        double published = row->value[CERTIFIED_CONSUMPTION] * 10.0 * WH_PER_MI;
        double rounding = row->half[CERTIFIED_CONSUMPTION] / row->value[CERTIFIED_CONSUMPTION];
        consumption += within(l.consumption, published, rounding + 0.002);
    }
    print_message("of %d rows: city and highway range %d, combined range %d, usable energy for the "
                  "stated range %d (1.5 %%); consumption %d (rounding and 0.2 %%)\n",
                  with, halves, range, energy, consumption);
    assert_int_equal(with, 122);
    assert_true(halves >= with * 95 / 100);
    assert_true(range >= with * 95 / 100);
    assert_true(energy >= with * 95 / 100);
    assert_true(consumption >= with * 90 / 100);
    free(rows);
}

/* The arithmetic of 40 CFR 600.210-12 and 600.311-12 by hand: 53.61 kWh usable, 61.0 kWh recharge,
 * DC consumption 230.4340696 (UDDS) and 223.1968811 Wh/mi (HWFET), factor 0.7. */
static void worked_example(void **state)
{
    (void)state;
    double usable = 53.61 * KWH, recharge = 61.0 * KWH, factor = 0.7;
    double city = 230.4340696 * WH_PER_MI, highway = 223.1968811 * WH_PER_MI;
    double efficiency = relate2(Q_charge_efficiency, usable, recharge);
    double city_range = relate2(Q_city_range, usable, city);
    double highway_range = relate2(Q_highway_range, usable, highway);
    double label_city = relate2(Q_label_range_city, factor, city_range);
    double label_highway = relate2(Q_label_range_highway, factor, highway_range);
    const double *in[] = {&city, &highway, &factor, &factor, &efficiency};
    assert_close(efficiency, 0.8788524590, 1e-9, 0.0);
    assert_close(city_range / MILE_M, 232.6478897, 1e-9, 0.0);
    assert_close(highway_range / MILE_M, 240.1915284, 1e-9, 0.0);
    assert_close(label_city / MILE_M, 162.8535, 0.0, 5e-5);
    assert_close(label_highway / MILE_M, 168.1341, 0.0, 5e-5);
    assert_close(relate2(Q_label_range, label_city, label_highway) / MILE_M, 165.2298, 0.0, 5e-5);
    double wall = relate2(Q_city_wall_consumption, city, efficiency);
    assert_close(wall / WH_PER_MI, 262.1988108, 1e-9, 0.0);
    /* 2.708002196 mi/kWh combined */
    assert_close(WH_PER_MI / relate(Q_label_consumption, in) * 1000.0, 2.708002196, 1e-9, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(labels_follow_from_consumption_and_recharge),
        cmocka_unit_test(worked_example),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
