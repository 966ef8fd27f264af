#!/usr/bin/python3
"""Quantiles of every shape worked out with SciPy, for tests/outside/shapes_scipy.c.

    shapes_scipy.py TABLE           writes the table
    shapes_scipy.py --check TABLE   works it out again and compares with the table

Needs NumPy and SciPy (the table in the repository was made with SciPy 1.10.1).
"""
import csv
import sys

import numpy as np
from scipy import integrate, optimize, stats

COLUMNS = ["shape", "given", "domain_low", "domain_high", "u", "x", "relative", "absolute"]
TAIL = [1e-12, 1e-9, 1e-6, 1e-3, 0.02]
MIDDLE = [0.1, 0.31, 0.5, 0.77, 0.95]
POINTS = TAIL + MIDDLE + [1 - t for t in reversed(TAIL)]
CLOSED, INVERTED = 1e-10, 1e-8
TRUNCATED = 1e-9  # SciPy's own truncnorm is off by 1e-10 at 1 - 1e-12
INFINITY = float("inf")


class Mirrored:
    """-X, so that the upper end of X can be followed to zero."""

    def __init__(self, law):
        self.law = law

    def cdf(self, x):
        return self.law.sf(-x)

    def sf(self, x):
        return self.law.cdf(-x)

    def ppf(self, p):
        return -self.law.isf(p)

    def isf(self, q):
        return -self.law.ppf(q)


class SplitNormal:
    """Two half normals; their sds found by a general solver from the two tail conditions."""

    def __init__(self, mode, low, high, cover):
        tail = (1 - cover) / 2

        def misses(log_sds):
            below, above = np.exp(log_sds)
            share = below / (below + above)
            return [np.log(2 * share * stats.norm.cdf(low, mode, below) / tail),
                    np.log(2 * (1 - share) * stats.norm.sf(high, mode, above) / tail)]

        solved = optimize.root(misses, np.log([(mode - low) / 2, (high - mode) / 2]), tol=1e-14)
        self.mode, (self.below, self.above) = mode, np.exp(solved.x)
        self.share = self.below / (self.below + self.above)

    def ppf(self, p):
        if p < self.share:
            return stats.norm.ppf(p / (2 * self.share), self.mode, self.below)
        return self.isf(1 - p)

    def isf(self, q):
        if q <= 1 - self.share:
            return stats.norm.isf(q / (2 * (1 - self.share)), self.mode, self.above)
        return self.ppf(1 - q)

    def cdf(self, x):
        if x < self.mode:
            return 2 * self.share * stats.norm.cdf(x, self.mode, self.below)
        return 1 - self.sf(x)

    def sf(self, x):
        if x >= self.mode:
            return 2 * (1 - self.share) * stats.norm.sf(x, self.mode, self.above)
        return 1 - self.cdf(x)


class VagueUniform:
    """The mixture of uniforms of JCGM 101 6.4.3, integrated over the half-width and inverted."""

    def __init__(self, low, high, sd):
        self.centre, self.half, self.sd = (low + high) / 2, (high - low) / 2, sd

    def sf_away(self, y):
        """P(X > centre + y), y >= 0."""
        first = max(y, self.half - self.sd)
        value = integrate.quad(lambda w: (w - y) / (2 * w), first, self.half + self.sd,
                               epsabs=0, epsrel=1e-13)[0]
        return value / (2 * self.sd)

    def isf(self, q):
        if q > 0.5:
            return 2 * self.centre - self.isf(1 - q)
        if q == 0.5:
            return self.centre
        away = optimize.brentq(lambda y: self.sf_away(y) - q, 0, self.half + self.sd, xtol=1e-15,
                               rtol=1e-15)
        return self.centre + away

    def ppf(self, p):
        return 2 * self.centre - self.isf(p)

    def sf(self, x):
        y = x - self.centre
        return self.sf_away(y) if y >= 0 else 1 - self.sf_away(-y)

    def cdf(self, x):
        return self.sf(2 * self.centre - x)


def pert(low, best, high):
    width = high - low
    return stats.beta(1 + 4 * (best - low) / width, 1 + 4 * (high - best) / width, low, width)


def upper_pert(low, best):
    """beta-PERT that ends at 0, mirrored because SciPy loses the digits of 1 - x."""
    return Mirrored(pert(0, -best, -low))


def quantile(law, domain, u):
    below = law.cdf(domain[0]) if np.isfinite(domain[0]) else 0.0
    above = law.sf(domain[1]) if np.isfinite(domain[1]) else 0.0
    kept = 1 - below - above
    if u < 0.5:
        return law.ppf(below + u * kept)
    return law.isf(above + (1 - u) * kept)


def truncated_normal(mean, sd, low, high):
    return stats.truncnorm((low - mean) / sd, (high - mean) / sd, mean, sd)


