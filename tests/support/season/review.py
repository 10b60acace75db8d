"""What a review must say, counted order by order from the event files.

Figures are named as in the JSON of the answer. Shares nothing with the daemon; like the rest of
this folder it takes every order by itself and asks what is known of it.
"""

import math
from dataclasses import dataclass
from datetime import date, timedelta

import curves
from agreements import converted, cost_class, minor_units
from days import DAY_MS, date_text, day_of, end_of
from entries import (CUSTOMER_REASONS, DEFECT_KINDS, FORGIVING_MEASURES, TIME_MEASURES, Counted,
                     covers, is_supplier_refund)
from naive import time_rows, times
from rates import CLAIM_WINDOW_DAYS, Moment, is_known_defect, watch_days
from reading import Order
from sourcing import LOST_AFTER_DAYS, Season, add, concentration, cost_of, quote_of, units_of

Z = 1.9599639845400542
FEWEST = 10


# ---- shares and comparisons --------------------------------------------------------------------

def wilson(hits: int, orders: int) -> tuple[float, float]:
    p, n = hits / orders, orders
    middle, spread = p + Z * Z / (2 * n), Z * math.sqrt(p * (1 - p) / n + Z * Z / (4 * n * n))
    low, high = ((middle + sign * spread) / (1 + Z * Z / n) for sign in (-1, 1))
    return (0.0 if hits == 0 else low), (1.0 if hits == orders else high)


def share(hits: int, orders: int, of_hits: bool) -> dict:
    said = {"orderCount": orders, "hitCount": hits, "tooThin": orders < FEWEST}
    if orders:
        part = hits if of_hits else orders - hits
        said |= {"observed": part / orders}
        said["low"], said["high"] = wilson(part, orders)
    return said


def newcombe(x1, n1, x2, n2):
    p1, p2 = x1 / n1, x2 / n2
    (l1, u1), (l2, u2) = wilson(x1, n1), wilson(x2, n2)
    return (p1 - p2, p1 - p2 - math.hypot(p1 - l1, u2 - p2),
            p1 - p2 + math.hypot(u1 - p1, p2 - l2))


def p_value(x1, n1, x2, n2):
    n, hits = n1 + n2, x1 + x2
    if min(n1, n2) * min(hits, n - hits) >= n:          # every count expected is 1 or more
        chi = (n - 1) * (x1 * n2 - x2 * n1) ** 2 / (n1 * n2 * hits * (n - hits))
        return math.erfc(math.sqrt(chi / 2))
    ways = [math.comb(n1, k) * math.comb(n2, hits - k)
            for k in range(max(0, hits - n2), min(n1, hits) + 1)]
    seen = math.comb(n1, x1) * math.comb(n2, x2)
    return sum(one for one in ways if one <= seen) / sum(ways)


def times_p_value(now: list[curves.AtRisk], then: list[curves.AtRisk]) -> tuple[float, bool]:
    """Harrington and Fleming's G-rho test with rho = 1, order by order; whether now takes longer."""
    difference = variance = 0.0
    waiting = 1.0
    for bucket in sorted({row.last_bucket for row in now + then if row.has_event}):
        here = [[row for row in rows if row.last_bucket >= bucket] for rows in (now, then)]
        at_risk = len(here[0]) + len(here[1])
        done = [sum(row.has_event and row.last_bucket == bucket for row in rows) for rows in here]
        events, share = sum(done), len(here[0]) / at_risk
        difference += waiting * (done[0] - events * share)
        if at_risk > 1:
            variance += waiting ** 2 * events * share * (1 - share) * (at_risk - events) \
                / (at_risk - 1)
        waiting *= 1 - events / at_risk
    if variance <= 1e-12:                               # nothing tells them apart
        return 1.0, False
    return math.erfc(abs(difference) / math.sqrt(2 * variance)), difference < 0


def adjusted(p_values: list[float]) -> list[float]:
    order = sorted(range(len(p_values)), key=lambda i: p_values[i])
    answer, least = [0.0] * len(p_values), 1.0
    for rank in range(len(order), 0, -1):
        least = min(least, p_values[order[rank - 1]] * len(order) / rank)
        answer[order[rank - 1]] = least
    return answer


# ---- what is asked -----------------------------------------------------------------------------

@dataclass(frozen=True)
class Asked:
    first: int
    last: int
    moment: Moment                  # its half-life is infinite
    limit: int                      # the last day whose payments, claims, refunds count
    quotes_first: bool = False      # they were loaded before the orders were sent

    def holds(self, day: int | None) -> bool:
        return day is not None and self.first <= day <= self.last


def day_number(text: str) -> int:
    return (date.fromisoformat(text) - date(1970, 1, 1)).days


