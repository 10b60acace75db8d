"""What a log in etcd costs, and how it scales: four senders at once to a daemon alone, then to one, two
and four daemons over one, four and sixty-four partitions, all with their etcd on this machine. Nothing
is asserted.

Of each run one line: events a second until the last receipt; entries of the log; processor time in us
an event of etcd, of all daemons and of the senders; how long after the last receipt the last daemon
had applied all; bytes an event written to the disk by etcd and by each daemon, and what a daemon then
has there; at rest, processors in use by etcd and by each daemon; processor time in ms of a daemon for
`suppliers` when nothing is in memory and when all is; seconds until a daemon that was stopped serves
again, and until the log has owners again after one was killed (a lease of 3 s).

Usage: cluster_bench.py [ORDERS [MEMBERS [RUN...]]]
       60,000 orders of three events each, 1 member of etcd; all runs, or those like 2x64: daemons and
       partitions, 1x0 is a daemon alone; 2+1x64: and one more that follows only what it owns
"""
import os
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
from cluster_test import PATIENCE, Node         # noqa: E402  (by the path above)
from etcd import WHY_NOT, Etcd                  # noqa: E402
from harness import BIN, Daemon, Folder, wait_for   # noqa: E402
from send_bench import FIELDS, events           # noqa: E402

SENDERS = 4
RUNS = ["1x0", *(f"{daemons}x{partitions}" for partitions in (1, 4, 64) for daemons in (1, 2, 4))]
COLUMNS = ("daemons", "owned", "partitions", "rate", "entries", "etcd_us", "daemons_us", "senders_us",
           "behind_s", "etcd_bytes", "daemon_bytes", "disk_bytes", "etcd_idle", "daemons_idle",
           "cold_ms", "hot_ms", "start_s", "taken_over_s", "load")
TICKS = os.sysconf("SC_CLK_TCK")


def processor(process):
    """Seconds of processor time that it has used."""
    with open(f"/proc/{process.pid}/stat") as file:
        fields = file.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def written(process):
    """Bytes to the disk."""
    with open(f"/proc/{process.pid}/io") as file:
        return int(dict(line.split(": ") for line in file)["write_bytes"])


def bytes_below(path):
    return sum(os.path.getsize(os.path.join(folder, name))
               for folder, _, names in os.walk(path) for name in names)


def write_files(folder, orders):
    """One file for each sender, each order in one of them."""
    files = [open(os.path.join(folder, f"{i}.csv"), "w") for i in range(SENDERS)]
    for file in files:
        file.write(",".join(FIELDS) + "\n")
    for row in events(orders):
        files[int(row[1]) % SENDERS].write(",".join(row) + "\n")
    for file in files:
        file.close()
    return [file.name for file in files]


def send_all(daemons, files):
    """Seconds, and the processor time of the senders."""
    begin = time.monotonic()
    senders = [subprocess.Popen([os.path.join(BIN, "plumblane"), "--server",
                                 daemons[i % len(daemons)].address, "send", path],
                                stdout=subprocess.DEVNULL) for i, path in enumerate(files)]
    used = 0
    for sender in senders:
        _, status, usage = os.wait4(sender.pid, 0)
        if status != 0:
            sys.exit(f"a sender failed: {status}")
        used += usage.ru_utime + usage.ru_stime
    return time.monotonic() - begin, used


def owned(node):
    """Whether it owns each partition."""
    said = node.status()
    parts = said.get("sharedLog", {}).get("partitions")
    return ([part.get("isOwned", False) for part in parts] if parts
            else [said.get("acceptingEvents", False)])


def have_owners(nodes):
    """Each partition one of these, each daemon about its share."""
    of = [owned(node) for node in nodes]
    counts = [sum(one) for one in of]
    return all(of) and all(sum(one) == 1 for one in zip(*of)) and max(counts) - min(counts) <= 1


def wait_until(condition, nodes):
    begin = time.monotonic()
    if not wait_for(condition, PATIENCE):
        sys.exit("it does not come to rest\n" + "".join(node.read_log() for node in nodes))
    return time.monotonic() - begin


