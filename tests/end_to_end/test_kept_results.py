"""The same sound, the same results: what the program says of simulated vehicles and of made-up sounds is held against what was kept in kept_results/.

What is true stands in the other tests, which hold it against standards, closed forms and circuits. Here stands what is said at all, so that no
figure moves unseen. Where one is meant to move, `test_kept_results.py PROGRAM --all --renew` (or the names of scenes for `--all`) writes the
files anew, and the change is read in them. Without `--all` or names the scenes that reach furthest are held.
"""
import json
import os
import pathlib
import sys
import tempfile

import kept_results
import numpy as np
from sounds import Checks, run

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "bench"))
import kinds_population  # noqa: E402

program = sys.argv[1]
signals = os.path.join(os.environ["HUSHTRACE_SOURCE_DIR"], "signals")
check = Checks()
FRONT = ("--amplifier", "front,power_w=75,load_ohm=4,allowance_db=5,bridged_output=no,input=line", "--source-output", "line")


class Shop:
    def __init__(self, folder, vehicle, *description):
        self.job, self.vehicle, self.folder = f"{folder}/job", vehicle, folder
        run(program, "job", "--job", self.job, "--new", "--title", "kept", *description)

    def take(self, name, *words):
        run(program, "capture", "--job", self.job, "--simulate", self.vehicle, "--name", name, "--format", "wav", *words)

    def tone(self, name, *words):
        run(program, "tones", *words, "--out", f"{self.folder}/{name}.wav")
        return "--via", "stick", "--played", f"{self.folder}/{name}.wav"

    def told(self, command):
        return json.loads(run(program, command, "--job", self.job, "--json"))


def whole_job(folder):
    """Calibration, floor, engine off, idle and raised, the hum of a laptop, the source's steps; all commands in one record. test_demo.py holds it, too."""
    run(program, "demo", "--out", folder + "/demo")
    with open(folder + "/demo/job/records/record.json") as file:
        return json.load(file)


def radio(folder):
    """A factory radio that shapes, turns and divides."""
    shop = Shop(folder, "factory_radio", "--limits", "balance_db=1,crosstalk_1khz_db=-60,same_polarity=yes")
    sides = {side: shop.tone(side, "sweep", "--duration", 3, "--level", -20, "--channel", side, "--bits", 24) for side in ("both", "left", "right")}
    sweep = ("--tone", "sweep", "--duration", 3, "--level", -20, "--engine", "off")
    shop.take("v12", "--meter", "--volume", 12, *sweep, *sides["both"])
    shop.take("v36", "--volume", 36, *sweep, *sides["both"])
    for side in ("left", "right"):
        shop.take(side, "--volume", 28, *sweep, *sides[side], "--tone-channel", side)
    shop.take("sub", "--volume", 28, "--channels", "left,sub", *sweep, *sides["both"])
    shop.take("pulse", "--volume", 28, "--tone", "polarity_pulse", *shop.tone("pulse", "polarity_pulse"), "--engine", "off")
    shop.take("pink", "--volume", 28, "--tone", "pink", *shop.tone("pink", "pink", "--duration", 6), "--engine", "off")
    shop.take("pair", "--volume", 28, "--tone", "two_tone", *shop.tone("pair", "two_tone"), "--engine", "off")
    shop.take("quiet", "--volume", 28, "--seconds", 3, "--engine", "off")
    return shop.told("chain")


def probe(folder):
    """The supply as probe: voltage, current, both, and the twin without."""
    with open(os.path.join(signals, "ground_loop.json")) as file:
        vehicle = json.load(file)
    vehicle["interface"]["amps_per_volt"] = 10.0
    with open(folder + "/vehicle.json", "w") as file:
        json.dump(vehicle, file)
    shop = Shop(folder, folder + "/vehicle.json")
    sweep = ("--decline-ground-check", "simulated", "--engine", "sweep", "--seconds", 10, "--volume", 0, "--laptop", "battery")
    shop.take("voltage", "--meter", "--channels", "left,supply", *sweep)
    shop.take("current", "--channels", "left,supply_current", *sweep)
    shop.take("feed", "--channels", "supply,supply_current", *sweep)
    shop.take("twin", "--channels", "left,right", *sweep)
    return shop.told("noise")


def entry(folder):
    """A ground loop's tests, one hookup after the other."""
    shop = Shop(folder, "ground_loop")
    at = ("--engine", "idle", "--laptop", "battery", "--volume", 20, "--source", "on", "--input", "usb", "--seconds", 6)
    shop.take("idle", "--meter", *at)
    shop.take("rest", *at[2:], "--engine", "off")
    for hookup in ("inputs_shorted", "temporary_lead", "temporary_ground", "isolator"):
        shop.take(hookup, *at, "--hookup", hookup)
    return shop.told("noise")


