"""The naive model of the sample season meets its published values, and expected.json is what it
says of the files beside it."""
import json
import os
import subprocess
import sys

from harness import ROOT, SAMPLE, main

NAIVE = os.path.join(ROOT, "tests", "support", "season", "naive.py")


def naive(*args):
    done = subprocess.run([sys.executable, NAIVE, *args], capture_output=True, text=True,
                          timeout=600)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def its_sums_meet_published_values():
    assert "all met" in naive("--self-test")


def differences(path, ours, theirs):
    """Where two JSON values differ by more than mathematical libraries do."""
    if isinstance(ours, dict) and isinstance(theirs, dict) and ours.keys() == theirs.keys():
        return [found for key in ours for found in differences(f"{path}.{key}", ours[key],
                                                               theirs[key])]
    if isinstance(ours, list) and isinstance(theirs, list) and len(ours) == len(theirs):
        return [found for i, (one, other) in enumerate(zip(ours, theirs))
                for found in differences(f"{path}[{i}]", one, other)]
    if isinstance(ours, float) and isinstance(theirs, float):
        tolerance = 1e-3 if path.endswith(".likeliest") else 1e-9
        return [] if abs(ours - theirs) <= tolerance * max(1.0, abs(theirs)) else [path]
    return [] if ours == theirs else [path]


def what_the_season_must_score_is_what_it_says():
    said = json.loads(naive(SAMPLE, "--as-of", "2026-10-01T00:00:00Z"))
    with open(os.path.join(SAMPLE, "expected.json")) as file:
        found = differences("", json.load(file), said)
    assert not found, f"run naive.py again (DEVELOPERS.md): {found[:5]}"


if __name__ == "__main__":
    main([its_sums_meet_published_values, what_the_season_must_score_is_what_it_says])
