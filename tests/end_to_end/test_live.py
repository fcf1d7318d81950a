"""Live gain on the simulated vehicle: what the moving figures find is what the analysis of the stored take says."""
import json
import os
import pathlib
import random
import signal
import subprocess
import sys
import tempfile
import time

tool = sys.argv[1]


def new_job(folder, name, **more):
    job = pathlib.Path(folder) / name
    job.mkdir()
    (job / "job.json").write_text(json.dumps({"schema": "hushtrace.job/1", "title": name, "source": {"volume_top": 40}, **more}))
    return job


def takes(job):
    return json.loads((job / "job.json").read_text()).get("takes", [])


def run(*words, stdin=subprocess.DEVNULL, timeout=60):
    return subprocess.run([tool, *map(str, words)], stdin=stdin, capture_output=True, text=True, timeout=timeout)


def tone_file(folder, frequency=997, seconds=40):
    file = pathlib.Path(folder) / f"tone_{frequency}.wav"
    if not file.exists():
        done = run("tones", "sine", "--frequency", frequency, "--level", 0, "--duration", seconds, "--out", file)
        assert done.returncode == 0, done
    return file


def script(folder, turns):
    file = pathlib.Path(folder) / "knob.txt"
    file.write_text("# a hand at the knob\n" + "".join(f"{time_s:.3f} {volume}\n" for time_s, volume in turns))
    return file


def live_gain(job, *words, vehicle="early_clipping"):
    return run("gain", "--job", job, "--live", "--simulate", vehicle, "--meter", "--plain", *words)


STICK = ("--tone", "sine", "--frequency", 997, "--level", 0, "--via", "stick")


def told(done, kind):
    """The events of one kind among the plain lines."""
    return [line for line in done.stderr.splitlines() if f" {kind} " in line or f" {kind}:" in line]


def test_live_and_later_agree(folder):
    """A hand of uneven pace, an overshoot too short to count, a step back; the rails are met between 36 and 37."""
    job = new_job(folder, "agree")
    draw = random.Random(6)
    turns, at = [(0, 30)], 3.6  # the file's tone begins some 2 s in
    for volume in (32, 34, 35, 38, 36, 37, 38, 37, 36):
        turns.append((at, volume))
        at += 0.2 if len(turns) == 5 else draw.uniform(0.9, 1.7)  # 38 is flown past
    done = live_gain(job, *STICK, "--played", tone_file(folder), "--volume-start", 30, "--knob-script", script(folder, turns),
                     "--seconds", f"{at:.2f}", "--unpaced", "--json")
    assert done.returncode == 0, done
    ceiling = json.loads(done.stdout)["results"]["ceiling"]
    assert ceiling["volume"] == 36 and ceiling["next_volume_thd_percent"] > 1, ceiling
    assert any("36" in line for line in told(done, "ceiling")), done.stderr
    take = takes(job)[0]
    assert take["volume_steps"] == [30, 32, 34, 35, 36, 37, 38, 37, 36] and not take.get("faults"), take
    # the same words again, from the take alone
    later = run("gain", "--job", job, "--json")
    assert json.loads(later.stdout)["results"] == json.loads(done.stdout)["results"]


def test_interface_plays(folder):
    """The interface's own tone begins quietly: that is no step."""
    job = new_job(folder, "interface")
    done = live_gain(job, "--tone", "sine", "--volume-start", 30, "--knob-script", script(folder, [(2.5, 34), (4, 38)]),
                     "--seconds", 5.5, "--unpaced", "--json", vehicle="healthy")
    assert done.returncode == 0, done
    results = json.loads(done.stdout)["results"]
    assert results["ceiling"] is None and results["ceiling_reason"] == "never_clips", results
    assert takes(job)[0]["volume_steps"] == [30, 34, 38]


