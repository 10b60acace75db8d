"""The review of the sample season: every figure is what a naive count of the event files gives,
what it must not say it does not say, and questions that make no sense are refused in words."""
import csv
import json
import math
import os
import sys
from pathlib import Path

from harness import Daemon, Folder, ROOT, SAMPLE, main, send_season
from sourcing_test import load_agreements

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
import review as naive                              # noqa: E402  (by the path above)
from days import parse_instant                      # noqa: E402
from reading import read_lines                      # noqa: E402
from sourcing import read_season                    # noqa: E402

AS_OF = "2026-10-01T00:00:00Z"
QUARTERS = {"2026Q3": (("2026-07-01", "2026-09-30"), ("2026-04-01", "2026-06-30"),
                       ("2025-07-01", "2025-09-30")),
            "2026-08": (("2026-08-01", "2026-08-31"), ("2026-07-01", "2026-07-31"),
                        ("2025-08-01", "2025-08-31")),
            "2026-05..2026-06": (("2026-05-01", "2026-06-30"), ("2026-03-01", "2026-04-30"),
                                 ("2025-05-01", "2025-06-30"))}
SHARES = {"onTime", "onTimeWithoutExcuses", "defect"}
TIMES = {"handling", "transit", "delivery", "response"}
COUNTS = ("orderCount", "lateArrivedCount", "immatureCount", "unsettledCount", "outOfStockCount")
TIGHT = 1e-9
EXIT_USAGE, EXIT_FAILED = 2, 1


class Season:
    """A daemon that knows the season and what was agreed, loaded before or after."""

    def __init__(self, quotes_first=False):
        self.quotes_first = quotes_first

    def __enter__(self):
        self.folder = Folder()
        self.daemon = Daemon(self.folder.__enter__()).start()
        if self.quotes_first:
            load_agreements(self.daemon)
        send_season(self.daemon)
        if not self.quotes_first:
            load_agreements(self.daemon)
        return self.daemon

    def __exit__(self, *_):
        self.daemon.stop()
        self.folder.__exit__()


# ---- one account beside the naive count --------------------------------------------------------

class Differences(list):
    def check(self, what, said, counted, tolerance=0.0):
        if isinstance(counted, float) and isinstance(said, (int, float)):
            same = abs(said - counted) <= tolerance * max(1.0, abs(counted))
        else:
            same = said == counted
        if not same:
            self.append(f"{what}: {said}, expected {counted}")

    def moment(self, what, said, counted):
        """Seconds, which the answer tells to the millisecond."""
        ours = None if said is None else float(said.removesuffix("s"))
        if (ours is None) != (counted is None) or ours and abs(ours - counted) > 6e-4:
            self.append(f"{what}: {said}, expected {counted}")

    def share(self, what, said, counted):
        for name in ("orderCount", "hitCount"):
            self.check(f"{what}.{name}", int(said[name]), counted[name])
        self.check(f"{what}.tooThin", said["tooThin"], counted["tooThin"])
        for name in ("observed", "low", "high"):
            self.check(f"{what}.{name}", said.get(name), counted.get(name), TIGHT)


def compare_figures(found, what, said, counted, with_quotes):
    for name in COUNTS:
        found.check(f"{what}.{name}", int(said[name]), counted[name])
    found.check(f"{what}.meanDaysLate", said.get("meanDaysLate"), counted.get("meanDaysLate"),
                TIGHT)
    for name in SHARES:
        if name in said or name in counted:
            found.share(f"{what}.{name}", said.get(name, {"orderCount": -1, "hitCount": -1,
                                                          "tooThin": None}),
                        counted.get(name, {"orderCount": None, "hitCount": None,
                                           "tooThin": None}))
    found.check(f"{what}.defectKinds",
                {one["kind"].removeprefix("REASON_").lower(): int(one["count"])
                 for one in said["defectKinds"]}, counted["defectKinds"])
    for name in TIMES:
        for part, key in (("median", "median"), ("median_low", "medianLow"),
                          ("median_high", "medianHigh"), ("p90", "p90"), ("p90_low", "p90Low"),
                          ("p90_high", "p90High"), ("longest_watch", "longestWatch")):
            found.moment(f"{what}.{name}.{key}", said[name].get(key), counted[name][part])
        for part, key in (("entered_count", "enteredCount"), ("finished_count", "finishedCount")):
            found.check(f"{what}.{name}.{key}", int(said[name][key]), counted[name][part])
        for part, key in (("median_too_few", "medianTooFew"), ("p90_too_few", "p90TooFew")):
            found.check(f"{what}.{name}.{key}", said[name][key], counted[name][part])
    for one in said["money"]:
        sums = counted["money"].get(one["currencyCode"])
        if sums is None:                    # an exposure of orders paid in no period asked about
            sums = dict.fromkeys(("paid", "claimed", "owed"), 0)
        for name, value in sums.items():
            found.check(f"{what}.money.{one['currencyCode']}.{name}", int(one[name]), value)
    missing = set(counted["money"]) - {one["currencyCode"] for one in said["money"]}
    found.check(f"{what}.money without", missing, set())


