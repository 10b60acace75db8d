"""Copies made while events come in: each, restored, verifies and holds all that was acknowledged before
it was asked for. A damaged copy is refused. Verify while serving finds what was changed.

Usage: copies_test.py [--long] [--seed N]
"""
import os
import random
import shutil
import subprocess
import time

from rig import (BIN, LONG, Folder, acked, check_oracle, flip, main, make, offline, seeded, send,
                 start_sending, wait_for)


def restored_each_copy_verifies_and_holds_what_was_acknowledged_before_it():
    with Folder() as folder:
        daemon, ledger = make(folder, keeps_log=False), os.path.join(folder, "ledger")
        daemon.start()
        backups = os.path.join(folder, "backups")
        sender = start_sending(daemon, ledger)
        assert wait_for(lambda: acked(ledger) > 500)
        before = []
        for number in range(100 if LONG else 4):
            shutil.copy(ledger, os.path.join(folder, f"ledger{number + 1}"))
            copy = daemon.ask("backup", backups)
            assert copy["number"] == str(number + 1) and int(copy["byteCount"]) > 0, copy
            before.append(int(copy["logSequence"]))
            assert daemon.ask("verify")["difference"] == ""
            time.sleep(0.1)
        daemon.kill()
        sender.wait(timeout=60)
        sender.stdout.close()
        for number, sequence in enumerate(before, 1):
            with Folder() as other:
                again = make(other, keeps_log=False)
                code, said = offline(again, "--restore", backups, "--number", str(number))
                assert code == 0 and "verified" in said, said
                again.start()
                assert int(again.ask("status")["logSequence"]) >= sequence
                checked = send(again, os.path.join(folder, f"ledger{number}"), "check")
                assert checked.returncode == 0, checked.stdout
                assert again.ask("verify")["difference"] == ""
                assert again.stop() == 0
        print(f"{len(before)} copies restored, each verified; {acked(ledger)} events acknowledged")


def copies_beyond_those_to_keep_go():
    with Folder() as folder:
        daemon, ledger = make(folder).start(), os.path.join(folder, "ledger")
        backups = os.path.join(folder, "backups")
        for _ in range(3):
            assert send(daemon, ledger, "send", 5).returncode == 0
            kept = daemon.ask("backup", backups, "--keep", "2")["keptCount"]
        assert kept == 2
        code, _, err = daemon.run("backup", os.path.join(daemon.data, "inside"))
        assert code == 2 and "outside" in err, err
        code, _, err = daemon.run("backup", "/proc/nothing")
        assert code == 1, err
        assert daemon.stop() == 0
        code, said = offline(daemon, "--restore", backups)
        assert code == 75 and "move it away" in said, said
        daemon.data = daemon.flags[daemon.flags.index("--data") + 1] = os.path.join(folder, "new")
        code, said = offline(daemon, "--restore", backups, "--number", "1")
        assert code == 75 and "no copy 1" in said, said
        assert offline(daemon, "--restore", backups)[0] == 0
        daemon.start()
        check_oracle(daemon, ledger)
        daemon.stop()


def a_copy_older_than_the_receipts_is_restored_only_when_that_is_accepted():
    with Folder() as folder:
        daemon, ledger = make(folder).start(), os.path.join(folder, "ledger")
        backups = os.path.join(folder, "backups")
        assert send(daemon, ledger, "send", 20).returncode == 0
        daemon.run("backup", backups, check=0)
        assert send(daemon, ledger, "send", 20).returncode == 0
        assert daemon.stop() == 0
        shutil.rmtree(os.path.join(daemon.data, "store"))
        code, said = offline(daemon, "--restore", backups)
        assert code == 65 and "are missing" in said, said
        loss = said.split("--accept-loss ")[1].split()[0]
        code, said = offline(daemon, "--restore", backups, "--accept-loss", loss)
        assert code == 0, said
        daemon.start()
        assert send(daemon, ledger, "check").returncode == 1, "control: the second part is not there"
        check_oracle(daemon, ledger)
        daemon.stop()


def a_damaged_copy_is_refused():
    seeded("copy")
    with Folder() as folder:
        daemon, ledger = make(folder).start(), os.path.join(folder, "ledger")
        backups = os.path.join(folder, "backups")
        assert send(daemon, ledger, "send", 20).returncode == 0
        daemon.run("backup", backups, check=0)
        daemon.stop()
        files = [os.path.join(path, name) for path, _, names in os.walk(backups) for name in names
                 if os.path.getsize(os.path.join(path, name)) > 0]
        rounds = files * 5 if LONG else random.sample(files, min(6, len(files)))
        for path in rounds:
            with open(path, "rb") as file:
                whole = file.read()
            # When a copy was made and a number that nobody reads come first in its list, and have no
            # checksum: nothing that is restored hangs on them.
            first = 0
            if os.path.basename(os.path.dirname(path)) == "meta":
                first = whole.index(b"\n", whole.index(b"\n") + 1)
            flip(path, random.randrange(first, len(whole)))
            again = make(folder)
            again.flags[again.flags.index("--data") + 1] = os.path.join(folder, "new")
            code, said = offline(again, "--restore", backups)
            assert code in (65, 75), (path, said)
            assert not os.path.exists(os.path.join(folder, "new", "store"))
            with open(path, "wb") as file:
                file.write(whole)
        assert offline(again, "--restore", backups)[0] == 0, "control: whole, it is restored"
        print(f"{len(rounds)} changed files, each refused")


def verify_names_the_first_difference():
    """An order changed behind the daemon's back is named; by the daemon and without it."""
    for keeps_log in (True, False):
        with Folder() as folder:
            daemon, ledger = make(folder, keeps_log), os.path.join(folder, "ledger")
            daemon.start()
            assert send(daemon, ledger, "send", 900).returncode == 0
            result = daemon.ask("verify")
            assert result["difference"] == "" and int(result["orderCount"]) > 0, result
            assert (result["firstKeptSequence"] == "1") == keeps_log, result
            assert daemon.stop() == 0
            store = os.path.join(daemon.data, "store")
            subprocess.run([os.path.join(BIN, "dump_state"), store, "--drop-order"], check=True)
            code, said = offline(daemon, "--verify")
            assert code == 65 and "first difference: " in said, said
            daemon.start()
            code, said, _ = daemon.run("verify")
            assert code == 1 and "First difference" in said, said
            daemon.stop()


if __name__ == "__main__":
    main([restored_each_copy_verifies_and_holds_what_was_acknowledged_before_it,
          copies_beyond_those_to_keep_go,
          a_copy_older_than_the_receipts_is_restored_only_when_that_is_accepted,
          a_damaged_copy_is_refused, verify_names_the_first_difference])