def test_keys_turn_the_simulated_knob(folder):
    """In real time: keys on a pipe turn it up; Ctrl-C ends; the take stands and the result is printed."""
    job = new_job(folder, "keys")
    process = subprocess.Popen([tool, "gain", "--job", str(job), "--live", "--simulate", "early_clipping", "--meter", "--plain",
                                "--keys-from-stdin", "--tone", "sine", "--max-level", "-12", "--volume-start", "37", "--volume-step", "2"],
                               stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        time.sleep(3.2)
        process.stdin.write("+")
        process.stdin.flush()
        time.sleep(1.5)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 0, (process.returncode, err)
    assert takes(job)[0]["volume_steps"] == [37, 39], takes(job)
    assert "Gain: keys" in out and "volume 39" in out, out


def test_refused(folder):
    job = new_job(folder, "refused")
    before = (job / "job.json").read_text()

    def refused(*words, says, command=("gain", "--live"), writes_readings=False):
        done = run(*command, "--job", job, "--simulate", "healthy", "--meter", *words)
        lines = [line for line in done.stderr.splitlines() if line.startswith("hushtrace:")]
        assert done.returncode == 2 and len(lines) == 1 and done.stdout == "", (words, done)
        assert all(word in lines[0] for word in says), (words, lines)
        assert writes_readings or (job / "job.json").read_text() == before, words
        assert "Phone page" not in done.stderr and not list(job.glob("takes/*")), (words, done)

    refused(says=["--tone sine"])
    refused("--share", says=["--tone sine"])
    refused("--tone", "sine", "--point", "amp_output", "--attenuation-db", "30,30", "--amplifier", "off", says=["amp_input", "source_output"])
    refused("--tone", "pink", says=["--tone sine"])
    refused("--tone", "sine", "--frequency", 8000, "--level", -20, says=["third harmonic", "997"])
    refused("--tone", "sine", "--volume-start", "nan", says=["--volume-start"])
    refused("--tone", "sine", "--volume-start", -1, says=["--volume-start"])
    refused("--tone", "sine", "--volume-start", 41, says=["--volume-start", "40"])
    refused("--tone", "sine", "--volume-start", 5, "--volume-step", 0, says=["--volume-step"])
    refused("--tone", "sine", "--volume-step", 2, says=["--volume-start"])
    refused("--tone", "sine", "--seconds", -3, says=["--seconds"])
    bad = pathlib.Path(folder) / "bad.txt"
    for text, word in (("1 2 3\n", "line 1"), ("1 20\n0.5 21\n", "line 2"), ("x 20\n", "line 1"), ("", "no turn"), ("1 nan\n", "line 1")):
        bad.write_text(text)
        refused("--tone", "sine", "--knob-script", bad, says=["--knob-script", word])
    refused("--tone", "sine", "--knob-script", "absent.txt", says=["absent.txt"])
    live = {"command": ("live",)}
    refused("--follow", "banana", "--share", says=["banana"], **live)
    refused("--follow", "whine-1", says=["whine-1", "no takes"], **live)
    for text, word in (("1 hookup nonsense\n", "line 1"), ("1 loads none\n2 knob 3\n", "line 2"), ("", "nothing is changed")):
        bad.write_text(text)
        refused("--vehicle-script", bad, says=["--vehicle-script", word], **live)
    refused("--name", "mine", says=["--name", "kept-1"], **live)
    for words in (("--no-take",), ("--volume-start", 20), ("--volume-step", 2)):  # those of gain --live
        refused(*words, says=[words[0]], **live)
    assert not any(word in run("live", "--help").stdout for word in ("--no-take", "--volume-start", "--volume-step", "--name "))
    refused("--tone", "sine", "--level", -20, "--via", "stick", "--played", tone_file(folder, 440, 6), "--seconds", 3, "--unpaced",
            says=["997 Hz", "never came"], writes_readings=True)  # it was tried
    without = run("gain", "--job", job, "--tone", "sine")
    assert without.returncode == 2 and "--live" in without.stderr, without


def test_a_move_leaves_the_knob(folder):
    """What is changed on the vehicle turns no knob: the level at the amplifier's input stays where the turn put it."""
    job = new_job(folder, "move")
    moves = pathlib.Path(folder) / "moves.txt"
    moves.write_text("3 loads headlights\n")
    words = ["live", "--job", job, "--simulate", "healthy", "--meter", "--json", "--unpaced", "--volume", 20, "--tone", "sine", "--level", -20,
             "--engine", "off", "--follow", "all", "--knob-script", script(folder, [(0, 20), (1, 30)]), "--seconds", 5]
    levels = []
    for more in ((), ("--vehicle-script", moves)):
        done = run(*words, *more)
        assert done.returncode == 0, done
        last = [line["snapshot"] for line in map(json.loads, done.stdout.splitlines()) if "snapshot" in line][-1]
        levels.append(last["levels"][0]["level_dbfs"])
    assert abs(levels[0] - levels[1]) < 0.5, levels  # ten steps down are some 15 dB


def test_capture_follows_the_script(folder):
    """The same hand in a plain capture; what volumes it was is said apart."""
    job = new_job(folder, "script")
    turns = script(folder, [(0, 30), (2.6, 34), (3.9, 38), (4.1, 36), (5.5, 37)])
    done = run("capture", "--job", job, "--simulate", "early_clipping", "--meter", *STICK, "--played", tone_file(folder), "--knob-script",
               turns, "--volume-steps", "30,34,36,37", "--seconds", 7)
    assert done.returncode == 0, done
    gain = json.loads(run("gain", "--job", job, "--json").stdout)
    assert gain["results"]["ceiling"]["volume"] == 36, gain["results"]
    real = run("capture", "--job", job, "--from", tone_file(folder), "--knob-script", turns)
    assert real.returncode == 2 and "--knob-script" in real.stderr, real


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        for name, test in sorted(globals().items()):
            if name.startswith("test_"):
                begun = time.time()
                test(folder)
                print(f"{name}: {time.time() - begun:.1f} s")
    print("live gain does what it says")
