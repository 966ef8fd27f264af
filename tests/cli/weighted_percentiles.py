#!/usr/bin/python3
"""Percentiles of weighted samples agree with a sort of these to 1e-4 interquartile ranges, also where
the evidence leaves few of them, and where there are hundreds of candidates.

    weighted_percentiles.py PACKSPAN PROJECT"""
import csv
import io
import shutil
import subprocess
import sys
import tempfile

import numpy

PROMISE = 1e-4
ROUNDED = 2e-8  # of the rank: weights are whole numbers of 2^-26 of the heaviest


def samples_of(folder):
    """Names of the columns, weights, values."""
    with open(f"{folder}/samples.csv", encoding="utf-8") as file:
        head = next(csv.reader(file))
        rows = [line.rstrip("\n").split(",") for line in file]
    first = head.index("weight")
    text = "\n".join(",".join(field or "nan" for field in row[first:]) for row in rows)
    values = numpy.loadtxt(io.StringIO(text), delimiter=",")
    names = [name.rsplit(" (", 1)[0] for name in head[first + 1:]]
    return names, values[:, 0], values[:, 1:]


def distance(x, cumulated, p, value):
    """From the sample that has the rank, or from the nearest that rounding may give it to."""
    at = [min(int(numpy.searchsorted(cumulated, (p + d) * cumulated[-1])), len(x) - 1) for d in (-ROUNDED, 0, ROUNDED)]
    return max(x[at[0]] - value, value - x[at[2]], 0.0)


def check(program, place, case, samples):
    out = f"{place}/out"
    subprocess.run([program, "run", case, "--quiet", f"--samples={samples}", f"--keep={samples}", "-o", out],
                   check=True, stderr=subprocess.DEVNULL)
    names, weights, values = samples_of(out)
    compared = 0
    with open(f"{out}/summary.csv", newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row.get("candidate", "mixture") != "mixture":
                continue
            column = names.index(f"{row['vehicle']}.{row['quantity']}")
            of = numpy.isfinite(values[:, column]) & (weights > 0)
            order = numpy.argsort(values[of, column], kind="stable")
            x, cumulated = values[of, column][order], numpy.cumsum(weights[of][order])
            low, high = (x[numpy.searchsorted(cumulated, p * cumulated[-1])] for p in (0.25, 0.75))
            for name in ("p01", "p05", "p10", "p25", "p50", "p75", "p90", "p95", "p99"):
                if high > low:
                    off = distance(x, cumulated, int(name[1:]) / 100, float(row[name])) / (high - low)
                    assert off <= PROMISE, (case, row["quantity"], name, off)
                    compared += 1
    print(f"{case}: {compared} percentiles", flush=True)
    assert compared > 100
    shutil.rmtree(out)


def main():
    program, project = sys.argv[1:]
    with tempfile.TemporaryDirectory() as place:
        sharp = f"{place}/sharp"
        shutil.copytree(f"{project}/tests/data/cases/plain", sharp)
        with open(f"{sharp}/evidence.csv", "w", encoding="utf-8") as file:
            file.write("vehicle,quantity,unit,value,sd,source\nnew,nominal_energy,kWh,66.2,0.015,invented\n"
                       "new,usable_energy,kWh,62.6,0.04,invented\n")
        check(program, place, sharp, 100000)

        many = f"{place}/many"
        shutil.copytree(f"{project}/tests/data/cases/plain", many)
        with open(f"{many}/candidates.csv", "w", encoding="utf-8") as file:
            file.write("candidate,weight,vehicle,quantity,unit,shape,best,source\n")
            for k in range(300):
                file.write(f"c{k},{1000 if k >= 240 else 1},new,cell_count,1,fixed,{200 + k},invented\n")
        check(program, place, many, 200)


main()
