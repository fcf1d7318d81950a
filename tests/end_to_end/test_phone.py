"""The phone page against its rules and against lost connections, alone and beside a session of the whole program."""
import fcntl
import json
import os
import pathlib
import pty
import random
import re
import select
import shutil
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time

from phone_probe import Phone, Probe, Served, status, until

tool = sys.argv[1]
program = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "bin" / "share_probe"
assert program.exists(), f"{program} is not built"


def rules():
    with Probe(program) as probe:
        assert probe.url.startswith("http://127.0.0.1:"), probe.url
        assert re.fullmatch(r"/[A-Z2-7]{26}", probe.path), probe.path
        page = probe.get(probe.path)
        head, body = page.split(b"\r\n\r\n", 1)
        assert status(page) == 200
        policy = re.search(rb"Content-Security-Policy: (.*)\r\n", head).group(1).decode()
        assert "default-src 'none'" in policy and "unsafe" not in policy, policy
        nonce = re.search(r"script-src 'nonce-(\w+)'", policy).group(1)
        assert body.count(b"<script") == body.count(f'<script nonce="{nonce}"'.encode()) == 1
        assert probe.get(probe.path).split(b"nonce-")[1] != page.split(b"nonce-")[1], "the nonce is new each time"
        for line in (b"X-Content-Type-Options: nosniff", b"Referrer-Policy: no-referrer", b"Cache-Control: no-store",
                     b"X-Frame-Options: DENY"):
            assert line in head, line
        outside = set(re.findall(rb"(?:https?:)?//[a-z0-9.-]+\.[a-z]+", body))
        assert not outside, outside
        for newer in (b"?.", b"??", b"replaceAll", b"catch {", b"async ", b".flat("):
            assert newer not in body, f"{newer} is newer than what old phones know"
        assert status(probe.get(probe.path + "/")) == 200

        # whoever hasn't got the token learns nothing
        wrong = probe.path[:-1] + ("A" if probe.path[-1] != "A" else "B")
        for path in ("/", wrong, wrong + "/events", probe.path[:-1], probe.path + "A", "/" + probe.path, probe.path + "/x",
                     probe.path + "/ask", "/favicon.ico", probe.path + "/events/", "/..", "/" + "A" * 26):
            answer = probe.get(path)
            assert status(answer) == 404 and answer.endswith(b"\r\n\r\n"), (path, answer)
            time.sleep(0.03)
        assert status(probe.post("start", path=wrong + "/ask")) == 404
        assert status(probe.post("start", path=probe.path)) == 404
        # a foreign name that points here; a foreign page; a form
        assert status(probe.get(probe.path, host=f"evil.example:{probe.port}")) == 421
        assert status(probe.get(probe.path + "/events", "Sec-Fetch-Site: cross-site\r\n")) == 403
        assert status(probe.post("start", headers="")) == 403
        assert status(probe.post("start", "X-Hushtrace: ask\r\nOrigin: http://evil.example\r\n")) == 403
        time.sleep(1.0)     # the pace of one address
        for word in ("start", "stepped_up", "stepped_down", "mark", "keep", "arm", "reference", "stop"):
            assert status(probe.post(word, f"X-Hushtrace: ask\r\nOrigin: http://{probe.host}\r\n")) == 204, word
        assert probe.ask("requests") == ["start", "stepped_up", "stepped_down", "mark", "keep", "arm", "reference", "stop"]
        for word in ("", "Stop", "stop ", b"\xff\x00", "stopstop"):
            assert status(probe.post(word)) == 400, word
        assert status(probe.post("x" * 65)) == 413
        for count in range(64 + 5):
            for _ in range(50):
                answer = probe.post("mark", source=f"127.0.0.{10 + count // 10}")
                if b"Too many connections" not in answer:
                    break
                time.sleep(0.1)     # a busy machine has those before still open
            assert status(answer) == (204 if count < 64 else 503), (count, answer)
        assert len(probe.ask("requests")) == 64
        compressed = probe.get(probe.path, "Accept-Encoding: gzip, br\r\n", source="127.0.0.9")
        assert status(compressed) == 200 and len(compressed) < len(page)


