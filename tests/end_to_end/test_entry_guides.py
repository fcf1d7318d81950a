"""Where noise gets in: the guided dummy test and the trade's traps, takes that differ in more than one thing, levels that stray, shares on both sides of
the volume control, a job's own minutes, the amplifier that lost its ground, and conditions that cannot be. Takes are made by NumPy from closed forms."""
import json
import sys
import tempfile

import numpy as np
from sounds import RATE, Checks, hiss, make_job, run, speed, turning

program = sys.argv[1]
check = Checks()
SECONDS = 8


def take(left, seed, right=None, shape=None):
    whine = turning(1200.0, speed(SECONDS, 0.01, seed=seed), 1.0)
    shape = 1.0 if shape is None else shape
    return [left * shape * whine + hiss(SECONDS, 2e-5, seed=seed + 1), (0.95 * left if right is None else right) * whine + hiss(SECONDS, 2e-5, seed=seed + 2)]


def idle(*hookup, **more):
    return {"engine": "idle", "rpm": 760, "laptop": "battery", "volume": 20, "source": "on", "hookup": list(hookup) or ["normal"], **more}


def noise(takes, *options, words=True, **more):
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", takes, **more)
        return json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"], run(program, "noise", "--job", top + "/job", *options) if words else None


def chance(results, way):
    return sum(p["probability"] for p in results["entry_paths"] if way in p["paths"])


def heard(hookup, word):
    return {"what": "noise_heard", "value": word, "engine": "idle", "hookup": [hookup]}


base = {"off": ({"engine": "off"}, take(0, 5)), "normal": (idle(), take(1e-3, 1))}

# ---- the dummy test, step by step (Whitlock, in Ballou (ed.), Handbook for Sound Engineers, ch. 32; from memory)
results, words = noise(base)
check.that("four-step" not in words, "nobody is guided who didn't ask")
results, words = noise(base, "--dummy-test")
check.that([s["state"] for s in results["dummy_test"]["steps"]] == ["next", "later", "later", "later"] and "1. Next: Amplifier off, a shorted dummy plug" in words,
           "asked for, it starts with the dummy at the amplifier")
steps = [heard("shorted_at_amp", "gone"), heard("lead_on_dummy_at_amp", "gone")]
three = {**base, "dummy": (idle("dummy_floating"), take(0, 19))}
results, words = noise(three, observations=steps)
check.that([s["state"] for s in results["dummy_test"]["steps"]] == ["made", "made", "made", "next"] and results["dummy_test"]["verdict"] is None,
           "gone with the lead's end in the dummy: no verdict yet")
flat = " ".join(words.split())
check.that("convicts nobody" in flat and "judges only what lies behind" in flat, "the traps are told where somebody would fall into them")
results, words = noise({**three, "jack": (idle("shorted_at_source"), take(0.9e-3, 23))}, observations=steps)
check.that("ground loop" in results["dummy_test"]["verdict"], f"back on the source's jack: {results['dummy_test']['verdict']}")
results, _ = noise({**three, "jack": (idle("shorted_at_source"), take(0, 23))}, observations=steps, words=False)
check.that("out of the source" in results["dummy_test"]["verdict"], "gone there as well: the source")

# ---- an isolator that helps
results, words = noise({**base, "isolator": (idle("isolator"), take(0, 15))})
check.that("neither by which way" in " ".join(words.split()), "an isolator that helps proves no cure")
check.that(max(p["probability"] for p in results["entry_paths"]) < 0.6, "and convicts nobody")

# ---- takes that differ in two things
results, _ = noise({**base, "both": (idle("isolator", "antenna_unplugged"), take(1e-3, 15))}, words=False)
check.that(chance(results, "cable_pickup") > 0.2 and chance(results, "antenna_lead") < 0.08 and chance(results, "ground_loop") < 0.08,
           f"two tests in one take, and it stays: neither loop nor antenna ({chance(results, 'antenna_lead'):.3f}, {chance(results, 'ground_loop'):.3f})")
text = [e["text"] for p in results["entry_paths"] for e in p["evidence_for"]]
check.that(any("isolating transformer in the lead and the antenna unplugged" in one for one in text), "both are named")

# ---- on both sides of the volume control: 0.8 of the amplitude squared goes with it
results, words = noise({**base, "zero": (idle(volume=0), take(1e-3 * np.sqrt(0.2), 31))})
text = " ".join(e["text"] for p in results["entry_paths"] for e in p["evidence_for"] + p["evidence_against"])
import re  # noqa: E402
shares = re.search(r"So (\d+) % of its power come from before the volume control .*?, (\d+) % from behind it", text)
check.that(shares is not None and abs(int(shares[1]) - 80) < 8 and int(shares[1]) + int(shares[2]) in (99, 100, 101), f"volume to zero tells both shares: {shares and shares[0]}")

