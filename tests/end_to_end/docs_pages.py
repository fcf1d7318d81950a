"""The pages for people: README.md and docs/*.md, their blocks, and what a shell makes of them.

A block that holds commands says after its fence what becomes of it:

  ```console                   run in order in one fresh folder a page; what is shown below a command is what it prints
  ```console not-run: REASON   for a device, or for hands: not run here

An indented block may have the line <!-- not-run: REASON --> before it instead.

In a console block a command follows "$ ", goes on after a backslash, and "..." stands for lines left out, within a line for
any text. "[exit code N]" ends the output of a command that doesn't end with 0. A number with a decimal point, or before a
percent sign, may differ by one in its last digit; dates and clock times may differ.
"""
import functools
import os
import pathlib
import re
import subprocess

NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?= ?%)|(?<![\w.])[-+]?\d+\.\d+")
DATED = [(re.compile(r"\d{8}T\d{6}Z(-\d)?"), "STAMP"), (re.compile(r"\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d)?"), "DATE"),
         (re.compile(r"\b\d\d:\d\d(:\d\d)?\b"), "TIME")]


class Block:
    def __init__(self, info, line, lines):
        self.info, self.line, self.lines = info, line, lines


def pages(source):
    return [source / "README.md"] + sorted((source / "docs").glob("*.md"))


def blocks(page):
    """Fenced blocks with their info string, and indented ones (info None)."""
    found, open_block, indented, before, told = [], None, None, "", None
    for number, line in enumerate(page.read_text().split("\n"), 1):
        if line.startswith("```"):
            if open_block:
                found.append(open_block)
                open_block = None
            else:
                open_block = Block(line[3:].strip(), number, [])
            indented = told = None
        elif open_block:
            open_block.lines.append(line)
        elif line.startswith("    ") and (indented or not before.strip()):
            if not indented:
                indented = Block(f"console {told[5:-4]}" if told else None, number, [])
                found.append(indented)
            indented.lines.append(line[4:])
        elif line.strip():
            indented = None
            told = line if re.fullmatch(r"<!-- not-run: .* -->", line) else None
        before = line
    if open_block:
        raise AssertionError(f"{page.name}:{open_block.line}: the block does not end")
    return found


def looks_like_command(line):
    return re.match(r"\$ |(\.\w+/|\w+/)*hushtrace |\.ci/", line) is not None


def commands(block):
    """[(command, shown lines)] of a console block."""
    found, rest = [], list(block.lines)
    while rest:
        line = rest.pop(0)
        if line.startswith("$ "):
            command = [line[2:]]
            while command[-1].endswith("\\"):
                command.append(rest.pop(0))
            found.append(("\n".join(command), []))
        else:
            if not found:
                raise AssertionError(f"line {block.line}: output before any command")
            found[-1][1].append(line)
    for command, shown in found:
        while shown and not shown[-1].strip():
            shown.pop()
    return found


def normalised(line):
    for pattern, word in DATED:
        line = pattern.sub(word, line)
    return line.rstrip()


def same_numbers(shown, real):
    texts = [NUMBER.split(line) for line in (shown, real)]
    numbers = [NUMBER.findall(line) for line in (shown, real)]
    if texts[0] != texts[1]:
        return False
    for wanted, found in zip(*numbers):
        places = [len(number.partition(".")[2]) for number in (wanted, found)]
        if places[0] != places[1] or abs(float(wanted) - float(found)) > 1.001 * 10.0 ** -places[0]:
            return False
    return True


@functools.lru_cache(None)
def same_line(shown, real):
    shown, real = normalised(shown), normalised(real)
    if shown == real or same_numbers(shown, real):
        return True
    if "..." not in shown.strip(".") and not shown.endswith(" ...") and not shown.startswith("... "):
        return False
    parts = [re.escape(part) for part in shown.split("...")]
    return re.fullmatch(".*".join(parts), real) is not None


def agrees(shown, real):
    """Whether the shown lines are the real ones, "..." standing for any number of lines."""
    reached = {0}
    for line in shown:
        if line.strip() == "...":
            reached = set(range(min(reached), len(real) + 1)) if reached else set()
        else:
            reached = {place + 1 for place in reached if place < len(real) and same_line(line, real[place])}
    return len(real) in reached


class Shell:
    """One folder in which a page's commands run."""

    def __init__(self, program, source, folder):
        self.folder = pathlib.Path(folder)
        (self.folder / "signals").symlink_to(source / "signals")
        self.environment = {"PATH": f"{program.parent}:{os.environ['PATH']}", "HOME": folder, "LC_ALL": "C.UTF-8", "TERM": "dumb"}

    def run(self, command):
        done = subprocess.run(["bash", "-c", command], cwd=self.folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                              stdin=subprocess.DEVNULL, timeout=120, env=self.environment)
        text = done.stdout.decode("utf-8", "replace").replace(str(self.folder) + "/", "")
        lines = [line.split("\r")[-1].rstrip() for line in text.split("\n")]
        while lines and not lines[-1]:
            lines.pop()
        if done.returncode != 0:
            lines.append(f"[exit code {done.returncode}]")
        return lines


def first_difference(shown, real):
    for count in range(len(shown), -1, -1):
        if any(agrees(shown[:count], real[:end]) for end in range(len(real) + 1)):
            return shown[count] if count < len(shown) else "(more was printed than is shown)"
    return shown[0]


def run_page(page, program, source, folder):
    """Faults of one page, as text."""
    faults, shell, count = [], Shell(program, source, str(folder)), 0
    for block in blocks(page):
        if block.info != "console":
            continue
        for command, shown in commands(block):
            count += 1
            real = shell.run(command)
            if not agrees(shown, real):
                faults.append(f"{page.name}, block at line {block.line}: $ {command}\n  not printed: {first_difference(shown, real)}\n"
                              + "\n".join("  | " + line for line in real[:80]))
    return faults, count
