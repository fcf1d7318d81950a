"""Intermodulation by the chain command: tones through a polynomial, whose products follow from power reduction formulas
and, for a curve without a formula, from NumPy's least squares over all products to the 9th order."""
import json
import os
import sys
import tempfile

import numpy as np
from sounds import Checks, run, write_wav

program = sys.argv[1]
check = Checks()
rng = np.random.default_rng(60268)
EQUAL = {"kind": "two_tone", "frequencies_hz": [19000, 20000], "levels_dbfs": [-12, -12], "via": "stick"}
LOW_HIGH = {"kind": "two_tone", "frequencies_hz": [7000, 60], "levels_dbfs": [-24, -12], "via": "stick"}
A2, A3 = 0.02, 0.05


def pair(hz, amplitudes, seconds, rate, ppm=0.0):
    t = np.arange(int(seconds * rate)) / rate * (1 + 1e-6 * ppm)
    return sum(a * np.sin(2 * np.pi * f * t + 0.3 * i) for i, (f, a) in enumerate(zip(hz, amplitudes)))


def take(hz, amplitudes, rate, curve=None, seconds=2.8, noise=1e-6, ppm=80.0, lead_s=0.8):
    """Silence, a chirp as a marker, silence, the tones, silence."""
    t = np.arange(int(0.5 * rate)) / rate
    chirp = 0.25 * np.sin(2 * np.pi * (100 * t + 0.5 * 0.3 * rate * t * t))
    gap = np.zeros(int(lead_s * rate))
    x = np.concatenate([gap, chirp, gap, pair(hz, amplitudes, seconds, rate, ppm), gap])
    if curve:
        x = curve(x)
    return x + rng.normal(size=x.size) * noise


def polynomial(x):
    return x + A2 * x**2 + A3 * x**3


def difference_truth(a):
    """[percent] second and third order against the sum of both tones"""
    first = a * (1 + A3 * (0.75 + 1.5) * a**2)
    return 100 * A2 * a * a / (2 * first), 100 * 2 * 0.75 * A3 * a**3 / (2 * first)


def modulation_truth(low, high):
    first = high * (1 + A3 * (0.75 * high**2 + 1.5 * low**2))
    return 100 * 2 * A2 * low * high / first, 100 * 1.5 * A3 * low**2 * high / first


def job(folder, takes, rate=48000, **more):
    os.makedirs(folder + "/takes")
    entries = []
    for name, tone, channels in takes:
        write_wav(f"{folder}/takes/{name}.wav", channels, rate)
        entries.append({"file": f"takes/{name}.wav", "channels": ["left", "right"][:len(channels)], "engine": "off", "tone": tone})
    with open(folder + "/job.json", "w") as file:
        json.dump({"schema": "hushtrace.job/1", "title": "two tones", "takes": entries, **more}, file)


def read(folder):
    text = run(program, "chain", "--job", folder)
    check.that(all(len(line) <= 80 for line in text.splitlines()) and "Intermodulation" in text, f"the text of {folder[-12:]}")
    whole = json.loads(run(program, "chain", "--job", folder, "--json"))
    return whole["results"]["intermodulation"], whole["warnings"], text


def near_percent(entry, key, truth, what):
    """To 0.05 dB, and to what it says of itself."""
    found, sd = entry[key], entry[key + "_sd"]
    check.that(abs(20 * np.log10(found / truth)) < 0.05 and abs(found - truth) < 4 * sd + 1e-3 * truth,
               f"{what} {key}: {found} +- {sd} against {truth:.6f}")


