"""Random simulated vehicles whose noise gets in by one known way or by two: scenarios of the simulation, drawn from its circuit.

The ten paths are alike likely, the three mechanisms of pick-up share their path's chance, and a fifth of the vehicles have two ways. The
noise is the alternator's whine, or a fan's pulses that turn with no engine; of `source_internal` a tone, of `measuring_setup` at times hum.
"""
import argparse

import numpy as np

PATHS = (("ground_loop",), ("pickup_loop", "pickup_lead", "pickup_capacitive"), ("source_supply",), ("source_internal",), ("source_shield_open",),
         ("contact",), ("antenna_lead",), ("amplifier_internal",), ("speaker_side",), ("measuring_setup",))
WAYS = tuple(way for path in PATHS for way in path)
BEHIND = ("amplifier_internal", "speaker_side")
SHIELD_LOOP = ("ground_loop", "pickup_loop", "antenna_lead", "contact")


def spread(rng, low, high):
    """Log-uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def healthy(rng):
    return {
        "schema": "hushtrace.vehicle/1", "title": "population", "complaint": "noise",
        "vehicle": {"description": "drawn at random", "cylinders": int(rng.choice([3, 4, 5, 6])), "mains_hz": int(rng.choice([50, 60])),
                    "base_load_a": float(rng.uniform(15, 45)), "battery_mohm": spread(rng, 5, 12), "body_mohm": 0.02,
                    "engine": {"idle_rpm": float(rng.uniform(650, 900)), "idle_wander_percent": spread(rng, 0.5, 2.5)},
                    "alternator": {"pole_pairs": int(rng.choice([6, 6, 7, 8])), "pulley_ratio": float(rng.uniform(2.2, 3.0)), "rated_a": 110}},
        "loads": [{"name": "headlights", "current_a": 11}, {"name": "rear_defogger", "current_a": 18},
                  {"name": "fan", "current_a": float(rng.uniform(8, 16)), "pwm": {"frequency_hz": float(rng.uniform(150, 400)), "duty": float(rng.uniform(0.3, 0.7))}}],
        "devices": [],
        "source": {"description": "head unit", "preout_v": 4, "volume": {"top": 40, "db_per_step": 1.25}, "full_scale_v": 4.5,
                   "left": {"positive_rail_v": 6, "negative_rail_v": -6}, "right": {"positive_rail_v": 6, "negative_rail_v": -6},
                   "noise_dbv": -100, "clock_ppm": 20, "ground_mohm": spread(rng, 0.5, 2), "shell_to_case_ohm": spread(rng, 0.01, 0.04),
                   "supply_rejection_db": 120, "supply_rejection_corner_hz": 20000},
        "lead": {"signal_m": float(rng.uniform(4, 6)), "separation_m": 0.6, "parallel_m": 2, "above_metal_m": 0.01, "shield_ohm": spread(rng, 0.05, 0.2),
                 "core_offset_mm": 0.02, "right_over_left": float(rng.uniform(0.85, 1.0))},
        "feed": {"length_m": float(rng.uniform(4.5, 6)), "area_mm2": float(rng.choice([13.3, 21.2, 33.6]))},
        "amplifier": {"shell_to_ground_ohm": 470, "ground_mohm": spread(rng, 0.3, 1.0)},
        "laptop": {"leakage_ua": 1},
        "interface": {"volts_full_scale": [7.0, 7.0], "own_noise_dbv": -106, "clock_ppm": -12, "input": "floating"},
    }


class Drawn:
    """A scenario, what its takes have in common, and the tones of the noise (none: it is what the supply carries)."""

    def __init__(self, scenario, ways, common=None, tones_hz=(), fan=False):
        self.scenario, self.ways, self.common, self.tones_hz, self.fan = scenario, tuple(ways), dict(common or {}), tuple(tones_hz), fan

    @property
    def sides(self):
        """The louder channel first."""
        contact = self.scenario["lead"].get("contact")
        return ("right", "left") if contact and contact["side"] == "right" else ("left", "right")

    @property
    def follows_engine(self):
        return not self.tones_hz and not self.fan


def put_in(rng, v, way, common):
    """Puts one fault into a scenario; returns the tones of a noise that the supply doesn't carry."""
    source, lead, amplifier = v["source"], v["lead"], v["amplifier"]
    if way == "ground_loop":
        amplifier |= {"shell_to_ground_ohm": spread(rng, 0.02, 0.3), "ground_mohm": spread(rng, 6, 25)}
    elif way == "pickup_loop":
        amplifier |= {"shell_to_ground_ohm": spread(rng, 0.02, 0.05), "ground_mohm": 0.05}
        v["vehicle"]["body_mohm"] = 0.002
        source["ground_mohm"] = 0.05
        lead |= {"separation_m": spread(rng, 0.015, 0.05), "parallel_m": float(rng.uniform(3, 4)), "above_metal_m": spread(rng, 0.02, 0.06)}
    elif way == "pickup_lead":
        lead |= {"separation_m": spread(rng, 0.008, 0.02), "parallel_m": float(rng.uniform(2.5, 4)), "core_offset_mm": spread(rng, 1.5, 4)}
    elif way == "pickup_capacitive":
        lead |= {"separation_m": min(0.05, lead["separation_m"]), "parallel_m": 3.5, "stray_pf": spread(rng, 200, 1500)}
    elif way == "source_supply":
        source |= {"supply_rejection_db": float(rng.uniform(25, 45)), "supply_rejection_corner_hz": 3000, "supply_before_volume": bool(rng.random() < 0.5)}
    elif way == "source_internal":
        hz = float(rng.uniform(300, 900))
        source["internal_lines"] = [{"frequency_hz": hz, "level_dbv": float(rng.uniform(-95, -75))}]
        return (hz,)
    elif way == "source_shield_open":
        source["shell_to_case_ohm"] = spread(rng, 300, 1e5)
        amplifier |= {"ground_mohm": spread(rng, 2, 8), "shell_to_ground_ohm": spread(rng, 0.1, 10)}
    elif way == "contact":
        # an input whose shell stands on some ohms: the joint's own ohms decide what of the ground's voltage falls in the signal's way
        amplifier |= {"shell_to_ground_ohm": spread(rng, 5, 100), "ground_mohm": max(amplifier["ground_mohm"], spread(rng, 2, 8))}
        lead["contact"] = {"ohm": spread(rng, 0.7, 6), "wander_percent": float(rng.uniform(25, 60)), "events_per_minute": float(rng.uniform(5, 30)),
                           "place": str(rng.choice(["shell_at_source", "shell_at_amp"])), "side": str(rng.choice(["left", "right"]))}
    elif way == "antenna_lead":
        source |= {"antenna": {"shield_ohm": spread(rng, 0.1, 0.3), "base_mohm": spread(rng, 300, 1000)}, "ground_mohm": spread(rng, 8, 25)}
        amplifier |= {"shell_to_ground_ohm": spread(rng, 0.02, 0.2), "ground_mohm": 0.03}
        v["vehicle"]["body_mohm"] = 0.002
    elif way == "amplifier_internal":
        amplifier |= {"supply_rejection_db": float(rng.uniform(20, 45))}   # current inside its input is a ground loop's as well: two ways
    elif way == "speaker_side":
        v["speaker_leads"] = {"length_m": float(rng.uniform(3, 6)), "separation_m": spread(rng, 0.006, 0.03), "spacing_mm": float(rng.uniform(3, 8))}
    elif way == "measuring_setup":
        v["interface"]["input"] = "grounded"
        if common is not None and common.get("hum"):
            v["laptop"] = {"leakage_ua": spread(rng, 60, 200), "earth_ohm": spread(rng, 0.2, 1), "earth_difference_mv": spread(rng, 20, 200)}
            common["laptop"] = "mains"
            return tuple(float(v["vehicle"]["mains_hz"] * k) for k in (1, 3, 5, 7))
        v["laptop"] = {"leakage_ua": 1, "socket_ground_mohm": spread(rng, 20, 200)}
        common["laptop"] = "vehicle"
    return ()


