#!/usr/bin/python3
"""Measures packspan: scripts/bench runs this. One table on the screen, one in OUT/bench.csv.

    bench.py [--long] [--rehearse] [--only GROUP]... [--program PACKSPAN] [--out OUT]

--long adds 1e9 samples. --rehearse runs everything once with hardly any samples, to see that it
works; its figures mean nothing."""
import argparse
import csv
import math
import os
import resource
import sys
from dataclasses import dataclass
from statistics import mean, median

import agreement
import variants
from programs import CASE, DEMO, PROJECT, Programs, rows_of
from work import COUNTER, Work

THREADS = (1, 2)
COLUMNS = ("group", "what", "value", "unit", "explanation")


@dataclass
class Sizes:
    agreement: int = 500000
    rounds: int = 5            # interleaved repeats
    run_seconds: float = 2.0   # of one timed run, on 1 thread
    chunks: tuple = (32, 64, 128, 256, 512)
    chunk_samples: int = 50000
    megabytes: int = 400       # of each array of the triad
    probe_seconds: float = 1.0
    blocks: int = 100          # whose undecided steps are counted
    growth_samples: tuple = (10**4, 10**5, 10**6, 10**7, 10**8)
    growth_seconds: float = 1.0
    seeds: int = 16
    ladder_top: int = 18       # the most samples of the accuracy runs, as a power of two
    reference: int = 32        # times as many are taken as the truth
    accuracy_seconds: float = 30.0  # what the ladder of one case may take
    memory_samples: tuple = (10**6, 10**8)
    starts: int = 9
    repeats: int = 3           # of what is timed elsewhere
    demo_samples: int = 10**6
    points: tuple = ((10**5, 10, 60), (10**6, 2, 8))  # samples of each, of how many in two studies


REHEARSAL = Sizes(agreement=20000, rounds=1, run_seconds=0.01, chunks=(64, 128), chunk_samples=1000,
                  megabytes=4, probe_seconds=0.01, blocks=2, growth_samples=(1000, 10**4, 10**5),
                  growth_seconds=0.01, seeds=2, ladder_top=12, reference=2, accuracy_seconds=1.0,
                  memory_samples=(1000, 10**4), starts=1, repeats=1, demo_samples=1000, points=((1000, 2, 4),))


def tell(text):
    print(f"bench: {text}", file=sys.stderr, flush=True)


def slope(x, y):
    """Of the straight line through the points, by least squares."""
    mx, my = mean(x), mean(y)
    return sum((a - mx) * (b - my) for a, b in zip(x, y)) / sum((a - mx)**2 for a in x)


def exponent(x, y):
    return slope([math.log(a) for a in x], [math.log(b) for b in y])


def threads_text(threads):
    return f"{threads} thread{'s' * (threads > 1)}"


def amount(samples):
    return f"{samples:.0e}".replace("e+0", "e")


GOAL = 0.002  # the standard error that counts as accurate, per sd of the label range


def samples_needed(ladder, errors, sequence):
    """For errors of GOAL. Errors of pcg fall with the root of the samples, others as the ladder says."""
    power = -0.5 if sequence == "pcg" else min(-0.25, exponent(ladder, errors))
    middle, error = (math.exp(mean(map(math.log, x))) for x in (ladder, errors))
    return middle * (GOAL / error)**(1 / power)


NEAREST = {"operations": "operations on doubles, none of them fused", "counts": "counting into bins",
           "memory": "memory"}


