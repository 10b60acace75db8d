"""What the daemon answers about the sample season is what R says of the same orders.

What an order says in each measure is worked out by tests/support/season, which shares no code with
the daemon; curves, limits and quantiles of beta distributions are R's (tests/reference). Compared
are, for every supplier, lane and pair, median and 90th percentile of each time with their limits,
and both rates with theirs, these under the prior that the answer itself names. Not compared are the
priors.
"""
import csv
import io
import math
import os
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

from harness import Daemon, Folder, ROOT, SAMPLE, main, send_season

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
from curves import bucket_seconds, last_whole_bucket, time_bucket  # noqa: E402
from days import DAY_MS, day_of, end_of, instant_text, parse_instant  # noqa: E402
from entries import FORGIVING_MEASURES, TIME_MEASURES, apply_excuses, work_out  # noqa: E402
from reading import read_lines, read_orders  # noqa: E402

AS_OF = "2026-10-01T00:00:00Z"
HALF_LIFE_DAYS = 45
SETTLE_DELAY_MS = DAY_MS
CLAIM_WINDOW_DAYS = 60
FEWEST_AT_RISK = 5
SMALLEST_PRIOR_COUNT = 0.05
# Times are counted in buckets 2 % apart and answered in whole milliseconds: a time is the bucket's
# to a rounded millisecond, and one bucket off is a second or more.
SECONDS = 0.00051
# Sums of some thousand weights and quantiles of beta distributions, both computed twice in doubles;
# the largest difference seen is printed. The oldest order alone moves a rate by more than 1e-5.
RELATIVE = 1e-9


def why_not():
    """Says what is missing; nothing when R can be run."""
    if shutil.which("Rscript") is None:
        return "Rscript is missing (Debian: r-base-core)"
    loaded = subprocess.run(["Rscript", "-e", "library(survival)"], capture_output=True, text=True)
    if loaded.returncode != 0:
        return "R's package survival is missing (Debian: r-cran-survival)"
    return None