def asked_for(season: Season, first: str, last: str, as_of: int | None, quotes_first=False):
    now = season.latest() if as_of is None else as_of
    limit = day_of(now) - (0 if as_of is None else 1)
    return Asked(day_number(first), day_number(last), Moment(now, season.news, math.inf), limit,
                 quotes_first)


Pair = tuple[Order, Counted]


def kept(pairs: list[Pair], counts_excused: bool) -> list[Pair]:
    return [pair for pair in pairs if counts_excused or not pair[1].is_excused]


def due(pairs: list[Pair], asked: Asked) -> list[Pair]:
    """Those whose promised day lies in the period and is over, and which count as on time or not."""
    return [(order, counted) for order, counted in pairs
            if asked.moment.counts(counted.on_time) and asked.holds(counted.on_time.day)]


# ---- figures -----------------------------------------------------------------------------------

def figures(season: Season, pairs: list[Pair], asked: Asked, counts_excused: bool) -> dict:
    own, moment = kept(pairs, counts_excused), asked.moment
    settled = due(own, asked)
    late = sum(counted.on_time.is_late for _, counted in settled)
    said = {"orderCount": sum(asked.holds(counted.paid_day) and counted.paid_day <= asked.limit
                              for _, counted in pairs),
            "onTime": share(late, len(settled), False)}
    everybody = due(pairs, asked)
    if len(everybody) > len(settled):
        said["onTimeWithoutExcuses"] = share(
            sum(counted.on_time.is_late for _, counted in everybody), len(everybody), False)
    delays = late_days(settled, moment)
    said["lateArrivedCount"] = len(delays)
    if delays:
        said["meanDaysLate"] = sum(delays) / len(delays)
    defects = [counted.defect for _, counted in own
               if moment.counts(counted.defect) and asked.holds(counted.defect.day)]
    known = [entry.kind for entry in defects if is_known_defect(entry, moment)]
    said["defect"] = share(len(known), len(defects), True)
    said["defectKinds"] = {kind: known.count(kind) for kind in DEFECT_KINDS if kind in known}
    said["immatureCount"] = sum(watch_days(entry, moment) < CLAIM_WINDOW_DAYS for entry in defects)
    said["unsettledCount"] = sum(
        counted.on_time is not None and asked.holds(counted.on_time.day)
        and end_of(counted.on_time.day) > moment.horizon
        and (counted.paid_day is None or counted.paid_day <= asked.limit) for _, counted in pairs)
    for measure in TIME_MEASURES:
        among = own if measure in FORGIVING_MEASURES else pairs
        entries = [counted.times[measure] for _, counted in among]
        said[measure] = times([entry for entry in entries
                               if entry is not None and asked.holds(entry.day)], moment)
    said["outOfStockCount"] = sum(is_out_of_stock(order, counted, asked)
                                  for order, counted in pairs)
    said["money"] = money(season, pairs, asked)
    return said


def late_days(settled: list[Pair], moment: Moment) -> list[int]:
    """Of the late ones that are known to have arrived."""
    found = []
    for order, counted in settled:
        delivered = order.first_time("delivered")
        if counted.on_time.is_late and delivered is not None:
            days = max(0, day_of(delivered) - counted.on_time.day)
            if days <= moment.watch(counted.on_time.day) // DAY_MS:
                found.append(days)
    return found


def waiting(pairs: list[Pair], asked: Asked, measure: str, counts_excused: bool):
    """Orders of a measure's times in the period, and when each was done or last seen waiting."""
    own, moment = kept(pairs, counts_excused), asked.moment
    if measure == "days_late":
        rows = []
        for order, counted in due(own, asked):
            if counted.on_time.is_late:
                days = late_days([(order, counted)], moment)
                over = moment.watch(counted.on_time.day) // DAY_MS
                rows.append(curves.AtRisk(1.0, days[0] if days else over, bool(days)))
        return rows
    among = own if measure in FORGIVING_MEASURES else pairs
    entries = [counted.times[measure] for _, counted in among]
    return time_rows([entry for entry in entries if moment.counts(entry)
                      and asked.holds(entry.day)], moment)


def is_out_of_stock(order: Order, counted: Counted, asked: Asked) -> bool:
    cancelled = order.of_type("cancelled")
    return bool(cancelled) and cancelled[0].get("reason") == "out_of_stock" \
        and asked.holds(counted.paid_day) and counted.paid_day <= asked.limit \
        and day_of(cancelled[0]["instant"]) <= asked.limit


def amount(event: dict, name: str) -> tuple[int, str]:
    return minor_units(event[name], event["currency"]), event["currency"]


