"""Hostile inputs: job files and sound files as nobody should write them, and what a refusal of them must name."""
import json
import os
import struct

import numpy as np

RATE = 48000


def plain_job(**changes):
    job = {"schema": "hushtrace.job/1", "title": "t", "vehicle": {"cylinders": 4, "mains_hz": 50},
           "takes": [{"file": "takes/good.wav", "channels": ["left", "right"], "engine": "off"}]}
    job.update(changes)
    return job


def take(**fields):
    one = {"file": "takes/good.wav", "channels": ["left", "right"], "engine": "off"}
    one.update(fields)
    return plain_job(takes=[one])


def observation(**fields):
    return plain_job(observations=[fields])


def text(job):
    return json.dumps(job).encode()


def job_files():
    """(name, content of job.json, what the refusal must contain)"""
    good = text(plain_job())
    rows = [
        ("empty", b"", "empty"),
        ("blank", b" \n\t ", "not JSON"),
        ("not json", b"hello", "line 1"),
        ("cut short", good[:-7], "too early"),
        ("two documents", good + good, "not JSON"),
        ("trailing comma", good[:-1] + b",}", "not JSON"),
        ("single quotes", good.replace(b'"', b"'"), "not JSON"),
        ("comment", b"// job\n" + good, "not JSON"),
        ("NaN", text(plain_job(source={"preout_v": float("nan")})), "NaN"),
        ("infinity", text(plain_job(source={"preout_v": float("inf")})), "Infinity"),
        ("1e999", good.replace(b"50", b"1e999"), "too large"),
        ("utf-16", good.decode().encode("utf-16"), "NUL"),
        ("latin-1", good.replace(b'"t"', b'"K\xfcche"'), "UTF-8"),
        ("overlong utf-8", good.replace(b'"t"', b'"\xc0\xaf"'), "UTF-8"),
        ("lone surrogate", good.replace(b'"t"', b'"\\ud800"'), "not JSON"),
        ("NUL byte", good.replace(b'"t"', b'"t\x00"'), "NUL"),
        ("NUL escaped in a path", text(take(file="takes/good.wav\0.flac")), "takes[0].file"),
        ("random bytes", np.random.default_rng(1).bytes(4096), "job.json"),
        ("deep lists", b'{"schema":"hushtrace.job/1","x":' + b"[" * 5_000_000, "deep"),
        ("deep objects", b'{"a":' * 1_000_000, "deep"),
        ("a million fields", b'{"schema":"hushtrace.job/1"' + b"".join(b',"f%d":0' % i for i in range(1_000_000)) + b"}",
         "more than 1000 fields"),
        ("over 16 MiB", good + b" " * (17 << 20), "16 MiB"),
        ("a field twice", good.replace(b'"title"', b'"title":"a","title"'), "title: is given twice"),
        ("a list", b"[]", "an object is wanted"),
        ("null", b"null", "an object is wanted"),
        ("no schema", b"{}", "schema"),
        ("another schema", text(plain_job(schema="hushtrace.vehicle/1")), "schema"),
        ("a newer schema", text(plain_job(schema="hushtrace.job/2")), "schema"),
        ("title a number", text(plain_job(title=3)), "title"),
        ("vehicle a list", text(plain_job(vehicle=[])), "vehicle"),
        ("cylinders a text", text(plain_job(vehicle={"cylinders": "4"})), "vehicle.cylinders"),
        ("half a cylinder", text(plain_job(vehicle={"cylinders": 4.5})), "vehicle.cylinders"),
        ("cylinders beyond an int", text(plain_job(vehicle={"cylinders": 2 ** 70})), "vehicle.cylinders"),
        ("negative supply", text(plain_job(vehicle={"supply_v": -12})), "vehicle.supply_v"),
        ("unknown drive", text(plain_job(vehicle={"drive": "steam"})), "vehicle.drive"),
        ("factory a text", text(plain_job(source={"factory": "yes"})), "source.factory"),
        ("load of 0 ohm", text(plain_job(amplifiers=[{"load_ohm": 0}])), "amplifiers[0].load_ohm"),
        ("amplifiers an object", text(plain_job(amplifiers={})), "amplifiers"),
        ("negative length", text(plain_job(cables={"signal_m": -5})), "cables.signal_m"),
        ("scale of 0 V", text(plain_job(interface={"volts_full_scale": [0, 7]})), "interface.volts_full_scale[0]"),
        ("limit above all", text(plain_job(limits={"ceiling_thd_percent": 1000})), "limits.ceiling_thd_percent"),
        ("takes a text", text(plain_job(takes="takes")), "takes"),
        ("a take a number", text(plain_job(takes=[1])), "takes[0]"),
        ("take without file", text(plain_job(takes=[{"channels": ["left"]}])), "takes[0].file"),
        ("take above the folder", text(take(file="../good.wav")), "takes[0].file"),
        ("take far above", text(take(file="takes/../../../etc/passwd")), "takes[0].file"),
        ("absolute take", text(take(file="/etc/passwd")), "takes[0].file"),
        ("take a folder", text(take(file="takes/")), "takes[0].file"),
        ("one take twice", text(plain_job(takes=plain_job()["takes"] * 2)), "takes[1].file"),
        ("no channels", text(take(channels=[])), "takes[0].channels"),
        ("unknown channel", text(take(channels=["left", "middle"])), "takes[0].channels[1]"),
        ("unknown engine", text(take(engine="idel")), "takes[0].engine"),
        ("negative rpm", text(take(rpm=-700)), "takes[0].rpm"),
        ("unknown hookup", text(take(hookup=["normal", "soldered"])), "takes[0].hookup[1]"),
        ("pads for three", text(take(attenuation_db=[0, 0, 0])), "takes[0].attenuation_db"),
        ("log above the folder", text(take(rpm_log="../../log.csv")), "takes[0].rpm_log"),
        ("mark before the start", text(take(marks=[{"time_s": -1, "text": "x"}])), "takes[0].marks[0].time_s"),
        ("tone too loud", text(take(tone={"kind": "sine", "frequency_hz": 997, "level_dbfs": 6})), "takes[0].tone.level_dbfs"),
        ("sweep of no length", text(take(tone={"kind": "sweep", "from_hz": 20, "to_hz": 2e4, "duration_s": -1,
                                               "level_dbfs": 0})), "takes[0].tone.duration_s"),
        ("unknown tone", text(take(tone={"kind": "square"})), "takes[0].tone.kind"),
        ("unknown fault", text(take(faults=["tired"])), "takes[0].faults[0]"),
        ("unknown observation", text(observation(what="smell", value=1)), "observations[0].what"),
        ("drop as a word", text(observation(what="ground_drop", value="gone")), "observations[0].value"),
        ("heard as a number", text(observation(what="noise_heard", value=3)), "observations[0].value"),
        ("negative drop", text(observation(what="ground_drop", value=-0.3)), "observations[0].value"),
    ]
    return rows


