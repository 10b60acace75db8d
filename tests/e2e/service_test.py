"""The daemon as a service: what it tells the service manager (sd_notify(3)) and when it falls silent, how
it stops, and how little the sample unit lets it do."""
import ctypes
import os
import resource
import shutil
import signal
import socket
import subprocess
import threading
import time

from harness import ROOT, Daemon, Folder, main, send_season, wait_for

UNIT = os.path.join(ROOT, "deploy", "plumblaned.service")
PATIENCE = 0.6  # seconds the manager waits; a message is due in about half of that
SILENCE = 4     # patiences without a message


class Manager:
    """Listens where the daemon is told to tell."""

    def __init__(self, address):
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind("\0" + address[1:] if address[0] == "@" else address)
        self.environment = {**os.environ, "NOTIFY_SOCKET": address,
                            "WATCHDOG_USEC": str(int(PATIENCE * 1e6))}
        self.told = []  # of each message its first line
        threading.Thread(target=self.listen, daemon=True).start()

    def listen(self):
        while True:
            self.told.append(self.socket.recv(4096).decode().split("\n")[0])

    def hears(self, message, seconds=20):
        return wait_for(lambda: message in self.told, seconds)

    def hears_that_all_is_well(self, seconds=20):
        before = self.told.count("WATCHDOG=1")
        return wait_for(lambda: self.told.count("WATCHDOG=1") > before, seconds)

    def falls_silent(self):
        """Polls until so long nothing has come; false when messages do not end."""
        for _ in range(5):
            before = len(self.told)
            time.sleep(SILENCE * PATIENCE)
            if len(self.told) == before:
                return True
        return False


class HeldThread:
    """One thread of a process held by ptrace(2); a signal to stop would hold them all."""
    SEIZE, INTERRUPT, DETACH, WALL = 0x4206, 0x4207, 17, 0x40000000

    def __init__(self, process, name):
        self.libc = ctypes.CDLL(None, use_errno=True)
        self.thread = None
        assert wait_for(lambda: self.find(process, name)), f"no thread is called {name}"

    def find(self, process, name):
        for thread in os.listdir(f"/proc/{process}/task"):
            try:
                with open(f"/proc/{process}/task/{thread}/comm") as file:
                    if file.read().strip() == name:
                        self.thread = int(thread)
            except FileNotFoundError:
                pass  # it has ended
        return self.thread is not None

    def call(self, request):
        if self.libc.ptrace(request, self.thread, None, None) != 0:
            raise OSError(ctypes.get_errno(), "ptrace")

    def __enter__(self):
        self.call(self.SEIZE)
        self.call(self.INTERRUPT)
        os.waitpid(self.thread, self.WALL)
        return self

    def __exit__(self, *_):
        try:
            self.call(self.DETACH)
        except ProcessLookupError:  # it has ended, and is there until somebody has waited for it
            os.waitpid(self.thread, self.WALL)


def the_manager_hears_of_ready_well_and_stopping_in_this_order():
    for address in ("{folder}/notify", "@plumblane-test-{id}"):
        with Folder() as folder:
            manager = Manager(address.format(folder=folder, id=os.getpid()))
            daemon = Daemon(folder).start(manager.environment)
            for _ in range(3):
                assert manager.hears_that_all_is_well(), manager.told
            assert daemon.stop() == 0, daemon.read_log()
            assert manager.hears("STOPPING=1")
            well = manager.told.count("WATCHDOG=1")
            assert manager.told == ["READY=1"] + well * ["WATCHDOG=1"] + ["STOPPING=1"], manager.told


def a_manager_that_watches_another_process_hears_no_more_than_ready():
    with Folder() as folder:
        manager = Manager(os.path.join(folder, "notify"))
        manager.environment["WATCHDOG_PID"] = "1"
        daemon = Daemon(folder).start(manager.environment)
        assert manager.hears("READY=1") and manager.falls_silent(), manager.told
        assert manager.told == ["READY=1"], manager.told
        assert daemon.stop() == 0


def a_writer_that_stands_still_is_told_by_silence():
    with Folder() as folder:
        manager = Manager(os.path.join(folder, "notify"))
        daemon = Daemon(folder).start(manager.environment)
        assert manager.hears_that_all_is_well()
        with HeldThread(daemon.process.pid, "committer"):
            assert manager.falls_silent(), manager.told
            # Not because all stands still: questions are answered.
            daemon.run("status", check=0)
        assert manager.hears_that_all_is_well(), "the writer went on and nothing was told"
        assert daemon.stop() == 0


def a_daemon_that_can_hear_nobody_is_told_by_silence():
    with Folder() as folder:
        manager = Manager(os.path.join(folder, "notify"))
        daemon = Daemon(folder).start(manager.environment)
        assert manager.hears_that_all_is_well()
        used = len(os.listdir(f"/proc/{daemon.process.pid}/fd"))
        resource.prlimit(daemon.process.pid, resource.RLIMIT_NOFILE, (used + 20, used + 20))
        crowd = [socket.socket(socket.AF_UNIX) for _ in range(60)]
        for one in crowd:
            one.settimeout(5)
            one.connect(daemon.socket)
        assert manager.falls_silent(), manager.told
        for one in crowd:
            one.close()
        daemon.kill()


def a_long_start_asks_for_more_time():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        send_season(daemon)
        assert daemon.stop() == 0
        settings = os.path.join(folder, "settings.toml")
        with open(settings, "w") as file:
            file.write("[counting]\nlost_after_days = 20\n")  # every order is counted anew
        manager = Manager(os.path.join(folder, "notify"))
        daemon = Daemon(folder, "--config", settings).start(manager.environment)
        assert manager.hears("READY=1")
        first = manager.told.index("READY=1")
        assert "EXTEND_TIMEOUT_USEC=30000000" in manager.told[:first], manager.told
        assert daemon.stop() == 0


def a_second_signal_ends_a_stop_that_hangs():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        with HeldThread(daemon.process.pid, "committer"):
            daemon.process.send_signal(signal.SIGTERM)
            assert wait_for(lambda: "stopping" in daemon.read_log())
            time.sleep(0.2)
            assert daemon.process.poll() is None, "the stop did not hang: the test shows nothing"
            daemon.process.send_signal(signal.SIGTERM)
            assert wait_for(lambda: "stopped short" in daemon.read_log())
            time.sleep(0.2)
        assert daemon.process.wait(timeout=60) == 75


def the_sample_unit_lets_the_daemon_do_little():
    if shutil.which("systemd-analyze") is None:
        return "systemd-analyze (Debian package systemd) is not installed"
    # The bare unit, as a control: what is measured differs.
    with Folder() as folder:
        bare = os.path.join(folder, "bare.service")
        with open(bare, "w") as file:
            file.write("[Service]\nExecStart=/usr/bin/plumblaned\n")
        for unit, fits in ((bare, False), (UNIT, True)):
            done = subprocess.run(["systemd-analyze", "security", "--offline=true", "--no-pager",
                                   "--threshold=15", unit], capture_output=True, text=True)
            assert (done.returncode == 0) == fits, (done.stdout + done.stderr)[-600:]


if __name__ == "__main__":
    main([the_manager_hears_of_ready_well_and_stopping_in_this_order,
          a_manager_that_watches_another_process_hears_no_more_than_ready,
          a_writer_that_stands_still_is_told_by_silence,
          a_daemon_that_can_hear_nobody_is_told_by_silence,
          a_long_start_asks_for_more_time,
          a_second_signal_ends_a_stop_that_hangs,
          the_sample_unit_lets_the_daemon_do_little])
