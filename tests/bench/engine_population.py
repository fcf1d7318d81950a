"""Random vehicles through the noise command: whine constant, engine order and speed against the truth.

    nice /usr/bin/python3 tests/bench/engine_population.py build/bin/hushtrace [how many] [seed] [this case alone]

Every vehicle has a whine, hiss and, by the toss of coins, ignition, a pump that wanders on its own and a steady tone; one
in eight has two sets of windings. Takes: engine off, idle, and one held, wandering or swept. The speed is known by a log
(late by up to 3 s, counting in steps), by ignition with the cylinders told, by typed figures up to 5 % wrong, or not
at all. Prints a line for each bad case, and a table. Not part of the test suite.
"""
import json
import os
import pathlib
import sys
import tempfile

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
sys.path.insert(0, str(pathlib.Path(__file__).parent))
from shares import share_of, share_text  # noqa: E402
from sounds import RATE, clicks, hiss, make_job, run, speed, tone, turning  # noqa: E402

program = sys.argv[1]
count = int(sys.argv[2]) if len(sys.argv) > 2 else 60
seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
only = int(sys.argv[4]) if len(sys.argv) > 4 else None
table = {}


def log_text(rpm, every_s, late_s, step):
    times = np.arange(0, rpm.size / RATE + 1, every_s)
    values = rpm[np.clip(((times - late_s) * RATE).astype(int), 0, rpm.size - 1)]
    return "time_s,rpm\n" + "".join(f"{t:.2f},{step * round(v / step):g}\n" for t, v in zip(times, values))


def vehicle(rng):
    two = rng.random() < 0.125
    k = rng.uniform(1.2, 2.4) if rng.random() < 0.85 else rng.uniform(0.85, 2.75)
    return {"k": 2 * k if two else k, "two": two, "way": rng.choice(["log", "firing", "typed", "none"], p=[0.3, 0.25, 0.35, 0.1]),
            "cylinders": int(rng.choice([3, 4, 5, 6, 8])), "second": rng.choice(["held", "wandering", "sweep"]),
            "idle": rng.uniform(620, 1050), "raised": rng.uniform(1500, 2600)}


