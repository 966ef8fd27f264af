"""lost_parts.py PROGRAM PROJECT: studies and runs through a real Slurm, whose parts get lost.

Whatever happens to the parts, the merged tables are those of the whole, undisturbed.
"""

import csv
import filecmp
import os
import re
import shutil
import signal
import sys

import one_node
from one_node import wait_until

STUDY = """\
axis,vehicle,quantity,field,unit,from,to,steps,spacing,source
cells,new,cell_count,value,1,270,330,4,linear,invented
energy,new,cell_energy,best,Wh,215,225,16,linear,invented
"""
STUDY_OPTIONS = ["--samples", "100000"]
RUN_OPTIONS = ["--samples", "6000000", "--seed", "7"]
RECORDS = ("run.csv", "study_run.csv")
SHARING = ("seconds", "rate", "threads", "parts", "last_start_points", "last_start_threads",
           "last_start_seconds", "last_start_rate")


class Submission:
    def __init__(self, cluster, scripts, out):
        self.cluster = cluster
        self.scripts = scripts
        self.out = out

    def script(self, name, *arguments, status=0):
        return self.cluster.run(os.path.join(self.scripts, name), *arguments, status=status)

    def submit(self, kind, case, *options):
        return self.script("submit", kind, case, self.out, *options)

    def jobs(self):
        with open(os.path.join(self.out, "cluster", "jobs.csv"), encoding="utf-8") as file:
            names = ("time", "by", "parts", "array", "merge")
            return [dict(zip(names, row)) for row in csv.reader(file)]

    def task(self, part):
        return f"{self.jobs()[0]['array']}_{part}"

    def release(self):
        self.cluster.run("scontrol", "release", self.jobs()[-1]["array"], self.jobs()[-1]["merge"])

    def state(self):
        """The table of parts, {part: (state, attempts)}, and all that is printed."""
        printed = self.script("state", self.out)
        rows = re.findall(r"^ *(\d+)  (waiting|running|done|lost) +(\d+) ", printed, re.MULTILINE)
        assert rows, printed
        return {int(part): (state, int(starts)) for part, state, starts in rows}, printed

    def wait_for(self, what, true, seconds=90):
        try:
            wait_until(what, lambda: true(*self.state()), seconds, pause=0.3)
        except AssertionError:
            print(self.script("state", self.out))
            raise

    def wait_merged(self):
        self.wait_for("merged", lambda rows, text: "Merged:" in text)

    def process(self, part):
        """The number of the packspan process of that part, or None."""
        for number, words in self.cluster.processes().items():
            if any(word.endswith("/packspan") for word in words) and self.out in words and any(
                    word.startswith(f"{part}/") for word in words):
                return number
        return None

    def signal(self, part, number):
        os.kill(wait_until(f"part {part} runs", lambda: self.process(part)), number)

    def stop_half_way(self, parts, of):
        """Stops the process of each part when its journal has grown, before it can be too fast."""
        begun = {}
        left = set(parts)

        def stop_what_has_grown():
            for part in sorted(left):
                path = os.path.join(self.out, f"part_{part}_of_{of}.journal")
                size = os.path.getsize(path) if os.path.exists(path) else 0
                if size > begun.get(part, size):
                    self.signal(part, signal.SIGSTOP)
                    left.remove(part)
                elif size:
                    begun.setdefault(part, size)
            return not left

        wait_until(f"journals of {parts} grow", stop_what_has_grown, pause=0.01)

    def history(self, part):
        path = os.path.join(self.out, "cluster", f"part_{part}.csv")
        with open(path, encoding="utf-8") as file:
            return list(csv.reader(file))

    def print_record(self):
        record = os.path.join(self.out, "cluster")
        for name in sorted(os.listdir(record)) if os.path.isdir(record) else []:
            with open(os.path.join(record, name), encoding="utf-8", errors="replace") as file:
                print(f"--- {name}", *file.read().splitlines()[-15:], sep="\n")


def without_times(path):
    """The lines of a run's record but those of time, and of how the work was shared out."""
    with open(path, encoding="utf-8") as file:
        return [line for line in file if line.split(",")[0] not in SHARING]


def check_same_tables(whole, merged):
    names = sorted(name for name in os.listdir(whole) if name.endswith(".csv"))
    assert set(names) - set(RECORDS), names
    for name in names:
        one, two = os.path.join(whole, name), os.path.join(merged, name)
        assert os.path.exists(two), f"not merged: {name}"
        if name in RECORDS:
            assert without_times(one) == without_times(two), name
        else:
            assert filecmp.cmp(one, two, shallow=False), f"{name} is not that of the whole"


