"""What bad input gets: exit 2, one line that names the file and the field or reason, nothing changed on the disk, no
waiting. Tried with every command that reads the thing."""
import functools
import hashlib
import json
import os
import pathlib
import shutil
import stat
import subprocess
import sys
import tempfile

import hostile

PROGRAM = sys.argv[1]
NOBODY = 65534
faults = []
tried = 0


def check(fact, what):
    global tried
    tried += 1
    if not fact:
        faults.append(what)


def run(*words, program=PROGRAM, **how):
    try:
        done = subprocess.run([program, *map(str, words)], capture_output=True, timeout=10, stdin=subprocess.DEVNULL, **how)
    except subprocess.TimeoutExpired:
        return 124, b"", b"did not end within 10 s\n"
    return done.returncode, done.stdout, done.stderr


@functools.lru_cache(maxsize=None)
def digest(path, *_):
    return hashlib.sha256(pathlib.Path(path).read_bytes()).hexdigest()


def snapshot(folder):
    """Every name under the folder, with its kind and content. A file whose inode, size and times (that of the last change
    can't be set) are as before is not read again."""
    seen = {}
    for path in sorted(folder.rglob("*")):
        facts = path.lstat()
        kind = stat.S_IFMT(facts.st_mode)
        content = None
        if stat.S_ISLNK(kind):
            content = os.readlink(path)
        elif stat.S_ISREG(kind):
            large = facts.st_size >= 1 << 30
            content = facts.st_size if large else digest(str(path), facts.st_ino, facts.st_size, facts.st_mtime_ns, facts.st_ctime_ns)
        seen[str(path.relative_to(folder))] = (kind, content)
    return seen


def refused(name, words, folder, wanted, code=2, **how):
    before = snapshot(folder)
    status, out, err = run(*words, **how)
    lines = err.decode("utf-8", "replace").splitlines()
    told = f"{name}: hushtrace {' '.join(map(str, words))}: "
    check(status == code, told + f"exit {status}, not {code}: {err[:200]!r}")
    check(len(lines) == 1, told + f"{len(lines)} lines on stderr: {err[:300]!r}")
    check(len(lines) != 1 or len(lines[0]) < 600, told + f"a line of {len(err)} bytes")
    for word in wanted:
        check(word in err.decode("utf-8", "replace"), told + f"no {word!r} in {err[:300]!r}")
    check(out == b"", told + f"printed {out[:100]!r} all the same")
    check(snapshot(folder) == before, told + "changed the disk")


def commands():
    """The commands that this program has."""
    listed = run("--help")[1].decode().split("Subcommands:")[-1]
    return {line.split()[0] for line in listed.splitlines() if line.startswith("  ") and line.split()}


def good_job(place):
    """A job with one good take."""
    folder = place / "van"
    (folder / "takes").mkdir(parents=True)
    (folder / "takes" / "good.wav").write_bytes(hostile.wav(hostile.tone()))
    (folder / "job.json").write_bytes(hostile.text(hostile.plain_job()))
    return folder


def readers(folder, have):
    """One command line for each command that reads a job."""
    lines = [["job", "--job", folder], ["job", "--job", folder, "--json"],
             ["job", "--job", folder, "--observe", "ground_drop=0.1V"],
             ["calibrate", "--job", folder, "--take", "takes/good.wav", "--volts", "1"],
             ["calibrate", "--job", folder, "--volts-full-scale", "7"]]
    lines += [[name, "--job", folder] for name in ("noise", "gain", "report", "chain", "power") if name in have]
    return lines


def job_files(place, have):
    folder = good_job(place)
    good = (folder / "job.json").read_bytes()
    for number, (name, content, wanted) in enumerate(hostile.job_files()):
        (folder / "job.json").write_bytes(content)
        lines = readers(folder, have)
        large = len(content) > 1 << 20
        # every file with one reader after the other, the telling ones with all
        for words in [lines[number % len(lines)]] if large or number % 7 else lines:
            refused(name, words, folder, ["job.json", wanted])
    (folder / "job.json").write_bytes(good)
    for words in lines[:3]:
        check(run(*words)[0] == 0, f"the good job is refused by {words}: {run(*words)[2]!r}")