ANY = (-INFINITY, INFINITY)
# shape, what the row gives, domain, law, relative and absolute tolerance
CASES = [
    ("normal", "best=2 sd=0.5", ANY, stats.norm(2, 0.5), CLOSED, 1e-15),
    ("normal", "low=10 high=14 cover=0.9", ANY, stats.norm(12, 2 / stats.norm.ppf(0.95)), CLOSED, 0),
    ("split_normal", "best=3 low=2 high=7 cover=0.9", ANY, SplitNormal(3, 2, 7, 0.9), CLOSED, 0),
    ("split_normal", "best=6.9 low=2 high=7", ANY, SplitNormal(6.9, 2, 7, 0.95), CLOSED, 1e-12),
    ("lognormal", "best=5 sd=0.4", ANY, stats.lognorm(0.4, scale=5), CLOSED, 0),
    ("lognormal", "low=2 high=18 cover=0.8", ANY,
     stats.lognorm(np.log(3) / stats.norm.ppf(0.9), scale=6), CLOSED, 0),
    ("uniform", "low=-3 high=5", ANY, stats.uniform(-3, 8), CLOSED, 1e-15),
    ("uniform", "low=0 high=0.25", ANY, stats.uniform(0, 0.25), CLOSED, 0),
    ("vague_uniform", "low=1 high=2 sd=0.1", ANY, VagueUniform(1, 2, 0.1), 1e-9, 0),
    ("vague_uniform", "low=1 high=2 sd=0.49", ANY, VagueUniform(1, 2, 0.49), 1e-9, 0),
    ("trapezoid", "low=0 high=4 cover=0.5", ANY, stats.trapezoid(0.25, 0.75, 0, 4), CLOSED, 0),
    ("trapezoid", "low=2 high=4 cover=0.1 best=3", ANY, stats.trapezoid(0.45, 0.55, 2, 2), CLOSED, 0),
    ("triangular", "low=0 best=0.3 high=2", ANY, stats.triang(0.15, 0, 2), CLOSED, 0),
    ("triangular", "low=1 best=1 high=2", ANY, stats.triang(0, 1, 1), CLOSED, 0),
    ("triangular", "low=1 best=2 high=2", ANY, stats.triang(1, 1, 1), CLOSED, 0),
    ("pert", "low=0 best=0.2 high=1", ANY, pert(0, 0.2, 1), INVERTED, 0),
    ("pert", "low=0 best=0 high=1", ANY, pert(0, 0, 1), INVERTED, 0),
    ("pert", "low=-2 best=-0.3 high=0", ANY, upper_pert(-2, -0.3), INVERTED, 0),
    ("arcsine", "low=0 high=3", ANY, stats.arcsine(0, 3), CLOSED, 0),
    ("arcsine", "low=-3 high=0", ANY, Mirrored(stats.arcsine(0, 3)), CLOSED, 0),
    ("student", "best=0 sd=1 dof=1", ANY, stats.t(1), INVERTED, 1e-15),
    ("student", "best=0 sd=2 dof=2.5", ANY, stats.t(2.5, 0, 2), INVERTED, 1e-15),
    ("student", "best=7 sd=0.5 dof=9", ANY, stats.t(9, 7, 0.5), INVERTED, 0),
    ("student", "best=0 sd=1 dof=100000", ANY, stats.t(1e5), INVERTED, 1e-15),
    ("normal", "best=2 sd=1", (0, INFINITY), truncated_normal(2, 1, 0, INFINITY), TRUNCATED, 1e-15),
    ("normal", "best=0.9 sd=0.04", (0, 1), truncated_normal(0.9, 0.04, 0, 1), TRUNCATED, 0),
    ("normal", "best=2 sd=1", (0, INFINITY), (stats.norm(2, 1), (0, INFINITY)), CLOSED, 1e-15),
    ("normal", "low=-1 high=1", (-1.2, 1.3),
     truncated_normal(0, 1 / stats.norm.ppf(0.975), -1.2, 1.3), TRUNCATED, 1e-14),
    ("split_normal", "best=0.9 low=0.7 high=0.98 cover=0.9", (0, 1),
     (SplitNormal(0.9, 0.7, 0.98, 0.9), (0, 1)), CLOSED, 0),
    ("lognormal", "best=1 sd=0.5", (0.4, 3), (stats.lognorm(0.5), (0.4, 3)), CLOSED, 0),
    ("uniform", "low=-0.1 high=9.9", (0, INFINITY), stats.uniform(0, 9.9), CLOSED, 1e-15),
    ("vague_uniform", "low=1 high=2 sd=0.3", (0.8, 2.25),
     (VagueUniform(1, 2, 0.3), (0.8, 2.25)), 1e-9, 0),
    ("trapezoid", "low=-1 high=3 cover=0.5", (-0.7, 2.75),
     (stats.trapezoid(0.25, 0.75, -1, 4), (-0.7, 2.75)), CLOSED, 1e-14),
    ("triangular", "low=-1 best=2 high=5", (-0.2, 4.6),
     (stats.triang(0.5, -1, 6), (-0.2, 4.6)), CLOSED, 1e-14),
    ("pert", "low=0 best=0.8 high=1.08", (0, 1), (pert(0, 0.8, 1.08), (0, 1)), INVERTED, 0),
    ("arcsine", "low=-1 high=1", (-0.999, 0.9995),
     (stats.arcsine(-1, 2), (-0.999, 0.9995)), CLOSED, 1e-14),
    ("student", "best=4 sd=1 dof=3", (0, INFINITY), (stats.t(3, 4, 1), (0, INFINITY)), INVERTED, 1e-10),
]


def rows():
    for shape, given, domain, law, relative, absolute in CASES:
        law, inner = law if isinstance(law, tuple) else (law, ANY)
        for u in POINTS:
            x = quantile(law, inner, u)
            yield [shape, given, *domain, u, float(x), relative, absolute]


def write(path):
    with open(path, "w", newline="") as stream:
        stream.write("# made by tests/outside/shapes_scipy.py\n")
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(COLUMNS)
        for row in rows():
            table.writerow([c if isinstance(c, str) else repr(float(c)) for c in row])


def check(path):
    with open(path, newline="") as stream:
        stream.readline()
        kept = list(csv.reader(stream))[1:]
    wrong = 0
    for old, new in zip(kept, rows(), strict=True):
        near = abs(float(old[5]) - new[5]) <= max(new[7], 0.1 * new[6] * abs(new[5]))
        if old[:2] != new[:2] or not near:
            print("differs:", old, "now", new, file=sys.stderr)
            wrong += 1
    return wrong == 0


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[1] == "--check":
        sys.exit(0 if check(sys.argv[2]) else 1)
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    write(sys.argv[1])
