"""Runs share_probe, a phone page with made-up figures, and speaks HTTP with it by hand: what a library would tidy up is
what these tests are about."""
import json
import random
import socket
import struct
import subprocess
import threading
import time


class Served:
    """A page somewhere, by its address."""

    def __init__(self, url):
        self.url = url
        self.host, self.path = url[len("http://"):].split("/", 1)
        self.path = "/" + self.path
        self.port = int(self.host.split(":")[1])

    def connect(self, source="127.0.0.1", timeout=5.0):
        return socket.create_connection(("127.0.0.1", self.port), timeout=timeout, source_address=(source, 0))

    def exchange(self, data, source="127.0.0.1", timeout=6.0):
        """Sends bytes and reads to the end; b"" when the other side just closed."""
        with self.connect(source, timeout) as one:
            got = b""
            try:
                one.sendall(data)
                while part := one.recv(65536):
                    got += part
            except (ConnectionError, socket.timeout):
                pass
            return got

    def get(self, path, headers="", source="127.0.0.1", host=None):
        return self.exchange(f"GET {path} HTTP/1.1\r\nHost: {host or self.host}\r\n{headers}\r\n".encode(), source)

    def post(self, word, headers="X-Hushtrace: ask\r\n", source="127.0.0.1", path=None):
        body = word if isinstance(word, bytes) else word.encode()
        head = f"POST {path or self.path + '/ask'} HTTP/1.1\r\nHost: {self.host}\r\n{headers}Content-Length: {len(body)}\r\n\r\n"
        return self.exchange(head.encode() + body, source)


class Probe(Served):
    """The program that serves. `ask` sends it a command and gives its answer."""

    def __init__(self, program, *words):
        self.process = subprocess.Popen([program, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        super().__init__(self.process.stdout.readline().strip())

    def ask(self, command):
        self.process.stdin.write(command + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def threads_and_files(self):
        of_itself = self.ask("self")
        return of_itself["threads"], of_itself["files"]

    def cpu_s(self):
        return self.ask("self")["cpu_s"]

    def close(self):
        """Ends it; gives how long that took [s]."""
        begun = time.monotonic()
        if self.process.poll() is None:
            self.process.stdin.write("close\n")
            self.process.stdin.close()
        code = self.process.wait(timeout=20)
        assert code == 0, code
        return time.monotonic() - begun

    def __enter__(self):
        return self

    def __exit__(self, kind, value, trace):
        if kind is None:
            self.close()
        else:
            self.process.kill()
            self.process.wait()


class Network:
    """Between a browser and a page: another loopback address with the same port, whose connections can be cut and refused. It puts the
    page's own address into what passes, as there would be no other on a real way."""

    def __init__(self, probe, address="127.0.0.5"):
        self.address, self.probe, self.up, self.open = address.encode(), probe, True, set()
        self.listening = socket.create_server((address, probe.port))
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self):
        while True:
            one, _ = self.listening.accept()
            if not self.up:
                one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))    # a reset, not an end
                one.close()
                continue
            other = self.probe.connect(timeout=None)
            self.open |= {one, other}
            threading.Thread(target=self._pass, args=(one, other, True), daemon=True).start()
            threading.Thread(target=self._pass, args=(other, one, False), daemon=True).start()

    def _pass(self, here, there, forth):
        try:
            while part := here.recv(65536):
                there.sendall(part.replace(self.address, b"127.0.0.1") if forth else part)
            there.shutdown(socket.SHUT_WR)
        except OSError:
            pass

    def cut(self):
        self.up = False
        for one in self.open:
            try:
                one.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
        self.open.clear()


def status(answer):
    return int(answer.split(b" ", 2)[1]) if answer.startswith(b"HTTP/1.1 ") else None


