#!/usr/bin/python3
"""The bench case as a careful analyst writes it with NumPy: NumPy's own samplers, the work of every
step of both cycles for a chunk of samples at a time, everything else over whole columns.

    with_numpy.py CYCLES OUT --samples N --seed S --threads T --chunk C --work product|broadcast

CYCLES is the folder of udds.csv and hwfet.csv. Writes OUT/summary.csv and OUT/histogram.csv, in SI,
and prints the seconds that it took without the time to load NumPy. With --errors the summary also
holds the standard errors, which only the comparison with other programs needs."""
import os

os.environ["OPENBLAS_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = "1"  # --threads are processes

import argparse
import csv
import itertools
import mmap
import multiprocessing
import time

import numpy as np
from scipy.special import ndtri

KWH, KMH = 3.6e6, 1 / 3.6
MPH = 1609.344 / 3600
TEST_MASS_MARGIN = 300 * 0.45359237
PERCENTILES = (1, 5, 10, 25, 50, 75, 90, 95, 99)
WITH_ERROR = (5, 50, 95)
BINS = 120


# ---- shapes ----

def lognormal(rng, n, median, log_sd):
    return median * np.exp(log_sd * rng.standard_normal(n))


def pert(rng, n, low, best, high):
    width = high - low
    return low + width * rng.beta(1 + 4 * (best - low) / width, 1 + 4 * (high - best) / width, n)


def trapezoid(rng, n, low, high, top):
    width = high - low  # the sum of two uniforms, JCGM 101:2008 6.4.4
    return low + width / 2 * ((1 + top) * rng.random(n) + (1 - top) * rng.random(n))


def vague_uniform(rng, n, low, high, sd):
    start = low + sd * (2 * rng.random(n) - 1)  # JCGM 101:2008 6.4.3
    return start + (low + high - 2 * start) * rng.random(n)


def split_normal(rng, n, mode, low, high, cover):
    """Two half normals that meet at the mode, with equal tails beyond low and high."""
    reach, tail = np.array([mode - low, high - mode]), (1 - cover) / 2
    sd = reach / -ndtri(tail)
    for _ in range(100):
        sd = reach / -ndtri(tail / 2 * sd.sum() / sd)
    away = np.abs(rng.standard_normal(n))
    return mode + np.where(rng.random(n) < sd[0] / sd.sum(), -sd[0] * away, sd[1] * away)


def draw(rng, n):
    """The inputs of case/inputs.csv, in SI."""
    return {
        "nominal_energy": rng.normal(82 * KWH, 1.5 * KWH, n),
        "usable_fraction": pert(rng, n, 0.88, 0.93, 0.97),
        "pack_mass": split_normal(rng, n, 480, 455, 520, 0.95),
        "glider_mass": 1420 + 12 * rng.standard_t(6, n),
        "road_load_a": rng.normal(145, 6, n),
        "road_load_b": rng.triangular(1.2, 1.6, 2.1, n),
        "road_load_c": lognormal(rng, n, 0.375, 0.03),
        "rotating_mass_factor": rng.uniform(1.01, 1.03, n),
        "drive_efficiency": pert(rng, n, 0.86, 0.91, 0.95),
        "regen_efficiency": trapezoid(rng, n, 0.6, 0.8, 0.4),
        "accessory_power": lognormal(rng, n, 240, 0.25),
        "charge_efficiency": vague_uniform(rng, n, 0.86, 0.9, 0.01),
        "label_factor_city": rng.triangular(0.68, 0.72, 0.76, n),
        "label_factor_highway": rng.normal(0.71, 0.012, n),
    }


# ---- model ----

class Trace:
    """The steps of a speed trace on which the vehicle moves."""

    def __init__(self, path):
        with open(path, encoding="utf-8") as file:
            rows = [line for line in file if not line.startswith("#")][1:]
        clock, speed = np.array([row.split(",") for row in rows], dtype=float).T
        speed *= MPH
        step, v, a = np.diff(clock), (speed[1:] + speed[:-1]) / 2, np.diff(speed) / np.diff(clock)
        moves = v > 0
        self.duration = step.sum()
        self.v, self.a, self.d = v[moves], a[moves], (v * step)[moves]
        self.distance = self.d.sum()
        # work per unit of A, B, C and effective mass
        self.per_unit = np.array([self.d, self.d * self.v, self.d * self.v**2, self.d * self.a])

    def product(self, loads):
        work = loads.T @ self.per_unit
        return np.maximum(work, 0, out=work).sum(axis=1)

    def broadcast(self, loads):
        a, b, c, mass = loads[:, :, np.newaxis]
        work = (a + b * self.v + c * self.v**2 + mass * self.a) * self.d
        return np.maximum(work, 0, out=work).sum(axis=1)

    def works(self, loads, way, chunk):
        """Traction and braking work of every sample."""
        traction = np.empty(loads.shape[1])
        for first in range(0, traction.size, chunk):
            traction[first:first + chunk] = way(self, loads[:, first:first + chunk])
        return traction, traction - self.per_unit.sum(axis=1) @ loads

    def consumption(self, x, traction, braking):
        energy = (traction / x["drive_efficiency"] - x["regen_efficiency"] * braking
                  + x["accessory_power"] * self.duration)
        return energy / self.distance


WAYS = {"product": Trace.product, "broadcast": Trace.broadcast}


def work_out(x, city, highway, way, chunk):
    """Adds the twenty results to the inputs in x."""
    usable = x["usable_energy_by_count"] = x["nominal_energy"] * x["usable_fraction"]
    x["usable_energy"] = usable
    x["pack_specific_energy"] = x["nominal_energy"] / x["pack_mass"]
    x["recharge_energy"] = usable / x["charge_efficiency"]
    x["curb_mass"] = x["glider_mass"] + x["pack_mass"]
    x["test_mass"] = x["curb_mass"] + TEST_MASS_MARGIN
    loads = np.array([x["road_load_a"], x["road_load_b"], x["road_load_c"],
                      x["test_mass"] * x["rotating_mass_factor"]])
    for name, trace in (("city", city), ("highway", highway)):
        traction, braking = trace.works(loads, way, chunk)
        consumption = trace.consumption(x, traction, braking)
        x[f"{name}_traction"], x[f"{name}_braking"] = traction, braking
        x[f"{name}_consumption"] = consumption
        x[f"{name}_wall_consumption"] = consumption / x["charge_efficiency"]
        x[f"{name}_range"] = usable / consumption
        x[f"label_range_{name}"] = x[f"label_factor_{name}"] * x[f"{name}_range"]
    x["label_range"] = 0.55 * x["label_range_city"] + 0.45 * x["label_range_highway"]
    x["label_consumption"] = (0.55 * x["city_consumption"] / x["label_factor_city"]
                              + 0.45 * x["highway_consumption"] / x["label_factor_highway"]
                              ) / x["charge_efficiency"]


# ---- run ----

QUANTITIES = 14 + 20
table = np.empty((QUANTITIES, 0))  # a row a quantity; main() makes it, and processes share it


def fill(first, last, seed, options):
    """Columns first to last - 1 of the table. Returns the names of its rows."""
    city, highway = (Trace(f"{options.cycles}/{name}.csv") for name in ("udds", "hwfet"))
    x = draw(np.random.default_rng(seed), last - first)
    work_out(x, city, highway, WAYS[options.work], options.chunk)
    for row, column in zip(table, x.values(), strict=True):
        row[first:last] = column
    return list(x)


def summarise(row, with_errors):
    """The row of summary.csv and the bins of one quantity."""
    x = table[row]
    n, mean, sd = x.size, x.mean(), x.std(ddof=1)
    summary = [n, mean, sd, *np.percentile(x, PERCENTILES)]
    if with_errors:  # sd by the fourth moment, percentiles by order statistics
        fourth = np.mean((x - mean)**4)
        summary += [sd / np.sqrt(n), np.sqrt((fourth - sd**4) / n) / (2 * sd)]
        for p in WITH_ERROR:
            off = np.sqrt(p * (100 - p) / n)
            summary.append(np.subtract(*np.percentile(x, [p + off, p - off])) / 2)
    low, high = x.min(), x.max()
    bins = np.bincount(((x - low) * (BINS / (high - low))).astype(np.intp), minlength=BINS + 1)
    bins[BINS - 1] += bins[BINS]
    return summary, low, (high - low) / BINS, bins[:BINS]


def run(options, starmap):
    """(name, what summarise() gives) of every quantity."""
    edges = np.linspace(0, options.samples, options.threads + 1).astype(int)
    seeds = np.random.SeedSequence(options.seed).spawn(options.threads)
    names = list(starmap(fill, [(*part, options) for part in zip(edges, edges[1:], seeds)]))[0]
    rows = [(row, options.errors) for row in range(QUANTITIES)]
    return list(zip(names, starmap(summarise, rows)))


def write(options, found):
    os.makedirs(options.out, exist_ok=True)
    header = ["quantity", "samples", "mean", "sd", *(f"p{p:02}" for p in PERCENTILES)]
    if options.errors:
        header += ["mean_error", "sd_error", *(f"p{p:02}_error" for p in WITH_ERROR)]
    with open(f"{options.out}/summary.csv", "w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *([name, *row] for name, (row, *_) in found)])
    with open(f"{options.out}/histogram.csv", "w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["quantity", "low", "high", "count"], *(
            [name, low + k * width, low + (k + 1) * width, count]
            for name, (_, low, width, bins) in found for k, count in enumerate(bins))])


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("cycles")
    parser.add_argument("out")
    parser.add_argument("--samples", type=int, default=100000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--threads", type=int, default=1)
    parser.add_argument("--chunk", type=int, default=128)
    parser.add_argument("--work", choices=WAYS, default="product")
    parser.add_argument("--errors", action="store_true")
    options = parser.parse_args()
    start = time.perf_counter()
    global table
    memory = mmap.mmap(-1, QUANTITIES * options.samples * 8)
    table = np.frombuffer(memory).reshape(QUANTITIES, options.samples)
    if options.threads == 1:
        write(options, run(options, itertools.starmap))
    else:
        with multiprocessing.get_context("fork").Pool(options.threads) as pool:
            write(options, run(options, pool.starmap))
    print(time.perf_counter() - start)


main()
