"""readme.py PROGRAM PROJECT: the README's examples print what the README shows (times masked)."""

import os
import re
import subprocess
import sys
import tempfile

program, project = (os.path.realpath(path) for path in sys.argv[1:3])
env = dict(os.environ, PATH=os.path.dirname(program) + os.pathsep + os.environ["PATH"])


def masked(text):
    return re.sub(r"in [\d.]+ s \([\d.]+ million a second\)", "in TIME", text).strip("\n")


def printed_by(script, folder):
    done = subprocess.run(["sh", "-eu", "-c", script], cwd=folder, env=env, text=True,
                          stdout=subprocess.PIPE, check=True)
    return masked(done.stdout)


with open(os.path.join(project, "README.md"), encoding="utf-8") as file:
    readme = file.read()
shown = [masked(block) for block in re.findall(r"```text\n(.*?)```", readme, re.S)]
scripts = re.findall(r"```sh\n(.*?)```", readme, re.S)
assert len(shown) == 2 and len(scripts) == 1, (len(shown), len(scripts))

# What scripts/demo prints, without its installing, building and drawing.
with open(os.path.join(project, "scripts", "demo"), encoding="utf-8") as file:
    demo = "".join(line.replace("build/bin/", "").replace(' "$@"', "") for line in file
                   if line.startswith(("build/bin/packspan ", "echo ")))

with tempfile.TemporaryDirectory() as folder:
    os.symlink(os.path.join(project, "configs"), os.path.join(folder, "configs"))
    got = [printed_by(demo, folder), printed_by(scripts[0], folder)]
failed = 0
for want, have in zip(shown, got):
    for line, (a, b) in enumerate(zip(want.split("\n"), have.split("\n"), strict=True), 1):
        if a != b:
            print(f"block line {line}:\n  README  {a}\n  printed {b}")
            failed += 1
sys.exit(failed > 0)
