"""Who could get the next order and what it is expected to cost with each, worked out the slow way.

Reading order: agreements.py (what holds), outlooks.py (what orders lead to expect), and here: the
question, one candidate, all of them; then draws; then risk.
"""

import math
import random
from dataclasses import dataclass, field, replace
from pathlib import Path

import rates
from agreements import (DEFECT_COSTS, Agreements, NotKnown, Quote, converted, cost_class,
                        first_open_day, is_paused, minor_units, month_of, promised_day, quote_for,
                        read_agreements)
from days import DAY_MS, day_of, end_of
from entries import LOST_AFTER_DAYS, Counted, apply_excuses, work_out
from fleet import Key
from naive import news_through, read_lines, read_orders
from outlooks import LONGEST_PROMISE, Outlook, claims, days_of, kind_mix, outlook_of
from rates import Moment, Priors
from reading import Order

OTHER_PROMISE = 0.2         # a quoted promise that differs by more than so much is another one


# ---- the season ------------------------------------------------------------------------------

@dataclass
class Season:
    """All orders, as they were sent and as they count."""
    raw: list[Order]
    orders: list[Counted]               # along `raw`
    news: int
    agreed: Agreements
    half_life: float = 45.0
    known: dict = field(default_factory=dict)       # what was worked out before, by moment

    def latest(self) -> int:
        return max(event["instant"] for order in self.raw for event in order.events)


def read_season(folder: Path) -> Season:
    reading = read_orders(folder)
    apply_excuses(reading.orders, read_lines(folder / "excuses.csv"))
    raw = [order for order in reading.orders if order.is_known]
    return Season(raw, [work_out(order) for order in raw],
                  news_through(folder, reading.delivering_sources),
                  read_agreements(folder / "agreements"))


@dataclass
class Known:
    """What the orders say as of the last ended day."""
    priors: Priors
    of_pair: dict[Key, list[Counted]]
    outlooks: dict[Key, Outlook]
    moment: Moment


def known_at(season: Season, as_of: int) -> Known:
    moment = Moment(as_of, season.news, season.half_life).start_of_day
    if moment.as_of not in season.known:
        of_pair: dict[Key, list[Counted]] = {}
        for order in season.orders:
            of_pair.setdefault(rates.key_of(order), []).append(order)
        season.known[moment.as_of] = Known(
            Priors([order for order in season.orders if not order.is_excused], moment), of_pair,
            {key: outlook_of(orders, moment) for key, orders in of_pair.items()}, moment)
    return season.known[moment.as_of]


# ---- the question ----------------------------------------------------------------------------

@dataclass(frozen=True)
class Question:
    as_of: int
    destination: str
    item: str
    units: int = 1
    shop: str = "default"
    sale: tuple[int, str] | None = None         # minor units and currency


@dataclass
class Candidate:
    """Amounts are minor units of the currency of the costs."""
    key: Key
    landed: int
    quoted: tuple[int, str]
    promised_days: int | None
    closed_days: int
    late_share: float
    late_days: float
    waiting_days: float
    kind_shares: dict[str, float]
    dispute_share: float
    answer_days: float
    late_by_arrivals: bool
    times_assumed: bool
    parts: dict[str, float]
    late: tuple[float, float]           # Beta
    bad: tuple[float, float]
    per_late: float
    per_bad: float
    remaining: int | None
    code: str
    late_rate: tuple[float, float]      # of its on-time rate, whatever is quoted

    @property
    def deviation(self) -> float:
        return math.sqrt(math.fsum(factor * factor * a * b / ((a + b) ** 2 * (a + b + 1.0))
                                   for factor, (a, b) in ((self.per_late, self.late),
                                                          (self.per_bad, self.bad))))

    @property
    def expected(self) -> float:
        return math.fsum(self.parts.values())

    @property
    def fixed(self) -> float:
        """What does not depend on the two rates."""
        return self.expected - self.per_late * mean(self.late) - self.per_bad * mean(self.bad)

    @property
    def deviation(self) -> float:
        return math.sqrt(self.per_late ** 2 * variance(self.late)
                         + self.per_bad ** 2 * variance(self.bad))

    @property
    def expected_bad(self) -> float:
        return 1.0 - (1.0 - mean(self.late_rate)) * (1.0 - mean(self.bad))


def mean(beta: tuple[float, float]) -> float:
    return beta[0] / (beta[0] + beta[1])


def variance(beta: tuple[float, float]) -> float:
    a, b = beta
    return a * b / ((a + b) ** 2 * (a + b + 1.0))


def posterior(prior: rates.Prior, hits: float, orders: float) -> tuple[float, float]:
    if hits <= 1e-9 * orders:
        hits = 0.0
    return (max(rates.SMALLEST_PRIOR_COUNT, prior.mean * prior.strength) + hits,
            max(rates.SMALLEST_PRIOR_COUNT, (1.0 - prior.mean) * prior.strength)
            + max(orders - hits, 0.0))


