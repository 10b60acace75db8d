"""Tables with one order a row, in three dialects, mapped and sent, score what the event files of the
sample season score that they were made from; a grown export adds only what is new."""
import csv
import io
import json
import os
from collections import defaultdict
from datetime import datetime, timedelta, timezone

from harness import Daemon, Folder, SAMPLE, main, send_season

REVISION = "2026-10-01T00:00:00Z"
AS_OF = "2026-10-01T00:00:00Z"
FACTS = ("supplier", "origin", "destination", "service", "promise", "promise_days", "item", "units",
         "cost", "sale", "replaces")
DETAILS = {"shipped": ("tracking",), "disputed": ("claim", "reason"), "refunded": ("refund", "by", "reason"),
           "cancelled": ("reason",)}
ORDER_TYPES = ("paid", "disputed", "answered", "refunded", "cancelled")
PARCEL_TYPES = ("shipped", "delivered")
HEADERS = {"order_id": "Order No", "part": "Part", "shop": "Shop", "supplier": "Supplier",
           "origin": "Ship from country", "destination": "Country", "service": "Shipping method",
           "promise": "Due date", "promise_days": "Lead time", "item": "SKU", "units": "Qty",
           "cost": "Cost", "sale": "Order total", "currency": "Currency", "replaces": "Replaces",
           "tracking": "Tracking number", "paid": "Paid to supplier", "shipped": "First scan",
           "delivered": "Delivered", "disputed": "Claimed", "claim": "Claim amount",
           "disputed reason": "Claim reason", "answered": "Claim answered", "refunded": "Refunded on",
           "refund": "Refund amount", "by": "Refunded by", "refunded reason": "Refund reason",
           "cancelled": "Cancelled", "cancelled reason": "Cancel reason", "line": "Line",
           "name": "Customer name"}
COUNTRIES = {"DE": "Deutschland", "VN": "Viet Nam", "TR": "Turkey", "PL": "Poland", "IN": "India",
             "MX": "Mexico", "SE": "Sweden", "IE": "Ireland", "NZ": "New Zealand"}


class Dialect:
    """How a table is written: separator, encoding, line ends, days, decimal sign."""

    def __init__(self, name, delimiter, encoding, end, day, clock, decimal, countries):
        self.name, self.delimiter, self.encoding, self.end = name, delimiter, encoding, end
        self.day, self.clock, self.decimal, self.countries = day, clock, decimal, countries

    def time(self, text):
        """A time of an event file; the clock of the table is UTC."""
        if not text or len(text) == 10:
            return datetime.fromisoformat(text).strftime(self.day) if text else ""
        moment = datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(timezone.utc)
        written = moment.strftime(self.day + " " + self.clock)
        return written.replace("@@@", f"{moment.microsecond // 1000:03d}")

    def amount(self, text):
        return text.replace(".", self.decimal)


DIALECTS = (
    Dialect("comma, ISO", ",", "utf-8", "\n", "%Y-%m-%d", "%H:%M:%S.@@@Z", ".", False),
    Dialect("semicolon, D.M.Y, Latin-1", ";", "latin-1", "\r\n", "%d.%m.%Y", "%H:%M:%S.@@@", ",", True),
    Dialect("tab, US dates, UTF-16", "\t", "utf-16", "\r\n", "%m/%d/%Y", "%I:%M:%S.@@@ %p", ".", False),
)


def read_season():
    """All events of the sample season, each once, without what was taken back; parcels by order."""
    events = []
    for name in ("harbour.ndjson", "carriers.ndjson"):
        with open(os.path.join(SAMPLE, name)) as file:
            events += [json.loads(line) for line in file]
    for name in ("meadow.csv", "mondays.csv"):
        with open(os.path.join(SAMPLE, name)) as file:
            events += [{key: value for key, value in row.items() if value} for row in csv.DictReader(file)]
    retracted = {(event["source"], event["retracts"]) for event in events if event["type"] == "retracted"}
    parcels = {event["tracking"]: event for event in events if event["type"] == "shipped" and "tracking" in event}
    seen, season = set(), []
    for event in events:
        key = (event["source"], event["event_id"])
        if event["type"] == "retracted" or key in retracted or key in seen:
            continue
        seen.add(key)
        if "order_id" not in event:
            of = parcels[event["tracking"]]
            event = {**event, "shop": of["shop"], "order_id": of["order_id"], "part": of.get("part", 1)}
        season.append({name: str(value) for name, value in event.items()})
    return season


