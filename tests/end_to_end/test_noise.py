"""The noise command on takes made with NumPy: what was put in must come out, with its frequency and level, and no more."""
import json
import sys
import tempfile

import numpy as np
from sounds import RATE, Checks, clicks, hiss, make_job, music, played, run, speed, tone, turning

program = sys.argv[1]
check = Checks()


def dbfs(amplitude):
    return 20 * np.log10(amplitude)     # a sine's level after AES17


def noise(takes, **more):
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", takes, **more)
        return json.loads(run(program, "noise", "--job", top + "/job", "--json"))


def found(result, kind):
    return [s for s in result["results"]["noise_sources"] if s["kind"] == kind]


def level_in(source, take, channel):
    for level in source["levels"]:
        if level["take"] == f"takes/{take}.wav" and level["channel"] == channel:
            return level["level_dbfs"]
    return None


def mains(seconds, f, amplitude, harmonics=(1, 2, 3, 5)):
    return sum(tone(f * h, seconds, amplitude / h) for h in harmonics)


idle = speed(12, 0.018, seed=11)
whine = turning(1240, idle, 0.004) + turning(2480, idle, 0.001) + turning(3720, idle, 0.0005)

# ---- whine, ignition, mains and hiss at once; four cylinders at 750 rpm fire 25 times a second
off = mains(10, 50.02, 0.002) + hiss(10, 2e-4, seed=21)
running = mains(12, 50.02, 0.002) + whine + clicks(25, idle, 0.03) + hiss(12, 2e-4, seed=22)
result = noise({"off": ({"engine": "off"}, [off, 0.7 * off + hiss(10, 1e-4, seed=23)]),
                "idle": ({"engine": "idle", "rpm": 750, "loads": ["headlights"]}, [running, 0.7 * running + hiss(12, 1e-4, seed=24)])},
               vehicle={"cylinders": 4, "mains_hz": 50})
sources = {s["kind"]: s for s in result["results"]["noise_sources"]}
check.that(sorted(sources) == ["alternator_whine", "hiss", "ignition_tick", "mains_hum"], f"four kinds, no more: {sorted(sources)}")
w = sources.get("alternator_whine", {"levels": []})
truth = 1240 * idle.mean()
check.near(w.get("frequency_hz"), truth, 0.004 * truth, "whine's frequency")
check.near(level_in(w, "idle", "left"), dbfs(np.sqrt(0.004**2 + 0.001**2 + 0.0005**2)), 0.5, "whine's level, left")
check.near(level_in(w, "idle", "right"), dbfs(0.7 * np.sqrt(0.004**2 + 0.001**2 + 0.0005**2)), 0.5, "whine's level, right")
check.near(w.get("engine_order"), truth / 12.5, 0.5, "whine's engine order")
check.that(w.get("confidence", 0) > 0.8, f"sure of the whine: {w.get('confidence')}")
i = sources.get("ignition_tick", {"levels": []})
check.near(i.get("frequency_hz"), 25 * idle.mean(), 0.3, "ignition's rate")
m = sources.get("mains_hum", {"levels": []})
check.near(m.get("frequency_hz"), 50.02, 0.03, "mains frequency")
check.near(level_in(m, "off", "left"), dbfs(0.002 * np.sqrt(1 + 1 / 4 + 1 / 9 + 1 / 25)), 0.5, "mains level")
check.that(set(m.get("takes", [])) == {"takes/off.wav", "takes/idle.wav"}, "mains hum is in both takes")
check.that(any(a["source_id"] == w.get("id") for a in result["results"]["actions"]), "there is something to do about the whine")
check.that(any(x["code"] == "not_calibrated" for x in result["warnings"]), "it says that nothing is calibrated")

# ---- clicks 25 times a second have harmonics at 50, 100 and 150 Hz: that is no mains hum
running = clicks(25, idle, 0.03) + hiss(12, 2e-4, seed=22)
result = noise({"off": ({"engine": "off"}, [hiss(8, 2e-4), hiss(8, 2e-4, seed=5)]), "idle": ({"engine": "idle"}, [running, 0.6 * running])})
kinds = sorted(s["kind"] for s in result["results"]["noise_sources"])
check.that(kinds == ["hiss", "ignition_tick"], f"ignition is not taken for mains: {kinds}")

# ---- hiss alone: nothing else is made up
for seed in range(5):
    result = noise({"off": ({"engine": "off"}, [hiss(8, 3e-4, seed=50 + seed), hiss(8, 3e-4, seed=60 + seed)]),
                    "idle": ({"engine": "idle"}, [hiss(10, 3e-4, seed=70 + seed), hiss(10, 3e-4, seed=80 + seed)])})
    kinds = [s["kind"] for s in result["results"]["noise_sources"]]
    check.that(kinds == ["hiss"], f"hiss alone gives hiss alone: {kinds}")
    # rms 3e-4 over 0..24 kHz, read in 20 Hz..20 kHz
    check.near(level_in(found(result, "hiss")[0], "idle", "left"), dbfs(3e-4 * np.sqrt(2) * np.sqrt(19980 / 24000)), 0.3, "hiss level")

# ---- no rpm, no cylinders, 60 Hz, other machine, volts calibrated
idle2 = speed(15, 0.012, seed=12)
sound = turning(1875, idle2, 0.0008) + turning(3750, idle2, 0.0003) + mains(15, 59.98, 0.0006, (1, 2, 4)) + hiss(15, 1e-4, seed=31)
quiet = mains(10, 59.98, 0.0006, (1, 2, 4)) + hiss(10, 1e-4, seed=32)
result = noise({"a": ({"engine": "off"}, [quiet, quiet[::-1]]), "b": ({"engine": "idle"}, [sound, sound[::-1]])},
               interface={"volts_full_scale": [7.0, 7.0], "own_noise_dbv": [-104, -104]})
