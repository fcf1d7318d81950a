"""Runs the commands of docs/figures.md on fresh populations, and prints its table anew.

    /usr/bin/python3 tests/bench/all_figures.py BUILD_DIR [--only NAME ...] [--seed S] [--part P] [--keep FOLDER] [--into PAGE] [--of COMMIT]
    /usr/bin/python3 tests/bench/all_figures.py BUILD_DIR --list
    /usr/bin/python3 tests/bench/all_figures.py BUILD_DIR --table FOLDER [--into PAGE]

Rows and what was asked: figure_rows.py. Without --only all of them, some three hours of one core; --list names them. The seed is today's date
unless it is given. --part 0.1 takes a tenth of every population, to see that all runs. What is missing to a row (a target, a program) makes
that row fail, and the others go on. --keep puts each row's whole output and its outcome into a folder; --table prints the table of what is
kept there, and runs nothing. --into docs/figures.md puts each row, as soon as it is measured, in the place of the one that stands on that page.
--of says which commit BUILD_DIR was built of, where that is not the one that stands here. Ends with 1 where a row failed or a figure that was
asked for isn't reached.
"""
import argparse
import datetime
import json
import pathlib
import re
import subprocess
import sys

from figure_rows import BY_NAME, ROWS

HEAD = "| name | figure | asked | measured | reached | seed, day, build | command |"
ROOT = pathlib.Path(__file__).resolve().parents[2]


def build_of():
    """The commit that stands here, marked where files differ from it; "unknown" outside a repository, or without git."""
    try:
        told = subprocess.run(["git", "describe", "--always", "--dirty"], cwd=ROOT, capture_output=True, text=True, check=False)
    except OSError:
        return "unknown"
    return told.stdout.strip() or "unknown"


def outcome_of(row, build, seed, part, commit):
    """What a row's command says now, and whether that is what was asked."""
    size = max(1, round(row.size * part))
    command = row.command_line(build, seed, size)
    begun = datetime.datetime.now()
    done = subprocess.run(["bash", "-c", command], cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                          check=False)
    outcome = {"name": row.name, "day": begun.date().isoformat(), "build": commit, "seed": seed if row.drawn() else None, "size": size,
               "seconds": round((datetime.datetime.now() - begun).total_seconds()), "exit": done.returncode, "output": done.stdout}
    return outcome | judged(row, done.stdout)


def judged(row, output):
    try:
        measured = row.reading(output)
    except LookupError as missing:
        return {"measured": None, "holds": False, "why": str(missing)}
    return {"measured": measured, "holds": None if row.holds is None else bool(row.holds(measured)), "why": None}


def line_of(row, one):
    holds = {None: "", True: "yes", False: "**no**"}[one["holds"]]
    seed = f"seed {one['seed']}" if one["seed"] is not None else "no draw"
    command = row.command_line(seed=one["seed"] if one["seed"] is not None else "SEED", size=one["size"])
    return (f"| `{row.name}` | {row.figure} | {row.asked} | {one['measured'] or 'nothing: ' + one['why']} | {holds} | "
            f"{seed}, {one['day']}, {one['build']} | `{command}` |")


def table(outcomes):
    lines = []
    for part in dict.fromkeys(row.part for row in ROWS):
        mine = [line_of(row, outcomes[row.name]) for row in ROWS if row.part == part and row.name in outcomes]
        if mine:
            lines += ["", f"## {part}", "", HEAD, "|---|---|---|---|---|---|---|", *mine]
    return "\n".join(lines)


def put_into(page, outcomes):
    """The page's rows of what was measured, anew; all else of it stays."""
    lines = []
    for line in page.read_text(encoding="utf-8").split("\n"):
        name = re.match(r"\| `(\w+)` \|", line)
        lines.append(line_of(BY_NAME[name[1]], outcomes[name[1]]) if name and name[1] in outcomes else line)
    page.write_text("\n".join(lines), encoding="utf-8")


def kept_in(folder):
    return {one["name"]: one for one in (json.loads(file.read_text()) for file in sorted(pathlib.Path(folder).glob("*.json")))}


def main():
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("build")
    options.add_argument("--only", nargs="+", choices=list(BY_NAME), metavar="NAME")
    options.add_argument("--seed", type=int, default=int(datetime.date.today().strftime("%y%m%d")))
    options.add_argument("--part", type=float, default=1.0)
    options.add_argument("--keep", type=pathlib.Path)
    options.add_argument("--of", default=None)
    options.add_argument("--list", action="store_true")
    options.add_argument("--table", type=pathlib.Path)
    options.add_argument("--into", type=pathlib.Path)
    asked = options.parse_args()
    if asked.list:
        for row in ROWS:
            print(f"{row.name:18} {row.minutes:5.1f} min  {row.needs or '-'}\n    {row.command_line(asked.build, asked.seed)}")
        return
    if asked.table:
        kept = kept_in(asked.table)
        print(table(kept))
        if asked.into:
            put_into(asked.into, kept)
        return
    outcomes = {}
    for row in ROWS:
        if asked.only and row.name not in asked.only:
            continue
        print(f"{row.name}: {row.command_line(asked.build, asked.seed, max(1, round(row.size * asked.part)))}", file=sys.stderr, flush=True)
        one = outcomes[row.name] = outcome_of(row, asked.build, asked.seed, asked.part, asked.of or build_of())
        print(f"    {one['measured'] or one['why']} ({one['seconds']} s, exit {one['exit']})", file=sys.stderr, flush=True)
        if asked.keep:
            asked.keep.mkdir(parents=True, exist_ok=True)
            (asked.keep / f"{row.name}.json").write_text(json.dumps(one, indent=1))
        if asked.into:
            put_into(asked.into, outcomes)
    print(table(outcomes))
    short = [name for name, one in outcomes.items() if one["holds"] is False]
    if short:
        sys.exit("not reached: " + ", ".join(short))


if __name__ == "__main__":
    main()
