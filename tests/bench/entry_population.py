"""Random simulated vehicles whose noise gets in by one known way: the noise command asks for its own tests until it is settled.

    /usr/bin/python3 tests/bench/entry_population.py PROGRAM N SEED [--keep FILE] [--show]

Every vehicle is a scenario of the simulation (its circuit, not the analysis's tables): the fault is put into joints, lead, source or
set-up. Takes off and at idle are captured, then each test that results.next_test names, with the hookup that it names, until it names
no more, or nine are made. Right: the likeliest entry path of the noise is the one that was put in. --show prints every step.
"""
import argparse
import collections
import json
import pathlib
import subprocess
import tempfile

import numpy as np

WAYS = ("ground_loop", "cable_pickup/loop", "cable_pickup/lead", "cable_pickup/capacitive", "source_supply", "source_internal", "source_shield_open",
        "antenna_lead", "measuring_setup")
SECONDS = "8"
MOST_TESTS = 9


def spread(rng, low, high):
    """Log-uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def healthy(rng):
    return {
        "schema": "hushtrace.vehicle/1", "title": "population", "complaint": "noise",
        "vehicle": {"description": "drawn at random", "cylinders": int(rng.choice([3, 4, 5, 6])), "mains_hz": int(rng.choice([50, 60])),
                    "base_load_a": float(rng.uniform(15, 45)), "battery_mohm": spread(rng, 5, 12), "body_mohm": 0.02,
                    "engine": {"idle_rpm": float(rng.uniform(650, 900)), "idle_wander_percent": spread(rng, 0.5, 2.5)},
                    "alternator": {"pole_pairs": int(rng.choice([6, 6, 7, 8])), "pulley_ratio": float(rng.uniform(2.2, 3.0)), "rated_a": 110}},
        "loads": [{"name": "headlights", "current_a": 11}, {"name": "rear_defogger", "current_a": 18}],
        "source": {"description": "head unit", "preout_v": 4, "volume": {"top": 40, "db_per_step": 1.25}, "full_scale_v": 4.5,
                   "left": {"positive_rail_v": 6, "negative_rail_v": -6}, "right": {"positive_rail_v": 6, "negative_rail_v": -6},
                   "noise_dbv": -100, "clock_ppm": 20, "ground_mohm": spread(rng, 0.5, 2), "shell_to_case_ohm": spread(rng, 0.01, 0.04),
                   "supply_rejection_db": 120, "supply_rejection_corner_hz": 20000},
        "lead": {"signal_m": float(rng.uniform(4, 6)), "separation_m": 0.6, "parallel_m": 2, "above_metal_m": 0.01, "shield_ohm": spread(rng, 0.05, 0.2),
                 "core_offset_mm": 0.02, "right_over_left": float(rng.uniform(0.85, 1.0))},
        "feed": {"length_m": float(rng.uniform(4.5, 6)), "area_mm2": float(rng.choice([13.3, 21.2, 33.6]))},
        "amplifier": {"shell_to_ground_ohm": 470, "ground_mohm": spread(rng, 0.3, 1.0)},
        "laptop": {"leakage_ua": 1},
        "interface": {"volts_full_scale": [7.0, 7.0], "own_noise_dbv": -106, "clock_ppm": -12, "input": "floating"},
    }


def with_fault(rng, way):
    """A vehicle, the kind of noise to look for, and what its takes have in common."""
    v, kind, common = healthy(rng), "alternator_whine", []
    source, lead, amplifier = v["source"], v["lead"], v["amplifier"]
    if way == "ground_loop":
        amplifier |= {"shell_to_ground_ohm": spread(rng, 0.02, 0.3), "ground_mohm": spread(rng, 6, 25)}
    elif way == "cable_pickup/loop":
        amplifier |= {"shell_to_ground_ohm": spread(rng, 0.02, 0.05), "ground_mohm": 0.05}
        v["vehicle"]["body_mohm"] = 0.002
        source["ground_mohm"] = 0.05
        lead |= {"separation_m": spread(rng, 0.015, 0.05), "parallel_m": float(rng.uniform(3, 4)), "above_metal_m": spread(rng, 0.02, 0.06)}
    elif way == "cable_pickup/lead":
        lead |= {"separation_m": spread(rng, 0.008, 0.02), "parallel_m": float(rng.uniform(2.5, 4)), "core_offset_mm": spread(rng, 1.5, 4)}
    elif way == "cable_pickup/capacitive":
        lead |= {"separation_m": 0.05, "parallel_m": 3.5, "stray_pf": spread(rng, 200, 1500)}
    elif way == "source_supply":
        source |= {"supply_rejection_db": float(rng.uniform(25, 45)), "supply_rejection_corner_hz": 3000, "supply_before_volume": bool(rng.random() < 0.5)}
    elif way == "source_internal":
        kind = "unexplained_tone"
        source["internal_lines"] = [{"frequency_hz": float(rng.uniform(300, 900)), "level_dbv": float(rng.uniform(-95, -75))}]
    elif way == "source_shield_open":
        source["shell_to_case_ohm"] = spread(rng, 300, 1e5)
        amplifier |= {"ground_mohm": spread(rng, 2, 8), "shell_to_ground_ohm": spread(rng, 0.1, 10)}
    elif way == "antenna_lead":
        source |= {"antenna": {"shield_ohm": spread(rng, 0.1, 0.3), "base_mohm": spread(rng, 300, 1000)}, "ground_mohm": spread(rng, 8, 25)}
        amplifier |= {"shell_to_ground_ohm": spread(rng, 0.02, 0.2), "ground_mohm": 0.03}
        v["vehicle"]["body_mohm"] = 0.002
    elif way == "measuring_setup":
        kind = "mains_hum"
        v["laptop"] = {"leakage_ua": spread(rng, 60, 200), "earth_ohm": spread(rng, 0.2, 1), "earth_difference_mv": spread(rng, 20, 200)}
        v["interface"]["input"] = "grounded"
        common = ["--laptop", "mains"]
    return v, kind, common


class Vehicle:
    def __init__(self, program, folder, scenario, common, rng):
        self.program, self.folder, self.scenario, self.common, self.rng = program, folder, scenario, common, rng
        self.file = folder + "/vehicle.json"
        pathlib.Path(self.file).write_text(json.dumps(scenario))
        self.job = folder + "/job"
        self.run("job", "--new", "--job", self.job, "--title", "population")

    def run(self, *arguments):
        done = subprocess.run([self.program, *arguments], capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"{arguments}: {done.stderr.strip()}")
        return done.stdout

    def capture(self, engine, **conditions):
        said = {"--laptop": "battery", "--volume": "30", "--source": "on", "--input": "usb"} | dict(zip(self.common[::2], self.common[1::2])) | conditions
        flat = [part for pair in said.items() for part in pair]
        self.run("capture", "--job", self.job, "--simulate", self.file, "--engine", engine, "--seconds", SECONDS, "--meter", "--name", f"take{self.rng.integers(1 << 30)}", *flat)

    def test(self, next_test):
        conditions = dict(next_test["conditions"])
        engine = conditions.pop("engine")
        conditions.pop("rpm", None)
        (field, value), = conditions.items()
        if field == "what":
            reading = {"shell_to_case": f"{self.scenario['source']['shell_to_case_ohm'] * self.rng.uniform(0.9, 1.1):.4g}ohm"}[value]
            self.run("job", "--job", self.job, "--observe", f"{value}={reading}")
        elif field == "hookup":
            self.capture(engine, **{"--hookup": value[0]})
        elif field == "input":
            self.capture(engine, **{"--input": "aux"})
        elif field == "loads":
            self.capture(engine, **{"--loads": "headlights,rear_defogger"})
        else:
            self.capture(engine, **{f"--{field}": str(value)})
        return f"{field} {value if isinstance(value, str) else value[0] if isinstance(value, list) else value}"

    def noise(self):
        return json.loads(self.run("noise", "--job", self.job, "--json"))["results"]


def named(path):
    return "+".join(p + (f"/{path['mechanism']}" if path["mechanism"] and p == "cable_pickup" else "") for p in path["paths"])


def solve(program, way, rng, show):
    scenario, kind, common = with_fault(rng, way)
    with tempfile.TemporaryDirectory() as folder:
        vehicle = Vehicle(program, folder, scenario, common, rng)
        for engine in ("off", "idle"):
            vehicle.capture(engine)
        vehicle.run("calibrate", "--job", vehicle.job, "--volts-full-scale", "7.0,7.0")
        steps, minutes, tests = [], 0.0, []
        while True:
            results = vehicle.noise()
            sources = [s for s in results["noise_sources"] if s["kind"] == kind]
            if not sources:
                return {"way": way, "found": None, "steps": steps, "sources": [s["kind"] for s in results["noise_sources"]]}
            source = max(sources, key=lambda s: s["level_dbfs"])
            paths = [p for p in results["entry_paths"] if p["source_id"] == source["id"]]
            best = max(paths, key=lambda p: p["probability"])
            chance = sum(p["probability"] for p in paths if named(p) == way)
            steps.append((named(best), round(best["probability"], 3), round(chance, 3)))
            if show:
                print(f"   {source['level_dbv']:.1f} dBV, {named(best)} {best['probability']:.2f}; truth {chance:.2f}", [e["text"] for e in best["evidence_for"]][:2])
            after = results["next_test"]
            if not after or after["source_id"] != source["id"] or len(tests) == MOST_TESTS:
                break
            tests.append(vehicle.test(after))
            minutes += after["minutes"]
            if show:
                print("   ->", tests[-1], f"{after['expected_information_bits']:.2f} bits {after['minutes']:.0f} min")
        return {"way": way, "found": named(best), "steps": steps, "tests": tests, "minutes": minutes}


def main():
    options = argparse.ArgumentParser()
    options.add_argument("program")
    options.add_argument("count", type=int)
    options.add_argument("seed", type=int)
    options.add_argument("--keep")
    options.add_argument("--show", action="store_true")
    options.add_argument("--way")
    asked = options.parse_args()
    outcomes = []
    for case in range(asked.count):
        rng = np.random.default_rng([asked.seed, case])
        way = asked.way or WAYS[case % len(WAYS)]
        if asked.show:
            print(case, way, flush=True)
        one = solve(asked.program, way, rng, asked.show)
        outcomes.append(one)
        print(case, way, "RIGHT" if one["found"] == way else f"said {one['found']}", one.get("tests", one.get("sources")), flush=True)
        if asked.keep:
            with open(asked.keep, "a") as file:
                file.write(json.dumps(one) + "\n")
    by = collections.defaultdict(lambda: [0, 0])
    for one in outcomes:
        by[one["way"]][0] += one["found"] == one["way"]
        by[one["way"]][1] += 1
    for way, (right, of) in by.items():
        print(f"{way:26} {right}/{of}")
    solved = [o for o in outcomes if o.get("tests") is not None]
    if solved:
        print(f"all {sum(o['found'] == o['way'] for o in outcomes)}/{len(outcomes)}; tests {np.mean([len(o['tests']) for o in solved]):.1f} on the mean, "
              f"{max(len(o['tests']) for o in solved)} at most; {np.mean([o['minutes'] for o in solved]):.0f} minutes")


if __name__ == "__main__":
    main()