def split(key: Key) -> tuple[str, str, str]:
    """Lane, destination, and service or ""."""
    lane, service = key[1].split("/")
    return lane, lane.split("-")[1], "" if service == "-" else service


def keys_to(season: Season, question: Question, day: int) -> list[Key]:
    """Those who have shipped there, and those who quote. Quoted for any service adds none where
    the supplier has shipped on the lane with services of its own."""
    shipped = {rates.key_of(order) for order in season.orders}
    keys = {key for key in shipped if split(key)[1] == question.destination}
    for quote in season.agreed.quotes:
        holds = quote.first <= day and (quote.last is None or day <= quote.last)
        if (quote.destination == question.destination and quote.item in (question.item, "")
                and quote.minimum <= question.units and holds):
            lane = f"{quote.origin}-{quote.destination}"
            has_own = any(key[0] == quote.supplier and split(key)[0] == lane for key in shipped)
            if quote.service or not has_own:
                keys.add((quote.supplier, f"{lane}/{quote.service or '-'}"))
    return sorted(keys)


# ---- one candidate ---------------------------------------------------------------------------

def paid_in_month(season: Season, supplier: str, today: int) -> int:
    terms = season.agreed.terms[supplier]
    first, following = month_of(today, terms.month_start)
    return sum(order.supplier == supplier and order.paid_day is not None
               and first <= order.paid_day < following for order in season.orders)


def remaining_of(season: Season, supplier: str, today: int, given: dict) -> int | None:
    terms = season.agreed.terms.get(supplier)
    if terms is None or terms.limit is None:
        return None
    return terms.limit - paid_in_month(season, supplier, today) - given.get(supplier, 0)


def candidate(season: Season, question: Question, key: Key, given: dict,
              now: int) -> Candidate | str:
    """Or why it could not get the order, in one word."""
    agreed, supplier = season.agreed, key[0]
    lane, _, service = split(key)
    day = day_of(question.as_of)
    terms = agreed.terms.get(supplier)
    currency = agreed.costs["currency"]
    if is_paused(agreed, supplier, day):
        return "paused"
    remaining = remaining_of(season, supplier, day_of(now), given)
    if remaining is not None and remaining <= 0:
        return "limit"
    try:
        quote = quote_for(agreed, supplier, question.item, lane, service, question.units, day)
        quoted = quote.landed(question.units)
        landed = converted(agreed, quoted, quote.currency, currency, day)
    except NotKnown as missing:
        return str(missing)

    costs = cost_class(agreed, question.shop, question.item)
    amount = {name: minor_units(costs.get(name, "0"), currency)
              for name in ("sale", "late_order", "day_late", "day_waiting", "unanswered_day")}
    if question.sale is not None:
        amount["sale"] = converted(agreed, *question.sale, currency, day)
    promise = quote.promise or (terms and terms.promise)
    opens = first_open_day(terms, day)
    promised = None if promise is None else promised_day(promise, opens, terms) - opens

    known = known_at(season, question.as_of)
    own = known.outlooks.get(key)
    pair = own if own is not None and own.orders > 0.0 else None
    there = [other for other in known.outlooks if split(other)[1] == question.destination]
    fleet = [known.outlooks[other] for other in there]
    same_lane = [known.outlooks[other] for other in there if split(other)[0] == lane]
    same_supplier = [known.outlooks[other] for other in there if other[0] == supplier]

    counted = [order for order in known.of_pair.get(key, []) if not order.is_excused]
    late_sums = rates.late_sums(counted, known.moment)
    bad_sums = rates.defect_sums(rates.defect_entries(counted, known.moment), known.moment,
                                 known.priors.ripeness)
    late_rate = posterior(known.priors.of("late", [key]), late_sums.s, late_sums.w1)
    late = late_rate
    bad = posterior(known.priors.of("defect", [key]), bad_sums.s, bad_sums.w1)
    by_arrivals = None
    if pair is not None and promised is not None and pair.promised > 0.0:
        before = pair.promised_days / pair.promised
        if abs(promised - before) > OTHER_PROMISE * before:
            by_arrivals = pair.late_beta(promised)
    late = by_arrivals or late

    mix = kind_mix(pair, same_supplier, fleet)
    shares = {kind: mean(bad) * share for kind, share in mix.items()}
    each = {}
    for kind in DEFECT_COSTS:
        cost = costs.get(kind, {"refund": 0.0, "reship": False})
        each[kind] = cost["refund"] * amount["sale"] + (landed if cost["reship"] else 0)
    late_share = 0.0 if promised is None else late_not_lost(mean(late), shares["lost"])
    days = days_of(pair, same_lane, LONGEST_PROMISE if promised is None else promised,
                   shares["lost"])
    waiting = days.waiting + (opens - day)
    late_days = 0.0 if promised is None else days.late
    dispute_share, answer_days = claims(same_supplier, fleet)
    parts = {"landed": float(landed), "late": late_share * amount["late_order"],
             "days_late": late_days * amount["day_late"],
             "waiting": waiting * amount["day_waiting"],
             "defect": math.fsum(shares[kind] * each[kind] for kind in DEFECT_COSTS[:-1]),
             "lost": shares["lost"] * each["lost"],
             "unanswered": dispute_share * answer_days * amount["unanswered_day"]}
    per_late, per_bad = slopes(mean(late), shares["lost"], mix, each,
                               0 if promised is None else amount["late_order"])
    return Candidate(key, landed, (quoted, quote.currency), promised, opens - day, late_share,
                     late_days, waiting, shares, dispute_share, answer_days,
                     by_arrivals is not None, days.assumed, parts, late, bad, per_late, per_bad,
                     remaining, agreed.code_at(supplier, question.item), late_rate)


