"""The record's page as people meet it: on a desktop, a phone, on A4 and Letter paper, through an accessibility checker, with texts of every
kind in the job; and its pictures as files.

The takes are made here from formulas: a whine with the engine running that falls by 20 dB after a change, and a source that clips.
"""
import base64
import html.parser
import json
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

import numpy as np
from scipy.io import wavfile

import small_browser

PROGRAM = pathlib.Path(sys.argv[1])
RATE = 48000
EVIL = "</title></style><script>alert('x')</script><b a=\"q\">&amp; "
TURNED = "\u05e9\u05dc\u05d5\u05dd \u202e evil \u0645\u0631\u062d\u0628\u0627 (x) 12:34 "
CONTROL = "\x01\x1b[31m\x7f\ufffe\uffff\u2028"
LONG = "W" * 10000
# Reminders of HTML 4 that say nothing of this page: `summary` is gone from HTML 5, which asks for the caption that every table has; `abbr` may
# be given where a heading is long; and a style sheet is to be looked at with other styles, which this test does.
REMINDERS = ("[5.5.1.1]", "[5.6.1.1]", "[6.1.1.2]")


def noise(seconds, level_dbfs, seed):
    rms = np.sqrt(0.5) * 10 ** (level_dbfs / 20)  # 0 dBFS: a full-scale sine (AES17)
    return np.random.default_rng(seed).normal(0, rms, int(seconds * RATE))


def whine(seconds, level_dbfs):
    time = np.arange(int(seconds * RATE)) / RATE
    phase = 2 * np.pi * np.cumsum(1100 * (1 + 0.01 * np.sin(2 * np.pi * 0.2 * time))) / RATE
    return 10 ** (level_dbfs / 20) * (np.sin(phase) + 0.3 * np.sin(2 * phase) + 0.1 * np.sin(3 * phase))


def stepped(volumes):
    parts = []
    for volume in volumes:
        time = np.arange(int(1.5 * RATE)) / RATE
        peak = 0.4 * 10 ** (1.5 * (volume - 30) / 20)
        parts.append(np.clip(peak * np.sin(2 * np.pi * 997 * time), -0.4 * 10 ** 0.025, 0.4 * 10 ** 0.025))
    return np.concatenate(parts)


def make_job(folder):
    (folder / "takes").mkdir(parents=True)
    volumes = [28, 29, 30, 31]
    steps = stepped(volumes)
    sounds = {"off": noise(8, -95, 1), "idle": whine(8, -50) + noise(8, -95, 3), "after": whine(8, -70) + noise(8, -95, 4),
              "steps": steps + noise(len(steps) / RATE, -95, 5)}
    for name, sound in sounds.items():
        wavfile.write(folder / f"takes/{name}.wav", RATE, np.stack([sound, sound + noise(len(sound) / RATE, -110, 9)], 1).astype(np.float32))
    both = ["left", "right"]
    alike = {"channels": both, "engine": "idle", "rpm": 760, "volume": 12}
    job = {
        "schema": "hushtrace.job/1", "title": "Estate", "date": "2026-01-31", "complaint": "It whistles",
        "vehicle": {"description": "estate", "drive": "combustion", "cylinders": 4, "strokes": 4, "mains_hz": 50, "alternator": {"rated_a": 120}},
        "source": {"description": "radio"},
        "amplifiers": [{"name": "front", "power_w": 75, "load_ohm": 4, "sensitivity_v": [0.2, 6.0]},
                       {"name": "sub", "power_w": 500, "load_ohm": 2, "sensitivity_v": [0.2, 6.0], "bridged_output": True}],
        "speakers": [{"amplifier": "front", "power_w": 100, "sensitivity_db_2v83_1m": 90, "distance_m": 1.0}],
        "supply": {"length_m": 5.5, "area_mm2": 21.2, "conductor": "copper"},
        "interface": {"volts_full_scale": [7.0, 7.0], "volts_full_scale_sd_db": [0.1, 0.1], "own_noise_dbv": [-104, -104], "input": "grounded"},
        "takes": [{"file": "takes/off.wav", "channels": both, "engine": "off", "volume": 12},
                  {"file": "takes/idle.wav", **alike, "marks": [{"time_s": 4.2, "text": "bump"}]},
                  {"file": "takes/after.wav", **alike, "after_change": "Ground of the radio remade"},
                  {"file": "takes/steps.wav", "channels": both, "engine": "off", "volume_steps": volumes,
                   "tone": {"kind": "sine", "frequency_hz": 997, "level_dbfs": 0, "via": "stick"}}],
        "observations": [{"what": "ground_drop", "value": 0.08, "unit": "V", "engine": "raised"},
                         {"what": "noise_heard", "value": "quieter", "engine": "idle", "hookup": ["isolator"]}]}
    (folder / "job.json").write_text(json.dumps(job))
    return job


