#!/usr/bin/env python3
"""Mutation: flips operators and constants in src/measure and src/diagnose, and counts how many of the mutants the tests tell.

    tests/bench/mutation.py BUILD --count 300 --seed 1

BUILD is a folder in which everything is built (DEVELOPERS.md). The sources themselves stay as they are: mutated copies, their objects
and the programs go to BUILD/mutation. Each mutant is a switch in one program (mutation/mutant.hpp). First every test runs once and
notes which mutants it reached and of which it saw another value; then each mutant runs the tests that saw one, quickest
first, until one fails, crashes or takes five times as long. What no unit test tells goes on to the judges and to the tests of the
whole program, for BUDGET seconds a mutant. A mutant that no test reaches counts as alive."""
import argparse
import collections
import concurrent.futures
import json
import os
import pathlib
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent / "mutation"))
from build import PROJECT, Build  # noqa: E402
from sites import sites_of, with_mutants  # noqa: E402

LAYERS = ("measure", "diagnose")
UNIT_TESTS = ("test_measure", "test_diagnose", "test_job", "test_report")
JUDGES = (("measure_probe", "tests/measure/judge/judge.py"), ("shape_probe", "tests/measure/judge/shape_judge.py"))
# what waits for sound in real time, for a phone's page or for the shell says nothing of a measurement
NOT_THESE = ("device", "live", "live_device", "live_follow", "live_view", "phone", "phone_attack", "phone_lost", "phone_page", "crash", "docs_links",
             "docs_figures", "many_jobs", "old_jobs", "schema", "capture", "tones", "job_edit", "job_questions", "bad_input", "readme", "docs",
             "demo", "any_rate", "entry_trials", "kept_results")
KEPT = PROJECT / "tests/end_to_end/test_kept_results.py"      # whose scenes are a test each
PYTHON = "/usr/bin/python3" if os.access("/usr/bin/python3", os.X_OK) else sys.executable   # Debian's own, which has SciPy
AT_ONCE_S = 4.0       # unit tests that together take this long run in one process
MEMORY = 6 << 30


def sample(args):
    """More sites than asked for, as some will not compile; no two on a line. Of few files: each drawn by how many sites it has,
    and then as many mutants from each, so that a site's chance is the same all over."""
    rng = random.Random(args.seed)
    found = {}
    for layer in LAYERS:
        for path in sorted((PROJECT / "src" / layer).rglob("*.cpp")):
            sites = sites_of(str(path.relative_to(PROJECT)), path.read_text(), rng.choice)
            if sites and re.search(args.only, str(path.relative_to(PROJECT))):
                found[str(path.relative_to(PROJECT))] = rng.sample(sites, len(sites))
    if args.files:
        ranked = sorted(found, key=lambda file: rng.random() ** (1.0 / len(found[file])), reverse=True)   # Efraimidis, Spirakis 2006
        found = {file: found[file] for file in ranked[:args.files]}
        most = -(-(args.count + 3) * 5 // (4 * len(found)))
        found = {file: sites[:most] for file, sites in found.items()}
    out, lines = [], set()
    for site in rng.sample([s for sites in found.values() for s in sites], sum(map(len, found.values()))):
        span = {(site.file, line) for line in range(site.line, site.last_line + 1)}
        if not span & lines:
            lines |= span
            out.append(site)
        if len(out) >= args.count * 1.25 + 3:
            break
    return out


def limits(seconds):
    def set_them():
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds) + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    return set_them