def late_not_lost(late: float, lost: float) -> float:
    """A lost order has missed its promise as well: it is one of the late ones."""
    return max(0.0, late - lost)


def slopes(late: float, lost: float, mix: dict[str, float], each: dict[str, float],
           late_order: int) -> tuple[float, float]:
    """What the order costs more when its late rate is 1, and when its defect rate is 1. The part
    of the late ones that is lost enters by its mean, whatever the rate."""
    return (late_order * late_not_lost(late, lost) / late,
            math.fsum(mix[kind] * each[kind] for kind in DEFECT_COSTS))


# ---- all of them -----------------------------------------------------------------------------

@dataclass
class Answer:
    candidates: list[Candidate]             # by expected cost
    excluded: dict[Key, str]


def answer(season: Season, question: Question, given: dict | None = None,
           now: int | None = None) -> Answer:
    """`given`: orders assigned and not paid yet; `now`: when months are looked at."""
    now = season.latest() if now is None else now
    candidates, excluded = [], {}
    for key in keys_to(season, question, day_of(question.as_of)):
        found = candidate(season, question, key, given or {}, now)
        if isinstance(found, str):
            excluded[key] = found
        else:
            candidates.append(found)
    return Answer(sorted(candidates, key=lambda one: (one.expected, one.key)), excluded)


# ---- draws -----------------------------------------------------------------------------------

def draws_of(one: Candidate, count: int, dice: random.Random) -> list[float]:
    return [one.fixed + one.per_late * dice.betavariate(*one.late)
            + one.per_bad * dice.betavariate(*one.bad) for _ in range(count)]


def chances(draws: list[list[float]]) -> list[float]:
    """How often each is the cheapest of a joint draw."""
    wins = [0] * len(draws)
    for costs in zip(*draws):
        wins[costs.index(min(costs))] += 1
    return [won / len(draws[0]) for won in wins]


def quantile_range(draws: list[float], q: float, errors: float = 4.0) -> tuple[float, float]:
    """The draws that stand so many standard errors of their number before and after the quantile's
    place."""
    ordered = sorted(draws)
    place, error = q * len(draws), errors * math.sqrt(q * (1.0 - q) * len(draws))
    return (ordered[max(0, math.floor(place - error) - 1)],
            ordered[min(len(draws) - 1, math.ceil(place + error))])


SHARPENING = 4.0
REACH = 0.15                # standard deviations of the difference of two costs
LIVE_WEIGHT = 5.0           # orders' worth that a floor keeps known
FLOOR_BUDGET = 0.0005       # of the lowest expected cost


def orders_a_day(season: Season, question: Question) -> float:
    """To its destination: steady orders of n a day weigh n half-lives / ln 2."""
    weight = math.fsum(one.orders for key, one in known_at(season, question.as_of).outlooks.items()
                       if split(key)[1] == question.destination)
    return weight * math.log(2.0) / season.half_life


