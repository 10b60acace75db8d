"""The long forms of all fault tests, one after the other, with their figures.

Usage: run.py [--seed N] [--rounds N] [--minutes N]  (what net_floods.py and soak.py take, too)
"""
import glob
import os
import subprocess
import sys

from rig import BIN

HERE = os.path.dirname(os.path.abspath(__file__))


def main():
    scripts = sorted(glob.glob(os.path.join(HERE, "*_test.py"))) + [
        os.path.join(HERE, name) for name in ("power_cut.py", "cluster_power_cut.py", "net_floods.py", "soak.py")]
    commands = {os.path.basename(path): [sys.executable, path, "--long", *sys.argv[1:]]
                for path in scripts}
    commands["faults_test"] = [os.path.join(BIN, "faults_test"), "--gtest_brief=1"]
    failed = []
    for name, command in commands.items():
        print(f"== {name}", flush=True)
        code = subprocess.run(command, env=dict(os.environ, PLUMBLANE_LONG="1")).returncode
        if code not in (0, 77):
            failed.append(name)
    print("failed: " + ", ".join(failed) if failed else "all passed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
