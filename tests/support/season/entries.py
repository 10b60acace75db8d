"""What one order says in each measure: the rules, one small function for each.

Reading order: the facts of an order, its entries in the measures, all of it together.
"""

from dataclasses import dataclass
from datetime import date

from days import (date_text, day_of, end_of_date_in, end_of_promise_days, is_bare_date,
                  parse_instant)
from reading import Order

TOLERANCE_MS = 0
LOST_AFTER_DAYS = 30

DEFECT_KINDS = ("damaged", "quality", "wrong_item", "missing_part", "counterfeit", "unsafe",
                "lost")
CUSTOMER_REASONS = {"wrong_address", "refused"}
SUPPLIER_CANCEL_REASONS = {"out_of_stock", "late", "not_received"}   # withdraw nothing


# ---- the facts of an order -------------------------------------------------------------------

def promise_of(order: Order) -> int | None:
    """The first promise given; one that was over when it was given counts for nothing."""
    country = order.fact("destination")
    for event in order.events:
        if "promise" in event and is_bare_date(event["promise"]):
            due = end_of_date_in(date.fromisoformat(event["promise"]), country)
        elif "promise" in event:
            due = parse_instant(event["promise"])
        elif "promise_days" in event:
            due = end_of_promise_days(event["instant"], int(event["promise_days"]), country)
        else:
            continue
        return due if event["instant"] <= due else None
    return None


def early_cancellation(order: Order) -> dict | None:
    """The first `cancelled`, if nothing had been shipped or delivered before it."""
    cancelled = order.of_type("cancelled")
    if not cancelled:
        return None
    for event in order.of_type("shipped", "delivered"):
        if event["instant"] < cancelled[0]["instant"]:
            return None
    return cancelled[0]


def is_withdrawn(order: Order) -> bool:
    """Early cancelled by the promise, and not because the supplier failed."""
    cancelled = early_cancellation(order)
    return (cancelled is not None and cancelled["instant"] <= promise_of(order)
            and cancelled.get("reason") not in SUPPLIER_CANCEL_REASONS)


def is_excused(order: Order) -> bool:
    return order.is_forgiven or any(event.get("reason") in CUSTOMER_REASONS
                                    for event in order.of_type("disputed", "refunded"))


def is_supplier_refund(event: dict) -> bool:
    return event["type"] == "refunded" and event.get("by", "supplier") == "supplier"


def days_after(instant: int, day: int) -> int:
    """Whole UTC days after a day; before it counts as 0."""
    return max(0, day_of(instant) - day)


def is_delivered_before_lost(order: Order, due_day: int) -> bool:
    delivered = order.first_time("delivered")
    return delivered is not None and days_after(delivered, due_day) <= LOST_AFTER_DAYS


def apply_excuses(orders: list[Order], excuses: list[dict]) -> None:
    for excuse in excuses:
        for order in orders:
            if covers(excuse, order):
                order.is_forgiven = True


def covers(excuse: dict, order: Order) -> bool:
    if "order_id" in excuse:
        return (excuse["shop"], excuse["order_id"], int(excuse.get("part", 1))) == \
            (order.shop, order.order_id, order.part)
    due = promise_of(order)
    if due is None or not order.is_known:
        return False
    lane = order.lane
    if excuse["lane"].count("/") == 1:
        lane = f"{order.lane}/{order.service}"
    due_date = date_text(day_of(due))
    return lane == excuse["lane"] and excuse["first_due"] <= due_date <= excuse["last_due"]


# ---- its entries in the measures -------------------------------------------------------------

@dataclass(frozen=True)
class Entry:
    """One order in one measure: the day under which it counts, and how it ended, if it did."""
    day: int
    ending: str | None              # "outcome", "left", or None while nothing has happened
    delay: int = 0                  # of the ending: milliseconds, or days for a defect
    kind: str | None = None         # of a defect

    @property
    def is_fault(self) -> bool:
        return self.ending is not None and self.delay < 0


def entry_of(day: int, candidates: list[tuple]) -> Entry:
    """The earliest (delay, ending, ...); at the same delay an outcome goes before a `left`."""
    if not candidates:
        return Entry(day, None)
    delay, ending, *kind = min(candidates, key=lambda c: (c[0], c[1] == "left"))
    return Entry(day, ending, delay, *kind)


