"""A tone that the source plays from a stick gives the same answers as one played live, whatever its clock: the simulated vehicle,
through the whole program.
"""
import json
import math
import os
import pathlib
import sys
import tempfile

from sounds import Checks, run

program = sys.argv[1]
signals = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / "signals"
check = Checks()
VOLUMES = "30,32,34,36,37,38,39,40"


def vehicle(folder, clock_ppm):
    """A copy of the healthy one with this source clock: its output meets the rails below the scale's top, the right one first, and
    the interface's output is as loud as the line input's 0 dBFS."""
    data = json.loads((signals / "healthy.json").read_text())
    data["source"]["clock_ppm"] = clock_ppm
    data["interface"]["clock_ppm"] = 0
    data["interface"]["output_full_scale_v"] = data["source"]["line_full_scale_v"]
    data["source"]["full_scale_v"] = 5.4
    data["source"]["right"]["positive_rail_v"] = 5.6
    path = os.path.join(folder, f"vehicle_{clock_ppm}.json")
    with open(path, "w") as file:
        json.dump(data, file)
    return path


def gain_of(folder, name, vehicle_file, *how):
    job = os.path.join(folder, name)
    run(program, "job", "--job", job, "--new", "--title", name)
    captured = json.loads(run(program, "capture", "--job", job, "--simulate", vehicle_file, "--meter", "--engine", "off", "--tone", "sine", "--level",
                              "0", "--volume-steps", VOLUMES, "--step-seconds", "1.2", "--seconds", "13.5", "--name", "steps", "--json", *how))
    return captured["results"], json.loads(run(program, "gain", "--job", job, "--json"))["results"]


with tempfile.TemporaryDirectory() as folder:
    files = {}
    for rate in (44100, 48000):
        files[rate] = os.path.join(folder, f"tone_{rate}.wav")
        run(program, "tones", "sine", "--level", "0", "--duration", "10.2", "--rate", rate, "--out", files[rate])
    _, live = gain_of(folder, "live", vehicle(folder, 0), "--via", "interface", "--max-level", "0")
    check.that(live["ceiling"] is not None, f"live: {live['ceiling_text']}")
    # healthy.json: 1.25 dB a number, both channels alike; of a sine of 5.4 V rms rails of 5.6 and 6.2 V leave the mean of the clipped
    # sine's first Fourier coefficients, 2/pi (asin r + r sqrt(1 - r^2)) with r = rail / (5.4 sqrt 2)
    check.near(live["volume_law"]["rise_db"], 1.25, 0.01, "the volume's law")
    check.that(live["volume_law"]["even"], "it is even")
    check.near(live["balances"][0]["balance_db"], 20 * math.log10(7.03 / 7.0), 0.02, "left against right, by the interface's two scales")
    left_by = [2 / math.pi * (math.asin(r) + r * math.sqrt(1 - r * r)) for r in (rail / (5.4 * math.sqrt(2)) for rail in (5.6, 6.2))]
    lost_db = -20 * math.log10(sum(left_by) / 2)
    check.near(live["curves"][1]["steps"][-1]["compression_db"], lost_db, 0.05, "compression at the top of the scale, right")
    for clock_ppm, rate in ((200, 44100), (-200, 48000), (0, 44100)):
        captured, stick = gain_of(folder, f"stick{clock_ppm}_{rate}", vehicle(folder, clock_ppm), "--via", "stick", "--played", files[rate])
        name = f"stick, {clock_ppm} ppm, {rate} Hz"
        check.near(captured["tone_file"]["clock_ppm"], -clock_ppm, 1.0, f"{name}: clock by the markers")
        check.near(stick["curves"][0]["clock_ppm"], clock_ppm, 1.0, f"{name}: clock by the tone")
        for key in ("volume", "channel", "step"):
            check.that(stick["ceiling"][key] == live["ceiling"][key], f"{name}: {key} {stick['ceiling'][key]}, live {live['ceiling'][key]}")
        for mine, theirs in zip(stick["curves"], live["curves"]):
            check.that([s["volume"] for s in mine["steps"]] == [s["volume"] for s in theirs["steps"]], f"{name}, {mine['channel']}: the same volumes")
            apart = max(abs(a["level_dbfs"] - b["level_dbfs"]) for a, b in zip(mine["steps"], theirs["steps"]))
            check.that(apart <= 0.02, f"{name}, {mine['channel']}: levels within {apart:.3f} dB")
            over = [(a["thd_percent"], b["thd_percent"]) for a, b in zip(mine["steps"], theirs["steps"]) if b["thd_percent"] > 0.3]
            check.that(len(over) > 0 and all(abs(a / b - 1) < 0.02 for a, b in over), f"{name}, {mine['channel']}: THD over the rail {over}")
        for mine, theirs in zip(stick["ceilings"], live["ceilings"]):
            check.near(mine["knee_dbfs"], theirs["knee_dbfs"], 0.02, f"{name}, {mine['channel']}: where clipping begins")
        check.near(stick["volume_law"]["rise_db"], live["volume_law"]["rise_db"], 0.01, f"{name}: the volume's law")
check.end()
