"""Who gets the next order, through the real client and daemon, is what the naive model of
tests/support/season reckons order by order: every share, every part of the cost, every pick."""
import csv
import json
import math
import os
import random
import sys
from dataclasses import dataclass
from pathlib import Path

from harness import Daemon, Folder, ROOT, SAMPLE, main, send_season

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
import agreements  # noqa: E402  (of the naive model, by the path above)
import sourcing    # noqa: E402
from days import instant_text, parse_instant  # noqa: E402

AGREED = os.path.join(SAMPLE, "agreements")
AS_OF = "2026-10-01T00:00:00Z"
RELATIVE = 1e-9
DRAWS = 8000
ERRORS = 4.0
GRID = 0.001            # what chances may be off for their grid (daemon/ranking/cost.h)
EXCLUDED = {"no quote": "quote", "paused": "paused", "its limit": "limit", " rate ": "rate"}
NO_SUPPLIER, SOME_REJECTED = 5, 3


# ---- the season with what was agreed -----------------------------------------------------------

def load_agreements(daemon):
    for words, name in (("rates", "rates.csv"), ("items", "items.csv"), ("quotes", "quotes.csv"),
                        ("terms", "terms.csv"), ("costs", "costs.toml")):
        daemon.run(words, "load", os.path.join(AGREED, name), check=0)


class Sourced:
    """A daemon that knows the season and what was agreed."""

    def __enter__(self):
        self.folder = Folder()
        self.daemon = Daemon(self.folder.__enter__()).start()
        send_season(self.daemon)
        load_agreements(self.daemon)
        return self.daemon

    def __exit__(self, *_):
        self.daemon.stop()
        self.folder.__exit__()


def season():
    return sourcing.read_season(Path(SAMPLE))


@dataclass(frozen=True)
class Asked:
    destination: str
    item: str
    units: int = 1
    shop: str = "default"
    sale: str = ""

    def flags(self):
        flags = ["--to", self.destination, "--item", self.item, "--units", str(self.units),
                 "--shop", self.shop]
        if self.sale:
            amount, currency = self.sale.split()
            flags += ["--sale", amount, "--currency", currency]
        return flags

    def question(self, as_of=AS_OF):
        sale = None
        if self.sale:
            amount, currency = self.sale.split()
            sale = (agreements.minor_units(amount, currency), currency)
        return sourcing.Question(parse_instant(as_of), self.destination, self.item, self.units,
                                 self.shop, sale)


QUESTIONS = [
    Asked("DE", "kite-swallow", shop="harbour"),
    Asked("DE", "kite-swallow", 5, "meadow", "99.50 EUR"),
    Asked("DE", "mug-speckled", 1, "harbour", "14.90 EUR"), Asked("DE", "lamp-paper-moon", 5),
    Asked("DE", "stool-folding", shop="meadow"),           # one quote for it has expired
    Asked("DE", "pencil-roll"), Asked("DE", "pencil-roll", 5),     # cheaper from five on
    Asked("DE", "door-bell"),                               # one has a quote for any item
    Asked("SE", "cushion-fern", 1, "harbour", "27.90 EUR"),
    Asked("SE", "kite-swallow", 5, "harbour"),
    Asked("SE", "clock-kitchen", shop="meadow"), Asked("SE", "door-bell"),
    Asked("IE", "apron-striped", 1, "meadow", "21.90 EUR"), Asked("IE", "mug-speckled", 5),
    Asked("NZ", "basket-willow-small", 1, "harbour", "24.50 USD"), Asked("NZ", "kite-swallow", 5),
]


# ---- comparing ---------------------------------------------------------------------------------

PARTS = {"landed": "landed", "late": "lateCost", "days_late": "daysLateCost",
         "waiting": "waitingCost", "defect": "defectCost", "lost": "lostCost",
         "unanswered": "unansweredCost"}
SHARES = {"late_share": "lateShare", "late_days": "lateDays", "waiting_days": "waitingDays",
          "dispute_share": "disputeShare", "answer_days": "responseDays"}


