"""The moving view on terminals of several sizes and kinds, read back by a terminal emulator (pyte): made-up snapshots (show_board), then
the simulated vehicle. Nothing may be left behind on the terminal, whatever the way out."""
import concurrent.futures
import fcntl
import json
import os
import pathlib
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import tempfile
import termios
import time

import pyte

PROGRAM = sys.argv[1]
BOARD = os.path.join(os.environ["HUSHTRACE_BUILD_DIR"], "bin", "show_board")
PATIENCE_S = 20


class Terminal:
    """A terminal with a program on it. What the program writes to stdout is kept apart."""

    def __init__(self, command, rows=24, columns=80, wrapped=True, **environment):
        self.master, self.slave = pty.openpty()
        self.size(rows, columns)
        self.before = termios.tcgetattr(self.slave)
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.raw = b""
        env = dict(os.environ, TERM="screen-256color", LC_ALL="C.UTF-8")
        env.pop("NO_COLOR", None)
        env.update(environment)
        self.program = subprocess.Popen(["setsid", "--ctty"] + command, stdin=self.slave, stdout=subprocess.PIPE, stderr=self.slave, env=env)

    def size(self, rows, columns):
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def read(self, seconds=0.05):
        if not select.select([self.master], [], [], seconds)[0]:
            return False
        data = os.read(self.master, 65536)
        self.raw += data
        self.stream.feed(data)
        return True

    def text(self):
        return "\n".join(self.screen.display)

    def until(self, *parts):
        """Reads until all parts stand on the screen."""
        end = time.monotonic() + PATIENCE_S
        while not all(part in self.text() for part in parts):
            assert time.monotonic() < end, f"not on the screen: {[p for p in parts if p not in self.text()]}\n{self.text()}"
            self.read()

    def keys(self, text):
        os.write(self.master, text)

    def end(self):
        """Waits for the end; gives the exit code and what stood on stdout. The terminal must be as it was."""
        deadline = time.monotonic() + PATIENCE_S
        while self.program.poll() is None:
            assert time.monotonic() < deadline, "it does not end"
            self.read()
        while self.read(0.1):
            pass
        told = self.program.stdout.read().decode()
        assert termios.tcgetattr(self.slave) == self.before, "modes differ"
        os.close(self.slave)
        os.close(self.master)
        return self.program.returncode, told

    def assert_left(self):
        """The other screen was entered and left again, and the cursor is seen."""
        assert self.raw.count(b"\x1b[?1049h") >= 1
        assert self.raw.rfind(b"\x1b[?1049l") > self.raw.rfind(b"\x1b[?1049h"), self.raw[-200:]
        assert self.raw.rfind(b"\x1b[34h\x1b[?25h") > self.raw.rfind(b"\x1b[?25l"), self.raw[-200:]


def board(scene, seconds=30, way="terminal", **how):
    return Terminal([BOARD, way, scene, str(seconds)], **how)


def sizes():
    for rows, columns, parts in [(24, 80, ["█", "clean so far: volume 31", "Turn it up one.", "997 Hz", "peak", "steps: 23 to 31 clean", "q: end"]),
                                 (15, 40, ["█", "clean so far: volume 31", "Turn it up one.", "CLEAN", "I turned it up one"]),
                                 (50, 160, ["█", "volume 23 ", "Turn it up one."]), (3, 20, ["CLEAN", "Turn it up one."])]:
        view = board("clean", rows=rows, columns=columns)
        view.until(*parts)
        view.keys(b"q")
        code, told = view.end()
        assert code == 0 and "asked stop" in told, told
        view.assert_left()


def words():
    for scene, parts in [("distorted", ["CEILING: volume 31", "distorted"]), ("quieter", ["change against the start, dB", "1187.4 Hz", "armed", "kept 2"]),
                         ("hidden", ["at most"]), ("unheard", ["no sound has come for"]), ("uncalibrated", ["dBFS"]),
                         ("failed", ["the device is gone"]), ("hostile", ["[31mred"])]:
        view = board(scene)
        view.until(*parts)
        view.keys(b"q")
        assert view.end()[0] == 0
        assert b"\x1b]0;owned" not in view.raw and b"\x1b[31mred" not in view.raw


def keys():
    view = board("clean")
    view.until("q: end")
    for key in [b"+", b"-", b"\x1bOA", b"\x1bOB", b"m", b"k", b"x", b"a", b" ", b"\x1b[15~", b"q"]:
        view.keys(key)
        time.sleep(0.05)
    asked = [line.split()[1] for line in view.end()[1].splitlines() if line.startswith("asked")]
    assert asked == ["up", "down", "up", "down", "mark", "keep", "stop"], asked
    view = board("quieter")
    view.until("q: end")
    view.keys(b" a+kq")
    asked = [line.split()[1] for line in view.end()[1].splitlines() if line.startswith("asked")]
    assert asked == ["reference", "arm", "keep", "stop"], asked


