"""Renews what the console blocks of a page show: runs its commands and puts the program's present output in place of the old.

    renew_docs.py PROGRAM PAGE...

"..." stays where it was: each shown piece goes from the real line that is likest its first one to that likest its last one. A piece
that isn't found any more is left as it is and named. Look at the difference before you keep it.
"""
import difflib
import os
import pathlib
import re
import sys
import tempfile

here = pathlib.Path(__file__).resolve()
sys.path.insert(0, str(here.parents[1] / "end_to_end"))
import docs_pages

source = pathlib.Path(os.environ.get("HUSHTRACE_SOURCE_DIR", here.parents[2]))
program = pathlib.Path(sys.argv[1]).resolve()


def likeness(shown, real):
    shown, real = (re.sub(r"\d+", "0", line) for line in (shown, real))
    return 1 if shown == real else difflib.SequenceMatcher(None, shown, real).ratio()


def likest(line, real, first):
    best = max(range(first, len(real)), key=lambda i: (likeness(line, real[i]), -i), default=None)
    return best if best is not None and likeness(line, real[best]) > 0.7 else None


def renewed(shown, real):
    """The shown lines with the real ones in their place, and the pieces that were not found."""
    if docs_pages.agrees(shown, real):
        return shown, []
    if "..." not in shown:
        return real, []
    pieces, out, lost, at = [[]], [], [], 0
    for line in shown:
        if line.strip() == "...":
            pieces.append([])
        else:
            pieces[-1].append(line)
    for number, piece in enumerate(pieces):
        if number:
            out.append("...")
        if not piece:
            continue
        begin = 0 if number == 0 else likest(piece[0], real, at)
        end = len(real) - 1 if number == len(pieces) - 1 else None if begin is None else likest(piece[-1], real, begin)
        if begin is None or end is None or end - begin > 3 * len(piece) + 6:
            lost.append(piece[0])
            out += piece
        else:
            out += real[begin:end + 1]
            at = end + 1
    return out, lost


for name in sys.argv[2:]:
    page = pathlib.Path(name)
    lines, moved = page.read_text().split("\n"), 0
    with tempfile.TemporaryDirectory() as folder:
        shell = docs_pages.Shell(program, source, folder)
        for block in docs_pages.blocks(page):
            if block.info != "console":
                continue
            text = []
            for command, shown in docs_pages.commands(block):
                new, lost = renewed(shown, shell.run(command))
                text += ["$ " + command] + new
                for line in lost:
                    print(f"{page.name}:{block.line}: not printed any more, after $ {command}: {line}")
            text = "\n".join(text).split("\n")
            begin = block.line + moved
            lines[begin:begin + len(block.lines)] = text
            moved += len(text) - len(block.lines)
    page.write_text("\n".join(lines))