def key_of(supplier, lane):
    return supplier, f"{lane['origin']}-{lane['destination']}/{lane.get('service') or '-'}"


def category(reason):
    return next((word for start, word in EXCLUDED.items() if start in reason), reason)


class Differences(list):
    def check(self, what, ours, theirs, relative=RELATIVE):
        if ours is None or theirs is None or isinstance(theirs, (bool, str, dict, tuple, list)):
            same = ours == theirs
        else:
            same = abs(ours - theirs) <= relative * abs(theirs) + 1e-11
        if not same:
            self.append(f"{what}: {ours}, expected {theirs}")


def compare_answer(what, ours, theirs, draw=True):
    """Everything in an answer to `rank` that is not what the model says."""
    found = Differences()
    told = {key_of(one["score"]["supplierId"], one["score"]["lane"]): one
            for one in ours["candidates"]}
    found.check(f"{what} order", list(told), [one.key for one in theirs.candidates])
    found.check(f"{what} excluded", {key_of(one["supplier"], one["lane"]): category(one["reason"])
                                     for one in ours["excluded"]}, theirs.excluded)
    for one in theirs.candidates:
        if one.key in told:
            compare_candidate(f"{what} {one.key[0]} {one.key[1]}", told[one.key], one, found)
    if draw and theirs.candidates and not found:
        compare_draws(what, told, theirs.candidates, found)
    return found


def compare_candidate(what, ours, theirs, found):
    cost = ours["cost"]
    found.check(f"{what} quoted", (int(cost["quoted"]["minorUnits"]),
                                   cost["quoted"]["currencyCode"]), theirs.quoted)
    found.check(f"{what} landed", int(cost["landed"]), theirs.landed, 0.0)
    for field, name in SHARES.items():
        found.check(f"{what} {field}", cost[name], getattr(theirs, field))
    for kind, share in theirs.kind_shares.items():
        found.check(f"{what} share of {kind}", cost["defectShares"].get(kind, 0.0), share)
    for part, name in PARTS.items():
        found.check(f"{what} cost of {part}", float(cost[name]), theirs.parts[part])
    found.check(f"{what} expected", cost["expected"], theirs.expected)
    found.check(f"{what} standard deviation", cost["standardDeviation"], theirs.deviation)
    found.check(f"{what} expected bad", ours["expectedBad"], theirs.expected_bad)
    found.check(f"{what} promise", cost.get("promisedDays"), theirs.promised_days)
    found.check(f"{what} by arrivals", cost["lateByArrivals"], theirs.late_by_arrivals)
    found.check(f"{what} assumed", cost["timesAssumed"], theirs.times_assumed)
    remaining = ours.get("remainingCapacity")
    found.check(f"{what} remaining", None if remaining is None else int(remaining),
                theirs.remaining)
    found.check(f"{what} code", ours["supplierItem"], theirs.code)
    found.check(f"{what} closed", bool(ours["closedUntilDate"]), theirs.closed_days > 0)


def compare_draws(what, told, candidates, found):
    dice = random.Random(what)
    draws = [sourcing.draws_of(one, DRAWS, dice) for one in candidates]
    for one, costs, chance in zip(candidates, draws, sourcing.chances(draws)):
        cost = told[one.key]["cost"]
        told_chance = cost["cheapestChance"]
        error = ERRORS * math.sqrt(told_chance * (1.0 - told_chance) / DRAWS) + GRID
        if abs(told_chance - chance) > error:
            found.append(f"{what} {one.key} cheapest: {told_chance}, drawn {chance}")
        for name, q in (("low", 0.05), ("median", 0.5), ("high", 0.95)):
            least, most = sourcing.quantile_range(costs, q, ERRORS)
            if not least <= cost[name] <= most:
                found.append(f"{what} {one.key} {name}: {cost[name]}, drawn {least} to {most}")


