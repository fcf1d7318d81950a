"""A factory radio's chain, simulated: what it does to the sound is told in words, held against job.json's limits. Then sources drawn at random
(a part of tests/bench/chain_population.py), and what is refused."""
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from sounds import Checks, run

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import chain_population  # noqa: E402

program = sys.argv[1]
check = Checks()


def chain(job, expect=0):
    done = subprocess.run([program, "chain", "--job", job, "--json"], capture_output=True, text=True)
    check.that(done.returncode == expect, f"chain: exit {done.returncode}, {done.stderr}")
    return json.loads(done.stdout)


with tempfile.TemporaryDirectory(prefix="hushtrace-system-") as top:
    job = top + "/job"
    run(program, "job", "--new", "--job", job, "--title", "radio", "--limits", "balance_db=1,crosstalk_1khz_db=-60,same_polarity=yes")
    first = ["--meter"]

    def take(name, *words):
        run(program, "capture", "--job", job, "--simulate", "factory_radio", *first, "--name", name, "--engine", "off", *words)
        first.clear()

    for channel in ("both", "left", "right"):
        run(program, "tones", "sweep", "--duration", 3, "--level", -20, "--channel", channel, "--bits", 24, "--out", f"{top}/{channel}.wav")
    sweep = ["--tone", "sweep", "--duration", 3, "--level", -20, "--via", "stick"]
    for volume in (12, 36):
        take(f"v{volume}", "--volume", volume, *sweep, "--played", f"{top}/both.wav")
    for side in ("left", "right"):
        take(side, "--volume", 28, *sweep, "--played", f"{top}/{side}.wav", "--tone-channel", side)
    take("sub", "--volume", 28, "--channels", "left,sub", *sweep, "--played", f"{top}/both.wav")
    take("v28", "--volume", 28, *sweep, "--played", f"{top}/both.wav")
    take("quiet", "--volume", 28, "--seconds", 3)
    run(program, "calibrate", "--job", job, "--volts-full-scale", "7,7.03")
    found = chain(job)
    results = found["results"]
    channels = {c["channel"]: c for c in results["channels"]}
    left, right, sub = channels["left"], channels["right"], channels["sub"]
    check.that(left["hears"] == ["left"] and right["hears"] == ["right"], f"outputs: {left['hears']}, {right['hears']}")
    dips = [p for p in left["shape"]["parts"] if p["kind"] == "peak" and p["frequency_hz"] > 1000]
    check.that(len(dips) == 1 and abs(dips[0]["frequency_hz"] - 2800) < 60 and abs(dips[0]["gain_db"] + 4) < 0.2 and abs(dips[0]["q"] - 1.4) < 0.1,
               f"the dip at 2.8 kHz: {dips}")
    passes = [p for p in left["shape"]["parts"] if p["kind"] == "high_pass"]
    check.that(len(passes) == 1 and passes[0]["slope_db_per_octave"] == 24, f"the high-pass: {passes}")
    check.that(not left["all_passes"] and len(right["all_passes"]) == 1 and abs(right["all_passes"][0]["frequency_hz"] - 450) < 20,
               f"the all-pass on the right: {right['all_passes']}")
    sides = [s for s in results["sums"] if s["channels"] == ["left", "right"]]
    check.that(len(sides) == 1 and sides[0]["cause"] == "all_pass" and abs(sides[0]["deepest_hz"] - 450) < 45, f"sum of the sides: {sides}")
    crossing = [c for c in results["crossings"] if c["lower"] == "sub" and c["upper"] == "left"]
    check.that(len(crossing) == 1 and 105 < crossing[0]["frequency_hz"] < 140 and crossing[0]["added_db"] > 4.5, f"crossover: {crossing}")
    volume = {v["channel"]: v for v in results["volume_dependence"]}
    # low shelf at 90 Hz, +7.3 dB at volume 12, -5.6 at 36; at 50 Hz some nine tenths of that
    check.that(volume["left"]["bass_varies"] and -13 < volume["left"]["bass_change_db"] < -9, f"bass by volume: {volume['left']}")
    check.that(all(c["minus_20"]["thd_percent"] is not None for c in (left, right)), "distortion 20 dB below full scale")
    check.near(left["noise"]["dbv_a"], -98, 3, "noise of the left channel, A-weighted")
    limits = {(line["what"], line["channel"]): line for line in results["limits"]}
    check.that(limits["balance_db", "right"]["verdict"] == "pass" and limits["balance_db", "right"]["written"], "balance passes")
    check.that(limits["crosstalk_1khz_db", "right"]["verdict"] == "pass", f"crosstalk: {limits['crosstalk_1khz_db', 'right']}")
    text = run(program, "chain", "--job", job)
    check.that("cancel" in text and "all-pass" in text and "changes with the volume" in text, "the words stand in the text")
    check.that(all(len(row) <= 80 for row in text.splitlines()), "text keeps within 80 columns")

    # a written limit that is failed: exit 1; one that makes no sense: exit 2, named
    run(program, "job", "--job", job, "--limits", "crosstalk_1khz_db=-75")
    check.that({(x["what"], x["channel"]): x for x in chain(job, expect=1)["results"]["limits"]}["crosstalk_1khz_db", "right"]["verdict"] == "fail",
               "crosstalk fails a limit of -75 dB")
    page = subprocess.run([program, "report", "--job", job, "--out", top + "/page.html"], capture_output=True, text=True)
    check.that(page.returncode == 1 and "Against the limits" in pathlib.Path(top + "/page.html").read_text(), f"the record: exit {page.returncode}")
    for wrong, says in (("crosstalk_1khz_db=60", "crosstalk_1khz_db"), ("balance_db=0", "balance_db"), ("balance_db=nan", "balance_db"),
                        ("response_from_hz=100,response_to_hz=50", "response_to_hz"), ("balance=1", "balance")):
        done = subprocess.run([program, "job", "--job", job, "--limits", wrong], capture_output=True, text=True)
        check.that(done.returncode == 2 and says in done.stderr and len(done.stderr.splitlines()) == 1, f"{wrong}: {done.returncode} {done.stderr}")

counts = chain_population.population(program, 3, 20260131)
marks = [mark for all_of in counts.values() for mark in all_of]
check.that(np.mean(marks) > 0.9, f"drawn sources: {np.mean(marks):.0%} right, {({k: np.mean(v) for k, v in counts.items() if not all(v)})}")
check.end()
