"""Sending again is safe, a whole send can be taken back, and a directory can be followed: with the
real binaries, both of them killed at any moment."""
import json
import os
import signal
import subprocess

from harness import BIN, SAMPLE, Daemon, Folder, main, wait_for

HEADER = "event_id,order_id,type,time,supplier,origin,destination,promise\n"


def row(number, kind, day, more=",,,"):
    return f"{kind}-{number},{number},{kind},2026-03-{day:02}T10:00:00Z,{more}\n"


def paid(number, supplier="lotus-works"):
    return row(number, "paid", 1, f"{supplier},VN,DE,2026-03-15")


def write(folder, name, text):
    path = os.path.join(folder, name)
    with open(path, "w") as file:
        file.write(text)
    return path


def sent(daemon, *args, code=0):
    """The report of sending one file."""
    return json.loads(daemon.run("send", *args, "--json", check=code)[1])["files"][0]


def cells(dump):
    return [line for line in dump.splitlines() if line.startswith("cells ")]


def news(status):
    return [source for source in status["sources"] if source.get("completeThroughTime")]


def an_export_that_has_grown_adds_only_what_is_new():
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        try:
            week = HEADER + "".join(paid(n) + row(n, "delivered", 10) for n in range(1, 301))
            path = write(folder, "orders.csv", week)
            assert sent(daemon, path)["takenCount"] == 600
            grown = week + "".join(paid(n) for n in range(301, 321))
            report = sent(daemon, write(folder, "orders.csv", grown))
            assert (report["takenCount"], report["repeatCount"]) == (20, 600), report
            assert (report["newOrderCount"], report["conflictCount"]) == (20, 0), report
        finally:
            daemon.stop()
        daemon.dump()


def a_changed_cell_replaces_what_the_row_said_before_in_whichever_order_exports_come():
    def export(revision, day):
        events = [{"event_id": "p", "order_id": "1", "type": "paid", "time": "2026-03-01",
                   "supplier": "lotus-works", "origin": "VN", "destination": "DE",
                   "promise": "2026-03-15"},
                  {"event_id": "d", "order_id": "1", "type": "delivered", "time": day}]
        return "".join(json.dumps({**event, "revision": revision}) + "\n"
                       for event in events if event["time"])

    exports = [export("2026-03-20T16:00:00Z", "2026-03-20T10:00:00Z"),
               export("2026-03-21T16:00:00Z", "2026-03-12T10:00:00Z"),
               export("2026-03-22T16:00:00Z", None)]
    delivered = ["2026-03-20T10:00:00Z", "2026-03-12T10:00:00Z", None]
    for latest in range(3):
        dumps = set()
        for arrival in (range(latest + 1), reversed(range(latest + 1))):
            with Folder() as folder:
                daemon = Daemon(folder, clock="wall").start()
                try:
                    for number in arrival:
                        path = write(folder, "orders.ndjson", exports[number])
                        report = sent(daemon, path)
                        assert report["conflictCount"] == 0, report
                    again = sent(daemon, path)
                    assert again["takenCount"] == 0, again
                    part = daemon.ask("order", "1")["parts"][0]
                    assert part.get("deliverTime") == delivered[latest], (latest, part)
                finally:
                    daemon.stop()
                dumps.add("\n".join(cells(daemon.dump())))
        assert len(dumps) == 1, latest
    for revision, code in (("1969-12-31T23:00:00Z", 3), ("2126-01-01T00:00:00Z", 3)):
        with Folder() as folder:
            daemon = Daemon(folder, clock="wall").start()
            try:
                path = write(folder, "orders.ndjson", export(revision, "2026-03-20T10:00:00Z"))
                assert sent(daemon, path, code=code)["rejectedCount"] == 2
            finally:
                daemon.stop()


