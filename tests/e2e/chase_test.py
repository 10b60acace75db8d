"""Orders under way and claims: what the daemon lists is what counting order by order, straight from
the event files of the sample season, gives."""
import csv
import os
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from harness import Daemon, Folder, ROOT, SAMPLE, main, send_season
from sourcing_test import load_agreements

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
import naive                                             # noqa: E402  (by the path above)
import sourcing                                          # noqa: E402
from agreements import cost_class, minor_units           # noqa: E402
from days import DAY_MS, date_text, day_of, end_of, parse_instant         # noqa: E402
from entries import (DEFECT_KINDS, LOST_AFTER_DAYS, is_excused, is_supplier_refund,
                     promise_of, work_out)               # noqa: E402
from reading import Order                                # noqa: E402
from rates import CLAIM_WINDOW_DAYS, Moment              # noqa: E402

RELATIVE = 1e-9
ALL_ALIKE = 36_500.0        # a half-life that weighs all orders the same
WITHOUT_CLAIM_DAYS = "linden-store"


def key_of(order):
    return order.shop, order.order_id, order.part


def name_of(told):
    return told["shop"], told["orderId"], told["part"]


def lane_of(told):
    lane = told["lane"]
    return f"{lane['origin']}-{lane['destination']}", lane.get("service") or "-"


def money_of(told):
    return None if told is None else (int(told["minorUnits"]), told["currencyCode"])


class Differences(list):
    def check(self, what, said, counted):
        same = said == counted
        if isinstance(counted, float) and said is not None:
            same = abs(said - counted) <= RELATIVE * max(1.0, abs(counted))
        if not same:
            self.append(f"{what}: {said}, expected {counted}")


# ---- under way, by the events ------------------------------------------------------------------

@dataclass
class Underway:
    order: object               # as it was sent
    paid: int
    shipped: int | None
    promise: int | None
    is_overdue: bool


def is_closed(order):
    return (order.of_type("delivered", "cancelled")
            or any(is_supplier_refund(event) for event in order.events))


def is_over(day, horizon):
    return end_of(day) <= horizon


def underway(season, moment):
    found = {}
    for order in season.raw:
        paid, promise = order.first_time("paid"), promise_of(order)
        if paid is None or is_closed(order):
            continue
        due = None if promise is None else max(day_of(promise), day_of(paid))
        if due is not None and is_over(max(day_of(promise) + LOST_AFTER_DAYS, day_of(paid)),
                                       moment.horizon):
            continue                                     # given up as lost
        found[key_of(order)] = Underway(order, paid, order.first_time("shipped"), promise,
                                        due is not None and is_over(due, moment.horizon))
    return found


def usual_days(season, supplier, moment):
    """Nine in ten of its orders are shipped within so many; none when too few say."""
    own = [counted.times["handling"] for counted in season.orders if counted.supplier == supplier]
    found = naive.times(own, Moment(moment.as_of, moment.news, ALL_ALIKE))["p90"]
    return None if found is None else found / 86_400


