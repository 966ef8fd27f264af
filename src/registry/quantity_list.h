/* QUANTITY(name, measure, role, low, high, low_open, high_open, fallback, fallback_source,
 *          fallback_warning, meaning), domain and fallback in SI. Included by quantity.h for the
 * ids and by quantity.c for the rows; no include guard on purpose. */
#define ANY -INFINITY, INFINITY, true, true
#define POSITIVE 0.0, INFINITY, true, true
#define NOT_NEGATIVE 0.0, INFINITY, false, true
#define SHARE 0.0, 1.0, true, false /* (0, 1] */
#define NO_FALLBACK NAN, NULL, NULL

/* clang-format off */
/* pack */
QUANTITY(cell_count, count, QUANTITY_VEHICLE, 1.0, 1e6, false, false, NO_FALLBACK, "number of cells in the pack")
QUANTITY(cell_charge, charge, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "charge (capacity) of one cell")
QUANTITY(cell_voltage, voltage, QUANTITY_VEHICLE, 0.0, 10.0, true, false, NO_FALLBACK, "nominal voltage of one cell")
QUANTITY(cell_energy, energy, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "nominal energy of one cell")
QUANTITY(cell_mass, small_mass, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "mass of one cell")
QUANTITY(cell_diameter, small_length, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "diameter of a cylindrical cell")
QUANTITY(cell_height, small_length, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "height of a cylindrical cell")
QUANTITY(cell_length, small_length, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "length of a prismatic or pouch cell")
QUANTITY(cell_width, small_length, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "width of a prismatic or pouch cell")
QUANTITY(cell_thickness, small_length, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "thickness of a prismatic or pouch cell")
QUANTITY(cell_volume, volume, QUANTITY_STEP, POSITIVE, NO_FALLBACK, "volume of one cell")
QUANTITY(cell_energy_density, energy_density, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "nominal energy per volume of a cell")
QUANTITY(cell_specific_energy, specific_energy, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "nominal energy per mass of a cell")
QUANTITY(nominal_energy, energy, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "nominal (gross) energy of all cells")
QUANTITY(usable_fraction, ratio, QUANTITY_VEHICLE, SHARE, NO_FALLBACK, "usable share of the nominal energy")
QUANTITY(cells_mass, mass, QUANTITY_STEP, POSITIVE, NO_FALLBACK, "mass of all cells")
QUANTITY(overhead_fraction, ratio, QUANTITY_VEHICLE, 0.0, 1.0, false, true, NO_FALLBACK, "share of the pack's mass that is not cells")
QUANTITY(pack_mass, mass, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "mass of the battery pack")
QUANTITY(pack_specific_energy, specific_energy, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "nominal energy per mass of the pack")

/* usable energy and its routes */
QUANTITY(usable_energy_by_count, energy, QUANTITY_ROUTE, POSITIVE, NO_FALLBACK, "usable energy from the number and kind of cells")
QUANTITY(usable_energy_by_recharge, energy, QUANTITY_ROUTE, POSITIVE, NO_FALLBACK, "usable energy from the certified recharge energy")
QUANTITY(usable_energy_by_road_load, energy, QUANTITY_ROUTE, POSITIVE, NO_FALLBACK, "usable energy for which the worked-out label range equals the stated range")
QUANTITY(usable_energy_by_mass, energy, QUANTITY_ROUTE, POSITIVE, NO_FALLBACK, "usable energy from the mass that is left for the pack")
QUANTITY(usable_energy_by_range, energy, QUANTITY_ROUTE, POSITIVE, NO_FALLBACK, "usable energy scaled from a reference by stated range")
QUANTITY(usable_energy, energy, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "usable DC energy of a full discharge")

/* charging */
QUANTITY(charge_efficiency, ratio, QUANTITY_VEHICLE, SHARE, NO_FALLBACK, "usable DC energy per wall energy of a full recharge")
QUANTITY(charge_transfer, ratio, QUANTITY_VEHICLE, POSITIVE, 1.0, "the reference's value taken over unchanged",
         "the reference's charge efficiency is taken over as exactly equal, which overstates the confidence", "factor on a charge efficiency taken over from a reference")
