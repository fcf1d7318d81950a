"""The amplifier's gain through the whole program: the output reaches the target, what gain costs in noise is what the simulated vehicle then
shows, and what may not be played or connected is refused before anything is."""
import json
import os
import pathlib
import pty
import select
import sys
import tempfile
import time

import numpy as np
from sounds import Checks, run

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import amplifier_population  # noqa: E402
import entry_vehicles  # noqa: E402

program = sys.argv[1]
check = Checks()
SEED, VEHICLES = 11, 2


def the_gain_reaches_the_target():
    """A seeded part of tests/bench/amplifier_population.py."""
    for case in range(VEHICLES):
        one = amplifier_population.outcome(program, np.random.default_rng([SEED, case]))
        check.that(one["error_db"] is not None and abs(one["error_db"]) <= amplifier_population.TOLERANCE_DB, f"vehicle {case}: {one}")
        check.that(set(one.get("verdicts", [])) == {"at_target"}, f"vehicle {case}: its output is confirmed")


def rms_db(file, pad_db):
    import scipy.io.wavfile
    rate, sound = scipy.io.wavfile.read(file)
    x = sound[rate:, 0].astype(float)
    power = np.abs(np.fft.rfft(x * np.hanning(len(x)))) ** 2
    hz = np.fft.rfftfreq(len(x), 1 / rate)
    return 10 * np.log10(power[(hz > 20) & (hz < 20000)].sum()) + pad_db


def noise_follows_the_split(folder):
    """Whine in the lead, hiss of the source: a driver at the source wins what the program says."""
    rng = np.random.default_rng(5)
    scenario = entry_vehicles.healthy(rng)
    entry_vehicles.put_in(rng, scenario, "ground_loop", {})
    scenario["source"] |= {"noise_dbv": -92, "input_noise_dbfs": -88}
    # rails far away: nothing but gains changes with the driver
    scenario["amplifier"] |= {"noise_dbv": -140, "rail_v": 400, "supply_rejection_db": 200}
    vehicle, job = pathlib.Path(folder, "noise.json"), f"{folder}/noise"

    def capture(name, *words):
        vehicle.write_text(json.dumps(scenario))
        run(program, "capture", "--job", job, "--simulate", vehicle, "--meter", "--name", name, "--format", "wav", "--laptop", "battery", *words)
        return f"{job}/takes/{name}.wav"
    run(program, "job", "--job", job, "--new", "--title", "noise", "--amplifier", "front,power_w=100,load_ohm=4,bridged_output=no", "--interface-input", "floating")
    run(program, "calibrate", "--job", job, "--volts-full-scale", "7,7")
    tone = f"{folder}/tone.wav"
    run(program, "tones", "sine", "--level", 0, "--duration", 11, "--out", tone)
    capture("steps", "--engine", "off", "--tone", "sine", "--level", 0, "--via", "stick", "--played", tone, "--volume-steps", "16,20,24,28,30,32,34,36",
            "--step-seconds", 1)
    idle = ("--engine", "raised", "--rpm", 1900, "--seconds", 5, "--loads", "headlights")
    for name, words in (("v20", ("--volume", 20)), ("v32", ("--volume", 32)), ("lead", ("--volume", 20, "--source", "off"))):
        capture(name, *idle, *words)
    setting = json.loads(run(program, "gain", "--job", job, "--json"))["results"]["amplifiers"][0]
    splits = {one["way"]: one for one in setting["splits"]}
    check.that(len(setting["noise_parts"]["takes"]) == 3, "three takes tell the parts apart")

    output = (*idle, "--volume", 20, "--point", "amp_output", "--attenuation-db", "20,20", "--amplifier", "on")
    scenario["amplifier"]["gain_db"] = setting["gain_db"]
    as_set = rms_db(capture("out", *output), 20)
    scenario["amplifier"]["gain_db"] -= 6
    less = rms_db(capture("out_less", *output), 20) - as_set
    check.near(less, -6, 0.6, "6 dB less gain makes the noise 6 dB quieter in the simulated vehicle")
    for field in ("full_scale_v",):
        scenario["source"][field] *= 10 ** (6 / 20)
    scenario["source"]["noise_dbv"] += 6
    driven = rms_db(capture("out_driven", *output), 20) - as_set
    said = splits["line_driver"]["change_db"]
    check.that(said["low"] - 0.7 <= driven <= said["high"] + 0.7, f"a driver of 6 dB: {driven:.1f} dB in the simulated vehicle, {said} said")
    check.that(driven < -3, f"the lead's whine makes a driver worth it ({driven:.1f} dB)")
    text = run(program, "gain", "--job", job)
    check.that("what gain costs in noise" in text and "\n  driver of 6 dB at the source" in text, "the table is told")
    check.that(max(map(len, text.splitlines())) <= 80, "in 80 columns")


def on_terminal(words, answers, seconds=30):
    child, terminal = pty.fork()
    if child == 0:
        os.execv(program, [program, *map(str, words)])
    shown, waiting, deadline = "", list(answers), time.monotonic() + seconds
    while time.monotonic() < deadline:
        if not select.select([terminal], [], [], 0.2)[0]:
            continue
        try:
            piece = os.read(terminal, 4096)
        except OSError:
            break
        if not piece:
            break
        shown += piece.decode(errors="replace")
        while waiting and waiting[0][0] in shown:
            os.write(terminal, waiting.pop(0)[1].encode() + b"\n")
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), shown


