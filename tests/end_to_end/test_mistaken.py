"""What one source of noise is taken for another by, made with NumPy: a motor's turns for whine, a load's far multiple for a tone,
clicks that hide a whine, a tone that a whine's multiple wanders over. Each is told as what it is, once."""
import json
import sys
import tempfile

import numpy as np
from sounds import RATE, Checks, clicks, hiss, make_job, run, speed, tone, turning

program = sys.argv[1]
check = Checks()
SECONDS = 8


def told(takes):
    """Kind and frequency of what is told, the hiss apart."""
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", takes)
        sources = json.loads(run(program, "noise", "--job", top + "/job", "--json"))["results"]["noise_sources"]
    return sorted((s["kind"], s["frequency_hz"] and round(s["frequency_hz"])) for s in sources if s["kind"] != "hiss")


def stereo(x, seed):
    return [x + hiss(SECONDS, 1e-4, seed=seed), 0.5 * x + hiss(SECONDS, 1e-4, seed=seed + 1)]


def motor(shaft_hz, bars, amplitude, wander, seed, aside=0.2):
    """Lines at the bars, twice the bars, and one turn off them."""
    course = speed(SECONDS, wander, seed=seed)
    return sum(turning(n * shaft_hz, course, a * amplitude, phase=n) for n, a in ((bars, 1), (2 * bars, 0.3), (bars - 1, aside), (bars + 1, aside), (1, 0.1)))


def about(kinds, kind, hz, share=0.012):
    return [k for k, f in kinds if f is not None and abs(f / hz - 1) < share] == [kind] and [k for k, _ in kinds].count(kind) == 1


# ---- a motor that wanders as far as an idling engine, louder while that runs: its turns tell
takes = {"off": ({"engine": "off"}, stereo(0.3 * motor(126.1, 9, 6e-5, 0.005, 3), 11)), "idle": ({"engine": "idle"}, stereo(motor(126.1, 9, 6e-5, 0.005, 4), 13))}
kinds = told(takes)
check.that(about(kinds, "motor_whine", 1135) and len(kinds) == 1, f"a motor beside an idling engine is no whine: {kinds}")
kinds = told({"idle": ({"engine": "idle"}, stereo(sum(turning(1135 * n, speed(SECONDS, 0.005, seed=4), a, phase=n)
                                                      for n, a in ((1, 6e-5), (2, 2e-5), (1 / 6, 8e-5), (5 / 6, 2e-5), (7 / 6, 2e-5), (1 / 3, 4e-5))), 17))})
check.that(about(kinds, "alternator_whine", 1135), f"a faulty stator's sixths are an alternator's: {kinds}")

# ---- side lines that are followed by themselves are their motor's
kinds = told({"off": ({"engine": "off"}, stereo(motor(91.8, 8, 4e-4, 0.003, 5, aside=0.35), 19)), "idle": ({"engine": "idle"}, stereo(motor(91.6, 8, 4e-4, 0.003, 6, aside=0.35), 21))})
check.that(about(kinds, "motor_whine", 734) and len(kinds) == 1, f"one motor, not its side lines as well: {kinds}")

# ---- a motor that strays over a hump of its own
kinds = told({"off": ({"engine": "off"}, stereo(turning(632.0, speed(SECONDS, 0.011, seed=7), 4e-5) + turning(790.0, speed(SECONDS, 0.011, seed=7), 1.2e-5), 23))})
check.that(about(kinds, "motor_whine", 632, 0.02) and len(kinds) == 1, f"a motor that strays is no hash: {kinds}")

# ---- slow loud clicks beside a whine that wanders by more than their rate
engine = speed(SECONDS, 0.016, seed=8)
kinds = told({"off": ({"engine": "off"}, stereo(clicks(RATE / 4660, np.ones(SECONDS * RATE), 2e-2), 25)),
              "idle": ({"engine": "idle"}, stereo(clicks(RATE / 4660, np.ones(SECONDS * RATE), 2e-2) + turning(1833.0, engine, 4e-4) + turning(3666.0, engine, 1e-4), 27))})
check.that(about(kinds, "alternator_whine", 1833) and ("periodic_tick", 10) in kinds and len(kinds) == 2, f"a whine among slow clicks: {kinds}")

# ---- a load's far multiple is the load's; a tone beside one is none
load = sum(tone(n * 97.853, SECONDS, 4e-4 * np.sin(np.pi * n * 0.21) / n) for n in range(1, 60))
kinds = told({"off": ({"engine": "off"}, stereo(load + tone(119 * 97.853, SECONDS, 1.5e-5), 29))})
check.that(kinds == [("switched_load", 98)], f"a far multiple is no tone of its own: {kinds}")
kinds = told({"off": ({"engine": "off"}, stereo(load + tone(119.3 * 97.853, SECONDS, 1.5e-5), 31))})
check.that(kinds == [("switched_load", 98), ("unexplained_tone", round(119.3 * 97.853))], f"what lies beside one is: {kinds}")

# ---- a tone that holds still where a whine's fourth multiple wanders, and near one of a motor's high lines
engine = speed(SECONDS, 0.008, seed=9)
whine = sum(turning(1068.0 * n, engine, 8e-5 / n**2, phase=n) for n in (1, 2, 3, 4))
kinds = told({"off": ({"engine": "off"}, stereo(tone(4229.9, SECONDS, 2e-5), 33)), "idle": ({"engine": "idle"}, stereo(whine + tone(4229.9, SECONDS, 2e-5), 35))})
check.that(("unexplained_tone", 4230) in kinds and about(kinds, "alternator_whine", 1068) and len(kinds) == 2, f"a tone among a whine's multiples: {kinds}")

# ---- one take, no speed: a loud whine is told, whatever else isn't known
kinds = told({"idle": ({"engine": "idle"}, stereo(turning(1344.0, speed(SECONDS, 0.012, seed=10), 3e-3), 37))})
check.that(about(kinds, "alternator_whine", 1344), f"a loud whine in one take: {kinds}")

check.end()