def resized():
    view = board("distorted")
    view.until("right ", "distorted")
    for rows, columns, part in [(15, 40, "DISTORTED"), (50, 160, "volume 23 "), (24, 80, "steps: 23 to 31 clean, 32 distorted")]:
        view.size(rows, columns)
        view.screen.resize(rows, columns)
        view.until(part)
    view.keys(b"q")
    view.end()
    view.assert_left()


def signals():
    for name, first in [("SIGINT", b"\x03"), ("SIGTERM", None), ("SIGHUP", None)]:
        view = board("clean")
        view.until("q: end")
        view.keys(first) if first else view.program.send_signal(getattr(signal, name))
        code, told = view.end()
        assert code == 0 and "asked stop" in told, (name, code, told)
        view.assert_left()
    view = board("clean", way="deaf")  # a session that does not obey: the second Ctrl-C ends it
    view.until("q: end")
    view.keys(b"\x03")
    time.sleep(0.3)
    view.keys(b"\x03")
    assert view.end()[0] == -signal.SIGINT
    view.assert_left()
    view = board("clean", way="crash")
    assert view.end()[0] == -signal.SIGABRT
    view.assert_left()


def paused():
    """Ctrl-Z under a shell with job control: the terminal is the shell's in between, and the view comes back."""
    script = 'set -m; "$0" terminal clean 60; echo "stopped $?"; stty -a | grep -o -e "-*icanon"; sleep 0.3; fg >/dev/null; echo "ended $?"'
    view = Terminal(["bash", "--norc", "-c", script, BOARD])
    view.until("q: end")
    mark = len(view.raw)
    view.keys(b"\x1a")
    end = time.monotonic() + PATIENCE_S
    while b"\x1b[?1049l" not in view.raw[mark:] or view.raw.count(b"\x1b[?1049h") < 2:
        assert time.monotonic() < end, view.raw[mark:]
        view.read()
    view.until("q: end", "Turn it up one.")
    view.keys(b"q")
    end = time.monotonic() + PATIENCE_S
    while view.program.poll() is None:
        assert time.monotonic() < end
        view.read()
    told = view.program.stdout.read().decode()
    assert re.search(r"stopped 148\nicanon\n", told) and "ended 0" in told, told  # 128 + SIGTSTP
    assert termios.tcgetattr(view.slave) == view.before
    view.assert_left()


def looks():
    view = board("distorted", NO_COLOR="1")
    view.until("CEILING", "q: end")
    cells = [cell for row in view.screen.buffer.values() for cell in row.values()]
    assert {cell.fg for cell in cells} | {cell.bg for cell in cells} == {"default"}
    assert any(cell.reverse for cell in cells)
    view.keys(b"q")
    view.end()
    view = board("distorted")
    view.until("CEILING", "q: end")
    assert any(cell.bg == "ff8700" for row in view.screen.buffer.values() for cell in row.values())
    view.keys(b"q")
    view.end()
    view = board("clean", LC_ALL="C", TERM="linux")
    view.until("##", "^: I turned it up one")
    view.keys(b"q")
    view.end()
    assert all(byte < 0x80 for byte in view.raw)
    for kind in ["dumb", "", "no-such-terminal"]:
        view = board("clean", seconds=1, TERM=kind)
        code, told = view.end()
        assert code == 0 and told.startswith("no terminal"), told
        assert b"\x1b" not in view.raw, kind


def fast_enough():
    view = board("clean")
    view.until("q: end")
    seen, last, begun = 0, "", time.monotonic()
    while time.monotonic() < begun + 2:
        view.read(0.01)
        now = view.text()
        seen += now != last
        last = now
    view.keys(b"q")
    view.end()
    assert seen >= 30, f"{seen} changes of the screen in 2 s, 15 a second are promised"


def stopped_terminal():
    """A terminal that takes nothing any more holds up neither the session nor the end."""
    view = board("clean", seconds=3)
    view.until("q: end")
    termios.tcflow(view.slave, termios.TCOOFF)
    begun = time.monotonic()
    while view.program.poll() is None:
        assert time.monotonic() < begun + PATIENCE_S, "it hangs on the terminal"
        time.sleep(0.05)
    told = view.program.stdout.read().decode()
    longest = float(re.search(r"longest publish ([\d.]+)", told).group(1))
    assert longest < 0.25, told


def plain():
    done = subprocess.run([BOARD, "plain", "clean", "2.5"], stdin=subprocess.DEVNULL, capture_output=True, text=True, check=True)
    lines = done.stderr.splitlines()
    assert re.fullmatch(r"0\.0 s  left 1\.8\d\d V, 5\.32 dBV, peak -11\.6 dBFS, THD 0\.012 %, clean; right .*; volume 31; clean so far volume 31", lines[0]), lines[0]
    assert any(re.fullmatch(r"0\.\d s  step: volume 31 is reached", line) for line in lines), lines
    assert sum("left 1.8" in line for line in lines) >= 3 and any(line.endswith("next: Turn it up one.") for line in lines)
    done = subprocess.run([BOARD, "plain", "hostile", "0.5"], stdin=subprocess.DEVNULL, capture_output=True, check=True)
    assert all(byte >= 0x20 or byte == 0x0A for byte in done.stderr)


