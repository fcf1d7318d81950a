"""Random vehicles with up to three sources of noise at once, through the noise command: detection against a reference detector,
confusion, recall and precision, reliability of the stated confidences, findings in clean takes.

    /usr/bin/python3 tests/bench/kinds_population.py PROGRAM N SEED [--from M] [--alone | --clean] [--keep FOLDER]
    /usr/bin/python3 tests/bench/kinds_population.py --report FOLDER [--alone | --clean]

--alone: one source a vehicle, 0 to 36 dB over its reference detector's 90 % point: gives the detection table. Otherwise
levels are -6 to +30 dB over the program's own 90 % point of that kind (POINTS_DB, from --alone). The reference is told
the waveform's parameters and the noise's own density: energy along the known lines, times or band, 1 % false alarms.
--counts: how often findings were right by what they rest on, as src/diagnose/sources/confidence.cpp holds it.
--keep: raw outcomes as JSON lines in a folder; cases that are there already aren't run again, so that runs can be split,
continued and pooled; --report: the tables of what is kept. --case M --write FOLDER: one vehicle's job, to look at.
One vehicle takes about 2 s. CTest runs a seeded part (end_to_end/test_population.py).
"""
import argparse
import json
import pathlib
import sys
import tempfile

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
sys.path.insert(0, str(pathlib.Path(__file__).parent))
import engine_sounds  # noqa: E402
import kinds_tables  # noqa: E402
import sounds  # noqa: E402
import steady_sounds  # noqa: E402
from steady_sounds import Floor  # noqa: E402

# The program's 90 % recall point over its reference's, by kind [dB]: `--alone`, one source in random vehicles.
POINTS_DB = {"alternator_whine": 12.5, "ignition_tick": 15.0, "mains_hum": 10.0, "switched_load": 15.5, "motor_whine": 21.5, "phone_burst": 13.0,
             "bus_tone": 11.0, "converter_hash": 23.5, "crackle": 10.0, "periodic_tick": 16.5, "unexplained_tone": 12.0}
KINDS = list(POINTS_DB)
ENGINE_KINDS = ("alternator_whine", "ignition_tick")


def takes_of(rng, engine_needed):
    """Names, lengths and engines of a vehicle's takes: at rest, idling, in a third raised as well; in a fifth no engine."""
    takes = [("off", rng.uniform(6, 8), 0.0)]
    if engine_needed or rng.random() < 0.8:
        takes.append(("idle", rng.uniform(7, 10), rng.uniform(620, 1050)))
        if rng.random() < 0.33:
            takes.append(("raised", rng.uniform(6, 8), rng.uniform(1400, 2400)))
    return takes


class Vehicle:
    """Takes as make_job wants them, and what is in them."""

    def __init__(self, rng, kinds, over_db, rates=(44100, 44100, 48000, 48000, 48000, 48000, 96000)):
        self.rate = int(rng.choice(rates))
        takes = takes_of(rng, any(kind in ENGINE_KINDS for kind in kinds))
        ends = np.cumsum([int(seconds * self.rate) for _, seconds, _ in takes])
        parts = [slice(a, b) for a, b in zip([0, *ends[:-1]], ends)]
        self.floor = Floor(rng, int(ends[-1]), self.rate, 10 ** rng.uniform(-5, -3.5))
        self.cylinders = int(rng.choice([3, 4, 5, 6, 8]))
        shares = 10 ** rng.uniform(np.log10(0.003), np.log10(0.03))
        speeds = {name: engine_sounds.wander(part.stop - part.start, self.rate, shares if name == "idle" else shares * rng.uniform(0.3, 1), rng)
                  for (name, _, rpm), part in zip(takes, parts) if rpm}
        left, right = self.floor.noise(rng), self.floor.noise(rng)
        self.truth = []
        for kind in kinds:
            source = self.source(kind, takes, parts, speeds, rng)
            over = over_db(kind)
            factor = source.needed(self.floor) * 10 ** (over / 20)
            left += factor * source.x
            right += factor * rng.uniform(0.1, 1) * source.x
            hiss = np.mean((self.floor.scale * self.floor.shape[1:]) ** 2)
            self.truth.append({"kind": kind, "variant": source.variant, "about": source.about, "places_hz": [float(f) for f in source.places_hz],
                               "lines_hz": [float(f) for f in source.told_lines()], "over_reference_db": float(over),
                               "over_hiss_db": float(10 * np.log10(factor**2 * np.mean(source.x**2) / hiss))})
        typed = rng.choice(["true", "wrong", "none"], p=[0.35, 0.3, 0.35])
        self.takes = {}
        for (name, _, rpm), part in zip(takes, parts):
            conditions = {"engine": name}
            if rpm and typed != "none":
                conditions["rpm"] = float(round(rpm * speeds[name].mean() * (1 if typed == "true" else rng.choice([0.95, 1.05]))))
            self.takes[name] = (conditions, [left[part], right[part]])
        self.about = {"cylinders": self.cylinders} if rng.random() < 0.5 else {}
        self.text = f"{self.rate} Hz, {', '.join(self.takes)}, wander {100 * shares:.1f} %, rpm {typed}" + (", cylinders" if self.about else "")

    def source(self, kind, takes, parts, speeds, rng):
        n = parts[-1].stop
        if kind not in ENGINE_KINDS:
            makers = steady_sounds.MAKERS[kind]
            source = makers[rng.integers(len(makers))](n, self.rate, rng)
            if len(takes) > 1 and rng.random() < 0.15 and kind in ("switched_load", "bus_tone", "mains_hum", "motor_whine"):
                source.x[parts[0]] = 0                                # switched on with the engine
            return source
        x, places, hz, free = np.zeros(n), [], [], 0.0
        state = rng.integers(1 << 31)
        for (name, _, rpm), part in zip(takes, parts):
            if not rpm:
                continue
            same = np.random.default_rng(state)                      # the same machine in every take
            one = engine_sounds.whine(speeds[name], rpm, self.rate, same) if kind == "alternator_whine" else \
                engine_sounds.ignition(speeds[name], rpm, self.cylinders, self.rate, same)
            x[part] = one.x
            places.append(one.frequency_hz)
            free += one.freedom or 0
            hz.append(getattr(one, "hz", np.zeros(0)))
        if kind == "alternator_whine":
            source = engine_sounds.Followed(kind, np.concatenate(hz), x, 1.0, one.about)
        else:
            source = steady_sounds.Source(kind, places[0], x, freedom=free, about=one.about)
        source.places_hz = places
        return source


