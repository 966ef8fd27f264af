#!/usr/bin/env python3
"""study_survives.py PROGRAM CASE [SEED]: a study of CASE is killed, stopped, cut off, damaged and
run out of disk in many ways; the same command must go on each time and end with the same bytes as
an undisturbed run."""
import fcntl
import os
import pathlib
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time

PROGRAM = str(pathlib.Path(sys.argv[1]).resolve())
CASE = pathlib.Path(sys.argv[2])
DICE = random.Random(int(sys.argv[3]) if len(sys.argv) > 3 else 20261125)
POINTS = 24
AXES = """axis,vehicle,quantity,field,unit,from,to,steps,spacing,values,source
load,new,road_load_factor,value,1,0.9,1.1,6,linear,,invented
wind,all,headwind.motorway,value,km/h,0,15,4,linear,,invented
"""
TABLES = ("study.csv", "study_claims.csv", "study_points.csv")
WAIT_FOR_POINT = 30.0  # seconds; only against hanging


def command(case, out, *more):
    return [PROGRAM, "study", str(case), "-o", str(out), "--samples", "8000", "--threads", "2",
            *more]


def run(case, out, *more, limit=None):
    def before():
        if limit:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    done = subprocess.run(command(case, out, *more), capture_output=True, text=True,
                          preexec_fn=before if limit else None)
    return done.returncode, done.stdout, done.stderr


def merge(out, *parts):
    done = subprocess.run([PROGRAM, "merge", str(out), *map(str, parts)], capture_output=True,
                          text=True)
    return done.returncode, done.stdout, done.stderr


def tables(out):
    return [(out / name).read_bytes() for name in TABLES]


