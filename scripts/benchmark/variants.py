"""Variants of the bench case, to see how time grows with one thing at a time."""
import csv
import shutil

from programs import CASE, DEMO, rows_of

COLUMNS = ["vehicle", "quantity", "unit", "shape", "best", "low", "high", "cover", "sd", "dof", "source"]
# Drawn and tallied, but nothing is worked out from them.
IDLE = [("cell_voltage", "V", 3.6), ("cell_mass", "kg", 1.2), ("cell_diameter", "mm", 46),
        ("cell_length", "mm", 140), ("cell_width", "mm", 90), ("overhead_fraction", "1", 0.3),
        ("glider_change", "kg", 20), ("rolling_coefficient", "1", 0.009), ("drag_area", "m2", 0.6),
        ("air_density", "kg/m3", 1.16), ("charge_transfer", "1", 1), ("consumption_ratio", "1", 1)]
# One shape after the other, with about the same relative width.
SHAPES = [lambda x: {"shape": "normal", "best": x, "sd": 0.02 * x},
          lambda x: {"shape": "pert", "best": x, "low": 0.95 * x, "high": 1.05 * x},
          lambda x: {"shape": "lognormal", "best": x, "sd": 0.02},
          lambda x: {"shape": "triangular", "best": x, "low": 0.95 * x, "high": 1.05 * x}]
TRIP_CYCLES = ["us06", "sc03", "wltc3b", "udds", "hwfet"]
SHARES = {"usable_fraction", "drive_efficiency", "regen_efficiency", "charge_efficiency",
          "label_factor_city", "label_factor_highway"}


def base_inputs():
    with open(CASE / "inputs.csv", encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def write(folder, inputs, trips=(), vehicles=("car",)):
    folder.mkdir(parents=True, exist_ok=True)
    tables = {"vehicles.csv": (["vehicle", "role"], [
                  {"vehicle": v, "role": "reference" if v != "car" else "subject"} for v in vehicles]),
              "inputs.csv": (COLUMNS, inputs),
              "trips.csv": (["trip", "quantity", "unit", "shape", "best"], trips)}
    for name, (columns, rows) in tables.items():
        with open(folder / name, "w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns)
            writer.writeheader()
            writer.writerows(rows)
    return folder


def with_inputs(folder, count):
    more = [{"vehicle": "car", "quantity": quantity, "unit": unit, **SHAPES[k % len(SHAPES)](best)}
            for k, (quantity, unit, best) in enumerate(IDLE[:count])]
    return write(folder, base_inputs() + more)


def with_steady_trips(folder, count):
    trips = []
    for k in range(count):
        trips += [{"trip": f"at_{80 + 5 * k}", "quantity": "cycle", "best": "steady"},
                  {"trip": f"at_{80 + 5 * k}", "quantity": "speed", "unit": "km/h", "shape": "fixed",
                   "best": 80 + 5 * k}]
    return write(folder, base_inputs(), trips)


def with_cycle_trips(folder, count):
    return write(folder, base_inputs(), [{"trip": f"over_{name}", "quantity": "cycle", "best": name}
                                         for name in TRIP_CYCLES[:count]])


def with_vehicles(folder, count):
    vehicles = ["car", *(f"sibling_{k}" for k in range(1, count))]
    inputs = [dict(row, vehicle=vehicle) for vehicle in vehicles for row in base_inputs()]
    return write(folder, inputs, vehicles=vehicles)


def widened(row, factor):
    """All widths times the factor, as far as the quantity's domain goes."""
    row = dict(row)
    centre = float(row["best"]) if row["best"] else (float(row["low"]) + float(row["high"])) / 2
    for column in ("low", "high"):
        if row[column]:
            row[column] = centre + factor * (float(row[column]) - centre)
    if row["sd"]:
        row["sd"] = factor * float(row["sd"])
    if row["quantity"] == "rotating_mass_factor":
        row["low"] = max(row["low"], 1.0)
    margin = row["sd"] or 0.0 if row["shape"] == "vague_uniform" else 0.0
    if row["quantity"] in SHARES and row["high"]:
        row["high"] = min(row["high"], 1.0 - margin)
    return row


def with_width(folder, factor):
    return write(folder, [widened(row, factor) for row in base_inputs()])


def with_axis(folder, points):
    """The demo as a study of the new cell's charge."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(DEMO, folder)
    columns = ["axis", "vehicle", "quantity", "field", "unit", "from", "to", "steps", "spacing", "values",
               "source"]
    with open(folder / "study.csv", "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerow({"axis": "charge", "vehicle": "van", "quantity": "cell_charge", "field": "best",
                         "unit": "Ah", "from": 130, "to": 135, "steps": points, "source": "invented"})
    return folder


# what grows, how a variant is written, how far, one unit of it, what it stands for
FAMILIES = [
    ("inputs", with_inputs, (6, 12), "input", "a further input of mixed shapes, drawn and tallied"),
    ("results", with_steady_trips, (4, 8), "steady trip",
     "a trip at a steady speed: its consumption and range worked out and tallied"),
    ("cycles", with_cycle_trips, (2, 5), "cycle",
     "a trip over a cycle (US06, SC03, WLTC, UDDS, HWFET): its work, consumption and range"),
    ("vehicles", with_vehicles, (2, 4), "vehicle", "a further vehicle with the same inputs and results"),
]
WIDTHS = (0.25, 1, 4)
