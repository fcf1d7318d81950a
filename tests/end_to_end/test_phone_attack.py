"""The phone page against clients that are slow, many or hostile. What is measured: whether the thread that publishes keeps its
pace, and whether a good phone still gets its figures and can press its buttons."""
import os
import pathlib
import socket
import threading
import time

from phone_probe import Phone, Probe, drip, hostile, never_reads, status, until

program = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "bin" / "share_probe"


def too_many():
    with Probe(program) as probe:
        phones = [Phone(probe, source=f"127.0.0.{2 + i}") for i in range(8)]
        until(lambda: all(phone.snapshots for phone in phones))
        answer = probe.get(probe.path + "/events", source="127.0.0.20")
        assert status(answer) == 503 and b"Close the page" in answer, answer
        assert status(probe.get(probe.path, source="127.0.0.20")) == 200
        phones[0].close()
        until(lambda: probe.ask("gaps")["phones"] == 7)
        late = Phone(probe, source="127.0.0.20")
        until(lambda: late.snapshots)
        assert len(set(tuple(phone.numbers()) for phone in phones)) == 1
        rate = [len(phone.snapshots) for phone in phones[1:]]
        time.sleep(1.0)
        rate = [len(phone.snapshots) - before for phone, before in zip(phones[1:], rate)]
        assert all(9 <= one <= 20 for one in rate), rate
        print("eight phones get", rate, "snapshots a second")


def time_until_let_go(probe, first, taken):
    with probe.connect(source="127.0.0.2") as one:
        begun = time.monotonic()
        try:
            one.sendall(first)
            one.settimeout(0.2)
            while time.monotonic() - begun < 10:
                try:
                    if not one.recv(4096):
                        break
                except socket.timeout:
                    one.sendall(b"s" if first[:3] == b"GET" else b"")
        except ConnectionError:
            pass
        taken[first] = time.monotonic() - begun


def slow_ones_are_let_go():
    """A request has three seconds, however its bytes come; a phone that takes nothing has four."""
    with Probe(program) as probe:
        taken = {}
        firsts = [b"", b"GET /", f"POST {probe.path}/ask HTTP/1.1\r\nHost: {probe.host}\r\nContent-Length: 4\r\n\r\ns".encode()]
        slow = [threading.Thread(target=time_until_let_go, args=(probe, first, taken)) for first in firsts]
        for one in slow:
            one.start()
        one = probe.connect()
        one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        one.sendall(f"GET {probe.path}/events HTTP/1.1\r\nHost: {probe.host}\r\n\r\n".encode())
        until(lambda: probe.ask("gaps")["phones"] == 1)
        until(lambda: probe.ask("gaps")["phones"] == 0, seconds=15)
        one.close()
        for one in slow:
            one.join()
        assert len(taken) == 3 and all(2.5 < took < 4.5 for took in taken.values()), taken


def flood(probe, stop, per_second=200):
    due = time.monotonic()
    while not stop.is_set():
        due += 1.0 / per_second
        try:
            probe.exchange(f"GET {probe.path} HTTP/1.1\r\nHost: {probe.host}\r\n\r\n".encode(), source="127.0.2.1", timeout=1.0)
        except OSError:
            pass
        stop.wait(max(0.0, due - time.monotonic()))


def under_attack(seconds=4.0):
    with Probe(program) as probe:
        assert status(probe.get(probe.path, source="127.0.0.2")) == 200
        phone = Phone(probe, source="127.0.0.2")
        time.sleep(0.3)
        probe.ask("gaps")
        time.sleep(seconds)
        calm = probe.ask("gaps")
        calm_count, before = len(phone.snapshots), probe.threads_and_files()
        stop = threading.Event()
        clients = [threading.Thread(target=drip, args=(probe, stop, f"127.0.3.{i % 10 + 1}", probe.path)) for i in range(50)]
        clients += [threading.Thread(target=never_reads, args=(probe, stop, f"127.0.4.{i + 1}")) for i in range(5)]
        clients += [threading.Thread(target=hostile, args=(probe, stop, seed)) for seed in range(2)]
        clients += [threading.Thread(target=flood, args=(probe, stop))]
        for one in clients:
            one.start()
        time.sleep(0.5)
        probe.ask("gaps")
        begun, spent = time.monotonic(), probe.cpu_s()
        at_begin = len(phone.snapshots)
        answered = asked = 0
        while time.monotonic() - begun < seconds:
            asked += 1
            answered += status(probe.post("mark", source="127.0.0.2")) == 204
            probe.ask("requests")
            time.sleep(0.3)
        attacked = probe.ask("gaps")
        lasted = time.monotonic() - begun
        spent = (probe.cpu_s() - spent) / lasted
        got = phone.at_s[at_begin:]
        longest = max(b - a for a, b in zip(got, got[1:]))
        oldest = max(phone.ages_s[at_begin:])
        probe.ask("tell 2")
        until(lambda: phone.numbers()[-2:] == [1, 2])
        stop.set()
        for one in clients:
            one.join(timeout=30)
        print(f"between snapshots at most {calm['gap_ms']:.1f} ms calm, {attacked['gap_ms']:.1f} ms under attack; publish() took at most "
              f"{calm['call_ms']:.2f} and {attacked['call_ms']:.2f} ms")
        print(f"the good phone got {calm_count / seconds:.1f} a second calm, {len(got) / lasted:.1f} under attack, longest pause "
              f"{1000 * longest:.0f} ms, oldest figure {1000 * oldest:.0f} ms; {answered} of {asked} presses arrived; "
              f"{100 * spent:.0f} % of a core")
        assert attacked["gap_ms"] < calm["gap_ms"] + 20, (calm, attacked)
        assert len(got) / lasted > 8 and longest < 1.0, (len(got), longest)
        assert answered >= 0.9 * asked, (answered, asked)
        # all is as before once they are gone
        until(lambda: probe.threads_and_files()[1] <= before[1] and probe.ask("gaps")["phones"] == 1, seconds=12)
        assert probe.threads_and_files()[0] == before[0]
        assert probe.close() < 3.0


def measured_anew(attempts=3):
    """The machine may be busy with something else: what the attack does it does every time."""
    for attempt in range(attempts):
        try:
            return under_attack()
        except AssertionError as fault:
            if attempt + 1 == attempts:
                raise
            print("measured again:", fault)


too_many()
slow_ones_are_let_go()
measured_anew()
print("the phone page holds out")
