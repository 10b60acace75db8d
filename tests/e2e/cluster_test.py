"""Several daemons over one log in etcd: one owns it, the others follow and answer; whoever is killed
or held up, nothing is lost and nothing is doubled, and all hold the same bytes as a daemon that was
alone and never disturbed.

Usage: cluster_test.py [--kills N]  (5)
"""
import itertools
import json
import os
import random
import signal
import socket
import struct
import subprocess
import sys
import threading
import time

sys.path.append(os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "faults"))
import h2  # noqa: E402
from etcd import WHY_NOT, Etcd, free_port
from harness import (BIN, SAMPLE, Daemon, Folder, main, metrics_of, send_season, values_of,
                     wait_for)
from kill_test import big_file, count
from told import Trade

KILLS = int(sys.argv[sys.argv.index("--kills") + 1]) if "--kills" in sys.argv else 5
SEED = int(sys.argv[sys.argv.index("--seed") + 1]) if "--seed" in sys.argv else int(time.time())
PATIENCE = 120
STATUS_PATIENCE = 5  # one that is held up does not answer


class Node(Daemon):
    """A daemon of the cluster, on a port so that others can be told of it."""

    def __init__(self, folder, name, endpoints, more=""):
        home = os.path.join(folder, name)
        os.makedirs(home)
        settings = os.path.join(home, "settings.toml")
        with open(settings, "w") as out:
            out.write(f"[cluster]\nnode = \"{name}\"\nlease_seconds = 3\n"
                      f"etcd = {json.dumps(list(endpoints))}\n{more}")
        super().__init__(home, "--config", settings)
        self.name = name
        port = free_port()
        self.address = f"127.0.0.1:{port}"
        self.flags += ["--listen", self.address]
        self.flags.remove("unix:" + self.socket)
        self.flags.remove("--listen")

    def status(self):
        """Empty when it does not answer at once."""
        command = [os.path.join(BIN, "plumblane"), "--server", self.address, "status", "--json"]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=STATUS_PATIENCE)
        except subprocess.TimeoutExpired:
            return {}
        return json.loads(done.stdout) if done.returncode == 0 else {}

    def owns(self):
        return self.status().get("acceptingEvents", False)

    def applied(self):
        return int(self.status().get("logSequence", 0))


def owner_of(nodes):
    """The one that takes events; waits for it."""
    found = []

    def look():
        found[:] = [node for node in nodes if node.process.poll() is None and node.owns()]
        return found
    assert wait_for(look, PATIENCE), "nobody takes events\n" + "".join(n.read_log() for n in nodes)
    assert len(found) == 1, f"{len(found)} daemons take events at once"
    return found[0]


def all_applied(nodes, sequence):
    assert wait_for(lambda: all(node.applied() >= sequence for node in nodes), PATIENCE), (
        sequence, [node.applied() for node in nodes])


