#!/usr/bin/python3
"""Processor time and peak memory of `hushtrace noise` on a 60 s stereo take at 48 kHz, against real time and against SciPy.

    tests/bench/noise_speed.py build/bin/hushtrace [rounds] [seconds]

Takes: hiss alone; one whine with mains; a crowd of whine with multiples and regulator sidebands, ignition, mains, pump, hash.
The least of the rounds counts, since what else the machine does only adds to it; processor seconds are user and system time of
all threads. SciPy's spectrogram of the same samples (one of 8192, half overlapped, and one of 48000) runs in the same rounds.
"""
import os
import resource
import sys
import tempfile

import numpy as np
from scipy.signal import spectrogram

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "end_to_end"))
from sounds import RATE, clicks, hiss, make_job, speed, tone, turning  # noqa: E402

PROGRAM = sys.argv[1]
ROUNDS = int(sys.argv[2]) if len(sys.argv) > 2 else 3
SECONDS = float(sys.argv[3]) if len(sys.argv) > 3 else 60.0


def in_both(make):
    """Two channels that share their sources, each with a hiss of its own."""
    x = make()
    return [x + hiss(SECONDS, 2e-5, seed=3), 0.7 * x + hiss(SECONDS, 2e-5, seed=4)]


def mains():
    return sum(tone(50.0 * k, SECONDS, 3e-5 / k) for k in range(1, 12))


def whine_and_mains():
    return turning(1360.0, speed(SECONDS, 0.01), 4e-5) + mains()


def crowd():
    engine = speed(SECONDS, 0.01)
    x = sum(turning(1360.0 * k, engine, 6e-5 / k, phase=k) for k in range(1, 5)) + mains()
    for side in (-1, 1):                                   # the regulator: 143 Hz aside, whatever the engine does
        turns = np.cumsum(1360.0 * engine + side * 143.0) / RATE
        x += 2e-5 * np.sin(2 * np.pi * turns)
    x += clicks(26.0, engine, 8e-4)
    pump = speed(SECONDS, 0.004, seed=7)
    x += sum(turning(930.0 * k / 9, pump, a, phase=k) for k, a in ((1, 6e-6), (8, 5e-6), (9, 3e-5), (10, 5e-6), (18, 1e-5)))
    return x + turning(5200.0, speed(SECONDS, 0.03, seed=9), 2e-5)


SCENES = {"hiss": ("off", in_both(lambda: 0.0)), "whine and mains": ("idle", in_both(whine_and_mains)),
          "crowd": ("idle", in_both(crowd))}


def analysed(folder):
    """Processor seconds and peak memory [MiB] of one analysis."""
    with open(os.devnull) as nothing:
        pid = os.posix_spawn(PROGRAM, [PROGRAM, "noise", "--json", "--job", folder], os.environ,
                             file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0),
                                           (os.POSIX_SPAWN_DUP2, nothing.fileno(), 0)])
    _, status, usage = os.wait4(pid, 0)
    if status != 0:
        sys.exit(f"{folder}: exit status {status}")
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def scipy_seconds(channels):
    before = resource.getrusage(resource.RUSAGE_SELF)
    for x in channels:
        for length in (8192, 48000):
            spectrogram(x, RATE, window="hann", nperseg=length, noverlap=length // 2, detrend=False)
    after = resource.getrusage(resource.RUSAGE_SELF)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


with tempfile.TemporaryDirectory() as top:
    print(f"{SECONDS:g} s of stereo at {RATE} Hz, least of {ROUNDS}")
    print("take               processor  times real time  times SciPy's two spectrograms  peak memory")
    for name, (engine, channels) in SCENES.items():
        folder = os.path.join(top, name.replace(" ", "-"))
        rpm = {"rpm": 800} if engine == "idle" else {}
        make_job(folder, {"take": ({"engine": engine, **rpm}, channels)})
        rounds = [(*analysed(folder), scipy_seconds(channels)) for _ in range(ROUNDS)]
        busy, memory, scipy = min(r[0] for r in rounds), max(r[1] for r in rounds), min(r[2] for r in rounds)
        print(f"{name:17} {busy:8.2f} s {SECONDS / busy:14.1f} x {busy / scipy:29.2f} x {memory:9.0f} MiB", flush=True)
