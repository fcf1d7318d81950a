"""A seeded share of tests/bench/crash_points.py: the program is killed at calls that change the job's folder, and cut off from power;
each time the job can be read, holds a state that the command passes through, and the next command works."""
import os
import pathlib
import random
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import crash_points  # noqa: E402

SEED, EVERY, ENOUGH_S = 18, 9, 15
program = sys.argv[1]
library = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "bin/kill_at_call.so"
if not library.exists():
    print("kill_at_call.so is not built: nothing was tried")
    sys.exit(77)
deal, begun = random.Random(SEED), time.monotonic()
with tempfile.TemporaryDirectory(prefix="hushtrace-crash-") as place:
    trials = crash_points.Trials(os.path.abspath(program), library, pathlib.Path(place).resolve())
    trials.all(EVERY, deal.randint(1, EVERY), enough_s=ENOUGH_S)
assert not trials.faults, "\n".join(trials.faults[:20])
assert trials.points >= 10 and trials.cuts >= 10, (trials.points, trials.cuts)
print(f"seed {SEED}: {trials.points} kills and {trials.cuts} power cuts left whole jobs, {time.monotonic() - begun:.0f} s")
