"""Drives the real binaries: a daemon in a directory of its own, the client, and JSON answers.

Everything listens on a Unix socket in a temporary directory; processes are ended by their own id.
"""
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import urllib.request

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
BIN = os.environ.get("PLUMBLANE_BIN") or os.path.join(ROOT, "build", "bin")
SAMPLE = os.path.join(ROOT, "sample-events")
_started = []  # processes of daemons


class Daemon:
    """A daemon on a data directory; start() waits for its ready line."""
    prefix = ()  # of its command: a program that becomes it

    def __init__(self, folder, *flags, clock="events"):
        self.folder = folder
        self.data = os.path.join(folder, "data")
        self.socket = os.path.join(folder, "s")
        self.address = "unix:" + self.socket
        self.flags = ["--data", self.data, "--listen", self.address, "--clock", clock, *flags]
        self.process = None

    def start_only(self, env=None):
        """Starts it without waiting until it serves."""
        with open(os.path.join(self.folder, "log"), "a") as log:
            self.process = subprocess.Popen(
                [*self.prefix, os.path.join(BIN, "plumblaned"), *self.flags],
                stdout=subprocess.PIPE, stderr=log, text=True, env=env)
        _started.append(self.process)
        return self

    def start(self, env=None):
        self.start_only(env)
        line = self.process.stdout.readline()
        if not line.startswith("ready"):
            raise RuntimeError(f"daemon did not start ({self.process.wait()}): {self.read_log()}")
        return self

    def read_log(self):
        with open(os.path.join(self.folder, "log")) as file:
            return file.read()

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self.process.stdout.close()

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(timeout=60)
        self.process.stdout.close()
        return code

    def run(self, *args, stdin=None, check=None):
        """Runs the client; returns (exit code, stdout, stderr)."""
        done = subprocess.run([os.path.join(BIN, "plumblane"), "--server", self.address, *args],
                              input=stdin, capture_output=True, text=True, timeout=600)
        if check is not None and done.returncode != check:
            raise AssertionError(f"plumblane {' '.join(args)}: exit {done.returncode}\n"
                                 f"{done.stdout}{done.stderr}")
        return done.returncode, done.stdout, done.stderr

    def ask(self, *args):
        """The JSON answer of a command."""
        return json.loads(self.run(*args, "--json", check=0)[1])

    def dump(self, *flags):
        """All stored orders, cells and indexes as text, after checking cells against orders;
        --without-sends: but not by which sends they were told. The daemon must not be running."""
        done = subprocess.run([os.path.join(BIN, "dump_state"), os.path.join(self.data, "store"),
                               *flags], capture_output=True, text=True, timeout=600)
        if done.returncode != 0:
            raise AssertionError("state does not add up: " + done.stdout[-500:] + done.stderr)
        return done.stdout


class Folder:
    """A temporary directory."""

    def __enter__(self):
        self.path = tempfile.mkdtemp(prefix="plumblane-")
        return self.path

    def __exit__(self, *_):
        shutil.rmtree(self.path, ignore_errors=True)


def send_season(daemon):
    """Sends the sample season as its README says."""
    for name, complete_through in (("harbour.ndjson", None), ("meadow.csv", None),
                                   ("carriers.ndjson", "2026-10-01T00:00:00Z"),
                                   ("mondays.csv", "2026-09-28T00:00:00Z")):
        extra = ["--complete-through", complete_through] if complete_through else []
        daemon.run("send", os.path.join(SAMPLE, name), *extra, check=0)
    daemon.run("excuse", "load", os.path.join(SAMPLE, "excuses.csv"), check=0)


def wait_for(condition, seconds=60):
    """Polls; false when the condition did not come."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.01)
    return False


def metrics_of(port):
    """As text."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=30) as answer:
        assert answer.headers["Content-Type"].startswith("text/plain")
        return answer.read().decode()


def values_of(text):
    """Of metrics, by name with labels."""
    values = {}
    for line in text.splitlines():
        if line and not line.startswith("#"):
            name, value = line.rsplit(" ", 1)
            values[name] = float(value)
    return values


def main(tests):
    """Runs test functions in order; the closing line is for test runners. A test returns None, or
    a text saying why it was skipped."""
    passed = failed = skipped = 0
    for test in tests:
        try:
            why = test()
            if why:
                skipped += 1
                print(f"SKIPPED {test.__name__}: {why}", flush=True)
            else:
                passed += 1
                print(f"ok {test.__name__}", flush=True)
        except Exception as error:  # one failed test must not hide the others
            failed += 1
            traceback.print_exc(limit=-3)
            print(f"FAILED {test.__name__}: {error}", flush=True)
            for process in _started:  # that it would have ended
                process.kill()
    print(f"{passed} passed, {failed} failed, {skipped} skipped")
    sys.exit(1 if failed else 77 if skipped and not passed else 0)