class Trial:
    """Tests that were run once with notes taken, and what a mutant does to them."""

    def __init__(self, build, args):
        self.build, self.args = build, args
        self.unit = {}        # program: list of (seconds, name)
        self.scripts = []     # (seconds, command)
        self.saw = {}         # test: set of mutants of which it saw another value
        self.reached = set()

    def environment(self, number, notes=None, **more):
        more |= {"MUTANT": str(number), "HUSHTRACE_SOURCE_DIR": str(PROJECT), "HUSHTRACE_SIGNALS": str(PROJECT / "signals"),
                 "HUSHTRACE_BUILD_DIR": str(self.build.work), "PYTHONDONTWRITEBYTECODE": "1"}
        if notes:
            more["MUTANT_NOTES"] = notes
        return {**os.environ, **more}

    def read_notes(self, path, test=None):
        """Lines of mutant.cpp; of a script's many programs all belong to it. What runs before any case belongs to every one."""
        start, cases = set(), []
        for line in pathlib.Path(path).read_text(errors="replace").splitlines() if pathlib.Path(path).exists() else []:
            name, seconds, pairs = line.split("\t")
            seen = dict(p.split(":") for p in pairs.split())
            self.reached |= {int(n) for n in seen}
            differ = {int(n) for n, how in seen.items() if how == "3"}
            if test:
                self.saw.setdefault(test, set()).update(differ)
            elif name == "-":
                start |= differ
            else:
                cases.append((float(seconds), name, differ))
        return start, cases

    def long_cases(self):
        """(layer, case) of those that took longer than --longest when ctest last ran all in this build."""
        log = self.build.build / "Testing" / "Temporary" / "LastTest.log"
        text = log.read_text(errors="replace") if log.exists() else ""
        times = re.findall(r"^\d+/\d+ Testing: (\w+): ?(.*)$(?:\n.*)*?\nTest time = +([\d.]+) sec", text, re.M)
        return {(layer, name) for layer, name, seconds in times if float(seconds) > self.args.longest}

    @staticmethod
    def write_cases(path, names):
        pathlib.Path(path).write_text("".join('"' + re.sub(r'([\\",])', r"\\\1", n) + '"\n' for n in names))

    def note_unit_tests(self):
        long_ones = self.long_cases()

        def one(program):
            binary = str(self.build.work / "bin" / program)
            notes = self.build.work / "notes" / program
            notes.parent.mkdir(exist_ok=True)
            if notes.exists() and notes.stat().st_mtime > os.stat(binary).st_mtime:
                return program, self.read_notes(notes)
            with tempfile.TemporaryDirectory() as top:
                names = subprocess.run([binary, "--list-test-names-only"], capture_output=True, text=True).stdout.splitlines()
                self.write_cases(top + "/cases", [n for n in names if (program[5:], n) not in long_ones])
                subprocess.run([binary, "-f", top + "/cases"], env=self.environment(-1, top + "/notes"), cwd=top, capture_output=True,
                               preexec_fn=limits(600))
                shutil.copy(top + "/notes", notes)
                return program, self.read_notes(notes)
        with concurrent.futures.ThreadPoolExecutor(self.args.jobs) as pool:
            for program, (start, cases) in pool.map(one, self.args.programs):
                self.unit[program] = sorted((s, n) for s, n, _ in cases)
                for _, name, differ in cases:
                    self.saw[program, name] = differ | start
                print(f"{program}: {len(cases)} cases, {sum(s for s, _, _ in cases):.0f} s", flush=True)

    def note_scripts(self):
        commands = [(probe, str(PROJECT / script)) for probe, script in JUDGES]
        commands += [("hushtrace", str(p)) for p in sorted((PROJECT / "tests/end_to_end").glob("test_*.py")) if p.stem[5:] not in NOT_THESE]
        commands += [("hushtrace", str(KEPT), p.stem) for p in sorted((KEPT.parent / "kept_results").glob("*.txt"))]
        commands = [one for one in commands if re.search(self.args.scripts, self.runs_of(one).name)]

        def one(command):
            runs = self.runs_of(command)
            took, program = runs / "took", self.build.work / "bin" / command[0]
            if not took.exists() or took.stat().st_mtime < program.stat().st_mtime:
                shutil.rmtree(runs, ignore_errors=True)
                runs.mkdir(parents=True)
                from_s = time.monotonic()
                done = self.script(command, -1, 900)
                if done != 0:
                    return time.monotonic() - from_s, command, done
                took.write_text(f"{time.monotonic() - from_s} {done}")
            for notes in runs.glob("*.notes"):
                self.read_notes(notes, command)
            seconds, done = took.read_text().split()
            return float(seconds), command, int(done) if done != "None" else None
        with concurrent.futures.ThreadPoolExecutor(self.args.jobs) as pool:
            for seconds, command, done in pool.map(one, commands):
                if done == 0:
                    self.scripts.append((seconds, command))
                else:
                    print(f"left out, as it fails without a mutant: {self.runs_of(command).name} ({done})")
        self.scripts.sort()
        print(f"{len(self.scripts)} scripts, {sum(s for s, _ in self.scripts):.0f} s", flush=True)

    def runs_of(self, command):
        return self.build.work / "runs" / "-".join([pathlib.Path(command[1]).stem, *command[2:]])

    def script(self, command, number, timeout):
        program, script, *words = command
        with tempfile.TemporaryDirectory() as top:
            environment = self.environment(number, MUTANT_RUNS=str(self.runs_of(command)), MUTANT_COUNT=top + "/count", TMPDIR=top,
                                           HUSHTRACE_FIRST_FAILURE="1")
            command = [PYTHON, script, str(self.build.work / "as" / program), *words]
            return self.finish(command, environment, timeout, str(pathlib.Path(script).parent))

    def finish(self, command, environment, timeout, cwd):
        """Exit code; None when it took more seconds, of the processor or --slow times as many by the clock. Its children end with it."""
        with subprocess.Popen(command, env=environment, cwd=cwd, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL,
                              start_new_session=True, preexec_fn=limits(timeout)) as child:
            try:
                code = child.wait(timeout * self.args.slow)
                return None if code == -signal.SIGXCPU else code
            except subprocess.TimeoutExpired:
                os.killpg(child.pid, signal.SIGKILL)
                return None

    def told_by_unit(self, number):
        for program, cases in self.unit.items():
            batch, batch_s = [], 0.0
            todo = [(s, n) for s, n in cases if number in self.saw[program, n]]
            for k, (seconds, name) in enumerate(todo):
                batch.append(name)
                batch_s += seconds
                if k + 1 < len(todo) and batch_s + todo[k + 1][0] < AT_ONCE_S:
                    continue
                with tempfile.TemporaryDirectory() as top:
                    self.write_cases(top + "/cases", batch)
                    code = self.finish([str(self.build.work / "bin" / program), "-a", "-f", top + "/cases"], self.environment(number),
                                       3 + 5 * batch_s, top)
                if code != 0:
                    what = batch[0] if len(batch) == 1 else f"{len(batch)} quick cases"
                    return f"{program}: {what}" + (" (took too long)" if code is None else "")
                batch, batch_s = [], 0.0
        return None

    def told_by_script(self, number):
        spent = 0.0
        for seconds, command in self.scripts:
            if number not in self.saw.get(command, ()):
                continue
            if spent + seconds > self.args.budget:
                return "", False
            code = self.script(command, number, 10 + 5 * seconds)
            if code != 0:
                return self.runs_of(command).name + (" (took too long)" if code is None else ""), True
            spent += seconds
        return None, True


