#!/usr/bin/python3
"""Works a case out a second time, from its sampled inputs alone, and compares every table.

    recompute.py PACKSPAN REPOSITORY

packspan runs each case with all samples kept. Of samples.csv only the inputs are taken; every other
column is worked out again with NumPy from the documented formulas, the two implicit equations by
SciPy's brentq. A column that is neither an input nor known here fails, so does one that is missing.
Then the other tables are held against the kept samples. Evidence and candidates are left out, so
that every sample counts the same.
"""
import csv
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2

CASES = ["configs/demo", "configs/templates/starter", "tests/data/cases/recompute"]
SAMPLES = 1000
MODEL_TOLERANCE = 1e-10  # relative; most agree to 1e-14, curb_mass_gap is a difference of like masses
TABLE_TOLERANCE = 1e-9   # relative; the tables are written with ten digits
PERCENTILE_TOLERANCE = 1e-4  # of the interquartile range

GRAVITY = 9.80665  # m/s2, exact
POUND = 0.45359237  # kg, exact
MILE = 1609.344  # m, exact
MPH, KMH = MILE / 3600, 1 / 3.6
POUND_FORCE = POUND * GRAVITY
KWH = 3.6e6
AIR = 8314.32 / 28.9644  # J/(kg K), US Standard Atmosphere 1976
EARTH = 6356766.0  # m, US Standard Atmosphere 1976
SEA_PRESSURE, SEA_TEMPERATURE, LAPSE = 101325.0, 288.15, 0.0065
REFERENCE_DENSITY = 98210 / (AIR * 293.15)  # 98.21 kPa and 20 degC, 40 CFR 1066.305(a)

UNITS = {"1": 1, "%": 0.01, "Ah": 3600, "V": 1, "Wh": 3600, "kWh": KWH, "MJ": 1e6, "g": 1e-3, "kg": 1, "lb": POUND,
         "mm": 1e-3, "L": 1e-3, "Wh/L": 3.6e6, "Wh/kg": 3600, "m": 1, "m2": 1, "km": 1e3, "mi": MILE,
         "N": 1, "lbf": POUND_FORCE, "N/(km/h)": 1 / KMH, "N/(km/h)^2": 1 / KMH**2, "W": 1,
         "kg/m3": 1, "km/h": KMH, "Wh/km": 3.6, "Wh/mi": 3600 / MILE, "kWh/100km": 36,
         "kWh/100mi": KWH / (100 * MILE)}

# what `packspan quantities` lists as used when a case says nothing
DEFAULTS = {"charge_transfer": 1, "efficiency_transfer": 1, "road_load_factor": 1,
            "rotating_mass_factor": 1.015, "accessory_power": 0, "label_factor_city": 0.7,
            "label_factor_highway": 0.7, "consumption_ratio": 1, "air_density": REFERENCE_DENSITY}
TRIP_DEFAULTS = {"payload_mass": 0, "headwind": 0, "grade": 0, "reserve_fraction": 0,
                 "air_temperature": 293.15}

PERCENTILES = {"p01": 1, "p05": 5, "p10": 10, "p25": 25, "p50": 50, "p75": 75, "p90": 90, "p95": 95,
               "p99": 99}
# IPCC AR5 calibrated language: the narrowest range that holds the probability
LIKELIHOODS = [("virtually certain", 0.99, 1), ("exceptionally unlikely", 0, 0.01),
               ("extremely likely", 0.95, 1), ("extremely unlikely", 0, 0.05),
               ("very likely", 0.9, 1), ("very unlikely", 0, 0.1),
               ("about as likely as not", 0.33, 0.66), ("likely", 0.66, 1), ("unlikely", 0, 0.33)]


class Missing(Exception):
    """A quantity that can not be worked out."""


