"""The capture command on the simulated vehicle: what it stores, what it refuses, how it stops, what it asks first."""
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
import terminal

tool = sys.argv[1]


def new_job(folder, name, **more):
    job = pathlib.Path(folder) / name
    job.mkdir()
    (job / "job.json").write_text(json.dumps({"schema": "hushtrace.job/1", "title": name, **more}))
    return job


def read_job(job):
    return json.loads((job / "job.json").read_text())


def capture(job, *words, stdin=subprocess.DEVNULL, cwd=None):
    return subprocess.run([tool, "capture", "--job", str(job), *map(str, words)], stdin=stdin, capture_output=True,
                          text=True, timeout=60, cwd=cwd)


def refused(job, *words, says=()):
    """Exit 2, one line that names what is wrong, and nothing new in the job."""
    before = (job / "job.json").read_text()
    done = capture(job, *words)
    lines = [line for line in done.stderr.splitlines() if line.startswith("hushtrace:")]
    assert done.returncode == 2 and len(lines) == 1 and done.stdout == "", (words, done)
    for word in says:
        assert word in lines[0], (words, lines[0])
    assert (job / "job.json").read_text() == before, words
    assert not list(job.glob("takes/*")), words


def test_stored_with_its_conditions(folder):
    job = new_job(folder, "conditions")
    done = capture(job, "--simulate", "healthy", "--meter", "--engine", "idle", "--rpm", 760, "--source", "on", "--input",
                   "usb", "--volume", 12, "--amplifier", "on", "--loads", "headlights", "--attached", "charger:vehicle",
                   "--laptop", "battery", "--attenuation-db", "0,6", "--seconds", 2, "--note-change", "lead re-routed",
                   "--name", "first", "--json")
    assert done.returncode == 0, done
    document = json.loads(done.stdout)
    assert document["results"]["take"] == "takes/first.flac" and document["results"]["ended"] == "complete"
    assert [one["code"] for one in document["warnings"]] == ["engine_running"], document["warnings"]
    content = read_job(job)
    take = content["takes"][0]
    wanted = {"file": "takes/first.flac", "channels": ["left", "right"], "engine": "idle", "rpm": 760, "source": "on",
              "input": "usb", "volume": 12, "amplifier": "on", "hookup": ["normal"], "loads": ["headlights"],
              "attached": [{"device": "charger", "powered_from": "vehicle"}], "laptop": "battery", "attenuation_db": [0, 6],
              "after_change": "lead re-routed"}
    for key, value in wanted.items():
        assert take[key] == value, (key, take)
    assert len(take["recorded_at"]) == 19 and take.get("faults", []) == [] and take.get("tone") is None
    readings = {one["what"]: one for one in content["observations"]}
    assert readings["shell_to_amplifier_ground"]["amplifier"] == "off"
    assert readings["ground_drop"]["amplifier"] == "on" and readings["ground_drop"]["loads"] == ["headlights"]
    # A second take is another moment of the same vehicle, under a name of its own.
    assert capture(job, "--simulate", "healthy", "--engine", "idle", "--seconds", 2, "--name", "first").returncode == 0
    first, second = ((job / one["file"]).read_bytes() for one in read_job(job)["takes"])
    assert first != second and read_job(job)["takes"][1]["file"] == "takes/first-2.flac"
    # a job's folder that bears a simulated vehicle's name doesn't stand in its way
    namesake = new_job(folder, "healthy")
    done = capture(namesake, "--simulate", "healthy", "--meter", "--engine", "off", "--seconds", 1, cwd=folder)
    assert done.returncode == 0, done


def test_refusals(folder):
    job = new_job(folder, "refusals")
    at_rest = ("--simulate", "healthy", "--meter")
    refused(job, *at_rest, "--engine", "idel", says=["--engine", "'idel'", "idle"])
    refused(job, *at_rest, "--hookup", "loose", says=["--hookup", "normal"])
    refused(job, *at_rest, "--channels", "left,left", says=["--channels"])
    refused(job, *at_rest, "--seconds", 0, says=["--seconds"])
    refused(job, *at_rest, "--seconds", "1e9")
    refused(job, *at_rest, "--tone", "sine", "--level", -6, says=["--level", "--max-level -6.0"])
    refused(job, *at_rest, "--tone", "sine", "--max-level", 1, says=["--max-level"])
    refused(job, *at_rest, "--tone", "sine", "--frequency", 30000)
    refused(job, *at_rest, "--tone", "near_silence", "--via", "stick", says=["--played"])
    refused(job, *at_rest, "--tone", "near_silence", "--via", "stick", "--played", "absent.wav", says=["absent.wav"])
    refused(job, *at_rest, "--volume-steps", "20,x", says=["--volume-steps"])
    refused(job, *at_rest, "--from", "x.wav", says=["--device"])
    refused(job, "--from", folder, says=["folder"])
    refused(job, "--simulate", "no such vehicle", says=["healthy"])
    refused(job, "--simulate", "healthy", says=["--shell-volts", "--ground-drop", "--decline-ground-check"])
    refused(job, "--simulate", "healthy", "--shell-volts", "0.01", says=["--ground-drop"])
    refused(job, "--simulate", "healthy", "--shell-volts", "0.01 ohm", "--ground-drop", 0.01, says=["--shell-volts"])
    bridged = new_job(folder, "bridged", amplifiers=[{"name": "sub", "bridged_output": True}])
    refused(bridged, *at_rest, "--point", "amp_output", says=["'sub'", "bridged"])
    speaker = new_job(folder, "speaker", source={"output": "speaker"}, interface={"input": "grounded"})
    refused(speaker, *at_rest, says=["speaker output"])
    missing = subprocess.run([tool, "capture", "--job", str(pathlib.Path(folder) / "none"), *at_rest],
                             capture_output=True, text=True)
    assert missing.returncode == 2, missing


