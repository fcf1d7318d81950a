"""Jobs for the tests of the data that go out, and the schemas of docs/ that these are held against."""
import json
import os
import pathlib

import numpy as np
from jsonschema import Draft202012Validator, RefResolver
from sounds import RATE, hiss, make_job, run, speed, turning

BASE = "https://hushtrace.invalid/schemas/"
SCHEMAS = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / "docs" / "schemas"
STORE = {}
for file in SCHEMAS.glob("*.schema.json"):
    content = json.loads(file.read_text())
    assert content["$id"] == BASE + file.name, f"{file.name} calls itself {content['$id']}"
    Draft202012Validator.check_schema(content)
    STORE[content["$id"]] = content


def validator(name):
    """Resolves every reference from docs/schemas/: nothing is fetched."""
    schema = STORE[f"{BASE}hushtrace.{name}-1.schema.json"]
    return Draft202012Validator(schema, resolver=RefResolver(schema["$id"], schema, store=STORE))


def faults(document, name=None):
    """What the schema says against a document, the deepest reason of each."""
    out = []
    for error in validator(name or document["schema"].split(".")[1].split("/")[0]).iter_errors(document):
        while error.context:
            error = max(error.context, key=lambda inner: len(inner.absolute_path))
        out.append(f"{'/'.join(map(str, error.absolute_path))}: {error.message[:200]}")
    return out


def steps(volumes, clean_to, seconds=1.2):
    """A full-scale tone at rising volume, 1.5 dB a step, cut off from the step after `clean_to` on."""
    t = np.arange(int(seconds * RATE)) / RATE
    peaks = [0.4 * 10 ** (1.5 * (volume - clean_to) / 20) for volume in volumes]
    return np.concatenate([np.clip(peak * np.sin(2 * np.pi * 997 * t), -0.42, 0.42) for peak in peaks])


def noise_takes(seconds=6.0):
    """Engine off; at idle with a whine that follows it, and hum; the same after a change."""
    pace = speed(seconds, 0.01)
    whine = turning(1100, pace, 1e-3) + turning(2200, pace, 3e-4)
    hum = 2e-4 * np.sin(2 * np.pi * 50 * np.arange(pace.size) / RATE)

    def two(sound, seed):
        return [sound + hiss(seconds, 1e-5, seed=seed), 0.9 * sound + hiss(seconds, 1e-5, seed=seed + 1)]
    return {"off": ({"engine": "off", "volume": 12}, two(0, 10)),
            "idle": ({"engine": "idle", "rpm": 760, "volume": 12, "loads": ["headlights"],
                      "marks": [{"time_s": 4.2, "text": "=1+1, \"bump\""}]}, two(whine + hum, 12)),
            "mended": ({"engine": "idle", "rpm": 760, "volume": 12, "loads": ["headlights"], "after_change": "-new ground, at the amplifier"},
                       two(0.05 * whine + hum, 14))}


def step_take():
    sound = steps([28, 29, 30, 31], 30)
    noise = [hiss(sound.size / RATE + 1, 1e-5, seed=seed)[:sound.size] for seed in (20, 21)]
    return ({"engine": "off", "volume_steps": [28, 29, 30, 31], "tone": {"kind": "sine", "frequency_hz": 997, "level_dbfs": 0, "via": "stick"}},
            [sound + noise[0], sound + noise[1]])


FACTS = {"title": "=cmd()", "date": "2026-01-31", "complaint": "whines, \"all the time\"\nsince the new radio",
         "vehicle": {"description": "@van", "drive": "diesel", "cylinders": 4, "strokes": 4, "mains_hz": 50,
                     "alternator": {"pole_pairs": 6, "pulley_ratio": 2.7, "rated_a": 120}},
         "source": {"preout_v": 4, "volume_top": 40},
         "amplifiers": [{"name": "sub", "power_w": 500, "load_ohm": 2, "sensitivity_v": [0.2, 6.0]},
                        {"name": "front", "power_w": 150, "load_ohm": 4}],
         "speakers": [{"amplifier": "sub", "power_w": 600, "sensitivity_db_2v83_1m": 86, "distance_m": 1.5}],
         "supply": {"length_m": 5.5, "area_mm2": 21.2, "conductor": "copper", "branches": [{"name": "sub", "length_m": 0.5, "area_mm2": 13.3}]},
         "observations": [{"what": "ground_drop", "value": 0.08, "unit": "V", "engine": "raised"},
                          {"what": "noise_heard", "value": "gone", "hookup": ["shorted_at_amp"], "engine": "idle"}]}


def whole_job(program, top):
    """Noise, steps, a sweep, a take of the supply: every part of a record, calibrated."""
    folder = top / "whole"
    ripple = 0.01 * np.sin(2 * np.pi * 1100 * np.arange(2 * RATE) / RATE) + hiss(2, 1e-4, seed=30)
    make_job(folder, {**noise_takes(), "steps": step_take(),
                      "supply": ({"channels": ["left", "supply"], "engine": "idle"}, [hiss(2, 1e-5, seed=31), ripple])},
             **FACTS, interface={"volts_full_scale": [7.0, 7.0], "volts_full_scale_sd_db": [0.1, 0.1]},
             limits={"ceiling_thd_percent": 1, "balance_db": 1})
    run(program, "tones", "sweep", "--duration", 3, "--level", -20, "--bits", 24, "--out", top / "sweep.wav")
    run(program, "job", "--job", folder, "--add", top / "sweep.wav", "--engine", "off", "--volume", 20,
        "--tone", "sweep", "--duration", 3, "--level", -20, "--via", "stick")
    return folder


def raw_job(top):
    """Not calibrated, with one take that can't be read and fields that nobody knows."""
    folder = top / "raw"
    make_job(folder, {**noise_takes(3.0), "broken": ({"engine": "off"}, None)}, vehicle={"drive": "combustion"}, **{"our_number": 7})
    (folder / "takes" / "broken.wav").write_bytes(b"RIFF")
    return folder


def power_job(top):
    folder = top / "power"
    folder.mkdir()
    (folder / "job.json").write_text(json.dumps({"schema": "hushtrace.job/1", "title": "power alone", "amplifiers": FACTS["amplifiers"]}))
    return folder
