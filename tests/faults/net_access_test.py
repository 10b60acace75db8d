"""Who is let in, over real connections: certificates, tokens, roles, revocation; and what one caller
may use up: large messages, readers that do not read, more events than agreed. Each check is made on
something good as well, and must come out the other way there."""
import json
import os
import signal
import ssl
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
import certificates
import h2
from etcd import free_port
from harness import BIN, SAMPLE, Daemon, Folder, main, metrics_of, values_of, wait_for

STATUS = "/plumblane.v1.Operations/GetStatus"
INGEST = "/plumblane.v1.Intake/IngestEvents"
OK, RESOURCE_EXHAUSTED, UNAUTHENTICATED = 0, 8, 16
MEBIBYTE = 1 << 20


class Guarded(Daemon):
    """A daemon with tokens, on a socket, on loopback and, with certificates, behind TLS."""

    def __init__(self, folder, more="", tls=None):
        self.folder = folder
        self.tokens, self.token_file = {}, os.path.join(folder, "tokens")
        self.keep([])
        settings = os.path.join(folder, "settings.toml")
        with open(settings, "w") as out:
            out.write(f'[access]\ntokens = "{self.token_file}"\n')
            if tls:
                out.write(f'[tls]\ncertificate = "{tls[0]}"\nkey = "{tls[1]}"\n'
                          f'client_ca = "{tls[2]}"\n')
            out.write(more)
        listen = ["--listen", "127.0.0.1:0"] + (["--listen", "tls:127.0.0.1:0"] if tls else [])
        super().__init__(folder, *listen, "--config", settings)

    def new_token(self, name, rest):
        """Makes a token as a person would; its place in the file."""
        made = subprocess.run([os.path.join(BIN, "plumblaned"), "--new-token", name],
                              capture_output=True, text=True, check=True).stdout.splitlines()
        secret = next(line[2:] for line in made if line.startswith("# plumblane-"))
        path = os.path.join(self.folder, name)
        with open(path, "w") as out:
            out.write(secret + "\n")
        os.chmod(path, 0o600)
        table = [line for line in made if not line.startswith(("#", "roles"))]
        self.tokens[name] = path
        return "\n".join([*table, rest]) + "\n"

    def keep(self, tables):
        with open(self.token_file, "w") as out:
            out.write("\n".join(tables))
        os.chmod(self.token_file, 0o600)

    def reload(self, tables):
        self.keep(tables)
        seen = self.read_log().count("read ")
        self.process.send_signal(signal.SIGHUP)
        assert wait_for(lambda: self.read_log().count("read ") > seen), self.read_log()

    def start(self):
        self.log = open(os.path.join(self.folder, "log"), "a")
        self.process = subprocess.Popen([os.path.join(BIN, "plumblaned"), *self.flags],
                                        stdout=subprocess.PIPE, stderr=self.log, text=True)
        line = self.process.stdout.readline().split()
        assert line and line[0] == "ready", self.read_log()
        self.tcp = next(word for word in line if word.startswith("127."))
        self.tls = next((word for word in line if word.startswith("tls:")), None)
        return self

    def by(self, name, *args, server=None, more=()):
        """Runs the client with a token; (exit code, stdout, stderr)."""
        token = ["--token-file", self.tokens[name]] if name else []
        done = subprocess.run([os.path.join(BIN, "plumblane"), "--server", server or self.tcp,
                               *token, *more, *args], capture_output=True, text=True, timeout=120)
        return done.returncode, done.stdout, done.stderr

    def secret(self, name):
        with open(self.tokens[name]) as file:
            return file.read().strip()


def refused(*flags, config=""):
    """The daemon does not start with these; what it says."""
    with Folder() as folder:
        path = os.path.join(folder, "settings.toml")
        with open(path, "w") as out:
            out.write(config)
        done = subprocess.run([os.path.join(BIN, "plumblaned"), "--data", folder, "--config", path,
                               "--check-config", *flags], capture_output=True, text=True)
        return done.stderr if done.returncode == 78 else None


