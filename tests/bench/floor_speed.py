#!/usr/bin/python3
"""Speed and memory of the noise floor of a take, against bare decoding and against SciPy, on the same file in one run.

    ninja -C build floor_speed && tests/bench/floor_speed.py build/bin/floor_speed [minutes] [rounds]

Each step is run several times, in turn, and the best time of each counts: what else the machine does only adds to it.
Processor seconds count all threads (SciPy's also its imports). SciPy's wall time leaves its imports out; its decoding is FFmpeg's, through a pipe.
"""
import os
import subprocess
import sys
import tempfile
import time

SCIPY = r"""
import subprocess, sys, time
import numpy as np
from scipy import signal
start = time.perf_counter()
raw = subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-i", sys.argv[1], "-f", "s32le", "-"], capture_output=True, check=True).stdout
x = np.frombuffer(raw, "<i4").reshape(-1, 2).T / 2.0**31
f, density = signal.welch(x, 48000, window="hann", nperseg=48000, noverlap=24000, detrend=False)
s = f * f
f1, f2, f3, f4 = 20.598997, 107.65265, 737.86223, 12194.217
c = (f4**2 * s / ((s + f1**2) * (s + f4**2)))**2
a = c * s * s / ((s + f2**2) * (s + f3**2))
h1 = -4.737338981378384e-24 * s**3 + 2.043828333606125e-15 * s**2 - 1.363894795463638e-7 * s + 1
h2 = (1.306612257412824e-19 * s**2 - 2.118150887518656e-11 * s + 5.559488023498642e-4) * f
i = s / (h1**2 + h2**2)
band = np.where((f > 20) & (f < 20000), 1.0, np.where((f == 20) | (f == 20000), 0.5, 0.0))
levels = [10 * np.log10(2 * np.sum(d * band * w)) for d in density for w in (np.ones_like(f), a / a[1000], c / c[1000], i / i[1000])]
print(f"{time.perf_counter() - start:.4f}", *(f"{one:.4f}" for one in levels))
"""


def run(*command):
    """Seconds, figures, peak memory [MiB], processor seconds of one step."""
    reading, writing = os.pipe()
    pid = os.posix_spawnp(command[0], command, os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, writing, 1)])
    os.close(writing)
    with os.fdopen(reading) as pipe:
        words = pipe.read().split()
    _, status, usage = os.wait4(pid, 0)
    if status != 0:
        sys.exit(f"{command}: failed")
    return float(words[0]), [float(w) for w in words[1:]], usage.ru_maxrss / 1024, usage.ru_utime + usage.ru_stime


program = sys.argv[1]
minutes = float(sys.argv[2]) if len(sys.argv) > 2 else 10
rounds = int(sys.argv[3]) if len(sys.argv) > 3 else 5
with tempfile.TemporaryDirectory() as top:
    take = top + "/take.flac"
    run(program, "make", take, str(60 * minutes))
    steps = {"decode": (program, "decode", take), "floor, 1 thread": (program, "floor", take, "1"),
             "floor, 2 threads": (program, "floor", take, "2"), "quasi-peak alone": (program, "meter", take),
             "SciPy": (sys.executable, "-c", SCIPY, take)}
    if minutes > 20:
        del steps["SciPy"]    # it would hold the whole take in memory several times over
    best, memory, figures, cpu = {}, {}, {}, {}
    for _ in range(rounds):
        for name, command in steps.items():
            seconds, figures[name], peak, busy = run(*command)
            best[name] = min(best.get(name, seconds), seconds)
            cpu[name] = min(cpu.get(name, busy), busy)
            memory[name] = max(memory.get(name, 0), peak)
            time.sleep(0.05)
    print(f"{minutes:g} min of stereo 48 kHz 24-bit FLAC, best of {rounds}; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print("                     wall  processor  wall against decoding  SciPy against it  peak memory")
    for name, seconds in best.items():
        scipy = f"{best['SciPy'] / seconds:14.2f} x" if "SciPy" in best else 16 * " "
        print(f"{name:17} {seconds:6.3f} s {cpu[name]:8.3f} s {seconds / best['decode']:20.2f} x {scipy} {memory[name]:8.1f} MiB")
    if "SciPy" in figures:
        worst = max(abs(a - b) for a, b in zip(figures["floor, 2 threads"], figures["SciPy"]))
        print(f"figures differ from SciPy's by {worst:.4f} dB at most")
        if worst > 0.001:
            sys.exit("a figure is off")
    if memory["floor, 2 threads"] >= 32:
        sys.exit("memory reached 32 MiB")
