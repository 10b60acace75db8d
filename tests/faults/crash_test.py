"""Killed, stopped and killed again while it starts: nothing acknowledged is lost, nothing counts twice.

Usage: crash_test.py [--long] [--kills N] [--seed N]
"""
import os
import random
import time

from rig import (LONG, Folder, acked, check_oracle, main, make, option, seeded, sent, send,
                 start_sending, wait_for)

KILLS = option("kills", 200 if LONG else 10)


def killed_while_eight_streams_send():
    seeded("kill")
    with Folder() as folder:
        daemon, ledger = make(folder), os.path.join(folder, "ledger")
        slowest = 0
        for _ in range(KILLS):
            before = time.monotonic()
            daemon.start()
            slowest = max(slowest, time.monotonic() - before)
            sender = start_sending(daemon, ledger)
            known = acked(ledger)
            assert wait_for(lambda: acked(ledger) > known), "nothing was acknowledged"
            time.sleep(random.uniform(0, 0.4))
            daemon.kill()
            assert sender.wait(timeout=60) == 6
            sender.stdout.close()
        daemon.start()
        result = check_oracle(daemon, ledger)
        assert result["firstKeptSequence"] == "1", "it was not applied again from the log"
        assert daemon.stop() == 0
        assert sent(ledger) > acked(ledger), "no kill came between a batch and its receipt"
        print(f"{KILLS} kills, {acked(ledger)} events acknowledged, 0 lost; slowest start "
              f"{slowest:.2f} s")


def killed_while_it_starts():
    seeded("start")
    with Folder() as folder:
        daemon, ledger = make(folder), os.path.join(folder, "ledger")
        for _ in range(100 if LONG else 3):
            daemon.start()
            assert send(daemon, ledger, "send", 20).returncode == 0
            daemon.kill()
            daemon.start_only()
            time.sleep(random.uniform(0, 0.3))
            daemon.kill()
        daemon.start()
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0
        print(f"{acked(ledger)} events acknowledged, 0 lost")


def stopped_while_eight_streams_send():
    seeded("stop")
    with Folder() as folder:
        daemon, ledger = make(folder), os.path.join(folder, "ledger")
        stops = 100 if LONG else 3
        for _ in range(stops):
            daemon.start()
            sender = start_sending(daemon, ledger)
            known = acked(ledger)
            assert wait_for(lambda: acked(ledger) > known)
            time.sleep(random.uniform(0, 0.3))
            assert daemon.stop() == 0, daemon.read_log()
            assert sender.wait(timeout=60) in (0, 6), "a call hung"
            sender.stdout.close()
        daemon.start()
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0
        print(f"{stops} stops, {acked(ledger)} events acknowledged, 0 lost")


def sent_again_and_again_each_event_counts_once():
    with Folder() as folder:
        daemon, ledger = make(folder).start(), os.path.join(folder, "ledger")
        batches = 20_000 if LONG else 200
        assert send(daemon, ledger, "send", batches).returncode == 0
        for _ in range(2):
            daemon.kill()
            daemon.start()
            assert send(daemon, ledger, "rest").returncode == 0
        check_oracle(daemon, ledger)
        daemon.stop()
        print(f"{sent(ledger)} events, each sent five times across three lives")


def the_oracle_finds_what_is_missing():
    """Control: a ledger that claims more than was sent is found out."""
    with Folder() as folder:
        daemon, ledger = make(folder).start(), os.path.join(folder, "ledger")
        assert send(daemon, ledger, "send", 20).returncode == 0
        with open(ledger, "a") as out:
            out.write("s 20\na 20\n")
        checked = send(daemon, ledger, "check")
        assert checked.returncode == 1 and "lost 50" in checked.stdout, checked.stdout
        daemon.stop()


if __name__ == "__main__":
    main([killed_while_eight_streams_send, killed_while_it_starts, stopped_while_eight_streams_send,
          sent_again_and_again_each_event_counts_once, the_oracle_finds_what_is_missing])
