"""Out to other tools: exports that can be sent again, CSV as spreadsheets need it, scores watched,
files of scores, metrics."""
import csv
import io
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request

from harness import (BIN, ROOT, SAMPLE, Daemon, Folder, main, metrics_of, send_season, values_of,
                     wait_for)

AGREED = os.path.join(SAMPLE, "agreements")


def scores_of(daemon):
    return json.loads(daemon.run("export", "scores", "--format", "json", check=0)[1])["scores"]


def without_targets(scores):
    """Targets are of terms, which are no events."""
    return [{key: value for key, value in score.items() if key != "targets"} for score in scores]


class Season:
    """A daemon that has been sent the sample season; shared by the tests, which change nothing."""

    def __init__(self):
        self.folder = Folder()
        self.daemon = Daemon(self.folder.__enter__()).start()
        daemon = self.daemon
        for what in ("rates", "items", "terms", "quotes"):
            daemon.run(what, "load", os.path.join(AGREED, what + ".csv"), check=0)
        send_season(daemon)

    def close(self):
        self.daemon.stop()
        self.folder.__exit__()


SEASON = None


def events_sent_again_give_equal_scores():
    daemon = SEASON.daemon
    expected = without_targets(scores_of(daemon))
    kinds = [score["name"].split("/")[0] for score in expected]
    assert kinds.count("suppliers") > 10 and kinds.count("lanes") > 5, "too few to compare"
    for form in ("csv", "ndjson"):
        with Folder() as folder:
            file = os.path.join(folder, "events." + form)
            daemon.run("export", "events", "--format", form, "-o", file, check=0)
            assert os.listdir(folder) == ["events." + form]
            second = Daemon(folder).start()
            try:
                out = second.run("send", file, "--complete-through", "2026-09-28T00:00:00Z",
                                 check=0)[1]
                assert not os.path.exists(file + ".rejected"), out
                # Excuses are no events; until they are loaded, scores differ.
                assert without_targets(scores_of(second)) != expected
                second.run("excuse", "load", os.path.join(SAMPLE, "excuses.csv"), check=0)
                got = without_targets(scores_of(second))
                assert len(got) == len(expected)
                for one, other in zip(got, expected):
                    assert one == other, f"{form}: {one['name']}\n{one}\n{other}"
                cohorts = [d.run("export", "cohorts", "--format", "ndjson", check=0)[1]
                           for d in (daemon, second)]
                strip = [[line for line in text.splitlines() if "quoted" not in line]
                         for text in cohorts]
                assert strip[0] == strip[1], "cohorts differ"
            finally:
                second.stop()


def every_format_tells_the_same_scores():
    daemon = SEASON.daemon
    text = daemon.run("export", "scores", check=0)[1]
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    lines = [json.loads(line) for line in
             daemon.run("export", "scores", "--format", "ndjson", check=0)[1].splitlines()]
    whole = scores_of(daemon)
    assert len(rows) == len(lines) == len(whole)
    for row, line, score in zip(rows, lines, whole):
        assert {key: value for key, value in row.items() if value} == {
            key: value if isinstance(value, str) else csv_number(value)
            for key, value in line.items()}, (row, line)
        estimate = score["onTime"].get("estimate")
        assert (row["on_time"] == "") == (estimate is None)
        assert estimate is None or abs(float(row["on_time"]) - estimate) < 1e-6
        assert int(row["settled_orders"]) == int(score["onTime"]["orderCount"])
        assert row["supplier"] == score["supplierId"]
    assert {row["kind"] for row in rows} == {"supplier", "lane", "pair"}


def csv_number(value):
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return text