def compare_underway(season, answer, with_costs):
    now = season.latest()
    moment = Moment(now, season.news, season.half_life)
    news = min(now, season.news)
    theirs, found = underway(season, moment), Differences()
    told = answer["orders"]
    found.check("listed", sorted(map(name_of, told)), sorted(theirs))
    usual = {supplier: usual_days(season, supplier, moment)
             for supplier in {counted.supplier for counted in season.orders}}
    counts = Counter()
    for ours in told:
        if name_of(ours) not in theirs:
            continue
        one = theirs[name_of(ours)]
        order, what = one.order, "/".join(map(str, name_of(ours)))
        chance, state = ours.get("lateChance"), ours["state"].removeprefix("STATE_")
        found.check(f"{what} supplier", ours["supplierId"], order.supplier)
        found.check(f"{what} lane", lane_of(ours), (order.lane, order.service))
        found.check(f"{what} age", ours["ageDays"], (now - one.paid) / DAY_MS)
        for field, instant in (("payTime", one.paid), ("shipTime", one.shipped),
                               ("promiseTime", one.promise)):
            found.check(f"{what} {field}", ours.get(field) and parse_instant(ours[field]), instant)
        found.check(f"{what} cost", money_of(ours.get("cost")), sourcing.cost_of(order))
        found.check(f"{what} item", ours["item"], order.fact("item") or "")
        found.check(f"{what} tracking", ours["tracking"], order.fact("tracking") or "")

        late_by_now = one.promise is not None and one.promise < news
        if one.promise is None:
            expected_state = "NO_PROMISE"
            found.check(f"{what} chance", chance, None)
        elif one.is_overdue:
            expected_state = "OVERDUE"
        else:
            expected_state = "LIKELY_LATE" if (chance or 0.0) > 0.5 else "ON_TIME"
        found.check(f"{what} state", state, expected_state)
        if late_by_now:
            found.check(f"{what} chance", chance, 1.0)
        found.check(f"{what} chance is one", chance is None or 0.0 <= chance <= 1.0, True)
        is_slow = (one.shipped is None and usual[order.supplier] is not None
                   and (news - one.paid) / DAY_MS > usual[order.supplier])
        found.check(f"{what} usual", ours.get("usualHandlingDays"),
                    usual[order.supplier] if is_slow else None)
        value = None
        if with_costs and chance is not None:
            late = cost_class(season.agreed, order.shop, order.fact("item") or "")["late_order"]
            value = chance * minor_units(late, "EUR")
        found.check(f"{what} value", ours.get("chaseValue"), value)
        found.check(f"{what} has a reason", bool(ours["reason"]),
                    late_by_now or is_slow or (chance or 0.0) > 0.5)
        pair = order.supplier, order.lane, order.service
        for kind, holds in (("orderCount", True), ("overdueCount", one.is_overdue),
                            ("likelyLateCount", state == "LIKELY_LATE"),
                            ("unshippedLateCount", is_slow)):
            counts[pair, kind] += holds
    said = {((each["supplierId"], *lane_of(each)), kind): int(each[kind])
            for each in answer["counts"] for kind in ("orderCount", "overdueCount",
                                                      "likelyLateCount", "unshippedLateCount")}
    found.check("counts", said, dict(counts))
    places = [(one["state"] != "STATE_OVERDUE", -one.get("chaseValue", -1.0),
               -one.get("lateChance", -1.0), name_of(one)) for one in told]
    found.check("overdue first, then by value and chance", places, sorted(places))
    return found


def season_and_daemon(folder, with_agreements=True):
    daemon = Daemon(folder).start()
    send_season(daemon)             # first, so that all promises are those of the files
    if with_agreements:
        load_agreements(daemon)
    return sourcing.read_season(Path(SAMPLE)), daemon


def forget_one_order(season, daemon):
    """One more, paid three weeks ago and never shipped: there is none such in the season."""
    sent = {"type": "paid", "time": "2026-09-07T06:00:00Z", "supplier": "agave-trail",
            "origin": "MX", "destination": "DE", "promise": "2026-10-09T12:00:00Z",
            "cost": "7.50", "currency": "EUR"}
    daemon.run("record", "harbour/8001", "paid", "--supplier", "agave-trail", "--lane", "MX-DE",
               "--promise", sent["promise"], "--cost", "7.50", "--currency", "EUR", "--time",
               sent["time"], check=0)
    order = Order("harbour", "8001", 1, [sent | {"source": "cli", "event_id": "1",
                                                 "instant": parse_instant(sent["time"])}])
    season.raw.append(order)
    season.orders.append(work_out(order))