class Trace:
    """One speed trace: the mean speed, acceleration and length of every step."""

    def __init__(self, path):
        rows = [line for line in path.read_text().splitlines() if line and not line.startswith("#")]
        unit = {"speed_mph": MPH, "speed_kmh": KMH}[rows[0].split(",")[1].strip()]
        time, speed = np.array([[float(x) for x in row.split(",")] for row in rows[1:]]).T
        speed = speed * unit
        self.step = np.diff(time)
        self.speed = (speed[1:] + speed[:-1]) / 2
        self.acceleration = np.diff(speed) / self.step
        self.duration = time[-1] - time[0]
        self.distance = np.sum(self.speed * self.step)

    def work(self, road_load, mass, rotating_mass_factor, wind=0.0, density_ratio=1.0, slope=0.0):
        """Traction and braking work at the wheels; arguments are numbers or one value a sample."""
        a, b, c, mass, turning, wind, ratio, slope = [
            np.reshape(x, (-1, 1)) for x in (*road_load, mass, rotating_mass_factor, wind, density_ratio, slope)]
        air = self.speed + wind
        force = (a + b * self.speed + ratio * c * air * np.abs(air) + turning * mass * self.acceleration
                 + mass * GRAVITY * slope)
        work = force * self.speed * self.step
        return np.sum(np.where(work > 0, work, 0), 1), np.sum(np.where(work < 0, -work, 0), 1)


def consumption(trace, work, drive, regen, accessory):
    traction, braking = work
    return (traction / drive - regen * braking + accessory * trace.duration) / trace.distance


def combined(city, highway):
    return 0.55 * city + 0.45 * highway


class Vehicle:
    """The values of one vehicle in SI; v["quantity"] works out what is not given."""

    def __init__(self, name, role, given, fleet, traces, unknown=()):
        self.name, self.role, self.given, self.values = name, role, given, dict(given)
        self.fleet, self.traces, self.open = fleet, traces, set(unknown)

    def __getitem__(self, name):
        if name in self.open:
            raise Missing(name)
        if name not in self.values:
            self.values[name] = self.work_out(name)
        return self.values[name]

    def work_out(self, name):
        if name in ROUTES and "usable_energy" not in self.open:
            return self.without_usable_energy()[name]
        self.open.add(name)
        try:
            for rule in RULES.get(name, []):
                try:
                    return rule(self)
                except Missing:
                    pass
        finally:
            self.open.remove(name)
        if name in DEFAULTS:
            return DEFAULTS[name]
        raise Missing(name)

    def without_usable_energy(self):
        """The same vehicle for its routes: none may rest on the usable energy that it leads to."""
        return Vehicle(self.name, self.role, self.given, self.fleet, self.traces, ["usable_energy"])

    def subject(self):
        if self.role != "subject":
            raise Missing("of the subject only")
        return self

    def reference(self):
        if self.role != "reference":
            raise Missing("of references only")
        return self

    def mean_of_references(self, formula):
        self.subject()
        found = []
        for other in self.fleet:
            if other.role == "reference":
                try:
                    found.append(formula(other))
                except Missing:
                    pass
        if not found:
            raise Missing("no reference has it")
        return sum(found) / len(found)

    def road_load(self):
        return [self["road_load_factor"] * self["road_load_" + x] for x in "abc"]


def label_range(v, energy, city, highway):
    return combined(v["label_factor_city"] * energy / city, v["label_factor_highway"] * energy / highway)


def solve(equation, low, high, count):
    return np.array([brentq(equation, low, high, args=(i,), xtol=1e-15, rtol=1e-15) for i in range(count)])


def every_sample(v, *names):
    return [np.broadcast_to(np.asarray(v[name], float), SAMPLES) for name in names]


def calibrated_drive_efficiency(v):
    """The drive efficiency for which a reference's label range is the stated one."""
    v.reference()
    energy, stated, regen, accessory, city_factor, highway_factor = every_sample(
        v, "usable_energy", "stated_range", "regen_efficiency", "accessory_power", "label_factor_city",
        "label_factor_highway")
    city, highway = v.traces["udds"], v.traces["hwfet"]
    city_work = every_sample(v, "city_traction", "city_braking")
    highway_work = every_sample(v, "highway_traction", "highway_braking")

    def gap(drive, i):
        dc = [consumption(trace, (work[0][i], work[1][i]), drive, regen[i], accessory[i])
              for trace, work in ((city, city_work), (highway, highway_work))]
        return combined(city_factor[i] * energy[i] / dc[0], highway_factor[i] * energy[i] / dc[1]) - stated[i]

    return solve(gap, 0.3, 1.4, SAMPLES)


