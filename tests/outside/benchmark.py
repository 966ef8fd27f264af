#!/usr/bin/python3
"""The programs that scripts/bench measures give the same answers, and the bench does its work.

    benchmark.py PACKSPAN REPOSITORY

Packspan, the NumPy script and the C program with GSL each work the bench case out in their own way;
means, sds and percentiles agree within Monte Carlo error, and do not where an input is off by a
little. No time is judged: the whole bench runs with hardly any samples."""
import csv
import subprocess
import sys
import tempfile
from pathlib import Path

program, project = (Path(word).resolve() for word in sys.argv[1:3])
sys.path.insert(0, str(project / "scripts/benchmark"))
sys.dont_write_bytecode = True

import agreement  # noqa: E402
import variants  # noqa: E402
from programs import Programs  # noqa: E402

SAMPLES = 100000
RESULTS = 20
GROUPS = ["agreement", "peers", "machine", "growth", "accuracy", "studies", "resources"]
failed = 0


def expect(is_so, what):
    global failed
    if not is_so:
        print(f"not so: {what}")
        failed += 1


def shifted(folder, quantity, column, by):
    """The bench case with one number of one input moved."""
    inputs = variants.base_inputs()
    row = next(row for row in inputs if row["quantity"] == quantity)
    row[column] = float(row[column]) + by
    return variants.write(folder, inputs)


with tempfile.TemporaryDirectory() as name:
    out = Path(name)
    programs = Programs(program, out)
    programs.compile()

    distances, missing = agreement.check(programs, SAMPLES)
    distance, where = max(distances)
    expect(not missing, f"all programs know all quantities: {missing}")
    expect(len(distances) == (14 + RESULTS) * len(agreement.STATISTICS) * 3, "all are compared")
    expect(distance < agreement.BOUND, f"they agree: {where}, {distance:.3g} standard errors")
    summary = agreement.packspan_summary(out / "packspan")
    expect(all(summary[q]["samples"] == SAMPLES for q in summary), "no sample is lost")

    # a tenth of the sd of 1.5 kWh; the scale of 12 kg by a twelfth
    for quantity, column, by in (("nominal_energy", "best", 0.15), ("glider_mass", "sd", 1.0)):
        distances, _ = agreement.check(programs, SAMPLES, shifted(out / quantity, quantity, column, by))
        distance, where = max(distances)
        expect(distance > 2 * agreement.BOUND, f"{quantity} is noticed: {where}, {distance:.3g}")

    done = subprocess.run(["/usr/bin/python3", "-B", project / "scripts/benchmark/bench.py", "--rehearse",
                           "--program", program, "--out", out], stdout=subprocess.PIPE, text=True, check=False)
    expect(done.returncode == 0, f"the bench ends with 0, not {done.returncode}")
    with open(out / "bench.csv", newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    expect(header == ["group", "what", "value", "unit", "explanation"], f"columns are {header}")
    expect(list(dict.fromkeys(row[0] for row in rows)) == GROUPS, "all groups are there, in order")
    expect(len({(row[0], row[1]) for row in rows}) == len(rows), "no figure is there twice")
    expect(all(row[4] for row in rows), "every figure is explained")
    # a figure is a number, but for Sobol' points that this packspan may not have
    unknown = [row for row in rows if not row[2] and row[1] != "sobol"]
    expect(not unknown and all(abs(float(row[2])) < 1e15 for row in rows if row[2]), f"figures: {unknown}")
    expect(all(row[1] in done.stdout for row in rows), "the screen shows every figure")
sys.exit(failed > 0)