class Test:
    def __init__(self, scratch):
        self.scratch = scratch
        self.case = scratch / "case"
        shutil.copytree(CASE, self.case)
        (self.case / "study.csv").write_text(AXES)
        status, _, errors = run(self.case, scratch / "whole")
        assert status == 0, errors
        self.expected = tables(scratch / "whole")
        self.journal = (scratch / "whole" / "study.journal").read_bytes()
        assert self.expected[0].count(b"\n") > POINTS
        self.slot = None
        self.number = 0

    def fresh(self, journal=None):
        self.number += 1
        out = self.scratch / f"out{self.number}"
        out.mkdir()
        if journal is not None:
            (out / "study.journal").write_bytes(journal)
        return out

    def finish(self, out, what):
        """The same command goes on, and ends as if nothing had happened."""
        status, said, errors = run(self.case, out)
        assert status == 0, f"{what}: status {status}: {errors}"
        assert tables(out) == self.expected, f"{what}: other tables"
        left = sorted(p.name for p in out.iterdir() if ".partial" in p.name)
        shutil.rmtree(out)
        return said, errors, left

    def interrupt(self, number, times):
        """Sends a signal at a random instant, again and again."""
        out, ended, codes = self.fresh(), 0, set()
        for _ in range(times):
            process = subprocess.Popen(command(self.case, out), stdout=subprocess.DEVNULL,
                                       stderr=subprocess.PIPE)
            time.sleep(DICE.uniform(0.0, 0.25))
            process.send_signal(number)
            process.communicate()
            codes.add(process.returncode)
            if process.returncode == 0:
                ended += 1
                assert tables(out) == self.expected
                shutil.rmtree(out)
                out.mkdir()
        _, _, left = self.finish(out, f"signal {number}")
        assert not left, left
        return codes

    def cut(self):
        """Cut off in the header, between records, and within them."""
        start = self.journal.index(b"\n\n") + 2 + 32
        slot = (len(self.journal) - start) // POINTS
        assert start + POINTS * slot == len(self.journal)
        places = {0, 1, 10, start - 40, start - 32, start - 1, start, start + 1, start + slot - 1,
                  start + slot, start + slot + 1, start + 7 * slot + 8, len(self.journal) - 1}
        places |= {DICE.randrange(len(self.journal)) for _ in range(10)}
        for place in sorted(places):
            said, errors, _ = self.finish(self.fresh(self.journal[:place]), f"cut at {place}")
            whole = max(0, place - start) // slot
            assert (f"{whole} of them w" in said) == (whole > 0), said
            torn = place > start and (place - start) % slot >= 8 and "1\n" or ""
            if torn:
                assert "dropped" in errors, (place, errors)

    def damage(self):
        """Bytes turned anywhere, the header included."""
        start = self.journal.index(b"\n\n") + 2 + 32
        slot = (len(self.journal) - start) // POINTS
        places = [0, 3, 30, start - 5, start, start + 9, start + slot - 1, len(self.journal) - 1]
        places += [DICE.randrange(len(self.journal)) for _ in range(10)]
        for place in places:
            journal = bytearray(self.journal)
            journal[place] ^= 1 << DICE.randrange(8)
            out = self.fresh(bytes(journal))
            _, errors, _ = self.finish(out, f"byte {place} turned")
            assert ("header" if place < start else "dropped") in errors, (place, errors)
        self.finish(self.fresh(self.journal + bytes(range(256)) * slot), "something after the end")
        holes = bytearray(self.journal)
        for point in DICE.sample(range(POINTS), 7):
            holes[start + point * slot:start + (point + 1) * slot] = bytes(slot)
        said, errors, _ = self.finish(self.fresh(bytes(holes)), "holes")
        assert f"{POINTS - 7} of them were finished before" in said and not errors, (said, errors)
        swapped = bytearray(self.journal)
        swapped[start:start + slot] = self.journal[start + slot:start + 2 * slot]
        _, errors, _ = self.finish(self.fresh(bytes(swapped)), "a record in the place of another")
        assert "dropped" in errors

    def fill_disk(self):
        """Files cannot grow beyond a limit: first the journal, then the tables. clang's OpenMP wants
        a file of 1024 bytes for itself."""
        out, limits = self.fresh(), [1100, len(self.journal) // 3, len(self.journal) - 1,
                                     len(self.expected[0]) - 1]
        for limit in limits:
            status, _, errors = run(self.case, out, limit=limit)
            assert status == 74, (limit, status, errors)
            assert not any((out / name).exists() for name in TABLES)
        _, _, left = self.finish(out, "full disk")
        assert not left, left

    def refuse(self):
        """Another study is not mixed with what is there."""
        other = self.scratch / "other"
        shutil.copytree(self.case, other)
        (other / "study.csv").write_text(AXES.replace("1.1,6", "1.2,6"))
        out = self.fresh(self.journal)
        for case, more, words in ((self.case, ["--seed", "7"], "seed is 7 here, 1 in"),
                                  (self.case, ["--samples", "3000"], "samples is 3000 here"),
                                  (other, [], "case_checksum study.csv is")):
            status, _, errors = run(case, out, *more)
            assert status == 65 and words in errors and "begin afresh" in errors, errors
            assert (out / "study.journal").read_bytes() == self.journal
        for foreign in (b"something else\n" * 1000, b"a letter\n", self.journal[:40] + b"and more"):
            (out / "study.journal").write_bytes(foreign)
            status, _, errors = run(self.case, out)
            assert status == 65 and "is no journal of this study" in errors, errors
            assert (out / "study.journal").read_bytes() == foreign
        self.finish(self.fresh(bytes(300)), "a header that never reached the disk")
        self.finish(self.fresh(self.journal[:100] + bytes(90)), "a header of which half did")

    def leave_drafts(self):
        """What a killed process has left of tables and of a part's file is cleared away."""
        names = [f"{name}.partial-{number}-0" for number in (1, os.getpid())
                 for name in (*TABLES, "study_run.csv")]
        out = self.fresh(self.journal)
        for name in (*names, "study.csv.part"):
            (out / name).write_text("cut off")
        _, _, left = self.finish(out, "drafts")
        assert left == [], left
        out = self.fresh()
        (out / "part_1_of_3.part.partial-1-0").write_text("cut off")
        (out / "part_11_of_30.part.partial-1-0").write_text("of another part")
        status, _, errors = run(self.case, out, "--part", "1/3")
        assert status == 0, errors
        assert sorted(p.name for p in out.iterdir()) == [
            "part_11_of_30.part.partial-1-0", "part_1_of_3.log", "part_1_of_3.part"]
        (out / "part_1_of_3.journal").write_text("left by a kill after the part was there")
        status, said, _ = run(self.case, out, "--part", "1/3")
        assert status == 0 and "is there already" in said
        assert not (out / "part_1_of_3.journal").exists()

    def share_folder(self):
        """Two processes do not work on one journal; the second one says so and alters nothing."""
        out = self.fresh(self.journal[:-1])
        with open(out / "study.journal", "rb") as held:
            fcntl.flock(held, fcntl.LOCK_EX)
            status, _, errors = run(self.case, out)
        assert status == 74 and "another packspan is working on it" in errors, errors
        assert [p.name for p in out.iterdir()] == ["study.journal"]
        self.finish(out, "two at once")
        out, command_line = self.fresh(), command(self.case, self.scratch / f"out{self.number}")
        both = [subprocess.Popen(command_line, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                for _ in range(2)]
        codes = sorted(process.wait() for process in both)
        assert codes in ([0, 0], [0, 74]), codes
        self.finish(out, "two started together")

    def cannot_write(self):
        """Where nothing can be written there is a reason, and what is there stays as it is."""
        out = self.fresh(self.journal[:-1])
        (out / "study.log").mkdir()
        status, _, errors = run(self.case, out)
        assert status == 74 and "study.log: Is a directory" in errors, errors
        assert (out / "study.journal").read_bytes() == self.journal[:-1]
        (out / "study.log").rmdir()
        (out / "study.csv").mkdir()
        status, _, errors = run(self.case, out)
        assert status == 74 and "study.csv: Is a directory" in errors, errors
        (out / "study.csv").rmdir()
        _, _, left = self.finish(out, "a folder in the way")
        assert not left, left

    def grow(self):
        """A Sobol' design goes on to more points with what it has, and not to fewer."""
        sobol = ["--design", "sobol", "--points"]
        whole, out = self.fresh(), self.fresh()
        run(self.case, whole, *sobol, "11")
        for points, found in (("8", None), ("11", "8 of them were finished before")):
            status, said, errors = run(self.case, out, *sobol, points)
            assert status == 0 and (found is None or found in said), (said, errors)
        assert tables(out) == tables(whole)
        assert (out / "study.journal").read_bytes() == (whole / "study.journal").read_bytes()
        status, _, errors = run(self.case, out, *sobol, "8")
        assert status == 65 and "holds points up to 11, more than the 8 of" in errors, errors
        assert tables(out) == tables(whole)
        status, _, errors = run(self.case, out)
        assert status == 65 and "design is grid here, sobol in" in errors, errors

    def parts(self):
        """Shares that are killed now and then, each with a journal of its own, merge to the whole;
        a share that is there is left alone."""
        out = self.fresh()
        for part in range(1, 4):
            share = ["--part", f"{part}/3"]
            for _ in range(3):
                process = subprocess.Popen(command(self.case, out, *share),
                                           stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                time.sleep(DICE.uniform(0.0, 0.1))
                process.kill()
                process.wait()
            status, _, errors = run(self.case, out, *share)
            assert status == 0, errors
            before = (out / f"part_{part}_of_3.part").read_bytes()
            status, said, _ = run(self.case, out, *share)
            assert status == 0 and "is there already" in said, said
            assert (out / f"part_{part}_of_3.part").read_bytes() == before
        assert not list(out.glob("*.journal"))
        status, _, errors = merge(out, out)
        assert status == 0, errors
        assert tables(out) == self.expected
        status, _, errors = run(self.case, out, "--part", "1/3", "--seed", "7")
        assert status == 65 and "part of another study: seed is 1, not 7" in errors, errors
        part = out / "part_2_of_3.part"
        good = part.read_bytes()
        for bad in (b"", good[:-1], good[:len(good) // 2]):
            part.write_bytes(bad)
            status, _, errors = run(self.case, out, "--part", "2/3")
            assert status == 0 and "was damaged or cut off" in errors, errors
            assert part.read_bytes() == good
        part.write_bytes(b"something else")
        status, _, errors = run(self.case, out, "--part", "2/3")
        assert status == 65 and "is no part that packspan has written" in errors, errors
        part.write_bytes(good)
        status, _, errors = merge(out, out, "--units", "us")
        assert status == 64 and "no results are shown" in errors, errors
        self.keep_tables_of_others(out)
        few, more, grown = self.fresh(), self.fresh(), self.fresh()
        for folder, points in ((few, "4"), (more, "6")):
            status, _, errors = run(self.case, folder, "--part", "1/1", "--design", "sobol",
                                    "--points", points)
            assert status == 0, errors
        assert [merge(grown, folder)[0] for folder in (few, more, few)] == [0, 0, 65]
        part.unlink()
        status, _, errors = run(self.case, out, "--part", "2/3", "--hours", "1e-9")
        assert status == 130, errors
        status, _, errors = merge(out, out)
        assert status == 65 and "part 2 of 3: is missing; it is made by: packspan study" in errors
        assert re.search(r"part_2_of_3.journal: is not finished; its log ends with: '.* 0 of 8 points",
                         errors), errors
        for path in out.glob("*.part"):
            path.unlink()
        status, _, errors = merge(out, out)
        assert status == 65 and "part_2_of_3.journal: is not finished" in errors, errors

    def keep_tables_of_others(self, parts):
        """Neither a merge nor a study that begins replaces what it did not write; one that goes on
        does not call edited tables its own."""
        out = self.fresh()
        status, _, errors = run(self.case, out, "--seed", "7")
        assert status == 0, errors
        others = tables(out)
        (out / "study.journal").unlink()
        for status, _, errors in (merge(out, parts), run(self.case, out)):
            assert status == 65, errors
            assert "study_run.csv: is the record of another study" in errors, errors
            assert "take another folder, or remove" in errors, errors
            assert tables(out) == others and not (out / "study.journal").exists()
        for path in out.iterdir():
            path.unlink()
        (out / "study.csv").write_text("mine\n")
        status, _, errors = merge(out, parts)
        assert status == 65 and "is there without a study_run.csv" in errors, errors
        assert (out / "study.csv").read_text() == "mine\n"
        (out / "study.csv").unlink()
        assert merge(out, parts)[0] == 0 and tables(out) == self.expected
        assert merge(out, parts)[0] == 0 and tables(out) == self.expected
        (out / "study.csv").unlink()  # as a kill between two tables leaves them
        assert merge(out, parts)[0] == 0 and tables(out) == self.expected
        with (out / "study.csv").open("a") as table:
            table.write("a remark\n")
        edited = tables(out)
        status, _, errors = merge(out, parts)
        assert status == 65 and "study.csv: has been edited since" in errors, errors
        assert tables(out) == edited
        (out / "study.journal").write_bytes(self.journal)
        status, _, errors = run(self.case, out)
        assert status == 0 and "were edited or those of another study" in errors, errors
        assert tables(out) == self.expected
        assert run(self.case, out)[1].startswith("All points were finished before")

    def repeat(self):
        """A finished study is left alone; tables that are gone are written from the journal."""
        out = self.fresh(self.journal)
        run(self.case, out)
        before = {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in out.iterdir()}
        status, said, _ = run(self.case, out)
        assert status == 0 and "finished before" in said
        assert {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in out.iterdir()} == before
        (out / "study_claims.csv").unlink()
        self.finish(out, "a table is gone")


def main():
    with tempfile.TemporaryDirectory() as scratch:
        test = Test(pathlib.Path(scratch))
        codes = test.interrupt(signal.SIGKILL, 25)
        assert -signal.SIGKILL in codes, codes
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            codes = test.interrupt(number, 8)
            assert codes <= {0, 130, -number}, codes
        test.cut()
        test.damage()
        test.fill_disk()
        test.refuse()
        test.leave_drafts()
        test.share_folder()
        test.cannot_write()
        test.grow()
        test.repeat()
        test.parts()


main()
