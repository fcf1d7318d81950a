"""The job command's questions, on a terminal of its own: what is asked, skipped, refused and kept."""
import json
import pathlib
import signal
import subprocess
import sys
import tempfile

import terminal

program = sys.argv[1]


def on_terminal(words, answers):
    typed = terminal.on_terminal([program, *words], answers)
    assert not typed.waiting, (typed.waiting, typed.shown)
    return typed.code, typed.shown


def read(job):
    return json.loads((job / "job.json").read_text())


ALL = [
    ("called? (Enter: 'van') ", "Van, whines\n"), ("own words? ", "it whines when I accelerate\n"), ("in words? ", "\n"),
    ("12 or 24 V? ", "400\n"), ("never a high-voltage battery", "12 V\n"),
    ("What drives it", "petrl\n"), ("is none of", "Petrol\n"),
    ("cylinders? ", "four\n"), ("is no number", "99\n"), ("or Enter to skip", "4\n"),
    ("rated current", "120 A\n"), ("pole pairs", "\n"), ("crankshaft", "2,7\n"),
    ("50 or 60 Hz? ", "50\n"), ("head unit), in words? ", "factory unit\n"), ("with the vehicle", "perhaps\n"), ("neither yes nor no", "y\n"),
    ("speaker level? ", "line\n"), ("rated line output", "4 V\n"), ("highest volume", "40\n"),
    ("first amplifier's name", "a,b\n"), ("holds none of", "sub\n"), ("rated power", "500 W\n"), ("load on", "-2\n"), ("or Enter to skip", "2 ohm\n"),
    ("gain control", "6 to 0,2\n"), ("the lowest comes first", "0,2 to 6 V\n"), ("draws in A", "50\n"), ("output bridged", "yes\n"),
    ("kind of speaker", "subwoofer\n"), ("speaker bears", "\n"), ("impedance", "2\n"), ("its sensitivity", "86\n"), ("to the ear", "1.5\n"),
    ("next amplifier's name", "sub\n"), ("already", "front\n"), ("rated power", "75\n"), ("load on", "4\n"), ("gain control", "\n"),
    ("draws in A", "\n"), ("output bridged", "\n"),
    ("kind of speaker", "\n"), ("speaker bears", "\n"), ("impedance", "\n"), ("its sensitivity", "\n"), ("to the ear", "\n"),
    ("next amplifier's name", "\n"), ("grounded or floating", "floating\n"),
    ("length in m? ", "5 m\n"), ("beside the power cable? ", "nan\n"), ("is no number", "4\n"),
    ("distance from", "0,02\n"),
    ("one way? ", "5.5\n"), ("copper area", "4 AWG\n"), ("copper or", "copper\n")]