def send(node, path):
    """A sender of its own, which gives up when its daemon does."""
    return subprocess.Popen([os.path.join(BIN, "plumblane"), "--server", node.address, "send",
                             "--retry-for", "0", path],
                            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def calm_dump(path):
    """What a daemon alone makes of it."""
    with Folder() as folder:
        calm = Daemon(folder).start()
        calm.run("send", path, check=0)
        assert calm.stop() == 0
        return calm.dump("--without-sends")


def stop_all(nodes):
    for node in nodes:
        assert node.stop() == 0, node.read_log()


def a_follower_answers_says_how_far_it_is_and_refuses_events():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        one = Node(folder, "one", etcd.endpoints).start()
        owner_of([one])
        two = Node(folder, "two", etcd.endpoints).start()
        path = os.path.join(SAMPLE, "harbour.ndjson")
        one.run("send", path, check=0)
        all_applied([two], one.applied())
        # What is told of alerts comes a moment later.
        assert wait_for(lambda: int(two.status()["sharedLog"]["tailSequence"]) == one.applied()
                        == two.applied(), PATIENCE)
        told = two.status()["sharedLog"]
        assert told["follows"] and told["ownerAddress"] == one.address, told
        assert "asOfTime" in told, told
        text = two.run("status", check=0)[1]
        assert "followed; its owner is the one at " + one.address in text, text
        assert wait_for(lambda: one.ask("suppliers") == two.ask("suppliers"), PATIENCE)
        said = two.run("suppliers", check=0)[2]
        assert "this daemon follows another: entry " in said and "; complete up to 20" in said, said
        assert one.run("suppliers", check=0)[2] == ""
        # Refused where it stands; the client goes to where that says by itself.
        refused = subprocess.run([os.path.join(BIN, "fault_sender"), two.address,
                                  os.path.join(folder, "ledger"), "send", "1"],
                                 capture_output=True, text=True, timeout=60)
        assert refused.returncode == 6 and one.address in refused.stderr, refused
        assert "0 taken" in two.run("send", path, check=0)[1]
        # Stopped in order it hands over at once.
        assert one.stop() == 0
        assert owner_of([two]) is two
        assert "0 taken" in two.run("send", path, check=0)[1]
        assert two.stop() == 0
        one.dump()
        two.dump()


def offline(node, *args):
    done = subprocess.run([os.path.join(BIN, "plumblaned"), *node.flags, *args],
                          capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def a_copy_of_one_verifies_and_begins_another():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        one = Node(folder, "one", etcd.endpoints).start()
        owner_of([one])
        one.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        assert one.ask("verify")["difference"] == ""
        copies = os.path.join(folder, "copies")
        one.run("backup", copies, check=0)
        one.run("send", os.path.join(SAMPLE, "meadow.csv"), check=0)
        two = Node(folder, "two", etcd.endpoints)
        offline(two, "--restore", copies)
        offline(two, "--verify")
        two.start()
        all_applied([two], one.applied())
        assert two.status()["sharedLog"]["follows"]
        assert two.ask("verify")["difference"] == ""
        assert wait_for(lambda: one.ask("suppliers") == two.ask("suppliers"), PATIENCE)
        stop_all([two, one])
        offline(one, "--verify")
        with open(one.flags[one.flags.index("--config") + 1], "w"):
            pass  # as one that has a log of its own it would take events that nobody else sees
        refused = one.start_only()
        assert refused.process.wait(timeout=60) == 65, one.read_log()
        refused.process.stdout.close()
        assert "shares its log with others" in one.read_log(), one.read_log()


def whoever_is_killed_nothing_is_lost_or_doubled():
    if WHY_NOT:
        return WHY_NOT
    random.seed(SEED)
    print(f"seed {SEED}, {KILLS} kills")
    with Folder() as folder, Etcd(folder, 3) as etcd:
        path = os.path.join(folder, "events.ndjson")
        lines = big_file(path, 4)
        nodes = [Node(folder, name, etcd.endpoints).start() for name in ("one", "two", "three")]
        cut_short = 0
        for number in range(KILLS):
            owner = owner_of(nodes)
            sender = send(owner, path)
            time.sleep(random.uniform(0.05, 1.0))
            what = ("owner", "stop", "leader", "two", "all")[number % 5]
            if what == "owner":
                owner.kill()
            elif what == "stop":  # held up past its lease; it wakes up when another owns the log
                owner.process.send_signal(signal.SIGSTOP)
                owner_of([node for node in nodes if node is not owner])
                owner.process.send_signal(signal.SIGCONT)
            else:
                leader = etcd.leader()
                gone = {"leader": [leader or 0], "two": [0, 1], "all": [0, 1, 2]}[what]
                for member in gone:
                    etcd.kill(member)
                time.sleep(0.5)
                for member in gone:
                    etcd.start(member)
            cut_short += sender.wait(timeout=300) != 0
            if what == "owner":
                owner.start()
            etcd.wait()
        assert cut_short > 0, "nothing came in the middle of a send: the test shows nothing"
        owner_of(nodes).run("send", path, check=0)
        again = owner_of(nodes).ask("send", path)
        assert count(again, "takenCount") == 0 and count(again, "repeatCount") == lines, again
        all_applied(nodes, owner_of(nodes).applied())
        stop_all(nodes)
        dumps = [node.dump("--without-sends") for node in nodes]
        assert dumps[0] == dumps[1] == dumps[2], "replicas differ"
        assert dumps[0] == calm_dump(path), "differs from a daemon alone"
        print(f"{cut_short} of {KILLS} sends of {lines} events were cut short")


def acknowledged_events_survive_the_owner():
    """What a receipt covered is a repeat at the one that takes over."""
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        nodes = [Node(folder, name, etcd.endpoints).start() for name in ("one", "two")]
        path = os.path.join(SAMPLE, "harbour.ndjson")
        owner = owner_of(nodes)
        taken = owner.ask("send", path)
        owner.kill()
        begin = time.monotonic()
        assert count(taken, "takenCount") > 0
        other = owner_of([node for node in nodes if node is not owner])
        print(f"taken over after {time.monotonic() - begin:.1f} s, with a lease of 3 s")
        again = other.ask("send", path)
        assert count(again, "takenCount") == 0, again
        assert other.stop() == 0


def one_that_is_stopped_lets_go_before_it_has_answered_all():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        owner = Node(folder, "one", etcd.endpoints).start()
        owner_of([owner])
        other = Node(folder, "two", etcd.endpoints).start()
        call = h2.Connection(owner.address)
        assert call.read() is not None
        call.open(1, "/plumblane.v1.Operations/GetStatus")
        call.write(1, h2.message(b"whole")[:6])  # the rest does not come
        assert wait_for(lambda: other.status().get("sharedLog", {}).get("ownerAddress"), PATIENCE)
        owner.process.send_signal(signal.SIGTERM)
        assert owner_of([other]) is other
        assert owner.process.poll() is None, "it let go only at its end"
        call.close()
        assert owner.process.wait(timeout=60) == 0
        owner.process.stdout.close()
        stop_all([other])


def whoever_is_asked_what_changes_something_reaches_the_owner():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        one = Node(folder, "one", etcd.endpoints).start()
        owner_of([one])
        two = Node(folder, "two", etcd.endpoints).start()
        assert wait_for(lambda: two.status().get("sharedLog", {}).get("ownerAddress"), PATIENCE)
        two.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        agreed = os.path.join(SAMPLE, "agreements")
        for what in ("rates", "items", "quotes", "terms"):
            two.run(what, "load", os.path.join(agreed, what + ".csv"), check=0)
        two.run("costs", "load", os.path.join(agreed, "costs.toml"), check=0)
        two.run("pause", "saffron-depot", "--reason", "x", check=0)
        two.run("excuse", "load", os.path.join(SAMPLE, "excuses.csv"), check=0)
        two.run("assign", "o-1", "--to", "DE", "--item", "kite-swallow", "--shop", "harbour", check=0)
        two.run("record", "harbour/1001", "delivered", "--time", "2026-09-01T00:00:00Z", check=0)
        assert one.ask("assignments")["assignments"], "assigned elsewhere"
        # Of several that are named any will do, also one that is gone.
        one.kill()
        owner_of([two])
        for named in (f"{one.address},{two.address}", f"{two.address},{one.address}"):
            one.address, kept = named, one.address
            assert "0 taken" in one.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)[1]
            one.run("pause", "saffron-depot", "--reason", named, check=0)
            one.run("suppliers", check=0)
            one.address = kept
        assert two.stop() == 0


def a_send_goes_on_when_its_owner_is_gone():
    return WHY_NOT or a_send_goes_on_after(signal.SIGKILL)


def a_send_goes_on_when_its_owner_is_held_up():
    """Whose connection stays as it is, and says nothing."""
    return WHY_NOT or a_send_goes_on_after(signal.SIGSTOP)


def a_send_goes_on_after(what):
    with Folder() as folder, Etcd(folder, 1) as etcd:
        path = os.path.join(folder, "events.ndjson")
        lines = big_file(path, 8)
        nodes = [Node(folder, name, etcd.endpoints).start() for name in ("one", "two", "three")]
        owner = owner_of(nodes)
        before = owner.applied()
        sender = subprocess.Popen([os.path.join(BIN, "plumblane"), "--server",
                                   ",".join(node.address for node in nodes), "send", "--json",
                                   "--retry-for", "300", path], stdout=subprocess.PIPE, text=True)
        assert wait_for(lambda: owner.applied() > before + 1, PATIENCE)
        owner.process.send_signal(what)
        nodes.remove(owner)
        told = json.loads(sender.communicate(timeout=300)[0])
        assert sender.returncode == 0, told
        # What the killed one took without a receipt comes as a repeat.
        assert count(told, "takenCount") + count(told, "repeatCount") == lines, told
        again = owner_of(nodes).ask("send", path)
        assert count(again, "takenCount") == 0, again
        all_applied(nodes, owner_of(nodes).applied())
        if what == signal.SIGSTOP:
            owner.process.send_signal(signal.SIGCONT)
            all_applied([owner], owner_of(nodes).applied())
            stop_all([owner])
        else:
            owner.kill()
        stop_all(nodes)
        if what == signal.SIGSTOP:
            nodes.append(owner)
        dumps = {node.dump("--without-sends") for node in nodes}
        assert dumps == {calm_dump(path)}, f"{len(dumps)} dumps, none or some as alone"


def a_new_daemon_begins_with_the_copy_of_another():
    """The log is trimmed up to what a copy holds; whoever is killed while it fetches one fetches it
    again."""
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        one = Node(folder, "one", etcd.endpoints, "copy_seconds = 1\n").start()
        owner_of([one])
        path = os.path.join(SAMPLE, "harbour.ndjson")
        one.run("send", path, check=0)

        turn = itertools.count()

        def moves_on():
            one.run("pause", "lotus-works", "--reason", f"reason {next(turn)}", check=0)
            return (etcd.first_entry() or 0) > 20
        assert wait_for(moves_on, PATIENCE), "the log is not trimmed"
        first = etcd.first_entry()
        two = Node(folder, "two", etcd.endpoints, "copy_seconds = 1\n")
        for held in (0.05, 0.3):
            two.start_only()
            time.sleep(held)
            two.kill()
        assert wait_for(lambda: start_or_end(two), PATIENCE), two.read_log()
        all_applied([two], one.applied())
        log = two.read_log()
        assert "fetched a copy of" in log and "the copy: verified" in log, log
        # What it gives away holds, too, with nobody else there.
        one.kill()
        owner_of([two]).run("pause", "lotus-works", "--reason", "y", check=0)
        three = Node(folder, "three", etcd.endpoints, "copy_seconds = 1\n")
        assert wait_for(lambda: start_or_end(three), PATIENCE), three.read_log()
        all_applied([three], two.applied())
        assert wait_for(lambda: two.ask("suppliers") == three.ask("suppliers"), PATIENCE)
        assert etcd.first_entry() >= first
        one.start()
        all_applied([one], two.applied())
        stop_all([one, two, three])
        assert one.dump() == two.dump() == three.dump()


def start_or_end(node):
    """Whether it runs now; it ends while there is no copy for it yet."""
    try:
        node.start()
        return True
    except RuntimeError as refused:
        assert "(75)" in str(refused), refused
        return False


def one_daemon_and_three_answer_the_same():
    """Events told to a daemon alone, and in pieces to any of three: equal cells, rankings, alerts and
    reviews."""
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Folder() as home, Etcd(folder, 1) as etcd:
        alone = Daemon(home).start()
        nodes = [Node(folder, name, etcd.endpoints).start() for name in ("one", "two", "three")]
        owner_of(nodes)

        class Any:
            """Whichever is next."""
            turn = 0

            def run(self, *args, **keywords):
                self.turn += 1
                return nodes[self.turn % 3].run(*args, **keywords)
        # By their days, so that it does not matter what was there when somebody looked.
        trade = os.path.join(home, "trade.ndjson")
        with open(trade, "w") as out:
            out.writelines(json.dumps(one) + "\n" for one in Trade(5, 220).between(0, 220))
        for daemon in (alone, Any()):
            daemon.run("send", trade, check=0)
        assert wait_for(lambda: has_told(alone, "lotus", "on_time") and
                        has_told(alone, "copper", "handling"), PATIENCE)
        for question in (("alerts", "--all"), ("alerts", "watches"),
                         ("review", "2026-04-01..2026-07-31")):
            agree([alone, *nodes], question, standing)
        for daemon in (alone, Any()):
            send_season(daemon)
            agreed = os.path.join(SAMPLE, "agreements")
            for what in ("rates", "items", "quotes", "terms"):
                daemon.run(what, "load", os.path.join(agreed, what + ".csv"), check=0)
            daemon.run("costs", "load", os.path.join(agreed, "costs.toml"), check=0)
        questions = (
            ("suppliers",), ("lanes",), ("supplier", "lotus-works"), ("lane", "PL-IE"),
            ("rank", "--to", "DE", "--item", "kite-swallow", "--shop", "harbour"),
            ("rank", "--to", "SE", "--item", "kite-swallow"), ("underway",), ("claims",))
        for question in questions:
            agree([alone, *nodes], question)
        # What is told of this season's alerts depends on what was there when somebody looked.
        for question in (("alerts", "--all"), ("alerts", "watches"),
                         ("review", "2026-04-01..2026-09-30")):
            agree(nodes, question)
        assert wait_for(lambda: len({node.applied() for node in nodes}) == 1, PATIENCE)
        assert alone.stop() == 0
        stop_all(nodes)
        dumps = [node.dump("--without-sends") for node in (alone, *nodes)]
        assert all(dump == dumps[0] for dump in dumps), "cells differ"


def ask(daemon, question):
    """An answer without when and as of which entry it was given, whose maps have no order; alerts
    exit with 4 when active."""
    code, out, err = daemon.run(*question, "--json")
    assert code in (0, 4), (question, err)
    return json.loads(out)


def agree(daemons, question, part=lambda answer: answer):
    """Alerts are told and watched by a thread of its own, a moment later."""
    answers = []

    def same():
        answers[:] = [part(ask(daemon, question)) for daemon in daemons]
        return all(answer == answers[0] for answer in answers)
    assert wait_for(same, PATIENCE), (question, answers)


def has_told(daemon, supplier, measure):
    return any(alert["watched"].get("supplierId") == supplier
               and alert["watched"]["measure"] == measure
               for alert in ask(daemon, ("alerts", "--all")).get("alerts", []))


def standing(answer):
    """It without when each alert was told, and those taken back."""
    alerts = [{name: value for name, value in alert.items()
               if name not in ("raiseTime", "updateTime")}
              for alert in answer.get("alerts", []) if alert.get("state") != "STATE_REVISED_AWAY"]
    return answer | {"alerts": sorted(alerts, key=str)}


def a_log_that_is_gone_or_another_is_refused():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        one = Node(folder, "one", etcd.endpoints).start()
        owner_of([one]).run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        assert one.stop() == 0
        for name, why in (("other", "is not in etcd"),):
            with open(os.path.join(one.folder, "settings.toml"), "a") as out:
                out.write(f'name = "{name}"\n')
            assert one.start_only().process.wait(timeout=60) == 65
            one.process.stdout.close()
            assert why in one.read_log(), one.read_log()
        alone = Daemon(os.path.join(folder, "one"))
        assert alone.start_only().process.wait(timeout=60) == 65, "its log is not in its store"
        alone.process.stdout.close()


class WithoutStatus(threading.Thread):
    """Speaks HTTP/2 as etcd may when it stops: ends each call, and says no status."""
    ANSWER = b"\x88\x0f\x10\x10application/grpc"  # :status 200, content-type

    def __init__(self):
        super().__init__(daemon=True)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.answered = 0
        self.start()

    def run(self):
        while True:
            threading.Thread(target=self.talk, args=(self.listener.accept()[0].makefile("rwb"),),
                             daemon=True).start()

    def talk(self, to):
        def write(kind, flags, stream, payload=b""):
            to.write(struct.pack(">I", len(payload))[1:] + bytes([kind, flags])
                     + struct.pack(">I", stream) + payload)
            to.flush()
        to.read(24)
        write(4, 0, 0)  # SETTINGS
        while len(head := to.read(9)) == 9:
            kind, flags, stream = head[3], head[4], struct.unpack(">I", head[5:])[0]
            payload = to.read(int.from_bytes(head[:3], "big"))
            if kind in (4, 6) and not flags & 1:  # SETTINGS and PING
                write(kind, 1, 0, payload if kind == 6 else b"")
            elif kind == 0 and flags & 1:  # the question is there
                self.answered += 1
                write(1, 5, stream, self.ANSWER)


def an_etcd_that_ends_calls_without_a_status_is_out_of_reach():
    """Once the library ended the process at that."""
    with Folder() as folder:
        etcd = WithoutStatus()
        one = Node(folder, "one", [f"127.0.0.1:{etcd.listener.getsockname()[1]}"])
        code = one.start_only().process.wait(timeout=60)
        one.process.stdout.close()
        assert etcd.answered > 0, "it was not asked"
        assert code == 75, (code, one.read_log())


def figures_say_who_takes_events_who_follows_and_who_is_cut_off():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        ports = {name: free_port() for name in ("one", "two")}
        nodes = [Node(folder, name, etcd.endpoints, f'[metrics]\nlisten = "127.0.0.1:{port}"\n')
                 .start() for name, port in ports.items()]
        owner = owner_of(nodes)
        follower = next(node for node in nodes if node is not owner)

        def told(node):
            values = values_of(metrics_of(ports[node.name]))
            return [values["plumblane_" + name] for name in (
                "accepting_events", "follows", "complete_timestamp_seconds", "log_entries",
                "shared_log_entries")]
        time.sleep(2)  # so that when it took over is not now
        begin = time.time()
        owner.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        for node, of in ((owner, [1, 0]), (follower, [0, 1])):
            assert wait_for(lambda: told(node)[2] > begin, PATIENCE), told(node)
            takes, follows, _, applied, tail = told(node)
            assert [takes, follows] == of, told(node)
            assert wait_for(lambda: told(node)[3] == told(node)[4] > 0, PATIENCE), told(node)
        etcd.kill(0)
        for node in nodes:
            assert wait_for(lambda: told(node)[:2] == [0, 1], PATIENCE), told(node)
        complete = [told(node)[2] for node in nodes]
        time.sleep(1)
        assert complete == [told(node)[2] for node in nodes], "nothing is known of the log now"
        # Of the one that took events up to when it did, not only up to when it began to.
        assert min(complete) > begin, (begin, complete)
        for node in nodes:
            node.kill()


if __name__ == "__main__":
    main([a_follower_answers_says_how_far_it_is_and_refuses_events,
          whoever_is_asked_what_changes_something_reaches_the_owner,
          a_copy_of_one_verifies_and_begins_another,
          acknowledged_events_survive_the_owner,
          one_that_is_stopped_lets_go_before_it_has_answered_all,
          a_send_goes_on_when_its_owner_is_gone,
          a_send_goes_on_when_its_owner_is_held_up,
          a_new_daemon_begins_with_the_copy_of_another,
          one_daemon_and_three_answer_the_same,
          whoever_is_killed_nothing_is_lost_or_doubled,
          an_etcd_that_ends_calls_without_a_status_is_out_of_reach,
          figures_say_who_takes_events_who_follows_and_who_is_cut_off,
          a_log_that_is_gone_or_another_is_refused])
