"""Where noise gets in, on random simulated vehicles: every test of every vehicle is made by the simulation, the program's model is asked in the
order of its own, of the trade and of chance, and a reference that knows the simulation's likelihoods is asked beside it.

    ninja -C build vehicle_levels entry_policies
    /usr/bin/python3 tests/bench/entry_trials.py BUILD_DIR N SEED [--train M] [--keep FOLDER] [--show]

What a test shows is the level that the noise has in the simulation under that test, strayed by how well takes repeat: 2 dB with the engine
held, 1 dB for what turns with no engine (common practice, no source), each take by itself. Below 22 dB under the hiss it is not found any more.
The ear tells 3 and 15 dB. The reference: the same likelihoods from M other vehicles of each way (another seed), two ways by adding powers.
"""
import argparse
import collections
import concurrent.futures
import json
import pathlib
import subprocess
import tempfile

import numpy as np

import entry_vehicles as ev
from entry_reference import Reference, pairs_of
from shares import share_text

HOOKUPS = ("inputs_shorted", "isolator", "amp_on_own_battery", "dummy_floating", "termination_1k", "termination_10k", "unplugged_at_source", "shorted_at_source",
           "temporary_lead", "temporary_ground", "source_shell_link", "shell_link_at_amp", "antenna_unplugged", "source_isolated", "source_on_own_battery",
           "substitute_source")
EAR = ("shorted_at_amp", "lead_on_dummy_at_amp", "test_speaker", "test_speaker_on_dummy")
# from the usual order of the trade (common practice, no source)
USUAL = ("inputs_shorted", "volume_zero", "laptop_on_battery", "loads_on", "shorted_at_amp", "test_speaker", "test_speaker_on_dummy", "lead_on_dummy_at_amp", "ground_drop",
         "amp_on_own_battery", "dummy_floating", "shorted_at_source", "temporary_lead", "source_shell_link", "temporary_ground", "antenna_unplugged",
         "source_isolated", "substitute_source")
SEEN = ("left_against_right", "level_wanders")   # in any take, at no labour
FLOOR_DB, FOUND_DB, DEEPEST_DB = -25.0, -22.0, -31.0
MOST = 9


def trials(vehicle):
    base = dict(vehicle.common)
    base |= {"engine": "accessory", "loads": ["fan"]} if vehicle.fan else {"engine": "raised"} if vehicle.follows_engine else {"engine": "off"}
    side, other = vehicle.sides   # the noise is read where it is louder
    base["channel"] = side
    some = [base | {"name": "plain"}, base | {"name": "other", "channel": other},
            base | {"name": "volume_zero", "volume": 0}, base | {"name": "source_paused", "source": "paused"}, base | {"name": "source_off", "source": "off"},
            base | {"name": "another_input", "input": "aux"}]
    if "laptop" in base:
        some.append(base | {"name": "laptop_on_battery", "laptop": "battery"})
    if vehicle.follows_engine:
        some.append(base | {"name": "loads_on", "loads": ["headlights", "rear_defogger"]})
    some += [base | {"name": one, "hookup": [one]} for one in HOOKUPS]
    out = base | {"point": "amp_output"}
    out.pop("laptop", None)   # what a fed laptop makes enters at the input's probe: the interface at the speaker would read another loop
    some += [out | {"name": "out"}] + [out | {"name": "out:" + one, "hookup": ["shorted_at_amp", "test_speaker"] if one == "test_speaker_on_dummy" else [one]} for one in HOOKUPS[1:] + EAR]
    some += [out | {"name": "out:volume_zero", "volume": 0}, out | {"name": "out:source_off", "source": "off"}]
    return some + [base | {"name": "meter", "loads": ["headlights", "rear_defogger"]}]


def levels_of(program, vehicles, folder, workers=2, only=None):
    """Levels (noise, hiss) [dBFS] of every trial of every vehicle, or of those named."""
    def ask(part):
        lines = []
        for k, vehicle in part:
            file = f"{folder}/{k}.json"
            pathlib.Path(file).write_text(json.dumps(vehicle.scenario))
            seconds = 1 if only else 8 if "contact" in vehicle.ways else 3
            lines.append(json.dumps({"scenario": file, "seconds": seconds, "tones_hz": vehicle.tones_hz, "trials": [one for one in trials(vehicle) if not only or one["name"] in only]}))
        done = subprocess.run([program], input="\n".join(lines) + "\n", capture_output=True, text=True, check=True)
        return [(k, json.loads(line)) for (k, _), line in zip(part, done.stdout.splitlines())]
    numbered = list(enumerate(vehicles))
    with concurrent.futures.ThreadPoolExecutor(workers) as pool:
        parts = pool.map(ask, [numbered[w::workers] for w in range(workers)])
    return [told for _, told in sorted((one for part in parts for one in part), key=lambda one: one[0])]