# ---- one side strays, the other holds: a joint that moves
t = np.arange(SECONDS * RATE) / RATE
straying = 10 ** (0.25 * np.sin(2 * np.pi * 0.31 * t + 1) + 0.15 * np.sin(2 * np.pi * 0.83 * t))
results, words = noise({"off": base["off"], "normal": (idle(), take(1e-3, 1, right=2e-4, shape=straying))})
best = max(results["entry_paths"], key=lambda p: p["probability"])
check.that(best["paths"] == ["contact"] and best["probability"] > 0.5, f"a level that strays on one side: {best['paths']} {best['probability']:.2f}")
both = [(1 + 0 * t) * c for c in take(1e-3, 1, shape=straying)]
both[1] = take(1e-3, 1)[1] * straying
results, _ = noise({"off": base["off"], "normal": (idle(), both)}, words=False)
check.that(chance(results, "contact") < 0.4, f"both sides stray alike: that may be the engine ({chance(results, 'contact'):.2f})")


# ---- a job's own minutes
results, _ = noise(base, labour_min={"reach_source": 1, "dummy_floating": 0, "shorted_at_source": 0, "isolator": 600, "source_off": 600, "volume_zero": 600,
                                     "source_paused": 600, "another_input": 600, "loads_on": 600, "shorted_at_amp": 600})
after = results["next_test"]
check.that(after["minutes"] < 60 and after["conditions"].get("hookup") != ["isolator"], f"tests that cost a day in this shop aren't asked for: {after['name']}, {after['minutes']} min")
with tempfile.TemporaryDirectory() as top:
    make_job(top + "/job", base, labour_min={"isolator": -3})
    check.that("labour_min.isolator" in run(program, "noise", "--job", top + "/job", expect=2), "minutes below 0 are refused by name")

# ---- an amplifier that wakes only with the lead plugged in has lost its own ground
with tempfile.TemporaryDirectory() as top:
    make_job(top + "/job", base)
    said = run(program, "job", "--job", top + "/job", "--observe", "amplifier_wakes=only_with_lead")
    check.that("STOP" in said and "own ground" in said, "noted, it says stop")
    results = json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"]
    check.that(results["actions"][0]["action"].startswith("Stop") and results["next_test"] is None and results["health"][0]["fault"] == "amplifier_ground_bad",
               "no test is proposed before that is mended")
    refused = run(program, "capture", "--job", top + "/job", "--simulate", "ground_loop", "--engine", "idle", "--seconds", "1", "--meter", expect=2)
    check.that("own ground" in refused, "and no take is made")
    run(program, "job", "--job", top + "/job", "--observe", "amplifier_wakes=by_itself")
    results = json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"]
    check.that(results["next_test"] is not None and not results["actions"][0]["action"].startswith("Stop"), "mended, the work goes on")
    check.that("only_with_lead" in run(program, "job", "--job", top + "/job", "--observe", "amplifier_wakes=maybe", expect=2), "other words are refused")

# ---- a test made with the engine in another state
results, words = noise({**base, "isolator": ({**idle("isolator"), "engine": "raised", "rpm": 2000}, take(1e-3, 15))})
check.that("held against nothing" in " ".join(words.split()), "a test that nothing can be held against is told")

# ---- conditions that cannot be, or are not known
results, _ = noise({**base, "odd": ({"engine": "off", "rpm": 2000, "hookup": ["isolator"]}, take(0, 41))}, words=False)
check.that(abs(sum(p["probability"] for p in results["entry_paths"] if p["source_id"] == results["entry_paths"][0]["source_id"]) - 1) < 1e-3, "engine off at 2000 rpm is no test")
results, _ = noise({"bare": ({}, take(1e-3, 1)), "idle": ({"engine": "idle"}, take(1e-3, 3))}, words=False)
check.that(isinstance(results["entry_paths"], list), "takes of which nothing is known are read all the same")

# ---- the page's table is the program's
import os  # noqa: E402
import pathlib  # noqa: E402
root = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"])


def spelled(cell):
    return " or ".join((f"{law.split('*')[0]} : " if "*" in law else "") + law.split("*")[-1].replace("~", " ~") for law in cell.split("|"))


rows = re.findall(r"Row\{T::(\w+),\s*\{(.*?)\}\},\n", (root / "src/vehicle/entry_tables.cpp").read_text().split("kFixedRows")[0])
told = [[cell.strip() for cell in line.strip("|").split("|")] for line in (root / "docs/entry-paths.md").read_text().splitlines() if line.startswith("| ") and line.count("|") == 14]
page = [tuple(cells[1:]) for cells in told[1:]]
program_rows = [tuple(spelled(cell) for cell in re.findall(r'"([^"]*)"', cells)) for _, cells in rows]
left_out = {"tone_lead_off", "device_unplugged", "ground_drop", "shell_to_case"}   # told in words
for (name, _), cells in zip(rows, program_rows):
    if name not in left_out:
        check.that(cells in page, f"{name}: docs/entry-paths.md says what the table says")
check.that(len(page) == len(rows) - len(left_out), f"{len(page)} rows of {len(rows)}")

check.end()
