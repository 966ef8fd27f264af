"""What the algorithm does for one sample of the bench case, counted off the source."""
import csv
import itertools

from programs import CYCLES, items_of, rows_of

BLOCK = 1024  # samples whose ranges decide which steps are certain, src/model/block.h
COUNTER = "steps_evaluated_per_sample"  # of run.csv, once packspan counts them
MPH, KMH = 1609.344 / 3600, 1 / 3.6

# Operations on doubles: add, multiply, divide, compare or choose count one each.
DRAW = 2 + 13 + 2 + 2  # bits to (0, 1); place in a table and a polynomial of degree 5; limits; unit
STEP = 9               # A, B, C, M each times a sum and added up; the sign; added
SURE = 2 * (8 + 8 + 8 + 5)  # of both cycles: ranges of A, B, C, M; loads; certain steps; net work
RESULTS = 20 + 2 * 7 + 8    # one for each, the consumptions and the combined label besides
TALLY = 6 + 10         # mean and squares in two passes, extremes; place among even bins
INTEGER = 36           # of a draw: one step and the output of PCG64, by 32-bit products


def trace(path):
    with open(path, encoding="utf-8") as file:
        points = list(csv.reader(line for line in file if not line.startswith("#")))[1:]
    points = [(float(time), float(mph) * MPH) for time, mph in points]
    steps = [((v1 + v0) / 2, (v1 - v0) / (t1 - t0)) for (t0, v0), (t1, v1) in zip(points, points[1:])]
    return [(v, a) for v, a in steps if v > 0]


def undecided(steps, block):
    """How many steps have no certain sign over a block of (A, B, C, effective mass)."""
    low, high = [min(x) for x in zip(*block)], [max(x) for x in zip(*block)]
    count = 0
    for v, a in steps:
        inertia = sorted((a * low[3], a * high[3]))
        count += (low[0] + low[1] * v + low[2] * v * v + inertia[0] < 0
                  < high[0] + high[1] * v + high[2] * v * v + inertia[1])
    return count


def loads(folder):
    """(A, B, C, effective mass) in SI of every kept sample, one after the other."""
    with open(folder / "samples.csv", newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            yield (float(row["car.road_load_a (N)"]), float(row["car.road_load_b (N/(km/h))"]) / KMH,
                   float(row["car.road_load_c (N/(km/h)^2)"]) / KMH**2,
                   float(row["car.test_mass (kg)"]) * float(row["car.rotating_mass_factor (1)"]))


class Work:
    """Steps and operations for one sample."""

    def __init__(self, programs, blocks):
        programs.run_packspan(blocks * BLOCK, keep=blocks * BLOCK)
        traces = [trace(CYCLES / f"{name}.csv") for name in ("udds", "hwfet")]
        samples = loads(programs.out / "packspan")
        found = 0
        for _ in range(blocks):
            block = list(itertools.islice(samples, BLOCK))
            found += sum(undecided(steps, block) for steps in traces)
        self.steps = sum(map(len, traces))
        self.undecided = found / blocks
        counted = items_of(programs.out / "packspan").get(COUNTER)
        self.is_counted = counted is not None
        self.evaluated = float(counted) if self.is_counted else self.undecided
        rows = rows_of(programs.out / "packspan" / "summary.csv")
        self.quantities, self.draws = len(rows), sum(row["kind"] == "input" for row in rows)
        self.parts = {"draws": DRAW * self.draws, "steps": STEP * self.evaluated,
                      "relations": SURE + RESULTS, "tallies": TALLY * self.quantities}
        self.operations = sum(self.parts.values())
        self.integers = INTEGER * self.draws
