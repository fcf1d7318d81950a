"""Random simulated sources and amplifiers: the amplifier's gain is set to what the program says, and its output must reach the target.

    /usr/bin/python3 tests/bench/amplifier_population.py PROGRAM N SEED [--show]

Each vehicle: a source whose rails, volume law, channels and noise are drawn, an amplifier of 40 to 1000 W into 1 to 4 ohm with its own input
impedance and rails, at times a weaker speaker, at times an allowance for quiet recordings, a meter that is off by 0.5 % (sd) at the calibration.
A stepped take at the amplifier's input goes through `gain`; then the simulated amplifier gets that gain and a tone at the stated level plays at
the stated volume; its output is captured behind a pad and read here by least squares. The target is reckoned here by Ohm's law. Nothing here uses
the analysis's code. `gain` is then run once more, with the output take in the job: it must say that the target is met.
"""
import argparse
import json
import math
import pathlib
import subprocess
import tempfile

import numpy as np
import scipy.io.wavfile

import entry_vehicles
from shares import share_of, share_text

TONE_HZ, STEP_S = 997, 1.0
TOLERANCE_DB = 0.25


def draw(rng):
    """A scenario, and what the shop knows of it."""
    v = entry_vehicles.healthy(rng)
    rail_v = entry_vehicles.spread(rng, 2.0, 6.0)
    weaker = float(rng.uniform(0.0, 2.0))                      # dB by which one channel's rail is lower
    per_step, top = float(rng.uniform(0.75, 1.5)), 40
    ceiling = int(rng.integers(26, 44))                        # above the scale's end: it never clips
    sides = [rail_v, rail_v * 10 ** (-weaker / 20)]
    rng.shuffle(sides)
    at_ceiling_v = min(sides) / math.sqrt(2) * 10 ** (float(rng.uniform(-0.9, -0.05)) * per_step / 20)
    source = v["source"]
    source |= {"volume": {"top": top, "db_per_step": per_step}, "full_scale_v": at_ceiling_v * 10 ** (per_step * (top - ceiling) / 20),
               "output_ohm": entry_vehicles.spread(rng, 50, 600), "noise_dbv": float(rng.uniform(-105, -85)), "clock_ppm": float(rng.uniform(-100, 100))}
    for name, rail, gain_db in (("left", sides[0], 0.0), ("right", sides[1], float(rng.uniform(-0.5, 0.5)))):
        source[name] = {"positive_rail_v": float(rail), "negative_rail_v": -float(rail), "knee": float(rng.choice([0, 0.05])), "gain_db": gain_db}
    watts, ohm = entry_vehicles.spread(rng, 40, 1000), float(rng.choice([1, 2, 4]))
    peak_v = math.sqrt(2 * watts * ohm)
    v["amplifier"] |= {"input_ohm": entry_vehicles.spread(rng, 8000, 47000), "rail_v": peak_v * 1.03, "gain_db": float(rng.uniform(10, 40))}
    volts = [float(rng.uniform(6.5, 9.0)), float(rng.uniform(6.5, 9.0))]
    v["interface"] |= {"volts_full_scale": volts, "output_pad_db": math.ceil(20 * math.log10(peak_v * 1.05 / 5)) * 1.0}
    speaker_w = watts * float(rng.uniform(0.3, 0.9)) if rng.random() < 0.3 else None
    told = {"watts": round(watts), "ohm": ohm, "speaker_w": round(speaker_w) if speaker_w else None, "allowance_db": float(rng.choice([0, 0, 3, 5])),
            "volts": [one * (1 + 0.005 * float(rng.normal())) for one in volts]}
    last = min(top, ceiling + 2)
    return v, told, [*range(max(4, last - 12), last - 5, 3), *range(last - 5, last + 1)]


