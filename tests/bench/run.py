"""All benchmarks in one run, with the machine described. Figures and how they were got go into
README.md beside this, what comes of them for the goals into DEVELOPERS.md."""
import glob
import os
import platform
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
BIN = os.environ.get("PLUMBLANE_BIN") or os.path.join(ROOT, "build", "bin")


def machine():
    with open("/proc/cpuinfo") as file:
        model = next((line.split(":")[1].strip() for line in file if "model name" in line), "?")
    return f"{os.cpu_count()} cores, {model}, {platform.release()}, load {os.getloadavg()[0]:.1f}"


def postgres():
    """The rival, where it and its client library are installed."""
    programs = sorted(glob.glob("/usr/lib/postgresql/*/bin"))
    if programs and os.path.exists(os.path.join(BIN, "postgres_bench")):
        yield "postgres_bench", os.path.join(BIN, "plumblaned"), programs[-1]
    else:
        print("postgres_bench is left out: PostgreSQL or its client library is not installed")


def main():
    print(machine(), flush=True)
    for name, *arguments in (("load_bench", os.path.join(BIN, "plumblaned")),
                             ("call_bench", os.path.join(BIN, "plumblaned")),
                             ("intake_bench", "3", "32000"),
                             ("overload_bench", os.path.join(BIN, "plumblaned")),
                             ("growth_bench", os.path.join(BIN, "plumblaned"), "200000"),
                             *postgres(),
                             ("send_bench.py", "60000", "1"), ("cluster_bench.py",), ("layout_bench",),
                             ("backtest_bench",), ("answers_bench", "--benchmark_min_time=0.3"),
                             ("rank_bench", "--benchmark_min_time=0.3"), ("sourcing_bench",),
                             ("served_rank_bench", os.path.join(BIN, "plumblaned")),
                             ("alerting_bench", "--benchmark_min_time=0.3"), ("watches_bench",),
                             ("fleet_year_bench",), ("turns_bench",)):
        print(f"\n== {name}", flush=True)
        program = ([sys.executable, os.path.join(HERE, name)] if name.endswith(".py")
                   else [os.path.join(BIN, name)])
        done = subprocess.run([*program, *arguments])
        if done.returncode != 0:
            sys.exit(f"{name} failed with {done.returncode}")


if __name__ == "__main__":
    main()
