"""What is in a job can be changed, taken out, renamed, corrected and withdrawn, with old and new told; nonsense is refused by its
field; temporary items are listed until somebody says that they came out; what is open is named with the command that settles it."""
import json
import pathlib
import re
import shlex
import subprocess
import sys
import tempfile

import numpy as np
from scipy.io import wavfile

program = sys.argv[1]
place = tempfile.TemporaryDirectory(prefix="hushtrace-edit-")
here = pathlib.Path(place.name)
van = here / "van"


def run(*words):
    return subprocess.run([program, *map(str, words)], capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL)


def job(*words):
    done = run("job", "--job", van, *words)
    assert done.returncode == 0, (words, done.stderr)
    return done.stdout


def refused(*words, says):
    before = (van / "job.json").read_bytes()
    done = run("job", "--job", van, *words)
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and not done.stdout, (words, done)
    assert says in done.stderr, (words, says, done.stderr)
    assert (van / "job.json").read_bytes() == before, words


def read():
    return json.loads((van / "job.json").read_text())


def told(text, *lines):
    for line in lines:
        assert line in text, (line, text)


def missing():
    return json.loads(job("--json"))["results"]["missing"]


wavfile.write(here / "sound.wav", 48000, np.random.default_rng(1).normal(0, 1e-3, (48000, 2)).astype(np.float32))
job("--new", "--title", "Van", "--drive", "diesel", "--cylinders", 4, "--complaint", "whines", "--amplifier", "sub,power_w=500,load_ohm=2",
    "--amplifier", "front,power_w=75", "--speaker", "sub,power_w=600", "--speaker", "sub,power_w=300", "--branch", "sub,current_a=40",
    "--converter", "sub,loss_db=12", "--limits", "balance_db=1", "--labour-min", "dummy_floating=20,reach_source=30")

# the description
told(job("--cylinders", 6, "--complaint", "hums"), "vehicle.cylinders: was 4, now 6", "complaint: was 'whines', now 'hums'")
told(job("--cylinders", "unknown", "--complaint", "unknown"), "vehicle.cylinders: was 6, now unknown")
assert "cylinders" not in read()["vehicle"] and "complaint" not in read()
told(job("--cylinders", "unknown"), "nothing changed")
told(job("--amplifier", "sub,power_w=400,channels=sub"), "amplifiers[sub].power_w: was 500, now 400")
job("--amplifier", "sub,channels=unknown")
assert "channels" not in read()["amplifiers"][0]
job("--labour-min", "dummy_floating=unknown")
assert read()["labour_min"] == {"reach_source": 30}
told(job("--rename", "amplifier:sub=rear sub"), "now 'rear sub'")
assert [one["amplifier"] for one in read()["speakers"]] == ["rear sub"] * 2 and read()["supply"]["branches"][0]["name"] == "rear sub"
refused("--remove", "speaker:rear sub", says="speaker:#1, speaker:#2")
told(job("--remove", "speaker:#2"), "taken out")
assert [one["power_w"] for one in read()["speakers"]] == [600]
job("--remove", "converter:rear sub", "--remove", "branch:rear sub", "--remove", "speaker:rear sub", "--remove", "limits")
assert not {"speakers", "limits"} & set(read()) and "converter" not in read()["amplifiers"][0]
told(job("--remove", "amplifier:rear sub"), "amplifiers[rear sub]: was", "now taken out")
assert [one["name"] for one in read()["amplifiers"]] == ["front"]
assert run("calibrate", "--job", van, "--volts-full-scale", "7,7").returncode == 0
told(job("--remove", "calibration"), "interface.volts_full_scale: was [7,7], now unknown")
for words, says in [(["--remove", "amplifier:none"], "it has 'front'"), (["--remove", "amplifier"], "amplifier:NAME"),
                    (["--remove", "seat:x"], "none of"),
                    (["--remove", "calibration"], "no calibration"), (["--remove", "converter:front"], "no converter"),
                    (["--remove", "limits:x"], "limits"),
                    (["--rename", "amplifier:front"], "OLD=NEW"), (["--rename", "amplifier:front=front"], "already"),
                    (["--rename", "amplifier:front=a,b"], "neither"),
                    (["--rename", "speaker:x=y"], "name of its own"), (["--title", "unknown"], "--title"), (["--labour-min", "sleep=5"], "sleep"),
                    (["--check", "--remove", "amplifier:front"], "command of its own"), (["--withdraw", "observation:1"], "has none"),
                    (["--new", "--title", "x", "--remove", "limits"], "--remove")]:
    refused(*words, says=says)

