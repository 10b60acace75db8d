#!/usr/bin/env python3
"""Writes the invented season: generate.py OUT_DIR

Nine months of orders of two shops, as the four feeds and two small lists that a person would
have: see README.md beside them. Every run writes the same bytes; each order draws from a
stream of its own, so tuning one supplier leaves what befalls the others' orders as it was.

This program knows nothing of how orders are scored: naive.py, beside it, does.
"""

import csv
import json
import random
import sys
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

from plans import DAY_MS, HOUR_MS, ITEMS, PLANS, STRIKE, SUPPLIERS, Plan, Spread, Supplier

SEASON = "season-2026"              # names every stream of dice: another name, another season
FIRST_ORDER_NUMBER = 1001
PERIODIC_SUPPLIER = "amber-gate"        # tracked by the Monday file, all others by carriers
HOME_ZONE = ZoneInfo("Europe/Berlin")   # where both shops sit
DESTINATION_ZONES = {"DE": ZoneInfo("Europe/Berlin"), "SE": ZoneInfo("Europe/Stockholm"),
                     "IE": ZoneInfo("Europe/Dublin"), "NZ": ZoneInfo("Pacific/Auckland")}

EVENT_COLUMNS = ("event_id source shop order_id part type time supplier origin destination "
                 "service promise promise_days item units cost sale currency replaces refund by "
                 "claim reason retracts").split()
MONDAY_COLUMNS = "event_id source shop order_id type time tracking".split()
EXCUSE_COLUMNS = "lane first_due last_due order_id shop part reason".split()
INTEGER_FIELDS = {"part", "units", "promise_days", "replaces"}


def instant(text: str) -> int:
    """Milliseconds since 1970 of an RFC 3339 time."""
    return round(datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp() * 1000)


def midnight(day: str) -> int:
    return instant(day + "T00:00:00Z")


