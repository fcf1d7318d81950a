"""The tool plays and captures through a real audio device path (PortAudio, ALSA, PulseAudio, a null sink as the cable)
while a second program plays vehicle noise into the same cable; NumPy judges the take that was stored."""
import concurrent.futures
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
WHINE_HZ, WHINE_PEAK = 1140.3, 0.0005   # six-pulse whine at 760.2 rev/min: 6 * 6 pole pairs * ratio 2.5 * rev/s

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
        "vehicle": {"alternator": {"pole_pairs": 6, "pulley_ratio": 2.5}},
        "observations": [{"what": "shell_to_amplifier_ground", "value": 0.01, **read},
                         {"what": "ground_drop", "value": 0.05, **read}]}))
    return job


def captured_clean(pulse, job, noise, *words, attempts=4):
    """A take without a break, while `noise` plays into the cable. A busy machine does lose samples on this path: the tool
    marks such a take and tells its user to capture again, so that is done here, with the marked take out of the job."""
    for _ in range(attempts):
        with Playing(pulse, noise):
            done = run(pulse.env, "capture", "--job", job, "--device", "pulse", "--json", *words)
        assert done.returncode == 0, done
        content = json.loads((job / "job.json").read_text())
        if content["takes"][-1].get("faults", []) == []:
            return json.loads(done.stdout), content["takes"][-1]
        print("captured again:", content["takes"][-1]["faults"], json.loads(done.stdout)["results"]["examination"]["events"])
        assert content["takes"].pop()["faults"] == ["dropout"]
        (job / "job.json").write_text(json.dumps(content))
    raise AssertionError(f"no clean take in {attempts} attempts")


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


def write_noise(path, whine_peak):
    """20 s of what a vehicle may add: the whine with its second harmonic, over a little hiss."""
    at = np.arange(20 * RATE_HZ) / RATE_HZ
    hiss = 1e-5 * np.random.default_rng(5).standard_normal((len(at), 2))
    whine = np.sin(2 * np.pi * WHINE_HZ * at) + 0.3 * np.sin(4 * np.pi * WHINE_HZ * at + 1)
    scipy.io.wavfile.write(path, RATE_HZ, (hiss + whine_peak * whine[:, None]).astype(np.float32))


class Playing:
    """A second program that plays a file into the cable while the `with` block runs."""

    def __init__(self, pulse, path):
        self.words, self.env = ["paplay", "--device=cable", str(path)], pulse.env

    def __enter__(self):
        self.player = subprocess.Popen(self.words, env=self.env)
        time.sleep(0.5)

    def __exit__(self, *_):
        self.player.terminate()
        self.player.wait()


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
        write_noise(whine, WHINE_PEAK)
        document, entry = captured_clean(pulse, job, whine, "--engine", "idle", "--amplifier", "off", "--tone", "sine", "--level", TONE_DBFS,
                                         "--seconds", 6)
        assert document["schema"] == "hushtrace.capture/1"
        assert document["results"]["frames"] == 6 * RATE_HZ
        assert entry["tone"]["via"] == "interface"
        x = samples(job / entry["file"])
        assert x.shape == (6 * RATE_HZ, 2), x.shape
        steady = x[2 * RATE_HZ:, 0]
        whine_hz = peak_frequency(steady, 1080, 1200)
        tone_dbfs = sine_level_dbfs(steady, TONE_HZ, (whine_hz, 2 * whine_hz))
        level_error_db = tone_dbfs - TONE_DBFS
        frequency_error = whine_hz / WHINE_HZ - 1
        print(f"tone: {tone_dbfs:.4f} dBFS, off by {level_error_db:+.5f} dB; "
              f"whine: {whine_hz:.4f} Hz, off by {100 * frequency_error:+.5f} %")
        assert abs(level_error_db) < 0.1
        assert abs(frequency_error) < 0.001
        # The tool's own reading: the volts at full scale that would make this tone 1 V, told apart from the whine.
        told = run(pulse.env, "calibrate", "--job", job, "--take", entry["file"], "--volts", 1, "--frequency", TONE_HZ,
                   "--meter-good-to", 2000, "--json")
        assert told.returncode == 0, told
        for volts in json.loads((job / "job.json").read_text())["interface"]["volts_full_scale"]:
            own_error_db = 20 * np.log10(np.sqrt(2) / volts) - TONE_DBFS
            print(f"the tool's own reading of the tone is off by {own_error_db:+.5f} dB")
            assert abs(own_error_db) < 0.1
        # It started quiet: nothing of the first 0.3 s is louder than the whine and a tone 40 dB down.
        assert np.max(np.abs(x[:int(0.3 * RATE_HZ)])) < 1.3 * WHINE_PEAK + 0.002

        listed = run(pulse.env, "devices", "--json")
        assert listed.stderr == "", listed.stderr   # nothing of the libraries' chatter
        names = [one["name"] for one in json.loads(listed.stdout)["results"]["devices"]]
        assert "pulse" in names, names
        pulse_entry = json.loads(listed.stdout)["results"]["devices"][names.index("pulse")]
        assert 48000 in pulse_entry["sample_rates_hz"] and pulse_entry["host_api"] == "ALSA", pulse_entry

        several = run(pulse.env, "capture", "--job", job, "--device", "ul", "--engine", "off")   # pULse, defaULt
        assert several.returncode == 3, several
        assert "pulse" in several.stderr and "default" in several.stderr and several.stderr.count("\n") == 1, several.stderr


def test_noise_command(folder):
    """The tool's own judgement of noise that came through the device: engine off against engine running."""
    with PrivatePulse() as pulse:
        job = new_job(folder, "noise")
        for engine, whine_peak in (("off", 0.0), ("idle", WHINE_PEAK)):
            noise = pathlib.Path(folder) / f"{engine}.wav"
            write_noise(noise, whine_peak)
            captured_clean(pulse, job, noise, "--engine", engine, "--seconds", 6,
                           *(["--rpm", 760] if engine == "idle" else []))
        done = run(pulse.env, "noise", "--job", job, "--json")
        assert done.returncode == 0, done
        found = [one for one in json.loads(done.stdout)["results"]["noise_sources"] if one["kind"] == "alternator_whine"]
        assert len(found) == 1, found
        print(f"the tool's own reading: {found[0]['frequency_hz']} Hz, {found[0]['level_dbfs']} dBFS")
        assert abs(found[0]["frequency_hz"] / WHINE_HZ - 1) < 0.001
        family_dbfs = 20 * np.log10(WHINE_PEAK) + 10 * np.log10(1 + 0.3 ** 2)   # power sum of both lines
        assert abs(found[0]["level_dbfs"] - family_dbfs) < 0.1


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
        capture = start(pulse.env, "capture", "--job", job, "--device", "pulse", "--amplifier", "off", "--tone", "sine", "--seconds", 60)
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


def beside_each_other(*tests):
    """Each has a server of its own and spends its time waiting. The first failure is raised once all have ended."""
    with concurrent.futures.ThreadPoolExecutor(len(tests)) as pool:
        for done in [pool.submit(test, *more) for test, *more in tests]:
            done.result()


with tempfile.TemporaryDirectory(prefix="hushtrace-device-") as place:
    beside_each_other((test_no_device, place), (test_stop_by_hand, place), (test_server_dies, place, signal.SIGKILL, "killed"),
                      (test_server_dies, place, signal.SIGSTOP, "frozen"))
    beside_each_other((test_tone_and_noise, place), (test_noise_command, place))   # these want takes without a loss
print("the device path holds")