def a_spreadsheet_with_decimal_commas_reads_it():
    daemon = SEASON.daemon
    plain = list(csv.reader(io.StringIO(
        daemon.run("export", "scores", check=0)[1], newline="")))
    comma = list(csv.reader(io.StringIO(
        daemon.run("export", "scores", "--decimal-comma", check=0)[1], newline=""), delimiter=";"))
    at = plain[0].index("on_time")
    assert comma[0] == plain[0]
    assert [row[at].replace(",", ".") for row in comma] == [row[at] for row in plain]
    assert any("," in row[at] for row in comma)
    tabs = daemon.run("export", "scores", "--delimiter", "tab", check=0)[1]
    assert tabs.split("\r\n" if "\r\n" in tabs else "\n")[0].split("\t") == plain[0]
    code, _, words = daemon.run("export", "scores", "--format", "ndjson", "--decimal-comma")
    assert code == 2 and "CSV" in words


def lines_end_as_rfc_4180_has_it():
    with Folder() as folder:
        for what in ("scores", "cohorts", "events", "assignments"):
            file = os.path.join(folder, what)
            SEASON.daemon.run("export", what, "-o", file, check=0)
            with open(file, "rb") as opened:
                data = opened.read()
            assert data.count(b"\r\n") == data.count(b"\n") > 0, what
            assert data.endswith(b"\r\n")


def a_text_is_no_formula_and_comes_back_as_it_was():
    ids = ["=1+2", "'=1+2", "-5", "-x", "@a", "+49", "'", "-"]
    with Folder() as folder, Folder() as other:
        first, second = Daemon(folder).start(), Daemon(other).start()
        try:
            lines = "".join(json.dumps({
                "event_id": one, "order_id": one, "type": "paid", "supplier": "lotus-works",
                "origin": "VN", "destination": "DE", "time": "2026-03-05T14:00:00Z",
                "promise": "2026-03-15", "item": 'a "b", c;d', "cost": "13.75",
                "currency": "EUR"}) + "\n" for one in ids)
            first.run("send", "-", stdin=lines, check=0)
            file = os.path.join(folder, "events.csv")
            first.run("export", "events", "-o", file, check=0)
            with open(file, newline="") as opened:
                cells = [row["order_id"] for row in csv.DictReader(opened)]
            assert sorted(cells) == sorted(["'=1+2", "''=1+2", "-5", "'-x", "'@a", "+49", "'",
                                            "-"]), cells
            second.run("send", file, check=0)
            exported = [d.run("export", "events", "--format", "ndjson", check=0)[1]
                        for d in (first, second)]
            assert exported[0] == exported[1]
            got = {json.loads(line)["order_id"] for line in exported[1].splitlines()}
            assert got == set(ids)
        finally:
            first.stop()
            second.stop()


def cohorts_add_up_to_the_scores():
    daemon = SEASON.daemon
    cohorts = json.loads(daemon.run("export", "cohorts", "--json", check=0)[1])["cohorts"]
    paid = {}
    for cohort in cohorts:
        if cohort["measure"] == "underway":
            paid[cohort["supplier"]] = paid.get(cohort["supplier"], 0) + sum(
                int(cohort[key]) for key in ("enteredCount", "excusedEnteredCount"))
    # Every part that was paid and names supplier and lane is in it, once.
    events = [json.loads(line) for line in
              daemon.run("export", "events", "--format", "ndjson", check=0)[1].splitlines()]
    retracted = {(e["source"], e["retracts"]) for e in events if e["type"] == "retracted"}
    parts = {(e["shop"], e["order_id"], e["part"]) for e in events
             if e["type"] == "paid" and (e["source"], e["event_id"]) not in retracted}
    assert 0 < sum(paid.values()) <= len(parts)
    assert sum(paid.values()) > .95 * len(parts), (sum(paid.values()), len(parts))
    status = daemon.ask("status")
    assert len(events) == int(status["eventCount"])