def pairs_of(season, account):
    """The orders of an account, and whether it counts excused ones."""
    lane = account.get("lane")
    some = []
    for pair in zip(season.raw, season.orders):
        counted = pair[1]
        if account["supplierId"] and counted.supplier != account["supplierId"]:
            continue
        if lane and counted.lane != f"{lane['origin']}-{lane['destination']}":
            continue
        if lane and "service" in lane and counted.service != (lane["service"] or "-"):
            continue
        some.append(pair)
    return some, not account["supplierId"]


def compare_account(found, season, account, asked, orders_asked):
    what = f"{account['supplierId'] or 'all'} {account.get('lane', '')}"
    pairs, counts_excused = pairs_of(season, account)
    pairs = [pair for pair in pairs if pair in orders_asked] if orders_asked else pairs
    for name, of in zip(("period", "before", "yearAgo"), asked):
        if name not in account:
            found.check(f"{what} {name} is absent", naive.figures_order_count(pairs, of), 0)
            continue
        compare_figures(found, f"{what} {name}", account[name],
                        naive.figures(season, pairs, of, counts_excused), of.quotes_first)
    period = asked[0]
    found.check(f"{what} exposure", {one["currencyCode"]: int(one["exposure"])
                                     for one in account["period"]["money"]
                                     if int(one["exposure"])}, naive.exposure(pairs, period))
    is_pair = account["supplierId"] and "lane" in account  # has no weeks
    counted = {} if is_pair else naive.weeks(pairs, period, counts_excused)
    found.check(f"{what} weeks", [week["firstDate"] for week in account["weeks"]],
                sorted(counted))
    for week in account["weeks"]:
        found.share(f"{what} week {week['firstDate']}", week["onTime"],
                    counted.get(week["firstDate"], {"orderCount": 0, "hitCount": 0,
                                                    "tooThin": True}))
    found.check(f"{what} excuses", {one["reason"]: {
        name: one[name] if name.endswith("Date") else int(one[name]) for name in (
            "orderCount", "settledCount", "lateCount", "firstDueDate", "lastDueDate")}
        for one in account["excuses"]},
        naive.excuses(pairs, period, read_lines(Path(SAMPLE) / "excuses.csv")))
    if not (account["supplierId"] and "lane" in account):
        for name, of in (("transitCurve", asked[0]), ("transitCurveBefore", asked[1])):
            points = naive.transit_curve(pairs, of, counts_excused)
            found.check(f"{what} points of {name}", len(account[name]), len(points))
            for said, (days, share) in zip(account[name], points):
                found.check(f"{what} {name}.days", said["days"], days, TIGHT)
                found.check(f"{what} {name}.share", said["share"], share, TIGHT)