# takes
for name in ("off", "idle", "iso"):
    job("--add", here / "sound.wav", "--name", name, "--engine", "off" if name == "off" else "idle", "--rpm", 0 if name == "off" else 760,
        "--volume", 12, *(["--hookup", "isolator"] if name == "iso" else []))
told(job("--take", "takes/idle.wav", "--rpm", 780, "--loads", "headlights", "--amplifier", "on", "--source", "paused"),
     "takes[takes/idle.wav].rpm: was 760, now 780", "loads: was unknown, now [\"headlights\"]")
take = read()["takes"][1]
assert (take["rpm"], take["loads"], take["amplifier"], take["source"], take["volume"]) == (780, ["headlights"], "on", "paused", 12), take
told(job("--take", "idle", "--rpm", "unknown", "--loads", "none", "--mark", "0.5=bump", "--attenuation-db", 20, "--after-change", "strap moved"),
     "rpm: was 780, now unknown")
take = read()["takes"][1]
assert "rpm" not in take and "loads" not in take and take["attenuation_db"] == [20, 20] and take["marks"] == [{"time_s": 0.5, "text": "bump"}], take
job("--take", "idle", "--mark", "none", "--attenuation-db", "none", "--after-change", "unknown", "--tone", "sine", "--frequency", 997,
    "--level", 0, "--volume-steps", "3,4")
take = read()["takes"][1]
assert not {"marks", "attenuation_db", "after_change"} & set(take) and take["tone"]["frequency_hz"] == 997 and take["volume_steps"] == [3, 4], take
job("--take", "idle", "--tone", "none", "--volume-steps", "none", "--rpm", 760)
for words, says in [(["--take", "idle"], "what to correct"), (["--take", "none", "--rpm", 700], "no take"),
                    (["--take", "idle", "--engine", "idel"], "--engine"),
                    (["--take", "idle", "--engine", "off"], "--rpm unknown"), (["--take", "off", "--rpm", 700], "--rpm"),
                    (["--take", "idle", "--rpm", "nan"], "--rpm"), (["--take", "idle", "--rpm", 1e9], "rpm"),
                    (["--take", "idle", "--channels", "left"], "--channels"),
                    (["--take", "idle", "--attenuation-db", "1,2,3"], "--attenuation-db"),
                    (["--take", "idle", "--hookup", "normal,isolator"], "--hookup"),
                    (["--take", "idle", "--mark", "x"], "--mark"), (["--take", "idle", "--name", "x"], "--name"),
                    (["--take", "idle", "--cylinders", 4], "own"),
                    (["--take", "idle", "--tone", "sine", "--frequency", -5], "frequency"), (["--rpm", 700], "--take")]:
    refused(*words, says=says)

# temporary items
shown = job()
told(shown, "Still in the vehicle", "isolator in the signal lead (last used in takes/iso.wav)", "--observe removed=isolator")
refused("--observe", "removed=temporary_lead", says="no take and no observation")
refused("--observe", "removed=seat", says="none of")
told(job("--observe", "removed=isolator"), "Nothing temporary is in the vehicle any more")
assert "Still in the vehicle" not in job()
refused("--observe", "removed=isolator", says="already")
refused("--observe", "removed=all", says="nothing temporary")
job("--add", here / "sound.wav", "--name", "again", "--engine", "idle", "--hookup", "isolator,temporary_ground")
assert {one["text"].split(" (")[0] for one in missing() if one["code"] == "still_in"} == {"isolator in the signal lead", "temporary ground strap"}
page = run("report", "--job", van)
assert page.returncode == 0, page.stderr
assert "temporary ground strap" in (van / "records/report.html").read_text()
told(job("--observe", "removed=all"), "removed: isolator", "removed: temporary_ground")
assert run("report", "--job", van).returncode == 0 and "temporary ground strap (" not in (van / "records/report.html").read_text()

