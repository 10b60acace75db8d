"""Speaks HTTP/2 frame by frame, well or badly, as no library would.

Answers are looked at as far as a test needs: a frame's kind, and the status of the first call of a
connection, whose trailers stand there in plain letters.
"""
import socket
import ssl
import struct
import time

DATA, HEADERS, RST, SETTINGS, PING, GOAWAY, WINDOW = 0, 1, 3, 4, 6, 7, 8
END_STREAM, END_HEADERS, ACK = 1, 4, 1
PREFACE = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"


def frame(kind, flags, stream, payload=b""):
    return struct.pack(">I", len(payload))[1:] + struct.pack(">BBI", kind, flags, stream) + payload


def literal(text):
    """An HPACK string of any length, not compressed."""
    data = text if isinstance(text, bytes) else text.encode()
    if len(data) < 127:
        return bytes([len(data)]) + data
    rest, size = len(data) - 127, b"\x7f"
    while rest >= 128:
        size += bytes([rest % 128 + 128])
        rest //= 128
    return size + bytes([rest]) + data


def header(name, value):
    return b"\x00" + literal(name) + literal(value)


def message(payload):
    """A message of gRPC: not compressed, its length, itself."""
    return b"\x00" + struct.pack(">I", len(payload)) + payload


def connect(address, context=None, timeout=20):
    """A plain or TLS connection to "unix:PATH", "HOST:PORT" or "tls:HOST:PORT"."""
    if address.startswith("unix:"):
        raw = socket.socket(socket.AF_UNIX)
        raw.settimeout(timeout)
        raw.connect(address[5:])
        return raw
    host, port = address.removeprefix("tls:").rsplit(":", 1)
    raw = socket.create_connection((host, int(port)), timeout=timeout)
    raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return raw if context is None else context.wrap_socket(raw)


class Connection:
    """A connection on which the daemon has been greeted; `window` is what each of its streams may
    send us before we grant more."""

    def __init__(self, address, context=None, window=65535, timeout=20):
        self.socket = connect(address, context, timeout)
        self.buffer = b""
        self.granted = {0: 65535}  # what we may send, by stream
        self.first_window = 65535
        settings = struct.pack(">HI", 4, window)
        self.send(PREFACE + frame(SETTINGS, 0, 0, settings))

    def send(self, data):
        self.socket.sendall(data)

    def close(self):
        self.socket.close()

    def read(self, timeout=20):
        """The next frame (kind, flags, stream, payload); None when the connection has ended, or
        nothing came in time. Takes windows note of, and answers settings and pings."""
        end = time.monotonic() + timeout
        while True:
            if len(self.buffer) >= 9:
                size = int.from_bytes(self.buffer[:3], "big")
                if len(self.buffer) >= 9 + size:
                    kind, flags, stream = struct.unpack(">BBI", self.buffer[3:9])
                    payload, self.buffer = self.buffer[9:9 + size], self.buffer[9 + size:]
                    self._note(kind, flags, stream, payload)
                    return kind, flags, stream, payload
            left = end - time.monotonic()
            if left <= 0:
                return None
            self.socket.settimeout(left)
            try:
                data = self.socket.recv(65536)
            except (TimeoutError, ConnectionError, ssl.SSLError):
                return None
            if not data:
                return None
            self.buffer += data

    def _note(self, kind, flags, stream, payload):
        if kind == WINDOW:
            grant = int.from_bytes(payload, "big")
            self.granted[stream] = self.granted.get(stream, self.first_window) + grant
        elif kind == SETTINGS and not flags & ACK:
            for i in range(0, len(payload), 6):
                key, value = struct.unpack(">HI", payload[i:i + 6])
                if key == 4:
                    self.first_window = value
            self.send(frame(SETTINGS, ACK, 0))
        elif kind == PING and not flags & ACK:
            self.send(frame(PING, ACK, 0, payload))

    def open(self, stream, path, token=None, extra=()):
        """Begins a call."""
        block = (header(":method", "POST") + header(":scheme", "http") + header(":path", path) +
                 header(":authority", "localhost") + header("te", "trailers") +
                 header("content-type", "application/grpc"))
        if token:
            block += header("authorization", "Bearer " + token)
        for name, value in extra:
            block += header(name, value)
        self.send(frame(HEADERS, END_HEADERS, stream, block))
        self.granted[stream] = self.first_window

    def write(self, stream, data, end=False, timeout=20):
        """Sends data as windows allow; how much went out before the daemon granted no more for so
        long."""
        sent, until = 0, time.monotonic() + timeout
        while sent < len(data):
            room = min(self.granted[0], self.granted[stream], 16384)
            if room <= 0:
                left = until - time.monotonic()
                if left <= 0:
                    return sent
                got = self.read(left)
                if got is None or (got[2] == stream and (got[0] == RST or (
                        got[0] == HEADERS and got[1] & END_STREAM))):
                    return sent
                continue
            piece = data[sent:sent + room]
            is_last = end and sent + len(piece) == len(data)
            self.send(frame(DATA, END_STREAM if is_last else 0, stream, piece))
            self.granted[0] -= len(piece)
            self.granted[stream] -= len(piece)
            sent += len(piece)
            until = time.monotonic() + timeout
        return sent

    def status(self, timeout=20):
        """The gRPC status of the first call that ends; None when the connection ends without."""
        end = time.monotonic() + timeout
        while time.monotonic() < end:
            got = self.read(end - time.monotonic())
            if got is None:
                return None
            at = got[3].find(b"grpc-status") if got[0] == HEADERS else -1
            if at >= 0:
                size = got[3][at + 11]
                return int(got[3][at + 12:at + 12 + size])
            if got[0] in (RST, GOAWAY) and got[3]:
                code = int.from_bytes(got[3][-4:] if got[0] == RST else got[3][4:8], "big")
                if code != 0:
                    return f"reset {code}"
        return None


def call(address, path, payload, token=None, context=None, extra=(), timeout=60):
    """One call on a connection of its own; its status."""
    connection = Connection(address, context, window=(1 << 31) - 1)
    try:
        if connection.read() is None:
            return None
        connection.send(frame(WINDOW, 0, 0, (1 << 30).to_bytes(4, "big")))
        connection.open(1, path, token, extra)
        connection.write(1, message(payload), end=True, timeout=timeout)
        return connection.status(timeout)
    except (ConnectionError, ssl.SSLError) as error:
        return f"broken: {error}"
    finally:
        connection.close()
