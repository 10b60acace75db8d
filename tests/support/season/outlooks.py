"""What the orders of a pair say of its next one: when it comes, what kind of defect it would have,
whether there will be a claim and how long that waits; and what it leans on where orders are few.
"""

import math
from dataclasses import dataclass

from curves import (FEWEST_AT_RISK, Step, area_between, bucket_days, curve, last_whole_bucket,
                    step_by)
from days import DAY_MS
from entries import DEFECT_KINDS, Counted
from naive import time_rows
from rates import Moment, defect_entries, is_known_defect

LONGEST_PROMISE = 120
LOST_AFTER_DAYS = 30
LONGEST_ANSWER_DAYS = 30
LEANING = 4.0                   # orders' worth, on the lane, the fleet or the supplier


@dataclass(frozen=True)
class Outlook:
    orders: float                   # decayed, paid
    steps: list[Step]               # of the curve from payment to delivery
    defects: float                  # decayed, by the claim window
    kinds: dict[str, float]         # of these
    disputes: float                 # decayed
    answer_days: float              # mean, of the disputes
    promised: float                 # decayed orders with a promise
    promised_days: float            # the sum of the days they were promised in

    def not_arrived(self, days: int) -> float:
        step = step_by(self.steps, last_whole_bucket(half_day_after(days)))
        return 1.0 if step is None else step.left

    def days_by(self, days: int) -> float:
        return area_between(self.steps, 0.0, days + 0.5, bucket_days)

    def late_beta(self, days: int) -> tuple[float, float] | None:
        """The share not there by a promise, where at least five orders' worth know it."""
        step = step_by(self.steps, last_whole_bucket(half_day_after(min(days, LONGEST_PROMISE))))
        beta = None if step is None else step.share()
        if beta is None or sum(beta) < FEWEST_AT_RISK:
            return None
        return beta[1], beta[0]


def half_day_after(days: int) -> int:
    return days * DAY_MS + DAY_MS // 2


def outlook_of(orders: list[Counted], moment: Moment) -> Outlook:
    own = [order for order in orders if not order.is_excused]
    delivery = [order.times["delivery"] for order in own if moment.counts(order.times["delivery"])]
    defects = [entry for entry in defect_entries(own, moment) if is_known_defect(entry, moment)]
    claims = [order.times["response"] for order in orders
              if moment.counts(order.times["response"])]
    promises = [order for order in orders
                if order.due_day is not None and order.paid_day is not None
                and moment.watch(order.paid_day) >= 0]
    answer_days = 0.0
    if claims:
        answer_days = area_between(curve(time_rows(claims, moment)), 0.0, LONGEST_ANSWER_DAYS,
                                   bucket_days)
    return Outlook(
        orders=math.fsum(moment.weight(entry.day) for entry in delivery),
        steps=curve(time_rows(delivery, moment)),
        defects=math.fsum(moment.weight(entry.day) for entry in defects),
        kinds={kind: math.fsum(moment.weight(entry.day) for entry in defects if entry.kind == kind)
               for kind in DEFECT_KINDS},
        disputes=math.fsum(moment.weight(entry.day) for entry in claims),
        answer_days=answer_days,
        promised=math.fsum(moment.weight(order.paid_day) for order in promises),
        promised_days=math.fsum(moment.weight(order.paid_day) * (order.due_day - order.paid_day)
                                for order in promises))


# ---- leaning on others -----------------------------------------------------------------------

def mean_of(outlooks: list[Outlook], weight, value) -> float | None:
    """None where nothing weighs anything."""
    total = math.fsum(weight(one) for one in outlooks)
    if total == 0.0:
        return None
    return math.fsum(weight(one) * value(one) for one in outlooks if weight(one) > 0.0) / total


def leaning(own: float | None, own_weight: float, other: float | None) -> float | None:
    """Its own, with `LEANING` orders of the others among them."""
    if other is None:
        return own
    if own is None:
        return other
    return (own_weight * own + LEANING * other) / (own_weight + LEANING)


def orders_of(one: Outlook) -> float:
    return one.orders


def kind_mix(pair: Outlook | None, fleet: list[Outlook]) -> dict[str, float]:
    """Of defects."""
    mix = {}
    for kind in DEFECT_KINDS:
        fleets = mean_of(fleet, lambda one: one.defects,
                         lambda one, kind=kind: one.kinds[kind] / one.defects)
        own_weight = 0.0 if pair is None else pair.defects
        own = pair.kinds[kind] / own_weight if own_weight > 0.0 else None
        mix[kind] = leaning(own, own_weight, fleets) or 0.0
    return mix


def claims(pair: Outlook | None, supplier: list[Outlook],
           fleet: list[Outlook]) -> tuple[float, float]:
    """The share of orders with one, and the mean days until its answer."""
    def share(one: Outlook) -> float:
        return one.disputes / one.orders

    def disputes(one: Outlook) -> float:
        return one.disputes

    def answer(one: Outlook) -> float:
        return one.answer_days

    own = [] if pair is None else [pair]
    of_share, of_answer = mean_of(fleet, orders_of, share), mean_of(fleet, disputes, answer)
    for among in (supplier, own):
        of_share = leaning(mean_of(among, orders_of, share),
                           math.fsum(one.orders for one in among), of_share)
        of_answer = leaning(mean_of(among, disputes, answer),
                            math.fsum(one.disputes for one in among), of_answer)
    return of_share or 0.0, of_answer or 0.0


@dataclass(frozen=True)
class Days:
    late: float
    waiting: float
    assumed: bool


def days_of(pair: Outlook | None, lane: list[Outlook], promised: int, lost: float) -> Days:
    """Mean days over all orders of those that come before they are taken as lost."""
    promised = min(promised, LONGEST_PROMISE)
    last = promised + LOST_AFTER_DAYS
    own_orders = 0.0 if pair is None else pair.orders

    def believed(value) -> float | None:
        own = value(pair) if own_orders > 0.0 else None
        return leaning(own, own_orders, mean_of(lane, orders_of, value))

    missing = believed(lambda one: one.not_arrived(last))
    if missing is None:
        return Days(0.0, float(promised), True)
    by_last = believed(lambda one: one.days_by(last))
    by_promise = believed(lambda one: one.days_by(promised))
    never = min(missing, lost)                  # all others come on the last day at the latest
    return Days(late=by_last - by_promise - never * LOST_AFTER_DAYS,
                waiting=by_last - never * (last + 0.5), assumed=own_orders == 0.0)
