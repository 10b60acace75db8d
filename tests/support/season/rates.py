"""Shares of late and of defective orders: what is known when, the sums, the priors, the answers."""

import math
from dataclasses import dataclass

from curves import AtRisk, curve, share_by, shares_by_kind
from days import DAY_MS, day_of, end_of
from entries import DEFECT_KINDS, Counted, Entry, OnTime
from fleet import Fleet, Key, Sums
from special import beta_quantile

SETTLE_DELAY_MS = DAY_MS
MINUTE_MS = 60_000  # what is known is known to the minute
CLAIM_WINDOW_DAYS = 60
POOLED_STRENGTH = 4.0
SMALLEST_PRIOR_COUNT = 0.05


# ---- what is known when ----------------------------------------------------------------------

@dataclass(frozen=True)
class Moment:
    """What is asked: as of when, how far the news reaches, how fast the old fades."""
    as_of: int
    news: int
    half_life: float

    @property
    def horizon(self) -> int:
        return min((self.as_of - SETTLE_DELAY_MS) // MINUTE_MS * MINUTE_MS, self.news)

    @property
    def start_of_day(self) -> "Moment":
        """When the last day that was over was over."""
        return Moment(day_of(self.as_of) * DAY_MS, self.news, self.half_life)

    def watch(self, day: int) -> int:
        return self.horizon - end_of(day)

    def weight(self, day: int) -> float:
        return 2.0 ** (-(day_of(self.as_of) - day) / self.half_life)

    def counts(self, entry: Entry | OnTime | None) -> bool:
        """Whether an order is in this measure, and the day of its cohort is over."""
        if entry is None or isinstance(entry, Entry) and entry.is_fault:
            return False
        return entry.day <= day_of(self.as_of) and self.watch(entry.day) >= 0


# ---- sums ------------------------------------------------------------------------------------

def settled_entries(orders: list[Counted], moment: Moment) -> list[OnTime]:
    return [order.on_time for order in orders if moment.counts(order.on_time)]


def late_sums(orders: list[Counted], moment: Moment) -> Sums:
    """The decayed settled orders, and those of them that were late."""
    settled = settled_entries(orders, moment)
    weights = [moment.weight(entry.day) for entry in settled]
    late = [weight for entry, weight in zip(settled, weights) if entry.is_late]
    return Sums(math.fsum(weights), math.fsum(w * w for w in weights), math.fsum(late))


def defect_entries(orders: list[Counted], moment: Moment) -> list[Entry]:
    return [order.defect for order in orders if moment.counts(order.defect)]


def watch_days(entry: Entry, moment: Moment) -> int:
    return moment.watch(entry.day) // DAY_MS


def is_known_defect(entry: Entry, moment: Moment) -> bool:
    """Within the claim window, and by now."""
    return (entry.ending == "outcome" and entry.delay <= watch_days(entry, moment)
            and entry.delay <= CLAIM_WINDOW_DAYS)


def defect_rows(entries: list[Entry], moment: Moment) -> list[AtRisk]:
    rows = []
    for entry in entries:
        over = watch_days(entry, moment)
        weight = moment.weight(entry.day)
        if entry.ending is not None and entry.delay <= over:
            rows.append(AtRisk(weight, entry.delay, entry.ending == "outcome", entry.kind))
        else:
            rows.append(AtRisk(weight, over, False))
    return rows


def defect_sums(entries: list[Entry], moment: Moment, ripeness) -> Sums:
    """Decayed orders as far as they are ripe, and the defects known of them."""
    ripe = [(moment.weight(entry.day), ripeness(watch_days(entry, moment))) for entry in entries]
    known = [moment.weight(entry.day) for entry in entries if is_known_defect(entry, moment)]
    return Sums(math.fsum(w * g for w, g in ripe), math.fsum(w * w * g for w, g in ripe),
                math.fsum(known))


# ---- priors ----------------------------------------------------------------------------------

@dataclass(frozen=True)
class Prior:
    """Where a rate starts before its own orders: a mean, worth so many orders."""
    mean: float
    strength: float


@dataclass(frozen=True)
class Ripeness:
    """How much of its defects an order of some age has had time to show."""
    by_day: list[float]             # share of defects by each day after the promised one

    def __call__(self, days: int) -> float:
        whole = self.by_day[CLAIM_WINDOW_DAYS]
        if whole == 0.0:
            return min(1.0, (days + 1) / (CLAIM_WINDOW_DAYS + 1))
        return self.by_day[min(days, CLAIM_WINDOW_DAYS)] / whole


def key_of(order: Counted) -> Key:
    return order.supplier, f"{order.lane}/{order.service}"


def pooled(sums: Sums) -> Prior | None:
    """Of all orders alike, with half an order of doubt."""
    if sums.w1 == 0.0:
        return None
    return Prior(min(1.0, (sums.s + 0.5) / (sums.w1 + 1.0)), POOLED_STRENGTH)


class Priors:
    """What all these orders lead to expect, as of the last day that was over."""

    def __init__(self, orders: list[Counted], moment: Moment):
        moment = moment.start_of_day
        entries = defect_entries(orders, moment)
        steps = curve(defect_rows(entries, moment))
        self.ripeness = Ripeness([share_by(steps, day) for day in range(CLAIM_WINDOW_DAYS + 1)])

        def late(some: list[Counted]) -> Sums:
            return late_sums(some, moment)

        def defect(some: list[Counted]) -> Sums:
            return defect_sums(defect_entries(some, moment), moment, self.ripeness)

        of_pair: dict[Key, list[Counted]] = {}
        for order in orders:
            of_pair.setdefault(key_of(order), []).append(order)
        self.pooled = {"late": pooled(late(orders)), "defect": pooled(defect(orders))}
        self.fleets = {}
        for rate, sums_of in (("late", late), ("defect", defect)):
            sums = {key: sums_of(some) for key, some in of_pair.items()}
            has_any = any(one.w1 > 0.0 for one in sums.values())
            self.fleets[rate] = Fleet(sums) if has_any else None

    def of(self, rate: str, keys: list[Key]) -> Prior | None:
        """Of these pairs together."""
        fleet = self.fleets[rate]
        return self.pooled[rate] if fleet is None else Prior(*fleet.prior_of_sum(keys))


# ---- rates -----------------------------------------------------------------------------------

def posterior(prior: Prior | None, hits: float, orders: float) -> dict:
    """Mean and 95 % interval of a share, from its prior and decayed counts."""
    if prior is None:
        return {"estimate": None, "low": None, "high": None}
    if hits <= 1e-9 * orders:
        hits = 0.0                  # what is left is rounding
    a = max(SMALLEST_PRIOR_COUNT, prior.mean * prior.strength) + hits
    b = (max(SMALLEST_PRIOR_COUNT, (1.0 - prior.mean) * prior.strength)
         + max(orders - hits, 0.0))
    return {"estimate": a / (a + b), "low": beta_quantile(0.025, a, b),
            "high": beta_quantile(0.975, a, b)}


def turned(limits: dict) -> dict:
    """Of the late rate to that of the on-time share."""
    if limits["estimate"] is None:
        return limits
    return {"estimate": 1.0 - limits["estimate"], "low": 1.0 - limits["high"],
            "high": 1.0 - limits["low"]}


def current(prior: Prior | None, sums: Sums) -> dict:
    """What is it now: orders count as much as they weigh."""
    return posterior(prior, sums.s, sums.w1) | {"weight": sums.w1}


def average(prior: Prior | None, sums: Sums) -> dict:
    """What was the average: as many equal orders would tell as much."""
    return posterior(prior, sums.effective_hits, sums.effective) | {"weight": sums.effective}


MODES = {"current": current, "average": average}
EMPTY_RATE = {"observed": None, "estimate": None, "low": None, "high": None, "weight": 0.0,
              "order_count": 0, "hit_count": 0}


def on_time_rate(orders: list[Counted], moment: Moment, prior: Prior | None, mode: str) -> dict:
    settled = settled_entries(orders, moment)
    if not settled:
        return EMPTY_RATE
    sums = late_sums(orders, moment)
    late = MODES[mode](prior, sums)
    return late | turned(late) | {
        "observed": 1.0 - (0.0 if sums.s <= 1e-9 * sums.w1 else sums.s / sums.w1),
        "order_count": len(settled), "hit_count": sum(entry.is_late for entry in settled)}


def defect_rate(orders: list[Counted], moment: Moment, prior: Prior | None, ripeness: Ripeness,
                mode: str) -> dict:
    entries = defect_entries(orders, moment)
    if not entries:
        return EMPTY_RATE
    steps = curve(defect_rows(entries, moment))
    sums = defect_sums(entries, moment, ripeness)
    hits = [entry for entry in entries if is_known_defect(entry, moment)]
    # Past the last day that anyone is at risk the curve has no steps: it stays where it is.
    return MODES[mode](prior, sums) | {
        "observed": share_by(steps, CLAIM_WINDOW_DAYS), "order_count": len(entries),
        "hit_count": len(hits)}


def defect_kinds(orders: list[Counted], moment: Moment) -> dict[str, float]:
    """The share of orders by the kind of their defect, of the kinds that occur."""
    rows = defect_rows(defect_entries(orders, moment), moment)
    shares = shares_by_kind(rows, CLAIM_WINDOW_DAYS)
    return {kind: shares[kind] for kind in DEFECT_KINDS if kind in shares}
