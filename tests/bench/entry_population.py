"""Random simulated vehicles whose noise gets in by one known way (two at once: entry_trials.py): the noise command asks for its own tests until it is settled.

    /usr/bin/python3 tests/bench/entry_population.py PROGRAM N SEED [--keep FILE] [--show] [--way W]

Every vehicle is a scenario of the simulation (tests/bench/entry_vehicles.py: its circuit, not the analysis's tables). Takes at rest and at idle are
captured, at the amplifier's output as well where its input shows nothing; then each test that results.next_test names, with the hookup that it names,
until it names no more, or nine are made. What the ear is asked is what the noise's lines do at the speaker. Right: the likeliest entry path of the
noise is the one that was put in. --show prints every step.
"""
import collections
import json
import pathlib
import subprocess
import tempfile

import numpy as np

import entry_vehicles
from shares import share_of

WAYS = entry_vehicles.WAYS
SECONDS = "8"
MOST_TESTS = 9


class Vehicle:
    def __init__(self, program, folder, drawn, rng):
        self.program, self.folder, self.scenario, self.rng = program, folder, drawn.scenario, rng
        self.common = {f"--{name}": value for name, value in drawn.common.items()}
        self.engine, self.loads = ("accessory", {"--loads": "fan"}) if drawn.fan else ("idle", {}) if drawn.follows_engine else ("off", {})
        self.point = {}
        self.file = folder + "/vehicle.json"
        pathlib.Path(self.file).write_text(json.dumps(self.scenario))
        self.job = folder + "/job"
        self.run("job", "--new", "--job", self.job, "--title", "population")

    def run(self, *arguments):
        done = subprocess.run([self.program, *arguments], capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"{arguments}: {done.stderr.strip()}")
        return done.stdout

    def capture(self, engine, job=None, **conditions):
        said = {"--laptop": "battery", "--volume": "30", "--source": "on", "--input": "usb"} | self.common | self.loads | self.point | conditions
        if engine == "off" and self.engine != "off":
            said.pop("--loads", None)
        flat = [part for pair in said.items() for part in pair]
        name = f"take{self.rng.integers(1 << 30)}"
        self.run("capture", "--job", job or self.job, "--simulate", self.file, "--engine", engine, "--seconds", SECONDS, "--meter", "--name", name, "--format", "wav", *flat)
        return f"{job or self.job}/takes/{name}.wav"

    OUTPUT = {"--point": "amp_output", "--attenuation-db": "20,20"}

    def ear(self, hookup):
        """What the ear says at the speaker: by how much the noise's lines change."""
        if "--laptop" in self.common:   # what the set-up brings enters by the probe at the input, and goes with the lead
            return "same" if hookup == "test_speaker" else "gone"
        job = self.folder + "/ear"
        if not pathlib.Path(job).exists():
            self.run("job", "--new", "--job", job, "--title", "ear")
        levels = [lines_db(self.capture(self.engine, job, **self.OUTPUT, **({"--hookup": one} if one else {}))) for one in (None, hookup)]
        change = levels[1] - levels[0]
        return "gone" if change < -15 else "quieter" if change < -3 else "same" if change < 3 else "louder"

    def test(self, next_test):
        conditions = dict(next_test["conditions"])
        engine = conditions.pop("engine")
        conditions.pop("rpm", None)
        (field, value), = conditions.items()
        if next_test["observation"] and field == "hookup":
            word = self.ear(",".join(value))
            self.run("job", "--job", self.job, "--observe", f"noise_heard={word}", "--engine", engine, "--hookup", ",".join(value))
            return f"heard {'+'.join(value)} {word}"
        if field == "what":
            drop_v = 1e-3 * (self.scenario["amplifier"]["ground_mohm"] * 1.5 + 0.4 * 60)
            reading = {"shell_to_case": f"{self.scenario['source']['shell_to_case_ohm'] * self.rng.uniform(0.9, 1.1):.4g}ohm", "ground_drop": f"{drop_v:.4g}V"}[value]
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


