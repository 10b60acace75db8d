"""The writer or the disk stands still while eight streams send: the daemon falls silent, a
supervisor ends it as systemd would and starts another, and nothing acknowledged is lost.

Usage: hang_test.py [--long] [--seed N]
"""
import os
import random
import resource
import signal
import time

from disk_test import needs_preloading
from rig import (LONG, PRELOADED, Folder, acked, check_oracle, main, make, seeded, sent,
                 start_sending, wait_for)
from service_test import HeldThread, Manager

PATIENCE = 2.0  # as WatchdogSec; a healthy daemon tells twice as often
resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


class Supervisor(Manager):
    """Hears the daemon out, and ends it when it has been silent for twice its patience."""

    def __init__(self, folder):
        super().__init__(os.path.join(folder, "notify"))
        self.environment["WATCHDOG_USEC"] = str(int(PATIENCE * 1e6))

    def finds_it_silent(self, seconds):
        end, count, since = time.monotonic() + seconds, len(self.told), time.monotonic()
        while time.monotonic() < end:
            if len(self.told) > count:
                count, since = len(self.told), time.monotonic()
            if time.monotonic() - since > 2 * PATIENCE:
                return True
            time.sleep(0.02)
        return False


class StalledDisk:
    """No sync of the store returns."""

    def __init__(self, command):
        self.command = command

    def __enter__(self):
        with open(self.command + ".new", "w") as out:
            out.write("sync stall\n")
        os.rename(self.command + ".new", self.command)

    def __exit__(self, *_):
        os.remove(self.command)


def ended_and_started_again_it_has_lost_nothing(fault):
    """`fault` makes what is held while the supervisor waits."""
    seeded("hang")
    with Folder() as folder:
        daemon, ledger = make(folder), os.path.join(folder, "ledger")
        supervisor, rounds = Supervisor(folder), 10 if LONG else 1
        slowest = 0
        environment = dict(supervisor.environment)
        command = os.path.join(folder, "command")
        if fault == "disk":
            environment.update(LD_PRELOAD=PRELOADED, FAIL_IO_COMMAND=command,
                               FAIL_IO_UNDER=os.path.join(daemon.data, "store"))
        for _ in range(rounds):
            daemon.start(environment)
            sender = start_sending(daemon, ledger)
            known = acked(ledger)
            assert wait_for(lambda: acked(ledger) > known), "nothing was acknowledged"
            time.sleep(random.uniform(0, 0.4))
            with (StalledDisk(command) if fault == "disk"
                  else HeldThread(daemon.process.pid, "committer")):
                begun = time.monotonic()
                assert supervisor.finds_it_silent(60), supervisor.told
                daemon.process.send_signal(signal.SIGABRT)
            # It may need the thread that was held to end.
            assert daemon.process.wait(timeout=60) == -signal.SIGABRT, daemon.read_log()
            slowest = max(slowest, time.monotonic() - begun)
            daemon.process.stdout.close()
            assert sender.wait(timeout=60) == 6
            sender.stdout.close()
        daemon.start()
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0
        assert sent(ledger) > acked(ledger), "all had receipts: the test shows nothing"
        print(f"{rounds} times ended within {slowest:.1f} s, {acked(ledger)} events acknowledged, "
              "0 lost")


def a_writer_that_stands_still_is_ended_and_nothing_is_lost():
    ended_and_started_again_it_has_lost_nothing("writer")


def a_disk_that_stands_still_is_ended_and_nothing_is_lost():
    ended_and_started_again_it_has_lost_nothing("disk")


def under_the_same_load_a_daemon_that_is_well_is_not_ended():
    """Control: what is silent is what hangs, and not who has much to do."""
    with Folder() as folder:
        daemon, ledger = make(folder), os.path.join(folder, "ledger")
        supervisor = Supervisor(folder)
        daemon.start(supervisor.environment)
        sender = start_sending(daemon, ledger)
        assert not supervisor.finds_it_silent(60 if LONG else 4 * PATIENCE), supervisor.told
        assert "WATCHDOG=1" in supervisor.told
        daemon.kill()
        sender.wait(timeout=60)
        sender.stdout.close()
        daemon.start()
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0


if __name__ == "__main__":
    main([a_writer_that_stands_still_is_ended_and_nothing_is_lost,
          needs_preloading(a_disk_that_stands_still_is_ended_and_nothing_is_lost),
          under_the_same_load_a_daemon_that_is_well_is_not_ended])