w = found(result, "alternator_whine")
check.that(len(w) == 1, "one whine")
check.near(w[0]["frequency_hz"] if w else None, 1875 * idle2.mean(), 8, "whine without rpm")
check.near(w[0]["level_dbv"] if w else None, dbfs(np.hypot(0.0008, 0.0003)) + 20 * np.log10(7 / np.sqrt(2)), 0.6, "whine in volts")
m = found(result, "mains_hum")
check.near(m[0]["frequency_hz"] if m else None, 59.98, 0.03, "60 Hz mains found without being told the region")

# ---- a speed stated 5 % wrong, and a held speed whose constant comes from the idle take
held = speed(10, 0.0002, seed=13)
result = noise({"off": ({"engine": "off"}, [hiss(8, 1e-4, seed=1), hiss(8, 1e-4, seed=2)]),
                "idle": ({"engine": "idle", "rpm": 787}, [whine + hiss(12, 1e-4, seed=3), whine + hiss(12, 1e-4, seed=4)]),
                "raised": ({"engine": "raised", "rpm": 2000}, [turning(3306, held, 0.003) + hiss(10, 1e-4, seed=5), turning(3306, held, 0.003) + hiss(10, 1e-4, seed=6)])})
w = found(result, "alternator_whine")
check.that(len(w) == 1 and len(w[0]["takes"]) == 2, "one whine in both running takes")
check.that(not found(result, "unexplained_tone"), "the held line is no unexplained tone")

# ---- an open diode: the first order strong, with its multiples
sound = sum(turning(1240 * k / 6, idle, a) for k, a in ((1, 0.006), (2, 0.003), (3, 0.0012), (4, 0.0006), (6, 0.0012))) + hiss(12, 1e-4)
result = noise({"off": ({"engine": "off"}, [hiss(8, 1e-4), hiss(8, 1e-4, seed=9)]), "idle": ({"engine": "idle", "rpm": 750}, [sound, 0.5 * sound])})
w = found(result, "alternator_whine")
check.near(w[0]["frequency_hz"] if w else None, 1240 * idle.mean(), 6, "the six-pulse line below stronger low orders")
check.that([h["fault"] for h in result["results"]["health"]] == ["diode_open"], f"an open diode is suspected: {result['results']['health']}")

# ---- a tone of its own, engine off and running; a motor's drifting tone is not called the alternator's when the engine is off
steady = tone(3333.3, 10, 0.001)
result = noise({"off": ({"engine": "off"}, [steady + hiss(10, 1e-4), steady + hiss(10, 1e-4, seed=7)])})
kinds = [s["kind"] for s in result["results"]["noise_sources"]]
check.that(sorted(kinds) == ["hiss", "unexplained_tone"], f"a steady tone is an unexplained one: {kinds}")
check.near(found(result, "unexplained_tone")[0]["frequency_hz"], 3333.3, 0.1, "its frequency")
motor = turning(800, speed(10, 0.03, seed=15), 0.002)
result = noise({"off": ({"engine": "accessory"}, [motor + hiss(10, 1e-4), motor + hiss(10, 1e-4, seed=7)])})
check.that(not found(result, "alternator_whine"), "no alternator at rest")
check.that(any(s["kind"] in ("motor_whine", "unexplained_tone") for s in result["results"]["noise_sources"]), "the moving tone is reported")

# ---- music in a take: no noise; clipped it is found, with share and level, clean at the same level it is not
quiet = ({"engine": "off"}, [hiss(4, 1e-4), hiss(4, 1e-4, seed=7)])
song = [music(4, 31), music(4, 32)]
for name, lower, upper in (("clean", np.inf, np.inf), ("both sides", 0.4, 0.4), ("the upper side", np.inf, 0.35)):
    take = [played(x, 40 + i, lower, upper) for i, x in enumerate(song)]
    result = noise({"off": quiet, "song": ({"engine": "off"}, take)})
    check.that(any(w["code"] == "programme_material" and w["take"] == "takes/song.wav" for w in result["warnings"]),
               f"music, {name}: set aside")
    check.that(all(s["kind"] == "clipping" or s["takes"] == ["takes/off.wav"] for s in result["results"]["noise_sources"]),
               f"music, {name}: no noise is made of it")
    clipped = found(result, "clipping")
    check.that(len(clipped) == (name != "clean"), f"music, {name}: clipping found {len(clipped)} times")
    if name != "clean" and clipped:
        check.near(clipped[0]["clip_level_dbfs"], dbfs(upper), 0.15, f"music, {name}: level")
        truth = max(np.mean((x > upper) | (x < -lower)) for x in song)
        check.near(clipped[0]["clipped_share"], truth, 0.3 * truth, f"music, {name}: share")
        check.that(clipped[0]["channels"] == ["left", "right"], f"music, {name}: both channels")

# ---- one bad take among good ones
good = {"off": ({"engine": "off"}, [hiss(6, 1e-4), hiss(6, 1e-4, seed=7)]), "gone": ({"engine": "idle"}, None),
        "brief": ({"engine": "idle"}, [hiss(0.05, 1e-4), hiss(0.05, 1e-4)])}
result = noise(good)
named = {w.get("take") for w in result["warnings"]}
check.that({"takes/gone.wav", "takes/brief.wav"} <= named, f"bad takes are named: {named}")
with tempfile.TemporaryDirectory() as top:
    make_job(top + "/job", {"gone": ({"engine": "idle"}, None)})
    line = run(program, "noise", "--job", top + "/job", expect=2)
    check.that(line.count("\n") == 1 and "takes/gone.wav" in line, f"none left is one line: {line.strip()}")
check.end()
