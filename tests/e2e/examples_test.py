"""The examples of client/README.md, run as they stand there."""
import csv
import os
import re
import shutil
import subprocess
import sys

from harness import BIN, ROOT, SAMPLE, Daemon, Folder, main, send_season

README = os.path.join(ROOT, "client", "README.md")


def blocks(heading):
    """The fenced blocks under a heading as (language, text), and its indented lines."""
    with open(README, encoding="utf-8") as file:
        text = file.read()
    match = re.search(rf"^### {re.escape(heading)}$(.*?)(?=^###? |\Z)", text, re.M | re.S)
    assert match, f"{README}: no heading {heading}"
    under = match.group(1)
    fenced = re.findall(r"^```(\w+)\n(.*?)^```$", under, re.M | re.S)
    return fenced, re.findall(r"^    (plumblane .*)$", under, re.M)


class Shop:
    """A daemon with the sample season, its agreements, and a folder to run examples in."""

    def __init__(self):
        self.holder = Folder()
        self.folder = self.holder.__enter__()
        self.daemon = Daemon(self.folder).start()
        agreed = os.path.join(SAMPLE, "agreements")
        for what in ("rates", "items", "terms", "quotes"):
            self.daemon.run(what, "load", os.path.join(agreed, what + ".csv"), check=0)
        self.daemon.run("costs", "load", os.path.join(agreed, "costs.toml"), check=0)
        send_season(self.daemon)
        shutil.copy(os.path.join(agreed, "open-orders.csv"), self.folder)
        self.environment = {**os.environ, "PLUMBLANE_SERVER": self.daemon.address,
                            "PATH": BIN + os.pathsep + os.environ["PATH"]}

    def run(self, *words, check=0):
        done = subprocess.run(words, cwd=self.folder, env=self.environment, text=True,
                              capture_output=True, timeout=600)
        assert done.returncode == check, (words, done.returncode, done.stdout, done.stderr)
        return done

    def close(self):
        self.daemon.stop()
        self.holder.__exit__()


SHOP = None


def the_spreadsheet_can_be_opened():
    _, lines = blocks("A spreadsheet")
    assert len(lines) == 2, lines
    file = os.path.join(SHOP.folder, "scores.csv")
    for line, delimiter, sign in zip(lines, ",;", ".,"):
        SHOP.run("sh", "-c", line)
        with open(file, newline="", encoding="utf-8") as opened:
            rows = list(csv.DictReader(opened, delimiter=delimiter))
        lotus = [row for row in rows if row["kind"] == "supplier" and
                 row["supplier"] == "lotus-works"]
        assert len(lotus) == 1 and re.fullmatch(rf"0[{sign}]\d+", lotus[0]["on_time"]), lotus


def the_script_picks_a_supplier():
    if shutil.which("jq") is None:
        return "jq is not installed"
    fenced, _ = blocks("A script that picks a supplier")
    path = os.path.join(SHOP.folder, "pick")
    with open(path, "w", encoding="utf-8") as file:
        file.write(fenced[0][1])
    picked = SHOP.run("sh", path, "DE", "kite-swallow").stdout.strip()
    ranked = SHOP.daemon.ask("rank", "--to", "DE", "--item", "kite-swallow")["candidates"]
    assert picked == ranked[0]["score"]["supplierId"], picked
    done = SHOP.run("sh", path, "JP", "kite-swallow", check=5)
    assert done.stdout == "" and "nobody can send kite-swallow to JP" in done.stderr, done.stderr
    SHOP.environment["PLUMBLANE_SERVER"] = "unix:" + os.path.join(SHOP.folder, "nobody")
    try:
        assert "try again later" in SHOP.run("sh", path, "DE", "x", check=6).stderr
    finally:
        SHOP.environment["PLUMBLANE_SERVER"] = SHOP.daemon.address
    return None


def the_script_gives_a_file_of_orders():
    fenced, _ = blocks("A script that picks a supplier")
    said = SHOP.run("sh", "-c", fenced[1][1]).stdout
    with open(os.path.join(SHOP.folder, "picks.csv"), newline="", encoding="utf-8") as opened:
        rows = list(csv.DictReader(opened))
    assert rows
    assert ("all have" in said) == all(row["supplier"] for row in rows), said


def the_program_in_python_asks_over_grpc():
    python = next((one for one in (sys.executable, "/usr/bin/python3") if subprocess.run(
        [one, "-c", "import grpc, google.protobuf"], capture_output=True).returncode == 0), None)
    if python is None:
        return "the Debian package python3-grpcio is not installed"
    if not os.path.exists("/usr/bin/grpc_python_plugin"):
        return "the Debian package protobuf-compiler-grpc is not installed"
    fenced, _ = blocks("A program in Python")
    assert [language for language, _ in fenced] == ["sh", "python"]
    proto = os.path.join(SHOP.folder, "proto")
    if not os.path.exists(proto):
        os.symlink(os.path.join(ROOT, "proto"), proto)
    SHOP.run("sh", "-c", fenced[0][1])
    path = os.path.join(SHOP.folder, "late.py")
    with open(path, "w", encoding="utf-8") as file:
        file.write(fenced[1][1])
    lines = SHOP.run(python, path).stdout.splitlines()
    expected = [one for one in SHOP.daemon.ask("suppliers")["scores"]
                if one["onTime"].get("estimate", 1) < .9]
    expected.sort(key=lambda one: one["onTime"]["estimate"])
    assert expected
    assert [line.split(":")[0] for line in lines] == [one["supplierId"] for one in expected], lines
    return None


if __name__ == "__main__":
    SHOP = Shop()
    try:
        main([the_spreadsheet_can_be_opened, the_script_picks_a_supplier,
              the_script_gives_a_file_of_orders, the_program_in_python_asks_over_grpc])
    finally:
        SHOP.close()
