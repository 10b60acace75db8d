"""Faults of a cluster: etcd members and the owner killed, the owner held up past its lease, etcd
without room, its network cut. What is measured is for how long nothing was acknowledged to a sender
that goes on to the next owner; what is asserted is that nothing is lost or doubled and that all
daemons hold the same.

With several partitions each daemon owns some and is sent to: what is killed or held up is one of
them, with its share, and the sender speaks to another.

Usage: cluster_faults.py [--long] [--rounds N] [--seed N] [--partitions N] [--kinds KIND,...]; with
kinds only those of whoever_is_killed_or_held_up. Cutting networks needs root.
"""
import concurrent.futures
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time

from rig import LONG, Folder, acked, main, option, seeded, send, sent, start_sending, wait_for

import certificates
from cluster_test import Node, all_applied, owner_of, start_or_end, stop_all
from etcd import PROGRAM, WHY_NOT, Etcd
from partitions_test import level, shared_out

PARTITIONS = option("partitions", 1)
ROUNDS = option("rounds", 30 if LONG else 2)
KINDS = ["leader", "owner", "both", "held up", "two", "all", "stopped"]
if "--kinds" in sys.argv:
    KINDS = sys.argv[sys.argv.index("--kinds") + 1].split(",")
PATIENCE = 120
AS_IT_COMES = ("--heartbeat-interval=100", "--election-timeout=1000")
SETTINGS = f"partitions = {PARTITIONS}\n" if PARTITIONS > 1 else ""
SETTINGS += "copy_seconds = 1\n[storage]\nblock_cache_mib = 8\nwrite_buffer_mib = 4\n" \
           "least_free_mib = 16\n"


class Feed:
    """Sends all the time to whoever takes events, as a sender does that was told of all daemons; knows
    for how long nothing was acknowledged."""

    def __init__(self, nodes, ledger):
        self.nodes, self.ledger = nodes, ledger
        self.sender = None
        self.avoided = None  # a daemon that is not sent to
        self.stopping = threading.Event()
        self.moments = []  # at which something was
        self.asking = concurrent.futures.ThreadPoolExecutor(len(nodes))
        self.threads = [threading.Thread(target=work) for work in (self.feed, self.watch)]

    def owner(self):
        """The first to say that it takes events; one that does not answer is not waited for."""
        def ask(node):
            is_there = node is not self.avoided and node.process.poll() is None
            return node if is_there and node.owns() else None
        asked = [self.asking.submit(ask, node) for node in self.nodes]
        for answer in concurrent.futures.as_completed(asked):
            if answer.result():
                return answer.result()
        return None

    def go_round(self, node):
        """From now on sends to others."""
        self.avoided = node
        if self.sender and self.sender.poll() is None:
            self.sender.kill()

    def feed(self):
        while not self.stopping.wait(0.02):
            owner = self.owner()
            if owner is None:
                continue
            self.sender = start_sending(owner, self.ledger)
            self.sender.wait()
            self.sender.stdout.close()

    def watch(self):
        known = 0
        while not self.stopping.wait(0.01):
            size = os.path.getsize(self.ledger) if os.path.exists(self.ledger) else 0
            if size == known:
                continue
            with open(self.ledger) as file:
                file.seek(known)
                if any(line.startswith("a") for line in file):
                    self.moments.append(time.monotonic())
            known = size

    def pause_since(self, begin, steady=1.5):
        """The longest time without a receipt from then on until they have come again for so long."""
        def came_back():
            seen = [at for at in self.moments if at > begin]
            return seen and time.monotonic() - begin > steady and seen[-1] - last_gap()[1] > steady

        def last_gap():
            """The longest gap, and when it ended."""
            at, longest, end = begin, 0, begin
            for moment in [moment for moment in self.moments if moment > begin]:
                if moment - at > longest:
                    longest, end = moment - at, moment
                at = moment
            return longest, end
        assert wait_for(came_back, PATIENCE), "nothing is acknowledged any more\n" + "".join(
            node.read_log()[-2000:] for node in self.nodes)
        return last_gap()[0]

    def __enter__(self):
        for thread in self.threads:
            thread.start()
        assert wait_for(lambda: self.moments, PATIENCE), "nothing is acknowledged"
        return self

    def __exit__(self, *_):
        self.stopping.set()
        if self.sender and self.sender.poll() is None:
            self.sender.kill()
        for thread in self.threads:
            thread.join()
        self.asking.shutdown()