def powers(one, other):
    return 10 * np.log10(10 ** (one / 10) + 10 ** (other / 10))


def changes_of(vehicle, told):
    """What every test would show without straying: test -> dB, clipped where it is found no more; of ears and meters their own."""
    levels = {name: one for name, one in told["levels"].items() if not isinstance(one, str)}
    plain, hiss = levels["plain"]
    hiss = min([one[1] for name, one in levels.items() if name in HOOKUPS[1:] or name == "plain"])
    least = max(hiss + FOUND_DB - plain, DEEPEST_DB)
    changes = {}
    for name, (level, _) in levels.items():
        if name in HOOKUPS or name in ("volume_zero", "source_paused", "source_off", "another_input", "laptop_on_battery", "loads_on"):
            changes[name] = (max(level - plain, least), level - plain < least)
    louder = float(np.clip(plain - levels["other"][0], -30, 30))
    changes["left_against_right"] = (louder if vehicle.sides[0] == "left" else -louder, False)
    out = levels["out"][0]
    if "laptop" in vehicle.common:   # the set-up's noise is heard as loud as it stands at the input, and goes with the lead
        brought = plain + vehicle.scenario["amplifier"].get("gain_db", 26) - 20
        total = powers(out, brought)
        ear = {"test_speaker": powers(levels["out:test_speaker"][0], brought) - total}
        ear |= {one: levels["out:" + one][0] - total for one in ("shorted_at_amp", "lead_on_dummy_at_amp", "test_speaker_on_dummy")}
    else:
        ear = {name[4:]: levels[name][0] - out for name in levels if name.startswith("out:")}
    meters = {"ground_drop": np.log10(max(told["ground_drop_v"], 1e-3)), "shell_to_case": np.log10(vehicle.scenario["source"]["shell_to_case_ohm"])}
    changes["level_wanders"] = (told["wander_db"], False)
    audible = out - levels["out:shorted_at_amp"][1]
    return {"changes": changes, "ear": ear, "meters": meters, "over_hiss": plain - hiss, "audible": audible}


def shown(rng, vehicle, what, at_input, strays=2.0):
    """One round of tests as somebody would make them."""
    repeats = 2.0 if vehicle.follows_engine else 1.0
    outcomes, really = {}, strays / 2 * repeats
    if at_input:
        stray_plain = rng.normal(0, really)
        for test, (change, gone) in what["changes"].items():
            if test == "left_against_right":
                outcomes[test] = {"change": change + rng.normal(0, 1.0), "sd": 1.4}
            elif test == "level_wanders":
                outcomes[test] = {"change": max(0.0, change + rng.normal(0, 0.3)), "sd": 0.4}
            elif gone:
                outcomes[test] = {"change": max(change, FLOOR_DB), "sd": 2.5, "at_most": True}
            else:
                outcomes[test] = {"change": change + stray_plain + rng.normal(0, really), "sd": 1.41 * repeats}
    for test, change in what["ear"].items():
        if at_input and test not in EAR:
            continue
        change = change + rng.normal(0, 1.5)
        outcomes[test] = {"change": 0, "heard": "gone" if change < -15 else "quieter" if change < -3 else "same" if change < 3 else "louder"}
    for test, value in what["meters"].items():
        outcomes[test] = {"change": value + rng.normal(0, 0.05), "sd": 0.1}
    return outcomes


def contributions(program, seed, ways, folder):
    """A vehicle with two ways in which neither hides the other, by drawing again."""
    for attempt in range(25):
        vehicle = ev.draw((*seed, attempt), ways)
        if len(ways) == 1:
            return vehicle
        alone = []
        for way in ways:   # what is left when the other is mended
            other = ev.draw((*seed, attempt), (way,))
            other.fan, other.tones_hz = vehicle.fan, vehicle.tones_hz
            other.common = vehicle.common
            alone.append(other)
        name = "plain" if not any(way in ev.BEHIND for way in ways) else "out"
        told = levels_of(program, alone, folder, 1, (name,))
        levels = [one["levels"][name][0] for one in told]
        if abs(levels[0] - levels[1]) < 8.0:
            return vehicle
    return None


def way_sets(sets):
    return {frozenset(name.split("+")): p for name, p in sets.items()}


def ask_policies(program, questions, workers=2):
    def ask(part):
        done = subprocess.run([program], input="\n".join(json.dumps(one) for one in part) + "\n", capture_output=True, text=True, check=True)
        return [json.loads(line) for line in done.stdout.splitlines()]
    with concurrent.futures.ThreadPoolExecutor(workers) as pool:
        parts = list(pool.map(ask, [questions[w::workers] for w in range(workers)]))
    out = [None] * len(questions)
    for w, part in enumerate(parts):
        out[w::workers] = part
    return out