def a_daemon_does_not_listen_to_other_machines_unguarded():
    for address in ("0.0.0.0:7437", "[::]:7437", "192.0.2.7:7437", "shop.example:7437"):
        said = refused("--listen", address)
        assert said and f"tls:{address}" in said, (address, said)
        said = refused("--listen", "tls:" + address)
        assert said and "tls.certificate" in said, said
    said = refused("--listen", "tls:0.0.0.0:7437",
                   config='[tls]\ncertificate = "a"\nkey = "b"\nclient_ca = "c"\n')
    assert said and "access.tokens" in said, said
    said = refused("--listen", "tls:0.0.0.0:7437",
                   config='[tls]\ncertificate = "a"\n[access]\ntokens = "t"\n')
    assert said and "go together" in said, said
    assert refused("--listen", "127.0.0.1:7437") is None, "the control is refused, too"


def a_client_shows_no_token_in_plain_sight():
    with Folder() as folder:
        path = os.path.join(folder, "token")
        with open(path, "w") as out:
            out.write("plumblane-secret\n")
        os.chmod(path, 0o600)
        run = [os.path.join(BIN, "plumblane"), "--token-file", path, "--server"]
        away = subprocess.run([*run, "192.0.2.7:7437", "status"], capture_output=True, text=True)
        assert away.returncode == 2 and "in plain sight" in away.stderr, away
        os.chmod(path, 0o644)
        read = subprocess.run([*run, "127.0.0.1:1", "status"], capture_output=True, text=True)
        assert read.returncode == 2 and "is open to others" in read.stderr, read
        os.chmod(path, 0o600)
        here = subprocess.run([*run, "127.0.0.1:1", "status"], capture_output=True, text=True)
        assert here.returncode == 6, here  # the control goes out, and finds nobody
        assert "secret" not in away.stderr + read.stderr + here.stderr


def greeting(address, context):
    """True when the daemon greets over TLS; else why not."""
    try:
        connection = h2.Connection(address, context, timeout=20)
        got = connection.read()
        connection.close()
        return True if got else "closed"
    except (OSError, ssl.SSLError) as error:
        return str(error)


def only_good_certificates_get_through_the_handshake():
    with Folder() as folder:
        own = certificates.Authority(os.path.join(folder, "own"))
        other = certificates.Authority(os.path.join(folder, "other"))
        server = own.sign("server", "serverAuth", "IP:127.0.0.1")
        good = own.sign("client")
        old, new = ssl.TLSVersion.TLSv1_1, ssl.TLSVersion.TLSv1_2
        cases = {
            "none": certificates.context(),
            "of another authority": certificates.context(pair=other.sign("client")),
            "expired": certificates.context(
                pair=own.sign("old", begin=certificates.LONG_AGO, end=certificates.AGO)),
            "not yet valid": certificates.context(
                pair=own.sign("young", begin=certificates.AHEAD, end=certificates.FAR_AHEAD)),
            "for servers only": certificates.context(pair=own.sign("wrong", "serverAuth")),
            "TLS 1.1": certificates.context(pair=good, newest=old, oldest=ssl.TLSVersion.TLSv1),
        }
        daemon = Guarded(folder, tls=(*server, own.path))
        daemon.keep([daemon.new_token("anna", 'roles = ["reader"]')])
        daemon.start()
        for name, context in cases.items():
            assert greeting(daemon.tls, context) is not True, f"{name} was let in"
        for version in (new, ssl.TLSVersion.TLSv1_3):
            got = greeting(daemon.tls, certificates.context(pair=good, newest=version))
            assert got is True, f"the control, {version}: {got}"
        plain = h2.call(daemon.tls.removeprefix("tls:"), STATUS, b"")
        assert plain is None or plain != OK, plain

        # The client, for its part, wants to know whom it talks to.
        tls = ["--tls-ca", own.path, "--tls-cert", good[0], "--tls-key", good[1]]
        code, out, err = daemon.by("anna", "status", server=daemon.tls, more=tls)
        assert code == 0, err
        code, out, err = daemon.by("", "status", server=daemon.tls, more=tls)
        assert code != 0 and "a token is needed" in err, err  # a certificate alone is not enough
        wrong = ["--tls-ca", other.path, *tls[2:]]
        assert daemon.by("anna", "status", server=daemon.tls, more=wrong)[0] == 6
        assert daemon.stop() == 0

        named = own.sign("elsewhere", "serverAuth", "DNS:elsewhere.example")
        daemon = Guarded(folder, tls=(*named, own.path))
        daemon.keep([daemon.new_token("anna", 'roles = ["reader"]')])
        daemon.start()
        code, out, err = daemon.by("anna", "status", server=daemon.tls, more=tls)
        assert code == 6, (code, out, err)
        assert daemon.stop() == 0