def compare_changes(found, season, accounts, asked, comparison_count):
    """All comparisons of the review, adjusted together."""
    family, tell = [], []
    for account in accounts:
        pairs, counts_excused = pairs_of(season, account)
        for change in account["changes"]:
            now, then = [], []
            of = asked[1] if change["against"] == "AGAINST_PERIOD_BEFORE" else asked[2]
            for sums, when in ((now, asked[0]), (then, of)):
                if change["measure"] == "on_time":
                    settled = naive.due(naive.kept(pairs, counts_excused), when)
                    sums += [len(settled), sum(one.on_time.is_late for _, one in settled)]
                else:
                    sums += naive.mature_defects(pairs, when, counts_excused)
            what = f"{account['supplierId']} {account.get('lane', '')} {change['measure']}"
            found.check(what, [int(change[name]) for name in (
                "orderCount", "hitCount", "orderCountThen", "hitCountThen")], now + then)
            if min(now[0], then[0]) < naive.FEWEST:
                found.check(what, change["verdict"], "VERDICT_TOO_THIN")
                found.check(what, "pValue" in change, False)
                continue
            limits = naive.newcombe(now[1], now[0], then[1], then[0])
            for name, value in zip(("difference", "low", "high"), limits):
                found.check(f"{what} {name}", change[name], value, TIGHT)
            family.append(naive.p_value(now[1], now[0], then[1], then[0]))
            found.check(f"{what} p", change["pValue"], family[-1], TIGHT)
            tell.append((what, change, limits[0]))
        if "before" in account:
            add_times(found, account, pairs, counts_excused, asked, family, tell)
        if account["supplierId"] and "lane" not in account:
            add_items(found, account, naive.item_counts(pairs, asked[0]), family, tell)
    found.check("comparisons", comparison_count, len(family))
    for (what, said, difference), p in zip(tell, naive.adjusted(family)):
        if said is None:                    # an item that was looked at and is not told
            found.check(f"{what} is not told", difference > 0 and p <= 0.1, False)
            continue
        found.check(f"{what} adjusted p", said["adjustedPValue"], p, TIGHT)
        if "verdict" in said:
            verdict = "NO_MORE_THAN_CHANCE" if p > 0.1 else "WORSE" if difference > 0 else "BETTER"
            found.check(what, said["verdict"], f"VERDICT_{verdict}")


def add_times(found, account, pairs, counts_excused, asked, family, tell):
    told = {one["measure"]: one for one in account["timesChanges"]}
    for measure in ("handling", "transit", "response", "days_late"):
        now, then = (naive.waiting(pairs, of, measure, counts_excused) for of in asked[:2])
        what = f"{account['supplierId']} {account.get('lane', '')} {measure}"
        found.check(f"{what} is told", measure in told, bool(now or then))
        if measure not in told:
            continue
        said = told[measure]
        done = [sum(row.has_event for row in rows) for rows in (now, then)]
        found.check(what, [int(said[name]) for name in (
            "orderCount", "finishedCount", "orderCountThen", "finishedCountThen")],
            [len(now), done[0], len(then), done[1]])
        if min(len(now), len(then), sum(done)) < naive.FEWEST:
            found.check(what, said["verdict"], "VERDICT_TOO_THIN")
            found.check(what, "pValue" in said, False)
            continue
        p, is_longer = naive.times_p_value(now, then)
        found.check(f"{what} p", said["pValue"], p, TIGHT)
        family.append(p)
        tell.append((what, said, 1 if is_longer else -1))


def add_items(found, account, items, family, tell):
    told = {(one["item"], one["measure"]): one for one in account["items"]}
    for item in sorted(items):
        for measure in ("on_time", "defect"):
            orders, hits = items[item][measure]
            others = [sum(of[measure][i] for of in items.values()) - (orders, hits)[i]
                      for i in (0, 1)]
            if item == "" or min(orders, others[0]) < naive.FEWEST:
                continue
            said = told.get((item, measure))
            difference = naive.newcombe(hits, orders, others[1], others[0])[0]
            family.append(naive.p_value(hits, orders, others[1], others[0]))
            tell.append((f"{account['supplierId']} {item} {measure}", said, difference))
            if said is not None:
                found.check(f"{item} counts", [int(said[name]) for name in (
                    "orderCount", "hitCount", "otherOrderCount", "otherHitCount")],
                    [orders, hits, *others])


