"""A job of three takes becomes a record: a whole page, its pictures, its data; and what bad requests get.

The takes are made here from formulas, so the answers are known: a whine that is there with the engine running alone,
and a source that clips from one volume on.
"""
import base64
import html.parser
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

import numpy as np
from scipy.io import wavfile

PROGRAM = pathlib.Path(sys.argv[1])
RATE = 48000
VOID = {"meta", "br", "hr", "img", "link", "input"}
EVIL = "</title><script>alert('x')</script> \"A\" & \u00fc \u8eca " + "W" * 120


def run(*arguments):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=120)


def noise(seconds, level_dbfs, seed):
    # dBFS after AES17: a full-scale sine, mean square 1/2, reads 0
    rms = np.sqrt(0.5) * 10 ** (level_dbfs / 20)
    return np.random.default_rng(seed).normal(0, rms, int(seconds * RATE))


def whine(seconds, frequency_hz, level_dbfs):
    time = np.arange(int(seconds * RATE)) / RATE
    wander = frequency_hz * (1 + 0.01 * np.sin(2 * np.pi * 0.2 * time))
    phase = 2 * np.pi * np.cumsum(wander) / RATE
    return 10 ** (level_dbfs / 20) * (np.sin(phase) + 0.3 * np.sin(2 * phase) + 0.1 * np.sin(3 * phase))


def stepped(volumes, ceiling_volume, third=0.0):
    parts = []
    for volume in volumes:
        time = np.arange(int(1.5 * RATE)) / RATE
        peak = 0.4 * 10 ** (1.5 * (volume - ceiling_volume) / 20)
        # the rail stands 0.5 dB above the ceiling volume's peak: the next volume loses 1 dB of its tips
        tone = peak * (np.sin(2 * np.pi * 997 * time) + third * np.sin(6 * np.pi * 997 * time))
        parts.append(np.clip(tone, -0.4 * 10 ** 0.025, 0.4 * 10 ** 0.025))
    return np.concatenate(parts)


def write(path, *channels):
    wavfile.write(path, RATE, np.stack(channels, 1).astype(np.float32))


def make_job(folder, title, third=0.0, **more):
    (folder / "takes").mkdir(parents=True)
    (folder / "records").mkdir()
    write(folder / "takes/off.wav", noise(10, -95, 1), noise(10, -95, 2))
    lines = whine(10, 1100, -60)
    write(folder / "takes/idle.wav", lines + noise(10, -95, 3), lines + noise(10, -95, 4))
    volumes = [28, 29, 30, 31]
    steps = stepped(volumes, 30, third)
    write(folder / "takes/steps.wav", steps + noise(len(steps) / RATE, -95, 5), steps + noise(len(steps) / RATE, -95, 6))
    both = ["left", "right"]
    job = {
        "schema": "hushtrace.job/1", "title": title, "date": "2026-01-31",
        "vehicle": {"drive": "combustion", "cylinders": 4, "strokes": 4, "mains_hz": 50},
        "amplifiers": [{"name": "sub", "power_w": 500, "load_ohm": 2, "sensitivity_v": [0.2, 6.0]}],
        "interface": {"volts_full_scale": [7.0, 7.0]},
        "takes": [
            {"file": "takes/off.wav", "channels": both, "engine": "off", "volume": 12},
            {"file": "takes/idle.wav", "channels": both, "engine": "idle", "rpm": 760, "volume": 12,
             "marks": [{"time_s": 4.2, "text": "<b>bump"}]},
            {"file": "takes/steps.wav", "channels": both, "engine": "off", "volume_steps": volumes,
             "tone": {"kind": "sine", "frequency_hz": 997, "level_dbfs": 0, "via": "stick"}}],
        **more}
    (folder / "job.json").write_text(json.dumps(job))
    return folder