def picture_in_the_docs():
    """The screen in docs/live.md is the real one, but for the clock and the news."""
    page = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"], "docs", "live.md").read_text()
    told = re.search(r"looks like this:\n\n((?:    .*\n|\n)+)", page).group(1)
    told = [line[4:].rstrip() for line in told.rstrip("\n").split("\n")]
    view = board("distorted")
    view.until("q: end", "is reached")
    shown = [line.rstrip() for line in view.screen.display]
    view.keys(b"q")
    view.end()
    assert len(told) == 24 and told[1:] == shown[1:], "\n".join(shown)
    assert told[0].split()[:-1] == shown[0].split()[:-1]


def simulated():
    """The whole way: the simulated source clips between 36 and 37, a hand finds that on the screen, and the analysis agrees."""
    with tempfile.TemporaryDirectory() as folder:
        tone = os.path.join(folder, "tone.wav")
        subprocess.run([PROGRAM, "tones", "sine", "--frequency", "997", "--level", "0", "--duration", "60", "--out", tone], check=True, capture_output=True)
        job = pathlib.Path(folder, "job")
        job.mkdir()
        (job / "job.json").write_text('{"schema": "hushtrace.job/1", "title": "Van \\u001b[2J", "source": {"volume_top": 40}}')
        live = [PROGRAM, "gain", "--job", str(job), "--live", "--simulate", "early_clipping", "--meter", "--engine", "off", "--volume-start", "35",
                "--tone", "sine", "--level", "0", "--via", "stick", "--played", tone]
        view = Terminal(live)
        view.until("clean so far: volume 35", "turn it up one", "dBFS", "turn the knob")
        view.keys(b"+")
        view.until("clean so far: volume 36", "turn it up one")
        view.keys(b"\x1bOA")
        view.until("CEILING: volume 36", "too far", "distorted")
        view.keys(b"-")
        view.until("ceiling: 36")
        view.keys(b"q")
        code, told = view.end()
        view.assert_left()
        assert code == 0 and "clean up to volume 36" in told, told
        view = Terminal(live, TERM="dumb")
        end = time.monotonic() + PATIENCE_S
        while b"clean so far volume 35" not in view.raw:
            assert time.monotonic() < end, view.raw
            view.read()
        view.keys(b"q")
        assert view.end()[0] == 0 and b"\x1b" not in view.raw and b"step: 35:" in view.raw, view.raw


def json_lines():
    """A script reads JSON Lines and presses keys."""
    with tempfile.TemporaryDirectory() as folder:
        pathlib.Path(folder, "job.json").write_text('{"schema": "hushtrace.job/1", "title": "Van"}')
        live = [PROGRAM, "live", "--job", folder, "--simulate", "healthy", "--meter", "--engine", "off", "--seconds", "60"]
        with subprocess.Popen(live + ["--json", "--keys-from-stdin"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
            first = process.stdout.readline()      # something is captured
            rest, _ = process.communicate("m\nq", timeout=PATIENCE_S)
        assert process.returncode == 0, (process.returncode, first, rest)
        lines = [json.loads(line) for line in [first, *rest.splitlines()]]
        assert {line["schema"] for line in lines} == {"hushtrace.live/1"}
        assert [line["event"]["kind"] for line in lines if "event" in line][-2:] == ["mark", "ended"], lines
        last = [line["snapshot"] for line in lines if "snapshot" in line][-1]
        assert last["state"] == "ended" and last["time_s"] < 10 and len(last["levels"]) == 2, last
        # nobody takes the lines any more: with the phone page, whose server ignores the pipe's signal, the session ends all the same
        reader = subprocess.Popen(live + ["--json", "--share"], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        try:
            assert "snapshot" in reader.stdout.readline() + reader.stdout.readline()
            reader.stdout.close()
            told = reader.stderr.read()
            assert reader.wait(timeout=PATIENCE_S) == 3 and "standard output" in told, (reader.returncode, told)
        finally:
            reader.kill()
        done = subprocess.run(live + ["--keys-from-stdin"], input="q", capture_output=True, text=True, timeout=PATIENCE_S)
        assert done.returncode == 2 and "--plain or --json" in done.stderr and not done.stdout, done


def main():
    tests = [simulated, sizes, words, keys, resized, signals, paused, looks, fast_enough, stopped_terminal, plain, json_lines, picture_in_the_docs]
    if len(sys.argv) > 2:
        tests = [test for test in tests if test.__name__ in sys.argv[2:]]
    with concurrent.futures.ThreadPoolExecutor(3) as pool:
        for test, result in [(test, pool.submit(test)) for test in tests]:
            result.result()
            print(test.__name__, "ok")


main()
