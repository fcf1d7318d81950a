"""The supply as probe on simulated vehicles: slopes over voltage and current, the shared milliohm and the feed's R and L, each against
what the scenario's circuit gives when NumPy works it out; the twin take; and probes that can't be used."""
import json
import os
import sys
import tempfile

import numpy as np
from sounds import RATE, Checks, hiss, make_job, run, speed, turning

program = sys.argv[1]
signals = os.path.join(os.environ["HUSHTRACE_SOURCE_DIR"], "signals")
check = Checks()
VOLTS = [7.0, 7.03]
AMPS_PER_VOLT = 10.0


def that(fact, text):
    check.that(fact, text)
    return bool(fact)


class Circuit:
    """Of a scenario with a grounded interface, the laptop on its battery, no antenna, no device: everything for 1 A in the feed."""

    def __init__(self, scenario):
        self.feed, self.lead, self.amp, self.source, self.body = (scenario[k] for k in ("feed", "lead", "amplifier", "source", "vehicle"))

    def impedance(self, f):
        """Of feed, capacitors and the amplifier's ground in series. Copper: 1.7241e-8 ohm m at 20 C, 0.393 % a kelvin (IEC 60028);
        a wire over a plane: mu0 / (2 pi) acosh(h / r) a metre (Paul 2006, from memory)."""
        w = 2 * np.pi * f
        wire = 1.7241e-8 * (1 + 0.00393 * (self.feed["temperature_c"] - 20)) * self.feed["length_m"] / (1e-6 * self.feed["area_mm2"])
        ohm = wire + 1e-3 * (self.amp["capacitor_mohm"] + self.amp["ground_mohm"] + self.body["body_mohm"])
        henry = self.feed["length_m"] * 2e-7 * np.arccosh(self.lead["above_metal_m"] / np.sqrt(1e-6 * self.feed["area_mm2"] / np.pi))
        self.ohm, self.henry, self.farad = ohm, henry, 1e-3 * self.amp["capacitor_mf"]
        return ohm + 1j * w * henry + 1 / (1j * w * self.farad)

    def signal(self, f):
        """What lands on the left signal."""
        w, lead = 2 * np.pi * f, self.lead
        d, h = lead["separation_m"], lead["above_metal_m"]
        ground = 1e-3 * (self.amp["ground_mohm"] + self.body["body_mohm"])
        shield = lead["shield_ohm"] + self.source["shell_to_case_ohm"]
        around = 1e-3 * (self.source["ground_mohm"] + self.amp["ground_mohm"]) + self.amp["shell_to_ground_ohm"] + shield
        loop_m = 1e-7 * np.log(1 + 4 * h * h / d ** 2) * lead["parallel_m"]
        lead_m = 2e-7 * np.log((d + 1e-3 * lead["core_offset_mm"]) / d) * lead["parallel_m"]
        r_in, r_out = self.amp["input_ohm"], self.source["output_ohm"]
        drop = shield * (1j * w * loop_m - ground) / (around + 1j * w * 1e-6 * lead["signal_m"])
        line_v = self.impedance(f)
        capacitive = r_in * r_out / (r_in + r_out) * 1e-12 * lead["stray_pf"] * 1j * w * line_v
        return drop + 1j * w * lead_m * r_in / (r_in + r_out) + capacitive


def vehicle(name, **parts):
    with open(os.path.join(signals, name + ".json")) as file:
        scenario = json.load(file)
    scenario["interface"]["amps_per_volt"] = AMPS_PER_VOLT
    scenario["vehicle"]["engine"]["sweep_s"] = 12
    for part, values in parts.items():
        scenario[part].update(values)
    return scenario


def noise(job):
    return json.loads(run(program, "noise", "--job", job, "--json"))


def capture(folder, takes, calibrate=True, amps=AMPS_PER_VOLT):
    """Takes [(scenario, name, channels, more options)] into a job of their own."""
    job = folder + "/job"
    run(program, "job", "--new", "--job", job, "--title", "probe")
    for scenario, name, channels, *more in takes:
        file = folder + f"/{name}.json"
        with open(file, "w") as out:
            json.dump(scenario, out)
        run(program, "capture", "--job", job, "--simulate", file, "--name", name, "--channels", channels, "--volume", "0", "--laptop", "battery",
            "--decline-ground-check", "simulated", *more)
    with open(job + "/job.json") as file:
        described = json.load(file)
    described["interface"] = {"volts_full_scale": VOLTS if calibrate else None, "amps_per_volt": amps}
    with open(job + "/job.json", "w") as file:
        json.dump({k: v for k, v in described.items()}, file)
    return job


def codes(document):
    return [w["code"] for w in document["warnings"]]


def over(results, against):
    found = [t for t in results["supply_transfers"] if t["against"] == against and t["source_id"].startswith("alternator_whine")]
    return max(found, key=lambda t: len(t["points"])) if found else None