def what_expires_is_told_before_and_after():
    with Folder() as folder:
        own = certificates.Authority(os.path.join(folder, "own"))
        now = time.time()
        for seconds, word in ((20 * 86400, ""), (5 * 86400, "expires at 20"),
                              (-60, "expired at 20")):
            end = int(now + seconds)
            pair = own.sign("server", "serverAuth", "IP:127.0.0.1",
                            end=time.strftime("%Y%m%d%H%M%SZ", time.gmtime(end)))
            port = free_port()
            daemon = Guarded(folder, f'[metrics]\nlisten = "127.0.0.1:{port}"\n',
                             tls=(*pair, own.path)).start()
            figures = values_of(metrics_of(port))
            name = 'plumblane_certificate_end_timestamp_seconds{setting="%s"}'
            assert figures[name % "tls.certificate"] == end, figures
            assert figures[name % "tls.client_ca"] > now + 3649 * 86400, figures
            assert daemon.stop() == 0
            said = [line for line in daemon.read_log().splitlines() if "tls." in line]
            assert len(said) == bool(word) and all(
                "tls.certificate: " + word in line for line in said), said
            os.remove(os.path.join(folder, "log"))


def tokens_and_roles_hold_over_the_wire():
    with Folder() as folder:
        daemon = Guarded(folder)
        tables = [daemon.new_token("reader", 'roles = ["reader"]'),
                  daemon.new_token("buyer", 'roles = ["buyer"]'),
                  daemon.new_token("feed", 'roles = ["sender"]\nsources = ["harbour"]'),
                  daemon.new_token("any", 'roles = ["sender"]')]
        daemon.keep(tables)
        daemon.start()
        harbour = os.path.join(SAMPLE, "harbour.ndjson")
        code, out, err = daemon.by("", "status")
        assert code == 1 and "does not let you in" in err and "--token-file" in err, err
        code, out, err = daemon.by("reader", "send", harbour)
        assert code == 1 and "sender or operator" in err and "nothing was sent" in err, err
        code, out, err = daemon.by("feed", "send", "--source", "other",
                                   os.path.join(SAMPLE, "meadow.csv"))
        assert code != 0 and 'may not send events of source' in err, (code, err)
        code, out, err = daemon.by("any", "send", harbour)
        assert code == 0, err
        code, out, err = daemon.by("any", "suppliers")
        assert code == 1 and "reader" in err, err
        assert daemon.by("reader", "suppliers")[0] == 0
        code, out, err = daemon.by("reader", "pause", "lotus-works", "--reason", "x")
        assert code == 1 and "buyer or operator" in err, err
        assert daemon.by("buyer", "pause", "lotus-works", "--reason", "late")[0] == 0
        assert daemon.run("resume", "lotus-works", check=0)  # the socket is its user's own
        with open(os.path.join(daemon.data, "audit.ndjson")) as file:
            text = file.read()
        told = [(line["who"], line["action"].split("/")[2], line["outcome"])
                for line in map(json.loads, text.splitlines())]
        assert told == [("reader", "PauseSupplier", "REFUSED"), ("buyer", "PauseSupplier", "OK"),
                        ("local", "ResumeSupplier", "OK")], told
        for name in daemon.tokens:
            assert daemon.secret(name) not in text + daemon.read_log()
        assert daemon.stop() == 0


