"""A part of tests/bench/entry_trials.py: random simulated vehicles with one way in or two, the model's own tests against the usual order.

The bounds are those of twenty vehicles: the figures of hundreds stand in docs/entry-paths.md.
"""
import argparse
import os
import pathlib
import sys

from sounds import Checks

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import entry_trials  # noqa: E402

check = Checks()
asked = argparse.Namespace(build=os.environ["HUSHTRACE_BUILD_DIR"], count=20, seed=21, way=None, train=0, show=False, strays=2.0)
kept, questions, own, usual, chance, faint = entry_trials.trials_of(asked)
told = entry_trials.figures(kept, own, usual, chance)
check.that(len(kept) >= 18 and len({vehicle.ways for vehicle, _ in kept}) >= 8, f"{len(kept)} vehicles of many kinds")
check.that(told["right"] >= 0.85, f"right first in {100 * told['right']:.0f} %")
check.that(max(told["tests"]) <= 9 and sum(told["tests"]) / len(told["tests"]) <= 6, f"tests: {told['tests']}")
check.that(told["minutes"] <= told["usual_minutes"] * 2 / 3, f"{told['minutes']:.0f} minutes, in the usual order {told['usual_minutes']:.0f}")
check.that(told["brier"][1] <= told["brier"][0] + 0.02, f"one test makes nothing worse: Brier {told['brier'][0]:.3f}, {told['brier'][1]:.3f}")
check.that(told["brier"][12] < 0.7 * told["brier"][0], f"twelve tests tell: {told['brier'][12]:.3f}")
check.end()
