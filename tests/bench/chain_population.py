"""Random simulated sources, each with a sound of its own, captured as an installer would, and what `chain` says of them.

    /usr/bin/python3 tests/bench/chain_population.py PROGRAM N SEED [--show]

Drawn: an equaliser (flat, bass boost, loudness, a dip), a crossover on left and right with a subwoofer's output, an all-pass on the right, bass
that falls as the volume rises, a limiter, the right channel quieter, turned or late, swapped leads. Captured: a sweep on both outputs at three
volumes, one on the left output alone, one louder, left beside the subwoofer. Printed: the share of right words by what was drawn. The truth is
the scenario's; the filters themselves are judged against SciPy (tests/measure/judge, tests/simulation).
"""
import argparse
import json
import pathlib
import subprocess
import tempfile

import numpy as np

from shares import share_of

ROOT = pathlib.Path(__file__).resolve().parents[2]
VOLUMES = (14, 24, 34)


def run(program, *words, expect=0):
    done = subprocess.run([program, *map(str, words)], stdin=subprocess.DEVNULL, capture_output=True, text=True)
    assert done.returncode == expect, (words, done.returncode, done.stderr[-500:])
    return done.stdout


def log_uniform(rng, low, high):
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def draw(rng):
    """A scenario, and what is true of it."""
    scenario = json.loads((ROOT / "signals" / "healthy.json").read_text())
    source = scenario["source"]
    source["full_scale_v"], source["crosstalk_db"] = 2.5, float(rng.uniform(-85, -45))
    truth = {"equaliser": str(rng.choice(["flat", "bass_boost", "loudness", "dip"])), "split": bool(rng.random() < 0.4),
             "all_pass": bool(rng.random() < 0.35), "bass_falls": bool(rng.random() < 0.4), "limiter": bool(rng.random() < 0.3),
             "turned": bool(rng.random() < 0.3), "swapped": bool(rng.random() < 0.25), "balance_db": float(rng.uniform(-3, 3)),
             "delay_ms": float(rng.choice([0, 0, 0.5, 2.0])), "crosstalk_db": source["crosstalk_db"]}
    if truth["equaliser"] == "bass_boost":
        truth["parts"] = [("peak", log_uniform(rng, 45, 80), float(rng.uniform(4, 10)))]
        source["equaliser"] = [{"kind": "peak", "frequency_hz": truth["parts"][0][1], "gain_db": truth["parts"][0][2], "q": 1.0}]
    elif truth["equaliser"] == "loudness":
        truth["parts"] = [("low_shelf", log_uniform(rng, 80, 150), float(rng.uniform(4, 9))),
                          ("high_shelf", log_uniform(rng, 5000, 9000), float(rng.uniform(3, 7)))]
        source["equaliser"] = [{"kind": k, "frequency_hz": f, "gain_db": g} for k, f, g in truth["parts"]]
    elif truth["equaliser"] == "dip":
        truth["parts"] = [("peak", log_uniform(rng, 300, 6000), -float(rng.uniform(3, 9)))]
        source["equaliser"] = [{"kind": "peak", "frequency_hz": truth["parts"][0][1], "gain_db": truth["parts"][0][2], "q": float(rng.uniform(1, 3))}]
    else:
        truth["parts"] = []
    left, right = [], []
    if truth["split"]:
        truth["corner_hz"] = log_uniform(rng, 80, 160)
        crossover = {"frequency_hz": truth["corner_hz"], "order": 4, "linkwitz_riley": True}
        left.append({"kind": "high_pass", **crossover})
        right.append({"kind": "high_pass", **crossover})
        source["sub"] = {"positive_rail_v": 6, "negative_rail_v": -6, "filters": [{"kind": "low_pass", **crossover}]}
        truth["parts"] = truth["parts"] + [("high_pass", truth["corner_hz"], 24)]
    if truth["all_pass"]:
        truth["all_pass_hz"] = log_uniform(rng, 500, 3000)
        right.append({"kind": "all_pass", "frequency_hz": truth["all_pass_hz"], "order": 2, "q": float(rng.uniform(0.6, 1.5))})
    source["left"].update(filters=left)
    source["right"].update(filters=right, gain_db=truth["balance_db"], inverted=truth["turned"], delay_ms=truth["delay_ms"])
    if truth["bass_falls"]:
        source["volume_bass"] = {"frequency_hz": 90, "table_db": [[10, 4], [20, 0], [38, -float(rng.uniform(4, 9))]]}
    if truth["limiter"]:
        source["limiter"] = {"threshold_v": 0.1, "ratio": float(rng.choice([4, 20]))}
    scenario["lead"]["swapped"] = truth["swapped"]
    return scenario, truth