def ask(daemon, asked, *flags):
    """The answer to `rank`; its exit code says whether somebody can get the order."""
    code, out, err = daemon.run("rank", *asked.flags(), *flags, "--json")
    answer = json.loads(out)
    assert code == (0 if answer["candidates"] else NO_SUPPLIER), (code, out, err)
    return answer


def check_all(daemon, known, questions, draw=True):
    found = []
    for asked in questions:
        found += compare_answer(str(asked), ask(daemon, asked, "--as-of", AS_OF),
                                sourcing.answer(known, asked.question()), draw)
    assert not found, f"{len(found)} figures differ, the first:\n" + "\n".join(found[:40])


# ---- rank --------------------------------------------------------------------------------------

def every_figure_of_a_ranking_is_the_naive_models():
    known = season()
    with Sourced() as daemon:
        check_all(daemon, known, QUESTIONS)
        shares_are_chances_within_their_limits(daemon, known)
        daemon.run("pause", "saffron-depot", "--until", "2026-12-01", "--reason", "unsafe",
                   check=0)
        known.agreed.pauses["saffron-depot"] = agreements.day_number("2026-12-01")
        check_all(daemon, known, [QUESTIONS[0], Asked("NZ", "kite-swallow")], draw=False)
        daemon.run("resume", "saffron-depot", check=0)
        del known.agreed.pauses["saffron-depot"]
        agree_on_more(daemon, known)
        check_all(daemon, known, [Asked("DE", "kite-swallow"), Asked("SE", "kite-swallow", 5),
                                  Asked("DE", "door-bell")])
        one_refund_more_changes_the_answer(daemon, known)


def shares_are_chances_within_their_limits(daemon, known):
    """As costs.toml says: others get a fifth at most, at 15 cents an order at most."""
    trials = known.agreed.costs["trials"]
    found, given = [], 0
    for asked in QUESTIONS[:7]:
        told = ask(daemon, asked, "--as-of", AS_OF)["candidates"]
        shares = [one["share"] for one in told]
        costs = [one["cost"]["expected"] for one in told]
        assert abs(math.fsum(shares) - 1.0) < 1e-9 and min(shares) >= 0.0, shares
        assert math.fsum(shares[1:]) <= trials["most_share"] + 1e-9, shares
        dearer = math.fsum(share * (cost - costs[0]) for share, cost in zip(shares, costs))
        assert dearer <= agreements.minor_units(trials["most_cost"], "EUR") + 1e-9, dearer
        given += sum(share > 0.0 for share in shares[1:])
        theirs = sourcing.shares_to_give(known, asked.question(), sourcing.answer(
            known, asked.question()).candidates, DRAWS, random.Random(str(asked)))
        for one, ours, drawn in zip(told, shares, theirs, strict=True):
            error = ERRORS * math.sqrt(ours * (1.0 - ours) / DRAWS) + GRID
            if abs(ours - drawn) > error or (drawn == 0.0) != (ours == 0.0):
                found.append(f"{asked} {one['score']['name']}: {ours}, drawn {drawn}")
    assert not found, "\n".join(found)
    assert given > 0, "nobody else gets anything"


NARROWER = [(("--from", "VN"), lambda lane: lane.startswith("VN-")),
            (("--from", "TR"), lambda lane: lane.startswith("TR-")),
            (("--service", "express"), lambda lane: lane.endswith("/express"))]


def a_narrower_question_expects_the_same_of_who_is_left():
    known, asked, found = season(), QUESTIONS[2], Differences()
    with Sourced() as daemon:
        for flags, fits in NARROWER:
            told = {key_of(one["score"]["supplierId"], one["score"]["lane"]): one
                    for one in ask(daemon, asked, "--as-of", AS_OF, *flags)["candidates"]}
            for one in sourcing.answer(known, asked.question()).candidates:
                if fits(one.key[1]):
                    compare_candidate(f"{flags} {one.key}", told[one.key], one, found)
    assert not found, f"{len(found)} figures differ, the first:\n" + "\n".join(found[:40])