def population(program, count, seed, folder, ways=None):
    vehicles = []
    for case in range(count):
        rng = np.random.default_rng([seed, case, 1])
        chosen = ways[case % len(ways)] if ways else ev.draw_ways(rng)
        vehicle = contributions(program, (seed, case), chosen, folder)
        while vehicle is None:   # two ways of which one always hides the other: another two
            while len(chosen := ev.draw_ways(rng)) < 2:
                pass
            vehicle = contributions(program, (seed, case), chosen, folder)
        vehicles.append(vehicle)
    return vehicles


def measured(program, vehicles, folder):
    out = []
    for vehicle, told in zip(vehicles, levels_of(program, vehicles, folder)):
        out.append((vehicle, changes_of(vehicle, told)))
    return out


def figures(kept, own, usual, chance):
    """right [share], tests and minutes [means], brier by number of tests of chance."""
    truths = [frozenset(vehicle.ways) for vehicle, _ in kept]
    right = [lead_of(way_sets(steps[-1]["sets"])) == truth for steps, truth in zip(own, truths)]
    minutes = [np.mean([sum(step["minutes"] for step in steps) for steps in some]) for some in (own, usual)]
    scores = {n: np.mean([brier(way_sets(steps[n]["sets"]), truth) for steps, truth in zip(chance, truths) if len(steps) > n]) for n in (0, 1, 2, 4, 6, 9, 12)}
    return {"right": np.mean(right), "tests": [len(steps) - 1 for steps in own], "minutes": minutes[0], "usual_minutes": minutes[1], "brier": scores}


def brier(sets, truth):
    return sum((p - (ways == truth)) ** 2 for ways, p in sets.items()) + (0.0 if truth in sets else 1.0)


def lead_of(sets):
    return max(sets, key=sets.get)


def main():
    options = argparse.ArgumentParser()
    options.add_argument("build")
    options.add_argument("count", type=int)
    options.add_argument("seed", type=int)
    options.add_argument("--train", type=int, default=0)
    options.add_argument("--show", action="store_true")
    options.add_argument("--way")
    options.add_argument("--strays", type=float, default=2.0, help="how far a take strays, engine held [dB]; what turns with no engine half of it")
    asked = options.parse_args()
    kept, questions, own, usual, chance, faint = trials_of(asked)
    report(kept, questions, own, usual, chance, faint, asked)
    if asked.train:
        reference(f"{asked.build}/bin/vehicle_levels", kept, questions, own, chance, asked)


def trials_of(asked):
    """The population with what its tests show, and the model's steps in its own order, the usual one and by chance."""
    levels, policies = f"{asked.build}/bin/vehicle_levels", f"{asked.build}/bin/entry_policies"
    with tempfile.TemporaryDirectory() as folder:
        cases = measured(levels, population(levels, asked.count, asked.seed, folder, [tuple(asked.way.split("+"))] if asked.way else None), folder)
    questions, kept, faint = [], [], 0
    for k, (vehicle, what) in enumerate(cases):
        rng = np.random.default_rng([asked.seed, k, 3])
        at_input = what["over_hiss"] > -12.0
        if not at_input and what["audible"] < -12.0:
            faint += 1
            continue
        questions.append({"follows_engine": vehicle.follows_engine, "at_the_input": bool(at_input), "set_up_apart": "laptop" not in vehicle.common,
                          "outcomes": shown(rng, vehicle, what, at_input, asked.strays)})
        kept.append((vehicle, what))
    orders = []
    for k, question in enumerate(questions):
        rng = np.random.default_rng([asked.seed, k, 4])
        orders.append([str(one) for one in rng.permutation(sorted(question["outcomes"])) if one not in SEEN])
    own = ask_policies(policies, [q | {"policy": "own", "most": MOST} for q in questions])
    usual = ask_policies(policies, [q | {"policy": list(USUAL), "most": 30, "stops": True} for q in questions])
    chance = ask_policies(policies, [q | {"policy": order, "most": 12} for q, order in zip(questions, orders)])
    return kept, questions, own, usual, chance, faint


