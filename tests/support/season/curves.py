"""Curves of who has had the event by when, their limits, and the buckets that times fall into."""

import math
import sys
from dataclasses import dataclass
from functools import cache

from days import DAY_MS

SECOND_MS = 1000
NORMAL_LIMIT = 1.9599639845400542       # of 95 %
FEWEST_AT_RISK = 5.0
LONGEST_DAYS = 120


# ---- curves ----------------------------------------------------------------------------------

@dataclass(frozen=True)
class AtRisk:
    """One order in a curve: at risk up to and including a bucket, with its event there or not."""
    weight: float
    last_bucket: int
    has_event: bool
    kind: str | None = None         # of the event, where there are several


@dataclass(frozen=True)
class Step:
    bucket: int
    left: float                     # share without the event after this bucket
    spread: float                   # its standard deviation, divided by it; 0 when nobody is left
    at_risk: float                  # as many equal orders would be at risk here

    def limits(self) -> tuple[float, float] | None:
        """95 % limits of `left`, on the scale of log(-log)."""
        if not 0.0 < self.left < 1.0:
            return None
        stretch = math.exp(NORMAL_LIMIT * self.spread / abs(math.log(self.left)))
        return self.left ** stretch, self.left ** (1.0 / stretch)

    def share(self) -> tuple[float, float] | None:
        """The share with the event, as the a and b of a Beta with its mean and variance."""
        if not 0.0 < self.left < 1.0 or self.spread == 0.0:
            return None
        orders = (1.0 - self.left) / (self.left * self.spread ** 2)     # S (1 - S)/Var S
        return orders * (1.0 - self.left), orders * self.left


def curve(rows: list[AtRisk]) -> list[Step]:
    """Weighted Kaplan-Meier with the infinitesimal jackknife: one step where events are."""
    steps = []
    left = 1.0
    pulls = [0.0] * len(rows)       # how far each order, per weight, moves log S
    for bucket in sorted({row.last_bucket for row in rows if row.has_event}):
        here = [row for row in rows if row.last_bucket >= bucket]
        at_risk = math.fsum(row.weight for row in here)
        events = math.fsum(row.weight for row in here
                           if row.has_event and row.last_bucket == bucket)
        others = math.fsum(row.weight for row in here
                           if not (row.has_event and row.last_bucket == bucket))
        left *= others / at_risk
        spread = 0.0
        if left > 0.0:
            for i, row in enumerate(rows):
                if row.last_bucket >= bucket:
                    has_it_here = row.has_event and row.last_bucket == bucket
                    pulls[i] -= (has_it_here - events / at_risk) / others
            spread = math.sqrt(math.fsum((row.weight * pull) ** 2
                                         for row, pull in zip(rows, pulls)))
        largest = max(row.weight for row in here)      # squares of small ones are no numbers
        parts = [row.weight / largest for row in here]
        orders = math.fsum(parts) ** 2 / math.fsum(part ** 2 for part in parts)
        steps.append(Step(bucket, left, spread, orders))
    return steps


def step_by(steps: list[Step], bucket: int) -> Step | None:
    """The last step up to a bucket."""
    before = [step for step in steps if step.bucket <= bucket]
    return before[-1] if before else None


def share_by(steps: list[Step], bucket: int) -> float:
    """The share with the event by a bucket: 1 - S."""
    step = step_by(steps, bucket)
    return 0.0 if step is None else 1.0 - step.left


def shares_by_kind(rows: list[AtRisk], last_bucket: int) -> dict[str, float]:
    """Aalen and Johansen's: each day's events are split among the kinds seen on it."""
    shares: dict[str, float] = {}
    left = 1.0
    for step in curve(rows):
        if step.bucket > last_bucket:
            break
        at_risk = math.fsum(row.weight for row in rows if row.last_bucket >= step.bucket)
        for row in rows:
            if row.has_event and row.last_bucket == step.bucket:
                shares[row.kind] = shares.get(row.kind, 0.0) + left * row.weight / at_risk
        left = step.left
    return shares


def has_come_to(what: str, left: float, q: float) -> bool:
    enough = q * (1.0 - 1e-12)
    if abs(1.0 - left - enough) < 1e-14:
        print(f"warning: rounding decides the {what} of a quantile {q}", file=sys.stderr)
    return 1.0 - left >= enough


def quantile_step(steps: list[Step], q: float) -> Step | None:
    """The first step by which the share q has had the event."""
    return next((step for step in steps if has_come_to("value", step.left, q)), None)


def quantile_limits(steps: list[Step], q: float) -> tuple[int | None, int | None]:
    """The buckets at which the lower and then the upper limit of S say the same."""
    bounds: list[int | None] = [None, None]
    for side in (0, 1):
        for step in steps:
            limits = step.limits()
            if limits is not None and has_come_to("limit", limits[side], q):
                bounds[side] = step.bucket
                break
    return bounds[0], bounds[1]


def area_between(steps: list[Step], start: float, end: float, time_of) -> float:
    """The integral of S over time, where a step falls at time_of(its bucket)."""
    times = [start] + [min(max(time_of(step.bucket), start), end) for step in steps] + [end]
    values = [1.0] + [step.left for step in steps]
    return math.fsum(value * (until - since)
                     for value, since, until in zip(values, times, times[1:]))


# ---- buckets ---------------------------------------------------------------------------------

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


def bucket_end_ms(bucket: int) -> int:
    """The last whole millisecond of a bucket."""
    return ZERO_END_MS if bucket == ZERO_BUCKET else 101 ** bucket * SECOND_MS // 99 ** bucket


def bucket_seconds(bucket: int) -> float:
    return 0.0 if bucket == ZERO_BUCKET else representative(bucket)


def bucket_days(bucket: int) -> float:
    return bucket_seconds(bucket) * SECOND_MS / DAY_MS


def last_whole_bucket(watch: int) -> int:
    """The last bucket that ends within a watch; -1 if none does."""
    if watch < ZERO_END_MS:
        return -1
    bucket = log_bucket(watch)
    if not ends_by(bucket, watch):
        bucket -= 1
    return bucket if bucket >= time_bucket(ZERO_END_MS) else ZERO_BUCKET
