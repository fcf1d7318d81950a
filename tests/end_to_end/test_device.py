"""The tool plays and captures through a real audio device path (PortAudio, ALSA, PulseAudio, a null sink as the cable)
while a second program plays vehicle noise into the same cable; NumPy judges the take that was stored."""
import json
import os
import pathlib
import signal
import subprocess
import sys
import tempfile
import time

import numpy as np
import scipy.io.wavfile

from private_pulse import PrivatePulse

RATE_HZ = 48000
TONE_HZ, TONE_DBFS = 997.0, -20.0
WHINE_HZ, WHINE_PEAK = 456.32, 0.01   # six-pulse whine of a twelve-pole alternator at some 760 rev/min

tool = sys.argv[1]


def run(env, *words, stdin=subprocess.DEVNULL, timeout=60):
    return subprocess.run([tool, *map(str, words)], env=env, stdin=stdin, capture_output=True, text=True, timeout=timeout)


def start(env, *words):
    return subprocess.Popen([tool, *map(str, words)], env=env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, text=True)


def new_job(folder, name):
    job = pathlib.Path(folder) / name
    (job / "takes").mkdir(parents=True)
    read = {"unit": "V", "engine": "off"}
    (job / "job.json").write_text(json.dumps({
        "schema": "hushtrace.job/1", "title": name,
        "observations": [{"what": "shell_to_amplifier_ground", "value": 0.01, **read},
                         {"what": "ground_drop", "value": 0.05, **read}]}))
    return job


def take_entry(job, index=-1):
    return json.loads((job / "job.json").read_text())["takes"][index]


def samples(path):
    """The stored take as [frame, channel], full scale 1.0, decoded by the FLAC project's own decoder."""
    wav = path.with_suffix(".check.wav")
    subprocess.run(["flac", "-s", "-d", "-f", "-o", wav, path], check=True)
    rate, data = scipy.io.wavfile.read(wav)
    wav.unlink()
    assert rate == RATE_HZ and data.dtype == np.int32, (rate, data.dtype)
    return data / 2.0**31   # SciPy left-justifies 24 bits in 32


def write_whine(path):
    at = np.arange(20 * RATE_HZ) / RATE_HZ
    whine = WHINE_PEAK * np.sin(2 * np.pi * WHINE_HZ * at) + 0.3 * WHINE_PEAK * np.sin(4 * np.pi * WHINE_HZ * at + 1)
    scipy.io.wavfile.write(path, RATE_HZ, np.column_stack([whine, whine]).astype(np.float32))


def peak_frequency(x, low_hz, high_hz):
    """Frequency of the strongest line between the two, by a parabola through a Gaussian-windowed peak's logarithm."""
    window = np.exp(-0.5 * ((np.arange(len(x)) - (len(x) - 1) / 2) / (len(x) / 10)) ** 2)
    level = np.log(np.abs(np.fft.rfft(x * window)) + 1e-300)
    bins = np.arange(len(level)) * RATE_HZ / len(x)
    k = int(np.argmax(np.where((bins > low_hz) & (bins < high_hz), level, -np.inf)))
    left, mid, right = level[k - 1:k + 2]
    return (k + 0.5 * (left - right) / (left - 2 * mid + right)) * RATE_HZ / len(x)


def sine_level_dbfs(x, frequency_hz, others_hz):
    """Level of one sine by least squares, the other known sines fitted along."""
    at = np.arange(len(x)) / RATE_HZ
    columns = [f(2 * np.pi * hz * at) for hz in (frequency_hz, *others_hz) for f in (np.cos, np.sin)]
    fit = np.linalg.lstsq(np.column_stack(columns), x, rcond=None)[0]
    return 20 * np.log10(np.hypot(fit[0], fit[1]))