def wide_rows(events, types):
    """One row for each order part and for each repetition of a type of event within it."""
    orders = defaultdict(lambda: defaultdict(list))
    for event in events:
        key = (event["shop"], event["order_id"], event.get("part", "1"))
        orders[key][event["type"]].append(event)
    for (shop, order_id, part), by_type in orders.items():
        for line in range(max(len(of_type) for of_type in by_type.values())):
            row = {"shop": shop, "order_id": order_id, "part": part, "line": str(line + 1),
                   "name": "Zo\u00eb M\u00fcller"}
            for kind in types:
                if line >= len(by_type[kind]):
                    continue
                event = by_type[kind][line]
                row[kind] = event["time"]
                for detail in DETAILS.get(kind, ()):
                    name = f"{kind} reason" if detail == "reason" else detail
                    row[name] = event.get(detail, "")
                if "currency" in event:
                    assert row.setdefault("currency", event["currency"]) == event["currency"]
                row.update({fact: event[fact] for fact in FACTS if fact in event})
            yield row


def write_table(path, rows, columns, dialect):
    times = {"promise", *ORDER_TYPES, *PARCEL_TYPES}
    text = io.StringIO()
    writer = csv.writer(text, delimiter=dialect.delimiter, lineterminator=dialect.end)
    writer.writerow([HEADERS[column] for column in columns])
    for row in rows:
        cells = []
        for column in columns:
            value = row.get(column, "")
            if column in times:
                value = dialect.time(value)
            elif column in ("cost", "sale", "refund", "claim"):
                value = dialect.amount(value)
            elif column in ("origin", "destination") and dialect.countries:
                value = COUNTRIES.get(value, value)
            cells.append(value)
        writer.writerow(cells)
    with open(path, "wb") as file:
        file.write(text.getvalue().encode(dialect.encoding))


ORDER_COLUMNS = ("order_id", "part", "name", *FACTS, "currency", "paid", "disputed", "claim", "disputed reason",
                 "answered", "refunded", "refund", "by", "refunded reason", "cancelled",
                 "cancelled reason", "line")
PARCEL_COLUMNS = ("shop", "order_id", "part", *FACTS, "tracking", "shipped", "delivered", "line")


def settle(text):
    """Answers the questions that a table of the season leaves open."""
    answers = {'time_zone = "?"': 'time_zone = "UTC"',
               'repeated_order = "?"': 'repeated_order = "each"\nkey = ["Line"]'}
    for question, answer in answers.items():
        text = text.replace(question, answer)
    return text


def make_map(daemon, folder, table, source, shop=None):
    """Proposes a map, settles it, and returns its path. What it leaves open must be refused."""
    path = os.path.join(folder, f"{source}.toml")
    _, text, said = daemon.run("map", table, check=0)
    if "orders" in source:
        assert '"Customer name" (the name)' in text and '"Customer name" (the name)' in said, said
    if '= "?"' in text:
        with open(path, "w") as file:
            file.write(text)
        code, _, refused = daemon.run("send", "--map", path, table)
        assert code == 2 and "is not settled" in refused and "nothing was sent" in refused, refused
    settled = settle(text)
    assert '= "?"' not in settled, settled
    if shop:
        settled = settled.replace('# shop = "harbour"', f'shop = "{shop}"')
    with open(path, "w") as file:
        file.write(settled)
    return path


