"""A disk that fails, fills up or stands still under a running daemon: after a failed write nothing is
acknowledged, the process ends with 75 for its supervisor to start another, and nothing acknowledged is
lost. Before the disk is full events are refused and questions answered; service is back by itself.

Usage: disk_test.py [--long]. The test with a small file system needs root.
"""
import os
import subprocess
import time

from rig import (LONG, PRELOADED, Folder, acked, check_oracle, main, make, send, start_sending,
                 wait_for, why_not)


class Failing:
    """A daemon on whose store calls fail on command."""

    def __init__(self, folder):
        self.daemon, self.ledger = make(folder), os.path.join(folder, "ledger")
        self.command = os.path.join(folder, "command")
        self.env = dict(os.environ, LD_PRELOAD=PRELOADED, FAIL_IO_COMMAND=self.command,
                        FAIL_IO_UNDER=os.path.join(self.daemon.data, "store"))
        self.daemon.start(self.env)

    def fail(self, call, error):
        with open(self.command + ".new", "w") as out:
            out.write(f"{call} {error}\n")
        os.rename(self.command + ".new", self.command)

    def mend(self):
        os.remove(self.command)


def fails_under_load(call, error):
    with Folder() as folder:
        failing = Failing(folder)
        daemon, ledger = failing.daemon, failing.ledger
        sender = start_sending(daemon, ledger)
        assert wait_for(lambda: acked(ledger) > 500)
        failing.fail(call, error)
        started = time.monotonic()
        # The file system's own free space is not short, so a full disk is over at once, too.
        code = daemon.process.wait(timeout=30)
        took = time.monotonic() - started
        daemon.process.stdout.close()
        assert code == 75, (code, daemon.read_log()[-500:])
        assert sender.wait(timeout=30) == 6
        sender.stdout.close()
        assert "a write failed" in daemon.read_log()
        known = acked(ledger)
        failing.mend()
        daemon.start()
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0
        print(f"{call} {error}: ended with 75 after {took:.2f} s; {known} events acknowledged, 0 lost")
        return took


def after_a_failed_sync_or_write_it_ends_and_loses_nothing():
    for call in ("sync", "write"):
        for error in ("EIO", "ENOSPC"):
            for _ in range(10 if LONG else 1):
                fails_under_load(call, error)


def without_faults_the_same_daemon_goes_on():
    """Control: the faults, and not what injects them, end it."""
    with Folder() as folder:
        failing = Failing(folder)
        failing.fail("sync-of-nothing", "EIO")
        assert send(failing.daemon, failing.ledger, "send", 50).returncode == 0
        assert failing.daemon.stop() == 0


def a_disk_that_stands_still_acknowledges_nothing_until_it_moves():
    with Folder() as folder:
        failing = Failing(folder)
        daemon, ledger = failing.daemon, failing.ledger
        sender = start_sending(daemon, ledger)
        assert wait_for(lambda: acked(ledger) > 500)
        failing.fail("sync", "stall")
        time.sleep(0.5)
        known = acked(ledger)
        time.sleep(1)
        assert acked(ledger) == known, "acknowledged without a sync"
        daemon.run("suppliers", check=0)  # questions are answered
        failing.mend()
        assert wait_for(lambda: acked(ledger) > known), "it does not go on"
        daemon.kill()
        sender.wait(timeout=60)
        sender.stdout.close()
        daemon.start()
        check_oracle(daemon, ledger)
        daemon.stop()


class Mounted:
    """A file system of 64 MiB in memory."""

    def __init__(self, folder):
        self.path = os.path.join(folder, "small")

    def __enter__(self):
        os.mkdir(self.path)
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", self.path],
                              capture_output=True)
        return self.path if done.returncode == 0 else None

    def __exit__(self, *_):
        subprocess.run(["umount", self.path], capture_output=True)


def on_small_disk(folder, small):
    daemon = make(folder, keeps_log=False)
    daemon.data = os.path.join(small, "data")
    daemon.flags[daemon.flags.index("--data") + 1] = daemon.data
    return daemon