def shares_to_give(season: Season, question: Question, candidates: list[Candidate], count: int,
                   dice: random.Random) -> list[float]:
    """The first gets what the others leave: who is near it its chance of being cheapest once all
    are believed more firmly, who is not and might yet be cheaper a floor as far as the budget for
    floors goes, and together not more than the caps."""
    trials = season.agreed.costs.get("trials", {})
    if not trials.get("on", False):
        return [1.0] + [0.0] * (len(candidates) - 1)
    firm = [replace(one, late=(SHARPENING * one.late[0], SHARPENING * one.late[1]),
                    bad=(SHARPENING * one.bad[0], SHARPENING * one.bad[1]))
            for one in candidates]
    floor = (LIVE_WEIGHT * math.log(2.0) / season.half_life) / orders_a_day(season, question)
    draws = [sorted(draws_of(one, count, dice)) for one in candidates]
    low, high = round(0.025 * count), round(0.975 * count)
    first = candidates[0]
    near = [one.expected - first.expected <=
            REACH * math.hypot(one.deviation, first.deviation) for one in candidates]
    open_ = [own[low] <= draws[0][high] for own in draws]
    floors = math.fsum(floor * (one.expected - first.expected)
                       for one, close, may in zip(candidates, near, open_) if may and not close)
    fraction = min(1.0, FLOOR_BUDGET * first.expected / floors) if floors > 0.0 else 1.0
    given = [0.0 if not may else max(chance, floor) if close else fraction * floor
             for chance, close, may in zip(chances([draws_of(one, count, dice) for one in firm]),
                                           near, open_)]
    others = math.fsum(given[1:])
    dearer = math.fsum(share * (one.expected - candidates[0].expected)
                       for share, one in zip(given[1:], candidates[1:]))
    scale = 1.0
    if others > 0.0:
        scale = min(scale, trials.get("most_share", 0.2) / others)
    if dearer > 0.0 and "most_cost" in trials:
        most = minor_units(trials["most_cost"], season.agreed.costs["currency"])
        scale = min(scale, most / dearer)
    return [1.0 - scale * others] + [scale * share for share in given[1:]]


# ---- risk ------------------------------------------------------------------------------------

@dataclass
class Risk:
    underway: int = 0
    exposure: dict[str, int] = field(default_factory=dict)
    order_count: int = 0
    paid: dict[str, int] = field(default_factory=dict)
    charged: dict[str, list[int]] = field(default_factory=dict)     # orders, charged, quoted
    last_event: int | None = None


def cost_of(order: Order) -> tuple[int, str] | None:
    """From the earliest event that states it."""
    for event in order.events:
        if "cost" in event:
            return minor_units(event["cost"], event["currency"]), event["currency"]
    return None


def is_waited_for(order: Counted, due_day: int | None, moment: Moment) -> bool:
    """Paid, and neither closed by whatever nor given up as lost; nothing is without a promise."""
    if order.paid_day is None or order.closing_days:
        return False
    return due_day is None or end_of(due_day + LOST_AFTER_DAYS) > moment.horizon


def due_by_quote(season: Season, order: Order, counted: Counted) -> int | None:
    """Its own promise, or that of the quote that held when it was paid."""
    if counted.due_day is not None or counted.paid_day is None:
        return counted.due_day
    quote = quote_of(season, order, counted)
    if quote is None or quote.promise is None:
        return None
    return promised_day(quote.promise, counted.paid_day,
                        season.agreed.terms.get(counted.supplier))


def risks(season: Season, now: int, days: int = 90,
          quotes_loaded_first: bool = False) -> dict[str, Risk]:
    moment = Moment(now, season.news, season.half_life)
    found: dict[str, Risk] = {}
    for order, counted in zip(season.raw, season.orders):
        risk = found.setdefault(counted.supplier, Risk())
        latest = max(event["instant"] for event in order.events)
        risk.last_event = max(latest, risk.last_event or latest)
        cost = cost_of(order)
        due = due_by_quote(season, order, counted) if quotes_loaded_first else counted.due_day
        if is_waited_for(counted, due, moment):
            risk.underway += 1
            add(risk.exposure, cost)
        if counted.paid_day is not None and counted.paid_day > day_of(now) - days:
            risk.order_count += 1
            is_replacement = order.fact("replaces") is not None
            if not is_replacement:
                add(risk.paid, cost)
            quote = quote_of(season, order, counted) if quotes_loaded_first else None
            if quote is not None and cost is not None and cost[1] == quote.currency \
                    and not is_replacement:
                sums = risk.charged.setdefault(cost[1], [0, 0, 0])
                for i, amount in enumerate((1, cost[0], quote.landed(units_of(order)))):
                    sums[i] += amount
    return found


def add(sums: dict[str, int], money: tuple[int, str] | None) -> None:
    if money is not None:
        sums[money[1]] = sums.get(money[1], 0) + money[0]


def units_of(order: Order) -> int:
    return int(order.fact("units") or 1)


def quote_of(season: Season, order: Order, counted: Counted) -> Quote | None:
    """The one that held when it was paid."""
    service = "" if counted.service == "-" else counted.service
    try:
        return quote_for(season.agreed, counted.supplier, order.fact("item") or "", counted.lane,
                         service, units_of(order), counted.paid_day)
    except NotKnown:
        return None


def concentration(amounts: list[float]) -> float | None:
    """Herfindahl and Hirschman's: squared shares in percent, summed."""
    total = math.fsum(amounts)
    if total == 0.0:
        return None
    return math.fsum((100.0 * amount / total) ** 2 for amount in amounts)


def silent_days(risk: Risk, now: int) -> float | None:
    if risk.underway == 0 or risk.last_event is None:
        return None
    return (now - risk.last_event) / DAY_MS
