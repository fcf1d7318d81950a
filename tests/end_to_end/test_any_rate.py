"""Noise, gain and chain at every rate that an interface has, on sounds whose figures are known on paper; and what each of
them says of takes that hold nothing, or worse. A reading or a refusal with its reason, never a wrong number."""
import json
import os
import subprocess
import sys
import tempfile

import numpy as np
from sounds import Checks, write_wav

program = sys.argv[1]
check = Checks()
rng = np.random.default_rng(384000)
RATES = (8000, 11025, 22050, 44100, 48000, 96000, 192000, 384000)
SINE = {"kind": "sine", "frequency_hz": 997, "level_dbfs": 0, "via": "stick"}


def job(folder, takes, rate, **more):
    """takes: (name, further fields, channels, channels that job.json names)"""
    os.makedirs(folder + "/takes")
    entries = []
    for name, fields, sound, named in takes:
        write_wav(f"{folder}/takes/{name}.wav", sound, rate)
        entries.append({"file": f"takes/{name}.wav", "channels": ["left", "right"][:named], "engine": "off", **fields})
    with open(folder + "/job.json", "w") as file:
        json.dump({"schema": "hushtrace.job/1", "title": "rates", "takes": entries, **more}, file)


def ask(command, folder, expect=(0,), with_text=False):
    """The document where it is one; else the line of the refusal, checked for its form."""
    done = subprocess.run([program, command, "--job", folder, "--json"], capture_output=True, text=True, timeout=60,
                          stdin=subprocess.DEVNULL)
    what = f"{command} of {os.path.basename(folder)}"
    if done.returncode not in expect:
        check.that(False, f"{what}: exit {done.returncode}: {done.stderr.strip()[:300]}")
        return None
    if done.returncode in (0, 1):
        whole = json.loads(done.stdout, parse_constant=lambda word: check.that(False, f"{what}: {word} in the document"))
        if not with_text:
            return whole
        text = subprocess.run([program, command, "--job", folder], capture_output=True, text=True, timeout=60)
        check.that(text.returncode == done.returncode and all(len(line) <= 80 for line in text.stdout.splitlines())
                   and " nan" not in text.stdout and " inf" not in text.stdout, f"{what}: its text")
        return whole
    lines = done.stderr.splitlines()
    check.that(len(lines) == 1 and "takes" in lines[0] and len(lines[0]) > 40 and "std::" not in lines[0],
               f"{what} is refused: {done.stderr.strip()[:200]}")
    return done.stderr


def clipped_harmonics(amplitude, rail):
    """Fourier series of a sine cut at both sides, of 2^16 points."""
    wave = np.clip(amplitude * np.sin(2 * np.pi * np.arange(65536) / 65536), -rail, rail)
    return -2 * np.fft.rfft(wave).imag[1:400] / 65536


def stepped_tone(rate, levels_db, rail, seconds=1.0, hz=997.0 * (1 + 80e-6)):
    """Held levels through a rail, drawn from the series so that nothing folds back."""
    pieces = [np.zeros(int(0.5 * rate))]
    at = 0
    for level in levels_db:
        series = clipped_harmonics(10 ** (level / 20), rail)
        t = (at + np.arange(int(seconds * rate))) / rate
        piece = np.zeros(t.size)
        for n, size in enumerate(series, 1):
            if n * hz > min(0.495 * rate, 60000):
                break
            if abs(size) > 1e-7:
                piece += size * np.sin(2 * np.pi * ((n * hz * t) % 1.0))
        pieces.append(piece)
        at += t.size
    return np.concatenate(pieces + [np.zeros(int(0.3 * rate))])


def sweep(rate, to_hz, gain, delay_s, ppm=60.0, seconds=2.0, level=0.1):
    t = (np.arange(int((seconds + 1.5) * rate)) / rate - 0.8 - delay_s) / (1 + 1e-6 * ppm)
    inside = (t >= 0) & (t < seconds)
    constant = seconds / np.log(to_hz / 20)
    edge = 0.5 - 0.5 * np.cos(np.pi * np.clip(np.minimum(t, seconds - t) / 0.01, 0, 1))
    cycles = 20 * constant * np.expm1(np.where(inside, t, 0) / constant)
    return np.where(inside, gain * level * edge * np.sin(2 * np.pi * (cycles % 1.0)), 0.0)


