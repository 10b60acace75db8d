"""The power goes while eight streams send: the file system under the daemon is shut down without
writing anything back, with the daemon's threads stopped so that no sync can end falsely.

Usage: power_cut.py [--long] [--cuts N] [--unsynced]. Needs root and a loop device; exits 77 without.
--unsynced is the control: syncs do nothing, so events must be lost.
"""
import fcntl
import os
import random
import signal
import subprocess
import time

from rig import (LONG, PRELOADED, Folder, acked, check_oracle, main, make, option, seeded, send,
                 start_sending, wait_for)

CUTS = option("cuts", 50 if LONG else 3)
SHUTDOWN, WITHOUT_FLUSH = 0x8004587D, 2  # _IOR('X', 125, __u32)


class Disk:
    """An ext4 file system in a file."""

    def __init__(self, folder, mib=512):
        self.size = mib << 20
        self.image, self.place = os.path.join(folder, "image"), os.path.join(folder, "disk")
        os.mkdir(self.place)

    def make(self):
        with open(self.image, "wb") as out:
            out.truncate(self.size)
        return subprocess.run(["mkfs.ext4", "-q", self.image], capture_output=True).returncode == 0 \
            and self.mount()

    def mount(self):
        return subprocess.run(["mount", "-o", "loop", self.image, self.place],
                              capture_output=True).returncode == 0

    def cut(self):
        folder = os.open(self.place, os.O_RDONLY)
        fcntl.ioctl(folder, SHUTDOWN, WITHOUT_FLUSH.to_bytes(4, "little"))
        os.close(folder)

    def unmount(self):
        subprocess.run(["umount", self.place], capture_output=True)


def cut_off(daemon, ledger, disk, env=None):
    daemon.start(env)
    sender = start_sending(daemon, ledger)
    known = acked(ledger)
    assert wait_for(lambda: acked(ledger) > known)
    time.sleep(random.uniform(0, 0.4))
    daemon.process.send_signal(signal.SIGSTOP)
    assert wait_for(lambda: open(f"/proc/{daemon.process.pid}/stat").read().split()[2] == "T")
    disk.cut()
    daemon.kill()
    sender.wait(timeout=60)
    sender.stdout.close()
    disk.unmount()
    assert disk.mount()


def on_a_disk(folder, disk):
    daemon = make(folder)
    daemon.data = daemon.flags[daemon.flags.index("--data") + 1] = os.path.join(disk.place, "data")
    return daemon, os.path.join(folder, "ledger")


def nothing_acknowledged_is_lost():
    seeded("power")
    with Folder() as folder:
        disk = Disk(folder)
        if not disk.make():
            return "making a file system in a file needs root and a loop device"
        try:
            daemon, ledger = on_a_disk(folder, disk)
            for _ in range(CUTS):
                cut_off(daemon, ledger, disk)
            daemon.start()
            check_oracle(daemon, ledger)
            assert daemon.stop() == 0
        finally:
            disk.unmount()
        print(f"{CUTS} cuts, {acked(ledger)} events acknowledged, 0 lost, 0 refused starts")


def without_syncs_events_are_lost():
    """Control: the cut is one, and the anchor or the ledger finds what it took."""
    seeded("unsynced")
    with Folder() as folder:
        disk = Disk(folder)
        if not disk.make():
            return "making a file system in a file needs root and a loop device"
        command = os.path.join(folder, "command")
        with open(command, "w") as out:
            out.write("sync none\n")
        try:
            daemon, ledger = on_a_disk(folder, disk)
            daemon.start()
            assert send(daemon, ledger, "send", 5).returncode == 0
            daemon.stop()
            env = dict(os.environ, LD_PRELOAD=PRELOADED, FAIL_IO_COMMAND=command,
                       FAIL_IO_UNDER=os.path.join(daemon.data, "store"))
            cut_off(daemon, ledger, disk, env)
            try:
                daemon.start()
            except RuntimeError as refused:
                assert "(65)" in str(refused), refused
                return
            assert send(daemon, ledger, "check").returncode == 1, "nothing was lost"
            daemon.kill()
        finally:
            disk.unmount()


if __name__ == "__main__":
    main([nothing_acknowledged_is_lost, without_syncs_events_are_lost])