def implied_road_load_factor(v):
    """The factor on the subject's A, B, C for which its label range is the stated one."""
    v.subject()
    (energy, stated, regen, accessory, city_factor, highway_factor, drive, mass, turning, a, b, c) = every_sample(
        v, "usable_energy", "stated_range", "regen_efficiency", "accessory_power", "label_factor_city",
        "label_factor_highway", "drive_efficiency", "test_mass", "rotating_mass_factor", "road_load_a",
        "road_load_b", "road_load_c")
    traces = v.traces["udds"], v.traces["hwfet"]
    resistance = [np.outer(a, trace.speed**0) + np.outer(b, trace.speed) + np.outer(c, trace.speed**2)
                  for trace in traces]
    inertia = [np.outer(turning * mass, trace.acceleration) for trace in traces]

    def gap(factor, i):
        dc = []
        for trace, resisting, inert in zip(traces, resistance, inertia):
            work = (factor * resisting[i] + inert[i]) * trace.speed * trace.step
            parts = work[work > 0].sum(), -work[work < 0].sum()
            dc.append(consumption(trace, parts, drive[i], regen[i], accessory[i]))
        return combined(city_factor[i] * energy[i] / dc[0], highway_factor[i] * energy[i] / dc[1]) - stated[i]

    return solve(gap, 0.2, 3, SAMPLES)


def cycle_work(v, cycle, part):
    return v.traces[cycle].work(v.road_load(), v["test_mass"], v["rotating_mass_factor"])[part]


def cycle_consumption(v, cycle, name):
    return consumption(v.traces[cycle], (v[name + "_traction"], v[name + "_braking"]), v["drive_efficiency"],
                       v["regen_efficiency"], v["accessory_power"])


def zero_linear_term(v):
    return 0 * v["rolling_coefficient"] * v["drag_area"]


ROUTES = {"usable_energy_by_" + way for way in ("count", "recharge", "road_load", "mass", "range")}

