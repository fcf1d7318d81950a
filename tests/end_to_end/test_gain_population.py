"""A seeded part of tests/bench/gain_population.py: one source of every case with a knob turned by hand, and the ones most met once
more, through the whole program. Fails when a ceiling lies above the true one by more than a step, when a level is off, or when more
answers are wrong than chance leaves of 98 %: the 1 % quantile of the binomial law.
"""
import concurrent.futures
import pathlib
import sys

from scipy.stats import binom
from sounds import Checks

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import gain_cases  # noqa: E402
import gain_population  # noqa: E402

SEED, PROMISED, RARELY, LEVEL_DB = 3, 0.98, 0.01, 0.05
ALSO = ("hard", "soft", "one_sided", "one_channel_first", "own_zero", "bass_roll_off", "tone_controls", "too_loud", "limiter", "stick", "never_clips",
        "interface_first")

program = sys.argv[1]
check = Checks()
work = [(program, SEED, number, kind, True) for number, kind in enumerate([*gain_cases.KINDS, *ALSO])]
with concurrent.futures.ProcessPoolExecutor(2) as pool:
    outcomes = [one for _, one in pool.map(gain_population.run_one, work)]
for one in outcomes:
    if not (one["right"] and one["told"]):
        print(f"{one['kind']}: true {one['truth']}, said {one['said']}; {one['codes']}; {one['text']}")
check.that({o["kind"] for o in outcomes} == set(gain_cases.KINDS), f"{len(outcomes)} sources of {len(gain_cases.KINDS)} kinds")
for refusal, what in ((False, "ceilings right to the step"), (True, "refused for the right reason")):
    ones = [o for o in outcomes if o["refusal"] == refusal]
    right = sum(o["right"] for o in ones)
    check.that(len(ones) >= 10 and right >= binom.ppf(RARELY, len(ones), PROMISED), f"{what}: {right} of {len(ones)}")
told = sum(o["told"] for o in outcomes)
check.that(told >= binom.ppf(RARELY, len(outcomes), PROMISED), f"said what the case asks for: {told} of {len(outcomes)}")
above = [o["above"] for o in outcomes]
check.that(sum(a > 0 for a in above) <= 1 and max(above) <= 1, f"above the true one: {sum(a > 0 for a in above)}, most {max(above)}")
errors = [o["level_error_db"] for o in outcomes if o["level_error_db"] is not None]
check.that(len(errors) >= 10 and max(errors) < LEVEL_DB, f"level at the ceiling within {max(errors):.4f} dB")
check.end()
