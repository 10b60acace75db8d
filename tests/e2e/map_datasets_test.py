"""`map` on files that nobody wrote for it: the data sets of the npm package vega-datasets, which are
tables of weather, films, flights and prices. Each is read as it is written, to its end, and what has
no number of an order is told so. Skipped where npm is not installed or cannot fetch it."""
import csv
import json
import os
import shutil
import subprocess
import tarfile
import tomllib

from harness import BIN, Folder, main

CLIENT = os.path.join(BIN, "plumblane")
PACKAGE = "vega-datasets@3.2.1"
LONGEST = 1 << 20  # bytes of one JSON object


def rows_of_json(content):
    """How many; none where there is nothing to be a column."""
    data = json.loads(content)
    if isinstance(data, list):
        columns = {name for one in data if isinstance(one, dict) for name, value in one.items()
                   if not isinstance(value, (dict, list)) and value not in (None, "")}
        return len(data) if columns else None
    is_flat = any(not isinstance(value, (dict, list)) and value not in (None, "")
                  for value in data.values())
    return 1 if is_flat and len(content) < LONGEST else None


def rows_of_table(text, delimiter):
    return sum(1 for row in csv.reader(text.splitlines(keepends=True), delimiter=delimiter) if row) - 1


def complaint(path):
    """What is wrong with how the file is read, "" = nothing."""
    with open(path, "rb") as file:
        content = file.read()
    try:
        encoding = "utf-8"
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        encoding = "latin-1"
        text = content.decode("latin-1")
    done = subprocess.run([CLIENT, "map", "--json", path], capture_output=True, text=True, timeout=300)
    is_json = path.endswith(".json")
    rows = rows_of_json(content) if is_json else rows_of_table(text, "\t" if path.endswith(".tsv") else ",")
    if rows is None:
        is_told = done.returncode == 2 and "is JSON without a list of objects" in done.stderr
        return "" if is_told else f"expected a refusal, got {done.returncode}: {done.stderr}"
    if done.returncode != 0:
        return f"exit {done.returncode}: {done.stderr}"
    answer = json.loads(done.stdout)
    read = tomllib.loads(answer["map"])
    form = read["file"]
    expected = {"json": True} if is_json else {
        "delimiter": "tab" if path.endswith(".tsv") else "comma"}
    found = {name: form.get(name) for name in expected}
    if found != expected or form["encoding"] != encoding or answer["rowCount"] != rows:
        return (f"expected {expected}, {encoding}, {rows} rows; "
                f"found {form}, {answer['rowCount']} rows")
    if "could not be read" in done.stderr:
        return done.stderr
    has_order = read["order"].get("order_id") not in (None, "?") or "tracking" in read["order"]
    says_none = "no column is called like the number of an order" in done.stderr
    return "" if has_order != says_none else f"an order: {has_order}; said: {done.stderr}"


def every_table_is_read_as_it_is_written():
    if not shutil.which("npm"):
        return "npm is not installed"
    with Folder() as folder:
        done = subprocess.run(["npm", "pack", "--silent", "--prefer-offline", PACKAGE], cwd=folder,
                              capture_output=True, text=True, timeout=600)
        packed = [name for name in os.listdir(folder) if name.endswith(".tgz")]
        if done.returncode != 0 or not packed:
            return "npm cannot fetch " + PACKAGE
        with tarfile.open(os.path.join(folder, packed[0])) as file:
            file.extractall(folder, filter="data")
        data = os.path.join(folder, "package", "data")
        tables = sorted(name for name in os.listdir(data) if name.endswith((".csv", ".tsv", ".json")))
        assert len(tables) > 50, tables
        wrong = [f"{name}: {said}" for name in tables
                 if (said := complaint(os.path.join(data, name)))]
        assert not wrong, "\n".join(wrong)
    return None


if __name__ == "__main__":
    main([every_table_is_read_as_it_is_written])
