#!/usr/bin/env python3
"""What the season must score, worked out the slow way.

    naive.py SAMPLE_DIR --as-of 2026-10-01T00:00:00Z [--half-life 45] > expected.json
    naive.py --self-test

Reads the event files, takes every order by itself, and asks of each what is known of it. There
are no cells, no running state and no cleverness, so that a reader can hold each rule against
its few lines. It shares nothing with the daemon: where the two differ, one of them is wrong.

Reading order: reading.py (files to orders), entries.py (what an order says in each measure),
and here: curves, what is known when, rates and times, scores.
"""

import argparse
import json
import math
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from days import DAY_MS, day_of, end_of, instant_text, parse_instant
from entries import (FORGIVING_MEASURES, LOST_AFTER_DAYS, TIME_MEASURES, Counted, Entry, OnTime,
                     apply_excuses, work_out)
from reading import Reading, read_lines, read_orders
from special import beta_quantile

SETTLE_DELAY_MS = DAY_MS
CLAIM_WINDOW_DAYS = 60
PRIOR_STRENGTH = 4.0
SMALLEST_PRIOR_COUNT = 0.05
FEWEST_AT_RISK = 5.0        # below that a median is some single order's time
SECOND_MS = 1000


# ---- curves ----------------------------------------------------------------------------------

@dataclass(frozen=True)
class AtRisk:
    """One order in a curve: at risk up to and including a bucket, with its event there or not."""
    weight: float
    last_bucket: int
    has_event: bool


def curve(rows: list[AtRisk]) -> list[tuple[int, float]]:
    """Weighted Kaplan-Meier: (bucket, share without the event after it) where events are."""
    points = []
    left = 1.0
    for bucket in sorted({row.last_bucket for row in rows if row.has_event}):
        at_risk = math.fsum(row.weight for row in rows if row.last_bucket >= bucket)
        events = math.fsum(row.weight for row in rows
                           if row.has_event and row.last_bucket == bucket)
        left *= max(0.0, 1.0 - events / at_risk)
        points.append((bucket, left))
    return points


def share_by(points: list[tuple[int, float]], bucket: int) -> float:
    """The share with the event by a bucket: 1 - S."""
    left = 1.0
    for at, value in points:
        if at <= bucket:
            left = value
    return 1.0 - left


def quantile_bucket(points: list[tuple[int, float]], q: float) -> int | None:
    for bucket, left in points:
        enough = q * (1.0 - 1e-12)
        if abs(1.0 - left - enough) < 1e-14:
            print(f"warning: rounding decides a quantile {q}", file=sys.stderr)
        if 1.0 - left >= enough:
            return bucket
    return None


def worth_at_risk(rows: list[AtRisk], bucket: int) -> float:
    """How many orders of equal weight those at risk in a bucket are worth."""
    weights = [row.weight for row in rows if row.last_bucket >= bucket]
    return math.fsum(weights) ** 2 / math.fsum(weight ** 2 for weight in weights)


# Times fall into buckets that each end 2 % later than the one before: gamma = 101/99. Which one
# is decided in whole numbers, so that no rounding has a say.

def ends_by(bucket: int, ms: int) -> bool:
    """Whether gamma^bucket seconds <= ms."""
    return 101 ** bucket * SECOND_MS <= ms * 99 ** bucket


@cache
def log_bucket(ms: int) -> int:
    """The smallest i with ms <= gamma^i seconds, for a time of a second or more."""
    i = max(0, math.ceil(math.log(ms / SECOND_MS) / math.log(101 / 99)) - 2)
    while 101 ** i * SECOND_MS < ms * 99 ** i:
        i += 1
    return i


def representative(bucket: int) -> float:
    """The time that stands for a bucket, in seconds."""
    gamma = 101 / 99
    return 2.0 * gamma ** bucket / (gamma + 1.0)


ZERO_BUCKET = 0             # below a minute; the next one in use is 205
ZERO_END_MS = 60 * SECOND_MS


def time_bucket(ms: int) -> int:
    return ZERO_BUCKET if ms < ZERO_END_MS else log_bucket(ms)


def bucket_seconds(bucket: int) -> float:
    return 0.0 if bucket == ZERO_BUCKET else representative(bucket)


