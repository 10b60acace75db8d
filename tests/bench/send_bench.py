"""How fast files go in through the client, beside the same events sent as binary batches by one
sender in the same run; and what the client holds in memory, which must not grow with the file.

Usage: send_bench.py [ORDERS [ROUNDS]]; 200,000 and 3 if not given; orders of three events,
the events of 1,000 orders interleaved. Nothing is asserted.

    send_bench.py --size GIGABYTES      one NDJSON file of that size: the client's memory
"""
import os
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta, timezone

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
from harness import BIN, Daemon, Folder     # noqa: E402  (by the path above)

START = datetime(2026, 1, 1, tzinfo=timezone.utc)
SECONDS_APART = 20
LANES = [(f"supplier-{i % 40:02}", f"O{i % 5}", f"D{i % 7}") for i in range(280)]


def orders(count):
    """The moments of each order and who ships it."""
    for i in range(count):
        paid = START + timedelta(seconds=i * SECONDS_APART)
        yield i, LANES[i % len(LANES)], [paid + timedelta(hours=h) for h in (0, 30, 190)]


KINDS = ("paid", "shipped", "delivered")
FIELDS = ("event_id", "order_id", "type", "time", "supplier", "origin", "destination",
          "promise_days", "item", "cost", "currency")


def events(count):
    """Rows of FIELDS, of 1,000 orders at a time first all paid, then all shipped, then all delivered."""
    some = []
    for order in orders(count):
        some.append(order)
        if len(some) < 1000 and order[0] + 1 < count:
            continue
        for k, kind in enumerate(KINDS):
            for i, (supplier, origin, destination), times in some:
                first = (supplier, origin, destination, "9", f"item-{i % 300}", "13.75", "EUR")
                yield (f"{i}-{k}", f"{i}", kind, f"{times[k]:%Y-%m-%dT%H:%M:%SZ}",
                       *(first if k == 0 else ("",) * 7))
        some = []


def write_csv(path, count):
    with open(path, "w") as file:
        file.write(",".join(FIELDS) + "\n")
        for row in events(count):
            file.write(",".join(row) + "\n")


def write_ndjson(path, count):
    with open(path, "w") as file:
        for row in events(count):
            file.write("{" + ",".join(f'"{name}":"{value}"' for name, value in zip(FIELDS, row)
                                      if value) + "}\n")


WIDE_MAP = """source = "shop"
[order]
order_id = "order_id"
supplier = "supplier"
origin = "origin"
destination = "destination"
promise_days = "promise_days"
item = "item"
""" + "".join(f"""[[event]]
type = "{kind}"
time = {{ column = "{kind}", form = "Y-M-D" }}
""" for kind in KINDS)


def write_wide(path, count):
    """One row an order, as shops export them."""
    with open(path, "w") as file:
        file.write("order_id,supplier,origin,destination,promise_days,item,cost,currency,"
                   "paid,shipped,delivered\n")
        for i, (supplier, origin, destination), times in orders(count):
            moments = ",".join(f"{one:%Y-%m-%dT%H:%M:%SZ}" for one in times)
            file.write(f"{i},{supplier},{origin},{destination},9,item-{i % 300},13.75,EUR,"
                       f"{moments}\n")


def send(words, count):
    """Events a second, the client's processor time for each in us, the most it held in MB."""
    with Folder() as folder:
        daemon = Daemon(folder).start()
        start = time.monotonic()
        child = subprocess.Popen([os.path.join(BIN, "plumblane"), "--server", daemon.address,
                                  "send", *words], stdout=subprocess.DEVNULL)
        _, status, used = os.wait4(child.pid, 0)
        seconds = time.monotonic() - start
        daemon.stop()
    if status != 0:
        sys.exit(f"send {' '.join(words)} failed with {status}")
    return (count / seconds, (used.ru_utime + used.ru_stime) / count * 1e6, used.ru_maxrss / 1024)


def compare(count, rounds):
    with tempfile.TemporaryDirectory() as folder:
        path = {kind: os.path.join(folder, f"orders.{kind}") for kind in ("csv", "ndjson", "wide.csv")}
        write_csv(path["csv"], count)
        write_ndjson(path["ndjson"], count)
        write_wide(path["wide.csv"], count)
        made = os.path.join(folder, "map.toml")
        with open(made, "w") as file:
            file.write(WIDE_MAP)
        for _ in range(rounds):
            for kind, words in (("csv", [path["csv"]]), ("ndjson", [path["ndjson"]]),
                                ("wide csv", ["--map", made, path["wide.csv"]])):
                rate, cost, memory = send(words, len(KINDS) * count)
                print(f"{kind:10} {rate:9,.0f} events/s   client {cost:5.1f} us/event   "
                      f"{memory:4.0f} MB", flush=True)


def one_large(gigabytes):
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "large.ndjson")
        count = 0
        # The same orders again and again: all but the first are repeats, so that the disk holds it.
        some = os.path.join(folder, "some.ndjson")
        write_ndjson(some, 100_000)
        with open(some, "rb") as file:
            block = file.read()
        with open(path, "wb") as file:
            while file.tell() < gigabytes * 1e9:
                file.write(block)
                count += 300_000
        rate, cost, memory = send([path], count)
        print(f"{os.path.getsize(path) / 1e9:.1f} GB, {count:,} events: {rate:,.0f} events/s, "
              f"client {cost:.1f} us/event, {memory:.0f} MB")


def main():
    if sys.argv[1:2] == ["--size"]:
        one_large(float(sys.argv[2]))
        return
    numbers = [int(word) for word in sys.argv[1:]] + [200_000, 3][len(sys.argv) - 1:]
    compare(*numbers[:2])


if __name__ == "__main__":
    main()
