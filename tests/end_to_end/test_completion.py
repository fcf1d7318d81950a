"""Completion in bash and zsh: everything that --help tells, on a terminal and asked by itself; judges: the shells."""
import os
import pathlib
import pty
import select
import shutil
import subprocess
import sys
import tempfile
import time

import pyte

import help_pages

PROGRAM = pathlib.Path(sys.argv[1]).resolve()
PAGES = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "pages"
SIGNALS = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / "signals"

# As readline would: the words of the line, the last one being typed.
ASK = """source "$1"
while IFS=$'\\t' read -r -a COMP_WORDS; do
    [[ ${COMP_WORDS[-1]} == . ]] && COMP_WORDS[-1]=""
    COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
    _hushtrace
    (IFS=$'\\t'; echo "${COMPREPLY[*]}")
done
"""


class Bash:
    """Asks the completion what it offers, many lines at once."""

    def __init__(self, folder):
        self.folder, self.lines, self.checks = folder, [], []

    def expect(self, words, offered, exactly=True):
        self.lines.append("\t".join([str(PROGRAM), *words[:-1], words[-1] or "."]))
        self.checks.append((words, sorted(offered), exactly))

    def settle(self):
        done = subprocess.run(["bash", "--norc", "-c", ASK, "ask", PAGES / "hushtrace"], input="\n".join(self.lines) + "\n",
                              capture_output=True, text=True, cwd=self.folder, timeout=120)
        assert done.returncode == 0 and not done.stderr, done.stderr
        answers = done.stdout.split("\n")[:-1]
        assert len(answers) == len(self.checks), (len(answers), len(self.checks))
        for (words, offered, exactly), answer in zip(self.checks, answers):
            got = sorted(filter(None, answer.split("\t")))
            assert got == offered if exactly else set(offered) <= set(got), (words, got, offered)
        return len(answers)


def check_bash(folder):
    bash, lists = Bash(folder), 0
    commands = help_pages.commands(PROGRAM)
    bash.expect([""], commands)
    bash.expect(["--ver"], ["--version"])
    bash.expect(["cal"], ["calibrate"])
    for command in commands:
        told = help_pages.options(PROGRAM, command)
        bash.expect([command, "--"], told)
        for option, (_, text) in told.items():
            words = help_pages.listed_words(text)
            if words:
                lists += 1
                bash.expect([command, option, ""], words)
                bash.expect([command, option, "=", words[-1][:2]], [word for word in words if word.startswith(words[-1][:2])])
    assert lists >= 40, lists   # the conditions alone are seven, in four commands
    bash.expect(["tones", ""], ["sine", "stepped", "two_tone", "sweep", "pink", "near_silence", "polarity_pulse"])
    bash.expect(["capture", "--hookup", "isolator,shorted_at_a"], ["isolator,shorted_at_amp"])
    bash.expect(["tones", "sine", "--bits", ""], ["16", "24"])
    bash.expect(["job", "--observe", "ground_"], ["ground_drop="])
    bash.expect(["noise", "--job", "a job", "--floor", ""], [])
    vehicles = [file.stem for file in SIGNALS.glob("*.json")]
    bash.expect(["capture", "--simulate", ""], vehicles)
    bash.expect(["demo", "--vehicle", "three"], ["three_faults"])
    bash.expect(["calibrate", "--job", "job", "--take", ""], ["takes/idle.flac", "takes/off.wav"])
    bash.expect(["calibrate", "--job", "=", "job", "--take", "=", "takes/i"], ["takes/idle.flac"])
    bash.expect(["calibrate", "--job", "none", "--take", ""], [])
    return bash.settle()


