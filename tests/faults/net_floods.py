"""What strangers and floods do to the daemon over real connections; takes minutes.

Usage: net_floods.py [--rounds N]  (malformed connections, 3,000)  [--seed N]
"""
import os
import random
import resource
import ssl
import statistics
import struct
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
import certificates
import h2
from harness import BIN, SAMPLE, Daemon, Folder, main, wait_for
from net_access_test import INGEST, MEBIBYTE, OK, STATUS, Guarded, memory_of


def option(name, usual):
    return int(sys.argv[sys.argv.index(name) + 1]) if name in sys.argv else usual


ROUNDS = option("--rounds", 3000)
SEED = option("--seed", int(time.time()))
resource.setrlimit(resource.RLIMIT_NOFILE, (resource.getrlimit(resource.RLIMIT_NOFILE)[1],) * 2)


class OnTcp(Daemon):
    """On a socket and on loopback; `files` is how many it may open."""

    def __init__(self, folder, settings="", files=None):
        path = os.path.join(folder, "settings.toml")
        with open(path, "w") as out:
            out.write(settings)
        super().__init__(folder, "--listen", "127.0.0.1:0", "--config", path)
        self.files = files

    def start(self):
        self.log = open(os.path.join(self.folder, "log"), "a")
        limit = (lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (self.files, self.files))
                 ) if self.files else None
        self.process = subprocess.Popen([os.path.join(BIN, "plumblaned"), *self.flags],
                                        preexec_fn=limit, stdout=subprocess.PIPE, stderr=self.log,
                                        text=True)
        line = self.process.stdout.readline().split()
        assert line and line[0] == "ready", self.read_log()
        self.tcp = next(word for word in line if word.startswith("127."))
        return self

    def answers(self, address=None):
        """A call succeeds, on a new connection."""
        try:
            return h2.call(address or self.tcp, STATUS, b"", timeout=20) == OK
        except OSError:
            return False


def times_of_calls(address, count=40):
    """How long calls take, each on a connection of its own."""
    took = []
    for _ in range(count):
        begun = time.monotonic()
        assert h2.call(address, STATUS, b"") == OK
        took.append(time.monotonic() - begun)
    return took


def told(words, before, after):
    print(f"  {words}: median {statistics.median(before) * 1000:.1f} -> "
          f"{statistics.median(after) * 1000:.1f} ms, longest {max(before) * 1000:.1f} -> "
          f"{max(after) * 1000:.1f} ms")