def diesel(folder):
    """Two sets of windings, at idle, higher, and while the engine sweeps; a log of its speed for one of them."""
    shop = Shop(folder, "two_set_diesel")
    shop.take("idle", "--meter", "--engine", "idle", "--seconds", 8)
    shop.take("raised", "--engine", "raised", "--seconds", 8)
    shop.take("sweep", "--engine", "sweep", "--seconds", 10)
    return shop.told("noise")


def charger(folder):
    """A charger in the socket, what else is switched on, and a broken contact beside it."""
    shop = Shop(folder, "socket_charger")
    shop.take("with", "--meter", "--engine", "idle", "--attached", "charger:vehicle", "--seconds", 8)
    shop.take("without", "--engine", "idle", "--seconds", 8)
    shop.take("loads", "--engine", "key_on", "--loads", "fuel_pump", "--seconds", 8)
    return shop.told("noise")


def ill_alternator(folder):
    shop = Shop(folder, "diode_open")
    shop.take("idle", "--meter", "--engine", "idle", "--seconds", 10)
    shop.take("off", "--engine", "off", "--seconds", 6)
    return shop.told("noise")


def clipping(folder):
    """Steps of a source that meets its rails, with the tone's pauses and without, and two tones."""
    shop = Shop(folder, "early_clipping", *FRONT)
    shop.take("steps", "--meter", "--tone", "sine", "--level", 0, "--volume-steps", "30,38,42,44,45,46,48", "--step-seconds", 2,
              *shop.tone("sine", "sine", "--level", 0, "--duration", 16), "--engine", "off")
    shop.take("low", "--tone", "sine", "--frequency", 60, "--level", 0, "--volume-steps", "40,44,46", "--step-seconds", 3,
              *shop.tone("low", "sine", "--frequency", 60, "--level", 0, "--duration", 12), "--engine", "off")
    return shop.told("gain")


def loads(folder):
    """What is switched on, one after the other, the ignition on and the engine at rest."""
    shop = Shop(folder, "ground_loop")
    shop.take("none", "--meter", "--engine", "key_on", "--seconds", 6)
    for load in ("headlights", "dash_dimmer", "blower"):
        shop.take(load, "--engine", "key_on", "--loads", load, "--seconds", 6)
    return shop.told("noise")


def behind_the_input(folder):
    """An amplifier that lets the ripple of its supply through, at its input and its output."""
    shop = Shop(folder, "amplifier_supply", *FRONT)
    shop.take("input", "--meter", "--engine", "idle", "--seconds", 6)
    for name, engine in (("output", "idle"), ("rest", "off")):
        shop.take(name, "--engine", engine, "--point", "amp_output", "--attenuation-db", "20,20", "--seconds", 6)
    return shop.told("noise")


def strangers(seed, *kinds):
    """Sounds of these kinds, made with NumPy, some 30 dB over what a detector that knows them needs."""
    def scene(folder):
        drawn = kinds_population.Vehicle(np.random.default_rng(seed), kinds, lambda kind: 30.0, rates=(48000,))
        kinds_population.write_job(folder + "/job", drawn)
        return json.loads(run(program, "noise", "--job", folder + "/job", "--json"))
    scene.__name__ = f"strangers_{seed}"
    return scene


SCENES = (ill_alternator, clipping, behind_the_input, diesel, charger, loads, entry, probe, radio, whole_job,
          strangers(1, "mains_hum", "switched_load", "phone_burst", "unexplained_tone"), strangers(2, "motor_whine", "bus_tone", "crackle"),
          strangers(3, "alternator_whine", "ignition_tick", "motor_whine"),
          strangers(4, "converter_hash", "periodic_tick", "mains_hum", "motor_whine"))
FURTHEST = ("clipping", "behind_the_input", "probe", "radio", "strangers_4")
asked = [word for word in sys.argv[2:] if not word.startswith("--")] or FURTHEST
unknown = [name for name in asked if name not in [one.__name__ for one in SCENES]]
check.that(not unknown, f"scenes that there aren't: {unknown}")
for scene in [one for one in SCENES if "--all" in sys.argv or one.__name__ in asked]:
    with tempfile.TemporaryDirectory(prefix="hushtrace-kept-") as top:
        document = scene(top)
    if "--renew" in sys.argv:
        kept_results.renew(scene.__name__, document)
        continue
    kept_results.held(check, scene.__name__, document)
if "--renew" not in sys.argv:
    check.end()