def handling_entry(order: Order) -> Entry | None:
    paid, shipped = order.first_time("paid"), order.first_time("shipped")
    if paid is None:
        return None
    candidates = []
    if shipped is not None:
        candidates.append((shipped - paid, "outcome"))
    cancelled = early_cancellation(order)
    if cancelled and cancelled.get("reason") != "out_of_stock":
        candidates.append((cancelled["instant"] - paid, "left"))
    delivered = order.first_time("delivered")
    if delivered is not None and shipped is None:
        candidates.append((delivered - paid, "left"))
    return entry_of(day_of(paid), candidates)


def transit_entry(order: Order) -> Entry | None:
    shipped, delivered = order.first_time("shipped"), order.first_time("delivered")
    if shipped is None:
        return None
    return entry_of(day_of(shipped),
                    [] if delivered is None else [(delivered - shipped, "outcome")])


def delivery_entry(order: Order) -> Entry | None:
    paid, delivered = order.first_time("paid"), order.first_time("delivered")
    if paid is None:
        return None
    candidates = []
    if delivered is not None:
        candidates.append((delivered - paid, "outcome"))
    cancelled = early_cancellation(order)
    if cancelled:
        candidates.append((cancelled["instant"] - paid, "left"))
    return entry_of(day_of(paid), candidates)


def response_entry(order: Order) -> Entry | None:
    disputed = order.first_time("disputed")
    if disputed is None:
        return None
    candidates = [(event["instant"] - disputed, "outcome") for event in order.events
                  if (event["type"] == "answered" or is_supplier_refund(event))
                  and event["instant"] >= disputed]
    return entry_of(day_of(disputed), candidates)


def defect_entry(order: Order) -> Entry | None:
    """Delays are whole days, and only they are compared: claim, then lost, then `left`."""
    due = promise_of(order)
    if due is None:
        return None
    due_day = day_of(due)
    candidates = []
    for event in order.of_type("disputed", "refunded"):
        if event.get("reason") in DEFECT_KINDS:
            candidates.append((days_after(event["instant"], due_day), "outcome",
                               event["reason"]))
    if not is_delivered_before_lost(order, due_day):
        candidates.append((LOST_AFTER_DAYS, "outcome", "lost"))
    cancelled = early_cancellation(order)
    if cancelled:
        candidates.append((days_after(cancelled["instant"], due_day), "left"))
    return entry_of(due_day, candidates)


@dataclass(frozen=True)
class OnTime:
    day: int
    is_late: bool


def on_time_entry(order: Order) -> OnTime | None:
    due = promise_of(order)
    if due is None or is_withdrawn(order):
        return None
    delivered = order.first_time("delivered")
    return OnTime(day_of(due), delivered is None or delivered > due + TOLERANCE_MS)


@dataclass(frozen=True)
class Counted:
    """An order, worked out: what the scores add up."""
    supplier: str
    lane: str
    service: str
    is_excused: bool
    on_time: OnTime | None
    defect: Entry | None
    times: dict[str, Entry | None]
    paid_day: int | None
    due_day: int | None
    closing_days: list[int]         # days on which it was closed, by whatever
    has_arrived: bool               # before it counted as lost


TIME_MEASURES = {"handling": handling_entry, "transit": transit_entry,
                 "delivery": delivery_entry, "response": response_entry}
FORGIVING_MEASURES = {"transit", "delivery"}       # of the times; the rates forgive as well


def work_out(order: Order) -> Counted:
    due, paid = promise_of(order), order.first_time("paid")
    due_day = None if due is None else day_of(due)
    closing = [order.first_time("delivered"), order.first_time("cancelled")]
    closing += [event["instant"] for event in order.events if is_supplier_refund(event)]
    return Counted(
        supplier=order.supplier, lane=order.lane, service=order.service,
        is_excused=is_excused(order), on_time=on_time_entry(order), defect=defect_entry(order),
        times={measure: entry(order) for measure, entry in TIME_MEASURES.items()},
        paid_day=None if paid is None else day_of(paid), due_day=due_day,
        closing_days=[day_of(instant) for instant in closing if instant is not None],
        has_arrived=due_day is not None and is_delivered_before_lost(order, due_day))
