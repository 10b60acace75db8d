"""A quarter with a year before it: fifteen months of orders made here, and the column of a year ago
in every form, beside counts of this file's own."""
import csv
import os
import re
from datetime import date, timedelta

from harness import Daemon, Folder, main
from review_page_test import Node, Page

FIRST, LAST = date(2025, 7, 1), date(2026, 9, 30)
QUARTERS = {"period": (date(2026, 7, 1), date(2026, 9, 30)),
            "before": (date(2026, 4, 1), date(2026, 6, 30)),
            "yearAgo": (date(2025, 7, 1), date(2025, 9, 30))}
AS_OF = "2026-11-20"


class Made:
    """Two suppliers, an order a day each; one is slower and later this quarter."""
    orders = []
    answer = html = markdown = csv = screen = None

    @classmethod
    def make(cls):
        for n in range((LAST - FIRST).days + 1):
            day = FIRST + timedelta(days=n)
            for supplier, lane in (("lotus-works", ("VN", "DE")), ("copper-ferry", ("TR", "SE"))):
                worse = supplier == "lotus-works" and day >= date(2026, 6, 21)
                is_late = n % 10 < (5 if worse else 1)
                cls.orders.append({
                    "id": f"{supplier[0]}{n}", "supplier": supplier, "lane": lane, "paid": day,
                    "shipped": day + timedelta(days=(4 if worse else 1) + n % 2),
                    "due": day + timedelta(days=10),
                    "delivered": day + timedelta(days=12 if is_late else 9)})
        with Folder() as folder:
            daemon = Daemon(folder).start()
            cls.send(daemon, os.path.join(folder, "events.csv"))
            words = ("review", "2026Q3", "--as-of", AS_OF)
            cls.answer = daemon.ask(*words)
            cls.screen = daemon.run(*words, check=0)[1]
            for form in ("html", "md", "csv"):
                path = os.path.join(folder, "page." + form)
                daemon.run(*words, "-o", path, check=0)
                with open(path, encoding="utf-8") as file:
                    setattr(cls, {"md": "markdown"}.get(form, form), file.read())
            daemon.stop()

    @classmethod
    def send(cls, daemon, path):
        with open(path, "w") as file:
            file.write("event_id,order_id,type,time,supplier,origin,destination,promise,cost,currency\n")
            for one in cls.orders:
                origin, destination = one["lane"]
                file.write(f"{one['id']}-paid,{one['id']},paid,{one['paid']}T09:00:00Z,{one['supplier']},{origin},"
                           f"{destination},{one['due']},10.00,EUR\n"
                           f"{one['id']}-shipped,{one['id']},shipped,{one['shipped']}T09:00:00Z,,,,,,\n"
                           f"{one['id']}-delivered,{one['id']},delivered,{one['delivered']}T09:00:00Z,,,,,,\n")
        daemon.run("send", path, "--complete-through", "2026-11-20T00:00:00Z", check=0)


def count(supplier, quarter):
    """Orders due and those of them late, and orders paid."""
    first, last = QUARTERS[quarter]
    own = [one for one in Made.orders if supplier in ("", one["supplier"])]
    due = [one for one in own if first <= one["due"] <= last]
    return (len(due), sum(one["due"] < one["delivered"] for one in due),
            sum(first <= one["paid"] <= last for one in own))


def account_of(supplier):
    return next(one for one in Made.answer["accounts"]
                if one["supplierId"] == supplier and "lane" not in one)


def all_three_quarters_are_counted():
    for supplier in ("", "lotus-works", "copper-ferry"):
        account = account_of(supplier)
        for quarter in QUARTERS:
            said = account[quarter]
            assert (int(said["onTime"]["orderCount"]), int(said["onTime"]["hitCount"]),
                    int(said["orderCount"])) == count(supplier, quarter), (supplier, quarter)
    assert count("lotus-works", "yearAgo")[0] > 80, "the column has something to show"