def lines_db(file):
    """Power of what stands over the noise beside it, 100 Hz to 8 kHz, in quarters of a second: whatever wanders stands still in them."""
    import scipy.io.wavfile
    import scipy.ndimage
    rate, sound = scipy.io.wavfile.read(file)
    frames = np.lib.stride_tricks.sliding_window_view(sound[:, 0].astype(float), 12000)[::6000] * np.hanning(12000)
    power = np.abs(np.fft.rfft(frames, axis=1)) ** 2
    floor = scipy.ndimage.median_filter(power, size=(1, 41))
    band = slice(int(100 * 12000 / rate), int(8000 * 12000 / rate))
    over = np.where(power > 8 * floor, power - floor, 0)[:, band]
    return 10 * np.log10(over.sum() / frames.shape[0] + 1e-12)


def named(path):
    return "+".join(sorted(f"pickup_{path['mechanism']}" if p == "cable_pickup" else p for p in path["paths"]))


def sought(results, drawn):
    """The source that the simulation's fault makes."""
    tones = drawn.tones_hz

    def is_it(source):
        if drawn.follows_engine:
            return source["kind"] == "alternator_whine"
        if drawn.fan:
            return source["kind"] in ("switched_load", "unexplained_tone", "motor_whine", "bus_tone")
        return source["kind"] == ("mains_hum" if len(tones) > 1 else "unexplained_tone")
    sources = [s for s in results["noise_sources"] if is_it(s)]
    return max(sources, key=lambda s: s["level_dbfs"]) if sources else None


def solve(program, ways, seed, show):
    ways = tuple(ways.split("+")) if isinstance(ways, str) else ways
    drawn, rng = entry_vehicles.draw(seed, ways), np.random.default_rng([*seed, 7])
    truth = "+".join(sorted(ways))
    with tempfile.TemporaryDirectory() as folder:
        vehicle = Vehicle(program, folder, drawn, rng)
        for engine in dict.fromkeys(("off", vehicle.engine)):
            vehicle.capture(engine)
        vehicle.run("calibrate", "--job", vehicle.job, "--volts-full-scale", "7.0,7.0")
        if sought(vehicle.noise(), drawn) is None:   # nothing at the input: what is heard is taken at the speaker
            vehicle.point = vehicle.OUTPUT
            vehicle.capture(vehicle.engine)
        steps, minutes, tests = [], 0.0, []
        while True:
            results = vehicle.noise()
            source = sought(results, drawn)
            if not source:
                return {"way": truth, "found": None, "steps": steps, "sources": [s["kind"] for s in results["noise_sources"]]}
            paths = [p for p in results["entry_paths"] if p["source_id"] == source["id"]]
            best = max(paths, key=lambda p: p["probability"])
            chance = sum(p["probability"] for p in paths if named(p) == truth)
            steps.append((named(best), round(best["probability"], 3), round(chance, 3)))
            if show:
                print(f"   {source['kind']} {source['level_dbv']:.1f} dBV, {named(best)} {best['probability']:.2f}; truth {chance:.2f}", [e["text"] for e in best["evidence_for"]][:2])
            after = results["next_test"]
            if not after or after["source_id"] != source["id"] or len(tests) == MOST_TESTS:
                break
            tests.append(vehicle.test(after))
            minutes += after["minutes"]
            if show:
                print("   ->", tests[-1], f"{after['expected_information_bits']:.2f} bits {after['minutes']:.0f} min")
        return {"way": truth, "found": named(best), "steps": steps, "tests": tests, "minutes": minutes}


def main():
    asked = entry_vehicles.asked_of_population()
    outcomes = []
    for case in range(asked.count):
        ways = asked.way or entry_vehicles.draw_ways(np.random.default_rng([asked.seed, case]), pairs=0.0)
        if asked.show:
            print(case, ways, flush=True)
        one = solve(asked.program, ways, (asked.seed, case), asked.show)
        way = one["way"]
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
        print(f"right first: {share_of(o['found'] == o['way'] for o in outcomes)}; tests {np.mean([len(o['tests']) for o in solved]):.1f} on the mean, "
              f"{max(len(o['tests']) for o in solved)} at most; {np.mean([o['minutes'] for o in solved]):.0f} minutes")


if __name__ == "__main__":
    main()