def captured(program, folder, scenario, truth, rng):
    """The job's folder with its takes."""
    file, job = folder + "/vehicle.json", folder + "/job"
    pathlib.Path(file).write_text(json.dumps(scenario))
    run(program, "job", "--new", "--job", job, "--title", "drawn")
    first = ["--meter"]

    def take(name, *words):
        run(program, "capture", "--job", job, "--simulate", file, *first, "--name", name, "--engine", "off", "--format", "wav", *words)
        first.clear()

    for level, channel in ((-20, "both"), (-20, "left"), (-3, "both")):
        out = f"{folder}/{channel}{level}.wav"
        run(program, "tones", "sweep", "--duration", 3, "--level", level, "--channel", channel, "--bits", 24, "--out", out)
    sweep = ["--tone", "sweep", "--duration", 3, "--via", "stick"]
    both, loud, left = f"{folder}/both-20.wav", f"{folder}/both-3.wav", f"{folder}/left-20.wav"
    middle = VOLUMES[1]
    for volume in (VOLUMES if truth["bass_falls"] or rng.random() < 0.3 else ()):
        if volume != middle:
            take(f"v{volume}", "--volume", volume, *sweep, "--level", -20, "--played", both)
    take("left", "--volume", middle, *sweep, "--level", -20, "--played", left, "--tone-channel", "left")
    if truth["split"]:
        take("sub", "--volume", middle, "--channels", "left,sub", *sweep, "--level", -20, "--played", both)
    if truth["limiter"] or rng.random() < 0.3:
        take("loud", "--volume", middle, *sweep, "--level", -3, "--played", loud)
    take("both", "--volume", middle, *sweep, "--level", -20, "--played", both)
    return job


def near(told, part, octaves=0.12, db=0.8):
    kind, hz, size = part
    if told["kind"] != kind or abs(np.log2(told["frequency_hz"] / hz)) > octaves:
        return False
    return told["slope_db_per_octave"] == size if kind.endswith("pass") else abs(told["gain_db"] - size) < db


