"""A factory radio with a split band, whose bass falls as the volume rises, stepped by a hand (a knob script): what the gain command
says of it, against the numbers in its scenario file. The program's analysis reads none of them.
"""
import json
import os
import pathlib
import re
import sys
import tempfile

import numpy as np
from sounds import Checks, run

program = sys.argv[1]
scenario_file = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / "signals" / "factory_radio.json"
source = json.loads(scenario_file.read_text())["source"]
check = Checks()
VOLUMES = [12, 16, 20, 24, 28, 32, 34, 36]
LOW_HZ, HIGH_HZ = 45, 997


def hand(path):
    """Uneven pauses, an overshoot at 24, a step back at 32, turned down at the end."""
    lines, now = ["0 12"], 2.1
    for volume, hold in zip(VOLUMES, (1.3, 1.0, 1.6, 1.2, 1.0, 1.4, 1.1, 1.2)):
        if volume == 24:
            lines.append(f"{now:.2f} 28")
            now += 0.3
        lines.append(f"{now:.2f} {volume}")
        now += hold
        if volume == 32:
            lines += [f"{now:.2f} 28", f"{now + 1.1:.2f} 32"]
            now += 2.3
    lines.append(f"{now:.2f} 5")
    path.write_text("\n".join(lines))
    return now + 1.3


with tempfile.TemporaryDirectory() as top:
    folder = pathlib.Path(top)
    seconds = hand(folder / "hand.txt")
    job = folder / "radio"
    run(program, "job", "--job", job, "--new", "--title", "factory radio")
    for hz, channels in ((HIGH_HZ, "left,right"), (LOW_HZ, "sub,left")):
        tone = folder / f"tone_{hz}.wav"
        run(program, "tones", "sine", "--frequency", hz, "--level", "0", "--duration", "25", "--out", tone)
        run(program, "capture", "--job", job, "--simulate", scenario_file, "--meter", "--engine", "off", "--tone", "sine", "--frequency", hz,
            "--level", "0", "--via", "stick", "--played", tone, "--channels", channels, "--volume-steps", ",".join(map(str, VOLUMES)),
            "--knob-script", folder / "hand.txt", "--seconds", f"{seconds:.1f}", "--name", f"tone_{hz}")
    done = json.loads(run(program, "gain", "--job", job, "--json"))
    results, warnings = done["results"], done["warnings"]
    said = [(w["code"], w["text"]) for w in warnings]
    for w in warnings:
        print(w["code"], w.get("take"), w["text"])
    print(results["ceiling_text"])

    for curve in results["curves"]:
        if curve["steps"]:
            volumes = sorted({s["volume"] for s in curve["steps"] if s["volume"] is not None})
            check.that(volumes == VOLUMES, f"{curve['channel']} {curve['tone_hz']:g} Hz: volumes {volumes}")
    law = results["volume_law"]
    check.that(law["tone_hz"] == HIGH_HZ and law["even"], "the law comes from the high tone, and is even")
    check.near(law["rise_db"], source["volume"]["db_per_step"], 0.02, "what a volume number is worth")
    check.that(any(code == "bass_falls" and text.startswith("sub") for code, text in said), "the sub output's bass falls as the volume rises")
    # a shelf an octave below its corner gives most of its gain: the fall lies between three quarters of the table's and all of it
    volumes, gains_db = zip(*source["volume_bass"]["table_db"])
    table_db = float(np.interp(VOLUMES[0], volumes, gains_db) - np.interp(VOLUMES[-1], volumes, gains_db))
    told_db = next((float(re.search(r"rises ([\d.]+) dB less", text).group(1)) for code, text in said if code == "bass_falls"), 0.0)
    check.that(0.75 * table_db < told_db < table_db, f"by {told_db} dB, where the table at full effect says {table_db:.1f}")
    check.that(not any(code in ("limiter", "level_lags") for code, _ in said), "that isn't called a limiter")
    check.that(any(code == "crossover" and text.startswith("left") for code, text in said), "left holds the low tone back: a crossover")
    # below its rails this source is clean; the sine at full_scale_v meets them where 4.6 V / sqrt 2 = 3.25 V: never
    check.that(results["ceiling"] is None and results["ceiling_reason"] == "never_clips", f"never clips: {results['ceiling_reason']}")
check.end()