QUANTITY(stated_recharge_energy, energy, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "certified wall energy of a full recharge")
QUANTITY(recharge_energy, energy, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "wall energy of a full recharge")

/* mass */
QUANTITY(stated_curb_mass, mass, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "published curb weight")
QUANTITY(glider_mass, mass, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "mass of the vehicle without its pack")
QUANTITY(glider_change, mass, QUANTITY_VEHICLE, ANY, NO_FALLBACK, "subject's glider mass less the reference's")
QUANTITY(curb_mass, mass, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "curb weight from glider and pack")
QUANTITY(curb_mass_gap, mass, QUANTITY_VEHICLE, ANY, NO_FALLBACK, "published less worked-out curb weight")
QUANTITY(test_mass, mass, QUANTITY_STEP, POSITIVE, NO_FALLBACK, "test weight on the dynamometer")

/* road load */
QUANTITY(road_load_a, force, QUANTITY_VEHICLE, ANY, NO_FALLBACK, "constant term A of the target road load, before road_load_factor")
QUANTITY(road_load_b, force_per_speed, QUANTITY_VEHICLE, ANY, NO_FALLBACK, "linear term B of the target road load, before road_load_factor")
QUANTITY(road_load_c, force_per_speed2, QUANTITY_VEHICLE, NOT_NEGATIVE, NO_FALLBACK, "quadratic term C of the target road load, before road_load_factor")
QUANTITY(rolling_coefficient, ratio, QUANTITY_VEHICLE, 0.0, 0.1, true, false, NO_FALLBACK, "rolling resistance per weight")
QUANTITY(drag_area, area, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "drag coefficient times frontal area")
QUANTITY(air_density, density, QUANTITY_VEHICLE, 0.0, 2.0, true, false, REFERENCE_AIR_DENSITY, "dry air at 20 degC and 98.21 kPa, 40 CFR 1066.305(a)", NULL, "air density in C = air_density drag_area / 2")
QUANTITY(road_load_factor, ratio, QUANTITY_VEHICLE, POSITIVE, 1.0, "the road load as given", NULL, "factor on A, B and C")
QUANTITY(implied_road_load_factor, ratio, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "road_load_factor for which the label range equals the stated range")

/* cycles */
QUANTITY(rotating_mass_factor, ratio, QUANTITY_VEHICLE, 1.0, 1.5, false, false, 1.015, "one axle's rotating parts, SAE J2951 (from memory)", NULL, "effective mass in acceleration per test mass")
QUANTITY(drive_efficiency, ratio, QUANTITY_VEHICLE, SHARE, NO_FALLBACK, "battery to wheel, without the driveline drag that is inside A, B, C")
QUANTITY(efficiency_transfer, ratio, QUANTITY_VEHICLE, POSITIVE, 1.0, "the reference's value taken over unchanged",
         "the reference's drive efficiency is taken over as exactly equal, which overstates the confidence", "factor on a drive efficiency taken over from a reference")
QUANTITY(regen_efficiency, ratio, QUANTITY_VEHICLE, 0.0, 1.0, false, false, NO_FALLBACK, "share of the braking work that returns to the battery")
QUANTITY(accessory_power, power, QUANTITY_VEHICLE, NOT_NEGATIVE, 0.0, "common practice, no source: the base load of a dynamometer test is left inside drive_efficiency", NULL, "electrical power of accessories")
QUANTITY(city_traction, energy, QUANTITY_STEP, NOT_NEGATIVE, NO_FALLBACK, "traction work at the wheels over UDDS")
QUANTITY(city_braking, energy, QUANTITY_STEP, NOT_NEGATIVE, NO_FALLBACK, "braking work at the wheels over UDDS")
QUANTITY(highway_traction, energy, QUANTITY_STEP, NOT_NEGATIVE, NO_FALLBACK, "traction work at the wheels over HWFET")
QUANTITY(highway_braking, energy, QUANTITY_STEP, NOT_NEGATIVE, NO_FALLBACK, "braking work at the wheels over HWFET")
QUANTITY(city_consumption, consumption, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "DC consumption over UDDS")
QUANTITY(highway_consumption, consumption, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "DC consumption over HWFET")
QUANTITY(city_wall_consumption, consumption, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "unadjusted wall consumption over UDDS")
QUANTITY(highway_wall_consumption, consumption, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "unadjusted wall consumption over HWFET")

