"""Each noise source as sound of its own: taken out along its track, adding up to the take, with a playlist and a page."""
import json
import os
import re
import sys
import tempfile
from html.parser import HTMLParser

import numpy as np
from scipy.io import wavfile
from scipy.signal import welch

from sounds import RATE, Checks, clicks, hiss, make_job, run, speed, tone, turning

program = sys.argv[1]
check = Checks()


def power_db(x):
    return 10 * np.log10(np.mean(np.square(x)))


idle = speed(7, 0.018, seed=11)
whine = turning(1240, idle, 0.004) + turning(2480, idle, 0.0015)
hum = sum(tone(50.02 * h, 7, 0.003 / h) for h in (1, 2, 3, 5))
ticks = clicks(25, idle, 0.05)
floor = [hiss(7, 2e-4, seed=22), hiss(7, 2e-4, seed=24)]
idle_take = [whine + hum + ticks + floor[0], 0.7 * (whine + hum + ticks) + floor[1]]
off = [hiss(5, 1.5e-4, seed=21), hiss(5, 1.5e-4, seed=23)]
with tempfile.TemporaryDirectory() as top:
    job = top + "/job"
    make_job(job, {"off": ({"engine": "off"}, off),
                   "idle & <more>": ({"engine": "idle", "rpm": 750}, idle_take)},
             vehicle={"cylinders": 4, "mains_hz": 50}, interface={"volts_full_scale": [7.0, 7.0]}, source={"preout_v": 4.0},
             amplifiers=[{"name": "front", "power_w": 75, "load_ohm": 4}],
             speakers=[{"amplifier": "front", "sensitivity_db_2v83_1m": 90, "distance_m": 1.5}])
    result = json.loads(run(program, "noise", "--job", job, "--hear", top + "/heard", "--json"))["results"]
    sources = {s["kind"]: s["id"] for s in result["noise_sources"]}
    check.that({"alternator_whine", "mains_hum", "ignition_tick", "hiss"} <= set(sources), f"found: {sorted(sources)}")
    files = result["heard"]["files"]
    check.that(all(os.path.isfile(os.path.join(top, "heard", f["file"])) for f in files), "all that is listed is there")
    rate, running = wavfile.read(f"{job}/takes/idle & <more>.wav")

    parts = {}
    for kind, name in sources.items():
        pair = {f["what"]: wavfile.read(os.path.join(top, "heard", f["file"])) for f in files if f["exact"] and f["source_id"] == name}
        check.that(set(pair) == {"alone", "without"}, f"{kind}: a pair")
        if len(pair) < 2:
            continue
        alone, without = pair["alone"][1], pair["without"][1]
        of = next(f["take"] for f in files if f["source_id"] == name)
        take = wavfile.read(f"{job}/{of}")[1]
        check.that(pair["alone"][0] == rate and alone.shape == take.shape, f"{kind}: rate, channels and length of the take")
        parts[kind] = alone
        worst = np.abs(alone.astype(float) + without.astype(float) - take).max()
        check.that(worst <= 2 ** -24 * np.abs(take).max(), f"{kind}: both add up to the take within {worst:.1e}")
    for kind, truth, margin in (("alternator_whine", whine, 0.3), ("mains_hum", hum, 0.3), ("ignition_tick", ticks, 0.5)):
        if kind not in parts:
            continue
        for c, share in ((0, 1.0), (1, 0.7)):
            inner = slice(RATE // 2, -RATE // 2)
            check.near(power_db(parts[kind][inner, c]), power_db(share * truth[inner]), margin, f"{kind}, channel {c}: power")
            error = power_db(parts[kind][inner, c] - share * truth[inner]) - power_db(share * truth[inner])
            check.that(error < -10, f"{kind}, channel {c}: sample by sample it is the truth, {error:.1f} dB off")
    if "hiss" in parts:  # where clicks cover it, no level of it is told: it is that of the take with the engine off
        check.near(power_db(parts["hiss"][:, 0]), power_db(off[0]), 0.1, "hiss is what is left")

    # ---- the whine is out of the take, what lies 50 Hz off is not
    if "alternator_whine" in parts:
        f, before = welch(running[:, 0] - whine, rate, nperseg=4800)
        _, after = welch(running[:, 0].astype(float) - parts["alternator_whine"][:, 0], rate, nperseg=4800)
        for low, high in ((900, 1150), (1350, 2300), (2600, 6000)):
            band = (f >= low) & (f <= high)
            check.near(10 * np.log10(after[band].sum() / before[band].sum()), 0, 0.1, f"{low} to {high} Hz are unharmed")

    # ---- tracks: where the engine truly was
    track = next((t for t in result["tracks"] if t["source_id"] == sources.get("alternator_whine")), None)
    check.that(track is not None and len(track["time_s"]) <= 20 * 7 + 1, "at most 20 points a second")
    if track:
        at = np.clip((np.array(track["time_s"]) * RATE).astype(int), 0, idle.size - 1)
        error = np.array(track["frequency_hz"]) / (1240 * idle[at]) - 1
        check.that(np.sqrt(np.mean(error[4:-4] ** 2)) < 0.002, f"the track is the engine's: {np.sqrt(np.mean(error[4:-4] ** 2)):.5f} off")
        check.that(any(abs(r - 2) < 0.002 for r in track["ratios"]), "its second multiple is told")

    # ---- orders: what turns with the whine, what holds still; loudness by hand from the true amplitudes
    orders = [o for o in result["order_spectra"] if o["reference"] == sources.get("alternator_whine")]
    lines = orders[0]["lines"] if orders else []
    check.that(any(abs(x["ratio"] - 2) < 0.003 and x["follows"] for x in lines), "the whine's double turns with it")
    check.that(any(abs(x["frequency_hz"] - 250.1) < 1 and x["follows"] is False for x in lines), "the mains' fifth doesn't")
    loud = next((x["loudness"] for x in result["noise_sources"] if x["kind"] == "alternator_whine"), {})
    volts = np.sqrt((0.004 ** 2 + 0.0015 ** 2) / 2) * 7
    check.near(loud.get("level_dbv_in_lines"), 20 * np.log10(volts), 0.3, "level in its lines")
    at_ear = 20 * np.log10(volts * np.sqrt(75 * 4) / 4.0 / 2.83 / 1.5) + 90
    check.near(loud.get("ear_db_spl"), at_ear, 0.3, "at the ear")
    check.that(loud.get("audible") == "audible_driving", f"{loud.get('text')}")

    # ---- listening copies, playlist, page
    heard = [f for f in files if not f["exact"]]
    playlist = open(top + "/heard/playlist.m3u8", encoding="utf-8").read().splitlines()
    check.that(playlist[0] == "#EXTM3U" and [x for x in playlist if not x.startswith("#")] == [f["file"] for f in heard],
               "the playlist names them in order")
    page = open(top + "/heard/index.html", encoding="utf-8").read()

    class Tags(HTMLParser):
        def __init__(self):
            super().__init__()
            self.players, self.tags = [], set()

        def handle_starttag(self, tag, attrs):
            self.tags.add(tag)
            if tag == "audio":
                self.players.append(dict(attrs)["src"])

    tags = Tags()
    tags.feed(page)
    check.that(tags.players == [f["file"] for f in heard], "the page plays them in order")
    check.that("script" not in tags.tags and "more" not in tags.tags and not re.search(r"https?:", page), "no script, no network, no foreign tags")
    check.that("aution" in page and "lowest" in page, "the page says to start low")
    import subprocess
    for f in heard[:3]:
        raw = subprocess.run(["sox", os.path.join(top, "heard", f["file"]), "-t", "f32", "-"], capture_output=True).stdout
        peak = 20 * np.log10(np.abs(np.frombuffer(raw, "<f4")).max())
        check.that(peak < -5.99 and (f["what"] == "without" or peak > -6.05), f"{f['what']}: peaks at {peak:.2f} dBFS, gain {f['gain_db']}")
    check.that(len({f["gain_db"] for f in heard if f["what"] != "alone" and f["take"] == heard[0]["take"]}) == 1, "take and without at one gain")

    # ---- a folder that holds something, a file, a gain without a folder
    for arguments in (["--hear", top + "/heard"], ["--hear", job + "/job.json"], ["--hear-gain", "20"],
                      ["--hear", top + "/new", "--hear-gain", "nan"]):
        line = run(program, "noise", "--job", job, *arguments, expect=2)
        check.that(line.count("\n") == 1, f"refused in one line: {line.strip()}")
    check.that(not os.path.exists(top + "/new"), "a refused request writes nothing")

    # ---- with the record: players on its page when they lie below it
    text = run(program, "report", "--job", job, "--hear", job + "/records/hear", "--hear-gain", "20")
    check.that("CAUTION" in text, "the terminal says to start low")
    page = open(job + "/records/report.html", encoding="utf-8").read()
    links = re.findall(r'<audio[^>]* src="([^"]+)"', page)
    check.that(links and all(os.path.isfile(os.path.join(job, "records", x)) for x in links), f"{len(links)} players on the record's page")
    data = json.load(open(job + "/records/report.json"))["results"]["noise"]["heard"]["files"]
    check.that(all(f["gain_db"] <= 20.0 for f in data), "one gain, where peaks allow it")

# ---- a mono take and a short one
with tempfile.TemporaryDirectory() as top:
    from sounds import write_wav
    os.makedirs(top + "/job/takes")
    sound = tone(1700, 3, 0.01) + hiss(3, 1e-4, seed=3)
    write_wav(top + "/job/takes/mono.wav", [sound])
    json.dump({"schema": "hushtrace.job/1", "title": "mono", "takes": [{"file": "takes/mono.wav", "channels": ["right"], "engine": "off"}]},
              open(top + "/job/job.json", "w"))
    result = json.loads(run(program, "noise", "--job", top + "/job", "--hear", top + "/heard", "--json"))["results"]
    alone = [f for f in result["heard"]["files"] if f["exact"] and f["source_id"].startswith("unexplained_tone") and f["what"] == "alone"]
    check.that(len(alone) == 1, "the tone of a mono take is written")
    if alone:
        rate, data = wavfile.read(os.path.join(top, "heard", alone[0]["file"]))
        check.that(data.shape == (3 * RATE, 2) and np.array_equal(data[:, 0], data[:, 1]), "on both sides")
        check.near(power_db(data[:, 0]), power_db(tone(1700, 3, 0.01)), 0.1, "its power")
check.end()