def assignments_are_exported_with_why():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            for what in ("rates", "items", "quotes"):
                daemon.run(what, "load", os.path.join(AGREED, what + ".csv"), check=0)
            daemon.run("costs", "load", os.path.join(AGREED, "costs.toml"), check=0)
            send_season(daemon)
            orders = "order_id,shop,destination,item,units\n" + "".join(
                f"x-{n},harbour,DE,kite-swallow,1\n" for n in range(250))
            code, _, words = daemon.run("assign", "--file", "-", "-o",
                                        os.path.join(folder, "picks.csv"), stdin=orders)
            assert code == 0, words
            rows = list(csv.DictReader(io.StringIO(
                daemon.run("export", "assignments", check=0)[1], newline="")))
            told = daemon.ask("assignments")["assignments"]
            assert len(rows) == len(told) == 250
            by_order = {one["orderId"]: one for one in told}
            for row in rows:
                assert row["supplier"] == by_order[row["order_id"]]["supplier"]
                assert row["reason"] == by_order[row["order_id"]]["reason"]
                assert row["state"] == "open"
            ids = [row["order_id"] for row in rows]
            assert ids == sorted(ids)
        finally:
            daemon.stop()


class Watch:
    """A watch that writes to a file."""

    def __init__(self, daemon, file, *args):
        self.out = open(file, "ab")
        self.process = subprocess.Popen(
            [os.path.join(BIN, "plumblane"), "--server", daemon.address, "watch", "--json", *args],
            stdout=self.out, stderr=subprocess.PIPE)

    def end(self):
        self.process.terminate()
        self.process.communicate(timeout=60)
        self.out.close()


def lines_in(file):
    with open(file) as opened:
        return [json.loads(line) for line in opened if line.endswith("\n")]


def orders(first, count, late, supplier="lotus-works"):
    """Orders of a day each, promised and delivered in April, as CSV."""
    text = "event_id,order_id,type,time,supplier,origin,destination,promise\n"
    for n in range(first, first + count):
        text += f"p{n},o{n},paid,2026-04-01T10:00:00Z,{supplier},VN,DE,2026-04-10T00:00:00Z\n"
        day = 14 if n < first + late else 8
        text += f"d{n},o{n},delivered,2026-04-{day:02d}T10:00:00Z,,,,\n"
    return text


def a_watch_goes_on_where_it_was():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        file = os.path.join(folder, "changes.ndjson")
        try:
            daemon.run("send", "-", stdin=orders(0, 40, 2), check=0)
            # Something later, so that those are settled.
            later = ("event_id,order_id,type,time,supplier,origin,destination\n"
                     "z,z,paid,2026-06-01T00:00:00Z,pomelo-yard,IN,DE\n")
            daemon.run("send", "-", stdin=later, check=0)
            watch = Watch(daemon, file, "--change", "10%")
            assert wait_for(lambda: len(lines_in(file)) == 2), lines_in(file)
            told = {line["now"]["name"]: line for line in lines_in(file)}
            assert set(told) == {"suppliers/lotus-works", "suppliers/pomelo-yard"}
            assert all("before" not in line for line in told.values())
            before = told["suppliers/lotus-works"]["now"]["onTime"]
            daemon.run("send", "-", stdin=orders(100, 40, 40), check=0)
            assert wait_for(lambda: any("before" in line for line in lines_in(file)))
            change = [line for line in lines_in(file) if "before" in line][-1]
            assert change["now"]["name"] == "suppliers/lotus-works"
            assert change["before"]["onTime"] == before
            assert "on_time" in change["changed"]
            watch.end()
            seen = len(lines_in(file))
            last = [line for line in lines_in(file)
                    if line["now"]["name"] == "suppliers/lotus-works"][-1]
            # While nobody watches, and the daemon is started again: a change, and a new supplier.
            daemon.run("send", "-", stdin=orders(200, 200, 0), check=0)
            daemon.run("send", "-", stdin=orders(900, 9, 0, "agave-trail"), check=0)
            daemon.stop()
            daemon.start()
            watch = Watch(daemon, file, "--change", "10%", "--after", file)
            assert wait_for(lambda: len(lines_in(file)) >= seen + 2), lines_in(file)[seen:]
            more = {line["now"]["name"]: line for line in lines_in(file)[seen:]}
            lotus = more["suppliers/lotus-works"]
            assert lotus["before"] == last["now"], "it is told against what was told last"
            assert lotus["now"]["onTime"] == daemon.ask(
                "supplier", "lotus-works")["onTime"]["estimate"]
            assert "before" not in more["suppliers/agave-trail"]
            # The daemon stops: the watch ends, and says why.
            daemon.stop()
            _, words = watch.process.communicate(timeout=60)
            assert watch.process.returncode == 6, (watch.process.returncode, words)
            watch.out.close()
        finally:
            if daemon.process.poll() is None:
                daemon.stop()


