"""Bad input gets a clear error with place, field and expectation; nothing else is lost by it. Each
case is what a person would type or send, and the words that must come back."""
import json
import os
import socket
import subprocess

from harness import BIN, Daemon, Folder, main

GOOD = {"event_id": "g1", "order_id": "1", "type": "paid", "time": "2026-03-01T10:00:00Z",
        "supplier": "lotus-works", "origin": "VN", "destination": "DE", "promise": "2026-03-15"}


def line(**changes):
    """The good event with fields changed; None takes one out."""
    event = {**GOOD, "event_id": "b1", "order_id": "2", **changes}
    return json.dumps({key: value for key, value in event.items() if value is not None})


# name, the bad line, its field, words of the message
BAD_LINES = [
    ("not JSON", "this is not JSON", "", ["JSON"]),
    ("a cut line", line()[:40], "", ["JSON"]),
    ("unknown field", line(suplier="x"), "suplier", ["supplier"]),
    ("a customer's field", line(email="x"), "email", []),
    ("unknown type", line(type="posted"), "type", ["shipped"]),
    ("missing order id", line(order_id=None), "order_id", []),
    ("missing event id", line(event_id=None), "event_id", []),
    ("time without offset", line(time="2026-03-01T10:00:00"), "time", ["offset"]),
    ("not a time", line(time="yesterday"), "time", ["2026-"]),
    ("a date in 2090", line(time="2090-01-01T00:00:00Z"), "time", ["2090"]),
    ("a lane end too long", line(origin="V" * 17), "origin", ["2 to 16"]),
    ("an amount with a comma", line(cost="13,75", currency="EUR"), "cost", ["13.75"]),
    ("an unknown currency", line(cost="13.75", currency="EUX"), "currency", ["4217"]),
    ("a reason on a delivery", line(type="delivered", reason="damaged"), "reason", ["disputed"]),
    ("a promise twice", line(promise_days=3), "promise_days", ["not both"]),
    ("an id with a slash", line(order_id="a/b"), "order_id", ["/"]),
    ("a 10 MB line", line(item="x" * 10_000_000), "", ["1 MiB"]),
]


def each_bad_line_is_named_and_its_neighbours_count():
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        try:
            for number, (name, bad, field, words) in enumerate(BAD_LINES):
                path = os.path.join(folder, "events.ndjson")
                before = line(event_id=f"g{number}", order_id=f"good-{number}")
                after = line(event_id=f"h{number}", order_id=f"also-good-{number}")
                with open(path, "w") as file:
                    file.write(f"{before}\n{bad}\n{after}\n")
                code, out, err = daemon.run("send", path)
                assert code == 3, (name, code, out, err)
                assert "2 taken" in out and "1 rejected" in out, (name, out)
                with open(path + ".rejected") as file:
                    rejected = [json.loads(text) for text in file]
                assert len(rejected) == 1 and rejected[0]["line"] == 2, (name, rejected)
                said = rejected[0]["message"]
                if field:
                    assert rejected[0]["field"].startswith(field), (name, rejected[0])
                missing = [word for word in words if word not in said]
                assert not missing, (name, said)
                print(f"  {name}: {rejected[0]['field']}: {said}")
            assert daemon.ask("status")["eventCount"] == str(2 * len(BAD_LINES))
        finally:
            daemon.stop()


def send_text(daemon, folder, name, text):
    path = os.path.join(folder, name)
    with open(path, "w") as file:
        file.write(text)
    return daemon.run("send", path)


def conflicts_and_waiting_retractions_are_said():
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        try:
            send_text(daemon, folder, "a.ndjson", line() + "\n")
            code, out, err = send_text(daemon, folder, "b.ndjson", line(supplier="other") + "\n")
            assert code == 3 and "1 " in out, (code, out, err)
            with open(os.path.join(folder, "b.ndjson.rejected")) as file:
                assert "first stays" in file.read()
            assert daemon.ask("order", "2")["parts"][0]["supplier"] == "lotus-works"
            code, out, err = send_text(daemon, folder, "c.ndjson", json.dumps(
                {"event_id": "r", "order_id": "9", "type": "retracted", "retracts": "unseen",
                 "time": "2026-03-01T00:00:00Z"}) + "\n")
            assert code == 0 and "retract" in out + err, (code, out, err)
        finally:
            daemon.stop()


def a_bare_date_sent_before_its_destination_is_known_is_no_conflict_later():
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        try:
            delivered = json.dumps({"event_id": "d", "order_id": "5", "type": "delivered",
                                    "time": "2026-03-10"}) + "\n"
            send_text(daemon, folder, "d.ndjson", delivered)
            send_text(daemon, folder, "p.ndjson", line(order_id="5", destination="NZ") + "\n")
            code, out, err = send_text(daemon, folder, "d.ndjson", delivered)
            assert code == 0 and "1 repeat" in out, (code, out, err)
        finally:
            daemon.stop()