def taken_over(nodes):
    """Waits until all partitions are owned by these."""
    if PARTITIONS > 1:
        shared_out(nodes)
    else:
        owner_of(nodes)


def one_that_takes_events(nodes):
    if PARTITIONS == 1:
        return owner_of(nodes)
    shared_out(nodes)
    return nodes[0]


def nothing_is_lost_or_doubled(nodes, ledger):
    """The oracle; afterwards no daemon runs. How many events were acknowledged."""
    known = acked(ledger)

    def goes_through(what):
        """A member that comes back may have another leader elected, so the owner may change still."""
        done = send(one_that_takes_events(nodes), ledger, what)
        assert " lost 0\n" in done.stdout, f"{what}: {done.stdout}{done.stderr}"
        return done.returncode == 0
    for what in ("check", "rest"):
        assert wait_for(lambda: goes_through(what), PATIENCE), what
    owner = one_that_takes_events(nodes)
    if PARTITIONS > 1:
        level(nodes)
    result = owner.ask("verify")
    assert result["difference"] == "" and int(result["eventCount"]) == sent(ledger), (
        result, sent(ledger))
    if PARTITIONS > 1:
        level(nodes)
    else:
        all_applied(nodes, owner.applied())
    stop_all(nodes)
    dumps = [node.dump() for node in nodes]
    assert all(dump == dumps[0] for dump in dumps), "replicas differ"
    for node in nodes:
        assert "differ from those" not in node.read_log(), node.read_log()
    return known


def told(pauses):
    """What each kind cost, for people."""
    for what, seconds in pauses.items():
        seconds.sort()
        print(f"  {what}: {len(seconds)} times, nothing acknowledged for {seconds[0]:.1f} to "
              f"{seconds[-1]:.1f} s, median {seconds[len(seconds) // 2]:.1f}")


def make_nodes(folder, endpoints):
    return [Node(folder, name, endpoints, SETTINGS).start() for name in ("one", "two", "three")]


def whoever_is_killed_or_held_up():
    """Leader, owner, both as if they were on one machine, one held up past its lease, two members,
    all members; the owner stopped in order."""
    if WHY_NOT:
        return WHY_NOT
    seeded("killed")
    with Folder() as folder, Etcd(folder, 3, *AS_IT_COMES) as etcd:
        nodes, ledger = make_nodes(folder, etcd.endpoints), os.path.join(folder, "ledger")
        taken_over(nodes)
        pauses = {}
        with Feed(nodes, ledger) as feed:
            for number in range(ROUNDS):
                what = KINDS[number % len(KINDS)]
                taken_over(nodes)
                owner = random.choice(nodes) if PARTITIONS > 1 else owner_of(nodes)
                if PARTITIONS > 1:
                    feed.go_round(owner)
                leader = etcd.leader() or 0
                time.sleep(random.uniform(0, 0.5))
                begin = time.monotonic()
                gone = {"leader": [leader], "both": [leader], "two": [0, 1], "all": [0, 1, 2]}.get(what, [])
                for member in gone:
                    etcd.kill(member)
                if what in ("owner", "both"):
                    owner.kill()
                if what == "stopped":  # in order
                    owner.process.send_signal(signal.SIGTERM)
                if what == "held up":
                    owner.process.send_signal(signal.SIGSTOP)
                    taken_over([node for node in nodes if node is not owner])
                    owner.process.send_signal(signal.SIGCONT)
                if len(gone) > 1:  # without a majority nothing goes on: what counts is afterwards
                    time.sleep(1)
                    for member in gone:
                        etcd.start(member)
                    begin = time.monotonic()
                pauses.setdefault(what, []).append(feed.pause_since(begin))
                if len(gone) == 1:
                    etcd.start(leader)
                if what == "stopped":
                    assert owner.stop() == 0, owner.read_log()
                if what in ("owner", "both", "stopped"):
                    owner.start()
                etcd.wait()
        known = nothing_is_lost_or_doubled(nodes, ledger)
        print(f"{PARTITIONS} partitions, {ROUNDS} faults, {known} events acknowledged, 0 lost, 0 doubled; lease 3 s, etcd's "
              "timeouts as they come")
        told(pauses)