def a_send_taken_back_leaves_what_there_was_without_it():
    with Folder() as folder, Folder() as other:
        season = os.path.join(SAMPLE, "harbour.ndjson")
        wrong = HEADER + "".join(paid(n, "copper-kettle") + row(n, "shipped", 3) +
                                 row(n, "delivered", 20) for n in range(1, 201))
        # One event that the season's feed told as well.
        with open(season) as file:
            shared = file.readline()
        wrong_path = write(folder, "wrong.csv", wrong)
        shared_path = write(folder, "shared.ndjson", shared)
        nothing = write(folder, "nothing.ndjson", '{"event_id":""}\n')
        daemon, never = Daemon(folder).start(), Daemon(other).start()
        try:
            for one in (daemon, never):
                one.run("send", season, check=0)
            daemon.run("send", wrong_path, shared_path, check=0)
            never.run("send", nothing, check=3)
            listed = daemon.ask("sends")["sends"]
            assert [s["sendNumber"] for s in listed] == ["2", "1"], listed
            assert listed[0]["acceptedCount"] == "600" and listed[0]["duplicateCount"] == "1"
            assert listed[0]["state"] == "STATE_FINISHED", listed[0]

            before = daemon.ask("status")
            code, out, err = daemon.run("sends", "undo", "2")
            assert code == 2 and "--yes" in err, (code, out, err)
            code, out, err = daemon.run("sends", "undo", "2", "--yes")
            assert code == 0, (out, err)
            for words in ("200 orders go", "600 events", "1 event stays", "copper-kettle: 200"):
                assert words in " ".join(out.split()), (words, out)
            code, out, err = daemon.run("sends", "undo", "2", "--yes")
            assert code == 1 and "taken back already" in err, (code, err)
            code, out, err = daemon.run("sends", "undo", "77", "--yes")
            assert code == 1 and "no send 77" in err, (code, err)
            assert daemon.ask("sends")["sends"][0]["state"] == "STATE_UNDONE"
            # What it said of how far its source is complete went with it.
            assert news(before) and not news(daemon.ask("status")), before
            assert daemon.ask("status")["sources"] == never.ask("status")["sources"]
        finally:
            daemon.kill()
            never.stop()
        heard = ("index " + b"s".hex(),)  # when a supplier was last heard of stays

        def state(dump):
            return [line for line in dump.splitlines() if not line.startswith(heard)]

        assert state(daemon.dump()) == state(never.dump())
        daemon.start()
        try:
            assert daemon.ask("sends")["sends"][0]["state"] == "STATE_UNDONE"
            assert sent(daemon, wrong_path)["takenCount"] == 600  # it counts again
        finally:
            daemon.stop()
        daemon.dump()


def events_come_as_cloud_events():
    def wrap(number, **more):
        return {"specversion": "1.0", "id": f"p{number}", "source": "https://shop.example/orders",
                "type": "example.shop.paid.v1", "time": "2026-03-01T10:00:00Z",
                "data": {"order_id": str(number), "supplier": "lotus-works", "origin": "VN",
                         "destination": "DE", "promise": "2026-03-15"}, **more}
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        try:
            for name, text in (("one.json", json.dumps(wrap(1), indent=2)),
                               ("list.json", json.dumps([wrap(2), wrap(3)], indent=2)),
                               ("lines.ndjson", f"{json.dumps(wrap(4))}\n{json.dumps(wrap(5))}\n")):
                report = sent(daemon, write(folder, name, text))
                assert report["takenCount"] == report["eventCount"] > 0, (name, report)
            order = daemon.ask("order", "3")
            assert "shop.example:orders" in json.dumps(order), order
            path = write(folder, "bad.json", json.dumps([wrap(6), wrap(7, specversion="2.0")],
                                                        indent=2))
            report = sent(daemon, path, code=3)
            assert (report["takenCount"], report["rejectedCount"]) == (1, 1), report
            with open(path + ".rejected") as file:
                rejected = json.loads(file.readline())
            assert rejected["field"] == "specversion" and rejected["line"] == 16, rejected
        finally:
            daemon.stop()


class Follower:
    def __init__(self, daemon, folder, path, *more):
        self.daemon, self.path, self.more = daemon, path, more
        self.environment = {**os.environ, "XDG_STATE_HOME": os.path.join(folder, "state")}

    def start(self):
        self.process = subprocess.Popen(
            [os.path.join(BIN, "plumblane"), "--server", self.daemon.address, "send", "--follow",
             self.path, *self.more], env=self.environment, stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE, text=True)

    def kill(self):
        self.process.kill()
        self.process.wait()
        self.process.stderr.close()

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(timeout=60)
        self.process.stderr.close()
        return code


def a_directory_is_followed_through_kills_of_both():
    with Folder() as folder, Folder() as other:
        inbox = os.path.join(folder, "inbox")
        os.mkdir(inbox)
        daemon = Daemon(folder, clock="wall").start()
        follower = Follower(daemon, folder, inbox)

        def has(count):
            return wait_for(lambda: daemon.ask("status")["eventCount"] == str(count))

        def add(name, text):
            with open(os.path.join(inbox, name), "a") as file:
                file.write(text)

        try:
            add("a.csv", HEADER + paid(1) + paid(2)[:20])
            add("notes.txt", "not looked at\n")
            follower.start()
            assert has(1)
            add("a.csv", paid(2)[20:])
            assert has(2)
            follower.kill()
            add("a.csv", paid(3))
            add("b.ndjson", '{"event_id":"b1","order_id":"9","type":"paid",'
                            '"time":"2026-03-01","supplier":"amber-mill","origin":"PL",'
                            '"destination":"DE","promise":"2026-03-15"}\n')
            follower.start()
            assert has(4)
            daemon.kill()
            add("a.csv", paid(4) + "bad line\n" + paid(5))
            daemon.start()
            assert has(6), follower.process.poll()
            # Renamed, and another one in its place.
            os.rename(os.path.join(inbox, "a.csv"), os.path.join(inbox, "a-old.csv"))
            add("a-old.csv", paid(6))
            add("a.csv", HEADER + paid(7))
            assert has(8)
            daemon.kill()
            follower.kill()
            daemon.start()
            follower.start()
            add("a.csv", paid(8))
            assert has(9)
            assert follower.stop() == 0
            with open(os.path.join(inbox, "a.csv.rejected")) as file:
                lines = [json.loads(text)["line"] for text in file]
            assert lines == [6], lines
            assert len(daemon.ask("sends")["sends"]) >= 4
        finally:
            if follower.process.poll() is None:
                follower.kill()
            daemon.stop()
        followed = daemon.dump()

        straight = Daemon(other, clock="wall").start()
        try:
            for name in ("a-old.csv", "a.csv", "b.ndjson"):
                straight.run("send", os.path.join(inbox, name))
        finally:
            straight.stop()
        assert cells(followed) == cells(straight.dump())


