"""Builds the programs with mutants in them: only the mutated sources are compiled anew, with the commands of a build that
stands, and linked before its libraries, whose own objects of the same sources are then left out."""
import concurrent.futures
import json
import pathlib
import re
import shlex
import shutil
import subprocess

HERE = pathlib.Path(__file__).resolve().parent
PROJECT = HERE.parents[2]


def run(command, **more):
    return subprocess.run(command, capture_output=True, text=True, errors="replace", **more)


def compiler_of(command):
    """The command's words up to the compiler: a cache knows none of these files."""
    words = shlex.split(command)
    return words[1:] if words[0].endswith("ccache") else words


class Build:
    def __init__(self, build, work, jobs):
        self.build, self.work, self.jobs = pathlib.Path(build).resolve(), pathlib.Path(work).resolve(), jobs
        listed = json.loads((self.build / "compile_commands.json").read_text())
        self.commands = {str(pathlib.Path(c["file"]).resolve().relative_to(PROJECT)): c["command"] for c in listed
                         if pathlib.Path(c["file"]).resolve().is_relative_to(PROJECT)}
        (self.work / "bin").mkdir(parents=True, exist_ok=True)
        (self.work / "obj").mkdir(exist_ok=True)
        for helper in (self.build / "bin").iterdir():     # what the end-to-end tests look for beside the program
            link = self.work / "bin" / helper.name
            if not link.exists():
                link.symlink_to(helper)
        (self.work / "as").mkdir(exist_ok=True)
        for program in ("hushtrace", "measure_probe", "shape_probe"):
            shutil.copy(HERE / "run_program.sh", self.work / "as" / program)

    def object_of(self, file):
        return self.work / "obj" / (file.replace("/", "_") + ".o")

    def compile(self, file, source, out, like=None):
        words = compiler_of(self.commands[like or file])
        for option in ("-o", "-c"):
            at = words.index(option)
            del words[at:at + 2]
        words = [w for w in words if w != "-Werror"]
        if not any("cmake_pch" in w for w in words):     # which must be read with the flags that it was made with
            words += ["-O1", "-g0"]
        words += ["-w", "-Wno-narrowing", "-include", str(HERE / "mutant.hpp"), "-iquote", str((PROJECT / file).parent)]
        words += ["-c", str(source), "-o", str(out)]
        return run(words, cwd=self.build)

    def compile_mutants(self, texts_of, sites_in):
        """Compiles each file until it takes what is left of its mutants. texts_of(file, numbered sites) gives its text;
        sites_in: file to a list of (number, site). Returns what is left."""
        def one(file):
            left = list(sites_in[file])
            source = self.work / file
            source.parent.mkdir(parents=True, exist_ok=True)
            whole, known = texts_of(file, left), source.with_suffix(".left")    # which of them compiled when this was tried before
            if known.exists() and known.read_text().partition("\n")[2] == whole:
                numbers = set(map(int, known.read_text().partition("\n")[0].split()))
                left = [(n, s) for n, s in left if n in numbers]
            while left:
                text = texts_of(file, left)
                if source.exists() and source.read_text() == text and self.object_of(file).exists():
                    return file, left
                self.object_of(file).unlink(missing_ok=True)
                source.write_text(text)
                done = self.compile(file, source, self.object_of(file))
                if done.returncode == 0:
                    known.write_text(" ".join(str(n) for n, _ in left) + "\n" + whole)
                    return file, left
                bad = {int(n) for n in re.findall(re.escape(str(source)) + r":(\d+):(?:\d+:)? +(?:error|required from here|  required)", done.stderr)}
                numbers = {int(n) for n in re.findall(r"\bint number = (\d+)", done.stderr)}    # an expression of many lines is named by its last
                keep = [(n, s) for n, s in left if n not in numbers and not any(s.line <= line <= s.last_line for line in bad)]
                if len(keep) == len(left):
                    named = {int(n) for n in re.findall(r"number = (\d+)", done.stderr)}
                    keep = [(n, s) for n, s in left if n not in named]
                if len(keep) == len(left):
                    keep = left[:-1]         # none is named: try without the last
                left = keep
            self.object_of(file).unlink(missing_ok=True)
            return file, left
        with concurrent.futures.ThreadPoolExecutor(self.jobs) as pool:
            return dict(pool.map(one, sorted(sites_in)))

    def linked(self, out):
        listed = self.work / "obj" / (out.name + ".objects")
        return listed.read_text().split("\n") if listed.exists() else []

    def link(self, program, files):
        """Links bin/PROGRAM of the build with the mutated objects of these files in it."""
        for name in ("mutant.cpp", "noting_listener.cpp"):
            out = self.work / "obj" / (name + ".o")
            if not out.exists() or out.stat().st_mtime < (HERE / name).stat().st_mtime:
                words = compiler_of(self.commands["tests/catch_main.cpp"])
                optimise = "-O1" if name == "mutant.cpp" else "-O0"
                done = run(words[:words.index("-o")] + ["-w", "-g0", optimise, "-c", str(HERE / name), "-o", str(out)], cwd=self.build)
                if done.returncode != 0:
                    raise SystemExit(done.stderr)
        lines = run(["ninja", "-t", "commands", f"bin/{program}"], cwd=self.build).stdout.splitlines()
        command = next(line for line in reversed(lines) if f"-o bin/{program}" in line)
        command = command.removeprefix(": && ").split(" && ")[0]
        knows = {f for f in files if f"libhushtrace_{pathlib.Path(f).parts[1]}.a" in command}
        objects = [str(self.object_of(f)) for f in sorted(knows)] + [str(self.work / "obj" / "mutant.cpp.o")]
        words = compiler_of(command)
        if "catch_main.cpp.o" in command:
            objects.append(str(self.work / "obj" / "noting_listener.cpp.o"))
        at = words.index("-o")
        out = self.work / "bin" / program
        parts = [self.build / w for w in objects + words if w.endswith((".a", ".o")) and (self.build / w).exists()]
        if out.exists() and not out.is_symlink() and self.linked(out) == objects:
            if all(part.stat().st_mtime < out.stat().st_mtime for part in parts):
                return
        out.unlink(missing_ok=True)
        (self.work / "obj" / (program + ".objects")).write_text("\n".join(objects))
        words[at:at + 2] = objects + ["-s", "-o", str(out)]
        done = run(words, cwd=self.build)
        if done.returncode != 0:
            raise SystemExit(f"{program} does not link:\n{done.stderr[-3000:]}")