def job_folders(place, have):
    folder = good_job(place)
    os.remove(folder / "job.json")
    (place / "file").write_text("no folder")
    for words in readers(folder, have):
        refused("no job.json", words, place, ["job.json"])
    for words in readers(place / "nowhere", have):
        refused("no folder", words, place, ["nowhere"])
    for words in readers(place / "file", have):
        refused("a file for a folder", words, place, ["file"])
    os.mkfifo(folder / "job.json")
    for words in readers(folder, have):
        refused("a pipe for job.json", words, place, ["job.json", "regular"])
    os.remove(folder / "job.json")
    (folder / "job.json").mkdir()
    for words in readers(folder, have):
        refused("a folder for job.json", words, place, ["job.json", "folder"])
    (folder / "job.json").rmdir()
    (place / "outside.json").write_bytes(hostile.text(hostile.plain_job()))
    os.symlink(place / "outside.json", folder / "job.json")
    for words in readers(folder, have):
        refused("a link for job.json", words, place, ["job.json", "link"])
    os.remove(folder / "job.json")

    shutil.move(place / "outside.json", folder / "job.json")
    shutil.move(folder / "takes" / "good.wav", place / "outside.wav")
    os.symlink(place / "outside.wav", folder / "takes" / "good.wav")
    for words in readers(folder, have):
        refused("a take that links out", words, place, ["takes[0].file", "link"])


def sounds(place, have):
    folder = good_job(place)
    bad = place / "bad"
    bad.mkdir()
    rows = hostile.sound_files(bad)
    for name, wanted in rows:
        refused(name, ["job", "--job", folder, "--add", bad / name, "--engine", "off"], place, [name, wanted])
        if "capture" in have and not name.startswith(("short", "promises")):   # these are captured, and marked too_short
            refused(name, ["capture", "--job", folder, "--from", bad / name, "--engine", "off"], place, [name])
    refused("pads for three", ["job", "--job", folder, "--add", folder / "takes" / "good.wav", "--name", "x",
                               "--attenuation-db", "1,2,3"], place, ["--attenuation-db"])
    refused("channels of three", ["job", "--job", folder, "--add", folder / "takes" / "good.wav", "--channels",
                                  "left,right,sub"], place, ["--channels"])
    refused("a take twice", ["job", "--job", folder, "--add", folder / "takes" / "good.wav"], place, ["takes[1].file"])

    # the same files as takes of the job
    good = json.loads((folder / "job.json").read_bytes())
    for name, wanted in rows:
        if name in ("device.wav",):   # leads out of the folder: refused as such, see above
            continue
        shutil.rmtree(folder / "takes")
        (folder / "takes").mkdir()
        target = folder / "takes" / name
        if name == "pipe.wav":
            os.mkfifo(target)
        elif (bad / name).is_dir():
            target.mkdir()
        elif name == "loop.wav":
            os.symlink("loop.wav", target)
        elif (bad / name).exists():
            shutil.copy(bad / name, target)
        only = dict(good, takes=[dict(good["takes"][0], file=f"takes/{name}")])
        (folder / "job.json").write_text(json.dumps(only))
        refused("as a take", ["calibrate", "--job", folder, "--take", f"takes/{name}", "--volts", "1"], place, [name])
        for command in ("noise", "gain", "report"):
            if command in have:
                refused("the only take", [command, "--job", folder], place, [name] if command == "noise" else [])
        if name == "loop.wav":
            continue
        # and among good ones: a warning that names it, the rest analysed
        (folder / "takes" / "good.wav").write_bytes(hostile.wav(hostile.tone()))
        both = dict(good, takes=good["takes"] + only["takes"])
        (folder / "job.json").write_text(json.dumps(both))
        for command in ("noise", "job"):
            if command not in have:
                continue
            status, out, err = run(command, "--job", folder, "--json", *(["--check"] if command == "job" else []))
            told = f"{name} among good takes: {command}: "
            check(status == 0, told + f"exit {status}: {err[:200]!r}")
            warnings = json.loads(out)["warnings"] if status == 0 else []
            check(any(one.get("take") == f"takes/{name}" for one in warnings), told + f"no warning names it: {warnings}")

    # wrongly named, yet readable: read by content
    (bad / "really_wav.flac").write_bytes(hostile.wav(hostile.tone()))
    (folder / "takes" / "good.wav").write_bytes(hostile.wav(hostile.tone()))
    (folder / "job.json").write_text(json.dumps(good))
    status, _, err = run("job", "--job", folder, "--add", bad / "really_wav.flac", "--engine", "off")
    check(status == 0, f"a WAV called .flac: {err!r}")
    # cut short in the middle: used up to there, and marked
    subprocess.run(["flac", "--totally-silent", "--force", "-o", bad / "whole.flac", bad / "really_wav.flac"], check=True)
    (bad / "cut.flac").write_bytes((bad / "whole.flac").read_bytes()[:-20_000])
    status, out, err = run("job", "--job", folder, "--add", bad / "cut.flac", "--engine", "off", "--json")
    check(status == 0 and json.loads(out)["results"]["take"].get("faults") == ["stopped"], f"cut short: {out!r} {err!r}")
    (bad / "cut.wav").write_bytes(hostile.wav(hostile.tone())[:400_000])
    status, out, err = run("job", "--job", folder, "--add", bad / "cut.wav", "--engine", "off", "--json")
    check(status == 0 and 1.3 < json.loads(out)["results"]["duration_s"] < 1.4, f"cut short: {out!r} {err!r}")


