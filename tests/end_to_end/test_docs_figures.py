"""The figures of docs/physics.md and docs/attenuators.md, reckoned anew: Ohm's law, Nyquist's noise, the textbooks' formulas.

Nothing of the program is used. A figure agrees when it is right to the last digit shown."""
import os
import pathlib
import re
import sys

import numpy

docs = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"], "docs")
BOLTZMANN = 1.380649e-23  # J/K, exact since 2019 (SI brochure, 9th edition)
BAND_HZ = 19980.0         # 20 Hz to 20 kHz
MU0 = 4e-7 * numpy.pi
pi, log10, sqrt = numpy.pi, numpy.log10, numpy.sqrt

UNITS = {"rpm": 1, "Hz": 1, "kHz": 1e3, "V": 1, "mV": 1e-3, "µV": 1e-6, "A": 1, "W": 1, "K": 1, "C": 1, "dB": 1, "dBV": 1, "%": 1, "m": 1,
         "cm": 1e-2, "mm": 1e-3, "mm2": 1e-6, "ohm": 1, "Ohm": 1, "kohm": 1e3, "kOhm": 1e3, "mohm": 1e-3, "µH": 1e-6, "H": 1, "pF": 1e-12,
         "µF": 1e-6, "mF": 1e-3, "s": 1, "": 1}
VALUE = re.compile(r"(-?\d+(?:\.\d+)?) ?(\S*)")
faults, checked = [], 0


def parallel(*ohms):
    return 1 / sum(1 / ohm for ohm in ohms)


def copper_ohm(l, A, T):
    return 1.7241e-8 * (1 + 0.00393 * (T - 20)) * l / A  # IEC 60028


def clipped_thd(x):
    """Percent of a unit-slope sine x dB past the first touch, by summing its sampled period: no series."""
    phase = (numpy.arange(1 << 16) + 0.5) / (1 << 16) * 2 * pi
    spectrum = numpy.abs(numpy.fft.rfft(numpy.clip(10 ** (x / 20) * numpy.sin(phase), -1, 1)))
    return 100 * sqrt(numpy.sum(spectrum[2:2000] ** 2)) / spectrum[1]


def gain_db(P, R, V):
    return 20 * log10(sqrt(P * R) / V)


EXAMPLES = {
    "whine": lambda p, r, N: p * r * N / 10,
    "stator": lambda p, r, N: p * r * N / 60,
    "ignition": lambda n, N: n * N / 120,
    "thermal": lambda R, T, B: sqrt(4 * BOLTZMANN * T * R * B),
    "ripple": lambda I, R: I * R,
    "joint": lambda I, R: I * R,
    "feed resistance": copper_ohm,
    "feed inductance": lambda l, A, h: MU0 / (2 * pi) * numpy.arccosh(h / sqrt(A / pi)) * l,
    "corner": lambda R, L: R / (2 * pi * L),
    "resonance": lambda L, C: 1 / (2 * pi * sqrt(L * C)),
    "loop share": lambda Rs, Rx: 20 * log10(Rs / (Rs + Rx)),
    "loop field": lambda l, h, d, f, I: 2 * pi * f * MU0 / (4 * pi) * numpy.log(1 + 4 * h * h / d ** 2) * l * I,
    "capacitive": lambda f, R, C, V: 2 * pi * f * R * C * V,
    "target": lambda P, R: sqrt(P * R),
    "gain": gain_db,
    "at the ear": lambda n, P, R, V, s, d: n + gain_db(P, R, V) + s - 20 * log10(2.83) - 20 * log10(d),
    "clipped thd": clipped_thd,
    "drop": lambda l, A, T, I: copper_ohm(l, A, T) * I,
    "clad current": lambda c: 100 * sqrt(c / 100),
    "draw": lambda P, V: 2 * P / V,
    "averaging": lambda B, T: 10 / numpy.log(10) / sqrt(B * T),
}


def check(place, shown, found):
    """shown is text such as '8.19 mV'; found is in base units."""
    global checked
    number, unit = VALUE.fullmatch(shown.strip()).groups()
    digits = len(number.partition(".")[2])
    here = found / UNITS[unit]
    checked += 1
    if not abs(here - float(number)) <= 0.5001 * 10.0 ** -digits:
        faults.append(f"{place}: {shown} is shown, {here:.6g} {unit} is right")


def value(text):
    number, unit = VALUE.fullmatch(text.strip()).groups()
    return float(number) * UNITS[unit]


def tables(page):
    """Each table as (header cells, rows of cells)."""
    found = []
    for block in re.findall(r"(?:^\|.*\n)+", (docs / page).read_text(), re.M):
        rows = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in block.strip().split("\n")]
        found.append((rows[0], rows[2:]))
    return found