def compare(transfer, expected, what):
    """To 1 dB: the bilinear transform bends the simulated feed by so much below 8 kHz, and by more above."""
    f = np.array([p["frequency_hz"] for p in transfer["points"]])
    read = np.array([p["ratio_db"] for p in transfer["points"]])
    sd = np.array([p["sd_db"] for p in transfer["points"]])
    off = np.abs(read - 20 * np.log10(np.abs(expected(f))))
    worst = np.argmax(off - 3 * sd)
    that(len(f) >= 5 and np.all(off < np.maximum(np.where(f < 8000, 1.0, 2.5), 3 * sd)) and np.median(off) < 0.4,
         f"{what}: {len(f)} points lie at the circuit's, median {np.median(off):.2f} dB off, the worst {off[worst]:.2f} (sd {sd[worst]:.2f}) at {f[worst]:.0f} Hz")


SWEEP = ("--engine", "sweep", "--seconds", "12")
slopes = {}
cases = {"ground loop": vehicle("ground_loop"),
         "lead pick-up": vehicle("lead_beside_supply"),
         "capacitive": vehicle("lead_beside_supply", lead={"core_offset_mm": 0.0, "stray_pf": 800, "separation_m": 0.3})}
for name, scenario in cases.items():
    circuit = Circuit(scenario)
    with tempfile.TemporaryDirectory() as folder:
        takes = [(scenario, "voltage", "left,supply", *SWEEP), (scenario, "current", "left,supply_current", *SWEEP)]
        if name == "ground loop":
            takes += [(scenario, "feed", "supply,supply_current", *SWEEP), (scenario, "twin", "left,right", *SWEEP)]
        job = capture(folder, takes)
        document = noise(job)
        words = run(program, "noise", "--job", job) if name == "ground loop" else ""
    results = document["results"]
    by = {against: over(results, against) for against in ("supply", "supply_current")}
    if not that(all(by.values()), f"{name}: the whine is read over voltage and current ({codes(document)})"):
        continue
    compare(by["supply"], lambda f: circuit.signal(f) / circuit.impedance(f), f"{name} over the voltage")
    compare(by["supply_current"], circuit.signal, f"{name} over the current")
    for against, transfer in by.items():
        slope, f = transfer["slope_db_per_decade"], np.array([p["frequency_hz"] for p in transfer["points"]])
        h = circuit.signal(f) / (circuit.impedance(f) if against == "supply" else 1.0)
        expected = np.polyfit(np.log10(f), 20 * np.log10(np.abs(h)), 1)[0]
        slopes[name, against] = slope["value"]
        check.that(abs(slope["value"] - expected) < max(3.0, 2.5 * slope["sd"]) and transfer["decades"] > 0.5,
                   f"{name} over {against}: {slope['value']:+.1f} dB a decade (sd {slope['sd']:.1f}, {transfer['decades']:.2f} decades), the circuit's {expected:+.1f}")
    check.that(not any(s["channels"] and ("supply" in s["channels"] or "supply_current" in s["channels"]) for s in results["noise_sources"]),
               f"{name}: what the probe reads is told as no noise in the signal")
    if name == "ground loop":
        shared = by["supply_current"]["shared_mohm"]
        true = 1e3 * abs(circuit.signal(by["supply_current"]["shared_at_hz"]))
        check.that(shared is not None and abs(shared["value"] / true - 1) < 0.1, f"the shared impedance: {shared} milliohm, the circuit's {true:.2f}")
        feed = results["feed_impedances"][0] if results["feed_impedances"] else None
        circuit.impedance(1000.0)
        if that(feed is not None, f"the feed's impedance is read ({codes(document)})"):
            r, l = feed["resistance_ohm"], feed["inductance_h"]
            check.that(abs(r["value"] / circuit.ohm - 1) < 0.1, f"R {1e3 * r['value']:.1f} (sd {1e3 * r['sd']:.2f}), the circuit's {1e3 * circuit.ohm:.1f} milliohm")
            check.that(abs(l["value"] / circuit.henry - 1) < 0.1, f"L {1e6 * l['value']:.2f} (sd {1e6 * l['sd']:.3f}), the circuit's {1e6 * circuit.henry:.2f} microhenry")
            check.that(abs(feed["corner_hz"]["value"] / (circuit.ohm / (2 * np.pi * circuit.henry)) - 1) < 0.15, "and their corner")
            c = feed["capacitance_f"]
            check.that(c is not None and abs(c["value"] / circuit.farad - 1) < 0.3, f"C {c}, the circuit's {circuit.farad}")
        check.that(by["supply"]["twin"] == "takes/twin.flac" and not by["supply"]["spoilt"] and "probe_spoils" not in codes(document), "its twin finds it unspoilt")
        check.that("The supply as probe" in words and "milliohm" in words and "does not tell a ground loop from pick-up" in words, "and in words")
    else:
        check.that("no_probe_twin" in codes(document), f"{name}: without a twin that is said")
        check.that(not results["feed_impedances"], f"{name}: with the voltage or the current alone nothing is said of the feed's R and L")
