"""Random simulated vehicles in which the promised change of an action is held against what the vehicle then shows.

    /usr/bin/python3 tests/bench/promise_population.py PROGRAM N SEED [--keep FILE] [--show] [--way WAY]

Each vehicle has one fault (a ground loop, pick-up into the loop, pick-up into the lead). Takes at a held speed: twice as it is, and with the
hookups that tell the ways apart. The job knows the lead's place to what a tape measure gives (15 % of the separation, 10 % of the height). Then
the vehicle's own circuit is changed, as the action asks: the ground's milliohm, or the lead's separation; two takes after that note the remedy.
Printed: the promise made from the takes before, the change measured, the verdict. Within 3 dB, and within the promise's own interval (two
standard deviations, with the reading's), are counted. Nothing here uses the analysis's formulas: the circuit is that of the simulation.
"""
import json
import pathlib
import tempfile

import numpy as np

import entry_population as population
import entry_vehicles
from shares import share_of

WAYS = ("ground_loop", "pickup_loop", "pickup_lead")
HOOKUPS = ("isolator", "dummy_floating", "termination_1k", "source_on_own_battery", "shorted_at_source", "antenna_unplugged", "source_shell_link", "temporary_lead", "temporary_ground")
SEPARATIONS_M = (0.1, 0.2, 0.5)
RPM = "1900"


def mended(scenario, way, rng):
    """The vehicle with the remedy carried out, and the words that note it."""
    after = json.loads(json.dumps(scenario))
    if way == "ground_loop":
        after["amplifier"]["ground_mohm"] = 1.0   # what the promise says that it should read
        return after, "ground remade"
    metres = float(rng.choice(SEPARATIONS_M))
    after["lead"]["separation_m"] = metres * float(np.exp(0.08 * rng.normal()))   # laid by eye
    return after, f"lead rerouted {metres:g} m"


def describe(job, scenario, rng):
    """What the shop knows of the vehicle: by tape measure, in job.json."""
    file = pathlib.Path(job + "/job.json")
    told = json.loads(file.read_text())
    lead, feed = scenario["lead"], scenario["feed"]
    told["cables"] = {"signal_m": lead["signal_m"], "separation_m": round(lead["separation_m"] * float(np.exp(0.15 * rng.normal())), 4),
                      "parallel_m": lead["parallel_m"], "above_metal_m": round(lead["above_metal_m"] * float(np.exp(0.1 * rng.normal())), 4)}
    told["supply"] = {"length_m": feed["length_m"], "area_mm2": feed["area_mm2"], "conductor": "copper"}
    file.write_text(json.dumps(told))


def promise(program, way, rng, show=False, hookups=HOOKUPS):
    drawn = entry_vehicles.draw((int(rng.integers(1 << 31)),), (way,))
    drawn.fan, kind, scenario = False, "alternator_whine", drawn.scenario
    with tempfile.TemporaryDirectory() as folder:
        vehicle = population.Vehicle(program, folder, drawn, rng)
        vehicle.run("calibrate", "--job", vehicle.job, "--volts-full-scale", "7.0,7.0")
        describe(vehicle.job, scenario, rng)
        vehicle.capture("off")
        for hookup in ("normal", "normal", *hookups):
            vehicle.capture("raised", **{"--hookup": hookup, "--rpm": RPM})
        before = vehicle.noise()
        sources = [s for s in before["noise_sources"] if s["kind"] == kind]
        if not sources:
            return {"way": way, "verdict": "not found"}
        source = max(sources, key=lambda s: s["level_dbfs"])
        paths = [p for p in before["entry_paths"] if p["source_id"] == source["id"]]
        best = max(paths, key=lambda p: p["probability"])
        acts = [a for a in before["actions"] if a["source_id"] == source["id"] and a["expected_change_db"] is not None]
        after, note = mended(scenario, way, rng)
        pathlib.Path(vehicle.file).write_text(json.dumps(after))
        for _ in range(2):
            vehicle.capture("raised", **{"--rpm": RPM, "--note-change": note})
        now = vehicle.noise()
        made = [c for c in now["changes"] if c["source_id"] == source["id"]]
        out = {"way": way, "note": note, "found": population.named(best), "probability": best["probability"], "actions": [a["action"][:40] for a in acts],
               "scenario": {"ground_mohm": scenario["amplifier"]["ground_mohm"], **scenario["lead"]}}
        if show:
            for action in acts:
                print("   ", action["expected_change_db"], action["sd_db"], action["action"][:60], "|", action["why"][:400])
        if not made:
            return out | {"verdict": "no like takes"}
        return out | {key: made[0][key] for key in ("measured_db", "measured_sd_db", "at_most", "promised_db", "promised_sd_db", "verdict", "text")}


def main():
    asked = entry_vehicles.asked_of_population()
    outcomes = []
    for case in range(asked.count):
        rng = np.random.default_rng([asked.seed, case])
        one = promise(asked.program, asked.way or WAYS[case % len(WAYS)], rng, asked.show)
        outcomes.append(one)
        print(case, one["way"], one.get("note"), one.get("found"), f"{one.get('probability', 0):.2f}", "promised", one.get("promised_db"), "+-", one.get("promised_sd_db"),
              "measured", one.get("measured_db"), "at most" if one.get("at_most") else "", one["verdict"], flush=True)
        if asked.keep:
            with open(asked.keep, "a") as file:
                file.write(json.dumps(one) + "\n")
    near, held = [], []
    for way in WAYS:
        promised = [o for o in outcomes if o["way"] == way and o.get("promised_db") is not None]
        # what is promised to fall to the floor (-30 dB) may fall deeper
        apart = np.array([max(o["measured_db"], -31.0) - o["promised_db"] if o["promised_db"] < -29 else o["measured_db"] - o["promised_db"]
                          for o in promised if not o["at_most"]])
        bound = sum(o["at_most"] for o in promised)
        sd = np.array([np.hypot(o["promised_sd_db"], o["measured_sd_db"]) for o in promised if not o["at_most"]])
        near += [*(abs(apart) <= 3)]
        held += [*(abs(apart) <= 2 * sd)]
        if promised:
            print(f"{way:18} {len(promised)} promises of {sum(o['way'] == way for o in outcomes)}, {bound} no longer found; of the others within 3 dB "
                  f"{(abs(apart) <= 3).sum()}/{apart.size}, within the interval {(abs(apart) <= 2 * sd).sum()}/{apart.size}, mean {apart.mean() if apart.size else 0:+.1f}, "
                  f"promised sd {np.mean([o['promised_sd_db'] for o in promised]):.1f} dB")
    print(f"promises within 3 dB: {share_of(near)}; within their own interval: {share_of(held)}; {asked.count} vehicles, seed {asked.seed}")


if __name__ == "__main__":
    main()
