"""Counts the instructions of guarded_work and compares them with the accepted ones in
instructions.json: fails when one has grown by more than a tenth. Unlike times they are the same on a
busy machine. They depend on the compiler: with another one than the accepted figures came from
nothing can be said.

Usage: instructions.py          (exit 77: nothing can be said)
       instructions.py --accept    takes the new figures; say in the commit why they grew
"""
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
BIN = os.environ.get("PLUMBLANE_BIN") or os.path.join(HERE, "..", "..", "build", "bin")
ACCEPTED = os.path.join(HERE, "instructions.json")
WORKS = ("fold", "score", "again", "intake")
MOST_GROWTH = 1.10


def compiler(binary):
    """What built it, as the binary itself says."""
    comment = subprocess.run(["readelf", "-p", ".comment", binary], check=True, capture_output=True,
                             text=True).stdout
    return re.search(r"GCC: \(.*\) (\d+)|clang version (\d+)", comment).group(0)


def count(work):
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            ["valgrind", "--tool=callgrind", "--toggle-collect=CountedWork",
             f"--callgrind-out-file={folder}/out", os.path.join(BIN, "guarded_work"), work],
            capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    counted = int(re.search(r"Collected : (\d+)", done.stderr).group(1))
    assert counted > 0, "nothing was counted"
    return counted


def main():
    if not shutil.which("valgrind"):
        print("skipped: valgrind is not installed (deploy/install-packages --tests)")
        return 77
    built_by = compiler(os.path.join(BIN, "guarded_work"))
    if "--accept" in sys.argv:
        figures = {"compiler": built_by, **{work: count(work) for work in WORKS}}
        with open(ACCEPTED, "w") as file:
            json.dump(figures, file, indent=2)
            file.write("\n")
        print(figures)
        return 0
    with open(ACCEPTED) as file:
        accepted = json.load(file)
    if built_by != accepted["compiler"]:
        print(f"skipped: built by {built_by}; the accepted figures are of {accepted['compiler']}")
        return 77
    grown = []
    for work in WORKS:
        now = count(work)
        ratio = now / accepted[work]
        print(f"{work}: {now:,} instructions, {ratio:.3f} of the accepted")
        if ratio > MOST_GROWTH:
            grown.append(work)
    if grown:
        print(f"grown by more than a tenth: {', '.join(grown)}. If that is worth it: "
              "python3 tests/bench/instructions.py --accept, and say why in the commit")
    return 1 if grown else 0


if __name__ == "__main__":
    sys.exit(main())
