"""point_warnings.py PROGRAM PROJECT: what a run of the case with a point's values written into its
tables warns about, the study tells for that point, and nothing else. Each warning of a run comes up
at some point here, or before the study begins."""

import csv
import os
import re
import shutil
import subprocess
import sys
import tempfile

# What a run says, and what a study says of it in study_points.csv.
PHRASES = [
    (r"lies outside the physical domain and was cut off",
     "a distribution was cut off at the limits of its physical domain"),
    (r"leaves its physical domain in", "a result leaves its physical domain: the inputs disagree"),
    (r"effective samples: the evidence fits few", "few effective samples: the evidence fits few"),
    (r"of the weight; raise samples", "one sample carries much of the weight"),
    (r"samples were left out because", "invalid samples were left out"),
    (r"depends entirely on",
     "a route depends entirely on another and is left out of the consensus"),
    (r"has a negative weight", "a route has a negative weight in the consensus"),
    (r"carries next to no weight", "a candidate carries next to no weight"),
]

def read(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def packspan(program, *arguments, status=0):
    done = subprocess.run([program, *arguments], capture_output=True, text=True)
    assert done.returncode == status, f"{arguments}: {done.returncode}, {done.stderr}"
    return done


def edit(path, owner, quantity, column, value):
    """Sets a number of a row, of inputs.csv by vehicle and quantity, of trips.csv by trip."""
    rows = read(path)
    key = "vehicle" if "vehicle" in rows[0] else "trip"
    found = [row for row in rows if row[key] == owner and row["quantity"] == quantity]
    assert len(found) == 1, (owner, quantity)
    if column == "value":
        for name in set(rows[0]) & {"best", "low", "high", "sd", "dof", "cover", "file"}:
            found[0][name] = ""
        found[0].update(shape="fixed", best=value)
    else:
        found[0][column] = value
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def put_study(case, moves):
    """One axis: at its points all moves are at their first values, then their second ones, ..."""
    with open(f"{case}/study.csv", "w", encoding="utf-8") as file:
        file.write("axis,vehicle,quantity,field,unit,from,to,steps,spacing,values,source\n")
        for _, owner, quantity, column, unit, values in moves:
            file.write(f"at,{owner},{quantity},{column},{unit},,,,,{';'.join(values)},invented\n")


def check(program, place, case, moves, *settings):
    """Every point against a run; returns the phrases that came up."""
    put_study(case, moves)
    study = packspan(program, "study", case, "-o", f"{place}/study", *settings)
    points = read(f"{place}/study/study_points.csv")
    general = [item["value"] for item in read(f"{place}/study/study_run.csv") if item["item"] == "warning"]
    assert len(points) == len(moves[0][5])
    seen = []
    for number, point in enumerate(points):
        edited = f"{place}/edited"
        shutil.copytree(case, edited)
        os.remove(f"{edited}/study.csv")
        for table, owner, quantity, column, _, values in moves:
            name = quantity.split(".")
            edit(f"{edited}/{table}", name[1] if len(name) > 1 else owner, name[0], column,
                 values[number])
        packspan(program, "run", edited, "-o", f"{place}/run", "--quiet", *settings)
        record = read(f"{place}/run/run.csv")
        expected = []
        for item in record:
            if item["item"] != "warning":
                continue
            phrases = [told for said, told in PHRASES if re.search(said, item["value"])]
            what = item["value"].split("warning: ")[-1]
            assert phrases or what in study.stdout, f"never told: {item['value']}"
            assert phrases or any(what in text for text in general), f"not recorded: {item['value']}"
            expected += phrases
        told = [phrase for phrase in point["warnings"].split("; ") if phrase]
        assert sorted(told) == sorted(set(expected)), (number, told, expected)
        values = {item["item"]: item["value"] for item in record}
        assert point["outcome"] == "done"
        assert point["invalid_samples"] == values["invalid_samples"], (point, values)
        if "effective_samples" in values:
            assert point["effective_samples"] == values["effective_samples"]
        seen += told
        shutil.rmtree(edited)
        shutil.rmtree(f"{place}/run")
    for phrase in set(seen):
        count = seen.count(phrase)
        assert f"{count} point{'s' if count > 1 else ''}: {phrase}; " in study.stderr, study.stderr
        items = {item["item"]: item["value"] for item in read(f"{place}/study/study_run.csv")}
        assert items[f"warning: {phrase}"] == str(count)
        first = next(p["point"] for p in points if phrase in p["warnings"])
        assert items[f"first warning: {phrase}"] == first
    shutil.rmtree(f"{place}/study")
    return set(seen)


def demo(program, project, place):
    """Outside the domain, few and heavy samples, a negative weight."""
    case = f"{place}/demo"
    shutil.copytree(f"{project}/configs/demo", case)
    moves = [("inputs.csv", "old_van", "stated_range", "value", "mi", ["100", "170", "100", "100"]),
             ("inputs.csv", "van", "cell_charge", "value", "Ah", ["132", "132", "150", "160"])]
    return check(program, place, case, moves, "--samples", "20000")


def plain(program, project, place):
    """Truncated inputs (more and less than is told), and a gale that leaves few samples invalid."""
    case = f"{place}/plain"
    shutil.copytree(f"{project}/tests/data/cases/plain", case)
    with open(f"{case}/inputs.csv", encoding="utf-8") as file:
        lines = [line for line in file
                 if not line.startswith(("new,road_load", "new,usable_fraction"))]
    with open(f"{case}/inputs.csv", "w", encoding="utf-8") as file:
        file.write("".join(lines))
        file.write("new,road_load_a,N,fixed,145,,,,,,,x\n"
                   "new,road_load_b,N/(m/s),fixed,0.32,,,,,,,x\n"
                   "new,road_load_c,N/(m/s)^2,fixed,0.407,,,,,,,x\n"
                   "new,usable_fraction,1,normal,0.94,,,,0.03,,,x\n")
    with open(f"{case}/trips.csv", "a", encoding="utf-8") as file:
        file.write("gale,cycle,,,steady,,,,,x\ngale,speed,m/s,fixed,5,,,,,x\n"
                   "gale,headwind,m/s,normal,0,,,,1,x\n")
    moves = [("inputs.csv", "new", "usable_fraction", "sd", "1", ["0.01", "0.03", "0.01"]),
             ("trips.csv", "all", "headwind.gale", "sd", "m/s", ["1", "1", "7.3"])]
    return check(program, place, case, moves, "--samples", "20000", "--sequence", "sobol")


def routes(program, project, place):
    """Two routes of which one follows the other entirely, or not."""
    case = f"{place}/routes"
    shutil.copytree(f"{project}/tests/cli/cases/routes_that_follow_one/case", case)
    path = f"{case}/inputs.csv"
    edit(path, "van", "stated_recharge_energy", "best", "96")
    rows = read(path)
    rows[-1].update(shape="uniform", best="", low="95", high="97")
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    moves = [("inputs.csv", "van", "stated_recharge_energy", "low", "kWh", ["95", "95.5"]),
             ("inputs.csv", "old", "usable_energy", "high", "kWh", ["42", "43"])]
    seen = check(program, place, case, moves, "--samples", "1000")
    assert not seen, seen
    edit(path, "van", "stated_recharge_energy", "value", "96")
    return check(program, place, case, moves[1:], "--samples", "1000")


def candidates(program, project, place):
    """A candidate without weight, with one cell energy and not with another."""
    case = f"{place}/candidates"
    shutil.copytree(f"{project}/tests/data/cases/plain", case)
    with open(f"{case}/candidates.csv", "w", encoding="utf-8") as file:
        file.write("candidate,weight,vehicle,quantity,unit,shape,best,source\n"
                   "as_told,1,,,,,,the case as it is\n"
                   "none,1,new,cell_count,1,fixed,100,three modules of thirty\n")
    with open(f"{case}/evidence.csv", "w", encoding="utf-8") as file:
        file.write("vehicle,quantity,unit,value,sd,source\nnew,nominal_energy,kWh,65,2,a filing\n")
    moves = [("inputs.csv", "new", "cell_energy", "best", "Wh", ["220", "433"]),
             ("inputs.csv", "new", "cell_energy", "sd", "Wh", ["2", "40"])]
    return check(program, place, case, moves, "--samples", "20000")


def main():
    program, project = sys.argv[1:]
    with tempfile.TemporaryDirectory() as place:
        seen = set()
        for part in (demo, plain, routes, candidates):
            seen |= part(program, project, place)
            print(f"{part.__name__}: {sorted(seen)}", flush=True)
    missing = {told for _, told in PHRASES} - seen
    assert not missing, f"never came up: {missing}"


main()