def asked_before_it_sounds(folder):
    job = f"{folder}/live"
    run(program, "job", "--job", job, "--new", "--title", "live", "--amplifier", "front,power_w=100,load_ohm=4", "--speaker", "front,kind=tweeter")
    device = ("capture", "--job", job, "--device", "no such device", "--shell-volts", "0.01", "--ground-drop", "0.02", "--tone", "sine", "--level", -12)
    said = run(program, *device, "--amplifier", "on", expect=2)
    check.that("--amplifier-live-ok" in said and "gain at its minimum" in said, "without a terminal an option is needed")
    check.that("observations" not in json.loads(pathlib.Path(job, "job.json").read_text()), "and nothing was written")
    said = run(program, *device, "--amplifier", "on", "--amplifier-live-ok", expect=3)
    check.that("tweeter" in said, "tweeters are warned of")
    run(program, *device, "--amplifier", "off", expect=3)
    said = run(program, *device, expect=2)
    check.that("nobody said that the amplifier is off" in said and "--amplifier off" in said, "an amplifier of which nothing is said may be on")
    code, shown = on_terminal((*device, "--amplifier", "on"), [("Type yes", "no")])
    check.that(code == 2 and "nothing was played" in shown, "on a terminal no means no")
    code, shown = on_terminal((*device, "--amplifier", "on"), [("Type yes", "yes")])
    check.that(code == 3, "and yes goes on to the device")
    pad = ("capture", "--job", job, "--simulate", "healthy", "--meter", "--point", "amp_output", "--tone", "sine", "--level", -12)
    check.that("--attenuation-db" in run(program, *pad, expect=2), "no tone is read at an output without a stated pad")

    # The simulated vehicle answers by itself; its tone comes in bursts, and each step is one of them.
    run(program, "capture", "--job", job, "--simulate", "healthy", "--meter", "--amplifier", "on", "--tone", "sine", "--level", -20, "--engine", "off",
        "--volume-steps", "10,14,18", "--burst", 2, "--name", "bursts")
    take = json.loads(pathlib.Path(job, "job.json").read_text())["takes"][-1]
    check.that(take["tone"]["burst_s"] == 2 and take.get("faults", []) == [], f"a take in bursts is stored without a mark: {take}")
    curve = json.loads(run(program, "gain", "--job", job, "--json"))["results"]["curves"][0]
    check.that([one["volume"] for one in curve["steps"]] == [10, 14, 18], f"its steps are found: {[one['volume'] for one in curve['steps']]}")
    check.that(all(1.5 < one["end_s"] - one["start_s"] < 2.3 for one in curve["steps"]), "each as long as its burst")
    for words in (("--burst", 0.2), ("--burst", "x"), ("--burst", 3, "--via", "stick", "--played", "x.wav"), ("--burst", 3, "--step-seconds", 2, "--volume-steps", "10,11")):
        run(program, "capture", "--job", job, "--simulate", "healthy", "--meter", "--tone", "sine", "--level", -20, *words, expect=2)


def what_makes_no_sense_is_refused(folder):
    job = f"{folder}/odd"
    run(program, "job", "--job", job, "--new", "--title", "odd", "--amplifier", "front,power_w=100,load_ohm=4")
    for words, name in ((("--amplifier", "front,power_w=-5"), "power_w"), (("--amplifier", "front,load_ohm=0"), "load_ohm"),
                        (("--amplifier", "front,sensitivity_v=6:0.2"), "sensitivity_v"), (("--amplifier", "front,power_w=nan"), "power_w"),
                        (("--amplifier", "front,power_w=1e9"), "power_w"), (("--amplifier", "front,allowance_db=-1"), "allowance_db"),
                        (("--amplifier", "front,allowance_db=60"), "allowance_db"), (("--amplifier", "front,dial_law=cubic"), "dial_law"),
                        (("--amplifier", "front,channels=left:left"), "channels"), (("--amplifier", "front,dial_marks=3:3"), "dial_marks"),
                        (("--converter", "front,loss_db=12,step_down=2"), "step_down"), (("--converter", "front,max_input_v=0"), "max_input_v"),
                        (("--converter", "nobody,loss_db=12"), "nobody"), (("--observe", "amplifier_output=-3V"), "negative"),
                        (("--observe", "amplifier_output=3V", "--meter-good-to", "-1"), "--meter-good-to"),
                        (("--observe", "ripple=1V", "--tone", "sine"), "--tone"), (("--meter-good-to", "50"), "--meter-good-to")):
        said = run(program, "job", "--job", job, *words, expect=2)
        check.that(name in said and said.count("\n") <= 2, f"{words}: {said.strip()[:100]}")
    for words in (("--allowance", "-1"), ("--allowance", "x"), ("--allowance", "21"), ("--driver", "0")):
        said = run(program, "gain", "--job", job, *words, expect=2)
        check.that(words[0] in said, f"gain {words}: {said.strip()[:80]}")
    run(program, "job", "--job", job, "--converter", "front,step_down=4,max_input_v=20")
    run(program, "job", "--job", job, "--converter", "front,step_down=2")
    stored = json.loads(pathlib.Path(job, "job.json").read_text())["amplifiers"][0]["converter"]
    check.near(stored["loss_db"], 6.02, 0.01, "a ratio of 2 to 1")
    run(program, "job", "--job", job, "--observe", "amplifier_output=17.2V", "--tone", "sine", "--frequency", 50, "--level", 0, "--volume", 30)
    seen = json.loads(pathlib.Path(job, "job.json").read_text())["observations"][0]
    check.that(seen["value"] == 17.2 and seen["tone"]["frequency_hz"] == 50 and seen["volume"] == 30, f"a meter's reading is noted: {seen}")


with tempfile.TemporaryDirectory() as top:
    what_makes_no_sense_is_refused(top)
    asked_before_it_sounds(top)
    noise_follows_the_split(top)
    the_gain_reaches_the_target()
check.end()