RULES = {
    "cell_energy": [lambda v: v["cell_charge"] * v["cell_voltage"],
                    lambda v: v["cell_energy_density"] * v["cell_volume"]],
    "cell_volume": [lambda v: np.pi / 4 * v["cell_diameter"] ** 2 * v["cell_height"],
                    lambda v: v["cell_length"] * v["cell_width"] * v["cell_thickness"]],
    "cell_energy_density": [lambda v: v["cell_energy"] / v["cell_volume"]],
    "cell_specific_energy": [lambda v: v["cell_energy"] / v["cell_mass"]],
    "nominal_energy": [lambda v: v["cell_count"] * v["cell_energy"]],
    "cells_mass": [lambda v: v["cell_count"] * v["cell_mass"]],
    "pack_mass": [lambda v: v["cells_mass"] / (1 - v["overhead_fraction"])],
    "pack_specific_energy": [lambda v: v["nominal_energy"] / v["pack_mass"],
                             lambda v: v["cell_specific_energy"] * (1 - v["overhead_fraction"])],
    "usable_energy_by_count": [lambda v: v["nominal_energy"] * v["usable_fraction"]],
    "usable_energy_by_recharge": [lambda v: v["stated_recharge_energy"] * v["charge_efficiency"]],
    "usable_energy_by_road_load": [
        lambda v: v["stated_range"] / label_range(v, 1, v["city_consumption"], v["highway_consumption"])],
    "usable_energy_by_mass": [
        lambda v: (v.subject()["stated_curb_mass"] - v.mean_of_references(lambda r: r["glider_mass"])
                   - v["glider_change"]) * v["pack_specific_energy"] * v["usable_fraction"]],
    "usable_energy_by_range": [
        lambda v: v["stated_range"] * v["consumption_ratio"]
        * v.mean_of_references(lambda r: r["usable_energy"] / r["stated_range"])],
    "usable_energy": [lambda v, way=way: v["usable_energy_by_" + way]
                      for way in ("count", "recharge", "road_load", "mass", "range")],
    "charge_efficiency": [
        lambda v: v.reference()["usable_energy"] / v["stated_recharge_energy"],
        lambda v: v["charge_transfer"] * v.mean_of_references(lambda r: r["charge_efficiency"])],
    "recharge_energy": [lambda v: v["usable_energy"] / v["charge_efficiency"]],
    "glider_mass": [
        lambda v: v.reference()["stated_curb_mass"] - v["pack_mass"],
        lambda v: v.mean_of_references(lambda r: r["glider_mass"]) + v["glider_change"]],
    "curb_mass": [lambda v: v["glider_mass"] + v["pack_mass"]],
    "curb_mass_gap": [lambda v: v.subject()["stated_curb_mass"] - v["curb_mass"]],
    "test_mass": [lambda v: v["stated_curb_mass"] + 300 * POUND, lambda v: v["curb_mass"] + 300 * POUND],
    "road_load_a": [lambda v: v["rolling_coefficient"] * v["test_mass"] * GRAVITY],
    "road_load_b": [zero_linear_term],
    "road_load_c": [lambda v: v["air_density"] * v["drag_area"] / 2],
    "drive_efficiency": [
        calibrated_drive_efficiency,
        lambda v: v["efficiency_transfer"] * v.mean_of_references(lambda r: r["drive_efficiency"])],
    "city_traction": [lambda v: cycle_work(v, "udds", 0)],
    "city_braking": [lambda v: cycle_work(v, "udds", 1)],
    "highway_traction": [lambda v: cycle_work(v, "hwfet", 0)],
    "highway_braking": [lambda v: cycle_work(v, "hwfet", 1)],
    "city_consumption": [lambda v: cycle_consumption(v, "udds", "city")],
    "highway_consumption": [lambda v: cycle_consumption(v, "hwfet", "highway")],
    "city_wall_consumption": [lambda v: v["city_consumption"] / v["charge_efficiency"]],
    "highway_wall_consumption": [lambda v: v["highway_consumption"] / v["charge_efficiency"]],
    "city_range": [lambda v: v["usable_energy"] / v["city_consumption"]],
    "highway_range": [lambda v: v["usable_energy"] / v["highway_consumption"]],
    "label_range_city": [lambda v: v["label_factor_city"] * v["city_range"]],
    "label_range_highway": [lambda v: v["label_factor_highway"] * v["highway_range"]],
    "label_range": [lambda v: combined(v["label_range_city"], v["label_range_highway"])],
    "label_consumption": [
        lambda v: combined(v["city_consumption"] / (v["label_factor_city"] * v["charge_efficiency"]),
                           v["highway_consumption"] / (v["label_factor_highway"] * v["charge_efficiency"]))],
    "implied_road_load_factor": [implied_road_load_factor],
}


def air_density(temperature, elevation):
    """Ideal gas at the pressure of US Standard Atmosphere 1976; elevation is geometric."""
    height = EARTH * elevation / (EARTH + elevation)
    pressure = SEA_PRESSURE * (1 - LAPSE * height / SEA_TEMPERATURE) ** (GRAVITY / (AIR * LAPSE))
    return pressure / (AIR * temperature)


def reference_elevation():
    """Where the standard atmosphere has 98.21 kPa."""
    return brentq(lambda z: air_density(293.15, z) - REFERENCE_DENSITY, 0, 1000, xtol=1e-12, rtol=1e-15)


class Trip:
    def __init__(self, cycle, given):
        self.cycle, self.values = cycle, dict(TRIP_DEFAULTS, elevation=reference_elevation())
        self.values.update(given)
        self.given_density = "trip_air_density" in given
        if not self.given_density:
            self.values["trip_air_density"] = air_density(self.values["air_temperature"], self.values["elevation"])

    def consumption(self, v):
        t = self.values
        ratio = (v["test_mass"] + t["payload_mass"]) / v["test_mass"]
        a, b, c = v.road_load()
        load = a * ratio, b * ratio, c
        mass = v["test_mass"] + t["payload_mass"]
        density_ratio = t["trip_air_density"] / REFERENCE_DENSITY
        slope = np.sin(np.arctan(t["grade"]))
        accessory = t["accessory_power"] if "accessory_power" in t else v["accessory_power"]
        if self.cycle == "steady":
            air = t["speed"] + t["headwind"]
            force = (load[0] + load[1] * t["speed"] + density_ratio * c * air * np.abs(air)
                     + mass * GRAVITY * slope)
            return force / v["drive_efficiency"] + accessory / t["speed"]
        trace = v.traces[self.cycle]
        work = trace.work(load, mass, v["rotating_mass_factor"], t["headwind"], density_ratio, slope)
        return consumption(trace, work, v["drive_efficiency"], v["regen_efficiency"], accessory)

    def range(self, v):
        return v["usable_energy"] * (1 - self.values["reserve_fraction"]) / self.consumption(v)