def utc(ms: int) -> datetime:
    return datetime.fromtimestamp(ms // 1000, timezone.utc) + timedelta(milliseconds=ms % 1000)


SEASON_END = midnight("2026-10-01") - 1000      # the last moment of which any feed knows
LAST_MONDAY = midnight("2026-09-28")


class Dice:
    """Draws of one order; only `.random()` is used, which no Python version changes."""

    def __init__(self, name: str):
        self._random = random.Random(f"{SEASON}/{name}").random

    def chance(self, share: float) -> bool:
        return self._random() < share

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self._random()

    def pick(self, choices):
        return choices[int(self._random() * len(choices))]

    def spread(self, table: Spread) -> float:
        """A value of a quantile table, see plans.py."""
        shares = (0.0, 0.25, 0.5, 0.75, 0.9, 1.0)
        u = self._random()
        for i in range(5):
            if u < shares[i + 1]:
                part = (u - shares[i]) / (shares[i + 1] - shares[i])
                return table[i] + (table[i + 1] - table[i]) * part
        return table[5]

    def growing(self) -> float:
        """In [0, 1), a little more often late than early: the shops grow."""
        u = self._random()
        return max(u, self._random()) if self.chance(0.2) else u


@dataclass
class Event:
    """One line to be: `fields` is written, the rest says where and when."""
    source: str
    time: int
    fields: dict
    recorded: int = 0       # when the line was written: feeds are in this order, not by time
    is_day_only: bool = False


@dataclass
class Order:
    plan: Plan
    supplier: Supplier
    dice: Dice
    shop: str
    paid: int
    number: str = ""
    part: int = 1
    tracking: str = ""
    item: str = ""
    units: int = 1
    cost: int = 0
    sale: int = 0
    events: list[Event] = field(default_factory=list)
    ids: dict[str, int] = field(default_factory=dict)

    def add(self, source: str, kind: str, time: int, **fields) -> Event:
        """One event more; ids read like `1044-2-disputed` (order, part if not 1, kind)."""
        stem = self.number if self.part == 1 else f"{self.number}-{self.part}"
        if not source.endswith("-export"):
            stem = f"{self.shop[0]}{stem}"      # one feed for both shops: say whose number it is
        stem = f"{stem}-{kind}"
        seen = self.ids[stem] = self.ids.get(stem, 0) + 1
        event_id = stem if seen == 1 else f"{stem}-{seen}"
        head = {"event_id": event_id, "source": source, "shop": self.shop,
                "order_id": self.number}
        if self.part != 1:
            head["part"] = self.part
        event = Event(source, time, head | {"type": kind} | fields)
        event.recorded = time
        if source != "mondays":                 # whose week is late enough
            event.recorded += int(self.dice.between(0, 6) * HOUR_MS)
            if self.dice.chance(0.03):
                event.recorded += int(self.dice.spread((1, 3, 6, 10, 16, 24)) * DAY_MS)
        self.events.append(event)
        return event

    def tell(self, kind: str, time: int, **fields) -> Event:
        """An event that the shop itself knows."""
        return self.add(f"{self.shop}-export", kind, time, **fields)

    @property
    def carrier(self) -> str:
        return "mondays" if self.supplier.id == PERIODIC_SUPPLIER else "carriers"

    @property
    def promised_date(self) -> date:
        """The promised day at the destination."""
        local = utc(self.paid).astimezone(DESTINATION_ZONES[self.plan.destination])
        return local.date() + timedelta(days=self.plan.promise_days)

    @property
    def promised(self) -> int:
        """The end of that day, near enough: only used to decide what people do."""
        return midnight(self.promised_date.isoformat()) + 22 * HOUR_MS

    @property
    def is_struck(self) -> bool:
        lane, first, last, _ = STRIKE
        return self.plan.lane == lane and first <= self.promised_date.isoformat() <= last


# ---- orders and what becomes of them ---------------------------------------------------------

def make_orders() -> list[Order]:
    """All orders of the plans, numbered per shop in the order in which they were paid."""
    orders = []
    for plan in PLANS:
        first = midnight(plan.first_day)
        days = (midnight(plan.last_day) - first) // DAY_MS + 1
        for k in range(plan.order_count):
            dice = Dice(f"{plan.supplier}/{plan.lane}/{plan.service}/{k}")
            day = int(dice.growing() * days)
            paid = first + day * DAY_MS + int(dice.between(5, 21) * HOUR_MS)
            shop = "harbour" if dice.chance(0.55) else "meadow"
            order = Order(plan, SUPPLIERS[plan.supplier], dice, shop, paid)
            item, price = dice.pick(ITEMS)
            order.item, order.units = item, dice.pick((1, 1, 1, 1, 2, 2, 3))
            order.cost = price * order.units * order.supplier.cost_percent // 100
            order.sale = price * order.units
            orders.append(order)
    orders.sort(key=lambda order: order.paid)
    numbers = {"harbour": FIRST_ORDER_NUMBER, "meadow": FIRST_ORDER_NUMBER}
    parcels = {supplier: 0 for supplier in SUPPLIERS}
    for order in orders:
        order.number = str(numbers[order.shop])
        numbers[order.shop] += 1
        parcels[order.supplier.id] += 1
        order.tracking = f"{order.supplier.tracking_prefix}{parcels[order.supplier.id]:07d}"
    return orders


def money(cents: int) -> str:
    return f"{cents // 100}.{cents % 100:02d}"


def pay(order: Order) -> bool:
    """The `paid` line; says whether it carries a promise."""
    plan = order.plan
    fields = {"supplier": plan.supplier, "origin": plan.origin, "destination": plan.destination}
    if plan.service:
        fields["service"] = plan.service
    has_promise = not order.dice.chance(0.025)
    if has_promise and order.shop == "meadow":
        fields["promise"] = order.promised_date.isoformat()
    elif has_promise and order.dice.chance(0.15):
        # Some promise an hour, not a day.
        zone = DESTINATION_ZONES[plan.destination]
        hour = datetime.combine(order.promised_date, datetime.min.time(), zone).replace(hour=20)
        fields["promise"] = hour.isoformat()
    elif has_promise:
        fields["promise_days"] = plan.promise_days
    fields |= {"item": order.item, "units": order.units, "cost": money(order.cost)}
    if order.part == 1:
        fields["sale"] = money(order.sale)
    fields["currency"] = order.supplier.currency
    if order.part > 1:
        fields["replaces"] = 1
    order.tell("paid", order.paid, **fields)
    return has_promise


def handling_ms(order: Order) -> int:
    supplier = order.supplier
    wait = order.dice.spread(supplier.handling_hours) * HOUR_MS
    if supplier.slips_from and order.paid >= midnight(supplier.slips_from):
        wait += order.dice.spread(supplier.slip_days) * DAY_MS
    return int(wait)


def arrival(order: Order, shipped: int) -> int:
    """When the parcel is handed over: by day, and never on a Sunday."""
    transit = order.dice.spread(order.plan.transit_days)
    if order.is_struck:
        transit += order.dice.between(3, 9)
    arrived = shipped + int(transit * DAY_MS)
    day = arrived // DAY_MS
    if day % 7 == 3:                            # 1970-01-01, day 0, was a Thursday
        day += 1
    at = day * DAY_MS + int(order.dice.between(7, 18) * HOUR_MS)
    return max(at, shipped + 2 * HOUR_MS)


def live(order: Order) -> list[Order]:
    """Everything that happens to one order; returns the orders that replace it."""
    dice, supplier = order.dice, order.supplier
    has_promise = pay(order)
    shipped = order.paid + handling_ms(order)

    if dice.chance(supplier.out_of_stock_share):
        at = order.paid + int(dice.between(10, 70) * HOUR_MS)
        order.tell("cancelled", at, reason="out_of_stock")
        refund(order, at + int(dice.between(1, 60) * HOUR_MS), order.cost, "out_of_stock")
        return []
    if dice.chance(0.013):
        return change_of_mind(order, shipped)
    if shipped - order.paid > 5 * DAY_MS and dice.chance(0.10):
        # Nothing has left for days: the shop gives up.
        at = order.paid + int((shipped - order.paid) * dice.between(0.7, 0.98))
        order.tell("cancelled", at, reason="late")
        refund(order, at + int(dice.between(4, 90) * HOUR_MS), order.cost, None)
        return []
    return send_parcel(order, shipped, has_promise)


def change_of_mind(order: Order, shipped: int) -> list[Order]:
    """The customer wants it no more, before it has left; some parcels leave all the same."""
    dice = order.dice
    at = order.paid + int((shipped - order.paid) * dice.between(0.1, 0.8))
    order.tell("cancelled", at, reason="changed_mind")
    if dice.chance(0.08):
        return send_parcel(order, shipped, True)
    if dice.chance(0.12):
        # Changed back again: the cancellation is taken back and the order goes on.
        order.tell("retracted", at + int(dice.between(0.2, 1) * HOUR_MS),
                   retracts=order.events[-1].fields["event_id"])
        return send_parcel(order, shipped, True)
    if dice.chance(0.8):
        refund(order, at + int(dice.between(2, 70) * HOUR_MS), order.cost, "changed_mind")
    return []


def send_parcel(order: Order, shipped: int, has_promise: bool) -> list[Order]:
    dice = order.dice
    arrived = arrival(order, shipped)
    ship(order, shipped, has_promise)

    if dice.chance(0.006):
        return undeliverable(order, arrived)
    if dice.chance(order.supplier.lost_share):
        if dice.chance(0.6):
            at = order.promised + int(dice.between(6, 20) * DAY_MS)
            return dispute(order, at, "lost")
        return []                               # nobody says anything
    deliver(order, shipped, arrived)
    return after_delivery(order, shipped, arrived)


def ship(order: Order, shipped: int, has_promise: bool) -> None:
    dice = order.dice
    if dice.chance(0.01) and order.carrier == "carriers":
        return                                  # the first scan was missed
    if dice.chance(0.001):
        shipped = order.paid - int(dice.between(0.5, 3) * HOUR_MS)      # a clock that is wrong
    fields = {"tracking": order.tracking}
    if order.carrier == "carriers" and dice.chance(0.06 if not has_promise else 0.002):
        # The carrier names an hour of its own: it counts only where nobody has promised one.
        fields["promise"] = time_text("carriers", order.promised + DAY_MS)
    order.add(order.carrier, "shipped", shipped, **fields)
    if dice.chance(0.001):
        order.tell("cancelled", shipped + 8 * HOUR_MS, reason="changed_mind")     # too late


def hand_over(order: Order, at: int) -> Event:
    """The `delivered` line; the Monday file names the parcel only."""
    if order.carrier == "carriers":
        return order.add("carriers", "delivered", at)
    event = order.add("mondays", "delivered", at, tracking=order.tracking)
    del event.fields["shop"], event.fields["order_id"]
    return event


def deliver(order: Order, shipped: int, arrived: int) -> None:
    dice = order.dice
    if order.carrier == "mondays":
        event = hand_over(order, arrived)
        if dice.chance(0.012) and arrived - shipped > 2 * DAY_MS:
            event.is_day_only = True
        return
    if dice.chance(0.006):
        mistaken_delivery(order, shipped, arrived)
        return
    hand_over(order, arrived)
    if dice.chance(0.006):                      # a second parcel: the first one counts
        hand_over(order, arrived + int(dice.between(0.5, 4) * DAY_MS))


def mistaken_delivery(order: Order, shipped: int, arrived: int) -> None:
    """Reported, taken back, and reported again once it is true."""
    dice = order.dice
    wrong = hand_over(order, (shipped + arrived) // 2)
    order.add("carriers", "retracted", arrived - 1 * HOUR_MS,
              retracts=wrong.fields["event_id"])
    late = arrived + int(dice.between(0, 3) * DAY_MS)
    hand_over(order, late)
    if dice.chance(0.3):
        wrong.recorded = late + 2 * DAY_MS      # what is taken back comes after the taking back


def undeliverable(order: Order, arrived: int) -> list[Order]:
    """The customer's doing: a wrong address, or the parcel refused at the door."""
    dice = order.dice
    reason = dice.pick(("wrong_address", "refused"))
    at = max(arrived, order.promised) + int(dice.between(0.5, 4) * DAY_MS)
    if reason == "wrong_address" and dice.chance(0.6):
        hand_over(order, at + int(dice.between(2, 6) * DAY_MS))
    if dice.chance(0.3):
        refund(order, at, order.sale // 2, reason, by="shop")
        return []
    return dispute(order, at, reason)


def after_delivery(order: Order, shipped: int, arrived: int) -> list[Order]:
    dice, supplier = order.dice, order.supplier
    days_late = (arrived - order.promised) / DAY_MS
    if days_late > 2 and dice.chance(0.35):
        at = order.promised + int(dice.between(1, 4) * DAY_MS)
        return dispute(order, at, "late" if at > arrived else "not_received")
    if order.part == 1 and dice.chance(supplier.defect_share):
        at = arrived + int(dice.spread((0.1, 1, 2.5, 5, 11, 34)) * DAY_MS)
        if dice.chance(0.1):                    # settled with the customer, never claimed
            refund(order, at, order.sale // 3, dice.pick(supplier.defect_reasons), by="shop")
            return []
        return dispute(order, at, dice.pick(supplier.defect_reasons))
    if dice.chance(0.012):                      # sent back, kindly or by law
        at = arrived + int(dice.between(2, 13) * DAY_MS)
        refund(order, at, order.sale, dice.pick(("changed_mind", None, "other")), by="shop")
    elif dice.chance(0.004):
        return dispute(order, arrived + int(dice.between(1, 6) * DAY_MS),
                       dice.pick(("customs", "other")))
    return []


def refund(order: Order, at: int, cents: int, reason: str | None, by: str = "supplier") -> None:
    fields = {"refund": money(cents), "currency": order.supplier.currency}
    if by == "shop" or order.dice.chance(0.7):          # left out, it is the supplier's
        fields["by"] = by
    if reason:
        fields["reason"] = reason
    order.tell("refunded", at, **fields)


def dispute(order: Order, at: int, reason: str) -> list[Order]:
    """A claim to the supplier, and how it ends."""
    dice, supplier = order.dice, order.supplier
    claim = order.cost if reason in ("lost", "wrong_item") else order.cost * 6 // 10
    claimed = order.tell("disputed", at, claim=money(claim), currency=supplier.currency,
                         reason=reason)
    if dice.chance(0.02):
        order.tell("retracted", at + int(dice.between(2, 30) * HOUR_MS),
                   retracts=claimed.fields["event_id"])
        return []
    if dice.chance(0.06):                       # asked again; the first asking counts
        order.tell("disputed", at + 3 * DAY_MS, claim=money(claim), currency=supplier.currency,
                   reason=reason)
    if dice.chance(0.12):
        refund(order, at + int(dice.between(1, 8) * DAY_MS), order.sale // 2, reason, by="shop")
    if not dice.chance(supplier.answer_share):
        return []
    answered = at + int(dice.spread(supplier.answer_hours) * HOUR_MS)
    if dice.chance(supplier.machine_answer_share):
        answered = at + 20_000
    if dice.chance(0.15):                       # money without a word
        refund(order, answered, claim, reason)
        return []
    order.tell("answered", answered)
    if reason in ("damaged", "wrong_item", "missing_part") and dice.chance(0.35) \
            and order.part == 1 and order.carrier == "carriers":
        return [replacement(order, answered + int(dice.between(2, 30) * HOUR_MS))]
    if dice.chance(supplier.refund_share):
        share = dice.pick((100, 100, 60, 40, 30))
        refund(order, answered + int(dice.between(1, 90) * HOUR_MS), claim * share // 100, reason)
    return []


def replacement(first: Order, at: int) -> Order:
    """The goods sent again: part 2, for the freight alone."""
    dice = Dice(f"{first.shop}/{first.number}/2")
    return Order(first.plan, first.supplier, dice, first.shop, at, number=first.number, part=2,
                 tracking=first.tracking + "-2", item=first.item, units=first.units, cost=490,
                 sale=first.sale)


# ---- hand-made lines -------------------------------------------------------------------------

def leftovers(shop: str, number: str, day: str) -> list[Event]:
    """A parcel of an order from before the season: nobody ever tells whose it was."""
    order = Order(PLANS[0], SUPPLIERS["lotus-works"], Dice(f"leftover/{shop}/{number}"), shop,
                  midnight(day), number=number)
    order.add("carriers", "delivered", midnight(day) + 11 * HOUR_MS)
    return order.events


def unsafe_report(orders: list[Order]) -> None:
    """One report of unsafe goods, of a saffron-depot order delivered in the summer."""
    for order in orders:
        kinds = [event.fields["type"] for event in order.events]
        if order.supplier.id == "saffron-depot" and order.paid > midnight("2026-08-05") \
                and kinds == ["paid", "shipped", "delivered"]:
            order.tell("disputed", order.events[-1].time + 3 * DAY_MS, claim=money(order.cost),
                       currency=order.supplier.currency, reason="unsafe")
            return


def forgiven_order(orders: list[Order]) -> Order:
    """The first copper-ferry order of July that came late without a word: excused by hand."""
    for order in orders:
        kinds = [event.fields["type"] for event in order.events]
        if order.supplier.id == "copper-ferry" and order.paid > midnight("2026-07-01") \
                and kinds == ["paid", "shipped", "delivered"] \
                and order.events[-1].time > order.promised + DAY_MS:
            return order
    raise LookupError("no late order to forgive")


# ---- files -----------------------------------------------------------------------------------

def time_text(source: str, time: int) -> str:
    """Each feed writes time in its own way."""
    moment = utc(time)
    if source == "meadow-export":
        return moment.astimezone(HOME_ZONE).isoformat(timespec="seconds")
    precision = "milliseconds" if source == "harbour-export" else "seconds"
    return moment.isoformat(timespec=precision).replace("+00:00", "Z")


def by_monday(event: Event) -> int:
    """The day of the Monday file that brings the event: the first Monday after it."""
    day = event.recorded // DAY_MS
    return day + 1 + (3 - day) % 7              # 1970-01-01, day 0, was a Thursday


def lines_of(source: str, events: list[Event]) -> list[dict]:
    """What one feed says, in the order in which it says it, some of it twice."""
    last = LAST_MONDAY if source == "mondays" else SEASON_END
    known = [event for event in events if event.source == source and event.time <= last]
    if source == "mondays":
        # One file a week, by parcel: not by time at all.
        known.sort(key=lambda event: (by_monday(event), event.fields["tracking"], event.time))
    else:
        known.sort(key=lambda event: (event.recorded, event.fields["event_id"]))
    dice = Dice(f"repeats/{source}")
    lines, repeats = [], []
    for event in known:
        text = time_text(source, event.time)
        if event.is_day_only:
            text = text[:len("2026-01-01")]
        line = {}
        for name, value in event.fields.items():
            line[name] = value if name in INTEGER_FIELDS else str(value)
            if name == "type":
                line["time"] = text
        lines.append(line)
        if dice.chance(0.004):
            repeats.append((len(lines) + int(dice.between(1, 60)), line))
    for position, line in reversed(repeats):
        lines.insert(min(position, len(lines)), dict(line))
    return lines


def write_ndjson(path: Path, lines: list[dict]) -> None:
    with path.open("w", encoding="utf-8", newline="\n") as out:
        for line in lines:
            out.write(json.dumps(line, separators=(",", ":")) + "\n")


def write_csv(path: Path, columns: list[str], lines: list[dict]) -> None:
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(lines)


def main() -> None:
    if len(sys.argv) != 2:
        sys.exit("usage: generate.py OUT_DIR")
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)

    orders = make_orders()
    sent_again = []
    for order in orders:
        sent_again += live(order)
    for order in sent_again:
        live(order)
    unsafe_report(orders)
    forgiven = forgiven_order(orders)

    events = [event for order in orders + sent_again for event in order.events]
    for shop, number, day in (("harbour", "987", "2026-01-02"), ("harbour", "991", "2026-01-05"),
                              ("meadow", "995", "2026-01-03")):
        events += leftovers(shop, number, day)

    write_ndjson(out / "harbour.ndjson", lines_of("harbour-export", events))
    write_csv(out / "meadow.csv", EVENT_COLUMNS, lines_of("meadow-export", events))
    write_ndjson(out / "carriers.ndjson", lines_of("carriers", events))
    write_csv(out / "mondays.csv", MONDAY_COLUMNS, lines_of("mondays", events))

    lane, first_due, last_due, reason = STRIKE
    write_csv(out / "excuses.csv", EXCUSE_COLUMNS, [
        {"lane": lane, "first_due": first_due, "last_due": last_due, "reason": reason},
        {"order_id": forgiven.number, "shop": forgiven.shop, "part": forgiven.part,
         "reason": "label was ours and wrong"}])
    complete = {"harbour-export": "2026-10-01", "meadow-export": "2026-10-01",
                "carriers": "2026-10-01", "mondays": "2026-09-28"}
    write_csv(out / "sources.csv", ["source", "complete_through"], [
        {"source": source, "complete_through": day + "T00:00:00Z"}
        for source, day in complete.items()])


if __name__ == "__main__":
    main()
