"""Captures, takes that are brought in, observations, calibrations and records of one job at once: nobody's change is lost."""
import json
import pathlib
import subprocess
import sys
import tempfile
import threading

import numpy as np
from scipy.io import wavfile

program = sys.argv[1]
RATE, ROUNDS = 48000, 4
failed = []


def run(*words):
    return subprocess.run([program, *map(str, words)], capture_output=True, text=True, timeout=120, stdin=subprocess.DEVNULL)


def must(*words):
    done = run(*words)
    if done.returncode != 0:
        failed.append((words, done.stderr))


with tempfile.TemporaryDirectory(prefix="hushtrace-together-") as place:
    place = pathlib.Path(place)
    job = place / "van"
    time = np.arange(2 * RATE) / RATE
    tone = 0.3 * np.sin(2 * np.pi * 200 * time) + np.random.default_rng(1).normal(0, 1e-5, len(time))
    wavfile.write(place / "tone.wav", RATE, np.stack([tone, tone], 1).astype(np.float32))
    must("job", "--job", job, "--new", "--title", "Van")
    must("job", "--job", job, "--add", place / "tone.wav", "--engine", "off", "--tone", "sine", "--frequency", 200, "--level", -10)
    must("job", "--job", job, "--observe", "ground_drop=0.01V", "--observe", "shell_to_amplifier_ground=0.01V")
    assert not failed, failed

    work = {
        "capture": lambda i: must("capture", "--job", job, "--simulate", "healthy", "--engine", "off", "--seconds", 1, "--name", "captured"),
        "capture too": lambda i: must("capture", "--job", job, "--simulate", "healthy", "--engine", "idle", "--seconds", 1, "--name", "captured"),
        "add": lambda i: must("job", "--job", job, "--add", place / "tone.wav", "--engine", "off", "--name", "added"),
        "observe": lambda i: must("job", "--job", job, "--observe", f"ripple=0.{i + 1}V"),
        "calibrate": lambda i: must("calibrate", "--job", job, "--take", "takes/tone.wav", "--volts", f"1.{i}", "--meter-accuracy", "1%+3"),
        "describe": lambda i: must("job", "--job", job, "--amplifier", f"a{i},power_w=50"),
        "correct": lambda i: must("job", "--job", job, "--take", "takes/tone.wav", "--volume", 10 + i),
        "report": lambda i: must("report", "--job", job) if i < 2 else None,
        "report too": lambda i: must("report", "--job", job) if i < 2 else None,
    }
    threads = [threading.Thread(target=lambda act=act: [act(i) for i in range(ROUNDS)]) for act in work.values()]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert not failed, failed
    told = json.loads((job / "job.json").read_text())
    files = [one["file"] for one in told["takes"]]
    assert len(files) == len(set(files)) == 1 + 3 * ROUNDS, files
    assert all((job / one).exists() for one in files), files
    assert not any(one.get("faults") for one in told["takes"] if "captured" in one["file"]), told["takes"]
    assert sum(one["what"] == "ripple" for one in told["observations"]) == ROUNDS, told["observations"]
    assert [one["name"] for one in told["amplifiers"]] == [f"a{i}" for i in range(ROUNDS)], told["amplifiers"]
    assert told["takes"][0]["volume"] == 10 + ROUNDS - 1 and told["interface"]["volts_full_scale"][0] > 0, told
    assert (job / "records/report.html").stat().st_size > 1000
    checked = json.loads(run("job", "--job", job, "--check", "--json").stdout)
    assert not {"take_missing", "take_not_listed", "left_over"} & {one["code"] for one in checked["results"]["missing"]}, checked
print(f"nine programs at once, {ROUNDS} changes each: none lost")
