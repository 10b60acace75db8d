"""Hours at half load with connections that come and go: memory and descriptors stay where they are.

A round sends as fast as it goes and then rests as long as that took; meanwhile one connection after
the other makes a call and goes. Looked at is the daemon between rounds. The first third is warm-up:
caches fill.

Usage: soak.py [--minutes N]  (20; the form for a release is 120)
"""
import os
import statistics
import threading
import time

import h2
from net_access_test import MEBIBYTE, OK, STATUS, memory_of
from net_floods import OnTcp
from rig import Folder, check_oracle, main, option, send, sent

MINUTES = option("minutes", 20)
BATCHES = 300  # a round
SETTINGS = "[storage]\nblock_cache_mib = 8\nwrite_buffer_mib = 4\nleast_free_mib = 16\n"


class Churn:
    """Connections with a call each, one after the other, on loopback and on the socket."""

    def __init__(self, daemon):
        self.count, self.failed, self.is_over = 0, [], False
        self.thread = threading.Thread(target=self.run, args=(daemon,))
        self.thread.start()

    def run(self, daemon):
        while not self.is_over:
            address = daemon.address if self.count % 2 else daemon.tcp
            try:
                got = h2.call(address, STATUS, b"")
            except OSError as error:
                got = error
            if got != OK:
                self.failed.append(f"{address}: {got}")
            self.count += 1

    def end(self):
        self.is_over = True
        self.thread.join()


def open_files(daemon):
    return len(os.listdir(f"/proc/{daemon.process.pid}/fd"))


def memory_and_descriptors_stay_where_they_are():
    with Folder() as folder:
        daemon, ledger = OnTcp(folder, SETTINGS).start(), os.path.join(folder, "ledger")
        begun, looks = time.monotonic(), []
        churn = Churn(daemon)
        while time.monotonic() - begun < MINUTES * 60:
            at = time.monotonic()
            assert send(daemon, ledger, "send", BATCHES).returncode == 0, daemon.read_log()
            time.sleep(time.monotonic() - at)
            looks.append((time.monotonic() - begun, memory_of(daemon), open_files(daemon)))
        churn.end()
        late = [look for look in looks if look[0] > looks[-1][0] / 3]
        half = len(late) // 2
        memory = [look[1] / MEBIBYTE for look in late]
        files = [look[2] for look in late]
        before, after = statistics.median(memory[:half]), statistics.median(memory[half:])
        slope = statistics.linear_regression([look[0] / 3600 for look in late], memory).slope
        print(f"  {MINUTES} minutes, {len(looks)} rounds, {sent(ledger)} events, {churn.count} "
              f"connections\n  memory, MiB: {looks[0][1] / MEBIBYTE:.1f} at first, then median "
              f"{before:.1f} and {after:.1f}, largest {max(memory):.1f}, {slope:+.1f} an hour\n"
              f"  descriptors: {min(files)} to {max(files)}")
        assert not churn.failed, churn.failed
        assert statistics.median(files[half:]) <= statistics.median(files[:half]) + 5, files
        assert after <= before * 1.1 + 4, memory
        # Control: who keeps what it opened is seen.
        usual = open_files(daemon)
        kept = [h2.Connection(daemon.tcp) for _ in range(50)]
        assert all(connection.read() is not None for connection in kept)
        assert open_files(daemon) >= usual + 50
        for connection in kept:
            connection.close()
        check_oracle(daemon, ledger)
        assert daemon.stop() == 0


if __name__ == "__main__":
    main([memory_and_descriptors_stay_where_they_are])
