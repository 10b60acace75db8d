"""What keeping orders for some days costs and saves: the store before and after old orders went, how
long that took, and how fast new orders come in beside the same data that never let any go (each order
that is not in memory is looked up among those that went).

Usage: retention_bench.py [ORDERS]; 200,000 if not given, three events each, a minute apart: 139 days.
Kept are 20 days after an order is over, which is when it can be neither lost nor claimed any more.
Nothing is asserted.
"""
import os
import shutil
import sys
import time

import send_bench
from send_bench import Daemon, Folder, timedelta

KEPT_DAYS = 20
ROUNDS = 3
START = send_bench.START
send_bench.SECONDS_APART = 60


def size(daemon):
    store = os.path.join(daemon.data, "store")
    return sum(entry.stat().st_size for entry in os.scandir(store)) / 2 ** 20


def write(path, first, count):
    """A file of orders `first` and on, by their days."""
    send_bench.START = START + timedelta(seconds=first * send_bench.SECONDS_APART)
    fields = send_bench.FIELDS
    with open(path, "w") as file:
        file.write(",".join(fields) + "\n")
        for row in send_bench.events(count):
            key, order = row[0].split("-")[1], int(row[1]) + first
            file.write(",".join((f"{order}-{key}", str(order), *row[2:])) + "\n")


def copy_of(daemon, folder, name, flags=()):
    copy = Daemon(folder)
    copy.data = os.path.join(folder, name)
    shutil.copytree(daemon.data, copy.data)
    copy.flags[copy.flags.index("--data") + 1] = copy.data
    copy.flags += flags
    return copy


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    with Folder() as folder:
        first = os.path.join(folder, "first.csv")
        write(first, 0, count)
        whole = Daemon(folder).start()
        whole.run("send", first, check=0)
        whole.stop()

        settings = os.path.join(folder, "settings.toml")
        with open(settings, "w") as file:
            file.write(f"[retention]\norders_days = {KEPT_DAYS}\n")
        kept = copy_of(whole, folder, "kept", ["--config", settings])
        before = size(kept)
        kept.start()
        begun, seen, quiet_since = time.monotonic(), -1, time.monotonic()
        while time.monotonic() - quiet_since < 5:
            gone = int(kept.ask("status").get("purgedOrderCount", 0))
            if gone != seen:
                seen, quiet_since = gone, time.monotonic()
            time.sleep(0.5)
        took = quiet_since - begun
        kept.stop()
        print(f"{count} orders, {seen} went in {took:.0f} s ({seen / max(took, 1):.0f} a second)")
        print(f"store, MiB: {before:.1f} before, {size(kept):.1f} after", flush=True)

        print("events a second of new orders      all kept   most gone")
        for number in range(ROUNDS):
            more = os.path.join(folder, "more.csv")
            write(more, count + number * count // 3, count // 3)
            rates = []
            for daemon in (whole, kept):
                daemon.start()
                at = time.monotonic()
                daemon.run("send", more, check=0)
                rates.append(count // 3 * 3 / (time.monotonic() - at))
                daemon.stop()
            print(f"round {number + 1}                         {rates[0]:9.0f}   {rates[1]:9.0f}",
                  flush=True)


main()