def who_is_revoked_is_cut_off():
    with Folder() as folder:
        own = certificates.Authority(os.path.join(folder, "own"))
        pair = own.sign("client")
        daemon = Guarded(folder, tls=(*own.sign("server", "serverAuth", "IP:127.0.0.1"), own.path))
        anna = daemon.new_token("anna", 'roles = ["reader"]')
        bert = daemon.new_token("bert", 'roles = ["reader"]')
        daemon.keep([anna, bert])
        daemon.start()
        tls = ["--tls-ca", own.path, "--tls-cert", pair[0], "--tls-key", pair[1]]
        watch = {name: subprocess.Popen(
            [os.path.join(BIN, "plumblane"), "--server", daemon.tls, "--token-file",
             daemon.tokens[name], *tls, "alerts", "watch"], stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True) for name in ("anna", "bert")}

        def is_let_in(name):
            return daemon.by(name, "status", server=daemon.tls, more=tls)[0] == 0

        def has_begun(name):
            return len(os.listdir(f"/proc/{watch[name].pid}/task")) > 1

        assert is_let_in("anna") and is_let_in("bert")
        assert wait_for(lambda: has_begun("anna") and has_begun("bert"))
        time.sleep(0.5)  # so that both are in the middle of their calls
        assert watch["anna"].poll() is None and watch["bert"].poll() is None
        daemon.reload([bert])
        assert watch["anna"].wait(timeout=20) == 1, watch["anna"].stderr.read()
        assert not is_let_in("anna") and is_let_in("bert")
        assert watch["bert"].poll() is None, "the control was cut, too"
        daemon.reload([bert, f'[certificates]\nrefused = ["{certificates.fingerprint(pair[0])}"]'])
        assert not is_let_in("bert")
        watch["bert"].kill()
        watch["bert"].wait()
        daemon.keep(["nonsense"])
        daemon.process.send_signal(signal.SIGHUP)
        assert wait_for(lambda: "stay as they were" in daemon.read_log())
        assert daemon.by("bert", "status")[0] == 0  # on loopback, where there is no certificate
        for process in watch.values():
            process.stdout.close()
            process.stderr.close()
        assert daemon.stop() == 0


def memory_of(daemon):
    with open(f"/proc/{daemon.process.pid}/status") as file:
        return next(int(line.split()[1]) for line in file if line.startswith("VmRSS")) * 1024


def needs_its_own_memory(test):
    def run():
        return ("with sanitizers memory is not the daemon's alone"
                if os.environ.get("PLUMBLANE_SANITIZED") else test())
    run.__name__ = test.__name__
    return run


LARGEST = 8 * MEBIBYTE


def padded(size):
    """An unknown field that fills a request to so many bytes, of a mebibyte or more."""
    inner = size - 6
    varint = bytes((inner >> shift) % 128 + 128 for shift in (0, 7, 14))
    return b"\xfa\x01" + varint + bytes([inner >> 21]) + bytes(inner)


def what_is_too_large_leaves_nothing_behind():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        assert h2.call(daemon.address, STATUS, padded(LARGEST + 1)) == RESOURCE_EXHAUSTED
        before = memory_of(daemon)
        for _ in range(20):
            assert h2.call(daemon.address, STATUS, padded(LARGEST + 1)) == RESOURCE_EXHAUSTED
        # The last one is given back a moment after its answer, and the allocator keeps what is free
        # for some more: up to 12 MiB at first, less than nothing after a second.
        steps = []

        def not_even_one_is_left():
            steps.append(memory_of(daemon) - before)
            return steps[-1] < LARGEST
        assert wait_for(not_even_one_is_left), steps
        print(f"  20 messages that are too large: {steps[-1] / MEBIBYTE:+.1f} MiB")
        assert daemon.stop() == 0