class PageCheck(html.parser.HTMLParser):
    """Elements close in order; ids are there once; nothing points outside the page."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.ids, self.wanted, self.images, self.text = [], set(), set(), [], []
        self.pictures = 0

    def handle_starttag(self, tag, attributes):
        values = dict(attributes)
        assert tag not in {"script", "iframe", "object", "embed", "link"}, f"<{tag}> in the page"
        for name, value in attributes:
            assert not name.startswith("on"), f"{name} in <{tag}>"
            assert not re.match(r"\s*(https?:|//|javascript:)", value or ""), f"{name}={value}"
        if "id" in values:
            assert values["id"] not in self.ids, f"id {values['id']} twice"
            self.ids.add(values["id"])
        self.wanted |= set(values.get("aria-labelledby", "").split())
        if tag == "use":
            self.wanted.add(values["href"][1:])
        if tag == "image":
            self.images.append(values["href"])
        if tag == "th":
            assert values.get("scope") in {"col", "row"}, "a table heading without scope"
        if tag == "svg" and "aria-hidden" not in values:
            assert values.get("role") == "img"
            self.pictures += 1
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, f"</{tag}> inside {self.open[-3:]}"
        self.open.pop()

    def handle_data(self, data):
        self.text.append(data)


def check_page(page):
    text = page.read_text(encoding="utf-8")
    check = PageCheck()
    check.feed(text)
    check.close()
    assert not check.open, f"left open: {check.open}"
    assert check.wanted <= check.ids, f"point to nothing: {check.wanted - check.ids}"
    assert not re.search(r"https?:|url\(|@import", text)
    return check, "".join(check.text)


def check_png(uri):
    head, _, data = uri.partition(",")
    assert head == "data:image/png;base64", head
    png = base64.b64decode(data, validate=True)
    width, height = int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")
    raw = subprocess.run(["ffmpeg", "-v", "error", "-xerror", "-f", "png_pipe", "-i", "-", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"],
                         input=png, capture_output=True, check=True)
    assert not raw.stderr, raw.stderr
    pixels = np.frombuffer(raw.stdout, np.uint8).reshape(height, width, 3)
    assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 20, "a picture of one colour"
    return pixels


def brightest_row_hz(pixels):
    # rows are equal ratios from 20 kHz at the top to 20 Hz
    row = np.argmax(pixels.astype(float).sum(axis=2).mean(axis=1))
    return 20 * 1000 ** (1 - (row + 0.5) / pixels.shape[0])


def main():
    with tempfile.TemporaryDirectory() as top:
        top = pathlib.Path(top)
        job = make_job(top / "job", EVIL)
        done = run("report", "--job", job)
        assert done.returncode == 0, done.stderr
        page, data = job / "records/report.html", job / "records/report.json"
        assert str(page) in done.stdout and str(data) in done.stdout, done.stdout
        assert sorted(p.name for p in (job / "records").iterdir()) == ["kept", "report.html", "report.json"]
        check, words = check_page(page)
        assert EVIL in words, "the title isn't shown as it was written"
        for heading in ("What was found", "Gain", "Pictures", "Takes and their conditions", "Cautions"):
            assert heading in words, heading
        assert check.pictures >= 4 and check.images
        seen_hz = brightest_row_hz(check_png(check.images[0]))
        assert abs(seen_hz / 1100 - 1) < 0.04, f"the spectrogram's brightest row is at {seen_hz} Hz, the whine at 1100"

        results = json.loads(data.read_text())
        assert results["schema"] == "hushtrace.report/1"
        found = results["results"]["noise"]["noise_sources"]
        assert any(abs(one["frequency_hz"] / 1100 - 1) < 0.01 for one in found if one["frequency_hz"]), found
        assert results["results"]["gain"]["ceiling"]["volume"] == 30, results["results"]["gain"]

        as_read = json.loads((job / "job.json").read_text())
        assert results["results"]["job"]["takes"][1]["marks"] == as_read["takes"][1]["marks"]
        assert results["results"]["job"]["interface"] == as_read["interface"]

        for command in ("noise", "gain", "power"):
            told = run(command, "--job", job, "--json")
            assert told.returncode == 0, told.stderr
            document = json.loads(told.stdout)
            assert document["schema"] == f"hushtrace.{command}/1"
            # the record has the noise floor's record of its own, beside the noise
            in_record = dict(results["results"][command], **({"floor_record": results["results"]["floor_record"]} if command == "noise" else {}))
            assert document["results"] == in_record, "the record's data differ from the command's"
            told = run(command, "--job", job)
            assert told.returncode == 0 and told.stdout
            assert all(len(line) <= 80 for line in told.stdout.splitlines())

        # another name; the record never takes the place of the job itself
        before = (job / "job.json").read_bytes()
        assert run("report", "--job", job, "--out", job / "records/handed-over.html").returncode == 0
        assert (job / "records/handed-over.json").exists()
        for wrong in (job / "job.html", job / "takes", job / "records/page.pdf"):
            refused = run("report", "--job", job, "--out", wrong)
            assert refused.returncode == 2 and len(refused.stderr.strip().splitlines()) >= 1, (wrong, refused)
        assert (job / "job.json").read_bytes() == before

        # takes for one half alone give that half
        half = make_job(top / "half", "half")
        content = json.loads((half / "job.json").read_text())
        content["takes"] = content["takes"][:2]
        (half / "job.json").write_text(json.dumps(content))
        done = run("report", "--job", half, "--json")
        assert done.returncode == 0, done.stderr
        document = json.loads(done.stdout)
        assert document["results"]["gain"] is None and document["results"]["noise"]
        assert any(one["code"] == "gain_not_analysed" for one in document["warnings"])
        _, words = check_page(half / "records/report.html")
        assert "Distortion against volume" not in words

        # a written limit that no volume keeps (1 % third harmonic, 0.5 % allowed): exit 1, the record written all the same
        strict = make_job(top / "strict", "strict", third=0.01, limits={"ceiling_thd_percent": 0.5})
        told = run("gain", "--job", strict)
        assert told.returncode == 1 and "FAILS the limit" in told.stdout, told
        assert run("report", "--job", strict).returncode == 1
        assert (strict / "records/report.html").exists()

        # nothing to report: exit 2, one line, nothing written
        content["takes"] = []
        (half / "job.json").write_text(json.dumps(content))
        (half / "records/report.html").unlink()
        for command in ("report", "noise", "gain"):
            failed = run(command, "--job", half)
            assert failed.returncode == 2 and not failed.stdout, (command, failed)
        assert not (half / "records/report.html").exists()
        assert run("report", "--job", top / "absent").returncode == 2
        if os.geteuid() != 0:
            (job / "records").chmod(0o500)
            assert run("report", "--job", job).returncode == 2
            (job / "records").chmod(0o700)
    print("the record is whole")


main()