class Shell:
    """A shell on a terminal that draws."""

    def __init__(self, words, folder, environment):
        self.screen = pyte.Screen(150, 40)
        self.stream = pyte.Stream(self.screen)
        self.child, self.terminal = pty.fork()
        if self.child == 0:
            os.chdir(folder)
            os.execvpe(words[0], words, {**os.environ, "TERM": "xterm", "LC_ALL": "C.UTF-8", "LINES": "40", "COLUMNS": "150", **environment})

    def line(self):
        """The last one with anything on it; zsh offers a list's next comma."""
        return next((line.rstrip(" ,") for line in reversed(self.screen.display) if line.strip()), "")

    def read_until(self, wanted, seconds=60):
        until = time.monotonic() + seconds
        while not wanted(self.line()):
            assert time.monotonic() < until, "it never came:\n" + "\n".join(line for line in self.screen.display if line.strip())
            if select.select([self.terminal], [], [], 0.1)[0]:
                self.stream.feed(os.read(self.terminal, 65536).decode(errors="replace"))

    def completes(self, typed, wanted):
        os.write(self.terminal, typed.encode() + b"\t")
        self.read_until(lambda line: line == "READY> " + wanted)
        os.write(self.terminal, b"\x15")   # forget the line
        self.read_until(lambda line: line == "READY>")

    def leave(self):
        os.write(self.terminal, b"exit\r")
        while True:
            try:
                if not os.read(self.terminal, 65536):
                    break
            except OSError:
                break
        os.close(self.terminal)
        os.waitpid(self.child, 0)


def check_typed(shell):
    shell.read_until(lambda line: line == "READY>")
    shell.completes("hushtrace noi", "hushtrace noise")
    shell.completes("hushtrace live --arm", "hushtrace live --armed")
    shell.completes("hushtrace capture --engine acc", "hushtrace capture --engine accessory")
    shell.completes("hushtrace capture --hookup=isolator,shorted_at_a", "hushtrace capture --hookup=isolator,shorted_at_amp")
    shell.completes("hushtrace calibrate --job jo", "hushtrace calibrate --job job/")
    shell.completes("hushtrace calibrate --job job --take takes/i", "hushtrace calibrate --job job --take takes/idle.flac")
    shell.completes("hushtrace capture --played tone", "hushtrace capture --played tone\\ one.wav")
    shell.completes("hushtrace demo --vehicle three_f", "hushtrace demo --vehicle three_faults")
    shell.leave()


def main():
    assert (PAGES / "hushtrace").exists() and (PAGES / "_hushtrace").exists(), "the build wrote no completion"
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        (folder / "job/takes").mkdir(parents=True)
        for file in ("job/takes/idle.flac", "job/takes/off.wav", "job/takes/log.csv", "tone one.wav"):
            (folder / file).touch()
        asked = check_bash(folder)
        path = {"PATH": f"{PROGRAM.parent}:{os.environ['PATH']}"}
        (folder / "rc").write_text(f"PS1='READY> '\nbind 'set enable-bracketed-paste off'\nsource '{PAGES / 'hushtrace'}'\n")
        check_typed(Shell(["bash", "--noprofile", "--rcfile", str(folder / "rc"), "-i"], folder, path))
        print(f"bash: {asked} questions right, and on a terminal")
        zsh = shutil.which("zsh")
        if not zsh:
            print("zsh is not installed: its half is skipped")
            sys.exit(77)
        subprocess.run([zsh, "-n", PAGES / "_hushtrace"], check=True)
        (folder / ".zshrc").write_text(f"PS1='READY> '\nunsetopt PROMPT_SP\nfpath=('{PAGES}' $fpath)\nautoload -Uz compinit\ncompinit -u -D\n")
        check_typed(Shell([zsh, "-d", "-i"], folder, {**path, "ZDOTDIR": str(folder), "HOME": str(folder)}))
        written = (PAGES / "_hushtrace").read_text()
        for command in help_pages.commands(PROGRAM):
            part = written.split(f"\n    {command})\n")[1].split(";;")[0]
            for option, (kind, _) in help_pages.options(PROGRAM, command).items():
                assert f"{option}{'=' if kind else ''}[" in part, (command, option)
        print("zsh: the same on a terminal, every option there")


main()