used = set()
for page in ("physics.md", "method.md"):
    for header, rows in tables(page):
        if header != ["example", "given", "result"]:
            assert page != "physics.md", header
            continue
        for name, given, result in rows:
            arguments = dict(part.split(" = ") for part in given.split(", "))
            used.add(name)
            check(f"{page}, {name}, {given}", result.split(" = ")[1],
                  EXAMPLES[name](**{letter: value(text) for letter, text in arguments.items()}))
assert used == set(EXAMPLES), set(EXAMPLES) - used

weighting = {row[0]: row[1] for header, rows in tables("method.md") if header[0] == "weighting" for row in rows}
gains = (docs.parent / "tests/reference/weighting_noise_gain.csv").read_text().split("\n")
for name, begin in (("A", "A,white"), ("C", "C,white"), ("468 rms", "BS468_0dB_at_1kHz,white")):
    check(f"method.md, white noise, {name}", weighting[name], float(next(line for line in gains if line.startswith(begin)).split(",")[4]))

unbalanced, balanced, parts, figures = tables("attenuators.md")
assert "noise" in unbalanced[0] and len(unbalanced[1]) >= 3
for row in unbalanced[1]:
    cell = dict(zip(unbalanced[0], row))
    r1, r2 = value(cell["R1"]), value(cell["R2"])
    beside = parallel(r2, 10e3)
    for title, input_ohm in (("loss into 10 kOhm", 10e3), ("into 20 kOhm", 20e3), ("into 100 kOhm", 100e3)):
        check(f"{cell['pad']} pad, {title}", cell[title], -20 * log10(parallel(r2, input_ohm) / (r1 + parallel(r2, input_ohm))))
    loss = -20 * log10(beside / (r1 + beside))
    assert abs(loss - value(cell["pad"])) < 0.25
    check(f"{cell['pad']} pad, load", cell["loads the source with"], r1 + beside)
    noise = 20 * log10(sqrt(4 * BOLTZMANN * 300 * parallel(r1, r2) * BAND_HZ))
    check(f"{cell['pad']} pad, noise", cell["noise"], noise)
    check(f"{cell['pad']} pad, noise at the probe", cell["referred to the probe"], noise + loss)
    check(f"{cell['pad']} pad, voltage", cell["highest steady voltage"], sqrt(0.125 * r1) * (r1 + beside) / r1)
    assert -20 * log10((r1 + beside) / (r1 + beside + 150)) < 0.135
for row in balanced[1]:
    cell = dict(zip(balanced[0], row))
    r1, r2 = value(cell["R1, each"]), value(cell["R2"])
    load = 2 * r1 + parallel(r2, 10e3)
    check(f"{cell['use']}, loss", cell["loss into 10 kOhm"], 20 * log10(load / parallel(r2, 10e3)))
    check(f"{cell['use']}, load", cell["load between the wires"], load)
    check(f"{cell['use']}, voltage", cell["highest steady voltage"], sqrt(0.125 * r1) * load / r1)

part = {row[0]: row[1] for row in parts[1]}
shown = dict(figures[1])
r1, r2, c1 = (value(" ".join(re.split("[ ,]", part[name])[:2])) for name in ("R1", "R2", "C1"))
whole = r1 + parallel(r2, 10e3)
corner_hz = 1 / (2 * pi * whole * c1)
check("probe, loss", shown["loss into 10 kOhm"], 20 * log10(whole / parallel(r2, 10e3)))
check("probe, corner", shown["corner by C1"], corner_hz)
for hz in (20, 50):
    check(f"probe at {hz} Hz", shown[f"at {hz} Hz"], -10 * log10(1 + (corner_hz / hz) ** 2))
for henry in (10, 2):
    check(f"probe, winding of {henry} H", shown[f"corner by a winding of {henry} H, 300 Ohm"],
          parallel(parallel(r1, r2) + 300, 10e3) / (2 * pi * henry))
check("probe, noise", shown["noise of R1 beside R2"], 20 * log10(sqrt(4 * BOLTZMANN * 300 * parallel(r1, r2) * BAND_HZ)))
both = 2 * r1 + parallel(r2, 10e3)
check("probe, both legs", shown["loss with C1 and R1 in both legs"], 20 * log10(both / parallel(r2, 10e3)))
check("probe, both legs, corner", shown["corner by both C1 then"], 1 / (2 * pi * both * c1 / 2))

e24 = {10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91}  # IEC 60063
for ohm in [value(row[i]) for row in unbalanced[1] for i in (1, 2)] + [value(row[i]) for row in balanced[1] for i in (1, 2)] + [r1, r2]:
    if round(ohm / 10 ** (numpy.floor(log10(ohm)) - 1), 6) not in e24:
        faults.append(f"{ohm} ohm is not of the E24 series")

for fault in faults:
    print(fault)
print(f"{checked} figures reckoned, {len(faults)} not as shown")
sys.exit(bool(faults))
