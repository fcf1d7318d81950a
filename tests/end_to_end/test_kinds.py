"""Noise that does not follow the engine, made with NumPy: each kind is named, with its frequency, level and what is told of it."""
import json
import pathlib
import sys
import tempfile

import numpy as np
from sounds import RATE, Checks, hiss, make_job, run, tone

program = sys.argv[1]
check = Checks()
SECONDS = 6


def noise(takes, **more):
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", takes, **more)
        return json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"]["noise_sources"]


def found(sources, kind):
    return [s for s in sources if s["kind"] == kind]


def said(source, words):
    return any(words in e["text"] for e in source["evidence"])


def floor(seed):
    return hiss(SECONDS, 1e-4, seed=seed)


def pulses(rate_hz, duty, amplitude, highest=40, on=None):
    """A band-limited pulse train: 2 sin(pi n d) / (pi n), the Fourier series of a square pulse."""
    x = sum(tone(n * rate_hz, SECONDS, amplitude * 2 * np.sin(np.pi * n * duty) / (np.pi * n))
            for n in range(1, highest) if n * rate_hz < 20000)
    if on:
        t = np.arange(x.size) / RATE
        x = x * ((t > on[0]) & (t < on[1]))
    return x


def stereo(x, seed):
    return [x + floor(seed), 0.5 * x + floor(seed + 1)]


# ---- three at once: a dimmer at 30 %, a phone that sends for two seconds, and the frames of a bus whose clock is 100 ppm off
bus_hz = 1000 * (1 + 1e-4)
bus = sum(tone(n * bus_hz, SECONDS, 2e-5 / np.sqrt(n)) for n in range(1, 19))
sound = pulses(181.3, 0.3, 1e-3) + pulses(650 / 3, 1 / 8, 1e-3, highest=80, on=(2, 4)) + bus
sources = noise({"off": ({"engine": "off"}, stereo(sound, 1))})
kinds = sorted(s["kind"] for s in sources)
check.that(kinds == ["bus_tone", "hiss", "phone_burst", "switched_load"], f"three sources and hiss: {kinds}")
for kind, truth in (("switched_load", 181.3), ("phone_burst", 650 / 3), ("bus_tone", bus_hz)):
    for s in found(sources, kind):
        check.near(s["frequency_hz"], truth, 0.0003 * truth, f"{kind}'s frequency")
load = (found(sources, "switched_load") or [{"evidence": []}])[0]
duty = [e for e in load["evidence"] if e["unit"] == "%"]
check.that(len(duty) == 1 and duty[0]["sd"] is not None and abs(duty[0]["value"] - 30) < 3 * duty[0]["sd"] + 1,
           f"its duty, 30 %, with uncertainty: {[(d['value'], d['sd']) for d in duty]}")
check.near(max((x["level_dbfs"] for x in load.get("levels", [])), default=None),
           10 * np.log10(2 * np.mean(pulses(181.3, 0.3, 1e-3) ** 2)), 0.7, "its level")
check.that(any(said(s, "sound from") and said(s, "8th multiple") for s in found(sources, "phone_burst")),
           "the phone's time and its missing 8th multiple are told")

# ---- mains: odd multiples are leakage, even ones a rectifier
for name, numbers, words in (("odd", (1, 3, 5, 7), "leakage"), ("even", (2, 4, 6, 8), "rectifier")):
    sources = noise({"off": ({"engine": "off"}, stereo(sum(tone(59.97 * n, SECONDS, 4e-4 / n) for n in numbers), 11))})
    hum = found(sources, "mains_hum")
    check.that(len(sources) == 2 and len(hum) == 1, f"mains, {name} multiples: {[s['kind'] for s in sources]}")
    check.near(hum[0]["frequency_hz"] if hum else None, 59.97, 0.03, f"mains, {name}: frequency")
    check.that(hum and said(hum[0], words) and said(hum[0], "60 Hz"), f"mains, {name}: what makes it, and the region's frequency")

# ---- a tone that comes with a load, one with the source's activity; the set-up's own lines are no source of the other takes
lamp, screen, own = tone(1234.5, SECONDS, 3e-5), tone(3456.7, SECONDS, 3e-5), tone(5000.25, SECONDS, 3e-5)
sources = noise({"bare": ({"engine": "off", "source": "on"}, stereo(screen + own, 21)),
                 "lamp": ({"engine": "off", "source": "on", "loads": ["headlights"]}, stereo(screen + lamp + own, 23)),
                 "dark": ({"engine": "off", "source": "off"}, stereo(own, 25)),
                 "short": ({"engine": "off", "hookup": ["inputs_shorted"]}, stereo(own, 27))})
