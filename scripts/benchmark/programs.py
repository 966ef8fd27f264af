"""Runs the programs that the benchmark compares, and reads their tables.

No NumPy here: a process that is started shows at least the memory of the one that started it."""
import csv
import os
import shutil
import subprocess
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
PROJECT = HERE.parent.parent
CYCLES = PROJECT / "configs/cycles"
CASE = HERE / "case"
DEMO = PROJECT / "configs/demo"
PYTHON = "/usr/bin/python3"
C_FLAGS = ["-std=gnu17", "-O3", "-march=native", "-fopenmp", "-Wall", "-Wextra", "-Wshadow",
           "-Wconversion", "-Wpedantic", "-Wstrict-prototypes", "-Werror"]
C_LIBRARIES = ["-lgsl", "-lgslcblas", "-lm"]


class Finished:
    """One run of a program: wall seconds from start to end, peak memory, what it printed."""

    def __init__(self, words):
        start = time.perf_counter()
        with subprocess.Popen([str(word) for word in words], stdout=subprocess.PIPE, text=True) as process:
            self.printed = process.stdout.read()
            _, status, usage = os.wait4(process.pid, 0)
            self.seconds = time.perf_counter() - start
            process.returncode = os.waitstatus_to_exitcode(status)
        self.mebibytes = usage.ru_maxrss / 1024
        if process.returncode != 0:
            raise SystemExit(f"bench: {' '.join(map(str, words))} ended with {process.returncode}")


def rows_of(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def items_of(folder):
    """run.csv as a dictionary."""
    return {row["item"]: row["value"] for row in rows_of(folder / "run.csv")}


class Programs:
    """Everything that is run, with its results in folders of `out`."""

    def __init__(self, packspan, out):
        self.packspan, self.out = Path(packspan).resolve(), Path(out).resolve()
        for folder in ("packspan", "numpy", "gsl"):
            (self.out / folder).mkdir(parents=True, exist_ok=True)

    def compile(self):
        for name in ("with_gsl", "machine"):
            Finished(["cc", *C_FLAGS, HERE / f"{name}.c", "-o", self.out / name, *C_LIBRARIES])

    def has_sobol(self):
        return "--sequence" in Finished([self.packspan, "run", "--help"]).printed

    def run_packspan(self, samples, threads=0, case=CASE, seed=1, **settings):
        """Settings by their names; the tables are then in out/packspan."""
        options = dict(settings, samples=samples, threads=threads, seed=seed)
        return Finished([self.packspan, "run", case, "--quiet", "-o", self.out / "packspan",
                         *(f"--{name}={value}" for name, value in options.items())])

    def run_study(self, case, samples, threads=0):
        """From its beginning: a folder of results would be gone on with."""
        shutil.rmtree(self.out / "study", ignore_errors=True)
        return Finished([self.packspan, "study", case, "--quiet", "-o", self.out / "study",
                         f"--samples={samples}", f"--threads={threads}"])

    def check_case(self, case=CASE):
        return Finished([self.packspan, "check", case])

    def run_numpy(self, samples, threads=1, chunk=128, work="product", errors=False, seed=1):
        """Its seconds are those it names itself, without the time to load NumPy."""
        done = Finished([PYTHON, HERE / "with_numpy.py", CYCLES, self.out / "numpy",
                         f"--samples={samples}", f"--seed={seed}", f"--threads={threads}",
                         f"--chunk={chunk}", f"--work={work}", *["--errors"] * errors])
        done.seconds = float(done.printed)
        return done

    def run_gsl(self, samples, threads=1, loop="simd", seed=1):
        return Finished([self.out / "with_gsl", CYCLES, self.out / "gsl", samples, seed, threads,
                         loop])

    def run_machine(self, threads, seconds, megabytes):
        """Billions a second: multiply-adds, counts into bins, bytes of memory."""
        done = Finished([self.out / "machine", threads, seconds, megabytes])
        return [float(word) for word in done.printed.split()]
