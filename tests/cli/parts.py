"""parts.py PROGRAM PROJECT: parts of a run against the run as a whole: the same bytes, whatever the
parts, threads and folders; and every part that is missing, foreign or damaged is named."""
import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

program, project = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
BENCH, DEMO = f"{project}/scripts/benchmark/case", f"{project}/configs/demo"
OWN_ITEMS = ("threads", "parts", "seconds", "rate")


def packspan(*arguments, status=0):
    """Standard error of a call that must end with that status."""
    done = subprocess.run([program, *arguments], capture_output=True, text=True)
    assert done.returncode == status, f"{arguments}: {done.returncode}, {done.stderr}"
    return done.stderr


def contents(path):
    with open(path, "rb") as file:
        return file.read()


def record(folder):
    lines = contents(f"{folder}/run.csv").decode().splitlines()
    return [line for line in lines if line.split(",")[0] not in OWN_ITEMS]


def assert_same_tables(whole, merged):
    tables = sorted(name for name in os.listdir(whole) if name.endswith(".csv"))
    assert len(tables) >= 5, tables
    assert tables == sorted(name for name in os.listdir(merged) if name.endswith(".csv"))
    for name in tables:
        if name == "run.csv":
            assert record(whole) == record(merged)
        else:
            assert contents(f"{whole}/{name}") == contents(f"{merged}/{name}"), name


def make_parts(case, folder, parts, *settings, only=None):
    """Last one first, with 1 and 2 threads."""
    for k in only or range(parts, 0, -1):
        packspan("run", case, "-o", folder, "--quiet", f"--part={k}/{parts}",
                 f"--threads={1 + k % 2}", *settings)


def name(folder, k, parts):
    return f"{folder}/part_{k}_of_{parts}.part"


def rewrite(path, to, old, new):
    """A sound part with another header."""
    text = contents(path)[:-72]
    assert text.count(old) == 1
    text = text.replace(old, new)
    with open(to, "wb") as file:
        file.write(text + b"sha256," + hashlib.sha256(text).hexdigest().encode() + b"\n")


def merged_parts_are_the_whole():
    runs = [
        (DEMO, [3], ["--samples=50000"]),  # evidence and candidates
        (DEMO, [2], ["--samples=50000", "--sequence=sobol", "--keep=20"]),
        (BENCH, [2, 7], ["--samples=9000001"]),  # bins join from 2^22 samples on
        (BENCH, [5], ["--samples=5000000", "--sequence=sobol", "--seed=18446744073709551615"]),
        (BENCH, [1], ["--samples=100"]),
    ]
    for case, all_parts, settings in runs:
        packspan("run", case, "-o", "whole", "--quiet", *settings)
        for parts in all_parts:
            make_parts(case, "out", parts, *settings)
            packspan("merge", "merged", "out", "--quiet", "--threads=1")
            assert_same_tables("whole", "merged")
            assert f"parts,{parts}\n".encode() in contents("merged/run.csv")
            shutil.rmtree("out")
            shutil.rmtree("merged")
        shutil.rmtree("whole")


def a_part_that_is_there_is_not_made_again():
    make_parts(BENCH, "out", 3, "--samples=10000")
    before = os.stat(name("out", 2, 3))
    make_parts(BENCH, "out", 3, "--samples=10000", only=[2])
    after = os.stat(name("out", 2, 3))
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def parts_in_the_way_are_named():
    make_parts(BENCH, "out", 3, "--samples=10000")
    path, stays = name("out", 2, 3), "remove it, or choose another folder with --out\n"
    told = packspan("run", BENCH, "-o", "out", "--samples=10000", "--part=2/3", "--seed=7", status=65)
    assert told == f"{path}: is part of another run: seed is 1, not 7; {stays}", told
    told = packspan("run", DEMO, "-o", "out", "--samples=10000", "--part=2/3", "--seed=1", status=65)
    assert told.count("\n") == 1 and f", the case being {BENCH}, not {DEMO}; {stays}" in told, told
    for alien in (b"something else\n", b"packspan bart,1\n"):
        with open(path, "wb") as file:
            file.write(alien)
        told = packspan("run", BENCH, "-o", "out", "--samples=10000", "--part=2/3", status=65)
        assert told == f"{path}: is no part that packspan has written; {stays}", told
        assert contents(path) == alien


