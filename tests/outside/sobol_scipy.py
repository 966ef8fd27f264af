#!/usr/bin/python3
"""Points of Sobol's sequence in all dimensions by scipy.stats.qmc.Sobol, for
tests/outside/sobol_scipy.c: one row a dimension, the points as whole numbers of 2^-32.

    sobol_scipy.py TABLE           writes the table
    sobol_scipy.py --check TABLE   works it out again and compares with the table

Needs NumPy and SciPy (the table in the repository was made with SciPy 1.10.1).
"""
import sys

import numpy as np
from scipy.stats import qmc

DIMENSIONS = 1111
WALKED = 4096  # fast_forward() takes every step, so later points are put together from _sv
POINTS = [1, 1023, 65536, 123456789, 4123456789]


def point(directions, number):
    """Exclusive or of the direction numbers that the Gray code of the point's number names."""
    gray = number ^ number >> 1
    used = [directions[:, bit] for bit in range(32) if gray >> bit & 1]
    return np.bitwise_xor.reduce(np.array(used), axis=0)


def points():
    sequence = qmc.Sobol(DIMENSIONS, scramble=False, bits=32)
    directions = sequence._sv.astype(np.uint64)
    walked = (sequence.random(WALKED) * 2**32).astype(np.uint64)
    for number in range(1, WALKED):
        assert (walked[number] == point(directions, number)).all()
    return zip(*[point(directions, number) for number in POINTS])


def table():
    lines = ["# tests/outside/sobol_scipy.py; the header holds the points' numbers"]
    lines.append(",".join(str(number) for number in POINTS))
    lines += [",".join(str(value) for value in row) for row in points()]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    if sys.argv[1] == "--check":
        with open(sys.argv[2], encoding="ascii") as f:
            sys.exit(0 if f.read() == table() else "the table differs")
    with open(sys.argv[1], "w", encoding="ascii") as f:
        f.write(table())
