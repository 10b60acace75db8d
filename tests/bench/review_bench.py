"""How long a review of a year takes and how much memory, daemon and client together: orders of many
suppliers on many lanes, sent through the client, then asked about through it.

Usage: review_bench.py [ORDERS [SUPPLIERS [LANES]]]; 1,000,000, 500 and 200 if not given. Each
supplier ships on four lanes. Sending takes minutes; nothing is asserted.
"""
import os
import random
import resource
import subprocess
import sys
import time
from datetime import datetime, timedelta, timezone

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
from harness import BIN, Daemon, Folder     # noqa: E402  (by the path above)

START = datetime(2025, 1, 1, tzinfo=timezone.utc)
REASONS = ("damaged", "quality", "wrong_item", "missing_part")


def lines(orders, suppliers, lanes):
    dice = random.Random(1)
    ships = [[dice.randrange(lanes) for _ in range(4)] for _ in range(suppliers)]
    for i in range(orders):
        paid = START + timedelta(seconds=dice.randrange(365 * 86_400))
        supplier = dice.randrange(suppliers)
        lane = dice.choice(ships[supplier])

        def event(kind, time, **more):
            text = ",".join(f'"{name}":"{value}"' for name, value in more.items())
            return (f'{{"event_id":"{i}{kind[:2]}","order_id":"{i}","type":"{kind}",'
                    f'"time":"{time:%Y-%m-%dT%H:%M:%SZ}"{"," if text else ""}{text}}}\n')

        yield event("paid", paid, supplier=f"supplier-{supplier:03}", origin=f"O{lane % 20:02}",
                    destination=f"D{lane // 20:02}", promise_days=12,
                    item=f"item-{dice.randrange(400):03}", cost="13.75", sale="24.90",
                    currency="EUR")
        shipped = paid + timedelta(hours=12 + dice.expovariate(1 / 24))
        yield event("shipped", shipped)
        if dice.random() > 0.01:
            yield event("delivered", shipped + timedelta(days=3 + dice.expovariate(1 / 3)))
        if dice.random() < 0.04:
            disputed = shipped + timedelta(days=12)
            yield event("disputed", disputed, reason=dice.choice(REASONS), claim="13.75",
                        currency="EUR")
            yield event("refunded", disputed + timedelta(days=3), refund="10.00", currency="EUR")


def resident(process):
    with open(f"/proc/{process}/status") as file:
        of = dict(line.split(":", 1) for line in file if line.startswith("Vm"))
    return {name: int(of[name].split()[0]) / 1024 for name in ("VmRSS", "VmHWM")}


def processor_seconds(process):
    with open(f"/proc/{process}/stat") as file:
        fields = file.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def wait_until_idle(process):
    """What a daemon does when it starts, alerts above all, is no part of a review."""
    last = -1.0
    while processor_seconds(process) - last > 0.02:
        last = processor_seconds(process)
        time.sleep(2)


def ask(daemon, words, out):
    """Prints what a review takes; the most of the daemon is that since the last call."""
    process = daemon.process.pid
    with open(f"/proc/{process}/clear_refs", "w") as file:
        file.write("5")                     # the most so far is what is resident now
    before, used_before = resident(process)["VmRSS"], processor_seconds(process)
    start = time.monotonic()
    with open(out, "w") as file:
        child = subprocess.Popen([os.path.join(BIN, "plumblane"), "--server", daemon.address,
                                  "review", *words], stdout=file)
        _, status, used = os.wait4(child.pid, 0)
    assert status == 0, f"the review of {words} failed"
    seconds = time.monotonic() - start
    after = resident(process)
    if "-o" in words:
        out = words[-1]
    print(f"review {' '.join(words[:-1] if '-o' in words else words)}: {seconds:.2f} s; processor "
          f"{used.ru_utime + used.ru_stime:.2f} s client, "
          f"{processor_seconds(process) - used_before:.2f} s daemon; client "
          f"{used.ru_maxrss / 1024:.0f} MB, daemon {before:.0f} MB, at most {after['VmHWM']:.0f}, "
          f"after {after['VmRSS']:.0f}; answer {os.path.getsize(out) / 1e6:.1f} MB; "
          f"load {os.getloadavg()[0]:.1f}", flush=True)


def main():
    sizes = [int(text) for text in sys.argv[1:]] + [1_000_000, 500, 200][len(sys.argv) - 1:]
    with Folder() as folder:
        daemon = Daemon(folder).start()
        feed = subprocess.Popen(
            [os.path.join(BIN, "plumblane"), "--server", daemon.address, "send", "-"],
            stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        start, count = time.monotonic(), 0
        for line in lines(*sizes):
            feed.stdin.write(line.encode())
            count += 1
        feed.stdin.close()
        assert feed.wait() == 0, "sending failed"
        print(f"{count} events of {sizes[0]} orders sent in {time.monotonic() - start:.0f} s; "
              f"load {os.getloadavg()[0]:.1f}", flush=True)
        daemon.stop()
        daemon.start()
        wait_until_idle(daemon.process.pid)
        year, quarter = "2025-01..2025-12", "2025Q3"
        for words in ((year, "--json"), (year, "--json"), (quarter, "--json"),
                      (quarter, "--supplier", "supplier-007", "--json"),
                      (quarter, "--supplier", "supplier-007", "--to-share"),
                      (year, "-o", os.path.join(folder, "year.html")),
                      (year, "-o", os.path.join(folder, "year.csv"))):
            ask(daemon, words, os.path.join(folder, "answer"))
        daemon.stop()


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    main()
