"""SciPy makes filters at random: Butterworth and Linkwitz-Riley high- and low-passes (scipy.signal.butter), peaks, shelves
and all-passes by the formulas of R. Bristow-Johnson's "Cookbook formulae for audio EQ biquad filter coefficients". The
program is given their responses with noise and must tell what they are.

    shape_judge.py PROGRAM [CASES OF A KIND] [SEED]     (more cases: a table for docs/chain.md)"""
import json
import pathlib
import subprocess
import sys

import numpy as np
from scipy import signal

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent.parent / "bench"))
from shares import share_of  # noqa: E402

program = sys.argv[1]
cases = int(sys.argv[2]) if len(sys.argv) > 2 else 6
seed = int(sys.argv[3]) if len(sys.argv) > 3 else 20260131
rng = np.random.default_rng(seed)
HZ = 1000 * 2.0 ** (np.arange(-131, 104) / 24)
HZ = HZ[(HZ >= 23) & (HZ <= 19000)]


def biquad(kind, f0, gain_db, q, fs):
    w, A = 2 * np.pi * f0 / fs, 10 ** (gain_db / 40)
    c, alpha = np.cos(w), np.sin(w) / (2 * q)
    root = 2 * np.sqrt(A) * alpha
    b, a = {
        "peak": ([1 + alpha * A, -2 * c, 1 - alpha * A], [1 + alpha / A, -2 * c, 1 - alpha / A]),
        "low_shelf": ([A * ((A + 1) - (A - 1) * c + root), 2 * A * ((A - 1) - (A + 1) * c), A * ((A + 1) - (A - 1) * c - root)],
                      [(A + 1) + (A - 1) * c + root, -2 * ((A - 1) + (A + 1) * c), (A + 1) + (A - 1) * c - root]),
        "high_shelf": ([A * ((A + 1) + (A - 1) * c + root), -2 * A * ((A - 1) + (A + 1) * c), A * ((A + 1) + (A - 1) * c - root)],
                       [(A + 1) - (A - 1) * c + root, 2 * ((A - 1) - (A + 1) * c), (A + 1) - (A - 1) * c - root]),
        "all_pass": ([1 - alpha, -2 * c, 1 + alpha], [1 + alpha, -2 * c, 1 - alpha])}[kind]
    return np.concatenate([b, a])[None, :] / a[0]