by = {round(s["frequency_hz"]): s for s in sources if s["kind"] != "hiss"}
check.that(sorted(by) == [1234, 3457, 5000], f"three tones: {sorted(by)}")
check.that(1234 in by and by[1234]["kind"] == "switched_load" and said(by[1234], "load 'headlights'"), "the lamp's is a switched load's")
check.that(3457 in by and said(by[3457], "the source's own activity"), "the screen's goes with the source")
check.that(5000 in by and by[5000]["takes"] == ["takes/short.wav"] and said(by[5000], "measuring set-up"), "the set-up's own is its alone")

# ---- crackle at odd times, with a mark; even clicks, slow ones too; one bump of a hand
rng = np.random.default_rng(7)


def bursts(times, amplitude):
    x = np.zeros(SECONDS * RATE)
    for t in times:
        at = int(t * RATE)
        x[at:at + 100] += amplitude * rng.normal(size=100) * np.exp(-np.arange(100) / 25)
    return x


for name, times, kind in (("odd times", (0.7, 1.15, 2.9, 3.05, 4.6), "crackle"), ("even times", np.arange(0.4, 5.9, 0.61), "periodic_tick"),
                          ("one bump", (3.0,), None)):
    sources = noise({"off": ({"engine": "off", "marks": [{"time_s": 2.8, "text": "pothole"}]}, stereo(bursts(times, 3e-3), 31))})
    others = [s for s in sources if s["kind"] != "hiss"]
    check.that([s["kind"] for s in others] == ([kind] if kind else []), f"bursts, {name}: {[s['kind'] for s in others]}")
    if kind == "crackle" and others:
        check.that(said(others[0], "2.90") and said(others[0], "pothole"), "crackle's times and the mark near it are told")
    if kind == "periodic_tick" and others:
        check.near(others[0]["frequency_hz"], 1 / 0.61, 0.03, "clicks a second")

# ---- a converter at light load: pulses whose rate hunts; the test at another rate is proposed
times = np.cumsum((1 + 0.05 * rng.normal(size=9000)) / 1300)
hunting = np.zeros(SECONDS * RATE)
hunting[(times[times < SECONDS - 0.01] * RATE).astype(int)] = 2e-3
sources = noise({"off": ({"engine": "off"}, stereo(hunting, 41))})
check.that([s["kind"] for s in found(sources, "converter_hash")] == ["converter_hash"], f"hunting pulses: {[s['kind'] for s in sources]}")
check.that(any(said(s, "another sample rate") for s in sources), "the test at another sample rate is proposed")

# ---- broad hash: hardly a hump, but its noise pulses; hiss of the same colour does not
times = np.cumsum((1 + 0.12 * rng.normal(size=14000)) / 1750)
broad = np.zeros(SECONDS * RATE)
broad[(times[times < SECONDS - 0.01] * RATE).astype(int)] = 1.0
ring = np.exp(-np.arange(200) / 8) * np.sin(2 * np.pi * 5000 / RATE * np.arange(200))
broad = np.convolve(broad, ring)[:SECONDS * RATE]
sources = noise({"off": ({"engine": "off"}, stereo(2e-4 * broad, 43))})
one = found(sources, "converter_hash")
check.that(len(one) == 1 and abs(one[0]["frequency_hz"] / 1750 - 1) < 0.03 and said(one[0], "pulses"), f"broad hash: {[(s['kind'], s['frequency_hz']) for s in sources]}")
coloured = np.convolve(rng.normal(size=SECONDS * RATE), ring)[:SECONDS * RATE]
sources = noise({"off": ({"engine": "off"}, stereo(2e-4 * coloured / coloured.std() * broad.std(), 44))})
check.that([s["kind"] for s in sources] == ["hiss"], f"hiss of that colour: {[s['kind'] for s in sources]}")

# ---- the beat of two converters, above what a motor or an engine makes: with the engine off, and on
walk = np.cumsum(rng.normal(size=50 * SECONDS)) * 0.004
track = 11500 * (1 + np.interp(np.arange(SECONDS * RATE), np.arange(walk.size) * RATE / 50, walk - walk.mean()))
sweeping = 5e-5 * np.sin(2 * np.pi * np.cumsum(track) / RATE)
sources = noise({"off": ({"engine": "off"}, stereo(sweeping, 45)), "idle": ({"engine": "idle", "rpm": 800}, stereo(sweeping, 46))})
beats = [s for s in sources if s["kind"] != "hiss"]
check.that([s["kind"] for s in beats] == ["converter_hash"] and len(beats[0]["takes"]) == 2 and abs(beats[0]["frequency_hz"] / 11500 - 1) < 0.05,
           f"a beat at 11.5 kHz: {[(s['kind'], s['frequency_hz']) for s in sources]}")