def send_tables(daemon, folder, dialect, events=None, revision=REVISION):
    events = read_season() if events is None else events
    files = []
    for shop in ("harbour", "meadow"):
        of_shop = [event for event in events if event["source"] == f"{shop}-export"]
        files.append((f"{shop}-orders", shop, ORDER_COLUMNS, wide_rows(of_shop, ORDER_TYPES), None))
    for source, through in (("carriers", "2026-10-01T00:00:00Z"), ("mondays", "2026-09-28T00:00:00Z")):
        of_source = [event for event in events if event["source"] == source]
        files.append((source, None, PARCEL_COLUMNS, wide_rows(of_source, PARCEL_TYPES), through))
    for source, shop, columns, rows, through in files:
        rows = list(rows)
        if not rows:
            continue
        table = os.path.join(folder, f"{source}.csv")
        write_table(table, rows, columns, dialect)
        known = os.path.join(folder, f"{source}.toml")
        path = known if os.path.exists(known) else make_map(daemon, folder, table, source, shop)
        extra = ["--complete-through", through] if through else []
        daemon.run("send", "--map", path, "--revision", revision, table, *extra, check=0)


def load_excuses(daemon):
    daemon.run("excuse", "load", os.path.join(SAMPLE, "excuses.csv"), check=0)


def all_scores(daemon):
    """Every score there is, as asked; the names of sources are the daemon's own matter."""
    scores = {}
    for command, one in (("suppliers", "supplier"), ("lanes", "lane")):
        for score in daemon.ask(command, "--as-of", AS_OF)["scores"]:
            name = score["name"].split("/", 1)[1]
            scores[score["name"]] = daemon.ask(one, name, "--as-of", AS_OF, "--within", "10")
    return scores


def tables_of_any_dialect_score_what_their_events_score():
    with Folder() as folder:
        direct = Daemon(folder).start()
        try:
            send_season(direct)
            expected = all_scores(direct)
        finally:
            direct.stop()
    assert len(expected) > 15
    for dialect in DIALECTS:
        with Folder() as folder:
            daemon = Daemon(folder).start()
            try:
                send_tables(daemon, folder, dialect)
                load_excuses(daemon)
                found = all_scores(daemon)
            finally:
                daemon.stop()
            daemon.dump()
            assert found.keys() == expected.keys(), (dialect.name, found.keys())
            for name, score in expected.items():
                assert found[name] == score, f"{dialect.name}: {name} differs"


def a_comparison_that_must_fail():
    """Control: an order that is not delivered is noticed."""
    with Folder() as one_folder, Folder() as other_folder:
        one, other = Daemon(one_folder).start(), Daemon(other_folder).start()
        try:
            events = read_season()
            key = lambda event: (event["shop"], event["order_id"])
            paid = {key(event) for event in events if event["type"] == "paid"}
            order = next(key(event) for event in events
                         if event["type"] == "delivered" and key(event) in paid)
            fewer = [event for event in events if event["type"] != "delivered" or key(event) != order]
            assert len(fewer) < len(events)
            send_tables(one, one_folder, DIALECTS[0], events)
            send_tables(other, other_folder, DIALECTS[0], fewer)
            assert all_scores(one) != all_scores(other)
        finally:
            one.stop()
            other.stop()


def a_grown_export_adds_what_is_new_and_replaces_what_has_changed():
    """Exports of three weeks, each with all before it, come to what the last alone comes to; in
    the first two a cell is wrong."""
    with Folder() as grown_folder, Folder() as last_folder:
        grown, last = Daemon(grown_folder).start(), Daemon(last_folder).start()
        try:
            events = [event for event in read_season() if event["source"] == "harbour-export"
                      or (event["source"] == "carriers" and event["shop"] == "harbour")]
            end = datetime(2026, 10, 1, tzinfo=timezone.utc)
            for weeks in (2, 1, 0):
                until = (end - timedelta(weeks=weeks)).strftime("%Y-%m-%dT%H:%M:%SZ")
                so_far = [dict(event) for event in events if event["time"] < until]
                if weeks > 0:
                    wrong = next(event for event in so_far if event["type"] == "delivered")
                    wrong["time"] = "2026-09-01T00:00:00Z"
                for _ in range(2):  # sent twice, each
                    send_tables(grown, grown_folder, DIALECTS[1], so_far, until)
            send_tables(last, last_folder, DIALECTS[1], events, end.strftime("%Y-%m-%dT%H:%M:%SZ"))
            assert all_scores(grown) == all_scores(last)
            table = os.path.join(grown_folder, "carriers.csv")
            _, said, _ = grown.run("send", "--map", os.path.join(grown_folder, "carriers.toml"), table,
                                   "--revision", end.strftime("%Y-%m-%dT%H:%M:%SZ"), check=0)
            assert " 0 taken, " in said and "repeat" in said and "conflict" not in said, said
        finally:
            grown.stop()
            last.stop()


