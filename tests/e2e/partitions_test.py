"""Three daemons over a log of four partitions in etcd: events are taken by any, questions are answered
by all and say what they lack, and all is as with a daemon that is alone, whoever is killed.

Usage: partitions_test.py [--kills N]  (2)
"""
import json
import os
import random
import sys
import time

from cluster_test import PATIENCE, Node, calm_dump, send, stop_all
from etcd import WHY_NOT, Etcd
from harness import SAMPLE, Daemon, Folder, main, send_season, wait_for
from kill_test import big_file, count

KILLS = int(sys.argv[sys.argv.index("--kills") + 1]) if "--kills" in sys.argv else 2
SEED = int(sys.argv[sys.argv.index("--seed") + 1]) if "--seed" in sys.argv else int(time.time())
PARTITIONS = 4
QUESTIONS = (["suppliers"], ["lanes"], ["rank", "--to", "DE"], ["underway"], ["claims"],
             ["review", "2026-09"])


def start_all(folder, etcd, names=("one", "two", "three")):
    nodes = [Node(folder, name, etcd.endpoints, f"partitions = {PARTITIONS}\n").start()
             for name in names]
    shared_out(nodes)
    return nodes


def owned(node):
    return [part.get("isOwned", False) for part in node.status()["sharedLog"]["partitions"]]


def shared_out(nodes):
    """Waits until each partition has one owner, and each daemon its share."""
    def is_so():
        of = [owned(node) for node in nodes]
        return (all(sum(one) == 1 for one in zip(*of))
                and all(sum(one) in (PARTITIONS // len(nodes), -(-PARTITIONS // len(nodes)))
                        for one in of))
    assert wait_for(is_so, PATIENCE), [owned(node) for node in nodes]


def level(nodes):
    """Waits until all have applied all there is."""
    def is_so():
        of = [node.status() for node in nodes]
        tails = {int(one["sharedLog"]["tailSequence"]) for one in of}
        return len(tails) == 1 and {int(one["logSequence"]) for one in of} == tails
    assert wait_for(is_so, PATIENCE), [node.status() for node in nodes]


def alerts_of(node):
    told = json.loads(node.run("alerts", "--json")[1])
    return json.dumps([alert["alertId"] for alert in told["alerts"]])


def takes_again(nodes, path):
    """As a sender whose daemon is gone: to whoever takes it."""
    for number in range(600):
        node = nodes[number % len(nodes)]
        code, out, why = node.run("send", path, "--json")
        if code == 0:
            return json.loads(out)
        time.sleep(0.2)
    raise AssertionError(why)


def a_season_sent_to_any_is_answered_by_all_as_by_one_alone():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Folder() as calm_folder, Etcd(folder, 1) as etcd:
        calm = Daemon(calm_folder).start()
        send_season(calm)
        nodes = start_all(folder, etcd)
        for node in nodes:  # the second and third time all of it is there already
            send_season(node)
        level(nodes)
        for question in QUESTIONS:
            expected = calm.ask(*question)
            for node in nodes:
                answer = node.ask(*question)
                # What was told of alerts goes by when they were looked at, also with one alone.
                for account in [*answer.get("accounts", []), *expected.get("accounts", [])]:
                    account["alerts"] = []
                assert answer == expected, (node.name, question)
        assert wait_for(lambda: len({alerts_of(node) for node in nodes}) == 1, PATIENCE)
        assert alerts_of(nodes[0]) != "[]", "no alert: the test shows less than it should"
        said = nodes[0].run("suppliers", check=0)[2]
        assert "this daemon follows " in said and "of 4 partitions: entry " in said, said
        text = nodes[0].run("status", check=0)[1]
        assert "of 4 partitions owned, " in text and nodes[1].address in text, text
        assert nodes[0].run("verify")[0] == 0
        assert calm.stop() == 0
        stop_all(nodes)
        dumps = [node.dump("--without-sends") for node in nodes]
        assert dumps[0] == dumps[1] == dumps[2], "replicas differ"
        assert dumps[0] == calm.dump("--without-sends"), "differs from a daemon alone"


def whoever_is_killed_nothing_is_lost_or_doubled():
    if WHY_NOT:
        return WHY_NOT
    random.seed(SEED)
    print(f"seed {SEED}, {KILLS} kills")
    with Folder() as folder, Etcd(folder, 1) as etcd:
        path = os.path.join(folder, "events.ndjson")
        lines = big_file(path, 3)
        nodes = start_all(folder, etcd)
        for number in range(KILLS):
            sender = send(nodes[number % 3], path)
            time.sleep(random.uniform(0.05, 1.0))
            gone = nodes[(number + random.randrange(2)) % 3]  # the sender's, or another
            gone.kill()
            begin = time.monotonic()
            rest = [node for node in nodes if node is not gone]
            shared_out(rest)
            print(f"all partitions taken over after {time.monotonic() - begin:.1f} s, lease 3 s")
            sender.wait(timeout=300)
            gone.start()
            shared_out(nodes)
        takes_again(nodes, path)
        again = takes_again(nodes, path)
        assert count(again, "takenCount") == 0 and count(again, "repeatCount") == lines, again
        level(nodes)
        stop_all(nodes)
        dumps = [node.dump("--without-sends") for node in nodes]
        assert dumps[0] == dumps[1] == dumps[2], "replicas differ"
        assert dumps[0] == calm_dump(path), "differs from a daemon alone"


def a_send_is_taken_back_from_all_partitions():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        nodes = start_all(folder, etcd, ("one", "two"))
        path = os.path.join(SAMPLE, "harbour.ndjson")
        first = nodes[0].ask("send", path)
        assert count(first, "takenCount") > 0, first
        orders = int(nodes[0].status()["orderCount"])
        sends = nodes[1].ask("sends")["sends"]
        # What was not taken at first, as an owner was just changing, was sent again.
        assert len(sends) == 1 and int(sends[0]["acceptedCount"]) >= count(first, "takenCount"), sends
        nodes[1].run("sends", "undo", sends[0]["sendNumber"], "--yes", check=0)
        level(nodes)
        for node in nodes:
            assert int(node.status().get("orderCount", 0)) == 0, node.status()
        nodes[1].run("send", path, check=0)
        level(nodes)
        assert int(nodes[0].status()["orderCount"]) == orders
        stop_all(nodes)


def what_is_missing_is_said_with_each_answer():
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        nodes = start_all(folder, etcd, ("one", "two"))
        nodes[0].run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        level(nodes)
        etcd.kill(0)
        assert wait_for(lambda: "PARTIAL: " in nodes[0].run("suppliers", check=0)[2], PATIENCE)
        said = nodes[0].run("rank", "--to", "DE", check=0)[2]
        assert "partitions are not followed now" in said and "may be too low" in said, said
        code, _, why = nodes[0].run("assign", "new-1", "--to", "DE", "--item", "kite")
        assert code != 0 and "no order is given on that" in why, (code, why)
        assert "are not followed now" in nodes[0].run("status", check=0)[1]
        etcd.start(0)
        etcd.wait()
        assert wait_for(lambda: "PARTIAL" not in nodes[0].run("suppliers", check=0)[2], PATIENCE)
        shared_out(nodes)
        stop_all(nodes)


if __name__ == "__main__":
    main([a_season_sent_to_any_is_answered_by_all_as_by_one_alone,
          a_send_is_taken_back_from_all_partitions,
          what_is_missing_is_said_with_each_answer,
          whoever_is_killed_nothing_is_lost_or_doubled])