# ---- heard, but not there at the amplifier's input
quiet = ({"engine": "idle", "rpm": 800}, stereo(np.zeros(SECONDS * RATE), 51))
heard = {"what": "noise_heard", "value": "same", "hookup": ["shorted_at_amp"], "engine": "idle"}
sources = noise({"idle": quiet}, observations=[heard])
only = found(sources, "heard_only")
check.that(len(only) == 1 and only[0]["level_dbfs"] is None and only[0]["frequency_hz"] is None and only[0]["takes"] == [],
           f"heard alone: {[s['kind'] for s in sources]}")
check.that(only and any(e["observations"] == [0] for e in only[0]["evidence"]), "it names the observation")
sources = noise({"idle": quiet}, observations=[{**heard, "value": "gone"}])
check.that(not found(sources, "heard_only"), "what is gone with the input shorted is not heard behind it")

# ---- what meets another kind's lines by chance is not that kind
def kinds_of(x, seed, conditions=None):
    return sorted((s["kind"], s["frequency_hz"] and round(s["frequency_hz"])) for s in noise({"take": (conditions or {"engine": "off"}, stereo(x, seed))})
                  if s["kind"] != "hiss")


fast = kinds_of(tone(8000.4, SECONDS, 3e-5) + tone(16000.8, SECONDS, 2e-5), 201)
check.that(fast == [("bus_tone", 8000)], f"a fast bus is no slow one as well: {fast}")
slow = kinds_of(sum(tone(800.1 * n, SECONDS, 2e-5 * (2 if n % 5 == 0 else 1)) for n in range(1, 20)), 203)
check.that(slow == [("bus_tone", 800)], f"nor slot pairs whose every fifth line leads: {slow}")
ring = kinds_of(pulses(650 / 3, 1 / 8, 3e-3, highest=80, on=(3, 5)), 205, {"engine": "idle"})
check.that(ring == [("phone_burst", 217)], f"a phone that comes and goes is no whine: {ring}")
loud = kinds_of(pulses(121.8, 0.71, 3e-3, highest=160), 207)
check.that(loud == [("switched_load", 122)], f"a loud load's lines make no bus: {loud}")
turns = 100.66
bars = kinds_of(sum(tone(n * turns, SECONDS, a) for n, a in ((9, 1e-3), (18, 3e-4), (1, 2e-4), (8, 3e-4), (10, 1e-4), (11, 2e-4))), 209)
check.that(bars == [("motor_whine", 906)], f"a motor's turns are no mains: {bars}")
bars = kinds_of(sum(tone(n * turns, SECONDS, a) for n, a in ((9, 1e-3), (18, 3e-4), (1, 2e-4), (8, 3e-4), (10, 1e-4), (12.5, 2e-5))), 217)
check.that("mains_hum" not in dict(bars) and ("motor_whine", 906) in bars, f"nor with a line half-way between them: {bars}")
met = kinds_of(sum(tone(800.4 * n, SECONDS, 2e-5) for n in (7, 14)), 219)
check.that("bus_tone" not in dict(met), f"lines at every seventh place of a bus are none: {met}")
few = kinds_of(sum(tone(1000.25 * n, SECONDS, 1e-4) for n in range(1, 20)) + tone(59.96, SECONDS, 4e-6) + tone(179.88, SECONDS, 3e-6) + tone(299.8, SECONDS, 2.5e-6), 221)
check.that(few == [("bus_tone", 1000), ("mains_hum", 60)], f"a few faint lines at the mains' rate are theirs: {few}")
faint = kinds_of(tone(50.02, SECONDS, 1.2e-5), 211)
check.that(faint == [("mains_hum", 50)], f"a lone line at 50 Hz is the mains': {faint}")

# ---- a trace beside something far louder is told as unsure, and in words
with tempfile.TemporaryDirectory() as top:
    make_job(top + "/job", {"take": ({"engine": "off"}, stereo(tone(700.3, SECONDS, 1e-4) + tone(5103.7, SECONDS, 3e-6), 215))})
    both = json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"]
    words = run(program, "noise", "--job", top + "/job")
check.that([round(s["frequency_hz"]) for s in both["noise_sources"] if s["kind"] != "hiss"] == [700], "the loud tone is told")
check.that([round(s["frequency_hz"]) for s in both["unsure"]] == [5104] and both["unsure"][0]["confidence"] < 0.5, f"the trace is unsure: {both['unsure']}")
check.that("5.104 kHz" in words and "Chance, or part of" in words, "and that is said")

edges = kinds_of(pulses(67.3, 0.33, 1e-3, highest=300), 213)
check.that(edges == [("switched_load", 67)], f"what switches 67 times a second ticks not: {edges}")

check.end()
