"""Random vehicles with noise that does not follow the engine, through the noise command: confusion matrix, 90 % recall point a
kind against a reference detector that is told the waveform's parameters, reliability of the claimed confidence, false findings.

    /usr/bin/python3 tests/bench/steady_population.py build/bin/hushtrace [how many] [seed] [--clean] [--case N] [--keep FOLDER]

Levels are told in dB over the point where the reference detector (sum of squares along the known lines, times or band,
floor known, 1 % false alarms a take) finds 90 % of this very source. Sources lie 0 to 30 dB above it, nought to three in a
vehicle, in a take with the engine off. --clean: takes of hiss alone, of 1 to 60 s. Not part of the test suite.
"""
import argparse
import collections
import json
import pathlib
import sys
import tempfile

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
sys.path.insert(0, str(pathlib.Path(__file__).parent))
import sounds  # noqa: E402
from steady_sounds import MAKERS, Floor  # noqa: E402


def write_job(folder, takes, rate, **more):
    sounds_write = sounds.write_wav
    sounds.write_wav = lambda path, channels, _rate=rate: sounds_write(path, channels, _rate)
    try:
        sounds.make_job(folder, takes, **more)
    finally:
        sounds.write_wav = sounds_write


def vehicle(rng, kinds=None, excess=(0, 30), seconds=None):
    """Takes, truth (list of (source, dB over its reference's limit)) and rate of one random vehicle."""
    rate = int(rng.choice([44100, 48000, 48000, 96000]))
    seconds = rng.uniform(6, 20) if seconds is None else seconds
    floor = Floor(rng, seconds, rate, 10 ** rng.uniform(-5, -3.5))
    if kinds is None:
        kinds = rng.choice(list(MAKERS), size=rng.integers(0, 4), replace=False)
    left, right = floor.noise(rng), floor.noise(rng)
    if rng.random() < 0.3:
        right = 0.8 * left + 0.6 * right                             # part of the hiss in common
    truth = []
    for kind in kinds:
        source = MAKERS[kind][rng.integers(len(MAKERS[kind]))](floor.n, rate, rng)
        over_db = rng.uniform(*excess)
        factor = source.needed(floor) * 10 ** (over_db / 20)
        left = left + factor * source.x
        right = right + factor * rng.uniform(0.1, 1) * source.x
        truth.append((source, over_db))
    return {"off": ({"engine": "off"}, [left, right])}, truth, rate


def clean(rng):
    rate = int(rng.choice([44100, 48000, 96000]))
    seconds = float(np.exp(rng.uniform(0, np.log(60 if rate < 96000 else 30))))
    floor = Floor(rng, seconds, rate, 10 ** rng.uniform(-5, -3))
    left = floor.noise(rng)
    right = rng.choice([0.0, 1.0]) * floor.noise(rng) if rng.random() < 0.3 else rng.uniform(0.2, 1) * floor.noise(rng)
    return {"off": ({"engine": rng.choice(["off", "idle"])}, [left, right])}, rate


def near(found, truth):
    """Whether a finding may speak of a source: its frequency, or one of its lines."""
    if truth.frequency_hz is None or found["frequency_hz"] is None:
        return found["frequency_hz"] is None and truth.frequency_hz is None
    lines = getattr(truth, "line_hz", np.array([truth.frequency_hz]))
    lines = np.append(lines, truth.frequency_hz)
    return bool(np.any(np.abs(found["frequency_hz"] / lines - 1) < 0.02))


def right(found, truth):
    if found["kind"] != truth.kind:
        return False
    if truth.kind in ("crackle", "converter_hash"):
        return True
    wide = 0.03 if truth.kind in ("motor_whine", "periodic_tick") else 0.004
    return abs(found["frequency_hz"] / truth.frequency_hz - 1) < wide


def analyse(program, takes, rate, keep=None):
    with tempfile.TemporaryDirectory() as top:
        write_job((keep or top) + "/job", takes, rate)
        return json.loads(sounds.run(program, "noise", "--job", (keep or top) + "/job", "--json"))["results"]["noise_sources"]


def point(levels, hits):
    """Level of 90 % recall: a logistic curve fitted by likelihood."""
    levels, hits = np.array(levels), np.array(hits, float)
    best = (-1e9, np.nan)
    for m in np.arange(-3, 30, 0.5):
        for s in (0.3, 0.6, 1, 1.5, 2.2, 3, 4.5):
            for miss in (0.0, 0.03):
                p = np.clip((1 - miss) / (1 + np.exp(-(levels - m) / s)), 1e-4, 1 - 1e-4)
                likely = np.sum(hits * np.log(p) + (1 - hits) * np.log(1 - p))
                if likely > best[0]:
                    reach = 0.9 / (1 - miss)
                    best = (likely, m + s * np.log(reach / (1 - reach)))
    return best[1]