# withdrawing: the entry goes, the sound stays, and comes back by the command that is told
seen = len(read()["observations"])
out = job("--withdraw", "takes/again.wav")
told(out, "withdrawn: takes/again.wav", "stays on the disk", "rm ")
assert (van / "takes/again.wav").exists() and [one["file"] for one in read()["takes"]] == ["takes/off.wav", "takes/idle.wav", "takes/iso.wav"]
assert "Still in the vehicle" not in job(), "what came out after a withdrawn take is still out"
told(job("--check"), "'takes/again.wav': lies there", "--add")
line = next(one.strip() for one in out.splitlines() if one.strip().startswith("hushtrace job"))
back = run(*shlex.split(line)[1:])
assert back.returncode == 0 and read()["takes"][-1]["hookup"] == ["isolator", "temporary_ground"] and read()["takes"][-1]["engine"] == "idle", back
job("--observe", "ripple=0.1V", "--engine", "idle")
told(job("--withdraw", f"observation:{seen + 1}"), "withdrawn: observation", "ripple")
assert len(read()["observations"]) == seen
for bad in ("observation:0", "observation:99", "observation:x", "observation:#1", "takes/none.wav"):
    refused("--withdraw", bad, says="--withdraw" if bad.startswith("obs") else "no take")
refused("--withdraw", "observation:1", "--withdraw", "observation:1", says="twice")

# what is open is for somebody, with a command; each can be run once its capitals are filled in
fresh = here / "fresh van"
assert run("job", "--job", fresh, "--new", "--title", "Fresh").returncode == 0
shown = run("job", "--job", fresh).stdout
points = json.loads(run("job", "--job", fresh, "--json").stdout)["results"]["missing"]
codes = {one["code"] for one in points}
assert {"for_noise", "for_gain", "for_chain", "for_power", "for_volts", "before_leads"} <= codes, codes
fill = {"VOLTS": "0.01V", "LOADS": "headlights", "KIND": "grounded", "NUMBER": "4", "VOLUME": "10", "NAME": "sub", "WATTS": "500",
    "OHMS": "2", "LOWEST": "0.2",
        "HIGHEST": "6", "METRES": "5", "MM2": "21.2", "PAD": "20"}
for point in points:
    assert point["make"], point
    for line in point["make"]:
        assert line in shown, line
        words = shlex.split(re.sub(r"\b[A-Z][A-Z0-9]+\b", lambda found: fill[found[0]], line))
        assert words[0] == "hushtrace"
        if words[1] == "capture":
            words += ["--simulate", "healthy", "--meter"] + ([] if "--seconds" in words or "--tone" in words else ["--seconds", "2"])
        words = [str(here / one) if one.endswith(".wav") else one for one in words[1:]]
        done = run(*words)
        assert done.returncode == 0, (line, words, done.stderr)
left = json.loads(run("job", "--job", fresh, "--json").stdout)["results"]["missing"]
assert not {"for_noise", "for_gain", "for_chain", "for_power", "before_leads"} & {one["code"] for one in left}, left

# results that stay are listed, the newest first; a damaged one is named
assert json.loads(run("job", "--job", fresh, "--json").stdout)["results"]["kept"] == [] and "Kept results" not in shown
for _ in range(2):
    assert run("report", "--job", fresh).returncode == 0
files = sorted((fresh / "records" / "kept").iterdir())
(fresh / "records" / "kept" / "20200101T000000Z-0.1.0.json").write_text("{")
listed = json.loads(run("job", "--job", fresh, "--json").stdout)
assert sorted(one["file"] for one in listed["results"]["kept"]) == [str(one) for one in files] and len(files) == 2, listed["results"]["kept"]
assert [one["code"] for one in listed["warnings"]].count("kept_unreadable") == 1, listed["warnings"]
text = run("job", "--job", fresh).stdout
assert text.index("Kept results") < text.index("Still in the vehicle" if "Still in the vehicle" in text else "Warnings"), text
for one, file in zip(listed["results"]["kept"], reversed(files)):
    assert file.name in text and one["at"] in text and one["version"], (one, text)
print("a job can be changed, and says what is open")