def wav(samples, rate=RATE, channels=2, bits=24, data_bytes=None, code=1):
    """A WAV file by hand, so that its header may lie."""
    if code == 3:
        data = np.asarray(samples, "<f4").tobytes()
        bits = 32
    else:
        whole = np.clip(np.round(np.asarray(samples) * 2 ** 23), -2 ** 23, 2 ** 23 - 1).astype("<i4")
        data = whole.reshape(-1, 1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    frame = channels * bits // 8
    head = struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", (36 + len(data)) & 0xFFFFFFFF, b"WAVE", b"fmt ", 16, code,
                       channels & 0xFFFF, rate & 0xFFFFFFFF, (rate * frame) & 0xFFFFFFFF, frame & 0xFFFF, bits, b"data",
                       len(data) if data_bytes is None else data_bytes)
    return head + data


def tone(seconds=3.0, amplitude=0.5, frequency_hz=200.0):
    t = np.arange(int(seconds * RATE)) / RATE
    one = amplitude * np.sin(2 * np.pi * frequency_hz * t)
    return np.stack([one, one], axis=1).reshape(-1)


def sound_files(folder):
    """Makes bad sound files (and worse things) in the folder: (name, what the refusal must contain)"""
    spoilt = tone()
    spoilt[20001] = float("nan")
    endless = tone()
    endless[33333] = float("inf")
    contents = {
        "empty.wav": (b"", ""),
        "empty.flac": (b"", ""),
        "text.wav": (b"this is no sound\n" * 100, ""),
        "random.flac": (np.random.default_rng(2).bytes(30000), ""),
        "only_riff.wav": (b"RIFF", ""),
        "header_only.wav": (wav([]), ""),
        "cut_header.wav": (wav(tone())[:30], ""),
        "flac_magic.flac": (b"fLaC", ""),
        "nan.wav": (wav(spoilt, code=3), "channel 2"),
        "infinity.wav": (wav(endless, code=3), "channel 2"),
        "rate_0.wav": (wav(tone(), rate=0), ""),
        "rate_4e9.wav": (wav(tone(), rate=4_000_000_000), ""),
        "no_channels.wav": (wav(tone(), channels=0), ""),
        "65535_channels.wav": (wav(tone(), channels=65535), ""),
        "short.wav": (wav(tone(0.05)), "0.05 s"),
        "promises_4_gib.wav": (wav(tone(0.05), data_bytes=0xFFFFFFFF), ""),
    }
    for name, (content, _) in contents.items():
        (folder / name).write_bytes(content)
    rows = [(name, want) for name, (_, want) in contents.items()]
    (folder / "folder.wav").mkdir()
    os.mkfifo(folder / "pipe.wav")
    os.symlink("/dev/zero", folder / "device.wav")
    os.symlink("loop.wav", folder / "loop.wav")
    return rows + [(name, "") for name in ("folder.wav", "pipe.wav", "device.wav", "loop.wav", "missing.wav")]