def test_ground_check(folder):
    job = new_job(folder, "ground")
    for options, bad in ((("--shell-volts", 0.21, "--ground-drop", 0.01), "shell_to_amplifier_ground"),
                         (("--shell-volts", "10 mV", "--ground-drop", -0.4), "ground_drop")):
        done = capture(job, "--simulate", "healthy", *options)
        assert done.returncode == 2 and bad in done.stderr and "connect nothing" in done.stderr, done
        assert "takes" not in read_job(job)
    # The readings stand, so the ground must be read again before anything is captured, and declining is too late.
    assert len(read_job(job)["observations"]) == 4
    for more in ((), ("--decline-ground-check", "no time")):
        done = capture(job, "--simulate", "healthy", *more)
        assert done.returncode == 2 and "ground_drop" in done.stderr, done
    assert capture(job, "--simulate", "healthy", "--ground-drop", "80 mV", "--seconds", 1).returncode == 0
    assert read_job(job)["observations"][-1]["value"] == 0.08
    assert len(read_job(job)["observations"]) == 5

    declined = new_job(folder, "declined")
    done = capture(declined, "--simulate", "healthy", "--decline-ground-check", "meter broken", "--seconds", 1)
    assert done.returncode == 0, done
    noted = read_job(declined)["observations"]
    assert [one["declined"] for one in noted] == [True, True] and noted[0]["reason"] == "meter broken", noted
    shorted = new_job(folder, "shorted")   # with the inputs shorted at the probe nothing touches the vehicle
    assert capture(shorted, "--simulate", "healthy", "--hookup", "inputs_shorted", "--seconds", 1).returncode == 0


def on_terminal(job, *words, answers):
    """Exit code, and what was shown since the last prompt that was answered."""
    typed = terminal.on_terminal([tool, "capture", "--job", job, *words], answers)
    return typed.code, typed.unread


def test_asks_on_a_terminal(folder):
    job = new_job(folder, "asked")
    question = "why it can't be read: "
    code, shown = on_terminal(job, "--simulate", "healthy", "--seconds", 1, answers=[
        (question, "\n"), (question, "12 ohm\n"), (question, "0,05\n"), (question, "seat in the way\n")])
    assert code == 0, (code, shown)
    noted = read_job(job)["observations"]
    assert noted[0]["value"] == 0.05 and noted[1]["declined"] and noted[1]["reason"] == "seat in the way", noted
    stopped = new_job(folder, "stopped")
    code, shown = on_terminal(stopped, "--simulate", "healthy", answers=[(question, "1.5\n")])
    assert code == 2 and question not in shown, shown   # at the first bad one it stops asking
    assert [one["value"] for one in read_job(stopped)["observations"]] == [1.5]
    # A bad ground is not talked away: only a better reading does.
    mended = "Volts now that it is mended: "
    code, shown = on_terminal(stopped, "--simulate", "healthy", "--seconds", 1, answers=[(mended, "cannot read it\n"), ("Only a reading does. " + mended, "2 V\n")])
    assert code == 2 and "2 V is more than 0.2 V" in shown, (code, shown)
    assert not read_job(stopped).get("takes"), "nothing is captured over a bad ground"
    code, shown = on_terminal(stopped, "--simulate", "healthy", "--seconds", 1, answers=[(mended, "0.01\n"), (question, "0.02\n")])
    assert code == 0 and len(read_job(stopped)["takes"]) == 1, (code, shown)
    # Keys mark moments while it captures.
    code, shown = on_terminal(job, "--simulate", "healthy", "--paced", "--seconds", 2.5, "--name", "marked",
                              answers=[("Ctrl-C ends.", ""), (" 0.", "bump\n"), (" 1.", "\n")])
    marks = read_job(job)["takes"][-1]["marks"]
    assert code == 0 and [one["text"] for one in marks] == ["bump", "mark"], (marks, shown)


