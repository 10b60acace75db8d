"""Money under way, how much depends on whom, who is silent, and what was charged beside what was
quoted: what the daemon answers is what the naive model counts order by order.

Asked over the wire itself, as any program may that is not the client: the call is a frame of
HTTP/2 and one of its body, the answer is read by field number (plumblane/v1/sourcing.proto).
"""
import os
import socket
import struct
import sys
from pathlib import Path

from harness import Daemon, Folder, ROOT, SAMPLE, main, send_season
from sourcing_test import load_agreements

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
import sourcing                      # noqa: E402  (of the naive model, by the path above)
from agreements import converted     # noqa: E402
from days import day_of              # noqa: E402

RELATIVE = 1e-9


# ---- one call ----------------------------------------------------------------------------------

DATA, HEADERS, SETTINGS, PING = 0, 1, 4, 6
END_STREAM, ACK, END_HEADERS = 1, 1, 4


def frame(kind, flags, stream, body):
    return struct.pack(">I", len(body))[1:] + struct.pack(">BBI", kind, flags, stream) + body


def literal(name, value):
    return b"\0" + b"".join(bytes([len(text)]) + text.encode() for text in (name, value))


def call(path, method, request=b""):
    """The answer of a gRPC method on a Unix socket."""
    headers = b"".join(literal(*pair) for pair in (
        (":method", "POST"), (":scheme", "http"), (":path", method), (":authority", "localhost"),
        ("content-type", "application/grpc"), ("te", "trailers")))
    message = b"\0" + struct.pack(">I", len(request)) + request
    answer = b""
    with socket.socket(socket.AF_UNIX) as line:
        line.settimeout(60)
        line.connect(path)
        line.sendall(b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + frame(SETTINGS, 0, 0, b"")
                     + frame(HEADERS, END_HEADERS, 1, headers)
                     + frame(DATA, END_STREAM, 1, message))
        stream = line.makefile("rb")
        while True:
            head = stream.read(9)
            assert len(head) == 9, "the daemon hung up"
            kind, flags, of = struct.unpack(">BBI", head[3:])
            body = stream.read(int.from_bytes(head[:3], "big"))
            if kind in (SETTINGS, PING) and not flags & ACK:
                line.sendall(frame(kind, ACK, 0, body if kind == PING else b""))
            if kind == DATA:
                answer += body
            if of == 1 and kind in (DATA, HEADERS) and flags & END_STREAM:
                break
    assert len(answer) >= 5, f"{method} was refused"
    return answer[5:]


def fields(message):
    """By number: whole numbers, doubles or bytes, in their order."""
    found, at = {}, 0

    def varint():
        nonlocal at
        value = shift = 0
        while True:
            byte = message[at]
            at += 1
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return value if value < 1 << 63 else value - (1 << 64)

    while at < len(message):
        tag = varint()
        if tag & 7 == 0:
            value = varint()
        elif tag & 7 == 1:
            (value,) = struct.unpack("<d", message[at:at + 8])
            at += 8
        else:
            size = varint()
            value, at = message[at:at + size], at + size
        found.setdefault(tag >> 3, []).append(value)
    return found


def one(found, number, otherwise=None):
    return found.get(number, [otherwise])[0]


def sums(messages):
    read = [fields(message) for message in messages]
    return {one(money, 2).decode(): one(money, 1, 0) for money in read}


# ---- tests -------------------------------------------------------------------------------------

def close(ours, theirs):
    if ours is None or theirs is None:
        return ours is theirs
    return abs(ours - theirs) <= RELATIVE * max(1.0, abs(theirs))


def in_one_currency(known, paid, day):
    return sum(converted(known.agreed, amount, currency, "EUR", day)
               for currency, amount in paid.items())


def compare(socket_path, known, quoted):
    """What the daemon says, less what the model counts."""
    now = known.latest()
    answer = fields(call(socket_path, "/plumblane.v1.Sourcing/GetRisk"))
    theirs = sourcing.risks(known, now, quotes_loaded_first=quoted)
    orders = sum(risk.order_count for risk in theirs.values())
    money = {name: in_one_currency(known, risk.paid, day_of(now))
             for name, risk in theirs.items()}
    ours = {one(each, 1).decode(): each for each in map(fields, answer[1])}
    found = []

    def check(what, said, counted):
        same = close(said, counted) if isinstance(counted, float) else said == counted
        if not same:
            found.append(f"{what}: {said}, expected {counted}")

    check("suppliers", sorted(ours), sorted(theirs))
    for name, risk in theirs.items():
        said = ours.get(name, {})
        check(f"{name} under way", one(said, 2, 0), risk.underway)
        check(f"{name} exposure", sums(said.get(3, [])), risk.exposure)
        check(f"{name} orders", one(said, 4, 0), risk.order_count)
        check(f"{name} paid", sums(said.get(5, [])), risk.paid)
        check(f"{name} share of orders", one(said, 6, 0.0), risk.order_count / orders)
        check(f"{name} share of money", one(said, 7), money[name] / sum(money.values()))
        check(f"{name} silent", one(said, 9), sourcing.silent_days(risk, now))
        charged = {}
        for message in said.get(10, []):
            each = fields(message)
            charged[one(each, 1).decode()] = [one(each, number, 0) for number in (2, 3, 4)]
        check(f"{name} charged", charged, risk.charged)
    check("concentration of orders", one(answer, 2), sourcing.concentration(
        [risk.order_count for risk in theirs.values()]))
    check("concentration of money", one(answer, 3), sourcing.concentration(list(money.values())))
    check("currency", one(answer, 4, b""), b"EUR")
    return found


def run(quotes_first):
    known = sourcing.read_season(Path(SAMPLE))
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            if quotes_first:
                load_agreements(daemon)
            send_season(daemon)
            if not quotes_first:
                load_agreements(daemon)
            found = compare(daemon.socket, known, quotes_first)
            daemon.run("record", "7001", "paid", "--shop", "harbour", "--supplier",
                       "copper-ferry", "--lane", "TR-DE", "--cost", "12.00", "--currency", "EUR",
                       "--time", "2026-09-30T12:00:00Z", check=0)
            more = compare(daemon.socket, known, quotes_first)
            assert not found, "\n".join(found[:40])
            assert any(one.startswith("copper-ferry orders") for one in more), more    # control
        finally:
            daemon.stop()


def what_is_at_risk_is_what_orders_one_by_one_say():
    run(quotes_first=False)


def charges_stand_beside_what_was_quoted_when_they_were_paid():
    run(quotes_first=True)


if __name__ == "__main__":
    main([what_is_at_risk_is_what_orders_one_by_one_say,
          charges_stand_beside_what_was_quoted_when_they_were_paid])
