"""A judge of where noise gets in that knows the simulation's own likelihoods: other vehicles of each way, drawn alike, as particles."""
import collections
from math import erf

import numpy as np

import entry_vehicles as ev


class Reference:
    """Bayes with the simulation's own likelihoods: other vehicles, drawn alike, as particles."""

    def __init__(self, particles):
        self.by_set = collections.defaultdict(list)
        for vehicle, what in particles:
            self.by_set[frozenset(vehicle.ways)].append((vehicle, what))

    @staticmethod
    def one(test, outcome, what, repeats):
        if test in what["meters"]:
            return np.exp(-0.5 * ((outcome["change"] - what["meters"][test]) / 0.08) ** 2) / 0.2 + 1e-3
        if "heard" in outcome:
            change = what["ear"].get(test)
            if change is None:
                return 1.0
            word = outcome["heard"]
            low, high = {"gone": (-1e9, -15), "quieter": (-15, -3), "same": (-3, 3), "louder": (3, 1e9)}[word]
            z = lambda x: _normal((x - change) / 1.5)
            return z(high) - z(low) + 1e-3
        if test not in what["changes"]:
            return 1.0
        change, gone = what["changes"][test]
        sd = {"left_against_right": 1.4, "level_wanders": 0.5}.get(test, 1.6 * repeats)
        if outcome.get("at_most"):
            return (1.0 if gone else _normal((outcome["change"] - change) / sd)) + 1e-3
        if gone and outcome["change"] < change:
            return 1.0 / sd / 4
        return np.exp(-0.5 * ((outcome["change"] - change) / sd) ** 2) / sd / 2.5 + 1e-4

    def posterior(self, question, tests, prior):
        scores = {}
        for ways, particles in self.by_set.items():
            if ways not in prior:
                continue
            same = [what for vehicle, what in particles if vehicle.follows_engine == question["follows_engine"]]
            if not same:
                continue
            repeats = 2.0 if question["follows_engine"] else 1.0
            likely = np.mean([np.prod([self.one(test, question["outcomes"][test], what, repeats) for test in tests]) for what in same])
            scores[ways] = prior[ways] * likely
        total = sum(scores.values())
        return {ways: score / total for ways, score in scores.items()} if total > 0 else {}


def _normal(x):
    return 0.5 * (1.0 + erf(max(-30.0, min(30.0, x / 1.4142135623730951))))


def pairs_of(particles, asked):
    """Two ways together: powers added, with a share that nobody knows."""
    rng = np.random.default_rng(asked.seed + 5)
    by = collections.defaultdict(list)
    for vehicle, what in particles:
        by[vehicle.ways[0], vehicle.follows_engine].append((vehicle, what))
    pairs = []
    for a in ev.WAYS:
        for b in ev.WAYS[ev.WAYS.index(a) + 1:]:
            for follows in (True, False):
                if not by[a, follows] or not by[b, follows]:
                    continue
                for _ in range(max(10, asked.train)):
                    (va, wa), (vb, wb) = (by[one, follows][rng.integers(len(by[one, follows]))] for one in (a, b))
                    share_db = rng.uniform(-8, 8)
                    share = 1 / (1 + 10 ** (-share_db / 10))
                    joined = ev.Drawn(va.scenario, (a, b), va.common | vb.common, va.tones_hz, va.fan)
                    pairs.append((joined, blend(wa, wb, share, a, b)))
    return pairs


def blend(wa, wb, share, a, b):
    add = lambda x, y: 10 * np.log10(share * 10 ** (x / 10) + (1 - share) * 10 ** (y / 10))
    behind = (a in ev.BEHIND, b in ev.BEHIND)
    changes = {}
    for test in set(wa["changes"]) | set(wb["changes"]):
        xa, xb = wa["changes"].get(test, (0, False)), wb["changes"].get(test, (0, False))
        if behind == (False, True):
            changes[test] = xa
        elif behind == (True, False):
            changes[test] = xb
        else:
            changes[test] = (add(xa[0], xb[0]), xa[1] and xb[1])
    ear = {test: add(max(-60, wa["ear"][test]), max(-60, wb["ear"][test])) for test in wa["ear"] if test in wb["ear"]}
    meters = {test: max(wa["meters"][test], wb["meters"][test]) for test in wa["meters"]}
    return {"changes": changes, "ear": ear, "meters": meters, "over_hiss": 0, "audible": 0}