def test_tone_and_noise(folder):
    with PrivatePulse() as pulse:
        job = new_job(folder, "tone")
        whine = pathlib.Path(folder) / "whine.wav"
        write_whine(whine)
        other = subprocess.Popen(["paplay", "--device=cable", whine], env=pulse.env)
        done = run(pulse.env, "capture", "--job", job, "--device", "pulse", "--engine", "idle", "--tone", "sine",
                   "--level", TONE_DBFS, "--seconds", 8, "--json")
        other.terminate()
        other.wait()
        assert done.returncode == 0, done.stderr
        assert "ALSA lib" not in done.stderr and "jack" not in done.stderr.lower(), done.stderr
        document = json.loads(done.stdout)
        assert document["schema"] == "hushtrace.capture/1"
        assert document["results"]["frames"] == 8 * RATE_HZ
        entry = take_entry(job)
        assert entry.get("faults", []) == [], (entry, document["warnings"])
        assert entry["tone"]["via"] == "interface"
        x = samples(job / entry["file"])
        assert x.shape == (8 * RATE_HZ, 2), x.shape
        steady = x[2 * RATE_HZ:, 0]
        whine_hz = peak_frequency(steady, 300, 600)
        tone_dbfs = sine_level_dbfs(steady, TONE_HZ, (whine_hz, 2 * whine_hz))
        level_error_db = tone_dbfs - TONE_DBFS
        frequency_error = whine_hz / WHINE_HZ - 1
        print(f"tone: {tone_dbfs:.4f} dBFS, off by {level_error_db:+.5f} dB; "
              f"whine: {whine_hz:.4f} Hz, off by {100 * frequency_error:+.5f} %")
        assert abs(level_error_db) < 0.1
        assert abs(frequency_error) < 0.001
        # It started quiet: nothing of the first 0.3 s is louder than the whine and a tone 40 dB down.
        assert np.max(np.abs(x[:int(0.3 * RATE_HZ)])) < 1.3 * WHINE_PEAK + 0.002

        listed = run(pulse.env, "devices", "--json")
        names = [one["name"] for one in json.loads(listed.stdout)["results"]["devices"]]
        assert "pulse" in names, names
        pulse_entry = json.loads(listed.stdout)["results"]["devices"][names.index("pulse")]
        assert 48000 in pulse_entry["sample_rates_hz"] and pulse_entry["host_api"] == "ALSA", pulse_entry

        several = run(pulse.env, "capture", "--job", job, "--device", "ul", "--engine", "off")   # pULse, defaULt
        assert several.returncode == 3, several
        assert "pulse" in several.stderr and "default" in several.stderr and several.stderr.count("\n") == 1, several.stderr


def test_stop_by_hand(folder):
    with PrivatePulse() as pulse:
        job = new_job(folder, "stop")
        capture = start(pulse.env, "capture", "--job", job, "--device", "pulse", "--seconds", 60, "--json")
        time.sleep(4)
        capture.send_signal(signal.SIGINT)
        out, err = capture.communicate(timeout=15)
        assert capture.returncode == 0, (capture.returncode, err)
        results = json.loads(out)["results"]
        assert results["ended"] == "stopped_by_user" and 1.5 < results["duration_s"] < 4.5, results
        entry = take_entry(job)
        assert "stopped" not in entry.get("faults", []), entry
        assert len(samples(job / entry["file"])) == results["frames"]


def test_server_dies(folder, number, name):
    """Killed, or frozen: the device delivers nothing more, and closing it may never come back."""
    with PrivatePulse() as pulse:
        job = new_job(folder, name)
        capture = start(pulse.env, "capture", "--job", job, "--device", "pulse", "--tone", "sine", "--seconds", 60)
        time.sleep(4)
        pulse.send(number)
        killed = time.monotonic()
        try:
            out, err = capture.communicate(timeout=20)
        finally:
            capture.kill()
        print(f"{name}: the tool ended {time.monotonic() - killed:.1f} s later: {err.strip().splitlines()[-1]}")
        assert capture.returncode == 3, (capture.returncode, err)
        assert sum(line.startswith("hushtrace:") for line in err.splitlines()) == 1, err
        entry = take_entry(job)
        assert "stopped" in entry["faults"], entry
        kept = samples(job / entry["file"])
        assert len(kept) > 1.5 * RATE_HZ and np.max(np.abs(kept)) > 0.05, len(kept)


def test_no_device(folder):
    env = dict(os.environ, HOME=folder, XDG_RUNTIME_DIR=folder, PULSE_SERVER="unix:/nowhere")
    listed = run(env, "devices")
    assert listed.returncode == 0 and listed.stderr == "", listed
    document = json.loads(run(env, "devices", "--json").stdout)
    devices = ["pulse", "99", "-1", "no such thing"]
    if document["results"]["devices"] == []:   # a machine with a sound card of its own lists that
        assert "No audio device found" in listed.stdout and document["warnings"][0]["code"] == "no_device"
        devices += ["default", "0"]
    job = new_job(folder, "nothing")
    for device in devices:
        capture = run(env, "capture", "--job", job, f"--device={device}", "--engine", "off")
        assert capture.returncode == 3 and capture.stderr.count("\n") == 1, (device, capture)
        assert "takes" not in json.loads((job / "job.json").read_text()) and not list((job / "takes").iterdir())


with tempfile.TemporaryDirectory(prefix="hushtrace-device-") as place:
    test_no_device(place)
    test_tone_and_noise(place)
    test_stop_by_hand(place)
    test_server_dies(place, signal.SIGKILL, "killed")
    test_server_dies(place, signal.SIGSTOP, "frozen")
print("the device path holds")