def a_damaged_part_is_made_again():
    make_parts(BENCH, "out", 3, "--samples=10000")
    path = name("out", 2, 3)
    good = contents(path)
    payload = good.index(b"\n\n") + 2
    turned = good[:payload + 8] + bytes([good[payload + 8] ^ 1]) + good[payload + 9:]
    for bad in (b"", good[:5], good[:40], good[:-100], good[:-1], turned):
        with open(path, "wb") as file:
            file.write(bad)
        told = packspan("run", BENCH, "-o", "out", "--samples=10000", "--part=2/3", "--quiet")
        assert told == f"packspan: {path} was damaged or cut off and has been worked out again\n", told
        packspan("merge", "merged", "out", "--quiet")


def the_merge_says_how_to_make_what_is_missing():
    """The commands that it prints make just that."""
    shutil.copytree(BENCH, "it's a case")
    settings = ["--samples=10000", "--seed=3", "--sequence=sobol", "--keep=5", "--pilot=7"]
    make_parts("it's a case", "out", 9, *settings)
    for k in (2, 4, 5, 6):
        os.remove(name("out", k, 9))
    with open(name("out", 9, 9), "wb") as file:
        file.write(b"packspan part,1\n")
    told = packspan("merge", "merged", "out", status=65)
    made = re.findall("^(.*): (?:is|are) missing; .* made.* by: packspan (.*)$", told, re.M)
    assert [each[0] for each in made] == ["part 2 of 9", "parts 4 to 6 of 9", "part 9 of 9"], told
    for _, command in made:
        for k in "456" if command.endswith(" K/9") else ("",):
            text = command.replace(" K/9", f" {k}/9")
            subprocess.run(f"'{program}' {text} --quiet", shell=True, check=True)
    packspan("merge", "merged", "out", "--quiet")


def a_file_that_is_named_twice_counts_once():
    make_parts(BENCH, "out", 2, "--samples=10000")
    os.symlink("out", "link")
    first = name("out", 1, 2)
    packspan("merge", "merged", "out", "link", first, os.path.abspath(first), "--quiet")


def foreign_and_missing_parts_are_named_at_once():
    make_parts(BENCH, "out", 4, "--samples=10000")
    make_parts(BENCH, "seed", 4, "--samples=10000", "--seed=7", only=[2])
    make_parts(BENCH, "number", 5, "--samples=10000", only=[3])
    make_parts(BENCH, "samples", 4, "--samples=10001", only=[3])
    make_parts(f"{project}/tests/data/cases/plain", "case", 4, "--samples=10000", only=[3])
    os.remove(name("out", 3, 4))
    shutil.copy(name("out", 1, 4), "out/copy.part")
    rewrite(name("out", 4, 4), "study.part", b"kind,run", b"kind,study")
    told = packspan("merge", "merged", "seed", "number", "samples", "case", "study.part", "out",
                    status=65).splitlines()
    first = name("out", 1, 4)
    expected = [f"{name('seed', 2, 4)}: is part of another run: seed is 7, not 1",
                f"{name('number', 3, 5)}: is part of another run: parts is 5, not 4",
                f"{name('samples', 3, 4)}: is part of another run: samples is 10001, not 10000",
                f"{name('case', 3, 4)}: is part of another run: ",
                "study.part: is part of a study, not of a run",
                "is part 1 of 4, and so is",
                "part 3 of 4: is missing; it is made by: packspan run "]
    assert len(told) == len(expected), told
    for line, words in zip(told, expected):
        assert words in line, (words, line)
    assert {told[5]} <= {f"{first}: {expected[5]} out/copy.part", f"out/copy.part: {expected[5]} {first}"}
    assert told[3].endswith(f", the case being {project}/tests/data/cases/plain, not {BENCH}"), told
    assert not os.path.exists("merged")


def parts_of_another_kind_or_version_are_refused():
    make_parts(BENCH, "out", 1, "--samples=10000")
    version = re.search(rb"version,(.*)\n", contents(name("out", 1, 1)))
    rewrite(name("out", 1, 1), "tour.part", b"kind,run", b"kind,tour")
    rewrite(name("out", 1, 1), "study.part", b"kind,run", b"kind,study")
    rewrite(name("out", 1, 1), "old.part", version[0], b"version,0.0.1\n")
    told = packspan("merge", "merged", "tour.part", status=65)
    assert told == "tour.part: is part of a tour, not of a run or a study\n", told
    told = packspan("merge", "merged", "study.part", status=65)
    assert told == "study.part: has a setting that this packspan does not know\n", told
    told = packspan("merge", "merged", "old.part", status=65)
    assert told == ("old.part: was written by packspan 0.0.1, but this is packspan "
                    f"{version[1].decode()}; make all parts and merge them with the same "
                    "version\n"), told


