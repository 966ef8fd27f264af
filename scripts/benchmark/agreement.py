"""Whether the three programs give the same distributions, within Monte Carlo error."""
import math

from programs import CASE, rows_of

STATISTICS = ("mean", "sd", "p05", "p50", "p95")
# 34 quantities, five statistics, three pairs: where all is well, one run in 3000 goes beyond
BOUND = 5.0
SI = {"1": 1, "kWh": 3.6e6, "Wh/kg": 3600, "kg": 1, "N": 1, "N/(km/h)": 3.6, "N/(km/h)^2": 3.6**2,
      "W": 1, "Wh/km": 3.6, "km": 1000}


def packspan_summary(folder):
    """Of a case with one vehicle, in SI."""
    found = {}
    for row in rows_of(folder / "summary.csv"):
        found[row["quantity"]] = {"samples": float(row["samples"]),
                                  **{s: float(row[s]) * SI[row["unit"]] for s in STATISTICS}}
    return found


def peer_summary(folder):
    return {row.pop("quantity"): {name: float(text) for name, text in row.items()}
            for row in rows_of(folder / "summary.csv")}


def compare(summaries, errors):
    """(distance in standard errors, where) of all pairs of programs, and what is missing.

    `errors` is the summary that also has standard errors; those of others follow from the numbers
    of samples."""
    distances, missing = [], []
    names = list(summaries)
    for quantity in sorted(set().union(*summaries.values())):
        missing += [f"{name} has no {quantity}" for name in names if quantity not in summaries[name]]
        known = [name for name in names if quantity in summaries[name]]
        for one, other in ((a, b) for k, a in enumerate(known) for b in known[k + 1:]):
            a, b, e = (summary[quantity] for summary in (summaries[one], summaries[other], errors))
            for statistic in STATISTICS:
                error = e[f"{statistic}_error"] * math.sqrt(
                    e["samples"] / a["samples"] + e["samples"] / b["samples"])
                distances.append((abs(a[statistic] - b[statistic]) / error,
                                  f"{statistic} of {quantity}, {one} and {other}"))
    return distances, missing


def check(programs, samples, case=CASE):
    """Runs all three. Returns what compare() does."""
    programs.run_packspan(samples, case=case, seed=11)
    programs.run_numpy(samples, errors=True, seed=12)
    programs.run_gsl(samples, seed=13)
    numpy = peer_summary(programs.out / "numpy")
    summaries = {"packspan": packspan_summary(programs.out / "packspan"), "NumPy": numpy,
                 "GSL": peer_summary(programs.out / "gsl")}
    return compare(summaries, numpy)