def compare_shares(found, season, review, asked):
    everybody = list(zip(season.raw, season.orders))
    for name, of in zip(("period", "before"), asked):
        orders, paid = naive.portions(season, everybody, of)
        for account in review["accounts"]:
            said = account.get(name)
            if said is None or "lane" in account:
                continue
            if account["supplierId"]:
                supplier = account["supplierId"]
                found.check(f"{supplier} {name} orderShare", said["orderShare"],
                            orders.get(supplier, 0) / sum(orders.values()), TIGHT)
                found.check(f"{supplier} {name} moneyShare", said["moneyShare"],
                            paid[supplier] / sum(paid.values()), TIGHT)
            else:
                found.check(f"{name} orders", said["orderConcentration"], naive.index(orders),
                            TIGHT)
                found.check(f"{name} money", said["moneyConcentration"], naive.index(paid), TIGHT)


def compare_costs(found, season, review, asked):
    for account in review["accounts"]:
        if account["supplierId"] and "lane" not in account:
            pairs, _ = pairs_of(season, account)
            for name, value in naive.cost_parts(season, pairs, asked[0]).items():
                found.check(f"{account['supplierId']} {name}", account["costParts"][name], value,
                            TIGHT)


def asked_of(season, period, as_of, quotes_first=False):
    moment = None if as_of is None else parse_instant(as_of)
    return [naive.asked_for(season, *days, moment, quotes_first) for days in QUARTERS[period]]


def expect(found):
    assert not found, f"{len(found)} figures differ, the first:\n" + "\n".join(found[:25])


# ---- tests -------------------------------------------------------------------------------------

def every_figure_is_the_naive_count(period="2026Q3", as_of=AS_OF):
    season = read_season(Path(SAMPLE))
    with Season() as daemon:
        words = () if as_of is None else ("--as-of", as_of)
        review = daemon.ask("review", period, *words)
    found, asked = Differences(), asked_of(season, period, as_of)
    assert len(review["accounts"]) > 25, len(review["accounts"])
    named = {(one["supplierId"], json.dumps(one.get("lane"))) for one in review["accounts"]}
    assert len(named) == len(review["accounts"]), "an account came twice"
    for account in review["accounts"]:
        compare_account(found, season, account, asked, None)
    compare_changes(found, season, review["accounts"], asked, review["comparisonCount"])
    compare_shares(found, season, review, asked)
    compare_costs(found, season, review, asked)
    for supplier in {counted.supplier for counted in season.orders}:
        found.check(f"{supplier} is there", (supplier, "null") in named, any(
            asked[0].holds(one.paid_day) for one in season.orders if one.supplier == supplier)
            or (supplier, "null") in named)
    expect(found)


def a_month_asked_about_while_it_ran():
    every_figure_is_the_naive_count("2026-08", "2026-08-20T00:00:00Z")


def two_months_asked_about_now():
    every_figure_is_the_naive_count("2026-05..2026-06", None)


def charges_are_compared_with_quotes():
    season = read_season(Path(SAMPLE))
    with Season(quotes_first=True) as daemon:
        review = daemon.ask("review", "2026Q3", "--as-of", AS_OF)
    asked, found, quoted = asked_of(season, "2026Q3", AS_OF, quotes_first=True), Differences(), 0
    for account in review["accounts"]:
        pairs, _ = pairs_of(season, account)
        counted = naive.money(season, pairs, asked[0])
        for one in account["period"]["money"]:
            for name, value in counted.get(one["currencyCode"], {}).items():
                found.check(f"{account['supplierId']} {name}", int(one[name]), value)
                quoted += name == "quotedOrderCount" and value
    expect(found)
    assert quoted > 100, quoted


def a_supplier_and_a_lane_are_the_same_figures():
    """Filters take the orders; the figures of an account do not change with what is around it."""
    with Season() as daemon:
        whole = daemon.ask("review", "2026Q3", "--as-of", AS_OF)
        of = {(one["supplierId"], json.dumps(one.get("lane"))): one for one in whole["accounts"]}
        one = daemon.ask("review", "2026Q3", "--as-of", AS_OF, "--supplier", "lotus-works")
        assert [(a["supplierId"], "lane" in a) for a in one["accounts"]][0] == \
            ("lotus-works", False)
        assert {a["supplierId"] for a in one["accounts"]} == {"lotus-works"}
        for account in one["accounts"]:
            same = of[account["supplierId"], json.dumps(account.get("lane"))]
            assert account["period"] == same["period"] and account["weeks"] == same["weeks"]
        lane = daemon.ask("review", "2026Q3", "--as-of", AS_OF, "--lane", "VN-DE")
        for account in lane["accounts"]:
            if "lane" in account:
                same = of[account["supplierId"], json.dumps(account["lane"])]
                assert account["period"]["onTime"] == same["period"]["onTime"]
                assert account["period"]["money"] == same["period"]["money"]


