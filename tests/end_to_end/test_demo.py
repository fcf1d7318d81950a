"""The demo, judged by the scenario's own numbers and by hand formulas: whine, hum, ceiling, amplifier, page."""
import json
import math
import os
import pathlib
import sys
import tempfile

import kept_results
from sounds import Checks, run

program = sys.argv[1]
scenario = json.loads(pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"], "signals/three_faults.json").read_text())
check = Checks()
with tempfile.TemporaryDirectory() as top:
    text = run(program, "demo", "--out", top + "/demo", timeout=280)
    job = top + "/demo/job"
    record = json.loads(pathlib.Path(job, "records/record.json").read_text())
    noise, gain = record["results"]["noise"], record["results"]["gain"]
    kept_results.held(check, "whole_job", record)
    pages = list(pathlib.Path(job, "records").glob("*.html"))
    check.that(len(pages) == 1 and str(pages[0].name) in text and "Try next" in text, "it ends by saying where the page is and what to try")
    page = pages[0].read_text()
    check.that("<script" not in page and "http://" not in page.replace("http://www.w3.org", ""), "the page needs no script and no network")

sources = noise["noise_sources"]
alternator = scenario["vehicle"]["alternator"]
constant = alternator["pole_pairs"] * alternator["pulley_ratio"] / 10       # six pulses: p r N / 10 hertz
whine = [s for s in sources if s["kind"] == "alternator_whine"]
check.that(len(whine) == 1, f"one whine: {[s['kind'] for s in sources]}")
if whine:
    takes = {pathlib.Path(t).stem for t in whine[0]["takes"]}
    check.that({"idle", "raised"} <= takes and "engine-off" not in takes, f"in the running takes: {takes}")
    ends = [constant * scenario["vehicle"]["engine"]["idle_rpm"] * x for x in (0.97, 1.12)]     # loads lift the idle a little
    at_2000 = constant * 2000
    f = whine[0]["frequency_hz"]
    check.that(ends[0] < f < ends[1] or abs(f / at_2000 - 1) < 0.015, f"at p r N / 10: {f}")
    check.that(whine[0]["confidence"] > 0.7, f"sure of it: {whine[0]['confidence']}")
hum = [s for s in sources if s["kind"] == "mains_hum"]
check.that(len(hum) == 1 and abs(hum[0]["frequency_hz"] - scenario["vehicle"]["mains_hz"]) < 0.2, f"mains hum: {hum[:1]}")
if hum:
    check.that({pathlib.Path(t).stem for t in hum[0]["takes"]} == {"laptop-on-mains"}, f"only with the adapter in: {hum[0]['takes']}")
check.that(not [s for s in sources if s["kind"] == "ignition_tick" and s["confidence"] > 0.9 and "engine-off" in str(s["takes"])], "no ignition at rest")
for s in sources:
    print(f"      {s['kind']:18} {s['frequency_hz']} Hz  {s['level_dbv']} dBV  {s['confidence']}  {s['takes']}")

# the highest step whose sine stays within 0.251 dB of the lower rail: 1 % THD, tests/reference/clipped_sine.csv
source = scenario["source"]
law = source["volume"]
rail = min(source["left"]["positive_rail_v"], -source["left"]["negative_rail_v"])


def source_v(volume):
    return source["full_scale_v"] * 10 ** (-(law["top"] - volume) * law["db_per_step"] / 20)


steps = [20, 24, 28, 30, 32, 33, 34, 35, 36, 37, 38, 40]
truth = max(v for v in steps if 20 * math.log10(source_v(v) * math.sqrt(2) / rail) < 0.251)
ceiling = gain["ceiling"]
check.that(ceiling is not None and ceiling["volume"] == truth, f"the ceiling is volume {truth}: {ceiling}")
if ceiling:
    loaded = source_v(truth) * scenario["amplifier"]["input_ohm"] / (scenario["amplifier"]["input_ohm"] + source["output_ohm"])
    check.near(ceiling["level_v"], loaded, 0.02 * loaded, "its voltage at the amplifier's input")
for amplifier, setting in zip(scenario["amplifiers"], gain["amplifiers"]):
    target = math.sqrt(amplifier["power_w"] * amplifier["load_ohm"])
    check.near(setting["target_output_v"], target, 0.01, f"{amplifier['name']}: target output is sqrt(P R)")
    # the engine-off floor through that gain; the set-up's own noise, 8 dB down, is taken off in both
    floor = [f for f in noise["floor"] if "engine-off" in f["take"]][0]["unweighted_dbv"]
    check.near(setting["noise_at_output_dbv"], floor + setting["gain_db"], 0.6, f"{amplifier['name']}: noise at its output")
for s in [s for s in sources if s["kind"] in ("unexplained_tone", "motor_whine") and s["level_dbv"] < -104 - 6]:
    check.that(not [a for a in noise["actions"] if a["source_id"] == s["id"]], f"nothing to do about what nobody hears: {s['id']}")
check.that(len({a["action"] for a in noise["actions"]}) == len(noise["actions"]), "no action is said twice")
check.end()
