"""What a review may be asked for besides a period: one shop, a copy to share, an earlier moment;
and what it makes of amounts in other currencies and of markup in names."""
import csv
import json
import math
import os
from pathlib import Path

from harness import Daemon, Folder, SAMPLE, main
from review_test import (AS_OF, EXIT_FAILED, Differences, Season, asked_of, compare_account,
                         compare_changes, compare_costs, compare_shares, expect)
from sourcing import read_season                    # by the path of review_test

COLUMNS = ("event_id", "order_id", "type", "time", "shop", "supplier", "origin", "destination", "item",
           "promise", "cost", "claim", "currency", "reason")


def send(daemon, folder, rows):
    path = os.path.join(folder, "events.csv")
    with open(path, "w", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows({"event_id": f"{row['order_id']}-{row['type']}", **row} for row in rows)
    daemon.run("send", path, check=0)


def paid(order_id, supplier, **more):
    return {"order_id": order_id, "type": "paid", "time": "2026-07-01T12:00:00Z",
            "supplier": supplier, "origin": "VN", "destination": "DE", "promise": "2026-07-20",
            "cost": "10.00", "currency": "EUR", **more}


def a_copy_to_share_has_excuses_by_their_kind():
    """What we wrote down as the reason is our own note."""
    notes = {"dock strike", "label was ours and wrong"}
    seen = set()
    with Season() as daemon, Folder() as folder:
        review = daemon.ask("review", "2026Q3", "--as-of", AS_OF)
        excused = {one["supplierId"] for one in review["accounts"]
                   if one["supplierId"] and one["excuses"]}
        assert len(excused) > 1, excused
        for supplier in excused:
            words = ("review", "2026Q3", "--as-of", AS_OF, "--supplier", supplier)
            seen |= {note for page in every_form(daemon, folder, words) for note in notes
                     if note in page}
            shared = every_form(daemon, folder, (*words, "--to-share"))
            found = {note for page in shared for note in notes if note in page}
            assert not found, (supplier, found)
            reasons = {one["reason"] for account in daemon.ask(*words, "--to-share")["accounts"]
                       for one in account["excuses"]}
            assert reasons and reasons <= {"days on this lane", "single orders", "wrong_address",
                                           "refused"}, (supplier, reasons)
    assert seen == notes, f"the control saw only {seen}"


def every_form(daemon, folder, words):
    pages = [daemon.run(*words, check=0)[1]]
    for name in ("html", "md", "csv", "json"):
        page, evidence = (os.path.join(folder, one) for one in ("page." + name, "evidence.csv"))
        daemon.run(*words, "-o", page, "--evidence", evidence, check=0)
        pages += [open(page).read(), open(evidence).read()]
    return pages


def the_account_of_one_shop_is_that_of_its_orders():
    season = read_season(Path(SAMPLE))
    with Season() as daemon, Folder() as folder:
        file = os.path.join(folder, "evidence.csv")
        review = daemon.ask("review", "2026Q3", "--as-of", AS_OF, "--shop", "meadow", "--evidence",
                            file)
        whole = daemon.ask("review", "2026Q3", "--as-of", AS_OF)
        code, out, words = daemon.run("review", "2026Q3", "--shop", "nowhere")
        assert code == EXIT_FAILED and "no order names shop nowhere" in words and not out, words
        with open(file, newline="") as text:
            assert {row["shop"] for row in csv.DictReader(text)} == {"meadow"}
        page = os.path.join(folder, "meadow.html")
        daemon.run("review", "2026Q3", "--as-of", AS_OF, "--shop", "meadow", "-o", page, check=0)
        assert "alerts and targets are those of all shops" in open(page).read()
    found, asked = Differences(), asked_of(season, "2026Q3", AS_OF)
    own = [at for at, order in enumerate(season.raw) if order.shop == "meadow"]
    assert 0 < len(own) < len(season.raw) and len(review["accounts"]) > 10
    season.raw, season.orders = ([some[at] for at in own] for some in (season.raw, season.orders))
    for account in review["accounts"]:
        compare_account(found, season, account, asked, None)
    compare_changes(found, season, review["accounts"], asked, review["comparisonCount"])
    compare_shares(found, season, review, asked)
    compare_costs(found, season, review, asked)
    expect(found)
    assert review["accounts"][0]["period"] != whole["accounts"][0]["period"], "the control"


def refunds_of_the_evidence_are_those_up_to_the_moment_asked():
    with Season() as daemon, Folder() as folder:
        sums = []
        for as_of in ("2026-08-15T00:00:00Z", AS_OF):
            file = os.path.join(folder, "evidence.csv")
            daemon.run("review", "2026Q3", "--as-of", as_of, "--evidence", file, check=0)
            with open(file, newline="") as text:
                rows = list(csv.DictReader(text))
            for row in rows:
                for name in ("paid", "shipped", "delivered", "disputed", "answered", "cancelled"):
                    assert row[name] < as_of, (row["order_id"], name, row[name])
                claimed, owed = row["claimed"].split(), row["owed"].split()
                if not owed:
                    continue
                back = sum(float(one.split()[0]) for one in row["refunded"].split("; ")
                           if one.endswith(claimed[1]))
                assert math.isclose(float(claimed[0]) - back, float(owed[0]), abs_tol=0.005), row
            sums.append({row["order_id"] for row in rows if row["refunded"]})
        assert sums[0] and sums[1] - sums[0], "nothing was refunded after the first moment"


def markup_in_names_stays_text():
    """An item and a reason for an excuse may hold whatever a person typed."""
    item, reason = "<script>alert(1)</script>", "<b>strike</b> & more"
    with Season() as daemon, Folder() as folder:
        send(daemon, folder, [paid(f"90{n}", "lotus-works", shop="harbour", item=item)
                              for n in range(10, 30)])
        daemon.run("excuse", "add", "--order", "9012", "--shop", "harbour", "--reason", reason,
                   check=0)
        answer = json.dumps(daemon.ask("review", "2026Q3", "--as-of", AS_OF))
        assert item in answer and reason in answer, "the control sees nothing"
        for form in ("html", "md"):
            page = os.path.join(folder, "page." + form)
            daemon.run("review", "2026Q3", "--as-of", AS_OF, "-o", page, check=0)
            text = open(page).read()
            assert "<script" not in text and "<b>strike" not in text, form
            assert "&lt;b&gt;strike&lt;/b&gt; &amp; more" in text, form
            assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text or form == "md", form


def suppliers_stand_by_worth_whatever_the_currency():
    """Claims in dollars, of which there is a rate, and in dong, of which there is none."""
    def claims(supplier, claim, currency):
        yield paid(supplier, supplier)
        yield {"order_id": supplier, "type": "delivered", "time": "2026-07-15T12:00:00Z"}
        yield {"order_id": supplier, "type": "disputed", "time": "2026-07-16T12:00:00Z",
               "reason": "damaged", "claim": claim, "currency": currency}

    with Folder() as folder:
        daemon = Daemon(folder).start()
        send(daemon, folder, [*claims("cents", "20.00", "EUR"), *claims("dollars", "90.00", "USD"),
                              *claims("dong", "9000000", "VND"),
                              paid("later", "cents", time="2026-10-20T12:00:00Z",
                                   promise="2026-11-01")])
        rates = os.path.join(folder, "rates.csv")
        with open(rates, "w") as file:
            file.write("date,from,to,rate\n2026-01-01,USD,EUR,0.5\n2026-07-10,USD,EUR,0.8\n")
        daemon.run("rates", "load", rates, check=0)
        review = daemon.ask("review", "2026Q3")
        of = {one["supplierId"]: one for one in review["accounts"]
              if one["supplierId"] and "lane" not in one}
        assert review["currencyCode"] == "EUR"
        worth = {name: int(one["atStake"]["minorUnits"]) for name, one in of.items()}
        # Owed, and paid for the damaged order: at the rate of the day of as-of.
        assert worth == {"cents": 2000 + 1000, "dollars": 7200 + 1000, "dong": 1000}, worth
        assert of["dong"]["atStakeLeftOut"] == ["VND"] and not of["dollars"]["atStakeLeftOut"]
        kinds = [one["kind"] for one in of["dollars"]["points"] if not one["good"]]
        assert kinds[0] == "KIND_OWED", "72.00 EUR come before 10.00 EUR"
        order, text = raised(daemon, folder)
        assert order == ["dollars", "cents", "dong"], order
        assert "Its place leaves out amounts in VND: there is no rate to EUR" in text
        send(daemon, folder, [paid("1", "dollars", currency="USD")])
        order, text = raised(daemon, folder)
        assert order == ["cents", "dollars", "dong"], order
        assert "by name and not by money: orders were paid in several currencies" in text
        daemon.stop()


def raised(daemon, folder):
    """The suppliers of the points to raise as they stand, and the page."""
    page = os.path.join(folder, "page.md")
    daemon.run("review", "2026Q3", "-o", page, check=0)
    text = open(page).read()
    lines = text[:text.index("## What changed")].splitlines()
    return [line[4:] for line in lines if line.startswith("### ")], text


def nothing_is_written_where_nothing_can_be_said():
    with Season() as daemon, Folder() as folder:
        page, evidence = (os.path.join(folder, name) for name in ("p.html", "e.csv"))
        for words, said in ((("--supplier", "nobody"), "nobody"), (("--lane", "DE-JP"), "DE-JP"),
                            (("--shop", "nowhere"), "nowhere")):
            code, _, err = daemon.run("review", "2026Q3", *words, "-o", page, "--evidence",
                                      evidence)
            assert code == EXIT_FAILED and said in err, (words, err)
            assert not os.path.exists(page) and not os.path.exists(evidence), words
        code, _, err = daemon.run("review", "2026Q3", "-o", "/nowhere/p.html")
        assert code == EXIT_FAILED and "/nowhere/p.html" in err, err
        daemon.run("review", "2024Q1", "-o", page, "--evidence", evidence, check=0)
        assert "There were no orders in this period" in open(page).read()
        assert len(open(evidence).read().splitlines()) == 1, "the names of the columns"


if __name__ == "__main__":
    main([a_copy_to_share_has_excuses_by_their_kind, the_account_of_one_shop_is_that_of_its_orders,
          refunds_of_the_evidence_are_those_up_to_the_moment_asked, markup_in_names_stays_text,
          suppliers_stand_by_worth_whatever_the_currency,
          nothing_is_written_where_nothing_can_be_said])
