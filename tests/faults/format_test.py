"""Data directories of each format version, made by daemons of that time and kept in golden/: each opens,
is taken to the present version after a copy was made, verifies, and is what the present daemon makes of
the same events. Data of a newer version is refused untouched.

A new version comes with a new golden directory: data/ without LOG*, LOCK and anchor, and the files of
events that were sent. Of version 3 on, gone.ndjson was sent first, and its orders were purged.

format_test.py --make GONE OLD.tar.gz NEW.tar.gz makes one of the present version from the events of
another and those of GONE.
"""
import glob
import os
import shutil
import subprocess
import sys
import tarfile

from rig import BIN, Folder, main, make, offline, wait_for, why_not

GOLDEN = sorted(glob.glob(os.path.join(os.path.dirname(os.path.abspath(__file__)), "golden",
                                       "format-*.tar.gz")))
EVENTS = ("events.ndjson", "events.csv")
GONE = "gone.ndjson"
RETENTION = "[retention]\norders_days = 150\n"
PRESENT = len(GOLDEN)


def open_golden(folder, path):
    with tarfile.open(path) as golden:
        golden.extractall(folder)
    return make(folder, keeps_log=False)


def purge(daemon, folder):
    """What the orders of GONE were sent for; REQUIRES: RETENTION."""
    if not os.path.exists(os.path.join(folder, GONE)):
        return
    with open(os.path.join(folder, GONE)) as file:
        orders = len({line.split('"order_id":')[1].split(",")[0] for line in file})
    daemon.run("send", os.path.join(folder, GONE), check=0)
    for name in EVENTS:
        daemon.run("send", os.path.join(folder, name), check=0)
    assert daemon.stop() == 0
    daemon.start()
    assert wait_for(lambda: daemon.ask("status")["purgedOrderCount"] == str(orders)), \
        daemon.ask("status")


def dump(daemon):
    """Without the day on which each order left."""
    return [line.rsplit(" ", 1)[0] if line.startswith("index 78") else line
            for line in daemon.dump("--without-sends").splitlines()]


def make_golden(gone, old, new):
    with Folder() as folder:
        with tarfile.open(old) as golden:
            golden.extractall(folder, [golden.getmember("./" + name) for name in EVENTS])
        shutil.copy(gone, os.path.join(folder, GONE))
        daemon = make(folder, keeps_log=False, extra=RETENTION).start()
        purge(daemon, folder)
        daemon.kill()  # the last part of the data is in a write-ahead log

        def plain(info):
            info.uid = info.gid = 0
            info.uname = info.gname = "root"
            info.mtime = 1767225600
            name = os.path.basename(info.name)
            left_out = name.startswith("LOG") or name in ("LOCK", "anchor", "audit.ndjson")
            return None if left_out else info

        with tarfile.open(new, "w:gz") as golden:
            for name in ("data", GONE, *EVENTS):
                golden.add(os.path.join(folder, name), "./" + name, filter=plain)


def each_format_opens_and_is_what_the_present_daemon_makes_of_the_events():
    assert len(GOLDEN) >= 2, GOLDEN
    for number, path in enumerate(GOLDEN, 1):
        assert path.endswith(f"format-{number}.tar.gz"), path
        with Folder() as folder, Folder() as fresh_folder:
            daemon = open_golden(folder, path).start()
            fresh = make(fresh_folder, extra=RETENTION).start()
            purge(fresh, folder)
            assert daemon.ask("verify")["difference"] == ""
            for name in EVENTS:
                events = os.path.join(folder, name)
                daemon.run("send", events, check=0)
                fresh.run("send", events, check=0)
            for asked in (("suppliers",), ("underway",), ("claims",)):
                assert daemon.ask(*asked) == fresh.ask(*asked), asked
            assert daemon.ask("verify")["difference"] == ""
            assert daemon.stop() == 0 and fresh.stop() == 0
            assert dump(daemon) == dump(fresh), path
            is_old = number < PRESENT
            assert ("taking it to" in daemon.read_log()) == is_old, daemon.read_log()
            copy = os.path.join(daemon.data, f"backup-of-format-{number}")
            assert os.path.exists(copy) == is_old
            if is_old:
                restored = make(folder)
                restored.flags[restored.flags.index("--data") + 1] = os.path.join(folder, "before")
                code, said = offline(restored, "--restore", copy)
                assert code == 0 and f"format version {number}" in said, said


def killed_while_it_is_taken_to_the_present_version_it_is_taken_there_again():
    for path in GOLDEN[:-1]:
        for wait in (0.0, 0.05, 0.1, 0.2):
            with Folder() as folder:
                daemon = open_golden(folder, path)
                daemon.start_only()
                try:
                    daemon.process.wait(timeout=wait)
                except subprocess.TimeoutExpired:
                    pass
                daemon.kill()
                daemon.start()
                assert daemon.ask("verify")["difference"] == ""
                assert daemon.stop() == 0


def newer_data_is_refused_untouched():
    with Folder() as folder:
        daemon = open_golden(folder, GOLDEN[-1])
        daemon.start()
        daemon.stop()
        store = os.path.join(daemon.data, "store")
        subprocess.run([os.path.join(BIN, "dump_state"), store, "--set-version", str(PRESENT + 1)],
                       check=True, capture_output=True)
        before = {name: os.path.getsize(os.path.join(store, name)) for name in os.listdir(store)
                  if not name.startswith("LOG")}
        for _ in range(2):
            code, err = why_not(daemon)
            assert code == 65 and f"version {PRESENT + 1}" in err and "newer plumblaned" in err, err
        code, said = offline(daemon, "--verify")
        assert code == 65 and "newer plumblaned" in said, said
        after = {name: os.path.getsize(os.path.join(store, name)) for name in os.listdir(store)
                 if not name.startswith("LOG")}
        assert before == after
        subprocess.run([os.path.join(BIN, "dump_state"), store, "--set-version", str(PRESENT)],
                       check=True, capture_output=True)
        daemon.start()
        assert daemon.stop() == 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["--make"]:
        sys.exit(make_golden(*sys.argv[2:]))
    main([each_format_opens_and_is_what_the_present_daemon_makes_of_the_events,
          killed_while_it_is_taken_to_the_present_version_it_is_taken_there_again,
          newer_data_is_refused_untouched])