def to_si(x, unit):
    return x + 273.15 if unit == "degC" else x * UNITS[unit]


def from_si(x, unit):
    return x - 273.15 if unit == "degC" else x / UNITS[unit]


def read(path):
    with open(path, newline="") as table:
        return list(csv.DictReader(line for line in table if line.strip() and not line.startswith("#")))


def read_samples(out):
    """The columns of samples.csv by (vehicle, quantity), each with its unit."""
    with open(out / "samples.csv", newline="") as table:
        header = next(csv.reader(table))
        values = np.loadtxt(table, delimiter=",", ndmin=2)
    columns = {}
    for name, column in zip(header, values.T):
        text, unit = name[:-1].split(" (", 1)
        columns[tuple(text.split(".", 1))] = unit, column
    return columns


def work_out_case(case, cycles, inputs):
    """Every column that follows from the inputs (SI), by (vehicle, quantity)."""
    traces = {path.stem: Trace(path) for path in cycles.glob("*.csv")}
    traces.update({path.stem[len("cycle_"):]: Trace(path) for path in case.glob("cycle_*.csv")})
    shared = {quantity: x for (vehicle, quantity), x in inputs.items() if vehicle == "all"}
    fleet = []
    for row in read(case / "vehicles.csv"):
        own = {quantity: x for (vehicle, quantity), x in inputs.items() if vehicle == row["vehicle"]}
        common = {quantity: x for quantity, x in shared.items() if "." not in quantity}
        fleet.append(Vehicle(row["vehicle"], row["role"], {**common, **own}, fleet, traces))
    worked, trips = {}, {}
    for row in read(case / "trips.csv"):
        if row["quantity"] == "cycle":
            name = row["trip"]
            given = {q.split(".")[0]: x for q, x in shared.items() if q.endswith("." + name)}
            trips[name] = Trip(row["best"], given)
            if not trips[name].given_density:
                worked["all", "trip_air_density." + name] = trips[name].values["trip_air_density"]
    for v in fleet:
        columns = {quantity: (lambda q=quantity: v[q]) for quantity in RULES if (v.name, quantity) not in inputs}
        for name, trip in trips.items():
            columns["trip_consumption." + name] = lambda t=trip: t.consumption(v)
            columns["trip_range." + name] = lambda t=trip: t.range(v)
        for quantity, formula in columns.items():
            try:
                worked[v.name, quantity] = formula()
            except Missing:
                pass
    return worked


class Report:
    """Failures, and the worst deviation of everything that is compared."""

    def __init__(self):
        self.failures, self.worst = [], {}

    def fail(self, text):
        self.failures.append(text)

    def hold(self, name, where, deviation, tolerance):
        deviation = float(np.max(deviation))
        if not deviation <= self.worst.get(name, (0, 0))[0]:
            self.worst[name] = deviation, where
        if not deviation <= tolerance:
            self.fail(f"{where}: {name} is off by {deviation:.3g}, allowed {tolerance:g}")


def relative(a, b):
    size = np.maximum(np.abs(a), np.abs(b))
    return np.where(a == b, 0, np.abs(a - b) / np.where(size > 0, size, 1))


def expected_kind(vehicle, quantity, inputs):
    if (vehicle, quantity) in inputs:
        return "input"
    if quantity in ROUTES:
        return "route"
    return "trip" if quantity.startswith(("trip_consumption.", "trip_range.")) else "worked_out"