def without_room_nothing_is_taken_and_it_comes_back():
    """A daemon that is away keeps entries in etcd until there is no room; done as the page for
    operators says, events are taken again, and the one that was away begins with a copy."""
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1, "--quota-backend-bytes=16777216") as etcd:
        ledger = os.path.join(folder, "ledger")
        one, two = (Node(folder, name, etcd.endpoints, SETTINGS) for name in ("one", "two"))
        owner_of([one.start()])
        two.start()
        assert send(one, ledger, "send", 20).returncode == 0
        all_applied([two], one.applied())
        two.kill()
        refused = send(one, ledger, "send", 1_000_000)
        assert refused.returncode == 6 and "RESOURCE" not in refused.stdout, refused
        assert "stream: 8" in refused.stderr, refused
        one.run("suppliers", check=0)
        kept = acked(ledger)
        assert etcd.keys("plumblane/reader/0000/") == [f"plumblane/reader/0000/{name}"
                                                       for name in ("one", "two")]
        etcd.ask("kv/deleterange", key="plumblane/reader/0000/two")
        first = etcd.first_entry()
        assert wait_for(lambda: etcd.first_entry() > first, PATIENCE), one.read_log()
        etcd.ask("maintenance/defragment")
        for alarm in etcd.ask("maintenance/alarm", action="GET")["alarms"]:
            etcd.ask("maintenance/alarm", **dict(alarm, action="DEACTIVATE"))
        assert wait_for(lambda: send(one, ledger, "send", 20).returncode == 0, PATIENCE)
        assert two.start_only().process.wait(timeout=60) == 65, two.read_log()
        two.process.stdout.close()
        assert "entries between are missing" in two.read_log(), two.read_log()
        shutil.rmtree(two.data)
        assert wait_for(lambda: start_or_end(two), PATIENCE), two.read_log()
        nothing_is_lost_or_doubled([one, two], ledger)
        print(f"{kept} events acknowledged before there was no room, 0 lost, 0 doubled")


class Places:
    """Three network namespaces on a bridge of their own, in a fourth; nothing of it is seen outside."""

    def __init__(self):
        self.hub = f"plumblane-{os.getpid()}"
        self.names = [f"{self.hub}-{i}" for i in range(3)]
        self.hosts = [f"10.77.0.{i + 1}" for i in range(3)]

    def ip(self, *words):
        subprocess.run(["ip", *words], check=True, capture_output=True)

    def __enter__(self):
        for name in (self.hub, *self.names):
            self.ip("netns", "add", name)
        self.ip("-n", self.hub, "link", "add", "bridge", "type", "bridge")
        self.ip("-n", self.hub, "link", "set", "bridge", "up")
        for i, name in enumerate(self.names):
            self.ip("-n", self.hub, "link", "add", f"to{i}", "type", "veth", "peer", "name", "hub",
                    "netns", name)
            self.ip("-n", self.hub, "link", "set", f"to{i}", "master", "bridge")
            self.ip("-n", name, "addr", "add", f"{self.hosts[i]}/24", "dev", "hub")
            for link in ("lo", "hub"):
                self.ip("-n", name, "link", "set", link, "up")
            self.join(i)
        return self

    def __exit__(self, *_):
        for name in (*self.names, self.hub):
            subprocess.run(["ip", "netns", "del", name], capture_output=True)

    def cut(self, i):
        self.ip("-n", self.hub, "link", "set", f"to{i}", "down")

    def join(self, i):
        self.ip("-n", self.hub, "link", "set", f"to{i}", "up")

    def into(self, i):
        return ["ip", "netns", "exec", self.names[i]]


