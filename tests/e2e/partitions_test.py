"""Three daemons over a log of four partitions in etcd, or of sixty-four: events are taken by any,
questions are answered by all and say what they lack, and all is as with a daemon that is alone,
whoever is killed.

Usage: partitions_test.py [--kills N]  (2)
"""
import json
import os
import random
import sys
import time

from alerts_test import BELL_DAYS, TRADE, standing, the_expected_alerts_are_there
from cluster_test import PATIENCE, Node, calm_dump, send, start_or_end, stop_all
from etcd import WHY_NOT, Etcd
from harness import SAMPLE, Daemon, Folder, main, send_season, wait_for
from kill_test import big_file, count
from told import Told

KILLS = int(sys.argv[sys.argv.index("--kills") + 1]) if "--kills" in sys.argv else 2
SEED = int(sys.argv[sys.argv.index("--seed") + 1]) if "--seed" in sys.argv else int(time.time())
QUESTIONS = (["suppliers"], ["lanes"], ["rank", "--to", "DE"], ["underway"], ["claims"],
             ["review", "2026-09"])


def start_all(folder, etcd, names=("one", "two", "three"), partitions=4):
    nodes = [Node(folder, name, etcd.endpoints, f"partitions = {partitions}\n").start()
             for name in names]
    shared_out(nodes)
    return nodes


def owned(node):
    return [part.get("isOwned", False)
            for part in node.status().get("sharedLog", {}).get("partitions", [])]


def shared_out(nodes):
    """Waits until each partition has one owner, and each daemon its share."""
    def is_so():
        of = [owned(node) for node in nodes]
        each = [sum(one) for one in of]
        return all(of) and all(sum(one) == 1 for one in zip(*of)) and min(each) > 0 and max(each) - min(each) < 2
    assert wait_for(is_so, PATIENCE), [owned(node) for node in nodes]


def level(nodes):
    """Waits until all have applied all there is."""
    def is_so():
        of = [node.status() for node in nodes]
        tails = {int(one["sharedLog"]["tailSequence"]) for one in of if one}
        return all(of) and len(tails) == 1 and {int(one["logSequence"]) for one in of} == tails
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
    return WHY_NOT or a_season_is_answered_as_by_one_alone(4)


def sixty_four_partitions_answer_as_one_does():
    return WHY_NOT or a_season_is_answered_as_by_one_alone(64)


def a_season_is_answered_as_by_one_alone(partitions):
    with Folder() as folder, Folder() as calm_folder, Etcd(folder, 1) as etcd:
        calm = Daemon(calm_folder).start()
        send_season(calm)
        nodes = start_all(folder, etcd, partitions=partitions)
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
        assert "this daemon follows " in said and f"of {partitions} partitions: entry " in said, said
        text = nodes[0].run("status", check=0)[1]
        assert f"of {partitions} partitions owned, " in text and nodes[1].address in text, text
        assert nodes[0].run("verify")[0] == 0
        assert calm.stop() == 0
        stop_all(nodes)
        dumps = [node.dump("--without-sends") for node in nodes]
        assert dumps[0] == dumps[1] == dumps[2], "replicas differ"
        assert dumps[0] == calm.dump("--without-sends"), "differs from a daemon alone"


class ToldToAny(Told):
    """As told to a daemon alone, but to whichever of several is next."""

    def __init__(self, nodes):
        super().__init__()
        self.nodes, self.turn = nodes, 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    @property
    def daemon(self):
        self.turn += 1
        return self.nodes[self.turn % len(self.nodes)]


def a_year_of_trade(told):
    """As it comes in: some days at a time, looked at in between."""
    rng, day = random.Random(7), 0
    for bell_day in BELL_DAYS:
        while day <= bell_day:
            some = min(rng.randint(5, 40), bell_day + 1 - day)
            told.send([one for each in range(day, day + some) for one in TRADE.events[each]])
            day += some
        told.ring(bell_day)


def without_when_told(answer):
    """A review, without the moments at which somebody looked."""
    for account in answer["accounts"]:
        account["alerts"] = [{name: value for name, value in alert.items()
                              if name not in ("raiseTime", "updateTime")}
                             for alert in account.get("alerts", [])]
    return answer