def draw(seed, case, mode):
    """One random vehicle; the same for the same seed and case."""
    rng = np.random.default_rng([seed, case, {"alone": 1, "clean": 2, "mixed": 3}[mode]])
    if mode == "clean":
        return Vehicle(rng, [], None)
    if mode == "alone":
        return Vehicle(rng, [KINDS[case % len(KINDS)]], lambda kind: rng.uniform(0, 36))
    count = rng.choice([0, 1, 2, 3], p=[0.06, 0.28, 0.33, 0.33])
    return Vehicle(rng, list(rng.choice(KINDS, size=count, replace=False)), lambda kind: POINTS_DB[kind] + rng.uniform(-6, 30))


def write_job(folder, vehicle):
    write = sounds.write_wav
    sounds.write_wav = lambda path, channels: write(path, channels, vehicle.rate)
    try:
        sounds.make_job(folder, vehicle.takes, vehicle=vehicle.about)
    finally:
        sounds.write_wav = write


def outcome(program, seed, case, mode):
    """What was in one vehicle and what the program says of it."""
    return {"seed": seed, "case": case} | outcome_of(program, draw(seed, case, mode))


def outcome_of(program, vehicle):
    with tempfile.TemporaryDirectory() as top:
        write_job(top + "/job", vehicle)
        results = json.loads(sounds.run(program, "noise", "--job", top + "/job", "--json"))["results"]
    def told(of):
        return [{key: s[key] for key in ("kind", "frequency_hz", "confidence", "level_dbfs", "rests_on")} |
                {"takes": len(s["takes"]), "lines": len(s["harmonics"])} for s in results[of] if s["kind"] != "hiss"]
    return {"text": vehicle.text, "truth": vehicle.truth, "found": told("noise_sources"), "unsure": told("unsure"),
            "health": [h["fault"] for h in results["health"]]}


def kept_in(folder):
    lines = []
    for path in sorted(pathlib.Path(folder).glob("*.jsonl")):
        lines += [json.loads(line) for line in path.read_text().splitlines()]
    return lines


def main():
    options = argparse.ArgumentParser()
    options.add_argument("program", nargs="?")
    options.add_argument("count", nargs="?", type=int, default=60)
    options.add_argument("seed", nargs="?", type=int, default=1)
    options.add_argument("--from", dest="first", type=int, default=0)
    options.add_argument("--alone", action="store_true")
    options.add_argument("--clean", action="store_true")
    options.add_argument("--keep")
    options.add_argument("--report")
    options.add_argument("--case", type=int)
    options.add_argument("--write")
    options.add_argument("--quiet", action="store_true")
    options.add_argument("--counts", action="store_true")
    asked = options.parse_args()
    mode = "alone" if asked.alone else "clean" if asked.clean else "mixed"
    if asked.case is not None:
        vehicle = draw(asked.seed, asked.case, mode)
        print(vehicle.text, json.dumps(vehicle.truth, indent=1)[:3000])
        if asked.write:
            write_job(asked.write, vehicle)
        else:
            print(json.dumps(outcome(asked.program, asked.seed, asked.case, mode)["found"], indent=1))
        return
    if asked.report:
        outcomes = kept_in(asked.report)
    else:
        done = {(o["seed"], o["case"]): o for o in (kept_in(asked.keep) if asked.keep and pathlib.Path(asked.keep).is_dir() else [])}
        outcomes = []
        for case in range(asked.first, asked.first + asked.count):
            one = done.get((asked.seed, case)) or outcome(asked.program, asked.seed, case, mode)
            outcomes.append(one)
            if asked.keep and (asked.seed, case) not in done:
                pathlib.Path(asked.keep).mkdir(parents=True, exist_ok=True)
                with open(pathlib.Path(asked.keep, f"{mode}-{asked.seed}-{asked.first}.jsonl"), "a") as file:
                    file.write(json.dumps(one) + "\n")
            note = kinds_tables.note_of(one, POINTS_DB)
            if note and not asked.quiet:
                print(note, flush=True)
    if asked.counts:
        kinds_tables.print_counts(outcomes)
    else:
        kinds_tables.print_tables(outcomes, mode, POINTS_DB)


if __name__ == "__main__":
    main()