def what_worsened_has_worsened_against_both():
    lotus = {(one["measure"], one["against"]): one for one in account_of("lotus-works")["changes"]}
    for against in ("AGAINST_PERIOD_BEFORE", "AGAINST_YEAR_AGO"):
        assert lotus["on_time", against]["verdict"] == "VERDICT_WORSE", against
        assert lotus["defect", against]["verdict"] == "VERDICT_NO_MORE_THAN_CHANCE", against
    steady = account_of("copper-ferry")
    assert {one["verdict"] for one in steady["changes"]} == {"VERDICT_NO_MORE_THAN_CHANCE"}
    times = {(one["measure"], one["against"]): one["verdict"]
             for one in account_of("lotus-works")["timesChanges"]}
    for against in ("AGAINST_PERIOD_BEFORE", "AGAINST_YEAR_AGO"):
        assert times["handling", against] == "VERDICT_WORSE", (against, times)
        assert times["transit", against] == "VERDICT_BETTER", (against, times)
    assert {one["verdict"] for one in steady["timesChanges"]} <= {
        "VERDICT_NO_MORE_THAN_CHANCE", "VERDICT_TOO_THIN"}, steady["timesChanges"]


def the_page_has_the_column_with_its_figures():
    for table in Page(Made.html).root.all("table"):
        caption = next(table.all("caption")).text()
        if not caption.startswith("Figures of "):
            continue
        rows = [[cell.text() for cell in row.children if isinstance(cell, Node)]
                for row in table.all("tr")]
        assert rows[0] == ["", "this period", "the period before", "a year ago"], rows[0]
        assert all(len(row) == 4 for row in rows)
        name = caption.removeprefix("Figures of ")
        if name in ("lotus-works", "copper-ferry"):
            by_label = {row[0]: row[1:] for row in rows[1:]}
            for column, quarter in enumerate(QUARTERS):
                due, late, paid = count(name, quarter)
                assert by_label["orders paid"][column] == str(paid)
                assert by_label["on time"][column].endswith(f"of {due}"), by_label["on time"]
                assert by_label["came late"][column] == str(late)
            assert all(by_label["travels"]) and all(by_label["ships within"])
    text = Page(Made.html).root.text()
    due, late, _ = count("lotus-works", "yearAgo")
    assert f"a year ago {100 * late / due:.0f} % ({late} of {due})" in text
    assert "late, against a year ago" in text and "longer to ship, against the period before" in text


def the_other_forms_have_it_too():
    due, late, paid = count("lotus-works", "yearAgo")
    line = next(line for line in Made.markdown.splitlines()
                if line.startswith("| came late |") and line.endswith(f"| {late} |"))
    assert line.count("|") == 5, line
    assert f"a year ago {100 * late / due:.0f} % ({late} of {due})" in Made.markdown
    row = next(row for row in csv.DictReader(Made.csv.splitlines())
               if row["account"] == "supplier" and row["supplier"] == "lotus-works")
    assert (row["year_ago_orders"], row["year_ago_on_time_orders"], row["year_ago_late"]) == \
        (str(paid), str(due), str(late)), row
    assert row["on_time_against_year_ago"] == "worse"
    assert row["handling_against_before"] == "worse" and float(row["handling_against_before_p"]) < .1


def the_screen_tells_of_both():
    due, late, _ = count("lotus-works", "yearAgo")
    text = " ".join(Made.screen.split())
    assert "compared with 2026-04-01 to 2026-06-30 and 2025-07-01 to 2025-09-30" in text
    assert re.search(rf"late a year ago: [\d.]+ % \({late} of {due}\); .{{5,40}}, worse by more "
                     "than chance", text), text
    assert max(map(len, Made.screen.splitlines())) <= 80


if __name__ == "__main__":
    Made.make()
    main([all_three_quarters_are_counted, what_worsened_has_worsened_against_both,
          the_page_has_the_column_with_its_figures, the_other_forms_have_it_too,
          the_screen_tells_of_both])