def draw_ways(rng, pairs=0.2):
    """Ways of a vehicle: paths alike likely, a fifth with two of different paths that one circuit can have."""
    two = rng.random() < pairs
    while True:
        first, second = (PATHS[k] for k in rng.choice(len(PATHS), 2, replace=False))
        first, second = str(rng.choice(first)), str(rng.choice(second))
        if not two:
            return (first,)
        if "measuring_setup" in (first, second):
            continue   # a fed laptop shorts a part of what drives the lead's shield: two such ways don't add, and it is excluded first
        if "source_internal" in (first, second):
            continue   # its tone is a noise source of its own: no other way carries it
        if "source_shield_open" in (first, second) and set((first, second)) & set(SHIELD_LOOP):
            continue   # an open link stops the current that the other needs
        return tuple(sorted((first, second), key=WAYS.index))


def draw(seed, ways):
    """A vehicle with these ways; each way's figures come from the seed alone, whatever others there are."""
    rng = np.random.default_rng([*seed, 99])
    v, common = healthy(rng), {}
    if "measuring_setup" in ways and len(ways) == 1 and rng.random() < 0.5:
        common["hum"] = True   # else the laptop's adapter in the vehicle's socket brings the whine along
    tones = ()
    # what makes its own ground good comes first
    for way in sorted(ways, key=lambda w: ("pickup_loop", "antenna_lead").index(w) if w in ("pickup_loop", "antenna_lead") else 9):
        tones += put_in(np.random.default_rng([*seed, WAYS.index(way)]), v, way, common)
    common.pop("hum", None)
    fan = not tones and "measuring_setup" not in ways and rng.random() < 0.3
    return Drawn(v, ways, common, tones, fan)


def asked_of_population():
    """The words of a population's command line."""
    options = argparse.ArgumentParser()
    options.add_argument("program")
    options.add_argument("count", type=int)
    options.add_argument("seed", type=int)
    options.add_argument("--keep")
    options.add_argument("--show", action="store_true")
    options.add_argument("--way")
    return options.parse_args()