for n in range(count):
    rng = np.random.default_rng([seed, n])
    v = vehicle(rng)
    rms = 10 ** rng.uniform(-5, -3.5)
    cell = np.sqrt(2 * rms**2 / 24000 * 9)             # a sine as strong as the hiss in 9 Hz
    a = cell * 10 ** (rng.uniform(12, 40) / 20)
    seconds = rng.uniform(8, 12)
    samples = int(seconds * RATE)
    idle = v["idle"] * speed(seconds, rng.uniform(0.006, 0.02), seed=int(rng.integers(1 << 30)))[:samples]
    if v["second"] == "sweep":
        t = np.linspace(0, 1, samples)
        second = v["idle"] + (v["raised"] - v["idle"]) * np.clip(np.minimum(t - 0.12, 0.88 - t) / 0.35, 0, 1)
    else:
        second = v["raised"] * speed(seconds, 0 if v["second"] == "held" else rng.uniform(0.003, 0.01), seed=int(rng.integers(1 << 30)))[:samples]
    pump, pump_hz, steady = rng.random() < 0.4, rng.uniform(500, 3000), rng.random() < 0.4
    ticks = v["way"] == "firing" or rng.random() < 0.3
    takes, logs = {"off": ({"engine": "off"}, [hiss(6, rms, seed=int(rng.integers(1 << 30))) for _ in range(2)])}, {}
    if steady:
        for x in takes["off"][1]:
            x += tone(2750.3, 6, 4 * cell)
    typed_errors = []
    for name, rpm in (("idle", idle), ("second", second)):
        x = turning(v["k"], rpm, a)
        for h, least, most in ((2, 6, 16), (3, 10, 20)):
            x += turning(h * v["k"], rpm, a * 10 ** (-rng.uniform(least, most) / 20), phase=rng.uniform(0, 6))
        if v["two"]:
            x += turning(v["k"] / 2, rpm, a * 10 ** (-rng.uniform(8, 25) / 20), phase=1)
        if ticks:
            x += clicks(v["cylinders"] / 120, rpm, rms * 10 ** (rng.uniform(22, 38) / 20), seed=int(rng.integers(1 << 30)))
        if pump:
            x += turning(pump_hz, speed(seconds, rng.uniform(0.004, 0.015), seed=int(rng.integers(1 << 30)))[:samples], a * 10 ** (rng.uniform(-6, 6) / 20))
        if steady:
            x += tone(2750.3, seconds, 4 * cell)[:samples]
        conditions = {"engine": "idle" if name == "idle" else "sweep" if v["second"] == "sweep" else "raised"}
        if v["way"] == "typed" and conditions["engine"] != "sweep":
            typed_errors.append(rng.uniform(0.95, 1.05))
            conditions["rpm"] = float(round(rpm.mean() * typed_errors[-1]))
        if v["way"] == "log":
            conditions["rpm_log"] = f"takes/{name}.csv"
            logs[f"{name}.csv"] = log_text(rpm, rng.choice([0.1, 0.25, 0.5]), rng.uniform(-3, 3), rng.choice([1, 4, 10]))
        takes[name] = (conditions, [x + hiss(seconds, rms, seed=int(rng.integers(1 << 30)))[:samples],
                                    rng.uniform(0.3, 1) * x + hiss(seconds, rms, seed=int(rng.integers(1 << 30)))[:samples]])
    about = {"cylinders": v["cylinders"]} if v["way"] == "firing" else {}
    if v["way"] == "none":
        ratio = round(rng.uniform(2, 3), 2)
        about["alternator"] = {"pole_pairs": round(10 / (2 if v["two"] else 1) * v["k"] / ratio, 3), "pulley_ratio": ratio}
    if only is not None and n != only:
        continue
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", takes, vehicle=about)
        for name, text in logs.items():
            pathlib.Path(top, "job/takes", name).write_text(text)
        result = json.loads(run(program, "noise", "--job", top + "/job", "--json", timeout=600))["results"]
    engine = result["engine"]
    if only is not None:
        print(json.dumps(engine, indent=1), [(s["kind"], s["frequency_hz"], s["engine_order"], s["confidence"], s["takes"]) for s in result["noise_sources"]])
    whine = next((s for s in result["noise_sources"] if s["kind"] == "alternator_whine"), None)
    row = table.setdefault(v["way"], {"vehicles": 0, "whine": 0, "k told": 0, "k errors": [], "k z": [], "order errors": [], "order z": [], "rpm errors": [], "rpm z": [], "health": 0, "lines": [0, 0]})
    row["vehicles"] += 1
    row["whine"] += whine is not None
    row["health"] += len(result["health"]) > 0
    case = f"case {n}: {v}, whine {20 * np.log10(a / cell):.0f} dB, pump {pump and round(pump_hz)}, ticks {ticks}"
    truth = {"takes/idle.wav": idle.mean(), "takes/second.wav": second.mean()}
    for take in engine["takes"]:
        if take["whine_hz"]:
            row["lines"][0] += 1
            row["lines"][1] += abs(take["whine_hz"] / (v["k"] * truth[take["take"]]) - 1) < 0.01
        if take["rpm"]:
            row["rpm errors"].append(take["rpm"] / truth[take["take"]] - 1)
            row["rpm z"].append((take["rpm"] - truth[take["take"]]) / take["rpm_sd"])
    if engine["hz_per_rpm"]:
        error = engine["hz_per_rpm"] / v["k"] - 1
        row["k told"] += 1
        row["k errors"].append(error)
        row["k z"].append((engine["hz_per_rpm"] - v["k"]) / engine["hz_per_rpm_sd"])
        if abs(row["k z"][-1]) > 3 or abs(error) > 0.1:
            print(f"{case}: k {engine['hz_per_rpm']} ± {engine['hz_per_rpm_sd']:.3f}, lines {[t['whine_hz'] for t in engine['takes']]} of {[round(v['k'] * x) for x in truth.values()]}")
    if whine and whine["engine_order"]:
        row["order errors"].append(whine["engine_order"] / (60 * v["k"]) - 1)
        row["order z"].append((whine["engine_order"] - 60 * v["k"]) / whine["engine_order_sd"])
    if result["health"]:
        print(f"{case}: health made up {[(h['fault'], h['confidence']) for h in result['health']]}")


def quantiles(values):
    if not values:
        return f"{'-':>20}"
    size = np.abs(values)
    return f"{100 * np.median(size):6.2f} {100 * np.quantile(size, 0.9):6.2f} {np.mean(size < 0.005):6.2f}"


def inside(z):
    return f"{np.mean(np.abs(z) < 2):5.2f}" if z else "    -"


print(f"{'speed by':8} vehicles whine lines right  k told |k error| %: median 90%, <0.5%  in 2 sd  order: median 90%, <0.5%  in 2 sd"
      "  rpm: median 90%, <0.5%  in 2 sd  health made up")
for way, row in sorted(table.items()):
    print(f"{way:8} {row['vehicles']:8} {row['whine']:5} {row['lines'][1]:5}/{row['lines'][0]:<5} {row['k told']:7}   {quantiles(row['k errors'])}"
          f"        {inside(row['k z'])}     {quantiles(row['order errors'])}       {inside(row['order z'])}   {quantiles(row['rpm errors'])}"
          f"      {inside(row['rpm z'])}   {row['health']:5}")

known = [error for way in ("log", "firing") for error in table.get(way, {"order errors": []})["order errors"]]
typed = [z for way in ("typed", "none") for z in table.get(way, {"k z": []})["k z"]]
lines = np.sum([row["lines"] for row in table.values()], axis=0)
print(f"order within 0.5 % where a log or ignition gives the speed: {share_of(abs(e) < 0.005 for e in known)}")
print(f"constant within 2 sd from typed speeds or the alternator: {share_of(abs(z) < 2 for z in typed)}")
print(f"right line in a take: {share_text(lines[1], lines[0])}; faults made up in {sum(row['health'] for row in table.values())} of {count}; seed {seed}")