def files_that_are_no_events_are_refused_by_name():
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        try:
            header = "event_id,order_id,type,time\n"
            cases = [
                ("short.csv", header + "a,1,paid,2026-03-01T00:00:00Z\nb,2,paid\n", 3, "rejected"),
                ("column.csv", "event_id,order,type,time\na,1,paid,2026-03-01T00:00:00Z\n", None,
                 "order"),
                ("empty.ndjson", "", 3, "empty.ndjson"),
            ]
            for name, text, expected, word in cases:
                code, out, err = send_text(daemon, folder, name, text)
                assert code not in (0, None) and (expected is None or code == expected), (name, code)
                assert word in out + err, (name, out, err)
                print(f"  {name}: exit {code}: {(err or out).strip().splitlines()[0]}")
            for name in (folder, os.path.join(folder, "nowhere.csv")):
                code, out, err = daemon.run("send", name)
                assert code == 1 and name in err, (name, code, err)
                print(f"  {err.strip().splitlines()[0]}")
        finally:
            daemon.stop()


def questions_that_cannot_be_answered_say_why():
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        try:
            send_text(daemon, folder, "a.ndjson", line() + "\n")
            for arguments, expected, word in [
                (("supplier", "nobody"), 1, "nobody"), (("lane", "VN"), 2, "VN-DE"),
                (("rank", "--to", "SE"), 5, "SE"), (("order", "77"), 1, "77"),
                (("suppliers", "--half-life", "0"), 2, "half-life"),
                (("suppliers", "--half-life", "nan"), 2, "half-life"),
                (("suppliers", "--as-of", "2090-01-01"), None, "2090"),
                (("supliers",), 2, "suppliers"), (("rank", "--too", "DE"), 2, "--to"),
                (("excuse", "add", "--lane", "VN-DE", "--due", "2026-03-05..2026-03-01",
                  "--reason", "x"), None, "2026"),
            ]:
                code, out, err = daemon.run(*arguments)
                assert code != 0 and (expected is None or code == expected), (arguments, code, err)
                assert word in err, (arguments, err)
                print(f"  {' '.join(arguments)}: exit {code}: {err.strip().splitlines()[0]}")
        finally:
            daemon.stop()
        code, out, err = daemon.run("status")
        assert code == 6 and daemon.socket in err, (code, err)


def start_and_fail(*flags):
    done = subprocess.run([os.path.join(BIN, "plumblaned"), *flags], capture_output=True,
                          text=True, timeout=60)
    assert done.stdout == "", done.stdout
    print(f"  exit {done.returncode}: {done.stderr.strip().splitlines()[-1]}")
    return done.returncode, done.stderr


def a_daemon_that_cannot_start_says_why_and_harms_no_other():
    with Folder() as folder:
        first = Daemon(folder, clock="wall").start()
        try:
            code, err = start_and_fail("--data", first.data, "--listen", f"unix:{folder}/other")
            assert code == 75 and "in use by another daemon" in err
            second = os.path.join(folder, "second")
            code, err = start_and_fail("--data", second, "--listen", first.address)
            assert code == 75 and first.socket in err
            taken = socket.socket()
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            port = taken.getsockname()[1]
            code, err = start_and_fail("--data", second, "--listen", f"127.0.0.1:{port}")
            assert code == 75 and str(port) in err
            taken.close()
            tokens, settings = os.path.join(folder, "tokens"), os.path.join(folder, "settings")
            with open(tokens, "w") as file:
                file.write('[[token]]\nname = "feed"\nhsh = "sha256:12"\n')
            os.chmod(tokens, 0o600)
            with open(settings, "w") as file:
                file.write(f'[access]\ntokens = "{tokens}"\n')
            for flags, word in [(("--config", settings, "--check-config"), "line 3: unknown key hsh"),
                                (("--new-token", ""), "name: expected 1 to 64"),
                                (("--accept-loss", "5"), "goes with --restore or --recover"),
                                (("--listen", "0.0.0.0:7437"), "other machines"),
                                (("--listen", "nonsense"), "HOST:PORT"),
                                (("--clock", "sun"), "wall or events"), (("--no-such",), "--no-such")]:
                code, err = start_and_fail("--data", second, *flags)
                assert code == 78 and word in err, (flags, err)
            assert first.run("status")[0] == 0, "the first daemon was harmed"
        finally:
            assert first.stop() == 0
        other = os.path.join(folder, "file")
        open(other, "w").close()
        code, err = start_and_fail("--data", other)
        assert code == 75 and other in err


def data_of_another_version_is_refused_untouched():
    with Folder() as folder:
        daemon = Daemon(folder, clock="wall").start()
        daemon.stop()
        store = os.path.join(daemon.data, "store")
        subprocess.run([os.path.join(BIN, "dump_state"), store, "--set-version", "99"], check=True,
                       capture_output=True)
        code, err = start_and_fail("--data", daemon.data, "--listen", daemon.address)
        assert code == 65 and "version 99" in err, err
        code, err = start_and_fail("--data", daemon.data, "--listen", daemon.address)
        assert code == 65, "the refused start changed something"


if __name__ == "__main__":
    main([each_bad_line_is_named_and_its_neighbours_count,
          conflicts_and_waiting_retractions_are_said,
          a_bare_date_sent_before_its_destination_is_known_is_no_conflict_later, files_that_are_no_events_are_refused_by_name,
          questions_that_cannot_be_answered_say_why,
          a_daemon_that_cannot_start_says_why_and_harms_no_other,
          data_of_another_version_is_refused_untouched])
