"""The daemon is killed at random moments while a file is sent; after a restart the same file is sent
again. In the end every event is there once and all bytes equal those of a daemon never disturbed.

Usage: kill_test.py [--kills N]  (20)
"""
import os
import random
import subprocess
import sys
import time

from harness import BIN, SAMPLE, Daemon, Folder, main

KILLS = int(sys.argv[sys.argv.index("--kills") + 1]) if "--kills" in sys.argv else 20
SEED = int(sys.argv[sys.argv.index("--seed") + 1]) if "--seed" in sys.argv else int(time.time())


def big_file(path, copies):
    """The carriers' and harbour's lines, many times over under other shops, as one file."""
    count = 0
    with open(path, "w") as out:
        for copy in range(copies):
            for name in ("harbour.ndjson", "carriers.ndjson"):
                with open(os.path.join(SAMPLE, name)) as file:
                    for line in file:
                        out.write(line.replace('"harbour"', f'"harbour{copy}"')
                                      .replace('"meadow"', f'"meadow{copy}"'))
                        count += 1
    return count


def killed_twenty_times_every_event_counts_once():
    random.seed(SEED)
    print(f"seed {SEED}, {KILLS} kills")
    with Folder() as folder, Folder() as calm_folder:
        path = os.path.join(folder, "events.ndjson")
        lines = big_file(path, 12)
        daemon = Daemon(folder)
        cut_short = 0
        for _ in range(KILLS):
            daemon.start()
            sender = subprocess.Popen(
                [os.path.join(BIN, "plumblane"), "--server", daemon.address, "send",
                 "--retry-for", "0", path],
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            time.sleep(random.uniform(0.02, 0.8))
            daemon.kill()
            cut_short += sender.wait(timeout=60) == 6
        assert cut_short > 0, "no kill came in the middle of a send: the test shows nothing"
        daemon.start()
        daemon.run("send", path, check=0)
        answer = daemon.run("send", path, check=0)[1]
        assert "0 taken" in answer, answer
        assert daemon.stop() == 0
        calm = Daemon(calm_folder).start()
        calm.run("send", path, check=0)
        assert calm.stop() == 0
        assert daemon.dump("--without-sends") == calm.dump("--without-sends"), "the states differ"
        print(f"{cut_short} of {KILLS} sends of {lines} events were cut short")


def a_stop_in_the_middle_of_a_send_drains_and_loses_nothing():
    random.seed(SEED + 2)
    with Folder() as folder:
        path = os.path.join(folder, "events.ndjson")
        lines = big_file(path, 12)
        daemon = Daemon(folder)
        for _ in range(5):
            daemon.start()
            sender = subprocess.Popen(
                [os.path.join(BIN, "plumblane"), "--server", daemon.address, "send",
                 "--retry-for", "0", path],
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            time.sleep(random.uniform(0.05, 0.4))
            assert daemon.stop() == 0, daemon.read_log()
            sender.wait(timeout=60)
        daemon.start()
        again = daemon.ask("send", path)
        assert count(again, "takenCount") + count(again, "repeatCount") == lines
        assert daemon.stop() == 0
        daemon.dump()


def acknowledged_events_survive_each_kill():
    """What a receipt covered before the kill is a repeat afterwards."""
    random.seed(SEED + 1)
    with Folder() as folder:
        daemon = Daemon(folder)
        for round_number in range(max(3, KILLS // 4)):
            daemon.start()
            path = os.path.join(folder, f"part{round_number}.ndjson")
            with open(os.path.join(SAMPLE, "carriers.ndjson")) as file, open(path, "w") as out:
                for line in file.readlines()[:random.randrange(200, 2000)]:
                    out.write(line.replace('"harbour"', f'"h{round_number}"')
                                  .replace('"meadow"', f'"m{round_number}"'))
            taken = daemon.ask("send", path)
            daemon.kill()
            daemon.start()
            again = daemon.ask("send", path)
            daemon.stop()
            assert count(taken, "takenCount") > 0
            assert count(again, "takenCount") == 0, (taken, again)


def count(answer, word):
    """A number of the JSON summary of `send`, whatever its nesting."""
    if isinstance(answer, list):
        return sum(count(one, word) for one in answer)
    if "files" in answer:
        return count(answer["files"], word)
    return int(answer[word])


if __name__ == "__main__":
    main([killed_twenty_times_every_event_counts_once,
          a_stop_in_the_middle_of_a_send_drains_and_loses_nothing,
          acknowledged_events_survive_each_kill])
