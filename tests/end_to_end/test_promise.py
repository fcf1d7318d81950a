"""Promise against outcome: simulated vehicles whose circuit is changed as the action asks (a part of tests/bench/promise_population.py), and
jobs of takes that NumPy makes, in which a change kept its promise, failed, went unnamed, or took the noise away."""
import json
import pathlib
import sys
import tempfile

import numpy as np
from sounds import Checks, hiss, make_job, run, speed, turning

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import promise_population  # noqa: E402

program = sys.argv[1]
check = Checks()

# ---- the simulated vehicle's circuit is the judge
for way, hookups in (("pickup_lead", ("isolator", "dummy_floating", "termination_1k", "temporary_lead")),):   # all ways in the bench
    one = promise_population.promise(program, way, np.random.default_rng([2, len(way)]), hookups=hookups)
    check.that(one["found"] == way, f"{way}: found {one['found']}")
    promised = one.get("promised_db")
    check.that(promised is not None and promised < -8, f"{way}: promised {promised}")
    if promised is not None:
        apart = max(one["measured_db"], -31) - promised if promised < -29 else one["measured_db"] - promised
        check.that(abs(apart) < 6 and abs(apart) <= 2 * np.hypot(one["promised_sd_db"], one["measured_sd_db"]),
                   f"{way}: promised {promised:.1f} +- {one['promised_sd_db']:.1f}, measured {one['measured_db']:.1f}")
        check.that(one["verdict"] == "kept", f"{way}: {one['text']}")

# ---- jobs of takes that NumPy makes: a ground loop by all its tests
SECONDS = 5


def take(level, seed):
    whine = turning(3000.0, speed(SECONDS, 0.01, seed=seed), level)
    return [whine + hiss(SECONDS, 2e-5, seed=seed + 1), 0.95 * whine + hiss(SECONDS, 2e-5, seed=seed + 2)]


def held(hookup="normal", **more):
    return {"engine": "raised", "rpm": 1900, "laptop": "battery", "volume": 20, "source": "on", "hookup": [hookup], **more}


def noise(takes, words=False, **more):
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", takes, **more)
        results = json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"]
        return results, " ".join(run(program, "noise", "--job", top + "/job").split()) if words else ""


def loop_chance(results):
    return sum(p["probability"] for p in results["entry_paths"] if "ground_loop" in p["paths"])


before = {"off": ({"engine": "off"}, take(0, 5)), "normal": (held(), take(1e-3, 1)), "isolator": (held("isolator"), take(2e-5, 15)), "dummy": (held("dummy_floating"), take(2e-5, 19)),
          "jack": (held("shorted_at_source"), take(0.9e-3, 23)), "antenna": (held("antenna_unplugged"), take(1e-3, 27)),
          "lead": (held("temporary_lead"), take(1e-3, 31)), "strap": (held("temporary_ground"), take(5e-4, 35)), "link": (held("source_shell_link"), take(1e-3, 39))}
alone, words = noise(before, words=True)
act = alone["actions"][0]
# a strap of 15 milliohm that halves it: Rg + Rs = 15 (1/0.5 - 1) = 15 milliohm, remade to 1: about 20 log10(1.1 / 13.6), less what a better ground draws
check.that("ground" in act["action"] and -24 < act["expected_change_db"] < -15, f"what remaking brings: {act['expected_change_db']}")
check.that("milliohm" in act["why"] and "--note-change" in act["why"], "the milliohms that the strap implies, and how to note the remedy")
check.that(alone["changes"] == [] and "After what was changed" not in words, "no change, nothing said of one")
cures = {c["what"]: c for c in alone["cures"]}
check.that(cures["isolator"]["expected_change_db"] < -15 and cures["ferrite"]["expected_change_db"] > -2 and abs(cures["supply_filter"]["expected_change_db"]) < 1,
           f"isolator {cures['isolator']['expected_change_db']}, ferrite {cures['ferrite']['expected_change_db']}, filter {cures['supply_filter']['expected_change_db']}")
check.that("Would it help to buy" in words and "bass" in words, "the same in words")

# 16 dB quieter: kept
results, words = noise({**before, "after": (held(after_change="ground remade, new terminal"), take(1.6e-4, 43))}, words=True)
made = results["changes"]
check.that(len(made) == 1 and made[0]["verdict"] == "kept" and abs(made[0]["measured_db"] + 15.9) < 1.5, f"kept: {made}")
check.that(made[0]["promised_db"] == act["expected_change_db"], "the promise is that of the takes before")
check.that(made[0]["before"].endswith("normal.wav") and made[0]["after"].endswith("after.wav"), f"like against like: {made[0]['before']} {made[0]['after']}")
check.that("After what was changed" in words and "kept" in words, "kept, in words")
check.that("no test of where it gets in was made since" in words, "it says what that rests on")
chance_kept = loop_chance(results)

# nothing came of it: failed, and the loop is less likely than before
results, _ = noise({**before, "after": (held(after_change="ground remade"), take(1e-3, 43))})
check.that(results["changes"][0]["verdict"] == "failed" and "The promise failed" in results["changes"][0]["text"], f"failed: {results['changes'][0]['text']}")
check.that(loop_chance(results) < loop_chance(alone) and loop_chance(results) < chance_kept, f"a failed remedy speaks against its way: {loop_chance(alone):.3f} to {loop_chance(results):.3f}")

# words that name no remedy: measured, not judged
results, _ = noise({**before, "after": (held(after_change="washed the car"), take(1e-3, 43))})
check.that(results["changes"][0]["verdict"] == "not_promised" and results["changes"][0]["promised_db"] is None and abs(loop_chance(results) - loop_chance(alone)) < 1e-6,
           "what isn't a remedy is no evidence")

# gone: no action is left for it, and no test
results, _ = noise({**before, "after": (held(after_change="ground remade"), take(0, 43))})
check.that(results["changes"][0]["at_most"] and results["changes"][0]["verdict"] == "kept" and "at least" in results["changes"][0]["text"], f"gone: {results['changes'][0]['text']}")
check.that(results["next_test"] is None and not any(a["expected_change_db"] for a in results["actions"]) and results["cures"] == [], "what is gone asks for nothing")

# a take that is digital silence is no proof that it's gone
results, _ = noise({**before, "after": (held(after_change="ground remade"), [np.zeros(SECONDS * 48000)] * 2)})
check.that(results["changes"] == [] and any(a["expected_change_db"] for a in results["actions"]), "silence after a change proves nothing")

# tests made after the change count, those from before it don't
after = held(after_change="ground remade")
results, _ = noise({**before, "after": (after, take(3e-4, 43)), "again": ({**after, "hookup": ["isolator"]}, take(3e-4, 47)), "float": ({**after, "hookup": ["dummy_floating"]}, take(3e-4, 51))})
best = max(results["entry_paths"], key=lambda p: p["probability"])
check.that("ground_loop" not in best["paths"], f"the state of the last change is what counts: {best['paths']}")

# another speed is no like take
results, _ = noise({**before, "after": ({**held(after_change="ground remade"), "rpm": 2600}, take(1e-4, 43))})
check.that(results["changes"] == [], "a take at another speed proves nothing")

check.end()