def a_cut_line_of_a_killed_watch_is_passed_over():
    with Folder() as folder:
        file = os.path.join(folder, "changes.ndjson")
        with open(file, "w") as opened:
            opened.write('{"now": {"name": "suppliers/x", "onTime": 0.5}}\n{"now": {"na')
        daemon = SEASON.daemon
        watch = subprocess.Popen([os.path.join(BIN, "plumblane"), "--server", daemon.address,
                                  "watch", "--json", "--after", file], stdout=subprocess.PIPE)
        assert watch.stdout.readline().startswith(b'{"now"')
        watch.terminate()
        watch.communicate()
        with open(file, "w") as opened:
            opened.write("nothing of it\n")
        code, _, words = daemon.run("watch", "--after", file)
        assert code == 1 and "line 1" in words, (code, words)


def a_slow_reader_holds_up_nobody():
    """Six begin and read no further: four are served, two sent away, and questions are answered."""
    daemon = SEASON.daemon
    waiting = [subprocess.Popen([os.path.join(BIN, "plumblane"), "--server", daemon.address,
                                 "export", "events"], stdout=subprocess.PIPE) for _ in range(6)]
    try:
        assert daemon.ask("status")["orderCount"]
        for one in waiting:
            one.stdout.read(1)
        codes = []
        for one in waiting:
            one.stdout.close()
            codes.append(one.wait(timeout=60))
        assert all(code in (1, -13) for code in codes), codes
    finally:
        for one in waiting:
            if one.poll() is None:
                one.kill()
    assert wait_for(lambda: daemon.run("export", "cohorts")[0] == 0)


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def settings(folder, text):
    path = os.path.join(folder, "plumblane.toml")
    with open(path, "w") as file:
        file.write(text)
    return path


def files_of_scores_are_written_and_replaced():
    with Folder() as folder:
        where = os.path.join(folder, "scores")
        daemon = Daemon(folder, "--config", settings(
            folder, f'[snapshot]\ndirectory = "{where}"\nevery_seconds = 1\n')).start()
        try:
            file = os.path.join(where, "scores.json")
            assert wait_for(lambda: os.path.exists(file))
            daemon.run("send", "-", stdin=orders(0, 5, 0), check=0)

            def told():
                with open(file) as opened:  # whole at any moment
                    return json.load(opened)["scores"]

            assert wait_for(lambda: len(told()) == 3)
            with open(os.path.join(where, "scores.csv"), newline="") as opened:
                assert len(list(csv.DictReader(opened))) == 3
            assert sorted(os.listdir(where)) == ["scores.csv", "scores.json"]
            assert daemon.ask("status")["snapshot"]["failure"] == ""
            assert "score files" in daemon.run("status", check=0)[1]
            # A place that cannot be written: told, logged once, and the daemon goes on.
            def is_in_the_way():
                """A file where the folder should be; the daemon may make the folder in between."""
                shutil.rmtree(where, ignore_errors=True)
                try:
                    with open(where, "w"):
                        return True
                except OSError:
                    return False

            assert wait_for(is_in_the_way)
            assert wait_for(lambda: daemon.ask("status")["snapshot"]["failure"] != "")
            assert "last try failed" in daemon.run("status", check=0)[1].replace("\n", " ")
            daemon.run("send", "-", stdin=orders(50, 1, 0), check=0)
            os.remove(where)
            assert wait_for(lambda: daemon.ask("status")["snapshot"]["failure"] == "")
            assert wait_for(lambda: len(told()) == 3)
        finally:
            daemon.stop()


