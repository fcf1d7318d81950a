"""The noise floor that the noise command tells, against SciPy, SoX and FFmpeg on the same files."""
import json
import os
import re
import subprocess
import sys
import tempfile

import numpy as np
from scipy import signal
from sounds import RATE, Checks, hiss, make_job, run, speed, tone, turning, write_wav

program = sys.argv[1]
check = Checks()
POLES = os.path.join(os.environ["HUSHTRACE_SOURCE_DIR"], "tests", "reference", "weighting_poles.csv")
VOLTS = 7.0


def db(power):
    return 10 * np.log10(power)


def network(name):
    """Zeros, poles [rad/s] and gain of a weighting, 0 dB at 1 kHz, from the table of published poles."""
    poles, zeros = [], {"A": 4, "C": 2, "BS468": 1}[name]
    for row in open(POLES).read().splitlines()[1:]:
        whose, kind, real, imag = row.split(",")[:4]
        if whose == name or (whose == "A_and_C" and name != "BS468"):
            if kind.startswith("pole"):
                poles += [2 * np.pi * (-float(real) + 1j * float(imag))] * (2 if kind == "pole_double" else 1)
    _, at_1khz = signal.freqs_zpk([0] * zeros, poles, 1, [2 * np.pi * 1000])
    return [0] * zeros, poles, 1 / abs(at_1khz[0])