def a_narrower_question_adds_nobody():
    """Who is quoted for any service has shipped with services of its own (engine/pricing.h)."""
    known, found = season(), Differences()
    with Sourced() as daemon:
        for asked in (QUESTIONS[2], QUESTIONS[7]):
            theirs = [one.key for one in sourcing.answer(known, asked.question()).candidates]
            for flags, fits in NARROWER:
                ours = ask(daemon, asked, "--as-of", AS_OF, *flags)["candidates"]
                found.check(f"{asked} {flags}", [key_of(one["score"]["supplierId"],
                                                        one["score"]["lane"]) for one in ours],
                            [key for key in theirs if fits(key[1])])
    assert not found, "\n".join(found)


MORE_QUOTES = """\
supplier,item,lane,price,freight,duty,currency,promised_days,valid_from,valid_until,minimum_units
lotus-works,kite-swallow,VN-DE/express,10.74,1.20,,EUR,4-7,2026-09-15,,
agave-trail,kite-swallow,MX-DE,10.35,,,EUR,16,2026-09-15,,
quince-loft,kite-swallow,TR-DE,10.99,2.00,0.35,EUR,1-2+5-7 working,2026-09-15,,
quince-loft,kite-swallow,LT-SE,11.05,2.00,,EUR,9,2026-09-15,,
quince-loft,door-bell,TR-DE,11.05,,,EUR,,2026-09-15,,
walnut-row,kite-swallow,TR-DE,9.10,,,GBP,9,2026-09-15,,
"""
MORE_TERMS = """\
supplier,monthly_order_limit,month_start_day,promised_days,closures
linden-store,,,5,2026-09-28..2026-10-06
"""


def agree_on_more(daemon, known):
    """Other promises than before, suppliers without orders, a currency without a rate, a closure.
    """
    for words, text in (("quotes", MORE_QUOTES), ("terms", MORE_TERMS)):
        path = os.path.join(daemon.folder, f"more-{words}.csv")
        with open(path, "w") as file:
            file.write(text)
        daemon.run(words, "load", path, check=0)
    for line in csv.DictReader(MORE_QUOTES.splitlines()):
        quote = agreements.read_quote({k: v for k, v in line.items() if v}, known.agreed.codes)
        known.agreed.quotes = [one for one in known.agreed.quotes
                               if identity(one) != identity(quote)] + [quote]
    for line in csv.DictReader(MORE_TERMS.splitlines()):
        terms = agreements.read_terms({k: v for k, v in line.items() if v})
        known.agreed.terms[terms.supplier] = terms


def identity(quote):
    return (quote.supplier, quote.item, quote.origin, quote.destination, quote.service,
            quote.minimum)


def one_refund_more_changes_the_answer(daemon, known):
    """Control: the comparison notices."""
    asked = QUESTIONS[10]
    order = next(one for one, counted in zip(known.raw, known.orders)
                 if counted.supplier == "amber-gate" and counted.lane == "PL-SE"
                 and counted.defect is not None and counted.defect.ending is None
                 and not counted.is_excused and counted.due_day is not None
                 and counted.due_day > agreements.day_number("2026-08-01"))
    daemon.run("record", f"{order.shop}/{order.order_id}", "refunded", "--reason", "damaged",
               "--refund", "5.00", "--currency", "EUR", "--time", "2026-09-20T00:00:00Z", check=0)
    found = compare_answer("", ask(daemon, asked, "--as-of", AS_OF),
                           sourcing.answer(known, asked.question()), draw=False)
    assert any("share of damaged" in one for one in found), found


# ---- assign ------------------------------------------------------------------------------------