def last_whole_bucket(watch: int) -> int:
    """The last bucket that ends within a watch; -1 if none does."""
    if watch < ZERO_END_MS:
        return -1
    bucket = log_bucket(watch)
    if not ends_by(bucket, watch):
        bucket -= 1
    return bucket if bucket >= time_bucket(ZERO_END_MS) else ZERO_BUCKET


# ---- what is known when ----------------------------------------------------------------------

@dataclass(frozen=True)
class Moment:
    """What is asked: as of when, how far the news reaches, how fast the old fades."""
    as_of: int
    news: int
    half_life: float

    @property
    def horizon(self) -> int:
        return min(self.as_of - SETTLE_DELAY_MS, self.news)

    def watch(self, day: int) -> int:
        return self.horizon - end_of(day)

    def weight(self, day: int) -> float:
        return 2.0 ** (-(day_of(self.as_of) - day) / self.half_life)

    def counts(self, entry: Entry | OnTime | None) -> bool:
        """Whether an order is in this measure, and the day of its cohort is over."""
        if entry is None or isinstance(entry, Entry) and entry.is_fault:
            return False
        return entry.day <= day_of(self.as_of) and self.watch(entry.day) >= 0


# ---- rates and times -------------------------------------------------------------------------

@dataclass(frozen=True)
class Prior:
    """What is known of all suppliers together: where a rate starts before its own orders."""
    late: float
    defect: float
    defects_by_day: list[float]     # G: share of defects by each day after the promised one

    def ripeness(self, watch_days: int) -> float:
        """How much of its defects an order of this age has had time to show."""
        whole = self.defects_by_day[CLAIM_WINDOW_DAYS]
        if whole == 0.0:
            return min(1.0, (watch_days + 1) / (CLAIM_WINDOW_DAYS + 1))
        return self.defects_by_day[min(watch_days, CLAIM_WINDOW_DAYS)] / whole


def posterior(mean: float, hits: float, misses: float) -> tuple[float, float, float]:
    """Mean and 95 % interval of a share, from its prior mean and decayed counts."""
    a = max(SMALLEST_PRIOR_COUNT, mean * PRIOR_STRENGTH) + hits
    b = max(SMALLEST_PRIOR_COUNT, (1.0 - mean) * PRIOR_STRENGTH) + misses
    return a / (a + b), beta_quantile(0.025, a, b), beta_quantile(0.975, a, b)


def late_sums(orders: list[Counted], moment: Moment) -> tuple[float, float]:
    """W1 and S: the decayed settled orders, and those of them that were late."""
    settled = [order.on_time for order in orders if moment.counts(order.on_time)]
    total = math.fsum(moment.weight(entry.day) for entry in settled)
    late = math.fsum(moment.weight(entry.day) for entry in settled if entry.is_late)
    return total, 0.0 if late <= 1e-9 * total else late


EMPTY_RATE = {"observed": None, "estimate": None, "low": None, "high": None, "weight": 0.0,
              "order_count": 0, "hit_count": 0}


def on_time_rate(orders: list[Counted], moment: Moment, prior: Prior) -> dict:
    settled = [order.on_time for order in orders if moment.counts(order.on_time)]
    if not settled:
        return EMPTY_RATE
    total, late = late_sums(orders, moment)
    estimate, low, high = posterior(prior.late, late, total - late)
    return {"observed": 1.0 - late / total, "estimate": 1.0 - estimate, "low": 1.0 - high,
            "high": 1.0 - low, "weight": total, "order_count": len(settled),
            "hit_count": sum(entry.is_late for entry in settled)}


def watch_days(entry: Entry, moment: Moment) -> int:
    return moment.watch(entry.day) // DAY_MS


def is_known_defect(entry: Entry, moment: Moment) -> bool:
    return entry.ending == "outcome" and entry.delay <= watch_days(entry, moment)


def defect_rows(entries: list[Entry], moment: Moment) -> list[AtRisk]:
    rows = []
    for entry in entries:
        over = watch_days(entry, moment)
        weight = moment.weight(entry.day)
        if entry.ending is not None and entry.delay <= over:
            rows.append(AtRisk(weight, entry.delay, entry.ending == "outcome"))
        else:
            rows.append(AtRisk(weight, over, False))
    return rows