def metrics_are_bounded_and_true():
    with Folder() as folder:
        port, began = free_port(), time.time()
        daemon = Daemon(folder, "--config", settings(
            folder, f'[metrics]\nlisten = "127.0.0.1:{port}"\nsuppliers = 3\n')).start()
        try:
            send_season(daemon)
            values = values_of(metrics_of(port))
            told = [name for name in values if name.startswith("plumblane_supplier_on_time_ratio")]
            assert len(told) == 3, told
            suppliers = {one["supplierId"]: one for one in daemon.ask("suppliers")["scores"]}
            assert values["plumblane_other_suppliers"] == len(suppliers) - 3
            total = sum(int(one["onTime"]["orderCount"]) for one in suppliers.values())
            assert sum(value for name, value in values.items()
                       if name.startswith(("plumblane_supplier_settled_orders",
                                           "plumblane_other_suppliers_settled"))) == total
            for name in told:
                supplier = name.split('"')[1]
                assert abs(values[name] - suppliers[supplier]["onTime"]["estimate"]) < 1e-5
            status = daemon.ask("status")
            assert values["plumblane_stored_events"] == int(status["eventCount"])
            assert values['plumblane_intake_events_total{outcome="accepted"}'] == int(
                status["eventCount"])
            assert values["plumblane_accepting_events"] == 1
            assert values["plumblane_log_sync_seconds_count"] > 0
            assert 0 < values["plumblane_disk_free_bytes"] < values["plumblane_disk_size_bytes"]
            assert values["plumblane_data_bytes"] > 10_000
            opened = f"/proc/{daemon.process.pid}/fd"
            assert 10 < values["plumblane_open_files"] < 2 * len(os.listdir(opened)), values
            assert values["plumblane_open_files"] < values["plumblane_open_files_limit"]
            assert began <= values["plumblane_start_timestamp_seconds"] <= time.time()
            assert sum(1 for name in values
                       if name.startswith("plumblane_source_last")) == len(status["sources"])
            alerts = json.loads(daemon.run("alerts", "--json")[1])["alerts"]
            assert wait_for(lambda: sum(
                value for name, value in values_of(metrics_of(port)).items()
                if name.startswith("plumblane_alerts")) == len(alerts) or not alerts)
        finally:
            daemon.stop()


def metrics_are_off_unless_asked_for_and_stay_on_this_machine():
    with Folder() as folder:
        for text, words in (('listen = "0.0.0.0:9464"', "metrics.listen: expected HOST:PORT"),
                            ('listen = "unix:/tmp/x"', "metrics.listen: expected HOST:PORT"),
                            ("suppliers = 101", "metrics.suppliers: expected")):
            daemon = Daemon(folder, "--config", settings(folder, f"[metrics]\n{text}\n"))
            try:
                daemon.start()
                raise AssertionError(text)
            except RuntimeError as error:
                assert words in str(error), error
            with open(os.path.join(folder, "log"), "w"):
                pass


# What a parser of the standard reads: type, unit, name and value of each sample.
PARSER = """
import sys
from prometheus_client.openmetrics.parser import text_string_to_metric_families
for family in text_string_to_metric_families(sys.stdin.read()):
    for sample in family.samples:
        print(family.type, family.unit or "-", sample.name, float(sample.value))
"""


