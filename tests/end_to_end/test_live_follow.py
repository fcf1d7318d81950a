"""live on the simulated vehicle: the whine's level is that of the analysis, a moved cable shows at once, a jump is kept."""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

import small_browser
from phone_probe import Probe
from sounds import Checks, run

program = sys.argv[1]
check = Checks()
VEHICLE = ["--simulate", "ground_loop", "--meter", "--engine", "idle", "--loads", "headlights", "--laptop", "battery", "--volume", "20"]
FIGURES = re.compile(r"^\s*([\d.]+) s .*alternator whine, left (at most )?(-[\d.]+) dBFS(?:, change ([-+−]?[\d.]+) dB)?")


def new_job(top):
    run(program, "job", "--job", top + "/job", "--new", "--title", "estate", "--cylinders", "4")
    return top + "/job"


def live(job, *more):
    return subprocess.run([program, "live", "--job", job, *VEHICLE, "--plain", *more], capture_output=True, text=True,
                          stdin=subprocess.DEVNULL, timeout=60)


def script(top, text):
    with open(top + "/script", "w") as file:
        file.write(text)
    return top + "/script"


with tempfile.TemporaryDirectory() as top:
    job = new_job(top)
    run(program, "capture", "--job", job, *VEHICLE, "--name", "idle", "--seconds", "12")
    run(program, "capture", "--job", job, *VEHICLE, "--name", "strap", "--hookup", "temporary_ground", "--seconds", "12")
    result = json.loads(run(program, "noise", "--job", job, "--json"))
    whine = next(s for s in result["results"]["noise_sources"] if s["kind"] == "alternator_whine")
    truth = {level["take"]: level["level_dbfs"] for level in whine["levels"] if level["channel"] == "left"}
    before, after = truth["takes/idle.flac"], truth["takes/strap.flac"]

    def last_figures(*more):
        """Level, change, and whether it is but an upper bound, as the last line tells them."""
        done = live(job, "--follow", whine["id"], "--unpaced", *more)   # by the id that the analysis gave
        check.that(done.returncode == 0, f"live ends well: {done.stderr[-300:]}")
        told = [m for m in map(FIGURES.match, (done.stdout + done.stderr).splitlines()) if m]
        check.that(told, "there are figures")
        if not told:
            return 0.0, 0.0, False
        return float(told[-1][3]), float((told[-1][4] or "nan").replace("\u2212", "-")), bool(told[-1][2])

    level, change, hidden = last_figures("--seconds", "9")
    check.near(level, before, 1.0, "the whine's level live, against noise on a capture")
    check.near(change, 0.0, 0.5, "nothing was moved: no change is shown")
    moves = script(top, "8 hookup temporary_ground  # pressed on\n")
    level, change, hidden = last_figures("--seconds", "8.8", "--vehicle-script", moves)
    check.near(level, after, 1.0, "its level 0.8 s after the strap was pressed on")
    check.near(change, after - before, 1.0, "the change that is shown")
    level, change, hidden = last_figures("--seconds", "10", "--vehicle-script", script(top, "8 hookup dummy_floating\n"))
    check.that(hidden and change < -40, f"a dummy plug at the source: gone, at most so much: {level} {change} {hidden}")
    takes = json.load(open(job + "/job.json"))["takes"]
    check.that(len(takes) == 2, "nothing is stored unasked")