def check_model(case, cycles, columns, kinds, report):
    inputs = {key: to_si(x, unit) for key, (unit, x) in columns.items() if kinds.get(key) == "input"}
    worked = work_out_case(case, cycles, inputs)
    for key in set(columns) ^ set(kinds):
        report.fail(f"{case.name}: {'.'.join(key)} is not in both summary.csv and samples.csv")
    for key in set(columns) - set(inputs) - set(worked):
        report.fail(f"{case.name}: {'.'.join(key)} is neither an input nor recomputed")
    for key in set(worked) - set(columns):
        report.fail(f"{case.name}: {'.'.join(key)} can be worked out and is not in samples.csv")
    for key in set(worked) & set(columns):
        unit, column = columns[key]
        if kinds[key] != expected_kind(*key, inputs):
            report.fail(f"{case.name}: {'.'.join(key)} has the kind {kinds[key]}")
        if len(column) != SAMPLES:
            report.fail(f"{case.name}: {'.'.join(key)} has {len(column)} samples")
        report.hold(key[1].split(".")[0], f"{case.name} {'.'.join(key)}",
                    relative(column, from_si(np.broadcast_to(worked[key], SAMPLES), unit)), MODEL_TOLERANCE)


def check_summary(case, rows, columns, report):
    for row in rows:
        where = f"{case.name} {row['vehicle']}.{row['quantity']}"
        unit, x = columns[row["vehicle"], row["quantity"]]
        if row["unit"] != unit or int(row["samples"]) != len(x):
            report.fail(f"{where}: unit {row['unit']} and {row['samples']} samples in summary.csv")
        spread = 0 if np.all(x == x[0]) else np.std(x, ddof=1)
        moments = {"mean": np.mean(x), "sd": spread, "min": np.min(x), "max": np.max(x),
                   "mean_error": spread / np.sqrt(len(x))}
        for name, expected in moments.items():
            report.hold("summary " + name, where, relative(float(row[name]), expected), TABLE_TOLERANCE)
        lower, upper = np.percentile(x, [25, 75])
        for name, percent in PERCENTILES.items():
            expected = np.percentile(x, percent)
            off = abs(float(row[name]) - expected)
            if upper > lower:
                report.hold("summary percentiles (of the IQR)", where, off / (upper - lower), PERCENTILE_TOLERANCE)
            else:
                report.hold("summary percentiles (constant)", where, relative(float(row[name]), expected),
                            TABLE_TOLERANCE)
        low, high = shortest95(x)
        off = max(abs(float(row["shortest95_low"]) - low), abs(float(row["shortest95_high"]) - high))
        if upper > lower:
            report.hold("summary shortest95 (of the IQR)", where, off / (upper - lower), PERCENTILE_TOLERANCE)


def shortest95(x):
    """JCGM 101:2008 7.7.4: the shortest [y(r), y(r + q)], q = pM."""
    y = np.sort(x)
    q = int(0.95 * len(y) + 0.5)
    r = np.argmin(y[q:] - y[:-q])
    return y[r], y[r + q]


def check_consensus(case, routes, agreed, columns, report):
    """Generalised least squares with the samples' covariance, Cox (Metrologia 39, 2002) procedure A."""
    vehicles = {row["vehicle"] for row in routes}
    for row in agreed:
        if row["route"] == "usable_energy_consensus":
            vehicles.remove(row["vehicle"])
    for vehicle in vehicles:
        report.fail(f"{case.name}: no consensus of {vehicle}")
    for row in agreed:
        if row["route"] != "usable_energy_consensus":
            continue
        mine = [r for r in routes if r["vehicle"] == row["vehicle"]]
        x = np.array([columns[r["vehicle"], r["route"]][1] for r in mine])
        where = f"{case.name} {row['vehicle']}"
        mean, inverse = x.mean(axis=1), np.linalg.inv(np.atleast_2d(np.cov(x)))
        weights = inverse.sum(axis=0) / inverse.sum()
        value = weights @ mean
        observed = (mean - value) @ inverse @ (mean - value)
        expected = {"mean": value, "sd": inverse.sum() ** -0.5}
        if len(mine) > 1:
            expected |= {"chi_squared": observed, "probability": chi2.sf(observed, len(mine) - 1)}
        elif row["chi_squared"] or row["probability"] or row["verdict"] != "one route":
            report.fail(f"{where}: one route is said to pass a test")
        for name, number in expected.items():
            report.hold("consensus " + name, where, abs(float(row[name]) - number) / max(abs(number), 1.0), 1e-8)
        for r, weight in zip(mine, weights):
            report.hold("consensus weight", where, abs(float(r["weight"]) - weight), 1e-8)