def who_asks_for_openmetrics_gets_them():
    python = next((one for one in (sys.executable, "/usr/bin/python3") if subprocess.run(
        [one, "-c", "import prometheus_client.openmetrics.parser"],
        stderr=subprocess.DEVNULL).returncode == 0), None)
    if python is None:
        return "python3-prometheus-client is not installed"
    with Folder() as folder:
        port = free_port()
        daemon = Daemon(folder, "--config", settings(
            folder, f'[metrics]\nlisten = "127.0.0.1:{port}"\n')).start()
        try:
            send_season(daemon)
            asked = urllib.request.Request(f"http://127.0.0.1:{port}/metrics", headers={
                "Accept": "application/openmetrics-text;version=1.0.0,text/plain;q=0.5"})
            with urllib.request.urlopen(asked, timeout=30) as answer:
                assert answer.headers["Content-Type"] == \
                    "application/openmetrics-text; version=1.0.0; charset=utf-8"
                text = answer.read().decode()
            plain = values_of(metrics_of(port))

            def parsed(text):
                return subprocess.run([python, "-c", PARSER], input=text, text=True,
                                      capture_output=True)
            done = parsed(text)
            assert done.returncode == 0, done.stderr
            samples = [line.split() for line in done.stdout.splitlines()]
            assert {name.split("{")[0] for name in plain} == {name for _, _, name, _ in samples}
            assert len(samples) == len(plain) > 50
            assert ["counter", "-", "plumblane_intake_events_total",
                    str(plain['plumblane_intake_events_total{outcome="accepted"}'])] in samples
            assert {"seconds", "bytes", "ratio"} <= {unit for _, unit, _, _ in samples}
            for broken in (text.replace("# EOF\n", ""), text.replace("_ratio ratio", "_ratio bytes"),
                           text.replace("# TYPE plumblane_intake_events counter",
                                        "# TYPE plumblane_intake_events_total counter")):
                assert broken != text and parsed(broken).returncode != 0, "the control is taken"
        finally:
            daemon.stop()
    return None


RULES = os.path.join(ROOT, "deploy", "alert-rules.yml")
# Told where there are several daemons (cluster_test.py), certificates (net_access_test.py) or ways out.
ELSEWHERE = {"plumblane_follows", "plumblane_complete_timestamp_seconds",
             "plumblane_certificate_end_timestamp_seconds", "plumblane_delivery_waiting_notices",
             "plumblane_delivery_failing"}


def what_the_sample_alarms_go_by_is_told():
    with Folder() as folder:
        port = free_port()
        daemon = Daemon(folder, "--config", settings(
            folder, f'[metrics]\nlisten = "127.0.0.1:{port}"\n'
                    f'[snapshot]\ndirectory = "{folder}/scores"\n')).start()
        try:
            send_season(daemon)
            text = metrics_of(port)
        finally:
            daemon.stop()
    names = {line.split()[2] for line in text.splitlines() if line.startswith("# TYPE")}
    with open(RULES) as file:
        used = {name.removesuffix("_bucket") for name in re.findall(r"plumblane_\w+", file.read())}
    assert len(used) > 15 and ELSEWHERE < used, used
    assert used - names == ELSEWHERE, f"there is no such metric: {used - names - ELSEWHERE}"
    promtool = shutil.which("promtool")
    if promtool is None:
        print("promtool (Debian package prometheus, 96 MB) is not installed: it is not asked")
        return
    for words in (["check", "rules", RULES],
                  ["test", "rules", os.path.join(ROOT, "tests", "support", "alert_rules_test.yml")],
                  ["check", "metrics"]):
        done = subprocess.run([promtool, *words], input=text, text=True, capture_output=True)
        assert done.returncode == 0, done.stdout + done.stderr


if __name__ == "__main__":
    SEASON = Season()
    try:
        main([events_sent_again_give_equal_scores, every_format_tells_the_same_scores,
              a_spreadsheet_with_decimal_commas_reads_it, lines_end_as_rfc_4180_has_it,
              a_text_is_no_formula_and_comes_back_as_it_was, cohorts_add_up_to_the_scores,
              assignments_are_exported_with_why, a_watch_goes_on_where_it_was,
              a_cut_line_of_a_killed_watch_is_passed_over, a_slow_reader_holds_up_nobody,
              files_of_scores_are_written_and_replaced, metrics_are_bounded_and_true,
              metrics_are_off_unless_asked_for_and_stay_on_this_machine,
              who_asks_for_openmetrics_gets_them,
              what_the_sample_alarms_go_by_is_told])
    finally:
        SEASON.close()