def points_are_ordered_and_the_worst_supplier_has_them():
    with Season() as daemon:
        review = daemon.ask("review", "2026Q3", "--as-of", AS_OF)
    suppliers = [one for one in review["accounts"] if one["supplierId"] and "lane" not in one]
    for account in suppliers:
        stakes = [int(one["atStake"]["minorUnits"]) for one in account["points"]
                  if not one["good"] and one.get("atStake", {}).get("currencyCode") == "EUR"]
        assert stakes == sorted(stakes, reverse=True), (account["supplierId"], stakes)
        assert sum(not one["good"] for one in account["points"]) <= 6
        assert all(one["sentence"].endswith(".") for one in account["points"])
    lotus = next(one for one in suppliers if one["supplierId"] == "lotus-works")
    late = next(one for one in lotus["points"] if one["kind"] == "KIND_LATE")
    assert not late["good"] and "more than chance" in late["sentence"], late


def the_copy_to_share_tells_nothing_of_others():
    others = ("copper-ferry", "amber-gate", "saffron-depot", "agave-trail", "linden-store",
              "pomelo-yard")
    hidden = ("orderShare", "moneyShare", "orderConcentration", "moneyConcentration", "costParts",
              "assigned")
    with Season() as daemon, Folder() as folder:
        whole = json.dumps(daemon.ask("review", "2026Q3", "--as-of", AS_OF))
        assert all(name in whole for name in others + hidden[:5]), "the control sees nothing"
        file = os.path.join(folder, "lotus.csv")
        shared = daemon.ask("review", "2026Q3", "--as-of", AS_OF, "--supplier", "lotus-works",
                            "--to-share", "--evidence", file)
        text = json.dumps(shared) + open(file).read()
        assert "lotus-works" in text
        for word in others + hidden:
            assert word not in text, f"{word} is in the copy to share"
        assert all(not one["atStakeByCosts"] for account in shared["accounts"]
                   for one in account["points"])
        assert all("refundedByShop" not in one for account in shared["accounts"]
                   for one in account["period"]["money"])
        code, _, words = daemon.run("review", "2026Q3", "--to-share")
        assert code == EXIT_USAGE and "--supplier" in words, words


def the_evidence_holds_every_late_order():
    with Season() as daemon, Folder() as folder:
        file = os.path.join(folder, "evidence.csv")
        review = daemon.ask("review", "2026Q3", "--as-of", AS_OF, "--evidence", file)
        with open(file, newline="") as text:
            rows = list(csv.DictReader(text))
        for account in review["accounts"]:
            if not account["supplierId"] or "lane" in account:
                continue
            own = [row for row in rows if row["supplier"] == account["supplierId"]]
            counted = [row for row in own if not row["excuse"]]
            figures = account["period"]
            late = [row for row in counted if "late" in row["findings"].split()]
            assert len(late) == int(figures["onTime"]["hitCount"]), account["supplierId"]
            kinds = {one["kind"].removeprefix("REASON_").lower(): int(one["count"])
                     for one in figures["defectKinds"]}
            for kind in naive.DEFECT_KINDS:
                found = sum(kind in row["findings"].split() for row in counted)
                assert found == kinds.get(kind, 0), (account["supplierId"], kind)
            owed = sum(int(one["owedOrderCount"]) for one in figures["money"])
            assert sum("owed" in row["findings"].split() for row in own) == owed
            assert sum("out_of_stock" in row["findings"].split() for row in own) == \
                int(figures["outOfStockCount"])
        excused = [row for row in rows if row["excuse"]]
        assert {row["excuse"] for row in excused} >= {"dock strike"}, excused[:3]
        code, _, words = daemon.run("review", "2026Q3", "--evidence", "/nowhere/e.csv")
        assert code == EXIT_FAILED and "/nowhere/e.csv" in words, words


