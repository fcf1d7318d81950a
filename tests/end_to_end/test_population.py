"""A seeded part of tests/bench/kinds_population.py: random vehicles with up to three sources at once, each 6 to 24 dB over the
program's own 90 % point. Fails when recall or precision falls below what chance leaves of the shares measured with
more vehicles (docs/noise-kinds.md): the 5 % quantile of the binomial law. A program that swaps half of the kinds, or hides
two of three findings, fails.
"""
import pathlib
import sys

import numpy as np
from scipy.stats import binom
from sounds import Checks

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import kinds_population  # noqa: E402
import kinds_tables  # noqa: E402

SEED, RARELY = 7, 0.05
AT_ONCE = (1, 2, 3, 1, 2, 3, 1, 2, 3, 2, 2)      # sources of each vehicle: every kind comes twice
RECALL, PRECISION = 0.95, 0.95                   # measured, loud sources alone (docs/noise-kinds.md)
NEVER_FOUND = 2                                  # kinds missed both times: more than so many come by chance once in 2000 draws

program = sys.argv[1]
check = Checks()
hits, sources, right, findings, squares = 0, 0, 0, 0, 0.0
deal = np.random.default_rng(SEED)
deck, found_kinds = [], set()
for _ in range(2):
    deck += list(deal.permutation(kinds_population.KINDS))      # a vehicle that takes of both has no kind twice with this seed
for case, size in enumerate(AT_ONCE):
    rng = np.random.default_rng([SEED, case])
    kinds, deck = deck[:size], deck[size:]
    vehicle = kinds_population.Vehicle(rng, list(kinds), lambda kind: kinds_population.POINTS_DB[kind] + rng.uniform(6, 24), rates=(44100, 48000))
    one = kinds_population.outcome_of(program, vehicle)
    claimed, of_finding = kinds_tables.matched(one)
    sources += len(one["truth"])
    found_kinds |= {t["kind"] for c, t in zip(claimed, one["truth"]) if c == t["kind"]}
    hits += sum(c == t["kind"] for c, t in zip(claimed, one["truth"]))
    findings += len(of_finding)
    right += sum(t is not None for t in of_finding)
    squares += sum((f["confidence"] - (t is not None)) ** 2 for f, t in zip(one["found"], of_finding))
    print(kinds_tables.note_of(one, kinds_population.POINTS_DB) or f"case {case}: all of {list(kinds)}")
check.that(sources == 22 and findings > 0, f"{sources} sources in {len(AT_ONCE)} vehicles, {findings} findings")
check.that(hits >= binom.ppf(RARELY, sources, RECALL), f"recall: {hits} of {sources}, where {RECALL:.0%} is usual")
check.that(right >= binom.ppf(RARELY, findings, PRECISION), f"precision: {right} of {findings}, where {PRECISION:.0%} is usual")
never = sorted(set(kinds_population.KINDS) - found_kinds)
check.that(len(never) <= NEVER_FOUND, f"of {len(kinds_population.KINDS)} kinds, each there twice, never found: {never}")
check.that(squares / max(findings, 1) < 0.25, f"stated confidences tell more than the toss of a coin: Brier score {squares / max(findings, 1):.3f}")
check.end()
