"""A whine whose phase each firing swings, from made sounds and from a simulated vehicle: told once, and at its own
frequency. A seeded part of tests/bench/swing_population.py, and the takes of the vehicle that showed it.
"""
import json
import pathlib
import sys
import tempfile

import numpy as np
from scipy.special import jv
from sounds import RATE, Checks, hiss, make_job, run, speed, turning

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import swing_population  # noqa: E402

program = sys.argv[1]
check = Checks()

# what the sounds are: a carrier and side lines at the firing rate as Bessel's functions have it (Carson 1922, Proc. IRE 10(1))
spectrum = np.abs(np.fft.rfft(swing_population.swung(1400, np.ones(RATE), 1.0, 0.8, 40.0))) / (RATE / 2)
for order in range(3):
    check.near(spectrum[1400 + 40 * order], abs(jv(order, 0.8)), 1e-6, f"side line {order} of a swing of 0.8 radians")

for seed, case in ((7, 4), (7, 8), (11, 3)):      # side lines that passed for the clicks' teeth; a pump whose multiple lies by the whine
    ok, vehicle, found = swing_population.made(program, case, seed)
    check.that(ok, f"{vehicle['cylinders']} cylinders, {vehicle['rpm']:.0f} rpm, swing {vehicle['swing']:.2f}: {found} for {vehicle['hz']:.0f} Hz")

# a pump at 701 Hz whose fifth multiple covers the whine, an engine that wanders less than usual
for swing, seed in ((0.5, 7), (0.8, 3)):
    pace, own = speed(5, 0.0025, seed=200 + seed), speed(5, 0.003, seed=300 + seed)
    lines = {1164: 2.6e-5, 1746: 3.4e-5, 3492: 2.4e-3, 6984: 4e-4}
    sound = sum(swing_population.swung(hz, pace, a, hz / 3492 * swing, 66.67) for hz, a in lines.items())
    sound = sound + turning(701, own, 2e-5) + turning(1402, own, 8e-6)
    with tempfile.TemporaryDirectory() as top:
        make_job(f"{top}/job", {"raised": ({"engine": "raised", "rpm": 2000}, [sound + hiss(5, 1.2e-6, seed=seed + 1), 0.9 * sound + hiss(5, 1.2e-6, seed=seed + 50)])})
        found = json.loads(run(program, "noise", "--job", f"{top}/job", "--json"))["results"]["noise_sources"]
    told = [one for one in found if one["kind"] == "alternator_whine"]
    check.that(len(told) == 1, f"swing {swing}: one whine: {[(one['kind'], one['frequency_hz']) for one in found]}")
    if told:
        check.near(told[0]["frequency_hz"], 3492 * pace.mean(), 5.0, f"swing {swing}: its frequency")
        check.near(told[0]["level_dbfs"], 20 * np.log10(2.4e-3), 0.3, f"swing {swing}: its level, with the side lines")

good = swing_population.simulated(program, "ground_loop", 800.0, 2, 0, 10.0)
check.that(good == 2, f"ground_loop at 800 rpm: {good} of 2 takes right")
check.end()
