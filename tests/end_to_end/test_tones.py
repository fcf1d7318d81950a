"""`tones`: what it writes is what SciPy and NumPy read, and a bad request leaves nothing behind."""
import json
import os
import pathlib
import resource
import signal
import subprocess
import sys
import tempfile

import numpy
from scipy.io import wavfile

PROGRAM = sys.argv[1]


def tones(folder, *words, limit=None):
    def lower():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    return subprocess.run([PROGRAM, "tones", *words], cwd=folder, capture_output=True, text=True, timeout=60,
                          preexec_fn=lower if limit else None)


def level_dbfs(samples):
    return 10 * numpy.log10(2 * numpy.mean(samples ** 2))  # AES17


def part(document, samples, what, trim=0.05):
    found = next(p for p in document["results"]["parts"] if p["what"] == what)
    rate = document["results"]["sample_rate_hz"]
    return samples[int((found["start_s"] + trim) * rate):int((found["end_s"] - trim) * rate)]


def check_sine(folder):
    done = tones(folder, "sine", "--out", "a.wav", "--level", "0", "--duration", "3", "--json")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["schema"] == "hushtrace.tones/1"
    assert "speakers_off" in [w["code"] for w in document["warnings"]]
    rate, data = wavfile.read(folder / "a.wav")
    assert rate == 44100 and data.dtype == numpy.int16 and data.shape[1] == 2
    left = data[:, 0] / 32768
    tone = part(document, left, "tone")
    assert abs(level_dbfs(tone)) < 0.01, level_dbfs(tone)
    assert numpy.max(numpy.abs(data)) <= 32767
    window = numpy.hanning(len(tone))
    spectrum = numpy.abs(numpy.fft.rfft(tone * window))
    peak = numpy.argmax(spectrum) * rate / len(tone)
    assert abs(peak - 997) < 0.5, peak
    # Dither leaves white noise of (1/12 + 1/6) steps squared, and no harmonics above it.
    steps = tone * 32768
    time = numpy.arange(len(tone)) / rate
    model = numpy.stack([numpy.sin(2 * numpy.pi * 997 * time), numpy.cos(2 * numpy.pi * 997 * time)], 1)
    rest = steps - model @ numpy.linalg.lstsq(model, steps, rcond=None)[0]
    assert abs(numpy.mean(rest ** 2) - 0.25) < 0.01, numpy.mean(rest ** 2)
    for harmonic in range(2, 8):
        line = 2 * abs(numpy.mean(rest * numpy.exp(-2j * numpy.pi * 997 * harmonic * time)))
        assert line < 0.02, (harmonic, line)
    quiet = part(document, left, "near-silence")
    assert numpy.any(quiet != 0) and level_dbfs(quiet) < -88


def check_kinds(folder):
    for kind in ("sine", "stepped", "two_tone", "sweep", "pink", "near-silence", "polarity_pulse"):
        length = ["--duration", "2"] if kind != "stepped" else ["--step", "0.5"]
        done = tones(folder, kind, "--out", f"{kind}.flac", "--bits", "24", "--rate", "48000", "--channel", "left", *length)
        assert done.returncode == 0, (kind, done.stderr)
        assert "aution" in done.stdout and "opening marker" in done.stdout
        assert subprocess.run(["flac", "-ts", f"{kind}.flac"], cwd=folder).returncode == 0
        subprocess.run(["sox", f"{kind}.flac", "-b", "32", f"{kind}.wav"], cwd=folder, check=True)
        rate, data = wavfile.read(folder / f"{kind}.wav")
        right = data[:, 1] / 2 ** 31
        assert rate == 48000 and level_dbfs(data[:, 0] / 2 ** 31) > -60
        assert numpy.any(right != 0) and level_dbfs(right) < -130, level_dbfs(right)