def options(place):
    """Requests that can't be met."""
    folder = good_job(place)
    for words, wanted in [
        (["job"], "--job"),
        (["job", "--job", folder, "--engine", "idle"], "--engine"),
        (["job", "--job", folder, "--observe", "ground_drop"], "ground_drop=0.08V"),
        (["job", "--job", folder, "--observe", "ground_drop=lots"], "'lots' is no number"),
        (["job", "--job", folder, "--observe", "ground_drop=nan"], "no number"),
        (["job", "--job", folder, "--observe", "ground_drop=1e999V"], "too large"),
        (["job", "--job", folder, "--observe", "ground_drop=0,08V"], "point"),
        (["job", "--job", folder, "--observe", "ground_drop=3ohm"], "'ohm' is no unit"),
        (["job", "--job", folder, "--observe", "ground_drop=-0.3"], "negative"),
        (["job", "--job", folder, "--observe", "noise_heard=loud"], "louder"),
        (["job", "--job", folder, "--observe", "ripple=1V", "--engine", "idel"], "did you mean 'idle'?"),
        (["job", "--job", folder, "--observe", "ripple=1V", "--rpm", "-3", "--engine", "idle"], "--rpm"),
        (["job", "--job", folder, "--observe", "ripple=1V", "--attached", "phone"], "--attached"),
        (["job", "--job", folder, "--observe", "ripple=1V", "--loads", b"\xff\xfe".decode("latin-1").encode("latin-1")],
         "UTF-8"),
        (["job", "--job", folder, "--title", b"\xff"], "UTF-8"),
        (["job", "--job", folder, "--cylinders", "99"], "vehicle.cylinders"),
        (["job", "--job", folder, "--amplifier", "sub,load_ohm=0"], "amplifiers[0].load_ohm"),
        (["job", "--job", folder, "--amplifier", "sub,powr_w=5"], "did you mean 'power_w'?"),
        (["job", "--job", folder, "--from", place / "nowhere.json"], "nowhere.json"),
        (["job", "--job", folder, "--new", "--title", "x"], "holds a job already"),
        (["job", "--job", place / "fresh", "--new"], "--title"),
        (["job", "--job", folder, "--new", "--check"], "one at a time"),
        (["job", "--job", folder, "--surprise"], "--surprise"),
        (["job", "--job", folder, "no\nsuch\nword"], "no such word"),
        (["job", "--job", place / "no\nwhere"], "no where"),
        (["tones", "square", "--out", place / "x.wav"], "none of sine"),
        (["tones", "sine"], "--out"),
        (["tones", "sine", "--out", place / "nowhere" / "x.wav"], "x.wav"),
        (["tones", "sine", "--out", folder], "van"),
        (["tones", "sine", "--out", folder / "takes" / "good.wav"], "good.wav"),
        (["tones", "sine", "--out", place / "x.mp3"], "x.mp3"),
        (["tones", "sine", "--out", place / "x.wav", "--level", "6"], "6 dBFS"),
        (["tones", "sine", "--out", place / "x.wav", "--level", "nan"], "--level"),
        (["tones", "sine", "--out", place / "x.wav", "--frequency", "30000"], "30000"),
        (["tones", "sine", "--out", place / "x.wav", "--duration", "-1"], "--duration"),
        (["capture", "--job", folder, "--simulate", "nowhere"], "nowhere"),
        (["capture", "--job", folder, "--simulate", "healthy", "--seconds", "-1"], "--seconds"),
        (["capture", "--job", folder, "--simulate", "healthy", "--engine", "idel"], "idel"),
        (["capture", "--job", place / "none", "--simulate", "healthy"], "none"),
        (["calibrate", "--job", folder], "--take"),
        (["calibrate", "--job", folder, "--take", "takes/good.wav"], "--volts"),
        (["calibrate", "--job", folder, "--take", "takes/good.wav", "--volts", "1", "--meter-accuracy", "good"], "--meter-accuracy"),
        (["calibrate", "--job", folder, "--take", "takes/good.wav", "--volts", "1", "--meter-accuracy", "-1%"], "--meter-accuracy"),
        (["calibrate", "--job", folder, "--take", "takes/good.wav", "--volts", "0"], "0 V"),
        (["calibrate", "--job", folder, "--take", "takes/good.wav", "--volts", "inf"], "no number"),
        (["calibrate", "--job", folder, "--take", "takes/none.wav", "--volts", "1"], "no take of this job"),
        (["calibrate", "--job", folder, "--take", "../x.wav", "--volts", "1"], "no take of this job"),
        (["calibrate", "--job", folder, "--take", "good.wav", "--volts", "1", "--frequency", "997"], "above 400 Hz"),
        (["calibrate", "--job", folder, "--take", "good.wav", "--volts", "1", "--frequency", "300"], "at 200.0 Hz"),
        (["calibrate", "--job", folder, "--take", "good.wav", "--volts", "1", "--channel", "sub"], "'sub'"),
        (["calibrate", "--job", folder, "--floor", "good.wav"], "inputs shorted"),
        (["calibrate", "--job", folder, "--volts-full-scale", "7,-7"], "-7"),
    ]:
        before = snapshot(place)
        status, out, err = subprocess_bytes(words)
        told = f"hushtrace {words}: "
        check(status == 2, told + f"exit {status}: {err!r}")
        check(err.count(b"\n") == 1, told + f"not one line: {err!r}")
        check(wanted in err.decode("utf-8", "replace"), told + f"no {wanted!r} in {err!r}")
        check(snapshot(place) == before, told + "changed the disk")


