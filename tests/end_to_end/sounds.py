"""Sounds for the end-to-end tests, made with NumPy from closed forms: no code of the program makes what it is judged by."""
import json
import os
import struct
import subprocess
import sys

import numpy as np
from scipy.signal import lfilter, resample_poly

RATE = 48000


def speed(seconds, share, rate=RATE, seed=1):
    """Relative engine speed: 1 plus slow noise of this rms share, smoothed over half a second."""
    rng = np.random.default_rng(seed)
    n = int(seconds * rate)
    coarse = rng.normal(size=int(seconds * 100) + 400)
    window = np.hanning(120)
    smooth = np.convolve(coarse, window / window.sum(), mode="same")[100:-100]
    smooth = (smooth - smooth.mean()) / smooth.std()
    t = np.arange(n) / rate
    return 1.0 + share * np.interp(t, np.arange(smooth.size) / 100, smooth)


def turning(order_hz, relative_speed, amplitude, rate=RATE, phase=0.0):
    """A sine at order_hz times the relative speed."""
    return amplitude * np.sin(2 * np.pi * np.cumsum(order_hz * relative_speed) / rate + phase)


def clicks(rate_hz, relative_speed, amplitude, rate=RATE, seed=2):
    """Decaying ringing at rate_hz times the relative speed, sizes scattered by 15 percent."""
    rng = np.random.default_rng(seed)
    turns = np.cumsum(rate_hz * relative_speed) / rate
    starts = np.nonzero(np.diff(np.floor(turns)) > 0)[0]
    k = np.arange(90)
    shape = np.exp(-k / 14.0) * np.cos(0.8 * k)
    out = np.zeros(turns.size + 100)
    for s in starts:
        out[s:s + 90] += amplitude * (1 + 0.15 * rng.normal()) * shape
    return out[:turns.size]


def hiss(seconds, rms, rate=RATE, seed=3):
    return np.random.default_rng(seed).normal(size=int(seconds * rate)) * rms


def tone(frequency_hz, seconds, amplitude, rate=RATE):
    return amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(int(seconds * rate)) / rate)


def music(seconds, seed, peak=0.5, over=4):
    """Plucked notes and a bass with a little hiss, at `over` times the rate."""
    rng = np.random.default_rng(seed)
    rate = RATE * over
    x = 2e-4 * lfilter([0.3], [1, -0.7], rng.normal(size=int(seconds * rate)))
    since = np.arange(rate) / rate                    # a note lasts a second
    shape = (0.5 - 0.5 * np.cos(np.pi * np.minimum(1, since / 0.008))) * np.minimum(1, (1 - since) / 0.05)
    at = 0.0
    while at < seconds - 0.05:
        f0 = 110 * 2 ** (rng.integers(0, 36) / 12)
        partials = [(f0 * k * (1 + 2e-4 * k * k), rng.uniform(0.05, 0.3) / k, 0.3 / k) for k in range(1, 7)]
        if rng.uniform() < 0.5:
            partials.append((rng.uniform(45, 90), rng.uniform(0.2, 0.5), 0.3))
        note = shape * sum(a * np.exp(-since / fall) * np.sin(2 * np.pi * f * since + rng.uniform(0, 2 * np.pi))
                           for f, a, fall in partials)
        first = int(at * rate)
        x[first:first + rate] += note[:len(x) - first]
        at += rng.uniform(0.1, 0.3)
    return x * peak / np.abs(x).max()


def played(x, seed, lower=np.inf, upper=np.inf, over=4):
    """What arrives of oversampled sound behind rails and a coupling of 6 Hz, at the usual rate, with a little noise."""
    k = np.exp(-2 * np.pi * 6 / (RATE * over))
    y = resample_poly(lfilter([(1 + k) / 2, -(1 + k) / 2], [1, -k], np.clip(x, -lower, upper)), 1, over)
    return y + np.random.default_rng(seed).normal(size=len(y)) * 1e-5


def write_wav(path, channels, rate=RATE):
    """32-bit float WAV of a list of channels."""
    data = np.column_stack(channels).astype("<f4")
    body = data.tobytes()
    head = struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + len(body), b"WAVE", b"fmt ", 16, 3, data.shape[1], rate,
                       rate * data.shape[1] * 4, data.shape[1] * 4, 32, b"data", len(body))
    with open(path, "wb") as file:
        file.write(head + body)


def make_job(folder, takes, **more):
    """A job folder from {name: (conditions, channels)}; further keys go into job.json."""
    os.makedirs(os.path.join(folder, "takes"))
    entries = []
    for name, (conditions, channels) in takes.items():
        if channels is not None:
            write_wav(os.path.join(folder, "takes", name + ".wav"), channels)
        entries.append({"file": f"takes/{name}.wav", "channels": ["left", "right"][:2], **conditions})
    job = {"schema": "hushtrace.job/1", "title": "a job", "takes": entries, **more}
    with open(os.path.join(folder, "job.json"), "w") as file:
        json.dump(job, file)


def run(program, *arguments, expect=0, timeout=120):
    """Runs the program; returns its standard output, or the one line of standard error when it is to fail."""
    done = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True, timeout=timeout, stdin=subprocess.DEVNULL)
    if done.returncode != expect:
        sys.exit(f"{' '.join(map(str, arguments))}: exit {done.returncode}, expected {expect}\n{done.stdout}\n{done.stderr}")
    return done.stdout if expect in (0, 1) else done.stderr


class Checks:
    """Counts facts; ends the test with a red exit when one fails or none was stated."""

    def __init__(self):
        self.stated = self.failed = 0

    def that(self, fact, text):
        self.stated += 1
        if not fact:
            self.failed += 1
        print(("ok    " if fact else "FAIL  ") + text)
        if not fact and os.environ.get("HUSHTRACE_FIRST_FAILURE"):   # set by tests/bench/mutation.py
            sys.exit(1)

    def near(self, value, truth, margin, text):
        self.that(value is not None and abs(value - truth) <= margin, f"{text}: {value} against {truth} +- {margin}")

    def end(self):
        print(f"{self.stated - self.failed} passed, {self.failed} failed")
        sys.exit(1 if self.failed or self.stated == 0 else 0)