def damage_is_named():
    make_parts(BENCH, "out", 2, "--samples=10000")
    good = contents(name("out", 2, 2))
    for place in (0, 20, len(good) // 2, len(good) - 2):
        bad = bytearray(good)
        bad[place] ^= 1
        with open(name("out", 2, 2), "wb") as file:
            file.write(bad)
        told = packspan("merge", "merged", "out", status=65).splitlines()
        assert told[0].startswith(f"{name('out', 2, 2)}: is "), told
        assert told[1].startswith("part 2 of 2: is missing; it is made by: "), told
    with open(name("out", 2, 2), "wb") as file:
        file.write(good[:len(good) // 2])
    told = packspan("merge", "merged", "out", status=65)
    assert told.startswith(f"{name('out', 2, 2)}: is damaged or cut off"), told
    assert packspan("merge", "merged", "none", status=66) == "none: No such file or directory\n"


def a_case_that_changed_is_refused():
    shutil.copytree(BENCH, "case")
    make_parts("case", "out", 2, "--samples=10000")
    packspan("run", "case", "-o", "whole", "--samples=10000", "--quiet")
    shutil.move("case", "elsewhere")
    packspan("merge", "merged", "out", "--quiet", status=66)
    packspan("merge", "merged", "out", "--quiet", "--case", "elsewhere")
    for table in ("summary.csv", "histogram.csv", "claims.csv", "routes.csv"):
        assert contents(f"whole/{table}") == contents(f"merged/{table}"), table
    with open("elsewhere/inputs.csv", "a") as file:
        file.write("# a remark\n")
    with open("elsewhere/claims.csv", "w") as file:
        file.write("claim,vehicle,quantity,unit,sense,value,tolerance,source\n")
    with open("elsewhere/settings.csv", "w") as file:  # the parts' own settings count
        file.write("setting,value\n")
    told = packspan("merge", "again", "out", "--case", "elsewhere", status=65)
    assert told == ("elsewhere/claims.csv: was not there when the parts were made\n"
                    "elsewhere/inputs.csv: has changed since the parts were made\n"), told
    assert not os.path.exists("again")


def a_run_does_not_depend_on_the_design_of_a_study():
    """Nor is it warned of it; and what it is warned of reads the same after the merge."""
    shutil.copytree(DEMO, "case")
    packspan("run", "case", "-o", "whole", "--samples=10000", "--quiet")
    warnings = [line for line in record("whole") if line.startswith("warning,")]
    assert any(line.startswith('warning,"inputs.csv: warning: ') for line in warnings), warnings
    make_parts("case", "out", 2, "--samples=10000", only=[1])
    with open("case/study.csv", "w") as file:  # candidates have a cell_count of their own
        file.write("axis,vehicle,quantity,field,unit,from,to,steps,spacing,values\n"
                   "cells,van,cell_count,best,1,,,,,180;190\n")
    checked = subprocess.run([program, "check", "case"], capture_output=True, text=True).stdout
    assert "case/study.csv:2: " in checked, checked
    make_parts("case", "out", 2, "--samples=10000", only=[2])
    packspan("merge", "merged", "out", "--quiet")
    assert_same_tables("whole", "merged")


def settings_of_the_parts_count_at_the_merge():
    shutil.copytree(BENCH, "case")
    with open("case/settings.csv", "w") as file:
        file.write("setting,value\nseed,5\nstable,2\nsequence,sobol\nsamples,3000\n")
    settings = ["--seed=6", "--stable=0", "--sequence=pcg", "--samples=9000", "--keep=3"]
    make_parts("case", "out", 2, *settings)
    packspan("run", "case", "-o", "whole", "--quiet", *settings)
    packspan("merge", "merged", "out", "--quiet")
    assert_same_tables("whole", "merged")


def without_numbers(text):
    return re.sub(r"[0-9]+ of [0-9]+ samples", "some samples", text)


def a_run_that_is_refused_is_refused_merged():
    """Each part alone is good enough, but not all together; or the first part can tell."""
    shutil.copytree(f"{project}/tests/data/cases/plain", "gale")
    with open("gale/trips.csv", "a") as file:
        file.write("gale,cycle,,,steady,,,,,x\ngale,speed,km/h,fixed,20,,,,,x\n"
                   "gale,headwind,m/s,normal,0,,,,8.25,x\n")
    misfit = f"{project}/tests/cli/cases/evidence_misfit/case"
    for out, folder in (("misfit_parts", misfit), ("gale_parts", os.path.abspath("gale"))):
        told = packspan("run", folder, "-o", "whole", "--samples=200000", status=65)
        make_parts(folder, out, 2, "--samples=200000")
        merged = packspan("merge", "merged", out, status=65)
        assert without_numbers(merged) == without_numbers(told), (merged, told)
        assert not os.path.exists("merged/summary.csv")
    with open("gale/trips.csv", "a") as file:
        file.write("storm,cycle,,,steady,,,,,x\nstorm,speed,km/h,fixed,20,,,,,x\n"
                   "storm,headwind,m/s,fixed,-40,,,,,x\n")
    for part in ("1/2", "2/2"):
        told = packspan("run", "gale", "-o", "out", "--samples=1e12", "--part", part, status=65)
        assert "trip_consumption.storm" in told, told
    assert os.listdir("out") == []


SHARP = {
    "vehicles.csv": "vehicle,role\nvan,subject\n",
    "inputs.csv": "vehicle,quantity,unit,shape,best,sd,source\n"
                  "van,cell_count,1,fixed,200,,x\nvan,cell_energy,Wh,normal,300,5,x\n"
                  "van,usable_fraction,%,fixed,90,,x\n",
    # six standard deviations away from one candidate, so that the few samples that count come late
    "evidence.csv": "vehicle,quantity,unit,value,sd,source\nvan,nominal_energy,kWh,66,0.35,x\n",
    "candidates.csv": "candidate,weight,vehicle,quantity,unit,shape,best,source\n"
                      "near,1,van,cell_count,1,fixed,220,x\nfar,1,van,cell_count,1,fixed,200,x\n",
}


def weights_that_outgrow_the_pilot_need_a_longer_one():
    os.mkdir("case")
    for table, text in SHARP.items():
        with open(f"case/{table}", "w") as file:
            file.write(text)
    advised = 0
    for seed in ("--seed=1", "--seed=2"):
        settings = ["--samples=400000", seed]
        packspan("run", "case", "-o", "whole", "--quiet", *settings)
        for attempt in range(5):
            make_parts("case", "out", 3, *settings)
            done = subprocess.run([program, "merge", "merged", "out", "--quiet"],
                                  capture_output=True, text=True)
            shutil.rmtree("out")
            if done.returncode == 0:
                break
            advice = re.search(r"run each again with (--pilot) (\d+)$", done.stderr.strip())
            assert done.returncode == 65 and advice, done.stderr
            settings = ["--samples=400000", seed, f"{advice[1]}={advice[2]}"]
            advised += 1
        assert_same_tables("whole", "merged")
        shutil.rmtree("whole")
        shutil.rmtree("merged")
    assert advised >= 2, "the case is meant to outgrow its pilot"


def a_part_that_is_stopped_leaves_nothing():
    for sent, status in ((signal.SIGKILL, -signal.SIGKILL), (signal.SIGTERM, 130),
                         (signal.SIGINT, 130)):
        os.mkdir("out")
        running = subprocess.Popen([program, "run", BENCH, "-o", "out", "--samples=1e11", "--quiet",
                                    "--part=1/2"], stderr=subprocess.PIPE, text=True)
        time.sleep(1)
        running.send_signal(sent)
        told = running.communicate()[1]
        assert running.returncode == status, (running.returncode, told)
        assert [f for f in os.listdir("out") if f.endswith(".part")] == []
        if status == 130:
            assert "smaller parts lose less" in told and os.listdir("out") == [], told
        shutil.rmtree("out")


CHECKS = [
    merged_parts_are_the_whole,
    a_part_that_is_there_is_not_made_again,
    parts_in_the_way_are_named,
    a_damaged_part_is_made_again,
    the_merge_says_how_to_make_what_is_missing,
    a_file_that_is_named_twice_counts_once,
    foreign_and_missing_parts_are_named_at_once,
    parts_of_another_kind_or_version_are_refused,
    damage_is_named,
    a_case_that_changed_is_refused,
    a_run_does_not_depend_on_the_design_of_a_study,
    settings_of_the_parts_count_at_the_merge,
    a_run_that_is_refused_is_refused_merged,
    weights_that_outgrow_the_pilot_need_a_longer_one,
    a_part_that_is_stopped_leaves_nothing,
]
for check in CHECKS:
    with tempfile.TemporaryDirectory() as scratch:
        os.chdir(scratch)
        check()
        os.chdir("/")
    print(check.__name__.replace("_", " "))
