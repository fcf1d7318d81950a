"""Random vehicles through the noise command: how often each kind of noise is found, missed or made up.

    /usr/bin/python3 tests/bench/noise_population.py build/bin/hushtrace [how many] [seed] [this case alone] [keep it here]

Every vehicle has hiss; whine, ignition and mains hum are there or not by the toss of a coin, at levels from 6 dB above
what the hiss would hide. Takes: engine off, idle. Prints a line for each miss, and a table. Not part of the test suite.
"""
import json
import pathlib
import sys
import tempfile

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
from sounds import clicks, hiss, make_job, run, speed, tone, turning  # noqa: E402

program = sys.argv[1]
count = int(sys.argv[2]) if len(sys.argv) > 2 else 50
rng = np.random.default_rng(int(sys.argv[3]) if len(sys.argv) > 3 else 1)
tally = {kind: [0, 0, 0, 0] for kind in ("alternator_whine", "ignition_tick", "mains_hum", "other")}   # hit, miss, made up, wrong

for n in range(count):
    rpm = rng.uniform(620, 1050)
    cylinders = int(rng.choice([3, 4, 5, 6, 8]))
    constant = rng.uniform(1.2, 2.4)
    share = rng.uniform(0.008, 0.03)
    rms = 10 ** rng.uniform(-5, -3.3)
    seconds = rng.uniform(8, 15)
    engine = speed(seconds, share, seed=int(rng.integers(1 << 30)))
    whine_hz, fire_hz = constant * rpm, rpm * cylinders / 120
    density = rms * rms / 24000
    has = {kind: bool(rng.random() < 0.6) for kind in ("alternator_whine", "ignition_tick", "mains_hum")}
    off = [hiss(10, rms, seed=int(rng.integers(1 << 30))) for _ in range(2)]
    on = [hiss(seconds, rms, seed=int(rng.integers(1 << 30))) for _ in range(2)]
    if has["alternator_whine"]:
        # from 6 dB over the hiss in a cell of 9 Hz to 46 dB
        a = np.sqrt(2 * density * 9) * 10 ** (rng.uniform(6, 46) / 20)
        w = turning(whine_hz, engine, a)
        for k, least, most in ((2, 6, 16), (3, 10, 20)):
            w += turning(k * whine_hz, engine, a * 10 ** (-rng.uniform(least, most) / 20), phase=rng.uniform(0, 6))
        on[0] += w
        on[1] += w * rng.uniform(0.3, 1)
    if has["ignition_tick"]:
        c = clicks(fire_hz, engine, rms * 10 ** (rng.uniform(14, 40) / 20), seed=int(rng.integers(1 << 30)))
        on[0] += c
        on[1] += c * rng.uniform(0.3, 1)
    f0 = rng.choice([50, 60]) * rng.uniform(0.998, 1.002)
    if has["mains_hum"]:
        a = np.sqrt(2 * density * 1.5) * 10 ** (rng.uniform(16, 50) / 20)
        for h in (1, 2, 3, 5):
            for x, s in ((off, 10), (on, seconds)):
                t = tone(f0 * h, s, a / h)
                x[0][: t.size] += t
                x[1][: t.size] += 0.8 * t
    conditions = {"engine": "idle"}
    if rng.random() < 0.6:
        conditions["rpm"] = float(round(rpm * engine.mean() * rng.uniform(0.95, 1.05)))
    vehicle = {"cylinders": cylinders} if rng.random() < 0.6 else {}
    if len(sys.argv) > 4 and n != int(sys.argv[4]):
        continue
    with tempfile.TemporaryDirectory() as top:
        if len(sys.argv) > 5:
            top = sys.argv[5]
        make_job(top + "/job", {"off": ({"engine": "off"}, off), "idle": (conditions, on)}, vehicle=vehicle)
        result = json.loads(run(program, "noise", "--job", top + "/job", "--json"))
    sources = result["results"]["noise_sources"]
    truth = {"alternator_whine": whine_hz * engine.mean(), "ignition_tick": fire_hz * engine.mean(), "mains_hum": f0}
    for kind, hz in truth.items():
        got = [s for s in sources if s["kind"] == kind]
        right = [s for s in got if abs(s["frequency_hz"] / hz - 1) < 0.01]
        if has[kind] and right:
            tally[kind][0] += 1
        elif has[kind]:
            tally[kind][3 if got else 1] += 1
            print(f"case {n}: {kind} at {hz:.1f} Hz {'read as ' + str([round(s['frequency_hz'], 1) for s in got]) if got else 'missed'}; has {has}, {conditions}, cylinders {cylinders}")
        elif got:
            tally[kind][2] += 1
            print(f"case {n}: {kind} made up at {[round(s['frequency_hz'], 1) for s in got]}; truth {truth}, has {has}, {conditions}")
    extra = [s for s in sources if s["kind"] not in truth and s["kind"] != "hiss"]
    if extra:
        tally["other"][2] += 1
        print(f"case {n}: made up {[(s['kind'], round(s['frequency_hz'], 1), round(s['level_dbfs'], 1)) for s in extra]}; truth {truth}, has {has}, cylinders {cylinders}")
    if any(h for h in result["results"]["health"]):
        print(f"case {n}: health made up {result['results']['health']}")
print(f"{'kind':20}{'found':>8}{'missed':>8}{'wrong':>8}{'made up':>9}   of {count} vehicles")
for kind, (hit, miss, made_up, wrong) in tally.items():
    print(f"{kind:20}{hit:8}{miss:8}{wrong:8}{made_up:9}")