def check_routes(case, rows, columns, report):
    kept = {key for key in columns if key[1] in ROUTES}
    agreed = [row for row in rows if row["route"] not in ROUTES]
    check_consensus(case, [row for row in rows if row["route"] in ROUTES], agreed, columns, report)
    for row in rows:
        if row in agreed:
            continue
        key = row["vehicle"], row["route"]
        if key not in kept:
            report.fail(f"{case.name}: route {'.'.join(key)} is there twice or has no samples")
            continue
        kept.remove(key)
        x = columns[key][1]
        where = f"{case.name} {'.'.join(key)}"
        report.hold("routes mean", where, relative(float(row["mean"]), np.mean(x)), TABLE_TOLERANCE)
        report.hold("routes sd", where, relative(float(row["sd"]), np.std(x, ddof=1)), TABLE_TOLERANCE)
        lower, upper = np.percentile(x, [25, 75])
        for name, percent in PERCENTILES.items():
            report.hold("routes percentiles (of the IQR)", where,
                        abs(float(row[name]) - np.percentile(x, percent)) / (upper - lower), PERCENTILE_TOLERANCE)
    for key in kept:
        report.fail(f"{case.name}: {'.'.join(key)} is not in routes.csv")


def check_histogram(case, rows, columns, report):
    bins = {}
    for row in rows:
        bins.setdefault((row["vehicle"], row["quantity"]), []).append(row)
    for key in set(columns) ^ set(bins):
        report.fail(f"{case.name}: {'.'.join(key)} is not in both histogram.csv and samples.csv")
    for key in set(columns) & set(bins):
        where, table = f"{case.name} {'.'.join(key)}", bins[key]
        x = np.sort(columns[key][1])
        low, high = (np.array([float(row[name]) for row in table]) for name in ("low", "high"))
        counts = np.array([int(row["count"]) for row in table])
        share, cumulative = (np.array([float(row[name]) for row in table]) for name in ("share", "cumulative"))
        if [int(row["bin"]) for row in table] != list(range(1, len(table) + 1)) or np.any(low[1:] != high[:-1]):
            report.fail(f"{where}: the bins of histogram.csv do not follow each other")
        # An edge is written with ten digits; a sample closer to it than that may lie on either side.
        edges = np.append(low, high[-1])
        doubt = np.abs(edges) * 1e-9
        at_most, at_least = np.searchsorted(x, edges + doubt), np.searchsorted(x, edges - doubt)
        at_least[0], at_most[-1] = 0, len(x)
        below = np.concatenate([[0], np.cumsum(counts)])
        outside = low[0] > x[0] + doubt[0] or high[-1] < x[-1] - doubt[-1]
        if below[-1] != len(x) or np.any(below > at_most) or np.any(below < at_least) or outside:
            report.fail(f"{where}: counts {counts} of histogram.csv are not those of the samples")
        sure = len(table) > 1 and np.all(at_most[1:-1] == at_least[1:-1])
        if sure:
            off = np.max(np.abs(np.histogram(x, np.concatenate([[x[0]], edges[1:-1], [x[-1]]]))[0] - counts))
            report.hold("histogram counts", where, off, 0)
        report.hold("histogram shares", where, relative(share, counts / len(x)), TABLE_TOLERANCE)
        report.hold("histogram cumulative", where, relative(cumulative, below[1:] / len(x)), TABLE_TOLERANCE)
        if len(table) > 1:
            density = np.array([float(row["density"]) for row in table])
            # a width is the difference of two numbers with ten digits
            report.hold("histogram density", where, relative(density, counts / len(x) / (high - low)),
                        TABLE_TOLERANCE * (1 + np.max(np.abs(edges)) / np.min(high - low)))


def likelihood(probability):
    holds = [(high - low, word) for word, low, high in LIKELIHOODS if low <= probability <= high]
    return min(holds)[1]


def wilson_error(p, n):
    """Half of Wilson's interval (J. Amer. Statist. Assoc. 22 (1927) 209) for one standard deviation."""
    return np.sqrt(p * (1 - p) / n + 1 / (4 * n**2)) / (1 + 1 / n)