def alerts_rankings_and_reviews_are_those_of_one_alone():
    if WHY_NOT:
        return WHY_NOT
    questions = ("review", "2026-01..2026-07"), ("rank", "--to", "DE"), ("suppliers",), ("lanes",)
    with Told() as told:
        a_year_of_trade(told)
        expected = standing(told)
        answers = [told.daemon.ask(*question) for question in questions]
    the_expected_alerts_are_there(expected)
    with Folder() as folder, Etcd(folder, 1) as etcd:
        nodes = start_all(folder, etcd)
        a_year_of_trade(ToldToAny(nodes))
        level(nodes)
        for node in nodes:
            assert standing(ToldToAny([node])) == expected, node.name
            for question, answer in zip(questions, answers):
                found = node.ask(*question)
                if question[0] == "review":
                    assert without_when_told(found) == without_when_told(answer), node.name
                else:
                    assert found == answer, (node.name, question)
        stop_all(nodes)


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
        level(nodes)
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


def a_new_daemon_begins_with_the_copy_of_another():
    """Which has a position for each partition."""
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        more = "partitions = 4\ncopy_seconds = 1\n"
        nodes = [Node(folder, name, etcd.endpoints, more).start() for name in ("one", "two")]
        shared_out(nodes)
        with open(os.path.join(SAMPLE, "harbour.ndjson")) as file:
            lines = file.readlines()
        path = os.path.join(folder, "some.ndjson")
        at = 0

        def is_trimmed():
            nonlocal at
            with open(path, "w") as out:
                out.writelines(lines[at % len(lines):at % len(lines) + 60])
            at += 60
            nodes[at % 2].run("send", path, check=0)
            return (etcd.first_entry() or 0) > 1
        assert wait_for(is_trimmed, PATIENCE), "the log is not trimmed"
        three = Node(folder, "three", etcd.endpoints, more)
        assert wait_for(lambda: start_or_end(three), PATIENCE), three.read_log()
        log = three.read_log()
        assert "fetched a copy of" in log and "the copy: verified" in log, log
        nodes.append(three)
        shared_out(nodes)
        nodes[2].run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        level(nodes)
        stop_all(nodes)
        dumps = [node.dump() for node in nodes]
        assert dumps[0] == dumps[1] == dumps[2], "replicas differ"


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
        assert " partitions (" in said and "are not followed now" in said, said
        assert "may be too low" in said, said
        code, _, why = nodes[0].run("assign", "new-1", "--to", "DE", "--item", "kite")
        assert code != 0 and "no order is given on that" in why, (code, why)
        assert "are not followed now" in nodes[0].run("status", check=0)[1]
        etcd.start(0)
        etcd.wait()
        assert wait_for(lambda: "PARTIAL" not in nodes[0].run("suppliers", check=0)[2], PATIENCE)
        shared_out(nodes)
        # What the owner of some has taken is in the log: without it nothing is missing.
        whole = nodes[0].ask("suppliers")
        nodes[1].kill()
        shared_out(nodes[:1])
        assert "PARTIAL" not in nodes[0].run("suppliers", check=0)[2]
        assert nodes[0].ask("suppliers") == whole
        # With the log gone as well nobody knows whether there is more.
        nodes[1].start()
        shared_out(nodes)
        nodes[1].kill()
        etcd.kill(0)
        assert wait_for(lambda: "PARTIAL: 4 of 4 " in nodes[0].run("suppliers", check=0)[2],
                        PATIENCE), nodes[0].run("suppliers")
        assert nodes[0].ask("suppliers") == whole
        code, _, why = nodes[0].run("send", os.path.join(SAMPLE, "meadow.csv"), "--retry-for", "1")
        assert code != 0 and "no daemon takes events now" in why, (code, why)
        nodes[0].kill()