def hiss(rate, density, seconds):
    """White, of this mean square a hertz."""
    return rng.normal(size=int(seconds * rate)) * np.sqrt(density * rate / 2)


with tempfile.TemporaryDirectory(prefix="hushtrace-rates-") as top:
    for rate in RATES:
        # ---- noise: white of known density, and a tone of -60 dBFS
        density, seconds = 1e-11, 4.0 if rate < 96000 else 1.5
        end_hz = min(20000, rate / 2)
        tone = 1e-3 * np.sin(2 * np.pi * 1234.5 * np.arange(int(seconds * rate)) / rate)
        sound = hiss(rate, density, seconds) + tone
        folder = f"{top}/noise {rate}"
        job(folder, [("off", {}, [sound], 1)], rate)
        whole = ask("noise", folder, with_text=rate == 8000)
        floor = whole["results"]["floor"][0]
        white = 10 * np.log10(2 * density * (end_hz - 20))
        all_of_it = 10 * np.log10(2 * density * (end_hz - 20) + 1e-6)
        check.that(floor["band_hz"] == [20, end_hz], f"{rate}: the band {floor['band_hz']}")
        check.near(floor["broadband_dbfs"], white, 4 * floor["broadband_dbfs_sd"] + 0.06, f"{rate}: white noise")
        check.near(floor["unweighted_dbfs"], all_of_it, 4 * floor["unweighted_dbfs_sd"] + 0.01, f"{rate}: with the tone")
        check.near(floor["tones"][0]["level_dbfs"], -60, 4 * floor["tones"][0]["level_dbfs_sd"] + 0.02, f"{rate}: the tone")
        check.near(floor["tones"][0]["frequency_hz"], 1234.5, 0.05, f"{rate}: its frequency")
        check.that((end_hz < 20000) == any(w["code"] == "band_cut_short" for w in whole["warnings"]), f"{rate}: a cut band is said")

        # ---- gain: a rail at 0.5 (-6.02 dBFS); the volume before it is clean
        levels = (-12, -10, -8, -6.3, -4, -2) if rate < 96000 else (-9, -6.3, -4)
        volumes = [20, 21, 22, 23, 24, 25] if rate < 96000 else [20, 23, 24]
        sound = stepped_tone(rate, levels, 0.5)
        sound += rng.normal(size=sound.size) * 1e-5
        folder = f"{top}/gain {rate}"
        job(folder, [("steps", {"tone": SINE, "volume_steps": volumes}, [sound], 1)], rate,
            interface={"volts_full_scale": [10.0]})
        whole = ask("gain", folder, with_text=rate == 8000)
        ceiling = whole["results"]["ceiling"]
        check.that(ceiling is not None and ceiling["volume"] == 23, f"{rate}: the ceiling {ceiling and ceiling['volume']}")
        steps = whole["results"]["curves"][0]["steps"]
        for step, level in zip(steps, levels):
            series = clipped_harmonics(10 ** (level / 20), 0.5)
            counted = [n for n in range(2, 400) if n * 997 <= min(20000, 0.475 * rate)]
            thd = 100 * np.sqrt(sum(series[n - 1] ** 2 for n in counted)) / series[0]
            check.near(step["level_dbfs"], 20 * np.log10(series[0]), 0.011, f"{rate}: level {level}")
            # a clean step's THD is the root of noise that is left in a power: 4 sd of that are 8 of the root
            check.near(step["thd_percent"], thd, 0.005 * thd + (4 if thd > 0.01 else 8) * step["thd_sd_percent"], f"{rate}: THD at {level}")
            check.near(step["frequency_hz"], 997 * (1 + 80e-6), 1e-3, f"{rate}: frequency")
        check.near(ceiling["level_v"], 10 / np.sqrt(2) * 10 ** (-6.3 / 20), 0.005, f"{rate}: volts")
        if 0.45 * rate > 7 * 997.1:
            check.that(ceiling["knee_kind"] == "hard" and ceiling["knee_sides"] == "both", f"{rate}: {ceiling['knee_kind']}, {ceiling['knee_sides']}")
            check.near(ceiling["knee_dbfs"], -6.02, 4 * ceiling["knee_dbfs_sd"] + 0.03, f"{rate}: knee")
        else:
            check.that(ceiling["knee_kind"] is None, f"{rate}: too few harmonics for a knee")

        # ---- chain: two wide paths, the second turned and 2 ms late
        to_hz = min(20000, 0.45 * rate)
        long_s = 2.0 if rate < 96000 else 1.0
        left, right = sweep(rate, to_hz, 0.5, 0.0, seconds=long_s), sweep(rate, to_hz, -0.25, 0.002, seconds=long_s)
        folder = f"{top}/chain {rate}"
        job(folder, [("sweep", {"tone": {"kind": "sweep", "from_hz": 20, "to_hz": to_hz, "duration_s": long_s, "level_dbfs": -20, "via": "stick"}},
                      [left + hiss(rate, 1e-13, left.size / rate + 1e-9)[:left.size], right + hiss(rate, 1e-13, right.size / rate + 1e-9)[:right.size]], 2)], rate)
        whole = ask("chain", folder, with_text=rate == 8000)
        l, r = whole["results"]["channels"]
        check.near(l["gain_db"], -6.02, 0.03, f"{rate}: level")
        check.near(r["balance_db"], -6.02, 0.03, f"{rate}: balance")
        check.near(r["delay_ms"], 2.0, 4 * r["delay_ms_sd"] + 0.002, f"{rate}: delay, sd {r['delay_ms_sd']}")
        check.that((l["polarity"], r["polarity"]) == ("normal", "inverted"), f"{rate}: polarity {l['polarity']}, {r['polarity']}")
        check.near(whole["results"]["takes"][0]["clock_ppm"], 60, 4 * whole["results"]["takes"][0]["clock_ppm_sd"] + 1, f"{rate}: clock")

    # ---- what holds nothing, or worse, at a low, a usual and a high rate
    KINDS = {
        "gain": [SINE], "noise": [None],
        "chain": [{"kind": "sweep", "from_hz": 20, "to_hz": 3500, "duration_s": 1, "level_dbfs": -20, "via": "stick"},
                  {"kind": "pink", "level_dbfs": -20, "via": "stick"}, {"kind": "polarity_pulse", "level_dbfs": -12, "via": "stick"},
                  {"kind": "two_tone", "frequencies_hz": [1000, 1230], "levels_dbfs": [-12, -12], "via": "stick"}],
    }
    for rate, seconds in ((8000, 2.0), (48000, 1.2), (384000, 0.6)):
        t = np.arange(int(seconds * rate)) / rate
        tone = 0.3 * np.sin(2 * np.pi * 997 * t)
        bad = {
            "short": tone[:int(0.05 * rate)], "one sample": tone[7:8], "silence": np.zeros(t.size), "dc": np.full(t.size, 0.4),
            "square": np.where((t * 200) % 1.0 < 0.5, 1.0, -1.0), "NaN": np.where(np.arange(t.size) == t.size // 2, np.nan, tone),
            "infinite": np.where(np.arange(t.size) == t.size // 2, np.inf, tone),
        }
        for command, kinds in KINDS.items():
            for number, kind in enumerate(kinds if rate == 8000 else kinds[::3] if rate == 48000 else kinds[-1:]):
                for name, sound in bad.items():
                    folder = f"{top}/{command}{number} {name} {rate}"
                    fields = {"tone": kind} if kind else {}
                    job(folder, [("bad", fields, [sound, sound], 2)], rate)
                    whole = ask(command, folder, expect=(0, 2))
                    if not isinstance(whole, dict):
                        continue
                    what = f"{command} {kind and kind['kind']} of {name} at {rate}"
                    results = whole["results"]
                    check.that(name not in ("NaN", "infinite"), f"{what} is no reading")
                    check.that(command == "gain" or name not in ("short", "one sample"), f"{what} is no reading")
                    if command == "gain":
                        reasons = ("no_plateau",) if name != "square" else ("no_plateau", "wrong_tone", "input_overloaded")
                        check.that(results["ceiling"] is None and results["ceiling_reason"] in reasons, f"{what}: {results['ceiling_reason']}")
                    elif command == "noise" and name in ("silence", "dc"):
                        level = results["floor"][0]["unweighted_dbfs"]
                        check.that(level is None, f"{what}: {level}")
                        check.that(results["noise_sources"] == [], f"{what}: nothing found")
                    elif command == "noise":
                        partials = sum((4 / np.pi / n) ** 2 / 2 for n in range(1, 2000, 2) if 200 * n < min(20000, rate / 2))
                        if rate > 40000:  # at 8 kHz the square's samples fold back into its own lines
                            check.near(results["floor"][0]["unweighted_dbfs"], 10 * np.log10(2 * partials), 0.15, what)
                    else:
                        check.that(False, f"{what}: nothing of the tone is there, yet a reading: {str(results)[:200]}")

    # ---- a channel that is silent beside a good one, and one that the file doesn't have
    rate = 48000
    steps = stepped_tone(rate, (-12, -10, -8, -6.3, -4, -2), 0.5) + rng.normal(size=int(0.5 * rate) + 6 * int(1.0 * rate) + int(0.3 * rate)) * 1e-5
    fields = {"tone": SINE, "volume_steps": [20, 21, 22, 23, 24, 25]}
    job(top + "/one dead", [("steps", fields, [steps, np.zeros(steps.size)], 2)], rate)
    whole = ask("gain", top + "/one dead")
    check.that(whole["results"]["ceiling"]["volume"] == 23 and any(w["code"] == "channel_silent" for w in whole["warnings"]), "gain: a dead channel is said")
    white = hiss(rate, 1e-11, 3.5)
    job(top + "/one quiet", [("off", {}, [white, np.zeros(white.size)], 2)], rate)
    whole = ask("noise", top + "/one quiet")
    levels = [f["unweighted_dbfs"] for f in whole["results"]["floor"]]
    check.that(levels[1] is None and abs(levels[0] - 10 * np.log10(2e-11 * 19980)) < 0.2, f"noise: silence is null beside {levels[0]}")
    check.that(any(w["code"] == "digital_silence" for w in whole["warnings"]), "and said")
    for command, take in (("noise", ("off", {}, [white], 2)), ("gain", ("steps", fields, [steps], 2)),
                          ("chain", ("sweep", {"tone": KINDS["chain"][0]}, [sweep(rate, 3500, 1, 0, seconds=1.0)], 2)),
                          ("chain", ("tones", {"tone": KINDS["chain"][3]}, [steps], 2))):
        folder = f"{top}/{command} {take[0]} one channel"
        job(folder, [take], rate)
        said = ask(command, folder, expect=(2,))
        check.that(said and "channels" in said, f"{command}: a file with fewer channels than named")

    # ---- what limits a floor: the take's length, the interface
    job(top + "/brief", [("off", {}, [hiss(rate, 1e-11, 0.6)], 1)], rate)
    floor = ask("noise", top + "/brief")["results"]["floor"][0]
    check.that(floor["itu468_quasi_peak_dbfs"] is None and floor["itu468_quasi_peak_limited_by"] == "length", "quasi-peak wants 3 s")
    pink = np.cumsum(rng.normal(size=int(0.6 * rate)))  # most of its power in a few bins: averages least
    job(top + "/low", [("off", {}, [1e-6 * pink], 1)], rate)
    floor = ask("noise", top + "/low")["results"]["floor"][0]
    check.that(floor["unweighted_dbfs_sd"] > 0.5 and floor["unweighted_dbfs_limited_by"] == "length", f"0.6 s of low noise: sd {floor['unweighted_dbfs_sd']} dB")
    own = 10 * np.log10(1e-11 * 19980)  # of the same noise, at 1 V full scale [dBV]
    for above_db, limit in ((1.0, "interface"), (6.0, "nothing")):
        folder = f"{top}/own {above_db}"
        job(folder, [("off", {}, [hiss(rate, 1e-11, 4.0)], 1)], rate,
            interface={"volts_full_scale": [1.0], "own_noise_dbv": [own - above_db]})
        floor = ask("noise", folder)["results"]["floor"][0]
        check.that(floor["unweighted_dbv_limited_by"] == limit and floor["unweighted_limited_by"] == limit
                   and floor["broadband_dbv_limited_by"] == limit, f"{above_db} dB above the interface's own: {floor['unweighted_dbv_limited_by']}")
check.end()