def judged(results, warnings, truth):
    """What was asked, and whether the word was right."""
    channels = {c["channel"]: c for c in results["channels"]}
    left, right = channels["left"], channels["right"]
    quiet, loud = (right, left) if truth["swapped"] else (left, right)   # as the source has them: `loud` bears what was drawn for its right
    codes = {w["code"] for w in warnings}
    parts = list(truth["parts"])
    told = quiet["shape"]["parts"] if quiet["shape"] else []
    if truth["bass_falls"]:   # the shelf that the volume sets is in the response too
        volume_db = float(np.interp(VOLUMES[1], [10, 20, 38], [4, 0, truth["fall_db"]]))
        if abs(volume_db) > 0.7:
            parts = None
    marks = {}
    if parts is not None:
        if truth["split"] and truth["equaliser"] in ("loudness", "bass_boost"):   # two ways to say the same bend: only what lies above is asked
            parts, told = ([p for p in parts if p[1] > 1000], [t for t in told if t["frequency_hz"] > 1000])
        marks["equaliser and crossover"] = len(told) == len(parts) and all(any(near(t, p) for t in told) for p in parts)
        if not truth["split"]:
            marks["loudness"] = quiet["shape"]["loudness"] == (truth["equaliser"] == "loudness")
    sign = -1 if truth["swapped"] else 1
    marks["balance"] = abs(right["balance_db"] - sign * truth["balance_db"]) < 0.15
    if not truth["all_pass"]:
        marks["delay"] = abs(right["delay_ms"] - sign * truth["delay_ms"]) < 0.05
    marks["polarity"] = (loud["polarity"] == "inverted") == truth["turned"] and quiet["polarity"] == "normal"
    marks["swapped leads"] = ("channels_swapped" in codes) == truth["swapped"]
    crosstalk = left["crosstalk_db"] if truth["swapped"] else right["crosstalk_db"]
    if not truth["swapped"] and crosstalk is not None:
        # the leak is a share of the neighbour's signal, held against that neighbour; the heard channel's own gain has no part
        marks["crosstalk"] = abs(crosstalk - truth["crosstalk_db"]) < 1.0 or right["crosstalk_db_limited_by"] == "noise"
    marks["all-pass"] = (not quiet["all_passes"] and bool(loud["all_passes"]) == truth["all_pass"]
                         and (not truth["all_pass"] or abs(np.log2(loud["all_passes"][0]["frequency_hz"] / truth["all_pass_hz"])) < 0.2))
    sides = next((s for s in results["sums"] if set(s["channels"]) == {"left", "right"}), None)
    if truth["all_pass"] and not truth["delay_ms"] and not truth["turned"]:
        marks["cancelling"] = sides is not None and sides["cause"] == "all_pass"
    if not (truth["all_pass"] or truth["delay_ms"] or truth["turned"]):
        marks["cancelling"] = sides is None or sides["cause"] is None
    if truth["split"]:
        crossing = [c for c in results["crossings"] if c["lower"] == "sub" and c["upper"] == "left"]
        if not truth["swapped"]:
            wide = 0.6 if truth["equaliser"] in ("loudness", "bass_boost") or truth["bass_falls"] else 0.2
            marks["crossover and sum"] = (len(crossing) == 1 and abs(np.log2(crossing[0]["frequency_hz"] / truth["corner_hz"])) < wide
                                          and crossing[0]["added_db"] > 4.5)
    else:
        marks["no crossover"] = not results["crossings"]
    by_volume = [v for v in results["volume_dependence"] if v["channel"] == ("right" if truth["swapped"] else "left")]
    if by_volume and not truth["limiter"]:
        marks["bass by volume"] = by_volume[0]["bass_varies"] == truth["bass_falls"]
    by_level = [v for v in results["level_dependence"] if v["channel"] == ("right" if truth["swapped"] else "left")]
    if by_level:
        marks["limiter"] = (by_level[0]["kind"] != "straight") == truth["limiter"]
    return marks


def one(program, rng, show=False):
    scenario, truth = draw(rng)
    truth["fall_db"] = scenario["source"].get("volume_bass", {"table_db": [[0, 0]]})["table_db"][-1][1]
    with tempfile.TemporaryDirectory(prefix="hushtrace-chain-") as folder:
        job = captured(program, folder, scenario, truth, rng)
        found = json.loads(run(program, "chain", "--job", job, "--json"))
    marks = judged(found["results"], found["warnings"], truth)
    if show and not all(marks.values()):
        told = {c["channel"]: {k: c[k] for k in ("polarity", "delay_ms", "balance_db", "crosstalk_db", "all_passes")}
                | {"shape": c["shape"] and c["shape"]["text"]} for c in found["results"]["channels"]}
        texts = [x["text"] for name in ("sums", "crossings", "volume_dependence", "level_dependence") for x in found["results"][name]]
        print("wrong:", [k for k, v in marks.items() if not v], "\n  drawn", truth, "\n  told", told, texts, [w["text"] for w in found["warnings"]])
    return marks


def population(program, count, seed, show=False):
    rng = np.random.default_rng(seed)
    counts = {}
    for _ in range(count):
        for what, right in one(program, rng, show).items():
            counts.setdefault(what, []).append(right)
    return counts


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("count", type=int)
    parser.add_argument("seed", type=int)
    parser.add_argument("--show", action="store_true")
    asked = parser.parse_args()
    table = population(asked.program, asked.count, asked.seed, asked.show)
    for what, marks in sorted(table.items()):
        print(f"{what:26} {share_of(marks)}")
    print(f"all words: {share_of([m for marks in table.values() for m in marks])}; {asked.count} sources, seed {asked.seed}")
