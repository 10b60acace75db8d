"""A real etcd for tests: members on free ports of the loopback, ended by their process ids. ETCD in
the environment names another program than the one that is installed."""
import base64
import json
import os
import shutil
import signal
import socket
import subprocess
import time
import urllib.request

PROGRAM = os.environ.get("ETCD") or shutil.which("etcd")
SLOWER = ("--heartbeat-interval=300", "--election-timeout=3000")  # busy is not dead
WHY_NOT = None if PROGRAM else "no etcd here; Debian has it as etcd-server"


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


class Etcd:
    """`with Etcd(folder) as etcd`; members are numbered from 0."""

    def __init__(self, folder, members=3, *flags):
        self.folder = folder
        self.ports = [(free_port(), free_port()) for _ in range(members)]
        self.processes = [None] * members
        self.flags = flags

    @property
    def endpoints(self):
        return [f"127.0.0.1:{client}" for client, _ in self.ports]

    def start(self, member):
        client, peer = self.ports[member]
        cluster = ",".join(f"m{i}=http://127.0.0.1:{p}" for i, (_, p) in enumerate(self.ports))
        with open(os.path.join(self.folder, f"m{member}.log"), "a") as log:
            self.processes[member] = subprocess.Popen(
                [PROGRAM, f"--name=m{member}", f"--data-dir={self.folder}/m{member}",
                 f"--listen-client-urls=http://127.0.0.1:{client}",
                 f"--advertise-client-urls=http://127.0.0.1:{client}",
                 f"--listen-peer-urls=http://127.0.0.1:{peer}",
                 f"--initial-advertise-peer-urls=http://127.0.0.1:{peer}",
                 f"--initial-cluster={cluster}", "--logger=zap",
                 *(SLOWER if len(self.ports) > 1 else ()), *self.flags],
                stdout=log, stderr=log)

    def kill(self, member):
        process, self.processes[member] = self.processes[member], None
        if process:
            process.send_signal(signal.SIGKILL)
            process.wait()

    def is_well(self, member):
        """Whether it answers and knows a leader."""
        try:
            with urllib.request.urlopen(f"http://{self.endpoints[member]}/health", timeout=1) as told:
                return b'"true"' in told.read()
        except OSError:
            return False

    def wait(self, seconds=120):
        end = time.monotonic() + seconds
        while not all(self.is_well(i) for i, one in enumerate(self.processes) if one):
            if time.monotonic() > end:
                raise RuntimeError("etcd does not become ready")
            time.sleep(0.05)

    def leader(self):
        """The number of the member that leads, by its own metrics; None while none does."""
        for member, process in enumerate(self.processes):
            try:
                url = f"http://{self.endpoints[member]}/metrics"
                if process and b"etcd_server_is_leader 1" in urllib.request.urlopen(
                        url, timeout=1).read():
                    return member
            except OSError:
                pass
        return None

    def ask(self, what, **question):
        """By its interface for JSON; keys and values are texts here."""
        code = lambda text: base64.b64encode(text.encode()).decode()  # noqa: E731
        body = {key: code(value) if isinstance(value, str) and key in ("key", "range_end") else value
                for key, value in question.items()}
        request = urllib.request.Request(f"http://{self.endpoints[0]}/v3/{what}",
                                         json.dumps(body).encode())
        with urllib.request.urlopen(request, timeout=30) as answer:
            return json.load(answer)

    def keys(self, prefix):
        """All keys that start with it, in order."""
        told = self.ask("kv/range", key=prefix, range_end=prefix[:-1] + chr(ord(prefix[-1]) + 1),
                        keys_only=True)
        return [base64.b64decode(kv["key"]).decode() for kv in told.get("kvs", [])]

    def first_entry(self):
        """The number of the first that the log still holds; None when it holds none."""
        keys = self.keys("plumblane/log/0000/")
        return int(keys[0].rsplit("/", 1)[1]) if keys else None

    def __enter__(self):
        for member in range(len(self.ports)):
            self.start(member)
        self.wait()
        return self

    def __exit__(self, *_):
        for member in range(len(self.ports)):
            self.kill(member)