def subprocess_bytes(words):
    """Like run(), for words that may be no text."""
    line = [word if isinstance(word, bytes) else os.fsencode(str(word)) for word in words]
    done = subprocess.run([os.fsencode(PROGRAM), *line], capture_output=True, timeout=10, stdin=subprocess.DEVNULL)
    return done.returncode, done.stdout, done.stderr


def unwritable(place):
    """Folders that can't be written, by a user whom the file system doesn't let through everywhere."""
    folder = good_job(place)
    program = place / "hushtrace"
    shutil.copy(PROGRAM, program)
    for path in [place, *place.rglob("*")]:
        if not path.is_symlink():
            path.chmod(0o555 if path.is_dir() or path == program else 0o444)
    how = {"program": str(program)}
    if os.geteuid() == 0:
        how.update(user=NOBODY, group=NOBODY, extra_groups=[])
    check(run("job", "--job", folder, **how)[0] == 0, f"showing needs no writing: {run('job', '--job', folder, **how)}")
    refused("a closed folder", ["job", "--job", folder, "--observe", "ripple=1V"], place, ["job.json"], **how)
    refused("a closed folder", ["job", "--job", folder, "--cylinders", "6"], place, ["job.json"], **how)
    refused("a closed folder", ["calibrate", "--job", folder, "--take", "good.wav", "--volts", "1"], place, ["job.json"], **how)
    refused("a closed place", ["job", "--job", place / "fresh", "--new", "--title", "x"], place, ["fresh"], **how)
    steering = run("job", "--job", place / "a\u009b2J\u202eb")   # C1 control, turned direction: a terminal obeys both
    check(steering[0] == 2 and "\u009b" not in steering[2].decode() and "\u202e" not in steering[2].decode(), f"a terminal is steered: {steering}")
    refused("a file in the way", ["job", "--job", folder / "takes" / "good.wav", "--new", "--title", "x"], place,
            ["good.wav"], **how)
    os.chmod(folder / "job.json", 0)
    refused("a closed job.json", ["job", "--job", folder], place, ["job.json"], code=2, **how) if os.geteuid() == 0 else None
    for path in [place, *place.rglob("*")]:
        if path.is_dir():
            path.chmod(0o755)


def full_disk(place):
    """A disk that takes no more: exit 3, the old job.json as it was."""
    folder = good_job(place)

    def tight():
        import resource
        resource.setrlimit(resource.RLIMIT_FSIZE, (200, 200))

    refused("full disk", ["job", "--job", folder, "--observe", "ripple=1V"], place, ["job.json", "nothing was changed"],
            code=3, preexec_fn=tight)
    (place / "new.wav").write_bytes(hostile.wav(hostile.tone()))
    refused("full disk", ["job", "--job", folder, "--add", place / "new.wav", "--engine", "off"], place, ["new.wav"], code=3,
            preexec_fn=tight)


def main():
    have = commands()
    check({"job", "calibrate"} <= have, f"commands are missing from {have}")
    for part in (lambda place: job_files(place, have), lambda place: job_folders(place, have),
                 lambda place: sounds(place, have), options, unwritable, full_disk):
        with tempfile.TemporaryDirectory(prefix="hushtrace-bad-") as place:
            part(pathlib.Path(place).resolve())
    print("\n".join(faults[:40]) or f"{tried} facts hold")
    return 1 if faults or tried < 500 else 0


sys.exit(main())