def judge(sense, x, value, tolerance):
    """The probability that a claim is right, and the verdict."""
    if sense == "is":
        right = np.mean(np.abs(x - value) <= tolerance)
        if np.mean(x > value + tolerance) >= 0.9:
            return right, "understated"
        return right, "overstated" if np.mean(x < value - tolerance) >= 0.9 else "not contradicted"
    right = np.mean(x >= value - tolerance) if sense == "at_least" else np.mean(x <= value + tolerance)
    return right, "holds" if right >= 0.9 else "fails" if 1 - right >= 0.9 else "open"


def check_claims(case, rows, columns, report):
    asked = {row["claim"]: row for row in read(case / "claims.csv")}
    if sorted(asked) != sorted(row["claim"] for row in rows):
        report.fail(f"{case.name}: claims.csv of the result has other claims than the case")
    for row in rows:
        where = f"{case.name} claim {row['claim']}"
        ask = asked[row["claim"]]
        for name in ("vehicle", "quantity", "unit", "sense"):
            if ask[name] != row[name]:
                report.fail(f"{where}: {name} is {row[name]}, the case says {ask[name]}")
        value, tolerance = float(ask["value"]), float(ask["tolerance"] or 0)
        unit, x = columns[ask["vehicle"], ask["quantity"]]
        x = from_si(to_si(x, unit), ask["unit"])
        right, verdict = judge(ask["sense"], x, value, tolerance)
        rank = np.mean(x < value) + np.mean(x == value) / 2  # half of what is equal
        expected = {"value": value, "tolerance": tolerance, "percentile_of_claim": 100 * rank,
                    "probability": right, "probability_error": wilson_error(right, len(x))}
        for name, number in expected.items():
            report.hold("claims " + name, where, relative(float(row[name]), number), TABLE_TOLERANCE)
        lower, upper = np.percentile(x, [25, 75])
        for name, percent in (("median_gap", 50), ("gap_p05", 5), ("gap_p95", 95)):
            off = abs(float(row[name]) - (np.percentile(x, percent) - value))
            report.hold(f"claims {name} (of the IQR)", where, off / (upper - lower) if upper > lower else off,
                        PERCENTILE_TOLERANCE)
        if row["verdict"] != verdict or row["likelihood"] != likelihood(right):
            report.fail(f"{where}: {row['verdict']}, {row['likelihood']} instead of {verdict}, {likelihood(right)}")


def check_case(program, case, cycles, out, report):
    subprocess.run([program, "run", case, "--samples", str(SAMPLES), "--keep", str(SAMPLES), "--quiet",
                    "--out", out], check=True)
    record = {row["item"]: row["value"] for row in read(out / "run.csv")}
    if record["samples"] != str(SAMPLES) or record["invalid_samples"] != "0":
        report.fail(f"{case.name}: run.csv counts {record['samples']} samples, "
                    f"{record['invalid_samples']} of them invalid")
    columns = read_samples(out)
    summary = read(out / "summary.csv")
    kinds = {(row["vehicle"], row["quantity"]): row["kind"] for row in summary}
    if len(kinds) != len(summary):
        report.fail(f"{case.name}: a quantity is twice in summary.csv")
    check_model(case, cycles, columns, kinds, report)
    check_summary(case, [row for row in summary if (row["vehicle"], row["quantity"]) in columns], columns, report)
    check_routes(case, read(out / "routes.csv"), columns, report)
    check_histogram(case, read(out / "histogram.csv"), columns, report)
    check_claims(case, read(out / "claims.csv"), columns, report)


def main():
    program, repository = sys.argv[1], Path(sys.argv[2])
    report = Report()
    for name in CASES:
        with tempfile.TemporaryDirectory() as folder:
            case = Path(folder) / Path(name).name
            shutil.copytree(repository / name, case)
            for table in ("evidence.csv", "candidates.csv"):
                (case / table).unlink(missing_ok=True)
            check_case(program, case, repository / "configs/cycles", Path(folder) / "out", report)
    for name, (deviation, where) in sorted(report.worst.items()):
        print(f"{name:34} {deviation:8.1e}  {where}")
    for failure in report.failures:
        print("FAILED", failure)
    return 1 if report.failures else 0


if __name__ == "__main__":
    sys.exit(main())
