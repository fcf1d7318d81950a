"""A whine that each firing swings, through the noise command: whether it is found, and at its own frequency.

    nice /usr/bin/python3 tests/bench/swing_population.py PROGRAM N SEED [--swing RADIANS]
    nice /usr/bin/python3 tests/bench/swing_population.py PROGRAM N SEED --simulate VEHICLE RPM [--seconds S]

The first way makes N takes with NumPy: an alternator's lines at a third, a half, one and two times the whine, whose phases swing at the firing
rate, each by its share of a swing of 0.3 to 1.2 radians at the whine (or that of --swing); 4, 5, 6 or 8 cylinders, 700 to 3000 rpm, 0.3 to 3 %
of wander (above 1000 rpm 1 % at most), in half a pump that turns by itself, in a third ignition. The second way has N takes captured from a
simulated vehicle held at a speed, behind SEED short ones that are not counted. Right is one whine within 1 % of its mean frequency
(an idling simulated engine's mean over a take strays by more: 3 %). Prints each that isn't, and counts.
"""
import argparse
import json
import os
import pathlib
import sys
import tempfile

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
from shares import share_text  # noqa: E402
from sounds import RATE, clicks, hiss, make_job, run, speed, turning  # noqa: E402

REPOSITORY = pathlib.Path(__file__).parent.parent.parent


def vehicle(rng, swing=None):
    rpm = rng.uniform(700, 3000)
    return {"rpm": rpm, "hz": rpm * rng.uniform(1.3, 2.3), "cylinders": int(rng.choice([4, 5, 6, 8])), "swing": swing or rng.uniform(0.3, 1.2),
            "wander": 10 ** rng.uniform(np.log10(0.003), np.log10(0.03 if rpm < 1000 else 0.01)), "pump": rng.random() < 0.5, "ticks": rng.random() < 1 / 3,
            "level": 10 ** rng.uniform(-3.7, -2.6), "hiss": 10 ** rng.uniform(-6, -5.3)}


def swung(order_hz, pace, amplitude, radians, firing_hz):
    turns = 2 * np.pi * np.cumsum(pace) / RATE
    return amplitude * np.sin(order_hz * turns + radians * np.sin(firing_hz * turns))


def take_of(v, rng, seconds=6):
    """Two channels of one vehicle, and the pace of its engine."""
    new = lambda: int(rng.integers(1 << 30))  # noqa: E731
    pace = speed(seconds, v["wander"], seed=new())
    firing_hz = v["rpm"] / 60 * v["cylinders"] / 2
    lines = {1 / 3: 0.011, 0.5: 0.014, 1.0: 1.0, 2.0: 0.17}   # shares: an even stator with a little of its lower orders
    x = sum(swung(n * v["hz"], pace, share * v["level"], n * v["swing"], firing_hz) for n, share in lines.items())
    if v["pump"]:
        own = speed(seconds, 0.003, seed=new())
        pump_hz = rng.uniform(600, 900)
        x = x + turning(pump_hz, own, 0.01 * v["level"]) + turning(2 * pump_hz, own, 0.004 * v["level"])
    if v["ticks"]:
        x = x + clicks(firing_hz, pace, 0.3 * v["level"], seed=new())
    return [x + hiss(seconds, v["hiss"], seed=new()), 0.9 * x + hiss(seconds, v["hiss"], seed=new())], pace


def whines(program, job):
    found = json.loads(run(program, "noise", "--job", job, "--json"))["results"]["noise_sources"]
    return [one["frequency_hz"] for one in found if one["kind"] == "alternator_whine"], [(one["kind"], round(one["frequency_hz"] or 0)) for one in found]


def right(frequencies, true_hz, within=0.01):
    return len(frequencies) == 1 and abs(frequencies[0] / true_hz - 1) < within


def made(program, n, seed, swing=None):
    """One made take: whether it was read right, the vehicle, and what was found."""
    rng = np.random.default_rng([seed, n])
    v = vehicle(rng, swing)
    channels, pace = take_of(v, rng)
    with tempfile.TemporaryDirectory() as top:
        make_job(f"{top}/job", {"one": ({"engine": "idle" if v["rpm"] < 1050 else "raised", "rpm": round(v["rpm"])}, channels)})
        frequencies, all_found = whines(program, f"{top}/job")
    return right(frequencies, v["hz"] * pace.mean()), v, all_found


def simulated(program, vehicle_name, rpm, count, skip, seconds):
    scenario = json.loads((REPOSITORY / "signals" / f"{vehicle_name}.json").read_text())["vehicle"]["alternator"]
    true_hz = rpm * scenario["pole_pairs"] * scenario["pulley_ratio"] / 10 * scenario.get("sets", 1)
    good = 0
    with tempfile.TemporaryDirectory() as top:
        job = os.path.join(top, "job")
        run(program, "job", "--job", job, "--new", "--title", "x", "--mains-hz", "50")
        path = pathlib.Path(job, "job.json")
        description = json.loads(path.read_text())
        description["interface"] = {"volts_full_scale": [7, 7]}
        path.write_text(json.dumps(description))
        for n in range(skip + count):   # each take of a job is another moment
            run(program, "capture", "--job", job, "--simulate", vehicle_name, "--meter", "--engine", "idle" if rpm < 795 else "raised", "--rpm", f"{rpm:g}",
                "--volume", "20", "--seconds", f"{seconds:g}" if n >= skip else "1", "--laptop", "battery", "--name", f"take{n}")
        description = json.loads(path.read_text())
        for n, take in enumerate(description["takes"][skip:]):
            path.write_text(json.dumps(description | {"takes": [take], "observations": []}))
            frequencies, all_found = whines(program, job)
            ok = right(frequencies, true_hz, 0.03 if rpm < 795 else 0.01)
            good += ok
            if not ok:
                print(f"  {vehicle_name} {rpm:g} take {n}: {all_found} for {true_hz:.0f} Hz", flush=True)
    print(f"{vehicle_name} {rpm:g} rpm, {seconds:g} s: {share_text(good, count)}", flush=True)
    return good


def main():
    words = argparse.ArgumentParser()
    words.add_argument("program")
    words.add_argument("count", type=int)
    words.add_argument("seed", type=int)
    words.add_argument("--swing", type=float)
    words.add_argument("--simulate", nargs=2, metavar=("VEHICLE", "RPM"))
    words.add_argument("--seconds", type=float, default=10)
    asked = words.parse_args()
    if asked.simulate:
        simulated(asked.program, asked.simulate[0], float(asked.simulate[1]), asked.count, asked.seed, asked.seconds)
        return
    good = {}
    for n in range(asked.count):
        ok, v, found = made(asked.program, n, asked.seed, asked.swing)
        for key in ("all", f"swing {int(v['swing'] / 0.3) * 0.3:.1f}+", f"{'under' if v['rpm'] < 1500 else 'over'} 1500 rpm", f"{v['cylinders']} cylinders", "pump" if v["pump"] else "no pump",
                    "ticks" if v["ticks"] else "no ticks", "wander over 1 %" if v["wander"] > 0.01 else "wander to 1 %"):
            good.setdefault(key, []).append(ok)
        if not ok:
            print(f"  {n}: {found} for {v['hz']:.0f} Hz, {v}", flush=True)
    for key, outcomes in sorted(good.items()):
        print(f"{key}: {share_text(sum(outcomes), len(outcomes))}", flush=True)


if __name__ == "__main__":
    main()
