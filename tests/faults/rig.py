"""What the fault tests share: the daemon with small settings, the sender that keeps its own ledger of
what was acknowledged, and surgery on files.

The oracle: every event that was acknowledged is known when it is sent again; once everything was sent
again each event is there once; the cells are what applying the whole log from its first entry makes.
"""
import os
import random
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
from harness import BIN, Daemon, Folder, main, wait_for  # noqa: F401

EVENTS_IN_BATCH = 50
PRELOADED = os.path.join(BIN, "fail_io.so")


def option(name, default):
    """The number after --NAME on the command line."""
    flag = "--" + name
    return int(sys.argv[sys.argv.index(flag) + 1]) if flag in sys.argv else default


LONG = "--long" in sys.argv
SEED = option("seed", int(time.time()))


def seeded(test):
    """Random as of the seed, which is printed."""
    random.seed(f"{SEED} {test}")
    print(f"seed {SEED}")


def make(folder, keeps_log=True, extra="", **keywords):
    """A daemon, not started, that keeps its whole log unless told otherwise."""
    path = os.path.join(folder, "settings.toml")
    with open(path, "w") as out:
        out.write("[storage]\nblock_cache_mib = 8\nwrite_buffer_mib = 4\nleast_free_mib = 16\n")
        if keeps_log:
            out.write("kept_log_entries = 1000000000\n")
        out.write(extra)
    return Daemon(folder, "--config", path, **keywords)


def send(daemon, ledger, *args):
    return subprocess.run([os.path.join(BIN, "fault_sender"), daemon.address, ledger, *map(str, args)],
                          capture_output=True, text=True, timeout=3600)


def start_sending(daemon, ledger, *args):
    return subprocess.Popen([os.path.join(BIN, "fault_sender"), daemon.address, ledger, "send",
                             *map(str, args)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                            text=True)


def acked(ledger):
    """Events acknowledged so far."""
    if not os.path.exists(ledger):
        return 0
    with open(ledger) as file:
        return EVENTS_IN_BATCH * sum(line.startswith("a") for line in file)


def sent(ledger):
    """Events sent so far, acknowledged or not."""
    with open(ledger) as file:
        return EVENTS_IN_BATCH * len({line[2:] for line in file if line.startswith("s")})


def offline(daemon, *args):
    """plumblaned with these arguments, on its settings; exit code and what it said."""
    done = subprocess.run([os.path.join(BIN, "plumblaned"), *daemon.flags, *args],
                          capture_output=True, text=True, timeout=3600)
    return done.returncode, done.stdout + done.stderr


def why_not(daemon):
    """Exit code and reason of a start that must fail."""
    done = subprocess.run([os.path.join(BIN, "plumblaned"), *daemon.flags], capture_output=True,
                          text=True, timeout=120)
    return done.returncode, done.stderr


def check_oracle(daemon, ledger):
    """On a running daemon: what was acknowledged is there, all of it once, and cells equal the log."""
    checked = send(daemon, ledger, "check")
    assert checked.returncode == 0, "lost: " + checked.stdout + checked.stderr
    rest = send(daemon, ledger, "rest")
    assert rest.returncode == 0, rest.stdout + rest.stderr
    result = daemon.ask("verify")
    assert result["difference"] == "", result
    assert int(result["eventCount"]) == sent(ledger), (result, sent(ledger))
    return result


def store_files(daemon, ending):
    folder = os.path.join(daemon.data, "store")
    return sorted(os.path.join(folder, name) for name in os.listdir(folder) if name.endswith(ending))


def wal(daemon):
    """The write-ahead log that holds something."""
    return max(store_files(daemon, ".log"), key=os.path.getsize)


def flip(path, at):
    with open(path, "r+b") as file:
        file.seek(at)
        byte = file.read(1)
        file.seek(at)
        file.write(bytes([byte[0] ^ (1 << random.randrange(8))]))