with tempfile.TemporaryDirectory(prefix="hushtrace-two-") as top:
    a = 10 ** (-12 / 20)
    low, high = 10 ** (-12 / 20), 10 ** (-24 / 20)
    for rate in (44100, 96000):
        folder = f"{top}/{rate}"
        equal_hz = (19000, 20000)
        both = [take(equal_hz, (a, a), rate, polynomial), take(equal_hz, (a, a), rate)]
        one = [take((60, 7000), (low, high), rate, polynomial), take((60, 7000), (low, high), rate)]
        job(folder, [("equal", EQUAL, both), ("pair", LOW_HIGH, one)], rate, interface={"volts_full_scale": [7.0, None]})
        found, warnings, text = read(folder)
        check.that([(e["method"], e["channel"]) for e in found] == [("difference_frequency", "left"), ("difference_frequency", "right"),
                                                                    ("modulation", "left"), ("modulation", "right")],
                   f"{rate}: methods are told apart: {[(e['method'], e['channel']) for e in found]}")
        check.that(warnings == [], f"nothing to warn of: {warnings}")
        for entry, (second, third) in ((found[0], difference_truth(a)), (found[2], modulation_truth(low, high))):
            near_percent(entry, "second_order_percent", second, f"{rate} {entry['method']}")
            if entry["products_missing"] == 0 or entry["method"] == "modulation":
                near_percent(entry, "third_order_percent", third, f"{rate} {entry['method']}")
                near_percent(entry, "total_percent", np.hypot(second, third), f"{rate} {entry['method']}")
            check.that(entry["total_percent_limited_by"] == "nothing", "stands out of the noise")
        for entry in (found[1], found[3]):
            check.that(entry["total_percent_limited_by"] == "length", f"a clean path is limited by length: {entry['total_percent']}")
            check.that(entry["total_percent"] + 2 * entry["total_percent_sd"] < 0.002, "and lies below 0.002 %")
        check.near(found[0]["low_hz"], 19000 * (1 + 80e-6), 0.05, "the low tone")
        gained = 1 + A3 * 2.25 * a**2
        check.near(found[0]["high_level_dbfs"], -12 + 20 * np.log10(gained), 0.002, "its level")
        check.near(found[0]["high_level_dbv"], -12 + 20 * np.log10(gained * 7 / np.sqrt(2)), 0.002, "in volts")
        check.that(found[1]["high_level_dbv"] is None, "where that is known")
        for key in ("low_hz", "low_level_dbfs", "high_level_dbv", "total_percent", "second_order_percent", "third_order_percent"):
            check.that(key + "_sd" in found[0] and key + "_limited_by" in found[0], f"{key} has its limits")

    # a curve without a formula; NumPy fits all products to the 9th order at once
    rate, hz = 48000, (1000.0, 1230.0)
    soft = lambda x: 0.3 * np.tanh(x / 0.3)
    sound = take(hz, (0.2, 0.2), rate, soft, ppm=0.0)
    tone = {"kind": "two_tone", "frequencies_hz": list(hz), "levels_dbfs": [20 * np.log10(0.2)] * 2, "via": "stick"}
    job(top + "/soft", [("soft", tone, [sound])])
    entry = read(top + "/soft")[0][0]
    start = int((2 * 0.8 + 0.5 + 0.5) * rate)
    part = sound[start:start + 2 * rate]
    t = np.arange(part.size) / rate
    lines = sorted({round(abs(i * hz[0] + j * hz[1]), 6) for i in range(-9, 10) for j in range(-9, 10)
                    if 0 < abs(i) + abs(j) <= 9 and 0 < abs(i * hz[0] + j * hz[1]) < 23000})
    columns = np.column_stack([np.ones_like(t)] + [g(2 * np.pi * f * t) for f in lines for g in (np.cos, np.sin)])
    weights = np.linalg.lstsq(columns, part, rcond=None)[0][1:]
    amplitude = {f: np.hypot(*weights[2 * k:2 * k + 2]) for k, f in enumerate(lines)}
    both = amplitude[1000.0] + amplitude[1230.0]
    near_percent(entry, "third_order_percent", 100 * (amplitude[770.0] + amplitude[1460.0]) / both, "a tanh by NumPy")
    check.that(entry["second_order_percent_limited_by"] == "length", "whose second order isn't there")

    # a pair that no standard measures with; a take without tones; one channel dead; too short
    odd = {**EQUAL, "frequencies_hz": [300, 2000]}
    job(top + "/odd", [("odd", odd, [pair((300, 2000), (a, a), 4, 48000)])])
    said = run(program, "chain", "--job", top + "/odd", expect=2)
    check.that("takes/odd.wav" in said and "300" in said and len(said.splitlines()) == 1, f"an odd pair: {said.strip()}")
    for name, sound in (("silence", np.zeros(96000)), ("dc", np.full(96000, 0.3)), ("noise", rng.normal(size=96000) * 0.1),
                        ("one tone", pair((19000,), (a,), 4, 48000)), ("brief", pair((19000, 20000), (a, a), 0.4, 48000)),
                        ("square", np.where(np.arange(96000) // 48 % 2 == 0, 1.0, -1.0)),
                        ("NaN", np.where(np.arange(96000) == 50000, np.nan, pair((19000, 20000), (a, a), 2, 48000)))):
        job(f"{top}/bad {name}", [("bad", EQUAL, [sound])])
        said = run(program, "chain", "--job", f"{top}/bad {name}", expect=2)
        check.that(len(said.splitlines()) == 1 and "takes/bad.wav" in said, f"{name}: {said.strip()}")
    job(top + "/low rate", [("low", EQUAL, [take((5000, 5500), (a, a), 11025)])], 11025)
    said = run(program, "chain", "--job", top + "/low rate", expect=2)
    check.that("takes/low.wav" in said, f"tones above the band: {said.strip()}")
    alive = take((19000, 20000), (a, a), 48000, polynomial)
    job(top + "/dead", [("dead", EQUAL, [alive, rng.normal(size=alive.size) * 1e-4])])
    found, warnings, _ = read(top + "/dead")
    check.that(len(found) == 1 and [w["code"] for w in warnings] == ["channel_without_tones"], f"a dead channel is said: {warnings}")

    # the simulated vehicle: its clean source stays clean, and clips where turned up
    run(program, "tones", "two_tone", "--frequencies", "1000,1230", "--levels", "-7,-7", "--duration", 4, "--out", top + "/t.wav")
    run(program, "job", "--job", top + "/car", "--new", "--title", "car")
    for name, volume in (("quiet", 20), ("loud", 40)):
        run(program, "capture", "--job", top + "/car", "--simulate", "three_faults", "--meter", "--name", name, "--tone", "two_tone",
            "--frequencies", "1000,1230", "--levels", "-7,-7", "--via", "stick", "--played", top + "/t.wav", "--engine", "off",
            "--volume", volume)
        found = json.loads(run(program, "chain", "--job", top + "/car", "--json"))["results"]["intermodulation"]
        total = found[0]["total_percent"]
        check.that(total < 0.1 if name == "quiet" else total > 1, f"volume {volume}: {total} %")
check.end()
