#!/usr/bin/env python3
"""What the season must score, worked out the slow way.

    naive.py SAMPLE_DIR --as-of 2026-10-01T00:00:00Z [--half-life 45] > expected.json
    naive.py --self-test

Reads the event files, takes every order by itself, and asks of each what is known of it. There
are no cells, no running state and no cleverness, so that a reader can hold each rule against
its few lines. It shares nothing with the daemon: where the two differ, one of them is wrong.

Reading order: reading.py (files to orders), entries.py (what an order says in each measure),
curves.py, fleet.py (what is expected of a pair), rates.py, and here: times and scores.
"""

import argparse
import json
import sys
from pathlib import Path

import curves
import rates
from curves import AtRisk, area_between, curve, share_by, step_by
from days import DAY_MS, day_of, end_of, instant_text, parse_instant
from entries import (FORGIVING_MEASURES, LOST_AFTER_DAYS, TIME_MEASURES, Counted, Entry,
                     apply_excuses, work_out)
from fleet import Key
from rates import Moment, Priors
from reading import Reading, read_lines, read_orders
from special import beta_quantile

ARRIVAL_DAYS = (10, 15)


# ---- times -----------------------------------------------------------------------------------

def time_rows(entries: list[Entry], moment: Moment) -> list[AtRisk]:
    """Of entries that count."""
    rows = []
    for entry in entries:
        weight = moment.weight(entry.day)
        last = curves.last_whole_bucket(moment.watch(entry.day))
        if entry.ending is not None and curves.time_bucket(entry.delay) <= last:
            rows.append(AtRisk(weight, curves.time_bucket(entry.delay),
                               entry.ending == "outcome"))
        else:
            rows.append(AtRisk(weight, last, False))
    return rows


def followed_ms(entry: Entry, moment: Moment) -> int:
    """How long an order was seen on its way: until its outcome, by its bucket, or until now."""
    watch = moment.watch(entry.day)
    if entry.ending is None:
        return watch
    end = curves.bucket_end_ms(curves.time_bucket(entry.delay))
    return end if end <= watch else watch


def quantile(steps: list[curves.Step], name: str, q: float) -> dict:
    """In seconds, with limits; left out and marked where it is some single order's time."""
    step = curves.quantile_step(steps, q)
    too_few = step is not None and step.at_risk < curves.FEWEST_AT_RISK * (1.0 - 1e-12)
    buckets = (None, None, None)
    if step is not None and not too_few:
        buckets = (step.bucket, *curves.quantile_limits(steps, q))
    seconds = [None if bucket is None else curves.bucket_seconds(bucket) for bucket in buckets]
    return {name: seconds[0], f"{name}_low": seconds[1], f"{name}_high": seconds[2],
            f"{name}_too_few": too_few}


def times(entries: list[Entry | None], moment: Moment) -> dict:
    entered = [entry for entry in entries if moment.counts(entry)]
    rows = time_rows(entered, moment)
    steps = curve(rows)
    followed = [followed_ms(entry, moment) for entry in entered]
    return quantile(steps, "median", 0.5) | quantile(steps, "p90", 0.9) | {
        "entered_count": len(entered), "finished_count": sum(row.has_event for row in rows),
        "median_reached": curves.quantile_step(steps, 0.5) is not None,
        "longest_watch": max(followed) / curves.SECOND_MS if followed else None}


def arrival(entries: list[Entry | None], moment: Moment, days: int) -> dict:
    """The share that arrives within so many days, and how late the rest comes on average."""
    entered = [entry for entry in entries if moment.counts(entry)]
    steps = curve(time_rows(entered, moment))
    answer = {"days": days, "share": None, "low": None, "high": None, "late_days": None}
    is_followed = any(followed_ms(entry, moment) >= days * DAY_MS for entry in entered)
    if not is_followed and not (steps and steps[-1].left == 0.0):
        return answer
    bucket = curves.last_whole_bucket(days * DAY_MS)
    answer["share"] = share_by(steps, bucket)
    answer["late_days"] = area_between(steps, days, curves.LONGEST_DAYS, curves.bucket_days)
    step = step_by(steps, bucket)
    beta = None if step is None else step.share()
    if beta is not None and sum(beta) >= curves.FEWEST_AT_RISK * (1.0 - 1e-9):
        answer["low"], answer["high"] = (beta_quantile(q, *beta) for q in (0.025, 0.975))
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


def pairs_of(orders: list[Counted], moment: Moment) -> list[Key]:
    """Those of which somebody had paid an order by then; all of them if nobody had."""
    paid = [order for order in orders
            if order.paid_day is not None and order.paid_day < day_of(moment.as_of)]
    return sorted({rates.key_of(order) for order in paid or orders})


def score(name: str, orders: list[Counted], moment: Moment, priors: Priors) -> dict:
    """A lane counts the excused orders too; a supplier, and a pair, do not."""
    is_lane = name.startswith("lanes/")
    own = [order for order in orders if is_lane or not order.is_excused]
    under_way = [order for order in orders if is_under_way(order, moment)]
    overdue = [order for order in under_way
               if order.due_day is not None and end_of(order.due_day) <= moment.horizon]
    pairs = pairs_of(orders, moment)
    late, defect = priors.of("late", pairs), priors.of("defect", pairs)
    answer = {"name": name, "underway_count": len(under_way), "overdue_count": len(overdue),
              "late_prior": late and vars(late), "defect_prior": defect and vars(defect),
              "defect_kinds": rates.defect_kinds(own, moment)}
    for mode, ending in (("current", ""), ("average", "_average")):
        answer[f"on_time{ending}"] = rates.on_time_rate(own, moment, late, mode)
        answer[f"defect{ending}"] = rates.defect_rate(own, moment, defect, priors.ripeness, mode)
    for measure in TIME_MEASURES:
        among = own if measure in FORGIVING_MEASURES else orders
        answer[measure] = times([order.times[measure] for order in among], moment)
    answer["arrivals"] = [arrival([order.times["delivery"] for order in own], moment, days)
                          for days in ARRIVAL_DAYS]
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
    # A lane counts excused orders and so do its priors; suppliers and pairs do not.
    priors = {"suppliers": Priors([order for order in orders if not order.is_excused], moment),
              "lanes": Priors(orders, moment)}

    groups: dict[str, list[Counted]] = {}
    for order in orders:
        for name in names_of(order):
            groups.setdefault(name, []).append(order)
    # A pair always names its service, or `-`: the sum of a supplier's services on a lane is none.
    is_sum = {name for name in groups if name.startswith("suppliers/") and name.count("/") == 3}
    return {"as_of": instant_text(as_of), "news_time": instant_text(moment.news),
            "half_life_days": int(half_life) if half_life == int(half_life) else half_life,
            "fleets": {collection: {rate: fleet and fleet.evidence()
                                    for rate, fleet in priors[collection].fleets.items()}
                       for collection in priors},
            "scores": [score(name, groups[name], moment, priors[name.split("/")[0]])
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
