"""Whether a long live session grows: PROGRAM [MINUTES, 65] [--table FILE]

`live` follows a whine through a PulseAudio server of its own for so long, with the phone page served. What it hears comes and goes (a minute
of whine, ignition, hum and hiss whose level changes, over and over), so that it finds, loses and finds again. One phone reads the page all
the time, another dials anew every few seconds; moments are marked, the start is taken anew, the last minute is kept as a take as often as a
session may. Every ten seconds the memory that is its own (RssAnon of /proc/PID/status), threads and open files are written down.

Judged from the sixth minute on, when the last minute's memory is full: a line fitted to the memory must rise by less than 1 MB an hour.
A session makes some 46 snapshots a second, 165 000 an hour: the bound is six bytes of each. Beside it threads and files, half against half.
Exit 1 when it grows. Sound that a loaded machine loses does not matter here; how often is printed.
"""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import threading
import time

import numpy as np
import scipy.io.wavfile

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
from phone_probe import Phone, Served   # noqa: E402
from private_pulse import PrivatePulse   # noqa: E402
from sounds import RATE, clicks, hiss, speed, tone, turning   # noqa: E402

PERIOD_S, SETTLED_MINUTES, MOST_MB_AN_HOUR = 10, 5, 1.0
table = sys.argv[sys.argv.index("--table") + 1] if "--table" in sys.argv else None
plain = [word for word in sys.argv[1:] if not word.startswith("--") and word != table]
program = plain[0]
minutes = float(plain[1]) if len(plain) > 1 else 65.0


def write_minute(path):
    """A whine of 1187 Hz with its firing clicks, 12 dB quieter from 25 s on and gone from 45 s to 52 s; hum and hiss all the while."""
    seconds = 60
    at = np.arange(seconds * RATE) / RATE
    turns = speed(seconds, 0.01)
    whine = turning(1187, turns, 0.02) + turning(2374, turns, 0.008)
    level = np.where(at < 25, 1.0, 0.25) * np.where((at > 45) & (at < 52), 0.0, 1.0)
    wave = level * whine + clicks(29.7, turns, 0.01) + tone(100, seconds, 0.01) + hiss(seconds, 0.001)
    scipy.io.wavfile.write(path, RATE, np.stack([wave, 0.8 * wave], axis=1).astype(np.float32))


def state_of(pid):
    """Its own memory, all of it [MB], threads, open files."""
    status = pathlib.Path(f"/proc/{pid}/status").read_text()
    number = {name: int(value) for name, value in re.findall(r"^(\w+):\s+(\d+)", status, re.M)}
    return number["RssAnon"] / 1024, number["VmRSS"] / 1024, number["Threads"], len(os.listdir(f"/proc/{pid}/fd"))


class Hands:
    """Two phones and a keyboard, until `stop` is set."""

    def __init__(self, served, keyboard):
        self.served, self.keyboard, self.stop, self.dialled, self.figures = served, keyboard, threading.Event(), 0, 0
        self.threads = [threading.Thread(target=work, daemon=True) for work in (self.reads, self.dials, self.types)]
        for thread in self.threads:
            thread.start()

    def reads(self):
        last = None
        while not self.stop.wait(1.0):
            try:
                phone = Phone(self.served, after=last)
            except OSError:
                continue
            while not self.stop.wait(1.0) and not phone.ended.is_set():
                self.figures += len(phone.snapshots)
                phone.snapshots.clear(), phone.ages_s.clear(), phone.at_s.clear(), phone.other.clear()
                last = (phone.numbers() or [last])[-1]
            phone.close()

    def dials(self):
        while not self.stop.wait(2.0):
            try:
                self.served.get(self.served.path)
                phone = Phone(self.served, source="127.0.0.7")
                self.stop.wait(3.0)
                phone.close()
                self.dialled += 1
            except OSError:
                pass

    def types(self):
        begun, at = time.monotonic(), 0
        while not self.stop.wait(max(0.1, begun + 5 * (at + 1) - time.monotonic())):
            at += 1
            key = "k" if at % 36 == 0 else " " if at % 12 == 0 else "m"
            try:
                self.keyboard.write(key + "\n")
                self.keyboard.flush()
            except OSError:
                return


def play(path, environment, stop):
    while not stop.is_set():
        player = subprocess.Popen(["paplay", "--latency-msec=1000", path], env=environment)
        while player.poll() is None and not stop.wait(0.5):
            pass
        if player.poll() is None:
            player.kill()