def malformed_frames(chance):
    """A conversation that begins well or badly and goes wrong somewhere."""
    block = (h2.header(":method", "POST") + h2.header(":scheme", "http") +
             h2.header(":path", STATUS) + h2.header(":authority", "x"))
    kind = chance.randrange(8)
    if kind == 0:  # bytes without sense
        return chance.randbytes(chance.randrange(1, 400))
    start = h2.PREFACE + h2.frame(h2.SETTINGS, 0, 0)
    if kind == 1:  # frames of any kind
        return start + b"".join(
            h2.frame(chance.randrange(256), chance.randrange(256), chance.getrandbits(31),
                     chance.randbytes(chance.randrange(0, 200))) for _ in range(20))
    if kind == 2:  # header blocks without sense
        return start + h2.frame(h2.HEADERS, 5, 1, chance.randbytes(chance.randrange(0, 4000)))
    if kind == 3:  # headers that fooled this version once, with more than 8 kB (CVE-2023-1428)
        odd = chance.choice([("te", "x"), (":scheme", "gopher"), ("grpclb_client_stats", "y"),
                             ("x-bin", "!!!"), ("grpc-timeout", "99999999999H")])
        return start + h2.frame(h2.HEADERS, 4, 1, block + h2.header(*odd) +
                                h2.header("pad", "z" * chance.choice([10, 9000, 15000])))
    call = start + h2.frame(h2.HEADERS, 4, 1, block + h2.header("te", "trailers") +
                            h2.header("content-type", "application/grpc"))
    if kind == 4:  # messages whose length is a lie
        return call + h2.frame(h2.DATA, chance.choice([0, 1]), 1,
                               struct.pack(">BI", chance.randrange(3), chance.getrandbits(32)) +
                               chance.randbytes(chance.randrange(100)))
    if kind == 5:  # a request that is no message
        return call + h2.frame(h2.DATA, 1, 1, h2.message(chance.randbytes(chance.randrange(300))))
    whole = bytearray(call + h2.frame(h2.DATA, 1, 1, h2.message(b"")))
    for _ in range(chance.randrange(1, 6)):  # a good call with bits turned over
        whole[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
    return bytes(whole)


def nonsense_over_http2_harms_nobody():
    chance = random.Random(SEED)
    print(f"seed {SEED}, {ROUNDS} connections")
    with Folder() as folder:
        daemon = OnTcp(folder).start()
        for _ in range(200):
            assert daemon.answers()
        before = memory_of(daemon)
        for i in range(ROUNDS):
            connection = h2.connect(daemon.tcp)
            try:
                connection.sendall(malformed_frames(chance))
                connection.settimeout(0.01 if chance.random() < .9 else 0.2)
                while connection.recv(65536):
                    pass
            except (TimeoutError, ConnectionError):
                pass
            connection.close()
            if i % 500 == 0:
                assert daemon.answers(), f"no answer after {i} connections"
        assert daemon.process.poll() is None, daemon.read_log()
        assert daemon.answers()
        grown = memory_of(daemon) - before
        print(f"  memory grew by {grown / MEBIBYTE:.1f} MiB")
        assert grown < 50 * MEBIBYTE
        daemon.kill()
        assert not daemon.answers(), "the check finds a dead daemon well"


def who_connects_and_dawdles_is_cut_and_holds_up_nobody():
    count = 1000
    with Folder() as folder:
        own = certificates.Authority(os.path.join(folder, "own"))
        pair = own.sign("client")
        daemon = Guarded(folder, more="[limits]\nconnections = 6000\n",
                         tls=(*own.sign("server", "serverAuth", "IP:127.0.0.1"), own.path))
        daemon.start()
        before = times_of_calls(daemon.address)
        hello = h2.frame(0, 0, 0)  # as good as anything: TLS waits for the rest
        silent = [h2.connect(daemon.tcp) for _ in range(count)]
        half = [h2.connect(daemon.tls.removeprefix("tls:")) for _ in range(count)]
        for connection in half:
            connection.send(b"\x16\x03\x01\x02\x00" + hello)
        greeted = [h2.Connection(daemon.tcp) for _ in range(50)]  # control: these may stay
        for connection in greeted:
            assert connection.read() is not None
        during = times_of_calls(daemon.address)
        told(f"calls beside {2 * count} that say nothing", before, during)

        def is_cut(connection):
            connection.settimeout(0)
            try:
                return connection.recv(65536) == b""
            except BlockingIOError:
                return False
            except ConnectionError:
                return True

        def all_cut():
            while silent and is_cut(silent[-1]):
                silent.pop().close()
            while half and is_cut(half[-1]):
                half.pop().close()
            return not silent and not half

        begun = time.monotonic()
        assert wait_for(all_cut, 60), f"{len(silent)} and {len(half)} are open still"
        print(f"  all were cut {time.monotonic() - begun:.1f} s after the last call beside them")
        assert not any(is_cut(connection.socket) for connection in greeted), "the control was cut"
        context = certificates.context(pair=pair)
        assert h2.Connection(daemon.tls, context).read() is not None
        assert daemon.stop() == 0


def who_dawdles_inside_a_stream_holds_up_nobody():
    with Folder() as folder:
        daemon = OnTcp(folder).start()
        before = times_of_calls(daemon.tcp)
        slow = []
        for _ in range(500):
            connection = h2.Connection(daemon.tcp)
            connection.read()
            connection.open(1, INGEST)
            connection.send(h2.frame(h2.DATA, 0, 1, h2.message(b"\x12\x00" * 900)[:100]))
            slow.append(connection)
        told("calls beside 500 streams that stop in a message", before, times_of_calls(daemon.tcp))
        daemon.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        for connection in slow:
            connection.close()
        assert daemon.stop() == 0


def thousands_of_idle_connections_cost_little_and_the_rest_is_turned_away():
    with Folder() as folder:
        daemon = OnTcp(folder, "[limits]\nconnections = 5000\n").start()
        before, memory = times_of_calls(daemon.tcp), memory_of(daemon)
        idle = []
        for _ in range(4990):
            connection = h2.Connection(daemon.tcp)
            assert connection.read() is not None, f"{len(idle)} were let in"
            idle.append(connection)
        took = memory_of(daemon) - memory
        print(f"  {len(idle)} idle connections take {took / MEBIBYTE:.0f} MiB")
        assert took < 1024 * MEBIBYTE
        told("calls beside them", before, times_of_calls(daemon.tcp))
        refused = 0
        for _ in range(100):
            try:
                connection = h2.Connection(daemon.tcp, timeout=20)
                refused += connection.read() is None
                idle.append(connection)
            except OSError:
                refused += 1
        assert 85 <= refused <= 100, refused
        assert daemon.answers(daemon.address), "the socket was turned away, too"
        for connection in idle:
            connection.close()
        assert wait_for(daemon.answers), "nobody is let in after the others have gone"
        assert daemon.stop() == 0


def without_file_descriptors_it_waits_and_goes_on():
    with Folder() as folder:
        daemon = OnTcp(folder, files=256).start()
        for address in (daemon.tcp, daemon.address):
            many = []
            for _ in range(600):
                try:
                    many.append(h2.connect(address))
                except OSError:
                    break  # the queue of those that wait is full

            def open_files():
                return len(os.listdir(f"/proc/{daemon.process.pid}/fd"))

            assert wait_for(lambda: open_files() >= 250, 20), \
                f"only {open_files()} files were open: the test shows nothing"
            for connection in many:
                connection.close()
            assert wait_for(lambda: daemon.answers(address)), f"{address} is deaf"
        daemon.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        assert daemon.stop() == 0
        daemon.dump()


def flood(connection, seconds):
    """Opens streams and takes them back at once; how many."""
    block = (h2.header(":method", "POST") + h2.header(":scheme", "http") +
             h2.header(":path", STATUS) + h2.header(":authority", "x") +
             h2.header("content-type", "application/grpc") + h2.header("te", "trailers"))
    end, stream, count = time.monotonic() + seconds, 1, 0
    while time.monotonic() < end:
        piece = b""
        for _ in range(200):
            piece += h2.frame(h2.HEADERS, 4, stream, block)
            piece += h2.frame(h2.RST, 0, stream, struct.pack(">I", 8))
            stream += 2
        try:
            connection.sendall(piece)
        except (OSError, ssl.SSLError):
            break
        count += 200
    return count


def rapid_resets_reach_nothing_without_a_certificate():
    with Folder() as folder:
        own = certificates.Authority(os.path.join(folder, "own"))
        daemon = Guarded(folder, tls=(*own.sign("server", "serverAuth", "IP:127.0.0.1"), own.path))
        daemon.start()
        harbour = os.path.join(SAMPLE, "harbour.ndjson")
        daemon.run("send", harbour, check=0)
        before = memory_of(daemon)
        for context in (None, certificates.context()):
            end = time.monotonic() + 3
            while time.monotonic() < end:
                try:
                    connection = h2.connect(daemon.tls, context)
                    connection.sendall(h2.PREFACE + h2.frame(h2.SETTINGS, 0, 0))
                    flood(connection, 0.2)
                    connection.close()
                except (OSError, ssl.SSLError):
                    pass
        grown = memory_of(daemon) - before
        print(f"  without a certificate memory grew by {grown / MEBIBYTE:.1f} MiB")
        assert grown < 64 * MEBIBYTE, grown
        # Who has one can fill memory, which this version of the library lets happen: it shows that
        # the check above would see it. The limit of the service's memory ends that; what was
        # acknowledged is there afterwards.
        connection = h2.Connection(daemon.tls, certificates.context(pair=own.sign("client")))
        connection.read()
        count = flood(connection.socket, 3)
        grown = memory_of(daemon) - before
        print(f"  with one, {count} resets: {grown / MEBIBYTE:.1f} MiB")
        daemon.kill()
        connection.close()
        daemon.start()
        again = daemon.ask("send", harbour)
        assert int(again["files"][0]["takenCount"]) == 0, again
        assert daemon.stop() == 0
        daemon.dump()


if __name__ == "__main__":
    main([nonsense_over_http2_harms_nobody,
          who_connects_and_dawdles_is_cut_and_holds_up_nobody,
          who_dawdles_inside_a_stream_holds_up_nobody,
          thousands_of_idle_connections_cost_little_and_the_rest_is_turned_away,
          without_file_descriptors_it_waits_and_goes_on,
          rapid_resets_reach_nothing_without_a_certificate])
