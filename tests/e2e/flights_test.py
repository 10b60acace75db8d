"""Real records that nobody here wrote: every lane's counts equal counts made straight from them.

The flight records of the npm package vega-datasets (20,000 flights, January to March 2001, from US
Department of Transportation on-time reports). A flight is an order of one supplier on the lane
origin-destination: promised 15 minutes after schedule less a millisecond, because a flight counts
as on time when it is less than 15 minutes late (14 CFR 234). The package is fetched through the
package registry and kept nowhere; without it the test is skipped.
"""
import datetime
import json
import os
import random
import subprocess
import tarfile

from harness import Daemon, Folder, main

PACKAGE = "vega-datasets@3.2.1"
LATE_FROM = datetime.timedelta(minutes=15)
MILLISECOND = datetime.timedelta(milliseconds=1)


def fetch(folder):
    """The flight records, or a text saying why not."""
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


def to_events(flights):
    """Three events a flight. The records give local departure and delay; taken as UTC, since only
    differences count."""
    for number, flight in enumerate(flights):
        left = datetime.datetime.fromisoformat(flight["date"].replace("/", "-"))
        scheduled = left - datetime.timedelta(minutes=flight["delay"])
        order = {"order_id": f"flight-{number}", "source": "flights"}
        yield {**order, "event_id": f"{number}-paid", "type": "paid",
               "time": rfc3339(scheduled - datetime.timedelta(days=1)), "supplier": "airlines",
               "origin": flight["origin"], "destination": flight["destination"],
               "promise": rfc3339(scheduled + LATE_FROM - MILLISECOND)}
        yield {**order, "event_id": f"{number}-delivered", "type": "delivered",
               "time": rfc3339(left)}


def count(flights):
    """(flights, late ones) by lane, straight from the records."""
    lanes = {}
    for flight in flights:
        lane = f"{flight['origin']}-{flight['destination']}"
        total, late = lanes.get(lane, (0, 0))
        lanes[lane] = (total + 1, late + (flight["delay"] >= 15))
    return lanes


def every_lane_counts_what_the_records_say():
    with Folder() as folder:
        flights = fetch(folder)
        if isinstance(flights, str):
            return flights
        events = list(to_events(flights))
        random.Random(14).shuffle(events)
        path = os.path.join(folder, "flights.ndjson")
        with open(path, "w") as out:
            out.writelines(json.dumps(event) + "\n" for event in events)
        daemon = Daemon(folder).start()
        try:
            sent = daemon.run("send", path, "--complete-through", "2001-04-30T00:00:00Z", check=0)[1]
            lanes = daemon.ask("lanes", "--as-of", "2001-05-01")["scores"]
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
        print(f"{len(flights)} flights, {len(expected)} lanes, {late} late: all equal; {sent.splitlines()[0]}")


if __name__ == "__main__":
    main([every_lane_counts_what_the_records_say])