def one_that_follows_what_it_owns_says_where_to_ask_and_takes_over():
    """With the copy and the state of one that follows all, however far the log was trimmed."""
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        more = "partitions = 4\ncopy_seconds = 1\n"
        all_ = [Node(folder, name, etcd.endpoints, more).start() for name in ("one", "two")]
        shared_out(all_)
        path = os.path.join(SAMPLE, "harbour.ndjson")
        all_[0].run("send", path, check=0)
        some = Node(folder, "some", etcd.endpoints, more + 'follow = "owned"\n')
        assert wait_for(lambda: start_or_end(some), PATIENCE), some.read_log()
        nodes = [*all_, some]
        shared_out(nodes)
        held = ["asOfTime" in part for part in some.status()["sharedLog"]["partitions"]]
        assert held[0] and 2 <= sum(held) < 4 and not owned(some)[0], (held, owned(some))
        # Alone it says where to go; beside others the client goes there.
        missing = ", ".join(str(number) for number, is_held in enumerate(held) if not is_held)
        text = " ".join(some.run("status", check=0)[1].split())
        assert f"({missing}) are not followed now" in text, text
        for question in QUESTIONS:
            code, out, why = some.run(*question)
            assert code == 1 and out == "" and f"partitions ({missing})" in why, (out, why)
            assert all_[0].address in why or all_[1].address in why, why
        assert some.run("backup", os.path.join(folder, "copies"))[0] == 1
        whole = all_[0].ask("suppliers")
        some.address, kept = f"{some.address},{all_[0].address}", some.address
        assert some.ask("suppliers") == whole
        some.address = kept
        # What was sent to it is taken by all; it forgets what it does not own.
        assert "0 taken" in some.run("send", path, check=0)[1]
        def readers():
            return etcd.keys("plumblane/reader/")
        assert wait_for(lambda: sum(key.endswith("/some") for key in readers()) == sum(held),
                        PATIENCE), readers()

        # So that the log does not go back to what it has of the others.
        with open(os.path.join(SAMPLE, "meadow.csv")) as file:
            head, *rows = file.readlines()
        portion, at = os.path.join(folder, "some.csv"), 0

        def is_trimmed():
            nonlocal at
            with open(portion, "w") as out:
                out.writelines([head, *(rows[(at + i) % len(rows)] for i in range(40))])
            at += 40
            all_[at % 2].run("send", portion, check=0)
            return all(first_entry(etcd, number) > 20 for number in range(4))
        assert wait_for(is_trimmed, PATIENCE), "the log is not trimmed"
        level(all_)
        whole = all_[0].ask("suppliers")
        orders = all_[0].status()["orderCount"]
        # Another one is left that follows all: what the killed one owned is taken over by both.
        all_[1].kill()
        shared_out([all_[0], some])
        again = takes_again([some, all_[0]], path)
        assert count(again, "takenCount") == 0, again
        level(all_[:1])
        assert all_[0].ask("suppliers") == whole
        assert "fetched partition " in some.read_log(), some.read_log()
        # And with the last one gone it has nobody to have the rest from: none is taken, and it says so.
        all_[0].kill()
        time.sleep(5)
        code, out, why = some.run("suppliers")
        assert code == 1 and "no daemon that follows all is known" in why, (code, out, why)
        assert not some.owns()
        for node in all_:
            node.start()
        shared_out(nodes)
        assert all_[1].ask("suppliers") == whole
        assert all_[1].status()["orderCount"] == orders
        stop_all([some, *all_])
        assert all_[0].dump() == all_[1].dump(), "replicas differ"


def what_only_one_of_several_daemons_holds_stays_in_the_log():
    """So another takes over without loss, with nobody left to have it from."""
    if WHY_NOT:
        return WHY_NOT
    with Folder() as folder, Etcd(folder, 1) as etcd:
        more = "partitions = 4\ncopy_seconds = 1\n"
        one = Node(folder, "one", etcd.endpoints, more).start()
        some = Node(folder, "some", etcd.endpoints, more + 'follow = "owned"\n').start()
        shared_out([one, some])
        one.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        for _ in range(40):
            one.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        time.sleep(5)
        level([one])
        whole = one.ask("suppliers")
        one.kill()
        shared_out([some])
        assert some.ask("suppliers") == whole
        again = takes_again([some], os.path.join(SAMPLE, "harbour.ndjson"))
        assert count(again, "takenCount") == 0, again
        assert some.run("verify")[0] == 0
        one.start()
        shared_out([one, some])
        assert one.ask("suppliers") == whole
        stop_all([some, one])


def first_entry(etcd, partition):
    keys = etcd.keys(f"plumblane/log/{partition:04}/")
    return int(keys[0].rsplit("/", 1)[1]) if keys else 0


if __name__ == "__main__":
    main([a_season_sent_to_any_is_answered_by_all_as_by_one_alone,
          sixty_four_partitions_answer_as_one_does,
          alerts_rankings_and_reviews_are_those_of_one_alone,
          a_send_is_taken_back_from_all_partitions,
          a_new_daemon_begins_with_the_copy_of_another,
          what_is_missing_is_said_with_each_answer,
          one_that_follows_what_it_owns_says_where_to_ask_and_takes_over,
          what_only_one_of_several_daemons_holds_stays_in_the_log,
          whoever_is_killed_nothing_is_lost_or_doubled])