def main():
    options = argparse.ArgumentParser()
    options.add_argument("program")
    options.add_argument("count", nargs="?", type=int, default=60)
    options.add_argument("seed", nargs="?", type=int, default=1)
    options.add_argument("--clean", action="store_true")
    options.add_argument("--case", type=int)
    options.add_argument("--keep")
    options.add_argument("--kind")
    options.add_argument("--quiet", action="store_true")
    asked = options.parse_args()
    if asked.clean:
        false = 0
        for n in range(asked.count):
            rng = np.random.default_rng([asked.seed, n])
            takes, rate = clean(rng)
            if asked.case is not None and n != asked.case:
                continue
            made_up = [(s["kind"], s["frequency_hz"]) for s in analyse(asked.program, takes, rate, asked.keep) if s["kind"] != "hiss"]
            if made_up:
                false += 1
                print(f"clean {n}: {len(takes['off'][1][0]) / rate:.1f} s at {rate} Hz, {takes['off'][0]}: {made_up}", flush=True)
        print(f"{false} of {asked.count} clean takes give a finding other than hiss ({100 * false / asked.count:.2f} %)")
        return
    matrix = collections.defaultdict(collections.Counter)
    levels, made_up, claims = collections.defaultdict(list), collections.Counter(), []
    wrong = []
    for n in range(asked.count):
        rng = np.random.default_rng([asked.seed, n])
        takes, truth, rate = vehicle(rng, kinds=[asked.kind] if asked.kind else None)
        if asked.case is not None and n != asked.case:
            continue
        found = [s for s in analyse(asked.program, takes, rate, asked.keep) if s["kind"] != "hiss"]
        used = set()
        note = []
        for source, over_db in truth:
            hit = [i for i, s in enumerate(found) if right(s, source)]
            levels[source.kind].append((over_db, bool(hit), n))
            if hit:
                used.update(hit)
                matrix[source.kind][source.kind] += 1
                continue
            other = [i for i, s in enumerate(found) if near(s, source)]
            matrix[source.kind][found[other[0]]["kind"] if other else "missed"] += 1
            note.append(f"{source.kind} {source.about} {source.frequency_hz or 0:.1f} Hz +{over_db:.0f} dB "
                        f"{'read as ' + found[other[0]]['kind'] if other else 'missed'}")
        for i, s in enumerate(found):
            claims.append((s["confidence"], i in used))
            if i not in used:
                made_up[s["kind"]] += 1
                wrong.append((n, s["kind"]))
                note.append(f"{s['kind']} {s['frequency_hz']} Hz not so ({s['confidence']}), {s['level_dbfs']} dBFS")
        if note and not asked.quiet:
            print(f"case {n} ({len(takes['off'][1][0]) / rate:.0f} s, {[s.kind for s, _ in truth]}): " + "; ".join(note), flush=True)
    columns = [*MAKERS, "missed"]
    print("\nconfusion: true kind down, found kind across")
    print(f"{'':18}" + "".join(f"{c[:9]:>10}" for c in columns))
    for kind in MAKERS:
        print(f"{kind:18}" + "".join(f"{matrix[kind][c]:10}" for c in columns))
    print(f"{'not so':18}" + "".join(f"{made_up[c]:10}" for c in columns))
    print("\nkind              sources  90 % point over the reference's   recall 6 dB above it   precision")
    total = [0, 0]
    for kind in MAKERS:
        if not levels[kind]:
            continue
        at = point([v for v, _, _ in levels[kind]], [h for _, h, _ in levels[kind]])
        above = [(h, n) for v, h, n in levels[kind] if v >= at + 6]
        hits = sum(h for h, _ in above)
        false = made_up[kind]
        precision = f"{sum(h for _, h, _ in levels[kind])}/{sum(h for _, h, _ in levels[kind]) + false}"
        total[0] += hits
        total[1] += len(above)
        print(f"{kind:18}{len(levels[kind]):7}{at:20.1f} dB{hits:22}/{len(above):<6}{precision:>12}")
    print(f"all kinds: recall {total[0]}/{total[1]}; right {sum(r for _, r in claims)} of {len(claims)} findings")
    print("\nclaimed confidence   findings   right")
    for low, high in ((0, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 1.01)):
        some = [r for c, r in claims if low <= c < high]
        if some:
            print(f"{low:.2f} to {min(high, 1):.2f}{len(some):18}{100 * np.mean(some):8.0f} %")


if __name__ == "__main__":
    main()