def orders_under_way_are_those_of_the_files():
    with Folder() as folder:
        season, daemon = season_and_daemon(folder, with_agreements=False)
        try:
            everything = daemon.ask("underway")
            found = compare_underway(season, everything, with_costs=False)
            assert not found, "\n".join(found[:40])
            load_agreements(daemon)
            found = compare_underway(season, daemon.ask("underway"), with_costs=True)
            assert not found, "\n".join(found[:40])
            states = Counter(one["state"] for one in everything["orders"])
            assert {"STATE_ON_TIME", "STATE_OVERDUE", "STATE_NO_PROMISE"} <= set(states), states

            forget_one_order(season, daemon)
            everything = daemon.ask("underway")
            found = compare_underway(season, everything, with_costs=True)
            assert not found, "\n".join(found[:40])
            (slow,) = [one for one in everything["orders"] if "usualHandlingDays" in one]
            assert slow["orderId"] == "8001" and "not shipped" in slow["reason"], slow

            is_late = [one for one in daemon.ask("underway")["orders"]
                       if one["state"] in ("STATE_OVERDUE", "STATE_LIKELY_LATE")
                       or "usualHandlingDays" in one]
            assert daemon.ask("underway", "--late")["orders"] == is_late
            assert 0 < len(is_late) < len(everything["orders"])
            for flags, fits in ((("--supplier", "lotus-works"),
                                 lambda one: one["supplierId"] == "lotus-works"),
                                (("--lane", "VN-DE/express"),
                                 lambda one: lane_of(one) == ("VN-DE", "express")),
                                (("--lane", "VN-DE"), lambda one: lane_of(one)[0] == "VN-DE")):
                some = [one for one in daemon.ask("underway")["orders"] if fits(one)]
                assert some and daemon.ask("underway", *flags)["orders"] == some, flags

            # Control: one arrival more, and the comparison notices.
            gone = everything["orders"][0]
            daemon.run("record", f"{gone['shop']}/{gone['orderId']}", "delivered", "--time",
                       "2026-09-20T00:00:00Z", check=0)
            found = compare_underway(season, daemon.ask("underway"), with_costs=True)
            assert any(one.startswith("listed") for one in found), found
        finally:
            daemon.stop()


# ---- claims, by the events ---------------------------------------------------------------------

@dataclass
class Claim:
    order: object
    state: str
    reason: str
    last_day: int | None = None
    disputed: int | None = None
    claimed: tuple[int, str] | None = None
    refunded: tuple[int, str] | None = None
    owed: tuple[int, str] | None = None


def claim_days():
    with open(os.path.join(SAMPLE, "agreements", "terms.csv"), newline="") as file:
        return {row["supplier"]: int(row["claim_days"]) if row["claim_days"] else None
                for row in csv.DictReader(file)}


def refunds(order):
    """What the supplier gave back, by currency."""
    sums = Counter()
    for event in order.events:
        if is_supplier_refund(event) and "refund" in event:
            sums[event["currency"]] += minor_units(event["refund"], event["currency"])
    return sums


def claim_of(order, moment, days_of):
    """Of one order; none when there is nothing to claim, or it is too late to."""
    disputed = order.of_type("disputed")
    if disputed:
        return filed(order, disputed[0]["instant"], disputed[0].get("reason"))
    if order.of_type("cancelled") or any(map(is_supplier_refund, order.events)):
        return None
    promise, paid = promise_of(order), order.first_time("paid")
    delivered = order.first_time("delivered")
    kinds = [event["reason"] for event in order.of_type("refunded")
             if event.get("reason") in DEFECT_KINDS]
    if kinds:
        since = next(day_of(instant) for instant in (
            delivered, promise, order.first_time("refunded")) if instant is not None)
        reason = kinds[0]
    elif promise is None or is_excused(order):
        return None
    elif delivered is not None:
        if delivered <= promise:
            return None
        since, reason = day_of(delivered), "late"
    else:
        if paid is None or not is_over(max(day_of(promise), day_of(paid)), moment.horizon):
            return None
        lost = is_over(max(day_of(promise) + LOST_AFTER_DAYS, day_of(paid)), moment.horizon)
        since, reason = day_of(promise), "lost" if lost else "not_received"
    own = days_of.get(order.supplier)
    last = since + (CLAIM_WINDOW_DAYS if own is None else own)
    if last < day_of(moment.as_of):
        return None
    return Claim(order, "TO_FILE", reason, None if own is None else last)


def filed(order, disputed, reason):
    claimed = next(((minor_units(event["claim"], event["currency"]), event["currency"])
                    for event in order.events if "claim" in event), None)
    back = refunds(order)
    refunded = owed = None
    if claimed is not None:
        refunded = back[claimed[1]], claimed[1]
        owed = max(0, claimed[0] - refunded[0]), claimed[1]
    elif len(back) == 1:
        ((currency, amount),) = back.items()
        refunded = amount, currency
    answered = any(event["instant"] >= disputed for event in order.events
                   if event["type"] == "answered" or is_supplier_refund(event))
    if owed is not None and owed[0] == 0:
        state = "SETTLED"
    elif not answered:
        state = "UNANSWERED"
    else:
        state = "SETTLED" if owed is None else "OWED"
    return Claim(order, state, reason, None, disputed, claimed, refunded, owed)


