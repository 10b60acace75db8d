"""deploy/cluster/try: one command makes three etcd and three daemons that show each other certificates,
and what it prints works; Ctrl-C ends all of it."""
import json
import os
import re
import signal
import socket
import subprocess

from etcd import WHY_NOT
from harness import BIN, ROOT, SAMPLE, Folder, main, wait_for

PATIENCE = 120
PORTS = 9


def ports_in_a_row():
    """The first of some that are free now."""
    for _ in range(100):
        held = []
        try:
            held.append(socket.create_server(("127.0.0.1", 0)))
            first = held[0].getsockname()[1]
            held += [socket.create_server(("127.0.0.1", first + i)) for i in range(1, PORTS)]
            return first
        except (OSError, OverflowError):
            continue
        finally:
            for one in held:
                one.close()
    raise RuntimeError("no ports")


def is_there(process):
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def it_starts_is_used_and_ends():
    if WHY_NOT:
        return WHY_NOT
    if not os.path.samefile(BIN, os.path.join(ROOT, "build", "bin")):
        return "it takes the programs of the usual build"
    with Folder() as folder:
        said = os.path.join(folder, "said")
        with open(said, "w") as out:
            trial = subprocess.Popen([os.path.join(ROOT, "deploy", "cluster", "try"),
                                      os.path.join(folder, "trial"), str(ports_in_a_row())],
                                     stdout=out, stderr=out, start_new_session=True)

        def text():
            with open(said) as file:
                return file.read()
        try:
            assert wait_for(lambda: "Ctrl-C ends it all" in text() or trial.poll() is not None,
                            PATIENCE), text()
            assert trial.poll() is None, text()
            settings = re.search(r"export PLUMBLANE_SETTINGS=(\S+)", text())[1]
            processes = [int(one) for one in re.search(r"processes:([ \d]+);", text())[1].split()]
            assert len(processes) == 6, text()

            def run(*words):
                done = subprocess.run([os.path.join(BIN, "plumblane"), *words], text=True,
                                      capture_output=True, timeout=PATIENCE,
                                      env=dict(os.environ, PLUMBLANE_SETTINGS=settings))
                assert done.returncode == 0, (words, done)
                return done.stdout
            run("send", os.path.join(SAMPLE, "harbour.ndjson"))
            servers = set(re.findall(r"tls:[\d.]+:\d+", text()))
            assert len(servers) == 3, servers

            def same():
                return len({run("--server", server, "suppliers") for server in servers}) == 1
            assert wait_for(same, PATIENCE)
            owners = [json.loads(run("--server", server, "status", "--json"))["acceptingEvents"]
                      for server in servers]
            assert sum(owners) == 1, owners
        finally:
            trial.send_signal(signal.SIGINT)
            trial.wait(timeout=PATIENCE)
        assert not any(map(is_there, processes)), "something is left"


if __name__ == "__main__":
    main([it_starts_is_used_and_ends])