def tone_v(file, channel, volts_full_scale, pad_db):
    """Volts rms of the tone in a capture, by least squares over its frequency's neighbourhood."""
    rate, sound = scipy.io.wavfile.read(file)
    x = sound[:, channel].astype(float)
    x = x[len(x) // 2 - rate // 2:len(x) // 2 + rate // 2]
    t = np.arange(len(x)) / rate

    def fit(hz):
        basis = np.column_stack([np.cos(2 * np.pi * hz * t), np.sin(2 * np.pi * hz * t), np.ones_like(t)])
        found, rest, *_ = np.linalg.lstsq(basis, x, rcond=None)
        return float(rest[0]), math.hypot(*found[:2])
    hz = min((TONE_HZ * (1 + 1e-6 * ppm) for ppm in range(-250, 251, 10)), key=lambda one: fit(one)[0])
    return fit(hz)[1] * volts_full_scale * 10 ** (pad_db / 20) / math.sqrt(2)


class Shop:
    def __init__(self, program, folder):
        self.program, self.folder, self.job = program, pathlib.Path(folder), f"{folder}/job"

    def run(self, *words):
        done = subprocess.run([self.program, *map(str, words)], capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=1800)
        if done.returncode != 0:
            raise RuntimeError(f"{words}: exit {done.returncode}\n{done.stdout}\n{done.stderr}")
        return done.stdout

    def tone(self, level_dbfs, seconds):
        file = f"{self.folder}/tone{-level_dbfs:g}_{seconds:g}.wav"
        self.run("tones", "sine", "--frequency", TONE_HZ, "--level", level_dbfs, "--duration", seconds, "--out", file, "--force")
        return file

    def capture(self, scenario, name, level_dbfs, *words, seconds=4):
        file = self.folder / "vehicle.json"
        file.write_text(json.dumps(scenario))
        self.run("capture", "--job", self.job, "--simulate", file, "--meter", "--name", name, "--engine", "off", "--format", "wav", "--laptop", "battery",
                 "--tone", "sine", "--frequency", TONE_HZ, "--level", level_dbfs, "--via", "stick", "--played", self.tone(level_dbfs, seconds), *words)
        return f"{self.job}/takes/{name}.wav"

    def gain(self):
        return json.loads(self.run("gain", "--job", self.job, "--json"))["results"]


def outcome(program, rng, show=False):
    scenario, told, volumes = draw(rng)
    with tempfile.TemporaryDirectory() as folder:
        shop = Shop(program, folder)
        amplifier = f"front,power_w={told['watts']},load_ohm={told['ohm']},allowance_db={told['allowance_db']},bridged_output=no,input=line"
        speaker = ["--speaker", f"front,power_w={told['speaker_w']}"] if told["speaker_w"] else []
        shop.run("job", "--job", shop.job, "--new", "--title", "population", "--amplifier", amplifier, "--source-output", "line",
                 "--interface-input", "floating", *speaker)
        shop.run("calibrate", "--job", shop.job, "--volts-full-scale", ",".join(f"{one:.5f}" for one in told["volts"]))
        shop.capture(scenario, "steps", 0, "--volume-steps", ",".join(map(str, volumes)), "--step-seconds", STEP_S, seconds=STEP_S * len(volumes) + 2)
        results = shop.gain()
        setting = results["amplifiers"][0]
        if show:
            print("  ", {k: setting[k] for k in ("volume", "gain_db", "target_output_v", "allowance_db", "target_limited_by")}, results["ceiling_reason"])
        if setting["gain_db"] is None:
            return {"reason": results["ceiling_reason"] or "no gain", "error_db": None}
        target_v = math.sqrt(min(told["watts"], told["speaker_w"] or math.inf) * told["ohm"])
        scenario["amplifier"]["gain_db"] = setting["gain_db"]
        pad_db = scenario["interface"]["output_pad_db"]
        file = shop.capture(scenario, "output", -told["allowance_db"], "--point", "amp_output", "--volume", setting["volume"], "--amplifier", "on",
                            "--attenuation-db", f"{pad_db},{pad_db}")
        reached_v = max(tone_v(file, c, scenario["interface"]["volts_full_scale"][c], pad_db) for c in (0, 1))
        readings = shop.gain()["amplifiers"][0]["output_readings"]
        return {"reason": results["ceiling_reason"] or "ceiling", "error_db": 20 * math.log10(reached_v / target_v),
                "verdicts": [one["verdict"] for one in readings], "turns_db": [one["turn_db"] for one in readings]}


def main():
    options = argparse.ArgumentParser()
    options.add_argument("program")
    options.add_argument("count", type=int)
    options.add_argument("seed", type=int)
    options.add_argument("--show", action="store_true")
    asked = options.parse_args()
    errors, unset, missed = [], 0, 0
    for case in range(asked.count):
        one = outcome(asked.program, np.random.default_rng([asked.seed, case]), asked.show)
        print(case, one, flush=True)
        unset += one["error_db"] is None
        if one["error_db"] is not None:
            errors.append(one["error_db"])
            missed += any(verdict != "at_target" for verdict in one["verdicts"])
    size = np.abs(errors)
    print(f"{asked.count} vehicles, seed {asked.seed}, {unset} without a gain")
    print(f"output within {TOLERANCE_DB} dB of the target: {share_of(size <= TOLERANCE_DB)}")
    print(f"off by: mean {np.mean(errors):+.3f} dB, sd {np.std(errors):.3f} dB, worst {size.max():.3f} dB")
    print(f"confirmed at the target: {share_text(len(size) - missed, len(size))}")


if __name__ == "__main__":
    main()
