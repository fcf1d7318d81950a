#!/usr/bin/env python3
"""How surely is clipping found in music, and how seldom in music that doesn't clip?

Half-minute excerpts of music that Debian packages carry are played through a simulated source and an analogue path:
four times oversampled; a rail (none for clean); two couplings (0.5 to 16 Hz, 0.5 to 4 Hz); a low-pass of first order
(30 to 80 kHz); a gain of -20 to -3 dB; down to the capture's rate (44.1 or 48 kHz, the file's own in half of the cases);
noise 75 to 100 dB below the peak; 24 bits. All from a seed. The program programme_clipping judges what arrives.

Clean is what isn't clipped in the file. Much released music is, so the figures are given for all excerpts, and for those
whose own peak lies more than 1 dB below the highest peak of the whole file: a limiter or clipper at the end of the
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

PACKAGES = ["drascula-music", "hyperrogue-music", "singularity-music", "asc-music", "planetblupi-music-ogg",
            "warzone2100-music"]
SECONDS, OVER = 30, 4


def fetch(folder):
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["apt-get", "download", *PACKAGES], cwd=folder, check=True)
    for package in folder.glob("*.deb"):
        subprocess.run(["dpkg-deb", "-x", package, folder / package.name.split("_")[0]], check=True)


def decode(path, rate, start=0.0, seconds=None):
    """Float samples [frames, 2]: a decoder that overshoots full scale doesn't clip here."""
    length = [] if seconds is None else ["-t", str(seconds)]
    raw = subprocess.run(["ffmpeg", "-v", "error", "-ss", str(start), *length, "-i", path, "-f", "f32le", "-ac", "2",
                          "-ar", str(rate), "-"], capture_output=True, check=True).stdout
    return np.frombuffer(raw[: len(raw) // 8 * 8], dtype=np.float32).reshape(-1, 2).astype(float)


def first_order(x, corner_hz, rate, high):
    k = np.exp(-2 * np.pi * corner_hz / rate)
    b = [(1 + k) / 2, -(1 + k) / 2] if high else [1 - k]
    return lfilter(b, [1, -k], x, axis=0)


def captured(up, rate, depth_db, rng):
    """What arrives of oversampled music behind a rail `depth_db` below its peak (None: no rail), and the rail's level."""
    peak = np.abs(up).max()
    log_uniform = lambda low, high: np.exp(rng.uniform(np.log(low), np.log(high)))
    couplings, low_pass = (log_uniform(0.5, 16), log_uniform(0.5, 4)), rng.uniform(30e3, 80e3)
    gain, noise = 10 ** (rng.uniform(-20, -3) / 20) / peak, 10 ** (rng.uniform(-100, -75) / 20)
    rail = None if depth_db is None else peak * 10 ** (-depth_db / 20)
    y = up if rail is None else np.clip(up, -rail, rail)
    for corner in couplings:
        y = first_order(y, corner, OVER * rate, True)
    y = gain * resample_poly(first_order(y, low_pass, OVER * rate, False), 1, OVER, axis=0)
    y += rng.normal(0, noise * gain * peak, y.shape)
    return np.round(y * 2**23) / 2**23, None if rail is None else 20 * np.log10(gain * rail)


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
            start = place * max(0.0, len(whole) / 44100 - SECONDS)
            x = decode(path, rate, start, SECONDS)
            if len(x) < 0.9 * SECONDS * rate or np.abs(x).max() < 0.02:
                continue
            own = 20 * np.log10(np.abs(x).max() / np.abs(whole).max())
            up = resample_poly(x, OVER, 1, axis=0)
            over = np.abs(up) / np.abs(up).max()
            row = {"file": path.name, "package": path.relative_to(arguments.folder).parts[0], "start_s": round(start, 1),
                   "rate": rate, "below_file_peak_db": round(-own, 2), "as_it_is": judged(arguments.program, 0.5 * x, rate)}
            for depth in [None] + arguments.depths:
                y, level = captured(up, rate, depth, np.random.default_rng(arguments.seed + 1000 + index))
                row[str(depth)] = {"level": level, "found": judged(arguments.program, y, rate)}
                if depth is not None:
                    row[str(depth)]["share"] = [float((over[:, c] > 10 ** (-depth / 20)).mean()) for c in (0, 1)]
            out.write(json.dumps(row) + "\n")
            out.flush()
            print(index, path.name, file=sys.stderr, flush=True)


def flagged(found):
    return any(channel["clips"] for channel in found)


def table(rows):
    sets = [("all excerpts", rows), ("more than 1 dB below the file's peak", [r for r in rows if r["below_file_peak_db"] > 1])]
    depths = sorted({k for r in rows for k in r if k.replace(".", "").isdigit()}, key=float)
    for name, some in sets:
        if not some:
            continue
        print(f"{name}: {len(some)}")
        print(f"  as it is          flagged {sum(flagged(r['as_it_is']) for r in some)}")
        print(f"  clean, captured   flagged {sum(flagged(r['None']['found']) for r in some)}")
        for d in depths:
            here = [r[d] for r in some if d in r]
            found = [one for one in here if flagged(one["found"])]
            errors, covered, ratio = [], [], []
            for one in found:
                for c, channel in enumerate(one["found"]):
                    if channel["clips"] and one["share"][c] > 0:
                        errors.append(channel["level"] - one["level"])
                        covered.append(abs(errors[-1]) <= 2 * channel["sd"])
                        ratio.append(channel["share"] / one["share"][c])
            text = "" if not errors else (f"; level off by {np.median(np.abs(errors)):.2f} dB (median), "
                                          f"{np.percentile(np.abs(errors), 95):.2f} dB (95 %), within 2 sd in "
                                          f"{100 * np.mean(covered):.0f} %; share over truth {np.median(ratio):.2f} (median)")
            print(f"  clipped by {d} dB  found {len(found)} of {len(here)} ({100 * len(found) / max(1, len(here)):.1f} %){text}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", default="build/bin/programme_clipping")
    parser.add_argument("--folder", type=pathlib.Path)
    parser.add_argument("--fetch", action="store_true")
    parser.add_argument("--excerpts", type=int, default=150)
    parser.add_argument("--depths", type=float, nargs="*", default=[1.0])
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