def what_is_too_large_is_refused():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        assert h2.call(daemon.address, STATUS, padded(4 * MEBIBYTE)) == OK
        assert h2.call(daemon.address, STATUS, padded(LARGEST - 1)) == OK
        assert h2.call(daemon.address, STATUS, padded(LARGEST + 1)) == RESOURCE_EXHAUSTED
        assert h2.call(daemon.address, STATUS, b"", extra=[("x", "y" * 5000)]) == OK
        # It may close the connection while the rest is still being written.
        got = h2.call(daemon.address, STATUS, b"", extra=[("x", "y" * 9000)])
        assert got == RESOURCE_EXHAUSTED or str(got).startswith("broken"), got

        # A receipt names what is wrong with each of a thousand; a batch of more has none.
        assert h2.call(daemon.address, INGEST, b"\x12\x00" * 1000) == OK
        assert h2.call(daemon.address, INGEST, b"\x12\x00" * 1001) == RESOURCE_EXHAUSTED
        assert daemon.stop() == 0


def all_that_is_on_its_way_in_takes_no_more_memory_than_agreed():
    """The library takes a message in whole before it looks at its length, so that one that is far too
    large is parked as far as the limit of memory goes."""
    def parked(limit):
        with Folder() as folder:
            path = os.path.join(folder, "settings.toml")
            with open(path, "w") as out:
                out.write(f"[limits]\nmemory_mib = {limit}\n")
            daemon = Daemon(folder, "--config", path).start()
            before = memory_of(daemon)
            connection = h2.Connection(daemon.address)
            connection.read()
            connection.open(1, STATUS)
            size = 300 * MEBIBYTE
            try:
                connection.write(1, b"\x00" + size.to_bytes(4, "big") + bytes(size - 1000), timeout=3)
            except OSError:
                pass  # it was cut
            grown = memory_of(daemon) - before
            assert h2.call(daemon.address, STATUS, b"") == OK  # others are served
            connection.close()
            daemon.kill()
            return grown / MEBIBYTE

    kept, control = parked(64), parked(1024)
    assert kept < 128, f"{kept:.0f} MiB"
    assert control > 200, f"the control parked {control:.0f} MiB only: the test shows nothing"


def a_reader_of_receipts_that_does_not_read_parks_little_and_holds_up_nobody():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        batch = h2.message(b"\x12\x00" * 1000 + b"\xfa\x01\x80\x80\x04" + bytes(65536))
        wanted = batch * 60  # 4 MB

        def parked(window):
            connection = h2.Connection(daemon.address, window=window)
            connection.read()
            if window:  # reads all it is sent
                connection.send(h2.frame(h2.WINDOW, 0, 0, (1 << 30).to_bytes(4, "big")))
            connection.open(1, INGEST)
            return connection, connection.write(1, wanted, timeout=60 if window else 4)

        before = memory_of(daemon)
        stuck = [parked(window=0) for _ in range(4)]
        most = max(sent for _, sent in stuck)
        # Sixteen batches, and what the connection holds.
        assert most < 1.5 * MEBIBYTE, f"{most} bytes were taken of who reads nothing"
        assert memory_of(daemon) - before < 4 * 1.5 * MEBIBYTE + 16 * MEBIBYTE, memory_of(daemon)
        reader, sent = parked(window=(1 << 31) - 1)
        assert sent == len(wanted), f"the control got only {sent} bytes through"
        # Others go on as ever beside them.
        daemon.run("send", os.path.join(SAMPLE, "harbour.ndjson"), check=0)
        for connection, _ in [*stuck, (reader, 0)]:
            connection.close()
        assert daemon.stop() == 0


