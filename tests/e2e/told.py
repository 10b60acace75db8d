"""Orders made day by day, sent to a daemon, and what it has told of alerts once it has seen them.

The daemon looks for news in the background, about once a second. To know that it has seen what was
sent, a bell is rung: an unsafe item reported of a supplier that nobody else has. Its alert is told
in the same step as whatever else was to be told by then, and of all watched it is the last.
"""
import datetime
import json
import os
import random
import subprocess
import threading

from harness import BIN, Daemon, Folder, wait_for

START = datetime.date(2026, 1, 5)


def day_text(day):
    return (START + datetime.timedelta(days=day)).isoformat()


def at(day, hour=12.0):
    seconds = round(hour * 3600)
    return f"{day_text(day)}T{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}Z"


def event(order, kind, time, **facts):
    return {"event_id": f"{order}-{kind}", "source": "test", "shop": "harbour", "order_id": order,
            "type": kind, "time": time, **facts}


def paid(order, day, supplier, lane, promise_days=10, hour=6.0, **facts):
    origin, destination = lane.split("-")
    return event(order, "paid", at(day, hour), supplier=supplier, origin=origin,
                 destination=destination, promise_days=promise_days, **facts)


def retracted(what, time):
    return {**event(what["order_id"], "retracted", time),
            "event_id": what["event_id"] + "-taken-back", "retracts": what["event_id"]}


def corrected(what, time):
    """What takes an event back and says it again with another time."""
    return [retracted(what, what["time"]),
            {**what, "event_id": what["event_id"] + "-corrected", "time": time}]


class Told:
    """A daemon on which orders are tried; settings are TOML."""

    def __init__(self, settings=""):
        self.folder, self.settings, self.bells, self.files = Folder(), settings, 0, 0

    def __enter__(self):
        path = self.folder.__enter__()
        flags = []
        if self.settings:
            flags = ["--config", os.path.join(path, "settings.toml")]
            with open(flags[1], "w") as file:
                file.write(self.settings)
        self.daemon = Daemon(path, *flags).start()
        return self

    def __exit__(self, *_):
        if self.daemon.process.poll() is None:
            self.daemon.stop()
        self.folder.__exit__()

    def send(self, events):
        self.files += 1
        path = os.path.join(self.daemon.folder, f"{self.files}.ndjson")
        with open(path, "w") as file:
            file.writelines(json.dumps(one) + "\n" for one in events)
        self.daemon.run("send", path, check=0)

    def ring(self, day):
        """Returns when all that was sent is seen. Nothing sent may be later than noon of the day,
        or the bell would not be the latest event."""
        self.bells += 1
        name = f"zz-bell-{self.bells}"
        self.send(bell(self.bells, day))
        assert wait_for(lambda: self.listed("--supplier", name)), "nothing is told any more"

    def tell(self, events, day):
        self.send(events)
        self.ring(day)

    def listed(self, *flags):
        return [one for one in json.loads(self.daemon.run("alerts", "--all", *flags, "--json")[1])
                .get("alerts", [])]

    def alerts(self, measure="", **watched):
        """Those listed of a lane ("VN-DE"), supplier or measure, without the bells."""
        return [one for one in self.listed() if is_of(one, measure, **watched)]

    def notices(self, after):
        """All notices after a cursor, until the last bell's."""
        last = f"zz-bell-{self.bells}"
        with subprocess.Popen([os.path.join(BIN, "plumblane"), "--server", self.daemon.address,
                               "alerts", "watch", "--after", str(after), "--json"],
                              stdout=subprocess.PIPE, text=True) as watch:
            too_long = threading.Timer(60, watch.kill)
            too_long.start()
            found = []
            for line in watch.stdout:
                found.append(json.loads(line))
                if found[-1]["alert"]["watched"].get("supplierId") == last:
                    break
            else:
                raise AssertionError(f"the notices ended before that of {last}")
            too_long.cancel()
            watch.kill()
        return found


def bell(number, day):
    """Two events at noon."""
    order = f"zz-bell-{number}"
    return [paid(order, day, order, "PL-IE", 0, hour=12.0),
            event(order, "disputed", at(day), reason="unsafe")]


def is_of(alert, measure="", supplier="", lane=""):
    watched = alert["watched"]
    ends = watched.get("lane") or {}
    return ((not measure or watched["measure"] == measure)
            and (not supplier or watched.get("supplierId", "") == supplier)
            and (not lane or f"{ends.get('origin', '')}-{ends.get('destination', '')}" == lane)
            and not watched.get("supplierId", "").startswith("zz-bell-"))


class Trade:
    """Three suppliers, some nine orders a day: paid at 6, shipped one or two days later, promised
    in ten days and late one in twelve. `events[day]` is what happened on each day."""

    def __init__(self, seed, days, worse=("lotus", 120, 150), stops=("copper", 170),
                 gone=("", 0)):
        """`worse`: two in five are late of what is promised for these days. `stops`: nothing is
        shipped from a day on. `gone`: nothing at all is heard from a day on."""
        self.days, self.events = days, {day: [] for day in range(days)}
        rng = random.Random(seed)
        for day in range(days):
            for supplier, lanes in (("amber", ("PL-SE", "PL-IE")), ("copper", ("TR-DE",)),
                                    ("lotus", ("VN-DE", "VN-SE"))):
                for number in range(rng.randint(1, 5)):
                    self.order(f"{supplier}-{day}-{number}", day, supplier, rng.choice(lanes),
                               rng, worse, stops, gone)

    def order(self, order, day, supplier, lane, rng, worse, stops, gone):
        worsened = supplier == worse[0] and worse[1] <= day + 10 < worse[2]
        late = rng.random() < (0.4 if worsened else 1 / 12)
        shipped = day + rng.randint(1, 2)
        arrived = day + 11 + rng.randint(0, 5) if late else day + rng.randint(6, 10)
        until = gone[1] if supplier == gone[0] else self.days
        if day >= until:
            return
        self.add(day, paid(order, day, supplier, lane))
        if shipped >= (stops[1] if supplier == stops[0] else until):
            return
        self.add(shipped, event(order, "shipped", at(shipped, 7 + 2 * rng.random())))
        if arrived < until:
            self.add(arrived, event(order, "delivered", at(arrived, 9 + 2 * rng.random())))

    def add(self, day, one):
        if day in self.events:
            self.events[day].append(one)

    def between(self, first, last):
        """Of the days from first up to before last."""
        return [one for day in range(first, last) for one in self.events[day]]
