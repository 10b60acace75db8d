"""Orders are kept for so many days and no longer, and erased on request: scores stay as they were,
nothing counts twice, and who asks is told."""
import json
import os

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
        before, scores = daemon.ask("status"), daemon.ask("suppliers")
        assert daemon.stop() == 0
        kept = daemon.dump()

        daemon.flags += keeping(folder, KEPT_DAYS)
        daemon.start()
        assert wait_for(lambda: int(daemon.ask("status")["orderCount"])
                        < int(before["orderCount"]) // 2), daemon.read_log()
        assert daemon.ask("suppliers") == scores
        review = daemon.ask("review", "--period", "2026-07")
        assert review["ordersKeptFromDate"] > "2026-07", review["ordersKeptFromDate"]
        assert "no longer kept" in daemon.run("review", "--period", "2026-07", check=0)[1]
        refused = 0
        for name in FILES:
            told = daemon.run("send", os.path.join(SAMPLE, name), "--json", check=0)[1]
            report = json.loads(told)["files"][0]
            assert report["takenCount"] == report["rejectedCount"] == 0, report
            refused += report["notKeptCount"]
        assert refused > 1000, refused
        assert daemon.ask("suppliers") == scores
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


if __name__ == "__main__":
    main([old_orders_go_and_no_score_changes, an_erased_order_counts_no_more_and_is_known_again])