def claims(season, days_of, with_settled):
    moment = Moment(season.latest(), season.news, season.half_life)
    found = {}
    for order in season.raw:
        claim = claim_of(order, moment, days_of)
        if claim is not None and (with_settled or claim.state != "SETTLED"):
            found[key_of(order)] = claim
    return found


def compare_claims(season, answer, days_of, with_settled):
    now, found = season.latest(), Differences()
    theirs, told = claims(season, days_of, with_settled), answer["claims"]
    found.check("listed", sorted(map(name_of, told)), sorted(theirs))
    for ours in told:
        if name_of(ours) not in theirs:
            continue
        claim, what = theirs[name_of(ours)], "/".join(map(str, name_of(ours)))
        found.check(f"{what} state", ours["state"].removeprefix("STATE_"), claim.state)
        found.check(f"{what} reason", ours["reason"].removeprefix("REASON_").lower(),
                    claim.reason or "unspecified")
        found.check(f"{what} supplier", ours["supplierId"], claim.order.supplier)
        found.check(f"{what} lane", lane_of(ours), (claim.order.lane, claim.order.service))
        found.check(f"{what} disputed",
                    ours.get("disputeTime") and parse_instant(ours["disputeTime"]), claim.disputed)
        waiting = (now - claim.disputed) / DAY_MS if claim.state == "UNANSWERED" else None
        found.check(f"{what} waiting", ours.get("waitingDays"), waiting)
        for field, amount in (("claimed", claim.claimed), ("refunded", claim.refunded),
                              ("owed", claim.owed)):
            found.check(f"{what} {field}", money_of(ours.get(field)), amount)
        last = claim.last_day
        found.check(f"{what} last day", ours["lastDate"], "" if last is None else date_text(last))
        found.check(f"{what} days left", ours.get("daysLeft"),
                    None if last is None else last - day_of(now))
    places = [place_of(theirs[name_of(one)]) for one in told if name_of(one) in theirs]
    found.check("by last day, then by money", places, sorted(places))
    return found


def place_of(claim):
    stake = sourcing.cost_of(claim.order) if claim.state == "TO_FILE" else claim.owed
    return (claim.last_day is None, claim.last_day or 0, stake[1] if stake else "~",
            -stake[0] if stake else 0, key_of(claim.order))


def claims_are_those_of_the_files():
    days_of = claim_days()
    assert days_of[WITHOUT_CLAIM_DAYS] is None
    with Folder() as folder:
        season, daemon = season_and_daemon(folder, with_agreements=False)
        try:
            found = compare_claims(season, daemon.ask("claims"), {}, with_settled=False)
            assert not found, "\n".join(found[:40])          # no terms: no last day
            load_agreements(daemon)
            for flags, with_settled in ((), False), (("--all",), True):
                answer = daemon.ask("claims", *flags)
                found = compare_claims(season, answer, days_of, with_settled)
                assert not found, f"{flags}: " + "\n".join(found[:40])
            states = Counter(one["state"].removeprefix("STATE_") for one in answer["claims"])
            assert set(states) == {"TO_FILE", "UNANSWERED", "OWED", "SETTLED"}, states
            assert any(not one["lastDate"] and one["state"] == "STATE_TO_FILE"
                       for one in daemon.ask("claims")["claims"]), "none without a last day"
            some = daemon.ask("claims", "--supplier", "saffron-depot")["claims"]
            assert some == [one for one in daemon.ask("claims")["claims"]
                            if one["supplierId"] == "saffron-depot"] and some

            # Control: a claim that came back in full is off the list, and the comparison notices.
            owed = next(one for one in daemon.ask("claims")["claims"]
                        if one["state"] == "STATE_OWED" and int(one["owed"]["minorUnits"]) > 0)
            amount = int(owed["owed"]["minorUnits"])
            daemon.run("record", f"{owed['shop']}/{owed['orderId']}", "refunded", "--refund",
                       f"{amount / 100:.2f}", "--currency", owed["owed"]["currencyCode"], "--time",
                       "2026-09-30T00:00:00Z", check=0)
            found = compare_claims(season, daemon.ask("claims"), days_of, with_settled=False)
            assert any(one.startswith("listed") for one in found), found
        finally:
            daemon.stop()


if __name__ == "__main__":
    main([orders_under_way_are_those_of_the_files, claims_are_those_of_the_files])
