"""The benchmarks in one run, with the machine described, and at the end the goals beside what was
measured as one table. Figures and how they were got go into README.md beside this, what comes of them
for the goals into DEVELOPERS.md.

    run.py                    all, once and briefly
    run.py --goals [ORDERS]   those that the goals are measured with, several rounds; growth from a
                              million to so many orders (ten million if not given, some fifty minutes)
"""
import glob
import os
import platform
import subprocess
import sys
import tempfile

import goals

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
BIN = os.environ.get("PLUMBLANE_BIN") or os.path.join(ROOT, "build", "bin")
DAEMON = os.path.join(BIN, "plumblaned")


def machine():
    with open("/proc/cpuinfo") as file:
        model = next((line.split(":")[1].strip() for line in file if "model name" in line), "?")
    return f"{os.cpu_count()} cores, {model}, {platform.release()}, load {os.getloadavg()[0]:.1f}"


def postgres():
    """The rival, where it and its client library are installed."""
    programs = sorted(glob.glob("/usr/lib/postgresql/*/bin"))
    if programs and os.path.exists(os.path.join(BIN, "postgres_bench")):
        yield "postgres_bench", DAEMON, programs[-1]
    else:
        print("postgres_bench is left out: PostgreSQL or its client library is not installed")


def everything():
    return (("load_bench", DAEMON), ("call_bench", DAEMON), ("intake_bench", "3", "32000"),
            ("overload_bench", DAEMON), ("growth_bench", DAEMON, "200000"), *postgres(),
            ("send_bench.py", "60000", "1"), ("cluster_bench.py",), ("layout_bench",),
            ("backtest_bench",), ("answers_bench", "--benchmark_min_time=0.3"),
            ("rank_bench", "--benchmark_min_time=0.3"), ("sourcing_bench",),
            ("served_rank_bench", DAEMON), ("alerting_bench", "--benchmark_min_time=0.3"),
            ("watches_bench",), ("fleet_year_bench",), ("turns_bench",))


def of_goals(orders):
    return (("load_bench", DAEMON), *3 * (("call_bench", DAEMON),), ("overload_bench", DAEMON, "2", "120000"),
            *3 * (("served_rank_bench", DAEMON, "200"),), *3 * tuple(postgres()),
            ("growth_bench", DAEMON, "1000000"), ("growth_bench", DAEMON, orders),
            ("growth_bench", DAEMON, "1000000"), ("growth_bench", DAEMON, "2000000", goals.MANY_PAIRS, "200"))


def main(arguments):
    if arguments[:1] == ["--goals"] and len(arguments) < 3 and all(
            a.isdigit() and int(a) > 1_000_000 for a in arguments[1:]):
        programs = of_goals(*(arguments[1:] or ["10000000"]))
    elif not arguments:
        programs = everything()
    else:
        sys.exit(f"run.py: {' '.join(arguments)}: expected nothing, or --goals [ORDERS], more than 1000000")
    print(machine(), flush=True)
    with tempfile.NamedTemporaryFile("r") as figures:
        told = dict(os.environ, PLUMBLANE_FIGURES=figures.name)
        for name, *options in programs:
            print(f"\n== {name}", *options[1:], flush=True)
            program = ([sys.executable, os.path.join(HERE, name)] if name.endswith(".py")
                       else [os.path.join(BIN, name)])
            done = subprocess.run([*program, *options], env=told)
            if done.returncode != 0:
                sys.exit(f"{name} failed with {done.returncode}")
        print(f"\n== goals; {machine()}", *goals.table(figures), sep="\n")


if __name__ == "__main__":
    main(sys.argv[1:])