def a_file_is_followed_as_it_is_written_anew():
    with Folder() as folder:
        path = os.path.join(folder, "log.csv")
        daemon = Daemon(folder, clock="wall").start()
        follower = Follower(daemon, folder, path)

        def has(count):
            return wait_for(lambda: daemon.ask("status")["eventCount"] == str(count))

        try:
            follower.start()
            write(folder, "log.csv", HEADER + paid(1) + paid(2))
            assert has(2)
            write(folder, "log.csv", HEADER + paid(3))  # cut short
            assert has(3)
            # Rotated: what is left of the old one is sent as well, its unended line included.
            with open(path, "a") as file:
                file.write(paid(4) + paid(5).rstrip("\n"))
            os.rename(path, path + ".1")
            write(folder, "log.csv", HEADER + paid(6))
            assert has(6)
            assert follower.stop() == 0
            code, _, err = daemon.run("send", "--follow", path, path)
            assert code == 2, err
        finally:
            if follower.process.poll() is None:
                follower.kill()
            daemon.stop()


MAP = """source = "s"
[order]
order_id = "No"
supplier = { value = "lotus-works" }
origin = { value = "VN" }
destination = "To"
[[event]]
type = "paid"
time = { column = "Paid", form = "Y-M-D" }
[[event]]
type = "delivered"
time = { column = "Arrived", form = "Y-M-D" }
"""


def tables_with_a_map_are_followed_whole_whenever_they_change():
    with Folder() as folder:
        inbox = os.path.join(folder, "inbox")
        os.mkdir(inbox)
        map_path = write(folder, "map.toml", MAP)
        daemon = Daemon(folder, clock="wall").start()
        code, _, said = daemon.run("send", "--follow", inbox, "--map", map_path, "--revision",
                                   "2026-03-01")
        assert code == 2 and "--revision goes with files" in said, said
        code, _, said = daemon.run("send", "--follow", inbox, "--map", inbox)
        assert code == 1 and "is a directory; expected a map" in said, said
        follower = Follower(daemon, folder, inbox, "--map", map_path)

        def has(count):
            return wait_for(lambda: daemon.ask("status")["eventCount"] == str(count))

        head = "No,To,Paid,Arrived\n"
        try:
            write(inbox, "a.csv", head + "1,DE,2026-03-01,\n")
            write(inbox, "spoilt.csv", "PK\x03\x04 is no table")
            follower.start()
            assert has(1)
            # Grown, and an older row says more now.
            write(inbox, "a.csv", head + "1,DE,2026-03-01,2026-03-09\n2,SE,2026-03-02,x\n")
            assert has(2)
            write(inbox, "new", head + "1,DE,2026-03-01,2026-03-10\n2,SE,2026-03-02,\n")
            os.rename(os.path.join(inbox, "new"), os.path.join(inbox, "a.csv"))
            assert has(4)  # what an earlier export said of the delivery is kept beside it
            part = daemon.ask("order", "1")["parts"][0]
            assert part["deliverTime"] == "2026-03-09T23:00:00Z", part  # 2026-03-10 in Germany
            follower.kill()
            sends = len(daemon.ask("sends")["sends"])
            follower.start()
            write(inbox, "b.tsv", head + "3,IE,2026-03-03,\n")
            assert has(5)
            assert follower.stop() == 0
            assert len(daemon.ask("sends")["sends"]) == sends + 1  # of b.tsv, nothing of a.csv again
        finally:
            if follower.process.poll() is None:
                follower.kill()
            daemon.stop()


if __name__ == "__main__":
    main([an_export_that_has_grown_adds_only_what_is_new,
          a_changed_cell_replaces_what_the_row_said_before_in_whichever_order_exports_come,
          a_send_taken_back_leaves_what_there_was_without_it, events_come_as_cloud_events,
          a_directory_is_followed_through_kills_of_both, a_file_is_followed_as_it_is_written_anew,
          tables_with_a_map_are_followed_whole_whenever_they_change])