def make_hostile(folder, job):
    job["title"] = EVIL + TURNED + CONTROL + LONG
    job["complaint"] = TURNED + EVIL + CONTROL + "\u8eca" * 3000 + LONG
    job["vehicle"]["description"], job["source"]["description"] = TURNED + LONG, EVIL + LONG
    job["amplifiers"][0]["name"] = job["speakers"][0]["amplifier"] = EVIL + LONG
    job["amplifiers"][1]["name"] = TURNED + CONTROL
    job["takes"][1]["marks"] = [{"time_s": 1.0, "text": EVIL + TURNED + CONTROL + LONG}, {"time_s": 2.0, "text": "\u0301" * 5000}]
    job["takes"][1]["loads"] = job["takes"][2]["loads"] = [EVIL + LONG]
    job["takes"][1]["attached"] = job["takes"][2]["attached"] = [{"device": TURNED + LONG, "powered_from": "vehicle"}]
    job["takes"][2]["after_change"] = EVIL + TURNED + LONG
    job["observations"].append({"what": "ground_drop", "value": None, "declined": True, "reason": EVIL + TURNED + LONG, "engine": "idle"})
    job["observations"] += [{"what": "noise_heard", "value": "gone", "engine": "idle", "after_change": f"{one} {TURNED}{LONG}"} for one in range(8)]
    job["limits"] = {"ceiling_thd_percent": 0.0001}
    (folder / "job.json").write_text(json.dumps(job))