def questions_that_make_no_sense():
    with Season() as daemon:
        for words, code, part in (
                (("2026Q5",), EXIT_USAGE, "2026Q3"), (("2026-13",), EXIT_USAGE, "2026Q3"),
                (("2026-09..2026-07",), EXIT_USAGE, "2026Q3"), ((), EXIT_USAGE, "PERIOD"),
                (("2027Q3",), EXIT_USAGE, "begun"),
                (("2026Q3", "--as-of", "2026-06-01"), EXIT_USAGE, "begun"),
                (("1990Q1..2026Q1",), EXIT_USAGE, "2026Q3"),
                (("2026Q3", "--supplier", "nobody"), EXIT_FAILED, "nobody"),
                (("2026Q3", "--lane", "DE-JP"), EXIT_FAILED, "DE-JP"),
                (("2026Q3", "--supplier", "lotus-works", "--lane", "MX-DE"), EXIT_FAILED,
                 "lotus-works on lane MX-DE")):
            exit_code, out, err = daemon.run("review", *words)
            assert exit_code == code and part in err and not out, (words, exit_code, err)


def a_period_without_orders_and_one_that_is_not_over():
    with Season() as daemon:
        empty = daemon.ask("review", "2024Q1")
        assert empty["accounts"] == [] and not empty["provisional"], empty
        running = daemon.ask("review", "2026Q3", "--as-of", "2026-08-15")
        assert running["provisional"] and running["finalDate"] == "2026-12-01", running["finalDate"]
        everybody = running["accounts"][0]["period"]
        assert int(everybody["immatureCount"]) > 100 and int(everybody["unsettledCount"]) > 0
        settled = daemon.ask("review", "2026-05", "--as-of", AS_OF)
        assert not settled["provisional"] and settled["finalDate"] == "2026-08-01", settled
        assert settled["accounts"][0]["period"]["immatureCount"] == "0"


def a_lane_with_one_order():
    with Season() as daemon:
        daemon.run("record", "9001", "paid", "--shop", "harbour", "--supplier", "copper-ferry",
                   "--lane", "TR-IE", "--promise", "2026-08-10", "--cost", "12.00", "--currency",
                   "EUR", "--time", "2026-08-01T12:00:00Z", check=0)
        review = daemon.ask("review", "2026Q3", "--as-of", AS_OF, "--lane", "TR-IE")
        figures = review["accounts"][0]["period"]
        assert figures["onTime"]["orderCount"] == "1" and figures["onTime"]["tooThin"]
        assert math.isclose(figures["onTime"]["high"], naive.wilson(0, 1)[1])
        assert figures["defect"]["hitCount"] == "1", "not delivered for 30 days is lost"
        assert all(one["verdict"] == "VERDICT_TOO_THIN" for account in review["accounts"]
                   for one in account["changes"])


def a_comparison_that_must_fail():
    """Control: one order more is noticed."""
    season = read_season(Path(SAMPLE))
    with Season() as daemon:
        daemon.run("record", "9001", "paid", "--shop", "harbour", "--supplier", "copper-ferry",
                   "--lane", "TR-DE", "--cost", "12.00", "--currency", "EUR", "--time",
                   "2026-08-01T12:00:00Z", check=0)
        review = daemon.ask("review", "2026Q3", "--as-of", AS_OF)
    found, asked = Differences(), asked_of(season, "2026Q3", AS_OF)
    compare_account(found, season, review["accounts"][0], asked, None)
    assert any("orderCount" in one for one in found) and any("paid" in one for one in found), found


if __name__ == "__main__":
    main([every_figure_is_the_naive_count, a_month_asked_about_while_it_ran,
          two_months_asked_about_now, charges_are_compared_with_quotes,
          a_supplier_and_a_lane_are_the_same_figures,
          points_are_ordered_and_the_worst_supplier_has_them,
          the_copy_to_share_tells_nothing_of_others, the_evidence_holds_every_late_order,
          questions_that_make_no_sense, a_period_without_orders_and_one_that_is_not_over,
          a_lane_with_one_order, a_comparison_that_must_fail])
