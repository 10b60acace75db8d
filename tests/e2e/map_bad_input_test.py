"""Tables that went wrong on their way, through `map` and `send --map`: what cannot be read is named by
its line, and nothing else is lost."""
import os
import subprocess

from harness import BIN, Daemon, Folder, main

CLIENT = os.path.join(BIN, "plumblane")
HEAD = "Order No,Supplier,Ship to country,Promised,Paid to supplier,Delivered\n"
ROWS = [f"{number},lotus-works,Germany,2026-03-20,2026-03-05,2026-03-1{number}\n"
        for number in range(1, 6)]


def with_line(number, text):
    """The table with this line, of bytes, in place of another; the header is line 1."""
    lines = [line.encode() for line in (HEAD, *ROWS)]
    lines[number - 1] = text
    return b"".join(lines)


# name, bytes, what is said of them and of which line, orders that are left.
BAD = [
    ("a NUL", with_line(3, b"2,lotus\0works,Germany,2026-03-20,2026-03-05,2026-03-12\n"), 3,
     "byte 8 of the line is no text but 0x00", 4),
    ("another encoding in one row", with_line(4, "3,café,Germany,2026-03-20,2026-03-05,\n".encode(
        "latin-1")).replace(b"4,lotus", "4,lotüs".encode()), 4, "byte 6 of the line is no UTF-8 text",
     4),
    ("a file cut in the middle", b"".join(line.encode() for line in (HEAD, *ROWS))[:-25], 6,
     "the file ends in the middle of this line, in column 4 of 6", 4),
    ("a quote that is never closed", with_line(2, b"1,\"lotus-works,Germany,2026-03-20,,\n"), 2,
     "a quote is opened on this line and never closed", 4),
    ("more cells than columns", with_line(5, b"4,lotus,works,Germany,2026-03-20,2026-03-05,x\n"), 5,
     "expected 6 columns as in the first line, found 7", 4),
]


def write(folder, name, content):
    path = os.path.join(folder, name)
    with open(path, "wb") as file:
        file.write(content)
    return path


def run(*words):
    return subprocess.run([CLIENT, *words], capture_output=True, text=True, timeout=60)


def a_bad_row_is_named_and_the_others_count():
    for name, content, line, said, left in BAD:
        with Folder() as folder:
            daemon = Daemon(folder).start()
            try:
                table = write(folder, "orders.csv", content)
                map_path = os.path.join(folder, "map.toml")
                proposed = run("map", table, "-o", map_path)
                assert proposed.returncode == 0, (name, proposed.stderr)
                assert f"1 row could not be read, the first: line {line}: " in proposed.stderr and \
                    said in proposed.stderr, (name, proposed.stderr)
                code, out, _ = daemon.run("send", "--map", map_path, table)
                assert code == 3 and "1 rejected" in out, (name, code, out)
                with open(table + ".rejected", encoding="utf-8", errors="replace") as file:
                    rejected = file.read()
                assert said in rejected and f"{line}" in rejected, (name, rejected)
                assert int(daemon.ask("status")["orderCount"]) == left, name
            finally:
                daemon.stop()


def ten_thousand_columns_are_read():
    with Folder() as folder:
        names = [f"Column {number}" for number in range(10_000)]
        names[7_000], names[9_000] = "Order No", "First scan"
        rows = [["x"] * len(names) for _ in range(3)]
        for number, row in enumerate(rows):
            row[7_000], row[9_000] = str(number), "2026-03-05"
        table = write(folder, "wide.csv", "".join(
            ",".join(row) + "\n" for row in (names, *rows)).encode())
        path = os.path.join(folder, "map.toml")
        proposed = run("map", table, "-o", path)
        assert proposed.returncode == 0 and "3 rows; nothing is unsure" in proposed.stderr, proposed
        shown = run("send", "--map", path, "--dry-run", table)
        assert shown.returncode == 0 and "In all 3 events: 3 shipped" in shown.stdout, shown


def what_is_no_table_at_all_is_refused_with_its_place():
    for content, said in ((b"Order\0No,Paid\n1,2026-03-05\n" + b"2,2026-03-06\n" * 50,
                           "line 1: byte 6 of the line is no text but 0x00"),
                          (b"\"Order,Paid\n1,2\n", "line 1: a quote is opened on this line"),
                          (os.urandom(5000).replace(b"\n", b"") + b"\0" * 200, "no text"),
                          (b"[1, 2, 3]\n", "is JSON without a list of objects"),
                          (b"", "nothing in it")):
        with Folder() as folder:
            table = write(folder, "orders.csv", content)
            done = run("map", table)
            assert done.returncode == 2 and said in done.stderr and not done.stdout, (said, done)


def tables_of_json_are_read_by_a_map():
    """A list and one object a line come to the same; a broken line is named."""
    rows = [f'{{"orderNo": "{number}", "vendor": "lotus-works", "country": "Germany", "units": 2, '
            f'"address": {{"street": "x"}}, "firstScan": "2026-03-05"}}' for number in range(1, 4)]
    for content, broken in (("[" + ",\n".join(rows) + "]\n", None), ("\n".join(rows) + "\n", None),
                            (rows[0] + "\n{\"orderNo\": \"2\", \n" + rows[2] + "\n", 2)):
        with Folder() as folder:
            table = write(folder, "orders.json", content.encode())
            path = os.path.join(folder, "map.toml")
            proposed = run("map", table, "-o", path)
            assert proposed.returncode == 0 and "nothing is unsure" in proposed.stderr, proposed
            assert ("could not be read" in proposed.stderr) == (broken is not None), proposed
            shown = run("send", "--map", path, "--dry-run", table)
            count = 3 if broken is None else 2
            assert f"In all {count} events: {count} shipped" in shown.stdout, shown
            assert broken is None or f"line {broken}" in shown.stdout, shown
            piped = subprocess.run([CLIENT, "send", "--map", path, "--dry-run", "--revision",
                                    "2026-03-05", "-"], input=content, capture_output=True, text=True)
            assert piped.returncode == 2 and "JSON is read twice" in piped.stderr, piped


if __name__ == "__main__":
    main([a_bad_row_is_named_and_the_others_count, ten_thousand_columns_are_read,
          what_is_no_table_at_all_is_refused_with_its_place, tables_of_json_are_read_by_a_map])
