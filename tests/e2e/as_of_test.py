"""Asked about a day in the past, a daemon that knows the whole season answers as one that was fed
only what had happened by then.

Corrections hold at every moment asked: what was taken back at any time is left out, with what took
it back, and an order that was excused at any time is excused. Fed day by day in this way the second
daemon also goes on from what it kept in memory; questions are put to it in between.
"""
import json
import os
import sys
from pathlib import Path

from harness import Daemon, Folder, ROOT, SAMPLE, main, send_season

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
from days import parse_instant
from reading import read_orders

DAYS = ("2026-02-10", "2026-04-15", "2026-06-30", "2026-08-25", "2026-09-30")
COMPLETE_THROUGH = {"carriers": "2026-10-01T00:00:00Z", "mondays": "2026-09-28T00:00:00Z"}
# When a supplier was last heard of does not follow the moment asked (scores.proto).
NOT_AS_OF = "lastEventTime"


def start_of(day):
    return parse_instant(day + "T00:00:00Z")


def excuses_its_order(event):
    return (event["type"] in ("disputed", "refunded")
            and event.get("reason") in ("wrong_address", "refused"))


def season_in_effect():
    """What was sent of all orders and not taken back, by time."""
    events = []
    for order in read_orders(Path(SAMPLE)).orders:
        names = {"shop": order.shop, "order_id": order.order_id, "part": order.part}
        events += [event | names for event in order.events]
    return sorted(events, key=lambda event: event["instant"])


def taken_back_before(day):
    """A claim that did not hold in the end."""
    with open(os.path.join(SAMPLE, "harbour.ndjson"), encoding="utf-8") as file:
        lines = [json.loads(line) for line in file]
    gone = {line["retracts"] for line in lines if line["type"] == "retracted"}
    return next(line for line in lines if line["event_id"] in gone and line["type"] == "disputed"
                and parse_instant(line["time"]) < start_of(day))


class Past:
    """A daemon that is told what happened as time goes on."""

    def __init__(self, folder, events):
        self.daemon = Daemon(folder).start()
        self.events = events
        self.told_to = 0
        self.daemon.run("excuse", "load", os.path.join(SAMPLE, "excuses.csv"), check=0)
        self.tell([event for event in events if excuses_its_order(event)])

    def tell_up_to(self, day):
        """Everything before the start of `day`."""
        end = start_of(day)
        self.tell([event for event in self.events if self.told_to <= event["instant"] < end])
        self.told_to = end

    def tell(self, events):
        for source in sorted({event["source"] for event in events}):
            path = os.path.join(self.daemon.folder, "told.ndjson")
            with open(path, "w", encoding="utf-8") as file:
                for event in events:
                    if event["source"] == source:
                        line = {name: event[name] for name in event if name != "instant"}
                        file.write(json.dumps(line) + "\n")
            through = COMPLETE_THROUGH.get(source)
            self.daemon.run("send", path, *(["--complete-through", through] if through else []),
                            check=0)


def ask_lists(daemon, day):
    return {(collection, score["name"]): score for collection in ("suppliers", "lanes")
            for score in daemon.ask(collection, "--as-of", day)["scores"]}


def ask_all(daemon, day):
    """Every score by the command that shows it and its name; each pair under its supplier or
    lane."""
    answers = ask_lists(daemon, day)
    for collection, name in list(answers):
        command, subject = collection.removesuffix("s"), name.split("/", 1)[1]
        whole = daemon.ask(command, subject, "--as-of", day, "--within", "10")
        for pair in whole.pop("pairs"):
            answers[name, pair["name"]] = pair
        answers[command, name] = whole
    return answers


def without(score):
    return {field: value for field, value in score.items() if field != NOT_AS_OF}


def has_orders(score):
    return (int(score["onTime"]["orderCount"]) or int(score["defect"]["orderCount"])
            or int(score["underwayCount"]) or int(score["faultCount"])
            or any(int(score[times]["enteredCount"])
                   for times in ("handling", "transit", "delivery", "response")))


def differences(knowing, past):
    """What differs, by name and field. Of whom nobody had heard then there may be no orders."""
    found = [f"{key} is not known to the daemon that knows all" for key in past.keys() - knowing]
    for key, score in knowing.items():
        if key not in past:
            if has_orders(score):
                found.append(f"{key} has orders, of which there were none then")
            continue
        ours, theirs = without(score), without(past[key])
        found += [f"{key} {field}: {ours.get(field)}, then {theirs.get(field)}"
                  for field in ours.keys() | theirs.keys() if ours.get(field) != theirs.get(field)]
    return found


def the_past_is_told_as_it_was_then():
    with Folder() as folder, Folder() as past_folder:
        knowing = Daemon(folder).start()
        past = Past(past_folder, season_in_effect())
        try:
            send_season(knowing)
            settled, compared = [], 0
            for day in DAYS:
                # Control: what happened since the day before this one is noticed.
                assert differences(ask_lists(knowing, day), ask_lists(past.daemon, day)), day
                past.tell_up_to(day)
                then = ask_all(past.daemon, day)
                found = differences(ask_all(knowing, day), then)
                assert not found, (f"{day}: {len(found)} figures differ, the first:\n"
                                   + "\n".join(found[:10]))
                compared += len(then)
                settled.append(sum(int(score["onTime"]["orderCount"])
                                   for (kind, _), score in then.items() if kind == "suppliers"))
            # The comparison was of something, and each day of something else.
            assert settled == sorted(set(settled)) and settled[0] > 100, settled
            assert compared > 250, compared
            # Control: so is a claim that did not hold in the end.
            past.tell([taken_back_before(DAYS[-1])])
            found = differences(ask_lists(knowing, DAYS[-1]), ask_lists(past.daemon, DAYS[-1]))
            assert any("defect" in text for text in found), found[:10]
            print(f"{compared} scores compared; settled orders {settled}")
        finally:
            knowing.stop()
            past.daemon.stop()


if __name__ == "__main__":
    main([the_past_is_told_as_it_was_then])
