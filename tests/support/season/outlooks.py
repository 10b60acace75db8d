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
from rates import Moment, defect_entries, defect_kinds, is_known_defect

LONGEST_PROMISE = 120
LOST_AFTER_DAYS = 30
LONGEST_ANSWER_DAYS = 30
LEANING = 4.0                   # orders' worth, on the lane, the fleet or the supplier


@dataclass(frozen=True)
class Outlook:
    orders: float                   # decayed, paid
    steps: list[Step]               # of the curve from payment to delivery
    defects: float                  # decayed, by the claim window
    kinds: dict[str, float]         # of these, split by the shares of kinds (rates.defect_kinds)
    disputes: float                 # decayed
    answer_days: float              # mean, of the disputes
    promised: float                 # decayed orders with a promise
    promised_days: float            # the sum of the days they were promised in

    def not_arrived(self, days: int) -> float:
        step = step_by(self.steps, last_whole_bucket(half_day_after(days)))
        return 1.0 if step is None else step.left

    def days_by(self, days: int) -> float:
        """Of an order not arrived by then all of them; of one that has, until its bucket says."""
        last = last_whole_bucket(half_day_after(days))
        before = [step for step in self.steps if step.bucket <= last]
        return area_between(before, 0.0, days + 0.5, bucket_days)

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
    shares = defect_kinds(own, moment)
    defects = math.fsum(moment.weight(entry.day) for entry in defect_entries(own, moment)
                        if is_known_defect(entry, moment))
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
        defects=defects,
        kinds={kind: defects * shares.get(kind, 0.0) / math.fsum(shares.values()) if shares else 0.0
               for kind in DEFECT_KINDS},
        disputes=math.fsum(moment.weight(entry.day) for entry in claims),
        answer_days=answer_days,
        promised=math.fsum(moment.weight(order.paid_day) for order in promises),
        promised_days=math.fsum(moment.weight(order.paid_day) * (order.due_day - order.paid_day)
                                for order in promises))


# ---- leaning on others -----------------------------------------------------------------------

def leaning(own: float, own_weight: float, other: float) -> float:
    """Its own, with `LEANING` orders of the others among them."""
    return (own_weight * own + LEANING * other) / (own_weight + LEANING)


def mean_of(outlooks: list[Outlook], weight, value) -> float:
    return (math.fsum(weight(one) * value(one) for one in outlooks if weight(one) > 0.0)
            / math.fsum(weight(one) for one in outlooks))


def orders_of(one: Outlook) -> float:
    return one.orders


def disputes_of(one: Outlook) -> float:
    return one.disputes


def kind_mix(pair: Outlook | None, supplier: list[Outlook],
             fleet: list[Outlook]) -> dict[str, float]:
    """Of defects: the pair's lean on the supplier's, those on the fleet's, those on all alike."""
    mix = {kind: 1.0 / len(DEFECT_KINDS) for kind in DEFECT_KINDS}
    for among in (fleet, supplier, [] if pair is None else [pair]):
        defects = math.fsum(one.defects for one in among)
        for kind in DEFECT_KINDS:
            of_kind = math.fsum(one.kinds[kind] for one in among)
            mix[kind] = (of_kind + LEANING * mix[kind]) / (defects + LEANING)
    return mix


def claims(supplier: list[Outlook], fleet: list[Outlook]) -> tuple[float, float]:
    """The share of a supplier's orders with one, and the mean days until its answer; both lean on
    the fleet's."""
    share = answer = 0.0
    for among in (fleet, supplier):
        orders = math.fsum(one.orders for one in among)
        disputes = math.fsum(one.disputes for one in among)
        if orders > 0.0:
            own = mean_of(among, orders_of, lambda one: one.disputes / one.orders)
            share = own if among is fleet else leaning(own, orders, share)
        if disputes > 0.0:
            own = mean_of(among, disputes_of, lambda one: one.answer_days)
            answer = own if among is fleet else leaning(own, disputes, answer)
    return share, answer


@dataclass(frozen=True)
class Days:
    late: float
    waiting: float
    assumed: bool


def days_among(outlooks: list[Outlook], promised: int, lost: float) -> tuple[float, float]:
    """Mean days late and waiting, over all orders, of those that come before they are taken as
    lost; all but the lost ones come on the last day at the latest."""
    last = promised + LOST_AFTER_DAYS
    missing = mean_of(outlooks, orders_of, lambda one: one.not_arrived(last))
    by_last = mean_of(outlooks, orders_of, lambda one: one.days_by(last))
    by_promise = mean_of(outlooks, orders_of, lambda one: one.days_by(promised))
    never = min(missing, lost)
    return by_last - by_promise - never * LOST_AFTER_DAYS, by_last - never * (last + 0.5)


def days_of(pair: Outlook | None, lane: list[Outlook], promised: int, lost: float) -> Days:
    """A pair's days lean on those of its lane; without any order there are those of the lane, and
    without any there the promise is taken at its word."""
    promised = min(promised, LONGEST_PROMISE)
    late, waiting = 0.0, float(promised)
    if any(one.orders > 0.0 for one in lane):
        late, waiting = days_among(lane, promised, lost)
    if pair is None or pair.orders == 0.0:
        return Days(late, waiting, assumed=True)
    own_late, own_waiting = days_among([pair], promised, lost)
    return Days(leaning(own_late, pair.orders, late), leaning(own_waiting, pair.orders, waiting),
                assumed=False)