def report(kept, questions, own, usual, chance, faint, asked):
    right = collections.Counter()
    of = collections.Counter()
    minutes = collections.defaultdict(list)
    for (vehicle, what), mine, theirs in zip(kept, own, usual):
        truth = frozenset(vehicle.ways)
        name = "+".join(vehicle.ways)
        last = way_sets(mine[-1]["sets"])
        hit = lead_of(last) == truth
        kind = "two ways" if len(truth) == 2 else name
        of[kind] += 1
        right[kind] += hit
        minutes["own"].append(sum(step["minutes"] for step in mine))
        minutes["tests"].append(len(mine) - 1)
        minutes["usual"].append(sum(step["minutes"] for step in theirs))
        minutes["usual right"].append(lead_of(way_sets(theirs[-1]["sets"])) == truth)
        minutes["usual tests"].append(len(theirs) - 1)
        if asked.show and not hit:
            lead = lead_of(last)
            print(f"{name} ({'engine' if vehicle.follows_engine else 'fixed'}): said {'+'.join(sorted(lead))} {last[lead]:.2f}, truth {last.get(truth, 0):.3f}")
            for step in mine[1:]:
                ways = way_sets(step["sets"])
                q = questions[[k for k, (v, _) in enumerate(kept) if v is vehicle][0]]["outcomes"][step["test"]]
                print("    ", step["test"], {k: (round(v, 1) if isinstance(v, float) else v) for k, v in q.items() if k != "sd"}, f"-> {'+'.join(sorted(lead_of(ways)))} {max(ways.values()):.2f}, truth {ways.get(truth, 0):.3f}")
    for kind in sorted(of):
        print(f"  {kind:22} {right[kind]}/{of[kind]}")
    total, hits = sum(of.values()), sum(right.values())
    print(f"own tests: right first {share_text(hits, total)}; {faint} too faint")
    print(f"one way: {share_text(hits - right['two ways'], total - of['two ways'])}; two ways: {share_text(right['two ways'], of['two ways'])}")
    print(f"tests: {np.mean(minutes['tests']):.2f} on the mean, {max(minutes['tests'])} at most")
    print(f"labour: own {np.mean(minutes['own']):.0f} min, usual order {np.mean(minutes['usual']):.0f} min ({np.mean(minutes['usual right']) * 100:.0f} % right, "
          f"{np.mean(minutes['usual tests']):.1f} tests): {np.mean(minutes['own']) / np.mean(minutes['usual']):.2f} of it")
    for count in (0, 1, 2, 4, 6, 9, 12):
        bins = collections.defaultdict(list)
        scores = []
        for (vehicle, _), steps in zip(kept, chance):
            if len(steps) <= count:
                continue
            sets = way_sets(steps[count]["sets"])
            truth = frozenset(vehicle.ways)
            scores.append(brier(sets, truth))
            for ways, p in sets.items():
                bins[min(int(p * 5), 4)].append((p, ways == truth))
        if scores:
            cells = " | ".join(f"{np.mean([p for p, _ in bins[b]]):.2f}: {np.mean([r for _, r in bins[b]]):.2f} ({len(bins[b])})" if bins[b] else "-" for b in range(5))
            print(f"after {count:2} tests of chance: Brier {np.mean(scores):.3f}; stated: right (sets)  {cells}")


def reference(levels, kept, questions, own, chance, asked):
    singles = [(way,) for way in ev.WAYS]
    with tempfile.TemporaryDirectory() as folder:
        particles = measured(levels, population(levels, asked.train * len(singles), asked.seed + 1000003, folder, singles), folder)
    particles += pairs_of(particles, asked)
    judge = Reference(particles)
    prior = set_prior()
    told, agreed, ours, theirs = 0, 0, collections.defaultdict(list), collections.defaultdict(list)
    for (vehicle, _), question, steps in zip(kept, questions, chance):
        truth = frozenset(vehicle.ways)
        for count in (0, 1, 2, 4, 6, 9, 12):
            if len(steps) <= count:
                continue
            tests = [step["test"] for step in steps[1:count + 1]] + [one for one in SEEN if one in question["outcomes"]]
            ideal = judge.posterior(question, tests, prior)
            mine = way_sets(steps[count]["sets"])
            if not ideal:
                continue
            ours[count].append(brier(mine, truth))
            theirs[count].append(brier(ideal, truth))
            if count and ideal.get(truth, 0) > 0.9:
                told += 1
                agreed += lead_of(mine) == truth
    print(f"tests of chance, where the reference can tell: right first {share_text(agreed, told)}")
    for count in sorted(ours):
        print(f"  after {count:2}: Brier {np.mean(ours[count]):.3f}, reference {np.mean(theirs[count]):.3f}")
    hits = 0
    for (vehicle, _), question, steps in zip(kept, questions, own):
        tests = [step["test"] for step in steps[1:]] + [one for one in SEEN if one in question["outcomes"]]
        ideal = judge.posterior(question, tests, prior)
        hits += bool(ideal) and lead_of(ideal) == frozenset(vehicle.ways)
    print(f"the reference after the program's own tests: right first {share_text(hits, len(kept))}")


def set_prior():
    """As drawn: chance of every set, by drawing."""
    rng = np.random.default_rng(7)
    counts = collections.Counter(frozenset(ev.draw_ways(rng)) for _ in range(20000))
    return {ways: n / 20000 for ways, n in counts.items()}


if __name__ == "__main__":
    main()
