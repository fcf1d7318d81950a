"""The rows of docs/figures.md: what was asked, the command that measures it, what of its output counts, and when it holds."""
import dataclasses
import re
from collections.abc import Callable

PYTHON = "/usr/bin/python3"


@dataclasses.dataclass
class Row:
    name: str                     # for --only
    part: str
    figure: str
    asked: str
    command: str                  # BUILD, PROGRAM, BENCH, SIZE and SEED are put in; from the project's top
    size: int                     # of the whole population
    told: list                    # (pattern, form): what the table shows; a pattern that isn't there is a failure
    holds: Callable = None        # from the table's text, whether what was asked is reached; None: nothing was asked
    minutes: float = 1            # of one core of ours
    needs: str = ""               # targets to build before, or what else it takes
    environment: dict = dataclasses.field(default_factory=dict)

    def command_line(self, build="build", seed="SEED", size=None):
        words = {"BUILD": build, "PROGRAM": f"{build}/bin/hushtrace", "BENCH": "tests/bench", "SIZE": str(size or self.size), "SEED": str(seed)}
        put_in = lambda text: re.sub(r"\b(BUILD|PROGRAM|BENCH|SIZE|SEED)\b", lambda m: words[m.group()], text)
        return "".join(f"{key}={put_in(value)} " for key, value in self.environment.items()) + put_in(self.command)

    def drawn(self):
        """Whether a seed decides it."""
        return "SEED" in self.command_line()

    def reading(self, output):
        """The table's cell. Raises LookupError for output that lacks a figure."""
        cells = []
        for pattern, form in self.told:
            found = list(re.finditer(pattern, output, re.MULTILINE))
            if not found:
                raise LookupError(f"{self.name}: nothing in the output fits {pattern!r}")
            cells.append("; ".join(form.format(*(" ".join((group or "").split()) for group in one.groups())) for one in found))
        return "; ".join(cells)


def share_at_least(least, which=0):
    """Of the text's shares ("348 of 351"), that one reaches so much."""
    def holds(text):
        hits, of = re.findall(r"(\d+) of (\d+)", text)[which]
        return int(hits) >= least * int(of)
    return holds


def share_at_most(most, which=0):
    return lambda text: not share_at_least(most + 1e-12, which)(text)


def number_below(pattern, most):
    """Every number that the pattern picks out is at most so much."""
    def holds(text):
        found = re.findall(pattern, text)
        return bool(found) and all(abs(float(one)) <= most for one in found)
    return holds


def covered(text):
    found = re.findall(r"(\d+(?:\.\d+)?) %", text)
    return bool(found) and all(90 <= float(one) <= 99 for one in found)


def near_the_reference(text):
    ours, theirs = map(float, re.search(r"after 6: (\S+), (\S+?);", text).groups())
    return ours <= 1.1 * theirs


def every(*conditions):
    return lambda text: all(one(text) for one in conditions)


COVERED = [(r"^\s*(.+): \d+ takes, covered (\S+) %", "{0} {1} %")]
COVERAGE = {"HUSHTRACE_COVERAGE_TAKES": "SIZE", "HUSHTRACE_COVERAGE_SEED": "SEED"}

MEASUREMENTS = "Measurements"
NOISE = "Noise sources"
ENTRY = "Where noise gets in"
GAIN = "Gain, chain, live view"

