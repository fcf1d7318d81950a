"""The noise-floor record: takes of known noise against NumPy and SciPy, limits and exit codes, and one whole job on the simulated vehicle."""
import json
import os
import re
import subprocess
import sys
import tempfile

import numpy as np
from scipy import signal
from scipy.io import wavfile
from sounds import RATE, Checks, hiss, make_job, run, speed, tone, turning

program = sys.argv[1]
check = Checks()
POLES = os.path.join(os.environ["HUSHTRACE_SOURCE_DIR"], "tests", "reference", "weighting_poles.csv")
VOLTS = 7.0
TO_DBV = 20 * np.log10(VOLTS / np.sqrt(2))


def db(power):
    return 10 * np.log10(power)


def a_weighting():
    poles = []
    for row in open(POLES).read().splitlines()[1:]:
        whose, kind, real, imag = row.split(",")[:4]
        if whose in ("A", "A_and_C") and kind.startswith("pole"):
            poles += [2 * np.pi * (-float(real) + 1j * float(imag))] * (2 if kind == "pole_double" else 1)
    _, at_1khz = signal.freqs_zpk([0] * 4, poles, 1, [2 * np.pi * 1000])
    return [0] * 4, poles, 1 / abs(at_1khz[0])


def level(x, a_weighted=False, rate=RATE):
    """rms from 20 Hz to 20 kHz [dBFS, AES17] by scipy.signal.welch."""
    f, density = signal.welch(x, rate, window="hann", nperseg=rate, noverlap=rate // 2, detrend=False)
    band = np.where((f > 20) & (f < 20000), 1.0, np.where((f == 20) | (f == 20000), 0.5, 0.0))
    weight = abs(signal.freqs_zpk(*a_weighting(), 2 * np.pi * np.maximum(f, 1e-3))[1]) ** 2 if a_weighted else 1.0
    return db(2 * np.sum(density * band * weight) * f[1])


def third_octave(x, x10, rate=RATE):
    """The level in the band at 1000 * 10^(x10 / 10) Hz [dBFS] through a Butterworth band filter of 16 poles; low bands at a lower rate."""
    mid = 1000 * 10 ** (x10 / 10)
    while mid < 0.02 * rate:
        x, rate = signal.decimate(x, 4, ftype="fir"), rate / 4
    edges = [mid * 10 ** -0.05, min(mid * 10 ** 0.05, 0.499 * rate)]
    y = signal.sosfilt(signal.butter(8, edges, "bandpass", fs=rate, output="sos"), x)
    return db(2 * np.mean(y[int(0.15 * len(y)):] ** 2))


def pink(seconds, rms, seed):
    n = int(seconds * RATE)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=n))
    x = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / RATE), 5)), n)
    return x * rms / np.std(x)


def stepped(volumes, clip_volume, at_clip):
    """997 Hz, 1.5 dB a volume, cut off 0.4 dB above what clip_volume gives."""
    rail = at_clip * 10 ** (0.4 / 20)
    return np.concatenate([np.clip(tone(997, 1.5, at_clip * 10 ** (1.5 * (v - clip_volume) / 20)), -rail, rail) for v in volumes])


def condition(record, name):
    return next((one for one in record["conditions"] if one["name"] == name), None)


def channel(record, name, which="left"):
    return next(one for one in condition(record, name)["channels"] if one["channel"] == which)


# ---- takes of known noise
volumes = list(range(26, 37))
steps = stepped(volumes, 33, 0.4) + hiss(1.5 * len(volumes), 1e-5, seed=9)
white, rosy, own = hiss(10, 4e-5, seed=1), pink(10, 1e-4, seed=2), hiss(10, 4e-6, seed=4)
left_off, right_off = white + own, rosy + own + tone(1000, 10, 2e-4)
idle = hiss(10, 4e-5, seed=5) + turning(1240, speed(10, 0.012, seed=6), 2e-3)
base = {"source": "on", "volume": 33, "laptop": "battery"}
takes = {"off": ({"engine": "off", **base}, [left_off, right_off]),
         "idle": ({"engine": "idle", "rpm": 800, **base}, [idle, idle]),
         "shorted": ({"engine": "off", "hookup": ["inputs_shorted"]}, [own, own]),
         "steps": ({"engine": "off", "volume_steps": volumes, "tone": {"kind": "sine", "frequency_hz": 997, "level_dbfs": 0}}, [steps, steps])}
