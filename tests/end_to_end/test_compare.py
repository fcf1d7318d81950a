"""Two records of one simulated vehicle held against each other: as it was with other random noise, with its ground mended, at another engine
speed, with another hookup; and what can't be compared. What the mended ground brought is judged by NumPy on the takes themselves."""
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy.io import wavfile

from sounds import Checks

try:
    import jsonschema
except ImportError:
    jsonschema = None
    print("python3-jsonschema is absent: the documents' form is not judged")

PROGRAM = sys.argv[1]
SIGNALS = pathlib.Path(__file__).parent.parent.parent / "signals"
SCHEMA = json.loads((SIGNALS.parent / "docs/schemas/hushtrace.comparison-1.schema.json").read_text())
check = Checks()


def run(*arguments):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=120)


def must(*arguments):
    done = run(*arguments)
    assert done.returncode == 0, f"{arguments}: {done.stderr}"
    return done.stdout


def make(folder, vehicle, shift=0, rpm=2000, hookup="normal", cylinders=4):
    """A job of three takes; `shift` takes that nothing reads come first, since each take of a job has its own random noise."""
    must("job", "--job", folder, "--new", "--title", "Estate", "--cylinders", cylinders)
    must("calibrate", "--job", folder, "--volts-full-scale", "7,7")
    usual = ("--source", "on", "--input", "usb", "--volume", 20, "--laptop", "battery", "--decline-ground-check", "none", "--format", "wav")
    for _ in range(shift):
        must("capture", "--job", folder, "--simulate", vehicle, "--engine", "off", "--hookup", "inputs_shorted", "--seconds", 1, "--name", "floor",
             "--laptop", "battery")
    must("capture", "--job", folder, "--simulate", vehicle, "--engine", "off", *usual, "--seconds", 5, "--name", "off")
    must("capture", "--job", folder, "--simulate", vehicle, "--engine", "raised", "--rpm", rpm, *usual, "--seconds", 6, "--name", "raised",
         "--hookup", hookup)
    return folder


def compare(now, then):
    document = json.loads(must("report", "--job", now, "--earlier", then, "--json"))
    if jsonschema:
        jsonschema.Draft202012Validator(SCHEMA).validate(document)
    return document["results"]


def items(results, start, where=""):
    return [one for one in results["items"] if one["what"].startswith(start) and where in (one["where"] or "")]


def verdicts(results):
    return {one["verdict"] for one in results["items"]}


def level_db(folder, name):
    """20 Hz to 20 kHz, by NumPy alone, of the left channel."""
    rate, samples = wavfile.read(pathlib.Path(folder) / "takes" / f"{name}.wav")
    spectrum = np.abs(np.fft.rfft(samples[:, 0])) ** 2
    hz = np.fft.rfftfreq(len(samples), 1 / rate)
    return 10 * np.log10(spectrum[(hz >= 20) & (hz <= 20000)].sum() / len(samples) ** 2)