def equivalents():
    """Mutants that were looked at and change nothing that could be told: a line each in mutation/equivalent.txt, FILE, WHAT, LINE OF CODE, WHY."""
    rows = [r.split("\t") for r in (PROJECT / "tests/bench/mutation/equivalent.txt").read_text().splitlines() if r and not r.startswith("#")]
    return {(file, what, code): why for file, what, code, why in rows}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("build")
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--files", type=int, help="take the mutants from so many files only, drawn by their size: less to compile")
    parser.add_argument("--only", default="", help="mutants of files alone whose paths match this pattern, such as 'floor_bands|gain_knee'")
    parser.add_argument("--budget", type=float, default=60.0, help="seconds of whole-program tests a mutant may take; 0: unit tests alone")
    parser.add_argument("--scripts", default="", help="only tests of the whole program whose names match this pattern, such as 'kept|chain'")
    parser.add_argument("--longest", type=float, default=2.0, help="leaves out unit tests that took more seconds when ctest last ran in BUILD")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--slow", type=float, default=4.0, help="a test's time limit by the clock is so many times that by the processor")
    parser.add_argument("--programs", nargs="*", default=UNIT_TESTS)
    parser.add_argument("--least", type=float, default=0.0, help="exit 1 when a smaller share is killed [%%]")
    parser.add_argument("--list", action="store_true", help="name the mutants, and build nothing")
    parser.add_argument("--again", help="results of an earlier run with this seed: only what lived then is tried, with --scripts by these alone")
    args = parser.parse_args()
    chosen = list(enumerate(sample(args), 1))
    if args.list:
        for number, site in chosen:
            print(number, site.name)
        return 0
    from_s = time.monotonic()
    build = Build(args.build, pathlib.Path(args.build) / "mutation", args.jobs)
    by_file = collections.defaultdict(list)
    for number, site in chosen:
        by_file[site.file].append((number, site))
    plain = {file: (PROJECT / file).read_text() for file in by_file}
    left = build.compile_mutants(lambda file, numbered: with_mutants(plain[file], numbered), by_file)
    mutants = sorted((n, s) for numbered in left.values() for n, s in numbered)[:args.count]
    print(f"seed {args.seed}: {len(mutants)} mutants in {len(left)} files, {len(chosen) - sum(map(len, left.values()))} did not compile, "
          f"{time.monotonic() - from_s:.0f} s", flush=True)
    linked = [f for f in left if left[f]]
    for program in list(args.programs) + (["hushtrace"] + [p for p, _ in JUDGES] if args.budget > 0 else []):
        build.link(program, linked)
    trial = Trial(build, args)
    trial.note_unit_tests()
    told = {}
    if args.again:
        earlier = {r["mutant"]: r for r in json.loads(pathlib.Path(args.again).read_text())}
        told = {n: earlier[n]["told_by"] for n, s in mutants if n in earlier and earlier[n]["site"] == s.name and earlier[n]["told_by"]}

    progress = build.work / f"seed-{args.seed}.progress"      # so that what is known is not lost when this is stopped
    progress.unlink(missing_ok=True)

    def unit(numbered):
        by = told.get(numbered[0]) or trial.told_by_unit(numbered[0])
        with progress.open("a") as file:
            file.write(f"{numbered[0]}\t{by}\n")
        return numbered[0], by
    if args.again and args.scripts:
        told = {n: told.get(n) for n, _ in mutants}
    else:
        with concurrent.futures.ThreadPoolExecutor(args.jobs) as pool:
            told = dict(pool.map(unit, mutants))
    print(f"unit tests tell {sum(map(bool, told.values()))} of {len(mutants)}, {time.monotonic() - from_s:.0f} s", flush=True)
    cut_short = set()
    if args.budget > 0 and not all(told.values()):
        trial.note_scripts()
        with concurrent.futures.ThreadPoolExecutor(args.jobs) as pool:
            alive = [n for n, by in told.items() if not by]
            random.Random(args.seed).shuffle(alive)      # so that a run that is stopped says something of them all
            for number, (by, whole) in zip(alive, pool.map(trial.told_by_script, alive)):
                told[number] = by or None
                if not whole:
                    cut_short.add(number)
                with progress.open("a") as file:
                    file.write(f"{number}\t{told[number]}\n")
    return say(args, build, mutants, told, trial, cut_short, plain, from_s)