def start_members(folder, places, authority):
    """A member in each place, with TLS on both sides; their processes."""
    hosts = places.hosts
    pem, key = authority.sign("member", "serverAuth,clientAuth",
                              ",".join("IP:" + host for host in hosts))
    tls = [f"--{side}{what}={path}" for side in ("", "peer-") for what, path in
           (("cert-file", pem), ("key-file", key), ("trusted-ca-file", authority.path))]
    processes = []
    for i, host in enumerate(hosts):
        with open(os.path.join(folder, f"m{i}.log"), "w") as log:
            processes.append(subprocess.Popen(
                [*places.into(i), PROGRAM, f"--name=m{i}", f"--data-dir={folder}/m{i}",
                 f"--listen-client-urls=https://{host}:2379",
                 f"--advertise-client-urls=https://{host}:2379",
                 f"--listen-peer-urls=https://{host}:2380",
                 f"--initial-advertise-peer-urls=https://{host}:2380", "--initial-cluster=" +
                 ",".join(f"m{n}=https://{other}:2380" for n, other in enumerate(hosts)),
                 "--client-cert-auth", "--peer-client-cert-auth", *tls, "--logger=zap"],
                stdout=log, stderr=log))
    return processes


def cut_off_from_the_others():
    """The owner with its member, then one that follows, then all three from each other."""
    if WHY_NOT:
        return WHY_NOT
    if os.geteuid() != 0 or not shutil.which("ip"):
        return "network namespaces need root and ip (Debian: iproute2)"
    seeded("cut")
    with Folder() as folder, Places() as places:
        authority = certificates.Authority(os.path.join(folder, "ca"))
        pem, key = authority.sign("daemon")
        members = start_members(folder, places, authority)
        try:
            nodes = []
            for i, name in enumerate(("one", "two", "three")):
                node = Node(folder, name, [host + ":2379" for host in places.hosts],
                            f'ca = "{authority.path}"\ncertificate = "{pem}"\nkey = "{key}"\n'
                            + SETTINGS)
                node.prefix = places.into(i)
                # A socket is reached from everywhere: the sender is beside each of them.
                node.address = "unix:" + os.path.join(node.folder, "s")
                node.flags[node.flags.index("--listen") + 1] = node.address
                nodes.append(node)
                assert wait_for(lambda: start_or_end(node), PATIENCE), node.read_log()
            ledger = os.path.join(folder, "ledger")
            owner_of(nodes)
            pauses = {}
            with Feed(nodes, ledger) as feed:
                for number in range(ROUNDS if LONG else 1):
                    what = ("owner", "another", "all")[number % 3]
                    owner = nodes.index(owner_of(nodes))
                    apart = {"owner": [owner], "another": [(owner + 1) % 3],
                             "all": [0, 1, 2]}[what]
                    begin = time.monotonic()
                    for place in apart:
                        places.cut(place)
                    if what == "all":
                        time.sleep(5)
                        for place in apart:
                            places.join(place)
                        begin = time.monotonic()
                    pauses.setdefault(what, []).append(feed.pause_since(begin))
                    for place in apart:
                        places.join(place)
                    # The one that was cut off follows again.
                    all_applied(nodes, nodes[owner].applied())
            known = nothing_is_lost_or_doubled(nodes, ledger)
            print(f"{known} events acknowledged, 0 lost, 0 doubled; cut off from the others:")
            told(pauses)
        finally:
            for process in members:
                process.kill()
                process.wait()


if __name__ == "__main__":
    tests = [whoever_is_killed_or_held_up, without_room_nothing_is_taken_and_it_comes_back,
             cut_off_from_the_others]
    main(tests[:1] if PARTITIONS > 1 or "--kinds" in sys.argv else tests)
