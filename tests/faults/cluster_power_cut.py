"""The power of a whole cluster goes at once, while eight streams send: the file system under three
etcd and three daemons is shut down without writing anything back, with all their threads stopped so
that no sync can end falsely.

Usage: cluster_power_cut.py [--long] [--cuts N]. Needs root and a loop device; exits 77 without. That
losing what was not synced is noticed at all is shown by the control of power_cut.py.
"""
import os
import random
import signal
import subprocess
import time

from rig import LONG, Folder, acked, main, option, seeded, start_sending, wait_for

from cluster_faults import make_nodes, nothing_is_lost_or_doubled
from cluster_test import owner_of, start_or_end
from etcd import WHY_NOT, Etcd
from power_cut import Disk

CUTS = option("cuts", 20 if LONG else 2)


def stopped(process):
    process.send_signal(signal.SIGSTOP)
    with open(f"/proc/{process.pid}/stat") as stat:
        return stat.read().rsplit(")", 1)[1].split()[0] == "T"


def nothing_acknowledged_is_lost():
    if WHY_NOT:
        return WHY_NOT
    seeded("power")
    with Folder() as folder:
        disk = Disk(folder, 512 + 128 * CUTS)  # of which only what is written takes room
        if not disk.make():
            return "making a file system in a file needs root and a loop device"
        etcd = Etcd(disk.place, 3, "--quota-backend-bytes=134217728")
        try:
            for member in range(3):
                etcd.start(member)
            etcd.wait()
            nodes, ledger = make_nodes(disk.place, etcd.endpoints), os.path.join(folder, "ledger")
            # Their settings are on that disk, too: without them they would be daemons of their own.
            subprocess.run(["sync", "-f", disk.place], check=True)
            for _ in range(CUTS):
                sender = start_sending(owner_of(nodes), ledger)
                known = acked(ledger)
                assert wait_for(lambda: acked(ledger) > known)
                time.sleep(random.uniform(0, 0.4))
                processes = [node.process for node in nodes] + etcd.processes
                assert wait_for(lambda: all([stopped(process) for process in processes]))
                disk.cut()
                for node in nodes:
                    node.kill()
                for member in range(3):
                    etcd.kill(member)
                sender.wait(timeout=60)
                sender.stdout.close()
                disk.unmount()
                assert disk.mount()
                for member in range(3):
                    etcd.start(member)
                etcd.wait()
                for node in nodes:
                    assert wait_for(lambda: start_or_end(node), 120), node.read_log()
            known = nothing_is_lost_or_doubled(nodes, ledger)
            print(f"{CUTS} cuts of all, {known} events acknowledged, 0 lost, 0 doubled")
        finally:
            for member in range(3):
                etcd.kill(member)
            subprocess.run(["sync"], check=False)
            disk.unmount()


if __name__ == "__main__":
    main([nothing_acknowledged_is_lost])
