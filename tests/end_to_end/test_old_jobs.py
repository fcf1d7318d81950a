"""Jobs in forms that job.json once had (tests/job/old/) open, show, are analysed, and are changed without a loss; one of a newer
program is refused with a sentence that says so."""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy.io import wavfile

program = sys.argv[1]
OLD = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / "tests/job/old"
RATE = 48000


def run(*words):
    return subprocess.run([program, *map(str, words)], capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL)


def sounds(folder):
    (folder / "takes").mkdir(parents=True)
    dice = np.random.default_rng(5)
    hiss = lambda seconds: dice.normal(0, 1e-5, (int(seconds * RATE), 2))
    time = np.arange(3 * RATE) / RATE
    whine = 1e-3 * np.sin(2 * np.pi * 1100 * time)[:, None]
    wavfile.write(folder / "takes/off.wav", RATE, hiss(3).astype(np.float32))
    wavfile.write(folder / "takes/idle.wav", RATE, (hiss(3) + whine).astype(np.float32))
    steps = np.concatenate([level * np.sin(2 * np.pi * 997 * time[:RATE * 3 // 2]) for level in (0.2, 0.25)])[:, None]
    wavfile.write(folder / "takes/steps.wav", RATE, (hiss(3) + steps).astype(np.float32))


def kept(old, new, path="job"):
    """Every field of the old text is in the new one, with its value, in its order."""
    if isinstance(old, dict):
        assert isinstance(new, dict), path
        assert [key for key in new if key in old] == list(old), f"{path}: {list(old)} became {list(new)}"
        for key, value in old.items():
            kept(value, new[key], f"{path}.{key}")
    elif isinstance(old, list):
        assert len(new) >= len(old), path
        for index, value in enumerate(old):
            kept(value, new[index], f"{path}[{index}]")
    else:
        assert old == new and type(old) is type(new), f"{path}: {old!r} became {new!r}"


samples = sorted(OLD.glob("*.json"))
assert len(samples) >= 8, samples
with tempfile.TemporaryDirectory(prefix="hushtrace-old-") as place:
    place = pathlib.Path(place)
    for sample in samples:
        folder = place / sample.stem
        sounds(folder)
        text = sample.read_text()
        old = json.loads(text)
        (folder / "job.json").write_text(text)
        shown = run("job", "--job", folder, "--json")
        assert shown.returncode == 0, (sample.name, shown.stderr)
        results = json.loads(shown.stdout)
        assert len(results["results"]["job"].get("takes", [])) == len(old.get("takes", [])), sample.name
        assert run("job", "--job", folder).returncode == 0 and run("job", "--job", folder, "--check").returncode == 0, sample.name
        assert (folder / "job.json").read_text() == text, f"{sample.name}: showing changed it"
        codes = {one["code"] for one in results["warnings"]}
        wanted = {"other_fields": "unknown_field", "takes_without_engine": "engine_unstated", "tone_without_level": None}.get(sample.stem)
        assert wanted is None or wanted in codes, (sample.name, results["warnings"])
        noise = run("noise", "--job", folder, "--json")
        if old.get("takes"):
            assert noise.returncode == 0, (sample.name, noise.stderr)
            assert {one["take"] for one in json.loads(noise.stdout)["results"]["floor"]}, sample.name
        else:
            assert noise.returncode == 2 and noise.stderr.count("\n") == 1, (sample.name, noise)
        for words in (["--observe", "ripple=0.1V", "--engine", "idle"], ["--cylinders", "5"], ["--amplifier", "rear,power_w=50"]):
            changed = run("job", "--job", folder, *words)
            assert changed.returncode == 0, (sample.name, words, changed.stderr)
        new = json.loads((folder / "job.json").read_text())
        old.setdefault("vehicle", {})["cylinders"] = 5
        assert new["vehicle"]["cylinders"] == 5
        kept({key: value for key, value in old.items() if key != "vehicle"}, new)
        kept({key: value for key, value in old["vehicle"].items() if key != "cylinders"}, new["vehicle"])
        assert new["observations"][-1]["what"] == "ripple" and new["amplifiers"][-1]["name"] == "rear", sample.name

    folder = place / "newer"
    folder.mkdir()
    for schema, says in (("hushtrace.job/2", "newer program"), ("hushtrace.job/17", "newer program"), ("hushtrace.job/0", "can't be read"),
                         ("hushtrace.job/1.5", "can't be read"), ("hushtrace.job/01", "can't be read"), ("hushtrace.job/", "can't be read"),
                         ("hushtrace.report/2", "can't be read"), ("", "can't be read"), (2, "a text is wanted"), (None, "is missing")):
        (folder / "job.json").write_text(json.dumps({"schema": schema, "title": "x", "takes": 5}))
        before = (folder / "job.json").read_bytes()
        for words in (["job"], ["job", "--observe", "ripple=1V"], ["noise"], ["report"], ["calibrate", "--volts-full-scale", "7"]):
            done = run(words[0], "--job", folder, *words[1:])
            assert done.returncode == 2 and done.stderr.count("\n") == 1 and says in done.stderr and "schema" in done.stderr, (schema, words, done)
        assert (folder / "job.json").read_bytes() == before
print(f"{len(samples)} old forms open, and lose nothing")