def read_open_orders(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def assign(daemon, path, *flags):
    """Exit code, picks and the JSON of `assign --file`."""
    picks = os.path.join(daemon.folder, "picks.csv")
    code, out, err = daemon.run("assign", "--file", path, "-o", picks, "--json", *flags)
    with open(picks, newline="") as file:
        return code, list(csv.DictReader(file)), json.loads(out)["results"], err


def suppliers_of(picks):
    return [(pick["shop"], pick["order_id"], pick["supplier"], pick["origin"], pick["service"])
            for pick in picks]


def check_decision(known, order, result, given):
    """One decision against the model, asked at the moment it was made."""
    sale = f"{order['sale']} {order['currency']}" if order["sale"] else ""
    asked = Asked(order["destination"], order["item"], int(order["units"]), order["shop"], sale)
    theirs = sourcing.answer(known, asked.question(instant_text(known.latest())), given)
    candidates = [one for one in theirs.candidates
                  if order["origin"] in ("", one.key[1].split("-")[0])
                  and order["service"] in ("", one.key[1].split("/")[1])]
    found = Differences()
    what, pick = f"order {order['order_id']}", result["assignment"]
    told = {key_of(one["supplier"], one["lane"]): one for one in pick["candidates"]}
    able = {key for key, one in told.items() if not one["excluded"]}
    found.check(f"{what} candidates", able == {one.key for one in candidates}, True)
    for one in candidates:
        found.check(f"{what} {one.key} landed", int(told[one.key]["landed"]), one.landed, 0.0)
        if order["origin"] or order["service"]:
            continue            # see a_narrower_question_expects_the_same_of_who_is_left
        found.check(f"{what} {one.key} expected", told[one.key]["expectedCost"], one.expected)
    picked = next(one for one in candidates if one.key == key_of(pick["supplier"], pick["lane"]))
    best, cheapest = candidates[0], min(candidates, key=lambda one: one.landed)
    found.check(f"{what} trial", pick["trial"], picked.key != best.key)
    if picked.key == best.key:
        found.check(f"{what} dearer", pick.get("dearer", 0.0), 0.0)
    else:
        found.check(f"{what} dearer", pick["dearer"], picked.expected - best.expected, 1e-5)
    found.check(f"{what} saving", pick["expectedSaving"], cheapest.expected - picked.expected,
                1e-5)
    found.check(f"{what} has a share", told[picked.key]["share"] > 0.0, True)
    return found


def orders_of_a_file_get_what_single_answers_say():
    known, path = season(), os.path.join(AGREED, "open-orders.csv")
    with Sourced() as daemon:
        code, planned, _, err = assign(daemon, path, "--dry-run")
        assert code == 0, err
        assert daemon.ask("assignments")["totalCount"] == "0"
        code, picks, results, err = assign(daemon, path)
        assert code == 0, err
        assert suppliers_of(picks) == suppliers_of(planned)
        assert not any(result["existed"] for result in results)

        found, given, saving = [], {}, []
        for order, result in zip(read_open_orders(path), results, strict=True):
            found += check_decision(known, order, result, given)
            supplier = result["assignment"]["supplier"]
            given[supplier] = given.get(supplier, 0) + 1
            saving.append(result["assignment"]["expectedSaving"])
        assert not found, "\n".join(found[:40])

        listed = daemon.ask("assignments")
        assert listed["totalCount"] == str(len(picks)), listed["totalCount"]
        assert int(listed["trialCount"]) == sum(pick["trial"] in ("yes", "true", "1")
                                                for pick in picks)
        assert sorted((one["shop"], one["orderId"], one["supplier"])
                      for one in listed["assignments"]) == \
            sorted((pick["shop"], pick["order_id"], pick["supplier"]) for pick in picks)
        (total,) = listed["savings"]
        assert abs(total["expectedSaving"] - math.fsum(saving)) < 1e-6, (total, saving)

        told = ask(daemon, QUESTIONS[0])["candidates"]
        for one in sourcing.answer(known, QUESTIONS[0].question(instant_text(known.latest())),
                                   given).candidates:
            (ours,) = [each for each in told
                       if key_of(each["score"]["supplierId"], each["score"]["lane"]) == one.key]
            assert ours.get("remainingCapacity") == (
                None if one.remaining is None else str(one.remaining)), (one.key, ours)

        before = [ask(daemon, asked) for asked in QUESTIONS]
        daemon.kill()
        daemon.start()
        assert daemon.ask("assignments") == listed
        assert [ask(daemon, asked) for asked in QUESTIONS] == before
        code, again, results, err = assign(daemon, path)
        assert code == 0 and suppliers_of(again) == suppliers_of(picks), err
        assert all(result["existed"] for result in results)
        assert daemon.ask("assignments") == listed


OPEN = "order_id,shop,destination,item,units,sale,currency,origin,service\n"


def limits_of_a_month_are_kept():
    """copper-ferry alone has a quote for kites from TR."""
    known = season()
    left = sourcing.remaining_of(known, "copper-ferry", known.latest() // 86_400_000, {})
    assert left == 2, left
    with Sourced() as daemon:
        path = os.path.join(daemon.folder, "orders.csv")
        with open(path, "w") as file:
            file.write(OPEN + "".join(f"{9000 + i},harbour,DE,kite-swallow,1,,,TR,\n"
                                      for i in range(left + 1)))
        code, picks, results, err = assign(daemon, path)
        assert code == NO_SUPPLIER and "9002" in err, (code, err)
        assert [pick["supplier"] for pick in picks] == ["copper-ferry"] * left + [""], picks
        assert {category(one["reason"]) for one in results[-1]["excluded"]} == {"limit", "quote"}
        theirs = sourcing.answer(known, QUESTIONS[0].question(), {"copper-ferry": left})
        assert theirs.excluded["copper-ferry", "TR-DE/-"] == "limit"
        found = compare_answer("limit", ask(daemon, QUESTIONS[0], "--as-of", AS_OF), theirs,
                               draw=False)
        assert not found, "\n".join(found[:40])
        with open(path, "w") as file:
            file.write(OPEN + "9010,harbour,SE,kite-swallow,0,,,,\n"
                              "9011,harbour,SE,kite-swallow,1,,,,\n")
        code, picks, results, err = assign(daemon, path)
        assert code == SOME_REJECTED and "line 2" in err, (code, err)
        assert [bool(pick["supplier"]) for pick in picks] == [False, True], picks


# ---- loads -------------------------------------------------------------------------------------

def a_load_with_wrong_rows_loads_nothing_and_names_each():
    rows = ["lotus-works,kite-swallow,VN-DE/standard,1.00,EUR,3,2026-09-01",      # right
            "lotus-works,kite-swallow,VN-DE/standard,-1.00,EUR,3,2026-09-01",
            "lotus-works,kite-swallow,VN-DE/express,1.00,EUR,9-5,2026-09-01",
            "copper-ferry,kite-swallow,TR-DE,1.00,EUR,3,2026-09-01",              # right
            "copper-ferry,kite-swallow,TR-DE,1.00,XXQ,3,2026-09-01",
            "copper-ferry,kite-swallow,TR-DE,1.00,EUR,3,2026-31-01"]
    wrong = [3, 4, 6, 7]
    with Sourced() as daemon:
        before = ask(daemon, QUESTIONS[0]), daemon.ask("quotes", "list", "--past")
        path = os.path.join(daemon.folder, "wrong.csv")
        with open(path, "w") as file:
            file.write("\n".join(["supplier,item,lane,price,currency,promised_days,valid_from",
                                  *rows, ""]))
        code, out, err = daemon.run("quotes", "load", path)
        assert code == SOME_REJECTED, (code, out, err)
        assert "nothing was loaded" in err, err
        with open(path + ".rejected") as file:
            assert sorted({json.loads(line)["line"] for line in file}) == wrong
        assert (ask(daemon, QUESTIONS[0]), daemon.ask("quotes", "list", "--past")) == before


if __name__ == "__main__":
    main([every_figure_of_a_ranking_is_the_naive_models,
          a_narrower_question_expects_the_same_of_who_is_left, a_narrower_question_adds_nobody,
          orders_of_a_file_get_what_single_answers_say, limits_of_a_month_are_kept,
          a_load_with_wrong_rows_loads_nothing_and_names_each])
