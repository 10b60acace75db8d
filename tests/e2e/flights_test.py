"""Real records that nobody here wrote: every lane's counts equal counts made straight from them,
and a backtest over them says that scores foretell better than a lane's orders by themselves.

The flight records of the npm package vega-datasets (20,000 flights, January to March 2001, from US
Department of Transportation on-time reports). A flight is an order of one supplier on the lane
origin-destination: promised 15 minutes after schedule less a millisecond, because a flight counts
as on time when it is less than 15 minutes late (14 CFR 234). The package is fetched through the
package registry and kept nowhere; without it the tests are skipped.
"""
import datetime
import json
import os
import random
import subprocess
import tarfile
from functools import cache

from harness import Daemon, Folder, main
from simple_forecasts import simple_forecasts

PACKAGE = "vega-datasets@3.2.1"
LATE_FROM = datetime.timedelta(minutes=15)
MILLISECOND = datetime.timedelta(milliseconds=1)
AS_OF = "2001-05-01"


@cache
def fetch():
    """The flight records, or a text saying why not."""
    with Folder() as folder:
        try:
            done = subprocess.run(["npm", "pack", "--silent", PACKAGE], cwd=folder,
                                  capture_output=True, text=True, timeout=180)
        except (OSError, subprocess.TimeoutExpired) as error:
            return f"the package registry cannot be asked: {error}"
        if done.returncode != 0:
            return f"the package registry is out of reach: {done.stderr.strip()[-200:]}"
        with tarfile.open(os.path.join(folder, done.stdout.split()[-1])) as package:
            return json.load(package.extractfile("package/data/flights-20k.json"))


def rfc3339(time):
    return time.isoformat(timespec="milliseconds") + "Z"


def times_of(flight):
    """When it left, and by when it was promised to. The records give local departure and delay;
    taken as UTC, since only differences count."""
    left = datetime.datetime.fromisoformat(flight["date"].replace("/", "-"))
    return left, left - datetime.timedelta(minutes=flight["delay"]) + LATE_FROM - MILLISECOND


def lane_of(flight):
    return f"{flight['origin']}-{flight['destination']}"


def is_late(flight):
    return flight["delay"] >= 15


def to_events(flights):
    """Two events a flight."""
    for number, flight in enumerate(flights):
        left, promise = times_of(flight)
        order = {"order_id": f"flight-{number}", "source": "flights"}
        yield {**order, "event_id": f"{number}-paid", "type": "paid",
               "time": rfc3339(promise + MILLISECOND - LATE_FROM - datetime.timedelta(days=1)),
               "supplier": "airlines", "origin": flight["origin"],
               "destination": flight["destination"], "promise": rfc3339(promise)}
        yield {**order, "event_id": f"{number}-delivered", "type": "delivered",
               "time": rfc3339(left)}


def send(daemon, flights):
    """Sends them out of order; returns what the client said."""
    events = list(to_events(flights))
    random.Random(14).shuffle(events)
    path = os.path.join(daemon.folder, "flights.ndjson")
    with open(path, "w") as out:
        out.writelines(json.dumps(event) + "\n" for event in events)
    return daemon.run("send", path, "--complete-through", "2001-04-30T00:00:00Z", check=0)[1]


# ---- counts ----------------------------------------------------------------------------------

def count(flights):
    """(flights, late ones) by lane, straight from the records."""
    lanes = {}
    for flight in flights:
        total, late = lanes.get(lane_of(flight), (0, 0))
        lanes[lane_of(flight)] = (total + 1, late + is_late(flight))
    return lanes


def every_lane_counts_what_the_records_say():
    flights = fetch()
    if isinstance(flights, str):
        return flights
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            sent = send(daemon, flights)
            lanes = daemon.ask("lanes", "--as-of", AS_OF)["scores"]
        finally:
            daemon.stop()
    ours = {score["name"].removeprefix("lanes/"):
            (int(score["onTime"]["orderCount"]), int(score["onTime"]["hitCount"]))
            for score in lanes}
    expected = count(flights)
    assert len(expected) > 2000, len(expected)
    wrong = [(lane, ours.get(lane), expected[lane]) for lane in expected
             if ours.get(lane) != expected[lane]]
    assert not wrong and len(ours) == len(expected), (len(wrong), wrong[:5])
    late = sum(late for _, late in expected.values())
    print(f"{len(flights)} flights, {len(expected)} lanes, {late} late: all equal; "
          f"{sent.splitlines()[0]}")


# ---- forecasts -------------------------------------------------------------------------------

def the_backtest_knows_what_a_prior_is_worth():
    """The simple ways lose what plain counting says they lose. Half-life 30 d loses no more than
    0.001 above a lane's lifetime with the prior, and at least 0.05 less than its lifetime alone:
    reckoned with numpy before there was any code here, with knowledge up to the day before, the
    three were .5400, .5401 and .6053."""
    flights = fetch()
    if isinstance(flights, str):
        return flights
    orders = [(lane_of(flight), times_of(flight)[1].toordinal(), is_late(flight))
              for flight in flights]
    forecast, expected = simple_forecasts(orders, days_ahead=0)
    for kind, (log_loss, brier) in expected.items():
        print(f"{kind}: log loss {log_loss:.5f}, Brier score {brier:.5f}")
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            send(daemon, flights)
            answer = daemon.ask("backtest", "--as-of", AS_OF, "--days-ahead", "0",
                                "--half-life", "7", "--half-life", "30")
        finally:
            daemon.stop()
    due = [datetime.date.fromordinal(day).isoformat() for _, day, _ in forecast]
    ours = (int(answer["orderCount"]), int(answer["lateCount"]), answer["firstDueDate"],
            answer["lastDueDate"])
    assert ours == (len(forecast), sum(late for _, _, late in forecast), min(due), max(due)), ours
    losses = {}
    for way in answer["forecasters"]:
        days = float(way["halfLife"].rstrip("s")) / 86400 if "halfLife" in way else None
        losses[way["kind"], days] = way["logLoss"]
        print(f"{way['kind']} {days or ''}: log loss {way['logLoss']:.5f}")
        for name, theirs in zip(("logLoss", "brier"), expected.get(way["kind"], ())):
            assert abs(way[name] - theirs) <= 1e-9, (way["kind"], name, way[name], theirs)
    assert all((kind, None) in losses for kind in expected), losses
    decayed = losses["KIND_HALF_LIFE", 30]
    assert decayed <= losses["KIND_LIFETIME", None] + 0.001, losses
    assert decayed <= losses["KIND_LIFETIME_ALONE", None] - 0.05, losses


if __name__ == "__main__":
    main([every_lane_counts_what_the_records_say, the_backtest_knows_what_a_prior_is_worth])