def money(season: Season, pairs: list[Pair], asked: Asked) -> dict:
    sums: dict[str, dict[str, int]] = {}

    def put(currency, **more):
        of = sums.setdefault(currency, dict.fromkeys(
            ("paid", "replacements", "refundedBySupplier", "refundedByShop", "claimed", "owed",
             "owedOrderCount", "quotedOrderCount", "charged", "quoted", "overchargedOrderCount",
             "overcharged"), 0))
        for name, value in more.items():
            of[name] += value

    for order, counted in pairs:
        paid = asked.holds(counted.paid_day) and counted.paid_day <= asked.limit
        cost, is_replacement = cost_of(order), order.fact("replaces") is not None
        if paid and cost is not None and not is_replacement:
            put(cost[1], paid=cost[0])
            quote = quote_of(season, order, counted) if asked.quotes_first else None
            if quote is not None and quote.currency == cost[1]:
                landed = quote.landed(units_of(order))
                put(cost[1], quotedOrderCount=1, charged=cost[0], quoted=landed)
                if landed < cost[0]:
                    put(cost[1], overchargedOrderCount=1, overcharged=cost[0] - landed)
        if paid:
            for replacing in replacements(season).get((order.shop, order.order_id, order.part), []):
                cost = cost_of(replacing)
                if cost is not None:
                    put(cost[1], paid=cost[0], replacements=cost[0])
        refunds = [event for event in order.of_type("refunded")
                   if "refund" in event and day_of(event["instant"]) <= asked.limit]
        for event in refunds:
            if asked.holds(day_of(event["instant"])):
                side = "refundedBySupplier" if is_supplier_refund(event) else "refundedByShop"
                put(event["currency"], **{side: amount(event, "refund")[0]})
        claim = next((amount(event, "claim") for event in order.events if "claim" in event), None)
        disputed = order.first_time("disputed")
        if claim and disputed is not None and asked.holds(day_of(disputed)) \
                and day_of(disputed) <= asked.limit:
            back = sum(amount(event, "refund")[0] for event in refunds
                       if is_supplier_refund(event) and event["currency"] == claim[1])
            owed = max(0, claim[0] - back)
            put(claim[1], claimed=claim[0], owed=owed, owedOrderCount=int(owed > 0))
    return sums


def replacements(season: Season) -> dict[tuple, list[Order]]:
    """By the part they replaced in the end; worked out once."""
    if "replacements" not in season.known:
        of = {(one.shop, one.order_id, one.part): one for one in season.raw}
        found: dict[tuple, list[Order]] = {}
        for order in season.raw:
            part = order
            while part.fact("replaces") is not None:
                part = of[order.shop, order.order_id, int(part.fact("replaces"))]
            if part is not order:
                found.setdefault((part.shop, part.order_id, part.part), []).append(order)
        season.known["replacements"] = found
    return season.known["replacements"]


def exposure(pairs: list[Pair], asked: Asked) -> dict[str, int]:
    """Paid for what was under way, whenever it was paid."""
    sums: dict[str, int] = {}
    for order, counted in pairs:
        if counted.paid_day is None or counted.paid_day > asked.limit:
            continue
        if any(day <= asked.limit for day in counted.closing_days):
            continue
        is_lost = counted.due_day is not None and not counted.has_arrived \
            and end_of(max(counted.due_day + LOST_AFTER_DAYS, counted.paid_day)) \
            <= asked.moment.horizon
        if not is_lost:
            add(sums, cost_of(order))
    return sums


def weeks(pairs: list[Pair], asked: Asked, counts_excused: bool) -> dict[str, dict]:
    found: dict[str, list[bool]] = {}
    for _, counted in due(kept(pairs, counts_excused), asked):
        day = date(1970, 1, 1) + timedelta(days=counted.on_time.day)
        monday = (day - timedelta(days=day.weekday())).isoformat()
        found.setdefault(monday, []).append(counted.on_time.is_late)
    return {monday: share(sum(late), len(late), False) for monday, late in found.items()}


def transit_curve(pairs: list[Pair], asked: Asked, counts_excused: bool) -> list[tuple]:
    """The share arrived by days, where it has risen by a hundredth, and the end."""
    entries = [counted.times["transit"] for _, counted in kept(pairs, counts_excused)]
    entries = [entry for entry in entries
               if asked.moment.counts(entry) and asked.holds(entry.day)]
    steps, points = curves.curve(time_rows(entries, asked.moment)), []
    for step in steps:
        before = points[-1][1] if points else 0.0
        if 1.0 - step.left - before >= 0.01 or step is steps[-1]:
            points.append((curves.bucket_days(step.bucket), 1.0 - step.left))
    return points


def excuses(pairs: list[Pair], asked: Asked, given: list[dict]) -> dict[str, dict]:
    found: dict[str, list] = {}
    for order, counted in pairs:
        if not counted.is_excused or counted.on_time is None \
                or not asked.holds(counted.on_time.day) \
                or counted.paid_day is not None and counted.paid_day > asked.limit:
            continue
        reason = next((event["reason"] for event in order.of_type("disputed", "refunded")
                       if event.get("reason") in CUSTOMER_REASONS), None)
        reason = reason or next(one["reason"] for one in given if covers(one, order))
        found.setdefault(reason, []).append(counted)
    answer = {}
    for reason, some in found.items():
        settled = [one for one in some if asked.moment.counts(one.on_time)]
        answer[reason] = {"orderCount": len(some), "settledCount": len(settled),
                          "lateCount": sum(one.on_time.is_late for one in settled),
                          "firstDueDate": date_text(min(one.due_day for one in some)),
                          "lastDueDate": date_text(max(one.due_day for one in some))}
    return answer