more = {"interface": {"volts_full_scale": [VOLTS, VOLTS], "volts_full_scale_sd_db": [0.1, 0.1], "own_noise_dbv": [level(own) + TO_DBV] * 2,
                      "own_noise_a_dbv": [level(own, True) + TO_DBV] * 2},
        "vehicle": {"cylinders": 4, "strokes": 4},
        "amplifiers": [{"name": "front", "power_w": 100, "load_ohm": 4, "sensitivity_v": [0.2, 6]}],
        "speakers": [{"amplifier": "front", "sensitivity_db_2v83_1m": 90, "distance_m": 1}]}

with tempfile.TemporaryDirectory() as top:
    job = top + "/job"
    make_job(job, takes, **more)
    document = json.loads(run(program, "noise", "--job", job, "--json"))
    record = document["results"]["floor_record"]
    check.that([one["name"] for one in record["conditions"]] == ["engine off", "idle"], "the conditions in order")

    left, right = channel(record, "engine off"), channel(record, "engine off", "right")
    ceiling_dbfs = 20 * np.log10(0.4)
    a_dbfs = level(white, True)
    check.near(left["ceiling"]["volume"], 33, 0, "the ceiling's volume")
    check.near(left["ceiling"]["level_v"], 0.4 * VOLTS / np.sqrt(2), 0.002, "and its volts")
    check.near(left["signal_to_noise_a_db"], ceiling_dbfs - a_dbfs, 0.1, "signal-to-noise, A-weighted, by NumPy")
    check.near(left["signal_to_noise_db"], ceiling_dbfs - level(white), 0.1, "signal-to-noise, unweighted")
    check.near(right["dynamic_range_a_db"], ceiling_dbfs - level(rosy, True), 0.15, "the dynamic range leaves the tone out")
    check.near(right["dynamic_range_a_db"] - right["signal_to_noise_a_db"],
               level(right_off, True) - level(rosy, True), 0.15, "which the signal-to-noise has in it")
    # in theory: white noise to 24 kHz of this rms, 20 kHz of it, A-weighted by the published noise gain
    check.near(left["floor"]["unweighted_dbfs"], db(2 * (4e-5 ** 2 + 4e-6 ** 2) * 19980 / 24000), 0.1, "white noise of known density")
    check.that(left["signal_to_noise_a_db_sd"] < left["floor"]["a_weighted_dbv_sd"], "the scale goes out of a ratio")
    front = left["amplifiers"][0]
    # 100 W into 4 ohm is 20 V; the ceiling's volts must bring it: gain 20 V / 1.98 V; 1 W is 2 V
    gain = 20 / (0.4 * VOLTS / np.sqrt(2))
    check.near(front["gain_db"], 20 * np.log10(gain), 0.02, "the gain, by hand")
    check.near(front["one_watt_v"], 2 / gain, 0.001, "1 W at the input, by hand")
    check.near(front["signal_to_noise_1w_a_db"], 20 * np.log10(2 / gain) - a_dbfs - TO_DBV, 0.12, "signal-to-noise re 1 W")
    check.near(front["hiss_re_full_power_db"], a_dbfs - ceiling_dbfs, 0.12, "hiss re full power")
    check.near(front["hiss_at_ear_db_spl"], 90 + a_dbfs + TO_DBV + 20 * np.log10(gain / 2.83), 0.15, "hiss at the ear, by hand")

    whine = channel(record, "idle")["lines"][0]
    check.that(whine["name"] == "alternator whine" and whine["wanders"], f"the strongest line at idle has its name: {whine['name']}")
    check.near(whine["below_ceiling_db"], ceiling_dbfs - 20 * np.log10(2e-3), 0.5, "and lies below the ceiling by what was put in")

    # thirds of octaves: an ideal band against a steep real one, interface and all; the tone in its band
    for which, sound, name in (("left", left_off, "white"), ("right", right_off, "pink with a tone")):
        bands = channel(record, "engine off", which)["floor"]["third_octaves"]
        check.that([b["nominal_hz"] for b in bands[:4]] == [20, 25, 31.5, 40] and len(bands) == 31, f"{name}: all bands are there")
        worst = max((abs(b["level_dbfs"] - third_octave(sound, i - 17)) / (0.12 + 1.2 * b["level_dbfs_sd"]), b["nominal_hz"])
                    for i, b in enumerate(bands[:30]))
        check.that(worst[0] < 1, f"{name}: every band as SciPy's Butterworth filter reads it: {worst}")
    at_1khz = next(b for b in right["floor"]["third_octaves"] if b["nominal_hz"] == 1000)
    check.near(at_1khz["level_dbv"], 20 * np.log10(2e-4) + TO_DBV, 0.15, "the tone fills its band")
    check.that(right["floor"]["third_octaves_interface"] == "by_band", "the shorted take tells the interface band by band")
    check.that(all(b["interface_taken_off"] for b in left["floor"]["third_octaves"][10:]), "and it is taken off")

    # limits: proposals tell, written ones fail the job
    verdicts = {(v["what"], v["condition"]): v for v in record["acceptance"] if v["channel"] == "left"}
    line = verdicts["line_below_full_power_db", "idle"]
    check.that(line["verdict"] == "fail" and not line["written"], f"46 dB below full power fails the proposal: {line['verdict']}")
    check.that(verdicts["hiss_below_full_power_db", "idle"]["verdict"] == "judge", "hiss between the proposal's two figures is for the ear")
    run(program, "job", "--job", job, "--limits", "line_below_full_power_db=-90")
    text = run(program, "noise", "--job", job, "--floor", expect=1)
    check.that("fail: idle: lines against full power, front" in text, "a written limit that fails is exit 1")
    check.that(all(len(one) <= 80 for one in text.split("\n")), "the table fits 80 columns")
    check.that("Engine off" in text and "alternator whine" in text and "S/N re 1 W" in text, "the text has conditions, names and figures")
    check.that("hushtrace capture --job" in text and "--engine raised" in text, "and the command that brings what is missing")
    run(program, "report", "--job", job, expect=1)
    page = open(job + "/records/report.html").read()
    data = json.load(open(job + "/records/report.json"))
    check.that(len(data["results"]["floor_record"]["conditions"]) == 2, "the record's data has it too")
    section = page[page.index("<h2>How quiet it is</h2>"):]
    section = section[:section.index("</section>")]
    check.that(section.count("<svg") == 4 and section.count('role="img"') == 4, "two channels' pictures in two sizes")
    check.that(section.count("<desc") == 4 and "by thirds of octaves, left" in section, "with titles and descriptions")
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", section)
    check.that(len(rows) > 70 and all("data-label" in one for one in rows), f"tables with headers: {len(rows)} rows")
    run(program, "job", "--job", job, "--limits", "line_below_full_power_db=-40,hiss_below_full_power_db=-60,at_ear_running_db_spl=140")
    run(program, "noise", "--job", job, "--floor", expect=0)
    check.that("at most" not in run(program, "job", "--job", job, "--limits", "line_below_full_power_db=30", expect=2), "a limit above 0 is refused")