def passing(kind, f0, order, lr, fs):
    way = "high" if kind == "high_pass" else "low"
    if not lr:
        return signal.butter(order, f0, way, fs=fs, output="sos")
    half = signal.butter(order // 2, f0, way, fs=fs, output="sos")
    return np.concatenate([half, half])


def log_uniform(low, high):
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def sign():
    return 1 if rng.random() < 0.5 else -1


def draw(kind):
    """What is put in: parts as the program tells them, with a line a part."""
    if kind == "flat":
        return []
    if kind == "bass_boost":
        return [("peak", log_uniform(40, 90), rng.uniform(3, 12), log_uniform(0.7, 2))]
    if kind == "loudness":
        return [("low_shelf", log_uniform(70, 160), rng.uniform(4, 10), 0.707),
                ("high_shelf", log_uniform(5000, 10000), rng.uniform(3, 8), 0.707)]
    if kind == "peak":
        return [("peak", log_uniform(80, 9000), sign() * rng.uniform(2, 12), log_uniform(0.7, 6))]
    if kind == "shelf":
        low = rng.random() < 0.5
        return [("low_shelf", log_uniform(80, 400), sign() * rng.uniform(3, 12), 0.707) if low
                else ("high_shelf", log_uniform(2000, 8000), sign() * rng.uniform(3, 12), 0.707)]
    if kind == "high_pass":
        lr = rng.random() < 0.4
        return [("high_pass", log_uniform(45, 3000), int(rng.choice([2, 4] if lr else [1, 2, 3, 4])), lr)]
    if kind == "low_pass":
        lr = rng.random() < 0.4
        return [("low_pass", log_uniform(60, 7000), int(rng.choice([2, 4] if lr else [1, 2, 3, 4])), lr)]
    if kind == "band":
        low = log_uniform(60, 400)
        return [("high_pass", low, 4, True), ("low_pass", low * log_uniform(6, 20), 4, True)]
    if kind == "crossover_and_equaliser":
        low = log_uniform(60, 200)
        return [("high_pass", low, int(rng.choice([2, 4])), False),
                ("peak", log_uniform(5 * low, 5000), sign() * rng.uniform(3, 9), log_uniform(0.8, 4))]
    return [("peak", hz, sign() * rng.uniform(3, 9), log_uniform(0.8, 4)) for hz in (log_uniform(60, 250), log_uniform(1500, 9000))]


def response(parts, all_passes, fs, delay_s, turned):
    sos = [signal.butter(1, log_uniform(1.5, 6), "high", fs=fs, output="sos")]   # a coupling capacitor, all sources have one
    for part in parts:
        sos.append(passing(*part, fs) if part[0] in ("high_pass", "low_pass") else biquad(*part, fs))
    for f0, q in all_passes:
        sos.append(biquad("all_pass", f0, 0, q, fs))
    h = signal.sosfreqz(np.concatenate(sos), HZ, fs=fs)[1]
    h = h * np.exp(-2j * np.pi * HZ * delay_s) * (-1 if turned else 1) * 10 ** (rng.uniform(-20, 10) / 20)
    noise = (np.abs(h).max() * 10 ** (rng.uniform(-70, -45) / 20)) ** 2
    return h + np.sqrt(noise / 2) * (rng.normal(size=HZ.size) + 1j * rng.normal(size=HZ.size)), noise


def matches(part, told):
    if part[0] in ("high_pass", "low_pass"):
        return (told["kind"] == part[0] and told["slope"] == 6 * part[2] and (told["lr"] == part[3] or part[2] == 1)
                and abs(np.log(told["hz"] / part[1])) < 0.06)
    kind, f0, gain, q = part
    if told["kind"] != kind:
        return False
    return abs(np.log(told["hz"] / f0)) < 0.1 and abs(told["gain_db"] - gain) < 0.5 and abs(np.log(told["q"] / q)) < 0.25


KINDS = ["flat", "bass_boost", "loudness", "peak", "shelf", "high_pass", "low_pass", "band", "crossover_and_equaliser", "two_peaks"]
drawn, lines = [], []
for kind in KINDS + ["all_pass", "two_all_passes", "crossover_and_all_pass"]:
    for _ in range(cases):
        fs = float(rng.choice([44100, 48000, 96000]))
        parts, all_passes = [], []
        if kind in KINDS:
            parts = draw(kind)
        elif kind == "all_pass":
            all_passes = [(log_uniform(100, 4000), log_uniform(0.4, 3))]
        elif kind == "two_all_passes":
            all_passes = [(log_uniform(80, 300), log_uniform(0.5, 2)), (log_uniform(1000, 5000), log_uniform(0.5, 2))]
        else:
            low = log_uniform(60, 150)
            parts, all_passes = [("high_pass", low, 4, True)], [(log_uniform(4 * low, 4000), log_uniform(0.5, 2))]
        turned, delay_s = bool(rng.random() < 0.3), rng.uniform(0, 0.0004)
        h, noise = response(parts, all_passes, fs, delay_s, turned)
        drawn.append((kind, parts, all_passes, turned, delay_s))
        lines += [f"{f} {z.real} {z.imag} {noise}" for f, z in zip(HZ, h)] + ["end"]

out = subprocess.run([program], input="\n".join(lines) + "\n", check=True, capture_output=True, text=True).stdout.splitlines()
assert len(out) == len(drawn)
right, turned_right, worst = {}, {}, {}
for (kind, parts, all_passes, turned, delay_s), line in zip(drawn, out):
    told = json.loads(line)
    ok = len(told["parts"]) == len(parts) and all(any(matches(p, t) for t in told["parts"]) for p in parts)
    ok = ok and (kind != "loudness" or told["loudness"]) and (kind == "loudness" or not told["loudness"] or kind == "two_peaks")
    ok = ok and len(told["all_passes"]) == len(all_passes) and all(
        any(abs(np.log(t["hz"] / f)) < 0.08 and (t["order"] == 2 and abs(np.log(t["q"] / q)) < 0.3) for t in told["all_passes"])
        for f, q in all_passes)
    right.setdefault(kind, []).append(ok)
    if kind not in ("low_pass", "band"):   # polarity shows at low frequencies, where these two pass or are followed
        turned_right.setdefault(kind, []).append(told["inverted"] == turned)
    if not ok:
        print(f"{kind}: put in {parts} {all_passes}, told {line}")
for kind in right:
    print(f"{kind:26} {np.mean(right[kind]):6.1%} of {len(right[kind])} right; polarity {np.mean(turned_right.get(kind, [np.nan])):6.1%}")
every = [ok for all_of in right.values() for ok in all_of]
whole = np.mean(every)
print(f"all: {share_of(every)}; seed {seed}")
assert whole >= 0.93, "fewer right than promised"
assert np.mean(right["flat"]) == 1.0, "parts were told of a flat response"