def lose_parts_of_a_study(study, case):
    """One process is killed, one job cancelled, one told that its time is up, one left alone."""
    printed = study.submit("study", case, "--parts", "4", "--at-once", "3", "--time", "10",
                           *STUDY_OPTIONS, "--", "--comment=a study")
    assert study.jobs()[0]["array"] in printed, printed
    study.stop_half_way((1, 2, 3), of=4)
    states = {part: state for part, (state, _) in study.state()[0].items()}
    assert states == {1: "running", 2: "running", 3: "running", 4: "waiting"}, states
    study.cluster.run("scancel", "--batch", "--signal=USR1", study.task(1))
    study.signal(1, signal.SIGCONT)
    study.signal(2, signal.SIGKILL)
    study.cluster.run("scancel", "--signal=KILL", study.task(3))
    study.wait_for("part 3 is lost", lambda rows, text: rows[3][0] == "lost")


def check_study_went_on(study):
    rows, _ = study.state()
    assert rows == {1: ("done", 2), 2: ("done", 2), 3: ("done", 2), 4: ("done", 1)}, rows
    ends = {part: [row[4] for row in study.history(part) if row[1] == "end"] for part in rows}
    assert ends[1] == ["130", "0"] and ends[2] == ["137", "0"] and ends[4] == ["0"], ends
    for part in (1, 2, 3):
        first, second = [int(row[4]) for row in study.history(part) if row[1] == "start"]
        assert second > first, f"part {part} began from nothing"
    by = [(row["by"], row["parts"]) for row in study.jobs()]
    assert by == [("submit", "1-4"), ("merge.sh", "3")], by


def wrong_case_then_again(study, case):
    """A case that is wrong by the time it is run: no second attempt until it is asked for."""
    study.submit("study", case, "--parts", "2", "--samples", "1000", "--", "--hold")
    shutil.move(f"{case}/inputs.csv", f"{case}/away.csv")
    study.release()
    study.wait_for("given up", lambda rows, text: "No job is left" in text)
    rows, text = study.state()
    assert rows == {1: ("lost", 1), 2: ("lost", 1)} and "again" in text, text
    shutil.move(f"{case}/away.csv", f"{case}/inputs.csv")
    study.script("again", study.out, "--", "--comment=repaired")
    study.release()
    study.wait_merged()
    assert [row["by"] for row in study.jobs()] == ["submit", "again"], study.jobs()


def give_up_after_attempts(run, case):
    """A run whose part dies each time is not started for ever; asked for again, it ends well."""
    run.submit("run", case, "--parts", "2", "--attempts", "2", *RUN_OPTIONS)
    run.signal(2, signal.SIGKILL)
    wait_until("it ended", lambda: [row for row in run.history(2) if row[1] == "end"])
    run.signal(2, signal.SIGKILL)
    run.wait_for("given up", lambda rows, text: "No job is left" in text)
    rows, _ = run.state()
    assert rows == {1: ("done", 1), 2: ("lost", 2)}, rows
    run.script("again", run.out)


def main():
    program, project = (os.path.realpath(path) for path in sys.argv[1:3])
    excuse = one_node.why_not()
    if excuse:
        print(f"skipped: {excuse}")
        sys.exit(77)
    os.environ["PATH"] = os.path.dirname(program) + os.pathsep + os.environ["PATH"]
    for number in (signal.SIGTERM, signal.SIGALRM):
        signal.signal(number, lambda got, _: sys.exit(f"stopped by signal {got}"))
    signal.alarm(280)

    with one_node.OneNode(processors=6) as cluster:
        def place(name):
            return os.path.join(cluster.folder, name)

        case = shutil.copytree(os.path.join(project, "tests/data/cases/plain"), place("a case"))
        with open(os.path.join(case, "study.csv"), "w", encoding="utf-8") as file:
            file.write(STUDY)
        other_case = shutil.copytree(case, place("other case"))
        study, wrong, run = (Submission(cluster, os.path.join(project, "scripts/cluster"), place(out))
                             for out in ("the study's parts", "wrong", "run_parts"))
        try:
            lose_parts_of_a_study(study, case)
            give_up_after_attempts(run, case)
            wrong_case_then_again(wrong, other_case)
            cluster.run(program, "study", case, "-o", place("whole study"), *STUDY_OPTIONS)
            cluster.run(program, "run", case, "-o", place("whole run"), *RUN_OPTIONS)
            study.wait_merged()
            check_study_went_on(study)
            check_same_tables(place("whole study"), study.out)
            run.wait_merged()
            check_same_tables(place("whole run"), run.out)
            assert "submitted already" in study.script(
                "submit", "study", case, study.out, "--parts", "4", *STUDY_OPTIONS, status=64)
        except BaseException:
            for one in (study, wrong, run):
                one.print_record()
            raise


if __name__ == "__main__":
    main()