class Phone:
    """A good client: reads the events as they come, on a thread of its own."""

    def __init__(self, probe, after=None, source="127.0.0.1", query=None):
        self.events, self.snapshots, self.other, self.ages_s, self.at_s = [], [], [], [], []
        self.socket = probe.connect(source, timeout=5.0)
        last = f"Last-Event-ID: {after}\r\n" if after is not None else ""
        target = probe.path + "/events" + (f"?after={query}" if query is not None else "")
        self.socket.sendall(f"GET {target} HTTP/1.1\r\nHost: {probe.host}\r\nAccept: text/event-stream\r\n{last}\r\n".encode())
        self.head = b""
        while b"\r\n\r\n" not in self.head:
            part = self.socket.recv(1)
            if not part:
                break
            self.head += part
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self._read, daemon=True)
        self.thread.start()

    def _chunks(self):
        file = self.socket.makefile("rb")
        while line := file.readline():
            size = int(line, 16)
            if size == 0:
                return
            yield file.read(size)
            file.read(2)

    def _read(self):
        text = ""
        try:
            for chunk in self._chunks():
                text += chunk.decode()
                while "\n\n" in text:
                    one, text = text.split("\n\n", 1)
                    self._take(dict(line.split(": ", 1) for line in one.split("\n")))
        except (OSError, ValueError):
            pass
        self.ended.set()

    def _take(self, fields):
        now = time.monotonic()
        kind = fields.get("event")
        if kind == "event":
            content = json.loads(fields["data"])
            assert int(fields["id"]) == content["number"]
            self.events.append(content)
        elif kind == "snapshot":
            content = json.loads(fields["data"])
            self.snapshots.append(content)
            self.at_s.append(now)
            self.ages_s.append(now - content["time_s"])
        else:
            self.other.append(kind or "retry")

    def numbers(self):
        return [event["number"] for event in self.events]

    def close(self):
        try:
            self.socket.shutdown(socket.SHUT_RDWR)
        except OSError:
            pass
        self.socket.close()
        self.thread.join(timeout=5)


def until(true, seconds=5.0):
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            raise AssertionError("waited in vain")
        time.sleep(0.01)


# Clients that mean no good; each on a thread of its own until `stop` is set.
def keep(action, stop):
    while not stop.is_set():
        try:
            action()
        except OSError:
            pass


def drip(probe, stop, source, path):
    """Sends one byte a second, for ever."""
    def once():
        with probe.connect(source) as one:
            for byte in f"GET {path} HTTP/1.1\r\nHost: {probe.host}\r\nX: {'a' * 1000}".encode():
                one.sendall(bytes([byte]))
                if stop.wait(1.0):
                    return
    keep(once, stop)


def never_reads(probe, stop, source):
    """A phone that asks for events and reads none of them."""
    def once():
        with probe.connect(source) as one:
            one.sendall(f"GET {probe.path}/events HTTP/1.1\r\nHost: {probe.host}\r\n\r\n".encode())
            stop.wait(20.0)
    keep(once, stop)


def hostile(probe, stop, seed):
    dice = random.Random(seed)
    host, path = probe.host, probe.path

    def once():
        source = f"127.0.1.{dice.randrange(1, 250)}"
        kind = dice.randrange(9)
        if kind == 0:
            data = f"GET {path} HTTP/1.1\r\nHost: {host}\r\nX: {'a' * 200000}\r\n\r\n".encode()
        elif kind == 1:
            data = f"GET {path} HTTP/1.1\r\nHost: {host}\r\n".encode() + b"A: b\r\n" * 30000
        elif kind == 2:
            data = f"POST {path}/ask HTTP/1.1\r\nHost: {host}\r\nX-Hushtrace: ask\r\nContent-Length: 100000000\r\n\r\n".encode() + b"s" * 300000
        elif kind == 3:
            data = dice.randbytes(dice.randrange(1, 5000))
        elif kind == 4:
            data = b""
        elif kind == 5:
            data = f"GET /{''.join(dice.choice('ABCDEFG234567') for _ in range(26))} HTTP/1.1\r\nHost: {host}\r\n\r\n".encode()
        elif kind == 6:
            data = f"POST {path}/ask HTTP/1.1\r\nHost: {host}\r\nTransfer-Encoding: chunked\r\n\r\nffffffff\r\n".encode()
        elif kind == 7:
            data = f"GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n".encode() * 50
        else:
            data = b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + dice.randbytes(500)     # a TLS hello
        with probe.connect(source, timeout=0.5) as one:
            one.sendall(data)
            if dice.randrange(2):
                one.shutdown(1)
            if dice.randrange(2):
                one.recv(100)
    keep(once, stop)
