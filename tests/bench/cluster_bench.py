"""What a log in etcd costs: events a second through the client, to a daemon alone and to the owner of
a cluster of as many daemons, all with their etcd on this machine; how far the others are behind while
it goes on; how long nobody takes events after the owner was killed. Nothing is asserted.

Usage: cluster_bench.py [ORDERS]     60,000 if not given, of three events each
"""
import os
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
from cluster_test import Node, all_applied, owner_of   # noqa: E402  (by the path above)
from etcd import WHY_NOT, Etcd                          # noqa: E402
from harness import Daemon, Folder                      # noqa: E402
from send_bench import write_csv                        # noqa: E402

ORDERS = int(sys.argv[1]) if len(sys.argv) > 1 else 60_000


def rate(daemon, path):
    begin = time.monotonic()
    daemon.run("send", path, check=0)
    return 3 * ORDERS / (time.monotonic() - begin)


def main():
    if WHY_NOT:
        sys.exit(WHY_NOT)
    with tempfile.TemporaryDirectory() as folder, Folder() as home:
        path = os.path.join(folder, "events.csv")
        write_csv(path, ORDERS)
        alone = Daemon(home).start()
        print(f"{'alone':30} {rate(alone, path):10,.0f} events/s", flush=True)
        alone.stop()
        for members, names in ((1, ["one"]), (3, ["one"]), (3, ["one", "two", "three"])):
            with Folder() as place, Etcd(place, members) as etcd:
                nodes = [Node(place, name, etcd.endpoints).start() for name in names]
                owner = owner_of(nodes)
                told = rate(owner, path)
                begin = time.monotonic()
                all_applied(nodes, owner.applied())
                behind = time.monotonic() - begin
                line = f"{members} etcd, {len(nodes)} daemons"
                print(f"{line:30} {told:10,.0f} events/s; the last one is there {behind:.2f} s later",
                      flush=True)
                if len(nodes) > 1:
                    owner.kill()
                    begin = time.monotonic()
                    nodes.remove(owner)
                    owner_of(nodes)
                    print(f"{'':30} taken over {time.monotonic() - begin:.2f} s after a kill, with a "
                          "lease of 3 s", flush=True)
                for node in nodes:
                    node.stop()


if __name__ == "__main__":
    main()