# ---- nothing to tell is told: no amplifier, no calibration, no ceiling; a written limit still has its line
with tempfile.TemporaryDirectory() as top:
    make_job(top + "/job", {"off": ({"engine": "off"}, [white, np.zeros(len(white))])}, limits={"at_ear_off_db_spl": 15})
    record = json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"]["floor_record"]
    only = channel(record, "engine off")
    check.that(only["signal_to_noise_db"] is None and only["ceiling"] is None and only["amplifiers"] == [], "no ceiling, no ratio")
    check.that([v["verdict"] for v in record["acceptance"]] == ["not_measured"], "a written limit without a figure isn't measured")
    check.that({"condition_idle", "calibration", "ceiling", "amplifier"} <= {g["what"] for g in record["gaps"]}, "what is missing is named")
    text = run(program, "noise", "--job", top + "/job", "--floor")
    check.that("digital silence" in text and "describes no amplifier" in text, "in words too")

# ---- one job on the simulated vehicle
with tempfile.TemporaryDirectory() as top:
    job = top + "/job"
    sim = ["capture", "--job", job, "--simulate", "three_faults", "--meter", "--format", "wav"]
    run(program, "job", "--job", job, "--new", "--title", "three faults", "--cylinders", "4", "--mains-hz", "50",
        "--amplifier", "front,power_w=75,load_ohm=4,sensitivity_v=0.2:5", "--speaker", "front,sensitivity_db_2v83_1m=90,distance_m=1")
    for name, seconds in (("quiet", 8), ("tone_200", 5), ("tone_997", 20)):
        kind = ["near_silence"] if name == "quiet" else ["sine", "--frequency", name[5:], "--level", "-10" if name == "tone_200" else "0"]
        run(program, "tones", *kind, "--duration", seconds, "--out", f"{top}/{name}.wav")
    stick = ["--via", "stick", "--played"]
    run(program, *sim, "--name", "floor", "--hookup", "inputs_shorted", "--seconds", "4")
    run(program, *sim, "--name", "calibration", "--engine", "off", "--volume", "20", "--tone", "sine", "--frequency", "200", "--level", "-10",
               *stick, top + "/tone_200.wav")
    # what a meter reads on this vehicle's lead, as README.md has it
    run(program, "calibrate", "--job", job, "--take", "takes/calibration.wav", "--volts", "0.1092", "--meter-accuracy", "1.0%+3")
    run(program, "calibrate", "--job", job, "--floor", "takes/floor.wav")
    for name, engine in (("off", ["off"]), ("idle", ["idle"]), ("loads", ["idle", "--loads", "headlights,blower"])):
        run(program, *sim, "--name", name, "--engine", *engine, "--volume", "20", "--laptop", "battery",
            "--tone", "near_silence", *stick, top + "/quiet.wav")
    run(program, *sim, "--name", "steps", "--engine", "off", "--tone", "sine", "--level", "0", *stick, top + "/tone_997.wav",
        "--volume-steps", "28,30,32,33,34,35,36,38", "--step-seconds", "2")
    record = json.loads(run(program, "noise", "--job", job, "--json"))["results"]["floor_record"]
    check.that([one["name"] for one in record["conditions"]] == ["engine off", "idle", "idle, blower, headlights"],
               "the simulated vehicle's conditions")
    settings = json.load(open(job + "/job.json"))
    scale = 20 * np.log10(settings["interface"]["volts_full_scale"][0] / np.sqrt(2))
    for name in ("off", "idle"):
        rate, sound = wavfile.read(f"{job}/takes/{name}.wav")
        whole = level(sound[:, 0].astype(float), True, rate) + scale
        figure = channel(record, "engine off" if name == "off" else name)
        # the markers at the tone's ends are no part of the floor: its quiet middle against the same by NumPy
        middle = level(sound[int(3 * rate):int(-3 * rate), 0].astype(float), True, rate) + scale
        check.near(figure["floor"]["a_weighted_dbv"], middle, 1.0, f"{name}: the floor, A-weighted, against NumPy (whole take {whole:.1f})")
        over = 20 * np.log10(figure["ceiling"]["level_v"]) - figure["floor"]["a_weighted_dbv"]
        check.near(figure["signal_to_noise_a_db"], over, 0.02, f"{name}: its ratio")
    names = [one["name"] for one in channel(record, "idle")["lines"][:3]]
    check.that("alternator whine" in names, f"the whine has its name: {names}")
    check.that({g["what"] for g in record["gaps"]} >= {"condition_raised"} and "condition_loads" not in {g["what"] for g in record["gaps"]},
               "a raised engine is still missing, loads aren't")
    if "--keep" in sys.argv:
        run(program, "report", "--job", job)
        subprocess.run(["cp", "-r", job, sys.argv[sys.argv.index("--keep") + 1]], check=True)

check.end()
