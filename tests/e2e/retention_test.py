"""Orders are kept for so many days and no longer, and erased on request: scores stay as they were,
nothing counts twice, and who asks is told."""
import json
import os
import threading

from harness import SAMPLE, Daemon, Folder, main, send_season, wait_for

KEPT_DAYS = 30
FILES = ("harbour.ndjson", "meadow.csv", "carriers.ndjson", "mondays.csv")


def cells(dump):
    return [line for line in dump.splitlines() if line.startswith("cells ")]


def keeping(folder, days):
    path = os.path.join(folder, "settings.toml")
    with open(path, "w") as file:
        file.write(f"[retention]\norders_days = {days}\n")
    return ["--config", path]


def old_orders_go_and_no_score_changes():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        send_season(daemon)
        assert daemon.ask("verify")["difference"] == ""
        before, scores = daemon.ask("status"), daemon.ask("suppliers")
        assert daemon.stop() == 0
        kept = daemon.dump()

        daemon.flags += keeping(folder, KEPT_DAYS)
        daemon.start()
        assert wait_for(lambda: int(daemon.ask("status")["orderCount"])
                        < int(before["orderCount"]) // 2), daemon.read_log()
        assert daemon.ask("suppliers") == scores
        assert daemon.ask("verify")["difference"] == ""
        assert int(daemon.ask("status")["purgedOrderCount"]) > 500
        assert "their counts stay" in daemon.run("status", check=0)[1]
        review = daemon.ask("review", "2026-07")
        assert review["ordersKeptFromDate"] > "2026-07", review["ordersKeptFromDate"]
        for account in review["accounts"]:
            for figures in (account[name] for name in ("period", "before") if name in account):
                assert "unsettledCount" not in figures and "outOfStockCount" not in figures
                assert not any(name in money for money in figures["money"]
                               for name in ("claimed", "owed", "overcharged", "refundedByShop"))
            assert not account["excuses"] and not account["items"]
        assert any(int(account["period"]["onTime"]["orderCount"]) > 100
                   for account in review["accounts"])
        assert "no longer kept" in daemon.run("review", "2026-07", check=0)[1]
        evidence = os.path.join(folder, "evidence.csv")
        code, _, err = daemon.run("review", "2026-07", "--evidence", evidence)
        assert code != 0 and "no longer kept" in err, (code, err)
        refused = 0
        for name in FILES:
            told = daemon.run("send", os.path.join(SAMPLE, name), "--json", check=0)[1]
            report = json.loads(told)["files"][0]
            assert report["takenCount"] == report["rejectedCount"] == 0, report
            refused += report["notKeptCount"]
        assert refused > 1000, refused
        assert daemon.ask("suppliers") == scores
        assert daemon.ask("verify")["difference"] == ""
        assert daemon.stop() == 0
        assert cells(daemon.dump()) == cells(kept)


def an_erased_order_counts_no_more_and_is_known_again():
    with Folder() as folder:
        with open(os.path.join(folder, "two.csv"), "w") as file:
            file.write("event_id,order_id,type,time,supplier,origin,destination,promise\n")
            for order in ("1001", "1002"):
                file.write(f"p,{order},paid,2026-03-01,lotus-works,VN,DE,2026-03-15\n"
                           f"d,{order},delivered,2026-03-20,,,,\n")
        daemon = Daemon(folder, clock="wall").start()
        daemon.run("send", os.path.join(folder, "two.csv"), check=0)
        code, _, err = daemon.run("erase", "--order", "1001")
        assert code == 2 and "--yes" in err, (code, err)
        assert daemon.ask("status")["orderCount"] == "2"
        answer = daemon.ask("erase", "--order", "1001", "nowhere", "--yes")
        assert answer["erasedOrderIds"] == ["1001"], answer
        assert answer["unknownOrderIds"] == ["nowhere"], answer
        assert daemon.ask("status")["orderCount"] == "1"
        code, _, err = daemon.run("order", "1001")
        assert code == 1 and "no longer kept" in err, (code, err)
        told = daemon.run("send", os.path.join(folder, "two.csv"), check=0)[1]
        assert "2 of orders no longer kept" in told, told
        assert daemon.ask("erase", "--order", "1001", "--yes")["notKeptOrderIds"] == ["1001"]
        assert daemon.stop() == 0
        assert b"1001".hex() not in daemon.dump()


def a_supplier_is_erased_while_reviews_are_asked():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        send_season(daemon)
        quotes = os.path.join(folder, "quotes.csv")
        with open(quotes, "w") as file:
            file.write("supplier,item,lane,price,currency,valid_from\n"
                       "copper-ferry,*,TR-DE,12.00,EUR,2026-01-01\n"
                       "lotus-works,*,VN-DE,10.00,EUR,2026-01-01\n")
        daemon.run("quotes", "load", quotes, check=0)
        suppliers = {one["supplierId"] for one in daemon.ask("suppliers")["scores"]}
        assert {"copper-ferry", "lotus-works"} <= suppliers, suppliers
        answers, done = [], threading.Event()

        def ask_reviews():
            while not done.is_set():
                answers.append(daemon.run("review", "2026-07", "--json")[0])

        asking = threading.Thread(target=ask_reviews)
        asking.start()
        try:
            code, _, err = daemon.run("erase", "--supplier", "lotus-works")
            assert code == 2 and "--yes" in err, (code, err)
            gone = daemon.ask("erase", "--supplier", "lotus-works", "--yes")
        finally:
            done.set()
            asking.join()
        assert int(gone["orderCount"]) > 100 and gone["agreedRowCount"] == "1", gone
        assert answers and set(answers) == {0}, answers
        assert {one["supplierId"] for one in daemon.ask("suppliers")["scores"]} == \
            suppliers - {"lotus-works"}
        assert daemon.ask("verify")["difference"] == ""
        assert daemon.ask("status")["erasedOrderCount"] == gone["orderCount"]
        code, _, err = daemon.run("erase", "--supplier", "lotus-works", "--yes")
        assert code == 1 and "nothing names" in err, (code, err)
        assert daemon.stop() == 0
        assert "lotus-works" not in daemon.read_log()
        with open(os.path.join(daemon.data, "audit.ndjson")) as file:
            lines = [json.loads(line) for line in file]
        erasures = [line for line in lines if line["action"].endswith("/EraseSupplier")]
        assert [line["outcome"] for line in erasures] == ["OK", "NOT_FOUND"], erasures
        assert "lotus-works" not in str(erasures), erasures
        assert b"lotus-works".hex() not in daemon.dump()


if __name__ == "__main__":
    main([old_orders_go_and_no_score_changes, an_erased_order_counts_no_more_and_is_known_again,
          a_supplier_is_erased_while_reviews_are_asked])