def start(job, *words):
    return subprocess.Popen([tool, "capture", "--job", str(job), "--simulate", "healthy", "--paced", *map(str, words)],
                            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_stops(folder):
    job = new_job(folder, "stops")
    settle = ("--shell-volts", 0.01, "--ground-drop", 0.02)
    by_hand = start(job, *settle, "--seconds", 60, "--marks-from-stdin", "--json")
    time.sleep(1.5)
    by_hand.stdin.write("lights on\n")
    by_hand.stdin.flush()
    time.sleep(1.5)
    by_hand.send_signal(signal.SIGINT)
    out, err = by_hand.communicate(timeout=10)
    assert by_hand.returncode == 0, err
    results = json.loads(out)["results"]
    assert results["ended"] == "stopped_by_user" and 2.0 < results["duration_s"] < 3.6, results
    take = read_job(job)["takes"][0]
    assert take.get("faults", []) == [] and take["marks"][0]["text"] == "lights on", take
    assert 0.8 < take["marks"][0]["time_s"] < 2.0, take

    killed = start(job, "--seconds", 60, "--name", "killed")
    time.sleep(3.5)
    killed.kill()
    killed.communicate(timeout=10)
    take = read_job(job)["takes"][1]
    assert take["faults"] == ["stopped"], take
    wav = job / "check.wav"
    subprocess.run(["flac", "-s", "-d", "-F", "-o", wav, job / take["file"]], capture_output=True)
    rate, kept = scipy.io.wavfile.read(wav)
    assert len(kept) / rate > 1.9, len(kept) / rate   # of some 3.4 s at most the last second is lost, and some start-up


def test_tones_get_in_both_ways(folder):
    job = new_job(folder, "ways")
    settle = ("--shell-volts", 0.01, "--ground-drop", 0.02)
    common = ("--simulate", "healthy", "--engine", "off", "--source", "on", "--volume", 25, "--seconds", 4)
    assert capture(job, *common, *settle, "--tone", "sine", "--name", "interface").returncode == 0
    tone_file = pathlib.Path(folder) / "tone.wav"
    at = np.arange(8 * 44100) / 44100
    sine = np.round(32767 * 10 ** (-20 / 20) * np.sin(2 * np.pi * 997 * at)).astype(np.int16)
    scipy.io.wavfile.write(tone_file, 44100, np.column_stack([sine, sine]))
    assert capture(job, *common, "--tone", "sine", "--level", -20, "--via", "stick", "--played", tone_file, "--input",
                   "usb", "--name", "stick").returncode == 0
    for take, via in zip(read_job(job)["takes"], ("interface", "stick")):
        assert take["tone"]["via"] == via and take["tone"]["kind"] == "sine", take
        wav = job / "check.wav"
        subprocess.run(["flac", "-s", "-d", "-f", "-o", wav, job / take["file"]], check=True)
        rate, data = scipy.io.wavfile.read(wav)
        x = data[2 * rate:, 0] / 2.0**31
        spectrum = np.abs(np.fft.rfft(x * np.hanning(len(x))))
        assert abs(np.argmax(spectrum) * rate / len(x) - 997) < 1, via
    noisy = capture(job, "--simulate", "healthy", "--engine", "idle", "--tone", "near_silence", "--seconds", 2, "--json")
    assert "interface_output_wired" in [one["code"] for one in json.loads(noisy.stdout)["warnings"]]
    assert {"device": "interface_output", "powered_from": "none"} in read_job(job)["takes"][-1]["attached"]
    again = capture(job, "--from", job / read_job(job)["takes"][0]["file"], "--name", "again", "--json")
    assert again.returncode == 0 and json.loads(again.stdout)["results"]["frames"] == 4 * 48000


def test_overload_and_poor_meter(folder):
    """An overload is told once, with one way out; a meter's reading of too few digits in plain percent, with the way out."""
    job = new_job(folder, "overload")
    vehicle = json.loads((pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / "signals" / "healthy.json").read_text())
    vehicle["interface"]["volts_full_scale"] = [0.2, 0.2]
    (job / "small.json").write_text(json.dumps(vehicle))
    subprocess.run([tool, "tones", "sine", "--frequency", "200", "--level", "-6", "--duration", "3", "--out", str(job / "tone.wav")], check=True,
                   capture_output=True)
    played = ("--meter", "--engine", "off", "--volume", 30, "--tone", "sine", "--frequency", 200, "--level", -6, "--via", "stick", "--played",
              job / "tone.wav")
    done = capture(job, "--simulate", job / "small.json", *played)
    text = " ".join(done.stdout.split())
    assert done.returncode == 0 and text.count("was overloaded") == 1 and text.lower().count("turn the interface's input down") == 1, done.stdout
    assert capture(job, "--simulate", "healthy", *played, "--name", "clean").returncode == 0

    def calibrated(volts):
        read = subprocess.run([tool, "calibrate", "--job", str(job), "--take", "takes/clean.flac", "--volts", volts], stdin=subprocess.DEVNULL,
                              capture_output=True, text=True, check=True)
        return " ".join(read.stdout.split())
    poor, good = calibrated("1"), calibrated("1.0000")
    assert "e+0" not in poor and "type every digit that the meter shows" in poor and "good to 348 %" in poor, poor
    assert "every digit" not in good and "good to 1.8 %" in good, good


with tempfile.TemporaryDirectory(prefix="hushtrace-capture-") as place:
    test_stored_with_its_conditions(place)
    test_refusals(place)
    test_ground_check(place)
    test_asks_on_a_terminal(place)
    test_stops(place)
    test_tones_get_in_both_ways(place)
    test_overload_and_poor_meter(place)
print("capture does what it says")