def defect_sums(entries: list[Entry], moment: Moment, ripeness) -> tuple[float, float]:
    """n and y: decayed orders as far as they are ripe, and the defects known of them."""
    n = math.fsum(moment.weight(entry.day) * ripeness(watch_days(entry, moment))
                  for entry in entries)
    y = math.fsum(moment.weight(entry.day) for entry in entries
                  if is_known_defect(entry, moment) and entry.delay <= CLAIM_WINDOW_DAYS)
    return n, 0.0 if y <= 1e-9 * n else y


def defect_entries(orders: list[Counted], moment: Moment) -> list[Entry]:
    return [order.defect for order in orders if moment.counts(order.defect)]


def defect_rate(orders: list[Counted], moment: Moment, prior: Prior) -> dict:
    entries = defect_entries(orders, moment)
    if not entries:
        return EMPTY_RATE
    points = curve(defect_rows(entries, moment))
    n, y = defect_sums(entries, moment, prior.ripeness)
    estimate, low, high = posterior(prior.defect, y, max(n - y, 0.0))
    hits = [entry for entry in entries
            if is_known_defect(entry, moment) and entry.delay <= CLAIM_WINDOW_DAYS]
    # Past the last day that anyone is at risk the curve has no points: it stays where it is.
    return {"observed": share_by(points, CLAIM_WINDOW_DAYS), "estimate": estimate, "low": low,
            "high": high, "weight": n, "order_count": len(entries), "hit_count": len(hits)}


def prior_of(orders: list[Counted], moment: Moment) -> Prior:
    """Of all these orders, as of the last day that was over, with half an order of doubt."""
    moment = Moment(day_of(moment.as_of) * DAY_MS, moment.news, moment.half_life)
    total, late = late_sums(orders, moment)

    entries = defect_entries(orders, moment)
    points = curve(defect_rows(entries, moment))
    by_day = [share_by(points, day) for day in range(CLAIM_WINDOW_DAYS + 1)]
    unfinished = Prior(0.0, 0.0, by_day)
    n, y = defect_sums(entries, moment, unfinished.ripeness)
    return Prior((late + 0.5) / (total + 1.0), min(1.0, (y + 0.5) / (n + 1.0)), by_day)


def times(entries: list[Entry | None], moment: Moment) -> dict:
    entered = [entry for entry in entries if moment.counts(entry)]
    rows = []
    finished = 0
    for entry in entered:
        weight = moment.weight(entry.day)
        last = last_whole_bucket(moment.watch(entry.day))
        if entry.ending is not None and time_bucket(entry.delay) <= last:
            rows.append(AtRisk(weight, time_bucket(entry.delay), entry.ending == "outcome"))
            finished += entry.ending == "outcome"
        else:
            rows.append(AtRisk(weight, last, False))
    answer = {"entered_count": len(entered), "finished_count": finished}
    for name, q in (("median", 0.5), ("p90", 0.9)):
        bucket = quantile_bucket(curve(rows), q)
        reached = bucket is not None
        few = reached and worth_at_risk(rows, bucket) < FEWEST_AT_RISK * (1.0 - 1e-12)
        answer[name] = bucket_seconds(bucket) if reached and not few else None
        answer[f"{name}_reached"], answer[f"{name}_too_few"] = reached, few
    return answer


# ---- scores ----------------------------------------------------------------------------------

def is_under_way(order: Counted, moment: Moment) -> bool:
    today = day_of(moment.as_of)
    if order.paid_day is None or order.paid_day >= today:
        return False
    if any(day < today for day in order.closing_days):
        return False
    is_lost = (order.due_day is not None and not order.has_arrived
               and end_of(order.due_day + LOST_AFTER_DAYS) <= moment.horizon)
    return not is_lost


def score(name: str, orders: list[Counted], moment: Moment, prior: Prior) -> dict:
    """A lane counts the excused orders too; a supplier, and a pair, do not."""
    is_lane = name.startswith("lanes/")
    own = [order for order in orders if is_lane or not order.is_excused]
    under_way = [order for order in orders if is_under_way(order, moment)]
    overdue = [order for order in under_way
               if order.due_day is not None and end_of(order.due_day) <= moment.horizon]
    answer = {"name": name, "on_time": on_time_rate(own, moment, prior),
              "defect": defect_rate(own, moment, prior),
              "underway_count": len(under_way), "overdue_count": len(overdue)}
    for measure in TIME_MEASURES:
        among = own if measure in FORGIVING_MEASURES else orders
        answer[measure] = times([order.times[measure] for order in among], moment)
    return answer