class Bench:
    def __init__(self, programs, sizes, long):
        self.programs, self.sizes, self.rows = programs, sizes, []
        self.counts = (*sizes.memory_samples, 10**9) if long else sizes.memory_samples
        self.group = ""
        self.has_sobol = programs.has_sobol()
        self.rates = {}  # of packspan by threads, once measured
        self.large = {}  # runs of the bench case on all threads, by samples

    def add(self, what, value, unit, explanation):
        self.rows.append((self.group, what, value, unit, explanation))

    # ---- the same answers ----

    def agreement(self):
        distances, missing = agreement.check(self.programs, self.sizes.agreement)
        distance, where = max(distances)
        self.add("compared", len(distances), "", "means, sds, p05, p50 and p95 of all inputs and "
                 "results, packspan, NumPy and C with GSL in pairs")
        self.add("largest distance", distance, "standard errors",
                 f"{where}; above {agreement.BOUND:g} the bench stops here")
        if missing or distance > agreement.BOUND:
            raise SystemExit(f"bench: the programs do not agree: {', '.join(missing) or where}, "
                             f"{distance:.3g} standard errors")

    # ---- against other programs ----

    def best_chunk(self, work):
        def seconds(chunk):
            return min(self.programs.run_numpy(self.sizes.chunk_samples, chunk=chunk, work=work).seconds
                       for _ in range(2))
        return min(self.sizes.chunks, key=seconds)

    def peers(self):
        p = self.programs
        chunk = {work: self.best_chunk(work) for work in ("product", "broadcast")}
        programs = {
            "packspan": (lambda n, t: p.run_packspan(n, t), "whole process, from its start to its tables"),
            "NumPy": (lambda n, t: p.run_numpy(n, t, chunk["product"]),
                      "NumPy's samplers; every step by a matrix product, its best chunk of "
                      f"{chunk['product']} samples at a time; loading NumPy left out"),
            "NumPy, broadcasting": (
                lambda n, t: p.run_numpy(n, t, chunk["broadcast"], "broadcast"),
                f"the same, steps x samples broadcast for {chunk['broadcast']} samples at a time"),
            "C": (lambda n, t: p.run_gsl(n, t), "GSL's samplers and histograms, every step of every sample "
                  "in vectors (omp simd), -O3 -march=native; whole process"),
            "C, plain loop": (lambda n, t: p.run_gsl(n, t, "plain"),
                              "the same, but steps are added up in their order, so one at a time"),
        }
        samples = {}
        for name, (run, _) in programs.items():
            n = self.calibrate(run, 1, self.sizes.run_seconds)
            samples |= {(name, t): n for t in THREADS}
        rates = {key: [] for key in samples}
        for _ in range(self.sizes.rounds):
            for (name, t), n in samples.items():
                rates[name, t].append(n / programs[name][0](n, t).seconds)
        for name, (_, about) in programs.items():
            for t in THREADS:
                self.add(f"{name}, {threads_text(t)}", median(rates[name, t]) / 1e6, "million samples/s",
                         about)
        self.rates = {t: median(rates["packspan", t]) for t in THREADS}
        for name in list(programs)[1:]:
            for t in THREADS:
                self.add_ratio(f"packspan over {name}, {threads_text(t)}", rates["packspan", t],
                               rates[name, t])
        self.add_ratio("packspan, 2 threads over 1", rates["packspan", 2], rates["packspan", 1])

    def add_ratio(self, what, rates, others):
        ratios = [a / b for a, b in zip(rates, others)]
        self.add(what, median(ratios), "times", f"median of {len(ratios)} rounds in which all take turns, from "
                 f"{min(ratios):.3g} to {max(ratios):.3g}")

    def calibrate(self, run, threads, seconds):
        """How many samples take about so long; also the warm-up."""
        n = 2000
        while (took := run(n, threads).seconds) < 0.7 * seconds:
            n = int(n * min(20.0, seconds / took))
        return n

    # ---- against the machine ----

    def packspan_rate(self, threads):
        if threads not in self.rates:
            n = self.calibrate(self.programs.run_packspan, threads, self.sizes.run_seconds)
            self.rates[threads] = n / self.programs.run_packspan(n, threads).seconds
        return self.rates[threads]

    def machine(self):
        self.add("load at the start", LOAD, "processes", "that ran over the last minute, a build just "
                 "before included; if others keep running, rates are too low")
        w = Work(self.programs, self.sizes.blocks)
        self.add("steps of both cycles", w.steps, "steps", "with the vehicle moving; what the other "
                 "programs evaluate for every sample")
        self.add("steps undecided", w.undecided, "steps/sample",
                 "whose sign is not the same all over a block of 512 samples")
        self.add("steps evaluated", w.evaluated, "steps/sample", f"counted by packspan ({COUNTER})"
                 if w.is_counted else "packspan does not count them yet: taken as all that are undecided")
        for name, operations in w.parts.items():
            self.add(f"operations for {name}", operations, "operations/sample",
                     "adds, multiplies, divides, comparisons of doubles that the algorithm needs")
        self.add("integer operations", w.integers, "operations/sample",
                 "of the generator, besides; not counted as work below")
        for t in THREADS:
            adds, counts, memory = self.programs.run_machine(t, self.sizes.probe_seconds,
                                                             self.sizes.megabytes)
            rate, of = self.packspan_rate(t) / 1e9, threads_text(t)
            shares = {"operations": 100 * w.operations * rate / (2 * adds),
                      "counts": 100 * w.quantities * rate / counts,
                      "memory": 100 * 8 * w.quantities * rate / memory}
            self.add(f"operations, {of}", 2 * adds, "billion/s",
                     "measured peak: fused multiply-adds in the widest vectors, two operations each")
            self.add(f"share of operations, {of}", shares["operations"], "%", f"{w.operations:.0f} a sample; as none "
                     "is fused, for the same bytes everywhere, 50 % is the most")
            self.add(f"counts, {of}", counts, "billion/s",
                     "measured peak: counts into bins at random, all in the first-level cache")
            self.add(f"share of counts, {of}", shares["counts"], "%", f"{w.quantities} a sample, one at a time")
            self.add(f"memory, {of}", memory, "billion bytes/s",
                     "measured: triad a = b + k c on arrays larger than the caches")
            self.add(f"share of memory, {of}", shares["memory"], "%", "if every value of a sample went to "
                     "memory once; it does not: blocks of 512 stay in the caches")
        shares["operations"] *= 2
        nearest = max(shares, key=shares.get)
        self.add("nearest limit", shares[nearest], "%", f"{NEAREST[nearest]}; "
                 f"besides, a sample takes {w.integers} integer operations and {w.draws} look-ups of polynomials"
                 + ("" if shares[nearest] > 50 else "; far from a limit: waiting and overhead bound it"))

    # ---- growth ----

    def run_large(self, samples):
        if samples not in self.large:
            repeats = self.sizes.repeats if samples <= 10**7 else 1
            runs = [self.programs.run_packspan(samples, THREADS[-1]) for _ in range(repeats)]
            self.large[samples] = sorted(runs, key=lambda run: run.seconds)[repeats // 2]
        return self.large[samples]

    def growth(self):
        counts = self.sizes.growth_samples
        seconds = [self.run_large(n).seconds for n in counts]
        for n, took in zip(counts, seconds):
            self.add(f"{amount(n)} samples", took * 1e9 / n, "ns/sample",
                     f"whole process, {THREADS[-1]} threads, {took:.3g} s")
        self.add("samples", exponent(counts[-3:], seconds[-3:]), "exponent",
                 f"of the time from {amount(counts[-3])} samples on; 1 is in proportion")
        folder = self.programs.out / "cases"
        base = variants.write(folder / "base", variants.base_inputs())
        cases = {("base", 0): base}
        for name, make, steps, _, _ in variants.FAMILIES:
            cases |= {(name, k): make(folder / f"{name}_{k}", k) for k in steps}
        cases |= {("width", f): variants.with_width(folder / f"width_{f}", f) for f in variants.WIDTHS}
        n = self.calibrate(lambda n, t: self.programs.run_packspan(n, t, base), 1,
                           self.sizes.growth_seconds)
        times = {key: [] for key in cases}
        for _ in range(self.sizes.repeats):
            for key, case in cases.items():
                less, all_ = (self.programs.run_packspan(k, 1, case).seconds for k in (n // 10, n))
                times[key].append(max(1e-3, (all_ - less) * 1e9 / (n - n // 10)))
        times = {key: median(list_) for key, list_ in times.items()}
        self.add("bench case", times["base", 0], "ns/sample", "14 inputs, 20 results, 1 vehicle, both "
                 f"cycles; this and all below on 1 thread, of the last 9 in 10 of {n} samples, so without the start")
        for name, _, steps, unit, meaning in variants.FAMILIES:
            more = [0, *(k - (name == "vehicles") for k in steps)]
            took = [times["base", 0], *(times[name, k] for k in steps)]
            self.add(name, slope(more, took), f"ns/sample and {unit}", f"{meaning}; a straight line to {more[-1]}"
                     f" more, which takes {took[-1] / took[0]:.3g} times the time")
        for f in variants.WIDTHS:
            self.add(f"width x {f:g}", times["width", f], "ns/sample", "all ranges of the inputs so many times "
                     "as wide, as far as their domains go: more steps are undecided")
        f = variants.WIDTHS
        self.add("width", exponent(f, [times["width", k] for k in f]), "exponent",
                 f"of the time in the width, from {f[0]:g} to {f[-1]:g} times")

    # ---- accuracy ----

    def run_sequence(self, samples, case, sequence, seed=1):
        more = {"sequence": sequence} if self.has_sobol else {}
        return self.programs.run_packspan(samples, case=case, seed=seed, **more)

    def label_range(self, samples, case, sequence, seed):
        """Mean, p50, p95 and sd of the subject's label range."""
        self.run_sequence(samples, case, sequence, seed)
        rows = rows_of(self.programs.out / "packspan" / "summary.csv")
        row = next(r for r in rows if r["quantity"] == "label_range" and r["vehicle"] in ("car", "van")
                   and r.get("candidate", "mixture") == "mixture")
        return {s: float(row[s]) for s in ("mean", "p50", "p95", "sd")}

    def accuracy(self):
        sequences = ["pcg", "sobol"] if self.has_sobol else ["pcg"]
        if len(sequences) == 1:
            self.add("sobol", None, "", "this packspan has no --sequence: only pcg is measured")
        for name, case in (("demo", DEMO), ("bench case", CASE)):
            self.accuracy_of(name, case, sequences)

    def accuracy_of(self, name, case, sequences):
        sizes = self.sizes
        few = 2**(sizes.ladder_top - 2)
        start, end = (self.programs.run_packspan(n, case=case).seconds for n in (100, few))
        top, seconds = sizes.ladder_top, sizes.seeds * len(sequences) * 1.4 * (end - start) / few
        while top > 12 and seconds * 2**top > sizes.accuracy_seconds:
            top -= 1
        ladder = [2**(top - 4), 2**(top - 2), 2**top]
        truth = self.label_range(sizes.reference * 2**top, case, sequences[-1], 77)
        needed = {}
        for sequence in sequences:
            found = {n: [self.label_range(n, case, sequence, 100 + k) for k in range(sizes.seeds)]
                     for n in ladder}
            for s in ("mean", "p50", "p95"):
                errors = [math.sqrt(mean((x[s] - truth[s])**2 for x in found[n])) / truth["sd"]
                          for n in ladder]
                needed[sequence, s] = samples_needed(ladder, errors, sequence)
        goal = f"for a standard error of {GOAL:g} sd"
        how = (f"the errors of {sizes.seeds} seeds, against {sizes.reference * 2**top} samples, "
               f"by a line from {ladder[0]} to {ladder[-1]}")
        for (sequence, s), n in needed.items():
            beyond = "" if ladder[0] <= n <= ladder[-1] else ", prolonged"
            self.add(f"{name}, {s}, {sequence}", n, "samples", f"{goal} of the label range; {how}{beyond}")
            if s != "mean":
                n = min(max(100, int(n)), sizes.reference * 2**top)
                took = median(self.run_sequence(n, case, sequence).seconds
                              for _ in range(sizes.repeats))
                self.add(f"{name}, {s}, {sequence}, time", took, "s", f"whole process with {n} samples")
        for s in ("mean", "p50", "p95") if len(sequences) > 1 else ():
            self.add(f"{name}, {s}, pcg over sobol", needed["pcg", s] / needed["sobol", s], "times",
                     "how many times fewer samples scrambled Sobol' points need")

    # ---- studies ----

    def studies(self):
        """Rates of what is more in the longer of two runs or studies, so without their start."""
        sizes, p = self.sizes, self.programs
        least, most = (sizes.points[0][0] * n for n in sizes.points[0][1:])
        cases = {n: variants.with_axis(p.out / f"cases/points_{n}", n) for _, *both in sizes.points for n in both}

        def difference(run, less, more):
            return max(run(more).seconds - run(less).seconds, 1e-3)
        for t in THREADS:
            rates = {key: [] for key in ("run", *sizes.points)}
            p.run_packspan(least, t, DEMO)  # the warm-up
            for _ in range(sizes.repeats):
                took = difference(lambda n: p.run_packspan(n, t, DEMO), least, most)
                rates["run"].append((most - least) / took)
                for samples, few, many in sizes.points:
                    took = difference(lambda n: p.run_study(cases[n], samples, t), few, many)
                    rates[samples, few, many].append((many - few) * samples / took)
            self.add(f"run, {threads_text(t)}", median(rates["run"]) / 1e6, "million samples/s",
                     f"of the demo; of what {amount(most)} samples take longer than {amount(least)}")
            for samples, few, many in sizes.points:
                what = f"points of {amount(samples)}"
                rate = rates[samples, few, many]
                self.add(f"{what}, {threads_text(t)}", median(rate) / 1e6, "million samples/s",
                         f"of the demo; of what {many} points take longer than {few}")
                self.add_ratio(f"{what} over run, {threads_text(t)}", rate, rates["run"])

    # ---- memory and start ----

    def resources(self):
        p = self.programs
        own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        for n in self.counts:
            self.add(f"memory at {amount(n)} samples", self.run_large(n).mebibytes, "MiB",
                     f"most that was resident; bench case, {THREADS[-1]} threads; what is below the "
                     f"{own:.0f} MiB of the bench itself cannot be told")
        starts = [p.run_packspan(100, 1).seconds for _ in range(self.sizes.starts)]
        self.add("start", median(starts) * 1e3, "ms", "whole run of the bench case with 100 samples")
        checks = [p.check_case().seconds for _ in range(self.sizes.starts)]
        self.add("check", median(checks) * 1e3, "ms", "packspan check of the bench case")
        n = self.sizes.demo_samples
        demo = [p.run_packspan(n, case=DEMO).seconds for _ in range(self.sizes.repeats)]
        self.add(f"demo, {amount(n)} samples", median(demo), "s", "from start to files: two vehicles, three "
                 "candidates, evidence, six trips")


GROUPS = {
    "agreement": (Bench.agreement, "do the programs give the same answers"),
    "peers": (Bench.peers, "the bench case: 14 inputs of mixed shapes, UDDS, HWFET, 20 results"),
    "machine": (Bench.machine, "how near to what the machine can do"),
    "growth": (Bench.growth, "how time grows"),
    "accuracy": (Bench.accuracy, "how soon the label range is accurate"),
    "studies": (Bench.studies, "what a study loses against one long run"),
    "resources": (Bench.resources, "memory and start"),
}
LOAD = os.getloadavg()[0]


def text_of(value):
    if value is None:
        return "-"
    short = f"{value:.4g}"
    return f"{float(short):.0f}" if "e+" in short else short


def print_table(rows):
    texts = [(group, what, text_of(value), unit, why) for group, what, value, unit, why in rows]
    wide = [max(len(row[k]) for row in texts) for k in range(4)]
    before = ("", "", "", "", "")
    for row in texts:
        if row[0] != before[0]:
            print(f"\n{row[0]}: {GROUPS[row[0]][1]}")
        why = row[4] if row[4] != before[4] else '"'
        print(f"  {row[1]:{wide[1]}}  {row[2]:>{wide[2]}} {row[3]:{wide[3]}}  {why}")
        before = row


def write_table(path, rows):
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        for group, what, value, unit, why in rows:
            writer.writerow((group, what, "" if value is None else f"{value:.6g}", unit, why))


def main():
    parser = argparse.ArgumentParser(prog="scripts/bench")
    parser.add_argument("--long", action="store_true", help="also 1e9 samples")
    parser.add_argument("--rehearse", action="store_true", help="hardly any samples: figures mean nothing")
    parser.add_argument("--only", action="append", choices=GROUPS, help="this group; may be repeated")
    parser.add_argument("--program", default=PROJECT / "build/bin/packspan", help="the packspan to measure")
    parser.add_argument("--out", default=PROJECT / "results/bench", help="folder of bench.csv")
    options = parser.parse_args()
    programs = Programs(options.program, options.out)
    programs.compile()
    bench = Bench(programs, REHEARSAL if options.rehearse else Sizes(), options.long)
    for name, (measure, meaning) in GROUPS.items():
        if name in (options.only or GROUPS):
            tell(f"{name}: {meaning}")
            bench.group = name
            measure(bench)
    print_table(bench.rows)
    path = programs.out / "bench.csv"
    write_table(path, bench.rows)
    print(f"\nTable: {path}")


if __name__ == "__main__":
    main()