# ---- what it cost ------------------------------------------------------------------------------

def cost_parts(season: Season, pairs: list[Pair], asked: Asked) -> dict:
    parts = dict.fromkeys(("late", "daysLate", "defects", "lost", "unanswered"), 0.0)
    moment = asked.moment
    today = day_of(moment.as_of)
    for order, counted in pairs:
        settings = cost_class(season.agreed, order.shop, order.fact("item") or "")

        def setting(name):
            return minor_units(settings.get(name, "0"), "EUR")

        disputed = order.first_time("disputed")
        if disputed is not None and asked.holds(day_of(disputed)) \
                and day_of(disputed) <= asked.limit:
            answers = [event["instant"] for event in order.events if event["instant"] >= disputed
                       and (event["type"] == "answered" or is_supplier_refund(event))
                       and day_of(event["instant"]) <= asked.limit]
            until = min(answers, default=moment.as_of)
            parts["unanswered"] += (until - disputed) / DAY_MS * setting("unanswered_day")
        entry = counted.defect
        if counted.is_excused or entry is None or not moment.counts(entry) \
                or not asked.holds(entry.day):
            continue
        kind = entry.kind if is_known_defect(entry, moment) else None
        if counted.on_time is not None and counted.on_time.is_late and kind != "lost":
            parts["late"] += setting("late_order")
            over = watch_days(entry, moment)
            delivered = order.first_time("delivered")
            days = over if delivered is None else min(over, max(0, day_of(delivered) - entry.day))
            parts["daysLate"] += days * setting("day_late")
        if kind is not None:
            rule = settings[kind]
            sale = next((amount(event, "sale") for event in order.events if "sale" in event),
                        (setting("sale"), "EUR"))
            one = rule["refund"] * converted(season.agreed, *sale, "EUR", today)
            if rule["reship"]:
                one += converted(season.agreed, *cost_of(order), "EUR", today)
            parts["lost" if kind == "lost" else "defects"] += one
    return parts


# ---- shares of suppliers -----------------------------------------------------------------------

def portions(season: Season, pairs: list[Pair], asked: Asked) -> tuple[dict, dict]:
    """Orders and what was paid for them in EUR, by supplier."""
    orders: dict[str, int] = {}
    paid: dict[str, float] = {}
    for supplier in {counted.supplier for _, counted in pairs}:
        own = [pair for pair in pairs if pair[1].supplier == supplier]
        count = figures_order_count(own, asked)
        if count:
            orders[supplier] = count
        sums = {currency: of["paid"] for currency, of in money(season, own, asked).items()}
        paid[supplier] = sum(converted(season.agreed, minor, currency, "EUR",
                                       day_of(asked.moment.as_of))
                             for currency, minor in sums.items())
    return orders, paid


def figures_order_count(pairs: list[Pair], asked: Asked) -> int:
    return sum(asked.holds(counted.paid_day) and counted.paid_day <= asked.limit
               for _, counted in pairs)


def index(amounts: dict[str, float]) -> float | None:
    return concentration(list(amounts.values()))


# ---- items -------------------------------------------------------------------------------------

def item_counts(pairs: list[Pair], asked: Asked) -> dict[str, dict[str, list[int]]]:
    """Orders and hits by item and rate, of orders due that are not excused."""
    found: dict[str, dict[str, list[int]]] = {}
    for order, counted in kept(pairs, False):
        item = order.fact("item") or ""
        of = found.setdefault(item, {"on_time": [0, 0], "defect": [0, 0]})
        if asked.moment.counts(counted.on_time) and asked.holds(counted.on_time.day):
            of["on_time"][0] += 1
            of["on_time"][1] += counted.on_time.is_late
        if asked.moment.counts(counted.defect) and asked.holds(counted.defect.day):
            of["defect"][0] += 1
            of["defect"][1] += is_known_defect(counted.defect, asked.moment)
    return found


def mature_defects(pairs: list[Pair], asked: Asked, counts_excused: bool) -> tuple[int, int]:
    entries = [counted.defect for _, counted in kept(pairs, counts_excused)
               if asked.moment.counts(counted.defect) and asked.holds(counted.defect.day)
               and watch_days(counted.defect, asked.moment) >= CLAIM_WINDOW_DAYS]
    return len(entries), sum(is_known_defect(entry, asked.moment) for entry in entries)
