"""What a vehicle does to a take, however loud, is noise and no music: simulated vehicles, and noise from NumPy."""
import json
import subprocess
import sys
import tempfile

import numpy as np
from sounds import Checks, clicks, hiss, make_job, run, turning

program = sys.argv[1]
check = Checks()


def set_aside(job):
    done = subprocess.run([program, "noise", "--job", job, "--json"], capture_output=True, text=True, timeout=120,
                          check=False)
    check.that(done.returncode == 0, f"noise: {done.stderr.strip()[:200]}")
    said = json.loads(done.stdout)["warnings"] if done.returncode == 0 else []
    return [w["take"] for w in said if w["code"] == "programme_material"]


with tempfile.TemporaryDirectory() as top:
    for vehicle in ("three_faults",):
        job = f"{top}/of_{vehicle}"
        run(program, "job", "--job", job, "--new", "--title", vehicle, "--cylinders", 4)
        on = ["--engine", "idle", "--loads", "headlights,rear_defogger,blower"]
        for name, seconds, conditions in (("idle", 4, ["--engine", "idle"]), ("sweep", 10, ["--engine", "sweep"]),
                                          ("all_on", 4, on)):
            run(program, "capture", "--job", job, "--simulate", vehicle, "--decline-ground-check", "simulated",
                "--name", name, "--seconds", seconds, "--volume", 30, *conditions)
        check.that(not set_aside(job), f"{vehicle}: no take is set aside as music")

    # far louder than any vehicle should be: whine, its harmonics and ignition at -15 dBFS, held and swept
    held, swept = np.full(480000, 1.0), np.linspace(1.0, 3.0, 480000)
    takes = {"off": ({"engine": "off"}, [hiss(6, 1e-3), hiss(6, 1e-3, seed=7)])}
    for name, speeds in (("idle", held), ("sweep", swept)):
        whine = sum(turning(1240 * k, speeds, 0.2 / k**2) for k in (1, 2, 3, 4))
        sound = whine + clicks(25, speeds, 0.5) + hiss(10, 3e-3)
        takes[name] = ({"engine": name}, [sound, 0.5 * sound])
    make_job(f"{top}/loud", takes)
    check.that(not set_aside(f"{top}/loud"), "loud whine and ignition: no take is set aside as music")
check.end()