with tempfile.TemporaryDirectory() as top:
    job = new_job(top)
    done = live(job, "--follow", "all", "--armed", "--seconds", "20", "--unpaced", "--hookup", "dummy_floating",
                "--vehicle-script", script(top, "7 hookup normal\n"))
    check.that(done.returncode == 0, f"armed, it ends well: {done.stderr[-300:]}")
    takes = json.load(open(job + "/job.json"))["takes"]
    check.that([t["file"] for t in takes] == ["takes/kept-1.flac"] and os.path.exists(job + "/takes/kept-1.flac"), f"the jump is kept: {takes}")
    marks = takes[0].get("marks", []) if takes else []
    check.that(len(marks) == 1 and abs(marks[0]["time_s"] - 7) < 0.5 and "rose by" in marks[0]["text"], f"its moment is marked: {marks}")
    check.that(takes and takes[0]["engine"] == "idle" and takes[0]["loads"] == ["headlights"], "with the conditions")
    check.that(len(marks) == 1 and "crackle" not in marks[0]["text"], f"a plug that goes in at once and stays is no crackle: {marks}")

    for wrong, word in ((["--follow", "banana"], "banana"), (["--follow", "order12"], "--rpm"), (["--follow", "whine-7"], "whine-7"),
                        (["--vehicle-script", script(top, "3 hookup nonsense\n")], "line 1"), (["--vehicle-script", "/nowhere"], "/nowhere"),
                        (["--vehicle-script", script(top + "/job", "5 loads none\n2 loads none\n")], "line 2")):
        done = live(job, "--seconds", "1", "--unpaced", *wrong)
        check.that(done.returncode == 2 and word in done.stderr, f"{wrong} is refused in a sentence: {done.returncode} {done.stderr[-200:]}")
    check.that(len(json.load(open(job + "/job.json"))["takes"]) == 1, "refusals leave the job as it was")

# ---- what became of it: decided once, told alike by the JSON and the phone
with tempfile.TemporaryDirectory() as top:
    done = subprocess.run([program, "live", "--job", new_job(top), *VEHICLE, "--follow", "all", "--seconds", "10", "--json",
                           "--vehicle-script", script(top, "7.5 hookup dummy_floating\n")], capture_output=True, text=True,
                          stdin=subprocess.DEVNULL, timeout=60)
    told = [json.loads(line).get("snapshot") for line in done.stdout.splitlines()]
    told = [one for one in told if one and one["follow"]]
    check.that(told and told[0]["follow"]["verdict"] == "not_heard", f"at first nothing is heard: {done.stderr[-200:]}")
    check.that(any(one["follow"]["verdict"] == "same" and one["headline"] == "as loud as at the start" for one in told), "then it is the same")
    check.that(told and told[-1]["follow"]["verdict"] == "quieter" and "quieter" in told[-1]["headline"], f"then quieter: {told[-1:]}")
    check.that(told and told[-1]["leading"] in ("left", "right"), "a channel leads")

if small_browser.found():
    with Probe(pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "bin" / "share_probe") as probe, small_browser.Browser() as browser:
        browser.go(probe.url)

        def shows(id_, words):
            """Waits until the page shows it."""
            try:
                browser.until(f"document.getElementById('{id_}') && document.getElementById('{id_}').textContent.includes({json.dumps(words)})")
            except AssertionError as missed:
                check.that(False, f"the phone shows {words}: {missed}")
        # both at -9.5 dBFS: in the terminal's order a knob that moves goes before noise that hides it, then the first
        for tones, whose in (("moving unsure", "left"), ("unsure moving", "right"), ("clean absent", "left"), ("clean clean", "left"),
                             ("clean distorted", "right")):
            probe.ask("tones " + tones)
            shows("whose", whose)
        probe.ask("task follow")
        for command, words in (("change -6.2", "quieter than"), ("change -0.9", "as at the start"), ("change 0.9", "as at the start"),
                               ("change 1.4", "louder than"), ("hidden -20", "quieter than")):
            probe.ask(command)
            shows("beside", words)
        probe.ask("hidden -0.5")
        shows("value", "0.5")
        check.that(browser.text("beside").startswith("covered by other noise"), f"hidden is neither quieter nor louder: {browser.text('beside')}")
        check.that("\u00b1 0.4 dBV" in browser.text("found"), f"twice the sd, as on the terminal: {browser.text('found')}")
        check.that(not browser.complaints, f"{browser.complaints}")
else:
    print("no chromium here: the phone was not looked at")

check.end()
