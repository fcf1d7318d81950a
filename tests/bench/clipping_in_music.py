#!/usr/bin/env python3
"""How surely is clipping found in music, and how seldom in music that doesn't clip?

Half-minute excerpts of music that Debian packages carry are played through a simulated source and an analogue path:
four times oversampled; a rail (none for clean); two couplings (0.5 to 16 Hz, 0.5 to 4 Hz); a low-pass of first order
(30 to 80 kHz); peaks at -40 to -0.1 dBFS; down to the capture's rate (44.1 or 48 kHz, the file's own in half of the
cases); noise 75 to 100 dB below the peak; 24 bits. All from a seed. The program programme_clipping judges what arrives.

Cases: clean; hard, both sides cut at one level; one_sided, the upper or the lower; unequal, one 2 dB farther than the
other; soft, Rapp's law (1991), p = 6, the peak lowered by so much; and, without any analogue path, dithered to 16 bits:
as_it_is, and digital, cut at the capture's own rate. One-sided and unequal depths count from that side's own peak.

Clean is what isn't clipped in the file. Much released music is, so the figures are given for all excerpts, and for
those whose own peak lies more than 1 dB below the highest peak of the whole file: a limiter or clipper at the end of the
mastering leaves its mark at the file's ceiling, which such an excerpt doesn't reach.

  ninja -C build programme_clipping
  tests/bench/clipping_in_music.py --program build/bin/programme_clipping --folder /tmp/music --fetch --excerpts 150
  (--fetch downloads PACKAGES, some 300 MB, with apt-get and unpacks them into the folder; nothing is installed)
  several runs with --part K/N share the work; --table FILE... joins what they wrote
"""
import argparse
import json
import pathlib
import subprocess
import sys

import numpy as np
from scipy.signal import lfilter, resample_poly

from shares import share_text

PACKAGES = ["drascula-music", "hyperrogue-music", "singularity-music", "asc-music", "planetblupi-music-ogg",
            "warzone2100-music"]
SECONDS, OVER = 30, 4
EACH = ["clean", "as_it_is", "hard 1", "digital 1"]
SOME = ["one_sided 1", "unequal 1", "soft 1", "soft 3", "hard 3"]


def fetch(folder):
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["apt-get", "download", *PACKAGES], cwd=folder, check=True)
    for package in folder.glob("*.deb"):
        subprocess.run(["dpkg-deb", "-x", package, folder / package.name.split("_")[0]], check=True)