if len(slopes) == 6:
    check.that(slopes["ground loop", "supply"] < -5 and slopes["capacitive", "supply"] > slopes["lead pick-up", "supply"] + 6, "over the voltage a shared resistance falls, capacitive pick-up rises most")

# ---- a probe that makes a loop of its own: with it the amplifier's ground drops three times as much
with tempfile.TemporaryDirectory() as folder:
    plain = vehicle("ground_loop")
    probed = vehicle("ground_loop", amplifier={"ground_mohm": 30})
    held = ("--engine", "raised", "--seconds", "8")
    document = noise(capture(folder, [(plain, "plain", "left,right", *held), (probed, "probe", "left,supply", *held)]))
    transfer = over(document["results"], "supply")
    check.that("probe_spoils" in codes(document) and transfer and transfer["spoilt"] and transfer["twin"] == "takes/plain.flac", f"a probe that spoils is found out: {codes(document)}")

# ---- what can't be used: each in plain words, no result, no crash
LONG = 5
turn = speed(LONG, 0.015)


def whine(size):
    return turning(1300, turn, size) + turning(2600, turn, size / 4, phase=1.0) + turning(1300 / 6, turn, size / 5, phase=2.0)


left, supply = whine(0.02) + hiss(LONG, 1e-4), whine(0.2) + hiss(LONG, 1e-4, seed=5)
rest = hiss(LONG, 1e-4, seed=7)
idle = {"engine": "idle", "volume": 0}


def told(channels, sounds, interface=None, engine="idle", faults=()):
    with tempfile.TemporaryDirectory() as top:
        make_job(top + "/job", {"off": ({"engine": "off", "volume": 0, "channels": ["left"]}, [rest]), "plain": (idle, [left, left]), "probe": ({**idle, "engine": engine, "channels": channels, "faults": list(faults)}, sounds)},
                 interface=interface or {"volts_full_scale": VOLTS, "amps_per_volt": AMPS_PER_VOLT})
        return noise(top + "/job")


for what, code, arguments in (
        ("a silent probe", "supply_silent", (["left", "supply"], [left, 0 * supply])),
        ("an overloaded probe", "supply_overloaded", (["left", "supply"], [left, np.clip(9 * supply, -1, 1)])),
        ("an overload that the capture marked", "take_overloaded", (["left", "supply"], [left, supply], None, "idle", ["overload"])),
        ("a clamp without a scale", "clamp_scale_unknown", (["left", "supply_current"], [left, supply], {"volts_full_scale": VOLTS})),
        ("the supply alone", "supply_alone", (["supply"], [supply])),
        ("noise that isn't followed", "supply_no_lines", (["left", "supply"], [hiss(LONG, 1e-4), supply])),
        ("a supply that has nothing in common", "supply_not_common", (["left", "supply"], [left, hiss(LONG, 1e-2, seed=9)])),
        ("takes with the engine off alone", "supply_engine_off", (["left", "supply"], [hiss(LONG, 1e-4), supply], None, "off")),
        ("a supply that is no number", "take_unreadable", (["left", "supply"], [left, np.where(np.arange(left.size) == 999, np.nan, supply)])),
        ("a feed without lines", "supply_no_lines", (["supply", "supply_current"], [hiss(LONG, 1e-3), hiss(LONG, 1e-3, seed=6)])),
        ("a feed that is no inductance", "feed_not_read", (["supply", "supply_current"], [supply, 2 * supply])),
        ("a feed that isn't calibrated", "feed_not_calibrated", (["supply", "supply_current"], [supply, supply], {"amps_per_volt": 10}))):
    document = told(*arguments)
    results = document["results"]
    check.that(code in codes(document) and not results["supply_transfers"] and not results["feed_impedances"], f"{what}: {codes(document)}")
document = told(["left", "supply"], [left, supply], {"amps_per_volt": 10})
transfer = over(document["results"], "supply")
if that(transfer and not transfer["calibrated"] and transfer["twin"] == "takes/plain.wav", f"not calibrated: a ratio of sample values {codes(document)}"):
    check.that(all(abs(p["ratio_db"] + 20) < max(0.2, 3 * p["sd_db"]) and p["coherence"] > 0.9 for p in transfer["points"]), f"a tenth is -20 dB: {transfer['points']}")
    check.that(abs(transfer["slope_db_per_decade"]["value"]) < 1.5 and transfer["shared_mohm"] is None, f"its slope holds: {transfer['slope_db_per_decade']}")

check.end()