def before_it_is_full_events_are_refused_and_questions_answered():
    with Folder() as folder, Mounted(folder) as small:
        if small is None:
            return "mounting a small file system needs root"
        daemon, ledger = on_small_disk(folder, small), os.path.join(folder, "ledger")
        daemon.start()
        assert send(daemon, ledger, "send", 40).returncode == 0
        filler = os.path.join(small, "filler")
        free = os.statvfs(small).f_bavail * os.statvfs(small).f_frsize
        with open(filler, "wb") as out:
            out.write(bytes(free - (8 << 20)))  # of the 16 MiB that must stay free
        assert wait_for(lambda: not daemon.ask("status")["acceptingEvents"], 10)
        refused = send(daemon, ledger, "send", 5)
        assert refused.returncode == 6 and "stream: 8" in refused.stderr, refused.stderr
        code, _, err = daemon.run("record", "o1", "answered", "--shop", "harbour")
        assert code == 1 and "nearly full" in err, (code, err)
        assert "nearly full" in daemon.run("status", check=0)[1].replace("\n", " ")
        daemon.run("suppliers", check=0)
        os.remove(filler)
        started = time.monotonic()
        assert wait_for(lambda: daemon.ask("status")["acceptingEvents"], 10), "service is not back"
        took = time.monotonic() - started
        assert send(daemon, ledger, "send", 40).returncode == 0
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0
        print(f"service was back {took:.1f} s after there was room")


def fill(small):
    filler = os.path.join(small, "filler")
    try:
        with open(filler, "ab", buffering=0) as out:
            while True:
                out.write(bytes(1 << 16))
    except OSError:
        return filler


def killed_on_a_full_disk_it_starts_on_its_ballast_and_answers():
    with Folder() as folder, Mounted(folder) as small:
        if small is None:
            return "mounting a small file system needs root"
        daemon, ledger = on_small_disk(folder, small), os.path.join(folder, "ledger")
        ballast = os.path.join(daemon.data, "ballast")
        daemon.start()
        assert send(daemon, ledger, "send", 40).returncode == 0
        assert wait_for(lambda: os.path.exists(ballast), 10)
        daemon.kill()
        filler = fill(small)
        daemon.start()
        assert not os.path.exists(ballast)
        assert not daemon.ask("status")["acceptingEvents"]
        daemon.run("suppliers", check=0)
        # Control: with nothing to give up it cannot even open its data, and says so.
        daemon.kill()
        fill(small)
        code, why = why_not(daemon)
        assert code == 75 and "make room" in why, (code, why)
        os.remove(filler)
        daemon.start()
        assert wait_for(lambda: os.path.exists(ballast), 10)
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0


def full_in_one_stroke_it_still_loses_nothing():
    """Faster than the look of each second."""
    with Folder() as folder, Mounted(folder) as small:
        if small is None:
            return "mounting a small file system needs root"
        daemon, ledger = on_small_disk(folder, small), os.path.join(folder, "ledger")
        for _ in range(5 if LONG else 1):
            daemon.start()
            sender = start_sending(daemon, ledger)
            known = acked(ledger)
            assert wait_for(lambda: acked(ledger) > known)
            filler = fill(small)
            code = sender.wait(timeout=60)
            sender.stdout.close()
            assert code == 6, code
            daemon.run("status", check=0)  # answers while it is full
            os.remove(filler)
            if "a write failed" in daemon.read_log():
                assert daemon.process.wait(timeout=15) == 75
                daemon.process.stdout.close()
            else:
                assert wait_for(lambda: daemon.ask("status")["acceptingEvents"], 10)
                daemon.kill()
        daemon.start()
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0
        print(f"{acked(ledger)} events acknowledged, 0 lost")


def needs_preloading(test):
    """Not with sanitizers, which want to be loaded first themselves."""
    def run():
        return test() if os.path.exists(PRELOADED) else "there is no fail_io.so to preload"
    run.__name__ = test.__name__
    return run


if __name__ == "__main__":
    main([*map(needs_preloading, [
              after_a_failed_sync_or_write_it_ends_and_loses_nothing,
              without_faults_the_same_daemon_goes_on,
              a_disk_that_stands_still_acknowledges_nothing_until_it_moves]),
          before_it_is_full_events_are_refused_and_questions_answered,
          killed_on_a_full_disk_it_starts_on_its_ballast_and_answers,
          full_in_one_stroke_it_still_loses_nothing])