with tempfile.TemporaryDirectory(prefix="hushtrace-asked-") as place:
    place = pathlib.Path(place)
    van = place / "van"
    code, shown = on_terminal(["job", "--job", van, "--new"], ALL)
    assert code == 0 and "proposals" in shown, (code, shown)
    told = read(van)
    assert told["title"] == "Van, whines" and told["complaint"] == "it whines when I accelerate", told
    assert told["vehicle"] == {"drive": "combustion", "supply_v": 12, "cylinders": 4, "mains_hz": 50,
                               "alternator": {"pulley_ratio": 2.7, "rated_a": 120}}, told
    assert told["source"] == {"description": "factory unit", "preout_v": 4, "volume_top": 40, "factory": True, "output": "line"}, told
    assert told["amplifiers"] == [{"name": "sub", "power_w": 500, "load_ohm": 2, "sensitivity_v": [0.2, 6], "max_current_a": 50,
                                   "bridged_output": True},
                                  {"name": "front", "power_w": 75, "load_ohm": 4}], told
    assert told["speakers"] == [{"amplifier": "sub", "sensitivity_db_2v83_1m": 86, "distance_m": 1.5, "impedance_ohm": 2, "kind": "subwoofer"}], told
    assert told["interface"] == {"input": "floating"}, told
    assert told["cables"] == {"signal_m": 5, "separation_m": 0.02, "parallel_m": 4}, told
    # 4 AWG is 21.15 mm2: ASTM B258, 0.127 mm times 92 to the power (36 - n)/39 in diameter
    assert told["supply"] == {"length_m": 5.5, "area_mm2": 21.15, "conductor": "copper"}, told
    assert "limits" not in told, told

    # later: only what is unknown is asked, and what was said is told with old and new
    code, shown = on_terminal(["job", "--job", van, "--ask"], [
        ("vehicle, in words? ", "\n"), ("pole pairs", "6\n"), ("'sub': power that the speaker bears", "\n"),
        ("'front': range of its gain control", "\x04")])
    assert code == 0 and "cylinders" not in shown.split("vehicle.alternator")[0], (code, shown)
    assert "vehicle.alternator.pole_pairs: was unknown, now 6" in shown, shown
    assert read(van)["vehicle"]["alternator"]["pole_pairs"] == 6 and read(van)["vehicle"]["cylinders"] == 4
    before = (van / "job.json").read_bytes()
    code, shown = on_terminal(["job", "--job", van, "--ask"], [("vehicle, in words? ", "estate\n"), ("speaker bears", "\x03")])
    assert code == -signal.SIGINT and (van / "job.json").read_bytes() == before, (code, shown)
    # what is known by option is changed, and not asked for
    code, shown = on_terminal(["job", "--job", van, "--ask", "--cylinders", "6"], [("vehicle, in words? ", "\x04")])
    assert code == 0 and "vehicle.cylinders: was 4, now 6" in shown, (code, shown)

    # Ctrl-D keeps what was said, Ctrl-C leaves nothing
    code, shown = on_terminal(["job", "--job", place / "short", "--new"], [("called?", "\n"), ("own words?", "hums\n"), ("in words?", "\x04")])
    assert code == 0 and read(place / "short")["title"] == "short" and read(place / "short")["complaint"] == "hums", (code, shown)
    code, shown = on_terminal(["job", "--job", place / "none", "--new"], [("called?", "x\n"), ("own words?", "\x03")])
    assert code == -signal.SIGINT and not (place / "none").exists(), (code, shown)
    code, shown = on_terminal(["job", "--job", place / "none", "--new"], [("called?", "\x04")])
    assert code == 2 and not (place / "none").exists() and "--title" in shown, (code, shown)
    code, shown = on_terminal(["job", "--job", van, "--new"], [])
    assert code == 2 and "holds a job already" in shown and "called?" not in shown, (code, shown)
    # an electric one has neither cylinders nor an alternator to ask for
    code, shown = on_terminal(["job", "--job", place / "ev", "--new"], [
        ("called?", "\n"), ("own words?", "\n"), ("in words?", "\n"), ("12 or 24", "\n"), ("What drives it", "electric\n"), ("50 or 60", "\x04")])
    assert code == 0 and "cylinders" not in shown.split("50 or 60")[0] and read(place / "ev")["vehicle"]["drive"] == "electric", (code, shown)
    # hostile answers are text, or refused
    code, shown = on_terminal(["job", "--job", place / "evil", "--new"], [
        ("called?", "<script>\\\"'\n"), ("own words?", "W" * 3000 + "\n"), ("in words?", "\x04")])
    assert code == 0 and read(place / "evil")["title"] == "<script>\\\"'" and len(read(place / "evil")["complaint"]) == 3000, code

    # without a terminal nothing is asked
    for words, wanted in ((["--new"], "--title"), (["--ask"], "--ask")):
        folder = place / "quiet" if words == ["--new"] else van
        done = subprocess.run([program, "job", "--job", str(folder), *words], capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=20)
        assert done.returncode == 2 and wanted in done.stderr and done.stderr.count("\n") == 1 and not done.stdout, done
    assert not (place / "quiet").exists()
print("the questions are asked, and their answers kept")