def by_welch(x, name, rate=RATE):
    """rms level [dBFS, AES17] from 20 Hz to 20 kHz: scipy.signal.welch and freqs_zpk."""
    f, density = signal.welch(x, rate, window="hann", nperseg=rate, noverlap=rate // 2, detrend=False)
    band = np.where((f > 20) & (f < 20000), 1.0, np.where((f == 20) | (f == 20000), 0.5, 0.0))
    weight = 1.0 if name is None else abs(signal.freqs_zpk(*network(name), 2 * np.pi * np.maximum(f, 1e-3))[1]) ** 2
    return db(2 * np.sum(density * band * weight) * f[1])


def by_filter(x, name):
    """The same in the time domain: scipy.signal.lfilter with the network, four times oversampled, bilinear."""
    dense = 4 * RATE
    up = signal.resample_poly(x, 4, 1)
    sos = signal.zpk2sos(*signal.bilinear_zpk(*network(name), dense))
    for section in sos:
        up = signal.lfilter(section[:3], section[3:], up)
    return db(2 * np.mean(up[dense:] ** 2))


def noise(takes, **more):
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", takes, **more)
        return json.loads(run(program, "noise", "--job", top + "/job", "--json"))


def floor(result, take, channel="left"):
    for one in result["results"]["floor"]:
        if one["take"] == f"takes/{take}.wav" and one["channel"] == channel:
            return one
    return {}


# ---- every figure against SciPy, on noise that is neither white nor clean
rng = np.random.default_rng(42)
seconds = 12
colour = signal.lfilter([1], [1, -0.9], rng.normal(size=seconds * RATE)) * 3e-5 + 2e-5 * rng.normal(size=seconds * RATE)
x = colour + tone(50.02, seconds, 1e-3) + tone(3000.3, seconds, 4e-4)
result = noise({"off": ({"engine": "off"}, [x, colour])}, interface={"volts_full_scale": [VOLTS, VOLTS]})
for channel, sound in (("left", x), ("right", colour)):
    told = floor(result, "off", channel)
    for key, name in (("unweighted", None), ("a_weighted", "A"), ("c_weighted", "C"), ("itu468", "BS468")):
        check.near(told.get(key + "_dbfs"), by_welch(sound, name), 0.02, f"{channel} {key} against scipy.signal.welch")
        volts = by_welch(sound, name) + 20 * np.log10(VOLTS / np.sqrt(2))
        check.near(told.get(key + "_dbv"), volts, 0.02, f"{channel} {key} in dBV")
        check.that(0 < told.get(key + "_dbfs_sd", 0) < 0.1, f"{channel} {key} has an sd: {told.get(key + '_dbfs_sd')}")
    for key, name in (("a_weighted", "A"), ("itu468", "BS468")):
        check.near(told.get(key + "_dbfs"), by_filter(sound, name), 0.1, f"{channel} {key} against scipy.signal.lfilter")
clean = by_welch(colour, None)
check.near(floor(result, "off")["broadband_dbfs"], clean, 0.05, "without its tones the left channel is the right one")
check.near(floor(result, "off")["broadband_a_weighted_dbfs"], by_welch(colour, "A"), 0.05, "A-weighted too")
tones = {round(t["frequency_hz"]): t for t in floor(result, "off")["tones"]}
check.near(tones.get(50, {}).get("level_dbfs"), 20 * np.log10(1e-3), 0.1, "the hum's level, apart from the floor")
check.near(tones.get(3000, {}).get("level_dbfs"), 20 * np.log10(4e-4), 0.1, "the tone's level, apart from the floor")
check.that(floor(result, "off", "right")["tones"] == [], "no tone is told where there is none")

# ---- the band's rms by SoX (stat) and FFmpeg (astats), after SoX's own band filter
with tempfile.TemporaryDirectory() as top:
    write_wav(top + "/x.wav", [x])
    subprocess.run(["sox", top + "/x.wav", top + "/band.wav", "sinc", "-a", "120", "-t", "4", "20-20000"], check=True)
    text = subprocess.run(["sox", top + "/band.wav", "-n", "stat"], capture_output=True, text=True, check=True).stderr
    rms = float(re.search(r"RMS\s+amplitude:\s+([\d.]+)", text).group(1))
    # stat prints six decimals: half the last one
    check.near(floor(result, "off")["unweighted_dbfs"], db(2 * rms**2), 0.03 + db((1 + 5e-7 / rms) ** 2), "unweighted against sox stat")
    text = subprocess.run(["ffmpeg", "-hide_banner", "-nostdin", "-i", top + "/band.wav", "-af", "astats", "-f", "null", "-"],
                          capture_output=True, text=True, check=True).stderr
    rms_db = float(re.search(r"RMS level dB:\s+(-?[\d.]+)", text).group(1))
    check.near(floor(result, "off")["unweighted_dbfs"], rms_db + db(2), 0.03, "unweighted against ffmpeg astats")

# ---- quasi-peak: a steady 1 kHz sine reads its rms (BS.468-4); Gaussian noise some 4 to 5 dB above its rms (common practice, no source)
sine = tone(1000, 6, 0.01)
result = noise({"off": ({"engine": "off"}, [sine + hiss(6, 1e-6), hiss(6, 1e-4)])})
check.near(floor(result, "off")["itu468_quasi_peak_dbfs"], -40, 0.1, "a 1 kHz sine on the quasi-peak meter")
hissing = floor(result, "off", "right")
check.near(hissing["itu468_quasi_peak_dbfs"] - hissing["itu468_dbfs"], 4.5, 1.0, "Gaussian noise on the quasi-peak meter, over rms")

# ---- the interface's floor comes off in power, each weighting by its own; too near to it, the reading says so
own, car = hiss(10, 2e-5, seed=71), hiss(10, 4e-5, seed=72)


def dbv(sound, name):
    return by_welch(sound, name) + 20 * np.log10(VOLTS / np.sqrt(2))


interface = {"volts_full_scale": [VOLTS, VOLTS], "own_noise_dbv": [dbv(own, None)] * 2, "own_noise_a_dbv": [dbv(own, "A")] * 2}
result = noise({"off": ({"engine": "off"}, [car + own, 0.5 * own + hiss(10, 2e-5, seed=73)])}, interface=interface)
told = floor(result, "off")
check.near(told["unweighted_dbv"], dbv(car, None), 0.1, "the vehicle's own floor, the interface's taken off")
check.near(told["a_weighted_dbv"], dbv(car, "A"), 0.1, "A-weighted likewise")
check.near(told["itu468_dbv"], dbv(car + own, "BS468"), 0.05, "468: nothing known to take off, nothing taken off")
check.near(told["unweighted_dbfs"], by_welch(car + own, None), 0.02, "dBFS stays what the take holds")
check.that(told["unweighted_interface_taken_off"] and not told["itu468_interface_taken_off"], "what was taken off is said")
check.that(told["limited_by_interface"] is False, "6 dB above the interface is a reading")
# without a tone in the take, taking the tones out changes nothing, in volts either
check.near(told["broadband_dbv"], told["unweighted_dbv"], 0.02, "no tones: the same floor")
check.near(told["broadband_a_weighted_dbv"], told["a_weighted_dbv"], 0.02, "no tones, A")
near = floor(result, "off", "right")
check.that(near["limited_by_interface"] is True and near["unweighted_limited_by"] == "interface", "1 dB above it is a limit")
check.near(near["unweighted_dbv"], dbv(0.5 * own + hiss(10, 2e-5, seed=73), None), 0.05, "and nothing is taken off")
padded = noise({"off": ({"engine": "off", "attenuation_db": [6, 6]}, [car + own, car + own])}, interface=interface)
check.near(floor(padded, "off")["unweighted_dbv"], dbv(car, None) + 6, 0.15, "behind a pad both lie higher by its loss")

# ---- a tone that wanders is read along its track, and left out of the broadband floor
for hz, share in ((1240, 0.01), (1240, 0.03), (2800, 0.02)):
    whine = turning(hz, speed(12, share, seed=hz), 2e-3)
    sound = whine + hiss(12, 1e-4, seed=81)
    result = noise({"off": ({"engine": "off"}, [hiss(8, 1e-4, seed=82)] * 2), "idle": ({"engine": "idle"}, [sound, 0.5 * sound])})
    told = floor(result, "idle")
    loudest = told["tones"][0] if told["tones"] else {}
    check.near(loudest.get("level_dbfs"), 20 * np.log10(2e-3), 0.3, f"{hz} Hz wandering {100 * share:.0f} %: its level")
    check.that(loudest.get("wanders") is True, "and it is known to wander")
    check.near(told["broadband_dbfs"], by_welch(hiss(12, 1e-4, seed=81), None), 0.1, "the floor without it")
    check.near(told["unweighted_dbfs"], by_welch(sound, None), 0.03, "the floor with it")

# ---- a low rate says what it can't carry; a take too short for the needle says nothing of it
with tempfile.TemporaryDirectory() as top:
    make_job(top + "/job", {"off": ({"engine": "off"}, [hiss(2, 1e-3)] * 2)})
    write_wav(top + "/job/takes/off.wav", [hiss(2, 1e-3, rate=8000)] * 2, rate=8000)
    result = json.loads(run(program, "noise", "--job", top + "/job", "--json"))
    told = floor(result, "off")
    check.that(told["band_hz"] == [20, 4000], f"the band is stated: {told['band_hz']}")
    check.that(any(w["code"] == "band_cut_short" for w in result["warnings"]), "and what is missing is said")
    check.near(told["unweighted_dbfs"], 20 * np.log10(1e-3 * np.sqrt(2) * np.sqrt(3980 / 4000)), 0.3, "its level")
    check.that(told["itu468_quasi_peak_dbfs"] is None, "2 s are too short for a quasi-peak reading")
    text = run(program, "noise", "--job", top + "/job")
    check.that("20 Hz to 4 kHz" in text and max(map(len, text.splitlines())) <= 80, "the text says so within 80 columns")
check.end()
