"""Event files to orders: repeats dropped, parcels found, retractions applied, times settled."""

import csv
import json
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from days import is_bare_date, parse_instant, start_of_date_in

EVENT_FILES = ("harbour.ndjson", "meadow.csv", "carriers.ndjson", "mondays.csv")
EVENT_TYPES = ("paid", "shipped", "delivered", "disputed", "answered", "refunded", "cancelled")


def read_lines(path: Path) -> list[dict]:
    """The lines of an event file; a field that is absent or empty is not in the result."""
    with path.open(encoding="utf-8", newline="") as file:
        if path.suffix == ".csv":
            lines = list(csv.DictReader(file))
        else:
            lines = [json.loads(line) for line in file]
    return [{name: value for name, value in line.items() if value != ""} for line in lines]


@dataclass
class Order:
    """All that was sent about one order, less repeats and what was taken back."""
    shop: str
    order_id: str
    part: int
    events: list[dict] = field(default_factory=list)    # by time, then source, then id
    is_forgiven: bool = False                           # by an `excuse`

    def of_type(self, *types: str) -> list[dict]:
        return [event for event in self.events if event["type"] in types]

    def first_time(self, *types: str) -> int | None:
        events = self.of_type(*types)
        return events[0]["instant"] if events else None

    def fact(self, name: str):
        """From the earliest event that states it."""
        return first_stated(self.events, name)

    @property
    def supplier(self):
        return self.fact("supplier")

    @property
    def lane(self) -> str:
        return f"{self.fact('origin')}-{self.fact('destination')}"

    @property
    def service(self) -> str:
        return self.fact("service") or "-"

    @property
    def is_known(self) -> bool:
        return None not in (self.supplier, self.fact("origin"), self.fact("destination"))


def first_stated(events: list[dict], name: str):
    return next((event[name] for event in events if name in event), None)


@dataclass
class Reading:
    orders: list[Order]
    delivering_sources: set[str]
    line_count: int
    repeated_count: int
    taken_back_count: int


def read_orders(folder: Path) -> Reading:
    lines = [line for name in EVENT_FILES for line in read_lines(folder / name)]

    order_of_parcel = {}
    for line in lines:
        if line["type"] == "shipped" and "tracking" in line:
            order_of_parcel[line["tracking"]] = (line["shop"], line["order_id"],
                                                 int(line.get("part", 1)))
    orders = {}
    taken = {}
    repeated = 0
    for line in lines:
        if "order_id" in line:
            key = (line["shop"], line["order_id"], int(line.get("part", 1)))
        else:
            key = order_of_parcel[line["tracking"]]
        identity = (key, line["source"], line["event_id"])
        if identity in taken:
            assert taken[identity] == line, f"{identity} came twice with different content"
            repeated += 1
            continue
        taken[identity] = line
        orders.setdefault(key, Order(*key)).events.append(line)

    taken_back = 0
    for order in orders.values():
        taken_back += take_back(order)
        settle_times(order)
    delivering = {line["source"] for line in lines if line["type"] == "delivered"}
    return Reading([orders[key] for key in sorted(orders)], delivering, len(lines), repeated,
                   taken_back)


def take_back(order: Order) -> int:
    """Retracted is as if never sent, whichever of the two came first. Says how many are gone."""
    gone = {(event["source"], event["retracts"]) for event in order.of_type("retracted")}
    sent = order.of_type(*EVENT_TYPES)
    order.events = [event for event in sent if (event["source"], event["event_id"]) not in gone]
    return len(sent) - len(order.events)


def settle_times(order: Order) -> None:
    """Gives each event its `instant` and puts them in order; bare dates need the destination."""
    for event in order.events:
        if not is_bare_date(event["time"]):
            event["instant"] = parse_instant(event["time"])
    timed = sorted((event for event in order.events if "instant" in event), key=event_order)
    destination = first_stated(timed, "destination")
    for event in order.events:
        if is_bare_date(event["time"]):
            event["instant"] = start_of_date_in(date.fromisoformat(event["time"]), destination)
    order.events.sort(key=event_order)


def event_order(event: dict):
    return event["instant"], event["source"], event["event_id"]
