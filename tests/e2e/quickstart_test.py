"""The README's demonstration runs and ends with an answer."""
import os
import subprocess

from harness import BIN, ROOT, main


def the_quickstart_ends_with_what_to_do():
    if os.path.realpath(BIN) != os.path.realpath(os.path.join(ROOT, "build", "bin")):
        return "it builds in build/, not here"
    done = subprocess.run([os.path.join(ROOT, "deploy", "quickstart")], capture_output=True,
                          text=True, timeout=900)
    assert done.returncode == 0, done.stderr
    for words in ("lotus-works", "linden-store", "VN-DE", "Next order to DE: ",
                  "older orders count half"):
        assert words in done.stdout, (words, done.stdout)
    too_wide = [line for line in done.stdout.splitlines() if len(line) > 80]
    assert not too_wide, too_wide


if __name__ == "__main__":
    main([the_quickstart_ends_with_what_to_do])