ROWS = [
    Row("tone", MEASUREMENTS, "level and frequency of a tone between two bins, 5 Hz to 0.45 fs, 10 to 1000 cycles, 8 to 384 kHz", "0.01 dB, 0.1 bin",
        'BUILD/bin/test_measure "any tone of 10*"', 110, [(r"worst deviation, ((?:.+\n)+)", "{0}")],
        every(number_below(r"(\S+) dB", 0.01), number_below(r"(\S+) bin", 0.1)), 0.1, "test_measure"),
    Row("bound", MEASUREMENTS, "spread of a tone's frequency over the Cramer-Rao bound, SNR times samples of 21 dB and more", "at most 1.1",
        "BUILD/bin/frequency_bound SIZE SEED", 800, [(r"^ +(\d+) +\S+ +(2[1-9]\.\d|[3-9]\d\.\d|1\d\d\.\d) +(\S+) .*$", "{0} samples, {1} dB: {2}")],
        number_below(r"dB: (\S+?)(?:;|$)", 1.1), 8, "frequency_bound"),
    Row("distortion", MEASUREMENTS, "harmonics, THD, THD+N, intermodulation against NumPy and SciPy", "0.05 dB",
        f"{PYTHON} tests/measure/judge/judge.py BUILD/bin/measure_probe", 8, [(r"^(.+): worst deviation (\S+) dB$", "{0} {1} dB")],
        number_below(r"(\S+) dB", 0.05), 0.2, "measure_probe"),
    Row("intervals", MEASUREMENTS, "stated 95 % intervals of level, frequency, THD, THD+N, intermodulation hold the truth", "90 to 99 %",
        'BUILD/bin/test_measure "[coverage]~[noise_floor]~[quasi_peak]"', 2000, COVERED, covered, 2, "test_measure", COVERAGE),
    Row("floor_intervals", MEASUREMENTS, "the same of noise floors", "90 to 99 %",
        'BUILD/bin/test_measure "[noise_floor][coverage],[quasi_peak][coverage]"', 400, COVERED, covered, 2, "test_measure", COVERAGE),
    Row("channel_intervals", MEASUREMENTS, "the same of response, delay, balance, crosstalk", "90 to 99 %",
        'BUILD/bin/test_measure "claimed uncertainties of delay*"', 1000, COVERED, covered, 2, "test_measure", COVERAGE),
    Row("speed", MEASUREMENTS, "noise floors of a 10 min stereo take, two threads: wall time against decoding, SciPy's against it, memory",
        "2 x, 4 x, 32 MiB", f"{PYTHON} BENCH/floor_speed.py BUILD/bin/floor_speed 10 SIZE", 3,
        [(r"^floor, 2 threads +(\S+) s +\S+ s +(\S+) x +(\S+) x +(\S+) MiB", "{0} s, {1} x decoding, SciPy {2} x, {3} MiB"),
         (r"; (load \S+) on", "{0}")],
        every(number_below(r"(\S+) x decoding", 2.0), number_below(r"(\S+) MiB", 32), lambda text: float(re.search(r"SciPy (\S+) x", text)[1]) >= 4),
        2, "floor_speed; two quiet cores"),
    Row("music", MEASUREMENTS, "clipping in music: clean excerpts flagged; hard cut by 1 dB found", "1 %; 95 %",
        f"{PYTHON} BENCH/clipping_in_music.py --program BUILD/bin/programme_clipping --folder /tmp/music --fetch --excerpts SIZE --seed SEED "
        "--some-every 5",
        100, [(r"^  (clean|as_it_is|hard 1|digital 1) +flagged ([^;\n]+)", "{0}: {1}")],
        every(share_at_most(0.01), share_at_least(0.95, 2)), 15, "programme_clipping; 300 MB of packages"),
    Row("losses", MEASUREMENTS, "lost frames in a 997 Hz tone at 48 kHz: every loss is found from 42 dB SNR on, no false alarm", "all; none",
        "BUILD/bin/loss_visibility SIZE SEED", 60,
        [(r"^ +(46|60) +(\d+) +(\d+) +(\d+) +\S+ +\S+$", "{0} dB: 337 frames {1}, any {2}, false alarms {3}"), (r"\((of \d+ each)", "{0}")],
        lambda text: all(int(a) == int(b) == int(re.search(r"of (\d+) each", text)[1]) and int(c) == 0
                         for a, b, c in re.findall(r"frames (\d+), any (\d+), false alarms (\d+)", text)), 1, "loss_visibility"),
    Row("kinds", NOISE, "recall of sources 6 dB over their kind's point; precision of all findings; precision where every source is so loud",
        "95 %; -; 97 %", f"{PYTHON} BENCH/kinds_population.py PROGRAM SIZE SEED --quiet", 320,
        [(r"^all +(\d+)/(\d+) +(\S+) % \((.*?) %\) +(\d+)/(\d+) +(\S+) % \((.*?) %\) +(\d+)/(\d+) +(\S+) % \((.*?) %\)$",
          "{0} of {1}, {2} % ({3}); {4} of {5}, {6} % ({7}); {8} of {9}, {10} % ({11})"), (r"^Brier score (\S+);", "Brier score {0}")],
        every(share_at_least(0.95), share_at_least(0.97, 2)), 25),
    Row("clean", NOISE, "clean vehicles with a finding beside hiss", "1 %",
        f"{PYTHON} BENCH/kinds_population.py PROGRAM SIZE SEED --clean --quiet", 100,
        [(r"beside hiss: +(\d+)/(\d+) +(\S+) % \((.*?) %\)", "{0} of {1}, {2} % ({3})")], share_at_most(0.01), 5),
    Row("points", NOISE, "each kind's 90 % point over its reference detector's; sources 18 dB over the reference found", "printed",
        f"{PYTHON} BENCH/kinds_population.py PROGRAM SIZE SEED --alone --quiet", 264,
        [(r"^([a-z]\w+) +\d+ +\S+ +(\S+) +(\d+)/(\d+) ", "{0} {1} dB, {2}/{3}")], None, 15),
    Row("whine", NOISE,
        "whine in 20 s of white noise, wander 0.5, 1, 3 %: found by a detector that is told the track, by the program, by it with a log",
        "90 % at most 7 and 4 dB behind", "BUILD/bin/whine_detection 200 SIZE SEED white 0 flat", 60,
        [(r"^(wander \S+ %.*)$", "{0}"), (r"^ +(-\d+) +(\S+) +\S+ +(\S+) +(\S+)$", "{0}: {1} {2} {3}")], None, 60, "whine_detection"),
    Row("engine", NOISE, "engine order where a log or ignition gives the speed; the constant from typed speeds in its interval; line found in a take",
        "0.5 %; 95 %", f"{PYTHON} BENCH/engine_population.py PROGRAM SIZE SEED", 40,
        [(r"^order within 0.5 % where .*: (.*)$", "{0}"), (r"^constant within 2 sd .*: (.*)$", "{0}"),
         (r"^right line in a take: ([^;]*)", "{0}")], None, 4),
    Row("swing", NOISE, "a whine that each firing swings by 0.3 to 1.2 radians: found, within 1 % of its frequency", "90 %",
        f"{PYTHON} BENCH/swing_population.py PROGRAM SIZE SEED", 60, [(r"^all: (.*)$", "{0}")], share_at_least(0.90), 2),
    Row("swing_vehicle", NOISE, "the same on a simulated vehicle held at 800 rpm, takes of 10 s", "95 %",
        f"{PYTHON} BENCH/swing_population.py PROGRAM SIZE 0 --simulate ground_loop 800", 40, [(r"^ground_loop .*: (.*)$", "{0}")], share_at_least(0.95), 2),
    Row("noise_speed", NOISE, "60 s of stereo through `noise`, one core: times real time", "30 x", f"{PYTHON} BENCH/noise_speed.py PROGRAM SIZE", 3,
        [(r"^(hiss|whine and mains|crowd) +(\S+) s +(\S+) x", "{0} {2} x")],
        lambda text: all(float(one) >= 30 for one in re.findall(r"(\S+) x", text)), 3),
    Row("ways", ENTRY, "right set of ways first with the program's own tests; one way; two ways; tests; labour of the usual order's",
        "95 %; 6 on the mean, 9 at most; two thirds", f"{PYTHON} BENCH/entry_trials.py BUILD SIZE SEED", 200,
        [(r"^own tests: right first ([^;]*)", "{0}"), (r"^one way: ([^;]*); two ways: (.*)$", "one way {0}; two ways {1}"), (r"^tests: (.*)$", "{0}"),
         (r"^labour: .*: (\S+) of it$", "labour {0}")],
        every(share_at_least(0.95), number_below(r"labour (\S+)", 2 / 3), number_below(r"(\S+) on the mean", 6), number_below(r"(\d+) at most", 9)),
        5, "vehicle_levels entry_policies"),
    Row("ways_by_chance", ENTRY,
        "random tests, where a reference with the simulation's likelihoods is over 0.9 sure: right first; Brier scores, program and reference",
        "90 %; within a tenth after six", f"{PYTHON} BENCH/entry_trials.py BUILD SIZE SEED --train 25", 120,
        [(r"^tests of chance, .* right first (.*)$", "{0}"), (r"^  after +(\d+): Brier (\S+), reference (\S+)$", "after {0}: {1}, {2}")],
        every(share_at_least(0.90), near_the_reference),
        12, "vehicle_levels entry_policies"),
    Row("entry_program", ENTRY, "the same from sound to sentence, the whole program, one way a vehicle", "95 %; 6 on the mean, 9 at most",
        f"{PYTHON} BENCH/entry_population.py PROGRAM SIZE SEED", 14, [(r"^right first: (.*)$", "{0}")],
        every(share_at_least(0.95), number_below(r"(\S+) on the mean", 6), number_below(r"(\d+) at most", 9)), 8),
    Row("promises", ENTRY, "promised change of rerouting and of a remade ground against the vehicle's own circuit",
        "3 dB in 90 %; the rest inside the interval", f"{PYTHON} BENCH/promise_population.py PROGRAM SIZE SEED", 24,
        [(r"^promises within 3 dB: ([^;]*); within their own interval: ([^;]*)", "{0}; {1}")],
        share_at_least(0.90), 8),
    Row("ceiling", GAIN, "ceiling right to the step; above the true one; level there; no ceiling, and the right reason",
        "98 %; 0.5 %, by one step; 0.05 dB; 98 %", f"{PYTHON} BENCH/gain_population.py PROGRAM SIZE SEED", 584,
        [(r"^ceiling right to the step: (.*)$", "{0}"), (r"^above the true one: (.*)$", "above {0}"),
         (r"^level at the ceiling within (\S+) dB$", "{0} dB"), (r"^refused with the right reason: (.*)$", "refused {0}"),
         (r"^said what it should: (.*)$", "said {0}")],
        every(share_at_least(0.98), share_at_most(0.005, 1), number_below(r"(\S+) dB", 0.05), share_at_least(0.98, 2)), 6),
    Row("amplifier", GAIN, "the amplifier's gain set as told: its output against the target", "0.25 dB",
        f"{PYTHON} BENCH/amplifier_population.py PROGRAM SIZE SEED", 60,
        [(r"^output within 0.25 dB of the target: (.*)$", "{0}"), (r"^off by: (.*)$", "{0}"), (r"^confirmed at the target: (.*)$", "confirmed {0}")],
        share_at_least(1.0), 4),
    Row("chain", GAIN, "words of `chain` right on simulated sources", "-", f"{PYTHON} BENCH/chain_population.py PROGRAM SIZE SEED", 60,
        [(r"^all words: ([^;]*)", "{0}")], None, 4),
    Row("filters", GAIN, "SciPy's filters told by kind, frequency, gain, slope, Q", "-",
        f"{PYTHON} tests/measure/judge/shape_judge.py BUILD/bin/shape_probe SIZE SEED", 25,
        [(r"^all: ([^;]*)", "{0}")], None, 1, "shape_probe"),
    Row("latency", GAIN, "sound at the link until the board shows it, the window included; snapshots", "100 ms and the window; 15 a second",
        'BUILD/bin/test_live "[latency]"', 8, [(r"latency: (median \S+ s, longest \S+ s); (\d+) snapshots in 6 s", "{0}; {1} in 6 s")],
        number_below(r"longest (\S+) s", 0.2), 0.2, "test_live"),
    Row("live_load", GAIN, "ten minutes of `gain --live` on a sound server, the other core loaded, the phone page open",
        "no block lost; 10 % of a core", f"{PYTHON} BENCH/live_load.py PROGRAM SIZE --page", 600,
        [(r"^processor: (\S+ %) of a core .*; memory (\d+ MB)$", "{0}, {1}"), (r"; take marked: (.*)$", "marked: {0}"),
         (r"(load average \S+)$", "{0}")],
        every(number_below(r"^(\S+) %", 10), lambda text: "marked: nothing" in text), 10, "PulseAudio, Chromium; two quiet cores"),
    Row("follower", GAIN, "a whine followed live: its step read; of these within 1 dB; found while gone", "-", "BUILD/bin/live_follow population SIZE", 30,
        [(r"^(idle.*?|the same.*?) +step read in (\S+) %, of these within 1 dB (\S+) %.*found while gone (\S+) %", "{0}: {1} %, {2} %, {3} %")],
        None, 3, "live_follow"),
]
BY_NAME = {row.name: row for row in ROWS}