class Reader(html.parser.HTMLParser):
    """What a screen reader goes by, and that nothing leads out of the page."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.ids, self.wanted, self.links, self.headings, self.landmarks, self.lang = [], set(), [], [], [], None
        self.tables, self.captions, self.text = 0, 0, []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        values = dict(attributes)
        assert tag not in {"script", "iframe", "object", "embed", "link", "form"}, f"<{tag}> in the page"
        for name, value in attributes:
            assert not name.startswith("on"), f"{name} in <{tag}>"
            if name in {"src", "href", "xlink:href", "action", "srcset", "poster", "data"} and tag != "td":
                self.links.append((tag, value))
        if "id" in values:
            self.ids.append(values["id"])
        self.wanted |= set(values.get("aria-labelledby", "").split())
        if tag == "html":
            self.lang = values.get("lang")
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag in {"header", "main", "footer", "nav"}:
            self.landmarks.append(tag)
        self.tables += tag == "table"
        self.captions += tag == "caption"
        if tag == "th":
            assert values.get("scope") in {"col", "row"}, "a table heading without scope"
        if tag == "svg" and "aria-hidden" not in values:
            assert values.get("role") == "img" and values.get("aria-labelledby"), "a picture without words"

    def handle_data(self, data):
        self.text.append(data)


def check_markup(page):
    text = page.read_text(encoding="utf-8")
    seen = Reader(text)
    assert seen.lang == "en" and len(seen.ids) == len(set(seen.ids)), "ids twice"
    assert seen.wanted <= set(seen.ids)
    for tag, link in seen.links:
        inside = link.startswith("#") and link[1:] in seen.ids
        assert inside or (tag == "image" and link.startswith("data:image/png;base64,")), (tag, link[:80])
    assert not re.search(r"https?:|url\(|@import", text)
    assert seen.headings[0] == 1 and seen.headings.count(1) == 1
    for before, after in zip(seen.headings, seen.headings[1:]):
        assert after <= before + 1, f"from h{before} to h{after}"
    assert sorted(seen.landmarks) == ["footer", "header", "main", "nav"], seen.landmarks
    assert seen.tables == seen.captions > 5
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\ufffe\uffff\u202a-\u202e\u2066-\u2069]", text)
    return "".join(seen.text)


def check_tidy(page):
    told = subprocess.run(["tidy", "-access", "3", "-q", "-e", "--show-body-only", "no", page], capture_output=True, text=True, timeout=60)
    wrong = [one for one in told.stderr.splitlines() if "Error:" in one or ("Access:" in one and not any(code in one for code in REMINDERS))]
    assert not wrong, wrong[:10]
    # the checker isn't blind
    bad = "<!DOCTYPE html><html><head><title>x</title></head><body><img src='a.png'></body></html>"
    assert "Access:" in subprocess.run(["tidy", "-access", "3", "-q", "-e"], input=bad, capture_output=True, text=True).stderr


# What sticks out of the window, or of its picture, or lies in a box that hides it. Boxes that may be scrolled sideways are asked for apart.
CUT = """(() => {
  const out = [], wide = document.documentElement.clientWidth;
  for (const one of document.body.querySelectorAll('*')) {
    if (one.closest('svg') || one.closest('.scroll table') || one.closest('.unseen') || one.classList.contains('skip')) continue;
    const box = one.getBoundingClientRect();
    if (box.width > 1 && (box.right > wide + 1 || box.left < -1)) out.push(one.tagName + ' ' + one.className + ' ' + Math.round(box.right));
  }
  for (const picture of document.querySelectorAll('figure svg')) {
    const frame = picture.getBoundingClientRect();
    if (frame.width === 0) continue;
    for (const text of picture.querySelectorAll('text')) {
      const box = text.getBoundingClientRect();
      if (box.width > 0 && (box.left < frame.left - 2 || box.right > frame.right + 2 || box.top < frame.top - 2 || box.bottom > frame.bottom + 2))
        out.push('text ' + text.textContent.slice(0, 40) + ' in ' + picture.querySelector('title').textContent.slice(0, 40));
    }
  }
  for (const box of document.querySelectorAll('.scroll'))
    if (box.scrollWidth > box.clientWidth + 1) out.push('table ' + box.textContent.slice(0, 60));
  return out.slice(0, 12);
})()"""


def look(browser, page, name):
    browser.go(page.resolve().as_uri())
    browser.until("document.readyState === 'complete'", 30)
    for width, height in ((1200, 900), (390, 844), (320, 640)):
        browser.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600)
        assert browser.value("document.documentElement.scrollWidth") <= width, f"{name}: scrolls sideways at {width}"
        cut = browser.value(CUT)
        assert not cut, (name, width, cut)
        browser.keep_picture(f"{name}-{width}")
    # a foreign text turns nothing round: what stands beside it is where it is without it
    assert browser.value("getComputedStyle(document.querySelector('header')).direction") == "ltr"
    # forced colours: what is drawn takes the system's
    browser.ask("Emulation.setEmulatedMedia", features=[{"name": "forced-colors", "value": "active"}])
    assert browser.value("getComputedStyle(document.documentElement).getPropertyValue('--ink').trim()") == "CanvasText"
    browser.ask("Emulation.setEmulatedMedia", features=[])
    assert not browser.complaints, browser.complaints


def words_of(pdf, first, last):
    return subprocess.run(["pdftotext", "-f", str(first), "-l", str(last), pdf, "-"], capture_output=True, text=True, check=True).stdout


def print_out(browser, folder, name):
    browser.ask("Emulation.clearDeviceMetricsOverride")
    for paper, width, height, points in (("a4", 8.27, 11.69, (595, 842)), ("letter", 8.5, 11, (612, 792))):
        data = browser.ask("Page.printToPDF", paperWidth=width, paperHeight=height, preferCSSPageSize=True)["data"]
        pdf = folder / f"{name}-{paper}.pdf"
        pdf.write_bytes(base64.b64decode(data))
        told = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
        size = [float(one) for one in re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", told).groups()]
        assert all(abs(a - b) < 2 for a, b in zip(size, points)), (paper, size)
        pages = int(re.search(r"Pages:\s+(\d+)", told).group(1))
        first, second = words_of(pdf, 1, 1), words_of(pdf, 2, 2)
        assert "For the customer" in first and "What remains" in first and "check off" in first, (paper, first)
        assert "For the technician" not in first and second.strip().startswith("For the technician"), (paper, second[:200])
        # no heading alone at a page's end
        for number in range(2, pages):
            lines = words_of(pdf, number, number).strip().splitlines()
            assert lines and lines[-1] not in HEADINGS, (paper, number, lines[-2:])


HEADINGS = {"What was found", "What to do", "Gain and ceiling", "Levels from source to ear", "Pictures", "Noise floor", "Power supply",
            "Takes and their conditions", "Instruments and calibration", "Method", "Warnings", "Cautions", "Where it gets in", "Next test"}


def check_pictures(job):
    listed = json.loads((job / "records/report.json").read_text())["results"]["pictures"]
    folder = job / "records/report-pictures"
    assert len(listed) >= 6 and sorted(one["file"] for one in listed) == sorted(f"report-pictures/{p.name}" for p in folder.iterdir())
    for one in listed:
        assert re.fullmatch(r"report-pictures/\d\d-[a-z0-9-]+\.svg", one["file"]), one["file"]
        assert one["title"] and one["description"]
    subprocess.run(["xmllint", "--noout", *(job / "records" / one["file"] for one in listed)], check=True, timeout=60)
    text = (job / "records" / listed[0]["file"]).read_text(encoding="utf-8")
    assert "var(" not in text and "<script" not in text
    return [one["title"] for one in listed]


def report(job):
    done = subprocess.run([PROGRAM, "report", "--job", job, "--pictures"], capture_output=True, text=True, timeout=120)
    assert done.returncode in (0, 1), done.stderr
    return job / "records/report.html"


def main():
    missing = [one for one in ("tidy", "xmllint", "pdfinfo", "pdftotext") if not shutil.which(one)]
    if missing or not small_browser.found():
        print("not here:", *missing, *([] if small_browser.found() else ["chromium"]))
        sys.exit(77)
    with tempfile.TemporaryDirectory() as top, small_browser.Browser() as browser:
        top = pathlib.Path(top)
        job = make_job(top / "plain")
        page = report(top / "plain")
        words = check_markup(page)
        for part in ("It whistles", "Ground of the radio remade", "clean up to volume 30", "whine from the alternator", "dB quieter",
                     "isolator in the signal lead", "A together", "7 V at full scale"):
            assert part in words, part
        check_tidy(page)
        titles = check_pictures(top / "plain")
        for part in ("Levels from source to ear: front", "Spectrum of takes/idle.wav", "Spectrogram of takes/idle.wav", "Distortion against volume"):
            assert any(part in one for one in titles), part
        look(browser, page, "plain")
        print_out(browser, top, "plain")

        shutil.copytree(top / "plain", top / "hostile")
        make_hostile(top / "hostile", job)
        page = report(top / "hostile")
        words = check_markup(page)
        assert "<script>alert('x')</script>" in words and "Cut short above, here in full" in words and LONG in words
        check_tidy(page)
        check_pictures(top / "hostile")
        look(browser, page, "hostile")
        print_out(browser, top, "hostile")
    print("the page holds")


main()
