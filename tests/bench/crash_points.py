"""The program is killed at every call that changes something in a job's folder, and cut off from power behind every one: what is
left must be a job that can be read, in a state that the command passes through, and the next command must work.

    tests/bench/crash_points.py build/bin/hushtrace build/bin/kill_at_call.so [every] [first]

`every` takes each so many-th call alone, beginning with `first` (tests/end_to_end/test_crash.py does so). Prints one line a command.

A power cut is worked out from the log of the calls: what a file held at its last fsync is on the disk, what was written since is
lost, or half there, or all there; a name that was given, moved or taken away since the last fsync of its folder is in its old
state or its new one, each by itself. That is what POSIX leaves open, and more than file systems of today do.
"""
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

import numpy as np
from scipy.io import wavfile

RATE = 48000


def tone(path, frequency_hz, seconds, level_dbfs, seed):
    time = np.arange(int(seconds * RATE)) / RATE
    sound = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * time) + np.random.default_rng(seed).normal(0, 1e-5, len(time))
    wavfile.write(path, RATE, np.stack([sound, sound], 1).astype(np.float32))


class Trials:
    def __init__(self, program, library, place):
        self.program, self.preloaded, self.place = str(program), str(library), pathlib.Path(place)
        self.points = self.cuts = 0
        self.faults = []
        tone(self.place / "new.wav", 300, 1.0, -20, 1)
        self.base = self.place / "base"   # a job with a take to calibrate by
        tone(self.place / "tone.wav", 200, 2.0, -10, 2)
        self.must("job", "--job", self.base, "--new", "--title", "Van", "--date", "2026-01-31")
        self.must("job", "--job", self.base, "--add", self.place / "tone.wav", "--engine", "off", "--tone", "sine", "--frequency", 200,
                  "--level", -10, "--via", "stick")
        content = json.loads((self.base / "job.json").read_text())
        content["shop_note"] = "kept as it is"
        (self.base / "job.json").write_text(json.dumps(content, indent=2))

    def commands(self, job):
        """What changes a job's folder: a name, whether the job is there before, the words."""
        return [
            ("job --new", False, ["job", "--job", job, "--new", "--title", "Van", "--date", "2026-01-31"]),
            ("job --add", True, ["job", "--job", job, "--add", self.place / "new.wav", "--engine", "off"]),
            ("job --observe", True, ["job", "--job", job, "--observe", "ground_drop=0.08V"]),
            ("job, described", True, ["job", "--job", job, "--cylinders", "6", "--amplifier", "sub,power_w=500"]),
            ("job --take", True, ["job", "--job", job, "--take", "tone", "--volume", "12"]),
            ("job --withdraw", True, ["job", "--job", job, "--withdraw", "takes/tone.wav"]),
            ("calibrate", True, ["calibrate", "--job", job, "--take", "takes/tone.wav", "--volts", "1", "--meter-accuracy", "1%+3"]),
            ("capture", True, ["capture", "--job", job, "--simulate", "healthy", "--meter", "--engine", "off", "--seconds", "1", "--name", "off"]),
            ("report", True, ["report", "--job", job]),
        ]

    def run(self, *words, **environment):
        # a sanitizer's own library would want to come before ours
        told = dict(os.environ, ASAN_OPTIONS="verify_asan_link_order=0:" + os.environ.get("ASAN_OPTIONS", ""), **environment)
        return subprocess.run([self.program, *map(str, words)], capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL, env=told)

    def must(self, *words):
        done = self.run(*words)
        assert done.returncode == 0, (words, done)
        return done

    def fresh(self, name, there):
        """A folder of its own with the job in it, if it is there before."""
        folder = self.place / name
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        if there:
            shutil.copytree(self.base, folder / "job")
        return folder

    def check(self, condition, what):
        if not condition:
            self.faults.append(what)

    # -- what may be found -------------------------------------------------------------------------------------------------------

    @staticmethod
    def state_of(job):
        """job.json without the moment of a recording; None where there is no job."""
        if not (job / "job.json").exists():
            return None
        content = json.loads((job / "job.json").read_text())
        for take in content.get("takes", []):
            take.pop("recorded_at", None)
        return json.dumps(content)

    def readable(self, job, states, told, finished=False):
        """The job is one of the states, each of its takes has its file, what lies about is named, and more can be done with it."""
        shown = self.run("job", "--job", job, "--check", "--json")
        try:
            state = self.state_of(job)
        except ValueError:
            self.check(False, f"{told}: job.json is torn")
            return
        self.check(state in states, f"{told}: a state that is neither before nor after: {state}")
        if finished:
            self.check(state == states[-1], f"{told}: the command had ended, and its change is gone")
        if state is None:
            self.check(shown.returncode == 2, f"{told}: no job, and it is shown all the same: {shown}")
            return
        if not self.check_shown(shown, job, told):
            return
        more = self.run("job", "--job", job, "--observe", "ripple=0.1V")
        self.check(more.returncode == 0, f"{told}: the next command fails: {more.stderr}")
        self.check(not (job / ".job.json.new").exists(), f"{told}: a temporary is still there after the next change")

    def check_shown(self, shown, job, told):
        self.check(shown.returncode == 0, f"{told}: can't be read: {shown.stderr}")
        if shown.returncode != 0:
            return False
        results = json.loads(shown.stdout)["results"]
        listed = {take["file"] for take in results["job"].get("takes", [])}
        for file in listed:
            self.check((job / file).exists(), f"{told}: an entry without its file: {file}")
        named = " ".join(" ".join([one["text"], *one["make"]]) for one in results["missing"] if one["code"] in ("take_not_listed", "left_over"))
        for path in [one for folder in ("takes", "records") for one in job.glob(f"{folder}/**/*") if one.is_file()]:
            known = str(path.relative_to(job)) in listed or path.suffix in (".html", ".json", ".svg", ".csv") and not path.name.startswith(".")
            self.check(known or path.name in named, f"{told}: {path.name} lies about, and is not named")
        return True

    def sounds_are_whole(self, job, reference, told):
        """A take that isn't marked as stopped has all of its sound."""
        try:
            takes = json.loads((job / "job.json").read_text()).get("takes", [])
        except (OSError, ValueError):   # told by readable()
            return
        for take in takes:
            ours, whole = job / take["file"], reference / take["file"]
            if "stopped" not in take.get("faults", []) and whole.exists():
                self.check(ours.exists() and ours.read_bytes() == whole.read_bytes(), f"{told}: {take['file']} is not whole, and isn't marked")

    # -- kills ----------------------------------------------------------------------------------------------------------------------

    def reference(self, name, there, make):
        """One run to its end: its calls, and the states of job.json on the way."""
        folder = self.fresh("reference", there)
        log = self.place / "log"
        log.unlink(missing_ok=True)
        before = self.state_of(folder / "job")
        done = self.run(*make(folder / "job"), LD_PRELOAD=self.preloaded, CRASH_FOLDER=str(folder), CRASH_LOG=str(log))
        assert done.returncode == 0, (name, done)
        calls = read_log(log)
        states, disk = [before], Disk(folder, self.base if there else None)
        for call in calls:
            disk.apply(call)
            text = disk.text(folder / "job" / "job.json")
            if text is not None:
                content = json.loads(text)   # written under its own name it would be torn here
                for take in content.get("takes", []):
                    take.pop("recorded_at", None)
                if json.dumps(content) != states[-1]:
                    states.append(json.dumps(content))
        assert states[-1] == self.state_of(folder / "job"), (name, "the log does not end where the disk does")
        return calls, states

    def kills(self, name, there, make, states, every, first):
        number, tried = first, 0
        while True:
            for torn in ({}, {"CRASH_TORN": "1"}):
                folder = self.fresh("killed", there)
                done = self.run(*make(folder / "job"), LD_PRELOAD=self.preloaded, CRASH_FOLDER=str(folder), CRASH_AT=str(number), **torn)
                if done.returncode != -9:
                    self.check(done.returncode == 0, f"{name}, call {number}: {done}")
                    return tried
                told = f"{name}, killed {'within' if torn else 'before'} call {number}"
                self.readable(folder / "job", states, told)
                tried += 1
                if not there and not (folder / "job" / "job.json").exists():
                    again = self.run(*make(folder / "job"))
                    self.check(again.returncode == 0, f"{told}: it can't be tried again: {again.stderr}")
            number += every

    # -- power cuts -----------------------------------------------------------------------------------------------------------------

    def power_cuts(self, name, there, calls, states, every, first):
        tried, seen = 0, set()
        reference = self.place / "reference"
        ends = [*range(first, len(calls), every), len(calls)]
        for end in ends:
            disk = Disk(reference, self.base if there else None)
            for call in calls[:end]:
                disk.apply(call)
            for how, names in disk.name_choices():
                for content in ("lost", "torn", "all"):
                    tree = disk.after_cut(names, content)
                    mark = repr(sorted(tree.items()))
                    if (mark, end == len(calls)) in seen:
                        continue
                    seen.add((mark, end == len(calls)))
                    folder = self.fresh("cut", False)
                    for path, data in sorted(tree.items()):
                        target = folder / pathlib.Path(path).relative_to(reference)
                        if data is None:
                            target.mkdir(parents=True, exist_ok=True)
                        else:
                            target.parent.mkdir(parents=True, exist_ok=True)
                            target.write_bytes(data)
                    told = f"{name}, power cut behind call {end} of {len(calls)}, names {how}, content {content}"
                    self.sounds_are_whole(folder / "job", reference / "job", told)
                    self.readable(folder / "job", states, told, finished=end == len(calls))
                    tried += 1
        return tried

    def all(self, every=1, first=1, say=print, enough_s=float("inf")):
        """Every command in turn; on a slow machine the rest is left out once `enough_s` have passed, and said so."""
        end = time.monotonic() + enough_s
        for name, there, words in self.commands("{}"):
            if time.monotonic() > end:
                say(f"{name}: left out, {enough_s} s have passed")
                continue
            make = lambda job, words=words: [job if one == "{}" else one for one in words]
            calls, states = self.reference(name, there, make)
            points = self.kills(name, there, make, states, every, first)
            cuts = self.power_cuts(name, there, calls, states, every, first)
            self.points += points
            self.cuts += cuts
            say(f"{name}: {len(calls)} calls, {len(states)} states, killed {points} times, {cuts} power cuts, {len(self.faults)} faults so far")