def names_of(order: Counted) -> list[str]:
    lane, served = f"lanes/{order.lane}", f"lanes/{order.lane}/{order.service}"
    supplier = f"suppliers/{order.supplier}"
    return [supplier, lane, served, f"{supplier}/{lane}", f"{supplier}/{served}"]


def tallies(reading: Reading, orders: list[Counted]) -> dict:
    """Plain counts over all time, undecayed and unsettled: handy when the scores differ."""
    measures = {"defect": [order.defect for order in orders]}
    for measure in TIME_MEASURES:
        measures[measure] = [order.times[measure] for order in orders]
    counts = {}
    for measure, entries in measures.items():
        valid = [entry for entry in entries if entry is not None and not entry.is_fault]
        counts[measure] = {
            "entered": len(valid),
            "outcomes": sum(entry.ending == "outcome" for entry in valid),
            "left": sum(entry.ending == "left" for entry in valid),
            "faults": sum(entry is not None and entry.is_fault for entry in entries)}
    on_time = [order.on_time for order in orders if order.on_time is not None]
    promised = sum(order.due_day is not None for order in orders)
    counts["on_time"] = {"entered": len(on_time),
                         "outcomes": sum(not entry.is_late for entry in on_time),
                         "withdrawn": promised - len(on_time)}
    return {"lines": reading.line_count, "repeated": reading.repeated_count,
            "events_taken_back": reading.taken_back_count, "orders": len(orders),
            "orders_waiting": len(reading.orders) - len(orders),
            "orders_excused": sum(order.is_excused for order in orders),
            "orders_without_promise": len(orders) - promised, "measures": counts}


def news_through(folder: Path, delivering_sources: set[str]) -> int:
    """The earliest moment up to which a source that tells of deliveries is complete."""
    return min(parse_instant(line["complete_through"])
               for line in read_lines(folder / "sources.csv")
               if line["source"] in delivering_sources)


def expected(folder: Path, as_of: int, half_life: float) -> dict:
    reading = read_orders(folder)
    apply_excuses(reading.orders, read_lines(folder / "excuses.csv"))
    orders = [work_out(order) for order in reading.orders if order.is_known]
    moment = Moment(as_of, news_through(folder, reading.delivering_sources), half_life)
    # A lane counts excused orders and so does its prior; suppliers and pairs do not.
    prior = prior_of([order for order in orders if not order.is_excused], moment)
    lane_prior = prior_of(orders, moment)

    groups: dict[str, list[Counted]] = {}
    for order in orders:
        for name in names_of(order):
            groups.setdefault(name, []).append(order)
    # A pair always names its service, or `-`: the sum of a supplier's services on a lane is none.
    is_sum = {name for name in groups if name.startswith("suppliers/") and name.count("/") == 3}
    return {"as_of": instant_text(as_of), "news_time": instant_text(moment.news),
            "half_life_days": int(half_life) if half_life == int(half_life) else half_life,
            "prior": {"late": prior.late, "defect": prior.defect, "strength": PRIOR_STRENGTH},
            "scores": [score(name, groups[name], moment,
                             lane_prior if name.startswith("lanes/") else prior)
                       for name in sorted(groups) if name not in is_sum],
            "cells_check": tallies(reading, orders)}


def main() -> None:
    parser = argparse.ArgumentParser(description="What the invented season must score.")
    parser.add_argument("folder", nargs="?", type=Path, metavar="SAMPLE_DIR")
    parser.add_argument("--as-of", default="2026-10-01T00:00:00Z")
    parser.add_argument("--half-life", type=float, default=45.0, metavar="DAYS")
    parser.add_argument("--self-test", action="store_true")
    arguments = parser.parse_args()
    if arguments.self_test:
        import self_test            # which itself needs the functions above
        sys.exit(self_test.run())
    if arguments.folder is None:
        parser.error("SAMPLE_DIR is missing")
    answer = expected(arguments.folder, parse_instant(arguments.as_of), arguments.half_life)
    json.dump(answer, sys.stdout, indent=1, sort_keys=True)
    print()


if __name__ == "__main__":
    main()