def is_level(nodes):
    """Those that follow all have applied all."""
    of = [node.status() for node in nodes if not getattr(node, "follows_owned", False)]
    if not all(of):
        return False
    tails = {int(one.get("sharedLog", {}).get("tailSequence", one["logSequence"])) for one in of}
    return len(tails) == 1 and {int(one["logSequence"]) for one in of} == tails


def question(node):
    """Milliseconds of processor time of a daemon."""
    before = processor(node.process)
    node.run("suppliers", check=0)
    return (processor(node.process) - before) * 1000


def start_again(node):
    if node.stop() != 0:
        sys.exit(node.read_log())
    begin = time.monotonic()
    node.start()
    return time.monotonic() - begin


class Alone(Daemon):
    status, applied = Node.status, Node.applied


def measure(nodes, files, orders, etcd):
    """All but what is of a kill."""
    said = {"load": os.getloadavg()[0]}
    if etcd:
        wait_until(lambda: have_owners(nodes), nodes)
    daemons, members = [node.process for node in nodes], etcd.processes if etcd else []
    takers = [node for node in nodes if any(owned(node))]
    before = {one.pid: (processor(one), written(one)) for one in daemons + members}

    def used(of):
        return [round((processor(one) - before[one.pid][0]) * 1e6 / (3 * orders), 1) for one in of]

    def wrote(of):
        return [round((written(one) - before[one.pid][1]) / (3 * orders)) for one in of]
    seconds, of_senders = send_all(takers, files)
    said["behind_s"] = wait_until(lambda: is_level(nodes), nodes)
    said["rate"] = 3 * orders / seconds
    said["entries"] = nodes[0].applied()
    said["daemons_us"], said["etcd_us"] = used(daemons), used(members)
    said["daemon_bytes"], said["etcd_bytes"] = wrote(daemons), wrote(members)
    said["senders_us"] = of_senders * 1e6 / (3 * orders)
    time.sleep(2)
    before = {one.pid: (processor(one), 0) for one in daemons + members}
    time.sleep(5)
    said["daemons_idle"], said["etcd_idle"] = (
        [round((processor(one) - before[one.pid][0]) / 5, 3) for one in of]
        for of in (daemons, members))
    said["start_s"] = start_again(nodes[0])
    said["disk_bytes"] = bytes_below(os.path.join(nodes[0].data, "store")) / (3 * orders)
    if etcd:
        wait_until(lambda: have_owners(nodes), nodes)
    said["cold_ms"] = question(nodes[0])
    said["hot_ms"] = question(nodes[0])
    return said


def kill_one(nodes):
    """Until the log has owners again."""
    gone = next(node for node in nodes if any(owned(node)))
    gone.kill()
    rest = [node for node in nodes if node is not gone]
    return rest, wait_until(lambda: have_owners(rest), rest)


def tell(said):
    print("  ".join(f"{name} {said.get(name, 0):.4g}" if not isinstance(said.get(name), list)
                    else f"{name} {said[name]}" for name in COLUMNS), flush=True)


def main():
    if WHY_NOT:
        sys.exit(WHY_NOT)
    orders, members = [int(word) for word in sys.argv[1:3]] + [60_000, 1][len(sys.argv) - 1:]
    with tempfile.TemporaryDirectory() as folder:
        files = write_files(folder, orders)
        for run in sys.argv[3:] or RUNS:
            daemons, partitions = run.split("x")
            all_, some = map(int, daemons.split("+")) if "+" in daemons else (int(daemons), 0)
            daemons, partitions = all_ + some, int(partitions)
            if partitions == 0:
                with Folder() as home:
                    alone = Alone(home).start()
                    tell({"daemons": 1, "partitions": 0, **measure([alone], files, orders, None)})
                    alone.stop()
                continue
            with Folder() as place, Etcd(place, members) as etcd:
                nodes = []
                for i in range(daemons):
                    follow = 'follow = "owned"\n' if i >= all_ else ""
                    nodes.append(Node(place, f"n{i}", etcd.endpoints,
                                      f"partitions = {partitions}\n{follow}").start())
                    nodes[-1].follows_owned = i >= all_
                said = measure(nodes, files, orders, etcd)
                if daemons > 1:
                    nodes, said["taken_over_s"] = kill_one(nodes)
                tell({"daemons": daemons, "owned": some, "partitions": partitions, **said})
                for node in nodes:
                    node.stop()


if __name__ == "__main__":
    main()