def say(args, build, mutants, told, trial, cut_short, plain, from_s):
    known = equivalents()
    rows = []
    for number, site in mutants:
        code = plain[site.file].split("\n")[site.line - 1].strip()
        saw = any(number in seen for seen in trial.saw.values())
        state = "told" if told[number] else "not reached" if number not in trial.reached else "no value differs" if not saw else \
            "alive, tests left out for time" if number in cut_short else "alive"
        rows.append({"mutant": number, "site": site.name, "kind": site.kind, "state": state, "told_by": told[number], "code": code,
                     "equivalent": known.get((site.file, site.what, code))})
        if not told[number]:
            print(f"{state}: {site.name}\n    {code[:150]}" + (f"\n    equivalent: {rows[-1]['equivalent']}" if rows[-1]["equivalent"] else ""))
    out = build.work / f"seed-{args.seed}.json"
    out.write_text(json.dumps(rows, indent=1))
    for key in ("kind", "state"):
        for name, count in sorted(collections.Counter(r[key] for r in rows).items()):
            killed = sum(r["told_by"] is not None for r in rows if r[key] == name)
            print(f"{key} {name}: {killed} of {count} told")
    killed, same = sum(bool(r["told_by"]) for r in rows), sum(bool(r["equivalent"]) and not r["told_by"] for r in rows)
    share = 100.0 * killed / max(1, len(rows))
    print(f"{killed} of {len(rows)} mutants told: {share:.1f} %"
          + (f", {100.0 * killed / max(1, len(rows) - same):.1f} % without {same} known equivalents" if same else "")
          + f" ({out}, {time.monotonic() - from_s:.0f} s)")
    return 1 if share < args.least else 0


if __name__ == "__main__":
    sys.exit(main())