def read_log(path):
    """The calls as (what, path, fields, bytes)."""
    data, at, calls = path.read_bytes(), 0, []
    while at < len(data):
        end = data.index(b"\n", at)
        what, *fields, count = data[at:end].decode().split("\t")
        at = end + 1
        calls.append((what, fields, data[at:at + int(count)]))
        at += int(count)
    return calls


class Disk:
    """What the calls make of a folder: names and contents as the program sees them, and what of both is on the disk for sure."""

    def __init__(self, folder, base):
        self.folder = str(folder)
        self.now, self.sure = {}, {}      # path: inode, or None for a folder
        self.bytes, self.safe = {}, {}    # inode: content
        self.pending = []                 # changes of names that no fsync of their folder has made sure
        self.now[self.folder] = self.sure[self.folder] = None
        if base:
            for path in [base, *base.rglob("*")]:
                name = str(pathlib.Path(folder) / "job" / path.relative_to(base))
                inode = None if path.is_dir() else ("base", name)
                self.now[name] = self.sure[name] = inode
                if inode:
                    self.bytes[inode] = self.safe[inode] = path.read_bytes()

    def text(self, path):
        inode = self.now.get(str(path))
        return None if inode is None else self.bytes[inode].decode()

    def apply(self, call):
        what, fields, data = call
        if what == "open":
            path, inode, cut = fields
            if path not in self.now:
                # an inode's number may come again once its file is gone
                inode = (inode, len(self.bytes))
                self.bytes[inode], self.safe[inode] = b"", b""
                self.rename_to({path: inode})
            elif cut == "1":
                self.bytes[self.now[path]] = b""
        elif what == "write":
            path, inode, place = fields
            inode, place = self.latest(inode, path), int(place)
            content = self.bytes[inode].ljust(place, b"\0")
            self.bytes[inode] = content[:place] + data + content[place + len(data):]
        elif what == "truncate":
            path, inode, size = fields
            inode = self.latest(inode, path)
            self.bytes[inode] = self.bytes[inode][:int(size)].ljust(int(size), b"\0")
        elif what == "sync":
            path, inode = fields
            if path in self.now and self.now[path] is None:
                self.sync_folder(path)
            else:
                inode = self.latest(inode, path)
                self.safe[inode] = self.bytes[inode]
        elif what == "rename":
            old, new = fields
            self.rename_to({old: "gone", new: self.now[old]})
        elif what == "link":
            old, new = fields
            self.rename_to({new: self.now[old]})
        elif what in ("unlink", "rmdir"):
            self.rename_to({fields[0]: "gone"})
        elif what == "mkdir":
            self.rename_to({fields[0]: None})
        else:
            raise AssertionError(call)

    def latest(self, inode, path):
        known = self.now.get(path)
        if isinstance(known, tuple) and known[0] in (inode, "base"):
            return known
        return max((one for one in self.bytes if one[0] == inode), key=lambda one: one[1])

    def rename_to(self, changes):
        """One change of names, which happens whole or not at all."""
        self.put(self.now, changes)
        self.pending.append(changes)

    @staticmethod
    def put(names, changes):
        for path, inode in changes.items():
            if inode == "gone":
                names.pop(path, None)
            else:
                names[path] = inode

    def sync_folder(self, path):
        mine = lambda changes: any(str(pathlib.Path(one).parent) == path for one in changes)
        for changes in self.pending:
            if mine(changes):
                self.put(self.sure, changes)
        self.pending = [changes for changes in self.pending if not mine(changes)]

    def name_choices(self):
        """Each way in which the names may have come onto the disk."""
        def with_these(chosen):
            names = dict(self.sure)
            for changes in chosen:
                self.put(names, changes)
            return names
        yield "old", with_these([])
        if self.pending:
            yield "new", with_these(self.pending)
        for number, one in enumerate(self.pending):
            if len(self.pending) > 1:
                yield f"new in one case ({number + 1})", with_these([one])
                yield f"old in one case ({number + 1})", with_these([other for other in self.pending if other is not one])

    def after_cut(self, names, content):
        """path: bytes, None for a folder. A name in a folder that isn't there is not there either."""
        tree = {}
        for path, inode in sorted(names.items()):
            parent = str(pathlib.Path(path).parent)
            if path != self.folder and parent not in tree:
                continue
            if inode is None:
                tree[path] = None
                continue
            safe, now = self.safe[inode], self.bytes[inode]
            if content == "lost" or safe == now:
                tree[path] = safe
            elif content == "all":
                tree[path] = now
            else:
                half = len(safe) + (len(now) - len(safe)) // 2 if len(now) > len(safe) else len(now) // 2
                tree[path] = now[:half]
        return tree


def main():
    program, library = map(os.path.abspath, sys.argv[1:3])
    every, first = (int(one) for one in (sys.argv[3:5] + ["1", "1"][len(sys.argv[3:5]):]))
    with tempfile.TemporaryDirectory(prefix="hushtrace-crash-") as place:
        trials = Trials(program, library, pathlib.Path(place).resolve())
        trials.all(every, first, say=lambda text: print(text, flush=True))
    print("\n".join(trials.faults[:60]))
    print(f"{trials.points} kills, {trials.cuts} power cuts, {len(trials.faults)} faults")
    return 1 if trials.faults else 0


if __name__ == "__main__":
    sys.exit(main())
