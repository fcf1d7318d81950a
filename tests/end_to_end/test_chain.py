"""The chain command: SciPy makes the paths, the capture and the truth; the program writes the tone file and judges."""
import json
import os
import sys
import tempfile

import numpy as np
from scipy import interpolate, signal
from scipy.io import wavfile
from sounds import RATE, Checks, run, write_wav

program = sys.argv[1]
check = Checks()
rng = np.random.default_rng(20260131)


class Player:
    """A tone file as a clock that is off plays it: band-limited (FFT) to four times its rate, a cubic spline between."""

    def __init__(self, path, ppm, start_s, after_s=1.0):
        rate, data = wavfile.read(path)
        mono = data.astype(float).max(axis=1) if data.ndim == 1 else data[:, np.argmax(np.abs(data).max(axis=0))] / 2.0**31
        times = 4
        fine = signal.resample(np.concatenate([mono, np.zeros(rate // 10)]), times * (mono.size + rate // 10))
        self.spline = interpolate.CubicSpline(np.arange(fine.size) / (times * rate), fine)
        self.end_s, self.ppm, self.start_s = mono.size / rate, ppm, start_s
        self.frames = int((start_s + self.end_s + after_s) * RATE)

    def played(self, delay_s=0.0):
        t = (np.arange(self.frames) / RATE - self.start_s - delay_s) / (1 + 1e-6 * self.ppm)
        inside = (t >= 0) & (t <= self.end_s)
        return np.where(inside, self.spline(np.clip(t, 0, self.end_s)), 0.0)


def noisy(x, rms):
    return x + rng.normal(size=x.size) * rms


def job(folder, takes):
    """takes: name, tone, channels' sound, further fields"""
    os.makedirs(folder + "/takes")
    entries = []
    for name, tone, sound, more in takes:
        write_wav(f"{folder}/takes/{name}.wav", sound)
        entries.append({"file": f"takes/{name}.wav", "channels": ["left", "right"][:len(sound)], "engine": "off", "tone": tone, **more})
    with open(folder + "/job.json", "w") as file:
        json.dump({"schema": "hushtrace.job/1", "title": "chain", "takes": entries}, file)


def chain(folder, expect=0):
    if expect:
        return run(program, "chain", "--job", folder, expect=expect)
    text = run(program, "chain", "--job", folder)
    check.that(all(len(line) <= 80 for line in text.splitlines()), "text keeps within 80 columns")
    return json.loads(run(program, "chain", "--job", folder, "--json"))


def channels_of(result):
    return {c["channel"]: c for c in result["results"]["channels"]}


def limit(folder, **limits):
    with open(folder + "/job.json") as kept:
        stated = json.load(kept)
    stated["limits"] = limits
    with open(folder + "/job.json", "w") as kept:
        json.dump(stated, kept)


def limits_of(result):
    return {(line["what"], line["channel"]): line for line in result["results"]["limits"]}


def warned(result):
    return {w["code"] for w in result["warnings"]}


def at(rows, hz):
    return min(rows, key=lambda p: abs(np.log(p["frequency_hz"] / hz)))


SWEEP = {"kind": "sweep", "from_hz": 20, "to_hz": 20000, "duration_s": 4, "level_dbfs": -20, "via": "stick"}
RMS = 0.1 / np.sqrt(2)

with tempfile.TemporaryDirectory(prefix="hushtrace-chain-") as top:
    file = top + "/sweep.wav"
    run(program, "tones", "sweep", "--duration", 4, "--level", -20, "--bits", 24, "--out", file)

    # ---- both channels: filters that SciPy designs, the second turned, delayed and quieter, clock 137 ppm off
    player = Player(file, 137.0, 2.7182818)
    sos_left = np.concatenate([signal.butter(1, 15, "high", fs=RATE, output="sos"), signal.butter(2, 7000, fs=RATE, output="sos")])
    sos_right = signal.butter(1, 30, "high", fs=RATE, output="sos")
    delay_s, gain = 3.14159e-3, -0.7
    left = noisy(signal.sosfilt(sos_left, player.played()), 0.01 * RMS)
    right = noisy(gain * signal.sosfilt(sos_right, player.played(delay_s)), 0.01 * RMS)
    job(top + "/both", [("sweep", SWEEP, [left, right], {})])
    result = chain(top + "/both")
    check.that(result["schema"] == "hushtrace.chain/1", "schema")
    found = channels_of(result)
    check.that(list(found) == ["left", "right"], f"channels: {list(found)}")
    l, r = found["left"], found["right"]
    take = result["results"]["takes"][0]
    check.near(take["clock_ppm"], 137.0, 0.5, "clock by the markers")
    check.near(take["tone_start_s"], 2.7182818 + 2.0 * (1 + 137e-6), 6e-5, "the tone's start, the path's own delay included")
    for name, sos, factor, c in (("left", sos_left, 1.0, l), ("right", sos_right, gain, r)):
        hz = np.array([p["frequency_hz"] for p in c["response"]])
        truth = 20 * np.log10(np.abs(signal.sosfreqz(sos, hz, fs=RATE)[1] * factor))
        got = np.array([p["magnitude_db"] for p in c["response"]])
        sd = np.array([p["sd_db"] for p in c["response"]])
        off = np.abs(got - truth)
        check.that(hz[0] < 25 and hz[-1] > 17900, f"{name} from {hz[0]:.1f} to {hz[-1]:.0f} Hz")
        check.that(np.all(off < 4.5 * sd), f"{name}: within its uncertainty, worst {np.max(off / sd):.1f} sd")
        check.that(np.all(off[sd < 0.012] < 0.05), f"{name}: within 0.05 dB where noise allows, worst {off[sd < 0.012].max():.3f} dB")
        check.that(np.mean(off < 2 * sd) > 0.88, f"{name}: {np.mean(off < 2 * sd):.0%} within two sd")
    phase = np.unwrap(np.radians([p["phase_deg"] for p in l["response"]]))
    hz = np.array([p["frequency_hz"] for p in l["response"]])
    truth = np.unwrap(np.angle(signal.sosfreqz(sos_left, hz, fs=RATE)[1]))
    low = (hz > 30) & (hz < 3000)
    # the markers came through the same filter, so phases count from their arrival: a straight line through 0 Hz is left
    left_over = np.unwrap(phase - truth)[low]
    left_over -= 2 * np.pi * np.round(left_over[0] / (2 * np.pi))
    slope = np.sum(left_over * hz[low]) / np.sum(hz[low] ** 2)
    check.that(abs(slope) / (2 * np.pi) < 6e-5, f"phase counts from the markers: {1e6 * slope / (2 * np.pi):.1f} us")
    left_over -= slope * hz[low]
    check.that(np.max(np.abs(left_over)) < 0.03, f"phase up to 3 kHz, worst {np.max(np.abs(left_over)):.3f} rad")
    delays = signal.group_delay((signal.sos2tf(sos_left)), [200], fs=RATE)[1] / RATE * 1e3
    check.near(at(l["response"], 200)["group_delay_ms"], delays[0], 0.05, "group delay at 200 Hz")
    check.that(l["polarity"] == "normal" and r["polarity"] == "inverted", f"polarity {l['polarity']}, {r['polarity']}")
    check.that("polarity_differs" in warned(result), "the difference is said")
    # left's roll-off is bilinear, steeper beyond the seen range than at its end: the sd must hold that
    check.near(r["delay_ms"], 1e3 * delay_s, 4 * r["delay_ms_sd"], f"delay between channels, sd {r['delay_ms_sd']}")
    check.that(r["delay_ms_sd"] < 0.04, "known to 0.04 ms")
    check.near(r["delay_after_tone_ms"], 1e3 * delay_s, 0.08, "delay after the first channel's markers")
    check.near(l["gain_db"], 20 * np.log10(abs(signal.sosfreqz(sos_left, [1000], fs=RATE)[1][0])), 0.03, "left's level")
    check.near(r["balance_db"], 20 * np.log10(abs(gain)), 0.03, "balance")
    check.that(l["crosstalk_db"] is None, "no crosstalk from a take that plays both")
    check.that(l["thd_percent_limited_by"] == "noise", "a clean path's distortion is limited by noise")

    # ---- the right output alone, and it arrives on the left input: swapped; -46 dB of it is heard on the other
    player = Player(file, -180.0, 0.5)
    carried, heard = player.played(), 0.005 * player.played()
    only = {**SWEEP, "channel": "right"}
    job(top + "/swapped", [("sweep", only, [noisy(carried, 1e-4), noisy(heard, 1e-4)], {})])
    result = chain(top + "/swapped")
    check.that("channels_swapped" in warned(result), f"swapped is said: {warned(result)}")
    job(top + "/straight", [("sweep", only, [noisy(heard, 1e-4), noisy(carried, 1e-4)], {})])
    result = chain(top + "/straight")
    found = channels_of(result)
    check.that(warned(result) == set(), f"nothing to warn of: {warned(result)}")
    check.near(found["left"]["crosstalk_db"], -46.02, 0.3, "crosstalk at 1 kHz")
    check.near(found["left"]["crosstalk_10khz_db"], -46.02, 0.5, "crosstalk at 10 kHz")
    check.that(found["left"]["crosstalk_db_limited_by"] == "nothing", "above the noise")
    job(top + "/buried", [("sweep", only, [noisy(0 * heard, 1e-3), noisy(carried, 1e-4)], {})])
    found = channels_of(chain(top + "/buried"))
    check.that(found["left"]["crosstalk_db_limited_by"] == "noise", "crosstalk below the noise is limited by it")
    check.that(found["left"]["crosstalk_db"] < -45, f"and what may be there is told: {found['left']['crosstalk_db']}")

    # ---- one channel missing; a sub's low-pass, 80 Hz and 24 dB an octave, 12 ms late
    job(top + "/missing", [("sweep", SWEEP, [noisy(carried, 1e-4), rng.normal(size=carried.size) * 1e-4], {})])
    result = chain(top + "/missing")
    check.that("channel_silent" in warned(result) and channels_of(result)["right"]["silent"], "the missing channel is said")
    limit(top + "/missing", balance_db=1, noise_dbv_a=-80, response_tolerance_db=3)
    lines = limits_of(json.loads(run(program, "chain", "--job", top + "/missing", "--json", expect=1)))
    check.that(all(lines[what, "right"]["verdict"] == "fail" and lines[what, "right"]["text"].endswith("silent")
                   for what in ("balance_db", "noise_dbv_a", "response_tolerance_db")), f"what is asked of the missing channel fails: {lines}")
    check.that(lines["response_tolerance_db", "left"]["verdict"] == "pass", f"and not of the other: {lines}")
    check.that("silent" in run(program, "chain", "--job", top + "/missing", expect=1), "the text says why")

    # ---- a sweep over part of the band: what lies outside is not passed
    run(program, "tones", "sweep", "--from-hz", 300, "--to-hz", 3000, "--duration", 4, "--level", -20, "--bits", 24, "--out", top + "/part.wav")
    part = Player(top + "/part.wav", -180.0, 0.5).played()
    hiss = np.random.default_rng(20260201).normal(size=(2, part.size)) * 1e-4
    job(top + "/part", [("sweep", {**SWEEP, "from_hz": 300, "to_hz": 3000}, [part + hiss[0], part + hiss[1]], {})])
    limit(top + "/part", response_tolerance_db=3)
    line = limits_of(chain(top + "/part"))["response_tolerance_db", "left"]
    check.that(line["verdict"] == "undecided" and "measured" in line["text"], f"40 to 16000 Hz by a sweep of 300 to 3000: {line}")
    limit(top + "/part", response_tolerance_db=3, response_from_hz=400, response_to_hz=2500)
    check.that(limits_of(chain(top + "/part"))["response_tolerance_db", "left"]["verdict"] == "pass", "400 to 2500 Hz is measured")

    # ---- what leaks into a channel is not the tone it should have
    both = player.played()
    job(top + "/leak", [("sweep", SWEEP, [both, 0.005 * both], {})])
    result = chain(top + "/leak")
    check.near(channels_of(result)["right"]["quiet_db"], -46.02, 0.05, "46 dB below")
    check.that(channels_of(result)["right"]["quiet_against"] == "left" and "channel_quiet" in warned(result), "against which channel")
    check.that("right: 46 dB below the left channel, and not read" in run(program, "chain", "--job", top + "/leak"), "in the text too")
    limit(top + "/leak", response_tolerance_db=3)
    line = limits_of(json.loads(run(program, "chain", "--job", top + "/leak", "--json", expect=1)))["response_tolerance_db", "right"]
    check.that(line["verdict"] == "fail" and line["text"].endswith("46 dB below left"), f"and it fails what is asked of it: {line}")

    # ---- one sound on two inputs of unlike scale: 6 dB apart in volts
    job(top + "/scales", [("sweep", SWEEP, [both, both], {})])
    limit(top + "/scales", balance_db=1)
    with open(top + "/scales/job.json") as kept:
        stated = json.load(kept)
    stated["interface"] = {"volts_full_scale": [7.0, 14.0]}
    with open(top + "/scales/job.json", "w") as kept:
        json.dump(stated, kept)
    result = json.loads(run(program, "chain", "--job", top + "/scales", "--json", expect=1))
    found = channels_of(result)
    check.near(found["right"]["balance_db"], 20 * np.log10(2), 0.01, "balance in volts")
    check.near(found["right"]["level_dbv"] - found["left"]["level_dbv"], found["right"]["balance_db"], 0.01, "as the levels beside it say")
    check.that(limits_of(result)["balance_db", "right"]["verdict"] == "fail", "and it fails 1 dB")
    sub = signal.sosfilt(signal.butter(4, 80, fs=RATE, output="sos"), player.played(0.012))
    job(top + "/sub", [("sweep", SWEEP, [noisy(carried, 0.01 * RMS), noisy(sub, 0.01 * RMS)], {})])
    found = channels_of(chain(top + "/sub"))
    check.that(found["right"]["polarity"] == "normal", f"a sub's polarity: {found['right']['polarity']}")
    check.near(found["right"]["delay_ms"], 12.0, 0.8, "a sub's delay without its filter's")
    check.near(at(found["right"]["response"], 160)["magnitude_db"],
               20 * np.log10(abs(signal.sosfreqz(signal.butter(4, 80, fs=RATE, output="sos"), [at(found["right"]["response"], 160)["frequency_hz"]], fs=RATE)[1][0])), 0.3, "its slope")

    # ---- a static curve: 2nd harmonic a2 A/2, 3rd a3 A^2/4 of the first (power reduction formulas)
    a2, a3, peak = 0.2, 0.8, 0.1
    x = player.played()
    job(top + "/curve", [("sweep", SWEEP, [noisy(x + a2 * x**2 + a3 * x**3, 1e-6)] * 2, {})])
    c = channels_of(chain(top + "/curve"))["left"]
    first = 1 + 0.75 * a3 * peak**2
    second, third = a2 * peak / 2 / first, a3 * peak**2 / 4 / first
    harmonics = {h["number"]: h["points"] for h in c["harmonics"]}
    for number, truth in ((2, second), (3, third)):
        off = [abs(p["ratio_db"] - 20 * np.log10(truth)) for p in harmonics[number] if 60 < p["frequency_hz"] < 18000 / number]
        check.that(len(off) > 15 and max(off) < 0.1, f"harmonic {number} within 0.1 dB: worst {max(off):.3f}")
    check.near(c["thd_percent"], 100 * np.hypot(second, third), 0.01, "THD")

    # ---- markers cut away: the sweep itself tells place and clock
    played = player.played()
    begin, end = int((0.5 + 1.75) * RATE), int((0.5 + 6.3) * RATE)
    job(top + "/bare", [("sweep", SWEEP, [noisy(played[begin:end], 1e-4), noisy(-played[begin:end], 1e-4)], {})])
    result = chain(top + "/bare")
    check.that(result["results"]["takes"][0]["placed_by"] == "sweep", "placed by the sweep")
    check.near(result["results"]["takes"][0]["clock_ppm"], -180, 3, "its clock")
    found = channels_of(result)
    check.that(found["right"]["polarity"] == "inverted" and found["left"]["delay_after_tone_ms"] is None, "no delay after the file then")
    check.near(found["right"]["delay_ms"], 0, 0.002, "delay between channels")

    # ---- polarity pulses through a coupling capacitor
    pulses = top + "/pulses.wav"
    run(program, "tones", "polarity_pulse", "--duration", 6, "--bits", 24, "--out", pulses)
    beats = Player(pulses, 90.0, 1.5).played()
    through = signal.sosfilt(signal.butter(1, 10, "high", fs=RATE, output="sos"), beats)
    job(top + "/pulses", [("pulses", {"kind": "polarity_pulse", "level_dbfs": -12, "via": "stick"},
                           [noisy(through, 1e-3), noisy(-through, 1e-3)], {})])
    found = channels_of(chain(top + "/pulses"))
    check.that([found[c]["polarity"] for c in ("left", "right")] == ["normal", "inverted"], "polarity by pulses")

    # ---- pink noise, whose seed and level are stated: H1 against freqz, coherence of SciPy for the noise's share
    pink = top + "/pink.wav"
    run(program, "tones", "pink", "--duration", 10, "--bits", 24, "--out", pink)
    hiss = Player(pink, -120.0, 0.8)
    clean = signal.sosfilt(sos_left, hiss.played(0.004))
    dirty = noisy(clean, 0.02 * RMS)
    job(top + "/pink", [("pink", {"kind": "pink", "level_dbfs": -20, "via": "stick"}, [dirty, -dirty], {})])
    c = channels_of(chain(top + "/pink"))
    rows = [p for p in c["left"]["response"] if 40 < p["frequency_hz"] < 15000]
    truth = 20 * np.log10(np.abs(signal.sosfreqz(sos_left, [p["frequency_hz"] for p in rows], fs=RATE)[1]))
    off = np.abs(np.array([p["magnitude_db"] for p in rows]) - truth)
    sd = np.array([p["sd_db"] for p in rows])
    check.that(np.all(off < 5 * sd + 0.02), f"pink: within its uncertainty, worst {np.max(off / sd):.1f} sd, {off.max():.3f} dB")
    check.that([c[n]["polarity"] for n in ("left", "right")] == ["normal", "inverted"], "polarity by noise")
    part = slice(int(3.2 * RATE), int(12.0 * RATE))
    aligned = hiss.played(0.004)
    f, coherence = signal.coherence(aligned[part], dirty[part], RATE, nperseg=RATE, noverlap=RATE // 2)
    averages = 0.95 * 2 * 8.8
    for hz in (5000, 12000):
        near = (f > hz * 2**(-1 / 48)) & (f < hz * 2**(1 / 48))
        g2 = coherence[near].mean()
        expected = 8.686 * np.sqrt((1 - g2) / (2 * g2 * averages * near.sum() / 1.5))
        check.near(at(rows, hz)["sd_db"], np.hypot(0.005, expected), 0.5 * expected, f"sd by SciPy's coherence {g2:.4f} at {hz} Hz")

    # ---- nothing to read: a reason, and nothing else
    silence = np.zeros(RATE * 8)
    square = np.where((np.arange(RATE * 8) // 48) % 2 == 0, 1.0, -1.0)
    for name, sound in (("silence", silence), ("dc", silence + 0.5), ("square", square), ("short", silence[:2000]),
                        ("no sweep", rng.normal(size=RATE * 8) * 0.1), ("NaN", np.where(np.arange(RATE * 8) == RATE, np.nan, 0.1))):
        job(f"{top}/bad {name}", [("sweep", SWEEP, [sound, sound], {})])
        said = chain(f"{top}/bad {name}", expect=2)
        check.that(len(said.splitlines()) == 1 and "takes/sweep.wav" in said, f"{name}: {said.strip()}")
    cut = played[:int((0.5 + 2 + 2.5) * RATE)]
    job(top + "/cut", [("sweep", SWEEP, [cut, cut], {})])
    result = chain(top + "/cut")
    check.that("sweep_cut_short" in warned(result), f"a cut sweep is said: {warned(result)}")
    check.that(900 < channels_of(result)["left"]["response"][-1]["frequency_hz"] < 1550, "and read as far as it got")
    job(top + "/none", [("noise", None, [silence], {})])
    check.that("sweep" in chain(top + "/none", expect=2), "a job without such a take says what to capture")

    # ---- the simulated vehicle, whose two channels stem from one source
    run(program, "job", "--job", top + "/car", "--new", "--title", "car")
    run(program, "tones", "sweep", "--out", top + "/s.wav")
    run(program, "tones", "sweep", "--out", top + "/l.wav", "--channel", "left")
    for name, wav, more in (("sweep", "/s.wav", []), ("left", "/l.wav", ["--tone-channel", "left"])):
        run(program, "capture", "--job", top + "/car", "--simulate", "healthy", "--meter", "--name", name, "--tone", "sweep",
            "--via", "stick", "--played", top + wav, "--engine", "off", *more)
    with open(top + "/car/job.json") as kept:
        check.that(json.load(kept)["takes"][-1]["tone"]["channel"] == "left", "job.json says which output played")
    found = channels_of(chain(top + "/car"))
    check.that([c["polarity"] for c in found.values()] == ["normal", "normal"], "both channels are not inverted")
    check.near(found["right"]["delay_ms"], 0, 0.005, "and come together")
    check.that(found["right"]["crosstalk_db"] is not None and found["right"]["crosstalk_db"] < -40, f"crosstalk {found['right']['crosstalk_db']}")
check.end()