def run_r(command, columns, rows):
    """What recompute.R says of the rows: {group: {(figure, at): value}}."""
    table = io.StringIO()
    csv.writer(table).writerows([columns, *rows])
    script = os.path.join(ROOT, "tests", "reference", "recompute.R")
    done = subprocess.run(["Rscript", script, command], input=table.getvalue(),
                          capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, done.stderr
    figures = {}
    for line in csv.DictReader(io.StringIO(done.stdout)):
        at = float(line["at"]) if line["at"] else None
        figures.setdefault(line["group"], {})[line["figure"], at] = float(line["value"])
    return figures


# ---- the season, order by order --------------------------------------------------------------

def names_of(order):
    """The scores it counts in; `pairs` and `lanes` are all that count for pairs, and for lanes."""
    lane, supplier = f"lanes/{order.lane}", f"suppliers/{order.supplier}"
    return [supplier, lane, f"{lane}/{order.service}", f"{supplier}/{lane}/{order.service}",
            "pairs", "lanes"]


@cache
def season():
    """(up to when outcomes are known, {name: its orders})."""
    folder = Path(SAMPLE)
    reading = read_orders(folder)
    apply_excuses(reading.orders, read_lines(folder / "excuses.csv"))
    news = min(parse_instant(source["complete_through"])
               for source in read_lines(folder / "sources.csv")
               if source["source"] in reading.delivering_sources)
    groups = {}
    for order in reading.orders:
        if order.is_known:
            counted = work_out(order)
            for name in names_of(counted):
                groups.setdefault(name, []).append(counted)
    return min(parse_instant(AS_OF) - SETTLE_DELAY_MS, news), groups


def watch(entry):
    return season()[0] - end_of(entry.day)


def weight(entry):
    return 2 ** (-(day_of(parse_instant(AS_OF)) - entry.day) / HALF_LIFE_DAYS)


def watched(entries):
    """Those that count at all: no fault, and the day of their cohort is over."""
    return [entry for entry in entries if entry is not None and watch(entry) >= 0
            and not getattr(entry, "is_fault", False)]


def unforgiven(name, orders):
    """A lane counts the excused orders too; a supplier, and a pair, do not."""
    return [order for order in orders if name.startswith("lanes") or not order.is_excused]


def at_risk(entry, unit_of, last):
    """(duration, event, weight) of an order that is at risk up to and including `last`, or up to
    its ending; none when in no unit."""
    ended = entry.ending is not None and unit_of(entry.delay) <= last
    until = unit_of(entry.delay) if ended else last
    if until < 0:
        return None
    return until, int(ended and entry.ending == "outcome"), weight(entry)


def time_rows(name, measure, orders):
    among = unforgiven(name, orders) if measure in FORGIVING_MEASURES else orders
    return [at_risk(entry, time_bucket, last_whole_bucket(watch(entry)))
            for entry in watched(order.times[measure] for order in among)]


def defects(name, orders):
    return watched(order.defect for order in unforgiven(name, orders))


def defect_rows(name, orders):
    return [at_risk(entry, int, watch(entry) // DAY_MS) for entry in defects(name, orders)]


@cache
def curves():
    """R's curve figures of every name and measure, in buckets and, of defects, in days."""
    table = []
    for name, orders in season()[1].items():
        rows = {measure: time_rows(name, measure, orders) for measure in TIME_MEASURES}
        rows["defect"] = defect_rows(name, orders)
        table += [(f"{name} {measure}", *row) for measure in rows for row in rows[measure] if row]
    return run_r("curves", ("group", "duration", "event", "weight"), table)


def share_by(figures, unit):
    steps = [(at, value) for (figure, at), value in figures.items()
             if figure == "survival" and at <= unit]
    return 1 - max(steps)[1] if steps else 0.0


def late_counts(name, orders):
    """(late orders, orders), by weight."""
    settled = watched(order.on_time for order in unforgiven(name, orders))
    return (math.fsum(weight(entry) for entry in settled if entry.is_late),
            math.fsum(weight(entry) for entry in settled))


def defect_counts(name, orders):
    """(defects, orders as far as they are ripe: by R's curve of all orders), by weight."""
    pool = curves()["lanes defect" if name.startswith("lanes") else "pairs defect"]
    ripe = [share_by(pool, day) for day in range(CLAIM_WINDOW_DAYS + 1)]
    hits = total = 0.0
    for entry in defects(name, orders):
        days = min(watch(entry) // DAY_MS, CLAIM_WINDOW_DAYS)
        total += weight(entry) * ripe[days] / ripe[CLAIM_WINDOW_DAYS]
        if entry.ending == "outcome" and entry.delay <= days:
            hits += weight(entry)
    return hits, total


# ---- the daemon's answers --------------------------------------------------------------------

def ask_all(daemon):
    """Every score that the commands show, the same subject from each of them."""
    def ask(*words):
        return daemon.ask(*words, "--as-of", AS_OF)

    scores = []
    for words in ("suppliers",), ("lanes",):
        scores += ask(*words)["scores"]
    for name in [score["name"] for score in scores]:
        collection, subject = name.split("/", 1)
        score = ask(collection.removesuffix("s"), subject)
        scores += [score, *score["pairs"]]
    served = {name for name in season()[1] if name.startswith("lanes/") and name.count("/") == 2}
    scores += [ask("lane", name.removeprefix("lanes/")) for name in sorted(served)]
    wrong = [score["name"] for score in scores
             if score["asOfTime"] != AS_OF or score["halfLife"] != f"{HALF_LIFE_DAYS * 86400}s"]
    assert not wrong, f"another moment or half-life: {wrong[:5]}"
    return scores


class Comparison:
    def __init__(self):
        self.found = []
        self.largest = {"times": 0.0, "rates": 0.0}
        self.count = {"times": 0, "rates": 0, "absent": 0, "too few": 0}

    def check(self, kind, what, ours, theirs, tolerance):
        """None is absent, and equals only itself."""
        if ours is None and theirs is None:
            self.count["absent"] += 1
            return
        self.count[kind] += 1
        far = math.inf if None in (ours, theirs) else abs(ours - theirs)
        if kind == "rates" and math.isfinite(far):
            far /= abs(theirs)
        if far <= tolerance:
            self.largest[kind] = max(self.largest[kind], far)
        else:
            self.found.append(f"{what}: {ours}, R has {theirs}")


def seconds(duration):
    return None if duration is None else float(duration.rstrip("s"))


def compare_times(score, comparison):
    for measure in TIME_MEASURES:
        figures = curves().get(f"{score['name']} {measure}", {})
        for quantile, q in (("median", 0.5), ("p90", 0.9)):
            what = f"{score['name']} {measure}.{quantile}"
            times = score[measure]
            bucket = figures.get(("quantile", q))
            too_few = (bucket is not None
                       and figures["at_risk", bucket] < FEWEST_AT_RISK * (1 - 1e-12))
            if times[quantile + "TooFew"] != too_few:
                comparison.found.append(f"{what}: too few should be {too_few}")
            comparison.count["too few"] += too_few
            if quantile == "median" and times["medianReached"] != (bucket is not None):
                comparison.found.append(f"{what}: reached should be {bucket is not None}")
            for end in ("", "_low", "_high"):
                bucket = None if too_few else figures.get(("quantile" + end, q))
                comparison.check("times", what + end,
                                 seconds(times.get(quantile + end[1:].capitalize())),
                                 None if bucket is None else bucket_seconds(int(bucket)), SECONDS)


def compare_rates(scores, comparison):
    """One run of R for all: a row a score and rate, with the counts it rests on."""
    table, asked = [], []
    for score in scores:
        name = score["name"]
        observed = share_by(curves().get(f"{name} defect", {}), CLAIM_WINDOW_DAYS)
        if score["defect"].get("observed") is not None:
            comparison.check("rates", f"{name} defect.observed", 1 - score["defect"]["observed"],
                             1 - observed, RELATIVE)
        for rate, prior, counts in (("onTime", "latePrior", late_counts),
                                    ("defect", "defectPrior", defect_counts)):
            hits, total = counts(name, season()[1][name])
            if total == 0:
                if "estimate" in score[rate]:
                    comparison.found.append(f"{name} {rate}: an estimate without orders")
                continue
            prior = score[prior]
            a = max(SMALLEST_PRIOR_COUNT, prior["mean"] * prior["strength"])
            b = max(SMALLEST_PRIOR_COUNT, (1 - prior["mean"]) * prior["strength"])
            asked.append((f"{name} {rate}", score[rate]))
            table.append((len(table), *(repr(number) for number in (hits, total, a, b))))
    theirs = run_r("rates", ("group", "late", "n", "prior_a", "prior_b"), table)
    for row, (what, ours) in enumerate(asked):
        figures = {figure: value for (figure, _), value in theirs[str(row)].items()}
        if what.endswith("onTime"):
            figures = {"estimate": 1 - figures["estimate"], "low": 1 - figures["high"],
                       "high": 1 - figures["low"]}
        for figure, value in figures.items():
            comparison.check("rates", f"{what}.{figure}", ours.get(figure), value, RELATIVE)


def compare(daemon):
    comparison = Comparison()
    scores = ask_all(daemon)
    for score in scores:
        compare_times(score, comparison)
    compare_rates(scores, comparison)
    return comparison


# ---- tests -----------------------------------------------------------------------------------

def times_and_rates_are_those_of_r():
    if missing := why_not():
        return missing
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            send_season(daemon)
            comparison = compare(daemon)
        finally:
            daemon.stop()
    found, count = comparison.found, comparison.count
    assert not found, f"{len(found)} figures differ, the first:\n" + "\n".join(found[:10])
    assert count["times"] > 500 and count["rates"] > 500, count
    print(f"{count}, largest difference {comparison.largest}")


def one_order_that_came_sooner_is_noticed():
    """Control. A late order of the newest supplier is said to have come a day after it left."""
    if missing := why_not():
        return missing
    orders = read_orders(Path(SAMPLE)).orders
    late = next(order for order in orders if order.supplier == "pomelo-yard"
                and work_out(order).on_time and work_out(order).on_time.is_late
                and order.first_time("shipped"))
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            send_season(daemon)
            shipped = late.of_type("shipped")[0]["instant"] + DAY_MS
            daemon.run("record", late.order_id, "delivered", "--shop", late.shop, "--time",
                       instant_text(shipped), check=0)
            found = compare(daemon).found
        finally:
            daemon.stop()
    for figure in ("transit.median", "delivery.median", "onTime.estimate"):
        assert any(f"pomelo-yard {figure}" in text for text in found), (figure, found[:20])


if __name__ == "__main__":
    main([times_and_rates_are_those_of_r, one_order_that_came_sooner_is_noticed])