def decode(path, rate, start=0.0, seconds=None):
    """Float samples [frames, 2]: a decoder that overshoots full scale doesn't clip here. None if it can't be read."""
    length = [] if seconds is None else ["-t", str(seconds)]
    run = subprocess.run(["ffmpeg", "-v", "error", "-ss", str(start), *length, "-i", path, "-f", "f32le", "-ac", "2",
                          "-ar", str(rate), "-"], capture_output=True, check=False)
    if run.returncode != 0:
        return None
    return np.frombuffer(run.stdout[: len(run.stdout) // 8 * 8], dtype=np.float32).reshape(-1, 2).astype(float)


def amplitude(decibels):
    return 10 ** (decibels / 20)


def first_order(x, corner_hz, rate, high):
    k = np.exp(-2 * np.pi * corner_hz / rate)
    b = [(1 + k) / 2, -(1 + k) / 2] if high else [1 - k]
    return lfilter(b, [1, -k], x, axis=0)


def softened(x, depth_db, p=6.0):
    """Through Rapp's law whose corner lowers the peak by depth_db; corner."""
    peak = np.abs(x).max()
    corner = peak / (amplitude(p * depth_db) - 1) ** (1 / p)
    return x / (1 + np.abs(x / corner) ** p) ** (1 / p), corner


def bent(x, case, side):
    """What a case's stage makes of x, its lower and upper rail (infinite: none)."""
    kind, _, depth = case.partition(" ")
    depth, high, low = float(depth or 0), x.max(), -x.min()
    if kind in ("clean", "as_it_is"):
        return x, np.inf, np.inf
    if kind == "soft":
        y, corner = softened(x, depth)
        return y, corner, corner
    lower = upper = np.abs(x).max() * amplitude(-depth)
    if kind == "one_sided":
        lower, upper = (np.inf, high * amplitude(-depth)) if side else (low * amplitude(-depth), np.inf)
    if kind == "unequal":
        lower, upper = low * amplitude(-depth - 2 * side), high * amplitude(-depth - 2 * (1 - side))
    return np.clip(x, -lower, upper), lower, upper


def levels(gain, lower, upper):
    """[dBFS] of the rails; 999 for none."""
    of = lambda rail: float(min(999.0, 20 * np.log10(gain * rail)))
    return {"lower": of(lower), "upper": of(upper), "both": of(min(lower, upper)), "unequal": of(min(lower, upper))}


def captured(up, rate, case, rng):
    """What arrives of oversampled music through a case's stage; levels of both rails; share beyond, by channel."""
    peak, log_uniform = np.abs(up).max(), lambda low, high: np.exp(rng.uniform(np.log(low), np.log(high)))
    couplings, low_pass = (log_uniform(0.5, 16), log_uniform(0.5, 4)), rng.uniform(30e3, 80e3)
    gain, noise, side = amplitude(rng.uniform(-40, -0.1)) / peak, amplitude(rng.uniform(-100, -75)), rng.integers(2)
    y, lower, upper = bent(up, case, side)
    share = ((up > upper) | (up < -lower)).mean(axis=0)
    for corner in couplings:
        y = first_order(y, corner, OVER * rate, True)
    y = gain * resample_poly(first_order(y, low_pass, OVER * rate, False), 1, OVER, axis=0)
    y = np.clip(y + rng.normal(0, noise * gain * peak, y.shape), -1, 1)
    return np.round(y * 2**23) / 2**23, levels(gain, lower, upper), share


def digital(x, case, rng):
    gain = amplitude(rng.uniform(-40, -0.1)) / np.abs(x).max()
    y, lower, upper = bent(x, case, 0)
    dither = rng.uniform(-0.5, 0.5, x.shape) + rng.uniform(-0.5, 0.5, x.shape)
    share = ((x > upper) | (x < -lower)).mean(axis=0)
    return np.round(gain * y * 2**15 + dither) / 2**15, levels(gain, lower, upper), share


def judged(program, y, rate):
    out = subprocess.run([program, str(rate)], input=np.ascontiguousarray(y).tobytes(), capture_output=True, check=True)
    return json.loads(out.stdout)


def excerpts(folder, count, seed):
    files = sorted(f for e in ("ogg", "mp3", "flac", "opus") for f in folder.rglob("*." + e) if "sounds" not in f.parts)
    rng = np.random.default_rng(seed)
    order = list(rng.permutation(len(files))) * (count // max(1, len(files)) + 1)
    for index, which in enumerate(order[:count]):
        yield index, files[which], rng.uniform(), int(rng.choice([44100, 48000]))


def run(arguments):
    part, parts = (int(x) for x in arguments.part.split("/"))
    with open(arguments.out, "w", encoding="utf-8") as out:
        for index, path, place, rate in excerpts(arguments.folder, arguments.excerpts, arguments.seed):
            if index % parts != part:
                continue
            whole = decode(path, 44100)
            if whole is None or not len(whole):
                print(path.name, "can't be read", file=sys.stderr)
                continue
            start = place * max(0.0, len(whole) / 44100 - SECONDS)
            x = decode(path, rate, start, SECONDS)
            if x is None or len(x) < 0.9 * SECONDS * rate or np.abs(x).max() < 0.02:
                continue
            own = 20 * np.log10(np.abs(x).max() / np.abs(whole).max())
            row = {"file": path.name, "package": path.relative_to(arguments.folder).parts[0],
                   "start_s": round(start, 1), "rate": rate, "below_file_peak_db": round(-own, 2), "cases": {}}
            up = resample_poly(x, OVER, 1, axis=0)
            for case in EACH + (SOME if index // parts % arguments.some_every == 0 else []):
                rng = np.random.default_rng(arguments.seed + 1000 + index)
                without_path = case.split()[0] in ("as_it_is", "digital")
                y, rails, share = digital(x, case, rng) if without_path else captured(up, rate, case, rng)
                row["cases"][case] = {"levels": rails, "share": [float(s) for s in share],
                                      "found": judged(arguments.program, y, rate)}
            out.write(json.dumps(row) + "\n")
            out.flush()
            print(index, path.name, file=sys.stderr, flush=True)


def flagged(case):
    return any(channel["clips"] for channel in case["found"])


def accuracy(cases):
    """How level and share of the found lie to the truth, over channels of which more than a sample is cut."""
    errors, covered, ratios = [], [], []
    for case in cases:
        for channel, share in zip(case["found"], case["share"]):
            if channel["clips"] and share > 0:
                errors.append(channel["level"] - case["levels"][channel["sides"]])
                covered.append(abs(errors[-1]) <= 2 * channel["sd"])
                ratios.append(channel["share"] / share)
    if not errors:
        return ""
    off = np.abs(errors)
    return (f"; level off by {np.median(off):.2f} dB (median), {np.percentile(off, 95):.2f} dB (95 %), within 2 sd in "
            f"{100 * np.mean(covered):.0f} % of {len(off)}; share over truth {np.percentile(ratios, 10):.2f}, "
            f"{np.median(ratios):.2f}, {np.percentile(ratios, 90):.2f} (10, 50, 90 %)")


def table(rows):
    lower = [r for r in rows if r["below_file_peak_db"] > 1]
    for name, some in (("all excerpts", rows), ("more than 1 dB below the file's peak", lower)):
        print(f"{name}: {len(some)}")
        for case in EACH + SOME:
            here = [r["cases"][case] for r in some if case in r["cases"]]
            if here:
                found = [one for one in here if flagged(one)]
                text = accuracy(found) if case not in ("clean", "as_it_is") and not case.startswith("soft") else ""
                print(f"  {case:12s} flagged {share_text(len(found), len(here))}{text}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", default="build/bin/programme_clipping")
    parser.add_argument("--folder", type=pathlib.Path)
    parser.add_argument("--fetch", action="store_true")
    parser.add_argument("--excerpts", type=int, default=150)
    parser.add_argument("--some-every", type=int, default=3, help="the rarer cases in every so many excerpts")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--part", default="0/1")
    parser.add_argument("--out", default="clipping_in_music.jsonl")
    parser.add_argument("--table", nargs="*")
    arguments = parser.parse_args()
    if arguments.table:
        files = arguments.table
    else:
        if arguments.fetch:
            fetch(arguments.folder)
        run(arguments)
        files = [arguments.out]
    table([json.loads(line) for name in files for line in open(name, encoding="utf-8")])


if __name__ == "__main__":
    main()