def a_dry_run_shows_orders_and_doubts_and_sends_nothing():
    with Folder() as folder:
        table = os.path.join(folder, "orders.csv")
        with open(table, "w") as file:
            file.write("Order No;Supplier;Country;Due date;Paid to supplier;First scan;Delivered\n"
                       "1;lotus-works;Sweden;25.03.2026;13.03.2026;14.03.2026;24.03.2026\n"
                       "2;lotus-works;Sweden;25.03.2026;16.03.2026;14.03.2026;\n"
                       "3;lotus-works;Atlantis;25.03.2026;01.03.2026;;\n"
                       "4;lotus-works;Sweden;;;;\n")
        path = os.path.join(folder, "map.toml")
        nobody = Daemon(folder)  # not started: none is asked
        nobody.run("map", table, "-o", path, check=0)
        with open(path) as file:
            text = file.read()
        assert '"Atlantis" = "?"' in text, text
        with open(path, "w") as file:
            file.write(text.replace('"Atlantis" = "?"   # which country?\n', ""))
        code, _, said = nobody.run("map", table, "-o", path)
        assert code == 1 and "is there already" in said, said
        code, shown, said = nobody.run("send", "--map", path, "--dry-run", table, "--revision",
                                       "2026-03-28")
        assert code == 3 and "nothing was sent" in said, (code, said)
        for part in ("default/1 lotus-works, to SE, by the end of 2026-03-25 in SE",
                     "2026-03-14  shipped", "In all 5 events: 2 paid, 2 shipped, 1 delivered",
                     "1 row refused: Country: line 4", "1 row shipped before paid: line 3: order 2",
                     "1 row without an event"):
            assert part in shown, f"{part} is not in\n{shown}"


def a_second_table_gives_what_the_first_lacks():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            with open(os.path.join(folder, "orders.csv"), "w") as file:
                file.write("No,Paid\n7,2026-03-01\n8,2026-03-02\n")
            with open(os.path.join(folder, "parcels.csv"), "w") as file:
                file.write("order|scan|number\n7|2026-03-03|AG7\n7|2026-03-04|AG8\n")
            with open(os.path.join(folder, "map.toml"), "w") as file:
                file.write('source = "s"\n[order]\norder_id = "No"\norigin = { value = "VN" }\n'
                           'supplier = { value = "lotus-works" }\ndestination = { value = "DE" }\n'
                           'tracking = "parcels.number"\n[[event]]\ntype = "paid"\n'
                           'time = { column = "Paid", form = "Y-M-D" }\n[[event]]\ntype = "shipped"\n'
                           'time = { column = "parcels.scan", form = "Y-M-D" }\n[[join]]\n'
                           'name = "parcels"\nby = "No"\non = "order"\nfile = "parcels.csv"\n'
                           'delimiter = "bar"\n')
            _, said, _ = daemon.run("send", "--map", os.path.join(folder, "map.toml"),
                                    os.path.join(folder, "orders.csv"), check=0)
            assert "3 events: 3 taken" in said, said
            _, story, _ = daemon.run("order", "7", check=0)
            assert "AG7" in story and "AG8" not in story, story
        finally:
            daemon.stop()


if __name__ == "__main__":
    main([tables_of_any_dialect_score_what_their_events_score, a_comparison_that_must_fail,
          a_grown_export_adds_what_is_new_and_replaces_what_has_changed,
          a_dry_run_shows_orders_and_doubts_and_sends_nothing,
          a_second_table_gives_what_the_first_lacks])
