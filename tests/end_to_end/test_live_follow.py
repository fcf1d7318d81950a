"""live on the simulated vehicle: the whine's level is that of the analysis, a moved cable shows at once, a jump is kept."""
import json
import os
import re
import subprocess
import sys
import tempfile

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

    # in real time, as a hand would see it; by the id that the analysis gave
    done = live(job, "--follow", whine["id"], "--seconds", "11.5", "--vehicle-script", script(top, "8 hookup temporary_ground  # pressed on\n"))
    check.that(done.returncode == 0, f"live ends well: {done.stderr[-300:]}")
    figures = [FIGURES.match(line) for line in (done.stdout + done.stderr).splitlines()]
    shown = [(float(m[1]), float(m[3]), m[4] and float(m[4].replace("−", "-"))) for m in figures if m]
    early = [level for t, level, _ in shown if 5.5 < t < 8]
    late = [(level, change) for t, level, change in shown if t > 8.8]
    check.that(len(early) >= 2 and len(late) >= 2, f"there are figures: {shown}")
    for level in early:
        check.near(level, before, 1.0, "the whine's level live, against noise on a capture")
    for level, change in late:
        check.near(level, after, 1.0, "its level with the strap pressed on")
        check.near(change, after - before, 1.0, "the change that is shown")
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

    for wrong, word in ((["--follow", "banana"], "banana"), (["--follow", "order12"], "--rpm"), (["--follow", "whine-7"], "whine-7"),
                        (["--vehicle-script", script(top, "3 hookup nonsense\n")], "line 1"), (["--vehicle-script", "/nowhere"], "/nowhere"),
                        (["--vehicle-script", script(top + "/job", "5 loads none\n2 loads none\n")], "line 2")):
        done = live(job, "--seconds", "1", "--unpaced", *wrong)
        check.that(done.returncode == 2 and word in done.stderr, f"{wrong} is refused in a sentence: {done.returncode} {done.stderr[-200:]}")
    check.that(len(json.load(open(job + "/job.json"))["takes"]) == 1, "refusals leave the job as it was")

check.end()