def check_refusals(folder):
    (folder / "kept.wav").write_text("kept")
    before = sorted(os.listdir(folder))
    for words in (["sine"], ["foo", "--out", "x.wav"], ["sine", "--out", "x.mp3"], ["sine", "--out", "no/x.wav"],
                  ["sine", "--out", "."], ["sine", "--out", "kept.wav"], ["sine", "--out", "x.wav", "--level", "1"],
                  ["sine", "--out", "x.wav", "--level", "nan"], ["sine", "--out", "x.wav", "--frequency", "30000"],
                  ["sine", "--out", "x.wav", "--duration", "0"], ["sine", "--out", "x.wav", "--duration", "1e9"],
                  ["sine", "--out", "x.wav", "--bits", "12"], ["sine", "--out", "x.wav", "--rate", "44100.5"],
                  ["sine", "--out", "x.wav", "--step", "2"], ["sine", "--out", "x.wav", "--channel", "sub"],
                  ["pink", "--out", "x.wav", "--level", "-3"], ["two_tone", "--out", "x.wav", "--levels", "-3,-3"],
                  ["stepped", "--out", "x.wav", "--levels", "-10,2"], ["sweep", "--out", "x.wav", "--from-hz", "0"]):
        done = tones(folder, *words)
        assert done.returncode == 2, (words, done.returncode, done.stderr)
        assert done.stdout == "" and len(done.stderr.strip().splitlines()) == 1, (words, done.stderr)
    assert sorted(os.listdir(folder)) == before
    assert (folder / "kept.wav").read_text() == "kept"
    assert tones(folder, "sine", "--out", "kept.wav", "--duration", "1", "--force").returncode == 0
    assert wavfile.read(folder / "kept.wav")[0] == 44100
    for suffix in ("wav", "flac"):
        done = tones(folder, "pink", "--out", f"full.{suffix}", "--duration", "20", limit=300000)
        assert done.returncode == 3 and len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert sorted(os.listdir(folder)) == before


def run(*words):
    done = subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, (words, done.stderr)
    return json.loads(done.stdout)


def check_clocks(folder):
    """A tone file played by another clock: SoX plays it 120 ppm fast, and 80 ppm slow at another rate."""
    run("job", "--job", folder / "van", "--new", "--title", "clocks", "--json")
    for name, length, words in (("sine", ["--duration", "7.3"], ["--level", "-20"]), ("sweep", [], []),
                                ("near_silence", ["--duration", "20"], [])):
        assert tones(folder, name, "--out", f"{name}.wav", *length).returncode == 0
        for speed, rate in ((1.00012, 48000), (0.99992, 44100), (1.00012, 96000)):
            played = folder / f"{name}-{rate}.wav"
            subprocess.run(["sox", folder / f"{name}.wav", "-b", "24", "-r", str(rate), played, "speed", str(speed), "rate",
                            "-v", str(rate), "pad", "0.5", "0.2"], check=True)
            found = run("capture", "--job", folder / "van", "--from", played, "--engine", "off", "--tone", name, *words,
                        "--via", "stick", "--json")["results"]["tone_file"]
            assert [m["end"] for m in found["markers"]] == ["opening", "closing"], found
            # a player that is fast by this much leaves fewer samples for the capture's clock to count
            assert abs(found["clock_ppm"] - 1e6 * (1 / speed - 1)) < 0.5, (name, speed, found)
            assert abs(found["tone_start_s"] - 0.5 - 2.0 / speed) < 2e-4, found
    cut = folder / "cut.wav"
    subprocess.run(["sox", folder / "sine.wav", cut, "trim", "0", "6"], check=True)
    found = run("job", "--job", folder / "van", "--add", cut, "--engine", "off", "--tone", "sine", "--via", "phone",
                "--json")["results"]["tone_file"]
    assert found["clock_ppm"] is None and len(found["markers"]) == 1, found


for check in (check_sine, check_kinds, check_refusals, check_clocks):
    with tempfile.TemporaryDirectory() as name:
        check(pathlib.Path(name))