def read_by_zbar(lines, ascii_style=False):
    """What zbar, another program's eyes, reads from the drawing; 8 pixels a field, as a camera might see it."""
    rows = []
    for line in lines:
        line = re.sub(r"\x1b\[[0-9;]*m", "", line)
        if ascii_style:
            rows.append([line[2 * i] == "#" for i in range(len(line) // 2)])
        else:
            rows += [[sign in "\u2588\u2580" for sign in line], [sign in "\u2588\u2584" for sign in line]]
    picture = "".join("\n".join([" ".join("0" if dark else "255" for dark in row for _ in range(8))] * 8) + "\n" for row in rows)
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "code.pgm"
        path.write_text(f"P2 {8 * len(rows[0])} {8 * len(rows)} 255\n{picture}", encoding="ascii")
        return subprocess.run(["zbarimg", "-q", "--raw", path], capture_output=True, text=True, timeout=20).stdout.strip()


def code():
    if not shutil.which("zbarimg"):
        print("no zbarimg here: the code to scan was not read")
        return
    with Probe(program) as probe:
        for style in ("ascii", "half_blocks", "coloured"):
            read = read_by_zbar(probe.ask("code " + style), style == "ascii")
            assert read == probe.url, (style, read)


def new_job(folder):
    job = pathlib.Path(folder) / "job"
    (job / "takes").mkdir(parents=True)
    (job / "job.json").write_text(json.dumps({"schema": "hushtrace.job/1", "title": "Van, sub"}))
    return job


LIVE = ["--simulate", "healthy", "--tone", "sine", "--level", "-20", "--meter", "--engine", "off", "--plain"]


def whole_program():
    """`gain --live --share` on the simulated vehicle: a phone turns its knob, marks, and ends it."""
    with tempfile.TemporaryDirectory() as folder:
        job = new_job(folder)
        for words, said in ((["--share", "9.9.9.9"], "no address of this computer"), (["--share", "a b"], "IPv4")):
            done = subprocess.run([tool, "gain", "--live", "--job", job, *LIVE, *words], stdin=subprocess.DEVNULL, capture_output=True,
                                  text=True, timeout=20)
            assert done.returncode == 2 and said in done.stderr and len(done.stderr.strip().splitlines()) == 1, done
        assert json.loads((job / "job.json").read_text()).get("takes", []) == []
        live = subprocess.Popen([tool, "gain", "--live", "--job", job, *LIVE, "--volume-start", "20", "--seconds", "30", "--share"],
                                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        probe = Served(next(line for line in live.stderr if line.startswith("Phone page: ")).split()[-1])
        threading.Thread(target=live.stderr.read, daemon=True).start()
        assert probe.host.startswith("127.0.0.1:"), probe.url
        phone = Phone(probe)
        until(lambda: phone.snapshots and phone.snapshots[-1]["time_s"] > 1.0)
        assert phone.snapshots[-1]["title"] == "Van, sub" and len(phone.snapshots[-1]["levels"]) == 2
        assert phone.snapshots[-1]["turns_volume"] and phone.snapshots[-1]["volume"] == 20
        before = phone.snapshots[-1]["levels"][0]["level_dbfs"]
        assert status(probe.post("stepped_up")) == 204
        until(lambda: phone.snapshots[-1]["volume"] == 21 and phone.snapshots[-1]["levels"][0]["level_dbfs"] > before + 0.5)
        assert status(probe.post("mark")) == 204
        until(lambda: "mark" in [event["kind"] for event in phone.events])
        assert status(probe.post("stop")) == 204
        assert live.wait(timeout=10) == 0
        assert phone.ended.wait(2) and phone.other[-1] == "closed", phone.other
        assert phone.snapshots[-1]["state"] == "ended" and phone.events[-1]["kind"] == "ended"
        takes = json.loads((job / "job.json").read_text())["takes"]
        assert len(takes) == 1 and [mark["text"] for mark in takes[0]["marks"]] == ["mark"], takes


def on_a_terminal():
    """The code that the terminal shows leads to the page, the measurement waits until a phone has come, and p shows it again."""
    with tempfile.TemporaryDirectory() as folder:
        ours, theirs = pty.openpty()
        fcntl.ioctl(ours, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
        env = {**os.environ, "TERM": "xterm-256color", "LC_ALL": "C.UTF-8", "NO_COLOR": ""}
        words = [word for word in LIVE if word != "--plain"] + ["--seconds", "30", "--share", "0.0.0.0"]
        live = subprocess.Popen([tool, "live", "--job", new_job(folder), *words], env=env, stdin=theirs, stdout=theirs, stderr=theirs,
                                start_new_session=True, preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0))
        os.close(theirs)

        def read_until(mark, seconds=10.0):
            shown, end = b"", time.monotonic() + seconds
            while mark not in shown:
                assert select.select([ours], [], [], max(0.0, end - time.monotonic()))[0], (mark, shown[-2000:])
                shown += os.read(ours, 65536)
            return shown.decode(errors="replace")
        text = read_until(b"the key p shows")
        assert "parked" in text and "press the page's buttons" in text, text
        lines = [line for line in text.splitlines() if line.startswith("\x1b[38;5;16;48;5;231m")]
        addresses_shown = re.findall(r"http://\S+", text)
        if shutil.which("zbarimg"):
            assert read_by_zbar(lines) == addresses_shown[0], addresses_shown
        time.sleep(1.5)
        assert live.poll() is None      # it waits
        probe = Served(next(one for one in addresses_shown if "//127.0.0.1:" in one))
        phone = Phone(probe)
        until(lambda: phone.snapshots)
        read_until(b"\x1b[?1049h")      # the view's own screen
        if probe.url != addresses_shown[0]:
            os.write(ours, b"p")
            read_until(addresses_shown[0][-12:].encode())
            os.write(ours, b"p")
        os.write(ours, b"q")
        reading = threading.Thread(target=drain, args=(ours,), daemon=True)
        reading.start()
        assert live.wait(timeout=15) == 0
        assert phone.ended.wait(2) and phone.snapshots[-1]["state"] == "ended"
        reading.join(timeout=2)
        os.close(ours)


def drain(handle):
    try:
        while os.read(handle, 65536):
            pass
    except OSError:
        pass


def addresses():
    """Loopback unless an address is named, and only one that is ours."""
    for words, said in ((["10.255.255.1"], "no address of this computer"), (["nonsense"], "IPv4"), (["127.0.0.1:99999"], "IPv4")):
        done = subprocess.run([program, *words], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=10)
        assert done.returncode == 2 and said in done.stderr and done.stderr.count("\n") == 1, done
    with Probe(program, "127.0.0.2:0") as probe:
        assert probe.url.startswith("http://127.0.0.2:")
        taken = subprocess.run([program, f"127.0.0.2:{probe.port}"], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=10)
        assert taken.returncode == 2 and "can't be had" in taken.stderr, taken
    with Probe(program, "0.0.0.0") as probe:
        assert status(probe.get(probe.path, host=f"127.0.0.1:{probe.port}")) == 200


def reconnecting():
    with Probe(program) as probe:
        probe.ask("tell 3")
        phone = Phone(probe)
        until(lambda: phone.numbers() == [1, 2, 3] and len(phone.snapshots) >= 5)
        phone.close()
        probe.ask("tell 40")
        back = Phone(probe, after=3)
        until(lambda: len(back.snapshots) >= 2)
        assert back.numbers() == list(range(4, 44)), back.numbers()
        back.close()
        again = Phone(probe, query=40)      # a page that was opened anew
        until(lambda: len(again.snapshots) >= 1)
        assert again.numbers() == [41, 42, 43]
        # lost at random moments while events come: nothing twice, nothing missing
        seen, dice = [43], random.Random(5)
        for _ in range(15):
            probe.ask(f"tell {dice.randrange(4)}")
            one = Phone(probe, after=seen[-1], source=f"127.0.0.{dice.randrange(2, 9)}")
            probe.ask(f"tell {dice.randrange(4)}")
            time.sleep(dice.random() * 0.1)
            one.close()
            seen += one.numbers()
        last = Phone(probe, after=seen[-1], source="127.0.0.9")
        probe.ask("tell 1")
        until(lambda: "event" and last.numbers() and len(last.snapshots) > 2)
        seen += last.numbers()
        assert seen == list(range(43, 43 + len(seen))), seen
        # a session that says nothing: the phone is told that it is still connected
        probe.ask("pause")
        until(lambda: "beat" in last.other, seconds=4)
        probe.ask("go")
        # the end comes with all that went before
        took = probe.close()
        assert last.ended.wait(2) and last.other[-1] == "closed" and last.events[-1]["kind"] == "ended", last.other
        assert took < 1.5, took


rules()
code()
whole_program()
on_a_terminal()
addresses()
reconnecting()
print("the phone page keeps its rules")