with tempfile.TemporaryDirectory() as top:
    top = pathlib.Path(top)
    vehicle = SIGNALS / "ground_loop.json"
    then = make(top / "then", vehicle)
    must("report", "--job", then)

    # ---- the same vehicle, other random noise: nothing changed is told
    again = make(top / "again", vehicle, shift=2)
    same = compare(again, then)
    check.that(not verdicts(same) & {"better", "worse", "new", "gone", "changed"}, f"nothing changed: {[i['text'] for i in same['items'] if i['verdict'] not in ('unchanged', 'not_comparable')]}")
    check.that("as good as it was" in same["in_short"][0], same["in_short"][0])
    check.that(len(same["pairs"]) == 2 and not same["left_out"], "two pairs of takes, none left out")
    a, b = level_db(then, "raised"), level_db(again, "raised")
    check.that(a != b and abs(a - b) < 1, f"the takes are others: {a:.3f} and {b:.3f}")

    # ---- the same by the record's data file, and files whole and in place
    by_file = compare(again, then / "records" / "report.json")
    check.that([i["text"] for i in by_file["items"]] == [i["text"] for i in same["items"]], "folder and data file say the same")
    page = (again / "records" / "comparison.html").read_text()
    check.that(page.endswith("</html>\n") and "<script" not in page and "http" not in page.split("</style>")[1], "one whole page, without network or script")
    check.that(json.loads((again / "records" / "comparison.json").read_text())["schema"] == "hushtrace.comparison/1", "data beside it")

    # ---- the ground mended: told, with the right sign, by as much as the takes themselves fell
    scenario = json.loads(vehicle.read_text())
    scenario["amplifier"]["ground_mohm"] = 1.0
    (top / "mended.json").write_text(json.dumps(scenario))
    mended = make(top / "mended", top / "mended.json", shift=3)
    better = compare(mended, then)
    truth = level_db(mended, "raised") - level_db(then, "raised")
    whine = items(better, "Alternator whine", "left, engine raised")
    check.that(len(whine) == 1 and whine[0]["verdict"] == "better", f"whine is better: {whine}")
    check.that(abs(whine[0]["difference"] - truth) < 2 * whine[0]["difference_sd"] + 0.3, f"by {truth:.2f} dB: {whine[0]['difference']} ± {2 * whine[0]['difference_sd']:.2f}")
    check.that(truth < -10, f"the simulation's ground matters: {truth:.1f} dB")
    floor = items(better, "Noise floor, unweighted", "left, engine raised")[0]
    check.that(floor["verdict"] == "better" and abs(floor["difference"] - truth) < 0.3, f"floor by {truth:.2f} dB: {floor['difference']}")
    check.that(all(i["verdict"] in ("unchanged", "not_comparable") for i in better["items"] if "engine off" in (i["where"] or "")), "engine off nothing changed")
    check.that("better than it was" in better["in_short"][0], better["in_short"][0])
    worse = compare(then, mended)
    check.that(items(worse, "Alternator whine", "left, engine raised")[0]["verdict"] == "worse", "the other way round it is worse")

    # ---- another engine speed: matched by order
    faster = compare(make(top / "faster", vehicle, shift=1, rpm=2180), then)
    whine = items(faster, "Alternator whine", "left, engine raised")
    check.that(len(whine) == 1 and whine[0]["verdict"] == "unchanged", f"whine at another speed is the same whine: {whine}")
    check.that(any("faster now" in r for p in faster["pairs"] for r in p["remarks"]), "the speed is told")

    # ---- another hookup: refused, and said
    other = make(top / "other", vehicle, shift=1, hookup="isolator")
    refused = compare(other, then)
    check.that(len(refused["pairs"]) == 1, "the engine off alone is compared")
    check.that(any("lead: normal then, isolator now" in one["text"] and one["differs"] == ["lead"] for one in refused["left_out"]), f"what differs is said: {refused['left_out']}")

    # ---- this job's own beginning
    job = make(top / "own", vehicle)
    must("capture", "--job", job, "--simulate", top / "mended.json", "--engine", "raised", "--rpm", 2000, "--source", "on", "--input", "usb", "--volume", 20,
         "--laptop", "battery", "--decline-ground-check", "none", "--seconds", 6, "--name", "after", "--note-change", "ground remade")
    own = compare(job, job)
    check.that(items(own, "Alternator whine", "left")[0]["verdict"] in ("better", "gone"), f"own beginning: {items(own, 'Alternator whine', 'left')}")

    # ---- mistakes: one sentence, exit 2, nothing written
    six = make(top / "six", vehicle, cylinders=6)
    (top / "broken.json").write_text((then / "records" / "report.json").read_text()[:5000])
    old = json.loads((then / "records" / "report.json").read_text())
    del old["results"]["job"]
    (top / "old.json").write_text(json.dumps(old))
    for words, earlier, now in (("these are two vehicles: vehicle.cylinders is 4", then, six), ("not JSON", top / "broken.json", again),
                                ("doesn't hold the conditions", top / "old.json", again), ("one state alone", six, six),
                                ("no such", top / "nowhere", again), ("schema", then / "job.json", again)):
        for file in (now / "records").glob("comparison.*"):
            file.unlink()
        done = run("report", "--job", now, "--earlier", earlier)
        check.that(done.returncode == 2 and done.stderr.count("\n") == 1 and words in done.stderr, f"{words}: {done.returncode} {done.stderr}")
        check.that(not list((now / "records").glob("comparison.*")), "nothing written")
    done = run("report", "--job", again, "--earlier", then / "records" / "report.json", "--out", then / "records" / "report.html")
    check.that(done.returncode == 2 and "written over the earlier record" in done.stderr, f"the earlier record is kept: {done.stderr}")

check.end()