/* label */
QUANTITY(label_factor_city, ratio, QUANTITY_VEHICLE, SHARE, 0.7, "40 CFR 600.210-12(d)(3)", NULL, "label range per city range")
QUANTITY(label_factor_highway, ratio, QUANTITY_VEHICLE, SHARE, 0.7, "40 CFR 600.210-12(d)(3)", NULL, "label range per highway range")
QUANTITY(city_range, distance, QUANTITY_STEP, POSITIVE, NO_FALLBACK, "unadjusted range over UDDS")
QUANTITY(highway_range, distance, QUANTITY_STEP, POSITIVE, NO_FALLBACK, "unadjusted range over HWFET")
QUANTITY(label_range_city, distance, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "city range on the label")
QUANTITY(label_range_highway, distance, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "highway range on the label")
QUANTITY(label_range, distance, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "combined range on the label")
QUANTITY(stated_range, distance, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "published combined label range")
QUANTITY(label_consumption, consumption, QUANTITY_VEHICLE, POSITIVE, NO_FALLBACK, "combined wall consumption on the label")
QUANTITY(consumption_ratio, ratio, QUANTITY_VEHICLE, POSITIVE, 1.0, "the reference's consumption taken over unchanged",
         "subject and reference are taken to consume exactly the same per distance, which overstates the confidence", "subject's label consumption per the reference's, DC")

/* trips */
QUANTITY(speed, speed, QUANTITY_CONDITION, 0.0, 150.0, true, false, NO_FALLBACK, "steady speed")
QUANTITY(payload_mass, mass, QUANTITY_CONDITION, NOT_NEGATIVE, 0.0, "no load beyond the test weight", NULL, "load beyond the test weight")
QUANTITY(air_temperature, temperature, QUANTITY_CONDITION, 180.0, 340.0, false, false, REFERENCE_TEMPERATURE, "road-load reference condition, 40 CFR 1066.305(a)", NULL, "outside air temperature")
QUANTITY(elevation, elevation, QUANTITY_CONDITION, -500.0, 9000.0, false, false, REFERENCE_ELEVATION, "where the US Standard Atmosphere 1976 has the 98.21 kPa of 40 CFR 1066.305(a)", NULL, "height above sea level")
QUANTITY(trip_air_density, density, QUANTITY_CONDITION, 0.0, 2.0, true, false, NO_FALLBACK, "air density on the trip, from air_temperature and elevation unless given")
QUANTITY(headwind, speed, QUANTITY_CONDITION, -60.0, 60.0, false, false, 0.0, "calm, 40 CFR 1066.305(a)", NULL, "wind against the vehicle; negative is a tailwind")
QUANTITY(grade, grade, QUANTITY_CONDITION, -0.5, 0.5, false, false, 0.0, "level, 40 CFR 1066.305(a)", NULL, "rise per horizontal distance")
QUANTITY(reserve_fraction, ratio, QUANTITY_CONDITION, 0.0, 1.0, false, true, 0.0, "driven to empty", NULL, "share of the usable energy that is kept back")
QUANTITY(trip_consumption, consumption, QUANTITY_TRIP_RESULT, POSITIVE, NO_FALLBACK, "DC consumption on the trip")
QUANTITY(trip_range, distance, QUANTITY_TRIP_RESULT, POSITIVE, NO_FALLBACK, "range on the trip, reserve kept")
/* clang-format on */

#undef ANY
#undef POSITIVE
#undef NOT_NEGATIVE
#undef SHARE
#undef NO_FALLBACK