def a_client_that_sends_more_than_agreed_is_slowed_and_loses_nothing():
    with Folder() as folder:
        daemon = Guarded(folder, more="[limits]\nevents_per_second = 2000\n")
        daemon.keep([daemon.new_token("feed", 'roles = ["sender"]')])
        daemon.start()
        path = os.path.join(SAMPLE, "carriers.ndjson")
        with open(path) as file:
            lines = sum(1 for _ in file)
        begun = time.monotonic()
        code, out, err = daemon.by("feed", "send", path, "--json")
        took = time.monotonic() - begun
        assert code == 0, (code, err)
        told = json.loads(out)["files"][0]
        assert int(told["takenCount"]) + int(told["repeatCount"]) == lines, (told, lines)
        # What it owes when the last batch comes is let go: 500 events, and the first second's.
        assert took > (lines - 2000 - 500) / 2000 > 1, f"{lines} events in {took:.2f} s"
        assert "more events a second than it may; go on in" in err, err
        assert daemon.stop() == 0
    with Folder() as folder:  # control: who may send as it likes is not slowed
        daemon = Daemon(folder).start()
        assert "more events a second" not in daemon.run("send", path, check=0)[2]
        assert daemon.stop() == 0


def a_send_goes_on_when_the_daemon_comes_back():
    with Folder() as folder:
        path = os.path.join(folder, "events.ndjson")
        count = 0
        with open(path, "w") as out, open(os.path.join(SAMPLE, "carriers.ndjson")) as file:
            text = file.read()
            for copy in range(20):
                part = text.replace('"harbour"', f'"h{copy}"').replace('"meadow"', f'"m{copy}"')
                count += out.write(part) and part.count("\n")
        daemon = Daemon(folder).start()

        def written():
            store = os.path.join(daemon.data, "store")
            return sum(os.path.getsize(os.path.join(store, name)) for name in os.listdir(store)
                       if name.endswith(".log"))

        went_on = 0
        for _ in range(3):
            sender = subprocess.Popen(
                [os.path.join(BIN, "plumblane"), "--server", daemon.address, "send", "--json", path],
                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            begun = written()
            assert wait_for(lambda: written() > begun + MEBIBYTE or sender.poll() is not None)
            daemon.kill()
            daemon.start()
            out, err = sender.communicate(timeout=120)
            if "goes on from line" not in err:
                continue  # it was done, or had not begun
            went_on += 1
            assert sender.returncode == 0, (sender.returncode, err)
            told = json.loads(out)["files"][0]
            assert int(told["takenCount"]) + int(told["repeatCount"]) == count, told
        assert went_on > 0, "no kill came in the middle of a send: the test shows nothing"
        assert int(daemon.ask("send", path)["files"][0]["repeatCount"]) == count
        assert daemon.stop() == 0
        daemon.dump()
        # Control: with no patience a break ends it.
        daemon.start()
        daemon.stop()
        code = daemon.run("send", "--retry-for", "0", path)[0]
        assert code == 6, code


if __name__ == "__main__":
    main([a_daemon_does_not_listen_to_other_machines_unguarded,
          a_client_shows_no_token_in_plain_sight,
          only_good_certificates_get_through_the_handshake,
          what_expires_is_told_before_and_after,
          tokens_and_roles_hold_over_the_wire,
          who_is_revoked_is_cut_off,
          what_is_too_large_is_refused,
          *map(needs_its_own_memory, [
              what_is_too_large_leaves_nothing_behind,
              all_that_is_on_its_way_in_takes_no_more_memory_than_agreed,
              a_reader_of_receipts_that_does_not_read_parks_little_and_holds_up_nobody]),
          a_client_that_sends_more_than_agreed_is_slowed_and_loses_nothing,
          a_send_goes_on_when_the_daemon_comes_back])