with tempfile.TemporaryDirectory() as folder, PrivatePulse() as pulse:
    sound, job = folder + "/minute.wav", folder + "/job"
    write_minute(sound)
    subprocess.run([program, "job", "--job", job, "--new", "--title", "An hour", "--cylinders", "4"], check=True, capture_output=True)
    stop = threading.Event()
    player = threading.Thread(target=play, args=(sound, pulse.env, stop), daemon=True)
    player.start()
    process = subprocess.Popen([program, "live", "--job", job, "--device", "pulse", "--engine", "idle", "--follow", "whine", "--armed",
                                "--plain", "--keys-from-stdin", "--share", "--shell-volts", "0.01", "--ground-drop", "0.05",
                                "--seconds", str(60 * minutes + 30)],
                               env=pulse.env, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    told, address = [], None
    for line in process.stderr:
        told.append(line.rstrip())
        if found := re.search(r"http://\S+", line):
            address = found.group()
            break
    if address is None:
        sys.exit("no page is served:\n" + "\n".join(told))
    lines = {"told": 0, "lost": 0}

    def listen():
        for line in process.stderr:
            lines["told"] += 1
            lines["lost"] += "lost" in line and "fault" in line
            told[:] = told[-20:] + [line.rstrip()]

    threading.Thread(target=listen, daemon=True).start()
    hands, rows, begun = Hands(Served(address), process.stdin), [], time.monotonic()
    while process.poll() is None and time.monotonic() - begun < 60 * minutes:
        rows.append((time.monotonic() - begun, *state_of(process.pid)))
        if table:
            np.savetxt(table, rows, fmt="%.1f,%.3f,%.3f,%d,%d", header="s,own_mb,resident_mb,threads,files", comments="")
        time.sleep(PERIOD_S)
    stop.set()
    hands.stop.set()
    if process.poll() is not None:
        sys.exit(f"ended by itself, exit {process.returncode}, after {(time.monotonic() - begun) / 60:.1f} minutes:\n" + "\n".join(told))
    process.stdin.write("q\n")
    process.stdin.flush()
    _, status, usage = os.wait4(process.pid, 0)
    code, cpu_s = os.waitstatus_to_exitcode(status), usage.ru_utime + usage.ru_stime
    takes = len(json.loads(pathlib.Path(job, "job.json").read_text()).get("takes", []))
    at_s, own_mb, resident_mb, threads, files = np.array(rows).T
    late = at_s >= 60 * SETTLED_MINUTES
    if code != 0 or np.count_nonzero(late) < 12:
        sys.exit(f"exit {code} after {at_s[-1] / 60:.1f} minutes:\n" + "\n".join(told))
    # the median of each minute: while a take is being stored its minute of sound is in memory
    each = int(60 / PERIOD_S)
    begins = [i for i in np.flatnonzero(late)[::each] if i + each <= at_s.size]
    at_h, held_mb = np.array([(np.mean(at_s[i:i + each]) / 3600, np.median(own_mb[i:i + each])) for i in begins]).T
    slope, start_mb = np.polyfit(at_h, held_mb, 1)
    rest = held_mb - (slope * at_h + start_mb)
    half = np.count_nonzero(late) // 2
    grown = {name: what[late][half:].max() - what[late][:half].max() for name, what in (("threads", threads), ("files", files))}
    print(f"{at_s[-1] / 60:.0f} minutes, {100 * cpu_s / at_s[-1]:.1f} % of a core; {hands.figures} figures on the phone, "
          f"{hands.dialled} times dialled anew, {takes} takes kept, {lines['told']} lines told, sound lost {lines['lost']} times")
    for minute in range(0, int(at_s[-1] // 60) + 1, 5):
        row = int(np.argmin(np.abs(at_s - 60 * minute)))
        print(f"{minute:4d} min  own {own_mb[row]:7.2f} MB  resident {resident_mb[row]:7.2f} MB  threads {threads[row]:.0f}  files {files[row]:.0f}")
    print(f"from minute {SETTLED_MINUTES} on: {slope:+.3f} MB an hour (bound {MOST_MB_AN_HOUR}), round that line within {np.abs(rest).max():.2f} MB; "
          f"largest of threads {grown['threads']:+.0f}, of files {grown['files']:+.0f} in the second half")
    sys.exit(1 if slope > MOST_MB_AN_HOUR or grown["files"] > 4 or grown["threads"] > 4 else 0)
